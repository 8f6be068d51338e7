"""How far the ground is free about a tie: up to a break, a zone, the next stack, a tie that lies on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from trackkit.cribbing.rules import StackRules

if TYPE_CHECKING:
    from trackkit.cribbing.sites import Site

__all__ = ["SIDES", "Edges", "edges_of", "kept_apart", "least_room"]

SIDES: Final = ("left", "right")
#: Edges of the free ground on one side of a tie: how far off each lies under the rail [m], how much
#: farther for each metre to the right, and how much of that is kept clear [m].
Edges = tuple[tuple[float, float, float], ...]

#: Edges farther off than this are not looked at, for no piece is so long [m].
FAR: Final = 5.0


def edges_of(row: dict[Any, Any], rules: StackRules) -> tuple[Edges, Edges]:
    """Return what ends the free ground of a tie end: what the fills say, less what is kept clear."""
    slants = row["edges"] if isinstance(row["edges"], tuple) else ()
    head = [(-along, -slant) for along, slant in slants if along <= 0]
    tail = [(along, slant) for along, slant in slants if along >= 0]
    head.append((float(row["free_head_m"]), 0.0))
    tail.append((float(row["free_tail_m"]), 0.0))

    def kept(edges: list[tuple[float, float]]) -> Edges:
        near = (edge for edge in edges if edge[0] - abs(edge[1]) * rules.gauge < FAR)
        return tuple((room, slant, rules.edge_clear * math.hypot(1.0, slant)) for room, slant in near)

    return kept(head), kept(tail)


def least_room(edges: Edges, left: float, right: float, *, keep: bool = True) -> float:
    """Return how far the nearest edge is over a width that reaches so far left and right of the rail [m].

    Less what is kept clear of it, unless ``keep`` is false.
    """
    return min(
        (room + min(-slant * left, slant * right) - keep * clear for room, slant, clear in edges),
        default=math.inf,
    )


def kept_apart(sites: Sequence[Site], lying: Sequence[tuple[str, float, float]]) -> tuple[Site, ...]:
    """Return the places with their free ground up to what is next under the same rail.

    That is half-way to the next stack, and up to the edge of a tie that lies on the ground: of each its
    side, station and bearing are in ``lying``.
    """
    frees = [list(site.frees) for site in sites]
    for side in SIDES:
        own = [place for place, site in enumerate(sites) if site.side == side]
        for near, far in pairwise(own):
            spans = (sites[near].span + sites[far].span) / 2.0
            half = (sites[far].station - sites[near].station - spans) / 2.0
            _end(frees[near], -1, "tail", half)
            _end(frees[far], 0, "head", half)
        beside = np.array(
            [(at - bearing / 2.0, at + bearing / 2.0) for name, at, bearing in lying if name == side]
        )
        for place in own if len(beside) else ():
            first, last = (sites[place].station + off for off in (sites[place].offsets[i] for i in (0, -1)))
            before, after = first - beside[:, 1], beside[:, 0] - last
            middle = beside.mean(axis=1)
            if (middle < first).any():
                _end(frees[place], 0, "head", float(before[middle < first].min()))
            if (middle > last).any():
                _end(frees[place], -1, "tail", float(after[middle > last].min()))
    return tuple(replace(site, frees=tuple(free)) for site, free in zip(sites, frees, strict=True))


def _end(frees: list[tuple[Edges, Edges]], tie: int, way: Literal["head", "tail"], room: float) -> None:
    """End the free ground of a tie towards one way, square to the run."""
    head, tail = frees[tie]
    edge = (room, 0.0, 0.0)
    frees[tie] = ((*head, edge), tail) if way == "head" else (head, (*tail, edge))
