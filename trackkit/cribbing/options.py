"""From places, closing pieces and patterns to the integer program, with nothing lost on the way.

For every place, every closing piece and every foot, the heights that would do are an interval.
Sorted heights between two interval ends are interchangeable and become one cell, and of the
patterns in a cell only those stay that no other beats in price and in every piece at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray

from trackkit.cribbing.closers import Closer, height_bands
from trackkit.cribbing.heights import TICK, Laid, Patterns, to_cost
from trackkit.cribbing.placing import seat_raises, stands_bare
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.sites import Site

__all__ = [
    "Feet",
    "Intervals",
    "Rooms",
    "Serving",
    "both_at",
    "feet_of",
    "intervals_of",
    "nearest_fill",
    "servings",
]

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Intervals:
    """Pile heights that would do, as the closing pieces of one place (or two) allow.

    Attributes
    ----------
    low, high : ndarray, shape (n,)
        First and last height of the pile [ticks], before the shift of its foot.
    cost : ndarray, shape (n,)
        Price of the closing pieces with their chance of change [cost units].
    closers : ndarray, shape (n, 4)
        Which closing pieces, one for each tie end; -1 beyond.
    reach : ndarray, shape (n,)
        Greatest height of the closing pieces [ticks], for the height-to-base rule.
    """

    low: Ints
    high: Ints
    cost: Ints
    closers: Ints
    reach: Ints

    def __len__(self) -> int:
        return len(self.low)

    def take(self, chosen: NDArray[np.int64] | NDArray[np.bool_]) -> Intervals:
        """Return some of them."""
        return Intervals(
            self.low[chosen], self.high[chosen], self.cost[chosen], self.closers[chosen], self.reach[chosen]
        )


def intervals_of(
    sites: Sequence[Site],
    closers: Sequence[Sequence[Closer]],
    depths: Sequence[float],
    rules: StackRules,
) -> list[list[Intervals]]:
    """Return, for every place, the intervals of each of its tie ends.

    ``closers`` holds for every place the closing pieces that go under its ties, ``depths`` how far below
    the ground its pile may stand [m].
    """
    found: list[list[Intervals]] = [[] for _ in sites]
    kinds: dict[int, list[tuple[int, int]]] = {}
    for number, site in enumerate(sites):
        for end in range(len(site.ties)):
            kinds.setdefault(id(closers[number]), []).append((number, end))
    for ends in kinds.values():
        own = closers[ends[0][0]]
        sds = [sites[number].sds[end] for number, end in ends]
        start, stop, price = height_bands(own, sds, rules)
        cost = np.array([[to_cost(value) for value in row] for row in price], dtype=np.int64)
        reach = np.array([_ceil(closer.high) for closer in own], dtype=np.int64)
        heights = np.array([sites[number].heights[end] for number, end in ends])[:, None, None]
        low = np.ceil((heights - stop) / TICK - 1e-4).astype(np.int64)
        high = np.floor((heights - start) / TICK + 1e-4).astype(np.int64)
        floor = np.array([-_ceil(depths[number]) for number, _ in ends], dtype=np.int64)
        for (number, _), intervals in zip(ends, _compact(low, high, cost, reach, floor), strict=True):
            found[number].append(intervals)
    return found


def _ceil(metres: float) -> int:
    return int(np.ceil(metres / TICK - 1e-4))


def _compact(low: Ints, high: Ints, cost: Ints, reach: Ints, floor: Ints) -> list[Intervals]:
    """Return for every tie end the intervals that exist, each once, at its lowest price.

    ``floor`` is the lowest that a pile's top may lie at each, below 0 where the ground is scraped.
    """
    exists = (low <= high) & (high >= floor[:, None, None])
    wider = np.ones_like(exists)
    wider[..., 1:] = ~exists[..., :-1] | (low[..., 1:] < low[..., :-1]) | (high[..., 1:] > high[..., :-1])
    end, closer, band = np.nonzero(exists & wider)
    ids = np.full((len(closer), 4), -1, dtype=np.int64)
    ids[:, 0] = closer
    chosen = (low[end, closer, band], high[end, closer, band], cost[closer, band], ids, reach[closer])
    bounds = np.searchsorted(end, np.arange(len(low) + 1)).tolist()
    return [Intervals(*(values[a:b] for values in chosen)) for a, b in pairwise(bounds)]


def both_at(first: Intervals, second: Intervals) -> Intervals:
    """Return the intervals in which one pile height serves two tie ends, each with its own closing piece."""
    low = np.maximum(first.low[:, None], second.low[None, :])
    high = np.minimum(first.high[:, None], second.high[None, :])
    one, two = np.nonzero(low <= high)
    width = int((first.closers[:1] >= 0).sum()) if len(first) else 0
    ids = first.closers[one].copy()
    ids[:, width:] = second.closers[two][:, : 4 - width]
    reach = np.maximum(first.reach[one], second.reach[two])
    return Intervals(low[one, two], high[one, two], first.cost[one] + second.cost[two], ids, reach)


@dataclass(frozen=True)
class Feet:
    """Which feet a place allows; the last is the pile of nothing, a closing piece straight on the ground.

    Attributes
    ----------
    allowed : ndarray of 0 or 1, shape (layers + 1,)
    shift : ndarray, shape (layers + 1,)
        How much a seat has the bottom of the pile above the ground [ticks].
    price : ndarray, shape (layers + 1,)
        Price of a foot that is smaller than the ground asks for [cost units].
    """

    allowed: Ints
    shift: Ints
    price: Ints


def feet_of(site: Site, laid: Sequence[Laid], rules: StackRules, *, any_foot: bool = False) -> Feet:
    """Return which feet a place allows, how much each raises the pile and what it costs.

    Parameters
    ----------
    site : Site
        The place.
    laid : sequence of Laid
        The layers there are.
    rules : StackRules
        Least areas by ground.
    any_foot : bool
        Allow, at a price, feet that are too small for the ground, and none at all: for fills too low for
        a pad.
    """
    least = rules.least_foot(site.ground)
    small = np.array([one.area < least - 1e-9 for one in laid] + [least > 0.0])
    allowed = np.ones(len(small), dtype=np.int64) if any_foot else (~small).astype(np.int64)
    shift = np.zeros(len(small), dtype=np.int64)
    if site.seat:
        shift[:-1] = [round(lift / TICK) for lift in seat_raises(site, laid, rules)]
    if (site.seat and len(site.ties) > 1) or not stands_bare(site, rules):
        allowed[-1] = 0
    return Feet(allowed, shift, np.where(small, to_cost(rules.small_foot_cost), 0).astype(np.int64))


class Rooms:
    """Steps of the closing pieces' greatest height, in which the height-to-base rule is kept."""

    def __init__(self, reaches: Sequence[int]) -> None:
        self.steps = np.unique(np.asarray(reaches, dtype=np.int64))

    def needed(self, reach: Ints) -> Ints:
        """Return the step that a closing piece needs."""
        return np.searchsorted(self.steps, reach, side="left")

    def given(self, room: Ints) -> Ints:
        """Return the highest step that a pattern's room allows; -1 for none."""
        return np.searchsorted(self.steps, room, side="right") - 1


