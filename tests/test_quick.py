"""A long table read column by column is the table that the usual way reads, or is left to the usual way."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trackkit.problems import Problems
from trackkit.tables import Column, TableSpec, Ways, quick, read_table

SPEC = TableSpec(
    "log",
    (
        Column("station", "length", needed=True, least=-100.0, most=100.0),
        Column("side", "choice", choices=("left", "right"), also=(("l", "left"),)),
        Column("angle", "angle", units=("deg",), most=1.0, missing=("nan", "n/a")),
        Column("grade", "angle", units=("pct",)),
        Column("instrument", "name"),
        Column("count", "count"),
        Column("flag", "yesno"),
        Column("note", "text"),
    ),
    (Ways("its slope", (("angle",), ("grade",)), optional=True),),
)
HEADER = "station_m,side,angle_deg,grade_pct,instrument,count,flag,note"
GOOD = "1.5,left,2.25,,phone,3,yes,fine"


def both_ways(folder, text, monkeypatch):
    """Return the table read quickly (None if it was not tried to the end) and the usual way, with faults."""
    path = Path(folder) / "log.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    found = []
    for least in (0, 10**9):
        with monkeypatch.context() as patch:
            patch.setattr(quick, "QUICK_FROM", least)
            problems = Problems()
            found.append((read_table(path, SPEC, problems), problems))
    return found


def assert_same(found):
    (one, its_faults), (other, faults) = found
    assert its_faults.found == faults.found
    assert its_faults.notes == faults.notes
    assert (one is None) == (other is None)
    if one is not None:
        pd.testing.assert_frame_equal(one, other, check_exact=True)
        assert one.attrs == other.attrs


@pytest.mark.parametrize(
    "rows",
    [
        [GOOD] * 3,
        [GOOD, "", GOOD, ",,,,,,,"],
        ["1.5,L,nan,,phone 2,,no,", "2,right,NaN,,1.0,4,,", "3,,,5,1,,,"],
        ["1,left,2,3,,,,"],
        ["1,left,200,,,,,"],
        ["nan,left,2,,,,,"],
        ["1,left,2,nan,,,,"],
        ["1,left,2,,,,,,9"],
        ["1,lift,2,,,,,"],
        ["1,left,2,,,2.5,,"],
        ["1_0,left,2,,,,,", "0x1,left,2,,,,,", "inf,left,2,,,,,"],
        ["1e1,left,2,,,,,", " 2 , left ,2 ,,,,,"],
        ["0.1000000000000000055511151231257827,left,2.3,,,,,"],
        ["# a comment", GOOD],
        ['1,left,2,,"a, b",,,'],
        [",left,2,,,,,"],
        ["1,left"],
    ],
)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_both_ways_of_reading_give_one_table_and_the_same_faults(tmp_path, monkeypatch, rows, end):
    assert_same(both_ways(tmp_path, end.join([HEADER, *rows]), monkeypatch))


@pytest.mark.parametrize(
    "text",
    [
        "station_m;side;angle_deg\n1,5;left;2,25\n",
        "station_m;side;angle_deg\n1,5;left;2.25\n",
        "station_cm;side;angle_deg\n1,500;left;2\n",
        "station_ft,side\n5.3,left\n",
        "\ufeffstation_m,side\n5.3,left\n",
        "\n\nstation_m,side\n5.3,left\n",
        "sep=,\nstation_m,side\n5.3,left\n",
        "station_m,sdie\n5.3,left\n",
        "station_m\tside\n5.3\tleft",
        "station_m,side,\n5.3,left,\n",
        "station_m,side\n",
        "station_m,side",
        "",
        "station_m,side\n1,left\r2,left\n",
    ],
)
def test_files_in_other_dress_are_read_alike(tmp_path, monkeypatch, text):
    assert_same(both_ways(tmp_path, text, monkeypatch))


CELL = st.sampled_from(
    [
        "",
        "1",
        "2.5",
        "-3",
        "1e2",
        "nan",
        "NaN",
        "left",
        "right",
        "L",
        "x",
        " 1 ",
        "1.0",
        "yes",
        "0",
        "1,5",
        "#N/A",
        '"',
    ]
)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.lists(CELL, min_size=6, max_size=9), max_size=5))
def test_random_cells_are_read_alike(rows):
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        assert_same(both_ways(folder, "\n".join([HEADER, *map(",".join, rows)]), patch))


def test_a_plain_table_is_indeed_read_quickly(tmp_path, monkeypatch):
    (tmp_path / "log.csv").write_text("\n".join([HEADER, *[GOOD] * 6000]))
    monkeypatch.setattr("trackkit.tables.reading.read_cells", None)  # the usual way would fail
    frame = read_table(tmp_path / "log.csv", SPEC, Problems())
    assert len(frame) == 6000
    assert frame["row"].tolist()[-1] == 6001


def test_a_long_column_in_the_wrong_unit_is_a_few_faults_and_a_count(tmp_path):
    rows = [f"{1000 + row},left,2,,,,," for row in range(50_000)]
    (tmp_path / "log.csv").write_text("\n".join([HEADER, *rows]))
    problems = Problems()
    read_table(tmp_path / "log.csv", SPEC, problems)
    assert len(problems.found) == 21
    assert "49980 more like it, in rows 22 to 50001" in str(problems.found[-1])


def test_names_made_of_figures_are_not_taken_for_numbers(tmp_path, monkeypatch):
    """Pegs 007 and 7 are two."""
    from trackkit.survey.readings import read_survey

    monkeypatch.setattr("trackkit.tables.quick.QUICK_FROM", 0)
    lines = ["laser,point,rod_mm", "01,007,1500", "1,7,1400", "1,1e3,1300", "01,7,1450"]
    (tmp_path / "levels.csv").write_text("\n".join(lines))
    levels = read_survey(tmp_path).levels
    assert levels["point"].tolist() == ["007", "7", "1e3", "7"]
    assert levels["laser"].tolist() == ["01", "1", "1", "01"]
