"""The banded solver against dense linear algebra, and the beam element against exact results."""

import mpmath
import numpy as np
import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st

from trackkit.banded import (
    BorderedBand,
    _invert,
    _schur_blocks,
    band_add,
    band_product,
    band_quadratic,
    band_trace,
    beam_element,
    clamped_bridge,
)


def bordered(seed, nodes, states, border, group=1):
    """Return a random bordered system as a `BorderedBand` and as one dense matrix."""
    rng = np.random.default_rng(seed)
    n = nodes * states
    dense = 0.1 * np.eye(n)
    for node in range(nodes - group):
        row = rng.normal(size=(3, states * (group + 1)))
        at = slice(node * states, (node + group + 1) * states)
        dense[at, at] += row.T @ row
    bandwidth = states * (group + 1) - 1
    band = np.zeros((bandwidth + 1, n))
    rows, columns = np.indices((n, n))
    inside = (rows >= columns) & (rows - columns <= bandwidth)
    band_add(band, rows[inside], columns[inside], dense[inside])
    side = rng.normal(size=(n, border))
    corner = side.T @ np.linalg.solve(dense, side) + np.eye(border)
    whole = np.block([[dense, side], [side.T, corner]])
    return BorderedBand(band, side, corner, states * group), whole, band


CASES = [(0, 12, 2, 0, 1), (1, 12, 3, 2, 1), (2, 12, 4, 3, 3), (3, 8, 6, 1, 2), (4, 1, 2, 1, 1)]


@pytest.mark.parametrize("case", CASES, ids=str)
def test_solve_equals_dense_solve(case):
    system, whole, _ = bordered(*case)
    right = np.arange(1.0, len(whole) + 1)
    x, y = system.solve(right[: system.size], right[system.size :])
    np.testing.assert_allclose(np.append(x, y), np.linalg.solve(whole, right), rtol=1e-9)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_inverse_in_the_band_equals_dense_inverse(case):
    system, whole, band = bordered(*case)
    inverse = np.linalg.inv(whole)[: system.size, : system.size]
    found = system.inverse_band
    for k in range(min(band.shape[0], system.size)):
        used = np.abs(band[k, : system.size - k]) > 0
        expected = np.diag(inverse, -k)
        np.testing.assert_allclose(found[k, : system.size - k][used], expected[used], rtol=1e-8, atol=1e-12)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_log_determinant_and_traces_equal_dense(case):
    system, whole, band = bordered(*case)
    n = system.size
    dense = whole[:n, :n]
    inverse = np.linalg.inv(whole)[:n, :n]
    vector = np.linspace(-1, 2, n)
    assert system.log_determinant == pytest.approx(np.linalg.slogdet(whole)[1])
    assert band_trace(band, system.inverse_band) == pytest.approx(np.trace(dense @ inverse))
    assert band_quadratic(band, vector) == pytest.approx(vector @ dense @ vector)
    np.testing.assert_allclose(band_product(band, vector), dense @ vector, rtol=1e-12)


def test_an_indefinite_system_is_refused():
    system = BorderedBand(np.array([[1.0, -1.0]]), np.zeros((2, 0)), np.zeros((0, 0)), 1)
    with pytest.raises(np.linalg.LinAlgError, match="not positive definite"):
        system.solve(np.ones(2), np.zeros(0))


def test_element_energy_is_the_integral_of_squared_curvature():
    """Exact integral by sympy (general-purpose computer algebra) of the cubic with those end values."""
    s, length = sympy.symbols("s L", positive=True)
    h0, t0, h1, t1 = ends = sympy.symbols("h0 t0 h1 t1")
    a, b, c, d = sympy.symbols("a b c d")
    cubic = a + b * s + c * s**2 + d * s**3
    slope = sympy.diff(cubic, s)
    found = sympy.solve(
        [
            cubic.subs(s, 0) - h0,
            slope.subs(s, 0) - t0,
            cubic.subs(s, length) - h1,
            slope.subs(s, length) - t1,
        ],
        [a, b, c, d],
    )
    energy = sympy.integrate(sympy.diff(cubic.subs(found), s, 2) ** 2, (s, 0, length))
    values = dict(zip([length, *ends], [1.7, 0.3, -0.2, 0.1, 0.4], strict=True))
    u = np.array([0.3, -0.2, 0.1, 0.4])
    assert u @ beam_element(np.array([1.7]))[0] @ u == pytest.approx(float(energy.subs(values)))


