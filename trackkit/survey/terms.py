"""What all kinds of readings have in common as linear rows: labels, own sds, and the surface at a station."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.grid import Grid

__all__ = ["labels_of", "or_default", "surface_terms"]

Array = NDArray[np.float64]


def or_default(own: pd.Series[float], default: float | Array) -> Array:
    """Return readings' own standard deviations, the default where they have none."""
    given = np.asarray(own, dtype=float)
    return np.where(np.isfinite(given), given, default)


def labels_of(frame: pd.DataFrame, kind: str, **columns: Any) -> dict[str, Any]:
    """Return the labels of rows: what the reading is called, its kind, and others as given."""
    if "reading" in frame:
        names = frame["reading"].to_numpy()
    else:
        names = (frame["file"].astype(str) + " row " + frame["row"].astype(str)).to_numpy()
    return {"reading": names, "kind": kind, **columns}


def surface_terms(
    grid: Grid, station: pd.Series[float], side: pd.Series[str], what: str = "surface"
) -> tuple[list[tuple[NDArray[np.intp], Array]], NDArray[np.intp]]:
    """Return the terms of the surface (or of ``what``) at stations, and the columns of the slope there."""
    at = np.asarray(station, dtype=float)
    node = grid.node(at)
    which = np.array([grid.side_index(name) for name in side], dtype=np.intp)
    off = at - grid.stations[node]
    slope = grid.column(node, which, "slope")
    terms = [(grid.column(node, which, what), np.ones(at.size))]
    moved = np.abs(off) > 1e-9
    if moved.any():
        terms.append((np.where(moved, slope, -1), off / grid.scale))
    return terms, slope
