"""Beam elements, and banded systems with a few dense unknowns at their border.

A ground profile (and a rail) is a chain of cubic beam elements on springs. Its matrix is banded;
what all readings share (laser heights, pegs, zero errors) makes a narrow dense border::

    | A   B |   | x |   | f |        A : (n, n) symmetric, banded, positive definite
    | B'  C | * | y | = | g |        B : (n, k),  C : (k, k)

Everything here costs O(n): factor, solve, log-determinant, and the blocks of the inverse that lie
in the band, which are found from the factor and the factor of the reversed matrix without a loop
over nodes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = [
    "BorderedBand",
    "band_add",
    "band_product",
    "band_quadratic",
    "band_trace",
    "beam_element",
    "clamped_bridge",
    "dense",
]

Array = NDArray[np.float64]

#: Border columns that are solved for at a time, to spare memory.
AT_A_TIME = 64
#: Blocks up to this size, and of them at least so many for each row of one (to multiply, to invert), are
#: worked out entry by entry, all blocks at once, which is faster: as measured on one machine.
UNROLLED = 6
MANY_TO_MULTIPLY, MANY_TO_INVERT = 50, 22


def beam_element(length: Array) -> Array:
    """Return the stiffness of Euler-Bernoulli elements with unit bending stiffness.

    Parameters
    ----------
    length : array, shape (m,)
        Lengths of the elements [m], positive.

    Returns
    -------
    array, shape (m, 4, 4)
        For (height, slope) at the near end, then at the far end. ``u @ K @ u`` is the integral
        of the squared curvature of the cubic with those end values, hence K / q is also the
        precision of integrated white-noise curvature of intensity q.

    References
    ----------
    W. McGuire, R. H. Gallagher, R. D. Ziemian, *Matrix Structural Analysis*, 2nd ed. (2000), section 4.5
    (the matrix; from memory); G. Wahba, *Spline Models for Observational Data* (1990), section 1.5
    (the prior; from memory).

    Examples
    --------
    >>> bool(np.allclose(beam_element(np.array([1.0]))[0, 0], [12.0, 6.0, -12.0, 6.0]))
    True
    """
    d = np.asarray(length, dtype=float)
    element = np.empty((*d.shape, 4, 4))
    push, turn = 12.0 / d**3, 6.0 / d**2
    for i, j, value in (
        (0, 0, push), (0, 1, turn), (0, 2, -push), (0, 3, turn), (1, 1, 4.0 / d), (1, 2, -turn),
        (1, 3, 2.0 / d), (2, 2, push), (2, 3, -turn), (3, 3, 4.0 / d),
    ):  # fmt: skip
        element[..., i, j] = element[..., j, i] = value
    return element


def clamped_bridge(first: Array, second: Array, length: Array) -> Array:
    """Return the covariance, for q = 1, between two points inside an element whose ends are known.

    It is the deflection at one point of a beam clamped at both ends under a unit load at the
    other; at a single point it is a^3 b^3 / (3 L^3).

    Parameters
    ----------
    first, second : array
        Distances from the near end [m].
    length : array
        Length of the element [m].
    """
    near, far = np.minimum(first, second), np.maximum(first, second)
    rest = length - far
    deflection = rest**2 * near**2 * (3 * far * length - near * (3 * far + rest)) / (6 * length**3)
    return np.asarray(deflection, dtype=float)


def dense(matrix: Array | csr_array) -> Array:
    """Return an array, or a sparse one filled up."""
    return matrix if isinstance(matrix, np.ndarray) else np.asarray(matrix.toarray())


def band_add(band: Array, rows: NDArray[np.intp], columns: NDArray[np.intp], values: Array) -> None:
    """Add entries of the lower triangle to a band in place; entries above the diagonal are left out.

    ``band[i, j]`` holds the entry in row i + j, column j (the LAPACK lower form).
    """
    below = rows - columns
    keep = below >= 0
    if not keep.all():
        below, columns, values = below[keep], columns[keep], values[keep]
    if below.size:
        depth = int(below.max()) + 1
        flat = below * band.shape[1] + columns
        added = np.bincount(flat, weights=values, minlength=depth * band.shape[1])
        band[:depth] += added.reshape(depth, -1)


def band_product(band: Array, vector: Array) -> Array:
    """Return the symmetric band times a vector of shape (n,)."""
    result: Array = band[0] * vector
    for k in range(1, band.shape[0]):
        if k < vector.size:
            result[k:] += band[k, :-k] * vector[:-k]
            result[:-k] += band[k, :-k] * vector[k:]
    return result


def band_quadratic(band: Array, vector: Array) -> float:
    """Return vector' A vector for a symmetric band A."""
    return float(vector @ band_product(band, vector))


def band_trace(band: Array, other: Array) -> float:
    """Return the trace of the product of two symmetric matrices, the first one banded."""
    return float(2.0 * np.sum(band * other[: band.shape[0]]) - band[0] @ other[0])


