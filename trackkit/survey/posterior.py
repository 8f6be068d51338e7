"""The fit itself: linear readings and a banded prior give states, fitted values and their variances.

Arrays in, arrays out. What the readings mean is in ``observe.py``, what is believed of the ground
before them in ``prior.py``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from trackkit.banded import AT_A_TIME, BorderedBand, band_add, dense

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["LinearModel", "Posterior", "row_pairs", "row_variance"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


#: Entries of a dense array that is made for a while.
AT_ONCE = 500_000


@dataclass(frozen=True)
class Posterior:
    """Fitted states with their covariance, and what the readings say to them.

    Attributes
    ----------
    state : array, shape (size,)
        Ground states, slopes times the grid's scale [m].
    border : array, shape (k,)
        Laser heights, pegs [m], zero errors [rad].
    system : BorderedBand
        The factored precision.
    residual : array, shape (n,)
        Fitted minus read, as surveyors count it [m].
    variance : array, shape (n,)
        Variance of the fitted values [m^2].
    sd : array, shape (n,)
        Standard deviations that the readings were given [m].
    """

    state: Array
    border: Array
    system: BorderedBand
    residual: Array
    variance: Array
    sd: Array

    @cached_property
    def redundancy(self) -> Array:
        """Share of an error in a reading that shows in its own residual, 0 to 1."""
        return np.clip(1.0 - self.variance / self.sd**2, 0.0, 1.0)

    @cached_property
    def w(self) -> Array:
        """Normalised residuals v / (sd sqrt(r)); 0 where nothing checks the reading."""
        checked = self.redundancy > 1e-9
        spread = self.sd * np.sqrt(np.where(checked, self.redundancy, 1.0))
        return np.where(checked, self.residual / spread, 0.0)


@dataclass(frozen=True)
class LinearModel:
    """Readings as linear rows, ready to be fitted under any prior.

    Attributes
    ----------
    value, sd : array, shape (n,)
        Readings and their standard deviations.
    ground : sparse array, shape (n, size)
        What each reading sees of the states.
    border : array or sparse array, shape (n, k)
        What it sees of the border unknowns.
    bandwidth, block : int
        Of the precision's band, and of its blocks (see `BorderedBand`).
    """

    value: Array
    sd: Array
    ground: csr_array
    border: Array | csr_array
    bandwidth: int
    block: int

    @cached_property
    def weight(self) -> Array:
        """One over the variance of each reading."""
        return 1.0 / self.sd**2

    @cached_property
    def seen(self) -> Array | csr_array:
        """The border: a narrow one is quicker when dense, a wide one would be too large."""
        return dense(self.border) if self.border.shape[1] <= AT_A_TIME else self.border

    @cached_property
    def pairs(self) -> RowPairs:
        """Pairs of states that stand in one reading."""
        return row_pairs(self.ground)

    @cached_property
    def halved(self) -> LinearModel:
        """The same readings, each in the band: one that is too long for it becomes two.

        A board from a to b is two boards of half its variance, from a to a peg and from the peg to b;
        the peg is one more border unknown that nothing else tells of. This changes no posterior.
        """
        from scipy.sparse import csr_array, eye_array, hstack, vstack

        if not (self.pairs.high - self.pairs.low).max(initial=0) > min(self.bandwidth, self.block):
            return self
        apart = _blocks_apart(self.pairs, self.block) > 1
        apart |= self.pairs.high - self.pairs.low > self.bandwidth
        if not apart.any():
            return self
        long = np.unique(self.pairs.row[apart])
        both = self.ground[long].tocoo()
        row, column = both.coords
        middle = np.zeros((2, long.size))
        np.maximum.at(middle[0], row, column)
        middle[1] = middle[0]
        np.minimum.at(middle[1], row, column)
        far = column > middle.mean(axis=0)[row]
        feet = [
            csr_array((both.data[which], (row[which], column[which])), shape=both.shape)
            for which in (~far, far)
        ]
        rest = np.setdiff1d(np.arange(self.value.size), long)
        peg, none = eye_array(long.size), csr_array((rest.size, long.size))
        own = csr_array(self.border)
        border = [
            hstack([own[rest], none]),
            hstack([csr_array((long.size, own.shape[1])), peg]),
            hstack([own[long], -peg]),
        ]
        half = self.sd[long] / np.sqrt(2.0)
        return replace(
            self,
            value=np.concatenate([self.value[rest], np.zeros(long.size), self.value[long]]),
            sd=np.concatenate([self.sd[rest], half, half]),
            ground=csr_array(vstack([self.ground[rest], *feet], format="csr")),
            border=csr_array(vstack(border, format="csr")),
        )

    @cached_property
    def normal(self) -> tuple[Array, Array | csr_array, Array, Array, Array]:
        """What the readings, none of them long, give to A, B, C, f and g of the bordered system."""
        weighted = self.weight * self.value
        border = self.seen
        scaled = border * self.weight[:, None]
        band = np.zeros((self.bandwidth + 1, self.ground.shape[1]))
        pairs = self.pairs
        band_add(band, pairs.high, pairs.low, self.weight[pairs.row] * pairs.share)
        turned, across = self.ground.T, border.T
        return band, turned @ scaled, dense(across @ scaled), turned @ weighted, across @ weighted

    def solve(self, prior: Array) -> tuple[BorderedBand, Array, Array]:
        """Return the factored system, the states and the border under a prior, a band."""
        band, side, corner, upper, lower = self.halved.normal
        system = BorderedBand(prior + band, side, corner, self.block)
        state, unknown = system.solve(upper, lower)
        return system, state, unknown[: self.border.shape[1]]

    def residual(self, state: Array, unknown: Array) -> Array:
        """Return fitted minus read, shape (n,)."""
        return np.asarray(self.ground @ state + self.seen @ unknown - self.value)

    def fit(self, prior: Array) -> Posterior:
        """Return the posterior under a prior precision, a band of shape (p + 1, size)."""
        system, state, unknown = self.solve(prior)
        variance = row_variance(system, self.ground, self.seen, self.pairs)
        return Posterior(state, unknown, system, self.residual(state, unknown), variance, self.sd)


@dataclass(frozen=True)
class RowPairs:
    """Every pair of entries in a row of a sparse matrix, each once, and each entry with itself.

    Attributes
    ----------
    row, low, high : array of int
        Row, and the smaller and larger column.
    share : array
        Product of the two entries.
    """

    row: Indices
    low: Indices
    high: Indices
    share: Array


def row_pairs(matrix: csr_array) -> RowPairs:
    """Return the pairs of entries in the rows of a sparse matrix without duplicate entries."""
    counts = np.diff(matrix.indptr)
    parts: list[tuple[Indices, Indices, Indices, Array]] = []
    for count in np.unique(counts[counts > 0]):
        rows = np.flatnonzero(counts == count)
        at = matrix.indptr[rows][:, None] + np.arange(count)
        columns, values = matrix.indices[at].astype(np.intp), matrix.data[at]
        for i in range(count):
            for j in range(i, count):
                first, second = columns[:, i], columns[:, j]
                low, high = (
                    (first, first) if i == j else (np.minimum(first, second), np.maximum(first, second))
                )
                parts.append((rows, low, high, values[:, i] * values[:, j]))
    if not parts:
        none = np.zeros(0, dtype=np.intp)
        return RowPairs(none, none, none, np.zeros(0))
    row, low, high, share = (np.concatenate(part) for part in zip(*parts, strict=True))
    return RowPairs(row, low, high, share)


def _blocks_apart(pairs: RowPairs, block: int) -> Indices:
    return np.asarray(pairs.high // block - pairs.low // block)


def row_variance(
    system: BorderedBand, ground: csr_array, border: Array | csr_array, pairs: RowPairs | None = None
) -> Array:
    """Return the variance of every row's combination of states and border unknowns.

    It is O(n) but for rows whose states lie farther apart than in neighbouring blocks, each of which
    costs a solution of the band.
    """
    pairs = pairs or row_pairs(ground)
    each = np.where(pairs.low == pairs.high, 1.0, 2.0) * pairs.share
    each *= system.inverse_entries(pairs.low, pairs.high)
    total = np.bincount(pairs.row, weights=each, minlength=ground.shape[0]).astype(float)
    wide = (pairs.high - pairs.low).max(initial=0) > system.block
    long = np.unique(pairs.row[_blocks_apart(pairs, system.block) > 1]) if wide else pairs.row[:0]
    for start in range(0, long.size, AT_A_TIME):
        some = long[start : start + AT_A_TIME]
        column = ground[some].toarray().T
        total[some] = np.sum(column * system.solve_band(column), axis=0)
    step = max(1, AT_ONCE // max(system.corner.shape[0], 1))
    for start in range(0, total.size, step):
        part = slice(start, start + step)
        whole = step >= total.size  # cutting sparse rows takes its time
        beyond = system.beyond(ground, border) if whole else system.beyond(ground[part], border[part])
        total[part] += np.sum((beyond @ system.border_covariance) * beyond, axis=1)
    return np.asarray(total)
