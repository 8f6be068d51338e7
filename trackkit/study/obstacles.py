"""What the line must clear besides the tie ends, and where along the run the crew comes to it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Obstacles", "comes_to", "nearest_ends"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Tie ends whose distances differ by less are equally near: decimals of a metre.
_SAME = 9


@dataclass(frozen=True, eq=False)
class Obstacles:
    """What the line must clear besides the tie ends: a kerb, a sprinkler head, the ground between the rails.

    No stack stands on it. It lies under no one rail: the crew comes to it with the first of the tie ends
    nearest to it, so with the first end of the nearest tie, which is laid across both rails.

    Attributes
    ----------
    heights : ndarray, shape (draws, obstacles)
        Above the line's grade, as those of the tie ends [m].
    room : ndarray, shape (obstacles,)
        What the line has over each when it is set from it or lifted because of it [m], 0 or more.
    stations : ndarray, shape (obstacles,)
        [m]

    Raises
    ------
    ValueError
        If the arrays do not go together or a value cannot be used; it names every fault.
    """

    heights: Floats
    room: Floats
    stations: Floats

    def __post_init__(self) -> None:
        bad = []
        if self.heights.ndim != 2 or not np.isfinite(self.heights).all():
            bad.append(f"heights must be finite, of shape (draws, obstacles); got shape {self.heights.shape}")
        for name, values in (("room", self.room), ("stations", self.stations)):
            if values.shape != self.heights.shape[1:] or not np.isfinite(values).all():
                bad.append(f"{name} must be finite, one for each obstacle; got shape {values.shape}")
        if (self.room < 0).any():
            bad.append(f"room must not be negative; got {self.room.min():g} m")
        if bad:
            raise ValueError(f"obstacles cannot be used: {'; '.join(bad)}")


def nearest_ends(stations: Floats, beside: Floats) -> NDArray[np.bool_]:
    """Return which tie ends are nearest to each obstacle, along the run.

    Parameters
    ----------
    stations : ndarray, shape (ends,)
        Of the tie ends [m].
    beside : ndarray, shape (obstacles,)
        Of the obstacles [m].

    Returns
    -------
    ndarray of bool, shape (obstacles, ends)
        Both ends of the nearest tie; those of two ties where they are equally near.

    Examples
    --------
    >>> nearest_ends(np.array([0.0, 0.0, 0.5, 0.5]), np.array([0.4])).tolist()
    [[False, False, True, True]]
    """
    away = np.round(np.abs(beside[:, None] - stations), _SAME)
    return np.asarray(away == away.min(axis=1, keepdims=True))


def comes_to(stations: Floats, beside: Floats, order: Ints | None = None) -> Ints:
    """Return the tie end with which the crew comes to each obstacle: the first of those nearest to it.

    Parameters
    ----------
    stations, beside : ndarray
        As in `nearest_ends`.
    order : ndarray, shape (ends,), optional
        Tie ends as the crew comes to them. By default from head to tail, left before right: that is the end
        that it begins at when it sets the line from the obstacle.

    Returns
    -------
    ndarray of int, shape (obstacles,)

    Examples
    --------
    >>> comes_to(np.array([0.0, 0.0, 0.5, 0.5]), np.array([0.4, 0.1]), np.array([3, 2, 0, 1])).tolist()
    [3, 0]
    >>> comes_to(np.array([0.0, 0.0, 0.5, 0.5]), np.array([0.4, 0.1])).tolist()
    [2, 0]
    """
    order = np.arange(stations.size) if order is None else order
    return np.asarray(order[nearest_ends(stations, beside)[:, order].argmax(axis=1)])
