"""What a point of the ground is in terms of the fitted states, with its own doubt between nodes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from trackkit.banded import clamped_bridge
from trackkit.survey.grid import Grid
from trackkit.survey.roughness import Roughness
from trackkit.survey.rows import Observations

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["Point", "PointRows", "SurfacePoints", "point_rows", "surface_points"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
#: A surface point (station [m], side), or the name of a peg.
Point = tuple[float, str] | str

#: Points closer than this to a node are that node [m].
SAME = 1e-6


@dataclass(frozen=True)
class SurfacePoints:
    """Surface heights as combinations of states, plus what the states do not say.

    Between two nodes the smooth ground is a cubic plus a bridge of integrated noise, and the
    relief of a point that was not read is new.

    Attributes
    ----------
    rows : sparse array, shape (n, grid.size)
    near : array of int, shape (n,)
        Node before each point; -1 before the first one.
    inside, gap : array, shape (n,)
        Distance beyond that node and length of the interval [m]; gap 0 at a node, infinite
        where only one end holds the point (outside, or beside a break).
    cut : array of bool
        Whether it lies in an interval that a break cuts on its side.
    side : array of int
    station : array
    q : array, shape (2, 2)
        Roughness of a side with itself and with the other [m^2 / m^3].
    relief : float
        Relief of a point that is not at a node [m].
    """

    rows: csr_array
    near: Indices
    inside: Array
    gap: Array
    cut: NDArray[np.bool_]
    side: Indices
    station: Array
    q: Array
    relief: float

    def own_variance(self) -> Array:
        """Return the variance that the states leave open at each point [m^2]."""
        smooth = self.q[0, 0] * _bridge(self.inside, self.inside, self.gap)
        return np.asarray(np.where(self.gap == 0, 0.0, smooth + self.relief**2))

    def own_covariance(self, other: SurfacePoints) -> Array:
        """Return the same between these points and others, shape (n, m)."""
        near, far = self.gap[:, None], other.gap[None, :]
        mate = (self.near[:, None] == other.near[None, :]) & (near > 0) & (far > 0) & (near == far)
        same_side = self.side[:, None] == other.side[None, :]
        mate &= same_side | ~(self.cut[:, None] | other.cut[None, :])
        q = self.q[self.side[:, None], other.side[None, :]]
        first, second = np.broadcast_arrays(self.inside[:, None], other.inside[None, :])
        opposite = np.sign(first) * np.sign(second) < 0
        smooth = np.where(mate & ~opposite, q * _bridge(first, second, near), 0.0)
        twin = mate & same_side & (np.abs(self.station[:, None] - other.station[None, :]) < SAME)
        return np.asarray(smooth + np.where(twin, self.relief**2, 0.0))


def surface_points(
    grid: Grid, station: Array, side: Indices, q_mean: float, q_twist: float, relief: float
) -> SurfacePoints:
    """Return surface points at stations [m] and sides (indices into ``grid.sides``)."""
    from scipy.sparse import csr_array

    nodes = grid.stations
    if station.size == 0:
        none = np.zeros(0, dtype=np.intp)
        rows = csr_array((0, grid.size))
        return SurfacePoints(rows, none, station, station, none > 0, none, station, np.eye(2), 0.0)
    last = nodes.size - 1
    near = np.clip(np.searchsorted(nodes, station + SAME, side="right") - 1, -1, last)
    at_node = (near >= 0) & (np.abs(station - nodes[np.maximum(near, 0)]) <= SAME)
    held = np.clip(near, 0, last)
    far = np.minimum(held + 1, last)
    before, after = near < 0, near == last
    cut = np.zeros(station.size, dtype=bool)
    edge = np.full(station.size, np.nan)
    between = ~at_node & ~before & ~after
    if between.any():
        cut[between] = grid.cut[side[between], near[between]] > 0
        edge[between] = grid.break_at[side[between], near[between]]
    beyond = cut & (station >= edge)
    single = before | after | cut
    anchor = np.where(beyond, far, held)
    count = np.arange(station.size)
    entries = []

    def put(which: NDArray[np.bool_], node: Indices, what: str, share: Array) -> None:
        entries.append((count[which], grid.column(node[which], side[which], what), share[which]))

    one = np.ones(station.size)
    put(at_node, held, "surface", one)
    lonely = single & ~at_node
    reach = station - nodes[anchor]
    put(lonely, anchor, "smooth", one)
    put(lonely, anchor, "slope", reach / grid.scale)
    inner = between & ~cut
    gap = np.where(inner, nodes[far] - nodes[held], 1.0)
    t = np.where(inner, (station - nodes[held]) / gap, 0.0)
    put(inner, held, "smooth", 1 - 3 * t**2 + 2 * t**3)
    put(inner, held, "slope", (t - 2 * t**2 + t**3) * gap / grid.scale)
    put(inner, far, "smooth", 3 * t**2 - 2 * t**3)
    put(inner, far, "slope", (t**3 - t**2) * gap / grid.scale)
    row, column, share = (np.concatenate(part) for part in zip(*entries, strict=True))
    rows = csr_array((share, (row, column)), shape=(station.size, grid.size))
    own = q_mean if len(grid.sides) == 1 else q_mean + q_twist / 4.0
    cross = q_mean - q_twist / 4.0
    length = np.where(at_node, 0.0, np.where(inner, gap, np.inf))
    inside = np.where(inner, station - nodes[held], np.where(lonely, reach, 0.0))
    q = np.array([[own, cross], [cross, own]])
    return SurfacePoints(rows, np.where(lonely, anchor, near), inside, length, cut, side, station, q, relief)


@dataclass(frozen=True)
class PointRows:
    """Points (surface or pegs) as rows over states and border unknowns.

    Attributes
    ----------
    ground, border : sparse arrays, shapes (n, grid.size) and (n, k)
    fixed : array, shape (n,)
        Heights of benchmarks that are held exactly, else 0 [m].
    surface : array of int
        Which of the points are surface points.
    places : SurfacePoints
        Those, in that order.
    """

    ground: csr_array
    border: csr_array
    fixed: Array
    surface: Indices
    places: SurfacePoints

    def own_variance(self) -> Array:
        """Return the variance that states and border leave open, shape (n,)."""
        own = np.zeros(self.fixed.size)
        own[self.surface] = self.places.own_variance()
        return own

    def widening(self, factor: float) -> Array:
        """Return the square root of a factor for surface points, 1 for pegs, shape (n,)."""
        result = np.ones(self.fixed.size)
        result[self.surface] = np.sqrt(factor)
        return result

    def own_covariance(self, other: PointRows) -> Array:
        """Return the same between these points and others, shape (n, m)."""
        own = np.zeros((self.fixed.size, other.fixed.size))
        own[np.ix_(self.surface, other.surface)] = self.places.own_covariance(other.places)
        return own


def point_rows(
    grid: Grid, observations: Observations, points: Sequence[Point], roughness: Roughness | None
) -> PointRows:
    """Return points as rows; without a roughness their own variance is left out.

    Raises
    ------
    KeyError
        If a peg was never read.
    ValueError
        If a side was never read.
    """
    from scipy.sparse import csr_array

    n = len(points)
    fixed = np.zeros(n)
    pegs: list[tuple[int, int]] = []
    surface: list[int] = []
    for i, point in enumerate(points):
        if not isinstance(point, str):
            surface.append(i)
        elif point in observations.fixed:
            fixed[i] = observations.fixed[point]
        else:
            pegs.append((i, observations.border_index("peg", point)))
    at = np.array([points[i][0] for i in surface], dtype=float)
    side = np.array([grid.side_index(points[i][1]) for i in surface], dtype=np.intp)
    rough = (roughness.q_mean, roughness.q_twist, roughness.relief) if roughness else (0.0, 0.0, 0.0)
    places = surface_points(grid, at, side, *rough)
    where = np.array(surface, dtype=np.intp)
    row, column = np.array(pegs, dtype=int).reshape(-1, 2).T
    lift = csr_array((np.ones(where.size), (where, np.arange(where.size))), shape=(n, where.size))
    border = csr_array((np.ones(row.size), (row, column)), shape=(n, len(observations.names)))
    return PointRows(csr_array(lift @ places.rows), border, fixed, where, places)


def _bridge(first: Array, second: Array, gap: Array) -> Array:
    """Return the covariance for q = 1 inside an interval, or beyond a single end (gap infinite)."""
    finite = np.where(np.isfinite(gap) & (gap > 0), gap, 1.0)
    a, b = np.abs(first), np.abs(second)
    low, high = np.minimum(a, b), np.maximum(a, b)
    alone = low**2 * (3 * high - low) / 6.0
    inner = clamped_bridge(np.minimum(a, finite), np.minimum(b, finite), finite)
    return np.asarray(np.where(np.isinf(gap), alone, inner))
