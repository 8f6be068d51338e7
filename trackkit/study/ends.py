"""Tie ends as plain arrays: checked, and numbered by the support that they are on."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["along_the_run", "tie_ends"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def along_the_run(stations: ArrayLike, support: ArrayLike, n: int) -> tuple[Floats, Ints]:
    """Return the stations of n tie ends, and the support of each numbered from 0.

    Raises
    ------
    ValueError
        If there is not one of each, or the stations don't run from head to tail.
    """
    along, places = np.asarray(stations, dtype=float), np.asarray(support)
    if along.shape != (n,) or places.shape != (n,) or not n:
        raise ValueError(
            f"there must be one station and one support for each of {n} tie ends; "
            f"got {along.shape} and {places.shape}"
        )
    if not np.isfinite(along).all() or (np.diff(along) < 0).any():
        raise ValueError("stations must be finite and run from head to tail")
    return along, np.unique(places, return_inverse=True)[1].astype(np.int64)


def tie_ends(chosen: ArrayLike, n: int, name: str, *, obstacles: int = 0) -> Ints:
    """Return tie ends given by number, or obstacles numbered on from the last of n tie ends.

    Raises
    ------
    ValueError
        If there are none such.
    """
    ends, above = np.atleast_1d(np.asarray(chosen)), n + obstacles
    whole = np.issubdtype(ends.dtype, np.integer)
    if ends.ndim != 1 or not whole or (ends < 0).any() or (ends >= above).any():
        more = f" or obstacles from {n} to {above - 1}" if obstacles else ""
        raise ValueError(f"{name} must be tie ends from 0 to {n - 1}{more}; got {chosen!r}")
    return ends.astype(np.int64)
