"""What is said of readings on trial: mistakes, reasons, what to read next, what passes unnoticed, worth."""

import math
from dataclasses import replace

import numpy as np
import pytest
from demo_jobs import DEMO, changed

from trackkit.checked import check_lines, check_text
from trackkit.fitted import fit_job, fit_readings
from trackkit.found import find_out, leave_aside
from trackkit.job import load_job
from trackkit.layout.doubt import fill_model
from trackkit.mistaken import WORDS, mistake_lines, reading_words, short_words, why_words
from trackkit.nextread import GOALS, next_for, next_listing
from trackkit.plan import lay_line
from trackkit.survey.quality import likely_mistakes
from trackkit.survey.quality.at_hand import kinds_of
from trackkit.survey.quality.mistakes import Change, Mistake
from trackkit.survey.quality.slips import single_slips, slips_across
from trackkit.tables.rows import rows_of
from trackkit.units import DISPLAYS
from trackkit.unnoticed import unnoticed_in_fills, unnoticed_lines
from trackkit.worth import planned_fills, worth_lines, worth_listing, worth_text


@pytest.fixture(scope="module")
def counted(tmp_path_factory):
    """The lawn with its misread rod counted."""
    folder = changed(tmp_path_factory.mktemp("jobs"), "boathouse_lawn")
    text = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(text.replace('leave_out = ["levels.csv row 32"]', ""), encoding="utf-8")
    return load_job(folder)


@pytest.fixture(scope="module")
def lawn():
    return load_job(DEMO / "boathouse_lawn")


@pytest.fixture(scope="module")
def laid(lawn):
    return lay_line(lawn, *fit_job(lawn))


@pytest.fixture(scope="module")
def misread(counted):
    return fit_readings(counted)[0]


def test_a_mistake_is_told_with_what_it_should_be_and_the_residual_before_and_after(counted, misread):
    mistakes = likely_mistakes(misread, display=counted.display)
    told, last = mistake_lines(mistakes, misread, counted)
    assert told == (
        "levels.csv row 32 (7.50 m lake side): perhaps 153.1 cm should be 143.1 cm: a whole decimetre "
        "misread. Off by 9.8 cm as read, by 0.2 cm then; no other explanation is as good."
    )
    assert "Nothing has been changed" in last
    assert short_words(mistakes[0], counted) == "levels.csv row 32: 143.1 cm, a whole decimetre misread"
    assert mistake_lines((), misread, counted) == []


def test_every_kind_of_slip_has_words(counted):
    survey = counted.survey
    kinds = {slip.kind for slip in slips_across(survey)}
    for table in ("levels", "boards", "crosslevels"):
        for row in rows_of(getattr(survey, table)):
            for name in ("cm", "1/8 in"):
                kinds |= {slip.kind for slip in single_slips(table, row, DISPLAYS[name])}
    assert kinds | {"feet and inches"} == set(WORDS)


def test_readings_that_go_together_are_named_in_short(counted, misread):
    changes = [Change(f"levels.csv row {row}", "levels", "rod_m", 1.0, 1.1) for row in (5, 4, 6, 9)]
    mistake = Mistake("sides on a stretch", tuple(changes), 0.03, 0.001, 9.0, 0.5, 2, (1, 2))
    (told, _) = mistake_lines([mistake], misread, counted)
    assert told.startswith("levels.csv rows 4 to 6, 9 (-2.50 m to -0.50 m): perhaps left and right exchanged")
    assert "2 other explanations are as good" in told


def test_the_reason_for_a_doubt_says_what_contradicts_it(misread):
    (row,) = rows_of(misread.doubtful)
    assert why_words(row, misread) == "other readings contradict it"
    alone = row._replace(checked="smoothness", chance=0.02)
    assert "a stone or a hole would look the same" in why_words(alone, misread)
    assert "in 1 good survey of 50" in why_words(alone, misread)


