"""What a form for a pencil is made of: words in an embedded font, grids of boxes, pages filled from the top.

Black on white; nothing smaller than `SMALLEST` points; a line of boxes is at least `BOX_HIGH` high.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any, Final, TypeAlias
from xml.sax.saxutils import escape

__all__ = [
    "BOX_HIGH",
    "INSIDE",
    "MM",
    "PAPERS",
    "PLAIN",
    "SMALLEST",
    "Part",
    "boxes",
    "fill_pages",
    "grid",
    "heading",
    "high",
    "part_high",
    "register_fonts",
    "row_high",
    "words",
]

#: Points in a millimetre: a point is 1/72 in.
MM: Final = 72.0 / 25.4
#: Width and height of the papers [mm]: ISO 216 A4; Letter is 8 1/2 by 11 in.
PAPERS: Final = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
#: Least size of letters [points], least height of a box to write in [mm] (choices, for rain and tired eyes).
SMALLEST: Final = 8.0
BOX_HIGH: Final = 10.0
#: Left free below each flowable of a part [mm].
INSIDE: Final = 0.5
#: Room between words and the edge of their box [mm].
PAD: Final = 0.9
PLAIN, _BOLD = "trackkit-plain", "trackkit-bold"

#: Flowables that stay together on one page.
Part: TypeAlias = Sequence[Any]


def register_fonts() -> None:
    """Make the embedded fonts known to reportlab: they have Latin, Greek and Cyrillic letters."""
    from pathlib import Path

    from matplotlib import get_data_path
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(get_data_path()) / "fonts" / "ttf"
    for name, file in ((PLAIN, "DejaVuSans.ttf"), (_BOLD, "DejaVuSans-Bold.ttf")):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(folder / file)))


def words(
    text: str, size: float = 10.0, *, bold: bool = False, align: str = "left", hang: float = 0.0
) -> Any:
    """Return text as a paragraph that breaks into lines, even within a word that is too long.

    Parameters
    ----------
    text : str
        As it is printed; nothing in it is taken for markup.
    size : float
        [points]
    bold : bool
    align : {'left', 'center', 'right'}
    hang : float
        Indent of all lines but the first [mm].
    """
    from reportlab.lib.enums import TA_CENTER, TA_LEFT, TA_RIGHT
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    if size < SMALLEST:
        raise ValueError(f"letters must have {SMALLEST:g} points or more, got {size:g}")
    places = {"left": TA_LEFT, "center": TA_CENTER, "right": TA_RIGHT}
    style = ParagraphStyle(
        "words", fontName=_BOLD if bold else PLAIN, fontSize=size, leading=1.2 * size,
        alignment=places[align], leftIndent=hang * MM, firstLineIndent=-hang * MM, splitLongWords=1,
    )  # fmt: skip
    return Paragraph(escape(text), style)


def heading(text: str) -> Any:
    """Return the heading of a part of the form."""
    return words(text, 12.5, bold=True)


def high(flowable: Any, wide: float) -> float:
    """Return how high a flowable is on a page so wide [points]."""
    return float(flowable.wrap(wide, 1e6)[1])


def part_high(part: Part, wide: float) -> float:
    """Return how high a part is on a page so wide [points]."""
    return sum(high(flowable, wide) + INSIDE * MM for flowable in part)


def grid(
    rows: Sequence[Sequence[Any]],
    widths: Sequence[float],
    *,
    heights: Sequence[float] | None = None,
    style: Sequence[tuple[Any, ...]] = (),
    whole: Collection[int] = (),
    lines: bool = True,
) -> Any:
    """Return rows of cells as a table of boxes; a row is as high as its words need, at least `BOX_HIGH`.

    Parameters
    ----------
    rows : sequence of sequence
        Flowables, lists of them, or '' for an empty box.
    widths : sequence of float
        [mm]
    heights : sequence of float, optional
        Least heights of the rows [mm].
    style : sequence of tuple
        Further commands for reportlab's table.
    whole : collection of int
        Rows whose first cell takes the whole width.
    lines : bool
        Whether the boxes are drawn.
    """
    from reportlab.lib.colors import black
    from reportlab.platypus import Table

    least = heights or [BOX_HIGH] * len(rows)
    needed = [
        row_high(row[:1], [sum(widths)], low) if at in whole else row_high(row, widths, low)
        for at, (row, low) in enumerate(zip(rows, least, strict=True))
    ]
    usual = [
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LEFTPADDING", (0, 0), (-1, -1), PAD * MM),
        ("RIGHTPADDING", (0, 0), (-1, -1), PAD * MM),
        ("TOPPADDING", (0, 0), (-1, -1), PAD * MM / 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), PAD * MM / 2),
        *([("GRID", (0, 0), (-1, -1), 0.6, black)] if lines else []),
        *[("SPAN", (0, at), (-1, at)) for at in whole],
    ]
    table = Table([list(row) for row in rows], [wide * MM for wide in widths], needed, hAlign="LEFT")
    table.setStyle([*usual, *style])
    return table


def row_high(row: Sequence[Any], widths: Sequence[float], least: float = BOX_HIGH) -> float:
    """Return how high a row of cells must be, at least so high [mm], with some room about words [points]."""
    needed = least * MM
    for cell, wide in zip(row, widths, strict=True):
        inside = cell if isinstance(cell, list) else [] if isinstance(cell, str) else [cell]
        own = sum(high(flowable, (wide - 2 * PAD) * MM) for flowable in inside)
        needed = max(needed, own + 2 * PAD * MM)
    return needed


def boxes(labels: Sequence[tuple[str, float]], wide: float, *, filled: dict[str, str] | None = None) -> Any:
    """Return one line of boxes, each with a small label at its top and room to write below it.

    Parameters
    ----------
    labels : sequence of (str, float)
        Each with its share of the width.
    wide : float
        [mm]
    filled : mapping, optional
        What is printed in the box of a label.
    """
    total = sum(share for _, share in labels)
    widths = [wide * share / total for _, share in labels]
    cells = []
    for label, _ in labels:
        said = (filled or {}).get(label, "")
        cells.append(words(f"{label}: {said}" if said else label, SMALLEST, bold=bool(said)))
    return grid([cells], widths, heights=[BOX_HIGH + 2.0], style=[("VALIGN", (0, 0), (-1, -1), "TOP")])


def fill_pages(parts: Sequence[Part], wide: float, room: float, *, gap: float) -> list[list[Part]]:
    """Return parts page by page, each as high on its page as it can stand, none split.

    Parameters
    ----------
    parts : sequence of Part
    wide, room : float
        Width and height of a page's body [points].
    gap : float
        Left free between parts [mm].

    Raises
    ------
    ValueError
        If a part is higher than a page.
    """
    pages: list[list[Part]] = []
    left = -1.0
    for part in parts:
        needed = part_high(part, wide)
        if needed + gap * MM > left:
            pages.append([])
            left = room
            if needed > left:
                found = f"a part of the form is {needed / MM:.0f} mm high"
                raise ValueError(f"{found}; a page has room for {left / MM:.0f} mm")
        pages[-1].append(part)
        left -= needed + gap * MM
    return pages
