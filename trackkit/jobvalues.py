"""The kinds of values in a job file: text with its unit, read as SI and told in plain words when wrong."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Callable
from typing import Annotated, Any, Final

from pydantic import BeforeValidator
from pydantic_core import PydanticCustomError

from trackkit.units import parse_angle, parse_mass, parse_number, parse_quantity

__all__ = [
    "NOT_ACCEPTED",
    "Angle",
    "AngleSd",
    "Count",
    "Figure",
    "Grade",
    "GradeLimit",
    "Length",
    "Mass",
    "Number",
    "Rate",
    "Room",
    "Share",
    "SignedAngle",
    "Size",
    "shown",
]

#: Type of the errors raised here; their context holds what was found and what is accepted.
NOT_ACCEPTED: Final = "not_accepted"

_LONGEST_SHOWN: Final = 60
_ANGLE_UNITS: Final = {"deg": "deg", "°": "deg", "degrees": "deg", "%": "pct", "pct": "pct"}
_MASS_UNITS: Final = {"kg": "kg", "lb": "lb", "lbs": "lb"}


def shown(value: object) -> str:
    """Return a value of a job file as a fault shows it, cut short.

    Examples
    --------
    >>> shown(True), shown({"at": "3 m"}), shown("x")
    ('true', "a table with 'at'", "'x'")
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table with " + (", ".join(map(repr, value)) or "nothing in it")
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    text = repr(value)
    return text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 3] + "..."


def _with_unit(
    value: object, units: dict[str, str], read: Callable[[str, str], float], example: str
) -> float:
    match = re.fullmatch(r"\s*(.*?)\s*([a-zA-Z%°]+)\s*", value) if isinstance(value, str) else None
    unit = units.get(match[2].lower()) if match else None
    if not match or unit is None:
        raise ValueError(f'{value!r} has no unit; write it like "{example}"')
    return read(match[1], unit)


def _angle(value: object) -> float:
    angle = _with_unit(value, _ANGLE_UNITS, parse_angle, "0.3 deg")
    if abs(angle) >= math.pi / 2:
        raise ValueError(f"{value!r} is upright or steeper")
    return angle


def _mass(value: object) -> float:
    return _with_unit(value, _MASS_UNITS, parse_mass, "400 kg")


def _share(value: object) -> float:
    if isinstance(value, str) and value.strip().endswith("%"):
        return parse_number(value.strip()[:-1]) / 100.0
    return parse_number(value)


def _whole(value: object) -> int:
    number = parse_number(value)
    if number != int(number):
        raise ValueError(f"{value!r} is not a whole number")
    return int(number)


def _kind(
    read: Callable[[object], Any],
    accepted: str,
    *,
    above: float = -math.inf,
    least: float = -math.inf,
    below: float = math.inf,
) -> BeforeValidator:
    """Return the check of one kind of value; what it refuses is told as it was written."""

    def check(value: object) -> Any:
        try:
            if isinstance(value, bool) or not isinstance(value, (int, float, str)):
                raise ValueError(shown(value))
            number = read(value)
            if number <= above:
                raise ValueError(f"{value!r} is not above {above:g}")
            if number < least:
                raise ValueError(f"{value!r} is below {least:g}" if least else f"{value!r} is negative")
            if number >= below:
                raise ValueError(f"{value!r} is not below {below:g}")
        except ValueError as error:
            raise PydanticCustomError(
                NOT_ACCEPTED, "{found}", {"found": str(error), "accepted": accepted}
            ) from None
        return number

    return BeforeValidator(check)


_LENGTH: Final = 'a length with its unit in quotes, like "12 mm", "1.5 m" or "4 ft 2 in"'
_GRADE: Final = 'a grade like "2 %" or "1.1 deg"'

Length = Annotated[float, _kind(parse_quantity, _LENGTH)]
Size = Annotated[float, _kind(parse_quantity, f"{_LENGTH}, above 0", above=0)]
Room = Annotated[float, _kind(parse_quantity, f"{_LENGTH}, 0 or more", least=0)]
Angle = Annotated[float, _kind(_angle, 'an angle like "2 deg", 0 or more', least=0)]
SignedAngle = Annotated[float, _kind(_angle, 'an angle like "-0.3 deg"')]
#: A standard deviation of an angle.
AngleSd = Annotated[float, _kind(_angle, 'an angle like "0.3 deg", above 0', above=0)]
Grade = Annotated[float, _kind(lambda value: math.tan(_angle(value)), _GRADE)]
GradeLimit = Annotated[float, _kind(lambda value: math.tan(_angle(value)), f"{_GRADE}, 0 or more", least=0)]
Mass = Annotated[float, _kind(_mass, 'a mass like "400 kg" or "900 lb", above 0', above=0)]
Share = Annotated[float, _kind(_share, 'a share between 0 and 1, or like "90 %"', above=0, below=1)]
#: A share of things that may be none.
Rate = Annotated[float, _kind(_share, 'a share from 0 to below 1, or like "1 %"', least=0, below=1)]
#: A bare number, where the key names its unit.
Figure = Annotated[float, _kind(parse_number, "a number above 0", above=0)]
Count = Annotated[int, _kind(_whole, "a whole number, 0 or more", least=0)]
#: A whole number from 1.
Number = Annotated[int, _kind(_whole, "a whole number from 1", least=1)]
