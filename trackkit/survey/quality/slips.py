"""The ways in which a reading goes wrong: what it would have to be, if that had happened.

Nothing is judged here: every slip that could be is listed, `mistakes` tries them against the other readings.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from trackkit.survey.readings import Survey
from trackkit.tables.rows import rows_of
from trackkit.units import LENGTH_UNITS, Display

__all__ = ["ROD_LENGTHS", "Change", "Slip", "readings_in", "single_slips", "slips_across"]

FOOT: Final = LENGTH_UNITS["ft"]
INCH: Final = LENGTH_UNITS["in"]
#: Rods that may have stood upside down: their lengths [m] (common practice, no source).
ROD_LENGTHS: Final[Mapping[str, tuple[float, ...]]] = {
    "metric": (2.0, 2.4, 3.0, 4.0, 5.0),
    "feet": tuple(feet * FOOT for feet in (6.5, 8.0, 10.0, 13.0, 16.0)),
}
#: A slipped decimal point is looked for in rods no longer, and angles no steeper [m, rad] (guesses).
LONGEST, STEEPEST = 6.0, math.pi / 3
#: Two figures are the same if they differ by no more [m, or ft].
_TYPED: Final = 1e-6
#: Sides are exchanged at so many stations in a row, or from the first or to the last one (a choice).
LONGEST_STRETCH: Final = 4
#: With more stations from one laser position only neighbours are tried for having been exchanged.
MOST_PAIRED: Final = 40


@dataclass(frozen=True)
class Change:
    """One figure of a survey that would be another.

    Attributes
    ----------
    reading : str
        "levels.csv row 7".
    table, column : str
        Where in the `Survey`: ('levels', 'rod_m'), ('boards', 'facing').
    old, new : float or str
        As read, and as it would be; metres, radians.
    """

    reading: str
    table: str
    column: str
    old: Any
    new: Any


@dataclass(frozen=True)
class Slip:
    """One way in which one or several readings may have gone wrong.

    Attributes
    ----------
    kind : str
        One of ``WORDS`` in `trackkit.mistaken`.
    changes : tuple of Change
    """

    kind: str
    changes: tuple[Change, ...]

    @property
    def readings(self) -> tuple[str, ...]:
        """The readings that it changes."""
        return tuple(change.reading for change in self.changes)


def readings_in(survey: Survey) -> dict[str, tuple[str, Any]]:
    """Return for every rod, board and left-to-right its table and its row."""
    return {
        str(row.reading): (table, row)
        for table in ("levels", "boards", "crosslevels")
        for row in rows_of(getattr(survey, table))
    }


def single_slips(table: str, row: Any, display: Display) -> Iterator[Slip]:
    """Return the ways in which one reading may have gone wrong by itself.

    Parameters
    ----------
    table : {'levels', 'boards', 'crosslevels'}
    row : named tuple
        Its row there.
    display : Display
        Of the job: crews that work in inches do not misread a decimetre.
    """
    if table == "levels":
        known: dict[float, str] = {}
        for kind, rod in _rods(float(row.rod_m), display):
            if rod >= 0.0 and not any(abs(rod - other) < _TYPED for other in known):
                known[rod] = kind
                yield Slip(kind, (Change(row.reading, table, "rod_m", float(row.rod_m), rod),))
        return
    if getattr(row, "log_pass", ""):  # a mean of many readings that a phone wrote by itself
        return
    column = "angle_rad" if math.isfinite(row.angle_rad) else "rise_m"
    value = float(getattr(row, column))
    yield Slip("sign", (Change(row.reading, table, column, value, -value),))
    yield from _slipped_point(table, row, column)
    if column == "angle_rad":
        yield Slip("facing", (_turned(table, row),))
        as_grade, as_degrees = math.atan(math.degrees(value) / 100.0), math.radians(100.0 * math.tan(value))
        yield Slip("grade as degrees", (Change(row.reading, table, column, value, as_grade),))
        if abs(as_degrees) < STEEPEST:
            yield Slip("degrees as grade", (Change(row.reading, table, column, value, as_degrees),))


def _slipped_point(table: str, row: Any, column: str) -> Iterator[Slip]:
    """Return what an angle, or a taped rise, would be with the decimal point one place further."""
    value = float(getattr(row, column))
    if column == "angle_rad":
        for degrees in _moved_point(math.degrees(value)):
            if abs(math.radians(degrees)) < STEEPEST:
                new = math.radians(degrees)
                yield Slip("decimal point", (Change(row.reading, table, column, value, new),))
    else:
        for rise in _moved_point(100.0 * value):
            yield Slip("decimal point", (Change(row.reading, table, column, value, rise / 100.0),))


def _moved_point(figure: float) -> Iterator[float]:
    """Return a figure with its decimal point one place further, if people write so many decimals.

    A figure without decimals lost its point (16 for 1.6); one with more than one has it too far to the left.
    """
    if not figure:
        return
    if abs(figure - round(figure)) < _TYPED:
        yield figure / 10.0
    if abs(100.0 * figure - round(100.0 * figure)) < _TYPED:
        yield 10.0 * figure


def _turned(table: str, row: Any) -> Change:
    return Change(row.reading, table, "facing", row.facing, "ahead" if row.facing == "back" else "back")


def _rods(rod: float, display: Display) -> Iterator[tuple[str, float]]:
    """Return what a rod reading may have been, and how it went wrong."""
    if display.unit == "in":
        yield from (("foot", rod + FOOT), ("foot", rod - FOOT), ("inch", rod + INCH), ("inch", rod - INCH))
        yield from (("feet and inches", feet) for feet in _feet_and_inches(rod))
        yield ("metres as feet", rod / FOOT)
        yield ("centimetres as inches", rod / 2.54)
        yield from (("digits", swapped) for swapped in _inches_exchanged(rod))
    else:
        yield from (("decimetre", rod + 0.1), ("decimetre", rod - 0.1))
        yield from (("metre", rod + 1.0), ("metre", rod - 1.0))
        yield from (("digits", swapped) for swapped in _digits_exchanged(rod))
        yield ("feet as metres", rod * FOOT)
        yield ("inches as centimetres", rod * 2.54)
    unit = INCH if display.unit == "in" else 0.01
    moved_point = _moved_point(rod / unit)
    yield from (("decimal point", unit * moved) for moved in moved_point if unit * moved <= LONGEST)
    for length in ROD_LENGTHS["feet" if display.unit == "in" else "metric"]:
        yield ("upside down", length - rod)


def _feet_and_inches(rod: float) -> Iterator[float]:
    """Return what feet and inches typed with a point between them mean: 5.3 for 5' 3", 5.11 for 5' 11"."""
    feet = rod / FOOT
    hundredths = round(100.0 * feet)
    if abs(hundredths / 100.0 - feet) > _TYPED:
        return
    whole, part = divmod(hundredths, 100)
    if part % 10 == 0 and part:  # 5.3, and perhaps 5.10
        yield (whole + part / 10 / 12.0) * FOOT
    if part in (10, 11) or 0 < part < 10:
        yield (whole + part / 12.0) * FOOT


