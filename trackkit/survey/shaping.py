"""From the tables of a folder to the frames of a survey, and the faults that only show between rows."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pandas as pd

from trackkit.problems import Problem, Problems, nearest
from trackkit.survey.tables import SurveyRules

__all__ = ["COLUMNS", "check_frames", "shape", "shape_log"]

#: Columns of every frame of a survey, in their order; ``file`` and ``row`` follow.
COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {
    "levels": (
        *("reading", "laser", "point", "station_m", "side", "offset_m", "tie", "section", "end", "on"),
        *("rod_m", "rail_top_m", "sd_m", "reader", "note", "along"),
    ),
    "benchmarks": ("point", "height_m", "sd_m", "note"),
    "differences": ("reading", "point", "to_point", "rise_m", "sd_m", "note"),
    "lasers": ("laser", "station_m", "offset_m", "instrument", "note"),
    "boards": (
        *("reading", "station_m", "to_station_m", "side", "angle_rad", "rise_m", "facing", "instrument"),
        *("sd_rad", "sd_m", "note", "along", "log_pass", "walked_m", "clock_s"),
    ),
    "crosslevels": (
        *(
            "reading",
            "station_m",
            "angle_rad",
            "rise_m",
            "facing",
            "instrument",
            "sd_rad",
            "sd_m",
            "note",
            "along",
        ),
    ),
    "breaks": ("left_station_m", "right_station_m", "step_m", "note"),
    "zones": ("from_m", "to_m", "side", "ground", "support", "note"),
    "obstacles": ("station_m", "offset_m", "laser", "rod_m", "height_m", "note"),
}

#: Name of the laser position where the tables name none.
ONLY_LASER: Final = "1"


def shape(name: str, read: pd.DataFrame) -> pd.DataFrame:
    """Return a table as it was read as the frame of the survey that it becomes.

    The ways of saying one thing become one column: a distance taped along the slope stands in
    ``station_m`` with ``along`` true, a grade in ``angle_rad``, a taped gap in ``rise_m``.
    """
    frame = read.copy()
    if "along_m" in frame:
        frame["along"] = frame["along_m"].notna()
        frame["station_m"] = frame["station_m"].fillna(frame["along_m"])
    if "to_along_m" in frame:
        frame["to_station_m"] = frame["to_station_m"].fillna(frame["to_along_m"])
    if "grade_rad" in frame:
        frame["angle_rad"] = frame["angle_rad"].fillna(frame["grade_rad"])
    if "drop_m" in frame:  # the gap hangs under the far end of a levelled board
        frame["rise_m"] = -frame["drop_m"]
    if "right_above_left_m" in frame:
        frame["rise_m"] = frame["right_above_left_m"]
    if name == "boards":  # laid by hand, one by one
        frame["log_pass"] = pd.Series([""] * len(frame), dtype=str)
        frame["walked_m"] = frame["clock_s"] = pd.Series(np.nan, index=frame.index, dtype=float)
    if name == "levels":
        if (frame["laser"] == "").all():
            frame["laser"] = ONLY_LASER
        # a corner of a section is there only once the track lies, and then the rod stands on the rail
        usual = np.where(frame["section"].notna(), "rail", "ground")
        frame["on"] = frame["on"].where(frame["on"] != "", usual)
        frame["rail_top_m"] = np.where(frame["on"] == "rail", np.nan, 0.0)
    if "reading" in COLUMNS[name]:
        rows = zip(frame["file"], frame["row"], strict=True)
        frame["reading"] = pd.Series([f"{file} row {row}" for file, row in rows], dtype=str)
    return frame[[*COLUMNS[name], "file", "row"]]


def shape_log(read: pd.DataFrame, problems: Problems) -> pd.DataFrame:
    """Return a phone's log as it was read with its distances and angles in one column each."""
    units = read.attrs.get("units", {})
    if len(read) and not units.keys() & {"angle", "grade"}:
        found, accepted = "no column that says the slope", "angle_deg | grade_pct"
        problems.add(Problem(str(read["file"].iloc[0]), found, accepted, "add the column", row=1))
    frame = read.assign(along=read["along_m"].notna())
    frame["station_m"] = frame["station_m"].fillna(frame["along_m"])
    frame["angle_rad"] = frame["angle_rad"].fillna(frame["grade_rad"])
    return frame


