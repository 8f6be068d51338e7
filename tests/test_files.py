"""Which file holds a table, workbooks, and files that are refused: each told with its mend.

Workbooks (ECMA-376) are made here by openpyxl; the habits of spreadsheets are said beside.
"""

from __future__ import annotations

import datetime
import os
import zipfile
from pathlib import Path

import pytest
from table_cases import HEAD, read, read_sheets, read_text, told

from trackkit.tables import Limits

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
