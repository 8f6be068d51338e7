"""How rough the ground is: estimated from the readings by penalised restricted likelihood.

Restricted, because level, slope and laser heights are integrated out; penalised, because a dozen
readings say little of roughness, so that weak beliefs must hold it within reason.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.banded import band_quadratic, band_trace
from trackkit.survey.posterior import LinearModel
from trackkit.survey.prior import GroundType, PriorBands, prior_weights
from trackkit.units import DISPLAYS, LENGTH_UNITS, Display

__all__ = ["BELIEFS", "Belief", "Roughness", "estimate_roughness", "unlikelihood"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Belief:
    """Normal distribution of the natural logarithm of a roughness before any reading."""

    centre: float
    spread: float


#: Weak beliefs, all guesses that were tried on six kinds of simulated ground.
BELIEFS: Final[Mapping[str, Belief]] = {
    "q_mean": Belief(math.log(1e-5), 3.0),
    "q_twist": Belief(math.log(1e-5 / 4.0), 3.0),
    "relief": Belief(math.log(3e-4), 2.0),
}

#: Where roughness is looked for: no smaller than what no reading could tell from none, no larger
#: than any ground that track is laid on.
RANGE: Final[Mapping[str, tuple[float, float]]] = {
    "q_mean": (1e-11, 1.0),
    "q_twist": (1e-11, 1.0),
    "relief": (1e-5, 0.1),
}
#: A search is over after so many trials in a row that gain less than this share of the log likelihood:
#: beyond some thousand readings, rounding leaves it no slope as flat as a search would like.
IDLE, GAIN = 8, 1e-8
#: Estimated q is at least this times the floor, so that rough relief leaves digits enough.
ABOVE_FLOOR = 100.0


@dataclass(frozen=True)
class Roughness:
    """Roughness used in a fit, and where it came from.

    Attributes
    ----------
    q_mean, q_twist : float
        [m^2 / m^3], see ``prior.py``.
    relief : float
        [m].
    estimated : tuple of str
        Which of the three were estimated from the readings; the others were stated.
    raised : tuple of str
        Which were raised to the smallest q that the arithmetic bears.
    """

    q_mean: float
    q_twist: float
    relief: float
    estimated: tuple[str, ...]
    raised: tuple[str, ...] = ()

    def held(self, floor: float) -> Roughness:
        """Return the roughness with q no smaller than a floor, below which digits run out."""
        low = tuple(name for name in ("q_mean", "q_twist") if getattr(self, name) < floor)
        if not low:
            return self
        return Roughness(
            max(self.q_mean, floor), max(self.q_twist, floor), self.relief, self.estimated, self.raised + low
        )

    @property
    def weights(self) -> Array:
        """The prior's weights."""
        return prior_weights(self.q_mean, self.q_twist, self.relief)

    def words(self, display: Display = DISPLAYS["mm"], *, rail: bool = False) -> str:
        """Return a sentence on the roughness, ``rail`` where it is the track's."""
        over = 4 * LENGTH_UNITS["ft"] if display.unit == "in" else 1.0
        length = "4 ft" if display.unit == "in" else "1 m"
        wander = math.sqrt(self.q_mean * over**3 / 3.0)
        stones = "hardly any kinks" if rail else "hardly any stones or tussocks"
        if self.relief >= display.step / 2:
            what = "kinks and hanging ties" if rail else "stones and tussocks"
            stones = f"{what} of about {display.small_unit(self.relief)}"
        how = "estimated from the readings" if self.estimated else "as stated in the job"
        if self.estimated and len(self.estimated) < 3:
            how = "partly stated in the job, partly estimated from the readings"
        floor = "; the smoothest that the arithmetic bears at this spacing" if self.raised else ""
        away = (
            f"about {display.small_unit(wander)}"
            if wander >= display.step / 2
            else f"less than {_least(display)}"
        )
        return f"it wanders {away} from straight over {length}, with {stones} ({how}{floor})"


def _least(display: Display) -> str:
    """Return the least that a display can show."""
    return display.small_unit(display.step)


