"""The crew's way along the run, over all draws of the ground at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trackkit.study.handled import Handled
from trackkit.study.pace import Pace

__all__ = ["Ahead", "Walked", "walk"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Ahead:
    """What the crew comes to, in heights above the line's grade, and what stands where.

    Attributes
    ----------
    lines : ndarray, shape (ends + obstacles, draws)
        Height of the line set from each tie end, then from each obstacle: its own, and its room [m].
    highest : ndarray, shape (ends, draws)
        The highest of what the crew comes to at each tie end: itself, and the obstacles nearest to it [m].
    asked : ndarray, shape (ends, draws)
        The lowest line that has its room over all of that [m].
    lowest : ndarray, shape (supports, draws)
        Of the tie ends on each support, which its stack is built from [m].
    support : ndarray, shape (ends,)
        Support of each tie end, from 0.
    touch : float
        What anything may be too high by [m].
    """

    lines: Floats
    highest: Floats
    asked: Floats
    lowest: Floats
    support: Ints
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
    ahead: Ahead,
    start: int,
    spares: Floats,
    order: Ints,
    handled: Handled,
    pace: Pace,
    *,
    spare_again: bool = False,
) -> Walked:
    """Return what the crew does from one start, for every spare height and draw.

    The line is set from the start in each draw, plus the spare height. At each tie end in turn: where
    anything that the crew comes to there is above the underside of the line by more than a touch, all that is
    placed is lifted until everything that it has come to so far has its room; then the support is placed, if
    it is not yet.

    Parameters
    ----------
    ahead : Ahead
    start : int
        Tie end, or obstacle: which of ``ahead.lines``.
    spares : ndarray, shape (spares,)
        [m]
    order : ndarray, shape (ends,)
        Tie ends as the crew comes to them.
    handled : Handled
    pace : Pace
    spare_again : bool
        Whether the spare height is built in again whenever the line is lifted.
    """
    shape = (len(spares), ahead.lines.shape[1])
    line = ahead.lines[start] + spares[:, None]
    over, reach = spares * spare_again, np.full(shape[1], -np.inf)
    lifts, lifted, slid = (np.zeros(shape, dtype=np.int64) for _ in range(3))
    counted, again = np.zeros(shape, dtype=np.int64), np.zeros(shape)
    stacks = np.zeros((len(ahead.lowest), *shape), dtype=np.int16)  # the largest array: kept small
    both = handled.pieces + handled.wedges
    placed: list[int] = []
    for end in order.tolist():
        place = int(ahead.support[end])
        reach = np.maximum(reach, ahead.asked[end])
        spare, draw = np.nonzero(ahead.highest[end] > line + ahead.touch)
        if len(draw):
            up = reach[draw] + over[spare]
            line[spare, draw] = up
            lifts[spare, draw] += 1
            lifted[spare, draw] += len(placed)
            rows = np.array(placed, dtype=np.int64)[:, None]
            fills = up - ahead.lowest[rows, draw]
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
            first = handled.which(line - ahead.lowest[place])
            stacks[place] = first
            counted += both[first]
            placed.append(place)
    placing: Floats = pace.level * len(placed) + pace.piece * counted.astype(float)
    too_high = line - ahead.lowest.min(axis=0) > handled.top
    return Walked(lifts, lifted, slid, placing, again, too_high)
