"""Tables as typed: taken from files, written back, and saved as a new job folder."""

from __future__ import annotations

import datetime
import os
import shutil

import openpyxl
import pytest
from demo_jobs import DEMO
from hypothesis import given
from hypothesis import strategies as st

from trackkit.job import load_job
from trackkit.problems import CannotDo, InputProblems, Problems
from trackkit.survey.tables import TABLE_NAMES
from trackkit.tables.cells import Limits, Source, read_cells
from trackkit.tables.typed import TypedTable, read_typed, save_copy, typed_tables

NAMES = (*TABLE_NAMES, "truck")


def workbook(path, **sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    book.save(path)
    book.close()
    return path


def csv_of(tmp_path, text, name="levels.csv"):
    (tmp_path / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    return Source(tmp_path / name)


# --- read ---------------------------------------------------------------------------------------


def test_cells_come_back_as_typed(tmp_path):
    text = "point;rod_mm;note\nA;12,50;by the gate\nB; 5' 3 1/2\";0012\n"
    table = read_typed(csv_of(tmp_path, text))
    assert table == TypedTable(
        "levels", ("point", "rod_mm", "note"), (("A", "12,50", "by the gate"), ("B", "5' 3 1/2\"", "0012"))
    )


def test_numbers_of_a_workbook_become_what_a_person_would_type(tmp_path):
    rows = [["tie", "rod_mm", "wet"], [1.0, 0.1 + 0.2, True], [2, 1234.5, None], [3, 1e-7, "48 1/2"]]
    rows.append([datetime.datetime(2024, 3, 8), datetime.datetime(2024, 3, 8, 9, 30), datetime.time(9, 30)])
    path = workbook(tmp_path / "survey.xlsx", Levels=rows)
    table = read_typed(Source(path, "Levels"))
    assert table.name == "levels"
    assert table.rows == (
        ("1", "0.3", "TRUE"),
        ("2", "1234.5"),
        ("3", "1e-07", "48 1/2"),
        ("2024-03-08", "2024-03-08 09:30:00", "09:30:00"),
    )


def test_a_blank_row_keeps_its_place_so_that_faults_fall_on_the_right_row(tmp_path):
    text = "\n\npoint,rod_mm\nA,1\n,\n\nB,oops\n"
    raw = read_cells(csv_of(tmp_path, text), Problems())
    table = read_typed(csv_of(tmp_path, text))
    assert table.header_row == raw.header_row == 3
    assert table.rows[raw.numbers[-1] - table.header_row - 1] == ("B", "oops")
    again = read_cells(csv_of(tmp_path, table.csv_bytes()), Problems())
    assert (again.header_row, again.numbers) == (raw.header_row, raw.numbers)


def test_rows_know_which_row_of_the_file_they_are(tmp_path):
    table = read_typed(csv_of(tmp_path, "\npoint,rod_mm\nA,1\n,\nB,2\n"))
    assert table.origins == (3, 4, 5)
    assert table == TypedTable("levels", table.header, table.rows, header_row=2)


def test_cells_beyond_the_header_are_kept_and_empty_columns_are_left_out(tmp_path):
    table = read_typed(csv_of(tmp_path, "point,rod_mm,,\nA,12,5,\nB,7,,\n"))
    assert table.header == ("point", "rod_mm", "")
    assert table.rows == (("A", "12", "5"), ("B", "7", ""))
    assert read_typed(csv_of(tmp_path, "point,rod_mm,\nA,12,\n")).header == ("point", "rod_mm")


def test_a_file_that_is_no_table_is_told(tmp_path):
    with pytest.raises(InputProblems, match="an empty table"):
        read_typed(csv_of(tmp_path, "\n\n"))
    with pytest.raises(InputProblems, match="no such file"):
        read_typed(Source(tmp_path / "boards.csv"))


def test_text_far_below_a_table_is_told_instead_of_making_rows_without_end(tmp_path):
    source = csv_of(tmp_path, "point,rod_mm\nA,1\n" + "\n" * 50 + "stray,\n")
    with pytest.raises(InputProblems, match="row 53: found text far below; accepted: at most 20 rows"):
        read_typed(source, limits=Limits(rows=20))


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("../levels", ("a",)), "name must be a table's name"),
        (("levels", ("a",), (), 0), "header_row counts from 1"),
        (("levels", ("a",), (("1",),), 1, (2, 3)), "origins must name a row for each of 1 rows; got 2"),
    ],
    ids=["a path for a name", "row 0", "an origin too many"],
)
def test_what_is_no_table_is_refused(arguments, message):
    with pytest.raises(ValueError, match=message):
        TypedTable(*arguments)


