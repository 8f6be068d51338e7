"""Wedge geometry, against hand sums and published friction bounds."""

import math

import pytest

from trackkit.cribbing.wedges import Wedge, enter_pair, enter_single

WEDGE = Wedge(thin=0.002, thick=0.032, length=0.300)


def test_height_of_a_single_wedge_is_thin_end_plus_taper_times_how_far_in():
    assert WEDGE.taper == pytest.approx(0.1)
    assert WEDGE.single_in(0.017) == pytest.approx(0.150)


def test_single_wedge_bears_over_the_whole_tie_at_its_lowest():
    low, high = WEDGE.single_range(0.060)
    assert (low, high) == pytest.approx((0.008, 0.032))
    assert WEDGE.single_in(low) == pytest.approx(0.060)


@pytest.mark.parametrize("apart", [0.0, 0.05, 0.20])
def test_pair_pulled_apart_drops_by_taper_times_distance(apart):
    """Geometry: drive only one of an opposed pair by x and it rises by taper times x."""
    height = WEDGE.thin + WEDGE.thick - WEDGE.taper * apart
    assert WEDGE.pair_apart(height) == pytest.approx(apart)


@pytest.mark.parametrize("x", [0.0, 0.03, 0.11])
def test_faces_of_a_pair_stay_parallel(x):
    """The height over the overlap is the same at every place: lower wedge plus upper wedge reversed."""
    apart = 0.04
    lower = WEDGE.thin + WEDGE.taper * (apart + x)
    upper = WEDGE.thick - WEDGE.taper * x  # its tip points the other way
    assert lower + upper == pytest.approx(WEDGE.thin + WEDGE.thick + WEDGE.taper * apart)


def test_pair_of_unequal_tapers_is_not_parallel():
    steep = Wedge(0.002, 0.062, 0.300)
    sums = [WEDGE.thin + WEDGE.taper * x + steep.thick - steep.taper * x for x in (0.0, 0.3)]
    assert sums[0] != pytest.approx(sums[1])


def test_the_butts_of_a_pair_have_room_between_pile_and_tie_at_its_lowest():
    """Each wedge lies with its whole length between two level faces: they are a butt apart at least."""
    low, high = WEDGE.pair_range(0.060)
    assert (low, high) == pytest.approx((0.032, 0.034))
    apart = WEDGE.pair_apart(low)
    underside_of_upper_butt = low - WEDGE.thick
    face_of_lower_wedge_below_it = WEDGE.thin - WEDGE.taper * apart
    assert underside_of_upper_butt == pytest.approx(face_of_lower_wedge_below_it) == pytest.approx(0.0)


def test_pair_overlaps_by_the_bearing_at_its_lowest():
    """A tie almost as wide as the wedges are long."""
    low, high = WEDGE.pair_range(0.295)
    assert high == pytest.approx(0.034)
    assert WEDGE.length - WEDGE.pair_apart(low) == pytest.approx(0.295)


@pytest.mark.parametrize(("friction", "degrees"), [(0.2, 11.3), (0.25, 14.0), (0.3, 16.7), (0.4, 21.8)])
def test_wedge_holds_below_the_friction_angle(friction, degrees):
    """Self-locking: angle < atan(friction); angles recomputed, friction wood on wood as low as 0.2."""
    assert math.degrees(math.atan(friction)) == pytest.approx(degrees, abs=0.05)
    just_below = Wedge(0.0, math.tan(math.radians(degrees - 0.1)), 1.0)
    just_above = Wedge(0.0, math.tan(math.radians(degrees + 0.1)), 1.0)
    assert just_below.holds_by_friction(friction)
    assert not just_above.holds_by_friction(friction)


def test_one_in_five_is_the_steepest_that_friction_of_a_fifth_holds():
    assert math.degrees(Wedge(0.0, 0.2, 1.0).angle) == pytest.approx(11.3, abs=0.05)


@pytest.mark.parametrize(
    ("side", "walk", "goes_in", "stick"),
    [
        ("left", "right", "from outside", "left"),
        ("right", "right", "along the track", "tail"),
        ("left", "", "from outside", "left"),
        ("left", "both", "along the track", "tail"),
    ],
)
def test_wedge_never_stands_out_where_people_walk(side, walk, goes_in, stick):
    """From outside away from the walk side, else in line with the track: common practice, no source."""
    entry = enter_single(WEDGE, 0.020, bearing=0.06, side=side, walk_side=walk)
    assert (entry.goes_in, entry.stick_side) == (goes_in, stick)
    assert entry.how_far_in + entry.stick_out == pytest.approx(WEDGE.length)


def test_pair_along_the_track_stands_out_alike_at_both_ends():
    entry = enter_pair(WEDGE, 0.033, bearing=0.06, side="right", walk_side="right")
    assert entry.overlap == pytest.approx(0.290)
    assert entry.stick_out == pytest.approx((0.300 + 0.010 - 0.060) / 2)
    assert entry.stick_side == "head and tail"


def test_pair_from_outside_stands_out_by_what_it_is_pulled_apart():
    entry = enter_pair(WEDGE, 0.033, bearing=0.06, side="left", walk_side="right")
    assert entry.stick_out == pytest.approx(0.010)


def test_height_outside_the_range_is_refused():
    with pytest.raises(ValueError, match=r"one wedge of this kind closes 8.0 to 32.0 mm; got 40.0 mm"):
        enter_single(WEDGE, 0.040, bearing=0.06, side="left")
    with pytest.raises(ValueError, match=r"a pair of this kind closes"):
        enter_pair(WEDGE, 0.040, bearing=0.06, side="left")


def test_what_is_no_wedge_is_refused():
    with pytest.raises(ValueError, match="0 <= thin < thick"):
        Wedge(0.03, 0.03, 0.3)


def test_wedge_shorter_than_the_bearing_is_refused():
    with pytest.raises(ValueError, match=r"bearing must be above 0 and at most the wedge's length 0.300 m"):
        WEDGE.single_range(0.4)
