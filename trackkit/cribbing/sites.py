"""From the fill table to the places where a stack must stand, each with all that it must obey."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import groupby
from typing import Any, Final

import numpy as np
import pandas as pd

from trackkit.cribbing.room import SIDES, Edges, edges_of, kept_apart, least_room
from trackkit.cribbing.rules import StackRules

__all__ = ["Site", "Sorted", "sort_fills", "split"]

#: A seat is not made for a slope up to this [rad]: 0.3 degrees, 3 mm under a 20 in box. Guess.
LEVEL: Final = math.radians(0.3)
#: The ground under the two ties of a joint may rise so much more or less than it slopes, for one seat to
#: level it [m]. 10 mm: guess.
UNEVEN: Final = 0.010

_NEEDED: Final = ("support", "side", "fill_m")


@dataclass(frozen=True)
class Site:
    """One place where a stack stands: under one tie end, or under the two tie ends at a joint.

    Attributes
    ----------
    support, side : str
        Which support, and under which rail.
    ties : tuple of int
        The ties it carries; of a joint the one nearer the head first.
    role : str
        'set' or 'fill'.
    station : float
        Where its middle stands [m].
    span : float
        Distance of the two ties of a joint [m]; 0 for one tie.
    fills : tuple of float
        Fill at each tie end [m].
    heights : tuple of float
        Height to be built at each tie end, from the ground that the lowest piece stands on [m].
    sds : tuple of float
        Standard deviation of each fill [m].
    bearing : float
        Width of the tie [m].
    ground : str
        Kind of ground.
    along, cross : float
        Slope of the ground along the run (positive: far end higher) and across (positive: right
        higher) [rad].
    tilt : float
        Steepest slope of the ground under the stack [rad].
    seat : {'', 'wedge', 'scrape', 'pack'}
        What makes the lowest piece level, if it would lean too much.
    frees : tuple of (Edges, Edges)
        What ends the free ground from each tie towards the head and towards the tail: the next break (which
        may slant) or zone where nothing may stand, kept clear of by ``StackRules.edge_clear``, the next tie
        that lies on the ground, or half-way to the next stack.
    """

    support: str
    side: str
    ties: tuple[int, ...]
    role: str
    station: float
    span: float
    fills: tuple[float, ...]
    heights: tuple[float, ...]
    sds: tuple[float, ...]
    bearing: float
    ground: str
    along: float
    cross: float
    tilt: float
    seat: str
    frees: tuple[tuple[Edges, Edges], ...]

    @property
    def key(self) -> tuple[float, str, str, tuple[int, ...]]:
        """What sites are sorted by: along the run, left before right."""
        return (round(self.station, 6), self.side, self.support, self.ties)

    @property
    def name(self) -> str:
        """Return the place in the crew's words."""
        return f"{self.support} {self.side}"

    @cached_property
    def offsets(self) -> tuple[float, ...]:
        """Where each tie lies from the middle, towards the tail positive [m]."""
        return (-self.span / 2.0, self.span / 2.0) if len(self.ties) > 1 else (0.0,)

    def free(self, left: float = 0.0, right: float = 0.0, *, keep: bool = True) -> tuple[float, float]:
        """Return how far the ground is free from its middle towards the head and towards the tail [m].

        For a piece that reaches so far to the left and to the right of the rail's line [m], less what is
        kept clear of edges, unless ``keep`` is false.
        """
        ends = list(zip(self.offsets, self.frees, strict=True))
        return (
            min(least_room(head, left, right, keep=keep) - off for off, (head, _) in ends),
            min(least_room(tail, left, right, keep=keep) + off for off, (_, tail) in ends),
        )

    @property
    def seat_ways(self) -> tuple[bool, bool]:
        """Whether a seat of wedges or packing levels it along the run, and whether across."""
        if self.seat not in ("wedge", "pack"):
            return False, False
        return abs(self.along) > LEVEL, abs(self.cross) > LEVEL

    @property
    def need(self) -> float:
        """Length along the run that carries both ties of a joint [m]; 0 for one tie."""
        return self.span + self.bearing if len(self.ties) > 1 else 0.0


