"""What is believed of any ground before a reading: smooth, with relief on top.

The smooth profiles of the two sides have integrated white-noise curvature. Their mean and their
twist (right minus left) are independent, with roughness ``q_mean`` and ``q_twist`` [m^2 / m^3]:
over a distance d an unread profile wanders from a straight line by sd = sqrt(q d^3 / 3). Relief
(stones, tussocks) is added to the smooth height at every point and side, with sd ``relief`` [m].

Each of these adds a weight times a fixed band to the precision of the states.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.banded import band_add, beam_element
from trackkit.survey.grid import Grid

__all__ = ["GROUND_KINDS", "GroundType", "PriorBands", "prior_bands", "prior_weights"]

Array = NDArray[np.float64]

#: Relief that is stated as less still leaves digits enough when taken as this [m].
LEAST_RELIEF: Final = 1e-7
#: Parts of the prior, in the order of `PriorBands.bands`.
PARTS: Final = ("mean", "twist", "single", "relief")


@dataclass(frozen=True)
class GroundType:
    """Roughness of the ground; None means that it is estimated from the readings.

    Attributes
    ----------
    q_mean, q_twist : float or None
        Roughness of the mean profile and of right minus left [m^2 / m^3].
    relief : float or None
        Standard deviation of stones and tussocks on top of the smooth ground [m]; 0 for none.
    """

    q_mean: float | None = None
    q_twist: float | None = None
    relief: float | None = None

    def __post_init__(self) -> None:
        """Refuse a roughness that is not positive, or a negative relief."""
        for name in ("q_mean", "q_twist"):
            value = getattr(self, name)
            if value is not None and not (np.isfinite(value) and value > 0):
                raise ValueError(f"{name} must be a positive number [m^2/m^3], got {value}")
        if self.relief is not None and not (np.isfinite(self.relief) and self.relief >= 0):
            raise ValueError(f"relief must be zero or a positive length [m], got {self.relief}")

    @property
    def stated(self) -> bool:
        """Whether nothing is left to estimate."""
        return None not in (self.q_mean, self.q_twist, self.relief)


#: Kinds of ground that a job may name. A kind says what stands on it (pads), not how rough it is.
GROUND_KINDS: Final = ("lawn", "soft", "sand", "gravel", "paving", "floor")


@dataclass(frozen=True)
class PriorBands:
    """The prior's precision as weights times fixed bands.

    Attributes
    ----------
    bands : tuple of 4 arrays, shape (p + 1, size)
        One band for each of `PARTS`, lower form; zeros for parts that say nothing.
    ranks : array, shape (4,)
        Number of independent statements in each.
    used : int
        Number of states that stand at nodes.
    """

    bands: tuple[Array, ...]
    ranks: Array
    used: int

    def combine(self, weights: Array) -> Array:
        """Return the prior's precision, a band; states that only fill up a block are held at 0."""
        total = np.zeros(self.bands[0].shape)
        for weight, part, rank in zip(weights, self.bands, self.ranks, strict=True):
            if rank:
                total += weight * part
        total[0, self.used :] = 1.0
        return total


def prior_weights(q_mean: float, q_twist: float, relief: float) -> Array:
    """Return the weight of each of `PARTS`: one over its variance.

    A side whose other side is broken or unread has the variance of its own profile,
    left = mean - twist / 2, right = mean + twist / 2.
    """
    single = 1.0 / (q_mean + q_twist / 4.0)
    return np.array([1.0 / q_mean, 1.0 / q_twist, single, 1.0 / max(relief, LEAST_RELIEF) ** 2])


def prior_bands(grid: Grid, bandwidth: int) -> PriorBands:
    """Return the prior's bands for a grid."""
    bands = [np.zeros((bandwidth + 1, grid.size)) for _ in PARTS]
    ranks = np.zeros(len(PARTS))
    gaps = np.diff(grid.stations)
    if len(grid.sides) == 1:
        for cut in (0, 1):
            where = np.flatnonzero(grid.cut[0] == cut)
            ranks[0] += _add_single(bands[0], grid, where, gaps[where], side=0, cut=cut)
    elif len(grid.sides) == 2:
        both = grid.cut[0] == grid.cut[1]
        for cut in (0, 1):
            where = np.flatnonzero(both & (grid.cut[0] == cut))
            ranks[:2] += _add_pair(bands, grid, where, gaps[where], cut=cut)
            for side in (0, 1):
                where = np.flatnonzero(~both & (grid.cut[side] == cut))
                ranks[2] += _add_single(bands[2], grid, where, gaps[where], side=side, cut=cut)
    if grid.relief:
        nodes = np.arange(grid.stations.size)
        for side in range(len(grid.sides)):
            ranks[3] += nodes.size
            upper, lower = grid.column(nodes, side, "smooth"), grid.column(nodes, side, "surface")
            one = np.ones(nodes.size)
            band_add(bands[3], upper, upper, one)
            band_add(bands[3], lower, lower, one)
            band_add(bands[3], upper, lower, -one)
    return PriorBands(tuple(bands), ranks, grid.stations.size * grid.states)


def _element(grid: Grid, gaps: Array, cut: int) -> tuple[Array, int]:
    """Return elements times scale^3 in the grid's scaled states, and the rank of each."""
    level = gaps / grid.scale
    if cut == 0:
        return beam_element(level), 2
    change = np.array([0.0, -1.0, 0.0, 1.0])
    return np.outer(change, change) / level[:, None, None], 1


def _columns(grid: Grid, where: NDArray[np.intp], side: int) -> NDArray[np.intp]:
    near = [grid.column(where, side, "smooth"), grid.column(where, side, "slope")]
    far = [grid.column(where + 1, side, "smooth"), grid.column(where + 1, side, "slope")]
    return np.stack(near + far, axis=1)


_ALL: Final = tuple(product(range(4), repeat=2))
_HALF: Final = tuple((i, j) for i, j in _ALL if i >= j)


def _scatter(
    band: Array, rows: NDArray[np.intp], columns: NDArray[np.intp], elements: Array, share: float
) -> None:
    """Add a share of elements; where rows and columns are the same states, the lower half is enough.

    Entry i, j of every element lies equally far below the diagonal, and no two of them in one place.
    """
    for i, j in _HALF if rows is columns else _ALL:
        below = int(rows[0, i] - columns[0, j])
        if below >= 0:
            band[below, columns[:, j]] += elements[:, i, j] * share


def _add_single(band: Array, grid: Grid, where: NDArray[np.intp], gaps: Array, *, side: int, cut: int) -> int:
    if where.size == 0:
        return 0
    element, rank = _element(grid, gaps, cut)
    columns = _columns(grid, where, side)
    _scatter(band, columns, columns, element, 1.0 / grid.scale**3)
    return rank * where.size


def _add_pair(bands: list[Array], grid: Grid, where: NDArray[np.intp], gaps: Array, *, cut: int) -> Array:
    """Add elements on the mean (left + right) / 2 and on the twist right - left."""
    if where.size == 0:
        return np.zeros(2)
    element, rank = _element(grid, gaps, cut)
    columns = [_columns(grid, where, side) for side in (0, 1)]
    for part, shares in enumerate(((0.5, 0.5), (-1.0, 1.0))):
        for row in (0, 1):
            for column in (0, 1):
                share = shares[row] * shares[column] / grid.scale**3
                _scatter(bands[part], columns[row], columns[column], element, share)
    return np.full(2, float(rank * where.size))
