"""What a survey will be worth before it is taken: against the one that was taken, and against theory."""

import math

import numpy as np
import pandas as pd
import pytest

from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.quality.design import (
    GROUNDS,
    planned_ground,
    planned_readings,
    survey_worth,
    worth_table,
)  # fmt: skip
from trackkit.survey.readings import make_survey

TOOLS = Instruments(rod_sd=0.0015, station_sd=0.0, angle_sd=math.radians(0.2))


def test_the_sd_promised_are_those_of_the_survey_that_is_taken():
    stations, ties = np.arange(0.0, 9.0, 1.5), np.arange(0.3, 7.0, 0.7)
    promised = planned_ground(planned_readings(stations), GROUNDS["lawn"], stations=ties, instruments=TOOLS)
    rng = np.random.default_rng(1)
    levels = planned_readings(stations).levels.assign(rod_m=lambda f: 1.5 + rng.normal(0, 0.05, len(f)))
    taken = fit_ground(
        make_survey(levels=levels[["laser", "station_m", "side", "rod_m", "point"]]),
        stations=ties, ground_type=GROUNDS["lawn"], instruments=TOOLS,
    )  # fmt: skip
    ends = [(float(s), side) for s in ties for side in ("left", "right")]
    np.testing.assert_allclose(promised.covariance(ends), taken.covariance(ends), rtol=1e-6, atol=1e-12)


@pytest.mark.parametrize("boards", [4, 9])
def test_slopes_add_up_to_heights_as_the_square_root_of_their_number(boards):
    """sd of the far end = board length x angle sd x sqrt(boards) on ground whose smoothness says nothing.

    Propagation of independent errors through a sum (JCGM 100:2008, 5.1.2). Both facings: angle sd / sqrt(2).
    """
    wild = GroundType(q_mean=1.0, q_twist=1.0, relief=0.0)
    stations = np.arange(boards + 1) * 1.2
    ground = planned_ground(planned_readings(stations, by="phone", slope=0.0), wild, instruments=TOOLS)
    ends = [(0.0, "left"), (float(stations[-1]), "left")]
    spread = ground.covariance(ends)
    sd = math.sqrt(spread[0, 0] + spread[1, 1] - 2 * spread[0, 1])
    assert sd == pytest.approx(1.2 * math.radians(0.2) / math.sqrt(2) * math.sqrt(boards), rel=0.02)


def test_every_reading_is_worth_something():
    ties = np.arange(0.35, 12.0, 0.7)
    plans = [(3.0, "rods", False), (1.5, "rods", False), (1.5, "both", False), (1.5, "rods", True)]
    worths = [
        survey_worth(planned_readings(np.arange(0, 12.1, gap), by=by, again=again), ties, GROUNDS["lawn"])
        for gap, by, again in plans
    ]
    assert worths[0].sd_m > worths[1].sd_m > worths[2].sd_m
    assert worths[1].sd_m > worths[3].sd_m and worths[3].checked > worths[1].checked == 0
    assert [worth.readings for worth in worths] == [12, 20, 38, 40]


def test_the_table_has_a_row_for_each_choice_and_grows_with_spacing_and_roughness():
    table = worth_table(12.0, spacings=(1.0, 2.0, 3.0))
    assert len(table) == 3 * 3 * 3
    for _, some in table.groupby(["by", "ground"]):
        assert some["sd_m"].is_monotonic_increasing and some["readings"].is_monotonic_decreasing
    for _, some in table.groupby(["by", "spacing_m"]):
        assert some["sd_m"].is_monotonic_increasing
    assert (table["usual_m"] <= table["sd_m"]).all()


def test_read_at_the_ties_nothing_is_left_but_the_rod():
    """Both tie ends are read themselves: the sd of a fill is that of the difference of two rods."""
    wild = GroundType(q_mean=1.0, q_twist=1.0, relief=0.0)
    table = worth_table(9.8, spacings=(0.7,), by=("rods",), grounds={"wild": wild}, instruments=TOOLS)
    assert table["usual_m"].iloc[0] == pytest.approx(0.0015 * math.sqrt(2), rel=0.01)


def test_wrong_wishes_are_refused():
    with pytest.raises(ValueError, match="by must be one of rods, phone, both; got 'eye'"):
        planned_readings([0.0, 1.0], by="eye")
    with pytest.raises(ValueError, match="two or more, and growing; got 1"):
        planned_readings([0.0])
    with pytest.raises(ValueError, match="must state q_mean, q_twist, relief"):
        planned_ground(planned_readings([0.0, 1.0]), GroundType())
    with pytest.raises(ValueError, match="must be above 0 m"):
        worth_table(0.0)
    assert isinstance(planned_readings([0.0, 1.0]).levels, pd.DataFrame)
