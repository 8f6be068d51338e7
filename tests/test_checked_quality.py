"""What `trackkit check` says of how readings agree, on the demo's lawn and with faults put in."""

import pandas as pd
import pytest
from demo_jobs import changed

from trackkit.checked import check_text
from trackkit.checked_quality import quality_lines
from trackkit.fitted import fit_job
from trackkit.job import load_job


def checked(folder):
    job = load_job(folder)
    _run, ground = fit_job(job)
    return job, ground


def altered(tmp_path, alter, table="levels.csv"):
    """Return what is said of the lawn with a table altered."""
    folder = changed(tmp_path, "boathouse_lawn")
    frame = pd.read_csv(folder / table)
    alter(frame).to_csv(folder / table, index=False)
    return quality_lines(*checked(folder))


def test_little_is_said_where_all_is_well(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn")
    job, ground = checked(folder)
    lines = quality_lines(job, ground)
    assert len(lines) == 2
    assert (
        lines[0]
        == "7 closures, all within their limits; the one nearest to its limit 0.4 cm of 0.8 cm allowed."
    )
    assert lines[1].startswith("The readings agree with each other")
    assert all(line in " ".join(check_text(job, ground).split()) for line in lines)


def test_two_rows_that_are_the_same_in_every_figure_are_told_once(tmp_path):
    """A peg that reads at the close what it read at the start is no such thing: other rows lie between."""
    lines = altered(tmp_path, lambda frame: pd.concat([frame.iloc[:15], frame.iloc[14:]]))
    (line,) = [line for line in lines if "every figure" in line]
    assert line == "levels.csv rows 16 and 17 are the same in every figure: read twice, or typed twice?"


def test_feet_and_inches_are_told_as_such(tmp_path):
    lines = quality_lines(*checked(changed(tmp_path, "terrace_edge")))
    assert (
        lines[0]
        == "2 closures, all within their limits; the one nearest to its limit 1/8 in of 1/4 in allowed."
    )


def test_a_rough_in_that_nothing_checks_says_so(tmp_path):
    lines = quality_lines(*checked(changed(tmp_path, "market_yard")))
    assert lines == [
        "Whether the readings are as good as stated cannot be tested: no reading checks another."
    ]


def test_a_misread_peg_is_named_with_the_closures_that_fail(tmp_path):
    def alter(frame):
        frame.loc[19, "rod_mm"] += 20
        return frame

    lines = altered(tmp_path, alter)
    assert "in all of them: levels.csv row 21 and row 37. The worst:" in lines[0]
    assert lines[1].startswith("READ AGAIN P1 from laser position by the willow, read twice")
    assert lines[1].endswith("misses by 1.9 cm, 0.6 cm allowed.")
    assert lines[2].startswith("With the readings in doubt left out, the readings agree with each other")
    assert "worse" not in lines[2]
    assert len(lines) == 3


def test_a_misread_rod_is_not_blamed_on_the_phone_that_checks_it(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn", **{'leave_out = ["levels.csv row 32"]': ""})
    lines = quality_lines(*checked(folder))
    assert len(lines) == 2
    assert "worse" not in lines[1]


@pytest.mark.parametrize(
    ("first", "last", "laser"), [(10, 18, "by the boathouse"), (26, 35, "by the willow")]
)
def test_a_knocked_laser_is_named_between_two_rows(tmp_path, first, last, laser):
    def alter(frame):
        frame.loc[first:last, "rod_mm"] += 12
        return frame

    line = altered(tmp_path, alter)[0]
    assert line.startswith(f"Laser position {laser} seems to have been knocked between levels.csv row ")
    rows = [int(word.rstrip(":")) for word in line.split() if word.rstrip(":").isdigit()]
    assert rows[0] <= first + 1 < rows[1] or rows[0] == first + 1
    assert "its line of sight rose by 1.3 cm, give or take 0.3 cm" in line


def test_who_reads_high_is_told_before_all_that_follows_from_it(tmp_path):
    def alter(frame):
        frame["reader"] = ["Bo", "Ann"] * (len(frame) // 2) + ["Bo"] * (len(frame) % 2)
        frame.loc[frame["reader"] == "Ann", "rod_mm"] += 6
        return frame

    lines = altered(tmp_path, alter)
    assert lines[0] == "Ann reads 0.69 cm higher than Bo, give or take 0.16 cm."
    assert any("Settle who reads high first" in line for line in lines)


def test_readers_of_different_positions_are_not_compared(tmp_path):
    def alter(frame):
        frame["reader"] = frame["laser"].map({"by the boathouse": "Ann", "by the willow": "Bo"})
        return frame

    lines = altered(tmp_path, alter)
    assert any(line.startswith("Readers that cannot be told apart: Ann from Bo;") for line in lines)
    assert lines[-1].endswith('under [instruments] in job.toml: rod_sd = "0.10 cm".')


def test_what_is_offered_for_the_job_file_is_taken_by_it(tmp_path):
    """A phone three times as bad as stated: the offered line is written, and nothing is left to say."""
    import numpy as np

    rng = np.random.default_rng(5)

    def alter(frame):
        frame["angle_deg"] += rng.normal(0.0, 0.9, len(frame)).round(1)
        return frame

    folder = changed(tmp_path, "boathouse_lawn")
    for table in ("boards.csv", "crosslevels.csv"):
        alter(pd.read_csv(folder / table)).to_csv(folder / table, index=False)
    line = next(line for line in quality_lines(*checked(folder)) if line.startswith("Angles with phone"))
    offered = line.rsplit(": ", 1)[1].rstrip(".")
    assert offered.startswith("angle_sd = ")
    with (folder / "job.toml").open("a", encoding="utf-8") as file:
        file.write(f"\n[instruments]\n{offered}\n")
    assert not [line for line in quality_lines(*checked(folder)) if line.startswith("Angles")]
