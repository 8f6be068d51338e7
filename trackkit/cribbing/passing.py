"""Where the two wedges at a joint, which come to meet each other along the track, may pass side by side.

::

    seen from the head           rail
                 outside    |====|====|           the outer wedge is flush with the tie's end,
      tie ------------------+---------------      the inner one lies next to it; the pile under
                       |outer|inner|              them must be wide enough for both
                     +-----------------+
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from trackkit.cribbing.closers import Closer
from trackkit.cribbing.placing import inward
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.sites import Site
from trackkit.cribbing.stack import Placed
from trackkit.cribbing.truck import Truck

__all__ = ["with_room_to_pass"]


def with_room_to_pass(
    site: Site, pieces: Sequence[Placed], closers: Sequence[Closer], truck: Truck, rules: StackRules
) -> list[Closer]:
    """Return the closing pieces of a place with the travel that they have on the day.

    They are planned so that the wedges of a joint do not reach each other. Should a gap turn out higher, they
    go in farther and pass side by side, where the pile is wide enough for both.
    """
    wedges = [truck.pieces[one.takes[0][0]] for one in closers if one.kind == "single"]
    meet = len(site.ties) > 1 and rules.walk_side in (site.side, "both") and len(wedges) == len(site.ties)
    if not meet or not _wide_enough(site, pieces, sum(wedge.width for wedge in wedges), rules):
        return list(closers)
    return [
        replace(one, high=max(one.high, wedge.thickness + one.packed))
        for one, wedge in zip(closers, wedges, strict=True)
    ]


def _wide_enough(site: Site, pieces: Sequence[Placed], width: float, rules: StackRules) -> bool:
    """Return whether the uppermost layer lies under both wedges, from the tie's end inwards."""
    if not pieces:
        return True  # they lie on the ground
    top = pieces[-1]
    inwards = inward(site, top.along, top.across, rules, slid=top.slid)
    outer, inner = top.across / 2.0 - inwards, top.across / 2.0 + inwards
    return outer >= rules.tie_overhang and inner >= width - rules.tie_overhang
