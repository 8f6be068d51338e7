"""Stacks as shapes: every piece at its true height and its true length along the run, seen from the side.

Plain geometry in metres, nothing is drawn here. Only a closing piece that goes in from outside, and
a shim, stand for themselves: seen from the side they would show an end, and are drawn as the triangle
(or the bar) that means them, twice as wide as the tie bears.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeAlias

from trackkit.cribbing.stack import Closing, Placed, Stack

if TYPE_CHECKING:
    from trackkit.cribbing.wedges import Wedge

__all__ = ["Corner", "Shape", "Takes", "block", "stack_shapes"]

#: Station and height [m].
Corner: TypeAlias = tuple[float, float]
#: Items, and how many.
Takes: TypeAlias = tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class Shape:
    """One piece as it is drawn.

    Attributes
    ----------
    kind : str
        A style: box, lumber, lumber end (seen end on), ply, pad, shim, wedge, pair, seat, fill, none,
        negative.
    corners : tuple of (float, float)
        Station and height [m].
    takes : tuple of (str, int)
        Items off the truck that it stands for, and how many.
    missing : bool
        Whether the truck is short of it.
    """

    kind: str
    corners: tuple[Corner, ...]
    takes: Takes = ()
    missing: bool = False


def block(kind: str, station: float, length: float, low: float, high: float, takes: Takes = ()) -> Shape:
    """Return a rectangle of a length about a station, between two heights [m]."""
    left, right = station - length / 2, station + length / 2
    return Shape(kind, ((left, low), (right, low), (right, high), (left, high)), takes)


def stack_shapes(
    stack: Stack,
    *,
    stations: Sequence[float],
    undersides: Sequence[float],
    bearings: Sequence[float],
    wedges: Mapping[str, Wedge],
    ground: Callable[[float], float],
) -> tuple[Shape, ...]:
    """Return the shapes of one stack, from the ground up.

    Parameters
    ----------
    stack : Stack
    stations, undersides, bearings : sequence of float
        Of each of its ties: where it is, how high its underside is, how wide it bears [m].
    wedges : mapping of str to Wedge
        Shapes of the truck's wedges by item.
    ground : callable
        Height of the ground at a station [m], for the seat.
    """
    base = undersides[0] - stack.closing.height - stack.height
    shapes: list[Shape] = []
    if stack.pieces and stack.seat_raise > 0:
        foot = stack.pieces[0]
        shapes.append(_seat(foot, stack.station + foot.slid, base, ground))
    crossed = 0
    for piece in stack.pieces:
        low = base + piece.bottom
        if piece.crossed:
            shapes += _crossed(piece, stack.station + piece.slid, low, across=bool(crossed % 2))
            crossed += 1
        elif piece.per_layer > 1:  # one under each tie of a joint
            shapes += [_piece(piece, station, low) for station in stations]
        else:
            shapes.append(_piece(piece, stack.station + piece.slid, low))
    for closing, station, top, bearing in zip(stack.closings, stations, undersides, bearings, strict=True):
        shapes += _closing(closing, station, top, bearing, wedges)
    return _short_of(shapes, stack.missing)


def _piece(piece: Placed, station: float, low: float) -> Shape:
    length = piece.width if piece.both_ends else piece.length
    across = piece.both_ends or piece.turned
    kind = "lumber end" if across and piece.kind == "lumber" else piece.kind
    return block(kind, station, length, low, low + piece.thickness, ((piece.item, 1),))


def _crossed(piece: Placed, station: float, low: float, *, across: bool) -> list[Shape]:
    """Return one layer of a crib: two pieces along the run, one behind the other, or the ends of two."""
    high = low + piece.thickness
    if not across:
        return [block("lumber", station, piece.length, low, high, ((piece.item, 2),))]
    apart = (piece.length - 3.0 * piece.width) / 2.0  # tails as long as a piece is wide
    places = (station - apart, station + apart)
    return [block("lumber end", place, piece.width, low, high, ((piece.item, 1),)) for place in places]


def _seat(foot: Placed, station: float, base: float, ground: Callable[[float], float]) -> Shape:
    """Return what makes the lowest piece level: all between its underside and the ground."""
    length = foot.width if foot.both_ends else foot.length
    left, right = station - length / 2, station + length / 2
    under = [(place, min(ground(place), base)) for place in (right, left)]
    return Shape("seat", ((left, base), (right, base), *under))


def _closing(
    closing: Closing, station: float, top: float, bearing: float, wedges: Mapping[str, Wedge]
) -> list[Shape]:
    foot, low = top - closing.height, top - closing.gap
    if closing.kind == "none" or closing.height <= 0:
        return []
    if closing.kind == "shim":
        return [block("shim", station, 2 * bearing, low, top, closing.takes)]
    if closing.packed > 0:
        under = block("shim", station, 2 * bearing, foot, low, closing.takes[1:])
        bare = replace(closing, height=closing.gap, packed=0.0, takes=closing.takes[:1])
        return [under, *_closing(bare, station, top, bearing, wedges)]
    item = closing.takes[0][0] if closing.takes else closing.item
    takes, wedge = ((item, 1),), wedges.get(item)
    if wedge is not None and closing.goes_in == "along the track":
        return _along(closing, wedge, takes, station, low, bearing)
    left, right = station - bearing, station + bearing
    if closing.kind == "single":
        return [Shape("wedge", ((left, low), (right, low), (right, top)), takes)]
    return [
        Shape("pair", ((left, low), (right, low), (left, top)), takes),
        Shape("pair", ((right, low), (right, top), (left, top)), takes),
    ]


def _along(
    closing: Closing, wedge: Wedge, takes: Takes, station: float, low: float, bearing: float
) -> list[Shape]:
    """Return wedges that lie along the run, as long and as far in as they are."""
    if closing.kind == "single":
        sign = -1.0 if closing.from_side == "head" else 1.0
        tip = station + sign * (bearing / 2 - closing.how_far_in)
        butt = tip + sign * wedge.length
        return [
            Shape(
                "wedge", ((tip, low), (butt, low), (butt, low + wedge.thick), (tip, low + wedge.thin)), takes
            )
        ]
    tip_over, tip_under = station - closing.overlap / 2, station + closing.overlap / 2
    butt_under, butt_over = tip_under - wedge.length, tip_over + wedge.length
    top, thin, thick = low + closing.height, wedge.thin, wedge.thick
    under = ((butt_under, low), (tip_under, low), (tip_under, low + thin), (butt_under, low + thick))
    over = ((tip_over, top), (butt_over, top), (butt_over, top - thick), (tip_over, top - thin))
    return [Shape("pair", under, takes), Shape("pair", over, takes)]


def _short_of(shapes: Sequence[Shape], missing: Takes) -> tuple[Shape, ...]:
    """Mark the pieces that the truck is short of, the uppermost first."""
    left = dict(missing)
    marked: list[Shape] = []
    for shape in reversed(shapes):
        short = [(item, count) for item, count in shape.takes if left.get(item, 0) > 0]
        for item, count in short:
            left[item] -= count
        marked.append(replace(shape, missing=bool(short)))
    return tuple(reversed(marked))
