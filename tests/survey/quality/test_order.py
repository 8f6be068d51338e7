"""The order of reading: out and back, everything read, closed where it began, laser positions tied."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.quality import reading_order
from trackkit.survey.readings import make_survey

STATIONS = (-0.5, 1.0, 2.5, 4.0, 5.5, 7.0)


def places(order):
    return [
        row.point or (row.station_m, row.side) for row in order.itertuples()
    ]  # a peg's name, or the place on the ground


def test_the_walk_goes_out_on_one_side_back_on_the_other_and_closes():
    order = reading_order([0.0, 1.0, 2.0])
    assert order["why"].tolist() == ["start"] * 2 + ["ground"] * 6 + ["again"] + ["close"] * 2
    out, back = [(s, "left") for s in (0.0, 1.0, 2.0)], [(s, "right") for s in (2.0, 1.0, 0.0)]
    assert places(order) == ["P1", "P2", *out, *back, (0.0, "left"), "P1", "P2"]
    assert set(order["laser"]) == {"1"}


def test_the_first_side_that_is_named_is_walked_first_and_one_side_alone_will_do():
    assert reading_order([0.0, 1.0], sides=("right", "left"))["side"].tolist()[2] == "right"
    one = reading_order([0.0, 1.0], sides=("right",), pegs=())
    assert places(one) == [(0.0, "right"), (1.0, "right"), (0.0, "right")]


def test_without_closing_every_point_is_read_once():
    order = reading_order(STATIONS, close=False)
    assert set(order["why"]) == {"start", "ground"}
    assert len(set(places(order))) == len(order)


@settings(max_examples=60, deadline=None)
@given(
    n=st.integers(1, 40), lasers=st.integers(1, 6), shared=st.integers(0, 5), pegs=st.integers(0, 2),
    sides=st.sampled_from([("left", "right"), ("right", "left"), ("left",)]), close=st.booleans(),
)  # fmt: skip
def test_every_point_is_read_once_as_ground_and_positions_share_what_was_asked(
    n, lasers, shared, pegs, sides, close
):
    names = ("P1", "P2")[:pegs]
    options = {"sides": sides, "lasers": lasers, "pegs": names, "shared": shared, "close": close}
    stretch = len(sides) * (n // lasers)
    if lasers > n or (lasers > 1 and (shared > stretch or not (shared or pegs))):
        with pytest.raises(ValueError, match=r"lasers|shared|tie the laser"):
            reading_order(np.arange(n) * 0.7, **options)
        return
    order = reading_order(np.arange(n) * 0.7, **options)
    ground = order[order["why"] == "ground"]
    assert sorted(places(ground)) == sorted((i * 0.7, side) for i in range(n) for side in sides)
    assert order["laser"].is_monotonic_increasing
    before: set = set()
    for laser, own in order.groupby("laser", sort=False):
        assert [*own["point"]][:pegs] == list(names)
        again = own["why"].isin(["again", "close"])
        assert int(again.sum()) == (1 + pegs if close else 0)
        read = {place for place in places(own) if not isinstance(place, str)}
        if laser != "1":
            assert len(before & read) >= shared
            assert set(places(own[own["why"] == "shared"])) == before & read
        before = read
        if close:
            firsts = own[~own["why"].isin(["start", "again", "close"])]
            assert places(own[own["why"] == "again"]) == places(firsts)[:1]
            assert places(own[own["why"] == "close"]) == list(names)


@pytest.mark.parametrize("lasers", [1, 2, 3])
def test_a_survey_read_in_this_order_is_fitted(lasers):
    """Invented rods from a known surface: the fit must give it back, whatever position it was read from."""
    order, rng = reading_order(STATIONS, lasers=lasers), np.random.default_rng(7)
    surface = 0.03 * order["station_m"] - 0.01 * (order["side"] == "right")
    height = surface.where(order["point"] == "", order["point"].map({"P1": 0.0, "P2": 0.25}))
    above = order["laser"].map({"1": 1.5, "2": 1.62, "3": 1.43})
    rods = above - height + rng.normal(0, 1e-4, len(order))
    survey = make_survey(levels=order.drop(columns="why").assign(rod_m=rods))
    tools, kind = Instruments(rod_sd=1e-4, station_sd=0.0), GroundType(q_mean=1e-5, q_twist=1e-6, relief=0.0)
    ground = fit_ground(survey, instruments=tools, ground_type=kind)
    assert len(ground.lasers) == lasers
    mean, _ = ground.height([0.0, 3.0, 6.0], "right")
    np.testing.assert_allclose(mean, 0.03 * np.array([0.0, 3.0, 6.0]) - 0.01, atol=5e-4)
    checked = ground.residuals.set_index("reading")["redundancy"]
    again = survey.levels["reading"][order["why"].isin(["start", "again", "close"])]
    assert (checked[again] > 0.2).all()  # they check one another


@pytest.mark.parametrize(
    ("stations", "options", "words"),
    [
        ([], {}, "at least one"),
        ([0.0, float("nan")], {}, r"stations\[1\] is nan"),
        ([0.0, 2.0, 2.0], {}, r"stations\[2\] = 2 m follows"),
        ([0.0], {"sides": "left"}, "sides must be a list"),
        ([0.0], {"sides": ("left", "left")}, "each at most once"),
        ([0.0], {"sides": ()}, "sides must be a list"),
        ([0.0], {"pegs": ("P1", "P1")}, "different names"),
        ([0.0], {"pegs": "P1"}, "pegs must be a list"),
        ([0.0], {"lasers": 0}, "lasers must be 1 or more"),
        ([0.0], {"lasers": 2}, r"at most the number of stations \(1\)"),
        ([0.0], {"shared": -1}, "shared must be 0 or more"),
        ([0.0, 1.0], {"lasers": 2, "shared": 3}, "shared must be at most 2"),
        ([0.0, 1.0], {"lasers": 2, "shared": 0, "pegs": ()}, "nothing would tie"),
    ],
)
def test_what_is_wrong_is_said(stations, options, words):
    with pytest.raises(ValueError, match=words):
        reading_order(stations, **options)


def test_everything_wrong_is_said_at_once():
    with pytest.raises(ValueError, match=r"must grow.*sides must be.*pegs must be.*lasers must be.*shared"):
        reading_order([1.0, 0.0], sides=("up",), pegs=("",), lasers=0, shared=-1)
