"""What stands in the cells of a file: CSV in any usual dress, or one sheet of an Excel workbook.

Nothing is interpreted here. Rows keep the number a spreadsheet gives them, blank rows are left out,
and whatever keeps a file from being read as a table becomes a fault with its place.
"""

from __future__ import annotations

import csv
import importlib
import io
import re
import warnings
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from trackkit.problems import Problem, Problems, visible

__all__ = ["Limits", "RawTable", "Source", "read_cells", "separator_of", "sheet_titles"]

Cell = Any  # str from a CSV file; str, number, bool or date from a workbook; "" when empty

_UTF8_MARK: Final = b"\xef\xbb\xbf"
_UTF16_MARKS: Final = (b"\xff\xfe", b"\xfe\xff")
_ZIP_MARK: Final = b"PK\x03\x04"
_OLD_EXCEL_MARK: Final = b"\xd0\xcf\x11\xe0"
_SEPARATORS: Final = (";", "\t", ",")
_FORMULA: Final = re.compile(rb"<(?:\w+:)?f[\s>/]")


@dataclass(frozen=True)
class Limits:
    """How much is read before a file is refused. All are guesses, far above any real job.

    Attributes
    ----------
    file_bytes : int
        Largest file; 100,000 readings take about 5 MB.
    unpacked_bytes : int
        Largest content of an Excel file once unpacked.
    rows : int
        Most rows in one table.
    faults : int
        Most faults listed for one table; the rest are counted.
    alike : int
        Most faults of one kind that are listed one by one; the rest are counted.
    """

    file_bytes: int = 20_000_000
    unpacked_bytes: int = 200_000_000
    rows: int = 200_000
    faults: int = 200
    alike: int = 20


@dataclass(frozen=True)
class Source:
    """Where one table stands: a CSV file, or a sheet of a workbook."""

    path: Path
    sheet: str | None = None

    @property
    def label(self) -> str:
        r"""The name that faults and readings carry.

        Examples
        --------
        >>> Source(Path("my\x1b[2J.xlsx"), "levels").label
        'my\\x1b[2J.xlsx, sheet levels'
        """
        return visible(self.path.name if self.sheet is None else f"{self.path.name}, sheet {self.sheet}")


@dataclass(frozen=True)
class RawTable:
    """The cells of one table, as they stand.

    Attributes
    ----------
    label : str
        File, and sheet if there is one.
    separator : str
        What parts the cells in a text file; '' for a workbook.
    header_row : int
        Row of the header, as a spreadsheet counts.
    header : list
        Cells of the header.
    numbers : list of int
        Row number of each row below the header.
    rows : list of list
        Their cells, stripped; '' where empty. Rows may be shorter or longer than the header.
    """

    label: str
    separator: str
    header_row: int
    header: list[Cell]
    numbers: list[int]
    rows: list[list[Cell]]


def read_cells(source: Source, problems: Problems, *, limits: Limits | None = None) -> RawTable | None:
    """Return the cells of a table, or None with the reason added to ``problems``."""
    limits = limits or Limits()
    data = _read_bytes(source, problems, limits)
    if data is None:
        return None
    if source.sheet is None:
        text = _decode(data, source.label, problems)
        separator = separator_of(text) if text is not None else ""
        rows = None if text is None else _csv_rows(text, separator, source.label, problems)
    else:
        rows, separator = _sheet_rows(data, source, problems, limits), ""
    if rows is None:
        return None
    kept = [(number, row) for number, row in enumerate(rows, 1) if any(cell != "" for cell in row)]
    if not kept:
        problems.add(Problem(source.label, "an empty table", "a header and rows", "fill it in or delete it"))
        return None
    if len(kept) - 1 > limits.rows:
        found = f"{len(kept) - 1} rows"
        problems.add(Problem(source.label, found, f"at most {limits.rows} rows", "split the job"))
        return None
    numbers = [number for number, _ in kept]
    body = [row for _, row in kept]
    return RawTable(source.label, separator, numbers[0], body[0], numbers[1:], body[1:])


def sheet_titles(path: Path, problems: Problems, *, limits: Limits | None = None) -> list[str] | None:
    """Return the titles of the sheets that hold anything, or None if the workbook cannot be read."""
    limits = limits or Limits()
    source = Source(path, "")
    data = _read_bytes(Source(path), problems, limits)
    book = None if data is None else _open_workbook(data, source, problems, limits)
    if book is None:
        return None
    titles = []
    try:
        for sheet in book.worksheets:
            sheet.reset_dimensions()
            if any(cell is not None for row in sheet.iter_rows(values_only=True) for cell in row):
                titles.append(str(sheet.title))
    except Exception as error:  # openpyxl lets the errors of its XML and ZIP readers through
        problems.add(_damaged(path.name, error))
        return None
    return titles


def _read_bytes(source: Source, problems: Problems, limits: Limits) -> bytes | None:
    path = source.path
    try:
        if not path.is_file():
            found = "a folder" if path.is_dir() else "no such file"
            problems.add(Problem(path.name, found, "a .csv or .xlsx file", "check the name"))
            return None
        size = path.stat().st_size
        if size > limits.file_bytes:
            accepted = f"a table of at most {limits.file_bytes / 1e6:g} MB"
            do = "check that it is the right file; 100,000 readings take about 5 MB"
            problems.add(Problem(path.name, f"a file of {size / 1e6:.0f} MB", accepted, do))
            return None
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or str(error)
        problems.add(Problem(path.name, f"a file that cannot be opened ({reason})", "a readable file"))
        return None


# --- text files ---------------------------------------------------------------------------------


