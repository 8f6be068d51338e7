"""Chances that track touches, against exact normal probabilities (scipy.stats)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import multivariate_normal, norm

from trackkit.layout import (
    Doubt,
    Section,
    chance_any_touches,
    extra_gap,
    fill_model,
    level_line,
    run_from_sections,
)
from trackkit.layout.doubt import point_covariance, touch_chances

FILLS = np.array([0.0, 0.004, 0.010, 0.0])
SD = np.array([0.003, 0.004, 0.008, 0.002])
CORRELATION = np.array([[1, 0.7, 0.2, 0], [0.7, 1, 0.4, 0.1], [0.2, 0.4, 1, 0.5], [0, 0.1, 0.5, 1.0]])
RUN = run_from_sections([Section("3 m", 3.0, (0.15, 1.5, 2.85), 0.12, 0.1)] * 2)


def exact(rise: float, covariance: np.ndarray, touch: float = 0.003) -> float:
    """Chance that some end touches: 1 - P(ground - underside <= touch at all ends)."""
    return 1 - multivariate_normal(cov=covariance, abseps=1e-7, releps=1e-7, seed=1).cdf(FILLS + rise + touch)


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
def test_the_extra_gap_of_independent_ends_is_that_of_the_product_of_normal_chances(confidence):
    draws = 100_000
    rise = extra_gap(FILLS, np.diag(SD**2), confidence=confidence, touch=0.003, draws=draws, seed=1)
    spared = float(np.prod(norm.cdf((FILLS + rise + 0.003) / SD)))
    assert spared == pytest.approx(confidence, abs=4 * np.sqrt(confidence * (1 - confidence) / draws))
    wanted = brentq(lambda r: np.prod(norm.cdf((FILLS + r + 0.003) / SD)) - confidence, -0.05, 0.1)
    assert rise == pytest.approx(wanted, abs=2e-4)


def test_ends_that_share_their_doubt_follow_the_multivariate_normal():
    covariance = CORRELATION * np.outer(SD, SD)
    draws = 100_000
    rise = extra_gap(FILLS, covariance, confidence=0.95, touch=0.003, draws=draws, seed=2)
    noise = 4 * np.sqrt(0.05 * 0.95 / draws)
    assert exact(rise, covariance) == pytest.approx(0.05, abs=noise)
    chance = chance_any_touches(FILLS + 0.002, covariance, touch=0.003, draws=draws, seed=3)
    assert chance == pytest.approx(exact(0.002, covariance), abs=2 * noise)


def test_ends_that_are_one_need_no_more_than_one_end_does():
    rise = extra_gap([0.0] * 5, np.full((5, 5), 0.01**2), confidence=0.95, touch=0.0, draws=100_000, seed=1)
    assert rise == pytest.approx(0.01 * norm.ppf(0.95), abs=2e-4)


def test_no_doubt_or_enough_room_needs_no_more_gap():
    assert extra_gap(FILLS, np.zeros((4, 4)), confidence=0.95, touch=0.003, draws=10, seed=1) == 0.0
    assert extra_gap(FILLS + 0.1, np.diag(SD**2), confidence=0.95, touch=0.003, draws=1000, seed=1) == 0.0


def test_a_covariance_with_rounding_in_it_still_gives_an_answer():
    rough = np.full((3, 3), 1e-6) + np.diag([0.0, -1e-14, 1e-14])
    rise = extra_gap([0.0] * 3, rough, confidence=0.95, touch=0.0, draws=100_000, seed=1)
    assert rise == pytest.approx(1e-3 * norm.ppf(0.95), rel=0.02)


def test_the_same_seed_gives_the_same_gap():
    a, b = (extra_gap(FILLS, np.diag(SD**2), confidence=0.9, touch=0.0, draws=1000, seed=7) for _ in range(2))
    assert a == b


@pytest.mark.parametrize("confidence", [0.0, 1.0, 95.0])
def test_a_confidence_outside_0_to_1_is_refused(confidence):
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1"):
        extra_gap(FILLS, np.diag(SD**2), confidence=confidence, touch=0.0, draws=10, seed=1)


def test_the_chance_of_one_end_is_the_normal_tail():
    np.testing.assert_allclose(touch_chances(FILLS, SD, touch=0.003), norm.sf(FILLS + 0.003, scale=SD))
    assert touch_chances([-0.004, -0.003], [0.0, 0.0], touch=0.003).tolist() == [1.0, 0.0]


def test_track_laid_sideways_on_a_cross_slope_moves_fills_by_slope_times_offset(make_ground):
    # A plane that falls 5 % to the left everywhere but at the contact, which lies flat.
    ground = make_ground(surface=lambda s, side: 0.05 * 0.62 * (side == "right") + 0.1 * (s < 0.2), sd=0.0)
    flat = make_ground(surface=lambda s, side: 0.1 if s < 0.2 else ground.surface(s, side), sd=0.0)
    doubt = Doubt(sideways_sd=0.1, sideways_length=1e6)
    line = level_line(flat, RUN)
    model = fill_model(flat, RUN, line, doubt=doubt)
    np.testing.assert_allclose(model.sd[2:], 0.05 * 0.1, rtol=1e-6)
    # Both sides of one tie move together: their difference is not in doubt.
    difference = model.covariance[2, 2] + model.covariance[3, 3] - 2 * model.covariance[2, 3]
    assert difference == pytest.approx(0.0, abs=1e-15)
    # Where the contact lies on the same cross-slope and moves along, nothing changes.
    same = fill_model(ground, RUN, level_line(ground, RUN), doubt=doubt)
    assert same.sd.max() < 1e-7


def test_sideways_doubt_fades_with_distance_and_leaves_pegs_alone(make_ground):
    ground = make_ground(surface=lambda s, side: 0.062 * (side == "right"), sd=0.0, pegs={"P": (0.0, 0.0)})
    points = [(0.0, "left"), (10.0, "left"), "P"]
    c = point_covariance(ground, points, Doubt(sideways_sd=0.1, sideways_length=10.0))
    assert c[0, 0] == pytest.approx((0.1 * 0.1) ** 2)
    assert c[0, 1] == pytest.approx(c[0, 0] * np.exp(-0.5))
    assert not c[2].any()


@pytest.mark.parametrize("right", [3.0, np.nan], ids=["slanting", "under one rail"])
def test_sideways_doubt_is_not_taken_over_a_break(make_ground, right):
    """Flat ground with a step of 0.12 m at 2 m on the left: 10 cm aside moves nothing by 19 mm."""
    step = {"left": 2.0, "right": 3.0}
    ground = make_ground(surface=lambda s, side: 0.12 * (s >= step[side]), sd=0.0)
    points = [(s, side) for s in (1.0, 2.5, 2.9) for side in ("left", "right")]
    doubt = Doubt(sideways_sd=0.1)
    assert point_covariance(ground, points, doubt, [(2.0, right)]).max() < 1e-12
    over = np.sqrt(np.diag(point_covariance(ground, points, doubt)))
    assert over.max() == pytest.approx(0.1 * 0.12 / 0.62)


@pytest.mark.parametrize(
    ("fault", "message"),
    [({"touch": -1.0}, "touch must be 0 m or more"), ({"draws": 0}, "draws must be above 0")],
)
def test_doubt_that_makes_no_sense_is_refused(fault, message):
    with pytest.raises(ValueError, match=message):
        Doubt(**fault)
