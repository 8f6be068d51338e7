"""How large an error in a reading must be to be noticed, and what one that is not does to the heights.

A reading that nothing checks may be wrong by any amount. One that others check is noticed only from some
size on: the better it is checked, the smaller (W. Baarda, "A testing procedure for use in geodetic networks",
Netherlands Geodetic Commission, 1968; formulas from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.points import Point
from trackkit.survey.significance import critical_w

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["POWER", "detectable_errors", "influence", "least_noticed", "limits", "unnoticed_effects"]

Array = NDArray[np.float64]

#: An error of the size that is told is noticed in this share of surveys (Baarda's choice).
POWER: Final = 0.8
#: Readings with less redundancy are not checked at all.
UNCHECKED: Final = 1e-6
#: A height that follows a metre of error by less than this is not moved by it [m].
MOVED: Final = 1e-9


def least_noticed(critical: float, power: float = POWER) -> float:
    """Return how many standard deviations of its residual's share an error must have to be noticed so often.

    Parameters
    ----------
    critical : float
        The test's limit for w.
    power : float
        Share of cases in which it is noticed, between 0 and 1. That chance throws the residual over the limit
        on the other side is left out: below 1e-5.

    Examples
    --------
    >>> from scipy.special import ndtri
    >>> round(least_noticed(float(ndtri(1 - 0.001 / 2))), 4)
    4.1321
    """
    from scipy.special import ndtri

    if not 0.0 < power < 1.0:
        raise ValueError(f"power must lie between 0 and 1, got {power}")
    return critical + float(ndtri(power))


def detectable_errors(ground: Ground, *, power: float = POWER) -> pd.DataFrame:
    """Return from which size on an error in each reading would be noticed.

    By the same test that calls readings doubtful, one survey in 20 without a misreading giving an alarm.

    Parameters
    ----------
    ground : Ground
    power : float
        See `least_noticed`.

    Returns
    -------
    DataFrame
        One row a reading, in the order of ``ground.residuals``: reading, kind, noticed_m (an error so large
        is noticed with that chance; inf where nothing checks it), by ('readings', 'smoothness' or 'nothing':
        what would notice it). Errors of an angle count as the rise over its board.
    """
    table = ground.residuals
    delta = np.array([least_noticed(limit, power) for limit in limits(ground)])
    share = table["redundancy"].to_numpy(dtype=float)
    checked = share > UNCHECKED
    size = delta * table["sd_m"].to_numpy(dtype=float) / np.sqrt(np.where(checked, share, 1.0))
    return pd.DataFrame(
        {
            "reading": table["reading"],
            "kind": table["kind"],
            "noticed_m": np.where(checked, size, np.inf),
            "by": table["checked"].where(checked, "nothing"),
        }
    )


def limits(ground: Ground) -> Array:
    """Return the w from which on each reading is called doubtful, in the order of ``ground.residuals``."""
    counts = ground.setting.observations.table["counts"].to_numpy(dtype=bool)
    readings = int(counts.sum())
    behind = np.full(readings, np.inf) if ground.sd_checks is None else ground.sd_checks[counts]
    known, which = np.unique(behind, return_inverse=True)
    found = [critical_w(ground.setting, ground.fitted, readings, float(checks)) for checks in known]
    return np.array(found)[which]


def influence(ground: Ground, points: Sequence[Point]) -> Array:
    """Return by how much the height of each point changes for each metre of error in a reading.

    The ground's roughness is taken as it was found. Times `detectable_errors` it is what an error does that
    would just not be noticed (external reliability).

    Parameters
    ----------
    ground : Ground
    points : sequence of points
        (station, side), or a peg's name; heights above the datum.

    Returns
    -------
    array, shape (readings, points)
        In the order of ``ground.residuals``.
    """
    counts = ground.setting.observations.table["counts"].to_numpy(dtype=bool)
    return np.asarray(ground.heights.influence(points)[counts])


def unnoticed_effects(
    ground: Ground, points: Sequence[Point], weights: Array, *, power: float = POWER
) -> pd.DataFrame:
    """Return what an error that would just not be noticed could do to several combinations of heights.

    Parameters
    ----------
    ground : Ground
    points : sequence of Point, length n
    weights : array, shape (m, n)
        Each row is one thing asked about, such as a fill: its share in the height of each point.
    power : float
        See `least_noticed`.

    Returns
    -------
    DataFrame
        One row a thing asked about: reading (whose error does most), noticed_m (from where on it is noticed),
        effect_m (what an error of that size does, without sign). Infinite, with the reading that comes first,
        where a reading that nothing checks moves it at all.
    """
    found = detectable_errors(ground, power=power)
    moved = np.abs(influence(ground, points) @ np.atleast_2d(np.asarray(weights, dtype=float)).T)
    sizes = found["noticed_m"].to_numpy(dtype=float)
    effect = np.where(moved > MOVED, moved * np.where(moved > MOVED, sizes[:, None], 0.0), 0.0)
    worst = effect.argmax(axis=0)
    return pd.DataFrame(
        {
            "reading": found["reading"].to_numpy()[worst],
            "noticed_m": sizes[worst],
            "effect_m": effect[worst, np.arange(effect.shape[1])],
        }
    )
