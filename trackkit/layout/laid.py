"""The track as it will lie: sections, joints, ties and supports, each with its station."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from trackkit.layout.breaks import clear_shift
from trackkit.layout.grounds import SIDES, FloatArray, Point
from trackkit.layout.run_notes import run_advisories
from trackkit.layout.sections import Placed
from trackkit.layout.shot import LayRules, Shot
from trackkit.problems import Advisory
from trackkit.units import Display

__all__ = ["Run", "assemble"]


@dataclass(frozen=True, eq=False)
class Run:
    """The track as it will lie.

    Attributes
    ----------
    ties : DataFrame
        tie (1..n from the head), section (1.. from the head), name, along_m, station_m,
        role (``set`` for the first and last tie of a section, else ``fill``), support, bearing_m,
        rail_top_m.
    joints : DataFrame
        joint (``J1``...), along_m, station_m, tie_before, tie_after.
    sections : DataFrame
        section, name, head_m, tail_m (stations), length_m, turned, dinged ('', 'head', 'tail').
    supports : DataFrame
        support, kind (``tie`` or ``joint``: one box under both ties), ties, role, station_m.
    length : float
        Length of the track [m].
    head, tail : float
        Stations of its ends [m].
    needed_head, needed_tail : float
        Stations the shot asks it to reach [m]; the ends themselves where there is no shot.
    breakdown : str
        What the needed length is made of, in words; empty where there is no shot.
    other_way : tuple of float or None
        Needed head and tail if the chassis trailed at the other end [m].
    clear_shift : float or None
        Smallest further shift that clears every break [m]; None when none does, or no shot.
    rail_top : float
        Greatest underside-to-rail-top of the sections: the line is that of this track [m].
    gauge : float
        Distance between rail centres [m].
    shot : Shot or None
    placed : tuple of Placed
    advisories : tuple of Advisory
    """

    ties: pd.DataFrame
    joints: pd.DataFrame
    sections: pd.DataFrame
    supports: pd.DataFrame
    length: float
    head: float
    tail: float
    needed_head: float
    needed_tail: float
    breakdown: str
    other_way: tuple[float, float] | None
    clear_shift: float | None
    rail_top: float
    gauge: float
    shot: Shot | None
    placed: tuple[Placed, ...]
    advisories: tuple[Advisory, ...]
    breaks: tuple[tuple[float, float], ...]
    rules: LayRules
    display: Display

    @property
    def needed(self) -> float:
        """Horizontal length that the shot needs [m]."""
        return self.needed_tail - self.needed_head

    @property
    def surplus(self) -> float:
        """Horizontal length over what the shot needs [m]; negative when short."""
        return (self.tail - self.head) - self.needed

    @property
    def knots(self) -> FloatArray:
        """Stations of head, joints and tail, shape (sections + 1,) [m]."""
        return np.append(self.sections["head_m"].to_numpy(dtype=float), self.tail)

    def chassis_text(self) -> str:
        """Return which way the chassis trails, and what the other way would change, in plain words."""
        if self.shot is None or self.other_way is None:
            return ""
        head, tail = self.other_way
        words = {"behind": "behind", "ahead": "ahead of"}
        here, other = words[self.shot.chassis_trails], words[self.shot.turned().chassis_trails]
        long = self.display.long
        return (
            f"The chassis trails {here} the camera: track is needed from "
            f"{long(self.needed_head)} to {long(self.needed_tail)} (distance from the start mark). "
            f"With the chassis {other} the camera it would be the same length from {long(head)} to "
            f"{long(tail)}."
        )

    def tie_points(self) -> list[Point]:
        """Return (station, side) of every tie end: tie by tie, left before right."""
        return [(float(s), side) for s in self.ties["station_m"].to_numpy(dtype=float) for side in SIDES]

    def drop_at(self, station: npt.ArrayLike) -> FloatArray:
        """Return how far the track's underside lies above the line [m]: 0 unless sections differ in height.

        At a joint it is that of the section which begins there; a tie's own is by its ``rail_top_m``.
        """
        tops = np.array([place.section.rail_top for place in self.placed])
        section = np.searchsorted(self.knots, np.asarray(station, dtype=float), side="right") - 1
        return np.asarray(self.rail_top - tops[np.clip(section, 0, len(tops) - 1)])

    def tie_at(self, tie: int) -> float:
        """Return the station of a tie by its number [m].

        Raises
        ------
        ValueError
            If the run has no such tie.
        """
        if not 1 <= tie <= len(self.ties):
            raise ValueError(f"tie must be 1 to {len(self.ties)}, got {tie}")
        return float(self.ties["station_m"].iloc[tie - 1])

    def corner(self, section: int, end: Literal["head", "tail"]) -> tuple[int, float]:
        """Return number and station of the tie at a section's corner: its first or its last tie.

        Raises
        ------
        ValueError
            If the run has no such section, or ``end`` is neither ``head`` nor ``tail``.
        """
        if end not in ("head", "tail"):
            raise ValueError(f"end must be 'head' or 'tail', got {end!r}")
        mine = self.ties[self.ties["section"] == section]
        if mine.empty:
            raise ValueError(f"section must be 1 to {len(self.sections)}, got {section}")
        row = mine.iloc[0 if end == "head" else -1]
        return int(row["tie"]), float(row["station_m"])

    def stations_on(self, grade: float | Sequence[float] | FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the stations of knots (head, joints, tail) and of ties on a grade, without tables.

        Parameters
        ----------
        grade : float or array, shape (sections,)
            Rise over horizontal distance: one for all, or one a section.
        """
        ends, knots = _ends(self.placed, self.head, grade)
        return knots, np.interp(self.ties["along_m"].to_numpy(dtype=float), ends, knots)

    def on_grade(self, grade: float | Sequence[float] | FloatArray) -> Run:
        """Return the same track on a grade: stations shrink by its cosine, the head stays.

        Parameters
        ----------
        grade : float or array, shape (sections,)
            Rise over horizontal distance: one for all, or one a section.
        """
        if np.array_equal(self.stations_on(grade)[0], self.knots):
            return self
        return assemble(
            self.placed, self.head, shot=self.shot, breaks=self.breaks, rules=self.rules,
            display=self.display, grade=grade,
        )  # fmt: skip


