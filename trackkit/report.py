"""A plan in words and columns, for a terminal or a printer."""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby
from typing import Final

from trackkit.advice import USUAL_CAUTIONS, WORTH_SAYING, chance_words, sure_words
from trackkit.layout.targets import from_peg
from trackkit.listed import corner_table, seat_table, support_table, truck_table
from trackkit.naming import compact, named
from trackkit.paper import wrapped
from trackkit.plan import Laid, Plan
from trackkit.problems import Advisory
from trackkit.survey.readings import read_on_rail

#: A line that rises less over its distance is level: 0.1 mm in 10 m.
NO_GRADE: Final = 1e-5

__all__ = ["hangs_on", "line_words", "plan_text", "said", "set_from_words", "stops_first", "summary_lines"]


def plan_text(plan: Plan) -> str:
    """Return the plan: what stops it first, then target and summary, the tables, the cautions."""
    stops, others = stops_first(plan)
    parts = [wrapped(plan.job.name.upper())]
    if plan.job.note:
        parts.append(wrapped(plan.job.note))
    if stops:
        parts.append("\n".join(wrapped(said(plan, a), hang=2) for a in stops))
    parts.append("\n".join(wrapped(line, hang=2) for line in summary_lines(plan)))
    if plan.job.rough_in:
        parts.append(corner_table(plan))
    parts += [support_table(plan), seat_table(plan), truck_table(plan)]
    if others:
        parts.append("\n".join(wrapped(said(plan, a), hang=2) for a in others))
    if plan.ground.survey.notes:
        parts.append(
            "How readings were taken:\n" + "\n".join(wrapped(n, hang=2) for n in plan.ground.survey.notes)
        )
    parts.append("ALWAYS\n" + "\n".join(wrapped("- " + text, hang=2) for text in USUAL_CAUTIONS))
    return "\n\n".join(part for part in parts if part) + "\n"


def stops_first(plan: Plan) -> tuple[list[Advisory], list[Advisory]]:
    """Return what stands on top of a plan, its stops and what doubts a reading, and all else it warns of."""
    doubtful = set(plan.ground.doubtful["reading"])
    stops = [a for a in plan.advisories if a.level == "stop" or a.place in doubtful]
    return stops, [a for a in plan.advisories if a not in stops]


def said(plan: Plan | Laid, advisory: Advisory) -> str:
    """Return an advisory with landmarks, its places drawn together."""
    side = plan.job.side
    return named(str(replace(advisory, place=compact(advisory.place, side))), side)


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
        f"{plan.job.side(summary.largest_side)}; {_in_the_ground(plan)}."
    )
    if summary.negative:
        largest += f" The deepest by {show.small_unit(-summary.deepest)}."
    lines = [track, *_order(plan), largest, _short_on_truck(plan), set_from_words(plan)]
    if plan.withholds_target:
        lines.insert(0, "No target: see STOP.")
    elif plan.targets is not None:
        lines[:0] = _target_lines(plan)
    else:
        lasers = "no laser position" if plan.ground.lasers.empty else "more than one laser position"
        lines.insert(0, f"No target for the rod: {lasers} and no peg was read. Read a peg with the others.")
    if run.chassis_text():
        lines.append(run.chassis_text())
    confidence = plan.job.file.line.confidence or 0.0
    if line.raised > 0:
        lines.append(
            f"The line was raised by {show.small_unit(line.raised)} for the confidence asked for "
            f"({sure_words(confidence)} that no tie end touches)."
        )
    elif confidence:
        sure = sure_words(confidence)
        lines.append(f"The line did not have to be raised for {sure} that no tie end touches.")
    rail = read_on_rail(plan.ground.survey)
    what = "Track, as it lies" if rail else "Ground"
    lines.append(f"{_gap_words(plan)} {what}: {plan.ground.roughness.words(show, rail=rail)}.")
    doubtful = plan.ground.doubtful
    if len(doubtful):
        lines.append(f"Readings in doubt: {', '.join(doubtful['reading'])}.")
    unchecked = int((plan.ground.residuals["checked"] == "nothing").sum())
    if unchecked:
        lines.append(f"Nothing checks {unchecked} of {len(plan.ground.residuals)} readings.")
    return lines


def _target_lines(plan: Plan) -> list[str]:
    """Return the target, what to write down, and what the pegs should read."""
    targets = plan.targets
    if targets is None:
        return []
    lines = [f"{targets.text} {targets.check.text}"]
    control = targets.control
    if control.reading is None and targets.one_offset is not None:
        offset = plan.job.display.small_unit(abs(targets.one_offset))
        lines.append(
            f"On the day: {control.name} reads ________ {from_peg(targets.one_offset)} {offset} = ________ "
            "on the rod, on every rail. Or put the readings into job.toml under [pegs.today], and plan again."
        )
    return lines


