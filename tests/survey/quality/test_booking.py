"""Booking: textbook sums, arithmetic checks, and what they do not prove."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from simulated_crew import crew

from trackkit.survey.quality import book_levels
from trackkit.survey.readings import make_survey
from trackkit.units import LENGTH_UNITS

FOOT = LENGTH_UNITS["ft"]


def booked(rows, **tables):
    laser, point, rod = zip(*rows, strict=True)
    return book_levels(make_survey(levels={"laser": laser, "point": point, "rod_m": rod}, **tables))


ROUND = [("1", "A", 1.5), ("1", "C", 1.1), ("1", "B", 1.2), ("2", "B", 1.9), ("2", "D", 0.7), ("2", "A", 2.2)]


def test_single_sight_in_feet():
    """Elementary-surveying course text: BM 820.00, BS 8.42 -> HI 828.42; FS 1.20 -> 827.22 ft."""
    marks = {"point": ["BM"], "height_m": [820.00 * FOOT], "sd_m": [0.0]}
    found = booked([("1", "BM", 8.42 * FOOT), ("1", "TP", 1.20 * FOOT)], benchmarks=marks)
    assert found.table["instrument_m"].iloc[0] / FOOT == pytest.approx(828.42, abs=0.005)
    assert found.table["level_m"].iloc[1] / FOOT == pytest.approx(827.22, abs=0.005)
    assert found.datum.startswith("benchmark BM")


def test_three_wire_means_in_feet():
    """J. Mahun, open-access Elevations, chapter G: A 853.12, HI 855.577, FS mean 4.607 -> B 850.970 ft."""
    back = np.mean([2.85, 2.46, 2.06])
    marks = {"point": ["A"], "height_m": [853.12 * FOOT], "sd_m": [0.0]}
    found = booked([("1", "A", back * FOOT), ("1", "B", 4.607 * FOOT)], benchmarks=marks)
    assert found.table["instrument_m"].iloc[0] / FOOT == pytest.approx(855.577, abs=0.0005)
    assert found.table["level_m"].iloc[1] / FOOT == pytest.approx(850.970, abs=0.0005)


def test_sums_of_a_booked_page():
    """Published small sums: BS 5.620, FS 4.950, first level 100 -> last level 100.67 (booking article)."""
    rows = [("1", "A", 2.620), ("1", "B", 1.950), ("2", "B", 3.000), ("2", "C", 3.000)]
    found = booked(rows, benchmarks={"point": ["A"], "height_m": [100.0], "sd_m": [0.0]})
    assert found.checks["backs_m"].sum() == pytest.approx(5.620)
    assert found.checks["fores_m"].sum() == pytest.approx(4.950)
    assert found.table["level_m"].iloc[-1] == pytest.approx(100.67)
    assert found.checks["carried"].all()


def test_a_round_books_back_intermediate_fore_and_closes():
    found = booked(ROUND)
    kinds = found.table[["back", "intermediate", "fore"]].notna().idxmax(axis=1).tolist()
    assert kinds == ["back", "intermediate", "fore", "back", "intermediate", "fore"]
    np.testing.assert_allclose(found.table["level_m"], [0.0, 0.4, 0.3, 0.3, 1.5, 0.0], atol=1e-12)
    assert found.table["off_m"].iloc[-1] == pytest.approx(0.0, abs=1e-12)
    assert found.checks["backs_m"].sum() - found.checks["fores_m"].sum() == pytest.approx(0.0)
    assert found.datum == "A, taken as 0"
    assert found.notes == ()


@settings(max_examples=15, deadline=None)
@given(
    error=st.floats(0.001, 0.5) | st.floats(-0.5, -0.001),
    row=st.sampled_from([1, 4]),
    other=st.sampled_from([0, 3]),
)
def test_arithmetic_passes_whatever_was_misread_but_a_backsight_shows_in_the_closure(error, row, other):
    corrupt = [list(one) for one in ROUND]
    corrupt[row][2] += error
    found = booked(corrupt)
    assert found.checks["carried"].all()
    assert found.checks["reduced"].all()
    assert found.table["off_m"].iloc[-1] == pytest.approx(0.0, abs=1e-9)
    corrupt = [list(one) for one in ROUND]
    corrupt[other][2] += error
    found = booked(corrupt)
    assert found.checks["carried"].all()
    assert found.checks["reduced"].all()
    assert found.table["off_m"].iloc[-1] == pytest.approx(error, abs=1e-9)


def test_positions_that_know_nothing_yet_wait_and_it_is_said():
    rows = [
        ("1", "A", 1.0),
        ("1", "B", 1.2),
        ("2", "C", 1.1),
        ("2", "D", 1.0),
        ("3", "B", 1.5),
        ("3", "C", 1.4),
    ]
    found = booked(rows)
    assert found.order == ("1", "3", "2")
    assert "another order than the table's" in found.notes[0]
    levels = found.table.set_index("reading")["level_m"]
    np.testing.assert_allclose(levels[["levels row 4", "levels row 5"]], [-0.1, 0.0], atol=1e-12)


def test_a_position_that_nothing_joins_is_listed_and_not_booked():
    found = booked([("1", "A", 1.0), ("1", "B", 1.2), ("2", "C", 1.1), ("2", "D", 1.0)])
    assert found.not_joined == ("2",)
    assert "not joined" in found.notes[0]
    assert set(found.table["laser"]) == {"1"}


def test_differences_join_pegs():
    rises = {"point": ["B"], "to_point": ["C"], "rise_m": [0.5]}
    found = booked([("1", "A", 1.0), ("1", "B", 1.2), ("2", "C", 1.1), ("2", "D", 1.0)], differences=rises)
    assert found.not_joined == ()
    np.testing.assert_allclose(found.table["level_m"], [0.0, -0.2, 0.3, 0.4], atol=1e-12)


def test_rods_on_the_rail_count_with_the_rail():
    levels = pd.DataFrame(
        {"point": ["A", ""], "station_m": [np.nan, 1.0], "side": ["", "left"], "rod_m": [1.0, 0.9],
         "rail_top_m": [0.0, 0.085], "on": ["ground", "rail"]}
    )  # fmt: skip
    found = book_levels(make_survey(levels=levels))
    assert found.table["level_m"].iloc[1] == pytest.approx(1.0 - 0.985)
    assert found.table["point"].iloc[1] == "1.00 m left"
    levels["rail_top_m"] = [0.0, np.nan]
    with pytest.raises(ValueError, match="levels row 3 is given by tie or section, or on a rail"):
        book_levels(make_survey(levels=levels))


def test_booked_levels_equal_the_fit_where_readings_are_exact():
    from simulated_crew import KNOWN, STATED

    from trackkit.survey.ground import fit_ground

    survey = crew(0, rod=0.0, boards=False)
    found = book_levels(survey)
    ground = fit_ground(survey, instruments=STATED, ground_type=KNOWN)
    assert ground.point("P2")[0] == pytest.approx(
        found.table.loc[found.table["point"] == "P2", "level_m"].iloc[0], abs=1e-9
    )
    np.testing.assert_allclose(found.table["off_m"].dropna(), 0.0, atol=1e-9)
    heights = {laser: own["instrument_m"].iloc[0] for laser, own in found.table.groupby("laser")}
    assert heights["west"] - heights["east"] == pytest.approx(0.2)


def test_an_empty_table_books_nothing():
    found = book_levels(make_survey(differences={"point": ["A"], "to_point": ["B"], "rise_m": [1.0]}))
    assert found.table.empty
    assert found.order == ()
