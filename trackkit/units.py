"""Lengths, masses and angles, in and out.

Inside trackkit every length is in metres, every angle in radians, every mass in kilograms.
This module is the only door: text and numbers with a unit come in here, and go out here in the
unit that the crew reads.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from trackkit.written import parse_feet_inches, parse_mixed, parse_number, tidy

__all__ = [
    "ANGLE_UNITS",
    "DISPLAYS",
    "LENGTH_UNITS",
    "MASS_UNITS",
    "Display",
    "angle_from_degrees",
    "angle_from_percent",
    "few_decimals",
    "parse_angle",
    "parse_length",
    "parse_mass",
    "parse_number",
    "parse_quantity",
    "split_unit",
]

#: Metres in one unit. The inch is 25.4 mm exactly (international yard and pound agreement, 1959).
LENGTH_UNITS: Final = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048, "in": 0.0254}
#: Kilograms in one unit. The pound is 0.45359237 kg exactly (same agreement).
MASS_UNITS: Final = {"kg": 1.0, "lb": 0.45359237}
#: Units an angle may be given in: degrees, or the grade in per cent (rise over 100 level).
ANGLE_UNITS: Final = ("deg", "pct")

#: A number such as 1,234 in millimetres or centimetres: as likely one thousand as one and a bit.
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
#: No figure is written with more decimals.
_MOST_DECIMALS: Final = 9
_FEET_WORD = re.compile(r"(\d)\s*(?:feet|foot|ft)\b\.?", flags=re.IGNORECASE)
_INCH_WORD = re.compile(r"(\d)\s*(?:inches|inch|in)\b\.?", flags=re.IGNORECASE)


def parse_length(text: object, unit: str) -> float:
    r"""Return the length in ``text`` in metres; ``unit`` is the unit of the column it stands in.

    Parameters
    ----------
    text : str or number
        A number; in feet and inches also ``5' 3 1/2"``, ``5'-3½"``, ``3 1/2`` or ``7/8``. A
        decimal in a feet column is decimal feet. The unit may be repeated behind the number
        if it is the same one.
    unit : str
        'm', 'cm', 'mm', 'ft' or 'in'.

    Returns
    -------
    float
        Length [m], with the sign that was written.

    Raises
    ------
    ValueError
        If the text is not such a length, carries another unit than the column, or reads like
        ``1,234`` in a column of millimetres or centimetres, where the comma may mean either.

    Examples
    --------
    >>> round(parse_length("5' 3 1/2\"", "ft"), 6)
    1.6129
    >>> round(parse_length("3½", "in"), 6)
    0.0889
    """
    metres = LENGTH_UNITS[unit]
    if not isinstance(text, str):
        return parse_number(text) * metres
    word = tidy(text)
    said = re.fullmatch(r"(.*\d)\s*(mm|cm|m|ft|in)\.?", word, flags=re.IGNORECASE)
    if said and "'" not in word and not (said[2].lower() == "in" and _FEET_WORD.search(word)):
        if said[2].lower() != unit:
            raise ValueError(f"{text.strip()!r} says {said[2]}, but its column is in {unit}")
        word = said[1].strip()
    if unit in ("mm", "cm") and _THOUSANDS.fullmatch(word):
        raise ValueError(f"{word!r} may be {word.replace(',', '')} or {word.replace(',', '.')}; write it so")
    if unit not in ("ft", "in"):
        return parse_number(word) * metres
    word = _INCH_WORD.sub(r'\1"', _FEET_WORD.sub(r"\1'", word))
    if "'" not in word and '"' not in word:
        return float(parse_mixed(word) * Fraction(str(metres)))
    return float(parse_feet_inches(word) * Fraction("0.0254"))


def parse_quantity(text: object) -> float:
    """Return a length written with its unit, such as ``"12 mm"``, ``"4 ft"`` or ``5' 3 1/2"``.

    Returns
    -------
    float
        Length [m].

    Raises
    ------
    ValueError
        If there is no number or no unit of length in it.

    Examples
    --------
    >>> parse_quantity("12 mm"), round(parse_quantity("2 ft 6 in"), 4)
    (0.012, 0.762)
    """
    if not isinstance(text, str):
        raise ValueError(f'{text!r} has no unit; write it with one, such as "{text} mm"')
    word = tidy(text)
    word = _INCH_WORD.sub(r'\1"', _FEET_WORD.sub(r"\1'", word))
    if "'" in word or '"' in word:
        return float(parse_feet_inches(word) * Fraction("0.0254"))
    said = re.fullmatch(r"(.*?)\s*(mm|cm|m)", word, flags=re.IGNORECASE)
    if not said:
        raise ValueError(f"{text.strip()!r} has no unit of length (m, cm, mm, ft, in)")
    return parse_length(said[1], said[2].lower())


def parse_mass(text: object, unit: str) -> float:
    """Return a mass [kg] from a number in ``unit`` ('kg' or 'lb'), which may be repeated behind it.

    Raises
    ------
    ValueError
        If it is not a number, or another unit stands behind it.

    Examples
    --------
    >>> round(parse_mass("10", "lb"), 4)
    4.5359
    """
    return parse_number(_without_unit(text, unit, {"kg": "kg", "lb": "lb", "lbs": "lb"})) * MASS_UNITS[unit]


def parse_angle(text: object, unit: str) -> float:
    """Return an angle [rad] from degrees ('deg') or from the grade in per cent ('pct').

    The unit may be repeated behind the number: ``4.76°``, ``8.3 %``.

    Raises
    ------
    ValueError
        If it is not a number, or another unit stands behind it.

    Examples
    --------
    >>> round(parse_angle("100", "pct"), 6) == round(parse_angle("45", "deg"), 6)
    True
    """
    marks = {"°": "deg", "deg": "deg", "degrees": "deg", "%": "pct", "pct": "pct"}
    value = parse_number(_without_unit(text, unit, marks))
    return angle_from_degrees(value) if unit == "deg" else angle_from_percent(value)


def angle_from_degrees(degrees: float) -> float:
    """Return degrees in radians; a positive slope means that the far end is higher."""
    return math.radians(degrees)


def angle_from_percent(percent: float) -> float:
    """Return the angle [rad] of a grade in per cent: 100 % is 45 degrees."""
    return math.atan(percent / 100.0)


def few_decimals(value: float, within: float, *, least: int = 0, short_of: float = math.inf) -> str:
    """Return a number with as few decimals as tell it.

    Parameters
    ----------
    value, within : float
        The number, and how far off what is written may be.
    least : int
        Decimals that it has in any case.
    short_of : float
        A number below this is never rounded up to it.

    Examples
    --------
    >>> few_decimals(1.5, 0.005, least=1), few_decimals(1.54, 0.005, least=1)
    ('1.5', '1.54')
    >>> few_decimals(99.96, 0.05), few_decimals(99.96, 0.05, short_of=100.0)
    ('100', '99.96')
    """
    for decimals in range(least, _MOST_DECIMALS):
        text = f"{value:.{decimals}f}"
        if abs(float(text) - value) <= within * (1 + 1e-9) and not value < short_of <= float(text):
            return text
    return f"{value:.{_MOST_DECIMALS}f}"


def split_unit(name: str) -> tuple[str, str | None]:
    """Split a column's name into what it is and its unit: ``rod_mm`` gives ``('rod', 'mm')``.

    The unit is None when the name ends in none that is known.
    """
    stem, _, last = name.rpartition("_")
    known = {*LENGTH_UNITS, *MASS_UNITS, *ANGLE_UNITS}
    return (stem, last) if stem and last in known else (name, None)


@dataclass(frozen=True)
class Display:
    r"""How lengths are written for the crew.

    Attributes
    ----------
    name : str
        One of `DISPLAYS`: ``"mm"``, ``"cm"``, ``"1/8 in"``, ``"1/16 in"``.
    unit : str
        Unit of small heights (fills, rods): 'mm', 'cm' or 'in'.
    step : float
        What a small height is rounded to [m].

    Examples
    --------
    >>> DISPLAYS["1/8 in"].small(0.0889), DISPLAYS["cm"].small(0.0889)
    ('3 1/2', '8.9')
    >>> DISPLAYS["1/8 in"].long(4.445), DISPLAYS["mm"].long(4.445)
    ('14\' 7"', '4.45 m')
    """

    name: str
    unit: str
    step: float

    def small(self, metres: float) -> str:
        """Write a height or fill without its unit, rounded to the step."""
        if not math.isfinite(metres):
            return "?"
        steps = _round_half_away(metres / self.step)
        if self.unit == "in":
            return _inches(steps, _denominator(self.step))
        return f"{steps * self.step / LENGTH_UNITS[self.unit]:.{1 if self.unit == 'cm' else 0}f}"

    def small_unit(self, metres: float) -> str:
        """Write a height or fill with its unit."""
        return f"{self.small(metres)} {self.unit}"

    def long(self, metres: float) -> str:
        """Write a distance along the run: metres to the centimetre, or feet and inches."""
        if not math.isfinite(metres):
            return "?"
        if self.unit != "in":
            return f"{round(metres, 2) + 0.0:.2f} m"  # + 0.0 takes the sign off a zero
        whole = _round_half_away(metres / LENGTH_UNITS["in"])
        feet, inches = divmod(abs(whole), 12)
        return f"{'-' if whole < 0 else ''}{feet}' {inches}\""


#: The displays on offer, by name.
DISPLAYS: Final = {
    "mm": Display("mm", "mm", 0.001),
    "cm": Display("cm", "cm", 0.001),
    "1/8 in": Display("1/8 in", "in", 0.0254 / 8),
    "1/16 in": Display("1/16 in", "in", 0.0254 / 16),
}


def _without_unit(text: object, unit: str, marks: dict[str, str]) -> object:
    """Return the text without the unit behind its number, which must be the one of its column."""
    said = re.fullmatch(r"(.*[\d.,])\s*([^\d\s.,]+)\.?", tidy(text)) if isinstance(text, str) else None
    if not said or said[2].lower() not in marks:
        return text
    if marks[said[2].lower()] != unit:
        raise ValueError(f"{tidy(str(text))!r} says {said[2]}, but its column is in {unit}")
    return said[1]


def _round_half_away(value: float) -> int:
    """Round to the nearest whole number, halves away from zero, as a crew does."""
    return int(math.copysign(math.floor(abs(value) + 0.5 + 1e-9), value))


def _denominator(step: float) -> int:
    return round(LENGTH_UNITS["in"] / step)


def _inches(steps: int, denominator: int) -> str:
    whole, part = divmod(abs(steps), denominator)
    sign = "-" if steps < 0 else ""
    if part == 0:
        return f"{sign}{whole}"
    fraction = Fraction(part, denominator)
    text = f"{fraction.numerator}/{fraction.denominator}"
    return f"{sign}{whole} {text}" if whole else f"{sign}{text}"
