"""What would settle which end is the highest: against exhaustive search, and fits that have the readings."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from trackkit.layout.doubt import Doubt, point_covariance, sideways_covariance
from trackkit.study.contest import Contest, Likely
from trackkit.study.exact import exact_governs
from trackkit.study.settle import what_settles
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.quality.next_reading import Possible, next_readings
from trackkit.survey.readings import make_survey
from trackkit.survey.roughness import unlikelihood

KNOWN = GroundType(q_mean=3e-5, q_twist=1e-5, relief=0.001)
TOOLS = Instruments(rod_sd=0.0015, station_sd=0.0, angle_sd=math.radians(0.2))
TIES = np.arange(0.5, 6.0, 1.0)
ENDS = [(float(s), side) for s in TIES for side in ("left", "right")]
TRIED = [Possible("across", float(s)) for s in np.arange(0.5, 6.0, 0.5)]


def ground_of(crosslevels=(), *, across=0.0):
    """Return ground that falls by so much from left to right, read with rods, and across at these places."""
    low = {"left": 0.0, "right": across}
    rows = [
        {"laser": "1", "station_m": float(at), "side": side, "rod_m": 1.5 - 0.004 * math.sin(at) + low[side],
         "point": ""}
        for at in (0, 1, 2, 4, 5, 6) for side in ("left", "right")
    ]  # fmt: skip
    cross = [
        {"station_m": station, "angle_rad": 0.0, "facing": facing}
        for station in crosslevels for facing in ("ahead", "back")
    ]  # fmt: skip
    more = {"crosslevels": pd.DataFrame(cross)} if cross else {}
    survey = make_survey(levels=pd.DataFrame(rows), **more)
    return fit_ground(survey, stations=TIES, ground_type=KNOWN, instruments=TOOLS)


GROUND = ground_of()
HEIGHTS = GROUND.mean(ENDS)
DRAWN = np.random.default_rng(1).multivariate_normal(HEIGHTS, GROUND.covariance(ENDS), 20_000)
CHANCES = np.bincount(DRAWN.argmax(axis=1), minlength=len(ENDS)) / 20_000


def settled(**wishes):
    return what_settles(GROUND, ENDS, HEIGHTS, CHANCES, **({"possible": TRIED} | wishes))


def spread_of(ground, ends):
    """Return the covariance of the other ends' heights above the first one's."""
    weights = np.column_stack([-np.ones(len(ends) - 1), np.eye(len(ends) - 1)])
    return weights @ ground.covariance([ENDS[i] for i in ends]) @ weights.T


def score(ground, ends):
    """What is to fall: each other end's variance against the likeliest, by its chance to govern."""
    return float(np.diag(spread_of(ground, ends)) @ CHANCES[list(ends[1:])])


def test_the_first_reading_is_that_of_exhaustive_search_by_fits_that_have_it():
    found = settled(count=1)
    ends = found.chances["end"].tolist()
    totals = [score(ground_of([one.station]), ends) for one in TRIED]
    assert found.found.table["station_m"].tolist() == [TRIED[int(np.argmin(totals))].station]
    assert np.ptp(totals) > 0.05 * min(totals)  # or any would do


def test_two_readings_are_as_good_as_the_best_pair_of_all():
    found = settled(count=2)
    ends = found.chances["end"].tolist()
    weights = CHANCES[ends[1:]]

    points = [ENDS[i] for i in ends]
    look = np.column_stack([-np.ones(len(ends) - 1), np.eye(len(ends) - 1)])

    def left(pair):
        both = next_readings(GROUND, points, look, possible=list(pair), count=2)
        return float(np.diag(both.spreads[-1]) @ weights)

    best = min(left(pair) for pair in itertools.combinations(TRIED, 2))
    mine = float(np.diag(found.found.spreads[-1]) @ weights)
    assert mine == pytest.approx(best, rel=1e-9)
    again = ground_of(found.found.table["station_m"])
    assert mine == pytest.approx(score(again, ends), rel=0.01)


def test_chances_before_and_after_are_those_of_a_fit_that_has_the_readings():
    """By a plain loop over draws of the refitted ground's covariance, about the heights expected now."""
    found = settled(count=2)
    ends = found.chances["end"].tolist()
    above = HEIGHTS[ends[1:]] - HEIGHTS[ends[0]]
    read = found.found.table["station_m"].tolist()
    rng = np.random.default_rng(5)
    for i, column in enumerate(("now", "after_1", "after_2")):
        drawn = rng.multivariate_normal(above, spread_of(ground_of(read[:i]), ends), 40_000)
        first = np.column_stack([np.zeros(len(drawn)), drawn]).argmax(axis=1)
        shares = np.bincount(first, minlength=len(ends)) / len(drawn)
        np.testing.assert_allclose(found.chances[column], shares, atol=4 * 0.5 / 200 + 0.002)
        assert found.chances[column].sum() == pytest.approx(1.0, abs=2e-3)
    assert len(ends) > 3


