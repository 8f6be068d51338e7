"""What really goes wrong on the day, beside the scatter of the readings.

The doubt of a fill has parts that a crew can do different things about: the readings' own scatter, ground
that nobody read between them, and track that is laid beside the line that was read. The first two add up to
the fit's covariance, exactly (the two terms of Joseph's form of a linear update). A rod that was misread
without being noticed is in none of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.layout.doubt import Doubt, fill_model, point_covariance
from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import SIDES, Point
from trackkit.survey.ground import Ground
from trackkit.survey.quality.detectable import influence, limits

__all__ = ["CAUSES", "MISREAD", "Causes", "find_causes", "humps_between", "parts_of"]

Array = NDArray[np.float64]

#: What each part is called.
CAUSES: Final = {
    "unread": "a hump that nobody read",
    "sideways": "track laid beside the line that was read",
    "misread": "a rod that was misread",
    "scatter": "the scatter of the readings",
}
#: Of so many rods one is misread by a whole unit: 1 in 200. Guess.
MISREAD: Final = 0.005
#: Where the ground between readings is looked at [m].
STEP: Final = 0.1
DRAWS: Final = 10_000
#: A smaller chance of touching is hardly any: nothing is told of what it would cost.
HARDLY: Final = 0.005
#: One chance in 20 lies beyond so many standard deviations on one side.
_ONE_IN_20: Final = 1.6448536269514722


@dataclass(frozen=True, eq=False)
class Causes:
    """What each cause does to the fills of a line.

    Attributes
    ----------
    table : DataFrame
        One row a cause, the one that touches most often first: cause (a key of `CAUSES`), chance (that it
        happens at all: 1 but for a misread rod), at (tie end where it does most), size_m (what it does
        there: 1 time in 20 more than this; the misread rod that does most, weighed by its chance to pass
        unnoticed), touches (chance that
        the line touches for this cause alone), touches_at (where it then touches most often; '' where hardly
        ever), lift_m (how much higher the line has to be then for its gap to be back, on average over the
        cases that touch; 0 where hardly any does).
    humps : DataFrame
        See `humps_between`.
    misread : DataFrame
        One row a rod and unit: reading, unit_m, unnoticed (chance that such a misreading passes unnoticed),
        at (tie end that it moves most), effect_m (by so much), touches (chance that the line touches then).
    parts : dict of str to array
        Covariance of the fills by 'scatter', 'unread' and 'sideways', shape (ends, ends) [m²].
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


def parts_of(ground: Ground, points: list[Point]) -> tuple[Array, Array]:
    """Return what the readings' scatter and the unread ground have in the covariance of points [m²].

    Returns
    -------
    scatter, unread : array, shape (n, n)
        They add up to ``ground.covariance(points)``.
    """
    whole = np.asarray(ground.covariance(points))
    sd = ground.fitted.posterior.sd
    moved = ground.heights.influence(points) * sd[:, None]
    scatter = ground.inflation * (moved.T @ moved)
    return scatter, whole - scatter


