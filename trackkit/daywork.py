"""The day's work on a job: what each point that the line may be set from comes to, tie by tie."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.cribbing.by_height import PiecesByHeight
from trackkit.job import Job
from trackkit.plan import Stacked
from trackkit.study.reference import ReferenceStudy
from trackkit.study.wrong_start import ExpectedWork, Pace, expected_work, lifted_again

__all__ = ["SPARES", "DayWork", "day_work", "nearest_end", "wrong_start"]

Array = NDArray[np.float64]

#: Spare heights that are tried [m]: to 30 mm by 3 mm, or to 1 1/4 in by 1/8 in.
SPARES: Final = {
    "in": tuple(0.003175 * i for i in range(11)),
    "cm": tuple(0.003 * i for i in range(11)),
    "mm": tuple(0.003 * i for i in range(11)),
}
#: Draws in which the day's work is walked through; and how many starts are, at most.
WALKED: Final = 2000
STARTS: Final = 8


@dataclass(frozen=True, eq=False)
class DayWork:
    """The day's work with the line as it is planned, and what it is worked out from.

    Attributes
    ----------
    study : ReferenceStudy
    support : ndarray of int, shape (ends,)
        Stack that each tie end stands on.
    stations : ndarray, shape (ends,)
        Of the tie ends, left before right [m].
    by_height : PiecesByHeight or None
        None without a truck, and where nothing on it closes any height.
    pace : Pace
    order : str
        In which ties are laid.
    work : ExpectedWork
        From the ends that contend, the planned one and the one nearest to that by eye.
    """

    study: ReferenceStudy
    support: NDArray[np.int64]
    stations: Array
    by_height: PiecesByHeight | None
    pace: Pace
    order: str
    work: ExpectedWork

    def tie_end(self, candidate: int) -> int | None:
        """Return the tie end that a candidate is, or the nearest one; None for a peg or a given height."""
        return _tie_end(self.study, candidate, self.stations)


def day_work(stacked: Stacked, study: ReferenceStudy, by_height: PiecesByHeight | None) -> DayWork:
    """Return the day's work from the planned tie end, the one nearest to that by eye, and contenders.

    Parameters
    ----------
    stacked : Stacked
        The line as it is planned, and its stacks.
    study : ReferenceStudy
        Of that line.
    by_height : PiecesByHeight, optional
        Without it no pieces are counted.
    """
    job, line = stacked.laid.job, stacked.laid.line
    support, stations = _supports(stacked.fills)
    pace, order = _pace(job), job.file.study.order or "outward"
    marked = [i for i, one in enumerate(study.candidates) if one.kind == "eye"]
    wanted = [i for i in (study.planned, *marked, *study.contenders().index) if i >= 0]
    ends = [_tie_end(study, i, stations) for i in wanted]
    starts = list(dict.fromkeys(end for end in ends if end is not None))[:STARTS] or [study.likeliest]
    work = expected_work(
        study.drawn.heights[: study.contest.ends, :WALKED].T, np.array(starts),
        np.array(SPARES[job.display.unit]), support=support, stations=stations, gap=line.gap,
        touch=study.touch, order=order, table=by_height, pace=pace,
    )  # fmt: skip
    return DayWork(study, support, stations, by_height, pace, order, work)


def wrong_start(day: DayWork, candidate: int) -> pd.DataFrame:
    """Return what is lifted again if the line is set from a candidate that is too low, by the fitted ground.

    Parameters
    ----------
    day : DayWork
    candidate : int
        A tie end or a point along the run.

    Returns
    -------
    DataFrame
        As `trackkit.study.wrong_start.lifted_again`, a row for each tie end where the crew would find out;
        empty where there is none. Also tie and side.

    Raises
    ------
    ValueError
        For a peg or a given height, which no tie end is set from.
    """
    study, start = day.study, day.tie_end(candidate)
    if start is None:
        raise ValueError(f"{study.candidates[candidate].label} is no point along the run")
    contest = study.contest
    line = float(contest.mean[contest.starts[candidate]] + contest.offsets[candidate])
    heights, gaps = contest.mean[: contest.ends], contest.offsets[: contest.ends]
    at = np.flatnonzero(heights > line + study.touch)
    found = lifted_again(
        line - heights, start, (heights + gaps - line)[at], support=day.support, stations=day.stations,
        found_at=at, order=day.order, table=day.by_height, pace=day.pace,
    )  # fmt: skip
    end = found["end"].to_numpy(dtype=int)
    return found.assign(tie=end // 2 + 1, side=np.where(end % 2, "right", "left"))


def nearest_end(stations: Array, station: float, side: str) -> int:
    """Return the tie end under one rail that is nearest to a station; tie ends count left before right."""
    return 2 * int(np.abs(stations[::2] - station).argmin()) + (side == "right")


def _tie_end(study: ReferenceStudy, candidate: int, stations: Array) -> int | None:
    own = study.candidates[candidate]
    if own.kind == "tie":
        return candidate
    return nearest_end(stations, own.station, own.side) if own.kind in ("point", "eye") else None


def _supports(fills: pd.DataFrame) -> tuple[NDArray[np.int64], Array]:
    """Return which stack each tie end of a fill table stands on, and the ends' stations [m]."""
    keys = list(zip(fills["support"], fills["side"], strict=True))
    numbers = {key: i for i, key in enumerate(dict.fromkeys(keys))}
    return np.array([numbers[key] for key in keys]), fills["station_m"].to_numpy(dtype=float)


def _pace(job: Job) -> Pace:
    given = {key.removesuffix("_minutes"): value for key, value in job.file.study.pace.model_dump().items()}
    return Pace(**{key: value for key, value in given.items() if value is not None})
