"""The fill table: what goes under every tie end, how well that is known, and whether it may touch."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from trackkit.layout.doubt import Doubt, fill_model, touch_chances
from trackkit.layout.finished import FinishedLine
from trackkit.layout.footing import edges_about, free_ground, slope_across, slope_along
from trackkit.layout.grounds import SIDES, GroundLike, Point
from trackkit.layout.laid import Run

__all__ = ["FillSummary", "count_negative", "fill_table", "largest_fill", "summarise_fills"]


def fill_table(
    ground: GroundLike,
    run: Run,
    line: FinishedLine,
    *,
    touch: float | None = None,
    sideways_sd: float | None = None,
    along: float | None = None,
    doubt: Doubt | None = None,
    set_from: Point | None = None,
) -> pd.DataFrame:
    """Return one row a tie end, left before right, from the head of the run to its tail.

    Parameters
    ----------
    ground : GroundLike
        The fitted ground.
    run : Run
        The run the line was worked out for; its ties are taken where they lie on the line.
    line : FinishedLine
        See `trackkit.layout.line`.
    touch : float, optional
        Ground over the underside by more than this touches [m]; by default as in ``doubt``.
    sideways_sd : float, optional
        How far off the surveyed line the track is laid sideways, sd [m]; default as in ``doubt``.
    along : float, optional
        Distance over which the ground's slope along the run is taken [m], such as a box's length.
        Without it ``along_slope`` is NaN.
    doubt : Doubt, optional
        By default the one that the line was worked out with.
    set_from : Point, optional
        The peg that the track is set out from on the day; its doubt is then in every fill's.

    Returns
    -------
    DataFrame
        tie, section, support, role, station_m, side, ground_m, line_m (the tie's underside),
        fill_m (line less ground: positive goes under the tie, negative would be in the ground),
        fill_sd_m, p_touch (chance that the ground is over the underside by more than ``touch``),
        bearing_m, rail_top_m (height of the rail's top), cross_slope (right over left, positive
        when right is higher) and along_slope of the ground [rad], free_head_m and free_tail_m (how far
        the ground goes on to the next break, infinite where none comes), edges (the breaks under its rail as
        `trackkit.layout.footing.edges_about` gives them).

    Notes
    -----
    Without ``set_from`` the sd are those of a line that is set out from what it rests on. Which points
    it rests on is taken for certain, see `FinishedLine`.

    Raises
    ------
    ValueError
        If the run is not the one the line was worked out for.
    """
    if len(run.ties) != len(line.run.ties) or not np.allclose(run.ties["along_m"], line.run.ties["along_m"]):
        raise ValueError("run is not the one that line was worked out for; work out the line for this run")
    laid = line.run
    doubt = doubt or line.doubt
    doubt = replace(
        doubt,
        touch=doubt.touch if touch is None else touch,
        sideways_sd=doubt.sideways_sd if sideways_sd is None else sideways_sd,
    )
    held = line if set_from is None else line.held_by(set_from)
    model = fill_model(ground, laid, held, doubt=doubt)
    ties = laid.ties.loc[np.repeat(np.arange(len(laid.ties)), 2)].reset_index(drop=True)
    stations = ties["station_m"].to_numpy(dtype=float)
    side = np.tile(np.array(SIDES, dtype=object), len(laid.ties))
    slope = np.full(len(ties), np.nan)
    if along is not None:
        slope = slope_along(ground, stations, side, laid.breaks, length=along)
    to_head, to_tail = free_ground(stations, side, laid.breaks)
    return pd.DataFrame(
        {
            "tie": ties["tie"],
            "section": ties["section"],
            "support": ties["support"],
            "role": ties["role"],
            "station_m": stations,
            "side": side,
            "ground_m": model.ground,
            "line_m": model.line,
            "fill_m": model.fills,
            "fill_sd_m": model.sd,
            "p_touch": touch_chances(model.fills, model.sd, touch=doubt.touch),
            "bearing_m": ties["bearing_m"],
            "rail_top_m": line.rail_top(stations),
            "cross_slope": slope_across(
                ground, stations, side, laid.breaks, width=doubt.width, head=laid.head
            ),
            "along_slope": slope,
            "free_head_m": to_head,
            "free_tail_m": to_tail,
            "edges": edges_about(stations, side, laid.breaks, width=doubt.width),
        }
    )


def count_negative(fills: pd.DataFrame, *, tolerance: float = 1e-9) -> int:
    """Return how many tie ends would be in the ground; ``tolerance`` [m] is for rounding."""
    return int((fills["fill_m"] < -tolerance).sum())


def largest_fill(fills: pd.DataFrame) -> tuple[float, int, str]:
    """Return the largest fill [m], its tie and its side."""
    row = int(np.argmax(fills["fill_m"].to_numpy(dtype=float)))
    return float(fills["fill_m"].iloc[row]), int(fills["tie"].iloc[row]), str(fills["side"].iloc[row])


@dataclass(frozen=True)
class FillSummary:
    """The numbers a crew asks first.

    Attributes
    ----------
    largest : float
        Largest fill [m].
    largest_tie, largest_side
        Where it is.
    total : float
        Sum of the fills that go under tie ends [m].
    negative : int
        Tie ends that would be in the ground.
    deepest : float
        The lowest fill [m]; negative when a tie end would be in the ground.
    """

    largest: float
    largest_tie: int
    largest_side: str
    total: float
    negative: int
    deepest: float


def summarise_fills(fills: pd.DataFrame) -> FillSummary:
    """Return the numbers a crew asks first."""
    largest, tie, side = largest_fill(fills)
    heights = fills["fill_m"].to_numpy(dtype=float)
    return FillSummary(
        largest, tie, side, float(heights[heights > 0].sum()), count_negative(fills), float(heights.min())
    )