def estimate_roughness(
    model: LinearModel,
    prior: PriorBands,
    stated: GroundType,
    *,
    sides: int,
    floor: float,
    near: Roughness | None = None,
) -> Roughness:
    """Return the roughness: what is stated, and the rest by penalised restricted likelihood.

    The result is what is used: q held above the floor, and a word on it where that was needed.

    Parameters
    ----------
    model : LinearModel
        Readings, with straight lines and laser heights already taken off.
    prior : PriorBands
    stated : GroundType
        Values that are not None are kept.
    sides : int
        Number of sides that are read; with one there is no twist to estimate.
    floor : float
        Smallest q [m^2 / m^3].
    near : Roughness, optional
        Where to look first, such as the roughness of nearly the same readings; it spares time.
    """
    values = {name: getattr(stated, name) for name in BELIEFS}
    free = tuple(name for name in BELIEFS if values[name] is None)
    if sides < 2 and "q_twist" in free:
        free = tuple(name for name in free if name != "q_twist")
        values["q_twist"] = math.exp(BELIEFS["q_twist"].centre)
    if not free:
        return Roughness(**values, estimated=()).held(floor)

    def roughness(logs: Array) -> Roughness:
        found = values | {name: float(np.exp(log)) for name, log in zip(free, logs, strict=True)}
        return Roughness(**found, estimated=free).held(floor)

    def target(logs: Array) -> tuple[float, Array]:
        held = np.clip(logs, lowest, highest)
        value, by_log = _restricted(model, prior, roughness(held))
        away, pull = _away(free, held)
        gradient = np.array([by_log[name] for name in free]) + pull
        return value + away, np.where(held == logs, gradient, 0.0)

    least = {"q_mean": ABOVE_FLOOR * floor, "q_twist": ABOVE_FLOOR * floor, "relief": 0.0}
    lowest = np.log([max(RANGE[name][0], least[name]) for name in free])
    highest = np.log([RANGE[name][1] for name in free])
    looked = [BELIEFS[name].centre if near is None else math.log(getattr(near, name)) for name in free]
    start = np.array(looked)
    for _ in range(len(free) + 1):
        found = _lowest(target, np.clip(start, lowest, highest))
        start = np.clip(found, lowest, highest)
        if (start == found).all():
            break
        slope = target(start)[1]
        if not (((start == lowest) & (slope < 0)) | ((start == highest) & (slope > 0))).any():
            break  # else a step went too far out, and on level ground nothing leads back
    best = roughness(start)
    bound = [
        name for name in free if RANGE[name][0] < least[name] and getattr(best, name) < 1.01 * least[name]
    ]
    return replace(best, raised=(*best.raised, *bound))


def unlikelihood(
    model: LinearModel, prior: PriorBands, here: Roughness, believed: Sequence[str] = tuple(BELIEFS)
) -> float:
    """Return how unlikely a roughness is: what the estimate makes least, up to a constant.

    Minus the logarithm of the restricted likelihood and of the beliefs.

    Parameters
    ----------
    model : LinearModel
    prior : PriorBands
    here : Roughness
    believed : sequence of str
        Which of the three, all above 0 then, the weak beliefs are to count for.
    """
    logs = np.log([getattr(here, name) for name in believed])
    return _restricted(model, prior, here)[0] + _away(believed, logs)[0]


def _away(names: Sequence[str], logs: Array) -> tuple[float, Array]:
    """Return minus the logarithm of the beliefs at these logarithms, up to a constant, and its gradient."""
    spreads = np.array([BELIEFS[name].spread for name in names])
    away = (logs - np.array([BELIEFS[name].centre for name in names])) / spreads
    return 0.5 * float(away @ away), away / spreads


class _SettledError(Exception):
    """Ends a search that gains no more."""


def _lowest(target: Callable[[Array], tuple[float, Array]], start: Array) -> Array:
    """Return where a function, given with its gradient, is lowest near a start.

    By BFGS, and level ground beyond the range: scipy's L-BFGS-B was seen to give NaN once in many runs.
    """
    from scipy.optimize import minimize

    best, at, idle = math.inf, start, 0

    def watched(place: Array) -> tuple[float, Array]:
        nonlocal best, at, idle
        value, gradient = target(place)
        idle = 0 if value < best - GAIN * abs(value) else idle + 1
        if value < best:
            best, at = value, place.copy()
        if idle >= IDLE:
            raise _SettledError
        return value, gradient

    try:
        return np.asarray(minimize(watched, start, jac=True, method="BFGS", options={"gtol": 1e-3}).x)
    except _SettledError:
        return at


def _restricted(model: LinearModel, prior: PriorBands, here: Roughness) -> tuple[float, dict[str, float]]:
    """Return minus the log restricted likelihood (up to a constant) and its gradient in the logs."""
    weights = here.weights
    system, state, unknown = model.solve(prior.combine(weights))
    residual = model.residual(state, unknown)
    used = prior.ranks > 0
    bends = np.array([band_quadratic(band, state) for band in prior.bands])
    traces = np.array([band_trace(band, system.inverse_band) for band in prior.bands])
    value = 0.5 * (
        system.log_determinant
        - float(prior.ranks[used] @ np.log(weights[used]))
        + float(residual**2 @ model.weight)
        + float(weights @ bends)
    )
    by_weight = 0.5 * (traces + bends)
    by_weight[used] -= 0.5 * prior.ranks[used] / weights[used]
    mean, twist, single, relief = weights
    return value, {
        "q_mean": -mean * by_weight[0] - single**2 * here.q_mean * by_weight[2],
        "q_twist": -twist * by_weight[1] - single**2 * here.q_twist / 4.0 * by_weight[2],
        "relief": -2.0 * relief * by_weight[3],
    }
