"""Readings taken again and again: what a single one is worth, against what is stated."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from trackkit.problems import FitError
from trackkit.survey.instruments.verdict import Verdict

__all__ = ["Repeated", "repeatability"]

#: A standard deviation may be over what is stated in so many cases by chance.
CHANCE: Final = 0.05


@dataclass(frozen=True)
class Repeated:
    """What repeated readings scatter by.

    Attributes
    ----------
    sd : float
        Of a single reading.
    dof : int
        Readings less points.
    low, high : float
        The true standard deviation is between them 19 times in 20.
    stated : float
        What it was held against.
    limit : float
        ``sd`` is over this in 1 of 20 checks of an instrument that is as good as stated.
    """

    sd: float
    dof: int
    low: float
    high: float
    stated: float
    limit: float

    @property
    def verdict(self) -> Verdict:
        """Whether the readings are as good as stated; nothing but a large scatter speaks against it."""
        return "not good" if self.sd > self.limit else "good"


def repeatability(readings: ArrayLike, point: Sequence[Hashable], *, stated: float) -> Repeated:
    """Return the standard deviation of a single reading, from points that were read several times.

    Parameters
    ----------
    readings : array, shape (n,)
        In any unit: that of the results.
    point : sequence, length n
        On which point, from one set-up, each was taken.
    stated : float
        Standard deviation to hold it against.

    Raises
    ------
    FitError
        If no point was read twice.
    ValueError
        If the parts are not equally long, or ``stated`` is not positive.

    References
    ----------
    The limit ``stated * sqrt(chi2(0.95, dof) / dof)`` is the form of the test in ISO 17123-2:2001, which
    allows 1.19 times the stated for 38 (from memory). It is no test to that standard.

    Examples
    --------
    >>> found = repeatability([1.2, 1.4, 1.3, 2.0, 2.2], ["A", "A", "A", "B", "B"], stated=0.1)
    >>> round(found.sd, 4), found.dof
    (0.1155, 3)
    """
    from scipy.special import chdtri

    read = np.asarray(readings, dtype=float)
    if read.size != len(point):
        raise ValueError(f"readings and point must be equally long; got {read.size} and {len(point)}")
    if not stated > 0:
        raise ValueError(f"stated must be above 0; got {stated}")
    places: dict[Hashable, list[float]] = {}
    for value, name in zip(read, point, strict=True):
        places.setdefault(name, []).append(float(value))
    dof = read.size - len(places)
    if dof < 1:
        raise FitError("no point was read twice: read some again, after moving the rod away and back")
    squares = sum(float(np.square(np.array(own) - np.mean(own)).sum()) for own in places.values())
    sd = math.sqrt(squares / dof)
    low, high = (sd * math.sqrt(dof / float(chdtri(dof, share))) for share in (0.025, 0.975))
    return Repeated(sd, dof, low, high, stated, stated * math.sqrt(float(chdtri(dof, CHANCE)) / dof))
