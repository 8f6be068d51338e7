"""A job with other wishes for its line, its track or its shot, and the plan in its three steps."""

import copy
import pickle

import numpy as np
import pytest
from demo_jobs import DEMO, changed

from trackkit.fitted import fit_job
from trackkit.job import load_job, with_line, with_shot, with_track
from trackkit.plan import lay_line, make_plan, plan_of, stack_up
from trackkit.problems import CannotDo, InputProblems


@pytest.fixture(scope="module")
def job():
    return load_job(DEMO / "boathouse_lawn")


@pytest.mark.parametrize(
    ("wishes", "lines"),
    [
        ({"kind": "level", "gap": "20 mm", "confidence": None}, 'kind = "level"\ngap = "20 mm"'),
        (
            {"kind": "grade", "grade": "1.5 %"},
            'kind = "grade"\ngrade = "1.5 %"\ngap = "12 mm"\nconfidence = "90 %"',
        ),
        (
            {"reference": {"tie": 7, "side": "left"}, "confidence": "80 %"},
            'kind = "level"\ngap = "12 mm"\nconfidence = "80 %"\nreference = { tie = 7, side = "left" }',
        ),
        ({"gap": None}, 'kind = "level"\nconfidence = "90 %"'),
    ],
    ids=["gap", "grade", "reference", "taken out"],
)  # fmt: skip
def test_wishes_are_what_they_would_be_in_the_file(job, tmp_path, wishes, lines):
    old = 'kind = "level"\ngap = "12 mm"\nconfidence = "90 %"'
    written = load_job(changed(tmp_path, "boathouse_lawn", **{old: lines}))
    wished = with_line(job, **wishes)
    assert wished.file.line == written.file.line
    assert wished.reference == written.reference
    assert wished.doubt == written.doubt and wished.clearance == written.clearance


def test_the_job_itself_stays_as_it_was(job):
    with_line(job, gap="99 mm")
    assert job.file.line.gap == pytest.approx(0.012)


@pytest.mark.parametrize(
    ("wishes", "told"),
    [
        ({"kind": "lvl"}, "line.kind: found 'lvl'.*did you mean 'level'"),
        ({"gap": 12}, "line.gap: found 12 has no unit"),
        ({"kind": "level", "grade": "2 %"}, "a grade for kind = .level., which has none"),
        ({"reference": {"tie": 7}}, "line.reference.side: found nothing"),
        ({"confidence": "140 %"}, "line.confidence"),
        ({"gapp": "12 mm"}, "line.gapp"),
    ],
    ids=lambda value: str(value),
)
def test_wishes_are_checked_as_the_file_is(job, wishes, told):
    with pytest.raises(InputProblems, match=told):
        with_line(job, **wishes)


def test_every_fault_is_told_at_once(job):
    with pytest.raises(InputProblems) as raised:
        with_line(job, kind="lvl", gap="12")
    assert len(raised.value.problems) == 2


def test_a_key_that_no_line_has_cannot_be_taken_out(job):
    with pytest.raises(TypeError, match="a line has no height; it has kind, grade"):
        with_line(job, height=None)


@pytest.mark.parametrize("name", ["boathouse_lawn", "market_yard", "terrace_edge"])
def test_the_steps_make_the_plan(name):
    job = load_job(DEMO / name)
    run, ground = fit_job(job)
    laid = lay_line(job, run, ground)
    plan, whole = plan_of(stack_up(laid)), make_plan(job)
    np.testing.assert_array_equal(plan.fills["fill_m"], whole.fills["fill_m"])
    np.testing.assert_array_equal(laid.fills["fill_m"], whole.fills["fill_m"])
    assert plan.text() == whole.text()


def test_one_ground_serves_line_after_line(job):
    """The ground remembers what it was asked last; an answer must not be that of another question."""
    run, ground = fit_job(job)
    wishes = [{"kind": "grade", "grade": f"{grade} %", "confidence": None} for grade in (0.5, -1.0, 2.0, 0.5)]
    served = [lay_line(with_line(job, **wish), run, ground).fills["fill_m"].to_numpy() for wish in wishes]
    fresh = [make_plan(with_line(job, **wish)).fills["fill_m"].to_numpy() for wish in wishes]
    np.testing.assert_allclose(served, fresh, atol=1e-12)


