"""The banded fit against the dense build of ``dense.py``, for all kinds of readings at once."""

import math

import numpy as np
import pandas as pd
import pytest
from dense import DenseGround

from trackkit.survey import roughness
from trackkit.survey.fitting import STIFFEST
from trackkit.survey.grid import Break
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey
from trackkit.survey.roughness import BELIEFS, RANGE, Roughness, _restricted
from trackkit.survey.significance import critical_w

WIDTH = 0.62
TOOLS = Instruments(station_sd=0.0)
NUMBERS = ("rise_m", "sd_rad", "sd_m", "walked_m", "clock_s")


def both(q_mean, q_twist, relief, *, spacing=0.6, seed=0, width=WIDTH):
    """Return a survey with two laser positions, pegs, boards and left-to-rights, in both builds."""
    rng = np.random.default_rng(seed)
    stations = np.round(np.arange(14) * spacing, 6)
    zero_sd = TOOLS.zero_sd
    dense = DenseGround(q_mean, q_twist, relief, origin=stations[0])
    dense.random = {"phone": zero_sd, "other": zero_sd}
    truth = rng.normal(0, 0.02, (2, stations.size)) + 0.03 * stations

    levels = {"laser": [], "station_m": [], "side": [], "point": [], "rod_m": [], "sd_m": []}

    def rod(laser, station, side, point, height, sd):
        for column, item in zip(levels, (laser, station, side, point, height, sd), strict=True):
            levels[column].append(item)
        own = TOOLS.rod_sd if math.isnan(sd) else sd
        fixed = [(f"laser {laser}", 1.0)]
        if point == "BM":
            dense.read(height + 1.0, own, fixed=fixed)
        elif point:
            dense.read(height, own, fixed=[*fixed, (f"peg {point}", -1.0)])
        else:
            dense.read(height, own, [((station, side), -1.0)], fixed)

    for i, station in enumerate(stations):
        for j, side in enumerate(("left", "right")):
            if (i + j) % 4 != 3:
                laser = "A" if i < 8 else "B"
                sd = 0.004 if i == 5 else math.nan
                rod(laser, station, side, "", 1.5 - truth[j, i] + rng.normal(0, 0.0015), sd)
    rod("B", stations[2], "left", "", 1.52 - truth[0, 2], math.nan)
    rod("A", math.nan, "", "P", 1.31, math.nan)
    rod("B", math.nan, "", "P", 1.33, math.nan)

    boards = {"station_m": [], "to_station_m": [], "side": [], "angle_rad": [], "rise_m": [], "facing": []}
    boards["instrument"] = []
    for i, facing, who in ((0, "ahead", ""), (2, "back", ""), (5, "ahead", "other"), (9, "", "other")):
        near, far, side = stations[i], stations[i + 2], "left" if i % 2 else "right"
        d, angle = far - near, 0.03 + 0.005 * i
        entry = (near, far, side, angle, math.nan, facing, who)
        for column, item in zip(boards, entry, strict=True):
            boards[column].append(item)
        lever = d / math.cos(angle) ** 2
        sign = -1.0 if facing == "back" else 1.0
        ends = [((far, side), 1.0), ((near, side), -1.0)]
        dense.read(d * math.tan(angle), lever * TOOLS.angle_sd, ends, random=[(who or "phone", sign * lever)])
    near, far = stations[11], stations[10]
    for column, item in zip(boards, (near, far, "left", math.nan, -0.02, "", ""), strict=True):
        boards[column].append(item)
    sd = math.hypot(TOOLS.tape_sd, abs(far - near) * TOOLS.bubble_sd)
    dense.read(-0.02, sd, [((far, "left"), 1.0), ((near, "left"), -1.0)])

    cross = {
        "station_m": [stations[3], stations[7]],
        "angle_rad": [0.02, math.nan],
        "rise_m": [math.nan, 0.01],
    }
    cross["facing"] = ["back", ""]
    lever = width / math.cos(0.02) ** 2
    across = [((stations[3], "right"), 1.0), ((stations[3], "left"), -1.0)]
    dense.read(width * math.tan(0.02), lever * TOOLS.angle_sd, across, random=[("phone", -lever)])
    across = [((stations[7], "right"), 1.0), ((stations[7], "left"), -1.0)]
    dense.read(0.01, math.hypot(TOOLS.tape_sd, width * TOOLS.bubble_sd), across)
    return make_survey(levels=levels, boards=boards, crosslevels=cross), dense, stations


