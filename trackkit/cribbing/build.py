"""From a chosen pile and closing piece to the stack as it is built, piece by piece."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from trackkit.cribbing.closers import Closer, change_chance
from trackkit.cribbing.heights import Patterns
from trackkit.cribbing.placing import inward, is_narrow, seat_raise, slide
from trackkit.cribbing.room import least_room
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.said import times
from trackkit.cribbing.sites import Site
from trackkit.cribbing.stack import Closing, Placed, Stack
from trackkit.cribbing.truck import Piece, Truck
from trackkit.cribbing.wedges import Entry, enter_pair, enter_single
from trackkit.units import DISPLAYS

__all__ = ["build_stack", "closing_heights", "place_pieces", "slid_clear"]


def place_pieces(patterns: Patterns, row: int, *, kind: str) -> tuple[Placed, ...]:
    """Return the layers of a pattern from the ground up, the widest lowest.

    Parameters
    ----------
    patterns : Patterns
        All piles of the purpose.
    row : int
        Which of them.
    kind : {'tie', 'joint', 'both ends'}
        What the pile is for: in the last, a piece that is not doubled runs through under both ends.
    """
    placed: list[Placed] = []
    bottom = 0.0
    for place, one in enumerate(patterns.laid):
        for _ in range(int(patterns.counts[row, place])):
            through = kind == "both ends" and patterns.multiplicity[place] == 1
            doubled = kind == "joint" and patterns.multiplicity[place] == 2
            placed.append(
                Placed(
                    one.item,
                    one.kind,
                    one.thickness,
                    bottom,
                    one.length,
                    one.width,
                    one.on_edge,
                    one.per_layer * (2 if doubled else 1),
                    one.per_layer == 2,
                    through,
                    one.turned,
                )
            )
            bottom += one.thickness
    return tuple(placed)


def build_stack(
    site: Site,
    pieces: tuple[Placed, ...],
    closers: Sequence[Closer],
    truck: Truck,
    rules: StackRules,
    *,
    chances: Sequence[float] | None = None,
    seat_item: str = "",
    display: str = "mm",
) -> Stack:
    """Return the stack of one place with its closing pieces, seat, overhang and chance of change.

    Parameters
    ----------
    site : Site
        The place.
    pieces : tuple of Placed
        The pile, as `slid_clear` has it.
    closers : sequence of Closer
        One for each tie.
    truck : Truck
        The one that the closers refer to.
    rules : StackRules
        Spare, gauge, overhang, walk side.
    chances : sequence of float, optional
        Chance of change of each closing piece, where it is known already.
    seat_item : str
        The wedge that seats are made of.
    display : str
        One of `trackkit.units.DISPLAYS`.
    """
    lift = _lift(site, pieces)
    heights = closing_heights(site, pieces)
    narrow = any(is_narrow(site, piece.across, rules) for piece in pieces)
    if chances is None:
        low, high = np.array([(closer.low, closer.high) for closer in closers]).T
        chances = [float(chance) for chance in change_chance(low, high, heights, site.sds)]
    closings = tuple(
        _closing(site, end, closer, heights[end], chances[end], lift, truck, rules, narrow)
        for end, closer in enumerate(closers)
    )
    if any(end.kind == "single" and end.goes_in == "from outside" for end in closings):
        pieces = tuple(
            piece if piece.both_ends else replace(piece, out=rules.set_out(piece.across)) for piece in pieces
        )
    window = (
        max(height - closer.stop for height, closer in zip(site.heights, closers, strict=True)),
        min(height - closer.start for height, closer in zip(site.heights, closers, strict=True)),
    )
    walked = rules.walk_side in (site.side, "both")
    thick = max((piece.thickness for piece in truck.pieces if piece.item == seat_item), default=math.inf)
    return Stack(
        support=site.support,
        side=site.side,
        station=site.station,
        ties=site.ties,
        role=site.role,
        fill=max(site.fills),
        fills=site.fills,
        fill_sd=max(math.sqrt(max(sd**2 - rules.build_sd**2, 0.0)) for sd in site.sds),
        window=window,
        pieces=pieces,
        closings=closings,
        seat=_seat_words(site, pieces, display, thick) if pieces else "",
        tilt=site.tilt,
        overhang=_overhang(site, pieces, rules),
        on_walk_side=walked,
        change_chance=1.0 - math.prod(1.0 - closing.change_chance for closing in closings),
        seat_raise=lift,
        seat_item=seat_item if site.seat == "wedge" and pieces else "",
        seat_wedges=sum(site.seat_ways) if site.seat == "wedge" and pieces else 0,
        small_foot=_footprint(pieces) < rules.least_foot(site.ground) - 1e-9,
    )


def slid_clear(site: Site, pieces: tuple[Placed, ...], rules: StackRules) -> tuple[Placed, ...]:
    """Return the layers slid along the run as far as each must be to stand clear."""
    widest = max((piece.across for piece in pieces), default=0.0)
    room = min(site.free(widest, widest))
    if all(piece.along <= 2.0 * room for piece in pieces):
        return pieces  # no layer reaches farther to either side than its own width
    ways = [slide(site, piece.along, piece.across, rules, through=piece.both_ends) or 0.0 for piece in pieces]
    if not any(ways):
        return pieces
    return tuple(replace(piece, slid=way) for piece, way in zip(pieces, ways, strict=True))


def closing_heights(site: Site, pieces: Sequence[Placed]) -> list[float]:
    """Return what is left to close over the pile at each tie [m]."""
    base = sum(piece.thickness for piece in pieces) + _lift(site, pieces)
    return [height - base for height in site.heights]


def _lift(site: Site, pieces: Sequence[Placed]) -> float:
    """Return how high a seat has the bottom of the pile above the ground under the middle of the site [m]."""
    if not pieces:
        return 0.0
    foot = pieces[0]
    return seat_raise(site, foot.along, foot.across, foot.slid)


def _rises(site: Site, foot: Placed) -> tuple[float, float]:
    """Return what the ground rises under the lowest piece, along the run and across [m]."""
    return math.tan(site.along) * foot.along, math.tan(site.cross) * foot.across


def _closing(
    site: Site,
    end: int,
    closer: Closer,
    height: float,
    chance: float,
    lift: float,
    truck: Truck,
    rules: StackRules,
    narrow: bool,
) -> Closing:
    pieces = [truck.pieces[place] for place, _ in closer.takes]
    takes = tuple((truck.pieces[place].item, count) for place, count in closer.takes)
    entry, past = Entry(0.0, 0.0, "", "", 0.0, ""), 0.0
    if closer.kind in ("single", "pair"):
        entry, past = _enter(site, end, closer, pieces[0], height, rules, narrow=narrow)
    wedge, shims = (takes[:1], takes[1:]) if entry.goes_in else ((), takes)
    names = [times(item, count) for item, count in shims] + [item for item, _ in wedge]
    return Closing(
        tie=site.ties[end],
        kind=closer.kind,
        item=" + ".join(names),
        takes=takes,
        height=height,
        packed=closer.packed,
        low=closer.low,
        high=closer.high,
        change_chance=chance,
        how_far_in=entry.how_far_in,
        overlap=entry.overlap,
        goes_in=entry.goes_in,
        from_side=entry.from_side,
        stick_out=entry.stick_out,
        stick_side=entry.stick_side,
        seat_raise=lift + site.fills[end] - site.heights[end],
        past=past,
    )


def _enter(
    site: Site, end: int, closer: Closer, piece: Piece, height: float, rules: StackRules, *, narrow: bool
) -> tuple[Entry, float]:
    """Return how a wedge goes in, and how far a corner of it then reaches past the free ground [m].

    On a pile with a narrow layer in it a single wedge goes in along the track: from outside it would bear
    beside that layer and tip it.
    A single wedge along the track comes from the end at which it stays within the free ground, if there
    is one; otherwise from the tail. Those of a joint come to meet each other, each from outside the joint.
    """
    wedge = piece.wedge
    where: dict[str, Any] = {"bearing": site.bearing, "side": site.side, "walk_side": rules.walk_side}
    if closer.kind == "pair":
        entry = enter_pair(wedge, height - closer.packed, **where)
        return entry, _past(site, end, closer.kind, entry, piece, rules)
    if narrow:
        where["walk_side"] = "both"
    ways = ("tail", "head") if len(site.ties) == 1 else ("tail",) if end else ("head",)
    entries = [enter_single(wedge, height - closer.packed, from_end=way, **where) for way in ways]
    found = [(entry, _past(site, end, closer.kind, entry, piece, rules)) for entry in entries]
    return min(found, key=lambda one: one[1])


def _past(site: Site, end: int, kind: str, entry: Entry, piece: Piece, rules: StackRules) -> float:
    """Return how far a corner of a wedge reaches past the free ground along the run at its tie [m]."""
    left = right = head = tail = piece.width / 2.0
    if entry.goes_in == "from outside":
        tip = entry.how_far_in if kind == "single" else piece.length  # of a pair the inner one is all in
        out, towards = rules.tie_overhang + entry.stick_out, tip - rules.tie_overhang
        left, right = (out, towards) if site.side == "left" else (towards, out)
    elif entry.from_side in ("head", "tail"):
        tip, butt = entry.how_far_in - site.bearing / 2.0, site.bearing / 2.0 + entry.stick_out
        head, tail = (butt, tip) if entry.from_side == "head" else (tip, butt)
    else:  # a pair along the track, from both ends
        head = tail = piece.length - entry.overlap / 2.0
    to_head, to_tail = (least_room(edges, left, right, keep=False) for edges in site.frees[end])
    return max(head - to_head, tail - to_tail, 0.0)


def _overhang(site: Site, pieces: Sequence[Placed], rules: StackRules) -> float:
    """Return how far the widest layer stands out beyond the tie end on the outer side [m]."""
    most = 0.0
    for piece in pieces:
        if piece.both_ends:
            out = (piece.across - rules.gauge) / 2.0
        else:
            out = piece.across / 2.0 - inward(site, piece.along, piece.across, rules, slid=piece.slid)
            out += piece.out
        most = max(most, out - rules.tie_overhang)
    return most


def _footprint(pieces: Sequence[Placed]) -> float:
    """Return what the lowest layer bears with on the ground [m²]; 0 for none."""
    return pieces[0].length * pieces[0].width * pieces[0].per_layer if pieces else 0.0


def _seat_words(site: Site, pieces: Sequence[Placed], display: str, thick: float) -> str:
    """Return how the seat is made, with its thickness under each low edge.

    A wedge has its thickness at the edge that it lies under: in the middle of that edge, where the ground
    slopes both ways. What is thicker than the wedge wants packing under it.
    """
    if not site.seat:
        return ""
    show = DISPLAYS[display]
    along, across = _rises(site, pieces[0])
    ways = [
        (abs(along), "along the run", *(("head", "tail") if along > 0 else ("tail", "head"))),
        (abs(across), "across", *(("left", "right") if across > 0 else ("right", "left"))),
    ]
    ways.sort(key=lambda way: -way[0])
    if site.seat == "scrape":
        ways = ways[:1] + [way for way in ways[1:] if show.small(way[0]) != show.small(0.0)]
        takes = [f"{show.small_unit(rise)} off the {high} side" for rise, _, _, high in ways]
        return f"scrape level: {', '.join(takes)}"
    levels = dict(zip(("along the run", "across"), site.seat_ways, strict=True))
    ways = [way for way in ways if levels[way[1]]]
    both = sum(rise for rise, *_ in ways)
    edges = [
        (low if way == "along the run" else f"{low} side", (rise + both) / 2.0) for rise, way, low, _ in ways
    ]
    middle = "the middle of " if len(edges) > 1 else ""  # there the ground lies half of the other rise lower
    takes = [f"under {middle}the {edge} edge, {show.small_unit(high)} thick there" for edge, high in edges]
    if site.seat == "pack":
        return f"packing {', and '.join(takes)}"
    extra = "packing (not on the pull list) and " if max(high for _, high in edges) > thick else ""
    if len(takes) == 1:
        return f"{extra}{'a' if extra else '1'} wedge {takes[0]}"
    return f"{extra}{len(takes)} wedges: {', '.join(f'one {take}' for take in takes)}"
