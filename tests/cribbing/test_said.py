"""What is said of stacks and of what they need care for: in plain words, in the display of the job."""

import re

import pytest
from crib_cases import INCH, box, fills, random_fills, shim, truck, two_by_four, wedge

from trackkit.cribbing import StackRules, Truck, choose_stacks

WALKED = StackRules(walk_side="right")


def joint(values, **columns):
    return fills(
        values, supports=["J3"] * 2, ties=[15, 16], sides=["left"] * 2, stations=[0.0, 0.15], **columns
    )


def advice(plan, word):
    return [note for note in plan.advisories if word in note.text]


# --- stacks -------------------------------------------------------------------------------------


def test_shims_are_counted_before_their_name_and_the_gap_stands_apart():
    """'2 shim 6 + shim 2 1.4 cm' can be read in several ways."""
    there = Truck((shim("shim 6", 0.006, 4), shim("shim 2", 0.002, 4)))
    assert choose_stacks(fills([0.014]), there).stacks[0].words("cm") == "2 x shim 6 + shim 2 (gap 1.4 cm)"


def test_a_pair_is_of_wedges():
    there = Truck((wedge(9, thick=1.5, thin=0.25),))
    assert choose_stacks(fills([0.041]), there).stacks[0].words("mm") == (
        "pair of wedges (gap 41 mm), from outside"
    )


def test_one_wedge_under_each_tie_is_said_once_where_the_gaps_read_alike():
    there = Truck((box("half", 4, 3), wedge(9)))
    (stack,) = choose_stacks(joint([0.1197, 0.1199]), there).stacks
    assert stack.words("cm") == "half + wedge under each tie (gap 1.8 cm), from outside"


def test_gaps_of_a_joint_that_differ_are_told_by_tie():
    there = Truck((box("half", 4, 3), wedge(9)))
    (stack,) = choose_stacks(joint([0.120, 0.124]), there).stacks
    assert stack.words("mm") == (
        "half + wedge under each tie (gap 18 mm at tie 15, 22 mm at tie 16), from outside"
    )


# --- places -------------------------------------------------------------------------------------


def test_a_joint_is_named_with_its_ties_and_a_tie_by_its_number():
    there = Truck((box("half", 4, 3), wedge(9), two_by_four(9)))
    plan = choose_stacks(joint([0.10, 0.16], along_slope=0.0), there)
    assert [note.place for note in advice(plan, "no one box")] == ["joint J3 left (ties 15 and 16)"]
    assert not any(
        re.search(r"\b[TJ]\d+ (left|right)", note.place.replace("joint J", "")) for note in plan.advisories
    )


def test_what_cannot_be_filled_is_listed_by_tie():
    ties = [10, 10, 2, 2, 9, 9]
    table = fills([0.1] * 6, ties=ties, supports=[f"T{tie}" for tie in ties])
    plan = choose_stacks(table, Truck((wedge(9),)))
    (stop,) = [note for note in plan.advisories if note.level == "stop"]
    assert stop.place == ", ".join(f"tie {tie} {side}" for tie in (2, 9, 10) for side in ("left", "right"))
    assert "at 6 places" in stop.text
    few = choose_stacks(table.iloc[:3], Truck((wedge(9),)))
    places = [note.place for note in few.advisories if note.level == "stop"]
    assert places == ["tie 2 left", "tie 10 left", "tie 10 right"]


@pytest.mark.parametrize("display", ["1/8 in", "1/16 in"])
def test_a_job_in_inches_is_told_nothing_in_millimetres(display):
    there = truck(boxes=4, wedges=9, lumber=3, pads=3, extra=(shim("shim", 0.003, 9),))
    table = random_fills(24, 3, low=-0.02, high=0.7, sd=0.008, cross_slope=0.05, ground_type="lawn")
    plan = choose_stacks(table, there, rules=WALKED, display=display)
    said = [str(note) for note in plan.advisories] + [stack.words(display) for stack in plan.stacks]
    said += [stack.seat for stack in plan.stacks] + [one.reason for one in plan.unfillable]
    assert plan.unfillable
    assert not [text for text in said if re.search(r"\d ?(mm|cm|m|N|kN)\b", text)]
    assert not [text for text in said if re.search(r"kern|doubt|atan|integer program", text)]


# --- cautions -----------------------------------------------------------------------------------


def test_boxes_that_stand_out_where_somebody_walks_are_a_caution_with_the_largest():
    """A foot 12 in wide, slid in by a sixth: 152 - 50 - 51 mm stand out (geometry)."""
    plan = choose_stacks(fills([0.11, 0.11, 0.02, 0.02]), truck(), rules=WALKED)
    notes = {note.level: note for note in advice(plan, "stand out")}
    assert notes["caution"].place == "tie 1 right"
    assert "up to 52 mm beyond the tie ends, most at tie 1 right" in notes["caution"].text
    assert notes["note"].place == "tie 1 left"
    out = 12 * INCH / 2 - 0.05 - 2 * INCH
    assert out == pytest.approx(0.052, abs=5e-4)


def test_shims_are_said_once_and_not_as_stacks_that_may_change():
    """A shim closes its own thickness and 1 mm more or less: it is cut on the day (common practice)."""
    plan = choose_stacks(fills([0.006, 0.006, 0.2], sd=0.004), truck(extra=(shim("shim 3", 0.003, 9),)))
    shims = [stack for stack in plan.stacks if stack.closing.kind == "shim"]
    assert len(shims) == 2
    assert all(stack.change_chance > 0.25 for stack in shims)
    assert not advice(plan, "1 chance in 4")
    (note,) = advice(plan, "cut to the gap")
    assert note.text == "shims are cut to the gap on the day: 2 tie ends"
    assert note.place == "tie 1 left, tie 1 right"


def test_other_stacks_that_may_well_change_are_still_named():
    there = Truck((box("half", 4, 3), wedge(9)))
    plan = choose_stacks(fills([0.12], sd=0.03), there)
    assert plan.stacks[0].change_chance > 0.25
    assert [note.place for note in advice(plan, "1 chance in 4")] == ["tie 1 left"]
