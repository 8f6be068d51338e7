"""What a line may be set from, and how high each of these lies above its shape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.layout.doubt import Doubt, point_covariance
from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import SIDES, GroundLike, Point
from trackkit.layout.laid import Run
from trackkit.study.contest import Contest, Likely
from trackkit.survey.likely import checked_shares

__all__ = ["Candidate", "contest_of"]

#: What a line is set from with the gap under the track.
_GAPPED: Final = ("tie", "point", "eye")
#: Two points along the run that lie closer are the same [m].
_SAME_PLACE: Final = 1e-6

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Candidate:
    """Something that a line may be set from.

    Attributes
    ----------
    label : str
        "tie 4 left", "3.40 m left, by eye", "peg P1".
    kind : {'tie', 'obstacle', 'point', 'eye', 'peg', 'plan'}
        A tie end; what else the line must clear, such as an obstacle; a point that was chosen, or marked as
        the highest by eye; a peg, with the plan's heights; the plan's own reference if it is none of these.
    tie : int
        0 where it is no tie end.
    side : str
    station : float
        NaN for a peg [m].
    """

    label: str
    kind: str
    tie: int
    side: str
    station: float


def contest_of(
    ground: GroundLike,
    line: FinishedLine,
    *,
    chosen: Sequence[Point] = (),
    by_eye: Point | None = None,
    pegs: Sequence[str] = (),
    doubt: Doubt | None = None,
    likely: Sequence[tuple[float, GroundLike]] = (),
) -> tuple[Contest, tuple[Candidate, ...], tuple[str, ...], int]:
    """Return the contest of a line's candidates, the candidates, labels of its rows, which is the plan's.

    Parameters as in `trackkit.study.reference.compare_references`. Heights are taken above the line as it is
    planned, so that the fill of the plan at a tie end is its expected height with the other sign.
    """
    doubt = doubt or line.doubt
    rows, run = line.resting.rows, line.run
    ends, count = len(rows.ground), len(rows.labels)
    marked = [*(((point, "point")) for point in chosen), *([(by_eye, "eye")] if by_eye is not None else [])]
    own: list[tuple[float, str]] = [_checked(point, run) for point, _ in marked]
    contacts = tuple(line.contacts)
    named = tuple(dict.fromkeys(pegs))
    points: tuple[Point, ...] = tuple(dict.fromkeys([*rows.points, *own, *named, *contacts]))
    extra: list[Point] = [*own, *named]
    place = {point: i for i, point in enumerate(points)}
    things = np.zeros((count + len(own) + len(named) + 1, len(points)))
    for column, point in enumerate(rows.points):  # where two ties stand in one place, a point comes twice
        things[:count, place[point]] += rows.parts[:, column]
    for i, point in enumerate(extra, start=count):
        things[i, place[point]] = 1.0
    middle = float(rows.stations[:ends].mean())
    for share, point in zip(line.weights_at(middle)[0] if contacts else (), contacts, strict=True):
        things[-1, place[point]] += share
    mean = np.zeros(len(things))
    mean[:count] = rows.heights - rows.room - line.height(rows.stations)
    if own:
        at = np.array([station for station, _ in own])
        mean[count : count + len(own)] = ground.mean(list(own)) - line.height(at) - run.drop_at(at)

    def spread(one: GroundLike) -> Array:
        found = things @ point_covariance(one, points, doubt, run.breaks, head=run.head) @ things.T
        return np.asarray((found + found.T) / 2.0)

    checked_shares(likely)
    fitted = ground.mean(points)
    others = [
        Likely(share, mean + things @ (one.mean(points) - fitted), spread(one)) for share, one in likely
    ]
    candidates = _candidates(line, own, [kind for _, kind in marked], named)
    planned = _planned(line, rows.points[:ends])
    if planned < 0 and line.resting.rests_by_itself and len(line.rests_on) == 1:
        planned = rows.labels.index(line.rests_on[0])
    starts = list(range(len(things) - 1))
    if line.resting.keeps_shape and planned < 0:
        planned = len(candidates)
        candidates = (*candidates, Candidate(line.reference, "plan", 0, "", float("nan")))
        starts.append(len(things) - 1)
    offsets = [
        float(rows.room[start]) + line.raised if one.kind == "obstacle" else line.gap * (one.kind in _GAPPED)
        for one, start in zip(candidates, starts, strict=True)
    ]
    contest = Contest(
        mean, spread(ground), ends, count, rows.room, np.array(starts), np.array(offsets), tuple(others)
    )
    return contest, candidates, rows.labels, planned


def _checked(point: Point, run: Run) -> tuple[float, str]:
    """Return a point along the run; ValueError if it is none."""
    if isinstance(point, str) or len(point) != 2 or point[1] not in SIDES:
        raise ValueError(
            f"a point that the line is set from must be (station, 'left' or 'right'), got {point!r}"
        )
    station = float(point[0])
    if not run.head - _SAME_PLACE <= station <= run.tail + _SAME_PLACE:
        raise ValueError(
            f"{run.display.long(station)} lies off the run, which goes from {run.display.long(run.head)} to "
            f"{run.display.long(run.tail)}; choose a point along it"
        )
    return station, point[1]


def _candidates(
    line: FinishedLine, own: Sequence[tuple[float, str]], kinds: Sequence[str], pegs: Sequence[str]
) -> tuple[Candidate, ...]:
    show = line.run.display
    stations = line.run.ties["station_m"].to_numpy(dtype=float)
    found = [
        Candidate(f"tie {tie} {side}", "tie", tie, side, float(station))
        for tie, station in enumerate(stations, start=1)
        for side in SIDES
    ]
    rows = line.resting.rows
    for label, station in zip(rows.labels[len(found) :], rows.stations[len(found) :], strict=True):
        found.append(Candidate(label, "obstacle", 0, "", float(station)))
    for (station, side), kind in zip(own, kinds, strict=True):
        eye = ", by eye" if kind == "eye" else ""
        found.append(Candidate(f"{show.long(station)} {side}{eye}", kind, 0, side, station))
    return (*found, *(Candidate(f"peg {name}", "peg", 0, "", float("nan")) for name in pegs))


def _planned(line: FinishedLine, ends: Sequence[Point]) -> int:
    """Return the tie end that the line is set from; -1 where it is none, or more than one."""
    if len(line.contacts) != 1 or not line.resting.keeps_shape or isinstance(line.contacts[0], str):
        return -1
    station, side = line.contacts[0]
    for i, end in enumerate(ends):
        if end[1] == side and abs(float(end[0]) - station) < _SAME_PLACE:
            return i
    return -1