def _inches_exchanged(rod: float) -> Iterator[float]:
    """Return a reading in inches with the two figures of its whole inches exchanged."""
    whole, part = divmod(rod / INCH + _TYPED, 1.0)
    tens, ones = divmod(int(whole), 10)
    if 0 < tens < 10 and tens != ones:
        yield (10 * ones + tens + part - _TYPED) * INCH


def _digits_exchanged(rod: float) -> Iterator[float]:
    """Return a reading in millimetres with two neighbouring digits exchanged."""
    millimetres = round(1000.0 * rod)
    if abs(millimetres / 1000.0 - rod) > _TYPED:
        return
    figures = str(millimetres)
    for i, (first, second) in enumerate(itertools.pairwise(figures)):
        if first != second:
            yield int(figures[:i] + second + first + figures[i + 2 :]) / 1000.0


def slips_across(survey: Survey) -> Iterator[Slip]:
    """Return the ways in which several readings may have gone wrong together.

    Rods of the left and the right side exchanged, at one station, on a stretch of them or everywhere; the
    rods of two stations exchanged, on one side or on both; the sign, or the facing, wrong in a whole table.
    """
    levels = survey.levels
    rods = levels[levels["station_m"].notna() & levels["side"].isin(("left", "right"))]
    for _, own in rods.groupby("laser", sort=False):
        yield from _exchanged(own)
    yield from _exchanged_from(rods)
    by_hand = survey.boards[survey.boards["log_pass"] == ""]
    for table, frame in (("boards", by_hand), ("crosslevels", survey.crosslevels)):
        for column in ("angle_rad", "rise_m"):
            some = list(rows_of(frame[frame[column].notna()]))
            if len(some) > 1:
                yield Slip("sign of all", tuple(_negated(table, row, column) for row in some))
        turned = list(rows_of(frame[frame["angle_rad"].notna()]))
        if len(turned) > 1:
            yield Slip("facing of all", tuple(_turned(table, row) for row in turned))


