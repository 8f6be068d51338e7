"""The trial panel without a browser: readings taken out, mistakes put right, what to read next, saving."""

import hashlib

import numpy as np
import pytest
from demo_jobs import DEMO, changed

from trackkit.desk import TrialPanel
from trackkit.fitted import fit_readings
from trackkit.job import load_job
from trackkit.survey.readings import read_survey
from trackkit.tables.retyped import retyped

MISREAD = "levels.csv row 32"


def files_of(folder):
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.glob("*.*"))}


@pytest.fixture
def folder(tmp_path):
    return changed(tmp_path, "boathouse_lawn")


@pytest.fixture
def fresh(folder):
    return TrialPanel(folder)


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    return TrialPanel(changed(tmp_path_factory.mktemp("trial"), "boathouse_lawn"))


@pytest.fixture
def panel(opened):
    """A panel that the tests share, with the job as its files say; none of them may save."""
    if opened.typed.changed:
        opened.typed.back_to_file()
        opened._show_table()
    opened._dropped()
    opened.set(goal="fills", tools=(), reading=MISREAD, taken=False)
    return opened


@pytest.mark.parametrize("name", ["market_yard", "terrace_edge"])
def test_a_panel_opens_with_what_its_job_counts(name):
    panel = TrialPanel(DEMO / name)
    job = load_job(DEMO / name)
    ground, _ = fit_readings(job)
    assert panel.trouble == "" and panel.left_out == set(job.file.leave_out)
    at = ground.stations
    np.testing.assert_allclose(panel.ground.height(at, "left"), ground.height(at, "left"), atol=1e-12)
    assert "READ NEXT" in panel.sheet() and panel._residuals.words


def test_a_misread_rod_is_named_explained_and_taken_out_again(panel):
    panel.set(reading=MISREAD, taken=True)
    assert dict(panel.numbers())["in doubt: read again"] == "1"
    assert panel._change.words == "" and "a whole decimetre misread" in panel.sheet()
    assert panel.controls["reading"].options[0][0].startswith(f"in doubt: {MISREAD}, 7.50 m lake side, 153.1")
    panel.set(taken=False)
    numbers = dict(panel.numbers())
    assert numbers["left out here"] == "1" and numbers["in doubt: read again"] == "0"
    assert numbers["ground moves up to"] == "8.3 cm"
    assert "lake side: by up to 8.3 cm up, at 7.50 m" in panel._change.words
    assert panel.controls["reading"].options[0][0].startswith(f"left out: {MISREAD}")


def test_an_explanation_that_no_single_reading_shows_has_a_number_and_comes_before_what_to_read_next(fresh):
    """Left and right exchanged at a station: where the sheet stands it is told first, as the command does."""
    assert "other explanations" not in dict(fresh.numbers())
    rows = [list(cells) for cells in fresh.table.rows]
    place = fresh.table.table.header.index("rod_mm")
    rows[12][place], rows[13][place] = rows[13][place], rows[12][place]
    fresh.table.rows = rows
    fresh._settle_now()
    assert dict(fresh.numbers())["other explanations"] == "1"
    assert "other explanations" in fresh._numbers.value
    sheet = fresh.sheet()
    order = ["perhaps left and right exchanged", "READ AGAIN, should", "Do they agree", "READ NEXT"]
    assert [sheet.index(words) for words in order] == sorted(sheet.index(words) for words in order)


def test_two_readings_can_be_out_at_once_and_each_comes_back(panel):
    panel.set(reading="levels.csv row 12", taken=False)
    assert panel.left_out == {MISREAD, "levels.csv row 12"}
    assert len(panel.ground.residuals) == 54
    panel.set(reading=MISREAD, taken=True)
    assert panel.left_out == {"levels.csv row 12"}


def test_choosing_a_reading_shows_whether_it_counts_and_works_nothing_out(panel):
    ground, sheet = panel.ground, panel.sheet()
    panel.set(reading="levels.csv row 12")
    assert panel.values["taken"] is True
    panel.set(reading=MISREAD)
    assert panel.values["taken"] is False
    assert panel.ground is ground and panel.sheet() == sheet


def test_a_mistake_is_typed_into_the_table_only_when_that_is_asked_for(fresh, folder):
    before = files_of(folder)
    fresh.set(reading=MISREAD, taken=True)
    assert fresh.typed.changed == []
    fresh.put_right()
    assert fresh.typed.changed == ["levels"]
    assert fresh.typed.tables["levels"].rows[30][4] == "1431"
    assert fresh.table.rows[30][4] == "1431"
    assert dict(fresh.numbers())["in doubt: read again"] == "0" and fresh.mistakes == ()
    assert fresh.controls["mistake"].options == (("nothing to propose", -1),)
    fresh._save()
    assert files_of(folder) == before
    saved = folder.with_name("boathouse_lawn_2")
    levels = read_survey(saved).levels.set_index("reading")
    assert levels.loc[MISREAD, "rod_m"] == pytest.approx(1.431)
    assert load_job(saved).file.leave_out == ()


