"""Last resorts: shims flat under the wedge, then the travel kept in hand, and only then nothing."""

import re

import pytest
from crib_cases import INCH, box, fills, random_fills, shim, two_by_four, wedge
from crib_cpsat import cpsat_optimum
from crib_direct import direct_optimum, options

from trackkit.cribbing import Piece, StackRules, Truck, choose_stacks
from trackkit.cribbing.formulate import formulate
from trackkit.cribbing.program import solve
from trackkit.cribbing.sites import sort_fills

RULES = StackRules()
WEDGE = wedge(9, length=10)  # under a tie 60 mm wide one of them closes 7.62 to 31.75 mm (geometry)
BOXES = (box("full", 8, 9), WEDGE)


def advice(plan, word):
    return [note for note in plan.advisories if word in note.text]


def test_a_shim_goes_flat_under_the_wedge_where_nothing_else_closes_the_gap():
    """A gap 0.6 mm over the wedge's travel is no reason to give up: common practice, no source."""
    high = 31.75e-3 + 0.0006
    plan = choose_stacks(fills([high]), Truck((*BOXES, shim("shim 3", 0.003, 4))))
    (stack,) = plan.stacks
    end = stack.closing
    assert not plan.unfillable
    assert dict(end.takes) == {"wedge": 1, "shim 3": 1}
    assert end.packed == pytest.approx(0.003)
    assert end.height == pytest.approx(high)
    assert end.how_far_in == pytest.approx((high - 0.003) / WEDGE.wedge.taper)
    assert stack.words("cm") == "shim 3 + wedge (gap 2.9 cm), from outside"
    (note,) = advice(plan, "flat under the wedge")
    assert (note.level, note.place) == ("note", "tie 1 left")
    assert plan.pull_list().set_index("item")["count"].to_dict() == {"wedge": 1, "shim 3": 1}


def test_shims_are_not_put_under_wedges_where_a_plain_stack_does():
    table = random_fills(30, 4)
    there = Truck((*BOXES[:1], wedge(99, length=10), two_by_four(40), shim("shim 3", 0.003, 99)))
    packed = {stack.fill for stack in choose_stacks(table, there).stacks if stack.closing.packed}
    unserved = formulate(sort_fills(table, RULES).sites, there, RULES).unserved
    assert packed
    assert packed <= {one.site.fills[0] for one in unserved}


def test_without_shims_the_travel_kept_in_hand_is_given_up_and_said():
    """0.4 mm below the top of the wedge's travel: 0.4 mm is left of the 1 mm kept in hand."""
    plan = choose_stacks(fills([31.35e-3, 0.215]), Truck(BOXES), display="mm")
    assert [stack.fill for stack in plan.stacks] == [31.35e-3, 0.215]
    (note,) = advice(plan, "left in hand")
    assert note.place == "tie 1 left"
    assert "0.4 mm under tie 1 left left in hand instead of 1.0 mm" in note.text
    inches = choose_stacks(fills([31.35e-3]), Truck(BOXES), display="1/8 in")
    assert "0.02 in under tie 1 left" in advice(inches, "left in hand")[0].text


def test_what_no_resort_closes_stays_unfillable():
    plan = choose_stacks(fills([0.0325, 0.1]), Truck((*BOXES, shim("shim 1", 0.001, 1))))
    assert [one.fill for one in plan.unfillable] == [0.1]
    assert plan.unfillable[0].nearest == pytest.approx(0.03175, abs=1e-5)  # the shim is taken


def test_resorts_take_only_what_is_left_on_the_truck():
    """The shims that plain stacks took can't lie under a wedge too; then a piece is short, and it is said."""
    there = Truck((*BOXES, shim("shim 3", 0.003, 2)))
    plan = choose_stacks(fills([0.006, 0.0326, 0.0327]), there)
    assert sum(one.missing for one in plan.shortages) == 0
    assert len(plan.unfillable) == 2
    assert dict(plan.used) == {"shim 3": 2}


