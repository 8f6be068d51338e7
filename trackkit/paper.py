"""Text for a terminal or a printer: aligned columns and broken lines."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Final

__all__ = ["NOTEBOOK_WIDTH", "WIDTH", "columns", "wrapped", "wrapped_lines"]

#: Columns of the page: a terminal's width, and what a printer takes in a fixed pitch on A4.
WIDTH: Final = 100
#: Columns of what a notebook's cell prints, on A4.
NOTEBOOK_WIDTH: Final = 76
#: So much wider than the others the first broken column stays.
FIRST: Final = 12
#: A column is not broken narrower than this.
NARROWEST: Final = 11


def columns(
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    right: tuple[int, ...] = (),
    wrap: tuple[int, ...] = (),
    width: int = WIDTH,
) -> str:
    """Return rows in aligned columns; wide ones in ``wrap`` are broken to keep to ``width``, then heads."""
    table = [list(head), *map(list, rows)]
    widths = [max(len(row[i]) for row in table) for i in range(len(head))]
    while sum(widths) + 2 * (len(widths) - 1) > width and any(widths[i] > NARROWEST for i in wrap):
        wide = [i for i in wrap if widths[i] > NARROWEST]
        widest = max(wide, key=lambda i: widths[i] - FIRST * (i == wrap[0]))
        widths[widest] -= 1
    for i, name in reversed(list(enumerate(head))):  # last, names of columns are broken
        body = max([len(row[i]) for row in rows] + [len(word) for word in name.split()], default=0)
        over = sum(widths) + 2 * (len(widths) - 1) - width
        if over > 0 and widths[i] > body:
            widths[i] = max(body, widths[i] - over)
    lines = []
    for row in table:
        cells = [textwrap.wrap(cell, max(wide, 1)) or [""] for cell, wide in zip(row, widths, strict=True)]
        for n in range(max(map(len, cells))):
            parts = [cell[n] if n < len(cell) else "" for cell in cells]
            placed = [
                part.rjust(wide) if i in right else part.ljust(wide)
                for i, (part, wide) in enumerate(zip(parts, widths, strict=True))
            ]
            lines.append("  ".join(placed).rstrip())
    return "\n".join(lines)


def wrapped(text: str, *, hang: int = 0) -> str:
    """Return text broken into lines, all but the first indented."""
    return textwrap.fill(text, WIDTH, subsequent_indent=" " * hang, break_on_hyphens=False)


def wrapped_lines(text: str, *, width: int) -> str:
    """Return text whose longer lines are broken, each with its own indent and two columns more.

    Examples
    --------
    >>> print(wrapped_lines("  scrape 2 cm off the tail side", width=20))
      scrape 2 cm off
        the tail side
    """
    broken = []
    for line in text.split("\n"):
        indent = " " * (len(line) - len(line.lstrip()))
        broken += textwrap.wrap(
            line, width, subsequent_indent=f"{indent}  ", break_on_hyphens=False, break_long_words=False
        ) or [""]
    return "\n".join(broken)
