"""Tables as the text that people typed: taken from a job folder, changed, and saved as a new job.

Nothing is interpreted. A table goes back through the same reading code as any file (`csv_bytes`), so
that what is typed and what is read from a file are judged alike.
"""

from __future__ import annotations

import datetime
import os
import re
import secrets
import shutil
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from trackkit.problems import CannotDo, InputProblems, Problem, Problems
from trackkit.tables.cells import Limits, RawTable, Source, read_cells
from trackkit.tables.folders import find_tables

__all__ = ["TypedTable", "read_typed", "save_copy", "typed_tables"]

#: Text that stands in a CSV file without quotation marks, whatever a reader takes for the separator.
_PLAIN: Final = re.compile(r'[^",;\t\r\n=]*')
#: Digits of a number that a spreadsheet shows; more are noise of its arithmetic (0.1 + 0.2).
_DIGITS: Final = 15


@dataclass(frozen=True)
class TypedTable:
    """A table of a job folder, cell by cell as typed.

    Attributes
    ----------
    name : str
        What the table is: ``levels``, ``boards`` ...
    header : tuple of str
        Names of the columns with their units, as in the file: ``rod_mm``.
    rows : tuple of tuple of str
        The cells below the header. A blank row keeps its place, a row may be shorter or longer than
        the header.
    header_row : int
        Row of the header as a spreadsheet counts; ``rows[i]`` is row ``header_row + 1 + i``.
    origins : tuple of int or None
        For each of ``rows`` the row of the file that it came from, 0 for a row that was added; None where
        that is not known. Tables that differ in this alone are equal.
    """

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...] = ()
    header_row: int = 1
    origins: tuple[int, ...] | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        if not self.name.isidentifier():
            raise ValueError(f"name must be a table's name such as 'levels'; got {self.name!r}")
        if self.header_row < 1:
            raise ValueError(f"header_row counts from 1, as a spreadsheet does; got {self.header_row}")
        if self.origins is not None and len(self.origins) != len(self.rows):
            raise ValueError(
                f"origins must name a row for each of {len(self.rows)} rows; got {len(self.origins)}"
            )

    def csv_bytes(self) -> bytes:
        r"""Return the table as a CSV file: UTF-8, parted by commas, every row at its row number.

        Examples
        --------
        >>> TypedTable("levels", ("tie", "rod_mm"), (("1", "12,5"), (), ("3", "9"))).csv_bytes()
        b'tie,rod_mm\n1,"12,5"\n\n3,9\n'
        """
        lines = [()] * (self.header_row - 1) + [self.header, *self.rows]
        text = "".join(",".join(map(_quoted, line)) + "\n" for line in lines)
        return text.encode("utf-8", "replace")

    def same_as(self, other: TypedTable) -> bool:
        """Whether both hold the same text; spaces around it and blank cells at an end don't count."""
        return self.bare() == other.bare()

    def bare(self) -> tuple[tuple[str, ...], ...]:
        """Return the lines from row 1 on without what the reading code does not see; blank rows stay."""
        lines = [()] * (self.header_row - 1) + [self.header, *self.rows]
        bare = [tuple(cell.strip() for cell in line[: _filled(line)]) for line in lines]
        while bare and not bare[-1]:
            bare.pop()
        return tuple(bare)


def read_typed(source: Source, *, name: str | None = None, limits: Limits | None = None) -> TypedTable:
    """Return what is typed in a file or a sheet.

    Parameters
    ----------
    source : Source
        A CSV file in any usual dress, or a sheet. The numbers of a workbook become the text that a
        person would type: 12.0 is ``12``.
    name : str, optional
        What the table is; without it the name of the sheet or of the file.
    limits : Limits, optional
        When to refuse a file.

    Raises
    ------
    InputProblems
        If the file cannot be read as a table.
    """
    limits = limits or Limits()
    problems = Problems()
    raw = read_cells(source, problems, limits=limits)
    if raw is not None and raw.numbers and raw.numbers[-1] > limits.rows:
        accepted, do = f"at most {limits.rows} rows", "look for text far below the table and delete it"
        problems.add(Problem(raw.label, "text far below", accepted, do, row=raw.numbers[-1]))
    problems.raise_if_any()
    assert raw is not None  # otherwise its fault has been raised
    called = name or (source.sheet or source.path.stem).strip().casefold()
    header, rows = _in_place(raw)
    first = raw.header_row + 1
    return TypedTable(called, header, rows, raw.header_row, tuple(range(first, first + len(rows))))


def typed_tables(
    folder: str | Path, names: Sequence[str], *, limits: Limits | None = None
) -> dict[str, TypedTable]:
    """Return those of the tables ``names`` that a job folder holds, by their names in that order.

    Raises
    ------
    InputProblems
        With every fault that keeps a table from being found or read.
    """
    problems = Problems()
    found = find_tables(Path(folder), names, problems, limits=limits)
    tables = {}
    for name in names:
        if name in found:
            try:
                tables[name] = read_typed(found[name], name=name, limits=limits)
            except InputProblems as error:
                for problem in error.problems:
                    problems.add(problem)
    problems.raise_if_any()
    return tables


