"""A job with its tables as they are typed: checked as files are, and saved as a new job."""

from __future__ import annotations

import re
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from trackkit.job import load_job
from trackkit.survey.readings import read_survey
from trackkit.survey.tables import TABLE_NAMES
from trackkit.tables.typed import TypedTable, save_copy, typed_tables

if TYPE_CHECKING:
    from trackkit.job import Job

__all__ = ["TypedJob"]

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
            save_copy(self.folder, copy, self.tables.values())
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
        save_copy(self.folder, into, self.tables.values())
        return into
