"""The page around the strips: title, the large numbers, and what the signs mean."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count
from typing import TYPE_CHECKING, Any, Final

from trackkit.show.lettering import fitted, line_height, plain, text_width, wrapped
from trackkit.show.pen import Pen
from trackkit.show.scene import Scene
from trackkit.show.style import INK, PAPER, STYLE

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["draw_header", "draw_legend", "draw_signs", "header_height", "legend_entries", "legend_height"]

#: Sizes that an answer is tried in; the last in two lines.
ANSWERS: Final = (22.0, 18.0, 15.0, 10.0)
#: Pages from this height on have room for the largest [in].
TALL: Final = 7.0
#: Room for the title, and for the name of the upper strip [in].
TITLE, NAME = 0.24, 0.27
#: What a kind of shape is called.
_KINDS: Final = {
    "box": "box", "lumber": "lumber", "lumber end": "lumber, end on", "ply": "ply", "pad": "pad",
    "shim": "shims", "wedge": "wedge", "pair": "pair of wedges", "seat": "packed level", "fill": "fill",
    "negative": "tie in the ground", "missing": "not on the truck", "none": "no stack: see STOP",
}  # fmt: skip


def _sizes(tall: float) -> tuple[float, ...]:
    """Return the sizes in which answers are tried on a page of this height [points]."""
    return ANSWERS if tall >= TALL else ANSWERS[1:]


def header_height(title: str, headline: Sequence[tuple[str, str]], tall: float) -> float:
    """Return the room over the strips on a page of a height [in]; the upper strip's name stands in it."""
    large = line_height(_sizes(tall)[0]) + line_height(STYLE["question"]["fontsize"]) + 0.08
    return 0.1 + (TITLE if title else 0.0) + (large if headline else 0.0) + NAME


def draw_header(pen: Pen, size: tuple[float, float], title: str, headline: Sequence[tuple[str, str]]) -> None:
    """Write the title, and the questions with their answers in large type, side by side.

    Parameters
    ----------
    pen : Pen
        Of the figure.
    size : tuple of float
        Of the page [in].
    title : str
    headline : sequence of (what, number)
    """
    wide, tall = size
    left, room = PAPER["left"], wide - PAPER["left"] - PAPER["right"]
    top = 0.1
    if title:
        word, points = fitted(title, room, STYLE["title"], sizes=(11.5, 10, 9))
        _write(pen, tall, "title", "title", word, points, left, top)
        top += TITLE
    for place, (what, answer) in enumerate(headline):
        each = room / len(headline)
        x, own = left + place * each, each - 0.15
        word, points = fitted(what, own, STYLE["question"], sizes=(10, 9, 8))
        _write(pen, tall, "question", f"question-{place + 1}", word, points, x, top)
        answer, sizes = plain(answer), _sizes(tall)
        fits = [points for points in sizes[:-1] if text_width(answer, STYLE["answer"], size=points) <= own]
        points = fits[0] if fits else sizes[-1]
        lines = [answer] if fits else wrapped(answer, own, STYLE["answer"], size=points, lines=2)
        under = top + line_height(STYLE["question"]["fontsize"]) + 0.03
        _write(pen, tall, "answer", f"answer-{place + 1}", "\n".join(lines), points, x, under)


def _write(
    pen: Pen, tall: float, look: str, name: str, text: str, points: float, x: float, top: float
) -> None:
    """Write a text with its upper left corner so far from the page's left and top [in]."""
    for place, line in enumerate(text.split("\n")):  # by base lines: letters that hang must not lift a line
        base = top + line_height(points) * (0.8 + place)
        own = {**STYLE[look], "fontsize": points}
        pen.words(f"{name}-{place}" if place else name, line, x, tall - base, **own)


def legend_entries(scenes: Sequence[Scene]) -> list[tuple[str, str]]:
    """Return style and words of every sign that these scenes show, and of no other."""
    shapes = [shape for scene in scenes for shape in (*scene.shapes, *scene.negative)]
    there = {shape.kind for shape in shapes} | ({"missing"} if any(s.missing for s in shapes) else set())
    entries = [
        ("ground", "ground"),
        ("doubt", "give or take 2 sd: the ground is here 19 times in 20"),
        ("line", "finished line, under the ties"),
        ("reference", f"set from {scenes[0].line.reference}"),
        ("height mark", "rail's top, height over the datum"),
    ]
    entries += [(kind, word) for kind, word in _KINDS.items() if kind in there]
    if len(scenes[0].run.joints):
        entries.append(("joint", "joint"))
    if any(scene.breaks for scene in scenes):
        entries.append(("break", "break: kerb, edge or ditch"))
    return entries


