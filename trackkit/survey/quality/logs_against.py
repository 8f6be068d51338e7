"""A phone's log against what all other readings make of the ground: its unit or sign may be another."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from trackkit.survey.boards import LOGGED
from trackkit.survey.fitting import fit_rows
from trackkit.survey.posterior import row_variance

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["WRONG_UNIT", "logs_against"]

#: What a log's angles have to be multiplied by if this is what happened to them.
WRONG_UNIT: Final[Mapping[str, float]] = {
    "the sign is wrong": -1.0,
    "degrees, written as a grade in per cent": 100.0 * math.tan(math.radians(1.0)),
    "a grade in per cent, written as degrees": math.degrees(0.01),
    "radians, written as degrees": math.degrees(1.0),
    "radians, written as a grade in per cent": 100.0,
}
#: A pass contradicts the others if it is off by so many standard deviations, root mean square (a choice: the
#: doubts of what the others make of it hang together).
CONTRADICTS: Final = 2.5
#: A slip explains it if that leaves at most this share of what it was off (a choice).
LEFT: Final = 0.4
#: With fewer readings nothing is said of a pass.
FEWEST: Final = 4


def logs_against(ground: Ground) -> pd.DataFrame:
    """Return what each pass of a log says against a fit of all other readings.

    Its own zero error is free: only the shape of the ground is compared.

    Parameters
    ----------
    ground : Ground

    Returns
    -------
    DataFrame
        One row a pass: log_pass, readings, off_m (root mean square of the rises less what the others make of
        them), w (the same in standard deviations), agrees, perhaps (a key of `WRONG_UNIT`, '' if none of them
        explains it). Empty without a log, or where the other readings do not determine the ground.
    """
    columns = ["log_pass", "readings", "off_m", "w", "agrees", "perhaps"]
    setting = ground.setting
    rows = setting.observations
    logged = (rows.table["kind"] == LOGGED).to_numpy()
    drifts = rows.table["kind"].eq("zero error beforehand").to_numpy()
    if not logged.any() or not (rows.table["counts"].to_numpy(dtype=bool) & ~logged & ~drifts).any():
        return pd.DataFrame(columns=columns)
    try:
        rest = fit_rows(setting, keep=~logged)
    except np.linalg.LinAlgError:
        return pd.DataFrame(columns=columns)
    angles = np.array([kind in ("zero", "drift") for kind, _ in rows.names], dtype=bool)
    border = rows.border[logged].multiply(~angles[None, :]).tocsr()
    made = rows.ground[logged] @ rest.state(setting) + border @ rest.border(setting)
    spread = row_variance(rest.posterior.system, rows.ground[logged], border)
    sd = np.sqrt(np.maximum(spread, 0.0) + ground.fitted.posterior.sd[logged] ** 2)
    boards = ground.survey.boards.set_index("reading")
    names = rows.table.loc[logged, "reading"]
    passes = boards.loc[names, "log_pass"].to_numpy()
    length = (boards.loc[names, "to_station_m"] - boards.loc[names, "station_m"]).to_numpy(dtype=float)
    read = rows.value[logged]
    found = []
    for name in dict.fromkeys(passes):
        own = passes == name
        if own.sum() < FEWEST:
            continue

        def off(factor: float, own: np.ndarray = own) -> tuple[float, float]:
            """Return how far a pass is off, its readings multiplied and its zero error taken off."""
            apart, weight = made[own] - factor * read[own], 1.0 / sd[own] ** 2
            lever = np.abs(length[own])
            apart = apart - lever * float((weight * lever) @ apart / ((weight * lever) @ lever))
            return float(np.sqrt(np.mean(apart**2))), float(np.sqrt(np.mean((apart / sd[own]) ** 2)))

        off_m, w = off(1.0)
        agrees, perhaps = w <= CONTRADICTS, ""
        if not agrees:
            left = {kind: off(factor)[1] for kind, factor in WRONG_UNIT.items()}
            best = min(left, key=lambda kind: left[kind])
            perhaps = best if left[best] <= LEFT * w else ""
        found.append((str(name), int(own.sum()), off_m, w, agrees, perhaps))
    return pd.DataFrame(found, columns=columns)
