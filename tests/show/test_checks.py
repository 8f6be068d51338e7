"""Pictures of the readings: how far each is off, and the ground that they make."""

import numpy as np
import pandas as pd
import pytest
from demo_jobs import changed, retyped
from reading_back import (
    SIZES,
    named,
    outside,
    overlapping,
    paper,
    polygons,
    smallest_letters,
    state,
    strokes,
    words,
)  # fmt: skip
from show_cases import DEMO, LAWN, lawn
from test_plots import contrast

from trackkit.checked import known_to
from trackkit.desk.typed_job import TypedJob
from trackkit.fitted import fit_readings
from trackkit.job import load_job
from trackkit.show.checks import HARDLY_KNOWN, draw_profile, draw_residuals, off_by
from trackkit.show.profile import rod_heights
from trackkit.show.style import STYLE
from trackkit.survey.ground import fit_ground
from trackkit.survey.known import sd_against_best
from trackkit.survey.readings import make_survey

DRAWN = ["lawn", "over an edge", "forty ties in sixteenths", "boathouse lawn", "terrace edge", "market yard"]


@pytest.fixture(params=DRAWN)
def drawn(case, request):
    return case(request.param)


def residuals(case, size=SIZES[0], ax=None):
    names = case.more.get("side_names")
    return draw_residuals(case.ground, ax=ax or paper(size), display=case.display, side_names=names)


def profile(case, size=SIZES[0], ax=None, **options):
    names = case.more.get("side_names")
    return draw_profile(
        case.ground, ax=ax or paper(size), display=case.display, side_names=names,
        breaks=case.run.breaks, **options,
    )  # fmt: skip


def misread(by, board=0.002):
    """A lawn with one rod misread by so much [m], and two boards, the first of which rises too much."""
    rows = [
        {"laser": "1", "station_m": at, "side": side, "rod_m": 1.6 - lawn(at, side), "point": ""}
        for at in np.arange(0.0, 9.0, 0.75)
        for side in ("left", "right")
    ]
    rows[10]["rod_m"] += by
    boards = [
        {
            "station_m": at, "to_station_m": at + 1.0, "side": "left",
            "rise_m": lawn(at + 1.0, "left") - lawn(at, "left") + more,
        }
        for at, more in ((1.0, board), (4.0, 0.0))
    ]  # fmt: skip
    survey = make_survey(levels=pd.DataFrame(rows), boards=pd.DataFrame(boards))
    return fit_ground(survey, ground_type=LAWN), rows[10]


def test_every_reading_is_drawn_once_as_far_off_as_it_is(drawn):
    ax, table = residuals(drawn), off_by(drawn.ground.residuals)
    marks = named(ax, r"(rod|rod-on-peg|board|left-to-right|step)-(left|right|both)-\w+")
    heights = np.sort(np.concatenate([np.asarray(mark.get_ydata()) for mark in marks]))
    near = np.clip(table["off"] * drawn.unit, heights[0], heights[-1])  # those in doubt may be out of reach
    np.testing.assert_allclose(heights, np.sort(near), atol=1e-12)
    assert set(table.index[np.abs(near - table["off"] * drawn.unit) > 1e-9]) <= set(
        table.index[table["doubtful"]]
    )
    stations = np.sort(np.concatenate([np.asarray(mark.get_xdata()) for mark in marks]))
    placed = table["station_m"].where(
        table["to_station_m"].isna(), (table["station_m"] + table["to_station_m"]) / 2
    )
    found = stations[len(stations) - placed.notna().sum() :]  # pegs stand left of all stations
    np.testing.assert_allclose(found, np.sort(placed.dropna()))


def test_a_rod_read_too_long_is_drawn_below_for_it_has_the_ground_lower():
    ground, wrong = misread(0.03)
    table = off_by(ground.residuals)
    row = table[(table["station_m"] == wrong["station_m"]) & (table["side"] == "left")].iloc[0]
    assert row["off"] < -0.001


def test_a_board_that_rises_too_much_is_drawn_above():
    for board in (0.02, -0.02):
        table = off_by(misread(0.0, board)[0].residuals)
        first = table[table["kind"] == "board"].iloc[0]
        assert np.sign(first["off"]) == np.sign(board)


def test_bars_are_what_a_good_reading_may_be_off(drawn):
    bars, table = strokes(residuals(drawn), "may-be"), drawn.ground.residuals
    expected = 2 * table["sd_m"] * np.sqrt(table["redundancy_apart"]) * drawn.unit
    np.testing.assert_allclose(np.sort(bars[:, 1, 1]), np.sort(expected))
    np.testing.assert_allclose(bars[:, 0, 1], -bars[:, 1, 1])


