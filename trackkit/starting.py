"""Something to begin from: the notebooks and demo jobs that come with the package."""

from __future__ import annotations

import shutil
from pathlib import Path

from trackkit.problems import InputProblems, Problem

__all__ = ["copy_start", "source_of"]

_SKIPPED = ("__pycache__", ".ipynb_checkpoints", "plan", "form")


def source_of(name: str) -> Path:
    """Return where 'notebooks' or 'data_demo' lies: in the installed package, or beside it in a checkout.

    Raises
    ------
    FileNotFoundError
        If the package was installed without it.
    """
    package = Path(__file__).parent
    for place in (package / "_start" / name, package.parent / name):
        if place.is_dir():
            return place
    raise FileNotFoundError(2, "this installation came without", name)


def copy_start(folder: Path) -> tuple[Path, ...]:
    """Copy notebooks and demo jobs into a new or empty folder; return the files copied.

    Raises
    ------
    InputProblems
        If something is in the way: nothing is ever overwritten.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        found = "a file" if not folder.is_dir() else "a folder with something in it"
        raise InputProblems(
            [Problem(str(folder), found, "a new folder, or an empty one", "give another name")]
        )
    for name in ("notebooks", "data_demo"):
        shutil.copytree(source_of(name), folder / name, ignore=shutil.ignore_patterns(*_SKIPPED))
    return tuple(path for path in sorted(folder.rglob("*")) if path.is_file())
