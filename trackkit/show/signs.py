"""Signs for kinds of readings, rows that say what signs mean, and a station axis without a run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from trackkit.show.bar_axis import landmark
from trackkit.show.lettering import fitted, text_width
from trackkit.show.pen import Pen
from trackkit.show.room import Paper
from trackkit.show.style import INK, STYLE
from trackkit.units import LENGTH_UNITS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["ROW", "Entry", "draw_entries", "kind_words", "mark_of", "rows_needed", "station_axis"]

#: A row of signs [in], a sign in it, and from one entry to the next.
ROW, SIGN, APART = 0.19, 0.2, 0.2
#: A marker for each kind of reading and side; those of pegs have no side.
_MARKS: Final[Mapping[tuple[str, str], str]] = {
    ("rod", "left"): "o", ("rod", "right"): "s", ("board", "left"): "^", ("board", "right"): "v",
    ("left-to-right", ""): "D", ("rod on peg", ""): "p", ("rod at offset", ""): "h", ("benchmark", ""): "*",
    ("phone log", "left"): "1", ("phone log", "right"): "2",
    ("difference", ""): "8", ("step", "left"): "<", ("step", "right"): ">",
}  # fmt: skip

#: A style of `STYLE`, what it is drawn with on top, and what it means.
Entry = tuple[str, Mapping[str, Any], str]


def mark_of(kind: str, side: str) -> str:
    """Return the marker of a kind of reading on a side."""
    return _MARKS.get((kind, side)) or _MARKS.get((kind, "")) or "d"


def kind_words(kind: str, side: str, names: Mapping[str, str] | None) -> str:
    """Return what a reading is called: ``rod, house side (left)``."""
    return f"{kind}, {landmark(side, names)}" if side else kind


def _laid(entries: Sequence[Entry], wide: float) -> list[tuple[int, float, str, float]]:
    """Return row, place, words and size of each entry [in, points]."""
    found, row, x = [], 0, 0.05
    for _, _, words in entries:
        text, size = fitted(words, wide - SIGN - 0.2, STYLE["note"], sizes=(9, 8.5))
        need = SIGN + 0.06 + text_width(text, STYLE["note"], size=size)
        if x + need > wide and x > 0.05:
            row, x = row + 1, 0.05
        found.append((row, x, text, size))
        x += need + APART
    return found


def rows_needed(entries: Sequence[Entry], wide: float) -> int:
    """Return how many rows the entries take on paper so wide [in]."""
    return max((row for row, *_ in _laid(entries, wide)), default=-1) + 1


def draw_entries(pen: Pen, paper: Paper, entries: Sequence[Entry]) -> None:
    """Say in rows from the top down what the signs mean."""
    for number, ((style, more, _), (row, x, text, size)) in enumerate(
        zip(entries, _laid(entries, paper.wide), strict=True)
    ):
        y, look = paper.tall - (row + 0.5) * ROW, {**STYLE[style], **more}
        (left, low), (right, high) = paper.data(x, y - 0.05), paper.data(x + SIGN, y + 0.05)
        name, middle = f"key-{number}", (low + high) / 2
        if "facecolor" in look:
            pen.areas(name, [[(left, low), (right, low), (right, high), (left, high)]], **look)
        elif "marker" in look:
            size_of_mark = {"markersize": min(float(look["markersize"]), 11.0)}
            pen.line(name, [(left + right) / 2], [middle], **{**look, **size_of_mark})
        elif style == "may be":
            pen.line(name, [(left + right) / 2] * 2, [low, high], **look)
        else:
            pen.line(name, [left, right], [middle, middle], **look)
        words = paper.data(x + SIGN + 0.06, y)
        pen.words(f"{name}-word", text, *words, va="center", **{**STYLE["note"], "fontsize": size})


def station_axis(ax: Axes, display: Display, origin: str, *, start: float = -np.inf) -> None:
    """Label stations from ``start`` on in metres, or in feet for a crew that reads inches.

    The axis itself is in metres.
    """
    from matplotlib.ticker import MaxNLocator

    unit = "ft" if display.unit == "in" else "m"
    size = LENGTH_UNITS[unit]
    low, high = (end / size for end in ax.get_xlim())
    ticks = np.asarray(MaxNLocator(nbins=14, steps=[1, 2, 5, 10]).tick_values(low, high), dtype=float)
    ticks = ticks[(ticks >= max(low, start / size)) & (ticks <= high)]
    words = [f"{tick:g}".replace("-", "−") for tick in ticks]
    there = [label.get_text() for label in ax.xaxis.get_ticklabels()]
    if there != words or not np.array_equal(ax.xaxis.get_ticklocs(), ticks * size):
        ax.set_xticks(ticks * size, words)
    ax.set_xlabel(f"distance from {origin}, {unit}", color=INK, fontsize=9, labelpad=2)
