"""The panel that puts readings on trial: what is doubtful and why, a reading taken out, what to read next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from trackkit.checked import check_lines
from trackkit.desk.controls import Option, choice
from trackkit.desk.jobs import job_choice
from trackkit.desk.panel import EXPECTED
from trackkit.desk.picture import Picture
from trackkit.desk.typed_panel import TypedPanel
from trackkit.desk.words import list_html, listing_html, numbers_html, sheet_html
from trackkit.fitted import fit_readings, survey_of
from trackkit.form import save_form
from trackkit.found import Found, find_out, leave_aside, undoubted_words
from trackkit.mistaken import short_words, words_of_readings
from trackkit.nextread import GOALS
from trackkit.paper import NOTEBOOK_WIDTH, columns
from trackkit.problems import CannotDo
from trackkit.show.change import ground_moved
from trackkit.spoken import change_words, residual_words
from trackkit.survey.leaving import readings_of, without_readings
from trackkit.survey.quality import Mistake
from trackkit.tables.retyped import retyped
from trackkit.tables.typed import TypedTable
from trackkit.tried import Underway, out_lines, underway

if TYPE_CHECKING:
    from trackkit.job import Job
    from trackkit.survey.ground import Ground

__all__ = ["TrialPanel"]

RESIDUALS: Final = (9.6, 2.9)
CHANGE: Final = (9.6, 2.0)
#: Whether the chosen reading counts.
TAKEN: Final = (("counted", True), ("left out", False))
#: What the crew has with it when it reads again.
TOOLS: Final[tuple[Option, ...]] = (
    ("what the survey was read with", ()),
    ("laser and rod", ("rod",)),
    ("a phone and a board", ("across", "board")),
    ("all of these", ("rod", "across", "board")),
)


class TrialPanel(TypedPanel):
    """The readings of a job on trial.

    Any reading can be taken out, or changed in the table, to see what that does; a likely mistake can be
    typed into the table. The job's folder is never changed: `save` writes a new one beside it.

    Parameters
    ----------
    job : path
        A job's folder.

    Attributes
    ----------
    job : Job
        As its tables stand, with the readings that are left out here.
    ground, before : Ground
        Fitted to the readings that count, and to all that stand in the tables.
    mistakes : tuple of Mistake
        What may have gone wrong with readings in doubt.
    """

    def __init__(self, job: str | Path) -> None:
        from ipywidgets import HTML, Button, HBox, Layout

        chosen = job_choice(job)
        self._numbers, self._sheet, self._formed = HTML(), HTML(), HTML()
        self._out: dict[Path, set[str]] = {}
        self._lost: list[str] = []
        self._kept: tuple[object, tuple[Job, Ground, str]] | None = None
        self._residuals, self._change = Picture("trial", RESIDUALS), Picture("change", CHANGE)
        tables, bench, foot = self._make_table()
        self.controls = {
            "job": chosen,
            "table": tables,
            "reading": choice("reading", [("-", "")], "", wide=460),
            "taken": choice("it is", TAKEN, True, wide=200),
            "mistake": choice("perhaps", [("nothing to propose", -1)], -1, wide=560),
            "goal": choice("read next, to know", [(words, goal) for goal, words in GOALS.items()], "fills"),
            "tools": choice("with", TOOLS, ()),
        }
        wide = Layout(width="auto", flex="0 0 auto")  # never squeezed by what stands beside it
        self._put_right = Button(description="Type this into the table", layout=wide)
        self._put_right.on_click(lambda _: self.put_right())
        form = Button(
            description="Make a booking sheet", tooltip="writes a PDF into the job's folder form", layout=wide
        )
        form.on_click(lambda _: self._make_form())
        pictures = (self._residuals, self._change)
        parts = [self._numbers, *(picture.widget for picture in pictures)]
        asked = HBox([self._put_right, form, self._formed])
        self._begin([*parts, asked, bench, foot], pictures, later=[self._sheet])

    # --- state --------------------------------------------------------------------------------------

    @property
    def left_out(self) -> set[str]:
        """The readings that are left out here."""
        return self._out[self.typed.folder]

    def _open(self, folder: Path) -> None:
        self._open_typed(folder)
        if self.typed.folder not in self._out:  # else what was taken out here before is out again
            self._out[self.typed.folder] = set(self.typed.left_out)
        self._formed.value, self._kept, self._lost = "", None, []
        self.controls["reading"].options = [("-", "")]

    def _dropped(self) -> None:
        self._out[self.typed.folder], self._lost = set(self.typed.left_out), []

    def _follow(self, before: TypedTable, rows: dict[int, int]) -> None:
        """Let readings that are left out here stay so where their rows go; say of which that is not known."""
        file = self.typed.label(before.name)
        names = {f"{file} row {old}": f"{file} row {new}" if new else "" for old, new in rows.items()}
        own = {name for name in self.left_out if name.rpartition(" row ")[0] == file}
        self._lost += sorted(own - names.keys())
        followed = {names.get(name, "") for name in own} | (self.left_out - own)
        self._out[self.typed.folder] = followed - {""}

    def _saved_as(self) -> Path:
        return self.typed.save(left_out=sorted(self.left_out & set(self._names)))

    def _make_form(self) -> None:
        """Write the booking sheet of the job into its folder."""
        if self._opened is None:
            return
        try:
            written = save_form(self.job, self.typed.folder / "form")
        except EXPECTED as why:
            self._formed.value = sheet_html(list_html("", [f"Not made: {why}"]))
        else:
            names = ", ".join(path.name for path in written)
            words = f"Written to {self.typed.folder.name}/form: {names}. Print the PDF and read in its order."
            self._formed.value = sheet_html(list_html("", [words]))

    def put_right(self) -> None:
        """Type the chosen mistake into the table as it should be; nothing if it is of other tables."""
        index = self.values["mistake"]
        tables = dict(self.typed.tables) if self._opened is not None else {}
        if not 0 <= index < len(self.mistakes) or self._judged != (self.typed.folder, tuple(tables.values())):
            return
        with self._alone:
            files = {self.typed.label(name): name for name in tables}
            try:
                for change in self.mistakes[index].changes:
                    file, _, row = change.reading.rpartition(" row ")
                    tables[files[file]] = retyped(tables[files[file]], int(row), change.column, change.new)
            except ValueError as why:
                self._saved.value = sheet_html(list_html("", [f"Not typed: {why}"]))
                return
            for table in tables.values():
                self.typed.change(table)
            self._saved.value = ""
            self._show_table()
            self._react("rows")
            self._settle_now()

    def work(self, moved: frozenset[str]) -> None:
        """Fit the ground to what counts, and to all readings; show how they differ."""
        if moved & {"taken"} and self.values["reading"]:
            (self.left_out.discard if self.values["taken"] else self.left_out.add)(self.values["reading"])
        self._looked = self._answered is not None and moved <= {"reading", "mistake"}
        if self._looked:
            with self._held():
                self.controls["taken"].value = self.values["reading"] not in self.left_out
            return
        if self._answered is not None and moved <= {"goal", "tools"}:
            return
        self._offer_mistakes((), waits=True)
        self._found: Found | None = None
        with self._marking(
            moved, changed=bool(self.typed.changed) or self.left_out != self._file_leaves_out()
        ):
            whole, before, no_run = self._whole()
            survey = survey_of(whole)
            names = readings_of(survey)
            out = self.left_out & set(names)
            job, ground = whole, before
            if out:
                job = replace(whole, survey=without_readings(survey, sorted(out)))
                ground, no_run = fit_readings(job)
        self.job: Job = job
        self.ground: Ground = ground
        self.before: Ground = before
        self._names, self._no_run, self._counted_out = names, no_run, sorted(out, key=names.index)
        self._fitted, self._unsaved = self.typed, self.typed.changed
        self._offer_readings()
        self._numbers.value = numbers_html(self.numbers())
        self._draw()

    def _whole(self) -> tuple[Job, Ground, str]:
        """Return the job as its tables stand, with all readings, and their ground; kept until they change."""
        tables = (self.typed, tuple(self.typed.tables.values()))
        if self._kept is None or self._kept[0] != tables:
            whole = self.typed.load(all_readings=True)
            self._kept = (tables, (whole, *fit_readings(whole)))
        return self._kept[1]

    def _file_leaves_out(self) -> set[str] | None:
        """Return what the job file leaves out, as it is called now; None if that cannot be said."""
        try:
            return set(self.typed.left_out)
        except CannotDo:
            return None

    def _offer_readings(self) -> None:
        """Offer every reading to be taken out, those in doubt first."""
        control: Any = self.controls["reading"]
        doubtful = list(self.ground.doubtful["reading"])
        first = [*doubtful, *self._counted_out]
        ordered = [*first, *(name for name in self._names if name not in first)]
        marks = dict.fromkeys(self._counted_out, "left out: ") | dict.fromkeys(doubtful, "in doubt: ")
        words = words_of_readings(ordered, self.before, self.job)
        options = [
            (f"{marks.get(name, '')}{name}, {own}", name) for name, own in zip(ordered, words, strict=True)
        ]
        with self._held(), control.hold_sync():
            kept = control.value if control.value in ordered else (ordered[0] if ordered else "")
            if list(control.options) != options:
                control.options = options or [("-", "")]
            control.value = kept
            self.controls["taken"].value = kept not in self.left_out

    def _draw(self) -> None:
        from trackkit.show.plots import draw_change, draw_residuals

        job, ground = self.job, self.ground
        common: dict[str, Any] = {"display": job.display, "side_names": job.side_names}
        self._residuals.show(
            lambda _: draw_residuals(ground, ax=self._residuals.ax, **common), residual_words(job, ground)
        )
        if not self._counted_out or not ground.sides:
            self._change.hide()
            return
        table = self.before.residuals
        places = table[table["reading"].isin(self._counted_out) & table["station_m"].notna()]
        changed = list(zip(places["station_m"].astype(float), places["side"], strict=True))
        self._change.show(
            lambda _: draw_change(ground, self.before, changed=changed, ax=self._change.ax, **common),
            change_words(job, ground, self.before),
        )

    # --- in words -----------------------------------------------------------------------------------

    def settle(self) -> Iterator[None]:
        """Say what is in doubt and why, what may have happened, and what to read next."""
        if self._looked:
            return
        job, ground = self.job, self.ground
        found = self._found = find_out(job, ground)
        yield
        self._offer_mistakes(found.mistakes)
        self._numbers.value = numbers_html(self.numbers())
        undoubted = leave_aside(job, ground, found.aside)
        yield
        self._under: Underway = underway(
            job, ground, self.before if self._counted_out else None,
            goal=self.values["goal"], kinds=self.values["tools"], no_run=self._no_run, undoubted=undoubted,
        )  # fmt: skip
        yield
        listing = self._under.listing
        out = out_lines(self._counted_out, self._file_leaves_out() or (), self.before, job)
        unsaved = self._unsaved_words(self._fitted, self._unsaved)
        happened = list_html("What may have happened", found.happened)
        again = listing_html(found.doubts) if found.doubts.rows else list_html("", [found.verdict])
        told = [*undoubted_words(undoubted, found.whole), *check_lines(undoubted.job, undoubted.ground)]
        parts = [
            *([happened, again] if found.explained_first and found.doubts.rows else [again, happened]),
            list_html("Do they agree", found.agreement),
            list_html("Left out here", out),
            listing_html(listing) if listing is not None else list_html("", [self._under.why]),
            list_html("In words", [*told, *self._under.lines]),
            list_html("What to mind", [*self._lost_words(), *unsaved]),
        ]
        self._sheet.value = sheet_html(*parts)

    def _offer_mistakes(self, mistakes: Sequence[Mistake], *, waits: bool = False) -> None:
        """Offer what may have happened, to be typed into the tables as they stand; or nothing for a while."""
        self.mistakes: tuple[Mistake, ...] = tuple(mistakes)
        self._judged = (self.typed.folder, tuple(self.typed.tables.values()))
        control: Any = self.controls["mistake"]
        options = [(short_words(mistake, self.job), i) for i, mistake in enumerate(mistakes)]
        with self._held(), control.hold_sync():
            control.options = options or [("..." if waits else "nothing to propose", -1)]
            control.value = control.options[0][1]
        self._put_right.disabled = not mistakes

    def _lost_words(self) -> list[str]:
        """Return of which readings it cannot be said any more where they are."""
        return [
            f"CAUTION: {name} was left out, and which row that is now cannot be said: it counts again"
            for name in self._lost
        ]

    def numbers(self) -> list[tuple[str, str]]:
        """Return how many readings are in doubt and left out, and what leaving them out does."""
        show, table = self.job.display, self.ground.residuals
        found = [
            ("readings that count", str(len(table))),
            ("in doubt: read again", str(len(self.ground.doubtful))),
            ("left out here", str(len(self._counted_out))),
        ]
        if self._found is not None and self._found.whole:
            found.insert(2, ("other explanations", str(self._found.whole)))
        if self._counted_out and self.ground.sides:
            moved = ground_moved(self.ground, self.before)
            most = max((float(abs(up).max()) for _, up in moved.values()), default=0.0)
            found.append(("ground moves up to", show.small_unit(most)))
        return found

    def settings(self) -> list[str]:
        """Return the job, and what of it is not as in its files."""
        out = [f"left out: {', '.join(self._counted_out)}"] if self._counted_out else []
        return self._settings_of(self.job, self._unsaved, *out)

    def sheet(self) -> str:
        """Return what is in doubt and why, what may have happened, and what to read next."""
        return str(self._sheet.value)

    def told(self) -> str:
        """Return the numbers, what is in doubt, what may have happened, and what leaving out does."""
        lines = [f"{what}: {number}" for what, number in self.numbers()]
        lines.append(residual_words(self.job, self.ground))
        lines += self._found.happened if self._found is not None else ()
        if self._change.words:
            lines.append(self._change.words)
        listing = self._under.listing
        if listing is not None:
            table = columns(listing.head, listing.rows, wrap=listing.wide, width=NOTEBOOK_WIDTH)
            lines += [listing.title, table, *listing.notes]
        return "\n".join(lines)
