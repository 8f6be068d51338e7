"""Readers: biases found by simulation and against statsmodels, false alarms, and what cannot be told."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t
from simulated_crew import KNOWN, ROD, STATED, again, crew, fitted

from trackkit.survey.ground import fit_ground
from trackkit.survey.quality import compare_readers


@pytest.fixture(scope="module")
def exact():
    return fitted(0, rod=0.0, phone=0.0)


def offsets(ground, **bias):
    return ground.survey.levels["reader"].map(bias).to_numpy()


def test_biases_are_recovered_and_a_crew_that_reads_alike_is_accused_once_in_20(exact):
    """Against the true biases, t is what it would be for readers who read alike."""
    off = offsets(exact, A=0.003, B=-0.001)
    tables = [compare_readers(again(exact, seed, off=off)).table for seed in range(60)]
    bias = np.array([table["bias_m"] for table in tables])
    sd = np.array([table["sd_m"] for table in tables])
    assert bias.mean(axis=0) == pytest.approx([0.002, -0.002], abs=1.5e-4)
    assert np.mean([table["verdict"].tolist() == ["reads high", "reads low"] for table in tables]) > 0.9
    # two readers are one comparison: 5 % on both sides of Student's t, with some 30 checks
    wrong = np.abs((bias - [0.002, -0.002]) / sd)[:, 0] > t.ppf(0.975, 30)
    assert np.mean(wrong) < 0.05 + 0.085
    alike = [set(compare_readers(again(exact, seed)).table["verdict"]) for seed in range(20)]
    assert np.mean([one != {"like the others"} for one in alike]) < 0.05 + 0.15


def test_each_readers_spread_is_recovered_with_its_give_or_take():
    large = fitted(0, rod=0.0, phone=0.0, stations=25)
    who = large.survey.levels["reader"]
    spread = np.where(who == "A", 1.0, 2.0)
    tables = [compare_readers(again(large, seed, rod=spread)).table for seed in range(30)]
    sigma = np.array([table["sigma_m"] for table in tables])
    assert np.nanmedian(sigma, axis=0) == pytest.approx([ROD, 2 * ROD], rel=0.1)
    for index, true in enumerate((ROD, 2 * ROD)):
        told = [table for table in tables if np.isfinite(table["sigma_m"].iloc[index])]
        held = [
            table["sigma_low_m"].iloc[index] <= true <= table["sigma_high_m"].iloc[index] for table in told
        ]
        assert len(told) > 25
        assert np.mean(held) > 0.85


def test_bias_and_its_sd_equal_ordinary_least_squares_with_dummies():
    """statsmodels OLS on a balanced design: two laser positions, readers in turns."""
    from statsmodels.api import OLS

    ground = fitted(3, boards=False, bias={"A": 0.002, "B": 0.0})
    levels = ground.survey.levels
    laser = pd.get_dummies(levels["laser"], dtype=float)
    place = levels["point"] + levels["station_m"].fillna(-9).astype(str) + levels["side"]
    effect = np.where(levels["reader"] == "A", 1.0, -1.0)[:, None]
    design = np.hstack([laser, -pd.get_dummies(place, dtype=float).iloc[:, 1:], effect])
    fit = OLS(levels["rod_m"].to_numpy(), design).fit()
    found = compare_readers(ground)
    row = found.table.set_index("reader").loc["A"]
    assert row["bias_m"] == pytest.approx(fit.params[-1], abs=1e-7)
    assert row["sd_m"] == pytest.approx(fit.bse[-1], rel=1e-3)
    assert row["t"] == pytest.approx(fit.tvalues[-1], rel=1e-3)
    assert found.sigma_m == pytest.approx(np.sqrt(fit.scale), rel=1e-3)
    assert found.checks == pytest.approx(fit.df_resid, abs=1e-3)
    assert found.scaled


def test_readers_of_different_laser_positions_cannot_be_told_apart():
    survey = crew(1)
    levels = survey.levels.assign(reader=survey.levels["laser"].map({"east": "Ann", "west": "Bo"}))
    found = compare_readers(fit_ground(replace(survey, levels=levels), instruments=STATED, ground_type=KNOWN))
    assert found.table["bias_m"].isna().all()
    assert found.table["sd_m"].isna().all()
    assert set(found.table["verdict"]) == {"cannot be told"}
    assert "cannot be told apart: Ann from Bo" in found.apart[0]


def test_those_who_can_be_compared_are_though_a_third_cannot():
    survey = crew(1)
    names = survey.levels["reader"].where(survey.levels["laser"] == "east", "Cy")
    pegs = (survey.levels["laser"] == "east") & (survey.levels["point"] != "")
    again_by_b = np.where(pegs & survey.levels.duplicated(["laser", "point"]), "B", names)
    levels = survey.levels.assign(reader=np.where(pegs & (again_by_b != "B"), "A", again_by_b))
    found = compare_readers(fit_ground(replace(survey, levels=levels), instruments=STATED, ground_type=KNOWN))
    table = found.table.set_index("reader")
    assert np.isfinite(table.loc[["A", "B"], "bias_m"]).all()
    assert table.loc[["A", "B"], "bias_m"].sum() == pytest.approx(0.0, abs=1e-9)
    assert table.loc["Cy", "verdict"] == "cannot be told"
    assert found.apart[0].startswith("cannot be told apart: A and B from Cy")


@pytest.mark.parametrize("name", ["", "Ann"])
def test_a_survey_of_one_reader_says_nothing(name):
    survey = crew(1)
    survey = replace(survey, levels=survey.levels.assign(reader=name))
    found = compare_readers(fit_ground(survey, instruments=STATED, ground_type=KNOWN))
    assert found.table.empty
    assert found.apart == ()


def test_readings_without_a_name_count_as_one_more_reader():
    survey = crew(1)
    levels = survey.levels.copy()
    levels.loc[levels["reader"] == "B", "reader"] = ["B", ""] * 11
    found = compare_readers(fit_ground(replace(survey, levels=levels), instruments=STATED, ground_type=KNOWN))
    assert set(found.table["reader"]) == {"A", "B", "(no name)"}


def test_too_few_checks_give_no_spread():
    levels = crew(1).levels.iloc[:8]
    levels = pd.concat([levels, levels.iloc[:2].assign(reading=["x", "y"], reader=["B", "A"])])
    survey = replace(crew(1, boards=False), levels=levels.reset_index(drop=True))
    found = compare_readers(fit_ground(survey, instruments=STATED, ground_type=KNOWN))
    assert np.isnan(found.sigma_m)
    assert found.table["sigma_m"].isna().all()
    assert not found.scaled
    assert np.isfinite(found.table["bias_m"]).all()