def check_frames(
    frames: dict[str, pd.DataFrame], problems: Problems, rules: SurveyRules, *, lasers: bool = True
) -> None:
    """Report what is wrong between the cells of a row, between rows, and between tables.

    ``lasers`` says whether the names of laser positions are all known, so that they can be compared.
    """
    _check_levels(frames["levels"], problems)
    for name in ("levels", "obstacles"):
        _check_rods(frames[name], problems, rules)
    _check_extent(frames, problems, rules)
    _check_boards(frames["boards"], problems, rules)
    for name in ("boards", "crosslevels"):
        _check_own_sds(frames[name], problems)
    _check_benchmarks(frames["benchmarks"], problems)
    _check_zones(frames["zones"], problems)
    same = frames["differences"]["point"] == frames["differences"]["to_point"]
    _report(frames["differences"], same & (frames["differences"]["point"] != ""), problems, "to_point")
    if lasers:
        _check_lasers(frames, problems)
    _check_spellings(frames, ("laser",), problems)
    _check_spellings(frames, ("point", "to_point"), problems)
    _check_spellings(frames, ("instrument",), problems)


#: What is wrong, what is accepted and what to do, for the faults of one row.
_FAULTS: Final[Mapping[str, tuple[str, str, str]]] = {
    "to_point": ("a difference from a point to itself", "two different points", "check the names"),
    "laser": ("an empty cell", "the name of a laser position", "fill it in in every row, or in none"),
    "on": (
        "a rod on the rail, but no side",
        "a rod on the rail with its side",
        "give the side, or write ground",
    ),
    "to_station": ("a board with both feet at one station", "two different stations", "check the stations"),
    "drop": ("a gap steeper than the board may lie", "a gap under the levelled board", "check the unit"),
    "sd_deg": ("an sd in degrees for a gap that is taped", "sd_mm", "give the sd of the gap as a length"),
    "sd_mm": ("an sd as a length for an angle", "sd_deg", "give the sd of the angle in degrees"),
    "to": ("a zone that ends before it begins", "from below to", "exchange the two"),
    "ground": ("a zone that says nothing", "a kind of ground, or support no", "fill in ground or support"),
}


def _report(frame: pd.DataFrame, wrong: pd.Series[bool], problems: Problems, fault: str) -> None:
    found, accepted, do = _FAULTS[fault]
    for file, row in zip(frame.loc[wrong, "file"], frame.loc[wrong, "row"], strict=True):
        problems.add(Problem(file, found, accepted, do, row=int(row), column=fault))


def _check_levels(levels: pd.DataFrame, problems: Problems) -> None:
    _report(levels, levels["laser"] == "", problems, "laser")
    elsewhere = (levels["point"] != "") | levels["offset_m"].notna()
    _report(levels, (levels["on"] == "rail") & (levels["side"] == "") & elsewhere, problems, "on")


def _check_rods(frame: pd.DataFrame, problems: Problems, rules: SurveyRules) -> None:
    """Readings that no staff gives, told once for each table with the first of them."""
    rod = frame["rod_m"]
    low = (rod > 0) & (rod < rules.shortest_rod)
    if rod.notna().sum() > 1 and 0 < rod.max() < 10 * rules.shortest_rod:
        low = rod > 0
    for wrong, fault, unit in (
        (rod > rules.longest_rod, "more than any staff", "mm"),
        (low, "too near the rod's foot to read", "m"),
    ):
        if wrong.any():
            first, more = frame[wrong].iloc[0], int(wrong.sum()) - 1
            others = f" (and {more} more like it)" if more else ""
            found = f"rod reading of {first['rod_m']:g} m{others}: {fault}"
            accepted = f"{rules.shortest_rod:g} to {rules.longest_rod:g} m"
            do = f"is the column in {unit}?"
            problems.add(Problem(first["file"], found, accepted, do, row=int(first["row"]), column="rod"))


