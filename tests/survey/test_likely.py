"""The grounds of which the readings may be: their chances against the dense build of ``dense.py``."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from dense import DenseGround

from trackkit.survey.fitting import fit_with
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.likely import LEAST, LEFT_OUT, MOST, likely_grounds
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey
from trackkit.survey.roughness import BELIEFS, unlikelihood

ROD_SD = 0.0015
TOOLS = Instruments(rod_sd=ROD_SD, station_sd=0.0)
KNOWN = {"q_mean": 1e-4, "q_twist": 2e-5}


def rods(count, *, relief=0.001, seed=3, spacing=0.7):
    """Return heights of rods on both sides, with stones on ground of known waviness."""
    rng = np.random.default_rng(seed)
    stations = np.round(np.arange(count) * spacing, 6)
    return [
        (float(at), side, 0.01 * math.sin(at) + rng.normal(0, math.hypot(relief, ROD_SD)))
        for at in stations for side in ("left", "right")
    ]  # fmt: skip


def ground_of(heights, *, stations=None, **stated):
    table = pd.DataFrame(heights, columns=["station_m", "side", "height_m"])
    levels = table.assign(rod_m=1.5 - table["height_m"]).drop(columns="height_m")
    return fit_ground(
        make_survey(levels=levels), instruments=TOOLS, ground_type=GroundType(**stated), stations=stations
    )


def test_shares_are_the_chances_of_the_dense_build():
    """With the waviness stated, each share is its restricted likelihood times the belief."""
    heights = rods(8)
    found = likely_grounds(ground_of(heights, **KNOWN))
    assert len(found) >= 4

    def chance(relief):
        dense = DenseGround(KNOWN["q_mean"], KNOWN["q_twist"], relief, origin=0.0)
        for at, side, height in heights:
            dense.read(1.5 - height, ROD_SD, [((at, side), -1.0)], [("laser", 1.0)])
        minus_twice = dense.solve([heights[3][:2]], heights[0][:2])[4]
        away = (math.log(relief) - BELIEFS["relief"].centre) / BELIEFS["relief"].spread
        return -0.5 * (minus_twice + away**2)

    logs = np.array([chance(one.roughness.relief) for _, one in found])
    weights = np.exp(logs - logs.max())
    np.testing.assert_allclose([share for share, _ in found], weights / weights.sum(), rtol=1e-5)


def test_each_ground_is_the_fit_with_that_relief_stated():
    heights = rods(8)
    points = [(1.05, "left"), (2.8, "right"), (4.9, "left")]
    at = [one[0] for one in points]
    ground = ground_of(heights, stations=at, **KNOWN)
    for _, one in likely_grounds(ground):
        again = ground_of(heights, stations=at, **KNOWN, relief=one.roughness.relief)
        np.testing.assert_allclose(one.mean(points), again.mean(points), atol=1e-9)
        # what is widened for an estimated roughness stays widened
        np.testing.assert_allclose(
            one.covariance(points), one.inflation * again.covariance(points), atol=1e-12
        )
        assert one.inflation == ground.inflation > again.inflation == 1.0


def test_waviness_that_is_estimated_is_the_likeliest_with_each_relief():
    ground = ground_of(rods(10, relief=0.002))
    found = likely_grounds(ground)
    assert sum(share for share, _ in found) == pytest.approx(1.0)
    reliefs = [one.roughness.relief for _, one in found]
    assert reliefs == sorted(reliefs) and reliefs[0] >= LEAST and reliefs[-1] <= MOST
    np.testing.assert_allclose(np.diff(np.log(reliefs)), math.log(2.0))
    model, prior = ground.fitted.model, ground.setting.prior
    for _, one in found:
        own = one.roughness
        least = unlikelihood(model, prior, own)
        for name in ("q_mean", "q_twist"):
            for factor in (0.5, 2.0):
                assert unlikelihood(model, prior, replace(own, **{name: factor * getattr(own, name)})) > least


def test_no_relief_that_is_far_less_likely_is_kept():
    ground = ground_of(rods(60, relief=0.004), **KNOWN)
    found = likely_grounds(ground)
    shares = [share for share, _ in found]
    assert min(shares) > 0.99 * LEFT_OUT * max(shares)
    assert len(found) < 4  # sixty stations tell it well


def test_of_a_relief_that_was_stated_there_is_one_ground():
    ground = ground_of(rods(6), relief=0.001)
    assert likely_grounds(ground) == ((1.0, ground),)


def test_where_the_readings_leave_no_other_relief_the_ground_stays_as_it_was_fitted():
    ground = ground_of(rods(400, relief=0.004), **KNOWN)
    assert likely_grounds(ground) == ((1.0, ground),)


def test_the_ground_as_it_was_fitted_is_always_one_of_them():
    """A rod misread by a foot makes the ground look far rougher than any lawn: it is not looked for there."""
    heights = rods(8)
    at, side, height = heights[6]
    heights[6] = (at, side, height + 0.3048)
    ground = ground_of(heights)
    assert ground.roughness.relief > 0.05
    found = likely_grounds(ground)
    nearest = min(found, key=lambda own: abs(math.log(own[1].roughness.relief / ground.roughness.relief)))
    assert nearest[1].roughness.relief == pytest.approx(ground.roughness.relief)
    assert nearest[1].roughness.q_mean == pytest.approx(ground.roughness.q_mean, rel=0.05)
    assert nearest[0] > 0.1
    points = [(1.05, "left"), (4.9, "right")]
    spread = sum(share * one.covariance(points) for share, one in found)
    assert spread[0, 0] + spread[1, 1] - 2 * spread[0, 1] > 0.05**2


@pytest.mark.parametrize(("count", "seed"), [(4, 1), (5, 2), (7, 3)])
def test_intervals_are_about_as_wide_as_when_all_three_are_averaged_over(count, seed):
    """Against a grid over both roughnesses and the relief: a summation that shares nothing with the walk."""
    ground = ground_of(rods(count, seed=seed, relief=0.0015), stations=[1.05, 1.75])
    away = np.array([-1.0, 1.0])
    points = [(1.05, "left"), (1.75, "left")]

    def spread(each):
        mean = sum(share * away @ one.mean(points) for share, one in each)
        return sum(
            share * (away @ one.covariance(points) @ away + (away @ one.mean(points) - mean) ** 2)
            for share, one in each
        )

    own, setting, model = ground.roughness, ground.setting, ground.fitted.model
    grid = []
    for q_mean in own.q_mean * np.exp(np.arange(-6.0, 6.1, 2.0)):
        for q_twist in own.q_twist * np.exp(np.arange(-6.0, 6.1, 2.0)):
            for relief in np.exp(np.arange(math.log(LEAST), math.log(0.02), 0.7)):
                rough = replace(own, q_mean=float(q_mean), q_twist=float(q_twist), relief=float(relief))
                grid.append((rough, unlikelihood(model, setting.prior, rough)))
    least = min(far for _, far in grid)
    kept = [(math.exp(least - far), rough) for rough, far in grid if far < least + 7.0]
    total = sum(weight for weight, _ in kept)
    full = spread(
        [
            (weight / total, replace(ground, fitted=fit_with(setting, model, rough), inflation=1.0))
            for weight, rough in kept
        ]
    )
    ours = spread(likely_grounds(ground))
    assert 0.8 < math.sqrt(ours / full) < 1.7
