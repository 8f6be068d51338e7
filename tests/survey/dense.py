"""The ground model built again, densely and by another route, to check the banded fit against.

Kriging form: covariance of all read points from the kernel of integrated white-noise curvature,
levels, slopes, laser heights and pegs as fixed effects with a flat prior, generalised least
squares. Nothing here is shared with the package.
"""

from dataclasses import dataclass, field

import flint
import numpy as np

__all__ = ["DenseGround"]

flint.ctx.dps = 40


def many_digits(array):
    """Return the array with 40 digits an entry, so that the dense route loses none that count."""
    return np.vectorize(flint.arb, otypes=[object])(array)


def inverted(matrix):
    """Return the inverse of a matrix of many-digit numbers."""
    return np.array(flint.arb_mat(matrix.tolist()).inv().tolist(), dtype=object)


def log_determinant(matrix):
    """Return the natural logarithm of the determinant of a matrix of many-digit numbers."""
    return float(flint.arb_mat(matrix.tolist()).det().log())


def kernel(first, second):
    """Covariance of integrated white-noise curvature (q = 1) that starts level at 0."""
    low, high = np.minimum(first, second), np.maximum(first, second)
    return low**2 * (3 * high - low) / 6


@dataclass
class DenseGround:
    """Readings are added one at a time; ``solve`` then predicts any points."""

    q_mean: float
    q_twist: float
    relief: float
    origin: float
    points: list = field(default_factory=list)
    fixed: list = field(default_factory=list)
    random: dict = field(default_factory=dict)
    readings: list = field(default_factory=list)
    breaks: list = field(default_factory=list)

    def read(self, value, sd, surface=(), fixed=(), random=()):
        """Add value = sum of share * surface(station, side) + fixed effects + random effects."""
        self.readings.append((value, sd, list(surface), list(fixed), list(random)))

    def _covariance(self, first, second):
        s = many_digits([p[0] for p in first])[:, None] - self.origin
        t = many_digits([p[0] for p in second])[None, :] - self.origin
        a = np.array([-0.5 if p[1] == "left" else 0.5 for p in first])[:, None]
        b = np.array([-0.5 if p[1] == "left" else 0.5 for p in second])[None, :]
        same = np.array([[p == q for q in second] for p in first])
        return (self.q_mean + a * b * self.q_twist) * kernel(s, t) + self.relief**2 * same

    def _drift(self, points):
        rows = []
        for station, side in points:
            x = station - self.origin
            row = [1.0, x, 0.0, 0.0] if side == "left" else [0.0, 0.0, 1.0, x]
            for edge, at, frees in self.breaks:
                beyond = float(side == edge and station >= at)
                row += [beyond, beyond * (station - at)] if frees == "all" else [beyond]
            rows.append(row)
        return np.array(rows)

    def solve(self, targets, datum):
        """Return means and covariance of targets less the datum, fitted values, their variances,
        and minus twice the log restricted likelihood (up to a constant of the readings)."""
        names = sorted({name for reading in self.readings for name, _ in reading[3]})
        points = sorted({point for reading in self.readings for point, _ in reading[2]})
        errors = sorted({name for reading in self.readings for name, _ in reading[4]})
        n = len(self.readings)
        design = np.zeros((n, len(points)))
        effects = np.zeros((n, len(names)))
        shared = np.zeros((n, len(errors)))
        for i, (_, _, surface, fixed, random) in enumerate(self.readings):
            for point, share in surface:
                design[i, points.index(point)] += share
            for name, share in fixed:
                effects[i, names.index(name)] += share
            for name, share in random:
                shared[i, errors.index(name)] += share
        value = np.array([r[0] for r in self.readings])
        sd = np.array([r[1] for r in self.readings])
        spread = np.diag([self.random[name] ** 2 for name in errors])
        design, shared, effects = map(many_digits, (design, shared, effects))
        value, variance = many_digits(value), many_digits(sd) ** 2
        signal = design @ self._covariance(points, points) @ design.T + shared @ spread @ shared.T
        total = signal + np.diag(variance)
        drift = np.hstack([design @ self._drift(points), effects])
        inverse = inverted(total)
        # one level is free: a weight on it changes no difference of heights
        width = self._drift([datum]).shape[1]
        level = np.array([1.0, 0.0, 1.0, 0.0] + [0.0] * (width - 4) + [1.0] * len(names))
        normal = drift.T @ inverse @ drift + np.outer(level, level)
        cofactor = inverted(normal)
        beta = cofactor @ drift.T @ inverse @ value
        rest = value - drift @ beta

        everything = [*targets, datum]
        minus = np.hstack([np.eye(len(targets)), -np.ones((len(targets), 1))])
        to_readings = minus @ self._covariance(everything, points) @ design.T
        to_drift = minus @ np.hstack([self._drift(everything), np.zeros((len(everything), len(names)))])
        own = minus @ self._covariance(everything, everything) @ minus.T
        gap = to_drift - to_readings @ inverse @ drift
        mean = to_drift @ beta + to_readings @ inverse @ rest
        covariance = own - to_readings @ inverse @ to_readings.T + gap @ cofactor @ gap.T

        fitted = drift @ beta + signal @ inverse @ rest
        gap = drift - signal @ inverse @ drift
        of_fit = np.diag(signal - signal @ inverse @ signal + gap @ cofactor @ gap.T)
        logs = [log_determinant(m) for m in (total, normal)]
        likelihood = sum(logs) + float(rest @ inverse @ rest)
        return *(part.astype(float) for part in (mean, covariance, fitted, of_fit)), likelihood
