"""Pieces by height against the choice of stacks for single supports, and expected pieces against draws."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from crib_cases import box, fills, pad, shim, truck, two_by_four, wedge

from trackkit.cribbing import StackRules, Truck, choose_stacks, read_truck
from trackkit.cribbing.by_height import expected_pieces, pieces_by_height

DEMO = Path(__file__).parents[2] / "data_demo"
JOBS = ("boathouse_lawn", "market_yard", "terrace_edge")
BEARING = 0.09


def demo_truck(job):
    return read_truck(DEMO / job)


def plenty(there):
    return Truck(tuple(replace(piece, count=1000) for piece in there.pieces))


def alone(fill, there, *, ground="", sd=0.0, rules=None):
    table = fills([fill], sides=["left"], sd=sd, bearing_m=BEARING, ground_type=ground)
    return choose_stacks(table, plenty(there), rules=rules)


def taken(table, place):
    return {item: n for item, n in zip(table.items, table.takes[place].tolist(), strict=True) if n}


def assert_same(table, fill, plan):
    """One cost and one stack, as the program of all places has it; it has no price for a last resort."""
    place = int(table.interval(fill))
    (stack,) = plan.stacks
    assert taken(table, place) == stack.takes
    assert plan.cost == pytest.approx(0.0 if table.last_resort[place] else table.cost[place], abs=1e-9)
    low, high = stack.closing.low + stack.height, stack.closing.high + stack.height
    assert (table.low[place], table.high[place]) == pytest.approx((low, high), abs=1e-8)


@pytest.mark.parametrize("ground", ["", "lawn"])
@pytest.mark.parametrize("job", JOBS)
def test_every_fill_takes_what_the_choice_of_stacks_gives_a_single_support(job, ground):
    there = demo_truck(job)
    table = pieces_by_height(there, bearing=BEARING, ground=ground)
    for fill in np.random.default_rng(3).uniform(0.0031, 0.5999, 16):
        plan = alone(fill, there, ground=ground)
        if plan.unfillable:
            assert np.isnan(table.pieces[table.interval(fill)])
        else:
            assert_same(table, fill, plan)


@pytest.mark.parametrize("job", JOBS)
def test_both_sides_of_an_edge_take_what_the_choice_of_stacks_gives_there(job):
    """The edges themselves: a thousandth of a millimetre to either side of a sample of them."""
    there = demo_truck(job)
    table = pieces_by_height(there, bearing=BEARING)
    for edge in np.random.default_rng(4).choice(table.edges[2:-1], 6, replace=False):
        for fill in (edge - 1e-6, edge + 1e-6):
            assert_same(table, fill, alone(fill, there))


@pytest.mark.parametrize("job", JOBS)
def test_give_or_take_of_the_fill_weighs_in_the_choice(job):
    there = demo_truck(job)
    table = pieces_by_height(there, bearing=BEARING, sd=0.005)
    for fill in np.random.default_rng(5).uniform(0.05, 0.5, 10):
        assert_same(table, fill, alone(fill, there, sd=0.005))


@pytest.mark.parametrize(
    "there",
    [
        demo_truck("terrace_edge"),
        Truck((box("half", 4, 9), two_by_four(9), wedge(9, thick=0.5))),
    ],
    ids=["pads", "no pads"],
)
def test_feet_too_small_for_a_lawn_are_used_only_where_the_choice_of_stacks_uses_them(there):
    """Fills too low for a proper foot and a wedge, and fills that no proper foot closes, higher up."""
    table = pieces_by_height(there, bearing=BEARING, ground="lawn")
    for fill in np.concatenate((np.linspace(0.0042, 0.048, 12), np.linspace(0.1152, 0.1452, 9))):
        plan = alone(fill, there, ground="lawn")
        if plan.unfillable:
            assert np.isnan(table.pieces[table.interval(fill)])
        else:
            assert_same(table, fill, plan)


def test_last_resorts_close_what_nothing_else_does():
    there = Truck((box("half", 4, 9), wedge(9), shim("shim", 0.003, 1)))
    table = pieces_by_height(there, bearing=BEARING, top=0.2)
    resorted = np.flatnonzero(table.last_resort)
    assert len(resorted) > 3
    for place in resorted[:: len(resorted) // 6]:
        fill = (table.edges[place] + table.edges[place + 1]) / 2
        assert_same(table, fill, alone(fill, there))


def test_what_nothing_closes_is_nan_and_is_left_without_a_stack():
    there = Truck((box("half", 4, 9), wedge(9, thick=0.5)))
    table = pieces_by_height(there, bearing=BEARING)
    gaps = np.flatnonzero(np.isnan(table.pieces))
    assert len(gaps) > 1
    for place in gaps[:3]:
        fill = (table.edges[place] + table.edges[place + 1]) / 2
        assert not alone(fill, there).stacks
        assert np.isnan([table.cost[place], table.wedges[place], table.low[place]]).all()


@pytest.mark.parametrize(
    "there",
    [truck(), Truck((box("half", 4, 9), wedge(9, thick=0.5))), Truck(())],
    ids=["full", "gaps", "empty"],
)
def test_edges_rise_from_nothing_to_the_refuse_height(there):
    table = pieces_by_height(there, bearing=BEARING)
    assert (table.edges[0], table.edges[-1]) == (0.0, StackRules().refuse_height)
    assert (np.diff(table.edges) > 5e-9).all()
    assert len(table.edges) == len(table.pieces) + 1 == len(table.table()) + 1


def test_every_stack_closes_the_fills_it_is_chosen_for():
    table = pieces_by_height(truck(), bearing=BEARING)
    known = np.isfinite(table.low)
    assert (table.low[known] <= table.edges[:-1][known] + 1e-8).all()
    assert (table.high[known] >= table.edges[1:][known] - 1e-8).all()


def test_negative_fill_takes_nothing_and_is_flagged():
    table = pieces_by_height(truck(), bearing=BEARING)
    assert table.in_ground([-0.004, -0.003, 0.0, 0.1]).tolist() == [True, False, False, False]
    pieces, wedges = table.at([-0.3, 0.0, 0.003])
    assert pieces.tolist() == wedges.tolist() == [0.0, 0.0, 0.0]


def test_above_the_top_nothing_is_planned():
    pieces, wedges = pieces_by_height(truck(), bearing=BEARING).at([0.6001])
    assert np.isnan(pieces).all()
    assert np.isnan(wedges).all()


def test_counts_on_the_truck_do_not_matter_but_what_is_not_there_is_not_used():
    few, many = truck(boxes=1, wedges=1, lumber=1, pads=1), truck(boxes=50)
    one, other = (pieces_by_height(there, bearing=BEARING) for there in (few, many))
    np.testing.assert_array_equal(one.edges, other.edges)
    np.testing.assert_array_equal(one.takes, other.takes)
    assert "half" not in pieces_by_height(Truck((box("half", 4, 0), wedge(4))), bearing=BEARING).items


def test_order_of_the_truck_does_not_matter():
    there = demo_truck("terrace_edge")
    one = pieces_by_height(there, bearing=BEARING)
    other = pieces_by_height(Truck(there.pieces[::-1]), bearing=BEARING)
    np.testing.assert_array_equal(one.edges, other.edges)
    np.testing.assert_array_equal(one.takes, other.takes[:, ::-1])


def test_tall_stacks_that_are_taken_over_are_looked_at_as_high_as_asked():
    rules = StackRules(tall_stacks_taken_over=True)
    table = pieces_by_height(demo_truck("terrace_edge"), bearing=BEARING, rules=rules, top=0.8)
    assert table.edges[-1] == 0.8
    assert_same(table, 0.71, alone(0.71, demo_truck("terrace_edge"), rules=rules))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"bearing": 0.0}, "bearing must be a width above 0 m; got 0.0"),
        ({"sd": -0.001}, "sd must be a finite number of metres, not negative; got -0.001"),
        ({"top": 0.7}, "top must be above touch .* at most 0.6 m; got 0.7"),
    ],
)
def test_what_cannot_be_used_is_named(change, message):
    with pytest.raises(ValueError, match=message):
        pieces_by_height(truck(), **({"bearing": BEARING} | change))


@pytest.mark.parametrize("job", JOBS)
def test_expected_pieces_are_the_mean_over_draws(job):
    """Within four standard errors, for pieces and wedges, at small doubt and at large."""
    table = pieces_by_height(demo_truck(job), bearing=BEARING)
    rng = np.random.default_rng(6)
    mean, sd = rng.uniform(0.0, 0.5, (6, 5)), rng.choice([0.001, 0.005, 0.03], (6, 5))
    drawn = np.minimum(rng.normal(mean, sd, (20_000, 6, 5)), table.edges[-1])
    for expected, counts in zip(expected_pieces(table, mean, sd), table.at(drawn), strict=True):
        error = counts.std(axis=0) / math.sqrt(len(drawn))
        assert (np.abs(expected - counts.mean(axis=0)) <= 4.0 * error + 1e-3 * (error == 0)).all()


def test_expected_pieces_are_those_of_the_fill_where_there_is_no_doubt():
    table = pieces_by_height(demo_truck("terrace_edge"), bearing=BEARING)
    values = np.append(np.linspace(0.0, 0.6, 997), table.edges)
    for expected, counts in zip(expected_pieces(table, values, 0.0), table.at(values), strict=True):
        np.testing.assert_array_equal(expected, counts)


def test_expected_pieces_sum_the_chances_of_every_interval():
    """The definition itself, with chances from the standard library's error function."""
    table = pieces_by_height(demo_truck("boathouse_lawn"), bearing=BEARING)
    fill, sd = 0.21, 0.04
    cdf = [0.5 * math.erfc(-(edge - fill) / sd / math.sqrt(2.0)) for edge in table.edges[1:-1]]
    chances = np.diff([0.0, *cdf, 1.0])
    pieces, wedges = expected_pieces(table, fill, sd)
    assert pieces == pytest.approx(chances @ table.pieces, rel=1e-12)
    assert wedges == pytest.approx(chances @ table.wedges, rel=1e-12)


