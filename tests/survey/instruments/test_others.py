"""Phones, rods and repeated readings: identities of a reversal, geometry, and the chi-square limit."""

import math

import numpy as np
import pytest

from trackkit.problems import FitError
from trackkit.survey.instruments import Instruments, lean_for, read_high, repeatability, reversal, rod_zero


def test_a_reversal_parts_slope_and_zero_error():
    """Tilt 0.37 and bias 0.22 show 0.59 and -0.15 on a display that turns with the phone (level makers'
    manuals halve the same way); with the ground's sign kept the second is 0.15."""
    check = reversal(np.radians([0.59]), np.radians([0.15]))
    assert math.degrees(check.slopes[0]) == pytest.approx(0.37)
    assert math.degrees(check.zero.value) == pytest.approx(0.22)
    assert check.zero.correction["zeros"] == '{ "phone" = "0.220 deg" }'


def test_many_pairs_have_the_zero_error_better():
    one, nine = (reversal(np.full(n, 0.01), np.full(n, 0.002), angle_sd=0.005) for n in (1, 9))
    assert nine.zero.sd == pytest.approx(one.zero.sd / 3)
    assert nine.slope_sd == pytest.approx(0.005 / math.sqrt(2))
    assert math.isnan(one.reading_sd) and nine.reading_sd == pytest.approx(0.0, abs=1e-12)


def test_the_sd_of_a_phone_is_what_simulated_pairs_scatter_by():
    rng, slopes = np.random.default_rng(3), np.linspace(-0.03, 0.05, 12)
    true, sd, found = math.radians(0.4), math.radians(0.2), []
    for _ in range(2000):
        ahead, back = slopes + true + rng.normal(0, sd, 12), slopes - true + rng.normal(0, sd, 12)
        found.append(reversal(ahead, back, angle_sd=sd))
    zeros = np.array([check.zero.value for check in found])
    assert zeros.mean() == pytest.approx(true, abs=4 * sd / math.sqrt(24 * 2000))
    assert zeros.std() == pytest.approx(sd / math.sqrt(24), rel=0.06)
    assert np.mean([check.reading_sd**2 for check in found]) == pytest.approx(sd**2, rel=0.05)
    assert np.mean([check.zero.sd > sd / math.sqrt(24) * 1.0001 for check in found]) == pytest.approx(
        0.05, abs=0.02
    )


def test_pairs_that_scatter_more_than_stated_count_with_what_they_have():
    ahead = np.radians([1.0, 2.0, 0.0, 3.0])
    check = reversal(ahead, np.zeros(4), angle_sd=math.radians(0.1))
    assert check.zero.sd == pytest.approx(check.reading_sd / math.sqrt(8))


def test_readings_without_a_mate_are_refused():
    with pytest.raises(ValueError, match="needs its mate back; got 2 and 1"):
        reversal([0.1, 0.2], [0.1])
    with pytest.raises(ValueError, match="must be a number"):
        reversal([math.nan], [0.1])


def test_rod_that_leans_reads_high():
    """2 m read with a rod leaning 1, 2 and 3 degrees: r (sec - 1) = 0.30, 1.22, 2.74 mm (geometry)."""
    found = read_high(2.0, np.radians([1.0, 2.0, 3.0]))
    np.testing.assert_allclose(found, [0.30e-3, 1.22e-3, 2.74e-3], atol=5e-6)
    assert float(read_high(2.0, lean_for(2.0, 0.001))) == pytest.approx(0.001)
    with pytest.raises(ValueError, match="rod must be above 0"):
        lean_for(0.0, 0.001)


def test_two_rods_differ_by_the_mean_of_their_differences():
    check = rod_zero([1.200, 1.350, 0.940], [1.204, 1.353, 0.945], rod_sd=0.0006)
    assert check.value == pytest.approx(0.004)
    assert check.sd == pytest.approx(0.0006 * math.sqrt(2 / 3))
    assert check.verdict == "not good"
    with pytest.raises(ValueError, match="needs its mate of the other"):
        rod_zero([1.0, 2.0], [1.0])


@pytest.mark.parametrize(
    ("dof", "limit"), [(9, 1.37), (10, 1.35), (18, 1.27), (20, 1.25), (27, 1.22), (38, 1.19), (54, 1.16)]
)
def test_the_limit_has_the_form_of_iso_17123_2(dof, limit):
    """ISO 17123-2:2001 prints 1.19 for its full test of 38 (from memory); the others by its formula."""
    found = repeatability(np.arange(dof + 1.0), ["A"] * (dof + 1), stated=1.0)
    assert found.dof == dof
    assert found.limit == pytest.approx(limit, abs=0.005)


def test_sd_and_its_bounds_are_those_of_scipy():
    from scipy.stats import chi2

    rng = np.random.default_rng(7)
    points = ["A"] * 6 + ["B"] * 4
    read = rng.normal(0.0, 0.002, 10) + np.where(np.array(points) == "A", 1.0, 2.0)
    found = repeatability(read, points, stated=0.0015)
    pooled = math.sqrt((5 * read[:6].var(ddof=1) + 3 * read[6:].var(ddof=1)) / 8)
    assert found.sd == pytest.approx(pooled)
    low, high = (pooled * math.sqrt(8 / q) for q in chi2.ppf([0.975, 0.025], 8))
    assert (found.low, found.high) == pytest.approx((low, high))


def test_1_check_in_20_of_a_good_instrument_is_called_bad():
    rng, points = np.random.default_rng(12), ["A"] * 5 + ["B"] * 5
    bad = [
        repeatability(rng.normal(0, 1.0, 10), points, stated=1.0).verdict == "not good" for _ in range(4000)
    ]
    assert np.mean(bad) == pytest.approx(0.05, abs=0.012)


def test_points_read_once_say_nothing():
    with pytest.raises(FitError, match="no point was read twice"):
        repeatability([1.0, 2.0], ["A", "B"], stated=1.0)
    with pytest.raises(ValueError, match="stated must be above 0"):
        repeatability([1.0, 2.0], ["A", "A"], stated=0.0)


def test_strange_zero_errors_are_refused():
    with pytest.raises(ValueError, match=r"zero_sds\['phone'\] must be a positive number"):
        Instruments(zero_sds={"phone": 0.0})
    with pytest.raises(ValueError, match=r"zeros\['phone'\] must be a number"):
        Instruments(zeros={"phone": math.inf})
