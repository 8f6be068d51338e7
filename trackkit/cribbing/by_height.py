"""Pieces by height: what one support takes at every fill, in the cheapest way the truck's kinds allow.

The number of pieces is piecewise constant in the fill, and is worked out once, exactly, for all fills.
Counts on the truck don't matter here, only what kinds there are: it is for weighing one line against
another, before the truck is dealt out by `trackkit.cribbing.stacks.choose_stacks`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from trackkit.cribbing.cheapest import NANO, Span
from trackkit.cribbing.every_fill import every_span
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.truck import Truck

__all__ = ["PiecesByHeight", "expected_pieces", "pieces_by_height"]

#: So many of every kind never run out.
_PLENTY: Final = 1_000_000
#: Farther than this many standard deviations away, an edge is passed for certain: 1e-17 on one side.
_FAR: Final = 8.5
#: Fills times edges that are worked on at once.
_AT_ONCE: Final = 1_000_000

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class PiecesByHeight:
    """What closes each fill from 0 to the top.

    The i-th stack closes the fills above ``edges[i]`` and up to ``edges[i + 1]``. The first is the tie
    that sits on the ground, with nothing under it. A negative fill counts as that too, 0 pieces, but
    there the tie would be in the ground: `in_ground` flags it.

    Attributes
    ----------
    edges : ndarray, shape (k + 1,)
        Fills [m], from 0 to the top.
    pieces, wedges : ndarray, shape (k,)
        Boxes, lumber, ply, pads and shims; wedges. NaN where nothing closes the fill.
    cost : ndarray, shape (k,)
        In boxes handled, with the price of the chance that it must be changed; NaN where nothing closes
        it. A few thousandths of it only tell stacks of one price apart.
    low, high : ndarray, shape (k,)
        Travel: the fills that this same stack still closes, only its closing piece moved [m].
    takes : ndarray, shape (k, items)
        How many of each item of the truck.
    items : tuple of str
    last_resort : ndarray of bool, shape (k,)
        Whether only a last resort closes it (`trackkit.cribbing.resort`): shims under the wedge, the
        wedge's travel not kept in hand, more shims, or up to a touch left open.
    touch : float
        From this far below 0 on a fill is in the ground [m].
    """

    edges: Floats
    pieces: Floats
    wedges: Floats
    cost: Floats
    low: Floats
    high: Floats
    takes: Ints
    items: tuple[str, ...]
    last_resort: NDArray[np.bool_]
    touch: float

    def interval(self, fills: ArrayLike) -> Ints:
        """Return which stack is meant for each fill; the first for negative ones, the last above the top."""
        return np.searchsorted(self.edges[1:-1], np.asarray(fills, dtype=float), side="left")

    def in_ground(self, fills: ArrayLike) -> NDArray[np.bool_]:
        """Return where the tie would be in the ground, by more than a touch."""
        return np.asarray(np.asarray(fills, dtype=float) < -self.touch)

    def at(self, fills: ArrayLike) -> tuple[Floats, Floats]:
        """Return pieces and wedges at each fill; NaN where nothing closes it and above the top."""
        place = self.interval(fills)
        over = np.asarray(fills, dtype=float) > self.edges[-1]
        return np.where(over, np.nan, self.pieces[place]), np.where(over, np.nan, self.wedges[place])

    @cached_property
    def counted(self) -> Ints:
        """Which stack counts for each: itself, else the next higher one, above the highest that one; (k,).

        -1 throughout, but for the tie on the ground, if the truck closes nothing at all.
        """
        known = np.flatnonzero(np.isfinite(self.pieces))
        if len(known) == 1:
            return np.where(np.arange(len(self.pieces)) == known[0], known[0], -1)
        after = np.searchsorted(known, np.arange(len(self.pieces)), side="left")
        return known[np.minimum(after, len(known) - 1)]

    def table(self) -> pd.DataFrame:
        """Return one row a stack: from_m, to_m, pieces, wedges, cost, low_m, high_m, last_resort, takes."""
        known = np.isfinite(self.pieces)
        words = [self._words(row) if ok else "" for row, ok in zip(self.takes, known, strict=True)]
        return pd.DataFrame(
            {
                "from_m": self.edges[:-1],
                "to_m": self.edges[1:],
                "pieces": self.pieces,
                "wedges": self.wedges,
                "cost": self.cost,
                "low_m": self.low,
                "high_m": self.high,
                "last_resort": self.last_resort,
                "takes": words,
            }
        )

    def _words(self, row: Ints) -> str:
        return ", ".join(f"{n} {item}" for item, n in zip(self.items, row.tolist(), strict=True) if n)


def pieces_by_height(
    truck: Truck,
    *,
    bearing: float,
    rules: StackRules | None = None,
    ground: str = "",
    sd: float = 0.0,
    top: float | None = None,
) -> PiecesByHeight:
    """Return what closes each fill under one level tie end in the cheapest way.

    What `trackkit.cribbing.stacks.choose_stacks` gives a single support on level ground, with room all
    around, if no piece runs out. A slope's seat and one long piece under both tie ends are not in it.

    Parameters
    ----------
    truck : Truck
        What kinds of pieces there are. Counts don't matter, but of what there is none nothing is used.
    bearing : float
        Width of the tie [m].
    rules : StackRules, optional
        Heights, limits, prices.
    ground : str
        Kind of ground, for the least foot; '' for none.
    sd : float
        Give or take of a fill, which weighs in the choice of the closing piece [m]. The rules' ``build_sd``
        is added to it.
    top : float, optional
        Highest fill looked at [m]: the rules' ``refuse_height``, unless tall stacks are taken over.

    Raises
    ------
    ValueError
        If the bearing, the give or take or the top cannot be used.
    """
    rules = rules or StackRules()
    top = rules.refuse_height if top is None else top
    if not (math.isfinite(bearing) and bearing > 0):
        raise ValueError(f"bearing must be a width above 0 m; got {bearing!r}")
    if not (math.isfinite(sd) and sd >= 0):
        raise ValueError(f"sd must be a finite number of metres, not negative; got {sd!r}")
    if not (math.isfinite(top) and rules.touch < top <= rules.top):
        raise ValueError(f"top must be above touch ({rules.touch} m) and at most {rules.top} m; got {top!r}")
    own = Truck(tuple(replace(piece, count=_PLENTY) for piece in truck.pieces if piece.count))
    return _joined(every_span(own, rules, bearing=bearing, ground=ground, sd=sd, top=top), own, rules)


def _joined(rows: list[Span], truck: Truck, rules: StackRules) -> PiecesByHeight:
    """Return the spans as arrays, the tie on the ground first."""
    takes = np.array([row.takes for row in rows], dtype=np.int64).reshape(len(rows), -1)
    wedge = np.array([piece.kind == "wedge" for piece in truck.pieces], dtype=bool)
    cost = np.array([row.cost for row in rows])
    gap = np.isnan(cost)
    return PiecesByHeight(
        edges=np.array([0, *(row.stop for row in rows)]) / NANO,
        pieces=np.where(gap, np.nan, takes[:, ~wedge].sum(axis=1)),
        wedges=np.where(gap, np.nan, takes[:, wedge].sum(axis=1)),
        cost=cost,
        low=np.array([row.low for row in rows]),
        high=np.array([row.high for row in rows]),
        takes=takes,
        items=tuple(piece.item for piece in truck.pieces),
        last_resort=np.array([row.last_resort for row in rows], dtype=bool),
        touch=rules.touch,
    )


def expected_pieces(table: PiecesByHeight, fills: ArrayLike, sds: ArrayLike) -> tuple[Floats, Floats]:
    """Return the expected number of pieces, and of wedges, where fills are normal: exactly.

    Above the table's top the top's stack counts; where nothing closes a fill, the next higher stack; below
    0 nothing. NaN throughout if the truck closes nothing at all.

    Parameters
    ----------
    table : PiecesByHeight
    fills, sds : array_like
        Mean and standard deviation of each fill, of shapes that go together [m]. sd 0: no doubt.

    Returns
    -------
    pieces, wedges : ndarray
        Of the common shape.

    Raises
    ------
    ValueError
        If a standard deviation is negative or not finite, or a fill is not finite.

    Notes
    -----
    The count is a sum of steps: E = n_0 + sum of (n_i - n_{i-1}) Phi((fill - edge_i) / sd).
    """
    mean, sd = np.broadcast_arrays(np.asarray(fills, dtype=float), np.asarray(sds, dtype=float))
    if not np.isfinite(mean).all():
        raise ValueError(f"fills must be finite; {int((~np.isfinite(mean)).sum())} of them are not")
    if not (np.isfinite(sd) & (sd >= 0)).all():
        raise ValueError("sds must be finite and not negative")
    counts = np.column_stack((table.pieces, table.wedges))[table.counted]
    if (table.counted < 0).any():
        return np.full(mean.shape, np.nan), np.full(mean.shape, np.nan)
    jumps = np.diff(counts, axis=0)
    some = jumps.any(axis=1)
    found = _steps(table.edges[1:-1][some], jumps[some], mean.ravel(), sd.ravel()) + counts[0]
    return found[:, 0].reshape(mean.shape), found[:, 1].reshape(mean.shape)


def _steps(edges: Floats, jumps: Floats, mean: Floats, sd: Floats) -> Floats:
    """Return the expected sum of the jumps passed, shape (n, 2): only edges nearby are in doubt."""
    from scipy.special import ndtr

    passed = np.vstack((np.zeros((1, 2)), np.cumsum(jumps, axis=0)))
    first = np.searchsorted(edges, mean - _FAR * sd, side="left")
    near = np.searchsorted(edges, mean + _FAR * sd, side="left") - first
    total = passed[first]
    ends = np.cumsum(near)
    cuts = np.unique(np.searchsorted(ends, np.arange(_AT_ONCE, (ends[-1] if len(ends) else 0), _AT_ONCE)))
    for part in np.split(np.arange(len(mean)), cuts):
        who = np.repeat(part, near[part])
        before = np.cumsum(near[part]) - near[part]
        edge = np.arange(len(who)) - np.repeat(before, near[part]) + first[who]
        chance = ndtr((mean[who] - edges[edge]) / sd[who])
        for column in (0, 1):
            total[:, column] += np.bincount(who, chance * jumps[edge, column], minlength=len(mean))
    return total
