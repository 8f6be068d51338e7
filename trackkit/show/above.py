"""The strip from above: where ties, joints and footprints lie, where people walk, where wedges go in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from trackkit.layout.grounds import SIDES
from trackkit.layout.laid import Run
from trackkit.show.above_ground import draw_breaks, draw_grounds, draw_obstacles
from trackkit.show.above_layout import picture_ends, reach_aside, under_track
from trackkit.show.bar_axis import landmark, own_axes
from trackkit.show.footprints import Foot, Push, outwards
from trackkit.show.lettering import text_width
from trackkit.show.pen import Pen
from trackkit.show.room import Box, Paper, Room, word_box
from trackkit.show.scales import draw_stations
from trackkit.show.style import INK, STYLE
from trackkit.units import DISPLAYS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from trackkit.cribbing.results import StackPlan
    from trackkit.layout.finished import FinishedLine

__all__ = ["across_words", "draw_above"]

#: How far a tie end stands out beyond its rail, as in the rules of stacks [m].
TIE_OVERHANG: Final = 0.05
#: Rows of words over the track, and room under it for the ties' numbers [in].
ROW, OVER, UNDER = 0.17, 0.56, 0.4
#: From one edge of a rail to the other, and an arrow from its tip to its back and half its width [in].
RAIL, ARROW = 0.045, (0.13, 0.065)
#: From an end of the run to the middle of its turned word [in].
TURNED: Final = 0.12


def across_words(times: float) -> str:
    """Return how much too wide the track is drawn, in words.

    Examples
    --------
    >>> across_words(3.1), across_words(0.5), across_words(1.0)
    ('across: 3 times too wide', 'across: 2 times too narrow', 'across and along to one scale')
    """
    if abs(times - 1.0) < 0.05:
        return "across and along to one scale"
    size, word = (times, "wide") if times > 1.0 else (1.0 / times, "narrow")
    return f"across: {size:.{0 if size >= 3 else 1}f} times too {word}".replace(".0 ", " ")


@dataclass(frozen=True, eq=False)
class _View:
    """What all parts of the picture are drawn with."""

    run: Run
    pen: Pen
    paper: Paper
    room: Room
    reach: tuple[float, float]

    def write(self, name: str, word: str, box: Box | None, style: str = "note", **own: Any) -> None:
        """Write a word into its box, if it has one."""
        if box is not None:
            look = {"ha": "center", "va": "center", "bbox": STYLE["clear"], **STYLE[style], **own}
            self.pen.words(name, word, *self.paper.data(*box.middle), **look)

    def row_box(self, word: str, style: str, station: float, row: int) -> list[Box]:
        """Return places for a word at a station in a row over the track, and in those over it."""
        x = self.paper.inch(station, 0.0)[0]
        half = text_width(word, STYLE[style]) / 2 + 0.07
        tops = [self.paper.tall - (0.5 + up) * ROW for up in range(row, -1, -1)]
        return [word_box(word, STYLE[style], x + shift, y) for y in tops for shift in (0.0, half, -half)]


def draw_above(
    run: Run,
    line: FinishedLine | None,
    fills: pd.DataFrame,
    stacks: StackPlan | None = None,
    *,
    ax: Axes | None = None,
    display: Display = DISPLAYS["mm"],
    side_names: Mapping[str, str] | None = None,
    walk: str | None = None,
    breaks: Sequence[tuple[float, float]] = (),
    zones: pd.DataFrame | None = None,
    obstacles: pd.DataFrame | None = None,
    width: float = 0.62,
    ends: tuple[float, float] | None = None,
    tie_overhang: float = TIE_OVERHANG,
) -> Axes:
    """Draw the track from above, the left rail above the right one, along the side view's stations.

    Lowest pieces, ties and what stands out are true to the gauge; how much too wide the track is drawn is
    written. Words that find no room are left out, the tie numbers under them first.

    Parameters
    ----------
    run, fills, stacks
        As in a plan.
    line : FinishedLine, optional
        Its run, with the ties where they lie on the line, is drawn instead of ``run``.
    ax : Axes, optional
        By default a new figure's, 11 by 2.8 in.
    display, side_names
        See `trackkit.show.plots.side_view`.
    walk : {'left', 'right', 'both'}, optional
        Where people walk.
    breaks : sequence of (float, float)
        Stations where an edge meets the left and the right side; NaN where it meets only the other [m].
    zones, obstacles : DataFrame, optional
        As in a survey.
    width : float
        Distance of the two sides that breaks and zones belong to [m].
    ends : tuple of float, optional
        Stations of the picture's ends [m]; the side view's are those of its axes.
    tie_overhang : float
        How far a tie end stands out beyond its rail [m].

    Returns
    -------
    Axes
        Stations in metres; across, metres to the left of the run's middle.
    """
    run = run if line is None else line.run
    ax = own_axes(2.8) if ax is None else ax
    sizes = {"gauge": run.gauge, "tie_overhang": tie_overhang}
    feet, pushes = under_track(fills, stacks, sizes)
    reach = reach_aside(run, feet, pushes, tie_overhang, obstacles)
    _set_limits(ax, ends or picture_ends(run, feet, pushes), reach)
    paper = Paper.of(ax)
    with Pen(ax) as pen:
        view = _View(run, pen, paper, Room(paper.sheet), reach)
        _draw_names(view, side_names)
        draw_grounds(pen, paper, view.room, zones, reach)
        draw_breaks(pen, paper, view.room, breaks, reach, width)
        _draw_track(view, tie_overhang)
        _draw_feet(view, feet)
        _draw_pushes(view, pushes)
        draw_obstacles(pen, paper, view.room, obstacles)
        _draw_flags(view)
        _draw_walk(view, walk, side_names)
        _draw_numbers(view, fills)
    draw_stations(ax, run, display)
    ax.set_yticks([])
    for name, spine in ax.spines.items():
        spine.set_visible(name == "bottom")
        spine.set_edgecolor(INK)
    ax.tick_params(colors=INK, labelsize=8.5)
    ax.set_ylabel("", fontsize=9)
    return ax


def _set_limits(ax: Axes, ends: tuple[float, float], reach: tuple[float, float]) -> None:
    tall = float(ax.bbox.height) / ax.figure.dpi
    up = max(tall - OVER - UNDER, 0.3) / (reach[1] - reach[0])
    ax.set_xlim(*ends)
    ax.set_ylim(reach[0] - UNDER / up, reach[0] - UNDER / up + tall / up)
    ax.set_facecolor(STYLE["page"]["facecolor"])


def _draw_track(view: _View, tie_overhang: float) -> None:
    """Draw cross ties, and each rail as two strokes from joint to joint."""
    run, half = view.run, view.run.gauge / 2
    out = half + tie_overhang
    boxes = [
        [(at - wide / 2, -out), (at + wide / 2, -out), (at + wide / 2, out), (at - wide / 2, out)]
        for at, wide in zip(run.ties["station_m"], run.ties["bearing_m"], strict=True)
    ]
    view.pen.areas("ties", boxes, **{**STYLE["tie"], "zorder": 5.0})
    apart = RAIL / 2 / view.paper.inches[1]
    for side in SIDES:
        rail = outwards(side) * half
        strokes = [[(run.head, rail + by), (run.tail, rail + by)] for by in (-apart, apart)]
        view.pen.strokes(f"{side}-rail", strokes, **STYLE["rail above"])
    joint = RAIL * 1.6 / view.paper.inches[1]
    stations = [run.head, *run.joints["station_m"], run.tail]
    across = [[(at, way * half - joint), (at, way * half + joint)] for at in stations for way in (-1.0, 1.0)]
    view.pen.strokes("joints", across, **{**STYLE["rail above"], "linewidth": 2.2})


def _draw_feet(view: _View, feet: Sequence[tuple[str, Foot]]) -> None:
    for side in SIDES:
        boxes = []
        for own, foot in feet:
            if own == side:
                left, right = foot.station - foot.along / 2, foot.station + foot.along / 2
                low, high = foot.aside - foot.across / 2, foot.aside + foot.across / 2
                boxes.append([(left, low), (right, low), (right, high), (left, high)])
        view.pen.areas(f"{side}-feet", boxes, **STYLE["footprint"])


def _draw_pushes(view: _View, pushes: Sequence[Push]) -> None:
    """Draw the wedges' ends that stand out at their length, and an arrow that goes in behind each."""
    long, half = ARROW
    for side in SIDES:
        ends, arrows = [], []
        for push in (one for one in pushes if one.side == side):
            way, turn = np.array(push.way), np.array([push.way[1], push.way[0]])
            start = np.array([push.station, push.aside])
            tip = start + way * push.out
            across = turn * push.width / 2
            ends.append([start - across, tip - across, tip + across, start + across])
            inch = 1.0 / np.array(view.paper.inches)
            arrow = [tip, tip + (way * long + turn * half) * inch, tip + (way * long - turn * half) * inch]
            arrows.append(arrow)
            corners = [view.paper.inch(*corner) for corner in (*arrow, start - across, start + across)]
            view.room.taken.append(Box(*np.min(corners, axis=0), *np.max(corners, axis=0)))
        view.pen.areas(f"{side}-stick-outs", ends, **STYLE["stick-out"])
        view.pen.areas(f"{side}-pushes", arrows, **STYLE["push"])


