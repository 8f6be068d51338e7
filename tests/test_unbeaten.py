"""Rows that no other row beats: the definition written out again, row by row and figure by figure."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from trackkit.unbeaten import beats, unbeaten

#: In halves and quarters, so that differences at, below and above a tolerance of 1 all come up.
TABLES = st.integers(1, 7).flatmap(
    lambda n: arrays(float, (n, 3), elements=st.sampled_from([0.0, 0.5, 1.0, 1.25, 2.0, 3.0, np.nan]))
)


def beats_by_hand(first, second, tolerance):
    better = False
    for mine, other in zip(first, second, strict=True):
        if np.isnan(mine) or np.isnan(other):
            continue
        if mine - other >= tolerance:
            return False
        better = better or other - mine >= tolerance
    return better


def reaches(table, start, goal):
    """Whether a chain of rows, each beating the next, leads from one to another."""
    seen, waiting = set(), [start]
    while waiting:
        here = waiting.pop()
        for there in range(len(table)):
            if there not in seen and beats_by_hand(table[here], table[there], 1.0):
                seen.add(there)
                waiting.append(there)
    return goal in seen


@given(TABLES)
def test_a_row_beats_another_that_is_nowhere_better_and_somewhere_worse(table):
    found = beats(table, [1.0, 1.0, 1.0])
    for i, first in enumerate(table):
        for j, second in enumerate(table):
            assert found[i, j] == beats_by_hand(first, second, 1.0)


@given(TABLES, st.data())
def test_marked_rows_are_those_that_only_rows_of_their_own_ring_beat(table, data):
    counts = np.array(data.draw(st.lists(st.booleans(), min_size=len(table), max_size=len(table))))
    marks = unbeaten(table, [1.0, 1.0, 1.0], among=counts)
    kept = table[counts]
    expected = [
        all(not beats_by_hand(row, kept[j], 1.0) or reaches(kept, j, i) for i, row in enumerate(kept))
        for j in range(len(kept))
    ]
    assert marks[counts].tolist() == expected
    assert not marks[~counts].any()
    assert marks.any() == counts.any()


@given(TABLES.filter(lambda table: not np.isnan(table).any()))
def test_without_tolerance_it_is_the_plain_rule(table):
    plain = [
        not any((row <= own).all() and (row < own).any() for row in table) for own in table
    ]  # fmt: skip
    assert unbeaten(table, [1e-6, 1e-6, 1e-6]).tolist() == plain


def test_differences_below_the_tolerance_are_none():
    assert unbeaten([[10, 0.3004], [10, 0.3000]], [1, 0.001]).tolist() == [True, True]
    assert unbeaten([[10, 0.3010], [10, 0.3000]], [1, 0.001]).tolist() == [False, True]


def test_in_a_ring_where_each_beats_the_next_all_are_marked():
    """By losses of 0.6, which do not count, each gains 1.2 on the next."""
    ring = [[0.0, 0.6, 1.2], [0.6, 1.2, 0.0], [1.2, 0.0, 0.6]]
    assert beats(ring, [1.0, 1.0, 1.0]).sum() == 3
    assert unbeaten(ring, [1.0, 1.0, 1.0]).all()


def test_what_does_not_fit_is_refused():
    with pytest.raises(ValueError, match=r"figures must be \(n, k\)"):
        beats([[1.0, 2.0]], [1.0])
    with pytest.raises(ValueError, match="above 0"):
        beats([[1.0, 2.0]], [1.0, 0.0])
