"""How well the heights of the ground are known against each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["sd_against_best"]

Array = NDArray[np.float64]

#: Points asked for at a time: what it takes grows with their square.
AT_ONCE = 100


def sd_against_best(ground: Ground, stations: Array, side: str) -> Array:
    """Return the standard deviation of heights against the reading place known best.

    What all heights share, such as a doubtful datum, drops out: a track lies level over ground whose
    height is known to nobody.

    Parameters
    ----------
    ground : Ground
    stations : array, shape (n,)
        [m]
    side : str

    Returns
    -------
    array, shape (n,)
        [m]
    """
    places = [(float(at), name) for name in ground.sides for at in ground.stations]
    best = places[int(np.argmin(np.diag(ground.covariance(places))))]
    found = []
    for start in range(0, len(stations), AT_ONCE):
        some = [(float(at), side) for at in stations[start : start + AT_ONCE]]
        joint = ground.covariance([best, *some])
        found.append(np.diag(joint)[1:] + joint[0, 0] - 2.0 * joint[0, 1:])
    return np.asarray(np.sqrt(np.maximum(np.concatenate(found), 0.0)))
