"""What a job's crew is to read: the stations, and the booking sheet's rows in the order of reading."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any, Final

import numpy as np
import pandas as pd

from trackkit.fitted import lay_job
from trackkit.job import Job
from trackkit.layout.laid import Run
from trackkit.problems import InputProblems, Problem, Problems
from trackkit.show.form_blank import BlankForm
from trackkit.survey.quality.order import reading_order
from trackkit.tables.folders import find_tables
from trackkit.tables.rows import rows_of
from trackkit.units import LENGTH_UNITS

__all__ = ["blank_form", "blank_levels", "stations_of", "uses_phone"]

#: Rods stand no farther apart than twice the distance from tie to tie, and than this [m] (guess).
MOST_SPACING: Final = 1.5
#: Closer spacings are slips [m] (guess).
LEAST_SPACING: Final = 0.1
#: So far beyond its ends the run is read, in metres and in feet [m] (guess): the end ties then lie inside.
BEYOND: Final = {"m": 0.15, "ft": 6 * LENGTH_UNITS["in"]}
#: Stations at which a phone is read (a choice: a handful).
PHONE_STATIONS: Final = 4
#: Pegs of a job that names none.
PEGS: Final = ("P1", "P2")
#: A difference of two readings is allowed so many of its standard deviations (a choice).
ALLOWED: Final = 3.0


def stations_of(job: Job, spacing: float | None = None) -> tuple[float, ...]:
    """Return where along the run rods are to stand on both sides.

    The joints, a place a little beyond head and tail, and evenly spaced places between those; all to the
    whole centimetre or inch, so that they can be taped as they are printed.

    Parameters
    ----------
    job : Job
        Its readings are not looked at.
    spacing : float, optional
        Greatest distance between them [m], but for that rounding. Without it twice the distance from tie to
        tie, at most 1.5 m (guess).

    Returns
    -------
    tuple of float
        Stations, growing [m].

    Raises
    ------
    InputProblems
        If the spacing is below 10 cm, or no number.
    CannotDo
        If the job's run cannot be laid out.
    """
    run = lay_job(job, grade=job.file.line.grade or 0.0)
    unit = "ft" if job.display.unit == "in" else "m"
    step = LENGTH_UNITS["in" if unit == "ft" else "cm"]
    far = _usual_spacing(run) if spacing is None else spacing
    if not far >= LEAST_SPACING or math.isinf(far):
        show = job.display.small_unit
        accepted = f"a length of {show(LEAST_SPACING)} or more"
        raise InputProblems([Problem("the form", show(far), accepted, "", None, "spacing")])
    knots = [run.head - BEYOND[unit], *run.knots[1:-1].tolist(), run.tail + BEYOND[unit]]
    places: list[float] = []
    for head, tail in pairwise(knots):
        places += np.linspace(head, tail, math.ceil((tail - head) / far - 1e-9) + 1).tolist()
    return tuple(round(steps * step, 6) for steps in sorted({math.floor(at / step + 0.5) for at in places}))


def _usual_spacing(run: Run) -> float:
    """Return twice the distance from tie to tie, but never more than `MOST_SPACING` [m]."""
    apart = run.ties.groupby("section")["station_m"].diff().median()
    return min(2.0 * float(apart), MOST_SPACING)


def uses_phone(job: Job) -> bool:
    """Whether the job's folder holds boards or left-to-rights already, or its instruments name a phone."""
    found = find_tables(job.folder, ("boards", "crosslevels", "check_phone"), Problems())
    tools = job.file.instruments
    return bool(found or tools.angles or tools.zeros or tools.zero_sds or tools.angle_sd is not None)


