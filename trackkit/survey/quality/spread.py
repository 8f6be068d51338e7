"""How far groups of readings scatter, over what was stated: variance components from the readings alone.

Squared residuals of a group, each over its reading's variance, come on average to the group's redundancy. All
factors are changed until they do, which is restricted maximum likelihood (W. Förstner, "Ein Verfahren zur
Schätzung von Varianz- und Kovarianzkomponenten", AVN 86, 1979; K.-R. Koch, *Parameter Estimation and
Hypothesis Testing in Linear Models*, 1999, chapter 3; both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.survey.alone import Alone
from trackkit.survey.estimating import LEAST_CHECKS, WITHIN

__all__ = ["Spreads", "spreads"]

Array = NDArray[np.float64]

_AGREED: Final = 1e-3
_TURNS: Final = 100
#: With more readings, how far the groups' estimates lean on each other is left out: they hardly do.
MOST_AT_ONCE: Final = 2000


@dataclass(frozen=True)
class Spreads:
    """What groups of readings scatter by.

    Attributes
    ----------
    factor : array, shape (groups,)
        Estimated over stated standard deviation; NaN where fewer than `LEAST_CHECKS` checks stand behind it,
        or no value fits. These groups were left as stated.
    checks : array, shape (groups,)
        Redundancy of each group.
    dof : array, shape (groups,)
        Degrees of freedom of the chi-square that the squared factor is distributed by, as near as can be
        (their variance agrees with the estimate's own, from the information matrix).
    fit : Alone
        The readings alone with these standard deviations.
    """

    factor: Array
    checks: Array
    dof: Array
    fit: Alone


def spreads(alone: Alone, group: NDArray[np.intp], groups: int, *, least: float = LEAST_CHECKS) -> Spreads:
    """Return how far each group of readings scatters over what was stated.

    Parameters
    ----------
    alone : Alone
    group : array of int, shape (n,)
        Of each row; -1 for rows that are taken as stated.
    groups : int
        How many there are.
    least : float
        Fewer checks than these are too few to say.
    """
    factor = np.ones(groups)
    checks = _sums(alone.redundancy, group, groups)
    told = checks >= least
    fit = alone
    for _ in range(_TURNS):
        if not told.any():
            break
        usual = _sums((fit.residual / fit.model.sd) ** 2, group, groups)
        checks = _sums(fit.redundancy, group, groups)
        change = np.where(told, np.sqrt(usual / np.where(told, np.maximum(checks, 1e-9), 1.0)), 1.0)
        if np.abs(change - 1.0).max() <= _AGREED:
            break
        factor = factor * change
        told &= (factor >= 1.0 / WITHIN) & (factor <= WITHIN)
        factor = np.where(told, factor, 1.0)
        fit = _scaled(alone, factor, group)
    return Spreads(np.where(told, factor, np.nan), checks, _dof(fit, group, told, checks), fit)


def _sums(values: Array, group: NDArray[np.intp], groups: int) -> Array:
    some = group >= 0
    return np.bincount(group[some], weights=values[some], minlength=groups).astype(float)


def _scaled(alone: Alone, factor: Array, group: NDArray[np.intp]) -> Alone:
    return alone.with_sd(alone.model.sd * np.where(group >= 0, factor[np.maximum(group, 0)], 1.0))


def _dof(fit: Alone, group: NDArray[np.intp], told: NDArray[np.bool_], checks: Array) -> Array:
    """Return 2 / (relative variance of each squared factor), from the information of all of them."""
    dof = checks.copy()
    n = fit.model.value.size
    if not told.any() or n > MOST_AT_ONCE:
        return dof
    share = fit.unexplained(np.diag(fit.model.sd)) / fit.model.sd[:, None]
    own = (group[:, None] == np.flatnonzero(told)[None, :]).astype(float)
    dof[told] = 2.0 / np.diag(np.linalg.inv(own.T @ share**2 @ own / 2.0))
    return dof
