"""What really goes wrong, in words: the causes that cost more than scatter, and what each costs."""

from __future__ import annotations

from typing import Final

from trackkit.advice import chance_words
from trackkit.daywork import nearest_end
from trackkit.listed import Listing
from trackkit.naming import named
from trackkit.plan import control_of
from trackkit.studied import Studied
from trackkit.studied_words import HARDLY, UNTOLD, candidate_words, short_chance, unit_of
from trackkit.study.causes import CAUSES
from trackkit.study.wrong_start import lifted_again
from trackkit.tables.rows import rows_of

__all__ = ["MINUTES", "causes_listing", "costly_lines"]

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


def costly_lines(studied: Studied) -> list[str]:
    """Return the worst cause in a sentence, for the top of a page."""
    worst = next(rows_of(studied.causes.told))
    name = CAUSES[str(worst.cause)]
    if worst.touches < UNTOLD:
        together = _together(studied)
        if together >= UNTOLD:
            return [
                "Nothing that usually goes wrong brings the track to touch by itself; all of it together "
                f"may: {chance_words(together)}."
            ]
        return [f"Nothing that usually goes wrong brings the track to touch: {_least(studied)}, takes it."]
    return [
        f"Most likely to cost you something: {name}, at {named(str(worst.touches_at), studied.job.side)} "
        f"({chance_words(float(worst.touches))} that the track touches because of it)."
    ]


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
    guess = "" if job.file.study.misread is not None else " is a guess"
    notes = (
        f"Each by itself, the line as planned{_set_out(studied)}, gap {gap}. Up to: 1 time in 20 it is more; "
        "of misread rods, what the worst one does that may pass. Lift by: what the whole track goes up by "
        f"where it touches, until its gap is back{_obstacles(studied)}, and the minutes if that shows at the "
        f"last tie ({MINUTES}).",
        f"Misread: by {units}; {_rate(causes.rate)}{guess} (misread, misread_by in [study] of the job).",
        *_where_it_lies(studied),
        *(_MENDS[cause] for cause in causes.told["cause"] if cause in _MENDS),
        *_hump_lines(studied),
        _CAUTION,
    )
    return Listing(f"WHAT REALLY GOES WRONG (heights in {unit})", head, tuple(rows), (2, 4, 5), (0, 1), notes)


def _together(studied: Studied) -> float:
    """Return the chance that the line as it is set out touches, by all that is uncertain at once."""
    study = studied.study
    pegs = [i for i, one in enumerate(study.candidates) if one.kind == "peg"]
    own = [*pegs, study.planned]
    return float(study.table["touches"].iloc[own[0]]) if own[0] >= 0 else 0.0


def _least(studied: Studied) -> str:
    """Return where the line lies lowest over what it must clear, and how high."""
    show, contest = studied.job.display, studied.study.contest
    raised = float(studied.causes.fills[0]) + float(contest.mean[0])  # since it was planned
    room = raised - contest.mean[: contest.rows]
    first = int(room.argmin())
    if first < contest.ends:
        return f"the least fill, {show.small_unit(float(room[first]))}"
    return f"the least room, {show.small_unit(float(room[first]))} over {candidate_words(studied, first)}"


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
    found = lifted_again(
        fills, start, lift, support=day.support, stations=day.stations, order=day.order,
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
    if first["chance"] >= HARDLY:
        tie = nearest_end(studied.day.stations, float(first["station_m"]), str(first["side"]))
        lines.append(
            f"A hump is likeliest to touch at {candidate_words(studied, tie)}, between the readings at "
            f"{show.long(first['from_m'])} and {show.long(first['to_m'])}: "
            f"{chance_words(float(first['chance']))}."
        )
    lines.append(
        f"Least is known between {show.long(high['from_m'])} and {show.long(high['to_m'])} "
        f"{job.side(high['side'])}: there the ground may be {show.small_unit(float(high['hump_m']))} higher "
        "than fitted (1 time in 20 more)."
    )
    return lines
