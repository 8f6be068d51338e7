"""The jobs that a panel offers: the one it was opened with, and those in the folders about it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from trackkit.desk.controls import Option, choice
from trackkit.jobfile import JOB_FILE, job_path

if TYPE_CHECKING:
    from ipywidgets import Dropdown

__all__ = ["job_choice", "jobs_about"]


def jobs_about(job: str | Path) -> tuple[Path, list[Path]]:
    """Return a job's folder, and all job folders beside it and beside the notebook.

    Raises
    ------
    InputProblems
        If there is no such job.
    """
    own = job_path(job).parent.resolve()
    about = {own}
    for root in (own.parent, Path.cwd(), Path.cwd().parent):
        about |= {path.parent.resolve() for path in root.glob(f"*/{JOB_FILE}")}
    return own, sorted(about, key=lambda folder: folder.name.lower())


def job_choice(job: str | Path) -> Dropdown:
    """Return the list of jobs to choose from; its values are folders as text."""
    own, folders = jobs_about(job)
    names = [folder.name for folder in folders]
    options: list[Option] = [
        (name if names.count(name) == 1 else f"{name} in {folder.parent.name}", str(folder))
        for name, folder in zip(names, folders, strict=True)
    ]
    return choice("job", options, str(own))
