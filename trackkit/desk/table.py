"""The table that readings are typed into, in a notebook.

It shows text and faults, and tells what was typed. What the text means is judged elsewhere, by the code
that reads files.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import anywidget
import traitlets

from trackkit.problems import Problem, visible
from trackkit.tables.typed import TypedTable
from trackkit.units import ANGLE_UNITS, LENGTH_UNITS, MASS_UNITS

__all__ = ["EntryTable", "fault_words", "label_of"]

#: Columns, without their unit, that say which reading a row is.
TELLING: Final = frozenset(
    ("point", "station", "to_station", "along", "tie", "section", "end", "side", "item", "from", "to")
)
#: What the page's module is made of, in this order.
SOURCES: Final = ("table_view.js", "table_undo.js", "table.js")
_HERE: Final = Path(__file__).parent
_UNITS: Final = frozenset((*LENGTH_UNITS, *MASS_UNITS, *ANGLE_UNITS))
_SPOKEN: Final = {"deg": "degrees", "pct": "per cent"}


class EntryTable(anywidget.AnyWidget):
    """A table to type readings into.

    Make it with `EntryTable.of`. The traits below are what the page sees; text stands in them exactly as it
    was typed.

    Attributes
    ----------
    caption : str
    columns : list of dict
        ``name``: header in the file; ``label``: the same in words; ``choices``: words to choose from, others
        may be typed; ``tells``: whether the cell helps to say which row it is.
    rows : list of list of str
    origins : list of int
        For each of ``rows`` the row of the file that it came from, 0 for one that was added; empty where that
        is not known. The page sends both in one message. Rows that are set here alone are taken to be
        typed anew in their places if there are as many as before; otherwise origins are known no more.
    faults : list of dict
        ``row``: from 0; ``column``: from 0, or -1 for the row as a whole; ``text``: what is said of it.
    header_faults : list of str
        What is said of the table as a whole or of its header; shown above it.
    first_row : int
        Number shown for the first row, as a spreadsheet counts.
    notice : str
        One line under the table, read out by a screen reader when it changes.
    """

    _esm = "".join((_HERE / name).read_text("utf-8") for name in SOURCES)
    _css = _HERE / "table.css"

    caption = traitlets.Unicode().tag(sync=True)
    columns = traitlets.List(traitlets.Dict()).tag(sync=True)
    rows = traitlets.List(traitlets.List(traitlets.Unicode())).tag(sync=True)
    origins = traitlets.List(traitlets.Int()).tag(sync=True)
    faults = traitlets.List(traitlets.Dict()).tag(sync=True)
    header_faults = traitlets.List(traitlets.Unicode()).tag(sync=True)
    first_row = traitlets.Int(2).tag(sync=True)
    notice = traitlets.Unicode().tag(sync=True)

    def __init__(self, **traits: Any) -> None:
        self._name, self._header_row, self._named = "table", 1, 0
        self._choices: dict[str, list[str]] = {}
        self._counted = ""
        super().__init__(**traits)

    @classmethod
    def of(
        cls, table: TypedTable, *, choices: Mapping[str, Sequence[str]] | None = None, caption: str = ""
    ) -> EntryTable:
        """Return the widget for a table.

        Parameters
        ----------
        table : TypedTable
        choices : mapping, optional
            Words to choose from, by the name of the column.
        caption : str, optional
            What stands over the table; without it the table's name.
        """
        entry = cls()
        entry._choices = {name: list(words) for name, words in (choices or {}).items()}
        entry.show_table(table, caption=caption)
        return entry

    def show_table(self, table: TypedTable, *, caption: str = "") -> None:
        """Show another table in place of this one; its faults are not known yet."""
        width = max(map(len, (table.header, *table.rows)))
        names = [*table.header, *[""] * (width - len(table.header))]
        self._name, self._header_row = table.name, table.header_row
        self._named = len(table.header)
        with self.hold_sync(), self.hold_trait_notifications():
            self.caption = caption or table.name
            self.first_row = table.header_row + 1
            self.columns = [
                {
                    "name": name,
                    "label": label_of(name) or f"column {place}, no name",
                    "choices": self._choices.get(name, []),
                    "tells": _stem_and_unit(name)[0].lower() in TELLING,
                }
                for place, name in enumerate(names, 1)
            ]
            self.faults, self.header_faults, self.notice, self._counted = [], [], "", ""
            self.rows = [_filled_up(row, width) for row in table.rows] or [[""] * width]
            self.origins = list(table.origins or ()) if table.rows else [0]

    @property
    def table(self) -> TypedTable:
        """The table as it stands now, with its rows' origins; blank rows at its end are left out."""
        header = tuple(column["name"] for column in self.columns[: self._named])
        rows = [_cut(row, self._named) for row in self.rows]
        while rows and not any(cell.strip() for cell in rows[-1]):
            rows.pop()
        origins = tuple(self.origins[: len(rows)]) if len(self.origins) == len(self.rows) else None
        return TypedTable(self._name, header, tuple(rows), self._header_row, origins)

    def on_rows(self, callback: Callable[[TypedTable], None]) -> None:
        """Call ``callback`` with the table as it stands whenever a cell or a row has changed."""
        told: list[Any] = []

        def tell(_: Any) -> None:
            now = [self.rows, self.origins]
            if now != told:  # both changed, and are told of one after the other
                told[:] = now
                callback(self.table)

        self.observe(tell, names=["rows", "origins"])

    @traitlets.observe("rows")
    def _forget_origins(self, _: Any) -> None:
        if len(self.origins) != len(self.rows):
            self.origins = []

    def show_problems(self, problems: Iterable[Problem], *, file: str | None = None) -> None:
        """Mark the cells and rows that problems speak of, and unmark all others.

        Parameters
        ----------
        problems : iterable of Problem
            Those of other files are passed over.
        file : str, optional
            The name by which problems call this table; without it ``levels.csv`` for the table
            ``levels``.
        """
        file = f"{self._name}.csv" if file is None else file
        cells: list[dict[str, Any]] = []
        above: list[str] = []
        for problem in problems:
            if problem.file != file:
                continue
            row = -1 if problem.row is None else problem.row - self.first_row
            column = self._place(problem.column)
            if 0 <= row < len(self.rows):
                words = fault_words(problem, named=column < 0)
                cells.append({"row": row, "column": column, "text": words})
            else:
                above.append(fault_words(problem, named=True))
        cells.sort(key=lambda fault: (fault["row"], fault["column"]))
        with self.hold_sync():
            self.faults, self.header_faults = cells, above
            self._tell_count(len(cells) + len(above))

    def _tell_count(self, count: int) -> None:
        """Say how many faults there are, if that has changed; if not, the notice stands as it is."""
        counted = f"{count} fault{'s' if count > 1 else ''} to mend, marked !" if count else ""
        if counted != self._counted:
            self.notice = counted or "No fault is left."
        self._counted = counted

    def _place(self, name: str | None) -> int:
        """Return where the column of this name stands, or -1."""
        names = [column["name"] for column in self.columns]
        return names.index(name) if name and name in names else -1


