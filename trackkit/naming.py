"""Places on the run in the crew's words: landmarks for left and right, long lists of tie ends in short."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence

__all__ = ["compact", "named", "sided", "stretches"]

_ENDS = re.compile(r"\b(tie \d+|[TJ]\d+) (left|right)\b")
_SIDE = re.compile(r"\b(left|right) side\b")
_TIE = re.compile(r"tie (\d+) (left|right)")
_JOINT = re.compile(r"joint J\d+ (left|right) \(ties (\d+) and (\d+)\)")


def named(text: str, side: Callable[[str], str]) -> str:
    """Return text with the crew's landmarks behind ties and joints instead of left and right.

    Parameters
    ----------
    text : str
    side : callable
        From 'left' or 'right' to the landmark, such as `trackkit.job.Job.side`.

    Examples
    --------
    >>> named("tie 3 left", {"left": "wall", "right": "pond"}.__getitem__)
    'tie 3 wall'
    """
    return _ENDS.sub(lambda found: f"{found[1]} {side(found[2])}", text)


def sided(text: str, side: Callable[[str], str]) -> str:
    """Return text with the crew's landmarks instead of "left side" and "right side".

    Examples
    --------
    >>> sided("2 cm off the left side", {"left": "house side", "right": "pond"}.__getitem__)
    '2 cm off the house side'
    """
    return _SIDE.sub(lambda found: f"{side(found[1]).removesuffix(' side')} side", text)


def compact(places: str, side: Callable[[str], str]) -> str:
    """Return a list of tie ends and joints by side, with runs of neighbours drawn together.

    Parameters
    ----------
    places : str
        Names joined by ', '. One name alone, or any that is no tie end, stays as it is.
    side : callable
        From 'left' or 'right' to the landmark.

    Examples
    --------
    >>> side = {"left": "wall", "right": "pond"}.__getitem__
    >>> compact("tie 3 left, tie 3 right, tie 4 left, joint J2 left (ties 5 and 6), tie 9 left", side)
    'ties 3 to 6 and 9 wall, tie 3 pond'
    """
    names = places.split(", ")
    ends: dict[str, list[int]] = {"left": [], "right": []}
    for name in names:
        if found := _TIE.fullmatch(name):
            ends[found[2]].append(int(found[1]))
        elif found := _JOINT.fullmatch(name):
            ends[found[1]] += [int(found[2]), int(found[3])]
        else:
            return named(places, side)
    if len(names) == 1:
        return named(places, side)
    return ", ".join(f"{_ties(own)} {side(name)}" for name, own in ends.items() if own)


def _ties(numbers: Iterable[int]) -> str:
    """Return tie numbers with rows of neighbours drawn together.

    Examples
    --------
    >>> _ties([4]), _ties([1, 2, 7]), _ties([3, 1, 2, 9, 10, 11])
    ('tie 4', 'ties 1, 2 and 7', 'ties 1 to 3 and 9 to 11')
    """
    own = sorted(set(numbers))
    parts: list[str] = []
    for first, last in stretches(own):
        if last - first < 2:
            parts += [str(number) for number in range(first, last + 1)]
        else:
            parts.append(f"{first} to {last}")
    joined = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return f"tie{'s' if len(own) > 1 else ''} {joined}"


def stretches(numbers: Sequence[int]) -> list[tuple[int, int]]:
    """Return first and last of each row of neighbours.

    Examples
    --------
    >>> stretches([1, 2, 3, 7, 9, 10])
    [(1, 3), (7, 7), (9, 10)]
    """
    firsts = [number for number in numbers if number - 1 not in numbers]
    lasts = [number for number in numbers if number + 1 not in numbers]
    return list(zip(firsts, lasts, strict=True))