# --- a folder -----------------------------------------------------------------------------------


@pytest.mark.parametrize("job", ["boathouse_lawn", "market_yard", "terrace_edge"])
def test_every_table_of_a_job_folder_is_found_and_reads_back_the_same(tmp_path, job):
    tables = typed_tables(DEMO / job, NAMES)
    assert {f"{name}.csv" for name in tables} == {path.name for path in (DEMO / job).glob("*.csv")}
    for name, table in tables.items():
        assert read_typed(csv_of(tmp_path, table.csv_bytes(), f"{name}.csv")) == table


def test_tables_come_in_the_order_asked_for_and_from_workbooks_too(tmp_path):
    rows = [["point", "rod_mm"], ["A", 1234]]
    workbook(tmp_path / "survey.xlsx", boards=[["side"], ["left"]], levels=rows)
    csv_of(tmp_path, "item,kind\nhalf,box\n", "truck.csv")
    tables = typed_tables(tmp_path, ("truck", "levels", "boards", "zones"))
    assert list(tables) == ["truck", "levels", "boards"]
    assert tables["levels"].rows == (("A", "1234"),)


def test_every_table_that_cannot_be_read_is_told_at_once(tmp_path):
    csv_of(tmp_path, "", "levels.csv")
    csv_of(tmp_path, "", "boards.csv")
    with pytest.raises(InputProblems) as caught:
        typed_tables(tmp_path, NAMES)
    assert [problem.file for problem in caught.value.problems] == ["levels.csv", "boards.csv"]


# --- written ------------------------------------------------------------------------------------

VISIBLE = st.text(st.characters(exclude_categories=("C", "Zl", "Zp")), max_size=12)
ROWS = st.lists(st.lists(VISIBLE, max_size=5).map(tuple), max_size=6).map(tuple)
HEADERS = st.lists(VISIBLE, min_size=1, max_size=4).map(tuple).filter(lambda cells: "".join(cells).strip())


@given(header=HEADERS, rows=ROWS, header_row=st.integers(1, 4))
def test_whatever_is_typed_reads_back_to_the_same_cells(tmp_path_factory, header, rows, header_row):
    table = TypedTable("levels", header, rows, header_row)
    source = csv_of(tmp_path_factory.mktemp("typed"), table.csv_bytes())
    assert read_typed(source).same_as(table)


@pytest.mark.parametrize("cell", ["12,5", "5' 3 1/2\"", '"', "a;b\tc", "two\nlines", "sep=;", "-1", "½"])
def test_awkward_cells_read_back_exactly(tmp_path, cell):
    table = TypedTable("levels", ("point", "note"), ((cell, "x"), ("y", cell)))
    assert read_typed(csv_of(tmp_path, table.csv_bytes())) == table
    one = TypedTable("levels", (cell,), ((cell,),))
    assert read_typed(csv_of(tmp_path, one.csv_bytes())).rows == one.rows


def test_spaces_and_blank_ends_make_no_difference_but_a_figure_and_a_blank_row_do():
    table = TypedTable("levels", ("a", "b"), (("1", "2"), ("3", "")))
    assert table.same_as(TypedTable("levels", ("a ", "b", ""), ((" 1", "2"), ("3",), ("", ""))))
    assert not table.same_as(TypedTable("levels", ("a", "b"), (("1", "2"), ("3", "0"))))
    assert not table.same_as(TypedTable("levels", ("a", "b"), (("1", "2"), (), ("3",))))


# --- a new job folder -----------------------------------------------------------------------------


@pytest.fixture
def job(tmp_path):
    folder = tmp_path / "lawn"
    shutil.copytree(DEMO / "boathouse_lawn", folder, ignore=shutil.ignore_patterns("plan"))
    (folder / "plan").mkdir()
    (folder / "plan" / "plan.json").write_text("{}")
    return folder


