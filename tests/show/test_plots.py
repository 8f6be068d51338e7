"""The side view: what is drawn is what was computed."""

import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib import rc_context, rcParams
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from show_cases import words_on

from trackkit.cribbing import choose_stacks
from trackkit.layout import RailHeight, level_line
from trackkit.layout.fills import fill_table
from trackkit.show.plots import draw_side, side_view
from trackkit.show.saving import picture_bytes
from trackkit.show.style import INK, STYLE
from trackkit.units import DISPLAYS

DRAWN = ["lawn", "over an edge", "forty ties in sixteenths", "terrace edge", "market yard"]


@pytest.fixture(params=DRAWN)
def drawn(case, request):
    return case(request.param)


def side_axes(case, side, **options):
    ax = Figure(figsize=(11, 3.4), dpi=100).add_axes((0.08, 0.14, 0.9, 0.78))
    return draw_side(*case.scene, side=side, ax=ax, display=case.display, **options)


def named(ax, pattern):
    """Return the artists whose name fits, in the order they were drawn."""
    every = [*ax.lines, *ax.collections, *ax.patches, *ax.texts]
    return [artist for artist in every if re.fullmatch(pattern, artist.get_gid() or "")]


def corners_of(ax, side, kind):
    """Return the corners of every piece of a kind, without the point that closes each outline."""
    found = named(ax, f"{side}-{kind.replace(' ', '-')}")
    return [corners for one in found if one.get_visible() for corners in polygons_of(one)]


def polygons_of(areas):
    """Return the corners of each polygon that one artist draws."""
    path = areas.get_path()
    starts = np.flatnonzero(path.codes == path.MOVETO)
    return [polygon[:-1] for polygon in np.split(path.vertices, starts[1:])]


def of_side(case, side):
    return case.fills[case.fills["side"] == side]


def test_the_line_is_drawn_at_its_height(drawn):
    (line,) = named(side_axes(drawn, "left"), "left-line")
    station, height = np.array(line.get_xdata()), np.array(line.get_ydata())
    np.testing.assert_allclose(height, drawn.line.height(station) * drawn.unit)


def test_the_rail_is_drawn_at_its_height(drawn):
    (rail,) = named(side_axes(drawn, "right"), "right-rail")
    np.testing.assert_allclose(rail.get_ydata(), drawn.line.rail_top(rail.get_xdata()) * drawn.unit)


@pytest.mark.parametrize(("name", "times"), [("ground", 0), ("doubt-low", -2), ("doubt-high", 2)])
def test_the_ground_is_drawn_with_two_sd_each_way(drawn, name, times):
    (edge,) = named(side_axes(drawn, "right"), f"right-{name}")
    mean, sd = drawn.ground.height(np.array(edge.get_xdata()), "right")
    np.testing.assert_allclose(edge.get_ydata(), (mean + times * sd) * drawn.unit, atol=1e-9)


def test_a_step_in_the_ground_is_drawn_upright(case):
    drawn = case("over an edge")
    (ground,) = named(side_axes(drawn, "left", breaks=[5.0]), "left-ground")
    station, height = np.array(ground.get_xdata()), np.array(ground.get_ydata())
    step = np.argmax(np.abs(np.diff(height)))
    assert station[step] < 5.0 <= station[step + 1]
    assert station[step + 1] - station[step] < 0.001


@pytest.mark.parametrize("kind", ["box", "lumber", "ply", "pad"])
def test_every_piece_is_drawn_at_its_true_height_and_length(case, kind):
    drawn = case("lawn")
    pieces = [p for stack in drawn.stacks.stacks for p in stack.pieces if p.kind == kind]
    sizes = [
        np.ptp(corners, axis=0)
        for side in ("left", "right")
        for corners in corners_of(side_axes(drawn, side), side, kind)
    ]
    drawn_sizes = sorted((round(long, 6), round(high, 6)) for long, high in sizes)
    assert drawn_sizes == sorted((round(p.length, 6), round(p.thickness * drawn.unit, 6)) for p in pieces)
    assert pieces


