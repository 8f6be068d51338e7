"""The ground panel without a browser: tables as typed, what they make of the ground, saving."""

import hashlib

import numpy as np
import pytest
from demo_jobs import DEMO, changed

from trackkit.desk import GroundPanel
from trackkit.desk.typed_job import TypedJob
from trackkit.fitted import fit_readings
from trackkit.job import load_job
from trackkit.problems import InputProblems
from trackkit.tables.typed import TypedTable


@pytest.fixture
def folder(tmp_path):
    return changed(tmp_path, "boathouse_lawn")


@pytest.fixture
def panel(folder):
    return GroundPanel(folder)


def retyped(table, row, column, text):
    """Return a table with one cell typed anew; rows count as in a spreadsheet."""
    rows = [list(cells) for cells in table.rows]
    rows[row - 2][table.header.index(column)] = text
    return TypedTable(table.name, table.header, tuple(map(tuple, rows)), table.header_row)


def type_into(panel, row, column, text):
    """Type into the shown table as the page does, and let the panel settle."""
    table = retyped(panel.table.table, row, column, text)
    panel.table.rows = [list(cells) for cells in table.rows]
    panel._settle_now()


def files_of(folder):
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir())}


@pytest.mark.parametrize("name", ["boathouse_lawn", "market_yard", "terrace_edge"])
def test_a_panel_opens_with_the_ground_of_its_job(name):
    panel = GroundPanel(DEMO / name)
    ground, _ = fit_readings(load_job(DEMO / name))
    assert panel.trouble == ""
    at = ground.stations
    np.testing.assert_allclose(panel.ground.height(at, "left"), ground.height(at, "left"), atol=1e-12)
    assert all(picture.words for picture in panel.pictures)


def test_a_misread_rod_that_is_typed_in_is_named_and_goes_when_it_is_mended(panel):
    """Row 20 off by a whole decimetre, the commonest slip of a rod."""
    row = 20
    rod = panel.table.table.rows[row - 2][panel.table.table.header.index("rod_mm")]
    type_into(panel, row, "rod_mm", str(int(rod) + 100))
    assert panel.ground.doubtful["reading"].tolist() == [f"levels.csv row {row}"]
    assert f"levels.csv row {row}" in panel._sheet.value
    assert dict(panel.numbers())["in doubt: read again"] == "1"
    assert f"levels.csv row {row}" in panel._residuals.words
    type_into(panel, row, "rod_mm", rod)
    assert panel.ground.doubtful.empty


def test_text_that_cannot_be_read_is_marked_and_the_last_good_picture_stays(panel):
    shown, ground = panel._profile.widget.value, panel.ground
    type_into(panel, 5, "rod_mm", "abc")
    (fault,) = panel.table.faults
    assert (fault["row"], fault["column"]) == (3, panel.table.table.header.index("rod_mm"))
    assert "abc" in fault["text"]
    assert "levels.csv, row 5, rod_mm" in panel.trouble
    assert panel._profile.widget.value == shown
    assert panel.ground is ground
    assert panel.table.rows[3][panel.table.table.header.index("rod_mm")] == "abc"
    type_into(panel, 5, "rod_mm", "1453")
    assert panel.trouble == ""
    assert panel.table.faults == []


def test_the_truck_refuses_a_negative_count(panel):
    panel.set(table="truck")
    assert "count" in panel.table.table.header
    type_into(panel, 2, "count", "-3")
    assert panel.table.faults
    assert "truck.csv, row 2" in panel.trouble


def test_what_was_typed_into_one_table_is_there_when_it_is_shown_again(panel):
    type_into(panel, 4, "rod_mm", "1435")
    panel.set(table="truck")
    panel.set(table="levels")
    assert "1435" in panel.table.rows[2]
    assert panel.typed.changed == ["levels"]


def test_readings_that_the_job_leaves_out_can_be_counted(panel):
    panel.set(counted=True)
    assert panel.ground.doubtful["reading"].tolist() == ["levels.csv row 32"]
    panel.set(counted=False)
    assert panel.ground.doubtful.empty


