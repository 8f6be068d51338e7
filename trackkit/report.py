"""A plan in words and columns, for a terminal or a printer."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Final

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
    stops = [a for a in plan.advisories if a.level == "stop"]
    parts = [plan.job.name.upper()]
    if plan.job.note:
        parts.append(wrapped(plan.job.note))
    if stops:
        parts.append("\n".join(wrapped(_words(plan, a), hang=2) for a in stops))
    parts.append("\n".join(wrapped(line, hang=2) for line in summary_lines(plan)))
    if plan.job.rough_in:
        parts.append(corner_table(plan))
    parts += [support_table(plan), truck_table(plan)]
    others = [a for a in plan.advisories if a.level != "stop"]
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
    if plan.targets is not None:
        lines.insert(0, f"{plan.targets.text} {plan.targets.check.text}")
    if run.chassis_text():
        lines.append(run.chassis_text())
    if line.raised > 0:
        lines.append(
            f"The line was raised by {show.small_unit(line.raised)} for the confidence asked for "
            f"({plan.job.file.line.confidence:.0%} that no tie end touches)."
        )
    lines.append(
        f"Gap under the track: {show.small_unit(line.gap)}. Ground: {plan.ground.roughness.words()}."
    )
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
    if plan.stacks.shortages:
        return "SHORT ON THE TRUCK: " + "; ".join(str(s) for s in plan.stacks.shortages) + "."
    if plan.stacks.unfillable:
        return f"The truck cannot fill {len(plan.stacks.unfillable)} support(s): see below."
    return "The truck suffices."


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
    """Return one row a tie end: fill, stack, target, doubts."""
    show, job = plan.job.display, plan.job
    stacks = {}
    if plan.stacks is not None:
        stacks = {(tie, stack.side): stack for stack in plan.stacks.stacks for tie in stack.ties}
    targets = {}
    withheld = plan.targets is not None and plan.targets.check.verdict == "do not lay"
    if plan.targets is not None and plan.targets.one_offset is None and not withheld:
        values = plan.targets.table.set_index(["tie", "side"])
        column = "rod_m" if plan.targets.table["rod_m"].notna().any() else "above_control_m"
        targets = values[column].to_dict()
    unfillable = {
        (tie, one.side): one for one in (plan.stacks.unfillable if plan.stacks else ()) for tie in one.ties
    }
    sitting = {(tie, side) for _, side, tie, _ in (plan.stacks.sitting if plan.stacks else ())}
    doubts, ways = _doubts(plan), _ways_in(plan)

    def shorter(words: str) -> str:
        for way in ways.values():
            words = words.replace(f", {way}", "")
        return words

    rows, seats = [], False
    for row in rows_of(plan.fills):
        key = (row.tie, row.side)
        if key in stacks:
            stack = stacks[key]
            first = stack.ties[0] == row.tie
            built = shorter(stack.words(show.name)) if first else f"with tie {stack.ties[0]}"
            seats |= bool(stack.seat)
        elif key in unfillable:
            built = "NOTHING FITS: " + unfillable[key].reason
        elif row.fill_m < -plan.line.doubt.touch:
            built = "IN THE GROUND"
        elif key in sitting:
            built = "sits on the ground"
        else:
            built = "-" if plan.stacks is None else "nothing may stand here"
        rows.append(
            [
                str(row.tie) if row.side == "left" else "",
                show.long(row.station_m) if row.side == "left" else "",
                row.role if row.side == "left" else "",
                job.side(row.side),
                show.small(row.fill_m),
                f"±{show.small(2 * row.fill_sd_m)}",
                show.small(targets[key]) if key in targets else "",
                built,
                "; ".join(doubts.get(key, ())),
            ]
        )
    from_control = bool(targets) and plan.targets is not None and plan.targets.table["rod_m"].isna().all()
    rod = "rail*" if from_control else "rod"
    unit = _UNIT_WORDS[show.unit]
    title = f"SUPPORTS, from the head of the run (heights in {unit}; ± is give or take, 19 times in 20)"
    note = "\n* rail top above the control peg: rod = reading on the peg less this" if from_control else ""
    note += "\nseat: make the bottom of the stack level first; how is in supports.csv" if seats else ""
    note += "".join(f"\nOn the {job.side(side)} wedges go in {way}." for side, way in ways.items())
    head = ["tie", "at", "", "side", "fill", "", rod, "from the ground up", "doubts"]
    if not targets:  # one number for all of them stands on top
        head, rows = [*head[:6], *head[7:]], [[*row[:6], *row[7:]] for row in rows]
        return title + "\n" + columns(head, rows, right=(0, 1, 4, 5), wrap=(6, 7)) + note
    return title + "\n" + columns(head, rows, right=(0, 1, 4, 5, 6), wrap=(7, 8)) + note


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
        found.setdefault((row.tie, row.side), []).append(f"may touch ({_odds(row.p_touch)})")
    for stack in plan.stacks.stacks if plan.stacks else ():
        if all(closing.kind == "shim" for closing in stack.closings):
            found.setdefault((stack.ties[0], stack.side), []).append("shims as the gap asks")
        elif stack.change_chance > WORTH_SAYING:
            text = f"may change ({_odds(stack.change_chance)})"
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
