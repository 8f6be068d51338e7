"""What the strip from above has to show, and how far it goes along the run and aside. All in metres."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import pandas as pd

from trackkit.layout.laid import Run
from trackkit.show.footprints import Foot, Push, feet_of, pushes_of
from trackkit.show.scene import PAST

if TYPE_CHECKING:
    from trackkit.cribbing.results import StackPlan

__all__ = ["picture_ends", "reach_aside", "under_track"]

#: At least so much is shown beside each rail, and what lies there [m].
ASIDE: Final = 0.32


def under_track(
    fills: pd.DataFrame, stacks: StackPlan | None, sizes: Mapping[str, float]
) -> tuple[list[tuple[str, Foot]], list[Push]]:
    """Return all footprints, each with its side, and all wedges' ends."""
    if stacks is None:
        return [], []
    columns = (fills[name] for name in ("side", "tie", "station_m", "bearing_m"))
    rows = {(side, tie): (at, wide) for side, tie, at, wide in zip(*columns, strict=True)}
    feet: list[tuple[str, Foot]] = []
    pushes: list[Push] = []
    for stack in stacks.stacks:
        stations, bearings = zip(*(rows[stack.side, tie] for tie in stack.ties), strict=True)
        feet += [(stack.side, foot) for foot in feet_of(stack, stations, **sizes)]
        pushes += pushes_of(stack, stations, bearings, truck=stacks.truck, **sizes)
    return feet, pushes


def picture_ends(run: Run, feet: Sequence[tuple[str, Foot]], pushes: Sequence[Push]) -> tuple[float, float]:
    """Return the ends of the picture as the side view has them, where nothing else is asked."""
    out = [push.station + push.way[0] * push.out for push in pushes]
    out += [foot.station + way * foot.along / 2 for _, foot in feet for way in (-1, 1)]
    low = min([run.head - PAST[0], *(station - PAST[1] for station in out)])
    return low, max([run.tail + PAST[0], *(station + PAST[1] for station in out)])


def reach_aside(
    run: Run,
    feet: Sequence[tuple[str, Foot]],
    pushes: Sequence[Push],
    tie_overhang: float,
    obstacles: pd.DataFrame | None,
) -> tuple[float, float]:
    """Return how far the picture goes to the right (negative) and to the left of the run's middle [m]."""
    out = [foot.aside + way * foot.across / 2 for _, foot in feet for way in (-1, 1)]
    out += [push.aside + push.way[1] * push.out for push in pushes]
    out += [way * (run.gauge / 2 + tie_overhang) for way in (-1.0, 1.0)]
    if obstacles is not None:
        near = obstacles["offset_m"].abs() < 2 * run.gauge
        out += [-float(offset) for offset in obstacles.loc[near, "offset_m"]]
    return min(out) - ASIDE, max(out) + ASIDE
