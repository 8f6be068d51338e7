"""A ground made by hand: heights from a formula, covariance from another, pegs by name."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import pytest

from trackkit.layout import Section


def wavy(station: float, side: str) -> float:
    """A lawn that falls sideways, with a hump at 4 m."""
    return 0.03 * np.exp(-((station - 4) ** 2)) + 0.01 * np.sin(station) + (0.02 if side == "right" else 0.0)


@dataclass
class HandGround:
    surface: Callable[[float, str], float] = wavy
    sd: float = 0.004
    reach: float = 2.0
    common_sd: float = 0.0  # doubt of the datum, shared by all points
    datum: float = 0.0
    pegs: dict[str, tuple[float, float]] = field(default_factory=dict)

    def mean(self, points: Sequence) -> np.ndarray:
        raw = [self.pegs[p][0] if isinstance(p, str) else self.surface(*p) for p in points]
        return np.array(raw, dtype=float) + self.datum

    def height(self, station, side):
        points = [(float(s), side) for s in np.atleast_1d(station)]
        return self.mean(points), np.sqrt(np.diag(self.covariance(points)))

    def covariance(self, points: Sequence) -> np.ndarray:
        c = np.full((len(points), len(points)), self.common_sd**2)
        for i, p in enumerate(points):
            for j, q in enumerate(points):
                if isinstance(p, str) or isinstance(q, str):
                    c[i, j] += self.pegs[p][1] ** 2 if p == q else 0.0
                else:
                    same = 1.0 if p[1] == q[1] else 0.3
                    c[i, j] += self.sd**2 * same * np.exp(-abs(p[0] - q[0]) / self.reach)
        return c

    def draw(self, points: Sequence, n: int, seed: int) -> np.ndarray:
        normals = np.random.default_rng(seed).standard_normal((n, len(points)))
        root = np.linalg.cholesky(self.covariance(points) + 1e-15 * np.eye(len(points)))
        return self.mean(points) + normals @ root.T


@pytest.fixture
def make_ground() -> type[HandGround]:
    return HandGround


@pytest.fixture
def three() -> Section:
    return Section("3 m", 3.0, (0.15, 0.825, 1.5, 2.175, 2.85), 0.12, 0.1, count=4)


@pytest.fixture
def two() -> Section:
    return Section("2 m", 2.0, (0.15, 1.0, 1.85), 0.12, 0.1, count=2)
