"""What leaving readings out, or changing them, does to the ground: how far it moves, station by station."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from trackkit.show.bar_axis import landmark, own_axes
from trackkit.show.lettering import text_width
from trackkit.show.pen import Pen
from trackkit.show.room import Paper
from trackkit.show.scales import draw_heights
from trackkit.show.signs import ROW, Entry, draw_entries, rows_needed, station_axis
from trackkit.show.style import STYLE
from trackkit.units import DISPLAYS, LENGTH_UNITS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from trackkit.survey.ground import Ground

__all__ = ["draw_change", "ground_moved"]

Array = NDArray[np.float64]

#: The ground is asked at so many places on each side, and at its nodes.
PLACES: Final = 200
#: The axis spans at least so much each way [m]; and room past the first and last station [m].
LEAST, PAST = 0.003, 0.4
#: So near to a station that was read the line is not drawn [m].
BESIDE: Final = 1e-3
#: A line for each side, told apart without colour.
LINES: Final[Mapping[str, str]] = {"left": "moved left", "right": "moved right"}


def ground_moved(now: Ground, before: Ground) -> dict[str, tuple[Array, Array]]:
    """Return for each side that both have stations, and how much higher the ground lies there now [m].

    Stations that were read are among them: what the ground has of its own there, a stone or a misreading,
    moves too.
    """
    found = {}
    for side in now.sides:
        if side in before.sides:
            ends = max(now.stations[0], before.stations[0]), min(now.stations[-1], before.stations[-1])
            at = np.unique(np.concatenate([np.linspace(*ends, PLACES), now.stations, before.stations]))
            at = at[(at >= ends[0]) & (at <= ends[1])]
            found[side] = (at, np.asarray(now.height(at, side)[0]) - before.height(at, side)[0])
    return found


def draw_change(
    now: Ground,
    before: Ground,
    *,
    changed: Sequence[tuple[float, str]] = (),
    ax: Axes | None = None,
    display: Display = DISPLAYS["mm"],
    side_names: Mapping[str, str] | None = None,
    origin: str = "start mark",
) -> Axes:
    """Draw how far the ground moves from one fit to another, along both sides.

    The lines are those between the readings; where a reading was changed a cross stands as far up as the
    ground moves right there.

    Parameters
    ----------
    now, before : Ground
    changed : sequence of (station [m], side)
        Where the readings were taken that were left out or changed; side '' for both.
    ax : Axes, optional
        By default a new figure's, 11 by 2.6 in.
    display, side_names, origin
        See `trackkit.show.plots.draw_residuals`.

    Returns
    -------
    Axes
        Stations in metres, lengths in the display's unit, up where the ground lies higher now.
    """
    ax = own_axes(2.6) if ax is None else ax
    scale, moved = 1.0 / LENGTH_UNITS[display.unit], ground_moved(now, before)
    wide, tall = (float(size) / ax.figure.dpi for size in (ax.bbox.width, ax.bbox.height))
    ends = (float(now.stations[0]) - PAST, float(now.stations[-1]) + PAST)
    entries: list[Entry] = [(LINES[side], {}, landmark(side, side_names)) for side in moved]
    if changed:
        sign = {"marker": "x", "markeredgewidth": 2.0}
        entries.append(("reading", sign, "taken out, or changed"))
    head = rows_needed(entries, wide) * ROW + 0.12
    reach = max((float(np.abs(up).max()) for _, up in moved.values()), default=0.0)
    most = max(reach, LEAST) * 1.15 * scale
    inch = 2.0 * most / max(tall - head, 0.4)
    ax.set_facecolor(STYLE["page"]["facecolor"])
    ax.set_xlim(*ends)
    ax.set_ylim(-most, -most + tall * inch)
    with Pen(ax) as pen:
        draw_entries(pen, Paper.of(ax), entries)
        pen.line("zero", ends, [0.0, 0.0], **{**STYLE["zero"], "linewidth": 0.8})
        nodes = np.concatenate([now.stations, before.stations])
        for side, (at, up) in moved.items():
            # between what was read: at a reading the ground has its own stone, which would draw a comb
            between = np.abs(at[:, None] - nodes[None, :]).min(axis=1) > BESIDE
            pen.line(f"moved-{side}", at[between], up[between] * scale, **STYLE[LINES[side]])
        spots = [
            (at, np.interp(at, *moved[one])) for at, side in changed for one in moved if side in (one, "")
        ]
        if changed:
            look = {**STYLE["reading"], "marker": "x", "markeredgewidth": 2.0, "markersize": 9.0}
            pen.line("changed", [at for at, _ in spots], [up * scale for _, up in spots], **look)
    station_axis(ax, display, origin)
    draw_heights(ax, display, low=-most, high=most)
    ways = (f"ground moves, {display.unit} (up: higher)", f"moves, {display.unit} (up: higher)")
    fits = (words for words in ways if text_width(words, STYLE["note"]) < tall)
    ax.yaxis.label.set_text(next(fits, f"moves, {display.unit}"))
    return ax