def changed(table, cell, *, row=0, column="rod_mm"):
    place = table.header.index(column)
    rows = [list(cells) for cells in table.rows]
    rows[row][place] = cell
    return TypedTable(table.name, table.header, tuple(map(tuple, rows)), table.header_row)


def test_a_copy_holds_the_change_and_every_other_file_as_it_was(job):
    old = {path.name: path.read_bytes() for path in job.iterdir() if path.is_file()}
    tables = typed_tables(job, NAMES)
    levels = changed(tables["levels"], "1300,5", row=2)
    written = save_copy(job, job.parent / "second", [levels, tables["truck"]])
    new = {path.name: path.read_bytes() for path in written}
    assert set(new) == set(old)
    assert {name for name in old if new[name] != old[name]} == {"levels.csv"}
    assert typed_tables(job.parent / "second", NAMES)["levels"].same_as(levels)
    assert {path.name: path.read_bytes() for path in job.iterdir() if path.is_file()} == old
    assert sorted(path.name for path in job.parent.iterdir()) == ["lawn", "second"]


def test_a_copy_loads_as_a_job_with_the_changed_reading(job):
    levels = changed(typed_tables(job, NAMES)["levels"], "1300,5", row=2)
    save_copy(job, job.parent / "second", [levels])
    assert load_job(job.parent / "second").survey.levels["rod_m"][2] == pytest.approx(1.3005)


def test_a_copy_takes_a_table_that_was_not_there(job):
    obstacles = TypedTable("obstacles", ("station_m", "offset_m", "height_m"), (("1", "0", "0.1"),))
    written = save_copy(job, job.parent / "second", [obstacles])
    assert "obstacles.csv" in [path.name for path in written]


def test_a_changed_file_keeps_its_own_name(job):
    (job / "levels.csv").rename(job / "Levels.CSV")
    levels = changed(typed_tables(job, NAMES)["levels"], "1")
    names = [path.name for path in save_copy(job, job.parent / "second", [levels])]
    assert "Levels.CSV" in names
    assert "levels.csv" not in names


def test_nothing_that_is_there_is_written_over(job):
    for into in (job.parent / "file", job.parent / "folder", job.parent / "link"):
        {"file": lambda p: p.write_text("old"), "folder": lambda p: p.mkdir(),
         "link": lambda p: p.symlink_to("nowhere")}[into.name](into)  # fmt: skip
        with pytest.raises(CannotDo, match="is there already and is left as it is"):
            save_copy(job, into, [])
    assert (job.parent / "file").read_text() == "old"
    with pytest.raises(CannotDo, match=r"there is no folder .* make it first"):
        save_copy(job, job.parent / "no" / "second", [])


def test_a_changed_sheet_is_refused_and_an_unchanged_one_is_copied_with_its_workbook(tmp_path):
    folder = tmp_path / "job"
    folder.mkdir()
    workbook(folder / "survey.xlsx", levels=[["point", "rod_mm"], ["A", 1234]])
    levels = typed_tables(folder, NAMES)["levels"]
    with pytest.raises(CannotDo, match=r"stands in survey.xlsx, sheet levels.* save that sheet"):
        save_copy(folder, tmp_path / "second", [changed(levels, "1235")])
    assert not (tmp_path / "second").exists()
    (copied,) = save_copy(folder, tmp_path / "second", [levels])
    assert copied.read_bytes() == (folder / "survey.xlsx").read_bytes()


def test_a_disk_that_refuses_leaves_nothing_behind(job, monkeypatch):
    def full(source, target):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shutil, "copyfile", full)
    with pytest.raises(CannotDo, match=r"\(No space left on device\); nothing was saved"):
        save_copy(job, job.parent / "second", [])
    assert os.listdir(job.parent) == ["lawn"]


def test_a_folder_with_a_table_twice_is_not_copied(job):
    levels = typed_tables(job, NAMES)["levels"]
    workbook(job / "levels.xlsx", levels=[["point", "rod_mm"], ["A", 1234]])
    with pytest.raises(InputProblems, match="the table twice"):
        save_copy(job, job.parent / "second", [levels])
    assert not (job.parent / "second").exists()
