"""Every reference that a line may be set from: which governs, which would touch, what each costs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.cribbing.by_height import PiecesByHeight, expected_pieces
from trackkit.layout.doubt import Doubt
from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import GroundLike, Point
from trackkit.layout.laid import Run
from trackkit.study.candidates import Candidate, contest_of
from trackkit.study.contest import Contest, Drawn, compare
from trackkit.study.exact import exact_governs, exact_touch

__all__ = ["ACCEPTED", "ReferenceStudy", "compare_references", "rested_on"]

Array = NDArray[np.float64]

#: Chance of touching that is accepted where the job states no confidence: 1 in 20. Guess.
ACCEPTED: Final = 0.05
DRAWS: Final = 10_000
#: Two points along the run that lie closer are the same [m].
_SAME_PLACE: Final = 1e-6


@dataclass(frozen=True, eq=False)
class ReferenceStudy:
    """What a line set from each candidate comes to.

    Attributes
    ----------
    table : DataFrame
        One row a candidate, tie ends first: candidate, kind, tie, side, station_m; fill_m (of the line as
        planned, NaN for pegs); governs (chance that the line has to rest on it; a line with least fill rests
        on two, so that they add up to 2; NaN for pegs and given heights), touches (chance that a line set
        from it touches anything it must clear), touches_at (where
        that is likeliest, '' where nowhere) and touches_at_chance; largest_m, largest95_m (the largest fill:
        expected, and what it stays below in 95 % of cases), total_m, total_sd_m, in_ground (expected number
        of tie ends whose fill is negative); pieces, wedges (expected; NaN without a table of pieces);
        margin_m (what to add to the gap for the chance of touching to be what is accepted), margin_pieces
        (what that costs, pieces and wedges); changed (expected number of tie ends whose stack of the plan
        would not close there), any_changed (chance that it is one at least; both NaN without stacks).
    candidates : tuple of Candidate
    contest : Contest
        In the order of the table's rows.
    drawn : Drawn
    labels : tuple of str
        Of the rows that must be cleared.
    planned : int
        Which candidate is the plan's own; -1 where the line rests on two points or more (see ``pairs``).
    is_exact : bool
        Whether ``governs`` of the tie ends is exact; else it is known to ``sqrt(p (1 - p) / draws)``.
    left_out : float
        Bound on what exact chances leave out.
    accepted : float
        Chance of touching that margins are made for.
    touch : float
        [m]
    """

    table: pd.DataFrame
    candidates: tuple[Candidate, ...]
    contest: Contest
    drawn: Drawn
    labels: tuple[str, ...]
    planned: int
    is_exact: bool
    left_out: float
    accepted: float
    touch: float

    def index(self, label: str) -> int:
        """Return which candidate has this label; KeyError, with those there are, if none has."""
        labels = [candidate.label for candidate in self.candidates]
        if label not in labels:
            raise KeyError(f"there is no candidate {label!r}; there are {', '.join(labels)}")
        return labels.index(label)

    def contenders(self, least: float = 0.02) -> pd.DataFrame:
        """Return the tie ends and obstacles with at least this chance to govern, the likeliest first."""
        some = self.table["kind"].isin(["tie", "obstacle"]) & (self.table["governs"] >= least)
        # as likely as each other they stay in the order of the run
        return self.table[some].sort_values("governs", key=lambda own: -own.round(3), kind="stable")

    @property
    def likeliest(self) -> int:
        """The tie end that is likeliest to govern; where an obstacle does for certain, the highest."""
        chances = self.table["governs"].to_numpy(dtype=float)[: self.contest.ends]
        return int(np.lexsort((self.contest.mean[: self.contest.ends], chances))[-1])

    def largest_fills(self, candidate: int, *, spare: float = 0.0) -> Array:
        """Return the largest fill of a candidate's line in each draw, shape (draws,) [m]."""
        return self.drawn.largest_fills(self.contest, candidate, spare=spare)


