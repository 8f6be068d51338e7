"""The ground as it was read: both sides with their doubt, and where each rod and board puts them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.show.bar_axis import landmark, own_axes
from trackkit.show.lettering import text_width
from trackkit.show.pen import Pen
from trackkit.show.room import Box, Paper, Room, word_box
from trackkit.show.scales import draw_heights, exaggeration_words
from trackkit.show.signs import ROW, Entry, draw_entries, kind_words, mark_of, rows_needed, station_axis
from trackkit.show.style import INK, STYLE
from trackkit.survey.known import sd_against_best
from trackkit.tables.rows import rows_of
from trackkit.units import DISPLAYS, LENGTH_UNITS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from trackkit.survey.ground import Ground

__all__ = ["HARDLY_KNOWN", "draw_profile", "rod_heights"]

Array = NDArray[np.float64]

#: Give or take (2 sd) from which the ground counts as hardly known, more than a wedge travels [m]. Guess.
HARDLY_KNOWN: Final = 0.03
#: Points at which the ground is drawn, and what is shown beyond the first and last station [m].
SAMPLES, PAST = 300, 0.35
#: At least so much height is shown [m].
LEAST: Final = 0.08
#: Room under the ground, for the words on stretches hardly known [in].
FOOT: Final = 0.26
_SURFACES: Final = {"left": "surface", "right": "other surface"}


def rod_heights(ground: Ground) -> pd.DataFrame:
    """Return the rods off the pegs with the height that each puts the ground at.

    Returns
    -------
    DataFrame
        reading, station_m, side ('' at an offset) and height_m: the laser's height less the rod, and less
        what lies between ground and rod where that stood on a rail. What a line of sight that isn't level
        adds is not taken off.
    """
    levels = ground.survey.levels
    levels = levels[(levels["point"] == "") & levels["station_m"].notna()]
    lasers = dict(zip(ground.lasers["laser"], ground.lasers["height_m"], strict=True))
    height = levels["laser"].map(lasers).astype(float) - levels["rod_m"] - levels["rail_top_m"].fillna(0.0)
    return levels[["reading", "station_m", "side"]].assign(height_m=height).dropna().reset_index(drop=True)


def draw_profile(
    ground: Ground,
    *,
    ax: Axes | None = None,
    display: Display = DISPLAYS["mm"],
    side_names: Mapping[str, str] | None = None,
    breaks: Sequence[tuple[float, float]] = (),
    hardly_known: float = HARDLY_KNOWN,
    ends: tuple[float, float] | None = None,
    origin: str = "start mark",
) -> Axes:
    """Draw the ground of both sides with its doubt (2 sd), and the readings that it was made from.

    Parameters
    ----------
    ground : Ground
    ax : Axes, optional
        By default a new figure's, 11 by 3.4 in.
    display, side_names
        See `trackkit.show.plots.side_view`.
    breaks : sequence of (float, float)
        Stations where an edge meets the left and the right side; NaN where it meets only the other [m].
    hardly_known : float
        From this give or take on (2 sd) a stretch is marked: that of its height against the place known
        best, in which a doubtful datum has no part [m].
    ends : tuple of float, optional
        Stations of the picture's ends [m].
    origin : str
        What stations are counted from.

    Returns
    -------
    Axes
        Stations in metres, heights in the display's unit.
    """
    ax = own_axes(3.4) if ax is None else ax
    scale = 1.0 / LENGTH_UNITS[display.unit]
    low, high = ends or (float(ground.stations.min()) - PAST, float(ground.stations.max()) + PAST)
    edges = [float(one) for pair in breaks for one in pair if np.isfinite(one) and low < one < high]
    stations = np.unique(
        np.concatenate([np.linspace(low, high, SAMPLES), [one + by for one in edges for by in (-1e-4, 1e-4)]])
    )
    surfaces = {side: ground.height(stations, side) for side in ground.sides}
    rods = rod_heights(ground)
    entries = _entries(ground, rods, side_names)
    wide, tall = (float(size) / ax.figure.dpi for size in (ax.bbox.width, ax.bbox.height))
    head = (rows_needed(entries, wide) + 1) * ROW + 0.05
    reach = [
        mean + way * np.minimum(2 * sd, hardly_known) for mean, sd in surfaces.values() for way in (-1, 1)
    ]
    every = np.concatenate([*reach, rods["height_m"].to_numpy(dtype=float)])
    top, bottom = float(every.max()), float(every.min())
    spare = max(LEAST - (top - bottom), 0.0) / 2
    top, bottom = (top + spare) * scale, (bottom - spare) * scale
    inch = (top - bottom) * 1.04 / max(tall - head - FOOT, 0.4)
    floor = bottom - FOOT * inch
    ax.set_facecolor(STYLE["page"]["facecolor"])
    ax.set_xlim(low, high)
    ax.set_ylim(floor, floor + tall * inch)
    paper = Paper.of(ax)
    room = Room(Box(0.0, 0.0, wide, tall - head + ROW))
    with Pen(ax) as pen:
        draw_entries(pen, paper, entries)
        words = exaggeration_words(paper.inches[1] * scale / paper.inches[0])
        y = tall - head + ROW / 2
        half = text_width(words, STYLE["scale"]) / 2 + 0.05
        box = room.first([word_box(words, STYLE["scale"], wide - half, y)])
        _write(pen, paper, "scale", words, box, "scale")
        for side, (mean, sd) in surfaces.items():
            low_edge, high_edge = (mean - 2 * sd) * scale, (mean + 2 * sd) * scale
            pen.band(f"{side}-doubt", stations, low_edge, high_edge, **STYLE["doubt"])
            pen.line(f"{side}-ground", stations, mean * scale, **STYLE[_SURFACES[side]])
            places = [paper.inch(at, height) for at, height in zip(stations, mean * scale, strict=True)]
            room.taken += [Box(x - 0.03, y - 0.03, x + 0.03, y + 0.03) for x, y in places]
        for row in rows_of(rods):
            x, y = paper.inch(row.station_m, row.height_m * scale)
            room.taken.append(Box(x - 0.07, y - 0.07, x + 0.07, y + 0.07))
        _draw_breaks(pen, paper, room, breaks, side_names)
        _draw_hardly(pen, paper, room, ground, stations, hardly_known)
        for side, own in ((side, rods[rods["side"] == side]) for side in sorted(set(rods["side"]))):
            look = {**STYLE["reading"], "markerfacecolor": INK if side == "left" else "white"}
            mark = mark_of("rod" if side else "rod at offset", str(side))
            heights = own["height_m"].to_numpy(dtype=float) * scale
            pen.line(f"{side or 'offset'}-rods", own["station_m"].to_numpy(), heights, marker=mark, **look)
        _draw_boards(pen, ground, scale)
        _draw_doubtful(pen, paper, room, _doubtful(ground, rods), scale)
    station_axis(ax, display, origin)
    draw_heights(ax, display, low=bottom, high=top)
    return ax


def _entries(ground: Ground, rods: pd.DataFrame, names: Mapping[str, str] | None) -> list[Entry]:
    found: list[Entry] = [(_SURFACES[side], {}, f"ground, {landmark(side, names)}") for side in ground.sides]
    found.append(("doubt", {}, "give or take 2 sd: so 19 times in 20"))
    for side in sorted(set(rods["side"])):
        kind = "rod" if side else "rod at offset"
        more = {"marker": mark_of(kind, side), "markerfacecolor": INK if side == "left" else "white"}
        found.append(("reading", more, kind_words(kind, side, names)))
    residuals = ground.residuals
    if (residuals["kind"] == "board").any():
        found.append(("board", {}, "board, as it was read"))
    if residuals["doubtful"].any():
        found.append(("ring", {}, "in doubt: read it again"))
    return found


def _draw_boards(pen: Pen, ground: Ground, scale: float) -> None:
    """Draw each board on the ground under its middle, with the slope that was read on it.

    Those that a log became lie on one another all the way and would hide the ground: they are left out.
    """
    for side in ground.sides:
        table = ground.residuals
        own = table[(table["kind"] == "board") & (table["side"] == side)]
        ends = own[["station_m", "to_station_m"]].to_numpy(dtype=float)
        heights = ground.height(ends.ravel(), side)[0].reshape(-1, 2) if len(own) else ends
        rise = heights[:, 1] - heights[:, 0] - own["residual_m"].to_numpy(dtype=float)
        middle = heights.mean(axis=1)
        read = np.column_stack([middle - rise / 2, middle + rise / 2]) * scale
        pen.strokes(f"{side}-boards", np.stack([ends, read], axis=2), **STYLE["board"])


def _draw_breaks(
    pen: Pen, paper: Paper, room: Room, breaks: Sequence[tuple[float, float]], names: Mapping[str, str] | None
) -> None:
    """Draw an upright line where an edge meets each side, with its word."""
    for place, pair in enumerate(breaks):
        for side, station in zip(("left", "right"), pair, strict=True):
            if not np.isfinite(station):
                continue
            name = f"break-{place}-{side}"
            top = room.sheet.top - ROW
            pen.line(name, [station] * 2, [paper.low[1], paper.data(0.0, top)[1]], **STYLE["break"])
            x = paper.inch(station, 0.0)[0]
            room.taken.append(Box(x - 0.02, 0.0, x + 0.02, top))
            word = "break" if pair[0] == pair[1] else f"break, {(names or {}).get(side, side)}"
            if pair[0] == pair[1] and side == "right":
                continue
            half = text_width(word, STYLE["small"]) / 2 + 0.07
            spots = [(x + way * half, top + ROW / 2 - down * ROW) for down in range(4) for way in (1, -1)]
            box = room.first(word_box(word, STYLE["small"], *spot) for spot in spots)
            _write(pen, paper, f"{name}-word", word, box, "small", bbox=STYLE["clear"])


def _draw_hardly(
    pen: Pen, paper: Paper, room: Room, ground: Ground, stations: Array, hardly_known: float
) -> None:
    """Hatch the stretches where heights are hardly known against each other, and say so at the foot."""
    read = _worst(ground, ground.stations)
    wide = 2.0 * _worst(ground, stations) > hardly_known
    starts = np.flatnonzero(np.diff(wide.astype(int), prepend=0) == 1)
    stops = np.flatnonzero(np.diff(wide.astype(int), append=0) == -1)
    bottom, top = paper.low[1], paper.data(0.0, room.sheet.top - ROW)[1]
    areas = []
    for place, (first, last) in enumerate(zip(starts, stops, strict=True)):
        left, right = float(stations[first]), float(stations[last])
        areas.append([(left, bottom), (right, bottom), (right, top), (left, top)])
        a, b = paper.inch(left, 0.0)[0], paper.inch(right, 0.0)[0]
        within = read[(ground.stations > left) & (ground.stations < right)]
        known = len(within) > 0 and 2.0 * within.min() <= hardly_known  # rough ground, read in places
        word = "hardly known between readings" if known else "hardly known here"
        half = text_width(word, STYLE["bold note"]) / 2 + 0.05
        centre = min(max((a + b) / 2, half), paper.wide - half)
        spots = [(centre, 0.12 + up * ROW) for up in range(5)]
        box = room.first(word_box(word, STYLE["bold note"], *spot) for spot in spots)
        _write(pen, paper, f"hardly-{place}", word, box, "bold note", bbox=STYLE["clear"])
    pen.areas("hardly-known", areas, **STYLE["hardly known"])


def _worst(ground: Ground, stations: Array) -> Array:
    """Return the standard deviation against the place known best, of the side that is known less [m]."""
    each = [sd_against_best(ground, stations, side) for side in ground.sides]
    return np.asarray(np.max(each, axis=0))


def _doubtful(ground: Ground, rods: pd.DataFrame) -> pd.DataFrame:
    """Return the readings in doubt that have a place in the picture: reading, at, height [m]."""
    table = ground.residuals[ground.residuals["doubtful"] & ground.residuals["station_m"].notna()]
    heights = rods.set_index("reading")["height_m"]
    found = []
    for row in rows_of(table):
        at = row.station_m if row.to_station_m != row.to_station_m else (row.station_m + row.to_station_m) / 2
        sides = [row.side] if row.side in ground.sides else list(ground.sides)
        mean = np.mean([ground.height(at, side)[0] for side in sides])
        found.append((row.reading, float(at), float(heights.get(row.reading, mean))))
    return pd.DataFrame(found, columns=["reading", "at", "height_m"])


def _draw_doubtful(pen: Pen, paper: Paper, room: Room, doubtful: pd.DataFrame, scale: float) -> None:
    heights = doubtful["height_m"].to_numpy(dtype=float) * scale
    pen.line("doubtful", doubtful["at"].to_numpy(dtype=float), heights, **STYLE["ring"])
    spots = [paper.inch(at, height) for at, height in zip(doubtful["at"], heights, strict=True)]
    room.taken += [Box(x - 0.15, y - 0.15, x + 0.15, y + 0.15) for x, y in spots]
    for number, (word, (x, y)) in enumerate(zip(doubtful["reading"], spots, strict=True)):
        box = room.beside(word, STYLE["bold note"], x, y, off=0.17, far=2.5)
        _write(pen, paper, f"doubtful-{number}", word, box, "bold note", bbox=STYLE["clear"])


def _write(pen: Pen, paper: Paper, name: str, word: str, box: Box | None, style: str, **own: Any) -> None:
    if box is not None:
        look = {"ha": "center", "va": "center", **STYLE[style], **own}
        pen.words(name, word, *paper.data(*box.middle), **look)
