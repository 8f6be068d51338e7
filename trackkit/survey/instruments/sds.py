"""The standard deviations of single readings.

Every figure is a field, so that a job file can change it. ``BASIS`` says where each default comes
from; those that are guesses are meant to be replaced by the crew's own checks.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

__all__ = ["BASIS", "Instruments"]

_GUESS = "guess"

#: Where each default of `Instruments` comes from.
BASIS: Final[Mapping[str, str]] = {
    "rod_sd": "guess: half of the 3 mm per 30 m that makers allow between the marks of a 180 degree check",
    "angle_sd": "Mourcou et al. 2015, Sensors 15(9), 23168-87: RMS below 0.3 degrees for several phones",
    "zero_sd": _GUESS,
    "pass_zero_sd": _GUESS,
    "drift_sd": _GUESS,
    "drift_sd_s": _GUESS,
    "bubble_sd": "guess: 0.5 mm per m, a usual statement for spirit levels (from memory)",
    "tape_sd": _GUESS,
    "difference_sd": _GUESS,
    "station_sd": _GUESS,
    "crown_sd": _GUESS,
    "step_sd": _GUESS,
    "collimation_sd": "guess: the 3 mm per 30 m that makers allow between the marks of a 180 degree check",
}


@dataclass(frozen=True)
class Instruments:
    """Standard deviations of single readings; a reading's own ``sd`` in a table goes before these.

    Attributes
    ----------
    rod_sd : float
        One rod reading with a laser or level [m].
    angle_sd : float
        One angle of a phone or digital level on a board [rad].
    zero_sd : float
        Zero error of such an instrument before any reversal was read [rad]; one unknown each.
    pass_zero_sd : float
        How far the zero error of one pass of a log lies from the instrument's own [rad]: the phone was
        taken off its board in between, or had grown warm.
    drift_sd : float
        How far the zero error wanders over 1 m of a pass of a log [rad], as a random walk does: twice as
        far over 4 m.
    drift_sd_s : float
        The same over 1 s, for logs that give times [rad].
    bubble_sd : float
        Levelling a board by its bubble [rad].
    tape_sd : float
        Taping the gap under a levelled board [m].
    difference_sd : float
        One difference of height (a water level) [m].
    station_sd : float
        Where along the run a reading was taken [m]; it counts with the local slope.
    crown_sd : float
        Ground beside the straight line across the two sides, for readings at an offset [m].
    step_sd : float
        A taped step at a break [m].
    collimation : float
        Rise of the line of sight over distance, such as a two-peg test finds it: positive when it
        rises, so that far rods read too much. Used where lasers.csv says where the laser stood.
    collimation_sd : float
        Its standard deviation; what unequal sights in the survey itself say of it comes to it.
    longest_sight : float
        Sights to pegs, whose place is not known, are taken to be up to so long [m].
    angle_sds : mapping
        ``angle_sd`` of named instruments [rad].
    zeros, zero_sds : mapping
        Zero error of named instruments, as pairs read both ways round have it, and its ``zero_sd`` [rad]. The
        survey's own readings may still move it within that.
    """

    rod_sd: float = 0.0015
    angle_sd: float = math.radians(0.3)
    zero_sd: float = math.radians(1.0)
    pass_zero_sd: float = math.radians(0.03)
    drift_sd: float = math.radians(0.02)
    drift_sd_s: float = math.radians(0.01)
    bubble_sd: float = 0.0005
    tape_sd: float = 0.0015
    difference_sd: float = 0.002
    station_sd: float = 0.02
    crown_sd: float = 0.01
    step_sd: float = 0.005
    collimation: float = 0.0
    collimation_sd: float = 1e-4
    longest_sight: float = 30.0
    angle_sds: Mapping[str, float] = field(default_factory=dict)
    zeros: Mapping[str, float] = field(default_factory=dict)
    zero_sds: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse a standard deviation that is negative, or zero where it would divide."""
        for name in BASIS:
            value = getattr(self, name)
            least_is_zero = name in ("station_sd", "crown_sd")
            if not math.isfinite(value) or value < 0 or (value == 0 and not least_is_zero):
                raise ValueError(f"{name} must be a positive number, got {value}")
        for kind in ("angle_sds", "zero_sds"):
            for name, value in getattr(self, kind).items():
                if not (math.isfinite(value) and value > 0):
                    raise ValueError(f"{kind}[{name!r}] must be a positive number, got {value}")
        for name, value in self.zeros.items():
            if not math.isfinite(value):
                raise ValueError(f"zeros[{name!r}] must be a number, got {value}")
