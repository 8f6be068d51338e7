"""The booking sheet of a job: its stations, its rows, and a table that reads back when it is filled in."""

import shutil

import numpy as np
import pandas as pd
import pytest
from demo_jobs import DEMO, GOOD, changed

from trackkit.booking import MOST_SPACING, blank_form, blank_levels, stations_of, uses_phone
from trackkit.fitted import fit_job, lay_job
from trackkit.form import SHEET, TABLE, save_form
from trackkit.job import load_job
from trackkit.problems import CannotDo, InputProblems
from trackkit.show.form_rods import rod_lines
from trackkit.survey.readings import read_survey

JOBS = ("boathouse_lawn", "market_yard", "terrace_edge")


def before(path):
    """Load a job as it is before anything is read and before the truck is packed."""
    return load_job(path, survey=False, truck=False)


def job_of(tmp_path, text=GOOD):
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    return before(tmp_path)


def filled(folder, table, rod="120"):
    """Fill the rods of a blank table in, as somebody types them, and put it into a job's folder."""
    frame = pd.read_csv(table, dtype=str, keep_default_na=False)
    column = next(name for name in frame if name.startswith("rod_"))
    frame[column] = rod if isinstance(rod, str) else list(rod)
    frame.to_csv(folder / "levels.csv", index=False)
    return frame


# --- stations -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["boathouse_lawn", "terrace_edge"])
@pytest.mark.parametrize("spacing", [None, 0.4, 1.0, 9.0])
def test_stations_reach_beyond_the_run_hold_every_joint_and_lie_no_farther_apart(name, spacing):
    job = before(DEMO / name)
    run, at = lay_job(job), np.array(stations_of(job, spacing))
    step = 0.0254 if job.display.unit == "in" else 0.01
    assert at[0] < run.head < run.tail < at[-1]
    assert run.head - at[0] < 0.2 and at[-1] - run.tail < 0.2
    assert np.abs(run.joints["station_m"].to_numpy()[:, None] - at).min(axis=1).max() <= step / 2 + 1e-9
    assert (np.diff(at) > 0).all() and np.diff(at).max() <= (spacing or MOST_SPACING) + step
    np.testing.assert_allclose(at / step, np.round(at / step), atol=1e-3)


def test_stations_lie_about_two_ties_apart_unless_it_is_said():
    at = np.array(stations_of(before(DEMO / "boathouse_lawn")))
    assert 1.0 <= np.diff(at).max() <= 1.4  # ties of that track lie 0.7 m apart


@pytest.mark.parametrize("spacing", [0.0, -1.0, 0.05, float("nan"), float("inf")])
def test_a_spacing_that_is_none_is_refused(spacing, tmp_path):
    with pytest.raises(InputProblems, match=r"spacing: found .*accepted: a length of 10.0 cm or more"):
        stations_of(job_of(tmp_path), spacing)


def test_a_grade_that_the_job_states_draws_the_stations_together(tmp_path):
    level = stations_of(job_of(tmp_path))
    steep = stations_of(job_of(tmp_path, GOOD + '[line]\nkind = "grade"\ngrade = "20 %"\n'))
    assert steep[-1] - steep[0] < level[-1] - level[0]


# --- rows ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", JOBS)
@pytest.mark.parametrize("lasers", [1, 2, 3])
def test_the_table_has_the_rows_of_the_sheet_in_their_order(name, lasers):
    form = blank_form(before(DEMO / name), lasers=lasers)
    table, lines = blank_levels(form), rod_lines(form)
    assert [line.row for line in lines] == list(range(2, len(table) + 2))
    assert table["laser"].tolist() == [line.laser for line in lines]
    for line, row in zip(lines, table.to_dict("records"), strict=True):
        place = row.get("point") or (
            f"{row['section']} {row['end']}" if form.by_section else row[f"station_{form.long_unit}"]
        )
        assert line.where.removesuffix(" m").replace("−", "-") == place
        assert row["side"] == ("" if row.get("point") else "right" if line.right else "left")


def test_what_is_read_again_is_compared_with_the_first_reading_of_the_same_position():
    form = blank_form(before(DEMO / "boathouse_lawn"), lasers=2)
    rows = form.rows.set_index("row")
    again = rows[rows["first"] > 0]
    assert len(again) == 6
    for row in again.itertuples():
        first = rows.loc[row.first]
        assert (first["laser"], first["point"], first["side"]) == (row.laser, row.point, row.side)
        assert first["why"] in ("start", "ground", "shared")
    assert form.allowed == pytest.approx(3 * 2**0.5 * 0.0015)


