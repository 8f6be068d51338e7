"""The study of a job's reference: what it is made of, on the demo jobs, and how it is told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from demo_jobs import DEMO, changed

from trackkit.cli import main
from trackkit.daywork import wrong_start
from trackkit.fitted import fit_job
from trackkit.job import load_job, with_line
from trackkit.layout.fills import fill_table
from trackkit.layout.line import level_line
from trackkit.plan import control_of, lay_line, stack_up
from trackkit.problems import CannotDo, InputProblems
from trackkit.studied import set_from, stacks_from, study_job, with_gap
from trackkit.studied_causes import causes_listing, costly_lines
from trackkit.studied_day import (
    day_listing,
    settle_lines,
    settle_listing,
    study_parts,
    study_text,
    truck_lines,
)
from trackkit.studied_words import candidate_words, likely_lines, ranking_listing, reference_lines
from trackkit.study.causes import find_causes
from trackkit.study.wrong_start import best_spare
from trackkit.tables.rows import rows_of


def studied_of(job):
    return study_job(stack_up(lay_line(job, *fit_job(job))))


@pytest.fixture(scope="module")
def lawn():
    return studied_of(load_job(DEMO / "boathouse_lawn"))


@pytest.fixture(scope="module")
def yard():
    return studied_of(load_job(DEMO / "market_yard"))


def test_the_point_by_eye_is_a_candidate_and_too_low(lawn):
    eye = lawn.study.candidates[lawn.eye]
    assert (eye.kind, eye.station, eye.side) == ("eye", 8.4, "left")
    row = lawn.study.table.iloc[lawn.eye]
    mean, _ = lawn.laid.ground.height(8.4, "left")
    assert row["fill_m"] == pytest.approx(float(lawn.laid.line.height(8.4)) - mean, abs=1e-9)
    assert row["touches"] > 0.999
    assert row["governs"] < 0.001


def test_the_line_set_from_a_tie_is_that_of_the_line_module(lawn):
    job, tie = lawn.job, 13
    candidate = lawn.study.index(f"tie {tie} right")
    laid = set_from(lawn, candidate)
    line = level_line(
        lawn.laid.ground, lawn.laid.run, reference=(tie, "right"), gap=lawn.laid.line.gap, doubt=job.doubt
    )
    fills = fill_table(lawn.laid.ground, lawn.laid.run, line)
    np.testing.assert_allclose(laid.fills["fill_m"], fills["fill_m"], atol=1e-9)
    np.testing.assert_allclose(laid.fills["fill_sd_m"], fills["fill_sd_m"], atol=1e-7)
    np.testing.assert_allclose(lawn.study.contest.fills[candidate], fills["fill_m"], atol=1e-9)


def test_spare_height_is_added_to_every_fill(lawn):
    laid = set_from(lawn, lawn.study.planned, spare=0.009)
    np.testing.assert_allclose(laid.fills["fill_m"], lawn.laid.fills["fill_m"] + 0.009, atol=1e-9)
    assert laid.line.gap == pytest.approx(lawn.laid.line.gap + 0.009)


def test_the_peg_gives_the_planned_heights_with_its_own_doubt(lawn):
    peg = next(i for i, one in enumerate(lawn.study.candidates) if one.kind == "peg")
    laid = set_from(lawn, peg)
    np.testing.assert_allclose(laid.fills["fill_m"], lawn.laid.fills["fill_m"], atol=1e-9)
    np.testing.assert_allclose(laid.fills["fill_sd_m"], lawn.laid.fills["fill_sd_m"], atol=1e-9)


def test_the_truck_is_worked_out_for_a_line_set_elsewhere(lawn):
    low = stacks_from(lawn, lawn.eye)
    assert {tie for *_, tie, _ in low.negative} >= {14, 15, 16}
    (line,) = truck_lines(lawn, lawn.eye)
    assert "tie 15 house side: suffices" in line
    assert "8.40 m house side, by eye: ties in the ground" in line


def test_a_larger_gap_leaves_less_to_touch(yard):
    """The rough-in sits on its high point: a hump between its corners costs; 1/4 in takes most of it."""
    before = yard.causes.table.set_index("cause")
    after = with_gap(yard, 0.00635).causes.table.set_index("cause")
    assert before.loc["unread", "touches"] > 0.05 > after.loc["unread", "touches"]
    assert yard.causes.table["cause"].iloc[0] == "unread"
    np.testing.assert_allclose(after.loc["unread", "size_m"], before.loc["unread", "size_m"], rtol=1e-6)


def test_with_a_larger_gap_the_causes_are_those_of_the_line_as_it_lies_then(lawn):
    """The lawn's line is set out from a peg and its ground may be one of several."""
    control = control_of(lawn.job, lawn.laid.ground)
    assert control is not None and len(lawn.likely) > 1
    after = with_gap(lawn, -0.004)
    line = after.laid.line
    assert line.gap == pytest.approx(lawn.laid.line.gap - 0.004)
    np.testing.assert_allclose(after.laid.fills["fill_m"], lawn.laid.fills["fill_m"] - 0.004)
    found = find_causes(
        lawn.laid.ground, line, units=lawn.causes.units, rate=lawn.causes.rate, set_from=control,
        likely=lawn.likely,
    )  # fmt: skip
    for name in ("table", "humps", "misread"):
        pd.testing.assert_frame_equal(getattr(after.causes, name), getattr(found, name), check_exact=True)