def test_shims_under_wedges_make_up_for_boards_that_ran_out():
    """One board for two gaps; the other is closed by a wedge on shims (common practice, no source)."""
    board = box("board", 0.25, 1)
    there = Truck((WEDGE, board, shim("shim 3", 0.003, 3)))
    plan = choose_stacks(fills([0.036, 0.036]), there)
    assert not plan.shortages
    assert sorted(stack.closing.packed > 0 for stack in plan.stacks) == [False, True]


@pytest.mark.parametrize("seed", range(6))
def test_the_resort_with_shims_is_the_cheapest_by_two_other_models(seed):
    """Against CP-SAT on the same program, and on a model with one variable a choice."""
    rules = StackRules(max_layers=3, max_shims=2)
    shims = (shim("shim 3", 0.003, 3), shim("shim 1", 0.0012, 2))
    there = Truck((box("half", 4, 3), box("quarter", 2, 3), wedge(5), *shims))
    table = random_fills(5, seed, low=0.02, high=0.2, sd=0.002)
    task = formulate(sort_fills(table, rules).sites, there, rules, packed=True)
    ours = solve(task.program, time_limit=60)
    served = [max(site.fills) for site in task.sites]
    units = [options([f], [0.002], there, rules, packed=True) for f in served]
    assert len(served) + len(task.unserved) == 5
    assert all(units)
    assert ours.proven
    assert ours.cost == cpsat_optimum(task.program)[0] == direct_optimum(units, there, rules)


def test_nearest_fill_that_works_may_be_higher_than_any_place():
    plan = choose_stacks(fills([0.19]), Truck(BOXES))
    assert plan.unfillable[0].nearest == pytest.approx(8 * INCH - RULES.touch, abs=1e-5)


def test_the_last_figures_of_what_cannot_be_filled_are_in_the_display_of_the_job():
    plan = choose_stacks(fills([0.19]), Truck(BOXES), display="1/8 in")
    assert "mm" not in plan.unfillable[0].reason
    assert "7.48 in" in plan.unfillable[0].reason


def test_both_ties_of_a_joint_get_their_own_shims_under_their_wedges():
    table = fills(
        [0.0326, 0.0340], supports=["J1"] * 2, ties=[3, 4], sides=["left"] * 2, stations=[0.0, 0.15]
    )
    plan = choose_stacks(table, Truck((*BOXES, shim("shim 3", 0.003, 4))))
    assert not plan.unfillable
    ends = [end for stack in plan.stacks for end in stack.closings]
    assert [end.tie for end in ends] == [3, 4]
    assert [end.height for end in ends] == pytest.approx([0.0326, 0.0340])
    assert all(end.low <= end.height <= end.high and end.packed for end in ends)


def test_last_resorts_do_not_depend_on_the_order_of_rows_and_pieces():
    there = Truck((*BOXES, shim("shim 3", 0.003, 5), shim("shim 1", 0.001, 5)))
    table = random_fills(12, 8, low=0.02, high=0.24, sd=0.002)
    plan = choose_stacks(table, there)
    again = choose_stacks(table.sample(frac=1.0, random_state=1), Truck(tuple(reversed(there.pieces))))
    assert any(stack.closing.packed for stack in plan.stacks)
    assert (again.stacks, again.unfillable, again.used) == (plan.stacks, plan.unfillable, plan.used)


def test_more_shims_than_usual_are_a_last_resort():
    """Four of 3 mm make 12 mm, the usual gap, where no wedge goes so low."""
    steep = wedge(9, thin=0.2, thick=1.5, length=8)
    plan = choose_stacks(fills([0.012]), Truck((steep, shim("shim 3", 0.003, 9))))
    assert not plan.unfillable
    assert dict(plan.stacks[0].closing.takes) == {"shim 3": 4}
    (caution,) = advice(plan, "(max_shims)")
    assert (caution.level, caution.place) == ("caution", "tie 1 left")
    assert "up to 4 shims in one place, more than the 3" in caution.text
    few = choose_stacks(fills([0.009]), Truck((steep, shim("shim 3", 0.003, 9))))
    assert not advice(few, "(max_shims)")


