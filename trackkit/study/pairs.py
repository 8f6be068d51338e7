"""A line with least fill rests on two points: which two, and what a line that is set from both comes to."""

from __future__ import annotations

from collections import Counter
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.layout.finished import FinishedLine
from trackkit.study.reference import ReferenceStudy, rested_on

__all__ = ["compare_pairs"]

Array = NDArray[np.float64]

#: Pairs with a smaller chance are not told.
LEAST: Final = 0.02


def compare_pairs(study: ReferenceStudy, line: FinishedLine, *, least: float = LEAST) -> pd.DataFrame:
    """Return the pairs of points that a line with least fill may rest on.

    Every draw of the study's ground has its own line with least fill; a line *set from* two points runs
    through their true heights, plus the gap that the plan keeps there, whatever its grade then is.

    Parameters
    ----------
    study : ReferenceStudy
        Of this line.
    line : FinishedLine
        With least fill, from the governing points.
    least : float
        Smallest chance of a pair that is told.

    Returns
    -------
    DataFrame
        One row a pair, the likeliest first: first, second ('' where the grade is at its limit and one point
        decides; the line then keeps the plan's grade), chance, planned, grade (expected, at that pair),
        touches, largest_m, largest95_m, total_m. Empty for a line of another kind.
    """
    columns = [
        "first", "second", "chance", "planned", "grade", "touches", "largest_m", "largest95_m", "total_m",
    ]  # fmt: skip
    rows, contest = line.resting.rows, study.contest
    rested = rested_on(line, contest, study.drawn)
    if rested is None:
        return pd.DataFrame(columns=columns)
    ends, heights = contest.ends, study.drawn.heights[: contest.rows]
    draws = heights.shape[1]
    found = Counter(map(tuple, rested.tolist()))
    own = tuple(sorted(rows.labels.index(label) for label in line.rests_on))
    planned = own if len(own) == 2 else (own[0], -1)
    table = []
    for (a, b), count in found.most_common():
        if count / draws < least and (a, b) != planned:
            continue
        low = heights[a] + contest.room[a] + line.raised
        tilt = np.zeros(draws)
        if b >= 0:
            apart = rows.stations[b] - rows.stations[a]
            tilt = (heights[b] + contest.room[b] + line.raised - low) / apart
        away = rows.stations - rows.stations[a]
        under = low + away[:, None] * tilt - heights
        largest = under[:ends].max(axis=0)
        table.append(
            (
                rows.labels[a],
                rows.labels[b] if b >= 0 else "",
                count / draws,
                (a, b) == planned,
                line.steepest + float(tilt.mean()),
                float(np.mean(under.min(axis=0) < -study.touch)),
                float(largest.mean()),
                float(np.quantile(largest, 0.95)),
                float(under[:ends].sum(axis=0).mean()),
            )
        )
    return pd.DataFrame(table, columns=columns)