def find_causes(
    ground: Ground,
    line: FinishedLine,
    *,
    units: Sequence[float] = (0.1, 0.01),
    rate: float = MISREAD,
    doubt: Doubt | None = None,
    set_from: Point | None = None,
    draws: int = DRAWS,
    seed: int = 1,
) -> Causes:
    """Return what a hump nobody read, track laid sideways, a misread rod and scatter do to a line.

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
    run = line.run
    held = line if set_from is None else line.held_by(set_from)
    model = fill_model(ground, run, held, doubt=doubt)
    points, jacobian = list(model.points), model.jacobian
    scatter, unread = parts_of(ground, points)
    whole = np.asarray(ground.covariance(points))
    sideways = point_covariance(ground, points, doubt, run.breaks, head=run.head) - whole
    given = {"scatter": scatter, "unread": unread, "sideways": sideways}
    parts = {name: jacobian @ part @ jacobian.T for name, part in given.items()}
    labels = [f"tie {tie} {side}" for tie in run.ties["tie"] for side in SIDES]
    on_day = (model.fills, labels, doubt.touch, line.gap)
    rows = [_of_part(name, part, *on_day, draws, seed) for name, part in parts.items()]
    misread, told = _misread(ground, points, jacobian, *on_day, units, rate)
    columns = ["cause", "chance", "at", "size_m", "touches", "touches_at", "lift_m"]
    table = pd.DataFrame([*rows, told], columns=columns)
    order = {name: i for i, name in enumerate(CAUSES)}
    table = table.sort_values(
        ["touches", "cause"], key=lambda own: own.map(order) if own.name == "cause" else -own, kind="stable"
    ).reset_index(drop=True)
    return Causes(
        table, humps_between(ground, line, set_from=set_from), misread, parts, model.fills, tuple(units), rate
    )


def _of_part(
    name: str, part: Array, fills: Array, labels: list[str], touch: float, gap: float, draws: int, seed: int
) -> tuple[str, float, str, float, float, str, float]:
    """Return a row of the table for a part of the covariance."""
    sd = np.sqrt(np.maximum(np.diag(part), 0.0))
    worst = int(sd.argmax())
    values, vectors = np.linalg.eigh((part + part.T) / 2.0)
    half = vectors * np.sqrt(np.maximum(values, 0.0))
    drawn = half @ np.random.default_rng(seed).standard_normal((half.shape[1], draws))
    drawn += fills[:, None]
    lowest = drawn.argmin(axis=0)
    deepest = -drawn[lowest, np.arange(draws)]
    touches = deepest > touch
    share, place, lift = float(touches.mean()), "", 0.0
    if share >= HARDLY:
        place = labels[int(np.bincount(lowest[touches]).argmax())]
        lift = float(deepest[touches].mean()) + gap
    return name, 1.0, labels[worst], _ONE_IN_20 * float(sd[worst]), share, place, lift


def _misread(
    ground: Ground,
    points: list[Point],
    jacobian: Array,
    fills: Array,
    labels: list[str],
    touch: float,
    gap: float,
    units: Sequence[float],
    rate: float,
) -> tuple[pd.DataFrame, tuple[str, float, str, float, float, str, float]]:
    """Return what each rod does to the fills if it was misread by each unit, and the row of them all."""
    from scipy.special import ndtr

    table = ground.residuals
    rods = np.flatnonzero(table["kind"].astype(str).str.startswith("rod"))  # on pegs and beside the run too
    if not rods.size:
        none = pd.DataFrame(columns=["reading", "unit_m", "unnoticed", "at", "effect_m", "touches"])
        return none, ("misread", 0.0, "", 0.0, 0.0, "", 0.0)
    share = np.maximum(table["redundancy"].to_numpy(dtype=float)[rods], 0.0)
    sd = table["sd_m"].to_numpy(dtype=float)[rods]
    limit = limits(ground)[rods]
    follows = influence(ground, points)[rods] @ jacobian.T
    tables, deepest, places = [], [], []
    for unit in units:
        shift = unit * np.sqrt(share) / sd
        moved = unit * follows
        ways = np.stack([fills + moved, fills - moved])  # misread either way
        deep = -ways.min(axis=2)
        deepest.append(deep)
        places.append(ways.argmin(axis=2))
        tables.append(
            pd.DataFrame(
                {
                    "reading": table["reading"].to_numpy()[rods],
                    "unit_m": unit,
                    "unnoticed": ndtr(limit - shift) - ndtr(-limit - shift),
                    "at": np.array(labels, dtype=object)[np.abs(moved).argmax(axis=1)],
                    "effect_m": np.abs(moved).max(axis=1),
                    "touches": (deep > touch).mean(axis=0),
                }
            )
        )
    found = pd.concat(tables, ignore_index=True)
    unnoticed, touches = found["unnoticed"].to_numpy(), found["touches"].to_numpy()
    each = rate / len(units)
    passes = float(1.0 - np.prod(1.0 - each * unnoticed))
    touched = float(1.0 - np.prod(1.0 - each * unnoticed * touches))
    deep = np.concatenate(deepest, axis=1)
    cases = (deep > touch) * unnoticed
    place, lift = "", 0.0
    if touched >= HARDLY:
        where = np.bincount(np.concatenate(places, axis=1).ravel(), weights=cases.ravel())
        place = labels[int(where.argmax())]
        lift = float((cases * deep).sum() / cases.sum()) + gap
    most = int((found["effect_m"].to_numpy() * unnoticed).argmax())
    at, size = str(found["at"][most]), float(found["effect_m"][most])
    return found, ("misread", passes, at, size, touched, place, lift)


def humps_between(
    ground: Ground, line: FinishedLine, *, step: float = STEP, set_from: Point | None = None
) -> pd.DataFrame:
    """Return how high the ground may be where nobody read it, gap by gap.

    Parameters
    ----------
    ground : Ground
    line : FinishedLine
    step : float
        Distance of the places that are looked at [m].
    set_from : Point, optional
        See `find_causes`.

    Returns
    -------
    DataFrame
        One row a gap between two places read under one rail, that with the likeliest touch first: side,
        from_m, to_m (the places read, or the first and last tie), station_m (where the ground is likeliest to
        touch, were there a tie), hump_m (1 time in 20 it is higher than fitted by more than this, for want of
        a reading), room_m (between line and fitted ground there), chance (that it touches there).
    """
    from scipy.special import ndtr

    run, doubt = line.run, line.doubt
    ties = run.ties["station_m"].to_numpy(dtype=float)
    head, tail = float(ties[0]), float(ties[-1])
    held = line if set_from is None else line.held_by(set_from)
    table = ground.setting.observations.table
    places = table[table["station_m"].notna()]
    rows = []
    for side in ground.sides:
        mine = places[places["side"].isin([side, ""])]
        own = mine[["station_m", "to_station_m"]].to_numpy(dtype=float)  # NaN lies nowhere
        inside = np.unique(np.round(own[(own > head) & (own < tail)], 6))
        edges = np.concatenate([[head], inside, [tail]])
        count = max(int(np.ceil((tail - head) / step)), 1)
        at = np.unique(np.concatenate([np.linspace(head, tail, count + 1), edges]))
        points: list[Point] = [(float(s), side) for s in at]
        every = list(dict.fromkeys([*points, *held.contacts]))
        weights = np.zeros((len(at), len(every)))
        for column, contact in enumerate(held.contacts):
            weights[:, every.index(contact)] += held.weights_at(at)[:, column]
        weights[np.arange(len(at)), [every.index(point) for point in points]] -= 1.0
        _, unread = parts_of(ground, every)
        sd = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", weights, unread, weights), 0.0))
        room = line.height(at) + run.drop_at(at) - np.asarray(ground.mean(points))
        with np.errstate(divide="ignore", invalid="ignore"):
            chance = np.where(sd > 0.0, ndtr((-doubt.touch - room) / sd), (room < -doubt.touch).astype(float))
        for start, stop in pairwise(edges):
            within = np.flatnonzero((at >= start) & (at <= stop))
            if not within.size or stop - start < 1e-9:
                continue
            # the likeliest place; where none can touch, the one that is known worst
            best = within[int(np.lexsort((sd[within], chance[within]))[-1])]
            rows.append(
                (side, start, stop, at[best], _ONE_IN_20 * sd[within].max(), room[best], chance[best])
            )
    columns = ["side", "from_m", "to_m", "station_m", "hump_m", "room_m", "chance"]
    found = pd.DataFrame(rows, columns=columns)
    return found.sort_values(["chance", "hump_m"], ascending=False, kind="stable").reset_index(drop=True)
