"""Levelling networks with published answers, through the same fit as the ground."""

import numpy as np
import pytest
from networks import N1, N3, N7, network


def test_public_one_dimensional_sample_network():
    """Sample output of a general network adjustment program, vrmapper.com/gama/1doutput.html.

    Heights, standard deviations from the stated 5 mm, [pvv] = 146.625 mm^2 with 5 degrees of
    freedom, and the largest normalised residual 1.68 at observation 6 (critical 1.96, passes).
    """
    ground = network({"1a": 1000.0}, N3, 0.005)
    expected = {"4": (998.77513, 3.1), "3": (997.93325, 3.5), "2": (999.27487, 3.1)}
    for name, (height, sd_mm) in expected.items():
        mean, sd = ground.point(name)
        assert mean == pytest.approx(height, abs=0.5e-5)
        assert 1000 * sd == pytest.approx(sd_mm, abs=0.05)
    table = ground.residuals
    assert 1e6 * float((table["residual_m"] ** 2).sum()) == pytest.approx(146.625, abs=0.0005)
    assert ground.dof == 5
    largest = table["w"].abs().idxmax()
    assert largest == 5
    assert table["w"].iloc[5] == pytest.approx(-1.676, abs=0.0005)
    assert not table["doubtful"].any()


def test_textbook_network_with_two_benchmarks():
    """C. D. Ghilani, *Adjustment Computations*, chapter 12, unweighted example (figures from memory).

    Redundancy numbers and residuals were worked from the same figures.
    """
    ground = network({"X": 100.0, "Y": 107.5}, N1, 1.0)
    for name, height in {"A": 105.141, "B": 104.483, "C": 106.188}.items():
        assert ground.point(name)[0] == pytest.approx(height, abs=0.0005)
    table = ground.residuals
    np.testing.assert_allclose(
        table["residual_m"], [0.041, 0.019, -0.062, -0.058, 0.022, -0.017, 0.005], atol=0.00051
    )
    np.testing.assert_allclose(table["redundancy"], [13 / 21] * 4 + [0.476, 0.571, 0.476], atol=0.0005)
    assert table["redundancy"].sum() == pytest.approx(4.0)
    unit = np.sqrt((table["residual_m"] ** 2).sum() / ground.dof)
    assert unit == pytest.approx(0.050, abs=0.0005)
    for name, error in {"A": 0.0309, "B": 0.0328, "C": 0.0309}.items():
        assert unit * ground.point(name)[1] == pytest.approx(error, abs=0.0001)
    assert (table["w"] / unit).abs().max() == pytest.approx(1.58, abs=0.005)
    assert (table["w"] / unit).abs().idxmax() == 2


def test_network_residuals_equal_statsmodels_influence():
    """Redundancy is one minus the hat value, w the internally studentised residual (statsmodels)."""
    from statsmodels.api import OLS
    from statsmodels.stats.outliers_influence import OLSInfluence

    names = ["A", "B", "C"]
    known = {"X": 100.0, "Y": 107.5}
    design, value = np.zeros((len(N1), 3)), []
    for i, (start, end, rise) in enumerate(N1):
        for name, sign in ((end, 1.0), (start, -1.0)):
            if name in names:
                design[i, names.index(name)] = sign
        value.append(rise - known.get(end, 0.0) + known.get(start, 0.0))
    influence = OLSInfluence(OLS(np.array(value), design).fit())
    table = network(known, N1, 1.0).residuals
    unit = np.sqrt((table["residual_m"] ** 2).sum() / 4)
    np.testing.assert_allclose(table["redundancy"], 1 - influence.hat_matrix_diag, atol=1e-9)
    np.testing.assert_allclose(table["w"] / unit, -influence.resid_studentized_internal, atol=1e-9)


def test_input_of_a_network_handbook_is_adjusted_as_recomputed():
    """E. M. Mikhail and F. Ackermann, *Observations and Least Squares* (1976), Table 7-1 (input, as
    printed in the manual of a network adjustment program); answers recomputed with weights 1/km."""
    kilometres = np.array([row[3] for row in N7])
    ground = network({"A": 0.0}, [row[:3] for row in N7], np.sqrt(kilometres))
    for name, height in {"B": 25.2206, "C": 35.5354, "D": 9.5339, "E": 30.8460}.items():
        assert ground.point(name)[0] == pytest.approx(height, abs=0.00005)
    table = ground.residuals
    assert np.sqrt((table["residual_m"] ** 2 / kilometres).sum() / 4) == pytest.approx(0.0636, abs=0.00005)