CASES = [
    (1e-4, 2e-5, 0.002, 0.6, 1e-9),
    (1e-6, 1e-6, 0.001, 0.6, 1e-9),
    (1e-2, 1e-3, 0.0, 0.6, 1e-9),
    (1e-4, 3e-5, 0.002, 0.1, 1e-9),
    (1e-8, 1e-8, 0.001, 0.3, 1e-6),
]


@pytest.mark.parametrize(("q_mean", "q_twist", "relief", "spacing", "share"), CASES)
def test_means_sds_and_covariances_equal_the_dense_build(q_mean, q_twist, relief, spacing, share):
    survey, dense, stations = both(q_mean, q_twist, relief, spacing=spacing)
    datum = (float(stations[0]), "left")
    kind = GroundType(q_mean, q_twist, relief)
    ground = fit_ground(
        survey, instruments=TOOLS, ground_type=kind, width=WIDTH, datum=datum, stations=[stations[4] + 0.02]
    )
    places = [
        stations[1],
        stations[6],
        stations[13],
        stations[6] + 0.03,
        stations[6] + 0.05,
        stations[13] + 0.5,
    ]
    points = [(float(s), side) for s in places for side in ("left", "right")]
    mean, covariance, _, _, _ = dense.solve(points, datum)
    size = np.abs(mean).max()
    np.testing.assert_allclose(ground.mean(points), mean, atol=share * size)
    np.testing.assert_allclose(ground.covariance(points), covariance, atol=share * np.abs(covariance).max())
    at, sd = ground.height(np.array([p[0] for p in points]), [p[1] for p in points])
    np.testing.assert_allclose(at, mean, atol=share * size)
    np.testing.assert_allclose(sd**2, np.diag(covariance), atol=share * np.abs(covariance).max())


def with_long_boards(relief, spans):
    """Return the survey with boards over many nodes added, in both builds."""
    survey, dense, stations = both(1e-4, 2e-5, relief)
    boards = survey.boards.to_dict("list")
    for i, (first, last, side) in enumerate(spans):
        near, far, facing = stations[first], stations[last], ("ahead", "back")[i % 2]
        entry = {"station_m": near, "to_station_m": far, "side": side, "angle_rad": 0.02, "facing": facing}
        blank = {name: math.nan if name in NUMBERS else "" for name in boards}
        blank |= {"along": False, "file": "boards", "row": 20 + i, "reading": f"boards row {20 + i}"}
        for name, column in boards.items():
            column.append((blank | entry)[name])
        lever = abs(far - near) / math.cos(0.02) ** 2
        sign = -1.0 if facing == "back" else 1.0
        ends = [((far, side), 1.0), ((near, side), -1.0)]
        rise = abs(far - near) * math.tan(0.02)
        dense.read(rise, lever * TOOLS.angle_sd, ends, random=[("phone", sign * lever)])
    levels, crosslevels = survey.levels, survey.crosslevels
    return make_survey(levels=levels, boards=boards, crosslevels=crosslevels), dense, stations


@pytest.mark.parametrize("relief", [0.0, 0.002])
def test_boards_far_longer_than_a_block_equal_the_dense_build(relief):
    survey, dense, stations = with_long_boards(relief, [(0, 13, "left"), (12, 1, "right"), (3, 10, "left")])
    datum = (float(stations[0]), "left")
    ground = fit_ground(
        survey, instruments=TOOLS, ground_type=GroundType(1e-4, 2e-5, relief), width=WIDTH, datum=datum
    )
    assert ground.setting.grid.group < 7
    points = [(float(s), side) for s in (*stations[1::3], 4.0, 9.0) for side in ("left", "right")]
    mean, covariance, fitted, variance, _ = dense.solve(points, datum)
    np.testing.assert_allclose(ground.mean(points), mean, atol=1e-9 * np.abs(mean).max())
    size = np.abs(covariance).max()
    np.testing.assert_allclose(ground.covariance(points), covariance, atol=1e-9 * size)
    _, sd = ground.height(np.array([p[0] for p in points]), [p[1] for p in points])
    np.testing.assert_allclose(sd**2, np.diag(covariance), atol=1e-9 * size)
    value, own = np.array([r[:2] for r in dense.readings]).T
    table = ground.residuals
    np.testing.assert_allclose(np.sort(table["residual_m"]), np.sort(fitted - value), atol=1e-9)
    np.testing.assert_allclose(np.sort(table["redundancy"]), np.sort(1.0 - variance / own**2), atol=1e-8)


