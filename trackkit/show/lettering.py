"""Lettering: how wide a word is, how to make it fit, and where words go so that none overlaps another.

Widths come from the font itself, so that nothing must be drawn to know them. All in inches of paper.
"""

from __future__ import annotations

import re
import warnings
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trackkit.show.style import FIGURE_STEPS, PAPER, STYLE

__all__ = ["Figures", "fitted", "lay_figures", "line_height", "plain", "spread", "text_width", "wrapped"]

Array = NDArray[np.float64]

#: Longer texts are cut before they are measured.
_LONGEST: Final = 300
#: A line of text is so much higher than its letters' size.
_LEADING: Final = 1.25
#: Where a line may be broken: not in "1 1/4 in", "tie 10" or "shim 2 · 0.2 cm".
_BETWEEN_WORDS: Final = r"(?<![\d·]) (?![\d·])"
#: A browser may put another font in an SVG, with letters a little wider than those measured.
_OTHER_FONT: Final = 1.03


def plain(text: str) -> str:
    r"""Return a text on one line, without what cannot be printed.

    Signs of mathematics and of HTML stay as they are: every text is drawn with ``parse_math=False``.

    Examples
    --------
    >>> plain("house\n side\x07 $5 <b>")
    'house side $5 <b>'
    """
    return "".join(sign for sign in " ".join(text.split()) if sign.isprintable())


def text_width(text: str, look: Mapping[str, Any], *, size: float | None = None) -> float:
    """Return the width of a text in a style of `STYLE`, with a little to spare [in]."""
    points = float(look["fontsize"]) if size is None else size
    words = text.split(" ")
    pieces = [*words, *[" "] * (len(words) - 1)]
    wide = sum(_measured(piece, points, look.get("weight"), look.get("style")) for piece in pieces)
    return wide / 64 / 72 * _OTHER_FONT


