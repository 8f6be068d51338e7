"""How a layer lies on the ground that is free: along the run, turned across it, or slid aside.

A box is laid along the run with the tie over its middle. Where a break in the ground, a zone where
nothing may stand or the next stack leaves less room than its length, it is slid along the run as far as
no edge lifts, or turned across the run, so that it reaches past nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from trackkit.cribbing.heights import Laid, from_the_ground_up
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.sites import Site

__all__ = ["layers_at", "seat_raise", "slide"]

#: Lengths that differ by less are the same [m].
_SAME: Final = 1e-9


def slide(site: Site, length: float, rules: StackRules) -> float | None:
    """Return how far a layer must be slid along the run to stand clear.

    Parameters
    ----------
    site : Site
        The place, with the ground that is free about it.
    length : float
        Length of the layer along the run, as it lies [m].
    rules : StackRules
        ``slide_in``: the part of its length that it may be slid by, the kern.

    Returns
    -------
    float or None
        Towards the tail positive, 0 where it lies clear as it is [m]. None if no slide takes it clear
        with the whole tie (both ties of a joint) over it and no edge lifting. A piece that is too short
        for a joint lies under each of its ties, not slid, and must clear the one under the other tie.
    """
    to_head, to_tail = site.free
    need = site.span + site.bearing
    if len(site.ties) > 1 and length < need - _SAME:
        room = min(to_head, to_tail) - site.span / 2.0
        return 0.0 if length / 2.0 <= room + _SAME and length <= site.span + _SAME else None
    least, most = length / 2.0 - to_head, to_tail - length / 2.0
    if least > most + _SAME:
        return None
    way = min(max(0.0, least), most)
    way = 0.0 if abs(way) <= _SAME else way
    allowed = max(min(rules.slide_in * length, (length - need) / 2.0), 0.0)
    return way if abs(way) <= allowed + _SAME else None


def seat_raise(site: Site, length: float, width: float, slid: float) -> float:
    """Return how high a seat has the bottom of a lowest piece above the ground at the site's middle [m].

    Parameters
    ----------
    site : Site
        With its kind of seat: a wedge or packing under the low edge lifts the piece's middle by half of
        what the ground rises under it; ground scraped level goes down to its low corner, so that the
        piece stands on firm ground all over, and its middle is lower by as much (below 0).
    length, width, slid : float
        The piece along the run and across it, and how far it is slid along the run [m].
    """
    if not site.seat:
        return 0.0
    along, across = math.tan(site.along), math.tan(site.cross)
    if site.seat == "scrape":
        return along * slid - (abs(along) * length + abs(across) * width) / 2.0
    levels_along, levels_across = site.seat_ways
    return along * slid + (abs(along) * length * levels_along + abs(across) * width * levels_across) / 2.0


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
        if slide(site, one.length, rules) is not None:
            found.append(one)
            continue
        turns = one.per_layer == 1 and not one.on_edge and one.length <= rules.gauge
        carries = one.width >= site.bearing - _SAME
        if turns and carries and slide(site, one.width, rules) is not None:
            found.append(replace(one, length=one.width, width=one.length, turned=True))
    return tuple(sorted(found, key=from_the_ground_up))