def test_reading_what_settles_it_leaves_less_doubt(yard):
    settled = yard.settled
    assert settled.wrong_after[-1] < settled.wrong_now
    assert settled.chances["after_2"].iloc[0] >= settled.chances["now"].iloc[0] - 0.01
    assert settled.chances[["now", "after_1"]].sum().tolist() == pytest.approx([1.0, 1.0], abs=0.01)


def test_least_fill_asks_about_the_end_that_is_less_certain():
    job = with_line(load_job(DEMO / "terrace_edge"), kind="least fill")
    studied = studied_of(job)
    chances = studied.study.table["governs"].to_numpy()[: studied.study.contest.ends]
    assert chances.sum() == pytest.approx(2.0, abs=0.01)
    far = {int(end) for end in studied.settled.chances["end"]}
    half = studied.study.contest.ends // 2
    assert all(end >= half - 2 for end in far)  # tie 1 is all but certain, the other end is not
    pairs = studied.pairs
    assert pairs["chance"].iloc[0] < 0.6 and pairs["planned"].sum() == 1
    assert "LEAST FILL rests on two points" in study_text(studied)


EYE = '{ station = "8.4 m", side = "left" }'


def test_what_the_job_says_is_used(tmp_path):
    other = """{ tie = 13, side = "right" }
points = [{ station = "2 m", side = "right" }]
accepted = "1 %"
misread = "2 %"
order = "from the head"
[study.pace]
restack_minutes = 10"""
    job = changed(tmp_path, "boathouse_lawn", **{EYE: other})
    studied = studied_of(load_job(job))
    assert studied.causes.rate == pytest.approx(0.02)
    assert studied.study.accepted == pytest.approx(0.01)
    assert (studied.day.order, studied.day.pace.restack, studied.day.pace.level) == (
        "from the head",
        10.0,
        3.0,
    )
    own = [one for one in studied.study.candidates if one.kind in ("eye", "point")]
    assert [(one.kind, one.side) for one in own] == [("point", "right"), ("eye", "right")]
    assert own[1].station == pytest.approx(5.15)
    assert candidate_words(studied, studied.eye) == "tie 13 lake side, by eye"


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ('{ station = "30 m", side = "left" }', "names a point at 30.00 m, and the run goes from"),
        ('{ tie = 40, side = "left" }', "names tie 40, the run has ties 1 to 19"),
    ],
)
def test_a_place_that_the_run_does_not_have_is_told(tmp_path, place, said):
    job = changed(tmp_path, "boathouse_lawn", **{EYE: place})
    with pytest.raises(CannotDo, match=said):
        studied_of(load_job(job))


