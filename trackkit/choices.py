"""The same job laid in several ways, side by side: what each way takes, how sure it is, how it rolls."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import asdict, dataclass, fields, replace
from typing import Final

import numpy as np
import pandas as pd

from trackkit.fitted import fit_job
from trackkit.job import Job
from trackkit.layout.doubt import chance_any_touches, point_covariance
from trackkit.layout.fills import summarise_fills
from trackkit.layout.laid import Run
from trackkit.layout.rolling import hold_back
from trackkit.plan import Laid, Stacked, control_of, stack_up, warnings_of
from trackkit.report import said
from trackkit.study.cleared import cleared_by
from trackkit.survey.ground import Ground
from trackkit.unbeaten import unbeaten
from trackkit.ways import WHY_NOT, Left, Steps, Way, ways_of

__all__ = ["TOLERANCES", "Choice", "Choices", "Figures", "choices_in_steps", "compare_choices"]

#: What ways are weighed by, less being better, and from which difference on two of them differ. Choices.
TOLERANCES: Final = {
    "handled": 1.0,  # pieces and wedges
    "largest_m": 0.001,
    "total_m": 0.01,
    "fill_sd_m": 0.0005,  # 1 mm of give or take, which is twice this
    "touch_chance": 0.01,  # what 10,000 draws know it to
    "hold_back_n": 10.0,  # the weight of 1 kg
}


@dataclass(frozen=True)
class Figures:
    """What one way to lay a job comes to.

    Attributes
    ----------
    pieces, wedges : int or None
        In all stacks together; None if there is no truck.csv.
    largest : float
        Largest fill [m].
    largest_tie, largest_side
        Where it is.
    total : float
        Sum of the fills that something goes under [m].
    in_ground : int
        Tie ends that would be in the ground.
    fill_sd : float
        The largest sd of a fill [m].
    touch_chance : float
        Chance that any tie end touches, see `trackkit.layout.doubt.Doubt`.
    grade : float
        The steepest, rise over horizontal distance, positive up towards the end mark.
    hold_back : float
        Force along the track that holds what rolls there [N]; friction is not credited.
    missing : int
        Pieces that the truck is short of.
    proven : bool
        Whether its stacks are proven to be the cheapest, as they are but for the job's time limit.
    stops : tuple of str
        What its plan would stop at, in words.
    head, tail : float
        Stations of the ends of the run [m].
    """

    pieces: int | None
    wedges: int | None
    largest: float
    largest_tie: int
    largest_side: str
    total: float
    in_ground: int
    fill_sd: float
    touch_chance: float
    grade: float
    hold_back: float
    missing: int
    proven: bool
    stops: tuple[str, ...]
    head: float
    tail: float

    @property
    def can_be_done(self) -> bool:
        """Whether its plan stops at nothing, as `trackkit.plan.Plan.can_be_done` has it."""
        return not self.stops

    def weighed(self) -> tuple[float, ...]:
        """Return what it is weighed by, in the order of `TOLERANCES`; NaN where it is not known."""
        handled = np.nan if self.pieces is None or self.wedges is None else float(self.pieces + self.wedges)
        return (handled, self.largest, self.total, self.fill_sd, self.touch_chance, self.hold_back)


@dataclass(frozen=True, eq=False)
class Choice:
    """One way to lay the job, worked through.

    Attributes
    ----------
    name, kind, differs : str
        See `trackkit.ways.Way`.
    own : bool
        Whether it is the job as it is.
    figures : Figures or None
        None if it cannot be laid.
    why : str
        Why it cannot be laid, else ''.
    unbeaten : bool
        Whether it can be done and no other way that can be done beats it.
    stacked : Stacked or None
        The line and its stacks, for pictures; `trackkit.plan.plan_of` makes its plan.
    """

    name: str
    kind: str
    differs: str
    own: bool
    figures: Figures | None
    why: str = ""
    unbeaten: bool = False
    stacked: Stacked | None = None

    @property
    def can_be_done(self) -> bool:
        """Whether it can be laid, and its plan stops at nothing."""
        return self.figures is not None and self.figures.can_be_done


@dataclass(frozen=True, eq=False)
class Choices:
    """A job laid in several ways.

    Attributes
    ----------
    job : Job
    rows : tuple of Choice
        The job as it is comes first.
    left : tuple of Left
        What is not compared, and why.
    """

    job: Job
    rows: tuple[Choice, ...]
    left: tuple[Left, ...]

    def table(self) -> pd.DataFrame:
        """Return one row a choice, figures in SI units.

        Returns
        -------
        DataFrame
            choice, kind, differs, own, and as in `Figures` pieces, wedges, largest_m, largest_tie,
            largest_side, total_m, in_ground, fill_sd_m, touch_chance, grade, hold_back_n, missing, proven,
            stops (their count), head_m, tail_m; can_be_done, unbeaten, why. A way that cannot be laid has
            no figures.
        """
        rows = []
        for choice in self.rows:
            found = asdict(choice.figures) if choice.figures else dict.fromkeys(_FIGURES)
            if choice.figures:
                found["stops"] = len(choice.figures.stops)
            rows.append(
                {
                    "choice": choice.name,
                    **{name: getattr(choice, name) for name in ("kind", "differs", "own")},
                    **{_COLUMNS.get(name, name): value for name, value in found.items()},
                    **{name: getattr(choice, name) for name in ("can_be_done", "unbeaten", "why")},
                }
            )
        table = pd.DataFrame(rows)
        whole = ["pieces", "wedges", "largest_tie", "in_ground", "missing", "stops"]
        return table.astype(dict.fromkeys(whole, "Int64"))


_FIGURES: Final = tuple(field.name for field in fields(Figures))
_COLUMNS: Final = {
    "largest": "largest_m", "total": "total_m", "fill_sd": "fill_sd_m", "hold_back": "hold_back_n",
    "head": "head_m", "tail": "tail_m",
}  # fmt: skip


def compare_choices(
    job: Job, *, steps: Steps | None = None, fitted: tuple[Run, Ground] | None = None
) -> Choices:
    """Work a job through in several ways: other lines, another order, shifted, turned, moved sideways.

    Parameters
    ----------
    job : Job
        With its survey.
    steps : Steps, optional
        Which ways.
    fitted : (Run, Ground), optional
        What `trackkit.fitted.fit_job` has found for this job already.

    Returns
    -------
    Choices
        A way that cannot be laid is a row with its reason, never left out.

    Raises
    ------
    CannotDo, FitError, InputProblems
        If the job as it is has no run or no ground; see `trackkit.fitted.fit_job`.

    Notes
    -----
    The ground is fitted once. A way that cannot be done (its plan has a stop: something missing on the
    truck, a tie in the ground, too high, too steep) is neither marked nor does it beat another.
    """
    working = choices_in_steps(job, steps=steps, fitted=fitted)
    while True:
        try:
            next(working)
        except StopIteration as over:
            found: Choices = over.value
            return found


def choices_in_steps(
    job: Job, *, steps: Steps | None = None, fitted: tuple[Run, Ground] | None = None
) -> Generator[str, None, Choices]:
    """Return `compare_choices`, and yield the name of each way before it is worked through.

    For whoever has to answer something else meanwhile (``yield from``); the parameters are the same.
    """
    run, ground = fitted or fit_job(job)
    ways, left = ways_of(job, run, ground, steps or Steps())
    rows = []
    for i, way in enumerate(ways):
        yield way.name
        rows.append(_worked(way, own=i == 0))
    return Choices(job, _marked(rows), left)


def _worked(way: Way, *, own: bool) -> Choice:
    try:
        stacked = stack_up(way.lay())
        figures = _figures(stacked)
    except WHY_NOT as fault:
        return Choice(way.name, way.kind, way.differs, own, None, "; ".join(str(fault).splitlines()))
    return Choice(way.name, way.kind, way.differs, own, figures, stacked=stacked)


def _figures(stacked: Stacked) -> Figures:
    laid, stacks = stacked.laid, stacked.stacks
    summary, grade = summarise_fills(stacked.fills), laid.line.steepest
    pieces = wedges = None
    if stacks is not None:
        pulled = stacks.pull_list()
        wedge = pulled["kind"] == "wedge"
        pieces, wedges = int(pulled["count"][~wedge].sum()), int(pulled["count"][wedge].sum())
    return Figures(
        pieces=pieces, wedges=wedges, largest=summary.largest, largest_tie=summary.largest_tie,
        largest_side=summary.largest_side, total=summary.total, in_ground=summary.negative,
        fill_sd=float(stacked.fills["fill_sd_m"].max()), touch_chance=_touch_chance(laid), grade=grade,
        hold_back=hold_back(laid.job.rolling.mass, grade),
        missing=sum(one.missing for one in stacks.shortages) if stacks is not None else 0,
        proven=stacks is None or stacks.proven,
        stops=tuple(said(laid, one) for one in warnings_of(stacked) if one.level == "stop"),
        head=laid.line.run.head, tail=laid.line.run.tail,
    )  # fmt: skip


def _touch_chance(laid: Laid) -> float:
    """Return the chance that the line touches anything that it must clear, tie ends and obstacles."""
    line, doubt, run = laid.line, laid.line.doubt, laid.line.run
    control = control_of(laid.job, laid.ground)
    cleared = cleared_by(line, line if control is None else line.held_by(control), doubt.touch)
    points = point_covariance(laid.ground, cleared.points, doubt, run.breaks, head=run.head)
    covariance = cleared.jacobian @ points @ cleared.jacobian.T
    return chance_any_touches(
        cleared.above, covariance, touch=doubt.touch, draws=doubt.draws, seed=doubt.seed
    )


def _marked(rows: Sequence[Choice]) -> tuple[Choice, ...]:
    """Return the choices, those that no other beats marked; only what can be done counts."""
    nothing = (np.nan,) * len(TOLERANCES)
    weighed = [choice.figures.weighed() if choice.figures else nothing for choice in rows]
    marks = unbeaten(weighed, list(TOLERANCES.values()), among=[choice.can_be_done for choice in rows])
    return tuple(replace(choice, unbeaten=bool(mark)) for choice, mark in zip(rows, marks, strict=True))