#: Ground that falls steeply across and along: track laid sideways is a doubt of its own, and few contend.
STEEP = ground_of(across=0.12)
#: Three ends that lie within 3 mm.
FEW = [(0.5, "left"), (3.5, "left"), (5.5, "left")]
ABOVE = np.array([0.002, 0.0, -0.001])
BESIDE = Doubt(sideways_sd=0.05, sideways_length=2.0)


def exactly(covariance):
    ends = len(FEW)
    contest = Contest(ABOVE, covariance, ends, ends, np.zeros(ends), np.arange(ends), np.zeros(ends))
    return exact_governs(contest).chances


def test_now_has_the_contest_s_exact_chances_with_track_laid_sideways():
    chances = exactly(point_covariance(STEEP, FEW, BESIDE))
    sideways = sideways_covariance(STEEP, FEW, BESIDE)
    found = what_settles(STEEP, FEW, ABOVE, chances, beside=sideways, possible=TRIED, least=0.0)
    own = found.chances.sort_values("end")["now"]
    np.testing.assert_allclose(own, chances, atol=1e-4)
    assert found.wrong_now == pytest.approx(1.0 - chances.max(), abs=1e-4)
    bare = what_settles(STEEP, FEW, ABOVE, chances, possible=TRIED, least=0.0)
    assert abs(bare.chances["now"] - found.chances["now"]).max() > 0.02  # or the case shows nothing
    np.testing.assert_allclose(
        bare.chances.sort_values("end")["now"], exactly(STEEP.covariance(FEW)), atol=1e-4
    )


def test_no_reading_lowers_what_track_laid_sideways_may_do():
    """After two readings the doubt is that of ground that has them, and the sideways doubt as it was."""
    sideways = sideways_covariance(STEEP, FEW, BESIDE)
    chances = exactly(STEEP.covariance(FEW) + sideways)
    across = [one for one in TRIED if one.station in (0.5, 5.5)]
    found = what_settles(STEEP, FEW, ABOVE, chances, beside=sideways, possible=across, least=0.0)
    later = found.chances.sort_values("end")["after_2"]
    again = ground_of([one.station for one in across], across=0.12)
    np.testing.assert_allclose(later, exactly(again.covariance(FEW) + sideways), atol=0.01)
    assert abs(later - exactly(again.covariance(FEW))).max() > 0.02


def test_what_no_reading_lowers_must_be_of_these_ends():
    with pytest.raises(ValueError, match=r"a row and a column for each of 3 ends; got \(2, 2\)"):
        what_settles(STEEP, FEW, ABOVE, np.full(3, 1 / 3), beside=np.eye(2), possible=TRIED)


def test_the_chance_to_be_wrong_is_never_higher_with_more_readings():
    found = settled(count=6)
    wrong = [found.wrong_now, *found.wrong_after]
    assert len(wrong) == 7 and (np.diff(wrong) <= 0.0).all()
    assert wrong[-1] < wrong[0] - 0.01
    assert wrong[0] == pytest.approx(1.0 - found.chances["now"].max())


def test_ends_that_hardly_contend_are_left_out_but_never_the_two_that_come_first():
    some = settled(count=1, least=0.1)
    assert (
        some.chances["end"].tolist() == np.argsort(-CHANCES, kind="stable")[: (CHANCES >= 0.1).sum()].tolist()
    )
    assert (
        settled(count=1, least=0.99).chances["end"].tolist()
        == np.argsort(-CHANCES, kind="stable")[:2].tolist()
    )


def test_among_many_alike_chances_are_drawn():
    equal = np.full(len(ENDS), 1 / len(ENDS))
    found = what_settles(GROUND, ENDS, np.zeros(len(ENDS)), equal, possible=TRIED, count=1)
    assert len(found.chances) == len(ENDS)
    assert found.chances["now"].sum() == pytest.approx(1.0)
    assert (found.chances["now"] > 0.01).all()


def test_one_end_cannot_be_told_apart():
    with pytest.raises(ValueError, match="two ends at least are needed to be told apart, got 1"):
        what_settles(GROUND, ENDS[:1], HEIGHTS[:1], np.ones(1))


# --- several grounds are likely -------------------------------------------------------------------


def rough_ground(crosslevels=()):
    """Return the same readings on ground that may be rougher."""
    own = ground_of(crosslevels, across=0.12)
    kind = GroundType(q_mean=1e-3, q_twist=3e-4, relief=0.004)
    return fit_ground(own.survey, stations=TIES, ground_type=kind, instruments=TOOLS)