@dataclass(frozen=True)
class BorderedBand:
    """A factored bordered system.

    Attributes
    ----------
    band : array, shape (p + 1, n)
        A in LAPACK lower form; n may be 0.
    side : array or sparse array, shape (n, k)
        B.
    corner : array, shape (k, k)
        C.
    block : int
        Size of the inverse's blocks, a divisor of n: every entry of A lies in one block of the
        diagonal or between two neighbouring ones.

    Raises
    ------
    numpy.linalg.LinAlgError
        On first use, if the system is not positive definite.
    """

    band: Array
    side: Array | csr_array
    corner: Array
    block: int

    @property
    def size(self) -> int:
        """Number n of banded unknowns."""
        return int(self.band.shape[1])

    @cached_property
    def factor(self) -> Array:
        """Cholesky factor of A, lower band form."""
        from scipy.linalg.lapack import dpbtrf

        if self.size == 0:
            return self.band
        factor, info = dpbtrf(self.band, lower=1)
        if info != 0:
            raise np.linalg.LinAlgError(f"not positive definite at unknown {info}")
        return np.asarray(factor)

    def solve_band(self, right: Array) -> Array:
        """Return the inverse of A times ``right``, shape (n,) or (n, m)."""
        from scipy.linalg.lapack import dpbtrs

        if self.size == 0 or right.size == 0:
            return np.zeros_like(right)
        solved, _ = dpbtrs(self.factor, right, lower=1)
        return np.asarray(solved).reshape(right.shape)

    @cached_property
    def reach(self) -> Array:
        """Inverse of A times B, shape (n, k): how the band follows the border."""
        if isinstance(self.side, np.ndarray) and self.side.shape[1] <= AT_A_TIME:
            return self.solve_band(self.side)
        reach = np.empty(self.side.shape)
        for start in range(0, reach.shape[1], AT_A_TIME):
            some = slice(start, start + AT_A_TIME)
            reach[:, some] = self.solve_band(dense(self.side[:, some]))
        return reach

    @cached_property
    def border_factor(self) -> Array:
        """Cholesky factor of the border's Schur complement, shape (k, k), lower."""
        return np.asarray(np.linalg.cholesky(self.corner - self.side.T @ self.reach), dtype=float)

    @cached_property
    def border_covariance(self) -> Array:
        """Covariance of the border unknowns, shape (k, k)."""
        half = np.linalg.inv(self.border_factor)
        return np.asarray(half.T @ half)

    def beyond(self, ground: Array | csr_array, border: Array | csr_array) -> Array:
        """Return how combinations of x and y follow y alone, x's own doubt aside, shape (m, k), negated.

        ``border`` may have fewer columns than there are border unknowns: the last ones are then not in it.
        """
        result = np.asarray(ground @ self.reach)
        result[:, : border.shape[1]] -= dense(border)
        return result

    @cached_property
    def log_determinant(self) -> float:
        """Natural logarithm of the determinant of the whole matrix."""
        banded = 2.0 * float(np.sum(np.log(self.factor[0]))) if self.size else 0.0
        return banded + 2.0 * float(np.sum(np.log(np.diag(self.border_factor))))

    def solve(self, upper: Array, lower: Array) -> tuple[Array, Array]:
        """Return x, y for the right sides f, shape (n,) or (n, m), and g, shape (k,) or (k, m)."""
        first = self.solve_band(upper)
        border = self.border_covariance @ (lower - self.side.T @ first)
        return first - self.reach @ border, border

    @cached_property
    def _ahead(self) -> Array:
        """What is left of each diagonal block after all blocks before it are eliminated."""
        return _schur_blocks(self.factor, self.block)

    @cached_property
    def inverse_diagonal(self) -> Array:
        """Blocks on the diagonal of the inverse of A, shape (m, b, b).

        Each is the inverse of (what is left of the block after everything before it is
        eliminated) + (the same from behind) - (the block itself).
        """
        mirrored = BorderedBand(_reversed(self.band), np.zeros((self.size, 0)), np.zeros((0, 0)), self.block)
        behind = mirrored._ahead[::-1, ::-1, ::-1]
        own = _blocks(self.band, self.block, shift=0)
        own = own + np.swapaxes(np.tril(own, -1), 1, 2)
        return _invert(self._ahead + behind - own)

    @cached_property
    def inverse_right(self) -> Array:
        """Blocks of the inverse of A just right of its diagonal, shape (m - 1, b, b)."""
        beside = np.swapaxes(_blocks(self.band, self.block, shift=self.block)[:-1], 1, 2)
        return np.asarray(-_invert(self._ahead[:-1]) @ beside @ self.inverse_diagonal[1:])

    @cached_property
    def inverse_band(self) -> Array:
        """The whole inverse's entries where A may have some, as a band, border included."""
        n, p, b = self.size, self.band.shape[0] - 1, self.block
        result = np.zeros((p + 1, n))
        for i in range(b):
            for k in range(min(p, 2 * b - 1 - i) + 1):
                if i + k < b:
                    result[k, i::b] = self.inverse_diagonal[:, i, i + k]
                else:
                    result[k, i : n - b : b] = self.inverse_right[:, i, i + k - b]
        half = np.linalg.inv(self.border_factor).T
        for start in range(0, half.shape[1], AT_A_TIME):
            spread = self.reach @ half[:, start : start + AT_A_TIME]
            for k in range(min(p, n - 1) + 1):
                result[k, : n - k] += np.einsum("ij,ij->i", spread[: n - k], spread[k:])
        return result

    def inverse_entries(self, first: NDArray[np.intp], second: NDArray[np.intp]) -> Array:
        """Return entries of the inverse of A (border not included) in the same or the next block.

        Parameters
        ----------
        first, second : array of int
            Rows and columns. Pairs further apart than neighbouring blocks are outside A's
            structure and give 0.
        """
        low, high = np.minimum(first, second), np.maximum(first, second)
        block, inside = np.divmod(low, self.block)
        other, inside_other = np.divmod(high, self.block)
        same = block == other
        if same.all():
            return np.asarray(self.inverse_diagonal[block, inside, inside_other])
        result, far = np.zeros(low.shape), other == block + 1
        result[same] = self.inverse_diagonal[block[same], inside[same], inside_other[same]]
        if far.any():
            result[far] = self.inverse_right[block[far], inside[far], inside_other[far]]
        return result