def test_likelihood_with_boards_longer_than_a_block_equals_the_dense_build():
    survey, dense, stations = with_long_boards(0.002, [(0, 13, "left"), (12, 1, "right")])
    ground = fit_ground(survey, instruments=TOOLS, ground_type=GroundType(1e-4, 2e-5, 0.002), width=WIDTH)

    def ours(*values):
        here = Roughness(*values, estimated=())
        return _restricted(ground.fitted.model, ground.setting.prior, here)[0]

    def theirs(*values):
        dense.q_mean, dense.q_twist, dense.relief = values
        return 0.5 * dense.solve([(stations[3], "left")], (stations[0], "left"))[4]

    first, second = (1e-4, 2e-5, 0.002), (1e-2, 1e-5, 0.005)
    assert ours(*second) - ours(*first) == pytest.approx(theirs(*second) - theirs(*first), rel=1e-6)


def test_a_board_alone_may_give_a_side_its_slope():
    """Two rods' level and one board of 12 nodes; without the board nothing says how the right side leans."""
    level = pd.DataFrame({"station_m": np.arange(13.0), "side": "left", "rod_m": 1.5})
    last = pd.DataFrame({"station_m": [0.0], "side": ["right"], "rod_m": [1.4]})
    boards = {"station_m": [0.0], "to_station_m": [12.0], "side": "right", "rise_m": [0.3]}
    survey = make_survey(levels=pd.concat([level, last], ignore_index=True), boards=boards)
    ground = fit_ground(survey, instruments=TOOLS, ground_type=GroundType(1e-5, 1e-5, 0.0))
    assert ground.setting.grid.group == 1
    mean, sd = ground.height(12.0, "right")
    assert mean == pytest.approx(0.4, abs=1e-9)
    # the board, and the rods at 0 m on both sides: variances add
    parts = (TOOLS.tape_sd, 12 * TOOLS.bubble_sd, TOOLS.rod_sd)
    assert 0.9 * math.hypot(*parts) < sd < 1.1 * math.hypot(*parts, TOOLS.rod_sd)


@pytest.mark.parametrize("relief", [0.0, 0.002])
@pytest.mark.parametrize("off", [0.004, 0.25, 50.0])
@pytest.mark.parametrize("side", ["left", "right"])
def test_heights_above_a_datum_between_nodes_equal_the_dense_build(relief, off, side):
    survey, dense, stations = both(1e-4, 2e-5, relief)
    datum = (float(stations[4]) + off, side)
    kind = GroundType(1e-4, 2e-5, relief)
    places = [stations[1], stations[4], stations[4] + 0.1, stations[4] + off, stations[9], stations[13] + 0.5]
    points = [(float(s), side) for s in places for side in ("left", "right")]
    mean, covariance, _, _, _ = dense.solve(points, datum)
    size = np.abs(covariance).max()
    for asked in ([], [datum[0]]):
        ground = fit_ground(
            survey, instruments=TOOLS, ground_type=kind, width=WIDTH, datum=datum, stations=asked
        )
        np.testing.assert_allclose(ground.mean(points), mean, atol=1e-8 * np.abs(mean).max())
        np.testing.assert_allclose(ground.covariance(points), covariance, atol=1e-8 * size)
        _, sd = ground.height(np.array([p[0] for p in points]), [p[1] for p in points])
        np.testing.assert_allclose(sd**2, np.diag(covariance), atol=1e-8 * size)
        assert ground.height(*datum) == (0.0, 0.0)
        among = ground.covariance([datum, "P"])
        assert among[0, 0] == pytest.approx(0.0, abs=1e-8 * size)
        assert ground.pegs["sd_m"][0] ** 2 == pytest.approx(among[1, 1])