@pytest.mark.parametrize("name", ["lawn", "over an edge", "terrace edge"])
def test_pieces_of_a_stack_reach_from_the_ground_to_the_closing_piece_without_a_gap(case, name):
    drawn = case(name)
    ax = side_axes(drawn, "right")
    kinds = ("box", "lumber", "lumber end", "ply", "pad")
    shapes = [shape for kind in kinds for shape in corners_of(ax, "right", kind)]
    rows = of_side(drawn, "right").set_index("tie")
    checked = 0
    for stack in drawn.stacks.stacks:
        if stack.side != "right" or len(stack.ties) > 1 or not stack.pieces:
            continue
        row = rows.loc[stack.ties[0]]
        middles = [row.station_m + piece.slid for piece in stack.pieces]
        own = [s for s in shapes if np.isclose(s[:, 0].mean(), middles, rtol=0.0, atol=1e-6).any()]
        bottoms, tops = (sorted(float(f(s[:, 1])) for s in own) for f in (np.min, np.max))
        under = (row.line_m - stack.closing.height) * drawn.unit
        ground = (row.ground_m + stack.seat_raise) * drawn.unit  # a seat lifts it, scraping lowers it
        assert [*bottoms, under] == pytest.approx([ground, *tops], abs=1e-6)
        checked += 1
    assert checked > 3


def test_every_fill_is_written_once_in_the_display_unit(drawn):
    texts = named(side_axes(drawn, "right"), r"right-tie-\d+-fill")
    own = of_side(drawn, "right")
    ties = [int(text.get_gid().split("-")[2]) for text in texts]
    assert ties == own["tie"].tolist()
    words = [text.get_text().split(":")[-1].strip().replace("−", "-") for text in texts]
    assert words == [drawn.display.small(fill) for fill in own["fill_m"]]


def test_every_figure_says_which_tie_it_is_of(drawn):
    ax = side_axes(drawn, "left")
    for fill in named(ax, r"left-tie-\d+-fill"):
        tie = fill.get_gid().split("-")[2]
        beside = [text.get_text() for text in named(ax, f"left-tie-{tie}")]
        assert beside == [tie] or fill.get_text().startswith(f"{tie}:")


def test_the_unit_of_the_figures_is_written(drawn):
    unit = drawn.display.unit
    words = [text.get_text() for text in side_axes(drawn, "left").texts]
    assert any(word in (f"fill, {unit}", f"tie: fill, {unit}") for word in words)


@pytest.mark.parametrize("size", [(11.7, 8.3), (11, 6)], ids=["A4", "laptop"])
def test_the_exaggeration_that_is_written_is_the_one_that_is_drawn(drawn, size):
    figure = drawn.picture(size)
    for ax in figure.axes:
        origin, along, up = ax.transData.transform([(0, 0), (1, 0), (0, drawn.unit)])
        times = (up - origin)[1] / (along - origin)[0]
        (words,) = (text.get_text() for text in ax.texts if "times too tall" in text.get_text())
        written = re.search(r"([\d.]+) times", words)[1]
        assert float(written) == pytest.approx(times, abs=0.051 if "." in written else 0.51)


def test_both_rails_share_stations_and_one_scale_of_heights(drawn):
    top, bottom = drawn.picture().axes
    assert top.get_xlim() == bottom.get_xlim()
    assert np.ptp(top.get_ylim()) == pytest.approx(np.ptp(bottom.get_ylim()))
    assert top.get_position().y0 > bottom.get_position().y1


