"""Starts the lab once, a browser for each file of tests, and shows what they said when a test fails."""

from __future__ import annotations

import sys
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from lab import Lab, need_browser, running_browser, running_lab
from page import Notebook

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="session")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    """Return a running lab over an empty folder; `Lab.bring` copies notebooks into it."""
    need_browser()
    folder = tmp_path_factory.mktemp("lab") / "notebooks"
    folder.mkdir()
    with running_lab(folder) as started:
        yield started


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Return a running Chromium.

    Not for the whole session: while it runs, this thread counts as running an event loop, and tests
    elsewhere start one of their own.
    """
    need_browser()
    with running_browser() as started:
        yield started


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Add the lab's log and the notebooks' problems to the report of a test that failed."""
    report = yield
    if report.failed:
        used = getattr(item, "funcargs", {}).values()
        notebooks = [one for one in used if isinstance(one, Notebook)]
        labs = {one for one in used if isinstance(one, Lab)} | {one.lab for one in notebooks}
        report.sections += [
            (f"Seen on the page of {one.path}", "\n".join(one.watch.seen)) for one in notebooks
        ]
        report.sections += [("Log of the lab", one.log()) for one in labs]
    return report
