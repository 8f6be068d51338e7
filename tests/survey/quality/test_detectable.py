"""Errors that would not be noticed: Baarda's figures, refits with a reading changed, and simulation."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtri

from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.quality import detectable_errors, influence, least_noticed
from trackkit.survey.quality.detectable import unnoticed_effects
from trackkit.survey.readings import make_survey

KNOWN = GroundType(q_mean=1e-5, q_twist=2e-6, relief=0.001)
TOOLS = Instruments(rod_sd=0.0015, station_sd=0.0)


def survey(extra=0.0, seed=2):
    """Two laser positions over 11 stations, two pegs read from both; ``extra`` on the first rod of row 6."""
    rng, rows = np.random.default_rng(seed), []
    for laser, height in (("1", 1.5), ("2", 1.7)):
        for peg, low in (("P1", 0.0), ("P2", 0.3)):
            rows.append({"laser": laser, "point": peg, "rod_m": height - low + rng.normal(0, 0.0015)})
        for station in np.linspace(0.0, 10.0, 11):
            for side in ("left", "right"):
                surface = 0.05 * np.sin(station / 2) + 0.01 * (side == "right")
                rod = height - surface + rng.normal(0, 0.0015)
                rows.append({"laser": laser, "station_m": station, "side": side, "rod_m": rod})
    frame = pd.DataFrame(rows)
    frame["point"] = frame["point"].fillna("")
    frame.loc[6, "rod_m"] += extra
    return make_survey(levels=frame)


def fitted(**options):
    return fit_ground(survey(**options), ground_type=KNOWN, instruments=TOOLS)


@pytest.mark.parametrize(("alpha", "delta", "within"), [(0.001, 4.1321, 5e-5), (0.05, 2.8016, 5e-5)])
def test_the_least_that_is_noticed_is_baardas(alpha, delta, within):
    """Baarda 1968, power 0.80: 4.1321 and 2.8016 (from memory, recomputed)."""
    assert least_noticed(float(ndtri(1 - alpha / 2))) == pytest.approx(delta, abs=within)
    with pytest.raises(ValueError, match="power must lie between 0 and 1"):
        least_noticed(3.0, 1.0)


def test_each_reading_is_noticed_from_its_share_on():
    ground = fitted()
    table, found = ground.residuals, detectable_errors(ground)
    assert found["reading"].tolist() == table["reading"].tolist()
    delta = least_noticed(float(ndtri(1 - 0.05 / (2 * len(table)))))
    np.testing.assert_allclose(found["noticed_m"], delta * table["sd_m"] / np.sqrt(table["redundancy"]))
    assert (found["noticed_m"] > delta * table["sd_m"]).all()


def test_what_nothing_checks_is_never_noticed():
    levels = pd.DataFrame({"laser": ["1"] * 2, "point": ["P1", "P2"], "rod_m": [1.0, 1.2]})
    ground = fit_ground(make_survey(levels=levels), instruments=TOOLS)
    found = detectable_errors(ground)
    assert np.isinf(found["noticed_m"]).all()
    assert set(found["by"]) == {"nothing"}


@pytest.mark.parametrize("row", [0, 6, 30])
def test_influence_is_what_a_changed_reading_does(row):
    """The fit is linear in the readings: one is changed by 1 cm and all is fitted again."""
    points = [(0.0, "left"), (1.3, "left"), (2.0, "right"), (9.5, "right"), "P2"]
    base = survey()
    ground = fit_ground(base, ground_type=KNOWN, instruments=TOOLS)
    levels = base.levels.copy()
    levels.loc[row, "rod_m"] += 0.01
    other = fit_ground(replace(base, levels=levels), ground_type=KNOWN, instruments=TOOLS)
    name = levels.loc[row, "reading"]
    at = ground.residuals["reading"].tolist().index(name)
    moved = (other.mean(points) - ground.mean(points)) / 0.01
    np.testing.assert_allclose(influence(ground, points)[at], moved, atol=1e-9)
    assert np.abs(moved).max() > 0.01


def test_an_error_of_that_size_is_noticed_in_8_surveys_of_10():
    name = survey().levels.loc[6, "reading"]
    size = detectable_errors(fitted()).set_index("reading").loc[name, "noticed_m"]
    seen = [name in fitted(extra=size, seed=seed).doubtful["reading"].tolist() for seed in range(250)]
    assert np.mean(seen) == pytest.approx(0.8, abs=3 * np.sqrt(0.16 / 250))


def test_the_effect_on_a_difference_is_that_of_a_refit_with_the_error():
    ground, points = fitted(), [(0.0, "left"), (3.0, "left"), (7.5, "right")]
    weights = np.array([[1.0, -1.0, 0.0], [0.0, 1.0, -1.0]])
    found = unnoticed_effects(ground, points, weights)
    base = survey()
    moved = {}
    for reading, size in detectable_errors(ground)[["reading", "noticed_m"]].itertuples(index=False):
        levels = base.levels.copy()
        levels.loc[levels["reading"] == reading, "rod_m"] += size
        other = fit_ground(replace(base, levels=levels), ground_type=KNOWN, instruments=TOOLS)
        moved[reading] = np.abs(weights @ (other.mean(points) - ground.mean(points)))
    for i, told in enumerate(found.itertuples()):
        assert told.effect_m == pytest.approx(max(effects[i] for effects in moved.values()), rel=1e-6)
        assert told.effect_m == pytest.approx(moved[told.reading][i], rel=1e-6)


def test_what_nothing_checks_may_do_anything():
    levels = pd.DataFrame({"laser": ["1"] * 2, "point": ["P1", "P2"], "rod_m": [1.0, 1.2]})
    ground = fit_ground(make_survey(levels=levels), instruments=TOOLS)
    found = unnoticed_effects(ground, ["P1", "P2"], np.array([[1.0, -1.0], [0.0, 0.0]]))
    assert np.isinf(found["effect_m"].iloc[0]) and found["effect_m"].iloc[1] == 0.0
