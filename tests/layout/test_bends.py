"""Track that follows the ground, against an independent dense linear program."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import linprog

from trackkit.layout.bends import follow
from trackkit.problems import CannotDo


def dense(knots, s, h, fill, bend, grade=None, through=None):
    """Total line height at the tie ends: rows from np.interp of unit knots, interior-point method."""
    unit = np.eye(len(knots))
    at = np.array([np.interp(s, knots, row) for row in unit]).T
    cost = np.array([np.interp(fill, knots, row) for row in unit]).T.sum(axis=0)
    slopes = np.array([np.diff(row) / np.diff(knots) for row in unit]).T
    upper, bound = [-at], [-h]
    for rows, limit in ((np.diff(slopes, axis=0), bend), (slopes, grade)):
        if limit is not None:
            upper += [rows, -rows]
            bound += [np.full(len(rows), limit)] * 2
    fixed = np.array([np.interp([through[0]], knots, row) for row in unit]).T if through else None
    answer = linprog(
        cost, A_ub=np.vstack(upper), b_ub=np.concatenate(bound), A_eq=fixed,
        b_eq=[through[1]] if through else None, bounds=(None, None), method="highs-ipm",
    )  # fmt: skip
    return answer.fun if answer.status == 0 else None


def case(rng, sections=None):
    m = int(rng.integers(1, 8)) if sections is None else sections
    knots = np.concatenate([[-1.2], -1.2 + np.cumsum(rng.choice([1.0, 2.0, 3.0], m))])
    s = np.concatenate([np.linspace(a + 0.1, b - 0.1, 4) for a, b in pairwise(knots)]).repeat(2)
    return knots, s, 0.02 * s + rng.normal(0, 0.03, len(s))


def test_follow_equals_a_dense_program_and_keeps_every_limit():
    rng = np.random.default_rng(0)
    for trial in range(80):
        knots, s, h = case(rng)
        bend = float(rng.choice([0.0, 0.001, 0.003, 0.02, 0.1]))
        grade = 0.03 if trial % 2 else None
        line = follow(knots, s, h + 100, s, bend_limit=bend, grade_limit=grade)
        assert np.interp(s, knots, line.heights - 100).sum() == pytest.approx(
            dense(knots, s, h, s, bend, grade), abs=1e-6
        )
        slopes = np.diff(line.heights) / np.diff(knots)
        assert np.min(np.interp(s, knots, line.heights) - h - 100) > -1e-10
        assert np.max(np.abs(np.diff(slopes)), initial=0.0) <= bend + 1e-10
        assert grade is None or np.abs(slopes).max() <= grade + 1e-10


def test_without_bends_follow_is_the_least_fill_line():
    from trackkit.layout.straight import least_fill

    rng = np.random.default_rng(1)
    for _ in range(20):
        knots, s, h = case(rng)
        line = follow(knots, s, h, s, bend_limit=0.0)
        np.testing.assert_allclose(line.heights, least_fill(s, h, limit=10.0).height_at(knots), atol=1e-9)


def test_weights_and_contacts_are_the_slopes_found_by_finite_differences():
    rng = np.random.default_rng(2)
    for bend in (0.003, 0.03):
        knots, s, h = case(rng, sections=4)
        line = follow(knots, s, h, s, bend_limit=bend)
        expected = np.zeros((len(knots), len(h)))
        expected[:, list(line.contacts)] = line.weights
        step = 1e-6
        for k in range(len(h)):
            up, down = h.copy(), h.copy()
            up[k] += step
            down[k] -= step
            change = (
                follow(knots, s, up, s, bend_limit=bend).heights
                - follow(knots, s, down, s, bend_limit=bend).heights
            )
            np.testing.assert_allclose(change / (2 * step), expected[:, k], atol=1e-5)
        assert len(line.contacts) >= 2


def test_through_a_reference_follow_equals_the_dense_program_and_moves_with_the_reference():
    rng = np.random.default_rng(3)
    clear = 0
    for _ in range(30):
        knots, s, h = case(rng)
        at = float(rng.uniform(knots[0], knots[-1]))
        height = float(np.max(h) + 0.05)
        line = follow(knots, s, h, s, bend_limit=0.02, through=(at, height))
        assert np.interp(at, knots, line.heights) == pytest.approx(height, abs=1e-9)
        total = dense(knots, s, h, s, 0.02, through=(at, height))
        if total is None:
            continue
        assert np.interp(s, knots, line.heights).sum() == pytest.approx(total, abs=1e-6)
        assert line.depth == pytest.approx(0.0, abs=1e-9)
        both = line.weights.sum(axis=1) + line.reference
        np.testing.assert_allclose(both, 1.0, atol=1e-9)  # raising ground and reference raises the line
        clear += 1
    assert clear > 20


def test_a_reference_below_the_ground_gives_the_line_that_lies_least_deep():
    knots = np.array([0.0, 2.0, 4.0])
    s = np.array([0.2, 1.8, 2.2, 3.8])
    line = follow(knots, s, np.array([0.0, 0.1, 0.1, 0.0]), s, bend_limit=0.0, through=(2.0, 0.05))
    # Nothing but level through 0.05 leaves as little as 50 mm too low at both middle ties.
    assert line.depth == pytest.approx(0.05)
    np.testing.assert_allclose(line.heights, 0.05, atol=1e-9)


def test_follow_is_the_same_on_any_datum_and_mirrored_end_for_end():
    knots, s, h = case(np.random.default_rng(6), sections=3)
    line = follow(knots, s, h, s, bend_limit=0.01).heights
    np.testing.assert_allclose(follow(knots, s, h + 250.0, s, bend_limit=0.01).heights, line + 250, atol=1e-9)
    back = follow(-knots[::-1], -s[::-1], h[::-1], -s[::-1], bend_limit=0.01).heights
    np.testing.assert_allclose(back[::-1], line, atol=1e-9)


def test_limits_that_no_line_can_keep_are_refused():
    with pytest.raises(CannotDo, match="no line passes through"):
        follow([0.0, 1.0, 2.0], [0.5], [0.0], [0.5], bend_limit=0.01, grade_limit=-0.1, through=(1.0, 0.0))


def test_on_a_plane_where_every_tie_touches_the_weights_are_still_a_price_of_the_ground():
    # Raising ground anywhere can only cost fill; of the many rows that hold the line those count
    # that have a price, and the prices add up to one a tie end.
    rng = np.random.default_rng(5)
    for _ in range(20):
        knots, s, _ = case(rng)
        line = follow(knots, s, 0.03 * s, s, bend_limit=0.003)
        np.testing.assert_allclose(line.heights, 0.03 * knots, atol=1e-9)
        at = np.array([np.interp(s, knots, row) for row in np.eye(len(knots))]).T
        price = at.sum(axis=0) @ line.weights
        assert price.min() > -1e-9
        assert price.sum() == pytest.approx(len(s))
