"""The booking sheet as it is drawn: no row lost, nothing cut or too small, on both papers."""

import base64
import re
import zlib
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trackkit.show.form import EDGE, form_pages, form_pdf
from trackkit.show.form_blank import BlankForm
from trackkit.show.form_else import CHECK_ROWS
from trackkit.show.form_parts import MM, PAPERS, SMALLEST, fill_pages, grid, high, register_fonts, words
from trackkit.show.form_rods import WIDTHS, rod_lines, rod_pages
from trackkit.survey.instruments.tables import read_checks
from trackkit.survey.quality import reading_order
from trackkit.units import DISPLAYS

#: Points, 1/72 in each (PDF, ISO 32000-1, 8.3.2.3, from memory): A4 is 210 x 297 mm (ISO 216, from memory),
#: Letter 8 1/2 x 11 in.
SIZES = {"A4": (595.28, 841.89), "Letter": (612.0, 792.0)}


def blank(
    stations=13, lasers=1, *, display="cm", left="house side", right="lake side", pegs=("P1", "P2"), **own
):
    order = reading_order([i * 0.75 - 2.5 for i in range(stations)], lasers=lasers, pegs=pegs)
    rows = order.assign(row=range(2, len(order) + 2), section=0, end="", first=0)
    rows.loc[rows["why"].isin(["again", "close"]), "first"] = 2
    values = {
        "job": "Boathouse lawn", "note": "", "display": DISPLAYS[display], "rows": rows, "pegs": pegs,
        "side_names": {"left": left, "right": right}, "allowed": 0.006364, "rod_sd": 0.0015, "head": -2.35,
        "tail": 8.65, "marks": (0.0, 8.0), "width": 0.62, "phone": (0.0, 2.0),
    }  # fmt: skip
    return BlankForm(**{**values, **own})


def contents(pdf):
    """Return what every page is drawn by, unpacked."""
    packed = re.findall(
        rb"/Filter \[ /ASCII85Decode /FlateDecode \][^>]*>>\s*stream\r?\n(.*?)endstream", pdf, re.S
    )
    streams = [zlib.decompress(base64.a85decode(b"<~" + body.strip(), adobe=True)) for body in packed]
    return [stream.decode("latin-1") for stream in streams if b" Tf" in stream]


@pytest.mark.parametrize("paper", list(PAPERS))
def test_the_paper_is_the_one_asked_for_and_every_page_is_counted(paper):
    form = blank(40, 2)
    pdf, pages = form_pdf(form, paper=paper), form_pages(form, paper=paper)
    box = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", pdf)
    assert len(box) == len(pages) == int(re.search(rb"/Count (\d+)", pdf)[1])
    for wide, tall in box:
        assert (float(wide), float(tall)) == pytest.approx(SIZES[paper], abs=0.01)


def test_the_same_form_is_the_same_bytes():
    assert form_pdf(blank()) == form_pdf(blank())


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize("display", ["mm", "1/16 in"])
def test_no_letter_is_smaller_than_8_points_and_nothing_is_drawn_off_the_paper(paper, display):
    wide, tall = SIZES[paper]
    form = blank(16, 2, display=display, left="the long wall of the old orangery")
    pages = contents(form_pdf(form, paper=paper))
    assert len(pages) == len(form_pages(form, paper=paper))
    for page in pages:
        sizes = [float(size) for size in re.findall(r"/F\S+ ([\d.]+) Tf", page)]
        assert min(sizes) >= SMALLEST
        at = np.array(list(drawn_at(page)))
        assert len(at) > 20
        assert at.min() >= 6 * MM - 1  # the foot stands in half of the edge
        assert at[:, 0].max() <= wide - EDGE * MM + 2 and at[:, 1].max() <= tall - EDGE * MM + 2


def drawn_at(page):
    """Yield where on the paper lines end and words begin, through all shifts of the origin [points]."""
    origin, kept = (0.0, 0.0), []
    for line in page.replace("\nq", "\nq\n").splitlines():
        if line.strip() == "q":
            kept.append(origin)
        elif line.strip() == "Q":
            origin = kept.pop()
        moved = re.search(r"1 0 0 1 (\S+) (\S+) cm", line)
        if moved:
            origin = (origin[0] + float(moved[1]), origin[1] + float(moved[2]))
        for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+) [ml]\b", line) + re.findall(
            r"1 0 0 1 (\S+) (\S+) Tm", line
        ):
            yield origin[0] + float(x), origin[1] + float(y)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    stations=st.integers(1, 40), lasers=st.integers(1, 3), paper=st.sampled_from(list(PAPERS)),
    left=st.text(st.characters(categories=["L", "Nd", "Zs"]), min_size=1, max_size=120).filter(str.strip),
)  # fmt: skip
def test_no_row_is_lost_or_printed_twice_over_the_pages(stations, lasers, paper, left):
    form = blank(stations, min(lasers, stations), left=left)
    register_fonts()
    wide, tall = (side * MM for side in PAPERS[paper])
    pages = rod_pages(form, wide - 2 * EDGE * MM, tall - 70 * MM)
    assert [line.row for page in pages for line in page.lines] == form.rows["row"].tolist()
    assert all({line.laser for line in page.lines} == {page.laser} for page in pages)


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize(
    "form",
    [
        blank(90),
        blank(200, 3, display="1/8 in"),
        blank(
            12,
            left="the side of the very long greenhouse with the blue door " * 3,
            pegs=("gate post by the lane", "P2"),
        ),
        blank(5, job="A job with a name that runs on and on " * 6, note="Several words of a note. " * 20),
        blank(9, left="Łąka północna", right="Ελιές", job="Ж & <b>q"),
    ],
    ids=["90 stations", "200 in inches", "long landmark", "long name", "other letters"],
)
def test_every_page_holds_what_stands_on_it(form, paper):
    pages = form_pages(form, paper=paper)
    numbers = [line.row for page in pages if page.rods for line in page.rods.lines]
    assert numbers == form.rows["row"].tolist()
    wide, tall = (side * MM for side in PAPERS[paper])
    for page in pages:
        used = sum(high(flowable, wide - 2 * EDGE * MM) for part in page.parts for flowable in part)
        assert used < tall - 2 * EDGE * MM


