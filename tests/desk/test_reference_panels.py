"""The panels of the reference without a browser: a point chosen, what costs, and ways side by side."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
from demo_jobs import DEMO, changed
from scipy.stats import norm

from trackkit.choices import compare_choices
from trackkit.desk import ChoicesPanel, CostsPanel, ReferencePanel
from trackkit.job import load_job
from trackkit.studied import set_from, with_gap
from trackkit.study.causes import CAUSES


@pytest.fixture(scope="module")
def panel():
    return ReferencePanel(DEMO / "boathouse_lawn")


@pytest.fixture(autouse=True)
def as_in_file(panel):
    yield
    panel.set(kind="as asked")
    panel.set(reference=panel.studied.study.planned, spare=0.0)


def black(panel):
    """Return the figures that stand in black in the side view: fills below zero."""
    texts = [one for ax in panel._side.figure.axes for one in ax.texts if one.get_visible()]
    return [
        one.get_text() for one in texts if "−" in one.get_text() and re.search("fill", one.get_gid() or "")
    ]


def test_it_opens_as_planned(panel):
    planned = panel.studied.study.planned
    assert panel.trouble == "" and panel.values["reference"] == panel.values["listed"] == planned
    assert panel.laid is panel.studied.laid
    assert dict(panel.numbers())["the truck"] == "suffices"
    assert black(panel) == []


def test_the_list_moves_the_slider_and_the_slider_the_list(panel):
    eye = panel.studied.eye
    panel.set(listed=eye)
    assert panel.values["reference"] == eye
    far = panel.studied.study.index("tie 3 right")  # not on the list
    panel.set(reference=far)
    assert panel.values["listed"] == -1
    panel.set(reference=eye)
    assert panel.values["listed"] == eye


def test_a_low_point_puts_ties_in_the_ground_for_all_to_see(panel):
    panel.set(listed=panel.studied.eye)
    fills = set_from(panel.studied, panel.studied.eye).fills["fill_m"].to_numpy()
    np.testing.assert_allclose(panel.laid.fills["fill_m"], fills)
    assert len(black(panel)) == (fills < -0.0005).sum() > 3
    assert dict(panel.numbers())["the track touches"] == "surely"
    assert "STOP" in panel.plain() and "in the ground" in panel.still()


def test_the_largest_fill_is_drawn_as_the_draws_have_it(panel):
    panel.set(listed=panel.studied.eye)
    fills = panel.studied.study.largest_fills(panel.studied.eye)
    mark = next(line for line in panel._largest.ax.lines if line.get_gid() == "nineteen")
    assert mark.get_xdata()[0] == pytest.approx(100 * np.quantile(fills, 0.95))
    beside = next(line for line in panel._largest.ax.lines if line.get_gid() == "beside")
    assert beside.get_visible()  # the line as planned stands beside it
    panel.set(reference=panel.studied.study.planned)
    assert not beside.get_visible()


def test_spare_height_lifts_the_line_and_touches_less(panel):
    candidate = panel.studied.study.index("tie 14 left")
    panel.set(reference=candidate)
    before = panel.laid.fills["fill_m"].to_numpy()
    panel.set(spare=0.012)
    np.testing.assert_allclose(panel.laid.fills["fill_m"], before + 0.012)
    assert "1.2 cm spare" in panel.plain()


def test_another_kind_of_line_has_a_study_of_its_own(panel):
    panel.set(kind="least fill")
    assert panel.studied.laid.line.kind == "least fill"
    assert "LEAST FILL rests on two points" in panel.still()
    assert panel.trouble == ""


def test_the_datum_changes_heights_and_not_fills_in_the_picture(panel):
    ax = panel._datums.ax
    first, second = (
        np.asarray(line.get_ydata()) for line in ax.lines if (line.get_gid() or "").startswith("line-")
    )
    assert first[0] == second[-1] == 0.0
    assert first[-1] > 0.1 < second[0]
    assert "the same whichever point that is" in panel._datums.words


def test_costs_fall_with_the_gap():
    panel = CostsPanel(DEMO / "market_yard")
    before = panel.studied.causes.table.set_index("cause")["touches"]
    panel.set(gap=0.00635)
    after = panel.studied.causes.table.set_index("cause")["touches"]
    assert before["unread"] > after["unread"]
    again = with_gap(panel._whole, 0.00635).causes.table.set_index("cause")["touches"]
    assert after.to_dict() == again.to_dict()
    level = next(line for line in panel._along.ax.lines if line.get_gid() == "level")
    assert level.get_ydata()[0] == pytest.approx(0.25)
    assert "gap 1/4 in" in panel.plain()


def test_a_phone_s_zero_error_is_one_more_line_where_it_was_never_turned_round(tmp_path):
    away = {'leave_out = ["levels.csv row 32"]': "", 'control = "P1"': "", 'check = "P2"': ""}
    folder = changed(tmp_path, "boathouse_lawn", **away)
    table = pd.read_csv(folder / "crosslevels.csv").assign(facing="ahead")
    table.to_csv(folder / "crosslevels.csv", index=False)
    boards = pd.read_csv(folder / "boards.csv")
    boards[boards["facing"] == "ahead"].to_csv(folder / "boards.csv", index=False)
    for name in ("levels.csv", "truck.csv"):
        (folder / name).unlink()
    reversed_phone, one_way = CostsPanel(DEMO / "boathouse_lawn"), CostsPanel(folder)
    name = CAUSES["zero"]
    assert name in one_way._along.words and name not in reversed_phone._along.words
    lines = [line for line in one_way._along.ax.lines if (line.get_gid() or "").startswith("line-")]
    part = one_way.studied.causes.parts["zero"]
    up = norm.ppf(0.95) * np.sqrt(np.diag(part)).reshape(-1, 2).max(axis=1) * 100  # in cm
    np.testing.assert_allclose(lines[-1].get_ydata(), up)
    assert len(lines) == 4
    assert dict(one_way.numbers())[f"touches: {name}"].startswith("1 in")
    assert f"touches: {name}" not in dict(reversed_phone.numbers())


def test_choices_are_those_of_the_library():
    panel = ChoicesPanel(DEMO / "market_yard")
    found = compare_choices(load_job(DEMO / "market_yard"))
    assert [row.name for row in panel.choices.rows] == [row.name for row in found.rows]
    assert dict(panel.numbers())["ways to lay it"] == str(len(found.rows))
    assert "CHOICES side by side" in panel.still() and "CHOICES side by side" in panel.plain()


def test_a_line_that_rests_on_an_obstacle_alone_can_still_be_set_from_a_tie(tmp_path):
    """A line with least fill at its steepest, on an obstacle that the plan rests on: no tie end contends."""
    folder = changed(tmp_path, "boathouse_lawn")
    table = "station_m,offset_m,height_m,note\n4.0,0.0,2.5,hump\n"
    (folder / "obstacles.csv").write_text(table, encoding="utf-8")
    panel = ReferencePanel(folder)
    panel.set(kind="least fill")
    study = panel.studied.study
    assert panel.trouble == "" and study.candidates[study.planned].kind == "obstacle"
    assert panel.values["reference"] == panel.values["listed"] == study.planned
    panel.set(reference=study.likeliest)
    assert panel.trouble == ""