def test_where_nothing_closes_the_next_higher_stack_counts_and_above_the_top_the_tops():
    table = pieces_by_height(Truck((box("half", 4, 9), wedge(9, thick=0.5))), bearing=BEARING)
    gap = int(np.flatnonzero(np.isnan(table.pieces))[0])
    inside = (table.edges[gap] + table.edges[gap + 1]) / 2
    after = (table.edges[gap + 1] + table.edges[gap + 2]) / 2
    assert expected_pieces(table, inside, 0.0) == expected_pieces(table, after, 0.0)
    assert expected_pieces(table, 3.0, 0.01) == expected_pieces(table, table.edges[-1], 0.0)


def test_expected_pieces_have_the_common_shape_and_do_not_hang_on_how_many_are_asked_at_once(monkeypatch):
    table = pieces_by_height(truck(), bearing=BEARING)
    mean, sd = np.random.default_rng(7).uniform(0.0, 0.6, (7, 1)), np.array([0.0, 0.004, 0.2])
    whole = expected_pieces(table, mean, sd)
    assert whole[0].shape == whole[1].shape == (7, 3)
    monkeypatch.setattr("trackkit.cribbing.by_height._AT_ONCE", 50)
    np.testing.assert_allclose(expected_pieces(table, mean, sd), whole, rtol=1e-13)
    assert expected_pieces(table, mean[:0], 0.1)[0].shape == (0, 1)


def test_an_empty_truck_has_no_count_but_for_the_tie_on_the_ground():
    table = pieces_by_height(Truck(()), bearing=BEARING)
    assert table.pieces[0] == 0
    assert np.isnan(table.pieces[1:]).all()
    assert np.isnan(expected_pieces(table, [0.1, 0.2], 0.01)).all()


@pytest.mark.parametrize(
    ("mean", "sd", "message"), [(math.nan, 0.1, "fills must be finite"), (0.1, -1.0, "sds must be finite")]
)
def test_doubt_that_is_none_is_refused(mean, sd, message):
    table = pieces_by_height(Truck((two_by_four(3), pad(2), wedge(3))), bearing=BEARING)
    with pytest.raises(ValueError, match=message):
        expected_pieces(table, mean, sd)
