"""The strip from above: every footprint, wedge and edge lies where it was planned."""

import numpy as np
import pandas as pd
import pytest
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
from show_cases import DEMO

from trackkit.job import load_job
from trackkit.show.above import across_words, draw_above
from trackkit.show.plots import side_view

DRAWN = ["lawn", "over an edge", "forty ties in sixteenths", "short of pieces", "terrace edge", "market yard"]
ZONES = pd.DataFrame(
    {
        "from_m": [-3.0, 5.0, 2.0], "to_m": [5.0, 20.0, 3.5], "side": ["", "left", "right"],
        "ground": ["lawn", "gravel", ""], "support": [True, True, False],
    }
)  # fmt: skip
OBSTACLES = pd.DataFrame({"station_m": [2.1, 6.4], "offset_m": [-0.1, 0.55], "note": ["sprinkler head", ""]})


@pytest.fixture(params=DRAWN)
def drawn(case, request):
    return case(request.param)


def above(case, size=SIZES[0], ax=None, **options):
    names = {"left": "house side", "right": "lake side"}
    return draw_above(
        case.run, case.line, case.fills, case.stacks, ax=ax or paper(size), display=case.display,
        side_names=names, **options,
    )  # fmt: skip


def stacks_of(case, side):
    return [stack for stack in case.stacks.stacks if stack.side == side]


def extent(polygon):
    return (*polygon.min(axis=0), *polygon.max(axis=0))


def test_the_left_rail_lies_above_the_right_one_by_the_gauge(drawn):
    ax = above(drawn)
    left, right = (strokes(ax, f"{side}-rail")[:, 0, 1].mean() for side in ("left", "right"))
    assert left - right == pytest.approx(drawn.run.gauge)
    assert len(strokes(ax, "left-rail")) == 2
    assert ax.get_ylim()[0] < right < left < ax.get_ylim()[1]


def test_every_tie_lies_at_its_station_as_wide_as_it_bears(drawn):
    ties = [extent(tie) for tie in polygons(above(drawn), "ties")]
    np.testing.assert_allclose([(a + b) / 2 for a, _, b, _ in ties], drawn.line.run.ties["station_m"])
    np.testing.assert_allclose([b - a for a, _, b, _ in ties], drawn.line.run.ties["bearing_m"])


@pytest.mark.parametrize("side", ["left", "right"])
def test_every_lowest_piece_is_outlined_at_its_true_size_as_it_lies(drawn, side):
    feet = [extent(foot) for foot in polygons(above(drawn), f"{side}-feet")]
    expected = []
    rows = drawn.fills.set_index(["side", "tie"])["station_m"]
    for stack in stacks_of(drawn, side):
        for piece in stack.pieces[:1]:
            places = [stack.station + piece.slid]
            if piece.per_layer > 1:
                places = [rows[side, tie] for tie in stack.ties]
            expected += [(at - piece.along / 2, at + piece.along / 2, piece.across) for at in places]
    found = [(a, b, top - bottom) for a, bottom, b, top in feet]
    np.testing.assert_allclose(found, np.array(expected).reshape(-1, 3), atol=1e-9)


def test_where_people_walk_the_piles_stand_out_no_farther_than_was_planned(case):
    drawn = case("lawn")  # walked on the right
    ax, outer = above(drawn), -(drawn.run.gauge / 2 + 0.05)
    by_station = {round(s.station + s.pieces[0].slid, 6): s for s in stacks_of(drawn, "right") if s.pieces}
    checked = 0
    for foot in polygons(ax, "right-feet"):
        a, bottom, b, _ = extent(foot)
        stack = by_station[round((a + b) / 2, 6)]
        assert outer - bottom <= stack.overhang + 1e-9
        if stack.pieces[0].across == max(piece.across for piece in stack.pieces):
            assert outer - bottom == pytest.approx(stack.overhang)
            checked += 1
    assert checked > 5


