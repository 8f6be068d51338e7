"""The same ground under track that is laid to one side of where it was read.

Heights are those of the straight line across, through both support lines. Between the lines that is what a
reading at an offset is taken to say (see ``survey/observe.py``); outside them it says more than was read, and
the doubt grows: with that of the cross-slope, and with that of the crown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from trackkit.layout.breaks import slant_of
from trackkit.problems import CannotDo
from trackkit.survey.ground import Ground
from trackkit.survey.heights import Heights
from trackkit.survey.points import SAME, Point
from trackkit.survey.readings import Survey

__all__ = ["CROWN_LENGTH", "UNREAD", "MovedGround", "moved_ground", "moved_survey", "sideways_reach"]

Array = NDArray[np.float64]

#: How far track may be moved to one side where nobody read that far out, as a share of the width: guess.
UNREAD: Final = 0.5
#: Distance along the run over which the crown of the ground keeps its shape [m]: guess.
CROWN_LENGTH: Final = 2.0
#: Two stations that differ by less are the same [m].
_SAME: Final = 1e-9
#: So far beyond a place that was read its own stones are not taken along [m].
_BESIDE: Final = 2e-6


@dataclass(frozen=True, eq=False, kw_only=True)
class MovedGround(Ground):
    """A fitted ground as track finds it that lies to one side; pegs, lasers and readings are the fit's own.

    Its sides are the lines that lie ``offset`` to the right of the fit's. Stones and tussocks (relief) that
    were read stay where they were read: the surface at the new place is the smooth ground, with the doubt
    of stones nobody knows.

    Attributes
    ----------
    base : Ground
        The ground as it was fitted.
    offset : float
        How far to the right, looking towards increasing station [m].
    crown_sd : float
        Sd of how far the ground half-way between the lines lies off the straight line across [m]. The crown
        is a parabola through both lines: outside it is as far off the other way, and more.
    crown_length : float
        A crown a distance d further along is the same to ``exp(-(d / crown_length)² / 2)`` [m].
    breaks : tuple of (float, float)
        Stations at which breaks cross the fit's left and right line [m].
    """

    base: Ground
    offset: float
    crown_sd: float
    crown_length: float
    breaks: tuple[tuple[float, float], ...]

    @cached_property
    def heights(self) -> Heights:
        """The fit's own heights, for pegs and laser positions: they do not move."""
        return self.base.heights

    @cached_property
    def residuals(self) -> pd.DataFrame:
        """One row a reading, as the fit has them."""
        return self.base.residuals

    def height(self, station: ArrayLike, side: str | Sequence[str]) -> tuple[Array, Array]:
        """Return mean height and standard deviation of the surface; see `Ground.height`."""
        at = np.atleast_1d(np.asarray(station, dtype=float))
        named = [side] * at.size if isinstance(side, str) else list(side)
        points = [(float(s), name) for s, name in zip(at, named, strict=True)]
        mean, sd = self.mean(points), np.sqrt(np.maximum(np.diag(self.covariance(points)), 0.0))
        return (mean[0], sd[0]) if np.ndim(station) == 0 else (mean, sd)

    def mean(self, points: Sequence[Point]) -> Array:
        """Return the mean heights of points, shape (n,) [m]."""
        shares, under = self._shares(points)
        return np.asarray(shares @ self.base.mean(under))

    def covariance(self, points: Sequence[Point]) -> Array:
        """Return the covariance between points, shape (n, n) [m²]."""
        shares, under = self._shares(points)
        stones = self.inflation * self.roughness.relief**2
        smooth = self.base.covariance(under)
        smooth -= stones * _same_places(under)
        joint = shares @ smooth @ shares.T
        rows = [i for i, point in enumerate(points) if not isinstance(point, str)]
        at = np.array([points[i][0] for i in rows], dtype=float)
        right = np.array([points[i][1] == "right" for i in rows])
        apart = (at[:, None] - at[None, :]) / self.crown_length
        out = self._across(right)
        crown = self.crown_sd * 4.0 * out * (1.0 - out)
        joint[np.ix_(rows, rows)] += np.outer(crown, crown) * np.exp(-0.5 * apart**2)
        joint += stones * _same_places(points)
        return np.asarray((joint + joint.T) / 2.0)

    def _across(self, right: NDArray[np.bool_]) -> Array:
        """Return how far across points lie: 0 on the fit's left line, 1 on its right one."""
        return np.where(right, 1.0, 0.0) + self.offset / self.width

    def _shares(self, points: Sequence[Point]) -> tuple[Array, list[Point]]:
        """Return the shares of the fit's own points in these, shape (n, m), and those points."""
        rows = [i for i, point in enumerate(points) if not isinstance(point, str)]
        at = np.array([points[i][0] for i in rows], dtype=float)
        across = self._across(np.array([points[i][1] == "right" for i in rows], dtype=bool))
        left, right = self._opposite(at, across)
        under: dict[Point, int] = {}
        entries: list[tuple[int, int, float]] = []
        for row, beyond, on_left, on_right in zip(rows, across, left, right, strict=True):
            for place, share in (
                ((float(on_left), "left"), 1 - beyond),
                ((float(on_right), "right"), beyond),
            ):
                entries.append((row, under.setdefault(place, len(under)), float(share)))
        for row, point in enumerate(points):
            if isinstance(point, str):
                entries.append((row, under.setdefault(point, len(under)), 1.0))
        shares = np.zeros((len(points), len(under)))
        for row, column, share in entries:
            shares[row, column] += share
        return shares, list(under)

    def _opposite(self, at: Array, across: Array) -> tuple[Array, Array]:
        """Return the stations on both lines between which each point lies, on the same piece of ground.

        Square across; where a break would part the three, along the break instead.
        """
        left, right = at.copy(), at.copy()
        for pair in self.breaks:
            along = slant_of(pair, self.width) * self.width
            beyond = at >= pair[0] + along * across - _SAME
            parted = ((at >= pair[0]) != beyond) | ((at >= pair[1]) != beyond)
            for line, place, shift in ((left, pair[0], -across), (right, pair[1], 1.0 - across)):
                slid = at + along * shift
                kept = np.where(beyond, np.maximum(slid, place), np.minimum(slid, place - 2 * _BESIDE))
                line[parted] = kept[parted]
        for pair in self.breaks:
            beyond = at >= pair[0] + (pair[1] - pair[0]) * across - _SAME
            lost = ((left >= pair[0]) != beyond) | ((right >= pair[1]) != beyond)
            if lost.any():
                raise CannotDo(
                    f"two breaks in the ground lie too near each other at {at[lost][0]:.2f} m to tell what "
                    "lies beside them; read the ground where the track is to go"
                )
        nodes = self.base.stations
        for line in (left, right):
            near = nodes[np.clip(np.searchsorted(nodes, line), 1, nodes.size - 1)]
            before = nodes[np.clip(np.searchsorted(nodes, line) - 1, 0, nodes.size - 1)]
            line[np.minimum(np.abs(near - line), np.abs(line - before)) < _BESIDE] += _BESIDE
        return left, right


