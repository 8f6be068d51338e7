"""A job with its tables as they are typed: checked as files are, and saved as a new job."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from trackkit.desk.left_out import with_left_out, with_only_left_out
from trackkit.job import load_job
from trackkit.jobfile import JOB_FILE, examine_job_file
from trackkit.problems import CannotDo, Problems
from trackkit.survey.readings import read_survey
from trackkit.survey.tables import LOG_TABLES, TABLE_NAMES
from trackkit.tables.folders import find_tables
from trackkit.tables.moved import REMOVED, moved_rows
from trackkit.tables.typed import TypedTable, save_copy, typed_tables

if TYPE_CHECKING:
    from trackkit.job import Job

__all__ = ["TypedJob"]

#: Tables that a panel shows, as far as the job has them.
SHOWN: Final = (*TABLE_NAMES, "truck")
#: What is shown to type into beside a log that stands alone.
EMPTY: Final = TypedTable("levels", ("station_m", "side", "rod_m"))
#: Files that a job is read from, beside its job file.
_TABLE_FILES: Final = (".csv", ".xlsx", ".xlsm")


class TypedJob:
    """The tables of a job folder as text, and what has been changed in them.

    The folder itself is never written to. A reading that the job file leaves out stays left out wherever its
    row goes, and nothing else is left out in its place.

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
        self.folder = Path(os.path.abspath(folder))
        self.back_to_file()

    # --- what is typed ------------------------------------------------------------------------------

    @property
    def changed(self) -> list[str]:
        """Names of the tables that differ from their files."""
        return [name for name, table in self.tables.items() if not table.same_as(self._old[name])]

    @property
    def notes(self) -> list[str]:
        """What to know of the readings that the job file leaves out: which of them were removed."""
        try:
            return [
                f"{name} is left out in {JOB_FILE} and was removed here; nothing is left out in its place"
                for name, now in self._left_out()
                if now is None
            ]
        except CannotDo:
            return []

    @property
    def logs(self) -> list[str]:
        """What to know of tables that an instrument wrote: they are there, and are not typed into."""
        found = find_tables(self.folder, LOG_TABLES, Problems())
        return [
            f"{source.label} is there and is read from its file: it is too long to be typed into, and is "
            "copied as it is when the job is saved as a new one"
            for source in found.values()
        ]

    def change(self, table: TypedTable) -> None:
        """Put a table in place of the one of its name.

        Its ``origins`` tell what became of the rows of the file.
        """
        self.tables[table.name] = table

    def reset(self, name: str) -> None:
        """Put one table back as it was read.

        Raises
        ------
        KeyError
            If the job has no such table.
        """
        self.tables[name] = self._old[name]

    def back_to_file(self) -> None:
        """Read all tables anew, as the files hold them now; what was typed is gone.

        Raises
        ------
        InputProblems
            With every fault that keeps a table from being read; then all is as it was.
        """
        seen = _contents(self.folder)  # first: what is written while tables are read makes them stale
        self._old = typed_tables(self.folder, SHOWN)
        if not self._old and self.logs:  # rods may be typed in beside a log
            self._old = {EMPTY.name: EMPTY}
        self._seen = seen
        self.tables = dict(self._old)

    def stale(self) -> bool:
        """Whether a file that the job is read from holds something else than when it was read."""
        return _contents(self.folder) != self._seen

    def label(self, name: str) -> str:
        """Return what faults call the file of a table."""
        found = find_tables(self.folder, (name,), Problems()).get(name)
        return f"{name}.csv" if found is None else found.label

    # --- as a job -----------------------------------------------------------------------------------

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
        CannotDo
            If a row that the job leaves out cannot be found again, or the list of such rows not be written.
        """
        if not self.changed:
            return self._counted(load_job(self.folder), self.folder, all_readings)
        with tempfile.TemporaryDirectory(prefix="typed-") as place:
            copy = Path(place) / self.folder.name
            doubt = None
            try:
                others = self._job_file()
            except CannotDo as why:
                others, doubt = {}, why
            save_copy(self.folder, copy, self.tables.values(), others=others)
            job = self._counted(load_job(copy), copy, all_readings)  # first its own faults, if it has any
            if doubt is not None:
                raise doubt
        return replace(job, folder=self.folder)

    def _counted(self, job: Job, folder: Path, all_readings: bool) -> Job:
        return replace(job, survey=read_survey(folder)) if all_readings else job

    def save(self, *, left_out: Sequence[str] | None = None) -> Path:
        """Write the job with its tables as they stand into a new folder beside the old one; return it.

        Parameters
        ----------
        left_out : sequence of str, optional
            The readings that the new job leaves out, as they are called now; by default those of the old one.

        Raises
        ------
        CannotDo
            If nothing was changed, or it cannot be written; nothing is there then that was not there before.
        """
        others = self._job_file() if left_out is None else self._job_file_without(left_out)
        if not self.changed and not others:
            raise CannotDo("nothing differs from the files, so there is nothing to save")
        try:
            into = self._free_name()
        except OSError as error:
            raise CannotDo(
                f"{self.folder.parent} could not be read ({_reason(error)}); nothing was saved"
            ) from error
        save_copy(self.folder, into, self.tables.values(), others=others)
        return into

    def _free_name(self) -> Path:
        """Return the first of porch_2, porch_3 ... that is free, for porch and for its copies porch_2 ..."""
        name = self.folder.name
        stem = re.sub(r"_\d+$", "", name)
        if not stem or not self.folder.with_name(stem).is_dir():
            stem = name  # the figure is no copy's: porch_2024
        number = 2
        while os.path.lexists(into := self.folder.with_name(f"{stem}_{number}")):
            number += 1
        return into

    # --- what is left out ---------------------------------------------------------------------------

    @property
    def left_out(self) -> list[str]:
        """The readings that the job file leaves out, as they are called now.

        Raises
        ------
        CannotDo
            If one of them cannot be found again.
        """
        return [now for _, now in self._left_out() if now is not None]

    def _text(self) -> str:
        """Return the job file as text."""
        try:
            return (self.folder / JOB_FILE).read_bytes().decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise CannotDo(f"{JOB_FILE} is not in UTF-8; save it as UTF-8 and try again") from error
        except OSError as error:
            raise CannotDo(f"{JOB_FILE} could not be read ({_reason(error)}); nothing was saved") from error

    def _job_file_without(self, names: Sequence[str]) -> dict[str, bytes]:
        """Return the job file with a list that leaves these readings out, if it does not do so as it is."""
        text = self._text()
        try:
            new = with_only_left_out(text, names)
        except ValueError as error:
            raise CannotDo(
                f"what is to be left out cannot be written into {JOB_FILE} ({error}): write it there as "
                'leave_out = ["levels.csv row 7"], on a line above the first [table]'
            ) from error
        return {} if new == text else {JOB_FILE: new.encode("utf-8")}

    def _job_file(self) -> dict[str, bytes]:
        """Return the job file with the list of what it leaves out written anew, if that must change."""
        text = self._text()
        left_out = self._left_out()
        if all(name == now for name, now in left_out):
            return {}
        try:
            new = with_left_out(text, [now for _, now in left_out])
        except ValueError as error:
            raise CannotDo(
                f"rows have moved that {JOB_FILE} leaves out, and its list cannot be written anew ({error}): "
                'write it there as leave_out = ["levels.csv row 7"], on a line above the first [table], '
                "and try again"
            ) from error
        return {JOB_FILE: new.encode("utf-8")}

    def _left_out(self) -> list[tuple[str, str | None]]:
        """Return each reading that the job file leaves out, and what it is called now; None if removed."""
        files = {self.label(name): name for name in self.changed}
        moved = {name: moved_rows(self._old[name], self.tables[name]) for name in files.values()}
        try:
            examined = examine_job_file(self.folder / JOB_FILE)
        except OSError as error:
            raise CannotDo(f"{JOB_FILE} could not be read ({_reason(error)}); nothing was saved") from error
        if examined.file is None or not examined.sound("leave_out"):
            if all(row == now for rows in moved.values() for row, now in rows.items()):
                return []
            raise CannotDo(
                f"rows have moved, and which of them {JOB_FILE} leaves out cannot be read; mend it first: "
                + "; ".join(str(fault) for fault in examined.faults)
            )
        return [(name, self._name_now(name, files, moved)) for name in examined.file.leave_out]

    def _name_now(self, name: str, files: dict[str, str], moved: dict[str, dict[int, int]]) -> str | None:
        """Return what a reading is called now; None if it was removed."""
        file, _, number = name.rpartition(" row ")
        if file not in files or not number.isdecimal():
            return name
        row, table = int(number), files[file]
        if _content(self.folder / file) != self._seen.get(file):
            raise CannotDo(
                f"{file} was changed on the disk after it was read, so it cannot be said which row of it "
                f"{JOB_FILE} leaves out; begin again from the files"
            )
        if row in moved[table]:
            now = moved[table][row]
            return None if now == REMOVED else f"{file} row {now}"
        if not any(_holds(each, row) for each in (self._old[table], self.tables[table])):
            return name  # it names no reading, which is a fault, and goes on naming none
        raise CannotDo(
            f"{JOB_FILE} leaves out {name}, and which row that is now cannot be said: put the table back "
            f"as in the file and change it row by row, or take {name!r} out of leave_out"
        )


def _holds(table: TypedTable, row: int) -> bool:
    """Whether something stands in a row below the header."""
    lines = table.bare()
    return table.header_row < row <= len(lines) and bool(lines[row - 1])


def _contents(folder: Path) -> dict[str, bytes | None]:
    """Return what the files hold that a job is read from, by their names."""
    try:
        paths = [path for path in folder.iterdir() if not path.name.startswith((".", "~$"))]
    except OSError:
        return {}
    read = [path for path in paths if path.name == JOB_FILE or path.suffix.lower() in _TABLE_FILES]
    return {path.name: _content(path) for path in read}


def _content(path: Path) -> bytes | None:
    """Return what a file holds; None if it cannot be read."""
    try:
        return path.read_bytes()
    except OSError:
        return None


def _reason(error: OSError) -> str:
    return error.strerror or str(error)
