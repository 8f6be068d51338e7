"""What a blank booking sheet asks for, in metres; and how it is written for the crew."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from trackkit.units import Display

__all__ = ["BlankForm"]


@dataclass(frozen=True, eq=False)
class BlankForm:
    """A booking sheet before anything is written on it.

    Attributes
    ----------
    job, note : str
        Name of the job, and what is printed under it.
    display : Display
        How lengths are written for this crew.
    rows : DataFrame
        One row a rod reading, in the order of reading: row (2, 3, ...: where it stands in the table, whose
        header is row 1), laser, point, station_m (NaN for a peg, or where ``section`` says the place), side,
        section (0 where a station says the place), end, why, first (row of the first reading of what is
        read again, else 0). Words are '' where they say nothing.
    side_names : mapping
        Landmarks for 'left' and 'right'.
    pegs : tuple of str
        Control peg and check peg, or none.
    allowed : float
        Greatest difference that a reading may have to the first one of the same point [m].
    rod_sd : float
        What that comes from: standard deviation of one rod reading [m].
    head, tail : float
        Ends of the run [m].
    marks : tuple of float or None
        Stations of the start mark and the end mark [m]; None for track that lies already.
    width : float
        Between the two lines that are read [m].
    phone : tuple of float
        Stations for boards and left-to-rights [m]; empty without a phone.
    """

    job: str
    note: str
    display: Display
    rows: pd.DataFrame
    side_names: Mapping[str, str]
    pegs: tuple[str, ...]
    allowed: float
    rod_sd: float
    head: float
    tail: float
    marks: tuple[float, float] | None
    width: float
    phone: tuple[float, ...] = ()

    @property
    def by_section(self) -> bool:
        """Whether places are said by section, end and side: the track lies already."""
        return self.marks is None

    @property
    def lasers(self) -> int:
        """How many laser positions there are."""
        return int(self.rows["laser"].nunique())

    @property
    def rod_column(self) -> str:
        """Column that the rod is typed into."""
        return f"rod_{self.display.unit}"

    @property
    def rod_word(self) -> str:
        """Unit that the rod is written in, in words."""
        return "inches" if self.display.unit == "in" else self.display.unit

    @property
    def long_unit(self) -> str:
        """Unit of distances in the tables: 'm' or 'ft'."""
        return "ft" if self.display.unit == "in" else "m"

    @property
    def long_word(self) -> str:
        """Unit that distances are written in, in words."""
        return "feet, inches" if self.display.unit == "in" else "m"

    def station(self, metres: float) -> str:
        """Return a station as the table takes it: ``-2.50``, or feet and inches."""
        return self.display.long(metres).removesuffix(" m")

    def long(self, metres: float) -> str:
        """Return a distance along the run as the sheet prints it, with a long minus sign."""
        return self.display.long(metres).replace("-", "−")

    def side(self, side: str) -> str:
        """Return a side by its landmark and by left or right: ``house side (left)``."""
        name = self.side_names[side]
        return side if name.strip().casefold() == side else f"{name} ({side})"

    def peg(self, point: str) -> str:
        """Return which peg it is: 'control peg' or 'check peg'."""
        return "control peg" if point == self.pegs[0] else "check peg"

    def within(self, metres: float) -> str:
        """Return a limit, rounded down to what a rod is read to but never to nothing."""
        steps = max(1, math.floor(metres / self.display.step + 1e-9))
        return self.display.small_unit(steps * self.display.step)
