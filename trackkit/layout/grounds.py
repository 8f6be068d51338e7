"""What layout asks of a ground: heights, their covariance and draws of them at named places.

The fitted ground of `trackkit.survey` answers to this; so does any hand-made one. A place is a
`Point`: ``(station, side)`` on a support line, or the name of a peg. Stations are horizontal
distances [m], sides are ``"left"`` and ``"right"`` looking towards increasing station, heights
are above the job's datum [m], up positive.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol, TypeAlias

import numpy as np
import numpy.typing as npt

__all__ = ["SIDES", "FloatArray", "GroundLike", "Point"]

FloatArray: TypeAlias = npt.NDArray[np.float64]
#: A place on a support line, or a peg's name.
Point: TypeAlias = tuple[float, str] | str
#: Sides in the order that every table uses.
SIDES = ("left", "right")


class GroundLike(Protocol):
    """A ground that knows its height, and how well, at any point."""

    def height(self, station: Any, side: Any) -> tuple[Any, Any]:
        """Return mean and sd [m] at stations of one side."""

    def mean(self, points: Sequence[Point], /) -> FloatArray:
        """Return the heights, shape (n,) [m]."""

    def covariance(self, points: Sequence[Point], /) -> FloatArray:
        """Return the covariance of the heights, shape (n, n) [m²]."""

    def draw(self, points: Sequence[Point], n: int, seed: int, /) -> FloatArray:
        """Return ``n`` draws of the heights, shape (n, points) [m]."""
