"""The highest reading is too high and the highest fitted point too low: over simulated surveys."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from trackkit.layout.line import grade_line, level_line
from trackkit.layout.run import run_from_sections
from trackkit.layout.sections import Section
from trackkit.study.high_point import expected_highest, high_point, raw_heights
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey

ROD_SD = 0.002
TOOLS = Instruments(rod_sd=ROD_SD, station_sd=0.0)
SECTION = Section("3 m", 3.0, (0.3, 1.5, 2.7), rail_top=0.1, bearing=0.1)
RUN = run_from_sections([SECTION])
READ = np.arange(0.0, 4.0)
ENDS = RUN.tie_points()
KNOWN = GroundType(q_mean=4e-5, q_twist=2e-5, relief=0.001)


def survey_of(heights, points, rng, *, laser=1.6, sd=ROD_SD, told=None):
    """Return the rods that a laser of unknown height reads, and a benchmark of height 0 read exactly."""
    rods = [
        {
            "laser": "1",
            "point": "",
            "station_m": at,
            "side": side,
            "rod_m": laser - z + rng.normal(0, sd),
            "sd_m": told or sd,
        }
        for (at, side), z in zip(points, heights, strict=True)
    ]
    rods.append({"laser": "1", "point": "BM", "station_m": np.nan, "side": "", "rod_m": laser, "sd_m": 1e-6})
    benchmarks = {"point": ["BM"], "height_m": [0.0], "sd_m": [0.0]}
    return make_survey(levels=pd.DataFrame(rods), benchmarks=benchmarks)


def fitted(survey, kind=KNOWN):
    return fit_ground(survey, stations=RUN.ties["station_m"], ground_type=kind, instruments=TOOLS)


def prior_draws(rng, count):
    """Return grounds of the model's own kind, by place that is read or a tie end: heights, shape (count,)."""
    at = np.unique(np.concatenate([READ, RUN.ties["station_m"]]))
    curves = []
    for q in (KNOWN.q_mean, KNOWN.q_twist):
        height, slope, found = rng.normal(0, 0.02, count), rng.normal(0, 0.003, count), []
        for gap in np.diff(at, prepend=at[0]):
            one, two = math.sqrt(q) * rng.standard_normal((2, count))
            height = height + slope * gap + gap**1.5 * (one / 2 + two / math.sqrt(12))
            slope = slope + math.sqrt(gap) * one
            found.append(height)
        curves.append(np.array(found))
    sides = {"left": curves[0] - curves[1] / 2, "right": curves[0] + curves[1] / 2}
    return {
        (float(s), side): heights + rng.normal(0, KNOWN.relief, count)
        for side, own in sides.items()
        for s, heights in zip(at, own, strict=True)
    }


def simulated(read, rng, count):
    """Return tie ends by surveys of grounds of the model's own kind: one fit, fitted, true (count, ends).

    With stated roughness a fit is linear in its readings, so that one fit tells what others would find.
    """
    ground = fitted(survey_of(np.zeros(len(read)), read, rng, sd=1e-12, told=ROD_SD))
    table = ground.setting.observations.table
    moves = ground.heights.influence(ENDS)[(table["kind"] == "rod") & table["station_m"].notna()]
    truth = prior_draws(rng, count)
    off = np.column_stack([truth[point] for point in read]) + rng.normal(0, ROD_SD, (count, len(read)))
    means = ground.mean(ENDS) - off @ moves * (1.0 if moves.sum() < 0.0 else -1.0)
    again = fitted(survey_of(off[0], read, rng, sd=1e-12, told=ROD_SD))
    np.testing.assert_allclose(again.mean(ENDS), means[0], atol=1e-8)  # or it is not so linear
    return ground, means, np.column_stack([truth[point] for point in ENDS])


def test_the_expected_highest_is_right_on_average_and_the_fitted_top_too_low():
    """4000 surveys of grounds of the model's own kind, within four standard errors."""
    rng = np.random.default_rng(11)
    read = [(float(s), side) for s in READ for side in ("left", "right")]
    ground, means, truth = simulated(read, rng, 4000)
    covariance = ground.covariance(ENDS)
    highest = np.array(
        [expected_highest(mean, covariance, draws=50, seed=i)[0] for i, mean in enumerate(means)]
    )
    off, low = highest - truth.max(axis=1), means.max(axis=1) - truth.max(axis=1)
    noise = 4 * off.std() / math.sqrt(4000)
    assert abs(off.mean()) < noise
    assert low.mean() < -noise


