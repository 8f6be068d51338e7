"""The point that heights count from: against the published model, and against fits with another datum."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trackkit.layout.doubt import Doubt, fill_model
from trackkit.layout.fills import fill_table
from trackkit.layout.line import RailHeight, grade_line, level_line
from trackkit.layout.run import run_from_sections
from trackkit.layout.sections import Section
from trackkit.study.datum import compare_datums, reduced_to
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey

# JCGM 100:2008, Annex H.3, Table H.6: thermometer corrections (figures from memory; the PyPI package
# GTC prints the same results).
TEMPERATURE = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
CORRECTION = np.array(
    [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
)

RUN = run_from_sections([Section("3 m", 3.0, (0.15, 1.5, 2.85), rail_top=0.12, bearing=0.1)] * 2)
KNOWN = GroundType(q_mean=3e-5, q_twist=1e-5, relief=0.001)
TOOLS = Instruments(rod_sd=0.0015, station_sd=0.0)
STILL = Doubt(sideways_sd=0.0)
DATUMS = ((0.0, "left"), (5.0, "right"), "P1")


def ground_of(datum=None):
    rng = np.random.default_rng(2)
    rows = [
        {"laser": "1", "station_m": at, "side": side, "rod_m": 1.5 - 0.01 * np.sin(at) + rng.normal(0, 2e-3)}
        for at in np.arange(0.0, 7.0) for side in ("left", "right")
    ]  # fmt: skip
    rows.append({"laser": "1", "point": "P1", "rod_m": 1.42})
    levels = pd.DataFrame(rows).fillna({"side": "", "point": ""})
    return fit_ground(
        make_survey(levels=levels),
        stations=RUN.ties["station_m"],
        ground_type=KNOWN,
        instruments=TOOLS,
        datum=datum,
    )


def gum_line(origin):
    """Return y1, y2 and their covariance of b(t) = y1 + y2 (t - origin), by ordinary least squares."""
    design = np.column_stack([np.ones(TEMPERATURE.size), TEMPERATURE - origin])
    y = np.linalg.lstsq(design, CORRECTION, rcond=None)[0]
    s2 = ((CORRECTION - design @ y) ** 2).sum() / (TEMPERATURE.size - 2)
    return y, s2 * np.linalg.inv(design.T @ design)


def test_gum_h3_another_reference_temperature_changes_y1_and_r_but_no_prediction():
    """JCGM 100:2008, H.3: t0 = 20 and t0 = 24.0085, their mean, where y1 and y2 are uncorrelated."""
    at = np.array([20.0, 24.0085, 30.0])
    found = {}
    for origin in (20.0, 24.0085):
        y, covariance = gum_line(origin)
        look = np.column_stack([np.ones(3), at - origin])
        correlation = covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1])
        found[origin] = y, np.sqrt(np.diag(covariance)), correlation, look @ y, look @ covariance @ look.T
    (y, sd, r, mean, spread), (other_y, other_sd, other_r, other_mean, other_spread) = found.values()
    assert (y[0], y[1], r) == pytest.approx((-0.1712, 0.00218, -0.930), abs=5e-4)
    assert y == pytest.approx([-0.1712, 0.00218], abs=5e-5) and sd == pytest.approx(
        [0.0029, 0.00067], abs=5e-5
    )
    assert other_y[0] == pytest.approx(CORRECTION.mean(), abs=1e-6) and other_r == pytest.approx(
        0.0, abs=1e-3
    )
    assert other_sd[0] == pytest.approx(0.0035 / np.sqrt(11), abs=5e-5)
    for b, of in ((mean, spread), (other_mean, other_spread)):
        assert b[2] == pytest.approx(-0.1494, abs=5e-5) and np.sqrt(of[2, 2]) == pytest.approx(
            0.0041, abs=5e-5
        )
    # counted from either, differences and their uncertainty are the same: y2 times 10 degrees, give or take
    for datum in range(3):
        one, its = reduced_to(mean, spread, datum)
        other, others = reduced_to(other_mean, other_spread, datum)
        np.testing.assert_allclose(one, other, atol=1e-12)
        np.testing.assert_allclose(its, others, atol=1e-15)
        assert one[2] - one[0] == pytest.approx(10 * y[1])
        apart = its[2, 2] + its[0, 0] - 2 * its[0, 2]
        assert np.sqrt(apart) == pytest.approx(10 * sd[1])


def test_the_datum_itself_is_beyond_doubt():
    rng = np.random.default_rng(1)
    root = rng.normal(size=(5, 5))
    mean, covariance = reduced_to(rng.normal(size=5), root @ root.T, 3)
    assert mean[3] == 0.0 and not covariance[3].any() and not covariance[:, 3].any()
    assert np.linalg.eigvalsh(covariance).min() > -1e-12


@pytest.mark.parametrize(
    "kind", ["level", "grade", "tie end", "peg", "rail above a peg", "rail above the datum"]
)
def test_fills_and_their_doubt_do_not_change_with_the_datum(kind):
    ground = ground_of()
    line = {
        "level": lambda: level_line(ground, RUN),
        "grade": lambda: grade_line(ground, RUN, 0.02),
        "tie end": lambda: level_line(ground, RUN, reference=(5, "right")),
        "peg": lambda: level_line(ground, RUN).held_by("P1"),
        "rail above a peg": lambda: level_line(ground, RUN, reference=RailHeight(0.1, above="P1")),
        "rail above the datum": lambda: level_line(ground, RUN, reference=RailHeight(0.1)),
    }[kind]()
    table = compare_datums(ground, line, DATUMS)
    fills = fill_table(ground, RUN, line, doubt=STILL)
    for _, own in table.groupby("datum"):
        assert (
            own[["tie", "side", "station_m"]]
            .reset_index(drop=True)
            .equals(fills[["tie", "side", "station_m"]])
        )
        np.testing.assert_allclose(own["fill_m"], fills["fill_m"], atol=1e-12)
        np.testing.assert_allclose(own["fill_sd_m"], fills["fill_sd_m"], atol=1e-8)


def test_heights_are_sure_at_the_datum_and_less_so_the_further_away():
    ground = ground_of()
    stations = RUN.ties["station_m"].to_numpy(dtype=float)
    table = compare_datums(ground, level_line(ground, RUN), [(stations[0], "left"), (stations[-1], "left")])
    left = table[table["side"] == "left"]
    from_head, from_tail = (left[left["datum"] == number] for number in (0, 1))
    assert from_head["height_sd_m"].iloc[0] == 0.0 and from_tail["height_sd_m"].iloc[-1] == 0.0
    assert from_head["height_m"].iloc[0] == 0.0
    assert (from_head["height_sd_m"].iloc[1:] > 0.0005).all()
    assert from_head["height_sd_m"].iloc[1] < from_head["height_sd_m"].iloc[-1]
    shift = from_head["height_m"].to_numpy() - from_tail["height_m"].to_numpy()
    assert np.ptp(shift) < 1e-12 and abs(shift[0]) > 1e-4


@pytest.mark.parametrize("datum", DATUMS)
def test_a_fit_with_another_datum_has_the_heights_and_fills_that_are_told_for_it(datum):
    ground, again = ground_of(), ground_of(datum)
    line, other = level_line(ground, RUN), level_line(again, RUN)
    own = compare_datums(ground, line, [datum])
    heights, sds = again.height(own["station_m"], list(own["side"]))
    np.testing.assert_allclose(own["height_m"], heights, atol=1e-9)
    np.testing.assert_allclose(own["height_sd_m"], sds, atol=1e-8)
    one, two = (fill_model(g, RUN, x, doubt=STILL) for g, x in ((ground, line), (again, other)))
    assert line.rests_on == other.rests_on
    np.testing.assert_allclose(one.fills, two.fills, atol=1e-9)
    np.testing.assert_allclose(one.covariance, two.covariance, atol=1e-11)