def _check_extent(frames: dict[str, pd.DataFrame], problems: Problems, rules: SurveyRules) -> None:
    """Stations that all lie within a hand's breadth are in the wrong unit."""
    feet = [("levels", "station_m"), ("crosslevels", "station_m")]
    feet += [("boards", "station_m"), ("boards", "to_station_m")]
    stations = pd.concat([frames[name][column] for name, column in feet]).dropna()
    span = float(np.ptp(stations)) if len(stations) else 0.0
    if stations.nunique() >= 3 and span < rules.shortest_survey:
        file = next(str(frames[name]["file"].iloc[0]) for name, _ in feet if len(frames[name]))
        found = f"{stations.nunique()} stations within {1000 * span:.3g} mm: hardly the length of a run"
        accepted = f"stations that lie {rules.shortest_survey:g} m apart or more, first to last"
        problems.add(Problem(file, found, accepted, "is the column in m?", column="station"))


def _check_boards(boards: pd.DataFrame, problems: Problems, rules: SurveyRules) -> None:
    span = (boards["to_station_m"] - boards["station_m"]).abs()
    _report(boards, span == 0, problems, "to_station")
    steep = boards["rise_m"].abs() > np.tan(rules.steepest) * span
    _report(boards, steep & (span > 0), problems, "drop")


def _check_own_sds(frame: pd.DataFrame, problems: Problems) -> None:
    _report(frame, frame["sd_rad"].notna() & frame["rise_m"].notna(), problems, "sd_deg")
    _report(frame, frame["sd_m"].notna() & frame["angle_rad"].notna(), problems, "sd_mm")


def _check_benchmarks(benchmarks: pd.DataFrame, problems: Problems) -> None:
    """Two heights of one benchmark may differ only if both carry an sd."""
    for point, rows in benchmarks[benchmarks["point"] != ""].groupby("point", sort=False):
        held = ~(rows["sd_m"] > 0)
        if held.any() and len(set(rows["height_m"].dropna())) > 1:
            place = rows.iloc[1]
            found = f"another height for {point!r}"
            do = "keep one of them, or give both an sd"
            accepted = "one height for a benchmark that is held"
            problems.add(Problem(place["file"], found, accepted, do, row=int(place["row"]), column="height"))


def _check_zones(zones: pd.DataFrame, problems: Problems) -> None:
    _report(zones, zones["from_m"] >= zones["to_m"], problems, "to")
    _report(zones, (zones["ground"] == "") & zones["support"].astype(bool), problems, "ground")


def _check_lasers(frames: dict[str, pd.DataFrame], problems: Problems) -> None:
    """A laser position that no reading was taken from has no height, and can give none."""
    known = sorted(set(frames["levels"]["laser"]) - {""})
    obstacles, lasers = frames["obstacles"], frames["lasers"]
    unnamed = obstacles["rod_m"].notna() & (obstacles["laser"] == "")
    if len(known) == 1:
        obstacles.loc[unnamed, "laser"] = known[0]
    else:
        _report(obstacles, unnamed, problems, "laser")
    for frame in (lasers, obstacles):
        strange = ~frame["laser"].isin([*known, ""])
        for place in frame[strange].itertuples():
            found = f"laser position {place.laser!r}, from which no reading was taken"
            accepted = f"one that is in the levels table: {', '.join(known) or 'none is'}"
            do = nearest(str(place.laser), known) or "read a peg or a known station from it"
            problems.add(Problem(str(place.file), found, accepted, do, row=_row(place), column="laser"))
    for place in lasers[lasers["laser"].duplicated() & (lasers["laser"] != "")].itertuples():
        found = f"laser position {place.laser!r} a second time"
        do = "give each standing of the laser its own name"
        problems.add(Problem(str(place.file), found, "each once", do, row=_row(place), column="laser"))


def _check_spellings(frames: dict[str, pd.DataFrame], columns: tuple[str, ...], problems: Problems) -> None:
    """Names that differ only in capitals, spaces or underscores are one name with a slip in it."""
    first: dict[str, str] = {}
    for frame in frames.values():
        for column in columns:
            if column not in frame:
                continue
            fresh = frame[~frame[column].duplicated() & (frame[column] != "")]
            for name, file, row in zip(fresh[column], fresh["file"], fresh["row"], strict=True):
                usual = first.setdefault(re.sub(r"[\s_]", "", str(name)).casefold(), str(name))
                if usual != name:
                    found = f"{name!r}, elsewhere written {usual!r}"
                    do = "write it the same everywhere, or choose names that differ more"
                    accepted = "one spelling for one name"
                    problems.add(Problem(str(file), found, accepted, do, row=int(row), column=column))


def _row(place: Any) -> int:
    return int(place.row)