def test_bridge_is_the_deflection_of_a_clamped_beam():
    """Roark's formula for a clamped beam with a load at the middle: deflection there P L^3 / (192 EI)."""
    middle = np.array([1.0])
    assert clamped_bridge(middle, middle, np.array([2.0]))[0] == pytest.approx(2.0**3 / 192.0)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.01, 0.99), st.floats(0.01, 0.99), st.floats(0.1, 30.0))
def test_bridge_follows_from_the_joint_law_of_integrated_noise(first, second, length):
    """Conditioning the integrated Wiener process on both ends gives the same covariance."""
    a, b = sorted((first * length, second * length))

    def kernel(s, t):
        low, high = min(s, t), max(s, t)
        return low**2 * (3 * high - low) / 6

    def with_end(s):
        return np.array([kernel(s, length), s**2 / 2])

    end = np.array([[length**3 / 3, length**2 / 2], [length**2 / 2, length]])
    expected = kernel(a, b) - with_end(a) @ np.linalg.solve(end, with_end(b))
    found = clamped_bridge(np.array(a), np.array(b), np.array(length))
    assert float(found) == pytest.approx(expected, rel=1e-6, abs=1e-9 * length**3)


@pytest.mark.parametrize(
    "copies", [1, 10], ids=["few", "many"]
)  # few are worked out in another way than many
@pytest.mark.parametrize("condition", [1e3, 1e9])
@pytest.mark.parametrize("size", [2, 4, 12])
def test_blocks_are_inverted_as_well_as_they_can_be(size, condition, copies):
    """Against 60 figures (mpmath): the error of a stable method stays below condition times rounding.

    Each row and column is scaled at random, which changes the condition number but not what is attainable.
    """
    rng = np.random.default_rng(size)
    blocks, exact = [], []
    for _ in range(20):
        turn, _ = np.linalg.qr(rng.normal(size=(size, size)))
        scales = np.exp(2.0 * rng.normal(size=size))
        block = (turn * np.geomspace(1.0, 1.0 / condition, size)) @ turn.T
        block = (block + block.T) / 2.0 * np.outer(scales, scales)
        blocks.append(block)
        with mpmath.workdps(60):
            exact.append(np.array((mpmath.matrix(block.tolist()) ** -1).tolist(), dtype=float))
    found, exact = _invert(np.array(blocks * copies)), np.array(exact * copies)
    own = np.sqrt(np.einsum("mii->mi", exact))
    error = np.abs(found - exact) / (own[:, :, None] * own[:, None, :])
    assert error.max() < 40 * condition * np.finfo(float).eps


@pytest.mark.parametrize("copies", [1, 100], ids=["few", "many"])
def test_a_block_that_is_not_positive_definite_is_an_error(copies):
    with pytest.raises(np.linalg.LinAlgError):
        _invert(np.array([np.eye(3)] * copies + [np.ones((3, 3)) - 2 * np.eye(3)]))


@pytest.mark.parametrize("count", [3, 400], ids=["few", "many"])
def test_what_is_left_of_a_block_after_all_before_it_is_the_inverse_of_the_inverses_own(count):
    """Schur's complement of the last block: its own block of the inverse of the matrix up to it, inverted."""
    rng = np.random.default_rng(count)
    factor = np.array([2.0 + rng.random(4 * count), *rng.normal(size=(4, 4 * count))])
    left = _schur_blocks(factor, 4)
    for place in (0, 1, 2):
        until = 4 * (place + 1)
        lower = sum(np.diag(factor[k, : until - k], -k) for k in range(5))
        own = np.linalg.inv(lower @ lower.T)[-4:, -4:]
        np.testing.assert_allclose(left[place], np.linalg.inv(own), rtol=1e-9)
