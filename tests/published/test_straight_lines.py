"""A stiff profile is a straight line: published line fits, and the spline it becomes when it bends."""

from pathlib import Path

import numpy as np
import pytest

from trackkit.survey.determine import check_determined
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey

# JCGM 100:2008, Annex H.3, Table H.6: thermometer corrections (figures from memory; the PyPI package
# GTC prints the same results).
TEMPERATURE = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
CORRECTION = np.array(
    [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
)
STIFF = GroundType(q_mean=1e-15, q_twist=1e-15, relief=0.0)


def one_side(station, height, sd, **options):
    """Return the fit of heights read on one side from a laser whose plane is known to be at 0."""
    n = len(station)
    survey = make_survey(
        levels={
            "laser": "1",
            "station_m": [*station, np.nan],
            "side": ["left"] * n + [""],
            "point": [""] * n + ["BM"],
            "rod_m": [*(-np.asarray(height)), 0.0],
            "sd_m": [sd] * n + [1e-9],
        },
        benchmarks={"point": ["BM"], "height_m": [0.0], "sd_m": [0.0]},
    )
    return fit_ground(survey, instruments=Instruments(station_sd=0.0), **options)


def gum_line():
    """Return the stiff fit with the residual standard deviation of the line as the readings' own."""
    first = one_side(TEMPERATURE, CORRECTION, 0.004, ground_type=STIFF)
    rods = first.residuals.query("kind == 'rod'")
    s = float(np.sqrt((rods["residual_m"] ** 2).sum() / (TEMPERATURE.size - 2)))
    return s, one_side(TEMPERATURE, CORRECTION, s, ground_type=STIFF)


def test_gum_h3_line_is_the_limit_of_a_stiff_profile():
    s, ground = gum_line()
    assert s == pytest.approx(0.0035, abs=0.00005)
    at = [(20.0, "left"), (21.0, "left")]
    mean, covariance = ground.mean(at), ground.covariance(at)
    assert mean[0] == pytest.approx(-0.1712, abs=0.00005)
    assert np.sqrt(covariance[0, 0]) == pytest.approx(0.0029, abs=0.00005)
    per_degree = np.array([-1.0, 1.0])
    assert per_degree @ mean == pytest.approx(0.00218, abs=0.000005)
    slope_sd = np.sqrt(per_degree @ covariance @ per_degree)
    assert slope_sd == pytest.approx(0.00067, abs=0.000005)
    correlation = (covariance @ per_degree)[0] / np.sqrt(covariance[0, 0]) / slope_sd
    assert correlation == pytest.approx(-0.930, abs=0.0005)


def test_gum_h3_prediction_away_from_the_readings():
    _, ground = gum_line()
    mean, sd = ground.height(30.0, "left")
    assert mean == pytest.approx(-0.1494, abs=0.00005)
    assert sd == pytest.approx(0.0041, abs=0.00005)


def test_gum_h3_results_do_not_depend_on_the_chosen_reference():
    """JCGM 100:2008 H.3.5: another reference temperature changes y1 and its u, not b(t) nor u(b)."""
    n = TEMPERATURE.size
    levels = {"station_m": TEMPERATURE, "side": ["left"] * n, "rod_m": -CORRECTION, "sd_m": 0.0035}
    points = [(22.0, "left"), (24.0, "left"), (30.0, "left")]
    pairs = np.array([[1.0, -1.0, 0.0], [0.0, 1.0, -1.0]])
    results = []
    for datum in (20.0, 24.0085, 26.511):
        ground = fit_ground(
            make_survey(levels=levels),
            instruments=Instruments(station_sd=0.0),
            ground_type=STIFF,
            datum=(datum, "left"),
        )
        results.append((pairs @ ground.mean(points), pairs @ ground.covariance(points) @ pairs.T))
    for mean, covariance in results[1:]:
        np.testing.assert_allclose(mean, results[0][0], rtol=1e-6)
        np.testing.assert_allclose(covariance, results[0][1], rtol=1e-5)


def test_nist_norris_certified_line():
    """NIST StRD, Norris: certified intercept, slope and their standard deviations (file in scipy)."""
    import scipy.stats

    path = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_linregress" / "Norris.dat"
    if not path.exists():
        pytest.skip("this scipy comes without its test data")
    y, x = np.array(
        [[float(word) for word in line.split()] for line in path.read_text().splitlines()[60:96]]
    ).T
    ground = one_side(x, y, 1.0, ground_type=STIFF)
    start, _ = check_determined(
        ground.setting.observations, ground.setting.free, level_is_free=False, smooth_ties=False
    )
    middle, half = ground.stations.mean(), np.ptp(ground.stations) / 2
    slope = start[1] / half
    intercept = start[0] - slope * middle
    assert slope == pytest.approx(1.00211681802045, rel=1e-9)
    assert intercept == pytest.approx(-0.262323073774029, rel=1e-7)
    mean = ground.mean([(0.0, "left"), (1000.0, "left")])
    covariance = ground.covariance([(0.0, "left"), (1000.0, "left")])
    rods = ground.residuals.query("kind == 'rod'")
    s = np.sqrt((rods["residual_m"] ** 2).sum() / 34)
    # the profile keeps a floor of roughness (digits), which over 1000 m with nodes 0.1 m apart shows
    assert s == pytest.approx(0.884796396144373, rel=2e-3)
    assert mean[0] == pytest.approx(-0.262323073774029, abs=0.03 * 0.2328)
    assert s * np.sqrt(covariance[0, 0]) == pytest.approx(0.232818234301152, rel=6e-3)
    slope_variance = (covariance[0, 0] + covariance[1, 1] - 2 * covariance[0, 1]) / 1000**2
    assert s * np.sqrt(slope_variance) == pytest.approx(0.429796848199937e-3, rel=6e-3)


def test_readings_on_a_large_height_keep_their_digits():
    """NIST StRD NumAcc4: 10000000.2, then 500 pairs of .1 and .3; mean 10000000.2 exactly."""
    values = np.concatenate([[10000000.2], np.tile([10000000.1, 10000000.3], 500)])
    survey = make_survey(
        benchmarks={"point": ["B"], "height_m": [0.0], "sd_m": [0.0]},
        differences={"point": "B", "to_point": "P", "rise_m": values, "sd_m": 0.1},
    )
    mean, sd = fit_ground(survey).point("P")
    assert mean == pytest.approx(10000000.2, abs=1e-7)
    assert sd == pytest.approx(0.1 / np.sqrt(1001), rel=1e-7)


@pytest.mark.parametrize("n", [5, 40, 400])
def test_one_side_with_rods_alone_is_a_smoothing_spline(n):
    """scipy.interpolate.make_smoothing_spline with lam = sd^2 / q (general-purpose library)."""
    from scipy.interpolate import make_smoothing_spline

    rng = np.random.default_rng(n)
    station = np.sort(rng.uniform(0, 0.4 * n, n))
    station = np.maximum.accumulate(station + 0.02 * np.arange(n))
    height = 0.05 * np.sin(station) + rng.normal(0, 0.002, n)
    q, sd = 1e-3, 0.002
    spline = make_smoothing_spline(station, height, lam=sd**2 / q)
    survey = make_survey(
        levels={"station_m": station, "side": ["left"] * n, "rod_m": 1.5 - height, "sd_m": sd}
    )
    kind = GroundType(q, q, 0.0)
    ground = fit_ground(survey, instruments=Instruments(station_sd=0.0), ground_type=kind)
    between = np.concatenate([station, (station[1:] + station[:-1]) / 2])
    found = ground.height(between, "left")[0]
    np.testing.assert_allclose(found, spline(between) - spline(station[0]), atol=2e-9)


def test_stiff_line_has_the_hat_values_and_studentised_residuals_of_statsmodels():
    """statsmodels OLSInfluence on the GUM data (general-purpose library)."""
    import statsmodels.api as sm
    from statsmodels.stats.outliers_influence import OLSInfluence

    _, ground = gum_line()
    influence = OLSInfluence(sm.OLS(CORRECTION, sm.add_constant(TEMPERATURE)).fit())
    rods = ground.residuals.query("kind == 'rod'")
    np.testing.assert_allclose(rods["redundancy"], 1 - influence.hat_matrix_diag, atol=2e-4)
    # a rod reads down from the laser: fitted minus read has the sign of height minus fitted height
    np.testing.assert_allclose(rods["w"], influence.resid_studentized_internal, atol=2e-3)


EXPECTED_MAXIMUM = {2: 0.56419, 3: 0.84628, 5: 1.16296, 10: 1.53875, 20: 1.86748}


@pytest.mark.parametrize("n", EXPECTED_MAXIMUM)
def test_highest_of_equal_points_has_the_expected_maximum_of_normals(n):
    """Order statistics of the normal distribution (Harter; David: tables, from memory, recomputed).

    On rough flat ground that is read with sd 2 mm the highest point is too high by this times 2 mm.
    """
    sd = 0.002
    station = np.arange(float(n))
    ground = one_side(station, np.zeros(n), sd, ground_type=GroundType(1e-10, 1e-10, 0.5))
    draws = ground.draw([(s, "left") for s in station], 40_000, seed=1)
    highest = draws.max(axis=1)
    assert highest.mean() / sd == pytest.approx(EXPECTED_MAXIMUM[n], abs=4 * highest.std() / sd / 200 + 1e-3)


def test_gum_h3_line_equals_the_general_purpose_library_gtc():
    """PyPI GTC, ``type_a.line_fit`` (general-purpose library for measurement uncertainty)."""
    from GTC import ta

    s, ground = gum_line()
    intercept, slope = ta.line_fit(TEMPERATURE - 20.0, CORRECTION).a_b
    mean, sd = ground.height(20.0, "left")
    assert mean == pytest.approx(intercept.x, abs=1e-6)
    assert sd == pytest.approx(intercept.u, rel=2e-3)
    ends = ground.mean([(20.0, "left"), (30.0, "left")])
    assert (ends[1] - ends[0]) / 10 == pytest.approx(slope.x, abs=1e-6)
    assert s > 0
