"""Simulated surveys with a known truth, for the tests of what readings say of each other."""

from dataclasses import replace

import numpy as np
import pandas as pd

from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey

ROD, ANGLE, ZERO = 0.0015, np.radians(0.3), np.radians(0.4)
STATED = Instruments(rod_sd=ROD, angle_sd=ANGLE, station_sd=0.0)
KNOWN = GroundType(q_mean=1e-5, q_twist=2e-6, relief=0.0)


def surface(station, side):
    return 0.05 * np.sin(station / 2) + 0.01 * (side == "right")


def crew(seed, *, rod=1.0, phone=1.0, bias=None, sigma=None, knock=0.0, after=14, stations=9, boards=True):
    """Two laser positions over the same stations, two pegs read twice by each, and boards with a phone.

    ``rod`` and ``phone`` are true over stated standard deviations; ``bias`` and ``sigma`` are of readers 'A'
    and 'B', who take turns; from the first laser position's reading ``after`` on, rods are ``knock`` longer.
    """
    rng, rows = np.random.default_rng(seed), []
    bias, sigma = bias or {"A": 0.0, "B": 0.0}, sigma or {}
    for laser, height in (("east", 1.5), ("west", 1.7)):
        spots = [("P1", 0.0), ("P2", 0.3)]
        spots += [(s, side) for s in np.arange(float(stations)) for side in ("left", "right")]
        spots += [("P1", 0.0), ("P2", 0.3)]
        for count, (place, what) in enumerate(spots):
            peg = isinstance(place, str)
            low = what if peg else surface(place, what)
            name = "AB"[(count + (laser == "west")) % 2]
            spread = ROD * rod * sigma.get(name, 1.0)
            read = height - low + bias[name] + rng.normal(0.0, spread)
            read += knock * (laser == "east" and count >= after)
            rows.append(
                {"laser": laser, "point": place if peg else "", "station_m": np.nan if peg else place,
                 "side": "" if peg else what, "rod_m": read, "reader": name}
            )  # fmt: skip
    tables = {"levels": pd.DataFrame(rows)}
    if boards:
        near = np.repeat(np.arange(stations - 1.0), 2)
        facing = np.tile(["ahead", "back"], stations - 1)
        rise = surface(near + 1, "left") - surface(near, "left")
        angle = np.arctan(rise) + np.where(facing == "ahead", 1.0, -1.0) * ZERO
        angle += rng.normal(0.0, ANGLE * phone, near.size)
        tables["boards"] = pd.DataFrame(
            {
                "station_m": near,
                "to_station_m": near + 1,
                "side": "left",
                "angle_rad": angle,
                "facing": facing,
            }
        )
    return make_survey(**tables)


def fitted(seed, **options):
    """Return the ground of a `crew`, its roughness stated, which is quick."""
    return fit_ground(crew(seed, **options), instruments=STATED, ground_type=KNOWN)


def again(ground, seed, *, rod=1.0, phone=1.0, off=None):
    """Return the ground of an exact `crew` with new readings of it, without a new fit of its own.

    ``rod`` and ``phone`` are true over stated standard deviations, ``rod`` one figure or one a row of levels;
    ``off`` is added to the rods, in the order of levels. What is asked of readings alone needs no more than
    this.
    """
    rows = ground.setting.observations
    names = {name: at for at, name in enumerate(ground.survey.levels["reading"])}
    at = np.array([names.get(name, -1) for name in rows.table["reading"]])
    rods, boards = at >= 0, (rows.table["kind"] == "board").to_numpy()
    scale = np.where(rods, np.broadcast_to(rod, len(names))[at], np.where(boards, phone, 0.0))
    value = rows.value + scale * rows.sd * np.random.default_rng(seed).standard_normal(at.size)
    value = value + (0.0 if off is None else np.where(rods, np.asarray(off)[at], 0.0))
    setting = replace(ground.setting, observations=replace(rows, value=value))
    return replace(ground, setting=setting)
