"""The ground under both sides of the track, fitted to all readings at once, with its covariance.

::

    laser plane  - - - - - - - - - - - - - - -
                      |          |  rod reading: larger is lower
    surface      ~~~~~o~~~~~~~~~~o~~~~~~~~~~~~   height above the datum, up positive
    start mark   0 m            station -> end mark
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from trackkit.problems import FitError
from trackkit.survey.estimating import estimate_sd
from trackkit.survey.fitting import Fitted, Setting, fit_rows, make_setting, with_datum
from trackkit.survey.grid import Break
from trackkit.survey.heights import Heights
from trackkit.survey.instruments import Instruments
from trackkit.survey.observe import breaks_of, grid_of, observe
from trackkit.survey.points import Point, point_rows
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import Survey
from trackkit.survey.residuals import residual_table
from trackkit.survey.roughness import Roughness
from trackkit.survey.rows import Observations
from trackkit.survey.tape import has_taped, levelled_out

__all__ = ["Ground", "Point", "fit_ground"]

Array = NDArray[np.float64]

#: The normal distribution's 97.5 % point.
NORMAL_97_5 = 1.959963984540054


@dataclass(frozen=True)
class Ground:
    """The fitted ground.

    Attributes
    ----------
    setting, fitted : Setting, Fitted
        What was fitted, and the fit.
    width : float
        Distance between the two sides [m].
    datum : Point or None
        The point whose height is 0; None where benchmarks give the heights.
    instruments : Instruments
        Standard deviations that were used.
    inflation : float
        Factor on covariances of the surface: (Student's t / 1.96)^2 where the roughness was
        estimated. Pegs and laser positions have none: the roughness hardly touches them.
    dof : int
        Readings minus unknowns that only readings determine.
    survey : Survey
        The readings, with stations levelled out where they were taped on the slope.
    estimated : str
        Which of the instruments' standard deviations was estimated, '' if none was.
    sd_checks : array, shape (rows,), or None
        How many readings to spare each row's standard deviation was estimated from; infinite where it was
        stated, None if all were.
    """

    setting: Setting
    fitted: Fitted
    width: float
    datum: Point | None
    instruments: Instruments
    inflation: float
    dof: int
    survey: Survey
    estimated: str = ""
    sd_checks: Array | None = None

    @property
    def roughness(self) -> Roughness:
        """Roughness of the ground, and what of it was estimated."""
        return self.fitted.roughness

    @property
    def stations(self) -> Array:
        """Stations of the nodes [m]."""
        return self.setting.grid.stations

    @property
    def sides(self) -> tuple[str, ...]:
        """Sides that have readings."""
        return self.setting.grid.sides

    @cached_property
    def residuals(self) -> pd.DataFrame:
        """One row a reading; see `residual_table` for its columns."""
        return residual_table(self.setting, self.fitted, self.sd_checks)

    @cached_property
    def doubtful(self) -> pd.DataFrame:
        """The readings in doubt, the worst first.

        Columns as in ``residuals``, and for rods read_m and others_m: what was read, and what a fit without
        the reading makes of it (NaN for other kinds).
        """
        rods = self.survey.levels.drop_duplicates("reading").set_index("reading")["rod_m"]
        read = self.residuals["reading"].map(rods).astype(float)
        table = self.residuals.assign(read_m=read, others_m=read + self.residuals["off_m"])
        found = table[table["doubtful"]]
        worst = found["w_without"].fillna(found["w"]).abs()
        return found.loc[worst.sort_values(ascending=False, kind="stable").index]

    def height(self, station: ArrayLike, side: str | Sequence[str]) -> tuple[Array, Array]:
        """Return mean height and standard deviation of the surface.

        Parameters
        ----------
        station : float or array, shape (n,)
            Stations [m]; outside the surveyed stretch the last slope is carried on, with growing
            doubt.
        side : str or sequence of str
            'left' or 'right'.

        Returns
        -------
        mean, sd : float or array, shape (n,)
            [m] above the datum.

        Raises
        ------
        ValueError
            If a side was never read.
        """
        at = np.atleast_1d(np.asarray(station, dtype=float))
        named = [side] * at.size if isinstance(side, str) else list(side)
        mean, variance = self.heights.each([(float(s), name) for s, name in zip(at, named, strict=True)])
        sd = np.sqrt(np.maximum(variance, 0.0))
        if np.ndim(station) == 0:
            return mean[0], sd[0]
        return mean, sd

    def point(self, name: str) -> tuple[float, float]:
        """Return mean height and standard deviation of a peg [m]; KeyError if it was never read."""
        mean, variance = self.heights.each([name])
        return float(mean[0]), float(np.sqrt(max(variance[0], 0.0)))

    def mean(self, points: Sequence[Point]) -> Array:
        """Return the mean heights of points, shape (n,) [m]."""
        return self.heights.each(points)[0]

    def covariance(self, points: Sequence[Point]) -> Array:
        """Return the covariance between points, shape (n, n) [m^2].

        Where roughness was estimated it is widened for points of the ground. Pegs asked for together with
        them are widened alike: what all of them share, such as a doubtful datum, then drops out of every
        difference.
        """
        return self.heights.covariance(points)

    def draw(self, points: Sequence[Point], n: int, seed: int) -> Array:
        """Return n draws of the heights of points from their joint distribution, shape (n, points)."""
        values, vectors = np.linalg.eigh(self.covariance(points))
        half = vectors * np.sqrt(np.maximum(values, 0.0))
        normals = np.random.default_rng(seed).standard_normal((n, values.size))
        return np.asarray(self.mean(points) + normals @ half.T)

    @cached_property
    def lasers(self) -> pd.DataFrame:
        """Heights of the laser positions: laser, height_m, sd_m."""
        return self._unknowns("laser")

    @cached_property
    def pegs(self) -> pd.DataFrame:
        """Heights of the pegs that are not held fixed: peg, height_m, sd_m."""
        return self._unknowns("peg")

    @cached_property
    def zero_errors(self) -> pd.DataFrame:
        """Zero errors of angle instruments and slopes of lines of sight: instrument, zero_rad, sd_rad."""
        found = self._unknowns("zero", lifted=False)
        return found.rename(columns={"zero": "instrument", "height_m": "zero_rad", "sd_m": "sd_rad"})

    @cached_property
    def drifts(self) -> pd.DataFrame:
        """Zero errors at the knots along the passes of logs: drift, zero_rad, sd_rad (see ``wander.py``)."""
        found = self._unknowns("drift", lifted=False)
        return found.rename(columns={"height_m": "zero_rad", "sd_m": "sd_rad"})

    def _unknowns(self, kind: str, *, lifted: bool = True) -> pd.DataFrame:
        from scipy.sparse import csr_array, eye_array

        observations = self.setting.observations
        names = [name for k, name in observations.names if k == kind]
        which = [observations.border_index(kind, name) for name in names]
        border = eye_array(len(observations.names), format="csr")[which]
        ground = csr_array((len(names), self.setting.grid.size))
        mean, variance = self.heights.found(ground, border, lifted=lifted)
        return pd.DataFrame({kind: names, "height_m": mean, "sd_m": np.sqrt(np.maximum(variance, 0.0))})

    @cached_property
    def heights(self) -> Heights:
        """The heights of points as this fit has them; they remember what they were asked last."""
        return Heights(self.setting, self.fitted, self.datum, self.inflation)

    def __getstate__(self) -> dict[str, object]:
        """Leave out what is remembered: a copy works it out anew."""
        return {key: value for key, value in vars(self).items() if key != "heights"}


def fit_ground(
    survey: Survey,
    *,
    stations: ArrayLike | None = None,
    instruments: Instruments | None = None,
    ground_type: GroundType | None = None,
    width: float = 0.62,
    breaks: Sequence[Break] | None = None,
    datum: Point | None = None,
    smooth_ties: bool = False,
    estimate: str = "",
) -> Ground:
    """Fit the ground under both sides to all readings at once.

    The surface is a smooth profile with relief on top (see ``prior.py``); all readings are linear
    in it (see ``observe.py``). Instruments' standard deviations are stated, but for one that may be
    estimated on request; the roughness is estimated from the readings unless it is stated too.

    Parameters
    ----------
    survey : Survey
        From `read_survey`.
    stations : array, optional
        Further stations that get a node of their own, such as those of ties [m].
    instruments : Instruments, optional
        Standard deviations of single readings.
    ground_type : GroundType, optional
        Stated roughness; what is None in it is estimated.
    width : float
        Distance between the two sides [m].
    breaks : sequence of Break, optional
        Instead of the survey's own.
    datum : point, optional
        Point of height 0 where no benchmark is given: (station, side) or a peg's name. By default
        the first peg that was read, else the first reading's point.
    smooth_ties : bool
        Allow laser positions that only the ground's smoothness joins.
    estimate : {'', 'rod_sd', 'angle_sd'}
        A standard deviation to estimate from the readings; see ``estimating.py``.

    Returns
    -------
    Ground

    Raises
    ------
    FitError
        If there is no reading, or heights that no reading determines; the message names them
        and says what to read.
    """
    instruments = instruments or Instruments()
    ground_type = ground_type or GroundType()
    edges = tuple(breaks) if breaks is not None else breaks_of(survey)
    asked = np.zeros(0) if stations is None else np.asarray(stations, dtype=float)

    def once(current: Survey, instruments: Instruments) -> Ground:
        relief = ground_type.relief != 0
        grid = grid_of(current, asked, relief=relief, breaks=edges)
        rows = observe(current, grid, instruments, width=width, breaks=edges)
        if not rows.value.size:
            raise FitError(
                "there is no reading: give levels.csv, boards.csv, crosslevels.csv, differences.csv "
                "or phone_log.csv"
            )
        known = bool(rows.fixed) or bool((rows.table["kind"] == "benchmark").any())
        setting = make_setting(
            grid,
            rows,
            ground_type,
            station_sd=instruments.station_sd,
            level_is_free=not known,
            smooth_ties=smooth_ties,
        )
        chosen = None if known else (datum if datum is not None else _first_point(rows, setting))
        return _finish(setting, chosen, width, instruments, current)

    flat = levelled_out(survey, once(survey, instruments)) if has_taped(survey) else survey
    if estimate:
        return estimate_sd(lambda sds: once(flat, sds), instruments, estimate, flat)
    return once(flat, instruments)


def _first_point(rows: Observations, setting: Setting) -> Point:
    """Return the first peg, else the first place that was read."""
    pegs = [name for kind, name in rows.names if kind == "peg"]
    if pegs:
        return pegs[0]
    first = rows.table[rows.table["station_m"].notna()].iloc[0]
    return (float(first["station_m"]), str(first["side"]) or setting.grid.sides[0])


def _finish(
    setting: Setting, datum: Point | None, width: float, instruments: Instruments, survey: Survey
) -> Ground:
    """Hold the datum at the height it starts from, fit, and widen by what estimating roughness costs."""
    from scipy.special import stdtrit

    dof = int(setting.observations.table["counts"].sum()) - setting.improper
    if datum is not None:
        at = point_rows(setting.grid, setting.observations, [datum], None)
        level = float((at.ground @ setting.start_state + at.border @ setting.start_border)[0])
        setting = replace(setting, observations=with_datum(setting.observations, at, level))
    fitted = fit_rows(setting)
    inflation = 1.0
    if fitted.roughness.estimated:
        inflation = float(stdtrit(max(dof, 1), 0.975) / NORMAL_97_5) ** 2
    return Ground(setting, fitted, width, datum, instruments, inflation, dof, survey)
