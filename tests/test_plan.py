"""The whole chain on the demo jobs, against their stated true grounds, and the trade's facts."""

import importlib.util
import json

import numpy as np
import pandas as pd
import pytest
from demo_jobs import DEMO, changed

from trackkit.checked import check_text
from trackkit.files import csv_bytes, plan_dict, supports_frame, write_whole
from trackkit.fitted import fit_job
from trackkit.job import load_job
from trackkit.plan import make_plan
from trackkit.problems import CannotDo, InputProblems

JOBS = ("boathouse_lawn", "terrace_edge", "market_yard")


def demo_module():
    spec = importlib.util.spec_from_file_location("make_demo", DEMO / "make_demo.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


TRUE = {
    "boathouse_lawn": demo_module().boathouse_lawn,
    "terrace_edge": demo_module().terrace_edge,
    "market_yard": demo_module().market_yard,
}


@pytest.fixture(scope="module")
def plans():
    return {name: make_plan(load_job(DEMO / name)) for name in JOBS}


@pytest.mark.parametrize("name", JOBS)
def test_every_fill_holds_the_true_one_within_its_doubt(plans, name):
    """The demo's true grounds are stated; 95 % intervals, widened to a bound that chance explains."""
    plan = plans[name]
    truth = np.array([TRUE[name](s, side) for s, side in plan.run.tie_points()])
    line = plan.line.height(plan.fills["station_m"])
    known = plan.fills["ground_m"] - line
    error = (known - known.iloc[0]) - ((truth - line) - (truth - line)[0])
    sd = np.hypot(plan.fills["fill_sd_m"], plan.fills["fill_sd_m"].iloc[0]) + 0.002
    assert (np.abs(error) < 3.5 * sd).all()
    assert np.abs(error).max() < 0.03


@pytest.mark.parametrize("name", JOBS)
def test_nothing_lies_below_the_highest_ground(plans, name):
    """Level everything to the highest ground: common practice, no source."""
    plan = plans[name]
    assert plan.summary.negative == 0
    assert plan.fills["fill_m"].min() == pytest.approx(plan.line.gap, abs=1e-9)


@pytest.mark.parametrize("name", JOBS)
def test_every_support_is_filled_by_its_stack_within_the_travel_of_its_closing_piece(plans, name):
    plan = plans[name]
    assert plan.stacks.proven
    assert not plan.stacks.shortages
    assert not plan.stacks.unfillable
    for stack in plan.stacks.stacks:
        # a box that is seated level under both ties of a joint stands on their mean ground
        apart = (max(stack.fills) - min(stack.fills)) / 2
        for fill, closing in zip(stack.fills, stack.closings, strict=True):
            off = abs(stack.seat_raise + stack.height + closing.height - fill)
            assert off <= plan.job.stack_rules.snug + (apart if stack.seat else 0.0) + 1e-5
            assert closing.low - 1e-9 <= closing.height <= closing.high + 1e-9
    used = plan.stacks.pull_list()
    assert (used["count"] <= used["on_truck"]).all()


def test_the_chassis_needs_about_four_feet_behind_the_camera(plans):
    """About 4 ft of track behind the camera for the chassis: common practice, no source."""
    run = plans["terrace_edge"].run
    behind = run.shot.start_mark - run.head
    assert behind >= 4 * 0.3048
    assert run.needed == pytest.approx((22 + 4 + 1 + 1) * 0.3048 + 2 * run.shot.end_stop)


def test_a_level_line_has_one_target_for_the_whole_job(plans):
    for plan in plans.values():
        assert plan.targets.one_offset is not None
        assert np.ptp(plan.targets.table["above_control_m"]) < 1e-9


def test_the_hump_governs_although_the_far_end_looks_highest(plans):
    plan = plans["boathouse_lawn"]
    (point,) = plan.line.rests_on
    station = plan.run.tie_at(int(point.split()[1]))
    assert 5.0 < station < 7.2
    far = plan.fills["ground_m"].iloc[-2:].max()
    assert plan.fills["ground_m"].max() > far
    assert plan.governing.table["chance"].sum() == pytest.approx(1.0)


def test_the_misread_rod_is_found_when_it_is_not_left_out(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn", **{'leave_out = ["levels.csv row 32"]': ""})
    job = load_job(folder)
    _run, ground = fit_job(job)
    doubtful = ground.residuals.query("doubtful")
    assert doubtful["reading"].tolist() == ["levels.csv row 32"]
    text = check_text(job, ground)
    assert "READ AGAIN" in text
    assert "levels.csv row 32" in text


def test_left_out_readings_are_told(plans):
    assert "left out, because the job file says so: levels.csv row 32" in plans["boathouse_lawn"].text()


def test_a_break_is_not_smoothed_away(plans):
    ground = plans["terrace_edge"].ground
    module = demo_module()
    at = module.terrace_at("left")
    step = ground.height(at + 0.05, "left")[0] - ground.height(at - 0.05, "left")[0]
    true = module.terrace_edge(at + 0.05, "left") - module.terrace_edge(at - 0.05, "left")
    assert step == pytest.approx(true, abs=0.02)


def test_the_rough_in_gives_corners_in_order_and_one_rod_mark(plans):
    """The rod mark stands on the rail: the smallest reading, less the gap (here none)."""
    plan = plans["market_yard"]
    smallest = plan.job.survey.levels["rod_m"].min()
    assert plan.targets.one_rod == pytest.approx(smallest, abs=0.003)
    text = plan.text()
    corners = text[text.index("CORNERS") : text.index("SUPPORTS")].splitlines()[2:14]
    lifts = [
        float(eval(line.split("±")[0].split("  ")[-2].strip().replace(" ", "+") or "0")) for line in corners
    ]
    assert lifts == sorted(lifts)
    assert lifts[0] == 0.0


def test_the_same_input_gives_the_same_plan(plans):
    again = make_plan(load_job(DEMO / "terrace_edge"))
    assert json.dumps(plan_dict(again), default=str) == json.dumps(
        plan_dict(plans["terrace_edge"]), default=str
    )
    assert again.text() == plans["terrace_edge"].text()


def test_not_enough_track_is_said_with_what_is_missing(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn", **{'end_mark = "8 m"': 'end_mark = "13 m"'})
    with pytest.raises(CannotDo, match=r"not enough track, \d\.\d\d m short"):
        make_plan(load_job(folder))


def test_curved_track_and_mixed_gauges_are_refused(tmp_path):
    curved = changed(tmp_path, "boathouse_lawn", **{"dinged = 1": "dinged = 1\ncurved = true"})
    with pytest.raises(CannotDo, match="curved"):
        make_plan(load_job(curved))
    mixed = changed(tmp_path / "b", "boathouse_lawn", **{"dinged = 1": 'dinged = 1\ngauge = "1 m"'})
    with pytest.raises(CannotDo, match="gauge"):
        make_plan(load_job(mixed))


def test_a_reading_at_a_tie_that_does_not_exist_is_a_fault(tmp_path):
    folder = changed(
        tmp_path, "market_yard", **{'lies = ["10 ft", "8 ft", "10 ft"]': 'lies = ["10 ft", "8 ft"]'}
    )
    with pytest.raises(InputProblems, match="section 3"):
        make_plan(load_job(folder))


@pytest.mark.parametrize(
    ("kind", "extra"),
    [("least fill", ""), ("follow", ""), ("grade", 'grade = "1 %"\n')],
)
def test_every_kind_of_line_is_planned(tmp_path, kind, extra):
    folder = changed(tmp_path, "boathouse_lawn", **{'kind = "level"': f'kind = "{kind}"\n{extra}'})
    plan = make_plan(load_job(folder))
    assert plan.line.kind == kind
    assert plan.summary.negative == 0
    level = make_plan(load_job(DEMO / "boathouse_lawn"))
    if kind != "grade":
        assert plan.fills["fill_m"].sum() <= level.fills["fill_m"].sum() + 1e-9


def test_a_slope_too_steep_for_level_is_said_first(tmp_path):
    """18 m at 6 % need 1.1 m: arithmetic."""
    folder = changed(tmp_path, "market_yard", **{'gap = "0 in"': ""})
    levels = pd.read_csv(folder / "levels.csv")
    station = np.repeat(np.arange(6), 2) * 1.6
    levels["rod_in"] = 40 + station / 0.0254 * 0.11
    levels.to_csv(folder / "levels.csv", index=False)
    plan = make_plan(load_job(folder))
    assert not plan.verdict.level_ok
    first = plan.text().split("\n\n")[1]
    assert first.startswith("STOP")
    assert "grade" in first


def test_a_reference_below_the_governing_point_shows_and_counts_negative_fills(tmp_path):
    extra = '[line]\ngap = "0 in"\n[line.reference]\ntie = 14\nside = "right"\n'
    folder = changed(tmp_path, "market_yard", **{'[line]\ngap = "0 in"': extra})
    plan = make_plan(load_job(folder))
    assert plan.summary.negative == (plan.fills["fill_m"] < -1e-9).sum() > 20
    assert "IN THE GROUND" in plan.text()
    assert f"{plan.summary.negative} tie ends in the ground" in plan.text()


def test_a_support_in_a_zone_where_nothing_may_stand_is_stopped(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn")
    (folder / "zones.csv").write_text("from_m,to_m,ground,support\n-3,12,lawn,\n1.2,1.7,,no\n")
    plan = make_plan(load_job(folder))
    assert any(a.level == "stop" and "nothing may stand" in a.text for a in plan.advisories)


def test_supports_table_has_one_row_a_tie_end_and_the_stack_in_words(plans):
    table = supports_frame(plans["boathouse_lawn"])
    assert len(table) == 2 * len(plans["boathouse_lawn"].run.ties)
    assert table["stack"].notna().all()
    assert set(table["side_name"]) == {"house side", "lake side"}


@pytest.mark.parametrize("text", ["=cmd|' /C calc'!A0", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_text_that_a_spreadsheet_would_run_is_neutralised(text):
    """OWASP, CSV injection: cells that start with = + - @ tab or carriage return (from memory)."""
    written = csv_bytes(pd.DataFrame({"item": [text]})).decode()
    cell = written.split("\n", 1)[1].lstrip('"')
    assert cell.startswith("'")


def test_numbers_stay_numbers_in_csv():
    assert csv_bytes(pd.DataFrame({"fill_m": [-0.01]})) == b"fill_m\n-0.0100\n"


def test_files_are_written_whole_or_not_at_all(tmp_path):
    old = tmp_path / "a.txt"
    old.write_bytes(b"old")
    blocked = tmp_path / "b.txt"
    blocked.mkdir()
    (blocked / "in the way").write_text("")
    with pytest.raises(OSError, match=r".*"):
        write_whole({old: b"new", blocked: b"new"})
    assert old.read_bytes() == b"old"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.txt", "b.txt"]


def test_the_demo_script_makes_the_committed_tables_again(tmp_path):
    module = demo_module()
    for number, (name, make) in enumerate(
        {
            "boathouse_lawn": module.make_lawn,
            "terrace_edge": module.make_terrace,
            "market_yard": module.make_rough_in,
        }.items()
    ):
        make(tmp_path / name, np.random.default_rng([module.SEED, number]))
        for path in sorted((tmp_path / name).iterdir()):
            assert path.read_bytes() == (DEMO / name / path.name).read_bytes()


def test_an_obstacle_that_sets_the_line_is_certain_to_govern(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn")
    (folder / "obstacles.csv").write_text("station_m,offset_m,laser,rod_mm\n3,0,by the boathouse,1150\n")
    plan = make_plan(load_job(folder))
    assert [name[:11] for name in plan.line.rests_on] == ["obstacle 1 "]
    assert "another point governs: hardly any" in " ".join(plan.text().split())


def test_an_obstacle_that_lies_below_the_ground_is_said_to_be_misread(tmp_path):
    """Read right the root stands 4 cm over the lawn; with 20 cm more on the rod it lies 16 cm under it."""
    folder = changed(tmp_path, "boathouse_lawn")
    plan = make_plan(load_job(folder))
    lasers = plan.ground.lasers.set_index("laser")["height_m"]
    lawn = float(plan.ground.mean([(3.0, "left"), (3.0, "right")]).mean())
    right = 1000 * (lasers["by the boathouse"] - lawn - 0.04)
    said = []
    for rod in (right, right + 200.0):
        (folder / "obstacles.csv").write_text(
            f"station_m,offset_m,laser,rod_mm,note\n3,0,by the boathouse,{rod:.0f},root\n"
        )
        found = make_plan(load_job(folder)).advisories
        said.append([one.text for one in found if one.place == "obstacle 1 (root, 3.00 m)"])
    assert not any("below the ground" in text for text in said[0])
    assert any(text.startswith("lies 16.0 cm below the ground as it was read") for text in said[1])


def test_many_shims_under_a_low_gap_are_answered_with_a_higher_gap(tmp_path):
    """Shims that lie on a board are there for another reason than a low gap, and don't count."""
    plan = make_plan(load_job(changed(tmp_path, "market_yard")))
    bare = [stack for stack in plan.stacks.stacks if not stack.pieces]
    shims = [end for stack in bare for end in stack.closings if end.kind == "shim"]
    boarded = [stack for stack in plan.stacks.stacks if stack.pieces and stack.closing.kind == "shim"]
    assert boarded
    told = any("raise the gap, and wedges do" in advisory.text for advisory in plan.advisories)
    assert told == (len(shims) >= 6)
    assert told


def test_ties_of_a_steep_run_are_placed_again_on_the_grade_that_was_found(tmp_path):
    """Twelve metres at 8 % are 3.8 cm shorter on the level: cosine."""
    folder = changed(tmp_path, "boathouse_lawn", **{'kind = "level"': 'kind = "grade"\ngrade = "-8 %"'})
    found = make_plan(load_job(folder))
    free = changed(tmp_path / "b", "boathouse_lawn", **{'kind = "level"': 'kind = "least fill"'})
    for plan in (found, make_plan(load_job(free))):
        along = plan.run.ties["along_m"].to_numpy()
        cosine = np.cos(np.arctan(plan.line.steepest))
        np.testing.assert_allclose(plan.run.ties["station_m"], plan.run.head + along * cosine, atol=1e-6)
        assert plan.run.tail >= plan.run.needed_tail - 1e-6


def test_the_control_peg_is_the_one_that_the_job_names(tmp_path):
    folder = changed(
        tmp_path, "boathouse_lawn", **{'control = "P1"\ncheck = "P2"': 'control = "P2"\ncheck = "P1"'}
    )
    plan = make_plan(load_job(folder))
    table = plan.targets.table
    height = plan.ground.point("P2")[0]
    np.testing.assert_allclose(table["above_control_m"], table["rail_top_m"] - height, atol=1e-9)
    assert "Read P2, then P1" in plan.targets.check.text


def test_stated_roughness_is_how_far_ground_wanders_over_one_metre(tmp_path):
    """Integrated white-noise curvature wanders by sqrt(q / 3) over 1 m (theory)."""
    folder = changed(
        tmp_path, "boathouse_lawn", **{'kind = "lawn"': 'kind = "lawn"\nwander = "9 mm"\nrelief = "2 mm"'}
    )
    rough = make_plan(load_job(folder)).ground.roughness
    assert np.sqrt(rough.q_mean / 3) == pytest.approx(0.009)
    assert rough.relief == 0.002
    assert rough.estimated == ("q_twist",)


def test_a_rough_in_says_that_nothing_but_smoothness_checks_it(plans):
    texts = [advisory.text for advisory in plans["market_yard"].advisories]
    assert any("no reading checks another" in text for text in texts)
    assert not any("no reading checks another" in a.text for a in plans["boathouse_lawn"].advisories)


@pytest.mark.parametrize(
    ("extra", "message"),
    [
        ('[line.reference]\ntie = 99\nside = "left"\n', "tie 99"),
        ('[line.reference]\nrail = "1 m"\nabove = "P9"\n', "'P9'"),
    ],
)
def test_a_reference_that_does_not_exist_is_a_fault(tmp_path, extra, message):
    folder = changed(tmp_path, "boathouse_lawn", **{"[ground]": extra + "[ground]"})
    with pytest.raises(InputProblems, match=message):
        make_plan(load_job(folder))


def test_a_survey_of_one_side_is_a_fault_that_says_what_to_read(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn", **{'leave_out = ["levels.csv row 32"]': ""})
    levels = pd.read_csv(folder / "levels.csv")
    levels[levels["side"] != "right"].to_csv(folder / "levels.csv", index=False)
    (folder / "crosslevels.csv").unlink()
    with pytest.raises(InputProblems, match=r"left alone.*both sides"):
        make_plan(load_job(folder))


def test_with_stated_roughness_the_misread_rod_alone_is_named(tmp_path):
    changes = {'leave_out = ["levels.csv row 32"]': "", 'kind = "lawn"': STATED}
    job = load_job(changed(tmp_path, "boathouse_lawn", **changes))
    _run, ground = fit_job(job)
    assert ground.residuals.query("doubtful")["reading"].tolist() == ["levels.csv row 32"]
    assert "nan" not in check_text(job, ground)


STATED = 'kind = "lawn"\nwander = "15 mm"\ntwist = "4 mm"\nrelief = "2 mm"'
