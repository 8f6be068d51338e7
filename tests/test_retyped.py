"""A figure typed anew reads back as the value that was meant, in whatever dress its column stands."""

import math

import pytest
from demo_jobs import changed

from trackkit.survey.readings import read_survey
from trackkit.tables.retyped import retyped
from trackkit.tables.typed import TypedTable, save_copy, typed_tables

DRESSES = [
    ("rod_mm", "1531", 1.431, "1431"),
    ("rod_cm", "153.1", 1.431, "143.1"),
    ("rod_m", "1.531", 1.4315, "1.4315"),
    ("rod_in", "58 3/8", 46.375 * 0.0254, "46 3/8"),
    ("rod_in", "58.5", 46.5 * 0.0254, "46.5"),
    ("rod_in", "3/8", 0.875 * 0.0254, "7/8"),
    ("rod_ft", "5' 3 1/2\"", 4 * 0.3048, "4' 0\""),
    ("rod_ft", "5.3", 5.25 * 0.3048, "5.25"),
]


@pytest.mark.parametrize(("column", "old", "value", "text"), DRESSES, ids=[f"{d[0]} {d[1]}" for d in DRESSES])
def test_a_rod_is_written_as_the_crew_writes(tmp_path, column, old, value, text):
    header = ("station_m", "side", column)
    table = TypedTable("levels", header, (("0", "left", old), ("1", "left", old)))
    new = retyped(table, 3, "rod_m", value)
    assert new.rows == (("0", "left", old), ("1", "left", text))
    (tmp_path / "levels.csv").write_bytes(new.csv_bytes())
    assert read_survey(tmp_path).levels["rod_m"].iloc[1] == pytest.approx(value, abs=5e-5)


def test_angles_gaps_and_facings_keep_their_column_and_sign(tmp_path):
    angle, drop = ("station_m", "to_station_m", "side", "angle_deg", "facing"), None
    boards = TypedTable("boards", angle, (("0", "1", "left", "1.1", "ahead"),))
    assert retyped(boards, 2, "angle_rad", math.radians(-1.1)).rows[0][3] == "-1.1"
    assert retyped(boards, 2, "facing", "back").rows[0][4] == "back"
    bare = TypedTable("boards", angle[:4], (("0", "1", "left", "1.1"), ("1", "2", "left", "0.9")))
    new = retyped(bare, 3, "facing", "back")
    assert new.header == angle and new.rows == (("0", "1", "left", "1.1"), ("1", "2", "left", "0.9", "back"))
    drop = TypedTable("boards", (*angle[:3], "drop_mm"), (("0", "1", "left", "12"),))
    assert retyped(drop, 2, "rise_m", 0.012).rows[0][3] == "-12"
    grade = TypedTable("crosslevels", ("station_m", "grade_pct"), (("0", "2.5"),))
    assert retyped(grade, 2, "angle_rad", math.atan(-0.025)).rows[0][1] == "-2.5"
    with pytest.raises(ValueError, match="levels has no row 9"):
        retyped(TypedTable("levels", ("rod_m",), (("1",),)), 9, "rod_m", 1.0)
    with pytest.raises(ValueError, match="boards row 2 has no rise_m to type anew"):
        retyped(boards, 2, "rise_m", 1.0)
    with pytest.raises(ValueError, match="figure must be one of rod_m"):
        retyped(boards, 2, "height_m", 1.0)


def test_a_mistake_typed_into_a_demo_reads_back(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn")
    table = retyped(typed_tables(folder, ("levels",))["levels"], 32, "rod_m", 1.431)
    save_copy(folder, tmp_path / "mended", [table])
    levels = read_survey(tmp_path / "mended").levels.set_index("reading")
    assert levels.loc["levels.csv row 32", "rod_m"] == pytest.approx(1.431)
