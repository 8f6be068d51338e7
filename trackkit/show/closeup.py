"""One support under one rail, close up at true scale, with all that is needed to build it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from trackkit.cribbing.stack import Stack
from trackkit.show.bar_axis import landmark
from trackkit.show.closeup_ground import draw_close_ground, slope_words
from trackkit.show.closeup_shapes import CloseUp, close_up, shows_taper
from trackkit.show.closeup_words import LEAD, draw_words, lettered
from trackkit.show.lettering import fitted, line_height, text_width, wrapped
from trackkit.show.pen import Pen
from trackkit.show.pieces import Shape
from trackkit.show.room import Paper
from trackkit.show.stack_words import short_parts, stack_lines, stack_parts
from trackkit.show.strip import GRAIN
from trackkit.show.style import STYLE
from trackkit.units import DISPLAYS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from trackkit.cribbing.truck import Truck

__all__ = ["draw_stack", "stack_lines"]

#: Room over the picture for what it shows, under it for the ground and for how that slopes [in].
OVER, UNDER, SLOPE = 0.46, 0.24, 0.22
#: Over that for the names of a joint's ties on its rail [in].
NAMES: Final = 0.22
#: Letters are never smaller [points].
LEAST_SIZE: Final = 8.0
#: From the picture's left end to its dimension line, and from that to the figure [in].
DIMENSION: Final = (0.2, 0.1)
#: Size of its figure [points], and half of a stroke across its ends [in].
FIGURE, TICK = 14.0, 0.07
#: How much of a tie with its rail is tie: the track's own figures don't say.
TIE_SHARE: Final = 0.55
#: Half the width of a rail seen end on, and shown beside what is drawn [m].
RAIL, ASIDE = 0.02, 0.06
#: Of paper in a metre.
INCHES: Final = 39.3701


def draw_stack(
    stack: Stack,
    fills: pd.DataFrame,
    *,
    ax: Axes | None = None,
    display: Display = DISPLAYS["mm"],
    view: str | None = None,
    truck: Truck | None = None,
    side_names: Mapping[str, str] | None = None,
    tie_overhang: float = 0.05,
    tie: int | None = None,
) -> Axes:
    """Draw one support from the ground up at true scale, its words beside it, and the whole fill.

    Parameters
    ----------
    stack : Stack
    fills : DataFrame
        A `fill_table`, with the rows of its tie ends: ground, underside, rail, slopes, give or take.
    ax : Axes, optional
        By default a new figure's, 8 by 4.6 in.
    display, side_names
        See `trackkit.show.plots.side_view`.
    view : {'along', 'across'}, optional
        Seen from the side (along the run to the right), or along the run (what is right is right). By
        default the one in which its wedge shows its taper.
    truck : Truck, optional
        For the shapes of the wedges; without it they are drawn as blocks.
    tie_overhang : float
        How far a tie end stands out beyond its rail [m].
    tie : int, optional
        Across: which tie of a joint is looked at; the first by default.

    Returns
    -------
    Axes
        Metres both ways: stations, or how far to the right of the rail; and heights.

    Raises
    ------
    ValueError
        If the view is not known, the stack has no such tie, or the fills lack its rows.
    """
    view = view or shows_taper(stack)
    seen = close_up(stack, fills, view=view, truck=truck, tie_overhang=tie_overhang, tie=tie)
    if ax is None:
        from matplotlib.figure import Figure

        figure = Figure(figsize=(8.0, 4.6), dpi=100, facecolor=STYLE["page"]["facecolor"])
        ax = figure.add_axes((0.02, 0.02, 0.96, 0.96))
    rows = fills[(fills["side"] == stack.side) & fills["tie"].isin(stack.ties)]
    parts = stack_parts(
        stack, display, sds=rows["fill_sd_m"].tolist(), side_names=side_names, tie_overhang=tie_overhang
    )
    wide, tall = (float(size) / ax.figure.dpi for size in (ax.bbox.width, ax.bbox.height))
    over = OVER + (NAMES if _names_ties(seen) else 0.0)
    lettering = lettered(parts, wide, tall - OVER)
    low, high, left, right = _extent(seen)
    fill = display.small(dict(zip(stack.ties, stack.fills, strict=True))[seen.ties[0][0]]).replace("-", "−")
    margin = sum(DIMENSION) + text_width(fill, STYLE["answer"], size=FIGURE) + 0.08
    text = slope_words(seen, display)
    for rows_under in range(1, 5):  # what slopes is said under the picture, which is narrow if it is tall
        foot = UNDER + SLOPE + (rows_under - 1) * line_height(LEAST_SIZE)
        sheet = (wide - lettering.wide - LEAD - margin, tall - over - foot)
        scale = min(max(sheet[0], 0.5) / (right - left), max(sheet[1], 0.5) / (high - low))
        slope, size = _slope_lines(text, margin + (right - left) * scale + LEAD - 0.15)
        if len(slope) <= rows_under:
            break
    spare = max(sheet[1] - (high - low) * scale, 0.0)
    bottom = low - (foot + 0.4 * spare) / scale
    ax.set_xlim(left - margin / scale, left + (wide - margin) / scale)
    ax.set_ylim(bottom, bottom + tall / scale)
    ax.set_axis_off()
    paper = Paper.of(ax)
    with Pen(ax) as pen:
        sheet_corners = ((0.0, 0.0), (wide, 0.0), (wide, tall), (0.0, tall))
        pen.areas(
            "page",
            [[paper.data(*one) for one in sheet_corners]],
            **{**STYLE["page"], "linewidth": 0.0, "zorder": 0.0},
        )
        draw_close_ground(pen, paper, seen, stack, ends=(left, right), floor=low - UNDER / scale)
        _draw_shapes(pen, seen, short_parts(stack))
        _draw_track(pen, seen, (left, right))
        _draw_dimension(pen, paper, seen, fill, left)
        draw_words(pen, paper, lettering, seen, right=right, high=tall - OVER)
        _draw_heading(pen, paper, seen, stack, side_names)
        look = {"va": "center", **STYLE["small"], "fontsize": size}
        y = paper.inch(0.0, low - UNDER / scale)[1] - SLOPE / 2
        for row, line in enumerate(slope):
            name = f"slope-{row}" if row else "slope"
            pen.words(name, line, *paper.data(0.05, y - row * line_height(size)), **look)
    return ax


def _names_ties(seen: CloseUp) -> bool:
    """Return whether the picture names its ties: where it shows both of a joint."""
    return seen.view == "along" and len(seen.ties) > 1


def _slope_lines(text: str, room: float) -> tuple[list[str], float]:
    """Return how the ground slopes in as few lines as it takes, and the size of their letters [points]."""
    look = STYLE["small"]
    size = next((one for one in (9.0, 8.5) if text_width(text, look, size=one) <= room), LEAST_SIZE)
    return wrapped(text, room, look, size=size, lines=4), size


def _extent(seen: CloseUp) -> tuple[float, float, float, float]:
    """Return lowest, highest, leftmost and rightmost of what is drawn [m]."""
    corners = [corner for _, _, shape in seen.shapes for corner in shape.corners]
    ties = [(middle + way * wide / 2, low) for _, middle, wide, low in seen.ties for way in (-1, 1)]
    left, right = (f(place for place, _ in (*corners, *ties)) for f in (min, max))
    left, right = left - ASIDE, right + ASIDE
    grounds = [seen.ground(place) for place in (left, right)]
    heights = [height for _, height in (*corners, *ties)]
    return min(*heights, *grounds, *seen.grounds), max(*heights, *seen.rail_tops), left, right


def _draw_shapes(pen: Pen, seen: CloseUp, short: frozenset[tuple[str, int]]) -> None:
    """Draw the pieces of each kind as one artist, with their grain; what is missing over them."""
    groups: dict[str, list[Shape]] = {}
    for kind, place, shape in seen.shapes:
        groups.setdefault(shape.kind, []).append(shape)
        if (kind, place) in short:
            groups.setdefault("missing", []).append(shape)
    for name, shapes in groups.items():
        pen.areas(name.replace(" ", "-"), [shape.corners for shape in shapes], **STYLE[name])
    strokes = []
    for _, _, shape in seen.shapes:
        (left, low), _, (right, high), *_ = shape.corners
        if shape.kind == "lumber":
            for share, start, stop in GRAIN:
                height, long = low + share * (high - low), right - left
                strokes.append([(left + start * long, height), (left + stop * long, height)])
        elif shape.kind == "lumber end":
            strokes += [[(left, low), (right, high)], [(left, high), (right, low)]]
    pen.strokes("grain", strokes, **STYLE["grain"])


def _draw_track(pen: Pen, seen: CloseUp, ends: tuple[float, float]) -> None:
    """Draw tie ends and the rail on top; across, the tie goes on to the other rail."""
    ties = []
    tops = [low + TIE_SHARE * (top - low) for (*_, low), top in zip(seen.ties, seen.rail_tops, strict=True)]
    for (_, middle, wide, low), top in zip(seen.ties, tops, strict=True):
        left, right = middle - wide / 2, middle + wide / 2
        if seen.view == "across":
            left, right = (left, ends[1]) if seen.outwards < 0 else (ends[0], right)
        ties.append([(left, low), (right, low), (right, top), (left, top)])
    pen.areas("tie", ties, **STYLE["tie"])
    if seen.view == "across":
        low, high = tops[0], seen.rail_tops[0]
        pen.areas("rail", [[(-RAIL, low), (RAIL, low), (RAIL, high), (-RAIL, high)]], **STYLE["rail end"])
        return
    places = [middle for _, middle, _, _ in seen.ties]
    straight = min(len(places) - 1, 1)  # on a grade the rail goes on as it runs from tie to tie
    over, under = (
        np.polyval(np.polyfit(places, heights, straight), ends) for heights in (seen.rail_tops, tops)
    )
    band = [(ends[0], under[0]), (ends[1], under[1]), (ends[1], over[1]), (ends[0], over[0])]
    pen.areas("rail", [band], **STYLE["rail end"])


def _draw_dimension(pen: Pen, paper: Paper, seen: CloseUp, fill: str, left: float) -> None:
    """Draw the whole fill of the first tie in the picture as a dimension at its left."""
    _, middle, _, under = seen.ties[0]
    x = paper.inch(left, 0.0)[0] - DIMENSION[0]
    ends = [paper.data(x, paper.inch(0.0, height)[1]) for height in (seen.grounds[0], under)]
    across, up = (TICK / inches for inches in paper.inches)
    ticks = [[(at - across, height - up), (at + across, height + up)] for at, height in ends]
    pen.strokes("dimension", [ends, *ticks], **STYLE["dimension"])
    pen.strokes(
        "dimension-ends", [[(at - across, high), (middle, high)] for at, high in ends], **STYLE["leader"]
    )
    height = (seen.grounds[0] + under) / 2
    look = {"ha": "right", "va": "center", **STYLE["answer"], "fontsize": FIGURE}
    pen.words("dimension-fill", fill, *paper.data(x - DIMENSION[1], paper.inch(0.0, height)[1]), **look)


def _draw_heading(
    pen: Pen, paper: Paper, seen: CloseUp, stack: Stack, names: Mapping[str, str] | None
) -> None:
    """Write which support it is, from where it is seen, its scale, and over the rail a joint's ties."""
    several = len(stack.ties) > 1
    place = (
        f"{stack.support}, ties {' and '.join(map(str, stack.ties))}" if several else f"tie {stack.ties[0]}"
    )
    word = f"{place}, {landmark(stack.side, names)}"
    word, size = fitted(word, paper.wide - 0.1, STYLE["name"], sizes=(13, 12, 10))
    look = {"va": "center", **STYLE["name"], "fontsize": size}
    pen.words("name", word, *paper.data(0.05, paper.tall - 0.13), **look)
    text = "seen from the side, head on the left"
    if seen.view == "across":
        text = f"seen from the head of the run, outside on the {'left' if seen.outwards < 0 else 'right'}"
        text = f"tie {seen.ties[0][0]} {text}" if several else text
    one = INCHES / paper.inches[0]
    text, size = fitted(f"{text}; to scale 1 : {one:.2g}", paper.wide - 0.1, STYLE["scale"], sizes=(10, 9, 8))
    look = {"va": "center", **STYLE["scale"], "fontsize": size}
    pen.words("scale", text, *paper.data(0.05, paper.tall - 0.34), **look)
    if _names_ties(seen):
        apart = np.diff([paper.inch(middle, 0.0)[0] for _, middle, _, _ in seen.ties]).min()
        names_of = [f"tie {tie}" for tie, *_ in seen.ties]
        if max(text_width(word, STYLE["bold note"]) for word in names_of) + 0.06 > apart:
            names_of = [str(tie) for tie, *_ in seen.ties]
        for word, (tie, middle, _, _), top in zip(names_of, seen.ties, seen.rail_tops, strict=True):
            own = {"ha": "center", "va": "bottom", **STYLE["bold note"]}
            pen.words(f"tie-{tie}", word, middle, top, shift=(0, 3), **own)
