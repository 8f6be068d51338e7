"""Small, fixed-seed versions of the studies in ``tests/study``; the whole ones are scripts there."""

import numpy as np
import pytest
from calibration_study import job
from coverage_study import coverage
from grounds import GROUNDS
from planted_study import outcome
from power_study import false_alarms, shares

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


def test_a_misread_decimetre_is_found_and_a_good_survey_left_alone():
    """The whole study: 100 % found and blamed rightly, no false alarm in 150 surveys."""
    found, right = shares("tussocks", 5, checked=True, size=0.1 / 0.0015)
    assert (found, right) == (1.0, 1.0)
    assert false_alarms("tussocks", 5, checked=True) <= 0.2


def test_a_fault_planted_in_another_drawing_of_a_demo_is_recognised():
    """The whole study: 50 of 50 found, no false blame."""
    told = outcome("boathouse_lawn", "decimetre", 3)
    assert told["right"] and told["recognised"] and not told["blamed"]
    assert not outcome("market_yard", None, 3)["blamed"]


def test_chances_of_references_add_up_to_what_comes_true():
    """Over 16 jobs; the whole study, 1,200 jobs, has events told 10, 50 and 90 % by themselves.

    What was told less what came true, summed over the tie ends of a job, averages to 0 within four standard
    errors; chances to govern add up to 1.
    """
    off = []
    for seed in range(16):
        told, came, touch_told, touched = job(
            list(GROUNDS.values())[seed % 4], 500 + seed, graded=seed % 8 >= 4
        )
        assert told.sum() == pytest.approx(1.0, abs=0.01) and came.sum() == 1
        off.append((touch_told - touched).sum())
    assert abs(np.mean(off)) < 4 * np.std(off, ddof=1) / 4
