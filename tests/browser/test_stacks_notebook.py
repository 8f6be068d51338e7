"""The notebook that builds it: every support close up and the gap card, moved by keys."""

from __future__ import annotations

from pathlib import Path

import pytest
from faults import serious_faults
from looks import SIZES, misfits, open_code, written_over
from page import open_notebook
from panel_page import Panel

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def notebook(lab, browser):
    path = lab.bring(ROOT, "notebooks/03_build_it.ipynb", "data_demo")
    with open_notebook(browser, lab, path, size=SIZES[0]) as opened:
        opened.run_all()
        yield opened


@pytest.fixture
def panel(notebook):
    """The panel as the notebook leaves it: at the second joint, both sides."""
    shown = Panel(notebook)
    shown.run(AT_JOINT)
    notebook.settle()
    return shown


AT_JOINT = """job = dict(panel.controls["job"].options)["boathouse_lawn"]
if panel.values["job"] != job:
    panel.set(job=job)
panel.set(support="J2", side="both", view="", gap=0.075)"""


def test_it_runs_without_a_problem_and_the_large_numbers_stand_there(notebook, panel):
    assert notebook.problems() == []
    assert panel.numbers["the truck"] == "suffices"
    assert len(panel.numbers) == 3


def test_its_code_is_collapsed_behind_plain_words(notebook):
    assert open_code(notebook.page) == []


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_everything_has_room(notebook, size):
    assert misfits(notebook, size) == []


def test_no_words_of_a_picture_lie_over_each_other_at_any_support(panel):
    panel.slide("support", "Home")
    found, last = {}, None
    for _ in range(40):
        panel.notebook.settle()
        if panel.reads("support") == last:
            break
        last = panel.reads("support")
        found[last] = written_over(panel.page, ".trackkit-picture svg")
        panel.slide("support", "ArrowRight")
    assert len(found) > 10
    assert {where: over for where, over in found.items() if over} == {}


def test_nothing_stops_people_who_cannot_see_or_point(notebook):
    assert serious_faults(notebook.page, ".trackkit-panel") == []
    assert serious_faults(notebook.page, ".jp-OutputArea") == []


def test_every_slider_has_its_name_and_says_its_figure(panel):
    panel.slide("support", "ArrowRight")
    panel.notebook.settle()
    assert panel.unnamed_sliders() == []


@pytest.mark.parametrize("key", ["ArrowRight", "ArrowLeft", "Home", "End"])
def test_keys_go_from_support_to_support(panel, key):
    read, numbers, before = panel.reads("support"), panel.numbers, panel.pictures()
    panel.slide("support", key)
    panel.wait(panel.pictures, lambda now: not {*now} & {*before}, "other pictures on both sides")
    assert panel.reads("support") != read
    panel.wait(lambda: panel.numbers, lambda now: now != numbers, "other fills in large type")


def test_each_picture_is_told_with_its_fill(panel):
    fills = [number for what, number in panel.numbers.items() if what.startswith("fill")]
    told = [words for words, _ in panel.pictures()]
    assert len(fills) == len(told) == 2
    for number, words in zip(fills, told, strict=True):
        figures = [part.split()[0] for part in number.split(" and ")]
        assert "from the ground up" in words
        assert all(f"{figure} cm at tie" in words for figure in figures), f"{number!r} is not in {words!r}"


def test_one_side_is_chosen_by_keys_and_shows_one_picture(panel):
    left, right = panel.pictures()
    panel.choose("side", "house side")
    panel.wait(panel.pictures, lambda now: now == [left], "the house side alone")
    panel.choose("side", "lake side")
    panel.wait(panel.pictures, lambda now: now == [right], "the lake side alone")
    panel.choose("side", "both")
    panel.wait(panel.pictures, lambda now: now == [left, right], "both sides")


def test_it_is_looked_at_from_another_side_by_keys(panel):
    before = panel.pictures()
    for words in ("from beside the track", "along the track"):
        panel.choose("seen", words)
        panel.notebook.settle()
    seen = panel.wait(panel.pictures, lambda now: now != before, "the stacks along the track")
    assert [words for words, _ in seen] == [words for words, _ in before]
    panel.choose("seen", "from beside the track")
    panel.wait(panel.pictures, lambda now: now not in (seen, []), "the stacks from beside the track")


def test_the_gap_that_is_asked_for_is_answered_in_a_line(panel):
    assert "Into a gap of 7.5 cm:" in panel.sheet
    before = panel.pictures()
    lines = set()
    for key in ("ArrowRight", "Home", "End"):
        panel.slide("gap card: a gap of", key)
        asked = f"Into a gap of {panel.reads('gap card: a gap of')}: "
        found = panel.wait(lambda: panel.sheet, lambda sheet, asked=asked: asked in sheet, asked)
        lines.add(found.split(asked)[1].split(".")[0])
    assert len(lines) == 3
    assert panel.pictures() == before


def test_another_job_is_chosen_by_keys_and_brings_its_own_supports_and_units(panel):
    before = panel.pictures()
    panel.choose("job", "terrace_edge")
    panel.wait(lambda: panel.sheet, lambda sheet: "pond" in sheet, "the sides of another job")
    panel.wait(panel.pictures, lambda now: not {*now} & {*before}, "the stacks of another job")
    assert "in" in panel.reads("gap card: a gap of")
    assert panel.trouble == ""


def test_letters_typed_on_a_slider_leave_the_notebook_as_it_is(notebook, panel):
    cells, sources = notebook.cells_count(), panel.sources()
    for letter in ("a", "b", "x", "d", "d"):
        panel.slide("support", letter)
    assert notebook.cells_count() == cells
    assert panel.sources() == sources
    assert notebook.problems() == []
