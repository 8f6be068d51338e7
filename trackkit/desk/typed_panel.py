"""What panels have in common that readings are typed into: the table, the job as typed, saving it."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from trackkit.cribbing.truck import KINDS
from trackkit.desk.controls import choice
from trackkit.desk.panel import EXPECTED, Panel
from trackkit.desk.table import EntryTable
from trackkit.desk.typed_job import TypedJob
from trackkit.desk.words import list_html, sheet_html
from trackkit.problems import CannotDo, InputProblems
from trackkit.tables.moved import moved_since
from trackkit.tables.typed import TypedTable

if TYPE_CHECKING:
    from ipywidgets import Dropdown, HBox

    from trackkit.job import Job

__all__ = ["TypedPanel"]

#: Words to choose from where a column takes no others.
CHOICES: Final = {
    "side": ("left", "right"), "end": ("head", "tail"), "facing": ("ahead", "back"), "kind": tuple(KINDS),
    "on": ("ground", "rail"), "support": ("yes", "no"),
}  # fmt: skip
#: What the button that drops what was typed says, and what it asks.
BACK: Final = "Back to the files"
SURE: Final = "Press again to drop what was typed"


class TypedPanel(Panel):
    """A panel with a table to type into; the job's folder is never changed.

    Attributes
    ----------
    table : EntryTable
        The table that is typed into.
    typed : TypedJob
        The job as its tables stand.
    """

    def _make_table(self) -> tuple[Dropdown, HBox, HBox]:
        """Make the list of tables, the bench with the table, and the foot with its buttons."""
        from ipywidgets import HTML, Button, HBox, Layout

        self._saved: HTML = HTML()
        self._known: dict[Path, TypedJob] = {}
        self.table: EntryTable = EntryTable.of(TypedTable("levels", ("",)), choices=CHOICES)
        wide = Layout(width="auto", flex="0 0 auto")  # never squeezed by what stands beside it
        save = Button(
            description="Save as a new job", tooltip="writes a new folder beside the old one", layout=wide
        )
        save.on_click(lambda _: self._save())
        self._back = Button(
            description=BACK,
            tooltip="drops what was typed here and not saved",
            layout=Layout(width="auto", flex="0 0 auto"),
        )
        self._back.on_click(lambda _: self._drop())
        bench = HBox([self.table])
        bench.add_class("trackkit-bench")
        self.table.on_rows(self._typed_into)
        return choice("table", [("", "")], ""), bench, HBox([save, self._back, self._saved])

    def _open_typed(self, folder: Path) -> None:
        """Open a job as it was typed here before, else as its files stand."""
        typed = self._known.get(folder)
        if typed is None or not typed.changed:
            typed = TypedJob(folder)
        if not typed.tables:
            raise CannotDo(
                f"{folder.name} holds no table; put levels.csv or another table of readings into it"
            )
        self._saved.value = ""
        self._known[folder] = typed  # what was typed is there again when the job is chosen again
        self.typed: TypedJob = typed
        control: Any = self.controls["table"]
        control.options = [(name, name) for name in typed.tables]
        control.value = next(iter(typed.tables))
        self._show_table()

    def _drop(self) -> None:
        """Put the tables back as they stand in the files, once it has been asked for twice."""
        if self._opened is None:
            return
        if self._back.description == BACK:
            self._back.description = SURE
            return
        with self._alone:
            try:
                self.typed.back_to_file()
            except EXPECTED as why:
                self._saved.value = sheet_html(list_html("", [f"Not put back: {why}"]))
                return
            self._saved.value = ""
            self._dropped()
            self._show_table()
            self._react("rows")

    def _dropped(self) -> None:
        """Drop what else was changed here."""

    def _show_table(self) -> None:
        """Show the chosen table as it stands."""
        shown = self.typed.tables[self.values["table"]]
        caption = f"{self.typed.label(shown.name)}, as typed: changes count at once, the file stays as it is"
        with self._held():
            self.table.show_table(shown, caption=caption)

    def _typed_into(self, table: Any) -> None:
        if self._holding or self._opened is None:
            return
        with self._alone:
            self._follow(self.typed.tables[table.name], moved_since(self.typed.tables[table.name], table))
            self.typed.change(table)
            self._saved.value = ""
            self._react("rows")

    def _follow(self, before: TypedTable, rows: dict[int, int]) -> None:
        """Follow rows of a table as it was, as `trackkit.tables.moved.moved_since` has them."""

    @contextmanager
    def _marking(self, moved: frozenset[str], *, changed: bool) -> Iterator[None]:
        """Read and fit within this: faults are marked in the table, which is shown if it was chosen."""
        if "table" in moved and "job" not in moved:
            self._show_table()
        label = self.typed.label(self.values["table"])
        self._back.layout.display = None if changed else "none"
        self._back.description = BACK
        try:
            yield
        except InputProblems as faults:
            self.table.show_problems(faults.problems, file=label)
            raise
        except EXPECTED:  # the cells are right, but there is no ground to be had
            self.table.show_problems((), file=label)
            raise
        self.table.show_problems((), file=label)

    def _save(self) -> None:
        """Save the tables as a new job, and say where or why not."""
        if self._opened is None:
            return
        try:
            into = self._saved_as()
        except EXPECTED as why:
            self._saved.value = sheet_html(list_html("", [f"Not saved: {why}"]))
        else:
            job: Any = self.controls["job"]
            with self._held(), job.hold_sync():
                chosen = job.value
                job.options = [*job.options, (into.name, str(into))]
                job.value = chosen  # new options throw a list back to its first entry
            words = f"Saved as the new job {into.name}, beside {self.typed.folder.name}; choose it above."
            self._saved.value = sheet_html(list_html("", [words]))

    @abstractmethod
    def _saved_as(self) -> Path:
        """Save the job as it stands here as a new one, and return its folder."""

    def _settings_of(self, job: Job, unsaved: list[str], *more: str) -> list[str]:
        """Return the job, what of it is not as in its files, and which tables are not."""
        found = [f"{job.name} ({job.folder.name})", *more]
        if unsaved:
            found.append(f"as typed, not as saved: {', '.join(unsaved)}")
        return found

    def _unsaved_words(self, typed: TypedJob, unsaved: list[str]) -> list[str]:
        """Return how the tables differ from the files, as far as somebody must know."""
        found = [f"CAUTION: {note}" for note in typed.notes]
        found += [f"NOTE: {note}" for note in typed.logs]
        if unsaved:
            names = ", ".join(typed.label(name) for name in unsaved)
            found.append(
                f"NOTE: what was typed into {names} is not in this job's files; they are as they were"
            )
            if typed.stale():
                found.append(
                    "CAUTION: the job's files have been changed since they were read here: what stands in "
                    'the table is older than they are; "Back to the files" reads them anew'
                )
        return found
