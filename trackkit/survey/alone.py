"""The readings by themselves: a fit in which smoothness counts for nothing and every read point is free.

Only in such a fit do residuals say nothing of the ground's roughness, so this is where the readings are
asked whether they agree with each other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.banded import BorderedBand, band_add
from trackkit.survey.boards import LOGGED
from trackkit.survey.fitting import Setting
from trackkit.survey.posterior import LinearModel, row_variance

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["Alone", "readings_alone"]

Array = NDArray[np.float64]

#: Weight of a very weak pull on every unknown, over that of a usual reading: it stands in for what no reading
#: determines.
RIDGE: Final = 1e-7
#: What they predict with a variance so many times that of a usual reading is not determined at all.
UNDETERMINED: Final = 1e4
#: Columns that are solved for at a time, to spare memory.
_AT_A_TIME: Final = 256


@dataclass(frozen=True)
class Alone:
    """The readings' own system, n rows of those of a setting.

    Attributes
    ----------
    used : array of int, shape (n,)
        Which rows of the setting's observations it has: not taped steps, nor readings at an offset that were
        read once, which tell of the surface only through smoothness.
    table : DataFrame
        Their labels, as in `Observations`.
    model : LinearModel
        Rows, less the best straight profiles.
    surface : array, shape (size,)
        1 for the states that are heights of the surface, else 0.
    """

    used: NDArray[np.intp]
    table: pd.DataFrame
    model: LinearModel
    surface: Array

    @cached_property
    def ridge(self) -> float:
        """The weak pull on every unknown [1/m^2]."""
        return RIDGE * float(np.median(self.model.weight))

    @cached_property
    def system(self) -> BorderedBand:
        """The factored precision."""
        band, side, corner, _, _ = self.model.halved.normal
        prior, everything = np.zeros_like(band), np.arange(self.surface.size)
        band_add(prior, everything, everything, np.where(self.surface > 0, self.ridge, 1.0))
        return BorderedBand(prior + band, side, corner + self.ridge * np.eye(len(corner)), self.model.block)

    @cached_property
    def redundancy(self) -> Array:
        """Share of an error in a reading that shows in its own residual, 0 to 1, shape (n,)."""
        variance = row_variance(self.system, self.model.ground, self.model.seen)
        return np.clip(1.0 - variance / self.model.sd**2, 0.0, 1.0)

    @cached_property
    def residual(self) -> Array:
        """Fitted minus read, shape (n,) [m]."""
        return -self.unexplained(self.model.value[:, None])[:, 0]

    @cached_property
    def chi2(self) -> float:
        """Sum of the squared residuals, each over its reading's variance."""
        return float(((self.residual / self.model.sd) ** 2).sum())

    @cached_property
    def dof(self) -> int:
        """Rows more than there are unknowns that they determine."""
        return round(float(self.redundancy.sum()))

    def with_sd(self, sd: Array) -> Alone:
        """Return the same readings with other standard deviations, shape (n,) [m]."""
        return replace(self, model=replace(self.model, sd=sd))

    def with_unknowns(self, columns: Array) -> Alone:
        """Return the same readings with more unknowns at the border, shape (n, m), that they may share."""
        from scipy.sparse import csr_array, hstack

        border = csr_array(hstack([csr_array(self.model.border), csr_array(columns)], format="csr"))
        return replace(self, model=replace(self.model, border=border))

    def unexplained(self, columns: Array) -> Array:
        """Return what the fit leaves of readings that read ``columns``, shape (n, m)."""
        result = np.empty(columns.shape)
        for start in range(0, columns.shape[1], _AT_A_TIME):
            some = slice(start, start + _AT_A_TIME)
            result[:, some] = columns[:, some] - self._fitted(columns[:, some])
        return result

    def _fitted(self, columns: Array) -> Array:
        ground, border = self.model.ground, self.model.seen
        weighted = self.model.weight[:, None] * columns
        lower = np.zeros((self.system.corner.shape[0], columns.shape[1]))
        lower[: border.shape[1]] = border.T @ weighted
        state, unknown = self.system.solve(np.asarray(ground.T @ weighted), lower)
        return np.asarray(ground @ state + border @ unknown[: border.shape[1]])

    def predicted(self, ground: csr_array, border: csr_array) -> tuple[Array, Array]:
        """Return what other rows would read by this fit, shape (m,), and its covariance, shape (m, m) [m^2].

        Rows of the setting's own kind, less the best straight profiles; what is not determined has a variance
        above `UNDETERMINED` times that of a usual reading.
        """
        own = ground.multiply(self.surface[None, :]).tocsr()
        count = self.model.border.shape[1]
        lower = np.zeros((self.system.corner.shape[0], own.shape[0]))
        lower[:count] = border.toarray().T
        state, unknown = self.system.solve(own.toarray().T, lower)
        covariance = own @ state + border @ unknown[:count]
        weighted = self.model.weight * self.model.value
        value = state.T @ (self.model.ground.T @ weighted) + unknown[:count].T @ (
            self.model.seen.T @ weighted
        )
        return np.asarray(value), np.asarray(covariance)


def readings_alone(setting: Setting, sd: Array, keep: NDArray[np.bool_] | None = None) -> Alone:
    """Return the readings' own system.

    Parameters
    ----------
    setting : Setting
    sd : array, shape (rows,)
        Standard deviations of all rows of the setting's observations [m].
    keep : array of bool, shape (rows,), optional
        Rows that count; all by default.
    """
    from scipy.sparse import csr_array

    rows, grid = setting.observations, setting.grid
    nodes = np.arange(grid.stations.size)
    surface = np.zeros(grid.size)
    for side in range(len(grid.sides)):
        surface[grid.column(nodes, side, "surface")] = 1.0
    kinds = rows.table["kind"].to_numpy()
    spotted = np.array([kind == "spot" for kind, _ in rows.names], dtype=bool)
    at_spot = rows.border[:, spotted].count_nonzero(axis=1) > 0 if spotted.any() else np.zeros(sd.size, bool)
    smooth = np.isin(kinds, ["step", "crown beforehand"]) | ((kinds == "rod at offset") & ~at_spot)
    used = np.flatnonzero(~smooth if keep is None else ~smooth & keep)
    whole = setting.model(np.ones(sd.size, dtype=bool), sd)
    ground = whole.ground.multiply(surface[None, :]).tocsr()
    logged = np.flatnonzero(kinds == LOGGED)
    if grid.relief and logged.size:  # these see the smooth height, which is free with the surface
        ground = csr_array(ground + _on_surfaces(setting, logged))
    model = LinearModel(
        whole.value[used], sd[used], ground[used], whole.border[used], whole.bandwidth, whole.block
    )
    return Alone(used, rows.table.iloc[used].reset_index(drop=True), model, surface)


def _on_surfaces(setting: Setting, which: NDArray[np.intp]) -> csr_array:
    """Return the smooth heights in some rows as heights of the surface, nothing in all other rows."""
    from scipy.sparse import csr_array

    grid, rows = setting.grid, setting.observations
    nodes = np.arange(grid.stations.size)
    sides = range(len(grid.sides))
    smooth = np.concatenate([grid.column(nodes, side, "smooth") for side in sides])
    surface = np.concatenate([grid.column(nodes, side, "surface") for side in sides])
    move = csr_array((np.ones(smooth.size), (smooth, surface)), shape=(grid.size, grid.size))
    some = csr_array((np.ones(which.size), (which, which)), shape=(rows.value.size, rows.value.size))
    return csr_array(some @ rows.ground @ move)
