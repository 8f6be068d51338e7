"""What goes wrong on the day, cause by cause: against refits, simulations and plain loops."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from grounds import integrated_noise
from holed import ENDS, GROUND, KNOWN, LINE, READ, READINGS, ROD_SD, RUN, ground_of, reread, rods
from scipy.stats import norm

from trackkit.layout.clearance import Clearance
from trackkit.layout.doubt import Doubt, chance_any_touches, fill_model, point_covariance
from trackkit.layout.line import level_line
from trackkit.study.causes import CAUSES, MISREAD, find_causes
from trackkit.study.humps import humps_between
from trackkit.study.parts import SHARED, parts_of
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.quality.detectable import limits
from trackkit.survey.readings import make_survey

FOUND = find_causes(GROUND, LINE, units=(0.1, 0.008))


def row_of(table, reading):
    """Return where a table has the rod of a row of `rods`; the file's first row has the names."""
    return table["reading"].tolist().index(f"levels row {reading + 2}")


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
    assert set(FOUND.table["cause"]) == set(CAUSES) - set(SHARED)  # rods alone share nothing
    assert (np.diff(FOUND.table["touches"]) <= 0).all()
    high = level_line(GROUND, RUN, gap=0.5)
    table = find_causes(GROUND, high).table  # none touches
    assert table["cause"].tolist() == [cause for cause in CAUSES if cause not in SHARED]


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
    pd.testing.assert_frame_equal(
        humps_between(GROUND, LINE, set_from="P1"), found.humps, rtol=1e-9, atol=1e-12
    )


# --- what readings share ----------------------------------------------------------------------------


def phone_case(*facings):
    boards = [
        {"station_m": at, "to_station_m": at + 1.2, "side": side, "angle_rad": 0.0, "facing": facing}
        for at in (0.0, 1.2, 2.4, 3.6, 4.8) for side in ("left", "right") for facing in facings
    ]  # fmt: skip
    cross = [{"station_m": at, "angle_rad": 0.0, "facing": facing} for at in (0.0, 6.0) for facing in facings]
    survey = make_survey(boards=pd.DataFrame(boards), crosslevels=pd.DataFrame(cross))
    return fit_ground(survey, stations=RUN.ties["station_m"], ground_type=KNOWN)


def test_a_phone_read_one_way_round_is_told_of_and_one_that_was_reversed_is_not():
    one, both = (phone_case(*ways) for ways in (["ahead"], ["ahead", "back"]))
    found = find_causes(one, level_line(one, RUN))
    assert found.told["cause"].iloc[0] == "zero"
    assert found.told["size_m"].iloc[0] > 0.02  # one degree tilts 3 m by 5 cm, 1 time in 20 by 8 cm
    again = find_causes(both, level_line(both, RUN))
    assert "zero" in again.table["cause"].tolist() and "zero" not in again.told["cause"].tolist()
    assert "misread" not in again.told["cause"].tolist()  # no rod was read
    for ground, causes in ((one, found), (both, again)):
        model = fill_model(ground, RUN, level_line(ground, RUN))
        np.testing.assert_allclose(sum(causes.parts.values()), model.covariance, atol=1e-12)


# --- obstacles --------------------------------------------------------------------------------------

ROOM = 0.002


def over_obstacle(spare):
    """Return a line 50 mm over the ground at the least, and so much over an obstacle with its room."""
    low = level_line(GROUND, RUN, gap=0.05, doubt=Doubt(touch=0.001, sideways_sd=0.0))
    top = float(low.height(2.0)) - ROOM - spare
    own = {"station_m": 2.0, "offset_m": 0.1, "height_m": top, "point": "", "note": "root"}
    return level_line(
        GROUND, RUN, gap=0.05, obstacles=pd.DataFrame([own]), clearance=Clearance(over=ROOM), doubt=low.doubt
    )


def test_an_obstacle_of_given_height_is_touched_as_the_line_s_own_doubt_has_it():
    """The line hangs on one tie end: a normal probability, and the mean beyond it, by hand."""
    line = over_obstacle(0.0002)
    assert len(line.contacts) == 1 and len(line.resting.rows.labels) == 2 * len(RUN.ties) + 1
    found = find_causes(GROUND, line, draws=40_000).table.set_index("cause")
    parts = parts_of(GROUND, [line.contacts[0]])
    above, deep = ROOM + 0.0002, ROOM + 0.0002 + line.doubt.touch
    assert above < 3 * math.sqrt(parts["scatter"][0, 0])  # or the case shows nothing
    sd = math.sqrt(parts["scatter"][0, 0])
    chance = norm.sf(deep / sd)
    row = found.loc["scatter"]
    assert row["touches"] == pytest.approx(chance, abs=4 * math.sqrt(chance / 40_000))
    assert row["touches_at"] == "obstacle 1 (root, 2.00 m)"
    beyond = sd * norm.pdf(deep / sd) / chance - above  # mean of what lies over the line where it touches
    assert row["lift_m"] == pytest.approx(beyond + ROOM, abs=2e-4)
    assert found.loc["sideways", "touches"] == 0.0