@lru_cache(maxsize=4096)
def _measured(word: str, points: float, weight: Any, slant: Any) -> int:
    """Return the width of a word [1/64 point]; lines that are tried in turn hold the same ones."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    font = get_font(findfont(FontProperties(weight=weight, style=slant)))
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        font.set_size(points, 72)
        font.set_text(word, 0.0)
    return int(font.get_width_height()[0])


def line_height(size: float) -> float:
    """Return the height of one line of letters of a size in points [in]."""
    return size * _LEADING / 72


def fitted(
    text: str, width: float, look: Mapping[str, Any], *, sizes: Sequence[float] = ()
) -> tuple[str, float]:
    """Return a text and the size at which it fits: at the smallest its end is cut off, with an ellipsis."""
    text = plain(text)[:_LONGEST]
    tried = tuple(sizes) or (float(look["fontsize"]),)
    for size in tried:
        if text_width(text, look, size=size) <= width:
            return text, size
    size = tried[-1]
    keep = bisect_right(range(1, len(text)), width, key=lambda n: text_width(text[:n] + "…", look, size=size))
    return text[:keep].rstrip() + "…", size


def wrapped(
    text: str, width: float, look: Mapping[str, Any], *, size: float, lines: int, anywhere: bool = False
) -> list[str]:
    """Return a text broken into at most so many lines, after commas if it has any; the last may be cut.

    With ``anywhere`` it is broken after any word, but no figure is parted from what it counts.
    """
    text, found = plain(text)[:_LONGEST], [""]
    gap = _BETWEEN_WORDS if anywhere else "(?<=,) " if ", " in text else " "
    words = re.split(gap, text)  # "2 2x4" must not be torn apart
    for place, word in enumerate(words):
        longer = f"{found[-1]} {word}".strip()
        if text_width(longer, look, size=size) <= width or not found[-1]:
            found[-1] = longer
        elif len(found) < lines:
            found.append(word)
        else:
            found[-1] = " ".join([found[-1], *words[place:]])
            break
    return [fitted(line, width, look, sizes=(size,))[0] for line in found]


def spread(centres: Array, widths: Array, *, low: float, high: float) -> Array:
    """Return centres, in the same order, that keep labels apart with the least squared shift.

    Shifted by the widths before it, a label only has to keep order: an isotonic regression, solved
    by pooling neighbours (R. E. Barlow et al., *Statistical Inference under Order Restrictions*,
    1972, section 1.2; from memory).

    Parameters
    ----------
    centres, widths : array, shape (n,)
        Where labels belong, rising, and how wide they are.
    low, high : float
        They stay within.

    Examples
    --------
    >>> spread(np.array([1.0, 1.1, 4.0]), np.array([0.5, 0.5, 0.5]), low=0.0, high=9.0).round(2).tolist()
    [0.8, 1.3, 4.0]
    """
    if not len(centres):
        return centres
    offset = np.concatenate([[0.0], np.cumsum((widths[1:] + widths[:-1]) / 2)])
    pools: list[tuple[float, int]] = []
    for want in centres - offset:
        value, count = float(want), 1
        while pools and pools[-1][0] > value:
            other, more = pools.pop()
            value, count = (value * count + other * more) / (count + more), count + more
        pools.append((value, count))
    base = np.repeat([value for value, _ in pools], [count for _, count in pools])
    top = max(high - widths[-1] / 2 - offset[-1], low + widths[0] / 2)
    return np.asarray(np.clip(base, low + widths[0] / 2, top) + offset)


@dataclass(frozen=True)
class Figures:
    """Where the figures at the foot of the supports are written.

    Attributes
    ----------
    size : float
        Size of the letters [points].
    turned : bool
        Whether they are written upwards, tie and fill in one.
    at : array, shape (n,)
        Middle of each figure, from the left end of the strip [in].
    row : tuple of int
        Which row, from the top.
    row_height, height : float
        Of one row, and of all with the room over and under them [in].
    """

    size: float
    turned: bool
    at: Array
    row: tuple[int, ...]
    row_height: float
    height: float

    @property
    def rows(self) -> int:
        """How many rows there are."""
        return max(self.row, default=0) + 1


def lay_figures(
    centres: Array, numbers: Sequence[str], figures: Sequence[str], *, wide: float, room: float
) -> Figures:
    """Return the largest way of writing a figure under every support without any overlap.

    Parameters
    ----------
    centres : array, shape (n,)
        Where the ties are, rising, from the left end of the strip [in].
    numbers, figures : sequence of str
        Number and fill of each tie.
    wide, room : float
        Width of the strip, and how high the figures may be together [in]; where they fit in no other
        way they are smaller and higher.
    """
    number, look = STYLE["tie number"], STYLE["figure"]
    small = np.array([text_width(text, number) for text in numbers])
    large = np.array([text_width(text, look, size=10.0) for text in figures]) / 10.0
    both = [f"{tie}:  {fill}" for tie, fill in zip(numbers, figures, strict=True)]
    longest = max((text_width(text, look, size=10.0) for text in both), default=0.0) / 10.0
    for size, turned, most, shift in FIGURE_STEPS:
        last = size == FIGURE_STEPS[-1][0]
        widths = np.full(len(centres), line_height(size)) if turned else np.maximum(small, large * size)
        widths = widths + (0.0 if turned else PAPER["figures"])
        high = longest * size + PAPER["foot"] if turned else line_height(number["fontsize"] + size)
        rows = [0] * len(centres) if most == 1 else _rows_apart(centres, widths)
        count = max(rows, default=0) + 1
        at = centres.copy()
        for row in range(count):
            own = np.flatnonzero(np.array(rows) == row)
            at[own] = spread(centres[own], widths[own], low=0.0, high=wide)
        laid = Figures(size, turned, at, tuple(rows), high, count * high + PAPER["lead"] + PAPER["foot"])
        fits = count <= most and count * high <= room
        if (fits or last) and np.abs(at - centres).max(initial=0.0) <= shift:
            return laid
    return laid


def _rows_apart(centres: Array, widths: Array) -> list[int]:
    """Return the first row for every label in which it doesn't overlap the one before."""
    ends: list[float] = []
    rows = []
    for centre, width in zip(centres, widths, strict=True):
        row = next((place for place, end in enumerate(ends) if centre - width / 2 >= end), len(ends))
        ends[row:] = [centre + width / 2, *ends[row + 1 :]]
        rows.append(row)
    return rows
