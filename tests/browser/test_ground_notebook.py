"""The notebook that reads the ground: typed into, pasted into and saved by keys."""

from __future__ import annotations

from pathlib import Path

import pytest
from faults import serious_faults
from looks import SIZES, misfits, open_code, written_over
from page import open_notebook
from panel_page import Panel

ROOT = Path(__file__).parents[2]
PROFILE, OFF = "The ground as read", "How far each of"
#: A rod that boards and neighbours check: row 11 of the file, as it stands there and a decimetre off.
ROD, READ, WRONG = "rod, mm, row 11", "1450", "1550"


@pytest.fixture(scope="module")
def notebook(lab, browser):
    path = lab.bring(ROOT, "notebooks/01_read_the_ground.ipynb", "data_demo")
    with open_notebook(browser, lab, path, size=SIZES[0]) as opened:
        opened.page.context.grant_permissions(["clipboard-read", "clipboard-write"])
        opened.run_all()
        yield opened


@pytest.fixture
def panel(notebook):
    """The panel with the tables as they stand in the files; the tests' own moves are by keys."""
    shown = Panel(notebook)
    shown.run(AFRESH)
    shown.wait(lambda: (shown.numbers["readings"], shown.trouble), lambda now: now == ("55", ""), "the job")
    notebook.settle()
    return shown


#: Only what a test moved is put back: an answer takes a second.
AFRESH = """job = dict(panel.controls["job"].options)["boathouse_lawn"]
if panel.values["job"] != job:
    panel.set(job=job)
if panel.typed.changed:
    panel.typed.back_to_file()
    panel._show_table()
    panel._answer(frozenset(["rows"]))
    panel._settle_now()
for name, value in {"table": "levels", "counted": False}.items():
    if panel.values[name] != value:
        panel.set(**{name: value})"""


@pytest.fixture(scope="module")
def jobs(notebook):
    """The folder of the demo jobs that the notebook reads."""
    return (notebook.lab.folder / notebook.path).parents[1] / "data_demo"


