"""What can be left out of the integer program without losing its optimum, and what can be joined."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

__all__ = ["Groups", "best_columns", "binding_pieces", "classes_of", "undominated"]

Ints = NDArray[np.int64]


def binding_pieces(
    n_sites: int,
    owner: Ints,
    other: Ints,
    cell: Ints,
    use: Ints,
    pattern_cell: Ints,
    pattern_use: Ints,
    stock: Ints,
) -> Ints:
    """Return the pieces that could run out: all others need no row in the program.

    A piece cannot run out if there are as many as all places would take together, each in the way
    that takes most.
    """
    if not len(owner):
        return np.zeros(0, dtype=np.int64)
    n_cells = int(max(cell.max(), pattern_cell.max(initial=0))) + 1
    most = np.zeros((n_cells, len(stock)), dtype=np.int64)
    np.maximum.at(most, pattern_cell, pattern_use)
    worst = np.zeros((n_sites, len(stock)), dtype=np.int64)
    total = use + most[cell]
    np.maximum.at(worst, owner, total)
    paired = other >= 0
    np.maximum.at(worst, other[paired], total[paired])
    return np.flatnonzero(worst.sum(axis=0) > stock)


def best_columns(owner: Ints, other: Ints, cell: Ints, cost: Ints, use: Ints) -> Ints:
    """Return the columns that no other of the same place and cell beats in cost and in every piece."""
    key = np.stack((owner, other, cell), axis=1)
    order = np.lexsort((use.sum(axis=1), cost, cell, other, owner))
    same = np.concatenate(([False], (key[order][1:] == key[order][:-1]).all(axis=1)))
    return _undominated_runs(order, same, use)


def undominated(cell: Ints, cost: Ints, use: Ints) -> Ints:
    """Return the patterns that no other in the same cell beats in cost and in every piece."""
    order = np.lexsort((use.sum(axis=1), cost, cell))
    same = np.concatenate(([False], cell[order][1:] == cell[order][:-1]))
    return _undominated_runs(order, same, use)


def _undominated_runs(order: Ints, same: NDArray[np.bool_], use: Ints) -> Ints:
    """Return what stays of each run of rivals; ``order`` has every run by rising cost."""
    if not len(order):
        return order
    run, use = np.cumsum(~same), use[order]
    left, kept = np.arange(len(order)), list[Ints]()
    while len(left):  # each turn keeps the first of every run, and drops what it beats
        first = np.diff(run[left], prepend=-1) != 0
        leaders = left[first]
        kept.append(leaders)
        beside = leaders[np.cumsum(first) - 1][~first]
        left = left[~first]
        left = left[(use[left] < use[beside]).any(axis=1)]
    return np.sort(order[np.concatenate(kept)])


@dataclass(frozen=True)
class Groups:
    """Places joined into classes, and the columns that stand for each class.

    Attributes
    ----------
    columns : ndarray
        The columns that stay, in class order.
    first, second, pair : ndarray, one value a column
        Class served, second class served (or -1), pair class (or -1).
    members : tuple of tuple of int
        Places of each class.
    pair_members : tuple of tuple of (int, int)
        Pairs of places of each pair class.
    class_of : ndarray, shape (sites,)
    """

    columns: Ints
    first: Ints
    second: Ints
    pair: Ints
    members: tuple[tuple[int, ...], ...]
    pair_members: tuple[tuple[tuple[int, int], ...], ...]
    class_of: Ints


def classes_of(n_sites: int, owner: Ints, other: Ints, cell: Ints, cost: Ints, closers: Ints) -> Groups:
    """Join the places whose columns are the same in every way."""
    alone = np.flatnonzero(other < 0)
    order = alone[np.lexsort((*closers[alone].T, cost[alone], cell[alone], owner[alone]))]
    rows = np.column_stack((cell, cost, closers))
    bounds = np.searchsorted(owner[order], np.arange(n_sites + 1))
    known: dict[bytes, int] = {}
    members: list[list[int]] = []
    leaders: list[Ints] = []
    class_of = np.zeros(n_sites, dtype=np.int64)
    for site in range(n_sites):
        own = order[bounds[site] : bounds[site + 1]]
        number = known.setdefault(rows[own].tobytes() or f"only in pairs {site}".encode(), len(members))
        if number == len(members):
            members.append([])
            leaders.append(own)
        members[number].append(site)
        class_of[site] = number
    firsts = [np.full(len(own), number) for number, own in enumerate(leaders)]
    columns, seconds, pairs, pair_members = leaders, [np.full(len(own), -1) for own in leaders], [], []
    pairs = [np.full(len(own), -1) for own in leaders]
    for number, (own, together) in enumerate(_pair_classes(owner, other, rows, class_of)):
        columns.append(own)
        firsts.append(class_of[owner[own]])
        seconds.append(class_of[other[own]])
        pairs.append(np.full(len(own), number))
        pair_members.append(together)
    join = [np.concatenate(parts) if parts else np.zeros(0) for parts in (columns, firsts, seconds, pairs)]
    return Groups(
        join[0].astype(np.int64),
        join[1].astype(np.int64),
        join[2].astype(np.int64),
        join[3].astype(np.int64),
        tuple(tuple(group) for group in members),
        tuple(pair_members),
        class_of,
    )


def _pair_classes(
    owner: Ints, other: Ints, rows: Ints, class_of: Ints
) -> list[tuple[Ints, tuple[tuple[int, int], ...]]]:
    """Return the columns of each pair class and the pairs of places in it."""
    paired = np.flatnonzero(other >= 0)
    if not len(paired):
        return []
    order = paired[np.lexsort((*rows[paired].T[::-1], other[paired], owner[paired]))]
    change = (owner[order][1:] != owner[order][:-1]) | (other[order][1:] != other[order][:-1])
    starts = np.concatenate(([0], np.flatnonzero(change) + 1, [len(order)]))
    found: dict[tuple[int, int, bytes], tuple[Ints, list[tuple[int, int]]]] = {}
    for start, stop in pairwise(starts):
        own = order[start:stop]
        left, right = int(owner[own[0]]), int(other[own[0]])
        key = (int(class_of[left]), int(class_of[right]), rows[own].tobytes())
        found.setdefault(key, (own, []))[1].append((left, right))
    return [(own, tuple(pairs)) for own, pairs in found.values()]
