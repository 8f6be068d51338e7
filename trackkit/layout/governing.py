"""What governs the line: with uncertain readings a chance for each point, not a place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Generator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import SIDES, GroundLike

__all__ = ["Governing", "governing_chances", "governing_in_steps"]

#: Draws of the ground: many where the line keeps its shape, fewer where each draw is solved anew.
DRAWS, SOLVED = 10_000, 400
#: Draws in a step where each is solved anew: some 0.15 s of work.
STEP = 10


@dataclass(frozen=True, eq=False)
class Governing:
    """Chances to govern the line.

    Attributes
    ----------
    table : DataFrame
        tie, side, station_m, chance (that the line rests on this tie end); one row a tie end, left
        before right. A line that rests on several points at once has chances that add up to more
        than 1; where an obstacle may govern they add up to less.
    another : float
        Chance that the line rests on other points than the ones found.
    likeliest : str
        The point on which it rests most often: "tie 4 left", "obstacle 1 (6.00 m)".
    draws : int
        A chance p is known to ``sqrt(p (1 - p) / draws)``.
    """

    table: pd.DataFrame
    another: float
    likeliest: str
    draws: int


def governing_chances(
    ground: GroundLike, line: FinishedLine, *, draws: int | None = None, seed: int = 1
) -> Governing:
    """Return the chances of tie ends, and of obstacles, to govern the line.

    The ground is drawn again and again from its heights and their doubt. A level line, or one at a
    given grade, moves up and down; one with least fill, or that follows the ground, is worked out
    anew over every draw. Of a line held at a given height it is the chance to be the highest above it.

    Parameters
    ----------
    ground : GroundLike
    line : FinishedLine
    draws : int, optional
        By default 10,000, or 400 where a line that follows the ground is worked out anew for each: known to
        2.5 % then, at worst.
    seed : int
        Of the draws: the same input gives the same chances.

    Notes
    -----
    Ties stay where they lie on the line found. Equally high ends in one draw (a flat slab) are
    counted as the first of them.
    """
    steps = governing_in_steps(ground, line, draws=draws, seed=seed)
    while True:
        try:
            next(steps)
        except StopIteration as over:
            found: Governing = over.value
            return found


def governing_in_steps(
    ground: GroundLike, line: FinishedLine, *, draws: int | None = None, seed: int = 1
) -> Generator[None, None, Governing]:
    """Return `governing_chances`, and yield between the steps of the work.

    For whoever has to answer something else meanwhile (``yield from``); the parameters are the same.
    """
    resting = line.resting
    draws = draws or (DRAWS if resting.is_quick else SOLVED)
    rows = resting.rows
    drawn = ground.draw(rows.points, draws, seed)
    found: Counter[tuple[int, ...]] = Counter()
    step = draws if resting.is_quick else STEP
    for first in range(0, draws, step):
        found.update(resting.rows_rested_on(drawn[first : first + step]))
        yield
    counts = np.zeros(len(rows.labels))
    for rested, count in found.items():
        counts[list(rested)] += count
    usual = tuple(sorted(rows.labels.index(label) for label in line.rests_on))
    ties = line.run.ties
    table = pd.DataFrame(
        {
            "tie": np.repeat(ties["tie"].to_numpy(), 2),
            "side": list(SIDES) * len(ties),
            "station_m": np.repeat(ties["station_m"].to_numpy(dtype=float), 2),
            "chance": counts[: 2 * len(ties)] / draws,
        }
    )
    return Governing(table, 1.0 - found[usual] / draws, rows.labels[int(counts.argmax())], draws)
