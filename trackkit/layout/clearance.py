"""Everything the track must clear: the ground at tie ends, between the rails, and obstacles.

Each row says how high the line of the tie undersides must reach at a station. Rows know which
points of the ground they are made of, so that what rests on a row hangs on those points.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from trackkit.layout.grounds import SIDES, FloatArray, GroundLike, Point
from trackkit.layout.laid import Run
from trackkit.problems import CannotDo

__all__ = ["Clearance", "Rows", "buried_obstacles", "clearance_rows", "with_laser_heights"]


@dataclass(frozen=True)
class Clearance:
    """How much room the track needs over what it passes. All guesses; measure your own gear.

    Attributes
    ----------
    over : float
        Room kept over an obstacle [m]. 12 mm, the same as the gap under the track: guess.
    crown : float
        How much the ground at a tie's middle may be higher than halfway between its ends [m].
        0: no crown was read (a reading between the rails, listed as an obstacle, is better).
    tie_overhang : float
        How far a tie reaches outward from the rail's centre [m]. 0.10 m: guess.
    truck_reach : float
        How far wheel trucks reach outward from the rail's centre [m]. 0.25 m: guess.
    truck_drop : float
        How far wheel trucks reach down below the rail's top [m]. 0.06 m: guess.
    """

    over: float = 0.012
    crown: float = 0.0
    tie_overhang: float = 0.10
    truck_reach: float = 0.25
    truck_drop: float = 0.06


@dataclass(frozen=True)
class Rows:
    """What the line must clear; the first ``2 * ties`` rows are the tie ends, left before right.

    Attributes
    ----------
    stations, heights : array, shape (n,)
        The line must lie at least this high there [m].
    points : tuple of Point
        Points of the ground behind the rows.
    parts : array, shape (n, points)
        Share of each point in a row's height; an obstacle of given height has none.
    labels : tuple of str
        In the crew's words: "tie 4 left", "middle of tie 4",
        "obstacle 1 (sprinkler head, 6.00 m)".
    mean : array, shape (points,)
        Expected height of each point [m].
    room : array, shape (n,)
        What of a row's height is room to be kept over it [m], and not the ground or obstacle itself.
    drops : array, shape (2 * ties,)
        How far each tie's underside lies above the line [m]: 0 unless sections differ in height.
    """

    stations: FloatArray
    heights: FloatArray
    points: tuple[Point, ...]
    parts: FloatArray
    labels: tuple[str, ...]
    mean: FloatArray
    room: FloatArray
    drops: FloatArray

    @property
    def ground(self) -> FloatArray:
        """Height of the ground at the tie ends, shape (2 * ties,) [m]."""
        return self.mean[: len(self.drops)]

    def over(self, mean: FloatArray) -> Rows:
        """Return the same rows over other heights of their points, shape (points,) [m]."""
        return replace(self, heights=self.heights + self.parts @ (mean - self.mean), mean=mean)


def clearance_rows(
    ground: GroundLike,
    run: Run,
    *,
    knots: FloatArray,
    ties: FloatArray,
    gap: float,
    obstacles: pd.DataFrame | None = None,
    clearance: Clearance | None = None,
) -> Rows:
    """Return what the line must clear, for track whose knots and ties lie at these stations.

    Parameters
    ----------
    ground : GroundLike
        Gives the heights.
    run : Run
        Gives the ties' own heights, and the gauge.
    knots, ties : array
        Stations of head, joints and tail, and of the ties [m]; see `Run.stations_on`.
    gap : float
        Room kept under every tie end [m].
    obstacles : DataFrame, optional
        station_m, offset_m (from the centre line, right positive), height_m; or point: a name
        that the ground knows, for a height that was surveyed with it. A given height counts as
        exact.
    clearance : Clearance, optional
        How much room obstacles and the ground between the rails need.

    Raises
    ------
    CannotDo
        If an obstacle has no height.

    Notes
    -----
    Between the rails and out to the tie ends everything must stay below the tie undersides, also
    between two ties: nothing is gained by resting the plan on a tie missing it by centimetres.
    Further out, as far as the wheel trucks reach, it must stay below those. What lies wider or
    beyond the ends of the run is not in the track's way.
    """
    clearance = clearance or Clearance()
    tops = run.ties["rail_top_m"].to_numpy(dtype=float)
    drop = run.rail_top - tops
    points: list[Point] = [(float(s), side) for s in ties for side in SIDES]
    n = len(points)
    stations = [np.repeat(ties, 2)]
    constants = [np.repeat(gap - drop, 2)]
    labels = [f"tie {i} {side}" for i in range(1, len(ties) + 1) for side in SIDES]
    parts = [np.eye(n)]
    if clearance.crown > 0:
        middle = np.zeros((len(ties), n))
        middle[np.arange(len(ties)), 2 * np.arange(len(ties))] = 0.5
        middle[np.arange(len(ties)), 2 * np.arange(len(ties)) + 1] = 0.5
        stations.append(ties)
        constants.append(clearance.crown - drop)
        parts.append(middle)
        labels += [f"middle of tie {i}" for i in range(1, len(ties) + 1)]
    named = _obstacles(run, obstacles, knots, clearance)
    names = list(dict.fromkeys(point for *_, point, _ in named if point))
    shares = np.zeros((len(named), n + len(names)))
    for row, (*_, point, _) in enumerate(named):
        if point:
            shares[row, n + names.index(point)] = 1.0
    every = [*points, *names]
    matrix = np.vstack([np.pad(np.vstack(parts), ((0, 0), (0, len(names)))), shares])
    mean = np.asarray(ground.mean(every), dtype=float)
    constant = np.concatenate([*constants, [height for _, height, _, _ in named]])
    return Rows(
        stations=np.concatenate([*stations, [station for station, *_ in named]]),
        heights=matrix @ mean + constant,
        points=tuple(every),
        parts=matrix,
        labels=(*labels, *(label for *_, label in named)),
        mean=mean,
        room=np.concatenate(
            [np.full(n, gap), np.zeros(len(labels) - n), np.full(len(named), clearance.over)]
        ),
        drops=np.repeat(drop, 2),
    )


def _obstacles(
    run: Run, obstacles: pd.DataFrame | None, knots: FloatArray, clearance: Clearance
) -> list[tuple[float, float, str, str]]:
    """Return (station, height over its point or the datum that the line must reach, point, label)."""
    found: list[tuple[float, float, str, str]] = []
    if obstacles is None:
        return found
    tops = [place.section.rail_top for place in run.placed]
    for number, row in enumerate(obstacles.to_dict("records"), start=1):
        station, beside = float(row["station_m"]), abs(float(row["offset_m"]))
        if not knots[0] <= station <= knots[-1]:
            continue
        point = str(row.get("point") or "")
        height = 0.0 if point else float(row.get("height_m", np.nan))
        if not np.isfinite(height):
            raise CannotDo(
                f"obstacle {number} at {run.display.long(station)} has no height; give height_m, or the rod "
                "reading on it with its laser position"
            )
        section = min(int(np.searchsorted(knots, station, side="right")) - 1, len(tops) - 1)
        if beside <= run.gauge / 2 + clearance.tie_overhang:
            need = clearance.over - (run.rail_top - tops[section])
        elif beside <= run.gauge / 2 + clearance.truck_reach:
            need = clearance.over + clearance.truck_drop - run.rail_top
        else:
            continue
        found.append((station, height + need, point, _label(run, number, row)))
    return found


def _label(run: Run, number: int, row: Mapping[Hashable, Any]) -> str:
    """Return what an obstacle is called: its number, its note, and where it is."""
    note = str(row.get("note") or "")
    return f"obstacle {number} ({note + ', ' if note else ''}{run.display.long(float(row['station_m']))})"


def buried_obstacles(
    ground: GroundLike, run: Run, obstacles: pd.DataFrame, *, width: float
) -> tuple[tuple[str, float, float], ...]:
    """Return the obstacles beside the track whose tops lie lower than the ground there.

    An obstacle stands over the ground: one that does not was misread, or is none.

    Parameters
    ----------
    ground : GroundLike
        Read under both rails: between them, and beside them, its height is taken straight across.
    run : Run
    obstacles : DataFrame
        station_m, offset_m, height_m, and note if there is one.
    width : float
        Distance between the two sides of the ground [m].

    Returns
    -------
    tuple of (label, depth, sd)
        By how much each lies below the ground, and how well the ground there is known [m].
    """
    found = []
    for number, row in enumerate(obstacles.to_dict("records"), start=1):
        station, across = float(row["station_m"]), float(row["offset_m"]) / width
        height = float(row.get("height_m", np.nan))
        if not run.head <= station <= run.tail or not np.isfinite(height) or row.get("point"):
            continue
        both: list[Point] = [(station, side) for side in SIDES]
        share = np.array([0.5 - across, 0.5 + across])
        depth = float(share @ ground.mean(both)) - height
        if depth > 0.0:
            variance = float(share @ ground.covariance(both) @ share)
            found.append((_label(run, number, row), depth, float(np.sqrt(max(variance, 0.0)))))
    return tuple(found)


def with_laser_heights(obstacles: pd.DataFrame, lasers: Mapping[str, float]) -> pd.DataFrame:
    """Return the obstacles with height_m filled in where only a rod was read.

    Parameters
    ----------
    obstacles : DataFrame
        laser, rod_m, height_m.
    lasers : mapping
        Height of each laser position above the datum [m].
    """
    heights = obstacles["laser"].map(dict(lasers)).astype(float) - obstacles["rod_m"].astype(float)
    return obstacles.assign(height_m=obstacles["height_m"].astype(float).fillna(heights))
