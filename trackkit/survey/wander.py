"""The zero error of a pass of a log: its own, near its instrument's, and wandering as the pass goes on.

A long pass is no better than its zero. Were that one constant, a thousand readings would fix the height
difference of the two ends far too well; a random walk, straight between knots along the pass, carries the
doubt that grows with the length into every height.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.instruments import Instruments
from trackkit.survey.rows import Rows

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["KNOTS", "add_wander", "wander_of"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Most stretches between knots in a pass, and least readings to one (choices). What a random walk does
#: between knots adds less than 1 / (2 KNOTS^2) to the variance of the height difference of the ends.
KNOTS: Final = 16
_READINGS: Final = 4


def add_wander(
    rows: Rows, logs: pd.DataFrame, zeros: pd.Series[str], instruments: Instruments
) -> list[tuple[Indices, Array]]:
    """Return what the zero errors of passes add to readings; add rows of what is known beforehand.

    Parameters
    ----------
    rows : Rows
        Takes the rows of what is known beforehand.
    logs : DataFrame
        Readings of passes: log_pass, walked_m, clock_s.
    zeros : Series
        The instrument of each.
    instruments : Instruments

    Returns
    -------
    list of (columns, coefficients)
        Each reading's zero error is the sum of coefficients times unknowns [rad].
    """
    before, after = np.zeros((2, len(logs)), dtype=np.intp)
    share = np.zeros(len(logs))
    for name, own in logs.groupby("log_pass", sort=False):
        where = logs.index.get_indexer(own.index)
        timed = own["clock_s"].notna().all()
        at = own["clock_s" if timed else "walked_m"].to_numpy(dtype=float)
        sd = instruments.drift_sd_s if timed else instruments.drift_sd
        knots = _knots(at)
        columns = rows.unknown("drift", pd.Series([f"{name}, {i}" for i in range(knots.size)]))
        place = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, max(knots.size - 2, 0))
        step = np.diff(knots, append=knots[-1] + 1.0)[place]
        before[where], after[where] = columns[place], columns[np.minimum(place + 1, knots.size - 1)]
        share[where] = (at - knots[place]) / step
        zero = rows.unknown("zero", pd.Series([zeros.loc[own.index[0]]]))
        _known(rows, columns, zero, np.diff(knots), sd, instruments.pass_zero_sd)
    return [(before, 1.0 - share), (after, share)]


def _knots(at: Array) -> Array:
    parts = int(np.clip(at.size // _READINGS, 1, KNOTS))
    low, high = float(at.min()), float(at.max())
    return np.linspace(low, high, parts + 1) if high > low else np.array([low])


def _known(rows: Rows, columns: Indices, zero: Indices, steps: Array, sd: float, first: float) -> None:
    one, none = np.ones(1), np.zeros(1)
    labels = {"kind": "zero error beforehand", "counts": False}
    rows.add(none, np.array([first]), [], [(columns[:1], one), (zero, -one)], **labels)
    if steps.size:
        one, spread = np.ones(steps.size), sd * np.sqrt(steps)
        rows.add(0.0 * one, spread, [], [(columns[1:], one), (columns[:-1], -one)], **labels)


def wander_of(ground: Ground) -> pd.DataFrame:
    """Return the zero errors along the passes of the logs as the fit has them.

    Returns
    -------
    DataFrame
        One row a knot: log_pass, knot, zero_rad, sd_rad.
    """
    found = ground.drifts
    parts = [str(name).rsplit(", ", 1) for name in found["drift"]]
    return pd.DataFrame(
        {
            "log_pass": [part[0] for part in parts],
            "knot": [int(part[1]) for part in parts],
            "zero_rad": found["zero_rad"],
            "sd_rad": found["sd_rad"],
        }
    )
