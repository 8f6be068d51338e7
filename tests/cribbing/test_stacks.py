"""What the chosen stacks are like: closed, within the truck, clear of the walk side, in plain words."""

import math
from collections import Counter

import numpy as np
import pandas as pd
import pytest
from crib_cases import INCH, box, fills, pad, random_fills, shim, truck, two_by_four, wedge
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trackkit.cribbing import Piece, StackRules, Truck, choose_stacks
from trackkit.cribbing.bare import sag_between
from trackkit.cribbing.closers import change_chance
from trackkit.cribbing.placing import seat_raise
from trackkit.cribbing.sites import sort_fills

PAVING = StackRules(walk_side="right")


def taken_from(plan):
    """Count the pieces again from the stacks themselves."""
    taken = Counter()
    for stack in plan.stacks:
        for piece in stack.pieces:
            if not piece.both_ends or stack.side == "left":
                taken[piece.item] += piece.per_layer
        for closing in stack.closings:
            taken.update(dict(closing.takes))
        if "wedge" in stack.seat:
            taken["wedge"] += stack.seat.count("thick there")  # one for each edge that is told
    return Counter({item: n for item, n in taken.items() if n})


def joints(values, **columns):
    """Joints on the left: two rows a joint, ties 0.15 m apart."""
    n = len(values) // 2
    return fills(
        values,
        supports=[f"J{i // 2 + 1}" for i in range(2 * n)],
        ties=range(1, 2 * n + 1),
        sides=["left"] * (2 * n),
        stations=[2.0 * (i // 2) + 0.15 * (i % 2) for i in range(2 * n)],
        **columns,
    )


def reach_of(stack):
    """Return where a stack begins and ends along the run [m]."""
    at = [(stack.station + piece.slid, piece.length) for piece in stack.pieces]
    return min(mid - size / 2 for mid, size in at), max(mid + size / 2 for mid, size in at)


# --- every plan ---------------------------------------------------------------------------------


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    values=st.lists(st.floats(-0.02, 0.5), min_size=1, max_size=12),
    boxes=st.integers(0, 8),
    wedges=st.integers(0, 14),
    walk=st.sampled_from(["", "left", "right", "both"]),
    ground=st.sampled_from(["", "lawn", "paving"]),
    cross=st.floats(-0.08, 0.08),
    data=st.data(),
)
def test_every_plan_holds(values, boxes, wedges, walk, ground, cross, data):
    there = truck(boxes=boxes, wedges=wedges, lumber=6, pads=4, extra=(shim("shim", 0.003, 4),))
    rules = StackRules(walk_side=walk)
    table = fills(values, sd=0.002, ground_type=ground, cross_slope=cross)
    plan = choose_stacks(table, there, rules=rules)

    places = len(plan.stacks) + len(plan.sitting) + len(plan.negative) + len(plan.unfillable)
    assert places == len(values)
    assert plan.proven
    sites = {(s.support, s.side): s for s in sort_fills(table, rules).sites}
    for stack in plan.stacks:
        foot = [(piece.length, piece.width, piece.slid) for piece in stack.pieces[:1]]
        lift = seat_raise(sites[stack.support, stack.side], *foot[0]) if foot else 0.0
        base = stack.height + lift
        closing = stack.closing
        assert base + closing.height == pytest.approx(stack.fill, abs=TICK)
        assert closing.low - TICK <= closing.height <= closing.high + TICK
        assert stack.window[0] - TICK <= base <= stack.window[1] + TICK
        assert stack.height <= rules.refuse_height
        bottoms = np.cumsum([0.0] + [piece.thickness for piece in stack.pieces])[:-1]
        assert [piece.bottom for piece in stack.pieces] == pytest.approx(list(bottoms))
        assert closing.stick_side not in (
            walk,
            "left" if walk == "both" else "",
            "right" if walk == "both" else "",
        ) or (closing.stick_side == "")
        assert all(
            base_of(piece) * 3 + piece.bottom >= stack.height + max(closing.height, 0) - TICK
            for piece in stack.pieces
        )
    used = taken_from(plan)
    assert used == Counter(dict(plan.used))
    short = {shortage.item: shortage.missing for shortage in plan.shortages}
    for piece in there.pieces:
        assert used[piece.item] - piece.count <= short.get(piece.item, 0)

    shuffled = table.sample(frac=1.0, random_state=data.draw(st.integers(0, 99)))
    turned = Truck(tuple(reversed(there.pieces)))
    again = choose_stacks(shuffled, turned, rules=rules)
    assert (again.stacks, again.shortages, again.cost) == (plan.stacks, plan.shortages, plan.cost)


TICK = 2e-6


def base_of(piece):
    return min(piece.length - 2 * piece.width if piece.crossed else piece.length, piece.width)


def test_the_same_input_gives_the_same_plan_twice():
    table, there = random_fills(40, 7), truck(boxes=15)
    assert choose_stacks(table, there) == choose_stacks(table, there)


def test_the_fill_table_is_not_changed():
    table = random_fills(10, 7)
    before = table.copy()
    choose_stacks(table, truck())
    pd.testing.assert_frame_equal(table, before)


# --- the trade ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("inches", "words"),
    [
        (0.75, "wedge (gap 3/4 in)"),
        (4.75, "half + wedge (gap 3/4 in)"),
        (8.75, "full + wedge (gap 3/4 in)"),
        (12.75, "full + half + wedge (gap 3/4 in)"),
        (6.75, "half + quarter + wedge (gap 3/4 in)"),
    ],
)
def test_stacks_are_what_a_grip_builds(inches, words):
    """Few pieces, the big boxes first, a wedge on top: common practice, no source."""
    plan = choose_stacks(fills([inches * INCH], sd=0.002), truck(), display="1/8 in")
    assert plan.stacks[0].words("1/8 in") == f"{words}, from outside"


