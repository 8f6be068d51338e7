"""Readings of the ground: the tables of a job folder as one checked `Survey`.

Signs, once for all: stations grow from the start mark towards the end mark; offsets are positive to the
right; **a larger rod reading is lower ground**; a board is positive when its far end (``to_station``) is
higher, whichever way it lies, and a left-to-right when the right side is higher. ``drop`` is the gap taped
between the levelled board and the ground under its far end, so it is positive where the far end is
lower. ``facing`` is ``ahead`` when the phone's top points to the far end (or to the right).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache, partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from trackkit.problems import Advisory, Problem, Problems, folded
from trackkit.survey.phonelog import readings_of_log
from trackkit.survey.shaping import COLUMNS, check_frames, shape, shape_log
from trackkit.survey.tables import (
    LOG_TABLES,
    READING_TABLES,
    TABLE_NAMES,
    SurveyRules,
    log_spec,
    table_specs,
)
from trackkit.tables import empty_table, read_table
from trackkit.tables.cells import Limits, Source
from trackkit.tables.folders import find_tables
from trackkit.tables.rows import rows_of

__all__ = ["Survey", "cautions", "check_stations", "make_survey", "place_on_ties", "read_survey"]


@cache
def _pattern(name: str) -> pd.DataFrame:
    return shape(name, empty_table(table_specs()[name]))


def _no_rows(name: str) -> pd.DataFrame:
    """Return a table without rows; made once, for a survey has nine and a simulation many surveys."""
    return _pattern(name).copy()


@dataclass(frozen=True, eq=False)
class Survey:
    """All readings of one job, in metres and radians.

    Every frame has the same columns whatever its file left out, and ``file`` and ``row`` where each row
    stands. A missing string is '', a missing number NaN, a missing tie or section <NA>.

    Attributes
    ----------
    levels : DataFrame
        Rod readings: reading ("levels.csv row 7"), laser, point, station_m, side, offset_m, tie, section,
        end, on ('ground' or 'rail'; where it is not said, the rail for readings by section corner, else the
        ground), rod_m, rail_top_m (underside of the tie to top of the rail: 0 on the
        ground, NaN on a rail until `place_on_ties`), sd_m, reader, note, along.
    benchmarks : DataFrame
        point, height_m, sd_m (0: held exactly), note.
    differences : DataFrame
        reading, point, to_point, rise_m (to_point above point), sd_m, note.
    lasers : DataFrame
        laser, station_m, offset_m, instrument, note: where the laser stood.
    boards : DataFrame
        reading, station_m, to_station_m, side, angle_rad (NaN if the gap was taped), rise_m (NaN if the
        angle was read), facing, instrument, sd_rad, sd_m, note, along. Readings that a phone's log was
        thinned to stand here too ("phone_log.csv rows 2 to 411"), with the pass they are of in log_pass
        ('' for others) and how far into it they were read in walked_m, or in clock_s where times are
        given.
    crosslevels : DataFrame
        reading, station_m, angle_rad or rise_m (right above left), facing, instrument, sd_rad, sd_m, note,
        along.
    breaks : DataFrame
        left_station_m, right_station_m (NaN where it meets only the other), step_m (far side above near
        side; NaN if not taped), note.
    zones : DataFrame
        from_m, to_m, side ('' for both), ground, support (whether anything may stand there), note.
    obstacles : DataFrame
        station_m, offset_m, laser and rod_m, or height_m; note.
    notes : tuple of str
        How doubtful things were read ("levels.csv: rod_ft 5.3 (row 2) read as decimal feet: 5 ft 3.6 in").

    Notes
    -----
    Where ``along`` is true the stations were taped along the slope and are not yet horizontal.
    """

    levels: pd.DataFrame = field(default_factory=partial(_no_rows, "levels"))
    benchmarks: pd.DataFrame = field(default_factory=partial(_no_rows, "benchmarks"))
    differences: pd.DataFrame = field(default_factory=partial(_no_rows, "differences"))
    lasers: pd.DataFrame = field(default_factory=partial(_no_rows, "lasers"))
    boards: pd.DataFrame = field(default_factory=partial(_no_rows, "boards"))
    crosslevels: pd.DataFrame = field(default_factory=partial(_no_rows, "crosslevels"))
    breaks: pd.DataFrame = field(default_factory=partial(_no_rows, "breaks"))
    zones: pd.DataFrame = field(default_factory=partial(_no_rows, "zones"))
    obstacles: pd.DataFrame = field(default_factory=partial(_no_rows, "obstacles"))
    notes: tuple[str, ...] = ()


def read_survey(
    folder: str | Path, *, rules: SurveyRules | None = None, limits: Limits | None = None
) -> Survey:
    """Return the survey that the tables of a folder hold.

    A phone's log, ``phone_log``, is cleaned and thinned to board readings (see ``phonelog.py``).

    Each table is a ``.csv``, an ``.xlsx`` or a sheet of a workbook, called ``levels``, ``differences``,
    ``boards``, ``crosslevels``, ``benchmarks``, ``lasers``, ``breaks``, ``zones``, ``obstacles``. Any may be
    absent, but there must be readings in one of the first four or in the log.

    Parameters
    ----------
    folder : path
        The job's folder.
    rules : SurveyRules, optional
        Bounds that tell a slip from a reading.
    limits : Limits, optional
        When to refuse a file unread.

    Raises
    ------
    InputProblems
        With every fault in all tables: file, row as a spreadsheet counts, column, what was found, what
        is accepted, what to do.
    """
    rules = rules or SurveyRules()
    problems = Problems()
    sources = find_tables(Path(folder), (*TABLE_NAMES, *LOG_TABLES), problems, limits=limits)
    frames = {}
    for name, spec in table_specs(rules).items():
        read = read_table(sources[name], spec, problems, limits=limits) if name in sources else None
        frames[name] = _no_rows(name) if read is None else shape(name, read)
    frames["boards"] = _with_log(frames["boards"], sources, problems, rules, limits)
    check_frames(frames, problems, rules, lasers=_levels_are_whole(sources.get("levels"), problems))
    if not problems.found and not any(len(frames[name]) for name in READING_TABLES):
        names = (*READING_TABLES, *LOG_TABLES)
        accepted = " | ".join(f"{name}.csv or {name}.xlsx" for name in names)
        found = "no table with readings in it"
        problems.add(Problem(str(folder), found, accepted, "put at least one of them in the folder"))
    problems.raise_if_any()
    return Survey(**frames, notes=tuple(problems.notes))


def _with_log(
    boards: pd.DataFrame,
    sources: dict[str, Source],
    problems: Problems,
    rules: SurveyRules,
    limits: Limits | None,
) -> pd.DataFrame:
    """Return the boards, and behind them what the phone's log became if it has no fault."""
    spec = log_spec(rules)
    if spec.name not in sources:
        return boards
    before = len(problems.found)
    read = read_table(sources[spec.name], spec, problems, limits=limits)
    log = None if read is None else shape_log(read, problems)
    if log is None or len(problems.found) > before:
        return boards
    found = readings_of_log(log, problems, rules=rules)
    if not len(found):
        return boards
    return pd.concat([boards, found.astype(boards.dtypes.to_dict())], ignore_index=True)


