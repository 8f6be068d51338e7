"""One table, in any usual dress: each file is written as the programs out there write it, and read back.

What is accepted is stated by RFC 4180 (quoting in CSV) and by the Unicode standard (byte order marks); where
spreadsheets have habits of their own it is said beside.
"""

from __future__ import annotations

import pytest
from table_cases import HEAD, SPEC, read_sheets, read_text, told

from trackkit.tables import empty_table

# --- what is read --------------------------------------------------------------------------------


def test_every_kind_of_cell_comes_back_in_si_units(tmp_path):
    text = (
        "point,side,station_ft,rod_mm,slope_deg,load_lb,count,factor,wet,note\n"
        ",L,10,1234,4.7636,10,3,,no,under the tree\nA,,,1.5,,,,2,,\n"
    )
    frame, problems = read_text(tmp_path, text)
    assert not problems.found
    first, second = frame.iloc[0], frame.iloc[1]
    assert (first["side"], first["count"], first["wet"], first["note"]) == (
        "left",
        3,
        False,
        "under the tree",
    )
    assert first["station_m"] == pytest.approx(3.048)
    assert first["rod_m"] == pytest.approx(1.234)
    assert first["slope_rad"] == pytest.approx(1 / 12, abs=2e-4)  # 1 in 12: tan and angle differ by 2e-4
    assert first["load_kg"] == pytest.approx(4.5359237)
    assert (first["factor"], second["factor"], bool(second["wet"])) == (1.0, 2.0, True)
    assert frame[["file", "row"]].values.tolist() == [["heights.csv", 2], ["heights.csv", 3]]


def test_columns_and_their_kinds_do_not_depend_on_what_the_file_holds(tmp_path):
    frame, _ = read_text(tmp_path, HEAD + "A,1\n")
    nothing, problems = read_text(tmp_path, HEAD)
    assert list(frame.columns) == list(nothing.columns) == list(empty_table(SPEC).columns)
    assert frame.dtypes.equals(nothing.dtypes)
    assert frame.dtypes.equals(empty_table(SPEC).dtypes)
    assert problems.notes == ["heights.csv: a header and no rows; read as an empty table"]


@pytest.mark.parametrize(
    "data",
    [
        "point;rod_mm\nA;1234,5\n".encode("utf-8-sig"),
        "point\trod_mm\nA\t1234,5\n".encode("utf-16"),
        "point;rod_mm\nA;1234,5\n".encode("utf-16-le"),
        "point;rod_mm\nA;1234,5\n".encode("utf-16-be"),
        b'point,rod_mm\nA,"1234,5"\n',
        b"point,rod_mm\r\nA,1234.5\r\n",
        b"point,rod_mm\rA,1234.5\r",
        b"sep=;\npoint;rod_mm\nA;1234,5\n",
        b"sep=,\r\npoint,rod_mm\r\nA,1234.5\r\n",
        b" Point , Rod_mm \n A , 1234.5 \n",
        b"POINT,Rod (mm)\nA,1234.5\n",
        b"point,rod_mm,\nA,1234.5,\n",
        b"point,rod_mm,note\nA,1234.5\n",
        b'"point","rod_mm"\n"A","1234.5"',
    ],
    ids=["utf-8 mark", "utf-16 tabs", "utf-16 le", "utf-16 be", "quoted comma", "crlf", "cr", "sep semicolon",
         "sep comma", "spaces and capitals", "unit in brackets", "trailing comma", "short row", "all quoted"],
)  # fmt: skip
def test_every_usual_dress_of_a_text_file_is_read(tmp_path, data):
    frame, problems = read_text(tmp_path, data)
    assert not problems.found
    assert frame["point"].tolist() == ["A"]
    assert frame["rod_m"].tolist() == pytest.approx([1.2345])


def test_inches_marks_need_no_quoting(tmp_path):
    frame, problems = read_text(tmp_path, 'point,rod_ft\nA,5\' 3 1/2"\nB,"5\' 3 1/2"""\n')
    assert not problems.found
    assert frame["rod_m"].tolist() == pytest.approx([1.6129, 1.6129])


def test_a_windows_code_page_is_read_and_said(tmp_path):
    frame, problems = read_text(tmp_path, "point,rod_in\nGartentür,3½\n".encode("cp1252"))
    assert frame["point"].tolist() == ["Gartentür"]
    assert frame["rod_m"].tolist() == pytest.approx([0.0889])
    assert "not UTF-8; read as Western European Windows text" in problems.notes[0]


def test_decimal_feet_are_said_once_and_whole_feet_are_not(tmp_path):
    _, problems = read_text(tmp_path, "point,rod_ft,station_ft\nA,5,\nB,5.3,\nC,5.4,\nD,5' 6\",\n")
    assert problems.notes == ["heights.csv: rod_ft 5.3 (row 3) read as decimal feet: 5 ft 3.6 in"]


def test_blank_rows_are_passed_over_and_counted_as_a_spreadsheet_counts(tmp_path):
    frame, _ = read_text(tmp_path, "\n,\npoint,rod_mm\n\nA,1\n , \n\nB,2\n")
    assert frame["row"].tolist() == [5, 8]


def test_one_and_one_point_nought_are_one_name(tmp_path):
    frame, problems = read_sheets(
        tmp_path, "heights.xlsx", any=[["point", "rod_mm"], [1, 1], [1.0, 2], ["1", 3]]
    )
    (tmp_path / "heights.xlsx").unlink()
    text, more = read_text(tmp_path, HEAD + "1,1\n1.0,2\n")
    assert not problems.found + more.found
    assert set(frame["point"]) == set(text["point"]) == {"1"}


