"""What the first notebook shows: one job as it ends up, with the numbers that a crew asks first."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from trackkit.advice import USUAL_CAUTIONS
from trackkit.desk.picture import still
from trackkit.desk.words import list_html, sheet_html
from trackkit.job import load_job
from trackkit.pictured import headline, plan_picture
from trackkit.plan import Plan, make_plan
from trackkit.spoken import side_words

__all__ = ["Cautions", "Overview"]


class Overview:
    """A job's plan as one picture that needs no kernel.

    Attributes
    ----------
    plan : Plan
    """

    def __init__(self, job: str | Path) -> None:
        self.plan: Plan = make_plan(load_job(job))

    def _repr_mimebundle_(self, **_: object) -> Mapping[str, Any]:
        plain = "\n".join(f"{what}: {number}" for what, number in headline(self.plan))
        picture = still(plan_picture(self.plan), side_words(self.plan))
        return {"text/html": picture, "text/plain": f"{self.plan.job.name}\n{plain}"}


class Cautions:
    """What holds for every job of this kind, in large letters."""

    def _repr_mimebundle_(self, **_: object) -> Mapping[str, Any]:
        return {
            "text/html": sheet_html(list_html("Always", USUAL_CAUTIONS)),
            "text/plain": "\n".join(["ALWAYS", *(f"- {text}" for text in USUAL_CAUTIONS)]),
        }
