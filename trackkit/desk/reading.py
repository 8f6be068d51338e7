"""The panel that reads the ground: tables to type into, the ground they give, and what is in doubt."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from trackkit.checked import check_lines, doubt_listing, known_to
from trackkit.checked_instruments import check_words
from trackkit.cribbing.truck import KINDS
from trackkit.desk.controls import choice
from trackkit.desk.jobs import job_choice
from trackkit.desk.panel import EXPECTED, Panel
from trackkit.desk.picture import Picture
from trackkit.desk.table import EntryTable
from trackkit.desk.typed_job import TypedJob
from trackkit.desk.words import list_html, listing_html, numbers_html, sheet_html
from trackkit.doubted import FEW_CHECKS
from trackkit.fitted import fit_readings
from trackkit.layout.grounds import SIDES
from trackkit.problems import CannotDo, InputProblems
from trackkit.spoken import profile_words, residual_words
from trackkit.survey.readings import cautions
from trackkit.tables.typed import TypedTable

if TYPE_CHECKING:
    from trackkit.job import Job
    from trackkit.survey.ground import Ground

__all__ = ["GroundPanel"]

PROFILE: Final = (9.6, 3.4)
RESIDUALS: Final = (9.6, 2.8)
#: Words to choose from where a column takes no others.
CHOICES: Final = {
    "side": ("left", "right"), "end": ("head", "tail"), "facing": ("ahead", "back"), "kind": tuple(KINDS),
    "on": ("ground", "rail"), "support": ("yes", "no"),
}  # fmt: skip


class GroundPanel(Panel):
    """The readings of a job, the ground that they give, and what is in doubt.

    Parameters
    ----------
    job : path
        A job's folder. It is never changed: `save` writes a new one beside it.

    Attributes
    ----------
    job : Job
        As its tables stand.
    ground : Ground
        The last ground that could be fitted.
    table : EntryTable
        The table that is typed into.
    """

    def __init__(self, job: str | Path) -> None:
        from ipywidgets import HTML, Button, HBox

        chosen = job_choice(job)
        self._numbers, self._sheet, self._saved = HTML(), HTML(), HTML()
        self._known: dict[Path, TypedJob] = {}
        self._profile = Picture("profile", PROFILE)
        self._residuals = Picture("residuals", RESIDUALS)
        self.controls = {
            "job": chosen,
            "table": choice("table", [("", "")], ""),
            "counted": choice("readings left out in the job file", COUNTED, False, wide=420),
        }
        self.table: EntryTable = EntryTable.of(TypedTable("levels", ("",)), choices=CHOICES)
        save = Button(description="Save as a new job", tooltip="writes a new folder beside the old one")
        save.on_click(lambda _: self._save())
        self._back = Button(description=BACK, tooltip="drops what was typed here and not saved")
        self._back.on_click(lambda _: self._drop())
        bench = HBox([self.table])
        bench.add_class("trackkit-bench")
        self.table.on_rows(self._typed_into)
        pictures = (self._profile, self._residuals)
        foot = HBox([save, self._back, self._saved])
        parts = [self._numbers, *(picture.widget for picture in pictures)]
        self._begin([*parts, bench, foot], pictures, later=[self._sheet])

    # --- state --------------------------------------------------------------------------------------

    def _open(self, folder: Path) -> None:
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
        self.controls["counted"].value = False
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
            self._show_table()
            self._react("rows")

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
            self.typed.change(table)
            self._saved.value = ""
            self._react("rows")

    def work(self, moved: frozenset[str]) -> None:
        """Read the tables as they stand and fit the ground; faults are marked in the table."""
        if "table" in moved and "job" not in moved:
            self._show_table()
        label = self.typed.label(self.values["table"])
        self._back.layout.display = None if self.typed.changed else "none"
        self._back.description = BACK
        try:
            job = self.typed.load(all_readings=self.values["counted"])
            ground, no_run = fit_readings(job)
        except InputProblems as faults:
            self.table.show_problems(faults.problems, file=label)
            raise
        except EXPECTED:  # the cells are right, but there is no ground to be had
            self.table.show_problems((), file=label)
            raise
        self.table.show_problems((), file=label)
        self.controls["counted"].layout.display = None if job.file.leave_out else "none"
        self.job: Job = job
        self._fitted, self._unsaved = self.typed, self.typed.changed
        self.ground: Ground = ground
        self._no_run = no_run
        self._numbers.value = numbers_html(self.numbers())
        self._draw()

    def _draw(self) -> None:
        from trackkit.show.plots import draw_profile, draw_residuals

        job, ground = self.job, self.ground
        common: dict[str, Any] = {"display": job.display, "side_names": job.side_names}
        ends = (ground.survey.breaks[f"{side}_station_m"] for side in SIDES)
        edges = [(float(left), float(right)) for left, right in zip(*ends, strict=True)]
        if ground.sides:
            self._profile.show(
                lambda _: draw_profile(ground, ax=self._profile.ax, breaks=edges, **common),
                profile_words(job, ground),
            )
        else:
            self._profile.hide()
        self._residuals.show(
            lambda _: draw_residuals(ground, ax=self._residuals.ax, **common), residual_words(job, ground)
        )

    def settle(self) -> Iterator[None]:
        """Say in words what the readings are worth."""
        doubts = doubt_listing(self.job, self.ground)
        said = [
            *self._differs(),
            *self._unchecked(),
            *(str(caution) for caution in cautions(self.ground.survey)),
        ]
        if self._no_run:
            said.append(f"CAUTION: the readings were checked, but the job cannot be laid: {self._no_run}")
        self._sheet.value = sheet_html(
            listing_html(doubts) if doubts.rows else list_html("", ["No reading is in doubt."]),
            list_html("In words", check_lines(self.job, self.ground)),
            list_html("Instruments", self._instruments()),
            list_html("What to mind", said),
            list_html("How readings were taken", list(self.ground.survey.notes)),
        )
        yield from ()

    def _instruments(self) -> list[str]:
        """Return what the checks of the instruments say; a slip in their tables leaves the ground alone."""
        try:
            return check_words(self.job.folder, self.ground.instruments, self.job.display)
        except InputProblems as faults:
            return [f"CAUTION: {problem}" for problem in faults.problems]

    def _unchecked(self) -> list[str]:
        """Return that misreadings may not show, where next to nothing checks the readings."""
        if self.ground.residuals["redundancy_readings"].sum() >= FEW_CHECKS:
            return []
        return [
            "CAUTION: no reading checks another: a misreading of a few centimetres may not show. Read some "
            "again, from a second laser position or with the board"
        ]

    def _differs(self) -> list[str]:
        """Return how the tables differ from the files, as far as somebody must know."""
        typed = self._fitted
        found = [f"CAUTION: {note}" for note in typed.notes]
        found += [f"NOTE: {note}" for note in typed.logs]
        if self._unsaved:
            names = ", ".join(typed.label(name) for name in self._unsaved)
            found.append(f"NOTE: what was typed into {names} is not saved; the files are as they were")
            if typed.stale():
                found.append(
                    "CAUTION: the job's files have been changed since they were read here: what stands in "
                    'the table is older than they are; "Back to the files" reads them anew'
                )
        return found

    def _save(self) -> None:
        """Save the tables as a new job, and say where or why not."""
        if self._opened is None:
            return
        try:
            into = self.typed.save()
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

    def numbers(self) -> list[tuple[str, str]]:
        """Return how many readings there are, in doubt and unchecked, and how well the ground is known."""
        ground, show = self.ground, self.job.display
        table = ground.residuals
        return [
            ("readings", str(len(table))),
            ("in doubt: read again", str(len(ground.doubtful))),
            ("checked by other readings", f"{int((table['checked'] == 'readings').sum())} of {len(table)}"),
            (
                "ground known to, between readings too",
                f"±{show.small_unit(known_to(ground))}" if ground.sides else "not read",
            ),
        ]

    def settings(self) -> list[str]:
        """Return the job, and what of it is not as in its files."""
        found = [f"{self.job.name} ({self.job.folder.name})"]
        if self.values["counted"] and self.job.file.leave_out:
            found.append("readings that the job leaves out are counted")
        if self._unsaved:
            found.append(f"as typed, not as saved: {', '.join(self._unsaved)}")
        return found

    def sheet(self) -> str:
        """Return what is in doubt, and what the readings are worth."""
        return str(self._sheet.value)

    def told(self) -> str:
        """Return the numbers, the ground, and the readings in doubt, a line each."""
        lines = [f"{what}: {number}" for what, number in self.numbers()]
        lines += [profile_words(self.job, self.ground)] if self.ground.sides else []
        return "\n".join([*lines, residual_words(self.job, self.ground)])


#: What the button that drops what was typed says, and what it asks.
BACK: Final = "Back to the files"
SURE: Final = "Drop what was typed?"
#: Whether readings that the job leaves out are counted.
COUNTED: Final = (("not counted", False), ("counted like the others", True))
