"""The same job laid in several ways: each row against the job changed on disk and planned anew."""

import dataclasses
import math

import numpy as np
import pandas as pd
import pytest
from demo_jobs import DEMO, changed
from lawns import plane, terrace, write_job

from trackkit import (
    Steps,
    choices_text,
    compare_choices,
    load_job,
    make_plan,
    with_line,
)
from trackkit.advice import USUAL_CAUTIONS
from trackkit.choices import TOLERANCES, Choices, choices_in_steps
from trackkit.chosen_words import choices_listing
from trackkit.fitted import fit_job
from trackkit.plan import lay_line, stack_up, warnings_of
from trackkit.report import said
from trackkit.ways import ways_of

NONE = Steps(shifts=(), sideways=())


def row(found, name):
    (choice,) = [choice for choice in found.rows if choice.name.startswith(name)]
    return choice


def why(found, name):
    (left,) = [one for one in found.left if name in one.name]
    return left.why


@pytest.fixture(scope="module")
def edge():
    return compare_choices(load_job(DEMO / "terrace_edge"), steps=Steps(shifts=(0.2032,), sideways=(0.1016,)))


@pytest.fixture(scope="module")
def yard():
    return compare_choices(load_job(DEMO / "market_yard"))


@pytest.fixture(scope="module")
def lawn(tmp_path_factory):
    return compare_choices(load_job(write_job(tmp_path_factory.mktemp("lawn") / "job", plane)), steps=NONE)


CHANGED = {
    "10 ft section 2nd": {"[sides]": '[track]\norder = ["8 ft", "10 ft", "8 ft", "4 ft"]\n[sides]'},
    "8 in towards the start mark": {"[sides]": '[track]\nshift = "-8 in"\n[sides]'},
    "chassis ahead": {'"behind"': '"ahead"'},
    "least fill": {'kind = "level"': 'kind = "least fill"'},
}


@pytest.mark.parametrize("name", CHANGED)
def test_each_way_is_what_the_job_comes_to_if_its_file_is_changed(edge, tmp_path, name):
    plan = make_plan(load_job(changed(tmp_path, "terrace_edge", **CHANGED[name])))
    found = row(edge, name).figures
    pulled = plan.stacks.pull_list().set_index("kind")["count"]
    assert found.pieces == pulled.drop("wedge").sum()
    assert found.wedges == pulled["wedge"].sum()
    summary = plan.summary
    assert (found.largest, found.total) == pytest.approx((summary.largest, summary.total), abs=1e-9)
    assert (found.largest_tie, found.largest_side) == (summary.largest_tie, summary.largest_side)
    assert found.in_ground == summary.negative
    assert found.fill_sd == pytest.approx(plan.fills["fill_sd_m"].max(), rel=1e-9)
    assert found.grade == pytest.approx(plan.line.steepest, abs=1e-12)
    assert (found.head, found.tail) == pytest.approx((plan.run.head, plan.run.tail))
    assert found.missing == sum(one.missing for one in plan.stacks.shortages)
    assert found.stops == tuple(said(plan, one) for one in plan.advisories if one.level == "stop")
    assert found.can_be_done == plan.can_be_done


def test_the_job_as_it_is_comes_first_and_its_other_lines_follow(yard):
    assert yard.rows[0].own
    assert [choice.name for choice in yard.rows] == ["level", "grade, 0.3% down", "least fill", "follow"]
    assert [choice.own for choice in yard.rows] == [True, False, False, False]
    job = load_job(DEMO / "market_yard")
    stacked = stack_up(lay_line(job, *fit_job(job)))
    assert yard.rows[0].figures.total == pytest.approx(stacked.fills["fill_m"].clip(lower=0).sum())
    assert warnings_of(stacked) == make_plan(job).advisories


def test_the_grade_is_the_least_fills_rounded_towards_level(edge, yard):
    for found in (edge, yard):
        steepest, grade = (row(found, name).figures.grade for name in ("least fill", "grade"))
        assert math.copysign(math.floor(abs(steepest) * 1000) / 1000, steepest) == pytest.approx(grade)


def test_the_force_is_weight_times_the_sine_of_the_angle(edge):
    """m g sin(angle), 400 kg, 9.80665 m/s² (3rd CGPM, 1901)."""
    graded = row(edge, "grade").figures
    assert graded.hold_back == pytest.approx(400 * 9.80665 * math.sin(math.atan(0.022)), rel=1e-6)
    assert row(edge, "level").figures.hold_back == 0


def test_level_spares_whoever_holds_and_least_fill_the_lift(edge):
    level, least = row(edge, "level").figures, row(edge, "least fill").figures
    assert level.hold_back < least.hold_back
    assert least.total < level.total


def test_a_shift_that_the_run_cannot_take_is_a_row_with_its_reason(edge):
    choice = row(edge, "8 in towards the end mark")
    assert choice.figures is None
    assert not choice.can_be_done
    assert not choice.unbeaten
    assert "leaves the head 0' 8\" short" in choice.why


