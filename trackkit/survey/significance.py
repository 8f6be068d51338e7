"""When a residual is too large for chance: the limit for w, and what an estimated standard deviation costs.

Where the standard deviation was itself estimated from the residuals, a misreading has raised it, and no
residual can be larger than the square root of the readings to spare: a limit made for known standard
deviations is then never reached (A. J. Pope, "The statistics of residuals and the detection of outliers",
NOAA TR NOS 65 NGS 1, 1976; formulas from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.survey.fitting import Fitted, Setting
from trackkit.survey.posterior import Posterior

__all__ = [
    "CHANCE_OF_FALSE_ALARM",
    "Limit",
    "critical_w",
    "limit_of",
    "roughness_freedom",
    "studentised",
    "tau_limit",
]

Array = NDArray[np.float64]

#: Chance that a survey without a misreading has a reading called doubtful (a choice).
CHANCE_OF_FALSE_ALARM: Final = 0.05
#: Of the stations behind an estimated roughness, but for two, this share counts as freedom (simulated).
WORTH_COUNTING: Final = 9.0 / 11.0
#: Of the variance estimated from the readings at least this share is left when one is taken out of it.
LEAST_LEFT: Final = 0.01


def tau_limit(checks: float, chance: float) -> float:
    """Return the largest normalised residual that chance explains where the sd was estimated from them all.

    Parameters
    ----------
    checks : float
        Readings to spare that the standard deviation was estimated from, more than 1.
    chance : float
        That it is passed by one residual without a misreading, on either side.

    Examples
    --------
    >>> round(tau_limit(5, 0.05), 4), round(tau_limit(10, 0.001), 4)
    (1.8143, 2.6786)
    """
    from scipy.special import stdtrit

    if not checks > 1.0:
        raise ValueError(f"checks must be more than 1, got {checks:g}")
    t = float(stdtrit(checks - 1.0, 1.0 - chance / 2.0))
    return float(np.sqrt(checks) * t / np.sqrt(checks - 1.0 + t**2))


def studentised(w: float, inner: float, checks: float) -> float:
    """Return w against the standard deviation as the other readings have it.

    Parameters
    ----------
    w : float
        By the standard deviation that was estimated from all readings, this one among them.
    inner : float
        Its w in the fit of all readings, whose square is its share in that estimate.
    checks : float
        Readings to spare behind the estimate; infinite where the standard deviation was stated.

    Notes
    -----
    With ``inner`` equal to w it exceeds the limit of Student's t with ``checks - 1`` degrees of freedom just
    where w exceeds `tau_limit`. It tells which readings are worth a trial; the trial itself takes the spread
    from a fit without them (`Limit.spread`), which two misreadings cannot spoil.
    """
    if not np.isfinite(checks):
        return w
    left = max(checks - inner**2, LEAST_LEFT * checks)
    return float(w * np.sqrt(max(checks - 1.0, 1.0) / left))


def critical_w(setting: Setting, fitted: Fitted, readings: int, checks: float = np.inf) -> float:
    """Return the largest w that chance explains in a survey with that many readings.

    Parameters
    ----------
    checks : float
        Readings to spare behind an estimated standard deviation; see `studentised`.
    """
    from scipy.special import ndtri, stdtrit

    share = 1.0 - CHANCE_OF_FALSE_ALARM / (2.0 * max(readings, 1))
    freedom = _freedom(setting, fitted, checks)
    return float(ndtri(share) if np.isinf(freedom) else stdtrit(freedom, share))


def _freedom(setting: Setting, fitted: Fitted, checks: float) -> float:
    """Return the degrees of freedom of a residual's spread; infinite if all was stated."""
    return max(min(checks - 1.0, roughness_freedom(setting, fitted)), 1.0)


