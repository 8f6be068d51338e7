"""What the fit does with each kind of reading, and what it refuses."""

import numpy as np
import pandas as pd
import pytest

from trackkit.problems import FitError
from trackkit.survey.grid import Break, make_grid
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.observe import observe
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey

STATIONS = np.arange(0.0, 10.0)
PLAIN = Instruments(station_sd=0.0)
KIND = GroundType(1e-5, 3e-6, 0.0)


def left(s):
    """A smooth ground's left side."""
    return 0.04 * s + 0.02 * np.sin(s / 2)


def right(s):
    """Its right side."""
    return left(s) - 0.03 + 0.002 * s


def rods(stations=STATIONS, sides=("left", "right"), laser="1", plane=1.5, noise=0.0, seed=0):
    """Return levels with exact readings, or noisy ones."""
    rng = np.random.default_rng(seed)
    rows = []
    for side in sides:
        height = (left if side == "left" else right)(stations)
        for s, z in zip(stations, height, strict=True):
            rows.append(
                {"laser": laser, "station_m": s, "side": side, "rod_m": plane - z + rng.normal(0, noise)}
            )
    return pd.DataFrame(rows)


def joined(*frames):
    return pd.concat(frames, ignore_index=True).fillna({"side": "", "point": "", "laser": "1"})


def test_exact_readings_give_back_the_ground():
    ground = fit_ground(make_survey(levels=rods()), ground_type=KIND, instruments=PLAIN)
    for side, truth in (("left", left), ("right", right)):
        mean, _ = ground.height(STATIONS, side)
        np.testing.assert_allclose(mean, truth(STATIONS) - left(0.0), atol=1e-3)


def test_larger_rod_reading_is_lower_ground():
    levels = rods()
    levels.loc[4, "rod_m"] += 0.05
    lower = fit_ground(make_survey(levels=levels), ground_type=KIND).height(4.0, "left")[0]
    assert lower < fit_ground(make_survey(levels=rods()), ground_type=KIND).height(4.0, "left")[0]


def test_scalar_station_gives_the_same_as_an_array_of_one():
    ground = fit_ground(make_survey(levels=rods()), ground_type=KIND)
    mean, sd = ground.height(3.3, "left")
    means, sds = ground.height(np.array([3.3]), ["left"])
    assert (mean, sd) == (means[0], sds[0])


def test_order_of_readings_changes_nothing():
    levels = rods(noise=0.002)
    shuffled = levels.sample(frac=1.0, random_state=3)
    datum = (0.0, "left")
    first = fit_ground(make_survey(levels=levels), ground_type=KIND, datum=datum)
    second = fit_ground(make_survey(levels=shuffled), ground_type=KIND, datum=datum)
    np.testing.assert_allclose(first.height(STATIONS, "right"), second.height(STATIONS, "right"), atol=1e-12)


def test_doubling_every_sigma_and_roughness_quadruples_the_covariance():
    points = [(2.0, "left"), (5.5, "right"), (11.0, "left")]
    survey = make_survey(levels=rods(noise=0.002))
    once = fit_ground(survey, ground_type=GroundType(1e-5, 1e-5, 0.001), instruments=PLAIN)
    double = Instruments(station_sd=0.0, rod_sd=2 * PLAIN.rod_sd)
    twice = fit_ground(survey, ground_type=GroundType(4e-5, 4e-5, 0.002), instruments=double)
    np.testing.assert_allclose(twice.covariance(points), 4 * once.covariance(points), rtol=1e-9)


def test_two_laser_positions_tied_by_a_peg_agree():
    near, far = rods(STATIONS[:6]), rods(STATIONS[6:], laser="2", plane=1.9)
    peg = pd.DataFrame({"laser": ["1", "2"], "point": ["P", "P"], "rod_m": [1.2, 1.6], "side": ["", ""]})
    ground = fit_ground(make_survey(levels=joined(near, far, peg)), ground_type=KIND, instruments=PLAIN)
    planes = ground.lasers.set_index("laser")["height_m"]
    assert planes["2"] - planes["1"] == pytest.approx(0.4, abs=1e-3)
    assert ground.datum == "P"
    assert ground.point("P") == (0.0, 0.0)