def test_what_stands_on_the_rail_is_not_compared_with_stones():
    yard = load_job(DEMO / "market_yard")
    levels = yard.survey.levels.copy()
    levels.loc[6, "rod_m"] += 0.3048
    yard = replace(yard, survey=replace(yard.survey, levels=levels))
    ground = fit_readings(yard)[0]
    text = " ".join(check_text(yard, ground).split())
    assert "only the track about it speaks against it" in why_words(next(rows_of(ground.doubtful)), ground)
    assert "smoothness of the track" in text and "Track, as it lies: it wanders" in text
    assert not any(word in text for word in ("stone", "tussock", "the ground about it"))


def test_a_reading_is_named_by_place_and_figure(counted, misread):
    assert reading_words("levels.csv row 2", misread, counted) == "P1, 134.8 cm"
    assert reading_words("boards.csv row 2", misread, counted) == (
        "-2.50 m to -1.50 m house side, 1.1 degrees, ahead"
    )
    assert reading_words("crosslevels.csv row 2", misread, counted) == "-1.50 m, -1.2 degrees, ahead"


@pytest.mark.parametrize("goal", GOALS)
def test_what_to_read_next_is_a_table_that_gets_better_downwards(laid, goal):
    asked = next_for(laid, goal, kinds=kinds_of(laid.ground.survey))
    listing = next_listing(asked, laid.job)
    assert len(listing.rows) == 3 and GOALS[goal] in listing.title
    if goal == "fills":
        model = fill_model(laid.ground, laid.line.run, laid.line)
        spread = model.jacobian @ laid.ground.covariance(list(model.points)) @ model.jacobian.T
        assert asked.found.before_m == pytest.approx(math.sqrt(np.diag(spread).max()))
        assert asked.found.table["sd_m"].is_monotonic_decreasing
        assert math.isnan(asked.now)
    else:
        assert asked.now >= asked.later[0] >= asked.later[-1] > 0
        assert "chance" in listing.rows[0][3] and "chance" in listing.notes[0]
    assert "P1 and P2" in " ".join(listing.notes)


def test_only_known_goals_are_asked_for(laid):
    with pytest.raises(ValueError, match="goal must be one of fills, governing; got 'speed'"):
        next_for(laid, "speed")


def test_what_is_not_noticed_has_a_figure_for_every_fill(laid):
    table = unnoticed_in_fills(laid)
    assert len(table) == len(laid.fills) and (table["effect_m"] >= 0).all()
    worst = table.iloc[int(table["effect_m"].argmax())]
    (line,) = unnoticed_lines(laid)
    assert f"tie {worst['tie']} {laid.job.side(worst['side'])}" in line and worst["reading"] in line


def test_the_check_leads_with_what_is_in_doubt(counted, misread):
    text = check_text(counted, misread)
    head = text.index("READ AGAIN"), text.index("WHAT MAY HAVE HAPPENED"), text.index("55 readings")
    assert list(head) == sorted(head) and "READ NEXT" not in text


def test_what_is_told_of_the_survey_leaves_a_reading_in_doubt_out_and_says_so(lawn, counted, misread):
    """As the job says it once the rod is left out in its file; nothing is checked less for a decimetre."""
    found = find_out(counted, misread)
    undoubted = leave_aside(counted, misread, found.aside)
    assert undoubted.out == ("levels.csv row 32",) and undoubted.ground.datum == misread.datum
    assert check_lines(undoubted.job, undoubted.ground) == check_lines(lawn, fit_readings(lawn)[0])
    text = " ".join(check_text(counted, misread).split())
    assert "What follows leaves out levels.csv row 32, in doubt." in text
    assert "this leaves levels.csv row 32 out" in check_text(*on_a_line(counted))


def on_a_line(job):
    run, ground = fit_job(job)
    return job, ground, "", lay_line(job, run, ground)


def exchanged(tmp_path, job, table, one, other):
    """Return a demo job with two cells of the last column of a table exchanged, and its ground."""
    folder = changed(tmp_path, job)
    path = folder / table
    rows = path.read_text(encoding="utf-8").splitlines()
    cells = [rows[row - 1].split(",") for row in (one, other)]
    place = rows[0].split(",").index(next(name for name in rows[0].split(",") if name.startswith("rod_")))
    cells[0][place], cells[1][place] = cells[1][place], cells[0][place]
    rows[one - 1], rows[other - 1] = map(",".join, cells)
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    loaded = load_job(folder)
    return loaded, fit_readings(loaded)[0]


