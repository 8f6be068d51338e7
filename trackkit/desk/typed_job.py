"""A job with its tables as they are typed: checked as files are, and saved as a new job."""

from __future__ import annotations

import re
import tempfile
from dataclasses import replace
from difflib import SequenceMatcher
from pathlib import Path
from typing import TYPE_CHECKING, Final

from trackkit.job import load_job
from trackkit.jobfile import JOB_FILE
from trackkit.survey.readings import read_survey
from trackkit.survey.tables import TABLE_NAMES
from trackkit.tables.typed import TypedTable, save_copy, typed_tables

if TYPE_CHECKING:
    from trackkit.job import Job

__all__ = ["TypedJob", "moved_rows"]

#: The readings that a job file leaves out.
_LEFT_OUT: Final = re.compile(r"^leave_out\s*=\s*\[[^\]]*\]", flags=re.MULTILINE)
#: Tables that a panel shows, as far as the job has them.
SHOWN: Final = (*TABLE_NAMES, "truck")


class TypedJob:
    """The tables of a job folder as text, and what has been changed in them.

    The folder itself is never written to.

    Parameters
    ----------
    folder : path

    Attributes
    ----------
    folder : Path
    tables : dict of str to TypedTable
        As they stand now.
    """

    def __init__(self, folder: str | Path) -> None:
        self.folder = Path(folder)
        self._old = typed_tables(self.folder, SHOWN)
        self.tables = dict(self._old)

    @property
    def changed(self) -> list[str]:
        """Names of the tables that differ from their files."""
        return [name for name, table in self.tables.items() if not table.same_as(self._old[name])]

    def change(self, table: TypedTable) -> None:
        """Put a table in place of the one of its name."""
        self.tables[table.name] = table

    def label(self, name: str) -> str:
        """Return what faults call the file of a table."""
        from trackkit.problems import Problems
        from trackkit.tables.folders import find_tables

        found = find_tables(self.folder, (name,), Problems()).get(name)
        return f"{name}.csv" if found is None else found.label

    def load(self, *, all_readings: bool = False) -> Job:
        """Return the job as its tables stand, read by the code that reads files.

        Parameters
        ----------
        all_readings : bool
            Whether readings that the job leaves out are counted all the same.

        Raises
        ------
        InputProblems
            With every fault.
        """
        if not self.changed:
            return self._counted(load_job(self.folder), self.folder, all_readings)
        with tempfile.TemporaryDirectory(prefix="typed-") as place:
            copy = Path(place) / self.folder.name
            self._write(copy)
            job = self._counted(load_job(copy), copy, all_readings)
        return replace(job, folder=self.folder)

    def _counted(self, job: Job, folder: Path, all_readings: bool) -> Job:
        return replace(job, survey=read_survey(folder)) if all_readings else job

    def save(self) -> Path:
        """Write the job with its tables as they stand into a new folder beside the old one; return it.

        Raises
        ------
        CannotDo
            If it cannot be written; nothing is there then that was not there before.
        """
        stem = re.sub(r"_\d+$", "", self.folder.name)
        number = 2
        while (into := self.folder.with_name(f"{stem}_{number}")).exists():
            number += 1
        self._write(into)
        return into

    def _write(self, into: Path) -> None:
        """Write the job as it stands; readings that its file leaves out stay left out where rows moved."""
        old = (self.folder / JOB_FILE).read_text(encoding="utf-8-sig")
        new = _LEFT_OUT.sub(lambda found: self._renamed(found[0]), old)
        others = {JOB_FILE: new.encode("utf-8")} if new != old else None
        save_copy(self.folder, into, self.tables.values(), others=others)

    def _renamed(self, text: str) -> str:
        """Return the list of what is left out with its rows where they stand now, less those that went."""
        for name in self.changed:
            places = moved_rows(self._old[name], self.tables[name])

            def place(found: re.Match[str], name: str = name, places: dict[int, int] = places) -> str:
                now = places.get(int(found[1]))
                return "" if now is None else f'"{name}.csv row {now}"{found[2]}'

            text = re.sub(rf'"{re.escape(name)}\.csv row (\d+)"(\s*,?)', place, text)
        return text


def moved_rows(old: TypedTable, new: TypedTable) -> dict[int, int]:
    """Return where each row of an old table stands in a new one; rows that were removed are not in it.

    Rows count as in a spreadsheet.

    Examples
    --------
    >>> three = TypedTable("a", ("x",), (("1",), ("2",), ("3",)))
    >>> moved_rows(three, TypedTable("a", ("x",), (("1",), ("3",))))
    {2: 2, 4: 3}
    """
    before, after = [list(table.rows) for table in (old, new)]
    first, now = old.header_row + 1, new.header_row + 1
    if len(before) == len(after):  # cells were typed anew, and rows stand where they stood
        return {first + place: now + place for place in range(len(before))}
    found: dict[int, int] = {}
    for kind, start, stop, there, till in SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
        if kind == "equal" or (kind == "replace" and stop - start == till - there):
            found |= {first + start + step: now + there + step for step in range(stop - start)}
    return found
