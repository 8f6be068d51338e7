"""Nothing reaches past a break in the ground or into the next stack: pieces are turned, slid, or refused."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from crib_cases import INCH, box, fills, shim, truck, two_by_four, wedge
from hypothesis import given, settings
from hypothesis import strategies as st

from trackkit.cribbing import Piece, StackRules, Truck, choose_stacks
from trackkit.cribbing.placing import inward, slide
from trackkit.cribbing.sites import sort_fills

BOX, WIDE = 0.508, 0.3048
TURNED = WIDE
#: No room kept to an edge, so that distances are the geometry's own.
BARE = StackRules(edge_clear=0.0)


def one(fill, *, to_head=math.inf, to_tail=math.inf, **columns):
    """One tie end with so much free ground."""
    return fills([fill], sides=["left"], stations=[0.0], free_head_m=to_head, free_tail_m=to_tail, **columns)


def row(heights, stations, **columns):
    """Tie ends along the left rail, each a support of its own."""
    n = len(heights)
    own = {"supports": [f"T{i}" for i in range(n)], "ties": range(n), "sides": ["left"] * n}
    return fills(heights, stations=stations, **own, **columns)


def site(**free):
    return sort_fills(one(0.1, **free), BARE).sites[0]


def reach_of(stack):
    """Return where a stack begins and ends along the run, from its tie [m]."""
    ends = [(piece.slid - piece.length / 2, piece.slid + piece.length / 2) for piece in stack.pieces]
    return min(low for low, _ in ends), max(high for _, high in ends)


@pytest.mark.parametrize(
    ("to_tail", "way"),
    [(BOX / 2, 0.0), (0.20, 0.20 - BOX / 2), (BOX / 3, -BOX / 6), (BOX / 3 - 0.001, None)],
    ids=["just clear", "slid", "slid to the kern", "too near"],
)
def test_a_box_is_slid_no_farther_than_its_kern(to_tail, way):
    """No edge lifts while the load is over the middle third: the kern of a rectangle, any book of statics."""
    assert slide(site(to_tail=to_tail), BOX, WIDE, BARE) == pytest.approx(way)
    back = slide(site(to_head=to_tail), BOX, WIDE, BARE)
    assert back == (None if way is None else pytest.approx(-way))


def test_a_short_piece_is_slid_only_as_long_as_the_whole_tie_bears_on_it():
    """A piece 9 cm long under a tie 6 cm wide has 1.5 cm to give on either side (geometry)."""
    assert slide(site(to_tail=0.031), 0.09, WIDE, BARE) == pytest.approx(-0.014)
    assert slide(site(to_tail=0.029), 0.09, WIDE, BARE) is None


@pytest.mark.parametrize("to_tail", [0.24, 0.16, 0.11])
def test_a_box_near_a_break_is_slid_or_turned(to_tail):
    (stack,) = choose_stacks(
        one(0.125, to_tail=to_tail), Truck((box("half", 4, 9), wedge(9))), rules=BARE
    ).stacks
    assert reach_of(stack)[1] <= to_tail + 1e-9
    assert stack.turned == (to_tail < BOX / 3)
    assert abs(stack.slid) <= stack.pieces[0].length / 6 + 1e-9
    assert ("turned across" in stack.words()) == stack.turned


def test_what_cannot_be_built_clear_of_a_break_is_a_stop_with_a_remedy():
    plan = choose_stacks(one(0.125, to_tail=0.08), Truck((box("half", 4, 9), wedge(9))), rules=BARE)
    assert not plan.stacks
    (stop,) = [advisory for advisory in plan.advisories if advisory.level == "stop"]
    assert "clear of the break" in stop.text
    assert "80 mm from the tie" in stop.text
    assert "shift the run" in stop.text
    assert choose_stacks(one(0.125), Truck((box("half", 4, 9), wedge(9))), rules=BARE).stacks


def test_turned_or_slid_pieces_are_said():
    plan = choose_stacks(one(0.125, to_tail=0.16), Truck((box("half", 4, 9), wedge(9))), rules=BARE)
    (text,) = [one.text for one in plan.advisories if "to stand clear" in one.text]
    assert text.startswith("half turned across the run")
    plan = choose_stacks(one(0.125, to_tail=0.20), Truck((box("half", 4, 9), wedge(9))), rules=BARE)
    (text,) = [one.text for one in plan.advisories if "to stand clear" in one.text]
    assert text.startswith("half slid 54 mm towards the head:")


def test_a_slid_seat_counts_the_ground_under_it():
    """A foot slid 54 mm down a slope of 1 in 10 stands 5.4 mm lower, and the pile makes up for it."""
    table = one(0.14, to_tail=0.20, along_slope=math.atan(0.1), ground_type="")
    (stack,) = choose_stacks(
        table, Truck((box("half", 4, 9), wedge(9), shim("s", 0.005, 9))), rules=BARE
    ).stacks
    rise = 0.1 * BOX
    assert stack.seat_raise == pytest.approx(rise / 2 - 0.1 * (BOX / 2 - 0.20))
    assert stack.seat_raise + stack.height + stack.closing.height == pytest.approx(0.14)


def test_ground_scraped_for_a_slid_foot_goes_down_to_its_own_low_corner():
    table = one(0.10, to_tail=0.20, along_slope=math.atan(0.1), ground_type="lawn")
    (stack,) = choose_stacks(table, Truck((box("half", 4, 9), wedge(9))), rules=BARE).stacks
    assert stack.closing.seat_raise == pytest.approx(-0.1 * BOX / 2 - 0.1 * (BOX / 2 - 0.20))


def test_a_turned_box_costs_what_one_along_the_run_costs():
    there = truck()
    free, near = (choose_stacks(one(0.2, to_tail=room), there) for room in (math.inf, TURNED / 2))
    assert near.cost == pytest.approx(free.cost, abs=0.03)  # a few thousandths tell like choices apart


def test_close_to_a_break_the_best_is_the_best_of_the_pieces_that_fit():
    """With 4 cm to the edge only lumber turned across fits: as good as a truck with nothing else."""
    lumber = (two_by_four(9), wedge(9))
    near = choose_stacks(
        one(0.1, to_tail=0.04), Truck((box("half", 4, 9), box("full", 8, 9), *lumber)), rules=BARE
    )
    only = choose_stacks(one(0.1), Truck(lumber))
    assert [piece.item for piece in near.stacks[0].pieces] == ["2x4", "2x4"]
    assert near.cost == pytest.approx(only.cost, abs=0.01)


def test_long_lumber_does_not_lie_along_the_run_into_the_next_stack():
    plank = Piece("plank", "lumber", 0.05, 2.4, 0.2, 8.0, 9)
    there = Truck((plank, box("quarter", 2, 9), wedge(9)))
    plan = choose_stacks(row([0.07] * 6, 0.8 * np.arange(6)), there)
    assert len(plan.stacks) == 6
    assert all(piece.item == "quarter" for stack in plan.stacks for piece in stack.pieces)
    alone = choose_stacks(fills([0.07], sides=["left"]), Truck((plank, wedge(9))))
    assert alone.stacks


@settings(max_examples=40, deadline=None)
@given(
    heights=st.lists(st.floats(0.01, 0.4), min_size=2, max_size=9),
    spacing=st.floats(0.12, 0.9),
    edge=st.floats(-0.2, 4.0),
    slope=st.sampled_from([0.0, 0.02, -0.09]),
    ground=st.sampled_from(["", "lawn"]),
)
def test_no_piece_reaches_past_a_break_or_into_the_next_stack(heights, spacing, edge, slope, ground):
    stations = spacing * np.arange(len(heights))
    table = row(
        heights, stations, ground_type=ground, along_slope=slope,
        free_tail_m=np.where(stations <= edge, edge - stations, np.inf),
        free_head_m=np.where(stations >= edge, stations - edge, np.inf),
    )  # fmt: skip
    plan = choose_stacks(table, truck(lumber=9, pads=9, extra=(shim("shim", 0.003, 9),)))
    places = len(plan.stacks) + len(plan.sitting) + len(plan.negative) + len(plan.unfillable)
    assert places == len(heights)
    ends = []
    for stack in plan.stacks:
        low, high = reach_of(stack) if stack.pieces else (0.0, 0.0)
        ends.append((stack.station + low, stack.station + high))
        assert ends[-1][1] <= edge + 1e-6 or ends[-1][0] >= edge - 1e-6 or not stack.pieces
        assert stack.closing.seat_raise + stack.height + stack.closing.height == pytest.approx(
            stack.fill, abs=2e-6
        )
    for (_, behind), (ahead, _) in pairwise(ends):
        assert behind <= ahead + 1e-6


def test_a_break_between_the_ties_of_a_joint_parts_their_stacks():
    """Ties at 0 and 0.4 m, the edge at 0.22 m, 0.08 m higher beyond: one box cannot lie under both."""
    ties = {"sides": ["left"] * 2, "supports": ["J1"] * 2, "ties": [5, 6], "stations": [0.0, 0.4]}
    free = {"free_head_m": [math.inf, 0.18], "free_tail_m": [0.22, math.inf]}
    plan = choose_stacks(fills([0.2, 0.12], **ties, **free), truck(lumber=9))
    assert [stack.ties for stack in plan.stacks] == [(5,), (6,)]
    (_, behind), (ahead, _) = (reach_of(stack) for stack in plan.stacks)
    assert behind <= 0.22 + 1e-9
    assert 0.4 + ahead >= 0.22 - 1e-9
    assert choose_stacks(fills([0.2, 0.2], **ties), truck(lumber=9)).stacks[0].ties == (5, 6)


def test_turned_boxes_leave_the_other_rail_its_half():
    """A plank longer than the gauge cannot be turned: it would lie where the other rail's stack stands."""
    long = Piece("plank", "lumber", 0.04, 0.7, 0.2, 4.0, 9)
    plan = choose_stacks(one(0.06, to_tail=0.12), Truck((long, wedge(9))))
    assert not plan.stacks
    short = Piece("board", "lumber", 0.04, 0.6, 0.2, 4.0, 9)
    (stack,) = choose_stacks(one(0.06, to_tail=0.12), Truck((short, wedge(9)))).stacks
    assert stack.pieces[0].turned


