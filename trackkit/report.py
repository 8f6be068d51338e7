"""A plan in words and columns, for a terminal or a printer."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from trackkit.advice import USUAL_CAUTIONS, WORTH_SAYING, chance_words
from trackkit.job import Job
from trackkit.layout.laid import Run
from trackkit.plan import Plan, doubtful_readings, nearest_ties
from trackkit.problems import Advisory
from trackkit.survey.ground import Ground
from trackkit.survey.readings import cautions
from trackkit.tables.rows import rows_of

__all__ = ["WIDTH", "check_text", "columns", "plan_text", "summary_lines"]

#: Most places that an advisory names; the table has them all.
NAMED: Final = 6
_UNIT_WORDS: Final = {"in": "inches", "cm": "cm", "mm": "mm"}
#: Columns of the page: a terminal's width, and what a printer takes in a fixed pitch on A4.
WIDTH: Final = 100


def plan_text(plan: Plan) -> str:
    """Return the plan: what stops it first, the summary, the table, the cautions."""
    stops = [a for a in plan.advisories if a.level == "stop"]
    parts = [plan.job.name.upper()]
    if plan.job.note:
        parts.append(_wrapped(plan.job.note))
    if stops:
        parts.append("\n".join(_wrapped(_words(plan, a), hang=2) for a in stops))
    parts.append("\n".join(_wrapped(line, hang=2) for line in summary_lines(plan)))
    if plan.job.rough_in:
        parts.append(corner_table(plan))
    parts += [support_table(plan), truck_table(plan)]
    others = [a for a in plan.advisories if a.level != "stop"]
    if others:
        parts.append("\n".join(_wrapped(_words(plan, a), hang=2) for a in others))
    if plan.ground.survey.notes:
        parts.append(
            "How readings were taken:\n" + "\n".join(_wrapped(n, hang=2) for n in plan.ground.survey.notes)
        )
    parts.append("ALWAYS\n" + "\n".join(_wrapped("- " + text, hang=2) for text in USUAL_CAUTIONS))
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
    best = plan.governing.iloc[int(plan.governing["chance"].to_numpy().argmax())]
    other = 1.0 - float(_chance_of_contacts(plan))
    sets = f"The line is {_kind(plan)}, set from {_named(plan, line.reference)}"
    if plan.job.reference == "governing" and not any(name.startswith("obstacle") for name in line.rests_on):
        sets += f"; that another point governs: {chance_words(other)}"
        if f"tie {best['tie']} {best['side']}" not in line.rests_on:
            sets += f" (most likely tie {best['tie']} {plan.job.side(best['side'])})"
    summary = plan.summary
    largest = (
        f"Largest fill: {show.small_unit(summary.largest)} at tie {summary.largest_tie} "
        f"{plan.job.side(summary.largest_side)}; {summary.negative or 'no'} tie ends in the ground."
    )
    if summary.negative:
        largest += f" The deepest by {show.small_unit(-summary.deepest)}."
    lines = [track, sets + ".", largest, _short_on_truck(plan)]
    if run.chassis_text():
        lines.append(run.chassis_text())
    if plan.targets is not None:
        lines.append(plan.targets.text + " " + plan.targets.check.text)
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


def _chance_of_contacts(plan: Plan) -> float:
    names = plan.governing["tie"].map("tie {}".format) + " " + plan.governing["side"]
    return float(plan.governing.loc[names.isin(plan.line.rests_on), "chance"].sum())


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
    return title + "\n" + columns(["", "corner", "side", "lift", ""], rows, right=(0, 3, 4))


def support_table(plan: Plan) -> str:
    """Return one row a tie end: fill, stack, target, doubts."""
    show, job = plan.job.display, plan.job
    stacks = {}
    if plan.stacks is not None:
        stacks = {(tie, stack.side): stack for stack in plan.stacks.stacks for tie in stack.ties}
    targets = {}
    if plan.targets is not None:
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
    from_control = plan.targets is not None and plan.targets.table["rod_m"].isna().all()
    rod = "rail*" if from_control else "rod"
    unit = _UNIT_WORDS[show.unit]
    title = f"SUPPORTS, from the head of the run (heights in {unit}; ± is give or take, 19 times in 20)"
    note = "\n* rail top above the control peg: rod = reading on the peg less this" if from_control else ""
    note += "\nseat: make the bottom of the stack level first; how is in supports.csv" if seats else ""
    note += "".join(f"\nOn the {job.side(side)} wedges go in {way}." for side, way in ways.items())
    head = ["tie", "at", "", "side", "fill", "", rod, "from the ground up", "doubts"]
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
        if stack.change_chance > WORTH_SAYING:
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


def check_text(job: Job, run: Run, ground: Ground) -> str:
    """Return what the readings alone say: how much they check each other, and which are in doubt."""
    show, table = job.display, ground.residuals
    checked, spare = table["checked"].value_counts(), round(table["redundancy_readings"].sum())
    lines = [
        f"{len(table)} readings; {spare} more than there are heights to find.",
        f"{checked.get('readings', 0)} are checked by other readings, {checked.get('smoothness', 0)} only by "
        f"the smoothness of the ground, {checked.get('nothing', 0)} by nothing.",
        f"Ground: {ground.roughness.words()}.",
    ]
    for laser in rows_of(ground.lasers):
        lines.append(f"Laser position {laser.laser}: {show.small_unit(laser.height_m)} above the datum, "
                     f"give or take {show.small_unit(2 * laser.sd_m)}.")  # fmt: skip
    for phone in rows_of(ground.zero_errors):
        degrees, sd = np.degrees(phone.zero_rad), np.degrees(phone.sd_rad)
        lines.append(f"{phone.instrument}: zero error {degrees:+.2f} degrees, give or take {2 * sd:.2f}.")
    doubtful = doubtful_readings(ground)
    rows = [
        [row.reading, row.kind, show.long(row.station_m) if row.station_m == row.station_m else row.point,
         job.side(row.side) if row.side else "", show.small(row.residual_m), _times(row)]
        for row in rows_of(doubtful)
    ]  # fmt: skip
    head = ["reading", "kind", "where", "side", f"off, {show.unit}", "times its doubt"]
    verdict = (
        "No reading is in doubt." if doubtful.empty else "READ AGAIN\n" + columns(head, rows, right=(4, 5))
    )
    notes = "\n".join(_wrapped(n, hang=2) for n in ground.survey.notes)
    parts = [job.name.upper(), "\n".join(_wrapped(line, hang=2) for line in lines), verdict, notes]
    parts.append("\n".join(_wrapped(str(a), hang=2) for a in cautions(ground.survey)))
    return "\n\n".join(part for part in parts if part) + "\n"


def _times(row: Any) -> str:
    """Return how many times its doubt a reading is off, against the fit without it where there is one."""
    return f"{abs(row.w if np.isnan(row.w_without) else row.w_without):.0f}"


def columns(
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    right: tuple[int, ...] = (),
    wrap: tuple[int, ...] = (),
) -> str:
    """Return rows in aligned columns; wide columns in ``wrap`` are broken over lines."""
    table = [list(head), *map(list, rows)]
    widths = [max(len(row[i]) for row in table) for i in range(len(head))]
    for i in wrap:
        free = WIDTH - sum(widths) + widths[i] - 2 * (len(widths) - 1)
        share = free if i == wrap[-1] else max(free, 34)
        widths[i] = min(widths[i], max(share, 16))
    lines = []
    for row in table:
        cells = [textwrap.wrap(cell, width) or [""] for cell, width in zip(row, widths, strict=True)]
        for n in range(max(map(len, cells))):
            parts = [cell[n] if n < len(cell) else "" for cell in cells]
            placed = [
                part.rjust(width) if i in right else part.ljust(width)
                for i, (part, width) in enumerate(zip(parts, widths, strict=True))
            ]
            lines.append("  ".join(placed).rstrip())
    return "\n".join(lines)


def _wrapped(text: str, *, hang: int = 0) -> str:
    return textwrap.fill(text, WIDTH, subsequent_indent=" " * hang, break_on_hyphens=False)
