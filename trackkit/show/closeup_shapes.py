"""One support as shapes at true scale, seen from the side or along the run. Plain geometry in metres.

Seen from the side (``along``) a place is its station. Seen along the run (``across``) it is how far to the
right of the rail it lies, as for somebody who looks from the head to the tail.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from trackkit.cribbing.stack import Closing, Placed, Stack
from trackkit.show.footprints import slid_in, wedge_width
from trackkit.show.pieces import Shape, Takes, block

if TYPE_CHECKING:
    from trackkit.cribbing.truck import Truck
    from trackkit.cribbing.wedges import Wedge

__all__ = ["CloseUp", "close_up", "shows_taper"]

#: Shims have no size of their own: they are drawn as wide as two ties [shares of a tie].
SHIM_WIDTH: Final = 2.0
#: Of a piece through to the other rail so much is drawn outside and inside of the rail [m].
THROUGH: Final = (0.1, 0.4)


@dataclass(frozen=True, eq=False)
class CloseUp:
    """One support seen from one side [m].

    Attributes
    ----------
    view : {'along', 'across'}
    shapes : tuple of (kind, place, Shape)
        From the ground up; kind and place as in `trackkit.show.stack_words.Part`.
    base : float
        Height on which the pile stands.
    ties : tuple of (int, float, float, float)
        Number, place of its middle, width and underside of each tie in the picture.
    rail_tops, grounds : tuple of float
        Height of the rail's top and of the ground at each of these ties.
    slope : float
        Of the ground, rise over length to the right of the picture; NaN where it isn't known.
    outwards : float
        Across: -1 where outside is on the left of the picture, 1 on the right. Along: 0.
    """

    view: str
    shapes: tuple[tuple[str, int, Shape], ...]
    base: float
    ties: tuple[tuple[int, float, float, float], ...]
    rail_tops: tuple[float, ...]
    grounds: tuple[float, ...]
    slope: float
    outwards: float

    def ground(self, place: float) -> float:
        """Return the height of the ground at a place, carried on with its slope beyond the ties."""
        slope = self.slope if np.isfinite(self.slope) else 0.0
        places = [middle for _, middle, _, _ in self.ties]
        if self.view == "across":
            return self.grounds[0] + slope * place
        if place <= places[0]:
            return self.grounds[0] + slope * (place - places[0])
        if place >= places[-1]:
            return self.grounds[-1] + slope * (place - places[-1])
        return float(np.interp(place, places, self.grounds))


def shows_taper(stack: Stack) -> str:
    """Return the view in which its wedges show their taper; across where it has none."""
    return "along" if any(closing.goes_in == "along the track" for closing in stack.closings) else "across"


def close_up(
    stack: Stack, fills: pd.DataFrame, *, view: str, truck: Truck | None, tie_overhang: float, tie: int | None
) -> CloseUp:
    """Return the shapes of one support.

    Parameters
    ----------
    stack : Stack
    fills : DataFrame
        A `fill_table` with the rows of its tie ends.
    view : {'along', 'across'}
    truck : Truck or None
        For the shapes of its wedges.
    tie_overhang : float
        How far a tie end stands out beyond its rail [m].
    tie : int or None
        Across: which of its ties is looked at; the first by default.

    Raises
    ------
    ValueError
        If the view is neither of the two, the stack has no such tie, or the fills lack its rows.
    """
    if view not in ("along", "across"):
        raise ValueError(f"view must be 'along' or 'across', got {view!r}")
    if tie is not None and tie not in stack.ties:
        raise ValueError(f"tie must be one of {list(stack.ties)}, got {tie}")
    rows = fills[(fills["side"] == stack.side) & fills["tie"].isin(stack.ties)].set_index("tie")
    if set(rows.index) != set(stack.ties):
        raise ValueError(f"fills must have rows of tie {stack.ties} {stack.side}; got {sorted(rows.index)}")
    rows = rows.loc[list(stack.ties)]
    base = float(rows["line_m"].iloc[0]) - stack.closing.height - stack.height
    out = -1.0 if stack.side == "left" else 1.0
    looked = tie if tie is not None else stack.ties[0]
    seen = stack.ties if view == "along" else (looked,)
    places = dict(zip(stack.ties, rows["station_m"].astype(float), strict=True))
    if view == "across":
        places = dict.fromkeys(stack.ties, 0.0)
    shapes = _pile(stack, base, view, out, tie_overhang, [places[one] for one in seen])
    for closing in (one for one in stack.closings if one.tie in seen):
        top, bearing = (float(rows[name].loc[closing.tie]) for name in ("line_m", "bearing_m"))
        end = _End(closing, places[closing.tie], top, bearing, view, out, tie_overhang, truck)
        shapes += [(kind, closing.tie, shape) for kind, shape in _closing(end)]
    at = rows.loc[list(seen)]
    column = "along_slope" if view == "along" else "cross_slope"
    slope = float(np.tan(at[column].mean())) if column in at else float("nan")
    wide = at["bearing_m"] if view == "along" else at["bearing_m"] * 0 + 2 * tie_overhang
    return CloseUp(
        view,
        tuple(shapes),
        base,
        tuple(
            (int(one), places[one], float(w), float(low))
            for one, w, low in zip(seen, wide, at["line_m"], strict=True)
        ),
        tuple(at["rail_top_m"].astype(float)),
        tuple(at["ground_m"].astype(float)),
        slope,
        0.0 if view == "along" else out,
    )


def _pile(
    stack: Stack, base: float, view: str, out: float, tie_overhang: float, places: list[float]
) -> list[tuple[str, int, Shape]]:
    """Return every piece of the pile as it is seen."""
    found, crossed = [], 0
    for place, piece in enumerate(stack.pieces):
        low = base + piece.bottom
        if view == "along":
            long, middle = piece.along, stack.station + piece.slid
            end_on = piece.both_ends or piece.turned
        else:
            long, middle = piece.across, -out * slid_in(stack, piece, tie_overhang)
            end_on = not (piece.both_ends or piece.turned)
        if piece.crossed:
            ends = bool(crossed % 2) == (view == "along")
            crossed += 1
            own = _crossed(piece, middle, low, ends=ends)
        elif piece.both_ends and view == "across":
            own = [_through(piece, out, low)]
        else:
            several = piece.per_layer > 1 and view == "along"
            own = [_block(piece, (at, long), low, end_on=end_on) for at in (places if several else [middle])]
        found += [("piece", place, shape) for shape in own]
    return found


def _block(piece: Placed, at: tuple[float, float], low: float, *, end_on: bool) -> Shape:
    kind = "lumber end" if end_on and piece.kind == "lumber" else piece.kind
    return block(kind, at[0], at[1], low, low + piece.thickness, ((piece.item, 1),))


def _through(piece: Placed, out: float, low: float) -> Shape:
    """Return a piece through to the other side: from its outer end as far in as the picture goes."""
    outer, inner = out * THROUGH[0], -out * THROUGH[1]
    middle, long = (outer + inner) / 2.0, abs(outer - inner)
    return block(piece.kind, middle, long, low, low + piece.thickness, ((piece.item, 1),))


def _crossed(piece: Placed, middle: float, low: float, *, ends: bool) -> list[Shape]:
    """Return one layer of a crib: two pieces one behind the other, or the ends of two."""
    high = low + piece.thickness
    if not ends:
        return [block("lumber", middle, piece.length, low, high, ((piece.item, 2),))]
    apart = (piece.length - 3.0 * piece.width) / 2.0  # tails as long as a piece is wide
    return [
        block("lumber end", middle + by, piece.width, low, high, ((piece.item, 1),)) for by in (-apart, apart)
    ]


@dataclass(frozen=True, eq=False)
class _End:
    """The closing piece under one tie end, and how it is looked at."""

    closing: Closing
    place: float
    top: float
    bearing: float
    view: str
    out: float
    overhang: float
    truck: Truck | None

    @property
    def low(self) -> float:
        """Height on which the wedge lies [m]."""
        return self.top - self.closing.gap

    @property
    def wedge(self) -> Wedge | None:
        """Its shape, where the truck is known."""
        item = self.closing.takes[0][0] if self.closing.takes else self.closing.item
        pieces = self.truck.pieces if self.truck is not None else ()
        return next((piece.wedge for piece in pieces if piece.item == item and piece.kind == "wedge"), None)


def _closing(end: _End) -> list[tuple[str, Shape]]:
    closing, foot = end.closing, end.top - end.closing.height
    if closing.kind == "none" or closing.height <= 0:
        return []
    wide = SHIM_WIDTH * end.bearing
    if closing.kind == "shim":
        return [("closing", block("shim", end.place, wide, foot, end.top, closing.takes))]
    found: list[tuple[str, Shape]] = []
    if closing.packed > 0:
        found.append(("packed", block("shim", end.place, wide, foot, end.low, closing.takes[1:])))
    takes: Takes = closing.takes[:1]
    taper_seen = (closing.goes_in == "along the track") == (end.view == "along")
    wedge = end.wedge
    if wedge is None or not taper_seen:
        width = wedge_width(closing, end.truck)
        return [*found, ("closing", block("wedge end", end.place, width, end.low, end.top, takes))]
    return [*found, *(("closing", shape) for shape in _tapered(end, wedge, takes))]


def _tapered(end: _End, wedge: Wedge, takes: Takes) -> list[Shape]:
    """Return wedges as long and as far in as they are, between the pile and the tie."""
    closing, low = end.closing, end.low
    if closing.goes_in == "from outside":
        sign, edge = end.out, end.out * end.overhang
    else:
        sign = -1.0 if closing.from_side == "head" else 1.0
        edge = end.place + sign * end.bearing / 2.0
    if closing.kind == "single":
        tip = edge - sign * closing.how_far_in
        return [_wedge("wedge", tip, sign, low, wedge, takes)]
    if closing.goes_in == "from outside":  # the lower one all in, its tip at the tie's end
        lower_tip, upper_tip = edge, edge - sign * closing.overlap
    else:
        sign = 1.0
        lower_tip, upper_tip = end.place + closing.overlap / 2.0, end.place - closing.overlap / 2.0
    lower = _wedge("pair", lower_tip, -sign, low, wedge, takes)
    return [lower, _wedge("pair", upper_tip, sign, end.top, wedge, takes, hangs=True)]


def _wedge(
    kind: str, tip: float, way: float, level: float, wedge: Wedge, takes: Takes, *, hangs: bool = False
) -> Shape:
    """Return a wedge from its tip to its butt, lying on a level, or hanging from it."""
    up, butt = (-1.0 if hangs else 1.0), tip + way * wedge.length
    corners = ((tip, level), (butt, level), (butt, level + up * wedge.thick), (tip, level + up * wedge.thin))
    return Shape(kind, corners, takes)