def test_on_flat_rough_ground_the_highest_reading_is_too_high_by_the_order_statistic():
    """H. L. Harter, Biometrika 48 (1961): 1.86748 sigma for the highest of 20 (from memory, recomputed)."""
    rng = np.random.default_rng(20)
    points = [(float(s), side) for s in np.linspace(0.0, 10.0, 200) for side in ("left", "right")]
    over = []
    for _ in range(4):
        places, heights = raw_heights(fitted(survey_of(np.zeros(400), points, rng)))
        assert list(places) == points
        over.append(heights.reshape(20, 20).max(axis=1))
    over = np.concatenate(over)
    assert over.mean() == pytest.approx(1.86748 * ROD_SD, abs=4 * over.std() / math.sqrt(over.size))


def test_of_the_two_biases_each_has_its_own_sign():
    rng = np.random.default_rng(3)
    points = [(float(s), side) for s in np.linspace(0, 3, 10) for side in ("left", "right")]
    found = []
    for _ in range(6):
        ground = fitted(survey_of(np.zeros(20), points, rng))
        own = high_point(ground, level_line(ground, RUN), draws=500)
        assert own.fitted_too_low == own.highest - own.fitted
        assert own.reading_too_high == own.raw - own.highest_read
        assert own.raw_at in points and own.fitted_at in ENDS
        found.append(own)
    assert np.mean([own.reading_too_high for own in found]) > 0.0
    assert min(own.fitted_too_low for own in found) > 0.0
    assert np.mean([own.raw for own in found]) > np.mean([own.highest for own in found])


def test_raw_heights_of_plain_rods_are_the_laser_s_height_less_the_rod():
    rng = np.random.default_rng(5)
    points = [(0.0, "left"), (1.0, "right"), (1.0, "right"), (2.5, "left"), (3.0, "right")]
    survey = survey_of(rng.normal(0, 0.01, 5), points, rng)
    ground = fitted(survey)
    places, heights = raw_heights(ground)
    laser = float(ground.lasers["height_m"].iloc[0])
    rods = survey.levels[survey.levels["point"] == ""]["rod_m"].to_numpy(dtype=float)
    assert list(places) == points
    np.testing.assert_allclose(heights, laser - rods, atol=1e-12)


def test_on_a_grade_the_high_point_is_the_one_over_the_grade():
    rng = np.random.default_rng(6)
    points = [(float(s), side) for s in np.linspace(0, 3, 7) for side in ("left", "right")]
    height = [0.05 * s + 0.02 * (s == 1.5 and side == "right") for s, side in points]
    ground = fitted(
        survey_of(height, points, rng, sd=0.0005), GroundType(q_mean=1e-3, q_twist=1e-3, relief=0.002)
    )
    level = high_point(ground, level_line(ground, RUN))
    line = grade_line(ground, RUN, 0.05)
    graded = high_point(ground, line)
    assert (level.raw_at, graded.raw_at) == ((3.0, level.raw_at[1]), (1.5, "right"))
    assert graded.fitted_at == (line.run.tie_points()[3])
    assert graded.fitted == pytest.approx(-line.gap)  # the line lies that much over its governing point


def test_under_lower_track_heights_count_from_its_own_underside():
    low = Section("low", 3.0, (0.3, 1.5, 2.7), rail_top=0.08, bearing=0.1)
    run = run_from_sections([SECTION, low])
    rng = np.random.default_rng(7)
    points = [(float(s), side) for s in np.linspace(0, 6, 7) for side in ("left", "right")]
    ground = fitted(survey_of([0.001 * s for s, _ in points], points, rng, sd=0.0002))
    line = level_line(ground, run)
    found = high_point(ground, line)
    assert found.fitted_at[0] < 3.0 and found.fitted == pytest.approx(-line.gap)
    assert found.raw_at[0] < 3.0
    assert high_point(ground, line, ends=line.run.tie_points()).fitted == pytest.approx(found.fitted)


def test_without_rods_along_the_run_nothing_is_said_of_the_highest_reading():
    angles = {"station_m": [0.0, 3.0] * 2, "angle_rad": 0.0, "facing": ["ahead", "ahead", "back", "back"]}
    boards = {"station_m": [0.0, 1.5] * 2, "to_station_m": [1.5, 3.0] * 2,
              "side": ["left"] * 2 + ["right"] * 2, "angle_rad": 0.0, "facing": "ahead"}  # fmt: skip
    survey = make_survey(crosslevels=pd.DataFrame(angles), boards=pd.DataFrame(boards))
    ground = fitted(survey)
    assert raw_heights(ground)[0] == ()
    found = high_point(ground, level_line(ground, RUN))
    assert np.isnan(found.raw) and np.isnan(found.reading_too_high) and found.raw_at is None
    assert np.isfinite(found.highest)