def test_residuals_redundancies_and_w_equal_the_dense_build():
    survey, dense, stations = both(1e-4, 2e-5, 0.002)
    ground = fit_ground(survey, instruments=TOOLS, ground_type=GroundType(1e-4, 2e-5, 0.002), width=WIDTH)
    _, _, fitted, variance, _ = dense.solve([(stations[3], "left")], (stations[0], "left"))
    value = np.array([r[0] for r in dense.readings])
    sd = np.array([r[1] for r in dense.readings])
    redundancy = 1.0 - variance / sd**2
    table = ground.residuals
    order = np.argsort(value, kind="stable")
    found = table.sort_values("residual_m")
    expected = np.sort(fitted - value)
    np.testing.assert_allclose(found["residual_m"], expected, atol=1e-10)
    np.testing.assert_allclose(np.sort(table["redundancy"]), np.sort(redundancy), atol=1e-8)
    w = (fitted - value) / (sd * np.sqrt(redundancy))
    np.testing.assert_allclose(np.sort(table["w"]), np.sort(w), atol=1e-6)
    assert order.size == len(table)


def test_restricted_likelihood_equals_the_dense_build_and_its_gradient_is_right():
    survey, dense, stations = both(1e-4, 2e-5, 0.002)
    ground = fit_ground(survey, instruments=TOOLS, ground_type=GroundType(1e-4, 2e-5, 0.002), width=WIDTH)
    model, prior = ground.fitted.model, ground.setting.prior

    def ours(logs):
        here = Roughness(*np.exp(logs), estimated=())
        return _restricted(model, prior, here)

    def theirs(logs):
        dense.q_mean, dense.q_twist, dense.relief = np.exp(logs)
        return 0.5 * dense.solve([(stations[3], "left")], (stations[0], "left"))[4]

    first = np.log([1e-4, 2e-5, 0.002])
    for second in (np.log([3e-5, 4e-5, 0.001]), np.log([1e-2, 1e-5, 0.005])):
        assert ours(second)[0] - ours(first)[0] == pytest.approx(theirs(second) - theirs(first), rel=1e-6)
    gradient = ours(first)[1]
    for i, name in enumerate(("q_mean", "q_twist", "relief")):
        step = np.zeros(3)
        step[i] = 1e-4
        slope = (ours(first + step)[0] - ours(first - step)[0]) / 2e-4
        assert gradient[name] == pytest.approx(slope, rel=1e-5)


def test_a_twist_too_smooth_to_tell_leaves_the_other_estimates_at_their_best(monkeypatch):
    """Both sides are one profile: q_twist ends at the range's lower end, where the gradient points out."""
    rng = np.random.default_rng(0)
    stations = np.repeat(np.arange(1000) * 0.6, 2)
    side = np.tile(["left", "right"], 1000)
    rod = 1.5 - 0.03 * np.sin(stations / 3) + rng.normal(0, 0.002, stations.size)
    survey = make_survey(levels={"station_m": stations, "side": side, "rod_m": rod})
    tried = []
    monkeypatch.setattr(roughness, "_restricted", lambda *given: tried.append(1) or _restricted(*given))
    ground = fit_ground(survey, instruments=TOOLS)
    assert len(tried) < 35  # a search that rounding keeps going makes 60 and more
    found = ground.roughness
    assert found.q_twist == pytest.approx(RANGE["q_twist"][0])
    gradient = _restricted(ground.fitted.model, ground.setting.prior, found)[1]
    for name in ("q_mean", "relief"):
        belief = BELIEFS[name]
        gradient[name] += (math.log(getattr(found, name)) - belief.centre) / belief.spread**2
        assert abs(gradient[name]) < 0.1
    assert gradient["q_twist"] > 0