def test_with_no_room_left_over_an_obstacle_fills_are_what_they_were():
    bare = level_line(GROUND, RUN, gap=0.05, doubt=Doubt(touch=0.001, sideways_sd=0.0))
    with_it = find_causes(GROUND, over_obstacle(0.0002))
    without = find_causes(GROUND, bare)
    np.testing.assert_allclose(with_it.fills, without.fills)
    for name, part in without.parts.items():
        np.testing.assert_allclose(with_it.parts[name], part, atol=1e-15)
    assert (without.table["touches"] == 0.0).all()


def test_over_an_obstacle_of_given_height_that_it_rests_on_the_line_has_no_doubt():
    """What is doubtful then is the ground at the ties, and the obstacle is never touched."""
    line = over_obstacle(-0.002)
    assert line.rests_on == ("obstacle 1 (root, 2.00 m)",) and not line.contacts
    found = find_causes(GROUND, line, units=(0.01,))
    touches = found.table.set_index("cause")["touches"]
    assert (touches.drop("misread") == 0.0).all()
    # read but once: a centimetre too high a rod is half of all misreadings of it
    assert touches["misread"] == pytest.approx(MISREAD / 2, rel=1e-6)
    np.testing.assert_allclose(found.parts["scatter"], parts_of(GROUND, ENDS)["scatter"], atol=1e-15)


def test_a_line_that_was_raised_leaves_an_obstacle_as_much_more_room():
    line = over_obstacle(0.0002)
    up = line.higher(0.02)
    table = find_causes(GROUND, up, units=(0.1,)).table.set_index("cause")
    assert table.loc["scatter", "touches"] == 0.0
    misread = find_causes(GROUND, up, units=(0.1,), rate=1.0).table.set_index("cause").loc["misread"]
    assert misread["touches_at"] != ""


# --- the line raised --------------------------------------------------------------------------------


def assert_same(one, other):
    """Assert that two causes are the same to the last digit."""
    for name in ("table", "humps", "misread"):
        pd.testing.assert_frame_equal(getattr(one, name), getattr(other, name), check_exact=True)
    assert one.parts.keys() == other.parts.keys()
    for name, part in one.parts.items():
        np.testing.assert_array_equal(part, other.parts[name])
    np.testing.assert_array_equal(one.fills, other.fills)
    assert (one.units, one.rate) == (other.units, other.rate)


@pytest.mark.parametrize("more", [0.0, 0.0004, 0.00635, 0.05, -0.002, -0.02])
@pytest.mark.parametrize("set_from", [None, "P1"])
def test_of_a_line_raised_or_lowered_the_causes_are_found_as_from_the_start(more, set_from):
    asked = {"units": (0.02, 0.008), "rate": 0.3, "set_from": set_from}
    first = find_causes(GROUND, LINE, **asked)
    up = LINE.higher(more)
    np.testing.assert_array_equal(up.knots_height, LINE.knots_height + more)
    assert up.gap == LINE.gap + more
    assert_same(first.raised(more), find_causes(GROUND, up, **asked))


@pytest.mark.parametrize("more", [0.0003, 0.02, -0.001])
def test_a_line_over_an_obstacle_is_raised_and_so_is_the_room_that_it_is_to_have(more):
    line = over_obstacle(0.0002)
    found = find_causes(GROUND, line, units=(0.1,), rate=1.0).raised(more)
    assert_same(found, find_causes(GROUND, line.higher(more), units=(0.1,), rate=1.0))


def test_over_likely_grounds_a_line_is_raised_as_over_one_and_from_where_it_was_raised_to():
    rough = ground_of(kind=GroundType(q_mean=3e-3, q_twist=1e-3, relief=0.004))
    likely = ((0.5, GROUND), (0.5, rough))
    twice = find_causes(GROUND, LINE, likely=likely).raised(0.003).raised(0.001)
    assert_same(twice, find_causes(GROUND, LINE.higher(0.003).higher(0.001), likely=likely))
    assert twice.line.gap == pytest.approx(LINE.gap + 0.004)
    assert twice.table["touches"].max() > 0.01  # or the case shows nothing


