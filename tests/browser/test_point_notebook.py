"""The notebook of the reference: what costs most, a point chosen by keys, and ways side by side."""

from __future__ import annotations

from pathlib import Path

import pytest
from faults import serious_faults
from looks import SIZES, misfits, open_code, written_over
from page import open_notebook
from panel_page import Panel

ROOT = Path(__file__).parents[2]
SIDE, LARGEST = "Side view", "Largest fill of the line set from"
AFRESH = """panel.set(kind="as asked")
panel.set(reference=panel.studied.study.planned, spare=0.0)"""


@pytest.fixture(scope="module")
def notebook(lab, browser):
    path = lab.bring(ROOT, "notebooks/05_which_point.ipynb", "data_demo")
    with open_notebook(browser, lab, path, size=SIZES[0]) as opened:
        opened.run_all()
        yield opened


@pytest.fixture
def panel(notebook):
    """The panel in the middle with the line as planned."""
    shown = Panel(notebook, 1)
    shown.run(AFRESH)
    shown.wait(lambda: shown.numbers.get("the truck"), lambda now: now == "suffices", "the line as planned")
    return shown


def test_it_runs_without_a_problem_and_its_code_is_collapsed(notebook, panel):
    assert notebook.problems() == []
    assert open_code(notebook.page) == []
    assert panel.numbers["the track touches"] == "hardly"


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_everything_has_room(notebook, panel, size):
    assert misfits(notebook, size) == []


def test_no_words_of_a_picture_lie_over_each_other_and_nobody_is_stopped(notebook, panel):
    assert written_over(panel.page, ".trackkit-picture svg") == []
    assert serious_faults(notebook.page, ".trackkit-panel") == []
    assert panel.unnamed_sliders() == []


def test_what_costs_most_leads_and_falls_with_the_gap(notebook):
    costs = Panel(notebook, 0)
    assert "WHAT REALLY GOES WRONG" in costs.sheet and "misread" in costs.sheet
    before = costs.picture("How much each cause")
    costs.slide("gap under the track", "Home")
    costs.wait(lambda: costs.picture("How much each cause"), lambda now: now != before, "another picture")
    costs.wait(lambda: costs.sheet, lambda words: "gap 0.0 cm" in words, "the table without a gap")
    assert "Most likely to cost you something" in costs.sheet


def test_the_point_by_eye_is_chosen_by_keys_and_puts_ties_in_the_ground(panel):
    assert not any("−" in figure for figure in panel.figures(SIDE) if figure != "−2" and len(figure) > 3)
    before = panel.seen(SIDE, LARGEST)
    panel.choose("line set from", "8.40 m house side, by eye")
    # each option that the keys pass is answered; the last one is waited for
    panel.wait(
        lambda: panel.reads("or from any point"),
        lambda point: point == "8.40 m house side, by eye",
        "the point",
    )
    panel.wait(lambda: set(panel.figures(SIDE)), lambda now: {"−2.8", "−3.0"} <= now, "the black figures")
    panel.wait_changed(before)
    panel.wait(lambda: panel.sheet, lambda words: "which is too low" in words, "what is lifted again")
    panel.wait(lambda: panel.numbers["the track touches"], lambda chance: chance == "surely", "the chance")


def test_any_tie_end_is_reached_by_the_slider(panel):
    before = panel.seen(SIDE)
    panel.slide("or from any point", "ArrowLeft", 2)
    panel.wait_changed(before)
    panel.wait(
        lambda: panel.sheet, lambda words: panel.reads("or from any point").split(",")[0] in words, "its row"
    )


def test_ways_to_lay_it_stand_side_by_side(notebook):
    ways = Panel(notebook, 2)
    ways.wait(lambda: ways.numbers.get("ways to lay it"), lambda many: (many or "…") != "…", "the ways")
    for words in ("level (as it is)", "least fill", "chassis ahead", "towards the lake side"):
        assert words in ways.sheet


def test_after_all_that_there_is_no_problem(notebook):
    assert notebook.problems() == []