def _same_places(points: Sequence[Point]) -> NDArray[np.bool_]:
    """Return which points of the ground are the same place, shape (n, n); pegs are none."""
    at = np.array([np.nan if isinstance(point, str) else point[0] for point in points], dtype=float)
    side = np.array(["" if isinstance(point, str) else point[1] for point in points], dtype=object)
    return np.asarray((np.abs(at[:, None] - at[None, :]) < SAME) & (side[:, None] == side[None, :]))


def moved_ground(
    ground: Ground, offset: float, *, crown_sd: float | None = None, crown_length: float = CROWN_LENGTH
) -> Ground:
    """Return the ground as track finds it that lies ``offset`` to the right of where it was read.

    Parameters
    ----------
    ground : Ground
        Fitted, on both sides.
    offset : float
        [m]; 0 gives the ground itself.
    crown_sd : float, optional
        By default the instruments' own, which rods at an offset are read with.
    crown_length : float
        See `MovedGround`.

    Raises
    ------
    CannotDo
        If only one side was read, or a break crosses under one side only: where it goes on is not known.
    """
    if offset == 0:
        return ground
    if len(ground.sides) < 2:
        raise CannotDo("only one side was read: what lies beside it is not known")
    pairs = _pairs(ground.survey.breaks)
    if any(np.isfinite(pair).sum() == 1 for pair in pairs):
        raise CannotDo("a break in the ground crosses under one side only: where it goes on is not known")
    own = {field.name: getattr(ground, field.name) for field in fields(Ground)}
    return MovedGround(
        **own, base=ground, offset=offset, crown_length=crown_length, breaks=pairs,
        crown_sd=ground.instruments.crown_sd if crown_sd is None else crown_sd,
    )  # fmt: skip


