"""What the choice of stacks must warn of."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Final, Literal

import numpy as np

from trackkit.cribbing.closers import spare_of
from trackkit.cribbing.results import Closing, Placed, Shortage, Stack, Unfillable
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.said import fine, place_of
from trackkit.cribbing.sites import Site
from trackkit.cribbing.truck import Truck
from trackkit.problems import Advisory
from trackkit.units import Display

__all__ = ["advise"]

_HABIT: Final = "common practice, no source"
#: More places than this where nothing fits are told in one sentence.
ONE_BY_ONE: Final = 3
#: From this chance on a stack that must be changed is mentioned (a choice).
_LIKELY: Final = 0.25


def advise(
    stacks: Sequence[Stack],
    shortages: Sequence[Shortage],
    unfillable: Sequence[Unfillable],
    negative: Sequence[tuple[str, str, int, float]],
    split: Sequence[Site],
    truck: Truck,
    rules: StackRules,
    *,
    proven: bool,
    show: Display,
) -> tuple[Advisory, ...]:
    """Return the warnings of a plan, gravest first."""
    found: list[Advisory] = []
    size = show.small_unit
    found += _unfillable_advice(unfillable, rules, show)
    if shortages:
        text = "the truck is short of " + "; ".join(map(str, shortages))
        found.append(Advisory("stop", "the truck", text, "counted; the plan that lacks the fewest pieces"))
    if negative:
        worst = min(fill for *_, fill in negative)
        text = f"{len(negative)} tie end(s) up to {size(-worst)} in the ground; nothing is planned there"
        place = _places(place_of(support, side, (tie,)) for support, side, tie, _ in negative)
        found.append(Advisory("caution", place, text, "the fills"))
    tall = _where(stacks, lambda stack: stack.fill >= rules.caution_height)
    if tall:
        text = (
            f"{size(rules.caution_height)} or more to build up: tie the stack in or build a platform, have a "
            "competent person look at it, and keep people off until then; local codes and licensed "
            "practice come first"
        )
        found.append(Advisory("caution", tall, text, _HABIT))
    found += _wedge_advice(stacks, truck, rules)
    found += _resort_advice(stacks, truck, rules, show)
    found += _open_advice(stacks, truck, rules, show)
    if stacks:
        text = (
            "hold the rail from its side, keep fingers out from under it, slide the closing piece in snug "
            "and never drive it up"
        )
        found.append(Advisory("caution", "every stack", text, _HABIT))
    found += _ground_advice(stacks, rules)
    found += _clear_advice(stacks, show)
    found += _past_advice(stacks, show)
    found += _edge_advice(stacks)
    found += _set_out_advice(stacks)
    found += _passing_advice(stacks)
    found += _overhang_advice(stacks, show)
    found += _change_advice(stacks)
    for site in split:
        text = "no one box carries both ties here; each has a stack or closing piece of its own"
        found.append(
            Advisory("note", place_of(site.support, site.side, site.ties), text, "the truck's pieces")
        )
    if not proven:
        text = "the choice of stacks is good, but not proven the cheapest within the time limit"
        found.append(Advisory("note", "the stacks", text, "the search for the cheapest choice"))
    found += [
        Advisory("note", "the truck", text, "the truck's file; dressed sizes as in PS 20")
        for text in truck.notes
    ]
    order = {"stop": 0, "caution": 1, "note": 2}
    return tuple(sorted(found, key=lambda one: order[one.level]))


def _unfillable_advice(unfillable: Sequence[Unfillable], rules: StackRules, show: Display) -> list[Advisory]:
    found = []
    high = [one for one in unfillable if one.too_high]
    if high:
        text = (
            f"up to {show.small_unit(max(one.fill for one in high))} to build up; over "
            f"{show.small_unit(rules.refuse_height)} it needs a platform and a competent person, not boxes: "
            "lower the line, or say in the job that it is taken over"
        )
        found.append(Advisory("stop", _places(map(_place, high)), text, _HABIT))
    others = [one for one in unfillable if not one.too_high]
    if len(others) > ONE_BY_ONE:
        text = (
            f"nothing on the truck closes the gap at {len(others)} places, whatever its counts; the table "
            "says which fill would work at each"
        )
        return [*found, Advisory("stop", _places(map(_place, others)), text, "the truck's pieces")]
    return [*found, *(Advisory("stop", _place(one), one.reason, "the truck's pieces") for one in others)]


def _wedge_advice(stacks: Sequence[Stack], truck: Truck, rules: StackRules) -> list[Advisory]:
    found = []
    used = {item for stack in stacks for closing in stack.closings for item, _ in closing.takes}
    for piece in truck.of_kind("wedge"):
        if piece.item in used and not piece.wedge.holds_by_friction(rules.friction):
            text = (
                f"taper 1 in {1.0 / piece.wedge.taper:.1f} is steeper than friction of {rules.friction:g} "
                "surely holds; it may creep out: tack it or use a slimmer one"
            )
            found.append(
                Advisory("caution", piece.item, text, "a wedge holds if it is flatter than friction holds")
            )
    leaning = _where(
        stacks,
        lambda stack: (
            not stack.seat
            and stack.tilt > rules.tilt_limit / 2.0
            and bool(stack.pieces)
            and any(closing.kind != "single" for closing in stack.closings)
        ),
    )
    if leaning:
        text = "the stack leans with the ground; a pair or shims keep that, a single wedge would take it out"
        found.append(Advisory("note", leaning, text, "geometry"))
    return found


def _resort_advice(stacks: Sequence[Stack], truck: Truck, rules: StackRules, show: Display) -> list[Advisory]:
    """Return what was done where nothing else closes the gap (`trackkit.cribbing.resort`)."""
    found = []
    shims = {piece.item for piece in truck.of_kind("shim")}
    packed = _where(stacks, lambda stack: any(closing.packed > 0 for closing in stack.closings))
    if packed:
        text = (
            "nothing else closes the gap: shims lie flat under the wedge, first the shims and then the wedge "
            "on them"
        )
        found.append(Advisory("note", packed, text, _HABIT))
    crowded = [stack for stack in stacks if _most_shims(stack, shims) > rules.max_shims]
    if crowded:
        most = max(_most_shims(stack, shims) for stack in crowded)
        text = (
            f"nothing else closes the gap: up to {most} shims in one place, more than the {rules.max_shims} "
            "of the rules (max_shims). They slip on each other: tack them together, or use thin ply instead"
        )
        place = _places(map(_place, crowded))
        found.append(Advisory("caution", place, text, "the most shims in one place is a guess"))
    tight = _where(stacks, lambda stack: any(_spare_left(end, rules) is not None for end in stack.closings))
    if tight:
        each = [
            f"{fine(show, left)} under {place_of('', stack.side, (end.tie,))}"
            for stack in stacks
            for end in stack.closings
            if (left := _spare_left(end, rules)) is not None
        ]
        text = (
            f"nothing else closes the gap: the wedge is near the end of its travel, with {', '.join(each)} "
            f"left in hand instead of {fine(show, rules.wedge_spare)}; keep other pieces ready"
        )
        found.append(Advisory("note", tight, text, "the travel kept in hand is a guess"))
    return found


def _most_shims(stack: Stack, shims: set[str]) -> int:
    """Return how many shims lie in one place of a stack at most."""
    return max(sum(count for item, count in end.takes if item in shims) for end in stack.closings)


def _open_advice(stacks: Sequence[Stack], truck: Truck, rules: StackRules, show: Display) -> list[Advisory]:
    """Return where pieces without a wedge come out more than snugly higher or lower than the gap."""
    thick = {piece.item: piece.thickness for piece in truck.pieces}
    off = {
        (stack.side, end.tie): end.height - sum(thick[item] * count for item, count in end.takes)
        for stack in stacks
        for end in stack.closings
        if end.kind in ("none", "shim")
    }
    loose = {place: gap for place, gap in off.items() if abs(gap) > rules.snug + 1e-6}
    if not loose:
        return []
    each = ", ".join(
        f"{fine(show, abs(gap))} {'open' if gap > 0 else 'too high'} under {place_of('', side, (tie,))}"
        for (side, tie), gap in loose.items()
    )
    cures = [
        *(["what is open is packed on the day with card or thin ply"] if max(loose.values()) > 0 else []),
        *(
            ["what is too high lifts the rail by that: shave a piece, or take a thinner one"]
            if min(loose.values()) < 0
            else []
        ),
    ]
    text = f"nothing closes the gap fully: {each}; {'; '.join(cures)}"
    place = _places(place_of("", side, (tie,)) for side, tie in loose)
    return [Advisory("caution", place, text, f"up to {show.small_unit(rules.touch)} is let pass: guess")]


def _spare_left(closing: Closing, rules: StackRules) -> float | None:
    """Return the travel left in hand of a wedge that had to give up some [m]; None for any other."""
    if closing.kind not in ("single", "pair"):
        return None
    left = min(closing.height - closing.low, closing.high - closing.height)
    return max(left, 0.0) if left < spare_of(closing.low, closing.high, rules) - 1e-5 else None


def _clear_advice(stacks: Sequence[Stack], show: Display) -> list[Advisory]:
    """Return where pieces are turned or slid, so that they reach past no break and into no other stack."""
    ways: dict[str, list[str]] = {}
    for stack in (one for one in stacks if one.turned or one.slid):
        told = [_way_of(piece, show) for piece in stack.pieces]
        told = [way for way in dict.fromkeys(told) if way]
        if told:
            ways.setdefault(", ".join(told), []).append(_place(stack))
    return [
        Advisory(
            "caution",
            _places(places),
            f"{way}: to stand clear of what is beside them (the break, the next stack, a tie on the ground, "
            "or the piece under the joint's other tie). The tie must bear on the middle third of each, and "
            "no corner may reach past the edge",
            "within the middle third no edge lifts (the kern, statics)",
        )
        for way, places in ways.items()
    ]


def _way_of(piece: Placed, show: Display) -> str:
    """Return how a piece is turned and slid: ``half turned across the run, slid 10 mm towards the head``."""
    told = ["turned across the run"] if piece.turned else []
    if show.small(abs(piece.slid)) != show.small(0.0):
        way = "tail" if piece.slid > 0 else "head"
        told.append(f"slid {show.small_unit(abs(piece.slid))} towards the {way}")
    return f"{piece.item} {', '.join(told)}" if told else ""


def _past_advice(stacks: Sequence[Stack], show: Display) -> list[Advisory]:
    """Return where a wedge reaches past a break: higher ground there would stop it."""
    past = [(stack, end) for stack in stacks for end in stack.closings if end.past >= show.step / 2.0]
    if not past:
        return []
    most = max(end.past for _, end in past)
    place = _places(place_of("", stack.side, (end.tie,)) for stack, end in past)
    text = (
        f"the wedge reaches up to {show.small_unit(most)} past the break, or to the next stack: where "
        "something stands as high there, put it in from another side and mark it, or cut it shorter"
    )
    return [Advisory("caution", place, text, "geometry")]


def _edge_advice(stacks: Sequence[Stack]) -> list[Advisory]:
    """Return where a board stands on its edge."""
    edged = _where(stacks, lambda stack: any(piece.on_edge for piece in stack.pieces))
    if not edged:
        return []
    text = "a board on its edge can tip: see that it stands square under the tie, and tack or brace it"
    return [Advisory("caution", edged, text, _HABIT)]


def _set_out_advice(stacks: Sequence[Stack]) -> list[Advisory]:
    """Return where a board must not lie under the rail, but under the tie's end."""
    places = _where(stacks, lambda stack: any(piece.out for piece in stack.pieces))
    if not places:
        return []
    text = (
        "a wedge from outside bears at the tie's end: set the boards under it out, so that the tie's end is "
        "over their middle third, or they tip"
    )
    return [Advisory("caution", places, text, "a single wedge bears on its thick side (geometry)")]