def test_what_is_too_high_is_not_told_to_be_packed():
    """A gap 2 mm under the thinnest piece: packing makes it worse, shaving helps."""
    high = choose_stacks(fills([0.0254 - 0.0025], sides=["left"]), Truck((box("pancake", 1, 9),)))
    (text,) = [one.text for one in high.advisories if "nothing closes the gap fully" in one.text]
    assert "shave a piece" in text and "packed" not in text
    low = choose_stacks(fills([0.0254 + 0.0025], sides=["left"]), Truck((box("pancake", 1, 9),)))
    (text,) = [one.text for one in low.advisories if "nothing closes the gap fully" in one.text]
    assert "packed on the day" in text and "shave" not in text


def test_less_than_a_touch_may_stay_open_and_is_said():
    plan = choose_stacks(fills([8 * INCH + 0.002, 8 * INCH + 0.004]), Truck(BOXES[:1]))
    assert [stack.fill for stack in plan.stacks] == [8 * INCH + 0.002]
    (note,) = advice(plan, "closes the gap fully")
    assert (note.level, note.place) == ("caution", "tie 1 left")
    assert "2.0 mm open under tie 1 left" in note.text
    assert [one.fill for one in plan.unfillable] == [8 * INCH + 0.004]


# --- what is told where nothing fits --------------------------------------------------------------


def without_shims():
    """The wedge closes no less than 13.52 mm: 2 mm at the tip, 1 in 7, and a tie 8 cm wide."""
    boxes = (box("half", 4, 9), box("quarter", 2, 9), box("pancake", 1, 9))
    return Truck((*boxes, Piece("wedge", "wedge", 0.038, 0.25, 0.09, 0.3, 20, 0.002)))


def test_a_gap_too_low_for_a_wedge_is_told_with_what_is_missing():
    """Taper (38 - 2) / 250 over a tie of 80 mm: 2 + 11.52 = 13.52 mm; 12 mm lack 1.52 (geometry)."""
    table = fills([0.012], sides=["left"], bearing_m=0.08)
    (lost,) = choose_stacks(table, without_shims(), display="cm").unfillable
    assert lost.nearest == pytest.approx(0.01352)
    assert "closes 1.2 cm (1.20 cm): a wedge closes no less than 1.35 cm" in lost.reason
    assert "there are no shims on the truck" in lost.reason
    assert "(1.36 cm): raise the line by 0.16 cm; or take shims" in lost.reason
    assert "break" not in lost.reason and "the edge" not in lost.reason
    assert not choose_stacks(table.assign(fill_m=0.0136), without_shims()).unfillable


def joint_without_room(high):
    ties = {"sides": ["left"] * 2, "supports": ["J1"] * 2, "ties": [5, 6], "stations": [0.0, 0.2]}
    return fills(high, **ties, bearing_m=0.08)


def test_a_joint_with_no_room_for_two_stacks_speaks_of_no_break():
    there = Truck((box("half", 4, 9), wedge(9, thick=0.75)))
    plan = choose_stacks(joint_without_room([0.127, 0.127]), there, display="cm")
    for lost in plan.unfillable:
        assert "room under one tie alone: 10.0 cm to the middle of the joint" in lost.reason
        assert "break" not in lost.reason and "the edge" not in lost.reason
        assert "under it (shims, ply, a thin board), or lower the line by" in lost.reason
    assert len(plan.unfillable) == 2


def test_the_nearest_fill_told_is_never_the_fill_itself():
    for fill in (0.0119, 0.012, 0.0135, 0.05, 0.19):
        for display in ("cm", "mm", "1/8 in"):
            for lost in choose_stacks(joint_without_room([fill, fill + 0.005]), without_shims(),
                                      display=display).unfillable:  # fmt: skip
                own, *others = re.findall(r"\(([\d.]+) (?:cm|mm|in)\)", lost.reason)
                assert own not in others


def test_what_is_near_an_edge_still_speaks_of_it():
    table = fills([0.125], sides=["left"], stations=[0.0], free_tail_m=0.08)
    (lost,) = choose_stacks(table, Truck((box("half", 4, 9), wedge(9)))).unfillable
    assert "stands clear of the break" in lost.reason and "or bridge the edge on firm ground" in lost.reason
