"""Solve a line and the ties under it in turn, and say what the result hangs on.

The kinds of line differ only in how they are fitted to what must be cleared; that is a `Fit`.
Sections lie along the line and stations are horizontal, so ties move with the grade, the ground
under them is another, and the line with it: the two are solved in turn until they agree.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
import pandas as pd

from trackkit.layout.clearance import Clearance, Rows, clearance_rows
from trackkit.layout.doubt import Doubt, deepest_ends, fill_model, rise_to_clear
from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import SIDES, FloatArray, GroundLike, Point
from trackkit.layout.laid import Run
from trackkit.layout.reference import Held, Reference, resolve
from trackkit.layout.resting import Fit, FitMany, Resting, Shape
from trackkit.layout.rolling import Rolling, roll_away
from trackkit.problems import Advisory, CannotDo

__all__ = ["Options", "solve"]

#: Ties and line agree when no tie moves more than this [m].
_AGREED: Final = 1e-9
#: Turns that suffice by far: each shrinks the difference at least tenfold on ground without steps.
_TURNS: Final = 40
#: A fill this little below zero is rounding [m].
_ROUND: Final = 1e-9


@dataclass(frozen=True)
class Options:
    """What all kinds of line share; see `trackkit.layout.line.level_line`."""

    reference: Reference
    gap: float
    confidence: float | None
    obstacles: pd.DataFrame | None
    clearance: Clearance | None
    doubt: Doubt
    rolling: Rolling | None = None
    set_from: Point | None = None


def solve(
    kind: str, ground: GroundLike, run: Run, fit: Fit, options: Options, *, fit_many: FitMany | None = None
) -> FinishedLine:
    """Solve line and ties in turn, then build the result."""
    if not (np.isfinite(options.gap) and options.gap >= 0):
        raise ValueError(f"gap must be 0 m or more, got {options.gap}")
    sections = len(run.sections)
    grades: FloatArray = np.zeros(sections)
    for turn in range(1, _TURNS + 1):
        knots, ties = run.stations_on(grades)
        rows = clearance_rows(
            ground, run, knots=knots, ties=ties, gap=options.gap, obstacles=options.obstacles,
            clearance=options.clearance,
        )  # fmt: skip
        held = resolve(options.reference, ground, run, ties=ties, gap=options.gap)
        shape = fit(knots, rows, held)
        used = grades
        grades = np.broadcast_to(np.diff(shape.heights) / np.diff(shape.knots), sections)
        moved, _ = run.stations_on(grades)
        if np.abs(moved - knots).max() <= _AGREED:
            turns = turn
            break
    else:
        raise CannotDo(
            "ties and line do not agree: moving by the grade, a tie end steps over a break in the ground and "
            "back; shift the run along by a few centimetres, or state the grade"
        )
    points, weights = _on_points(shape, rows, held)
    over = rows.heights - _line_at(shape, rows.stations)
    line = FinishedLine(
        kind=kind, gap=options.gap, raised=0.0, reference=_reference_text(shape, rows, held),
        rests_on=tuple(rows.labels[i] for i in shape.rows), knots_station=shape.knots,
        knots_height=shape.heights, contacts=points, knot_weights=weights, run=run.on_grade(used),
        depth=max(0.0, float(over.max())) if over.max() > _ROUND else 0.0, doubt=options.doubt, turns=turns,
        chance_touch=float("nan"), advisories=(),
        resting=Resting(knots, rows, shape, fit, kind in ("level", "grade") or held is not None, fit_many),
    )  # fmt: skip
    if options.confidence is not None:
        can_rise = held is None or held.with_gap
        line = _with_confidence(
            line, ground, options.confidence, can_rise=can_rise, set_from=options.set_from
        )
    return replace(line, advisories=(*line.advisories, *_advise(line, rows, options.rolling)))


def _line_at(shape: Shape, stations: FloatArray) -> FloatArray:
    return np.asarray(np.interp(stations, shape.knots, shape.heights))


def _on_points(shape: Shape, rows: Rows, held: Held | None) -> tuple[tuple[Point, ...], FloatArray]:
    """Return the points of the ground that the knots hang on, and their shares."""
    shares: dict[Point, FloatArray] = {}

    def add(point: Point, share: FloatArray) -> None:
        shares[point] = shares.get(point, np.zeros(len(shape.knots))) + share

    for column, row in enumerate(shape.rows):
        for index in np.flatnonzero(rows.parts[row]):
            add(rows.points[index], shape.weights[:, column] * rows.parts[row, index])
    if held:
        for point, part in zip(held.points, held.parts, strict=True):
            add(point, shape.reference * part)
    if not shares:
        return (), np.zeros((len(shape.knots), 0))
    return tuple(shares), np.column_stack(list(shares.values()))


def _reference_text(shape: Shape, rows: Rows, held: Held | None) -> str:
    if held:
        return held.text
    what = "the governing point" if len(shape.rows) == 1 else "the points it rests on"
    return f"{what}: " + " and ".join(
        rows.labels[i] for i in sorted(shape.rows, key=lambda row: rows.stations[row])
    )


def _with_confidence(
    line: FinishedLine, ground: GroundLike, confidence: float, *, can_rise: bool, set_from: Point | None
) -> FinishedLine:
    """Raise the line until the chance that any tie end touches is small enough, if it may rise."""
    doubt = line.doubt
    model = fill_model(ground, line.run, line if set_from is None else line.held_by(set_from))
    deepest = deepest_ends(model.fills, model.covariance, draws=doubt.draws, seed=doubt.seed)
    extra = rise_to_clear(deepest, confidence=confidence, touch=doubt.touch)
    if can_rise:
        line = replace(
            line, gap=line.gap + extra, raised=extra, knots_height=line.knots_height + extra,
            depth=max(0.0, line.depth - extra),
        )  # fmt: skip
    chance = float(np.mean(deepest - line.raised > doubt.touch))
    line = replace(line, chance_touch=chance)
    if can_rise or extra == 0:
        return line
    note = Advisory(
        "caution",
        "the whole run",
        f"the chance that some tie end touches the ground is {chance:.0%}, more than the "
        f"{1 - confidence:.0%} asked for; the given height would have to be "
        f"{line.run.display.small_unit(extra)} higher, or read the ground again where it is doubtful",
        f"{doubt.draws} draws of the fills; touch is more than {line.run.display.small_unit(doubt.touch)}",
    )
    return replace(line, advisories=(*line.advisories, note))


def _advise(line: FinishedLine, rows: Rows, rolling: Rolling | None) -> tuple[Advisory, ...]:
    """Return what the crew must know about this line: ties in the ground, places not cleared, a grade."""
    ends = len(rows.ground)
    fills = line.height(rows.stations[:ends]) + rows.drops - rows.ground
    show = line.run.display
    found: list[Advisory] = []
    below = np.flatnonzero(fills < -_ROUND)
    if len(below):
        worst = int(np.argmin(fills))
        place = f"tie {worst // 2 + 1} {SIDES[worst % 2]}"
        found.append(
            Advisory(
                "stop" if fills[worst] < -line.doubt.touch else "caution",
                place,
                f"would be {show.small_unit(-float(fills[worst]))} in the ground "
                f"({len(below)} tie ends are). Set the line {show.small_unit(line.depth)} higher, or from "
                "the governing point",
                "common practice, no source: build up, never dig in",
            )
        )
    over = rows.heights[ends:] - line.height(rows.stations[ends:])
    for row in np.flatnonzero(over > _ROUND):
        inside = float(over[row]) > rows.room[ends + row] + _ROUND
        what = "stands in the track" if inside else "is passed with less room than asked for"
        text = f"{what}: the line would have to lie {show.small_unit(float(over[row]))} higher to clear it"
        level: Literal["stop", "caution"] = "stop" if inside else "caution"
        found.append(Advisory(level, rows.labels[ends + row], text, "the clearances stated"))
    if not len(below) and (rows.heights[:ends] - line.height(rows.stations[:ends]) > _ROUND).any():
        text = (
            f"the line lies lower than asked for: {show.small_unit(float(fills.min()))} are left at the least"
        )
        found.append(Advisory("caution", "the whole run", text, "the gap stated"))
    return (*found, *roll_away(line.steepest, rolling, pounds=show.unit == "in"))
