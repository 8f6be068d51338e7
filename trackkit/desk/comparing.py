"""The panel that lays a job in several ways side by side."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from trackkit.choices import Choices, choices_in_steps
from trackkit.chosen_words import choices_listing, choices_text
from trackkit.desk.jobs import job_choice
from trackkit.desk.panel import Panel
from trackkit.desk.words import listing_html, numbers_html, sheet_html
from trackkit.job import load_job
from trackkit.paper import NOTEBOOK_WIDTH

if TYPE_CHECKING:
    from trackkit.job import Job

__all__ = ["ChoicesPanel"]


class ChoicesPanel(Panel):
    """A job laid level, at a grade, with least fill, bent; its sections moved, shifted, turned, set aside.

    Parameters
    ----------
    job : path
        A job's folder.

    Attributes
    ----------
    choices : Choices
    """

    def __init__(self, job: str | Path) -> None:
        from ipywidgets import HTML

        self._numbers, self._sheet = HTML(), HTML()
        self.controls = {"job": job_choice(job)}
        self._begin([self._numbers], (), later=[self._sheet])

    def _open(self, folder: Path) -> None:
        self.job: Job = load_job(folder)

    def work(self, moved: frozenset[str]) -> None:
        """Say that it is being worked out: each way is laid and stacked, which takes a moment."""
        self._numbers.value = numbers_html([("ways to lay it", "…")], waits=True)

    def settle(self) -> Iterator[None]:
        """Lay the job in one way after the other."""
        steps = choices_in_steps(self.job)
        while True:
            try:
                name = next(steps)
            except StopIteration as over:
                found: Choices = over.value
                break
            self._numbers.value = numbers_html([("being laid", name)], waits=True)
            yield
        self.choices: Choices = found
        self._numbers.value = numbers_html(self.numbers())
        self._sheet.value = sheet_html(listing_html(choices_listing(found)))

    def settings(self) -> list[str]:
        """Return the job."""
        return [f"{self.job.name} ({self.job.folder.name})"]

    def numbers(self) -> list[tuple[str, str]]:
        """Return how many ways there are, can be done, and are beaten by no other."""
        rows = self.choices.rows
        return [
            ("ways to lay it", str(len(rows))),
            ("can be done", str(sum(row.can_be_done for row in rows))),
            ("no other beats it", str(sum(row.unbeaten for row in rows))),
        ]

    def told(self) -> str:
        """Return the table as text."""
        return choices_text(self.choices, width=NOTEBOOK_WIDTH)

    def sheet(self) -> str:
        """Return the table."""
        return str(self._sheet.value)
