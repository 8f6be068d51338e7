"""What to read next: against fits that have the readings, and against trying all pairs."""

import itertools
import math

import numpy as np
import pandas as pd
import pytest

from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.quality.next_reading import (
    Possible,
    next_readings,
    possible_readings,
)
from trackkit.survey.readings import make_survey

KNOWN = GroundType(q_mean=3e-5, q_twist=1e-5, relief=0.001)
TOOLS = Instruments(rod_sd=0.0015, station_sd=0.0, angle_sd=math.radians(0.2))
TIES = np.arange(0.5, 9.0, 1.0)
ENDS = [(float(s), side) for s in TIES for side in ("left", "right")]


def rods(stations=(0, 1, 2, 3, 6, 7, 8, 9), pegs=True):
    rows = [
        {"laser": "1", "station_m": float(at), "side": side, "rod_m": 1.5}
        for at in stations for side in ("left", "right")
    ]  # fmt: skip
    rows += [{"laser": "1", "point": peg, "rod_m": 1.4} for peg in ("P1", "P2") if pegs]
    frame = pd.DataFrame(rows)
    return frame.fillna({"side": "", "point": ""}) if pegs else frame


def ground_of(levels, **others):
    survey = make_survey(levels=levels, **others)
    return fit_ground(survey, stations=TIES, ground_type=KNOWN, instruments=TOOLS)


def fills(reference=4):
    """Fills of a level line set from one tie end."""
    weights = -np.eye(len(ENDS))
    weights[:, reference] += 1.0
    return weights


def sds(ground, weights):
    return np.sqrt(np.maximum(np.diag(weights @ ground.covariance(ENDS) @ weights.T), 0.0))


def test_the_hole_in_a_survey_is_read_first():
    found = next_readings(ground_of(rods()), ENDS, fills(), count=2)
    assert found.table["station_m"].between(3.5, 5.5).all()
    assert found.before_m >= found.tied_m > found.table["sd_m"].iloc[0] > found.table["sd_m"].iloc[1]


def test_what_is_promised_is_what_a_fit_with_these_readings_has():
    ground = ground_of(rods())
    possible = possible_readings(ground, kinds=("rod", "across", "board"))
    found = next_readings(ground, ENDS, fills(), count=4, possible=possible)
    assert found.before_m == pytest.approx(sds(ground, fills()).max())
    assert found.ties == ("P1", "P2")
    tied = [{"laser": "2", "point": peg, "side": "", "rod_m": 1.4} for peg in found.ties]
    levels = pd.concat([rods(), pd.DataFrame(tied)], ignore_index=True)
    assert found.tied_m == pytest.approx(sds(ground_of(levels), fills()).max(), rel=1e-4)
    boards, cross = [], []
    for row in found.table.itertuples():
        if row.kind == "rod":
            rod = {"laser": "2", "station_m": row.station_m, "side": row.side, "rod_m": 1.5, "point": ""}
            levels = pd.concat([levels, pd.DataFrame([rod])], ignore_index=True)
        for facing in ("ahead", "back"):
            angle = {"station_m": row.station_m, "angle_rad": 0.0, "facing": facing}
            if row.kind == "across":
                cross.append(angle)
            elif row.kind == "board":
                boards.append(angle | {"to_station_m": row.to_station_m, "side": row.side})
        others = {
            name: pd.DataFrame(some) for name, some in (("boards", boards), ("crosslevels", cross)) if some
        }
        again = ground_of(levels, **others)
        assert row.sd_m == pytest.approx(sds(again, fills()).max(), rel=0.01)


def test_greedy_is_near_the_best_pair_of_all():
    """All 276 pairs of 24 rods are tried; the first one alone is the best there is."""
    ground = ground_of(rods())
    stations = np.arange(0, 12, 1) * 0.8
    possible = [Possible("rod", float(s), side) for s in stations for side in ("left", "right")]

    def worth(some):
        found = next_readings(ground, ENDS, fills(), possible=some, count=len(some))
        return found.table["sd_m"].iloc[-1]

    found = next_readings(ground, ENDS, fills(), possible=possible, count=2)
    assert found.table["sd_m"].iloc[0] == pytest.approx(min(worth([one]) for one in possible))
    best = min(worth(list(pair)) for pair in itertools.combinations(possible, 2))
    assert best - 1e-12 <= found.table["sd_m"].iloc[1] <= 1.1 * best


def test_the_sum_falls_more_by_that_goal():
    """With one reading: the sum of variances against trying each, by a fit that has it."""
    levels, weights = rods(pegs=False), fills()
    ground = ground_of(levels)
    possible = [Possible("across", float(s)) for s in np.arange(0, 10, 1.0)]

    def total(station):
        cross = {"station_m": station, "angle_rad": 0.0, "facing": ["ahead", "back"]}
        return np.sum(sds(ground_of(levels, crosslevels=pd.DataFrame(cross)), weights) ** 2)

    found = next_readings(ground, ENDS, weights, possible=possible, count=1, goal="sum")
    totals = [total(one.station) for one in possible]
    assert totals[int(found.table["station_m"].iloc[0])] == pytest.approx(min(totals), rel=1e-3)


def test_without_pegs_the_laser_is_bound_to_the_first_and_last_place():
    ties = next_readings(ground_of(rods(pegs=False)), ENDS, fills(), count=1).ties
    assert [station for station, _ in ties] == [0.0, 9.0]


def test_only_what_the_crew_has_is_asked_for():
    ground = ground_of(rods())
    assert {one.kind for one in possible_readings(ground, kinds=("across",))} == {"across"}
    found = next_readings(ground, ENDS, fills(), possible=possible_readings(ground, kinds=("across",)))
    assert found.ties == () and found.before_m == found.tied_m
    stations = [one.station for one in possible_readings(ground)]
    assert min(np.diff(np.unique(stations))) >= 0.1 - 1e-9


def test_wrong_wishes_are_refused():
    ground = ground_of(rods())
    with pytest.raises(ValueError, match="kinds must be of rod, across, board; got 'plumb'"):
        possible_readings(ground, kinds=("rod", "plumb"))
    with pytest.raises(ValueError, match="a column for each point, 18; got 3"):
        next_readings(ground, ENDS, np.eye(3))
    with pytest.raises(ValueError, match="goal must be 'largest' or 'sum', got 'least'"):
        next_readings(ground, ENDS, fills(), goal="least")
    with pytest.raises(ValueError, match="count must be 1 or more, got 0"):
        next_readings(ground, ENDS, fills(), count=0)


def test_no_reading_is_asked_for_twice():
    found = next_readings(ground_of(rods()), ENDS, fills(), count=12).table
    assert not found.duplicated(["kind", "station_m", "side"]).any()
    with pytest.raises(ValueError, match="importance must have one figure for each of 18"):
        next_readings(ground_of(rods()), ENDS, fills(), importance=np.ones(3))
