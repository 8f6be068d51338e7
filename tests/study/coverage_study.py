"""How often the 95 % intervals of a sparse survey hold the true surface.

Run ``python tests/study/coverage_study.py`` to print the table that is kept in ``coverage.txt``:
1,000 surveys a ground, 13 stations 1 m apart, one rod reading a side, one laser position, roughness
and relief estimated.
"""

from __future__ import annotations

import sys

import numpy as np
from grounds import GROUNDS

from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.readings import make_survey

ROD_SD = 0.0015
STATIONS = np.arange(13.0)
BETWEEN = np.arange(12) + 0.5


def one_survey(make, seed):
    """Return whether each interval at, and each interval between, the stations holds the truth."""
    rng = np.random.default_rng(seed)
    everywhere = np.sort(np.concatenate([STATIONS, BETWEEN]))
    truth = make(rng, everywhere)
    read = truth[:, np.isin(everywhere, STATIONS)]
    rod = 1.6 - read + rng.normal(0, ROD_SD, read.shape)
    levels = {"station_m": np.tile(STATIONS, 2), "side": ["left"] * 13 + ["right"] * 13, "rod_m": rod.ravel()}
    ground = fit_ground(make_survey(levels=levels), instruments=Instruments(rod_sd=ROD_SD, station_sd=0.0))
    held = []
    for side, name in enumerate(("left", "right")):
        mean, sd = ground.height(everywhere, name)
        held.append(np.abs(mean - (truth[side] - truth[0, 0])) <= 1.96 * sd)
    held = np.array(held)
    at = np.isin(everywhere, STATIONS)
    return np.append(held[0, at][1:], held[1, at]), held[:, ~at].ravel()


def coverage(make, surveys, first_seed=0):
    """Return the share held at and between the stations, and the standard errors of the two."""
    both = [one_survey(make, first_seed + i) for i in range(surveys)]
    at, between = (np.array([part[i].mean() for part in both]) for i in (0, 1))
    error = np.array([at.std(), between.std()]) / np.sqrt(surveys)
    return at.mean(), between.mean(), *error


def table(surveys):
    """Return the table as text."""
    lines = [f"95 % intervals that hold the true surface, {surveys} surveys a ground"]
    lines.append(f"{'ground':<24}{'at readings':>14}{'between':>12}{'give or take':>16}")
    for name, make in GROUNDS.items():
        at, between, at_error, between_error = coverage(make, surveys)
        lines.append(f"{name:<24}{at:>13.1%} {between:>11.1%}{at_error:>9.1%}{between_error:>7.1%}")
    return "\n".join(lines)


if __name__ == "__main__":
    print(table(int(sys.argv[1]) if len(sys.argv) > 1 else 1000))
