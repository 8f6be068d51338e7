"""Every fault found in an input, with its place and how to mend it; and what a plan must warn of.

Faults are collected, so that a grip mends a file once and not ten times. Three errors leave the
library on purpose: `InputProblems` (what was typed is wrong), `FitError` (the readings cannot
give a ground) and `CannotDo` (the job cannot be done as asked).
"""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

__all__ = [
    "Advisory",
    "CannotDo",
    "FitError",
    "InputProblems",
    "Problem",
    "Problems",
    "closest",
    "folded",
    "hidden_characters",
    "nearest",
    "visible",
]

#: Characters that order other characters about: they may turn what stands on a line around.
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


@dataclass(frozen=True)
class Problem:
    """One fault in one input.

    Attributes
    ----------
    file : str
        Name of the file (with the sheet, if it is a spreadsheet).
    found, accepted, do : str
        What stands there, what may stand there, and what to do about it.
    row : int or None
        Row as a spreadsheet counts it: the header is row 1.
    column : str or None
        Name of the column, or of the key in ``job.toml``.
    """

    file: str
    found: str
    accepted: str
    do: str = ""
    row: int | None = None
    column: str | None = None

    def __str__(self) -> str:
        place = self.file
        if self.row is not None:
            place += f", row {self.row}"
        if self.column is not None:
            place += f", {self.column}"
        do = f" → {self.do}" if self.do else ""
        return visible(f"{place}: found {self.found}; accepted: {self.accepted}.{do}")


class InputProblems(ValueError):
    """All the faults found in a user's files; ``.problems`` holds them one by one."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class FitError(ValueError):
    """The readings cannot give a ground; the message names the points and what to read."""


class CannotDo(ValueError):
    """The job cannot be done as asked; the message says why and what would work."""


@dataclass
class Problems:
    """Collects faults while files are read; raises them all together at the end.

    Attributes
    ----------
    found : list of Problem
        The faults, in the order they were met; the same one is kept once.
    notes : list of str
        How doubtful things were read that are no faults ("rod_ft 5.3 read as decimal feet").
    """

    found: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    _known: set[Problem] = field(default_factory=set, init=False, repr=False, compare=False)

    def add(self, problem: Problem) -> None:
        """Keep one more fault."""
        if problem not in self._known:
            self._known.add(problem)
            self.found.append(problem)

    def __post_init__(self) -> None:
        """Know again what it was given."""
        self._known = set(self.found)

    def note(self, text: str) -> None:
        """Keep one more remark on how something was read."""
        text = visible(text)
        if text not in self.notes:
            self.notes.append(text)

    def raise_if_any(self) -> None:
        """Raise `InputProblems` with everything collected, if there is anything."""
        if self.found:
            raise InputProblems(self.found)


def folded(faults: Iterable[Problem], most: int) -> list[Problem]:
    """Return faults in their order, those beyond ``most`` of one kind as one that counts them.

    Faults are of one kind if file, column, what is accepted and what to do are the same: in a log of
    100,000 rows a column in the wrong unit is one slip, not 100,000.

    Parameters
    ----------
    faults : iterable of Problem
    most : int
        How many of a kind are told one by one.

    Examples
    --------
    >>> many = [Problem("a.csv", f"row {row}", "a number", "", row, "x") for row in range(2, 9)]
    >>> [fault.found for fault in folded(many, 2)]
    ['row 2', 'row 3', '5 more like it, in rows 4 to 8']
    """
    kinds: dict[tuple[str, str | None, str, str], list[Problem]] = {}
    kept: list[Problem | tuple[str, str | None, str, str]] = []
    for fault in faults:
        kind = (fault.file, fault.column, fault.accepted, fault.do)
        alike = kinds.setdefault(kind, [])
        alike.append(fault)
        if len(alike) <= most:
            kept.append(fault)
        elif len(alike) == most + 1:
            kept.append(kind)
    return [each if isinstance(each, Problem) else _more(kinds[each][most:]) for each in kept]


def _more(rest: list[Problem]) -> Problem:
    if len(rest) == 1:
        return rest[0]
    rows = [fault.row for fault in rest if fault.row is not None]
    where = f", in rows {min(rows)} to {max(rows)}" if rows else ""
    return replace(rest[0], found=f"{len(rest)} more like it{where}", row=None)


@dataclass(frozen=True)
class Advisory:
    """A statement about safety or doubt.

    Attributes
    ----------
    level : {'note', 'caution', 'stop'}
    place : str
        Where on the job, in the crew's words: "tie 4 left", "the whole run".
    text : str
        What is the matter, with its figure.
    basis : str
        Where the figure comes from: a source, "common practice, no source", or "guess".
    """

    level: Literal["note", "caution", "stop"]
    place: str
    text: str
    basis: str

    def __str__(self) -> str:
        return f"{self.level.upper()}: {self.place}: {self.text} ({self.basis})"


def closest(word: str, known: Iterable[str]) -> str:
    """Return the known word most like this one, or '' if none is like it.

    Examples
    --------
    >>> closest("statoin_m", ["rod_m", "station_m"])
    'station_m'
    """
    close = difflib.get_close_matches(word.lower(), list(known), n=1, cutoff=0.6)
    return close[0] if close else ""


def nearest(word: str, known: Iterable[str]) -> str:
    """Return ``did you mean 'rod_mm'?`` for the known word most like this one, or ''.

    Examples
    --------
    >>> nearest("rod_nm", ["rod_mm", "side"])
    "did you mean 'rod_mm'?"
    """
    close = closest(word, known)
    return f"did you mean {close!r}?" if close else ""


def hidden_characters(text: str, *, lines: bool = False) -> str:
    r"""Return the first character that a terminal would obey instead of showing, by its code; or ''.

    ``lines`` says whether the text may have several lines, and tabs.

    Examples
    --------
    >>> hidden_characters("gate post"), hidden_characters("gate\x1b[2J")
    ('', 'a character that cannot be seen (U+001B)')
    """
    if text.isprintable():
        return ""
    allowed = "\n\r\t" if lines else ""
    for character in text:
        if _obeyed(character) and character not in allowed:
            return f"a character that cannot be seen (U+{ord(character):04X})"
    return ""


def visible(text: str) -> str:
    r"""Return text with what a terminal would obey written out (line breaks too).

    Examples
    --------
    >>> print(visible("gate\x1b[2J"))
    gate\x1b[2J
    """
    if text.isprintable():
        return text
    return "".join(
        character.encode("unicode_escape").decode() if _obeyed(character) else character for character in text
    )


def _obeyed(character: str) -> bool:
    return unicodedata.category(character) in ("Cc", "Zl", "Zp", "Cs") or character in _TURNING
