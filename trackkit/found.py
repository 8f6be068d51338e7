"""What is found about readings, in the order in which it is told.

The command and the notebook say the same, in the same order, because both take it from here.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from trackkit.checked_quality import agreement_of, mistakes_in, set_aside
from trackkit.doubted import doubt_words
from trackkit.fitted import fit_readings, survey_of
from trackkit.job import Job
from trackkit.listed import Listing
from trackkit.mistaken import mistake_lines, short_names, why_words
from trackkit.problems import CannotDo, FitError, InputProblems
from trackkit.survey.ground import Ground
from trackkit.survey.leaving import readings_of, without_readings
from trackkit.tables.rows import rows_of

if TYPE_CHECKING:
    from trackkit.survey.quality import Mistake

__all__ = ["NO_DOUBT", "Found", "Undoubted", "doubt_listing", "find_out", "leave_aside", "undoubted_words"]

#: What is said where nothing is in doubt; where no single reading is, though some may have been mixed up.
NO_DOUBT: Final = "No reading is in doubt."
NO_SINGLE_DOUBT: Final = "No single reading is in doubt, but see below."


@dataclass(frozen=True)
class Found:
    """What the readings say of each other.

    Attributes
    ----------
    mistakes : tuple of Mistake
        What may have gone wrong with single readings, or with several together.
    doubts : Listing
        The readings to take again, one row each.
    happened : tuple of str
        What may have happened, in words; what no single reading shows comes first.
    agreement : tuple of str
        Whether the readings agree.
    whole : int
        How many explanations there are that no single reading shows: left and right exchanged, a laser that
        was knocked, somebody who reads high.
    aside : tuple of str
        The readings in doubt that nothing of that kind accounts for.
    """

    mistakes: tuple[Mistake, ...]
    doubts: Listing
    happened: tuple[str, ...]
    agreement: tuple[str, ...]
    whole: int
    aside: tuple[str, ...]

    @property
    def verdict(self) -> str:
        """The first sentence where no reading is in doubt, else ''."""
        if self.doubts.rows:
            return ""
        again = any(line.startswith("READ AGAIN") for line in self.agreement)
        return NO_SINGLE_DOUBT if self.happened or again else NO_DOUBT

    @property
    def explained_first(self) -> bool:
        """Whether what may have happened is told before the readings to take again."""
        return self.whole > 0


def find_out(job: Job, ground: Ground) -> Found:
    """Return what the readings say of each other: what is in doubt, what may have happened, do they agree."""
    mistakes = mistakes_in(job, ground)
    agreement = agreement_of(job, ground, mistakes)
    several = [mistake for mistake in mistakes if len(mistake.changes) > 1]
    told = mistake_lines([*several, *(one for one in mistakes if len(one.changes) == 1)], ground, job)
    aside = set_aside(ground, mistakes)
    if agreement.explained:  # a knocked laser, or somebody who reads high, makes sound readings look wrong
        misread = {mistake.readings[0] for mistake in mistakes if len(mistake.changes) == 1}
        aside = tuple(name for name in aside if name in misread)
    accounted = {str(name) for name in ground.doubtful["reading"] if name not in aside}
    return Found(
        mistakes,
        doubt_listing(job, ground, accounted),
        (*agreement.explained, *told),
        agreement.lines,
        len(several) + len(agreement.explained),
        aside,
    )


def doubt_listing(job: Job, ground: Ground, accounted: Collection[str] = ()) -> Listing:
    """Return the readings to take again, one row each.

    Parameters
    ----------
    accounted : collection of str
        Those of them that something else may account for, which is then to be settled first.
    """
    show, table = job.display, ground.doubtful
    rows = [
        (row.reading, row.kind, show.long(row.station_m) if row.station_m == row.station_m else row.point,
         job.side(row.side) if row.side else "", doubt_words(row, show), why_words(row, ground))
        for row in rows_of(table)
    ]  # fmt: skip
    head = ("reading", "kind", "where", "side", "", "why it is in doubt")
    own = [str(name) for name in table["reading"] if name in accounted]
    if own and len(own) == len(table):
        title = "READ AGAIN, should what may have happened not be so"
        return Listing(title, head, tuple(rows), wide=(4, 5))
    notes = (
        (f"Settle first what may have happened: that would account for {short_names(own)}.",) if own else ()
    )
    return Listing("READ AGAIN", head, tuple(rows), wide=(4, 5), notes=notes)


@dataclass(frozen=True)
class Undoubted:
    """A job and its ground without the readings in doubt that nothing else accounts for.

    Attributes
    ----------
    job : Job
    ground : Ground
    out : tuple of str
        The readings that do not count; none where the ground needs them.
    """

    job: Job
    ground: Ground
    out: tuple[str, ...]


def leave_aside(job: Job, ground: Ground, aside: Sequence[str]) -> Undoubted:
    """Return the job and its ground as they are without some readings, counted from the same datum.

    What a misreading does to the roughness it does to everything that is told of the readings: how well they
    are checked, what would not be noticed, what to read next. Nothing of the job is changed by it.
    """
    survey = survey_of(job)
    known = set(readings_of(survey))
    out = tuple(name for name in aside if name in known)
    if not out:
        return Undoubted(job, ground, ())
    fewer = replace(job, survey=without_readings(survey, out), datum=ground.datum)
    try:
        return Undoubted(fewer, fit_readings(fewer)[0], out)
    except (InputProblems, FitError, CannotDo):  # readings that the ground needs
        return Undoubted(job, ground, ())


def undoubted_words(undoubted: Undoubted, whole: int = 0) -> list[str]:
    """Return whether what follows counts the readings in doubt; ``whole`` as in `Found`."""
    lines = []
    if undoubted.out:
        lines.append(f"What follows leaves out {short_names(undoubted.out)}, in doubt.")
    still = len(undoubted.ground.doubtful)
    if whole:
        more = "else " * bool(lines)
        lines.append(f"It counts all {more}as it was read: settle first what may have happened.")
        if not undoubted.out:
            lines = ["What follows counts all as it was read: settle first what may have happened."]
    elif still:
        which = "the reading" if still == 1 else "the readings"
        lines.append(f"What follows counts {which} {'still ' * bool(undoubted.out)}in doubt as read.")
    return lines
