"""Stacks drawn piece by piece at their true heights and lengths along the run."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trackkit.show.style import STYLE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from trackkit.cribbing.results import Closing, Placed, Stack

__all__ = ["WEDGE_LENGTH", "draw_stack"]

#: Length along the run at which a closing piece is drawn [m]; which way it goes in is in words.
WEDGE_LENGTH = 0.16


def draw_stack(
    ax: Axes, stack: Stack, *, base: float, stations: tuple[float, ...], slope: float = 0.0, scale: float
) -> None:
    """Draw a stack from the ground up, then its closing piece under every tie.

    Parameters
    ----------
    ax : Axes
    stack : Stack
    base : float
        Height of the underside of its lowest piece [m].
    stations : tuple of float
        Station of each of its ties [m].
    slope : float
        Slope of the ground along the run [rad], for the wedge or packing of a seat.
    scale : float
        Units of the height axis in a metre.
    """
    if stack.seat_raise > 0 and stack.pieces:
        _draw_seat(ax, stack.pieces[0], stack.station, base, slope, scale)
    for piece in stack.pieces:
        _draw_piece(ax, piece, stack.station, base, scale)
    top = base + stack.height
    for closing, station in zip(stack.closings, stations, strict=True):
        _draw_closing(ax, closing, station, top, scale)
    if stack.missing:
        from matplotlib.patches import Rectangle

        height = max(stack.height, 0.01)
        corner = (stack.station - 0.2, base * scale)
        ax.add_patch(Rectangle(corner, 0.4, height * scale, **STYLE["missing"]))


def _draw_seat(ax: Axes, foot: Placed, station: float, base: float, slope: float, scale: float) -> None:
    """Draw what is under the low edge of the lowest piece, as far as it shows from the side."""
    from matplotlib.patches import Polygon

    half = (foot.width if foot.both_ends else foot.length) / 2
    deep = abs(math.tan(slope)) * 2 * half
    low, high = (station - half, station + half) if slope > 0 else (station + half, station - half)
    corners = [(low, base * scale), (high, base * scale), (low, (base - deep) * scale)]
    ax.add_patch(Polygon(corners, gid="seat", **STYLE["wedge"]))


def _draw_piece(ax: Axes, piece: Placed, station: float, base: float, scale: float) -> None:
    from matplotlib.patches import Rectangle

    length = piece.width if piece.both_ends else piece.length
    bottom, left = (base + piece.bottom) * scale, station - length / 2
    kind = piece.kind if piece.kind in ("box", "lumber", "ply", "pad") else "ply"
    ax.add_patch(Rectangle((left, bottom), length, piece.thickness * scale, gid=piece.item, **STYLE[kind]))
    if kind == "lumber":
        for share in (0.3, 0.65):
            height = bottom + share * piece.thickness * scale
            ax.plot([left + 0.06 * length, left + 0.94 * length], [height, height], **STYLE["grain"])


def _draw_closing(ax: Axes, closing: Closing, station: float, top: float, scale: float) -> None:
    from matplotlib.patches import Polygon, Rectangle

    if closing.kind == "none" or closing.height <= 0:
        return
    left, right = station - WEDGE_LENGTH / 2, station + WEDGE_LENGTH / 2
    low, high = top * scale, (top + closing.height) * scale
    if closing.kind == "shim":
        ax.add_patch(Rectangle((left, low), WEDGE_LENGTH, high - low, gid=closing.item, **STYLE["shim"]))
        return
    ax.add_patch(Polygon([(left, low), (right, low), (right, high)], gid=closing.item, **STYLE["wedge"]))
    if closing.kind == "pair":
        ax.add_patch(Polygon([(left, low), (left, high), (right, high)], gid=closing.item, **STYLE["wedge"]))
