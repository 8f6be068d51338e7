"""The crew's way along the run, over all draws of the ground at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trackkit.study.handled import Handled
from trackkit.study.pace import Pace

__all__ = ["Ground", "Walked", "walk"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Ground:
    """Heights above the line's grade, one row a tie end, and what stands where.

    Attributes
    ----------
    heights : ndarray, shape (ends, draws)
        [m]
    lowest : ndarray, shape (supports, draws)
        Of the tie ends on each support, which its stack is built from [m].
    support : ndarray, shape (ends,)
        Support of each tie end, from 0.
    gap, touch : float
        What the line keeps over the tie end it is set from, and what ground may be too high by [m].
    """

    heights: Floats
    lowest: Floats
    support: Ints
    gap: float
    touch: float


@dataclass(frozen=True, eq=False)
class Walked:
    """What one start comes to; arrays of shape (spares, draws).

    Attributes
    ----------
    lifts, lifted, slid : ndarray of int
        Times that the line is lifted; supports lifted again, one as often as it is; those of them that
        are only slid up.
    placing, again : ndarray
        Minutes to place all supports, and to lift some again.
    too_high : ndarray of bool
        Whether a support ends higher than stacks are planned.
    """

    lifts: Ints
    lifted: Ints
    slid: Ints
    placing: Floats
    again: Floats
    too_high: NDArray[np.bool_]


def walk(
    ground: Ground,
    start: int,
    spares: Floats,
    order: Ints,
    handled: Handled,
    pace: Pace,
    *,
    spare_again: bool = False,
) -> Walked:
    """Return what the crew does from one start, for every spare height and draw.

    The line is set from the start's true height in each draw, plus the gap, plus the spare height. At each
    tie end in turn: where its ground is above the underside of the line by more than a touch, all that is
    placed is lifted until this end has the gap; then its support is placed, if it is not yet.

    Parameters
    ----------
    ground : Ground
    start : int
        Tie end.
    spares : ndarray, shape (spares,)
        [m]
    order : ndarray, shape (ends,)
        Tie ends as the crew comes to them.
    handled : Handled
    pace : Pace
    spare_again : bool
        Whether the spare height is built in again whenever the line is lifted.
    """
    shape = (len(spares), ground.heights.shape[1])
    line = ground.heights[start] + ground.gap + spares[:, None]
    over = ground.gap + spares * spare_again
    lifts, lifted, slid = (np.zeros(shape, dtype=np.int64) for _ in range(3))
    counted, again = np.zeros(shape, dtype=np.int64), np.zeros(shape)
    stacks = np.zeros((len(ground.lowest), *shape), dtype=np.int16)  # the largest array: kept small
    both = handled.pieces + handled.wedges
    placed: list[int] = []
    for end in order.tolist():
        here, place = ground.heights[end], int(ground.support[end])
        spare, draw = np.nonzero(here > line + ground.touch)
        if len(draw):
            up = here[draw] + over[spare]
            line[spare, draw] = up
            lifts[spare, draw] += 1
            lifted[spare, draw] += len(placed)
            rows = np.array(placed, dtype=np.int64)[:, None]
            fills = up - ground.lowest[rows, draw]
            before = stacks[rows, spare, draw].astype(np.int64)
            kept = handled.takes_up(before, fills)
            after = before.copy()
            after[~kept] = handled.which(fills[~kept])
            stacks[rows, spare, draw] = after
            only = kept.sum(axis=0)
            slid[spare, draw] += only
            carried = np.where(kept, 0, handled.carried[before, after]).sum(axis=0)
            rest = pace.restack * (len(placed) - only) + pace.piece * carried
            again[spare, draw] += pace.reset + pace.slide * only + rest
        if place not in placed:
            first = handled.which(line - ground.lowest[place])
            stacks[place] = first
            counted += both[first]
            placed.append(place)
    placing: Floats = pace.level * len(placed) + pace.piece * counted.astype(float)
    too_high = line - ground.lowest.min(axis=0) > handled.top
    return Walked(lifts, lifted, slid, placing, again, too_high)
