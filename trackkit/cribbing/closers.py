"""Closing pieces: what may take up the last height, over which range, and the chance that it won't do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.truck import Truck

__all__ = ["Closer", "change_chance", "closers_of", "height_bands", "spare_of"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Closer:
    """One way of closing the last height.

    Attributes
    ----------
    kind : {'none', 'shim', 'single', 'pair'}
    takes : tuple of (int, int)
        Place on the truck and how many; the shims under a wedge come last.
    low, high : float
        Its travel: the heights that it can close [m].
    start, stop : float
        The part of the travel over which it is planned at this price [m].
    price : float
        In boxes handled.
    packed : float
        Of its height, what shims lying flat under the wedge make up [m].
    """

    kind: Literal["none", "shim", "single", "pair"]
    takes: tuple[tuple[int, int], ...]
    low: float
    high: float
    start: float
    stop: float
    price: float
    packed: float = 0.0


def closers_of(
    truck: Truck, *, bearing: float, rules: StackRules, packed: bool = False, reach: float = math.inf
) -> tuple[Closer, ...]:
    """Return every closing piece this truck allows under a tie ``bearing`` wide.

    A wedge shorter than the bearing is left out. One that is steeper than friction surely holds is
    kept; the plan cautions.

    Parameters
    ----------
    truck : Truck
    bearing : float
        Width of the tie [m].
    rules : StackRules
    packed : bool
        Whether every wedge may stand on shims too.
    reach : float
        How far in a wedge along the track has room, up to the tip of the one that comes to meet it under
        the other tie of a joint [m]. Where it is short of the wedge a pair has no room.
    """
    found = [Closer("none", (), -rules.snug, rules.snug, -rules.snug, rules.snug, 0.0)]
    found += _shims(truck, rules)
    price = rules.piece_cost.get("wedge", 0.5)
    for place, piece in enumerate(truck.pieces):
        if piece.kind != "wedge" or piece.length < bearing or reach <= bearing:
            continue
        wedge = piece.wedge
        low, high = wedge.single_range(bearing)
        high = min(high, wedge.thin + wedge.taper * reach)
        start, stop = _spared(low, high, rules)
        if start < rules.single_up_to:
            upto = min(stop, rules.single_up_to)
            found.append(Closer("single", ((place, 1),), low, high, start, upto, price))
        if stop > rules.single_up_to:
            above = max(start, rules.single_up_to)
            tall = price + rules.tall_single_cost
            found.append(Closer("single", ((place, 1),), low, high, above, stop, tall))
        low, high = wedge.pair_range(bearing)
        if low < high and reach >= wedge.length:  # sharp tips leave a pair no travel
            start, stop = _spared(low, high, rules)
            found.append(Closer("pair", ((place, 2),), low, high, start, stop, 2.0 * price + rules.pair_cost))
    if packed:
        found += _packed(found)
    return tuple(found)


def _spared(low: float, high: float, rules: StackRules) -> tuple[float, float]:
    spare = spare_of(low, high, rules)
    return low + spare, high - spare


def spare_of(low: float, high: float, rules: StackRules) -> float:
    """Return the travel of a wedge that is kept in hand at each end, at most a quarter of it [m]."""
    return min(rules.wedge_spare, (high - low) / 4.0)


def _packed(plain: Sequence[Closer]) -> list[Closer]:
    """Return every wedge, single or in pairs, on every lot of shims."""
    found = []
    for shims in (closer for closer in plain if closer.kind == "shim"):
        height = round((shims.low + shims.high) / 2.0, 9)
        for wedge in (closer for closer in plain if closer.kind in ("single", "pair")):
            found.append(
                Closer(
                    kind=wedge.kind,
                    takes=wedge.takes + shims.takes,
                    low=wedge.low + height,
                    high=wedge.high + height,
                    start=wedge.start + height,
                    stop=wedge.stop + height,
                    price=wedge.price + shims.price,
                    packed=height,
                )
            )
    return found


def _shims(truck: Truck, rules: StackRules) -> list[Closer]:
    places = [place for place, piece in enumerate(truck.pieces) if piece.kind == "shim"]
    best: dict[float, Closer] = {}
    for n in range(1, rules.max_shims + 1):
        for combination in combinations_with_replacement(places, n):
            height = round(sum(truck.pieces[place].thickness for place in combination), 9)
            takes = tuple((place, combination.count(place)) for place in sorted(set(combination)))
            if any(count > truck.pieces[place].count for place, count in takes) or height in best:
                continue
            low, high = height - rules.snug, height + rules.snug
            price = n * rules.piece_cost.get("shim", 0.6)
            best[height] = Closer("shim", takes, low, high, low, high, price)
    return [best[height] for height in sorted(best)]


def change_chance(low: ArrayLike, high: ArrayLike, height: ArrayLike, sd: ArrayLike) -> Floats:
    """Return the chance that a closing piece planned at ``height`` can't close the true height.

    Parameters
    ----------
    low, high : array_like
        Travel of the closing piece [m].
    height : array_like
        Height that it is planned to close [m].
    sd : array_like
        Standard deviation of that height, taken as normal [m]. 0: no doubt.

    Returns
    -------
    ndarray
        Between 0 and 1; 0 or 1 where sd is 0.

    Examples
    --------
    >>> round(float(change_chance(0.006, 0.030, 0.018, 0.004)), 4)
    0.0027
    """
    from scipy.special import ndtr

    low, high, height, sd = (np.asarray(value, dtype=float) for value in (low, high, height, sd))
    safe = np.where(sd > 0, sd, 1.0)
    chance = ndtr((low - height) / safe) + ndtr((height - high) / safe)
    outside = (height < low - 1e-9) | (height > high + 1e-9)
    return np.asarray(np.where(sd > 0, chance, outside), dtype=float)


def height_bands(
    closers: Sequence[Closer], sd: ArrayLike, rules: StackRules
) -> tuple[Floats, Floats, Floats]:
    """Return the heights over which each closing piece is good to a chance of change.

    Parameters
    ----------
    closers : sequence of Closer
        c of them.
    sd : array_like, shape (n,)
        Standard deviations [m].
    rules : StackRules
        Its ``chance_bands`` (b of them) are the chances; within the first, no change is priced.

    Returns
    -------
    start, stop : ndarray, shape (n, c, b)
        Heights closed [m]; start > stop where there are none. Bands are nested: each holds the ones
        before it.
    price : ndarray, shape (c, b)
        Price of the closing piece with its chance of change, in boxes handled.
    """
    each, which = np.unique(np.atleast_1d(np.asarray(sd, dtype=float)), return_inverse=True)
    low = np.array([closer.low for closer in closers])[None, :, None]
    high = np.array([closer.high for closer in closers])[None, :, None]
    start = np.array([closer.start for closer in closers])[None, :, None]
    stop = np.array([closer.stop for closer in closers])[None, :, None]
    limits = np.asarray(rules.chance_bands)
    half = _half_width(low, high, each[:, None, None], limits)[which]
    middle = (low + high) / 2.0
    steps = np.concatenate(([0.0], limits[1:])) * rules.change_cost
    price = np.array([closer.price for closer in closers])[:, None] + steps
    return np.maximum(start, middle - half), np.minimum(stop, middle + half), price


def _half_width(low: Floats, high: Floats, sd: Floats, limits: Floats) -> Floats:
    """Return how far from the middle of the travel the chance stays within each limit; < 0: nowhere."""
    middle, most = (low + high) / 2.0, (high - low) / 2.0
    inner = np.zeros(np.broadcast_shapes(low.shape, sd.shape, limits.shape))
    outer = inner + most
    never = change_chance(low, high, middle, sd) > limits
    always = change_chance(low, high, high, sd) <= limits
    for _ in range(30):
        half = (inner + outer) / 2.0
        good = change_chance(low, high, middle + half, sd) <= limits
        inner, outer = np.where(good, half, inner), np.where(good, outer, half)
    return np.where(always, most, np.where(never, -1.0, inner))
