"""Pictures in sentences: what is said where a picture cannot be seen, and what a test can read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from trackkit.advice import chance_words
from trackkit.doubted import doubt_words
from trackkit.layout.fills import summarise_fills
from trackkit.layout.grounds import SIDES
from trackkit.naming import named
from trackkit.paper import NOTEBOOK_WIDTH, columns
from trackkit.report import line_words
from trackkit.show.change import ground_moved
from trackkit.tables.rows import rows_of

if TYPE_CHECKING:
    from trackkit.job import Job
    from trackkit.layout.governing import Governing
    from trackkit.plan import Laid, Plan
    from trackkit.survey.ground import Ground

__all__ = [
    "above_words",
    "change_words",
    "fills_text",
    "fills_words",
    "governing_words",
    "profile_words",
    "residual_words",
    "side_words",
]

#: Ties that stand side by side in a table of plain text: as many as have room, and rather broken names
#: than too few.
_ABREAST: Final = 10
_FEW_ABREAST: Final = 4


def side_words(laid: Laid | Plan) -> str:
    """Return what the side view shows."""
    job, summary = laid.job, summarise_fills(laid.fills)
    show = job.display
    deep = f"{summary.negative} tie ends in the ground, up to {show.small_unit(-summary.deepest)}"
    return (
        f"Side view of both rails over the ground. The line is {line_words(laid)}, set from "
        f"{named(laid.line.reference, job.side)}. Largest fill {show.small_unit(summary.largest)} at tie "
        f"{summary.largest_tie} {job.side(summary.largest_side)}; "
        f"{deep if summary.negative else 'no tie end in the ground'}."
    )


def fills_words(laid: Laid | Plan) -> str:
    """Return the fill of every tie end."""
    job, fills = laid.job, laid.fills
    show = job.display
    rows = []
    for side in SIDES:
        own = fills[fills["side"] == side]
        each = ", ".join(
            f"{tie}: {show.small(fill)}" for tie, fill in zip(own["tie"], own["fill_m"], strict=True)
        )
        rows.append(f"{job.side(side)}, tie by tie: {each}")
    return f"Fills in {show.unit}. {'; '.join(rows)}."


def fills_text(laid: Laid | Plan) -> str:
    """Return the fill of every tie end as a table of plain text, no wider than a notebook prints."""
    job, show = laid.job, laid.job.display
    sides = [laid.fills[laid.fills["side"] == side] for side in SIDES]
    ties = [str(tie) for tie in sides[0]["tie"]]
    words = [[show.small(fill) for fill in own["fill_m"]] for own in sides]
    head, names = f"fill, {show.unit}; tie", [job.side(side) for side in SIDES]

    def table(abreast: int, wrap: tuple[int, ...] = ()) -> str:
        parts = []
        for start in range(0, len(ties), abreast):
            cut = slice(start, start + abreast)
            rows = [[name, *own[cut]] for name, own in zip(names, words, strict=True)]
            own_head = [head, *ties[cut]]
            figures = tuple(range(1, len(own_head)))
            parts.append(columns(own_head, rows, right=figures, wrap=wrap, width=NOTEBOOK_WIDTH))
        return "\n".join(parts)

    whole = (table(abreast) for abreast in range(_ABREAST, _FEW_ABREAST - 1, -1))
    fits = (text for text in whole if max(map(len, text.split("\n"))) <= NOTEBOOK_WIDTH)
    return next(fits, None) or table(_FEW_ABREAST, wrap=(0,))


def governing_words(job: Job, governing: Governing) -> str:
    """Return which tie ends may govern, the likeliest first."""
    table = governing.table.sort_values("chance", ascending=False, kind="stable")
    likely = table[table["chance"] >= 0.05].head(6)
    if likely.empty:
        return "Chance to be the governing point: no tie end has more than 1 chance in 20."
    rows = zip(likely["tie"], likely["side"], likely["chance"], strict=True)
    each = ", ".join(f"tie {tie} {job.side(side)} {chance_words(chance)}" for tie, side, chance in rows)
    return f"Chance to be the governing point: {each}."


def above_words(plan: Plan) -> str:
    """Return what the strip from above shows."""
    run, job = plan.line.run, plan.job
    show = job.display
    parts = [
        f"The run from above, {len(run.ties)} ties in {len(run.sections)} sections from "
        f"{show.long(run.head)} to {show.long(run.tail)}, {job.side('left')} above {job.side('right')}"
    ]
    walk = job.stack_rules.walk_side
    if walk in SIDES:
        parts.append(f"people walk on the {job.side(walk)}")
    elif walk == "both":
        parts.append("people walk on both sides")
    if run.breaks:
        ends = [
            ", ".join(f"{show.long(at)} {side}" for at, side in zip(pair, SIDES, strict=True) if at == at)
            for pair in run.breaks
        ]
        parts.append(f"breaks at {' and '.join(ends)}")
    return "; ".join(parts) + "."


def profile_words(job: Job, ground: Ground) -> str:
    """Return what the picture of the ground as read shows."""
    show = job.display
    parts = []
    for side in ground.sides:
        heights, _ = ground.height(ground.stations, side)
        high, low = int(heights.argmax()), int(heights.argmin())
        top, foot = (show.long(float(ground.stations[place])) for place in (high, low))
        drop = show.small_unit(float(heights[high] - heights[low]))
        parts.append(f"{job.side(side)}: highest at {top}, lowest at {foot}, {drop} between them")
    return f"The ground as read, with the band it may be in. {'; '.join(parts)}."


def change_words(job: Job, ground: Ground, before: Ground) -> str:
    """Return how far the ground moves from one fit to another."""
    show, parts = job.display, []
    for side, (stations, up) in ground_moved(ground, before).items():
        most = int(np.abs(up).argmax())
        way = "up" if up[most] > 0 else "down"
        where = f"at {show.long(float(stations[most]))}"
        parts.append(f"{job.side(side)}: by up to {show.small_unit(abs(float(up[most])))} {way}, {where}")
    return f"How far the ground moves with these readings left out. {'; '.join(parts)}."


def residual_words(job: Job, ground: Ground) -> str:
    """Return how far readings are off, the doubtful ones by name."""
    found = [f"{row.reading}: {doubt_words(row, job.display)}" for row in rows_of(ground.doubtful)]
    doubt = "In doubt: " + "; ".join(found) if found else "None is in doubt"
    return f"How far each of {len(ground.residuals)} readings is off what the others make it. {doubt}."
