"""What both bar pictures share: the axis of ties, the row of signs, a side's landmark, a new figure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from trackkit.show.lettering import fitted, text_width
from trackkit.show.pen import Pen
from trackkit.show.room import Box, Paper
from trackkit.show.style import INK, STYLE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["KEY", "draw_key", "key_wide", "landmark", "own_axes", "slot", "tie_axis", "write"]

#: A row of signs with their words [in].
KEY: Final = 0.24


def landmark(side: str, side_names: Mapping[str, str] | None) -> str:
    """Return a side as the crew calls it: its landmark, with left or right behind it.

    Examples
    --------
    >>> landmark("left", {"left": "house side"}), landmark("right", None)
    ('house side (left)', 'right')
    """
    name = (side_names or {}).get(side, side)
    return side if name == side else f"{name} ({side})"


def own_axes(tall: float) -> Axes:
    """Return axes on a new figure 11 in wide."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11.0, tall), dpi=100, facecolor=STYLE["page"]["facecolor"])
    return figure.add_axes((0.08, 0.52 / tall, 0.9, 1.0 - 0.76 / tall))


def slot(ax: Axes) -> float:
    """Return how far it is from one tie to the next [in]."""
    left, right = ax.get_xlim()
    return float(ax.bbox.width) / ax.figure.dpi / (right - left)


def tie_axis(ax: Axes, ties: pd.Series[int]) -> None:
    """Put ties evenly spaced on the axis, numbered as far as there is room."""
    every = sorted({int(tie) for tie in ties})
    ax.set_facecolor(STYLE["page"]["facecolor"])
    ax.set_xlim(every[0] - 0.6, every[-1] + 0.6)
    wide = slot(ax)
    widest = max(text_width(str(tie), STYLE["small"]) for tie in every) + 0.05
    step = next(step for step in (1, 2, 5, 10, 20, 50, 100, 1000) if step * wide > widest or step == 1000)
    shown = [tie for tie in every if step == 1 or tie % step == 0 or tie == every[0]]
    labels = [label.get_text() for label in ax.get_xticklabels()]
    if labels != [str(tie) for tie in shown]:
        ax.set_xticks(shown, [str(tie) for tie in shown])
    ax.tick_params(colors=INK, labelsize=8.5, length=2)
    ax.set_xlabel("tie, evenly spaced", color=INK, fontsize=9, labelpad=2)
    for name, spine in ax.spines.items():
        spine.set_visible(name in ("left", "bottom"))
        spine.set_edgecolor(INK)


def key_wide(entries: Sequence[tuple[str, str]]) -> float:
    """Return how wide a row of signs with their words is [in]."""
    return sum(_sign(style) + text_width(word, STYLE["note"]) + 0.31 for style, word in entries)


def _sign(style: str) -> float:
    """Return how wide a sign is [in]: a line with long dashes must show two of them."""
    return 0.44 if style == "caution" else 0.18


def draw_key(pen: Pen, paper: Paper, entries: Sequence[tuple[str, str]], *, row: int = 0) -> None:
    """Say in the top row, or one below it, what the signs mean."""
    x, y = 0.05, paper.tall - (row + 0.5) * KEY
    for style, word in entries:
        left = x + _sign(style) + 0.06
        text, size = fitted(word, max(paper.wide - left, 0.2), STYLE["note"], sizes=(9, 8.5))
        (a, b), (c, d) = paper.data(x, y - 0.06), paper.data(x + _sign(style), y + 0.06)
        name = f"key-{style.replace(' ', '-')}"
        if style.startswith("bar"):
            pen.areas(name, [[(a, b), (c, b), (c, d), (a, d)]], **STYLE[style])
        elif style == "whisker":
            mid, cap = (a + c) / 2, (c - a) / 4
            caps = [[(mid - cap, one), (mid + cap, one)] for one in (b, d)]
            pen.strokes(name, [[(mid, b), (mid, d)], *caps], **STYLE[style])
        else:
            pen.line(name, [a, c], [(b + d) / 2] * 2, **STYLE[style])
        pen.words(
            f"{name}-word", text, *paper.data(left, y), va="center", **{**STYLE["note"], "fontsize": size}
        )
        x = left + text_width(text, STYLE["note"], size=size) + 0.25


def write(pen: Pen, paper: Paper, name: str, word: str, box: Box, style: str, **own: Any) -> None:
    """Write a word into its box."""
    look = {"ha": "center", "va": "center", "rotation": 0, **STYLE[style], **own}
    pen.words(name, word, *paper.data(*box.middle), **look)