def _levels_are_whole(levels: Source | None, problems: Problems) -> bool:
    """Whether the levels table has no fault; else which lasers stood there is not known."""
    return levels is None or not any(problem.file == levels.label for problem in problems.found)


def read_on_rail(survey: Survey) -> bool:
    """Return whether every rod along the run stood on the rail, so that it is the track that was read."""
    rods = survey.levels[survey.levels["point"] == ""]
    others = len(survey.boards) + len(survey.crosslevels)
    return bool(len(rods) and not others and (rods["on"] == "rail").all())


def make_survey(*, notes: tuple[str, ...] = (), **tables: pd.DataFrame | Mapping[str, Any]) -> Survey:
    """Return a survey from frames or columns that are already in SI units, filling in what they leave out.

    Nothing is checked but the names of tables and columns. For simulations, and for readings that come
    from elsewhere than a folder.

    Raises
    ------
    ValueError
        If there is no such table or column.

    Examples
    --------
    >>> survey = make_survey(levels={"station_m": [0.0, 2.0], "side": "left", "rod_m": [1.20, 1.25]})
    >>> list(survey.levels["reading"]), set(survey.levels["laser"])
    (['levels row 2', 'levels row 3'], {'1'})
    """
    frames = {}
    for name, given in tables.items():
        if name not in COLUMNS:
            raise ValueError(f"no table {name!r}; tables are {', '.join(COLUMNS)}")
        own = pd.DataFrame(given).reset_index(drop=True)
        strange = set(own.columns) - {*COLUMNS[name], "file", "row"}
        if strange:
            raise ValueError(
                f"{name} has no column {sorted(strange)}; columns are {', '.join(COLUMNS[name])}"
            )
        frames[name] = _completed(name, own)
    return Survey(**frames, notes=notes)


def _completed(name: str, own: pd.DataFrame) -> pd.DataFrame:
    pattern = _no_rows(name)
    n = len(own)
    blanks: dict[str, Any] = {"on": "ground", "support": True, "along": False, "file": name}
    blanks["row"] = np.arange(2, n + 2)
    if name == "levels":
        blanks["laser"] = "1"
    if "reading" in pattern:
        blanks["reading"] = [f"{name} row {row}" for row in range(2, n + 2)]
    columns = {}
    for column, dtype in pattern.dtypes.items():
        key = str(column)
        text = pd.api.types.is_string_dtype(dtype)
        value = own[key] if key in own else blanks.get(key, "" if text else np.nan)
        columns[key] = pd.Series(value, index=range(n)).astype(dtype)
    frame = pd.DataFrame(columns)
    if name == "levels" and "rail_top_m" not in own:
        frame["rail_top_m"] = np.where(frame["on"] == "rail", np.nan, 0.0)
    return frame


