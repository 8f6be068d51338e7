"""Choose a stack for every support: the cheapest choice that the truck allows, exactly."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

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
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.said import fine
from trackkit.cribbing.sites import Site, sort_fills
from trackkit.cribbing.truck import Piece, Truck
from trackkit.cribbing.workshop import Unserved
from trackkit.problems import CannotDo
from trackkit.units import DISPLAYS, Display

__all__ = ["choose_stacks"]

#: So far to either side of the rail a break that slants is looked at, in words: half of a 12 in box [m].
_ASIDE: Final = 0.1524


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
    unfillable = [_unfillable(one, joints, rules, show) for one in resorted.unserved]
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
    one: Unserved, joints: Mapping[tuple[str, str, int], Site], rules: StackRules, show: Display
) -> Unfillable:
    """Return a place without a stack, in words; ``joints`` are those that were parted, by tie end."""
    site, fill = one.site, max(one.site.fills)
    name = (site.support, site.side, site.ties)
    room = max(min(site.free(keep=False)), 0.0)
    remedy = "shift the run, change the order of the sections, or bridge the edge on firm ground"
    if not stands_bare(site, rules):
        reason = (
            f"the tie itself reaches over the break, {show.small_unit(room)} from its middle, or is within "
            f"{show.small_unit(rules.edge_clear)} of it: nothing stands under the whole of it; {remedy}"
        )
        return Unfillable(*name, fill, math.nan, reason)
    near = one.nearest
    joint = joints.get((site.support, site.side, site.ties[0]))
    if joint is not None:
        both = fill + replace(one, site=joint).nearest - sum(joint.fills) / len(joint.fills)
        near = both if not abs(near - fill) <= abs(both - fill) else near
    near = _nearer(near, rules.touch, fill)
    what, last = "nothing on the truck", ""
    if one.shop.is_cramped(site):
        slants = min(site.free(_ASIDE, _ASIDE)) < min(site.free()) - show.step / 2.0
        what += (
            f" that stands clear of the break or of what is next to it, {show.small_unit(room)} from the tie"
            f"{' under the rail, and nearer at a corner, for the break slants' if slants else ''},"
        )
        last = f"; or {remedy}"
    reason = (
        f"{what} closes {show.small_unit(fill)} ({fine(show, fill)}), whatever its counts; the nearest fill "
        f"that would work is {show.small_unit(near)} ({fine(show, near)}){last}"
    )
    return Unfillable(*name, fill, near, reason)


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
