"""Checks of a level or a rotating laser: whether its line of sight, or its plane, lies level.

::

         B                            two pegs: the rod stands on A and on B, the level somewhere else
         |    o---- d_A ----|         for each set-up. A line of sight that rises by c over a metre
         |---- d_B ----o    A         makes a rod read c d too much, the more the farther it is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.problems import FitError
from trackkit.survey.instruments.sds import Instruments
from trackkit.survey.instruments.verdict import InstrumentCheck

__all__ = ["LEVEL_LIMIT", "LEVEL_LIMIT_BASIS", "PlaneTilt", "half_turn", "plane_tilt", "two_pegs"]

#: What an instrument may be off, rise over distance.
LEVEL_LIMIT: Final = 0.05e-3
LEVEL_LIMIT_BASIS: Final = (
    "a laser maker's manual: 0.05 mm in 1 m, 3 mm between the marks of a half turn at 30 m"
)
_ADJUST: Final = "have it adjusted, or keep sights equally long; where it stood goes into lasers.csv"
#: Columns that leave less than this of themselves beside the others are not determined.
_DETERMINED: Final = 1e-9

Array = NDArray[np.float64]


def two_pegs(
    setup: Sequence[str],
    peg: Sequence[str],
    distance: ArrayLike,
    rod: ArrayLike,
    *,
    rod_sd: float | None = None,
    limit: float = LEVEL_LIMIT,
    basis: str = LEVEL_LIMIT_BASIS,
) -> InstrumentCheck:
    """Return the rise of a level's line of sight over distance, from rods on pegs at any distances.

    The usual two-peg test is the case of two set-ups, one half-way and one near a peg. More set-ups and
    more pegs are taken in by least squares. Curvature and refraction are left out: 0.06 mm at 30 m.

    Parameters
    ----------
    setup, peg : sequence of str, length n
        Where the level stood, and on what the rod stood.
    distance, rod : array, shape (n,)
        From level to rod, and the reading [m].
    rod_sd : float, optional
        Standard deviation of one reading [m]; by default that of `Instruments`.
    limit : float
        Rise over distance that is still good.
    basis : str
        Where the limit comes from.

    Returns
    -------
    InstrumentCheck
        Its value is positive when the line of sight rises: far rods then read too much.

    Raises
    ------
    FitError
        If the distances leave it open: every set-up has its pegs equally far, or all differ alike.
    ValueError
        If the parts are not equally long, or a distance is not positive.
    """
    far, read = np.asarray(distance, dtype=float), np.asarray(rod, dtype=float)
    if not len(setup) == len(peg) == far.size == read.size:
        raise ValueError(
            f"setup, peg, distance and rod must be equally long; got {len(setup)}, {len(peg)}, {far.size} "
            f"and {read.size}"
        )
    if not (np.isfinite(far) & (far > 0)).all() or not np.isfinite(read).all():
        raise ValueError("every distance must be above 0 and every rod reading a number")
    sd = Instruments.rod_sd if rod_sd is None else rod_sd
    others = _indicators(setup, peg)
    rank = int(np.linalg.matrix_rank(others))
    rest = far - others @ np.linalg.lstsq(others, far, rcond=None)[0]
    squared = float(rest @ rest)
    if squared <= _DETERMINED * float(far @ far):
        raise FitError(
            "these distances say nothing about the line of sight: read both pegs from half-way between them, "
            "and again from near one of them"
        )
    # what the other unknowns explain is taken off both (Frisch and Waugh 1933, Econometrica 1(4))
    slope = float(rest @ read) / squared
    slope_sd = sd / math.sqrt(squared)
    return InstrumentCheck(
        what="line of sight",
        value=slope,
        sd=slope_sd,
        limit=limit,
        basis=basis,
        dof=far.size - rank - 1,
        do=_ADJUST,
        correction={
            "collimation": f'"{100.0 * slope:.4g} %"',
            "collimation_sd": f'"{math.degrees(math.atan(slope_sd)):.4g} deg"',
        },
    )


def _indicators(setup: Sequence[str], peg: Sequence[str]) -> Array:
    """Return the columns of the levels' heights and of the pegs' (which count down)."""
    setups, pegs = list(dict.fromkeys(setup)), list(dict.fromkeys(peg))
    columns = [[float(one == name) for one in setup] for name in setups]
    columns += [[-float(one == name) for one in peg] for name in pegs]
    return np.array(columns).T


def half_turn(
    gap: float,
    distance: float,
    *,
    mark_sd: float = 0.001,
    limit: float = LEVEL_LIMIT,
    basis: str = LEVEL_LIMIT_BASIS,
) -> InstrumentCheck:
    """Return how far off level one axis of a rotating laser is, from two marks on a wall.

    The laser marks the wall, is turned by 180 degrees and marks it again: the marks are apart by twice its
    error.

    Parameters
    ----------
    gap : float
        Height of the mark that was made with its front to the wall less that made with its back to it [m].
    distance : float
        From the laser to the wall [m].
    mark_sd : float
        Standard deviation of one mark [m]: guess.
    limit, basis
        See `two_pegs`.

    Raises
    ------
    ValueError
        If the distance is not positive.

    Examples
    --------
    >>> check = half_turn(0.003, 30.0)
    >>> round(1000 * check.value, 3), check.verdict
    (0.05, 'cannot be told')
    """
    if not distance > 0:
        raise ValueError(f"distance must be above 0; got {distance} m")
    return InstrumentCheck(
        what="level of one axis",
        value=gap / (2.0 * distance),
        sd=mark_sd * math.sqrt(2.0) / (2.0 * distance),
        limit=limit,
        basis=basis,
        dof=0,
        do="have it adjusted",
    )


@dataclass(frozen=True)
class PlaneTilt:
    """How a rotating laser's plane lies.

    Attributes
    ----------
    along, across : float
        Rise of the plane over distance towards the laser's front, and towards its right.
    covariance : array, shape (2, 2)
        Of the two.
    check : InstrumentCheck
        Of the steepest rise.
    towards : float
        Where the plane rises most, clockwise from the laser's front seen from above [rad].
    """

    along: float
    across: float
    covariance: Array
    check: InstrumentCheck
    towards: float


def plane_tilt(
    turned: ArrayLike,
    rod: ArrayLike,
    distance: float,
    *,
    rod_sd: float | None = None,
    limit: float = LEVEL_LIMIT,
    basis: str = LEVEL_LIMIT_BASIS,
) -> PlaneTilt:
    """Return the tilt of a rotating laser's plane, from one rod read with the laser turned several ways.

    Parameters
    ----------
    turned : array, shape (n,)
        By how much the laser was turned clockwise from having its front to the rod [rad]; four quarters do.
    rod : array, shape (n,)
        What the rod, which stays where it is, reads [m].
    distance : float
        From the laser to the rod [m].
    rod_sd, limit, basis
        See `two_pegs`.

    Raises
    ------
    FitError
        If fewer than three different directions were read.
    ValueError
        If the parts are not equally long or the distance is not positive.
    """
    angle, read = np.asarray(turned, dtype=float), np.asarray(rod, dtype=float)
    if angle.shape != read.shape or not distance > 0:
        raise ValueError(
            "turned and rod must be equally long and distance above 0; "
            f"got {angle.size}, {read.size} and {distance}"
        )
    sd = Instruments.rod_sd if rod_sd is None else rod_sd
    # turned clockwise by an angle, the laser has the rod so far to its left
    design = np.column_stack([np.ones(angle.size), distance * np.cos(angle), -distance * np.sin(angle)])
    if np.linalg.matrix_rank(design) < 3:
        raise FitError("turn the laser by a quarter each time and read the rod all four ways")
    inverse = np.linalg.inv(design.T @ design)
    _, along, across = inverse @ design.T @ read
    covariance = sd**2 * inverse[1:, 1:]
    steepest = math.hypot(along, across)
    way = np.array([along, across]) / steepest if steepest > 0 else np.array([1.0, 0.0])
    check = InstrumentCheck(
        what="level of the plane",
        value=steepest,
        sd=math.sqrt(float(way @ covariance @ way)),
        limit=limit,
        basis=basis,
        dof=angle.size - 3,
        do="have it adjusted",
    )
    return PlaneTilt(float(along), float(across), covariance, check, math.atan2(across, along))
