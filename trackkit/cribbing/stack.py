"""One stack: its pieces from the ground up, and what closes the last height."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from trackkit.cribbing.said import counted, pair_of
from trackkit.units import DISPLAYS, Display

__all__ = ["Closing", "Placed", "Stack"]


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
    on_edge, turned : bool
        Standing on its edge; turned to lie across the run.
    per_layer : int
        Pieces in the layer at this support: 2 for a crossed pair, or for one piece under each tie of a joint.
    crossed : bool
        Two pieces side by side, across the layer below.
    both_ends : bool
        One piece across the run that carries the other end of the tie too; it is counted once.
    slid : float
        How far its middle lies from the stack's station, towards the tail positive, to stand clear of a
        break or of the next stack [m].
    out : float
        How far its middle is set out from the rail towards the tie's end, where a wedge from outside
        bears [m].
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
    turned: bool = False
    slid: float = 0.0
    out: float = 0.0

    @property
    def along(self) -> float:
        """How much the layer takes up along the run [m]."""
        return self.width if self.both_ends else self.length

    @property
    def across(self) -> float:
        """How much the layer takes up across the run [m]."""
        return self.length if self.crossed or self.both_ends else self.width

    def words(self) -> str:
        """Return what a grip would say: ``half``, ``2x4 on edge``, ``crossed pair of 2x4``."""
        text = self.item + (" on edge" if self.on_edge else "") + (" turned across" if self.turned else "")
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
        What it is made of, from the ground up, joined by ' + '.
    takes : tuple of (str, int)
        Items and how many; the shims under a wedge come last.
    height, low, high : float
        Height at design, and its travel, with the shims under a wedge [m].
    change_chance : float
        Chance that the height found on the day is outside its travel.
    how_far_in, overlap, goes_in, from_side, stick_out, stick_side
        As in `trackkit.cribbing.wedges.Entry`.
    seat_raise : float
        How far a seat has the pile stand above the ground at this tie; below 0 where the ground is scraped
        away there. The tie's fill is this, the pile and the closing piece [m].
    packed : float
        Of its height, what shims lying flat under the wedge make up [m].
    past : float
        How far a wedge that lies along the track reaches past a break or half-way to the next stack [m].
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
    packed: float = 0.0
    past: float = 0.0

    @property
    def gap(self) -> float:
        """Height that is left to close once the shims under a wedge lie [m]."""
        return self.height - self.packed

    def words(self, show: Display) -> str:
        """Return ``wedge (gap 18 mm), from outside`` or the like; '' for none."""
        if self.kind == "none":
            return ""
        return f"{self.what} (gap {show.small_unit(self.gap)}){self.way}"

    @property
    def what(self) -> str:
        """What closes, from the ground up: ``wedge``, ``pair of wedges``, ``2 x shim 6 + shim 2``."""
        if self.kind != "pair":
            return self.item
        return self.item.removesuffix(self.takes[0][0]) + pair_of(self.takes[0][0])

    @property
    def way(self) -> str:
        """How it goes in, behind a comma: ``, from outside``; '' for shims."""
        return f", {self.goes_in}" if self.goes_in else ""


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
        What a seat under the low edge lifts the middle of the pile by, below 0 where the ground is scraped;
        ``Closing.seat_raise`` has it at each tie [m].
    seat_item : str
        The wedge that makes its seat; '' for none.
    seat_wedges : int
        How many of them: one for each way in which the ground slopes there.
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
    seat_item: str = ""
    seat_wedges: int = 0
    small_foot: bool = False

    @property
    def closing(self) -> Closing:
        """The closing piece of the first tie."""
        return self.closings[0]

    @property
    def height(self) -> float:
        """Height of the pile without its closing piece [m]."""
        return sum(piece.thickness for piece in self.pieces)

    @cached_property
    def takes(self) -> dict[str, int]:
        """What it takes off the truck; a piece through to the other side counts on the left."""
        taken: dict[str, int] = {}
        here = [piece for piece in self.pieces if not piece.both_ends or self.side == "left"]
        lots = [(piece.item, piece.per_layer) for piece in here]
        lots += [lot for closing in self.closings for lot in closing.takes]
        lots += [(self.seat_item, self.seat_wedges)] if self.seat_wedges else []
        for item, count in lots:
            taken[item] = taken.get(item, 0) + count
        return taken

    @property
    def pile(self) -> tuple[tuple[str, bool, bool, int, float], ...]:
        """What tells one pile from another, from the ground up: item, how it lies, pieces, how far slid."""
        return tuple((p.item, p.on_edge, p.turned, p.per_layer, p.slid) for p in self.pieces)

    @property
    def turned(self) -> bool:
        """Whether anything in it is turned across the run, for lack of room along it."""
        return any(piece.turned for piece in self.pieces)

    @property
    def slid(self) -> float:
        """The farthest that a piece of it is slid along the run, towards the tail positive [m]."""
        return max((piece.slid for piece in self.pieces), key=abs, default=0.0)

    def words(self, display: str = "mm") -> str:
        """Return the stack from the ground up: ``seat (lifts 19 mm) + half + wedge (gap 18 mm)``."""
        show = DISPLAYS[display]
        moves = show.small(abs(self.seat_raise)) != show.small(0.0)
        way = "lifts" if self.seat_raise > 0 else "scraped down"
        seat = f"seat ({way} {show.small_unit(abs(self.seat_raise))})" if moves else "seat"
        parts = (seat if self.seat else "", self.pile_words, self._end_words(show))
        return " + ".join(part for part in parts if part) or "nothing"

    @property
    def pile_words(self) -> str:
        """The pile from the ground up: ``half + two 2x4``."""
        return " + ".join(counted([piece.words() for piece in self.pieces]))

    def _end_words(self, show: Display) -> str:
        """Return the closing pieces: of a joint what goes under each of its ties."""
        first = self.closings[0]
        if len(self.closings) == 1:
            return first.words(show)
        if all((end.what, end.way) == (first.what, first.way) for end in self.closings):
            if first.kind == "none":
                return ""
            gaps = [show.small_unit(end.gap) for end in self.closings]
            if len(set(gaps)) == 1:
                return f"{first.what} under each tie (gap {gaps[0]}){first.way}"
            each = ", ".join(f"{gap} at tie {tie}" for gap, tie in zip(gaps, self.ties, strict=True))
            return f"{first.what} under each tie (gap {each}){first.way}"
        names = zip(self.ties, self.closings, strict=True)
        return "; ".join(f"tie {tie}: {end.words(show) or 'nothing'}" for tie, end in names)
