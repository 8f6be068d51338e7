"""Which tie end governs the line: with uncertain readings a chance for each, not a place."""

from __future__ import annotations

import numpy as np
import pandas as pd

from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import SIDES, GroundLike

__all__ = ["governing_chances"]


def governing_chances(
    ground: GroundLike, line: FinishedLine, *, draws: int = 10_000, seed: int = 1
) -> pd.DataFrame:
    """Return the chance of every tie end to be the highest above the line's own shape.

    On a level line that is the highest ground. The line's grade is taken as it is.

    Parameters
    ----------
    ground : GroundLike
    line : FinishedLine
    draws : int
        A chance p is known to sqrt(p (1 - p) / draws): 0.5 % at most by default.
    seed : int
        Of the draws: the same input gives the same chances.

    Returns
    -------
    DataFrame
        tie, side, station_m, chance; one row a tie end, left before right. Equally high ends in
        one draw (a flat slab) are counted as the first of them.
    """
    points = line.run.tie_points()
    stations = np.repeat(line.run.ties["station_m"].to_numpy(dtype=float), 2)
    above = ground.draw(points, draws, seed) - line.height(stations)
    wins = np.bincount(np.argmax(above, axis=1), minlength=len(points))
    return pd.DataFrame(
        {
            "tie": np.repeat(line.run.ties["tie"].to_numpy(), 2),
            "side": list(SIDES) * len(line.run.ties),
            "station_m": stations,
            "chance": wins / draws,
        }
    )
