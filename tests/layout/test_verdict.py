"""Whether level will do, against trying grades one by one; hold-back force against HSE and CCOHS figures."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from trackkit.layout import (
    Rolling,
    Section,
    fill_table,
    grade_line,
    hold_back,
    level_verdict,
    run_from_sections,
)
from trackkit.layout.rolling import GRAVITY, roll_away

RUN = run_from_sections([Section("3 m", 3.0, (0.15, 0.825, 1.5, 2.175, 2.85), 0.12, 0.1)] * 6)


def test_hold_back_on_1_in_12_is_the_published_33_kg_of_force():
    # HSE INDG143 p. 9: moving 400 kg up a slope of 1 in 12 takes over 30 kg; recomputed 33.2 kgf, 326 N.
    assert hold_back(400.0, 1 / 12) / GRAVITY == pytest.approx(33.2, abs=0.05)
    assert hold_back(400.0, 1 / 12) == pytest.approx(326, abs=0.5)
    assert hold_back(400.0, -1 / 12) == hold_back(400.0, 1 / 12)


def test_default_force_is_the_ccohs_whole_body_limit():
    # CCOHS table of pushing and pulling limits: 225 N, 50 lbf, 23 kgf for the whole body.
    assert Rolling().force == pytest.approx(50 * 4.448, abs=3)
    assert Rolling().force / GRAVITY == pytest.approx(23, abs=0.5)


def test_the_grade_limit_is_where_the_force_is_just_acceptable():
    rolling = Rolling(mass=350.0, force=200.0)
    assert hold_back(350.0, rolling.grade_limit()) == pytest.approx(200.0)
    assert Rolling(mass=10.0).grade_limit() == math.inf


def test_a_dolly_stays_by_itself_only_below_its_rolling_resistance():
    assert roll_away(0.0019) == ()
    assert roll_away(-0.0021)[0].level == "caution"
    assert "towards the end mark" in roll_away(-0.0021)[0].text
    assert roll_away(Rolling().grade_limit())[0].level == "caution"
    assert roll_away(0.06)[0].level == "stop"


def test_how_hard_a_dolly_pushes_is_said_as_a_crew_knows_it():
    """400 kg on 1 in 12 push with 33 kg of force (INDG143); 225 N is 23 kg (CCOHS), 882 lb are 400 kg."""
    (stop,) = roll_away(1 / 12)
    assert "400 kg push down the slope, towards the start mark, with 33 kg of force" in stop.text
    assert "more than one person should hold (limit 23 kg)" in stop.text
    assert "Canadian Centre for Occupational Health and Safety" in stop.basis
    (pounds,) = roll_away(1 / 12, pounds=True)
    assert "882 lb push down the slope, towards the start mark, with 73 lb of force" in pounds.text
    for said in (str(stop), str(pounds)):
        assert not re.search(r"\d N\b|sin", said)
    assert "limit for one person 20 kg: as the job says" in roll_away(0.01, Rolling(force=200.0))[0].basis


def test_18_m_at_6_per_cent_needs_more_than_a_metre_to_be_level(make_ground):
    # 18 m at 6 % rises 1.08 m; with ties 0.15 m in from the ends 1.062 m, and the gap on top.
    ground = make_ground(surface=lambda s, side: 0.06 * s)
    verdict = level_verdict(ground, RUN)
    assert verdict.level_largest == pytest.approx(0.06 * 17.7 + 0.012)
    assert (verdict.level_tie, verdict.level_side, verdict.level_ok) == (1, "left", False)
    assert verdict.text.startswith(
        "Level does not work: it needs 1074 mm at tie 1 left, and the limit is 600 mm."
    )
    assert "The steepest acceptable grade is 5.7% up towards the end mark" in verdict.text
    assert verdict.grade_ok
    # The fill that is left is 0.6 m: (0.06 - g) * 17.7 * cos + 0.012.
    cosine = math.cos(math.atan(verdict.smallest_grade))
    assert (0.06 - verdict.smallest_grade) * 17.7 * cosine + 0.012 == pytest.approx(0.6, abs=1e-9)
    assert f"A grade of {verdict.smallest_grade:.1%} up" in verdict.text


@pytest.mark.parametrize("slope", [0.05, -0.05])
def test_the_smallest_grade_is_the_first_that_a_grid_of_grades_finds(make_ground, slope):
    ground = make_ground(surface=lambda s, side: slope * s + 0.03 * np.sin(s) + 0.01 * (side == "right"))
    verdict = level_verdict(ground, RUN, height_limit=0.4)

    def largest(grade):
        return fill_table(ground, RUN, grade_line(ground, RUN, grade))["fill_m"].max()

    assert largest(verdict.smallest_grade) == pytest.approx(0.4, abs=1e-8)
    grid = np.arange(0.0, 0.06, 0.002) * np.sign(slope)
    first = next(g for g in grid if largest(g) <= 0.4)
    assert abs(first) - 0.002 <= abs(verdict.smallest_grade) <= abs(first)
    assert np.sign(verdict.steepest_grade) == np.sign(slope)
    assert largest(verdict.best_grade) == pytest.approx(verdict.best_largest, abs=1e-9)
    assert min(largest(g) for g in grid) >= verdict.best_largest - 1e-9


def test_when_level_will_do_it_says_so_and_asks_for_no_grade(make_ground):
    verdict = level_verdict(make_ground(), RUN)
    assert verdict.level_ok
    assert (verdict.smallest_grade, verdict.hold_back) == (0.0, 0.0)
    assert verdict.text.startswith("Level works: the largest fill is ")


def test_when_the_grade_would_be_too_steep_to_hold_it_says_what_is_left_and_what_to_do(make_ground):
    ground = make_ground(surface=lambda s, side: 0.12 * s)
    verdict = level_verdict(ground, RUN)
    assert not verdict.grade_ok
    assert verdict.smallest_grade > verdict.grade_limit
    assert f"holding the dolly there takes {verdict.hold_back / GRAVITY:.0f} kg of force" in verdict.text
    assert "Let the track follow the ground" in verdict.text
    assert verdict.best_grade == pytest.approx(verdict.grade_limit)


def test_when_no_straight_line_will_do_it_says_so(make_ground):
    ground = make_ground(surface=lambda s, side: 1.0 if 8 < s < 10 else 0.0)
    verdict = level_verdict(ground, RUN)
    assert math.isnan(verdict.smallest_grade)
    assert not verdict.grade_ok
    assert "No straight line keeps every fill within the limit" in verdict.text


def test_limits_that_make_no_sense_are_refused(make_ground):
    with pytest.raises(ValueError, match="must be above 0"):
        level_verdict(make_ground(), RUN, height_limit=0.0)