def reach_of_wedge(stack):
    """Return how far a wedge along the track lies towards head and tail of its tie, 6 cm wide [m]."""
    end = stack.closing
    tip, butt = end.how_far_in - 0.03, 0.03 + end.stick_out
    return (butt, tip) if end.from_side == "head" else (tip, butt)


@pytest.mark.parametrize("fill", [0.111, 0.118, 0.127])
@pytest.mark.parametrize("edge", ["free_head_m", "free_tail_m"])
def test_a_wedge_along_the_track_comes_from_the_end_where_it_has_room(fill, edge):
    """A wedge 12 in long sticks out on one side of the tie by what is not in, on the other by its tip."""
    there = Truck((box("half", 4, 9), wedge(9)))
    free = choose_stacks(
        fills([fill], sides=["left"]), there, rules=StackRules(walk_side="left", edge_clear=0.0)
    ).stacks[0]
    assert free.closing.past == 0.0
    assert free.closing.from_side == "tail"
    room = min(reach_of_wedge(free)) + 0.001
    table = fills([fill], sides=["left"], **{"free_head_m": math.inf, "free_tail_m": math.inf, edge: room})
    plan = choose_stacks(table, there, rules=StackRules(walk_side="left", edge_clear=0.0))
    if plan.stacks:
        to_head, to_tail = reach_of_wedge(plan.stacks[0])
        assert plan.stacks[0].closing.past == 0.0
        assert (to_head if edge == "free_head_m" else to_tail) <= room + 1e-9


