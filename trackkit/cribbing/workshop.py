"""What places share: the layers that can lie there, the piles for each purpose, the closing pieces."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trackkit.cribbing.closers import Closer, closers_of
from trackkit.cribbing.heights import TICK, Laid, Patterns, build_patterns, lay_pieces
from trackkit.cribbing.options import (
    Feet,
    Intervals,
    Rooms,
    Serving,
    both_at,
    feet_of,
    intervals_of,
    nearest_fill,
    servings,
)
from trackkit.cribbing.placing import is_narrow, layers_at, seat_raises, slide, stands_bare
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.sites import Site
from trackkit.cribbing.truck import Truck

__all__ = ["Lay", "Purpose", "Unserved", "Workshop", "label_of"]

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Lay:
    """The layers that may be used for a purpose, and which of them carry two tie ends with one piece.

    ``carries`` is None where there is one tie end.
    """

    laid: tuple[Laid, ...]
    carries: tuple[bool, ...] | None = None


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
        feet = feet_of(self.site, self.shop.lay_at(self.site).laid, self.shop.rules, any_foot=True)
        _, closers = self.shop.closers_at(self.site)
        return nearest_fill(self.site, self.shop.higher(self.site), feet, closers, self.shop.rules.top)


def label_of(site: Site) -> str:
    """Return a name that tells a place from every other."""
    return f"{site.support} {site.side} {site.ties}"


class Workshop:
    """What is the same for all places: layers, patterns by purpose, closing pieces by bearing and reach."""

    def __init__(
        self, truck: Truck, rules: StackRules, sites: Sequence[Site], *, packed: bool = False
    ) -> None:
        self.truck, self.rules = truck, rules
        self.laid = lay_pieces(truck, rules)
        self.closers: tuple[Closer, ...] = ()
        self._closers: dict[tuple[float, float], tuple[int, tuple[Closer, ...]]] = {}
        alone = {(site.bearing, math.inf) for site in sites}  # a joint may be parted
        for bearing, reach in sorted(alone | {self._closes(site) for site in sites}):
            own = closers_of(truck, bearing=bearing, rules=rules, packed=packed, reach=reach)
            self._closers[bearing, reach] = (len(self.closers), own)
            self.closers += own
        reaches = sorted(
            {round(closer.high, 9) for closer in self.closers if closer.kind in ("single", "pair")}
        )
        lows = [closer.high for closer in self.closers if closer.kind in ("none", "shim")]
        self.rooms = Rooms([math.ceil(high / TICK - 1e-4) for high in [max(lows, default=0.0), *reaches]])
        wedges = [place for place, piece in enumerate(truck.pieces) if piece.kind == "wedge"]
        self.seat_wedge = max(wedges, key=lambda place: (truck.pieces[place].count, -place), default=-1)
        self.level_feet: dict[tuple[str, bool, bool, Lay], Feet] = {}
        self.lays: dict[tuple[object, ...], Lay] = {}
        self.patterns: dict[tuple[Lay, float], Patterns] = {}
        self.top = max((max(site.heights) + self.depth(site) for site in sites), default=0.0) + rules.snug

    def closers_at(self, site: Site) -> tuple[int, tuple[Closer, ...]]:
        """Return the closing pieces that go under the ties of a place, and how many stand before them."""
        return self._closers[self._closes(site)]

    def _closes(self, site: Site) -> tuple[float, float]:
        """Return bearing and reach of what closes there: along the track a joint's two wedges meet."""
        meet = len(site.ties) > 1 and self.rules.walk_side in (site.side, "both")
        return site.bearing, round((site.span + site.bearing) / 2.0, 6) if meet else math.inf

    def pattern_set(self, lay: Lay, *, top: float | None = None) -> Patterns:
        """Return the patterns for a purpose, up to the highest place or to ``top``; they are made once."""
        top = self.top if top is None else top
        if (lay, top) not in self.patterns:
            flags = None if lay.carries is None else np.array(lay.carries, dtype=bool)
            self.patterns[lay, top] = build_patterns(
                lay.laid, len(self.truck.pieces), self.rules, top=top, long_enough=flags
            )
        return self.patterns[lay, top]

    def lay_at(self, site: Site) -> Lay:
        """Return the layers that can lie at a place, and which of them carry both ties of a joint."""
        key = (site.frees, site.offsets, site.bearing, site.side)
        if key not in self.lays:
            laid = layers_at(site, self.laid, self.rules)
            joint = len(site.ties) > 1
            if joint and math.isinf(self._closes(site)[1]):  # its wedges have no room along the track
                laid = tuple(one for one in laid if not is_narrow(site, one.across, self.rules))
            carries = tuple(one.length >= site.need - 1e-9 for one in laid) if joint else None
            self.lays[key] = self._same(Lay(laid, carries))
        return self.lays[key]

    def depth(self, site: Site) -> float:
        """Return how far below the ground scraping has a pile stand at most there [m]."""
        if site.seat != "scrape":
            return 0.0
        return max(0.0, -min(seat_raises(site, self.lay_at(site).laid, self.rules), default=0.0))

    def is_cramped(self, site: Site) -> bool:
        """Return whether what is beside it leaves some piece no room along the run there."""
        alone = replace(site, frees=(((), ()),) * len(site.ties))
        return self.lay_at(site).laid != self.lay_at(alone).laid

    def lay_across(self, left: Site, right: Site) -> Lay:
        """Return the layers for both ends of a tie, and which of them go through: lumber longer than that."""
        key = ("both ends", left.frees, right.frees, left.bearing)
        if key not in self.lays:
            need = self.rules.gauge + 2.0 * left.bearing
            through = {one for one in self.laid if one.kind in ("lumber", "ply") and one.length > need}
            laid = tuple(
                one
                for one in self.laid
                if all(_lies_free(site, one, one in through, self.rules) for site in (left, right))
            )
            self.lays[key] = self._same(Lay(laid, tuple(one in through for one in laid)))
        return self.lays[key]

    def _same(self, lay: Lay) -> Lay:
        """Return the lay that is equal to this one, so that the places that share it are served together."""
        return next((o for o in self.lays.values() if (o.laid, o.carries) == (lay.laid, lay.carries)), lay)

    def purposes(self, sites: Sequence[Site], small: set[str]) -> list[Purpose]:
        """Return every purpose with the places that it serves."""
        closers = [self.closers_at(site) for site in sites]
        depths = [self.depth(site) for site in sites]
        ends = intervals_of(sites, [own for _, own in closers], depths, self.rules)
        single = [self._one(ends[i], closers[i][0]) for i in range(len(sites))]
        owners: dict[tuple[str, Lay], list[tuple[int, ...]]] = {}
        for number, site in enumerate(sites):
            kind = "joint" if len(site.ties) > 1 else "tie"
            owners.setdefault((kind, self.lay_at(site)), []).append((number,))
        for left, right in self._pairs(sites):
            lay = self.lay_across(sites[left], sites[right])
            owners.setdefault(("both ends", lay), []).append((left, right))
        found = []
        for (kind, lay), places in owners.items():
            patterns = self.pattern_set(lay)
            own = [single[p[0]] if len(p) == 1 else both_at(single[p[0]], single[p[1]]) for p in places]
            stand = [self._stand([sites[place] for place in p], lay, small) for p in places]
            found.append(Purpose(kind, patterns, tuple(places), servings(patterns, own, stand, self.rooms)))
        return found

    def too_low(self, site: Site) -> bool:
        """Return whether the thinnest foot that the ground asks for leaves less than a wedge closes."""
        return min(site.heights) < self.lowest_on_foot(site)

    def lowest_on_foot(self, site: Site) -> float:
        """Return the least that the thinnest foot the ground asks for and a wedge close [m].

        -inf where the ground asks for no foot, or where there is none.
        """
        least = self.rules.least_foot(site.ground)
        feet = [one for one in self.lay_at(site).laid if one.area >= least - 1e-9]
        if least == 0.0 or not feet:
            return -math.inf
        wedged = [one.start for one in self.closers_at(site)[1] if one.kind in ("single", "pair")]
        return min(one.thickness for one in feet) + min(wedged, default=0.0)

    def _stand(self, places: Sequence[Site], lay: Lay, small: set[str]) -> Feet:
        """Return the feet that a place, or both ends of a tie, allow."""
        feet = [self._feet(site, lay, label_of(site) in small) for site in places]
        return feet[0] if len(feet) == 1 else _never_bare(*feet)

    def _feet(self, site: Site, lay: Lay, any_foot: bool) -> Feet:
        """Return the feet that a place allows; places without a seat on like ground share theirs."""
        if site.seat:
            return feet_of(site, lay.laid, self.rules, any_foot=any_foot)
        key = (site.ground, any_foot, stands_bare(site, self.rules), lay)
        if key not in self.level_feet:
            self.level_feet[key] = feet_of(site, lay.laid, self.rules, any_foot=any_foot)
        return self.level_feet[key]

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
            if site.side != "right" or i is None or not any(self.lay_across(sites[i], site).carries or ()):
                continue
            near = abs(sites[i].fills[0] - site.fills[0]) <= self.rules.long_lumber_difference
            if near and not sites[i].seat and not site.seat and sites[i].bearing == site.bearing:
                pairs.append((i, j))
        return pairs

    def higher(self, site: Site) -> Patterns:
        """Return the patterns for a place up to one piece more than the highest place asks for."""
        most = self.top + max((one.thickness for one in self.laid), default=0.0)
        return self.pattern_set(self.lay_at(site), top=min(most, self.rules.top))


def _lies_free(site: Site, one: Laid, through: bool, rules: StackRules) -> bool:
    """Return whether a layer lies clear there without being slid; one that goes through lies across."""
    if through:
        return slide(site, one.width, one.length, rules, through=True) == 0.0
    return slide(site, one.length, one.across, rules) == 0.0


def _never_bare(first: Feet, second: Feet) -> Feet:
    """Return the feet that both ends of a tie allow; one pile carries both only if it has a foot."""
    allowed = first.allowed * second.allowed
    allowed[-1] = 0
    return Feet(allowed, first.shift, np.maximum(first.price, second.price))
