"""The whole task as an integer program, and the way back from its variables to places and piles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.cribbing.closers import Closer, closers_of
from trackkit.cribbing.heights import Patterns, build_patterns, lay_pieces, to_cost
from trackkit.cribbing.options import Intervals, Rooms, Serving, both_at, feet_of, intervals_of, servings
from trackkit.cribbing.program import Program
from trackkit.cribbing.prune import best_columns, binding_pieces, classes_of, undominated
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.sites import Site, split
from trackkit.cribbing.truck import Truck

__all__ = ["Formulation", "Unserved", "formulate"]

Ints = NDArray[np.int64]

#: Price of a missing piece in boxes handled: no plan with a missing piece is ever cheaper than one without.
_MISSING: Final = 100.0


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
    purpose_patterns: Patterns
    foot: tuple[Ints, Ints]
    closers: tuple[Closer, ...]


@dataclass(frozen=True)
class Formulation:
    """The program and what its variables mean.

    Attributes
    ----------
    program : Program
    sites : tuple of Site
        The places served; joints that had to be split are split.
    purposes : tuple of Purpose
    pattern_purpose, pattern_row : ndarray
        Where each pattern variable comes from.
    pattern_cell : tuple of ndarray
        For every purpose, the program's cell of each of its patterns; -1 where it has none.
    column_closers : ndarray, shape (X, 4)
    column_footed : ndarray of bool, shape (X,)
    members, pair_members : tuple of tuple
        The places in each class; the pairs of places in each pair class.
    class_of : ndarray, shape (sites,)
    closers : tuple of Closer
        What ``column_closers`` counts.
    seat_wedge : int
        Place on the truck of the wedge used for seats; -1 if there is none.
    small_foot : frozenset of int
        Places whose fill is too low for the foot that the ground asks for.
    split : tuple of Site
        Joints that no single box can carry.
    unserved : tuple of Unserved
    """

    program: Program
    sites: tuple[Site, ...]
    purposes: tuple[Purpose, ...]
    pattern_purpose: Ints
    pattern_row: Ints
    pattern_cell: tuple[Ints, ...]
    column_closers: Ints
    column_footed: NDArray[np.bool_]
    members: tuple[tuple[int, ...], ...]
    pair_members: tuple[tuple[tuple[int, int], ...], ...]
    class_of: Ints
    closers: tuple[Closer, ...]
    seat_wedge: int
    small_foot: frozenset[int]
    split: tuple[Site, ...]
    unserved: tuple[Unserved, ...]


def formulate(sites: Sequence[Site], truck: Truck, rules: StackRules) -> Formulation:
    """Return the integer program that chooses a stack for every place.

    Places that cannot be served at all are left out of the program and listed.
    """
    workshop = _Workshop(truck, rules, sites)
    served, small, parted = list(sites), set[str](), []
    for _ in range(3):
        purposes = workshop.purposes(served, small)
        reached = {owner for purpose in purposes for i in purpose.serving.owner for owner in purpose.owners[i]}
        again, lost = False, []
        for number, site in enumerate(served):
            if number in reached:
                continue
            if rules.least_foot(site.ground) > 0 and _label(site) not in small:
                small.add(_label(site))
                again = True
            elif len(site.ties) > 1:
                parted.append(site)
                again = True
            else:
                lost.append(site)
        if not again:
            break
        gone = set(map(id, parted))
        served = [part for site in served for part in (split(site) if id(site) in gone else (site,))]
        served.sort(key=lambda site: site.key)
    unserved = tuple(workshop.unserved(site) for site in lost)
    if lost:
        gone = set(map(id, lost))
        served = [site for site in served if id(site) not in gone]
        purposes = workshop.purposes(served, small)
    low_feet = frozenset(number for number, site in enumerate(served) if _label(site) in small)
    return _assemble(workshop, tuple(served), purposes, low_feet, tuple(parted), unserved)


def _label(site: Site) -> str:
    return f"{site.support} {site.side} {site.ties}"


class _Workshop:
    """What is the same for all places: layers, patterns by purpose, closing pieces by bearing."""

    def __init__(self, truck: Truck, rules: StackRules, sites: Sequence[Site]) -> None:
        self.truck, self.rules = truck, rules
        self.laid = lay_pieces(truck, rules)
        self.top = max((max(site.heights) for site in sites), default=0.0) + rules.snug
        self.closers: tuple[Closer, ...] = ()
        self.by_bearing: dict[float, tuple[int, tuple[Closer, ...]]] = {}
        for bearing in sorted({site.bearing for site in sites}):
            own = closers_of(truck, bearing=bearing, rules=rules)
            self.by_bearing[bearing] = (len(self.closers), own)
            self.closers += own
        reaches = sorted({round(closer.high, 9) for closer in self.closers if closer.kind in ("single", "pair")})
        lows = [closer.high for closer in self.closers if closer.kind in ("none", "shim")]
        self.rooms = Rooms([int(np.ceil(high / 3.125e-6 - 1e-4)) for high in [max(lows, default=0.0), *reaches]])
        wedges = [place for place, piece in enumerate(truck.pieces) if piece.kind == "wedge"]
        self.seat_wedge = max(wedges, key=lambda place: (truck.pieces[place].count, -place), default=-1)
        self.patterns: dict[tuple[bool, ...] | None, Patterns] = {}

    def pattern_set(self, long_enough: tuple[bool, ...] | None) -> Patterns:
        """Return the patterns for a purpose; they are made once."""
        if long_enough not in self.patterns:
            flags = None if long_enough is None else np.array(long_enough, dtype=bool)
            self.patterns[long_enough] = build_patterns(
                self.laid, len(self.truck.pieces), self.rules, top=self.top, long_enough=flags
            )
        return self.patterns[long_enough]

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
        feet = [
            feet_of(site, self.laid, self.rules, any_foot=_label(site) in small) for site in sites
        ]
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
        shifted = [
            replace(end, closers=np.where(end.closers >= 0, end.closers + offset, end.closers)) for end in ends
        ]
        return shifted[0] if len(shifted) == 1 else both_at(shifted[0], shifted[1])

    def _pairs(self, sites: Sequence[Site]) -> list[tuple[int, int]]:
        """Return the ties whose two ends one long piece may carry."""
        if not self.rules.long_lumber:
            return []
        left = {(s.support, s.ties): i for i, s in enumerate(sites) if s.side == "left" and len(s.ties) == 1}
        pairs = []
        for j, site in enumerate(sites):
            i = left.get((site.support, site.ties))
            if site.side != "right" or i is None or not any(self.both_ends(site)):
                continue
            near = abs(sites[i].fills[0] - site.fills[0]) <= self.rules.long_lumber_difference
            if near and not sites[i].seat and not site.seat and sites[i].bearing == site.bearing:
                pairs.append((i, j))
        return pairs

    def unserved(self, site: Site) -> Unserved:
        """Return a place that cannot be served, with what is needed to find the nearest fill."""
        foot = feet_of(site, self.laid, self.rules, any_foot=True)
        patterns = self.pattern_set(self.purpose_of(site))
        return Unserved(site, patterns, foot, self.by_bearing[site.bearing][1])


def _never_bare(first: tuple[Ints, Ints], second: tuple[Ints, Ints]) -> tuple[Ints, Ints]:
    """Return the feet that both ends of a tie allow; one pile carries both only if it has a foot."""
    allowed = first[0] * second[0]
    allowed[-1] = 0
    return allowed, first[1]


def _assemble(
    shop: _Workshop,
    sites: tuple[Site, ...],
    purposes: Sequence[Purpose],
    small_foot: frozenset[int],
    parted: tuple[Site, ...],
    unserved: tuple[Unserved, ...],
) -> Formulation:
    """Join the purposes into one program, and drop what cannot matter."""
    n_items = len(shop.truck.pieces)
    takes = _takes(shop.closers, n_items)
    owner, other, cell, cost, closers, footed = _columns(purposes, shop, sites)
    use = takes[closers].sum(axis=1)
    seated = np.array([site.seat != "" for site in sites], dtype=bool)[owner] & footed
    cost = cost + np.where(seated, to_cost(shop.rules.seat_cost), 0)
    if shop.seat_wedge >= 0:
        wedged = np.array([site.seat == "wedge" for site in sites], dtype=bool)[owner] & footed
        use[wedged, shop.seat_wedge] += 1
    p_purpose, p_row, p_cell, p_cost, p_use = _patterns(purposes)
    stock = np.array([piece.count for piece in shop.truck.pieces], dtype=np.int64)
    binding = binding_pieces(len(sites), owner, other, cell, use, p_cell, p_use, stock)
    keep = best_columns(owner, other, cell, cost, use[:, binding])
    owner, other, cell, cost, closers, footed, use = (
        array[keep] for array in (owner, other, cell, cost, closers, footed, use)
    )
    keep = np.flatnonzero(np.isin(p_cell, cell))
    keep = keep[undominated(p_cell[keep], p_cost[keep], p_use[keep][:, binding])]
    groups = classes_of(len(sites), owner, other, cell, cost, closers)
    chosen = groups.columns
    cells, dense = np.unique(np.concatenate((cell[chosen], p_cell[keep])), return_inverse=True)
    first = len(chosen)
    program = Program(
        p_cost[keep],
        dense[first:].astype(np.int64),
        p_use[keep][:, binding],
        cost[chosen],
        dense[:first].astype(np.int64),
        use[chosen][:, binding],
        groups.first,
        groups.second,
        groups.pair,
        np.array([len(group) for group in groups.members], dtype=np.int64),
        np.array([len(group) for group in groups.pair_members], dtype=np.int64),
        stock[binding],
        np.full(len(binding), to_cost(_MISSING), dtype=np.int64),
        len(cells),
    )
    return Formulation(
        program,
        sites,
        tuple(purposes),
        p_purpose[keep],
        p_row[keep],
        _cells_by_purpose(purposes, cells),
        closers[chosen],
        footed[chosen],
        groups.members,
        groups.pair_members,
        groups.class_of,
        shop.closers,
        shop.seat_wedge,
        small_foot,
        parted,
        unserved,
    )


def _takes(closers: Sequence[Closer], n_items: int) -> Ints:
    """Return what each closing piece takes from the truck; the last row is none."""
    takes = np.zeros((len(closers) + 1, n_items), dtype=np.int64)
    for place, closer in enumerate(closers):
        for piece, count in closer.takes:
            takes[place, piece] = count
    return takes


def _columns(
    purposes: Sequence[Purpose], shop: _Workshop, sites: Sequence[Site]
) -> tuple[Ints, Ints, Ints, Ints, Ints, NDArray[np.bool_]]:
    """Return the columns of all purposes: first and second place served, cell, cost, closers, footed."""
    parts, offset = [], 0
    for purpose in purposes:
        serving = purpose.serving
        owners = np.array([(own[0], own[1] if len(own) > 1 else -1) for own in purpose.owners])
        owners = owners.reshape(-1, 2).astype(np.int64)
        pair = owners[serving.owner]
        parts.append((pair[:, 0], pair[:, 1], serving.cell + offset, serving.cost, serving.closers, serving.footed))
        offset += serving.n_cells
    if not parts:
        none = np.zeros(0, dtype=np.int64)
        return none, none, none, none, np.zeros((0, 4), np.int64), none.astype(bool)
    joined = [np.concatenate([part[place] for part in parts]) for place in range(6)]
    return joined[0], joined[1], joined[2], joined[3], joined[4], joined[5]


def _patterns(purposes: Sequence[Purpose]) -> tuple[Ints, Ints, Ints, Ints, Ints]:
    """Return every pattern that has a cell: purpose, row, cell, cost with its tie-break, use."""
    parts, offset = [], 0
    for number, purpose in enumerate(purposes):
        rows = np.flatnonzero(purpose.serving.pattern_cell >= 0)
        cost = purpose.patterns.cost[rows] + _tie_break(purpose.patterns, rows)
        cell = purpose.serving.pattern_cell[rows] + offset
        parts.append((np.full(len(rows), number), rows, cell, cost, purpose.patterns.use[rows]))
        offset += purpose.serving.n_cells
    if not parts:
        none = np.zeros(0, dtype=np.int64)
        return none, none, none, none, np.zeros((0, 0), np.int64)
    joined = [np.concatenate([part[place] for part in parts]) for place in range(5)]
    return joined[0], joined[1], joined[2], joined[3], joined[4]


def _tie_break(patterns: Patterns, rows: Ints) -> Ints:
    """Return a few cost units that tell patterns of one price apart: wide layers first."""
    return np.asarray(patterns.counts[rows] @ np.arange(len(patterns.laid)), dtype=np.int64)


def _cells_by_purpose(purposes: Sequence[Purpose], cells: Ints) -> tuple[Ints, ...]:
    """Return, for every purpose, the program's cell of each pattern, -1 where it has none."""
    found, offset = [], 0
    for purpose in purposes:
        own = purpose.serving.pattern_cell
        place = np.searchsorted(cells, own + offset)
        known = (own >= 0) & (place < len(cells))
        known[known] = cells[place[known]] == own[known] + offset
        found.append(np.where(known, place, -1).astype(np.int64))
        offset += purpose.serving.n_cells
    return tuple(found)
