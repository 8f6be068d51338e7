"""How a line comes to rest: its shape and on what it would rest over other heights."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from trackkit.layout.clearance import Rows
from trackkit.layout.grounds import FloatArray
from trackkit.layout.reference import Held

__all__ = ["Fit", "Resting", "Shape"]


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
    """

    knots: FloatArray
    rows: Rows
    shape: Shape
    fit: Fit
    keeps_shape: bool

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
            reached = self.rows.heights + (heights - self.rows.mean) @ self.rows.parts.T
            line = np.interp(self.rows.stations, self.shape.knots, self.shape.heights)
            return [(int(row),) for row in np.argmax(reached - line, axis=1)]
        return [tuple(sorted(self.fit(self.knots, self.rows.over(drawn), None).rows)) for drawn in heights]
