"""The study of a reference in words: what a line set from each point comes to."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from trackkit.advice import chance_words
from trackkit.cribbing.said import fine
from trackkit.listed import Listing
from trackkit.naming import named
from trackkit.studied import Studied
from trackkit.tables.rows import rows_of

__all__ = [
    "HARDLY", "UNTOLD", "candidate_words", "high_lines", "likely_lines", "pairs_listing",
     "ranking_listing", "reference_lines", "short_chance", "unit_of",
]  # fmt: skip

#: A point along the run that lies no farther from a tie is that tie [m].
_SAME_PLACE: Final = 1e-6
#: So many points that may be the highest are named in a sentence.
_NAMED: Final = 6
_NONE_LIKELY: Final = "So many tie ends are nearly as high that none of them is likely to be the highest."
#: A line that is not steeper counts as level: a millimetre in 10 m (a choice).
_LEVEL: Final = 1e-4
#: Chances below this are not worth a word in a sentence, and in a table not told apart (choices).
HARDLY: Final = 0.001
UNTOLD: Final = 0.005


def candidate_words(studied: Studied, index: int) -> str:
    """Return what a line is set from, in the crew's words."""
    own, job = studied.study.candidates[index], studied.job
    if own.kind == "tie":
        return f"tie {own.tie} {job.side(own.side)}"
    if own.kind in ("point", "eye"):
        eye = ", by eye" if own.kind == "eye" else ""
        away = np.abs(studied.laid.line.run.ties["station_m"].to_numpy(dtype=float) - own.station)
        place = f"tie {away.argmin() + 1}" if away.min() < _SAME_PLACE else job.display.long(own.station)
        return f"{place} {job.side(own.side)}{eye}"
    if own.kind == "peg":
        return f"{own.label}, at the plan's heights"
    return named(own.label, job.side)


def short_chance(chance: float) -> str:
    """Return a chance as briefly as a column takes it.

    Examples
    --------
    >>> [short_chance(chance) for chance in (0.2, 0.75, 0.0004, 0.9996, float("nan"))]
    ['1 in 5', '3 in 4', 'hardly', 'surely', '']
    """
    if np.isnan(chance):
        return ""
    if min(chance, 1.0 - chance) < UNTOLD:
        return "hardly" if chance < 0.5 else "surely"
    return chance_words(chance).replace(" chances", "").replace(" chance", "")


def unit_of(studied: Studied) -> str:
    """Return what heights in tables are told in."""
    return "inches" if studied.job.display.unit == "in" else studied.job.display.unit


def _more(value: float) -> str:
    """Return a count that something costs more, or less.

    Examples
    --------
    >>> _more(2.6), _more(-0.3), _more(-1.2)
    ('+3', '0', '-1')
    """
    return f"{value:+.0f}" if round(value) else "0"


def _few(value: float) -> str:
    return "" if np.isnan(value) else f"{value:.0f}"


# --- every reference ------------------------------------------------------------------------------


