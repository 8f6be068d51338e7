"""Distances taped along the slope, turned into horizontal stations.

A tape that lies on the ground measures more than the level distance: over a rise h in a taped
length a the station grows by sqrt(a^2 - h^2) only (Pythagoras).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.readings import Survey

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["has_taped", "levelled_out", "stations_from_tape"]

Array = NDArray[np.float64]
_TABLES = ("levels", "boards", "crosslevels")


def has_taped(survey: Survey) -> bool:
    """Return whether any station was taped along the slope."""
    return any(bool(getattr(survey, name)["along"].any()) for name in _TABLES)


def stations_from_tape(along: Array, height: Array) -> Array:
    """Return horizontal stations of points in order along a tape that starts at station 0.

    Parameters
    ----------
    along, height : array, shape (n,)
        Increasing distance on the tape, and height of the ground there [m].

    Examples
    --------
    >>> stations_from_tape(np.array([0.0, 5.0, 10.0]), np.array([0.0, 3.0, 3.0])).tolist()
    [0.0, 4.0, 9.0]
    """
    steps = np.diff(along) ** 2 - np.diff(height) ** 2
    level = np.concatenate([[0.0], np.cumsum(np.sqrt(np.maximum(steps, 0.0)))])
    if along.size < 2:
        return np.asarray(along, dtype=float)
    # the tape starts at the start mark; before the first reading the ground is taken to slope on
    stretch = int(np.clip(np.searchsorted(along, 0.0) - 1, 0, along.size - 2))
    share = -along[stretch] / (along[stretch + 1] - along[stretch])
    origin = level[stretch] + share * (level[stretch + 1] - level[stretch])
    return np.asarray(level - origin)


def levelled_out(survey: Survey, rough: Ground) -> Survey:
    """Return the survey with horizontal stations, from a first fit that took them as horizontal."""
    heights = np.mean([rough.height(rough.stations, side)[0] for side in rough.sides], axis=0)
    level = stations_from_tape(rough.stations, heights)

    def moved(tape: pd.Series[float]) -> Array:
        return np.interp(tape.to_numpy(dtype=float), rough.stations, level)

    levels, boards, crosslevels = (_moved(getattr(survey, name), moved) for name in _TABLES)
    return replace(survey, levels=levels, boards=boards, crosslevels=crosslevels)


def _moved(table: pd.DataFrame, move: Callable[[pd.Series[float]], Array]) -> pd.DataFrame:
    table = table.copy()
    taped = table["along"].to_numpy(dtype=bool)
    for column in ("station_m", "to_station_m"):
        if column in table and taped.any():
            table[column] = np.where(taped, move(table[column]), table[column])
    table["along"] = False
    return table
