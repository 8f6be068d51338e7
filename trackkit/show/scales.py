"""The two scales of a strip: heights at the left, stations below, and how much too tall heights are."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from trackkit.layout.laid import Run
from trackkit.show.style import INK, PAPER, STYLE
from trackkit.units import LENGTH_UNITS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis

    from trackkit.show.pen import Pen

__all__ = [
    "draw_heights", "draw_stations", "exaggeration_words", "rule_heights", "rule_stations", "signed",
]  # fmt: skip

#: Least distance between two heights on the axis [in].
TICK_ROOM: Final = 0.25
#: Length of a stroke at a figure [in].
TICK: Final = 0.05


def exaggeration_words(times: float) -> str:
    """Return how much too tall heights are drawn, in words.

    Examples
    --------
    >>> exaggeration_words(6.2), exaggeration_words(1.52)
    ('heights drawn 6 times too tall', 'heights drawn 1.5 times too tall')
    >>> exaggeration_words(1.0)
    'heights and lengths to one scale'
    """
    if abs(times - 1.0) < 0.05:
        return "heights and lengths to one scale"
    if times < 1.0:
        return f"heights drawn at {times:.2g} of their true scale"
    return f"heights drawn {times:.{0 if times >= 3 else 1}f} times too tall"


def rule_heights(pen: Pen, ax: Axes, side: str, display: Display, *, low: float, high: float) -> None:
    """Draw a scale of heights at the left of a strip, from the floor of the ground up.

    Drawn as words and strokes: a picture that moves takes a quarter less time than with an axis.

    Parameters
    ----------
    pen : Pen
    ax : Axes
        Its own axis is taken away.
    side : str
        What names begin with.
    display : Display
    low, high : float
        Heights that the scale spans, in the display's unit.
    """
    left = float(ax.get_xlim()[0])
    inch = (ax.get_xlim()[1] - left) / (float(ax.bbox.width) / ax.figure.dpi)
    ax.yaxis.set_visible(False)
    for spine in ax.spines.values():
        spine.set_visible(False)
    ticks = height_ticks(ax, display, low=low, high=high)
    ends = [[(left, low), (left, high)], *([(left - TICK * inch, tick), (left, tick)] for tick in ticks)]
    pen.strokes(f"{side}-scale-heights", ends, clip_on=False, **STYLE["scale line"])
    for place, tick in enumerate(ticks):
        look = {"ha": "right", "va": "center", **STYLE["scale figure"]}
        pen.words(f"{side}-scale-height-{place}", signed(tick), left, tick, shift=(-6, 0), **look)
    look = {"ha": "center", "va": "center", "rotation": 90, **STYLE["scale words"]}
    aside = left - (PAPER["left"] - 0.22) * inch
    pen.words(f"{side}-scale-words", f"height, {display.unit}", aside, (low + high) / 2, **look)


def rule_stations(pen: Pen, ax: Axes, side: str, run: Run, display: Display) -> None:
    """Draw a scale of stations under a strip, in metres, or in feet for a crew that reads inches."""
    low, high = ax.get_xlim()
    foot = float(ax.get_ylim()[0])
    inch = (ax.get_ylim()[1] - foot) / (float(ax.bbox.height) / ax.figure.dpi)
    places, figures = station_ticks(ax, display)
    ends = [[(low, foot), (high, foot)], *([(place, foot), (place, foot - TICK * inch)] for place in places)]
    pen.strokes(f"{side}-scale-stations", ends, clip_on=False, **STYLE["scale line"])
    for number, (place, figure) in enumerate(zip(places, figures, strict=True)):
        look = {"ha": "center", "va": "top", **STYLE["scale figure"]}
        pen.words(f"{side}-scale-station-{number}", signed(figure), place, foot, shift=(0, -5), **look)
    look = {"ha": "center", "va": "top", **STYLE["scale words"]}
    pen.words(
        f"{side}-scale-origin", station_words(run, display), (low + high) / 2, foot, shift=(0, -16), **look
    )


def height_ticks(ax: Axes, display: Display, *, low: float, high: float) -> NDArray[np.float64]:
    """Return round heights from low to high that stand far enough apart on the paper."""
    from matplotlib.ticker import MaxNLocator

    bottom, top = ax.get_ylim()
    tall = float(ax.bbox.height / ax.figure.dpi) * (high - low) / (top - bottom)
    steps = [1, 2, 4, 5, 10] if display.unit == "in" else [1, 2, 2.5, 5, 10]
    ticks = np.asarray(
        MaxNLocator(nbins=min(max(int(tall / TICK_ROOM), 1), 5), steps=steps).tick_values(low, high),
        dtype=float,
    )
    ticks = ticks[(ticks >= low) & (ticks <= high)]
    while len(ticks) > 1 and (ticks[1] - ticks[0]) / (high - low) * tall < TICK_ROOM:
        ticks = ticks[::2]
    return ticks


def station_ticks(ax: Axes, display: Display) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return stations in metres, and the round figures that stand at them in the crew's unit."""
    from matplotlib.ticker import MaxNLocator

    size = LENGTH_UNITS["ft" if display.unit == "in" else "m"]
    low, high = (end / size for end in ax.get_xlim())
    ticks = np.asarray(MaxNLocator(nbins=16, steps=[1, 2, 5, 10]).tick_values(low, high), dtype=float)
    ticks = ticks[(ticks >= low) & (ticks <= high)]
    return ticks * size, ticks


def station_words(run: Run, display: Display) -> str:
    """Return what stations are, with their unit."""
    origin = "start mark" if run.shot is not None else "head of the run"
    return f"distance from {origin}, {'ft' if display.unit == 'in' else 'm'}"


def draw_heights(ax: Axes, display: Display, *, low: float, high: float) -> None:
    """Draw the height axis from the floor of the ground up; under it are figures, not heights.

    Parameters
    ----------
    ax : Axes
    display : Display
    low, high : float
        Heights that the axis spans, in the display's unit.
    """
    bottom, top = ax.get_ylim()
    ticks = height_ticks(ax, display, low=low, high=high)
    _label(ax.yaxis, ticks, ticks)
    ax.tick_params(colors=INK, labelsize=8.5)
    for name, spine in ax.spines.items():
        spine.set_visible(name in ("left", "bottom"))
        spine.set_edgecolor(INK)
    ax.spines["left"].set_bounds(low, high)
    wide = float(ax.bbox.width / ax.figure.dpi)
    ax.set_ylabel(f"height, {display.unit}", color=INK, fontsize=9)
    ax.yaxis.set_label_coords((0.22 - PAPER["left"]) / wide, ((low + high) / 2 - bottom) / (top - bottom))


def draw_stations(ax: Axes, run: Run, display: Display) -> None:
    """Label stations in metres, or in feet for a crew that reads inches."""
    places, figures = station_ticks(ax, display)
    _label(ax.xaxis, places, figures)
    ax.set_xlabel(station_words(run, display), color=INK, fontsize=9, labelpad=2)


def _label(axis: Axis, places: NDArray[np.float64], figures: NDArray[np.float64]) -> None:
    """Put ticks with their figures on an axis, unless they are there already."""
    words = [signed(figure) for figure in figures]
    there = [label.get_text() for label in axis.get_ticklabels()]
    if there != words or not np.array_equal(axis.get_ticklocs(), places):
        axis.set_ticks(places, words)


def signed(tick: float) -> str:
    """Return a figure with a true minus."""
    return f"{tick:g}".replace("-", "−")
