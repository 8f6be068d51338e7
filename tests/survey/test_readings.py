"""A folder of readings becomes one survey in SI units, or one list of every fault in it."""

from __future__ import annotations

import math
import re
import time

import numpy as np
import openpyxl
import pandas as pd
import pytest

from trackkit.problems import InputProblems
from trackkit.survey.readings import Survey, make_survey, read_survey
from trackkit.survey.tables import TABLE_NAMES, SurveyRules

LEVELS = "laser,station_m,side,rod_mm\n1,0,left,1200\n1,0,right,1210\n"


def write(folder, **tables):
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def faults(folder, **options):
    with pytest.raises(InputProblems) as caught:
        read_survey(folder, **options)
    return caught.value


# --- every table ---------------------------------------------------------------------------------


def test_a_folder_with_every_table_becomes_one_survey(tmp_path):
    write(
        tmp_path,
        levels=(
            "laser,station_m,side,offset_m,tie,section,end,point,on,rod_mm,sd_mm,reader,note\n"
            "1,0,left,,,,,,,1200,,AB,\n1,2.5,,-0.8,,,,,ground,1250,2,,by the root\n"
            "1,,right,,3,,,,rail,1100,,,\n1,,left,,,2,tail,,,1150,,,\n1,,,,,,,peg A,,1300,,,\n"
        ),
        differences="point,to_point,rise_mm,sd_mm\npeg A,peg B,-35,1\n",
        boards=(
            "station_m,to_station_m,side,angle_deg,grade_pct,drop_mm,facing,instrument,sd_deg,sd_mm\n"
            "0,2,left,1.5,,,ahead,phone,0.1,\n2,4,left,,8.3333,,back,,,\n4,2,right,,,25,,,,1\n"
        ),
        crosslevels="along_m,angle_deg,right_above_left_mm,facing\n1,-0.5,,ahead\n2,,12,\n",
        benchmarks="point,height_m,sd_mm\npeg A,10,0\npeg B,9.965,\n",
        lasers="laser,station_m,offset_m,instrument\n1,5,-3,rotating\n",
        breaks="left_station_m,right_station_m,step_mm\n6.2,6.6,-80\n7,,\n",
        zones="from_m,to_m,side,ground,support\n0,6,,lawn,\n6,8,left,,no\n",
        obstacles="station_m,offset_m,laser,rod_mm,height_m\n3,0.2,1,1190,\n4,0,,,9.9\n",
    )
    survey = read_survey(tmp_path)
    assert survey.notes == ()
    levels = survey.levels
    assert levels["reading"].tolist() == [f"levels.csv row {row}" for row in range(2, 7)]
    assert levels["rod_m"].tolist() == pytest.approx([1.2, 1.25, 1.1, 1.15, 1.3])
    assert levels["on"].tolist() == ["ground", "ground", "rail", "rail", "ground"]
    assert levels.loc[1, ["offset_m", "sd_m", "note"]].tolist() == [-0.8, 0.002, "by the root"]
    assert (levels["tie"][2], levels["section"][3], levels["end"][3], levels["point"][4]) == (
        3,
        2,
        "tail",
        "peg A",
    )
    assert levels["rail_top_m"].isna().tolist() == [False, False, True, True, False]
    assert survey.differences.loc[0, ["point", "to_point", "rise_m"]].tolist() == ["peg A", "peg B", -0.035]
    boards = survey.boards
    # 1.5 degrees and 8.3333 per cent (1 in 12, 4.7636 degrees: arithmetic)
    assert boards["angle_rad"][:2].tolist() == pytest.approx(
        [math.radians(1.5), math.radians(4.7636)], abs=1e-6
    )
    assert boards["rise_m"].isna().tolist() == [True, True, False]
    assert boards["sd_rad"][0] == pytest.approx(math.radians(0.1))
    assert survey.crosslevels["along"].tolist() == [True, True]
    assert survey.crosslevels["station_m"].tolist() == [1, 2]
    assert survey.crosslevels["rise_m"][1] == pytest.approx(0.012)
    assert survey.benchmarks["sd_m"][0] == 0
    assert math.isnan(survey.benchmarks["sd_m"][1])
    assert survey.lasers.loc[0, ["offset_m", "instrument"]].tolist() == [-3, "rotating"]
    assert survey.breaks["step_m"][0] == pytest.approx(-0.08)
    assert math.isnan(survey.breaks["right_station_m"][1])
    assert survey.zones["support"].tolist() == [True, False]
    assert survey.obstacles["laser"].tolist() == ["1", ""]