def assemble(
    placed: tuple[Placed, ...],
    head: float,
    *,
    shot: Shot | None,
    breaks: tuple[tuple[float, float], ...],
    rules: LayRules,
    display: Display,
    grade: float | Sequence[float] | FloatArray,
) -> Run:
    """Number ties, joints and supports, and put stations to them."""
    ends, knots = _ends(placed, head, grade)
    section = np.repeat(np.arange(len(placed)), [len(place.ties) for place in placed])
    along = np.concatenate([ends[i] + np.array(place.ties) for i, place in enumerate(placed)])
    first = np.flatnonzero(np.diff(section, prepend=-1))
    last = np.flatnonzero(np.diff(section, append=len(placed)))
    role = np.full(len(along), "fill", dtype=object)
    role[first] = role[last] = "set"
    bearing = np.array([placed[i].section.bearing for i in section])
    support = np.array([f"T{i + 1}" for i in range(len(along))], dtype=object)
    for j, (before, after) in enumerate(zip(last[:-1], first[1:], strict=True)):
        reach = along[after] - along[before] + (bearing[before] + bearing[after]) / 2
        if reach <= rules.joint_box + 1e-9:
            support[before] = support[after] = f"J{j + 1}"
    ties = pd.DataFrame(
        {
            "tie": np.arange(1, len(along) + 1),
            "section": section + 1,
            "name": [placed[i].section.name for i in section],
            "along_m": along,
            "station_m": np.interp(along, ends, knots),
            "role": role,
            "support": support,
            "bearing_m": bearing,
            "rail_top_m": [placed[i].section.rail_top for i in section],
        }
    )
    joints = pd.DataFrame(
        {
            "joint": [f"J{j}" for j in range(1, len(placed))],
            "along_m": ends[1:-1],
            "station_m": knots[1:-1],
            "tie_before": last[:-1] + 1,
            "tie_after": first[1:] + 1,
        }
    )
    laid = pd.DataFrame(
        {
            "section": np.arange(1, len(placed) + 1),
            "name": [place.section.name for place in placed],
            "head_m": knots[:-1],
            "tail_m": knots[1:],
            "length_m": [place.section.length for place in placed],
            "turned": [place.turned for place in placed],
            "dinged": [place.dinged for place in placed],
        }
    )
    span = shot.span() if shot else (float(knots[0]), float(knots[-1]))
    run = Run(
        ties=ties, joints=joints, sections=laid, supports=_supports(ties), length=float(ends[-1]),
        head=float(knots[0]), tail=float(knots[-1]), needed_head=span[0], needed_tail=span[1],
        breakdown=shot.breakdown(display) if shot else "",
        other_way=shot.turned().span() if shot else None, clear_shift=None,
        rail_top=max(place.section.rail_top for place in placed), gauge=placed[0].section.gauge,
        shot=shot, placed=placed, advisories=(), breaks=breaks, rules=rules, display=display,
    )  # fmt: skip
    shift = None
    if shot is not None and breaks:
        shift = clear_shift(
            ties["station_m"].to_numpy(dtype=float), breaks, half_box=rules.half_box,
            half_width=rules.half_width, width=run.gauge,
            low=run.needed_tail - run.tail, high=run.needed_head - run.head,
        )  # fmt: skip
    run = replace(run, clear_shift=shift)
    return replace(run, advisories=run_advisories(run))


def _ends(
    placed: tuple[Placed, ...], head: float, grade: float | Sequence[float] | FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return head, joints and tail: distance along the track, and station on the grade [m]."""
    lengths = np.array([place.section.length for place in placed])
    flat = lengths * np.cos(np.arctan(np.broadcast_to(np.asarray(grade, dtype=float), lengths.shape)))
    return (
        np.concatenate([[0.0], np.cumsum(lengths)]),
        head + np.concatenate([[0.0], np.cumsum(flat)]),
    )


def _supports(ties: pd.DataFrame) -> pd.DataFrame:
    groups = ties.groupby("support", sort=False)
    return pd.DataFrame(
        {
            "support": list(groups.groups),
            "kind": ["joint" if str(name).startswith("J") else "tie" for name in groups.groups],
            "ties": [tuple(int(tie) for tie in group["tie"]) for _, group in groups],
            "role": groups["role"].first().to_numpy(),
            "station_m": groups["station_m"].mean().to_numpy(),
        }
    )
