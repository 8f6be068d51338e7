"""The ground under one support, with its slope, what is scraped away and what is packed under the pile."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from trackkit.cribbing.stack import Stack
from trackkit.show.style import PAPER, STYLE
from trackkit.units import LENGTH_UNITS, Display

if TYPE_CHECKING:
    from trackkit.show.closeup_shapes import CloseUp
    from trackkit.show.pen import Pen
    from trackkit.show.room import Paper

__all__ = ["draw_close_ground", "slope_words"]

Array = NDArray[np.float64]

#: Scraped a little wider than the piece that stands there [m].
BESIDE: Final = 0.012
#: A slope that rises less over the length that it is said for is none [m].
NO_RISE: Final = 0.0015


def slope_words(seen: CloseUp, display: Display) -> str:
    """Return how the ground slopes in the picture: over a metre, or over a foot for a crew with inches."""
    way = ("tail", "head") if seen.view == "along" else ("right", "left")
    direction = "along the run" if seen.view == "along" else "across"
    if not np.isfinite(seen.slope):
        return f"how the ground slopes {direction} is not known"
    unit = "ft" if display.unit == "in" else "m"
    rise = seen.slope * LENGTH_UNITS[unit]
    if abs(rise) < NO_RISE or display.small(rise) == display.small(0.0):
        return f"the ground is level {direction}"
    towards = way[0] if rise > 0 else way[1]
    return f"the ground rises {display.small_unit(abs(rise))} in 1 {unit} to the {towards}"


def draw_close_ground(
    pen: Pen, paper: Paper, seen: CloseUp, stack: Stack, *, ends: tuple[float, float], floor: float
) -> None:
    """Draw the ground between two places, hatched, and what is scraped from it or packed on it.

    Parameters
    ----------
    pen, paper
    seen : CloseUp
    stack : Stack
    ends : tuple of float
        Leftmost and rightmost place of the picture [m].
    floor : float
        Height at which its body ends [m].
    """
    left, right = ends
    middles = [middle for _, middle, _, _ in seen.ties if left < middle < right and seen.view == "along"]
    places = np.array([left, *middles, right])
    surface = np.array([seen.ground(float(place)) for place in places])
    pen.band("ground-body", places, floor, surface, **STYLE["ground"])
    pen.line("ground", places, surface, **STYLE["surface"])
    feet = [np.asarray(shape.corners) for kind, place, shape in seen.shapes if (kind, place) == ("piece", 0)]
    cuts, seats = [], []
    for foot in feet if stack.seat else []:
        wider = BESIDE if stack.seat_raise < 0 else 0.0
        at = np.linspace(float(foot[:, 0].min()) - wider, float(foot[:, 0].max()) + wider, 41)
        heights = np.array([seen.ground(float(place)) for place in at])
        if stack.seat_raise < 0:
            cuts.append(_between(at, np.maximum(heights, seen.base), seen.base))
        else:
            seats.append(_between(at, np.minimum(heights, seen.base), seen.base))
    pen.areas("scraped", cuts, **STYLE["scraped"])
    pen.areas("seat", seats, **STYLE["seat"])
    before = [[cut[0], cut[40]] for cut in cuts]
    pen.strokes("ground-before", before, **STYLE["ground before"])
    _draw_earth(pen, paper, seen, ends, [cut[:, 0] for cut in cuts])


def _between(at: Array, heights: Array, base: float) -> Array:
    """Return the corners of what lies between a surface and the pile's underside."""
    return np.concatenate([np.column_stack([at, heights]), [(at[-1], base), (at[0], base)]])


def _draw_earth(pen: Pen, paper: Paper, seen: CloseUp, ends: tuple[float, float], cuts: list[Array]) -> None:
    """Draw the strokes of earth under the surface, and under what is scraped."""
    across, up = paper.inches
    bunches = np.arange(ends[0] + PAPER["stroke"] / across, ends[1], PAPER["bunch"] / across)
    starts = (bunches[:, None] + np.arange(3) * PAPER["strokes"] / across).ravel()
    starts = starts[starts < ends[1]]
    tops = np.array([seen.ground(float(place)) for place in starts])
    for cut in cuts:
        inside = (starts >= cut.min()) & (starts <= cut.max())
        tops = np.where(inside, np.minimum(tops, seen.base), tops)
    feet = np.column_stack([starts - PAPER["stroke"] / across, tops - PAPER["stroke"] / up])
    pen.strokes("earth", np.stack([np.column_stack([starts, tops]), feet], axis=1), **STYLE["earth"])