def _draw_names(view: _View, side_names: Mapping[str, str] | None) -> None:
    """Write how wide the track is drawn, whose rail is on which side, and what the arrows mean."""
    words = across_words(view.paper.inches[1] / view.paper.inches[0])
    half = text_width(words, STYLE["scale"]) / 2 + 0.04
    top = view.paper.tall - ROW / 2
    box = view.room.first([word_box(words, STYLE["scale"], view.paper.wide - half, top)])
    view.write("scale", words, box, "scale")
    means, (long, tall) = "wedge goes in here", ARROW
    half = text_width(means, STYLE["small"]) / 2 + 0.04
    arrow = [view.paper.data(x, top + y) for x, y in ((0.05 + long, 0.0), (0.05, tall), (0.05, -tall))]
    view.pen.areas("means-arrow", [arrow], **STYLE["push"])
    box = view.room.first([word_box(means, STYLE["small"], 0.2 + half, top)])
    view.write("means", means, box, "small")
    for side in SIDES:
        word = landmark(side, side_names)
        half = text_width(word, STYLE["bold note"]) / 2 + 0.05
        edge = view.reach[1] if side == "left" else view.reach[0]
        y = view.paper.inch(0.0, edge)[1] - outwards(side) * 0.1
        view.write(
            f"{side}-name", word, view.room.first([word_box(word, STYLE["bold note"], half, y)]), "bold note"
        )


