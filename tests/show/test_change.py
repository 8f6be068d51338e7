"""The picture of how far the ground moves when readings are left out."""

import numpy as np
import pytest
from matplotlib.figure import Figure

from trackkit.show.change import draw_change, ground_moved
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.leaving import without_readings
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey
from trackkit.units import DISPLAYS

KNOWN = GroundType(q_mean=3e-5, q_twist=1e-5, relief=0.001)


@pytest.fixture(scope="module")
def grounds():
    at = np.repeat(np.arange(9.0), 2)
    rods = {"station_m": at, "side": ["left", "right"] * 9, "rod_m": 1.5 - 0.02 * at}
    rods["rod_m"] = np.where(np.arange(18) == 9, rods["rod_m"] + 0.05, rods["rod_m"])
    survey = make_survey(levels=rods)
    both = survey, without_readings(survey, ["levels row 11"])
    tools = Instruments(rod_sd=0.0015, station_sd=0.0)
    before, now = (fit_ground(one, ground_type=KNOWN, instruments=tools) for one in both)
    return now, before


def test_the_ground_moves_up_where_a_rod_read_too_long_is_left_out(grounds):
    now, before = grounds
    moved = ground_moved(now, before)
    at, up = moved["right"]
    assert up.max() == pytest.approx(np.interp(at[up.argmax()], at, up)) and up.max() > 0.03
    assert at[up.argmax()] == pytest.approx(4.0, abs=0.3)
    np.testing.assert_allclose(up, now.height(at, "right")[0] - before.height(at, "right")[0])


@pytest.mark.parametrize("name", ["mm", "1/8 in"])
def test_the_picture_shows_what_moves_in_the_crews_unit(grounds, name):
    unit = {"mm": 1000.0, "1/8 in": 1 / 0.0254}[name]
    ax = draw_change(*grounds, changed=[(4.0, "right")], display=DISPLAYS[name], side_names={"left": "wall"})
    drawn = [line for line in ax.lines if len(line.get_xdata()) > 50]
    at, up = ground_moved(*grounds)["right"]
    assert len(drawn) == 2
    np.testing.assert_allclose(drawn[1].get_ydata(), np.interp(drawn[1].get_xdata(), at, up) * unit)
    crosses = [line for line in ax.lines if line.get_marker() == "x" and 4.0 in line.get_xdata()]
    assert crosses[0].get_ydata()[0] == pytest.approx(np.interp(4.0, at, up) * unit)
    texts = [text.get_text() for text in ax.texts]
    assert "wall (left)" in texts and "taken out, or changed" in texts
    assert ax.get_ylabel() == f"moves, {'mm' if name == 'mm' else 'in'} (up: higher)"
    low, high = ax.get_ylim()
    assert low < 0 < high and abs(up).max() * unit < -low
    assert isinstance(ax.figure, Figure)


def test_drawn_again_it_changes_what_is_there(grounds):
    now, before = grounds
    ax = draw_change(now, before)
    many = len(ax.lines), len(ax.texts)
    draw_change(before, before, ax=ax)
    assert (len(ax.lines), len(ax.texts)) == many
