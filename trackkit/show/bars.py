"""Fills as bars, and the chance of every tie end to be the one that the line rests on.

Both have the ties evenly spaced by number, so that one drawn under the other shares its axis.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.layout.grounds import SIDES
from trackkit.show.bar_axis import KEY, draw_key, key_wide, landmark, own_axes, slot, tie_axis, write
from trackkit.show.lettering import fitted, line_height, text_width
from trackkit.show.pen import Pen
from trackkit.show.room import Box, Paper, Room, word_box
from trackkit.show.scales import draw_heights
from trackkit.show.style import INK, STYLE
from trackkit.units import DISPLAYS, LENGTH_UNITS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from trackkit.layout.governing import Governing

__all__ = ["draw_fills", "draw_governing", "per_cent"]

#: Middle of the left and of the right bar, from its tie, and how wide each is, in shares from tie to tie.
OFF, WIDE = {"left": -0.21, "right": 0.21}, 0.36
#: The axis spans at least so much [m].
LEAST: Final = 0.02
#: A fill this much below nothing is rounding [m].
ROUNDING: Final = 1e-9
#: From this chance on a tie end counts as the certain one.
CERTAIN: Final = 0.995


def per_cent(chance: float) -> str:
    """Return a chance in per cent; ``trackkit.advice.chance_words`` says it in plain words."""
    return f"{chance:.0%}"


def draw_fills(
    fills: pd.DataFrame,
    *,
    ax: Axes | None = None,
    display: Display = DISPLAYS["mm"],
    side_names: Mapping[str, str] | None = None,
    lift: float | None = None,
    caution_height: float | None = None,
) -> Axes:
    """Draw the fills of both rails as paired bars by tie, each with its give or take (2 sd).

    The left bar is plain, the right one hatched. What would be in the ground hangs below zero in black,
    hatched white, always with its figure; other figures stand where there is room.

    Parameters
    ----------
    fills : DataFrame
        A `fill_table`.
    ax : Axes, optional
        By default a new figure's, 11 by 3 in.
    display, side_names
        See `trackkit.show.plots.side_view`.
    lift : float, optional
        The line is raised by so much: added to every fill, and what it was is marked [m].
    caution_height : float, optional
        Ruled behind the bars if they come near it, with its words among the signs [m].

    Returns
    -------
    Axes
        Ties by number, heights in the display's unit.
    """
    ax = own_axes(3.0) if ax is None else ax
    scale, raised = 1.0 / LENGTH_UNITS[display.unit], lift or 0.0
    table = fills.assign(now_m=fills["fill_m"] + raised)
    give = 2.0 * table["fill_sd_m"].to_numpy(dtype=float)
    now = table["now_m"].to_numpy(dtype=float)
    high = max(float((now + give).max()), LEAST)
    low = min(float((now - give).min()), 0.0)
    near = caution_height is not None and caution_height < 1.25 * high
    high = max(high, caution_height or 0.0) if near else high
    tie_axis(ax, table["tie"])
    tall = float(ax.bbox.height) / ax.figure.dpi
    figures = [display.small(fill).replace("-", "−") for fill in now]
    longest = max(text_width(figure, STYLE["bold note"]) for figure in figures)
    turned = longest > 0.5 * slot(ax)
    over = (longest if turned else line_height(STYLE["bold note"]["fontsize"])) + 0.16
    foot = over if (now < -ROUNDING).any() else 0.08
    key = [(f"bar {side}", landmark(side, side_names)) for side in SIDES]
    key.append(("whisker", "give or take 2 sd: so 19 times in 20"))
    key += [("before", f"before the line was lifted {display.small_unit(raised)}")] if raised else []
    if near and caution_height is not None:
        key.append(("caution", f"caution from {display.small_unit(caution_height)} up"))
    wide = float(ax.bbox.width) / ax.figure.dpi
    keys = [key] if key_wide(key) <= wide else [key[:2], key[2:]]
    head = len(keys) * KEY
    inch = (high - low) * scale / max(tall - head - over - foot, 0.3)  # of paper, in the axis's unit
    bottom = low * scale - foot * inch
    ax.set_ylim(bottom, bottom + tall * inch)
    paper = Paper.of(ax)
    room = Room(paper.sheet, [Box(0.0, paper.tall - head, paper.wide, paper.tall)])
    with Pen(ax) as pen:
        for row, entries in enumerate(keys):
            draw_key(pen, paper, entries, row=row)
        _draw_bars(pen, table, scale)
        pen.line("zero", ax.get_xlim(), [0.0, 0.0], **STYLE["zero"])
        if near and caution_height is not None:  # behind the bars, and behind figures, which clear it
            pen.line("caution", ax.get_xlim(), [caution_height * scale] * 2, **STYLE["caution"])
        _draw_figures(pen, paper, room, table.assign(figure=figures), scale, turned=turned)
    draw_heights(ax, display, low=bottom, high=high * scale)
    ax.yaxis.label.set_text(f"fill, {display.unit}")
    return ax


def _draw_bars(pen: Pen, table: pd.DataFrame, scale: float) -> None:
    strokes, before = [], []
    deep: list[NDArray[np.float64]] = []
    for side in SIDES:
        own = table[table["side"] == side]
        bars: list[NDArray[np.float64]] = []
        for tie, was, now, sd in zip(own["tie"], own["fill_m"], own["now_m"], own["fill_sd_m"], strict=True):
            middle, top = tie + OFF[side], now * scale
            left, right, give = middle - WIDE / 2, middle + WIDE / 2, 2.0 * sd * scale
            box = np.array([(left, 0.0), (right, 0.0), (right, top), (left, top)])
            (deep if now < -ROUNDING else bars).append(box)
            strokes += [[(middle, top - give), (middle, top + give)]]
            strokes += [[(middle - 0.07, top + way), (middle + 0.07, top + way)] for way in (-give, give)]
            if now != was:
                before.append([(left, was * scale), (right, was * scale)])
        pen.areas(f"{side}-fills", bars, **STYLE[f"bar {side}"])
    pen.areas("negative", deep, **STYLE["negative"])
    pen.strokes("whiskers", strokes, **STYLE["whisker"])
    if before:
        pen.strokes("before", before, **STYLE["before"])


def _draw_figures(
    pen: Pen, paper: Paper, room: Room, table: pd.DataFrame, scale: float, *, turned: bool
) -> None:
    """Write the figures: those in the ground first, then from the largest down, where there is room."""
    look = STYLE["bold note"]
    bars = [paper.inch(tie + OFF[side], 0.0) for tie, side in zip(table["tie"], table["side"], strict=True)]
    ends = (np.abs(table["now_m"]) + 2.0 * table["fill_sd_m"]).to_numpy() * scale * paper.inches[1]
    signs = np.where(table["now_m"] < -ROUNDING, -1.0, 1.0)
    thin = WIDE / 2 * paper.inches[0] - 0.01
    for (x, y), end, sign in zip(bars, ends, signs, strict=True):
        room.taken.append(Box(x - thin, min(y, y + sign * end), x + thin, max(y, y + sign * end)))
    for row in np.lexsort((-np.abs(table["now_m"]), signs)):
        (x, y), sign, word = bars[row], signs[row], str(table["figure"].iloc[row])
        name = f"fill-{table['tie'].iloc[row]}-{table['side'].iloc[row]}"
        half = (text_width(word, look) + 0.06 if turned else line_height(look["fontsize"])) / 2
        away = y + sign * (ends[row] + half + 0.03)
        steps = range(12 if sign < 0 else 1)  # one in the ground must be written, however far down
        spots = [
            word_box(word, look, x + shift, away + sign * step * 0.1, turned=turned)
            for step in steps
            for shift in (0.0, -0.04, 0.04, -0.08, 0.08)
        ]
        box = room.first(spots) or (spots[0] if sign < 0 else None)
        if box is None:
            continue
        own: dict[str, Any] = {"rotation": 90 if turned else 0, "bbox": STYLE["clear"]}
        if sign < 0:
            own |= {"color": "white", "bbox": STYLE["negative figure"]}
        write(pen, paper, name, word, box, "bold note", **own)


def draw_governing(
    governing: Governing,
    *,
    ax: Axes | None = None,
    display: Display = DISPLAYS["mm"],
    side_names: Mapping[str, str] | None = None,
    words: Callable[[float], str] = per_cent,
    least: float = 0.1,
) -> Axes:
    """Draw the chance of every tie end to be a point that the line rests on.

    Parameters
    ----------
    governing : Governing
    ax : Axes, optional
        By default a new figure's, 11 by 2.2 in.
    display, side_names
        See `trackkit.show.plots.side_view`.
    words : callable
        From a chance to how it is said.
    least : float
        From this chance on it is written at its bar.

    Returns
    -------
    Axes
        Ties by number as in `draw_fills`, chances from 0 to 1.
    """
    ax = own_axes(2.2) if ax is None else ax
    table = governing.table
    tie_axis(ax, table["tie"])
    tall = float(ax.bbox.height) / ax.figure.dpi
    inch = 1.0 / max(tall - 2 * KEY - 0.2, 0.3)
    ax.set_ylim(0.0, tall * inch)
    paper = Paper.of(ax)
    room = Room(paper.sheet, [Box(0.0, paper.tall - 2 * KEY, paper.wide, paper.tall)])
    chances = table["chance"].to_numpy(dtype=float)
    with Pen(ax) as pen:
        draw_key(pen, paper, [(f"bar {side}", landmark(side, side_names)) for side in SIDES])
        for side in SIDES:
            own = table[table["side"] == side]
            bars = [
                [(at - WIDE / 2, 0), (at + WIDE / 2, 0), (at + WIDE / 2, high), (at - WIDE / 2, high)]
                for at, high in zip(own["tie"] + OFF[side], own["chance"], strict=True)
                if high > 0
            ]
            pen.areas(f"{side}-chances", bars, **STYLE[f"bar {side}"])
            for tie, high in zip(own["tie"], own["chance"], strict=True):
                (left, _), (right, top) = (
                    paper.inch(tie + OFF[side] + way, high) for way in (-WIDE / 2, WIDE / 2)
                )
                room.taken.append(Box(left + 0.01, 0.0, right - 0.01, top))
        text, size = fitted(
            _statement(governing, side_names, words),
            paper.wide - 0.1,
            STYLE["bold note"],
            sizes=(11, 10, 9, 8.5),
        )
        look = {**STYLE["bold note"], "fontsize": size}
        pen.words("statement", text, *paper.data(0.05, paper.tall - 1.5 * KEY), va="center", **look)
        for row in np.argsort(-chances, kind="stable"):
            if chances[row] < least:
                break
            tie, side = int(table["tie"].iloc[row]), str(table["side"].iloc[row])
            x_in, y_in = paper.inch(tie + OFF[side], chances[row])
            word = words(float(chances[row]))
            half = text_width(word, STYLE["note"]) / 2 + 0.12
            beside = WIDE / 2 * paper.inches[0] - 0.1
            spots = [(x_in + way * half, y_in + 0.1) for way in (0.0, 0.5, -0.5, 0.9, -0.9)]
            spots += [(x_in + way * (half + beside), y_in - 0.08) for way in (1.0, -1.0)]
            box = room.first(word_box(word, STYLE["note"], *spot) for spot in spots)
            if box is not None:
                write(pen, paper, f"chance-{tie}-{side}", word, box, "note", bbox=STYLE["clear"])
        pen.line("zero", ax.get_xlim(), [0.0, 0.0], **STYLE["zero"])
    ax.set_yticks([0.0, 0.5, 1.0], ["never", "half", "always"])
    ax.tick_params(colors=INK, labelsize=8.5)
    ax.spines["left"].set_bounds(0.0, 1.0)
    wide = float(ax.bbox.width) / ax.figure.dpi
    ax.set_ylabel("chance", color=INK, fontsize=9)
    ax.yaxis.set_label_coords(-0.52 / wide, 0.5 / (tall * inch))
    return ax


def _statement(
    governing: Governing, side_names: Mapping[str, str] | None, words: Callable[[float], str]
) -> str:
    """Return what the bars say in one sentence."""
    table = governing.table.sort_values("chance", ascending=False, kind="stable")
    sure = table[table["chance"] >= CERTAIN].sort_values(["tie", "side"])
    names = [
        f"tie {tie} {landmark(side, side_names)}" for tie, side in zip(sure["tie"], sure["side"], strict=True)
    ]
    if names:
        return f"The line rests on {' and '.join(names)}: all but certain."
    best = table.iloc[0]
    name = f"tie {best['tie']} {landmark(str(best['side']), side_names)}"
    chance = words(float(best["chance"]))
    if not governing.likeliest.startswith("tie "):
        return f"The line most likely rests on {governing.likeliest}; of the ties on {name}: {chance}."
    return f"The line most likely rests on {name}: {chance}."
