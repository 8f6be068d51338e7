"""What goes wrong on the day, part by part: against refits, simulations and plain loops."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from grounds import integrated_noise
from scipy.stats import norm

from trackkit.layout.doubt import Doubt, chance_any_touches, fill_model, point_covariance
from trackkit.layout.line import level_line
from trackkit.layout.run import run_from_sections
from trackkit.layout.sections import Section
from trackkit.study.causes import CAUSES, find_causes, humps_between, parts_of
from trackkit.survey.fitting import fit_rows
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.quality.detectable import limits
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
FOUND = find_causes(GROUND, LINE, units=(0.1, 0.008))
READINGS = GROUND.setting.observations.table["counts"].to_numpy(dtype=bool)


def row_of(table, reading):
    """Return where a table has the rod of a row of `rods`; the file's first row has the names."""
    return table["reading"].tolist().index(f"levels row {reading + 2}")


def test_scatter_and_unread_ground_add_up_to_the_fit_s_covariance():
    points = [*ENDS, "P1", (3.3, "left")]
    scatter, unread = parts_of(GROUND, points)
    np.testing.assert_allclose(scatter + unread, GROUND.covariance(points), atol=1e-18)
    for part in (scatter, unread):
        assert np.linalg.eigvalsh(part).min() > -1e-12 * np.trace(part)


def test_scatter_is_what_each_reading_s_own_doubt_does_to_the_fitted_heights():
    """Every reading is read anew, one standard deviation off, and the ground fitted again."""
    points = [*ENDS, (3.3, "left")]
    scatter, _ = parts_of(GROUND, points)
    total = np.zeros_like(scatter)
    for row in np.flatnonzero(READINGS):
        off = np.zeros(READINGS.size)
        off[row] = ROD_SD
        moved = reread(GROUND, off).mean(points) - GROUND.mean(points)
        total += np.outer(moved, moved)
    np.testing.assert_allclose(scatter, total, atol=1e-6 * scatter.max())


def test_scatter_is_the_spread_of_heights_fitted_to_the_same_ground_read_again_and_again():
    rng = np.random.default_rng(8)
    scatter, _ = parts_of(GROUND, ENDS)
    seen = np.array(
        [reread(GROUND, READINGS * rng.normal(0, ROD_SD, READINGS.size)).mean(ENDS) for _ in range(60)]
    )
    np.testing.assert_allclose(seen.var(axis=0, ddof=1), np.diag(scatter), rtol=4 * math.sqrt(2 / 59))
    np.testing.assert_allclose(seen.mean(axis=0), GROUND.mean(ENDS), atol=4 * math.sqrt(scatter.max() / 60))


def test_where_roughness_was_estimated_both_parts_are_widened_alike():
    ground = ground_of(kind=None)
    assert ground.inflation > 1.0
    scatter, unread = parts_of(ground, ENDS)
    bare, rest = parts_of(replace(ground, inflation=1.0), ENDS)
    np.testing.assert_allclose(scatter, ground.inflation * bare)
    np.testing.assert_allclose(unread, ground.inflation * rest, atol=1e-15)


def test_unread_ground_counts_for_little_where_it_is_read_and_most_midway_in_a_hole():
    at = np.linspace(0.0, 6.0, 61)
    _, unread = parts_of(GROUND, [(float(s), "left") for s in at])
    sd = np.sqrt(np.diag(unread))
    assert at[sd.argmax()] == pytest.approx(3.25, abs=0.15)
    assert sd[at == 1.0] < 0.25 * sd.max()


def test_half_the_scatter_of_a_rod_has_a_quarter_of_its_part_where_many_readings_check():
    often = rods(tuple(np.repeat((0.0, 2.0, 4.0, 6.0), 25)))
    points = [(2.0, "left"), (4.0, "right"), (6.0, "left")]
    away = np.array([[1.0, -1.0, 0.0], [0.0, 1.0, -1.0]])  # the peg that heights count from was read but once
    grounds = [ground_of(often, rod_sd=sd) for sd in (ROD_SD, ROD_SD / 2)]
    whole, half = (np.diag(away @ parts_of(ground, points)[0] @ away.T) for ground in grounds)
    np.testing.assert_allclose(half, whole / 4, rtol=0.1)


