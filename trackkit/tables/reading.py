"""Read one table by its description: columns with their units, each fault with its place.

A table is described by a `TableSpec`. In the file a measured column carries its unit in its name
(``rod_mm``); in the frame that comes back everything is in metres, radians and kilograms, and the
columns are always the same, whatever the file left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.problems import Problem, Problems, folded, hidden_characters
from trackkit.tables.cells import Limits, RawTable, Source, read_cells
from trackkit.tables.columns import Column, Header, match_header
from trackkit.tables.folders import find_tables
from trackkit.tables.quick import quick_columns
from trackkit.tables.values import is_formula_error, read_column

__all__ = ["Column", "Limits", "TableSpec", "Ways", "empty_table", "read_table"]

#: How much of a cell a fault shows.
_SHOWN: Final = 40


@dataclass(frozen=True)
class Ways:
    """Ways of saying one thing, of which every row uses exactly one.

    Attributes
    ----------
    what : str
        What is said, for messages: "where the rod stood".
    ways : tuple of tuple of str
        Each way: the columns that it fills.
    optional : bool
        Whether a row may also say nothing.
    """

    what: str
    ways: tuple[tuple[str, ...], ...]
    optional: bool = False

    @property
    def columns(self) -> tuple[str, ...]:
        """Every column that takes part, each once."""
        return tuple(dict.fromkeys(column for way in self.ways for column in way))

    def __str__(self) -> str:
        return " | ".join(" and ".join(way) for way in self.ways) + (" | nothing" if self.optional else "")


@dataclass(frozen=True)
class TableSpec:
    """What a table is called and what its columns hold."""

    name: str
    columns: tuple[Column, ...]
    ways: tuple[Ways, ...] = ()


def read_table(
    source: str | Path | Source, spec: TableSpec, problems: Problems, *, limits: Limits | None = None
) -> pd.DataFrame | None:
    """Return a table in SI units, or None if it isn't there or cannot be read.

    Parameters
    ----------
    source : path or Source
        The file itself, or the folder that holds it: there ``levels.csv``, ``levels.xlsx`` or a
        sheet ``levels`` of any workbook is taken (`trackkit.tables.folders.find_tables`).
    spec : TableSpec
        The table's description.
    problems : Problems
        Every fault is added here, and every remark on how something was read. Nothing is raised:
        call ``problems.raise_if_any()`` when all tables of the job are read.
    limits : Limits, optional
        When to refuse a file unread.

    Returns
    -------
    pandas.DataFrame or None
        One row for each row of the file that isn't blank, with the columns of `empty_table`. A cell
        with a fault is empty in it: '' or NaN. ``attrs["units"]`` holds the unit that each column has
        in the file. None without a fault: the folder has no such table.
    """
    limits = limits or Limits()
    if not isinstance(source, Source):
        path = Path(source)
        if path.is_dir():
            found = find_tables(path, (spec.name,), problems, limits=limits).get(spec.name)
        else:
            found = _only_table(path, spec.name, problems, limits)
        if found is None:
            return None
        source = found
    quick = _read_quickly(source, spec, limits)
    if quick is not None:
        return quick
    raw = read_cells(source, problems, limits=limits)
    if raw is None:
        return None
    own = Problems()
    frame = _read_rows(raw, spec, own)
    told = folded(own.found, limits.alike)
    for problem in told[: limits.faults]:
        problems.add(problem)
    if len(told) > limits.faults:
        more = f"{len(told) - limits.faults} more faults"
        problems.add(Problem(raw.label, more, "none", "mend those above first, then check again"))
    for text in own.notes:
        problems.note(text)
    return frame


def empty_table(spec: TableSpec) -> pd.DataFrame:
    """Return the table without rows: the columns of ``spec`` in SI units, then ``file`` and ``row``.

    Examples
    --------
    >>> spec = TableSpec("heights", (Column("point", "name"), Column("height", "length")))
    >>> list(empty_table(spec).columns)
    ['point', 'height_m', 'file', 'row']
    """
    columns = {column.into: column.series(column.blank(0)) for column in spec.columns}
    columns["file"] = pd.Series([], dtype=str)
    columns["row"] = pd.Series([], dtype="int64")
    return pd.DataFrame(columns)


def _only_table(path: Path, name: str, problems: Problems, limits: Limits) -> Source | None:
    """Return the table that a file given by its path holds."""
    found = find_tables(path, (name,), problems, limits=limits, any_name=True)
    return found.get(name)


def _read_rows(raw: RawTable, spec: TableSpec, problems: Problems) -> pd.DataFrame | None:
    if _is_comment(raw.header):
        problems.add(_comment(raw, raw.header_row))
        return None
    header = match_header(raw, spec.columns, problems)
    if not raw.rows:
        problems.note(f"{raw.label}: a header and no rows; read as an empty table")
    raw = _without_comments(raw, problems)
    _check_hidden(raw, problems)
    _check_row_lengths(raw, problems)
    width, n = len(raw.header), len(raw.rows)
    cells: list[Sequence[Any]] = list(zip(*(_fitted(row, width) for row in raw.rows), strict=True))
    read: dict[str, pd.Series[Any]] = {}
    filled: dict[str, NDArray[np.bool_]] = {}
    for column in spec.columns:
        values, said = column.blank(n), np.zeros(n, dtype=bool)
        if n and column.key in header.places:
            place = header.places[column.key]
            unit = header.units.get(column.key, "")
            values, said = read_column(column, unit, place, cells[place], raw, problems)
        read[column.into], filled[column.key] = column.series(values), said
    for ways in spec.ways:
        if not header.doubtful & set(ways.columns):
            _check_ways(ways, raw, set(header.places), filled, problems)
    return _framed(read, raw, header)


def _framed(read: dict[str, pd.Series[Any]], raw: RawTable, header: Header) -> pd.DataFrame:
    read["file"] = pd.Series([raw.label] * len(raw.numbers), dtype=str)
    read["row"] = pd.Series(raw.numbers, dtype="int64")
    frame = pd.DataFrame(read)
    frame.attrs["units"] = header.units
    return frame


def _read_quickly(source: Source, spec: TableSpec, limits: Limits) -> pd.DataFrame | None:
    """Return a long table in which nothing needs a word; None for all others."""
    found = quick_columns(source, spec.columns, rows=limits.rows, size=limits.file_bytes)
    if found is None:
        return None
    raw, header, values, said = found
    n, own = len(raw.numbers), Problems()
    filled = {column.key: said.get(column.key, np.zeros(n, dtype=bool)) for column in spec.columns}
    for ways in spec.ways:
        _check_ways(ways, raw, set(header.places), filled, own)
    if own.found:
        return None
    read = {
        column.into: column.series(values[column.key] if column.key in values else column.blank(n))
        for column in spec.columns
    }
    return _framed(read, raw, header)


def _is_comment(row: Sequence[Any]) -> bool:
    first = next((cell for cell in row if cell != ""), "")
    return isinstance(first, str) and first.startswith("#") and not is_formula_error(first)


def _comment(raw: RawTable, number: int) -> Problem:
    found = "a comment line"
    return Problem(raw.label, found, "a header, then readings", "delete it; use the note column", row=number)


def _without_comments(raw: RawTable, problems: Problems) -> RawTable:
    """Return the table without its comment lines, each reported."""
    comments = [_is_comment(row) for row in raw.rows]
    if not any(comments):
        return raw
    for number, comment in zip(raw.numbers, comments, strict=True):
        if comment:
            problems.add(_comment(raw, number))
    kept = [place for place, comment in enumerate(comments) if not comment]
    rows, numbers = [raw.rows[place] for place in kept], [raw.numbers[place] for place in kept]
    return replace(raw, rows=rows, numbers=numbers)


def _fitted(row: Sequence[Any], width: int) -> Sequence[Any]:
    return row if len(row) == width else [*row[:width], *[""] * (width - len(row))]


def _check_hidden(raw: RawTable, problems: Problems) -> None:
    """Report cells with characters that a terminal would obey."""
    for number, row in zip((raw.header_row, *raw.numbers), (raw.header, *raw.rows), strict=True):
        for cell in row:
            hidden = hidden_characters(cell, lines=True) if isinstance(cell, str) else ""
            if hidden:
                found = f"{hidden} in {cell[:_SHOWN]!r}"
                problems.add(Problem(raw.label, found, "text that can be seen", "type it anew", row=number))


def _check_row_lengths(raw: RawTable, problems: Problems) -> None:
    width = len(raw.header)
    for number, row in zip(raw.numbers, raw.rows, strict=True):
        if len(row) > width and any(cell != "" for cell in row[width:]):
            do = "remove what stands beyond the header"
            if raw.separator == ",":
                do = (
                    "a decimal comma splits a number in two in a comma-separated file: write decimal "
                    "points, quote the cell, or save the file with semicolons"
                )
            problems.add(
                Problem(raw.label, f"{len(row)} cells", f"{width}, as in the header", do, row=number)
            )


def _check_ways(
    ways: Ways, raw: RawTable, present: set[str], filled: dict[str, NDArray[np.bool_]], problems: Problems
) -> None:
    """Report the rows that say a thing in no way, in half a way, or in several ways."""
    if not ways.optional and not any(present >= set(way) for way in ways.ways):
        do = "add the columns of one of these ways"
        found = f"no columns that say {ways.what}"
        problems.add(Problem(raw.label, found, str(ways), do, row=raw.header_row))
        return
    columns = ways.columns
    codes = {sum(1 << columns.index(column) for column in way) for way in ways.ways}
    if ways.optional:
        codes.add(0)
    said = np.zeros(len(raw.rows), dtype=np.int64)
    for bit, column in enumerate(columns):
        said |= filled[column].astype(np.int64) << bit
    for place in np.flatnonzero(~np.isin(said, list(codes))):
        names = [column for bit, column in enumerate(columns) if said[place] >> bit & 1]
        found = f"{' and '.join(names) or 'nothing'} to say {ways.what}"
        do = "fill in one of them and leave the others empty"
        problems.add(Problem(raw.label, found, f"exactly one of {ways}", do, row=raw.numbers[place]))