def _reversed(band: Array) -> Array:
    """Return the band of the matrix with its unknowns in reverse order."""
    result = np.zeros_like(band)
    for k in range(band.shape[0]):
        result[k, : band.shape[1] - k] = band[k, : band.shape[1] - k][::-1]
    return result


def _blocks(band: Array, size: int, *, shift: int) -> Array:
    """Return the lower parts of the blocks ``shift`` rows below the diagonal, shape (m, size, size)."""
    m = band.shape[1] // size
    result = np.zeros((m, size, size))
    for i in range(size):
        for j in range(size):
            below = i + shift - j
            if 0 <= below < band.shape[0]:
                result[:, i, j] = band[below, j::size]
    return result


def _schur_blocks(factor: Array, size: int) -> Array:
    """Return what is left of each diagonal block after all before it are eliminated: L L' by block."""
    if size > UNROLLED or factor.shape[1] < MANY_TO_MULTIPLY * size**2:
        lower = _blocks(factor, size, shift=0)
        return np.asarray(lower @ np.swapaxes(lower, 1, 2))
    result = np.empty((factor.shape[1] // size, size, size))
    for i in range(size):
        for j in range(i + 1):
            total = sum(factor[i - k, k::size] * factor[j - k, k::size] for k in range(j + 1))
            result[:, i, j] = result[:, j, i] = total
    return result


def _invert(matrices: Array) -> Array:
    """Return the inverses of symmetric positive definite blocks, shape (m, b, b).

    By their Cholesky factors: M = L L', N the inverse of L, then N' N. Many small ones all at once.

    Raises
    ------
    numpy.linalg.LinAlgError
        If a block is not positive definite.
    """
    size = matrices.shape[-1]
    if not matrices.size:
        return matrices
    if size > UNROLLED or len(matrices) < MANY_TO_INVERT * size:
        half = np.linalg.inv(np.linalg.cholesky(matrices))
        return np.asarray(np.swapaxes(half, 1, 2) @ half)
    inverse = _inverse_factors(matrices)
    result = np.empty_like(matrices)
    for i in range(size):
        for j in range(i + 1):
            total = sum(inverse[k, i] * inverse[k, j] for k in range(i, size))
            result[:, i, j] = result[:, j, i] = total
    return result


def _inverse_factors(matrices: Array) -> dict[tuple[int, int], Array]:
    """Return the inverse of L of L L', entry by entry, each shape (m,)."""
    lower: dict[tuple[int, int], Array] = {}
    inverse: dict[tuple[int, int], Array] = {}
    for i in range(matrices.shape[-1]):
        for j in range(i):
            rest = matrices[:, i, j] - sum(lower[i, k] * lower[j, k] for k in range(j))
            lower[i, j] = rest * inverse[j, j]
        left = matrices[:, i, i] - sum(lower[i, k] ** 2 for k in range(i))
        if not np.all(left > 0):
            raise np.linalg.LinAlgError("a block on the diagonal is not positive definite")
        lower[i, i] = np.sqrt(left)
        inverse[i, i] = 1.0 / lower[i, i]
        for j in range(i):
            inverse[i, j] = -inverse[i, i] * sum(lower[i, k] * inverse[k, j] for k in range(j, i))
    return inverse
