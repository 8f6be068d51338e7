"""What must be lifted again when something turns out too high at one tie end."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from trackkit.cribbing.by_height import PiecesByHeight
from trackkit.study.ends import along_the_run, tie_ends
from trackkit.study.handled import Handled
from trackkit.study.pace import Pace, laying_order

__all__ = ["lifted_again"]


def lifted_again(
    fills: ArrayLike,
    start: int,
    lift: ArrayLike,
    *,
    support: ArrayLike,
    stations: ArrayLike,
    found_at: ArrayLike | None = None,
    order: str = "outward",
    table: PiecesByHeight | None = None,
    pace: Pace | None = None,
) -> pd.DataFrame:
    """Return what must be lifted again if the crew finds out at one tie end that something is too high.

    Parameters
    ----------
    fills : array_like, shape (ends,)
        Fill at each tie end as the line was set [m]. A stack is as high as the greatest fill on it.
    start : int
        The tie end that the line was set from.
    lift : array_like, scalar or shape (finds,)
        How far the line must go up if it is found out there [m]. 0: not at all.
    support : array_like of int, shape (ends,)
        Support, one stack, that each tie end is on.
    stations : array_like, shape (ends,)
        Of each tie end, from head to tail, left before right [m].
    found_at : array_like of int, shape (finds,), optional
        Tie ends to look at, one as often as wanted; by default each of them.
    order : str
        One of `trackkit.study.pace.ORDERS`.
    table : PiecesByHeight, optional
        Without it no pieces are counted, and every stack must be opened.
    pace : Pace, optional

    Returns
    -------
    DataFrame
        One row for each, in the order in which the crew comes to them: find (its place in found_at); end;
        turn (from 1); lift_m;
        supports (placed by then, all lifted again); slid (of them, those whose closing piece takes it
        up by itself); restacked (the others); more_pieces, more_wedges (in the new stacks less in the
        old; below 0 where one high piece takes the place of several); carried (pieces and wedges of the new
        stacks that the old ones have not); too_high (supports that are then higher than the table goes);
        minutes.

    Raises
    ------
    ValueError
        If the arrays do not go together or a value cannot be used.
    """
    own, handled = pace or Pace(), Handled.of(table)
    fill = np.asarray(fills, dtype=float)
    along, places = along_the_run(stations, support, len(fill))
    at = np.arange(len(fill)) if found_at is None else tie_ends(found_at, len(fill), "found_at")
    up = np.asarray(lift, dtype=float)
    if up.shape not in ((), at.shape):
        raise ValueError(f"lift must be one height or one for each of {len(at)} finds; got shape {up.shape}")
    if not (np.isfinite(fill).all() and np.isfinite(up).all() and (up >= 0).all()):
        raise ValueError("fills must be finite, and lift finite and not negative")
    turn_of = np.argsort(laying_order(along, start, order))
    sooner = np.argsort(turn_of[at], kind="stable")
    at, up = at[sooner], np.broadcast_to(up, at.shape)[sooner]
    first, height = np.full(places.max() + 1, len(fill)), np.full(places.max() + 1, -np.inf)
    np.minimum.at(first, places, turn_of)
    np.maximum.at(height, places, fill)
    moved = (first[None, :] < turn_of[at][:, None]) & (up > 0)[:, None]
    before, target = handled.which(height)[None, :], height[None, :] + up[:, None]
    slid = handled.takes_up(before, target)
    after = np.where(slid, before, handled.which(target))
    old = np.broadcast_to(before, after.shape)
    frame = pd.DataFrame({"find": sooner, "end": at, "turn": turn_of[at] + 1, "lift_m": up})
    columns = {
        "supports": np.ones_like(after),
        "slid": slid,
        "restacked": ~slid,
        "more_pieces": handled.pieces[after] - handled.pieces[old],
        "more_wedges": handled.wedges[after] - handled.wedges[old],
        "carried": np.where(slid, 0, handled.carried[old, after]),
        "too_high": target > handled.top,
    }
    for name, values in columns.items():
        frame[name] = np.where(moved, values, 0).sum(axis=1)
    work = own.slide * frame["slid"] + own.restack * frame["restacked"] + own.piece * frame["carried"]
    return frame.assign(minutes=work + own.reset * (frame["lift_m"] > 0))
