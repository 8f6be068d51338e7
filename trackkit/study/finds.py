"""Where the crew finds out that a line is too low, over one ground."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from trackkit.study.obstacles import comes_to
from trackkit.study.pace import laying_order

__all__ = ["finds"]

Floats = NDArray[np.float64]


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

    Raises
    ------
    ValueError
        If the arrays do not go together or a value cannot be used; it names every fault. As
        `trackkit.study.pace.laying_order` for start and order.

    Examples
    --------
    >>> finds([0.0, 0.0, 0.05], 0.01, 0, room=[0.01, 0.01, 0.02], touch=0.0,
    ...       stations=[0.0, 1.0], beside=[0.8]).round(3).to_numpy().tolist()
    [[2.0, 1.0, 0.06]]
    """
    high, over = np.asarray(heights, dtype=float), np.asarray(room, dtype=float)
    along, off = np.asarray(stations, dtype=float), np.asarray(beside, dtype=float)
    _check(high, over, along, off, line, touch)
    turns = laying_order(along, start, order)
    at = np.concatenate([np.arange(len(along)), comes_to(along, off, turns)])
    turn, up = np.argsort(turns)[at], high + over - line
    found = np.flatnonzero(high > line + touch)
    passed = (turn <= turn[found][:, None]) & (high <= line + touch)
    asked = np.where(passed, up, -np.inf).max(axis=1, initial=-np.inf)
    return pd.DataFrame({"thing": found, "end": at[found], "lift_m": np.maximum(up[found], asked)})


def _check(high: Floats, over: Floats, along: Floats, off: Floats, line: float, touch: float) -> None:
    """Raise a ValueError that names every fault."""
    if along.ndim != 1 or off.ndim != 1 or not high.shape == over.shape == (along.size + off.size,):
        raise ValueError(
            f"there must be one height and one room for each of {along.size} tie ends and {off.size} "
            f"obstacles; got {high.shape} and {over.shape}"
        )
    given: dict[str, Floats | float] = {
        "heights": high,
        "line": line,
        "room": over,
        "touch": touch,
        "stations": along,
        "beside": off,
    }
    bad = [f"{name} must be finite" for name, values in given.items() if not np.isfinite(values).all()]
    for name, values in (("room", over), ("touch", np.array([touch]))):
        if (values < 0).any():
            bad.append(f"{name} must not be negative; got {values.min():g} m")
    if (np.diff(along) < 0).any():
        bad.append("stations must run from head to tail")
    if bad:
        raise ValueError(f"what is too high cannot be told: {'; '.join(bad)}")
