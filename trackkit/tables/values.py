"""The cells of one column, turned into SI values; each cell that cannot be read becomes a fault."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trackkit.problems import Problems, nearest
from trackkit.tables.cells import RawTable
from trackkit.tables.columns import Column, Kind, fault_at
from trackkit.units import LENGTH_UNITS, MASS_UNITS, parse_angle, parse_length, parse_mass, parse_number

__all__ = ["is_formula_error", "read_column", "si_values"]

_FORMULA_ERRORS: Final = frozenset(
    ("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A", "#GETTING_DATA", "#SPILL!", "#CALC!")
)
_YES: Final = {
    "yes": True,
    "y": True,
    "true": True,
    "1": True,
    "no": False,
    "n": False,
    "false": False,
    "0": False,
}
_WHOLE: Final = re.compile(r"(-?\d+)\.0+")
#: Largest whole number that is taken for a count; far above anything that is counted here.
_MOST_COUNT: Final = 10**9


def read_column(
    column: Column, unit: str, place: int, cells: Sequence[Any], raw: RawTable, problems: Problems
) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Return the SI values of one column, and which of its cells were filled in.

    Cells with a fault are reported and count as filled, but are empty in the values.
    """
    header = str(raw.header[place])
    if column.missing:
        gone = set(column.missing)
        cells = ["" if isinstance(cell, str) and cell.casefold() in gone else cell for cell in cells]
    filled = np.fromiter((cell != "" for cell in cells), dtype=bool, count=len(cells))
    values = column.blank(len(cells))
    if column.needed and not filled.all():
        for row in np.flatnonzero(~filled).tolist():
            do = "fill it in, or delete the whole row"
            problems.add(fault_at(raw, "an empty cell", column.accepted(unit), do, header, raw.numbers[row]))
    where = np.flatnonzero(filled)
    written = [cells[row] for row in where.tolist()]
    fast = _plain_numbers(written, unit) if column.numeric else None
    if fast is not None:
        values[where] = _to_si(fast, column.kind, unit)
        wrong = _out_of_bounds(values, column) & filled
    else:
        wrong = _read_one_by_one(column, unit, header, where, written, values, raw, problems)
    for row in np.flatnonzero(wrong).tolist():
        do = _advice(column, unit)
        problems.add(fault_at(raw, _shown(cells[row]), column.accepted(unit), do, header, raw.numbers[row]))
    values[wrong] = column.blank(1)[0]
    if unit == "ft":
        _note_decimal_feet(header, cells, values, raw, problems)
    return values, filled


def is_formula_error(cell: str) -> bool:
    """Whether the cell is what a spreadsheet shows where a formula has gone wrong."""
    return cell.upper() in _FORMULA_ERRORS


def _read_one_by_one(
    column: Column,
    unit: str,
    header: str,
    where: NDArray[np.intp],
    written: Sequence[Any],
    values: NDArray[Any],
    raw: RawTable,
    problems: Problems,
) -> NDArray[np.bool_]:
    """Fill ``values`` cell by cell, each spelling once; return which ones are out of bounds."""
    read = _reader(column, unit)
    known: dict[tuple[type, Any], tuple[Any, str]] = {}
    for row, cell in zip(where, written, strict=True):
        spelling = (type(cell), cell)
        if spelling not in known:
            try:
                known[spelling] = read(_sound(cell, column)), ""
            except (ValueError, OverflowError) as error:
                known[spelling] = None, str(error) or "it cannot be read"
        value, why = known[spelling]
        if why:
            problems.add(fault_at(raw, _shown(cell), column.accepted(unit), why, header, raw.numbers[row]))
        else:
            values[row] = value
    if not column.numeric:
        return np.zeros(len(values), dtype=bool)
    return _out_of_bounds(values, column)


def _reader(column: Column, unit: str) -> Callable[[Any], Any]:
    """Return the function that reads one cell of the column."""
    kind = column.kind
    if kind == "length":
        return lambda cell: parse_length(cell, unit)
    if kind == "mass":
        return lambda cell: parse_mass(cell, unit)
    if kind == "angle":
        return lambda cell: parse_angle(cell, unit)
    if kind in ("count", "number"):
        return parse_number
    if kind == "yesno":
        return _read_yesno
    if kind == "choice":
        return lambda cell: _read_choice(cell, column)
    return _read_name if kind == "name" else _read_text


def _read_text(cell: Any) -> str:
    if isinstance(cell, (datetime.date, datetime.time)):
        return cell.isoformat()
    return _read_name(cell) if not isinstance(cell, str) else cell