def test_a_wedge_that_reaches_past_a_break_either_way_is_cautioned():
    table = one(0.115, to_tail=0.11)
    plan = choose_stacks(
        table, Truck((box("half", 4, 9), wedge(9))), rules=StackRules(walk_side="left", edge_clear=0.0)
    )
    (stack,) = plan.stacks
    reaches = reach_of_wedge(stack)
    assert stack.closing.past == pytest.approx(max(reaches[1] - 0.11, 0.0))
    assert (stack.closing.past > 0.001) == any("along the track reaches" in a.text for a in plan.advisories)
    outside = choose_stacks(table, Truck((box("half", 4, 9), wedge(9))), rules=BARE).stacks[0]
    assert outside.closing.goes_in == "from outside"
    assert outside.closing.past == 0.0


def edged(table, edges):
    """The tie ends with breaks that may slant: place at the rail and slant of each."""
    ends = zip(table["station_m"], table["side"], strict=True)
    return table.assign(edges=[tuple((at - s, slant) for at, slant in edges[side]) for s, side in ends])


@pytest.mark.parametrize("slant", [0.5, -0.5])
def test_a_break_that_slants_is_nearer_to_a_corner(slant):
    """30 cm from a break at 27 degrees, a box 30.5 cm wide has 0.3 - 0.5 x 0.1524 m at its corner."""
    place = sort_fills(edged(one(0.1), {"left": [(0.30, slant)]}), BARE).sites[0]
    assert slide(place, BOX, WIDE, BARE) == pytest.approx(0.30 - 0.5 * WIDE / 2 - BOX / 2)
    kept = sort_fills(edged(one(0.1), {"left": [(0.30, slant)]}), StackRules(edge_clear=0.01)).sites[0]
    clear = 0.01 * math.hypot(1.0, 0.5)  # square to the break
    assert slide(kept, BOX, WIDE, BARE) == pytest.approx(0.30 - 0.5 * WIDE / 2 - BOX / 2 - clear)


