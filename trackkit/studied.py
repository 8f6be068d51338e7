"""A job's study of its reference: how much hangs on the point that the line is set from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.cribbing.by_height import PiecesByHeight, pieces_by_height
from trackkit.cribbing.results import StackPlan
from trackkit.cribbing.travel import travel_of
from trackkit.daywork import DayWork, day_work
from trackkit.job import Job
from trackkit.jobschema import PlaceTable
from trackkit.layout.doubt import sideways_covariance
from trackkit.layout.fills import fill_table
from trackkit.layout.governing import Governing
from trackkit.layout.grounds import Point
from trackkit.layout.laid import Run
from trackkit.plan import Laid, Stacked, control_of, stack_up
from trackkit.problems import CannotDo
from trackkit.study.causes import MISREAD, Causes, find_causes
from trackkit.study.high_point import HighPoint, high_point
from trackkit.study.pairs import compare_pairs
from trackkit.study.reference import ACCEPTED, ReferenceStudy, compare_references
from trackkit.study.settle import Settled, what_settles
from trackkit.survey.ground import Ground
from trackkit.survey.likely import likely_grounds
from trackkit.survey.quality.at_hand import kinds_of
from trackkit.survey.quality.next_reading import possible_readings

__all__ = [
    "Studied", "eye_of", "set_from", "stacks_from", "study_job", "with_gap",
]  # fmt: skip

Array = NDArray[np.float64]

#: What rods are misread by [m]: a decimetre and a centimetre, or a foot and an inch.
UNITS: Final = {"in": (0.3048, 0.0254), "cm": (0.1, 0.01), "mm": (0.1, 0.01)}
#: Tie ends that contend: with a smaller chance to govern they are not listed.
LISTED: Final = 0.02
#: On flat ground many contend: so many are listed.
MOST_LISTED: Final = 12


@dataclass(frozen=True, eq=False)
class Studied:
    """What hangs on the reference of a job's line.

    Attributes
    ----------
    stacked : Stacked
        The line as it is planned, and its stacks.
    study : ReferenceStudy
        Every candidate; tie ends first, then the job's own points, the one by eye, pegs.
    pairs : DataFrame
        See `compare_pairs`; empty but for a line with least fill.
    high : HighPoint
    causes : Causes
        Set out from the control peg if there is one, else from what the line rests on.
    day : DayWork
        The day's work with the line as it is planned.
    settled : Settled or None
        What would settle what is the highest, tie ends and obstacles; None where hardly two contend.
    likely : tuple of (share, Ground)
        The grounds of which the readings may be, which all chances are averages over; see
        `trackkit.survey.likely.likely_grounds`.
    """

    stacked: Stacked
    study: ReferenceStudy
    pairs: pd.DataFrame
    high: HighPoint
    causes: Causes
    day: DayWork
    settled: Settled | None
    likely: tuple[tuple[float, Ground], ...]

    @property
    def job(self) -> Job:
        """The job."""
        return self.stacked.laid.job

    @property
    def laid(self) -> Laid:
        """The line as it is planned."""
        return self.stacked.laid

    @property
    def by_height(self) -> PiecesByHeight | None:
        """What closing each fill takes; None without a truck, and where nothing on it closes any height."""
        return self.day.by_height

    @property
    def eye(self) -> int | None:
        """Which candidate is the highest by eye; None if the job does not say."""
        marked = (i for i, one in enumerate(self.study.candidates) if one.kind == "eye")
        return next(marked, None)

    def listed(self, *more: int) -> list[int]:
        """Return the candidates worth listing: the planned one, those that contend, marked points, pegs."""
        table = self.study.table
        contend = list(self.study.contenders(LISTED).index)[:MOST_LISTED]
        others = [i for i, one in enumerate(self.study.candidates) if one.kind not in ("tie", "obstacle")]
        eye = [self.eye] if self.eye is not None else []
        planned = [self.study.planned] if self.study.planned >= 0 else []
        found = [*planned, *contend, *eye, *more, *others]
        return [i for i in dict.fromkeys(found) if 0 <= i < len(table)]

    def governing(self) -> Governing:
        """Return the chances of the tie ends, as `trackkit.show.plots.draw_governing` takes them."""
        table = self.study.table
        ends = table[table["kind"] == "tie"]
        rows = table[table["kind"].isin(["tie", "obstacle"])]
        chances = ends.assign(chance=ends["governs"])[["tie", "side", "station_m", "chance"]]
        first = int(rows["governs"].to_numpy().argmax())
        planned = self.study.planned
        same = float(rows["governs"].iloc[planned]) if 0 <= planned < len(rows) else float("nan")
        draws = self.study.drawn.heights.shape[1]
        return Governing(chances, 1.0 - same, str(rows["candidate"].iloc[first]), draws)


def study_job(stacked: Stacked) -> Studied:
    """Return what hangs on the reference of a job's line.

    Parameters
    ----------
    stacked : Stacked
        The job's line with its stacks, see `trackkit.plan.stack_up`.

    Raises
    ------
    CannotDo
        If the job names a tie that the run does not have, or a point that lies off it.
    """
    laid = stacked.laid
    job, ground, line = laid.job, laid.ground, laid.line
    asked, unit = job.file.study, job.display.unit
    by_height = _by_height(job, line.run)
    eye = None if asked.by_eye is None else _point(asked.by_eye, line.run)
    likely = likely_grounds(ground)
    study = compare_references(
        ground, line.run, line, chosen=[_point(place, line.run) for place in asked.points],
        by_eye=eye,
        pegs=_pegs(laid), accepted=asked.accepted or ACCEPTED, by_height=by_height,
        travel=None if stacked.stacks is None else travel_of(stacked.stacks, stacked.fills),
        likely=likely,
    )  # fmt: skip
    pairs = compare_pairs(study, line)
    rate = MISREAD if asked.misread is None else asked.misread
    units = asked.misread_by or UNITS[unit]
    causes = find_causes(
        ground, line, units=units, rate=rate, set_from=control_of(job, ground), likely=likely
    )
    high = high_point(ground, line, likely=likely)
    day = day_work(stacked, study, by_height)
    return Studied(stacked, study, pairs, high, causes, day, _settled(laid, study, likely), likely)


def _settled(laid: Laid, study: ReferenceStudy, likely: Sequence[tuple[float, Ground]]) -> Settled | None:
    """Return what settles what is the highest; of a line on two points, the one that is less certain.

    None where fewer than two things contend at all.
    """
    line, rows, contest = laid.line, laid.line.resting.rows, study.contest
    chances = study.table["governs"].to_numpy(dtype=float)[: contest.rows]
    some = np.arange(contest.rows)
    if not line.resting.keeps_shape:
        middle = rows.stations[: contest.ends].mean()
        halves = [
            half for half in (rows.stations < middle, rows.stations >= middle) if chances[half].sum() > 0.5
        ]
        if halves:
            some = np.flatnonzero(min(halves, key=lambda half: float(chances[half].max())))
    if some.size < 2 or chances[some].sum() < LISTED:
        return None
    points, parts = list(rows.points), rows.parts
    sideways = sideways_covariance(laid.ground, points, line.doubt, line.run.breaks, head=line.run.head)
    found = what_settles(
        laid.ground, points, (contest.mean[: contest.rows] + contest.room)[some], chances[some],
        parts=parts[some], beside=(parts @ sideways @ parts.T)[np.ix_(some, some)], likely=likely,
        possible=possible_readings(laid.ground, kinds=kinds_of(laid.ground.survey)),
    )  # fmt: skip
    return replace(found, chances=found.chances.assign(end=some[found.chances["end"].to_numpy()]))


def _by_height(job: Job, run: Run) -> PiecesByHeight | None:
    if job.truck is None:
        return None
    bearing = float(run.ties["bearing_m"].max())
    found = pieces_by_height(job.truck, bearing=bearing, rules=job.stack_rules, ground=job.ground_kind)
    return None if (found.counted < 0).any() else found


def _pegs(laid: Laid) -> list[str]:
    """Return the peg that the line is set out from, if there is one."""
    control = control_of(laid.job, laid.ground)
    return [] if control is None else [control]


def _tie_end(place: PlaceTable, run: Run) -> Point:
    """Return the tie end that a job names; CannotDo if the run has no such tie."""
    ties = run.ties
    if place.tie is None or not 1 <= place.tie <= len(ties):
        raise CannotDo(
            f"[study] names tie {place.tie}, the run has ties 1 to {len(ties)}; name another, or a station"
        )
    return float(ties["station_m"].iloc[place.tie - 1]), str(place.side)


def _point(place: PlaceTable, run: Run) -> Point:
    """Return the place that a job names; CannotDo if it lies off the run."""
    if place.tie is not None:
        return _tie_end(place, run)
    station = float(place.station or 0.0)
    if not run.head <= station <= run.tail:
        show = run.display.long
        raise CannotDo(
            f"[study] names a point at {show(station)}, and the run goes from {show(run.head)} to "
            f"{show(run.tail)}; name a place along it"
        )
    return station, str(place.side)


def eye_of(job: Job, run: Run) -> Point | None:
    """Return what the crew takes for the highest point by eye, None if the job does not say."""
    return None if job.file.study.by_eye is None else _point(job.file.study.by_eye, run)


def with_gap(studied: Studied, more: float) -> Studied:
    """Return the study with its line higher by so much [m], and what the causes do then.

    All the rest is still of the line as it was.
    """
    laid = studied.laid
    fills = laid.fills.assign(fill_m=laid.fills["fill_m"] + more, line_m=laid.fills["line_m"] + more)
    causes = studied.causes.raised(more)
    raised = replace(laid, line=causes.line, fills=fills)
    return replace(studied, stacked=replace(studied.stacked, laid=raised), causes=causes)


# --- other references, laid ---------------------------------------------------------------------


def set_from(studied: Studied, candidate: int, *, spare: float = 0.0) -> Laid:
    """Return the line set from a candidate, with its fills: the plan's shape, higher or lower.

    Parameters
    ----------
    studied : Studied
    candidate : int
    spare : float
        Spare height built in on top of the gap [m].
    """
    laid, study = studied.laid, studied.study
    own, contest, line = study.candidates[candidate], study.contest, laid.line
    if candidate == study.planned and spare == 0.0:
        return laid
    start = contest.starts[candidate]
    up = float(contest.mean[start] + contest.offsets[candidate]) + spare
    contacts, weights = line.contacts, line.knot_weights
    if own.kind != "plan":
        point: Point = own.label.removeprefix("peg ") if own.kind == "peg" else (own.station, own.side)
        contacts, shares = (point,), np.ones(1)
        if own.kind == "obstacle":  # of a given height it hangs on no point of the ground
            rows = line.resting.rows
            at = np.flatnonzero(rows.parts[start])
            contacts, shares = tuple(rows.points[i] for i in at), rows.parts[start, at]
        weights = np.tile(shares, (len(line.knots_station), 1))
    moved = replace(
        line, knots_height=line.knots_height + up, gap=line.gap + spare, reference=own.label,
        rests_on=(own.label,), contacts=contacts, knot_weights=weights, advisories=(),
    )  # fmt: skip
    along = 2 * laid.job.lay_rules.half_box
    control = own.label.removeprefix("peg ") if own.kind == "peg" else None
    fills = fill_table(laid.ground, line.run, moved, along=along, set_from=control)
    return replace(laid, line=moved, fills=fills)


def stacks_from(studied: Studied, candidate: int, *, spare: float = 0.0) -> StackPlan | None:
    """Return the stacks of the line set from a candidate; None without a truck."""
    if studied.job.truck is None:
        return None
    return stack_up(set_from(studied, candidate, spare=spare)).stacks
