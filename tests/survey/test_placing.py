"""Readings placed on the ties of a run, and what is doubtful about them."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from trackkit.problems import InputProblems
from trackkit.survey.readings import cautions, check_stations, make_survey, place_on_ties, read_survey
from trackkit.survey.tables import SurveyRules

TIES = pd.DataFrame(
    {
        "tie": [1, 2, 3, 4, 5],
        "section": [1, 1, 1, 2, 2],
        "station_m": [-0.4, 0.4, 1.2, 1.6, 2.4],
        "rail_top_m": [0.10, 0.10, 0.10, 0.12, 0.12],
    }
)


def test_readings_by_tie_or_corner_stand_at_the_station_of_the_tie():
    levels = {
        "tie": [2, pd.NA, pd.NA, pd.NA, pd.NA],
        "section": [pd.NA, 1, 1, 2, pd.NA],
        "end": ["", "head", "tail", "tail", ""],
        "side": "left",
        "station_m": [np.nan, np.nan, np.nan, np.nan, 0.9],
        "rod_m": 1.0,
    }
    survey = make_survey(levels=levels)
    placed = place_on_ties(survey, TIES).levels
    assert placed["station_m"].tolist() == [0.4, -0.4, 1.2, 2.4, 0.9]
    assert placed["rail_top_m"].tolist() == [0] * 5
    assert survey.levels["station_m"].isna().sum() == 4, "the survey given is left as it was"


def test_readings_on_the_rail_carry_the_rail_top_of_their_tie_or_the_nearest_one():
    levels = {
        "tie": [5, pd.NA, pd.NA, 1],
        "side": "left",
        "station_m": [np.nan, 1.3, 1.5, np.nan],
        "rod_m": 1.0,
        "on": ["rail", "rail", "rail", "ground"],
    }
    placed = place_on_ties(make_survey(levels=levels), TIES).levels
    assert placed["rail_top_m"].tolist() == [0.12, 0.10, 0.12, 0.0]
    assert placed["rod_m"].tolist() == [1.0] * 4


def test_ties_that_move_take_their_readings_along():
    survey = make_survey(levels={"tie": [1, 5], "side": "left", "rod_m": 1.0})
    first = place_on_ties(survey, TIES)
    moved = place_on_ties(first, TIES.assign(station_m=TIES["station_m"] * 0.99)).levels
    assert moved["station_m"].tolist() == pytest.approx([-0.396, 2.376])


def test_ties_and_sections_that_the_run_lacks_are_all_told():
    levels = {"tie": [9, pd.NA], "section": [pd.NA, 3], "end": ["", "head"], "side": "left", "rod_m": 1.0}
    survey = make_survey(levels=levels)
    pattern = (
        r"(?s)row 3, section: found section 3; accepted: a section from 1 to 2.*tie 9; .* a tie from 1 to 5"
    )
    with pytest.raises(InputProblems, match=pattern):
        place_on_ties(survey, TIES)


def test_without_ties_a_survey_by_stations_is_unchanged():
    survey = make_survey(levels={"station_m": [1.0], "side": "left", "rod_m": 1.0})
    pd.testing.assert_frame_equal(place_on_ties(survey, TIES.iloc[:0]).levels, survey.levels)


def test_readings_far_off_the_run_are_faults_and_near_ones_are_not():
    levels = {"station_m": [-3.0, 12.0, 240.0], "side": "left", "rod_m": 1.0}
    boards = {"station_m": [0.0], "to_station_m": [-90.0], "side": "left", "angle_rad": 0.1}
    found = check_stations(make_survey(levels=levels, boards=boards), -1.0, 11.0)
    assert [(fault.file, fault.row, fault.column) for fault in found] == [
        ("levels", 4, "station"),
        ("boards", 2, "to_station"),
    ]
    assert re.search(
        r"station 240\.00 m, off the run; accepted: .* from -1\.00 to 11\.00 m\. → check", str(found[0])
    )
    assert not check_stations(make_survey(levels=levels), -1.0, 11.0, rules=SurveyRules(off_run=250.0))


def test_a_rod_above_six_metres_is_a_caution_and_no_fault(tmp_path):
    """Common practice, no source: rods above 5 m are rare."""
    (tmp_path / "levels.csv").write_text("station_m,side,rod_mm\n0,left,1200\n2,left,6100\n4,left,5900\n")
    survey = read_survey(tmp_path)
    (caution,) = cautions(survey)
    assert re.match(
        r"CAUTION: levels\.csv row 3: a rod reading of 6\.10 m is above 6 m; check it", str(caution)
    )
    assert cautions(survey, rules=SurveyRules(tall_rod=7.0)) == ()
