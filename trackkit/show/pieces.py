"""Stacks drawn piece by piece at their true heights and lengths along the run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trackkit.show.style import STYLE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from trackkit.cribbing.results import Closing, Placed, Stack

__all__ = ["WEDGE_LENGTH", "draw_stack"]

#: Length along the run at which a closing piece is drawn [m]; which way it goes in is in words.
WEDGE_LENGTH = 0.16


def draw_stack(ax: Axes, stack: Stack, *, base: float, stations: tuple[float, ...], scale: float) -> None:
    """Draw a stack from the ground up, then its closing piece under every tie.

    Parameters
    ----------
    ax : Axes
    stack : Stack
    base : float
        Height of the ground that it stands on [m].
    stations : tuple of float
        Station of each of its ties [m].
    scale : float
        Units of the height axis in a metre.
    """
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