@dataclass(frozen=True)
class Sorted:
    """What the fills ask for.

    Attributes
    ----------
    sites : tuple of Site
        Where something must be built, sorted along the run.
    sitting, negative : tuple of (str, str, int, float)
        Tie ends (support, side, tie, fill) that sit on the ground, and those that would be in it.
    """

    sites: tuple[Site, ...]
    sitting: tuple[tuple[str, str, int, float], ...]
    negative: tuple[tuple[str, str, int, float], ...]


def sort_fills(fills: pd.DataFrame, rules: StackRules, *, has_wedge: bool = True) -> Sorted:
    """Return where stacks must stand, which tie ends sit on the ground and which would be in it.

    Parameters
    ----------
    fills : DataFrame
        One row a tie end: support, side, fill_m; optional tie, role, station_m, ground_m, line_m,
        fill_sd_m, bearing_m, ground_type, may_scrape, along_slope and cross_slope [rad], free_head_m,
        free_tail_m and edges (breaks that may slant: distance towards the tail [m], slant). Rows of the
        same support and side are the ties of a joint.
    rules : StackRules
        Touch, bearing, tilt limit, ground that may be scraped.
    has_wedge : bool
        Whether a seat can be made with a wedge.

    Raises
    ------
    ValueError
        If a column is missing, a fill is not finite, a side is misspelt, or a tie end stands there twice.
    """
    table = _checked(fills, rules)
    sitting, negative = [], []
    sites: list[Site] = []
    lying: list[tuple[str, float, float]] = []
    table = table.sort_values(["support", "side", "station_m", "tie"], kind="stable")
    for (support, side), rows in groupby(
        table.to_dict("records"), key=lambda row: (row["support"], row["side"])
    ):
        left: list[dict[Any, Any]] = []
        for row in rows:
            end = (str(support), str(side), int(row["tie"]), float(row["fill_m"]))
            if row["fill_m"] <= rules.touch:
                lying.append((str(side), float(row["station_m"]), float(row["bearing_m"])))
            if row["fill_m"] < -rules.touch:
                negative.append(end)
            elif row["fill_m"] <= rules.touch:
                sitting.append(end)
            else:
                left.append(row)
        if left:
            site = _site(left, rules, has_wedge)
            sites += [site] if _is_plane(site) else split(site)
    sites.sort(key=lambda site: site.key)
    return Sorted(kept_apart(sites, lying), tuple(sorted(sitting)), tuple(sorted(negative)))


def split(site: Site) -> tuple[Site, ...]:
    """Return the ties of a joint as places of their own: own fills, and half of the room between."""
    parts = []
    for place, (tie, off, fill) in enumerate(zip(site.ties, site.offsets, site.fills, strict=True)):
        to_head, to_tail = site.frees[place]
        half = site.span / 2.0
        free = ((*to_head, (half, 0.0, 0.0)), to_tail) if place else (to_head, (*to_tail, (half, 0.0, 0.0)))
        part = replace(
            site, ties=(tie,), station=site.station + off, span=0.0, fills=(fill,), heights=(fill,)
        )
        parts.append(replace(part, sds=(site.sds[place],), frees=(free,)))
    return tuple(parts)


def _is_plane(site: Site) -> bool:
    """Return whether one seat levels the ground under both ties of a joint: whether it rises as it slopes."""
    if not site.seat or len(site.ties) < 2:
        return True
    rise = (site.heights[1] - site.fills[1]) - (site.heights[0] - site.fills[0])  # ground above the mean
    return abs(rise - math.tan(site.along) * site.span) <= UNEVEN


