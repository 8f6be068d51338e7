"""What a side view shows, worked out before anything is drawn: shapes, heights, limits. All in metres."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import GroundLike
from trackkit.layout.laid import Run
from trackkit.show.pieces import Shape, block, stack_shapes

if TYPE_CHECKING:
    from trackkit.cribbing.results import StackPlan

__all__ = ["Scene", "make_scenes"]

Array = NDArray[np.float64]

#: Points at which the ground is drawn.
SAMPLES: Final = 240
#: Ground shown beyond each end of the track, and beyond a piece that stands out further [m].
PAST: Final = (0.35, 0.05)
#: At least so much height is shown, so that a flat yard doesn't look like a mountain range [m].
LEAST_SPAN: Final = 0.08
#: A fill this much below nothing is rounding [m].
ROUNDING: Final = 1e-9


@dataclass(frozen=True, eq=False)
class Scene:
    """One rail's side view in metres.

    Attributes
    ----------
    side : {'left', 'right'}
    run : Run
    line : FinishedLine
    fills : DataFrame
        The fill table of this side, by rising station.
    shapes : tuple of Shape
        What stands under the ties, as far as there are stacks; else the fills themselves.
    negative : tuple of Shape
        Tie ends in the ground.
    short : frozenset of int
        Ties under which something is missing, or nothing closes.
    breaks : tuple of float
        Stations where an edge meets this side.
    stations, mean, sd : array
        The ground.
    reference : tuple of float
        Stations where the line is set from a point of this side, or held.
    """

    side: str
    run: Run
    line: FinishedLine
    fills: pd.DataFrame
    shapes: tuple[Shape, ...]
    negative: tuple[Shape, ...]
    short: frozenset[int]
    breaks: tuple[float, ...]
    stations: Array
    mean: Array
    sd: Array
    reference: tuple[float, ...]

    @property
    def ends(self) -> tuple[float, float]:
        """Stations of the left and right end of the picture [m]."""
        return float(self.stations[0]), float(self.stations[-1])

    @property
    def lowest(self) -> float:
        """Lowest height that must show [m]."""
        pieces = (height for shape in self.shapes for _, height in shape.corners)
        drop = (height for shape in self.negative for _, height in shape.corners)
        return min(float((self.mean - 2 * self.sd).min()), *pieces, *drop, float(self.fills["line_m"].min()))

    @property
    def highest(self) -> float:
        """Highest height that must show [m]."""
        pieces = (height for shape in self.shapes for _, height in shape.corners)
        return max(float((self.mean + 2 * self.sd).max()), float(self.fills["rail_top_m"].max()), *pieces)

    @property
    def span(self) -> float:
        """Heights to show [m]."""
        return max(self.highest - self.lowest, LEAST_SPAN)


def make_scenes(
    ground: GroundLike,
    run: Run,
    line: FinishedLine,
    fills: pd.DataFrame,
    stacks: StackPlan | None,
    *,
    sides: Sequence[str],
    breaks: Mapping[str, Sequence[float]],
    held_at: float | None = None,
) -> tuple[Scene, ...]:
    """Return the scene of each side; they share the ends of the station axis.

    Parameters
    ----------
    ground, run, line, fills, stacks
        As in a plan.
    sides : sequence of str
    breaks : mapping
        Stations of edges on each side [m].
    held_at : float, optional
        Station where the line is held in height [m], for a line that no point of the ground carries
        (a given rail height); by default the head of the run.
    """
    owns = [fills[fills["side"] == side].sort_values("station_m", kind="stable") for side in sides]
    if any(own.empty for own in owns):
        raise ValueError(f"fills must have rows of {' and '.join(sides)}; got {sorted(set(fills['side']))}")
    shapes = [_shapes(own, ground, stacks, side) for own, side in zip(owns, sides, strict=True)]
    corners = [station for own in shapes for shape in own for station, _ in shape.corners]
    low = min([run.head - PAST[0], *(station - PAST[1] for station in corners)])
    high = max([run.tail + PAST[0], *(station + PAST[1] for station in corners)])
    held = [point for point in line.contacts if not isinstance(point, str)]
    at = run.head if held_at is None else held_at
    scenes = []
    for side, own, shape in zip(sides, owns, shapes, strict=True):
        edges = tuple(edge for edge in breaks.get(side, ()) if low < edge < high)
        stations = _samples(own, edges, low, high)
        mean, sd = (np.asarray(part, dtype=float) for part in ground.height(stations, side))
        reference = tuple(sorted({float(p[0]) for p in held if p[1] == side})) if held else (at,)
        scenes.append(
            Scene(
                side,
                run,
                line,
                own,
                shape,
                _negative(own),
                _short(stacks, own, side),
                edges,
                stations,
                mean,
                sd,
                reference,
            )
        )
    return tuple(scenes)


def _samples(own: pd.DataFrame, breaks: Sequence[float], low: float, high: float) -> Array:
    """Return stations close together, with every tie and both sides of every edge among them."""
    beside = [edge + step for edge in breaks for step in (-1e-4, 1e-4)]
    ties = own["station_m"].to_numpy(dtype=float)
    return np.unique(np.concatenate([np.linspace(low, high, SAMPLES), ties, np.asarray(beside, dtype=float)]))


def _shapes(own: pd.DataFrame, ground: GroundLike, stacks: StackPlan | None, side: str) -> tuple[Shape, ...]:
    if stacks is None:
        ends = zip(own["station_m"], own["bearing_m"], own["ground_m"], own["line_m"], strict=True)
        return tuple(block("fill", at, 2 * wide, low, high) for at, wide, low, high in ends if high > low)
    rows = own.set_index("tie")[["station_m", "line_m", "bearing_m", "ground_m"]]
    wedges = {piece.item: piece.wedge for piece in stacks.truck.pieces if piece.kind == "wedge"}
    found: list[Shape] = []
    for stack in stacks.stacks:
        if stack.side != side:
            continue
        at = rows.loc[list(stack.ties)]
        found += stack_shapes(
            stack, stations=at["station_m"].tolist(), undersides=at["line_m"].tolist(),
            bearings=at["bearing_m"].tolist(), wedges=wedges,
            ground=lambda station: float(np.asarray(ground.height(np.array([station]), side)[0])[0]),
        )  # fmt: skip
    for lost in stacks.unfillable:
        at = rows.loc[list(lost.ties)] if lost.side == side else rows.iloc[:0]
        found += [
            block("none", station, 2 * bearing, low, high)
            for station, bearing, low, high in zip(
                at["station_m"], at["bearing_m"], at["ground_m"], at["line_m"], strict=True
            )
        ]
    refused = own.loc[_refused(own), ["station_m", "bearing_m", "ground_m", "line_m"]]
    found += [
        block("none", at, 2 * bearing, low, high)
        for at, bearing, low, high in refused.itertuples(index=False, name=None)
    ]
    return tuple(found)


def _refused(own: pd.DataFrame) -> NDArray[np.bool_]:
    """Return which tie ends stand where a zone says that nothing may."""
    if "support_here" not in own.columns:
        return np.zeros(len(own), dtype=bool)
    return np.asarray(~own["support_here"].astype(bool) & (own["fill_m"] > ROUNDING), dtype=bool)


def _negative(own: pd.DataFrame) -> tuple[Shape, ...]:
    """Return ties in the ground, from the line up to the ground."""
    deep = own[own["fill_m"] < -ROUNDING]
    ends = zip(deep["station_m"], deep["bearing_m"], deep["line_m"], deep["fill_m"], strict=True)
    return tuple(block("negative", at, 2 * wide, line, line - fill) for at, wide, line, fill in ends)


def _short(stacks: StackPlan | None, own: pd.DataFrame, side: str) -> frozenset[int]:
    """Return the ties of a side under which a piece is missing, nothing closes, or nothing may stand."""
    if stacks is None:
        return frozenset()
    refused = own.loc[_refused(own), "tie"]
    short = [(lost.side, lost.ties) for lost in stacks.unfillable]
    short += [(stack.side, stack.ties) for stack in stacks.stacks if stack.missing]
    return frozenset(
        [*map(int, refused), *(int(tie) for there, ties in short if there == side for tie in ties)]
    )
