"""Lines along a run: what several causes, or several datums, do to heights, from tie to tie."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from trackkit.show.bar_axis import own_axes
from trackkit.show.pen import Pen
from trackkit.show.room import Paper
from trackkit.show.scales import draw_heights
from trackkit.show.signs import ROW, Entry, draw_entries, rows_needed, station_axis
from trackkit.show.style import INK, STYLE
from trackkit.units import DISPLAYS, LENGTH_UNITS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw_along"]

Array = NDArray[np.float64]

#: Lines that are told apart without colour, in this order, each with a mark at every tie.
LOOKS: Final[Sequence[Mapping[str, Any]]] = (
    {"color": INK, "linewidth": 2.2, "marker": "o", "markersize": 5.0},
    {"color": "#4a4234", "linewidth": 2.0, "linestyle": (0, (5, 2)), "marker": "s", "markersize": 5.0},
    {"color": "#0072b2", "linewidth": 2.0, "linestyle": (0, (1, 1.2)), "marker": "^", "markersize": 6.0},
    {"color": INK, "linewidth": 1.2, "linestyle": (0, (8, 2, 1, 2)), "marker": "x", "markersize": 6.0},
)
#: The axis spans at least so much [m]; and room past the first and last tie [m].
LEAST, PAST = 0.002, 0.3


def draw_along(
    stations: Array,
    lines: Mapping[str, Array],
    *,
    area: tuple[str, Array] | None = None,
    level: tuple[str, float] | None = None,
    what: str = "give or take",
    ax: Axes | None = None,
    display: Display = DISPLAYS["mm"],
    origin: str = "start mark",
) -> Axes:
    """Draw heights along a run as lines, each with its words.

    Parameters
    ----------
    stations : array, shape (n,)
        [m], rising.
    lines : mapping of words to array, shape (n,)
        Up to four, 0 or more [m].
    area : (words, array), optional
        One more, drawn as the area under it.
    level : (words, height), optional
        A height that holds for the whole run, ruled across [m].
    what : str
        On the axis of heights.
    ax : Axes, optional
        By default a new figure's, 11 by 2.8 in.
    display, origin
        See `trackkit.show.plots.draw_change`.

    Raises
    ------
    ValueError
        For more lines than there are looks.
    """
    if len(lines) > len(LOOKS):
        raise ValueError(f"at most {len(LOOKS)} lines can be told apart, got {len(lines)}")
    ax = own_axes(2.8) if ax is None else ax
    scale = 1.0 / LENGTH_UNITS[display.unit]
    wide, tall = (float(size) / ax.figure.dpi for size in (ax.bbox.width, ax.bbox.height))
    entries: list[Entry] = []
    for words, look in zip(lines, LOOKS, strict=False):
        entries.append(("moved left", look, words))
    if area is not None:
        entries.append(("bar left", {}, area[0]))
    if level is not None:
        entries.append(("caution", {}, level[0]))
    head = rows_needed(entries, wide) * ROW + 0.12
    values = [*lines.values(), *([area[1]] if area else []), *([np.array([level[1]])] if level else [])]
    most = max(max((float(np.max(one)) for one in values), default=0.0), LEAST) * 1.08 * scale
    inch = most / max(tall - head, 0.4)
    ax.set_facecolor(STYLE["page"]["facecolor"])
    ax.set_xlim(float(stations[0]) - PAST, float(stations[-1]) + PAST)
    ax.set_ylim(0.0, tall * inch)
    with Pen(ax) as pen:
        draw_entries(pen, Paper.of(ax), entries)
        if area is not None:
            pen.band("area", stations, np.zeros(len(stations)), area[1] * scale, **STYLE["bar left"])
        if level is not None:
            pen.line("level", ax.get_xlim(), [level[1] * scale] * 2, **STYLE["caution"])
        for number, (one, look) in enumerate(zip(lines.values(), LOOKS, strict=False)):
            pen.line(f"line-{number}", stations, one * scale, **{**STYLE["moved left"], **look})
        pen.line("zero", ax.get_xlim(), [0.0, 0.0], **STYLE["zero"])
    station_axis(ax, display, origin)
    draw_heights(ax, display, low=0.0, high=most)
    ax.yaxis.label.set_text(f"{what}, {display.unit}")
    return ax
