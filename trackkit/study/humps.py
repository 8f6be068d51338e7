"""How high the ground may be where nobody read it, gap by gap between the readings."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
import pandas as pd

from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import Point
from trackkit.study.parts import parts_of
from trackkit.survey.ground import Ground

__all__ = ["humps_between"]

#: Where the ground between readings is looked at [m].
STEP: Final = 0.1
#: One chance in 20 lies beyond so many standard deviations on one side.
_ONE_IN_20: Final = 1.6448536269514722


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
    likely : sequence of (share, Ground), optional
        See `trackkit.study.causes.find_causes`.

    Returns
    -------
    DataFrame
        One row a gap between two places read under one rail, that with the likeliest touch first: side,
        from_m, to_m (the places read, or the first and last tie), station_m (where the ground is likeliest to
        touch, were there a tie), hump_m (1 time in 20 it is higher than fitted by more than this, for want of
        a reading), room_m (between line and fitted ground there), chance (that it touches there).
    """
    from scipy.special import ndtr

    run, doubt = line.run, line.doubt
    ties = run.ties["station_m"].to_numpy(dtype=float)
    head, tail = float(ties[0]), float(ties[-1])
    held = line if set_from is None else line.held_by(set_from)
    table = ground.setting.observations.table
    places = table[table["station_m"].notna()]
    rows = []
    for side in ground.sides:
        mine = places[places["side"].isin([side, ""])]
        own = mine[["station_m", "to_station_m"]].to_numpy(dtype=float)  # NaN lies nowhere
        inside = np.unique(np.round(own[(own > head) & (own < tail)], 6))
        edges = np.concatenate([[head], inside, [tail]])
        count = max(int(np.ceil((tail - head) / step)), 1)
        at = np.unique(np.concatenate([np.linspace(head, tail, count + 1), edges]))
        points: list[Point] = [(float(s), side) for s in at]
        every = list(dict.fromkeys([*points, *held.contacts]))
        weights = np.zeros((len(at), len(every)))
        for column, contact in enumerate(held.contacts):
            weights[:, every.index(contact)] += held.weights_at(at)[:, column]
        weights[np.arange(len(at)), [every.index(point) for point in points]] -= 1.0
        unread = parts_of(ground, every, likely=likely)["unread"]
        sd = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", weights, unread, weights), 0.0))
        room = line.height(at) + run.drop_at(at) - np.asarray(ground.mean(points))
        with np.errstate(divide="ignore", invalid="ignore"):
            chance = np.where(sd > 0.0, ndtr((-doubt.touch - room) / sd), (room < -doubt.touch).astype(float))
        for start, stop in pairwise(edges):
            within = np.flatnonzero((at >= start) & (at <= stop))
            if not within.size or stop - start < 1e-9:
                continue
            # the likeliest place; where none can touch, the one that is known worst
            best = within[int(np.lexsort((sd[within], chance[within]))[-1])]
            rows.append(
                (side, start, stop, at[best], _ONE_IN_20 * sd[within].max(), room[best], chance[best])
            )
    columns = ["side", "from_m", "to_m", "station_m", "hump_m", "room_m", "chance"]
    found = pd.DataFrame(rows, columns=columns)
    return found.sort_values(["chance", "hump_m"], ascending=False, kind="stable").reset_index(drop=True)
