"""What readings were rounded to when they were booked, and how often two of them are then the same."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from trackkit.units import LENGTH_UNITS

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["booked_to", "chance_alike", "coarsest_rounding"]

Array = NDArray[np.float64]

#: Steps that lengths are booked to [m]: common practice, no source.
LENGTH_STEPS: Final = (
    *(0.01, 0.005, 0.002, 0.001, 0.0005, 0.0001),
    *(LENGTH_UNITS["in"] / part for part in (1, 2, 4, 8, 16, 32)),
    *(LENGTH_UNITS["ft"] * part for part in (0.1, 0.01, 0.005, 0.001)),
)
#: Steps that angles are booked to [degrees, or per cent]: common practice, no source.
ANGLE_STEPS: Final = (1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)
#: Figures that differ from whole steps by no more are whole ones [of a step].
_WHOLE: Final = 1e-4


def booked_to(values: Array, steps: tuple[float, ...]) -> float:
    """Return the largest step that all values are whole multiples of; 0 if they are of none.

    Examples
    --------
    >>> import numpy as np
    >>> booked_to(np.array([1.348, 1.434, 0.951]), LENGTH_STEPS)
    0.001
    """
    values = values[np.isfinite(values)]
    for step in sorted(steps, reverse=True):
        off = np.abs(values / step - np.round(values / step))
        if values.size and float(off.max()) <= _WHOLE:
            return step
    return 0.0


def coarsest_rounding(ground: Ground) -> float:
    """Return the step that readings were booked to over their sd, of the kind where that is largest."""
    survey, sds = ground.survey, ground.instruments
    boards = (survey.boards, survey.crosslevels)
    taped = np.concatenate([frame["rise_m"].to_numpy(dtype=float) for frame in boards])
    angles = np.concatenate([frame["angle_rad"].to_numpy(dtype=float) for frame in boards])
    degrees = booked_to(np.degrees(angles), ANGLE_STEPS)
    per_cent = booked_to(100.0 * np.tan(angles), ANGLE_STEPS)
    found = max(
        booked_to(survey.levels["rod_m"].to_numpy(dtype=float), LENGTH_STEPS) / sds.rod_sd,
        booked_to(survey.differences["rise_m"].to_numpy(dtype=float), LENGTH_STEPS) / sds.difference_sd,
        booked_to(taped, LENGTH_STEPS) / sds.tape_sd,
        max(np.radians(degrees), per_cent / 100.0) / sds.angle_sd,
    )
    return float(found)


def chance_alike(ratio: float) -> float:
    """Return the chance that two readings of the same thing are booked as the same figure.

    Parameters
    ----------
    ratio : float
        The step that they are rounded to over the standard deviation of one of them.

    Notes
    -----
    Two readings a distance d apart are rounded to the same figure with the chance 1 - d / step, where in its
    step the first lies being as likely anywhere; d is normal with sqrt(2) of their standard deviation.

    Examples
    --------
    >>> round(chance_alike(1 / 1.5), 3), round(chance_alike(10 / 1.5), 3), chance_alike(0.0)
    (0.185, 0.831, 0.0)
    """
    from scipy.special import ndtr

    if ratio <= 0.0:
        return 0.0
    wide = ratio / np.sqrt(2.0)
    within = 2.0 * float(ndtr(wide)) - 1.0
    return float(within - 2.0 / wide * (1.0 - np.exp(-(wide**2) / 2.0)) / np.sqrt(2.0 * np.pi))