def test_laser_positions_joined_only_by_smoothness_are_refused_unless_allowed():
    levels = joined(rods(STATIONS[:6]), rods(STATIONS[6:], laser="2", plane=1.9))
    survey = make_survey(levels=levels)
    with pytest.raises(FitError, match=r"only the ground's smoothness joins laser position '\d'"):
        fit_ground(survey, ground_type=KIND)
    ground = fit_ground(survey, ground_type=KIND, smooth_ties=True)
    planes = ground.lasers.set_index("laser")["height_m"]
    assert planes["2"] - planes["1"] == pytest.approx(0.4, abs=0.03)


def test_laser_positions_may_be_tied_by_the_same_ground_point():
    levels = joined(rods(STATIONS[:6]), rods(STATIONS[5:], laser="2", plane=1.9))
    ground = fit_ground(make_survey(levels=levels), ground_type=KIND, instruments=PLAIN)
    planes = ground.lasers.set_index("laser")["height_m"]
    assert planes["2"] - planes["1"] == pytest.approx(0.4, abs=1e-3)


def test_a_laser_tied_to_nothing_is_named_with_what_to_read():
    stray = pd.DataFrame({"laser": ["9"], "point": ["Q"], "rod_m": [1.0], "side": [""]})
    with pytest.raises(FitError, match=r"laser position '9'.*another laser position"):
        fit_ground(make_survey(levels=joined(rods(), stray)), ground_type=KIND)


def test_a_side_without_level_is_named_with_what_to_read():
    boards = {"station_m": [1.0, 4.0], "to_station_m": [2.0, 5.0], "side": "right", "angle_rad": [0.04, 0.04]}
    survey = make_survey(levels=rods(sides=("left",)), boards=boards)
    with pytest.raises(FitError, match=r"height of the right side.*left-to-right"):
        fit_ground(survey, ground_type=KIND)


def test_a_side_read_at_one_station_lacks_its_slope():
    levels = joined(rods(sides=("left",)), rods(np.array([3.0]), sides=("right",)))
    with pytest.raises(FitError, match=r"slope of the right side.*second station"):
        fit_ground(make_survey(levels=levels), ground_type=KIND)


def test_no_reading_at_all_is_said():
    with pytest.raises(FitError, match="there is no reading"):
        fit_ground(make_survey(benchmarks={"point": ["B"], "height_m": [1.0], "sd_m": [0.0]}).__class__())


def test_a_side_that_was_not_read_is_refused():
    ground = fit_ground(make_survey(levels=rods(sides=("left",))), ground_type=KIND)
    with pytest.raises(ValueError, match="no reading on the 'right' side"):
        ground.height(1.0, "right")
    with pytest.raises(KeyError, match="peg 'Z' is not in the survey"):
        ground.point("Z")


def test_a_pair_of_facings_removes_the_zero_error():
    zero = np.radians(0.5)
    slope = np.arctan(0.04)
    near, far = np.repeat(STATIONS[:-1], 2), np.repeat(STATIONS[1:], 2)
    rise = np.repeat(left(STATIONS[1:]) - left(STATIONS[:-1]), 2)
    angle = np.arctan(rise) + np.tile([zero, -zero], STATIONS.size - 1)
    boards = {"station_m": near, "to_station_m": far, "side": "left", "angle_rad": angle}
    boards["facing"] = ["ahead", "back"] * (STATIONS.size - 1)
    ground = fit_ground(make_survey(boards=boards), ground_type=KIND, instruments=PLAIN, datum=(0.0, "left"))
    assert ground.zero_errors["zero_rad"].iloc[0] == pytest.approx(zero, rel=0.01)
    assert ground.height(9.0, "left")[0] == pytest.approx(left(9.0) - left(0.0), abs=0.003)
    assert slope > 0


def test_left_to_right_lifts_the_right_side():
    cross = {"station_m": STATIONS[::3], "rise_m": right(STATIONS[::3]) - left(STATIONS[::3])}
    survey = make_survey(levels=rods(sides=("left",)), crosslevels=cross)
    ground = fit_ground(survey, ground_type=KIND, instruments=PLAIN)
    mean, _ = ground.height(STATIONS, "right")
    np.testing.assert_allclose(mean, right(STATIONS) - left(0.0), atol=2e-3)


