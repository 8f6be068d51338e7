"""The table to type into, without a browser: text goes in and out unchanged, faults land on their cells."""

from __future__ import annotations

from dataclasses import replace

import pytest
from demo_jobs import DEMO

from trackkit.desk.table import EntryTable, fault_words, label_of
from trackkit.problems import Problem, Problems
from trackkit.survey.tables import TABLE_NAMES, table_specs
from trackkit.tables import read_table
from trackkit.tables.cells import Source
from trackkit.tables.typed import TypedTable, typed_tables

LEVELS = TypedTable(
    "levels", ("tie", "side", "rod_mm"), (("1", "left", "1234,5"), ("1", "right", "5' 3 1/2\""), (), ("2",))
)


def places(entry):
    return [(fault["row"], fault["column"]) for fault in entry.faults]


def fault(**place):
    return Problem(place.pop("file", "levels.csv"), "'abc'", "a length in mm", "type it again", **place)


@pytest.mark.parametrize("job", ["boathouse_lawn", "market_yard", "terrace_edge"])
def test_a_table_comes_out_as_it_went_in(job):
    for table in typed_tables(DEMO / job, (*TABLE_NAMES, "truck")).values():
        assert EntryTable.of(table).table.same_as(table)


def test_rows_are_filled_up_to_the_header_and_keep_their_numbers():
    entry = EntryTable.of(LEVELS)
    assert entry.rows[2:] == [["", "", ""], ["2", "", ""]]
    assert entry.first_row == 2
    assert EntryTable.of(TypedTable("levels", ("tie",), (("1",),), header_row=3)).first_row == 4


def test_an_empty_table_has_a_row_to_type_into_that_is_no_reading():
    entry = EntryTable.of(TypedTable("levels", ("tie", "rod_mm")))
    assert entry.rows == [["", ""]]
    assert entry.table.rows == ()


def test_cells_beyond_the_header_are_shown_and_not_lost():
    entry = EntryTable.of(TypedTable("levels", ("tie", "rod_mm"), (("1", "12", "5"), ("2", "7"))))
    assert [column["label"] for column in entry.columns] == ["tie", "rod, mm", "column 3, no name"]
    assert entry.table.rows == (("1", "12", "5"), ("2", "7"))
    assert entry.table.header == ("tie", "rod_mm")


def test_columns_have_words_choices_and_tell_which_row_it_is():
    entry = EntryTable.of(LEVELS, choices={"side": ("left", "right")}, caption="Rod readings")
    tie, side, rod = entry.columns
    assert (tie["tells"], side["tells"], rod["tells"]) == (True, True, False)
    assert (tie["choices"], side["choices"]) == ([], ["left", "right"])
    assert (rod["name"], rod["label"], entry.caption) == ("rod_mm", "rod, mm", "Rod readings")


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("rod_mm", "rod, mm"),
        ("to_station_ft", "to station, ft"),
        ("grade_pct", "grade, per cent"),
        ("Slope (deg)", "Slope, degrees"),
        ("mass_kg", "mass, kg"),
        ("side", "side"),
        ("in", "in"),
    ],
)
def test_a_header_is_told_in_words_with_its_unit(name, label):
    assert label_of(name) == label


def test_faults_land_on_the_cell_by_row_number_and_column():
    entry = EntryTable.of(LEVELS)
    entry.show_problems([fault(row=5, column="rod_mm"), fault(row=3, column="side"), fault(row=2)])
    assert places(entry) == [(0, -1), (1, 1), (3, 2)]
    assert entry.faults[2]["text"] == "Found 'abc'. Accepted: a length in mm. Type it again."
    assert entry.notice == "3 faults to mend, marked !"


def test_faults_follow_the_numbers_of_a_table_that_begins_further_down():
    entry = EntryTable.of(TypedTable("levels", ("tie", "rod_mm"), (("1", "2"), ("3", "x")), header_row=3))
    entry.show_problems([fault(row=5, column="rod_mm"), fault(row=3, column="rod_mm")])
    assert places(entry) == [(1, 1)]
    assert len(entry.header_faults) == 1


def test_faults_of_the_header_and_of_no_row_stand_above_with_their_column():
    entry = EntryTable.of(LEVELS)
    entry.show_problems([fault(row=1, column="rod_nm"), fault(), fault(row=99)])
    assert entry.faults == []
    assert entry.header_faults[0] == "rod_nm: Found 'abc'. Accepted: a length in mm. Type it again."
    assert len(entry.header_faults) == 3


def test_a_fault_in_an_unknown_column_is_told_of_the_row_with_its_column():
    entry = EntryTable.of(LEVELS)
    entry.show_problems([fault(row=2, column="drop_mm")])
    assert places(entry) == [(0, -1)]
    assert entry.faults[0]["text"].startswith("drop_mm: Found")


