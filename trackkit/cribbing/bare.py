"""Which supports between corners could stay bare as a last resort, and how far the rail sags there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from trackkit.cribbing.results import BareCandidate, Shortage, Stack
from trackkit.cribbing.rules import StackRules

__all__ = ["bare_candidates", "sag_between"]


def sag_between(span: float, load: float, stiffness: float) -> float:
    """Return how far a rail gives under a load in the middle between two supports [m].

    As a simple span, which is more than a rail that runs on over its supports gives: P L³ / 48 EI.

    Parameters
    ----------
    span, load, stiffness : float
        Distance of the supports [m], load [N], E·I of the rail [N m²].

    References
    ----------
    American Institute of Steel Construction, Steel Construction Manual, Table 3-23, case 7.

    Examples
    --------
    >>> round(sag_between(1.6, 1226.0, 25800.0) * 1000, 1)
    4.1
    """
    return load * span**3 / (48.0 * stiffness)


def bare_candidates(
    fills: pd.DataFrame, stacks: Sequence[Stack], shortages: Sequence[Shortage], rules: StackRules
) -> tuple[BareCandidate, ...]:
    """Return the supports between corners that hold what is short, least sag first.

    Those marked make up the shortage together, as far as it goes; no two of them are neighbours.
    """
    short = {shortage.item: shortage.missing for shortage in shortages}
    if not short:
        return ()
    stations = {
        side: np.unique(rows.groupby("support")["station_m"].mean().to_numpy())
        for side, rows in fills.groupby("side")
    }
    found = []
    for stack in stacks:
        frees = tuple((item, count) for item, count in _contents(stack).items() if item in short)
        line = stations[stack.side]
        before, after = line[line < stack.station - 1e-9], line[line > stack.station + 1e-9]
        if stack.role != "fill" or not frees or not len(before) or not len(after):
            continue
        span = float(after[0] - before[-1])
        sag = sag_between(span, rules.wheel_load, rules.rail_stiffness)
        found.append((sag, span, float(before[-1]), float(after[0]), stack, frees))
    found.sort(key=lambda one: (round(one[0], 9), one[4].station, one[4].side))
    taken: set[tuple[str, float]] = set()
    listed = []
    for sag, span, before_at, after_at, stack, frees in found:
        beside = {(stack.side, before_at), (stack.side, after_at)}
        covers = any(short[item] > 0 for item, _ in frees) and not beside & taken
        if covers:
            taken.add((stack.side, stack.station))
            for item, count in frees:
                short[item] -= count
        listed.append(BareCandidate(stack.support, stack.side, span, sag, frees, covers))
    return tuple(listed)


def _contents(stack: Stack) -> dict[str, int]:
    held: dict[str, int] = {}
    for piece in stack.pieces:
        if not piece.both_ends:
            held[piece.item] = held.get(piece.item, 0) + piece.per_layer
    lots = [lot for closing in stack.closings for lot in closing.takes]
    lots += [(stack.seat_item, stack.seat_wedges)] if stack.seat_wedges else []
    for item, count in lots:
        held[item] = held.get(item, 0) + count
    return held
