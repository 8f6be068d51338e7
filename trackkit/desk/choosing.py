"""The panel that chooses the reference: the line set from any point, and what that comes to."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from trackkit.advice import chance_words
from trackkit.daywork import SPARES
from trackkit.desk.controls import Option, choice, heights, slider
from trackkit.desk.jobs import job_choice
from trackkit.desk.panel import Panel
from trackkit.desk.picture import Picture
from trackkit.desk.words import list_html, listing_html, numbers_html, sheet_html
from trackkit.fitted import fit_job
from trackkit.job import load_job, with_line
from trackkit.pictured import draw_laid, truck_words
from trackkit.plan import Laid, lay_line, stack_up
from trackkit.spoken import fills_text, governing_words, side_words
from trackkit.studied import Studied, set_from, study_job
from trackkit.studied_day import day_lines, day_listing, day_start, settle_lines, settle_listing
from trackkit.studied_words import (
    candidate_words,
    high_lines,
    pairs_listing,
    ranking_listing,
    reference_lines,
    short_chance,
)  # fmt: skip
from trackkit.study.datum import compare_datums

if TYPE_CHECKING:
    from trackkit.job import Job
    from trackkit.layout.laid import Run
    from trackkit.survey.ground import Ground

__all__ = ["ReferencePanel"]

SIDE: Final = (9.6, 4.9)
LARGEST: Final = (9.6, 2.0)
BARS: Final = (9.6, 2.4)
DATUMS: Final = (9.6, 2.3)
AS_ASKED: Final = "as asked"
KINDS: Final[tuple[Option, ...]] = (
    ("as the job asks", AS_ASKED), ("level", "level"), ("straight, least fill", "least fill"),
    ("bent at the joints", "follow"),
)  # fmt: skip


class ReferencePanel(Panel):
    """The line set from any point, by slider or from the list of those that matter.

    Parameters
    ----------
    job : path
        A job's folder.

    Attributes
    ----------
    studied : Studied
        What hangs on the reference of this job and kind of line.
    laid : Laid
        The line set from the point that is chosen.
    """

    def __init__(self, job: str | Path) -> None:
        from ipywidgets import HTML

        self._numbers, self._words, self._sheet = HTML(), HTML(), HTML()
        self._side, self._largest = Picture("reference", SIDE), Picture("largest", LARGEST)
        self._governing, self._datums = Picture("highest", BARS), Picture("datums", DATUMS)
        later: list[Option] = [("-", 0)]  # a job brings its own
        self.controls = {
            "job": job_choice(job),
            "kind": choice("kind of line", KINDS, AS_ASKED),
            "listed": choice("line set from", later, 0),
            "reference": slider("or from any point", later, 0, wide=560),
            "spare": slider("spare height on top", [("-", 0.0)], 0.0),
        }
        pictures = (self._side, self._largest, self._governing, self._datums)
        later_parts = [picture.widget for picture in pictures[2:]]
        parts = [self._numbers, self._words, self._side.widget, self._largest.widget]
        self._begin(parts, pictures, later=[*later_parts, self._sheet])

    # --- state --------------------------------------------------------------------------------------

    def _open(self, folder: Path) -> None:
        """Open a job: its readings are fitted once; the line is set as its file says."""
        job = load_job(folder)
        run, ground = fit_job(job)
        self._studies: dict[str, Studied] = {}
        self.job: Job = job
        self._run: Run = run
        self._ground: Ground = ground
        spare: Any = self.controls["spare"]
        spare.options = heights(SPARES[job.display.unit], job.display)
        spare.value = 0.0
        kind: Any = self.controls["kind"]
        kind.value = AS_ASKED

    def _study(self, kind: str) -> Studied:
        """Return the study of a kind of line; kept while the job is open."""
        if kind not in self._studies:
            job = self.job
            if kind not in (AS_ASKED, job.file.line.kind):
                job = with_line(job, kind=kind, grade=None, bend_limit=None, reference=None)
            self._studies[kind] = study_job(stack_up(lay_line(job, self._run, self._ground)))
        return self._studies[kind]

    def work(self, moved: frozenset[str]) -> None:
        """Set the line from the point chosen, and draw it."""
        studied = self._study(self.values["kind"])
        if moved & {"job", "kind"}:
            self._offer(studied)
        elif "listed" in moved and "reference" not in moved and self.values["listed"] >= 0:
            with self._held():
                self.controls["reference"].value = self.values["listed"]
        candidate, spare = int(self.values["reference"]), float(self.values["spare"])
        laid = set_from(studied, candidate, spare=spare)
        self._side.show(lambda figure: draw_laid(laid, figure=figure, legend=False), side_words(laid))
        self._draw_largest(studied, candidate, spare)
        with self._held():
            listed: Any = self.controls["listed"]
            values = [value for _, value in listed.options]
            listed.value = candidate if candidate in values else values[0]
        self.studied: Studied = studied
        self.laid: Laid = laid
        self._candidate, self._spare = candidate, spare
        self._numbers.value = numbers_html(self._figures("…"), waits=True)
        self._words.value = sheet_html(list_html("", self._told_first()))

    def _offer(self, studied: Studied) -> None:
        """Offer every candidate on the slider, those that matter on the list, the planned one chosen."""
        study = studied.study
        order = sorted(
            range(len(study.candidates)),
            key=lambda i: (np.isnan(study.candidates[i].station), study.candidates[i].station, i),
        )
        every = [(candidate_words(studied, i), i) for i in order]
        pegs = [i for i, one in enumerate(study.candidates) if one.kind == "peg"]
        first = study.planned if study.planned >= 0 else [*pegs, study.likeliest][0]
        some = [(candidate_words(studied, i), i) for i in studied.listed(first)]
        with self._held():
            for name, options in (("reference", every), ("listed", [("another point", -1), *some])):
                control: Any = self.controls[name]
                values = [value for _, value in options]
                with control.hold_sync():  # else the page clamps the old place to the new options
                    control.options = options
                    control.value = first if first in values else values[0]

    def _draw_largest(self, studied: Studied, candidate: int, spare: float) -> None:
        from trackkit.show.plots import draw_largest

        study, job = studied.study, studied.job
        planned = study.planned
        fills = study.largest_fills(candidate, spare=spare)
        beside = None
        if planned >= 0 and (candidate != planned or spare):
            beside = (study.largest_fills(planned), f"as planned, from {candidate_words(studied, planned)}")
        name = candidate_words(studied, candidate)
        caution = job.stack_rules.caution_height
        words = (
            f"Largest fill of the line set from {name}: 19 times in 20 below "
            f"{job.display.small_unit(float(np.quantile(fills, 0.95)))}."
        )
        self._largest.show(
            lambda _: draw_largest(
                fills, f"set from {name}", beside=beside, ax=self._largest.ax, display=job.display,
                limit=(caution, f"stacks are cautioned from {job.display.small_unit(caution)}"),
            ),
            words,
        )  # fmt: skip

    def settle(self) -> Iterator[None]:
        """Choose the stacks of this line, then draw and say the rest."""
        studied, laid = self.studied, self.laid
        stacks = stack_up(laid).stacks
        yield
        self._truck = truck_words(stacks)
        self._numbers.value = numbers_html(self.numbers())
        yield
        self._draw_others(studied)
        yield
        self._sheet.value = sheet_html(*self._parts())

    def _draw_others(self, studied: Studied) -> None:
        """Draw the chances to be the highest, and what the datum does to heights and not to fills."""
        from trackkit.show.plots import draw_along, draw_governing

        job, line = studied.job, studied.laid.line
        governing = studied.governing()
        self._governing.show(
            lambda _: draw_governing(
                governing, ax=self._governing.ax, words=chance_words, display=job.display,
                side_names=job.side_names,
            ),
            governing_words(job, governing),
        )  # fmt: skip
        ties = line.run.ties["station_m"].to_numpy(dtype=float)
        datums = [(float(ties[0]), "left"), (float(ties[-1]), "left")]
        table = compare_datums(studied.laid.ground, line, datums)
        left = table[table["side"] == "left"]
        show = job.display.long
        lines = {
            f"heights counted from {show(float(at))}": 2.0
            * left.loc[left["datum"] == i, "height_sd_m"].to_numpy()
            for i, (at, _) in enumerate(datums)
        }
        fills = 2.0 * left.loc[left["datum"] == 0, "fill_sd_m"].to_numpy()
        words = (
            f"Give or take of heights under the {job.side('left')} rail: it grows away from the point that "
            "they count from. That of the fills is the same whichever point that is."
        )
        area = ("fills, from either", fills)
        self._datums.show(
            lambda _: draw_along(ties, lines, area=area, ax=self._datums.ax, display=job.display, what="±"),
            words,
        )

    # --- in words -----------------------------------------------------------------------------------

    def _figures(self, truck: str) -> list[tuple[str, str]]:
        row, show = self.studied.study.table.iloc[self._candidate], self.studied.job.display
        return [
            ("the track touches", self._touches()),
            ("largest fill to expect", show.small_unit(float(row["largest_m"]) + self._spare)),
            ("19 times in 20 below", show.small_unit(float(row["largest95_m"]) + self._spare)),
            ("the truck", truck),
        ]

    def _touches(self) -> str:
        """Return the chance that the line set from there touches, with the spare height."""
        study = self.studied.study
        if not self._spare:
            return short_chance(float(study.table["touches"].iloc[self._candidate]))
        start = study.contest.starts[self._candidate]
        line = study.drawn.heights[start] + study.contest.offsets[self._candidate] + self._spare
        return short_chance(float(np.mean(study.drawn.highest - line > study.touch)))

    def _told_first(self) -> list[str]:
        """Return what the line comes to, set from there, in a sentence or two."""
        summary = self.laid.fills["fill_m"].to_numpy(dtype=float)
        deep = int((summary < -self.studied.study.touch).sum())
        ends = f"{deep} tie end{'s' if deep > 1 else ''}"
        words = [f"STOP: {ends} would be in the ground: never dig in, lift the line."] if deep else []
        spare = ["The tables below are without the spare height."] if self._spare else []
        return [*words, *settle_lines(self.studied), *spare]

    def _parts(self) -> list[str]:
        studied = self.studied
        start = day_start(studied, self._candidate) if self._low() else day_start(studied)
        pairs, chances = pairs_listing(studied), settle_listing(studied)
        return [
            list_html("", reference_lines(studied)),
            listing_html(ranking_listing(studied, self._candidate, narrow=True)),
            listing_html(pairs) if pairs is not None else "",
            listing_html(chances) if chances is not None else "",
            list_html("On the day", day_lines(studied)),
            listing_html(day_listing(studied, start)) if start is not None else "",
            list_html("The high point", high_lines(studied)),
        ]

    def _low(self) -> bool:
        """Return whether the point chosen is one of the run's, and not the planned one."""
        own = self.studied.day.tie_end(self._candidate)
        return own is not None and self._candidate != self.studied.study.planned

    def settings(self) -> list[str]:
        """Return the job, what the line is set from, and the spare height."""
        show, line = self.job.display, self.laid.line
        spare = [f"{show.small_unit(self._spare)} spare"] if self._spare else []
        name = candidate_words(self.studied, self._candidate)
        return [f"{self.job.name} ({self.job.folder.name})", line.kind, f"set from {name}", *spare]

    def numbers(self) -> list[tuple[str, str]]:
        """Return whether it touches, the largest fill to expect and what it stays below, and the truck."""
        return self._figures(self._truck)

    def told(self) -> str:
        """Return the numbers, which point is the highest, and the fills, a line each."""
        name = candidate_words(self.studied, self._candidate)
        lines = [f"set from: {name}", *(f"{what}: {number}" for what, number in self.numbers())]
        told = [*self._told_first(), *reference_lines(self.studied), *day_lines(self.studied)]
        return "\n".join([*lines, *told, fills_text(self.laid)])

    def lead(self) -> str:
        """Return what stops it and what would settle it."""
        return str(self._words.value)

    def sheet(self) -> str:
        """Return the tables."""
        return str(self._sheet.value)
