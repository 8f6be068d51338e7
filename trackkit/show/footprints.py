"""What shows of stacks from above: the lowest pieces, the wedges' ends that stand out, and who pushes where.

Plain geometry in metres, nothing is drawn here. A place is (station, towards the left): the middle of the
run is 0, the left rail half the gauge to the left.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from trackkit.cribbing.stack import Closing, Placed, Stack

if TYPE_CHECKING:
    from trackkit.cribbing.truck import Truck

__all__ = ["Foot", "Push", "feet_of", "outwards", "pushes_of", "slid_in"]

#: How wide a wedge is drawn whose width isn't given [m].
USUAL_WIDTH: Final = 0.09


@dataclass(frozen=True)
class Foot:
    """One piece that stands on the ground: its footprint [m].

    Attributes
    ----------
    station, aside : float
        Its middle, aside positive to the left.
    along, across : float
        What it takes up.
    kind : str
        Of the piece.
    """

    station: float
    aside: float
    along: float
    across: float
    kind: str


@dataclass(frozen=True)
class Push:
    """A wedge's end that stands out, and the way it goes in from there [m].

    Attributes
    ----------
    tie, side
        The tie end.
    station, aside : float
        Where it comes out from under the tie.
    way : tuple of float
        Outwards: (-1, 0) to the head, (1, 0) to the tail, (0, 1) to the left, (0, -1) to the right.
    out : float
        How far it stands out.
    width : float
        Of the wedge.
    """

    tie: int
    side: str
    station: float
    aside: float
    way: tuple[float, float]
    out: float
    width: float


def outwards(side: str) -> float:
    """Return 1 for the left rail and -1 for the right: which way is outside."""
    return 1.0 if side == "left" else -1.0


def slid_in(stack: Stack, piece: Placed, tie_overhang: float) -> float:
    """Return how far a layer lies in under the tie, where people walk beside it; below 0 if set out [m].

    ``Stack.overhang`` is how far the widest layer stands out once slid in; no layer stands out farther.
    """
    if piece.out:
        return -piece.out
    if not stack.on_walk_side or piece.both_ends:
        return 0.0
    return max(piece.across / 2.0 - tie_overhang - stack.overhang, 0.0)


def feet_of(stack: Stack, stations: Sequence[float], *, gauge: float, tie_overhang: float) -> list[Foot]:
    """Return the footprints of the lowest layer, each piece turned and slid as it lies.

    Parameters
    ----------
    stack : Stack
    stations : sequence of float
        Of its ties [m].
    gauge, tie_overhang : float
        Between the rails; how far a tie end stands out beyond its rail [m].
    """
    if not stack.pieces:
        return []
    piece, way = stack.pieces[0], outwards(stack.side)
    aside = 0.0 if piece.both_ends else way * (gauge / 2.0 - slid_in(stack, piece, tie_overhang))
    foot = Foot(stack.station + piece.slid, aside, piece.along, piece.across, piece.kind)
    if piece.crossed:
        apart = (piece.length - 3.0 * piece.width) / 2.0  # tails as long as a piece is wide
        return [replace(foot, aside=aside + by, across=piece.width) for by in (-apart, apart)]
    if piece.per_layer > 1:
        return [replace(foot, station=station) for station in stations]
    return [foot]


def pushes_of(
    stack: Stack,
    stations: Sequence[float],
    bearings: Sequence[float],
    *,
    gauge: float,
    tie_overhang: float,
    truck: Truck | None,
) -> list[Push]:
    """Return where wedges go in under the ties of a stack, two for a pair along the track.

    Parameters
    ----------
    stack, stations, gauge, tie_overhang
        See `feet_of`.
    bearings : sequence of float
        How wide each tie bears [m].
    truck : Truck or None
        For the wedges' width.
    """
    found = []
    for closing, station, bearing in zip(stack.closings, stations, bearings, strict=True):
        if closing.kind not in ("single", "pair") or not closing.goes_in:
            continue
        rail = outwards(stack.side) * gauge / 2.0
        width = wedge_width(closing, truck)
        if closing.goes_in == "from outside":
            way = outwards(closing.from_side or stack.side)
            edge = rail + way * tie_overhang
            found.append(Push(closing.tie, stack.side, station, edge, (0.0, way), closing.stick_out, width))
            continue
        for end, sign in (("head", -1.0), ("tail", 1.0)):
            if end in closing.from_side:
                edge = station + sign * bearing / 2.0
                found.append(Push(closing.tie, stack.side, edge, rail, (sign, 0.0), closing.stick_out, width))
    return found


def wedge_width(closing: Closing, truck: Truck | None) -> float:
    """Return the width of the wedge that closes, or the usual one where it isn't known [m]."""
    items = {piece.item: piece.width for piece in truck.pieces} if truck is not None else {}
    width = items.get(closing.takes[0][0] if closing.takes else closing.item, math.nan)
    return width if math.isfinite(width) else USUAL_WIDTH
