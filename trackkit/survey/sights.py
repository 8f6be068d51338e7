"""Lines of sight that are not quite level (collimation): whose, how long, and what that does to a rod.

A rod at distance d reads ``height of laser - height of ground + c d`` where c is the rise of the line of
sight. Where lasers.csv says where the laser stood, c is an unknown of the fit, one for each instrument.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.instruments import Instruments
from trackkit.survey.rows import Rows

__all__ = ["SIGHT", "sights_of", "with_sight"]

Array = NDArray[np.float64]

#: How the unknown slope of a level's line of sight is called, before the level's name.
SIGHT: Final = "line of sight of "


def sights_of(levels: pd.DataFrame, lasers: pd.DataFrame, width: float) -> pd.DataFrame:
    """Return for each rod the name of its line of sight, '' without one, and how long it is [m].

    NaN where the place of a peg is not known.
    """
    stood = lasers.drop_duplicates("laser").set_index("laser")
    own = stood.reindex(levels["laser"]).set_index(levels.index)
    across = levels["offset_m"].fillna(levels["side"].map({"left": -width / 2, "right": width / 2}))
    length = np.hypot(levels["station_m"] - own["station_m"], across - own["offset_m"])
    who = own["instrument"].where(own["instrument"].fillna("") != "", "the level")
    name = (SIGHT + who).where(own["station_m"].notna(), "")
    return pd.DataFrame({"name": name, "length": length}, index=levels.index)


def with_sight(
    rows: Rows, sights: pd.DataFrame, sd: Array, instruments: Instruments
) -> tuple[NDArray[np.intp], Array, Array]:
    """Return the columns of the lines of sight, how long they are, and the rods' sds.

    A sight to a peg is of unknown length: what it may be off by widens the reading instead.
    """
    length = sights["length"].to_numpy(dtype=float)
    there = (sights["name"] != "").to_numpy()
    known = there & np.isfinite(length)
    columns = np.full(len(sights), -1, dtype=np.intp)
    if known.any():
        columns[known] = rows.unknown("zero", sights.loc[known, "name"])
    off = np.hypot(instruments.collimation, instruments.collimation_sd) * instruments.longest_sight
    return columns, np.where(known, length, 0.0), np.where(there & ~known, np.hypot(sd, off), sd)
