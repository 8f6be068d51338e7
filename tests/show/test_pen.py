"""The pen: drawing again changes what is there, and hides what is gone."""

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from trackkit.show.pen import Pen
from trackkit.show.plots import side_view
from trackkit.show.saving import picture_bytes

SQUARE = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]


@pytest.fixture
def ax():
    return Figure(dpi=100).add_axes((0.1, 0.1, 0.8, 0.8))


def test_a_second_drawing_changes_the_artists_and_adds_none(ax):
    for heights in ([0.0, 1.0], [2.0, 3.0]):
        with Pen(ax) as pen:
            pen.line("ground", [0.0, 1.0], heights)
            pen.areas("boxes", [np.array(SQUARE) + heights[0]])
            pen.strokes("grain", [[(0.0, heights[0]), (1.0, heights[1])]])
            pen.words("fill", str(heights[0]), 0.5, heights[0])
    lines = {line.get_gid(): line for line in ax.lines}
    assert lines["ground"].get_ydata().tolist() == [2.0, 3.0]
    assert lines["grain"].get_ydata()[:2].tolist() == [2.0, 3.0]
    (boxes,) = ax.patches
    assert boxes.get_path().vertices.min() == 2.0
    (word,) = ax.texts
    assert (word.get_text(), word.xy) == ("2.0", (0.5, 2.0))


def test_what_is_not_drawn_again_is_hidden_and_comes_back(ax):
    for present in (True, False, True):
        with Pen(ax) as pen:
            pen.line("always", [0, 1], [0, 1])
            if present:
                pen.words("sometimes", "x", 0.0, 0.0)
        shown = {one.get_gid(): one.get_visible() for one in (*ax.lines, *ax.texts)}
        assert shown == {"always": True, "sometimes": present}


def test_artists_without_a_name_are_left_alone(ax):
    (own,) = ax.plot([0, 1], [1, 0])
    with Pen(ax) as pen:
        pen.line("ours", [0, 1], [0, 1])
    assert own.get_visible()


def test_polygons_are_closed_each_by_itself(ax):
    with Pen(ax) as pen:
        areas = pen.areas("two", [SQUARE, np.array(SQUARE) + 5.0])
    path = areas.get_path()
    assert (path.codes == path.MOVETO).sum() == (path.codes == path.CLOSEPOLY).sum() == 2


def test_no_polygons_draw_nothing(ax):
    with Pen(ax) as pen:
        assert pen.areas("none", [], hatch="xx") is None
    assert not ax.patches
    with Pen(ax) as pen:
        pen.areas("none", [SQUARE], hatch="xx")
    with Pen(ax) as pen:
        pen.areas("none", [], hatch="xx")
    assert not ax.patches[0].get_visible()


def test_what_a_new_look_does_not_name_is_not_kept(ax):
    """A zone where nothing may stand is hatched; the same zone as a lawn must not be."""
    for look in ({"hatch": "xx", "alpha": 0.3}, {"facecolor": "white"}):
        with Pen(ax) as pen:
            zone = pen.areas("zone", [SQUARE], **look)
    assert (zone.get_hatch(), zone.get_alpha()) == (None, None)
    assert len(ax.patches) == 1


def test_a_name_may_come_to_mean_another_kind_or_sign(ax):
    for marker in ("o", "^"):
        with Pen(ax) as pen:
            sign = pen.line("key", [0], [0], marker=marker)
        assert sign.get_marker() == marker
    with Pen(ax) as pen:
        pen.areas("key", [SQUARE])
    assert (len(ax.lines), len(ax.patches)) == (0, 1)


def test_a_drawing_that_fails_half_way_hides_nothing(ax):
    with Pen(ax) as pen:
        pen.line("ground", [0, 1], [0, 1])
    with pytest.raises(ValueError, match="half way"), Pen(ax):
        raise ValueError("half way")
    assert ax.lines[0].get_visible()


