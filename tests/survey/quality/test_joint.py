"""Changes of readings without fitting again: against fits made anew, and statsmodels' influence measures."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from statsmodels.regression.linear_model import OLS
from statsmodels.stats.outliers_influence import OLSInfluence

from trackkit.survey.fitting import fit_rows
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.quality.joint import joint_of
from trackkit.survey.readings import make_survey

KNOWN = GroundType(q_mean=1e-5, q_twist=2e-6, relief=0.001)
TOOLS = Instruments(rod_sd=0.0015, station_sd=0.0)


def survey(seed=2):
    rng, rows, boards = np.random.default_rng(seed), [], []
    for station in np.linspace(0.0, 8.0, 9):
        for side in ("left", "right"):
            rod = 1.5 - 0.05 * np.sin(station / 2) + rng.normal(0, 0.0015)
            rows.append({"station_m": station, "side": side, "rod_m": rod})
    for near in (0.0, 2.0, 4.0, 6.0):
        for facing, sign in (("ahead", 1), ("back", -1)):
            angle = 0.05 * (np.sin((near + 1) / 2) - np.sin(near / 2)) + sign * 0.008 + rng.normal(0, 0.003)
            boards.append(
                {"station_m": near, "to_station_m": near + 1, "side": "left", "angle_rad": angle}
                | {"facing": facing}
            )
    return make_survey(levels=pd.DataFrame(rows), boards=pd.DataFrame(boards))


def squares(setting, fitted):
    """Squared residuals, with the smoothness as so many more readings."""
    from trackkit.banded import band_quadratic

    bends = sum(
        weight * band_quadratic(band, fitted.posterior.state)
        for weight, band in zip(fitted.roughness.weights, setting.prior.bands, strict=True)
    )
    return float(np.sum((fitted.posterior.residual / fitted.posterior.sd) ** 2) + bends)


@pytest.fixture(scope="module")
def ground():
    return fit_ground(survey(), ground_type=KNOWN, instruments=TOOLS)


@pytest.mark.parametrize("rows", [[3], [3, 4], [0, 7, 20], [19, 20, 21, 22]])
def test_leaving_readings_out_is_what_a_fit_without_them_does(ground, rows):
    setting, fitted = ground.setting, ground.fitted
    joint, which = joint_of(setting, fitted), np.array(rows)
    keep = np.ones(setting.observations.value.size, dtype=bool)
    keep[rows] = False
    other = fit_rows(setting, keep=keep)
    seen = setting.observations
    predicted = seen.ground[rows] @ other.state(setting) + seen.border[rows] @ other.border(setting)
    np.testing.assert_allclose(joint.off(which), predicted - seen.value[rows], atol=1e-10)
    gained = squares(setting, fitted) - squares(setting, other)
    assert joint.gain_without(which) == pytest.approx(gained, rel=1e-6)
    rest = joint.without(which)
    np.testing.assert_allclose(rest.pull[keep] * rest.sd[keep] ** 2, other.posterior.residual, atol=1e-10)
    zero = other.border(setting)[[kind == "zero" for kind, _ in seen.names]]
    np.testing.assert_allclose(rest.zero, zero, atol=1e-12)
    np.testing.assert_allclose(joint.zero_without(which), zero, atol=1e-12)
    one = np.array([12])
    if 12 not in rows:
        both = np.array([*rows, 12])
        assert rest.gain_without(one) + joint.gain_without(which) == pytest.approx(
            joint.gain_without(both), rel=1e-8
        )


def test_changing_readings_is_what_a_fit_to_them_changed_does(ground):
    setting, rows, change = ground.setting, np.array([2, 9, 20]), np.array([0.01, -0.02, 0.004])
    joint = joint_of(setting, ground.fitted)
    value = setting.observations.value.copy()
    value[rows] += change
    other_setting = replace(setting, observations=replace(setting.observations, value=value))
    other = fit_rows(other_setting)
    gained = squares(setting, ground.fitted) - squares(other_setting, other)
    assert joint.gain(rows, change) == pytest.approx(gained, rel=1e-6)
    zero = other.border(setting)[[kind == "zero" for kind, _ in setting.observations.names]]
    np.testing.assert_allclose(joint.zero + joint.zero_pull[:, rows] @ change, zero, atol=1e-12)


def test_a_straight_fit_has_statsmodels_influence_measures():
    """statsmodels, OLSInfluence: hat diagonal, deleted residuals, studentised residuals (JCGM H.3's data)."""
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    levels = {"station_m": t - 21.0, "side": "left", "rod_m": 1.0 - b}
    stiff = GroundType(q_mean=1e-11, q_twist=1e-11, relief=0.0)
    sd = 0.0035
    ground = fit_ground(
        make_survey(levels=levels), ground_type=stiff, instruments=Instruments(rod_sd=sd, station_sd=0.0)
    )
    joint = joint_of(ground.setting, ground.fitted)
    measures = OLSInfluence(OLS(b, np.column_stack([np.ones(11), t])).fit())
    share = np.diag(joint.hold)[:11] * sd**2
    np.testing.assert_allclose(share, 1.0 - measures.hat_matrix_diag, atol=1e-4)
    found = [joint.off(np.array([i]))[0] for i in range(11)]
    np.testing.assert_allclose(found, measures.resid_press, atol=1e-6)
    np.testing.assert_allclose(
        joint.pull[:11] * sd / np.sqrt(share), measures.resid / (sd * np.sqrt(share)), atol=2e-3
    )


def test_readings_that_the_fit_needs_cannot_be_left_out():
    levels = pd.DataFrame({"laser": ["1", "1"], "point": ["P1", "P2"], "rod_m": [1.0, 1.2]})
    ground = fit_ground(make_survey(levels=levels), instruments=TOOLS)
    joint = joint_of(ground.setting, ground.fitted)
    assert not joint.can_do_without(np.array([0]))


def test_each_is_judged_by_all_others_and_follows_a_change(ground):
    joint, rows = joint_of(ground.setting, ground.fitted), np.arange(18)
    off, squares = joint.each_off(rows)
    single = [joint.off(np.array([row]))[0] for row in rows]
    np.testing.assert_allclose(off, single, atol=1e-12)
    assert squares == pytest.approx(sum(joint.gain_without(np.array([row])) for row in rows))
    change = np.array([0.01, -0.005])
    moved = joint.changed(np.array([2, 9]), change)
    one = np.array([4])
    assert moved.off(one)[0] == pytest.approx(
        joint.off(one)[0] - (joint.hold[4, [2, 9]] @ change) / joint.hold[4, 4]
    )
