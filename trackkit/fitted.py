"""From a job to its run and its ground: track laid out, readings placed on it, faults between the two."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trackkit.job import Job
from trackkit.jobchecks import pegs_alone
from trackkit.layout.grounds import SIDES
from trackkit.layout.laid import Run
from trackkit.layout.reference import LensHeight, RailHeight
from trackkit.layout.run import lay_out_run, run_from_sections
from trackkit.problems import CannotDo, InputProblems, Problem
from trackkit.survey.ground import Ground, fit_ground
from trackkit.survey.observe import breaks_of
from trackkit.survey.readings import Survey, check_stations, place_on_ties
from trackkit.survey.tables import SurveyRules

__all__ = ["fit_job", "fit_on", "fit_readings", "lay_job", "misplaced", "survey_of"]

#: Ties that lie this close to where they were taken for make no difference to a reading [m].
_SAME_PLACE = 0.001
#: A datum so far off the run is a slip [m].
OFF_RUN = SurveyRules().off_run


def lay_job(job: Job, *, grade: float = 0.0) -> Run:
    """Return the run of a job, laid out on a grade, or as its sections lie in a rough-in."""
    breaks = job.survey.breaks if job.survey is not None else None
    if job.shot is None:
        named = {section.name: section for section in job.sections}
        lying = [named[name] for name in job.lies]
        return run_from_sections(lying, breaks=breaks, rules=job.lay_rules, display=job.display)
    return lay_out_run(
        job.shot, job.sections, breaks=breaks, shift=job.shift, order=job.order, grade=grade,
        rules=job.lay_rules, display=job.display,
    )  # fmt: skip


def fit_job(job: Job) -> tuple[Run, Ground]:
    """Return the run on the grade that the job states, and the ground fitted to its readings."""
    alone = pegs_alone(survey_of(job))
    if alone:
        do = "read rods along the run, on both sides"
        accepted = "rods, boards or left-to-rights along the run"
        raise InputProblems([Problem("the readings", f"no reading of the ground: {alone}", accepted, do)])
    run = lay_job(job, grade=job.file.line.grade or 0.0)
    ground = fit_on(job, run)
    if job.rough_in:  # the sections lie on the slope that was read: their ties stand closer than on the level
        ends = [(station, side) for station in (run.tail, run.head) for side in SIDES]
        rise = float(np.asarray(ground.mean(ends)) @ (0.5, 0.5, -0.5, -0.5))
        lying = run.on_grade(float(np.tan(np.arcsin(np.clip(rise / run.length, -0.9, 0.9)))))
        if run.tail - lying.tail > _SAME_PLACE:
            ground = fit_on(job, run, lying=lying)
    return run, ground


def fit_readings(job: Job) -> tuple[Ground, str]:
    """Return the ground fitted to a job's readings, and why there is no run under them ('' if there is).

    Readings alone need no track; only those given by tie or section do.

    Raises
    ------
    CannotDo
        If readings are given by tie or section, or on the rail, and there is no run.
    """
    if pegs_alone(survey_of(job)):  # a levelling network, sound as it is
        return fit_on(job, None), ""
    try:
        return fit_job(job)[1], ""
    except CannotDo as why:
        levels = survey_of(job).levels
        if levels["tie"].notna().any() or levels["section"].notna().any() or (levels["on"] == "rail").any():
            raise
        return fit_on(job, None), str(why)


def survey_of(job: Job) -> Survey:
    """Return a job's readings; ValueError if it was loaded without them."""
    if job.survey is None:
        raise ValueError("the job was loaded without its survey; use load_job(path)")
    return job.survey


def fit_on(job: Job, run: Run | None, *, lying: Run | None = None) -> Ground:
    """Return the ground; readings by tie or section are placed on the run, as it was ``lying`` then."""
    survey, faults = survey_of(job), []
    if run is not None:
        survey = place_on_ties(survey, (lying or run).ties)
        faults = misplaced(job, run, survey)
    frees = job.file.ground.breaks_free
    if faults:
        raise InputProblems(faults)
    ground = fit_ground(
        survey,
        instruments=job.instruments,
        ground_type=job.ground_type,
        width=job.width,
        breaks=[replace(edge, frees=frees) for edge in breaks_of(survey)],
        datum=job.datum,
        smooth_ties=job.file.ground.smooth_ties,
        estimate=job.file.instruments.estimate or "",
    )
    if run is not None and len(ground.sides) < 2:
        found = f"readings of the {' and '.join(ground.sides) or 'pegs'} alone"
        do = "read rods on the other side too, or left-to-rights at two stations or more"
        raise InputProblems([Problem("the readings", found, "readings that reach both sides", do)])
    return ground


def misplaced(job: Job, run: Run, survey: Survey) -> list[Problem]:
    """Return the faults of readings, and of places that the job names, that a run does not reach.

    Parameters
    ----------
    job : Job
    run : Run
    survey : Survey
        The job's, with every reading at a station.
    """
    return [*check_stations(survey, run.head, run.tail), *_off_the_run(job, run)]


def _off_the_run(job: Job, run: Run) -> list[Problem]:
    """Return the faults of a datum and of a line set from places that the run does not have."""
    reference, show = job.reference, job.display.long
    reach = f"from {show(run.head)} to {show(run.tail)} from the start mark"
    faults = []
    if isinstance(job.datum, tuple) and not run.head - OFF_RUN <= job.datum[0] <= run.tail + OFF_RUN:
        accepted = f"a place near the run, which lies {reach}"
        faults.append(Problem("job.toml", show(job.datum[0]), accepted, "", None, "ground.datum"))
    if isinstance(reference, tuple) and reference[0] > len(run.ties):
        accepted = f"a tie from 1 to {len(run.ties)}, counted from the head of the run"
        faults.append(Problem("job.toml", f"tie {reference[0]}", accepted, "", None, "line.reference.tie"))
    at = reference.station if isinstance(reference, (RailHeight, LensHeight)) else None
    if at is not None and not run.head <= at <= run.tail:
        faults.append(
            Problem("job.toml", show(at), f"a place on the run, {reach}", "", None, "line.reference.at")
        )
    return faults