def compare_references(
    ground: GroundLike,
    run: Run,
    line: FinishedLine,
    *,
    chosen: Sequence[Point] = (),
    by_eye: Point | None = None,
    pegs: Sequence[str] = (),
    accepted: float = ACCEPTED,
    by_height: PiecesByHeight | None = None,
    travel: tuple[Array, Array] | None = None,
    doubt: Doubt | None = None,
    likely: Sequence[tuple[float, GroundLike]] = (),
    draws: int = DRAWS,
    seed: int = 1,
) -> ReferenceStudy:
    """Compare everything that a line of this shape may be set from.

    A line set from a tie end, or from a point, lies the plan's gap above its true height; set from a peg it
    has the height that was planned. Its shape stays: level, the grade, or the bends that were found. So it
    is for a line with least fill too, which on the day is set at its grade from one point (where two are
    used, see `trackkit.study.pairs`).

    Parameters
    ----------
    ground : GroundLike
    run : Run
    line : FinishedLine
        Worked out for this run.
    chosen : sequence of Point
        Further points that it may be set from: (station, side).
    by_eye : Point, optional
        What the crew takes for the highest point by eye.
    pegs : sequence of str
        Pegs that it may be set from, with the planned heights.
    accepted : float
        Chance of touching that is accepted.
    by_height : PiecesByHeight, optional
        What closing each fill takes.
    travel : (array, array), optional
        Lowest and highest fill that the plan's stack closes at each tie end, shape (2 * ties,) each [m]; NaN
        where none is planned.
    doubt : Doubt, optional
        By default that of the line.
    likely : sequence of (share, ground), optional
        The grounds of which the readings may be, see `trackkit.survey.likely.likely_grounds`; chances are
        averages over them. By default it is this ground for certain.
    draws, seed : int

    Raises
    ------
    ValueError
        If the run is another than the line's, a point lies off the run, a side does not exist, the shares
        of ``likely`` do not add up to 1, or ``accepted`` is not between 0 and 1.
    """
    if len(run.ties) != len(line.run.ties) or not np.allclose(run.ties["along_m"], line.run.ties["along_m"]):
        raise ValueError("run is not the one that line was worked out for; work out the line for this run")
    doubt = doubt or line.doubt
    contest, candidates, labels, planned = contest_of(
        ground, line, chosen=chosen, by_eye=by_eye, pegs=pegs, doubt=doubt, likely=likely
    )
    found = compare(contest, touch=doubt.touch, accepted=accepted, draws=draws, seed=seed)
    each = contest.touch_each(doubt.touch)
    # where several are as good as certain, the one that is deepest in
    over = contest.mean[: contest.rows] - contest.mean[contest.starts][:, None]
    worst = np.lexsort((over, np.round(each, 3)), axis=1)[:, -1]
    at_chance = each[np.arange(len(candidates)), worst]
    governs, touches = found.governs.copy(), found.touches.copy()
    two = rested_on(line, contest, found.drawn)
    exact = exact_governs(contest) if two is None else None
    if two is not None:
        governs[: contest.rows] = shares_of(two, contest.rows)
    if exact is not None:
        governs[: contest.rows] = exact.chances
        for row in exact.contending:
            known = exact_touch(contest, row, doubt.touch)
            if known is not None:
                touches[row] = known[0]
    for i, candidate in enumerate(candidates):
        if candidate.kind in ("peg", "plan"):
            governs[i] = np.nan
    table = pd.DataFrame(
        {
            "candidate": [candidate.label for candidate in candidates],
            "kind": [candidate.kind for candidate in candidates],
            "tie": [candidate.tie for candidate in candidates],
            "side": [candidate.side for candidate in candidates],
            "station_m": [candidate.station for candidate in candidates],
            "fill_m": [
                np.nan if one.kind in ("peg", "plan") else -contest.mean[start]
                for one, start in zip(candidates, contest.starts, strict=True)
            ],
            "governs": governs,
            "touches": touches,
            "touches_at": np.where(at_chance > 1.0 / draws, np.array(labels, dtype=object)[worst], ""),
            "touches_at_chance": at_chance,
            "largest_m": found.largest,
            "largest95_m": found.largest_95,
            "total_m": found.total,
            "total_sd_m": found.total_sd,
            "in_ground": _mixed(contest, lambda fills, sds: _below(fills, sds, 0.0)).sum(axis=1),
            **_pieces(by_height, contest, found.margin),
            **_changes(travel, contest, found.drawn),
        }
    )
    return ReferenceStudy(
        table=table,
        candidates=candidates,
        contest=contest,
        drawn=found.drawn,
        labels=labels,
        planned=planned,
        is_exact=exact is not None,
        left_out=exact.left_out if exact is not None else float("nan"),
        accepted=accepted,
        touch=doubt.touch,
    )


