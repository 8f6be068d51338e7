"""Where the fitted profile has its nodes, and what stands at each of them.

Every surveyed station and every asked-for station (a tie) is a node. At a node, each side has a
surface height, a smooth height and a slope; without relief the surface is the smooth height::

    side:      left                    right
    state:     surface smooth slope    surface smooth slope     (slope times the scale, [m])

Breaks (a kerb, a path's edge) cut one side of the interval between two nodes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["Break", "Grid", "make_grid"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Stations closer than this share a node, for very short elements lose digits [m].
MERGE = 0.01


@dataclass(frozen=True)
class Break:
    """A place where one side's ground is not continuous.

    Attributes
    ----------
    side : {'left', 'right'}
    station : float
        Where it meets this side [m]; a point exactly there counts as beyond it.
    step : float
        Height just beyond minus height just before, if taped [m], else NaN.
    frees : {'all', 'height'}
        Whether height and slope are both free across it, or only the height.
    name : str
        What its taped step is called as a reading, the same on both sides; '' for its side and station.
    """

    side: str
    station: float
    step: float = float("nan")
    frees: Literal["all", "height"] = "all"
    name: str = ""


@dataclass(frozen=True)
class Grid:
    """Nodes of the profile and the layout of their states.

    Attributes
    ----------
    stations : array, shape (n,)
        Increasing [m].
    sides : tuple of str
        Sides that have readings.
    relief : bool
        Whether surface and smooth height are two states.
    scale : float
        Slopes are kept times this length [m], the median spacing.
    cut : array of int, shape (sides, n - 1)
        0 joined, 1 height free, 2 height and slope free.
    break_at : array, shape (sides, n - 1)
        Station of the break in the interval [m], NaN where there is none.
    group : int
        Nodes in one block, so that every reading, but for a few long ones, lies in one block or in
        two neighbouring ones.
    """

    stations: Array
    sides: tuple[str, ...]
    relief: bool
    scale: float
    cut: NDArray[np.int8]
    break_at: Array
    group: int = 1

    @property
    def states(self) -> int:
        """Number of states at a node."""
        return self.per_side * len(self.sides)

    @property
    def per_side(self) -> int:
        """Number of states of one side at a node."""
        return 3 if self.relief else 2

    @property
    def padded(self) -> int:
        """Number of nodes, filled up to whole blocks."""
        return -(-self.stations.size // self.group) * self.group

    @property
    def size(self) -> int:
        """Number of states of all nodes, filled up to whole blocks."""
        return self.padded * self.states

    def column(self, node: Indices | int, side: Indices | int, what: str) -> Indices:
        """Return the column of a state: ``what`` is 'surface', 'smooth' or 'slope'."""
        inside = {"surface": 0, "smooth": int(self.relief), "slope": 1 + int(self.relief)}[what]
        return np.asarray(np.asarray(node) * self.states + np.asarray(side) * self.per_side + inside)

    def side_index(self, side: str) -> int:
        """Return the index of a side; a ValueError names a side that was never read."""
        if side not in self.sides:
            raise ValueError(f"no reading on the {side!r} side; sides with readings: {', '.join(self.sides)}")
        return self.sides.index(side)

    def node(self, station: Array) -> Indices:
        """Return the node that stands for each surveyed station: the last one at or before it."""
        at = np.searchsorted(self.stations, np.asarray(station) + 1e-9, side="right") - 1
        return np.asarray(np.clip(at, 0, self.stations.size - 1))

    def pieces(self) -> Indices:
        """Return the number of the unbroken piece of each side and node, shape (sides, n)."""
        start = np.zeros((len(self.sides), 1), dtype=np.intp)
        return np.hstack([start, np.cumsum(self.cut > 0, axis=1)])


def make_grid(
    stations: Array,
    sides: tuple[str, ...],
    *,
    relief: bool,
    breaks: tuple[Break, ...] = (),
    spans: tuple[Array, Array] | None = None,
) -> Grid:
    """Return the grid with a node at every station, those closer than `MERGE` merged.

    Parameters
    ----------
    stations : array
        Stations in any order, repeats allowed [m].
    sides : tuple of str
        Sides that have readings.
    spans : two arrays, optional
        Stations of the near and far foot of every reading that joins two [m].
    """
    ordered = np.unique(np.asarray(stations, dtype=float))
    if ordered.size and np.any(np.diff(ordered) < MERGE):
        edges = [b.station for b in breaks]
        ordered = _merged(ordered, np.sort(edges))
    gaps = np.diff(ordered)
    scale = float(np.median(gaps)) if gaps.size else 1.0
    cut = np.zeros((len(sides), max(ordered.size - 1, 0)), dtype=np.int8)
    break_at = np.full(cut.shape, np.nan)
    for edge in breaks:
        interval = int(np.searchsorted(ordered, edge.station, side="left")) - 1
        if edge.side in sides and 0 <= interval < cut.shape[1]:
            side = sides.index(edge.side)
            cut[side, interval] = max(cut[side, interval], 2 if edge.frees == "all" else 1)
            break_at[side, interval] = edge.station
    grid = Grid(ordered, sides, relief, scale, cut, break_at)
    if spans is None or spans[0].size == 0:
        return grid
    return replace(grid, group=_group(np.abs(grid.node(spans[1]) - grid.node(spans[0])), grid.states))


def _group(spans: Indices, states: int) -> int:
    """Return the nodes in a block that make the least work.

    Work grows with the square of a block and of the border, to which each reading that spans more
    nodes than a block adds an unknown.
    """
    choices = np.unique(np.append(spans[spans > 0], 1))
    longer = spans.size - np.searchsorted(np.sort(spans), choices, side="right")
    return int(choices[np.argmin(choices * states + longer)])


def _merged(ordered: Array, edges: Array) -> Array:
    """Return stations at least `MERGE` apart, keeping both neighbours of a break."""
    kept = [ordered[0]]
    for station in ordered[1:]:
        broken = np.searchsorted(edges, kept[-1], "right") != np.searchsorted(edges, station, "right")
        if station - kept[-1] >= MERGE or broken:
            kept.append(station)
    return np.array(kept)
