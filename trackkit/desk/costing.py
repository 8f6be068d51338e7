"""The panel of what costs more than scatter: humps nobody read, track laid beside its line, misread rods."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from trackkit.desk.controls import Option, heights, rows_of_steps, slider
from trackkit.desk.jobs import job_choice
from trackkit.desk.laying import GAPS
from trackkit.desk.panel import Panel
from trackkit.desk.picture import Picture
from trackkit.desk.words import list_html, listing_html, numbers_html, sheet_html
from trackkit.fitted import fit_job
from trackkit.job import load_job
from trackkit.layout.line import GAP
from trackkit.plan import lay_line, stack_up
from trackkit.studied import Studied, study_job, with_gap
from trackkit.studied_causes import causes_listing, costly_lines
from trackkit.studied_words import short_chance
from trackkit.study.causes import CAUSES
from trackkit.study.parts import ONE_IN_20, SHARED

if TYPE_CHECKING:
    from trackkit.job import Job
    from trackkit.layout.laid import Run
    from trackkit.survey.ground import Ground

__all__ = ["CostsPanel"]

ALONG: Final = (9.6, 2.8)
#: Which causes are lines, those with a size at every tie; what readings share is one more where it is told.
DRAWN: Final = ("unread", "sideways", "scatter")
TOGETHER: Final = "what the readings share"


class CostsPanel(Panel):
    """What really goes wrong, how large it is along the run, and what a larger gap makes of it.

    Parameters
    ----------
    job : path
        A job's folder.

    Attributes
    ----------
    studied : Studied
    """

    def __init__(self, job: str | Path) -> None:
        from ipywidgets import HTML

        self._numbers, self._sheet = HTML(), HTML()
        self._along = Picture("causes", ALONG)
        later: list[Option] = [("-", 0.0)]
        self.controls = {"job": job_choice(job), "gap": slider("gap under the track", later, 0.0)}
        self._begin([self._along.widget], (self._along,), later=[self._numbers, self._sheet])

    def _open(self, folder: Path) -> None:
        """Open a job: its readings are fitted once; the gap stands as its file says."""
        job = load_job(folder)
        run, ground = fit_job(job)
        own = GAP if job.file.line.gap is None else job.file.line.gap
        self.job: Job = job
        self._run: Run = run
        self._ground: Ground = ground
        self._own = own
        gap: Any = self.controls["gap"]
        gap.options = heights(rows_of_steps(*GAPS[job.display.unit], own), job.display, own=own)
        gap.value = own

    def work(self, moved: frozenset[str]) -> None:
        """Draw what each cause does along the run, against this gap."""
        if "job" in moved or self._answered is None:
            whole = study_job(stack_up(lay_line(self.job, self._run, self._ground)))
            self._draw(whole, whole.laid.line.gap)
            self._whole: Studied = whole
        # the gap in the file may have been raised for the sake of a confidence; what it was raised by stays
        self._raised = float(self.values["gap"]) - self._own
        self._draw(self._whole, self._whole.laid.line.gap + self._raised)

    def settle(self) -> Iterator[None]:
        """Work out how often each cause makes the track touch, and what that costs."""
        yield
        self.studied: Studied = with_gap(self._whole, self._raised)
        self._numbers.value = numbers_html(self.numbers())
        self._sheet.value = sheet_html(
            list_html("", costly_lines(self.studied)), listing_html(causes_listing(self.studied))
        )

    def _draw(self, studied: Studied, gap: float) -> None:
        from trackkit.show.plots import draw_along

        job, causes = studied.job, studied.causes
        ties = studied.laid.line.run.ties["station_m"].to_numpy(dtype=float)
        told = causes.told["cause"].tolist()
        drawn = {CAUSES[name]: causes.parts[name] for name in DRAWN if name in told}
        shared = [name for name in told if name in SHARED]
        if shared:
            words = CAUSES[shared[0]] if len(shared) == 1 else TOGETHER
            drawn[words] = np.sum([causes.parts[name] for name in shared], axis=0)
        lines = {}
        for name, part in drawn.items():
            sd = np.sqrt(np.maximum(np.diag(part), 0.0))
            lines[name] = ONE_IN_20 * sd.reshape(-1, 2).max(axis=1)
        level = (f"the gap, {job.display.small_unit(gap)}", gap)
        words = (
            "How much each cause may take off a fill (1 time in 20 more), by tie, the worse of both rails: "
            + "; ".join(
                f"{name} up to {job.display.small_unit(float(up.max()))}" for name, up in lines.items()
            )
            + f". The gap under the track is {job.display.small_unit(gap)}."
        )
        self._along.show(
            lambda _: draw_along(
                ties, lines, level=level, ax=self._along.ax, display=job.display, what="up to"
            ),
            words,
        )

    def settings(self) -> list[str]:
        """Return the job and its gap."""
        gap = self.studied.laid.line.gap
        return [f"{self.job.name} ({self.job.folder.name})", f"gap {self.job.display.small_unit(gap)}"]

    def numbers(self) -> list[tuple[str, str]]:
        """Return the chance that the track touches, for each cause by itself."""
        table = self.studied.causes.told
        return [
            (f"touches: {CAUSES[str(cause)]}", short_chance(float(chance)))
            for cause, chance in zip(table["cause"], table["touches"], strict=True)
        ]

    def told(self) -> str:
        """Return the numbers and the worst of them in a sentence."""
        lines = [f"{what}: {number}" for what, number in self.numbers()]
        return "\n".join([*costly_lines(self.studied), *lines])

    def lead(self) -> str:
        """Return the table."""
        return str(self._sheet.value)