def test_an_answer_that_is_changed_by_its_asker_is_not_remembered(job):
    _, ground = fit_job(job)
    stations = np.array([0.0, 1.0, 2.0])
    before, _ = ground.height(stations, "left")
    kept = before.copy()
    before += 5.0
    np.testing.assert_array_equal(ground.height(stations, "left")[0], kept)


@pytest.mark.parametrize(
    ("end_mark", "kept", "wishes"),
    [
        ("8.18 m", 'kind = "grade"\ngrade = "10 %"', {"kind": "level", "grade": None}),
        ("8.18 m", 'kind = "level"', {"kind": "grade", "grade": "10 %"}),
        ("8.19 m", 'kind = "level"', {"kind": "grade", "grade": "-9 %"}),
    ],
)
def test_a_wish_for_another_grade_lays_the_track_out_anew(tmp_path, end_mark, kept, wishes):
    """On a slope a run needs more track: here another number of sections."""
    swap = {'end_mark = "8 m"': f'end_mark = "{end_mark}"', 'kind = "level"': kept}
    job = load_job(changed(tmp_path, "boathouse_lawn", **swap))
    wished = with_line(job, **wishes)
    served, whole = lay_line(wished, *fit_job(job)), make_plan(wished)
    assert served.line.run.sections["name"].tolist() == whole.run.sections["name"].tolist()
    assert len(fit_job(job)[0].ties) != len(whole.run.ties)
    np.testing.assert_allclose(served.fills["fill_m"], whole.fills["fill_m"], atol=1e-9)


def test_a_wish_that_needs_more_track_than_there_is_is_refused(tmp_path):
    job = load_job(changed(tmp_path, "boathouse_lawn", **{'end_mark = "8 m"': 'end_mark = "10.2 m"'}))
    steep = with_line(job, kind="grade", grade="10 %")
    with pytest.raises(CannotDo, match="not enough track"):
        lay_line(steep, *fit_job(job))


def test_a_ground_that_has_been_asked_can_be_copied(job):
    _, ground = fit_job(job)
    mean, _ = ground.height([0.0, 1.0], "left")
    for copied in (pickle.loads(pickle.dumps(ground)), copy.deepcopy(ground)):
        np.testing.assert_array_equal(copied.height([0.0, 1.0], "left")[0], mean)
        assert "heights" in vars(ground)
        assert copied.heights is not ground.heights
    np.testing.assert_array_equal(ground.mean([[0.0, "left"], [1.0, "left"]]), mean)


def test_track_and_shot_can_be_wished_for_as_in_the_job_file():
    job = load_job(DEMO / "terrace_edge")
    assert with_track(job, shift="-8 in").shift == pytest.approx(-0.2032)
    assert with_track(with_track(job, shift="-8 in"), shift=None).shift == 0
    assert with_track(job, order=["8 ft", "4 ft"]).order == ("8 ft", "4 ft")
    turned = with_shot(job, chassis_trails="ahead")
    assert turned.shot.chassis_trails == "ahead"
    assert turned.shot.end_mark == job.shot.end_mark
    assert turned.survey is job.survey


def test_wishes_that_no_job_may_have_are_refused():
    job, lying = load_job(DEMO / "terrace_edge"), load_job(DEMO / "market_yard")
    with pytest.raises(InputProblems, match="names of the sections"):
        with_track(job, order=["9 ft"])
    with pytest.raises(InputProblems, match="behind"):
        with_shot(job, chassis_trails="above")
    with pytest.raises(InputProblems, match="only with \\[shot\\]"):
        with_track(lying, shift="10 cm")
    with pytest.raises(InputProblems, match="lies already"):
        with_shot(lying, chassis_trails="ahead")
    with pytest.raises(TypeError, match="a track has no wheels"):
        with_track(job, wheels=None)
