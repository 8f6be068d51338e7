"""What a survey will be worth, before any reading is taken.

How well heights will be known does not depend on what will be read, only on where, with what, and on how
rough the ground is. So the fit is made of readings that say nothing, on a ground whose roughness is stated.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from trackkit.survey.ground import Ground, fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import Survey, make_survey

__all__ = [
    "GROUNDS",
    "WITH",
    "Worth",
    "planned_ground",
    "planned_readings",
    "sds_against",
    "survey_worth",
    "worth_table",
]

Array = NDArray[np.float64]

#: Kinds of ground by how rough they are; all guesses, to be replaced by what a survey there has found.
GROUNDS: Final[Mapping[str, GroundType]] = {
    "paving": GroundType(q_mean=1e-6, q_twist=2.5e-7, relief=0.0005),
    "lawn": GroundType(q_mean=1e-5, q_twist=2.5e-6, relief=0.002),
    "rough grass": GroundType(q_mean=5e-5, q_twist=1.25e-5, relief=0.005),
}
#: What the ground may be read with, and what to call it.
WITH: Final[Mapping[str, str]] = {
    "rods": "laser and rod",
    "phone": "phone, both ways round",
    "both": "laser, rod and phone",
}
#: Height of the laser over level ground in a reading that says nothing [m].
ROD: Final = 1.5
#: How steep the ground is taken to be along the track (guess): a station's own doubt counts with it.
SLOPE: Final = 0.03
#: Ties lie so far apart where no run is given [m]: common practice, no source.
TIE_SPACING: Final = 0.7


@dataclass(frozen=True)
class Worth:
    """What a survey will be worth.

    Attributes
    ----------
    readings : int
        How many there are.
    sd_m : float
        Largest standard deviation of a tie end's height against the reference [m].
    usual_m : float
        Its median over the tie ends [m].
    checked : int
        How many readings others check.
    """

    readings: int
    sd_m: float
    usual_m: float
    checked: int


def planned_readings(
    stations: ArrayLike, *, by: str = "rods", again: bool = False, slope: float = SLOPE, width: float = 0.62
) -> Survey:
    """Return a survey with readings at stations that say nothing but where they are taken.

    Parameters
    ----------
    stations : array, shape (n,)
        Growing [m].
    by : str
        One of `WITH`.
    again : bool
        Whether every rod is read once more from a second laser position.
    slope : float
        Of the ground along the track, rise over run.
    width : float
        Distance between the two sides [m].

    Raises
    ------
    ValueError
        For fewer than two stations, stations that do not grow, or another ``by``.
    """
    at = np.asarray(stations, dtype=float)
    if by not in WITH:
        raise ValueError(f"by must be one of {', '.join(WITH)}; got {by!r}")
    if at.size < 2 or not (np.diff(at) > 0).all():
        raise ValueError(f"stations must be two or more, and growing; got {at.size} of them")
    tables: dict[str, Any] = {}
    if by != "phone":
        rods = [
            {"laser": laser, "station_m": station, "side": side, "rod_m": ROD - slope * station, "point": ""}
            for laser in (("1", "2") if again else ("1",))
            for station in at
            for side in ("left", "right")
        ]
        pegs = [
            {"laser": laser, "station_m": np.nan, "side": "", "rod_m": ROD, "point": peg}
            for laser in (("1", "2") if again else ("1",))
            for peg in ("P1", "P2")
        ]
        tables["levels"] = pd.DataFrame(pegs + rods)
    if by != "rods":
        turned = [(station, facing) for station in at for facing in ("ahead", "back")]
        across = {"station_m": [s for s, _ in turned], "angle_rad": 0.0, "facing": [f for _, f in turned]}
        tables["crosslevels"] = pd.DataFrame(across)
    if by == "phone":
        boards: list[dict[str, Any]] = [
            {"station_m": near, "to_station_m": far, "side": "left", "angle_rad": math.atan(slope)}
            | {"facing": facing}
            for near, far in itertools.pairwise(at)
            for facing in ("ahead", "back")
        ]
        tables["boards"] = pd.DataFrame(boards)
    return make_survey(**tables)


def planned_ground(
    survey: Survey,
    ground_type: GroundType,
    *,
    stations: ArrayLike | None = None,
    instruments: Instruments | None = None,
    width: float = 0.62,
) -> Ground:
    """Return a ground whose heights mean nothing, but whose standard deviations are those to expect.

    Parameters
    ----------
    survey : Survey
        Readings at their places; what they read does not matter, but where rods are a slope should be in
        them: see `planned_readings`.
    ground_type : GroundType
        How rough the ground is; all three must be stated.
    stations : array, optional
        Of ties [m].

    Raises
    ------
    ValueError
        If the roughness is not stated: there are no readings to estimate it from.
    FitError
        If the readings would leave heights open; the message says what else to read.
    """
    lacking = [name for name in ("q_mean", "q_twist", "relief") if getattr(ground_type, name) is None]
    if lacking:
        raise ValueError(f"ground_type must state {', '.join(lacking)}: nothing is read yet to tell it from")
    return fit_ground(
        survey, stations=stations, instruments=instruments, ground_type=ground_type, width=width
    )


def survey_worth(
    survey: Survey,
    ties: ArrayLike,
    ground_type: GroundType,
    *,
    reference: tuple[float, str] | None = None,
    instruments: Instruments | None = None,
    width: float = 0.62,
) -> Worth:
    """Return what planned readings will be worth for the fills of a level line.

    Parameters
    ----------
    survey : Survey
        Planned readings.
    ties : array, shape (n,)
        Stations of the ties [m].
    ground_type : GroundType
    reference : (station, side), optional
        The tie end that the line is set from; by default the middle one on the left.
    """
    ground = planned_ground(survey, ground_type, stations=ties, instruments=instruments, width=width)
    at_ties = np.asarray(ties, dtype=float).tolist()
    ends = [(station, side) for station in at_ties for side in ("left", "right")]
    held = reference or ends[2 * (len(at_ties) // 2)]
    sd = sds_against(ground, ends, held)
    others = np.array([end != held for end in ends])
    table = ground.residuals
    return Worth(
        len(table),
        float(sd.max()),
        float(np.median(sd[others])),
        int((table["checked"] == "readings").sum()),
    )


def sds_against(ground: Ground, ends: Sequence[tuple[float, str]], held: tuple[float, str]) -> Array:
    """Return the standard deviations of tie ends' heights against one place, shape (n,) [m]."""
    points = list(dict.fromkeys([*ends, held]))
    covariance, at = ground.covariance(points), points.index(held)
    variance = np.diag(covariance) - 2.0 * covariance[at] + covariance[at, at]
    return np.asarray(np.sqrt(np.maximum(variance[[points.index(end) for end in ends]], 0.0)))


