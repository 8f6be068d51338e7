"""A standard deviation from the readings, against the pooled one of repeated readings (NIST handbook)."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from trackkit.problems import FitError
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey

STATIONS = np.arange(0.0, 9.0, 1.0)


def repeated(times, sd, seed=4):
    """Rods on rough ground, every point read so many times; and the readings as (points, times)."""
    rng = np.random.default_rng(seed)
    ground = rng.normal(0.0, 0.2, (2, STATIONS.size))
    rods = 1.5 - ground[:, :, None] + rng.normal(0.0, sd, (2, STATIONS.size, times))
    rows = [
        {"laser": "1", "station_m": s, "side": side, "rod_m": rods[i, j, k]}
        for i, side in enumerate(("left", "right"))
        for j, s in enumerate(STATIONS)
        for k in range(times)
    ]
    return make_survey(levels=pd.DataFrame(rows)), rods


@pytest.mark.parametrize("stated", [0.001, 0.01])
def test_rod_sd_is_the_pooled_one_where_only_repetition_checks(stated):
    """Pooled variance: squares about each point's mean over readings less points.

    NIST/SEMATECH e-Handbook of Statistical Methods, 7.3.1 (from memory). The ground is so rough that
    its smoothness says nothing.
    """
    survey, rods = repeated(3, 0.004)
    ground = fit_ground(
        survey,
        instruments=Instruments(rod_sd=stated, station_sd=0.0),
        ground_type=GroundType(1e-3, 1e-3, 5.0),
        estimate="rod_sd",
    )
    squares = ((rods - rods.mean(axis=2, keepdims=True)) ** 2).sum()
    pooled = np.sqrt(squares / (rods.size - rods.size / 3))
    assert ground.instruments.rod_sd == pytest.approx(pooled, rel=0.01)
    assert ground.estimated == "rod_sd"


def test_too_few_checks_refuse_an_estimate():
    survey, _ = repeated(1, 0.004)
    with pytest.raises(FitError, match="check each other only 0 times"):
        fit_ground(survey, estimate="rod_sd")


def test_readings_with_an_sd_of_their_own_keep_it():
    survey, _ = repeated(3, 0.004)
    own = survey.levels.assign(sd_m=np.where(survey.levels["side"] == "right", 0.002, np.nan))
    ground = fit_ground(
        replace(survey, levels=own), instruments=Instruments(station_sd=0.0), estimate="rod_sd"
    )
    table = ground.residuals
    np.testing.assert_allclose(table.loc[table["side"] == "right", "sd_m"], 0.002)
    assert table.loc[table["side"] == "left", "sd_m"].iloc[0] == pytest.approx(ground.instruments.rod_sd)


def test_an_unknown_name_is_refused():
    survey, _ = repeated(2, 0.004)
    with pytest.raises(ValueError, match="estimate must be one of"):
        fit_ground(survey, estimate="tape_sd")
