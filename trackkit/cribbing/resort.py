"""Last resorts: what a grip does where nothing else closes a gap, or where pieces ran out.

The program of all places knows neither, so that its size, its optimum and its proof stay its own. The
few places that it leaves get programs of their own, solved as exactly, from what is left on the truck:

1. Shims lie flat under the wedge (at most ``max_shims`` in one place).
2. Where that does not do either, the travel that a wedge keeps in hand is given up.
3. Then twice as many shims may lie in one place.
4. Then up to a touch (3 mm) may stay open over a pile or its shims, to be packed on the day: less than
   the fill is known to.

Stacks that go short of pieces are tried again with shims under their wedges, and changed only if less is
missing then.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from trackkit.cribbing.assign import assign
from trackkit.cribbing.chosen import Built, build_choices, left_on, mark_missing, shortages_of, taken_by
from trackkit.cribbing.formulate import formulate
from trackkit.cribbing.program import solve
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.sites import Site
from trackkit.cribbing.truck import Truck
from trackkit.cribbing.workshop import Unserved

__all__ = ["Resorted", "fill_the_rest", "resorts", "spare_pieces"]


@dataclass(frozen=True)
class Resorted:
    """What the last resorts came to.

    Attributes
    ----------
    built : tuple of Built
        All places with their stacks, along the run.
    unserved : tuple of Unserved
        Places that even this leaves without a stack.
    split : tuple of Site
        Joints that stay split.
    proven : bool
        Whether each of their choices is proven the cheapest.
    """

    built: tuple[Built, ...]
    unserved: tuple[Unserved, ...]
    split: tuple[Site, ...] = ()
    proven: bool = True


def fill_the_rest(
    built: Sequence[Built],
    unserved: Sequence[Unserved],
    parted: Sequence[Site],
    truck: Truck,
    rules: StackRules,
    display: str,
) -> Resorted:
    """Return the stacks with those that a last resort gives the places without one.

    Parameters
    ----------
    built : sequence of (Site, Stack)
        What stands already, and keeps its pieces.
    unserved : sequence of Unserved
        Places that the program of all places leaves without a stack.
    parted : sequence of Site
        Joints that it had to split: where both ties are left, each resort tries them as one first.
    truck : Truck
        With all its pieces.
    rules : StackRules
        Spare of a wedge's travel, most shims in one place, prices.
    display : str
        One of `trackkit.units.DISPLAYS`.
    """
    done, left, proven = list(built), tuple(unserved), True
    joints = {joint.key: joint for joint in parted}
    for resort in resorts(rules):
        if not left:
            break
        rest = left_on(truck, taken_by(stack for _, stack in done))
        more = _choose(_rejoined(left, joints.values()), rest, resort, display)
        if more is None:
            proven = False
            break
        done += more.built
        left, proven = more.unserved, proven and more.proven
        joints |= {joint.key: joint for joint in more.split}
    whole = {site.key for site, _ in done}
    return Resorted(
        _along(done), left, tuple(joint for joint in joints.values() if joint.key not in whole), proven
    )


def _rejoined(left: Sequence[Unserved], joints: Iterable[Site]) -> list[Site]:
    """Return the places left, the two ties of a joint as one where both are among them."""
    sites = {(one.site.support, one.site.side, one.site.ties): one.site for one in left}
    for joint in joints:
        parts = [(joint.support, joint.side, (tie,)) for tie in joint.ties]
        if all(part in sites for part in parts):
            for part in parts:
                del sites[part]
            sites[joint.support, joint.side, joint.ties] = joint
    return sorted(sites.values(), key=lambda site: site.key)


def resorts(rules: StackRules) -> Iterator[StackRules]:
    """Return the rules of each last resort in turn; in all of them shims may lie under a wedge."""
    yield rules
    spent = replace(rules, wedge_spare=0.0)
    yield spent
    shimmed = replace(spent, max_shims=2 * rules.max_shims)
    yield shimmed
    yield replace(shimmed, snug=max(rules.snug, rules.touch))


def spare_pieces(built: Sequence[Built], truck: Truck, rules: StackRules, display: str) -> tuple[Built, ...]:
    """Return the stacks, those that go short changed where shims under wedges leave less missing."""
    if not truck.of_kind("shim"):
        return tuple(built)
    stacks = mark_missing([stack for _, stack in built], truck)
    through = any(piece.both_ends for stack in stacks if stack.missing for piece in stack.pieces)
    short = [site for (site, _), stack in zip(built, stacks, strict=True) if stack.missing]
    if not short or through:
        return tuple(built)
    rest = [one for one, stack in zip(built, stacks, strict=True) if not stack.missing]
    left = left_on(truck, taken_by(stack for _, stack in rest))
    more = _choose(short, left, rules, display)
    if more is None or more.unserved or more.split:
        return tuple(built)
    other = _along([*rest, *more.built])
    return other if _missing(other, truck) < _missing(built, truck) else tuple(built)


def _choose(sites: Sequence[Site], truck: Truck, rules: StackRules, display: str) -> Resorted | None:
    """Return the cheapest stacks for some places with shims under wedges; None if time ran out."""
    task = formulate(sites, truck, rules, packed=True)
    solution = solve(task.program, time_limit=rules.time_limit)
    if solution is None:
        return None
    built = build_choices(task, assign(task, solution), truck, rules, display)
    return Resorted(tuple(built), task.unserved, task.split, solution.proven)


def _along(built: Sequence[Built]) -> tuple[Built, ...]:
    return tuple(sorted(built, key=lambda one: one[0].key))


def _missing(built: Sequence[Built], truck: Truck) -> int:
    return sum(one.missing for one in shortages_of(taken_by(stack for _, stack in built), truck))
