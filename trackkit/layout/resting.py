"""How a line comes to rest: its shape and on what it would rest over other heights."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trackkit.layout.clearance import Rows
from trackkit.layout.grounds import FloatArray
from trackkit.layout.reference import Held

__all__ = ["Fit", "FitMany", "Resting", "Shape"]


@dataclass(frozen=True)
class Shape:
    """A line over rows: its knots, and the share of contacts and of the reference in each.

    Attributes
    ----------
    knots, heights : array, shape (k,)
        Stations and heights of its corners [m].
    rows : tuple of int
        Rows it rests on.
    weights : array, shape (k, rows)
        Share of each in the height of each knot.
    reference : array, shape (k,)
        Share of the held height; zero when the governing point decides.
    """

    knots: FloatArray
    heights: FloatArray
    rows: tuple[int, ...]
    weights: FloatArray
    reference: FloatArray


#: From knots (head, joints, tail), what must be cleared, and where the line is held, to its shape.
Fit = Callable[[FloatArray, Rows, Held | None], Shape]
#: From what must be cleared and its heights, (grounds, rows), to the rows rested on, (grounds, 2), -1 none.
FitMany = Callable[[Rows, FloatArray], npt.NDArray[np.int64]]


@dataclass(frozen=True, eq=False)
class Resting:
    """A solved line together with the way it was fitted, for trying it over other heights.

    Attributes
    ----------
    knots : array
        Stations of head, joints and tail [m].
    rows : Rows
        What the line clears.
    shape : Shape
        The line.
    fit : Fit
        How it was fitted.
    keeps_shape : bool
        Over other heights it only moves up or down: a level line, a given grade, a held one.
    fit_many : FitMany, optional
        What it rests on over many grounds at once, where that can be worked out together.
    """

    knots: FloatArray
    rows: Rows
    shape: Shape
    fit: Fit
    keeps_shape: bool
    fit_many: FitMany | None = None

    @property
    def rests_by_itself(self) -> bool:
        """Whether it rests on what it must clear; a line that is held at a height does not."""
        return bool(len(self.shape.rows)) and not np.any(self.shape.reference)

    @property
    def is_quick(self) -> bool:
        """Whether many grounds take no longer than drawing them."""
        return self.keeps_shape or self.fit_many is not None

    def reached(self, heights: FloatArray) -> FloatArray:
        """Return what the line must reach over other heights of the points, shape (draws, rows) [m]."""
        return np.asarray(self.rows.heights + (heights - self.rows.mean) @ self.rows.parts.T)

    def rows_rested_on(self, heights: FloatArray) -> list[tuple[int, ...]]:
        """Return the rows that the line rests on over other heights, draw by draw.

        Ties are taken where they lie on the solved line: what they move by with the grade is of second
        order.

        Parameters
        ----------
        heights : array, shape (draws, points)
            Of ``rows.points`` [m].
        """
        if self.keeps_shape:
            line = np.interp(self.rows.stations, self.shape.knots, self.shape.heights)
            return [(int(row),) for row in np.argmax(self.reached(heights) - line, axis=1)]
        if self.fit_many is not None:
            rows = self.fit_many(self.rows, self.reached(heights)).tolist()
            return [(one,) if two < 0 else (one, two) for one, two in rows]
        return [tuple(sorted(self.fit(self.knots, self.rows.over(drawn), None).rows)) for drawn in heights]
