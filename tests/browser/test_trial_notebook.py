"""The notebook that puts readings on trial: a reading taken out, put right, and saved by keys."""

from __future__ import annotations

from pathlib import Path

import pytest
from faults import serious_faults
from looks import SIZES, misfits, open_code, written_over
from page import open_notebook
from panel_page import Panel

ROOT = Path(__file__).parents[2]
OFF, MOVES = "How far each of", "How far the ground moves"
MISREAD = "levels.csv row 32"
AFRESH = """if panel.typed.changed:
    panel.typed.back_to_file()
    panel._show_table()
panel.set(goal="fills")
panel.set(reading="levels.csv row 32", taken=True)"""


@pytest.fixture(scope="module")
def notebook(lab, browser):
    path = lab.bring(ROOT, "notebooks/04_readings_on_trial.ipynb", "data_demo")
    with open_notebook(browser, lab, path, size=SIZES[0]) as opened:
        opened.run_all()
        yield opened


@pytest.fixture
def panel(notebook):
    """The panel with all readings of the demo job counted; the tests' own moves are by keys."""
    shown = Panel(notebook)
    shown.run(AFRESH)
    shown.wait(lambda: shown.numbers["readings that count"], lambda now: now == "56", "all readings")
    shown.wait(lambda: shown.sheet, lambda words: "a whole decimetre misread" in words, "the sheet")
    notebook.settle()
    return shown


def test_it_runs_without_a_problem_and_its_code_is_collapsed(notebook, panel):
    assert notebook.problems() == []
    assert open_code(notebook.page) == []
    assert panel.numbers["in doubt: read again"] == "1"


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_everything_has_room(notebook, panel, size):
    assert misfits(notebook, size) == []


def test_no_words_of_a_picture_lie_over_each_other_and_nobody_is_stopped(notebook, panel):
    panel.run("panel.set(taken=False)")
    panel.wait(
        lambda: [words for words, _ in panel.pictures()], lambda all_of: len(all_of) == 2, "both pictures"
    )
    assert written_over(panel.page, ".trackkit-picture svg") == []
    assert serious_faults(notebook.page, ".trackkit-panel") == []


def test_a_reading_is_taken_out_by_keys_and_the_ground_moves(panel):
    panel.choose("it is", "left out")
    panel.wait(lambda: panel.numbers.get("left out here"), lambda out: out == "1", "one left out")
    panel.wait(
        lambda: " ".join(words for words, _ in panel.pictures()),
        lambda words: MOVES in words and "8.3 cm up" in words, "the picture of what moves",
    )  # fmt: skip
    assert panel.numbers["in doubt: read again"] == "0"
    panel.wait(lambda: panel.sheet, lambda words: "No reading is in doubt" in words, "the sheet")


def test_what_may_have_happened_is_typed_into_the_table_by_keys(panel):
    assert panel.cell("rod, mm, row 32").input_value() == "1531"
    panel.body.get_by_role("button", name="Type this into the table").focus()
    panel.page.keyboard.press("Enter")
    panel.wait(lambda: panel.cell("rod, mm, row 32").input_value(), lambda rod: rod == "1431", "the rod")
    panel.wait(lambda: panel.numbers["in doubt: read again"], lambda many: many == "0", "no doubt")
    panel.wait(lambda: panel.sheet, lambda words: "is not in this job's files" in words, "word of that")
    panel.body.get_by_role("button", name="Save as a new job").focus()
    panel.page.keyboard.press("Enter")
    panel.wait(lambda: panel.sheet, lambda words: "new job boathouse_lawn_2" in words, "word of the new job")


def test_what_to_read_next_is_asked_by_keys(panel):
    panel.choose("read next, to know", "which tie end is highest")
    panel.wait(lambda: panel.sheet, lambda words: "better which tie end is highest" in words, "the readings")


def test_after_all_that_there_is_no_problem(notebook):
    assert notebook.problems() == []
