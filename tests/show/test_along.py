"""Lines along the run, and how often the largest fill is how large."""

import numpy as np
import pytest

from trackkit.show.along import draw_along
from trackkit.show.largest import draw_largest, share_of
from trackkit.units import DISPLAYS

AT = np.array([0.0, 1.0, 2.5])


def named(ax, name):
    return next(one for one in (*ax.lines, *ax.patches) if one.get_gid() == name)


@pytest.mark.parametrize(("name", "scale"), [("mm", 1000.0), ("1/8 in", 1 / 0.0254)])
def test_lines_stand_at_their_heights_in_the_crews_unit(name, scale):
    lines = {"one": np.array([0.0, 0.004, 0.002]), "two": np.array([0.001, 0.0, 0.006])}
    area = np.array([0.003, 0.0, 0.003])
    ax = draw_along(AT, lines, area=("grey", area), level=("gap", 0.012), display=DISPLAYS[name])
    for number, values in enumerate(lines.values()):
        np.testing.assert_allclose(named(ax, f"line-{number}").get_ydata(), values * scale)
    assert named(ax, "area").get_path().get_extents().y1 == pytest.approx(0.003 * scale)
    assert named(ax, "level").get_ydata()[0] == pytest.approx(0.012 * scale)
    assert {"one", "two", "grey", "gap"} <= {text.get_text() for text in ax.texts}
    markers = {named(ax, f"line-{i}").get_marker() for i in range(2)}
    assert len(markers) == 2  # told apart without colour


def test_drawn_again_it_is_the_same_picture_moved():
    ax = draw_along(AT, {"one": np.array([0.0, 0.004, 0.002])})
    many = len(ax.lines)
    draw_along(AT, {"one": np.array([0.001, 0.0, 0.0])}, ax=ax)
    assert len(ax.lines) == many
    np.testing.assert_allclose(named(ax, "line-0").get_ydata(), [1.0, 0.0, 0.0])


def test_more_lines_than_looks_are_refused():
    with pytest.raises(ValueError, match="at most 4 lines"):
        draw_along(AT, {str(i): AT for i in range(5)})


def test_shares_count_every_draw_once():
    fills = np.array([-1.0, 0.1, 0.15, 0.3, 9.0])
    assert share_of(fills, np.array([0.0, 0.2, 0.4])).tolist() == [60.0, 40.0]


def test_bars_of_the_largest_fill_are_the_shares_of_draws():
    rng = np.random.default_rng(1)
    fills = rng.normal(0.2, 0.004, 4000)
    ax = draw_largest(fills, "set from tie 1", beside=(fills - 0.02, "as planned"), display=DISPLAYS["cm"])
    bars = named(ax, "bars").get_path().to_polygons()
    area = sum(float(np.ptp(one[:, 0]) * np.ptp(one[:, 1])) for one in bars)
    width = float(np.ptp(bars[0][:, 0]))
    assert area / width == pytest.approx(100.0)
    assert named(ax, "nineteen").get_xdata()[0] == pytest.approx(100 * np.quantile(fills, 0.95))
    assert "19 times in 20 below 20.7 cm" in {text.get_text() for text in ax.texts}


def test_a_certain_fill_is_one_bar_and_a_limit_far_away_is_not_drawn():
    ax = draw_largest(np.full(100, 0.05), "certain", limit=(0.45, "cautioned from 45 cm"))
    assert len(named(ax, "bars").get_path().to_polygons()) == 1
    assert "cautioned from 45 cm" not in {text.get_text() for text in ax.texts}
    ax = draw_largest(np.full(100, 0.40), "near", limit=(0.45, "cautioned from 45 cm"))
    assert named(ax, "limit").get_xdata()[0] == pytest.approx(450.0)
