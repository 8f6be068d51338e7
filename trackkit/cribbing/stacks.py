"""Choose a stack for every support: the cheapest choice that the truck allows, exactly."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.cribbing.advice import advise, bare_candidates
from trackkit.cribbing.assign import Choice, assign, make_alike
from trackkit.cribbing.build import build_stack, place_pieces
from trackkit.cribbing.formulate import Formulation, formulate
from trackkit.cribbing.heights import COST_UNITS
from trackkit.cribbing.options import nearest_fill
from trackkit.cribbing.program import solve
from trackkit.cribbing.results import Shortage, Stack, StackPlan, Unfillable
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.sites import Site, sort_fills
from trackkit.cribbing.truck import Piece, Truck
from trackkit.cribbing.workshop import Unserved
from trackkit.problems import CannotDo
from trackkit.units import DISPLAYS, Display

__all__ = ["choose_stacks"]


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
    stacks, used = _stacks(formulation, choices, own, rules, display)
    shortages = _shortages(used, own)
    stacks = _mark_missing(stacks, used, own)
    unfillable = [_unfillable(one, rules, show) for one in formulation.unserved]
    unfillable += _too_high([site for site in asked.sites if max(site.fills) > rules.top], rules, show)
    unfillable.sort(key=lambda one: (one.support, one.side, one.ties))
    return StackPlan(
        stacks=stacks,
        shortages=shortages,
        unfillable=tuple(unfillable),
        sitting=asked.sitting,
        negative=asked.negative,
        bare_candidates=bare_candidates(_with_stations(fills), stacks, shortages, rules),
        cost=solution.cost / COST_UNITS,
        bound=solution.bound / COST_UNITS,
        proven=solution.proven,
        alike_cost=extra / COST_UNITS,
        advisories=advise(
            stacks,
            shortages,
            unfillable,
            asked.negative,
            formulation.split,
            truck,
            rules,
            proven=solution.proven,
            show=show,
        ),
        truck=truck,
        used=tuple(sorted(used.items())),
    )


def _order(piece: Piece) -> tuple[str, float, str]:
    return (piece.kind, -piece.thickness, piece.item)


def _stacks(
    formulation: Formulation, choices: Sequence[Choice], truck: Truck, rules: StackRules, display: str
) -> tuple[tuple[Stack, ...], Counter[str]]:
    """Return every stack, and all the pieces that they take."""
    built: list[Stack] = []
    used: Counter[str] = Counter()
    for number, (site, choice) in enumerate(zip(formulation.sites, choices, strict=True)):
        purpose = formulation.purposes[formulation.pattern_purpose[choice.pattern]]
        row = int(formulation.pattern_row[choice.pattern])
        pieces = place_pieces(purpose.patterns, row, kind=purpose.kind)
        closers = _closers(formulation, choice, site.side, len(site.ties))
        stack = build_stack(
            site,
            pieces,
            [formulation.closers[place] for place in closers],
            truck,
            rules,
            small_foot=number in formulation.small_foot,
            display=display,
        )
        before = next((one for one in reversed(built) if one.side == stack.side), None)
        stack = replace(stack, same_as_neighbour=before is not None and before.pile == stack.pile)
        built.append(stack)
        if choice.partner < 0 or site.side == "left":
            for place, count in enumerate(purpose.patterns.use[row]):
                used[truck.pieces[place].item] += int(count)
        for closing in stack.closings:
            used.update(dict(closing.takes))
        if site.seat == "wedge" and pieces:
            used[truck.pieces[formulation.seat_wedge].item] += 1
    return tuple(built), Counter({item: count for item, count in used.items() if count})


def _closers(formulation: Formulation, choice: Choice, side: str, ends: int) -> NDArray[np.int64]:
    row: NDArray[np.int64] = formulation.column_closers[choice.column]
    if choice.partner >= 0:  # the left end's come first in a pile under both ends
        return row[:1] if side == "left" else row[1:2]
    return row[:ends]


def _shortages(used: Counter[str], truck: Truck) -> tuple[Shortage, ...]:
    return tuple(
        Shortage(piece.item, piece.kind, used[piece.item] - piece.count, piece.count)
        for piece in truck.pieces
        if used[piece.item] > piece.count
    )


def _mark_missing(stacks: tuple[Stack, ...], used: Counter[str], truck: Truck) -> tuple[Stack, ...]:
    """Mark the stacks that go short: corners are built first, then what stands between them."""
    left = {piece.item: piece.count for piece in truck.pieces}
    if all(used[item] <= count for item, count in left.items()):
        return stacks
    marked = list(stacks)
    for place in sorted(range(len(stacks)), key=lambda i: (stacks[i].role != "set", i)):
        stack, missing = stacks[place], Counter[str]()
        for item, count in _takes(stack).items():
            short = count - max(min(count, left[item]), 0)
            left[item] -= count
            if short:
                missing[item] = short
        marked[place] = replace(stack, missing=tuple(sorted(missing.items())))
    return tuple(marked)


def _takes(stack: Stack) -> Counter[str]:
    taken: Counter[str] = Counter()
    for piece in stack.pieces:
        if not piece.both_ends or stack.side == "left":
            taken[piece.item] += piece.per_layer
    for closing in stack.closings:
        taken.update(dict(closing.takes))
    return taken


def _unfillable(one: Unserved, rules: StackRules, show: Display) -> Unfillable:
    fill = max(one.site.fills)
    near = nearest_fill(one.site, one.purpose_patterns, one.foot, one.closers, rules.top)
    near = _nearer(near, rules.touch, fill)
    reason = (
        f"nothing on the truck closes {show.small_unit(fill)} ({1000 * fill:.1f} mm), whatever its counts; "
        f"the nearest fill that would work is {show.small_unit(near)} ({1000 * near:.1f} mm)"
    )
    return Unfillable(one.site.support, one.site.side, one.site.ties, fill, near, reason)


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
