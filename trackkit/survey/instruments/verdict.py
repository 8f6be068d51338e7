"""What a check of an instrument comes to: a value with its doubt, held against a limit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

__all__ = ["SURE", "InstrumentCheck", "Verdict"]

Verdict = Literal["good", "not good", "cannot be told"]
#: A value is over, or under, a limit if it is so by this many standard deviations (19 times in 20).
SURE: Final = 2.0


@dataclass(frozen=True)
class InstrumentCheck:
    """What one check found.

    Attributes
    ----------
    what : str
        What was checked: ``line of sight``, ``zero error of phone``.
    value, sd : float
        What was found and its standard deviation: a slope (rise over distance), an angle [rad] or a
        height [m], as ``what`` says.
    limit : float
        What it should not be over, either way; in the same unit.
    basis : str
        Where the limit comes from.
    dof : int
        Readings more than unknowns; with 0 nothing checks the check.
    do : str
        What to do if it is not good, in plain words.
    correction : mapping of str to str
        Keys and values, as they are written under ``[instruments]`` in the job file, that put it right; may
        be empty.

    Raises
    ------
    ValueError
        If the standard deviation is negative, or a figure is not finite.

    Examples
    --------
    >>> InstrumentCheck("line of sight", 8e-5, 1e-5, 5e-5, "the maker", 1).verdict
    'not good'
    >>> InstrumentCheck("line of sight", 8e-5, 4e-5, 5e-5, "the maker", 1).verdict
    'cannot be told'
    """

    what: str
    value: float
    sd: float
    limit: float
    basis: str
    dof: int
    do: str = ""
    correction: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        figures = (self.value, self.sd, self.limit)
        if not all(map(math.isfinite, figures)) or self.sd < 0 or self.limit < 0:
            raise ValueError(
                f"{self.what}: value, sd and limit must be finite, sd and limit not negative; "
                f"got {self.value}, {self.sd}, {self.limit}"
            )

    @property
    def verdict(self) -> Verdict:
        """Whether it is within the limit, over it, or too doubtful to tell."""
        over = abs(self.value) - self.limit
        if over > SURE * self.sd:
            return "not good"
        return "good" if over <= -SURE * self.sd else "cannot be told"