def blank_form(
    job: Job, *, spacing: float | None = None, lasers: int = 1, phone: bool | None = None
) -> BlankForm:
    """Return what a job's booking sheet asks for.

    Parameters
    ----------
    job : Job
        With or without readings: they are not looked at.
    spacing : float, optional
        See `stations_of`. Track that lies already is read at the corners of its sections instead.
    lasers : int
        How many laser positions.
    phone : bool, optional
        Whether boards and left-to-rights are asked for; without it by `uses_phone`.

    Raises
    ------
    InputProblems
        With everything that is wrong with what is asked.
    CannotDo
        If the job's run cannot be laid out.
    """
    run = lay_job(job, grade=job.file.line.grade or 0.0)
    if job.rough_in and spacing is not None:
        found = "a spacing for track that lies already"
        accepted = "no spacing: it is read at the corners of its sections"
        raise InputProblems([Problem("the form", found, accepted, "leave it out", None, "spacing")])
    corners = _corners(run) if job.rough_in else None
    at = stations_of(job, spacing) if corners is None else tuple(corners.index.astype(float))
    if not 1 <= lasers <= len(at):
        accepted = f"a whole number from 1 to {len(at)}, the stations of the sheet"
        raise InputProblems([Problem("the form", str(lasers), accepted, "", None, "lasers")])
    pegs = _pegs(job, lasers)
    order = reading_order(at, lasers=lasers, pegs=pegs)
    rows = _in_rows(order, corners)
    with_phone = uses_phone(job) if phone is None else phone
    inside = list(at[:-1]) if corners is None else run.knots[:-1].tolist()  # boards reach farther
    marks = None if job.shot is None else (job.shot.start_mark, job.shot.end_mark)
    return BlankForm(
        job=job.name, note=job.note, display=job.display, rows=rows, side_names=job.side_names, pegs=pegs,
        allowed=ALLOWED * math.sqrt(2.0) * job.instruments.rod_sd, rod_sd=job.instruments.rod_sd,
        head=run.head, tail=run.tail, marks=marks, width=job.width,
        phone=_handful(inside) if with_phone else (),
    )  # fmt: skip


def _pegs(job: Job, lasers: int) -> tuple[str, ...]:
    """Return control and check peg; none for track that lies already, unless they are named or needed."""
    named = job.file.pegs
    if job.rough_in and lasers == 1 and not (named.control or named.check):
        return ()
    control = named.control or next(peg for peg in PEGS if peg != named.check)
    return control, named.check or next(peg for peg in PEGS if peg != control)


def _corners(run: Run) -> pd.DataFrame:
    """Return section and end of every corner on one side, numbered from the head on."""
    sections = [int(section) for section in run.sections["section"]]
    return pd.DataFrame(
        [(section, end) for section in sections for end in ("head", "tail")], columns=["section", "end"]
    )


def _handful(stations: list[float]) -> tuple[float, ...]:
    picked = np.unique(np.round(np.linspace(0, len(stations) - 1, PHONE_STATIONS)).astype(int))
    return tuple(stations[i] for i in picked)


def _in_rows(order: pd.DataFrame, corners: pd.DataFrame | None) -> pd.DataFrame:
    """Number the readings as the rows of their table, and say what each read again is compared with."""
    rows = order.copy()
    rows.insert(0, "row", np.arange(2, len(rows) + 2))
    rows["section"], rows["end"] = 0, ""
    place = rows["point"].where(rows["point"] != "", rows["station_m"].map(repr) + rows["side"])
    again = rows["why"].isin(["again", "close"])
    first = rows.groupby([rows["laser"], place])["row"].transform("min")
    rows["first"] = first.where(again, 0).astype(int)
    if corners is not None:
        on_track = rows["point"] == ""
        number = rows.loc[on_track, "station_m"].astype(int)
        rows.loc[on_track, "section"] = corners["section"].loc[number].to_numpy()
        rows.loc[on_track, "end"] = corners["end"].loc[number].to_numpy()
        rows["station_m"] = np.nan
    return rows


def blank_levels(form: BlankForm) -> pd.DataFrame:
    """Return the rows of a form as the table that they are typed into: text, with the rod left empty.

    Returns
    -------
    DataFrame
        The columns of levels.csv that the form fills, row for row as on the sheet; units are in the names.
    """
    rows = form.rows
    table = pd.DataFrame({"laser": rows["laser"]})
    if form.pegs:
        table["point"] = rows["point"]
    if form.by_section:
        table["section"] = rows["section"].map(lambda number: str(number) if number else "")
        table["end"] = rows["end"]
    else:
        stations = rows["station_m"].map(lambda at: form.station(at) if math.isfinite(at) else "")
        table[f"station_{form.long_unit}"] = stations
    table["side"] = rows["side"]
    table[form.rod_column], table["reader"] = "", ""
    table["note"] = [_note(form, row) for row in rows_of(rows)]
    return table


def _note(form: BlankForm, row: Any) -> str:
    if row.first:
        return f"again, as row {row.first}"
    if row.why == "shared":
        return f"read from laser position {int(row.laser) - 1} too"
    return form.peg(row.point) if row.point else ""
