"""Spikes, frozen stretches and gaps are found, and good rows are left alone."""

from __future__ import annotations

import numpy as np
import pytest

from trackkit.survey.log.choices import LogRules
from trackkit.survey.log.clean import MAD_TO_SD, frozen_rows, gaps, running_median, spikes, stretches

RULES, BOARD = LogRules(), 1.2


def noisy(seed=0, n=10_000, sd=0.005):
    station = np.linspace(0, 20, n)
    return station, 0.03 * np.sin(station) + sd * np.random.default_rng(seed).standard_normal(n)


def test_spikes_are_found_one_by_one_and_nothing_else():
    station, angle = noisy()
    at = np.random.default_rng(1).choice(angle.size, 60, replace=False)
    angle[at] += np.where(np.arange(60) % 2, 0.06, -0.08)
    assert np.flatnonzero(spikes(station, angle, BOARD, RULES)).tolist() == sorted(at)


def test_good_rows_are_called_spikes_less_than_once_in_ten_thousand():
    alarms = sum(spikes(*noisy(seed), BOARD, RULES).sum() for seed in range(20))
    assert alarms <= 20


def test_a_lower_threshold_gives_false_alarms():
    """So that the test above can fail: at 3 sd about 1 in 370 normal errors is a spike."""
    alarms = spikes(*noisy(), BOARD, LogRules(spike=3.0)).sum()
    assert 10 < alarms < 100


def test_a_step_of_the_ground_is_no_spike():
    station = np.linspace(0, 20, 4000)
    angle = np.where(station < 10, 0.0, 0.05) + 0.002 * np.random.default_rng(3).standard_normal(4000)
    assert spikes(station, angle, BOARD, RULES).sum() == 0


def test_the_running_median_is_the_median_of_each_window():
    """Against numpy's own median of windows cut one by one."""
    values = np.random.default_rng(2).standard_normal(200)
    found = running_median(values, 11)
    direct = [np.median(values[i - 5 : i + 6]) for i in range(5, 195)]
    assert found[5:195] == pytest.approx(direct)


def test_the_factor_of_the_mad_is_that_of_the_normal_distribution():
    """1 / Phi^-1(3/4), from scipy's normal distribution."""
    from scipy.stats import norm

    assert pytest.approx(1 / norm.ppf(0.75)) == MAD_TO_SD


def test_a_frozen_stretch_is_found_whole():
    station, angle = noisy()
    angle[3000:3400] = angle[3000]
    assert np.flatnonzero(frozen_rows(station, angle, BOARD, RULES)).tolist() == list(range(3000, 3400))


@pytest.mark.parametrize("resolution", [0.01, 0.1])
def test_equal_values_of_a_coarse_display_are_not_frozen(resolution):
    station, angle = noisy()
    coarse = np.radians(np.round(np.degrees(angle) / resolution) * resolution)
    assert not frozen_rows(station, coarse, BOARD, RULES).any()


def test_a_phone_that_stands_still_is_not_frozen():
    station, angle = noisy()
    angle[3000:3400], station[3000:3400] = angle[3000], station[3000]
    assert not frozen_rows(station, angle, BOARD, RULES).any()


def test_level_ground_without_noise_is_not_frozen():
    station = np.linspace(0, 20, 1000)
    assert not frozen_rows(station, np.zeros(1000), BOARD, RULES).any()


def test_gaps_are_where_no_row_lies():
    station = np.concatenate([np.linspace(0, 5, 100), np.linspace(7, 9, 50)])
    (gap,) = gaps(station, 0.6)
    assert (gap.start, gap.end) == (5.0, 7.0)


def test_marked_rows_are_told_as_stretches():
    station = np.arange(10.0)
    found = stretches(station, np.isin(station, [1, 2, 7]), 1.5)
    assert [(s.start, s.end, s.rows) for s in found] == [(1, 2, 2), (7, 7, 1)]