def test_a_line_raised_by_much_is_touched_by_nothing_and_its_parts_stay_as_they_were():
    high = FOUND.raised(0.5)
    assert (high.table["touches"] == 0.0).all() and (high.table["lift_m"] == 0.0).all()
    np.testing.assert_allclose(high.fills, FOUND.fills + 0.5)
    for name, part in FOUND.parts.items():
        np.testing.assert_array_equal(high.parts[name], part)


# --- obstacles that were read, and rougher ground -----------------------------------------------------


def test_an_obstacle_that_was_read_with_a_rod_is_as_doubtful_as_that_rod():
    levels = rods()
    spot = {"laser": "1", "station_m": np.nan, "side": "", "rod_m": 1.52, "point": "root"}
    ground = ground_of(pd.concat([levels, pd.DataFrame([spot])], ignore_index=True))
    root = {"station_m": 2.0, "offset_m": 0.1, "height_m": np.nan, "point": "root", "note": ""}
    line = level_line(ground, RUN, gap=0.05, obstacles=pd.DataFrame([root]))
    found = find_causes(ground, line, units=(0.1,), rate=1.0)
    label = "obstacle 1 (2.00 m)"
    assert line.resting.rows.labels[-1] == label
    own = found.misread[found.misread["at"] == label]
    # nothing checks a point that was read once: it follows its rod all the way
    assert own["effect_m"].max() == pytest.approx(0.1)
    # 10 cm too low, the root stands in the track's way
    assert own["touches"].max() == 0.5


def test_where_rougher_ground_is_likely_a_hump_may_be_higher_and_touches_more_often():
    rough = ground_of(kind=GroundType(q_mean=3e-3, q_twist=1e-3, relief=0.004))
    likely = ((0.5, GROUND), (0.5, rough))
    one, both = (find_causes(GROUND, LINE, likely=own) for own in ((), likely))
    unread = [found.table.set_index("cause").loc["unread"] for found in (one, both)]
    assert unread[1]["size_m"] > 1.3 * unread[0]["size_m"] and unread[1]["touches"] > unread[0]["touches"]
    ends = list(ENDS)
    held = LINE.contacts[0]
    points = [*ends, held]
    away = np.column_stack([-np.eye(len(ends)), np.ones(len(ends))])
    expected = away @ parts_of(GROUND, points, likely=likely)["unread"] @ away.T
    np.testing.assert_allclose(both.parts["unread"], expected, atol=1e-15)
    humps = [
        humps_between(GROUND, LINE, likely=own).set_index(["side", "from_m"])["hump_m"]
        for own in ((), likely)
    ]
    assert (humps[1] > humps[0].reindex(humps[1].index)).all()


def test_a_misread_rod_on_an_obstacle_moves_nothing_else_and_passes_unnoticed():
    """By hand: of rods misread by 1 cm or by 10 cm, each either way, one on the root is found by nobody."""
    line = over_obstacle(-0.002)
    found = find_causes(GROUND, line, units=(0.01, 0.1), rate=0.2)
    own = found.misread[found.misread["reading"] == "obstacle 1 (root, 2.00 m)"]
    assert own["unit_m"].tolist() == [0.01, 0.1] and (own["unnoticed"] == 1.0).all()
    assert own["effect_m"].tolist() == [0.01, 0.1]
    assert (own["at"] == "obstacle 1 (root, 2.00 m)").all() and (own["touches"] == 0.5).all()
    row = found.table.set_index("cause").loc["misread"]
    rods = found.misread.drop(own.index)
    none_else = math.prod(1 - 0.1 * one.unnoticed * one.touches for one in rods.itertuples())
    assert row["touches"] == pytest.approx(1 - (1 - 0.1 * 0.5) ** 2 * none_else)


def test_over_likely_grounds_no_cause_touches_more_often_than_its_own_mixture():
    """Each draw is of one ground: with the rough one alone half of that many touch, with the smooth none."""
    rough = ground_of(kind=GroundType(q_mean=3e-2, q_twist=1e-2, relief=0.004))
    alone = [find_causes(own, LINE).table.set_index("cause")["touches"] for own in (GROUND, rough)]
    mixed = find_causes(GROUND, LINE, likely=((0.5, GROUND), (0.5, rough))).table.set_index("cause")[
        "touches"
    ]
    for cause in ("unread", "scatter"):
        expected = 0.5 * alone[0][cause] + 0.5 * alone[1][cause]
        assert mixed[cause] == pytest.approx(expected, abs=4 * 0.5 / 100 + 0.01)
    assert alone[1]["unread"] > alone[0]["unread"] + 0.1
