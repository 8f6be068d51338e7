"""Logs of a phone that walks a board over ground that is known, with the errors that are asked for."""

from __future__ import annotations

import numpy as np
import pandas as pd

from trackkit.problems import Problems
from trackkit.survey.phonelog import readings_of_log
from trackkit.survey.readings import make_survey

BOARD = 1.2


def autoregressive(rng, n, step, *, sd, length):
    """First-order autoregressive noise on a line, exp(-distance / length) correlated."""
    from scipy.signal import lfilter

    phi = np.exp(-step / length)
    fresh = rng.standard_normal(n) * sd * np.sqrt(1 - phi**2)
    fresh[0] = rng.standard_normal() * sd
    return lfilter([1.0], [1.0, -phi], fresh)


def random_walk(rng, n, step, sd):
    return np.concatenate([[0.0], np.cumsum(rng.standard_normal(n - 1) * sd * np.sqrt(step))])


def walk(height, start, end, n, *, facing="ahead", side="left", board=BOARD, error=0.0, **more):
    """Return a log of n rows from start to end; error adds to what the phone reads [rad]."""
    station = np.linspace(start, end, n)
    rise = height(station + board / 2) - height(station - board / 2)
    sign = 1.0 if facing == "ahead" else -1.0
    angle = np.arctan(rise / board) + sign * error
    columns = {
        "side": side, "facing": facing, "instrument": "", "pass": "", "board_m": board, "station_m": station,
        "along": False, "angle_rad": angle, "time_s": np.nan,
    }  # fmt: skip
    return pd.DataFrame(columns | more)


def together(*logs):
    log = pd.concat(logs, ignore_index=True)
    return log.assign(file="phone_log.csv", row=np.arange(2, len(log) + 2))


def thinned(*logs, **options):
    """Return the board readings that logs become, and the notes."""
    problems = Problems()
    found = readings_of_log(together(*logs), problems, **options)
    problems.raise_if_any()
    return found, problems.notes


def survey_of(*logs, **tables):
    return make_survey(boards=thinned(*logs)[0], **tables)


def as_csv(path, *logs):
    """Write logs as a table."""
    log = pd.concat(logs, ignore_index=True)
    table = pd.DataFrame(
        {
            "station_m": log["station_m"].round(4), "side": log["side"],
            "angle_deg": np.degrees(log["angle_rad"]).round(3), "board_cm": 100 * log["board_m"],
            "facing": log["facing"], "time_s": log["time_s"],
        }
    )  # fmt: skip
    table.dropna(axis="columns", how="all").to_csv(path, index=False)
