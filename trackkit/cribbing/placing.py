"""How a layer lies on the ground that is free: along the run, turned across it, or slid aside.

A box is laid along the run with the tie over its middle. Where a break in the ground, a zone where
nothing may stand or the next stack leaves less room than its length, it is slid along the run as far as
no edge lifts, or turned across the run, so that no corner of it reaches past anything.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from trackkit.cribbing.heights import Laid, from_the_ground_up
from trackkit.cribbing.room import least_room
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.sites import Site

__all__ = ["inward", "is_narrow", "layers_at", "seat_raise", "seat_raises", "slide", "stands_bare"]

#: Lengths that differ by less are the same [m].
_SAME: Final = 1e-9


def slide(
    site: Site, along: float, across: float, rules: StackRules, *, through: bool = False
) -> float | None:
    """Return how far a layer must be slid along the run to stand clear.

    Parameters
    ----------
    site : Site
        The place, with the ground that is free about it.
    along, across : float
        What the layer takes up along the run and across it, as it lies [m].
    rules : StackRules
        ``slide_in``: the part of its length that it may be slid by, the kern. On the walk side it may lie
        anywhere from the middle of the rail to that part of its width farther in, and stands clear there.
    through : bool
        Whether it runs through to the other rail, so that it is not slid in.

    Returns
    -------
    float or None
        Towards the tail positive, 0 where it lies clear as it is [m]. None if no slide takes it clear
        with the whole tie (both ties of a joint) over it and no edge lifting. A piece that is too short
        for a joint lies under each of its ties, not slid, and must clear the one under the other tie.
    """
    to_head, to_tail = site.free(*_sideways(site, across, rules, through=through))
    need = site.span + site.bearing
    if len(site.ties) > 1 and along < need - _SAME:
        room = min(to_head, to_tail) - site.span / 2.0
        return 0.0 if along / 2.0 <= room + _SAME and along <= site.span + _SAME else None
    least, most = along / 2.0 - to_head, to_tail - along / 2.0
    if least > most + _SAME:
        return None
    way = min(max(0.0, least), most)
    way = 0.0 if abs(way) <= _SAME else way
    allowed = max(min(rules.slide_in * along, (along - need) / 2.0), 0.0)
    return way if abs(way) <= allowed + _SAME else None


def is_narrow(site: Site, across: float, rules: StackRules) -> bool:
    """Return whether a layer so wide is too narrow for a wedge from outside.

    Beside a slanting edge it cannot be set out either: there it would lie nearer to the edge than it was
    looked at.
    """
    slanting = any(slant != 0.0 for frees in site.frees for edges in frees for _, slant, _ in edges)
    return rules.is_narrow(across) or (slanting and rules.set_out(across) > 0.0)


def inward(site: Site, along: float, across: float, rules: StackRules, *, slid: float = 0.0) -> float:
    """Return how far a layer is slid in under the tie where people walk beside it [m].

    Parameters
    ----------
    site : Site
    along, across : float
        What the layer takes up along the run and across it, as it lies [m].
    rules : StackRules
        Walk side, ``slide_in``, ``gauge``.
    slid : float
        How far it is slid along the run already [m].

    Returns
    -------
    float
        0 or more. The load is then off the layer's middle both ways, and stays within the kern, a lozenge:
        what is spent along the run (by the slide, and by one tie of a joint alone under a wheel) is not
        there across it. It leaves the stack under the other rail its half.

    References
    ----------
    Kern of a rectangle: abs(e1)/(b1/6) + abs(e2)/(b2/6) <= 1, any book of statics.
    """
    if rules.walk_side not in (site.side, "both"):
        return 0.0
    carries = len(site.ties) > 1 and along >= site.need - _SAME
    off = abs(slid) + (site.span / 2.0 if carries else 0.0)
    kern = rules.slide_in * along
    left = max(1.0 - off / kern, 0.0) if kern > 0 else 0.0
    return min(rules.slide_in * across * left, _room_inside(across, rules))


def _room_inside(across: float, rules: StackRules) -> float:
    """Return how far in a layer may lie and leave the stack under the other rail its half [m]."""
    return max(rules.gauge - across, 0.0) / 2.0


def _sideways(site: Site, across: float, rules: StackRules, *, through: bool) -> tuple[float, float]:
    """Return how far a layer may reach left and right of the rail's line, wherever a crew puts it [m]."""
    out = towards = across / 2.0
    if through:
        out, towards = max(across - rules.gauge, 0.0) / 2.0, rules.gauge / 2.0
    elif rules.walk_side in (site.side, "both"):
        towards += min(rules.slide_in * across, _room_inside(across, rules))
    return (out, towards) if site.side == "left" else (towards, out)


def stands_bare(site: Site, rules: StackRules) -> bool:
    """Return whether a closing piece can stand on the ground itself under the whole width of every tie.

    Under a tie that reaches over an edge it would stand on part of its width only, and tip.
    """
    aside = rules.tie_overhang
    rooms = (least_room(edges, aside, aside) for ways in site.frees for edges in ways)
    return all(room >= site.bearing / 2.0 - _SAME for room in rooms)


def seat_raise(site: Site, along_run: float, across_run: float, slid: float) -> float:
    """Return how high a seat has the bottom of a lowest piece above the ground at the site's middle [m].

    Parameters
    ----------
    site : Site
        With its kind of seat: a wedge or packing under the low edge lifts the piece's middle by half of
        what the ground rises under it; ground scraped level goes down to its low corner, so that the
        piece stands on firm ground all over, and its middle is lower by as much (below 0).
    along_run, across_run, slid : float
        What it takes up along the run and across it, and how far it is slid along the run [m].
    """
    if not site.seat:
        return 0.0
    along, across = math.tan(site.along), math.tan(site.cross)
    if site.seat == "scrape":
        return along * slid - (abs(along) * along_run + abs(across) * across_run) / 2.0
    levels_along, levels_across = site.seat_ways
    return (
        along * slid
        + (abs(along) * along_run * levels_along + abs(across) * across_run * levels_across) / 2.0
    )


def seat_raises(site: Site, laid: Sequence[Laid], rules: StackRules) -> list[float]:
    """Return `seat_raise` of each layer as the lowest piece, slid as it must be there [m]."""
    slid = [slide(site, one.length, one.across, rules) or 0.0 for one in laid]
    return [seat_raise(site, one.length, one.across, by) for one, by in zip(laid, slid, strict=True)]


def layers_at(site: Site, laid: Sequence[Laid], rules: StackRules) -> tuple[Laid, ...]:
    """Return the layers that can lie at a place, turned across the run where they are too long.

    Parameters
    ----------
    site : Site
    laid : sequence of Laid
        Every way in which a piece may lie along the run.
    rules : StackRules
        ``gauge``: a turned piece must leave the other rail's stack its half.

    Returns
    -------
    tuple of Laid
        In order from the ground up.
    """
    found = []
    for one in laid:
        if slide(site, one.length, one.across, rules) is not None:
            found.append(one)
            continue
        turns = one.per_layer == 1 and not one.on_edge and one.length <= rules.gauge
        carries = one.width >= site.bearing - _SAME
        if turns and carries and slide(site, one.width, one.length, rules) is not None:
            found.append(replace(one, length=one.width, width=one.length, turned=True))
    return tuple(sorted(found, key=from_the_ground_up))
