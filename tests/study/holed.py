"""Level ground read with rods every half metre but for a hole, the track on it, and refits of it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd

from trackkit.layout.line import level_line
from trackkit.layout.run import run_from_sections
from trackkit.layout.sections import Section
from trackkit.survey.fitting import fit_rows
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey

SECTION = Section("3 m", 3.0, (0.15, 1.5, 2.85), rail_top=0.12, bearing=0.1)
RUN = run_from_sections([SECTION] * 2)
KNOWN = GroundType(q_mean=3e-4, q_twist=1e-4, relief=0.0005)
ROD_SD = 0.0015
#: Every half metre, but for a hole from 2 m to 4.5 m.
READ = (0.0, 0.5, 1.0, 1.5, 2.0, 4.5, 5.0, 5.5, 6.0)


def height(station, side):
    return 0.004 * math.sin(station) + 0.012 * (side == "right")


def rods(read=READ):
    rows = [
        {"laser": "1", "station_m": at, "side": side, "rod_m": 1.5 - height(at, side), "point": ""}
        for at in read for side in ("left", "right")
    ]  # fmt: skip
    rows.append({"laser": "1", "station_m": np.nan, "side": "", "rod_m": 1.4, "point": "P1"})
    return pd.DataFrame(rows)


def ground_of(levels=None, *, rod_sd=ROD_SD, kind=KNOWN, **others):
    survey = make_survey(levels=rods() if levels is None else levels, **others)
    tools = Instruments(rod_sd=rod_sd, station_sd=0.0)
    return fit_ground(survey, stations=RUN.ties["station_m"], ground_type=kind, instruments=tools)


def reread(ground, off):
    """Return the fit of the same survey with its rows off by so much [m]."""
    rows = ground.setting.observations
    setting = replace(ground.setting, observations=replace(rows, value=rows.value + off))
    return replace(ground, setting=setting, fitted=fit_rows(setting))


GROUND = ground_of()
LINE = level_line(GROUND, RUN, gap=0.003)
ENDS = RUN.tie_points()
READINGS = GROUND.setting.observations.table["counts"].to_numpy(dtype=bool)
