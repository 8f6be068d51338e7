"""What a stack finds to stand on: how the ground slopes there, what kind it is, how much of it is free.

A break in the ground (kerb, path edge, ditch) parts it: nothing that stands on one side of it reaches
past it, and no slope is taken across it. Nothing reaches into a zone where nothing may stand either.
A break that slants is nearer to one edge of a box than to the other, so edges keep their slant.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from trackkit.layout.breaks import slant_of
from trackkit.layout.grounds import SIDES, FloatArray, GroundLike
from trackkit.tables.rows import rows_of

__all__ = [
    "BESIDE",
    "edges_about",
    "free_ground",
    "on_zones",
    "parted",
    "slope_across",
    "slope_along",
    "stands_clear",
]

#: A pair of stations, left and right, NaN where a break does not cross that side [m].
Break = tuple[float, float]

#: So close to a break counts as beside it, on this side or the other [m].
BESIDE: Final = 1e-4
#: Stations that differ by less are the same [m].
_SAME: Final = 1e-9


def slope_along(
    ground: GroundLike, stations: FloatArray, side: ArrayLike, breaks: Sequence[Break], *, length: float
) -> FloatArray:
    """Return the slope of the ground along the run, up to a break and not over it.

    Parameters
    ----------
    ground : GroundLike
    stations, side : array, shape (n,)
        Where, and under which rail.
    breaks : sequence of (left station, right station)
        NaN where a break does not cross that side.
    length : float
        Distance over which it is taken, half of it on either side, such as a box's length [m].

    Returns
    -------
    array, shape (n,)
        Positive when the far end is higher [rad].
    """
    behind, ahead = stations - length / 2, stations + length / 2
    for own, place in _edges(side, breaks):
        before, after = own & (stations < place), own & (stations >= place)
        ahead[before] = np.minimum(ahead[before], place - BESIDE)
        behind[after] = np.maximum(behind[after], place + BESIDE)
    names = np.asarray(side, dtype=object)
    ends = np.asarray(ground.mean([*_points(behind, names), *_points(ahead, names)]), dtype=float)
    return np.asarray(np.arctan((ends[len(stations) :] - ends[: len(stations)]) / (ahead - behind)))


def slope_across(
    ground: GroundLike,
    stations: FloatArray,
    side: ArrayLike,
    breaks: Sequence[Break],
    *,
    width: float,
    head: float = -np.inf,
) -> FloatArray:
    """Return the slope of the ground across the run, of the piece that a tie end stands on.

    Where a diagonal break parts the two tie ends, the slope is that of the same piece at the nearest
    station where it lies under both rails. A break that crosses under one rail only goes on between the
    rails: from there to the next such break they stand on different ground, if at the head of the run they
    stand on the same, and no slope is known.

    Parameters
    ----------
    ground : GroundLike
    stations, side : array, shape (n,)
        Where, and under which rail.
    breaks : sequence of (left station, right station)
        NaN where a break does not cross that side.
    width : float
        Distance of the two support lines [m].
    head : float
        Head of the run [m], where both rails stand on the same ground.

    Returns
    -------
    array, shape (n,)
        Positive when right is higher [rad]; NaN where breaks that cross under one rail only part the two,
        and less than ``width`` from such a break.
    """
    at = np.array(stations, dtype=float)
    left = np.asarray(side, dtype=object) == "left"
    for pair in breaks:
        own, other = np.where(left, pair[0], pair[1]), np.where(left, pair[1], pair[0])
        beyond, short = (stations >= own) & (stations < other), (stations < own) & (stations >= other)
        at = np.where(beyond, np.maximum(at, other + BESIDE), at)
        at = np.where(short, np.minimum(at, other - BESIDE), at)
    lost = parted(stations, breaks, head=head) | parted(at, breaks, head=head)
    for pair in breaks:
        if np.isfinite(pair).sum() == 1:
            place = float(np.nansum(pair))
            lost |= (np.minimum(stations, at) < place + width) & (np.maximum(stations, at) > place - width)
    both = np.asarray(
        ground.mean([(float(s), name) for name in SIDES for s in at]), dtype=float
    )  # left of all, then right
    slope = np.arctan((both[len(at) :] - both[: len(at)]) / width)
    return np.asarray(np.where(lost, np.nan, slope))


def parted(stations: FloatArray, breaks: Sequence[Break], *, head: float = -np.inf) -> NDArray[np.bool_]:
    """Return where the two rails stand on different ground, for breaks that cross under one rail only.

    At the ``head`` of the run they are taken to stand on the same ground; each such break beyond it
    changes that.

    Examples
    --------
    >>> parted(np.array([1.0, 2.5, 4.0]), [(2.0, np.nan), (3.0, np.nan), (0.5, 0.7)])
    array([False,  True, False])
    """
    found = np.zeros(len(stations), dtype=bool)
    for pair in breaks:
        if np.isfinite(pair).sum() == 1 and np.nansum(pair) > head:
            found ^= stations >= np.nansum(pair)
    return found


def free_ground(
    stations: FloatArray, side: ArrayLike, breaks: Sequence[Break]
) -> tuple[FloatArray, FloatArray]:
    """Return how far the ground goes on from each tie end to the next break: towards head and tail [m].

    Parameters
    ----------
    stations, side : array, shape (n,)
        Where, and under which rail.
    breaks : sequence of (left station, right station)
        NaN where a break does not cross that side.

    Returns
    -------
    to_head, to_tail : array, shape (n,)
        Infinite where no break comes; 0 on a break.

    Examples
    --------
    >>> to_head, to_tail = free_ground(np.array([1.0, 2.0]), ["left", "right"], [(1.5, 1.25)])
    >>> to_head.tolist(), to_tail.tolist()
    ([inf, 0.75], [0.5, inf])
    """
    to_head, to_tail = np.full(len(stations), np.inf), np.full(len(stations), np.inf)
    for own, place in _edges(side, breaks):
        before, after = own & (stations <= place), own & (stations >= place)
        to_tail[before] = np.minimum(to_tail[before], place - stations[before])
        to_head[after] = np.minimum(to_head[after], stations[after] - place)
    return to_head, to_tail


def edges_about(
    stations: FloatArray, side: ArrayLike, breaks: Sequence[Break], *, width: float
) -> list[tuple[tuple[float, float], ...]]:
    """Return the breaks about each tie end, as lines that may slant.

    Parameters
    ----------
    stations, side : array, shape (n,)
        Where, and under which rail.
    breaks : sequence of (left station, right station)
        NaN where a break does not cross that side; where it crosses one side only it is taken square to
        the run.
    width : float
        Distance of the two support lines [m].

    Returns
    -------
    list of tuple of (float, float), length n
        For every break under that rail: how far beyond the tie end it lies (towards the tail positive) [m],
        and how much farther for each metre to the right.

    Examples
    --------
    >>> edges_about(np.array([1.0, 2.0]), ["left", "right"], [(1.5, 1.25)], width=0.5)
    [((0.5, -0.5),), ((-0.75, -0.5),)]
    """
    found: list[list[tuple[float, float]]] = [[] for _ in range(len(stations))]
    names = np.asarray(side, dtype=object)
    for left, right in breaks:
        slant = slant_of((left, right), width)
        for name, place in zip(SIDES, (left, right), strict=True):
            for row in np.flatnonzero(names == name) if np.isfinite(place) else ():
                found[row].append((float(place - stations[row]), slant))
    return [tuple(edges) for edges in found]


def on_zones(
    fills: pd.DataFrame,
    zones: pd.DataFrame,
    *,
    kind: str,
    half_box: float,
    least_feet: Mapping[str, float] | None = None,
    scrape_on: Collection[str] = (),
) -> pd.DataFrame:
    """Return the fills with the ground they stand on, and whether anything may stand there.

    Parameters
    ----------
    fills : DataFrame
        As `trackkit.layout.fills.fill_table` returns it.
    zones : DataFrame
        from_m, to_m, side ('' both), ground, support; where they overlap, the last one's ground counts.
    kind : str
        Ground where no zone says it.
    half_box : float
        Half the length along the run of what stands under a tie [m], over which the kinds are looked at.
    least_feet : mapping of str to float, optional
        Least area of a foot by kind of ground [m²]: of the kinds under a box the softest counts, which is
        the one that asks for most.
    scrape_on : collection of str
        Kinds of ground that may be scraped level.

    Returns
    -------
    DataFrame
        With ground_type; may_scrape, whether every kind under a box may be; support_here, whether the tie
        itself lies clear of where nothing may stand; and free_head_m and free_tail_m up to such zones.
    """
    stations = fills["station_m"].to_numpy(dtype=float)
    bearings = fills["bearing_m"].to_numpy(dtype=float)
    standing = np.ones(len(fills), dtype=bool)
    closed: list[Break] = []
    for zone in rows_of(zones[~zones["support"].astype(bool)]):
        own = fills["side"].isin([zone.side] if zone.side else SIDES).to_numpy()
        standing[own & ~stands_clear(stations, bearings / 2, zone.from_m, zone.to_m)] = False
        for end in (zone.from_m, zone.to_m):
            closed.append((end if zone.side != "right" else np.nan, end if zone.side != "left" else np.nan))
    to_head, to_tail = free_ground(stations, fills["side"], closed)
    to_head = np.minimum(fills["free_head_m"].to_numpy(dtype=float), to_head)
    to_tail = np.minimum(fills["free_tail_m"].to_numpy(dtype=float), to_tail)
    behind, ahead = stations - np.minimum(half_box, to_head), stations + np.minimum(half_box, to_tail)
    under = _kinds_between(behind, ahead, stations, fills["side"], zones, kind)
    asks = least_feet or {}
    softest = [max(sorted(kinds), key=lambda name: asks.get(name, 0.0)) for kinds in under]
    return fills.assign(
        ground_type=softest,
        may_scrape=[kinds <= set(scrape_on) for kinds in under],
        support_here=standing,
        free_head_m=to_head,
        free_tail_m=to_tail,
    )


def _kinds_between(
    behind: FloatArray,
    ahead: FloatArray,
    stations: FloatArray,
    side: pd.Series[str],
    zones: pd.DataFrame,
    kind: str,
) -> list[set[str]]:
    """Return every kind of ground between two stations of each tie end."""
    found = [{name} for name in _kinds(stations, side, zones, kind)]
    edges = zones[["from_m", "to_m"]].to_numpy(dtype=float).ravel()
    places = [behind + BESIDE, ahead - BESIDE]
    places += [np.full(len(stations), edge + way) for edge in edges for way in (-BESIDE, BESIDE)]
    for place in places:
        inside = np.flatnonzero((place > behind) & (place < ahead))
        names = _kinds(place[inside], side.iloc[inside], zones, kind)
        for row, name in zip(inside, names, strict=True):
            found[row].add(name)
    return found


def _kinds(stations: FloatArray, side: pd.Series[str], zones: pd.DataFrame, kind: str) -> list[str]:
    """Return the kind of ground at stations of each side; of zones that overlap the last one counts."""
    found = np.full(len(stations), kind, dtype=object)
    for zone in rows_of(zones):
        if zone.ground:
            own = side.isin([zone.side] if zone.side else SIDES).to_numpy()
            found[own & (stations >= zone.from_m - _SAME) & (stations <= zone.to_m + _SAME)] = zone.ground
    return [str(name) for name in found]


def stands_clear(station: ArrayLike, half_length: ArrayLike, from_: float, to: float) -> NDArray[np.bool_]:
    """Return whether what lies along the run, half on either side of its middle, is clear of a stretch.

    Parameters
    ----------
    station : array_like
        Its middle [m].
    half_length : array_like
        Half its length along the run [m].
    from_, to : float
        The stretch, in either order [m].

    Returns
    -------
    ndarray of bool
        True also where it just touches the stretch.

    Raises
    ------
    ValueError
        If the half length is negative.

    Examples
    --------
    >>> stands_clear([1.0, 1.7, 1.8], 0.25, 2.0, 2.4)
    array([ True,  True, False])
    """
    half = np.asarray(half_length, dtype=float)
    if not np.all(half >= 0):
        raise ValueError(f"half_length must not be negative; got {half_length!r} m")
    low, high = min(from_, to), max(from_, to)
    middle = np.asarray(station, dtype=float)
    return np.asarray((middle + half <= low + _SAME) | (middle - half >= high - _SAME))


def _edges(side: ArrayLike, breaks: Sequence[Break]) -> Iterator[tuple[NDArray[np.bool_], float]]:
    """Return every place where a break crosses under a rail, with which tie ends are under that rail."""
    names = np.asarray(side, dtype=object)
    for pair in breaks:
        for name, place in zip(SIDES, pair, strict=True):
            if np.isfinite(place):
                yield names == name, float(place)


def _points(stations: FloatArray, names: NDArray[np.object_]) -> list[tuple[float, str]]:
    return [(float(station), str(name)) for station, name in zip(stations, names, strict=True)]