def test_parts_of_the_fills_add_up_to_their_covariance():
    model = fill_model(GROUND, RUN, LINE)
    np.testing.assert_allclose(sum(FOUND.parts.values()), model.covariance, atol=1e-15)
    sideways = point_covariance(GROUND, model.points, LINE.doubt) - GROUND.covariance(list(model.points))
    np.testing.assert_allclose(
        FOUND.parts["sideways"], model.jacobian @ sideways @ model.jacobian.T, atol=1e-15
    )
    assert FOUND.parts["sideways"].max() > 1e-8  # or the case shows nothing
    np.testing.assert_array_equal(FOUND.fills, model.fills)


@pytest.mark.parametrize("cause", ["scatter", "unread", "sideways"])
def test_a_part_touches_as_often_as_fills_that_only_it_moves(cause):
    row = FOUND.table.set_index("cause").loc[cause]
    part = FOUND.parts[cause]
    chance = chance_any_touches(FOUND.fills, part, touch=LINE.doubt.touch, draws=40_000, seed=9)
    assert row["touches"] == pytest.approx(
        chance, abs=4 * math.sqrt(max(chance, 1e-4) * (1 / 40_000 + 1 / 10_000))
    )
    worst = int(np.diag(part).argmax())
    assert row["at"] == f"tie {worst // 2 + 1} {('left', 'right')[worst % 2]}"
    assert row["size_m"] == pytest.approx(norm.ppf(0.95) * math.sqrt(part[worst, worst]))
    assert row["chance"] == 1.0


def test_the_lift_is_how_deep_the_worst_end_lies_in_the_ground_where_it_touches():
    row = FOUND.table.set_index("cause").loc["unread"]
    drawn = np.random.default_rng(2).multivariate_normal(FOUND.fills, FOUND.parts["unread"], 20_000)
    deep = -drawn.min(axis=1)
    deep = deep[deep > LINE.doubt.touch]
    assert len(deep) > 100
    by = deep.mean() + LINE.gap  # until the gap is back
    assert row["lift_m"] == pytest.approx(by, abs=8 * deep.std() / math.sqrt(len(deep)))
    lowest = drawn.argmin(axis=1)[-drawn.min(axis=1) > LINE.doubt.touch]
    tie, side = divmod(int(np.bincount(lowest).argmax()), 2)
    assert row["touches_at"] == f"tie {tie + 1} {('left', 'right')[side]}"


def test_causes_come_by_how_often_they_touch():
    assert set(FOUND.table["cause"]) == set(CAUSES)
    assert (np.diff(FOUND.table["touches"]) <= 0).all()
    high = level_line(GROUND, RUN, gap=0.5)
    assert find_causes(GROUND, high).table["cause"].tolist() == list(CAUSES)  # none touches


@pytest.mark.parametrize("reading", [0, 7, 9, 18])
@pytest.mark.parametrize("unit", [0.1, 0.008])
def test_a_misread_rod_does_what_a_fit_with_that_rod_changed_does(reading, unit):
    model = fill_model(GROUND, RUN, LINE)
    levels = rods()
    levels.loc[reading, "rod_m"] += unit
    points = list(model.points)
    moved = model.jacobian @ (ground_of(levels).mean(points) - GROUND.mean(points))
    own = FOUND.misread[FOUND.misread["unit_m"] == unit]
    own = own.iloc[row_of(own, reading)]
    assert own["effect_m"] == pytest.approx(np.abs(moved).max(), abs=1e-9)
    worst = int(np.abs(moved).argmax())
    if own["effect_m"] > 1e-9:
        assert own["at"] == f"tie {worst // 2 + 1} {('left', 'right')[worst % 2]}"
    either = [(model.fills + sign * moved).min() < -LINE.doubt.touch for sign in (1, -1)]
    assert own["touches"] == np.mean(either)


@pytest.mark.parametrize("reading", [4, 10])
def test_a_misreading_passes_unnoticed_as_often_as_in_simulated_surveys(reading):
    """Surveys of grounds of the model's own kind, that rod misread by 8 mm: is its w within the limit?

    With stated roughness w is linear in the readings: refits with each of them off tell how.
    """
    rng = np.random.default_rng(reading)
    own = FOUND.misread[FOUND.misread["unit_m"] == 0.008]
    told = own["unnoticed"].iloc[row_of(own, reading)]
    row, count, at = row_of(GROUND.residuals, reading), 500, np.array(READ)
    follows = np.zeros(READINGS.size)
    for one in np.flatnonzero(READINGS):
        off = np.zeros(READINGS.size)
        off[one] = 0.01
        follows[one] = (reread(GROUND, off).fitted.posterior.w[row] - GROUND.fitted.posterior.w[row]) / 0.01
    off = rng.normal(0, ROD_SD, (count, READINGS.size))
    places = [row_of(GROUND.residuals, i) for i in range(2 * len(READ))]
    off[:, places] += rng.normal(0, KNOWN.relief, (count, len(places)))
    for survey in off:
        mean, twist = (integrated_noise(rng, at, q) for q in (KNOWN.q_mean, KNOWN.q_twist))
        survey[places] += np.column_stack([mean - twist / 2, mean + twist / 2]).ravel()
    off[:, row] += 0.008
    passed = np.abs(off @ follows) < limits(GROUND)[row]
    assert 0.05 < told < 0.95
    assert passed.mean() == pytest.approx(told, abs=4 * math.sqrt(told * (1 - told) / count))