def test_turning_a_box_at_a_slanting_break_can_make_it_worse():
    """17 cm to a square break a turned box fits; at 27 degrees its corners come 12.7 cm nearer."""
    half = Truck((box("half", 4, 9), wedge(9)))
    assert choose_stacks(edged(one(0.125), {"left": [(0.16, 0.0)]}), half, rules=BARE).stacks[0].turned
    plan = choose_stacks(edged(one(0.125), {"left": [(0.16, 0.5)]}), half, rules=BARE)
    assert not plan.stacks
    assert "nearer at a corner, for the break slants" in plan.unfillable[0].reason


def corners_of(stack, piece, rules):
    """Where corners of a piece may come to lie: x along the run, y to the right of the rail."""
    low, high = piece.slid - piece.along / 2, piece.slid + piece.along / 2
    if piece.both_ends:
        out = (piece.across - rules.gauge) / 2
        left, right = (-out, rules.gauge + out) if stack.side == "left" else (-rules.gauge - out, out)
    else:
        most = rules.slide_in * piece.across if stack.on_walk_side else 0.0
        most = min(most, max(rules.gauge - piece.across, 0) / 2)
        left, right = -piece.across / 2, piece.across / 2
        left, right = (left, right + most) if stack.side == "left" else (left - most, right)
    return [(stack.station + x, y) for x in (low, high) for y in (left, right)]


@settings(max_examples=60, deadline=None)
@given(
    heights=st.lists(st.floats(0.01, 0.3), min_size=2, max_size=6),
    edge=st.floats(0.0, 3.0),
    slant=st.floats(-1.5, 1.5),
    walk=st.sampled_from(["", "left", "right"]),
    clear=st.sampled_from([0.0, 0.0127]),
)
def test_no_corner_reaches_past_a_slanting_break(heights, edge, slant, walk, clear):
    """The break is one straight line across both rails; every corner lies on its own tie's side of it."""
    rules = StackRules(walk_side=walk, edge_clear=clear)
    plank = Piece("plank", "lumber", 0.05, 1.0, 0.2, 8.0, 9)
    n = len(heights)
    both = fills(np.repeat(heights, 2), stations=0.6 * np.repeat(np.arange(n), 2))
    places = {"left": edge, "right": edge + slant * rules.gauge}
    table = edged(both, {side: [(at, slant)] for side, at in places.items()})
    plan = choose_stacks(table, truck(lumber=9, pads=9, extra=(plank,)), rules=rules)
    for stack in plan.stacks:
        at = places[stack.side]
        for piece in stack.pieces:
            for x, y in corners_of(stack, piece, rules):
                room = (at + slant * y - x) / math.hypot(1.0, slant)
                assert (room if stack.station <= at else -room) >= clear - 1e-6


def test_the_kern_is_spent_once():
    """Off the middle both ways the load stays in the kern while the two shares add up to 1 at the most."""
    rules = StackRules(walk_side="left")
    place = site()
    assert inward(place, BOX, WIDE, rules) == pytest.approx(WIDE / 6)
    assert inward(place, BOX, WIDE, rules, slid=-BOX / 12) == pytest.approx(WIDE / 12)
    assert inward(place, BOX, WIDE, rules, slid=BOX / 6) == pytest.approx(0.0, abs=1e-12)
    assert inward(place, BOX, WIDE, StackRules()) == 0.0


