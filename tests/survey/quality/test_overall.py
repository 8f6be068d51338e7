"""The overall test against published networks, by simulation, and where nothing can be tested."""

import numpy as np
import pandas as pd
import pytest
from networks import N1, N3, network
from scipy.stats import chi2
from simulated_crew import again, fitted

from trackkit.survey.alone import readings_alone
from trackkit.survey.ground import fit_ground
from trackkit.survey.quality import overall_test
from trackkit.survey.quality.rounding import LENGTH_STEPS, booked_to, chance_alike
from trackkit.survey.readings import make_survey
from trackkit.units import LENGTH_UNITS


def test_textbook_network_has_its_reference_variance():
    """C. D. Ghilani, *Adjustment Computations*, chapter 12: S0 0.050, 4 degrees of freedom (from memory)."""
    found = overall_test(network({"X": 100.0, "Y": 107.5}, N1, 1.0))
    assert found.dof == 4
    assert found.factor == pytest.approx(0.050, abs=0.0005)
    assert found.verdict == "better than stated"


def test_public_sample_network_passes():
    """vrmapper.com/gama/1doutput.html: [pvv] 146.625 mm^2, m0' 5.42 of 5 stated, 5 degrees of freedom."""
    found = overall_test(network({"1a": 1000.0}, N3, 0.005))
    assert found.dof == 5
    assert 25.0 * found.chi2 == pytest.approx(146.625, abs=0.0005)
    assert 5.0 * found.factor == pytest.approx(5.42, abs=0.006)
    assert found.verdict == "as well as stated"
    low = np.sqrt(found.chi2 / chi2.ppf(0.975, 5))
    assert found.low == pytest.approx(low)


def test_without_a_check_nothing_can_be_tested():
    levels = pd.DataFrame({"station_m": [0.0, 1.0, 2.0], "side": "left", "rod_m": [1.0, 1.1, 1.05]})
    found = overall_test(fit_ground(make_survey(levels=levels)))
    assert (found.dof, found.verdict) == (0, "cannot be tested")
    assert np.isnan(found.factor)
    assert "no reading checks another" in found.words


def test_readings_as_stated_fail_in_one_survey_of_20():
    exact = fitted(0, rod=0.0, phone=0.0)
    verdicts = [overall_test(again(exact, seed)).verdict for seed in range(200)]
    wrong = np.mean([verdict != "as well as stated" for verdict in verdicts])
    assert wrong == pytest.approx(0.05, abs=3 * np.sqrt(0.05 * 0.95 / 200))


def test_readings_twice_as_bad_are_found_out():
    exact = fitted(0, rod=0.0, phone=0.0)
    found = [overall_test(again(exact, seed, rod=2.0, phone=2.0)) for seed in range(20)]
    assert all(one.verdict == "worse than stated" for one in found)
    assert np.mean([one.factor for one in found]) == pytest.approx(2.0, abs=0.15)


def test_residuals_alone_equal_dense_least_squares():
    """numpy's least squares of the same rows, every read point an unknown."""
    ground = fitted(4)
    alone = readings_alone(ground.setting, ground.fitted.posterior.sd)
    border = alone.model.border.toarray()
    design = np.hstack([alone.model.ground.toarray(), border]) / alone.model.sd[:, None]
    value = alone.model.value / alone.model.sd
    solution = np.linalg.lstsq(design, value, rcond=None)[0]
    np.testing.assert_allclose(
        alone.residual / alone.model.sd, design @ solution - value, atol=2e-5 * np.abs(value).max()
    )
    assert alone.dof == len(value) - np.linalg.matrix_rank(design)


EIGHTH = LENGTH_UNITS["in"] / 8


def read_again(pairs, step, scatter, seed):
    """Return the overall test of a profile of 12 rods, the first read again, all booked to a step."""
    rng = np.random.default_rng(seed)
    stations = np.arange(12.0)
    true = 1.4 + 0.02 * np.sin(stations) + rng.uniform(0.0, 0.05, 12)
    stations, true = np.append(stations, stations[:pairs]), np.append(true, true[:pairs])
    rods = true + scatter * rng.standard_normal(true.size)
    if scatter == 0.0:  # copied: what was booked first
        rods[12:] = rods[:pairs]
    levels = pd.DataFrame({"station_m": stations, "side": "left", "rod_m": np.round(rods / step) * step})
    return overall_test(fit_ground(make_survey(levels=levels)))


@pytest.mark.parametrize("step", [EIGHTH, 0.001, 0.01], ids=["1/8 in", "1 mm", "1 cm"])
@pytest.mark.parametrize("scatter", [0.0015, 0.00075], ids=["as stated", "half"])
def test_sound_readings_that_were_rounded_are_not_called_copied(step, scatter):
    """Of one pair to six, to the booking unit; chance alone makes all of them equal often enough."""
    found = [read_again(1 + seed % 6, step, scatter, seed) for seed in range(12)]
    assert not [one.words for one in found if "copied" in one.words]
    alike = [one for one in found if one.factor < 0.01]
    assert all(one.verdict == "as well as stated" for one in alike)
    assert alike or step < EIGHTH


@pytest.mark.parametrize(("step", "pairs"), [(0.001, 8), (0.0001, 4), (1e-7, 4)])
def test_many_readings_that_are_the_same_as_their_first_are_called_copied(step, pairs):
    found = read_again(pairs, step, 0.0, 3)
    assert found.dof == pairs and "were they copied, or made up?" in found.words
    assert read_again(1, step, 0.0, 3).words.endswith(
        "1 reading was taken again, and is the same, to what was booked."
    )


def test_what_was_booked_coarsely_is_never_called_copied_for_being_alike():
    assert read_again(10, 0.01, 0.0, 3).verdict == "as well as stated"


@pytest.mark.parametrize("ratio", [0.3, 1.0, 2.1, 6.0])
def test_chance_of_two_readings_alike_is_what_simulation_finds(ratio):
    rng = np.random.default_rng(1)
    first = rng.uniform(0.0, 1.0, 200_000)
    one, two = (np.round(first + rng.standard_normal(first.size) / ratio) for _ in range(2))
    assert chance_alike(ratio) == pytest.approx(np.mean(one == two), abs=0.005)


def test_the_step_that_figures_were_booked_to_is_found():
    eighths = np.array([45.25, 57.375, 36.0]) * LENGTH_UNITS["in"]
    assert booked_to(eighths, LENGTH_STEPS) == pytest.approx(EIGHTH)
    assert booked_to(np.array([1.34, 1.52, 1.4]), LENGTH_STEPS) == pytest.approx(0.01)
    assert booked_to(np.array([np.pi, np.e]), LENGTH_STEPS) == 0.0
