"""What the finished line is set from: the governing point, a tie end, a rail height, a lens height."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from trackkit.layout.grounds import SIDES, FloatArray, GroundLike, Point
from trackkit.layout.laid import Run

__all__ = ["Held", "LensHeight", "RailHeight", "Reference", "resolve"]


@dataclass(frozen=True)
class RailHeight:
    """A rail top given in height: a porch, a slab, track that lies already.

    Attributes
    ----------
    height : float
        Height of the rail's top [m], above the datum or above the point named.
    station : float or None
        Where [m]; None is the head of the run.
    above : str
        A peg or named point that ``height`` counts from; '' is the datum.
    """

    height: float
    station: float | None = None
    above: str = ""


@dataclass(frozen=True)
class LensHeight:
    """A lens height wanted at a mark.

    Attributes
    ----------
    height : float
        Height of the lens wanted [m], above the datum or above the ground at the mark.
    above_rail : float
        Height of the lens above the rail's top as the camera stands on the dolly [m].
    station : float
        The mark [m]; 0 is the start mark.
    over : {'ground', 'datum'}
        What ``height`` counts from. Ground is the mean of the two support lines at the mark.
    """

    height: float
    above_rail: float
    station: float = 0.0
    over: Literal["ground", "datum"] = "ground"


#: 'governing', a tie end (tie, side), a `RailHeight` or a `LensHeight`.
Reference: TypeAlias = Literal["governing"] | tuple[int, str] | RailHeight | LensHeight


@dataclass(frozen=True)
class Held:
    """A place where the line's height is held: the sum of ``parts`` times points, plus a constant.

    Attributes
    ----------
    station, height : float
        The line goes through here [m].
    points, parts
        Points of the ground it moves with.
    text : str
        In the crew's words.
    with_gap : bool
        It moves with the gap under the track (a tie end); a given rail does not.
    """

    station: float
    height: float
    points: tuple[Point, ...]
    parts: tuple[float, ...]
    text: str
    with_gap: bool


def _datum(ground: GroundLike, run: Run) -> str:
    """Return what heights count from, in the crew's words."""
    datum = getattr(ground, "datum", None)
    if isinstance(datum, str):
        return f"{datum} (heights count from it)"
    if isinstance(datum, tuple):
        return f"the ground at {run.display.long(datum[0])} {datum[1]} (heights count from it)"
    return "the datum"


def resolve(
    reference: Reference, ground: GroundLike, run: Run, *, ties: FloatArray, gap: float
) -> Held | None:
    """Return where the line is held, or None when the governing point decides.

    Parameters
    ----------
    reference : Reference
        What the line is set from.
    ground : GroundLike
        Gives the heights.
    run : Run
        Knows its ties.
    ties : array
        Stations of the ties as they lie now [m].
    gap : float
        Room kept under a tie end that the line is set from [m].

    Raises
    ------
    ValueError
        For a tie or side that does not exist, or another kind of reference.
    """
    show = run.display
    if reference == "governing":
        return None
    if isinstance(reference, RailHeight):
        station = run.head if reference.station is None else reference.station
        points: tuple[Point, ...] = (reference.above,) if reference.above else ()
        base = float(ground.mean(list(points))[0]) if points else 0.0
        over = f" above {reference.above or _datum(ground, run)}"
        return Held(
            station, base + reference.height - run.rail_top, points, (1.0,) * len(points),
            f"rail top {show.small_unit(reference.height)}{over} at {show.long(station)}", False,
        )  # fmt: skip
    if isinstance(reference, LensHeight):
        if reference.over not in ("ground", "datum"):
            raise ValueError(f"over must be 'ground' or 'datum', got {reference.over!r}")
        points = tuple((reference.station, side) for side in SIDES) if reference.over == "ground" else ()
        base = float(np.mean(ground.mean(list(points)))) if points else 0.0
        return Held(
            reference.station, base + reference.height - reference.above_rail - run.rail_top, points,
            (0.5,) * len(points),
            f"lens {show.small_unit(reference.height)} above the {reference.over} "
            f"at {show.long(reference.station)}",
            False,
        )  # fmt: skip
    if not (isinstance(reference, tuple) and len(reference) == 2):
        raise ValueError(
            f"reference must be 'governing', (tie, side), RailHeight or LensHeight, got {reference!r}"
        )
    tie, side = reference
    run.tie_at(tie)
    if side not in SIDES:
        raise ValueError(f"side must be 'left' or 'right', got {side!r}")
    point = (float(ties[tie - 1]), side)
    drop = run.rail_top - float(run.ties["rail_top_m"].iloc[tie - 1])
    height = float(ground.mean([point])[0]) + gap - drop
    return Held(point[0], height, (point,), (1.0,), f"tie {tie} {side}", True)
