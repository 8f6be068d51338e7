"""What would settle which tie end is the highest: the readings to take, and the chances after them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from trackkit.layout.grounds import Point
from trackkit.study.apart import Apart, chance_wrong, given, highest_chances
from trackkit.survey.ground import Ground
from trackkit.survey.quality.foreseen import foresee
from trackkit.survey.quality.next_reading import NextReadings, Possible, next_readings
from trackkit.tables.rows import rows_of

__all__ = ["CONTENDS", "Settled", "what_settles"]

Array = NDArray[np.float64]

#: Ends with a smaller chance to govern are not told apart from the likeliest.
CONTENDS: Final = 0.02


@dataclass(frozen=True, eq=False)
class Settled:
    """The readings that most lower the doubt about what is the highest, and what they bring.

    Attributes
    ----------
    found : NextReadings
        Its table has a row a reading, the one to take first first.
    chances : DataFrame
        One row a thing that contends, the likeliest first: end (its place in what was asked), now (its
        chance among those that contend), and after_1, after_2, ... once so many readings have been taken and
        find what is expected of them, on average over the likely grounds. What no reading lowers, such as
        track laid sideways, is in all of them.
    wrong_now : float
        Chance that another is the highest than the one taken for it.
    wrong_after : tuple of float
        The same once each reading has been taken, on average over what it may find; known to about 1 in 100.
    """

    found: NextReadings
    chances: pd.DataFrame
    wrong_now: float
    wrong_after: tuple[float, ...]


def what_settles(
    ground: Ground,
    points: Sequence[Point],
    heights: ArrayLike,
    chances: ArrayLike,
    *,
    parts: ArrayLike | None = None,
    beside: ArrayLike | None = None,
    likely: Sequence[tuple[float, Ground]] = (),
    possible: Sequence[Possible] | None = None,
    count: int = 2,
    least: float = CONTENDS,
) -> Settled:
    """Return the readings that best tell the likeliest to govern from the others that may govern.

    Parameters
    ----------
    ground : Ground
    points : sequence of Point, length k
        What contends, tie ends mostly; or points of the ground that it hangs on.
    heights : array_like, shape (n,)
        Expected heights of what contends above the line's shape, over this ground [m].
    chances : array_like, shape (n,)
        To govern. The others count by theirs.
    parts : array_like, shape (n, k), optional
        Share of each point in the height of each thing that contends; by default these are the points.
    beside : array_like, shape (n, n), optional
        Covariance of what contends that no reading lowers, beside the ground's own: that of track laid
        sideways, see `trackkit.layout.doubt.sideways_covariance` [m²]. None by default.
    likely : sequence of (share, Ground), optional
        The grounds of which the readings may be, see `trackkit.survey.likely.likely_grounds`; by default it
        is this ground for certain. What a reading finds tells of them too. Which readings are proposed goes
        by this ground.
    possible : sequence of Possible, optional
        Readings that could be taken; by default all kinds along the run.
    count : int
        How many to look for.
    least : float
        What has a smaller chance is left out; the two that come first never are.

    Raises
    ------
    ValueError
        With fewer than two that contend, ``parts`` or ``beside`` of another shape, or as
        `trackkit.survey.quality.next_reading.next_readings`.
    """
    high, told = np.asarray(heights, dtype=float), np.asarray(chances, dtype=float)
    if high.size < 2:
        raise ValueError(f"two ends at least are needed to be told apart, got {high.size}")
    made = np.eye(high.size) if parts is None else np.asarray(parts, dtype=float)
    if made.shape != (high.size, len(points)):
        raise ValueError(f"parts must be of shape {(high.size, len(points))}; got {made.shape}")
    rest = np.zeros((high.size, high.size)) if beside is None else np.asarray(beside, dtype=float)
    if rest.shape != (high.size, high.size):
        raise ValueError(
            f"beside must have a row and a column for each of {high.size} ends; got {rest.shape}"
        )
    some = np.argsort(-told, kind="stable")[: max(2, int((told >= least).sum()))]
    less = np.column_stack([-np.ones(len(some) - 1), np.eye(len(some) - 1)])  # above the likeliest
    weights = less @ made[some]
    found = next_readings(
        ground, points, weights, possible=possible, count=count, goal="sum",
        importance=np.maximum(told[some[1:]], least),
    )  # fmt: skip
    taken = [Possible(row.kind, row.station_m, row.side, row.to_station_m) for row in rows_of(found.table)]
    fitted, stays = ground.mean(points), less @ rest[np.ix_(some, some)] @ less.T
    grounds = [
        Apart(
            share, less @ high[some] + weights @ (one.mean(points) - fitted),
            foresee(one, points, weights, taken, found.ties), stays,
        )
        for share, one in likely or ((1.0, ground),)
    ]  # fmt: skip
    columns = {"now": highest_chances(grounds)}
    wrong = [1.0 - float(columns["now"].max())]
    for i in range(1, len(taken) + 1):
        so_far = [replace(one, foreseen=one.foreseen.first(len(found.ties) + i)) for one in grounds]
        expected = sum(one.share * one.foreseen.expected for one in so_far)
        columns[f"after_{i}"] = highest_chances(given(so_far, np.asarray(expected)))
        wrong.append(min(chance_wrong(so_far), wrong[-1]))  # more readings never raise it, draws might
    return Settled(found, pd.DataFrame({"end": some, **columns}), wrong[0], tuple(wrong[1:]))
