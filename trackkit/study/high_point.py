"""How far the high point is off: the highest reading is too high, the highest fitted point too low.

Of many heights that are each right on average, the highest is the one that was lucky: it is too high on
average. The fit takes that luck out, and more: of points that are each uncertain, some one is higher than the
highest of their expected heights. A fill measured from a fixed reference needs neither correction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import Point
from trackkit.survey.ground import Ground
from trackkit.tables.rows import rows_of

__all__ = ["HighPoint", "expected_highest", "high_point", "raw_heights"]

Array = NDArray[np.float64]

DRAWS = 10_000


@dataclass(frozen=True)
class HighPoint:
    """The two figures for the high point's bias, with opposite signs; heights are above the line's grade.

    Attributes
    ----------
    raw : float
        Highest rod reading on the ground along the run, as a height above the line [m]; NaN without rods.
    raw_at : Point or None
        Where it was read.
    highest_read : float
        Expected height of the highest of the places that were read [m].
    reading_too_high : float
        ``raw - highest_read`` [m].
    fitted : float
        Highest fitted height of the tie ends [m].
    fitted_at : Point
        Where that is.
    highest : float
        Expected height of the highest tie end [m].
    fitted_too_low : float
        ``highest - fitted``: a line set on the fitted top would touch by that, on average [m]. 0 or more
        where the ground is of one kind for certain.
    sd : float
        How well the draws know both [m].
    """

    raw: float
    raw_at: Point | None
    highest_read: float
    reading_too_high: float
    fitted: float
    fitted_at: Point
    highest: float
    fitted_too_low: float
    sd: float


def expected_highest(
    mean: Array, covariance: Array, *, draws: int = DRAWS, seed: int = 1
) -> tuple[float, float]:
    """Return the expected height of the highest of several, and how well the draws know it [m].

    Parameters
    ----------
    mean, covariance : array, shape (n,) and (n, n)
        [m], [m²]
    draws, seed : int
        Each draw is taken with its mirror image, so that what moves all heights alike drops out.

    Examples
    --------
    >>> found, sd = expected_highest(np.zeros(2), np.eye(2))  # 1 / sqrt(pi) = 0.5642
    >>> abs(found - 0.5642) < 4 * sd
    True
    """
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2.0)
    half = vectors * np.sqrt(np.maximum(values, 0.0))
    off = half @ np.random.default_rng(seed).standard_normal((mean.size, draws))
    highest = ((mean[:, None] + off).max(axis=0) + (mean[:, None] - off).max(axis=0)) / 2.0
    return float(highest.mean()), float(highest.std() / np.sqrt(draws))


def raw_heights(ground: Ground) -> tuple[tuple[Point, ...], Array]:
    """Return where rods stood along the run, and the heights that they read, the lasers' heights as fitted.

    Returns
    -------
    points : tuple of (station, side)
        A place that was read twice comes twice; rods beside the two lines do not.
    heights : array, shape (points,)
        [m] above the datum.
    """
    table = ground.residuals
    rods = table[(table["kind"] == "rod") & table["station_m"].notna() & table["side"].isin(ground.sides)]
    points: list[Point] = [(float(row.station_m), str(row.side)) for row in rows_of(rods)]
    if not points:
        return (), np.zeros(0)
    # the larger the reading, the lower the ground: it was read higher by what was fitted less what was read
    return tuple(points), ground.mean(points) + rods["residual_m"].to_numpy(dtype=float)


def high_point(
    ground: Ground,
    line: FinishedLine,
    *,
    ends: Sequence[Point] | None = None,
    likely: Sequence[tuple[float, Ground]] = (),
    draws: int = DRAWS,
    seed: int = 1,
) -> HighPoint:
    """Return the two figures for the bias of the high point of a run.

    Parameters
    ----------
    ground : Ground
    line : FinishedLine
        Heights are taken above its shape, so that on a grade it is the governing point that counts.
    ends : sequence of Point, optional
        By default the tie ends.
    likely : sequence of (share, Ground), optional
        The grounds of which the readings may be, see `trackkit.survey.likely.likely_grounds`: what is to be
        expected of the highest is an average over them. By default it is this ground for certain.
    draws, seed : int
    """
    grounds = likely or ((1.0, ground),)
    run = line.run
    points = list(ends) if ends is not None else list(run.tie_points())
    under = _undersides(line, points)
    if ends is None:  # a tie at a joint has its own section's underside
        under += np.repeat(run.rail_top - run.ties["rail_top_m"].to_numpy(dtype=float), 2)
        under -= run.drop_at([float(point[0]) for point in points])
    fitted = ground.mean(points) - under
    highest, sd = _over(grounds, points, under, draws, seed)
    top = int(fitted.argmax())
    places, heights = raw_heights(ground)
    inside = [i for i, place in enumerate(places) if run.head <= float(place[0]) <= run.tail]
    raw, raw_at, read, read_sd = float("nan"), None, float("nan"), 0.0
    if inside:
        over = heights[inside] - _undersides(line, [places[i] for i in inside])
        best = int(over.argmax())
        raw, raw_at = float(over[best]), places[inside[best]]
        once = list(dict.fromkeys(places[i] for i in inside))
        read, read_sd = _over(grounds, once, _undersides(line, once), draws, seed)
    return HighPoint(
        raw, raw_at, read, raw - read, float(fitted[top]), points[top], highest,
        highest - float(fitted[top]), float(np.hypot(sd, read_sd)),
    )  # fmt: skip


def _over(
    grounds: Sequence[tuple[float, Ground]], points: Sequence[Point], under: Array, draws: int, seed: int
) -> tuple[float, float]:
    """Return the expected height of the highest point, on average over grounds, and how well it is known."""
    highest, variance = 0.0, 0.0
    for share, one in grounds:
        own, sd = expected_highest(one.mean(points) - under, one.covariance(points), draws=draws, seed=seed)
        highest += share * own
        variance += (share * sd) ** 2
    return highest, float(np.sqrt(variance))


def _undersides(line: FinishedLine, points: Sequence[Point]) -> Array:
    stations = [float(point[0]) for point in points]
    return np.asarray(line.height(stations) + line.run.drop_at(stations))
