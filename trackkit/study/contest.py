"""Heights that contend to be the highest, and what follows for a line that is set from each of them.

All heights are taken above the shape of one line, so that a level line, a graded one and one with bends are
alike: a line *set from* something runs through that thing's own height, plus a gap, and keeps its shape.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["Compared", "Contest", "Drawn", "Likely", "compare", "deal", "draw"]

Array = NDArray[np.float64]

#: Variances this small, relative to the largest, are rounding.
_ROUND: Final = 1e-12
#: So many standard deviations are certainty.
CERTAIN: Final = 8.0
#: Heights that differ by less are the same [m].
_SAME: Final = 1e-9
#: Steps of the golden ratio deal draws out to likely grounds so that any first part of them is a fair one.
_GOLDEN: Final = (5.0**0.5 - 1.0) / 2.0


@dataclass(frozen=True, eq=False)
class Likely:
    """Heights above a line's shape, normal together, over one ground of which the readings may be.

    Attributes
    ----------
    share : float
        Chance that this is the ground.
    mean, covariance : array, shape (things,) and (things, things)
        [m], [m²]
    """

    share: float
    mean: Array
    covariance: Array


@dataclass(frozen=True, eq=False)
class Contest:
    """Heights above a line's shape, and which of them a line may be set from.

    They are normal together where the ground is of one kind for certain; where several kinds are likely
    (`trackkit.survey.likely`), every chance is the average over them.

    Attributes
    ----------
    mean : array, shape (things,)
        Height of each thing above the line's shape, over the ground as it was fitted [m]: tie ends first,
        then what else the line must clear, then what it is only set from, such as a peg.
    covariance : array, shape (things, things)
        Over that ground [m²].
    ends, rows : int
        The first ``ends`` are tie ends, under which fills are measured; the first ``rows`` must be cleared.
    room : array, shape (rows,)
        What the line has to lie above each of them [m]; what lies in that room does not touch yet.
    starts : array of int, shape (candidates,)
        The thing that each candidate's line is set from.
    offsets : array, shape (candidates,)
        How high that line lies above its thing [m]: the gap, or 0 for a peg.
    likely : tuple of Likely
        The grounds of which the readings may be, with shares that add up to 1; empty where it is the fitted
        one for certain.
    """

    mean: Array
    covariance: Array
    ends: int
    rows: int
    room: Array
    starts: NDArray[np.int64]
    offsets: Array
    likely: tuple[Likely, ...] = ()

    @property
    def grounds(self) -> tuple[Likely, ...]:
        """The grounds of which the readings may be; the fitted one where there are no others."""
        return self.likely or (Likely(1.0, self.mean, self.covariance),)

    @property
    def expected(self) -> Array:
        """Expected height of each thing, on average over the likely grounds, shape (things,) [m]."""
        return np.asarray(sum(one.share * one.mean for one in self.grounds))

    @property
    def spread(self) -> Array:
        """Covariance of the heights: within the likely grounds and between them, (things, things) [m²]."""
        away = [(one, one.mean - self.expected) for one in self.grounds]
        return np.asarray(sum(one.share * (one.covariance + np.outer(off, off)) for one, off in away))

    @property
    def fills(self) -> Array:
        """Fill of each candidate's line at every tie end, over the fitted ground, (candidates, ends) [m]."""
        return self.fills_over(Likely(1.0, self.mean, self.covariance))[0]

    @property
    def fill_sds(self) -> Array:
        """Standard deviation of those fills, shape (candidates, ends) [m]."""
        return self.fills_over(Likely(1.0, self.mean, self.covariance))[1]

    def fills_over(self, ground: Likely) -> tuple[Array, Array]:
        """Return mean and sd of each candidate's fill at every tie end, over one ground.

        Shape (candidates, ends) each [m]; the sd is 0 under the candidate itself.
        """
        lines = ground.mean[self.starts] + self.offsets
        return lines[:, None] - ground.mean[: self.ends], self._apart(ground.covariance, self.ends)

    def _apart(self, covariance: Array, count: int) -> Array:
        """Return the sd of each candidate's height less that of the first things, (candidates, count)."""
        variance = np.diag(covariance)
        shared = covariance[self.starts][:, :count]
        found = variance[self.starts][:, None] + variance[:count] - 2.0 * shared
        floor = _ROUND * max(float(variance.max(initial=0.0)), 1e-300)
        found = np.where(found > floor, found, 0.0)
        found[self.starts[:, None] == np.arange(count)] = 0.0
        return np.sqrt(found)

    def touch_each(self, touch: float) -> Array:
        """Return the chance that each candidate's line touches each row, (candidates, rows), exactly."""
        from scipy.special import ndtr

        found = np.zeros((self.starts.size, self.rows))
        for one in self.grounds:
            over = one.mean[: self.rows] - (one.mean[self.starts] + self.offsets)[:, None] - touch
            sd = self._apart(one.covariance, self.rows)
            with np.errstate(divide="ignore", invalid="ignore"):
                chance = ndtr(over / sd)
            found += one.share * np.where(sd > 0.0, chance, (over > 0.0).astype(float))
        return found


