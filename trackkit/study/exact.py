"""Chances in a contest as exact normal probabilities, where few contend.

Draws know a chance to a fraction of a per cent; where only a few things may be the highest, the normal
distribution gives it to five digits. What is left out of a contest is bounded: that is the certificate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.study.contest import Contest, Likely

__all__ = ["ExactChances", "exact_governs", "exact_touch"]

Array = NDArray[np.float64]

#: At most so many things contend; more dimensions take the integration long.
MOST: Final = 7
#: Chance that may be left out of a contest: far below what draws can tell.
LEFT_OUT: Final = 5e-4
#: What the integration is asked for [chance].
_ERROR: Final = 1e-5


@dataclass(frozen=True, eq=False)
class ExactChances:
    """Chances with a bound on what was left out.

    Attributes
    ----------
    chances : array, shape (rows,)
        Of each row to be the highest; 0 for those left out. The true chance of any is at most ``left_out``
        away: where the ground is of one kind, that of one that contends is at most so much lower.
    contending : tuple of int
        The rows that contend, the likeliest first.
    left_out : float
        Bound on the chance that any of the others is the highest.
    """

    chances: Array
    contending: tuple[int, ...]
    left_out: float


def exact_governs(contest: Contest, *, most: int = MOST, left_out: float = LEFT_OUT) -> ExactChances | None:
    """Return each row's chance that the line has to rest on it, or None where more contend than ``most``.

    Parameters
    ----------
    contest : Contest
        Its rows contend, each with the room that it asks for.
    most : int
        How many may contend.
    left_out : float
        Bound on what is left out; where several grounds are likely, up to twice as much.
    """
    chances, beyond = np.zeros(contest.rows), 0.0
    contending: set[int] = set()
    for one, coarse in _grounds(contest):
        found = _governs(contest, one, most, left_out * coarse, _ERROR * coarse)
        if found is None:
            return None
        chances += one.share * found.chances
        beyond += one.share * found.left_out
        contending.update(found.contending)
    return ExactChances(chances, tuple(sorted(contending, key=lambda row: -chances[row])), beyond)


def _grounds(contest: Contest) -> list[tuple[Likely, float]]:
    """Return the likely grounds, and how much coarser the less likely ones may be worked out."""
    count = len(contest.grounds)
    return [(one, max(1.0, 1.0 / (count * one.share))) for one in contest.grounds]


def _governs(
    contest: Contest, ground: Likely, most: int, left_out: float, error: float
) -> ExactChances | None:
    """Return `exact_governs` over one of the likely grounds."""
    rows = contest.rows
    mean, covariance = ground.mean[:rows] + contest.room, ground.covariance[:rows, :rows]
    first = int(mean.argmax())
    beats = _chance_over(mean - mean[first], covariance, first)
    beats[first] = 1.0
    order = np.argsort(-beats, kind="stable")
    beyond = np.append(np.cumsum(beats[order][::-1])[::-1][1:], 0.0)  # of all that come after each
    enough = np.flatnonzero(beyond <= left_out)
    count = int(enough[0]) + 1
    if count > most:
        return None
    own = order[:count]
    chances = np.zeros(rows)
    for row in own:
        others = own[own != row]
        chances[row] = _all_below(mean[others] - mean[row], covariance, others, int(row), error)
    return ExactChances(chances, tuple(int(row) for row in own), float(beyond[count - 1]))


def exact_touch(
    contest: Contest, candidate: int, touch: float, *, most: int = MOST, left_out: float = LEFT_OUT
) -> tuple[float, float] | None:
    """Return the chance that a candidate's line touches anything, and how much higher it is at most.

    None where more rows than ``most`` may be touched. Parameters as in `exact_governs`; ``touch`` [m].
    """
    chance, more = 0.0, 0.0
    for one, coarse in _grounds(contest):
        found = _touch(contest, one, candidate, touch, most, left_out * coarse, _ERROR * coarse)
        if found is None:
            return None
        chance += one.share * found[0]
        more += one.share * found[1]
    return chance, more


def _touch(
    contest: Contest, ground: Likely, candidate: int, touch: float, most: int, left_out: float, error: float
) -> tuple[float, float] | None:
    """Return `exact_touch` over one of the likely grounds."""
    start, rows = int(contest.starts[candidate]), contest.rows
    clear = ground.mean[start] + contest.offsets[candidate] + touch
    over = ground.mean[:rows] - clear
    each = _chance_over(over, ground.covariance, start, rows=rows)
    order = np.argsort(-each, kind="stable")
    beyond = np.append(np.cumsum(each[order][::-1])[::-1], 0.0)  # of all from each on
    count = int(np.flatnonzero(beyond <= left_out)[0])
    if count > most:
        return None
    own = order[:count]
    chance = 0.0 if not count else 1.0 - _all_below(over[own], ground.covariance, own, start, error)
    return max(chance, 0.0), float(beyond[count])


def _chance_over(over: Array, covariance: Array, start: int, *, rows: int | None = None) -> Array:
    """Return each one's chance to be over another, by its mean over it; 0 or 1 where that is certain."""
    from scipy.special import ndtr

    count = over.size if rows is None else rows
    variance = np.diag(covariance)
    sd = np.sqrt(np.maximum(variance[:count] + variance[start] - 2.0 * covariance[start, :count], 0.0))
    if start < count:
        sd[start] = 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(sd > 0.0, ndtr(over / sd), (over > 0.0).astype(float))


def _all_below(over: Array, covariance: Array, others: NDArray[np.int64], start: int, error: float) -> float:
    """Return the chance that all of the others lie below one, given their means over it."""
    from scipy.stats import multivariate_normal

    if not others.size:
        return 1.0
    both = np.append(others, start)
    weights = np.column_stack([np.eye(others.size), -np.ones(others.size)])
    apart = weights @ covariance[np.ix_(both, both)] @ weights.T
    apart = (apart + apart.T) / 2.0
    scale = np.sqrt(np.maximum(np.diag(apart), 0.0))
    known = scale <= 1e-12 * max(float(scale.max()), 1e-300)
    if (over[known] > 0.0).any():
        return 0.0
    free = ~known
    if not free.any():
        return 1.0
    limits = -over[free] / scale[free]
    correlation = apart[np.ix_(free, free)] / np.outer(scale[free], scale[free])
    np.fill_diagonal(correlation, 1.0)
    if free.sum() == 1:
        from scipy.special import ndtr

        return float(ndtr(limits[0]))
    normal = multivariate_normal(cov=correlation, allow_singular=True, abseps=error, releps=error, seed=1)
    return float(min(max(normal.cdf(limits), 0.0), 1.0))
