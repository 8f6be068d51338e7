"""Straight lines over given heights, on plain arrays: level, given grade, and least fill.

A line lies at or above every height it is given. ``heights`` are those the line must reach (the
ground plus whatever gap belongs under the track there). Contacts are the rows it rests on; with
their weights the line is a known combination of heights, from which doubt is carried on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from trackkit.layout.grounds import FloatArray

__all__ = ["Straight", "at_grade", "grades_within", "least_fill", "least_fill_through", "least_largest_fill"]

#: Stations closer than this to the centre count as lying on it [m].
_AT_CENTRE: Final = 1e-9
#: Rounding in comparing heights, relative to their size.
_ROUND: Final = 1e-13


@dataclass(frozen=True, slots=True)
class Straight:
    """A straight line as a combination of the heights it rests on.

    ``height at s = sum_c (at_weights[c] + (s - at) * grade_weights[c]) * heights[contacts[c]]``
    plus the same with the reference, plus ``(s - at)`` times a grade that was given.

    Attributes
    ----------
    at, height : float
        A station and the line's height there [m].
    grade : float
        Rise over horizontal distance, positive when it rises with the station.
    contacts : tuple of int
        Rows the line rests on.
    at_weights, grade_weights : tuple of float
        Share of each contact in the height at ``at``, and in the grade [1/m].
    reference : tuple of float
        Share of the reference in the height at ``at``, and in the grade [1/m]; (0, 0) without.
    limited : bool
        The grade stands at its limit.
    steps : int
        Times the contacts were looked for.
    """

    at: float
    height: float
    grade: float
    contacts: tuple[int, ...]
    at_weights: tuple[float, ...]
    grade_weights: tuple[float, ...]
    reference: tuple[float, float] = (0.0, 0.0)
    limited: bool = False
    steps: int = 0

    def height_at(self, stations: npt.ArrayLike) -> FloatArray:
        """Return the line's height at stations [m]."""
        return self.height + self.grade * (np.asarray(stations, dtype=float) - self.at)

    def weights(self, stations: npt.ArrayLike) -> FloatArray:
        """Return the share of each contact in the height at stations, shape (n, contacts)."""
        away = np.asarray(stations, dtype=float).reshape(-1, 1) - self.at
        return np.asarray(np.asarray(self.at_weights) + away * np.asarray(self.grade_weights))

    def reference_weights(self, stations: npt.ArrayLike) -> FloatArray:
        """Return the share of the reference in the height at stations, shape (n,)."""
        away = np.asarray(stations, dtype=float).reshape(-1) - self.at
        return self.reference[0] + away * self.reference[1]


def at_grade(stations: npt.ArrayLike, heights: npt.ArrayLike, grade: float) -> Straight:
    """Return the lowest line of the given grade that lies at or above every height.

    Examples
    --------
    >>> at_grade([0, 1, 2], [0.0, 0.3, 0.1], 0.0).height
    0.3
    """
    s = np.asarray(stations, dtype=float)
    h = np.asarray(heights, dtype=float)
    top = int(np.argmax(h - grade * s))
    return Straight(float(s[top]), float(h[top]), float(grade), (top,), (1.0,), (0.0,))


