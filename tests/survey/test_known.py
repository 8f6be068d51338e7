"""How well heights are known against each other."""

import numpy as np
import pandas as pd
import pytest

from trackkit.survey.ground import fit_ground
from trackkit.survey.known import sd_against_best
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey


def rods(relief, datum=None):
    rows = [
        {"laser": "1", "station_m": at, "side": "left", "rod_m": 1.5 + 0.01 * np.sin(at), "point": ""}
        for at in np.arange(0.0, 6.0)
    ]
    return fit_ground(
        make_survey(levels=pd.DataFrame(rows)), ground_type=GroundType(1e-4, 3e-5, relief), datum=datum
    )


def test_it_is_the_root_of_the_variance_of_a_difference():
    """JCGM 100:2008, 5.2.2: of a difference, u1^2 + u2^2 - 2 u12."""
    ground, stations = rods(0.01), np.linspace(-0.5, 5.5, 250)
    places = [(float(at), "left") for at in ground.stations]
    best = places[int(np.argmin(ground.height(ground.stations, "left")[1]))]
    found = sd_against_best(ground, stations, "left")
    for at, sd in list(zip(stations, found, strict=True))[::23]:
        joint = ground.covariance([best, (float(at), "left")])
        assert sd**2 == pytest.approx(joint[0, 0] + joint[1, 1] - 2 * joint[0, 1], abs=1e-12)


def test_heights_against_each_other_do_not_hang_on_the_datum():
    stations = np.linspace(0.3, 4.7, 40)
    first, last = (sd_against_best(rods(0.01, datum=(at, "left")), stations, "left") for at in (1.0, 4.0))
    assert first.max() == pytest.approx(last.max(), rel=0.2)


def test_rough_ground_is_known_worse_between_readings_than_at_them():
    ground = rods(0.01)
    between, at = (
        sd_against_best(ground, stations, "left").max()
        for stations in (ground.stations[:-1] + 0.5, ground.stations)
    )
    assert at < 0.004 < 0.01 < between
