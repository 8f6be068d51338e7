"""The other sense of reference: the point that heights count from, which changes no fill.

A height is a difference to the datum, so that its doubt grows with the distance from it. A fill is a
difference between two points of the ground: the datum drops out of it, and of its doubt.
(JCGM 100:2008, H.3, shows the same for a calibration line whose reference temperature is moved.)
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.layout.doubt import fill_model
from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import GroundLike, Point

__all__ = ["compare_datums", "reduced_to"]

Array = NDArray[np.float64]


def reduced_to(mean: Array, covariance: Array, datum: int) -> tuple[Array, Array]:
    """Return heights counted from one of their own points, and their covariance.

    Parameters
    ----------
    mean, covariance : array, shape (n,) and (n, n)
        Heights above any datum [m], [m²].
    datum : int
        Which of them is to be 0.

    Returns
    -------
    mean, covariance : array
        The datum's own row and column are 0: it is 0 by agreement, not by luck.

    Examples
    --------
    >>> mean, covariance = reduced_to(np.array([1.0, 3.0]), np.diag([1.0, 4.0]), 0)
    >>> mean.tolist(), covariance.tolist()
    ([0.0, 2.0], [[0.0, 0.0], [0.0, 5.0]])
    """
    weights = np.eye(mean.size)
    weights[:, datum] -= 1.0
    return weights @ mean, weights @ covariance @ weights.T


def compare_datums(ground: GroundLike, line: FinishedLine, datums: Sequence[Point]) -> pd.DataFrame:
    """Return heights and fills at the tie ends, with their standard deviations, counted from several datums.

    Parameters
    ----------
    ground : GroundLike
    line : FinishedLine
        Set from what it rests on; a rail's given height stays where it is, above the job's own datum.
    datums : sequence of Point
        Points of the ground, or pegs.

    Returns
    -------
    DataFrame
        One row a datum and tie end: datum (0, 1, ... as they were given), tie, side, station_m, height_m,
        height_sd_m (which hang on the datum), fill_m, fill_sd_m (which do not, but for rounding; worked out
        from these heights). The fill's doubt is that of the readings alone, without track laid sideways.
    """
    model = fill_model(ground, line.run, line)
    points = tuple(dict.fromkeys([*model.points, *datums]))
    # the job's own datum is a point too, at 0 and beyond doubt: a rail's given height counts from it
    mean = np.append(ground.mean(list(points)), 0.0)
    covariance = np.pad(np.asarray(ground.covariance(list(points))), (0, 1))
    jacobian = np.pad(model.jacobian, ((0, 0), (0, len(mean) - len(model.points))))
    jacobian[:, -1] = -jacobian.sum(axis=1)
    # what of a fill is no height of the ground: gap, grade, undersides
    constant = model.fills - jacobian @ mean
    ends = [points.index(end) for end in line.run.tie_points()]
    ties = line.run.ties
    tables = []
    for number, datum in enumerate(datums):
        heights, spread = reduced_to(mean, covariance, points.index(datum))
        fills = jacobian @ heights + constant
        fill_spread = jacobian @ spread @ jacobian.T
        tables.append(
            pd.DataFrame(
                {
                    "datum": number,
                    "tie": np.repeat(ties["tie"].to_numpy(), 2),
                    "side": ["left", "right"] * len(ties),
                    "station_m": np.repeat(ties["station_m"].to_numpy(dtype=float), 2),
                    "height_m": heights[ends],
                    "height_sd_m": np.sqrt(np.maximum(np.diag(spread)[ends], 0.0)),
                    "fill_m": fills,
                    "fill_sd_m": np.sqrt(np.maximum(np.diag(fill_spread), 0.0)),
                }
            )
        )
    return pd.concat(tables, ignore_index=True)
