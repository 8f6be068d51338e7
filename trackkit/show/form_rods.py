"""The rod readings of a booking sheet: rows of boxes in the order of reading, page by page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final

from trackkit.show.form_blank import BlankForm
from trackkit.show.form_parts import BOX_HIGH, MM, SMALLEST, grid, row_high, words
from trackkit.tables.rows import rows_of

__all__ = ["RodLine", "RodPage", "rod_lines", "rod_pages", "rod_table"]

#: Every so many rows a thick line parts them.
EVERY: Final = 5
#: Heights of the heads of the columns and of the lines that say where the walk goes [mm].
HEAD_HIGH, WAY_HIGH = 9.0, 7.0
#: Columns and their widths [mm]; the note takes what the paper leaves.
WIDTHS: Final = {
    "row": 13.5, "where": 30.5, "side": 34.0, "rod": 36.0, "initials": 15.0,
    "limit": 26.0, "difference": 18.0,
}  # fmt: skip
_ROD, _LIMIT, _DIFFERENCE, _NOTE = 3, 5, 6, 7


@dataclass(frozen=True)
class RodLine:
    """One row of boxes as it is printed.

    Attributes
    ----------
    row : int
        Row of the table that it is typed into.
    laser : str
    way : str
        What is said above the rows that it belongs to: "Out along the house side (left), ...".
    where, side : str
        Place: station, peg or section corner; landmark, or which peg it is.
    right : bool
        Whether it is on the right side.
    check : tuple of str
        For what is read again: what it is compared with, and the greatest difference; else empty.
    """

    row: int
    laser: str
    way: str
    where: str
    side: str
    right: bool
    check: tuple[str, ...] = ()


@dataclass(frozen=True)
class RodPage:
    """The rows of one page, all from one laser position."""

    laser: str
    lines: tuple[RodLine, ...]


def rod_lines(form: BlankForm) -> tuple[RodLine, ...]:
    """Return what is printed for every row of a form."""
    on_ground = form.rows[form.rows["side"] != ""]
    out = on_ground.groupby("laser")["side"].first().to_dict()
    return tuple(
        RodLine(
            row=int(row.row),
            laser=str(row.laser),
            way=_way(form, row, out=row.side == out[row.laser]),
            where=_where(form, row),
            side=form.side(row.side) if row.side else form.peg(row.point),
            right=row.side == "right",
            check=(f"less row {row.first},", f"at most {form.within(form.allowed)}") if row.first else (),
        )
        for row in rows_of(form.rows)
    )


def _where(form: BlankForm, row: Any) -> str:
    if row.point:
        return str(row.point)
    return f"{row.section} {row.end}" if row.section else form.long(row.station_m)


def _way(form: BlankForm, row: Any, *, out: bool) -> str:
    if row.why == "start":
        return "First the pegs"
    if row.why in ("again", "close"):
        return "Once more, from the same laser position: has anything moved?"
    grows = "from the head to the tail" if form.by_section else "stations grow"
    falls = "from the tail to the head" if form.by_section else "stations fall"
    way = f"{'Out' if out else 'Back'} along the {form.side(row.side)}: {grows if out else falls}"
    return f"{way}. Read before, from laser position {int(row.laser) - 1}" if row.why == "shared" else way


def rod_pages(form: BlankForm, wide: float, room: float) -> tuple[RodPage, ...]:
    """Return the rows page by page: each laser position begins a page, and no row is lost.

    Parameters
    ----------
    form : BlankForm
    wide, room : float
        Width and height that a page has for them [points].
    """
    pages = []
    for laser, group in groupby(rod_lines(form), key=lambda line: line.laser):
        page: list[RodLine] = []
        left = room
        for line in group:
            own = _line_high(form, line, wide)
            new = not page or line.way != page[-1].way
            needed = own + (_way_high(line.way, wide) if new else 0.0)
            if page and needed > left:
                pages.append(RodPage(laser, tuple(page)))
                page = []
            if not page:
                left = room - HEAD_HIGH * MM
                needed = own + _way_high(line.way, wide)
            page.append(line)
            left -= needed
        pages.append(RodPage(laser, tuple(page)))
    return tuple(pages)


def rod_table(form: BlankForm, page: RodPage, wide: float) -> Any:
    """Return the boxes of one page: heads, ways, rows [points]."""
    rows: list[Sequence[Any]] = [_heads(form)]
    heights = [HEAD_HIGH]
    style: list[tuple[Any, ...]] = [
        ("LINEBELOW", (0, 0), (-1, 0), 1.6, "black"), ("BOX", (0, 0), (-1, -1), 1.6, "black"),
    ]  # fmt: skip
    style.append(("SPAN", (_LIMIT, 0), (_NOTE, 0)))
    ways: list[int] = []
    way = ""
    for line in page.lines:
        if line.way != way:
            way = line.way
            at = len(rows)
            rows.append([_way_words(way), *[""] * _NOTE])
            heights.append(WAY_HIGH)
            ways.append(at)
            style += [(where, (0, at), (-1, at), 1.6, "black") for where in ("LINEABOVE", "LINEBELOW")]
        at = len(rows)
        rows.append(_cells(form, line))
        heights.append(BOX_HIGH)
        style.append(("BOX", (_ROD, at), (_ROD, at), 1.6, "black"))
        style.append(("VALIGN", (_ROD, at), (_ROD, at), "BOTTOM"))
        if line.check:
            style.append(("BOX", (_DIFFERENCE, at), (_DIFFERENCE, at), 1.6, "black"))
        else:
            style.append(("SPAN", (_LIMIT, at), (_NOTE, at)))
        if line.row % EVERY == 0:
            style.append(("LINEBELOW", (0, at), (-1, at), 3.0, "black"))
    return grid(rows, _widths(wide), heights=heights, style=style, whole=ways)


def _widths(wide: float) -> list[float]:
    return [*WIDTHS.values(), wide / MM - sum(WIDTHS.values())]


def _heads(form: BlankForm) -> list[Any]:
    where = "section, end" if form.by_section else "station"
    heads = ("row", where, "side", f"ROD in {form.rod_word}", "reader's initials", "note", "", "")
    return [
        words(head, 10 if at == _ROD else SMALLEST, bold=True, align="center") if head else ""
        for at, head in enumerate(heads)
    ]


def _way_words(way: str) -> Any:
    return words(way, 9.5, bold=True)


def _way_high(way: str, wide: float) -> float:
    return row_high([_way_words(way)], [wide / MM], WAY_HIGH)


def _line_high(form: BlankForm, line: RodLine, wide: float) -> float:
    """Return how high the boxes of a row are [points]."""
    return row_high(_cells(form, line), _widths(wide))


def _cells(form: BlankForm, line: RodLine) -> list[Any]:
    check = [words(text, SMALLEST, align="right") for text in line.check] or ""
    return [
        words(str(line.row), 15, bold=True, align="center"),
        words(line.where, 14 if len(line.where) <= _SHORT else 10.5, bold=True),
        words(
            line.side,
            10 if len(line.side) <= _LONG else 8.5,
            bold=line.right,
            align="right" if line.right else "left",
        ),
        words(form.display.unit, SMALLEST, align="right"),
        "",
        check,
        "",
        "",
    ]


#: Longest place that is written large, and longest side that is not written small.
_SHORT, _LONG = 9, 36
