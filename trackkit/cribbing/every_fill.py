"""Every fill from the ground up, with the cheapest stack for it: plain ways first, then last resorts."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import pandas as pd

from trackkit.cribbing.cheapest import NANO, Span, cheapest_stacks, outside
from trackkit.cribbing.resort import resorts
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.sites import Site, sort_fills
from trackkit.cribbing.truck import Truck
from trackkit.cribbing.workshop import Workshop

__all__ = ["every_span"]

#: Stretches no longer than this come from rounding alone [nm].
_SLIVER: Final = 5


def every_span(
    truck: Truck, rules: StackRules, *, bearing: float, ground: str, sd: float, top: float
) -> list[Span]:
    """Return the cheapest stack of every stretch of fills from 0 to ``top``, each where the last one stops.

    The first is the tie that sits on the ground; where nothing closes a fill the cost is NaN. Last resorts
    come in, one after the other, only where nothing before them does.

    Parameters
    ----------
    truck : Truck
        With plenty of every piece.
    rules : StackRules
    bearing, sd, top : float
        Width of the tie, give or take of the fills, highest fill [m].
    ground : str
        Kind of ground.
    """
    free = [(round(rules.touch * NANO), round(top * NANO))]
    found: list[Span] = []
    for resort, own in enumerate((rules, *resorts(rules))):
        site = _site(bearing, ground, sd, top, own)
        shop = Workshop(truck, own, [site], packed=resort > 0)
        for low, high, any_foot in _feet(shop, site):
            here = [(max(a, low), min(b, high)) for a, b in free if max(a, low) < min(b, high)]
            spans = cheapest_stacks(shop, site, here, any_foot=any_foot, last_resort=resort > 0)
            free = outside(free, spans)
            found += spans
    nothing = (0,) * len(truck.pieces)
    first = Span(0, round(rules.touch * NANO), 0.0, -rules.touch, rules.touch, nothing, False)
    return _without_gaps(sorted(found, key=lambda span: span.start), first, round(top * NANO))


def _feet(shop: Workshop, site: Site) -> Iterator[tuple[int, int, bool]]:
    """Return in turn: from which fill to which, and whether a foot smaller than the ground asks for will do.

    As in `trackkit.cribbing.formulate`: below what a proper foot and a wedge close it competes from the
    first; higher up only where nothing else does.
    """
    most = 10 * NANO
    if shop.rules.least_foot(site.ground) == 0.0:
        yield -most, most, False
        return
    lowest = shop.lowest_on_foot(site)
    limit = round(lowest * NANO) if math.isfinite(lowest) else -most
    yield -most, limit, True
    yield limit, most, False
    yield limit, most, True


def _site(bearing: float, ground: str, sd: float, top: float, rules: StackRules) -> Site:
    """Return a single tie end on level ground, as high as is looked at."""
    row = {"support": "any", "side": "left", "fill_m": top, "fill_sd_m": sd}
    return sort_fills(pd.DataFrame([row | {"bearing_m": bearing, "ground_type": ground}]), rules).sites[0]


def _without_gaps(spans: list[Span], first: Span, top: int) -> list[Span]:
    """Return the spans from the first to the top, NaN where there are none, and slivers joined to others."""
    rows = [first]
    for span in [*spans, replace(first, start=top, stop=top)]:
        if span.start > rows[-1].stop:
            rows.append(Span(rows[-1].stop, span.start, math.nan, math.nan, math.nan, first.takes, False))
        if span.same_as(rows[-1]) or span.stop - span.start <= _SLIVER:
            rows[-1] = replace(rows[-1], stop=span.stop)
        else:
            rows.append(span)
    return rows
