"""What a grade asks of the people who hold the dolly: force along it, and the grade they can hold."""

from __future__ import annotations

import math
from dataclasses import dataclass

from trackkit.problems import Advisory

__all__ = ["GRAVITY", "Rolling", "hold_back", "roll_away"]

#: Standard acceleration of free fall [m/s²], exact by convention (3rd CGPM, 1901).
GRAVITY = 9.80665


@dataclass(frozen=True)
class Rolling:
    """The rolling load and what one person may be asked to hold. All of it can be changed.

    Attributes
    ----------
    mass : float
        Everything that rolls, people on it included [kg]. 400 kg: common practice gives about
        150 to 500 kg, no source; weigh or add up yours.
    force : float
        Hold-back force that is still acceptable [N]. 225 N: limit for pushing or pulling with the
        whole body in the table of the Canadian Centre for Occupational Health and Safety
        (50 lbf; read in a reprint).
    resistance : float
        Rolling resistance over weight. 0.002: handbook figures for steel wheels on rail run from
        0.001 to 0.003. Not credited to whoever holds; it says from which grade a dolly that
        nobody holds rolls away.
    """

    mass: float = 400.0
    force: float = 225.0
    resistance: float = 0.002

    def __post_init__(self) -> None:
        for what in ("mass", "force", "resistance"):
            value = getattr(self, what)
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"{what} must be above 0, got {value}")

    def grade_limit(self) -> float:
        """Return the steepest grade that can be held, rise over horizontal distance.

        Examples
        --------
        >>> round(Rolling().grade_limit(), 4)
        0.0575
        """
        sine = self.force / (self.mass * GRAVITY)
        return math.tan(math.asin(sine)) if sine < 1 else math.inf


def hold_back(mass: float, grade: float) -> float:
    """Return the force along the track that holds a mass on a grade, without friction [N].

    Examples
    --------
    A load of 400 kg on a ramp of 1 in 12 (the guide INDG143 says "over 30 kg" of force):

    >>> round(hold_back(400.0, 1 / 12) / GRAVITY, 1)
    33.2
    """
    return mass * GRAVITY * math.sin(math.atan(abs(grade)))


def roll_away(grade: float, rolling: Rolling | None = None) -> tuple[Advisory, ...]:
    """Return the warning that a dolly on this grade rolls by itself, if it does."""
    rolling = rolling or Rolling()
    if abs(grade) < rolling.resistance:
        return ()
    force = hold_back(rolling.mass, grade)
    too_much = force > rolling.force * (1 + 1e-9)
    more = f", more than the {rolling.force:.0f} N one person should hold" if too_much else ""
    way = "start" if grade > 0 else "end"
    return (
        Advisory(
            "stop" if too_much else "caution",
            "the whole run",
            f"on a grade of {abs(grade):.1%} the dolly rolls away by itself: {rolling.mass:.0f} kg pull with "
            f"{force:.0f} N ({force / GRAVITY:.0f} kg of force) towards the {way} mark{more}. Stops at both "
            "ends, somebody holds it whenever it is not chocked, nobody stands below it on the track",
            f"m g sin(angle); rolls by itself from {rolling.resistance:.1%} (handbook figures, steel wheels "
            "on rail); default limit 225 N from the CCOHS table for the whole body",
        ),
    )