def test_ties_in_the_ground_are_black_hatched_white_with_their_figure(case):
    drawn = case("in the ground")
    ax = side_axes(drawn, "left")
    deep = of_side(drawn, "left").query("fill_m < -1e-9")
    sizes = [np.ptp(corners[:, 1]) for corners in corners_of(ax, "left", "negative")]
    np.testing.assert_allclose(sizes, -deep["fill_m"] * drawn.unit)
    (areas,) = named(ax, "left-negative")
    assert areas.get_hatch()
    assert max(areas.get_facecolor()[:3]) == 0.0
    assert min(areas.get_edgecolor()[:3]) == 1.0
    dark = [text for text in named(ax, r"left-tie-\d+-fill") if text.get_color() == "white"]
    assert [text.get_bbox_patch().get_facecolor()[:3] for text in dark] == [(0.0, 0.0, 0.0)] * len(deep)
    assert all(text.get_text().startswith("−") for text in dark if text.get_text() != "0")
    assert len(deep) > 3


def test_a_tie_that_rests_on_the_ground_is_not_drawn_as_in_the_ground(case):
    """A fill of nothing comes with rounding of either sign."""
    drawn = case("lawn")
    resting = drawn.fills["tie"] == 3
    fills = drawn.fills.assign(fill_m=drawn.fills["fill_m"].where(~resting, -1e-12))
    ax = side_axes(replace(drawn, fills=fills), "left")
    assert not named(ax, "left-negative")
    (text,) = named(ax, "left-tie-3-fill")
    assert (text.get_text(), text.get_color()) == ("0.0", INK)


def test_the_reference_carries_the_filled_triangle_and_the_ends_open_ones(drawn):
    for side in ("left", "right"):
        ax = side_axes(drawn, side)
        filled = named(ax, f"{side}-reference-\\d+")
        expected = sorted(point[0] for point in drawn.line.contacts if point[1] == side)
        assert [float(mark.get_xdata()[0]) for mark in filled] == pytest.approx(expected)
        assert all(mark.get_markerfacecolor() == INK for mark in filled)
        assert all(m.get_markerfacecolor() == "white" for m in named(ax, f"{side}-height-mark-\\d+"))
        for mark in (*filled, *named(ax, f"{side}-height-mark-\\d+")):
            height = float(drawn.line.rail_top(mark.get_xdata()[0])) * drawn.unit
            assert mark.get_ydata()[0] == pytest.approx(height)


def test_height_marks_say_the_height_of_the_rail(case):
    drawn = case("over an edge")
    ax = side_axes(drawn, "left")
    words = named(ax, r"left-(height-mark|reference)-\d+-height")
    assert len(words) > 3
    for word in words:
        (mark,) = named(ax, word.get_gid().removesuffix("-height"))
        top = drawn.display.small(float(drawn.line.rail_top(mark.get_xdata()[0])))
        assert re.search(r"[−\d. /]+", word.get_text().removeprefix("rail top "))[0].strip() == top


@pytest.mark.parametrize(("held_at", "expected"), [(None, "head"), (2.0, 2.0)])
def test_a_given_rail_height_is_marked_where_it_is_held(case, held_at, expected):
    base = case("lawn")
    line = level_line(base.ground, base.run, reference=RailHeight(0.4, station=held_at))
    fills = fill_table(base.ground, base.run, line, along=0.5)
    ax = draw_side(base.ground, line.run, line, fills, side="right", held_at=held_at)
    (mark,) = named(ax, r"right-reference-\d+")
    assert mark.get_xdata()[0] == (line.run.head if expected == "head" else expected)


def test_joints_breaks_and_marks_stand_at_their_stations(case):
    drawn = case("over an edge")
    ax = side_axes(drawn, "right", breaks=[5.6])
    found = {}
    for kind in ("joint", "break", "mark"):
        found[kind] = [float(line.get_xdata()[0]) for line in named(ax, f"right-{kind}-\\d+")]
    assert found["joint"] == pytest.approx(drawn.run.joints["station_m"].tolist())
    assert found["break"] == [5.6]
    assert found["mark"] == [drawn.run.shot.start_mark, drawn.run.shot.end_mark]
    words = {text.get_text() for text in ax.texts}
    assert {"start mark", "end mark", "break", *drawn.run.joints["joint"]} <= words