def _negated(table: str, row: Any, column: str) -> Change:
    value = float(getattr(row, column))
    return Change(row.reading, table, column, value, -value)


def _exchanged(rods: pd.DataFrame) -> Iterator[Slip]:
    """Return exchanges among the rods of one laser position, each place read once."""
    once = rods[~rods.duplicated(["station_m", "side"], keep=False)]
    by_place = {(float(row.station_m), str(row.side)): row for row in rows_of(once)}
    stations = sorted({station for station, _ in by_place})
    both = [s for s in stations if (s, "left") in by_place and (s, "right") in by_place]
    for start, stop in _stretches(len(both)):
        sides = [(by_place[(s, "left")], by_place[(s, "right")]) for s in both[start:stop]]
        kind = "sides" if stop - start == 1 else "sides on a stretch"
        yield from _slip(kind, [change for pair in sides for change in _swap(*pair)])
    few = len(stations) <= MOST_PAIRED
    pairs = itertools.combinations(stations, 2) if few else itertools.pairwise(stations)
    for near, far in pairs:
        swaps = [
            _swap(by_place[(near, side)], by_place[(far, side)])
            for side in ("left", "right")
            if (near, side) in by_place and (far, side) in by_place
        ]
        several = [swap for swap in swaps if _slip("stations", swap)]
        for swap in several:
            yield from _slip("stations", swap)
        if len(several) == 2:
            yield from _slip("stations", several[0] + several[1])


def _exchanged_from(rods: pd.DataFrame) -> Iterator[Slip]:
    """Return left and right exchanged from a station on, up to one, or everywhere, from all lasers."""
    once = rods[~rods.duplicated(["laser", "station_m", "side"], keep=False)]
    pairs: dict[float, list[tuple[Change, Change]]] = {}
    for _, own in once.groupby(["laser", "station_m"], sort=False):
        if len(own) == 2:
            one, other = rows_of(own)
            pairs.setdefault(float(one.station_m), []).append(_swap(one, other))
    stations = sorted(pairs)
    for start, stop in _stretches(len(stations)):
        changes = [change for s in stations[start:stop] for pair in pairs[s] for change in pair]
        if stop - start == len(stations):
            yield from _slip("sides of all", changes)
        elif start == 0 or stop == len(stations):
            yield from _slip("sides on a stretch", changes)


def _stretches(count: int) -> Iterator[tuple[int, int]]:
    """Return stretches of so many stations, as start and stop: short ones, and those from or to an end.

    All of them at once would only be the other way of looking at the ground.
    """
    for start in range(count):
        for stop in range(start + 1, count + 1):
            if stop - start <= LONGEST_STRETCH or start == 0 or stop == count:
                yield start, stop


def _slip(kind: str, changes: Sequence[Change]) -> tuple[Slip, ...]:
    """Return a slip of what its changes change: rods that are equal are the same exchanged; none without."""
    real = tuple(change for change in changes if abs(change.new - change.old) > _TYPED)
    return (Slip(kind, real),) if real else ()


def _swap(one: Any, other: Any) -> tuple[Change, Change]:
    return (
        Change(one.reading, "levels", "rod_m", float(one.rod_m), float(other.rod_m)),
        Change(other.reading, "levels", "rod_m", float(other.rod_m), float(one.rod_m)),
    )
