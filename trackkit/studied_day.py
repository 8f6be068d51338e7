"""The study of a reference in words: the day's work from a wrong start, what settles it, and all of it."""

from __future__ import annotations

from typing import Final

import pandas as pd

from trackkit.advice import chance_words
from trackkit.daywork import wrong_start
from trackkit.listed import Listing
from trackkit.nextread import reading_place, ties_words
from trackkit.paper import WIDTH, columns, wrapped_lines
from trackkit.pictured import SEE_STOP, truck_words
from trackkit.plan import warnings_of
from trackkit.report import said
from trackkit.studied import Studied, stacks_from
from trackkit.studied_causes import MINUTES, causes_listing, costly_lines
from trackkit.studied_words import (
    candidate_words,
    high_lines,
    pairs_listing,
    ranking_listing,
    reference_lines,
    short_chance,
    unit_of,
)  # fmt: skip
from trackkit.study.settle import Settled
from trackkit.study.wrong_start import best_spare, best_start
from trackkit.survey.quality.next_reading import KINDS
from trackkit.tables.rows import rows_of

__all__ = [
    "day_lines", "day_listing", "day_start", "settle_lines", "settle_listing", "study_parts", "study_text",
    "truck_lines",
]  # fmt: skip

#: Rows of what is lifted again: the first ones, beside the worst (a choice).
_FIRST: Final = 5
#: Contenders for which the truck is worked out, at most (a choice: the stacks of each are solved).
_TRUCKS: Final = 3
#: Less than so many minutes are nothing; a chance that falls by less is little gained; one that is less is
#: hardly one, as draws tell it (choices).
_NOTHING: Final = 1.0
_LITTLE: Final = 0.05
_HARDLY: Final = 0.01


# --- on the day -----------------------------------------------------------------------------------


def day_start(studied: Studied, chosen: int | None = None) -> int | None:
    """Return the candidate whose wrong start is told: the one chosen, else by eye, else the second likeliest.

    None where there is none that is too low, as the ground is fitted.
    """
    likely = [int(str(i)) for i in studied.study.contenders().index]
    eye = [studied.eye] if studied.eye is not None else []
    for one in [chosen] if chosen is not None else [*eye, *likely[1:]]:
        if studied.day.tie_end(one) is not None and not wrong_start(studied.day, one).empty:
            return one
    return None


def day_listing(studied: Studied, candidate: int) -> Listing:
    """Return what must be lifted again if the line was set from a point that is too low, find by find."""
    show, table = studied.job.display, wrong_start(studied.day, candidate)
    ends = studied.study.contest.ends
    some = table.loc[_told_finds(table, ends)]
    left = len(table) - len(some)
    counted = studied.by_height is not None
    rows = tuple(
        (
            _find_words(studied, int(row.candidate), int(row.tie)),
            show.small(float(row.lift_m)),
            str(int(row.supports)),
            *((str(int(row.slid)), str(int(row.carried))) if counted else ()),
            f"{float(row.minutes):.0f}",
        )
        for row in rows_of(some)
    )
    more = ("of them, wedge only", "pieces to carry") if counted else ()
    head = ("shows first at", "lift by", "supports again", *more, "minutes")
    title = f"SET FROM {candidate_words(studied, candidate)}, which is too low ({unit_of(studied)})"
    beside = "What is no tie end shows at the first end of the tie nearest to it. " * bool(
        (some["candidate"] >= ends).any()
    )
    notes = (
        f"Ties laid {_order_words(studied)}; as the ground is fitted. Each row by itself: what is lifted "
        f"again if it shows there first; more may show later. {beside}M{MINUTES[1:]}.",
        *((f"{left} more that would show {'is' if left == 1 else 'are'} left out.",) if left else ()),
    )
    return Listing(title, head, rows, tuple(range(1, len(head))), (0,), notes)


def _told_finds(table: pd.DataFrame, ends: int) -> list[int]:
    """Return the finds worth a row: the first ones, the last, the worst, the dearest, every obstacle."""
    if len(table) <= _FIRST + 1:
        return list(table.index)
    obstacles = table.index[table["candidate"] >= ends]
    wanted = {*table.index[:_FIRST], table.index[-1], *obstacles}
    wanted |= {table["lift_m"].idxmax(), table["minutes"].idxmax()}
    return [i for i in table.index if i in wanted]


def _find_words(studied: Studied, candidate: int, tie: int) -> str:
    """Return where something too high shows; an obstacle with the tie at which the crew comes to it."""
    name = candidate_words(studied, candidate)
    own = studied.study.candidates[candidate]
    return name if own.kind == "tie" or name.endswith(f"tie {tie}") else f"tie {tie}: {name}"