@pytest.mark.parametrize("side", ["left", "right"])
def test_wedges_stick_out_at_their_length_on_their_side(drawn, side):
    found = sorted(extent(end) for end in polygons(above(drawn), f"{side}-stick-outs"))
    rows = drawn.fills[drawn.fills["side"] == side].set_index("tie")
    sign = 1.0 if side == "left" else -1.0
    edge = sign * (drawn.run.gauge / 2 + 0.05)
    expected = []
    for closing in (one for stack in stacks_of(drawn, side) for one in stack.closings if one.goes_in):
        at, half = rows["station_m"][closing.tie], rows["bearing_m"][closing.tie] / 2
        if closing.goes_in == "from outside":
            ends = sorted((edge, edge + sign * closing.stick_out))
            expected.append(("across", at, *ends))
        else:
            ways = {"head": -1.0, "tail": 1.0}
            for way in (way for end, way in ways.items() if end in closing.from_side):
                ends = sorted((at + way * half, at + way * (half + closing.stick_out)))
                expected.append(("along", sign * drawn.run.gauge / 2, *ends))
    assert len(found) == len(expected)
    for kind, middle, low, high in expected:
        spans = [(a, b, (c + d) / 2) if kind == "along" else (c, d, (a + b) / 2) for a, c, b, d in found]
        assert any(np.allclose(span, (low, high, middle), atol=1e-9) for span in spans)


def test_an_arrow_points_in_behind_every_wedge(case):
    drawn = case("lawn")
    ax = above(drawn)
    for side in ("left", "right"):
        ends, arrows = polygons(ax, f"{side}-stick-outs"), polygons(ax, f"{side}-pushes")
        assert len(ends) == len(arrows) > 5
        for end, arrow in zip(ends, arrows, strict=True):
            tip, back = arrow[0], arrow[1:].mean(axis=0)
            assert np.hypot(*(tip - end[1:3].mean(axis=0))) < 1e-9  # the tip is at the wedge's butt
            outwards = end[1:3].mean(axis=0) - end[[0, 3]].mean(axis=0)
            assert np.dot(back - tip, outwards) >= 0


def test_the_exaggeration_that_is_written_is_the_one_that_is_drawn(drawn):
    for size in SIZES:
        ax = above(drawn, size)
        origin, along, up = ax.transData.transform([(0, 0), (1, 0), (0, 1)])
        assert words(ax, "scale") == [across_words((up - origin)[1] / (along - origin)[0])]


def test_stations_are_those_of_the_side_view(drawn):
    figure = side_view(*drawn.scene, display=drawn.display)
    assert above(drawn).get_xlim() == pytest.approx(figure.axes[0].get_xlim(), abs=0.06)
    ends = figure.axes[0].get_xlim()
    assert above(drawn, ends=ends).get_xlim() == ends


def test_joints_and_marks_stand_at_their_stations_with_their_names(case):
    drawn = case("lawn")
    ax = above(drawn)
    found = [line.get_xdata()[0] for line in named(ax, r"joint-\d+")]
    np.testing.assert_allclose(found, drawn.line.run.joints["station_m"])
    assert {*drawn.run.joints["joint"], "start mark", "end mark", "head", "tail"} <= set(words(ax))


def test_a_break_runs_through_where_it_meets_each_side(case):
    ax = above(case("over an edge"), breaks=[(5.0, 5.6)], width=0.62)
    (line,) = named(ax, "break-0")
    aside, stations = line.get_ydata()[::-1], line.get_xdata()[::-1]
    assert np.interp([-0.31, 0.31], aside, stations) == pytest.approx([5.6, 5.0])
    assert "break" in words(ax)


def test_a_break_under_one_rail_only_stays_on_its_side(case):
    ax = above(case("over an edge"), breaks=[(np.nan, 5.6)])
    (line,) = named(ax, "break-0")
    assert line.get_xdata() == pytest.approx([5.6, 5.6])
    assert max(line.get_ydata()) == 0.0


