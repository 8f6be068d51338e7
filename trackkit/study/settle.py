"""What would settle which tie end is the highest: the readings to take, and the chances after them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.layout.grounds import Point
from trackkit.study.contest import Contest, Likely
from trackkit.study.exact import exact_governs
from trackkit.survey.ground import Ground
from trackkit.survey.quality.next_reading import (
    NextReadings,
    Possible,
    chance_wrong,
    next_readings,
    spreads_after,
)
from trackkit.tables.rows import rows_of

__all__ = ["CONTENDS", "Settled", "what_settles"]

Array = NDArray[np.float64]

#: Ends with a smaller chance to govern are not told apart from the likeliest.
CONTENDS: Final = 0.02
#: A smaller chance never comes out of draws.
_NEVER: Final = 1e-9


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
    likely: Sequence[tuple[float, Ground]] = (),
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
    likely : sequence of (share, Ground), optional
        The grounds of which the readings may be, see `trackkit.survey.likely.likely_grounds`; by default it
        is this ground for certain. Chances are averages over them, with the same shares after a reading.
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
    taken = [Possible(row.kind, row.station_m, row.side, row.to_station_m) for row in rows_of(found.table)]
    heights, fitted = np.asarray(heights, dtype=float)[some], ground.mean(own)
    stays = weights @ rest[np.ix_(some, some)] @ weights.T
    grounds: list[_Apart] = []
    for share, one in likely or ((1.0, ground),):
        before, _, *after = spreads_after(one, own, weights, taken, found.ties)
        above = weights @ (heights + one.mean(own) - fitted)
        grounds.append(_Apart(share, above, tuple(spread + stays for spread in (before, *after))))
    columns = ["now", *(f"after_{i}" for i in range(1, len(taken) + 1))]
    shares = {name: _shares(grounds, i) for i, name in enumerate(columns)}
    sure_now = float(shares["now"].max())
    drawn = [sum(one.share * one.wrong(i) for one in grounds) for i in range(len(columns))]
    wrong = [1.0 - sure_now, *((1.0 - sure_now) * after / max(drawn[0], _NEVER) for after in drawn[1:])]
    now, *later = np.minimum.accumulate(wrong).tolist()  # more readings never raise it, draws might
    return Settled(found, pd.DataFrame({"end": some, **shares}), now, tuple(later))


@dataclass(frozen=True, eq=False)
class _Apart:
    """How far the other ends lie above the likeliest one, over one of the likely grounds.

    ``spreads`` are as the survey stands and after each reading, (m, m) each [m²].
    """

    share: float
    above: Array
    spreads: tuple[Array, ...]

    def wrong(self, after: int) -> float:
        """Return the chance that another end is the highest than the one taken for it after so many."""
        return chance_wrong(self.above, self.spreads[0], self.spreads[after])


def _shares(grounds: Sequence[_Apart], after: int) -> Array:
    """Return each end's chance to be the highest after so many readings, the first one's height for 0."""
    from trackkit.study.contest import draw

    size = grounds[0].above.size + 1
    likely = []
    for one in grounds:
        covariance = np.zeros((size, size))
        covariance[1:, 1:] = one.spreads[after]
        likely.append(Likely(one.share, np.append(0.0, one.above), covariance))
    first = likely[0]
    contest = Contest(
        first.mean, first.covariance, size, size, np.zeros(size), np.arange(size), np.zeros(size),
        tuple(likely),
    )  # fmt: skip
    exact = exact_governs(contest)
    if exact is not None:
        return exact.chances
    heights = draw(contest, 10_000, 1).heights
    return np.asarray(np.bincount(heights.argmax(axis=0), minlength=size) / heights.shape[1])
