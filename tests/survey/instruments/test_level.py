"""Level and laser checks: against the hand formula, statsmodels, makers' figures, and simulation."""

import math

import numpy as np
import pytest

from trackkit.problems import FitError
from trackkit.survey.instruments import InstrumentCheck, half_turn, plane_tilt, two_pegs

INCH, FOOT = 0.0254, 0.3048


def rods(setups, *, slope, height=1.5, step=0.25):
    """Readings without error: each set-up as {peg: distance}; peg B lies ``step`` above A."""
    names, pegs, far, read = [], [], [], []
    for number, sights in enumerate(setups):
        for peg, distance in sights.items():
            names.append(f"set-up {number}")
            pegs.append(peg)
            far.append(distance)
            read.append(height + 0.1 * number - step * (peg == "B") + 0.4 * (peg == "C") + slope * distance)
    return names, pegs, far, read


@pytest.mark.parametrize("slope", [-2e-4, 0.0, 5e-5])
@pytest.mark.parametrize(
    "setups",
    [
        [{"A": 30.0, "B": 30.0}, {"A": 3.0, "B": 57.0}],
        [{"A": 5.0, "B": 40.0}, {"A": 41.0, "B": 6.0}],
        [{"A": 12.0, "B": 31.0}, {"A": 20.0, "B": 20.5}, {"A": 50.0, "B": 4.0}],
        [{"A": 10.0, "B": 20.0, "C": 35.0}, {"A": 31.0, "B": 8.0, "C": 9.0}],
    ],
    ids=["half-way and near one", "near each", "three set-ups", "three pegs"],
)
def test_the_slope_is_found_from_any_geometry(setups, slope):
    assert two_pegs(*rods(setups, slope=slope)).value == pytest.approx(slope, abs=1e-12)


def test_the_usual_two_peg_test_is_the_difference_of_the_two_differences():
    """Readings 1.365/1.118 from the middle, 1.572/1.317 near A: 8 mm over the pegs (inputs of a question on
    a public page, api17195; its own answer is wrong). The distances, which it does not give, are ours."""
    read = [1.365, 1.118, 1.572, 1.317]
    check = two_pegs(["m", "m", "n", "n"], ["A", "B"] * 2, [30.0, 30.0, 1.0, 61.0], read)
    assert (read[2] - read[3]) - (read[0] - read[1]) == pytest.approx(0.008)
    assert check.value == pytest.approx(-0.008 / 60.0)  # B, which is far, reads too little
    assert check.dof == 0


def test_value_and_sd_are_those_of_ordinary_least_squares():
    """statsmodels, with the scale of the readings stated."""
    import statsmodels.api as sm

    names, pegs, far, read = rods(
        [{"A": 12.0, "B": 31.0}, {"A": 20.0, "B": 44.0}, {"A": 50.0, "B": 4.0}], slope=1e-4
    )
    read = np.array(read) + np.random.default_rng(4).normal(0.0, 0.001, len(read))
    columns = [[float(n == name) for n in names] for name in dict.fromkeys(names)]
    columns += [[float(p == "B") for p in pegs], far]
    fit = sm.OLS(read, np.array(columns).T).fit(cov_type="fixed scale", cov_kwds={"scale": 0.001**2})
    check = two_pegs(names, pegs, far, read, rod_sd=0.001)
    assert check.value == pytest.approx(fit.params[-1], rel=1e-9)
    assert check.sd == pytest.approx(fit.bse[-1], rel=1e-9)
    assert check.dof == fit.df_resid


def test_the_stated_sd_is_what_the_slope_scatters_by():
    names, pegs, far, read = rods([{"A": 30.0, "B": 30.0}, {"A": 3.0, "B": 57.0}], slope=1e-4)
    rng = np.random.default_rng(8)
    found = [two_pegs(names, pegs, far, read + rng.normal(0, 0.001, 4), rod_sd=0.001) for _ in range(4000)]
    values = np.array([check.value for check in found])
    assert values.mean() == pytest.approx(1e-4, abs=4 * found[0].sd / math.sqrt(4000))
    assert values.std() == pytest.approx(found[0].sd, rel=0.05)


