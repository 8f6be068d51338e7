"""How well fills are known, and the chance that track touches ground that is higher than expected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from trackkit.layout.footing import slope_across
from trackkit.layout.grounds import FloatArray, GroundLike, Point

if TYPE_CHECKING:
    from trackkit.layout.finished import FinishedLine
    from trackkit.layout.laid import Run

__all__ = [
    "Doubt",
    "FillModel",
    "chance_any_touches",
    "deepest_ends",
    "extra_gap",
    "fill_model",
    "point_covariance",
    "rise_to_clear",
    "sideways_covariance",
    "touch_chances",
]

#: Added to the diagonal, relative to the greatest variance, so that fills known exactly (a
#: contact's own) do not stop the factorisation: a thousandth of a per cent of the greatest sd.
_JITTER: Final = 1e-10


@dataclass(frozen=True)
class Doubt:
    """What sd and chances of fills are worked out with. All of it can be changed.

    Attributes
    ----------
    touch : float
        Ground higher than the tie's underside by more than this touches [m]. 3 mm: guess.
    sideways_sd : float
        How far off the surveyed line the track is laid sideways, sd [m]. 0.1 m: guess. With the
        ground's cross-slope it moves all fills of a stretch together.
    sideways_length : float
        Distance over which that offset changes [m]: its correlation over a distance d is
        ``exp(-(d / sideways_length)² / 2)``. 10 m, about one run: guess.
    width : float
        Distance between the two support lines of the ground [m]. 0.62 m: common practice.
    draws : int
        Draws of the fills for the chance that any touches. A chance p from n draws is itself
        known to ``sqrt(p (1 - p) / n)``: 0.2 % at 5 % and 10,000 draws.
    seed : int
        Of those draws: the same input gives the same answer.
    """

    touch: float = 0.003
    sideways_sd: float = 0.10
    sideways_length: float = 10.0
    width: float = 0.62
    draws: int = 10_000
    seed: int = 1

    def __post_init__(self) -> None:
        for what in ("touch", "sideways_sd"):
            if not getattr(self, what) >= 0:
                raise ValueError(f"{what} must be 0 m or more, got {getattr(self, what)}")
        for what in ("sideways_length", "width", "draws"):
            if not getattr(self, what) > 0:
                raise ValueError(f"{what} must be above 0, got {getattr(self, what)}")


@dataclass(frozen=True)
class FillModel:
    """Fills at the tie ends as a linear function of ground heights, tie by tie, left before right.

    ``fill = jacobian @ (heights of points) + constant``.

    Attributes
    ----------
    points : tuple of Point
        Tie ends first, then contacts that are none.
    fills, ground, line : array, shape (2 * ties,)
        Expected fill, ground and tie underside [m].
    jacobian : array, shape (2 * ties, points)
        Change of a fill with the ground's height at each point.
    covariance : array, shape (2 * ties, 2 * ties)
        Of the fills [m²].
    """

    points: tuple[Point, ...]
    fills: FloatArray
    ground: FloatArray
    line: FloatArray
    jacobian: FloatArray
    covariance: FloatArray

    @property
    def sd(self) -> FloatArray:
        """Standard deviation of each fill [m]."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))


def point_covariance(
    ground: GroundLike,
    points: Sequence[Point],
    doubt: Doubt,
    breaks: Sequence[tuple[float, float]] = (),
    *,
    head: float = -np.inf,
) -> FloatArray:
    """Return the covariance of the ground under the track as it will really lie, shape (n, n) [m²].

    That is the ground's own, plus what track laid sideways adds: cross-slope times offset, for
    the two sides of a tie alike. A peg does not move with the track. No cross-slope is taken over one of
    the ``breaks`` (`trackkit.layout.footing.slope_across`); where a break leaves none to be known, that
    of the nearest point counts.
    """
    own = np.asarray(ground.covariance(list(points)), dtype=float)
    return own + sideways_covariance(ground, points, doubt, breaks, head=head)


def sideways_covariance(
    ground: GroundLike,
    points: Sequence[Point],
    doubt: Doubt,
    breaks: Sequence[tuple[float, float]] = (),
    *,
    head: float = -np.inf,
) -> FloatArray:
    """Return what track laid sideways adds in `point_covariance`, shape (n, n) [m²].

    Cross-slope times offset. The cross-slope is that of the fitted ground, taken as it is: readings may
    change it. How far off its line the track will be laid no reading of the ground tells, so none makes that
    less doubtful.

    Parameters
    ----------
    ground : GroundLike
    points : sequence of Point, length n
        Pegs among them do not move with the track: their rows and columns are 0.
    doubt : Doubt
        The offset's sd, the distance over which it changes, and the width that cross-slopes are taken over.
    breaks : sequence of (left station, right station)
        Where the ground breaks off, see `trackkit.layout.footing.slope_across` [m]. Where one leaves no
        cross-slope to be known, that of the nearest point counts.
    head : float
        Of the run: there both rails are taken to stand on the same ground [m].
    """
    covariance = np.zeros((len(points), len(points)))
    if doubt.sideways_sd == 0:
        return covariance
    rows = [i for i, point in enumerate(points) if not isinstance(point, str)]
    stations = np.array([float(points[i][0]) for i in rows])
    sides = [points[i][1] for i in rows]
    slope = _nearest_known(
        stations, np.tan(slope_across(ground, stations, sides, breaks, width=doubt.width, head=head))
    )
    apart = (stations[:, None] - stations[None, :]) / doubt.sideways_length
    moved = doubt.sideways_sd * slope
    covariance[np.ix_(rows, rows)] = np.outer(moved, moved) * np.exp(-0.5 * apart**2)
    return covariance


