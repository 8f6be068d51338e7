"""The tables beside a job in which its instruments were checked: ``check_level`` and ``check_phone``."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from trackkit.problems import FitError, Problem, Problems
from trackkit.survey.instruments.level import half_turn, plane_tilt, two_pegs
from trackkit.survey.instruments.phone import reversal
from trackkit.survey.instruments.repeat import Repeated, repeatability
from trackkit.survey.instruments.sds import Instruments
from trackkit.survey.instruments.verdict import InstrumentCheck
from trackkit.tables import Column, TableSpec, Ways, read_table
from trackkit.tables.cells import Limits
from trackkit.tables.folders import find_tables

__all__ = ["CHECK_TABLES", "InstrumentChecks", "read_checks"]

#: Tables beside a job in which instruments were checked.
CHECK_TABLES: Final = ("check_level", "check_phone")
#: What stands for an instrument that has no name.
_LEVEL, _PHONE = "the level", "phone"
_HALF: Final = math.pi
_SAME_WAY: Final = math.radians(1.0)


@dataclass(frozen=True)
class InstrumentChecks:
    """What the tables beside a job say of its instruments.

    Attributes
    ----------
    checks : tuple of InstrumentCheck
        In the order of the tables.
    repeated : tuple of (str, Repeated)
        What was read several times, and what it scatters by [m or rad].
    """

    checks: tuple[InstrumentCheck, ...] = ()
    repeated: tuple[tuple[str, Repeated], ...] = ()


def check_specs() -> dict[str, TableSpec]:
    """Return the description of both tables, by name."""
    level = (
        Column("laser", "name"),
        Column("setup", "name", needed=True),
        Column("peg", "name", needed=True),
        Column("distance", "length", needed=True, above=0.0, most=1000.0),
        Column("rod", "length", needed=True, least=0.0, most=30.0),
        Column("turned", "angle", units=("deg",), least=0.0, most=2.0 * math.pi),
        Column("note", "text"),
    )
    steepest = math.radians(60.0)
    phone = (
        Column("instrument", "name"),
        Column("place", "name", needed=True),
        Column("facing", "choice", needed=True, choices=("ahead", "back")),
        Column("angle", "angle", units=("deg",), least=-steepest, most=steepest),
        Column("grade", "angle", units=("pct",), least=-steepest, most=steepest),
        Column("note", "text"),
    )
    slope = Ways("its slope", (("angle",), ("grade",)))
    return {
        spec.name: spec
        for spec in (TableSpec("check_level", level), TableSpec("check_phone", phone, (slope,)))
    }


def read_checks(
    folder: str | Path, *, instruments: Instruments | None = None, limits: Limits | None = None
) -> InstrumentChecks:
    """Return what the tables ``check_level`` and ``check_phone`` of a job folder say.

    In ``check_level`` rows with ``turned`` were read on one rod with a rotating laser turned by so much
    clockwise: two rows half a turn apart check one axis, three or more the plane. The others are rods on
    pegs, at least two set-ups of which see the pegs at other differences of distance. What was read twice
    from one set-up also says what a single reading is worth. In ``check_phone`` each place is read ahead and
    back.

    Parameters
    ----------
    folder : path
    instruments : Instruments, optional
        What single readings are worth.
    limits : Limits, optional
        When to refuse a file unread.

    Raises
    ------
    InputProblems
        With every fault of both tables.
    """
    instruments = instruments or Instruments()
    problems = Problems()
    sources = find_tables(Path(folder), CHECK_TABLES, problems, limits=limits)
    frames: dict[str, pd.DataFrame] = {}
    for name, spec in check_specs().items():
        read = read_table(sources[name], spec, problems, limits=limits) if name in sources else None
        if read is not None:
            frames[name] = read
    problems.raise_if_any()
    checks: list[InstrumentCheck] = []
    repeated: list[tuple[str, Repeated]] = []
    if "check_level" in frames:
        _check_levels(frames["check_level"], instruments, checks, repeated, problems)
    if "check_phone" in frames:
        _check_phones(frames["check_phone"], instruments, checks, problems)
    problems.raise_if_any()
    return InstrumentChecks(tuple(checks), tuple(repeated))


def _check_levels(
    frame: pd.DataFrame,
    instruments: Instruments,
    checks: list[InstrumentCheck],
    repeated: list[tuple[str, Repeated]],
    problems: Problems,
) -> None:
    for laser, own in frame.groupby(frame["laser"].replace("", _LEVEL), sort=False):
        turned = own["turned_rad"].notna()
        for (setup, peg), rods in own[turned].groupby(["setup", "peg"], sort=False):
            checks += _turned(f"{laser}, {setup}", str(peg), rods, instruments, problems)
        rods = own[~turned]
        if rods.empty:
            continue
        setups, pegs = rods["setup"].tolist(), rods["peg"].tolist()
        far, read = rods["distance_m"].to_numpy(dtype=float), rods["rod_m"].to_numpy(dtype=float)
        try:
            found = two_pegs(setups, pegs, far, read, rod_sd=instruments.rod_sd)
        except FitError as error:
            problems.add(_problem(rods, "distance", "these distances", str(error)))
        else:
            checks.append(_named(found, str(laser)))
        places = list(zip(setups, pegs, far, strict=True))
        if len(set(places)) < len(places):
            repeated.append((f"rods with {laser}", repeatability(read, places, stated=instruments.rod_sd)))


def _turned(
    where: str, peg: str, rods: pd.DataFrame, instruments: Instruments, problems: Problems
) -> list[InstrumentCheck]:
    """Return the check of one axis, or of the plane, from rods read with a laser turned."""
    angles, read = rods["turned_rad"].to_numpy(dtype=float), rods["rod_m"].to_numpy(dtype=float)
    far = rods["distance_m"].to_numpy(dtype=float)
    if np.ptp(far) > 0.01 * far.max():
        found = "distances that differ"
        problems.add(
            _problem(rods, "distance", found, f"leave rod {peg} where it is while the laser is turned")
        )
        return []
    if len(rods) == 2:
        apart = abs((angles[1] - angles[0]) % (2.0 * math.pi) - _HALF)
        if apart > _SAME_WAY:
            do = "turn it by half (180 degrees) between the two, or read it four ways"
            problems.add(_problem(rods, "turned", "two directions that are not opposite", do))
            return []
        front, rear = read[np.argsort(angles, kind="stable")]
        check = half_turn(float(front - rear), float(far.mean()), mark_sd=instruments.rod_sd)
        return [_named(check, where)]
    try:
        plane = plane_tilt(angles, read, float(far.mean()), rod_sd=instruments.rod_sd)
    except FitError as error:
        problems.add(_problem(rods, "turned", "these directions", str(error)))
        return []
    return [_named(plane.check, where)]


def _check_phones(
    frame: pd.DataFrame, instruments: Instruments, checks: list[InstrumentCheck], problems: Problems
) -> None:
    slope = frame["angle_rad"].fillna(frame["grade_rad"])
    for phone, own in frame.assign(slope=slope).groupby(frame["instrument"].replace("", _PHONE), sort=False):
        means = own.pivot_table(index="place", columns="facing", values="slope", aggfunc="mean", sort=False)
        means = means.reindex(columns=["ahead", "back"])
        for place in means.index[means.isna().any(axis=1)]:
            rows = own[own["place"] == place]
            there = str(rows["facing"].iloc[0])
            do = f"read it {'back' if there == 'ahead' else 'ahead'} too, or take the row out"
            problems.add(_problem(rows, "facing", f"place {place} {there} only", do))
        pairs = means.dropna()
        if not pairs.empty:
            sd = instruments.angle_sds.get(str(phone), instruments.angle_sd)
            found = reversal(pairs["ahead"], pairs["back"], angle_sd=sd, name=str(phone))
            checks.append(found.zero)


def _named(check: InstrumentCheck, instrument: str) -> InstrumentCheck:
    return replace(check, what=f"{check.what} of {instrument}")


def _problem(rows: pd.DataFrame, column: str, found: str, do: str) -> Problem:
    first: Any = rows.iloc[0]
    accepted = "readings that say what they were taken for"
    return Problem(str(first["file"]), found, accepted, do, row=int(first["row"]), column=column)
