"""What a stack finds to stand on: slopes that stop at a break, free ground, zones."""

import numpy as np
import pandas as pd
import pytest

from trackkit.layout.footing import free_ground, on_zones, parted, slope_across, slope_along, stands_clear


@pytest.mark.parametrize(
    ("station", "clear"), [(1.70, True), (1.76, False), (2.2, False), (2.64, False), (2.65, True)]
)
def test_a_box_stands_clear_only_with_its_ends(station, clear):
    """A box 0.5 m long reaches 0.25 m to either side of its middle (geometry)."""
    assert bool(stands_clear(station, 0.25, 2.0, 2.4)) is clear


def test_a_box_over_a_stretch_shorter_than_itself_is_not_clear():
    assert not stands_clear(2.0, 0.25, 1.95, 2.05)


def test_many_stations_and_a_stretch_written_backwards():
    assert stands_clear(np.array([1.0, 2.0]), 0.25, 2.4, 2.0).tolist() == [True, False]


def test_a_negative_length_is_refused():
    with pytest.raises(ValueError, match="half_length must not be negative"):
        stands_clear(1.0, -0.1, 0.0, 1.0)


def kerb(station, side):
    """A plane that rises 1 in 100 along and 1 in 50 across, with a step of 0.12 m on a diagonal."""
    edge = 2.0 if side == "left" else 2.5
    return 0.01 * station + (0.0124 if side == "right" else 0.0) + (0.12 if station >= edge else 0.0)


EDGE = [(2.0, 2.5)]
AT = np.array([1.0, 1.9, 2.1, 2.3, 2.45, 3.0])


def test_no_slope_is_taken_across_a_break(make_ground):
    """Without the break's place 1.9 m would slope by its step: 0.12 m over a box of 0.508 m is 13 degrees."""
    ground = make_ground(surface=kerb)
    for side in ("left", "right"):
        names = [side] * len(AT)
        along = slope_along(ground, AT, names, EDGE, length=0.508)
        np.testing.assert_allclose(np.tan(along), 0.01, atol=1e-9)
        across = slope_across(ground, AT, names, EDGE, width=0.62)
        np.testing.assert_allclose(np.tan(across), 0.02, atol=1e-9)
    over = slope_along(ground, AT, ["left"] * len(AT), [], length=0.508)
    assert np.degrees(over[1]) > 10


def test_beside_a_break_under_one_rail_only_the_slope_across_is_not_known(make_ground):
    ground = make_ground(surface=kerb)
    across = slope_across(ground, AT, ["left"] * len(AT), [(2.0, np.nan)], width=0.62)
    assert np.isnan(across).tolist() == [False, True, True, True, True, True]


def test_a_break_under_one_rail_parts_the_rails_up_to_the_next_one(make_ground):
    """A flagstone under the left rail from 2 to 4 m: beside it each rail stands on ground of its own."""
    ground = make_ground(surface=kerb)
    at = np.array([1.0, 1.5, 3.0, 4.5, 5.0])
    for breaks in ([(2.0, np.nan), (4.0, np.nan)], [(4.0, np.nan), (2.0, np.nan)]):
        across = slope_across(ground, at, ["right"] * 5, breaks, width=0.62)
        assert np.isnan(across).tolist() == [False, True, True, True, False]
    assert parted(at, [(2.0, np.nan), (np.nan, 4.0)]).tolist() == [False, False, True, False, False]


def test_a_break_before_the_head_of_the_run_parts_nothing():
    """At the head both rails stand on the same ground, whatever lies behind it."""
    at = np.array([0.0, 5.0])
    assert parted(at, [(-9.0, np.nan)], head=-1.0).tolist() == [False, False]
    assert parted(at, [(-9.0, np.nan), (3.0, np.nan)], head=-1.0).tolist() == [False, True]


def test_no_slope_is_fetched_from_beyond_a_break_under_one_rail(make_ground):
    """The piece between 2 and 3.8 m lies under the left rail only; where both are, another one begins."""
    ground = make_ground(surface=kerb)
    across = slope_across(ground, np.array([2.5, 3.0]), ["left"] * 2, [(2.0, 4.0), (3.8, np.nan)], width=0.62)
    assert np.isnan(across).all()


def test_the_ground_is_free_up_to_the_next_break_on_its_own_side():
    to_head, to_tail = free_ground(AT, ["left"] * len(AT), [(2.0, 9.0), (np.nan, 2.2), (2.8, 2.9)])
    np.testing.assert_allclose(to_tail, [1.0, 0.1, 0.7, 0.5, 0.35, np.inf])
    np.testing.assert_allclose(to_head, [np.inf, np.inf, 0.1, 0.3, 0.45, 0.2])