def _nearest_known(stations: FloatArray, values: FloatArray) -> FloatArray:
    """Return the values, each that is NaN replaced by the one known nearest to it; 0 if none is."""
    known = np.isfinite(values)
    if known.all() or not known.any():
        return np.nan_to_num(values)
    nearest = np.abs(stations[:, None] - stations[known][None, :]).argmin(axis=1)
    return np.asarray(np.where(known, values, values[known][nearest]))


def fill_model(ground: GroundLike, run: Run, line: FinishedLine, *, doubt: Doubt | None = None) -> FillModel:
    """Return the fills with their covariance, and what they hang on."""
    doubt = doubt or line.doubt
    ends = run.tie_points()
    points = tuple(dict.fromkeys([*ends, *line.contacts]))
    place = {point: i for i, point in enumerate(points)}
    stations = np.repeat(run.ties["station_m"].to_numpy(dtype=float), 2)
    drops = np.repeat(run.rail_top - run.ties["rail_top_m"].to_numpy(dtype=float), 2)
    jacobian = np.zeros((len(ends), len(points)))
    weights = line.weights_at(stations)
    for column, contact in enumerate(line.contacts):
        jacobian[:, place[contact]] += weights[:, column]
    jacobian[np.arange(len(ends)), [place[end] for end in ends]] -= 1.0
    under = line.height(stations) + drops
    below = np.asarray(ground.mean(ends), dtype=float)
    covariance = jacobian @ point_covariance(ground, points, doubt, run.breaks, head=run.head) @ jacobian.T
    return FillModel(points, under - below, below, under, jacobian, (covariance + covariance.T) / 2)


def touch_chances(fills: npt.ArrayLike, sd: npt.ArrayLike, *, touch: float) -> FloatArray:
    """Return the chance, tie end by tie end, that the ground is over the underside by more than ``touch``.

    Examples
    --------
    >>> touch_chances([0.012, -0.003, 0.0], [0.0, 0.002, 0.0], touch=0.003).tolist()
    [0.0, 0.5, 0.0]
    """
    from scipy.special import ndtr

    f, s = np.asarray(fills, dtype=float), np.asarray(sd, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = ndtr((-touch - f) / s)
    return np.where(s > 0, chance, (f < -touch).astype(float))


def chance_any_touches(
    fills: npt.ArrayLike, covariance: npt.ArrayLike, *, touch: float, draws: int, seed: int
) -> float:
    """Return the chance that at least one tie end touches, from draws of the fills together."""
    deepest = deepest_ends(fills, covariance, draws=draws, seed=seed)
    return float(np.mean(deepest > touch))


def extra_gap(
    fills: npt.ArrayLike,
    covariance: npt.ArrayLike,
    *,
    confidence: float,
    touch: float,
    draws: int,
    seed: int,
) -> float:
    """Return how much higher the track must lie for no tie end to touch, with this confidence [m].

    Worked from draws of all fills together: the quantile of the deepest one. Raising each tie end
    by some number of its own sd would ignore that many ends share their doubt, and raising by the
    sd of heights would depend on the datum; fills know none.

    Parameters
    ----------
    fills : array, shape (n,)
        Expected fills [m].
    covariance : array, shape (n, n)
        Of the fills [m²].
    confidence : float
        Between 0 and 1: 0.95 leaves 1 chance in 20 that some tie end touches.
    touch, draws, seed
        See `Doubt`.

    Returns
    -------
    float
        0 when the track lies high enough already.

    Raises
    ------
    ValueError
        If ``confidence`` is not between 0 and 1.
    """
    return rise_to_clear(
        deepest_ends(fills, covariance, draws=draws, seed=seed), confidence=confidence, touch=touch
    )


def rise_to_clear(deepest: FloatArray, *, confidence: float, touch: float) -> float:
    """Return `extra_gap` from draws that `deepest_ends` has made."""
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, got {confidence}")
    return max(0.0, float(np.quantile(deepest, confidence, method="higher")) - touch)


def deepest_ends(fills: npt.ArrayLike, covariance: npt.ArrayLike, *, draws: int, seed: int) -> FloatArray:
    """Return, draw by draw, how far the ground rises over the undersides at its worst, (draws,) [m]."""
    f, c = np.asarray(fills, dtype=float), np.asarray(covariance, dtype=float)
    scale = float(np.max(np.diag(c), initial=0.0))
    if scale == 0:
        return np.full(draws, -float(f.min()))
    try:
        root = np.linalg.cholesky(c + np.eye(len(f)) * scale * _JITTER)
    except np.linalg.LinAlgError:  # a very doubtful datum has left more rounding than that
        values, vectors = np.linalg.eigh(c)
        root = vectors * np.sqrt(np.maximum(values, 0.0))
    drawn = root @ _normals(draws, len(f), seed)
    drawn += f[:, None]
    return np.asarray(-drawn.min(axis=0))


@lru_cache(maxsize=2)
def _normals(draws: int, count: int, seed: int) -> FloatArray:
    """Return standard normal draws, (count, draws); a line that is moved is tried against the same again."""
    normals = np.ascontiguousarray(np.random.default_rng(seed).standard_normal((draws, count)).T)
    normals.flags.writeable = False
    return normals
