"""What has which part in the doubt of heights: each reading's scatter, what readings share, unread ground.

Scatter is each reading's own and averages out over many. What is known beforehand of an instrument or a peg
is shared by all readings that hang on it: more of them leave it as large as it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.layout.grounds import Point
from trackkit.survey.ground import Ground
from trackkit.survey.rows import Observations
from trackkit.survey.sights import SIGHT

__all__ = ["SHARED", "parts_of"]

Array = NDArray[np.float64]

#: What readings share: zero errors of angle instruments, slopes of lines of sight, zero errors wandering
#: along logs, given heights of pegs.
SHARED: Final = ("zero", "sight", "drift", "pegs")


def parts_of(
    ground: Ground, points: Sequence[Point], *, likely: Sequence[tuple[float, Ground]] = ()
) -> dict[str, Array]:
    """Return what the covariance of points is made of.

    Each row of a linear fit that is independent of the others has its part: what an error in it does to the
    points, squared. What is left is the ground's own (the two terms of Joseph's form of a linear update).

    Parameters
    ----------
    ground : Ground
    points : sequence of Point, length n
    likely : sequence of (share, Ground), optional
        The grounds of which the readings may be, see `trackkit.survey.likely.likely_grounds`: parts are
        averages over them, and what their heights differ by is of ground that nobody read.

    Returns
    -------
    dict of str to array, shape (n, n)
        'scatter' (of single readings), those of `SHARED` that the survey has, and 'unread' (ground, along
        and across, that nobody read) [m²]. They add up to ``ground.covariance(points)``, or to the
        covariance within and between the likely grounds.
    """
    if not likely:
        return _parts(ground, points)
    each = [(share, _parts(one, points), one.mean(points)) for share, one in likely]
    mean = sum(share * heights for share, _, heights in each)
    found = {name: np.asarray(sum(share * own[name] for share, own, _ in each)) for name in each[0][1]}
    between = sum(share * np.outer(heights - mean, heights - mean) for share, _, heights in each)
    return {**found, "unread": found["unread"] + between}


def _parts(ground: Ground, points: Sequence[Point]) -> dict[str, Array]:
    observations = ground.setting.observations
    moved = ground.heights.influence(points) * ground.fitted.posterior.sd[:, None]
    single = observations.table["counts"].to_numpy(dtype=bool)
    shared = _shared(observations)
    for rows in shared.values():
        single = single & ~rows
    parts = {
        name: np.asarray(ground.inflation * (moved[rows].T @ moved[rows]))
        for name, rows in {"scatter": single, **shared}.items()
    }
    return {**parts, "unread": np.asarray(ground.covariance(points)) - sum(parts.values())}


def _shared(observations: Observations) -> dict[str, NDArray[np.bool_]]:
    """Return which rows say beforehand what readings share, by what it is, where there are any.

    The datum's row moves no height above it, and a crown said beforehand is of ground: they are in neither.
    """
    kind = observations.table["kind"].to_numpy(dtype=object)
    instrument = observations.table["instrument"].astype(str)
    beforehand = kind == "zero error beforehand"
    sight = instrument.str.startswith(SIGHT).to_numpy()
    wanders = instrument.eq("").to_numpy()  # knots along the pass of a log
    rows = {
        "zero": beforehand & ~sight & ~wanders,
        "sight": beforehand & sight,
        "drift": beforehand & wanders,
        "pegs": kind == "benchmark",
    }
    return {name: own for name, own in rows.items() if own.any()}
