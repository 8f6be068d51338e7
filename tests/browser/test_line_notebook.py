"""The notebook that lays the line, run and moved by keys."""

from __future__ import annotations

from pathlib import Path

import pytest
from faults import serious_faults
from looks import SIZES, misfits, open_code, written_over
from page import open_notebook
from panel_page import Panel

ROOT = Path(__file__).parents[2]
SIDE = "Side view"
#: How the job file has it; the tests start from there.
AS_IN_FILE = {"kind": "level", "reference": "governing", "gap": 0.012, "confidence": 0.9}
FIRST_JOB = """job = dict(panel.controls["job"].options)["boathouse_lawn"]
if panel.values["job"] != job:
    panel.set(job=job)"""
#: Keys that cut, add, move or change cells, or ask to end the kernel, wherever they reach the notebook.
LETTERS = ("a", "b", "x", "d", "d", "m", "y", "c", "v", "z", "0", "0")


@pytest.fixture(scope="module")
def notebook(lab, browser):
    path = lab.bring(ROOT, "notebooks/02_lay_the_line.ipynb", "data_demo")
    with open_notebook(browser, lab, path, size=SIZES[0]) as opened:
        opened.run_all()
        yield opened


@pytest.fixture
def panel(notebook):
    return Panel(notebook)


def start_from(panel, **wishes):
    """Put the controls where a test starts from; its own moves are by keys."""
    panel.run(FIRST_JOB)
    panel.run(f"panel.set(**{AS_IN_FILE | wishes})")
    panel.wait_worked_out()


def test_it_runs_without_a_problem_and_the_large_numbers_stand_there(notebook, panel):
    assert notebook.problems() == []
    assert panel.numbers["track needed"] == "10.80 m"
    assert panel.numbers["the truck"] == "suffices"


def test_its_code_is_collapsed_behind_plain_words(notebook):
    assert open_code(notebook.page) == []


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_everything_has_room(notebook, size):
    assert misfits(notebook, size) == []


@pytest.mark.parametrize("kind", ["level", "grade"])
def test_no_words_of_a_picture_lie_over_each_other(panel, kind):
    start_from(panel, kind=kind)
    assert written_over(panel.page, ".trackkit-picture svg") == []


def test_nothing_stops_people_who_cannot_see_or_point(notebook):
    assert serious_faults(notebook.page, ".trackkit-panel") == []
    assert serious_faults(notebook.page, ".jp-OutputArea") == []


