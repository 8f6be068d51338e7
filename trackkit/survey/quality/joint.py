"""What changing some readings, or leaving them out, would do to the fit, without fitting again.

With the roughness held, the sum of squared residuals (readings and smoothness together) is a quadratic form
in the readings. So every change of any few of them is a small sum over two arrays: what the residuals say of
each reading, and how the readings hang together (W. Baarda, "A testing procedure for use in geodetic
networks", 1968, for the form; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trackkit.survey.fitting import Fitted, Setting

__all__ = ["Joint", "joint_of"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: A reading that has less redundancy is needed by the fit: it cannot be left out.
NEEDED = 1e-6
#: ... and one that has less than this is hardly checked.
HARDLY = 0.02


@dataclass(frozen=True)
class Joint:
    """How the readings of a fit pull at it together.

    Attributes
    ----------
    pull : array, shape (n,)
        Residual (fitted less read) over variance [1/m].
    hold : array, shape (n, n)
        By how much the pulls grow for a metre added to each reading, with the sign turned [1/m^2].
    sd : array, shape (n,)
        Standard deviations of the readings [m].
    zero : array, shape (z,)
        Zero errors of the angle instruments [rad].
    zero_pull : array, shape (z, n)
        By how much each of them grows for a metre added to each reading [rad/m].
    """

    pull: Array
    hold: Array
    sd: Array
    zero: Array
    zero_pull: Array

    def can_do_without(self, rows: Indices) -> bool:
        """Return whether the fit stands without these readings."""
        inner = self._inner(rows)
        return bool(np.linalg.eigvalsh(inner)[0] > NEEDED)

    def off(self, rows: Indices) -> Array:
        """Return what a fit without these readings makes of them, less what was read [m]."""
        sd = self.sd[rows]
        return np.asarray(sd * np.linalg.solve(self._inner(rows), sd * self.pull[rows]))

    def gain_without(self, rows: Indices) -> float:
        """Return by how much the squares fall if these readings are left out."""
        return float(self.pull[rows] @ self.off(rows))

    def gain(self, rows: Indices, change: Array) -> float:
        """Return by how much the squares fall if these readings are changed by so much [m]."""
        return float(2.0 * change @ self.pull[rows] - change @ self.hold[np.ix_(rows, rows)] @ change)

    def each_off(self, rows: Indices) -> tuple[Array, float]:
        """Return what each reading is off a fit without it alone [m], and the sum of their squared w.

        Of readings that the others hardly check, 0.
        """
        hold = np.diag(self.hold)[rows]
        checked = hold * self.sd[rows] ** 2 > HARDLY
        pull, hold = self.pull[rows], np.where(checked, hold, 1.0)
        return np.where(checked, pull / hold, 0.0), float(np.sum(np.where(checked, pull**2 / hold, 0.0)))

    def changed(self, rows: Indices, change: Array) -> Joint:
        """Return the same once these readings are changed by so much [m]; zero errors follow."""
        pull = self.pull - self.hold[:, rows] @ change
        return replace(self, pull=pull, zero=self.zero + self.zero_pull[:, rows] @ change)

    def zero_without(self, rows: Indices) -> Array:
        """Return the zero errors as a fit without these readings has them [rad], shape (z,)."""
        return np.asarray(self.zero + self.zero_pull[:, rows] @ self.off(rows))

    def without(self, rows: Indices) -> Joint:
        """Return the same for the fit without these readings; the arrays keep their shapes."""
        if not rows.size:
            return self
        sd = self.sd[rows]
        across = self.hold[:, rows] * sd
        share = np.linalg.solve(self._inner(rows), across.T)
        return replace(
            self,
            pull=self.pull - share.T @ (sd * self.pull[rows]),
            hold=self.hold - across @ share,
            zero=self.zero_without(rows),
            zero_pull=self.zero_pull - (self.zero_pull[:, rows] * sd) @ share,
        )

    def _inner(self, rows: Indices) -> Array:
        """Return the hold of some readings in units of their standard deviations."""
        sd = self.sd[rows]
        return np.asarray(self.hold[np.ix_(rows, rows)] * np.outer(sd, sd))


def joint_of(setting: Setting, fitted: Fitted) -> Joint:
    """Return how all rows of a fit pull at it; dense, so for some thousand rows at most.

    Zero errors are in the order of the border unknowns of that kind.
    """
    posterior, rows = fitted.posterior, setting.observations
    system, weight = posterior.system, 1.0 / posterior.sd**2
    beyond = system.beyond(rows.ground, rows.border)
    spread = rows.ground @ system.solve_band(rows.ground.toarray().T)
    spread = spread + beyond @ system.border_covariance @ beyond.T
    hold = np.diag(weight) - weight[:, None] * (spread + spread.T) / 2.0 * weight
    zeros = np.array([i for i, (kind, _) in enumerate(rows.names) if kind == "zero"], dtype=np.intp)
    alone = np.zeros((zeros.size, rows.border.shape[1]))
    alone[np.arange(zeros.size), zeros] = 1.0
    reach = system.beyond(np.zeros((zeros.size, rows.ground.shape[1])), alone) @ system.border_covariance
    zero = fitted.border(setting)[zeros]
    return Joint(posterior.residual * weight, hold, posterior.sd, zero, reach @ beyond.T * weight)
