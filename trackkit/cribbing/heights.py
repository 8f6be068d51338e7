"""Every height that can be built from what is on the truck, with what it takes.

Heights are whole ticks of 3.125 µm, in which both 1/64 in (127 ticks) and 0.1 mm (32 ticks) are
whole, so that no height is ever rounded to a lattice. A *pattern* is a pile of layers without its
closing piece: how many of each piece, lying in each way. Its order from the ground up is fixed: the
widest layer lowest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.truck import Piece, Truck

__all__ = [
    "COST_UNITS",
    "TICK",
    "Laid",
    "Patterns",
    "build_patterns",
    "from_the_ground_up",
    "lay_pieces",
    "to_cost",
    "to_ticks",
]

#: One tick [m].
TICK: Final = 3.125e-6
#: Costs are whole numbers in the program: so many to the price of one box handled.
COST_UNITS: Final = 1000
#: More patterns than this are not kept in memory; the number of layers is lowered instead.
_MOST_PATTERNS: Final = 150_000

Ints = NDArray[np.int64]


def to_ticks(metres: float) -> int:
    """Return the nearest whole number of ticks.

    Examples
    --------
    >>> to_ticks(0.0254 / 64), to_ticks(0.0001)
    (127, 32)
    """
    return round(metres / TICK)


def to_cost(price: float) -> int:
    """Return a price in whole cost units."""
    return round(price * COST_UNITS)


@dataclass(frozen=True)
class Laid:
    """One layer: a piece as it lies (or two of them crossed).

    Attributes
    ----------
    piece : int
        Place of the piece on the truck.
    thickness, length, width : float
        Height and footprint of one piece as it lies, the length along the run [m].
    least : float
        Least base of the layer, which limits the height above it [m].
    area : float
        What it bears with on the ground [m²].
    on_edge, turned : bool
        Standing on its edge; lying across the run instead of along it.
    per_layer : int
        Pieces in the layer: 1, or 2 for a crossed pair.
    """

    piece: int
    item: str
    kind: str
    thickness: float
    length: float
    width: float
    least: float
    area: float
    on_edge: bool
    per_layer: int
    price: float
    turned: bool = False

    @property
    def across(self) -> float:
        """How much the layer takes up across the run [m]: of a crossed pair the length of its pieces."""
        return self.length if self.per_layer == 2 else self.width

    @property
    def ticks(self) -> int:
        """Height of the layer [ticks]."""
        return to_ticks(self.thickness)


@dataclass(frozen=True)
class Patterns:
    """All piles that may be built for one purpose, by rising height.

    Attributes
    ----------
    laid : tuple of Laid
        The layers there are, in order from the ground up.
    multiplicity : ndarray, shape (layers,)
        How often a layer is needed: 2 where one piece is too short for both tie ends.
    counts : ndarray, shape (patterns, layers)
        How many of each layer.
    ticks, cost : ndarray, shape (patterns,)
        Height [ticks] and price [cost units].
    use : ndarray, shape (patterns, pieces)
        Pieces taken from the truck.
    foot : ndarray, shape (patterns,)
        The lowest layer; the number of layers there are for the pile of nothing.
    room : ndarray, shape (patterns,)
        How high the closing piece may be at most, for the height-to-base rule [ticks].
    most_layers : int
        Most layers in any pattern; fewer than the rules allow where there would be too many.
    """

    laid: tuple[Laid, ...]
    multiplicity: Ints
    counts: Ints
    ticks: Ints
    cost: Ints
    use: Ints
    foot: Ints
    room: Ints
    most_layers: int

    def take(self, chosen: Ints) -> Patterns:
        """Return some of the patterns, in the order given."""
        arrays = (self.counts, self.ticks, self.cost, self.use, self.foot, self.room)
        counts, ticks, cost, use, foot, room = (array[chosen] for array in arrays)
        return Patterns(self.laid, self.multiplicity, counts, ticks, cost, use, foot, room, self.most_layers)


def lay_pieces(truck: Truck, rules: StackRules) -> tuple[Laid, ...]:
    """Return every way in which a piece of the truck may lie, widest first.

    Boxes, pads and ply lie flat. Lumber lies flat, on edge where that is stable, and in crossed pairs
    where it is long enough to leave a base within its tails.
    """
    laid: list[Laid] = []
    for place, piece in enumerate(truck.pieces):
        if piece.kind not in ("box", "lumber", "ply", "pad"):
            continue
        price = rules.piece_cost.get(piece.kind, 1.0)
        laid.append(_flat(place, piece, price))
        if piece.kind == "lumber":
            if piece.thickness < piece.width <= rules.edge_ratio * piece.thickness:
                laid.append(_on_edge(place, piece, price + rules.on_edge_cost))
            base = piece.length - 2.0 * piece.width
            if base >= 2.0 * piece.width:  # shorter ones would lie side by side, not crossed
                laid.append(_crossed(place, piece, price, base))
    return tuple(sorted(laid, key=from_the_ground_up))


def _flat(place: int, piece: Piece, price: float) -> Laid:
    length, width = max(piece.length, piece.width), min(piece.length, piece.width)
    area = length * width
    return Laid(place, piece.item, piece.kind, piece.thickness, length, width, width, area, False, 1, price)


def _on_edge(place: int, piece: Piece, price: float) -> Laid:
    least = min(piece.thickness, piece.length)
    area = piece.length * piece.thickness
    return Laid(
        place, piece.item, piece.kind, piece.width, piece.length, piece.thickness, least, area, True, 1, price
    )


def _crossed(place: int, piece: Piece, price: float, base: float) -> Laid:
    area = 2.0 * piece.length * piece.width
    return Laid(
        place, piece.item, piece.kind, piece.thickness, piece.length, piece.width, base, area, False, 2, price
    )


def from_the_ground_up(laid: Laid) -> tuple[float, float, int, int, str, bool, int]:
    """Return what layers are sorted by: the widest lowest, so that the order is always the same."""
    pad_first = 0 if laid.kind == "pad" else 1
    area = laid.length * laid.width
    return (
        -round(laid.least, 6),
        -round(area, 8),
        pad_first,
        -laid.ticks,
        laid.item,
        laid.on_edge,
        laid.per_layer,
    )


def build_patterns(
    laid: tuple[Laid, ...],
    n_pieces: int,
    rules: StackRules,
    *,
    top: float,
    long_enough: NDArray[np.bool_] | None = None,
) -> Patterns:
    """Return every pile up to ``top`` that the rules allow.

    Parameters
    ----------
    laid : tuple of Laid
        The layers there are, from `lay_pieces`.
    n_pieces : int
        Pieces on the truck (columns of ``use``).
    rules : StackRules
        Limits and prices.
    top : float
        Greatest height without the closing piece [m].
    long_enough : ndarray of bool, shape (layers,), optional
        For a pile under two tie ends: which layers carry both with one piece. The lowest must; the
        others may be doubled, one piece under each tie end.
    """
    limit = math.floor(top / TICK + 1e-6)
    layers = rules.max_layers
    counts = _all_counts(laid, limit, layers, rules)
    while len(counts) > _MOST_PATTERNS and layers > 1:
        layers -= 1
        counts = counts[counts.sum(axis=1) <= layers]
    multiplicity = np.ones(len(laid), dtype=np.int64)
    if long_enough is not None:
        multiplicity[~long_enough] = 2
    used = counts > 0
    foot = np.where(used.any(axis=1), used.argmax(axis=1), len(laid)) if len(laid) else np.zeros(1, np.int64)
    ok = np.ones(len(counts), dtype=bool)
    if long_enough is not None:
        ok = np.append(long_enough, True)[foot]
    ticks = counts @ _each(laid, "ticks")
    room = _room(laid, counts, ticks, rules)
    keep = np.flatnonzero(ok & (room >= 0) & _crossed_well(laid, counts, ticks, rules))
    keep = keep[np.lexsort((*counts[keep].T, ticks[keep]))]
    counts, ticks = counts[keep], ticks[keep]
    return Patterns(
        laid,
        multiplicity,
        counts,
        ticks,
        _price(laid, counts, multiplicity, rules),
        _usage(laid, counts, multiplicity, n_pieces),
        foot[keep].astype(np.int64),
        room[keep],
        layers,
    )


def _each(laid: tuple[Laid, ...], name: str) -> Ints:
    return np.array([getattr(one, name) for one in laid], dtype=np.int64)


def _all_counts(laid: tuple[Laid, ...], limit: int, layers: int, rules: StackRules) -> Ints:
    """Return every multiset of layers within the limits, one row each."""
    rows = np.zeros((1, len(laid)), dtype=np.int64)
    total = np.zeros((1, 2), dtype=np.int64)  # layers and ticks so far
    for place, one in enumerate(laid):
        cap = min([layers, *(rules.max_of_kind.get(group, layers) for group in _groups(one))])
        grown, totals = [rows], [total]
        for n in range(1, cap + 1):
            ahead = total + np.array([n, n * one.ticks])
            fits = (ahead[:, 0] <= layers) & (ahead[:, 1] <= limit)
            if not fits.any():
                break
            more = rows[fits].copy()
            more[:, place] = n
            grown.append(more)
            totals.append(ahead[fits])
        rows, total = np.concatenate(grown), np.concatenate(totals)
        for group in _groups(one):
            members = [i for i in range(place + 1) if group in _groups(laid[i])]
            keep = rows[:, members].sum(axis=1) <= rules.max_of_kind.get(group, layers)
            rows, total = rows[keep], total[keep]
    return rows


def _groups(one: Laid) -> tuple[str, ...]:
    """Return the names under which a layer is limited."""
    if one.per_layer == 2:
        return ("crossed",)
    return (one.kind, "edge") if one.on_edge else (one.kind,)


def _room(laid: tuple[Laid, ...], counts: Ints, ticks: Ints, rules: StackRules) -> Ints:
    """Return the height left for the closing piece under the height-to-base rule [ticks]."""
    if not laid:
        return np.full(len(counts), np.iinfo(np.int64).max // 4)
    each = _each(laid, "ticks")
    below = np.cumsum(counts * each, axis=1) - counts * each
    reach = np.array([math.floor(rules.height_per_base * one.least / TICK + 1e-6) for one in laid])
    limit = np.where(counts > 0, below + reach, np.iinfo(np.int64).max // 4).min(axis=1)
    return np.asarray(limit - ticks, dtype=np.int64)


def _crossed_well(laid: tuple[Laid, ...], counts: Ints, ticks: Ints, rules: StackRules) -> NDArray[np.bool_]:
    """Return which patterns use crossed pairs as a crib: two layers or more, a plate on top, and high."""
    ok = np.ones(len(counts), dtype=bool)
    crossed = [place for place, one in enumerate(laid) if one.per_layer == 2]
    if not crossed:
        return ok
    n = counts[:, crossed]
    last = len(laid) - 1 - (counts[:, ::-1] > 0).argmax(axis=1)
    topped = ~np.isin(last, crossed)
    high = ticks >= to_ticks(rules.crossed_from)
    crib = (n.max(axis=1) >= 2) & ((n > 0).sum(axis=1) == 1) & topped & high
    return np.asarray((n.sum(axis=1) == 0) | crib)


def _price(laid: tuple[Laid, ...], counts: Ints, multiplicity: Ints, rules: StackRules) -> Ints:
    prices = np.array([to_cost(one.price * one.per_layer) for one in laid], dtype=np.int64)
    beyond = np.maximum(counts.sum(axis=1) - 1, 0)
    return np.asarray(
        counts @ (prices * multiplicity) + to_cost(rules.layer_cost) * beyond**2, dtype=np.int64
    )


def _usage(laid: tuple[Laid, ...], counts: Ints, multiplicity: Ints, n_pieces: int) -> Ints:
    takes = np.zeros((len(laid), n_pieces), dtype=np.int64)
    for place, one in enumerate(laid):
        takes[place, one.piece] = one.per_layer * multiplicity[place]
    return np.asarray(counts @ takes, dtype=np.int64)
