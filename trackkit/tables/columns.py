"""The columns of a table: what each may hold, and the header that names them with their units."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.problems import Problem, Problems, closest, nearest
from trackkit.tables.cells import RawTable
from trackkit.units import LENGTH_UNITS, MASS_UNITS

__all__ = ["Column", "Header", "Kind", "fault_at", "match_header"]

Kind = Literal["text", "name", "choice", "yesno", "count", "number", "length", "angle", "mass"]

_UNITS: Final = {"length": tuple(LENGTH_UNITS), "angle": ("deg", "pct"), "mass": tuple(MASS_UNITS)}
_SI: Final = {"length": "_m", "angle": "_rad", "mass": "_kg"}


@dataclass(frozen=True)
class Column:
    """What one column is called and what its cells may hold.

    Attributes
    ----------
    name : str
        Name without the unit: ``rod`` stands in the file as ``rod_mm``, ``rod_in`` ...
    kind : str
        ``text`` (anything), ``name`` (of a point or an instrument: 1 and 1.0 are one name), ``choice``,
        ``yesno``, ``count`` (whole number), ``number``, ``length``, ``angle``, ``mass``.
    needed : bool
        Whether the column must be there, with every cell filled.
    default : str, float or bool, optional
        What an empty cell stands for; without it '' or NaN (<NA> for a count, False for yesno).
    units : tuple of str
        Units that are accepted; without it all of the kind.
    choices : tuple of str
        Accepted words of a choice; capitals don't matter.
    also : tuple of (str, str)
        Other spellings and the choice they stand for.
    least, most : float
        Bounds in SI units, included.
    above : float
        Bound in SI units that the value must exceed.
    missing : tuple of str
        Words in small letters that count as an empty cell: the ``nan`` of a log that dropped out.
    key : str
        Name inside the description, where two columns share one (``sd_mm`` and ``sd_deg``).
    into : str
        Column of the resulting frame; without it the name and the SI unit (``rod_m``).
    """

    name: str
    kind: Kind
    needed: bool = False
    default: str | float | bool | None = None
    units: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()
    also: tuple[tuple[str, str], ...] = ()
    least: float = -math.inf
    most: float = math.inf
    above: float = -math.inf
    missing: tuple[str, ...] = ()
    key: str = ""
    into: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "units", self.units or _UNITS.get(self.kind, ()))
        object.__setattr__(self, "key", self.key or self.name)
        object.__setattr__(self, "into", self.into or self.name + _SI.get(self.kind, ""))

    @property
    def written(self) -> tuple[str, ...]:
        """The names under which it may stand in a file."""
        return tuple(f"{self.name}_{unit}" for unit in self.units) or (self.name,)

    @property
    def numeric(self) -> bool:
        """Whether the cells hold numbers."""
        return self.kind in ("count", "number", "length", "angle", "mass")

    def spelled_out_missing(self) -> tuple[str, ...]:
        """Return the words that count as an empty cell, as people and programs write them."""
        return tuple(
            form for word in self.missing for form in (word, word.upper(), word.title(), "NaN") if form
        )

    def blank(self, n: int) -> NDArray[Any]:
        """Return what ``n`` empty cells stand for."""
        if self.numeric:
            return np.full(n, math.nan if self.default is None else float(self.default))
        if self.kind == "yesno":
            return np.full(n, bool(self.default))
        return np.full(n, self.default or "", dtype=object)

    def series(self, values: NDArray[Any]) -> pd.Series[Any]:
        """Return the values as a column of the frame."""
        if self.kind == "count":
            return pd.Series(values, dtype="float64").astype("Int64")
        if self.numeric:
            return pd.Series(values, dtype="float64")
        return pd.Series(values, dtype=bool if self.kind == "yesno" else str)

    def accepted(self, unit: str = "") -> str:
        """Say in words what a cell may hold."""
        if self.kind == "choice":
            return " | ".join(self.choices)
        if self.kind == "yesno":
            return "yes | no"
        if not self.numeric:
            return "a name" if self.kind == "name" else "text"
        word = {"count": "a whole number", "number": "a number"}.get(self.kind, f"a {self.kind} in {unit}")
        if unit in ("ft", "in"):
            word += " (5.3, 3 1/2 or 5' 3 1/2\")"
        bounds = [
            f"{said} {_in_unit(bound, self.kind, unit):.6g}"
            for said, bound in (("above", self.above), ("at least", self.least), ("at most", self.most))
            if math.isfinite(bound)
        ]
        return ", ".join([word.replace("a angle", "an angle"), *bounds])


@dataclass(frozen=True)
class Header:
    """Where each column stands.

    Attributes
    ----------
    places : dict of str to int
        Place of each column that was found, by its key.
    units : dict of str to str
        The unit that each of them is in, '' where it has none.
    doubtful : frozenset of str
        Keys of columns that are missing or may be meant by a name with a fault; such a fault is
        reported, and nothing more should be said of these columns.
    """

    places: dict[str, int]
    units: dict[str, str]
    doubtful: frozenset[str]


def match_header(raw: RawTable, columns: Sequence[Column], problems: Problems) -> Header:
    """Find the columns of a table in its header; report the unknown, doubled and missing ones."""
    known = {name: column for column in columns for name in column.written}
    places: dict[str, int] = {}
    doubtful: set[str] = set()
    for place, cell in enumerate(raw.header):
        name = _tidy_name(cell)
        if not name:
            if any(len(row) > place and row[place] != "" for row in raw.rows):
                found = f"cells without a name above them (column {place + 1})"
                problems.add(fault_at(raw, found, "a name in the header", "name the column or empty it"))
            continue
        column = known.get(name)
        if column is None:
            doubtful |= _report_unknown(raw, str(cell), name, known, problems)
        elif column.key in places:
            first = str(raw.header[places[column.key]])
            twice = _tidy_name(first) == name
            found = (
                f"the column {name!r} twice" if twice else f"{first!r} and {cell!r}: two units for one thing"
            )
            problems.add(
                fault_at(raw, found, f"one column for {column.name!r}", "remove one of them", str(cell))
            )
        else:
            places[column.key] = place
    units = {
        key: _tidy_name(raw.header[place])[len(column.name) + 1 :]
        for key, place in places.items()
        for column in columns
        if column.key == key and column.units
    }
    for column in columns:
        if column.needed and column.key not in places and column.key not in doubtful:
            do = "add the column"
            problems.add(fault_at(raw, f"no column {column.name!r}", " | ".join(column.written), do))
            doubtful.add(column.key)
    return Header(places, units, frozenset(doubtful))


def _tidy_name(cell: Any) -> str:
    """Return a header's name with small letters and underscores: ``Rod (mm)`` is ``rod_mm``."""
    return re.sub(r"[\s\-()\[\]_]+", "_", str(cell)).strip("_").lower().replace("_%", "_pct")