def _order(plan: Plan) -> list[str]:
    """Return the sections from the head of the run, where their order or their ends matter."""
    rows = list(zip(plan.run.sections["name"], plan.run.sections["dinged"], strict=True))
    if len(set(rows)) == 1 and not rows[0][1]:
        return []
    parts = []
    for (name, dinged), same in groupby(rows):
        count = len(list(same))
        ding = f" with its dinged end to the {dinged}" if dinged else ""
        parts.append(f"{f'{count} x ' if count > 1 else ''}{name}{ding}")
    return [f"Sections in order from the head: {', '.join(parts)}."]


def _in_the_ground(plan: Plan) -> str:
    """Return how many tie ends would be in the ground, and how many may touch it."""
    count = plan.summary.negative
    if count:
        return f"{count} tie end{'s' if count > 1 else ''} in the ground"
    touching = int((plan.fills["p_touch"] > WORTH_SAYING).sum())
    return "no tie end in the ground" + (f", but {touching} may touch it" if touching else "")


def hangs_on(laid: Plan | Laid) -> str:
    """Return what a line is set from, and what it was raised by for the confidence asked for."""
    line, show = laid.line, laid.job.display
    words = _set_from(laid)
    if show.small(line.raised) != show.small(0.0):
        confidence = laid.job.file.line.confidence or 0.0
        words += (
            f", and raised by {show.small_unit(line.raised)} from there so that nothing touches, "
            f"{sure_words(confidence)} sure"
        )
        if line.kind == "least fill" and laid.job.reference != "governing":
            words += ". Set from the governing point it needs less"
    return words + "."


def set_from_words(plan: Plan) -> str:
    """Return what the line is set from, and how sure that is."""
    line, governing = plan.line, plan.governing
    sets = _set_from(plan)
    if plan.job.reference != "governing" or line.kind == "follow":
        return sets + "."
    other = "another point" if len(line.rests_on) == 1 else "another pair of points"
    sets += f"; that {other} governs: {chance_words(governing.another)}"
    if governing.likeliest not in line.rests_on:
        sets += f" (most likely {named(governing.likeliest, plan.job.side)})"
    return sets + "."


def _set_from(laid: Plan | Laid) -> str:
    return f"The line is {line_words(laid)}, set from {named(laid.line.reference, laid.job.side)}"


def line_words(plan: Plan | Laid) -> str:
    """Return what kind of line it is, and how steep: the end of "the line is ..."."""
    grade = plan.line.steepest
    if plan.line.kind == "level" or (plan.line.kind == "grade" and abs(grade) < NO_GRADE):
        return "level"
    rises = f"{abs(grade):.1%} {'up' if grade > 0 else 'down'} towards the end mark"
    if abs(grade) < NO_GRADE:
        rises = "level"
    elif f"{abs(grade):.1%}" == "0.0%":
        rises = f"under 0.1% {'up' if grade > 0 else 'down'} towards the end mark"
    least = "the straight one with least fill"
    if plan.line.kind == "least fill" and plan.job.reference != "governing":
        least += " of those set from there"
    words = {"grade": f"at a grade of {rises}", "least fill": f"{least}, {rises}"}
    return words.get(plan.line.kind, f"bent at the joints to follow the ground, steepest {rises}")


def _short_on_truck(plan: Plan) -> str:
    if plan.stacks is None:
        return "Truck: not given."
    found = []
    if plan.stacks.shortages:
        found.append("SHORT ON THE TRUCK: " + "; ".join(str(s) for s in plan.stacks.shortages) + ".")
    if plan.stacks.unfillable:
        count = len(plan.stacks.unfillable)
        found.append(f"The truck cannot fill {count} support{'s' if count > 1 else ''}: see below.")
    spent = [
        piece.item
        for piece in plan.stacks.truck.pieces
        if dict(plan.stacks.used).get(piece.item) == piece.count
    ]
    if found:
        return " ".join(found)
    if not plan.can_be_done:
        return "The truck: enough for what is planned, but see STOP."
    return (
        f"The truck suffices, with nothing to spare of {', '.join(spent)}."
        if spent
        else "The truck suffices."
    )


def _gap_words(plan: Plan) -> str:
    """Return the gap that the line leaves: as asked, or what a given height leaves at the least."""
    show = plan.job.display
    if plan.job.reference == "governing":
        return f"Gap under the track: {show.small_unit(plan.line.gap)}."
    return f"Least gap under a tie: {show.small_unit(plan.summary.deepest)}."