def _csv_rows(text: str, separator: str, label: str, problems: Problems) -> list[list[Cell]] | None:
    if text[:4].lower() == "sep=":  # a spreadsheet's own first line; it shows no row for it
        text = text.partition("\n")[2]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        return [[cell.strip() for cell in row] for row in reader]
    except csv.Error as error:
        found = f"text that is not a table ({error})"
        do = "look for a quotation mark that is opened and not closed"
        problems.add(Problem(label, found, "rows of cells", do, row=reader.line_num))
        return None


def _decode(data: bytes, label: str, problems: Problems) -> str | None:
    """Return the text of a file: UTF-8, UTF-16, or the Western European Windows code page."""
    if data.startswith(_ZIP_MARK) or data.startswith(_OLD_EXCEL_MARK):
        do = "save it from the spreadsheet as CSV, or as .xlsx with that ending"
        problems.add(Problem(label, "a spreadsheet under the name of a text file", "a CSV text file", do))
        return None
    try:
        text = _text(data)
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        do = "save it from the spreadsheet as 'CSV UTF-8'"
        problems.add(Problem(label, "bytes that are not text", "a CSV text file (UTF-8)", do))
        return None
    if not data.startswith((*_UTF16_MARKS, _UTF8_MARK)) and not _is_utf8(data) and "\ufffd" not in text:
        problems.note(f"{label}: not UTF-8; read as Western European Windows text")
    return text


def _text(data: bytes) -> str:
    if data.startswith(_UTF16_MARKS):
        return data.decode("utf-16")
    start = data[:1000]
    if start[1::2].count(0) > 0.4 * len(start) / 2:
        return data.decode("utf-16-le")
    if start[0::2].count(0) > 0.4 * len(start) / 2:
        return data.decode("utf-16-be")
    return data.decode("utf-8-sig") if _is_utf8(data) else data.decode("cp1252")


def _is_utf8(data: bytes) -> bool:
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def separator_of(text: str) -> str:
    """Return what parts the names in the header: the commonest of semicolon, tab and comma."""
    said = re.match(r"sep=(.)\s*$", text[:10], flags=re.IGNORECASE | re.MULTILINE)
    if said and said[1] in _SEPARATORS:
        return said[1]
    header = next((line for line in io.StringIO(text) if line.strip()), "")
    bare = re.sub(r'"[^"]*"', "", header)
    return max(_SEPARATORS, key=bare.count) if any(s in bare for s in _SEPARATORS) else ","


# --- workbooks ----------------------------------------------------------------------------------


def _open_workbook(
    data: bytes, source: Source, problems: Problems, limits: Limits, *, formulas: bool = False
) -> Any | None:
    """Return the workbook (values, or its formulas), or None with the fault added."""
    name = source.path.name
    if data.startswith(_OLD_EXCEL_MARK):
        do = "save it as .xlsx without a password, or as CSV"
        problems.add(Problem(name, "an old or password-protected workbook", "an .xlsx workbook", do))
        return None
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            unpacked = sum(part.file_size for part in packed.infolist())
        if unpacked > limits.unpacked_bytes:
            found = f"a workbook of {unpacked / 1e6:.0f} MB once unpacked"
            accepted = f"at most {limits.unpacked_bytes / 1e6:g} MB"
            problems.add(Problem(name, found, accepted, "keep only the tables in it"))
            return None
        openpyxl = importlib.import_module("openpyxl")  # slow, and only workbooks need it

        with warnings.catch_warnings():  # it remarks on styles and validations, which don't matter here
            warnings.simplefilter("ignore")
            return openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=not formulas)
    except Exception as error:  # openpyxl lets the errors of its XML and ZIP readers through
        problems.add(_damaged(name, error))
        return None


def _damaged(name: str, error: Exception) -> Problem:
    found = f"a damaged workbook, or none ({type(error).__name__})"
    return Problem(name, found, "an .xlsx workbook", "open it in the spreadsheet and save it as .xlsx")


def _sheet_rows(data: bytes, source: Source, problems: Problems, limits: Limits) -> list[list[Cell]] | None:
    book = _open_workbook(data, source, problems, limits)
    if book is None:
        return None
    try:
        rows = _values(book, source)
        if _has_formulas(data):
            asked = _open_workbook(data, source, problems, limits, formulas=True)
            if asked is not None:
                _report_unsolved(rows, _values(asked, source), source, problems)
    except Exception as error:  # openpyxl lets the errors of its XML and ZIP readers through
        problems.add(_damaged(source.path.name, error))
        return None
    return rows


def _values(book: Any, source: Source) -> list[list[Cell]]:
    sheet = book[source.sheet]
    sheet.reset_dimensions()  # some programs write a wrong size into the file
    return [[_plain(cell) for cell in row] for row in sheet.iter_rows(values_only=True)]


def _plain(cell: Cell) -> Cell:
    if cell is None:
        return ""
    return cell.strip() if isinstance(cell, str) else cell


def _has_formulas(data: bytes) -> bool:
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        parts = [name for name in packed.namelist() if name.startswith("xl/worksheets/")]
        return any(_FORMULA.search(packed.read(name)) for name in parts)


def _report_unsolved(
    rows: list[list[Cell]], asked: list[list[Cell]], source: Source, problems: Problems
) -> None:
    """Report formulas where the program that wrote the file stored no result at all."""
    unsolved = []
    for number, (row, formulas) in enumerate(zip(rows, asked, strict=False), 1):
        for place, formula in enumerate(formulas):
            if not isinstance(formula, str) or not formula.startswith("="):
                continue
            if place < len(row) and row[place] != "":
                return  # it was calculated; an empty cell is the formula's answer
            unsolved.append((number, formula))
    for number, formula in unsolved:
        found = f"the formula {formula} without its result"
        do = "open it in the spreadsheet, let it calculate, and save it"
        problems.add(Problem(source.label, found, "a value", do, row=number))
