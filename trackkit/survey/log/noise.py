"""How noisy a log is over distance: what averaging over a window is worth when errors hang together.

The mean of n rows is not sqrt(n) times better than one: rows that lie close share most of their error.
What counts is the noise at low frequency, S0 = the sum of the autocovariance over all distances [rad^2
m], twice the variance times the integrated autocorrelation length (A. Sokal, "Monte Carlo methods in
statistical mechanics: foundations and new algorithms", 1989/1996; H. Flyvbjerg and H. G. Petersen,
"Error estimates on averages of correlated data", J. Chem. Phys. 91, 1989, 461-466; both from memory). A
mean over the length w has the variance S0 / w, and neighbouring windows may then be taken as
independent: their sum comes out right, however far the errors reach.

The ground is in the log too. A board of length L hardly sees what is shorter than itself, so the noise
is judged by what is: white noise and first-order autoregressive noise are fitted to the periodogram
above three quarters of a cycle a board, by the likelihood of P. Whittle ("Estimation and information in
stationary time series", Arkiv för Matematik 2, 1953, 423-434; from memory), and carried on to frequency
zero.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["low_frequency_noise"]

Array = NDArray[np.float64]

#: Correlation lengths are tried up to this share of the board: what reaches farther is drift (a choice).
LONGEST: Final = 0.5
_TRIED: Final = 24
#: The noise is judged above so many cycles a board: there a board sees less than a sixth of the ground's
#: wander (the square of sin(pi c) / (pi c)). A choice.
ABOVE: Final = 0.75
#: Fewer independent values of the periodogram say too little (a choice).
LEAST: Final = 12.0
#: Periodograms are taken over so many boards' lengths, or what there is (a choice).
BOARDS: Final = 8.0
#: Gaps of up to so many bins are bridged by a straight line (a choice).
BRIDGED: Final = 2


def low_frequency_noise(means: Array, step: float, board: float) -> float:
    """Return S0 [rad^2 m] of means over bins, NaN where there are too few to say.

    Every correlation length that is tried counts as it is likely (each length, in proportion, as likely as
    any other beforehand); the median of what they give is returned.

    Parameters
    ----------
    means : array, shape (n,)
        Means over bins of equal length, NaN where empty [rad].
    step : float
        Length of a bin [m].
    board : float
        Distance between the feet [m].
    """
    frequency, power, share = _periodogram(means, step, board)
    above = frequency >= ABOVE / board
    if share * above.sum() < LEAST or not np.any(power[above] > 0):
        return float("nan")
    frequency, power = frequency[above], power[above]
    lengths = np.geomspace(0.5 * step, max(LONGEST * board, step), _TRIED)
    fits = [_fit(power, _autoregressive(frequency, step, length)) for length in lengths]
    likely = np.array([share * fit[0] for fit in fits])
    noise = np.array([fit[1] for fit in fits])
    order = np.argsort(noise)
    weight = np.cumsum(np.exp(likely - likely.max())[order])
    return float(noise[order[np.searchsorted(weight, 0.5 * weight[-1])]])


def _periodogram(means: Array, step: float, board: float) -> tuple[Array, Array, float]:
    """Return frequencies [1/m], the mean periodogram [rad^2 m], and independent values per frequency."""
    from scipy.signal import welch

    runs = [run for run in _runs(means) if run.size >= 2.0 * board / step]
    if not runs:
        return np.zeros(0), np.zeros(0), 0.0
    size = min(int(BOARDS * board / step), max(run.size for run in runs))
    runs = [run for run in runs if run.size >= size]
    total = sum(run.size for run in runs)
    parts = [welch(run, fs=1.0 / step, nperseg=size, detrend="linear") for run in runs]
    power = sum(run.size * part[1] for run, part in zip(runs, parts, strict=True)) / total
    frequency = np.asarray(parts[0][0])
    inside = (frequency > 0) & (frequency < 0.5 / step)  # the ends have half the freedom
    return frequency[inside], np.asarray(power[inside] / 2.0), 0.5 * total / frequency.size


def _runs(means: Array) -> list[Array]:
    """Return the unbroken runs of means, short gaps bridged."""
    there = np.flatnonzero(np.isfinite(means))
    if not there.size:
        return []
    parts = np.split(there, np.flatnonzero(np.diff(there) > BRIDGED + 1) + 1)
    return [np.interp(np.arange(part[0], part[-1] + 1), part, means[part]) for part in parts]


def _autoregressive(frequency: Array, step: float, length: float) -> Array:
    """Return the spectrum of means over bins of noise that dies out over ``length``, 1 at frequency zero.

    The covariance exp(-distance / length), averaged over two bins k apart, is c0 for k = 0 and else
    c1 exp(-(k - 1) step / length); the spectrum is the sum of its cosines.
    """
    ratio = step / length
    none = 2.0 * (ratio - 1.0 + np.exp(-ratio)) / ratio**2
    first = (-np.expm1(-ratio) / ratio) ** 2
    turn = np.exp(2j * np.pi * frequency * step)
    total = none + 2.0 * np.real(first * turn / (1.0 - np.exp(-ratio) * turn))
    return np.asarray(total * ratio / 2.0)


def _fit(power: Array, shape: Array) -> tuple[float, float]:
    """Return the log likelihood and S0 of white noise plus noise of that shape, neither negative."""
    spectrum = np.full(power.size, float(power.mean()))
    share = np.zeros(2)
    for _ in range(12):  # Fisher scoring: variances go with the square of the spectrum
        share = _not_negative(1.0 / spectrum, shape / spectrum, power / spectrum)
        new = np.maximum(share[0] + share[1] * shape, 1e-6 * power.mean())
        done = np.max(np.abs(new / spectrum - 1.0)) < 1e-3
        spectrum = new
        if done:
            break
    return -float(np.sum(np.log(spectrum) + power / spectrum)), float(share.sum())


def _not_negative(one: Array, other: Array, value: Array) -> Array:
    """Return the least-squares shares of two columns, neither negative."""
    a, b, c = float(one @ one), float(one @ other), float(other @ other)
    p, q = float(one @ value), float(other @ value)
    free = a * c - b * b
    if free > 1e-12 * a * c:
        both = np.array([c * p - b * q, a * q - b * p]) / free
        if both.min() >= 0:
            return both
    alone = (max(p, 0.0) / a, max(q, 0.0) / c)
    # what a column alone takes off the squares
    return np.array([alone[0], 0.0] if alone[0] * p >= alone[1] * q else [0.0, alone[1]])