@dataclass(frozen=True)
class Serving:
    """Which place may be served in which cell: the columns before classes are formed.

    Attributes
    ----------
    owner : ndarray, shape (n,)
        Which of the places (or pairs of places) it serves.
    cell : ndarray, shape (n,)
    cost : ndarray, shape (n,)
    closers : ndarray, shape (n, 4)
    footed : ndarray of bool, shape (n,)
        Whether anything stands under the closing piece.
    pattern_cell : ndarray, shape (patterns,)
        Cell of every pattern; -1 where no place can use it.
    n_cells : int
    """

    owner: Ints
    cell: Ints
    cost: Ints
    closers: Ints
    footed: NDArray[np.bool_]
    pattern_cell: Ints
    n_cells: int


def servings(patterns: Patterns, owners: Sequence[Intervals], feet: Sequence[Feet], rooms: Rooms) -> Serving:
    """Return every cell in which every owner can be served by these patterns.

    ``owners`` and ``feet`` go together: the intervals of a place and its `feet_of`.
    """
    pattern_cell = np.full(len(patterns.ticks), -1, dtype=np.int64)
    parts: list[tuple[Ints, Ints, Ints, Ints, NDArray[np.bool_]]] = []
    cells = 0
    if owners:
        owner = np.repeat(np.arange(len(owners)), [len(own) for own in owners])
        low, high, cost, closers, reach = (
            np.concatenate([getattr(own, name) for own in owners])
            for name in ("low", "high", "cost", "closers", "reach")
        )
        step = rooms.needed(reach)
        allowed, shifts, prices = (
            np.array([getattr(foot, name) for foot in feet]) for name in ("allowed", "shift", "price")
        )
        group = _same_columns(allowed, shifts, prices)[patterns.foot]
        room = rooms.given(patterns.room)
        key = group * (len(rooms.steps) + 1) + room + 1
        key[patterns.foot == len(patterns.laid)] += 10**6  # the pile of nothing is always by itself
        for value in np.unique(key[room >= 0]):
            own = np.flatnonzero(key == value)
            foot = patterns.foot[own[0]]
            usable = (allowed[owner, foot] == 1) & (step <= room[own[0]])
            rows = np.flatnonzero(usable)
            shift = shifts[owner[rows], foot]
            heights = patterns.ticks[own]
            first = np.searchsorted(heights, low[rows] - shift, side="left")
            last = np.searchsorted(heights, high[rows] - shift, side="right")
            some = first < last
            rows, first, last = rows[some], first[some], last[some]
            if not len(rows):
                continue
            breaks = np.unique(np.concatenate((first, last)))
            begin, stop = np.searchsorted(breaks, first), np.searchsorted(breaks, last)
            place = np.searchsorted(breaks, np.arange(len(own)), side="right") - 1
            inside = (place >= 0) & (place < len(breaks) - 1)
            pattern_cell[own[inside]] = cells + place[inside]
            length = stop - begin
            rows = np.repeat(rows, length)
            offset = np.arange(len(rows)) - np.repeat(np.cumsum(length) - length, length)
            cell = cells + np.repeat(begin, length) + offset
            footed = np.full(len(rows), foot < len(patterns.laid))
            price = cost[rows] + prices[owner[rows], foot]
            parts.append((owner[rows], cell, price, closers[rows], footed))
            cells += len(breaks) - 1
    if not parts:
        none = np.zeros(0, dtype=np.int64)
        return Serving(none, none, none, np.zeros((0, 4), np.int64), none.astype(bool), pattern_cell, 0)
    joined = [np.concatenate([part[place] for part in parts]) for place in range(5)]
    return Serving(joined[0], joined[1], joined[2], joined[3], joined[4], pattern_cell, cells)


