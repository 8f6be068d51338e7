"""Numbers as people write them: fractions, feet and inches, a comma or a point as decimal mark."""

from __future__ import annotations

import math
import re
import unicodedata
from fractions import Fraction
from typing import Final

__all__ = ["parse_feet_inches", "parse_mixed", "parse_number", "tidy"]

#: Longest text that is looked at for a number; longer cells are prose.
_LONGEST: Final = 60
_MARKS = str.maketrans(
    {"′": "'", "’": "'", "‘": "'", "`": "'", "″": '"', "”": '"', "“": '"', "−": "-", "–": "-",
     "⁄": "/", "\u00a0": " ", "\u202f": " ", "\u2009": " "}
)  # fmt: skip
_DECIMAL = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_NUMBER = re.compile(rf"[+-]?{_DECIMAL}(?:[eE][+-]?\d+)?")
_MIXED = re.compile(r"(?:(?P<whole>\d+)(?:\s+|-|\s*-\s*))?(?P<top>\d+)/(?P<bottom>\d+)")
_FEET_INCHES = re.compile(
    r"(?P<sign>[+-]?)\s*(?:(?P<feet>[^'\"]+?)\s*')?\s*-?\s*(?:(?P<inches>[^'\"]+?)\s*\"?)?"
)


def parse_number(text: object) -> float:
    """Return the finite number written in ``text``, with a comma or a point as decimal mark.

    Raises
    ------
    ValueError
        If the text is empty, not a number, NaN or infinite, or has both a comma and a point.

    Examples
    --------
    >>> parse_number("12,5"), parse_number("-.5")
    (12.5, -0.5)
    """
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        try:
            value = float(text)
        except OverflowError:
            raise ValueError("a number with more than 300 digits is not a measurement") from None
    else:
        word = tidy(str(text))
        if not word:
            raise ValueError("the cell is empty; a number is needed")
        if not _NUMBER.fullmatch(word):
            if "," in word and "." in word:
                raise ValueError(f"{word!r} has both a comma and a point; write one decimal mark")
            raise ValueError(f"{word!r} is not a number")
        value = float(word.replace(",", "."))
    if not math.isfinite(value):
        raise ValueError(f"{value} is not a finite number")
    return value


def tidy(text: str) -> str:
    """Return text with one kind of quote, minus and space, and fractions written out."""
    if len(text) > _LONGEST:
        raise ValueError(f"{text[:20]!r}... is too long for a number")
    if not text.isascii():
        text = "".join(_spelt_out(c) for c in text)
    return " ".join(text.translate(_MARKS).replace("''", '"').split())


def _spelt_out(character: str) -> str:
    if unicodedata.category(character) == "No" and "⁄" in unicodedata.normalize("NFKC", character):
        return " " + unicodedata.normalize("NFKC", character).replace("⁄", "/")
    return character


def parse_mixed(word: str) -> Fraction:
    """Return the exact value of a decimal, a fraction or a mixed number."""
    body = word[1:].strip() if word[:1] in ("+", "-") else word
    mixed = _MIXED.fullmatch(body)
    if mixed:
        if int(mixed["bottom"]) == 0:
            raise ValueError(f"{word!r} divides by zero")
        value = Fraction(int(mixed["whole"] or 0)) + Fraction(int(mixed["top"]), int(mixed["bottom"]))
    elif body[:1] in ("+", "-"):
        raise ValueError(f"{word!r} has two signs")
    else:
        value = Fraction(str(parse_number(body)))
    return -value if word.startswith("-") else value


def parse_feet_inches(word: str) -> Fraction:
    """Return inches from feet and inches with their marks; the sign holds for the whole."""
    match = _FEET_INCHES.fullmatch(word)
    if not match or not (match["feet"] or match["inches"]):
        raise ValueError(f"{word!r} is not feet and inches; write it like 5' 3 1/2\"")
    feet = parse_mixed(match["feet"].strip()) if match["feet"] else Fraction(0)
    inches = parse_mixed(match["inches"].strip()) if match["inches"] else Fraction(0)
    if feet < 0 or inches < 0:
        raise ValueError(f"{word!r} has a sign in the middle; put it in front")
    if match["feet"] and inches >= 12:
        raise ValueError(f"{word!r} has 12 inches or more behind the feet")
    total = feet * 12 + inches
    return -total if match["sign"] == "-" else total
