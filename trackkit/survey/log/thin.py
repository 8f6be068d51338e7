"""The rows of one pass thinned to board readings: means over windows of distance, and what they are worth.

A window is an even fraction of the board long and its middle lies on a whole multiple of its length, so that
the feet of all readings, of all passes with one board, stand on one row of stations::

    stations   |   |   |   |   |   |   |   |   |   |        step = board / per_board
    board          o---------------o                        feet on stations
    window                 [---]                            rows whose middle lies here

The angle changes within a window as the ground bends. So a reading is not the mean itself but the value
in the middle of the quadratic whose means over three neighbouring windows are those that were read: exact
where the ground is a cubic, however unevenly the rows lie. With eight windows to a board this adds a
twelfth to the scatter of a reading and nothing to that of a height difference.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.survey.log.choices import LogRules
from trackkit.survey.log.noise import low_frequency_noise

__all__ = ["Thinned", "thin"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Most bins to a window in which the noise is judged, and rows that a bin should hold (choices).
_BINS: Final = 8
_ROWS_PER_BIN: Final = 2.0
#: A window filled less than this is joined to its neighbour (a choice).
_HALF: Final = 0.5
#: No mean is worth more than this [rad]: a thousandth of a degree (a choice).
FINEST: Final = math.radians(0.001)


@dataclass(frozen=True)
class Thinned:
    """Board readings of a pass.

    Attributes
    ----------
    near, far : array, shape (n,)
        Stations of the feet [m].
    slope : array, shape (n,)
        Rise over run, far end higher positive.
    sd : array, shape (n,)
        Its standard deviation, so that neighbours may be taken as independent; NaN where the rows
        are too few to say.
    travelled : array, shape (n,)
        Mean of ``travelled`` of the rows.
    first, last : array of int, shape (n,)
        First and last row that went in.
    window : float
        Length of a window [m]; 0 where each station is a reading of its own.
    """

    near: Array
    far: Array
    slope: Array
    sd: Array
    travelled: Array
    first: Indices
    last: Indices
    window: float


def thin(
    station: Array, slope: Array, travelled: Array, row: Indices, board: float, rules: LogRules
) -> Thinned:
    """Return the board readings that the sound rows of one pass become.

    Parameters
    ----------
    station : array, shape (n,)
        Where the middle of the board was, increasing [m].
    slope : array, shape (n,)
        Tangent of the angle, as it was read.
    travelled : array, shape (n,)
        How far into the pass [m or s].
    row : array of int, shape (n,)
    board : float
        Distance between the feet [m].
    """
    apart = np.diff(station)
    apart = apart[apart > 1e-9]
    usual = float(np.median(apart)) if apart.size else math.inf
    fine = [k for k in rules.per_board if board / k >= rules.rows_per_window * usual]
    if not fine:
        return _each_station(station, slope, travelled, row, board)
    return _windows(station, slope, travelled, row, board, fine[0], usual)


def _each_station(station: Array, slope: Array, travelled: Array, row: Indices, board: float) -> Thinned:
    at, which = np.unique(np.round(station, 6), return_inverse=True)
    count = np.bincount(which)
    first, last = _ends(row, which, at.size)
    return Thinned(
        at - board / 2, at + board / 2, np.bincount(which, slope) / count, np.full(at.size, np.nan),
        np.bincount(which, travelled) / count, first, last, 0.0,
    )  # fmt: skip


def _windows(
    station: Array, slope: Array, travelled: Array, row: Indices, board: float, per_board: int, usual: float
) -> Thinned:
    step = board / per_board
    per_window = int(np.clip(step / (_ROWS_PER_BIN * usual), 1, _BINS))
    size = step / per_window
    lowest = math.floor(station[0] / step + 0.5)
    bins = ((station - (lowest - 0.5) * step) / size).astype(np.intp)
    n = int(bins[-1]) // per_window + 1
    count = np.bincount(bins, minlength=n * per_window).astype(float)
    filled = count > 0

    def mean(values: Array) -> Array:
        return np.asarray(np.bincount(bins, values, minlength=count.size) / np.where(filled, count, np.nan))

    level = mean(slope)
    noise = low_frequency_noise(level, size, board)
    label = _joined(np.arange(count.size) // per_window, filled, per_window)
    # moments about the middle of the pass: a window's bins count alike, however long the board stood in one
    middle = float(station.mean())
    first, second = mean(station - middle), mean((station - middle) ** 2)
    kept, which = np.unique(label[filled], return_inverse=True)
    share = np.bincount(which).astype(float)
    averages = [np.bincount(which, each[filled]) / share for each in (level, first, second, mean(travelled))]
    centre = (lowest + kept) * step
    value = _in_the_middle(kept, centre - middle, *averages[:3])
    sd = np.sqrt(noise / (share * size)) if math.isfinite(noise) else np.full(kept.size, np.nan)
    rows = _ends(row, np.searchsorted(kept, label[bins]), kept.size)
    half = per_board // 2
    return Thinned(
        (lowest + kept - half) * step, (lowest + kept + half) * step, value, np.maximum(sd, FINEST),
        averages[3], *rows, step,
    )  # fmt: skip


def _joined(window: Indices, filled: NDArray[np.bool_], per_window: int) -> Indices:
    """Return the window that each bin counts to: a poorly filled one joins a neighbour that is not."""
    n = int(window[-1]) + 1
    share = np.bincount(window[filled], minlength=n) / per_window
    good = share >= _HALF
    after, before = np.append(good[1:], False), np.insert(good[:-1], 0, False)
    bins = np.arange(window.size)
    centre = (np.bincount(window[filled], bins[filled], minlength=n)) / np.maximum(share * per_window, 1.0)
    late = centre >= np.arange(n) * per_window + (per_window - 1) / 2
    to = np.arange(n)
    poor = (share > 0) & ~good
    to[poor & after & (late | ~before)] += 1
    to[poor & before & ~(after & (late | ~before))] -= 1
    return np.asarray(to[window])


def _in_the_middle(kept: Indices, centre: Array, mean: Array, first: Array, second: Array) -> Array:
    """Return the value in the middle of each window of the quadratic through the means of three windows."""
    value = mean.copy()
    runs = np.split(np.arange(kept.size), np.flatnonzero(np.diff(kept) > 2) + 1)
    for run in runs:
        if run.size < 3:
            continue
        left = np.clip(run - 1, run[0], run[-1] - 2)
        three = left[:, None] + np.arange(3)
        moved = first[three] - centre[run][:, None]
        square = second[three] - 2 * centre[run][:, None] * first[three] + centre[run][:, None] ** 2
        design = np.stack([np.ones_like(moved), moved, square], axis=-1)
        value[run] = np.linalg.solve(design, mean[three][..., None])[:, 0, 0]
    return value


def _ends(row: Indices, which: Indices, n: int) -> tuple[Indices, Indices]:
    """Return the smallest and largest row of each of n groups."""
    order = np.lexsort((row, which))
    starts = np.searchsorted(which[order], np.arange(n))
    ends = np.append(starts[1:], which.size) - 1
    return row[order][starts], row[order][ends]
