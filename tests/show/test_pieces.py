"""Stacks as shapes: true heights, true lengths along the run, wedges as wedges."""

from itertools import pairwise

import numpy as np
import pytest

from trackkit.cribbing.stack import Closing, Placed, Stack
from trackkit.cribbing.wedges import Wedge, enter_pair, enter_single
from trackkit.show.pieces import stack_shapes

BOX = Placed("half", "box", 0.102, 0.0, 0.508, 0.305)
WEDGE = Wedge(thin=0.006, thick=0.038, length=0.25)
BEARING = 0.08


def closing(kind="none", height=0.0, *, item="wedge", count=1, entry=None, tie=1):
    how = {} if entry is None else vars(entry)
    return Closing(tie, kind, item, ((item, count),), height, low=0.0, high=0.1, change_chance=0.0, **how)


NOTHING = (closing(),)


def stack(*pieces, closings=NOTHING, ties=(1,), missing=(), seat_raise=0.0):
    fill = sum(piece.thickness for piece in pieces) + closings[0].height
    return Stack(
        support="T1", side="left", station=5.0, ties=ties, role="set", fill=fill, fills=(fill,) * len(ties),
        fill_sd=0.003, window=(0.0, 0.1), pieces=pieces, closings=closings, seat="", tilt=0.0, overhang=0.0,
        on_walk_side=False, change_chance=0.0, missing=missing, seat_raise=seat_raise,
    )  # fmt: skip


def shapes_of(one, *, stations=(5.0,), underside=1.0, ground=lambda station: 0.0, wedges=None):
    n = len(stations)
    return stack_shapes(
        one, stations=stations, undersides=(underside,) * n, bearings=(BEARING,) * n,
        wedges={"wedge": WEDGE} if wedges is None else wedges, ground=ground,
    )  # fmt: skip


def extent(shape):
    return np.array(shape.corners).min(axis=0), np.array(shape.corners).max(axis=0)


def at(shape, station, pick):
    """Height of a shape's upper (max) or lower (min) face at a station."""
    corners = [*shape.corners, shape.corners[0]]
    heights = []
    for (x0, z0), (x1, z1) in pairwise(corners):
        if x0 != x1 and min(x0, x1) - 1e-12 <= station <= max(x0, x1) + 1e-12:
            heights.append(z0 + (z1 - z0) * (station - x0) / (x1 - x0))
    return pick(heights)


def test_a_box_is_as_long_along_the_run_and_as_high_as_it_is():
    (box,) = shapes_of(stack(BOX))
    low, high = extent(box)
    np.testing.assert_allclose(high - low, (0.508, 0.102))
    np.testing.assert_allclose((low + high) / 2, (5.0, 1.0 - 0.051))


def test_pieces_lie_on_each_other_and_the_last_carries_the_tie():
    plank = Placed("2x4", "lumber", 0.038, 0.102, 0.4, 0.089)
    box, lumber = shapes_of(stack(BOX, plank))
    assert extent(lumber)[0][1] == pytest.approx(extent(box)[1][1])
    assert extent(lumber)[1][1] == pytest.approx(1.0)


def test_a_piece_that_runs_through_to_the_other_rail_shows_its_end():
    through = Placed("long", "lumber", 0.038, 0.0, 1.2, 0.089, both_ends=True)
    (end,) = shapes_of(stack(through))
    assert end.kind == "lumber end"
    assert np.ptp(np.array(end.corners)[:, 0]) == pytest.approx(0.089)


def test_doubled_pieces_stand_under_each_tie_of_a_joint():
    plank = Placed("2x4", "lumber", 0.038, 0.102, 0.15, 0.089, per_layer=2)
    ends = (closing(tie=5), closing(tie=6))
    shapes = shapes_of(stack(BOX, plank, closings=ends, ties=(5, 6)), stations=(4.9, 5.1))
    middles = [np.mean(np.array(s.corners)[:, 0]) for s in shapes if s.kind == "lumber"]
    assert middles == pytest.approx([4.9, 5.1])


def test_layers_of_a_crib_lie_along_and_across_in_turn():
    """Tails about as long as a piece is wide: rescue practice for box cribs; common practice."""
    layers = [
        Placed("4x4", "lumber", 0.089, 0.089 * n, 1.0, 0.089, per_layer=2, crossed=True) for n in range(2)
    ]
    along, *across = shapes_of(stack(*layers))
    assert along.kind == "lumber"
    assert np.ptp(np.array(along.corners)[:, 0]) == pytest.approx(1.0)
    assert along.takes == (("4x4", 2),)
    assert [shape.kind for shape in across] == ["lumber end"] * 2
    outer = max(extent(shape)[1][0] for shape in across)
    assert extent(along)[1][0] - outer == pytest.approx(0.089)


