"""The tables of a plan on paper: corners of roughed-in track, supports, seats, what to take off the truck."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from trackkit.advice import WORTH_SAYING, chance_words
from trackkit.cribbing.said import apart
from trackkit.layout.targets import from_peg
from trackkit.naming import sided
from trackkit.paper import columns, wrapped
from trackkit.tables.rows import rows_of
from trackkit.units import MASS_UNITS, Display

if TYPE_CHECKING:
    from trackkit.cribbing.results import Unfillable
    from trackkit.cribbing.stack import Closing, Stack
    from trackkit.job import Job
    from trackkit.plan import Plan

__all__ = [
    "Listing",
    "corner_table",
    "lift_words",
    "list_corners",
    "list_pieces",
    "list_seats",
    "list_supports",
    "seat_table",
    "support_table",
    "truck_table",
]

#: A fill with a smaller standard deviation is one that the line is set from [m].
CERTAIN: Final = 1e-6
#: Head of the column of targets before the peg is read.
_FROM_PEG: Final = "rod*"
_UNIT_WORDS: Final = {"in": "inches", "cm": "cm", "mm": "mm"}


@dataclass(frozen=True)
class Listing:
    """A table in words, for paper or for the screen.

    Attributes
    ----------
    title : str
    head : tuple of str
    rows : tuple of tuple of str
    right : tuple of int
        Columns of figures.
    wide : tuple of int
        Columns that may be broken over lines.
    notes : tuple of str
        How it is read.
    """

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()
    wide: tuple[int, ...] = ()
    notes: tuple[str, ...] = ()


#: What a fill means where track was roughed in.
LIFT: Final = (
    "Lift: from where the rail lies now. Track that bridges a dip has a gap under it already: a stack is the "
    "lift and that gap."
)


def lift_words(job: Job) -> list[str]:
    """Return what must stand beside the fills of track that was roughed in; nothing for other jobs."""
    return [f"CAUTION: {LIFT}"] if job.rough_in else []


def corner_table(plan: Plan) -> str:
    """Return the corners of roughed-in track as text; see `list_corners`."""
    listed = list_corners(plan)
    table = columns(listed.head, listed.rows, right=listed.right)
    return "\n".join([listed.title, table, *map(wrapped, listed.notes)])


def list_corners(plan: Plan) -> Listing:
    """Return the corners of roughed-in track, the highest first: the order to look at them in."""
    show, job = plan.job.display, plan.job
    corners = plan.fills[plan.fills["role"] == "set"].sort_values("fill_m", kind="stable")
    rows = []
    for place, row in enumerate(rows_of(corners), start=1):
        ties = plan.run.ties
        own = ties.loc[ties["section"] == row.section, "tie"]
        end = "head" if row.tie == own.min() else "tail"
        corner = f"section {row.section} {end}"
        rows.append((str(place), corner, job.side(row.side), show.small(row.fill_m), give(row, show)))
    title = f"CORNERS, the highest first (lift in {_UNIT_WORDS[show.unit]})"
    note = f"{LIFT} Lift the lowest corner a little at a time, in turn with its neighbours."
    return Listing(title, ("", "corner", "side", "lift", ""), tuple(rows), (0, 3, 4), (), (note,))


def support_table(plan: Plan) -> str:
    """Return one row a tie end, as text; see `list_supports`."""
    listed = list_supports(plan)
    table = columns(listed.head, listed.rows, right=listed.right, wrap=listed.wide)
    return "\n".join([listed.title, table, *(wrapped(note, hang=2) for note in listed.notes)])


def list_supports(plan: Plan) -> Listing:
    """Return one row a tie end: fill, stack, closing piece, target, doubts."""
    show, job = plan.job.display, plan.job
    targets, rod = _target_column(plan)
    doubts, ways = _doubts(plan), _ways_in(plan)
    rows = []
    for row in rows_of(plan.fills):
        key, first = (row.tie, row.side), row.side == "left"
        rows.append(
            (
                str(row.tie) if first else "",
                show.long(row.station_m) if first else "",
                row.role if first else "",
                job.side(row.side),
                show.small(row.fill_m),
                give(row, show),
                *([targets.get(key, "")] if targets else ()),
                *_built(plan, row, ways),
                ", ".join(doubts.get(key, ())),
            )
        )
    unit = _UNIT_WORDS[show.unit]
    title = f"SUPPORTS, from the head of the run (heights in {unit}; ± is give or take, 19 times in 20)"
    rods = [rod] if targets else []
    up = ["from the ground up", "closed by", "height", "may change"]
    head = ["tie", "at", "role", "side", "fill", "", *rods, *up]
    more = len(rods)
    right = (0, 1, 4, 5, *((6,) if more else ()), 8 + more)
    wide = (6 + more, 7 + more, 9 + more)
    return Listing(title, tuple(head), tuple(rows), right, wide, tuple(_notes(plan, rod, ways)))


def _notes(plan: Plan, rod: str, ways: dict[str, str]) -> list[str]:
    """Return how to read the table of supports."""
    job = plan.job
    notes = []
    if rod == _FROM_PEG and plan.targets is not None:
        peg = plan.targets.control.name
        notes.append(
            f"{rod} the target, once {peg} is read: the reading on {peg}, plus or minus this as it says. "
            "plus: add it. minus: take it off."
        )
    notes.append(
        "role: set = a corner of a section, brought to its height with the rod; fill = between corners, "
        "packed under the rail once the corners stand."
    )
    if (plan.fills["fill_sd_m"] < CERTAIN).any():
        notes.append("rests: the line is set from here, and everything else is measured from it.")
    if plan.stacks is None or not plan.stacks.stacks:
        return notes
    notes.append(
        "height: what is left to close over the pile. Pieces lie along the track, unless it says across."
    )
    if ways:
        each = "; ".join(f"{job.side(side)}, {way}" for side, way in ways.items())
        notes.append(f"Wedges go in: {each}.")
    return notes


def give(row: Any, show: Display) -> str:
    """Return the give or take of a fill, 19 times in 20: never less than the step it is written in."""
    if row.fill_sd_m < CERTAIN:
        return "rests"
    return f"±{show.small(max(2 * row.fill_sd_m, show.step))}"


def seat_table(plan: Plan) -> str:
    """Return how the bottom of each stack on sloping ground is made level, as text."""
    listed = list_seats(plan)
    if listed is None:
        return ""
    table = columns(listed.head, listed.rows, right=listed.right, wrap=listed.wide)
    return "\n".join([listed.title, table, *map(wrapped, listed.notes)])


def list_seats(plan: Plan) -> Listing | None:
    """Return how the bottom of each stack on sloping ground is made level; None if none must be."""
    seated = [stack for stack in (plan.stacks.stacks if plan.stacks else ()) if stack.seat]
    if not seated:
        return None
    rows = []
    for stack in sorted(seated, key=lambda stack: (stack.ties, stack.side)):
        ties = " and ".join(map(str, stack.ties))
        rows.append((ties, plan.job.side(stack.side), sided(stack.seat, plan.job.side)))
    text = "seat N in the table: the pile stands N above the ground at that tie."
    if any(stack.seat.startswith("scrape") for stack in seated):
        text += (
            " scrape N: the ground is taken away there N deep, until all of it is level with its low corner. "
            "Ask whose ground it is before you scrape."
        )
    title = "SEATS, made level before anything is stacked"
    return Listing(title, ("tie", "side", "how"), tuple(rows), (0,), (2,), (text,))


def _target_column(plan: Plan) -> tuple[dict[tuple[int, str], str], str]:
    """Return the targets by tie end where they differ, in words, and the head of their column."""
    targets = plan.targets
    if targets is None or targets.one_offset is not None or plan.withholds_target:
        return {}, ""  # one number for all of them stands on top; or there is none
    read = bool(targets.table["rod_m"].notna().any())
    values = targets.table["rod_m" if read else "above_control_m"]
    words = map(plan.job.display.small if read else partial(plus_or_minus, plan.job.display), values)
    keys = zip(targets.table["tie"], targets.table["side"], strict=True)
    return dict(zip(keys, words, strict=True)), "rod" if read else _FROM_PEG


def plus_or_minus(show: Display, above: float) -> str:
    """Return what to do to the reading on the peg for a rail top so much above it [m], the sign in words.

    Examples
    --------
    >>> from trackkit.units import DISPLAYS
    >>> [plus_or_minus(DISPLAYS["1/8 in"], inches * 0.0254) for inches in (-9.375, 2.125, 0.01)]
    ['plus 9 3/8', 'minus 2 1/8', 'minus 0']
    """
    size = show.small(abs(above))
    return f"{from_peg(0.0 if size == show.small(0.0) else above)} {size}"


def _built(plan: Plan, row: Any, ways: dict[str, str]) -> tuple[str, str, str]:
    """Return the pile under a tie end, what closes it, and the gap that it closes."""
    show, stacks = plan.job.display, plan.stacks
    if stacks is None:
        return "IN THE GROUND" if row.fill_m < -plan.line.doubt.touch else "-", "", ""
    for stack in stacks.stacks:
        if stack.side == row.side and row.tie in stack.ties:
            end = stack.closings[stack.ties.index(row.tie)]
            first = stack.ties[0] == row.tie
            parts = (_seat(stack, end, show), stack.pile_words if first else f"with tie {stack.ties[0]}")
            pile = (" + " if first else ", ").join(part for part in parts if part)
            way = end.way.removeprefix(", ") if row.side not in ways else ""
            closed = "" if end.kind == "none" else f"{end.what} {way}".strip()
            return pile, closed, show.small(end.height) if closed else ""
    for lost in stacks.unfillable:
        if lost.side == row.side and row.tie in lost.ties:
            return _nothing_fits(lost, show), "", ""
    if row.fill_m < -plan.line.doubt.touch:
        return "IN THE GROUND", "", ""
    sits = any((row.tie, row.side) == (tie, side) for _, side, tie, _ in stacks.sitting)
    return "sits on the ground" if sits else "nothing may stand here", "", ""


def _nothing_fits(lost: Unfillable, show: Display) -> str:
    """Return that no stack is planned, and which fill would work."""
    if lost.too_high:
        return "TOO HIGH: see STOP"
    told = apart(show, lost.fill, lost.nearest)
    if told is None:
        return "NOTHING FITS: see STOP"
    near = show.small(lost.nearest)
    return f"NOTHING FITS: see STOP; {near if near != show.small(lost.fill) else told[0]} would"


def _seat(stack: Stack, end: Closing, show: Display) -> str:
    """Return what the ground is raised or scraped by at a tie, where the stack needs a seat."""
    if not stack.seat:
        return ""
    if show.small(abs(end.seat_raise)) == show.small(0.0):
        return "seat"
    return f"{'seat' if end.seat_raise > 0 else 'scrape'} {show.small(abs(end.seat_raise))}"


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
    placed = plan.ground.doubtful
    placed = placed[placed["station_m"].notna()]
    for row, tie in zip(rows_of(placed), _nearest_ties(plan, placed["station_m"]), strict=True):
        for side in (row.side,) if row.side else ("left", "right"):
            found.setdefault((int(tie), side), []).append(f"{row.reading} is in doubt")
    return found


def _odds(chance: float) -> str:
    return chance_words(chance).replace(" chances", "").replace(" chance", "")


def truck_table(plan: Plan) -> str:
    """Return what to take off the truck, as text."""
    listed = list_pieces(plan)
    if listed is None:
        return ""
    table = columns(listed.head, listed.rows, right=listed.right)
    return "\n".join([listed.title, table, *listed.notes])


def list_pieces(plan: Plan) -> Listing | None:
    """Return what to take off the truck; None if there is no truck."""
    if plan.stacks is None:
        return None
    rows = [
        (
            str(row.item),
            str(row.kind),
            str(row.count),
            str(row.on_truck),
            str(row.missing) if row.missing else "",
        )
        for row in rows_of(plan.stacks.pull_list())
    ]
    notes = []
    seats = Counter[str]()
    for stack in plan.stacks.stacks:
        seats[stack.seat_item] += stack.seat_wedges
    wanted = dict(plan.stacks.used)
    for item, count in sorted((+seats).items()):
        notes.append(f"Of the {wanted[item]} {item}, {count} make seats and {wanted[item] - count} close.")
    weight = _weight(plan)
    if weight:
        notes.append(weight)
    head = ("item", "kind", "take", "on truck", "short")
    return Listing("PULL LIST", head, tuple(rows), (2, 3, 4), notes=tuple(notes))


def _weight(plan: Plan) -> str:
    """Return what all pieces to take weigh together, and whose weight is not in it."""
    if plan.stacks is None:
        return ""
    pieces = plan.stacks.pull_list()
    known = pieces["mass_kg"].notna()
    if not known.any():
        return ""
    unit = "lb" if plan.job.display.unit == "in" else "kg"
    more = ", with what is short" if (pieces["missing"] > 0).any() else ""
    more += f", without {', '.join(pieces['item'][~known])} (no weight given)" if not known.all() else ""
    return f"Together about {pieces['mass_kg'].sum() / MASS_UNITS[unit]:.0f} {unit}{more}."


def _nearest_ties(plan: Plan, stations: pd.Series[float]) -> list[int]:
    """Return the number of the tie nearest to each station."""
    at = plan.run.ties["station_m"].to_numpy(dtype=float)
    nearest = np.abs(at[:, None] - stations.to_numpy()[None, :]).argmin(axis=0)
    return [int(tie) for tie in plan.run.ties["tie"].to_numpy()[nearest]]