def test_tie_within_the_touch_sits_on_the_ground():
    plan = choose_stacks(fills([0.0, 0.003, -0.003, 0.0125]), truck())
    assert [(support, side) for support, side, *_ in plan.sitting] == [
        ("T1", "left"),
        ("T1", "right"),
        ("T2", "left"),
    ]
    assert [stack.support for stack in plan.stacks] == ["T2"]


def test_negative_fills_are_left_out_but_counted():
    plan = choose_stacks(fills([-0.03, 0.05, 0.06, -0.01]), truck())
    assert [(support, round(fill, 3)) for support, _, _, fill in plan.negative] == [
        ("T1", -0.03),
        ("T2", -0.01),
    ]
    assert any("2 tie end(s)" in note.text and note.level == "caution" for note in plan.advisories)


def test_unfillable_names_the_nearest_fill_that_works():
    """Only full boxes and wedges: 8 in and a wedge of 7.6 to 31 mm."""
    there = Truck((box("full", 8, 9), wedge(9, thick=1.25, length=10)))
    plan = choose_stacks(fills([0.15, 0.215, 0.19]), there)
    near = {one.fill: one.nearest for one in plan.unfillable}
    low = 1.25 * INCH * 0.06 / (10 * INCH) + StackRules().wedge_spare
    assert near[0.19] == pytest.approx(8 * INCH - StackRules().touch, abs=1e-5)
    assert near[0.15] == pytest.approx(8 * INCH - StackRules().touch, abs=1e-5)
    assert set(near) == {0.15, 0.19}
    assert [stack.fill for stack in plan.stacks] == [0.215]
    assert plan.stacks[0].closing.low == pytest.approx(low - StackRules().wedge_spare)
    again = choose_stacks(fills([near[0.15]]), there)
    assert not again.unfillable


def test_shims_close_what_is_too_low_for_a_wedge():
    plan = choose_stacks(fills([0.006]), truck(extra=(shim("shim 3", 0.003, 9),)))
    assert plan.stacks[0].closing.kind == "shim"
    assert plan.stacks[0].closing.takes == (("shim 3", 2),)