# --- headers -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("head", "message"),
    [
        (
            "point,rod",
            "row 1, rod: found the name 'rod' without a unit; accepted: rod_m | rod_cm | rod_mm | rod_ft",
        ),
        ("point,rod_yd", "row 1, rod_yd: found the name 'rod_yd' with another unit"),
        ("point,rod_kg", "found the name 'rod_kg' with another unit"),
        ("point,rod_mm,rod_in", "'rod_mm' and 'rod_in': two units for one thing"),
        ("point,rod_mm,Rod_MM", "the column 'rod_mm' twice"),
        ("point,rod_mm,humidity", "the unknown column 'humidity'"),
        ("point,rod_mm,humidity", "remove it, or move its text to the note column"),
        ("piont,rod_mm", "the unknown column 'piont'; accepted: point | side | station_m"),
        ("piont,rod_mm", "did you mean 'point'?"),
        ("point", "no column 'rod'; accepted: rod_m | rod_cm"),
        ("rod_mm", "no columns that say where it is; accepted: station and side | point"),
        ("point,rod_mm,", "cells without a name above them (column 3)"),
        ("point|rod_mm|x", "part the columns with commas, semicolons or tabs"),
    ],
)
def test_a_header_with_a_fault_is_told_with_its_mend(tmp_path, head, message):
    _, problems = read_text(tmp_path, f"{head}\n1,2,3\n")
    assert message in told(problems)


@pytest.mark.parametrize(
    "text",
    ["piont,rod_mm\nA,1\n", "point,rod_nm\nA,1\n", "point,rod\nA,1\n", "side,statoin_m,rod_mm\nleft,2,1\n"],
)
def test_one_slip_in_a_header_is_one_fault(tmp_path, text):
    _, problems = read_text(tmp_path, text)
    assert len(problems.found) == 1, told(problems)


# --- cells ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("column", "cell", "message"),
    [
        ("rod_mm", "", "an empty cell; accepted: a length in mm, at least 0, at most 50000. → fill it in"),
        ("rod_mm", "high", "found 'high'; accepted: a length in mm"),
        ("rod_mm", "nan", "'nan' is not a number"),
        ("rod_mm", "inf", "'inf' is not a number"),
        ("rod_mm", "1_000", "'1_000' is not a number"),
        ("rod_mm", '"1,234"', "'1,234' may be 1234 or 1.234"),
        ("rod_mm", "-5", "found '-5'; accepted: a length in mm, at least 0"),
        ("rod_ft", "200", "accepted: a length in ft (5.3, 3 1/2 or 5' 3 1/2\"), at least 0, at most 164.042"),
        ("rod_mm", "99999999", "check the figure and its unit; the column is in mm"),
        ("rod_mm", "x" * 99, "is too long for a number"),
        ("slope_deg", "61", "accepted: an angle in deg, at least -57.2958, at most 57.2958"),
        ("load_kg", "0", "accepted: a mass in kg, above 0"),
        ("count", "2.5", "accepted: a whole number, at least 0. → count them again"),
        ("count", "1e12", "accepted: a whole number"),
        ("factor", "much", "accepted: a number. → 'much' is not a number"),
        ("wet", "perhaps", "accepted: yes | no. → write yes or no"),
        ("side", "lefft", "accepted: left | right. → did you mean 'left'?"),
        ("side", "up", "write left or right"),
        ("note", "#REF!", "accepted: text. → a formula has gone wrong here"),
        ("point", "#N/A", "accepted: a name. → a formula has gone wrong here"),
    ],
)
def test_a_cell_with_a_fault_is_told_with_its_place(tmp_path, column, cell, message):
    cells = {"rod_mm": "1", "point": "A"} | {column: cell}
    if column == "rod_ft":
        del cells["rod_mm"]
    _, problems = read_text(tmp_path, f"{','.join(cells)}\n{','.join(cells.values())}\n")
    faults = [fault for fault in problems.found if fault.column == column]
    assert faults, told(problems)
    assert faults[0].row == 2
    assert message in str(faults[0])


@pytest.mark.parametrize(
    ("row", "found"),
    [
        ("1,,left,1", "station and side and point"),
        ("1,,,1", None),
        (",3,,1", "station to say"),
        (",,,1", "nothing to say where it is"),
        (",,right,1", "side to say"),
    ],
)
def test_each_row_says_a_thing_in_exactly_one_way(tmp_path, row, found):
    row = "A,3,left,1" if found == "station and side and point" else row
    frame, problems = read_text(tmp_path, f"point,station_m,side,rod_mm\n{row}\n")
    assert len(frame) == 1
    if found is None:
        assert not problems.found
    else:
        names = set(found.replace(" to say where it is", "").replace(" to say", "").split(" and "))
        assert set(problems.found[0].found.split(" to say")[0].split(" and ")) == names
        assert problems.found[0].accepted == "exactly one of station and side | point"


def test_a_thousand_readings_with_one_slip_give_one_fault(tmp_path):
    rows = [f"P{i},{i}" for i in range(1, 1001)]
    rows[499] = "P500,5oo"
    frame, problems = read_text(tmp_path, HEAD + "\n".join(rows))
    assert [(fault.row, fault.found) for fault in problems.found] == [(501, "'5oo'")]
    assert frame["rod_m"].isna().sum() == 1
    assert frame["rod_m"].sum() == pytest.approx((1000 * 1001 / 2 - 500) / 1000)


@pytest.mark.parametrize(
    "text", ["point,rod_mm\nA\x1b[2J,1\n", "point,rod_mm,\x1b[2J\nA,1,2\n", "point,rod_mm\nA\u202e,1\n"]
)
def test_a_character_that_a_terminal_obeys_is_a_fault(tmp_path, text):
    _, problems = read_text(tmp_path, text)
    assert any("a character that cannot be seen (U+" in fault.found for fault in problems.found)
    assert all(str(fault).isprintable() for fault in problems.found)
