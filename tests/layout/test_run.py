"""The run: what a shot needs, where ties, joints and supports come to lie, breaks and shifts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trackkit.layout import LayRules, Section, Shot, lay_out_run, run_from_sections
from trackkit.layout.breaks import clear_shift, too_near
from trackkit.problems import CannotDo


def texts(run) -> str:
    return "\n".join(str(advisory) for advisory in run.advisories)


def test_about_four_feet_of_track_lie_behind_the_camera_at_the_start_mark(three):
    # Common practice, no source: about 4 ft (1.22 m) behind the camera for the chassis.
    run = lay_out_run(Shot(end_mark=6.0, end_stop=0.0), [three])
    assert run.needed_head == pytest.approx(-4 * 0.3048, abs=0.03)
    assert run.head <= run.needed_head


def test_needed_length_is_the_sum_of_its_parts():
    shot = Shot(end_mark=6.0, chassis=1.2, pusher=0.6, run_up=1.0, overrun=0.5, end_stop=0.15)
    head, tail = shot.span()
    assert tail - head == pytest.approx(6.0 + 1.2 + 0.6 + 1.0 + 0.5 + 2 * 0.15)
    assert (head, tail) == pytest.approx((-2.95, 6.65))
    assert shot.breakdown() == (
        "shot 6.00 m + chassis 1.20 m + pusher 0.60 m + run-up 1.00 m + overrun 0.50 m + end stops 0.30 m"
    )


def test_whoever_pushes_has_room_at_the_end_where_the_chassis_trails():
    behind = Shot(end_mark=6.0, pusher=0.6, end_stop=0.0)
    assert behind.span() == pytest.approx((-1.8, 6.0))
    assert behind.turned().span() == pytest.approx((0.0, 7.8))


def test_turning_the_chassis_moves_the_ends_and_keeps_the_length(three):
    run = lay_out_run(Shot(end_mark=6.0), [three])
    other = lay_out_run(Shot(end_mark=6.0, chassis_trails="ahead"), [three])
    assert run.other_way == pytest.approx((other.needed_head, other.needed_tail))
    assert other.needed == pytest.approx(run.needed)
    assert other.needed_head - run.needed_head == pytest.approx(1.2)
    assert "trails behind the camera: track is needed from -1.35 m to 6.15 m" in run.chassis_text()
    assert "from -0.15 m to 7.35 m" in run.chassis_text()


@pytest.mark.parametrize(
    ("surplus", "head"), [("tail", -1.35), ("head", -1.35 - 1.5), ("split", -1.35 - 0.75)]
)
def test_surplus_length_lies_where_the_rules_say(three, surplus, head):
    run = lay_out_run(Shot(end_mark=6.0), [three], rules=LayRules(surplus=surplus))
    assert run.length == pytest.approx(9.0)
    assert run.surplus == pytest.approx(1.5)
    assert run.head == pytest.approx(head)


def test_set_ties_are_the_corners_of_each_section(three, two):
    run = lay_out_run(Shot(end_mark=6.0), [three, two])
    assert list(run.sections["name"]) == ["3 m", "3 m", "2 m"]
    roles = run.ties.groupby("section")["role"].agg(list)
    assert list(roles) == [["set", "fill", "fill", "fill", "set"]] * 2 + [["set", "fill", "set"]]
    assert run.corner(2, "tail") == (10, pytest.approx(run.head + 5.85))


def test_the_two_ties_at_a_joint_share_a_support_only_if_one_box_reaches_both(three):
    shot = Shot(end_mark=4.0)
    run = lay_out_run(shot, [three])
    # Ties 0.30 m apart, 0.10 m wide: 0.40 m over all, under a 0.508 m box (20 in, common practice).
    assert list(run.ties["support"][3:7]) == ["T4", "J1", "J1", "T7"]
    joint = run.supports.set_index("support").loc["J1"]
    assert (joint["kind"], joint["ties"], joint["role"]) == ("joint", (5, 6), "set")
    assert joint["station_m"] == pytest.approx(run.joints["station_m"].iloc[0])
    apart = lay_out_run(shot, [three], rules=LayRules(joint_box=0.39))
    assert list(apart.ties["support"][4:6]) == ["T5", "T6"]
    assert list(apart.supports["kind"].unique()) == ["tie"]


def test_ties_stand_at_their_offsets_along_the_track(three, two):
    run = run_from_sections([three, two])
    np.testing.assert_allclose(run.ties["station_m"], [*three.ties, *(3.0 + t for t in two.ties)])
    assert (run.head, run.tail, run.needed, run.surplus) == (0.0, 5.0, 5.0, 0.0)


def test_on_a_grade_stations_shrink_by_its_cosine_and_the_head_stays(three):
    run = run_from_sections([three, three], head=-1.0).on_grade([0.0, 0.75])
    # 3-4-5 triangle: on a grade of 3/4 a track of 3 m covers 2.4 m of station.
    np.testing.assert_allclose(run.knots, [-1.0, 2.0, 4.4])
    np.testing.assert_allclose(run.ties["station_m"].iloc[-1], 2.0 + 2.85 * 0.8)


def test_a_grade_needs_more_track_and_a_run_laid_out_level_says_when_it_falls_short():
    fit = Section("4 m", 4.0, (0.2, 3.8), 0.1, 0.1, count=2)
    level = lay_out_run(Shot(end_mark=6.5), [fit])
    assert level.surplus == pytest.approx(0.0, abs=1e-9)
    short = level.on_grade(0.1)
    assert "tail of the run: on its grade the track ends 40 mm short" in texts(short)
    with pytest.raises(CannotDo, match=r"not enough track, 0\.04 m short"):
        lay_out_run(Shot(end_mark=6.5), [fit], grade=0.1)


def test_shortage_names_the_figures_and_what_they_are_made_of(three):
    with pytest.raises(
        CannotDo, match=r"0\.60 m short: the run needs 12\.60 m \(shot 11\.10 m \+ chassis 1\.20 m"
    ):
        lay_out_run(Shot(end_mark=11.1), [three])


def test_a_given_order_is_kept_or_refused(three, two):
    shot = Shot(end_mark=5.0)
    run = lay_out_run(shot, [three, two], order=["2 m", "3 m", "2 m"])
    assert list(run.sections["name"]) == ["2 m", "3 m", "2 m"]
    with pytest.raises(CannotDo, match=r"the order given makes 3\.00 m; add a section"):
        lay_out_run(shot, [three, two], order=["3 m"])
    with pytest.raises(ValueError, match="order names '4 m', which is not a listed section"):
        lay_out_run(shot, [three, two], order=["4 m"])
    with pytest.raises(ValueError, match="uses 3 of '2 m', but there are 2"):
        lay_out_run(shot, [three, two], order=["2 m"] * 3)


def test_a_shift_that_uncovers_the_shot_is_refused(three):
    with pytest.raises(
        CannotDo, match=r"leaves the head 0\.20 m short.*shift by 0\.00 m at most, and -1\.50 m"
    ):
        lay_out_run(Shot(end_mark=6.0), [three], shift=0.2)


def test_a_dinged_section_goes_outside_and_more_than_fit_there_are_named():
    kind = Section("2 m", 2.0, (0.2, 1.8), 0.1, 0.1, count=4, dinged=2)
    clean = lay_out_run(Shot(end_mark=6.5), [kind])
    assert list(clean.sections["dinged"]) == ["head", "", "", "tail"]
    assert clean.advisories == ()
    worse = lay_out_run(Shot(end_mark=6.5), [replace(kind, dinged=3)])
    assert "its dinged end is at the joint" in texts(worse)
    assert "feel the joint with a fingertip" in texts(worse)
    assert len(worse.advisories) == 1
    # With 2 m of run-up the joint lies where no wheel passes during the shot.
    roomy = lay_out_run(Shot(end_mark=4.5, run_up=2.0), [replace(kind, dinged=3)])
    assert roomy.advisories == ()


def test_a_tie_end_near_a_break_is_named_and_the_shift_given_clears_all(three):
    # A kerb on a diagonal meets each rail at its own station.
    breaks = pd.DataFrame({"left_station_m": [1.0], "right_station_m": [4.5]})
    rules = LayRules(surplus="split", half_box=0.25, half_width=0.0)
    run = lay_out_run(Shot(end_mark=6.0), [three], breaks=breaks, rules=rules)
    assert "tie 6 left: stands 50 mm from the break at 1.00 m" in texts(run)
    assert run.clear_shift is not None
    moved = lay_out_run(Shot(end_mark=6.0), [three], breaks=breaks, shift=run.clear_shift, rules=rules)
    assert [one for one in moved.advisories if "runs almost along the track" not in one.text] == []
    away = np.abs(moved.ties["station_m"].to_numpy()[:, None] - np.array([1.0, 4.5]))
    assert away.min() == pytest.approx(0.25, abs=1e-9)
    way = "end" if run.clear_shift > 0 else "start"
    assert f"shift the run {abs(run.clear_shift) * 1000:.0f} mm towards the {way} mark" in texts(run)


def test_it_is_said_when_no_shift_clears_the_breaks(three):
    # No surplus at all: the run cannot move.
    breaks = pd.DataFrame({"left_station_m": [1.0], "right_station_m": [np.nan]})
    run = lay_out_run(Shot(end_mark=7.5), [three], breaks=breaks)
    assert run.clear_shift is None
    assert "no shift that still covers the shot clears every break" in texts(run)
    laid = run_from_sections([three], breaks=breaks)
    assert "the track lies already" in texts(laid)


@settings(max_examples=60, deadline=None)
@given(
    ties=st.lists(st.floats(0, 10), min_size=2, max_size=8, unique=True),
    breaks=st.lists(st.tuples(st.floats(0, 10), st.floats(0, 10)), min_size=1, max_size=3),
    low=st.floats(-1, 0),
    high=st.floats(0, 1),
)
def test_no_smaller_shift_than_the_one_given_clears_the_breaks(ties, breaks, low, high):
    stations = np.sort(np.array(ties))
    places = np.array(breaks).ravel()

    def clears(shift):
        return np.abs(stations[:, None] + shift - places).min() >= 0.25 - 1e-9

    shift = clear_shift(stations, breaks, half_box=0.25, low=low, high=high)
    reach = max(-low, high) if shift is None else abs(shift) - 1e-6
    # A grid of shifts knows nothing of intervals.
    assert not any(clears(s) for s in np.arange(low, high, 0.0037) if abs(s) < reach)
    assert shift is None or (clears(shift) and low - 1e-9 <= shift <= high + 1e-9)


def test_a_slanting_break_is_too_near_for_a_corner_first():
    """At 45 degrees a corner 0.15 m aside comes 0.15 m nearer: 0.40 m are wanted instead of 0.25."""
    pair, ties = [(2.0, 2.62)], np.array([1.7])
    assert too_near(ties, pair, half_box=0.25, half_width=0.15, width=0.62)[0][:2] == (0, "left")
    assert not too_near(ties, pair, half_box=0.25)
    shift = clear_shift(ties, pair, half_box=0.25, half_width=0.15, width=0.62, low=-0.5, high=0.5)
    assert shift == pytest.approx(-0.10)


def test_a_break_that_runs_almost_along_the_track_is_questioned(three):
    for right, asked in ((14.0, True), (1.9, False)):
        breaks = pd.DataFrame({"left_station_m": [1.4], "right_station_m": [right]})
        run = lay_out_run(Shot(end_mark=6.0), [three], breaks=breaks)
        assert ("two breaks" in texts(run)) is asked


def test_sections_of_different_height_are_pointed_out(three, two):
    run = run_from_sections([three, replace(two, rail_top=0.15)])
    assert "sections differ by 30 mm in height" in texts(run)
    assert run.rail_top == 0.15


@pytest.mark.parametrize(
    ("fault", "message"),
    [
        ({"end_mark": -1.0}, "end_mark must not lie before start_mark"),
        ({"end_mark": 5.0, "chassis_trails": "left"}, "must be 'behind' or 'ahead'"),
        ({"end_mark": 5.0, "run_up": -0.1}, "run_up must be 0 m or more"),
    ],
)
def test_a_shot_that_cannot_be_is_refused(fault, message):
    with pytest.raises(ValueError, match=message):
        Shot(**fault)


def test_rules_and_places_that_do_not_exist_are_refused(three):
    run = run_from_sections([three])
    with pytest.raises(ValueError, match="surplus must be"):
        LayRules(surplus="middle")
    with pytest.raises(ValueError, match="half_box must be 0 m or more"):
        LayRules(half_box=-1.0)
    with pytest.raises(ValueError, match="tie must be 1 to 5, got 6"):
        run.tie_at(6)
    with pytest.raises(ValueError, match="section must be 1 to 1, got 2"):
        run.corner(2, "head")
    with pytest.raises(ValueError, match="end must be"):
        run.corner(1, "middle")


def test_a_chassis_ahead_of_the_camera_is_told_in_words_either_way(three):
    behind, ahead = (Shot(end_mark=5.0, chassis_trails=way) for way in ("behind", "ahead"))
    behind, ahead = (lay_out_run(shot, [three]).chassis_text() for shot in (behind, ahead))
    assert "trails behind the camera" in behind
    assert "With the chassis ahead of the camera" in behind
    assert "trails ahead of the camera" in ahead
    assert "With the chassis behind the camera" in ahead
