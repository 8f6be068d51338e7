"""The zero error of a phone or a digital level, from slopes read both ways round."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.survey.instruments.sds import Instruments
from trackkit.survey.instruments.verdict import InstrumentCheck

__all__ = ["PhoneCheck", "reversal"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PhoneCheck:
    """What pairs of readings say of a phone.

    Attributes
    ----------
    slopes : array, shape (n,)
        Slope of each place, free of the zero error [rad].
    slope_sd : float
        Standard deviation of each [rad].
    zero : InstrumentCheck
        The zero error, added to what is read ahead and taken off what is read back [rad].
    reading_sd : float
        Standard deviation of a single reading as the pairs themselves have it [rad]; NaN for one pair.
    dof : int
        Pairs less one: what it rests on.
    """

    slopes: Array
    slope_sd: float
    zero: InstrumentCheck
    reading_sd: float
    dof: int


def reversal(
    ahead: ArrayLike, back: ArrayLike, *, angle_sd: float | None = None, name: str = "phone"
) -> PhoneCheck:
    """Return slopes and zero error from places that were read with the phone both ways round.

    Angles carry the ground's sign in both facings (positive: the far end is higher), so that
    ``ahead = slope + zero`` and ``back = slope - zero``.

    Parameters
    ----------
    ahead, back : array, shape (n,) or float
        Readings at the same places [rad].
    angle_sd : float, optional
        Standard deviation of a single reading [rad]; by default that of `Instruments`. Where the pairs
        scatter more than it allows (19 times in 20), what they have counts.
    name : str
        Of the instrument.

    Raises
    ------
    ValueError
        If there is no pair, a reading has no mate, or one is not a number.

    Examples
    --------
    >>> import math
    >>> check = reversal(math.radians(0.59), math.radians(0.15))
    >>> [round(math.degrees(angle), 2) for angle in (check.slopes[0], check.zero.value)]
    [0.37, 0.22]
    """
    first, second = (np.atleast_1d(np.asarray(one, dtype=float)) for one in (ahead, back))
    if first.shape != second.shape or not first.size:
        raise ValueError(f"every reading ahead needs its mate back; got {first.size} and {second.size}")
    if not (np.isfinite(first) & np.isfinite(second)).all():
        raise ValueError("every reading must be a number")
    stated = Instruments.angle_sd if angle_sd is None else angle_sd
    zeros = (first - second) / 2.0
    n = zeros.size
    found = math.sqrt(2.0) * float(zeros.std(ddof=1)) if n > 1 else math.nan
    sd = found if n > 1 and found > stated * _most(n - 1) else stated
    zero, zero_sd = float(zeros.mean()), sd / math.sqrt(2.0 * n)
    check = InstrumentCheck(
        what=f"zero error of {name}",
        value=zero,
        sd=zero_sd,
        limit=sd,
        basis="as large as what a single reading scatters by: then turning it round is worth the time",
        dof=n - 1,
        do="read every place both ways round, or set the phone's level to zero and check again",
        correction={
            "zeros": f'{{ {json.dumps(name)} = "{math.degrees(zero):.3f} deg" }}',
            "zero_sds": f'{{ {json.dumps(name)} = "{math.degrees(zero_sd):.3f} deg" }}',
        },
    )
    return PhoneCheck((first + second) / 2.0, sd / math.sqrt(2.0), check, found, n - 1)


def _most(dof: int) -> float:
    """Return how many times its standard deviation a sample's may be, 19 times in 20."""
    from scipy.special import chdtri

    return math.sqrt(float(chdtri(dof, 0.05)) / dof)
