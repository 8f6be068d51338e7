"""The ways in which one job can be laid: other lines, other orders, shifted, turned, moved to one side.

Readings were taken where they were taken: where they are given by tie, they stay at the stations that those
ties have in the job as it is, however the track is then laid.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import copysign, factorial, prod
from typing import Final, Literal, TypeAlias

import numpy as np

from trackkit.fitted import lay_job, misplaced, survey_of
from trackkit.job import Job, with_line, with_shot, with_track
from trackkit.layout.laid import Run
from trackkit.layout.shot import Shot
from trackkit.plan import Laid, lay_line
from trackkit.problems import CannotDo, FitError, InputProblems
from trackkit.sideways import CROWN_LENGTH, UNREAD, moved_ground, moved_survey, sideways_reach
from trackkit.survey.ground import Ground
from trackkit.survey.readings import place_on_ties
from trackkit.units import LENGTH_UNITS, few_decimals

__all__ = ["WHY_NOT", "Left", "Steps", "Way", "ways_of"]

Kind: TypeAlias = Literal["line", "order", "shift", "chassis", "sideways"]

#: What keeps a way from being laid, and is told.
WHY_NOT: Final = (CannotDo, FitError, InputProblems)
#: Grades are set to this: 1 mm in 1 m.
_GRADE_STEP: Final = 0.001
_LINES: Final = ("level", "grade", "least fill", "follow")
_NTH: Final = {1: "2nd", 2: "3rd"}
_LIES: Final = "the track lies already"


@dataclass(frozen=True)
class Steps:
    """Which ways are compared. All guesses, to be changed.

    Attributes
    ----------
    shifts : tuple of float or None
        How far the run is shifted along, each both ways [m]; by default 10 and 20 cm, or 4 and 8 in. The
        least shift that clears every break is tried besides.
    sideways : tuple of float or None
        How far it is moved to either side [m], by default as far.
    most_orders : int
        With more different orders of the sections than this, only neighbours are swapped.
    unread : float
        How far track may be moved to a side on which nobody read farther out, as a share of the width.
    crown_length : float
        See `trackkit.sideways.MovedGround` [m].
    """

    shifts: tuple[float, ...] | None = None
    sideways: tuple[float, ...] | None = None
    most_orders: int = 6
    unread: float = UNREAD
    crown_length: float = CROWN_LENGTH


@dataclass(frozen=True, eq=False)
class Way:
    """One way to lay a job.

    Attributes
    ----------
    name : str
        In a few words: "least fill", "2 m section first", "20 cm towards the end mark".
    kind : str
        What is changed: 'line', 'order', 'shift', 'chassis' or 'sideways'.
    differs : str
        What differs from the job as it is; '' for that itself.
    lay : callable
        Returns the job laid in this way; raises what `WHY_NOT` holds.
    """

    name: str
    kind: Kind
    differs: str
    lay: Callable[[], Laid]


@dataclass(frozen=True)
class Left:
    """A way, or a kind of ways, that is not compared, and why."""

    name: str
    why: str


def ways_of(job: Job, run: Run, ground: Ground, steps: Steps) -> tuple[tuple[Way, ...], tuple[Left, ...]]:
    """Return the ways to lay a job, itself first, and those that are not compared.

    Parameters
    ----------
    job : Job
    run, ground
        As `trackkit.fitted.fit_job` returns them.
    steps : Steps
    """
    ways, left = _lines(job, run, ground)
    if job.rough_in:
        kinds = (
            "another order of the sections",
            "the run shifted",
            "the chassis at the other end",
            "moved sideways",
        )
        return tuple(ways), (*left, *(Left(name, _LIES) for name in kinds))
    pinned = _pinned(job, run)
    for some in (
        _orders(pinned, run, ground, steps), _shifts(pinned, run, ground, steps),
        _turned(pinned, ground), _sideways(pinned, ground, steps),
    ):  # fmt: skip
        for one in some:
            if isinstance(one, Way):
                ways.append(one)
            else:
                left.append(one)
    return tuple(ways), tuple(left)


def _pinned(job: Job, run: Run) -> Job:
    """Return the job with its readings at stations, where they are given by tie or section."""
    survey = place_on_ties(survey_of(job), run.ties)
    placed = {name: survey.levels[name].mask(survey.levels[name].notna()) for name in ("tie", "section")}
    levels = survey.levels.assign(**placed)
    return replace(job, survey=replace(survey, levels=levels))


def _lines(job: Job, run: Run, ground: Ground) -> tuple[list[Way], list[Left]]:
    own = job.file.line.kind
    ways = [Way(_line_name(own, job.file.line.grade), "line", "", partial(lay_line, job, run, ground))]
    left: list[Left] = []

    def lay(kind: str, grade: str | None = None) -> Laid:
        return lay_line(with_line(job, kind=kind, grade=grade, bend_limit=None), run, ground)

    for kind in _LINES:
        if kind == own:
            continue
        if kind != "grade":
            ways.append(Way(kind, "line", f"{kind} instead of {own}", partial(lay, kind)))
            continue
        try:
            steepest = (ways[0].lay() if own == "least fill" else lay("least fill")).line.steepest
        except WHY_NOT as fault:
            left.append(Left("grade", f"the least fill's grade is not to be had: {_one_line(fault)}"))
            continue
        thousandths = int(abs(steepest) / _GRADE_STEP)  # towards level, so that no limit is passed
        if thousandths == 0:
            left.append(Left("grade", "the least fill's grade is level to 1 mm in 1 m"))
            continue
        grade = copysign(thousandths * _GRADE_STEP, steepest)
        text, name = f"{100 * grade:.1f} %", _line_name("grade", grade)
        differs = f"the least fill's grade, rounded towards level, instead of {own}"
        ways.append(Way(name, "line", differs, partial(lay, "grade", text)))
    return ways, left


def _line_name(kind: str, grade: float | None) -> str:
    if kind != "grade" or grade is None:
        return kind
    return f"grade, {few_decimals(100 * abs(grade), 0.005, least=1)}% {'up' if grade >= 0 else 'down'}"


def _orders(job: Job, run: Run, ground: Ground, steps: Steps) -> Iterator[Way | Left]:
    names = tuple(str(name) for name in run.sections["name"])
    count = factorial(len(names)) // prod(factorial(names.count(name)) for name in set(names))
    if count == 1:
        why = "one section alone" if len(names) == 1 else "all sections are alike"
        yield Left("another order of the sections", why)
        return
    if count <= steps.most_orders:
        orders = [order for order in _different(names) if order != names]
    else:
        swapped = [
            (*names[:i], names[i + 1], names[i], *names[i + 2 :])
            for i in range(len(names) - 1)
            if names[i] != names[i + 1]
        ]
        orders = list(dict.fromkeys(swapped))
        rest = count - 1 - len(orders)
        yield Left(
            f"{rest} other orders of the sections", "only neighbours are swapped where there are many orders"
        )
    for order in orders:
        differs = f"{', '.join(order)} from the head, instead of {', '.join(names)}"
        lay = partial(_laid_anew, ground, partial(with_track, job, order=list(order)))
        yield Way(_order_name(order, names), "order", differs, lay)


def _different(names: Sequence[str]) -> Iterator[tuple[str, ...]]:
    """Return every different order of names, each once.

    Examples
    --------
    >>> list(_different("aab"))
    [('a', 'a', 'b'), ('a', 'b', 'a'), ('b', 'a', 'a')]
    """
    if not names:
        yield ()
    for first in dict.fromkeys(names):
        place = list(names).index(first)
        for rest in _different([*names[:place], *names[place + 1 :]]):
            yield (first, *rest)


def _order_name(order: Sequence[str], own: Sequence[str]) -> str:
    """Return an order in short: the one section that has moved, or all of them.

    Examples
    --------
    >>> _order_name(("2 m", "3 m", "3 m"), ("3 m", "3 m", "2 m"))
    '2 m section first'
    >>> _order_name(("2 m", "3 m", "2 m", "3 m"), ("3 m", "3 m", "2 m", "2 m"))
    'order 2 m, 3 m, 2 m, 3 m'
    """
    for name in dict.fromkeys(order):
        place = order.index(name)
        alone = order.count(name) == 1
        if alone and [one for one in order if one != name] == [one for one in own if one != name]:
            where = (
                "first"
                if place == 0
                else "last"
                if place == len(order) - 1
                else _NTH.get(place, f"{place + 1}th")
            )
            return f"{name} section {where}"
    return f"order {', '.join(order)}"


def _shifts(job: Job, run: Run, ground: Ground, steps: Steps) -> Iterator[Way]:
    found = [sign * step for step in _distances(job, steps.shifts) for sign in (-1.0, 1.0)]
    clear = run.clear_shift
    if clear is not None and abs(clear) > 5e-4 and not any(abs(clear - step) < 5e-4 for step in found):
        found.append(clear)
    for step in found:
        to = f"{job.shift + step:.6f} m"
        name = f"{_distance(job, abs(step))} towards the {'end' if step > 0 else 'start'} mark"
        more = ", clear of the breaks" if step == clear else ""
        lay = partial(_laid_anew, ground, partial(with_track, job, shift=to))
        yield Way(name, "shift", f"the run shifted along{more}", lay)


def _turned(job: Job, ground: Ground) -> Iterator[Way | Left]:
    shot = job.shot
    if shot is None:
        return
    other = shot.turned()
    if np.allclose(shot.span(), other.span()) and np.allclose(shot.wheels(), other.wheels()):
        yield Left("the chassis at the other end", "it needs the same track")
        return
    trails = other.chassis_trails
    lay = partial(_laid_anew, ground, partial(with_shot, job, chassis_trails=trails))
    yield Way(f"chassis {trails}", "chassis", f"the chassis trails {_trailing(other)} the camera", lay)


def _trailing(shot: Shot) -> str:
    return "behind" if shot.chassis_trails == "behind" else "ahead of"


def _sideways(job: Job, ground: Ground, steps: Steps) -> Iterator[Way | Left]:
    survey = survey_of(job)
    reach = sideways_reach(survey, job.width, unread=steps.unread)
    for step in _distances(job, steps.sideways):
        for sign, side, most in zip((-1.0, 1.0), ("left", "right"), reach, strict=True):
            name = f"{_distance(job, step)} towards the {job.side(side)}"
            if step > most + 1e-9:
                why = f"nobody read so far out: {_distance(job, most)} at most"
                yield Left(name, why)
                continue
            try:
                there = moved_ground(ground, sign * step, crown_length=steps.crown_length)
            except CannotDo as fault:
                yield Left(name, str(fault))
                continue
            moved = replace(job, survey=moved_survey(survey, sign * step, width=job.width))
            lay = partial(_laid_over, there, moved)
            yield Way(name, "sideways", "the whole run, and the camera with it, to one side", lay)


def _laid_anew(ground: Ground, change: Callable[[], Job]) -> Laid:
    """Return a job laid in another way over the ground that was fitted for the job as it is."""
    return _laid_over(ground, change())


def _laid_over(ground: Ground, changed: Job) -> Laid:
    run = lay_job(changed, grade=changed.file.line.grade or 0.0)
    faults = misplaced(changed, run, survey_of(changed))
    if faults:
        raise InputProblems(faults)
    return lay_line(changed, run, ground)


def _distances(job: Job, asked: tuple[float, ...] | None) -> tuple[float, ...]:
    if asked is not None:
        return tuple(sorted({abs(step) for step in asked} - {0.0}))
    return (0.1016, 0.2032) if job.display.unit == "in" else (0.1, 0.2)


def _distance(job: Job, metres: float) -> str:
    """Return a distance as the crew says it: in whole inches or parts of them, else in cm."""
    if job.display.unit == "in":
        return job.display.small_unit(metres)
    return f"{few_decimals(metres / LENGTH_UNITS['cm'], 0.05)} cm"


def _one_line(fault: Exception) -> str:
    return "; ".join(str(fault).splitlines())
