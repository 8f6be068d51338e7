"""The cheapest stack for every fill at once.

A pile with a closing piece closes a span of fills at one price. Taken from the cheapest on, each gets
what no cheaper one has: that is the cheapest of all, for every fill. Spans are whole nanometres.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.cribbing.closers import Closer, height_bands
from trackkit.cribbing.formulate import tie_break
from trackkit.cribbing.heights import COST_UNITS, TICK, Patterns, to_cost
from trackkit.cribbing.options import feet_of
from trackkit.cribbing.sites import Site
from trackkit.cribbing.workshop import Workshop

__all__ = ["NANO", "Span", "cheapest_stacks", "outside"]

#: Nanometres in a metre.
NANO: Final = 1_000_000_000
#: Spans looked at between two looks at what is left.
_CHUNK: Final = 256

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Stretches = list[tuple[int, int]]


@dataclass(frozen=True)
class Span:
    """A stretch of fills and the stack that closes them.

    Attributes
    ----------
    start, stop : int
        Fills that it is the cheapest for [nm].
    cost : float
        In boxes handled; NaN where nothing closes them.
    low, high : float
        Fills that the stack still closes, only its closing piece moved [m].
    takes : tuple of int
        How many of each piece of the truck.
    last_resort : bool
    """

    start: int
    stop: int
    cost: float
    low: float
    high: float
    takes: tuple[int, ...]
    last_resort: bool

    def same_as(self, other: Span) -> bool:
        """Return whether it goes on where the other stops, with the same stack at the same cost."""
        mine, its = ((one.cost, one.low, one.high, one.takes, one.last_resort) for one in (self, other))
        return other.stop == self.start and mine == its


def cheapest_stacks(
    shop: Workshop, site: Site, free: Stretches, *, any_foot: bool, last_resort: bool
) -> list[Span]:
    """Return the cheapest stack for every fill in ``free`` that this workshop can close.

    Parameters
    ----------
    shop : Workshop
        Made for the site alone.
    site : Site
        A single tie end on level ground, as high as any fill in ``free``.
    free : list of (int, int)
        Stretches of fills [nm], rising.
    any_foot : bool
        Whether a foot smaller than the ground asks for will do, at its price.
    last_resort : bool
        What the spans say of themselves.
    """
    if not free:
        return []
    lay = shop.lay_at(site)
    patterns, (_, closers) = shop.pattern_set(lay), shop.closers_at(site)
    feet = feet_of(site, lay.laid, shop.rules, any_foot=any_foot)
    cost = patterns.cost + tie_break(patterns, np.arange(len(patterns.ticks))) + feet.price[patterns.foot]
    rows = _not_beaten(patterns, cost, feet.allowed[patterns.foot] == 1, shop)
    start, stop, price = height_bands(closers, [site.sds[0]], shop.rules)
    bands = price.shape[1]
    base = (patterns.ticks[rows] * TICK)[:, None]
    lows, highs = (np.rint((base + edge[0].ravel()) * NANO).astype(np.int64) for edge in (start, stop))
    ceilings = np.array([np.ceil(closer.high / TICK - 1e-4) for closer in closers], dtype=np.int64)
    steps = shop.rooms.needed(ceilings)  # as `options.servings` keeps the height-to-base rule
    fits = shop.rooms.given(patterns.room[rows])[:, None] >= np.repeat(steps, bands)
    pile, band = np.nonzero((start[0] < stop[0]).ravel() & fits & _meets(lows, highs, free))
    lows, highs, closer = lows[pile, band], highs[pile, band], band // bands
    prices = np.array([to_cost(value) for value in price.ravel()], dtype=np.int64)
    total = cost[rows][pile] + prices[band]
    handled = patterns.use[rows].sum(axis=1)[pile] + _taken(closers)[closer]
    order = np.lexsort((lows, handled, total))
    found = []
    for a, b, number in _deal(free, lows[order], highs[order]):
        way = order[number]
        row, own = rows[pile[way]], closers[closer[way]]
        height = float(patterns.ticks[row] * TICK)
        takes = patterns.use[row].copy()
        for place, count in own.takes:
            takes[place] += count
        kept = (float(total[way]) / COST_UNITS, round(height + own.low, 9), round(height + own.high, 9))
        found.append(Span(a, b, *kept, tuple(takes.tolist()), last_resort))
    return found


def outside(free: Stretches, spans: Sequence[Span]) -> Stretches:
    """Return what of the stretches no span covers."""
    left = list(free)
    for span in spans:
        left = [
            part
            for a, b in left
            for part in ((a, min(b, span.start)), (max(a, span.stop), b))
            if part[0] < part[1]
        ]
    return left


def _taken(closers: Sequence[Closer]) -> Ints:
    return np.array([sum(count for _, count in closer.takes) for closer in closers], dtype=np.int64)


def _not_beaten(patterns: Patterns, cost: Ints, allowed: NDArray[np.bool_], shop: Workshop) -> Ints:
    """Return the cheapest pattern of every height and room, then of the fewest pieces."""
    rows = np.flatnonzero(allowed & (patterns.room >= 0))
    room = shop.rooms.given(patterns.room)
    rows = rows[np.lexsort((patterns.use[rows].sum(axis=1), cost[rows], room[rows], patterns.ticks[rows]))]
    first = np.ones(len(rows), dtype=bool)
    first[1:] = (np.diff(patterns.ticks[rows]) != 0) | (np.diff(room[rows]) != 0)
    return rows[first]


def _meets(lows: Ints, highs: Ints, free: Stretches) -> NDArray[np.bool_]:
    """Return which spans meet any free stretch."""
    starts, stops = (np.array(edge, dtype=np.int64) for edge in zip(*free, strict=True))
    place = np.searchsorted(stops, lows, side="right")
    met = place < len(stops)
    return np.asarray(met & (starts[np.minimum(place, len(stops) - 1)] < highs))


def _deal(free: Stretches, lows: Ints, highs: Ints) -> list[tuple[int, int, int]]:
    """Give each free stretch to the first span that covers it: from, to, which span."""
    left, dealt = list(free), []
    for first in range(0, len(lows), _CHUNK):
        if not left:
            break
        part = slice(first, first + _CHUNK)
        for number in (first + np.flatnonzero(_meets(lows[part], highs[part], left))).tolist():
            low, high = int(lows[number]), int(highs[number])
            begin = bisect_right(left, low, key=lambda stretch: stretch[1])
            end = begin
            parts = []
            while end < len(left) and left[end][0] < high:
                a, b = left[end]
                dealt.append((max(a, low), min(b, high), number))
                parts += [cut for cut in ((a, low), (high, b)) if cut[0] < cut[1]]
                end += 1
            left[begin:end] = parts
    return dealt
