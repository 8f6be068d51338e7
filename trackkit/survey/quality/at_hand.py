"""What a crew can read with: the kinds of readings that its survey has."""

from __future__ import annotations

from trackkit.survey.readings import Survey

__all__ = ["kinds_of"]


def kinds_of(survey: Survey) -> tuple[str, ...]:
    """Return the kinds of readings that a survey has, so that the crew has the tools for them.

    Returns
    -------
    tuple of str
        Of `trackkit.survey.quality.next_reading.KINDS`: a rod where rods were read, left-to-rights and boards
        where either was; a rod where neither was.
    """
    found = [] if survey.levels.empty else ["rod"]
    if not (survey.boards.empty and survey.crosslevels.empty):
        found += ["across", "board"]
    return tuple(found) or ("rod",)