def test_w_is_the_distance_in_sd_that_the_bars_show(case):
    """So a reading outside its bar is one with a w above 2."""
    table = off_by(case("boathouse lawn").ground.residuals)
    np.testing.assert_allclose(table["off"].abs() / (table["may"] / 2), table["w"].abs(), rtol=1e-6)


def test_signs_say_what_checks_a_reading(case):
    drawn = case("boathouse lawn")
    ground = drawn.ground
    table = ground.residuals.copy()
    table.loc[table.index[-1], "checked"] = "nothing"
    ground.__dict__["residuals"], kept = table, ground.__dict__["residuals"]
    try:
        ax = residuals(drawn)
    finally:
        ground.__dict__["residuals"] = kept
    assert all(mark.get_markerfacecolor() == "white" for mark in named(ax, ".*-smoothness"))
    assert all(mark.get_markerfacecolor() != "white" for mark in named(ax, ".*-readings"))
    (cross,) = named(ax, ".*-nothing")
    assert cross.get_marker() == "x" and len(cross.get_xdata()) == 1
    assert {"hollow: only the ground's smoothness checks it", "cross: nothing checks it"} <= set(words(ax))


def test_each_kind_and_side_has_a_marker_of_its_own(case):
    marks = named(residuals(case("boathouse lawn")), r"(rod|rod-on-peg|board|left-to-right)-\w+-readings")
    assert len({mark.get_marker() for mark in marks}) == len(marks) >= 5


def test_a_reading_in_doubt_is_ringed_and_named_with_how_far_off_it_is():
    ground, wrong = misread(0.03)
    ax = draw_residuals(ground, ax=paper(SIZES[0]))
    doubtful = ground.residuals[ground.residuals["doubtful"]]
    (rings,) = named(ax, "doubtful")
    assert wrong["station_m"] in rings.get_xdata()
    assert rings.get_markersize() > 2 * STYLE["reading"]["markersize"]
    texts = words(ax, r"doubtful-\d+")
    assert len(texts) == len(doubtful) >= 1
    for row, text in zip(doubtful.itertuples(), texts, strict=True):
        assert text.startswith(f"{row.reading}: off by ")
        assert abs(int(text.split()[-2]) - abs(row.off_m) * 1000) <= 0.5
    assert any(abs(int(text.split()[-2]) - 30) <= 3 for text in texts)


def test_a_reading_far_off_does_not_squeeze_the_others_but_stands_at_the_edge():
    """A rod misread by 10 cm bends the fit about it; the others are drawn against the fit without it."""
    near, _ = misread(0.0)
    ground, wrong = misread(0.1)
    ax, table = draw_residuals(ground, ax=paper(SIZES[0])), off_by(ground.residuals)
    good = table[~table["doubtful"]]
    assert good["off"].abs().max() < 3 * off_by(near.residuals)["off"].abs().max()
    top = ax.get_ylim()[1]
    assert top < 0.05 * 1000 and table["off"].min() < -0.09
    arrows = [mark for mark in named(ax, r"farther-(up|down)") if len(mark.get_xdata())]
    assert [list(mark.get_xdata()) for mark in arrows] == [[wrong["station_m"]]]
    assert arrows[0].get_marker() == "$↓$"
    assert "arrow: farther off than is drawn" in words(ax)
    assert any("off by 9" in text or "off by 10" in text for text in words(ax, r"doubtful-\d+"))


def test_the_axis_says_which_way_is_up_and_the_unit(drawn):
    ax = residuals(drawn, SIZES[1])
    assert ax.get_ylabel() == f"off by, {drawn.display.unit} (up: ground higher)"


def test_readings_on_pegs_stand_left_of_all_stations_under_their_names(case):
    ax = residuals(case("terrace edge"))
    (pegs,) = named(ax, "rod-on-peg-.*")
    rods = np.concatenate([mark.get_xdata() for mark in named(ax, "rod-(left|right)-.*")])
    assert max(pegs.get_xdata()) < min(rods)
    assert {"gate post", "step"} <= set(words(ax))
    assert min(ax.get_xticks()) > max(pegs.get_xdata())


def test_rods_are_drawn_at_the_laser_s_height_less_the_rod(drawn):
    ax = profile(drawn)
    levels = drawn.ground.survey.levels
    lasers = drawn.ground.lasers.set_index("laser")["height_m"]
    for side in ("left", "right"):
        own = levels[(levels["side"] == side) & (levels["point"] == "")]
        (marks,) = named(ax, f"{side}-rods")
        heights = [lasers[row.laser] - row.rod_m - np.nan_to_num(row.rail_top_m) for row in own.itertuples()]
        np.testing.assert_allclose(marks.get_ydata(), np.array(heights) * drawn.unit)
        np.testing.assert_allclose(marks.get_xdata(), own["station_m"])


