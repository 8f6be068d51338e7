"""What the least-fill line rests on over many grounds at once: one row of heights for each."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from trackkit.layout.grounds import FloatArray

__all__ = ["least_fill_contacts"]

Ints = npt.NDArray[np.int64]

#: As in `trackkit.layout.straight`, whose line this is.
_AT_CENTRE: Final = 1e-9
_ROUND: Final = 1e-13


def least_fill_contacts(
    stations: npt.ArrayLike, heights: npt.ArrayLike, *, limit: float | tuple[float, float], centre: float
) -> Ints:
    """Return which points the line of `trackkit.layout.straight.least_fill` rests on, ground by ground.

    Parameters
    ----------
    stations : array, shape (n,)
        Where the heights are [m].
    heights : array, shape (grounds, n)
        What the line must reach [m].
    limit, centre
        As in `trackkit.layout.straight.least_fill`.

    Returns
    -------
    array of int, shape (grounds, 2)
        Rows rested on, the lower first; -1 in the second column where it is only one.

    Raises
    ------
    ValueError
        If every point lies on one side of ``centre`` and the grade is not limited.

    Examples
    --------
    >>> heights = [[0.0, 0.2, 0.1, 0.3], [0.3, 0.0, 0.0, 0.0]]
    >>> least_fill_contacts([0, 1, 2, 3], heights, limit=0.5, centre=1.5).tolist()
    [[1, 3], [0, 3]]
    """
    s = np.asarray(stations, dtype=float)
    h = np.atleast_2d(np.asarray(heights, dtype=float))
    low, high = limit if isinstance(limit, tuple) else (-limit, limit)
    x = s - centre
    behind, ahead = x < -_AT_CENTRE, x > _AT_CENTRE
    found = np.full((len(h), 2), -1, dtype=np.int64)
    open_ = np.ones(len(h), dtype=bool)
    if not (behind | ahead).all():
        open_ = ~_at_centre(x, h, behind, ahead, low, high, found)
    if not (behind.any() and ahead.any()):
        grade = high if ahead.any() else low
        if open_.any() and not np.isfinite(grade):
            raise ValueError(
                "every point lies on one side of centre, so the least fill has no end; "
                "state a finite grade limit"
            )
        found[open_, 0] = (h[open_] - grade * x).argmax(axis=1) if open_.any() else 0
        return found
    rows = np.flatnonzero(open_)
    if rows.size:
        found[rows] = _between(x, h[rows], behind, ahead, low, high)
    return found


def _between(x: FloatArray, h: FloatArray, behind: Any, ahead: Any, low: float, high: float) -> Ints:
    """Take the worst point of a trial line for a contact, in every ground, until none is above."""
    each = np.arange(len(h))
    left = np.where(behind, h, -np.inf).argmax(axis=1)
    right = np.where(ahead, h, -np.inf).argmax(axis=1)
    slack = _ROUND * (1.0 + np.abs(h[each, left]) + np.abs(h[each, right]))
    grade = np.zeros(len(h))
    active = each
    for _ in range(x.size + 2):
        a, b, own = left[active], right[active], h[active]
        grade[active] = (own[np.arange(len(active)), b] - own[np.arange(len(active)), a]) / (x[b] - x[a])
        over = own - grade[active, None] * x
        top = over.argmax(axis=1)
        place = np.arange(len(active))
        above = over[place, top] > over[place, a] + slack[active]
        active, top = active[above], top[above]
        if not active.size:
            break
        before = x[top] < 0
        left[active] = np.where(before, top, left[active])
        right[active] = np.where(before, right[active], top)
    found = np.sort(np.column_stack([left, right]), axis=1)
    steep = (grade < low) | (grade > high)
    if steep.any():
        limited = np.clip(grade[steep], low, high)
        found[steep, 0] = (h[steep] - limited[:, None] * x).argmax(axis=1)
        found[steep, 1] = -1
    return found


def _at_centre(
    x: FloatArray, h: FloatArray, behind: Any, ahead: Any, low: float, high: float, found: Ints
) -> npt.NDArray[np.bool_]:
    """Enter the grounds whose line rests on the highest point at the centre; return which they are."""
    each = np.arange(len(h))
    top = np.where(behind | ahead, -np.inf, h).argmax(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (h - h[each, top][:, None]) / x
    lowest, highest = np.where(ahead, slope, -np.inf), np.where(behind, slope, np.inf)
    a, b = lowest.argmax(axis=1), highest.argmin(axis=1)
    first, last = lowest[each, a], highest[each, b]
    bottom, lid = np.maximum(first, low), np.minimum(last, high)
    rests = bottom <= lid
    grade = np.minimum(np.maximum(0.0, bottom), lid)
    other = np.where(grade == first, a, np.where(grade == last, b, -1))
    pair = np.sort(np.column_stack([top, other]), axis=1)
    single = other < 0
    pair[single] = np.column_stack([top, np.full(len(h), -1)])[single]
    found[rests] = pair[rests]
    return np.asarray(rests)
