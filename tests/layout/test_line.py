"""Finished lines over a hand-made ground whose mean and covariance are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trackkit.layout import (
    Clearance,
    Doubt,
    LensHeight,
    RailHeight,
    Rolling,
    Section,
    count_negative,
    fill_table,
    follow_line,
    grade_line,
    least_fill_line,
    level_line,
    run_from_sections,
    with_laser_heights,
)
from trackkit.problems import CannotDo

THREE = Section("3 m", 3.0, (0.15, 0.825, 1.5, 2.175, 2.85), 0.12, 0.1, count=4)
RUN = run_from_sections([THREE] * 3)
KINDS = {
    "level": level_line,
    "grade": lambda ground, run, **more: grade_line(ground, run, 0.03, **more),
    "least fill": least_fill_line,
    "follow": follow_line,
}


def texts(line) -> str:
    return "\n".join(str(advisory) for advisory in line.advisories)


@pytest.fixture(params=KINDS, ids=list(KINDS))
def kind(request):
    return KINDS[request.param]


def test_nothing_lies_below_the_highest_ground_of_a_level_line(make_ground):
    # Common practice, no source: level everything to the highest ground point, never dig.
    ground = make_ground()
    line = level_line(ground, RUN, gap=0.0)
    highest = max(ground.surface(*point) for point in RUN.tie_points())
    assert float(line.height(0.0)) == pytest.approx(highest)
    fills = fill_table(ground, RUN, line)
    assert fills["fill_m"].min() == 0.0
    assert count_negative(fills) == 0


def test_the_gap_is_left_at_the_governing_point_and_more_everywhere_else(make_ground, kind):
    ground = make_ground()
    line = kind(ground, RUN, gap=0.012)
    fills = fill_table(ground, RUN, line)["fill_m"]
    assert fills.min() == pytest.approx(0.012, abs=1e-9)
    for label in line.rests_on:
        _, tie, side = label.split()
        assert fills[2 * (int(tie) - 1) + (side == "right")] == pytest.approx(0.012, abs=1e-9)
    what, _, points = line.reference.partition(": ")
    assert what == ("the governing point" if len(line.rests_on) == 1 else "the points it rests on")
    assert set(points.split(" and ")) == set(line.rests_on)


def test_the_line_is_its_weights_times_the_contacts(make_ground, kind):
    ground = make_ground(
        surface=lambda s, side: 0.01 * np.sin(s) - 0.0008 * (s - 4) ** 2 + 0.02 * (side == "left")
    )
    line = kind(ground, RUN, gap=0.0)
    if line.kind in ("level", "least fill"):  # no limit holds it, so nothing else is in it
        known = line.weights_at([0.0, 3.3, 9.0]) @ ground.mean(list(line.contacts))
        np.testing.assert_allclose(known, line.height([0.0, 3.3, 9.0]), atol=1e-9)
    np.testing.assert_allclose(line.weights_at([0.0, 3.3, 9.0]).sum(axis=1), 1.0, atol=1e-9)


def test_ties_and_line_agree_on_a_plane_where_the_answer_is_known(make_ground):
    grade = 0.06
    ground = make_ground(surface=lambda s, side: grade * s)
    line = least_fill_line(ground, RUN, grade_limit=0.2)
    assert line.steepest == pytest.approx(grade, abs=1e-12)
    cosine = np.cos(np.arctan(grade))
    np.testing.assert_allclose(line.run.ties["station_m"], RUN.ties["along_m"] * cosine, atol=1e-9)
    np.testing.assert_allclose(fill_table(ground, RUN, line)["fill_m"], 0.012, atol=1e-9)


def test_ties_lie_along_the_line_as_they_do_on_the_track(make_ground, kind):
    ground = make_ground(surface=lambda s, side: 0.05 * s + 0.02 * np.sin(s))
    line = kind(ground, RUN)
    knots = line.run.knots
    taped = np.hypot(np.diff(knots), np.diff(line.height(knots)))
    np.testing.assert_allclose(taped, 3.0, atol=1e-9)


def test_a_tie_that_steps_over_a_kerb_and_back_is_refused_with_what_to_do(make_ground):
    kerb = 8.78  # the last tie, at 8.85 when level, comes to stand before or behind it with the grade
    ground = make_ground(surface=lambda s, side: 0.01 * s + (1.2 if s > kerb else 0.0))
    run = run_from_sections([replace(THREE, ties=(0.15, 2.85))] * 3)
    with pytest.raises(CannotDo, match="steps over a break in the ground and back; shift the run"):
        least_fill_line(ground, run, grade_limit=0.5)


def test_follow_never_needs_more_fill_than_the_straight_lines(make_ground):
    ground = make_ground(surface=lambda s, side: 0.02 * np.sin(s / 2))
    total = {
        name: fill_table(ground, RUN, make(ground, RUN))["fill_m"].sum()
        for name, make in KINDS.items()
        if name != "grade"
    }
    assert total["follow"] < total["least fill"] < total["level"]
    bent = follow_line(ground, RUN, bend_limit=0.004)
    assert np.abs(np.diff(bent.grade(RUN.knots[:-1] + 0.1))).max() <= 0.004 + 1e-9


def test_set_from_a_tie_end_below_the_high_point_shows_and_counts_negative_fills(make_ground):
    ground = make_ground()
    line = level_line(ground, RUN, reference=(1, "left"), gap=0.0)
    fills = fill_table(ground, RUN, line)
    assert fills["fill_m"].iloc[0] == 0.0
    below = (fills["fill_m"] < 0).sum()
    assert count_negative(fills) == below > 0
    assert f"in the ground ({below} tie ends are). Set the line" in texts(line)
    raised = level_line(ground, RUN, reference=(1, "left"), gap=line.depth)
    assert count_negative(fill_table(ground, RUN, raised)) == 0


@pytest.mark.parametrize("make", [level_line, least_fill_line, follow_line])
def test_rail_top_comes_out_at_the_height_given(make_ground, make):
    ground = make_ground(pegs={"slab": (0.30, 0.001)})
    line = make(ground, RUN, reference=RailHeight(0.5, station=2.0))
    assert float(line.rail_top(2.0)) == pytest.approx(0.5, abs=1e-9)
    line = make(ground, RUN, reference=RailHeight(0.15, above="slab"))
    assert float(line.rail_top(RUN.head)) == pytest.approx(0.45, abs=1e-9)
    assert "slab" in line.contacts


@pytest.mark.parametrize("make", [level_line, least_fill_line, follow_line])
def test_the_lens_comes_out_at_the_height_wanted_at_the_mark(make_ground, make):
    ground = make_ground()
    line = make(ground, RUN, reference=LensHeight(1.65, above_rail=1.30, station=6.0))
    at_mark = np.mean([ground.surface(6.0, "left"), ground.surface(6.0, "right")])
    assert float(line.rail_top(6.0)) + 1.30 == pytest.approx(at_mark + 1.65, abs=1e-9)
    assert line.reference == "lens 1650 mm above the ground at 6.00 m"
    line = make(ground, RUN, reference=LensHeight(1.65, above_rail=1.30, station=6.0, over="datum"))
    assert float(line.rail_top(6.0)) + 1.30 == pytest.approx(1.65, abs=1e-9)


@pytest.mark.parametrize(
    ("reference", "message"),
    [
        ((99, "left"), "tie must be 1 to 15, got 99"),
        ((1, "middle"), "side must be 'left' or 'right'"),
        ("porch", "reference must be 'governing'"),
        (LensHeight(1.0, 1.0, over="porch"), "over must be 'ground' or 'datum'"),
    ],
)
def test_a_reference_that_does_not_exist_is_refused(make_ground, reference, message):
    with pytest.raises(ValueError, match=message):
        level_line(make_ground(), RUN, reference=reference)


def test_numbers_that_make_no_sense_are_refused(make_ground):
    ground = make_ground()
    with pytest.raises(ValueError, match="gap must be 0 m or more"):
        level_line(ground, RUN, gap=-0.01)
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1"):
        level_line(ground, RUN, confidence=95.0)
    with pytest.raises(ValueError, match="bend_limit must be 0 or more"):
        follow_line(ground, RUN, bend_limit=-1.0)
    with pytest.raises(ValueError, match="mass must be above 0"):
        Rolling(mass=0.0)


def obstacle(station, offset, **more):
    return pd.DataFrame([{"station_m": station, "offset_m": offset, **more}])


def test_an_obstacle_between_the_rails_stays_below_the_tie_undersides(make_ground, kind):
    ground = make_ground()
    line = kind(ground, RUN, obstacles=obstacle(6.0, 0.1, height_m=0.25), clearance=Clearance(over=0.02))
    assert float(line.height(6.0)) == pytest.approx(0.27, abs=1e-9)
    assert "obstacle 1 " in " ".join(line.rests_on)


def test_an_obstacle_beside_the_rail_stays_below_the_wheel_trucks(make_ground):
    ground, beside = make_ground(), obstacle(6.0, -(0.31 + 0.2), height_m=0.25)
    line = level_line(ground, RUN, obstacles=beside, clearance=Clearance(over=0.02, truck_drop=0.05))
    assert float(line.rail_top(6.0)) - 0.05 - 0.02 == pytest.approx(0.25)
    wide = obstacle(6.0, 0.31 + 0.26, height_m=0.25)
    assert level_line(ground, RUN, obstacles=wide).rests_on == level_line(ground, RUN).rests_on
    beyond = obstacle(9.5, 0.0, height_m=0.25)
    assert level_line(ground, RUN, obstacles=beyond).rests_on == level_line(ground, RUN).rests_on


def test_an_obstacle_under_a_lower_section_is_cleared_by_that_section(make_ground):
    ground = make_ground()
    run = run_from_sections([THREE, replace(THREE, rail_top=0.15)])
    line = level_line(
        ground, run, obstacles=obstacle(1.2, 0.0, height_m=0.25), clearance=Clearance(over=0.02)
    )
    # With flush rails the undersides of the 0.12 m section lie 0.03 m over the line.
    assert float(line.height(1.2)) + 0.03 == pytest.approx(0.27)


def test_an_obstacle_that_was_surveyed_is_a_contact_like_any_other(make_ground):
    ground = make_ground(pegs={"root": (0.30, 0.006)})
    line = level_line(ground, RUN, obstacles=obstacle(6.0, 0.0, point="root"))
    assert line.contacts == ("root",)
    sd = fill_table(ground, RUN, line, sideways_sd=0.0)["fill_sd_m"]
    np.testing.assert_allclose(sd, np.hypot(0.006, 0.004))


def test_an_obstacle_gets_its_height_from_rod_and_laser_and_none_is_refused(make_ground):
    read = pd.DataFrame(
        {"station_m": [6.0], "offset_m": [0.0], "laser": ["1"], "rod_m": [1.2], "height_m": [np.nan]}
    )
    assert with_laser_heights(read, {"1": 1.5})["height_m"].iloc[0] == pytest.approx(0.3)
    with pytest.raises(CannotDo, match=r"obstacle 1 at 6\.00 m has no height"):
        level_line(make_ground(), RUN, obstacles=read)


def test_ground_between_the_rails_is_cleared_when_it_is_crowned(make_ground):
    ground = make_ground(surface=lambda s, side: 0.0)
    line = level_line(ground, RUN, gap=0.0, clearance=Clearance(crown=0.015))
    assert float(line.height(0.0)) == pytest.approx(0.015)
    assert line.rests_on == ("middle of tie 1",)
    assert line.contacts == ((0.15, "left"), (0.15, "right"))
    np.testing.assert_allclose(line.weights_at(0.0), [[0.5, 0.5]])


def test_sections_of_different_height_have_flush_rails_and_their_own_fills(make_ground):
    ground = make_ground(surface=lambda s, side: 0.0)
    run = run_from_sections([THREE, replace(THREE, rail_top=0.15)])
    line = level_line(ground, run, gap=0.012)
    fills = fill_table(ground, run, line)
    # The lower section must be packed 30 mm more for its rail to be flush with the higher one.
    np.testing.assert_allclose(fills["fill_m"], [0.042] * 10 + [0.012] * 10)
    own_top = fills["line_m"] + run.ties["rail_top_m"].repeat(2).to_numpy()
    np.testing.assert_allclose(own_top, fills["rail_top_m"])


def test_a_line_set_from_a_tie_end_of_a_lower_section_leaves_the_gap_there(make_ground):
    ground = make_ground()
    run = run_from_sections([THREE, replace(THREE, rail_top=0.15)])
    fills = fill_table(ground, run, level_line(ground, run, reference=(2, "right"), gap=0.02))
    assert fills["fill_m"].iloc[3] == pytest.approx(0.02)


def test_a_point_that_holds_the_line_in_two_places_counts_with_both_its_shares(make_ground):
    # Rail at the head 0.15 m over the slab, and the slab's other end to be cleared: both move with it.
    ground = make_ground(surface=lambda s, side: -0.2, pegs={"slab": (0.30, 0.004)})
    held = RailHeight(0.15, above="slab")
    line = least_fill_line(ground, RUN, reference=held, obstacles=obstacle(8.0, 0.0, point="slab"))
    assert line.contacts == ("slab",)
    assert [name[:11] for name in line.rests_on] == ["obstacle 1 "]
    np.testing.assert_allclose(line.weights_at([0.0, 4.0, 8.0]), 1.0)


def test_the_contact_itself_has_no_doubt_and_the_others_that_of_the_draws(make_ground):
    ground = make_ground(surface=lambda s, side: 0.01 * np.sin(s) - 0.0008 * (s - 4) ** 2)
    for make in (level_line, least_fill_line, lambda g, r: follow_line(g, r, bend_limit=0.004)):
        line = make(ground, RUN)
        table = fill_table(ground, RUN, line, sideways_sd=0.0)
        ends = line.run.tie_points()
        draws = ground.draw([*ends, *line.contacts], 20_000, 3)
        heights = draws[:, len(ends) :] @ line.weights_at(table["station_m"]).T
        seen = np.std(heights - draws[:, : len(ends)], axis=0)
        np.testing.assert_allclose(table["fill_sd_m"], seen, rtol=0.03, atol=1e-6)
        if line.kind == "level":
            assert table["fill_sd_m"][ends.index(line.contacts[0])] == 0.0


def test_held_by_a_peg_the_former_contact_is_as_doubtful_as_any_tie_end(make_ground):
    ground = make_ground(pegs={"P1": (0.2, 0.003)})
    line = level_line(ground, RUN).held_by("P1")
    table = fill_table(ground, RUN, line, sideways_sd=0.0)
    np.testing.assert_allclose(table["fill_sd_m"], np.hypot(0.003, 0.004))
    np.testing.assert_allclose(table["fill_m"], fill_table(ground, RUN, level_line(ground, RUN))["fill_m"])


def test_with_confidence_the_chance_that_any_tie_end_touches_is_small_enough(make_ground, kind):
    ground = make_ground(surface=lambda s, side: 0.002 * np.sin(3 * s), sd=0.012)
    bare, sure = kind(ground, RUN, gap=0.0), kind(ground, RUN, gap=0.0, confidence=0.95)
    assert sure.raised > 0
    assert sure.gap == sure.raised
    assert sure.chance_touch <= 0.05
    np.testing.assert_allclose(sure.height([0.0, 5.0]) - bare.height([0.0, 5.0]), sure.raised)
    # Fresh draws of the ground itself, not of the fills.
    ends = sure.run.tie_points()
    draws = ground.draw([*ends, *sure.contacts], 20_000, 11)
    constant = sure.height(0.0) - sure.weights_at(0.0) @ ground.mean(list(sure.contacts))
    stations = np.array([station for station, _ in ends])
    offset = sure.height(stations) - sure.weights_at(stations) @ ground.mean(list(sure.contacts))
    assert np.isfinite(constant).all()
    lines = draws[:, len(ends) :] @ sure.weights_at(stations).T + offset
    touched = np.mean(np.any(draws[:, : len(ends)] - lines > 0.003, axis=1))
    assert touched == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 * (1 / 10_000 + 1 / 20_000)))


def test_a_given_rail_height_is_not_raised_but_its_chance_of_touching_is_said(make_ground):
    ground = make_ground(surface=lambda s, side: 0.0)
    line = level_line(ground, RUN, reference=RailHeight(0.125), confidence=0.95, doubt=Doubt(sideways_sd=0.0))
    assert line.raised == 0.0
    assert float(line.rail_top(0.0)) == pytest.approx(0.125)
    assert line.chance_touch > 0.05
    assert f"some tie end touches the ground is {line.chance_touch:.0%}, more than the 5% asked for" in texts(
        line
    )


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(shift=st.floats(-300, 300), common=st.floats(0, 0.5))
def test_fills_and_chances_do_not_depend_on_the_datum(make_ground, shift, common):
    here, there = make_ground(sd=0.01), make_ground(sd=0.01, datum=shift, common_sd=common)
    for make in (level_line, least_fill_line):
        a = fill_table(here, RUN, make(here, RUN, gap=0.0, confidence=0.9))
        b = fill_table(there, RUN, make(there, RUN, gap=0.0, confidence=0.9))
        np.testing.assert_allclose(b["fill_m"], a["fill_m"], atol=1e-6)
        np.testing.assert_allclose(b["fill_sd_m"], a["fill_sd_m"], atol=1e-6)
        np.testing.assert_allclose(b["line_m"] - a["line_m"], shift, atol=1e-6)


def test_left_and_right_swapped_swaps_the_fills(make_ground, kind):
    ground = make_ground()
    other = make_ground(surface=lambda s, side: ground.surface(s, "left" if side == "right" else "right"))
    a, b = (fill_table(g, RUN, kind(g, RUN)) for g in (ground, other))
    for name in ("fill_m", "fill_sd_m", "p_touch"):
        np.testing.assert_allclose(a[name][0::2], b[name][1::2], atol=1e-9)
        np.testing.assert_allclose(a[name][1::2], b[name][0::2], atol=1e-9)
    np.testing.assert_allclose(a["cross_slope"], -b["cross_slope"])


def test_head_and_tail_swapped_reverses_the_fills_of_a_level_line(make_ground):
    ground = make_ground()
    back = make_ground(surface=lambda s, side: ground.surface(9.0 - s, side))
    a, b = (fill_table(g, RUN, level_line(g, RUN)) for g in (ground, back))
    np.testing.assert_allclose(
        a["fill_m"].to_numpy().reshape(-1, 2)[::-1], b["fill_m"].to_numpy().reshape(-1, 2)
    )


def test_on_a_grade_the_crew_is_warned_that_the_dolly_rolls_by_itself(make_ground):
    ground = make_ground(surface=lambda s, side: 0.05 * s)
    line = least_fill_line(ground, RUN)
    assert "on a grade of 5.0% the dolly rolls away by itself: 400 kg push down the slope" in texts(line)
    assert "towards the start mark, with 20 kg of force" in texts(line)  # 400 kg * sin(atan(0.05)): 20.0 kg
    assert "Stops at both ends" in texts(line)
    heavy = least_fill_line(ground, RUN, grade_limit=0.1, rolling=Rolling(mass=500.0))
    assert texts(heavy).startswith("STOP")
    assert level_line(ground, RUN).advisories == ()