def test_zones_lie_on_their_side_with_their_ground_written(case):
    ax = above(case("lawn"), zones=ZONES)
    both, left, right = (polygons(ax, f"zone-{n}")[0] for n in range(3))
    assert both[:, 1].min() < 0 < both[:, 1].max()
    assert left[:, 1].min() == 0.0 < left[:, 1].max() and left[:, 0].min() == 5.0
    assert right[:, 1].max() == 0.0 and extent(right)[0::2] == (2.0, 3.5)
    assert {"lawn", "gravel", "nothing may stand here"} <= set(words(ax))
    assert named(ax, "zone-2")[0].get_hatch() and not named(ax, "zone-0")[0].get_hatch()


def test_obstacles_are_crossed_where_they_stand_with_their_note(case):
    ax = above(case("lawn"), obstacles=OBSTACLES)
    crosses = [(line.get_xdata()[0], line.get_ydata()[0]) for line in named(ax, r"obstacle-\d+")]
    assert crosses == [(2.1, 0.1), (6.4, -0.55)]
    assert {"sprinkler head", "obstacle"} <= set(words(ax))


@pytest.mark.parametrize(("walk", "shaded"), [("left", 1), ("right", 1), ("both", 2), ("", 0), (None, 0)])
def test_the_walk_side_is_hatched_and_named(case, walk, shaded):
    ax = above(case("lawn"), walk=walk)
    bands = named(ax, "(left|right)-walk")
    assert len(bands) == shaded and all(band.get_hatch() for band in bands)
    assert sum("walk side" in text for text in words(ax)) == shaded
    if walk == "left":
        assert polygons(ax, "left-walk")[0][:, 1].min() > case("lawn").run.gauge / 2
        assert "walk side: house side" in words(ax)


def test_without_stacks_the_bare_track_is_drawn(case):
    drawn = case("no truck")
    ax = above(drawn)
    assert not polygons(ax, ".*-feet") and len(polygons(ax, "ties")) == len(drawn.run.ties)


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_no_word_overlaps_another_or_leaves_the_page(drawn, size):
    ax = above(drawn, size, walk="right", breaks=[(5.0, 5.6)], zones=ZONES, obstacles=OBSTACLES)
    assert overlapping(ax) == []
    assert outside(ax) == []
    assert smallest_letters(ax) >= 8


@pytest.mark.parametrize("name", ["boathouse lawn", "terrace edge"])
def test_every_obstacle_break_and_zone_of_a_job_is_drawn(case, name):
    drawn = case(name)
    survey = load_job(DEMO / name.replace(" ", "_")).survey
    ax = above(drawn, zones=survey.zones, obstacles=survey.obstacles, breaks=drawn.run.breaks)
    assert len(named(ax, r"obstacle-\d+")) == len(survey.obstacles)
    assert len(named(ax, r"break-\d+")) == len(drawn.run.breaks)
    assert len(named(ax, r"zone-\d+")) == len(survey.zones)
    assert overlapping(ax) == []


def test_drawing_again_changes_what_is_there_and_adds_nothing(case):
    first, second = case("lawn"), case("terrace edge")
    ax = above(first, walk="right", zones=ZONES)
    before = state(ax)
    above(second, ax=ax, breaks=second.run.breaks)
    assert state(ax) == state(above(second, breaks=second.run.breaks))
    count = len(ax.get_children())
    above(first, ax=ax, walk="right", zones=ZONES)
    assert state(ax) == before
    assert len(ax.get_children()) == count


def test_an_own_figure_is_made_only_when_no_axes_are_given(case):
    drawn, own = case("lawn"), paper(SIZES[0])
    assert above(drawn, ax=own) is own and own.figure.axes == [own]
    assert draw_above(drawn.run, None, drawn.fills).figure.get_size_inches()[0] == 11
