"""What to read next: the few readings that most lower the doubt in what hangs on the ground.

How much a reading will help does not depend on what it will read, only on what is known already. So every
reading that could be taken is tried on paper: each takes its share out of the covariance (a rank-one update),
the best is kept, and the next is looked for. That is greedy: the best pair need not hold the best single one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.points import Point
from trackkit.tables.rows import rows_of

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = [
    "KINDS", "NextReadings", "Possible", "asked_about", "joint_of", "next_readings", "possible_readings",
]  # fmt: skip

Array = NDArray[np.float64]

#: Kinds of readings that can be asked for, and what to call them.
KINDS: Final = {
    "rod": "a rod reading",
    "across": "a left-to-right, phone both ways round",
    "board": "a board along the track, phone both ways round",
}
#: Of the height of a laser that is set up anew nothing is known: its sd before any reading [m].
ANYWHERE: Final = 1.0
#: Stations of readings that are tried lie at least so far apart [m] (a choice).
APART: Final = 0.1
#: A board's length where the survey has none [m]: common practice, no source.
BOARD: Final = 1.2
#: Ground that is read already is bound to so many points, at the most: two tell a knocked laser.
TIES: Final = 2


@dataclass(frozen=True)
class Possible:
    """A reading that could be taken.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    station : float
        Where the rod, the phone or the near end of the board is [m].
    side : str
        'left' or 'right'; '' for a left-to-right.
    to_station : float
        Far end of the board [m]; NaN for others.
    """

    kind: str
    station: float
    side: str = ""
    to_station: float = np.nan

    def weights(self) -> dict[Point, float]:
        """Return the points of the ground that it sees, and with which share."""
        if self.kind == "rod":
            return {(self.station, self.side): -1.0}
        if self.kind == "across":
            return {(self.station, "right"): 1.0, (self.station, "left"): -1.0}
        return {(self.to_station, self.side): 1.0, (self.station, self.side): -1.0}


@dataclass(frozen=True)
class NextReadings:
    """The readings to take next, the most useful first.

    Attributes
    ----------
    ties : tuple of Point
        Where to stand the rod first, so that the laser set up anew is bound to the survey; empty if no
        rod is asked for.
    before_m : float
        Largest standard deviation of what was asked about, as the survey stands [m].
    tied_m : float
        The same once ``ties`` are read [m].
    table : DataFrame
        kind, station_m, to_station_m, side, sd_m (largest standard deviation once it is read too).
    spreads : tuple of array, shape (m, m)
        Covariance of what was asked about: as the survey stands, once ``ties`` are read, then once each
        reading is [m^2].
    """

    ties: tuple[Point, ...]
    before_m: float
    tied_m: float
    table: pd.DataFrame
    spreads: tuple[Array, ...]


def possible_readings(
    ground: Ground, *, kinds: Sequence[str] = ("rod", "across"), stations: Sequence[float] | None = None
) -> tuple[Possible, ...]:
    """Return readings that could be taken.

    Parameters
    ----------
    ground : Ground
    kinds : sequence of str
        Of `KINDS`: what the crew has with it.
    stations : sequence of float, optional
        Where [m]. By default at every station that was read, half-way between them, and at the ties.

    Raises
    ------
    ValueError
        For a kind that is not known.
    """
    strange = [kind for kind in kinds if kind not in KINDS]
    if strange:
        raise ValueError(f"kinds must be of {', '.join(KINDS)}; got {', '.join(map(repr, strange))}")
    survey = ground.survey
    if stations is None:
        nodes = ground.stations
        at = np.sort(np.concatenate([nodes, (nodes[1:] + nodes[:-1]) / 2.0]))
    else:
        at = np.unique(np.asarray(stations, dtype=float))
    spots = at[np.diff(at, prepend=-np.inf) >= APART] if stations is None else at
    lengths = (survey.boards["to_station_m"] - survey.boards["station_m"]).abs()
    length = float(lengths.median()) if len(lengths) else BOARD
    found: list[Possible] = []
    for spot in map(float, spots):
        if "rod" in kinds:
            found += [Possible("rod", spot, side) for side in ground.sides]
        if "across" in kinds and len(ground.sides) == 2:
            found.append(Possible("across", spot))
        if "board" in kinds and spot + length <= at[-1] + APART:
            found += [Possible("board", spot, side, spot + length) for side in ground.sides]
    return tuple(found)


def next_readings(
    ground: Ground,
    points: Sequence[Point],
    weights: Array,
    *,
    possible: Sequence[Possible] | None = None,
    count: int = 3,
    goal: str = "largest",
    importance: Array | None = None,
) -> NextReadings:
    """Return the readings that most lower the doubt in combinations of heights.

    Parameters
    ----------
    ground : Ground
    points : sequence of Point, length n
    weights : array, shape (m, n)
        Each row is one thing asked about, such as a fill: its share in the height of each point.
    possible : sequence of Possible, optional
        Readings that could be taken; by default `possible_readings`.
    count : int
        How many to look for, no reading twice.
    goal : {'largest', 'sum'}
        Whether the largest standard deviation of them all is to fall, or the sum of their variances.
    importance : array, shape (m,), optional
        Factor on each variance in what is to fall; by default all count alike.

    Returns
    -------
    NextReadings

    Notes
    -----
    The laser is taken to be set up anew, its height known from rods on ``ties``: the pegs, else the first
    and the last place that was read. Phone readings stand for one each way round, so that its zero
    error drops out. The roughness is taken as it was found, and doubts are widened by the fit's inflation.

    Raises
    ------
    ValueError
        For another goal, a count below 1, or weights or importance of another shape.
    """
    asked = asked_about(points, weights)
    if goal not in ("largest", "sum"):
        raise ValueError(f"goal must be 'largest' or 'sum', got {goal!r}")
    if count < 1:
        raise ValueError(f"count must be 1 or more, got {count}")
    matters = np.ones(len(asked)) if importance is None else np.asarray(importance, dtype=float)
    if matters.shape != (len(asked),):
        raise ValueError(f"importance must have one figure for each of {len(asked)}; got {matters.shape}")
    tried = tuple(possible_readings(ground) if possible is None else possible)
    rods = any(reading.kind == "rod" for reading in tried)
    ties = _ties(ground) if rods else ()
    joint, noise, _ = joint_of(ground, points, asked, tried, ties)
    return _greedy(joint, noise, matters, tried, ties, count, goal)


def asked_about(points: Sequence[Point], weights: Array) -> Array:
    """Return weights as an array with a row for each thing asked about; ValueError if they do not fit."""
    asked = np.atleast_2d(np.asarray(weights, dtype=float))
    if asked.shape[1] != len(points):
        raise ValueError(f"weights must have a column for each point, {len(points)}; got {asked.shape[1]}")
    return asked


def joint_of(
    ground: Ground,
    points: Sequence[Point],
    asked: Array,
    tried: tuple[Possible, ...],
    ties: tuple[Point, ...],
) -> tuple[Array, Array, list[dict[Point, float]]]:
    """Return the covariance of what is asked about, then what each reading and tie sees; noise; sights."""
    everything = tuple(dict.fromkeys([*points, *ties, *(p for r in tried for p in r.weights())]))
    place = {point: i for i, point in enumerate(everything)}
    size = len(everything)
    covariance = np.zeros((size + 1, size + 1))
    covariance[:size, :size] = ground.covariance(everything)
    covariance[size, size] = ANYWHERE**2
    # the laser's height comes last
    looks = np.zeros((len(asked) + len(tried) + len(ties), size + 1))
    looks[: len(asked), [place[point] for point in points]] = asked
    sights = [r.weights() for r in tried] + [{point: -1.0} for point in ties]
    for row, sight in enumerate(sights, start=len(asked)):
        for point, share in sight.items():
            looks[row, place[point]] += share
        if row >= len(asked) + len(tried) or tried[row - len(asked)].kind == "rod":
            looks[row, size] = 1.0
    joint = looks @ covariance @ looks.T
    noise = np.array([_noise(ground, reading) for reading in tried] + [_rod_variance(ground)] * len(ties))
    return joint, noise, sights


def _greedy(
    joint: Array,
    noise: Array,
    matters: Array,
    tried: tuple[Possible, ...],
    ties: tuple[Point, ...],
    count: int,
    goal: str,
) -> NextReadings:
    """Read the ties, then look for the best reading again and again, by rank-one updates."""
    asked = matters.size
    spreads = [joint[:asked, :asked]]
    for i in range(len(ties)):
        joint = _read(joint, asked + len(tried) + i, noise[len(tried) + i])
    spreads.append(joint[:asked, :asked])
    rows, free = [], np.ones(len(tried), dtype=bool)
    for _ in range(min(count, len(tried))):
        seen = slice(asked, asked + len(tried))
        spread = np.diag(joint)[seen] + noise[: len(tried)]
        left = matters[:, None] * (np.diag(joint)[:asked, None] - joint[:asked, seen] ** 2 / spread)
        score = np.where(free, left.max(axis=0) if goal == "largest" else left.sum(axis=0), np.inf)
        # of readings that are as good for that, the one that lowers the others most
        close = score <= score.min() * (1.0 + 1e-9) + 1e-18
        best = int(np.argmin(np.where(close, left.sum(axis=0), np.inf)))
        joint, free[best] = _read(joint, asked + best, noise[best]), False
        spreads.append(joint[:asked, :asked])
        reading = tried[best]
        row = (reading.kind, reading.station, reading.to_station, reading.side, _largest(spreads[-1]))
        rows.append(row)
    columns = ["kind", "station_m", "to_station_m", "side", "sd_m"]
    table = pd.DataFrame(rows, columns=columns)
    return NextReadings(ties, _largest(spreads[0]), _largest(spreads[1]), table, tuple(spreads))


def _largest(spread: Array) -> float:
    return float(np.sqrt(max(np.diag(spread).max(initial=0.0), 0.0)))


def _read(joint: Array, row: int, noise: float) -> Array:
    """Return the covariance once the thing in a row has been read."""
    column = joint[:, row]
    return np.asarray(joint - np.outer(column, column) / (joint[row, row] + noise))


def _ties(ground: Ground) -> tuple[Point, ...]:
    """Return the pegs, else the first and the last place that was read."""
    rows = ground.setting.observations
    levels = ground.survey.levels
    read = set(levels.loc[levels["point"] != "", "point"])
    pegs = [name for kind, name in rows.names if kind == "peg" and name in read]
    pegs += [name for name in rows.fixed if name in read]
    if pegs:
        return tuple(dict.fromkeys(pegs))[:TIES]
    placed = levels[levels["station_m"].notna() & levels["side"].isin(ground.sides)]
    if placed.empty:
        return tuple((float(ground.stations[end]), ground.sides[0]) for end in (0, -1))
    placed = placed.sort_values("station_m", kind="stable").iloc[[0, -1]]
    return tuple((float(row.station_m), str(row.side)) for row in rows_of(placed))


def _rod_variance(ground: Ground) -> float:
    return ground.inflation * ground.instruments.rod_sd**2


def _noise(ground: Ground, reading: Possible) -> float:
    """Return the variance of a reading, widened as the ground's heights are [m^2]."""
    if reading.kind == "rod":
        return _rod_variance(ground)
    length = ground.width if reading.kind == "across" else reading.to_station - reading.station
    angle = min(ground.instruments.angle_sds.values(), default=ground.instruments.angle_sd)
    return float(ground.inflation * (length * angle) ** 2 / 2.0)
