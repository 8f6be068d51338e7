"""What may have gone wrong with readings in doubt, in words; and why they are in doubt."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from trackkit.survey.quality.mistakes import Change, Mistake
from trackkit.survey.quality.slips import readings_in
from trackkit.units import LENGTH_UNITS

if TYPE_CHECKING:
    from trackkit.job import Job
    from trackkit.survey.ground import Ground

__all__ = [
    "WORDS",
    "figure_words",
    "mistake_lines",
    "mistake_words",
    "reading_words",
    "short_names",
    "short_words",
    "what_words",
    "why_words",
    "words_of_readings",
]

#: What happened, by the kind of a mistake.
WORDS: Final[Mapping[str, str]] = {
    "decimetre": "a whole decimetre misread",
    "metre": "a whole metre misread",
    "digits": "two figures exchanged in writing",
    "foot": "a whole foot misread",
    "inch": "a whole inch misread",
    "feet and inches": "feet and inches written with a point between them",
    "decimal point": "the decimal point slipped by one place",
    "feet as metres": "read in feet, written as metres",
    "inches as centimetres": "read in inches, written as centimetres",
    "metres as feet": "read in metres, written as feet",
    "centimetres as inches": "read in centimetres, written as inches",
    "upside down": "the rod stood upside down",
    "sign": "the sign is wrong",
    "facing": "ahead and back exchanged",
    "grade as degrees": "a grade in per cent, written as degrees",
    "degrees as grade": "degrees, written as a grade in per cent",
    "sides": "left and right exchanged",
    "sides on a stretch": "left and right exchanged on a stretch",
    "sides of all": "left and right exchanged everywhere",
    "stations": "two stations exchanged",
    "sign of all": "the sign is wrong in the whole table",
    "facing of all": "ahead and back exchanged in the whole table",
}
#: A laser that is knocked by more than this has fallen over [m] (guess).
LARGEST_KNOCK: Final = 0.05
#: Below this chance a reading is not in doubt by chance, and the figure says no more.
HARDLY: Final = 0.001
_NAME: Final = re.compile(r"(.*) row (\d+)")


def mistake_lines(mistakes: Sequence[Mistake], ground: Ground, job: Job) -> list[str]:
    """Return what may have gone wrong, a line each, and that nothing was changed; nothing without any."""
    if not mistakes:
        return []
    lines = [mistake_words(mistake, ground, job) for mistake in mistakes]
    return [*lines, "Nothing has been changed: look at the notes of that day, and read again."]


def mistake_words(mistake: Mistake, ground: Ground, job: Job) -> str:
    """Return what happened, to which readings, and how far off they are before and after."""
    show, known = job.display, readings_in(ground.survey)
    names, where = short_names(mistake.readings), _where(mistake, known, job)
    change = ""
    if len(mistake.changes) == 1:
        only = mistake.changes[0]
        change = f"{figure_words(only, only.old, job)} should be {figure_words(only, only.new, job)}: "
    off, left = show.small_unit(mistake.off_m), show.small_unit(mistake.left_m)
    knock = _knock_words(mistake, ground)
    count = mistake.others + bool(knock)
    others = f"{count} other explanation{'s are' if count > 1 else ' is'} as good"
    others = f"; {others if count else 'no other explanation is as good'}"
    said = f"{names}{where}: perhaps {change}{what_words(mistake, job)}"
    if len(mistake.changes) > 1:
        off, left = f"up to {off}", f"up to {left}"
    return f"{said}. Off by {off} as read, by {left} then{others}{knock}.{_accounts(mistake, ground)}"


def what_words(mistake: Mistake, job: Job) -> str:
    """Return what happened; of a rod that stood upside down, how long it is that this holds for."""
    if mistake.kind != "upside down":
        return WORDS[mistake.kind]
    length = float(mistake.changes[0].old + mistake.changes[0].new)
    unit = "ft" if job.display.unit == "in" else "m"
    return f"a {length / LENGTH_UNITS[unit]:.4g} {unit} rod stood upside down"


def _accounts(mistake: Mistake, ground: Ground) -> str:
    """Return which readings in doubt a mistake of several together accounts for."""
    table = ground.doubtful
    own = table["rivals"].isin(mistake.doubts)
    if len(mistake.changes) < 2 or not own.any():
        return ""
    names, others = table.loc[own, "reading"].tolist(), table.loc[~own, "reading"].tolist()
    if not others:
        which = {1: "the reading", 2: "both readings"}.get(len(names), f"all {len(names)} readings")
        return f" It accounts for {which} in doubt."
    if len(names) > len(others):
        return f" It accounts for all readings in doubt but {short_names(others)}."
    return f" It accounts for {short_names(names)}, in doubt."


def _knock_words(mistake: Mistake, ground: Ground) -> str:
    """Return that a knocked laser would look the same, at the first and last reading from a position."""
    levels = ground.survey.levels
    own = levels[levels["reading"].isin(mistake.readings)]
    if len(own) != 1 or len(mistake.changes) > 1 or mistake.off_m > LARGEST_KNOCK:
        return ""
    same = levels.loc[levels["laser"] == own["laser"].iloc[0], "reading"].tolist()
    name = own["reading"].iloc[0]
    if len(same) < 2 or name not in (same[0], same[-1]):
        return ""
    when = "before" if name == same[-1] else "after"
    return f": a laser that was knocked {when} this reading would look the same, so read from there again"


def short_words(mistake: Mistake, job: Job) -> str:
    """Return the readings, what they would be, and what happened, for a list to choose from."""
    only = mistake.changes[0]
    new = f"{figure_words(only, only.new, job)}, " if len(mistake.changes) == 1 else ""
    return f"{short_names(mistake.readings)}: {new}{what_words(mistake, job)}"


def figure_words(change: Change, value: Any, job: Job) -> str:
    """Return a figure of a reading as the crew writes it: 143.1 cm, 1.2 degrees, ahead."""
    if isinstance(value, str):
        return value
    if change.column == "angle_rad":
        return f"{np.degrees(value):.1f} degrees"
    return job.display.small_unit(float(value))


def reading_words(name: str, ground: Ground, job: Job) -> str:
    """Return where a reading was taken, and what was read: ``7.50 m lake side, 153.1 cm``."""
    return words_of_readings([name], ground, job)[0]


def words_of_readings(names: Sequence[str], ground: Ground, job: Job) -> list[str]:
    """Return `reading_words` of one reading after the other; the survey is gone through once for all."""
    known = readings_in(ground.survey)
    return [_row_words(*known[name], job) if name in known else "a difference of heights" for name in names]


def _row_words(table: str, row: Any, job: Job) -> str:
    """Return where a reading of a table was taken, and what was read."""
    show = job.display
    place = getattr(row, "point", "") or show.long(row.station_m)
    if table == "boards":
        place += f" to {show.long(row.to_station_m)}"
    side = job.side(row.side) if getattr(row, "side", "") else ""
    if table == "levels":
        what = show.small_unit(row.rod_m)
    elif row.angle_rad == row.angle_rad:
        what = f"{np.degrees(row.angle_rad):.1f} degrees{f', {row.facing}' if row.facing else ''}"
    else:
        what = f"rises {show.small_unit(row.rise_m)}"
    return f"{place}{f' {side}' if side else ''}, {what}"


def why_words(row: Any, ground: Ground) -> str:
    """Return why a reading is in doubt; a row of ``Ground.doubtful``."""
    against = "other readings contradict it"
    levels = ground.survey.levels
    rail = (levels.loc[levels["reading"] == row.reading, "on"] == "rail").any()
    if row.checked != "readings" and rail:
        against = "only the track about it speaks against it: a bent end, a kink or a hanging tie would look"
        against += " the same"
    elif row.checked != "readings":
        against = "only the ground about it speaks against it: a stone or a hole would look the same"
    table = ground.doubtful
    rivals = table[(table["rivals"] == row.rivals) & (table["reading"] != row.reading)]["reading"].tolist()
    if rivals:
        against += f"; or {' or '.join(_short(rivals))} is wrong instead"
    if row.chance == row.chance and row.chance >= HARDLY:
        against += f"; by chance this happens in 1 good survey of {round(1.0 / row.chance)}"
    return against


def short_names(readings: Sequence[str]) -> str:
    """Return readings of one table in short: levels.csv rows 10, 11."""
    distinct = sorted(dict.fromkeys(readings), key=_order)
    if len(distinct) == 1:
        return distinct[0]
    matched = [_NAME.fullmatch(name) for name in distinct]
    files = {found[1] if found else "" for found in matched}
    if len(files) > 1 or "" in files:
        return ", ".join(distinct)
    rows = [int(found[2]) for found in matched if found]
    return f"{files.pop()} rows {_stretches(rows)}"


def _order(name: str) -> tuple[str, int]:
    found = _NAME.fullmatch(name)
    return (found[1], int(found[2])) if found else (name, 0)


def _stretches(rows: Sequence[int]) -> str:
    """Return numbers with runs of neighbours drawn together: 3, 5 to 9."""
    parts: list[list[int]] = []
    for row in rows:
        if parts and row == parts[-1][-1] + 1:
            parts[-1].append(row)
        else:
            parts.append([row])
    joined = [f"{part[0]} to {part[-1]}" if len(part) > 2 else ", ".join(map(str, part)) for part in parts]
    return ", ".join(joined)


def _short(readings: Sequence[str]) -> list[str]:
    """Return names of readings, those after the first without their file if it is the same."""
    first = _NAME.fullmatch(readings[0])
    short = [readings[0]]
    for name in readings[1:]:
        found = _NAME.fullmatch(name)
        short.append(f"row {found[2]}" if found and first and found[1] == first[1] else name)
    return short


def _where(mistake: Mistake, known: Mapping[str, tuple[str, Any]], job: Job) -> str:
    """Return where readings were taken: (7.50 m lake side), (from 2.00 m to 5.00 m)."""
    rows = [known[name][1] for name in dict.fromkeys(mistake.readings) if name in known]
    if len(rows) == 1:
        row = rows[0]
        if getattr(row, "point", ""):
            return f" ({row.point})"
        side = getattr(row, "side", "")
        return f" ({job.display.long(row.station_m)}{f' {job.side(side)}' if side else ''})"
    if mistake.kind.endswith("of all"):
        return ""
    stations = sorted({float(row.station_m) for row in rows})
    if len(stations) == 1:
        return f" (at {job.display.long(stations[0])})"
    joined = "and" if len(stations) == 2 else "to"
    return f" ({job.display.long(stations[0])} {joined} {job.display.long(stations[-1])})"
