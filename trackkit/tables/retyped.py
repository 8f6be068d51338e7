"""One figure of a table typed anew, in the unit of its column and as the crew wrote the old one."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Final

from trackkit.tables.typed import TypedTable
from trackkit.units import LENGTH_UNITS, few_decimals, split_unit

__all__ = ["retyped"]

#: Columns that hold a figure of a survey, by its name there, and what stands in them for it.
_COLUMNS: Final[Mapping[str, Mapping[str, Callable[[float], float]]]] = {
    "rod_m": {"rod": lambda rod: rod},
    "angle_rad": {"angle": math.degrees, "grade": lambda angle: 100.0 * math.tan(angle)},
    "rise_m": {"drop": lambda rise: -rise, "right_above_left": lambda rise: rise},
    "facing": {"facing": lambda word: word},
}
#: Lengths are written to this [m], angles to this [degrees, per cent]: finer than anybody reads.
_FINEST: Final = (0.00005, 0.005)
#: Inches are written in fractions of this; a figure that none comes near is written as a decimal.
_FRACTION: Final = 64
_MARKS: Final = re.compile(r"['\"/]|\b(?:feet|foot|ft|inches|inch|in)\b", flags=re.IGNORECASE)


def retyped(table: TypedTable, row: int, figure: str, value: float | str) -> TypedTable:
    r"""Return a table with one figure typed anew.

    Parameters
    ----------
    table : TypedTable
    row : int
        As a spreadsheet counts.
    figure : str
        Its column in the `trackkit.survey.readings.Survey`: 'rod_m', 'angle_rad', 'rise_m' or 'facing'.
    value : float or str
        [m], [rad], or 'ahead' and 'back'.

    A table without a column ``facing`` gets one at its end.

    Raises
    ------
    ValueError
        If the table has no such row, or no such figure in it.

    Examples
    --------
    >>> rods = TypedTable("levels", ("tie", "rod_mm"), (("1", "1531"),))
    >>> retyped(rods, 2, "rod_m", 1.431).rows
    (('1', '1431'),)
    >>> feet = TypedTable("levels", ("tie", "rod_ft"), (("1", "5' 3 1/2\""),))
    >>> retyped(feet, 2, "rod_m", 0.3048 * 4 + 0.0254 * 3.5).rows
    (('1', '4\' 3 1/2"'),)
    """
    if figure not in _COLUMNS:
        raise ValueError(f"figure must be one of {', '.join(_COLUMNS)}; got {figure!r}")
    place = row - table.header_row - 1
    if not 0 <= place < len(table.rows):
        raise ValueError(f"{table.name} has no row {row}")
    if figure == "facing" and "facing" not in [name.strip().lower() for name in table.header]:
        table = replace(table, header=(*table.header, "facing"))
    cells = [*table.rows[place], *[""] * (len(table.header) - len(table.rows[place]))]
    for column, name in enumerate(table.header):
        stem, unit = split_unit(name.strip().lower())
        if stem in _COLUMNS[figure] and (cells[column].strip() or figure == "facing"):
            new = value if isinstance(value, str) else _COLUMNS[figure][stem](value)
            cells[column] = new if isinstance(new, str) else _written(new, unit or "m", cells[column])
            rows = (*table.rows[:place], tuple(cells), *table.rows[place + 1 :])
            return replace(table, rows=rows)
    raise ValueError(f"{table.name} row {row} has no {figure} to type anew")


def _written(value: float, unit: str, old: str) -> str:
    """Return a figure in the unit of its column, feet and inches where the old one was so written."""
    if unit not in LENGTH_UNITS:
        return few_decimals(value, _FINEST[1], least=_decimals(old))
    length = value / LENGTH_UNITS[unit]
    if unit in ("ft", "in") and (_MARKS.search(old) or " " in old.strip()):
        inches = value / LENGTH_UNITS["in"]
        steps = round(inches * _FRACTION)
        if abs(steps / _FRACTION - inches) < _FINEST[0] / LENGTH_UNITS["in"]:
            return _feet_and_inches(steps, feet="'" in old or unit == "ft")
    return few_decimals(length, _FINEST[0] / LENGTH_UNITS[unit], least=_decimals(old))


def _decimals(old: str) -> int:
    """Return how many decimals a figure was written with."""
    found = re.search(r"[.,](\d+)\s*$", old)
    return len(found[1]) if found else 0


def _feet_and_inches(steps: int, *, feet: bool) -> str:
    whole, part = divmod(abs(steps), _FRACTION)
    fraction = f"{Fraction(part, _FRACTION)}" if part else ""
    sign = "-" if steps < 0 else ""
    if not feet:
        return f"{sign}{whole} {fraction}".strip() if whole or not fraction else f"{sign}{fraction}"
    return f"{sign}{whole // 12}' {whole % 12}{f' {fraction}' if fraction else ''}\""