def _same_columns(allowed: Ints, shift: Ints, price: Ints) -> Ints:
    """Return a group number for every foot: feet that no place tells apart share one."""
    all_ways = np.concatenate((allowed, np.where(allowed == 1, shift, 0), np.where(allowed == 1, price, 0)))
    groups: dict[bytes, int] = {}
    return np.array([groups.setdefault(foot.tobytes(), len(groups)) for foot in all_ways.T], dtype=np.int64)


def _stretches(closers: Sequence[Closer]) -> list[tuple[float, float, float]]:
    """Return the heights that closing pieces cover between them: first, last, and the highest piece [m].

    Pairs of the closing pieces themselves would be too many to try under the two ties of a joint.
    """
    found: list[tuple[float, float, float]] = []
    for closer in sorted(closers, key=lambda one: one.start):
        if found and closer.start <= found[-1][1]:
            start, stop, high = found[-1]
            found[-1] = (start, max(stop, closer.stop), max(high, closer.high))
        else:
            found.append((closer.start, closer.stop, closer.high))
    return found


def nearest_fill(site: Site, patterns: Patterns, feet: Feet, closers: Sequence[Closer], top: float) -> float:
    """Return the fill nearest to this place's that could be closed there [m]; NaN if there is none.

    Of a joint, both of whose ties must close over one pile, the mean of its fills. The truck's counts
    don't matter here, only what kinds of pieces it has.
    """
    usable = np.flatnonzero(feet.allowed[patterns.foot] == 1)
    base = (patterns.ticks + feet.shift[patterns.foot])[usable] * TICK
    room = patterns.room[usable] * TICK
    wanted = sum(site.fills) / len(site.fills)
    lowest, highest = 1e-9 - min(site.fills), top - max(site.fills)
    best = np.inf
    single = [(closer.start, closer.stop, closer.high) for closer in closers]
    ways = single if len(site.ties) == 1 else _stretches(closers)
    for chosen in product(ways, repeat=len(site.ties)):
        ends = list(zip(chosen, site.heights, strict=True))
        fits = room >= max(high for *_, high in chosen) - 1e-9
        low = base[fits] + max(start - height for (start, _, _), height in ends)
        high = base[fits] + min(stop - height for (_, stop, _), height in ends)
        low, high = np.maximum(low, lowest), np.minimum(high, highest)
        good = low <= high
        change = np.clip(0.0, low[good], high[good])
        if len(change):
            near = float(change[np.abs(change).argmin()])
            best = near if abs(near) < abs(best) else best
    return wanted + best if np.isfinite(best) else float("nan")
