"""The whole chain: from a job to the plan that track is laid from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from trackkit.cribbing.results import StackPlan
from trackkit.cribbing.stacks import choose_stacks
from trackkit.fitted import fit_job, fit_on, lay_job, survey_of
from trackkit.job import Job
from trackkit.layout.clearance import with_laser_heights
from trackkit.layout.doubt import FillModel, fill_model
from trackkit.layout.fills import FillSummary, fill_table, summarise_fills
from trackkit.layout.finished import FinishedLine
from trackkit.layout.footing import on_zones
from trackkit.layout.governing import Governing, governing_chances
from trackkit.layout.laid import Run
from trackkit.layout.line import BEND, GAP, follow_line, grade_line, least_fill_line, level_line
from trackkit.layout.targets import Peg, Targets, pegs_from_ground, target_rods
from trackkit.layout.verdict import LevelVerdict, level_verdict
from trackkit.problems import Advisory
from trackkit.survey.ground import Ground
from trackkit.survey.readings import cautions
from trackkit.survey.sights import sights_of

__all__ = [
    "Laid", "Plan", "Stacked", "fills_of", "lay_line", "lay_on", "make_plan", "obstacles_of", "plan_of",
    "stack_up", "warnings_of",
]  # fmt: skip

#: Grades that differ by less move no tie end of a 30 m run by a millimetre.
_SAME_GRADE = 1e-4
#: Of two grades whose cosines differ by less, a 30 m run is as long to a hundredth of a millimetre.
_SAME_COSINE = 1e-10


@dataclass(frozen=True, eq=False)
class Plan:
    """A job worked through.

    Attributes
    ----------
    job : Job
    run : Run
        With its ties where they lie on the line.
    ground : Ground
    line : FinishedLine
    fills : DataFrame
        One row a tie end; see `fill_table`, and ground_type and support_here of its zone.
    summary : FillSummary
    governing : Governing
        Chance of every tie end to govern.
    verdict : LevelVerdict
        Whether level would do.
    stacks : StackPlan or None
        None if there is no truck.csv.
    targets : Targets or None
        None if there is neither a peg nor a single laser position to set out from.
    advisories : tuple of Advisory
        All of them, the gravest first.
    """

    job: Job
    run: Run
    ground: Ground
    line: FinishedLine
    fills: pd.DataFrame
    summary: FillSummary
    governing: Governing
    verdict: LevelVerdict
    stacks: StackPlan | None
    targets: Targets | None
    advisories: tuple[Advisory, ...]

    @property
    def can_be_done(self) -> bool:
        """Whether the job can be done as asked: high enough, from this truck, clear of all stops."""
        return not any(advisory.level == "stop" for advisory in self.advisories)

    @property
    def withholds_target(self) -> bool:
        """Whether nobody should set out from this plan: pegs that disagree, or a stop of line or ground."""
        from trackkit.advice import no_support

        harmless = [*(self.stacks.advisories if self.stacks is not None else ()), *no_support(self)]
        stops = [advisory for advisory in self.advisories if advisory.level == "stop"]
        return any(advisory not in harmless for advisory in stops)

    def text(self) -> str:
        """Return the plan as text for a terminal or a printer."""
        from trackkit.report import plan_text

        return plan_text(self)

    def save(self, folder: str | Path) -> tuple[Path, ...]:
        """Write supports.csv, pull_list.csv, plan.json, profile.svg and profile.png; return their paths.

        All are made before the first is put in place, and each is put in place whole.
        """
        from trackkit.files import save_plan

        return save_plan(self, Path(folder))


@dataclass(frozen=True, eq=False)
class Laid:
    """A job's line over its ground, before anything is stacked: all that a picture of it needs.

    Attributes
    ----------
    job : Job
    run : Run
        As it was laid out; ``line.run`` has its ties where they lie on the line.
    ground : Ground
    line : FinishedLine
    fills : DataFrame
        See `fill_table`.
    """

    job: Job
    run: Run
    ground: Ground
    line: FinishedLine
    fills: pd.DataFrame


@dataclass(frozen=True, eq=False)
class Stacked:
    """A line that has been laid, and what stands under it.

    Attributes
    ----------
    laid : Laid
    fills : DataFrame
        The line's fills with ground_type and support_here of their zones.
    stacks : StackPlan or None
        None if there is no truck.csv.
    """

    laid: Laid
    fills: pd.DataFrame
    stacks: StackPlan | None


def make_plan(job: Job) -> Plan:
    """Return the plan of a job.

    Raises
    ------
    CannotDo
        If the job cannot be done as asked: not enough track, curved sections, mixed gauges.
    FitError
        If the readings leave heights open.
    InputProblems
        If readings name ties, sections or stations that the run does not have.
    ValueError
        If the job was loaded without its survey.
    """
    return plan_of(stack_up(lay_line(job, *fit_job(job))))


def lay_line(job: Job, run: Run, ground: Ground) -> Laid:
    """Return a job's line over a run and a ground that `trackkit.fitted.fit_job` has found.

    Both serve for other wishes of the same job (`with_line`): where a wish asks for another grade, the run
    is laid out anew, and readings by tie or section are placed on it.
    """
    wished = float(np.cos(np.arctan(job.file.line.grade or 0.0)))
    if job.shot is not None and abs((run.tail - run.head) / run.length - wished) > _SAME_COSINE:
        run = lay_job(job, grade=job.file.line.grade or 0.0)
        ground = fit_on(job, run) if _by_tie(job) else ground
    line = _line(job, ground, run)
    run, ground, line = _settled(job, run, ground, line)
    half_box = job.lay_rules.half_box
    fills = fill_table(ground, run, line, along=2 * half_box, set_from=control_of(job, ground))
    return Laid(job, run, ground, line, fills)


def lay_on(job: Job, ground: Ground) -> Laid:
    """Return a job's line over a ground that was fitted to its readings, the track laid out as it asks.

    Raises
    ------
    CannotDo
        If the job has not enough track, or its line cannot be had.
    """
    return lay_line(job, lay_job(job, grade=job.file.line.grade or 0.0), ground)


def stack_up(laid: Laid) -> Stacked:
    """Return what stands under a line that has been laid, out of what is on the truck."""
    job = laid.job
    fills = on_zones(
        laid.fills, survey_of(job).zones, kind=job.ground_kind, half_box=job.lay_rules.half_box,
        least_feet=job.stack_rules.foot_area, scrape_on=job.stack_rules.scrape_on,
    )  # fmt: skip
    stacks = None
    if job.truck is not None:
        standing = fills[fills["support_here"]]
        stacks = choose_stacks(standing, job.truck, rules=job.stack_rules, display=job.display.name)
    return Stacked(laid, fills, stacks)


def plan_of(stacked: Stacked, *, governing: Governing | None = None) -> Plan:
    """Return the plan of a line with its stacks: targets, doubts and warnings are added.

    Parameters
    ----------
    stacked : Stacked
    governing : Governing, optional
        Chances to govern this line, where they are known already (`governing_in_steps`).
    """
    laid, fills = stacked.laid, stacked.fills
    job, run, ground, line = laid.job, laid.run, laid.ground, laid.line
    verdict = level_verdict(
        ground, run, height_limit=job.stack_rules.refuse_height, grade_limit=job.file.line.grade_limit,
        rolling=job.rolling, gap=_gap(job), obstacles=obstacles_of(job, ground), clearance=job.clearance,
    )  # fmt: skip
    draft = Plan(
        job=job, run=line.run, ground=ground, line=line, fills=fills, summary=summarise_fills(fills),
        governing=governing or governing_chances(ground, line), verdict=verdict, stacks=stacked.stacks,
        targets=_targets(job, ground, line, run, fills), advisories=(),
    )  # fmt: skip
    return replace(draft, advisories=_advisories(draft))


def warnings_of(stacked: Stacked) -> tuple[Advisory, ...]:
    """Return all that the plan of a line with its stacks warns of, the gravest first.

    Its advisories hang on everything but the chances to govern, which take most of a plan's time.
    """
    unasked = Governing(pd.DataFrame(columns=["tie", "side", "station_m", "chance"]), np.nan, "", 0)
    return plan_of(stacked, governing=unasked).advisories


def fills_of(laid: Laid) -> FillModel:
    """Return the fills of a line with their covariance, as in its table: set out from the control peg."""
    control = control_of(laid.job, laid.ground)
    held = laid.line if control is None else laid.line.held_by(control)
    return fill_model(laid.ground, laid.line.run, held)


def _settled(job: Job, run: Run, ground: Ground, line: FinishedLine) -> tuple[Run, Ground, FinishedLine]:
    """Lay the run out again on the grade that was found, and place readings by tie again."""
    found = float(line.height(run.tail) - line.height(run.head)) / (run.tail - run.head)
    if job.shot is None or abs(found - (job.file.line.grade or 0.0)) < _SAME_GRADE:
        return run, ground, line
    run = lay_job(job, grade=found)
    if _by_tie(job):
        ground = fit_on(job, run)
    return run, ground, _line(job, ground, run)


def _by_tie(job: Job) -> bool:
    """Return whether readings stand where ties lie, so that the ground hangs on the run."""
    levels = survey_of(job).levels
    return bool(levels["tie"].notna().any() or levels["section"].notna().any())


def _gap(job: Job) -> float:
    return GAP if job.file.line.gap is None else job.file.line.gap


def obstacles_of(job: Job, ground: Ground) -> pd.DataFrame | None:
    """Return a job's obstacles with their heights, those read by laser too; None where there are none."""
    obstacles = survey_of(job).obstacles
    if obstacles.empty:
        return None
    lasers = dict(zip(ground.lasers["laser"], ground.lasers["height_m"], strict=True))
    # what a line of sight that is not level adds to a rod is taken off, as it is for the ground's rods
    sights = sights_of(obstacles.assign(side=""), survey_of(job).lasers, job.width)
    slopes = dict(zip(ground.zero_errors["instrument"], ground.zero_errors["zero_rad"], strict=True))
    rises = sights["name"].map(slopes).astype(float) * sights["length"].astype(float)
    return with_laser_heights(obstacles.assign(rod_m=obstacles["rod_m"] - rises.fillna(0.0)), lasers)


