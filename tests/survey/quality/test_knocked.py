"""Knocked lasers, by simulation: found, blamed on the right rows, and rarely invented."""

import numpy as np
import pandas as pd
import pytest
from simulated_crew import again, fitted

from trackkit.survey.ground import fit_ground
from trackkit.survey.quality import knocked_lasers
from trackkit.survey.readings import make_survey


@pytest.fixture(scope="module")
def exact():
    return fitted(0, rod=0.0, phone=0.0)


def knock(ground, laser, after, jump):
    """Return what a knock adds to each rod: from the ``after``-th reading of the position on."""
    own = ground.survey.levels["laser"] == laser
    return np.where(own & (own.cumsum() > after), jump, 0.0)


@pytest.mark.parametrize(("laser", "after"), [("east", 12), ("west", 9), ("west", 16)])
def test_a_knock_of_12_mm_is_found_between_the_right_rows(exact, laser, after):
    off = knock(exact, laser, after, 0.012)
    levels = exact.survey.levels
    own = levels.loc[levels["laser"] == laser, "reading"].tolist()
    held, jumps, sds, sure = [], [], [], []
    for seed in range(40):
        found = knocked_lasers(again(exact, seed, off=off))
        row = found[found["laser"] == laser]
        assert len(row) == 1
        row = row.iloc[0]
        held.append(own.index(row["after"]) + 1 <= after <= own.index(row["before"]))
        sure.append(len(found) == 1)
        if held[-1] and len(found) == 1:
            jumps.append(row["jump_m"])
            sds.append(row["sd_m"])
    assert np.mean(held) > 0.85
    assert np.mean(sure) > 0.7
    assert np.mean(jumps) == pytest.approx(0.012, abs=0.0005)
    assert np.mean(np.abs(np.array(jumps) - 0.012) < 2 * np.array(sds)) > 0.8


def test_a_small_knock_is_blamed_on_a_range_that_holds_it(exact):
    """4 mm, less than 3 sds of a rod: found in 8 or 9 surveys of 10, the range right in 9 of 10 of these."""
    off = knock(exact, "east", 12, 0.004)
    own = exact.survey.levels.loc[exact.survey.levels["laser"] == "east", "reading"].tolist()
    held = []
    for seed in range(100):
        found = knocked_lasers(again(exact, seed, off=off))
        for row in found[found["laser"] == "east"].itertuples():
            held.append(own.index(row.after) + 1 <= 12 <= own.index(row.before))
    assert len(held) / 100 == pytest.approx(0.87, abs=0.1)
    assert np.mean(held) > 0.86


def test_a_laser_that_stood_still_is_accused_in_one_survey_of_20_at_most(exact):
    assert np.mean([len(knocked_lasers(again(exact, seed))) > 0 for seed in range(300)]) <= 0.05


def test_readings_worse_than_stated_are_not_taken_for_a_knock(exact):
    accused = [len(knocked_lasers(again(exact, seed, rod=2.5, phone=2.5))) > 0 for seed in range(200)]
    assert np.mean(accused) <= 0.05


@pytest.mark.parametrize("row", [0, 5, 20, 30])
def test_a_misread_rod_is_not_taken_for_a_knock(exact, row):
    off = np.zeros(len(exact.survey.levels))
    off[row] = 0.05
    assert np.mean([len(knocked_lasers(again(exact, seed, off=off))) > 0 for seed in range(40)]) <= 0.05


def test_rows_are_taken_in_the_order_of_the_table_and_the_sign_is_the_lasers(exact):
    off = knock(exact, "east", 12, -0.02)
    found = knocked_lasers(again(exact, 3, off=off))
    assert found["laser"].iloc[0] == "east"
    assert found["jump_m"].iloc[0] == pytest.approx(-0.02, abs=0.003)  # shorter rods: the line of sight sank


def test_nothing_is_said_where_nothing_checks():
    levels = pd.DataFrame({"station_m": np.arange(6.0), "side": "left", "rod_m": [1, 1, 1, 2, 2, 2.0]})
    assert knocked_lasers(fit_ground(make_survey(levels=levels))).empty