def files(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def test_it_runs_without_a_problem_and_the_large_numbers_stand_there(notebook, panel):
    assert notebook.problems() == []
    assert panel.numbers["readings"] == "55"
    assert panel.numbers["in doubt: read again"] == "0"


def test_its_code_is_collapsed_behind_plain_words(notebook):
    assert open_code(notebook.page) == []


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_everything_has_room(notebook, size):
    assert misfits(notebook, size) == []


def test_no_words_of_a_picture_lie_over_each_other(panel):
    assert written_over(panel.page, ".trackkit-picture svg") == []


def test_nothing_stops_people_who_cannot_see_or_point(notebook):
    assert serious_faults(notebook.page, ".trackkit-panel") == []
    assert serious_faults(notebook.page, ".jp-OutputArea") == []


def test_another_job_is_chosen_by_keys(panel):
    before = panel.seen(PROFILE, OFF)
    panel.choose("job", "terrace_edge")
    panel.wait(lambda: panel.words(PROFILE), lambda words: "pond" in words, "the ground along the pond")
    panel.wait_changed(before)
    assert panel.cell("rod, ft, row 4").input_value() == "4' 10 3/8\""


def test_another_table_is_chosen_by_keys(panel):
    assert panel.cell("rod, mm, row 2").input_value() == "1348"
    panel.choose("table", "truck")
    panel.wait(lambda: panel.cell("item, row 2").count(), bool, "the truck's first item")
    assert panel.cell("item, row 2").input_value() == "full"
    assert panel.cell("rod, mm, row 2").count() == 0


def test_readings_that_the_job_leaves_out_are_counted_by_keys(panel):
    before = panel.seen(PROFILE, OFF)
    panel.choose("readings left out in the job file", "counted")
    panel.wait_changed(before)
    assert panel.numbers["readings"] == "56"


def test_a_rod_typed_a_decimetre_off_is_named_as_doubtful(panel):
    assert panel.cell(ROD).input_value() == READ
    before = panel.seen(PROFILE, OFF)
    panel.type_into(ROD, WRONG)
    panel.wait_changed(before)
    assert panel.numbers["in doubt: read again"] != "0"
    assert "levels.csv row 11" in panel.words(OFF)
    panel.wait(lambda: panel.sheet, lambda words: "row 11" in words, "row 11 in the words below")
    panel.type_into(ROD, READ)
    panel.wait(lambda: panel.seen(PROFILE, OFF), lambda now: now == before, "all as before the mistake")


def test_a_word_for_a_rod_is_marked_told_and_mended_in_its_cell(panel):
    before = panel.seen(PROFILE, OFF)
    cell = panel.cell(ROD)
    panel.type_into(ROD, "abc")
    panel.wait(lambda: cell.get_attribute("aria-invalid"), lambda mark: mark == "true", "the cell marked")
    reason = panel.page.locator(f"[id='{cell.get_attribute('aria-describedby')}']")
    assert "Found 'abc'" in reason.inner_text()
    assert cell.input_value() == "abc"
    told = panel.wait(lambda: panel.trouble, bool, "words that say what is wrong")
    assert "abc" in told and "row 11" in told
    assert panel.body.get_by_role("alert").is_visible()
    assert panel.seen(PROFILE, OFF) == before
    panel.type_into(ROD, READ)
    panel.wait(lambda: panel.trouble, lambda left: not left, "no trouble once it is mended")
    assert cell.get_attribute("aria-invalid") is None
    assert reason.count() == 0


def test_a_column_of_rods_is_pasted(panel):
    before = panel.seen(PROFILE, OFF)
    olds = [int(panel.cell(f"rod, mm, row {row}").input_value()) for row in (8, 9, 10)]
    column = "\n".join(f"{old + more}" for old, more in zip(olds, (3, -2, 4), strict=True))
    panel.page.evaluate("text => navigator.clipboard.writeText(text)", column)
    panel.cell("rod, mm, row 8").focus()
    panel.page.keyboard.press("Control+v")
    panel.wait(lambda: panel.picture(PROFILE), lambda drawn: drawn != before[PROFILE], "another ground")
    panel.wait(lambda: panel.picture(OFF), lambda drawn: drawn != before[OFF], "other residuals")
    assert "\n".join(panel.cell(f"rod, mm, row {row}").input_value() for row in (8, 9, 10)) == column
    assert panel.page.locator(".trackkit-entry-notice").inner_text() == "Pasted rows 8 to 10."


def test_the_truck_s_table_takes_no_negative_count(panel):
    panel.choose("table", "truck")
    panel.wait(lambda: panel.cell("count, row 2").count(), bool, "the truck's first count")
    panel.type_into("count, row 2", "-3")
    mark = panel.wait(lambda: panel.cell("count, row 2").get_attribute("aria-invalid"), bool, "a marked cell")
    assert mark == "true"
    panel.wait(lambda: panel.trouble, lambda told: "-3" in told, "words that name the count")
    panel.type_into("count, row 2", "8")
    panel.wait(lambda: panel.trouble, lambda left: not left, "no trouble once it is mended")


def test_saving_writes_what_was_typed_into_a_new_job_each_time_and_leaves_the_old_one(panel, jobs):
    as_they_were = {job.name: files(job) for job in (ROOT / "data_demo").iterdir() if job.is_dir()}
    before = panel.seen(OFF)
    panel.type_into(ROD, WRONG)
    panel.wait_changed(before)
    for name, key in (("boathouse_lawn_2", "Enter"), ("boathouse_lawn_3", "Space")):
        panel.body.get_by_role("button", name="Save as a new job").focus()
        panel.page.keyboard.press(key)
        panel.wait(
            lambda: panel.sheet, lambda words, name=name: f"new job {name}" in words, f"word of {name}"
        )
        line = (jobs / name / "levels.csv").read_text(encoding="utf-8").splitlines()[10]
        assert WRONG in line.split(","), f"row 11 of {name} is {line!r}"
        same = files(jobs / name) | {"levels.csv": b""}
        assert same == as_they_were["boathouse_lawn"] | {"levels.csv": b""}
    for name, content in as_they_were.items():
        assert files(jobs / name) == content, f"the files of {name} have changed"


def test_after_all_that_there_is_no_problem(notebook):
    assert notebook.problems() == []
