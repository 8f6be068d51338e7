"""What to read next for a job, in words: for the fills, or for the point that governs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from trackkit.advice import chance_words
from trackkit.layout.doubt import fill_model
from trackkit.layout.governing import governing_chances
from trackkit.listed import Listing
from trackkit.study.settle import what_settles
from trackkit.survey.points import Point
from trackkit.survey.quality.next_reading import (
    KINDS,
    NextReadings,
    next_readings,
    possible_readings,
)
from trackkit.tables.rows import rows_of

if TYPE_CHECKING:
    from trackkit.job import Job
    from trackkit.plan import Laid

__all__ = [
    "GOALS",
    "AskedNext",
    "next_for",
    "next_listing",
    "next_notes",
    "reading_place",
    "ties_words",
]

#: What a next reading is for, and what to call it.
GOALS: Final = {
    "fills": "how high the fills are",
    "governing": "which tie end is highest",
}


@dataclass(frozen=True)
class AskedNext:
    """What to read next, and what it brings.

    Attributes
    ----------
    goal : str
        One of `GOALS`.
    found : NextReadings
    now : float
        Chance that another tie end governs than the one taken for it; NaN where that was not asked.
    later : tuple of float
        The same once each reading has been taken, on average over what it may find.
    """

    goal: str
    found: NextReadings
    now: float
    later: tuple[float, ...]


def next_for(
    laid: Laid, goal: str = "fills", *, kinds: Sequence[str] = ("rod", "across"), count: int = 3
) -> AskedNext:
    """Return the readings that most lower the doubt in a job's fills, or in which tie end governs.

    Parameters
    ----------
    laid : Laid
        A job's line over its ground.
    goal : str
        One of `GOALS`. For the governing point it is the differences of height between the likeliest tie
        end and all others that may govern, each by its chance.
    kinds : sequence of str
        What the crew has with it, of `trackkit.survey.quality.next_reading.KINDS`.
    count : int

    Raises
    ------
    ValueError
        For another goal, or a kind that is not known.
    """
    if goal not in GOALS:
        raise ValueError(f"goal must be one of {', '.join(GOALS)}; got {goal!r}")
    ground = laid.ground
    possible = possible_readings(ground, kinds=kinds)
    if goal == "fills":
        model = fill_model(ground, laid.line.run, laid.line)
        found = next_readings(ground, model.points, model.jacobian, possible=possible, count=count)
        return AskedNext(goal, found, np.nan, ())
    table = governing_chances(ground, laid.line).table
    points: list[Point] = [(float(row.station_m), str(row.side)) for row in rows_of(table)]
    settled = what_settles(
        ground, points, -laid.fills["fill_m"].to_numpy(dtype=float), table["chance"].to_numpy(dtype=float),
        possible=possible, count=count,
    )  # fmt: skip
    return AskedNext(goal, settled.found, settled.wrong_now, settled.wrong_after)


def next_listing(asked: AskedNext, job: Job) -> Listing:
    """Return the readings to take next as a table, with what they bring."""
    show, table = job.display, asked.found.table
    rows = []
    for i, row in enumerate(rows_of(table)):
        then = f"±{show.small_unit(2.0 * row.sd_m)}"
        if asked.goal == "governing":
            then = chance_words(asked.later[i])
        rows.append((str(i + 1), KINDS[row.kind], reading_place(row, job), then))
    head = ("", "take", "where", "worst fill known to" if asked.goal == "fills" else "it is another end")
    title = f"READ NEXT, to know better {GOALS[asked.goal]}"
    return Listing(title, head, tuple(rows), (0,), (1, 2), tuple(next_notes(asked, job)))


def next_notes(asked: AskedNext, job: Job) -> list[str]:
    """Return how well things are known without these readings, and what to read first."""
    show, found = job.display, asked.found
    if asked.goal == "fills":
        notes = [f"Now the worst fill is known to ±{show.small_unit(2.0 * found.before_m)}."]
    else:
        now = chance_words(asked.now)
        notes = [f"Now the chance that another tie end is highest than the one taken for it: {now}."]
    first = ties_words(found, job)
    return [*notes, first] if first else notes


def ties_words(found: NextReadings, job: Job) -> str:
    """Return what a laser that is set up anew must be tied in with first; '' where no rod is asked for."""
    if not found.ties or not (found.table["kind"] == "rod").any():
        return ""
    where = " and ".join(_point(point, job) for point in found.ties)
    return f"Before rods from a laser set up anew, read {where} from it."


def reading_place(row: Any, job: Job) -> str:
    """Return where a reading is to be taken, in the crew's words."""
    show = job.display
    if row.kind == "board":
        return f"{show.long(row.station_m)} to {show.long(row.to_station_m)} {job.side(row.side)}"
    return f"{show.long(row.station_m)}{f' {job.side(row.side)}' if row.side else ''}"


def _point(point: Point, job: Job) -> str:
    return point if isinstance(point, str) else f"{job.display.long(point[0])} {job.side(point[1])}"