def test_at_a_joint_one_tie_alone_under_a_wheel_spends_the_kern():
    """Ties 12 cm apart put a wheel over one of them 6 cm off a box's middle, of 8.5 cm that the kern has."""
    rules = StackRules(walk_side="left")
    ties = {"sides": ["left"] * 2, "supports": ["J1"] * 2, "ties": [5, 6], "stations": [0.0, 0.12]}
    joint = sort_fills(fills([0.1, 0.1], **ties), rules).sites[0]
    share = 1.0 - 0.06 / (BOX / 6)
    assert inward(joint, BOX, WIDE, rules) == pytest.approx(share * WIDE / 6)
    assert inward(joint, 0.1, WIDE, rules) == pytest.approx(WIDE / 6)  # one piece under each tie


def test_a_turned_box_is_slid_in_no_farther_than_half_way_to_the_other_rail():
    rules = StackRules(walk_side="left")
    assert inward(site(), WIDE, BOX, rules) == pytest.approx((rules.gauge - BOX) / 2)
    assert inward(site(), WIDE, 0.9, rules) == 0.0


def test_at_a_joint_a_box_is_slid_only_while_it_carries_both_ties():
    """A box of 50.8 cm over 45.2 cm of ties has 2.8 cm to give, though its kern has 8.5."""
    ties = {"sides": ["left"] * 2, "supports": ["J1"] * 2, "ties": [5, 6], "stations": [0.0, 0.392]}
    free = {"free_head_m": math.inf}
    for room, way in ((0.058 - 0.027, -0.027), (0.058 - 0.029, None)):
        table = fills([0.1, 0.1], **ties, **free, free_tail_m=[math.inf, room])
        found = slide(sort_fills(table, BARE).sites[0], BOX, WIDE, BARE)
        assert found == (way if way is None else pytest.approx(way))


@pytest.mark.parametrize("other", [0.001, -0.02])
def test_nothing_is_laid_under_a_tie_that_lies_on_the_ground(other):
    """The next tie, 6 cm wide, lies 30 cm off on the ground: 27 cm are free, and 20 of them at 23 cm."""
    there = Truck((box("half", 4, 9), wedge(9)))
    plan = choose_stacks(row([0.125, other], [0.0, 0.23]), there, rules=BARE)
    (stack,) = plan.stacks
    assert reach_of(stack)[1] <= 0.20 + 1e-9
    free = choose_stacks(row([0.125, other], [0.0, 0.30]), there, rules=BARE).stacks[0]
    assert reach_of(free)[1] == pytest.approx(BOX / 2)


def test_a_turned_piece_must_carry_the_whole_tie():
    """A batten 4 cm wide turned across the run is no place for a tie 6 cm wide."""
    batten = Piece("batten", "lumber", 0.05, 0.4, 0.04, 1.0, 9)
    broad = Piece("batten", "lumber", 0.05, 0.4, 0.07, 1.0, 9)
    table = one(0.07, to_tail=0.05)
    assert not choose_stacks(table, Truck((batten, wedge(9))), rules=BARE).stacks
    assert choose_stacks(table, Truck((broad, wedge(9))), rules=BARE).stacks


def test_a_plank_under_both_ends_needs_room_for_its_width():
    plank = Piece("plank", "lumber", 0.05, 1.2, 0.2, 8.0, 9)
    there = Truck((plank, wedge(9)))
    for room, built in ((0.11, True), (0.09, False)):
        plan = choose_stacks(fills([0.07, 0.07], free_tail_m=room), there, rules=BARE)
        assert bool(plan.stacks) is built
        assert all(piece.both_ends for stack in plan.stacks for piece in stack.pieces)


def test_slopes_too_slight_for_a_wedge_make_no_seat():
    """0.28 degrees each way is 0.40 together: over a limit of 0.35, but nothing a wedge is put under for."""
    slight = math.radians(0.28)
    table = one(0.125, along_slope=slight, cross_slope=slight, ground_type="paving")
    rules = StackRules(tilt_limit=math.radians(0.35))
    (stack,) = choose_stacks(table, truck(), rules=rules).stacks
    assert stack.seat == ""


@pytest.mark.parametrize("to_head", [-0.002, 0.02, 0.029])
def test_nothing_stands_under_a_tie_that_reaches_over_an_edge(to_head):
    """A tie 6 cm wide wants 3 cm of ground on either side of its middle, wedge and shims or not."""
    there = Truck((wedge(9), shim("shim 3", 0.003, 9)))
    for free in ({"free_head_m": to_head}, {"free_tail_m": to_head}):
        plan = choose_stacks(fills([0.02], sides=["left"], **free), there, rules=BARE)
        assert not plan.stacks
        (stop,) = [one for one in plan.advisories if one.level == "stop"]
        assert "the tie itself reaches over the break" in stop.text
        assert math.isnan(plan.unfillable[0].nearest)
    assert choose_stacks(fills([0.02], sides=["left"], free_head_m=0.031), there, rules=BARE).stacks


