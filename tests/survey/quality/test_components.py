"""Kinds of readings against what was stated, and laser against phone, by simulation."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from simulated_crew import ANGLE, KNOWN, ROD, STATED, again, crew, fitted

from trackkit.survey.ground import fit_ground
from trackkit.survey.quality import laser_against_phone, variance_components
from trackkit.survey.readings import make_survey


@pytest.fixture(scope="module")
def exact():
    return fitted(0, rod=0.0, phone=0.0)


def test_readings_as_stated_agree_and_a_phone_three_times_as_bad_is_found(exact):
    """Factors average to the truth; limits hold it 19 times in 20 (120 surveys: 3 sd are 6 %)."""
    held, factors, alarms, found = [], [], [], []
    for seed in range(120):
        table = variance_components(again(exact, seed, phone=3.0)).set_index("kind")
        factors.append(table["factor"].to_numpy())
        true = pd.Series({"rod readings": 1.0, "angles": 3.0})[table.index]
        held.append(((table["low"] <= true) & (true <= table["high"])).to_numpy())
        alarms.append(not table.loc["rod readings", "agrees"])
        found.append(not table.loc["angles", "agrees"])
    assert np.sqrt(np.mean(np.square(factors), axis=0)) == pytest.approx([1.0, 3.0], rel=0.05)
    assert np.all(np.abs(np.mean(held, axis=0) - 0.95) < 0.06)
    assert np.mean(alarms) < 0.11
    assert np.mean(found) > 0.99


def test_when_all_is_as_stated_one_survey_in_20_gives_an_alarm(exact):
    alarms = [not variance_components(again(exact, seed))["agrees"].all() for seed in range(120)]
    assert np.mean(alarms) == pytest.approx(0.05, abs=0.06)


def test_components_agree_with_a_fit_that_estimates_one_of_them():
    """`estimate_sd` has the ground's smoothness as one more witness, so they agree within their doubt."""
    survey = crew(7, phone=3.0, stations=14)
    table = variance_components(fit_ground(survey, instruments=STATED)).set_index("kind")
    other = fit_ground(survey, instruments=STATED, estimate="angle_sd")
    ratio = other.instruments.angle_sd / table.loc["angles", "value"]
    assert ratio == pytest.approx(1.0, abs=table.loc["angles", "sd_factor"] / 3.0)
    assert table.loc["angles", "setting"] == "angle_sd"


def test_component_equals_reference_variance_of_ordinary_least_squares():
    """With one kind of reading the factor is the residual standard error over the stated (statsmodels)."""
    from statsmodels.api import OLS

    ground = fitted(3, boards=False)
    levels = ground.survey.levels
    laser = pd.get_dummies(levels["laser"], dtype=float)
    place = levels["point"] + levels["station_m"].fillna(-9).astype(str) + levels["side"]
    design = np.hstack([laser, -pd.get_dummies(place, dtype=float).iloc[:, 1:]])
    fit = OLS(levels["rod_m"].to_numpy(), design).fit()
    row = variance_components(ground).iloc[0]
    assert row["checks"] == pytest.approx(fit.df_resid, abs=1e-3)
    assert row["value"] == pytest.approx(np.sqrt(fit.scale), rel=1e-3)
    assert row["sd_factor"] == pytest.approx(row["factor"] / np.sqrt(2 * fit.df_resid), rel=1e-3)


def test_too_few_checks_give_no_figure():
    levels = pd.DataFrame({"point": ["A", "B", "A"], "rod_m": [1.0, 1.2, 1.001]})
    table = variance_components(fit_ground(make_survey(levels=levels)))
    assert np.isnan(table["factor"].iloc[0])
    assert table["agrees"].iloc[0]
    assert "too few checks" in table["do"].iloc[0]


def test_readings_with_their_own_sd_point_to_their_table(exact):
    survey = crew(1, boards=False)
    own = replace(survey, levels=survey.levels.assign(sd_m=ROD))
    row = variance_components(fit_ground(own, ground_type=KNOWN)).iloc[0]
    assert row["setting"] == "the column sd of their table"
    assert np.isnan(row["value"])
    named = replace(STATED, angle_sds={"phone": ANGLE})
    table = variance_components(fit_ground(crew(1), instruments=named, ground_type=KNOWN)).set_index("kind")
    assert table.loc["angles", "setting"] == "angle_sd of phone"


def test_laser_and_phone_that_agree_are_told_apart_in_one_survey_of_20(exact):
    found = [laser_against_phone(again(exact, seed)) for seed in range(120)]
    assert np.mean([not one.agrees for one in found]) < 0.05 + 0.06
    # the zero error, believed to be 0 give or take 1 degree, is 0.4
    assert np.mean([one.chi2 for one in found]) == pytest.approx(15 + 0.4**2, abs=3 * np.sqrt(32 / 120))
    assert found[0].dof == 16
    ratio = [one.mean_rad / one.mean_sd_rad for one in found]
    assert np.mean(ratio) == pytest.approx(0.0, abs=3 / np.sqrt(120))
    assert np.std(ratio) == pytest.approx(1.0, abs=0.2)
    w = np.concatenate([one.table["w"] for one in found])
    assert np.std(w) == pytest.approx(1.0, abs=0.05)


def test_a_phone_that_finds_all_steeper_contradicts_the_laser(exact):
    rows = exact.setting.observations
    boards = (rows.table["kind"] == "board").to_numpy()
    lifted = replace(rows, value=rows.value + np.where(boards, np.radians(0.5), 0.0))
    ground = replace(exact, setting=replace(exact.setting, observations=lifted))
    found = laser_against_phone(again(ground, 1))
    assert not found.agrees
    assert np.degrees(found.mean_rad) == pytest.approx(0.5, abs=3 * np.degrees(found.mean_sd_rad))
    assert "steeper than the rods" in found.words
    assert "look at the board's feet" in found.words


def test_a_zero_error_that_reversal_takes_off_is_no_contradiction(exact):
    """The simulated phone's zero error is 0.4 degrees, read both ways round."""
    found = laser_against_phone(again(exact, 3))
    assert found.agrees
    assert np.abs(found.table["difference_m"]).mean() < 2.0 * ANGLE


def test_angles_apart_from_the_rods_contradict_nothing():
    angles = {"station_m": [0.0], "to_station_m": [1.0], "side": "left", "angle_rad": [0.02]}
    alone = laser_against_phone(fit_ground(make_survey(boards=angles)))
    assert (alone.dof, alone.agrees) == (0, True)
    assert "No angle lies between places" in alone.words
    levels = {"station_m": [0.0, 3.0], "side": "left", "rod_m": [1.0, 1.1]}
    apart = laser_against_phone(fit_ground(make_survey(boards=angles, levels=levels)))
    assert apart.dof == 0