def test_marked_rows_can_be_done_and_no_row_that_can_be_done_beats_them(edge):
    table = edge.table()
    table["handled"] = table["pieces"].astype(float) + table["wedges"].astype(float)
    can = table[table["can_be_done"]]
    values, least = can[list(TOLERANCES)].to_numpy(dtype=float), np.array(list(TOLERANCES.values()))
    beaten = [
        any(((row - own) < least).all() and ((own - row) >= least).any() for row in values) for own in values
    ]
    assert (~can["unbeaten"]).tolist() == beaten
    assert not table.loc[~table["can_be_done"], "unbeaten"].any()
    assert can["unbeaten"].any()
    assert not can["unbeaten"].all()


def test_what_the_readings_say_is_not_fitted_again(edge):
    grounds = {
        id(choice.stacked.laid.ground) for choice in edge.rows if choice.figures and choice.kind != "sideways"
    }
    assert len(grounds) == 1


@pytest.mark.parametrize("offset", [-0.2, 0.2])
def test_moved_sideways_is_the_job_read_beside_the_run(tmp_path, offset):
    """Break, zones and an obstacle are where they are; a twisted surface bends by 0.2 mm along the break."""
    kinds = {"broken": True, "obstacle": True}
    here = load_job(write_job(tmp_path / "here", terrace, **kinds))
    ways, _ = ways_of(here, *fit_job(here), Steps(shifts=(), sideways=(0.2,)))
    (way,) = [way for way in ways if way.name == f"20 cm towards the {'pond' if offset > 0 else 'wall'}"]
    moved = stack_up(way.lay())
    there = load_job(write_job(tmp_path / "there", terrace, offset=offset, **kinds))
    truth = stack_up(lay_line(there, *fit_job(there)))
    for name in ("fill_m", "free_head_m", "free_tail_m", "cross_slope", "along_slope"):
        assert moved.fills[name].to_numpy() == pytest.approx(truth.fills[name].to_numpy(), abs=4e-4), name
    assert moved.fills["ground_type"].tolist() == truth.fills["ground_type"].tolist()
    assert moved.laid.line.rests_on == truth.laid.line.rests_on
    assert (moved.fills["fill_sd_m"].max()) > truth.fills["fill_sd_m"].max()


def test_an_obstacle_counts_where_the_moved_track_meets_it(tmp_path):
    """It stands 0.3 m left of the middle: farther from track that is moved 0.3 m to the right."""
    job = load_job(write_job(tmp_path / "job", plane, obstacle=True))
    ways, _ = ways_of(job, *fit_job(job), Steps(shifts=(), sideways=(0.3,)))
    rests = {way.name: way.lay().line.rests_on for way in ways}
    assert rests["level"] == rests["30 cm towards the wall"] == ("obstacle 1 (2.00 m)",)
    assert "obstacle" not in str(rests["30 cm towards the pond"])


def test_readings_given_by_tie_stay_where_they_were_read(tmp_path):
    steps = Steps(shifts=(0.1,), sideways=())
    by_station = load_job(write_job(tmp_path / "stations", plane, stations=np.arange(-1.2, 6.8, 0.4)))
    run, _ = fit_job(by_station)
    ties = run.ties["station_m"].to_numpy()
    folder = write_job(tmp_path / "ties", plane, stations=ties)
    stationed = load_job(folder)
    levels = pd.read_csv(folder / "levels.csv")
    numbers = levels["station_m"].map(dict(zip(np.round(ties, 4), run.ties["tie"], strict=True)))
    levels.drop(columns="station_m").assign(tie=numbers).to_csv(folder / "levels.csv", index=False)
    by_tie = load_job(folder)
    names = ("level", "10 cm towards the start mark", "2 m section first", "chassis ahead")
    first, second = (
        {way.name: way.lay() for way in ways_of(job, *fit_job(job), steps)[0] if way.name in names}
        for job in (stationed, by_tie)
    )
    for name in names:
        assert first[name].fills["ground_m"].to_numpy() == pytest.approx(
            second[name].fills["ground_m"].to_numpy(), abs=1e-5
        )
    moved = first["10 cm towards the start mark"].fills["station_m"] - first["level"].fills["station_m"]
    assert moved.to_numpy() == pytest.approx(-0.1)


def test_without_a_truck_pieces_are_not_weighed(lawn):
    """On a plane nothing is gained by another order of the sections."""
    assert lawn.table()["pieces"].isna().all()
    assert row(lawn, "level").unbeaten
    assert row(lawn, "follow").unbeaten
    assert not row(lawn, "2 m section first").unbeaten
    assert "There is no truck.csv" in choices_text(lawn)


def test_ways_that_the_truck_is_too_short_for_are_not_marked(tmp_path):
    folder = changed(tmp_path, "market_yard")
    truck = pd.read_csv(folder / "truck.csv")
    truck["count"] = 1
    truck.to_csv(folder / "truck.csv", index=False)
    found = compare_choices(load_job(folder))
    assert all(choice.figures.missing > 0 for choice in found.rows)
    assert not any(choice.can_be_done or choice.unbeaten for choice in found.rows)
    text = " ".join(choices_text(found).split())
    assert "None of these can be done as it stands" in text
    assert "level: STOP: the truck: the truck is short of" in text
    assert choices_listing(found).rows[0][-1].startswith(f"no: {found.rows[0].figures.missing} short, ")