def test_what_is_left_out_is_saved_in_the_new_jobs_file(fresh, folder):
    fresh.set(reading="levels.csv row 12", taken=False)
    fresh._save()
    saved = load_job(folder.with_name("boathouse_lawn_2"))
    assert sorted(saved.file.leave_out) == ["levels.csv row 12", MISREAD]
    assert load_job(folder).file.leave_out == (MISREAD,)
    assert "Saved as the new job boathouse_lawn_2" in fresh._saved.value


def test_nothing_changed_saves_nothing(fresh, folder):
    fresh._save()
    assert "Not saved: nothing differs from the files" in fresh._saved.value
    assert not folder.with_name("boathouse_lawn_2").exists()


def test_back_to_the_files_drops_what_was_taken_out_here(panel):
    assert panel._back.layout.display == "none"
    panel.set(reading="levels.csv row 12", taken=False)
    assert panel._back.layout.display is None
    panel._drop()
    panel._drop()
    assert panel.left_out == {MISREAD} and panel._back.layout.display == "none"


def test_what_to_read_next_follows_goal_and_tools(panel):
    assert panel._under.listing.title.endswith("how high the fills are")
    panel.set(goal="governing", tools=("across", "board"))
    assert panel._under.listing.title.endswith("which tie end is highest")
    assert {row[1] for row in panel._under.listing.rows} <= {
        "a left-to-right, phone both ways round", "a board along the track, phone both ways round"
    }  # fmt: skip
    assert "chance" in panel._under.listing.rows[0][3] and panel._under.listing.title in panel.plain()


def test_figures_typed_into_the_table_count_at_once(panel):
    table = retyped(panel.table.table, 12, "rod_m", 1.55)
    panel.table.rows = [list(cells) for cells in table.rows]
    panel._settle_now()
    assert "levels.csv row 12" in panel.ground.doubtful["reading"].tolist()
    assert "as typed, not as saved: levels" in panel.plain()


def test_a_fault_in_the_table_is_told_and_the_last_answer_stays(panel):
    ground = panel.ground
    rows = [list(cells) for cells in panel.table.rows]
    rows[3][4] = "abc"
    panel.table.rows = rows
    assert "levels.csv, row 5, rod_mm" in panel.trouble and panel.ground is ground
    assert panel.table.faults


def test_a_booking_sheet_is_made_into_the_jobs_folder(fresh, folder):
    fresh._make_form()
    assert (folder / "form" / "booking_sheet.pdf").read_bytes().startswith(b"%PDF")
    assert "Written to boathouse_lawn/form: booking_sheet.pdf" in fresh._formed.value


def test_a_survey_of_pegs_alone_is_put_on_trial_without_a_line(folder):
    levels = (folder / "levels.csv").read_text().splitlines()
    pegs = [line for line in levels if ",P1," in line or ",P2," in line or line.startswith("laser")]
    (folder / "levels.csv").write_text("\n".join(pegs) + "\n")
    for name in ("boards.csv", "crosslevels.csv"):
        (folder / name).unlink()
    text = (folder / "job.toml").read_text().replace(f'leave_out = ["{MISREAD}"]', "")
    (folder / "job.toml").write_text(text)
    panel = TrialPanel(folder)
    assert panel.trouble == "" and "What to read next cannot be said" in panel.sheet()


def test_a_reading_that_is_left_out_stays_so_where_its_row_goes(fresh, folder):
    fresh.set(reading="levels.csv row 12", taken=False)
    with fresh.table.hold_sync(), fresh.table.hold_trait_notifications():
        fresh.table.origins = [*fresh.table.origins[:3], 0, *fresh.table.origins[3:]]
        fresh.table.rows = [*fresh.table.rows[:3], list(fresh.table.rows[3]), *fresh.table.rows[3:]]
    assert fresh.left_out == {"levels.csv row 13", "levels.csv row 33"}
    with fresh.table.hold_sync(), fresh.table.hold_trait_notifications():
        fresh.table.origins = fresh.table.origins[:11] + fresh.table.origins[12:]
        fresh.table.rows = fresh.table.rows[:11] + fresh.table.rows[12:]
    assert fresh.left_out == {"levels.csv row 32"}
    fresh._save()
    assert load_job(folder.with_name("boathouse_lawn_2")).file.leave_out == ("levels.csv row 32",)
