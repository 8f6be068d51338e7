"""Limits for residuals: Pope's and Thompson's tau, and a misreading that an estimated sd would hide."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.special import stdtrit
from statsmodels.regression.linear_model import OLS
from statsmodels.stats.outliers_influence import OLSInfluence

from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey
from trackkit.survey.significance import studentised, tau_limit

POPE = {
    2: (1.4099, 1.4140, 1.4142), 3: (1.6454, 1.7147, 1.7303), 4: (1.7567, 1.9175, 1.9823),
    5: (1.8143, 2.0509, 2.1781), 10: (1.9039, 2.3236, 2.6786), 30: (1.9447, 2.4956, 3.0785),
}  # fmt: skip


@pytest.mark.parametrize("checks", POPE)
def test_tau_is_popes(checks):
    """Pope 1976, NOAA TR NOS 65 NGS 1, chances 0.05, 0.01, 0.001 (from memory, recomputed)."""
    found = [tau_limit(checks, chance) for chance in (0.05, 0.01, 0.001)]
    np.testing.assert_allclose(found, POPE[checks], atol=5.1e-5)


def test_tau_of_two_has_a_closed_form():
    assert tau_limit(2, 0.05) == pytest.approx(math.sqrt(2) * math.sin(0.475 * math.pi))


@pytest.mark.parametrize(
    ("n", "expected"), [(3, 1.1511), (4, 1.4250), (5, 1.5712), (10, 1.7984), (50, 1.9314)]
)
def test_thompsons_tau_follows(n, expected):
    """Thompson's tau, ASME PTC 19.1 (from memory): Pope's with n - 1, times sqrt((n - 1)/n)."""
    assert tau_limit(n - 1, 0.05) * math.sqrt((n - 1) / n) == pytest.approx(expected, abs=5.1e-5)


def test_studentised_passes_t_where_w_passes_tau():
    for checks in (3.0, 10.0, 40.0):
        limit = tau_limit(checks, 0.01)
        assert studentised(limit, limit, checks) == pytest.approx(stdtrit(checks - 1, 0.995))
    assert studentised(2.0, 2.0, math.inf) == 2.0
    with pytest.raises(ValueError, match="checks must be more than 1"):
        tau_limit(1.0, 0.05)


def test_studentised_is_what_statsmodels_calls_external():
    """statsmodels, OLSInfluence: external residuals out of internal ones."""
    rng = np.random.default_rng(3)
    design = np.column_stack([np.ones(15), np.arange(15.0)])
    measures = OLSInfluence(OLS(rng.normal(size=15), design).fit())
    inner = measures.resid_studentized_internal
    found = [studentised(w, w, 13.0) for w in inner]
    np.testing.assert_allclose(found, measures.resid_studentized_external)


def pegs(extra=0.0, seed=1, sd=0.0015):
    """Four pegs read from four laser positions, 9 readings to spare, and a few of them once more."""
    rng, rows = np.random.default_rng(seed), []
    for laser in range(4):
        for peg, low in zip("ABCD", (0.0, 0.1, 0.25, 0.4), strict=True):
            rod = 1.4 + 0.05 * laser - low + rng.normal(0, sd)
            rows.append({"laser": str(laser), "point": peg, "rod_m": rod})
    for peg, low in zip("ABC", (0.0, 0.1, 0.25), strict=True):
        rows.append({"laser": "0", "point": peg, "rod_m": 1.4 - low + rng.normal(0, sd)})
    rows[6]["rod_m"] += extra
    return make_survey(levels=pd.DataFrame(rows))


def test_a_misreading_does_not_hide_behind_the_sd_that_it_raised():
    """With 12 readings to spare no w exceeds 3.5; the one misread by 40 sd is found all the same."""
    survey = pegs(extra=0.06)
    ground = fit_ground(survey, instruments=Instruments(rod_sd=0.0015), estimate="rod_sd")
    assert ground.sd_checks is not None and ground.residuals["w"].abs().max() < 3.6
    assert ground.doubtful["reading"].tolist() == [survey.levels.loc[6, "reading"]]
    plain = replace(ground, sd_checks=None)
    assert plain.doubtful["chance"].iloc[0] > 1e3 * ground.doubtful["chance"].iloc[0]


def test_two_misreadings_leave_the_sound_readings_alone_where_the_sd_was_estimated():
    """Three laser positions over rough ground; two rods off by a decimetre, one each way."""
    for seed in range(2):
        rng, rows = np.random.default_rng(seed), []
        for laser in range(3):
            for at in np.arange(0.0, 6.0, 0.5):
                for side in ("left", "right"):
                    rod = 1.5 + 0.2 * laser - 0.01 * at + rng.normal(0, 0.0015)
                    rows.append({"laser": str(laser), "station_m": at, "side": side, "rod_m": rod})
        rows[17]["rod_m"] += 0.1
        rows[40]["rod_m"] -= 0.1
        ground = fit_ground(make_survey(levels=pd.DataFrame(rows)), estimate="rod_sd")
        assert set(ground.doubtful["reading"]) == {"levels row 19", "levels row 42"}
        assert ground.instruments.rod_sd > 0.008 and ground.doubtful["chance"].max() < 0.01


def test_an_estimated_sd_gives_one_false_alarm_in_20_surveys():
    grounds = [
        fit_ground(pegs(seed=seed, sd=0.003), instruments=Instruments(rod_sd=0.0015), estimate="rod_sd")
        for seed in range(30)
    ]
    alarms = np.mean([len(ground.doubtful) > 0 for ground in grounds])
    assert alarms <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / 30)


def test_chance_is_the_surveys_own():
    """Bonferroni: as many times the chance of one reading's w as readings were tested."""
    rng = np.random.default_rng(5)
    rows = [
        {"laser": laser, "station_m": float(at), "side": "left", "rod_m": 1.5 + rng.normal(0, 0.0015)}
        for laser in ("1", "2") for at in range(8)
    ]  # fmt: skip
    rows[3]["rod_m"] += 0.012
    ground = fit_ground(
        make_survey(levels=pd.DataFrame(rows)),
        ground_type=GroundType(q_mean=1e-5, q_twist=1e-6, relief=0.001),
        instruments=Instruments(rod_sd=0.0015, station_sd=0.0),
    )
    worst = ground.doubtful.iloc[0]
    assert worst["chance"] == pytest.approx(16 * math.erfc(abs(worst["w_without"]) / math.sqrt(2)))
    assert worst["chance"] < 0.05