def test_the_datum_changes_no_difference_and_no_covariance_of_differences():
    survey, _, stations = both(1e-4, 2e-5, 0.002)
    kind = GroundType(1e-4, 2e-5, 0.002)
    points = [(float(s), side) for s in stations[::3] for side in ("left", "right")]
    differences = np.eye(len(points))[1:] - np.eye(len(points))[0]
    found = []
    for datum in ((float(stations[0]), "left"), (float(stations[9]), "right"), "P"):
        ground = fit_ground(survey, instruments=TOOLS, ground_type=kind, datum=datum)
        assert ground.covariance([datum])[0, 0] == pytest.approx(0.0, abs=1e-15)
        found.append(
            (differences @ ground.mean(points), differences @ ground.covariance(points) @ differences.T)
        )
    for mean, covariance in found[1:]:
        np.testing.assert_allclose(mean, found[0][0], atol=1e-12)
        np.testing.assert_allclose(covariance, found[0][1], atol=1e-15)


def test_the_floor_of_roughness_is_far_below_what_a_reading_can_tell():
    """A profile of 30 spacings at the floor wanders by 3 thousandths of a reading's sd."""
    assert math.sqrt(STIFFEST * 30**3 / 3) < 0.004


@pytest.mark.parametrize("relief", [0.0, 0.002])
@pytest.mark.parametrize(
    "breaks",
    [
        [("left", 3.3, "all")],
        [("left", 3.3, "all"), ("right", 3.9, "all")],
        [("right", 4.1, "height")],
        [("left", 3.6, "all")],
    ],
    ids=["one side", "on a diagonal", "height alone", "at a station"],
)
def test_breaks_equal_the_dense_build_with_a_step_of_its_own_for_each(breaks, relief):
    """In the dense build the ground beyond a break has a height and slope of its own, nothing else."""
    survey, dense, stations = both(1e-4, 3e-5, relief)
    dense.breaks = breaks
    edges = [Break(side, at, frees=frees) for side, at, frees in breaks]
    datum = (float(stations[0]), "left")
    kind = GroundType(1e-4, 3e-5, relief)
    ground = fit_ground(survey, instruments=TOOLS, ground_type=kind, datum=datum, breaks=edges)
    points = [(float(s), side) for s in (*stations[2:9], 3.1, 3.4, 4.05, 5.0) for side in ("left", "right")]
    mean, covariance, _, _, _ = dense.solve(points, datum)
    sd = np.sqrt(np.diag(covariance))
    assert (np.abs(ground.mean(points) - mean) < 0.02 * sd).all()
    np.testing.assert_allclose(np.sqrt(np.diag(ground.covariance(points))), sd, rtol=0.01)


def test_redundancy_of_the_readings_alone_equals_least_squares_without_smoothness():
    """Every read point is an unknown of its own: one minus the hat values by pseudo-inverse (numpy)."""
    survey, dense, _ = both(1e-4, 2e-5, 0.002)
    ground = fit_ground(survey, instruments=TOOLS, ground_type=GroundType(1e-4, 2e-5, 0.002), width=WIDTH)
    rows = [
        ({**dict(surface), **dict(fixed), **dict(random)}, sd)
        for _, sd, surface, fixed, random in dense.readings
    ]
    rows += [({name: 1.0}, sd) for name, sd in dense.random.items()]
    unknowns = list({name: 0 for row, _ in rows for name in row})
    design = np.array([[row.get(name, 0.0) / sd for name in unknowns] for row, sd in rows])
    redundancy = 1.0 - np.diag(design @ np.linalg.pinv(design))[: len(dense.readings)]
    found = np.sort(ground.residuals["redundancy_readings"])
    np.testing.assert_allclose(found, np.sort(redundancy), atol=2e-5)
    assert 3.0 < redundancy.sum() < 12.0


def test_the_limit_for_doubt_is_bonferroni_over_the_readings():
    """Normal quantile at 1 - 0.05 / (2 n): textbook (scipy.stats.norm)."""
    from scipy.stats import norm

    survey, _, _ = both(1e-4, 2e-5, 0.002)
    ground = fit_ground(survey, instruments=TOOLS, ground_type=GroundType(1e-4, 2e-5, 0.002), width=WIDTH)
    table = ground.residuals
    limit = norm.ppf(1 - 0.05 / (2 * len(table)))
    assert table["doubtful"].any() == (table["w"].abs() > limit).any()
    assert set(np.flatnonzero(table["doubtful"])) <= set(np.flatnonzero(table["w"].abs() > 0.5 * limit))
    assert critical_w(ground.setting, ground.fitted, len(table)) == pytest.approx(limit)
