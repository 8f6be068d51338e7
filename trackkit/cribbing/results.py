"""What a choice of stacks holds: the stacks, what is missing, what to take off the truck."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from trackkit.cribbing.stack import Closing, Placed, Stack
from trackkit.cribbing.truck import Truck
from trackkit.problems import Advisory

__all__ = ["BareCandidate", "Closing", "Placed", "Shortage", "Stack", "StackPlan", "Unfillable"]


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
        The fill, and the nearest one that would work [m]; NaN where none would, such as over an edge.
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
        can go below, both of the places that need no last resort. A few
        thousandths of it only tell choices of one price apart.
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
            item, kind, count (wanted), on_truck, missing, mass_kg (of all that is wanted, on the truck or
            not; NaN if not known).
        """
        wanted = dict(self.used)
        rows = []
        for piece in self.truck.pieces:
            count = wanted.get(piece.item, 0)
            if count:
                there = min(count, piece.count)
                row = (piece.item, piece.kind, count, piece.count, count - there, count * piece.mass)
                rows.append(row)
        return pd.DataFrame(rows, columns=["item", "kind", "count", "on_truck", "missing", "mass_kg"])

    def table(self, display: str = "mm") -> pd.DataFrame:
        """Return one row a support and side, for people and files.

        Returns
        -------
        DataFrame
            support, side, station_m, ties, role, fill_m, fill_sd_m, stack (words), seat_raise_m (how far
            the seat has the pile stand above the ground), pile_m, closing, item, closing_m, low_m, high_m,
            in_m, goes_in, from_side, stick_out_m, stick_side, seat, tilt_rad, overhang_m, change_chance,
            same_as_neighbour, missing. The fill is the greatest of its ties'; of a joint seat_raise_m and
            the closing columns are of its first tie, whose fill they make up with pile_m, and the words
            have both.
        """
        rows = [_row(stack, display) for stack in self.stacks]
        return pd.DataFrame(rows, columns=list(_COLUMNS))


_COLUMNS = (
    "support", "side", "station_m", "ties", "role", "fill_m", "fill_sd_m", "stack", "seat_raise_m",
    "pile_m", "closing", "item", "closing_m", "low_m", "high_m", "in_m", "goes_in", "from_side",
    "stick_out_m", "stick_side", "seat", "tilt_rad", "overhang_m", "change_chance",
    "same_as_neighbour", "missing",
)  # fmt: skip


def _row(stack: Stack, display: str) -> tuple[object, ...]:
    end = stack.closing
    return (
        stack.support, stack.side, stack.station, " ".join(map(str, stack.ties)), stack.role, stack.fill,
        stack.fill_sd, stack.words(display), end.seat_raise, stack.height, end.kind, end.item, end.height,
        end.low, end.high, end.how_far_in, end.goes_in, end.from_side, end.stick_out, end.stick_side,
        stack.seat, stack.tilt, stack.overhang, stack.change_chance, stack.same_as_neighbour,
        ", ".join(f"{n} {item}" for item, n in stack.missing),
    )  # fmt: skip
