"""The best start and the best spare height, with how well that is known."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trackkit.study.work import ExpectedWork

__all__ = ["BestSpare", "BestStart", "best_spare", "best_start"]

#: Spare heights in metres that differ by less are the same.
_SAME = 1e-9

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class BestStart:
    """The start with the least expected minutes, at one spare height.

    Attributes
    ----------
    start : int
        Tie end, or obstacle numbered on from the last tie end.
    minutes, minutes_se : float
        Expected minutes, and their standard error.
    next_best : int
        The start that comes second; the same one if there is no other.
    ahead, ahead_se : float
        By how many minutes it is ahead of the second, and the standard error of that, from the difference
        in each draw. Of many starts the one that comes out first does so partly by luck: ``ahead`` is a
        little too large.
    as_good : tuple of int
        Starts that may be as good: no more than two such standard errors behind it. It is one of them.
    """

    start: int
    minutes: float
    minutes_se: float
    next_best: int
    ahead: float
    ahead_se: float
    as_good: tuple[int, ...]


@dataclass(frozen=True)
class BestSpare:
    """The spare height with the least expected minutes, for one start.

    Attributes
    ----------
    start : int
        Tie end, or obstacle numbered on from the last tie end.
    spare : float
        Spare height [m]; of equals the smallest.
    minutes, minutes_se : float
        Expected minutes, and their standard error.
    saves, saves_se : float
        Minutes that it saves against no spare height, and the standard error of that, from the difference in
        each draw. Of many heights the one that comes out first does so partly by luck: ``saves`` is a
        little too large.
    as_good : tuple of float
        Spare heights that may be as good: no more than two standard errors behind it. It is one of them [m].
    stays, stays_without : float
        Chance that nothing has to be lifted with it, and with no spare height.
    at_end : bool
        Whether it is the largest that was tried: a larger one might be better still.
    """

    start: int
    spare: float
    minutes: float
    minutes_se: float
    saves: float
    saves_se: float
    as_good: tuple[float, ...]
    stays: float
    stays_without: float
    at_end: bool


def best_start(work: ExpectedWork, *, spare: float = 0.0) -> BestStart:
    """Return the start with the least expected minutes.

    Parameters
    ----------
    work : ExpectedWork
    spare : float
        Spare height, one of those that were tried [m].

    Raises
    ------
    ValueError
        If that spare height was not tried.
    """
    minutes = work.minutes[:, _spare(work, spare)]
    order = np.argsort(minutes.mean(axis=1), kind="stable")
    best, second = int(order[0]), int(order[min(1, len(order) - 1)])
    behind, errors = _behind(minutes, best)
    good = [int(work.starts[row]) for row in range(len(minutes)) if row == best or _near(behind, errors, row)]
    return BestStart(
        start=int(work.starts[best]),
        minutes=float(minutes[best].mean()),
        minutes_se=_error(minutes[best]),
        next_best=int(work.starts[second]),
        ahead=float(behind[second]),
        ahead_se=float(errors[second]),
        as_good=tuple(good),
    )


def best_spare(work: ExpectedWork, start: int) -> BestSpare:
    """Return the spare height with the least expected minutes for a start.

    Parameters
    ----------
    work : ExpectedWork
        With pieces by height, and 0 among its spare heights.
    start : int
        Tie end or obstacle, one of those that were tried.

    Raises
    ------
    ValueError
        If the start or no spare height was not tried, or no pieces were counted: then more is always better.
    """
    if not work.counted:
        raise ValueError("without pieces by height a spare height costs nothing: give expected_work a table")
    rows = np.flatnonzero(work.starts == start)
    if not len(rows):
        raise ValueError(f"start must be one of {work.starts.tolist()}; got {start}")
    row, none = int(rows[0]), _spare(work, 0.0)
    minutes, rising = work.minutes[row], np.argsort(work.spares, kind="stable")
    best = int(rising[np.argmin(minutes[rising].mean(axis=1))])
    behind, errors = _behind(minutes, best)
    good = [float(work.spares[i]) for i in rising.tolist() if i == best or _near(behind, errors, i)]
    return BestSpare(
        start=start,
        spare=float(work.spares[best]),
        minutes=float(minutes[best].mean()),
        minutes_se=_error(minutes[best]),
        saves=float(behind[none]),
        saves_se=float(errors[none]),
        as_good=tuple(good),
        stays=float(work.stays[row, best]),
        stays_without=float(work.stays[row, none]),
        at_end=best == int(rising[-1]) and len(rising) > 1,
    )


def _spare(work: ExpectedWork, spare: float) -> int:
    away = np.abs(work.spares - spare)
    if away.min() > _SAME:
        raise ValueError(f"a spare height of {spare:g} m was not tried; there are {work.spares.tolist()}")
    return int(away.argmin())


def _behind(minutes: Floats, best: int) -> tuple[Floats, Floats]:
    """Return the mean by which each row is behind the best one, and its standard error, draw by draw."""
    apart = minutes - minutes[best]
    return apart.mean(axis=1), np.array([_error(row) for row in apart])


def _error(values: Floats) -> float:
    return float(values.std(ddof=1)) / math.sqrt(len(values)) if len(values) > 1 else math.nan


def _near(behind: Floats, errors: Floats, row: int) -> bool:
    return bool(behind[row] <= 2.0 * errors[row])
