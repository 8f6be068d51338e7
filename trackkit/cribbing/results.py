"""What a choice of stacks holds: every stack piece by piece, what is missing, what to take off the truck."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import pandas as pd

from trackkit.cribbing.truck import Truck
from trackkit.problems import Advisory
from trackkit.units import DISPLAYS, Display

__all__ = ["BareCandidate", "Closing", "Placed", "Shortage", "Stack", "StackPlan", "Unfillable"]


@dataclass(frozen=True)
class Placed:
    """One layer of a stack.

    Attributes
    ----------
    item, kind : str
    thickness, bottom : float
        Height of the layer, and of its underside above the ground [m].
    length, width : float
        Footprint of one piece as it lies, the length along the run except in ``both_ends`` [m].
    on_edge : bool
    per_layer : int
        Pieces in the layer at this support: 2 for a crossed pair, or for one piece under each tie of a joint.
    both_ends : bool
        One piece across the run that carries the other end of the tie too; it is counted once.
    """

    item: str
    kind: str
    thickness: float
    bottom: float
    length: float
    width: float
    on_edge: bool = False
    per_layer: int = 1
    both_ends: bool = False

    def words(self) -> str:
        """Return what a grip would say: ``half``, ``2x4 on edge``, ``2 2x4 crossed``."""
        text = self.item + (" on edge" if self.on_edge else "")
        if self.per_layer > 1:
            text = f"{self.per_layer} x {text}"
        return text + (" through to the other side" if self.both_ends else "")


@dataclass(frozen=True)
class Closing:
    """The closing piece at one tie end.

    Attributes
    ----------
    tie : int
    kind : {'none', 'shim', 'single', 'pair'}
    item : str
        What it is made of; several shims are joined by ' + '.
    takes : tuple of (str, int)
        Items and how many.
    height, low, high : float
        Height at design, and its travel [m].
    change_chance : float
        Chance that the height found on the day is outside its travel.
    how_far_in, overlap, goes_in, from_side, stick_out, stick_side
        As in `trackkit.cribbing.wedges.Entry`.
    """

    tie: int
    kind: Literal["none", "shim", "single", "pair"]
    item: str
    takes: tuple[tuple[str, int], ...]
    height: float
    low: float
    high: float
    change_chance: float
    how_far_in: float = 0.0
    overlap: float = 0.0
    goes_in: str = ""
    from_side: str = ""
    stick_out: float = 0.0
    stick_side: str = ""

    def words(self, show: Display) -> str:
        """Return ``wedge 18 mm, 180 mm in from outside`` or the like; '' for none."""
        if self.kind == "none":
            return ""
        what = {"shim": self.item, "single": self.item, "pair": f"pair of {self.item}"}[self.kind]
        text = f"{what} {show.small_unit(self.height)}"
        return f"{text}, {self.goes_in}" if self.goes_in else text


@dataclass(frozen=True)
class Stack:
    """What stands at one support under one rail.

    Attributes
    ----------
    support, side : str
    station : float
        [m]
    ties : tuple of int
    role : str
    fill : float
        Greatest fill of its tie ends [m]; ``fills`` has each.
    fill_sd : float
        Greatest give or take of its fills, as they came [m].
    window : tuple of (float, float)
        Pile heights that its closing pieces can close [m].
    pieces : tuple of Placed
        From the ground up.
    closings : tuple of Closing
        One for each tie; ``closing`` is the first.
    seat : str
        What makes it level, in words; '' where nothing is needed.
    tilt : float
        Slope of the ground under it [rad]; without a seat it leans by that.
    overhang : float
        How far it stands out beyond the tie end on its own outer side, slid in as far as the rules
        allow where people walk there [m]; 0 or more.
    on_walk_side : bool
        Whether people walk on that side.
    change_chance : float
        Chance that the stack must be changed on the day.
    same_as_neighbour : bool
        Whether the support before it under the same rail has the same pile.
    missing : tuple of (str, int)
        Pieces of it that the truck is short of.
    small_foot : bool
        Its lowest piece is smaller than this ground asks for, because the fill is too low for a pad.
    """

    support: str
    side: str
    station: float
    ties: tuple[int, ...]
    role: str
    fill: float
    fills: tuple[float, ...]
    fill_sd: float
    window: tuple[float, float]
    pieces: tuple[Placed, ...]
    closings: tuple[Closing, ...]
    seat: str
    tilt: float
    overhang: float
    on_walk_side: bool
    change_chance: float
    same_as_neighbour: bool = False
    missing: tuple[tuple[str, int], ...] = ()
    small_foot: bool = False

    @property
    def closing(self) -> Closing:
        """The closing piece of the first tie."""
        return self.closings[0]

    @property
    def height(self) -> float:
        """Height of the pile without its closing piece [m]."""
        return sum(piece.thickness for piece in self.pieces)

    @property
    def pile(self) -> tuple[tuple[str, bool, int], ...]:
        """What tells one pile from another: item, on edge and pieces a layer, from the ground up."""
        return tuple((piece.item, piece.on_edge, piece.per_layer) for piece in self.pieces)

    def words(self, display: str = "mm") -> str:
        """Return the stack from the ground up: ``half + 2x4 + wedge 18 mm, from outside``."""
        show = DISPLAYS[display]
        layers: list[str] = []
        for piece in self.pieces:
            layers.append(piece.words())
        parts = _counted(layers)
        ends = [closing.words(show) for closing in self.closings]
        if len(set(ends)) == 1:
            parts += [ends[0]] if ends[0] else []
        else:
            names = zip(self.ties, ends, strict=True)
            parts.append(", ".join(f"tie {tie}: {end or 'nothing'}" for tie, end in names))
        return " + ".join(parts) or "nothing"


def _counted(layers: list[str]) -> list[str]:
    """Join equal layers that lie on each other: ``2 half``."""
    found: list[tuple[str, int]] = []
    for layer in layers:
        if found and found[-1][0] == layer:
            found[-1] = (layer, found[-1][1] + 1)
        else:
            found.append((layer, 1))
    return [layer if n == 1 else f"{n} {layer}" for layer, n in found]


@dataclass(frozen=True)
class Shortage:
    """What the truck is short of: so many more of this item, or of anything that does the same."""

    item: str
    kind: str
    missing: int
    on_truck: int

    def __str__(self) -> str:
        return f"{self.missing} more {self.item} ({self.kind}); {self.on_truck} on the truck"


@dataclass(frozen=True)
class Unfillable:
    """A place where no stack is planned.

    Attributes
    ----------
    fill, nearest : float
        The fill, and the nearest one that would work [m].
    reason : str
        In words.
    too_high : bool
        It is higher than boxes go; otherwise nothing on the truck closes it, whatever the counts.
    """

    support: str
    side: str
    ties: tuple[int, ...]
    fill: float
    nearest: float
    reason: str
    too_high: bool = False


@dataclass(frozen=True)
class BareCandidate:
    """A support between corners that could stay bare as a last resort.

    Attributes
    ----------
    span : float
        Distance of the supports on either side of it [m].
    sag : float
        What the rail gives there under one wheel truck: P L³ / 48 EI [m].
    frees : tuple of (str, int)
        Pieces that it would free.
    covers_shortage : bool
        Whether it is one of those that together make up the shortage.
    """

    support: str
    side: str
    span: float
    sag: float
    frees: tuple[tuple[str, int], ...]
    covers_shortage: bool


@dataclass(frozen=True)
class StackPlan:
    """The stacks of a job.

    Attributes
    ----------
    stacks : tuple of Stack
        Along the run, left before right.
    shortages : tuple of Shortage
        Empty if the truck is enough.
    unfillable : tuple of Unfillable
    sitting, negative : tuple of (str, str, int, float)
        Tie ends (support, side, tie, fill [m]) that sit on the ground, and those that would be in it.
    bare_candidates : tuple of BareCandidate
        Only where something is short.
    cost, bound : float
        Cost of the cheapest choice in boxes handled (a missing piece weighs as 100), and what no choice
        can go below.
    proven : bool
        Whether the choice is proven to be the cheapest.
    alike_cost : float
        What was spent on top to make neighbours alike.
    advisories : tuple of Advisory
    truck : Truck
    """

    stacks: tuple[Stack, ...]
    shortages: tuple[Shortage, ...]
    unfillable: tuple[Unfillable, ...]
    sitting: tuple[tuple[str, str, int, float], ...]
    negative: tuple[tuple[str, str, int, float], ...]
    bare_candidates: tuple[BareCandidate, ...]
    cost: float
    bound: float
    proven: bool
    alike_cost: float
    advisories: tuple[Advisory, ...]
    truck: Truck
    used: tuple[tuple[str, int], ...]

    def pull_list(self) -> pd.DataFrame:
        """Return what to take off the truck.

        Returns
        -------
        DataFrame
            item, kind, count (wanted), on_truck, missing, mass_kg (of what is there; NaN if not known).
        """
        wanted = dict(self.used)
        rows = []
        for piece in self.truck.pieces:
            count = wanted.get(piece.item, 0)
            if count:
                there = min(count, piece.count)
                row = (piece.item, piece.kind, count, piece.count, count - there, there * piece.mass)
                rows.append(row)
        return pd.DataFrame(rows, columns=["item", "kind", "count", "on_truck", "missing", "mass_kg"])

    def table(self, display: str = "mm") -> pd.DataFrame:
        """Return one row a support and side, for people and files.

        Returns
        -------
        DataFrame
            support, side, station_m, ties, role, fill_m, fill_sd_m, stack (words), pile_m, closing, item,
            closing_m, low_m, high_m, in_m, goes_in, from_side, stick_out_m, stick_side, seat, tilt_rad,
            overhang_m, change_chance, same_as_neighbour, missing. Of a joint the closing columns are of
            its first tie; the words have both.
        """
        rows = [_row(stack, display) for stack in self.stacks]
        return pd.DataFrame(rows, columns=list(_COLUMNS))


_COLUMNS = (
    "support", "side", "station_m", "ties", "role", "fill_m", "fill_sd_m", "stack", "pile_m", "closing",
    "item", "closing_m", "low_m", "high_m", "in_m", "goes_in", "from_side", "stick_out_m", "stick_side",
    "seat", "tilt_rad", "overhang_m", "change_chance", "same_as_neighbour", "missing",
)  # fmt: skip


def _row(stack: Stack, display: str) -> tuple[object, ...]:
    end = stack.closing
    return (
        stack.support, stack.side, stack.station, " ".join(map(str, stack.ties)), stack.role, stack.fill,
        stack.fill_sd, stack.words(display), stack.height, end.kind, end.item, end.height, end.low, end.high,
        end.how_far_in, end.goes_in, end.from_side, end.stick_out, end.stick_side, stack.seat, stack.tilt,
        stack.overhang, stack.change_chance, stack.same_as_neighbour,
        ", ".join(f"{n} {item}" for item, n in stack.missing),
    )  # fmt: skip
