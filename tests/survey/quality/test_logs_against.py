"""A log in the wrong unit, or with the wrong sign, is told from one that is right."""

import numpy as np
import pandas as pd
import pytest
from log_cases import survey_of, walk

from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.quality import logs_against
from trackkit.survey.quality.logs_against import WRONG_UNIT
from trackkit.survey.readings import make_survey

TOOLS = Instruments(rod_sd=0.0015, station_sd=0.0)


def height(station):
    return 0.03 * station + 0.08 * np.sin(station / 1.3)


def rods(seed=1):
    rng, at = np.random.default_rng(seed), np.repeat(np.arange(-1.0, 11.0), 2)
    noise = rng.normal(0, 0.0015, at.size)
    return pd.DataFrame(
        {"station_m": at, "side": ["left", "right"] * (at.size // 2), "rod_m": 1.5 - height(at) + noise}
    )


def log(factor=1.0, seed=2, facing="ahead"):
    rng = np.random.default_rng(seed)
    made = walk(height, 0.0, 9.0, 1500, error=0.01, facing=facing)
    return made.assign(angle_rad=factor * made["angle_rad"] + rng.normal(0, 0.004, len(made)))


def against(*logs, **tables):
    ground = fit_ground(survey_of(*logs, **tables), instruments=TOOLS)
    return logs_against(ground)


def test_a_log_that_is_right_agrees():
    table = against(log(), log(seed=3, facing="back"), levels=rods())
    assert len(table) == 2 and table["agrees"].all() and (table["w"] < 2.0).all()


@pytest.mark.parametrize("kind", ["the sign is wrong", "degrees, written as a grade in per cent"])
def test_what_happened_to_a_log_is_said(kind):
    table = against(log(1.0 / WRONG_UNIT[kind]), levels=rods())
    (row,) = table.itertuples()
    assert not row.agrees and row.perhaps == kind and row.off_m > 0.005


def test_a_log_of_other_ground_is_not_explained():
    table = against(log(), levels=rods().assign(rod_m=lambda f: 1.5 - 0.1 * np.sin(f["station_m"])))
    (row,) = table.itertuples()
    assert not row.agrees and row.perhaps == ""


def test_without_a_log_or_without_anything_else_nothing_is_said():
    assert logs_against(fit_ground(make_survey(levels=rods()), instruments=TOOLS)).empty
    assert against(log(), log(seed=3, facing="back")).empty