@dataclass(frozen=True, eq=False)
class Drawn:
    """Draws of a contest, and what of each draw all candidates' figures follow from.

    Attributes
    ----------
    heights : array, shape (things, draws)
        [m]
    highest, reach : array, shape (draws,)
        The highest row, and the highest that a line must reach with the room it asks for [m].
    lowest : array, shape (draws,)
        The lowest tie end [m].
    """

    heights: Array
    highest: Array
    reach: Array
    lowest: Array

    def largest_fills(self, contest: Contest, candidate: int, *, spare: float = 0.0) -> Array:
        """Return the largest fill of a candidate's line in each draw, shape (draws,) [m]."""
        start = contest.starts[candidate]
        return np.asarray(self.heights[start] + (contest.offsets[candidate] + spare) - self.lowest)


@dataclass(frozen=True, eq=False)
class Compared:
    """What a line set from each candidate comes to; arrays of shape (candidates,).

    Attributes
    ----------
    governs : array
        Chance that the line has to rest on it: nothing asks for a higher line.
    touches : array
        Chance that a line set from it touches anything that must be cleared.
    largest : array
        Expected largest fill [m].
    largest_95 : array
        What the largest fill stays below in 95 % of cases [m]; NaN where it was not asked for.
    total, total_sd : array
        Expected sum of the fills, and its standard deviation [m]; fills below zero count as such.
    margin : array
        What has to be added to the gap for the chance of touching to be what is accepted [m]; NaN where it
        was not asked for, 0 where the gap is enough.
    drawn : Drawn
        A chance p is known to ``sqrt(p (1 - p) / draws)``.
    """

    governs: Array
    touches: Array
    largest: Array
    largest_95: Array
    total: Array
    total_sd: Array
    margin: Array
    drawn: Drawn


def draw(contest: Contest, draws: int, seed: int) -> Drawn:
    """Return draws of a contest; the same seed gives the same draws, the likely grounds mixed."""
    grounds = contest.grounds
    ones = np.ones((contest.mean.size + 1, draws))  # below the normals, so that one product adds the means
    normals = np.random.default_rng(seed).standard_normal(out=ones[:-1])
    if len(grounds) == 1:
        heights = np.column_stack([_root(grounds[0].covariance), grounds[0].mean]) @ ones
    else:
        heights = np.empty_like(normals)
        of = deal([one.share for one in grounds], draws)
        for i, one in enumerate(grounds):
            mine = of == i
            heights[:, mine] = _root(one.covariance) @ normals[:, mine] + one.mean[:, None]
    rows = heights[: contest.rows]
    highest = rows.max(axis=0)
    alike = np.ptp(contest.room) == 0.0
    reach = highest + contest.room[0] if alike else (rows + contest.room[:, None]).max(axis=0)
    return Drawn(heights, highest, reach, heights[: contest.ends].min(axis=0))


def deal(shares: Sequence[float], draws: int) -> NDArray[np.int64]:
    """Return of which likely ground each draw is, so that any first part of them has about these shares."""
    upto = np.cumsum(shares)
    steps = (np.arange(draws) * _GOLDEN + 0.5) % 1.0
    return np.asarray(np.searchsorted(upto[:-1], steps * upto[-1], side="right"), dtype=np.int64)


def _root(covariance: Array) -> Array:
    """Return a root R of a covariance, R R'."""
    covariance = (covariance + covariance.T) / 2.0
    try:
        return np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
    except (
        np.linalg.LinAlgError
    ):  # things that are one, such as a tie end and a point on it, or nothing in doubt
        values, vectors = np.linalg.eigh(covariance)
        # what rounding leaves would tell them apart
        return np.asarray(vectors * np.sqrt(np.where(values > _ROUND * values[-1], values, 0.0)))