def _order_words(studied: Studied) -> str:
    return "outward from there" if studied.day.order == "outward" else studied.day.order


def day_lines(studied: Studied) -> list[str]:
    """Return the best point to start from, and the best spare height to build in.

    Nothing for a line on two points or at a given height, which is not set from one point.
    """
    planned = studied.study.planned
    if planned < 0 or studied.study.candidates[planned].kind not in ("tie", "obstacle"):
        return []
    work = studied.day.work
    start = best_start(work)
    name = _start_words(studied, start.start)
    others = [_start_words(studied, one) for one in start.as_good if one != start.start]
    same = f" ({' and '.join(others[:3])} as good)" if others else ""
    lines = [
        f"To start from when not sure: {name}{same}, {_minutes(start.minutes)} expected in all, lifting "
        "again included."
    ]
    if work.counted:
        lines.append(_spare_words(studied, start.start))
    eye = None if studied.eye is None else studied.day.tie_end(studied.eye)
    if eye is not None and eye in work.starts.tolist() and eye != start.start:
        row = work.starts.tolist().index(eye)
        more = float(work.minutes[row, 0].mean()) - start.minutes
        lines.append(
            f"From the tie nearest to the point by eye it takes {more:.0f} minutes more on average: "
            f"{float(work.lifted[row, 0]):.0f} supports are lifted again."
        )
    return lines


def _start_words(studied: Studied, start: int) -> str:
    """Return what to start from, and of an obstacle that the line does not lie on it."""
    name = candidate_words(studied, start)
    return name if start < studied.study.contest.ends else f"{name} with its room over it"


def _spare_words(studied: Studied, start: int) -> str:
    """Return whether spare height pays, as insurance or because taller stacks take fewer pieces."""
    show, spare = studied.job.display, best_spare(studied.day.work, start)
    row = studied.day.work.starts.tolist().index(start)
    lifting = float(studied.day.work.again[row, 0])
    height, saves = show.small_unit(spare.spare), f"saves {_minutes(spare.saves)} on average"
    most = " That is the most that was tried: more might save more still." * spare.at_end
    stays, without = _sure(spare.stays), _sure(spare.stays_without)
    if lifting < _NOTHING and spare.stays_without > 1.0 - studied.study.accepted:
        words = f"Spare height as insurance is not needed: nothing has to be lifted again, {without}."
        if spare.spare > 0.0 and spare.saves >= _NOTHING:
            words += f" {height} more {saves} all the same: such stacks take fewer pieces.{most}"
        return words
    if spare.spare == 0.0 or spare.saves < _NOTHING:
        costs = "less than a minute" if lifting < _NOTHING else _minutes(lifting)
        return f"Spare height as insurance does not pay: lifting again costs {costs} on average."
    return (
        f"Spare height as insurance: {height} on top of the gap {saves}; then nothing has to be lifted "
        f"again, {stays} (without it {without}).{most}"
    )


def _sure(chance: float) -> str:
    """Return a chance in words, one that draws hardly tell from certain as that."""
    return "almost certain" if chance > 1.0 - _HARDLY else chance_words(chance)


def _minutes(minutes: float) -> str:
    return f"{minutes:.0f} minute{'' if round(minutes) == 1 else 's'}"


# --- what settles it ------------------------------------------------------------------------------


def settle_lines(studied: Studied) -> list[str]:
    """Return the one or two readings that most reduce the doubt, in a sentence."""
    settled, job = studied.settled, studied.job
    if settled is None or settled.found.table.empty or studied.laid.line.kind == "follow":
        return []
    mass = _contending(studied, settled)
    now, *later = (1.0 - mass * (1.0 - wrong) for wrong in (settled.wrong_now, *settled.wrong_after))
    obstacles = _obstacles_among(studied, settled)
    what = "point" if obstacles else "tie end"
    again = _again_words(studied, obstacles)
    if now < _HARDLY:
        return [f"What would settle it: nothing has to, the highest {what} is as good as certain.", *again]
    steps = []
    for row, after in zip(rows_of(settled.found.table), later, strict=True):
        steps.append(f"{KINDS[row.kind]} at {reading_place(row, job)} ({chance_words(after)} then)")
    gain = now - later[-1]
    small = ""
    if gain < _LITTLE:
        touches = studied.study.contenders()["touches"].to_numpy(dtype=float)
        safe = bool((touches < studied.study.accepted).all()) and not obstacles
        small = " They bring little" + (": set the line from any of them." if safe else ".")
    first = ties_words(settled.found, job)
    return [
        f"What would settle it: {', then '.join(steps)}.{f' {first}' if first else ''} Now the chance that "
        f"it is another {what} than the likeliest is {chance_words(now)}.{small}",
        *again,
    ]


