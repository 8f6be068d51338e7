"""The two scales of a strip: heights at the left, stations below, and how much too tall heights are."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from trackkit.layout.laid import Run
from trackkit.show.style import INK, PAPER
from trackkit.units import LENGTH_UNITS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw_heights", "draw_stations", "exaggeration_words"]

#: Least distance between two heights on the axis [in].
TICK_ROOM: Final = 0.25


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


def draw_heights(ax: Axes, display: Display, *, low: float, high: float) -> None:
    """Draw the height axis from the floor of the ground up; under it are figures, not heights.

    Parameters
    ----------
    ax : Axes
    display : Display
    low, high : float
        Heights that the axis spans, in the display's unit.
    """
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
    ax.set_yticks(ticks, [_signed(tick) for tick in ticks])
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
    from matplotlib.ticker import MaxNLocator

    unit = "ft" if display.unit == "in" else "m"
    size = LENGTH_UNITS[unit]
    low, high = (end / size for end in ax.get_xlim())
    ticks = np.asarray(MaxNLocator(nbins=16, steps=[1, 2, 5, 10]).tick_values(low, high), dtype=float)
    ticks = ticks[(ticks >= low) & (ticks <= high)]
    ax.set_xticks(ticks * size, [_signed(tick) for tick in ticks])
    origin = "start mark" if run.shot is not None else "head of the run"
    ax.set_xlabel(f"distance from {origin}, {unit}", color=INK, fontsize=9, labelpad=2)


def _signed(tick: float) -> str:
    return f"{tick:g}".replace("-", "−")
