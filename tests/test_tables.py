"""One table, in any usual dress: each file is written as the programs out there write it, and read back.

What is accepted is stated by RFC 4180 (quoting in CSV), by the Unicode standard (byte order marks) and by
ECMA-376 (workbooks, made here by openpyxl); where spreadsheets have habits of their own it is said beside.
"""

from __future__ import annotations

import datetime
import os
import zipfile
from pathlib import Path

import openpyxl
import pytest

from trackkit.problems import Problems
from trackkit.tables import Column, Limits, TableSpec, Ways, empty_table, read_table

SPEC = TableSpec(
    "heights",
    (
        Column("point", "name"),
        Column("side", "choice", choices=("left", "right"), also=(("l", "left"),)),
        Column("station", "length"),
        Column("rod", "length", needed=True, least=0.0, most=50.0),
        Column("slope", "angle", units=("deg",), least=-1.0, most=1.0),
        Column("load", "mass", above=0.0),
        Column("count", "count", least=0),
        Column("factor", "number", default=1.0),
        Column("wet", "yesno", default=True),
        Column("note", "text"),
    ),
    (Ways("where it is", (("station", "side"), ("point",))),),
)
HEAD = "point,rod_mm\n"


def read(source, *, limits=None):
    problems = Problems()
    return read_table(source, SPEC, problems, limits=limits), problems


def read_text(folder: Path, text: str | bytes, **options):
    data = text if isinstance(text, bytes) else text.encode()
    (folder / "heights.csv").write_bytes(data)
    return read(folder, **options)


def read_sheets(folder: Path, name: str, **sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    book.save(folder / name)
    return read(folder)


def told(problems: Problems) -> str:
    return "\n".join(map(str, problems.found))


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
    assert not problems.found
    text, _ = read_table(tmp_path / "heights.xlsx", SPEC, Problems()), None
    assert set(frame["point"]) == set(text["point"]) == {"1"}


# --- workbooks -----------------------------------------------------------------------------------

ROWS = [["point", "rod_mm"], ["A", 1234]]


@pytest.mark.parametrize(
    ("name", "sheets"),
    [
        ("heights.xlsx", {"Sheet1": ROWS}),
        ("Heights.XLSX", {"Tabelle1": ROWS, "Tabelle2": []}),
        ("heights.xlsx", {"notes": [["buy tape"]], "Heights ": ROWS}),
        ("survey.xlsx", {"other": ROWS, "heights": ROWS}),
    ],
    ids=["one sheet", "an empty second sheet", "named sheet", "one workbook for all"],
)
def test_a_workbook_gives_the_sheet_that_fits(tmp_path, name, sheets):
    frame, problems = read_sheets(tmp_path, name, **sheets)
    assert not problems.found
    assert frame["rod_m"].tolist() == pytest.approx([1.234])
    assert frame["file"][0].startswith(f"{name}, sheet ")


@pytest.mark.parametrize(
    ("name", "sheets", "message"),
    [
        ("heights.xlsx", {"one": ROWS, "two": ROWS}, "sheets 'one', 'two'; accepted: a sheet 'heights'"),
        ("heights.xlsx", {"one": []}, "no sheet that holds anything"),
        (
            "survey.xlsx",
            {"heights": ROWS, "Heights ": ROWS},
            "sheets 'heights' and 'Heights '; accepted: one sheet",
        ),
        ("survey.xlsx", {"hieghts": ROWS}, "did you mean 'heights'. rename it"),
    ],
    ids=["none fits", "all empty", "two fit", "slip"],
)
def test_a_workbook_of_which_no_single_sheet_fits_is_a_fault(tmp_path, name, sheets, message):
    _, problems = read_sheets(tmp_path, name, **sheets)
    assert message in told(problems).replace("?", ".")


def test_formula_errors_dates_and_truths_are_told_with_their_cell(tmp_path):
    rows = [
        ["point", "rod_mm", "note"],
        ["A", "#DIV/0!", ""],
        ["B", datetime.datetime(2024, 3, 8), ""],
        ["C", True, datetime.date(2024, 3, 8)],
        [datetime.date(2024, 5, 8), 1, ""],
    ]
    frame, problems = read_sheets(tmp_path, "heights.xlsx", heights=rows)
    text = told(problems)
    assert "row 2, rod_mm: found '#DIV/0!'" in text
    assert "a formula has gone wrong here" in text
    assert "row 3, rod_mm: found 2024-03-08 00:00:00" in text
    assert "format the column as text and type it again" in text
    assert "row 4, rod_mm: found True" in text
    assert "TRUE or FALSE" in text
    assert "row 5, point: found 2024-05-08" in text
    assert len(problems.found) == 4
    assert frame["note"][2].startswith("2024-03-08")


def test_a_formula_without_a_stored_result_is_a_fault(tmp_path):
    _, problems = read_sheets(tmp_path, "heights.xlsx", heights=[["point", "rod_mm"], ["A", "=1200+34"]])
    assert "row 2: found the formula =1200+34 without its result" in told(problems)


def test_damaged_and_disguised_workbooks_are_told(tmp_path):
    (tmp_path / "heights.xlsx").write_bytes(b"PK\x03\x04 not really")
    assert "a damaged workbook" in told(read(tmp_path)[1])
    (tmp_path / "heights.xlsx").write_bytes(b"\xd0\xcf\x11\xe0 old")
    assert "an old or password-protected workbook" in told(read(tmp_path)[1])
    (tmp_path / "heights.xlsx").unlink()
    assert "a spreadsheet under the name of a text file" in told(read_text(tmp_path, b"PK\x03\x04 ...")[1])


def test_a_workbook_that_unpacks_to_more_than_the_limit_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "heights.xlsx", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b" " * 300_000)
    _, problems = read(tmp_path, limits=Limits(unpacked_bytes=200_000))
    assert "a workbook of 0 MB once unpacked; accepted: at most 0.2 MB" in told(problems)