@pytest.mark.parametrize(
    "setups", [[{"A": 30.0, "B": 30.0}] * 2, [{"A": 10.0, "B": 25.0}, {"A": 20.0, "B": 35.0}]]
)
def test_distances_that_say_nothing_of_the_line_of_sight_are_refused(setups):
    with pytest.raises(FitError, match="from half-way between them, and again from near one of them"):
        two_pegs(*rods(setups, slope=1e-4))


def test_curvature_and_refraction_may_be_left_out():
    """(1 - k) d² / 2R with k = 0.13 and R = 6371 km: 0.0683 m in 1 km (several public course notes)."""

    def curve(far):
        return 0.87 * far**2 / (2 * 6_371_000)

    assert curve(1000.0) == pytest.approx(0.0683, abs=5e-5)
    far = [30.0, 30.0, 3.0, 57.0]
    read = [1.5 + curve(d) for d in far]
    assert abs(two_pegs(["m", "m", "n", "n"], ["A", "B"] * 2, far, read).value) * 30 < 0.0002


def test_a_half_turn_halves_the_gap_between_the_marks():
    """Two makers' manuals: 3 mm apart at 30 m is 0.05 mm in 1 m; 2 x 16 ft x 0.0024 in/ft = 0.077 in."""
    assert half_turn(0.003, 30.0).value == pytest.approx(0.05e-3)
    feet = half_turn(0.0768 * INCH, 16 * FOOT)
    assert feet.value * FOOT / INCH == pytest.approx(0.0024)
    assert half_turn(0.003, 30.0, mark_sd=0.001).sd == pytest.approx(0.001 / math.sqrt(2) / 30.0)
    with pytest.raises(ValueError, match="distance must be above 0"):
        half_turn(0.003, 0.0)


TURNS = np.radians([0.0, 90.0, 180.0, 270.0])


def test_a_plane_that_is_tilted_is_found_in_both_axes():
    along, across, far = 8e-5, -3e-5, 30.0
    read = 1.4 + far * (along * np.cos(TURNS) - across * np.sin(TURNS))
    plane = plane_tilt(TURNS, read, far, rod_sd=0.001)
    assert (plane.along, plane.across) == pytest.approx((along, across), abs=1e-12)
    assert plane.along == pytest.approx((read[0] - read[2]) / (2 * far))
    assert plane.across == pytest.approx((read[3] - read[1]) / (2 * far))
    assert plane.check.value == pytest.approx(math.hypot(along, across))
    assert plane.towards == pytest.approx(math.atan2(across, along))
    np.testing.assert_allclose(plane.covariance, np.eye(2) * 0.001**2 / (2 * far**2), atol=1e-18)
    assert plane.check.dof == 1


def test_one_axis_of_the_plane_is_the_half_turn():
    read = np.array([1.503, 1.500, 1.500, 1.500])
    plane = plane_tilt(TURNS, read, 30.0)
    assert plane.along == pytest.approx(half_turn(read[0] - read[2], 30.0).value)


def test_a_plane_wants_three_directions():
    with pytest.raises(FitError, match="a quarter each time"):
        plane_tilt(TURNS[[0, 2, 0, 2]], [1.5, 1.5, 1.5, 1.5], 30.0)
    with pytest.raises(ValueError, match="equally long and distance above 0"):
        plane_tilt(TURNS, [1.5], 30.0)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (0.0, "good"),
        (3e-5, "good"),
        (-4.5e-5, "cannot be told"),
        (6e-5, "cannot be told"),
        (8e-5, "not good"),
    ],
)
def test_a_verdict_is_given_only_where_the_doubt_allows_it(value, verdict):
    assert InstrumentCheck("x", value, 1e-5, 5e-5, "guess", 1).verdict == verdict


def test_figures_that_are_none_are_refused():
    with pytest.raises(ValueError, match="must be finite"):
        InstrumentCheck("x", math.nan, 1e-5, 5e-5, "guess", 1)
    with pytest.raises(ValueError, match="equally long; got 1, 2, 2 and 2"):
        two_pegs(["m"], ["A", "B"], [1.0, 2.0], [1.0, 2.0])
    with pytest.raises(ValueError, match="every distance must be above 0"):
        two_pegs(["m", "n"], ["A", "B"], [0.0, 2.0], [1.0, 2.0])
