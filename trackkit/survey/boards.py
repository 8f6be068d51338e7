"""Boards, left-to-rights and logs of a phone as linear rows; signs as in ``observe.py``."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.instruments import Instruments
from trackkit.survey.rows import Rows
from trackkit.survey.terms import labels_of, or_default, surface_terms
from trackkit.survey.wander import add_wander

__all__ = ["DEFAULT_PHONE", "LOGGED", "add_boards", "add_crosslevels"]

Array = NDArray[np.float64]

#: Name of the angle instrument where a table gives none: one phone for all tables.
DEFAULT_PHONE = "phone"
#: Kind of the readings that a log was thinned to.
LOGGED = "phone log"


def _phones(
    rows: Rows, frame: pd.DataFrame, by_angle: NDArray[np.bool_]
) -> tuple[pd.Series[str], NDArray[np.intp]]:
    names = frame["instrument"].where(frame["instrument"] != "", DEFAULT_PHONE)
    columns = np.full(len(frame), -1, dtype=np.intp)
    if by_angle.any():
        columns[by_angle] = rows.unknown("zero", names[by_angle])
    return names, columns


def _risen(
    rows: Rows, frame: pd.DataFrame, length: Array, instruments: Instruments
) -> tuple[Array, Array, list[tuple[NDArray[np.intp], Array]], pd.Series[str]]:
    """Return rises over boards of that length, their sds, and the zero errors in them."""
    angle = frame["angle_rad"].to_numpy(dtype=float)
    by_angle = np.isfinite(angle)
    names, zeros = _phones(rows, frame, by_angle)
    lever = length / np.cos(np.where(by_angle, angle, 0.0)) ** 2
    stated = names.map(dict(instruments.angle_sds)).astype(float)
    own = or_default(frame["sd_rad"], or_default(stated, instruments.angle_sd))
    taped = or_default(frame["sd_m"], instruments.tape_sd)
    value = np.where(by_angle, length * np.tan(np.where(by_angle, angle, 0.0)), frame["rise_m"])
    sd = np.where(by_angle, lever * own, np.hypot(taped, length * instruments.bubble_sd))
    sign = np.where(frame["facing"] == "back", -1.0, 1.0)
    return value.astype(float), sd, [(zeros, sign * lever)], names


def add_boards(rows: Rows, boards: pd.DataFrame, instruments: Instruments) -> None:
    """Add boards laid by hand, and readings of logs; the zero error of these wanders."""
    logged = boards["log_pass"] != ""
    _add(rows, boards[~logged], instruments, "board")
    _add(rows, boards[logged], instruments, LOGGED)


def _add(rows: Rows, boards: pd.DataFrame, instruments: Instruments, kind: str) -> None:
    if not len(boards):
        return
    length = np.abs(np.asarray(boards["to_station_m"] - boards["station_m"], dtype=float))
    value, sd, zeros, names = _risen(rows, boards, length, instruments)
    # a log's mean is over many places of the feet: stones average out, and what they do is in its noise
    what = "surface" if kind == "board" else "smooth"
    near, _ = surface_terms(rows.grid, boards["station_m"], boards["side"], what)
    far, _ = surface_terms(rows.grid, boards["to_station_m"], boards["side"], what)
    if kind == LOGGED:
        (_, lever), *_ = zeros
        zeros = [(at, lever * share) for at, share in add_wander(rows, boards, names, instruments)]
    labels = labels_of(boards, kind, instrument=names.to_numpy(), side=boards["side"].to_numpy())
    labels |= {"station_m": boards["station_m"].to_numpy(), "to_station_m": boards["to_station_m"].to_numpy()}
    rows.add(value, sd, far + [(c, -share) for c, share in near], zeros, **labels)


def add_crosslevels(rows: Rows, cross: pd.DataFrame, instruments: Instruments, width: float) -> None:
    """Add left-to-rights."""
    if not len(cross):
        return
    value, sd, zeros, names = _risen(rows, cross, np.full(len(cross), width), instruments)
    left, _ = surface_terms(rows.grid, cross["station_m"], pd.Series("left", cross.index))
    right, _ = surface_terms(rows.grid, cross["station_m"], pd.Series("right", cross.index))
    labels = labels_of(
        cross, "left-to-right", instrument=names.to_numpy(), station_m=cross["station_m"].to_numpy()
    )
    rows.add(value, sd, right + [(c, -share) for c, share in left], zeros, **labels)
