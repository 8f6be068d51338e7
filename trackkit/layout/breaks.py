"""Tie ends that stand too near a break in the ground, and the shift of the run that clears them.

A break (kerb, path edge, ditch) meets each rail at a station of its own when it crosses on a
diagonal. A box that reaches past a break hangs over a step down, and does not fit against a step up.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from trackkit.layout.grounds import SIDES, FloatArray

__all__ = ["clear_shift", "slant_of", "too_near"]

#: Two stations this close are the same: far below what a tape can show [m].
_SAME: Final = 1e-9


def slant_of(pair: tuple[float, float], width: float) -> float:
    """Return how much farther along the run a break lies for each metre to the right.

    Parameters
    ----------
    pair : (left station, right station)
        NaN where it does not cross that side; one that crosses one side only is taken square to the run.
    width : float
        Distance of the two support lines [m].

    Examples
    --------
    >>> slant_of((1.5, 1.25), 0.5), slant_of((1.5, float("nan")), 0.5)
    (-0.5, 0.0)
    """
    return float((pair[1] - pair[0]) / width) if np.isfinite(pair).all() else 0.0


def too_near(
    stations: FloatArray,
    breaks: Sequence[tuple[float, float]],
    *,
    half_box: float,
    half_width: float = 0.0,
    width: float = 1.0,
) -> list[tuple[int, str, float, float]]:
    """Return (tie index, side, break's station, distance) of tie ends that a box there would reach.

    Parameters
    ----------
    stations : array, shape (n,)
        Stations of the ties [m].
    breaks : sequence of (left station, right station)
        NaN where a break does not cross that side.
    half_box, half_width : float
        Half the length along the run and half the width of what stands under a tie [m]: a break that
        slants is nearer to one of its corners.
    width : float
        Distance of the two support lines [m].
    """
    found: list[tuple[int, str, float, float]] = []
    for pair in breaks:
        reach = half_box + half_width * abs(slant_of(pair, width))
        for side, place in zip(SIDES, pair, strict=True):
            away = np.abs(stations - place)
            found += [(int(i), side, place, float(away[i])) for i in np.flatnonzero(away < reach - _SAME)]
    return sorted(found)


def clear_shift(
    stations: FloatArray,
    breaks: Sequence[tuple[float, float]],
    *,
    half_box: float,
    half_width: float = 0.0,
    width: float = 1.0,
    low: float,
    high: float,
) -> float | None:
    """Return the smallest shift along the run that takes every tie end clear of every break.

    Exact: each tie end and break forbid an open interval of shifts, so the answer is 0, or an end
    of one of these intervals or of the range. Of two equally small ones the positive (towards the end mark).

    Parameters
    ----------
    stations : array, shape (n,)
        Stations of the ties as they lie now [m].
    breaks : sequence of (left station, right station)
        NaN where a break does not cross that side.
    half_box, half_width, width : float
        As in `too_near` [m].
    low, high : float
        Shifts between which the run still covers the shot [m].

    Returns
    -------
    float or None
        Shift [m], positive towards increasing station; None when no shift in the range does.

    Examples
    --------
    >>> ties = np.array([0.2, 1.8])
    >>> round(clear_shift(ties, [(1.9, 1.9)], half_box=0.25, low=-0.3, high=0.3), 3)
    -0.15
    """
    edges = np.array(
        [
            (place, half_box + half_width * abs(slant_of(pair, width)))
            for pair in breaks
            for place in pair
            if np.isfinite(place)
        ],
        dtype=float,
    ).reshape(-1, 2)
    centres = (edges[:, :1] - np.asarray(stations, dtype=float)[None, :]).ravel()
    reach = np.repeat(edges[:, 1], np.size(stations))
    candidates = np.concatenate([[0.0, low, high], centres - reach, centres + reach])
    candidates = candidates[(candidates >= low - _SAME) & (candidates <= high + _SAME)]
    free = [c for c in candidates if not np.any(np.abs(centres - c) < reach - _SAME)]
    return float(min(free, key=lambda c: (round(abs(c), 9), -c))) if free else None
