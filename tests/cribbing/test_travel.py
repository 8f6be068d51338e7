"""Between which fills the planned stacks still close."""

from __future__ import annotations

import math

import numpy as np
import pytest
from crib_cases import fills, random_fills, truck

from trackkit.cribbing import choose_stacks
from trackkit.cribbing.travel import travel_of


@pytest.mark.parametrize("seed", range(3))
def test_every_planned_stack_closes_its_own_fill_within_its_travel(seed):
    table = random_fills(12, seed)
    plan = choose_stacks(table, truck())
    low, high = travel_of(plan, table)
    assert np.isfinite(low).all() and (high >= low).all()
    fill = table["fill_m"].to_numpy()
    assert (low - 1e-9 <= fill).all() and (fill <= high + 1e-9).all()
    assert (high - low > 1e-3).any()  # a wedge goes in further, or less far


def test_travel_is_that_of_the_closing_piece_on_its_pile():
    table = random_fills(8, 5)
    plan = choose_stacks(table, truck())
    low, high = travel_of(plan, table)
    for stack in plan.stacks:
        for end in stack.closings:
            row = int(np.flatnonzero((table["tie"] == end.tie) & (table["side"] == stack.side))[0])
            pile = table["fill_m"].iloc[row] - end.height  # what is not made up by the closing piece
            assert low[row] == pytest.approx(pile + end.low, abs=2e-6)
            assert high[row] == pytest.approx(pile + end.high, abs=2e-6)


def test_on_a_slope_the_seat_counts_and_both_ties_of_a_joint_have_their_own_travel():
    table = fills(
        [0.153, 0.156, 0.120, 0.123], supports=["J1", "J1", "J2", "J2"], ties=[1, 2, 3, 4],
        sides=["left"] * 4, stations=[0.0, 0.15, 2.0, 2.15],
        cross_slope=0.06, along_slope=-0.02, bearing_m=0.08, rail_top_m=0.1,
    )  # fmt: skip
    plan = choose_stacks(table, truck())
    low, high = travel_of(plan, table)
    fill = table["fill_m"].to_numpy()
    assert any(end.seat_raise for stack in plan.stacks for end in stack.closings)  # or the case shows nothing
    assert (low - 1e-6 <= fill).all() and (fill <= high + 1e-6).all()
    assert low[0] != low[1]


def test_where_no_stack_stands_there_is_no_travel():
    table = fills([0.0, 0.12, -0.01, 0.2, 5.0, 0.1])
    plan = choose_stacks(table, truck())
    low, high = travel_of(plan, table)
    assert np.isnan(low).tolist() == [True, False, True, False, True, False]
    assert np.isnan(high).tolist() == np.isnan(low).tolist()


def test_rows_may_come_in_any_order_and_one_that_is_not_planned_has_none():
    table = random_fills(6, 2)
    plan = choose_stacks(table, truck())
    low, high = travel_of(plan, table)
    back = table.iloc[::-1].reset_index(drop=True)
    back.loc[0, "tie"] = 99
    turned = travel_of(plan, back)
    assert math.isnan(turned[0][0]) and math.isnan(turned[1][0])
    np.testing.assert_array_equal(turned[0][1:], low[::-1][1:])
    np.testing.assert_array_equal(turned[1][1:], high[::-1][1:])
