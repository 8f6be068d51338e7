"""What `trackkit check` says of a phone's log, and what the notebook's tables do with one."""

from __future__ import annotations

import shutil

import numpy as np
import pandas as pd
import pytest
from demo_jobs import DEMO
from log_cases import as_csv, autoregressive, random_walk, walk

from trackkit.checked import check_text
from trackkit.checked_logs import log_lines
from trackkit.desk.typed_job import TypedJob
from trackkit.fitted import fit_readings
from trackkit.job import load_job
from trackkit.problems import InputProblems
from trackkit.survey.ground import fit_ground
from trackkit.survey.readings import make_survey
from trackkit.tables.typed import TypedTable

ROWS = 4000


def flat(station):
    return 0.0 * station


def logs(drift):
    rng = np.random.default_rng(6)
    found = []
    for facing in ("ahead", "back"):
        error = np.radians(0.4) + random_walk(rng, ROWS, 9 / ROWS, drift)
        error += autoregressive(rng, ROWS, 9 / ROWS, sd=np.radians(0.1), length=0.02)
        found.append(walk(flat, 0.6, 9.6, ROWS, facing=facing, error=error))
    return found


@pytest.fixture
def job(tmp_path):
    """A job that is a log beside the rods of a demo job."""
    folder = tmp_path / "lawn"
    shutil.copytree(DEMO / "boathouse_lawn", folder)
    first, second = logs(np.radians(0.02))
    first.loc[:9, "angle_rad"] = np.nan
    first.loc[1000, "angle_rad"] += 0.3
    as_csv(folder / "phone_log.csv", first, second)
    return folder


def test_check_says_what_became_of_the_log(job):
    loaded = load_job(job)
    ground, _ = fit_readings(loaded)
    text = " ".join(check_text(loaded, ground).split())
    assert "phone_log.csv: 7 989 of 8 000 rows used; 1 spike, 10 dropped out; 0 gaps; became" in text
    assert "phone_log.csv, pass 1: zero wanders from" in text
    assert "phone_log.csv, spikes: pass 1 at 2.85 m (1 row)" in text


def test_two_passes_that_wander_more_than_was_taken_are_told():
    from log_cases import thinned

    ground = fit_ground(make_survey(boards=thinned(*logs(np.radians(0.3)))[0]))
    (line,) = [line for line in log_lines(ground) if "read both ways" in line]
    found = float(line.split('drift_sd = "')[1].split(" deg")[0])
    assert found == pytest.approx(0.3, rel=0.4)


def test_several_pairs_that_wander_more_order_one_key_once_with_the_largest(monkeypatch):
    """And never with a power of ten, nor where the log contradicts all other readings."""
    from log_cases import thinned

    from trackkit import checked_logs
    from trackkit.survey.log.reversed import Wander

    ground = fit_ground(make_survey(boards=thinned(*logs(np.radians(0.02)))[0]))
    pairs = [
        Wander(
            (f"log.csv, {2 * i + 1}", f"log.csv, {2 * i + 2}"), "drift_sd_s", np.radians(0.01), found, True
        )
        for i, found in enumerate(np.radians([3.1e-05, 6.8e-05]))
    ]
    monkeypatch.setattr(checked_logs, "wander_found", lambda _: pairs)
    (line,) = [line for line in log_lines(ground) if "read both ways" in line]
    assert 'write drift_sd_s = "0.000068 deg" under' in line and "log.csv, 1 and 2; log.csv, 3 and 4" in line
    monkeypatch.setattr(checked_logs, "logs_against", lambda _: pd.DataFrame({"agrees": [False]}))
    assert not [line for line in log_lines(ground) if "read both ways" in line]


def test_two_passes_that_wander_as_was_taken_are_not_told():
    from log_cases import thinned

    ground = fit_ground(make_survey(boards=thinned(*logs(np.radians(0.02)))[0]))
    assert not [line for line in log_lines(ground) if "read both ways" in line]


def test_a_log_is_not_typed_into_but_named_and_copied(job):
    typed = TypedJob(job)
    assert "phone_log" not in typed.tables
    assert typed.logs == [
        "phone_log.csv is there and is read from its file: it is too long to be typed into, and is "
        "copied as it is when the job is saved as a new one"
    ]
    boards = typed.tables["boards"]
    typed.change(TypedTable("boards", boards.header, boards.rows[:-1]))
    into = typed.save()
    assert (into / "phone_log.csv").read_bytes() == (job / "phone_log.csv").read_bytes()
    assert (load_job(into).survey.boards["log_pass"] != "").sum() > 100


def test_a_reading_of_the_log_is_left_out_by_the_job_and_stays_so_when_tables_are_typed(job):
    name = load_job(job).survey.boards["reading"].iloc[-1]
    path = job / "job.toml"
    text = path.read_text()
    assert 'leave_out = ["' in text
    path.write_text(text.replace('leave_out = ["', f'leave_out = ["{name}", "'))
    assert name not in set(load_job(job).survey.boards["reading"])
    typed = TypedJob(job)
    boards = typed.tables["boards"]
    typed.change(TypedTable("boards", boards.header, boards.rows[1:]))
    into = typed.save()
    assert name not in set(load_job(into).survey.boards["reading"])


def test_a_single_row_of_a_log_is_no_reading(job):
    path = job / "job.toml"
    path.write_text(path.read_text().replace('leave_out = ["', 'leave_out = ["phone_log.csv row 7", "'))
    with pytest.raises(InputProblems, match="no such reading"):
        load_job(job)


def test_beside_a_log_that_stands_alone_rods_may_be_typed(tmp_path, job):
    for name in ("levels", "boards", "crosslevels", "zones", "truck"):
        (job / f"{name}.csv").unlink()
    typed = TypedJob(job)
    assert list(typed.tables) == ["levels"]
    assert not typed.changed


def test_the_state_of_the_panel_names_the_log(job):
    from trackkit.desk.reading import GroundPanel

    panel = GroundPanel(job)
    assert "phone_log.csv is there and is read from its file" in panel.sheet()


def test_without_a_log_nothing_is_said_of_one():
    ground, _ = fit_readings(load_job(DEMO / "boathouse_lawn"))
    assert log_lines(ground) == []
