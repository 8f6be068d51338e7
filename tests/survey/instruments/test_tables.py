"""The tables of checks beside a job: read, told in words, and what they correct."""

import math
import shutil
from pathlib import Path

import numpy as np
import pytest

from trackkit import load_job
from trackkit.checked_instruments import check_words
from trackkit.fitted import fit_readings
from trackkit.problems import InputProblems
from trackkit.survey.instruments.tables import read_checks
from trackkit.units import DISPLAYS

DEMO = Path(__file__).parents[3] / "data_demo"
LEVEL = """setup,peg,distance_m,rod_mm,turned_deg
mid,A,30,1500,
mid,B,30,1250,
near A,A,3,1600,
near A,B,57,1361,
near A,B,57,1363,
wall,W,30,1500,0
wall,W,30,1512,180
field,R,30,1500,0
field,R,30,1500,90
field,R,30,1500,180
field,R,30,1500,270
"""
PHONE = """place,facing,angle_deg
1,ahead,0.59
1,back,0.15
2,ahead,-1.00
2,back,-1.44
"""


@pytest.fixture
def folder(tmp_path):
    job = tmp_path / "job"
    shutil.copytree(DEMO / "boathouse_lawn", job, ignore=shutil.ignore_patterns("plan"))
    (job / "check_level.csv").write_text(LEVEL, encoding="utf-8")
    (job / "check_phone.csv").write_text(PHONE, encoding="utf-8")
    return job


def test_both_tables_are_read_and_checked(folder):
    found = read_checks(folder)
    by = {check.what: check for check in found.checks}
    assert by["line of sight of the level"].value == pytest.approx(0.012 / 54, rel=1e-9)
    assert by["level of one axis of the level, wall"].value == pytest.approx(-0.012 / 60)
    assert by["level of one axis of the level, wall"].verdict == "not good"
    assert by["level of the plane of the level, field"].value == pytest.approx(0.0)
    assert math.degrees(by["zero error of phone"].value) == pytest.approx(0.22)
    ((what, repeated),) = found.repeated
    assert what == "rods with the level"
    assert (repeated.sd, repeated.dof) == (pytest.approx(0.001 * math.sqrt(2)), 1)


def test_a_job_without_them_has_no_checks():
    assert read_checks(DEMO / "boathouse_lawn").checks == ()
    assert (
        check_words(DEMO / "boathouse_lawn", load_job(DEMO / "boathouse_lawn").instruments, DISPLAYS["cm"])
        == []
    )


def test_the_words_say_value_limit_and_what_to_write(folder):
    lines = check_words(folder, load_job(folder).instruments, DISPLAYS["cm"])
    sight = next(line for line in lines if line.startswith("Line of sight"))
    assert "+2.22 mm in 10 m, give or take" in sight
    assert 'collimation = "0.02222 %", collimation_sd = ' in sight
    inches = check_words(folder, load_job(folder).instruments, DISPLAYS["1/8 in"])
    assert any("+0.03 in in 10 ft" in line for line in inches)
    assert any("NOT GOOD. Have it adjusted." in line for line in lines)


def test_the_keys_that_it_says_are_taken_by_the_job_and_by_the_fit(folder):
    keys = [pair for check in read_checks(folder).checks for pair in check.correction.items()]
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8")
    assert "[instruments]" not in text
    path.write_text(
        text + "\n[instruments]\n" + "\n".join(f"{key} = {value}" for key, value in keys), encoding="utf-8"
    )
    job = load_job(folder)
    assert math.degrees(job.instruments.zeros["phone"]) == pytest.approx(0.22)
    assert job.instruments.collimation == pytest.approx(0.012 / 54, rel=1e-3)
    before, _ = fit_readings(load_job(DEMO / "boathouse_lawn"))
    after, _ = fit_readings(job)
    moved = [np.degrees(ground.zero_errors["zero_rad"].iloc[0]) for ground in (before, after)]
    assert 0.22 < moved[1] < moved[0]  # 0.39 by the survey alone: both count
    assert after.zero_errors["sd_rad"].iloc[0] < before.zero_errors["sd_rad"].iloc[0]


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        ("check_level.csv", "near A,A,3", "near A,A,-3", "row 4, distance_m"),
        ("check_level.csv", "wall,W,30,1512,180", "wall,W,30,1512,90", "turn it by half"),
        ("check_level.csv", "field,R,30,1500,90", "field,R,20,1500,90", "leave rod R where it is"),
        ("check_level.csv", "mid,A,30,1500,\nmid,B,30,1250,\n", "", "from half-way between them"),
        ("check_phone.csv", "2,back,-1.44\n", "", "read it back too"),
        ("check_phone.csv", "1,ahead", "1,forwards", "facing"),
    ],
)  # fmt: skip
def test_every_fault_is_told_with_its_place(folder, file, old, new, told):
    path = folder / file
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    with pytest.raises(InputProblems) as faults:
        read_checks(folder)
    assert told in str(faults.value)
    assert file in str(faults.value)
