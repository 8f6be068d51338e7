"""What the strip from above shows of the ground: kinds of ground, edges, and what stands in the way."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from trackkit.show.lettering import fitted, text_width
from trackkit.show.room import Box, word_box
from trackkit.show.style import STYLE
from trackkit.tables.rows import rows_of

if TYPE_CHECKING:
    from trackkit.show.pen import Pen
    from trackkit.show.room import Paper, Room

__all__ = ["draw_breaks", "draw_grounds", "draw_obstacles"]

#: Written in a zone where nothing may stand.
NOT_HERE: Final = "nothing may stand here"
#: A note on an obstacle is cut to this width [in].
LONGEST_NOTE: Final = 2.2


def draw_grounds(
    pen: Pen, paper: Paper, room: Room, zones: pd.DataFrame | None, reach: tuple[float, float]
) -> None:
    """Draw zones as faint bands with their kind of ground, hatched where nothing may stand.

    Parameters
    ----------
    pen, paper, room
        What to draw on, and what is taken there already.
    zones : DataFrame or None
        from_m, to_m, side ('' for both), ground, support.
    reach : tuple of float
        How far the picture goes to the right (negative) and to the left [m].
    """
    if zones is None or zones.empty:
        return
    kinds = list(dict.fromkeys(str(name) for name in zones["ground"]))
    low, high = paper.low[0], paper.low[0] + paper.wide / paper.inches[0]
    for place, zone in enumerate(rows_of(zones)):
        start, stop = max(zone.from_m, low), min(zone.to_m, high)
        if stop <= start:
            continue
        bottom, top = (0.0 if zone.side == "left" else reach[0]), (0.0 if zone.side == "right" else reach[1])
        look = STYLE["no stand" if not zone.support else ("zone", "other zone")[kinds.index(zone.ground) % 2]]
        corners = [(start, bottom), (stop, bottom), (stop, top), (start, top)]
        inner = {"linewidth": 0.0} if zone.support else {}  # its ends are ruled, not the run's middle
        pen.areas(f"zone-{place}", [corners], **{**look, **inner})
        rules = [[(at, bottom), (at, top)] for at in (zone.from_m, zone.to_m) if low < at < high]
        pen.strokes(f"zone-{place}-ends", rules, **STYLE["rule"])
        word = str(zone.ground) if zone.support else NOT_HERE
        left, right = paper.inch(start, 0.0)[0], paper.inch(stop, 0.0)[0]
        if not word or (zone.support and text_width(word, STYLE["note"]) > right - left - 0.1):
            continue
        edge = bottom if zone.side == "right" else top
        y = paper.inch(0.0, edge)[1] + (0.1 if zone.side == "right" else -0.1)
        half = text_width(word, STYLE["note"]) / 2 + 0.08
        middle, quarter = (left + right) / 2, (right - left) / 4
        spots = [right - half, middle, left + half, middle + quarter, middle - quarter]
        if not zone.support:  # it must be said, if need be beside it
            spots = [middle, right - half, left + half, left - half, right + half]
        inward = 0.14 if zone.side == "right" else -0.14
        boxes = (word_box(word, STYLE["note"], x, y + step) for step in (0.0, inward) for x in spots)
        _write(pen, paper, f"zone-{place}-word", word, room.first(boxes))


def draw_breaks(
    pen: Pen,
    paper: Paper,
    room: Room,
    breaks: Sequence[tuple[float, float]],
    reach: tuple[float, float],
    width: float,
) -> None:
    """Draw each edge as the straight line through where it meets the left and the right side.

    Parameters
    ----------
    pen, paper, room, reach
        See `draw_grounds`.
    breaks : sequence of (float, float)
        Left and right stations, NaN where it meets only the other side [m].
    width : float
        Distance of the two sides [m].
    """
    for place, (left, right) in enumerate(breaks):
        if not (np.isfinite(left) or np.isfinite(right)):
            continue
        aside = np.array([reach[1] if np.isfinite(left) else 0.0, reach[0] if np.isfinite(right) else 0.0])
        slant = (left - right) / width if np.isfinite(left + right) else 0.0
        middle = (left + right) / 2 if np.isfinite(left + right) else np.nanmax([left, right])
        stations = middle + slant * aside
        pen.line(f"break-{place}", stations, aside, **STYLE["break"])
        corners = [paper.inch(float(at), float(off)) for at, off in zip(stations, aside, strict=True)]
        (a, b), (c, d) = corners
        for share in np.linspace(0.0, 1.0, 9):
            x, y = a + share * (c - a), b + share * (d - b)
            room.taken.append(Box(x - 0.03, y - 0.05, x + 0.03, y + 0.05))
        word = "break"
        half = text_width(word, STYLE["bold note"]) / 2 + 0.1
        spots = [(a + half, b - 0.12), (a - half, b - 0.12), (c + half, d + 0.12), (c - half, d + 0.12)]
        box = room.first(word_box(word, STYLE["bold note"], x, y) for x, y in spots)
        _write(pen, paper, f"break-{place}-word", word, box, "bold note")


def draw_obstacles(pen: Pen, paper: Paper, room: Room, obstacles: pd.DataFrame | None) -> None:
    """Draw a cross where something stands in the way, with its note where there is room."""
    if obstacles is None or obstacles.empty:
        return
    for place, row in enumerate(rows_of(obstacles)):
        pen.line(f"obstacle-{place}", [row.station_m], [-row.offset_m], **STYLE["obstacle"])
        x, y = paper.inch(row.station_m, -row.offset_m)
        room.taken.append(Box(x - 0.08, y - 0.08, x + 0.08, y + 0.08))
        word, _ = fitted(str(row.note) or "obstacle", LONGEST_NOTE, STYLE["bold note"])
        box = room.beside(word, STYLE["bold note"], x, y, far=0.6)
        _write(pen, paper, f"obstacle-{place}-word", word, box, "bold note")


def _write(pen: Pen, paper: Paper, name: str, word: str, box: Box | None, style: str = "note") -> None:
    """Write a word into its box, if it has one."""
    if box is not None:
        look: dict[str, Any] = {"ha": "center", "va": "center", "bbox": STYLE["clear"], **STYLE[style]}
        pen.words(name, word, *paper.data(*box.middle), **look)
