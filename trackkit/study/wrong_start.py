"""A wrong start on the day, and insurance against it.

The crew sets the line from one point and lays tie after tie. Where it comes to ground, or to an obstacle,
that is higher than the line allows, all that is placed must be lifted again. A spare height built in at
the start makes that rarer, and every stack higher. Minutes come from `Pace`, which is all guesses: they
weigh one choice against another, and promise nothing.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.cribbing.by_height import PiecesByHeight
from trackkit.study.best import BestSpare, BestStart, best_spare, best_start
from trackkit.study.ends import along_the_run, tie_ends
from trackkit.study.finds import finds
from trackkit.study.handled import Handled
from trackkit.study.lifting import lifted_again
from trackkit.study.obstacles import Obstacles, comes_to, nearest_ends
from trackkit.study.pace import ORDERS, Pace, laying_order
from trackkit.study.walked import Ahead, walk
from trackkit.study.work import ExpectedWork

__all__ = [
    "ORDERS",
    "BestSpare",
    "BestStart",
    "ExpectedWork",
    "Obstacles",
    "Pace",
    "best_spare",
    "best_start",
    "expected_work",
    "finds",
    "laying_order",
    "lifted_again",
]


def expected_work(
    drawn: ArrayLike,
    starts: ArrayLike,
    spares: ArrayLike,
    *,
    support: ArrayLike,
    stations: ArrayLike,
    gap: float,
    touch: float,
    order: str = "outward",
    table: PiecesByHeight | None = None,
    pace: Pace | None = None,
    spare_again: bool = False,
    obstacles: Obstacles | None = None,
) -> ExpectedWork:
    """Return the work that each start and spare height comes to, over draws of the ground.

    In each draw the line is set from the start's true height, plus the gap, plus the spare height, and the
    crew goes from tie end to tie end; at the first of those nearest to an obstacle it comes to that too.
    Where the ground or an obstacle is above the line's underside by more than a touch, everything placed so
    far is lifted, so that all that the crew has come to has its room: tie ends the gap, obstacles their own.
    Then it goes on. There may be several such finds. One before anything is placed lifts the line, but no
    support.

    Parameters
    ----------
    drawn : array_like, shape (draws, ends)
        Heights of the tie ends above the line's grade [m]: less grade times station, and less drops.
    starts : array_like of int, shape (starts,)
        Tie ends to set the line from, or obstacles numbered on from the last tie end: then the line has the
        obstacle's room over it instead of the gap, and the crew starts at the tie end nearest to it.
    spares : array_like, shape (spares,)
        Spare heights built in at the start [m], 0 or more.
    support : array_like of int, shape (ends,)
        Support, one stack, that each tie end is on. A stack is as high as the greatest fill on it.
    stations : array_like, shape (ends,)
        Of each tie end, from head to tail, left before right [m].
    gap : float
        What the line keeps above the ground of the tie end that it is set from [m].
    touch : float
        Ground may be above the line's underside by so much before anything is done [m].
    order : str
        One of `trackkit.study.pace.ORDERS`.
    table : PiecesByHeight, optional
        Without it no pieces are counted, and every stack must be opened to be lifted again.
    pace : Pace, optional
    spare_again : bool
        Whether the spare height is built in again whenever the line is lifted; else there is no spare then.
    obstacles : Obstacles, optional
        What else the line must clear, in the same draws.

    Raises
    ------
    ValueError
        If the arrays do not go together or a value cannot be used.

    Notes
    -----
    More spare height never makes the line be lifted more often, draw by draw; it may make one lift
    come later, when more is placed. That holds with obstacles whose room is not the gap because a lift gives
    everything that was passed its room, and not only what is found: else a low line, lifted far by an
    obstacle that asks for much room, would stay where a higher one, which just cleared it, is lifted later.
    """
    ahead, first = _ahead(drawn, support, stations, gap, touch, obstacles)
    along = np.asarray(stations, dtype=float)
    extra = np.atleast_1d(np.asarray(spares, dtype=float))
    if extra.ndim != 1 or not len(extra) or not (np.isfinite(extra) & (extra >= 0)).all():
        raise ValueError(f"spares must be finite heights in m, 0 or more; got {spares!r}")
    own = tie_ends(starts, len(along), "starts", obstacles=len(first) - len(along))
    paced, handled = pace or Pace(), Handled.of(table)
    minutes = np.empty((len(own), len(extra), ahead.lines.shape[1]))
    means = np.empty((7, len(own), len(extra)))
    for number, start in enumerate(own.tolist()):
        turns = laying_order(along, int(first[start]), order)
        one = walk(ahead, start, extra, turns, handled, paced, spare_again=spare_again)
        minutes[number] = one.placing + one.again
        parts = (one.lifts, one.lifted, one.slid, one.placing, one.again, one.lifts == 0, one.too_high)
        means[:, number] = [part.mean(axis=1) for part in parts]
    lifts, lifted, slid, placing, again, stays, too_high = means
    return ExpectedWork(
        starts=own,
        spares=extra,
        minutes=minutes,
        lifts=lifts,
        lifted=lifted,
        slid=slid,
        placing=placing,
        again=again,
        stays=stays,
        too_high=too_high,
        counted=table is not None,
    )


def _ahead(
    drawn: ArrayLike, support: ArrayLike, stations: ArrayLike, gap: float, touch: float,
    obstacles: Obstacles | None,
) -> tuple[Ahead, NDArray[np.int64]]:  # fmt: skip
    """Return what the crew comes to, and the tie end that it starts at from each tie end and obstacle."""
    heights = np.asarray(drawn, dtype=float)
    if heights.ndim != 2 or not heights.size or not np.isfinite(heights).all():
        raise ValueError(f"drawn must be finite heights of shape (draws, ends); got shape {heights.shape}")
    for name, value in (("gap", gap), ("touch", touch)):
        if not (math.isfinite(value) and value >= 0):
            raise ValueError(f"{name} must be a finite height in m, not negative; got {value!r}")
    along, places = along_the_run(stations, support, heights.shape[1])
    heights = np.ascontiguousarray(heights.T)
    lowest = np.full((places.max() + 1, heights.shape[1]), np.inf)
    np.minimum.at(lowest, places, heights)
    lines, first = heights + gap, np.arange(len(heights))
    if obstacles is None or not len(obstacles.room):
        return Ahead(lines, heights, lines, lowest, places, touch), first
    others = obstacles.heights.T
    if others.shape[1] != heights.shape[1]:
        raise ValueError(
            f"obstacles must have the same draws as the ground, {heights.shape[1]}; got {others.shape[1]}"
        )
    which, end = np.nonzero(nearest_ends(along, obstacles.stations))
    room = others + obstacles.room[:, None]
    highest, asked = heights.copy(), lines.copy()
    np.maximum.at(highest, end, others[which])
    np.maximum.at(asked, end, room[which])
    first = np.concatenate([first, comes_to(along, obstacles.stations)])
    return Ahead(np.vstack([lines, room]), highest, asked, lowest, places, touch), first
