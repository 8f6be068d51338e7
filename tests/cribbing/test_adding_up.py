"""Fill is what the seat lifts, the pieces and the closing piece, for every stack and tie of the demos."""

import math
from pathlib import Path

import pytest
from crib_cases import INCH, fills, truck

from trackkit.cribbing import choose_stacks
from trackkit.job import load_job
from trackkit.plan import make_plan

DEMOS = Path(__file__).parents[2] / "data_demo"


@pytest.mark.parametrize("name", ["boathouse_lawn", "market_yard", "terrace_edge"])
def test_seat_pieces_and_closing_piece_make_up_the_fill_of_every_tie_of_the_demos(name):
    """Arithmetic: what stands between ground and tie is as high as the fill."""
    plan = make_plan(load_job(DEMOS / name))
    assert plan.stacks.stacks
    for stack in plan.stacks.stacks:
        pieces = sum(piece.thickness for piece in stack.pieces)
        for fill, end in zip(stack.fills, stack.closings, strict=True):
            assert end.seat_raise + pieces + end.height == pytest.approx(fill, abs=1e-9)
        assert (stack.seat_raise > 0) <= ("seat (lifts" in stack.words("mm"))
    table = plan.stacks.table()
    alone = table[~table["ties"].str.contains(" ")]
    made_up = alone["seat_raise_m"] + alone["pile_m"] + alone["closing_m"]
    assert made_up.tolist() == pytest.approx(alone["fill_m"].tolist(), abs=1e-9)


def test_a_seat_is_told_with_its_lift_in_the_display_of_the_job():
    """A box 12 in wide on 4 degrees across: its low edge is 21.3 mm up, its middle 10.7 mm (geometry)."""
    there = choose_stacks(fills([0.13], cross_slope=math.radians(4.0)), truck()).stacks[0]
    rise = 12 * INCH * math.tan(math.radians(4.0))
    assert there.seat_raise == pytest.approx(rise / 2)
    assert there.seat == "1 wedge under the left side edge, 21 mm thick there"
    assert there.words("mm").startswith("seat (lifts 11 mm) + ")
    assert there.words("1/8 in").startswith("seat (lifts 3/8 in) + ")


def test_wedges_on_ground_that_slopes_both_ways_are_as_thick_as_the_gap_where_they_lie():
    """Under the middle of an edge a plane lies its rise along and half its rise across lower (geometry)."""
    slopes = {"cross_slope": math.radians(3.0), "along_slope": math.radians(-2.0)}
    there = choose_stacks(fills([0.13], **slopes), truck()).stacks[0]
    foot = there.pieces[0]
    along, across = foot.length * math.tan(math.radians(2.0)), foot.width * math.tan(math.radians(3.0))
    assert there.seat_raise == pytest.approx((along + across) / 2)
    tail, left = 1000 * (along + across / 2), 1000 * (across + along / 2)
    assert there.seat == (
        f"2 wedges: one under the middle of the tail edge, {tail:.0f} mm thick there, "
        f"one under the middle of the left side edge, {left:.0f} mm thick there"
    )


def test_scraped_ground_is_told_both_ways_and_goes_down_to_its_low_corner():
    """A rectangle level with the low corner of a plane is half of both rises under its middle (geometry)."""
    slopes = {"cross_slope": math.radians(-3.0), "along_slope": math.radians(2.0), "ground_type": "lawn"}
    there = choose_stacks(fills([0.13], **slopes), truck()).stacks[0]
    foot = there.pieces[0]
    along, across = foot.length * math.tan(math.radians(2.0)), foot.width * math.tan(math.radians(3.0))
    assert there.seat.startswith("scrape level: ")
    assert f"{1000 * along:.0f} mm off the tail side" in there.seat
    assert f"{1000 * across:.0f} mm off the left side" in there.seat
    assert there.seat_raise == pytest.approx(-(along + across) / 2)
    assert there.words("mm").startswith(f"seat (scraped down {500 * (along + across):.0f} mm) + ")


def test_ground_that_hardly_slopes_across_wants_no_wedge_that_way():
    slopes = {"cross_slope": math.radians(0.3), "along_slope": math.radians(3.0)}
    there = choose_stacks(fills([0.13], **slopes), truck(), display="1/8 in").stacks[0]
    assert there.seat == "1 wedge under the head edge, 1 in thick there"


@pytest.mark.parametrize(("degrees", "packed"), [(3.0, False), (6.0, True)])
def test_a_seat_thicker_than_the_wedge_wants_packing(degrees, packed):
    """A box of 0.508 m on 6 degrees wants 53 mm under its low edge, a wedge has 32 mm (geometry)."""
    there = choose_stacks(fills([0.16], along_slope=math.radians(degrees), ground_type="paving"), truck())
    (stack,) = there.stacks
    assert (stack.pieces[0].length * math.tan(math.radians(degrees)) > 1.25 * INCH) == packed
    assert stack.seat.startswith("packing (not on the pull list) and a wedge") == packed


@pytest.mark.parametrize(("across", "wedges"), [(0.2, 1), (1.0, 2)])
def test_a_seat_takes_a_wedge_for_each_way_in_which_the_ground_slopes(across, wedges):
    slopes = {"along_slope": math.radians(3.0), "cross_slope": math.radians(across)}
    plan = choose_stacks(fills([0.13], ground_type="paving", **slopes), truck())
    (stack,) = plan.stacks
    assert stack.seat_wedges == stack.seat.count("thick") == wedges
    assert dict(plan.used)["wedge"] == wedges + dict(stack.closing.takes).get("wedge", 0)
