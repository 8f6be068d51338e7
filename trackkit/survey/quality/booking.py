"""The rods booked by hand's rule: height of instrument, laser position by laser position, without adjustment.

::

    height of instrument = level of a known point + backsight
    level of a point     = height of instrument - intermediate sight, or - foresight
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from trackkit.survey.grid import MERGE
from trackkit.tables.rows import rows_of

if TYPE_CHECKING:
    from trackkit.survey.readings import Survey

__all__ = ["Booking", "book_levels"]

#: A peg's name, or station [m] and side, or station and offset [m].
Place = tuple[Any, ...]

_COLUMNS: Final = [
    *("laser", "reading", "point", "back", "intermediate", "fore", "instrument_m", "level_m", "off_m"),
    *("station_m", "side"),
]
#: Arithmetic of metres holds to so much: rounding in the computer [m].
_EXACT: Final = 1e-9


@dataclass(frozen=True)
class Booking:
    """A booking of levels.

    The arithmetic checks prove the arithmetic, and not the readings: a misread intermediate sight passes all
    of them, and a misread backsight or foresight does too unless the levelling closes on a known point.
    Whether a reading is right is told by ``off_m``, and by the fit.

    Attributes
    ----------
    table : DataFrame
        One row a rod: laser, reading, point (a peg, or "2.50 m left"), back, intermediate, fore (the rod in
        the column where it is booked, the others NaN; rods on a rail with the rail's height added) [m],
        instrument_m (height of instrument), level_m (reduced level), off_m (level less what was booked for
        the point before; NaN where it was not yet known: the misclosure, where this is the closing sight),
        station_m, side.
    checks : DataFrame
        One row a laser position: laser, backs_m, fores_m (sums of backsights and foresights), rise_m (last
        level less first level: that of the foresight less that of the backsight), carried (whether sums and
        rise agree), sights (intermediate sights and foresights), levels_m (sum of their levels), reads_m (sum
        of their readings), instrument_m, reduced (whether levels and readings sum to sights x instrument).
    order : tuple of str
        Laser positions in the order they were booked in.
    datum : str
        The point that everything is counted from, in words.
    not_joined : tuple of str
        Laser positions that no shared point joins to the datum; they are not in the tables.
    notes : tuple of str
        What was done otherwise than in the order of the table, and what could not be booked.
    """

    table: pd.DataFrame
    checks: pd.DataFrame
    order: tuple[str, ...]
    datum: str
    not_joined: tuple[str, ...]
    notes: tuple[str, ...]


def book_levels(survey: Survey) -> Booking:
    """Return the booking of a survey's rods.

    The first sight of a laser position to a point of known level is its backsight. Its foresight is the sight
    that carries the level on to the next position; where none does, the last sight to a point that was known
    before (the closing sight); without such, its last sight. All others are intermediate. Of a point that is
    read again the first level stays.

    Known from the start are benchmarks that were read, else the first peg, else the first point, at level 0.
    Differences carry levels from peg to peg. Positions are booked in the order of the table; one that reads
    no known point yet waits until one does (a spanning tree), which is noted.

    Parameters
    ----------
    survey : Survey
        With its readings placed at stations (see `place_on_ties`).

    Returns
    -------
    Booking

    Raises
    ------
    ValueError
        If readings are given by tie or section, or stand on a rail whose height is not known.
    """
    levels = survey.levels.reset_index(drop=True)
    rail = levels["rail_top_m"] if "rail_top_m" in levels else pd.Series(0.0, levels.index)
    lost = (levels["point"] == "") & levels["station_m"].isna() | rail.isna()
    if lost.any():
        name = levels.loc[lost, "reading"].iloc[0]
        raise ValueError(f"{name} is given by tie or section, or on a rail: place it on a run first")
    read = (levels["rod_m"] + rail).to_numpy(dtype=float)
    places = _places(levels)
    known, datum = _start(survey, places)
    rows_by_laser = {
        str(laser): own.index.to_list() for laser, own in levels.groupby("laser", sort=False, dropna=False)
    }
    order, backs = _order(rows_by_laser, places, known, survey)
    booked: dict[Place, float] = dict(known)
    _carry(booked, survey)
    rows, checks = [], []
    for at, laser in enumerate(order):
        own, back = rows_by_laser[laser], backs[laser]
        instrument = booked[places[back]] + read[back]
        ahead = {places[backs[other]] for other in order[at + 1 :]}
        fore = _fore(own, back, places, ahead, booked)
        for row in own:
            level = float(instrument - read[row])
            kind = "back" if row == back else "fore" if row == fore else "intermediate"
            before = booked.get(places[row])
            sights = {
                name: read[row] if name == kind else np.nan for name in ("back", "intermediate", "fore")
            }
            rows.append(
                {"laser": laser, "reading": levels.loc[row, "reading"], "point": _word(places[row]), **sights,
                 "instrument_m": instrument, "level_m": booked[places[back]] if row == back else level,
                 "off_m": np.nan if row == back or before is None else level - before,
                 "station_m": levels.loc[row, "station_m"], "side": levels.loc[row, "side"]}
            )  # fmt: skip
            booked.setdefault(places[row], level)
        _carry(booked, survey)
        checks.append(_check(laser, pd.DataFrame(rows[-len(own) :])))
    alone = tuple(laser for laser in rows_by_laser if laser not in order)
    notes = _notes(list(rows_by_laser), order, alone)
    table = pd.DataFrame(rows, columns=_COLUMNS)
    return Booking(table, pd.DataFrame(checks, columns=_CHECKS), tuple(order), datum, alone, notes)


def _places(levels: pd.DataFrame) -> list[Place]:
    """Return where each rod stood; stations closer than the fit tells apart are the same."""
    found: list[Place] = []
    stations = np.sort(levels["station_m"].dropna().unique())
    same: dict[float, float] = {}
    for station in stations:
        last = next(reversed(same.values()), -np.inf)
        same[station] = last if station - last < MERGE else station
    for row in rows_of(levels):
        if row.point:
            found.append((str(row.point),))
        else:
            at = float(same[row.station_m])
            found.append((at, str(row.side)) if row.side else (at, float(row.offset_m)))
    return found


def _word(place: Place) -> str:
    if len(place) == 1:
        return str(place[0])
    station, across = place
    if isinstance(across, str):
        return f"{station:.2f} m {across}"
    return f"{station:.2f} m, {across:+.2f} m off the centre line"


def _start(survey: Survey, places: list[Place]) -> tuple[dict[Place, float], str]:
    """Return the levels known before anything is booked, and where they come from."""
    pegs = {
        *survey.differences["point"],
        *survey.differences["to_point"],
        *(p[0] for p in places if len(p) == 1),
    }
    marks = {
        (str(row.point),): float(row.height_m) for row in rows_of(survey.benchmarks) if row.point in pegs
    }
    if marks:
        words = " and ".join(f"{_word(place)} ({height:.3f} m)" for place, height in marks.items())
        return marks, f"benchmark {words}"
    first = next((place for place in places if len(place) == 1), places[0] if places else None)
    if first is None:
        return {}, "none: there is no rod reading"
    return {first: 0.0}, f"{_word(first)}, taken as 0"


def _carry(booked: dict[Place, float], survey: Survey) -> None:
    """Carry levels along differences from pegs that are known to those that are not."""
    changed = True
    while changed:
        changed = False
        for row in rows_of(survey.differences):
            low, high = (str(row.point),), (str(row.to_point),)
            for one, other, rise in ((low, high, row.rise_m), (high, low, -row.rise_m)):
                if one in booked and other not in booked:
                    booked[other] = booked[one] + float(rise)
                    changed = True


def _order(
    rows_by_laser: dict[str, list[int]], places: list[Place], known: dict[Place, float], survey: Survey
) -> tuple[list[str], dict[str, int]]:
    """Return laser positions in an order in which each reads a known point, and each one's backsight."""
    reached = dict(known)
    _carry(reached, survey)
    waiting, order, backs = list(rows_by_laser), list[str](), dict[str, int]()
    while waiting:
        ready = next(
            (one for one in waiting if any(places[row] in reached for row in rows_by_laser[one])), None
        )
        if ready is None:
            break
        waiting.remove(ready)
        order.append(ready)
        backs[ready] = next(row for row in rows_by_laser[ready] if places[row] in reached)
        for row in rows_by_laser[ready]:
            reached.setdefault(places[row], 0.0)
        _carry(reached, survey)
    return order, backs


def _fore(
    own: list[int], back: int, places: list[Place], ahead: set[Place], booked: dict[Place, float]
) -> int | None:
    """Return the row of the foresight; None where there is but one sight."""
    others = [row for row in own if row != back]
    if not others:
        return None
    carrying = [row for row in others if places[row] in ahead and places[row] not in booked]
    closing = [row for row in others if places[row] in booked or places[row] == places[back]]
    return (carrying or closing or others)[-1]


_CHECKS: Final = [
    *("laser", "backs_m", "fores_m", "rise_m", "carried", "sights", "levels_m", "reads_m", "instrument_m"),
    "reduced",
]  # fmt: skip


def _check(laser: str, page: pd.DataFrame) -> dict[str, object]:
    """Return the arithmetic checks of one laser position."""
    back, fore = page[page["back"].notna()], page[page["fore"].notna()]
    rest = page[page["back"].isna()]
    instrument = float(page["instrument_m"].iloc[0])
    rise = float(fore["level_m"].iloc[-1] - back["level_m"].iloc[0]) if len(fore) else float("nan")
    backs, fores = float(back["back"].sum()), float(fore["fore"].sum())
    levels = float(rest["level_m"].sum())
    reads = float(rest[["intermediate", "fore"]].sum().sum())
    carried = not len(fore) or abs(backs - fores - rise) < _EXACT
    reduced = abs(levels + reads - len(rest) * instrument) < _EXACT * max(len(rest), 1)
    values = (laser, backs, fores, rise, carried, len(rest), levels, reads, instrument, reduced)
    return dict(zip(_CHECKS, values, strict=True))


def _notes(table: list[str], order: list[str], alone: tuple[str, ...]) -> tuple[str, ...]:
    notes = []
    if order != [laser for laser in table if laser in order]:
        notes.append(
            "booked in another order than the table's, so that each laser position reads a known point: "
            + ", ".join(order)
        )
    notes += [
        f"laser position {laser}: not joined, it reads no point that another one knows" for laser in alone
    ]
    return tuple(notes)