def test_nothing_reaches_into_a_zone_where_nothing_may_stand():
    fills = pd.DataFrame(
        {
            "support": ["T1", "T1", "T2", "T2"], "side": ["left", "right"] * 2,
            "station_m": [1.0, 1.0, 3.0, 3.0], "free_head_m": np.inf, "free_tail_m": np.inf,
            "bearing_m": 0.3,
        }
    )  # fmt: skip
    zones = pd.DataFrame(
        {"from_m": [1.3], "to_m": [2.9], "side": ["left"], "ground": [""], "support": [False]}
    )
    found = on_zones(fills, zones, kind="lawn", half_box=0.254)
    assert found["support_here"].tolist() == [True, True, False, True]  # half the tie reaches 2.85 m
    np.testing.assert_allclose(found["free_tail_m"], [0.3, np.inf, np.inf, np.inf])
    np.testing.assert_allclose(found["free_head_m"], [np.inf, np.inf, 0.1, np.inf])


def test_of_the_kinds_of_ground_under_a_box_the_softest_counts():
    """A box reaches 0.254 m to either side of its tie, but past no break."""
    fills = pd.DataFrame(
        {
            "support": ["T1", "T2", "T3"], "side": "left", "station_m": [1.0, 1.8, 2.1],
            "free_head_m": [np.inf, np.inf, 0.1], "free_tail_m": [np.inf, 0.2, np.inf], "bearing_m": 0.06,
        }
    )  # fmt: skip
    zones = pd.DataFrame({"from_m": [-5.0, 1.2], "to_m": [1.2, 5.0], "ground": ["soft", "paving"]})
    zones = zones.assign(side="", support=True)
    asks = {"soft": 0.12, "lawn": 0.052}
    found = on_zones(fills, zones, kind="lawn", half_box=0.254, least_feet=asks)
    assert found["ground_type"].tolist() == ["soft", "paving", "paving"]
    moved = fills.assign(station_m=[1.3, 1.5, 0.9])
    found = on_zones(moved, zones, kind="lawn", half_box=0.254, least_feet=asks)
    assert found["ground_type"].tolist() == ["soft", "paving", "soft"]
    cut = moved.assign(free_head_m=0.05)  # a break between the box and the soft ground
    assert on_zones(cut, zones, kind="lawn", half_box=0.254, least_feet=asks)["ground_type"][0] == "paving"


@pytest.mark.parametrize(
    ("strip", "softest", "scrapes"),
    [((1.10, 1.14), "soft", True), ((1.30, 1.34), "lawn", True), ((0.80, 0.86), "soft", True)],
)
def test_a_narrow_strip_of_soft_ground_under_a_box_counts(strip, softest, scrapes):
    """A flower bed 4 cm wide between the tie and the box's end is under the box all the same."""
    fills = pd.DataFrame(
        {
            "support": ["T1"], "side": "left", "station_m": [1.0], "free_head_m": np.inf,
            "free_tail_m": np.inf, "bearing_m": 0.06,
        }
    )  # fmt: skip
    zones = pd.DataFrame({"from_m": [strip[0]], "to_m": [strip[1]], "ground": ["soft"]})
    zones = zones.assign(side="", support=True)
    asks, over = {"soft": 0.12, "lawn": 0.052}, ("lawn", "soft")
    found = on_zones(fills, zones, kind="lawn", half_box=0.254, least_feet=asks, scrape_on=over)
    assert (found["ground_type"][0], found["may_scrape"][0]) == (softest, scrapes)


def test_ground_is_scraped_only_where_every_kind_under_the_box_may_be():
    """Half on lawn, half on paving: the lawn asks for a pad, but nobody scrapes the paving."""
    fills = pd.DataFrame(
        {
            "support": ["T1", "T2"], "side": "left", "station_m": [1.0, 3.0], "free_head_m": np.inf,
            "free_tail_m": np.inf, "bearing_m": 0.06,
        }
    )  # fmt: skip
    zones = pd.DataFrame({"from_m": [1.1], "to_m": [2.0], "ground": ["paving"], "side": "", "support": True})
    found = on_zones(fills, zones, kind="lawn", half_box=0.254, least_feet={"lawn": 0.1}, scrape_on=["lawn"])
    assert found["ground_type"].tolist() == ["lawn", "lawn"]
    assert found["may_scrape"].tolist() == [False, True]