def ranking_listing(studied: Studied, *more: int, narrow: bool = False) -> Listing:
    """Return what a line set from each point comes to: those that contend, the job's own points, pegs.

    Parameters
    ----------
    studied : Studied
    *more : int
        Further candidates that are wanted in it.
    narrow : bool
        Whether to leave out where it touches first, and margins, for a narrow page.
    """
    show, table, job = studied.job.display, studied.study.table, studied.job
    columns: dict[str, list[str]] = {}

    def put(name: str, word: str) -> None:
        columns.setdefault(name, []).append(word)

    for i in studied.listed(*more):
        row = table.iloc[i]
        margin = float(row["margin_m"])
        put("", "plan" if i == studied.study.planned else "")
        put("line set from", candidate_words(studied, i))
        put("highest", short_chance(float(row["governs"])))
        put("touches", short_chance(float(row["touches"])))
        if not narrow:
            put("likeliest at", named(str(row["touches_at"]), job.side))
        put("largest fill", show.small(float(row["largest_m"])))
        put("up to", show.small(float(row["largest95_m"])))
        if studied.by_height is not None:
            put("pieces + wedges", f"{_few(row['pieces'])} + {_few(row['wedges'])}")
        if studied.stacked.stacks is not None:
            put("stacks to change", _few(row["changed"]))
        if not narrow:
            # rounded up: what is built on a figure must not fall short of it
            steps = math.ceil(round(margin / show.step, 6)) * show.step
            put("add to gap", show.small(steps) if margin > 0.0 else "")
            if studied.by_height is not None:
                put("that costs", _more(float(row["margin_pieces"])) if margin > 0.0 else "")
    head = tuple(columns)
    words = ("", "line set from", "highest", "touches", "likeliest at")
    right = tuple(i for i, name in enumerate(head) if name not in words)
    wide = tuple(i for i, name in enumerate(head) if name in ("line set from", "likeliest at"))
    title = f"THE LINE SET FROM EACH POINT (heights in {unit_of(studied)})"
    rows = tuple(zip(*columns.values(), strict=True))
    return Listing(title, head, rows, right, wide, tuple(_ranking_notes(studied)))


def likely_lines(studied: Studied) -> list[str]:
    """Return which grounds chances are averages over, in a sentence; none where it is one."""
    if len(studied.likely) < 2:
        return []
    stones, show = [one.roughness.relief for _, one in studied.likely], studied.job.display
    if max(stones) < show.step / 2:
        return []
    least, most = show.small_unit(min(stones)), show.small_unit(max(stones))
    of = (
        f"stones and tussocks of {least} to {most}"
        if least != most
        else f"more or less stones of about {most}"
    )
    if min(stones) < show.step / 2:
        of = f"hardly any stones and with stones and tussocks of up to {most}"
    return [
        f"Chances are averages over grounds with {of}: these readings fit them all, more or less. The plan's "
        "own figures go by one ground, the fitted one."
    ]


def _ranking_notes(studied: Studied) -> list[str]:
    study, show = studied.study, studied.job.display
    draws = study.drawn.heights.shape[1]
    two = "; a line with least fill rests on two at once" if len(studied.pairs) else ""
    known = "exact" if study.is_exact else f"from {draws:,} draws of the ground"
    notes = [
        f"Highest: the chance that the line has to rest on it{two} ({known}). Touches: the chance that the "
        f"track would meet ground more than {show.small_unit(study.touch)} over its underside somewhere, if "
        f"the line is set from there, {show.small_unit(studied.laid.line.gap)} higher (hardly: less than "
        "1 in 200).",
        "Largest fill: what is to be expected of the largest, wherever it is; up to: 19 times in 20. Add to "
        "gap: until it touches less "
        f"than {chance_words(study.accepted)}.",
    ]
    notes += likely_lines(studied)
    if studied.by_height is not None:
        notes.append(
            "Pieces: expected, each fill in the cheapest way, whatever the truck has left; wedges for seats "
            "are not counted."
        )
    if studied.stacked.stacks is not None:
        notes.append("Stacks to change: how many tie ends the plan's stacks would not close at, expected.")
    return notes


def pairs_listing(studied: Studied) -> Listing | None:
    """Return which two points a line with least fill may rest on; None for a line of another kind."""
    show, job = studied.job.display, studied.job
    if studied.pairs.empty:
        return None
    rows = tuple(
        (
            "plan" if row.planned else "",
            named(f"{row.first} and {row.second}" if row.second else f"{row.first} alone", job.side),
            short_chance(float(row.chance)),
            f"{float(row.grade):+.1%}",
            short_chance(float(row.touches)),
            show.small(float(row.largest_m)),
            show.small(float(row.largest95_m)),
        )
        for row in rows_of(studied.pairs)
    )
    head = ("", "line set from both of", "rests on them", "grade", "touches", "largest fill", "up to")
    notes = ("Set from two points the line takes its grade from them, as they are found on the day.",)
    return Listing(f"LEAST FILL rests on two points ({unit_of(studied)})", head, rows, (3, 5, 6), (1,), notes)


