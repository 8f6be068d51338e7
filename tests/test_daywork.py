"""The day's work on a job: obstacles in it, against the study's own draws, and how it is told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from demo_jobs import DEMO, changed

from trackkit.daywork import WALKED, nearest_end, wrong_start
from trackkit.fitted import fit_job
from trackkit.job import load_job
from trackkit.plan import lay_line, stack_up
from trackkit.studied import study_job
from trackkit.studied_day import day_lines, day_listing, day_start, settle_lines


def studied_of(folder):
    job = load_job(folder)
    return study_job(stack_up(lay_line(job, *fit_job(job))))


@pytest.fixture(scope="module")
def lawn():
    return studied_of(DEMO / "boathouse_lawn")


@pytest.fixture(scope="module")
def headed(lawn, tmp_path_factory):
    """The lawn with a sprinkler head at 4 m that is as high as the highest tie end, 25 mm of room over it."""
    low = float(lawn.laid.line.height(4.0)) - float(lawn.laid.fills["fill_m"].min())
    room = {'gap = "12 mm"': 'gap = "12 mm"\nobstacle_room = "25 mm"'}
    folder = changed(tmp_path_factory.mktemp("headed"), "boathouse_lawn", **room)
    table = f"station_m,offset_m,height_m,note\n4.0,0.0,{low - 0.013:.6f},sprinkler head\n"
    (folder / "obstacles.csv").write_text(table, encoding="utf-8")
    return studied_of(folder)


def test_from_the_point_by_eye_all_that_stands_is_lifted_when_it_shows(lawn):
    """Laid outward from tie 19: the first end that touches, and the lift that it asks for, by hand."""
    table = wrong_start(lawn.day, lawn.eye)
    heights = -lawn.laid.fills["fill_m"].to_numpy()
    own = -float(lawn.study.table["fill_m"].iloc[lawn.eye])  # of the point itself, between two ties
    gap, touch = lawn.laid.line.gap, lawn.study.touch
    should = {end for end in range(heights.size) if heights[end] - own > gap + touch}
    assert set(table["end"]) == should and should
    for row in table.itertuples():
        assert row.lift_m == pytest.approx(heights[row.end] - own)
    assert (table["candidate"] == table["end"]).all()
    assert day_start(lawn) == lawn.eye
    assert "8.40 m house side, by eye, which is too low" in day_listing(lawn, lawn.eye).title


def test_work_from_the_eye_costs_more_than_from_the_likeliest(lawn):
    starts = lawn.day.work.starts.tolist()
    eye, planned = (
        starts.index(nearest_end(lawn.day.stations, 8.4, "left")),
        starts.index(lawn.study.planned),
    )
    minutes = lawn.day.work.minutes.mean(axis=2)
    assert minutes[eye, 0] > minutes[planned, 0] + 10
    assert lawn.day.work.lifted[eye, 0] > 2 > 0.1 > lawn.day.work.lifted[planned, 0]


def test_the_line_stays_in_as_many_draws_as_nothing_ahead_is_too_high(headed):
    """Counted from the study's draws over tie ends and the obstacle; spare height counts it too."""
    study, work = headed.study, headed.day.work
    heights = study.drawn.heights[:, :WALKED]
    assert study.contest.rows == study.contest.ends + 1
    assert study.contest.ends in work.starts.tolist()
    for row, start in enumerate(work.starts.tolist()):
        line = heights[start] + study.contest.offsets[start]
        for column, spare in enumerate(work.spares):
            over = heights[: study.contest.rows].max(axis=0) - line - spare
            assert work.stays[row, column] == np.mean(over <= study.touch)