def test_the_shortest_of_explanations_that_are_as_good_is_told_once(tmp_path):
    """Left and right exchanged at 19 feet; the rods beyond it are nearly the same on both sides."""
    job, ground = exchanged(tmp_path, "terrace_edge", "levels.csv", 24, 25)
    (mistake,) = likely_mistakes(ground, display=job.display)
    assert mistake.readings == ("levels.csv row 24", "levels.csv row 25") and mistake.others == 0


def test_an_explanation_of_several_readings_comes_before_the_readings_to_take_again(tmp_path):
    job, ground = exchanged(tmp_path, "boathouse_lawn", "levels.csv", 14, 15)
    found = find_out(job, ground)
    text = " ".join(check_text(job, ground).split())
    assert found.whole == 1 and found.aside == ()
    assert "It accounts for the reading in doubt." in text
    assert text.index("WHAT MAY HAVE HAPPENED") < text.index("READ AGAIN, should what may have happened not")
    assert "What follows counts all as it was read" in text


def test_a_misread_decimetre_beside_an_exchange_is_left_out_of_whether_they_agree(tmp_path):
    job, _ = exchanged(tmp_path, "boathouse_lawn", "levels.csv", 14, 15)
    levels = job.survey.levels.copy()
    levels.loc[levels["reading"] == "levels.csv row 18", "rod_m"] += 0.1
    job = replace(job, survey=replace(job.survey, levels=levels))
    found = find_out(job, fit_readings(job)[0])
    assert found.aside == ("levels.csv row 18",)
    assert any(line.startswith("With levels.csv row 18 left out, the readings") for line in found.agreement)
    assert "would account for levels.csv row 14" in found.doubts.notes[0]


def test_a_knocked_laser_counts_among_the_explanations_of_its_last_reading(counted, misread):
    last = counted.survey.levels.set_index("reading")["laser"].eq("by the willow")[::-1].idxmax()
    change = Change(last, "levels", "rod_m", 1.487, 1.478)
    mistake = Mistake("digits", (change,), 0.01, 0.001, 6.0, 0.5, 0, (1,))
    (told, _) = mistake_lines([mistake], misread, counted)
    assert "1 other explanation is as good: a laser that was knocked before this reading would look" in told
    (told, _) = mistake_lines([replace(mistake, off_m=0.1)], misread, counted)
    assert "no other explanation is as good" in told


def test_a_rod_that_stood_upside_down_is_told_with_its_length(counted):
    change = Change("levels.csv row 5", "levels", "rod_m", 1.553, 1.447)
    mistake = Mistake("upside down", (change,), 0.1, 0.001, 9.0, 0.5, 0, (1,))
    assert short_words(mistake, counted).endswith("a 3 m rod stood upside down")


def test_planned_fills_grow_with_roughness_and_spacing(lawn):
    table = planned_fills(lawn, spacing=1.0)
    assert set(table["ground"]) == {"paving", "lawn", "rough grass"}
    by_ground = table.groupby("ground", sort=False)["sd_m"].max()
    assert by_ground.is_monotonic_increasing
    assert table.groupby("ground")["sd_m"].min().max() == pytest.approx(0.0, abs=1e-9)
    closer = planned_fills(lawn, spacing=0.5).groupby("ground", sort=False)["sd_m"].max()
    assert (closer <= by_ground + 1e-9).all()


def test_worth_is_told_in_the_crews_unit_and_not_for_track_that_lies():
    lines = worth_lines(load_job(DEMO / "terrace_edge"))
    assert len(lines) == 1 and " in on paving" in lines[0] and "guess" in lines[0]
    yard = load_job(DEMO / "market_yard")
    assert worth_lines(yard) == []
    with pytest.raises(ValueError, match="read where it lies"):
        planned_fills(yard)


def test_the_worth_table_fits_a_page():
    listing = worth_listing(12.0, DISPLAYS["cm"])
    assert len(listing.rows) == 15 and all(len(row) == len(listing.head) for row in listing.rows)
    text = worth_text(3.0, DISPLAYS["1/8 in"], width=76)
    assert max(map(len, text.splitlines())) <= 76 and "9' 10\"" in text
