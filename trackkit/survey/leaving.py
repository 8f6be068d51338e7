"""Readings that are left out because somebody said so: never silently."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import Any, Final

from trackkit.survey.readings import Survey

__all__ = ["readings_of", "without_readings"]

_TABLES: Final = ("levels", "differences", "boards", "crosslevels")


def readings_of(survey: Survey) -> tuple[str, ...]:
    """Return the names of all readings, such as "levels.csv row 7"."""
    return tuple(str(name) for table in _TABLES for name in getattr(survey, table)["reading"])


def without_readings(survey: Survey, names: Collection[str]) -> Survey:
    """Return the survey without some readings; a note says which were left out."""
    kept: dict[str, Any] = {}
    for table in _TABLES:
        frame = getattr(survey, table)
        kept[table] = frame[~frame["reading"].isin(list(names))].reset_index(drop=True)
    known = [name for name in names if name in readings_of(survey)]
    note = (f"left out, because the job file says so: {', '.join(known)}",) if known else ()
    return replace(survey, **kept, notes=(*survey.notes, *note))
