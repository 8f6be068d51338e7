"""What is cleaned out of a phone's log, and how finely it is thinned. Every figure may be changed."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["LogRules"]


@dataclass(frozen=True)
class LogRules:
    """Bounds for a phone's log.

    Attributes
    ----------
    shortest_board, longest_board : float
        Distances between the feet beyond these are faults [m]. Guess: centimetres in a column of metres
        are caught.
    per_board : tuple of int
        Windows to a board's length that are tried, finest first; even, so that feet fall on windows'
        stations. A choice: with 8, the curve of the ground in a window is an eighth of a board long.
    rows_per_window : float
        A window must be so many times as long as the usual step from row to row (a choice); where none
        is, each station is a reading of its own, as with boards.
    spike : float
        A row so many robust standard deviations off the running median is a spike. A choice: of good
        rows with normal errors fewer than 1 in 10,000 are.
    spike_window : float
        Length of the running median, as a share of the board (a choice)...
    least_in_window : int
        ... but at least so many rows: fewer say little about the usual scatter (a choice).
    least_spike : float
        Nothing nearer to the running median is a spike [rad]. Guess.
    frozen_chance : float
        A stretch of equal values is frozen if chance gives one as long less often than once in so many
        logs, 1 / this. A choice.
    frozen_rows : int
        ... and has so many rows or more (a choice).
    too_many_off : float
        A larger share of rows that are steeper than a board can lie is a fault of the whole column. Guess.
    """

    shortest_board: float = 0.1
    longest_board: float = 6.0
    per_board: tuple[int, ...] = (8, 6, 4)
    rows_per_window: float = 2.5
    spike: float = 6.0
    spike_window: float = 0.25
    least_in_window: int = 25
    least_spike: float = math.radians(0.05)
    frozen_chance: float = 1e-3
    frozen_rows: int = 10
    too_many_off: float = 0.2
