"""Rods: two of them against each other, and what it does if one leans."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.survey.instruments.sds import Instruments
from trackkit.survey.instruments.verdict import InstrumentCheck

__all__ = ["lean_for", "read_high", "rod_zero"]

#: Two rods may differ by so much before it matters [m].
ROD_LIMIT: Final = 0.001


def rod_zero(
    first: ArrayLike, second: ArrayLike, *, rod_sd: float | None = None, limit: float = ROD_LIMIT
) -> InstrumentCheck:
    """Return how much more a second rod reads than the first on the same points from the same laser.

    A worn foot, or a target clamped a little off. With one rod for everything it does not matter.

    Parameters
    ----------
    first, second : array, shape (n,)
        Readings on the same points [m].
    rod_sd : float, optional
        Standard deviation of one reading [m]; by default that of `Instruments`.
    limit : float
        [m]: 1 mm, guess.

    Raises
    ------
    ValueError
        If there is no pair, or a reading has no mate.
    """
    one, other = (np.atleast_1d(np.asarray(rod, dtype=float)) for rod in (first, second))
    if one.shape != other.shape or not one.size:
        raise ValueError(
            f"every reading of one rod needs its mate of the other; got {one.size} and {other.size}"
        )
    sd = Instruments.rod_sd if rod_sd is None else rod_sd
    return InstrumentCheck(
        what="second rod against the first",
        value=float((other - one).mean()),
        sd=sd * math.sqrt(2.0 / one.size),
        limit=limit,
        basis="guess",
        dof=one.size - 1,
        do="use one rod for everything, or take the difference off the second one's readings",
    )


def read_high(rod: ArrayLike, lean: ArrayLike) -> NDArray[np.float64]:
    """Return by how much a rod that leans reads too much [m].

    Parameters
    ----------
    rod : array or float
        Reading [m].
    lean : array or float
        From upright [rad].

    Examples
    --------
    >>> [round(1000 * float(read_high(2.0, math.radians(degrees))), 2) for degrees in (1, 2, 3)]
    [0.3, 1.22, 2.74]
    """
    read, angle = np.asarray(rod, dtype=float), np.asarray(lean, dtype=float)
    return np.asarray(read * (1.0 - np.cos(angle)) / np.cos(angle))


def lean_for(rod: float, error: float) -> float:
    """Return how far a rod may lean for its reading to be so much too large [rad].

    Raises
    ------
    ValueError
        If the reading is not above 0, or the error negative.
    """
    if not rod > 0 or error < 0:
        raise ValueError(f"rod must be above 0 and error not negative; got {rod} and {error} m")
    return math.acos(rod / (rod + error))
