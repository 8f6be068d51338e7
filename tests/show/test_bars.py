"""Bars of fills and of chances: what is drawn is what was computed."""

from dataclasses import replace

import numpy as np
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

from trackkit.advice import chance_words
from trackkit.layout.governing import governing_chances
from trackkit.show.bars import draw_fills, draw_governing
from trackkit.show.style import STYLE

DRAWN = ["lawn", "in the ground", "forty ties in sixteenths", "terrace edge", "market yard"]


@pytest.fixture(params=DRAWN)
def drawn(case, request):
    return case(request.param)


def of_side(table, side):
    return table[table["side"] == side]


def fills_of(case, size=SIZES[0], **options):
    names = case.more.get("side_names")
    return draw_fills(case.fills, ax=paper(size), display=case.display, side_names=names, **options)


def chances_of(case, size=SIZES[0], **options):
    names = case.more.get("side_names")
    governing = governing_chances(case.ground, case.line)
    return governing, draw_governing(
        governing, ax=paper(size), display=case.display, side_names=names, **options
    )


@pytest.mark.parametrize("side", ["left", "right"])
def test_every_bar_is_as_high_as_its_fill_and_stands_at_its_tie(drawn, side):
    bars = polygons(fills_of(drawn), f"{side}-fills")
    own = of_side(drawn.fills, side).query("fill_m >= -1e-9")
    assert len(bars) == len(own)
    tops = [bar[np.argmax(np.abs(bar[:, 1])), 1] for bar in bars]
    np.testing.assert_allclose(tops, own["fill_m"] * drawn.unit, atol=1e-7)
    assert [round(bar[:, 0].mean()) for bar in bars] == own["tie"].tolist()


def test_the_bars_of_a_tie_stand_left_and_right_of_it(drawn):
    ax = fills_of(drawn)
    for side, sign in (("left", -1), ("right", 1)):
        for bar in polygons(ax, f"{side}-fills"):
            middle = bar[:, 0].mean()
            assert 0.1 < sign * (middle - round(middle)) < 0.4


def test_whiskers_reach_two_sd_each_way(drawn):
    ends = strokes(fills_of(drawn), "whiskers")
    upright = ends[ends[:, 0, 0] == ends[:, 1, 0]]
    heights = np.sort((upright[:, 1, 1] - upright[:, 0, 1]) / drawn.unit)
    held = drawn.fills["fill_sd_m"].to_numpy()
    expected = np.sort(4.0 * held)
    np.testing.assert_allclose(heights[-len(expected) :], expected, atol=1e-9)


def test_fills_in_the_ground_hang_black_hatched_white_each_with_its_figure(case):
    drawn = case("in the ground")
    for size in SIZES:
        ax = fills_of(drawn, size)
        deep = drawn.fills.query("fill_m < -1e-9")
        bars = polygons(ax, "negative")
        np.testing.assert_allclose(
            sorted(bar[:, 1].min() for bar in bars), sorted(deep["fill_m"] * drawn.unit)
        )
        (areas,) = named(ax, "negative")
        assert (
            areas.get_hatch() and max(areas.get_facecolor()[:3]) == 0 and min(areas.get_edgecolor()[:3]) == 1
        )
        for row in deep.itertuples():
            (figure,) = named(ax, f"fill-{row.tie}-{row.side}")
            assert figure.get_text().replace("−", "-") == drawn.display.small(row.fill_m)
            assert figure.get_color() == "white"
            assert max(figure.get_bbox_patch().get_facecolor()[:3]) == 0
        assert len(deep) > 10


def test_figures_say_the_fill_in_the_display_unit(drawn):
    ax = fills_of(drawn)
    for row in drawn.fills.itertuples():
        for figure in named(ax, f"fill-{row.tie}-{row.side}"):
            assert figure.get_text().replace("−", "-") == drawn.display.small(row.fill_m)
    assert len(named(ax, r"fill-\d+-.*")) > len(drawn.fills) / 3
    assert drawn.display.unit in ax.get_ylabel()


def test_the_largest_fill_has_its_figure(drawn):
    worst = drawn.fills.loc[drawn.fills["fill_m"].idxmax()]
    assert named(fills_of(drawn), f"fill-{worst['tie']}-{worst['side']}")


def test_a_lift_raises_every_bar_and_marks_what_was(case):
    drawn = case("in the ground")
    ax = fills_of(drawn, lift=0.08)
    tops = [bar[:, 1].max() for bar in polygons(ax, "right-fills")]
    np.testing.assert_allclose(tops, (of_side(drawn.fills, "right")["fill_m"] + 0.08) * drawn.unit)
    np.testing.assert_allclose(
        np.sort(strokes(ax, "before")[:, 0, 1]), np.sort(drawn.fills["fill_m"] * drawn.unit)
    )
    assert not polygons(ax, "negative")
    assert any("80 mm" in text for text in words(ax))


@pytest.mark.parametrize(("height", "there"), [(0.1, True), (0.9, False)], ids=["within", "far"])
def test_the_caution_height_is_ruled_where_it_is_within_reach(case, height, there):
    drawn = case("terrace edge")
    ax = fills_of(drawn, caution_height=height)
    rules = named(ax, "caution")
    assert [rule.get_ydata()[0] for rule in rules] == ([pytest.approx(height * drawn.unit)] if there else [])
    assert any("caution from" in text for text in words(ax)) == there