def test_without_stacks_the_fills_are_drawn_as_bars(case):
    drawn = case("no truck")
    ax = side_axes(drawn, "left")
    own = of_side(drawn, "left")
    bars = corners_of(ax, "left", "fill")
    np.testing.assert_allclose([corners[:, 1].min() for corners in bars], own["ground_m"] * drawn.unit)
    np.testing.assert_allclose([corners[:, 1].max() for corners in bars], own["line_m"] * drawn.unit)


def test_a_bar_is_drawn_only_where_something_goes_under(case):
    drawn = replace(case("in the ground"), stacks=None)
    ax = side_axes(drawn, "left")
    over = int((of_side(drawn, "left")["fill_m"] > 0).sum())
    assert len(corners_of(ax, "left", "fill")) == over < len(of_side(drawn, "left"))


@pytest.mark.parametrize("tall", [0.7, 0.9, 1.2, 1.6, 2.4, 5.0])
def test_heights_on_the_axis_stand_apart_on_strips_of_any_height(case, tall):
    drawn = case("lawn")
    figure = Figure(figsize=(11, tall), dpi=100)
    draw_side(*drawn.scene, side="left", ax=figure.add_axes((0.08, 0.2, 0.9, 0.6)), display=drawn.display)
    FigureCanvasAgg(figure).draw()
    boxes = [word.get_window_extent() for word in named(figure.axes[0], r"left-scale-height-\d+")]
    assert boxes
    assert not any(one.overlaps(two) for one, two in pairwise(boxes))


def test_what_the_truck_is_short_of_is_marked_and_its_figure_boxed(case):
    drawn = case("short of pieces")
    ax = side_axes(drawn, "left")
    stacks = [stack for stack in drawn.stacks.stacks if stack.side == "left"]
    wanted = sum(count for stack in stacks for _, count in stack.missing)
    (marked,) = named(ax, "left-missing")
    assert len(polygons_of(marked)) == wanted > 3
    short = {tie for stack in stacks if stack.missing for tie in stack.ties}
    boxed = {int(t.get_gid().split("-")[2]) for t in named(ax, r"left-tie-\d+-fill") if t.get_bbox_patch()}
    assert boxed == short


def test_a_place_that_nothing_closes_is_drawn_as_an_empty_outline(case):
    drawn = case("in the ground")
    lost = [one for one in drawn.stacks.unfillable if one.side == "left"]
    ax = side_axes(drawn, "left")
    empty = corners_of(ax, "left", "none")
    own = of_side(drawn, "left").set_index("tie")
    ties = [tie for one in lost for tie in one.ties]
    assert ties
    np.testing.assert_allclose([c[:, 1].min() for c in empty], own.loc[ties, "ground_m"] * drawn.unit)
    assert STYLE["none"]["facecolor"] == "none"


def test_the_legend_names_what_is_drawn_and_nothing_else(case):
    def words(name):
        return {text.get_gid().removeprefix("legend-") for text in words_on(case(name).picture())}

    plain, deep, short, edge = map(words, ("lawn", "in the ground", "short of pieces", "over an edge"))
    assert "negative" in deep and "negative" not in plain
    assert "missing" in short and "missing" not in plain
    assert "break" in edge and "break" not in plain
    assert {"ground", "doubt", "line", "reference", "box", "joint"} <= plain
    doubt = next(t for t in words_on(case("lawn").picture()) if t.get_gid() == "legend-doubt")
    assert "give or take 2 sd" in doubt.get_text()


def test_fills_of_one_side_only_are_refused_by_name(case):
    drawn = case("lawn")
    with pytest.raises(ValueError, match="fills must have rows of left and right"):
        side_view(drawn.ground, drawn.run, drawn.line, of_side(drawn, "left"))


def test_an_own_figure_is_made_only_when_no_axes_are_given(case):
    drawn = case("lawn")
    ax = draw_side(*drawn.scene, side="left")
    assert ax.figure.get_facecolor()[:3] == (1.0, 1.0, 1.0)
    figure = Figure()
    own = figure.add_subplot()
    assert draw_side(*drawn.scene, side="left", ax=own) is own
    assert figure.axes == [own]


