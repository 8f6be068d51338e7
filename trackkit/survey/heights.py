"""Heights of points above the datum, with their covariance, out of the states that were fitted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from trackkit.survey.fitting import Fitted, Setting
from trackkit.survey.points import Point, PointRows, point_rows
from trackkit.survey.posterior import row_variance

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["Heights"]

Array = NDArray[np.float64]

#: How many answers of a kind are remembered, and of at most how many points each.
REMEMBERED: Final = 32
MOST_POINTS: Final = {"_point_rows": 1000, "_means": 1000, "_joint": 200}


@dataclass(frozen=True, eq=False)
class Heights:
    """Where points lie above the datum, and how sure that is.

    Attributes
    ----------
    setting, fitted : Setting, Fitted
        What was fitted, and the fit.
    datum : Point or None
        The point whose height is 0; None where benchmarks give the heights.
    inflation : float
        Factor on covariances of the surface, see `trackkit.survey.ground.Ground`.
    """

    setting: Setting
    fitted: Fitted
    datum: Point | None
    inflation: float

    def _recall(self, question: str, points: Sequence[Point]) -> Any:
        """Answer a question about points, from memory if it was asked a moment ago; not to be changed."""
        named = tuple(point if isinstance(point, str) else (point[0], point[1]) for point in points)
        if len(named) > MOST_POINTS[question]:
            return getattr(self, question)(named)
        return self._remembered[question](named)

    @cached_property
    def _remembered(self) -> dict[str, Callable[[tuple[Point, ...]], Any]]:
        """What was worked out last: a line that is moved asks for the same points again and again."""
        return {one: lru_cache(maxsize=REMEMBERED)(getattr(self, one)) for one in MOST_POINTS}

    def _rows(self, points: Sequence[Point]) -> PointRows:
        rows: PointRows = self._recall("_point_rows", points)
        return rows

    def _point_rows(self, points: tuple[Point, ...]) -> PointRows:
        return point_rows(self.setting.grid, self.setting.observations, points, self.fitted.roughness)

    def _joint(self, points: tuple[Point, ...]) -> Array:
        rows = self._rows(points)
        ground, border = self._less_datum(rows.ground.toarray(), rows.border.toarray())
        return np.asarray(self._factor(rows) * (self._spread(ground, border) + self._own(rows)))

    def _factor(self, rows: PointRows) -> float:
        return self.inflation if rows.surface.size else 1.0

    def widened_by(self, points: Sequence[Point]) -> float:
        """Return the factor on the covariance of points: `inflation`, but 1 for pegs alone.

        Ground that was estimated too smooth or too rough is under no peg.
        """
        return self._factor(self._rows(points))

    def _spread(self, ground: Array, border: Array) -> Array:
        """Return the covariance of dense combinations of states and border, shape (n, n)."""
        system = self.fitted.posterior.system
        beyond = system.beyond(ground, border)
        spread = ground @ system.solve_band(ground.T.copy()) + beyond @ system.border_covariance @ beyond.T
        return np.asarray((spread + spread.T) / 2.0)

    def _less_datum(self, ground: Array, border: Array) -> tuple[Array, Array]:
        """Return dense combinations less the datum's, so that they are heights above it."""
        if self.datum is None:
            return ground, border
        datum = self._rows([self.datum])
        return ground - datum.ground.toarray(), border - datum.border.toarray()

    def _own(self, rows: PointRows) -> Array:
        """Return the covariance that states and border leave open, above the datum, shape (n, n)."""
        own = rows.own_covariance(rows)
        if self.datum is None:
            return own
        datum = self._rows([self.datum])
        shared = rows.own_covariance(datum)
        return np.asarray(own - shared - shared.T + datum.own_covariance(datum))

    def covariance(self, points: Sequence[Point]) -> Array:
        """Return the covariance between points, shape (n, n) [m^2]."""
        return np.array(self._recall("_joint", points))

    def influence(self, points: Sequence[Point]) -> Array:
        """Return by how much each point moves for a metre of error in each row of the observations.

        Shape (rows, points); the roughness is taken as it was found.
        """
        observations, system = self.setting.observations, self.fitted.posterior.system
        rows = self._rows(points)
        ground, border = self._less_datum(rows.ground.toarray(), rows.border.toarray())
        beyond = system.beyond(observations.ground, observations.border)
        joint = observations.ground @ system.solve_band(ground.T.copy())
        joint = joint + beyond @ system.border_covariance @ system.beyond(ground, border).T
        return np.asarray(joint / self.fitted.posterior.sd[:, None] ** 2)

    def each(self, points: Sequence[Point]) -> tuple[Array, Array]:
        """Return means and variances of points in O(n)."""
        mean, variance = self._recall("_means", points)
        return mean.copy(), variance.copy()

    def _means(self, points: tuple[Point, ...]) -> tuple[Array, Array]:
        rows = self._rows(points)
        mean, variance = self.found(rows.ground, rows.border)
        variance = variance + rows.own_variance()
        if self.datum is not None:
            variance -= 2.0 * rows.own_covariance(self._rows([self.datum]))[:, 0]
            variance = np.where([p == self.datum for p in points], 0.0, variance)
        return mean + rows.fixed, np.asarray(rows.widening(self.inflation) ** 2 * variance)

    def found(self, ground: csr_array, border: csr_array, *, lifted: bool = True) -> tuple[Array, Array]:
        """Return means and variances of combinations of states and border, above the datum if lifted."""
        system = self.fitted.posterior.system
        state, unknown = self.fitted.state(self.setting), self.fitted.border(self.setting)
        mean = ground @ state + border @ unknown
        variance = row_variance(system, ground, border)
        if lifted and self.datum is not None:
            at = self._rows([self.datum])
            pull = system.border_covariance @ system.beyond(at.ground, at.border)[0]
            column = system.solve_band(at.ground.toarray()[0]) + system.reach @ pull
            joint = ground @ column - border @ pull[: border.shape[1]]
            mean = mean - (at.ground @ state + at.border @ unknown)[0]
            variance = variance - 2.0 * joint + row_variance(system, at.ground, at.border) + at.own_variance()
        return np.asarray(mean), np.asarray(variance)