@pytest.fixture
def tall_fills(case):
    """The lawn's fills brought up to just over and under 45 cm."""
    base = case("lawn")
    return base.fills.assign(fill_m=base.fills["fill_m"] + 0.47 - base.fills["fill_m"].max())


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_the_caution_line_lies_behind_bars_and_figures_and_its_words_among_the_signs(tall_fills, case, size):
    ax = draw_fills(tall_fills, ax=paper(size), display=case("lawn").display, caution_height=0.45)
    (rule,) = named(ax, "caution")
    assert rule.get_zorder() < min(bars.get_zorder() for bars in named(ax, "(left|right)-fills"))
    (word,) = named(ax, "key-caution-word")
    assert word.get_text() == "caution from 45.0 cm up"
    assert word.xy[1] > 45.0 + 2.0
    for figure in named(ax, r"fill-\d+-.*"):
        assert figure.get_bbox_patch().get_facecolor()[:3] == (1.0, 1.0, 1.0)
        assert figure.get_zorder() > rule.get_zorder()
    assert overlapping(ax) == []


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_every_tall_bar_has_its_figure_where_the_caution_line_runs(tall_fills, case, size):
    ax = draw_fills(tall_fills, ax=paper(size), display=case("lawn").display, caution_height=0.45)
    assert len(named(ax, r"fill-\d+-(left|right)")) == len(tall_fills)


def test_signs_that_one_row_does_not_hold_take_two_and_are_not_cut(tall_fills, case):
    names = {"left": "the old boathouse by the jetty", "right": "the wall of the rose garden"}
    ax = draw_fills(
        tall_fills, ax=paper(SIZES[0]), display=case("lawn").display, caution_height=0.45, side_names=names
    )
    assert not any("…" in text for text in words(ax))
    assert overlapping(ax) == []
    assert outside(ax) == []


def test_landmarks_stand_beside_their_signs(case):
    drawn = case("terrace edge")
    for ax in (fills_of(drawn), chances_of(drawn)[1]):
        assert {"garden wall (left)", "pond (right)"} <= set(words(ax, "key-.*"))


def test_left_and_right_differ_without_colour():
    assert "hatch" not in STYLE["bar left"] and STYLE["bar right"]["hatch"]


def test_chances_are_drawn_as_high_as_they_are(drawn):
    governing, ax = chances_of(drawn)
    for side in ("left", "right"):
        own = of_side(governing.table, side).query("chance > 0")
        tops = [bar[:, 1].max() for bar in polygons(ax, f"{side}-chances")]
        np.testing.assert_allclose(tops, own["chance"])


def test_chances_that_matter_are_said_in_the_words_given(drawn):
    governing, ax = chances_of(drawn, words=chance_words)
    written = named(ax, r"chance-\d+-(left|right)")
    table = governing.table.set_index(["tie", "side"])["chance"]
    for text in written:
        _, tie, side = text.get_gid().split("-")
        assert text.get_text() == chance_words(table[int(tie), side])
        assert table[int(tie), side] >= 0.1
    assert len(written) >= 1


def test_one_certain_point_is_stated_in_words(case):
    governing, _ = chances_of(case("in the ground"))
    table = governing.table.assign(chance=0.0)
    table.loc[(table["tie"] == 4) & (table["side"] == "right"), "chance"] = 1.0
    ax = draw_governing(replace(governing, table=table), ax=paper(SIZES[0]), side_names={"right": "pond"})
    assert words(ax, "statement") == ["The line rests on tie 4 pond (right): all but certain."]


def test_an_obstacle_that_governs_is_named(case):
    governing, _ = chances_of(case("lawn"))
    table = governing.table.assign(chance=governing.table["chance"] * 0.4)
    ax = draw_governing(replace(governing, table=table, likeliest="obstacle 1 (6.00 m)"), ax=paper(SIZES[0]))
    assert "obstacle 1 (6.00 m)" in words(ax, "statement")[0]


def test_both_pictures_share_the_axis_of_ties(drawn):
    fills, (_, chances) = fills_of(drawn), chances_of(drawn)
    assert fills.get_xlim() == chances.get_xlim()
    assert "evenly spaced" in fills.get_xlabel() and "evenly spaced" in chances.get_xlabel()


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_no_word_overlaps_another_or_leaves_the_page(drawn, size):
    for ax in (fills_of(drawn, size, caution_height=0.15), chances_of(drawn, size, words=chance_words)[1]):
        assert overlapping(ax) == []
        assert outside(ax) == []
        assert smallest_letters(ax) >= 8


def test_drawing_again_changes_what_is_there_and_adds_nothing(case):
    first, second = case("lawn"), case("in the ground")
    ax = fills_of(first)
    before = state(ax)
    draw_fills(second.fills, ax=ax, display=second.display, lift=0.01, caution_height=0.05)
    assert state(ax) == state(
        draw_fills(second.fills, ax=paper(SIZES[0]), display=second.display, lift=0.01, caution_height=0.05)
    )
    count = len(ax.get_children())
    draw_fills(first.fills, ax=ax, display=first.display, side_names=first.more["side_names"])
    assert state(ax) == before
    assert len(ax.get_children()) == count


def test_chances_drawn_again_change_what_is_there_and_add_nothing(case):
    governing, ax = chances_of(case("lawn"))
    before, count = state(ax), len(ax.get_children())
    draw_governing(governing_chances(case("terrace edge").ground, case("terrace edge").line), ax=ax)
    assert state(ax) != before
    draw_governing(governing, ax=ax, side_names=case("lawn").more["side_names"])
    assert state(ax) == before
    draw_governing(governing, ax=ax, side_names=case("lawn").more["side_names"])
    assert len(ax.get_children()) - count <= 8  # the other job's own words, hidden


def test_an_own_figure_is_made_only_when_no_axes_are_given(case):
    drawn = case("lawn")
    own = paper(SIZES[0])
    assert draw_fills(drawn.fills, ax=own) is own and own.figure.axes == [own]
    assert draw_fills(drawn.fills).figure is not own.figure
    assert draw_governing(governing_chances(drawn.ground, drawn.line)).figure.get_size_inches()[0] == 11
