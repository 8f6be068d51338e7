"""The blank booking sheet as a PDF: filled in with a pencil on site, typed in afterwards.

Black on white, on A4 or Letter, with its font inside. Pages: what to do first; the check of the
level, edges and obstacles; the rods in the order of reading, each laser position beginning a page; how it is
typed in; boards and left-to-rights. Every page has the job's name, its number, and boxes for date, reader,
instrument and laser position.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from typing import Any, Final

from trackkit.show.form_blank import BlankForm
from trackkit.show.form_else import check_parts, edge_parts, phone_parts
from trackkit.show.form_parts import (
    INSIDE,
    MM,
    PAPERS,
    PLAIN,
    SMALLEST,
    Part,
    boxes,
    fill_pages,
    grid,
    high,
    part_high,
    register_fonts,
    words,
)
from trackkit.show.form_rods import RodPage, rod_pages, rod_table
from trackkit.show.form_words import before_parts, rod_unit, typing_part

__all__ = ["FormPage", "form_pages", "form_pdf"]

#: Left free at the edges of the paper, and between parts [mm]; few printers need more than 6.
EDGE, GAP = 12.0, 2.6
#: Boxes at the head of a page, with their shares of its width.
_HEAD_BOXES: Final = (
    ("date", 4.0), ("reader", 4.0), ("booked by", 4.0), ("instrument", 5.0), ("laser position", 5.0),
)  # fmt: skip
#: Width kept for the number of the page [mm].
_NUMBER: Final = 52.0


@dataclass(frozen=True)
class FormPage:
    """One page.

    Attributes
    ----------
    parts : tuple of Part
        What stands on it, from the top.
    rods : RodPage or None
        Its rod readings, if it has some.
    """

    parts: tuple[Part, ...]
    rods: RodPage | None = None


def form_pages(form: BlankForm, *, paper: str = "A4") -> tuple[FormPage, ...]:
    """Return what stands on every page.

    Parameters
    ----------
    form : BlankForm
    paper : str
        One of `trackkit.show.form_parts.PAPERS`.
    """
    register_fonts()
    wide, room = _body(form, paper)
    before = [*before_parts(form, wide), *check_parts(form, wide), *edge_parts(form, wide)]
    rods = [
        FormPage(([rod_table(form, page, wide)],), page)
        for page in rod_pages(form, *_body(form, paper, rods=True))
    ]
    last, typing, after = rods[-1], typing_part(form), phone_parts(form, wide)
    used = part_high(last.parts[0], wide) + part_high(typing, wide) + 2 * GAP * MM
    if used <= _body(form, paper, rods=True)[1]:  # how it is typed stands right below what is typed
        rods[-1] = replace(last, parts=(*last.parts, typing))
    else:
        after.append(typing)
    flowing = [fill_pages(parts, wide, room, gap=GAP) for parts in (before, after)]
    first, end = ([FormPage(tuple(page)) for page in pages] for pages in flowing)
    return (*first, *rods, *end)


def form_pdf(form: BlankForm, *, paper: str = "A4") -> bytes:
    """Return the sheet as a PDF; the same form gives the same bytes.

    Parameters
    ----------
    form : BlankForm
    paper : str
        One of `trackkit.show.form_parts.PAPERS`.
    """
    from reportlab.pdfgen.canvas import Canvas

    pages = form_pages(form, paper=paper)
    store = io.BytesIO()
    size = tuple(side * MM for side in PAPERS[paper])
    canvas = Canvas(store, pagesize=size, invariant=1, initialFontName=PLAIN)
    canvas.setTitle(f"{form.job}: booking sheet")
    canvas.setCreator("trackkit")
    for number, page in enumerate(pages, start=1):
        _draw(canvas, form, page, f"page {number} of {len(pages)}", paper)
        canvas.showPage()
    canvas.save()
    return store.getvalue()


def _draw(canvas: Any, form: BlankForm, page: FormPage, numbered: str, paper: str) -> None:
    width, height = (side * MM for side in PAPERS[paper])
    wide, left = width - 2 * EDGE * MM, EDGE * MM
    laser = f"{page.rods.laser} of {form.lasers}" if page.rods else ""
    y = height - EDGE * MM
    for part in (_head(form, numbered, wide, laser), *page.parts):
        for flowable in part:
            low = y - high(flowable, wide)
            flowable.drawOn(canvas, left, low)
            y = low - INSIDE * MM
        y -= GAP * MM
    foot = _foot(form, rods=page.rods is not None)
    high(foot, wide)
    foot.drawOn(canvas, left, EDGE / 2 * MM)


def _head(form: BlankForm, numbered: str, wide: float, laser: str) -> Part:
    """Return what stands on top of a page: job, page number, boxes, and above rods their unit."""
    share = wide / MM
    name, number = words(form.job, 13, bold=True), words(numbered, 13, bold=True, align="right")
    top = grid([[name, number]], [share - _NUMBER, _NUMBER], heights=[7], lines=False)
    filled = {"laser position": laser} if laser else None
    head = [top, boxes(_HEAD_BOXES, share, filled=filled)]
    if laser:
        head += [
            words(rod_unit(form), 10.5, bold=True),
            words("A LARGER reading is LOWER ground.", 10.5, bold=True),
        ]
    return head


def _foot(form: BlankForm, *, rods: bool) -> Any:
    if rods:
        text = (
            "A row's number is its row in levels_blank.csv: copy that to levels.csv, type the rods into "
            f"{form.rod_column}. Keep rods clear of overhead lines."
        )
    else:
        first = "Local codes, the site's rules and licensed practice come first."
        text = f"{first} Keep rods clear of overhead lines."
    return words(text, SMALLEST)


def _body(form: BlankForm, paper: str, *, rods: bool = False) -> tuple[float, float]:
    """Return width and height that a page has below its head and above its foot [points]."""
    width, height = (side * MM for side in PAPERS[paper])
    wide = width - 2 * EDGE * MM
    head = _head(form, "page 000 of 000", wide, "100 of 100" if rods else "")
    used = sum(high(flowable, wide) + INSIDE * MM for flowable in head) + GAP * MM
    foot = high(_foot(form, rods=rods), wide) + (EDGE / 2 + 1) * MM
    return wide, height - EDGE * MM - used - foot
