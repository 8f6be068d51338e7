"""Whether the track can be level along here, and if not, which grade will do and can be held."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from trackkit.layout.clearance import Clearance, Rows, clearance_rows
from trackkit.layout.grounds import SIDES, GroundLike
from trackkit.layout.laid import Run
from trackkit.layout.line import GAP
from trackkit.layout.rolling import Rolling, hold_back, pull_words
from trackkit.layout.straight import at_grade, grades_within, least_largest_fill
from trackkit.problems import CannotDo
from trackkit.units import MASS_UNITS

__all__ = ["HEIGHT_LIMIT", "LevelVerdict", "level_verdict"]

#: Height of a stack of boxes that is not exceeded without a competent person [m]: 0.6 m (24 in).
#: Common practice, no source. Local rules and licensed practice come first.
HEIGHT_LIMIT: Final = 0.6
#: Grade and ties agree to this.
_AGREED: Final = 1e-12
_TURNS: Final = 40


@dataclass(frozen=True)
class LevelVerdict:
    """What a level line would cost, and the grades that would do instead.

    Attributes
    ----------
    level_ok : bool
        Level keeps every fill within the height limit.
    level_largest : float
        Largest fill of the level line over the governing point [m].
    level_tie, level_side
        Where that is.
    height_limit, grade_limit : float
        The limits [m, rise over horizontal distance].
    smallest_grade : float
        The grade nearest to level that keeps every fill within the height limit; NaN if none.
    grade_ok : bool
        There is one within the grade limit.
    steepest_grade : float
        The steepest acceptable grade, with the sign that helps here.
    best_grade, best_largest : float
        The grade within the limit whose largest fill is smallest, and that fill [m].
    hold_back : float
        Force along the track that holds the dolly at ``smallest_grade`` (else at
        ``steepest_grade``) [N], friction not credited.
    text : str
        The verdict in plain words.
    """

    level_ok: bool
    level_largest: float
    level_tie: int
    level_side: str
    height_limit: float
    grade_limit: float
    smallest_grade: float
    grade_ok: bool
    steepest_grade: float
    best_grade: float
    best_largest: float
    hold_back: float
    text: str


def level_verdict(
    ground: GroundLike,
    run: Run,
    *,
    height_limit: float = HEIGHT_LIMIT,
    grade_limit: float | None = None,
    rolling: Rolling | None = None,
    gap: float = GAP,
    obstacles: pd.DataFrame | None = None,
    clearance: Clearance | None = None,
) -> LevelVerdict:
    """Say whether the track can be level, else which straight grade brings the fills down enough.

    Parameters
    ----------
    ground, run, gap, obstacles, clearance
        See `trackkit.layout.line.level_line`; the line is set from the governing point.
    height_limit : float
        Largest fill allowed [m].
    grade_limit : float, optional
        Steepest grade wanted; what one person can hold, ``asin(F / (m g))`` from ``rolling``, is
        the limit all the same.
    rolling : Rolling, optional
        Rolling load and acceptable hold-back force.

    Notes
    -----
    Exact: the fills of the line that just clears the ground are linear in the grade for every
    pair of a high point and a tie end, so limits on them are limits on the grade. Ties move with
    the grade; that is solved in turn with it.

    Raises
    ------
    ValueError
        If a limit is not above zero.
    """
    rolling = rolling or Rolling()
    limit = min(rolling.grade_limit(), math.inf if grade_limit is None else grade_limit)
    if not (height_limit > 0 and limit >= 0):
        raise ValueError(
            f"height_limit must be above 0 and grade_limit 0 or more, got {height_limit} and {limit}"
        )

    def rows_at(grade: float) -> Rows:
        knots, ties = run.stations_on(grade)
        return clearance_rows(
            ground, run, knots=knots, ties=ties, gap=gap, obstacles=obstacles, clearance=clearance
        )

    rows = rows_at(0.0)
    ends = len(rows.ground)
    level = at_grade(rows.stations, rows.heights, 0.0)
    fills = level.height - (rows.ground - rows.drops)
    worst = int(np.argmax(fills))
    largest = float(fills[worst])

    def nearest_to_level(rows: Rows) -> float:
        found = grades_within(
            rows.stations, rows.heights, rows.stations[:ends], rows.ground - rows.drops, largest=height_limit
        )
        return math.nan if found is None else min(max(0.0, found[0]), found[1])

    def best_in(rows: Rows) -> float:
        return least_largest_fill(
            rows.stations, rows.heights, rows.stations[:ends], rows.ground - rows.drops, limit=limit
        )[0]

    smallest = _settle(nearest_to_level, rows_at)
    best = _settle(best_in, rows_at)
    there = rows_at(best)
    _, best_largest = least_largest_fill(
        there.stations, there.heights, there.stations[:ends], there.ground - there.drops, limit=(best, best)
    )
    steepest = math.copysign(limit, best if math.isnan(smallest) or smallest == 0 else smallest)
    held = hold_back(rolling.mass, steepest if math.isnan(smallest) else smallest)
    verdict = LevelVerdict(
        level_ok=largest <= height_limit + _AGREED, level_largest=largest, level_tie=worst // 2 + 1,
        level_side=SIDES[worst % 2], height_limit=height_limit, grade_limit=limit, smallest_grade=smallest,
        grade_ok=bool(abs(smallest) <= limit), steepest_grade=steepest, best_grade=best,
        best_largest=best_largest, hold_back=held, text="",
    )  # fmt: skip
    return replace(verdict, text=_in_words(verdict, run, rolling))


def _settle(grade_of: Callable[[Rows], float], rows_at: Callable[[float], Rows]) -> float:
    """Return the grade that is right for the ties as they lie on it."""
    grade = 0.0
    for _ in range(_TURNS):
        found = grade_of(rows_at(grade))
        if math.isnan(found) or abs(found - grade) <= _AGREED:
            return found
        grade = found
    raise CannotDo(
        "ties and grade do not agree: moving by the grade, a tie end steps over a break in the ground and "
        "back; shift the run along by a few centimetres"
    )


def _in_words(verdict: LevelVerdict, run: Run, rolling: Rolling) -> str:
    show, pounds = run.display, run.display.unit == "in"
    held = pull_words(verdict.hold_back, pounds=pounds)
    place = f"at tie {verdict.level_tie} {verdict.level_side}"
    if verdict.level_ok:
        return (
            f"Level works: the largest fill is {show.small_unit(verdict.level_largest)}, {place} "
            f"(limit {show.small_unit(verdict.height_limit)})."
        )
    level = (
        f"Level does not work: it needs {show.small_unit(verdict.level_largest)} {place}, and the limit is "
        f"{show.small_unit(verdict.height_limit)}."
    )
    steepest = (
        f"The steepest acceptable grade is {_grade(verdict.steepest_grade)}: holding "
        f"{rolling.mass / MASS_UNITS['lb' if pounds else 'kg']:.0f} {'lb' if pounds else 'kg'} on it takes "
        f"{pull_words(hold_back(rolling.mass, verdict.grade_limit), pounds=pounds)} of force."
    )
    if verdict.grade_ok:
        return (
            f"{level} {steepest} A grade of {_grade(verdict.smallest_grade)} is enough to keep every fill "
            f"within the limit; holding the dolly then takes {held} of force."
        )
    ways = (
        "Let the track follow the ground with bends at the joints, shorten or move the run, or have a "
        "platform built under somebody competent."
    )
    if math.isnan(verdict.smallest_grade):
        why = "No straight line keeps every fill within the limit"
    else:
        why = (
            f"The limit would be kept from {_grade(verdict.smallest_grade)} on, but holding the dolly there "
            f"takes {held} of force"
        )
    return (
        f"{level} {steepest} {why}; the best grade that is acceptable, {_grade(verdict.best_grade)}, "
        f"leaves {show.small_unit(verdict.best_largest)}. {ways}"
    )


def _grade(grade: float) -> str:
    way = "up" if grade > 0 else "down"
    return f"{abs(grade):.1%} {way} towards the end mark" if round(grade, 3) else "0.0% (level)"