def test_pair_is_taken_above_where_a_single_is_common():
    """Higher than a butt only a pair reaches, and lower a pair's butts have no room: geometry."""
    there = Truck((wedge(9, thick=1.5, thin=0.25),))
    ends = [choose_stacks(fills([h]), there).stacks[0].closing for h in (0.025, 0.0365, 0.041)]
    assert [end.kind for end in ends] == ["single", "single", "pair"]


def test_pairs_take_two_wedges_from_the_truck():
    """24 CFR 3285.304(c) has shims used in pairs; each pair is two off the pull list."""
    there = Truck((wedge(3, thick=1.5, thin=0.25),))
    plan = choose_stacks(fills([0.041, 0.0365]), there)
    assert plan.pull_list()["count"].tolist() == [
        sum(2 if s.closing.kind == "pair" else 1 for s in plan.stacks)
    ]
    assert sorted(s.closing.kind for s in plan.stacks) == ["pair", "single"]


# --- truck --------------------------------------------------------------------------------------


def test_shortage_names_what_and_how_many():
    there = Truck((box("half", 4, 1), wedge(5)))
    plan = choose_stacks(fills([0.12, 0.121, 0.119]), there)
    assert [(s.item, s.kind, s.missing, s.on_truck) for s in plan.shortages] == [("half", "box", 2, 1)]
    assert sum(dict(stack.missing).get("half", 0) for stack in plan.stacks) == 2
    assert plan.pull_list().set_index("item").loc["half", ["count", "on_truck", "missing"]].tolist() == [
        3,
        1,
        2,
    ]
    assert any(note.level == "stop" and "2 more half" in note.text for note in plan.advisories)


def test_an_enough_truck_has_no_shortage():
    plan = choose_stacks(random_fills(30, 2), truck())
    assert (plan.shortages, plan.bare_candidates) == ((), ())


def test_an_empty_truck_raises_nothing():
    plan = choose_stacks(fills([0.1, 0.002]), Truck(()))
    assert len(plan.unfillable) == 1
    assert plan.unfillable[0].nearest == pytest.approx(StackRules().touch)


def test_no_fills_give_an_empty_plan():
    plan = choose_stacks(fills([]), truck())
    assert (plan.stacks, plan.cost, plan.proven) == ((), 0.0, True)
    assert plan.table().empty


def test_bare_candidates_lie_between_corners_and_state_the_sag():
    """Sag P L3 / 48 EI: AISC Manual Table 3-23 case 7."""
    there = Truck((box("half", 4, 4), wedge(9)))
    table = fills(
        [0.12] * 5, sides=["left"] * 5, stations=np.arange(5) * 0.8,
        supports=[f"T{i}" for i in range(5)], ties=range(5), role=["set", "fill", "fill", "fill", "set"],
    )  # fmt: skip
    plan = choose_stacks(table, there)
    assert {one.support for one in plan.bare_candidates} == {"T1", "T2", "T3"}
    assert sum(one.covers_shortage for one in plan.bare_candidates) == 1
    rules = StackRules()
    expected = rules.wheel_load * 1.6**3 / (48 * rules.rail_stiffness)
    assert plan.bare_candidates[0].sag == pytest.approx(expected)


def test_sag_equals_the_handbook_example():
    """Steel pipe 1.90 in, 36 in between supports, 250 lb at mid-span: .0270 in (recomputed, AISC case 7)."""
    stiffness = 29e6 * 0.3099 * 4.4482216 * INCH**2  # psi in4 to N m2
    assert sag_between(36 * INCH, 250 * 4.4482216, stiffness) / INCH == pytest.approx(0.0270, abs=5e-5)


# --- ground, joints, long lumber ----------------------------------------------------------------


def test_a_lawn_asks_for_a_pad_and_paving_does_not():
    there = Truck((two_by_four(20), pad(5), wedge(9)))
    lawn, paving = (choose_stacks(fills([0.105], ground_type=g), there).stacks[0] for g in ("lawn", "paving"))
    assert lawn.pieces[0].item == "ply pad"
    assert [piece.item for piece in paving.pieces] == ["2x4", "2x4"]
    assert paving.words().startswith("two 2x4 + wedge")


