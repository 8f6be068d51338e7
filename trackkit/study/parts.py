"""What has which part in the doubt of heights: each reading's scatter, what readings share, unread ground.

Scatter is each reading's own and averages out over many. What is known beforehand of an instrument or a peg
is shared by all readings that hang on it: more of them leave it as large as it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.layout.grounds import Point
from trackkit.survey.ground import Ground
from trackkit.survey.likely import checked_shares
from trackkit.survey.rows import Observations
from trackkit.survey.sights import SIGHT

__all__ = ["ONE_IN_20", "SHARED", "Parts", "parts_each", "parts_of"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: What readings share: zero errors of angle instruments, slopes of lines of sight, zero errors wandering
#: along logs, given heights of pegs.
SHARED: Final = ("zero", "sight", "drift", "pegs")
#: One chance in 20 lies beyond so many standard deviations on one side: the 0.95 quantile of the standard
#: normal distribution (any table of it; ``scipy.special.ndtri(0.95)``).
ONE_IN_20: Final = 1.6448536269514722


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
        averages over them, and by what their heights differ from the fitted ones is of ground that nobody
        read.

    Returns
    -------
    dict of str to array, shape (n, n)
        'scatter' (of single readings), those of `SHARED` that the survey has, and 'unread' (ground, along
        and across, that nobody read) [m²]. They add up to ``ground.covariance(points)``. Over likely grounds
        they add up to the mean product of what two heights are off from the *fitted* ones, ``ground.mean``,
        which lines are laid over: the covariance within the likely grounds, and for each, by its share, the
        outer product of its heights less the fitted ones. That is more than the covariance of their mixture,
        whose mean is another one.

    Raises
    ------
    ValueError
        If the shares do not add up to 1.
    """
    found: dict[str, Array] = {}
    for one in parts_each(ground, points, likely=likely):
        for name, part in one.parts.items():
            more = part + np.outer(one.off, one.off) if name == "unread" else part
            found[name] = found.get(name, 0.0) + one.share * more
    return found


@dataclass(frozen=True, eq=False)
class Parts:
    """What the covariance of points is made of over one of the likely grounds.

    Attributes
    ----------
    share : float
        Chance that this is the ground.
    parts : dict of str to array, shape (n, n)
        They add up to its covariance [m²].
    off : array, shape (n,)
        How much higher its heights are than the fitted ones [m].
    """

    share: float
    parts: dict[str, Array]
    off: Array


def parts_each(
    ground: Ground, points: Sequence[Point], *, likely: Sequence[tuple[float, Ground]] = ()
) -> tuple[Parts, ...]:
    """Return the parts over each of the likely grounds; parameters and errors as in `parts_of`."""
    checked_shares(likely)
    readings, fitted = _readings(ground.setting.observations), ground.mean(points)
    return tuple(
        Parts(share, _parts(one, points, readings), one.mean(points) - fitted)
        for share, one in likely or ((1.0, ground),)
    )


def _parts(ground: Ground, points: Sequence[Point], readings: dict[str, Mask]) -> dict[str, Array]:
    """Return the parts over one ground, of the rows of its readings by what they are."""
    heights = ground.heights
    moved = heights.influence(points) * ground.fitted.posterior.sd[:, None]
    wide = heights.widened_by(points)
    parts = {name: np.asarray(wide * (moved[rows].T @ moved[rows])) for name, rows in readings.items()}
    return {**parts, "unread": np.asarray(ground.covariance(points)) - sum(parts.values())}


def _readings(observations: Observations) -> dict[str, Mask]:
    """Return which rows are single readings, and which say what readings share."""
    shared = _shared(observations)
    single = observations.table["counts"].to_numpy(dtype=bool)
    for rows in shared.values():
        single = single & ~rows
    return {"scatter": single, **shared}


def _shared(observations: Observations) -> dict[str, Mask]:
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
