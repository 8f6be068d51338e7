"""The side view: what is drawn is what was computed, and a person can read it."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

from trackkit.files import plan_picture
from trackkit.job import load_job
from trackkit.layout import level_line
from trackkit.layout.fills import fill_table
from trackkit.plan import make_plan
from trackkit.show.plots import draw_side, side_view
from trackkit.show.saving import picture_bytes
from trackkit.units import DISPLAYS

DEMO = Path(__file__).parents[2] / "data_demo"


@pytest.fixture(scope="module", params=["boathouse_lawn", "terrace_edge", "market_yard"])
def plan(request):
    return make_plan(load_job(DEMO / request.param))


def by_gid(ax, gid):
    return [artist for artist in [*ax.lines, *ax.patches, *ax.texts] if artist.get_gid() == gid]


def axes_of(plan, side):
    figure = Figure(figsize=(11, 4))
    ax = figure.add_subplot()
    return draw_side(
        plan.ground, plan.run, plan.line, plan.fills, plan.stacks, side=side, ax=ax, display=plan.job.display
    )


def unit_of(plan):
    return {"cm": 100.0, "mm": 1000.0, "in": 1 / 0.0254}[plan.job.display.unit]


def test_the_line_is_drawn_at_its_height(plan):
    (line,) = by_gid(axes_of(plan, "left"), "line")
    station, height = np.array(line.get_xdata()), np.array(line.get_ydata())
    np.testing.assert_allclose(height, plan.line.height(station) * unit_of(plan))


def test_the_ground_is_drawn_at_its_height(plan):
    (ground,) = by_gid(axes_of(plan, "right"), "ground")
    station, height = np.array(ground.get_xdata()), np.array(ground.get_ydata())
    np.testing.assert_allclose(height, plan.ground.height(station, "right")[0] * unit_of(plan), atol=1e-9)


def test_every_piece_is_drawn_at_its_true_height_and_closes_to_the_line(plan):
    ax = axes_of(plan, "left")
    stacks = [stack for stack in plan.stacks.stacks if stack.side == "left"]
    items = {piece.item for piece in plan.stacks.truck.pieces} | {c.item for s in stacks for c in s.closings}
    drawn = sorted(
        (round(patch.get_height(), 6), patch.get_gid())
        for patch in ax.patches
        if patch.get_gid() in items and hasattr(patch, "get_height")
    )
    expected = [(piece.thickness, piece.item) for stack in stacks for piece in stack.pieces]
    expected += [(c.height, c.item) for stack in stacks for c in stack.closings if c.kind == "shim"]
    assert drawn == sorted((round(height * unit_of(plan), 6), item) for height, item in expected)


def test_every_fill_is_written_once(plan):
    texts = [text.get_text().split(":") for text in by_gid(axes_of(plan, "right"), "fill")]
    own = plan.fills[plan.fills["side"] == "right"]
    assert [int(tie) for tie, _ in texts] == own["tie"].tolist()
    assert [fill.strip() for _, fill in texts] == [plan.job.display.small(f) for f in own["fill_m"]]


def test_no_text_overlaps_another_or_leaves_the_page(plan):
    figure = plan_picture(plan)
    figure.canvas.draw()
    page = figure.bbox
    for ax in figure.axes:
        boxes = [(t.get_text(), t.get_window_extent()) for t in ax.texts if t.get_text()]
        for i, (name, box) in enumerate(boxes):
            assert page.x0 <= box.x0 <= box.x1 <= page.x1, name
            for other, second in boxes[i + 1 :]:
                assert not box.overlaps(second), (name, other)
    heads = [t.get_window_extent() for t in figure.texts]
    for i, box in enumerate(heads):
        assert not any(box.overlaps(other) for other in heads[i + 1 :])


def test_ties_in_the_ground_are_black_hatched_white_with_their_figure(plan):
    tie = int(plan.fills.loc[plan.fills["fill_m"].idxmax(), "tie"])
    line = level_line(plan.ground, plan.run, reference=(tie, "right"), gap=0.0)
    fills = fill_table(plan.ground, plan.run, line)
    ax = draw_side(plan.ground, line.run, line, fills, side="left", display=plan.job.display)
    deep = fills[(fills["side"] == "left") & (fills["fill_m"] < 0)]
    drawn = by_gid(ax, "negative")
    assert len(drawn) == len(deep) > 3
    for patch, fill in zip(drawn, deep["fill_m"], strict=True):
        assert patch.get_height() == pytest.approx(-fill * unit_of(plan))
        assert patch.get_hatch()
        assert patch.get_facecolor()[:3] == (0.0, 0.0, 0.0)
    dark = [t for t in by_gid(ax, "fill") if t.get_color() == "white"]
    assert len(dark) == len(deep)


def test_the_reference_carries_the_filled_triangle(plan):
    station, side = plan.line.contacts[0]
    (mark,) = by_gid(axes_of(plan, side), "reference")
    assert mark.get_xdata()[0] == pytest.approx(station)
    assert mark.get_markerfacecolor() != "white"


def test_the_page_is_light_whatever_surrounds_it(plan):
    figure = plan_picture(plan)
    assert min(figure.get_facecolor()[:3]) > 0.95


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_the_same_picture_has_the_same_bytes(plan, kind):
    assert picture_bytes(plan_picture(plan), kind) == picture_bytes(plan_picture(plan), kind)


def test_svg_keeps_text_as_text(plan):
    text = picture_bytes(plan_picture(plan), "svg").decode()
    assert "track needed" in text or "track as it lies" in text
    assert "<dc:date>" not in text


def test_names_with_signs_of_mathematics_are_drawn_as_they_are(plan):
    names = {"left": "$5 & <b>", "right": "100_%$"}
    figure = side_view(
        plan.ground, plan.run, plan.line, plan.fills, plan.stacks, side_names=names, title="a $ b $ c",
        display=DISPLAYS["mm"],
    )  # fmt: skip
    assert "&lt;b&gt;" in picture_bytes(figure, "svg").decode()


def test_missing_pieces_are_marked(plan):
    first = replace(plan.stacks.stacks[0], missing=(("half", 1),))
    stacks = replace(plan.stacks, stacks=(first, *plan.stacks.stacks[1:]))
    figure = Figure()
    ax = figure.add_subplot()
    before = len(axes_of(plan, first.side).patches)
    draw_side(plan.ground, plan.run, plan.line, plan.fills, stacks, side=first.side, ax=ax)
    assert len(ax.patches) == before + 1


def test_drawing_needs_no_pyplot(plan):
    plan_picture(plan)
    assert "matplotlib.pyplot" not in sys.modules
