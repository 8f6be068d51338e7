"""The blank booking sheet of a job as files: a PDF to fill in, and the table it is typed into."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Final

from trackkit.booking import blank_form, blank_levels
from trackkit.files import write_whole
from trackkit.job import Job
from trackkit.problems import InputProblems, Problem, Problems
from trackkit.show.form import form_pdf
from trackkit.show.form_parts import PAPERS
from trackkit.tables.cells import Source, read_cells
from trackkit.units import parse_quantity, split_unit

__all__ = ["SHEET", "TABLE", "as_length", "save_form"]

#: The two files that a form is.
SHEET: Final = "booking_sheet.pdf"
TABLE: Final = "levels_blank.csv"


def save_form(
    job: Job,
    folder: str | Path,
    *,
    paper: str | None = None,
    spacing: float | str | None = None,
    lasers: int = 1,
    phone: bool | None = None,
) -> tuple[Path, ...]:
    """Write a job's blank booking sheet, and beside it the table that the readings are typed into.

    Parameters
    ----------
    job : Job
        Readings and truck are not looked at: ``load_job(path, survey=False, truck=False)`` will do.
    folder : path
        Where to write ``booking_sheet.pdf`` and ``levels_blank.csv``; made if it isn't there. Old ones are
        replaced, unless somebody has typed into the table.
    paper : {'A4', 'Letter'}, optional
        Without it A4, or Letter where inches are read.
    spacing : float or str, optional
        Greatest distance between stations: metres, or text with its unit such as ``"1.5 m"``. Without it the
        default of `trackkit.booking.stations_of`.
    lasers : int
        How many laser positions; each has pages of its own, and reads the pegs and some places of the one
        before.
    phone : bool, optional
        Whether boards and left-to-rights by phone are asked for. Without it they are where the job's folder
        holds some already, or the job says what its phone is worth.

    Returns
    -------
    tuple of Path
        The PDF and the table.

    Raises
    ------
    InputProblems
        If what is asked is none of these, or rods are typed into an old table.
    CannotDo
        If the job's run cannot be laid out.
    OSError
        If the folder cannot be written; old files are then as they were.
    """
    faults: list[Problem] = []
    chosen = paper if paper is not None else ("Letter" if job.display.unit == "in" else "A4")
    if chosen not in PAPERS:
        faults.append(Problem("the form", repr(chosen), " or ".join(PAPERS), "", None, "paper"))
    far = _spacing(spacing, faults)
    if faults:
        raise InputProblems(faults)
    form = blank_form(job, spacing=far, lasers=lasers, phone=phone)
    table = blank_levels(form)
    sheet, levels = Path(folder) / SHEET, Path(folder) / TABLE
    _refuse_typed(levels)
    text = table.to_csv(index=False, lineterminator="\n")
    return write_whole({sheet: form_pdf(form, paper=chosen), levels: text.encode("utf-8")})


def as_length(spacing: float | str | None) -> float | None:
    """Return a spacing in metres; a text needs its unit.

    Raises
    ------
    InputProblems
        If the text is no length with a unit.
    """
    faults: list[Problem] = []
    far = _spacing(spacing, faults)
    if faults:
        raise InputProblems(faults)
    return far


def _spacing(spacing: float | str | None, faults: list[Problem]) -> float | None:
    """Return a spacing in metres; a text needs its unit."""
    if not isinstance(spacing, str):
        return spacing
    try:
        return parse_quantity(spacing)
    except ValueError as error:
        accepted = 'a length with its unit, such as "1.5 m" or "4 ft"'
        faults.append(Problem("the form", repr(spacing), accepted, str(error), None, "spacing"))
        return math.nan


def _refuse_typed(table: Path) -> None:
    """Raise if an old table has rods in it, or cannot be read: it may be somebody's survey."""
    if not table.is_file() or not table.stat().st_size:
        return
    raw = read_cells(Source(table), Problems())
    heads = [split_unit(str(head))[0] for head in raw.header] if raw else []
    if raw and "rod" in heads:
        rod = heads.index("rod")
        typed = [n for n, row in zip(raw.numbers, raw.rows, strict=True) if len(row) > rod and row[rod] != ""]
        if not typed:
            return
        found = f"a table with rods typed into it, the first in row {typed[0]}"
    else:
        found = "a file that is no blank table"
    do = f"move it into the job's folder as levels.csv, or out of the way; then a new {TABLE} is written"
    raise InputProblems([Problem(str(table), found, "a blank table, or none", do)])