def test_a_place_is_a_station_or_a_tie(tmp_path):
    both = '{ station = "3 m", tie = 2, side = "left" }'
    job = changed(tmp_path, "boathouse_lawn", **{EYE: both})
    with pytest.raises(InputProblems, match="station and tie"):
        load_job(job)


def test_without_a_truck_no_pieces_are_told(tmp_path):
    job = changed(tmp_path, "boathouse_lawn")
    (job / "truck.csv").unlink()
    studied = studied_of(load_job(job))
    assert studied.by_height is None and truck_lines(studied) == []
    assert "pieces" not in " ".join(ranking_listing(studied).head)
    with pytest.raises(ValueError, match="pieces"):
        best_spare(studied.day.work, int(studied.day.work.starts[0]))
    assert study_text(studied)


def test_an_empty_truck_counts_no_pieces(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn")
    truck = pd.read_csv(folder / "truck.csv")
    truck.assign(count=0).to_csv(folder / "truck.csv", index=False)
    studied = studied_of(load_job(folder))
    assert studied.by_height is None and not studied.day.work.counted
    assert "short of" in truck_lines(studied)[0]


def test_an_obstacle_higher_than_all_tie_ends_is_named_and_is_the_start_advised(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn", **{f"by_eye = {EYE}": ""})
    table = "station_m,offset_m,height_m,note\n4.0,0.0,0.45,sprinkler head\n"
    (folder / "obstacles.csv").write_text(table, encoding="utf-8")
    studied = studied_of(load_job(folder))
    study = studied.study
    assert study.contenders()["kind"].tolist() == ["obstacle"]
    assert settle_lines(studied) == [
        "What would settle it: nothing has to, the highest point is as good as certain.",
        "The height of obstacle 1 (sprinkler head, 4.00 m) counts as exact: nothing checks it. Read its top "
        "a second time, from another laser position if you can.",
    ]
    assert settle_listing(studied) is None
    assert study.likeliest == int(study.contest.mean[: study.contest.ends].argmax())
    first = reference_lines(studied)[0]
    assert first == "Which point is the highest is a chance: obstacle 1 (sprinkler head, 4.00 m) surely."
    start = "To start from when not sure: obstacle 1 (sprinkler head, 4.00 m) with its room over it, "
    assert start in " ".join(study_text(studied).split())


def test_the_text_leads_with_what_costs_most_and_keeps_to_its_width(lawn, yard):
    for studied in (lawn, yard):
        parts = study_parts(studied)
        assert parts[1].title.startswith("WHAT REALLY GOES WRONG")
        for width in (76, 100):
            assert max(map(len, study_text(studied, width=width).split("\n"))) <= width
    assert len(causes_listing(lawn).rows) == 4
    assert settle_listing(lawn).rows[0][0] == "tie 15 house side"


def one_way(folder):
    """Return the lawn read with a phone alone, and never turned round."""
    for name in ("boards", "crosslevels"):
        table = pd.read_csv(folder / f"{name}.csv")
        some = table[table["facing"] == "ahead"] if name == "boards" else table.assign(facing="ahead")
        some.to_csv(folder / f"{name}.csv", index=False)
    (folder / "levels.csv").unlink()
    (folder / "truck.csv").unlink()
    return folder


def test_a_phone_that_was_never_turned_round_is_told_with_what_mends_it(tmp_path, lawn):
    away = {'leave_out = ["levels.csv row 32"]': "", 'control = "P1"': "", 'check = "P2"': ""}
    studied = studied_of(load_job(one_way(changed(tmp_path, "boathouse_lawn", **away))))
    listing = causes_listing(studied)
    assert listing.rows[0][0] == "the zero error of the phone or digital level"
    assert len(listing.rows) == 4  # and no rod, where none was read
    (note,) = (one for one in listing.notes if one.startswith("Zero error:"))
    assert "both ways round (ahead and back)" in note
    assert costly_lines(studied)[0].startswith(
        "Most likely to cost you something: the zero error of the phone"
    )
    # read both ways round, it comes to nothing and nothing is said of it
    assert "zero" in lawn.causes.parts
    assert not any("zero error" in " ".join([*row]) for row in causes_listing(lawn).rows)
    assert not any("Zero error" in one for one in causes_listing(lawn).notes)


def test_an_obstacle_that_may_be_touched_is_named_with_its_room(tmp_path):
    """The line clears the sprinkler head by half a millimetre more than its room, and is set from its tie."""
    wishes = {"[line]": '[line]\nobstacle_room = "1 mm"\ntouch = "1 mm"'}
    folder = changed(tmp_path, "boathouse_lawn", **wishes)
    (folder / "truck.csv").unlink()
    bare = load_job(folder)
    low = float(lay_line(bare, *fit_job(bare)).line.height(4.0)) - 0.0015
    (folder / "obstacles.csv").write_text(
        f"station_m,offset_m,height_m,note\n4.0,0.1,{low:.4f},sprinkler head\n", encoding="utf-8"
    )
    studied = studied_of(load_job(folder))
    found = find_causes(studied.laid.ground, studied.laid.line)
    (row,) = (one for one in rows_of(found.table) if one.cause == "scatter")
    assert row.touches_at == "obstacle 1 (sprinkler head, 4.00 m)" and row.touches > 0.005
    assert 0.002 < row.lift_m < 0.005  # what touches, over 1 mm, and the obstacle's room: not the gap, 12 mm
    listing = causes_listing(replace(studied, causes=found))
    assert "obstacle 1 (sprinkler head, 4.00 m)" in costly_lines(replace(studied, causes=found))[0]
    assert any("(over an obstacle its room)" in note for note in listing.notes)
    # peg P1 is where heights count from: set from it, the line cannot miss a height that was given above it
    assert (studied.causes.table["touches_at"] != row.touches_at).all()


def test_track_that_lies_already_is_not_laid_beside_its_line_unless_the_job_says_so(tmp_path, yard, lawn):
    assert yard.laid.line.doubt.sideways_sd == 0.0 < lawn.laid.line.doubt.sideways_sd
    assert "sideways" not in yard.causes.told["cause"].tolist()
    assert any(
        "it moves sideways as it is lifted is not counted" in one for one in causes_listing(yard).notes
    )
    folder = changed(tmp_path, "market_yard", **{"[line]": '[line]\nsideways_sd = "3 in"'})
    (folder / "truck.csv").unlink()
    stated = studied_of(load_job(folder))
    assert stated.laid.line.doubt.sideways_sd == pytest.approx(0.0762)
    assert "sideways" in stated.causes.told["cause"].tolist()
    assert not any("moves sideways" in one for one in causes_listing(stated).notes)


def test_what_settles_it_starts_from_the_chances_of_the_study(lawn):
    """Track laid sideways is in both. Left out of the contest is what hardly any chance falls to."""
    settled, study = lawn.settled, lawn.study
    assert study.is_exact and study.contest.covariance.max() > 0.0
    ends = settled.chances["end"].to_numpy(dtype=int)
    told = study.table["governs"].to_numpy()[ends]
    np.testing.assert_allclose(settled.chances["now"], told / told.sum(), atol=0.002)
    assert settled.wrong_now == pytest.approx(1.0 - told.max() / told.sum(), abs=0.002)


def test_the_command_tells_the_study_and_the_choices(capsys, monkeypatch):
    monkeypatch.setattr("sys.argv", ["trackkit", "study", str(DEMO / "market_yard")])
    main()
    out = capsys.readouterr().out
    assert "WHAT REALLY GOES WRONG" in out and "CHOICES side by side" in out
    assert "a hump that nobody read" in out


# --- what is told ---------------------------------------------------------------------------------


def told_of(tmp_path, table, **changes):
    """Return the study of the lawn with obstacles; changes as in `changed`."""
    folder = changed(tmp_path, "boathouse_lawn", **changes)
    (folder / "obstacles.csv").write_text(f"station_m,offset_m,height_m,note\n{table}", encoding="utf-8")
    return studied_of(load_job(folder))


def test_an_obstacle_that_may_govern_is_among_what_would_settle_it(tmp_path, lawn):
    """A root as high as the highest tie end with its gap: neither may be left out of the question."""
    contest = lawn.study.contest
    top = lawn.laid.line.height(4.9) - lawn.laid.line.gap
    studied = told_of(tmp_path, f"4.9,0.0,{float(top):.4f},root\n")
    governs = studied.study.table["governs"]
    own = contest.ends
    assert studied.study.candidates[own].kind == "obstacle" and 0.1 < governs[own] < 0.9
    chances = studied.settled.chances.set_index("end")["now"]
    assert chances[own] == pytest.approx(governs[own], abs=0.01)
    text = " ".join(settle_lines(studied))
    assert "another point than the likeliest" in text and "set the line from any" not in text
    assert "The height of obstacle 1 (root, 4.90 m) counts as exact: nothing checks it." in text
    names = [row[0] for row in settle_listing(studied).rows]
    assert "obstacle 1 (root, 4.90 m)" in names


def test_of_many_finds_the_worst_and_every_obstacle_are_told_and_how_many_are_not(tmp_path):
    eye = '{ tie = 1, side = "right" }'
    studied = told_of(tmp_path, "4.0,0.0,0.1,sprinkler head\n", **{EYE: eye})
    table = wrong_start(studied.day, studied.eye)
    listing = day_listing(studied, studied.eye)
    assert len(listing.rows) < len(table)
    lifts = [row[1] for row in listing.rows]
    show = studied.job.display
    assert show.small(float(table["lift_m"].max())) in lifts
    assert f"{table['minutes'].max():.0f}" in [row[-1] for row in listing.rows]
    assert (table["candidate"] >= studied.study.contest.ends).any()
    assert any("sprinkler head" in row[0] for row in listing.rows)
    assert listing.notes[-1] == f"{len(table) - len(listing.rows)} more that would show are left out."


def test_the_eye_is_told_against_the_highest_point_whatever_that_is(tmp_path):
    studied = told_of(tmp_path, "4.0,0.0,0.45,sprinkler head\n")
    contest = studied.study.contest
    asked = contest.mean[: contest.rows] + contest.offsets[: contest.rows]
    eye = studied.eye
    low = asked.max() - contest.mean[contest.starts[eye]] - contest.offsets[eye]
    words = next(line for line in reference_lines(studied) if line.startswith("By eye"))
    assert f"That is {studied.job.display.small_unit(float(low))} lower than the highest point" in words


def test_where_all_causes_together_may_touch_the_first_line_says_so(lawn):
    table = lawn.study.table.copy()
    peg = next(i for i, one in enumerate(lawn.study.candidates) if one.kind == "peg")
    assert costly_lines(lawn)[0].startswith("Nothing that usually goes wrong brings the track to touch:")
    table.loc[peg, "touches"] = 0.05
    told = costly_lines(replace(lawn, study=replace(lawn.study, table=table)))
    assert told == [
        "Nothing that usually goes wrong brings the track to touch by itself; all of it together may: "
        "1 chance in 20."
    ]


def test_chances_are_said_to_be_averages_only_where_several_grounds_are_likely(lawn):
    assert len(lawn.likely) > 1
    (words,) = likely_lines(lawn)
    assert "with hardly any stones and with stones and tussocks of up to 0.2 cm" in words
    assert likely_lines(replace(lawn, likely=((1.0, lawn.laid.ground),))) == []
