"""Wedges: how much height one gives, where it goes in, and how far it sticks out.

::

          tie, bearing b wide
          +---------+              single: height under the tie = t0 + s * in
          |         |              in: tip to the tie edge that the wedge comes in under;
    ------+---------+---  level    from b (the whole tie is borne) to the wedge's length
        .-'''''''''''''''''|
    tip +------------------+ T     taper s = (T - t0) / length
        <---- in ---->

    pair: two equal wedges, tips opposed, faces parallel. Fully overlapped they are t0 + T high;
    pulled apart by d they are t0 + T - s * d, and still overlap by length - d >= b. Lower than T a
    butt does not fit between pile and tie: the upper one would have to hang down beside the pile and
    the lower one to stand up beside the tie. That is not planned.

A single wedge is not parallel: it bears on its thick side, so it suits what is not quite parallel
anyway and what is not high. All lengths in metres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

__all__ = ["Entry", "Wedge", "enter_pair", "enter_single"]


@dataclass(frozen=True)
class Wedge:
    """The shape of one wedge [m].

    Attributes
    ----------
    thin, thick : float
        Height of the tip and of the butt.
    length : float
        From tip to butt.

    Raises
    ------
    ValueError
        If it is not a wedge: thick must exceed thin, and the length must be positive.

    Examples
    --------
    >>> wedge = Wedge(thin=0.002, thick=0.032, length=0.300)
    >>> wedge.taper, wedge.single_range(0.060)
    (0.1, (0.008, 0.032))
    >>> wedge.pair_range(0.060)
    (0.032, 0.034)
    """

    thin: float
    thick: float
    length: float

    def __post_init__(self) -> None:
        if not (0.0 <= self.thin < self.thick and self.length > 0.0):
            raise ValueError(
                f"a wedge needs 0 <= thin < thick and a length above 0; got thin = {self.thin} m, "
                f"thick = {self.thick} m, length = {self.length} m"
            )

    @property
    def taper(self) -> float:
        """Rise over length."""
        return (self.thick - self.thin) / self.length

    @property
    def angle(self) -> float:
        """Angle between the faces [rad]."""
        return math.atan(self.taper)

    def holds_by_friction(self, friction: float) -> bool:
        """Return whether the wedge stays where it is pushed: its angle is below atan(friction).

        Friction of wood on wood is known so badly (0.2 to 0.6) that only a low bound is safe.
        """
        return self.taper < friction

    def single_range(self, bearing: float) -> tuple[float, float]:
        """Return the lowest and highest height of one wedge that bears over ``bearing`` [m].

        Raises
        ------
        ValueError
            If the wedge is shorter than the bearing.
        """
        self._check(bearing)
        return _tidy(self.thin + self.taper * bearing), self.thick

    def pair_range(self, bearing: float) -> tuple[float, float]:
        """Return the lowest and highest height of an opposed pair that overlaps by ``bearing`` [m].

        At its lowest it is as high as a butt, or higher where the overlap asks for it.

        Raises
        ------
        ValueError
            If the wedge is shorter than the bearing.
        """
        self._check(bearing)
        least = max(2.0 * self.thin + self.taper * bearing, self.thick)
        return _tidy(least), _tidy(self.thin + self.thick)

    def single_in(self, height: float) -> float:
        """Return how far in one wedge stands for ``height`` under the tie [m]."""
        return (height - self.thin) / self.taper

    def pair_apart(self, height: float) -> float:
        """Return how far a pair is pulled apart from full overlap for ``height`` [m]."""
        return (self.thin + self.thick - height) / self.taper

    def _check(self, bearing: float) -> None:
        if not 0.0 < bearing <= self.length:
            raise ValueError(
                f"bearing must be above 0 and at most the wedge's length {self.length:.3f} m; "
                f"got {bearing:.3f} m"
            )


@dataclass(frozen=True)
class Entry:
    """How a closing piece is put in.

    Attributes
    ----------
    how_far_in : float
        Single: from its tip to the tie edge it comes in under. Pair: the length of each wedge
        that is in the overlap [m].
    overlap : float
        Length that bears [m]: of a single wedge under the tie, of a pair on each other.
    goes_in : {'', 'from outside', 'along the track'}
    from_side : {'', 'left', 'right', 'head', 'tail'}
        Where the hand is that pushes it. A pair along the track goes in from both ends.
    stick_out : float
        How far it stands out beyond the tie on that side [m].
    stick_side : str
        The side on which it stands out; never the walk side.
    """

    how_far_in: float
    overlap: float
    goes_in: Literal["", "from outside", "along the track"]
    from_side: str
    stick_out: float
    stick_side: str


def enter_single(
    wedge: Wedge, height: float, *, bearing: float, side: str, walk_side: str = "", from_end: str = "tail"
) -> Entry:
    """Return how one wedge goes in: from outside, or along the track on the side people walk.

    Parameters
    ----------
    wedge : Wedge
        Its shape.
    height : float
        Height under the tie [m].
    bearing : float
        Width of the tie that must be borne [m].
    side : {'left', 'right'}
        The rail it stands under.
    walk_side : {'', 'left', 'right', 'both'}
        Where the person pushing walks.
    from_end : {'head', 'tail'}
        From which end it goes in if it goes in along the track.

    Raises
    ------
    ValueError
        If the height is outside the wedge's range.

    References
    ----------
    From outside on the side away from the walk side, or in line with the track: common practice,
    no source.
    """
    low, high = wedge.single_range(bearing)
    _check_height("one wedge", height, low, high)
    in_by = min(max(wedge.single_in(height), bearing), wedge.length)
    out = wedge.length - in_by
    if _walked(side, walk_side):
        return Entry(in_by, bearing, "along the track", from_end, out, from_end)
    return Entry(in_by, min(in_by, wedge.length), "from outside", side, out, side)


def enter_pair(wedge: Wedge, height: float, *, bearing: float, side: str, walk_side: str = "") -> Entry:
    """Return how an opposed pair goes in; parameters as in `enter_single`.

    From outside: the butt of the outer wedge stands out by what the pair is pulled apart. Along the
    track: the overlap stands under the middle of the tie, and both ends stand out alike.
    """
    low, high = wedge.pair_range(bearing)
    _check_height("a pair", height, low, high)
    apart = min(max(wedge.pair_apart(height), 0.0), wedge.length - bearing)
    overlap = wedge.length - apart
    if _walked(side, walk_side):
        out = (wedge.length + apart - bearing) / 2.0
        return Entry(overlap, overlap, "along the track", "head and tail", out, "head and tail")
    return Entry(overlap, overlap, "from outside", side, apart, side)


def _walked(side: str, walk_side: str) -> bool:
    return walk_side == "both" or side == walk_side


def _check_height(what: str, height: float, low: float, high: float, slack: float = 1e-6) -> None:
    if not low - slack <= height <= high + slack:
        raise ValueError(
            f"{what} of this kind closes {low * 1000:.1f} to {high * 1000:.1f} mm; got {height * 1000:.1f} mm"
        )


def _tidy(height: float) -> float:
    """Return the height without the last bits of rounding (a picometre)."""
    return round(height, 12)