def moved_survey(survey: Survey, offset: float, *, width: float) -> Survey:
    """Return a survey's breaks, zones, obstacles and laser positions as track to one side sees them.

    Breaks on a diagonal meet it elsewhere, and ends of zones that lie on a break go with it; obstacles and
    lasers lie as much farther the other way. Readings stay as they are: the ground is fitted to them.

    Parameters
    ----------
    survey : Survey
    offset : float
        How far to the right [m].
    width : float
        Distance of the two support lines [m].
    """
    slide = {
        (side, place): slant_of(pair, width) * offset
        for pair in _pairs(survey.breaks)
        for side, place in zip(("left", "right"), pair, strict=True)
    }

    def moved_end(side: str, place: float) -> float:
        found = [far for (name, at), far in slide.items() if name == side and abs(at - place) < _SAME]
        return place + (found[0] if found else 0.0)

    breaks, zones = survey.breaks.copy(), survey.zones.copy()
    for side in ("left", "right"):
        column = f"{side}_station_m"
        breaks[column] = [moved_end(side, float(place)) for place in breaks[column]]
    for column in ("from_m", "to_m"):
        zones[column] = [
            moved_end(str(side), float(place))
            for side, place in zip(zones["side"], zones[column], strict=True)
        ]
    return replace(
        survey,
        breaks=breaks,
        zones=zones,
        obstacles=survey.obstacles.assign(offset_m=survey.obstacles["offset_m"] - offset),
        lasers=survey.lasers.assign(offset_m=survey.lasers["offset_m"] - offset),
    )


def sideways_reach(survey: Survey, width: float, *, unread: float = UNREAD) -> tuple[float, float]:
    """Return how far track may be moved to the left and to the right [m].

    As far as rods were read beyond the line on that side, at two stations or more; else, or if that is more,
    a share of the width.

    Parameters
    ----------
    survey : Survey
    width : float
        Distance of the two support lines [m].
    unread : float
        That share.

    Examples
    --------
    >>> from trackkit.survey.readings import make_survey
    >>> rods = pd.DataFrame({"station_m": [0.0, 4.0, 4.0], "offset_m": [0.9, 1.0, -1.5], "rod_m": [1.5] * 3})
    >>> [round(reach, 2) for reach in sideways_reach(make_survey(levels=rods), 0.6)]
    [0.3, 0.6]
    """
    rods = survey.levels[survey.levels["offset_m"].notna() & survey.levels["station_m"].notna()]
    reach = []
    for sign in (-1.0, 1.0):
        out = (sign * rods["offset_m"]).groupby(rods["station_m"]).max()
        read = float(out.nlargest(2).iloc[-1]) - width / 2 if len(out) > 1 else 0.0
        reach.append(max(read, unread * width))
    return reach[0], reach[1]


def _pairs(breaks: pd.DataFrame) -> tuple[tuple[float, float], ...]:
    both = breaks[["left_station_m", "right_station_m"]].to_numpy(dtype=float)
    return tuple((float(left), float(right)) for left, right in both)
