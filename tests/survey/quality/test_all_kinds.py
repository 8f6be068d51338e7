"""Every question put to surveys of unusual kinds of readings."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from networks import N3, network
from simulated_crew import KNOWN, STATED, crew

from trackkit.survey.ground import fit_ground
from trackkit.survey.quality import (
    closures,
    compare_readers,
    knocked_lasers,
    laser_against_phone,
    overall_test,
    variance_components,
)
from trackkit.survey.readings import make_survey

ONE_BOARD = {"station_m": [0.0], "to_station_m": [1.0], "side": "left", "rise_m": [0.1]}


def mixed():
    """Rods with lines of sight, some beside the run, a taped board and step, differences."""
    base = crew(2)
    beside = pd.DataFrame(
        {"laser": ["east", "west", "east"], "station_m": [3.0, 3.0, 5.0], "offset_m": [0.0, 0.0, 0.1],
         "rod_m": [1.44, 1.641, 1.47], "reader": ["A", "B", "A"]}
    )  # fmt: skip
    columns = ["laser", "point", "station_m", "side", "rod_m", "reader"]
    levels = pd.concat([base.levels[columns], beside], ignore_index=True)
    levels["side"], levels["point"] = levels["side"].fillna(""), levels["point"].fillna("")
    boards = base.boards[["station_m", "to_station_m", "side", "angle_rad", "facing"]]
    taped = {"station_m": [0.0], "to_station_m": [8.0], "side": ["right"], "rise_m": [-0.0378]}
    return make_survey(
        levels=levels,
        boards=pd.concat([boards, pd.DataFrame(taped).assign(facing="")], ignore_index=True),
        lasers={"laser": ["east", "west"], "station_m": [4.0, 9.0], "offset_m": [3.0, -4.0]},
        differences={"point": ["P1", "P2"], "to_point": ["P2", "P1"], "rise_m": [0.301, -0.299]},
        breaks={"left_station_m": [6.5], "right_station_m": [6.5], "step_m": [0.0]},
    )


@pytest.fixture(scope="module")
def ground():
    return fit_ground(mixed(), instruments=replace(STATED, station_sd=0.02), ground_type=KNOWN)


def test_closures_are_as_many_as_the_levelling_has_to_spare(ground):
    """Pegs were read four times, points twice, the place beside the run twice, two differences."""
    found = closures(ground)
    # 44 rods at 20 points + 2 beside at 1 + 2 differences, 2 laser heights, one level is free
    assert len(found) == 44 + 2 + 2 - (20 + 1 + 2 - 1)
    assert any((3.0, "+0.00 m off the centre line") in points for points in found["points"])
    pegs = found[found["lasers"].map(len) == 0]
    assert pegs["kind"].tolist() == ["again"]
    assert pegs["misclosure_m"].abs().iloc[0] == pytest.approx(0.002)


def test_every_kind_is_named_once(ground):
    table = variance_components(ground)
    assert set(table["kind"]) == {"rod readings", "angles", "taped boards", "differences"}
    # lines of sight and zero errors are believed beforehand, which counts as a reading each
    assert table["checks"].sum() == pytest.approx(overall_test(ground).dof, abs=2.0)
    assert laser_against_phone(ground).dof == 16
    assert set(compare_readers(ground).table["reader"]) == {"A", "B"}
    assert knocked_lasers(ground).empty


def test_a_tilted_line_of_sight_is_taken_off_before_closing():
    """Sights of 3 to 10 m, 5 mm a metre off: rounds close once the fit has found that, and not before."""
    survey = mixed()
    rods = survey.levels[survey.levels["side"] != ""]
    stood = survey.lasers.set_index("laser").loc[rods["laser"]].set_index(rods.index)
    across = rods["side"].map({"left": -0.31, "right": 0.31})
    length = np.hypot(rods["station_m"] - stood["station_m"], across - stood["offset_m"])
    tilted = rods.assign(rod_m=rods["rod_m"] + 0.005 * length).reset_index(drop=True)
    only = make_survey(levels=tilted, lasers=survey.lasers)
    loose = replace(STATED, collimation_sd=0.01)
    found = closures(fit_ground(only, instruments=loose, ground_type=KNOWN))
    assert len(found) == 17
    assert found["ok"].all()
    blind = closures(fit_ground(make_survey(levels=tilted), instruments=STATED, ground_type=KNOWN))
    assert not blind["ok"].all()


@pytest.mark.parametrize(
    "only",
    [
        network({"1a": 1000.0}, N3, 0.005),
        fit_ground(make_survey(boards=ONE_BOARD)),
        fit_ground(make_survey(levels={"point": ["A", "B"], "rod_m": [1.0, 1.1]})),
    ],
    ids=["differences", "one board", "two pegs"],
)  # fmt: skip
def test_a_survey_of_one_kind_is_asked_without_harm(only):
    assert compare_readers(only).table.empty
    assert knocked_lasers(only).empty
    assert laser_against_phone(only).agrees
    assert variance_components(only)["agrees"].all()
    assert overall_test(only).verdict in ("as well as stated", "cannot be tested")
    assert len(closures(only)) in (0, 5)