def _read_name(cell: Any) -> str:
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    word = " ".join(str(cell).split())
    whole = _WHOLE.fullmatch(word)
    return whole[1] if whole else word


def _read_yesno(cell: Any) -> bool:
    word = _read_name(cell).lower()
    if word not in _YES:
        raise ValueError("write yes or no")
    return _YES[word]


def _read_choice(cell: Any, column: Column) -> str:
    word = _read_name(cell).lower()
    word = dict(column.also).get(word, word)
    if word not in column.choices:
        raise ValueError(nearest(word, column.choices) or f"write {' or '.join(column.choices)}")
    return word


def _sound(cell: Any, column: Column) -> Any:
    """Return the cell, unless no column could hold it."""
    if isinstance(cell, str):
        if is_formula_error(cell):
            raise ValueError("a formula has gone wrong here; mend it or type the value")
        if column.kind != "text" and ("\n" in cell or "\r" in cell):
            raise ValueError(
                "the cell runs over several lines: a quotation mark is opened here and not closed"
            )
    elif column.kind != "text" and isinstance(cell, (datetime.date, datetime.time, datetime.timedelta)):
        raise ValueError(
            "the spreadsheet has made a date of it, as it does with 3/8; "
            "format the column as text and type it again"
        )
    elif isinstance(cell, bool) and column.kind != "yesno":
        raise ValueError("the spreadsheet holds TRUE or FALSE here; type the value")
    return cell


def _plain_numbers(cells: Sequence[Any], unit: str) -> NDArray[np.float64] | None:
    """Return the cells as numbers at once, or None if one of them needs a closer look."""
    kinds = set(map(type, cells))
    if not kinds <= {str, int, float}:
        return None
    if str in kinds:
        everything = "\n".join(map(str, cells))
        if "_" in everything or ("," in everything and unit in ("mm", "cm")):
            return None
        if "," in everything:
            points = everything.replace(",", ".").split("\n")
            if len(points) != len(cells):
                return None
            cells = points
    try:
        values = np.array([float(cell) for cell in cells], dtype=float)
    except (ValueError, OverflowError):
        return None
    return values if np.isfinite(values).all() else None


def si_values(numbers: NDArray[np.float64], column: Column, unit: str) -> NDArray[np.float64] | None:
    """Return plain numbers of a column in SI units, or None if one of them is not finite or out of bounds."""
    if not np.isfinite(numbers).all():
        return None
    values = _to_si(numbers, column.kind, unit)
    return None if _out_of_bounds(values, column).any() else values


def _to_si(values: NDArray[np.float64], kind: Kind, unit: str) -> NDArray[np.float64]:
    if kind == "angle":
        return np.radians(values) if unit == "deg" else np.arctan(values / 100.0)
    factors = {"length": LENGTH_UNITS, "mass": MASS_UNITS}.get(kind)
    return values * factors[unit] if factors else values


def _out_of_bounds(values: NDArray[Any], column: Column) -> NDArray[np.bool_]:
    slack = 1e-9  # a bound written in another unit may miss by its last digit
    wrong = (values < column.least - slack) | (values > column.most + slack) | (values <= column.above)
    if column.kind == "count":
        wrong |= (np.mod(values, 1.0) > 0) | (np.abs(values) > _MOST_COUNT)
    return np.asarray(wrong, dtype=bool)


def _advice(column: Column, unit: str) -> str:
    if column.kind == "count":
        return "count them again"
    return f"check the figure and its unit; the column is in {unit}" if unit else "check the figure"


def _note_decimal_feet(
    header: str, cells: Sequence[Any], values: NDArray[Any], raw: RawTable, problems: Problems
) -> None:
    """Remark on the first length in a feet column that is a decimal and no whole number of feet."""
    feet = values / LENGTH_UNITS["ft"]
    for place in np.flatnonzero(np.abs(feet - np.round(feet)) > 1e-9).tolist():
        cell = cells[place]
        if (
            isinstance(cell, str)
            and re.search(r"[^\d\s.,+/eE-]", cell)
            and not re.search(r"[½¼¾⅛⅜⅝⅞]$", cell)
        ):
            continue  # it carries foot or inch marks
        whole, tenths = divmod(round(abs(feet[place]) * 120), 120)
        sign = "-" if feet[place] < 0 else ""
        problems.note(
            f"{raw.label}: {header} {cell} (row {raw.numbers[place]}) read as decimal feet: "
            f"{sign}{whole} ft {tenths / 10:g} in"
        )
        return


def _shown(cell: Any) -> str:
    """Return a cell as a message shows it, cut short."""
    text = repr(cell) if isinstance(cell, str) else str(cell)
    return text if len(text) <= 60 else f"{text[:57]}..."