def place_on_ties(survey: Survey, ties: pd.DataFrame) -> Survey:
    """Return the survey with every rod reading at a station, once the run is laid out.

    Readings given by tie, or by the corner of a section, take the station of that tie (the first or last
    one of the section). Readings on a rail take ``rail_top_m`` of their tie, or of the tie nearest to
    their station; the rod stands that much above the underside, so the ground's own rod reading
    would be ``rod_m + rail_top_m``.

    Parameters
    ----------
    survey : Survey
        Its readings may be given by tie or section.
    ties : DataFrame
        tie, section (1, 2, ... from the head), station_m, rail_top_m, as in ``Run.ties``.

    Raises
    ------
    InputProblems
        For each reading at a tie or section that the run doesn't have.
    """
    levels = survey.levels.copy()
    by_tie = ties.set_index(ties["tie"].astype(float))
    ends = ties.astype({"section": float}).groupby("section")["tie"].agg(["min", "max"]).astype(float)
    section = levels["section"].astype("float64")
    corner = section.map(ends["min"]).where(levels["end"] == "head", section.map(ends["max"]))
    tie = corner.where(section.notna(), levels["tie"].astype("float64"))
    problems = Problems()
    strange = ~tie.isin(by_tie.index)
    _report_strange(levels[strange & section.notna()], "section", len(ends), problems)
    _report_strange(levels[strange & levels["tie"].notna()], "tie", len(by_tie), problems)
    problems.raise_if_any()
    levels["station_m"] = tie.map(by_tie["station_m"]).fillna(levels["station_m"])
    on_rail = levels["on"] == "rail"
    rail_top = tie.map(by_tie["rail_top_m"]).fillna(_nearest_rail_top(levels["station_m"], ties))
    levels["rail_top_m"] = rail_top.where(on_rail, levels["rail_top_m"])
    return replace(survey, levels=levels)


def _report_strange(levels: pd.DataFrame, column: str, count: int, problems: Problems) -> None:
    for file, row, value in zip(levels["file"], levels["row"], levels[column], strict=True):
        accepted = f"a {column} from 1 to {count}, counted from the head of the run"
        do = f"check the {column}, or the sections of the job"
        problems.add(Problem(file, f"{column} {value}", accepted, do, row=int(row), column=column))


def _nearest_rail_top(stations: pd.Series[float], ties: pd.DataFrame) -> pd.Series[float]:
    """Return the rail top of the tie nearest to each station [m]; NaN where there is no station."""
    order = ties.sort_values("station_m")
    at, tops = order["station_m"].to_numpy(dtype=float), order["rail_top_m"].to_numpy(dtype=float)
    if not at.size:
        return pd.Series(np.nan, index=stations.index)
    nearest = np.searchsorted((at[1:] + at[:-1]) / 2, stations.to_numpy(dtype=float))
    return pd.Series(tops[nearest], index=stations.index).where(stations.notna())


def check_stations(
    survey: Survey, head: float, tail: float, *, rules: SurveyRules | None = None
) -> list[Problem]:
    """Return a fault for each reading that lies farther off the run than ``rules.off_run``.

    Readings a little beyond the ends are welcome: the ground is fitted through them too.

    Parameters
    ----------
    survey : Survey
        With its readings placed on the run.
    head, tail : float
        Stations of the ends of the run [m].
    rules : SurveyRules, optional
        How far is too far.
    """
    off_run = (rules or SurveyRules()).off_run
    accepted = f"stations near the run, which lies from {head:.2f} to {tail:.2f} m"
    faults = [
        Problem(str(zone.file), f"{zone.from_m:g} to {zone.to_m:g} m", accepted, "", int(zone.row), "from")
        for zone in rows_of(survey.zones)
        if min(zone.from_m, zone.to_m) > tail + off_run or max(zone.from_m, zone.to_m) < head - off_run
    ]
    for name, columns in (
        ("levels", ("station_m",)),
        ("boards", ("station_m", "to_station_m")),
        ("crosslevels", ("station_m",)),
        ("breaks", ("left_station_m", "right_station_m")),
        ("obstacles", ("station_m",)),
    ):
        frame = getattr(survey, name)
        for column in columns:
            stations = frame[column]
            off = (stations < min(head, tail) - off_run) | (stations > max(head, tail) + off_run)
            for file, row, station in zip(
                frame.loc[off, "file"], frame.loc[off, "row"], stations[off], strict=True
            ):
                do = "check the figure and the unit in the column's name"
                found = f"station {station:.2f} m, off the run"
                faults.append(
                    Problem(file, found, accepted, do, row=int(row), column=column.removesuffix("_m"))
                )
    return folded(faults, Limits().alike)


def cautions(survey: Survey, *, rules: SurveyRules | None = None) -> tuple[Advisory, ...]:
    """Return what is unusual in a survey, but may be right: rods taller than ``rules.tall_rod``."""
    tall_rod = (rules or SurveyRules()).tall_rod
    tall = survey.levels[survey.levels["rod_m"] > tall_rod]
    basis = "common practice, no source: longer rods are rare"
    return tuple(
        Advisory("caution", reading, f"a rod reading of {rod:.2f} m is above {tall_rod:g} m; check it", basis)
        for reading, rod in zip(tall["reading"], tall["rod_m"], strict=True)
    )