def test_a_reading_between_the_sides_lies_on_the_straight_line_across():
    middle = pd.DataFrame({"laser": "1", "station_m": [4.5], "offset_m": [0.1], "side": [""], "rod_m": [0.0]})
    across = 0.5 + 0.1 / 0.62
    middle["rod_m"] = 1.5 - ((1 - across) * left(4.5) + across * right(4.5))
    ground = fit_ground(make_survey(levels=joined(rods(), middle)), ground_type=KIND, instruments=PLAIN)
    offset = ground.residuals.query("kind == 'rod at offset'")
    assert abs(offset["residual_m"].iloc[0]) < 1e-3
    assert offset["sd_m"].iloc[0] == pytest.approx(np.hypot(PLAIN.rod_sd, PLAIN.crown_sd))


def test_two_lasers_on_one_offset_point_are_tied_by_it():
    spot = {"station_m": [4.5, 4.5], "offset_m": [0.1, 0.1], "side": ["", ""], "laser": ["1", "2"]}
    middle = pd.DataFrame({**spot, "rod_m": [1.3, 1.7]})
    levels = joined(rods(STATIONS[:6]), rods(STATIONS[6:], laser="2", plane=1.9), middle)
    ground = fit_ground(make_survey(levels=levels), ground_type=KIND, instruments=PLAIN)
    planes = ground.lasers.set_index("laser")["height_m"]
    assert planes["2"] - planes["1"] == pytest.approx(0.4, abs=2e-3)


def test_a_break_is_not_smoothed_over():
    kerb = 0.12
    levels = rods()
    after = levels["station_m"] >= 5
    levels.loc[after, "rod_m"] -= kerb
    breaks = [Break("left", 4.6), Break("right", 4.8)]
    ground = fit_ground(make_survey(levels=levels), ground_type=KIND, instruments=PLAIN, breaks=breaks)
    before, beyond = (ground.height(s, "left")[0] for s in (4.59, 4.61))
    assert beyond - before == pytest.approx(kerb, abs=0.005)
    assert ground.height(4.7, "right")[0] < ground.height(4.85, "right")[0] - 0.1
    smooth = fit_ground(make_survey(levels=levels), instruments=PLAIN)
    assert (
        smooth.roughness.q_mean
        > 100 * fit_ground(make_survey(levels=levels), instruments=PLAIN, breaks=breaks).roughness.q_mean
    )


def test_a_break_with_one_station_beyond_it_lacks_the_slope_there():
    with pytest.raises(FitError, match=r"slope of the left side, 8.5. to 9.00 m"):
        fit_ground(make_survey(levels=rods()), ground_type=KIND, breaks=[Break("left", 8.5)])
    ground = fit_ground(
        make_survey(levels=rods()), ground_type=KIND, breaks=[Break("left", 8.5, frees="height")]
    )
    assert ground.height(8.9, "left")[0] == pytest.approx(left(8.9) - left(0.0), abs=0.01)


def test_a_taped_step_carries_the_height_across_a_break():
    levels = rods()
    beyond = (levels["side"] == "left") & (levels["station_m"] > 7.5)
    levels.loc[beyond, "rod_m"] -= 0.1
    edge = {"side": "left", "station": 7.5}
    found = {}
    for step in (0.1, 0.16, float("nan")):
        breaks = [Break(**edge, step=step)]
        ground = fit_ground(make_survey(levels=levels), ground_type=KIND, breaks=breaks, instruments=PLAIN)
        found[step] = ground.residuals.query("kind == 'step'")
    assert found[0.1]["residual_m"].abs().max() < 0.01
    assert found[0.16]["w"].iloc[0] < -3 * abs(found[0.1]["w"].iloc[0])
    assert [len(table) for table in found.values()] == [1, 1, 0]


def test_a_rod_set_down_by_tape_is_worth_less_on_a_slope():
    levels = rods()
    levels["rod_m"] = 1.5 - 0.1 * levels["station_m"]
    ground = fit_ground(
        make_survey(levels=levels), ground_type=KIND, instruments=Instruments(station_sd=0.02)
    )
    assert ground.residuals["sd_m"].iloc[5] == pytest.approx(np.hypot(Instruments().rod_sd, 0.002), rel=1e-3)


def test_stations_taped_on_the_slope_are_levelled_out():
    along = STATIONS * np.hypot(1.0, 0.3)
    levels = rods()
    levels["rod_m"] = 4.5 - 0.3 * levels["station_m"]
    levels["station_m"], levels["along"] = np.tile(along, 2), True
    ground = fit_ground(make_survey(levels=levels), ground_type=KIND, instruments=PLAIN)
    np.testing.assert_allclose(ground.stations, STATIONS, atol=2e-3)
    assert ground.height(9.0, "left")[0] == pytest.approx(2.7, abs=2e-3)


