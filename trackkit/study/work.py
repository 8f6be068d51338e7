"""What every start and spare height comes to, as figures and as a table."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

__all__ = ["ExpectedWork"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class ExpectedWork:
    """What every start and spare height comes to, over the same draws of the ground.

    Attributes
    ----------
    starts : ndarray of int, shape (starts,)
        Tie ends that the line is set from, or obstacles, numbered on from the last tie end.
    spares : ndarray, shape (spares,)
        Spare heights built in [m].
    minutes : ndarray, shape (starts, spares, draws)
        Placing and lifting again, in each draw.
    lifts : ndarray, shape (starts, spares)
        Expected number of times that the line must be lifted.
    lifted, slid : ndarray, shape (starts, spares)
        Expected number of supports lifted again, one as often as it is; of them, those only slid up.
    placing, again : ndarray, shape (starts, spares)
        Expected minutes to place all supports, and to lift some again.
    stays : ndarray, shape (starts, spares)
        Chance that the line stays: nothing has to be lifted.
    too_high : ndarray, shape (starts, spares)
        Chance that a support ends higher than stacks are planned; 0 without pieces by height.
    counted : bool
        Whether there were pieces by height. Without them a spare height costs nothing.
    """

    starts: Ints
    spares: Floats
    minutes: Floats
    lifts: Floats
    lifted: Floats
    slid: Floats
    placing: Floats
    again: Floats
    stays: Floats
    too_high: Floats
    counted: bool

    @property
    def draws(self) -> int:
        """Draws of the ground: a chance p is known to ``sqrt(p (1 - p) / draws)``."""
        return int(self.minutes.shape[2])

    def table(self) -> pd.DataFrame:
        """Return one row a start and spare height.

        Returns
        -------
        DataFrame
            start, spare_m, stays, lifts, lifted_again, slid, placing_min, again_min, minutes,
            minutes_se (standard error of the minutes, from the number of draws), too_high.
        """
        n = len(self.spares)
        mean = self.minutes.mean(axis=2)
        error = self.minutes.std(axis=2, ddof=1) / math.sqrt(self.draws) if self.draws > 1 else mean * np.nan
        columns = {
            "stays": self.stays,
            "lifts": self.lifts,
            "lifted_again": self.lifted,
            "slid": self.slid,
            "placing_min": self.placing,
            "again_min": self.again,
            "minutes": mean,
            "minutes_se": error,
            "too_high": self.too_high,
        }
        frame = pd.DataFrame(
            {"start": np.repeat(self.starts, n), "spare_m": np.tile(self.spares, len(self.starts))}
        )
        return frame.assign(**{name: values.ravel() for name, values in columns.items()})
