"""Heights that contend to be the highest, and what follows for a line that is set from each of them.

All heights are taken above the shape of one line, so that a level line, a graded one and one with bends are
alike: a line *set from* something runs through that thing's own height, plus a gap, and keeps its shape.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["Compared", "Contest", "Drawn", "compare", "draw"]

Array = NDArray[np.float64]

#: Variances this small, relative to the largest, are rounding.
_ROUND: Final = 1e-12
#: So many standard deviations are certainty.
CERTAIN: Final = 8.0
#: Heights that differ by less are the same [m].
_SAME: Final = 1e-9


@dataclass(frozen=True, eq=False)
class Contest:
    """Heights above a line's shape, normal together, and which of them a line may be set from.

    Attributes
    ----------
    mean : array, shape (things,)
        Expected height of each thing above the line's shape [m]: tie ends first, then what else the line
        must clear, then what it is only set from, such as a peg.
    covariance : array, shape (things, things)
        [m²]
    ends, rows : int
        The first ``ends`` are tie ends, under which fills are measured; the first ``rows`` must be cleared.
    room : array, shape (rows,)
        What the line has to lie above each of them [m]; what lies in that room does not touch yet.
    starts : array of int, shape (candidates,)
        The thing that each candidate's line is set from.
    offsets : array, shape (candidates,)
        How high that line lies above its thing [m]: the gap, or 0 for a peg.
    """

    mean: Array
    covariance: Array
    ends: int
    rows: int
    room: Array
    starts: NDArray[np.int64]
    offsets: Array

    @property
    def fills(self) -> Array:
        """Expected fill of each candidate's line at every tie end, shape (candidates, ends) [m]."""
        lines = self.mean[self.starts] + self.offsets
        return np.asarray(lines[:, None] - self.mean[: self.ends])

    @property
    def fill_sds(self) -> Array:
        """Standard deviation of those fills, shape (candidates, ends) [m]; 0 under the candidate itself."""
        return self._apart(self.ends)

    def _apart(self, count: int) -> Array:
        """Return the sd of each candidate's height less that of the first things, (candidates, count)."""
        variance = np.diag(self.covariance)
        shared = self.covariance[self.starts][:, :count]
        found = variance[self.starts][:, None] + variance[:count] - 2.0 * shared
        floor = _ROUND * max(float(variance.max(initial=0.0)), 1e-300)
        found = np.where(found > floor, found, 0.0)
        found[self.starts[:, None] == np.arange(count)] = 0.0
        return np.sqrt(found)

    def touch_each(self, touch: float) -> Array:
        """Return the chance that each candidate's line touches each row, (candidates, rows), exactly."""
        from scipy.special import ndtr

        over = self.mean[: self.rows] - (self.mean[self.starts] + self.offsets)[:, None] - touch
        sd = self._apart(self.rows)
        with np.errstate(divide="ignore", invalid="ignore"):
            chance = ndtr(over / sd)
        return np.where(sd > 0.0, chance, (over > 0.0).astype(float))


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
    """Return draws of a contest; the same seed gives the same draws."""
    half = _root((contest.covariance + contest.covariance.T) / 2.0)
    normals = np.random.default_rng(seed).standard_normal((half.shape[1], draws))
    heights = half @ normals
    heights += contest.mean[:, None]
    rows = heights[: contest.rows]
    highest = rows.max(axis=0)
    alike = np.ptp(contest.room) == 0.0
    reach = highest + contest.room[0] if alike else (rows + contest.room[:, None]).max(axis=0)
    return Drawn(heights, highest, reach, heights[: contest.ends].min(axis=0))


def _root(covariance: Array) -> Array:
    """Return a root R of a covariance, R R'."""
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
    lines = contest.mean[contest.starts] + contest.offsets
    weights = np.zeros((count, contest.mean.size))
    weights[np.arange(count), contest.starts] = ends
    weights[:, :ends] -= 1.0
    spread = np.einsum("ij,jk,ik->i", weights, contest.covariance, weights, optimize=True)
    # the lowest end's height over that of one end: what moves all alike, such as a doubtful datum, drops out
    low = int(contest.mean[:ends].argmin())
    lowest = float(contest.mean[low] + (drawn.lowest.mean() - drawn.heights[low].mean()))
    return Compared(
        governs=governs / draws,
        touches=touches / draws,
        largest=lines - lowest,
        largest_95=largest_95,
        total=ends * lines - float(contest.mean[:ends].sum()),
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

    Beyond 8 standard deviations: a chance of 1e-15 is not looked for among draws.
    """
    top = int((contest.mean[: contest.rows] + contest.room).argmax())
    own = contest.starts
    variance = np.diag(contest.covariance)
    sd = np.sqrt(np.maximum(variance[own] + variance[top] - 2.0 * contest.covariance[own, top], 0.0))
    room = contest.room[np.where(own < contest.rows, own, 0)]
    over = contest.mean[top] - contest.mean[own]
    hopeless = over + contest.room[top] - room > CERTAIN * sd + _SAME
    return hopeless, over - contest.offsets - touch > CERTAIN * sd + _SAME
