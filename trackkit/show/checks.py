"""What checks the readings: how far each is off, and the ground that they make together."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.show.bar_axis import own_axes
from trackkit.show.lettering import fitted, text_width
from trackkit.show.pen import Pen
from trackkit.show.profile import HARDLY_KNOWN, draw_profile
from trackkit.show.room import Box, Paper, Room, word_box
from trackkit.show.scales import draw_heights
from trackkit.show.signs import ROW, Entry, draw_entries, kind_words, mark_of, rows_needed, station_axis
from trackkit.show.style import INK, STYLE
from trackkit.survey.readings import read_on_rail
from trackkit.tables.rows import rows_of
from trackkit.units import DISPLAYS, LENGTH_UNITS, Display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from trackkit.survey.ground import Ground

__all__ = ["HARDLY_KNOWN", "draw_profile", "draw_residuals", "off_by"]

Array = NDArray[np.float64]

#: The axis spans at least so much each way [m].
LEAST: Final = 0.003
#: Readings in doubt that are so many times farther off than the others do not stretch the picture: they
#: stand at this share of its height.
FAR, EDGE = 2.5, 0.9
#: Beyond the first and last station [m]; from one reading on a peg to the next, and room about them [in].
PAST, PEG, PEGS = 0.4, 0.22, 0.24
#: From the middle of a ring to the arrow that stands on it [in].
TIP: Final = 0.2
#: Kept free at the bottom [in].
FOOT: Final = 0.24
#: Readings that say how much the ground rises, not how high it is.
RISING: Final = frozenset({"board", "phone log", "left-to-right", "difference", "step"})
#: How the marks of readings are filled by what checks them; a cross stands for those that nothing checks.
FILLED: Final[Mapping[str, Mapping[str, Any]]] = {
    "readings": {"markerfacecolor": INK},
    "smoothness": {"markerfacecolor": "white"},
    "nothing": {"markeredgewidth": 2.0},
}


def off_by(table: pd.DataFrame) -> pd.DataFrame:
    """Return the residual table with off, may and trial, all up where the reading has the ground higher [m].

    Parameters
    ----------
    table : DataFrame
        ``ground.residuals``.

    Returns
    -------
    DataFrame
        With ``off``, how far a reading is from the fit of those beyond doubt: above 0 where a rod has the
        ground higher, where a board rises more towards its far end, a left-to-right more to the right.
        ``may``, what that may be 19 times in 20 for a good reading, 2 sd sqrt(redundancy) in that fit: a
        reading that little else checks draws the fit after it, and must come out close. ``trial``, as
        ``off`` but against a fit without this reading alone, where that was tried.
    """
    sign = np.where(table["kind"].astype(str).str.startswith("rod"), 1.0, -1.0)
    share = np.sqrt(np.maximum(table["redundancy_apart"].to_numpy(dtype=float), 0.0))
    return table.assign(
        off=sign * table["apart_m"],
        may=2.0 * table["sd_m"] * share,
        trial=sign * table["off_m"].fillna(table["apart_m"]),
        sided=table["side"].where(table["kind"].isin(["rod", "board", "phone log", "step"]), ""),
    )


def draw_residuals(
    ground: Ground,
    *,
    ax: Axes | None = None,
    display: Display = DISPLAYS["mm"],
    side_names: Mapping[str, str] | None = None,
    origin: str = "start mark",
) -> Axes:
    """Draw how far every reading is off what those beyond doubt make of it, against what it may be.

    Readings on pegs, and others without a station, stand in a strip of their own at the left. Readings in
    doubt are ringed and named, with how far they are off what the others make of them; those that lie too far
    off for the picture stand at its edge, with an arrow.

    Parameters
    ----------
    ground : Ground
    ax : Axes, optional
        By default a new figure's, 11 by 3.4 in.
    display, side_names
        See `trackkit.show.plots.side_view`.
    origin : str
        What stations are counted from.

    Returns
    -------
    Axes
        Stations in metres, lengths in the display's unit; see `off_by` for which way is up.
    """
    ax = own_axes(3.4) if ax is None else ax
    scale, table = 1.0 / LENGTH_UNITS[display.unit], off_by(ground.residuals)
    wide, tall = (float(size) / ax.figure.dpi for size in (ax.bbox.width, ax.bbox.height))
    places, ends, start = _placed(table, wide)
    most = _most(table)
    far = table["off"].abs() > most
    table = table.assign(at=places, far=far, off=table["off"].clip(-EDGE * most, EDGE * most))
    entries = _entries(table, side_names, read_on_rail(ground.survey))
    head = rows_needed(entries, wide) * ROW + 0.12
    most *= scale
    inch = 2.0 * most / max(tall - head - FOOT, 0.4)
    ax.set_facecolor(STYLE["page"]["facecolor"])
    ax.set_xlim(*ends)
    bottom = -most - FOOT * inch
    ax.set_ylim(bottom, bottom + tall * inch)
    paper = Paper.of(ax)
    room = Room(Box(0.0, 0.0, wide, tall - head))
    with Pen(ax) as pen:
        draw_entries(pen, paper, entries)
        pen.line("zero", ends, [0.0, 0.0], **STYLE["zero"])
        bars = [
            [(at, -may * scale), (at, may * scale)] for at, may in zip(table["at"], table["may"], strict=True)
        ]
        pen.strokes("may-be", bars, **STYLE["may be"])
        for (kind, side, checked), own in table.groupby(["kind", "sided", "checked"], sort=False):
            mark = "x" if checked == "nothing" else mark_of(str(kind), str(side))
            name = f"{kind}-{side or 'both'}-{checked}".replace(" ", "-")
            look = {**STYLE["reading"], **FILLED[str(checked)]}
            pen.line(name, own["at"].to_numpy(), own["off"].to_numpy() * scale, marker=mark, **look)
        for row in rows_of(table):
            x, y = paper.inch(row.at, row.off * scale)
            room.taken.append(Box(x - 0.06, y - 0.06, x + 0.06, y + 0.06))
        _draw_pegs(pen, paper, room, table, ground)
        _draw_doubtful(pen, paper, room, table[table["doubtful"]], display)
    station_axis(ax, display, origin, start=start)
    draw_heights(ax, display, low=-most, high=most)
    up = f"off by, {display.unit} (up: ground higher)"
    whole = text_width(up, STYLE["note"]) < tall
    ax.yaxis.label.set_text(up if whole else f"off by, {display.unit}")
    return ax


def _most(table: pd.DataFrame) -> float:
    """Return how far the picture reaches each way: all good readings, and the others if they are near [m]."""
    reach = np.maximum(table["off"].abs(), table["may"])
    good = max(float(reach[~table["doubtful"]].max()), float(table["may"].max()), LEAST) * 1.1
    every = float(reach.max()) * 1.1
    return every if every <= FAR * good else good


def _placed(table: pd.DataFrame, wide: float) -> tuple[Array, tuple[float, float], float]:
    """Return where each reading stands, the axis' ends, and from where on it is one of stations [m].

    Readings without a station stand in a strip at the left, those of one point side by side.
    """
    at = table["station_m"].to_numpy(dtype=float).copy()
    boards = table["to_station_m"].notna().to_numpy()
    at[boards] = (at[boards] + table["to_station_m"].to_numpy(dtype=float)[boards]) / 2.0
    known = at[np.isfinite(at)]
    low, high = (float(known.min()) - PAST, float(known.max()) + PAST) if len(known) else (0.0, 1.0)
    points = table["point"].where(~np.isfinite(at)).dropna()
    inches, strip = pd.Series(np.nan, index=table.index), 0.0
    for point, own in points.groupby(points):
        room = max(len(own) * PEG, text_width(str(point), STYLE["small"]) + 0.16)
        inches[own.index] = strip + (np.arange(len(own)) + 0.5) * room / len(own)
        strip += room
    squeezed = min(1.0, wide / 2 / strip) if strip else 1.0
    strip = strip * squeezed + PEGS if strip else 0.0
    metre = (wide - strip) / (high - low)
    lone = ~np.isfinite(at)
    at[lone] = low - (strip - PEGS / 2 - inches.to_numpy(dtype=float)[lone] * squeezed) / metre
    return at, (low - strip / metre, high), low


def _entries(table: pd.DataFrame, names: Mapping[str, str] | None, rail: bool = False) -> list[Entry]:
    """Return the signs that are in the picture, with what they mean."""
    found: list[Entry] = []
    pairs = table[["kind", "sided"]].drop_duplicates().itertuples(index=False, name=None)
    for kind, side in pairs:
        more = {"marker": mark_of(kind, side), **FILLED["readings"]}
        found.append(("reading", more, kind_words(kind, side, names)))
    checked = set(table["checked"])
    if "smoothness" in checked:
        more = {"marker": "o", **FILLED["smoothness"]}
        what = "track" if rail else "ground"
        found.append(("reading", more, f"hollow: only the {what}'s smoothness checks it"))
    if "nothing" in checked:
        found.append(("reading", {"marker": "x", **FILLED["nothing"]}, "cross: nothing checks it"))
    found.append(("may be", {}, "a good reading stays in this, 19 times in 20"))
    if table["doubtful"].any():
        found.append(("ring", {}, "in doubt: read it again"))
    if table["far"].any():
        found.append(("reading", {"marker": "$↕$", **FILLED["readings"]}, "arrow: farther off than is drawn"))
    rising = sorted(RISING & set(table["kind"]))
    if rising:
        words = f"{', '.join(rising)}: up where it rises more"
        found.append(("reading", {"marker": "$↑$", **FILLED["readings"]}, words))
    return found


def _draw_pegs(pen: Pen, paper: Paper, room: Room, table: pd.DataFrame, ground: Ground) -> None:
    """Rule off the readings without a station, and write what they are of."""
    lone = table[table["station_m"].isna()]
    if lone.empty:
        return
    right = float(lone["at"].max()) + 0.14 / paper.inches[0]
    pen.line("pegs-edge", [right, right], [paper.low[1], paper.data(0.0, room.sheet.top)[1]], **STYLE["rule"])
    for point, own in lone.groupby("point"):
        x = paper.inch(float(own["at"].mean()), 0.0)[0]
        word, _ = fitted(str(point), max(len(own) * PEG, 1.0), STYLE["small"])
        box = room.first([word_box(word, STYLE["small"], x, 0.1)])
        if box is not None:
            look = {"ha": "center", "va": "center", **STYLE["small"]}
            pen.words(f"peg-{point}", word, *paper.data(*box.middle), **look)


def _draw_doubtful(pen: Pen, paper: Paper, room: Room, doubtful: pd.DataFrame, display: Display) -> None:
    """Ring the readings in doubt, and name each where no other word is."""
    scale = 1.0 / LENGTH_UNITS[display.unit]
    pen.line("doubtful", doubtful["at"].to_numpy(), doubtful["off"].to_numpy() * scale, **STYLE["ring"])
    for name, mark, sign in (("up", "$↑$", 1.0), ("down", "$↓$", -1.0)):
        far = doubtful[doubtful["far"] & (np.sign(doubtful["off"]) == sign)]
        tips = far["off"].to_numpy() * scale + sign * TIP / paper.inches[1]
        look = {**STYLE["reading"], **FILLED["readings"], "marker": mark, "markersize": 9.0}
        pen.line(f"farther-{name}", far["at"].to_numpy(), tips, **look)
    spots = [paper.inch(row.at, row.off * scale) for row in rows_of(doubtful)]
    room.taken += [Box(x - 0.15, y - 0.15, x + 0.15, y + 0.15) for x, y in spots]
    leaders = []
    for number, (row, (x, y)) in enumerate(zip(rows_of(doubtful), spots, strict=True)):
        word = f"{row.reading}: off by {display.small_unit(abs(row.trial))}"
        box = room.beside(word, STYLE["bold note"], x, y, off=0.17, far=3.0)
        if box is None:
            continue
        look = {"ha": "center", "va": "center", "bbox": STYLE["clear"], **STYLE["bold note"]}
        pen.words(f"doubtful-{number}", word, *paper.data(*box.middle), **look)
        near = (min(max(x, box.left), box.right), min(max(y, box.bottom), box.top))
        if np.hypot(near[0] - x, near[1] - y) > 0.3:
            leaders.append([paper.data(x, y), paper.data(*near)])
    pen.strokes("doubtful-leaders", leaders, **STYLE["leader"])
