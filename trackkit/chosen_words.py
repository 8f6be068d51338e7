"""The ways to lay a job side by side, in words: one table, how it is read, and what is not in it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from trackkit.advice import chance_words
from trackkit.choices import TOLERANCES, Choice, Choices
from trackkit.fitted import survey_of
from trackkit.job import Job
from trackkit.layout.rolling import pull_words
from trackkit.listed import Listing, lift_words
from trackkit.paper import WIDTH, columns, wrapped_lines
from trackkit.units import LENGTH_UNITS, MASS_UNITS

__all__ = ["choices_listing", "choices_text"]

_HEAD: Final = (
    "*", "choice", "pieces", "wedges", "highest", "tie", "in all", "±", "touches", "grade", "holds",
    "to be done",
)  # fmt: skip
#: The same for a narrow page: pieces and wedges in one column, without ties and grades.
_NARROW: Final = (
    "*", "choice", "pieces + wedges", "highest", "in all", "±", "touches", "holds", "to be done",
)  # fmt: skip
#: A smaller chance is not told apart from others in the table.
_HARDLY: Final = TOLERANCES["touch_chance"]
_CAUTION: Final = (
    "CAUTION: on any grade somebody holds the dolly, from above, whenever it is not chocked; nobody stands "
    "downhill of it on the track. Local codes, the site's rules and licensed practice come before this "
    "table: it is arithmetic."
)
_BESIDE: Final = (
    "Moved to a side: that ground was not read. Its height is taken straight across through both sides that "
    "were; bumps and stones there are not known, which is in the columns ± and touches. What kind of "
    "ground it is, is taken as read. Read it before you lay there."
)


def choices_listing(found: Choices, *, narrow: bool = False) -> Listing:
    """Return the ways to lay a job as one table, the job as it is first, with how it is read.

    Parameters
    ----------
    found : Choices
        From `trackkit.choices.compare_choices`.
    narrow : bool
        Whether to leave out at which tie the highest fill is, and grades, for a narrow page; why a way
        cannot be done then stands in the notes alone.
    """
    job = found.job
    unit = "inches" if job.display.unit == "in" else job.display.unit
    head = _NARROW if narrow else _HEAD
    rows = tuple(_row(choice, job, narrow) for choice in found.rows)
    title = f"CHOICES side by side (heights in {unit}; * no other way beats it)"
    last = len(head) - 1
    wide = (1,) if narrow else (1, last)
    return Listing(title, head, rows, tuple(range(2, last)), wide, tuple(_notes(found, narrow)))


def choices_text(found: Choices, *, width: int = WIDTH) -> str:
    """Return the same as text, no wider than that; a narrower page than `WIDTH` has fewer columns."""
    listing = choices_listing(found, narrow=width < WIDTH)
    table = columns(listing.head, listing.rows, right=listing.right, wrap=listing.wide, width=width)
    notes = (wrapped_lines(note, width=width) for note in listing.notes)
    return "\n".join([wrapped_lines(listing.title, width=width), table, *notes])


def _row(choice: Choice, job: Job, narrow: bool) -> tuple[str, ...]:
    name, show, figures = choice.name, job.display, choice.figures
    if choice.own:
        name += " (as it is)"
    if figures is None:
        blank = [""] * (len(_NARROW if narrow else _HEAD) - 3)
        return ("", name, *blank, "no" if narrow else "cannot be laid")
    pieces, wedges = (
        "" if count is None else str(count) for count in (figures.pieces, figures.wedges)
    )  # fmt: skip
    sure = (f"±{show.small(2.0 * figures.fill_sd)}", _short_chance(figures.touch_chance))
    holds = pull_words(figures.hold_back, pounds=show.unit == "in")
    largest, total, mark = show.small(figures.largest), show.small(figures.total), "*" * choice.unbeaten
    if narrow:
        handled = f"{pieces} + {wedges}" if pieces else ""
        return (mark, name, handled, largest, total, *sure, holds, "yes" if choice.can_be_done else "no")
    grade, tie = _signed(figures.grade), str(figures.largest_tie)
    return (mark, name, pieces, wedges, largest, tie, total, *sure, grade, holds, _done(choice))


def _signed(grade: float) -> str:
    """Return a grade in per cent; up towards the end mark is positive.

    Examples
    --------
    >>> _signed(0.0222), _signed(-0.003), _signed(0.0)
    ('+2.2%', '-0.3%', '0.0%')
    """
    return f"{grade:+.1%}" if round(grade, 3) else "0.0%"


def _short_chance(chance: float) -> str:
    """Return a chance as briefly as a column takes it.

    Examples
    --------
    >>> _short_chance(0.2), _short_chance(0.75), _short_chance(0.004), _short_chance(0.996)
    ('1 in 5', '3 in 4', 'hardly', 'surely')
    """
    if min(chance, 1.0 - chance) < _HARDLY:
        return "hardly" if chance < 0.5 else "surely"
    return chance_words(chance).replace(" chances", "").replace(" chance", "")


def _done(choice: Choice) -> str:
    """Return whether a way can be done, else what is in its way."""
    figures = choice.figures
    if figures is None or figures.can_be_done:
        return "yes"
    why = [f"{figures.missing} short"] if figures.missing else []
    why += [f"{figures.in_ground} in the ground"] if figures.in_ground else []
    count = len(figures.stops)
    return f"no: {', '.join([*why, f'{count} stop' + ('s' if count > 1 else '')])}"


def _notes(found: Choices, narrow: bool) -> list[str]:
    job = found.job
    show, pounds = job.display, job.display.unit == "in"
    unit = "lb" if pounds else "kg"
    mass = f"{job.rolling.mass / MASS_UNITS[unit]:.0f} {unit}"
    place, grade = ("", "") if narrow else (", and its tie", " Grade: + is up towards the end mark.")
    notes = [
        "*: no other way that can be done is as good in all of these and better in one: pieces and wedges "
        f"together, highest, in all, ±, touches, holds. Less than 1 piece, {_length('largest_m', job)} "
        f"({_length('total_m', job)} in all), {chance_words(TOLERANCES['touch_chance'])} or "
        f"{pull_words(TOLERANCES['hold_back_n'], pounds=pounds)} is no difference. Which of them to take is "
        "yours to say: a shot may need level.",
        f"Highest: the largest fill{place}. In all: all fills added up. ±: give or take of the worst fill, "
        "19 times in 20. Touches: the chance that the ground touches a tie, or an obstacle the track, by "
        "more than "
        f"{show.small_unit(job.doubt.touch)} (hardly: less than {chance_words(_HARDLY)}).{grade} "
        f"Holds: how hard {mass} pull down the steepest grade; nothing is taken off for friction.",
        _CAUTION,
        *lift_words(job),
    ]
    if job.truck is None:
        notes.append(
            "There is no truck.csv: pieces and wedges are not weighed, and whether a stack can stand under "
            "every tie is not looked at; yes means that nothing else is in the way."
        )
    if any(choice.kind == "sideways" for choice in found.rows):
        notes.append(_BESIDE)
    levels = survey_of(job).levels
    if not job.rough_in and bool(levels["tie"].notna().any()):
        notes.append("Readings given by tie stay where those ties lie in the job as it is.")
    quick = [choice.name for choice in found.rows if choice.figures is not None and not choice.figures.proven]
    if quick:
        notes.append(f"In the time there was, stacks may not be the cheapest: {', '.join(quick)}.")
    if not any(choice.can_be_done for choice in found.rows):
        notes.append("None of these can be done as it stands; see below.")
    worked = [(choice.name, choice.figures) for choice in found.rows if choice.figures is not None]
    notes += _together("", ((name, stop) for name, figures in worked for stop in figures.stops))
    notes += _together("Cannot be laid: ", ((choice.name, choice.why) for choice in found.rows if choice.why))
    return notes + _together("Not compared: ", ((one.name, one.why) for one in found.left))


def _together(what: str, pairs: Iterable[tuple[str, str]]) -> list[str]:
    """Return a note for each reason, with all that it holds for."""
    names: dict[str, list[str]] = {}
    for name, why in pairs:
        names.setdefault(why, []).append(name)
    return [f"{what}{', '.join(own)}: {why.rstrip('.')}." for why, own in names.items()]


def _length(key: str, job: Job) -> str:
    metres = TOLERANCES[key]
    if job.display.unit == "in":
        return f"{metres / LENGTH_UNITS['in']:.1g} in"
    return f"{1000 * metres:.0f} mm"