def test_a_head_between_two_ties_is_found_at_the_nearer_one_and_all_that_stands_is_lifted(headed):
    """Set by eye at 8.40 m and laid outward: the head's row, its lift and its supports, worked by hand."""
    study, day = headed.study, headed.day
    table = wrong_start(day, headed.eye).set_index("candidate")
    head = table.loc[study.contest.ends]
    ties = headed.laid.run.ties["station_m"].to_numpy()
    assert head["tie"] == int(np.abs(ties - 4.0).argmin()) + 1
    mean, _ = headed.laid.ground.height(8.4, "left")
    top = float(headed.laid.line.height(4.0)) + float(study.contest.mean[study.contest.ends])
    assert head["lift_m"] == pytest.approx(top + 0.025 - (mean + 0.012))
    away = np.abs(day.stations - day.stations[day.tie_end(headed.eye)])
    assert head["supports"] == len(set(day.support[away < away[int(head["end"])] - 1e-9].tolist()))


def test_the_words_name_the_head_and_the_tie_at_which_it_shows(headed):
    told = day_listing(headed, headed.eye)
    names = [row[0] for row in told.rows]
    tie = int(np.abs(headed.laid.run.ties["station_m"].to_numpy() - 4.0).argmin()) + 1
    assert f"tie {tie}: obstacle 1 (sprinkler head, 4.00 m)" in names
    assert "What is no tie end shows at the first end of the tie nearest to it." in told.notes[0]


def test_without_obstacles_nothing_is_said_of_them(lawn):
    assert "no tie end" not in day_listing(lawn, lawn.eye).notes[0]


def test_a_line_set_from_the_head_is_laid_outward_from_the_nearest_tie(headed):
    ends = headed.study.contest.ends
    start = headed.day.tie_end(ends)
    assert start == nearest_end(headed.day.stations, 4.0, "left")
    assert wrong_start(headed.day, ends).empty  # with 25 mm over it no tie end is too high, as fitted


def test_a_peg_is_no_point_along_the_run(lawn):
    peg = next(i for i, one in enumerate(lawn.study.candidates) if one.kind == "peg")
    assert lawn.day.tie_end(peg) is None
    with pytest.raises(ValueError, match="peg P1 is no point along the run"):
        wrong_start(lawn.day, peg)


def test_ground_between_the_rails_shows_with_its_own_tie(tmp_path):
    """60 mm kept over the middle of every tie, more than the gap: a line set from a tie end is too low."""
    crown = {'gap = "12 mm"': 'gap = "12 mm"\ncrown = "60 mm"'}
    studied = studied_of(changed(tmp_path, "boathouse_lawn", **crown))
    likeliest = studied.study.likeliest
    first = wrong_start(studied.day, likeliest).iloc[0]
    name = studied.study.candidates[int(first["candidate"])].label
    assert name == f"middle of tie {likeliest // 2 + 1}"
    assert (first["tie"], first["supports"]) == (likeliest // 2 + 1, 0)
    assert name in [row[0] for row in day_listing(studied, likeliest).rows]
    assert day_lines(studied)[0].startswith(f"To start from when not sure: {name} with its room over it, ")


def test_the_largest_spare_height_that_was_tried_is_told_as_that(lawn):
    """On the lawn 30 mm, the most, pay: that more might too is said; tried with less worth it, it is not."""
    most = "That is the most that was tried: more might save more still."
    assert most in " ".join(day_lines(lawn))
    work = lawn.day.work
    dearer = replace(work, minutes=work.minutes + 1000.0 * (work.spares == work.spares[-1])[:, None])
    assert most not in " ".join(day_lines(replace(lawn, day=replace(lawn.day, work=dearer))))


def test_a_laser_set_up_anew_is_tied_in_before_the_readings_that_settle_it(lawn):
    (line,) = settle_lines(lawn)
    assert lawn.settled.found.ties == ("P1", "P2")
    assert "Before rods from a laser set up anew, read P1 and P2 from it." in line


def test_without_a_rod_no_laser_is_tied_in(lawn):
    table = lawn.settled.found.table.assign(kind="across")
    found = replace(lawn.settled.found, table=table)
    (line,) = settle_lines(replace(lawn, settled=replace(lawn.settled, found=found)))
    assert "What would settle it" in line and "laser" not in line
