"""Where the crew finds out that a line is too low, over one ground."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from trackkit.study.obstacles import comes_to
from trackkit.study.pace import laying_order

__all__ = ["finds"]


def finds(
    heights: ArrayLike,
    line: float,
    start: int,
    *,
    room: ArrayLike,
    touch: float,
    stations: ArrayLike,
    beside: ArrayLike = (),
    order: str = "outward",
) -> pd.DataFrame:
    """Return what is too high for a line, where the crew comes to it, and how far the line must go up.

    Each find by itself, as if what is too high before it had not been there. The line goes up until there is
    room over it, and over all that was passed and let it lie; see `trackkit.study.wrong_start.expected_work`.

    Parameters
    ----------
    heights : array_like, shape (ends + obstacles,)
        Tie ends first, then what else the line must clear, above the line's grade [m].
    line : float
        Height of the line above its grade [m].
    start : int
        Tie end that the crew starts at.
    room : array_like, shape (ends + obstacles,)
        What the line must have over each once it is lifted [m]; for a tie end the gap.
    touch : float
        What may be higher than the line by so much before anything is done [m].
    stations : array_like, shape (ends,)
        Of the tie ends, from head to tail, left before right [m].
    beside : array_like, shape (obstacles,)
        Stations of the obstacles [m].
    order : str
        One of `trackkit.study.pace.ORDERS`.

    Returns
    -------
    DataFrame
        One row a find: thing (its place in heights), end (tie end that the crew is at), lift_m.

    Examples
    --------
    >>> finds([0.0, 0.0, 0.05], 0.01, 0, room=[0.01, 0.01, 0.02], touch=0.0,
    ...       stations=[0.0, 1.0], beside=[0.8]).round(3).to_numpy().tolist()
    [[2.0, 1.0, 0.06]]
    """
    high, over = np.asarray(heights, dtype=float), np.asarray(room, dtype=float)
    along, off = np.asarray(stations, dtype=float), np.asarray(beside, dtype=float)
    turns = laying_order(along, start, order)
    at = np.arange(len(along))
    if len(off):
        at = np.concatenate([at, comes_to(along, off, turns)])
    if not high.shape == over.shape == at.shape:
        raise ValueError(
            f"there must be one height and one room for each of {len(along)} tie ends and {len(off)} "
            f"obstacles; got {high.shape} and {over.shape}"
        )
    turn, up = np.argsort(turns)[at], high + over - line
    found = np.flatnonzero(high > line + touch)
    passed = (turn <= turn[found][:, None]) & (high <= line + touch)
    asked = np.where(passed, up, -np.inf).max(axis=1, initial=-np.inf)
    return pd.DataFrame({"thing": found, "end": at[found], "lift_m": np.maximum(up[found], asked)})
