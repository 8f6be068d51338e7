"""How pieces, places and fine lengths are said, the same in tables, cards and warnings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from trackkit.units import LENGTH_UNITS, Display

__all__ = ["apart", "counted", "fine", "pair_of", "place_of", "times"]

_NUMBERS: Final = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}
#: Fills that differ by less are the same, in steps of what is printed finest.
_SAME: Final = 0.05
#: Decimals that tell a tenth of a millimetre, by unit.
_FINE: Final = {"mm": 1, "cm": 2, "in": 2}


def counted(layers: Sequence[str]) -> list[str]:
    """Join equal layers that lie on each other.

    Examples
    --------
    >>> counted(["half", "half", "2x4"])
    ['two half', '2x4']
    """
    found: list[tuple[str, int]] = []
    for layer in layers:
        if found and found[-1][0] == layer:
            found[-1] = (layer, found[-1][1] + 1)
        else:
            found.append((layer, 1))
    return [layer if n == 1 else f"{_NUMBERS.get(n, str(n))} {layer}" for layer, n in found]


def times(item: str, count: int) -> str:
    """Return so many of an item whose name may end in a figure.

    Examples
    --------
    >>> times("shim 6", 2), times("shim 2", 1)
    ('2 x shim 6', 'shim 2')
    """
    return item if count == 1 else f"{count} x {item}"


def pair_of(item: str) -> str:
    """Return a pair of wedges in words.

    Examples
    --------
    >>> pair_of("wedge"), pair_of("maple wedge 12"), pair_of("maple")
    ('pair of wedges', 'pair of maple wedges 12', 'pair of maple')
    """
    plural = item if "wedges" in item else item.replace("wedge", "wedges", 1)
    return f"pair of {plural}"


def place_of(support: str, side: str, ties: Sequence[int]) -> str:
    """Return a place as the crew knows it: by its tie, or by its joint and both ties.

    Examples
    --------
    >>> place_of("T14", "left", (14,)), place_of("J3", "left", (15, 16))
    ('tie 14 left', 'joint J3 left (ties 15 and 16)')
    """
    if len(ties) == 1:
        return f"tie {ties[0]} {side}"
    return f"joint {support} {side} (ties {' and '.join(map(str, ties))})"


def apart(show: Display, fill: float, near: float) -> tuple[str, str] | None:
    """Return another fill and how far it is off, to about a tenth of a millimetre and never too little.

    Parameters
    ----------
    show : Display
    fill, near : float
        A fill, and the other one [m].

    Returns
    -------
    (str, str) or None
        None where what is printed would not tell them apart.

    Examples
    --------
    >>> from trackkit.units import DISPLAYS
    >>> apart(DISPLAYS["cm"], 0.012, 0.01352), apart(DISPLAYS["cm"], 0.012, 0.012)
    (('1.36 cm', '0.16 cm'), None)
    """
    if not math.isfinite(near):
        return None
    step = LENGTH_UNITS[show.unit] / 10 ** _FINE[show.unit]
    own, off = round(fill / step), (near - fill) / step
    if abs(off) < _SAME:
        return None
    other = math.ceil(near / step - 1e-6) if off > 0 else math.floor(near / step + 1e-6)
    if other == own:
        return None
    return fine(show, other * step), fine(show, abs(other - own) * step)


def fine(show: Display, metres: float) -> str:
    """Return a length that rounds away in the display's step, to about a tenth of a millimetre.

    Examples
    --------
    >>> from trackkit.units import DISPLAYS
    >>> [fine(DISPLAYS[name], 0.00064) for name in ("mm", "cm", "1/8 in")]
    ['0.6 mm', '0.06 cm', '0.03 in']
    """
    return f"{metres / LENGTH_UNITS[show.unit]:.{_FINE[show.unit]}f} {show.unit}"