def test_a_fill_too_low_for_a_pad_is_closed_and_cautioned():
    plan = choose_stacks(fills([0.015], ground_type="lawn"), truck())
    assert plan.stacks[0].small_foot
    assert any("does not sink" in note.text for note in plan.advisories)


def test_one_box_along_the_run_carries_both_ties_of_a_joint():
    plan = choose_stacks(joints([0.115, 0.118]), truck())
    (stack,) = plan.stacks
    assert stack.ties == (1, 2)
    assert stack.pieces[0].length >= 0.15 + StackRules().bearing
    assert [c.height for c in stack.closings] == pytest.approx([f - stack.height for f in stack.fills])
    assert plan.pull_list().set_index("item").loc["wedge", "count"] == 2


def test_short_pieces_on_a_joint_stand_under_each_tie():
    there = Truck((box("half", 4, 3), two_by_four(9, length=6.0), wedge(9)))
    (stack,) = choose_stacks(joints([0.160, 0.160]), there).stacks
    assert [(p.item, p.per_layer) for p in stack.pieces] == [("half", 1), ("2x4", 2)]


def test_ties_of_a_joint_too_unlike_for_one_box_are_split_and_said():
    plan = choose_stacks(joints([0.06, 0.14], along_slope=0.0), truck())
    assert [stack.ties for stack in plan.stacks] == [(1,), (2,)]
    ends = [reach_of(stack) for stack in plan.stacks]
    assert ends[0][1] <= ends[1][0] + 1e-9  # what stands under one tie leaves the other its half
    assert all(piece.turned for stack in plan.stacks for piece in stack.pieces)
    assert any("no one box carries both ties" in note.text for note in plan.advisories)


def test_lowest_piece_of_a_joint_is_never_too_short():
    there = Truck((two_by_four(30, length=6.0), wedge(20)))
    plan = choose_stacks(joints([0.06, 0.06]), there)
    assert [len(stack.ties) for stack in plan.stacks] == [1, 1]


def test_one_plank_carries_both_ends_of_a_tie_if_it_is_long_enough():
    long = Piece("plank", "lumber", 0.038, 0.62 + 2 * 0.06 + 0.01, 0.235, 6, 4)
    plan = choose_stacks(fills([0.055, 0.060]), Truck((long, wedge(9))))
    assert all(stack.pieces[0].both_ends for stack in plan.stacks)
    assert plan.pull_list().set_index("item").loc["plank", "count"] == 1


@pytest.mark.parametrize(
    ("length", "rise", "allowed"),
    [(0.73, 0.0, True), (0.8, 0.03, True), (0.8, 0.0, False)],
    ids=["plank too short", "fills too unlike", "switched off"],
)
def test_one_plank_does_not_carry_both_ends_otherwise(length, rise, allowed):
    """A piece shorter than gauge and two bearings can't: a 20 in box is not (geometry)."""
    plank = Piece("plank", "lumber", 0.038, length, 0.235, 6, 9)
    plan = choose_stacks(
        fills([0.05, 0.05 + rise]), Truck((plank, wedge(9))), rules=StackRules(long_lumber=allowed)
    )
    assert plan.stacks
    assert not any(piece.both_ends for stack in plan.stacks for piece in stack.pieces)


def test_sloping_ground_gets_a_seat_by_scraping_on_a_lawn_and_by_a_wedge_on_paving():
    slopes = {"cross_slope": math.radians(4.0)}
    lawn, paving = (
        choose_stacks(fills([0.13], ground_type=g, **slopes), truck()).stacks[0] for g in ("lawn", "paving")
    )
    assert lawn.seat.startswith("scrape")
    assert paving.seat.startswith("1 wedge under the left side edge, ")
    half_width = paving.pieces[0].width / 2
    raised = paving.height + half_width * math.tan(math.radians(4.0))
    assert raised + paving.closing.height == pytest.approx(0.13, abs=TICK)