# --- files that are refused ----------------------------------------------------------------------


def test_a_file_of_50_megabytes_is_refused_unread(tmp_path, monkeypatch):
    with (tmp_path / "heights.csv").open("wb") as file:
        file.truncate(50_000_000)

    def never(self):
        raise AssertionError("the file was read")

    monkeypatch.setattr(Path, "read_bytes", never)
    _, problems = read(tmp_path)
    assert "a file of 50 MB; accepted: a table of at most 20 MB" in told(problems)


def test_the_limits_can_be_changed(tmp_path):
    text = HEAD + "A,1\nB,2\nC,3\n"
    assert "3 rows; accepted: at most 2 rows" in told(read_text(tmp_path, text, limits=Limits(rows=2))[1])
    many = HEAD + "A,x\n" * 9
    _, problems = read_text(tmp_path, many, limits=Limits(faults=4))
    assert len(problems.found) == 5
    assert "found 5 more faults" in told(problems)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "an empty table; accepted: a header and rows"),
        (b"\n , \n", "an empty table"),
        (b"point,rod_mm\nA,\x00\x01\x02\n", "bytes that are not text"),
        (b"\x81\x8d\xff\xfe", "bytes that are not text"),
        (b"\xff\xfe\x00", "bytes that are not text"),
        (b'point,rod_mm\n"' + b"A" * 140_000, "row 2: found text that is not a table .field larger"),
        (b"point,rod_mm\nA,1\n# windy\nB,2\n", "row 3: found a comment line"),
        (b"# windy\npoint,rod_mm\nA,1\n", "row 1: found a comment line"),
        (b"point,rod_mm\nA,1,5\n", "row 2: found 3 cells; accepted: 2, as in the header"),
        (b"point,rod_mm\nA,1,5\n", "a decimal comma splits a number in two"),
        (b"point;rod_mm\nA;1;5\n", "remove what stands beyond the header"),
        (b'point,rod_mm\n"A,1\nB,2\n', "a quotation mark is opened here and not closed"),
    ],
)  # fmt: skip
def test_text_that_is_no_table_is_told_with_its_row(tmp_path, data, message):
    _, problems = read_text(tmp_path, data)
    assert message.replace(".field", "(field") in told(problems)


def test_a_table_given_twice_is_a_fault(tmp_path):
    (tmp_path / "heights.csv").write_text(HEAD + "A,1\n")
    _, problems = read_sheets(tmp_path, "heights.xlsx", any=ROWS)
    assert "the table twice: heights.csv and heights.xlsx, sheet any; accepted: each table once" in told(
        problems
    )


def test_a_table_that_is_absent_is_none_without_a_fault(tmp_path):
    (tmp_path / "readme.txt").write_text("hello")
    frame, problems = read(tmp_path)
    assert (frame, problems.found) == (None, [])


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("heights.xls", "a kind of file that is not read; accepted: heights.csv or heights.xlsx"),
        ("heights.ods", "save it as one of these"),
        ("heigths.csv", "did you mean 'heights'? rename it"),
    ],
)
def test_a_file_that_may_be_the_table_is_not_passed_over(tmp_path, name, message):
    (tmp_path / name).write_text(HEAD + "A,1\n")
    frame, problems = read(tmp_path)
    assert frame is None
    assert message in told(problems)


def test_a_copy_beside_the_table_is_only_remarked_on(tmp_path):
    (tmp_path / "heights2.csv").write_text(HEAD + "A,1\n")
    (tmp_path / "~$heights.xlsx").write_bytes(b"lock")
    (tmp_path / "._heights.csv").write_bytes(b"\x00")
    frame, problems = read_text(tmp_path, HEAD + "B,2\n")
    assert (frame["point"].tolist(), problems.found) == (["B"], [])
    assert problems.notes == ["heights2.csv: not read; the table 'heights' is heights.csv"]


def test_a_file_can_be_given_by_its_own_path_whatever_its_name(tmp_path):
    (tmp_path / "monday.csv").write_text(HEAD + "A,1\n")
    frame, problems = read(tmp_path / "monday.csv")
    assert (frame["point"].tolist(), problems.found) == (["A"], [])
    _, problems = read(tmp_path / "tuesday.csv")
    assert "tuesday.csv: found no such file; accepted: a .csv or .xlsx file" in told(problems)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_a_file_without_leave_to_read_is_told(tmp_path):
    (tmp_path / "heights.csv").write_text(HEAD)
    (tmp_path / "heights.csv").chmod(0)
    assert "a file that cannot be opened" in told(read(tmp_path)[1])


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