def test_what_nothing_checks_passes_unnoticed():
    peg = FOUND.misread[FOUND.misread["reading"] == "levels row 20"]
    assert len(peg) == 2
    np.testing.assert_allclose(peg["unnoticed"], 1.0 - 0.05 / len(GROUND.residuals), atol=1e-6)
    assert FOUND.misread["unnoticed"].between(0.0, 1.0).all()


def test_the_chance_of_a_misreading_is_that_one_of_all_passes_unnoticed():
    found = find_causes(GROUND, LINE, units=(0.02, 0.01), rate=0.9)
    row = found.table.set_index("cause").loc["misread"]
    none, clear, weight, depth = 1.0, 1.0, 0.0, 0.0
    for own in found.misread.itertuples():
        none *= 1 - 0.45 * own.unnoticed
        clear *= 1 - 0.45 * own.unnoticed * own.touches
    assert row["chance"] == pytest.approx(1 - none)
    assert row["touches"] == pytest.approx(1 - clear)
    model = fill_model(GROUND, RUN, LINE)
    for own in found.misread.itertuples():
        off = np.zeros(READINGS.size)
        off[list(GROUND.residuals["reading"]).index(own.reading)] = own.unit_m
        points = list(model.points)
        moved = model.jacobian @ (reread(GROUND, off).mean(points) - GROUND.mean(points))
        for sign in (1, -1):
            deep = -(model.fills + sign * moved).min()
            if deep > LINE.doubt.touch:
                weight, depth = weight + own.unnoticed, depth + own.unnoticed * deep
    assert row["lift_m"] == pytest.approx(depth / weight + LINE.gap, rel=1e-6)
    best = (found.misread["effect_m"] * found.misread["unnoticed"]).idxmax()
    assert (
        row["size_m"] == found.misread["effect_m"].iloc[best] and row["at"] == found.misread["at"].iloc[best]
    )


def test_if_no_rod_is_ever_misread_nothing_comes_of_it():
    row = find_causes(GROUND, LINE, rate=0.0).table.set_index("cause").loc["misread"]
    assert (row["chance"], row["touches"]) == (0.0, 0.0)


def test_where_the_rod_s_sd_was_estimated_the_limit_is_that_of_its_readings():
    levels = rods(tuple(np.repeat(READ, 2)))
    levels["rod_m"] += np.random.default_rng(3).normal(0, ROD_SD, len(levels))
    survey = make_survey(levels=levels)
    ground = fit_ground(
        survey, stations=RUN.ties["station_m"], ground_type=KNOWN, instruments=Instruments(station_sd=0.0),
        estimate="rod_sd",
    )  # fmt: skip
    assert ground.sd_checks is not None and (limits(ground) > norm.ppf(1 - 0.025 / len(levels)) + 0.01).all()
    found = find_causes(ground, level_line(ground, RUN), units=(0.008,)).misread
    table = ground.residuals
    shift = 0.008 * np.sqrt(table["redundancy"]) / table["sd_m"]
    expected = norm.cdf(limits(ground) - shift) - norm.cdf(-limits(ground) - shift)
    np.testing.assert_allclose(found["unnoticed"], expected)


@pytest.mark.parametrize(
    ("wish", "message"),
    [
        ({"units": ()}, "units must be above 0 m, at least one, got"),
        ({"units": (0.1, 0.0)}, r"units must be above 0 m, at least one, got \[0.1, 0.0\]"),
        ({"rate": 1.5}, "rate must lie between 0 and 1, got 1.5"),
        ({"rate": -0.1}, "rate must lie between 0 and 1, got -0.1"),
    ],
)
def test_wishes_that_mean_nothing_are_refused(wish, message):
    with pytest.raises(ValueError, match=message):
        find_causes(GROUND, LINE, **wish)