def test_a_rough_in_is_read_at_its_corners_and_asks_for_no_peg():
    form = blank_form(before(DEMO / "market_yard"))
    table = blank_levels(form)
    assert list(table) == ["laser", "section", "end", "side", "rod_in", "reader", "note"]
    corners = list(zip(table["section"], table["end"], table["side"], strict=True))
    assert corners[:3] == [("1", "head", "left"), ("1", "tail", "left"), ("2", "head", "left")]
    assert corners[6:8] == [("3", "tail", "right"), ("3", "head", "right")]
    assert len(set(corners)) == 12 and corners[-1] == ("1", "head", "left")


def test_a_rough_in_reads_pegs_that_are_named_or_tie_positions_together(tmp_path):
    named = changed(tmp_path, "market_yard", **{"[line]": '[pegs]\ncontrol = "kerb"\n[line]'})
    assert blank_form(before(named)).pegs == ("kerb", "P1")
    assert blank_form(before(DEMO / "market_yard"), lasers=2).pegs == ("P1", "P2")


def test_pegs_are_those_of_the_job_file():
    assert blank_form(before(DEMO / "terrace_edge")).pegs == ("gate post", "step")


def test_pegs_that_are_not_named_have_names_of_their_own(tmp_path):
    assert blank_form(job_of(tmp_path)).pegs == ("P1", "P2")
    assert blank_form(job_of(tmp_path, GOOD + '[pegs]\ncheck = "P1"\n')).pegs == ("P2", "P1")
    assert blank_form(job_of(tmp_path, GOOD + '[pegs]\ncontrol = "P2"\n')).pegs == ("P2", "P1")


def test_a_phone_is_asked_for_where_one_was_used_or_it_is_wanted(tmp_path):
    lawn, yard = before(DEMO / "boathouse_lawn"), before(DEMO / "market_yard")
    assert uses_phone(lawn) and not uses_phone(yard)
    assert blank_form(lawn).phone and not blank_form(lawn, phone=False).phone
    assert not blank_form(yard).phone and blank_form(yard, phone=True).phone
    assert uses_phone(job_of(tmp_path, GOOD + '[instruments]\nangles = { phone = "0.2 deg" }\n'))


@pytest.mark.parametrize("lasers", [0, 99])
def test_laser_positions_that_cannot_be_are_refused(lasers, tmp_path):
    with pytest.raises(InputProblems, match=f"lasers: found {lasers}; accepted: a whole number from 1 to "):
        blank_form(job_of(tmp_path), lasers=lasers)


def test_a_spacing_for_a_rough_in_is_refused():
    with pytest.raises(InputProblems, match="read at the corners of its sections"):
        blank_form(before(DEMO / "market_yard"), spacing=1.0)


# --- files --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", JOBS)
@pytest.mark.parametrize("lasers", [1, 2])
def test_a_filled_copy_reads_back_row_for_row(tmp_path, name, lasers):
    """Stations exactly as they were asked for, feet and inches too."""
    job = before(DEMO / name)
    _, table = save_form(job, tmp_path / "form", lasers=lasers)
    rods = [str(47 + number % 7) for number in range(len(blank_form(job, lasers=lasers).rows))]
    filled(tmp_path, table, rods)
    levels, rows = read_survey(tmp_path).levels, blank_form(job, lasers=lasers).rows
    for column in ("laser", "point", "side", "end"):
        assert levels[column].tolist() == rows[column].tolist()
    np.testing.assert_allclose(levels["station_m"], rows["station_m"], atol=1e-9)
    assert levels["section"].fillna(0).astype(int).tolist() == rows["section"].tolist()
    assert levels["row"].tolist() == rows["row"].tolist()
    unit = {"cm": 0.01, "mm": 0.001, "in": 0.0254}[job.display.unit]
    np.testing.assert_allclose(levels["rod_m"], unit * np.array(rods, dtype=float))


@pytest.mark.parametrize("rod", ["4' 10 3/8\"", "58 3/8"])
def test_rods_of_a_job_in_inches_may_be_typed_both_ways(tmp_path, rod):
    _, table = save_form(before(DEMO / "terrace_edge"), tmp_path)
    filled(tmp_path, table, rod)
    np.testing.assert_allclose(read_survey(tmp_path).levels["rod_m"], 58.375 * 0.0254)