def test_a_levelled_board_with_a_gap_under_its_far_end_falls_by_the_gap(tmp_path):
    write(
        tmp_path,
        boards="station_ft,to_station_ft,side,drop_in\n0,4,left,1 1/2\n8,4,left,1 1/2\n8,4,left,-1\n",
    )
    rise = read_survey(tmp_path).boards["rise_m"]
    assert rise.tolist() == pytest.approx([-0.0381, -0.0381, 0.0254])


def test_an_absent_table_has_the_same_columns_and_kinds_as_a_filled_one(tmp_path):
    survey = read_survey(write(tmp_path, levels=LEVELS))
    for name in TABLE_NAMES:
        assert getattr(survey, name).dtypes.equals(getattr(Survey(), name).dtypes), name
    assert len(survey.boards) == 0


def test_csv_sheets_and_one_workbook_give_the_same_survey(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    tables = {"levels": LEVELS, "boards": "station_m,to_station_m,side,angle_deg\n0,2,left,1.5\n"}
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, text in tables.items():
        write(tmp_path / "a", **{name: text})
        sheet = book.create_sheet(name)
        for line in text.splitlines():
            sheet.append([float(cell) if re.fullmatch(r"[\d.]+", cell) else cell for cell in line.split(",")])
    book.save(tmp_path / "b" / "survey.xlsx")
    one, other = read_survey(tmp_path / "a"), read_survey(tmp_path / "b")
    for name in tables:
        drop = [column for column in ("file", "reading") if column in getattr(one, name)]
        pd.testing.assert_frame_equal(
            getattr(one, name).drop(columns=drop), getattr(other, name).drop(columns=drop)
        )
    assert other.levels["reading"][0] == "survey.xlsx, sheet levels row 2"


def test_a_rough_in_by_section_corners_needs_no_laser_and_no_stations(tmp_path):
    write(
        tmp_path,
        levels="section,end,side,rod_in\n1,head,left,51 1/2\n1,head,right,51\n1,tail,L,52\n1,tail,R,52\n",
    )
    levels = read_survey(tmp_path).levels
    assert set(levels["laser"]) == {"1"}
    assert levels["side"].tolist() == ["left", "right", "left", "right"]
    assert levels["rod_m"][0] == pytest.approx(51.5 * 0.0254)


def test_the_same_point_read_twice_with_different_values_is_welcome(tmp_path):
    survey = read_survey(write(tmp_path, levels=LEVELS + "1,0,left,1203\n"))
    assert survey.levels["rod_m"].tolist() == pytest.approx([1.2, 1.21, 1.203])


def test_pegs_alone_are_a_survey(tmp_path):
    survey = read_survey(write(tmp_path, differences="point,to_point,rise_m\nA,B,5.1\n"))
    assert (len(survey.differences), len(survey.levels)) == (1, 0)


def test_decimal_feet_are_said_in_the_notes(tmp_path):
    survey = read_survey(write(tmp_path, levels="station_ft,side,rod_ft\n0,left,5.3\n"))
    assert survey.notes == ("levels.csv: rod_ft 5.3 (row 2) read as decimal feet: 5 ft 3.6 in",)


def test_a_hundred_thousand_readings_are_read_in_about_a_second(tmp_path):
    """Measured 0.9 s on two shared cores; the bound leaves room for a slower machine."""
    rod = np.random.default_rng(1).uniform(500, 2500, 100_000)
    lines = [f"{i // 500},{i * 0.01:.2f},{'left' if i % 2 else 'right'},{r:.1f}" for i, r in enumerate(rod)]
    write(tmp_path, levels="laser,station_m,side,rod_mm\n" + "\n".join(lines))
    begin = time.process_time()
    survey = read_survey(tmp_path)
    assert time.process_time() - begin < 4.0
    assert survey.levels["rod_m"].sum() == pytest.approx(np.round(rod, 1).sum() / 1000)


# --- faults --------------------------------------------------------------------------------------


def test_a_folder_full_of_faults_lists_every_one_of_them(tmp_path):
    write(
        tmp_path,
        levels=(
            "laser;station_m;side;rod_mm;weather\n"  # 1 unknown column
            "1;0;lefft;1200;\n"  # 2 side misspelt
            "1;1;left;-5;\n"  # 3 negative rod
            "1;1,5;left;;\n"  # 4 empty cell
            "1;abc;left;1200;\n"  # 5 text
            "1;2;left;nan;\n"  # 6 not a number
            ";3;left;1200;\n"  # 7 laser missing
            "1;;left;1200;\n"  # 8 nowhere
        ),
        boards=(
            "station_m,to_station_m,side,angle_deg,facing\n"
            "0,2,left,61,ahead\n"  # 9 too steep
            "2,2,left,1,back\n"  # 10 no length
            "2,4,left,1,forward\n"  # 11 unknown facing
        ),
        crosslevels="station,angle_deg\n1,1\n",  # 12 no unit
        benchmarks="point,height_m,height_ft\nA,1,\n",  # 13 two units
        breaks="",  # 14 an empty file
        zones="from_m,to_m,ground\n5,2,lawn\n1,3,\n",  # 15 backwards, 16 says nothing
    )
    error = faults(tmp_path)
    text = str(error)
    wanted = [
        r"levels\.csv, row 1, weather: found the unknown column 'weather'",
        r"levels\.csv, row 2, side: found 'lefft'; accepted: left \| right\. → did you mean 'left'",
        r"levels\.csv, row 3, rod_mm: found '-5'; accepted: a length in mm, at least 0",
        r"levels\.csv, row 4, rod_mm: found an empty cell",
        r"levels\.csv, row 5, station_m: found 'abc'; accepted: a length in m",
        r"levels\.csv, row 6, rod_mm: found 'nan'",
        r"levels\.csv, row 7, laser: found an empty cell; accepted: the name of a laser position",
        r"levels\.csv, row 8: found side to say where the rod stood",
        r"boards\.csv, row 2, angle_deg: found '61'; accepted: an angle in deg, at least -60, at most 60",
        r"boards\.csv, row 3, to_station: found a board with both feet at one station",
        r"boards\.csv, row 4, facing: found 'forward'; accepted: ahead \| back",
        r"crosslevels\.csv, row 1, station: found the name 'station' without a unit",
        r"benchmarks\.csv, row 1, height_ft: found 'height_m' and 'height_ft': two units for one thing",
        r"breaks\.csv: found an empty table",
        r"zones\.csv, row 2, to: found a zone that ends before it begins",
        r"zones\.csv, row 3, ground: found a zone that says nothing",
    ]
    for pattern in wanted:
        assert re.search(pattern, text), f"{pattern}\n{text}"
    assert len(error.problems) == len(wanted), text


@pytest.mark.parametrize(
    ("tables", "message"),
    [
        (
            {"boards": "station_m,to_station_m,side,drop_m\n0,1,left,2\n"},
            "gap steeper than the board may lie",
        ),
        (
            {"boards": "station_m,to_station_m,side,angle_deg,drop_mm\n0,1,left,2,3\n"},
            "angle and drop to say its slope",
        ),
        (
            {"boards": "station_m,to_station_m,along_m,side,angle_deg\n0,1,1,left,2\n"},
            "station and to_station and along",
        ),
        (
            {"boards": "station_m,to_station_m,side,drop_mm,sd_deg\n0,1,left,2,1\n"},
            "an sd in degrees for a gap",
        ),
        (
            {"boards": "station_m,to_station_m,side,angle_deg,sd_mm\n0,1,left,2,1\n"},
            "an sd as a length for an angle",
        ),
        ({"boards": "station_m,to_station_m,side,grade_pct\n0,1,left,180\n"}, "in pct, at least -173.205"),
        ({"crosslevels": "station_m,right_above_left_mm\n0,1200\n"}, "at most 1100"),
        ({"differences": "point,to_point,rise_m\nA,A,0\n"}, "a difference from a point to itself"),
        ({"levels": "point,on,rod_m\nA,rail,1\n"}, "a rod on the rail, but no side"),
        ({"levels": "station_m,side,rod_m,sd_mm\n0,left,1,0\n"}, "accepted: a length in mm, above 0"),
        ({"levels": "station_m,side,rod_m\n20000,left,1\n"}, "at most 10000"),
        ({"levels": "tie,side,rod_m\n0,left,1\n"}, "accepted: a whole number, at least 1"),
        ({"levels": "station_m,tie,side,rod_m\n1,1,left,1\n"}, "station and side and tie"),
        (
            {"levels": LEVELS, "lasers": "laser,station_m,offset_m\n2,0,0\n"},
            "laser position '2', from which no reading",
        ),
        (
            {"levels": LEVELS, "lasers": "laser,station_m,offset_m\n1,0,0\n1,5,0\n"},
            "laser position '1' a second time",
        ),
        (
            {"levels": LEVELS, "obstacles": "station_m,offset_m,laser,rod_m\n0,0,11,1\n"},
            "one that is in the levels table: 1",
        ),
        (
            {"levels": LEVELS + "2,0,left,1\n", "obstacles": "station_m,offset_m,rod_m\n0,0,1\n"},
            "laser: found an empty cell",
        ),
        ({"levels": "laser,station_m,side,rod_m\nA,0,left,1\na,0,left,1\n"}, "'a', elsewhere written 'A'"),
        (
            {"levels": "point,rod_m\nBM 1,1\n", "benchmarks": "point,height_m\nBM1,1\n"},
            "'BM1', elsewhere written 'BM 1'",
        ),
        ({"levels": LEVELS, "benchmarks": "point,height_m\nA,1\nA,2\n"}, "another height for 'A'"),
        ({"levels": LEVELS, "breaks": "step_mm\n5\n"}, "no columns that say where it is"),
        ({"levels": LEVELS, "zones": "from_m,to_m,ground,support\n0,1,lawn,may be\n"}, "write yes or no"),
        (
            {"benchmarks": "point,height_m\nA,1\n"},
            "no table with readings in it; accepted: levels.csv or levels.xlsx",
        ),
        ({"levels": "laser,station_m,side,rod_mm\n"}, "no table with readings in it"),
        ({"level": LEVELS}, "did you mean 'levels'? rename it"),
        ({}, "no table with readings in it"),
    ],
)
def test_what_cannot_be_is_told(tmp_path, tables, message):
    with pytest.raises(InputProblems, match=re.escape(message)):
        read_survey(write(tmp_path, **tables))


@pytest.mark.parametrize(
    ("tables", "message"),
    [
        (
            {"levels": "station_m,side,rod_m\n0,left,1480\n1,left,1.2\n2,left,1500\n"},
            r"row 2, rod: found rod reading of 1480 m \(and 1 more like it\): more than any staff; "
            r"accepted: 0\.001 to 30 m\. → is the column in mm\?",
        ),
        (
            {"levels": "station_m,side,rod_m\n0,left,1\n1,left,0.0004\n"},
            r"row 3, rod: found rod reading of 0\.0004 m: too near",
        ),
        (
            {"levels": "station_m,side,rod_mm\n0,left,1.48\n1,left,1.52\n2,left,1.5\n"},
            r"found rod reading of 0\.00148 m \(and 2 more like it\).*is the column in m\?",
        ),
        (
            {"levels": LEVELS, "obstacles": "station_m,offset_m,rod_m\n0,0,1190\n"},
            r"obstacles\.csv, row 2, rod: found rod reading of 1190 m: more than any staff",
        ),
        (
            {"levels": "station_mm,side,rod_m\n0,left,1\n2.5,left,1\n5,right,1\n"},
            r"levels\.csv, station: found 3 stations within 5 mm.*is the column in m\?",
        ),
        (
            {"boards": "station_mm,to_station_mm,side,angle_deg\n0,1,left,1\n1,2,left,1\n"},
            r"boards\.csv, station: found 3 stations within 2 mm",
        ),
    ],
)
def test_a_figure_in_the_wrong_unit_is_one_fault(tmp_path, tables, message):
    """Limits: common practice, no source."""
    error = faults(write(tmp_path, **tables))
    assert re.search(message, str(error))
    assert len(error.problems) == 1


@pytest.mark.parametrize(
    "levels",
    [
        "station_m,side,rod_m\n0,left,30\n1,left,0.001\n2,left,0\n",
        "station_m,side,rod_m\n0,left,1\n0.02,left,1\n0.05,right,1\n",
        "station_m,side,rod_m\n0,left,1\n0.02,left,1\n0,right,1\n0.02,right,1\n",
    ],
    ids=["rods at the limits", "a survey of 5 cm", "two stations"],
)
def test_what_is_just_possible_is_read(tmp_path, levels):
    assert len(read_survey(write(tmp_path, levels=levels)).levels) >= 3


def test_both_heights_of_a_benchmark_may_stand_if_both_are_uncertain(tmp_path):
    write(tmp_path, levels=LEVELS, benchmarks="point,height_m,sd_mm\nA,1,5\nA,1.01,5\n")
    assert len(read_survey(tmp_path).benchmarks) == 2


def test_a_fault_in_the_levels_does_not_make_the_lasers_wrong_too(tmp_path):
    write(tmp_path, levels=LEVELS.replace("laser", "lasser"), lasers="laser,station_m,offset_m\nA,0,0\n")
    assert len(faults(tmp_path).problems) == 1


@pytest.mark.parametrize(
    ("name", "message"),
    [("nowhere", "found no such folder"), ("file.csv", "found a file; accepted: the folder")],
)
def test_what_is_no_folder_is_told(tmp_path, name, message):
    (tmp_path / "file.csv").write_text(LEVELS)
    error = faults(tmp_path / name)
    assert message in str(error)
    assert len(error.problems) == 1


def test_the_bounds_can_be_changed(tmp_path):
    write(tmp_path, boards="station_m,to_station_m,side,angle_deg\n0,2,left,61\n")
    assert len(read_survey(tmp_path, rules=SurveyRules(steepest=math.radians(70))).boards) == 1


# --- a survey from arrays ------------------------------------------------------------------------


def test_a_survey_made_from_columns_equals_the_one_read(tmp_path):
    read = read_survey(write(tmp_path, levels=LEVELS)).levels.drop(columns=["file", "reading"])
    levels = {"station_m": 0.0, "side": ["left", "right"], "rod_m": [1.2, 1.21]}
    made = make_survey(levels=levels).levels.drop(columns=["file", "reading"])
    pd.testing.assert_frame_equal(read, made)


@pytest.mark.parametrize(
    ("tables", "message"),
    [
        ({"level": {}}, "no table 'level'; tables are levels"),
        ({"levels": {"rod": [1]}}, r"levels has no column \['rod'\]"),
    ],
)
def test_a_survey_with_unknown_tables_or_columns_is_refused(tables, message):
    with pytest.raises(ValueError, match=message):
        make_survey(**tables)
