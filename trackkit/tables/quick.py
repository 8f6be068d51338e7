"""A long table of plain cells, read column by column; whatever else it holds is left to the usual way.

Cell by cell, 100,000 rows take a second. Where nothing needs a closer look (plain characters, no
quotation marks, every cell sound) pandas' reader gives the same frame in a tenth of that. This module
only ever gives a table without a fault: at the first doubt it gives nothing, and the usual way finds
and names every fault.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.problems import Problems
from trackkit.tables.cells import RawTable, Source, separator_of
from trackkit.tables.columns import Column, Header, match_header
from trackkit.tables.values import read_column, si_values

__all__ = ["QUICK_FROM", "quick_columns"]

#: Files from this size on are tried [bytes]; smaller ones take no time (a choice).
QUICK_FROM: Final = 100_000
#: What plain text is made of: printable ASCII but quotation marks, and ends of lines.
_UTF8_MARK: Final = b"\xef\xbb\xbf"
_PLAIN: Final = bytes(set(range(0x20, 0x7F)) - {0x22, 0x23}) + b"\t\r\n"
#: A column of names with more spellings than this is read the usual way (a choice).
_SPELLINGS: Final = 2000


def quick_columns(
    source: Source, columns: Sequence[Column], *, rows: int, size: int
) -> tuple[RawTable, Header, dict[str, NDArray[Any]], dict[str, NDArray[np.bool_]]] | None:
    """Return a table's columns in SI units and which cells were filled, or None to read it the usual way.

    Parameters
    ----------
    source : Source
        Only CSV files are tried.
    columns : sequence of Column
        The table's description.
    rows, size : int
        Most rows, and most bytes.

    Returns
    -------
    raw, header, values, filled or None
        The table with its row numbers but without cells; where the columns stand; values and filled
        cells by the columns' keys, for those columns that the file has.
    """
    text = _plain_text(source, size)
    if text is None:
        return None
    lines = text.split("\n", 60)
    first = next((place for place, line in enumerate(lines[:-1]) if line.strip()), None)
    if first is None:
        return None
    separator = separator_of(text)
    names = [cell.strip() for cell in lines[first].rstrip("\r").split(separator)]
    few = [line.rstrip("\r").split(separator) for line in lines[first + 1 : -1]]
    raw = RawTable(source.label, separator, first + 1, names, [], few)
    own = Problems()
    header = match_header(raw, columns, own)
    if own.found or own.notes or not all(names) or _is_odd(text, separator, header):
        return None
    if _most_separators(text, separator) > len(names) - 1:
        return None
    table = _parsed(text, separator, first, names, columns, header)
    if table is None or not 0 < len(table) <= rows:
        return None
    kept: NDArray[np.bool_] = table.notna().any(axis=1).to_numpy()
    numbers = np.flatnonzero(kept) + first + 2
    if not numbers.size:
        return None
    raw = RawTable(source.label, separator, first + 1, names, numbers.tolist(), [[]] * len(numbers))
    has_nan = "nan" in text.lower()
    values: dict[str, NDArray[Any]] = {}
    filled: dict[str, NDArray[np.bool_]] = {}
    for column in columns:
        if column.key not in header.places:
            continue
        cells = table.iloc[:, header.places[column.key]][kept]
        if has_nan and column.numeric and not column.missing and cells.isna().any():
            return None  # it may be an empty cell, or the word
        read = _column(column, header, cells, raw)
        if read is None:
            return None
        values[column.key], filled[column.key] = read
    return raw, header, values, filled


def _plain_text(source: Source, size: int) -> str | None:
    if source.sheet is not None:
        return None
    try:
        if not QUICK_FROM <= source.path.stat().st_size <= size:
            return None
        data = source.path.read_bytes()
    except OSError:
        return None
    data = data.removeprefix(_UTF8_MARK)
    if data.translate(None, _PLAIN) or data[:4].lower() == b"sep=":
        return None
    text = data.decode("ascii")
    return text.replace("\r\n", "\n") if "\r" in text else text


def _is_odd(text: str, separator: str, header: Header) -> bool:
    """Whether numbers may be written in ways that need reading cell by cell."""
    if "\r" in text or not set(header.units.values()).isdisjoint(("ft", "in")):
        return True
    return (
        separator != ","
        and "," in text
        and ("." in text or not {"mm", "cm"}.isdisjoint(header.units.values()))
    )


def _most_separators(text: str, separator: str) -> int:
    """Return the most separators on one line."""
    letters = np.frombuffer(text.encode("ascii"), dtype=np.uint8)
    before = np.cumsum(letters == ord(separator), dtype=np.int32)
    ends = before[letters == ord("\n")]
    return int(np.diff(ends, prepend=0, append=before[-1:]).max())


def _parsed(
    text: str, separator: str, first: int, names: list[str], columns: Sequence[Column], header: Header
) -> pd.DataFrame | None:
    """Return the cells, empty ones as NaN: numbers as numbers, all else as categories of text."""
    numeric = {header.places[c.key]: c for c in columns if c.key in header.places and c.numeric}
    dtypes: dict[int, Any] = {place: "float64" if place in numeric else "str" for place in range(len(names))}
    empty: dict[int, list[str]] = {
        place: ["", *(numeric[place].spelled_out_missing() if place in numeric else ())] for place in dtypes
    }
    options: dict[str, Any] = {
        "sep": separator, "header": None, "skiprows": first + 1, "names": range(len(names)), "dtype": dtypes,
        "index_col": False, "na_values": empty, "keep_default_na": False, "skip_blank_lines": False,
        "decimal": "," if separator != "," and "," in text else ".", "engine": "c",
    }  # fmt: skip
    try:
        table = pd.DataFrame(pd.read_csv(io.StringIO(text), **options))
    except (ValueError, OverflowError, pd.errors.ParserError):
        return None
    # read as text first: pandas makes numbers of categories that all look like numbers (007 becomes 7)
    worded = {place: "category" for place in dtypes if place not in numeric}
    return table.astype(worded)


def _column(
    column: Column, header: Header, cells: pd.Series[Any], raw: RawTable
) -> tuple[NDArray[Any], NDArray[np.bool_]] | None:
    """Return the SI values of a column and which cells were filled, or None if one of them needs a word."""
    unit = header.units.get(column.key, "")
    filled = cells.notna().to_numpy()
    if column.needed and not filled.all():
        return None
    values = column.blank(len(cells))
    if column.numeric:
        numbers = cells.to_numpy(dtype=float)[filled]
        found = si_values(numbers, column, unit)
        if found is None:
            return None
        values[filled] = found
        return values, filled
    kinds = [str(word).strip() for word in cells.cat.categories]
    if len(kinds) > _SPELLINGS or any(re.search(r"^$", word) for word in kinds):
        return None
    few = RawTable(
        raw.label, raw.separator, raw.header_row, raw.header, [*range(len(kinds))], [[]] * len(kinds)
    )
    own = Problems()
    read, _ = read_column(column, unit, header.places[column.key], kinds, few, own)
    if own.found or own.notes:
        return None
    if filled.any():
        values[filled] = read[cells.cat.codes.to_numpy()[filled]]
    return values, filled