def _passing_advice(stacks: Sequence[Stack]) -> list[Advisory]:
    """Return where the two wedges of a joint come to meet each other along the track."""

    def meet(stack: Stack) -> bool:
        return len(stack.ties) > 1 and all(end.goes_in == "along the track" for end in stack.closings)

    places = _where(stacks, meet)
    if not places:
        return []
    text = (
        "the two wedges come to meet each other. Where a gap turns out higher, let them pass side by side, "
        "the outer one flush with the tie's end, if both lie on the pile; else put shims under them"
    )
    return [Advisory("note", places, text, "geometry")]


def _overhang_advice(stacks: Sequence[Stack], show: Display) -> list[Advisory]:
    found = []
    for walked in (True, False):
        least = show.step / 2.0  # less than that would be written as nothing
        out = [stack for stack in stacks if stack.on_walk_side == walked and stack.overhang >= least]
        if not out:
            continue
        worst = max(out, key=lambda stack: stack.overhang)
        text = f"boxes stand out up to {show.small_unit(worst.overhang)} beyond the tie ends"
        if walked:
            text += f", most at {_place(worst)}, where somebody walks, in the dark too: mark and pad them"
        basis = "geometry" + ("; boxes are slid in there as far as no edge lifts" if walked else "")
        level: Literal["caution", "note"] = "caution" if walked else "note"
        found.append(Advisory(level, _places(map(_place, out)), text, basis))
    return found


