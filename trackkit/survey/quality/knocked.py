"""A laser that was knocked: from some reading on, all that was read from its position is off by the same.

Each position is tried with its readings, in the order of the table, split in two at every row: if a height of
their own for the later ones makes all readings agree far better, better too than taking any single reading
for misread, the laser is said to have been knocked there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.alone import Alone
from trackkit.survey.estimating import LEAST_CHECKS
from trackkit.survey.quality.overall import SURE, alone_of

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["knocked_lasers"]

Array = NDArray[np.float64]

#: So many readings that others check must lie on either side of a split: one alone is a misreading.
LEAST_EACH: Final = 2
#: A split must explain so much more of chi-square than the best single misreading does: 20 times as likely.
BEYOND_MISREAD: Final = 2.0 * float(np.log(20.0))
#: Splits whose chi-square comes within this of the best one's may be where it was (95 % of chi-square with
#: one degree of freedom; simulated: of knocks of 2 to 4 sds of a rod that were found, 9 in 10 lay there).
NEAR_BEST: Final = 3.84
_CHECKED: Final = 1e-3
_NOT_TOLD: Final = 1e-3


def knocked_lasers(ground: Ground) -> pd.DataFrame:
    """Return laser positions whose laser seems to have been moved between two readings.

    From the readings alone, every read point free. It takes the rows of a position to stand in the order they
    were read, and one knock in all. In 1 survey of 20 without one at most, chance looks like one; where ten
    or more checks say that the readings scatter more than stated, that is allowed for.

    Parameters
    ----------
    ground : Ground

    Returns
    -------
    DataFrame
        Empty if nothing speaks for a knock. One row a laser position that explains it, the best first (more
        than one where readings do not tell which): laser, after, before (readings between which it happened,
        as close as can be told), jump_m (how much higher the line of sight was afterwards), sd_m, chi2 (by
        how much a split there brings it down), chance (how often chance does as much somewhere in a survey).
    """
    alone = alone_of(ground)
    columns = ["laser", "after", "before", "jump_m", "sd_m", "chi2", "chance"]
    none = pd.DataFrame(columns=columns)
    tried = _splits(ground, alone)
    if not tried or alone.dof < 2:
        return none
    gains = np.concatenate([one[2] for one in tried])
    largest = float(gains.max())
    rod = alone.table["kind"].astype(str).str.startswith("rod").to_numpy() & (alone.redundancy > _CHECKED)
    score = (alone.residual / alone.model.sd)[rod] ** 2 / alone.redundancy[rod]
    if largest < float(score.max()) + BEYOND_MISREAD:
        return none
    spare = alone.dof - 1
    scatter = max(1.0, (alone.chi2 - largest) / spare) if spare >= LEAST_CHECKS else 1.0
    chance = min(1.0, gains.size * _chance(largest, scatter, spare))
    if chance > 1.0 - SURE:
        return none
    rows = []
    for laser, names, gain, jump, sd in tried:
        near = np.flatnonzero(gain >= largest - NEAR_BEST * scatter)
        if near.size:
            best = int(near[np.argmax(gain[near])])
            first, last = int(near.min()), int(near.max())
            rows.append(
                (
                    laser,
                    names[first],
                    names[last + 1],
                    jump[best],
                    sd[best] * scatter**0.5,
                    gain[best],
                    chance,
                )
            )
    return pd.DataFrame(rows, columns=columns).sort_values("chi2", ascending=False, ignore_index=True)


def _chance(gain: float, scatter: float, spare: int) -> float:
    from scipy.special import chdtrc, fdtrc

    plain = float(chdtrc(1, gain))
    return plain if scatter == 1.0 else max(plain, float(fdtrc(1, spare, gain / scatter)))


def _splits(ground: Ground, alone: Alone) -> list[tuple[str, list[str], Array, Array, Array]]:
    """Return for each laser position its readings in order, and what a split after each but the last does.

    By how much it brings chi-square down (0 where it cannot be told), the jump, and its standard deviation.
    """
    order = {name: place for place, name in enumerate(ground.survey.levels["reading"])}
    table = alone.table
    rods = table["kind"].astype(str).str.startswith("rod").to_numpy()
    found = []
    lasers = table["instrument"].to_numpy(dtype=object)
    weight = alone.model.weight
    for laser in dict.fromkeys(lasers[rods]):
        own = np.flatnonzero(rods & (lasers == laser))
        own = own[np.argsort([order.get(name, -1) for name in table["reading"].iloc[own]], kind="stable")]
        if own.size < 2 * LEAST_EACH:
            continue
        single = np.zeros((len(table), own.size))
        single[own, np.arange(own.size)] = 1.0
        left = weight[own, None] * alone.unexplained(single)[own]
        # sums over all readings after each one
        after = np.cumsum(left[::-1, ::-1], axis=0).cumsum(axis=1)[::-1, ::-1]
        information = np.diag(after)[1:]
        score = np.cumsum((-weight[own] * alone.residual[own])[::-1])[::-1][1:]
        checked = alone.redundancy[own] > _CHECKED
        before = np.cumsum(checked)[:-1]
        told = (before >= LEAST_EACH) & (checked.sum() - before >= LEAST_EACH)
        told &= information > _NOT_TOLD * float(np.median(weight))
        safe = np.where(told, information, 1.0)
        gain = np.where(told, score**2 / safe, 0.0)
        names = [str(name) for name in table["reading"].iloc[own]]
        if told.any():
            found.append((str(laser), names, gain, score / safe, safe**-0.5))
    return found