def test_a_closing_piece_keeps_clear_of_a_slanting_edge_too():
    """The tie end reaches 5 cm beyond the rail: at 45 degrees the edge is 5 cm nearer there."""
    there = Truck((wedge(9),))
    for at, built in ((0.085, True), (0.075, False)):
        table = edged(fills([0.02], sides=["left"], stations=[0.0]), {"left": [(at, 1.0)]})
        assert bool(choose_stacks(table, there, rules=BARE).stacks) is built


def test_each_piece_is_told_its_own_slide():
    """A quarter box turned and a pad on it: the slides differ, and each stays within its own kern."""
    wide = Piece("pad", "pad", 0.019, 0.4064, 0.3048, 1.0, 9)
    there = Truck((box("quarter", 2, 9), wide, wedge(9)))
    plan = choose_stacks(one(0.09, to_tail=0.14), there, rules=BARE)
    (stack,) = plan.stacks
    (text,) = [one.text for one in plan.advisories if "to stand clear" in one.text]
    for piece in stack.pieces:
        assert abs(piece.slid) <= piece.along / 6 + 1e-9
        if piece.slid:
            assert f"slid {1000 * abs(piece.slid):.0f} mm towards the head" in text
    assert len({piece.slid for piece in stack.pieces}) == 2


def test_a_joint_whose_ground_steps_gets_two_stacks():
    """Ground that rises 9 cm between ties 20 cm apart, but slopes 3 degrees: no one seat levels that."""
    ties = {"sides": ["left"] * 2, "supports": ["J1"] * 2, "ties": [5, 6], "stations": [0.0, 0.2]}
    ground = np.array([0.0, 0.09])
    slope = math.radians(3.0)
    table = fills([0.2, 0.11], **ties, ground_m=ground, line_m=0.2, along_slope=slope, ground_type="paving")
    plan = choose_stacks(table, truck(lumber=9))
    assert all(len(stack.ties) == 1 for stack in plan.stacks)
    even = table.assign(ground_m=[0.0, 0.2 * math.tan(slope)], fill_m=[0.2, 0.2 - 0.2 * math.tan(slope)])
    assert [stack.ties for stack in choose_stacks(even, truck(lumber=9)).stacks] == [(5, 6)]


def test_the_nearest_fill_at_a_joint_is_that_of_the_joint():
    """One box under both ties closes a few millimetres away; each alone has room for none."""
    ties = {"sides": ["left"] * 2, "supports": ["J1"] * 2, "ties": [5, 6], "stations": [0.0, 0.2]}
    there = Truck((box("half", 4, 9), wedge(9, thick=0.75)))
    fill = 0.1016 + 0.0254
    plan = choose_stacks(fills([fill, fill], **ties), there)
    assert len(plan.unfillable) == 2
    for lost in plan.unfillable:
        again = choose_stacks(fills([lost.nearest] * 2, **ties), there)
        assert [stack.ties for stack in again.stacks] == [(5, 6)]
        assert abs(lost.nearest - fill) < 0.01


def test_a_pair_from_outside_reaches_in_with_its_inner_wedge():
    """The inner wedge lies its whole 12 in under the tie; an edge 20 cm off slants into its way."""
    there = Truck((wedge(9, thick=1.8, thin=0.25),))
    table = edged(fills([0.05], sides=["left"], stations=[0.0]), {"left": [(0.20, -0.9)]})
    (stack,) = choose_stacks(table, there, rules=StackRules(edge_clear=0.0, single_up_to=0.01)).stacks
    end = stack.closing
    assert end.kind == "pair" and end.goes_in == "from outside"
    reach = 0.3048 - StackRules().tie_overhang  # inwards of the rail
    assert end.past == pytest.approx(0.0508 - (0.20 - 0.9 * reach))  # half of its 4 in along the run