@pytest.mark.parametrize(("from_end", "sign"), [("head", -1), ("tail", 1)])
def test_a_wedge_along_the_track_bears_the_tie_s_edge_on_the_side_it_came_from(from_end, sign):
    """Sketch in `trackkit.cribbing.wedges`: height at the edge is thin + taper times how far in."""
    entry = enter_single(WEDGE, 0.025, bearing=BEARING, side="left", walk_side="left", from_end=from_end)
    (wedge,) = shapes_of(stack(BOX, closings=(closing("single", 0.025, entry=entry),)))[1:]
    edge = 5.0 + sign * BEARING / 2
    assert at(wedge, edge, max) == pytest.approx(1.0)
    assert np.ptp(np.array(wedge.corners)[:, 0]) == pytest.approx(WEDGE.length)
    butt = edge + sign * entry.stick_out
    assert at(wedge, butt, max) - at(wedge, butt, min) == pytest.approx(WEDGE.thick)


def test_a_pair_along_the_track_has_parallel_faces_and_no_gap_between():
    """Two equal wedges, tips opposed: the faces stay parallel (geometry)."""
    entry = enter_pair(WEDGE, 0.040, bearing=BEARING, side="left", walk_side="left")
    under, over = shapes_of(stack(BOX, closings=(closing("pair", 0.040, entry=entry),)))[1:]
    for station in 5.0 + np.linspace(-0.49, 0.49, 5) * entry.overlap:
        assert at(under, station, min) == pytest.approx(1.0 - 0.040)
        assert at(under, station, max) == pytest.approx(at(over, station, min))
        assert at(over, station, max) == pytest.approx(1.0)
    reach = max(extent(over)[1][0], extent(under)[1][0]) - 5.0 - BEARING / 2
    assert reach == pytest.approx(entry.stick_out)


def test_from_outside_a_wedge_is_one_triangle_and_a_pair_two_opposed_ones():
    single = enter_single(WEDGE, 0.025, bearing=BEARING, side="left")
    pair = enter_pair(WEDGE, 0.040, bearing=BEARING, side="left")
    (one,) = shapes_of(stack(closings=(closing("single", 0.025, entry=single),)))
    first, second = shapes_of(stack(closings=(closing("pair", 0.040, entry=pair),)))
    assert len(one.corners) == len(first.corners) == len(second.corners) == 3
    assert np.ptp(np.array(one.corners)[:, 1]) == pytest.approx(0.025)
    turned = {tuple(np.round((10.0 - x, 2 * (1.0 - 0.020) - z), 9)) for x, z in first.corners}
    assert turned == {tuple(np.round(corner, 9)) for corner in second.corners}


def test_shims_are_as_high_as_they_are_together():
    (bar,) = shapes_of(stack(closings=(closing("shim", 0.006, item="shim", count=2),)))
    assert bar.kind == "shim"
    assert np.ptp(np.array(bar.corners)[:, 1]) == pytest.approx(0.006)


def test_nothing_is_drawn_for_no_closing_piece():
    assert [shape.kind for shape in shapes_of(stack(BOX))] == ["box"]


def test_a_seat_fills_what_is_open_between_the_lowest_piece_and_sloping_ground():
    slope = 0.05
    base = 1.0 - BOX.thickness
    ground = lambda station: base - 0.508 / 2 * slope + slope * (station - 5.0)  # noqa: E731
    seat, _ = shapes_of(stack(BOX, seat_raise=0.508 / 2 * slope), ground=ground)
    low, high = extent(seat)
    assert seat.kind == "seat"
    assert high[1] == pytest.approx(base)
    assert low[1] == pytest.approx(base - 0.508 * slope)
    assert at(seat, 5.0 + 0.254, min) == pytest.approx(base)


def test_each_missing_piece_is_marked_once():
    second = Placed("half", "box", 0.102, 0.102, 0.508, 0.305)
    third = Placed("half", "box", 0.102, 0.204, 0.508, 0.305)
    shapes = shapes_of(stack(BOX, second, third, missing=(("half", 2),)))
    assert [shape.missing for shape in shapes] == [False, True, True]


def test_missing_shims_and_wedges_are_marked_too():
    ends = (closing("shim", 0.006, item="shim", count=2),)
    shapes = shapes_of(stack(BOX, closings=ends, missing=(("shim", 1),)))
    assert [shape.missing for shape in shapes] == [False, True]


@pytest.mark.parametrize("walk", ["", "left"], ids=["from outside", "along the track"])
def test_shims_under_a_wedge_are_drawn_under_it(walk):
    entry = enter_single(WEDGE, 0.02, bearing=BEARING, side="left", walk_side=walk)
    takes = (("wedge", 1), ("shim 6", 1))
    end = Closing(1, "single", "shim 6 + wedge", takes, 0.026, 0.0, 0.1, 0.0, **vars(entry), packed=0.006)
    box, shims, wedge = shapes_of(stack(BOX, closings=(end,)))
    assert (box.kind, shims.kind, wedge.kind) == ("box", "shim", "wedge")
    np.testing.assert_allclose([extent(shims)[0][1], extent(shims)[1][1]], (1.0 - 0.026, 1.0 - 0.020))
    assert extent(wedge)[0][1] == pytest.approx(1.0 - 0.020)
    assert (shims.takes, wedge.takes) == ((("shim 6", 1),), (("wedge", 1),))