def test_gentle_slope_needs_no_seat():
    assert choose_stacks(fills([0.13], cross_slope=math.radians(1.5)), truck()).stacks[0].seat == ""


def test_a_pair_on_leaning_ground_is_said_to_keep_the_lean():
    there = Truck((wedge(9, thick=1.5, thin=0.25), box("half", 4, 2)))
    plan = choose_stacks(fills([4 * INCH + 0.041], cross_slope=math.radians(1.5)), there)
    assert plan.stacks[0].closing.kind == "pair"
    assert any("a single wedge would take it out" in note.text for note in plan.advisories)


# --- heights and people -------------------------------------------------------------------------


def test_tall_stacks_are_cautioned_and_too_tall_ones_refused():
    """18 in and 24 in: common practice, no source."""
    plan = choose_stacks(fills([0.30, 0.46, 0.61]), truck())
    assert [one.too_high for one in plan.unfillable] == [True]
    by_level = {note.level: note for note in plan.advisories if "platform" in note.text}
    assert by_level["caution"].place == "tie 1 right"
    assert by_level["stop"].place == "tie 2 left"
    assert "competent person" in by_level["stop"].text


def test_tall_stacks_are_planned_once_somebody_has_taken_over():
    plan = choose_stacks(fills([0.61]), truck(), rules=StackRules(tall_stacks_taken_over=True))
    assert not plan.unfillable
    assert plan.stacks[0].height > 0.5


def test_steep_wedges_are_cautioned():
    steep = Truck((wedge(9, thick=1.6, length=6.0),))
    slim = Truck((wedge(9, thick=1.0, length=6.0),))
    said = [
        [n for n in choose_stacks(fills([0.022]), t).advisories if "creep" in n.text] for t in (steep, slim)
    ]
    assert [len(notes) for notes in said] == [1, 0]


def test_every_plan_with_stacks_warns_of_pinching():
    assert any("fingers" in note.text for note in choose_stacks(fills([0.1]), truck()).advisories)


def test_boxes_on_the_walk_side_are_slid_in_within_the_kern():
    """A foot may be loaded up to a sixth of its width off its middle before an edge lifts (statics)."""
    left, right = choose_stacks(fills([0.11, 0.11]), truck(), rules=PAVING).stacks
    width = 12 * INCH
    assert left.overhang == pytest.approx(width / 2 - 0.05)
    assert right.overhang == pytest.approx(width / 2 - 0.05 - width / 6)


def test_change_chance_equals_the_normal_tails():
    """Half the time where the design height is at the end of a long travel; Phi(-2) twice in the middle."""
    assert float(change_chance(0.0, 0.1, 0.1, 0.005)) == pytest.approx(0.5)
    assert float(change_chance(0.01, 0.03, 0.02, 0.005)) == pytest.approx(2 * 0.0227501, abs=1e-6)
    assert float(change_chance(0.01, 0.03, 0.02, 0.0)) == 0.0


def test_stated_chance_of_change_is_met_by_draws():
    """Seeded simulation: fills drawn with their sd leave the wedge's travel as often as stated."""
    plan = choose_stacks(fills([0.2415], sd=0.006), truck())
    stack = plan.stacks[0]
    sd = math.hypot(0.006, StackRules().build_sd)
    drawn = np.random.default_rng(1).normal(stack.closing.height, sd, 200_000)
    share = ((drawn < stack.closing.low) | (drawn > stack.closing.high)).mean()
    assert share == pytest.approx(stack.change_chance, abs=4 * math.sqrt(0.25 / 200_000))


def test_doubtful_fills_are_closed_nearer_the_middle_of_the_travel():
    rules = StackRules(change_cost=6.0)
    sure, doubtful = (
        choose_stacks(fills([0.1105], sd=sd), truck(), rules=rules).stacks[0] for sd in (0.0, 0.006)
    )
    middle = (doubtful.closing.low + doubtful.closing.high) / 2
    assert abs(doubtful.closing.height - middle) < abs(sure.closing.height - middle)