@pytest.mark.parametrize("first", [0, 2, 5])
def test_a_tape_from_the_start_mark_gives_true_stations_wherever_reading_begins(first):
    """On a straight slope every taped distance shrinks by the cosine: arithmetic."""
    level = np.arange(float(first), 10.0)
    levels = rods(level)
    levels["rod_m"] = 4.5 - 0.3 * levels["station_m"]
    levels["station_m"], levels["along"] = np.tile(level * np.hypot(1.0, 0.3), 2), True
    ground = fit_ground(make_survey(levels=levels), ground_type=KIND, instruments=PLAIN)
    np.testing.assert_allclose(ground.stations, level, atol=3e-3)


def test_a_ditch_that_nobody_read_is_planned_over_and_not_refused():
    edges = [Break(side, at) for side in ("left", "right") for at in (3.2, 3.6)]
    levels = rods()
    levels.loc[levels["station_m"] > 3.5, "rod_m"] -= 0.12
    ground = fit_ground(make_survey(levels=levels), ground_type=KIND, instruments=PLAIN, breaks=edges)
    before, beyond = (ground.height(s, "left")[0] for s in (3.1, 3.7))
    assert beyond - before == pytest.approx(0.12 + left(3.7) - left(3.1), abs=0.02)


def test_a_point_exactly_at_a_break_lies_beyond_it():
    levels = rods()
    levels.loc[levels["station_m"] >= 5, "rod_m"] -= 0.12
    breaks = [Break("left", 5.0), Break("right", 5.0)]
    ground = fit_ground(make_survey(levels=levels), ground_type=KIND, instruments=PLAIN, breaks=breaks)
    at, before = (ground.height(s, "left")[0] for s in (5.0, 4.999))
    assert at - before == pytest.approx(0.12, abs=0.01)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_point_on_a_break_between_the_nodes_lies_beyond_it(side):
    levels = rods()
    levels.loc[levels["station_m"] >= 5, "rod_m"] -= 0.12
    breaks = [Break("left", 4.5), Break("right", 4.5)]
    ground = fit_ground(make_survey(levels=levels), ground_type=KIND, instruments=PLAIN, breaks=breaks)
    assert np.abs(ground.stations - 4.5).min() > 1e-3
    before, at, beyond = (ground.height(s, side)[0] for s in (4.5 - 1e-5, 4.5, 4.5 + 1e-5))
    assert at == pytest.approx(beyond, abs=1e-5)
    assert at - before == pytest.approx(0.12, abs=0.02)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("relief", [False, True])
def test_a_taped_step_is_the_far_ground_less_the_near_each_carried_on_along_its_slope(side, relief):
    """Two planes that lean differently, a step of 50 mm where they meet: arithmetic."""
    edge, near_slope, far_slope, step = 3.3, 0.1, -0.2, 0.05
    grid = make_grid(STATIONS, ("left", "right"), relief=relief, breaks=(Break(side, edge, step),))
    rows = observe(make_survey(), grid, PLAIN, width=0.62, breaks=(Break(side, edge, step),))
    beyond = edge <= STATIONS
    state = np.zeros(grid.size)
    node, which = np.arange(STATIONS.size), grid.side_index(side)
    rise = np.where(beyond, step + far_slope * (STATIONS - edge), near_slope * (STATIONS - edge))
    state[grid.column(node, which, "smooth")] = 1.7 + rise
    state[grid.column(node, which, "slope")] = grid.scale * np.where(beyond, far_slope, near_slope)
    assert rows.value.tolist() == [step]
    assert rows.ground @ state == pytest.approx([step], abs=1e-12)


def test_a_board_across_a_break_reads_the_taped_step_and_both_slopes():
    """Boards alone, one over the break: the far ground is known by it within the doubt of the tape."""
    near, far = np.arange(0.0, 9.0), np.arange(1.0, 10.0)
    height = {s: 0.05 * s + (0.12 - 0.1 * (s - 4.8) if s >= 4.8 else 0.0) for s in STATIONS}
    rise = np.array([height[b] - height[a] for a, b in zip(near, far, strict=True)])
    survey = make_survey(
        boards={"station_m": near, "to_station_m": far, "side": "left", "rise_m": rise},
        breaks={"left_station_m": [4.8], "step_m": [0.12]},
    )
    ground = fit_ground(survey, ground_type=KIND, instruments=PLAIN, datum=(0.0, "left"))
    assert ground.residuals["residual_m"].abs().max() < 5e-4
    assert ground.height(4.8, "left")[0] - ground.height(4.799, "left")[0] == pytest.approx(0.12, abs=2e-3)


