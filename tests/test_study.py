"""A small, fixed-seed version of the coverage study; the whole one is ``tests/study/coverage_study.py``."""

import pytest
from coverage_study import coverage
from grounds import GROUNDS

SURVEYS = 40
#: What the whole study has to reach, at readings and between them.
LEAST = {"smooth, model's kind": (0.93, 0.93)}
OTHERS = (0.93, 0.88)
#: What it may not exceed on ground of the model's own kind: wider intervals would only look safe.
MOST = {"smooth, model's kind": (0.97, 0.97)}


@pytest.mark.parametrize("name", GROUNDS)
def test_intervals_hold_the_true_surface_as_often_as_they_say(name):
    """Bounds: those of the whole study, widened by three standard errors of this one."""
    at, between, at_error, between_error = coverage(GROUNDS[name], SURVEYS, first_seed=9000)
    least_at, least_between = LEAST.get(name, OTHERS)
    assert at > least_at - 3 * at_error
    assert between > least_between - 3 * between_error
    most_at, most_between = MOST.get(name, (1.0, 1.0))
    assert at < most_at + 3 * at_error
    assert between < most_between + 3 * between_error
    assert at_error < 0.03
