"""Lengths, masses and angles against the definitions of the units and against arithmetic.

Sources: the inch is 25.4 mm, the foot 0.3048 m and the pound 0.45359237 kg exactly (international yard and
pound agreement of 1959; `scipy.constants` carries the same figures from CODATA/NIST SP 811). Slopes are
arithmetic: rise over run and its arc tangent.
"""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
import scipy.constants
from hypothesis import given, settings
from hypothesis import strategies as st

from trackkit.units import (
    DISPLAYS,
    LENGTH_UNITS,
    MASS_UNITS,
    parse_angle,
    parse_length,
    parse_mass,
    parse_number,
    parse_quantity,
    split_unit,
)


def test_units_are_those_of_the_1959_agreement_as_scipy_carries_them():
    assert LENGTH_UNITS["in"] == pytest.approx(scipy.constants.inch, rel=1e-15) == 0.0254
    assert LENGTH_UNITS["ft"] == pytest.approx(scipy.constants.foot, rel=1e-15)
    assert MASS_UNITS["lb"] == pytest.approx(scipy.constants.pound, rel=1e-15) == 0.45359237


@pytest.mark.parametrize(
    ("text", "unit", "inches"),
    [
        ("5' 3 1/2\"", "ft", Fraction(127, 2)),
        ("5'-3½\"", "ft", Fraction(127, 2)),
        ("5’ 3 1/2”", "in", Fraction(127, 2)),
        ("5′ 3½″", "ft", Fraction(127, 2)),
        ("5 ft 3 1/2 in", "ft", Fraction(127, 2)),
        ("5' 3", "ft", Fraction(63)),
        ("5'", "ft", Fraction(60)),
        ("63 1/2''", "in", Fraction(127, 2)),
        ("3 1/2", "in", Fraction(7, 2)),
        ("3-1/2", "in", Fraction(7, 2)),
        ("3½", "in", Fraction(7, 2)),
        ("7/8", "in", Fraction(7, 8)),
        ("-7/8", "in", Fraction(-7, 8)),
        ("-5' 3\"", "ft", Fraction(-63)),
        ("− 3 1/2", "in", Fraction(-7, 2)),
        ("5.25", "ft", Fraction(63)),
        ("5,25", "ft", Fraction(63)),
        ("12 in", "in", Fraction(12)),
        ("1ft", "ft", Fraction(12)),
    ],
)
def test_feet_and_inches_are_read_as_a_rod_is_booked(text, unit, inches):
    assert parse_length(text, unit) == pytest.approx(float(inches) * 0.0254, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "unit", "metres"),
    [
        ("1234", "mm", 1.234), (1234, "mm", 1.234), ("123,4", "cm", 1.234), ("1.234", "m", 1.234),
        ("1,234", "m", 1.234), ("0,125", "cm", 0.00125), ("12 mm", "mm", 0.012), ("1e3", "mm", 1.0),
    ],
)  # fmt: skip
def test_metric_lengths_take_a_comma_or_a_point(text, unit, metres):
    assert parse_length(text, unit) == pytest.approx(metres, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("", "m", "the cell is empty"),
        ("  ", "ft", "the cell is empty"),
        ("abc", "mm", "'abc' is not a number"),
        ("nan", "m", "'nan' is not a number"),
        (math.nan, "m", "nan is not a finite number"),
        (-math.inf, "m", "-inf is not a finite number"),
        ("1e999", "m", "inf is not a finite number"),
        (10**400, "m", "more than 300 digits"),
        (True, "m", "'True' is not a number"),
        ("1.234,5", "mm", "both a comma and a point"),
        ("1,234", "mm", r"'1,234' may be 1234 or 1\.234"),
        ("12,345", "cm", r"'12,345' may be 12345 or 12\.345"),
        ("5 cm", "mm", "says cm, but its column is in mm"),
        ("5 m", "ft", "says m, but its column is in ft"),
        ("1/0", "in", "divides by zero"),
        ("--3", "in", "has two signs"),
        ("5' -3 1/2' 2\"", "ft", "is not feet and inches"),
        ("'", "ft", "is not feet and inches"),
        ("--5' 3\"", "ft", "sign in the middle"),
        ("5' 12\"", "ft", "12 inches or more"),
        ("5' 3\"", "m", "is not a number"),
        ("9" * 70, "m", "too long for a number"),
    ],
)
def test_what_is_no_length_is_refused_with_its_reason(text, unit, message):
    with pytest.raises(ValueError, match=message):
        parse_length(text, unit)


#: Slopes as (rise, run, per cent, degrees): plain arithmetic, printed to four places.
SLOPES = [(1, 12, 8.3333, 4.7636), (1, 48, 2.0833, 1.1935), (1, 20, 5.0, 2.8624), (1, 1, 100.0, 45.0)]


@pytest.mark.parametrize(("rise", "run", "percent", "degrees"), SLOPES)
def test_slopes_agree_with_rise_over_run(rise, run, percent, degrees):
    assert math.tan(parse_angle(str(percent), "pct")) == pytest.approx(rise / run, abs=5e-7)
    assert parse_angle(f"{degrees}°", "deg") == pytest.approx(math.atan2(rise, run), abs=math.radians(5e-5))