@pytest.mark.parametrize("clear", [0.0, 0.0127, 0.03])
def test_how_far_a_wedge_reaches_past_does_not_hang_on_what_is_kept_clear(clear):
    rules = StackRules(walk_side="left", edge_clear=clear)
    table = edged(fills([0.02], sides=["left"], stations=[0.0]), {"left": [(0.15, 1.0), (-0.15, 1.0)]})
    (stack,) = choose_stacks(table, Truck((wedge(9),)), rules=rules).stacks
    tip, butt = reach_of_wedge(stack)
    assert stack.closing.past == pytest.approx(max(tip, butt) + 0.0508 - 0.15)


def test_wedges_under_ties_close_together_come_from_ends_that_have_room():
    """Two wedges 12 in long under ties 30 cm apart, both from the tail, would lie in each other."""
    rules = StackRules(walk_side="left")
    plan = choose_stacks(row([0.02, 0.02], [0.0, 0.30]), Truck((wedge(9),)), rules=rules)
    spans = []
    for stack in plan.stacks:
        to_head, to_tail = reach_of_wedge(stack)
        spans.append((stack.station - to_head, stack.station + to_tail))
    overlap = spans[0][1] - spans[1][0]
    assert overlap <= sum(stack.closing.past for stack in plan.stacks) + 1e-9


def test_a_crossed_crib_is_scraped_level_under_both_its_pieces():
    """Two 4x4 of 24 in a layer, crossed, take up 24 in both ways: 10 per cent across is 61 mm under them."""
    there = Truck((Piece("4x4", "lumber", 0.089, 0.61, 0.089, 5.0, 40), box("half", 4, 1), wedge(9)))
    rules = StackRules(max_of_kind={"lumber": 0, "edge": 0, "box": 1, "crossed": 5}, edge_clear=0.0)
    table = fills([0.44], sides=["left"], cross_slope=math.atan(0.10), ground_type="gravel")
    for lift in np.arange(0.0, 0.09, 0.004):
        plan = choose_stacks(table.assign(fill_m=0.40 + lift), there, rules=rules)
        crossed = [stack for stack in plan.stacks if stack.pieces and stack.pieces[0].crossed]
        for stack in crossed:
            assert stack.seat_raise == pytest.approx(-0.10 * 0.61 / 2)
            assert stack.seat.startswith("scrape level: 61 mm off")
        if crossed:
            return
    raise AssertionError("no crib was chosen")


def test_a_joint_stands_on_the_softest_ground_under_either_tie():
    ties = {"sides": ["left"] * 2, "supports": ["J1"] * 2, "ties": [5, 6], "stations": [0.0, 0.2]}
    for kinds in (["lawn", "paving"], ["paving", "lawn"]):
        site_ = sort_fills(fills([0.1, 0.1], **ties, ground_type=kinds), StackRules()).sites[0]
        assert site_.ground == "lawn"


def test_fills_joined_from_tables_with_and_without_edges_are_taken():
    import pandas as pd

    with_edges = edged(fills([0.1], sides=["left"]), {"left": [(9.0, 0.0)]})
    both = pd.concat([with_edges, fills([0.1], sides=["left"], supports=["T9"], ties=[9], stations=[5.0])])
    assert len(sort_fills(both, StackRules()).sites) == 2


@pytest.mark.parametrize(("walk", "slant"), [("left", 0.5), ("left", -0.5), ("right", 0.5), ("right", -0.5)])
def test_on_the_walk_side_the_corner_farther_in_counts(walk, slant):
    """Slid in by a sixth of its width a box reaches half its width outwards and two thirds inwards."""
    rules = StackRules(walk_side=walk, edge_clear=0.0)
    table = edged(fills([0.1], sides=[walk], stations=[0.0]), {walk: [(0.40, slant)]})
    place = sort_fills(table, rules).sites[0]
    inwards, outwards = WIDE * 2 / 3, WIDE / 2
    right, left = (inwards, outwards) if walk == "left" else (outwards, inwards)
    corner = 0.40 + min(slant * right, -slant * left)
    assert slide(place, BOX, WIDE, rules) == pytest.approx(min(corner - BOX / 2, 0.0))


