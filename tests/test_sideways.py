"""The ground beside where it was read, against surfaces whose heights are known."""

import numpy as np
import pandas as pd
import pytest
from lawns import WIDTH, edge, plane, terrace, write_job

from trackkit.fitted import fit_job
from trackkit.job import load_job
from trackkit.problems import CannotDo
from trackkit.sideways import moved_ground, moved_survey, sideways_reach
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey

SIDES = {"left": -WIDTH / 2, "right": WIDTH / 2}
POINTS = [(float(s), side) for s in np.arange(-1.4, 8.0, 0.37) for side in SIDES]


@pytest.fixture(scope="module")
def lawn(tmp_path_factory):
    return fit_job(load_job(write_job(tmp_path_factory.mktemp("lawn") / "job", plane)))[1]


@pytest.fixture(scope="module")
def steps(tmp_path_factory):
    return fit_job(load_job(write_job(tmp_path_factory.mktemp("step") / "job", terrace, broken=True)))[1]


def rough_ground(relief, *, peg=True):
    rng = np.random.default_rng(5)
    at = np.repeat(np.arange(0.0, 6.1, 0.5), 2)
    rods = pd.DataFrame({"station_m": at, "side": ["left", "right"] * (at.size // 2)})
    rods["rod_m"] = 1.4 + rng.normal(0, 0.004, at.size)
    if peg:
        rods = pd.concat([rods, pd.DataFrame({"point": ["A"], "rod_m": [1.2]})], ignore_index=True)
        rods["point"] = rods["point"].fillna("")
        rods["side"] = rods["side"].fillna("")
    kind = GroundType(q_mean=1e-5, q_twist=2.5e-6, relief=relief)
    return fit_ground(make_survey(levels=rods), ground_type=kind, instruments=Instruments(), width=WIDTH)


@pytest.mark.parametrize("offset", [-0.3, -0.1, 0.15, 0.5])
def test_heights_are_those_of_a_twisted_plane_that_far_to_the_right(lawn, offset):
    there = moved_ground(lawn, offset)
    truth = np.array([plane(s, SIDES[side] + offset) for s, side in POINTS])
    known = there.mean(POINTS)
    assert known - known[0] == pytest.approx(truth - truth[0], abs=1e-5)
    assert there.height(2.0, "right")[0] == pytest.approx(there.mean([(2.0, "right")])[0], abs=1e-9)


def test_right_of_ground_that_rises_to_the_right_lies_higher(lawn):
    here, there = lawn.mean(POINTS), moved_ground(lawn, 0.2).mean(POINTS)
    assert there - here == pytest.approx(0.2 * (0.03 + 0.002 * np.array([s for s, _ in POINTS])), abs=1e-5)


@pytest.mark.parametrize("offset", [-0.3, 0.12, 0.3])
def test_a_break_on_a_diagonal_parts_the_ground_where_the_moved_line_crosses_it(steps, offset):
    """Also between the places where the two lines cross it; the twist bends by 0.001 x 0.3 x 0.92."""
    there = moved_ground(steps, offset)
    near = [
        (edge(right + offset) + off, side)
        for side, right in SIDES.items()
        for off in (-0.3, -1e-4, 1e-4, 0.3)
    ]
    points = [*POINTS, *near]
    truth = np.array([float(terrace(s, SIDES[side] + offset)) for s, side in points])
    known = there.mean(points)
    assert known - known[0] == pytest.approx(truth - truth[0], abs=2.8e-4)


def test_variance_is_that_of_the_line_across_and_of_the_crown():
    """Worked out from four entries of the fit's covariance, and the parabola through both lines."""
    ground = rough_ground(0.0)
    crown, offset = 0.008, 0.2
    there = moved_ground(ground, offset, crown_sd=crown)
    c = ground.covariance([(2.3, "left"), (2.3, "right")])
    out = offset / WIDTH
    for side, w in (("left", np.array([1 - out, out])), ("right", np.array([-out, 1 + out]))):
        bulge = crown * (1 - (2 * (SIDES[side] + offset) / WIDTH) ** 2)
        assert there.covariance([(2.3, side)])[0, 0] == pytest.approx(w @ c @ w + bulge**2, rel=1e-6)
        assert there.height(2.3, side)[1] ** 2 == pytest.approx(w @ c @ w + bulge**2, rel=1e-6)


def test_ground_that_bulges_between_the_lines_falls_off_outside_them():
    ground = rough_ground(0.0)
    pair = [(2.3, "left"), (2.3, "right")]
    flat, bulging = (moved_ground(ground, 0.2, crown_sd=sd).covariance(pair) for sd in (0.0, 0.02))
    assert bulging[0, 1] < flat[0, 1]


def test_doubt_grows_the_farther_out_the_track_lies():
    ground = rough_ground(0.002)
    sds = [moved_ground(ground, offset).height(2.0, "right")[1] for offset in (0.05, 0.1, 0.2, 0.3, 0.5)]
    assert (np.diff(sds) > 0).all()
    assert moved_ground(ground, 0.0) is ground


def test_stones_that_were_read_stay_where_they_were_read():
    """The surface beside a stone is the smooth ground, and as doubtful as any that nobody read."""
    relief = 0.004
    ground = rough_ground(relief)
    between = 1e-4  # so far from a reading that its stone is another
    there = moved_ground(ground, 1e-9, crown_sd=0.0)
    beside = ground.height(2.0 + between, "left")
    at = there.height(2.0, "left")
    assert at[0] == pytest.approx(beside[0], abs=1e-6)
    assert at[1] == pytest.approx(beside[1], rel=1e-4)
    assert at[1] > relief
    assert ground.height(2.0, "left")[1] < relief


def test_covariance_has_no_negative_variance_and_shares_stones_at_one_place_only():
    ground = rough_ground(0.004)
    there = moved_ground(ground, 0.25)
    joint = there.covariance([*[(s / 4, side) for s in range(24) for side in SIDES], "A"])
    assert np.linalg.eigvalsh(joint).min() > -1e-12
    twins = there.covariance([(2.0, "left"), (2.0 + 1e-9, "left"), (2.0, "right")])
    assert twins[0, 1] == pytest.approx(twins[0, 0], rel=1e-6)
    smooth = moved_ground(ground, 0.25, crown_sd=0.0).covariance([(2.0, "left"), (2.0, "right")])
    assert smooth[0, 1] < smooth[0, 0] - 0.9 * 0.004**2


def test_draws_scatter_as_the_covariance_says():
    there = moved_ground(rough_ground(0.002), 0.2)
    points = [(1.0, "left"), (1.0, "right"), (3.3, "right")]
    drawn = there.draw(points, 20_000, 3)
    assert np.cov(drawn.T) == pytest.approx(there.covariance(points), rel=0.06, abs=2e-6)


def test_pegs_and_laser_positions_do_not_move():
    ground = rough_ground(0.002)
    there = moved_ground(ground, 0.2)
    assert there.point("A") == ground.point("A")
    assert there.mean(["A"]) == pytest.approx(ground.mean(["A"]))
    assert there.covariance(["A"]) == pytest.approx(ground.covariance(["A"]))
    pd.testing.assert_frame_equal(there.lasers, ground.lasers)


def test_what_lies_beside_the_track_lies_as_much_farther_the_other_way():
    survey = make_survey(
        levels=pd.DataFrame({"station_m": [0.0], "side": ["left"], "rod_m": [1.5]}),
        obstacles=pd.DataFrame({"station_m": [2.0], "offset_m": [0.1], "height_m": [0.3]}),
        lasers=pd.DataFrame({"laser": ["1"], "station_m": [3.0], "offset_m": [-4.0]}),
    )
    moved = moved_survey(survey, 0.25, width=WIDTH)
    assert moved.obstacles["offset_m"].tolist() == pytest.approx([-0.15])
    assert moved.lasers["offset_m"].tolist() == pytest.approx([-4.25])
    pd.testing.assert_frame_equal(moved.levels, survey.levels)


def test_a_break_on_a_diagonal_and_the_zones_that_end_on_it_move_with_its_slant():
    survey = make_survey(
        levels=pd.DataFrame({"station_m": [0.0], "side": ["left"], "rod_m": [1.5]}),
        breaks=pd.DataFrame({"left_station_m": [4.0], "right_station_m": [4.31]}),
        zones=pd.DataFrame(
            {"from_m": [4.0, 4.31, 1.0], "to_m": [9.0] * 3, "side": ["left", "right", ""], "ground": "lawn"}
        ),
    )
    moved = moved_survey(survey, -0.2, width=WIDTH)
    assert moved.breaks[["left_station_m", "right_station_m"]].to_numpy().ravel() == pytest.approx(
        [3.9, 4.21]
    )
    assert moved.zones["from_m"].tolist() == pytest.approx([3.9, 4.21, 1.0])


def test_a_break_under_one_side_only_is_refused():
    survey = make_survey(
        levels=pd.DataFrame(
            {
                "station_m": np.repeat(np.arange(6.0), 2),
                "side": ["left", "right"] * 6,
                "rod_m": np.linspace(1.5, 1.4, 12),
            }
        ),
        breaks=pd.DataFrame({"left_station_m": [2.5], "right_station_m": [np.nan]}),
    )
    with pytest.raises(CannotDo, match="crosses under one side only"):
        moved_ground(fit_ground(survey), 0.1)


def test_one_side_alone_is_refused():
    rods = pd.DataFrame({"station_m": np.arange(5.0), "side": "left", "rod_m": [1.5, 1.4, 1.45, 1.4, 1.5]})
    with pytest.raises(CannotDo, match="only one side was read"):
        moved_ground(fit_ground(make_survey(levels=rods)), 0.1)


def test_track_may_go_as_far_as_rods_were_read_out_at_two_stations_at_least():
    rods = pd.DataFrame({"station_m": [1.0, 2.0, 3.0], "offset_m": [-0.9, -0.8, 1.4], "rod_m": 1.5})
    left, right = sideways_reach(make_survey(levels=rods), WIDTH)
    assert left == pytest.approx(0.8 - WIDTH / 2)
    assert right == pytest.approx(WIDTH / 2)