def _report_unknown(
    raw: RawTable, cell: str, name: str, known: dict[str, Column], problems: Problems
) -> set[str]:
    """Report a name that no column has; return the keys of the columns that it may mean."""
    stems = {column.name for column in known.values() if column.units}
    stem = name if name in stems else name.rpartition("_")[0]
    if stem in stems:
        meant = [column for column in known.values() if column.name == stem]
        accepted = " | ".join(dict.fromkeys(word for column in meant for word in column.written))
        if name == stem:
            found, do = f"the name {cell!r} without a unit", "put the unit in the name"
        else:
            found, do = f"the name {cell!r} with another unit", "use one of these names"
        problems.add(fault_at(raw, found, accepted, do, cell))
        return {column.key for column in meant}
    do = nearest(name, known) or "remove it, or move its text to the note column"
    if len(raw.header) == 1 and re.search(r"[|:]| {2,}", cell):
        do = "part the columns with commas, semicolons or tabs"
    shown = " | ".join(dict.fromkeys(column.written[0] for column in known.values()))
    problems.add(fault_at(raw, f"the unknown column {cell!r}", shown, do, cell))
    meant_name = closest(name, known)
    return {known[meant_name].key} if meant_name else set()


def _in_unit(value: float, kind: Kind, unit: str) -> float:
    """Return an SI value in the column's own unit."""
    if kind == "angle":
        return math.degrees(value) if unit == "deg" else 100.0 * math.tan(value)
    factors = {"length": LENGTH_UNITS, "mass": MASS_UNITS}.get(kind)
    return value / factors[unit] if factors else value


def fault_at(
    raw: RawTable, found: str, accepted: str, do: str, column: str | None = None, row: int | None = None
) -> Problem:
    """Return a fault at a row of the table, or at its header."""
    return Problem(raw.label, found, accepted, do, row=raw.header_row if row is None else row, column=column)
