"""The study of a reference in words: what goes wrong, and what a line set from each point comes to."""

from __future__ import annotations

from typing import Final

import numpy as np

from trackkit.advice import chance_words
from trackkit.cribbing.said import fine
from trackkit.listed import Listing
from trackkit.naming import named
from trackkit.plan import control_of
from trackkit.studied import Studied
from trackkit.study.causes import CAUSES
from trackkit.study.wrong_start import lifted_again
from trackkit.tables.rows import rows_of

__all__ = [
    "MINUTES", "candidate_words", "causes_listing", "costly_lines", "high_lines", "pairs_listing",
    "ranking_listing", "reference_lines", "short_chance", "unit_of",
]  # fmt: skip

_NONE_LIKELY: Final = "So many tie ends are nearly as high that none of them is likely to be the highest."
#: A line that is not steeper counts as level.
_LEVEL: Final = 1e-4
#: Chances below this are not worth a word in a sentence, and in a table not told apart.
_HARDLY: Final = 0.001
_UNTOLD: Final = 0.005
_CAUTION: Final = (
    "CAUTION: this is arithmetic on what was read. A root, a sprinkler head or a kerb between two readings "
    "is in none of it: walk the line with a straight board. Local codes and licensed practice come first."
)
#: What more readings of the same kind do not mend, and what does.
_MENDS: Final = {
    "zero": "Zero error: every angle read the same way round shares it, and more of them do not average it "
    "out. Read some places both ways round (ahead and back), or turn it round on one spot (check_phone).",
    "sight": "Line of sight: the longer the sight, the more, and all sights share it. Stand the level "
    "midway, or find its slope with two pegs (check_level) and state it (collimation in [instruments]).",
    "drift": "Wandering zero: it grows along each pass of a log. Walk the pass again the other way round, in "
    "shorter stretches, or read rods at both ends.",
    "pegs": "Given heights: all that is read from a peg shares what its height may be off by. Read from a "
    "second peg as well, or have the heights levelled again.",
}
MINUTES: Final = "minutes are one support after the other, at the pace in [study.pace] of the job: guesses"


def candidate_words(studied: Studied, index: int) -> str:
    """Return what a line is set from, in the crew's words."""
    own, job = studied.study.candidates[index], studied.job
    if own.kind == "tie":
        return f"tie {own.tie} {job.side(own.side)}"
    if own.kind in ("point", "eye"):
        eye = ", by eye" if own.kind == "eye" else ""
        return f"{job.display.long(own.station)} {job.side(own.side)}{eye}"
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
    if min(chance, 1.0 - chance) < _UNTOLD:
        return "hardly" if chance < 0.5 else "surely"
    return chance_words(chance).replace(" chances", "").replace(" chance", "")


def _few(value: float) -> str:
    return "" if np.isnan(value) else f"{value:.0f}"


# --- what really goes wrong -----------------------------------------------------------------------


def causes_listing(studied: Studied) -> Listing:
    """Return what costs more than scatter, the worst first, with what each costs on the day."""
    job, show, causes = studied.job, studied.job.display, studied.causes
    rows = []
    for row in rows_of(causes.told):
        cost = _cost(studied, float(row.lift_m))
        happens = (
            "" if row.cause != "misread" else f" ({short_chance(float(row.chance))} that one is, unnoticed)"
        )
        rows.append(
            (
                f"{CAUSES[str(row.cause)]}{happens}",
                named(str(row.at), job.side),
                show.small(float(row.size_m)),
                short_chance(float(row.touches)),
                show.small(float(row.lift_m)) if row.lift_m > 0.0 else "",
                cost,
            )
        )
    unit = unit_of(studied)
    head = ("", "most at", "up to", "line touches", "lift by", "minutes")
    units = " or ".join(show.small_unit(one) for one in causes.units)
    gap = show.small_unit(studied.laid.line.gap)
    notes = (
        f"Each by itself, the line as planned{_set_out(studied)}, gap {gap}. Up to: 1 time in 20 it is more; "
        "of misread rods, what the worst one does that may pass. Lift by: what the whole track goes up by "
        f"where it touches, until its gap is back{_obstacles(studied)}, and the minutes if that shows at the "
        f"last tie ({MINUTES}).",
        f"Misread: by {units}; {_rate(causes.rate)} is a guess (misread, misread_by in [study] of the job).",
        *_where_it_lies(studied),
        *(_MENDS[cause] for cause in causes.told["cause"] if cause in _MENDS),
        *_hump_lines(studied),
        _CAUTION,
    )
    return Listing(f"WHAT REALLY GOES WRONG (heights in {unit})", head, tuple(rows), (2, 4, 5), (0, 1), notes)


def unit_of(studied: Studied) -> str:
    """Return what heights in tables are told in."""
    return "inches" if studied.job.display.unit == "in" else studied.job.display.unit


def _set_out(studied: Studied) -> str:
    control = control_of(studied.job, studied.laid.ground)
    return "" if control is None else f" and set out from peg {control}"


