"""Choose a stack for every support: the cheapest choice that the truck allows, exactly."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np
import pandas as pd

from trackkit.cribbing.advice import advise
from trackkit.cribbing.assign import assign, make_alike
from trackkit.cribbing.bare import bare_candidates
from trackkit.cribbing.chosen import (
    build_choices,
    mark_missing,
    mark_neighbours,
    shortages_of,
    taken_by,
)
from trackkit.cribbing.formulate import formulate
from trackkit.cribbing.heights import COST_UNITS
from trackkit.cribbing.placing import stands_bare
from trackkit.cribbing.program import solve
from trackkit.cribbing.resort import fill_the_rest, spare_pieces
from trackkit.cribbing.results import StackPlan, Unfillable
from trackkit.cribbing.room import Edges, edges_of
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.said import apart, fine
from trackkit.cribbing.sites import Site, sort_fills
from trackkit.cribbing.truck import Piece, Truck
from trackkit.cribbing.workshop import Unserved
from trackkit.problems import CannotDo
from trackkit.units import DISPLAYS, Display

__all__ = ["choose_stacks"]

#: So far to either side of the rail a break that slants is looked at, in words: half of a 12 in box [m].
_ASIDE: Final = 0.1524
#: A joint whose fills need change by no more than this could stand as it is [m].
_NO_CHANGE: Final = 5e-5
_AWAY: Final = "shift the run, change the order of the sections, or bridge the edge on firm ground"


def choose_stacks(
    fills: pd.DataFrame, truck: Truck, *, rules: StackRules | None = None, display: str = "mm"
) -> StackPlan:
    """Return the stacks for every support, the cheapest that the truck allows.

    Parameters
    ----------
    fills : DataFrame
        One row a tie end, as `trackkit.layout.fills.fill_table` gives: support, side, fill_m, and where
        there are any tie, role, station_m, ground_m, line_m, fill_sd_m, bearing_m, ground_type,
        along_slope, cross_slope [rad]. Positive fill: something goes under. Two rows of one support and
        side are the ties of a joint, which one box along the run carries.
    truck : Truck
        What there is, with counts.
    rules : StackRules, optional
        Heights, limits, prices and preferences.
    display : str
        How lengths are written in words, one of `trackkit.units.DISPLAYS`.

    Returns
    -------
    StackPlan
        Never raises for a shortage or a fill that nothing closes: both are in the plan.

    Raises
    ------
    ValueError
        If the fills are not such a table.
    CannotDo
        If the time limit is too short for any plan at all.

    Notes
    -----
    The order of rows and of the truck's pieces does not matter. The optimum is proven by an integer
    program (`trackkit.cribbing.program`); afterwards neighbours are made alike where that costs little.
    Places that it cannot serve get a last resort (`trackkit.cribbing.resort`) from what is left.
    """
    rules, show = rules or StackRules(), DISPLAYS[display]
    own = Truck(tuple(sorted(truck.pieces, key=_order)), truck.notes)
    asked = sort_fills(fills, rules, has_wedge=bool(own.of_kind("wedge")))
    low = [site for site in asked.sites if max(site.fills) <= rules.top]
    formulation = formulate(low, own, rules)
    solution = solve(formulation.program, time_limit=rules.time_limit)
    if solution is None:
        raise CannotDo(f"no choice of stacks was found in {rules.time_limit:g} s; raise the time limit")
    choices, extra = make_alike(formulation, solution, assign(formulation, solution), rules)
    planned = build_choices(formulation, choices, own, rules, display)
    resorted = fill_the_rest(planned, formulation.unserved, formulation.split, own, rules, display)
    built = spare_pieces(resorted.built, own, rules, display)
    stacks = mark_missing(mark_neighbours([stack for _, stack in built]), own)
    used = taken_by(stacks)
    shortages = shortages_of(used, own)
    proven = solution.proven and resorted.proven
    joints = {(joint.support, joint.side, tie): joint for joint in resorted.split for tie in joint.ties}
    unfillable = [_unfillable(one, joints, fills, own, rules, show) for one in resorted.unserved]
    unfillable += _too_high([site for site in asked.sites if max(site.fills) > rules.top], rules, show)
    unfillable.sort(key=lambda one: (one.ties, one.side, one.support))
    return StackPlan(
        stacks=stacks,
        shortages=shortages,
        unfillable=tuple(unfillable),
        sitting=asked.sitting,
        negative=asked.negative,
        bare_candidates=bare_candidates(_with_stations(fills), stacks, shortages, rules),
        cost=solution.cost / COST_UNITS,
        bound=solution.bound / COST_UNITS,
        proven=proven,
        alike_cost=extra / COST_UNITS,
        advisories=advise(
            stacks,
            shortages,
            unfillable,
            asked.negative,
            resorted.split,
            truck,
            rules,
            proven=proven,
            show=show,
        ),
        truck=truck,
        used=tuple(sorted(used.items())),
    )


def _order(piece: Piece) -> tuple[str, float, str]:
    return (piece.kind, -piece.thickness, piece.item)


def _unfillable(
    one: Unserved,
    joints: Mapping[tuple[str, str, int], Site],
    fills: pd.DataFrame,
    truck: Truck,
    rules: StackRules,
    show: Display,
) -> Unfillable:
    """Return a place without a stack, in words; ``joints`` are those that were parted, by tie end."""
    site, fill = one.site, max(one.site.fills)
    name = (site.support, site.side, site.ties)
    room = show.small_unit(max(min(site.free(keep=False)), 0.0))
    at_edge = replace(site, frees=_edges_at(site, fills, rules))
    if not stands_bare(site, rules):
        if stands_bare(at_edge, rules):
            reason = (
                f"what is next to it along the run is {room} from its middle: nothing has room under the "
                "whole of the tie; lift or shift one of the two"
            )
        else:
            reason = (
                f"the tie itself reaches over the break, {room} from its middle, or is within "
                f"{show.small_unit(rules.edge_clear)} of it: nothing stands under the whole of it; {_AWAY}"
            )
        return Unfillable(*name, fill, math.nan, reason)
    joint = joints.get((site.support, site.side, site.ties[0]))
    near = _nearer(_nearest(one, joint, fill), rules.touch, fill)
    edge, beside = one.shop.is_cramped(at_edge), one.shop.is_cramped(site)
    what, why = "nothing on the truck", []
    if edge:
        slants = min(site.free(_ASIDE, _ASIDE)) < min(site.free()) - show.step / 2.0
        what += (
            f" that stands clear of the break, {room} from the tie"
            f"{' under the rail, and nearer at a corner, for the break slants' if slants else ''},"
        )
    lowest = _lowest_wedge(one)
    if fill < lowest < math.inf:
        why.append(f"a wedge closes no less than {fine(show, lowest)}")
    elif beside and not edge:
        whose = "the middle of the joint" if joint is not None else "half-way to the next stack"
        alone = " under one tie alone" if joint is not None else ""
        some = "not every piece has" if one.shop.lay_at(site).laid else "nothing but a wedge or shims has"
        why.append(f"{some} room{alone}: {room} to {whose}")
    if lowest == math.inf:
        why.append("no wedge goes under it")
    why += _no_shims(one, truck)
    remedies = _remedies(fill, near, show, sits=near <= rules.touch) + ([_AWAY] if edge else [])
    reason = (
        f"{what} closes {show.small_unit(fill)} ({fine(show, fill)}){': ' if why else ''}{'; '.join(why)}. "
        f"{_sentence(remedies or ['take shims and thin boards along'])}"
    )
    return Unfillable(*name, fill, near, reason)


def _nearest(one: Unserved, joint: Site | None, fill: float) -> float:
    """Return the nearest fill that would work at a place, alone or as a joint with the other tie [m].

    A joint that could be filled as it is stands split all the same where the other tie has its stack: that
    is no other fill, and not told.
    """
    near = one.nearest
    if joint is None:
        return near
    change = replace(one, site=joint).nearest - sum(joint.fills) / len(joint.fills)
    if not math.isfinite(change) or abs(change) < _NO_CHANGE:
        return near
    return fill + change if not abs(near - fill) <= abs(change) else near


def _edges_at(site: Site, fills: pd.DataFrame, rules: StackRules) -> tuple[tuple[Edges, Edges], ...]:
    """Return what ends the free ground at each tie of a place, breaks and zones only."""
    own = fills[(fills["support"] == site.support) & (fills["side"] == site.side)]
    if "tie" in own.columns:
        own = own[own["tie"].isin(site.ties)].sort_values("tie")
    far = {"edges": (), "free_head_m": math.inf, "free_tail_m": math.inf}
    rows = [far | {key: value for key, value in row.items() if value == value} for row in _dicts(own)]
    return tuple(edges_of(row, rules) for row in rows)


def _dicts(rows: pd.DataFrame) -> list[dict[Any, Any]]:
    return rows.to_dict("records")


def _lowest_wedge(one: Unserved) -> float:
    """Return the least that a wedge, or a wedge on shims, closes at a place [m]; infinite for none."""
    _, closers = one.shop.closers_at(one.site)
    return min((each.low for each in closers if each.kind in ("single", "pair")), default=math.inf)


def _no_shims(one: Unserved, truck: Truck) -> list[str]:
    """Return that shims are not there, or are all taken."""
    if not truck.of_kind("shim"):
        return ["there are no shims on the truck"]
    if not any(piece.count for piece in one.shop.truck.of_kind("shim")):
        return ["the shims are all taken"]
    return []


def _remedies(fill: float, near: float, show: Display, *, sits: bool) -> list[str]:
    """Return what to do about a gap between two fills that work, if they can be told apart."""
    told = apart(show, fill, near)
    if told is None:
        return []
    other, by = told
    at = f"the nearest fill that would work is {show.small_unit(near)} ({other})"
    if sits:
        return [f"{at}, where the tie sits on the ground", "take other pieces along"]
    if near > fill:
        return [f"{at}: raise the line by {by}", "take shims and thinner boards along"]
    return [f"{at}: put {by} more under it (shims, ply, a thin board), or lower the line by {by}"]


def _sentence(parts: Sequence[str]) -> str:
    """Join ways out into one sentence."""
    text = "; or ".join(parts)
    return text[0].upper() + text[1:]


def _nearer(near: float, sitting: float, fill: float) -> float:
    """Return the nearer of two fills: one that a stack closes, and one at which the tie sits."""
    return near if abs(near - fill) <= abs(sitting - fill) else sitting


def _too_high(sites: Sequence[Site], rules: StackRules, show: Display) -> list[Unfillable]:
    found = []
    for site in sites:
        fill = max(site.fills)
        reason = f"{show.small_unit(fill)} to build up is over {show.small_unit(rules.top)}"
        found.append(Unfillable(site.support, site.side, site.ties, fill, rules.top, reason, too_high=True))
    return found


def _with_stations(fills: pd.DataFrame) -> pd.DataFrame:
    if "station_m" in fills.columns:
        return fills
    return fills.assign(station_m=np.arange(len(fills), dtype=float))
