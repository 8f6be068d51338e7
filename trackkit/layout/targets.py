"""Rod readings to set the rails by on the day, from one reading on the control peg.

The rod and the bubble sit on the rail. With the laser standing anywhere::

    height of laser = height of control peg + rod reading on it
    target at a tie = height of laser - rail top there = reading on the control peg - offset

where the offset, rail top above control peg, is known from the survey day. A larger target means
a lower rail. On a level line it is one number for the whole job.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import pandas as pd

from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import GroundLike
from trackkit.layout.laid import Run
from trackkit.problems import Advisory

__all__ = [
    "CheckVerdict",
    "Peg",
    "TargetRules",
    "Targets",
    "check_pegs",
    "from_peg",
    "pegs_from_ground",
    "target_rods",
]

#: Targets this close are one number [m]: half a millimetre, which no rod shows.
_ONE_NUMBER: Final = 0.0005


@dataclass(frozen=True)
class Peg:
    """A peg off the lay, with its height from the survey and the day's rod reading on it.

    Attributes
    ----------
    name : str
    height : float
        Height above the datum [m].
    reading : float or None
        Rod reading on it on the laying day, laser as it stands now [m]; None before it is read.
    """

    name: str
    height: float
    reading: float | None = None


@dataclass(frozen=True)
class TargetRules:
    """What a reading on the day is worth, and when two pegs agree. All can be changed.

    Attributes
    ----------
    rod_sd : float
        Standard deviation of one rod reading with the laser [m]. 1.5 mm: guess; your own from
        reading one point several times is better.
    agree, doubtful : float
        Difference over its sd up to which the pegs agree, and from which nobody should lay from
        them. 2 and 3: beyond these come 1 in 22 and 1 in 370 of normal errors.
    shortest_rod, longest_rod : float
        Rod readings that can be read [m]. 0.05 and 5 m: common practice, no source.
    """

    rod_sd: float = 0.0015
    agree: float = 2.0
    doubtful: float = 3.0
    shortest_rod: float = 0.05
    longest_rod: float = 5.0


@dataclass(frozen=True)
class CheckVerdict:
    """Whether control and check peg still agree.

    Attributes
    ----------
    verdict : {'agrees', 'read again', 'do not lay', 'unchecked'}
    difference : float
        Reading on the check peg less what the control peg makes it [m]: positive when the check
        peg lies lower than it should, or the control peg higher. NaN when unchecked.
    sd : float
        Standard deviation that this difference has when nothing moved [m].
    text : str
    basis : str
    """

    verdict: Literal["agrees", "read again", "do not lay", "unchecked"]
    difference: float
    sd: float
    text: str
    basis: str


@dataclass(frozen=True, eq=False)
class Targets:
    """What to read on the rod at every corner.

    Attributes
    ----------
    table : DataFrame
        tie, section, role, station_m, side, rail_top_m (above the datum), above_control_m (rail
        top above the control peg), rod_m (target; NaN before the control peg is read, and when
        the pegs disagree: a wrong target is worse than none).
    one_rod : float or None
        The one target for all of them [m], when there is one, the peg is read, and nothing says not
        to lay from it.
    one_offset : float or None
        The one height above the control peg [m], when there is one.
    laser : float
        Height of the laser on the day above the datum [m]; NaN while there is no ``rod_m``.
    headline : (str, str) or None
        The one target as question and answer: ("target: rod on the rail", "122.4 cm"), or "P1 minus
        19.7 cm" before P1 is read; None if there is none.
    text : str
        What to do, in plain words.
    check : CheckVerdict
    control : Peg
        The peg that they are worked out from.
    advisories : tuple of Advisory
    """

    table: pd.DataFrame
    one_rod: float | None
    one_offset: float | None
    laser: float
    headline: tuple[str, str] | None
    text: str
    check: CheckVerdict
    control: Peg
    advisories: tuple[Advisory, ...]


def pegs_from_ground(
    ground: GroundLike, names: tuple[str, str], readings: Mapping[str, float] | None = None
) -> tuple[Peg, Peg, float]:
    """Return control and check peg with their surveyed heights, and the sd of their difference [m].

    Parameters
    ----------
    ground : GroundLike
        Knows the pegs by name.
    names : (str, str)
        Control peg and check peg.
    readings : mapping, optional
        The day's rod reading on each [m], by name; a missing one is not read yet.
    """
    heights = np.asarray(ground.mean(list(names)), dtype=float)
    covariance = np.asarray(ground.covariance(list(names)), dtype=float)
    apart = np.array([1.0, -1.0])
    read = dict(readings or {})
    control, check = (Peg(name, float(h), read.get(name)) for name, h in zip(names, heights, strict=True))
    return control, check, math.sqrt(max(0.0, float(apart @ covariance @ apart)))


def target_rods(
    fills: pd.DataFrame,
    line: FinishedLine,
    run: Run,
    *,
    control: Peg,
    check: Peg | None = None,
    difference_sd: float = 0.0,
    every_tie: bool = False,
    rules: TargetRules | None = None,
) -> Targets:
    """Return the target rod reading on the rail at every tie end that is set with the level.

    Parameters
    ----------
    fills : DataFrame
        From `trackkit.layout.fills.fill_table`.
    line : FinishedLine
        The line that the fills are of.
    run : Run
        For how lengths are written.
    control : Peg
        The peg that carries height from the survey to the laying day. Before it is read the table
        gives rail heights above it.
    check : Peg, optional
        A second peg, to see that the first still stands.
    difference_sd : float
        Standard deviation of the pegs' surveyed difference in height [m]; see `pegs_from_ground`.
    every_tie : bool
        Also the ties between the corners, which are otherwise filled to touch.
    rules : TargetRules, optional
        What a reading is worth, and what a rod can read.

    Raises
    ------
    ValueError
        If a reading or height is not finite.
    """
    rules = rules or TargetRules()
    for peg in (control, *([check] if check else [])):
        if not math.isfinite(peg.height) or (peg.reading is not None and not math.isfinite(peg.reading)):
            raise ValueError(
                f"peg {peg.name!r}: height and reading must be finite, got {peg.height}, {peg.reading}"
            )
    wanted = fills if every_tie else fills[fills["role"] == "set"]
    table = wanted[["tie", "section", "role", "station_m", "side"]].reset_index(drop=True)
    rail = line.rail_top(table["station_m"].to_numpy(dtype=float))
    above = rail - control.height
    laser = math.nan if control.reading is None else control.height + control.reading
    verdict = check_pegs(control, check, difference_sd=difference_sd, run=run, rules=rules)
    if verdict.verdict == "do not lay":
        laser = math.nan
    table = table.assign(rail_top_m=rail, above_control_m=above, rod_m=laser - rail)
    one = float(np.ptp(above)) <= _ONE_NUMBER
    offset = float((above.max() + above.min()) / 2) if one else None
    rod = None if offset is None or math.isnan(laser) else laser - float(rail.max() + rail.min()) / 2
    return Targets(
        table=table, one_rod=rod, one_offset=offset, laser=laser,
        headline=_headline(control, offset, rod, verdict, run),
        text=_in_words(control, offset, rod, verdict, run), check=verdict, control=control,
        advisories=_advise(table, control, verdict, run, rules),
    )  # fmt: skip


def check_pegs(
    control: Peg, check: Peg | None, *, difference_sd: float, run: Run, rules: TargetRules | None = None
) -> CheckVerdict:
    """Return whether the day's readings on both pegs fit their surveyed heights.

    Parameters
    ----------
    control : Peg
        The peg that targets are worked out from.
    check : Peg or None
        The peg that tests it.
    difference_sd : float
        Standard deviation of their surveyed difference in height [m].
    run : Run
        For how lengths are written.
    rules : TargetRules, optional
        What a reading is worth, and when pegs agree.
    """
    rules = rules or TargetRules()
    sd = math.hypot(difference_sd, math.sqrt(2) * rules.rod_sd)
    show = run.display.small_unit

    def small(value: float) -> str:
        return f"under {show(run.display.step)}" if show(value) == show(0.0) else show(value)

    basis = (
        f"the difference is good to about {small(sd)}: {small(difference_sd)} from the survey, "
        f"{small(rules.rod_sd)} for each of the two readings"
    )
    if check is None:
        text = "Nothing checks the control peg: read a second surveyed peg before laying."
        return CheckVerdict("unchecked", math.nan, sd, text, basis)
    if control.reading is None or check.reading is None:
        apart = control.height - check.height
        text = (
            f"Read {control.name}, then {check.name}, before laying: {check.name} should read "
            f"{show(abs(apart))} {'more' if apart > 0 else 'less'} than {control.name}, give or take "
            f"{show(max(rules.agree * sd, run.display.step))}."
        )
        return CheckVerdict("unchecked", math.nan, sd, text, basis)
    difference = (check.reading - control.reading) - (control.height - check.height)
    off = f"{check.name} reads {show(abs(difference))} {'more' if difference > 0 else 'less'} than it should"
    if abs(difference) <= rules.agree * sd:
        usual = show(rules.agree * sd)
        return CheckVerdict(
            "agrees",
            difference,
            sd,
            f"The pegs agree: {off}, up to {usual} is usual. Lay from {control.name}.",
            basis,
        )
    if abs(difference) <= rules.doubtful * sd:
        text = f"Doubtful: {off}. Read both pegs again before laying; if it stays, read a third point."
        return CheckVerdict("read again", difference, sd, text, basis)
    text = (
        f"Do not lay from these pegs: {off}. One has moved, a rod was misread or stood on the wrong point, "
        "or the laser is not level. Read both again; if it stays, rod two or three tie ends and compare "
        "with the survey."
    )
    return CheckVerdict("do not lay", difference, sd, text, basis)


def _headline(
    control: Peg, offset: float | None, rod: float | None, verdict: CheckVerdict, run: Run
) -> tuple[str, str] | None:
    what, show = "target: rod on the rail", run.display.small_unit
    if offset is None or verdict.verdict == "do not lay":
        return None
    if rod is not None:
        return what, show(rod)
    return what, f"{control.name} {from_peg(offset)} {show(abs(offset))}"


def from_peg(offset: float) -> str:
    """Return what is done with the height of a rail top above the peg, to the reading on the peg.

    Rod on the rail = reading on the peg minus offset: a rail that is higher reads less.

    Examples
    --------
    >>> from_peg(0.197), from_peg(-0.24)
    ('minus', 'plus')
    """
    return "minus" if offset >= 0 else "plus"


def _in_words(control: Peg, offset: float | None, rod: float | None, verdict: CheckVerdict, run: Run) -> str:
    show = run.display.small_unit
    if verdict.verdict == "do not lay":
        return "No target: the pegs disagree."
    if rod is not None:
        return f"Target for the whole job: {show(rod)} on the rod, standing on the rail."
    if control.reading is not None:
        return "Each corner has a target of its own on the rod, standing on the rail: see the table."
    if offset is None:
        return (
            f"Each corner has a target of its own: read {control.name} first, then add to that reading what "
            "the table says with plus, and take off it what it says with minus. The rod stands on the rail."
        )
    return (
        f"Target for the whole job: the reading on {control.name} {from_peg(offset)} {show(abs(offset))}. "
        "The rod stands on the rail."
    )


def _advise(
    table: pd.DataFrame, control: Peg, verdict: CheckVerdict, run: Run, rules: TargetRules
) -> tuple[Advisory, ...]:
    found: list[Advisory] = []
    show = run.display
    if verdict.verdict in ("read again", "do not lay"):
        level: Literal["caution", "stop"] = "caution" if verdict.verdict == "read again" else "stop"
        found.append(Advisory(level, "the control peg", verdict.text, verdict.basis))
    elif verdict.verdict == "unchecked" and control.reading is not None:
        found.append(Advisory("caution", "the control peg", verdict.text, verdict.basis))
    if control.reading is None or verdict.verdict == "do not lay":
        return tuple(found)
    rods = table["rod_m"].to_numpy(dtype=float)
    low, high = int(np.argmin(rods)), int(np.argmax(rods))
    if rods[low] < rules.shortest_rod:
        text = (
            f"the laser stands too low for the rail: the target would be "
            f"{show.small_unit(float(rods[low]))}. Set it at least "
            f"{show.small_unit(rules.shortest_rod - float(rods[low]))} higher and read {control.name} again"
        )
        found.append(Advisory("stop", _place(table, low), text, "a rod cannot be read there"))
    if rods[high] > rules.longest_rod:
        text = (
            f"the target is {show.small_unit(float(rods[high]))}, more than the rod's "
            f"{show.small_unit(rules.longest_rod)}. Set the laser lower, or nearer to the low end, and read "
            f"{control.name} again"
        )
        found.append(Advisory("caution", _place(table, high), text, "length of the rod as stated"))
    return tuple(found)


def _place(table: pd.DataFrame, row: int) -> str:
    return f"tie {int(table['tie'].iloc[row])} {table['side'].iloc[row]}"
