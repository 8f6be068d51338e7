"""What is wrong with single rows of a pass: spikes, stretches that froze, and gaps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.survey.log.choices import LogRules

__all__ = ["Stretch", "frozen_rows", "gaps", "spikes", "stretches"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: The normal distribution's standard deviation over its median absolute deviation, 1 / Phi^-1(3/4).
MAD_TO_SD: Final = 1.482602218505602


@dataclass(frozen=True)
class Stretch:
    """A stretch of a pass: from where to where [m], and how many rows lie in it."""

    start: float
    end: float
    rows: int


def spikes(station: Array, slope: Array, board: float, rules: LogRules) -> Mask:
    """Return which rows are spikes: far off the running median, measured in running MADs.

    The median absolute deviation stands in for the standard deviation (F. R. Hampel, "The influence
    curve and its role in robust estimation", JASA 69, 1974, 383-393; from memory): half of the rows may
    be wild before it moves.

    Parameters
    ----------
    station : array, shape (n,)
        Increasing [m].
    slope : array, shape (n,)
        Finite [rad].
    board : float
        Distance between the feet [m].

    Returns
    -------
    array of bool, shape (n,)
    """
    n = station.size
    span = float(station[-1] - station[0]) if n else 0.0
    rows = rules.spike_window * board * (n - 1) / span if span > 0 else n
    window = 2 * int(np.clip(rows, rules.least_in_window, max(n - 1, 1)) // 2) + 1
    if n < rules.least_in_window:
        return np.zeros(n, dtype=bool)
    middle = running_median(slope, window)
    off = np.abs(slope - middle)
    scatter = MAD_TO_SD * running_median(off, window)
    usual = float(np.median(scatter))
    limit = np.maximum(rules.spike * np.maximum(scatter, 0.5 * usual), rules.least_spike)
    return np.asarray(off > limit)


def running_median(values: Array, window: int) -> Array:
    """Return the median of the ``window`` values around each one; the ends are mirrored.

    Examples
    --------
    >>> running_median(np.array([1.0, 9.0, 2.0, 3.0, 4.0]), 3).tolist()
    [1.0, 2.0, 3.0, 3.0, 4.0]
    """
    from scipy.ndimage import median_filter

    return np.asarray(median_filter(values, size=window, mode="reflect"))


def frozen_rows(station: Array, slope: Array, board: float, rules: LogRules) -> Mask:
    """Return which rows belong to stretches where the same value stands implausibly long.

    A run of equal values is taken as chance as long as its length, at the rate at which neighbours are equal
    elsewhere in the pass, is to be expected; a phone that shows tenths of a degree has many. A run must also
    move on by a window's length: a phone that stands still may well read the same.

    Parameters
    ----------
    station, slope : array, shape (n,)
        In the order in which they were logged [m], [rad]; not finite where the row dropped out.
    """
    frozen = np.zeros(slope.size, dtype=bool)
    there = np.flatnonzero(np.isfinite(slope))
    if there.size < rules.frozen_rows:
        return frozen
    values = slope[there]
    starts = np.flatnonzero(np.concatenate([[True], values[1:] != values[:-1]]))
    lengths = np.diff(np.append(starts, there.size))
    usual = lengths[lengths <= np.quantile(lengths, 0.99)]
    alike = 1.0 - usual.size / usual.sum() if usual.sum() else 1.0
    if alike >= 1.0 or starts.size == 1:
        return frozen
    chance = there.size * np.power(max(alike, 1e-9), lengths - 1.0)
    where = station[there]
    moved = np.abs(where[starts + lengths - 1] - where[starts])
    for run in np.flatnonzero((chance < rules.frozen_chance) & (lengths >= rules.frozen_rows)):
        if moved[run] >= board / max(rules.per_board):
            frozen[there[starts[run] : starts[run] + lengths[run]]] = True
    return frozen


def gaps(station: Array, longest: float) -> list[Stretch]:
    """Return where no row lies over more than ``longest`` [m]; ``station`` is increasing [m]."""
    wide = np.flatnonzero(np.diff(station) > longest)
    return [Stretch(float(station[i]), float(station[i + 1]), 0) for i in wide]


def stretches(station: Array, which: Mask, apart: float) -> list[Stretch]:
    """Return the marked rows as stretches; those that lie ``apart`` or nearer together [m] are one."""
    marked = np.sort(station[which])
    if not marked.size:
        return []
    parts = np.split(marked, np.flatnonzero(np.diff(marked) > apart) + 1)
    return [Stretch(float(part[0]), float(part[-1]), part.size) for part in parts]