@pytest.mark.parametrize("lasers", [1, 3])
def test_a_filled_copy_makes_ground_for_the_job(tmp_path, lasers):
    """Invented rods from a plane with a slope of 3 %: the fit gives it back."""
    shutil.copy(DEMO / "boathouse_lawn" / "job.toml", tmp_path / "job.toml")
    text = (tmp_path / "job.toml").read_text(encoding="utf-8").replace("leave_out", "# leave_out")
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    job = before(tmp_path)
    _, table = save_form(job, tmp_path / "form", lasers=lasers)
    rows = blank_form(job, lasers=lasers).rows
    low = 1.5 + 0.1 * rows["laser"].astype(int) - 0.03 * rows["station_m"].fillna(0.0)
    noise = np.random.default_rng(3).normal(0, 0.05, len(rows))
    filled(tmp_path, table, [f"{100 * rod + off:.1f}" for rod, off in zip(low, noise, strict=True)])
    _, ground = fit_job(load_job(tmp_path))
    (start, end), _ = ground.height([0.0, 8.0], "left")
    assert end - start == pytest.approx(0.24, abs=0.003)
    assert ground.doubtful.empty


def test_a_rod_that_was_not_typed_is_a_fault_with_its_row(tmp_path):
    _, table = save_form(before(DEMO / "boathouse_lawn"), tmp_path)
    frame = filled(tmp_path, table)
    frame.loc[3, "rod_cm"] = ""
    frame.to_csv(tmp_path / "levels.csv", index=False)
    with pytest.raises(InputProblems) as caught:
        read_survey(tmp_path)
    assert str(caught.value).startswith("levels.csv, row 5, rod_cm: found an empty cell")
    assert "delete the whole row" in str(caught.value) and len(caught.value.problems) == 1


def test_the_files_are_the_same_twice_and_beside_a_job_they_change_nothing_of_it(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn")
    was = {path.name: path.read_bytes() for path in folder.iterdir()}
    first = [path.read_bytes() for path in save_form(load_job(folder), folder)]
    assert first == [path.read_bytes() for path in save_form(before(folder), folder)]
    assert {path.name for path in folder.iterdir()} == {*was, SHEET, TABLE}
    assert all((folder / name).read_bytes() == content for name, content in was.items())
    read_survey(folder)  # the blank table beside levels.csv is not taken for it


@pytest.mark.parametrize(
    "text",
    ["laser;rod_cm\n1;\n1;120,5\n", "something else\n1\n", "laser,rod_cm\n1,\n1,120.5\n"],
    ids=["saved with semicolons", "no table of ours", "rods typed"],
)
def test_a_table_that_somebody_typed_into_is_never_replaced(tmp_path, text):
    (tmp_path / TABLE).write_text(text, encoding="utf-8")
    with pytest.raises(InputProblems, match=r"row 3|no blank table") as caught:
        save_form(before(DEMO / "boathouse_lawn"), tmp_path)
    assert "move it into the job's folder as levels.csv" in str(caught.value)
    assert (tmp_path / TABLE).read_text(encoding="utf-8") == text
    assert not (tmp_path / SHEET).exists()


def test_everything_wrong_with_what_is_asked_is_said_at_once(tmp_path):
    with pytest.raises(InputProblems) as caught:
        save_form(before(DEMO / "boathouse_lawn"), tmp_path, paper="A5", spacing="1.5")
    said = str(caught.value)
    assert "the form, paper: found 'A5'; accepted: A4 or Letter" in said
    assert "the form, spacing: found '1.5'; accepted: a length with its unit" in said
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(("name", "points"), [("boathouse_lawn", b"595."), ("market_yard", b"612 792")])
def test_paper_is_a4_for_metres_and_letter_for_inches(tmp_path, name, points):
    sheet, _ = save_form(before(DEMO / name), tmp_path)
    assert b"/MediaBox [ 0 0 " + points in sheet.read_bytes()


def test_a_spacing_may_be_text_or_metres(tmp_path):
    job = job_of(tmp_path)
    same = [
        save_form(job, tmp_path / str(n), spacing=own)[1] for n, own in enumerate((0.5, "50 cm", "0.5 m"))
    ]
    assert len({path.read_bytes() for path in same}) == 1


def test_a_job_with_too_little_track_says_so(tmp_path):
    job = job_of(tmp_path, GOOD.replace('"6 m"', '"60 m"'))
    with pytest.raises(CannotDo, match="not enough track"):
        save_form(job, tmp_path / "form")
