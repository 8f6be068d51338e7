"""How much the zero wanders, from two passes over the same ground with the phone turned end for end.

Half the difference of the two, place by place, is free of the ground: it is the mean of the two zero
errors plus noise. Its steps from window to window are a random walk's steps plus differenced noise. At equal
spacing their covariance is diagonal in sines, so the likelihood of any drift costs no more than the data:
the k-th has the variance q h + 2 v (1 - cos(pi k / (n + 1))), for n steps (eigenvalues of the second
difference: G. D. Smith, "Numerical solution of partial differential equations"; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.boards import DEFAULT_PHONE
from trackkit.survey.instruments import Instruments

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["Wander", "estimate_drift", "wander_found"]

Array = NDArray[np.float64]

#: Two times the log likelihood by which another drift must do better to be told: chance of 1 % (chi-squared).
TOLD: Final = 6.63
#: Fewer steps say too little of a drift (a choice).
LEAST: Final = 20


@dataclass(frozen=True)
class Wander:
    """What two passes say of the drift of their zero.

    Attributes
    ----------
    passes : tuple of str
        Their names.
    key : str
        The key of the job file that states the drift: ``drift_sd`` or ``drift_sd_s``.
    stated, found : float
        Standard deviation over 1 m or 1 s, as it was stated and as it is likeliest [rad].
    contradicts : bool
        Whether chance explains the difference less than once in a hundred times.
    """

    passes: tuple[str, str]
    key: str
    stated: float
    found: float
    contradicts: bool


def estimate_drift(half: Array, step: float, noise: float) -> tuple[float, float, float]:
    """Return the likeliest variance of a random walk per unit, its likelihood, and that of the noise.

    Parameters
    ----------
    half : array, shape (n,)
        The walk plus white noise, at equal steps.
    step : float
        How far it is from one to the next.
    noise : float
        Standard deviation of the white noise where to begin; it is found too.

    Returns
    -------
    variance, likelihood, white : float
    """
    from scipy.optimize import minimize

    power, shape = _sines(half)
    scale = float(np.mean(power))

    def unlikely(logs: Array) -> float:
        return -_likelihood(power, shape, float(np.exp(logs[0])) * step, float(np.exp(logs[1])))

    begin = [np.log(0.1 * scale / step), np.log(max(noise**2, 1e-3 * scale))]
    found = minimize(unlikely, begin, method="Nelder-Mead", options={"xatol": 1e-4, "fatol": 1e-6})
    return float(np.exp(found.x[0])), -float(found.fun), float(np.exp(found.x[1]))


def _sines(half: Array) -> tuple[Array, Array]:
    """Return the squared sine transform of the steps, and what white noise gives to each."""
    from scipy.fft import dst

    steps = np.diff(half)
    k = np.arange(1, steps.size + 1)
    return dst(steps, type=1, norm="ortho") ** 2, 2.0 * (1.0 - np.cos(np.pi * k / (steps.size + 1)))


def _likelihood(power: Array, shape: Array, walk: float, white: float) -> float:
    """Return twice the log likelihood but for a constant."""
    variance = np.maximum(walk + white * shape, 1e-30)
    return -float(np.sum(np.log(variance) + power / variance))


def _best_white(power: Array, shape: Array, walk: float) -> float:
    """Return twice the log likelihood of a stated walk with the white noise that suits it best."""
    from scipy.optimize import minimize_scalar

    scale = float(np.mean(power))
    found = minimize_scalar(
        lambda log: -_likelihood(power, shape, walk, float(np.exp(log))),
        bounds=(np.log(1e-6 * scale), np.log(10.0 * scale)),
        method="bounded",
    )
    return -float(found.fun)


def wander_found(ground: Ground) -> list[Wander]:
    """Return what each pair of passes, read both ways over the same stretch, says of the drift.

    Pairs have one side and instrument, opposite facings, and windows on one row of stations over at least
    `LEAST` of them.
    """
    boards = ground.survey.boards
    logs = boards[boards["log_pass"] != ""]
    found = []
    passes = [own for _, own in logs.groupby("log_pass", sort=False)]
    for one, other in combinations(passes, 2):
        if one["facing"].iloc[0] == other["facing"].iloc[0]:
            continue
        names = [own["instrument"].iloc[0] or DEFAULT_PHONE for own in (one, other)]
        if names[0] == names[1] and one["side"].iloc[0] == other["side"].iloc[0]:
            pair = _of_pair(one, other, ground.instruments)
            found += [pair] if pair is not None else []
    return found


def _longest_run(both: pd.DataFrame) -> pd.DataFrame:
    """Return the longest stretch of rows that lie at equal distances."""
    gap = np.diff(both["station_m"])
    if not gap.size:
        return both
    ends = np.concatenate([[0], np.flatnonzero(gap > 1.5 * np.median(gap)) + 1, [len(both)]])
    longest = int(np.argmax(np.diff(ends)))
    return both.iloc[ends[longest] : ends[longest + 1]]


def _of_pair(one: pd.DataFrame, other: pd.DataFrame, instruments: Instruments) -> Wander | None:
    timed = bool(one["clock_s"].notna().all() and other["clock_s"].notna().all())
    column, key = ("clock_s", "drift_sd_s") if timed else ("walked_m", "drift_sd")
    both = one.merge(other, on=["station_m", "to_station_m"], suffixes=("", "_b")).sort_values("station_m")
    both = _longest_run(both)
    if len(both) <= LEAST:
        return None
    sign = 1.0 if one["facing"].iloc[0] == "ahead" else -1.0
    half = sign * (both["angle_rad"] - both["angle_rad_b"]).to_numpy() / 2.0
    # two walks, each with a quarter of its variance in the mean of both
    steps = (np.abs(np.diff(both[column])) + np.abs(np.diff(both[column + "_b"]))) / 4.0
    step = float(np.mean(steps))
    noises = (both["sd_rad"] ** 2 + both["sd_rad_b"] ** 2).dropna()  # none where stations were not averaged
    noise = float(np.sqrt(noises.mean())) / 2.0 if len(noises) else 0.0
    if not step > 0:
        return None
    stated = float(getattr(instruments, key))
    variance, best, _ = estimate_drift(half, step, noise if np.isfinite(noise) else 0.0)
    as_stated = _best_white(*_sines(half), stated**2 * step)
    names = (str(one["log_pass"].iloc[0]), str(other["log_pass"].iloc[0]))
    return Wander(names, key, stated, float(np.sqrt(variance)), best - as_stated > TOLD)