def save_copy(
    folder: str | Path,
    into: str | Path,
    tables: Iterable[TypedTable],
    *,
    others: Mapping[str, bytes] | None = None,
) -> tuple[Path, ...]:
    """Write a new job folder: the files of ``folder``, with the tables that were changed in place of the old.

    Folders inside it (the plan that was saved there) and hidden files are not copied. Either the whole
    new folder is there afterwards or nothing is; nothing old is touched.

    Parameters
    ----------
    folder : path
        The job to copy.
    into : path
        The new folder; it must not be there yet, the folder around it must.
    tables : iterable of TypedTable
        Tables as they are to stand. Where one holds the same as the old, the old file is copied.
    others : mapping, optional
        What other files are to hold, by name.

    Returns
    -------
    tuple of Path
        The files written.

    Raises
    ------
    InputProblems
        If the old tables cannot be found or read.
    CannotDo
        If ``into`` is there, if a table was changed that stands in a workbook, or if the disk refuses.
    """
    folder, into = Path(folder), Path(into)
    if os.path.lexists(into):
        raise CannotDo(f"{into} is there already and is left as it is; give the copy another name")
    if not into.parent.is_dir():
        raise CannotDo(f"there is no folder {into.parent} to put the copy in; make it first")
    contents = _changed_files(folder, tables) | dict(others or {})
    making = into.with_name(f".{into.name}.{secrets.token_hex(4)}")
    try:
        making.mkdir()
        kept = [path for path in folder.iterdir() if path.is_file() and not path.name.startswith((".", "~$"))]
        for path in kept:
            if path.name not in contents:
                shutil.copyfile(path, making / path.name)
        for name, content in contents.items():
            (making / name).write_bytes(content)
        names = sorted(path.name for path in making.iterdir())
        making.rename(into)
    except OSError as error:
        reason = error.strerror or str(error)
        raise CannotDo(f"the copy could not be written ({reason}); nothing was saved") from error
    finally:
        shutil.rmtree(making, ignore_errors=True)
    return tuple(into / name for name in names)


def _changed_files(folder: Path, tables: Iterable[TypedTable]) -> dict[str, bytes]:
    """Return the files to be written anew, by their names; raise where a workbook would have to change."""
    asked = {table.name: table for table in tables}
    problems = Problems()
    found = find_tables(folder, tuple(asked), problems)
    problems.raise_if_any()
    contents = {}
    for name, table in asked.items():
        source = found.get(name)
        if source is None:
            contents[f"{name}.csv"] = table.csv_bytes()
        elif not table.same_as(read_typed(source, name=name)):
            if source.sheet is not None:
                raise CannotDo(
                    f"the table {name} stands in {source.label}, and workbooks are not changed here: "
                    f"change it in the spreadsheet, or save that sheet as {name}.csv in the job folder, "
                    "delete the sheet and begin again"
                )
            contents[source.path.name] = table.csv_bytes()
    return contents


def _in_place(raw: RawTable) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Return header and rows as text, with a blank row wherever the file has one.

    Columns on the right that are empty from top to bottom are left out.
    """
    header = [_as_typed(cell) for cell in raw.header]
    by_number = {
        number: [_as_typed(cell) for cell in row] for number, row in zip(raw.numbers, raw.rows, strict=True)
    }
    used = max(map(_filled, (header, *by_number.values())))
    last = raw.numbers[-1] if raw.numbers else raw.header_row
    rows = (by_number.get(number, [])[:used] for number in range(raw.header_row + 1, last + 1))
    return tuple(header[:used]), tuple(map(tuple, rows))


def _as_typed(cell: Any) -> str:
    """Return a cell as a person would type it.

    Examples
    --------
    >>> _as_typed(12.0), _as_typed(0.1 + 0.2), _as_typed(True), _as_typed("48 1/2")
    ('12', '0.3', 'TRUE', '48 1/2')
    """
    if isinstance(cell, bool):
        return str(cell).upper()
    if isinstance(cell, float):
        return f"{cell:.{_DIGITS}g}"
    if isinstance(cell, datetime.datetime):
        return cell.isoformat(" ").removesuffix(" 00:00:00")
    return str(cell)


def _quoted(cell: str) -> str:
    return cell if _PLAIN.fullmatch(cell) else '"' + cell.replace('"', '""') + '"'


def _filled(row: Sequence[str]) -> int:
    """Return how many cells a row has up to the last one that is not empty."""
    return max((place for place, cell in enumerate(row, 1) if cell.strip()), default=0)
