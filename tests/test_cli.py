"""The command as a crew runs it: output, files, exit status, faults in plain words."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from trackkit.job import load_job
from trackkit.plan import make_plan

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "data_demo"


def run(*arguments, cwd=None):
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"}
    return subprocess.run(
        [sys.executable, "-m", "trackkit", *map(str, arguments)],
        capture_output=True, encoding="utf-8", cwd=cwd, env=environment, check=False,
    )  # fmt: skip


def test_plan_prints_and_writes_everything_twice_the_same(tmp_path):
    for name in ("one", "two"):
        done = run("plan", DEMO / "boathouse_lawn", "--out", tmp_path / name)
        assert done.returncode == 0, done.stderr
    wanted = {"supports.csv", "pull_list.csv", "plan.json", "profile.svg", "profile.png"}
    assert {path.name for path in (tmp_path / "one").iterdir()} == wanted
    for name in wanted:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
    for words in (
        "Track needed",
        "that another point governs",
        "Largest fill",
        "The truck suffices",
        "ALWAYS",
    ):
        assert words in done.stdout
    content = json.loads((tmp_path / "one" / "plan.json").read_text(encoding="utf-8"))
    assert content["schema"] == 1
    assert len(content["supports"]) > 30


def test_check_reads_only(tmp_path):
    done = run("check", DEMO / "market_yard")
    assert done.returncode == 0
    assert "12 readings" in done.stdout


def test_card_needs_no_survey(tmp_path):
    for name in ("job.toml", "truck.csv"):
        (tmp_path / name).write_text(
            (DEMO / "market_yard" / name).read_text(encoding="utf-8"), encoding="utf-8"
        )
    done = run("card", tmp_path)
    assert done.returncode == 0, done.stderr
    assert "GAP CARD" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 60


def test_form_needs_the_job_file_alone(tmp_path):
    (tmp_path / "job.toml").write_bytes((DEMO / "terrace_edge" / "job.toml").read_bytes())
    done = run("form", tmp_path, "--spacing", "3 ft", "--lasers", 2, "--phone", "--paper", "A4")
    assert done.returncode == 0, done.stderr
    assert {path.name for path in (tmp_path / "form").iterdir()} == {"booking_sheet.pdf", "levels_blank.csv"}
    assert "copy levels_blank.csv to" in done.stdout and "move the levels.csv" not in done.stdout
    assert b"/MediaBox [ 0 0 595." in (tmp_path / "form" / "booking_sheet.pdf").read_bytes()
    again = run("form", tmp_path / "job.toml", "--out", tmp_path / "other", "--no-phone")
    assert again.returncode == 0, again.stderr
    assert b"/MediaBox [ 0 0 612 792" in (tmp_path / "other" / "booking_sheet.pdf").read_bytes()


def test_form_never_touches_readings_that_are_there(tmp_path):
    for name in ("job.toml", "levels.csv"):
        (tmp_path / name).write_bytes((DEMO / "market_yard" / name).read_bytes())
    was = (tmp_path / "levels.csv").read_bytes()
    done = run("form", tmp_path)
    assert done.returncode == 0, done.stderr
    assert "move the levels.csv of the earlier survey away" in done.stdout
    assert (tmp_path / "levels.csv").read_bytes() == was


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--paper", "A5"), "accepted: A4 or Letter"),
        (("--spacing", "1.5"), "accepted: a length with its unit"),
        (("--lasers", "two"), "--lasers"),
    ],
)
def test_form_says_what_is_accepted_and_ends_with_status_2(tmp_path, arguments, words):
    done = run("form", DEMO / "boathouse_lawn", "--out", tmp_path / "x", *arguments)
    assert done.returncode == 2
    assert words in done.stderr and "Traceback" not in done.stderr
    assert not (tmp_path / "x").exists()


def test_start_copies_a_demo_that_plans(tmp_path):
    done = run("start", tmp_path / "mine")
    assert done.returncode == 0, done.stderr
    planned = run("plan", tmp_path / "mine" / "data_demo" / "market_yard" / "job.toml")
    assert planned.returncode == 0, planned.stderr
    assert (tmp_path / "mine" / "data_demo" / "market_yard" / "plan" / "supports.csv").exists()
    again = run("start", tmp_path / "mine")
    assert again.returncode == 2
    assert "a folder with something in it" in again.stderr


def test_wrong_input_ends_with_status_2_and_every_fault(tmp_path):
    (tmp_path / "job.toml").write_text('name = "x"\nunits = "yd"\n[shot]\nend_mark = 3\n', encoding="utf-8")
    (tmp_path / "levels.csv").write_text("station_m,side,rod_mm\n0,lft,1200\n", encoding="utf-8")
    done = run("plan", tmp_path)
    assert done.returncode == 2
    for words in ("units", "shot.end_mark", "section", "levels.csv, row 2", "did you mean 'left'?"):
        assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_what_cannot_be_done_ends_with_status_1(tmp_path):
    text = (DEMO / "boathouse_lawn" / "job.toml").read_text(encoding="utf-8").replace('"8 m"', '"18 m"')
    for path in (DEMO / "boathouse_lawn").glob("*.csv"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    done = run("plan", tmp_path)
    assert done.returncode == 1
    assert "not enough track" in done.stderr


def test_a_plan_with_a_stop_is_printed_and_written_and_ends_with_status_1(tmp_path):
    for path in (DEMO / "market_yard").glob("*.*"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    truck = (tmp_path / "truck.csv").read_text(encoding="utf-8").splitlines()
    (tmp_path / "truck.csv").write_text(
        "\n".join(line[:-2] + "1" if "wedge," in line else line for line in truck)
    )
    done = run("plan", tmp_path)
    assert done.returncode == 1
    assert "SHORT ON THE TRUCK" in done.stdout
    assert "cannot be done as asked" in done.stderr
    assert (tmp_path / "plan" / "pull_list.csv").exists()


@pytest.mark.parametrize("arguments", [("plan",), ("plan", "nowhere"), ("fly", "x")])
def test_a_misused_command_ends_with_status_2_and_no_traceback(tmp_path, arguments):
    done = run(*arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert done.stderr.strip()


def test_importing_trackkit_loads_neither_matplotlib_nor_widgets():
    code = "import sys, trackkit; trackkit.fit_ground; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    loaded = set(done.stdout.split())
    assert not {"matplotlib", "ipywidgets", "scipy.optimize", "scipy.stats", "openpyxl", "reportlab"} & loaded


def test_every_public_name_is_there_and_sorted():
    import trackkit

    for name in trackkit.__all__:
        assert getattr(trackkit, name) is not None
    assert set(trackkit.__all__) == set(trackkit._HOME_OF)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        trackkit.nothing  # noqa: B018


def test_the_readme_shows_what_the_command_prints():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = readme[readme.index("Target for the whole job: ") : readme.index("One of its rods")].splitlines()
    printed = make_plan(load_job(DEMO / "boathouse_lawn")).text().splitlines()
    missing = [line for line in shown if line.strip() and line != "```" and line not in printed]
    assert not missing