@pytest.mark.parametrize("walk", ["left", "right", "both"])
@pytest.mark.parametrize("span", [0.12, 0.2, 0.3])
def test_wedges_along_the_track_at_a_joint_do_not_reach_into_each_other(span, walk):
    """Each comes from outside the joint; where their tips would cross, another gap is closed."""
    there = Truck(
        (box("half", 4, 9), box("quarter", 2, 9), box("pancake", 1, 9), wedge(40), shim("shim", 0.003, 60))
    )
    rules, along, short = StackRules(walk_side=walk), 0, 0
    for fill in np.arange(0.03, 0.30, 0.007):
        ties = {"sides": ["left"] * 2 + ["right"] * 2, "supports": ["J1"] * 4, "ties": [5, 6] * 2}
        table = fills([fill, fill + 0.002] * 2, **ties, stations=[0.0, span] * 2, sd=0.003)
        for stack in choose_stacks(table, there, rules=rules).stacks:
            ends = [end for end in stack.closings if end.goes_in == "along the track"]
            if len(stack.ties) < 2 or not ends:
                continue
            assert {end.kind for end in ends} == {"single"}
            assert [end.from_side for end in ends] == [{5: "head", 6: "tail"}[end.tie] for end in ends]
            tips = sum(end.how_far_in for end in ends)
            assert tips <= span + StackRules().bearing + 1e-6 or len(ends) < 2
            assert all(end.high <= end.low + 0.3048 for end in ends)
            along += 1
            short += tips > 0.9 * (span + StackRules().bearing)
    assert along > 10
    assert short or span == 0.3


@pytest.mark.parametrize("fill", np.arange(0.06, 0.30, 0.011))
def test_no_layer_lies_beside_the_line_on_which_a_wedge_bears(fill):
    """A wedge from outside bears at the tie's end: a layer that cannot reach there tips (statics)."""
    there = Truck((box("half", 4, 3), box("pancake", 1, 2), two_by_four(40), wedge(40)))
    table = fills(
        [fill] * 4, sides=["left", "right"] * 2, supports=["T1", "T1", "J2", "J2"], ties=[1, 1, 5, 6]
    )
    table = table.assign(station_m=[0.0, 0.0, 2.0, 2.2], side=["left", "right", "right", "right"])
    rules = StackRules(tie_overhang=0.05)
    for stack in choose_stacks(table, there, rules=rules).stacks:
        for end in stack.closings:
            if end.kind != "single" or end.goes_in != "from outside":
                continue
            for piece in stack.pieces:
                off = rules.tie_overhang - piece.out  # of the tie's end from the layer's middle
                assert abs(off) <= piece.across / 2, (stack.ties, piece)
                assert piece.out == 0.0 or abs(off) <= piece.across / 6 + 1e-9


def test_on_a_board_on_its_edge_the_wedge_goes_along_it_and_a_flat_one_is_set_out():
    there = Truck((two_by_four(4), box("half", 4, 1), wedge(4)))
    rules = StackRules(max_layers=1, height_per_base=4.0)
    plans = [
        choose_stacks(fills([h + 0.02], sides=["left"]), there, rules=rules) for h in (0.089, 0.038, 4 * INCH)
    ]
    (edge,), (flat,), (boxed,) = (plan.stacks for plan in plans)
    assert edge.pieces[0].on_edge and edge.closing.goes_in == "along the track"
    assert flat.closing.goes_in == boxed.closing.goes_in == "from outside"
    assert flat.pieces[0].out == pytest.approx(0.05 - 0.089 / 6, abs=1e-4)
    assert edge.pieces[0].out == boxed.pieces[0].out == 0.0
    told = [any("over their middle third" in note.text for note in plan.advisories) for plan in plans]
    assert told == [False, True, False]


@pytest.mark.parametrize(("top", "passes"), [("pancake", True), ("2x4", False)])
def test_wedges_at_a_joint_may_pass_side_by_side_where_the_pile_is_wide_enough(top, passes):
    """Two wedges 9 cm wide, from 5 cm outside the rail inwards: a box 12 in wide carries both, no board."""
    under = box("pancake", 1, 9) if top == "pancake" else two_by_four(9)
    there = Truck((under, replace(wedge(9), width=0.09)))
    ties = {"sides": ["left"] * 2, "supports": ["J1"] * 2, "ties": [5, 6], "stations": [0.0, 0.2]}
    high = there.pieces[0].thickness
    plan = choose_stacks(
        fills([high + 0.012] * 2, **ties, sd=0.001), there, rules=StackRules(walk_side="left")
    )
    (stack,) = plan.stacks
    assert [end.goes_in for end in stack.closings] == ["along the track"] * 2
    assert all((end.high == pytest.approx(1.25 * INCH)) == passes for end in stack.closings)
    assert any("side by side" in note.text for note in plan.advisories)
    assert (stack.change_chance < 0.01) == passes or stack.change_chance < 0.2
