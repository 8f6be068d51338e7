"""The finished line: how high the tie undersides lie, and which points of the ground that hangs on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from trackkit.layout.doubt import Doubt
from trackkit.layout.grounds import FloatArray, Point
from trackkit.layout.laid import Run
from trackkit.layout.resting import Resting
from trackkit.layout.straight import interpolation
from trackkit.problems import Advisory

__all__ = ["FinishedLine"]


@dataclass(frozen=True, eq=False)
class FinishedLine:
    """A line over the ground, straight between its knots.

    Its height is a known combination of ground heights: ``height(s) = weights_at(s) @ heights of
    contacts + a constant``. So the doubt in a fill is that of this combination less the ground at
    the tie end, and nothing at a contact itself. That holds *given* these contacts: which point
    governs is uncertain too, and is a study of its own. The change of the contacts' stations
    with the grade is of second order and left out.

    Attributes
    ----------
    kind : str
        ``level``, ``grade``, ``least fill`` or ``follow``.
    gap : float
        Room kept under the track [m], with what a confidence has added.
    raised : float
        What the confidence has added [m].
    reference : str
        What the line is set from, in the crew's words.
    rests_on : tuple of str
        Labels of the rows it rests on: "tie 4 left", "obstacle 1 (6.00 m)".
    knots_station, knots_height : array, shape (k,)
        Its corners [m]: head and tail, and the joints if it follows the ground.
    contacts : tuple of Point
        Points of the ground that its height hangs on.
    knot_weights : array, shape (k, contacts)
        Share of each contact in the height of each knot.
    run : Run
        The track with its ties moved to where they lie on this line.
    depth : float
        How far it lies below what it should clear, at the worst place [m]; 0 when all is clear.
    doubt : Doubt
        What chances and sd were, and are, worked out with.
    turns : int
        Times that ties and line were solved in turn until they agreed.
    chance_touch : float
        Chance that any tie end touches, when a confidence was asked for; else NaN.
    advisories : tuple of Advisory
    resting : Resting
        How it was fitted, for trying it over other heights.
    """

    kind: str
    gap: float
    raised: float
    reference: str
    rests_on: tuple[str, ...]
    knots_station: FloatArray
    knots_height: FloatArray
    contacts: tuple[Point, ...]
    knot_weights: FloatArray
    run: Run
    depth: float
    doubt: Doubt
    turns: int
    chance_touch: float
    advisories: tuple[Advisory, ...]
    resting: Resting

    def height(self, station: npt.ArrayLike) -> FloatArray:
        """Return the height of the tie undersides [m]; beyond the ends the line runs on straight."""
        stretch, along = interpolation(self.knots_station, station)
        low, high = self.knots_height[stretch], self.knots_height[stretch + 1]
        return np.asarray(low + along * (high - low))

    def rail_top(self, station: npt.ArrayLike) -> FloatArray:
        """Return the height of the rails' tops [m]."""
        return self.height(station) + self.run.rail_top

    def grade(self, station: npt.ArrayLike) -> FloatArray:
        """Return rise over horizontal distance, positive when it rises towards the end mark."""
        stretch, _ = interpolation(self.knots_station, station)
        return np.asarray((np.diff(self.knots_height) / np.diff(self.knots_station))[stretch])

    def weights_at(self, station: npt.ArrayLike) -> FloatArray:
        """Return the share of each contact in the height at stations, shape (n, contacts)."""
        stretch, along = interpolation(self.knots_station, np.atleast_1d(np.asarray(station, dtype=float)))
        low, high = self.knot_weights[stretch], self.knot_weights[stretch + 1]
        return np.asarray(low + along[:, None] * (high - low))

    @property
    def steepest(self) -> float:
        """The grade that is furthest from level."""
        grades = np.diff(self.knots_height) / np.diff(self.knots_station)
        return float(grades[np.argmax(np.abs(grades))])

    def higher(self, more: float) -> FinishedLine:
        """Return the same line so much higher, with so much more gap [m]; lower if that is below zero."""
        return replace(self, knots_height=self.knots_height + more, gap=self.gap + more)

    def held_by(self, point: Point) -> FinishedLine:
        """Return the same line held from one point, such as the control peg it is set out from.

        Its heights stay. The fills' sd are then those against that point, and the former contacts
        are as doubtful as any other tie end.
        """
        ones = np.ones((len(self.knots_station), 1))
        return replace(
            self, contacts=(point,), knot_weights=ones, reference=f"{self.reference}, set from {point}"
        )