def test_a_tenth_of_a_degree_is_1745_micrometres_in_a_metre():
    """Arithmetic: tan 0.1 degree = 0.0017453."""
    assert math.tan(parse_angle("0,1", "deg")) == pytest.approx(1.745e-3, abs=5e-7)


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("8 %", "deg", "says %, but its column is in deg"),
        ("4°", "pct", "says °"),
        ("steep", "deg", "not a number"),
    ],
)
def test_what_is_no_angle_is_refused(text, unit, message):
    with pytest.raises(ValueError, match=message):
        parse_angle(text, unit)


def test_masses_take_their_unit_behind_the_number():
    assert parse_mass("10 lbs", "lb") == pytest.approx(4.5359237, rel=1e-15)
    assert parse_mass("2,5", "kg") == 2.5


def test_a_mass_in_another_unit_than_its_column_is_refused():
    with pytest.raises(ValueError, match="says lb, but its column is in kg"):
        parse_mass("10 lb", "kg")


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("12 mm", 0.012),
        ("2 ft 6 in", 0.762),
        ("4 foot", 1.2192),
        ('1/2"', 0.0127),
        ("1.2m", 1.2),
        ("3½ inches", 0.0889),
    ],
)
def test_quantities_carry_their_unit(text, metres):
    assert parse_quantity(text) == pytest.approx(metres, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("12", "has no unit of length"),
        (12, "12 has no unit"),
        ("12 kg", "has no unit"),
        ("1,234 mm", "may be 1234"),
    ],
)
def test_a_quantity_without_a_length_unit_is_refused(text, message):
    with pytest.raises(ValueError, match=message):
        parse_quantity(text)


def test_the_unit_is_split_off_a_columns_name():
    assert split_unit("right_above_left_mm") == ("right_above_left", "mm")
    assert split_unit("rod") == ("rod", None)
    assert split_unit("mm") == ("mm", None)


@pytest.mark.parametrize(
    ("display", "metres", "small"),
    [
        ("1/8 in", 0.0889, "3 1/2"), ("1/16 in", 0.0889 + 0.0254 / 16, "3 9/16"),
        ("1/8 in", -0.0254 / 8, "-1/8"),
        ("1/8 in", 0.0254 / 16, "1/8"), ("mm", 0.0125, "13"), ("cm", 0.0889, "8.9"), ("cm", math.nan, "?"),
        ("1/8 in", 0.0, "0"), ("mm", -0.0001, "0"),
    ],
)  # fmt: skip
def test_small_heights_are_written_to_the_step_of_the_rod(display, metres, small):
    assert DISPLAYS[display].small(metres) == small


@pytest.mark.parametrize(
    ("display", "metres", "text"),
    [("1/8 in", 4.446, "14' 7\""), ("1/8 in", -0.3048, "-1' 0\""), ("mm", 4.446, "4.45 m"),
     ("mm", -0.001, "0.00 m"),
     ("1/8 in", math.nan, "?")],
)  # fmt: skip
def test_distances_are_written_in_metres_or_feet_and_inches(display, metres, text):
    assert DISPLAYS[display].long(metres) == text


@given(st.integers(-4000, 4000), st.sampled_from(["1/8 in", "1/16 in"]))
def test_what_is_written_in_inches_is_read_back_exactly(steps, name):
    display = DISPLAYS[name]
    metres = steps * display.step
    assert parse_length(display.small(metres), "in") == pytest.approx(metres, abs=1e-12)


@given(st.integers(0, 60), st.integers(0, 11), st.integers(0, 15), st.booleans())
def test_feet_inches_and_sixteenths_come_back_whole(feet, inches, sixteenths, negative):
    text = f"{'-' if negative else ''}{feet}' {inches} {sixteenths}/16\""
    exact = (feet * 12 + inches + Fraction(sixteenths, 16)) * (-1 if negative else 1)
    assert parse_length(text, "ft") == pytest.approx(float(exact) * 0.0254, rel=1e-15, abs=1e-15)


@given(st.floats(-1e6, 1e6), st.sampled_from(sorted(LENGTH_UNITS)))
def test_a_number_in_any_unit_goes_there_and_back(value, unit):
    assert parse_length(f"{value:.9f}", unit) / LENGTH_UNITS[unit] == pytest.approx(value, abs=1e-8)


@given(st.floats(-80, 80))
def test_degrees_and_per_cent_are_the_same_angle(degrees):
    percent = 100 * math.tan(math.radians(degrees))
    assert parse_angle(percent, "pct") == pytest.approx(parse_angle(degrees, "deg"), abs=1e-12)


@given(st.decimals(-9999, 9999, places=3))
def test_comma_and_point_are_the_same_mark(value):
    assert parse_number(str(value).replace(".", ",")) == parse_number(str(value)) == float(value)


@settings(max_examples=300)
@given(
    st.text(max_size=80) | st.text("0123456789 '\"/.,-+½ftinme", max_size=20),
    st.sampled_from(sorted(LENGTH_UNITS)),
)
def test_any_text_is_a_finite_length_or_refused(text, unit):
    try:
        value = parse_length(text, unit)
    except ValueError:
        return
    assert math.isfinite(value)