def _line(job: Job, ground: Ground, run: Run) -> FinishedLine:
    asked = job.file.line
    common: dict[str, Any] = {
        "reference": job.reference, "gap": _gap(job), "confidence": asked.confidence,
        "obstacles": obstacles_of(job, ground), "clearance": job.clearance, "doubt": job.doubt,
        "set_from": control_of(job, ground),
    }  # fmt: skip
    if asked.kind == "level":
        return level_line(ground, run, **common)
    if asked.kind == "grade":
        return grade_line(ground, run, asked.grade or 0.0, rolling=job.rolling, **common)
    common |= {"grade_limit": asked.grade_limit, "rolling": job.rolling}
    if asked.kind == "least fill":
        return least_fill_line(ground, run, **common)
    return follow_line(
        ground, run, bend_limit=BEND if asked.bend_limit is None else asked.bend_limit, **common
    )


def _known_pegs(ground: Ground) -> list[str]:
    return [*ground.setting.observations.fixed, *ground.pegs["peg"]]


def control_of(job: Job, ground: Ground) -> str | None:
    """Return the peg that the track is set out from, None if none was read."""
    return job.file.pegs.control or next(iter(_known_pegs(ground)), None)


def _targets(job: Job, ground: Ground, line: FinishedLine, run: Run, fills: pd.DataFrame) -> Targets | None:
    """Return targets from the control peg, or from a single laser position that still stands."""
    pegs, known, control = job.file.pegs, _known_pegs(ground), control_of(job, ground)
    if control is None:
        if len(ground.lasers) != 1:
            return None
        laser = ground.lasers.iloc[0]
        still = Peg(f"laser position {laser['laser']}", float(laser["height_m"]), 0.0)
        return _from_laser(target_rods(fills, line, run, control=still))
    check = pegs.check or next((name for name in known if name != control), None)
    if check is None:
        height = float(ground.mean([control])[0])
        return target_rods(fills, line, run, control=Peg(control, height, pegs.today.get(control)))
    first, second, sd = pegs_from_ground(ground, (control, check), pegs.today)
    return target_rods(fills, line, run, control=first, check=second, difference_sd=sd)


def _from_laser(targets: Targets) -> Targets:
    """Return targets that hold as long as the laser has not been moved since the readings."""
    text = (
        "Only while the laser stands as it stood for the readings: no peg carries the height to another day."
    )
    check = replace(targets.check, text=text)
    advisories = tuple(one for one in targets.advisories if one.place != "the control peg")
    return replace(targets, check=check, advisories=advisories)


_GRAVITY_ORDER = {"stop": 0, "caution": 1, "note": 2}


def _advisories(plan: Plan) -> tuple[Advisory, ...]:
    from trackkit.advice import plan_advisories

    found = [
        *plan.run.advisories,
        *plan.line.advisories,
        *cautions(survey_of(plan.job)),
        *plan_advisories(plan),
    ]
    if plan.stacks is not None:
        found += plan.stacks.advisories
    if plan.targets is not None:
        found += plan.targets.advisories
    unique = list(dict.fromkeys(found))
    return tuple(sorted(unique, key=lambda advisory: _GRAVITY_ORDER[advisory.level]))