def _obstacles_among(studied: Studied, settled: Settled) -> list[int]:
    ends = studied.study.contest.ends
    return [int(end) for end in settled.chances["end"] if end >= ends]


def _again_words(studied: Studied, obstacles: list[int]) -> list[str]:
    """Return that an obstacle's own height counts as it was given, whatever is read beside it."""
    given = [i for i in obstacles if not studied.laid.line.resting.rows.parts[i].any()]
    if not given:
        return []
    names = " and ".join(candidate_words(studied, i) for i in given)
    return [
        f"The height of {names} counts as exact: nothing checks it. Read its top a second time, from another "
        "laser position if you can."
    ]


def _contending(studied: Studied, settled: Settled) -> float:
    """Return the chance that one of the ends that are told apart is the highest."""
    told = studied.study.table["governs"].to_numpy(dtype=float)
    return min(float(told[settled.chances["end"].to_numpy(dtype=int)].sum()), 1.0)


def settle_listing(studied: Studied) -> Listing | None:
    """Return the chances as they are, and once the readings have been taken and find what the fit expects."""
    settled = studied.settled
    if settled is None or len(settled.chances) < 2 or studied.laid.line.kind == "follow":
        return None
    if _contending(studied, settled) * (1.0 - settled.wrong_now) > 1.0 - _HARDLY:
        return None
    told = studied.study.table["governs"].to_numpy(dtype=float)
    mass = _contending(studied, settled)
    names = [name for name in settled.chances.columns if name != "end"]
    rows = tuple(
        (
            candidate_words(studied, int(row["end"])),
            short_chance(float(told[int(row["end"])])),
            *(short_chance(mass * float(row[name])) for name in names[1:]),
        )
        for _, row in settled.chances.iterrows()
    )
    words = {0: "now", 1: "after the first", 2: "after both"}
    head = ("highest is", *(words.get(i, f"after {i}") for i in range(len(names))))
    notes = ("If the readings find what the fit expects; they may find something else.",)
    return Listing("THE CHANCES, once that has been read", head, rows, (), (0,), notes)


def truck_lines(studied: Studied, *more: int) -> list[str]:
    """Return whether the truck suffices for the few references that contend; solves the stacks of each."""
    if studied.job.truck is None:
        return []
    likely = [int(str(i)) for i in studied.study.contenders().index][:_TRUCKS]
    planned = [studied.study.planned] if studied.study.planned >= 0 else []
    wanted = list(dict.fromkeys([*planned, *likely, *more]))
    found = []
    for i in wanted:
        stacks = studied.stacked.stacks if i == studied.study.planned else stacks_from(studied, i)
        words = truck_words(stacks)
        if words == SEE_STOP and i != studied.study.planned:
            below = stacks is not None and stacks.negative
            words = "ties in the ground" if below else "stacks that cannot be built (plan it from there)"
        found.append(f"{candidate_words(studied, i)}: {words}")
    return [f"The truck, with the line set from {'; from '.join(found)}."]


# --- all of it ------------------------------------------------------------------------------------


def study_parts(studied: Studied, chosen: int | None = None, *, narrow: bool = False) -> list[str | Listing]:
    """Return the whole study, sentence by sentence and table by table, what costs most first."""
    start = day_start(studied, chosen)
    more = () if chosen is None else (chosen,)
    stops = [said(studied.laid, one) for one in warnings_of(studied.stacked) if one.level == "stop"]
    parts: list[str | Listing | None] = [
        *(stops or costly_lines(studied)),
        causes_listing(studied),
        *reference_lines(studied),
        ranking_listing(studied, *more, narrow=narrow),
        pairs_listing(studied),
        *settle_lines(studied),
        settle_listing(studied),
        *day_lines(studied),
        day_listing(studied, start) if start is not None else None,
        *high_lines(studied),
    ]
    return [part for part in parts if part is not None]


def study_text(studied: Studied, *, width: int = WIDTH) -> str:
    """Return the whole study as text, no wider than that."""
    out = []
    for part in [*study_parts(studied, narrow=width < WIDTH), *truck_lines(studied)]:
        if isinstance(part, str):
            out.append(wrapped_lines(part, width=width))
            continue
        table = columns(part.head, part.rows, right=part.right, wrap=part.wide, width=width)
        notes = (wrapped_lines(note, width=width) for note in part.notes)
        out += ["", wrapped_lines(part.title, width=width), table, *notes, ""]
    return "\n".join(out)
