"""How often a misreading is found, blamed on the right reading, and how often a good survey is blamed.

Run ``python tests/study/power_study.py`` to print the table that is kept in ``power.txt``. Every survey reads
13 stations 1 m apart on both sides, and two pegs, with a rod of 1.5 mm. *Sparse*: each place once, from one
laser position. *Well checked*: from two laser positions, and a phone across at every other station. Roughness
and relief are estimated from the readings, as they are for a crew.
"""

from __future__ import annotations

import math
import sys

import numpy as np
import pandas as pd
from grounds import GROUNDS

from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.readings import make_survey

ROD_SD, ANGLE_SD, WIDTH = 0.0015, math.radians(0.15), 0.62
STATIONS = np.arange(13.0)
PEGS = {"P1": 0.05, "P2": 0.20}
TOOLS = Instruments(rod_sd=ROD_SD, angle_sd=ANGLE_SD, station_sd=0.0)
#: Sizes of misreadings in standard deviations of a rod: 4.5, 7.5, 15 mm, and a decimetre.
SIZES = {"3 sd": 3.0, "5 sd": 5.0, "10 sd": 10.0, "10 cm": 0.1 / ROD_SD}
KINDS = {
    "smooth": "smooth, model's kind", "tussocks": "the same with relief", "waves": "sinusoid",
    "road spectrum": "road spectrum",
}  # fmt: skip


def tables(make, rng, *, checked):
    """Return levels and left-to-rights of one survey, and which rods stand on the ground."""
    truth = make(rng, STATIONS)
    rows = []
    for laser, height in (("1", 1.6), ("2", 1.7)) if checked else (("1", 1.6),):
        for peg, low in PEGS.items():
            rows.append({"laser": laser, "point": peg, "rod_m": height - low + rng.normal(0, ROD_SD)})
        for i, station in enumerate(STATIONS):
            for side, name in enumerate(("left", "right")):
                rod = height - truth[side, i] + rng.normal(0, ROD_SD)
                rows.append({"laser": laser, "station_m": station, "side": name, "rod_m": rod})
    levels = pd.DataFrame(rows).fillna({"point": "", "side": ""})
    cross = {}
    if checked:
        some = np.arange(0, STATIONS.size, 2)
        sign = np.where(np.arange(some.size) % 2, 1.0, -1.0)
        tilt = np.arctan((truth[1, some] - truth[0, some]) / WIDTH)
        cross["crosslevels"] = pd.DataFrame(
            {
                "station_m": STATIONS[some],
                "angle_rad": tilt + sign * math.radians(0.4) + rng.normal(0, ANGLE_SD, some.size),
                "facing": np.where(sign > 0, "ahead", "back"),
            }
        )
    return levels, cross, np.flatnonzero(levels["station_m"].notna())


def blamed(kind, seed, *, checked, size=0.0):
    """Return the readings in doubt of one survey, and the one misread by ``size`` [sd]."""
    rng = np.random.default_rng(seed)
    levels, cross, rods = tables(GROUNDS[KINDS[kind]], rng, checked=checked)
    wrong = int(rng.choice(rods))
    levels.loc[wrong, "rod_m"] += size * ROD_SD * rng.choice([-1.0, 1.0])
    ground = fit_ground(make_survey(levels=levels, **cross), instruments=TOOLS)
    return set(ground.doubtful["reading"]), f"levels row {wrong + 2}"


def shares(kind, surveys, *, checked, size):
    """Return the share of misreadings found at all, and of those blamed on the right reading and no other.

    A place that is read twice cannot be told apart: then both its readings in doubt count as right.
    """
    found = right = 0
    for seed in range(surveys):
        doubt, wrong = blamed(kind, 1000 + seed, checked=checked, size=size)
        found += bool(doubt)
        right += wrong in doubt and len(doubt) <= (2 if checked else 1)
    return found / surveys, right / surveys


def false_alarms(kind, surveys, *, checked):
    """Return the share of good surveys in which some reading is called doubtful."""
    return sum(bool(blamed(kind, seed, checked=checked)[0]) for seed in range(surveys)) / surveys


def table(surveys, clean):
    """Return the table as text."""
    lines = [
        f"misreadings found / blamed on the right reading, {surveys} surveys each; false alarms in {clean} "
        "good surveys",
        f"{'survey':<14}{'ground':<16}" + "".join(f"{size:>14}" for size in SIZES) + f"{'false alarms':>14}",
    ]
    for checked, name in ((False, "sparse"), (True, "well checked")):
        for kind in KINDS:
            cells = []
            for size in SIZES.values():
                found, right = shares(kind, surveys, checked=checked, size=size)
                cells.append(f"{found:>7.0%} /{right:>4.0%}".rjust(14))
            alarms = false_alarms(kind, clean, checked=checked)
            lines.append(f"{name:<14}{kind:<16}{''.join(cells)}{alarms:>13.1%}")
            print(lines[-1], file=sys.stderr, flush=True)
    return "\n".join(lines)


if __name__ == "__main__":
    asked = [int(word) for word in sys.argv[1:]] or [100, 200]
    print(table(*asked))
