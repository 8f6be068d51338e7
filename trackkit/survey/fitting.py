"""From linear rows to a posterior: start, roughness, fit, and the slope's share in a rod's doubt."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from trackkit.survey.determine import Straights, check_determined, straights
from trackkit.survey.grid import Grid
from trackkit.survey.points import PointRows
from trackkit.survey.posterior import LinearModel, Posterior
from trackkit.survey.prior import GroundType, PriorBands, prior_bands
from trackkit.survey.roughness import Roughness, estimate_roughness
from trackkit.survey.rows import Observations

__all__ = [
    "EMPTY_GRID",
    "Fitted",
    "Setting",
    "find_roughness",
    "fit_rows",
    "fit_with",
    "make_setting",
    "with_datum",
]

Array = NDArray[np.float64]

#: The grid of a survey that has pegs alone.
EMPTY_GRID = Grid(np.zeros(0), (), False, 1.0, np.zeros((0, 0), np.int8), np.zeros((0, 0)))

#: Smallest roughness over (reading sd)^2 / scale^3: below it the precision runs out of digits.
STIFFEST = 1e-9


@dataclass(frozen=True)
class Setting:
    """All that a fit is made from.

    Attributes
    ----------
    grid : Grid
    observations : Observations
        With the datum's row, if no benchmark gives a height.
    ground_type : GroundType
        What is stated of the roughness.
    station_sd : float
        Standard deviation of where a rod was set down [m].
    start : array
        Levels, slopes and border unknowns of the best straight profiles (see ``determine.py``).
    improper : int
        Unknowns that nothing but readings determines.
    """

    grid: Grid
    observations: Observations
    ground_type: GroundType
    station_sd: float
    start: Array
    improper: int

    @cached_property
    def free(self) -> Straights | None:
        """The straight profiles, None without ground."""
        return straights(self.grid) if self.grid.stations.size else None

    @cached_property
    def start_state(self) -> Array:
        """States of the best straight profiles, shape (grid.size,)."""
        if self.free is None:
            return np.zeros(0)
        return np.asarray(self.free.basis @ self.start[: len(self.free.names)])

    @cached_property
    def start_border(self) -> Array:
        """Border unknowns that go with them, shape (k,)."""
        return self.start[len(self.start) - len(self.observations.names) :]

    @cached_property
    def bandwidth(self) -> int:
        """Bandwidth of the precision."""
        return max((self.grid.group + 1) * self.grid.states - 1, 0)

    @cached_property
    def prior(self) -> PriorBands:
        """The prior's bands."""
        return prior_bands(self.grid, self.bandwidth)

    def model(self, keep: NDArray[np.bool_], sd: Array) -> LinearModel:
        """Return the readings, straight profiles taken off, as rows of a linear model."""
        rows = self.observations
        centred = rows.value - rows.ground @ self.start_state - rows.border @ self.start_border
        block = max(self.grid.group * self.grid.states, 1)
        if keep.all():
            return LinearModel(centred, sd, rows.ground, rows.border, self.bandwidth, block)
        ground, border = rows.ground[keep], rows.border[keep]
        return LinearModel(centred[keep], sd[keep], ground, border, self.bandwidth, block)


@dataclass(frozen=True)
class Fitted:
    """A fit: posterior of the centred states, the rows it was made from, and the roughness used."""

    posterior: Posterior
    model: LinearModel
    roughness: Roughness

    def state(self, setting: Setting) -> Array:
        """Return the ground's states with the straight profiles put back."""
        return self.posterior.state + setting.start_state

    def border(self, setting: Setting) -> Array:
        """Return the border unknowns with their start put back."""
        return self.posterior.border + setting.start_border


def make_setting(
    grid: Grid | None,
    observations: Observations,
    ground_type: GroundType,
    *,
    station_sd: float,
    level_is_free: bool,
    smooth_ties: bool,
) -> Setting:
    """Return a setting whose heights are all determined; FitError names those that are not."""
    used = grid or EMPTY_GRID
    free = straights(used) if used.stations.size else None
    start, improper = check_determined(
        observations, free, level_is_free=level_is_free, smooth_ties=smooth_ties
    )
    return Setting(used, observations, ground_type, station_sd, start, improper)


def fit_rows(setting: Setting, *, keep: NDArray[np.bool_] | None = None) -> Fitted:
    """Return the fit of all rows, or of those kept; roughness is estimated from the same rows.

    A rod that was set down some centimetres away from its station reads the slope's rise wrongly;
    this is added to its variance from a first fit's slopes.
    """
    rows = setting.observations
    used = np.ones(rows.value.size, dtype=bool) if keep is None else keep
    found = _fit(setting, setting.model(used, rows.sd))
    slope = rows.table["slope"].to_numpy(dtype=np.intp) if len(rows.table) else np.zeros(0, np.intp)
    sloped = slope >= 0
    if setting.station_sd == 0 or not sloped.any():
        return found
    grade = np.zeros(rows.sd.size)
    grade[sloped] = found.state(setting)[slope[sloped]] / setting.grid.scale
    near = found.roughness
    del found  # it may be large
    return _fit(setting, setting.model(used, np.hypot(rows.sd, setting.station_sd * grade)), near)


def find_roughness(
    setting: Setting, model: LinearModel, ground_type: GroundType, near: Roughness | None = None
) -> Roughness:
    """Return the roughness: what is stated, and the rest as it is likeliest by the readings."""
    if not setting.grid.stations.size:
        return Roughness(1.0, 1.0, 0.0, estimated=())
    floor = STIFFEST * float(np.median(model.sd)) ** 2 / setting.grid.scale**3
    sides = len(setting.grid.sides)
    return estimate_roughness(model, setting.prior, ground_type, sides=sides, floor=floor, near=near)


def fit_with(setting: Setting, model: LinearModel, rough: Roughness) -> Fitted:
    """Return the fit of a model's rows with this roughness."""
    return Fitted(model.fit(setting.prior.combine(rough.weights)), model, rough)


def _fit(setting: Setting, model: LinearModel, near: Roughness | None = None) -> Fitted:
    return fit_with(setting, model, find_roughness(setting, model, setting.ground_type, near))


def with_datum(rows: Observations, datum: PointRows, level: float) -> Observations:
    """Return the rows with one more that holds the datum at a level.

    It is the only one to say anything of the level, so its standard deviation changes no
    difference of heights; all results are given relative to the datum.
    """
    import pandas as pd
    from scipy.sparse import csr_array, vstack

    row = {**rows.table.iloc[0], "reading": "", "kind": "datum", "counts": False, "slope": -1}
    row |= {"station_m": np.nan, "to_station_m": np.nan, "side": "", "point": "", "instrument": ""}
    return replace(
        rows,
        value=np.append(rows.value, level),
        sd=np.append(rows.sd, float(np.median(rows.sd))),
        ground=csr_array(vstack([rows.ground, datum.ground], format="csr")),
        border=csr_array(vstack([rows.border, datum.border], format="csr")),
        table=pd.concat([rows.table, pd.DataFrame([row])], ignore_index=True),
    )
