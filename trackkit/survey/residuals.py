"""One row a reading: how far it is from the fit, what checks it, and whether it is in doubt.

Two redundancies are kept apart. ``redundancy`` counts the ground's smoothness as a witness;
``redundancy_readings`` only the other readings. Zero of the second: nothing checks this one.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.alone import readings_alone
from trackkit.survey.fitting import Fitted, Setting, fit_rows
from trackkit.survey.posterior import row_variance
from trackkit.survey.prior import GroundType
from trackkit.survey.significance import Limit, limit_of

__all__ = ["redundancy_of_readings", "residual_table"]

Array = NDArray[np.float64]

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
#: From this redundancy on readings, or the ground's smoothness, check a reading (a choice).
BY_READINGS, BY_GROUND = 1e-4, 1e-3
#: Above this many readings, leaving one out changes the roughness too little to estimate it anew.
PLUG_IN_ABOVE: Final = 200


def residual_table(setting: Setting, fitted: Fitted, checks: Array | None = None) -> pd.DataFrame:
    """Return the residual table of a fit.

    Parameters
    ----------
    checks : array, shape (rows,), optional
        For each row of the observations, how many readings to spare its standard deviation was estimated
        from; infinite where it was stated, as it is for all by default.

    Returns
    -------
    DataFrame
        Columns reading, kind, instrument, station_m, to_station_m, side, point, then
        residual_m (fitted minus read), sd_m, redundancy, redundancy_readings, w, checked
        ('readings', 'smoothness' or 'nothing'), w_without, off_m, chance, rivals, apart_m, redundancy_apart
        and doubtful. Where readings were set aside as doubtful, what checks the others is asked of the
        fit without them, whose roughness they have not spoilt: ``apart_m`` is how far a reading is from
        that fit, and ``redundancy_apart`` its redundancy there (of one set aside the variance of
        ``off_m`` over its own).
        ``w_without`` is w against a fit made without the reading, ``off_m`` what that fit makes of it less
        what was read (a rod's in rod, a board's in rise), and ``chance`` that of a survey without a
        misreading having one as far off (all NaN where that was not tried). Doubtful is that test at
        `trackkit.survey.significance.CHANCE_OF_FALSE_ALARM` for the whole survey, Bonferroni, by Student's t
        (`trackkit.survey.significance.roughness_freedom`) where the roughness was estimated, and by the tau
        test where the standard deviation was. Readings in doubt that have the same number in ``rivals`` (0:
        none) are as
        likely, each by itself, the one misread.
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
    table["checked"] = _checked(by_readings, posterior.redundancy)
    tried, rest, keep = _on_trial(setting, fitted, counts, limit_of(setting, fitted, checks))
    table["w_without"], table["off_m"], table["chance"], table["rivals"] = tried
    table["apart_m"], table["redundancy_apart"] = table["residual_m"], table["redundancy"]
    if keep.all():
        table["doubtful"] = False
        return table[counts].reset_index(drop=True)
    table["doubtful"] = table["rivals"] > 0
    table["apart_m"] = _apart(setting, rest)
    share = np.array(np.square(table["off_m"] / table["w_without"] / table["sd_m"]), dtype=float)
    share[keep] = rest.posterior.redundancy
    table["redundancy_apart"] = share
    again = _checked(redundancy_of_readings(setting, posterior.sd, keep), share)
    # what others make of a reading in doubt, they make of it by what they are
    blamed = np.where(by_readings > BY_READINGS, "readings", "smoothness")
    table["checked"] = np.where(table["doubtful"], blamed, again)
    return table[counts].reset_index(drop=True)


def _on_trial(
    setting: Setting, fitted: Fitted, counts: NDArray[np.bool_], limit: Limit
) -> tuple[tuple[Array, Array, Array, NDArray[np.int64]], Fitted, NDArray[np.bool_]]:
    """Return w against fits made without the reading (where tried), how far off, chance, turn of blame.

    And the fit that is left, without the readings that were set aside, and which rows it is of.

    One reading at a time: the worst is set aside before the others are tried again, for one
    misreading makes its neighbours look wrong too. A step taped once for both sides of the run is one
    reading. Where setting aside another one does as well (a peg read twice), both are in doubt.
    """
    names, kinds = (setting.observations.table[name].to_numpy(dtype=object) for name in ("reading", "kind"))
    steps = np.flatnonzero(kinds == "step")
    without, off, chance = (np.full(counts.size, np.nan) for _ in range(3))
    group = np.zeros(counts.size, dtype=np.int64)
    if counts.sum() > PLUG_IN_ABOVE or not fitted.roughness.estimated:
        # with one roughness for all fits, w is the same with and without the reading
        inner = fitted.posterior.w
        if not any(limit.suspect(int(i), float(inner[i])) for i in np.flatnonzero(counts)):
            return (without, off, chance, group), fitted, np.ones(counts.size, dtype=bool)
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
        largest, worst, rest, tried = 1.0, -1, current, dict[int, float]()
        for own in dict.fromkeys(_same_reading(index, names, steps) for index in suspects):
            index = own[0]
            found = _without(setting, own, keep, fitted.posterior.sd[list(own)])
            if found is not None:
                without[list(own)], off[list(own)] = found[:2]
                far = float(found[0][np.argmax(np.abs(found[0]))])
                left = keep.copy()
                left[list(own)] = False
                spread = limit.spread(left, found[2].posterior)
                chance[list(own)] = limit.chance(index, far, spread)
                tried[index] = limit.excess(index, far, spread)
                if tried[index] > largest:
                    largest, worst, rest = tried[index], index, found[2]
        if worst < 0:
            break
        for index, size in tried.items():
            if size >= AS_GOOD * largest and size > 1.0:
                group[list(_same_reading(index, names, steps))] = turn
        keep[list(_same_reading(worst, names, steps))] = False
        limit = limit.without(worst)
        current = rest
    return (without, off, chance, group), current, keep


def _apart(setting: Setting, rest: Fitted) -> Array:
    """Return how far every reading is from a fit that was made without some of them [m]."""
    rows = setting.observations
    return np.asarray(rows.ground @ rest.state(setting) + rows.border @ rest.border(setting) - rows.value)


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


def _checked(by_readings: Array, redundancy: Array) -> NDArray[np.str_]:
    """Return what checks each row, by the redundancy that other readings give, and that all gives."""
    by_ground = np.where(redundancy > BY_GROUND, "smoothness", "nothing")
    return np.where(by_readings > BY_READINGS, "readings", by_ground)


def redundancy_of_readings(setting: Setting, sd: Array, keep: NDArray[np.bool_] | None = None) -> Array:
    """Return each row's redundancy when smoothness counts for nothing: every read point is free.

    Parameters
    ----------
    keep : array of bool, shape (rows,), optional
        Rows that count; all by default. Others have 0.
    """
    alone = readings_alone(setting, sd, keep)
    result = np.zeros(sd.size)
    result[alone.used] = alone.redundancy
    return result
