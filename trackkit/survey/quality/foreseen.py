"""What readings would find, and what that would say of heights, before they are taken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from trackkit.survey.points import Point
from trackkit.survey.quality.next_reading import Possible, asked_about, joint_of

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["Foreseen", "foresee"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Foreseen:
    """What readings would find, and what they would say of what is asked about, before they are taken.

    Attributes
    ----------
    spread : array, shape (m, m)
        Covariance of what is asked about, as the survey stands [m²].
    expected : array, shape (k,)
        What the readings are expected to find [m]; a rod's up to the height of a laser set up anew.
    found : array, shape (k, k)
        Covariance of what they may find, their own scatter included [m²].
    shared : array, shape (m, k)
        Covariance of what is asked about with what they find [m²].
    """

    spread: Array
    expected: Array
    found: Array
    shared: Array

    def first(self, count: int) -> Foreseen:
        """Return the same for the first readings alone."""
        some = slice(count)
        return Foreseen(self.spread, self.expected[some], self.found[some, some], self.shared[:, some])

    @property
    def after(self) -> Array:
        """Covariance of what is asked about, once all of the readings are taken, shape (m, m) [m²]."""
        return np.asarray(self.spread - self.shared @ self._gain.T)

    def shift(self, readings: Array) -> Array:
        """Return by how much what is asked about moves, given what was found: (..., k) to (..., m) [m]."""
        return np.asarray((readings - self.expected) @ self._gain.T)

    def log_likelihood(self, readings: Array) -> Array:
        """Return how likely it was to find that, (..., k) to (...,): the logarithm, up to 2 pi."""
        _, size = np.linalg.slogdet(self.found)
        away = readings - self.expected
        inverse = np.linalg.pinv(self.found, hermitian=True) if self.expected.size else self.found
        return np.asarray(-0.5 * (np.einsum("...i,ij,...j->...", away, inverse, away) + size))

    @property
    def _gain(self) -> Array:
        if not self.expected.size:
            return self.shared
        return np.asarray(np.linalg.solve(self.found, self.shared.T).T)


def foresee(
    ground: Ground,
    points: Sequence[Point],
    weights: Array,
    readings: Sequence[Possible],
    ties: Sequence[Point] = (),
) -> Foreseen:
    """Return what given readings would find, and say of combinations of heights, before they are taken.

    Parameters
    ----------
    ground, points, weights
        As in `next_readings`.
    readings : sequence of Possible
    ties : sequence of Point
        Where the rod is stood first, as `NextReadings.ties`: they come first among what is found.
    """
    asked, size = asked_about(points, weights), len(ties)
    joint, noise, sights = joint_of(ground, points, asked, tuple(readings), tuple(ties))
    count = len(asked)
    order = count + np.concatenate([np.arange(size) + len(readings), np.arange(len(readings))]).astype(int)
    found = joint[np.ix_(order, order)] + np.diag(noise[order - count])
    everything = list(dict.fromkeys(point for sight in sights for point in sight))
    mean = dict(zip(everything, ground.mean(everything), strict=True)) if everything else {}
    expected = [sum(share * mean[point] for point, share in sights[i].items()) for i in order - count]
    return Foreseen(joint[:count, :count], np.array(expected), found, joint[:count, order])
