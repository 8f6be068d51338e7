"""The parts that panels are made of: pictures, words, controls, jobs, the first notebook's overview."""

import base64
import re
from xml.etree import ElementTree

import pytest
from demo_jobs import DEMO
from hypothesis import given, settings
from hypothesis import strategies as st

from trackkit.desk import Cautions, Overview
from trackkit.desk.asked import line_of
from trackkit.desk.controls import bends, confidences, grades, heights, nearest_option, rows_of_steps, slider
from trackkit.desk.jobs import job_choice
from trackkit.desk.picture import Picture, picture_html
from trackkit.desk.words import list_html, numbers_html, sheet_html, table_html, trouble_html
from trackkit.problems import InputProblems, Problem
from trackkit.units import DISPLAYS


def drawn(figure):
    figure.add_axes((0.1, 0.1, 0.8, 0.8)).plot([0, 1], [0, 1], gid="line")


def test_a_picture_is_svg_text_in_a_box_with_a_name():
    picture = Picture("side", (4, 2))
    picture.show(drawn, 'Side view, "1 < 2"')
    page = ElementTree.fromstring(picture.widget.value)
    assert (page.get("role"), page.get("aria-label")) == ("img", 'Side view, "1 < 2"')
    (svg,) = page
    assert svg.get("aria-hidden") == "true"
    assert svg.tag == "{http://www.w3.org/2000/svg}svg"
    assert svg.get("width") is None
    assert svg.get("viewBox") == "0 0 288 144"


def test_a_picture_that_cannot_be_drawn_leaves_the_last_one():
    picture = Picture("side", (4, 2))
    picture.show(drawn, "first")
    shown = picture.widget.value

    def fails(figure):
        raise ValueError("no ground")

    with pytest.raises(ValueError, match="no ground"):
        picture.show(fails, "second")
    assert (picture.widget.value, picture.words) == (shown, "first")


def test_a_still_picture_carries_its_svg_and_its_words():
    picture = Picture("side", (4, 2))
    assert picture.still() == ""
    picture.show(drawn, "Side view")
    found = re.fullmatch(r'<img alt="Side view" .*src="data:image/svg\+xml;base64,(.*)">', picture.still())
    assert ElementTree.fromstring(base64.b64decode(found[1])).tag.endswith("svg")


def test_every_reference_inside_a_picture_finds_its_id():
    picture = Picture("side", (4, 2))
    drawn(picture.figure)
    page = picture_html(picture.figure, "x", key="k1")
    used = re.findall(r'(?:href="#|url\(#)([^")]+)', page)
    assert used
    assert set(used) <= set(re.findall(r'\bid="([^"]+)"', page))
    assert all(name.startswith("k1-") for name in used)


@pytest.mark.parametrize(
    "page",
    [
        numbers_html([("<i>what", "<b>1")]), sheet_html(list_html("<b>", ["<i>"])),
        table_html("<b>", ["<i>"], [["<u>"]]), trouble_html(ValueError("<b>")),
    ],
    ids=["numbers", "list", "table", "trouble"],
)  # fmt: skip
def test_no_word_becomes_markup(page):
    assert not re.search(r"<[biu]>", page)
    assert "&lt;b&gt;" in page


def test_trouble_tells_every_fault():
    faults = InputProblems([Problem("levels.csv", "x", "y", row=3), Problem("truck.csv", "z", "w")])
    page = trouble_html(faults)
    assert page.count("<p>") == 3
    assert "levels.csv, row 3" in page and "truck.csv" in page


def test_nothing_to_say_is_no_sheet():
    assert sheet_html("", "") == list_html("x", []) == numbers_html([]) == ""


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (heights([0.0, 0.012], DISPLAYS["cm"]), ["0.0 cm", "1.2 cm"]),
        (heights([0.0127], DISPLAYS["1/8 in"]), ["1/2 in"]),
        (grades([-0.015, 0.0, 0.02]), ["-1.5 %", "0.0 %", "+2.0 %"]),
        (grades([0.015, 0.0154, 0.016]), ["+1.5 %", "+1.54 %", "+1.6 %"]),
        (grades([-0.00001, 0.0, -0.0]), ["-0.001 %", "0.0 %"]),
        (bends([0.0, 0.003, 0.00301], DISPLAYS["cm"]), ["0.0 mm in 1 m", "3.0 mm in 1 m", "3.01 mm in 1 m"]),
        (bends([0.0005, 0.003], DISPLAYS["1/8 in"]), ["0.06 in in 10 ft", "0.36 in in 10 ft"]),
        (confidences([0.9, 0.99, 0.9951, 0.9996]), ["90%", "99%", "99.5%", "99.96%"]),
    ],
)
def test_options_are_said_in_the_crew_s_unit(options, words):
    assert [word for word, _ in options] == words


@settings(deadline=None)
@given(st.lists(st.floats(-0.1, 0.1), max_size=6))
def test_no_two_stops_of_a_slider_read_the_same(own):
    own = [round(value, 7) for value in own]
    for found in (
        grades(rows_of_steps(-0.1, 0.1, 0.001, *own)),
        bends(rows_of_steps(0.0, 0.01, 0.0005, *map(abs, own)), DISPLAYS["1/8 in"]),
        confidences([0.9, 0.99, *(1.0 - abs(value) / 10 for value in own if value)]),
    ):
        words = [word for word, _ in found]
        assert len(set(words)) == len(words)
        assert "100%" not in words


def test_a_number_that_is_off_by_rounding_finds_its_option():
    control = slider("gap", [("a", 0.1), ("b", 0.3)], 0.1)
    assert nearest_option(control, 0.1 + 0.2) == 0.3
    assert nearest_option(control, 0.29) == 0.29
    assert nearest_option(control, "0.3") == "0.3"


def test_wishes_leave_out_what_the_kind_has_not():
    values = {
        "kind": "level",
        "reference": "governing",
        "gap": 0.0,
        "grade": 0.02,
        "bend": 0.003,
        "confidence": 0.0,
    }
    wishes = line_of(values)
    assert wishes["grade"] is wishes["bend_limit"] is wishes["confidence"] is wishes["reference"] is None
    assert wishes["gap"] == "0 mm"


def test_the_jobs_beside_a_job_are_offered():
    control = job_choice(DEMO / "boathouse_lawn")
    assert {"boathouse_lawn", "market_yard", "terrace_edge"} <= {word for word, _ in control.options}
    assert control.value == str((DEMO / "boathouse_lawn").resolve())


def test_a_job_that_is_not_there_is_refused():
    with pytest.raises(InputProblems, match="no such folder"):
        job_choice(DEMO.parent / "nowhere" / "at_all")


def test_the_overview_and_the_cautions_need_no_kernel():
    bundle = Overview(DEMO / "boathouse_lawn")._repr_mimebundle_()
    assert "largest fill, at tie 6 lake side: 21.3 cm" in bundle["text/plain"]
    assert bundle["text/html"].startswith("<img alt=")
    assert "fingers never between rail, tie and box" in Cautions()._repr_mimebundle_()["text/html"]