# --- neighbours ---------------------------------------------------------------------------------


def test_supports_between_corners_take_their_neighbours_stack_where_it_costs_little():
    heights = [0.1195, 0.1210, 0.1225, 0.1240, 0.1255, 0.127]
    table = fills(
        heights, sides=["left"] * 6, stations=np.arange(6) * 0.8, supports=[f"T{i}" for i in range(6)],
        ties=range(6), role=["set", "fill", "fill", "fill", "fill", "set"],
    )  # fmt: skip
    alike = choose_stacks(table, truck(), rules=StackRules(alike_worth=1.5))
    assert len({stack.pile for stack in alike.stacks}) == 1
    assert [stack.same_as_neighbour for stack in alike.stacks] == [False] + [True] * 5


@pytest.mark.parametrize("seed", range(3))
def test_likeness_costs_no_more_than_it_is_said_to_be_worth(seed):
    rng = np.random.default_rng(seed)
    heights = 0.15 + 0.03 * np.sin(np.arange(40) / 7) + rng.normal(0, 0.002, 40)
    table = fills(heights, sd=0.002, role=["set", "set"] + ["fill"] * 36 + ["set", "set"])
    plain = choose_stacks(table, truck(boxes=20), rules=StackRules(alike_worth=0.0))
    alike = choose_stacks(table, truck(boxes=20), rules=StackRules(alike_worth=0.3))
    same = [sum(stack.same_as_neighbour for stack in plan.stacks) for plan in (plain, alike)]
    assert plain.alike_cost == 0.0
    assert same[1] >= same[0]
    assert alike.cost == plain.cost
    assert alike.alike_cost <= 0.3 * (same[1] - same[0]) + 1e-9


# --- faults and tables --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"side": "port"}, "side must be 'left' or 'right'"),
        ({"fill_m": math.nan}, "fill_m must be a finite number; row 0"),
        ({"fill_sd_m": math.inf}, "fill_sd_m must be a finite number"),
        ({"support": "T1", "side": "left", "tie": 1}, "stands in the fills twice"),
    ],
)
def test_faults_in_the_fills_are_named(change, message):
    with pytest.raises(ValueError, match=message):
        choose_stacks(fills([0.1, 0.2]).assign(**change), truck())


def test_missing_columns_are_named():
    with pytest.raises(ValueError, match="lacks the column"):
        choose_stacks(pd.DataFrame({"support": ["T1"], "side": ["left"]}), truck())


def test_three_ties_on_a_support_are_refused():
    table = fills(
        [0.1, 0.1, 0.1], supports=["J1"] * 3, sides=["left"] * 3, ties=[1, 2, 3], stations=[0, 0.1, 0.2]
    )
    with pytest.raises(ValueError, match="has 3 ties; a support carries 1 or 2"):
        choose_stacks(table, truck())


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"walk_side": "north"}, "walk_side must be one of"),
        ({"snug": -1.0}, "snug must be a finite number"),
        ({"chance_bands": (0.5, 0.2)}, "chance_bands must rise"),
        ({"refuse_height": 0.2}, "refuse_height must not be below caution_height"),
    ],
)
def test_rules_refuse_nonsense(change, message):
    with pytest.raises(ValueError, match=message):
        StackRules(**change)


def test_table_has_one_row_a_support_and_side():
    crossing = joints([0.1, 0.102]).assign(station_m=[20.0, 20.15])
    plan = choose_stacks(pd.concat([random_fills(10, 3), crossing]), truck())
    table = plan.table("cm")
    assert len(table) == len(plan.stacks) == 11
    assert not table.duplicated(["support", "side"]).any()
    assert table.loc[table["support"] == "J1", "ties"].tolist() == ["1 2"]


def test_pull_list_adds_up_the_mass():
    plan = choose_stacks(fills([0.12, 0.12]), truck())
    rows = plan.pull_list().set_index("item")
    assert rows.loc["half", "count"] == 2
    assert rows.loc["half", "mass_kg"] == pytest.approx(10.0)