def worth_table(
    length: float,
    *,
    spacings: Sequence[float] = (0.7, 1.0, 1.5, 2.0, 3.0),
    by: Sequence[str] = tuple(WITH),
    grounds: Mapping[str, GroundType] = GROUNDS,
    instruments: Instruments | None = None,
    width: float = 0.62,
) -> pd.DataFrame:
    """Return what surveys of a run are worth: this many readings, this spacing, this instrument.

    Parameters
    ----------
    length : float
        Of the run [m].
    spacings : sequence of float
        Distances between stations, at the most [m]: the run is cut evenly, and those that cut it alike count
        once. `TIE_SPACING` reads at the ties.
    by : sequence of str
        Of `WITH`.
    grounds : mapping
        Kinds of ground, as in `GROUNDS`.

    Returns
    -------
    DataFrame
        by, spacing_m, readings, ground, sd_m (the largest of a fill on a level line set from the middle),
        usual_m (the median), checked (readings that others check).

    Raises
    ------
    ValueError
        If the run is not longer than nothing, or a spacing is not.
    """
    if not length > 0 or not min(spacings) > 0:
        raise ValueError(f"length and spacings must be above 0 m; got {length} and {list(spacings)}")
    ties = _evenly(length, TIE_SPACING)
    rows = []
    for how in by:
        # a short run is cut into as many pieces by several spacings
        for stations in {len(cut): cut for cut in (_evenly(length, gap) for gap in spacings)}.values():
            survey = planned_readings(stations, by=how, width=width)
            for name, kind in grounds.items():
                worth = survey_worth(survey, ties, kind, instruments=instruments, width=width)
                rows.append(
                    (how, stations[1], worth.readings, name, worth.sd_m, worth.usual_m, worth.checked)
                )
    columns = ["by", "spacing_m", "readings", "ground", "sd_m", "usual_m", "checked"]
    return pd.DataFrame(rows, columns=columns)


def _evenly(length: float, spacing: float) -> Array:
    """Return stations from end to end of a run, no farther apart than that [m]."""
    return np.linspace(0.0, length, max(math.ceil(length / spacing - 1e-9), 1) + 1)
