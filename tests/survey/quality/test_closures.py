"""Closures: published networks, counts against redundancy, and what they see."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from networks import N1, N3, N7, network
from simulated_crew import KNOWN, STATED, crew, fitted

from trackkit.survey.ground import fit_ground
from trackkit.survey.quality import closures
from trackkit.survey.readings import make_survey


def test_public_sample_network_misses_by_the_sums_of_its_own_figures():
    """vrmapper.com/gama/1doutput.html: each difference read there and back; sums by hand, in mm."""
    found = closures(network({"1a": 1000.0}, N3, 0.005))
    again = found[found["kind"] == "again"]
    # there and back: -1.225 + 1.231, -0.848 + 0.842, 1.342 - 1.335, 0.720 - 0.724
    assert sorted(round(1000 * abs(one)) for one in again["misclosure_m"]) == [4, 6, 6, 7]
    loop = found[found["kind"] == "loop"]
    # means: -1.228 -0.845 +1.3385 +0.722
    assert 1000 * loop["misclosure_m"].abs().iloc[0] == pytest.approx(12.5, abs=1e-6)
    assert len(found) == 5
    assert loop["positions"].iloc[0] == 4
    np.testing.assert_allclose(again["limit_m"], 3 * np.sqrt(2) * 0.005)
    np.testing.assert_allclose(loop["limit_m"], 3 * np.sqrt(4 / 2) * 0.005)


def test_textbook_network_misses_by_the_sums_of_its_own_figures():
    """C. D. Ghilani, *Adjustment Computations*, chapter 12, unweighted example (from memory): 4 closures.

    By hand: X-A-Y 5.10 + 2.34 - 7.50 = -0.06, Y-C-X -1.25 - 6.13 + 7.50 = 0.12, and two of A-Y-B
    2.34 - 3.00 + 0.68 = 0.02, Y-B-C -3.00 + 1.70 + 1.25 = -0.05 or sums of these.
    """
    found = closures(network({"X": 100.0, "Y": 107.5}, N1, 1.0))
    assert len(found) == 4
    basis = np.array([-0.06, 0.12, 0.02, -0.05])
    combos = {
        round(abs(float(np.dot(signs, basis))), 6)
        for signs in np.stack(np.meshgrid(*[[-1, 0, 1]] * 4), -1).reshape(-1, 4)
    }
    assert all(round(abs(one), 6) in combos for one in found["misclosure_m"])
    assert (found["kind"] == "benchmarks").sum() >= 1
    assert found["ok"].all()


def test_network_of_a_handbook_closes_as_its_figures_say():
    """E. M. Mikhail and F. Ackermann, Table 7-1. A-B-C-A 25.42 + 10.34 - 35.20 = 0.56."""
    found = closures(network({"A": 0.0}, [row[:3] for row in N7], 0.1))
    assert len(found) == 4
    by_points = {frozenset(row.points): row.misclosure_m for row in found.itertuples()}
    assert abs(by_points[frozenset("ABC")]) == pytest.approx(0.56, abs=1e-9)


@pytest.mark.parametrize("seed", [0, 1])
def test_there_are_as_many_closures_as_readings_to_spare(seed):
    ground = fitted(seed, boards=False)
    found = closures(ground)
    assert len(found) == round(ground.residuals["redundancy_readings"].sum()) == 4 + 19
    assert (found["kind"] == "again").sum() == 4
    assert (found.loc[found["kind"] == "loop", "positions"] == 2).all()


def test_exact_readings_close_and_each_closure_is_a_sum_of_readings():
    survey = crew(0, rod=0.0, boards=False)
    exact = closures(fit_ground(survey, instruments=STATED, ground_type=KNOWN))
    np.testing.assert_allclose(exact["misclosure_m"], 0.0, atol=1e-12)
    levels = survey.levels.copy()
    rng = np.random.default_rng(3)
    for _ in range(5):
        row = int(rng.integers(len(levels)))
        changed = levels.copy()
        changed.loc[row, "rod_m"] += 0.1
        found = closures(fit_ground(replace(survey, levels=changed), instruments=STATED, ground_type=KNOWN))
        touched = found["misclosure_m"].abs() > 1e-9
        named = found["readings"].map(lambda names, row=row: levels.loc[row, "reading"] in names)
        assert touched.tolist() == named.tolist()
        assert not found.loc[touched, "ok"].any()


def test_closures_span_all_that_readings_to_spare_can_say():
    """Together they give the readings' own chi-square: misclosures, decorrelated (numpy)."""
    from trackkit.survey.quality import overall_test

    ground = fitted(5, boards=False)
    found = closures(ground)
    names = ground.residuals["reading"].tolist()
    base = crew(5, boards=False)
    matrix = np.zeros((len(found), len(names)))
    for column, name in enumerate(names):
        levels = base.levels.copy()
        levels.loc[levels["reading"] == name, "rod_m"] += 1.0
        moved = closures(fit_ground(replace(base, levels=levels), instruments=STATED, ground_type=KNOWN))
        matrix[:, column] = (moved["misclosure_m"] - found["misclosure_m"]).to_numpy()
    misses = found["misclosure_m"].to_numpy()
    spread = matrix @ np.diag(ground.residuals["sd_m"] ** 2) @ matrix.T
    assert misses @ np.linalg.solve(spread, misses) == pytest.approx(overall_test(ground).chi2, rel=1e-4)
    np.testing.assert_allclose(found["limit_m"], 3 * np.sqrt(np.diag(spread)), rtol=1e-6)


def test_limit_grows_with_the_root_of_the_laser_positions_when_stated():
    found = closures(fitted(0, boards=False), per_position=0.004)
    np.testing.assert_allclose(found["limit_m"], 0.004 * np.sqrt(found["positions"]))


def test_a_chain_between_benchmarks_must_arrive():
    levels = pd.DataFrame(
        {"laser": ["1", "1", "2", "2"], "point": ["A", "T", "T", "B"], "rod_m": [1.0, 2.0, 1.5, 0.5]}
    )
    marks = pd.DataFrame({"point": ["A", "B"], "height_m": [10.0, 10.02], "sd_m": [0.0, 0.0]})
    found = closures(fit_ground(make_survey(levels=levels, benchmarks=marks)))
    assert found["kind"].tolist() == ["benchmarks"]
    row = found.iloc[0]
    assert set(row.points) == {"A", "T", "B"}
    assert row.positions == 2
    assert abs(row.misclosure_m) == pytest.approx(0.02)  # 10 + 1 - 2 + 1.5 - 0.5 = 10.00
    assert not row.ok
    assert row.through in (
        "A - laser position 1 - T - laser position 2 - B",
        "B - laser position 2 - T - laser position 1 - A",
    )


def test_without_a_way_back_there_is_no_closure():
    levels = pd.DataFrame({"point": ["A", "B"], "rod_m": [1.0, 2.0]})
    found = closures(fit_ground(make_survey(levels=levels)))
    assert found.empty
    assert "misclosure_m" in found
