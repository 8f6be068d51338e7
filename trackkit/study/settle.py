"""What would settle which tie end is the highest: the readings to take, and the chances after them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.layout.grounds import Point
from trackkit.study.contest import Contest
from trackkit.study.exact import exact_governs
from trackkit.survey.ground import Ground
from trackkit.survey.quality.next_reading import NextReadings, Possible, chance_wrong, next_readings

__all__ = ["CONTENDS", "Settled", "what_settles"]

Array = NDArray[np.float64]

#: Ends with a smaller chance to govern are not told apart from the likeliest.
CONTENDS: Final = 0.02


@dataclass(frozen=True, eq=False)
class Settled:
    """The readings that most lower the doubt about which end is the highest, and what they bring.

    Attributes
    ----------
    found : NextReadings
        Its table has a row a reading, the one to take first first.
    chances : DataFrame
        One row an end that contends, the likeliest first: end (its place in what was asked), now (its chance
        among those that contend), and after_1, after_2, ... once so many readings have been taken and find
        what the fit expects. What no reading lowers, such as track laid sideways, is in all of them.
    wrong_now : float
        Chance that another end is the highest than the one taken for it.
    wrong_after : tuple of float
        The same once each reading has been taken, on average over what it may find.
    """

    found: NextReadings
    chances: pd.DataFrame
    wrong_now: float
    wrong_after: tuple[float, ...]


def what_settles(
    ground: Ground,
    points: Sequence[Point],
    heights: Array,
    chances: Array,
    *,
    beside: Array | None = None,
    possible: Sequence[Possible] | None = None,
    count: int = 2,
    least: float = CONTENDS,
) -> Settled:
    """Return the readings that best tell the likeliest governing end from the others that may govern.

    Parameters
    ----------
    ground : Ground
    points : sequence of Point, length n
        The tie ends.
    heights : array, shape (n,)
        Their expected heights above the line's shape [m].
    chances : array, shape (n,)
        To govern. The others count by theirs.
    beside : array, shape (n, n), optional
        Covariance of the ends that no reading lowers, beside the ground's own: that of track laid sideways,
        see `trackkit.layout.doubt.sideways_covariance` [m²]. None by default.
    possible : sequence of Possible, optional
        Readings that could be taken; by default all kinds along the run.
    count : int
        How many to look for.
    least : float
        Ends with a smaller chance are left out; the two that come first never are.

    Raises
    ------
    ValueError
        With fewer than two ends, ``beside`` of another shape, or as
        `trackkit.survey.quality.next_reading.next_readings`.
    """
    if len(points) < 2:
        raise ValueError(f"two ends at least are needed to be told apart, got {len(points)}")
    rest = np.zeros((len(points), len(points))) if beside is None else np.asarray(beside, dtype=float)
    if rest.shape != (len(points), len(points)):
        raise ValueError(
            f"beside must have a row and a column for each of {len(points)} ends; got {rest.shape}"
        )
    order = np.argsort(-np.asarray(chances, dtype=float), kind="stable")
    some = order[: max(2, int((chances >= least).sum()))]
    own = [points[i] for i in some]
    weights = np.column_stack([-np.ones(len(some) - 1), np.eye(len(some) - 1)])
    found = next_readings(
        ground, own, weights, possible=possible, count=count, goal="sum",
        importance=np.maximum(np.asarray(chances)[some[1:]], least),
    )  # fmt: skip
    above = np.asarray(heights)[some[1:]] - float(np.asarray(heights)[some[0]])
    stays = weights @ rest[np.ix_(some, some)] @ weights.T
    spreads = [spread + stays for spread in (found.spreads[0], *found.spreads[2:])]
    columns = ["now", *(f"after_{i}" for i in range(1, len(spreads)))]
    shares = {name: _shares(above, spread) for name, spread in zip(columns, spreads, strict=True)}
    wrong = [1.0 - float(shares["now"].max())]
    wrong += [chance_wrong(above, spreads[0], spread) for spread in spreads[1:]]
    now, *later = np.minimum.accumulate(wrong).tolist()  # more readings never raise it, draws might
    return Settled(found, pd.DataFrame({"end": some, **shares}), now, tuple(later))


def _shares(above: Array, spread: Array) -> Array:
    """Return each end's chance to be the highest, the first one's height taken for 0."""
    from trackkit.study.contest import draw

    size = above.size + 1
    covariance = np.zeros((size, size))
    covariance[1:, 1:] = spread
    mean = np.append(0.0, above)
    contest = Contest(mean, covariance, size, size, np.zeros(size), np.arange(size), np.zeros(size))
    exact = exact_governs(contest)
    if exact is not None:
        return exact.chances
    heights = draw(contest, 10_000, 1).heights
    return np.asarray(np.bincount(heights.argmax(axis=0), minlength=size) / heights.shape[1])