@pytest.mark.parametrize(
    ("label", "wishes", "keys"),
    [
        ("set from", {}, ("ArrowRight", "End", "Home")),
        ("gap under the track", {}, ("ArrowLeft", "End", "Home")),
        ("grade, up towards the end", {"kind": "grade"}, ("ArrowRight", "End", "Home")),
        ("bend at a joint, at most", {"kind": "follow"}, ("ArrowLeft", "End", "Home")),
        ("sure that nothing touches", {"gap": 0.0}, ("ArrowRight", "Home", "End")),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_keys_on_a_slider_change_its_figure_the_picture_and_the_numbers(panel, label, wishes, keys):
    start_from(panel, **wishes)
    for key in keys:
        read, before = panel.reads(label), panel.seen(SIDE)
        panel.slide(label, key)
        panel.wait_changed(before)
        assert panel.reads(label) != read
        assert panel.trouble == ""


def test_the_kind_of_line_is_chosen_by_keys_and_brings_its_own_slider(panel):
    start_from(panel)
    for words, slider in (("at a grade", ["grade"]), ("straight", []), ("bent", ["bend"]), ("level", [])):
        before = panel.seen(SIDE)
        panel.choose("kind of line", words)
        panel.wait(lambda: own_sliders(panel), lambda own, wanted=slider: own == wanted, f"sliders {slider}")
        if words == "at a grade":  # of 0.0 %: as level as before
            panel.slide("grade, up towards the end", "ArrowRight", times=3)
        panel.wait_changed(before)


def own_sliders(panel):
    """Return the first word of each slider seen that only one kind of line has."""
    labels = panel.body.locator(".widget-slider .widget-label:visible").all_inner_texts()
    return [label.split(",")[0].split()[0] for label in labels if label.startswith(("grade", "bend"))]


def test_another_job_is_chosen_by_keys_and_brings_its_own_ties_and_units(panel):
    start_from(panel)
    before = panel.seen(SIDE)
    panel.choose("job", "terrace_edge")
    panel.wait(lambda: panel.numbers.get("track needed", ""), lambda one: "'" in one, "track in feet")
    panel.wait_changed(before)
    panel.slide("set from", "End")
    panel.wait(lambda: panel.reads("set from"), lambda read: read.endswith("pond"), "the last tie end, pond")


@pytest.fixture
def patient(panel):
    """A kernel that waits longer for still controls, so that a slow machine can see the time between."""
    panel.run("import trackkit.desk.panel as pattern; usual, pattern.STILL = pattern.STILL, 5.0")
    yield panel
    panel.run("pattern.STILL = usual")


def test_the_stacks_and_the_truck_come_a_moment_after_the_bars(patient):
    start_from(patient)
    patient.slide("set from", "ArrowRight")
    patient.wait(lambda: patient.waits, bool, "numbers that wait for the stacks")
    bars = patient.picture(SIDE)
    assert patient.numbers["the truck"] == "…"
    patient.wait_worked_out()
    assert patient.numbers["the truck"] not in ("…", "")
    patient.wait(lambda: patient.picture(SIDE), lambda drawn: drawn != bars, "stacks in place of bars")


def test_a_line_set_from_a_low_point_shows_ties_in_the_ground_with_a_minus(panel):
    start_from(panel, confidence=0.0)
    assert "no tie end in the ground" in panel.words(SIDE)
    before, levels = panel.seen(SIDE), len(negatives(panel))
    panel.slide("set from", "ArrowRight")  # tie 1, at the foot of the rise
    panel.wait_changed(before)
    panel.wait_worked_out()
    assert "in the ground" in panel.words(SIDE)
    assert "no tie end in the ground" not in panel.words(SIDE)
    assert len(negatives(panel)) > levels + 5
    said = [number for what, number in panel.numbers.items() if "ground" in f"{what} {number}"]
    assert said, f"no number says that ties lie in the ground: {panel.numbers}"


def negatives(panel):
    return [figure for figure in panel.figures(SIDE) if figure.strip().startswith(("-", "−"))]


def test_letters_typed_on_a_slider_leave_the_notebook_as_it_is(notebook, panel):
    cells, sources = notebook.cells_count(), panel.sources()
    for label in ("set from", "gap under the track", "sure that nothing touches"):
        for letter in LETTERS:
            notebook.press(notebook.slider(label), letter)
        at = panel.page.evaluate("document.activeElement.getAttribute('role')")
        assert at == "slider", f"after letters on {label!r} the focus is on {at!r}"
    assert notebook.cells_count() == cells
    assert panel.sources() == sources
    assert notebook.problems() == []


def test_every_slider_has_its_name_and_says_its_figure(panel):
    start_from(panel, kind="grade")
    assert panel.unnamed_sliders() == []
    panel.slide("gap under the track", "ArrowRight")
    panel.wait_worked_out()
    assert panel.unnamed_sliders() == []


def test_the_lines_for_the_job_file_follow_the_controls(panel):
    start_from(panel, kind="level")
    panel.wait(lambda: panel.sheet, lambda sheet: 'kind = "level" gap = "12 mm"' in sheet, "the level line")
    panel.choose("kind of line", "at a grade")
    panel.slide("grade, up towards the end", "ArrowRight", times=2)
    wanted = 'kind = "grade" grade = "0.2 %" gap = "12 mm"'
    panel.wait(lambda: panel.sheet[-200:], lambda sheet: wanted in sheet, wanted)


def test_a_job_that_cannot_be_read_says_why_and_the_last_good_picture_stays(notebook, panel):
    start_from(panel)
    (notebook.lab.folder / notebook.path).parents[1].joinpath("data_demo/market_yard/levels.csv").unlink()
    before = panel.picture(SIDE)
    panel.choose("job", "market_yard")
    told = panel.wait(lambda: panel.trouble, bool, "words that say why not")
    assert "market_yard" in told or "levels" in told
    assert panel.body.get_by_role("alert").is_visible()
    assert panel.picture(SIDE) == before
    panel.choose("job", "terrace_edge")
    panel.wait(lambda: panel.trouble, lambda left: not left, "no trouble with a job that can be read")
    panel.wait(lambda: panel.picture(SIDE), lambda drawn: drawn != before, "the picture of another job")
    assert notebook.problems() == []
