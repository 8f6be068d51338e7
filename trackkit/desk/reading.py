"""The panel that reads the ground: tables to type into, the ground they give, and what is in doubt."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from trackkit.checked import check_lines, known_to
from trackkit.checked_instruments import check_words
from trackkit.desk.controls import choice
from trackkit.desk.jobs import job_choice
from trackkit.desk.picture import Picture
from trackkit.desk.typed_panel import TypedPanel
from trackkit.desk.words import list_html, listing_html, numbers_html, sheet_html
from trackkit.doubted import FEW_CHECKS
from trackkit.fitted import fit_readings
from trackkit.found import NO_DOUBT, Undoubted, doubt_listing, undoubted_words
from trackkit.layout.grounds import SIDES
from trackkit.problems import InputProblems
from trackkit.spoken import profile_words, residual_words
from trackkit.survey.readings import cautions

if TYPE_CHECKING:
    from trackkit.job import Job
    from trackkit.survey.ground import Ground

__all__ = ["GroundPanel"]

PROFILE: Final = (9.6, 3.4)
RESIDUALS: Final = (9.6, 2.8)


class GroundPanel(TypedPanel):
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
        from ipywidgets import HTML

        chosen = job_choice(job)
        self._numbers, self._sheet = HTML(), HTML()
        self._profile = Picture("profile", PROFILE)
        self._residuals = Picture("residuals", RESIDUALS)
        tables, bench, foot = self._make_table()
        self.controls = {
            "job": chosen,
            "table": tables,
            "counted": choice("readings left out in the job file", COUNTED, False, wide=420),
        }
        pictures = (self._profile, self._residuals)
        parts = [self._numbers, *(picture.widget for picture in pictures)]
        self._begin([*parts, bench, foot], pictures, later=[self._sheet])

    # --- state --------------------------------------------------------------------------------------

    def _open(self, folder: Path) -> None:
        self._open_typed(folder)
        self.controls["counted"].value = False

    def _saved_as(self) -> Path:
        return self.typed.save()

    def work(self, moved: frozenset[str]) -> None:
        """Read the tables as they stand and fit the ground; faults are marked in the table."""
        with self._marking(moved, changed=bool(self.typed.changed)):
            job = self.typed.load(all_readings=self.values["counted"])
            ground, no_run = fit_readings(job)
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
        counted = undoubted_words(Undoubted(self.job, self.ground, ()))
        said = [
            *self._unsaved_words(self._fitted, self._unsaved),
            *self._unchecked(),
            *(str(caution) for caution in cautions(self.ground.survey)),
        ]
        if self._no_run:
            said.append(f"CAUTION: the readings were checked, but the job cannot be laid: {self._no_run}")
        self._sheet.value = sheet_html(
            listing_html(doubts) if doubts.rows else list_html("", [NO_DOUBT]),
            list_html("In words", [*counted, *check_lines(self.job, self.ground)]),
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
        counted = self.values["counted"] and self.job.file.leave_out
        more = ["readings that the job leaves out are counted"] if counted else []
        return self._settings_of(self.job, self._unsaved, *more)

    def sheet(self) -> str:
        """Return what is in doubt, and what the readings are worth."""
        return str(self._sheet.value)

    def told(self) -> str:
        """Return the numbers, the ground, and the readings in doubt, a line each."""
        lines = [f"{what}: {number}" for what, number in self.numbers()]
        lines += [profile_words(self.job, self.ground)] if self.ground.sides else []
        return "\n".join([*lines, residual_words(self.job, self.ground)])


#: Whether readings that the job leaves out are counted.
COUNTED: Final = (("not counted", False), ("counted like the others", True))
