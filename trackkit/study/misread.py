"""Rods that were misread by a whole unit without being noticed: what each does to a line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.study.cleared import HARDLY, CauseRow, Cleared
from trackkit.survey.ground import Ground
from trackkit.survey.quality.detectable import influence, limits

__all__ = ["Misread", "misread_rods"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Misread:
    """Each rod misread by each unit, either way: what does not hang on how high the line lies.

    Cases are all rods misread by the first unit, then all by the next one.

    Attributes
    ----------
    reading : array of str, shape (cases,)
        The reading; of an obstacle its label.
    unit : array, shape (cases,)
        [m]
    unnoticed : array, shape (cases,)
        Chance that it passes unnoticed.
    moved : array, shape (rows, cases, 2)
        By how much the line is higher above what it must clear, for more and for less on the rod [m].
    each : float
        Chance that a rod is misread by one of the units.
    """

    reading: NDArray[np.object_]
    unit: Array
    unnoticed: Array
    moved: Array
    each: float

    def told(self, cleared: Cleared) -> tuple[pd.DataFrame, CauseRow]:
        """Return what each rod does to a line, as `trackkit.study.causes.Causes` has it, and a row of all."""
        if not self.unit.size:
            none = pd.DataFrame(columns=["reading", "unit_m", "unnoticed", "at", "effect_m", "touches"])
            return none, CauseRow("misread", 0.0, "", 0.0, 0.0, "", 0.0)
        labels = np.array(cleared.labels, dtype=object)
        cases = cleared.above[:, None, None] + self.moved
        size = np.abs(self.moved[:, :, 0])
        effect, touches = size.max(axis=0), (-cases.min(axis=0) > cleared.touch).mean(axis=1)
        found = pd.DataFrame(
            {
                "reading": self.reading,
                "unit_m": self.unit,
                "unnoticed": self.unnoticed,
                "at": labels[size.argmax(axis=0)],
                "effect_m": effect,
                "touches": touches,
            }
        )
        passes = float(1.0 - np.prod(1.0 - self.each * self.unnoticed))
        touched = float(1.0 - np.prod(1.0 - self.each * self.unnoticed * touches))
        place, lift = "", 0.0
        if touched >= HARDLY:
            one_by_one = cases.reshape(len(labels), -1)
            _, place, lift = cleared.outcome(one_by_one, np.repeat(self.unnoticed, 2))
        most = int((effect * self.unnoticed).argmax())
        at, most_m = str(found["at"].iloc[most]), float(effect[most])
        return found, CauseRow("misread", passes, at, most_m, touched, place, lift)


def misread_rods(ground: Ground, cleared: Cleared, units: Sequence[float], rate: float) -> Misread:
    """Return the rods of a survey, each misread by each unit; and what is cleared that one rod alone tells.

    An obstacle whose height counts as it was read or given was read once: nothing would show that it is
    wrong.

    Parameters
    ----------
    ground : Ground
    cleared : Cleared
    units : sequence of float
        Each as often as the others [m].
    rate : float
        Share of rods that are misread.
    """
    from scipy.special import ndtr

    table = ground.residuals
    rods = np.flatnonzero(table["kind"].astype(str).str.startswith("rod"))  # on pegs and beside the run too
    share = np.maximum(table["redundancy"].to_numpy(dtype=float)[rods], 0.0)
    sd = table["sd_m"].to_numpy(dtype=float)[rods]
    limit = limits(ground)[rods]
    follows = cleared.jacobian @ influence(ground, cleared.points)[rods].T
    shifts = [unit * np.sqrt(share) / sd for unit in units]
    passes = [ndtr(limit - shift) - ndtr(-limit - shift) for shift in shifts]
    given = np.flatnonzero(~cleared.parts.any(axis=1))  # nothing checks them, and nothing else hangs on them
    alone = np.zeros((len(cleared.labels), given.size))
    alone[given, np.arange(given.size)] = 1.0
    follows = np.concatenate([follows, alone], axis=1)
    either = np.stack([follows, -follows], axis=2)
    names = [*table["reading"].to_numpy(dtype=object)[rods], *(cleared.labels[i] for i in given)]
    return Misread(
        reading=np.tile(np.array(names, dtype=object), len(units)),
        unit=np.repeat(np.asarray(units, dtype=float), len(names)),
        unnoticed=np.concatenate([np.append(own, np.ones(given.size)) for own in passes]),
        moved=np.concatenate([unit * either for unit in units], axis=1),
        each=rate / len(units),
    )
