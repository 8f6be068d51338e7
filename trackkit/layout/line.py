"""The finished line over a ground: level, at a given grade, with least fill, or following the ground.

Sections lie along the line and stations are horizontal, so ties move with the grade: line and
ties are solved in turn until they agree.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from trackkit.layout.bends import follow
from trackkit.layout.clearance import Clearance, Rows
from trackkit.layout.doubt import Doubt
from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import FloatArray, GroundLike, Point
from trackkit.layout.laid import Run
from trackkit.layout.reference import Held, LensHeight, RailHeight, Reference
from trackkit.layout.resting import Fit, Shape
from trackkit.layout.rolling import Rolling
from trackkit.layout.solve import Options, solve
from trackkit.layout.straight import Straight, at_grade, least_fill, least_fill_through
from trackkit.layout.straight_many import least_fill_contacts

__all__ = [
    "BEND",
    "GAP",
    "FinishedLine",
    "LensHeight",
    "RailHeight",
    "follow_line",
    "grade_line",
    "least_fill_line",
    "level_line",
]

#: Room under the track at the governing point [m]: 12 mm (1/2 in), for a wedge to come down by.
#: Guess; 0, sitting on the high point, is the textbook choice.
GAP: Final = 0.012
#: Greatest difference of grade at a joint: 3 mm per m. Guess.
BEND: Final = 0.003


def level_line(
    ground: GroundLike,
    run: Run,
    *,
    reference: Reference = "governing",
    gap: float = GAP,
    confidence: float | None = None,
    obstacles: pd.DataFrame | None = None,
    clearance: Clearance | None = None,
    doubt: Doubt | None = None,
    set_from: Point | None = None,
) -> FinishedLine:
    """Return the level line: nothing below the highest ground, unless the reference says so.

    Parameters
    ----------
    ground : GroundLike
        The fitted ground.
    run : Run
        Where the ties stand.
    reference : Reference
        'governing' (the highest point), a tie end ``(tie, side)``, a `RailHeight` or a
        `LensHeight`. All but the first can put ties into the ground; their fills are then
        negative, shown and counted.
    gap : float
        Room under the track at the governing point, or under the tie end it is set from [m].
    confidence : float, optional
        Raises the gap until the chance that any tie end touches is at most 1 less this. A given
        rail or lens height stays; the chance is then stated.
    obstacles : DataFrame, optional
        See `clearance_rows`.
    clearance : Clearance, optional
        Room over obstacles and between the rails.
    doubt : Doubt, optional
        What chances are worked out with.
    set_from : Point, optional
        The peg that the track is set out from on the day: chances then have its doubt in them too. By
        default the track is set out from what it rests on.

    Returns
    -------
    FinishedLine

    Raises
    ------
    CannotDo
        An obstacle without a height.
    ValueError
        A reference that does not exist, or a confidence not between 0 and 1.
    """
    return solve(
        "level", ground, run, _straight_at(0.0),
        Options(reference, gap, confidence, obstacles, clearance, doubt or Doubt(), set_from=set_from),
    )  # fmt: skip


def grade_line(
    ground: GroundLike,
    run: Run,
    grade: float,
    *,
    reference: Reference = "governing",
    gap: float = GAP,
    confidence: float | None = None,
    obstacles: pd.DataFrame | None = None,
    clearance: Clearance | None = None,
    doubt: Doubt | None = None,
    set_from: Point | None = None,
    rolling: Rolling | None = None,
) -> FinishedLine:
    """Return the line at a given grade (rise over horizontal distance towards the end mark).

    Parameters
    ----------
    ground, run, reference, gap, confidence, obstacles, clearance, doubt, set_from
        See `level_line`; the governing point is the highest above the grade.
    grade : float
        0.05 rises 5 cm in a metre.
    rolling : Rolling, optional
        For the warning that the dolly rolls by itself.
    """
    options = Options(
        reference, gap, confidence, obstacles, clearance, doubt or Doubt(), rolling, set_from
    )  # fmt: skip
    return solve("grade", ground, run, _straight_at(grade), options)


def least_fill_line(
    ground: GroundLike,
    run: Run,
    *,
    grade_limit: float | tuple[float, float] | None = None,
    reference: Reference = "governing",
    gap: float = GAP,
    confidence: float | None = None,
    obstacles: pd.DataFrame | None = None,
    clearance: Clearance | None = None,
    doubt: Doubt | None = None,
    set_from: Point | None = None,
    rolling: Rolling | None = None,
) -> FinishedLine:
    """Return the straight line with the least total fill; see `straight.least_fill`.

    Parameters
    ----------
    ground, run, reference, gap, confidence, obstacles, clearance, doubt, set_from
        See `level_line`. From a held reference the grade with the least fill that clears
        everything, or, if none does, the one that lies least deep.
    grade_limit : float or (float, float), optional
        Greatest grade either way, or lowest and highest; by default what one person can hold.
    rolling : Rolling, optional
        What that default and the warning are worked out with.
    """
    limit = (rolling or Rolling()).grade_limit() if grade_limit is None else grade_limit

    def fit(knots: FloatArray, rows: Rows, held: Held | None) -> Shape:
        centre = float(np.mean(rows.stations[: len(rows.ground)]))
        if held is None:
            line = least_fill(rows.stations, rows.heights, limit=limit, centre=centre)
        else:
            line = least_fill_through(
                rows.stations, rows.heights, at=held.station, height=held.height, limit=limit, centre=centre
            )
        return _between(knots, line)

    def fit_many(rows: Rows, heights: FloatArray) -> npt.NDArray[np.int64]:
        centre = float(np.mean(rows.stations[: len(rows.ground)]))
        return least_fill_contacts(rows.stations, heights, limit=limit, centre=centre)

    options = Options(
        reference, gap, confidence, obstacles, clearance, doubt or Doubt(), rolling, set_from
    )  # fmt: skip
    return solve("least fill", ground, run, fit, options, fit_many=fit_many)


def follow_line(
    ground: GroundLike,
    run: Run,
    *,
    bend_limit: float = BEND,
    grade_limit: float | None = None,
    reference: Reference = "governing",
    gap: float = GAP,
    confidence: float | None = None,
    obstacles: pd.DataFrame | None = None,
    clearance: Clearance | None = None,
    doubt: Doubt | None = None,
    set_from: Point | None = None,
    rolling: Rolling | None = None,
) -> FinishedLine:
    """Return the line that follows the ground: straight in each section, bent at the joints.

    Parameters
    ----------
    ground, run, reference, gap, confidence, obstacles, clearance, doubt, set_from, rolling
        See `level_line` and `least_fill_line`.
    bend_limit : float
        Greatest difference of grade at a joint; 0.003 is 3 mm per m.
    grade_limit : float, optional
        Greatest grade of any section; by default what one person can hold.
    """
    if not bend_limit >= 0:
        raise ValueError(f"bend_limit must be 0 or more, got {bend_limit}")
    limit = (rolling or Rolling()).grade_limit() if grade_limit is None else grade_limit

    def fit(knots: FloatArray, rows: Rows, held: Held | None) -> Shape:
        line = follow(
            knots, rows.stations, rows.heights, rows.stations[: len(rows.ground)], bend_limit=bend_limit,
            grade_limit=limit if np.isfinite(limit) else None,
            through=(held.station, held.height) if held else None,
        )  # fmt: skip
        return Shape(line.knots, line.heights, line.contacts, line.weights, line.reference)

    options = Options(
        reference, gap, confidence, obstacles, clearance, doubt or Doubt(), rolling, set_from
    )  # fmt: skip
    return solve("follow", ground, run, fit, options)


def _straight_at(grade: float) -> Fit:
    def fit(knots: FloatArray, rows: Rows, held: Held | None) -> Shape:
        if held is None:
            return _between(knots, at_grade(rows.stations, rows.heights, grade))
        return _between(knots, Straight(held.station, held.height, grade, (), (), (), reference=(1.0, 0.0)))

    return fit


def _between(knots: FloatArray, line: Straight) -> Shape:
    """Return a straight line with knots at head and tail only."""
    ends = knots[[0, -1]]
    return Shape(ends, line.height_at(ends), line.contacts, line.weights(ends), line.reference_weights(ends))