def test_estimating_the_roughness_does_not_widen_a_benchmark():
    peg = pd.DataFrame({"laser": ["1"], "point": ["B"], "rod_m": [1.2], "side": [""]})
    known = {"point": ["B"], "height_m": [5.0], "sd_m": [0.002]}
    ground = fit_ground(
        make_survey(levels=joined(rods(noise=0.002), peg), benchmarks=known), instruments=PLAIN
    )
    assert ground.inflation > 1.0
    assert ground.point("B") == pytest.approx((5.0, 0.002))


def test_readings_on_the_rail_give_the_ground_under_the_tie():
    levels = rods()
    levels["on"], levels["rail_top_m"] = "rail", 0.11
    levels["rod_m"] -= 0.11
    ground = fit_ground(
        make_survey(levels=levels), ground_type=KIND, instruments=Instruments(station_sd=0.05)
    )
    assert ground.height(9.0, "left")[0] == pytest.approx(left(9.0) - left(0.0), abs=1e-3)
    assert ground.residuals["sd_m"].max() == pytest.approx(Instruments().rod_sd)


def test_a_misread_rod_is_doubtful_although_the_roughness_is_estimated():
    levels = rods(noise=0.0015)
    levels.loc[13, "rod_m"] += 0.1
    table = fit_ground(make_survey(levels=levels), instruments=PLAIN).residuals
    assert list(np.flatnonzero(table["doubtful"])) == [13]
    assert table["w_without"].iloc[13] < -5


def test_nothing_checks_a_single_reading_of_a_peg_and_only_smoothness_a_sparse_rod():
    peg = pd.DataFrame({"laser": ["1"], "point": ["P"], "rod_m": [1.2], "side": [""]})
    table = fit_ground(make_survey(levels=joined(rods(noise=0.001), peg)), ground_type=KIND).residuals
    assert table.query("point == 'P'")["checked"].tolist() == ["nothing"]
    assert set(table.query("kind == 'rod'")["checked"]) == {"smoothness"}
    again = fit_ground(
        make_survey(levels=joined(rods(noise=0.001), rods(noise=0.001, seed=1))), ground_type=KIND
    )
    assert set(again.residuals["checked"]) == {"readings"}


def test_draws_have_the_stated_mean_and_covariance():
    ground = fit_ground(make_survey(levels=rods(noise=0.002)), ground_type=GroundType(1e-4, 1e-5, 0.002))
    points = [(1.0, "left"), (4.5, "right"), (9.0, "left")]
    draws = ground.draw(points, 20_000, seed=5)
    covariance = ground.covariance(points)
    sd = np.sqrt(np.diag(covariance))
    assert np.all(np.abs(draws.mean(axis=0) - ground.mean(points)) < 4 * sd / np.sqrt(20_000))
    np.testing.assert_allclose(np.cov(draws.T), covariance, atol=4 * sd.max() ** 2 * np.sqrt(2 / 20_000))
    np.testing.assert_array_equal(draws, ground.draw(points, 20_000, seed=5))


def test_stated_roughness_is_reported_as_stated_and_estimated_as_estimated():
    survey = make_survey(levels=rods(noise=0.001))
    assert fit_ground(survey, ground_type=KIND).roughness.estimated == ()
    found = fit_ground(survey, ground_type=GroundType(relief=0.001))
    assert found.roughness.estimated == ("q_mean", "q_twist")
    assert found.inflation > 1.0
    assert "partly estimated from the readings" in found.roughness.words()


def test_a_roughness_below_the_arithmetic_is_reported_as_the_one_that_is_used():
    survey = make_survey(levels=rods(noise=0.001))

    def fitted(q):
        return fit_ground(survey, ground_type=GroundType(q, 3e-6, 0.001), instruments=PLAIN)

    stated, tiny = fitted(1e-5), fitted(1e-25)
    assert stated.roughness.raised == ()
    assert "smoothest" not in stated.roughness.words()
    used = tiny.roughness.q_mean
    assert tiny.roughness.raised == ("q_mean",)
    assert 1e-25 < used < 1e-12
    assert "the smoothest that the arithmetic bears" in tiny.roughness.words()
    np.testing.assert_allclose(
        fitted(used).height([2.5, 12.0], "left"), tiny.height([2.5, 12.0], "left"), rtol=1e-12
    )


