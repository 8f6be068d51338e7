"""One stack: its pieces from the ground up, and what closes the last height."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from trackkit.units import DISPLAYS, Display

__all__ = ["Closing", "Placed", "Stack"]

_NUMBERS: Final = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}


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
    crossed : bool
        Two pieces side by side, across the layer below.
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
    crossed: bool = False
    both_ends: bool = False

    def words(self) -> str:
        """Return what a grip would say: ``half``, ``2x4 on edge``, ``crossed pair of 2x4``."""
        text = self.item + (" on edge" if self.on_edge else "")
        if self.crossed:
            text = f"crossed pair of {text}"
        if self.per_layer > (2 if self.crossed else 1):
            text += " under each tie"
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
    seat_raise : float
        How far a seat has the pile stand above the ground at this tie; below 0 where a joint's ground is
        scraped away there. The tie's fill is this, the pile and the closing piece [m].
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
    seat_raise: float = 0.0

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
    seat_raise : float
        What a seat under the low edge lifts the middle of the pile by; ``Closing.seat_raise`` has it at
        each tie [m].
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
    seat_raise: float = 0.0
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
        """Return the stack from the ground up: ``seat (lifts 19 mm) + half + wedge 18 mm, from outside``."""
        show = DISPLAYS[display]
        lifts = show.small(self.seat_raise) != show.small(0.0)
        seat = f"seat (lifts {show.small_unit(self.seat_raise)})" if lifts else "seat"
        parts = [seat] if self.seat else []
        parts += _counted([piece.words() for piece in self.pieces])
        ends = [closing.words(show) for closing in self.closings]
        if len(set(ends)) == 1:
            parts += [ends[0]] if ends[0] else []
        else:
            names = zip(self.ties, ends, strict=True)
            parts.append(", ".join(f"tie {tie}: {end or 'nothing'}" for tie, end in names))
        return " + ".join(parts) or "nothing"


def _counted(layers: list[str]) -> list[str]:
    """Join equal layers that lie on each other: ``two half``."""
    found: list[tuple[str, int]] = []
    for layer in layers:
        if found and found[-1][0] == layer:
            found[-1] = (layer, found[-1][1] + 1)
        else:
            found.append((layer, 1))
    return [layer if n == 1 else f"{_NUMBERS.get(n, str(n))} {layer}" for layer, n in found]
