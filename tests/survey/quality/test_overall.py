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
from trackkit.survey.readings import make_survey


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