def rested_on(line: FinishedLine, contest: Contest, drawn: Drawn) -> NDArray[np.int64] | None:
    """Return the rows that the line with least fill rests on in every draw, (draws, 2), -1 for none.

    None for a line of another kind, or one that is held.
    """
    resting = line.resting
    if resting.fit_many is None or resting.keeps_shape:
        return None
    full = contest.room + line.height(resting.rows.stations)
    return resting.fit_many(resting.rows, (drawn.heights[: contest.rows] + full[:, None]).T)


def shares_of(rested: NDArray[np.int64], count: int) -> Array:
    """Return in which share of draws each of the first rows is rested on, shape (count,)."""
    known = rested[(rested >= 0) & (rested < count)]
    return np.asarray(np.bincount(known, minlength=count) / len(rested))


def _below(fills: Array, sds: Array, level: float | Array) -> Array:
    """Return the chance that fills lie below a level; 0 or 1 where a fill is certain."""
    from scipy.special import ndtr

    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(sds > 0.0, ndtr((level - fills) / sds), (fills < level).astype(float))


def _mixed(contest: Contest, figure: Callable[[Array, Array], Array]) -> Array:
    """Return a figure of each fill, given its mean and sd, on average over the likely grounds."""
    return np.asarray(sum(one.share * figure(*contest.fills_over(one)) for one in contest.grounds))


def _pieces(by_height: PiecesByHeight | None, contest: Contest, margin: Array) -> dict[str, Array]:
    none = np.full(len(margin), np.nan)
    if by_height is None:
        return {"pieces": none, "wedges": none, "margin_m": margin, "margin_pieces": none}

    def counted(fills: Array, sds: Array) -> Array:
        raised = expected_pieces(by_height, fills + margin[:, None], sds)
        return np.stack([*expected_pieces(by_height, fills, sds), raised[0] + raised[1]])

    pieces, wedges, raised = _mixed(contest, counted).sum(axis=2)
    return {
        "pieces": pieces, "wedges": wedges, "margin_m": margin,
        "margin_pieces": np.where(margin > 0.0, raised - pieces - wedges, 0.0),
    }  # fmt: skip


def _changes(travel: tuple[Array, Array] | None, contest: Contest, drawn: Drawn) -> dict[str, Array]:
    """Return how many of the plan's stacks would not close, expected, and the chance that any does not."""
    none = np.full(contest.starts.size, np.nan)
    if travel is None:
        return {"changed": none, "any_changed": none}
    low, high = (np.asarray(one, dtype=float) for one in travel)
    has = np.flatnonzero(np.isfinite(low) & np.isfinite(high))
    if not has.size:
        return {"changed": none, "any_changed": none}
    least, most = low[has] - _SAME_PLACE, high[has] + _SAME_PLACE

    def closes(fills: Array, sds: Array) -> Array:
        own = fills[:, has], sds[:, has]
        return np.maximum(_below(*own, most) - _below(*own, least), 0.0)

    heights = drawn.heights[has]
    from_here, to_here = (heights + least[:, None]).max(axis=0), (heights + most[:, None]).min(axis=0)
    any_changed = np.empty(contest.starts.size)
    for k, (start, offset) in enumerate(zip(contest.starts, contest.offsets, strict=True)):
        line = drawn.heights[start] + offset
        any_changed[k] = 1.0 - np.mean((line >= from_here) & (line <= to_here))
    return {"changed": (1.0 - _mixed(contest, closes)).sum(axis=1), "any_changed": any_changed}
