"""The fill table: its rows, its columns, and what is counted from it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from trackkit.layout import (
    Section,
    count_negative,
    fill_table,
    largest_fill,
    level_line,
    run_from_sections,
    summarise_fills,
)

RUN = run_from_sections([Section("3 m", 3.0, (0.15, 1.5, 2.85), 0.12, 0.1)] * 2)


def test_there_is_one_row_a_tie_end_left_before_right_from_head_to_tail(make_ground):
    ground = make_ground()
    table = fill_table(ground, RUN, level_line(ground, RUN))
    assert list(table.columns[:11]) == [
        "tie", "section", "support", "role", "station_m", "side", "ground_m", "line_m", "fill_m", "fill_sd_m",
        "p_touch",
    ]  # fmt: skip
    assert list(table["tie"]) == [1, 1, 2, 2, 3, 3, 4, 4, 5, 5, 6, 6]
    assert list(table["side"]) == ["left", "right"] * 6
    assert list(table["support"][4:8]) == ["J1"] * 4
    assert list(table["role"][:6]) == ["set", "set", "fill", "fill", "set", "set"]
    np.testing.assert_allclose(table["fill_m"], table["line_m"] - table["ground_m"])


def test_positive_fill_means_packing_goes_under_the_track(make_ground):
    ground = make_ground(surface=lambda s, side: -0.1 if s > 5 else 0.0)
    table = fill_table(ground, RUN, level_line(ground, RUN, gap=0.0))
    assert table["fill_m"].iloc[-1] == pytest.approx(0.1)
    assert table["fill_m"].iloc[0] == 0.0


def test_slopes_are_those_of_the_ground(make_ground):
    ground = make_ground(surface=lambda s, side: 0.04 * s + (0.062 if side == "right" else 0.0))
    table = fill_table(ground, RUN, level_line(ground, RUN), along=0.5)
    np.testing.assert_allclose(np.tan(table["along_slope"]), 0.04)
    np.testing.assert_allclose(np.tan(table["cross_slope"]), 0.1)
    assert fill_table(ground, RUN, level_line(ground, RUN))["along_slope"].isna().all()


def test_chance_of_touching_is_the_normal_tail_of_fill_and_sd(make_ground):
    ground = make_ground(sd=0.02)
    table = fill_table(ground, RUN, level_line(ground, RUN, gap=0.0), touch=0.001)
    doubtful = table[table["fill_sd_m"] > 0]
    np.testing.assert_allclose(
        doubtful["p_touch"], norm.cdf((-0.001 - doubtful["fill_m"]) / doubtful["fill_sd_m"])
    )
    assert len(doubtful) == len(table) - 1


def test_summary_counts_what_the_table_shows(make_ground):
    ground = make_ground()
    line = level_line(ground, RUN, reference=(1, "left"), gap=0.0)
    table = fill_table(ground, RUN, line)
    summary = summarise_fills(table)
    worst = table.loc[table["fill_m"].idxmax()]
    assert largest_fill(table) == (summary.largest, summary.largest_tie, summary.largest_side)
    assert (summary.largest_tie, summary.largest_side) == (worst["tie"], worst["side"])
    assert summary.negative == count_negative(table) == (table["fill_m"] < 0).sum()
    assert summary.total == pytest.approx(table["fill_m"].clip(lower=0).sum())
    assert summary.deepest == table["fill_m"].min() < 0


def test_a_line_worked_out_for_another_run_is_refused(make_ground):
    ground = make_ground()
    other = run_from_sections([Section("2 m", 2.0, (0.15, 1.0, 1.85), 0.12, 0.1)] * 2)
    with pytest.raises(ValueError, match="work out the line for this run"):
        fill_table(ground, other, level_line(ground, RUN))