def label_of(name: str) -> str:
    """Return a column's header in words.

    Examples
    --------
    >>> label_of("rod_mm"), label_of("right_above_left_in"), label_of("Slope (deg)"), label_of("side")
    ('rod, mm', 'right above left, in', 'Slope, degrees', 'side')
    """
    stem, unit = _stem_and_unit(name)
    words = stem.replace("_", " ")
    return f"{words}, {_SPOKEN.get(unit, unit)}" if unit else words


def fault_words(problem: Problem, *, named: bool) -> str:
    """Return a fault as it is told beside its cell: what was found, what is accepted, what to do.

    Parameters
    ----------
    problem : Problem
    named : bool
        Whether to name the column, where the place does not say it.

    Examples
    --------
    >>> print(fault_words(Problem("levels.csv", "'abc'", "a length in mm", "type it again"), named=False))
    Found 'abc'. Accepted: a length in mm. Type it again.
    """
    place = f"{problem.column}: " if named and problem.column else ""
    parts = [f"found {problem.found}", f"accepted: {problem.accepted}", problem.do]
    return visible(place + " ".join(_sentence(part) for part in parts if part))


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '?', '!')) else '.'}"


def _stem_and_unit(name: str) -> tuple[str, str]:
    """Return a header's name without its unit, and the unit; '' where it has none."""
    words = re.sub(r"[\s\-()\[\]_]+", "_", name).strip("_").replace("_%", "_pct")
    stem, _, unit = words.rpartition("_")
    return (stem, unit.lower()) if stem and unit.lower() in _UNITS else (words, "")


def _filled_up(row: Sequence[str], width: int) -> list[str]:
    return [*row, *[""] * (width - len(row))]


def _cut(row: Sequence[str], width: int) -> tuple[str, ...]:
    """Return a row without the empty cells that stand beyond the header."""
    cells = list(row)
    while len(cells) > width and not cells[-1].strip():
        cells.pop()
    return tuple(cells)
