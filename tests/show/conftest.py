"""Lets tests import the cases that stand beside them; works each case out once."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
import show_cases


@pytest.fixture(scope="session")
def case():
    """Return a case by its name, worked out once a session."""
    known = {}

    def get(name):
        if name not in known:
            known[name] = show_cases.CASES[name]()
        return known[name]

    return get


@pytest.fixture(scope="session")
def sheet(case):
    """Return the drawn picture of a case at a size; for tests that only look at it."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    known = {}

    def get(name, size):
        if (name, size) not in known:
            known[name, size] = case(name).picture(size)
            FigureCanvasAgg(known[name, size]).draw()
        return known[name, size]

    return get
