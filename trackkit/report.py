"""A plan in words and columns, for a terminal or a printer."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

from trackkit.advice import USUAL_CAUTIONS, WORTH_SAYING, chance_words
from trackkit.fitted import doubtful_readings
from trackkit.paper import columns, wrapped
from trackkit.plan import Plan, nearest_ties
from trackkit.problems import Advisory
from trackkit.tables.rows import rows_of

__all__ = ["plan_text", "summary_lines"]

#: Most places that an advisory names; the table has them all.
NAMED: Final = 6
_UNIT_WORDS: Final = {"in": "inches", "cm": "cm", "mm": "mm"}


def plan_text(plan: Plan) -> str:
    """Return the plan: what stops it first, then target and summary, the tables, the cautions."""
    doubtful = set(doubtful_readings(plan.ground)["reading"])
    stops = [a for a in plan.advisories if a.level == "stop" or a.place in doubtful]
    parts = [wrapped(plan.job.name.upper())]
    if plan.job.note:
        parts.append(wrapped(plan.job.note))
    if stops:
        parts.append("\n".join(wrapped(_words(plan, a), hang=2) for a in stops))
    parts.append("\n".join(wrapped(line, hang=2) for line in summary_lines(plan)))
    if plan.job.rough_in:
        parts.append(corner_table(plan))
    parts += [support_table(plan), truck_table(plan)]
    others = [a for a in plan.advisories if a not in stops]
    if others:
        parts.append("\n".join(wrapped(_words(plan, a), hang=2) for a in others))
    if plan.ground.survey.notes:
        parts.append(
            "How readings were taken:\n" + "\n".join(wrapped(n, hang=2) for n in plan.ground.survey.notes)
        )
    parts.append("ALWAYS\n" + "\n".join(wrapped("- " + text, hang=2) for text in USUAL_CAUTIONS))
    return "\n\n".join(part for part in parts if part) + "\n"


def _words(plan: Plan, advisory: Advisory) -> str:
    """Return an advisory with landmarks, and a long list of places cut short."""
    places = advisory.place.split(", ")
    if len(places) > NAMED:
        first = ", ".join(places[: NAMED - 1])
        advisory = replace(advisory, place=f"{first} and {len(places) - NAMED + 1} more")
    return _named(plan, str(advisory))


def summary_lines(plan: Plan) -> list[str]:
    """Return the numbers that a crew asks first, a line each."""
    show, run, line = plan.job.display, plan.run, plan.line
    sections = ", ".join(
        f"{count} x {name}" for name, count in run.sections["name"].value_counts(sort=False).items()
    )
    if plan.job.rough_in:
        track = f"Track as it lies: {show.long(run.length)} ({sections})."
    else:
        spare = f", {show.long(run.surplus)} more than needed" if run.surplus > 0.005 else ""
        track = (
            f"Track needed: {show.long(run.needed)} ({run.breakdown}). Lay {sections} = "
            f"{show.long(run.length)}{spare}, from {show.long(run.head)} to {show.long(run.tail)} "
            "(distance from the start mark)."
        )
    summary = plan.summary
    largest = (
        f"Largest fill: {show.small_unit(summary.largest)} at tie {summary.largest_tie} "
        f"{plan.job.side(summary.largest_side)}; {summary.negative or 'no'} tie ends in the ground."
    )
    if summary.negative:
        largest += f" The deepest by {show.small_unit(-summary.deepest)}."
    lines = [track, largest, _short_on_truck(plan), _what_sets(plan)]
    if plan.withholds_target:
        lines.insert(0, "No target: see STOP.")
    elif plan.targets is not None:
        lines.insert(0, f"{plan.targets.text} {plan.targets.check.text}")
    else:
        lasers = "no laser position" if plan.ground.lasers.empty else "more than one laser position"
        lines.insert(0, f"No target for the rod: {lasers} and no peg was read. Read a peg with the others.")
    if run.chassis_text():
        lines.append(run.chassis_text())
    if line.raised > 0:
        lines.append(
            f"The line was raised by {show.small_unit(line.raised)} for the confidence asked for "
            f"({plan.job.file.line.confidence:.0%} that no tie end touches)."
        )
    lines.append(f"{_gap_words(plan)} Ground: {plan.ground.roughness.words(show)}.")
    doubtful = doubtful_readings(plan.ground)
    if len(doubtful):
        lines.append(f"Readings in doubt: {', '.join(doubtful['reading'])}.")
    unchecked = int((plan.ground.residuals["checked"] == "nothing").sum())
    if unchecked:
        lines.append(f"Nothing checks {unchecked} of {len(plan.ground.residuals)} readings.")
    return lines


def _what_sets(plan: Plan) -> str:
    """Return what the line is set from, and how sure that is."""
    line, governing = plan.line, plan.governing
    sets = f"The line is {_kind(plan)}, set from {_named(plan, line.reference)}"
    if plan.job.reference != "governing" or line.kind == "follow":
        return sets + "."
    other = "another point" if len(line.rests_on) == 1 else "another pair of points"
    sets += f"; that {other} governs: {chance_words(governing.another)}"
    if governing.likeliest not in line.rests_on:
        sets += f" (most likely {_named(plan, governing.likeliest)})"
    return sets + "."


def _named(plan: Plan, text: str) -> str:
    """Return text with landmarks for left and right."""
    ends = re.compile(r"\b(tie \d+|[TJ]\d+) (left|right)\b")
    return ends.sub(lambda found: f"{found[1]} {plan.job.side(found[2])}", text)


def _kind(plan: Plan) -> str:
    grade = plan.line.steepest
    if plan.line.kind == "level":
        return "level"
    rises = f"{abs(grade):.1%} {'up' if grade > 0 else 'down'} towards the end mark"
    words = {"grade": f"at a grade of {rises}", "least fill": f"the straight one with least fill, {rises}"}
    return words.get(plan.line.kind, f"bent at the joints to follow the ground, steepest {rises}")


def _short_on_truck(plan: Plan) -> str:
    if plan.stacks is None:
        return "Truck: not given."
    found = []
    if plan.stacks.shortages:
        found.append("SHORT ON THE TRUCK: " + "; ".join(str(s) for s in plan.stacks.shortages) + ".")
    if plan.stacks.unfillable:
        found.append(f"The truck cannot fill {len(plan.stacks.unfillable)} support(s): see below.")
    return " ".join(found) or "The truck suffices."


def _gap_words(plan: Plan) -> str:
    """Return the gap that the line leaves: as asked, or what a given height leaves at the least."""
    show = plan.job.display
    if plan.job.reference == "governing":
        return f"Gap under the track: {show.small_unit(plan.line.gap)}."
    return f"Least gap under a tie: {show.small_unit(plan.summary.deepest)}."


def corner_table(plan: Plan) -> str:
    """Return the corners of roughed-in track, the highest first: the order to look at them in."""
    show, job = plan.job.display, plan.job
    corners = plan.fills[plan.fills["role"] == "set"].sort_values("fill_m", kind="stable")
    rows = []
    for place, row in enumerate(rows_of(corners), start=1):
        ties = plan.run.ties
        own = ties.loc[ties["section"] == row.section, "tie"]
        end = "head" if row.tie == own.min() else "tail"
        rows.append(
            [
                str(place),
                f"section {row.section} {end}",
                job.side(row.side),
                show.small(row.fill_m),
                f"±{show.small(2 * row.fill_sd_m)}",
            ]
        )
    title = f"CORNERS, the highest first (lift in {_UNIT_WORDS[show.unit]})"
    note = (
        "Lift: from where the rail lies now. Track that bridges a dip has a gap under it already: a stack is "
        "the lift and that gap. Lift the lowest corner a little at a time, in turn with its neighbours."
    )
    table = columns(["", "corner", "side", "lift", ""], rows, right=(0, 3, 4))
    return "\n".join([title, table, wrapped(note)])


def support_table(plan: Plan) -> str:
    """Return one row a tie end: fill, stack, closing piece, target, doubts."""
    show, job = plan.job.display, plan.job
    targets, rod = _target_column(plan)
    doubts, ways = _doubts(plan), _ways_in(plan)
    rows = []
    for row in rows_of(plan.fills):
        key, first = (row.tie, row.side), row.side == "left"
        rows.append(
            [
                str(row.tie) if first else "",
                show.long(row.station_m) if first else "",
                row.role if first else "",
                job.side(row.side),
                show.small(row.fill_m),
                f"±{show.small(2 * row.fill_sd_m)}",
                *([show.small(targets[key]) if key in targets else ""] if targets else ()),
                *_built(plan, row),
                ", ".join(doubts.get(key, ())),
            ]
        )
    unit = _UNIT_WORDS[show.unit]
    title = f"SUPPORTS, from the head of the run (heights in {unit}; ± is give or take, 19 times in 20)"
    notes = ["* rail top above the control peg: rod = reading on the peg less this"] if rod == "rail*" else []
    if any(stack.seat for stack in (plan.stacks.stacks if plan.stacks else ())):
        notes.append(
            "seat: level the bottom of the stack first (with what that lifts it by); how is in supports.csv"
        )
    notes += [f"On the {job.side(side)} wedges go in {way}." for side, way in ways.items()]
    rods = [rod] if targets else []
    head = [
        "tie",
        "at",
        "",
        "side",
        "fill",
        "",
        *rods,
        "from the ground up",
        "closed by",
        "gap",
        "may change",
    ]
    more = len(rods)
    right = (0, 1, 4, 5, *((6,) if more else ()), 8 + more)
    table = columns(head, rows, right=right, wrap=(6 + more, 7 + more, 9 + more))
    return "\n".join([title, table, *notes])


def _target_column(plan: Plan) -> tuple[dict[tuple[int, str], float], str]:
    """Return the targets by tie end where they differ, and the head of their column."""
    targets = plan.targets
    if targets is None or targets.one_offset is not None or plan.withholds_target:
        return {}, ""  # one number for all of them stands on top; or there is none
    read = bool(targets.table["rod_m"].notna().any())
    values = targets.table["rod_m" if read else "above_control_m"]
    keys = zip(targets.table["tie"], targets.table["side"], strict=True)
    return dict(zip(keys, values, strict=True)), "rod" if read else "rail*"


def _built(plan: Plan, row: Any) -> tuple[str, str, str]:
    """Return the pile under a tie end, what closes it, and the gap that it closes."""
    show, stacks = plan.job.display, plan.stacks
    if stacks is None:
        return "IN THE GROUND" if row.fill_m < -plan.line.doubt.touch else "-", "", ""
    for stack in stacks.stacks:
        if stack.side == row.side and row.tie in stack.ties:
            end = stack.closings[stack.ties.index(row.tie)]
            lift = show.small(stack.seat_raise)
            seat = "seat" if lift == show.small(0.0) else f"seat {lift}"
            pile = " + ".join(part for part in (seat if stack.seat else "", stack.pile_words) if part)
            pile = pile if stack.ties[0] == row.tie else f"with tie {stack.ties[0]}"
            way = end.way.removeprefix(", ") if row.side not in _ways_in(plan) else ""
            closed = "" if end.kind == "none" else f"{end.what} {way}".strip()
            return pile, closed, show.small(end.gap) if closed else ""
    for lost in stacks.unfillable:
        if lost.side == row.side and row.tie in lost.ties:
            return "NOTHING FITS: " + lost.reason, "", ""
    if row.fill_m < -plan.line.doubt.touch:
        return "IN THE GROUND", "", ""
    sits = any((row.tie, row.side) == (tie, side) for _, side, tie, _ in stacks.sitting)
    return "sits on the ground" if sits else "nothing may stand here", "", ""


def _ways_in(plan: Plan) -> dict[str, str]:
    """Return the way that wedges go in on each side, where it is the same for the whole side."""
    found: dict[str, set[str]] = {}
    for stack in plan.stacks.stacks if plan.stacks else ():
        for closing in stack.closings:
            if closing.goes_in:
                found.setdefault(stack.side, set()).add(closing.goes_in)
    return {side: ways.pop() for side, ways in found.items() if len(ways) == 1}


def _doubts(plan: Plan) -> dict[tuple[int, str], list[str]]:
    """Return what is doubtful at each tie end, in words."""
    found: dict[tuple[int, str], list[str]] = {}
    for row in rows_of(plan.fills[plan.fills["p_touch"] > WORTH_SAYING]):
        found.setdefault((row.tie, row.side), []).append(f"touch {_odds(row.p_touch)}")
    for stack in plan.stacks.stacks if plan.stacks else ():
        shims = all(closing.kind == "shim" for closing in stack.closings)  # cut to the gap anyway
        if not shims and stack.change_chance > WORTH_SAYING:
            text = _odds(stack.change_chance)
            found.setdefault((stack.ties[0], stack.side), []).append(text)
    placed = doubtful_readings(plan.ground)
    placed = placed[placed["station_m"].notna()]
    for row, tie in zip(rows_of(placed), nearest_ties(plan, placed["station_m"]), strict=True):
        for side in (row.side,) if row.side else ("left", "right"):
            found.setdefault((int(tie), side), []).append(f"{row.reading} is in doubt")
    return found


def _odds(chance: float) -> str:
    return chance_words(chance).replace(" chances", "").replace(" chance", "")


def truck_table(plan: Plan) -> str:
    """Return what to take off the truck."""
    if plan.stacks is None:
        return ""
    rows = [
        [
            str(row.item),
            str(row.kind),
            str(row.count),
            str(row.on_truck),
            str(row.missing) if row.missing else "",
        ]
        for row in rows_of(plan.stacks.pull_list())
    ]
    mass = plan.stacks.pull_list()["mass_kg"].sum(min_count=1)
    weight = f"\nTogether about {mass:.0f} kg." if mass == mass else ""
    head = ["item", "kind", "take", "on truck", "short"]
    return "PULL LIST\n" + columns(head, rows, right=(2, 3, 4)) + weight