def test_a_rod_lies_off_the_ground_by_its_residual(case):
    """Heights of rods and ground come from one fit: what lies between them is the residual."""
    ground = case("boathouse lawn").ground
    table = ground.residuals.query("kind == 'rod'").set_index("reading")
    rods = rod_heights(ground).set_index("reading")
    mean = [float(ground.height(row.station_m, row.side)[0]) for row in rods.itertuples()]
    np.testing.assert_allclose(rods["height_m"] - mean, table["residual_m"][rods.index], atol=1e-6)


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_ground_is_drawn_with_two_sd_each_way(drawn, side):
    ax = profile(drawn)
    (line,) = named(ax, f"{side}-ground")
    mean, sd = drawn.ground.height(np.array(line.get_xdata()), side)
    np.testing.assert_allclose(line.get_ydata(), mean * drawn.unit)
    (band,) = polygons(ax, f"{side}-doubt")
    half = len(band) // 2
    np.testing.assert_allclose(band[:half, 1], (mean + 2 * sd) * drawn.unit)
    np.testing.assert_allclose(band[half:, 1][::-1], (mean - 2 * sd) * drawn.unit)


def test_boards_lie_on_the_ground_with_the_slope_that_was_read():
    ground, _ = misread(0.0)
    ax = draw_profile(ground, ax=paper(SIZES[0]))
    boards = strokes(ax, "left-boards")
    read = ground.survey.boards
    np.testing.assert_allclose((boards[:, 1, 1] - boards[:, 0, 1]) / 1000, read["rise_m"], atol=1e-6)
    np.testing.assert_allclose(boards[:, :, 0], read[["station_m", "to_station_m"]])
    middle = np.mean(ground.height(boards[:, :, 0].ravel(), "left")[0].reshape(-1, 2), axis=1)
    np.testing.assert_allclose(boards[:, :, 1].mean(axis=1) / 1000, middle)


def test_readings_in_doubt_are_ringed_where_they_put_the_ground():
    ground, wrong = misread(0.03)
    ax = draw_profile(ground, ax=paper(SIZES[0]))
    doubtful = ground.residuals[ground.residuals["doubtful"]]
    assert set(words(ax, r"doubtful-\d+")) == set(doubtful["reading"])
    (rings,) = named(ax, "doubtful")
    heights = rod_heights(ground).set_index("reading")["height_m"]
    np.testing.assert_allclose(rings.get_ydata(), heights[doubtful["reading"]] * 1000)
    assert wrong["station_m"] in rings.get_xdata()


def test_stretches_hardly_known_are_hatched_and_said_so(case):
    drawn = case("market yard")
    ax = profile(drawn, hardly_known=0.012)
    areas = polygons(ax, "hardly-known")
    assert areas and words(ax, r"hardly-\d+")[0] == "hardly known here"
    stations = np.linspace(*ax.get_xlim(), 200)
    sd = np.max([sd_against_best(drawn.ground, stations, side) for side in ("left", "right")], axis=0)
    inside = np.zeros(200, dtype=bool)
    for area in areas:
        inside |= (stations >= area[:, 0].min()) & (stations <= area[:, 0].max())
    assert np.mean(inside == (2 * sd > 0.012)) > 0.98


def test_what_makes_all_ground_rough_is_told_between_the_readings_as_picture_and_number_have_it():
    """One rod 10 cm off: heights where rods stood are known to millimetres, between them to centimetres."""
    job = TypedJob(DEMO / "boathouse_lawn").load(all_readings=True)
    ground, _ = fit_readings(job)
    ax = draw_profile(ground, ax=paper(SIZES[0]), display=job.display)
    assert words(ax, r"hardly-\d+") == ["hardly known between readings"]
    read = np.max([ground.height(ground.stations, side)[1] for side in ground.sides])
    assert 2 * read < HARDLY_KNOWN < known_to(ground)
    (area,) = polygons(ax, "hardly-known")
    assert area[:, 0].min() < ground.stations[0] and area[:, 0].max() > ground.stations[-1]


def test_a_doubtful_datum_hatches_nothing():
    """A peg read once, with a poor rod: all heights above it are doubtful, none against another."""
    rows = [
        {"laser": "1", "station_m": at, "side": side, "rod_m": 1.6 - lawn(at, side), "point": ""}
        for at in np.arange(0.0, 9.0, 0.75)
        for side in ("left", "right")
    ]
    peg = {"laser": "1", "station_m": np.nan, "side": "", "rod_m": 1.5, "point": "P1", "sd_m": 0.05}
    ground = fit_ground(make_survey(levels=pd.DataFrame([*rows, peg])), ground_type=LAWN, datum="P1")
    assert 2 * ground.height(ground.stations, "left")[1].min() > HARDLY_KNOWN
    ax = draw_profile(ground, ax=paper(SIZES[0]), ends=(0.0, 8.0))
    assert not polygons(ax, "hardly-known")
    assert known_to(ground) < HARDLY_KNOWN