def test_an_estimated_roughness_at_the_limit_of_the_arithmetic_says_so():
    """Readings 12 mm apart on a plane: it is smoother than the digits allow at such a spacing."""
    levels = rods(np.arange(0.0, 6.0, 0.012))
    levels["rod_m"] = 1.5 - 0.02 * levels["station_m"]
    found = fit_ground(make_survey(levels=levels), ground_type=GroundType(relief=0.0)).roughness
    assert "q_mean" in found.raised
    assert "smoothest" in found.words()


def test_boards_over_several_nodes_keep_the_banded_solution_right():
    boards = {"station_m": [0.0, 4.0], "to_station_m": [5.0, 8.0], "side": "left"}
    boards["rise_m"] = [left(5.0) - left(0.0), left(8.0) - left(4.0)]
    ground = fit_ground(make_survey(levels=rods(), boards=boards), ground_type=KIND, instruments=PLAIN)
    assert ground.residuals["residual_m"].abs().max() < 1e-3


@pytest.mark.parametrize("name", ["rod_sd", "angle_sd", "tape_sd"])
def test_an_instrument_without_a_standard_deviation_is_refused(name):
    with pytest.raises(ValueError, match=f"{name} must be a positive number"):
        Instruments(**{name: 0.0})


@pytest.mark.parametrize("stated", [{"q_mean": 0.0}, {"q_twist": -1.0}, {"relief": -0.1}])
def test_an_impossible_roughness_is_refused(stated):
    with pytest.raises(ValueError, match="must be"):
        GroundType(**stated)


TWO_PEG = pd.DataFrame(
    {
        "laser": ["mid", "mid", "end", "end"],
        "station_m": [0.0, 60.0, 0.0, 60.0],
        "side": "left",
        "rod_m": [1.500, 1.200, 1.600, 1.312],
    }
)
STOOD = pd.DataFrame(
    {"laser": ["mid", "end"], "station_m": [30.0, 0.0], "offset_m": -0.31, "instrument": "tilt"}
)


def test_a_two_peg_test_gives_the_slope_of_the_line_of_sight():
    """Level midway: B is 0.300 m higher; from A alone 0.288 m, so it rises 12 mm in 60 m (from memory).

    The usual sum of the two-peg test: (difference from the end less that from the middle) / distance.
    """
    loose = Instruments(rod_sd=0.0001, station_sd=0.0, collimation_sd=0.1)
    ground = fit_ground(make_survey(levels=TWO_PEG, lasers=STOOD), instruments=loose, datum=(0.0, "left"))
    (found,) = ground.zero_errors.itertuples()
    assert found.instrument == "line of sight of tilt"
    assert found.zero_rad == pytest.approx(0.012 / 60, rel=1e-3)
    assert ground.height(60.0, "left")[0] == pytest.approx(0.300, abs=1e-5)


def test_a_stated_collimation_is_taken_off_by_the_length_of_the_sight():
    one = TWO_PEG[TWO_PEG["laser"] == "end"]
    stated = Instruments(rod_sd=0.0001, station_sd=0.0, collimation=0.012 / 60, collimation_sd=1e-7)
    survey = make_survey(levels=one, lasers=STOOD)
    ground = fit_ground(survey, instruments=stated, datum=(0.0, "left"))
    assert ground.height(60.0, "left")[0] == pytest.approx(0.300, abs=1e-5)
    plain = fit_ground(make_survey(levels=one), instruments=stated, datum=(0.0, "left"))
    assert plain.height(60.0, "left")[0] == pytest.approx(0.288, abs=1e-5)


def test_a_peg_at_an_unknown_distance_is_worth_less_under_a_doubtful_line_of_sight():
    pegs = pd.DataFrame({"laser": ["end"], "point": ["P"], "rod_m": [1.4]})
    survey = make_survey(levels=joined(TWO_PEG, pegs), lasers=STOOD)
    ground = fit_ground(survey, instruments=Instruments(rod_sd=0.0005), datum=(0.0, "left"))
    own = ground.residuals.set_index("point").loc["P", "sd_m"]
    assert own == pytest.approx(np.hypot(0.0005, 1e-4 * 30.0))
