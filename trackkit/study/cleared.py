"""What a line must clear, and what it means that something of it touches: how far the line must go up."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import Point

__all__ = ["HARDLY", "CauseRow", "Cleared", "cleared_by"]

Array = NDArray[np.float64]

#: A smaller chance of touching is hardly any: nothing is told of what it would cost (a choice).
HARDLY: Final = 0.005


class CauseRow(NamedTuple):
    """A row of what one cause does to a line, see `trackkit.study.causes.Causes`."""

    cause: str
    chance: float
    at: str
    size_m: float
    touches: float
    touches_at: str
    lift_m: float


@dataclass(frozen=True, eq=False)
class Cleared:
    """What the line must clear, tie ends first, then obstacles: how high it lies above, on what that hangs.

    Only ``above`` and ``room`` hang on how high the line lies.

    Attributes
    ----------
    above : array, shape (rows,)
        How high the line lies above each [m]; under a tie end that is its fill.
    room : array, shape (rows,)
        What each is to have again once it has touched [m].
    labels : tuple of str
    points : tuple of Point
    jacobian : array, shape (rows, points)
        Change of ``above`` with the ground's height at each point.
    parts : array, shape (rows, any)
        Share of points of the ground in the height of each; none in one that was given or read by itself.
    ends : int
        How many are tie ends.
    touch : float
        What rises over the line by more touches [m].
    """

    above: Array
    room: Array
    labels: tuple[str, ...]
    points: tuple[Point, ...]
    jacobian: Array
    parts: Array
    ends: int
    touch: float

    def under(self, line: FinishedLine) -> Cleared:
        """Return the same under the line as it lies now, higher or lower than it did."""
        above, room = _heights(line)
        return replace(self, above=above, room=room)

    def outcome(self, above: Array, weights: Array) -> tuple[float, str, float]:
        """Return the weight of the cases that touch, where most do, and the lift that they ask for.

        Parameters
        ----------
        above : array, shape (rows, cases)
            How high the line lies above each, case by case [m].
        weights : array, shape (cases,)
        """
        over = -above
        touching = over > self.touch
        cases = touching.any(axis=0)
        weight = float(weights[cases].sum())
        if weight == 0.0:
            return 0.0, "", 0.0
        deepest = np.bincount(over[:, cases].argmax(axis=0), weights=weights[cases])
        lifts = np.where(touching, over + self.room[:, None], -np.inf)[:, cases].max(axis=0)
        return weight, self.labels[int(deepest.argmax())], float(lifts @ weights[cases]) / weight


def cleared_by(line: FinishedLine, held: FinishedLine, touch: float) -> Cleared:
    """Return what a line must clear, hanging on what it is held by."""
    rows = line.resting.rows
    points = tuple(dict.fromkeys([*rows.points, *held.contacts]))
    place = {point: i for i, point in enumerate(points)}
    jacobian = np.zeros((len(rows.labels), len(points)))
    for share, contact in zip(held.weights_at(rows.stations).T, held.contacts, strict=True):
        jacobian[:, place[contact]] += share
    for share, point in zip(rows.parts.T, rows.points, strict=True):  # two ties in one place share a point
        jacobian[:, place[point]] -= share
    above, room = _heights(line)
    return Cleared(above, room, rows.labels, points, jacobian, rows.parts, len(rows.ground), touch)


def _heights(line: FinishedLine) -> tuple[Array, Array]:
    """Return how high a line lies above what it must clear, and what room each is to have."""
    rows = line.resting.rows
    above = line.height(rows.stations) - (rows.heights - rows.room)
    raised = line.gap - float(rows.room[0])  # more gap than it was fitted with is more room over everything
    return np.asarray(above), np.asarray(rows.room + raised)