def test_faults_of_other_files_are_passed_over_and_old_ones_go():
    entry = EntryTable.of(LEVELS)
    entry.show_problems([fault(row=2, column="rod_mm")])
    entry.show_problems([fault(file="boards.csv", row=2, column="rod_mm")])
    assert (entry.faults, entry.notice) == ([], "No fault is left.")
    entry.show_problems([fault(file="survey.xlsx, sheet levels", row=2)], file="survey.xlsx, sheet levels")
    assert (places(entry), entry.notice) == ([(0, -1)], "1 fault to mend, marked !")


def test_a_notice_stays_while_the_number_of_faults_is_the_same():
    entry = EntryTable.of(LEVELS)
    entry.show_problems([fault(row=2)])
    entry.notice = "Row 5 removed."
    entry.show_problems([fault(row=3)])
    assert entry.notice == "Row 5 removed."


def test_what_is_said_ends_as_a_sentence_and_shows_what_cannot_be_seen():
    problem = Problem("levels.csv", "'a\x1b'", "a name", "did you mean 'rod_mm'?", row=1)
    assert fault_words(problem, named=True) == "Found 'a\\x1b'. Accepted: a name. Did you mean 'rod_mm'?"


def test_python_hears_of_a_change_with_the_text_as_typed():
    entry, heard = EntryTable.of(LEVELS), []
    entry.on_rows(heard.append)
    entry.rows = [["1", "left", " 12,50 "], *entry.rows[1:]]
    assert [table.rows[0][2] for table in heard] == [" 12,50 "]
    assert heard[0].header == LEVELS.header


FROM_FILE = replace(LEVELS, origins=(2, 3, 4, 5))


def test_rows_keep_their_origins_in_and_out():
    entry = EntryTable.of(FROM_FILE)
    assert (entry.origins, entry.table.origins) == ([2, 3, 4, 5], (2, 3, 4, 5))
    assert EntryTable.of(LEVELS).table.origins is None
    assert EntryTable.of(TypedTable("levels", ("tie",))).origins == [0]


def test_blank_rows_at_the_end_go_with_their_origins():
    entry = EntryTable.of(FROM_FILE)
    entry.rows = [*entry.rows[:3], ["", "", ""]]
    assert (len(entry.table.rows), entry.table.origins) == (2, (2, 3))


def test_rows_and_origins_of_one_message_are_told_of_once():
    entry, heard = EntryTable.of(FROM_FILE), []
    entry.on_rows(heard.append)
    entry.set_state({"origins": [2, 4, 5, 0], "rows": [*entry.rows[:1], *entry.rows[2:], ["3", "", ""]]})
    assert [table.origins for table in heard] == [(2, 4, 5, 0)]
    entry.set_state({"origins": [2, 4, 0, 0]})
    assert heard[-1].origins == (2, 4, 0, 0)
    assert len(heard) == 2


def test_rows_set_alone_keep_origins_where_they_stand_and_lose_them_where_one_came_or_went():
    entry, heard = EntryTable.of(FROM_FILE), []
    entry.on_rows(heard.append)
    entry.rows = [["1", "left", "7"], *entry.rows[1:]]
    assert heard[-1].origins == (2, 3, 4, 5)
    entry.rows = entry.rows[1:]
    assert (entry.origins, heard[-1].origins) == ([], None)
    entry.rows = [*entry.rows, ["9", "", ""]]
    assert heard[-1].origins is None
    assert len(heard) == 3


def test_another_table_takes_the_place_of_the_old_with_its_faults_gone():
    entry = EntryTable.of(LEVELS, choices={"side": ("left", "right")})
    entry.show_problems([fault(row=2), fault()])
    boards = TypedTable("boards", ("side", "angle_deg"), (("left", "1,5"),))
    entry.show_table(boards)
    assert (entry.faults, entry.header_faults, entry.notice, entry.caption) == ([], [], "", "boards")
    assert entry.columns[0]["choices"] == ["left", "right"]
    assert entry.table == boards


def test_what_is_typed_is_judged_by_the_code_that_reads_files(tmp_path):
    entry = EntryTable.of(LEVELS)
    entry.rows = [["1", "left", "12,x"], ["1", "middle", "1200"], ["", "", ""], ["2", "left", "1300"]]
    (tmp_path / "levels.csv").write_bytes(entry.table.csv_bytes())
    problems = Problems()
    read_table(Source(tmp_path / "levels.csv"), table_specs()["levels"], problems)
    entry.show_problems(problems.found)
    assert places(entry) == [(0, 2), (1, 1)]
    assert entry.header_faults == []