def test_ground_that_is_known_is_not_hatched(case):
    ax = profile(case("boathouse lawn"), ends=(-2.0, 9.0))
    assert not polygons(ax, "hardly-known") and not words(ax, r"hardly-\d+")


def test_breaks_stand_where_they_meet_each_side(case):
    drawn = case("terrace edge")
    ((left, right),) = drawn.run.breaks
    ax = profile(drawn)
    found = [line.get_xdata()[0] for line in named(ax, r"break-0-(left|right)")]
    assert found == [left, right]
    assert {"break, garden wall", "break, pond"} <= set(words(ax))


def test_the_exaggeration_that_is_written_is_the_one_that_is_drawn(drawn):
    ax = profile(drawn)
    origin, along, up = ax.transData.transform([(0, 0), (1, 0), (0, drawn.unit)])
    times = (up - origin)[1] / (along - origin)[0]
    assert f"heights drawn {times:.{0 if times >= 3 else 1}f} times too tall" in words(ax, "scale")


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_no_word_overlaps_another_or_leaves_the_page(drawn, size):
    for ax in (residuals(drawn, size), profile(drawn, size, hardly_known=0.015)):
        assert overlapping(ax) == []
        assert outside(ax) == []
        assert smallest_letters(ax) >= 8


@pytest.mark.parametrize("draw", [residuals, profile])
def test_drawing_again_changes_what_is_there_and_adds_nothing(case, draw):
    first, second = case("boathouse lawn"), case("terrace edge")
    ax = draw(first)
    before = state(ax)
    draw(second, ax=ax)
    assert state(ax) == state(draw(second))
    count = len(ax.get_children())
    draw(first, ax=ax)
    assert state(ax) == before
    assert len(ax.get_children()) == count


def test_an_own_figure_is_made_only_when_no_axes_are_given(case):
    drawn, own = case("lawn"), paper(SIZES[0])
    assert residuals(drawn, ax=own) is own and own.figure.axes == [own]
    assert draw_residuals(drawn.ground).figure.get_size_inches()[0] == 11
    assert draw_profile(drawn.ground).figure is not own.figure


@pytest.mark.parametrize(
    ("style", "key", "least"),
    [
        ("note", "color", 7.0), ("bold note", "color", 7.0), ("small", "color", 7.0), ("layer", "color", 7.0),
        ("ring", "markeredgecolor", 3.0), ("caution", "color", 3.0), ("reading", "color", 3.0),
        ("other surface", "color", 3.0), ("stick-out", "facecolor", 3.0), ("no stand", "edgecolor", 3.0),
        ("ground before", "color", 3.0), ("scraped", "edgecolor", 3.0),
    ],
)  # fmt: skip
def test_letters_and_lines_stand_out_from_the_page(style, key, least):
    """WCAG 2.1: 7 to 1 for text (1.4.6), 3 to 1 for graphics (1.4.11); from memory."""
    assert contrast(STYLE[style][key], STYLE["page"]["facecolor"]) >= least


def test_inputs_are_left_as_they_were(case):
    drawn = case("boathouse lawn")
    before = drawn.ground.residuals.copy()
    residuals(drawn), profile(drawn)
    assert drawn.ground.residuals.equals(before)


def test_a_misread_foot_leaves_the_other_rods_as_well_checked_as_they_are_without_it(tmp_path):
    """The foot raises the roughness a hundredfold: by that nothing would check them, which is not so."""
    folder = changed(tmp_path, "terrace_edge")
    retyped(folder / "levels.csv", **{'3,left,"4\' 9"': '3,left,"3\' 9"'})
    table = fit_readings(load_job(folder))[0].residuals
    assert table[table["doubtful"]]["reading"].tolist() == ["levels.csv row 10"]
    assert (table["checked"] != "nothing").all() and (table["redundancy"] < 1e-3).sum() > 20
    others = table[~table["doubtful"]].set_index("reading")
    text = (folder / "job.toml").read_text()
    (folder / "job.toml").write_text(f'leave_out = ["levels.csv row 10"]\n{text}')
    without = fit_readings(load_job(folder))[0].residuals.set_index("reading")
    assert others["checked"].tolist() == without["checked"].tolist()
    np.testing.assert_allclose(others["redundancy_apart"], without["redundancy"], atol=0.01)
