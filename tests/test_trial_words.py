"""What is said of readings on trial: mistakes, reasons, what to read next, what passes unnoticed, worth."""

import math

import numpy as np
import pytest
from demo_jobs import DEMO, changed

from trackkit.checked import check_text
from trackkit.fitted import fit_job, fit_readings
from trackkit.job import load_job
from trackkit.layout.doubt import fill_model
from trackkit.mistaken import WORDS, mistake_lines, reading_words, short_words, why_words
from trackkit.nextread import GOALS, kinds_of, next_for, next_listing
from trackkit.plan import lay_line
from trackkit.survey.quality import likely_mistakes
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


def test_a_reading_is_named_by_place_and_figure(counted, misread):
    assert reading_words("levels.csv row 2", misread, counted) == "P1, 134.8 cm"
    assert reading_words("boards.csv row 2", misread, counted) == (
        "-2.50 m to -1.50 m house side, 1.1 degrees, ahead"
    )
    assert reading_words("crosslevels.csv row 2", misread, counted) == "-1.50 m, -1.2 degrees, ahead"


@pytest.mark.parametrize("goal", GOALS)
def test_what_to_read_next_is_a_table_that_gets_better_downwards(laid, goal):
    asked = next_for(laid, goal, kinds=kinds_of(laid))
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
    head = text.index("READ AGAIN"), text.index("WHAT MAY HAVE HAPPENED"), text.index("56 readings")
    assert list(head) == sorted(head) and "READ NEXT" not in text


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
