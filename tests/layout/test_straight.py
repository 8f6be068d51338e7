"""Straight lines over heights, against `scipy.optimize.linprog` and by their properties."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from trackkit.layout.straight import (
    at_grade,
    grades_within,
    least_fill,
    least_fill_through,
    least_largest_fill,
)


def by_linprog(s, h, low, high, through=None, centre=None):
    """Total height above zero of the least-fill line, as a linear program in (height at 0, grade)."""
    centre = float(np.mean(s)) if centre is None else centre
    answer = linprog(
        [1.0, centre], A_ub=np.column_stack([-np.ones(len(s)), -s]), b_ub=-h,
        A_eq=[[1.0, through[0]]] if through else None, b_eq=[through[1]] if through else None,
        bounds=[(None, None), (low, high)],
    )  # fmt: skip
    return answer.fun if answer.status == 0 else None


def cases():
    rng = np.random.default_rng(0)
    for trial in range(250):
        n = int(rng.integers(2, 40))
        s = np.repeat(np.sort(rng.uniform(-5, 20, n)), 2)
        h = rng.normal(0, 0.1, 2 * n) + rng.normal(0, 0.05) * s
        if trial % 3 == 0:
            s, h = np.round(s), np.round(h, 1)  # duplicates, and points on one line
        yield s, h, float(rng.choice([0.005, 0.05, 0.5]))


def test_least_fill_equals_linprog():
    for s, h, limit in cases():
        line = least_fill(s, h, limit=limit)
        assert float(line.height_at(s.mean())) == pytest.approx(by_linprog(s, h, -limit, limit), abs=1e-9)
        assert abs(line.grade) <= limit
        assert np.min(line.height_at(s) - h) > -1e-12


@pytest.mark.parametrize(
    ("s", "h", "grade"),
    [
        ([0, 0, 1, 1, 2, 2], [0.0, 0.0, 0.03, 0.03, 0.06, 0.06], 0.03),
        ([0, 0, 1, 1, 2, 2], [0.1] * 6, 0.0),
        ([3, 3], [0.2, 0.1], 0.0),
        ([3], [0.2], 0.0),
        ([0, 1, 2], [0.0, 0.5, 0.1], 0.0),
        ([0, 1, 2], [0.0, 0.5, 0.98], 0.48),
        ([0, 2, 4], [0.0, 1.0, 2.0], 0.05),
    ],
    ids=["all on a line", "flat", "one tie", "one point", "corner at the middle, level will do",
         "corner at the middle, nearest to level", "limit active"],
)  # fmt: skip
def test_least_fill_of_degenerate_ground_equals_linprog(s, h, grade):
    limit = 0.05 if grade == 0.05 else 0.6
    s, h = np.array(s, dtype=float), np.array(h, dtype=float)
    line = least_fill(s, h, limit=limit)
    assert line.grade == pytest.approx(grade, abs=1e-12)
    assert float(line.height_at(s.mean())) == pytest.approx(by_linprog(s, h, -limit, limit), abs=1e-9)


def test_least_fill_counts_only_tie_ends_but_clears_every_point():
    s, h = np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 0.1, 0.0, 0.0])
    every, obstacle = np.append(s, 2.9), np.append(h, 0.3)
    line = least_fill(every, obstacle, limit=0.5, centre=float(s.mean()))
    assert float(line.height_at(1.5)) == pytest.approx(by_linprog(every, obstacle, -0.5, 0.5, centre=1.5))
    assert np.min(line.height_at(every) - obstacle) > -1e-12


def test_least_fill_keeps_to_a_range_of_grades():
    s, h = np.array([0.0, 1.0, 2.0]), np.array([0.0, 0.02, 0.0])
    line = least_fill(s, h, limit=(0.01, 0.03))
    assert line.grade == 0.01
    assert line.limited


def test_few_looks_find_the_contacts():
    rng = np.random.default_rng(3)
    steps = []
    for _ in range(200):
        s = np.repeat(np.linspace(0, 40, 60), 2)
        steps.append(least_fill(s, np.cumsum(rng.normal(0, 0.01, 120)), limit=0.5).steps)
    assert np.median(steps) <= 3
    assert max(steps) <= 8


def test_weights_give_the_line_back_and_its_change_with_every_height():
    for s, h, limit in cases():
        line = least_fill(s, h, limit=limit)
        if line.limited:
            continue
        np.testing.assert_allclose(line.weights(s) @ h[list(line.contacts)], line.height_at(s), atol=1e-10)
        np.testing.assert_allclose(line.weights(s).sum(axis=1), 1.0, atol=1e-10)


def test_weights_are_the_slopes_found_by_finite_differences():
    rng = np.random.default_rng(2)
    s, h = np.sort(rng.uniform(0, 10, 20)), rng.normal(0, 0.1, 20)
    line = least_fill(s, h, limit=1.0)
    expected = np.zeros((20, 20))
    expected[:, list(line.contacts)] = line.weights(s)
    step = 1e-6
    for k in range(20):
        up, down = h.copy(), h.copy()
        up[k] += step
        down[k] -= step
        slope = (least_fill(s, up, limit=1.0).height_at(s) - least_fill(s, down, limit=1.0).height_at(s)) / (
            2 * step
        )
        np.testing.assert_allclose(slope, expected[:, k], atol=1e-6)


heights = st.lists(st.floats(-0.5, 0.5), min_size=3, max_size=15)


@settings(max_examples=80, deadline=None)
@given(h=heights, c=st.floats(-100, 100), k=st.floats(0.1, 10))
def test_least_fill_is_never_below_and_moves_turns_and_scales_with_the_ground(h, c, k):
    h = np.array(h)
    s = np.arange(len(h)) * 0.75
    line = least_fill(s, h, limit=0.2).height_at(s)
    assert np.min(line - h) > -1e-12
    np.testing.assert_allclose(least_fill(s, h + c, limit=0.2).height_at(s), line + c, atol=1e-9)
    np.testing.assert_allclose(least_fill(-s, h, limit=0.2).height_at(-s), line, atol=1e-9)
    np.testing.assert_allclose(least_fill(k * s, k * h, limit=0.2).height_at(k * s), k * line, atol=1e-9)
    np.testing.assert_allclose(least_fill(s + c, h, limit=0.2).height_at(s + c), line, atol=1e-9)


def test_through_a_reference_least_fill_equals_linprog_and_else_lies_least_deep():
    rng = np.random.default_rng(4)
    clear = deep = 0
    for s, h, limit in cases():
        at = float(rng.uniform(s.min() - 1, s.max() + 1))
        height = float(h.max() + rng.normal(0, 0.15))
        line = least_fill_through(s, h, at=at, height=height, limit=limit, centre=float(s.mean()))
        assert float(line.height_at(at)) == pytest.approx(height, abs=1e-12)
        assert abs(line.grade) <= limit + 1e-12
        total = by_linprog(s, h, -limit, limit, through=(at, height))
        depth = float(np.max(h - line.height_at(s)))
        if total is not None:
            assert float(line.height_at(s.mean())) == pytest.approx(total, abs=1e-8)
            assert depth < 1e-9
            clear += 1
        else:
            grid = np.linspace(-limit, limit, 2001)
            tried = np.max(h - height - grid[:, None] * (s - at), axis=1)
            assert depth <= tried.min() + 1e-12
            deep += 1
        known = line.weights(s) @ h[list(line.contacts)] + line.reference_weights(s) * height
        if not line.limited:
            np.testing.assert_allclose(known, line.height_at(s), atol=1e-9)
    assert min(clear, deep) > 20


def test_a_line_at_a_given_grade_rests_on_the_point_highest_above_it():
    s, h = np.array([0.0, 5.0, 10.0]), np.array([0.2, 0.3, 0.55])
    assert at_grade(s, h, 0.05).contacts == (0,)
    assert at_grade(s, h, 0.0).contacts == (2,)


def test_grades_within_a_height_limit_are_those_a_fine_grid_finds():
    rng = np.random.default_rng(9)
    found = none = 0
    for _ in range(100):
        s = np.sort(rng.uniform(0, 15, 12))
        z = 0.04 * s + rng.normal(0, 0.05, 12)
        largest = float(rng.uniform(0.1, 0.5))
        grid = np.linspace(-0.2, 0.2, 4001)
        fills = np.max(z[None] - grid[:, None] * s, axis=1)[:, None] + grid[:, None] * s - z
        good = grid[fills.max(axis=1) <= largest]
        got = grades_within(s, z, s, z, largest=largest)
        if got is None:
            assert not len(good)
            none += 1
        elif len(good):
            assert got[0] == pytest.approx(good.min(), abs=1.01e-4)
            assert got[1] == pytest.approx(good.max(), abs=1.01e-4)
            found += 1
        grade, least = least_largest_fill(s, z, s, z, limit=0.2)
        assert least <= fills.max(axis=1).min() + 1e-12
        assert least == pytest.approx(np.max(z - grade * s) + np.max(grade * s - z), abs=1e-12)
    assert min(found, none) > 5


def test_an_endless_line_is_refused():
    with pytest.raises(ValueError, match="one side of centre"):
        least_fill([1.0, 2.0], [0.0, 0.1], limit=np.inf, centre=0.0)
    with pytest.raises(ValueError, match="no point limits the grade"):
        least_fill_through([1.0, 2.0], [0.0, 0.1], at=0.0, height=1.0, limit=np.inf, centre=-1.0)


def test_through_a_height_below_the_ground_right_there_the_line_lies_least_deep_elsewhere():
    # At station 2 the ground is 0.1 m over the reference: no grade helps there, all else is cleared.
    s, h = np.array([0.0, 2.0, 4.0]), np.array([-0.4, 0.1, 0.1])
    line = least_fill_through(s, h, at=2.0, height=0.0, limit=0.2, centre=1.9)
    np.testing.assert_allclose(line.height_at(s) - h, [0.0, -0.1, 0.3], atol=1e-12)
