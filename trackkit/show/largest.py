"""How large the largest fill will be: of a hundred grounds that agree with the readings, how many need it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from trackkit.show.bar_axis import own_axes
from trackkit.show.pen import Pen
from trackkit.show.room import Paper
from trackkit.show.signs import ROW, Entry, draw_entries, rows_needed
from trackkit.show.style import INK, STYLE
from trackkit.units import DISPLAYS, LENGTH_UNITS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw_largest", "share_of"]

Array = NDArray[np.float64]

#: About so many bars stand side by side, each at least so wide [m].
BARS: Final = 30
NARROWEST: Final = 0.0005
#: What of the draws at either end is left off the picture: single freaks would squeeze the rest.
OFF: Final = 0.0005


def share_of(fills: Array, edges: Array) -> Array:
    """Return how many of a hundred draws lie between neighbouring edges; beyond the ends, in the end ones."""
    inside = np.clip(fills, edges[0], np.nextafter(edges[-1], edges[0]))
    return np.asarray(100.0 * np.histogram(inside, bins=edges)[0] / fills.size)


def draw_largest(
    fills: Array,
    words: str,
    *,
    beside: tuple[Array, str] | None = None,
    limit: tuple[float, str] | None = None,
    ax: Axes | None = None,
    display: Display = DISPLAYS["mm"],
) -> Axes:
    """Draw how often the largest fill is how large, with the mark that 19 in 20 stay below.

    Parameters
    ----------
    fills : array, shape (draws,)
        Largest fill in each draw of the ground [m].
    words : str
        What it is the largest fill of.
    beside : (array, words), optional
        Another line's, drawn as an outline.
    limit : (height, words), optional
        A height ruled across if it is near, such as that from which stacks are cautioned [m].
    ax : Axes, optional
        By default a new figure's, 11 by 2.4 in.
    display : Display
        Unit of the axis.
    """
    ax = own_axes(2.4) if ax is None else ax
    scale = 1.0 / LENGTH_UNITS[display.unit]
    every = [fills, *([beside[0]] if beside else [])]
    low = min(float(np.quantile(one, OFF)) for one in every)
    high = max(float(np.quantile(one, 1.0 - OFF)) for one in every)
    near = limit is not None and limit[0] <= high + 0.1
    if near and limit is not None:
        high = max(high, limit[0] + 0.01)
    width = max((high - low) / BARS, NARROWEST)
    count = max(int(np.ceil((high - low) / width)), 1)
    steps: Array = np.arange(count + 1, dtype=np.float64) - count / 2.0
    edges = (low + high) / 2.0 + width * steps
    shares = share_of(fills, edges)
    wide, tall = (float(size) / ax.figure.dpi for size in (ax.bbox.width, ax.bbox.height))
    entries: list[Entry] = [("bar left", {}, words)]
    if beside is not None:
        entries.append(("before", {}, beside[1]))
    entries.append(
        ("whisker", {}, f"19 times in 20 below {display.small_unit(float(np.quantile(fills, 0.95)))}")
    )
    if near and limit is not None:
        entries.append(("caution", {}, limit[1]))
    head = rows_needed(entries, wide) * ROW + 0.14
    others = share_of(beside[0], edges) if beside is not None else np.zeros(count)
    most = max(float(shares.max()), float(others.max()), 1.0)
    inch = most / max(tall - head, 0.4)
    ax.set_facecolor(STYLE["page"]["facecolor"])
    ax.set_xlim((edges[0] - width) * scale, (edges[-1] + width) * scale)
    ax.set_ylim(0.0, tall * inch)
    with Pen(ax) as pen:
        draw_entries(pen, Paper.of(ax), entries)
        at = edges * scale
        bars: list[Any] = [
            [(a, 0.0), (b, 0.0), (b, up), (a, up)]
            for a, b, up in zip(at[:-1], at[1:], shares, strict=True)
            if up > 0.0
        ]
        pen.areas("bars", bars, **STYLE["bar left"])
        if beside is not None:
            x, y = np.repeat(at, 2), np.concatenate([[0.0], np.repeat(others, 2), [0.0]])
            pen.line("beside", x, y, **STYLE["before"])
        below = float(np.quantile(fills, 0.95)) * scale
        pen.line("nineteen", [below, below], [0.0, most], **{**STYLE["whisker"], "linewidth": 2.0})
        if near and limit is not None:
            pen.line("limit", [limit[0] * scale] * 2, [0.0, most], **STYLE["caution"])
        pen.line("zero", ax.get_xlim(), [0.0, 0.0], **STYLE["zero"])
    ax.set_xlabel(f"largest fill, {display.unit}", color=INK, fontsize=9, labelpad=2)
    ax.set_yticks([])
    ax.set_ylabel("how often", color=INK, fontsize=9)
    ax.tick_params(colors=INK, labelsize=8.5)
    for name, spine in ax.spines.items():
        spine.set_visible(name == "bottom")
        spine.set_edgecolor(INK)
    return ax