def test_words_outside_the_axes_are_not_cut_off(ax):
    """Names and scales stand beside the strip: clipped to it they would not show."""
    with Pen(ax) as pen:
        word = pen.words("name", "house side", 0.0, 1.0, coords="axes fraction", shift=(0, 3))
    FigureCanvasAgg(ax.figure).draw()
    pixels = np.asarray(ax.figure.canvas.buffer_rgba())[..., :3]
    box = word.get_window_extent()
    tall = pixels.shape[0]
    rows = slice(int(tall - box.y1), int(tall - box.y0))
    assert pixels[rows, int(box.x0) : int(box.x1)].min() < 80


def test_a_box_about_a_word_goes_when_it_is_drawn_without(ax):
    for box in ({"facecolor": "black"}, None):
        with Pen(ax) as pen:
            word = pen.words("fill", "-1", 0.5, 0.5, bbox=box)
        assert (word.get_bbox_patch() is not None) == (box is not None)


def test_a_box_keeps_the_room_that_a_new_size_of_letters_asks_for(ax):
    """Points are made shares of the letters' size when the box is put on: it must be the new size."""
    fresh = Figure(dpi=100).add_axes((0.1, 0.1, 0.8, 0.8))
    box = {"facecolor": "white", "pad": 2.0}
    for sheet, sizes in ((ax, (9.0, 14.0)), (fresh, (14.0,))):
        for size in sizes:
            with Pen(sheet) as pen:
                pen.words("fill", "12.3", 0.5, 0.5, bbox=box, fontsize=size)
    boxes = []
    for sheet in (ax, fresh):
        FigureCanvasAgg(sheet.figure).draw()
        boxes.append(sheet.texts[0].get_bbox_patch().get_window_extent().bounds)
    assert boxes[0] == pytest.approx(boxes[1], abs=1e-9)


@pytest.mark.parametrize("change", [{"text": "longer"}, {"fontsize": 20}, {"rotation": 90}, {"ha": "right"}])
def test_a_word_is_laid_out_anew_when_its_looks_change(ax, change):
    """Its layout is remembered: a stale one would put it in the wrong place."""
    look = {"text": "12.3", "fontsize": 10, "rotation": 0, "ha": "left"}
    extents = []
    for own in (look, look | change):
        text = own.pop("text") if "text" in own else ""
        with Pen(ax) as pen:
            word = pen.words("fill", text, 0.5, 0.5, **{k: v for k, v in own.items() if k != "text"})
        FigureCanvasAgg(ax.figure).draw()
        extents.append(word.get_window_extent().bounds)
        own["text"] = text
    fresh = Figure(dpi=100).add_axes((0.1, 0.1, 0.8, 0.8))
    with Pen(fresh) as pen:
        again = pen.words("fill", **{"x": 0.5, "y": 0.5, **look, **change})
    FigureCanvasAgg(fresh.figure).draw()
    assert extents[1] == pytest.approx(again.get_window_extent().bounds)
    assert extents[0] != pytest.approx(extents[1])


@pytest.mark.parametrize(
    ("first", "then"),
    [("lawn", "in the ground"), ("in the ground", "lawn"), ("over an edge", "lawn"), ("no truck", "lawn")],
)
def test_a_side_view_that_is_changed_is_the_one_that_is_drawn_anew(case, first, then):
    """The picture that has been moved about must be that of its last data, down to the last byte."""
    figure = Figure(figsize=(9.6, 4.6), dpi=100)
    for name in (first, then):
        drawn = case(name)
        side_view(*drawn.scene, figure=figure, display=drawn.display, legend=False, **drawn.more)
    fresh = Figure(figsize=(9.6, 4.6), dpi=100)
    drawn = case(then)
    side_view(*drawn.scene, figure=fresh, display=drawn.display, legend=False, **drawn.more)
    assert picture_bytes(figure, "png", dpi=60) == picture_bytes(fresh, "png", dpi=60)