def test_each_laser_position_begins_a_page():
    pages = [page.rods for page in form_pages(blank(6, 3)) if page.rods]
    assert [page.laser for page in pages] == ["1", "2", "3"]


def test_rod_boxes_are_large_enough_for_a_pencil():
    """At least 28 mm wide and 9 mm high (a choice)."""
    assert WIDTHS["rod"] >= 28
    page = form_pages(blank(4))[2]
    table = page.parts[0][0]
    high(table, 186 * MM)
    heights = [
        tall / MM for tall, row in zip(table._rowHeights, table._cellvalues, strict=True) if row[3] != ""
    ]
    assert len(heights) == 1 + len(page.rods.lines) and min(heights[1:]) >= 9


def test_a_row_says_place_landmark_and_what_it_is_compared_with():
    lines = rod_lines(blank(2))
    assert [line.where for line in lines[:4]] == ["P1", "P2", "−2.50 m", "−1.75 m"]
    assert (lines[0].side, lines[2].side, lines[4].side) == (
        "control peg",
        "house side (left)",
        "lake side (right)",
    )
    assert lines[2].way == "Out along the house side (left): stations grow"
    assert lines[4].way == "Back along the lake side (right): stations fall"
    assert lines[-1].check == ("less row 2,", "at most 0.6 cm") and not lines[2].check


def test_what_is_shared_says_from_where_it_was_read_before():
    lines = rod_lines(blank(4, 2))
    shared = [line.way for line in lines if "Read before" in line.way]
    assert len(shared) == 2 and all(way.endswith("from laser position 1") for way in shared)


def test_feet_and_inches_are_printed_with_their_marks_and_sections_by_number():
    assert rod_lines(blank(2, display="1/8 in"))[2].where == "−8' 2\""
    rows = blank(2, pegs=()).rows.assign(
        section=[1, 1, 1, 1, 1], end=["head", "tail", "tail", "head", "head"]
    )
    lines = rod_lines(blank(2, pegs=(), rows=rows, marks=None))
    assert [line.where for line in lines] == ["1 head", "1 tail", "1 tail", "1 head", "1 head"]
    assert lines[0].way.endswith("from the head to the tail")


@pytest.mark.parametrize(
    ("display", "allowed", "said"),
    [
        ("cm", 0.006364, "0.6 cm"),
        ("mm", 0.006364, "6 mm"),
        ("1/8 in", 0.006364, "1/4 in"),
        ("cm", 0.0004, "0.1 cm"),
    ],
)
def test_the_limit_is_rounded_down_but_never_to_nothing(display, allowed, said):
    assert blank(display=display).within(allowed) == said


def test_without_a_phone_no_angle_is_asked_for():
    said = [text(page) for page in form_pages(blank())]
    assert any("BACK" in page for page in said)
    assert not any("BACK" in text(page) for page in form_pages(replace(blank(), phone=())))


def text(page):
    """Return the words on a page, those in tables too."""
    return " ".join(words_in(flowable) for part in page.parts for flowable in part)


def words_in(flowable):
    if isinstance(flowable, list):
        return " ".join(map(words_in, flowable))
    if hasattr(flowable, "_cellvalues"):
        return " ".join(words_in(cell) for row in flowable._cellvalues for cell in row)
    return flowable if isinstance(flowable, str) else flowable.getPlainText()


@pytest.fixture(scope="module")
def whole_text():
    return " ".join(text(page) for page in form_pages(blank()))


@pytest.mark.parametrize(
    "said",
    [
        "Highest by eye",
        "A LARGER reading is LOWER ground",
        "clear of overhead lines",
        "Traffic",
        "Local codes",
        "3 x √2 x 1.5 mm",
        "A choice",
        "COPY levels_blank.csv",
        "levels.csv already",
        "check_level.csv",
        "breaks.csv",
        "obstacles.csv",
        "whatever sign the phone shows",
        "the start mark is",
        "“P1” stands",
    ],
)
def test_the_sheet_says(said, whole_text):
    assert said in whole_text


def test_the_check_of_the_level_as_it_is_asked_for_can_be_read(tmp_path):
    """Invented rods of a level without fault: all three checks come to nothing."""
    rods = {("middle", "A"): 1.500, ("middle", "B"): 1.600, ("near A", "A"): 1.400, ("near A", "B"): 1.500}
    lines = ["setup,peg,distance_m,rod_m,turned_deg"]
    for setup, peg, turned in CHECK_ROWS:
        far = 15 if setup == "middle" else 2 if (setup, peg) == ("near A", "A") else 30
        lines.append(f"{setup},{peg},{far},{rods.get((setup, peg), 1.5)},{turned.removesuffix('°')}")
    (tmp_path / "check_level.csv").write_text("\n".join(lines), encoding="utf-8")
    checks = read_checks(tmp_path).checks
    assert len(checks) == 3
    assert all(abs(check.value) < 1e-9 for check in checks)


def test_words_below_8_points_and_parts_higher_than_a_page_are_refused():
    register_fonts()
    with pytest.raises(ValueError, match="8 points or more, got 7"):
        words("small", 7)
    part = [grid([[""]], [20.0], heights=[300.0])]
    with pytest.raises(ValueError, match="300 mm high; a page has room for 200 mm"):
        fill_pages([part], 100.0, 200 * MM, gap=0.0)
