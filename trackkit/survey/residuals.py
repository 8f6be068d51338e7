"""One row a reading: how far it is from the fit, what checks it, and whether it is in doubt.

Two redundancies are kept apart. ``redundancy`` counts the ground's smoothness as a witness;
``redundancy_readings`` only the other readings. Zero of the second: nothing checks this one.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.banded import BorderedBand, band_add
from trackkit.survey.boards import LOGGED
from trackkit.survey.fitting import Fitted, Setting, fit_rows
from trackkit.survey.posterior import LinearModel, row_variance
from trackkit.survey.prior import GroundType

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["CHANCE_OF_FALSE_ALARM", "critical_w", "redundancy_of_readings", "residual_table"]

Array = NDArray[np.float64]

#: Chance that a survey without a misreading has a reading called doubtful (a choice).
CHANCE_OF_FALSE_ALARM: Final = 0.05
#: How many readings, those with the largest residuals, are tried with a fit made without them.
TRIED: Final = 3
#: Most readings that are set aside.
MOST: Final = 6
#: ... and at most so many that come as near as the last of them.
MOST_TRIED: Final = 12
#: A reading whose w comes so near to the worst one's is as likely the one misread (a choice).
AS_GOOD: Final = 0.99
#: A reading that the others predict with a variance so many times its own, and so many metres, is
#: not checked by them.
HARDLY_CHECKED: Final = 100.0
#: Above this many readings, leaving one out changes the roughness too little to estimate it anew.
PLUG_IN_ABOVE: Final = 200
_NO_RIDGE: Final = 1e-7


def residual_table(setting: Setting, fitted: Fitted) -> pd.DataFrame:
    """Return the residual table of a fit.

    Returns
    -------
    DataFrame
        Columns reading, kind, instrument, station_m, to_station_m, side, point, then
        residual_m (fitted minus read), sd_m, redundancy, redundancy_readings, w, checked
        ('readings', 'smoothness' or 'nothing'), w_without, off_m, rivals and doubtful. ``w_without`` is w
        against a fit made without the reading, and ``off_m`` what that fit makes of it less what was
        read (both NaN where that was not tried; a rod's in rod, a board's in rise); doubtful is that
        test at `CHANCE_OF_FALSE_ALARM` for the whole survey, Bonferroni, by Student's t with
        stations - 2 degrees of freedom where the roughness was estimated. Readings in doubt that have the
        same number in ``rivals`` (0: none) are as likely, each by itself, the one misread.
    """
    rows = setting.observations.table
    counts = rows["counts"].to_numpy(dtype=bool)
    posterior = fitted.posterior
    by_readings = redundancy_of_readings(setting, posterior.sd)
    table = rows[["reading", "kind", "instrument", "station_m", "to_station_m", "side", "point"]].copy()
    table["residual_m"] = posterior.residual
    table["sd_m"] = posterior.sd
    table["redundancy"] = posterior.redundancy
    table["redundancy_readings"] = np.minimum(by_readings, posterior.redundancy)
    table["w"] = posterior.w
    table["checked"] = np.where(
        by_readings > 1e-4, "readings", np.where(posterior.redundancy > 1e-3, "smoothness", "nothing")
    )
    table["w_without"], table["off_m"], table["rivals"] = _on_trial(setting, fitted, counts)
    table["doubtful"] = table["rivals"] > 0
    return table[counts].reset_index(drop=True)


def critical_w(setting: Setting, fitted: Fitted, readings: int) -> float:
    """Return the largest w that chance explains in a survey with that many readings."""
    from scipy.special import ndtri, stdtrit

    share = 1.0 - CHANCE_OF_FALSE_ALARM / (2.0 * max(readings, 1))
    if not fitted.roughness.estimated:
        return float(ndtri(share))
    stations = setting.observations.table["station_m"].nunique()
    return float(stdtrit(max(stations - 2, 1), share))


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


def _on_trial(
    setting: Setting, fitted: Fitted, counts: NDArray[np.bool_]
) -> tuple[Array, Array, NDArray[np.int64]]:
    """Return w against fits made without the reading (where tried), how far off, and the turn of blame.

    One reading at a time: the worst is set aside before the others are tried again, for one
    misreading makes its neighbours look wrong too. A step taped once for both sides of the run is one
    reading. Where setting aside another one does as well (a peg read twice), both are in doubt.
    """
    names, kinds = (setting.observations.table[name].to_numpy(dtype=object) for name in ("reading", "kind"))
    steps = np.flatnonzero(kinds == "step")
    without, off = np.full(counts.size, np.nan), np.full(counts.size, np.nan)
    group = np.zeros(counts.size, dtype=np.int64)
    critical = critical_w(setting, fitted, int(counts.sum()))
    if counts.sum() > PLUG_IN_ABOVE or not fitted.roughness.estimated:
        # with one roughness for all fits, w is the same with and without the reading
        if not (np.abs(fitted.posterior.w[counts]) > critical).any():
            return without, off, group
        rough = fitted.roughness
        setting = replace(setting, ground_type=GroundType(rough.q_mean, rough.q_twist, rough.relief))
    keep = np.ones(counts.size, dtype=bool)
    current = fitted
    for turn in range(1, MOST + 1):
        w = np.zeros(counts.size)
        w[keep] = current.posterior.w
        size_of = np.abs(np.where(counts & keep, w, 0.0))
        ordered = np.argsort(-size_of, kind="stable")
        least = AS_GOOD * size_of[ordered[min(TRIED, len(ordered)) - 1]]
        suspects = [int(i) for i in ordered[:MOST_TRIED] if size_of[i] >= least]
        suspects += [int(step) for step in steps if size_of[step] >= 1.0]
        largest, worst, rest, tried = critical, -1, current, dict[int, float]()
        for own in dict.fromkeys(_same_reading(index, names, steps) for index in suspects):
            index = own[0]
            found = _without(setting, own, keep, fitted.posterior.sd[list(own)])
            if found is not None:
                without[list(own)], off[list(own)] = found[:2]
                tried[index] = float(np.abs(found[0]).max())
                if tried[index] > largest:
                    largest, worst, rest = tried[index], index, found[2]
        if worst < 0:
            break
        for index, size in tried.items():
            if size >= AS_GOOD * largest and size > critical:
                group[list(_same_reading(index, names, steps))] = turn
        keep[list(_same_reading(worst, names, steps))] = False
        current = rest
    return without, off, group


def _same_reading(index: int, names: NDArray[np.object_], steps: NDArray[np.intp]) -> tuple[int, ...]:
    """Return the rows that come from the same reading: a taped step has one on either side of the run."""
    if index not in steps:
        return (index,)
    break_name = str(names[index]).rsplit(", ", 1)[0]
    return tuple(int(step) for step in steps if str(names[step]).rsplit(", ", 1)[0] == break_name)


def _without(
    setting: Setting, own: tuple[int, ...], keep: NDArray[np.bool_], sd: Array
) -> tuple[Array, Array, Fitted] | None:
    """Return w of a reading's rows against the fit without them, how far off they are, and that fit.

    None if the reading is needed.
    """
    rows = setting.observations
    rest = keep.copy()
    rest[list(own)] = False
    try:
        other = fit_rows(setting, keep=rest)
    except np.linalg.LinAlgError:  # the reading alone determined something
        return None
    ground, border = rows.ground[list(own)], rows.border[list(own)]
    predicted = ground @ other.state(setting) + border @ other.border(setting)
    variance = row_variance(other.posterior.system, ground, border) + sd**2
    if np.any((variance > HARDLY_CHECKED * sd**2) & (variance > 1.0)):
        return None
    off = np.asarray(predicted - rows.value[list(own)])
    return off / np.sqrt(variance), off, other


def redundancy_of_readings(setting: Setting, sd: Array) -> Array:
    """Return each row's redundancy when smoothness counts for nothing: every read point is free.

    A very weak pull on every unknown stands in for what no reading determines.
    """
    rows, grid = setting.observations, setting.grid
    nodes = np.arange(grid.stations.size)
    surfaces = np.zeros(grid.size)
    for side in range(len(grid.sides)):
        surfaces[grid.column(nodes, side, "surface")] = 1.0
    ground = rows.ground.multiply(surfaces[None, :]).tocsr()
    kinds = rows.table["kind"].to_numpy()
    logged = np.flatnonzero(kinds == LOGGED)
    if grid.relief and logged.size:  # these see the smooth height, which is free with the surface
        ground = ground + _on_surfaces(setting, logged)
    spotted = np.array([kind == "spot" for kind, _ in rows.names], dtype=bool)
    at_spot = rows.border[:, spotted].count_nonzero(axis=1) > 0 if spotted.any() else np.zeros(sd.size, bool)
    alone = np.isin(kinds, ["step", "crown beforehand"]) | ((kinds == "rod at offset") & ~at_spot)
    used = np.flatnonzero(~alone)
    ridge = _NO_RIDGE * float(np.median(1.0 / sd**2))
    prior = np.zeros((setting.bandwidth + 1, grid.size))
    everything = np.arange(grid.size)
    band_add(prior, everything, everything, np.where(surfaces > 0, ridge, 1.0))
    block = max(grid.group * grid.states, 1)
    ground, border = ground[used], rows.border[used]
    model = LinearModel(rows.value[used], sd[used], ground, border, setting.bandwidth, block)
    band, side_part, corner, _, _ = model.halved.normal
    system = BorderedBand(prior + band, side_part, corner + ridge * np.eye(len(corner)), block)
    result = np.zeros(sd.size)
    result[used] = np.clip(1.0 - row_variance(system, ground, border) / sd[used] ** 2, 0.0, 1.0)
    return result