def _draw_flags(view: _View) -> None:
    """Draw joints, marks and the ends of the run with their words, where there is room."""
    run, (low, high) = view.run, view.reach
    wanted = [
        ("joint", str(name), float(at))
        for name, at in zip(run.joints["joint"], run.joints["station_m"], strict=True)
    ]
    if run.shot is not None:
        wanted += [("mark", "start mark", run.shot.start_mark), ("mark", "end mark", run.shot.end_mark)]
    for place, (kind, word, station) in enumerate(wanted):
        view.pen.line(f"{kind}-{place}", [station, station], [low, high], **STYLE[kind])
        box = view.room.first(view.row_box(word, "small", station, 2))
        view.write(f"{kind}-{place}-word", word, box, "small")
    for word, station, way in (("head", run.head, -1.0), ("tail", run.tail, 1.0)):
        x, y = view.paper.inch(station, 0.0)
        half = text_width(word, STYLE["small"]) / 2 + 0.06
        spots = [word_box(word, STYLE["small"], x + way * half, y)]
        spots.append(word_box(word, STYLE["small"], x + way * TURNED, y, turned=True))
        box = view.room.first(spots)
        turned = box is not None and box.top - box.bottom > box.right - box.left
        view.write(f"{word}-word", word, box, "small", rotation=90 if turned else 0)
    for number, name, head, tail in zip(
        run.sections["section"],
        run.sections["name"],
        run.sections["head_m"],
        run.sections["tail_m"],
        strict=True,
    ):
        x, y = view.paper.inch((head + tail) / 2, 0.0)
        word, wide = str(name), (tail - head) * view.paper.inches[0]
        if text_width(word, STYLE["small"]) < wide - 0.2:
            shifts = (0.0, 0.15, -0.15, 0.3, -0.3)
            box = view.room.first(word_box(word, STYLE["small"], x + shift, y) for shift in shifts)
            view.write(f"section-{number}", word, box, "small")


def _draw_walk(view: _View, walk: str | None, side_names: Mapping[str, str] | None) -> None:
    """Shade where people walk, and say so."""
    low, high = view.reach
    left, right = view.paper.low[0], view.paper.low[0] + view.paper.wide / view.paper.inches[0]
    half = view.run.gauge / 2
    bands = {"left": (half + 0.45 * (high - half), high), "right": (low, -half + 0.45 * (low + half))}
    for side in SIDES if walk == "both" else [side for side in SIDES if side == walk]:
        bottom, top = bands[side]
        corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
        view.pen.areas(f"{side}-walk", [corners], **STYLE["walk"])
        word = f"walk side: {(side_names or {}).get(side, side)}"
        y = view.paper.inch(0.0, (bottom + top) / 2)[1]
        shares = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)
        spots = (
            word_box(word, STYLE["bold note"], view.paper.wide * share, y + up)
            for up in (0, 0.06, -0.06, 0.12, -0.12)
            for share in shares
        )
        view.write(f"{side}-walk-word", word, view.room.first(spots), "bold note")


def _draw_numbers(view: _View, fills: pd.DataFrame) -> None:
    """Write the ties' numbers under the track, each where there is room."""
    ties = fills.drop_duplicates("tie")
    y = UNDER / 2 - 0.02
    for tie, station in zip(ties["tie"], ties["station_m"], strict=True):
        x = view.paper.inch(station, 0.0)[0]
        box = view.room.first([word_box(str(tie), STYLE["small"], x, y)])
        view.write(f"tie-{tie}", str(tie), box, "small")