def least_fill(
    stations: npt.ArrayLike,
    heights: npt.ArrayLike,
    *,
    limit: float | tuple[float, float],
    centre: float | None = None,
) -> Straight:
    """Return the straight line at or above every height with the least total fill.

    With n tie ends the total fill is n times the line's height at their mean station, less a
    constant. So the line is lowest over that one station: it rests on the two corners of the
    upper hull left and right of it. These are found exactly by looking for the worst point of a
    trial line and taking it for a contact, until none is above (1 to 3 times, as a rule).

    Parameters
    ----------
    stations, heights : array, shape (n,)
        Where the line must reach at least how high [m].
    limit : float or (float, float)
        Greatest grade either way, or the lowest and the highest grade allowed.
    centre : float, optional
        Mean station of the tie ends [m], when ``stations`` also holds other points.

    Returns
    -------
    Straight
        Where many grades give the same fill (a hull corner at the mean station), the one
        nearest to level.

    Raises
    ------
    ValueError
        If every point lies on one side of ``centre`` and the grade is not limited.

    Examples
    --------
    >>> line = least_fill([0, 1, 2, 3], [0.0, 0.2, 0.1, 0.3], limit=0.5)
    >>> line.contacts, round(line.grade, 3)
    ((1, 3), 0.05)
    """
    s = np.asarray(stations, dtype=float)
    h = np.asarray(heights, dtype=float)
    low, high = limit if isinstance(limit, tuple) else (-limit, limit)
    at = float(np.add.reduce(s)) / s.size if centre is None else centre
    x = s - at
    left = int(np.where(x < -_AT_CENTRE, h, -np.inf).argmax())
    right = int(np.where(x > _AT_CENTRE, h, -np.inf).argmax())
    has_left, has_right = x[left] < -_AT_CENTRE, x[right] > _AT_CENTRE
    middle = np.abs(x) <= _AT_CENTRE
    if middle.any():
        corner = _corner_at_centre(x, h, middle, low, high, at)
        if corner is not None:
            return corner
    if not (has_left and has_right):
        return _limited(x, h, high if has_right else low, at, 1)
    # Values beyond the greatest height difference are rounding.
    slack = _ROUND * (1.0 + abs(float(h[left])) + abs(float(h[right])))
    steps = 0
    while steps < s.size + 2:
        steps += 1
        xl, xr, hl, hr = float(x[left]), float(x[right]), float(h[left]), float(h[right])
        grade = (hr - hl) / (xr - xl)
        over = h - grade * x
        top = int(over.argmax())
        if over[top] <= hl - grade * xl + slack:
            break
        if x[top] < 0:
            left = top
        else:
            right = top
    if not low <= grade <= high:
        return _limited(x, h, min(max(grade, low), high), at, steps)
    width = xr - xl
    return Straight(
        at,
        float(over[top]),
        grade,
        (left, right),
        (xr / width, -xl / width),
        (-1 / width, 1 / width),
        steps=steps,
    )


def _corner_at_centre(
    x: FloatArray, h: FloatArray, middle: npt.NDArray[np.bool_], low: float, high: float, at: float
) -> Straight | None:
    """Return the line over the highest point at the centre, if no other point rises above it."""
    top = int(np.where(middle, h, -np.inf).argmax())
    behind, ahead = x < -_AT_CENTRE, x > _AT_CENTRE
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (h - h[top]) / x
    lowest = np.where(ahead, slope, -np.inf)
    highest = np.where(behind, slope, np.inf)
    a, b = int(lowest.argmax()), int(highest.argmin())
    first, last = float(lowest[a]), float(highest[b])
    if max(first, low) > min(last, high):
        return None
    grade = min(max(0.0, first, low), last, high)
    value = float(h[top])
    if grade in (first, last):
        other = a if grade == first else b
        return Straight(
            at, value, grade, (top, other), (1.0, 0.0), (-1 / float(x[other]), 1 / float(x[other])), steps=1
        )
    return Straight(at, value, grade, (top,), (1.0,), (0.0,), limited=grade != 0.0, steps=1)


def _limited(x: FloatArray, h: FloatArray, grade: float, at: float, steps: int) -> Straight:
    if not np.isfinite(grade):
        raise ValueError(
            "every point lies on one side of centre, so the least fill has no end; state a finite grade limit"
        )
    over = h - grade * x
    top = int(over.argmax())
    return Straight(at, float(over[top]), grade, (top,), (1.0,), (0.0,), limited=True, steps=steps)


