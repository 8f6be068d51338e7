"""Humps that nobody read: against the formula, place by place."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from holed import GROUND, LINE, READ, RUN, SECTION, ground_of
from scipy.stats import norm

from trackkit.layout.doubt import Doubt
from trackkit.layout.line import level_line
from trackkit.layout.run import run_from_sections
from trackkit.layout.sections import Section
from trackkit.study.humps import humps_between
from trackkit.study.parts import parts_of


def test_the_hole_in_a_survey_is_where_a_hump_is_likeliest():
    table = humps_between(GROUND, LINE)
    assert (table[["from_m", "to_m"]].iloc[0]).tolist() == [2.0, 4.5]
    assert (np.diff(table["chance"]) <= 0).all()
    # eight gaps a side, from the first tie to the last
    assert len(table) == 16
    ties = LINE.run.ties["station_m"].to_numpy()
    edges = np.clip(READ, ties[0], ties[-1])
    for side in ("left", "right"):
        own = table[table["side"] == side].sort_values("from_m")
        np.testing.assert_allclose(own["from_m"], edges[:-1])
        np.testing.assert_allclose(own["to_m"], edges[1:])
        assert own.loc[own["hump_m"].idxmax(), "from_m"] == 2.0
    assert ((table["from_m"] <= table["station_m"]) & (table["station_m"] <= table["to_m"])).all()


TIES = RUN.ties["station_m"].tolist()


def test_a_hump_touches_only_where_a_tie_stands():
    low = level_line(GROUND, RUN, gap=0.0)
    found = humps_between(GROUND, low)
    some = found[found["chance"] > 0.0]
    assert len(some) > 2 and some["station_m"].isin(TIES).all()
    for row in found.itertuples():
        stands = any(row.from_m <= tie <= row.to_m for tie in TIES)
        assert stands or row.chance == 0.0


def test_the_chance_of_a_hump_is_that_of_unread_ground_against_what_the_line_rests_on():
    for row in humps_between(GROUND, LINE).itertuples():
        point = (row.station_m, row.side)
        both = [point, LINE.contacts[0]]
        unread = parts_of(GROUND, both)["unread"]
        sd = math.sqrt(max(unread[0, 0] + unread[1, 1] - 2 * unread[0, 1], 0.0))
        room = float(LINE.height(row.station_m) - GROUND.mean([point])[0])
        assert row.room_m == pytest.approx(room)
        assert row.chance == pytest.approx(
            norm.sf((room + LINE.doubt.touch) / sd) if sd > 1e-9 and row.station_m in TIES else 0.0,
            abs=1e-9,
        )
        assert row.hump_m >= norm.ppf(0.95) * sd - 1e-9


def test_a_board_on_the_other_side_does_not_fill_a_hole():
    boards = [
        {"station_m": 2.0, "to_station_m": 3.2, "side": "right", "angle_rad": 0.0, "facing": facing}
        for facing in ("ahead", "back")
    ]  # fmt: skip
    table = humps_between(ground_of(boards=pd.DataFrame(boards)), LINE)
    left, right = (table[table["side"] == side] for side in ("left", "right"))
    assert 3.2 in right["from_m"].tolist() and 3.2 not in left["from_m"].tolist()
    assert ((left["from_m"] == 2.0) & (left["to_m"] == 4.5)).any()


def test_under_lower_track_a_hump_has_more_room():
    low = Section("low", 3.0, (0.15, 1.5, 2.85), rail_top=0.10, bearing=0.1)
    run = run_from_sections([SECTION, low])
    line = level_line(GROUND, run, doubt=Doubt())
    for row in humps_between(GROUND, line).itertuples():
        under = line.height(row.station_m) + (0.02 if row.station_m >= 3.0 else 0.0)
        assert row.room_m == pytest.approx(under - GROUND.mean([(row.station_m, row.side)])[0])