def _rows(entries: Sequence[tuple[str, str]], room: float) -> list[list[tuple[str, str, float]]]:
    """Return the entries by row, each with the width it takes [in]."""
    rows: list[list[tuple[str, str, float]]] = [[]]
    left = room
    for style, word in entries:
        word, _ = fitted(word, room - PAPER["swatch"] - 0.3, STYLE["legend"])
        width = PAPER["swatch"] + 0.07 + text_width(word, STYLE["legend"]) + 0.2
        if width > left and rows[-1]:
            rows.append([])
            left = room
        rows[-1].append((style, word, width))
        left -= width
    return rows


def legend_height(entries: Sequence[tuple[str, str]], wide: float) -> float:
    """Return the room the legend takes [in]."""
    rows = _rows(entries, wide - PAPER["left"] - PAPER["right"])
    return len(rows) * _pitch() + 0.1


def _pitch() -> float:
    return line_height(STYLE["legend"]["fontsize"]) + 0.07


def draw_legend(pen: Pen, wide: float, entries: Sequence[tuple[str, str]]) -> None:
    """Draw the signs with their words, in rows at the foot of a page so wide [in]."""
    rows = _rows(entries, wide - PAPER["left"] - PAPER["right"])
    for number, row in enumerate(reversed(rows)):
        x, y = PAPER["left"], 0.1 + _pitch() * (number + 0.4)
        for style, word, width in row:
            _swatch(pen, style, x, y)
            name = f"legend-{style.replace(' ', '-')}"
            after = x + PAPER["swatch"] + 0.07
            pen.words(name, word, after, y, va="center_baseline", **STYLE["legend"])
            x += width


def draw_signs(entries: Sequence[tuple[str, str]], *, figure: Figure) -> None:
    """Make a figure of the signs alone, as high as they need, for a side view that has no legend."""
    from matplotlib import style

    with style.context("default"):
        wide = float(figure.get_size_inches()[0])
        figure.set_size_inches(wide, legend_height(entries, wide))
        figure.set_facecolor(STYLE["page"]["facecolor"])
        with Pen(figure) as pen:
            draw_legend(pen, wide, entries)


def _swatch(pen: Pen, style: str, x: float, y: float) -> None:
    """Draw one sign in the legend, its left end at x, its middle at height y [in]."""
    wide, high = PAPER["swatch"], 0.11
    low, top, right = y - high / 2, y + high / 2, x + wide
    parts = count()

    def name() -> str:
        return f"swatch-{style.replace(' ', '-')}-{next(parts)}"

    def stroke(look: str, *points: tuple[float, float], **own: Any) -> None:
        keep = {key: value for key, value in STYLE[look].items() if key != "zorder"}
        pen.line(name(), *zip(*points, strict=True), **{**keep, **own})

    def area(look: str, *corners: tuple[float, float]) -> None:
        pen.areas(name(), [corners], **{key: v for key, v in STYLE[look].items() if key != "zorder"})

    box = ((x, low), (right, low), (right, top), (x, top))
    if style == "ground":
        area("ground", *box)
        stroke("surface", (x, top), (right, top))
        for place in range(3):
            at = x + 0.13 + place * PAPER["strokes"]
            stroke("earth", (at, top), (at - 0.08, top - 0.08))
    elif style == "doubt":
        area("doubt", *box)
        stroke("doubt edge", (x, low), (right, low))
        stroke("doubt edge", (x, top), (right, top))
    elif style == "line":
        stroke("line", (x, y), (right, y))
    elif style in ("reference", "height mark"):
        fill = INK if style == "reference" else "white"
        stroke("height mark", (x + wide / 2, low), markerfacecolor=fill, markersize=16)
    elif style == "wedge":
        area("wedge", (x, low), (right, low), (right, top))
    elif style == "pair":
        area("pair", (x, low), (right, low), (x, top))
        area("pair", (right, low), (right, top), (x, top))
    elif style in ("joint", "break"):
        stroke(style, (x + wide / 2, low - 0.02), (x + wide / 2, top + 0.02))
    else:
        area(style, *box)
    if style == "lumber":
        stroke("grain", (x + 0.03, y - 0.02), (right - 0.05, y - 0.02))
        stroke("grain", (x + 0.06, y + 0.02), (right - 0.02, y + 0.02))
    elif style == "lumber end":
        stroke("grain", (x, low), (right, top))
        stroke("grain", (x, top), (right, low))
