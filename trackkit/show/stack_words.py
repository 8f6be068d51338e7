"""One stack in words, from the ground up: what a grip reads out to the one who fetches the pieces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from trackkit.cribbing.said import pair_of, times
from trackkit.cribbing.stack import Closing, Placed, Stack
from trackkit.naming import sided
from trackkit.show.footprints import slid_in
from trackkit.units import Display

__all__ = ["Part", "short_parts", "stack_lines", "stack_parts"]


@dataclass(frozen=True)
class Part:
    """One thing to do at a stack.

    Attributes
    ----------
    kind : {'seat', 'piece', 'packed', 'closing', 'fill'}
    place : int
        Of a piece which from the ground up, of a closing piece its tie; 0 for all ties of a joint alike.
    text : str
    missing : bool
        Whether the truck is short of it.
    """

    kind: str
    place: int
    text: str
    missing: bool = False


def stack_lines(
    stack: Stack,
    display: Display,
    *,
    sds: Sequence[float] | None = None,
    side_names: Mapping[str, str] | None = None,
    tie_overhang: float = 0.05,
) -> list[str]:
    """Return a stack in words, one line a layer from the ground up, the fill last.

    Parameters
    ----------
    stack : Stack
    display : Display
    sds : sequence of float, optional
        Standard deviation of the fill at each tie [m]; by default the stack's own.
    side_names : mapping, optional
        Landmarks for 'left' and 'right'.
    tie_overhang : float
        How far a tie end stands out beyond its rail [m].
    """
    parts = stack_parts(stack, display, sds=sds, side_names=side_names, tie_overhang=tie_overhang)
    return [part.text for part in parts]


def stack_parts(
    stack: Stack,
    display: Display,
    *,
    sds: Sequence[float] | None = None,
    side_names: Mapping[str, str] | None = None,
    tie_overhang: float = 0.05,
) -> tuple[Part, ...]:
    """Return the parts of a stack from the ground up, the fill last; parameters as in `stack_lines`."""
    short = short_parts(stack)
    found = [Part("seat", 0, _seat_text(stack, display, side_names or {}))] if stack.seat else []
    for place, piece in enumerate(stack.pieces):
        missing = ("piece", place) in short
        text = _piece_text(piece, display, slid_in(stack, piece, tie_overhang))
        found.append(Part("piece", place, _flagged(text, missing), missing))
    found += _closing_parts(stack, display, side_names or {}, short)
    return (*found, Part("fill", 0, _fill_text(stack, display, sds)))


def short_parts(stack: Stack) -> frozenset[tuple[str, int]]:
    """Return kind and place of the parts that the truck is short of: the uppermost of an item first."""
    left = dict(stack.missing)
    parts: list[tuple[str, int, tuple[tuple[str, int], ...]]] = [
        ("piece", place, ((piece.item, piece.per_layer),)) for place, piece in enumerate(stack.pieces)
    ]
    parts += [("closing", closing.tie, closing.takes) for closing in stack.closings]
    found = set()
    for kind, place, takes in reversed(parts):
        for item, count in takes:
            if left.get(item, 0) > 0:
                left[item] -= count
                found.add((kind, place))
    return frozenset(found)


def _flagged(text: str, missing: bool) -> str:
    return f"{text}: NOT ON THE TRUCK" if missing else text


def _seat_text(stack: Stack, display: Display, names: Mapping[str, str]) -> str:
    """Return what makes it level, and how far above or below the ground that has the pile at each tie."""
    seat = sided(stack.seat, lambda side: names.get(side, side))
    raises = [end.seat_raise for end in stack.closings]
    figures = [display.small(abs(by)) for by in raises]
    if all(figure == display.small(0.0) for figure in figures):
        return seat
    ways = ["higher" if by > 0 else "lower" for by in raises]
    if len(set(zip(ways, figures, strict=True))) == 1:
        return f"{seat}, the pile stands {ways[0]} by {display.small_unit(abs(raises[0]))}"
    if len(set(ways)) == 1:
        each = [
            f"{display.small_unit(abs(by))} at tie {end.tie}"
            for by, end in zip(raises, stack.closings, strict=True)
        ]
        return f"{seat}, the pile stands {ways[0]} by {' and '.join(each)}"
    each = [
        f"{way} by {display.small_unit(abs(by))} at tie {end.tie}"
        for way, by, end in zip(ways, raises, stack.closings, strict=True)
    ]
    return f"{seat}, the pile stands {' and '.join(each)}"


def _piece_text(piece: Placed, display: Display, inwards: float) -> str:
    text = f"{piece.words()} · {display.small_unit(piece.thickness)}"
    if display.small(piece.slid) != display.small(0.0):
        way = "tail" if piece.slid > 0 else "head"
        text += f", slid {display.small_unit(abs(piece.slid))} towards the {way}"
    if inwards < 0:
        text += f", set out {display.small_unit(-inwards)} towards the tie's end"
    elif display.small(inwards) != display.small(0.0):
        text += f", slid in {display.small_unit(inwards)} under the tie"
    return text


def _closing_parts(
    stack: Stack, display: Display, names: Mapping[str, str], short: frozenset[tuple[str, int]]
) -> list[Part]:
    """Return the closing pieces: one line where all ties of a joint have the same, else one a tie."""
    texts = [_closing_texts(closing, display, names) for closing in stack.closings]
    missing = [("closing", closing.tie) in short for closing in stack.closings]
    if len(stack.closings) > 1 and len(set(texts)) == 1 and len(set(missing)) == 1:
        return _parts_of(texts[0], 0, missing[0], "under each tie: ")
    several = len(stack.closings) > 1
    ends = zip(stack.closings, texts, missing, strict=True)
    return [
        part
        for closing, own, lost in ends
        for part in _parts_of(own, closing.tie, lost, f"tie {closing.tie}: " if several else "")
    ]


def _parts_of(texts: tuple[str, str], place: int, missing: bool, before: str) -> list[Part]:
    packed, closing = texts
    parts = [Part("packed", place, before + packed)] if packed else []
    return [*parts, Part("closing", place, _flagged(before + closing, missing), missing)]


def _closing_texts(closing: Closing, display: Display, names: Mapping[str, str]) -> tuple[str, str]:
    """Return the shims that lie under a wedge, '' for none, and what closes the height."""
    size = display.small_unit
    if closing.kind == "none":
        return "", "no wedge and no shim"
    if closing.kind == "shim":
        return "", f"{closing.item} · {size(closing.height)}"
    shims = " + ".join(times(item, count) for item, count in closing.takes[1:])
    packed = f"{shims} · {size(closing.packed)}, flat under the wedge" if closing.packed > 0 else ""
    item = closing.takes[0][0] if closing.takes else closing.item
    parts = [f"{item if closing.kind == 'single' else pair_of(item)}, gap {size(closing.gap)}"]
    outside = closing.goes_in == "from outside"
    side = names.get(closing.from_side, closing.from_side)
    if closing.kind == "single":
        way = f"outside ({side})" if outside else f"the {closing.from_side} end"
        parts.append(f"pushed in {size(closing.how_far_in)} from {way}")
    else:
        way = f"from outside ({side})" if outside else "one from each end"
        parts.append(f"{way}, overlapping by {size(closing.overlap)}")
    if display.small(closing.stick_out) != display.small(0.0):
        where = "outside" if outside else f"towards the {closing.stick_side}"
        if "head" in closing.stick_side and "tail" in closing.stick_side:
            where = "each way"
        parts.append(f"sticks out {size(closing.stick_out)} {where}")
    return packed, ", ".join(parts)


def _fill_text(stack: Stack, display: Display, sds: Sequence[float] | None) -> str:
    give = display.small(2.0 * (max(sds) if sds else stack.fill_sd))
    fills = [display.small(fill).replace("-", "−") for fill in stack.fills]
    if len(set(fills)) == 1:
        return f"fill {fills[0]} {display.unit} ±{give}"
    each = zip(fills, stack.ties, strict=True)
    return f"fill {', '.join(f'{fill} {display.unit} at tie {tie}' for fill, tie in each)}, ±{give}"
