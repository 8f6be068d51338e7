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
from trackkit.study.obstacles import Obstacles, comes_to
from trackkit.study.reference import ReferenceStudy
from trackkit.study.wrong_start import ExpectedWork, Pace, expected_work, finds, lifted_again

__all__ = ["SPARES", "DayWork", "day_work", "nearest_end", "wrong_start"]

Array = NDArray[np.float64]

#: Spare heights that are tried [m]: to 30 mm by 3 mm, or to 1 1/4 in by 1/8 in.
SPARES: Final = {
    "in": tuple(0.003175 * i for i in range(11)),
    "cm": tuple(0.003 * i for i in range(11)),
    "mm": tuple(0.003 * i for i in range(11)),
}
#: Draws in which the day's work is walked through; and how many starts are, at most (choices: a mean over
#: so many draws is known to 1/45 of its spread).
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
    beside : ndarray, shape (obstacles,)
        Of what else the line must clear [m].
    by_height : PiecesByHeight or None
        None without a truck, and where nothing on it closes any height.
    pace : Pace
    order : str
        In which ties are laid.
    work : ExpectedWork
        From what contends, what is planned and the tie end nearest to the point by eye. Its starts are
        candidates of the study: tie ends, or obstacles.
    """

    study: ReferenceStudy
    support: NDArray[np.int64]
    stations: Array
    beside: Array
    by_height: PiecesByHeight | None
    pace: Pace
    order: str
    work: ExpectedWork

    def tie_end(self, candidate: int) -> int | None:
        """Return the tie end that a candidate is, or the nearest one; None for a peg or a given height.

        Of an obstacle, which lies under no one rail, the left end of the nearest tie.
        """
        own = self.study.candidates[candidate]
        if own.kind == "obstacle":
            return int(comes_to(self.stations, np.array([own.station]))[0])
        return _start(self.study, candidate, self.stations)


def day_work(stacked: Stacked, study: ReferenceStudy, by_height: PiecesByHeight | None) -> DayWork:
    """Return the day's work from the planned reference, the tie end nearest to that by eye, and contenders.

    Obstacles are found on the way like ground that is too high, and where they may govern, the line may be
    set from one. Wherever it is lifted, it has as much room over each as a line that is set from it.

    Parameters
    ----------
    stacked : Stacked
        The line as it is planned, and its stacks.
    study : ReferenceStudy
        Of that line.
    by_height : PiecesByHeight, optional
        Without it no pieces are counted.
    """
    job, contest = stacked.laid.job, study.contest
    support, stations = _supports(stacked.fills)
    pace, order = _pace(job), job.file.study.order or "outward"
    others = slice(contest.ends, contest.rows)
    beside = np.array([one.station for one in study.candidates[others]], dtype=float)
    drawn = study.drawn.heights[:, :WALKED].T
    marked = [i for i, one in enumerate(study.candidates) if one.kind == "eye"]
    wanted = [i for i in (study.planned, *marked, *study.contenders().index) if i >= 0]
    each = [_start(study, i, stations) for i in wanted]
    starts = list(dict.fromkeys(one for one in each if one is not None))[:STARTS] or [study.likeliest]
    work = expected_work(
        drawn[:, : contest.ends], np.array(starts), np.array(SPARES[job.display.unit]), support=support,
        stations=stations, gap=stacked.laid.line.gap, touch=study.touch, order=order, table=by_height,
        pace=pace, obstacles=Obstacles(drawn[:, others], contest.offsets[others], beside),
    )  # fmt: skip
    return DayWork(study, support, stations, beside, by_height, pace, order, work)


def wrong_start(day: DayWork, candidate: int) -> pd.DataFrame:
    """Return what is lifted again if the line is set from a candidate that is too low, by the fitted ground.

    Parameters
    ----------
    day : DayWork
    candidate : int
        A tie end, an obstacle or a point along the run.

    Returns
    -------
    DataFrame
        As `trackkit.study.wrong_start.lifted_again`, a row for each tie end and obstacle that is too high,
        see `trackkit.study.finds.finds`; empty where there is none. Also candidate (what is too high, among
        those of the study), and tie and side of the end at which the crew finds it.

    Raises
    ------
    ValueError
        For a peg or a given height: the crew starts at no tie end then.
    """
    study, start = day.study, day.tie_end(candidate)
    if start is None:
        raise ValueError(f"{study.candidates[candidate].label} is no point along the run")
    contest = study.contest
    line = float(contest.mean[contest.starts[candidate]] + contest.offsets[candidate])
    told = finds(
        contest.mean[: contest.rows], line, start, room=contest.offsets[: contest.rows], touch=study.touch,
        stations=day.stations, beside=day.beside, order=day.order,
    )  # fmt: skip
    found = lifted_again(
        line - contest.mean[: contest.ends], start, told["lift_m"], support=day.support,
        stations=day.stations, found_at=told["end"].to_numpy(), order=day.order, table=day.by_height,
        pace=day.pace,
    )  # fmt: skip
    end, thing = found["end"].to_numpy(dtype=int), told["thing"].to_numpy()
    return found.assign(
        candidate=thing[found["find"].to_numpy()], tie=end // 2 + 1, side=np.where(end % 2, "right", "left")
    )


def nearest_end(stations: Array, station: float, side: str) -> int:
    """Return the tie end under one rail that is nearest to a station; tie ends count left before right."""
    return 2 * int(np.abs(stations[::2] - station).argmin()) + (side == "right")


def _start(study: ReferenceStudy, candidate: int, stations: Array) -> int | None:
    """Return what the line is set from on the day: a tie end, an obstacle; of a point the nearest tie end."""
    own = study.candidates[candidate]
    if own.kind in ("tie", "obstacle"):
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
