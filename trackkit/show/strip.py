"""One rail's strip on the paper: how much room each part takes, and every part drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from trackkit.show.ground_body import draw_ground
from trackkit.show.lettering import Figures, fitted, lay_figures, line_height, text_width
from trackkit.show.marks import Flag, draw_flags, draw_height_marks, lay_flags
from trackkit.show.pen import Pen
from trackkit.show.pieces import Shape
from trackkit.show.scales import exaggeration_words, rule_heights, rule_stations
from trackkit.show.scene import ROUNDING, Scene
from trackkit.show.style import PAPER, STYLE
from trackkit.units import LENGTH_UNITS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Layout", "draw_strip", "lay_out_strips"]

#: Grain strokes in a piece of lumber: how high, in shares of its thickness, and how far from its ends.
GRAIN: Final = ((0.3, 0.03, 0.80), (0.62, 0.12, 0.97))
#: At most so much of a strip's height is for figures.
MOST_FOOT: Final = 0.42
#: The heights get at least so much [in], however much the words take.
LEAST_BODY: Final = 0.2


@dataclass(frozen=True)
class Layout:
    """How one strip is divided.

    Attributes
    ----------
    figures : Figures
    flags : tuple of Flag
    wide, tall : float
        Of the strip [in].
    foot, head : float
        Room for figures below the ground, and for words over the rails [in].
    up : float
        Inches of paper in a metre of height.
    """

    figures: Figures
    flags: tuple[Flag, ...]
    wide: float
    tall: float
    foot: float
    head: float
    up: float


def fill_words(scene: Scene, display: Display) -> list[str]:
    """Return the fills as they are written, with a true minus."""
    return [display.small(float(fill)).replace("-", "−") for fill in scene.fills["fill_m"]]


def lay_out_strips(scenes: Sequence[Scene], axes: Sequence[Axes], display: Display) -> tuple[Layout, ...]:
    """Return how strips are divided: one scale of heights, and one room for words, for all of them."""
    parts = []
    for scene, ax in zip(scenes, axes, strict=True):
        wide, tall = (float(size) / ax.figure.dpi for size in (ax.bbox.width, ax.bbox.height))
        low, high = scene.ends
        per_metre = wide / (high - low)
        centres = (scene.fills["station_m"].to_numpy(dtype=float) - low) * per_metre
        numbers = [str(tie) for tie in scene.fills["tie"]]
        figures = lay_figures(centres, numbers, fill_words(scene, display), wide=wide, room=MOST_FOOT * tall)
        parts.append((wide, tall, figures, lay_flags(scene, per_metre)))
    foot = max(figures.height for _, _, figures, _ in parts)
    rows = max((flag.row + 1 for *_, flags in parts for flag in flags), default=0)
    head = PAPER["over"] + rows * PAPER["flag"]
    up = min(
        max(tall - foot - head - PAPER["depth"], LEAST_BODY) / scene.span
        for scene, (_, tall, _, _) in zip(scenes, parts, strict=True)
    )
    return tuple(Layout(figures, flags, wide, tall, foot, head, up) for wide, tall, figures, flags in parts)


def draw_strip(
    ax: Axes, scene: Scene, layout: Layout, *, display: Display, name: str = "", stations: bool = True
) -> None:
    """Draw one rail's strip; heights are in the display's unit, stations in metres.

    Parameters
    ----------
    ax : Axes
    scene : Scene
    layout : Layout
    display : Display
    name : str
        Written over it.
    stations : bool
        Whether a scale of stations stands under it.
    """
    scale = 1.0 / LENGTH_UNITS[display.unit]
    inch = scale / layout.up  # of paper, in units of the height axis
    low, high = scene.ends
    across = layout.wide / (high - low)
    floor = scene.lowest * scale - PAPER["depth"] * inch
    bottom = floor - layout.foot * inch
    ax.set_xlim(low, high)
    ax.set_ylim(bottom, bottom + layout.tall * inch)
    ax.set_facecolor(STYLE["page"]["facecolor"])
    ax.xaxis.set_visible(False)
    top = max(bottom + (layout.tall - layout.head) * inch, scene.highest * scale) + PAPER["over"] * inch
    with Pen(ax) as pen:
        draw_ground(pen, scene, floor=floor, scale=scale, inches=(across, 1.0 / inch))
        _draw_track(pen, scene, scale)
        _draw_shapes(pen, scene, scale)
        draw_flags(pen, scene, layout.flags, floor=floor, top=top, row=PAPER["flag"] * inch)
        draw_height_marks(pen, scene, display=display, per_metre=across)
        _draw_figures(pen, scene, layout, display, floor=floor, inch=inch)
        rule_heights(pen, ax, scene.side, display, low=floor, high=top)
        if stations:
            rule_stations(pen, ax, scene.side, scene.run, display)
        _draw_heading(pen, scene.side, layout, name, exaggeration_words(layout.up / across))


def _draw_track(pen: Pen, scene: Scene, scale: float) -> None:
    line, run = scene.line, scene.run
    knots = np.unique(np.concatenate([line.knots_station, [run.head, run.tail]]))
    pen.line(f"{scene.side}-line", knots, line.height(knots) * scale, **STYLE["line"])
    pen.line(f"{scene.side}-rail", knots, line.rail_top(knots) * scale, **STYLE["rail"])
    ties = zip(*(scene.fills[key] for key in ("station_m", "bearing_m", "line_m", "rail_top_m")), strict=True)
    boxes = [
        [(at - wide / 2, low), (at + wide / 2, low), (at + wide / 2, high), (at - wide / 2, high)]
        for at, wide, low, high in ties
    ]
    corners = np.asarray(boxes, dtype=float) * (1.0, scale)
    pen.areas(f"{scene.side}-ties", list(corners), **STYLE["tie"])


def _draw_shapes(pen: Pen, scene: Scene, scale: float) -> None:
    """Draw all pieces of a kind as one artist, from the ground up along the run."""
    every = (*scene.shapes, *scene.negative)
    groups: dict[str, list[Shape]] = {}
    for shape in every:
        groups.setdefault(shape.kind, []).append(shape)
    groups["missing"] = [shape for shape in every if shape.missing]
    for kind, shapes in groups.items():
        if shapes:
            corners = [np.array(shape.corners) * (1.0, scale) for shape in shapes]
            pen.areas(f"{scene.side}-{kind.replace(' ', '-')}", corners, **STYLE[kind])
    strokes = []
    for shape in scene.shapes:
        (left, low), _, (right, high), _ = shape.corners if len(shape.corners) == 4 else ((0.0, 0.0),) * 4
        if shape.kind == "lumber":
            for share, start, stop in GRAIN:
                height = (low + share * (high - low)) * scale
                long = right - left
                strokes.append([(left + start * long, height), (left + stop * long, height)])
        elif shape.kind == "lumber end":
            strokes.append([(left, low * scale), (right, high * scale)])
            strokes.append([(left, high * scale), (right, low * scale)])
    if strokes:
        pen.strokes(f"{scene.side}-grain", strokes, **STYLE["grain"])


def _draw_figures(
    pen: Pen, scene: Scene, layout: Layout, display: Display, *, floor: float, inch: float
) -> None:
    """Write tie and fill under every support, and at the left what they are."""
    figures, low = layout.figures, scene.ends[0]
    across = layout.wide / (scene.ends[1] - low)
    pen.line(f"{scene.side}-floor", scene.ends, [floor, floor], **STYLE["rule"])
    places = low + figures.at / across
    tips = floor - PAPER["lead"] * inch
    ties = scene.fills["station_m"].to_numpy(dtype=float)
    leaders = [
        [(tie, floor), (at, tips)] for tie, at, row in zip(ties, places, figures.row, strict=True) if row == 0
    ]
    pen.strokes(f"{scene.side}-leaders", leaders, **STYLE["leader"])
    small = line_height(STYLE["tie number"]["fontsize"]) * inch
    look: dict[str, Any] = {"ha": "center", "va": "top", **STYLE["figure"], "fontsize": figures.size}
    fills = zip(scene.fills["tie"], scene.fills["fill_m"], fill_words(scene, display), strict=True)
    for (tie, fill, word), at, row in zip(fills, places, figures.row, strict=True):
        head = tips - row * figures.row_height * inch
        name, own = f"{scene.side}-tie-{tie}", dict(look)
        if fill < -ROUNDING:
            own |= {"color": "white", "bbox": STYLE["negative figure"]}
        elif tie in scene.short:
            own["bbox"] = STYLE["short figure"]
        if figures.turned:
            pen.words(f"{name}-fill", f"{tie}:  {word}", at, head, rotation=90, **own)
            continue
        pen.words(name, str(tie), at, head, ha="center", va="top", **STYLE["tie number"])
        pen.words(f"{name}-fill", word, at, head - small, rotation=0, **own)
    words = [f"tie: fill, {display.unit}"] if figures.turned else ["tie", f"fill, {display.unit}"]
    for row in range(1 if figures.turned else figures.rows):
        head = tips - row * figures.row_height * inch
        for place, word in enumerate(words):
            pen.words(
                f"{scene.side}-heading-{row}-{place}", word, low, head - place * small, shift=(-5, 0),
                ha="right", va="top", rotation=90 if figures.turned else 0, **STYLE["heading"],
            )  # fmt: skip


def _draw_heading(pen: Pen, side: str, layout: Layout, name: str, scale: str) -> None:
    """Write whose rail this is, and how much too tall it is drawn, over the strip."""
    room = layout.wide - text_width(scale, STYLE["scale"]) - 0.2
    if name:
        word, size = fitted(name, room, STYLE["name"], sizes=(12, 10.5, 9))
        look = {**STYLE["name"], "fontsize": size}
        pen.words(f"{side}-name", word, 0, 1, coords="axes fraction", shift=(0, 3), va="bottom", **look)
    look = {"ha": "right", "va": "bottom", **STYLE["scale"]}
    pen.words(f"{side}-scale", scale, 1, 1, coords="axes fraction", shift=(0, 3), **look)
