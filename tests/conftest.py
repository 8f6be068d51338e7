"""Lets tests import the helper modules that stand beside them; puts long files of tests first."""

import gc
import os
import sys
from pathlib import Path

import pytest

#: Processes share the work by files already: threads of linear algebra, which reads this as it is imported,
#: would only wait for each other. Kernels and commands that tests start inherit it.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

HERE = Path(__file__).parent
for folder in (HERE, HERE / "survey", HERE / "study", HERE / "layout"):
    sys.path.insert(0, str(folder))

#: Files that take longest, in the order in which they begin: where several processes share the work by files,
#: none of these may be the last, alone. Those with a browser, which wait a lot, take turns with others.
LONGEST = (
    "tests/browser/test_line_notebook.py",
    "tests/desk/test_line_panel.py",
    "tests/desk/test_trial_panel.py",
    "tests/browser/test_ground_notebook.py",
    "tests/survey/test_ground_dense.py",
    "tests/test_cli.py",
    "tests/browser/test_trial_notebook.py",
    "tests/browser/test_point_notebook.py",
    "tests/test_plan_truth.py",
    "tests/desk/test_panel_state.py",
    "tests/browser/test_start_notebook.py",
    "tests/show/test_closeup.py",
    "tests/desk/test_ground_panel.py",
    "tests/survey/test_phonelog.py",
    "tests/survey/quality/test_detectable.py",
    "tests/browser/test_stacks_notebook.py",
    "tests/show/test_saving.py",
    "tests/desk/test_reference_panels.py",
    "tests/survey/quality/test_mistakes.py",
    "tests/survey/test_readings_fuzz.py",
    "tests/browser/test_lab_itself.py",
    "tests/test_study.py",
    "tests/browser/test_wheel_notebook.py",
    "tests/show/test_checks.py",
    "tests/show/test_bars.py",
    "tests/test_plan.py",
)


def pytest_configure(config):
    """Keep the order of files where they are shared among processes: else those with most tests go first."""
    config.option.loadscopereorder = False


def pytest_collection_modifyitems(items):
    """Put the longest files first, then notebooks and whatever drives one, then all others."""
    place = {file: at for at, file in enumerate(LONGEST)}

    def turn(item):
        file = item.nodeid.partition("::")[0]
        drives = file.endswith("_notebook.py") or file.startswith("notebooks/")
        return place.get(file, len(LONGEST) + (not drives))

    items.sort(key=turn)


@pytest.hookimpl(trylast=True)
def pytest_collection_finish():
    """Leave what was imported out of every later search for garbage."""
    gc.collect()
    gc.freeze()
