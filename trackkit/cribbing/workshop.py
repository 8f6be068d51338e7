"""What is the same for all places: the layers, the piles for each purpose, the closing pieces."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trackkit.cribbing.closers import Closer, closers_of
from trackkit.cribbing.heights import TICK, Patterns, build_patterns, lay_pieces
from trackkit.cribbing.options import (
    Intervals,
    Rooms,
    Serving,
    both_at,
    feet_of,
    intervals_of,
    nearest_fill,
    servings,
)
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.sites import Site
from trackkit.cribbing.truck import Truck

__all__ = ["Purpose", "Unserved", "Workshop", "label_of"]

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Purpose:
    """The piles for one purpose: under one tie end, under a joint, or under both ends of a tie.

    ``owners`` are places by number, two of them where one pile carries both tie ends.
    """

    kind: str
    patterns: Patterns
    owners: tuple[tuple[int, ...], ...]
    serving: Serving


@dataclass(frozen=True)
class Unserved:
    """A place where nothing works, whatever the counts."""

    site: Site
    shop: Workshop

    @property
    def nearest(self) -> float:
        """The fill nearest to this place's that could be closed there [m]; NaN if there is none."""
        foot = feet_of(self.site, self.shop.laid, self.shop.rules, any_foot=True)
        closers = self.shop.by_bearing[self.site.bearing][1]
        return nearest_fill(self.site, self.shop.higher(self.site), foot, closers, self.shop.rules.top)


def label_of(site: Site) -> str:
    """Return a name that tells a place from every other."""
    return f"{site.support} {site.side} {site.ties}"


class Workshop:
    """What is the same for all places: layers, patterns by purpose, closing pieces by bearing."""

    def __init__(
        self, truck: Truck, rules: StackRules, sites: Sequence[Site], *, packed: bool = False
    ) -> None:
        self.truck, self.rules = truck, rules
        self.laid = lay_pieces(truck, rules)
        self.top = max((max(site.heights) for site in sites), default=0.0) + rules.snug
        self.closers: tuple[Closer, ...] = ()
        self.by_bearing: dict[float, tuple[int, tuple[Closer, ...]]] = {}
        for bearing in sorted({site.bearing for site in sites}):
            own = closers_of(truck, bearing=bearing, rules=rules, packed=packed)
            self.by_bearing[bearing] = (len(self.closers), own)
            self.closers += own
        reaches = sorted(
            {round(closer.high, 9) for closer in self.closers if closer.kind in ("single", "pair")}
        )
        lows = [closer.high for closer in self.closers if closer.kind in ("none", "shim")]
        self.rooms = Rooms([math.ceil(high / TICK - 1e-4) for high in [max(lows, default=0.0), *reaches]])
        wedges = [place for place, piece in enumerate(truck.pieces) if piece.kind == "wedge"]
        self.seat_wedge = max(wedges, key=lambda place: (truck.pieces[place].count, -place), default=-1)
        self.patterns: dict[tuple[tuple[bool, ...] | None, float], Patterns] = {}

    def pattern_set(self, long_enough: tuple[bool, ...] | None, *, top: float | None = None) -> Patterns:
        """Return the patterns for a purpose, up to the highest place or to ``top``; they are made once."""
        top = self.top if top is None else top
        if (long_enough, top) not in self.patterns:
            flags = None if long_enough is None else np.array(long_enough, dtype=bool)
            self.patterns[long_enough, top] = build_patterns(
                self.laid, len(self.truck.pieces), self.rules, top=top, long_enough=flags
            )
        return self.patterns[long_enough, top]

    def purpose_of(self, site: Site) -> tuple[bool, ...] | None:
        """Return which layers carry both ties of a joint with one piece; None for one tie."""
        return tuple(one.length >= site.need - 1e-9 for one in self.laid) if len(site.ties) > 1 else None

    def both_ends(self, site: Site) -> tuple[bool, ...]:
        """Return which layers carry both ends of a tie: longer than gauge and two bearings."""
        need = self.rules.gauge + 2.0 * site.bearing
        return tuple(one.kind in ("lumber", "ply") and one.length > need for one in self.laid)

    def purposes(self, sites: Sequence[Site], small: set[str]) -> list[Purpose]:
        """Return every purpose with the places that it serves."""
        closers = [self.by_bearing[site.bearing] for site in sites]
        ends = intervals_of(sites, [own for _, own in closers], self.rules)
        single = [self._one(ends[i], closers[i][0]) for i in range(len(sites))]
        feet = [feet_of(site, self.laid, self.rules, any_foot=label_of(site) in small) for site in sites]
        owners: dict[tuple[str, tuple[bool, ...] | None], list[tuple[int, ...]]] = {}
        for number, site in enumerate(sites):
            kind = "joint" if len(site.ties) > 1 else "tie"
            owners.setdefault((kind, self.purpose_of(site)), []).append((number,))
        for left, right in self._pairs(sites):
            owners.setdefault(("both ends", self.both_ends(sites[left])), []).append((left, right))
        found = []
        for (kind, long_enough), places in owners.items():
            patterns = self.pattern_set(long_enough)
            own = [single[p[0]] if len(p) == 1 else both_at(single[p[0]], single[p[1]]) for p in places]
            stand = [feet[p[0]] if len(p) == 1 else _never_bare(feet[p[0]], feet[p[1]]) for p in places]
            found.append(Purpose(kind, patterns, tuple(places), servings(patterns, own, stand, self.rooms)))
        return found

    def _one(self, ends: list[Intervals], offset: int) -> Intervals:
        shifted = ends
        if offset:
            shifted = [
                replace(end, closers=np.where(end.closers >= 0, end.closers + offset, end.closers))
                for end in ends
            ]
        return shifted[0] if len(shifted) == 1 else both_at(shifted[0], shifted[1])

    def _pairs(self, sites: Sequence[Site]) -> list[tuple[int, int]]:
        """Return the ties whose two ends one long piece may carry."""
        if not self.rules.long_lumber:
            return []
        left: dict[tuple[str, tuple[int, ...]], int] = {
            (s.support, s.ties): i for i, s in enumerate(sites) if s.side == "left" and len(s.ties) == 1
        }
        pairs = []
        for j, site in enumerate(sites):
            i = left.get((site.support, site.ties))
            if site.side != "right" or i is None or not any(self.both_ends(site)):
                continue
            near = abs(sites[i].fills[0] - site.fills[0]) <= self.rules.long_lumber_difference
            if near and not sites[i].seat and not site.seat and sites[i].bearing == site.bearing:
                pairs.append((i, j))
        return pairs

    def higher(self, site: Site) -> Patterns:
        """Return the patterns for a place up to one piece more than the highest place asks for."""
        most = self.top + max((one.thickness for one in self.laid), default=0.0)
        return self.pattern_set(self.purpose_of(site), top=min(most, self.rules.top))


def _never_bare(first: tuple[Ints, Ints], second: tuple[Ints, Ints]) -> tuple[Ints, Ints]:
    """Return the feet that both ends of a tie allow; one pile carries both only if it has a foot."""
    allowed = first[0] * second[0]
    allowed[-1] = 0
    return allowed, first[1]