def roughness_freedom(setting: Setting, fitted: Fitted) -> float:
    """Return the degrees of freedom behind an estimated roughness, at least 1; infinite where it was stated.

    Of the stations that were read two go for level and slope. Of the others 9 in 11 count: the estimate has
    to do without the reading on trial, finds the relief too, and knows ground with waves of all lengths less
    well than its own kind. Simulated (``tests/study/power.txt``, 13 stations): if all counted, sparse surveys
    of a road spectrum would be blamed in 6.3 % of 1,400 cases; so it is 3.8 % of 400. At most 5 % is wanted.
    """
    if not fitted.roughness.estimated:
        return float("inf")
    stations = float(setting.observations.table["station_m"].nunique())
    return max(WORTH_COUNTING * (stations - 2.0), 1.0)


@dataclass(frozen=True)
class Limit:
    """The test that a survey's readings are put to.

    Attributes
    ----------
    readings : int
        How many are tested.
    freedom : array, shape (rows,)
        Degrees of freedom of each one's spread.
    estimated : array of bool, shape (rows,)
        Whose standard deviation was estimated from these readings.
    total : float
        Redundancy of all of those together, which their squares add up to.
    """

    readings: int
    freedom: Array
    estimated: NDArray[np.bool_]
    total: float

    def spread(self, keep: NDArray[np.bool_], posterior: Posterior) -> float:
        """Return what estimated standard deviations come down to in a fit of fewer readings.

        Parameters
        ----------
        keep : array of bool, shape (rows,)
            The rows that the fit was made of.
        posterior : Posterior
            That fit, by the standard deviations that were estimated from all.
        """
        own = self.estimated[keep]
        if not own.any():
            return 1.0
        squares = float(np.sum((posterior.residual[own] / posterior.sd[own]) ** 2))
        spare = float(posterior.redundancy[own].sum())
        return float(np.sqrt(max(squares, LEAST_LEFT) / spare)) if spare > 1.0 else 1.0

    def suspect(self, row: int, w: float) -> bool:
        """Return whether a reading may be in doubt, by its w in the fit of all readings."""
        if self.estimated[row]:
            w = studentised(w, w, self.total)
        return self.excess(row, w, 1.0) > 1.0

    def chance(self, row: int, w: float, spread: float) -> float:
        """Return the chance that a survey without a misreading has one as far off, at most 1.

        Parameters
        ----------
        row : int
        w : float
            Of the reading, against a fit without it.
        spread : float
            See `spread`, of that fit.
        """
        from scipy.special import ndtr, stdtr

        size = -abs(self._sized(row, w, spread))
        tail = ndtr(size) if np.isinf(self.freedom[row]) else stdtr(self.freedom[row], size)
        return float(min(1.0, 2.0 * tail * self.readings))

    def excess(self, row: int, w: float, spread: float) -> float:
        """Return by how many times a reading passes its limit: above 1 it is doubtful; as `chance`."""
        from scipy.special import ndtri, stdtrit

        share = 1.0 - CHANCE_OF_FALSE_ALARM / (2.0 * max(self.readings, 1))
        freedom = self.freedom[row]
        largest = ndtri(share) if np.isinf(freedom) else stdtrit(freedom, share)
        return float(abs(self._sized(row, w, spread)) / largest)

    def _sized(self, row: int, w: float, spread: float) -> float:
        return w / spread if self.estimated[row] else w

    def without(self, row: int) -> Limit:
        """Return the test of the others, once a reading is set aside."""
        if not self.estimated[row]:
            return self
        fewer = np.where(self.estimated, np.maximum(self.freedom - 1.0, 1.0), self.freedom)
        return replace(self, freedom=fewer)


def limit_of(setting: Setting, fitted: Fitted, checks: Array | None = None) -> Limit:
    """Return the test of a survey's readings.

    Parameters
    ----------
    checks : array, shape (rows,), optional
        Readings to spare behind each row's standard deviation, infinite where it was stated; by default all
        were.
    """
    counts = setting.observations.table["counts"].to_numpy(dtype=bool)
    behind = np.full(counts.size, np.inf) if checks is None else checks
    known, which = np.unique(behind, return_inverse=True)
    freedom = np.array([_freedom(setting, fitted, float(each)) for each in known])[which]
    estimated = np.isfinite(behind)
    return Limit(int(counts.sum()), freedom, estimated, float(fitted.posterior.redundancy[estimated].sum()))