def test_inputs_are_left_as_they_were(case):
    drawn = case("lawn")
    before = drawn.fills.copy()
    drawn.picture()
    assert drawn.fills.equals(before)


def test_a_reader_s_dark_theme_does_not_reach_the_paper(case):
    drawn = case("terrace edge")
    light = picture_bytes(drawn.picture(), "png", dpi=50)
    dark = {"axes.facecolor": "black", "text.color": "white", "font.size": 20, "xtick.color": "white"}
    dark |= {
        "figure.facecolor": "black",
        "axes.edgecolor": "white",
        "hatch.linewidth": 5,
        "lines.linewidth": 9,
    }
    with rc_context(dark):
        before = dict(rcParams)
        figure = drawn.picture()
        assert picture_bytes(figure, "png", dpi=50) == light
        assert dict(rcParams) == before
    assert min(figure.get_facecolor()[:3]) > 0.95


def test_names_are_drawn_letter_by_letter_as_they_are(case):
    drawn = case("lawn")
    odd = {"left": "$5 & <b>", "right": r"100_%$ \alpha$"}
    figure = side_view(*drawn.scene, side_names=odd, title="a $ b $ c", display=DISPLAYS["mm"])
    words = [text.get_text() for ax in figure.axes for text in ax.texts]
    assert "$5 & <b> (left)" in words
    assert r"100_%$ \alpha$ (right)" in words
    svg = ElementTree.fromstring(picture_bytes(figure, "svg"))
    written = {"".join(each.itertext()).strip() for each in svg.iter("{http://www.w3.org/2000/svg}text")}
    assert {"$5 & <b> (left)", r"100_%$ \alpha$ (right)", "a $ b $ c"} <= written


def luminance(colour):
    """Relative luminance as in WCAG 2.1, section 'Terms' (from memory)."""
    parts = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return float(np.dot(parts, (0.2126, 0.7152, 0.0722)))


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize(
    ("style", "key", "least"),
    [
        ("figure", "color", 7.0), ("tie number", "color", 7.0), ("legend", "color", 7.0),
        ("doubt edge", "color", 3.0), ("break", "color", 3.0), ("missing", "edgecolor", 3.0),
        ("mark", "color", 3.0), ("joint", "color", 3.0), ("surface", "color", 3.0), ("earth", "color", 3.0),
    ],
)  # fmt: skip
def test_letters_and_lines_stand_out_from_the_page(style, key, least):
    """WCAG 2.1: 7 to 1 for text (1.4.6), 3 to 1 for graphics (1.4.11); from memory."""
    assert contrast(STYLE[style][key], STYLE["page"]["facecolor"]) >= least


def test_no_two_kinds_of_pieces_look_alike_without_colour():
    kinds = ("box", "lumber", "ply", "pad", "shim", "seat", "fill", "negative")
    signs = set()
    for kind in kinds:
        grey = round(luminance(STYLE[kind]["facecolor"]), 1)
        signs.add((grey, STYLE[kind].get("hatch", ""), kind == "lumber"))  # lumber has its grain
    assert len(signs) == len(kinds)


def test_a_tie_where_nothing_may_stand_is_drawn_as_refused(case):
    """Its zone takes the stack away; the strip must not look as if nothing were wanted there."""
    base = case("lawn")
    tie = int(base.fills["tie"].iloc[6])
    kept = base.fills["tie"] != tie
    fills = base.fills.assign(support_here=kept)
    stacks = choose_stacks(fills[kept], base.stacks.truck)
    refused = replace(base, fills=fills, stacks=stacks)
    picture = refused.picture((11, 8))
    for ax, side in zip(picture.axes[:2], ("left", "right"), strict=True):
        (box,) = corners_of(ax, side, "none")
        row = fills[(fills["tie"] == tie) & (fills["side"] == side)].iloc[0]
        np.testing.assert_allclose(np.mean([x for x, _ in box[:4]]), row["station_m"], atol=1e-9)
        assert any(text.get_bbox_patch() for text in named(ax, f"{side}-tie-{tie}-fill"))
