"""Each kind of reading against what was stated, and laser against phone."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.alone import UNDETERMINED, readings_alone
from trackkit.survey.quality.overall import SURE, alone_of, factor_limits
from trackkit.survey.quality.spread import spreads
from trackkit.survey.rows import Observations

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["Conflict", "laser_against_phone", "variance_components"]

Array = NDArray[np.float64]

_LEVELLED: Final = ("rod on peg", "rod", "rod at offset", "difference", "benchmark", "datum")
_OWN_SD: Final = "the column sd of their table"


def variance_components(ground: Ground, *, without: Collection[str] = ()) -> pd.DataFrame:
    """Return for each kind of reading whether it scatters as stated.

    From the readings alone, every read point free, all kinds at once and to convergence; what is known of
    benchmarks and of zero errors beforehand is taken as stated. Nothing of the fit is changed by it.

    Parameters
    ----------
    ground : Ground
    without : collection of str
        Readings that are left out of it, such as those in doubt.

    Returns
    -------
    DataFrame
        One row a kind: kind ('rod readings', 'angles', 'taped boards' or 'differences'), instrument (of
        angles), readings, checks (how many times over they are checked, by whatever other readings), factor
        (estimated over stated standard deviation, NaN where the checks are too few to say, see
        `LEAST_CHECKS`), sd_factor (its standard deviation, factor / sqrt(2 dof)), low, high (19 times in 20,
        by chi-square), agrees (False only where chance explains the factor in less than 1 survey of 20, all
        kinds together), setting (what states it), value (what to state there instead: m or rad; NaN where it
        comes from the table itself), do (words).
    """
    alone = alone_of(ground, without)
    kinds, of_row = _kinds(ground, alone.table)
    found = spreads(alone, of_row, len(kinds))
    told = int(np.isfinite(found.factor).sum())
    rows = []
    for number, (kind, instrument) in enumerate(kinds):
        factor, dof = float(found.factor[number]), float(found.dof[number])
        low = high = sd = float("nan")
        agrees = True
        if factor == factor:
            low, high = factor_limits(factor, dof)
            least, most = factor_limits(factor, dof, 1.0 - (1.0 - SURE) / told)
            agrees, sd = least <= 1.0 <= most, factor / float(np.sqrt(2.0 * dof))
        names = set(alone.table.loc[of_row == number, "reading"])
        setting, stated = _stated(ground, kind, instrument, names)
        value = factor * stated
        do = "nothing: they are as stated"
        if factor != factor:
            do = "read points again, if you want to know: too few checks to say"
        elif not agrees:
            do = f"state {setting} {factor:.1f} times as large" + ("" if factor > 1 else ", if you like")
        rows.append(
            (kind, instrument, int((of_row == number).sum()), float(found.checks[number]), factor, sd, low,
             high, agrees, setting, value, do)
        )  # fmt: skip
    columns = ["kind", "instrument", "readings", "checks", "factor", "sd_factor", "low", "high", "agrees"]
    return pd.DataFrame(rows, columns=[*columns, "setting", "value", "do"])


def _kinds(ground: Ground, table: pd.DataFrame) -> tuple[list[tuple[str, str]], NDArray[np.intp]]:
    """Return kinds of readings and which of them each row is of, -1 for none."""
    survey = ground.survey
    angles = set(survey.boards.loc[survey.boards["angle_rad"].notna(), "reading"])
    angles |= set(survey.crosslevels.loc[survey.crosslevels["angle_rad"].notna(), "reading"])
    kinds: dict[tuple[str, str], int] = {}
    of_row = np.full(len(table), -1, dtype=np.intp)
    for row, (kind, reading, instrument) in enumerate(
        zip(table["kind"], table["reading"], table["instrument"], strict=True)
    ):
        if kind.startswith("rod"):
            own = ("rod readings", "")
        elif kind in ("board", "left-to-right"):
            own = ("angles", str(instrument)) if reading in angles else ("taped boards", "")
        elif kind == "difference":
            own = ("differences", "")
        else:
            continue
        of_row[row] = kinds.setdefault(own, len(kinds))
    return list(kinds), of_row


def _stated(ground: Ground, kind: str, instrument: str, names: set[object]) -> tuple[str, float]:
    """Return what states the standard deviation of a kind, and its value: the table, if it does for any."""
    survey, sds = ground.survey, ground.instruments
    tables = {
        "rod readings": (survey.levels,),
        "differences": (survey.differences,),
        "angles": (survey.boards, survey.crosslevels),
        "taped boards": (survey.boards, survey.crosslevels),
    }
    column = "sd_rad" if kind == "angles" else "sd_m"
    if any(one.loc[one["reading"].isin(names), column].notna().any() for one in tables[kind]):
        return _OWN_SD, float("nan")
    if kind == "angles" and instrument in sds.angle_sds:
        return f"angle_sd of {instrument}", float(sds.angle_sds[instrument])
    name = {
        "rod readings": "rod_sd", "differences": "difference_sd",
        "angles": "angle_sd", "taped boards": "tape_sd",
    }[kind]  # fmt: skip
    return name, float(getattr(sds, name))


@dataclass(frozen=True)
class Conflict:
    """What the phone says against what the rods alone make of it.

    Attributes
    ----------
    table : DataFrame
        One row an angle between two places whose heights the rods (and differences) alone determine: reading,
        instrument, station_m, to_station_m, side, difference_m (rise by phone less rise by rods, its zero
        error taken off), sd_m, w (the one over the other).
    mean_rad, mean_sd_rad : float
        By how much the phone makes everything steeper than the rods do, whichever way round it was read: what
        turning it end for end did not take off. NaN without such angles.
    chi2, dof : float, int
        Of all differences together, zero errors believed as stated beforehand.
    chance : float
        How often chance makes them as large, if all is as stated.
    agrees : bool
        Whether that is more than 1 in 20, and the mean within what 1 in 20 explains.
    words : str
    """

    table: pd.DataFrame
    mean_rad: float
    mean_sd_rad: float
    chi2: float
    dof: int
    chance: float
    agrees: bool
    words: str


def laser_against_phone(ground: Ground, *, without: Collection[str] = ()) -> Conflict:
    """Return whether phone and rods tell of the same ground.

    Rises between places that the rods alone determine are predicted from the rods alone, with their
    covariance, and held against the phone's. It would be the same test with the rods predicted from the
    phone.

    Parameters
    ----------
    ground : Ground
    without : collection of str
        Readings that are left out of it, such as those in doubt.
    """
    setting, sd = ground.setting, ground.fitted.posterior.sd
    rows: Observations = setting.observations
    kinds, of_row = _kinds(ground, rows.table)
    angle = np.array([kind == "angles" for kind, _ in kinds] + [False])[of_row]
    nan = float("nan")
    labels = ["reading", "instrument", "station_m", "to_station_m", "side"]
    empty = rows.table.loc[np.zeros(len(rows.table), dtype=bool), labels].assign(
        difference_m=0.0, sd_m=0.0, w=0.0
    )
    nothing = Conflict(
        empty, nan, nan, 0.0, 0, nan, True, "No angle lies between places that the rods determine."
    )
    keep = ~rows.table["reading"].isin(list(without)).to_numpy()
    own, angle = np.isin(rows.table["kind"], _LEVELLED) & keep, angle & keep
    if not angle.any() or not own.any():
        return nothing
    laser = readings_alone(setting, sd, own)
    which = np.flatnonzero(angle)
    zeros = np.array([kind == "zero" for kind, _ in rows.names], dtype=bool)
    lever = rows.border[which][:, zeros].toarray()
    border = rows.border[which].multiply(~zeros[None, :]).tocsr()
    predicted, covariance = laser.predicted(rows.ground[which], border)
    clear = np.diag(covariance) < UNDETERMINED * float(np.median(laser.model.sd)) ** 2
    if not clear.any():
        return nothing
    which, lever, predicted = which[clear], lever[clear], predicted[clear]
    beforehand = np.flatnonzero((rows.table["kind"] == "zero error beforehand").to_numpy())
    known = rows.border[beforehand][:, zeros].toarray()
    believed, doubt = known.T @ rows.value[beforehand], known.T @ sd[beforehand]
    centred = rows.value - rows.ground @ setting.start_state
    others = rows.border.multiply(~zeros[None, :]).tocsr() @ setting.start_border
    off = (centred - others)[which] - predicted - lever @ believed
    single = covariance[np.ix_(clear, clear)] + np.diag(sd[which] ** 2)
    whole = single + (lever * doubt**2) @ lever.T
    weighted = np.linalg.solve(whole, off)
    chi2 = float(off @ weighted)
    steeper = np.abs(lever).sum(axis=1)
    information = float(steeper @ np.linalg.solve(whole, steeper))
    mean, mean_sd = float(steeper @ weighted) / information, information**-0.5
    left = single @ weighted
    spread = np.sqrt(np.diag(single @ np.linalg.solve(whole, single)))
    table = rows.table.iloc[which][labels].reset_index(drop=True)
    table = table.assign(difference_m=left, sd_m=spread, w=left / spread)
    return _judged(table, mean, mean_sd, chi2)


def _judged(table: pd.DataFrame, mean: float, mean_sd: float, chi2: float) -> Conflict:
    from scipy.special import chdtrc, ndtr, ndtri

    dof = len(table)
    chance = min(1.0, 2.0 * min(float(chdtrc(dof, chi2)), 2.0 * float(ndtr(-abs(mean / mean_sd)))))
    agrees = chance > 1.0 - SURE
    words = f"Laser and phone agree, as far as {dof} angles between places that the rods determine tell."
    if not agrees:
        words = f"Laser and phone contradict each other at {dof} angles, more than they may as stated."
        if abs(mean) > float(ndtri(0.5 + SURE / 2.0)) * mean_sd:
            words += (
                f" The phone finds everything {np.degrees(abs(mean)):.2f} degrees "
                f"{'steeper' if mean > 0 else 'less steep'} than the rods, "
                f"give or take {np.degrees(2 * mean_sd):.2f}: "
                "turning it end for end did not take that off; look at the board's feet."
            )
    return Conflict(table, mean, mean_sd, chi2, dof, chance, agrees, words)