def reference_lines(studied: Studied) -> list[str]:
    """Return which point is the highest, as a chance, what the eye picked, and what a line there costs."""
    study, table = studied.study, studied.study.table
    likely = study.contenders()
    each = ", ".join(
        f"{candidate_words(studied, int(index))} {short_chance(float(chance))}"
        for index, chance in zip(likely.index.to_numpy()[:_NAMED], likely["governs"][:_NAMED], strict=True)
    )
    if len(likely) > _NAMED:
        each += f", and {len(likely) - _NAMED} more that are less likely"
    what = "tie end" if (likely["kind"] == "tie").all() else "point"
    lines = [f"Which {what} is the highest is a chance: {each}." if each else _NONE_LIKELY]
    if len(studied.pairs):
        lines = [f"A line with least fill rests on two {what}s, and which is a chance: {each}."]
    elif studied.laid.line.kind == "follow" and study.planned < 0:
        rests = named(" and ".join(studied.laid.line.rests_on), studied.job.side)
        lines = [
            f"The line bends at the joints and rests on {rests}. Set from one point it keeps these bends."
        ]
    if study.planned >= 0:
        row = table.iloc[study.planned]
        name, alone = candidate_words(studied, study.planned), chance_words(float(row["touches"]))
        pegs = [i for i, one in enumerate(study.candidates) if one.kind == "peg"]
        if pegs:
            chance = chance_words(float(table["touches"].iloc[pegs[0]]))
            label = study.candidates[pegs[0]].label
            lines.append(
                f"Set out from {label} as planned, the track touches somewhere: {chance}. Set from {name} "
                f"itself, by its height on the day: {alone}."
            )
        else:
            lines.append(f"Set from {name}, as planned, the track touches somewhere: {alone}.")
    if studied.eye is not None:
        lines.append(_eye_words(studied, studied.eye))
    return lines


def _eye_words(studied: Studied, eye: int) -> str:
    show, row = studied.job.display, studied.study.table.iloc[eye]
    contest = studied.study.contest
    asked = contest.mean[: contest.rows] + contest.offsets[: contest.rows]  # what a line must reach
    low = float(asked.max() - contest.mean[contest.starts[eye]] - contest.offsets[eye])
    what = "tie end" if asked.argmax() < contest.ends else "point"
    name = candidate_words(studied, eye).removesuffix(", by eye")
    if row["touches"] < HARDLY:
        return f"By eye it is {name}: a line set there touches nothing."
    if low < show.step / 2:
        return f"By eye it is {name}, and so it is by the readings."
    first = named(str(row["touches_at"]), studied.job.side)
    over = " (above the line's grade)" if abs(studied.laid.line.steepest) > _LEVEL else ""
    return (
        f"By eye it is {name}. That is {show.small_unit(low)} lower than the highest {what}{over}: a line "
        f"set there touches, {chance_words(float(row['touches']))}, most likely at {first}."
    )


def high_lines(studied: Studied) -> list[str]:
    """Return the two figures for the high point's bias, and that fills need neither."""
    show, high = studied.job.display, studied.high
    lines = []
    if not np.isnan(high.raw):
        off = fine(show, abs(high.reading_too_high))
        lines.append(
            f"The highest reading is {off} too high: of many readings the highest is mostly one that was "
            "read too high."
            if high.reading_too_high > 0.0
            else f"The highest reading is not too high here ({off} lower than the highest of the places "
            "read is to be expected); mostly it is: of many readings the highest is one that was read too "
            "high."
        )
    if high.fitted_too_low <= 0.0:
        return [
            *lines,
            "The highest fitted tie end is not too low here. A fill from a fixed reference needs neither.",
        ]
    takes = " The gap takes that." if studied.laid.line.gap >= high.fitted_too_low else ""
    lines.append(
        f"The highest fitted tie end is {fine(show, high.fitted_too_low)} too low: of many tie ends that are "
        f"each uncertain, some one is higher.{takes} A fill from a fixed reference needs neither."
    )
    return lines