def _checked(fills: pd.DataFrame, rules: StackRules) -> pd.DataFrame:
    """Return the fills with every column there is use for."""
    missing = [name for name in _NEEDED if name not in fills.columns]
    if missing:
        raise ValueError(f"fills lacks the column(s) {', '.join(missing)}; it has {list(fills.columns)}")
    n = len(fills)
    table = fills.reset_index(drop=True).copy()
    defaults: dict[str, Any] = {
        "tie": np.arange(1, n + 1),
        "role": "set",
        "station_m": np.arange(n, dtype=float),
        "fill_sd_m": 0.0,
        "bearing_m": rules.bearing,
        "ground_type": "",
        "along_slope": math.nan,
        "cross_slope": 0.0,
        "free_head_m": math.inf,
        "free_tail_m": math.inf,
        "edges": [()] * n,
    }
    for name, default in defaults.items():
        if name not in table.columns:
            table[name] = default
    if not {"ground_m", "line_m"} <= set(table.columns):
        table["ground_m"], table["line_m"] = -table["fill_m"], 0.0
    filled = {"fill_sd_m": 0.0, "bearing_m": rules.bearing}
    filled |= {"free_head_m": math.inf, "free_tail_m": math.inf}
    table = table.fillna(filled).fillna({"ground_type": ""})
    for name in ("fill_m", "fill_sd_m", "bearing_m", "station_m"):
        bad = ~np.isfinite(table[name].to_numpy(dtype=float))
        if bad.any():
            row = int(np.flatnonzero(bad)[0])
            raise ValueError(f"{name} must be a finite number; row {row} has {table[name].iloc[row]}")
    sides = set(table["side"]) - set(SIDES)
    if sides:
        raise ValueError(f"side must be 'left' or 'right'; got {sorted(map(str, sides))}")
    twice = table.duplicated(["support", "side", "tie"])
    if twice.any():
        first = table.loc[twice].iloc[0]
        raise ValueError(
            f"tie {first['tie']} {first['side']} of {first['support']} stands in the fills twice"
        )
    return table


def _site(rows: Sequence[dict[Any, Any]], rules: StackRules, has_wedge: bool) -> Site:
    first = rows[0]
    if len(rows) > 2:
        raise ValueError(f"{first['support']} {first['side']} has {len(rows)} ties; a support carries 1 or 2")
    stations = [float(row["station_m"]) for row in rows]
    fills = tuple(float(row["fill_m"]) for row in rows)
    grounds = [float(row["ground_m"]) for row in rows]
    lines = [ground + fill for ground, fill in zip(grounds, fills, strict=True)]
    span = stations[-1] - stations[0]
    along = _mean_known(row["along_slope"] for row in rows)
    if not math.isfinite(along):
        along = _slope_between(grounds, span, max(float(row["fill_sd_m"]) for row in rows))
    cross = _mean_known(row["cross_slope"] for row in rows)
    cross = cross if math.isfinite(cross) else 0.0
    ground = max((str(row["ground_type"]) for row in rows), key=rules.least_foot)
    scrapes = [_may_scrape(row, rules) for row in rows]
    seat = _seat(along, cross, all(scrapes), rules, has_wedge)
    # A box that leans lies on the ground under both ties; one made level stands on their mean.
    mean = sum(grounds) / len(grounds)
    heights = tuple(line - mean for line in lines) if seat else fills
    roles = {str(row["role"]) for row in rows}
    return Site(
        str(first["support"]),
        str(first["side"]),
        tuple(int(row["tie"]) for row in rows),
        "set" if "set" in roles else "fill",
        sum(stations) / len(stations),
        span,
        fills,
        heights,
        tuple(math.hypot(float(row["fill_sd_m"]), rules.build_sd) for row in rows),
        float(first["bearing_m"]),
        ground,
        along,
        cross,
        _tilt(along, cross),
        seat,
        tuple(edges_of(row, rules) for row in rows),
    )


def _mean_known(values: Iterable[float]) -> float:
    """Return the mean of those that are known; NaN if none is."""
    known = [float(value) for value in values if math.isfinite(value)]
    return sum(known) / len(known) if known else math.nan


def _slope_between(grounds: Sequence[float], span: float, sd: float) -> float:
    """Return the slope between the ties of a joint, as far as it is more than the fills' give or take."""
    rise = grounds[-1] - grounds[0]
    return math.copysign(math.atan2(max(abs(rise) - sd, 0.0), span), rise) if span > 0 else 0.0


def _may_scrape(row: dict[Any, Any], rules: StackRules) -> bool:
    """Return whether the ground under a tie end may be scraped: as the fills say, else by its kind."""
    told = row.get("may_scrape")
    return bool(told) if isinstance(told, (bool, np.bool_)) else str(row["ground_type"]) in rules.scrape_on


def _tilt(along: float, cross: float) -> float:
    """Return the steepest slope of a plane that slopes along the run and across it [rad]."""
    return math.atan(math.hypot(math.tan(along), math.tan(cross)))


def _seat(along: float, cross: float, may_scrape: bool, rules: StackRules, has_wedge: bool) -> str:
    if _tilt(along, cross) <= rules.tilt_limit or max(abs(along), abs(cross)) <= LEVEL:
        return ""
    if may_scrape:
        return "scrape"
    return "wedge" if has_wedge else "pack"
