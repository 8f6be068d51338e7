"""What correlated noise is worth, against the noise that was made and against statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
from log_cases import autoregressive, random_walk
from statsmodels.tsa.stattools import acf

from trackkit.survey.log.noise import low_frequency_noise
from trackkit.survey.log.reversed import estimate_drift

STEP, BOARD = 0.02, 1.2


def binned(seed, n, *, sd, length):
    """Bin means of noise that is correlated over ``length``."""
    fine = autoregressive(np.random.default_rng(seed), 10 * n, STEP / 10, sd=sd, length=length)
    return fine.reshape(n, 10).mean(axis=1)


@pytest.mark.parametrize("length", [0.02, 0.05, 0.1])
def test_noise_at_frequency_zero_is_twice_variance_times_length(length):
    """S0 of exp(-d / length) is its integral, 2 sd^2 length; each of 20 logs of 40 m within a factor 2."""
    found = np.array(
        [low_frequency_noise(binned(i, 2000, sd=0.005, length=length), STEP, BOARD) for i in range(20)]
    )
    ratio = found / (2 * 0.005**2 * length)
    assert np.exp(np.mean(np.log(ratio))) == pytest.approx(1.0, abs=0.2)
    assert np.all((ratio > 0.5) & (ratio < 2.0))


@pytest.mark.parametrize("length", [0.03, 0.08])
def test_the_autocorrelation_time_agrees_with_that_from_statsmodels_acf(length):
    """1 + 2 sum of statsmodels' acf, cut at five times itself as Sokal advises (from memory)."""
    series = binned(7, 40_000, sd=0.005, length=length)
    rho = acf(series, nlags=400, fft=True)
    tau = 1 + 2 * np.cumsum(rho[1:])
    cut = int(np.flatnonzero(np.arange(1, 401) >= 5 * tau / 2)[0])
    ours = low_frequency_noise(series, STEP, BOARD) / (STEP * series.var())
    assert ours == pytest.approx(tau[cut], rel=0.12)


def test_white_noise_is_worth_what_independent_rows_are():
    series = 0.004 * np.random.default_rng(3).standard_normal(20_000)
    assert low_frequency_noise(series, STEP, BOARD) == pytest.approx(0.004**2 * STEP, rel=0.1)


def test_the_ground_is_not_taken_for_noise():
    series = binned(1, 2000, sd=0.003, length=0.05)
    station = STEP * np.arange(2000)
    board = np.sinc(BOARD / 5.0) * 0.05 * np.cos(2 * np.pi * station / 5.0)
    plain, with_ground = (low_frequency_noise(each, STEP, BOARD) for each in (series, series + board))
    assert with_ground == pytest.approx(plain, rel=0.1)


def test_short_gaps_are_bridged_and_long_ones_part_the_log():
    series = binned(2, 15_000, sd=0.003, length=0.05)
    whole = low_frequency_noise(series, STEP, BOARD)
    series[[100, 101, 9000]] = np.nan
    series[4400:4500] = np.nan
    assert low_frequency_noise(series, STEP, BOARD) == pytest.approx(whole, rel=0.25)


def test_too_few_bins_say_nothing():
    assert np.isnan(low_frequency_noise(np.zeros(50), STEP, BOARD))


def test_drift_is_found_beside_white_noise():
    """Of 30 walks of 400 steps, the mean of the logarithm is right within 10 %."""
    found = []
    for seed in range(30):
        rng = np.random.default_rng(seed)
        half = random_walk(rng, 400, 0.15, 3e-4) + 5e-4 * rng.standard_normal(400)
        found.append(estimate_drift(half, 0.15, 5e-4)[0])
    assert np.exp(np.mean(np.log(found)) / 2) == pytest.approx(3e-4, rel=0.1)


def test_the_likelihood_of_a_drift_equals_the_dense_one():
    """Twice the log density of numpy's normal with the full covariance, against the sum over sines."""
    from trackkit.survey.log.reversed import _likelihood, _sines

    half = np.random.default_rng(4).standard_normal(40).cumsum()
    steps, walk, white = np.diff(half), 0.7, 0.4
    n = steps.size
    cov = walk * np.eye(n) + white * (2 * np.eye(n) - np.eye(n, k=1) - np.eye(n, k=-1))
    dense = -(np.linalg.slogdet(cov)[1] + steps @ np.linalg.solve(cov, steps))
    assert _likelihood(*_sines(half), walk, white) == pytest.approx(dense)