def least_fill_through(
    stations: npt.ArrayLike,
    heights: npt.ArrayLike,
    *,
    at: float,
    height: float,
    limit: float | tuple[float, float],
    centre: float,
) -> Straight:
    """Return the line through one given height that clears the others with the least total fill.

    Where no grade in the limit clears them all, the line that lies least deep: its deepest
    negative fill is as small as it can be.

    Parameters
    ----------
    stations, heights : array, shape (n,)
        Where the line should reach at least how high [m].
    at, height : float
        Station and height of the reference [m].
    limit : float or (float, float)
        Greatest grade either way, or the lowest and the highest grade allowed.
    centre : float
        Mean station of the tie ends [m].
    """
    s = np.asarray(stations, dtype=float)
    h = np.asarray(heights, dtype=float)
    low, high = limit if isinstance(limit, tuple) else (-limit, limit)
    x = s - at
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (h - height) / x
    lowest = np.where(x > _AT_CENTRE, slope, -np.inf)
    highest = np.where(x < -_AT_CENTRE, slope, np.inf)
    a, b = int(lowest.argmax()), int(highest.argmin())
    first, last = float(lowest[a]), float(highest[b])
    slack = _ROUND * (1.0 + abs(height))
    bottom, top = max(first, low), min(last, high)
    if bottom > top + slack:
        best = least_fill(s, h, limit=(low, high), centre=at)
        return Straight(
            at, height, best.grade, best.contacts, (0.0,) * len(best.contacts), best.grade_weights,
            reference=(1.0, -float(sum(best.grade_weights))), limited=best.limited, steps=best.steps + 1,
        )  # fmt: skip
    grade = bottom if centre > at else top
    if abs(centre - at) <= _AT_CENTRE:
        grade = min(max(0.0, bottom), top)
    if not np.isfinite(grade):
        raise ValueError("no point limits the grade on that side; state a finite grade limit")
    for contact, slope_there in ((a, first), (b, last)):
        if grade == slope_there:
            share = 1 / float(x[contact])
            return Straight(at, height, grade, (contact,), (0.0,), (share,), reference=(1.0, -share), steps=1)
    return Straight(at, height, grade, (), (), (), reference=(1.0, 0.0), limited=grade != 0.0, steps=1)


def grades_within(
    stations: npt.ArrayLike,
    heights: npt.ArrayLike,
    tie_stations: npt.ArrayLike,
    ground: npt.ArrayLike,
    *,
    largest: float,
) -> tuple[float, float] | None:
    """Return the lowest and highest grade at which no fill is larger than ``largest``.

    A line of grade g that just clears ``heights`` leaves the fills ``h_k - z_i + g (s_i - s_k)``
    and less; each pair of a high point k and a tie end i bounds g from one side. Exact.

    Parameters
    ----------
    stations, heights : array, shape (n,)
        What the line must clear [m].
    tie_stations, ground : array, shape (m,)
        Where fills are measured, and the ground there [m].
    largest : float
        Largest fill allowed [m].

    Returns
    -------
    (float, float) or None
        None when no straight line does it. The ends may be infinite (one tie).
    """
    away, fill = _pairs(stations, heights, tie_stations, ground)
    room = largest - fill
    if np.any(room[away == 0] < 0):
        return None
    low = np.max(room[away < 0] / away[away < 0], initial=-np.inf)
    high = np.min(room[away > 0] / away[away > 0], initial=np.inf)
    return (float(low), float(high)) if low <= high else None


def least_largest_fill(
    stations: npt.ArrayLike,
    heights: npt.ArrayLike,
    tie_stations: npt.ArrayLike,
    ground: npt.ArrayLike,
    *,
    limit: float | tuple[float, float],
) -> tuple[float, float]:
    """Return the grade within the limit that makes the largest fill smallest, and that fill [m].

    The largest fill is the highest of straight lines in the grade, which is the problem that
    `least_fill` solves.
    """
    away, fill = _pairs(stations, heights, tie_stations, ground)
    best = least_fill(-away, fill, limit=limit, centre=0.0)
    return best.grade, best.height


def _pairs(
    stations: npt.ArrayLike, heights: npt.ArrayLike, tie_stations: npt.ArrayLike, ground: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    s, h, t, z = (np.asarray(a, dtype=float) for a in (stations, heights, tie_stations, ground))
    return (t[:, None] - s[None, :]).ravel(), (h[None, :] - z[:, None]).ravel()


def interpolation(
    knots: Sequence[float] | FloatArray, stations: npt.ArrayLike
) -> tuple[npt.NDArray[np.intp], FloatArray]:
    """Return the stretch each station lies in, and how far along it (beyond 0..1 outside the ends)."""
    k = np.asarray(knots, dtype=float)
    s = np.asarray(stations, dtype=float)
    stretch = np.clip(np.searchsorted(k, s, side="right") - 1, 0, len(k) - 2)
    return stretch, (s - k[stretch]) / (k[stretch + 1] - k[stretch])
