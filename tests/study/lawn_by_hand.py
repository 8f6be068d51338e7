"""A ground made by hand: heights from a formula, covariance from another, pegs by name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np


def lawn(station, side):
    """A lawn that falls sideways, with a hump at 4 m that is nearly as high on the other side."""
    return 0.008 * np.exp(-((station - 4.0) ** 2)) + 0.004 * np.sin(station) + 0.002 * (side == "right")


@dataclass
class HandLawn:
    """A ground that answers what a line asks; points are (station, side) or a peg's name."""

    surface: Callable = lawn
    sd: float = 0.004
    reach: float = 2.0
    shift: float = 0.0
    common_sd: float = 0.0  # doubt of the datum, shared by all points
    pegs: dict[str, tuple[float, float]] = field(default_factory=dict)

    def mean(self, points):
        found = [self.pegs[p][0] if isinstance(p, str) else self.surface(*p) for p in points]
        return np.array(found, dtype=float) + self.shift

    def height(self, station, side):
        sides = [side] * np.size(station) if isinstance(side, str) else list(side)
        points = [(float(s), own) for s, own in zip(np.atleast_1d(station), sides, strict=True)]
        return self.mean(points), np.sqrt(np.diag(self.covariance(points)))

    def covariance(self, points):
        named = np.array([isinstance(p, str) for p in points], dtype=bool)
        at = np.array([0.0 if isinstance(p, str) else p[0] for p in points])
        side = np.array(["" if isinstance(p, str) else p[1] for p in points])
        near = np.exp(-np.abs(at[:, None] - at) / self.reach) * np.where(side[:, None] == side, 1.0, 0.3)
        found = np.where(named[:, None] | named, 0.0, self.sd**2 * near)
        for i in np.flatnonzero(named):
            found[i, [j for j, p in enumerate(points) if p == points[i]]] = self.pegs[points[i]][1] ** 2
        return found + self.common_sd**2

    def draw(self, points, n, seed):
        values, vectors = np.linalg.eigh(self.covariance(points))
        normals = np.random.default_rng(seed).standard_normal((n, len(points)))
        return self.mean(points) + normals @ (vectors * np.sqrt(np.maximum(values, 0.0))).T
