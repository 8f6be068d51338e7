"""What a grade asks of the people who hold the dolly: force along it, and the grade they can hold."""

from __future__ import annotations

import math
from dataclasses import dataclass

from trackkit.problems import Advisory
from trackkit.units import MASS_UNITS

__all__ = ["GRAVITY", "Rolling", "hold_back", "pull_words", "roll_away"]

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


def pull_words(force: float, *, pounds: bool = False) -> str:
    """Return a force as a crew knows it, the weight that pulls as hard: in kg, or in pounds.

    Examples
    --------
    >>> pull_words(225.0), pull_words(225.0, pounds=True)
    ('23 kg', '51 lb')
    """
    unit = "lb" if pounds else "kg"
    return f"{force / GRAVITY / MASS_UNITS[unit]:.0f} {unit}"


def roll_away(grade: float, rolling: Rolling | None = None, *, pounds: bool = False) -> tuple[Advisory, ...]:
    """Return the warning that a dolly on this grade rolls by itself, if it does.

    The force down the slope is m g sin(angle), see `hold_back`. The default limit is 225 N, see `Rolling`.

    Parameters
    ----------
    grade : float
        Rise over horizontal distance, positive up towards the end mark.
    rolling : Rolling, optional
        What rolls, and what one person may be asked to hold.
    pounds : bool
        Whether the crew reads pounds.
    """
    rolling = rolling or Rolling()
    if abs(grade) < rolling.resistance:
        return ()
    force = hold_back(rolling.mass, grade)
    too_much = force > rolling.force * (1 + 1e-9)
    limit = pull_words(rolling.force, pounds=pounds)
    more = f", more than one person should hold (limit {limit})" if too_much else ""
    unit = "lb" if pounds else "kg"
    source = (
        "the Canadian Centre for Occupational Health and Safety's for pushing with the whole body"
        if rolling.force == Rolling.force
        else "as the job says"
    )
    way = "start" if grade > 0 else "end"
    return (
        Advisory(
            "stop" if too_much else "caution",
            "the whole run",
            f"on a grade of {abs(grade):.1%} the dolly rolls away by itself: "
            f"{rolling.mass / MASS_UNITS[unit]:.0f} {unit} push down the slope, towards the {way} mark, with "
            f"{pull_words(force, pounds=pounds)} of force{more}. Stops at both ends, somebody holds it "
            "whenever it is not chocked, nobody stands below it on the track",
            f"steel wheels on rail roll from {rolling.resistance:.1%} on (handbook figures); limit for one "
            f"person {limit}: {source}",
        ),
    )