def _change_advice(stacks: Sequence[Stack]) -> list[Advisory]:
    """Return where the stack may well not do on the day; of shims that is known and said once."""
    found = []
    likely = _where(stacks, lambda stack: _without_shims(stack) > _LIKELY)
    if likely:
        text = (
            "more than 1 chance in 4 that the stack must be changed on the day: keep shims, wedges and thin "
            "pieces at hand; the gap card says what goes into the height that is found"
        )
        basis = "how sure the height is, against what the closing piece can take up"
        found.append(Advisory("note", likely, text, basis))
    shims = [
        place_of(stack.support, stack.side, (end.tie,))
        for stack in stacks
        for end in stack.closings
        if end.kind == "shim"
    ]
    if shims:
        text = f"shims are cut to the gap on the day: {len(shims)} tie end{'s' if len(shims) > 1 else ''}"
        found.append(Advisory("note", _places(shims), text, _HABIT))
    return found


def _without_shims(stack: Stack) -> float:
    """Return the chance that a stack must be changed for another reason than its shims."""
    return 1.0 - math.prod(1.0 - end.change_chance for end in stack.closings if end.kind != "shim")


def _ground_advice(stacks: Sequence[Stack], rules: StackRules) -> list[Advisory]:
    found = []
    small = _where(stacks, lambda stack: stack.small_foot)
    if small:
        text = (
            "the fill is too low for the pad this ground asks for: watch that it does not sink, or raise the "
            "gap under the track until a pad goes in"
        )
        found.append(
            Advisory(
                "caution",
                small,
                text,
                "least size of a lowest piece by kind of ground",
            )
        )
    seated = _where(stacks, lambda stack: bool(stack.seat))
    if seated:
        text = f"the ground slopes more than {np.degrees(rules.tilt_limit):.1f}°: make a seat first"
        found.append(Advisory("note", seated, text, "the limit is a guess"))
    return found


def _where(stacks: Sequence[Stack], wanted: Callable[[Stack], bool]) -> str:
    return _places(_place(stack) for stack in stacks if wanted(stack))


def _place(one: Stack | Unfillable) -> str:
    return place_of(one.support, one.side, one.ties)


def _places(names: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(names))
