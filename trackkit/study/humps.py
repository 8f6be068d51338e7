"""How high the ground may be where nobody read it, gap by gap between the readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import Point
from trackkit.study.parts import ONE_IN_20, parts_of
from trackkit.survey.ground import Ground

__all__ = ["Between", "Unread", "between_readings", "humps_between", "humps_under"]

Array = NDArray[np.float64]

#: Where the ground between readings is looked at [m] (a choice: ground is read at most a few times a metre).
STEP: Final = 0.1


@dataclass(frozen=True, eq=False)
class Between:
    """Places under one rail, from the first tie to the last, at readings and between them.

    Attributes
    ----------
    side : str
    at : array, shape (places,)
        Stations [m].
    edges : array
        Stations that were read, and of the first and the last tie [m].
    """

    side: str
    at: Array
    edges: Array

    @property
    def points(self) -> list[Point]:
        """The places."""
        return [(float(station), self.side) for station in self.at]

    def known(self, ground: Ground, held: FinishedLine, points: Sequence[Point], unread: Array) -> Unread:
        """Return how well the ground is known there, for want of readings, against what a line hangs on.

        Parameters
        ----------
        ground : Ground
        held : FinishedLine
            The line, held by what it is set from.
        points : sequence of Point, length n
            These places, the line's contacts, and any others.
        unread : array, shape (n, n)
            Their covariance for want of readings, see `trackkit.study.parts.parts_of` [m²].
        """
        column = {point: i for i, point in enumerate(points)}
        every = list(dict.fromkeys([*self.points, *held.contacts]))
        place = {point: i for i, point in enumerate(every)}
        weights = np.zeros((len(self.at), len(every)))
        for share, contact in zip(held.weights_at(self.at).T, held.contacts, strict=True):
            weights[:, place[contact]] += share
        weights[np.arange(len(self.at)), [place[point] for point in self.points]] -= 1.0
        some = [column[point] for point in every]
        variance = ((weights @ unread[np.ix_(some, some)]) * weights).sum(axis=1)
        return Unread(self, np.asarray(ground.mean(self.points)), np.sqrt(np.maximum(variance, 0.0)))


@dataclass(frozen=True, eq=False)
class Unread:
    """Places under one rail with what is known of them: what does not hang on how high the line lies.

    Attributes
    ----------
    places : Between
    heights, sd : array, shape (places,)
        Of the fitted ground, and how well each is known against the line, for want of readings [m].
    """

    places: Between
    heights: Array
    sd: Array

    def rows(self, line: FinishedLine) -> list[tuple[str, float, float, float, float, float, float]]:
        """Return the rows of `humps_between` for this rail."""
        from scipy.special import ndtr

        at, sd, touch = self.places.at, self.sd, line.doubt.touch
        room = line.height(at) + line.run.drop_at(at) - self.heights
        with np.errstate(divide="ignore", invalid="ignore"):
            chance = np.where(sd > 0.0, ndtr((-touch - room) / sd), (room < -touch).astype(float))
        ties = np.isin(at, line.run.ties["station_m"].to_numpy(dtype=float))
        chance = np.where(ties, chance, 0.0)  # only a tie can touch
        rows = []
        for start, stop in pairwise(self.places.edges):
            within = np.flatnonzero((at >= start) & (at <= stop))
            if not within.size or stop - start < 1e-9:
                continue
            # the likeliest tie; where none can touch, the place that is known worst
            best = within[int(np.lexsort((sd[within], chance[within]))[-1])]
            hump = ONE_IN_20 * sd[within].max()
            rows.append((self.places.side, start, stop, at[best], hump, room[best], chance[best]))
        return rows


def between_readings(ground: Ground, line: FinishedLine, *, step: float = STEP) -> tuple[Between, ...]:
    """Return the places that are looked at, rail by rail, so far apart at the most [m]."""
    ties = line.run.ties["station_m"].to_numpy(dtype=float)
    head, tail = float(ties[0]), float(ties[-1])
    table = ground.setting.observations.table
    places = table[table["station_m"].notna()]
    found = []
    for side in ground.sides:
        mine = places[places["side"].isin([side, ""])]
        own = mine[["station_m", "to_station_m"]].to_numpy(dtype=float)  # NaN lies nowhere
        inside = np.unique(np.round(own[(own > head) & (own < tail)], 6))
        edges = np.concatenate([[head], inside, [tail]])
        count = max(int(np.ceil((tail - head) / step)), 1)
        at = np.unique(np.concatenate([np.linspace(head, tail, count + 1), edges, ties]))
        found.append(Between(side, at, edges))
    return tuple(found)


def humps_under(line: FinishedLine, rails: Sequence[Unread]) -> pd.DataFrame:
    """Return `humps_between` for a line over places of which it is known how well they are."""
    columns = ["side", "from_m", "to_m", "station_m", "hump_m", "room_m", "chance"]
    found = pd.DataFrame([row for rail in rails for row in rail.rows(line)], columns=columns)
    return found.sort_values(["chance", "hump_m"], ascending=False, kind="stable").reset_index(drop=True)


def humps_between(
    ground: Ground,
    line: FinishedLine,
    *,
    step: float = STEP,
    set_from: Point | None = None,
    likely: Sequence[tuple[float, Ground]] = (),
) -> pd.DataFrame:
    """Return how high the ground may be where nobody read it, gap by gap.

    Parameters
    ----------
    ground : Ground
    line : FinishedLine
    step : float
        Distance of the places that are looked at [m].
    set_from : Point, optional
        The peg that the line is set out from, against whose height the ground is doubtful then; by default
        it is set from what it rests on.
    likely : sequence of (share, Ground), optional
        See `trackkit.study.causes.find_causes`.

    Returns
    -------
    DataFrame
        One row a gap between two places read under one rail, that with the likeliest touch first: side,
        from_m, to_m (the places read, or the first and last tie), station_m (the tie that the ground is
        likeliest to touch; where none stands between them, or none can be touched, the place that is known
        worst), hump_m (1 time in 20 it is higher than fitted by more than this, for want of
        a reading), room_m (between line and fitted ground there), chance (that it touches there; 0 where no
        tie stands).
    """
    held = line if set_from is None else line.held_by(set_from)
    rails = between_readings(ground, line, step=step)
    points = list(dict.fromkeys([*(point for rail in rails for point in rail.points), *held.contacts]))
    unread = parts_of(ground, points, likely=likely)["unread"]
    return humps_under(line, [rail.known(ground, held, points, unread) for rail in rails])
