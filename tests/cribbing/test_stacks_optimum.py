"""The choice of stacks against OR-tools CP-SAT, brute force, and a model without its reductions."""

import itertools
import math

import numpy as np
import pytest
from crib_cases import INCH, box, fills, pad, random_fills, shim, truck, two_by_four, wedge
from crib_cpsat import cpsat_optimum
from crib_direct import direct_optimum, options
from hypothesis import given, settings
from hypothesis import strategies as st

from trackkit.cribbing import Piece, StackRules, Truck, choose_stacks
from trackkit.cribbing.formulate import formulate
from trackkit.cribbing.heights import COST_UNITS, to_cost
from trackkit.cribbing.program import solve
from trackkit.cribbing.sites import sort_fills

SMALL = StackRules(max_layers=4)


def small_truck(boxes=3, wedges=9, extra=()):
    return Truck(
        (box("half", 4, boxes), box("quarter", 2, boxes), two_by_four(4), pad(3), wedge(wedges), *extra)
    )


def cost_units(plan):
    return round(plan.cost * COST_UNITS)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("n", "boxes"), [(12, 24), (20, 8), (30, 6), (40, 15)])
def test_optimum_equals_cpsat_on_the_same_program(n, boxes, seed):
    asked = sort_fills(random_fills(n, seed), StackRules())
    task = formulate(asked.sites, truck(boxes=boxes, lumber=boxes, pads=boxes // 2), StackRules())
    ours = solve(task.program, time_limit=60)
    cost, bound, proven = cpsat_optimum(task.program)
    assert proven
    assert ours.proven
    assert (ours.cost, ours.bound) == (cost, bound)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("boxes", [1, 2, 9])
def test_optimum_equals_a_model_with_one_variable_a_choice(seed, boxes):
    """Cells, classes and pruning lose nothing: the direct model has none of them."""
    there = small_truck(boxes=boxes, wedges=7, extra=(shim("shim", 0.003, 2),))
    table = random_fills(7, seed, low=0.02, high=0.26, sd=0.003, ground_type="")
    units = [options([f], [0.003], there, SMALL) for f in table["fill_m"]]
    assert all(units)
    assert cost_units(choose_stacks(table, there, rules=SMALL)) == direct_optimum(units, there, SMALL)


@pytest.mark.parametrize("seed", range(4))
def test_optimum_on_a_lawn_equals_the_direct_model(seed):
    there = small_truck(boxes=1, wedges=6)
    table = random_fills(6, seed, low=0.05, high=0.22, sd=0.002, ground_type="lawn")
    units = [
        # a fill that no pile with a large enough foot closes may stand on a small one, at its price
        options([f], [0.002], there, SMALL, ground="lawn")
        or [(cost + to_cost(SMALL.small_foot_cost), use) for cost, use in options([f], [0.002], there, SMALL)]
        for f in table["fill_m"]
    ]
    assert all(units)
    assert cost_units(choose_stacks(table, there, rules=SMALL)) == direct_optimum(units, there, SMALL)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("low", [0.006, 0.05])
def test_optimum_on_scraped_ground_equals_the_direct_model(seed, low):
    """A pile on scraped ground stands lower than the ground at its tie, and may be higher than the fill."""
    there = small_truck(boxes=3, wedges=7, extra=(shim("shim", 0.003, 4),))
    slopes = (math.radians(3.0), math.radians(-1.5))
    values = np.random.default_rng(seed).uniform(low, low + 0.1, 5)
    choices = {f: options([f], [0.002], there, SMALL, ground="gravel", scraped=slopes) for f in values}
    table = fills(
        values, sd=0.002, stations=np.repeat(np.arange(3.0), 2)[:5], ground_type="gravel",
        along_slope=slopes[0], cross_slope=slopes[1],
    )  # fmt: skip
    plan = choose_stacks(table, there, rules=SMALL)
    resorted = {place.fill for place in plan.unfillable}
    resorted |= {s.fill for s in plan.stacks if any(end.packed for end in s.closings)}
    assert all(choices[f] or any(abs(f - other) < 1e-9 for other in resorted) for f in values)
    if all(choices.values()):
        assert cost_units(plan) == direct_optimum(list(choices.values()), there, SMALL)


@pytest.mark.parametrize("others", [[], [0.30]])
def test_what_is_built_on_scraped_ground_does_not_hang_on_other_stacks(others):
    """Scraped 19 mm deep, a half box of 102 mm fills 84 mm: higher than the highest fill there is."""
    lone = 0.102 - 0.0254 * 20 * math.tan(math.radians(2.1)) / 2
    table = fills([lone, *others], ground_type="gravel", sides=["left"] * (1 + len(others)),
                  supports=["T1", "T2"][: 1 + len(others)], ties=range(1 + len(others)),
                  stations=np.arange(1.0 + len(others)), along_slope=math.radians(2.1))  # fmt: skip
    stack = choose_stacks(table, Truck((box("half", 4, 9), wedge(9), shim("s", 0.003, 1)))).stacks[0]
    assert stack.pile_words == "half"


@settings(max_examples=400, deadline=None)
@given(fill=st.floats(0.004, 0.2), slope=st.floats(2.1, 6.0), ground=st.sampled_from(["gravel", "lawn"]))
def test_the_nearest_fill_that_would_work_is_another_one_and_works(fill, slope, ground):
    there = Truck((box("half", 4, 9), box("pancake", 1, 9), wedge(9, thick=0.75)))
    table = fills([fill], sides=["left"], ground_type=ground, along_slope=math.radians(slope))
    for lost in choose_stacks(table, there).unfillable:
        assert lost.nearest != lost.fill
        inside = lost.nearest + math.copysign(1e-5, lost.nearest - lost.fill)  # a few ticks off the limit
        again = choose_stacks(table.assign(fill_m=inside), there)
        assert again.stacks or again.sitting


@pytest.mark.parametrize("seed", range(5))
def test_optimum_with_joints_equals_the_direct_model(seed):
    """One pile along the run under two ties, short pieces doubled, each tie with its own closing piece."""
    rng = np.random.default_rng(seed)
    there = small_truck(boxes=2, wedges=8)
    first = rng.uniform(0.05, 0.2, 3)
    pairs = np.column_stack((first, first + rng.uniform(-0.004, 0.004, 3))).ravel()
    table = fills(
        pairs,
        supports=["J1", "J1", "J2", "J2", "J3", "J3"],
        ties=range(1, 7),
        sides=["left"] * 6,
        stations=[0.0, 0.15, 2.0, 2.15, 4.0, 4.15],
        sd=0.004,
    )
    units = [
        options(list(pairs[i : i + 2]), [0.004] * 2, there, SMALL, long_need=0.15 + 0.06) for i in (0, 2, 4)
    ]
    assert all(units)
    assert cost_units(choose_stacks(table, there, rules=SMALL)) == direct_optimum(units, there, SMALL)


@pytest.mark.parametrize("planks", [0, 2, 8])
@pytest.mark.parametrize("seed", range(3))
def test_optimum_with_long_lumber_equals_the_direct_model(seed, planks):
    """One plank under both ends of a tie, or two stacks: whichever the truck makes cheaper."""
    rng = np.random.default_rng(seed)
    plank = Piece("plank", "lumber", 0.038, 1.2, 0.235, 6.0, planks)
    there = Truck((box("half", 4, 2), two_by_four(5), plank, wedge(7)))
    rules = StackRules(max_layers=3, crossed_from=9.0)
    units = [[]]
    while not all(units):  # fills between what these few pieces reach are of no use here
        left = rng.uniform(0.05, 0.16, 3)
        values = np.column_stack((left, left + rng.uniform(-0.01, 0.01, 3))).ravel()
        units = [options([f], [0.002], there, rules) for f in values]
    need = rules.gauge + 2 * rules.bearing + 1e-6
    shared = {
        (i, i + 1): options(
            list(values[i : i + 2]), [0.002] * 2, there, rules, long_need=need, long_kinds=("lumber", "ply")
        )
        for i in (0, 2, 4)
    }
    bare = {key: [one for one in found if one[1].get("plank")] for key, found in shared.items()}
    apart = np.repeat([0.0, 2.0, 4.0], 2)  # room for a plank along the run too
    plan = choose_stacks(fills(values, sd=0.002, stations=apart), there, rules=rules)
    assert cost_units(plan) == direct_optimum(units, there, rules, shared=bare)


def test_optimum_of_three_supports_equals_trying_everything():
    there = Truck((box("half", 4, 1), box("quarter", 2, 3), wedge(3)))
    values = [0.12, 0.118, 0.065]
    choices = [options([f], [0.002], there, SMALL) for f in values]
    best = min(
        sum(cost for cost, _ in combination)
        + 100_000
        * sum(max(sum(use.get(p.item, 0) for _, use in combination) - p.count, 0) for p in there.pieces)
        for combination in itertools.product(*choices)
    )
    assert cost_units(choose_stacks(fills(values, sd=0.002), there, rules=SMALL)) == best


@pytest.mark.parametrize("seed", range(3))
def test_shortage_is_the_least_number_of_missing_pieces(seed):
    """CP-SAT on the direct model finds the same number missing: cost // price of a missing piece."""
    there = small_truck(boxes=1, wedges=3)
    table = random_fills(6, seed, low=0.1, high=0.26, sd=0.002)
    units = [options([f], [0.002], there, SMALL) for f in table["fill_m"]]
    plan = choose_stacks(table, there, rules=SMALL)
    missing = sum(shortage.missing for shortage in plan.shortages)
    assert missing == direct_optimum(units, there, SMALL) // 100_000 > 0


def test_time_limit_gives_a_plan_with_a_bound_below_its_cost():
    asked = sort_fills(random_fills(60, 1), StackRules())
    task = formulate(asked.sites, truck(boxes=10), StackRules())
    best = solve(task.program, time_limit=60)
    hurried = solve(task.program, time_limit=1e-6)
    assert hurried.bound <= best.cost <= hurried.cost
    assert hurried.columns.sum() == 60


def test_a_truck_of_odd_sizes_is_solved_exactly():
    """Measured boxes, none a whole fraction of an inch: heights are dense, nothing is rounded."""
    rng = np.random.default_rng(3)
    pieces = [box(f"box {i}", float(h), 3) for i, h in enumerate(rng.uniform(0.8, 8.1, 6))]
    there = Truck((*pieces, wedge(30)))
    asked = sort_fills(random_fills(16, 5, low=0.03, high=0.4), StackRules())
    task = formulate(asked.sites, there, StackRules())
    ours = solve(task.program, time_limit=60)
    assert ours.proven
    assert ours.cost == cpsat_optimum(task.program)[0]


def test_height_rule_is_counted_in_the_optimum():
    """A tower of 2x4 blocks under 38 in would be cheap without the rule of three; 12 in is one foot."""
    there = Truck((Piece("block", "box", 4 * INCH, 3 * INCH, 3 * INCH, 1.0, 50), wedge(10)))
    plan = choose_stacks(fills([0.25, 0.33]), there)
    assert plan.unfillable
    assert all(stack.height <= 3 * 3 * INCH for stack in plan.stacks)
