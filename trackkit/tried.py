"""What a trial of readings comes to, in words: what was taken out, what that changes, what to read next."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from trackkit.checked_quality import log_contradicts
from trackkit.found import Undoubted
from trackkit.job import Job
from trackkit.jobfile import JOB_FILE
from trackkit.layout.fills import largest_fill
from trackkit.listed import Listing
from trackkit.mistaken import short_names, words_of_readings
from trackkit.nextread import next_for, next_listing
from trackkit.plan import Laid, lay_on
from trackkit.problems import CannotDo, FitError, InputProblems
from trackkit.survey.ground import Ground
from trackkit.survey.quality.at_hand import kinds_of
from trackkit.unnoticed import unnoticed_lines

__all__ = ["Underway", "out_lines", "underway"]

#: What keeps a line from being laid, and is told in words.
_WHY_NOT = (InputProblems, FitError, CannotDo, ValueError)


@dataclass(frozen=True)
class Underway:
    """What can be said of readings once there is a line over the ground.

    Attributes
    ----------
    listing : Listing or None
        What to read next; None if that cannot be said.
    lines : tuple of str
        What would not be noticed, and what the readings taken out change in the fills.
    why : str
        Why it cannot be said, else ''.
    """

    listing: Listing | None
    lines: tuple[str, ...]
    why: str = ""


def underway(
    job: Job,
    ground: Ground,
    before: Ground | None,
    *,
    goal: str,
    kinds: Sequence[str] = (),
    no_run: str = "",
    undoubted: Undoubted | None = None,
) -> Underway:
    """Return what to read next, and what hangs on the readings.

    Parameters
    ----------
    job : Job
    ground : Ground
        Fitted to the readings that count.
    before : Ground or None
        Fitted to all of them; None if none was taken out.
    goal : str
        One of `trackkit.nextread.GOALS`.
    kinds : sequence of str
        What the crew has with it; by default what the survey was read with.
    no_run : str
        Why there is no run.
    undoubted : Undoubted, optional
        The readings without those in doubt: what to read next, and what would not be noticed, is said of
        them.
    """
    why = no_run if ground.sides else "the ground itself was not read"
    if log_contradicts(ground):
        why = "a log contradicts all other readings"
    if why:
        return Underway(None, (), f"What to read next cannot be said: {why}")
    try:
        laid = lay_on(job, ground)
    except _WHY_NOT as fault:
        return Underway(None, (), f"What to read next cannot be said: {fault}")
    changed = [] if before is None else _fills(laid, before)
    notes: tuple[str, ...] = ()
    if len(ground.doubtful):
        notes = ("First settle what is in doubt: this counts it as it was read.",)
    if undoubted is not None and undoubted.out:
        try:
            laid = lay_on(undoubted.job, undoubted.ground)
            notes = (f"First settle what is in doubt: this leaves {short_names(undoubted.out)} out.",)
        except _WHY_NOT:  # then it is said of all that count
            pass
    listing = next_listing(next_for(laid, goal, kinds=kinds or kinds_of(laid.ground.survey)), job)
    listing = replace(listing, notes=(*listing.notes, *notes))
    return Underway(listing, (*unnoticed_lines(laid), *changed))


def _fills(laid: Laid, before: Ground) -> list[str]:
    """Return what the readings taken out change in the largest fill."""
    job = laid.job
    try:
        other = lay_on(replace(job, survey=before.survey), before)
    except _WHY_NOT:
        return []

    def largest(one: Laid) -> str:
        fill, tie, side = largest_fill(one.fills)
        return f"{job.display.small_unit(fill)} at tie {tie} {job.side(side)}"

    return [f"Largest fill: {largest(laid)}; with all readings counted {largest(other)}."]


def out_lines(names: Sequence[str], left_out: Collection[str], before: Ground, job: Job) -> list[str]:
    """Return the readings that were taken out, and which of them the job file counts still.

    Parameters
    ----------
    names : sequence of str
        The readings taken out.
    left_out : collection of str
        Those that the job file leaves out.
    before : Ground
        Fitted to all readings.
    """
    return [
        f"{name}, {words}"
        f"{'' if name in left_out else f'; this {JOB_FILE} counts it: a job saved as a new one does not'}"
        for name, words in zip(names, words_of_readings(names, before, job), strict=True)
    ]