def exactly_mixed(likely, fitted):
    """Return the chances of the few ends, heights as told above, by the contest over both grounds."""
    each = tuple(
        Likely(share, ABOVE + one.mean(FEW) - fitted.mean(FEW), one.covariance(FEW)) for share, one in likely
    )
    size = len(FEW)
    contest = Contest(
        ABOVE, fitted.covariance(FEW), size, size, np.zeros(size), np.arange(size), np.zeros(size), each
    )
    return exact_governs(contest).chances


def test_over_likely_grounds_now_is_the_chance_that_the_contest_has():
    likely = ((0.6, STEEP), (0.4, rough_ground()))
    chances = exactly_mixed(likely, STEEP)
    found = what_settles(STEEP, FEW, ABOVE, chances, likely=likely, possible=TRIED, least=0.0)
    np.testing.assert_allclose(found.chances.sort_values("end")["now"], chances, atol=5e-4)
    assert found.wrong_now == pytest.approx(1.0 - chances.max(), abs=5e-4)
    assert abs(chances - exactly(STEEP.covariance(FEW))).max() > 0.02  # or the case shows nothing


def with_across(kind, angles):
    """Return the steep ground with left-to-rights, phone both ways round, that read these angles."""
    survey = ground_of(list(angles), across=0.12).survey
    crosslevels = survey.crosslevels.assign(angle_rad=np.repeat(list(angles.values()), 2))
    return fit_ground(
        replace(survey, crosslevels=crosslevels), stations=TIES, ground_type=kind, instruments=TOOLS
    )


def unlikely(ground):
    return unlikelihood(ground.fitted.model, ground.setting.prior, ground.roughness, ())


def test_over_likely_grounds_chances_after_readings_are_those_of_refits_weighed_by_their_likelihood():
    """Both grounds are fitted again with the readings in; what they say of each ground is in the shares."""
    rough = GroundType(q_mean=1e-3, q_twist=3e-4, relief=0.004)
    likely = ((0.6, STEEP), (0.4, rough_ground()))
    across = [one for one in TRIED if one.station in (0.5, 5.5)]
    chances = exactly_mixed(likely, STEEP)
    found = what_settles(STEEP, FEW, ABOVE, chances, likely=likely, possible=across, least=0.0)
    later = found.chances.sort_values("end")["after_2"]
    width, expected = STEEP.width, {}
    for one in across:
        ends = [(one.station, "right"), (one.station, "left")]
        rise = sum(share * float(own.mean(ends) @ [1, -1]) for share, own in likely)
        expected[one.station] = math.atan(rise / width)
    each, logs = [], []
    for (share, old), kind in zip(likely, (KNOWN, rough), strict=True):
        new = with_across(kind, expected)
        logs.append(math.log(share) - (unlikely(new) - unlikely(old)))
        each.append((ABOVE + new.mean(FEW) - STEEP.mean(FEW), new.covariance(FEW)))
    shares = np.exp(np.array(logs) - max(logs))
    shares /= shares.sum()
    assert abs(shares[0] - 0.6) > 0.02  # or the readings say nothing of the grounds
    size = len(FEW)
    mixed = tuple(Likely(float(s), *one) for s, one in zip(shares, each, strict=True))
    contest = Contest(
        ABOVE, mixed[0].covariance, size, size, np.zeros(size), np.arange(size), np.zeros(size), mixed
    )
    np.testing.assert_allclose(later, exact_governs(contest).chances, atol=0.01)


# --- what is no tie end ---------------------------------------------------------------------------


def test_an_obstacle_of_given_height_contends_and_one_between_points_hangs_on_both():
    """Four heights over three points: the ends, and a stone half-way between two of them."""
    parts = np.array([[1.0, 0, 0], [0, 1.0, 0], [0, 0.5, 0.5], [0, 0, 0]])
    heights = np.array([0.0, 0.001, 0.0005, 0.0008])
    covariance = parts @ STEEP.covariance(FEW) @ parts.T
    contest = Contest(heights, covariance, 4, 4, np.zeros(4), np.arange(4), np.zeros(4))
    chances = exact_governs(contest).chances
    found = what_settles(STEEP, FEW, heights, chances, parts=parts, possible=TRIED, least=0.0)
    np.testing.assert_allclose(found.chances.sort_values("end")["now"], chances, atol=1e-4)
    assert chances.min() > 0.02


def test_parts_must_go_with_what_contends():
    with pytest.raises(ValueError, match=r"parts must be of shape \(3, 3\); got \(2, 3\)"):
        what_settles(STEEP, FEW, ABOVE, np.full(3, 1 / 3), parts=np.ones((2, 3)), possible=TRIED)
