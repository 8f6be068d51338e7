"""From the program's choices to stacks, what they take off the truck, and what goes short."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trackkit.cribbing.assign import Choice
from trackkit.cribbing.build import build_stack, closing_heights, place_pieces, slid_clear
from trackkit.cribbing.closers import Closer, change_chance
from trackkit.cribbing.formulate import Formulation
from trackkit.cribbing.passing import with_room_to_pass
from trackkit.cribbing.results import Placed, Shortage, Stack
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.sites import Site
from trackkit.cribbing.truck import Truck

__all__ = ["Built", "build_choices", "left_on", "mark_missing", "mark_neighbours", "shortages_of", "taken_by"]

#: A place and what stands there.
Built = tuple[Site, Stack]


def build_choices(
    formulation: Formulation, choices: Sequence[Choice], truck: Truck, rules: StackRules, display: str
) -> list[Built]:
    """Return every place of a program with its stack."""
    placed: dict[int, tuple[Placed, ...]] = {}
    piles: list[tuple[Site, tuple[Placed, ...], list[Closer]]] = []
    for site, choice in zip(formulation.sites, choices, strict=True):
        purpose = formulation.purposes[formulation.pattern_purpose[choice.pattern]]
        row = int(formulation.pattern_row[choice.pattern])
        if choice.pattern not in placed:
            placed[choice.pattern] = place_pieces(purpose.patterns, row, kind=purpose.kind)
        pieces = slid_clear(site, placed[choice.pattern], rules)
        closers = _closers(formulation, choice, site.side, len(site.ties))
        own = [formulation.closers[place] for place in closers]
        piles.append((site, pieces, with_room_to_pass(site, pieces, own, truck, rules)))
    chances = _chances(piles)
    seat = formulation.seat_wedge
    built: list[Built] = []
    for site, pieces, own in piles:
        stack = build_stack(
            site,
            pieces,
            own,
            truck,
            rules,
            chances=[next(chances) for _ in own],
            seat_item=truck.pieces[seat].item if seat >= 0 else "",
            display=display,
        )
        built.append((site, stack))
    return built


def _chances(piles: Sequence[tuple[Site, tuple[Placed, ...], list[Closer]]]) -> Iterator[float]:
    """Return the chance of change of every closing piece in turn; all at once, for that is quick."""
    travel = [(closer.low, closer.high) for *_, own in piles for closer in own]
    heights = [height for site, pieces, _ in piles for height in closing_heights(site, pieces)]
    sds = [sd for site, *_ in piles for sd in site.sds]
    low, high = np.reshape(travel, (-1, 2)).T
    return iter(change_chance(low, high, heights, sds).tolist())


def _closers(formulation: Formulation, choice: Choice, side: str, ends: int) -> NDArray[np.int64]:
    row: NDArray[np.int64] = formulation.column_closers[choice.column]
    if choice.partner >= 0:  # the left end's come first in a pile under both ends
        return row[:1] if side == "left" else row[1:2]
    return row[:ends]


def taken_by(stacks: Iterable[Stack]) -> Counter[str]:
    """Return all the pieces that the stacks take."""
    used = Counter[str]()
    for stack in stacks:
        for item, count in stack.takes.items():
            used[item] += count
    return used


def left_on(truck: Truck, used: Counter[str]) -> Truck:
    """Return the truck with what is left on it."""
    pieces = (replace(piece, count=max(piece.count - used[piece.item], 0)) for piece in truck.pieces)
    return Truck(tuple(pieces))


def shortages_of(used: Counter[str], truck: Truck) -> tuple[Shortage, ...]:
    """Return what the truck is short of."""
    return tuple(
        Shortage(piece.item, piece.kind, used[piece.item] - piece.count, piece.count)
        for piece in truck.pieces
        if used[piece.item] > piece.count
    )


def mark_missing(stacks: Sequence[Stack], truck: Truck) -> tuple[Stack, ...]:
    """Mark the stacks that go short: corners are built first, then what stands between them."""
    left = {piece.item: piece.count for piece in truck.pieces}
    used = taken_by(stacks)
    if all(used[item] <= count for item, count in left.items()):
        return tuple(stacks)
    marked = list(stacks)
    for place in sorted(range(len(stacks)), key=lambda i: (stacks[i].role != "set", i)):
        stack, missing = stacks[place], Counter[str]()
        for item, count in stack.takes.items():
            short = count - max(min(count, left[item]), 0)
            left[item] -= count
            if short:
                missing[item] = short
        marked[place] = replace(stack, missing=tuple(sorted(missing.items())))
    return tuple(marked)


def mark_neighbours(stacks: Sequence[Stack]) -> tuple[Stack, ...]:
    """Mark the stacks that are like the one before them under the same rail."""
    marked: list[Stack] = []
    before: dict[str, Stack] = {}
    for stack in stacks:
        other = before.get(stack.side)
        same = other is not None and other.pile == stack.pile
        marked.append(replace(stack, same_as_neighbour=True) if same else stack)
        before[stack.side] = stack
    return tuple(marked)