def _obstacles(studied: Studied) -> str:
    rows = studied.laid.line.resting.rows
    return " (over an obstacle its room)" if len(rows.labels) > len(rows.ground) else ""


def _where_it_lies(studied: Studied) -> list[str]:
    if not studied.job.rough_in or studied.laid.line.doubt.sideways_sd > 0.0:
        return []
    return [
        "The track lies already and was read where it lies: that it moves sideways as it is lifted is not "
        "counted (sideways_sd in [line] of the job)."
    ]


def _rate(rate: float) -> str:
    return f"1 rod in {1.0 / rate:.0f}" if rate > 0.0 else "no rod"


def _cost(studied: Studied, lift: float) -> str:
    """Return the minutes that lifting the whole track takes, found out at the last tie; '' for none."""
    planned = studied.study.planned
    if lift <= 0.0 or planned < 0:
        return ""
    day, fills = studied.day, studied.causes.fills
    start = day.tie_end(planned)
    if start is None:
        return ""
    lifts = np.full(fills.size, lift)
    found = lifted_again(
        fills, start, lifts, support=day.support, stations=day.stations, order=day.order,
        table=day.by_height, pace=day.pace,
    )  # fmt: skip
    return f"{float(found['minutes'].iloc[-1]):.0f}"


def _hump_lines(studied: Studied) -> list[str]:
    """Return where a hump that nobody read is likeliest to touch, and where it could be highest."""
    job, show, humps = studied.job, studied.job.display, studied.causes.humps
    if humps.empty:
        return []
    first = humps.iloc[0]
    high = humps.iloc[int(humps["hump_m"].to_numpy().argmax())]
    lines = []
    if first["chance"] >= _HARDLY:
        lines.append(
            f"A hump is likeliest to touch at {show.long(first['station_m'])} {job.side(first['side'])}, "
            f"between the readings at {show.long(first['from_m'])} and {show.long(first['to_m'])}: "
            f"{chance_words(float(first['chance']))}."
        )
    lines.append(
        f"Least is known between {show.long(high['from_m'])} and {show.long(high['to_m'])} "
        f"{job.side(high['side'])}: there the ground may be {show.small_unit(float(high['hump_m']))} higher "
        "than fitted (1 time in 20 more)."
    )
    return lines


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
            put("add to gap", show.small(margin) if margin > 0.0 else "")
            if studied.by_height is not None:
                put("that costs", f"{row['margin_pieces']:+.0f}" if margin > 0.0 else "")
    head = tuple(columns)
    words = ("", "line set from", "highest", "touches", "likeliest at")
    right = tuple(i for i, name in enumerate(head) if name not in words)
    wide = tuple(i for i, name in enumerate(head) if name in ("line set from", "likeliest at"))
    title = f"THE LINE SET FROM EACH POINT (heights in {unit_of(studied)})"
    rows = tuple(zip(*columns.values(), strict=True))
    return Listing(title, head, rows, right, wide, tuple(_ranking_notes(studied)))


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
        for index, chance in zip(likely.index.to_numpy(), likely["governs"], strict=True)
    )
    what = "tie end" if (likely["kind"] == "tie").all() else "point"
    lines = [f"Which {what} is the highest is a chance: {each}." if each else _NONE_LIKELY]
    if len(studied.pairs):
        lines = [f"A line with least fill rests on two tie ends, and which is a chance: {each}."]
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
    top = float(studied.study.contest.mean[: studied.study.contest.ends].max())
    low = top + float(row["fill_m"])
    name = candidate_words(studied, eye).removesuffix(", by eye")
    if row["touches"] < _HARDLY:
        return f"By eye it is {name}: a line set there touches nothing."
    first = named(str(row["touches_at"]), studied.job.side)
    over = " (above the line's grade)" if abs(studied.laid.line.steepest) > _LEVEL else ""
    return (
        f"By eye it is {name}. That is {show.small_unit(low)} lower than the highest tie end{over}: a line "
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
    takes = " The gap takes that." if studied.laid.line.gap >= high.fitted_too_low else ""
    lines.append(
        f"The highest fitted tie end is {fine(show, high.fitted_too_low)} too low: of many tie ends that are "
        f"each uncertain, some one is higher.{takes} A fill from a fixed reference needs neither."
    )
    return lines


def costly_lines(studied: Studied) -> list[str]:
    """Return the worst cause in a sentence, for the top of a page."""
    worst = next(rows_of(studied.causes.told))
    name = CAUSES[str(worst.cause)]
    if worst.touches < _UNTOLD:
        least = studied.job.display.small_unit(float(studied.causes.fills.min()))
        return [
            f"Nothing that usually goes wrong brings the track to touch: the least fill, {least}, takes it."
        ]
    return [
        f"Most likely to cost you something: {name}, at {named(str(worst.touches_at), studied.job.side)} "
        f"({chance_words(float(worst.touches))} that the track touches because of it)."
    ]