def compare(
    contest: Contest,
    *,
    touch: float,
    accepted: float | None = None,
    quantiles: bool = True,
    draws: int = 10_000,
    seed: int = 1,
) -> Compared:
    """Return what a line set from each candidate comes to.

    Every figure of every candidate follows from a few numbers of each draw (its highest thing and its
    lowest), so that all candidates together cost little more than the draws.

    Parameters
    ----------
    contest : Contest
    touch : float
        What lies higher than the line by more than this touches [m].
    accepted : float, optional
        Chance of touching that is accepted, between 0 and 1; without it no margin is worked out.
    quantiles : bool
        Whether to work out ``largest_95`` too.
    draws, seed : int

    Raises
    ------
    ValueError
        If ``accepted`` is not between 0 and 1, or there is no draw.
    """
    if accepted is not None and not 0.0 < accepted < 1.0:
        raise ValueError(f"accepted must lie between 0 and 1, got {accepted}")
    if draws < 1:
        raise ValueError(f"draws must be 1 or more, got {draws}")
    drawn = draw(contest, draws, seed)
    count = contest.starts.size
    governs, touches = np.empty(count), np.empty(count)
    largest_95, margin = np.full(count, np.nan), np.full(count, np.nan)
    at_most = 0 if accepted is None else min(int(np.ceil((1.0 - accepted) * draws)), draws) - 1
    at_95 = min(int(np.ceil(0.95 * draws)), draws) - 1
    hopeless, sure = _certain(contest, touch)
    rests: dict[float, Array] = {}  # what a candidate must reach to govern, by the room that it asks for
    clears: dict[float, Array] = {}  # below this it touches, by how high its line lies above it
    above = np.empty(draws)
    for k, (start, offset) in enumerate(zip(contest.starts, contest.offsets.tolist(), strict=True)):
        own, room = drawn.heights[start], float(contest.room[start if start < contest.rows else 0])
        if room not in rests:
            rests[room] = drawn.reach - (room + _SAME)
        if offset not in clears:
            clears[offset] = drawn.highest - (offset + touch)
        governs[k] = 0 if hopeless[k] else np.count_nonzero(own >= rests[room])
        touches[k] = draws if sure[k] else np.count_nonzero(own < clears[offset])
        if accepted is not None:
            margin[k] = max(0.0, _quantile(clears[offset], own, at_most, above))
        if quantiles:
            largest_95[k] = _quantile(own, drawn.lowest, at_95, above) + offset
    ends = contest.ends
    mean = contest.expected
    lines = mean[contest.starts] + contest.offsets
    weights = np.zeros((count, mean.size))
    weights[np.arange(count), contest.starts] = ends
    weights[:, :ends] -= 1.0
    spread = np.einsum("ij,jk,ik->i", weights, contest.spread, weights, optimize=True)
    # the lowest end's height over that of one end: what moves all alike, such as a doubtful datum, drops out
    low = int(mean[:ends].argmin())
    lowest = float(mean[low] + (drawn.lowest.mean() - drawn.heights[low].mean()))
    return Compared(
        governs=governs / draws,
        touches=touches / draws,
        largest=lines - lowest,
        largest_95=largest_95,
        total=ends * lines - float(mean[:ends].sum()),
        total_sd=np.sqrt(np.maximum(spread, 0.0)),
        margin=margin,
        drawn=drawn,
    )


def _quantile(high: Array, low: Array, at: int, room: Array) -> float:
    """Return the sorted value of that place among differences, worked out in the room that is given."""
    np.subtract(high, low, out=room)
    room.partition(at)
    return float(room[at])


def _certain(contest: Contest, touch: float) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which candidates never govern and which always touch, by the likeliest row alone.

    Beyond 8 standard deviations over every likely ground: a chance of 1e-15 is not looked for among draws.
    """
    own = contest.starts
    room = contest.room[np.where(own < contest.rows, own, 0)]
    hopeless, sure = np.ones(own.size, dtype=bool), np.ones(own.size, dtype=bool)
    for one in contest.grounds:
        top = int((one.mean[: contest.rows] + contest.room).argmax())
        variance = np.diag(one.covariance)
        sd = np.sqrt(np.maximum(variance[own] + variance[top] - 2.0 * one.covariance[own, top], 0.0))
        over, clear = one.mean[top] - one.mean[own], CERTAIN * sd + _SAME
        hopeless &= over + contest.room[top] - room > clear
        sure &= over - contest.offsets - touch > clear
    return hopeless, sure
