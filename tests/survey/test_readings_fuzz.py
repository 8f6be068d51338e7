"""Whatever stands in the files, the reader gives a survey or `InputProblems`, and nothing else."""

from __future__ import annotations

import csv
import datetime
import io
import math
import tempfile
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trackkit.problems import InputProblems, Problem
from trackkit.survey.readings import Survey, read_survey
from trackkit.survey.tables import LOG_TABLES, TABLE_NAMES, log_spec, table_specs

QUICK = settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])

NAMES = sorted(
    {
        name
        for spec in (*table_specs().values(), log_spec())
        for column in spec.columns
        for name in column.written
    }
)
JUNK = st.sampled_from(
    [
        "",
        " ",
        "1",
        "-1",
        "1,5",
        "1.234,5",
        "5' 3 1/2\"",
        "3½",
        "nan",
        "inf",
        "1e999",
        "#N/A",
        "left",
        "L",
        "lft",
        "ahead",
        "rail",
        "head",
        "yes",
        "A",
        "a",
        "1.0",
        "\n",
        '"',
        "'",
        "=1+1",
        "9" * 400,
        "1_0",
        "−2",
        "٣",
        "\ufeff",
        "é",
    ]
)
CELL = JUNK | st.text(st.characters(exclude_categories=["Cs"]), max_size=8) | st.floats().map(str)


def check(folder: Path) -> None:
    """Read the folder; what comes back must be whole, what is raised must say where."""
    told: tuple[Problem, ...] = ()
    survey = Survey()
    try:
        survey = read_survey(folder)
    except InputProblems as error:
        told = error.problems
    assert all(problem.file and problem.found and problem.accepted for problem in told)
    assert told or len(survey.levels) + len(survey.boards) + len(survey.crosslevels) + len(survey.differences)
    rods = survey.levels["rod_m"].to_numpy()
    assert np.isfinite(rods).all()
    assert (rods >= 0).all()
    assert set(survey.levels["side"]) <= {"left", "right", ""}
    assert all(math.isfinite(station) for station in survey.boards["station_m"])


@QUICK
@given(
    st.binary(max_size=400), st.sampled_from((*TABLE_NAMES, *LOG_TABLES)), st.sampled_from([".csv", ".xlsx"])
)
def test_random_bytes_never_escape(data, name, ending):
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / f"{name}{ending}").write_bytes(data)
        check(Path(folder))


@QUICK
@given(
    st.sampled_from((*TABLE_NAMES, *LOG_TABLES)),
    st.lists(st.sampled_from(NAMES) | CELL, min_size=1, max_size=7),
    st.lists(st.lists(CELL, max_size=8), max_size=5),
    st.sampled_from(",;\t"),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le"]),
)
def test_random_cells_in_a_text_file_never_escape(name, header, rows, separator, encoding):
    text = io.StringIO()
    csv.writer(text, delimiter=separator).writerows([header, *rows])
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / f"{name}.csv").write_bytes(text.getvalue().encode(encoding))
        check(Path(folder))


@QUICK
@given(st.lists(st.tuples(CELL, CELL, CELL, CELL), max_size=6))
def test_random_cells_under_a_right_header_never_escape(rows):
    text = io.StringIO()
    csv.writer(text).writerows([["laser", "station_ft", "side", "rod_ft"], *rows])
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "levels.csv").write_text(text.getvalue(), encoding="utf-8", newline="")
        check(Path(folder))


EXCEL = (
    JUNK.filter(lambda text: text.isprintable())
    | st.none()
    | st.booleans()
    | st.integers(-(10**20), 10**20)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.datetimes(datetime.datetime(1950, 1, 1), datetime.datetime(2100, 1, 1))
    | st.times()
    | st.timedeltas(datetime.timedelta(0), datetime.timedelta(9))
    | st.sampled_from(["#DIV/0!", "=A1*2", "#NAME?"])
)


@settings(QUICK, max_examples=40)
@given(
    st.sampled_from((*TABLE_NAMES, *LOG_TABLES)),
    st.lists(st.sampled_from(NAMES) | EXCEL, min_size=1, max_size=6),
    st.lists(st.lists(EXCEL, max_size=7), max_size=4),
)
def test_random_cells_in_a_workbook_never_escape(name, header, rows):
    book = openpyxl.Workbook()
    book.active.title = name
    for row in [header, *rows]:
        book.active.append(row)
    with tempfile.TemporaryDirectory() as folder:
        book.save(Path(folder) / "survey.xlsx")
        check(Path(folder))


SHARE = st.floats(0, 1, exclude_max=True)


@settings(QUICK, max_examples=60)
@given(st.lists(st.tuples(SHARE, st.integers(0, 255)), min_size=1, max_size=30), SHARE | st.just(1.0))
def test_a_workbook_with_broken_bytes_never_escapes(changes, kept):
    book = openpyxl.Workbook()
    for row in [["laser", "station_m", "side", "rod_mm"], [1, 0, "left", 1200]]:
        book.active.append(row)
    packed = io.BytesIO()
    book.save(packed)
    broken = bytearray(packed.getvalue())
    for share, byte in changes:
        broken[int(share * len(broken))] = byte
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "levels.xlsx").write_bytes(bytes(broken[: int(kept * len(broken))]))
        check(Path(folder))


@pytest.mark.parametrize("name", ["\0", "x" * 5000])
def test_a_folder_name_that_no_system_takes_is_told(name):
    with pytest.raises(InputProblems, match="folder"):
        read_survey(name)