def test_a_survey_without_rods_has_no_misread_rod():
    boards = [
        {"station_m": at, "to_station_m": at + 1.2, "side": side, "angle_rad": 0.0, "facing": "ahead"}
        for at in (0.0, 1.2, 2.4, 3.6, 4.8) for side in ("left", "right")
    ]  # fmt: skip
    cross = [{"station_m": at, "angle_rad": 0.0, "facing": f} for at in (0.0, 6.0) for f in ("ahead", "back")]
    survey = make_survey(boards=pd.DataFrame(boards), crosslevels=pd.DataFrame(cross))
    ground = fit_ground(survey, stations=RUN.ties["station_m"], ground_type=KNOWN)
    found = find_causes(ground, level_line(ground, RUN))
    assert found.misread.empty
    row = found.table.set_index("cause").loc["misread"]
    assert (row["chance"], row["touches"], row["at"]) == (0.0, 0.0, "")


def test_set_from_a_peg_its_own_doubt_is_in_every_part():
    found = find_causes(GROUND, LINE, set_from="P1")
    model = fill_model(GROUND, RUN, LINE.held_by("P1"))
    np.testing.assert_allclose(sum(found.parts.values()), model.covariance, atol=1e-15)
    np.testing.assert_array_equal(found.fills, FOUND.fills)
    governing = LINE.run.tie_points().index(LINE.contacts[0])
    assert FOUND.parts["scatter"][governing, governing] == pytest.approx(0.0, abs=1e-18)
    assert found.parts["scatter"][governing, governing] > ROD_SD**2
    # nothing checks the peg's own rod, and all fills move by as much
    peg = found.misread.iloc[row_of(found.misread, 18)]
    assert peg["effect_m"] == pytest.approx(0.1)
    assert humps_between(GROUND, LINE, set_from="P1").equals(found.humps)


def test_the_hole_in_a_survey_is_where_a_hump_is_likeliest():
    table = humps_between(GROUND, LINE)
    assert (table[["from_m", "to_m"]].iloc[0]).tolist() == [2.0, 4.5]
    assert (np.diff(table["chance"]) <= 0).all()
    # eight gaps a side, from the first tie to the last
    assert len(table) == 16
    ties = LINE.run.ties["station_m"].to_numpy()
    edges = np.clip(READ, ties[0], ties[-1])
    for side in ("left", "right"):
        own = table[table["side"] == side].sort_values("from_m")
        np.testing.assert_allclose(own["from_m"], edges[:-1])
        np.testing.assert_allclose(own["to_m"], edges[1:])
        assert own.loc[own["hump_m"].idxmax(), "from_m"] == 2.0
    assert ((table["from_m"] <= table["station_m"]) & (table["station_m"] <= table["to_m"])).all()


def test_the_chance_of_a_hump_is_that_of_unread_ground_against_what_the_line_rests_on():
    for row in humps_between(GROUND, LINE).itertuples():
        point = (row.station_m, row.side)
        both = [point, LINE.contacts[0]]
        _, unread = parts_of(GROUND, both)
        sd = math.sqrt(max(unread[0, 0] + unread[1, 1] - 2 * unread[0, 1], 0.0))
        room = float(LINE.height(row.station_m) - GROUND.mean([point])[0])
        assert row.room_m == pytest.approx(room)
        assert row.chance == pytest.approx(
            norm.sf((room + LINE.doubt.touch) / sd) if sd > 1e-9 else 0.0, abs=1e-9
        )
        assert row.hump_m >= norm.ppf(0.95) * sd - 1e-9


def test_a_board_on_the_other_side_does_not_fill_a_hole():
    boards = [
        {"station_m": 2.0, "to_station_m": 3.2, "side": "right", "angle_rad": 0.0, "facing": facing}
        for facing in ("ahead", "back")
    ]  # fmt: skip
    table = humps_between(ground_of(boards=pd.DataFrame(boards)), LINE)
    left, right = (table[table["side"] == side] for side in ("left", "right"))
    assert 3.2 in right["from_m"].tolist() and 3.2 not in left["from_m"].tolist()
    assert ((left["from_m"] == 2.0) & (left["to_m"] == 4.5)).any()


def test_under_lower_track_a_hump_has_more_room():
    low = Section("low", 3.0, (0.15, 1.5, 2.85), rail_top=0.10, bearing=0.1)
    run = run_from_sections([SECTION, low])
    line = level_line(GROUND, run, doubt=Doubt())
    for row in humps_between(GROUND, line).itertuples():
        under = line.height(row.station_m) + (0.02 if row.station_m >= 3.0 else 0.0)
        assert row.room_m == pytest.approx(under - GROUND.mean([(row.station_m, row.side)])[0])
