"""What really goes wrong on the day, beside the scatter of the readings.

The doubt of a fill has parts that a crew can do different things about: the readings' own scatter, what
readings share (a phone's zero error), ground that nobody read between them, and track that is laid beside the
line that was read. All but the last add up to the fit's covariance (`trackkit.study.parts`). A rod that was
misread without being noticed is in none of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.layout.doubt import Doubt, sideways_covariance
from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import Point
from trackkit.study.humps import humps_between
from trackkit.study.parts import SHARED, parts_of
from trackkit.survey.ground import Ground
from trackkit.survey.quality.detectable import influence, limits

__all__ = ["CAUSES", "MISREAD", "Causes", "find_causes"]

Array = NDArray[np.float64]
_Row: TypeAlias = tuple[str, float, str, float, float, str, float]

#: What each part is called.
CAUSES: Final = {
    "unread": "a hump that nobody read",
    "sideways": "track laid beside the line that was read",
    "misread": "a rod that was misread",
    "zero": "the zero error of the phone or digital level",
    "sight": "a line of sight that is not level",
    "drift": "the zero error wandering along a log",
    "pegs": "the given heights of pegs",
    "scatter": "the scatter of the readings",
}
#: Of so many rods one is misread by a whole unit: 1 in 200. Guess.
MISREAD: Final = 0.005
DRAWS: Final = 10_000
#: A smaller chance of touching is hardly any: nothing is told of what it would cost.
HARDLY: Final = 0.005
#: What readings share is not told of where it comes to less than a reading can be read to [m].
_NOTHING: Final = 0.0005
#: One chance in 20 lies beyond so many standard deviations on one side.
_ONE_IN_20: Final = 1.6448536269514722


@dataclass(frozen=True, eq=False)
class Causes:
    """What each cause does to the fills of a line.

    Attributes
    ----------
    table : DataFrame
        One row a cause that is there, the one that touches most often first: cause (a key of `CAUSES`),
        chance (that it happens at all: 1 but for a misread rod), at (where it does most: a tie end or an
        obstacle), size_m (what it takes off the line's height over that: 1 time in 20 more than this; the
        misread rod that does most, weighed by its chance to pass unnoticed), touches (chance that the line
        touches anything it must clear, for this cause alone), touches_at (what it then touches most often;
        '' where hardly ever), lift_m (how much higher the line has to be then for all that touches to have
        its room again, a tie end its gap, on average over the cases that touch; 0 where hardly any does).
    humps : DataFrame
        See `trackkit.study.humps.humps_between`.
    misread : DataFrame
        One row a rod and unit: reading, unit_m, unnoticed (chance that such a misreading passes unnoticed),
        at (what it moves most against the line), effect_m (by so much), touches (chance that the line touches
        then).
    parts : dict of str to array
        Covariance of the fills by 'scatter', 'unread', 'sideways' and those of `trackkit.study.parts.SHARED`
        that the survey has, shape (ends, ends) [m²].
    fills : array, shape (ends,)
        As they are planned [m].
    units : tuple of float
        What rods are misread by [m].
    rate : float
        Share of rods that are misread.
    """

    table: pd.DataFrame
    humps: pd.DataFrame
    misread: pd.DataFrame
    parts: dict[str, Array]
    fills: Array
    units: tuple[float, ...]
    rate: float

    @property
    def told(self) -> pd.DataFrame:
        """The table, less what does nothing: rods where none was read, the zero of a reversed phone."""
        least = np.where(self.table["cause"].isin(SHARED), _NOTHING, 0.0)
        return self.table[self.table["size_m"] > least]


@dataclass(frozen=True, eq=False)
class _Cleared:
    """What the line must clear, tie ends first, then obstacles: how high it lies above, on what that hangs.

    Attributes
    ----------
    above : array, shape (rows,)
        How high the line lies above each [m]; under a tie end that is its fill.
    room : array, shape (rows,)
        What each is to have again once it has touched [m].
    labels : tuple of str
    points : list of Point
    jacobian : array, shape (rows, points)
    ends : int
        How many are tie ends.
    touch : float
        What rises over the line by more touches [m].
    """

    above: Array
    room: Array
    labels: tuple[str, ...]
    points: list[Point]
    jacobian: Array
    ends: int
    touch: float

    def outcome(self, above: Array, weights: Array) -> tuple[float, str, float]:
        """Return the weight of the cases that touch, where most do, and the lift that they ask for.

        Cases are columns of ``above``, (rows, cases).
        """
        over = -above
        touching = over > self.touch
        cases = touching.any(axis=0)
        weight = float(weights[cases].sum())
        if weight == 0.0:
            return 0.0, "", 0.0
        deepest = np.bincount(over[:, cases].argmax(axis=0), weights=weights[cases])
        lifts = np.where(touching, over + self.room[:, None], -np.inf)[:, cases].max(axis=0)
        return weight, self.labels[int(deepest.argmax())], float(lifts @ weights[cases]) / weight


def _cleared(line: FinishedLine, held: FinishedLine, doubt: Doubt) -> _Cleared:
    """Return what a line must clear, hanging on what it is held by."""
    rows = line.resting.rows
    points = list(dict.fromkeys([*rows.points, *held.contacts]))
    place = {point: i for i, point in enumerate(points)}
    jacobian = np.zeros((len(rows.labels), len(points)))
    for share, contact in zip(held.weights_at(rows.stations).T, held.contacts, strict=True):
        jacobian[:, place[contact]] += share
    for share, point in zip(rows.parts.T, rows.points, strict=True):  # two ties in one place share a point
        jacobian[:, place[point]] -= share
    above = line.height(rows.stations) - (rows.heights - rows.room)
    raised = line.gap - float(rows.room[0])  # more gap than it was fitted with is more room over everything
    return _Cleared(above, rows.room + raised, rows.labels, points, jacobian, len(rows.ground), doubt.touch)


def find_causes(
    ground: Ground,
    line: FinishedLine,
    *,
    units: Sequence[float] = (0.1, 0.01),
    rate: float = MISREAD,
    doubt: Doubt | None = None,
    set_from: Point | None = None,
    likely: Sequence[tuple[float, Ground]] = (),
    draws: int = DRAWS,
    seed: int = 1,
) -> Causes:
    """Return what a hump nobody read, track laid sideways, a misread rod and the readings do to a line.

    Parameters
    ----------
    ground : Ground
    line : FinishedLine
    units : sequence of float
        What rods are misread by, each as often as the others: a decimetre and a centimetre, a foot and an
        inch [m].
    rate : float
        Share of rods that are misread. 1 in 200: guess.
    doubt : Doubt, optional
        By default that of the line.
    set_from : Point, optional
        The peg that the line is set from; by default it is set from what it rests on.
    likely : sequence of (share, Ground), optional
        The grounds of which the readings may be, see `trackkit.survey.likely.likely_grounds`; by default it
        is this ground for certain.
    draws, seed : int

    Raises
    ------
    ValueError
        If a unit is not above 0, or ``rate`` not between 0 and 1.
    """
    if not units or not all(unit > 0.0 for unit in units):
        raise ValueError(f"units must be above 0 m, at least one, got {list(units)}")
    if not 0.0 <= rate <= 1.0:
        raise ValueError(f"rate must lie between 0 and 1, got {rate}")
    doubt = doubt or line.doubt
    held = line if set_from is None else line.held_by(set_from)
    cleared = _cleared(line, held, doubt)
    sideways = sideways_covariance(ground, cleared.points, doubt, line.run.breaks, head=line.run.head)
    given = {**parts_of(ground, cleared.points, likely=likely), "sideways": sideways}
    whole = {name: cleared.jacobian @ part @ cleared.jacobian.T for name, part in given.items()}
    rows = [_of_part(name, part, cleared, draws, seed) for name, part in whole.items()]
    misread, told = _misread(ground, cleared, units, rate)
    columns = ["cause", "chance", "at", "size_m", "touches", "touches_at", "lift_m"]
    table = pd.DataFrame([*rows, told], columns=columns)
    order = {name: i for i, name in enumerate(CAUSES)}
    table = table.sort_values(
        ["touches", "cause"], key=lambda own: own.map(order) if own.name == "cause" else -own, kind="stable"
    ).reset_index(drop=True)
    ends = cleared.ends
    parts = {name: part[:ends, :ends] for name, part in whole.items()}
    humps = humps_between(ground, line, set_from=set_from, likely=likely)
    return Causes(table, humps, misread, parts, cleared.above[:ends], tuple(units), rate)


def _of_part(name: str, part: Array, cleared: _Cleared, draws: int, seed: int) -> _Row:
    """Return a row of the table for a part of the covariance of what is cleared."""
    sd = np.sqrt(np.maximum(np.diag(part), 0.0))
    worst = int(sd.argmax())
    values, vectors = np.linalg.eigh((part + part.T) / 2.0)
    half = vectors * np.sqrt(np.maximum(values, 0.0))
    drawn = half @ np.random.default_rng(seed).standard_normal((half.shape[1], draws))
    drawn += cleared.above[:, None]
    share, place, lift = cleared.outcome(drawn, np.full(draws, 1.0 / draws))
    if share < HARDLY:
        place, lift = "", 0.0
    return name, 1.0, cleared.labels[worst], _ONE_IN_20 * float(sd[worst]), share, place, lift


def _misread(
    ground: Ground, cleared: _Cleared, units: Sequence[float], rate: float
) -> tuple[pd.DataFrame, _Row]:
    """Return what each rod does if it was misread by each unit, and the row of them all."""
    from scipy.special import ndtr

    table = ground.residuals
    rods = np.flatnonzero(table["kind"].astype(str).str.startswith("rod"))  # on pegs and beside the run too
    if not rods.size:
        none = pd.DataFrame(columns=["reading", "unit_m", "unnoticed", "at", "effect_m", "touches"])
        return none, ("misread", 0.0, "", 0.0, 0.0, "", 0.0)
    share = np.maximum(table["redundancy"].to_numpy(dtype=float)[rods], 0.0)
    sd = table["sd_m"].to_numpy(dtype=float)[rods]
    limit = limits(ground)[rods]
    follows = cleared.jacobian @ influence(ground, cleared.points)[rods].T
    labels = np.array(cleared.labels, dtype=object)
    tables, ways = [], []
    for unit in units:
        shift = unit * np.sqrt(share) / sd
        either = cleared.above[:, None, None] + unit * np.stack([follows, -follows], axis=2)
        moved = np.abs(unit * follows)
        ways.append(either)
        tables.append(
            pd.DataFrame(
                {
                    "reading": table["reading"].to_numpy()[rods],
                    "unit_m": unit,
                    "unnoticed": ndtr(limit - shift) - ndtr(-limit - shift),
                    "at": labels[moved.argmax(axis=0)],
                    "effect_m": moved.max(axis=0),
                    "touches": (-either.min(axis=0) > cleared.touch).mean(axis=1),
                }
            )
        )
    found = pd.concat(tables, ignore_index=True)
    unnoticed, touches = found["unnoticed"].to_numpy(), found["touches"].to_numpy()
    each = rate / len(units)
    passes = float(1.0 - np.prod(1.0 - each * unnoticed))
    touched = float(1.0 - np.prod(1.0 - each * unnoticed * touches))
    place, lift = "", 0.0
    if touched >= HARDLY:
        cases = np.concatenate(ways, axis=1).reshape(len(labels), -1)  # each rod either way, one by one
        _, place, lift = cleared.outcome(cases, np.repeat(unnoticed, 2))
    most = int((found["effect_m"].to_numpy() * unnoticed).argmax())
    at, size = str(found["at"][most]), float(found["effect_m"][most])
    return found, ("misread", passes, at, size, touched, place, lift)
