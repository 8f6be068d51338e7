"""Who reads high, by how much, and how far each reader's rods scatter. Nothing of it is applied to the fit.

Each reader of the column ``reader`` in levels.csv gets an offset of their own, which all their rods share,
and a spread of their own. Offsets show only where two readers read the same points from the same laser
position, or in a ring of such; else they cannot be told from heights.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.alone import Alone
from trackkit.survey.quality.overall import SURE, alone_of, factor_limits
from trackkit.survey.quality.spread import spreads

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["UNNAMED", "Readers", "compare_readers"]

Array = NDArray[np.float64]

#: What readings without a reader are called where others have one.
UNNAMED: Final = "(no name)"
#: Shares of an offset's weight below it come from rounding: the offset is not determined.
_NOTHING: Final = 1e-5


@dataclass(frozen=True)
class Readers:
    """What was found of the readers.

    Attributes
    ----------
    table : DataFrame
        One row a reader, in the order of the table: reader, readings, with_whom (readers this one can be
        compared with, itself included), bias_m (read too much, against the plain mean of ``with_whom``; NaN
        if there is nobody to compare with), sd_m, t, verdict ('reads high', 'reads low', 'like the others' or
        'cannot be told'), checks (how many times over this one's rods are checked), sigma_m (their standard
        deviation; NaN below `trackkit.survey.estimating.LEAST_CHECKS` checks: too few to say), sigma_low_m,
        sigma_high_m (19 times in 20).
    readings, checks : int, float
        Of all rods that count here, and how many times over they are checked once offsets are found.
    sigma_m, sigma_low_m, sigma_high_m : float
        The crew's own standard deviation of a rod, whoever read it, offsets taken off; NaN below as few
        checks.
    scaled : bool
        Whether ``sd_m`` and ``t`` stand on the scatter that was found (Student's t) rather than on what was
        stated.
    apart : tuple of str
        What cannot be told, in words.
    """

    table: pd.DataFrame
    readings: int
    checks: float
    sigma_m: float
    sigma_low_m: float
    sigma_high_m: float
    scaled: bool
    apart: tuple[str, ...]


def compare_readers(ground: Ground, *, without: Collection[str] = ()) -> Readers:
    """Return who reads high and by how much, and the spread that this crew has.

    From the readings alone, every read point free, with one offset a reader whose sum is zero among those who
    can be compared. "Reads high" means that chance explains it in less than 1 survey of 20, all readers
    together (Bonferroni). Reading high is a larger rod reading: lower ground.

    Parameters
    ----------
    ground : Ground
    without : collection of str
        Readings that are left out of it, such as those in doubt.

    Returns
    -------
    Readers
        Its table is empty where fewer than two readers are named.
    """
    levels = ground.survey.levels.drop_duplicates("reading").set_index("reading")["reader"]
    crew = list(dict.fromkeys(levels[levels != ""]))
    if len(crew) < 2:
        nan = float("nan")
        return Readers(_table([]), len(levels), 0.0, nan, nan, nan, False, ())
    alone = alone_of(ground, without)
    named = alone.table["reading"].map(levels).fillna("").to_numpy(dtype=object)
    rod = alone.table["kind"].astype(str).str.startswith("rod").to_numpy()
    who = np.where(rod & (named == ""), UNNAMED, named)
    crew += [UNNAMED] if (who[rod] == UNNAMED).any() else []
    number = {name: index for index, name in enumerate(crew)}
    of_row = np.array(
        [number[name] if own else -1 for name, own in zip(who, rod, strict=True)], dtype=np.intp
    )
    crew_of = (of_row[:, None] == np.arange(len(crew))).astype(float)
    freed = alone.with_unknowns(crew_of)
    unit = ground.instruments.rod_sd
    pooled = spreads(freed, np.where(rod, 0, -1), 1)
    factor = float(pooled.factor[0])
    scaled = factor == factor
    fit = alone.with_sd(pooled.fit.model.sd)
    dof = float(pooled.dof[0]) if scaled else np.inf
    bias, sd, groups = _offsets(fit, crew_of)
    own = spreads(freed, of_row, len(crew))
    # two readers are one comparison: each is off their mean by the same
    size = sum(len(mates) - (len(mates) == 2) for mates in set(groups) if len(mates) > 1)
    rows = []
    for index, name in enumerate(crew):
        mates = tuple(crew[other] for other in groups[index])
        t, verdict = (
            _judged(bias[index], sd[index], dof, max(size, 1))
            if len(mates) > 1
            else (np.nan, "cannot be told")
        )
        found = float(own.factor[index])
        low, high = (np.nan, np.nan)
        if found == found:
            low, high = factor_limits(found * unit, float(own.dof[index]))
        count = int((of_row == index).sum())
        rows.append(
            (
                name,
                count,
                mates,
                bias[index],
                sd[index],
                t,
                verdict,
                float(own.checks[index]),
                found * unit,
                low,
                high,
            )
        )
    low, high = factor_limits(factor * unit, dof) if scaled else (np.nan, np.nan)
    return Readers(
        _table(rows),
        int(rod.sum()),
        float(pooled.checks[0]),
        factor * unit,
        low,
        high,
        scaled,
        _apart(crew, groups),
    )


def _table(rows: Sequence[tuple[object, ...]]) -> pd.DataFrame:
    columns = ["reader", "readings", "with_whom", "bias_m", "sd_m", "t", "verdict", "checks"]
    return pd.DataFrame(rows, columns=[*columns, "sigma_m", "sigma_low_m", "sigma_high_m"])


def _offsets(fit: Alone, crew_of: Array) -> tuple[Array, Array, list[tuple[int, ...]]]:
    """Return offsets against the mean of those who can be compared, their sds, and who can be.

    The weight matrix of the offsets, heights eliminated, is that of a network of readers: what lies in its
    null space cannot be told.
    """
    weight = fit.model.weight[:, None]
    left = weight * fit.unexplained(crew_of)
    matrix = crew_of.T @ left
    right = left.T @ fit.model.value
    scale = np.sqrt(crew_of.T @ weight)[:, 0]
    scale = np.where(scale > 0, scale, 1.0)
    values, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    there = values > _NOTHING
    null = vectors[:, ~there] / scale[:, None]
    # readers can be compared where every null vector moves both alike
    null = null / np.maximum(np.abs(null).max(axis=0, initial=0.0), 1e-300)
    alike = np.abs(null[:, None, :] - null[None, :, :]).max(axis=2, initial=0.0) < 1e-3
    groups = [tuple(int(other) for other in np.flatnonzero(row)) for row in alike]
    inverse = (vectors[:, there] / values[there]) @ vectors[:, there].T / np.outer(scale, scale)
    found = inverse @ right
    bias, sd = np.full(len(groups), np.nan), np.full(len(groups), np.nan)
    for index, mates in enumerate(groups):
        if len(mates) > 1:
            contrast = np.zeros(len(groups))
            contrast[list(mates)] = -1.0 / len(mates)
            contrast[index] += 1.0
            bias[index], sd[index] = contrast @ found, np.sqrt(contrast @ inverse @ contrast)
    return bias, sd, groups


def _judged(bias: float, sd: float, dof: float, readers: int) -> tuple[float, str]:
    from scipy.special import ndtri, stdtrit

    share = 1.0 - (1.0 - SURE) / (2.0 * readers)
    limit = float(stdtrit(dof, share)) if np.isfinite(dof) else float(ndtri(share))
    t = float(bias / sd)
    return t, "like the others" if abs(t) <= limit else "reads high" if t > 0 else "reads low"


def _apart(crew: list[str], groups: list[tuple[int, ...]]) -> tuple[str, ...]:
    distinct = list(dict.fromkeys(groups))
    if len(distinct) < 2:
        return ()
    sides = " from ".join(" and ".join(crew[index] for index in mates) for mates in distinct)
    return (
        f"cannot be told apart: {sides}; they share no point from one laser position, so that what one "
        "reads high looks like a higher laser, or lower ground",
    )