def test_what_is_not_compared_is_told(yard, edge, tmp_path):
    for name in ("order", "shifted", "chassis", "sideways"):
        assert why(yard, name) == "the track lies already"
    assert why(edge, "9 other orders") == "only neighbours are swapped where there are many orders"
    folder = write_job(tmp_path / "job", plane)
    (folder / "breaks.csv").write_text("left_station_m,right_station_m\n3.77,\n", encoding="utf-8")
    job = load_job(folder)
    steps = Steps(shifts=(), sideways=(0.1, 0.5), most_orders=1)
    found = Choices(job, yard.rows, ways_of(job, *fit_job(job), steps)[1])
    assert "crosses under one side only" in why(found, "10 cm towards the wall")
    assert why(found, "50 cm towards the pond") == "nobody read so far out: 31 cm at most"
    text = choices_text(found)
    assert "Not compared: 50 cm towards the wall, 50 cm towards the pond: nobody read so far out" in text


def test_a_line_that_is_graded_already_keeps_its_grade(tmp_path):
    folder = write_job(tmp_path / "job", plane, line='kind = "grade"\ngrade = "1.55 %"')
    job = load_job(folder)
    ways = {way.name: way for way in ways_of(job, *fit_job(job), NONE)[0]}
    assert list(ways)[:4] == ["grade, 1.55% up", "level", "least fill", "follow"]
    assert ways["2 m section first"].lay().line.steepest == pytest.approx(0.0155)


def test_it_stops_between_ways_to_let_others_in():
    job = load_job(DEMO / "market_yard")
    working = choices_in_steps(job)
    names = [next(working), next(working)]
    working.close()
    assert names == ["level", "grade, 0.3% down"]


@pytest.mark.parametrize("name", ["edge", "yard"])
@pytest.mark.parametrize("width", [100, 76])
def test_the_table_keeps_to_the_page(request, name, width):
    found = request.getfixturevalue(name)
    lines = choices_text(found, width=width).split("\n")
    assert max(map(len, lines)) <= width
    listing = choices_listing(found, narrow=width < 100)
    assert len(listing.rows) == len(found.rows)
    assert {len(cells) for cells in listing.rows} == {len(listing.head)}


def test_the_words_say_what_a_mark_and_a_force_are_and_warn_of_the_slope(edge):
    text = " ".join(choices_text(edge).split())
    for part in (
        "*: no other way that can be done is as good in all of these and better in one",
        "nothing is taken off for friction",
        "CAUTION: on any grade somebody holds the dolly, from above",
        "nobody stands downhill of it on the track",
        "licensed practice come before this table",
        "Moved to a side: that ground was not read.",
        "Cannot be laid: 8 in towards the end mark",
        "(as it is)",
    ):
        assert part in text
    assert any("holds the dolly from above" in usual for usual in USUAL_CAUTIONS)


def test_figures_are_written_in_the_crews_units(edge, lawn):
    listing = choices_listing(edge)
    level = listing.rows[0]
    assert level[listing.head.index("highest")] == "8"  # 0.2018 m are 7.94 in
    assert "lb" in level[listing.head.index("holds")]
    listing = choices_listing(lawn)
    assert listing.rows[0][listing.head.index("highest")] == f"{1000 * lawn.rows[0].figures.largest:.0f}"
    assert "kg" in listing.rows[0][listing.head.index("holds")]


def test_the_chance_of_touching_is_the_one_that_a_confidence_holds_the_line_to(lawn):
    job = with_line(lawn.job, gap="0 mm", confidence="80 %")
    found = compare_choices(job, steps=Steps(shifts=(), sideways=(), most_orders=1))
    for choice in found.rows:
        assert choice.figures.touch_chance == choice.stacked.laid.line.chance_touch
        assert choice.figures.touch_chance <= 0.2


def test_nothing_is_printed_and_the_job_is_not_changed(capsys, lawn):
    job = lawn.job
    before = {field.name: getattr(job, field.name) for field in dataclasses.fields(job)}
    choices_text(compare_choices(job, steps=NONE))
    assert capsys.readouterr() == ("", "")
    assert all(getattr(job, name) is value for name, value in before.items())


def test_one_kind_of_section_has_one_order(tmp_path):
    folder = write_job(tmp_path / "job", plane)
    text = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(text.replace("count = 2", "count = 3"), encoding="utf-8")
    text = (folder / "job.toml").read_text(encoding="utf-8").replace('end_mark = "6 m"', 'end_mark = "7 m"')
    (folder / "job.toml").write_text(text, encoding="utf-8")
    job = load_job(folder)
    _, left = ways_of(job, *fit_job(job), NONE)
    assert [one.why for one in left] == ["all sections are alike"]
