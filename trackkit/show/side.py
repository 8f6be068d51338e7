"""The side view: ground with its doubt, the finished line, and every stack piece by piece."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import pandas as pd

from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import SIDES, GroundLike
from trackkit.layout.laid import Run
from trackkit.show.page import draw_header, draw_legend, header_height, legend_entries, legend_height
from trackkit.show.pen import Pen
from trackkit.show.scene import make_scenes
from trackkit.show.strip import draw_strip, lay_out_strips
from trackkit.show.style import PAPER, STYLE
from trackkit.units import DISPLAYS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from trackkit.cribbing.results import StackPlan

__all__ = ["draw_side", "side_view"]

#: A page on its side, and the widest there is [in].
A4: Final = (11.7, 8.3)
WIDEST: Final = 200.0
#: Under the scale of stations where no legend stands [in].
FOOT: Final = 0.05


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
    held_at: float | None = None,
    name: str = "",
) -> Axes:
    """Draw one rail's side view: stations across, heights up, each true to scale in itself.

    Words and figures are laid out for the size that the axes have on the paper when this is called.

    Parameters
    ----------
    ground, run, line, fills, stacks
        As in a plan; without stacks the fills are drawn as bars. ``fills`` is a `fill_table`.
    side : {'left', 'right'}
    ax : Axes, optional
        By default a new figure's, 11 by 3.4 in.
    display : Display
        Unit of the height axis and of the figures.
    breaks : sequence of float
        Stations where an edge meets this side [m].
    held_at : float, optional
        Station where the line is held [m], when it is set from a given rail height; by default the
        head of the run.
    name : str
        Written over the strip, such as a landmark.

    Returns
    -------
    Axes
        Stations in metres, heights in the display's unit.

    Raises
    ------
    ValueError
        If ``fills`` has no rows of this side.
    """
    scenes = make_scenes(
        ground, run, line, fills, stacks, sides=(side,), breaks={side: breaks}, held_at=held_at
    )
    if ax is None:
        from matplotlib.figure import Figure

        figure = Figure(figsize=(11.0, 3.4), dpi=100, facecolor=STYLE["page"]["facecolor"])
        ax = figure.add_axes((0.08, 0.14, 0.9, 0.78))
    (layout,) = lay_out_strips(scenes, (ax,), display)
    draw_strip(ax, scenes[0], layout, display=display, name=name)
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
    held_at: float | None = None,
    title: str = "",
    legend: bool = True,
) -> Figure:
    """Return the side view of both rails, left above right, with the large numbers on top.

    A figure that holds a side view already is changed to show this one.

    Parameters
    ----------
    ground, run, line, fills, stacks, display, held_at
        See `draw_side`.
    figure : Figure, optional
        By default a new one on A4, 11.7 by 8.3 in, and wider from some 50 ties on, so that the
        figures can still be read. From 11 by 6 in on it can be read.
    headline : sequence of (what, number)
        What a crew asks first, in large type.
    side_names : mapping, optional
        Landmarks for 'left' and 'right'.
    breaks : mapping, optional
        Stations of edges on each side [m].
    title : str
        Name of the job.
    legend : bool
        Whether the signs are explained at the foot.
    """
    from matplotlib import style

    scenes = make_scenes(ground, run, line, fills, stacks, sides=SIDES, breaks=breaks or {}, held_at=held_at)
    with style.context("default"):  # a reader's own settings, a dark theme say, must not reach the paper
        if figure is None:
            from matplotlib.figure import Figure

            wide = PAPER["left"] + PAPER["right"] + PAPER["tie"] * len(run.ties)
            figure = Figure(figsize=(min(max(A4[0], wide), WIDEST), A4[1]), dpi=100)
        figure.set_facecolor(STYLE["page"]["facecolor"])
        wide, tall = (float(size) for size in figure.get_size_inches())
        entries = legend_entries(scenes) if legend else []
        below = (legend_height(entries, wide) if entries else FOOT) + PAPER["axis"]
        each = max((tall - below - header_height(title, headline, tall) - PAPER["gap"]) / 2, 0.1)
        left, across = PAPER["left"] / wide, (wide - PAPER["left"] - PAPER["right"]) / wide
        boxes = [(left, foot / tall, across, each / tall) for foot in (below + each + PAPER["gap"], below)]
        top, bottom = figure.axes or _two_axes(figure)
        for ax, box in zip((top, bottom), boxes, strict=True):
            ax.set_position(box)
        layouts = lay_out_strips(scenes, (top, bottom), display)
        for ax, scene, layout in zip((top, bottom), scenes, layouts, strict=True):
            name = (side_names or {}).get(scene.side, scene.side)
            name = name if name == scene.side else f"{name} ({scene.side})"
            draw_strip(ax, scene, layout, display=display, name=name, stations=ax is bottom)
        with Pen(figure) as pen:
            draw_header(pen, (wide, tall), title, headline)
            draw_legend(pen, wide, entries)
    return figure


def _two_axes(figure: Figure) -> tuple[Axes, Axes]:
    top = figure.add_axes((0.0, 0.5, 1.0, 0.5))
    return top, figure.add_axes((0.0, 0.0, 1.0, 0.5), sharex=top)
