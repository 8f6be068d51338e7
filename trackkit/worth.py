"""What a job's readings will be worth before any is taken, in words: surveys designed at a desk."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from trackkit.booking import blank_form
from trackkit.fitted import lay_job
from trackkit.layout.grounds import SIDES
from trackkit.listed import Listing
from trackkit.paper import columns, wrapped_lines
from trackkit.survey.prior import GroundType
from trackkit.survey.quality.design import GROUNDS, ROD, SLOPE, WITH, planned_ground, sds_against, worth_table
from trackkit.survey.readings import make_survey
from trackkit.tables.rows import rows_of
from trackkit.units import Display

if TYPE_CHECKING:
    from trackkit.job import Job

__all__ = ["planned_fills", "worth_lines", "worth_listing", "worth_text"]

_GUESS: Final = "how rough each kind of ground is, is a guess: a survey there tells"


def planned_fills(
    job: Job, *, spacing: float | None = None, lasers: int = 1, grounds: Mapping[str, GroundType] = GROUNDS
) -> pd.DataFrame:
    """Return how well each fill of a job will be known from the readings that its booking sheet asks for.

    On a level line set from the tie end in the middle of the run, left; a phone does not count.

    Parameters
    ----------
    job : Job
        Its readings are not looked at. Track that lies already has no such table: it is read where it lies.
    spacing, lasers
        As in `trackkit.booking.blank_form`.
    grounds : mapping
        Kinds of ground by name, see `trackkit.survey.quality.design.GROUNDS`.

    Returns
    -------
    DataFrame
        ground, tie, side, station_m, sd_m.

    Raises
    ------
    InputProblems, CannotDo
        As `trackkit.booking.blank_form`.
    ValueError
        For track that lies already.
    """
    if job.rough_in:
        raise ValueError("track that lies already is read where it lies; there is nothing to plan")
    form = blank_form(job, spacing=spacing, lasers=lasers, phone=False)
    levels = form.rows[["laser", "point", "station_m", "side"]].copy()
    levels["rod_m"] = ROD - SLOPE * levels["station_m"].fillna(0.0)
    survey = make_survey(levels=levels)
    run = lay_job(job, grade=job.file.line.grade or 0.0)
    stations = run.ties["station_m"].to_numpy(dtype=float)
    ends = [(float(station), side) for station in stations for side in SIDES]
    held = 2 * (len(stations) // 2)
    tables = []
    for name, kind in grounds.items():
        ground = planned_ground(survey, kind, stations=stations, instruments=job.instruments, width=job.width)
        columns_of = {
            "ground": name,
            "tie": np.repeat(run.ties["tie"].to_numpy(), 2),
            "side": list(SIDES) * len(stations),
            "station_m": np.repeat(stations, 2),
            "sd_m": sds_against(ground, ends, ends[held]),
        }
        tables.append(pd.DataFrame(columns_of))
    return pd.concat(tables, ignore_index=True)


def worth_lines(job: Job, *, spacing: float | None = None, lasers: int = 1) -> list[str]:
    """Return how well fills will be known from the booking sheet's readings; nothing for a rough-in."""
    if job.rough_in:
        return []
    table = planned_fills(job, spacing=spacing, lasers=lasers)
    worst = table.groupby("ground", sort=False)["sd_m"].max()
    each = ", ".join(f"{job.display.small_unit(2.0 * sd)} on {name}" for name, sd in worst.items())
    return [f"From these readings the worst fill will be known to about ±{each} ({_GUESS})."]


def worth_listing(length: float, display: Display) -> Listing:
    """Return what surveys of a run so long [m] are worth: how many readings, how close, with what."""
    table = worth_table(length)
    kinds = list(dict.fromkeys(table["ground"]))
    rows = []
    for (by, _), some in table.groupby(["by", "spacing_m"], sort=False):
        first = next(rows_of(some))
        worst = [f"±{display.small(2.0 * sd)}" for sd in some["sd_m"]]
        rows.append((WITH[str(by)], display.long(float(first.spacing_m)), str(first.readings), *worst))
    head = ("read with", "every", "readings", *kinds)
    unit = "inches" if display.unit == "in" else display.unit
    notes = (
        f"Give or take of the worst fill on a run of {display.long(length)}, in {unit}. Ties between "
        "the readings are guessed; in the first row of each kind every tie is read.",
        f"{_GUESS[0].upper()}{_GUESS[1:]}.",
    )
    return Listing(
        "BEFORE ANY READING: what a survey will be worth", head, tuple(rows), (1, 2, 3, 4, 5), (0,), notes
    )


def worth_text(length: float, display: Display, *, width: int) -> str:
    """Return the same as text, no wider than that."""
    listing = worth_listing(length, display)
    table = columns(listing.head, listing.rows, right=listing.right, wrap=listing.wide, width=width)
    notes = (wrapped_lines(note, width=width) for note in listing.notes)
    return "\n".join([listing.title, table, *notes])
