"""The whole task as an integer program, and the way back from its variables to places and piles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.cribbing.closers import Closer
from trackkit.cribbing.heights import Patterns, to_cost
from trackkit.cribbing.program import Program, each_by_itself
from trackkit.cribbing.prune import best_columns, binding_pieces, classes_of, undominated
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.sites import Site, split
from trackkit.cribbing.truck import Truck
from trackkit.cribbing.workshop import Purpose, Unserved, Workshop, label_of

__all__ = ["Formulation", "formulate", "tie_break"]

Ints = NDArray[np.int64]

#: Price of a missing piece in boxes handled: no plan with a missing piece is ever cheaper than one without.
_MISSING: Final = 100.0


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
    split: tuple[Site, ...]
    unserved: tuple[Unserved, ...]


def formulate(
    sites: Sequence[Site],
    truck: Truck,
    rules: StackRules,
    *,
    all_pieces: bool = False,
    packed: bool = False,
) -> Formulation:
    """Return the integer program that chooses a stack for every place.

    Places that cannot be served at all are left out of the program and listed. Pieces that cannot run
    out have no row in it, unless ``all_pieces`` asks for them. With ``packed`` wedges may stand on shims,
    which is for the few places that nothing else serves (`trackkit.cribbing.resort`).
    """
    workshop = Workshop(truck, rules, sites, packed=packed)
    served, parted = list(sites), list[Site]()
    small = set[str]()
    while True:  # each turn excuses a foot, parts a joint, or ends
        small |= {label_of(site) for site in served if workshop.too_low(site)}
        purposes = workshop.purposes(served, small)
        reached = {
            owner
            for purpose in purposes
            for i in np.unique(purpose.serving.owner)
            for owner in purpose.owners[i]
        }
        again, lost = False, []
        for number, site in enumerate(served):
            if number in reached:
                continue
            if rules.least_foot(site.ground) > 0 and label_of(site) not in small:
                small.add(label_of(site))
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
    unserved = tuple(Unserved(site, workshop) for site in lost)
    if lost:
        gone = set(map(id, lost))
        served = [site for site in served if id(site) not in gone]
        purposes = workshop.purposes(served, small)
    joined = _join(workshop, tuple(served), purposes, all_pieces=all_pieces)
    parts = (workshop, tuple(served), purposes, tuple(parted), unserved)
    if not all_pieces:
        plain = _assemble(joined, *parts, cheapest_only=True)
        alone = each_by_itself(plain.program)
        if alone is not None and alone.proven:
            return plain
    return _assemble(joined, *parts, cheapest_only=False)


@dataclass(frozen=True)
class _Joined:
    """All columns and patterns there are, and the pieces that could run out."""

    owner: Ints
    other: Ints
    cell: Ints
    cost: Ints
    use: Ints
    closers: Ints
    footed: NDArray[np.bool_]
    patterns: tuple[Ints, Ints, Ints, Ints, Ints]
    stock: Ints
    binding: Ints


def _join(
    shop: Workshop, sites: tuple[Site, ...], purposes: Sequence[Purpose], *, all_pieces: bool
) -> _Joined:
    """Join the purposes into one table of columns and one of patterns."""
    n_items = len(shop.truck.pieces)
    takes = _takes(shop.closers, n_items)
    owner, other, cell, cost, closers, footed = _columns(purposes, shop, sites)
    use = takes[closers].sum(axis=1)
    seated = np.array([site.seat != "" for site in sites], dtype=bool)[owner] & footed
    cost = cost + np.where(seated, to_cost(shop.rules.seat_cost), 0)
    if shop.seat_wedge >= 0:
        wedges = [sum(site.seat_ways) if site.seat == "wedge" else 0 for site in sites]
        use[:, shop.seat_wedge] += np.array(wedges, dtype=np.int64)[owner] * footed
    patterns = _patterns(purposes, n_items)
    stock = np.array([piece.count for piece in shop.truck.pieces], dtype=np.int64)
    if all_pieces:
        binding = np.arange(n_items)
    else:
        binding = binding_pieces(len(sites), owner, other, cell, use, patterns[2], patterns[4], stock)
    return _Joined(owner, other, cell, cost, use, closers, footed, patterns, stock, binding)


def _assemble(
    joined: _Joined,
    shop: Workshop,
    sites: tuple[Site, ...],
    purposes: Sequence[Purpose],
    parted: tuple[Site, ...],
    unserved: tuple[Unserved, ...],
    *,
    cheapest_only: bool,
) -> Formulation:
    """Make one program of what was joined, and drop what cannot matter.

    With ``cheapest_only``, one pattern and one column stay for each purpose they could serve: that is
    enough if nothing runs out.
    """
    owner, other, cell, cost, use = joined.owner, joined.other, joined.cell, joined.cost, joined.use
    closers, footed, binding = joined.closers, joined.footed, joined.binding
    p_purpose, p_row, p_cell, p_cost, p_use = joined.patterns
    rivals = binding[:0] if cheapest_only else binding
    keep = best_columns(owner, other, cell, cost, use[:, rivals])
    owner, other, cell, cost = owner[keep], other[keep], cell[keep], cost[keep]
    closers, footed, use = closers[keep], footed[keep], use[keep]
    keep = np.flatnonzero(np.isin(p_cell, cell))
    keep = keep[undominated(p_cell[keep], p_cost[keep], p_use[keep][:, rivals])]
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
        joined.stock[binding],
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
    purposes: Sequence[Purpose], shop: Workshop, sites: Sequence[Site]
) -> tuple[Ints, Ints, Ints, Ints, Ints, NDArray[np.bool_]]:
    """Return the columns of all purposes: first and second place served, cell, cost, closers, footed."""
    parts, offset = [], 0
    for purpose in purposes:
        serving = purpose.serving
        owners = np.array([(own[0], own[1] if len(own) > 1 else -1) for own in purpose.owners])
        owners = owners.reshape(-1, 2).astype(np.int64)
        pair = owners[serving.owner]
        parts.append(
            (pair[:, 0], pair[:, 1], serving.cell + offset, serving.cost, serving.closers, serving.footed)
        )
        offset += serving.n_cells
    if not parts:
        none = np.zeros(0, dtype=np.int64)
        return none, none, none, none, np.zeros((0, 4), np.int64), none.astype(bool)
    joined = [np.concatenate([part[place] for part in parts]) for place in range(6)]
    return joined[0], joined[1], joined[2], joined[3], joined[4], joined[5]


def _patterns(purposes: Sequence[Purpose], n_items: int) -> tuple[Ints, Ints, Ints, Ints, Ints]:
    """Return every pattern that has a cell: purpose, row, cell, cost with its tie-break, use."""
    parts, offset = [], 0
    for number, purpose in enumerate(purposes):
        rows = np.flatnonzero(purpose.serving.pattern_cell >= 0)
        cost = purpose.patterns.cost[rows] + tie_break(purpose.patterns, rows)
        cell = purpose.serving.pattern_cell[rows] + offset
        parts.append((np.full(len(rows), number), rows, cell, cost, purpose.patterns.use[rows]))
        offset += purpose.serving.n_cells
    if not parts:
        none = np.zeros(0, dtype=np.int64)
        return none, none, none, none, np.zeros((0, n_items), np.int64)
    joined = [np.concatenate([part[place] for part in parts]) for place in range(5)]
    return joined[0], joined[1], joined[2], joined[3], joined[4]


def tie_break(patterns: Patterns, rows: Ints) -> Ints:
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