def test_saving_writes_a_new_job_with_what_was_typed_and_touches_nothing_old(panel, folder):
    before = files_of(folder)
    type_into(panel, 4, "rod_mm", "1435")
    panel._save()
    panel._save()
    assert files_of(folder) == before
    for number in (2, 3):
        copy = folder.with_name(f"boathouse_lawn_{number}")
        assert set(files_of(copy)) == set(before)
        survey = load_job(copy).survey
        assert survey.levels.loc[survey.levels["row"] == 4, "rod_m"].item() == pytest.approx(1.435)
    assert "boathouse_lawn_3" in panel._saved.value


def test_what_cannot_be_read_can_be_saved_all_the_same(panel, folder):
    """A grip who is called away keeps what was typed."""
    type_into(panel, 5, "rod_mm", "abc")
    panel._save()
    with pytest.raises(InputProblems, match="abc"):
        load_job(folder.with_name("boathouse_lawn_2"))


def test_a_typed_job_is_judged_as_its_files_are(folder):
    typed = TypedJob(folder)
    typed.change(retyped(typed.tables["levels"], 7, "side", "middle"))
    with pytest.raises(InputProblems) as one:
        typed.load()
    (folder / "levels.csv").write_bytes(typed.tables["levels"].csv_bytes())
    with pytest.raises(InputProblems) as other:
        load_job(folder)
    assert one.value.problems == other.value.problems
    assert "middle" in str(one.value)


def without_row(table, row):
    rows = list(table.rows)
    del rows[row - 2]
    return TypedTable(table.name, table.header, tuple(rows), table.header_row)


@pytest.mark.parametrize(("removed", "left_out"), [(6, "levels.csv row 31"), (34, "levels.csv row 32")])
def test_a_reading_that_is_left_out_stays_left_out_when_rows_move(panel, folder, removed, left_out):
    """The job leaves out row 32, misread by 10 cm; without row 6 it is row 31."""
    panel.table.rows = [list(cells) for cells in without_row(panel.table.table, removed).rows]
    panel._settle_now()
    assert panel.trouble == ""
    assert panel.ground.doubtful.empty
    assert panel.job.file.leave_out == (left_out,)
    panel._save()
    assert load_job(folder.with_name("boathouse_lawn_2")).file.leave_out == (left_out,)


def test_a_reading_that_is_left_out_and_then_removed_is_left_out_no_more(panel):
    """Nothing else may be left out in its place."""
    count = len(panel.ground.residuals)
    panel.table.rows = [list(cells) for cells in without_row(panel.table.table, 32).rows]
    panel._settle_now()
    assert panel.trouble == ""
    assert panel.job.file.leave_out == ()
    assert len(panel.ground.residuals) == count
    assert panel.ground.doubtful.empty


def test_what_was_typed_is_there_again_when_another_job_was_looked_at(tmp_path, folder):
    other = changed(tmp_path, "market_yard")
    panel = GroundPanel(folder)
    type_into(panel, 4, "rod_mm", "1435")
    panel.set(job=str(other.resolve()))
    panel.set(job=str(folder.resolve()))
    assert "1435" in panel.table.rows[2]
    assert panel.typed.changed == ["levels"]


def test_a_slip_in_the_checks_of_instruments_is_told_and_leaves_the_ground_alone(folder):
    (folder / "check_phone.csv").write_text(
        "place,facing,angle_deg\n1,ahead,abc\n1,back,0.1\n", encoding="utf-8"
    )
    panel = GroundPanel(folder)
    assert panel.trouble == ""
    assert "check_phone.csv, row 2, angle_deg" in panel._sheet.value
    (folder / "check_phone.csv").write_text(
        "place,facing,angle_deg\n1,ahead,0.5\n1,back,0.1\n", encoding="utf-8"
    )
    assert "Zero error of phone: +0.20 degrees" in GroundPanel(folder)._sheet.value


def test_what_is_typed_into_a_job_that_gives_no_ground_is_not_told_of_the_one_before(tmp_path, folder):
    other = changed(tmp_path / "other", "market_yard")
    panel = GroundPanel(folder)
    panel.controls["job"].options = [*panel.controls["job"].options, ("other", str(other))]
    panel.set(job=str(other))
    type_into(panel, 4, "rod_in", "abc")
    panel._settle_now()
    assert panel.trouble
    assert "not saved" not in panel._sheet.value
    assert not any("as typed" in part for part in panel.settings())
