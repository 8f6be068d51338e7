"""The side view: ground with its doubt, the finished line, and every stack piece by piece."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import SIDES, GroundLike
from trackkit.layout.laid import Run
from trackkit.show.pieces import draw_stack
from trackkit.show.style import INK, STYLE
from trackkit.units import DISPLAYS, LENGTH_UNITS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from trackkit.cribbing.results import StackPlan

__all__ = ["draw_side", "side_view"]

Array = NDArray[np.float64]

#: Points at which the ground is drawn.
SAMPLES: Final = 400
#: A wedge in the legend.
WEDGE_SIGN: Final[Mapping[str, Any]] = {
    "marker": [(-1.0, -0.5), (1.0, -0.5), (1.0, 0.5), (-1.0, -0.5)], "markersize": 11, "color": "none",
    "markerfacecolor": "white", "markeredgecolor": INK,
}  # fmt: skip
#: Share of the height axis kept free under the ground, for the figures.
FOOT: Final = 0.36


def draw_side(
    ground: GroundLike,
    run: Run,
    line: FinishedLine,
    fills: pd.DataFrame,
    stacks: StackPlan | None = None,
    *,
    side: str,
    ax: Axes | None = None,
    display: Display = DISPLAYS["mm"],
    breaks: Sequence[float] = (),
) -> Axes:
    """Draw one rail's side view: stations across, heights up, both true to scale in themselves.

    Parameters
    ----------
    ground, run, line, fills, stacks
        As in a plan; without stacks the fills are drawn as bars.
    side : {'left', 'right'}
    ax : Axes, optional
        By default a new figure's.
    display : Display
        Unit of the height axis and of the figures.
    breaks : sequence of float
        Stations where an edge meets this side [m].

    Returns
    -------
    Axes
        Stations in metres, heights in the display's unit.
    """
    if ax is None:
        from matplotlib.figure import Figure

        ax = Figure(figsize=(11, 3.4)).add_subplot()
    scale = 1.0 / LENGTH_UNITS[display.unit]
    own = fills[fills["side"] == side]
    stations = _samples(run, breaks)
    mean, sd = (np.asarray(part) for part in ground.height(stations, side))
    low, high = _limits(own, mean - 2 * sd, mean + 2 * sd, line)
    _draw_ground(ax, stations, mean, sd, low * scale, scale)
    _draw_line(ax, run, line, scale)
    if stacks is not None:
        place = own.set_index("tie")["station_m"]
        under, lean = own.set_index("tie")["line_m"], own.set_index("tie")["along_slope"].fillna(0.0)
        for stack in stacks.stacks:
            if stack.side == side:
                base = float(under[stack.ties[0]]) - stack.height - stack.closing.height
                at = tuple(float(place[tie]) for tie in stack.ties)
                slope = float(np.mean([lean[tie] for tie in stack.ties]))
                draw_stack(ax, stack, base=base, stations=at, slope=slope, scale=scale)
    _draw_negative(ax, own, scale)
    _draw_marks(ax, run, breaks, low * scale, high * scale)
    _draw_height_marks(ax, line, side, display, scale)
    ax.set_xlim(run.head - 0.35, run.tail + 0.35)
    ax.set_ylim(low * scale, high * scale)
    _draw_figures(ax, own, display, low * scale, (high - low) * scale)
    ax.set_ylabel(f"height, {display.unit}", color=INK)
    ax.tick_params(colors=INK, labelsize=8)
    ax.set_facecolor(STYLE["page"]["facecolor"])
    for spine in ("top", "right"):
        ax.spines[spine].set_visible(False)
    return ax


def side_view(
    ground: GroundLike,
    run: Run,
    line: FinishedLine,
    fills: pd.DataFrame,
    stacks: StackPlan | None = None,
    *,
    figure: Figure | None = None,
    headline: Sequence[tuple[str, str]] = (),
    side_names: Mapping[str, str] | None = None,
    display: Display = DISPLAYS["mm"],
    breaks: Mapping[str, Sequence[float]] | None = None,
    title: str = "",
) -> Figure:
    """Return the side view of both rails, left above right, with the large numbers on top.

    Parameters
    ----------
    ground, run, line, fills, stacks, display
        See `draw_side`.
    figure : Figure, optional
        By default a new one, 11.7 by 8.3 in, which is A4.
    headline : sequence of (what, number)
        What a crew asks first, in large type.
    side_names : mapping, optional
        Landmarks for 'left' and 'right'.
    breaks : mapping, optional
        Stations of edges on each side [m].
    title : str
        Name of the job.
    """
    if figure is None:
        from matplotlib.figure import Figure

        figure = Figure(figsize=(11.7, 8.3), dpi=100)
    figure.set_facecolor(STYLE["page"]["facecolor"])
    figure.subplots_adjust(left=0.065, right=0.985, top=0.845, bottom=0.135, hspace=0.13)
    top = figure.add_subplot(2, 1, 1)
    bottom = figure.add_subplot(2, 1, 2, sharex=top)
    names = side_names or {"left": "left", "right": "right"}
    for ax, side in zip((top, bottom), SIDES, strict=True):
        edges = (breaks or {}).get(side, ())
        draw_side(ground, run, line, fills, stacks, side=side, ax=ax, display=display, breaks=edges)
        label = names[side] if names[side] == side else f"{names[side]} ({side})"
        ax.text(
            0.004,
            0.985,
            _plain(label),
            transform=ax.transAxes,
            fontsize=12,
            weight="bold",
            va="top",
            color=INK,
        )
    _same_heights(top, bottom)
    top.tick_params(labelbottom=False)
    _station_axis(bottom, display, "start mark" if run.shot is not None else "head of the run")
    times = _exaggeration(bottom, display)
    figure.text(
        0.985, 0.093, f"heights drawn {times:.0f} times too tall", ha="right", va="bottom", fontsize=8.5,
        style="italic", color=INK,
    )  # fmt: skip
    if title:
        figure.text(0.065, 0.972, _plain(title), fontsize=11, va="top", color=INK)
    for place, (what, number) in enumerate(headline):
        x = 0.065 + 0.92 * place / max(len(headline), 1)
        figure.text(x, 0.936, _plain(what), fontsize=9.5, va="top", color="#444444")
        size = 19 if len(number) <= 22 else 13
        figure.text(x, 0.912, _plain(number), fontsize=size, weight="bold", va="top", color=INK)
    _legend(figure)
    return figure


def _station_axis(ax: Axes, display: Display, origin: str) -> None:
    """Label stations in metres, or in feet for a crew that reads inches."""
    unit = "ft" if display.unit == "in" else "m"
    size = LENGTH_UNITS[unit]
    if unit == "ft":
        from matplotlib.ticker import FuncFormatter, MultipleLocator

        low, high = ax.get_xlim()
        step = 2.0 if (high - low) / size < 45 else 5.0
        ax.xaxis.set_major_locator(MultipleLocator(step * size))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda station, _: f"{station / size:.0f}"))
    ax.set_xlabel(f"distance from {origin}, {unit}", color=INK)


def _plain(text: str) -> str:
    """Return text that matplotlib does not take for mathematics."""
    return text.replace("$", r"\$")


def _samples(run: Run, breaks: Sequence[float]) -> Array:
    low, high = run.head - 0.35, run.tail + 0.35
    beside = [edge + step for edge in breaks for step in (-1e-4, 1e-4)]
    ties = run.ties["station_m"].to_numpy(dtype=float)
    return np.unique(np.concatenate([np.linspace(low, high, SAMPLES), ties, np.asarray(beside, dtype=float)]))


def _limits(own: pd.DataFrame, lowest: Array, highest: Array, line: FinishedLine) -> tuple[float, float]:
    """Return the range of heights, with room for the figures under the ground."""
    top = max(float(own["rail_top_m"].max()), float(highest.max()))
    bottom = float(lowest.min())
    span = max(top - bottom, 0.08)
    return bottom - FOOT * span, top + 0.16 * span


def _draw_ground(ax: Axes, stations: Array, mean: Array, sd: Array, floor: float, scale: float) -> None:
    ax.fill_between(stations, mean * scale, floor, **STYLE["ground"])
    low, high = (mean - 2 * sd) * scale, (mean + 2 * sd) * scale
    ax.fill_between(stations, low, high, **STYLE["doubt"])
    for edge in (low, high):
        ax.plot(stations, edge, **STYLE["doubt edge"])
    ax.plot(stations, mean * scale, gid="ground", **STYLE["surface"])


def _draw_line(ax: Axes, run: Run, line: FinishedLine, scale: float) -> None:
    from matplotlib.patches import Rectangle

    knots = np.unique(np.concatenate([line.knots_station, [run.head, run.tail]]))
    ax.plot(knots, line.height(knots) * scale, gid="line", **STYLE["line"])
    ax.plot(knots, line.rail_top(knots) * scale, gid="rail", **STYLE["rail"])
    under = line.height(run.ties["station_m"].to_numpy(dtype=float))
    for station, bearing, height, rail in zip(
        run.ties["station_m"], run.ties["bearing_m"], under, run.ties["rail_top_m"], strict=True
    ):
        corner = (station - bearing / 2, height * scale)
        ax.add_patch(Rectangle(corner, bearing, 0.45 * rail * scale, gid="tie", **STYLE["tie"]))


def _draw_negative(ax: Axes, own: pd.DataFrame, scale: float) -> None:
    """Ties in the ground: black, hatched white, from the line up to the ground."""
    from matplotlib.patches import Rectangle

    deep = own[own["fill_m"] < 0]
    for station, line, fill in zip(deep["station_m"], deep["line_m"], deep["fill_m"], strict=True):
        corner = (station - 0.09, line * scale)
        ax.add_patch(Rectangle(corner, 0.18, -fill * scale, gid="negative", **STYLE["negative"]))


def _draw_marks(ax: Axes, run: Run, breaks: Sequence[float], low: float, high: float) -> None:
    for station in run.joints["station_m"]:
        ax.axvline(station, **STYLE["joint"])
    for station in breaks:
        ax.axvline(station, gid="break", **STYLE["break"])
    if run.shot is not None:
        for station, word in ((run.shot.start_mark, "start mark"), (run.shot.end_mark, "end mark")):
            ax.axvline(station, **STYLE["mark"])
            at = high - 0.02 * (high - low)
            ax.annotate(
                word,
                (station, at),
                xytext=(3, 0),
                textcoords="offset points",
                fontsize=8,
                va="top",
                color=INK,
            )


def _draw_height_marks(ax: Axes, line: FinishedLine, side: str, display: Display, scale: float) -> None:
    """Drafting triangles: filled where the line is set from, open at its ends."""
    held = {round(point[0], 6): point for point in line.contacts if not isinstance(point, str)}
    for point in held.values():
        if point[1] == side:
            height = float(line.rail_top(point[0])) * scale
            ax.plot([point[0]], [height], markerfacecolor=INK, gid="reference", **STYLE["height mark"])
    for station in (line.run.head, line.run.tail):
        height = float(line.rail_top(station)) * scale
        ax.plot([station], [height], markerfacecolor="white", gid="height mark", **STYLE["height mark"])


def _draw_figures(ax: Axes, own: pd.DataFrame, display: Display, low: float, span: float) -> None:
    """Write tie and fill at the foot of every support, in as many rows as keep them apart."""
    stations = own["station_m"].to_numpy(dtype=float)
    width = ax.get_position().width * ax.figure.get_figwidth()  # type: ignore[union-attr]
    per_metre = width / float(np.diff(ax.get_xlim())[0])
    closest = float(np.diff(stations).min(initial=1.0)) * per_metre
    rows = int(np.clip(np.ceil(0.15 / max(closest, 1e-6)), 1, 3))
    ends = zip(own["tie"], stations, own["fill_m"], strict=True)
    for number, (tie, station, fill) in enumerate(ends):
        height = low + span * (0.015 + 0.105 * (number % rows) / max(rows - 1, 1) * (rows > 1))
        dark = fill < 0
        box: dict[str, Any] = {"facecolor": "black" if dark else "white", "edgecolor": "none", "pad": 0.8}
        ax.text(
            station, height, f"{tie}:  {display.small(fill)}", rotation=90, ha="center", va="bottom",
            fontsize=7.5,
            weight="bold", color="white" if dark else INK, bbox=box, zorder=9, gid="fill",
        )  # fmt: skip


def _same_heights(top: Axes, bottom: Axes) -> None:
    """Give both rails one scale of heights, so that they can be compared by eye."""
    ranges = [ax.get_ylim() for ax in (top, bottom)]
    span = max(high - low for low, high in ranges)
    for ax, (low, _) in zip((top, bottom), ranges, strict=True):
        ax.set_ylim(low, low + span)


def _exaggeration(ax: Axes, display: Display) -> float:
    figure, box = ax.figure, ax.get_position()
    across = box.width * figure.get_figwidth() / float(np.diff(ax.get_xlim())[0])  # type: ignore[union-attr]
    up = box.height * figure.get_figheight() / float(np.diff(ax.get_ylim())[0])  # type: ignore[union-attr]
    return up / LENGTH_UNITS[display.unit] / across


def _legend(figure: Figure) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    filled = {**STYLE["height mark"], "markersize": 7, "markerfacecolor": INK, "color": "none"}
    entries = [
        (Patch(**_swatch("ground")), "ground"),
        (Patch(**_swatch("doubt")), "where it may be, 19 times in 20"),
        (Line2D([], [], **STYLE["line"]), "finished line (tie undersides)"),
        (Line2D([], [], **filled), "set from here"),
        (Patch(**_swatch("box")), "box"),
        (Patch(**_swatch("lumber")), "lumber"),
        (Patch(**_swatch("ply")), "ply"),
        (Patch(**_swatch("pad")), "pad"),
        (Patch(**_swatch("shim")), "shim"),
        (Line2D([], [], **WEDGE_SIGN), "wedge, or a pair"),
        (Patch(**_swatch("negative")), "tie in the ground"),
    ]
    handles, labels = zip(*entries, strict=True)
    figure.legend(
        handles, labels, loc="lower center", ncols=6, fontsize=8, frameon=False, bbox_to_anchor=(0.52, 0.004),
        labelcolor=INK, handlelength=1.8, columnspacing=1.6,
    )  # fmt: skip


def _swatch(name: str) -> dict[str, Any]:
    return {key: value for key, value in STYLE[name].items() if key != "zorder"}
