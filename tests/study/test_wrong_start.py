"""A wrong start on the day: worked by hand, against a plain walk tie by tie, and its limits."""

import itertools
import math

import numpy as np
import pytest
from crew import PACE, same_as_loops, work
from scipy import stats

from trackkit.cribbing import Piece, Truck
from trackkit.cribbing.by_height import PiecesByHeight, pieces_by_height
from trackkit.study.handled import Handled
from trackkit.study.walked import Ahead, walk
from trackkit.study.work import ExpectedWork
from trackkit.study.wrong_start import (
    Obstacles,
    Pace,
    best_spare,
    best_start,
    expected_work,
    laying_order,
    lifted_again,
)

#: A box of 4 by 20 by 12 in and a low wedge: between them nothing closes most fills.
HALF = Piece("half", "box", 0.1016, 0.508, 0.3048, 4.2, 9)
WEDGE = Piece("wedge", "wedge", 0.0127, 0.3048, 0.1, 0.4, 9, 0.0)


def by_hand():
    """Three stacks: on the ground; a board and a wedge, good up to 60 mm; a box, a pad and a wedge."""
    return PiecesByHeight(
        edges=np.array([0.0, 0.003, 0.050, 0.100]),
        pieces=np.array([0.0, 1.0, 2.0]),
        wedges=np.array([0.0, 1.0, 1.0]),
        cost=np.array([0.0, 1.5, 2.5]),
        low=np.array([-0.003, 0.002, 0.045]),
        high=np.array([0.003, 0.060, 0.100]),
        takes=np.array([[0, 0, 0, 0], [1, 0, 0, 1], [0, 1, 1, 1]]),
        items=("board", "box", "pad", "wedge"),
        last_resort=np.zeros(3, dtype=bool),
        touch=0.003,
    )


def head(heights, *, room=0.0, at=0.5):
    """Return one obstacle, of that height in each draw."""
    return Obstacles(np.array(heights)[:, None], np.array([room]), np.array([at]))


def case(seed, *, draws=40, sd=0.03):
    """Five supports under each rail, one of them a joint of two ties: ends left before right."""
    rng = np.random.default_rng(seed)
    stations = np.repeat([0.0, 0.8, 1.6, 1.75, 2.4, 3.2], 2)
    support = np.array([0, 1, 2, 3, 4, 5, 4, 5, 6, 7, 8, 9])
    return rng.normal(0.0, sd, (draws, 12)), stations, support


def walked_by_hand(heights, start, spare, order, support, table, pace, gap, touch, spare_again):
    """Return one crew's way in plain Python: lifts, lifted, slid, placing, again, too high."""

    def stack(fill):
        place = int(table.interval(fill))
        return int(table.counted[place])

    lowest = {s: min(h for h, own in zip(heights, support, strict=True) if own == s) for s in support}
    line, standing = heights[start] + gap + spare, {}
    lifts = lifted = slid = placing = again = 0
    for end in order:
        if heights[end] > line + touch:
            line = heights[end] + gap + (spare if spare_again else 0.0)
            lifts, again = lifts + 1, again + pace.reset
            for place, old in standing.items():
                lifted += 1
                fill = line - lowest[place]
                if fill <= table.high[old] + 1e-9:
                    slid, again = slid + 1, again + pace.slide
                    continue
                new = standing[place] = stack(fill)
                carried = np.maximum(table.takes[new] - table.takes[old], 0).sum()
                again += pace.restack + pace.piece * carried
        if support[end] not in standing:
            new = standing[support[end]] = stack(line - lowest[support[end]])
            placing += pace.level + pace.piece * table.takes[new].sum()
    high = any(line - low > table.edges[-1] for low in lowest.values())
    return lifts, lifted, slid, placing, again, high


def all_ways(drawn, starts, spares, stations, support, table, **more):
    """Return what every draw, start and spare height comes to, by plain loops: (6, starts, spares, draws)."""
    given = {"order": "outward", "gap": 0.012, "touch": 0.003, "spare_again": False} | more
    order = given.pop("order")
    found = np.empty((6, len(starts), len(spares), len(drawn)))
    for (i, start), (j, spare), (k, heights) in itertools.product(
        enumerate(starts), enumerate(spares), enumerate(drawn)
    ):
        turns = laying_order(stations, start, order).tolist()
        own = (heights.tolist(), start, spare, turns, support.tolist(), table)
        found[:, i, j, k] = walked_by_hand(*own, pace=PACE, **given)
    return found


@pytest.mark.parametrize("order", ["outward", "from the head", "from the tail"])
@pytest.mark.parametrize("spare_again", [False, True])
def test_expected_work_is_that_of_a_crew_walked_tie_by_tie(demo, order, spare_again):
    drawn, stations, support = case(1)
    starts, spares = [0, 5, 11], [0.0, 0.007, 0.03]
    more = {"order": order, "gap": 0.012, "touch": 0.003, "spare_again": spare_again}
    found = work(drawn, starts, spares, stations=stations, support=support, table=demo, **more)
    loops = all_ways(drawn, starts, spares, stations, support, demo, **more)
    same_as_loops(found, loops)
    assert found.lifts.max() > 1.0


def test_stacks_of_the_same_pieces_with_another_travel_are_kept_apart():
    """A half box alone closes 1 mm either way, as a last resort 3: from 101.6 mm it is not taken up by 2."""
    table = pieces_by_height(Truck((HALF, WEDGE)), bearing=0.09)
    own = Handled.of(table)
    before = own.which(np.array([0.1016, 0.1040]))
    assert own.takes_up(before, np.array([0.1036, 0.1045])).tolist() == [False, True]
    assert own.carried[before[0], before[1]] == 0


def test_a_fill_on_an_edge_takes_the_lower_stack():
    """50 mm is the board's last, 50.1 mm the box's first."""
    found = work([[0.0]], [0], [0.0, 0.0001], gap=0.050, table=by_hand())
    assert found.placing[0].tolist() == [3.0 + 0.5 * 2, 3.0 + 0.5 * 3]


def test_heights_above_the_table_are_told(demo):
    drawn, stations, support = case(2, sd=0.3)
    found = work(
        drawn, [0], [0.0, 0.1], stations=stations, support=support, table=demo, gap=0.012, touch=0.003
    )
    loops = all_ways(drawn, [0], [0.0, 0.1], stations, support, demo)
    np.testing.assert_allclose(found.too_high, loops[5].mean(axis=2))
    assert 0.1 < found.too_high[0, 0] <= found.too_high[0, 1]


def test_two_tie_ends_by_hand():
    """The second end is 20 mm lower or 30 mm higher, 1 chance in 2. Line at 10 mm: lifted once in two."""
    drawn = [[0.0, -0.020], [0.0, 0.030]]
    found = work(drawn, [0], [0.0, 0.0195, 0.0205])
    assert found.stays[0].tolist() == [0.5, 0.5, 1.0]
    assert found.lifts[0].tolist() == found.lifted[0].tolist() == [0.5, 0.5, 0.0]
    assert found.minutes[0].tolist() == [[6.0, 6.0 + 5.0 + 4.0], [6.0, 15.0], [6.0, 6.0]]
    assert found.table()["minutes"].tolist() == [10.5, 10.5, 6.0]


def test_touch_is_left_alone():
    """Ground 3 mm above the underside is within the touch, 3.1 mm is not."""
    found = work([[0.0, 0.0130], [0.0, 0.0131]], [0], [0.0], touch=0.00305)
    assert found.minutes[0, 0].tolist() == [6.0, 15.0]


def test_two_finds_with_pieces_by_hand():
    """From the middle, line at 10 mm. Head end at 40 mm: line to 50, the middle is only slid up. Tail end
    at 70 mm: line to 80, the middle is built anew from board and wedge to box, pad and wedge (two
    carried), the head end only slid up, to 40.
    """
    found = work([[0.040, 0.0, 0.070]], [1], [0.0], table=by_hand())
    placing = 3 * 3.0 + 0.5 * (2 + 2 + 2)
    again = (5.0 + 1.0) + (5.0 + 4.0 + 0.5 * 2 + 1.0)
    assert (found.lifts[0, 0], found.lifted[0, 0], found.slid[0, 0]) == (2.0, 3.0, 2.0)
    assert (found.placing[0, 0], found.again[0, 0]) == (placing, again)
    assert found.minutes[0, 0].tolist() == [placing + again]


def test_spare_height_is_built_in_again_only_if_asked():
    """Line at 15 with 5 mm spare; found at 20: up to 30 or 35; at 33 it must go up again or not."""
    drawn = [[0.0, 0.020, 0.033]]
    assert work(drawn, [0], [0.005]).lifts.item() == 2.0
    assert work(drawn, [0], [0.005], spare_again=True).lifts.item() == 1.0


def test_two_ties_of_a_joint_are_one_support():
    """Both on support 1: found at its second tie, the joint and the start are lifted."""
    drawn, support = [[0.0, 0.0, 0.030]], [0, 1, 1]
    found = work(drawn, [0], [0.0], support=support)
    assert (found.lifted.item(), found.placing.item(), found.again.item()) == (2.0, 6.0, 5.0 + 2 * 4.0)


def test_a_find_before_anything_is_placed_lifts_the_line_and_no_support():
    found = work([[0.050, 0.0]], [1], [0.0], order="from the head")
    assert (found.lifts.item(), found.lifted.item(), found.again.item()) == (1.0, 0.0, 5.0)


def test_lifts_over_all_orders_of_heights_are_records():
    """Four heights farther apart than the gap, in every order: each record after the first lifts the line.

    The n-th of exchangeable values is a record with chance 1/n (Renyi 1962; any text on records): lifts
    1/2 + 1/3 + 1/4 = 13/12, supports lifted 1/2 + 2/3 + 3/4 = 23/12, and the first is highest 1 in 4.
    """
    drawn = list(itertools.permutations([0.0, 0.1, 0.2, 0.3]))
    found = work(drawn, [0], [0.0], order="from the head")
    assert found.lifts.item() == pytest.approx(13 / 12, rel=1e-12)
    assert found.lifted.item() == pytest.approx(23 / 12, rel=1e-12)
    assert found.stays.item() == 0.25


def test_line_stays_as_often_as_no_other_end_is_too_high():
    """All 81 ways in which four ends lie at 0, 20 or 50 mm: chances by counting, from the start's height."""
    drawn = list(itertools.product([0.0, 0.020, 0.050], repeat=4))
    spares = [0.0, 0.012, 0.035, 0.045]
    chance = [
        np.mean(
            [
                np.mean([h <= start + 0.01 + spare for h in (0.0, 0.02, 0.05)]) ** 3
                for start in (0.0, 0.02, 0.05)
            ]
        )
        for spare in spares
    ]
    for start in range(4):
        np.testing.assert_allclose(work(drawn, [start], spares).stays[0], chance, rtol=1e-12)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("spare_again", [False, True])
def test_more_spare_height_never_lifts_more_often_in_any_draw(seed, spare_again):
    drawn, stations, support = case(seed, draws=300)
    heights = np.ascontiguousarray(drawn.T)
    lowest = np.array([heights[support == place].min(axis=0) for place in range(10)])
    lines = heights + 0.012
    ahead = Ahead(lines, heights, lines, lowest, support, 0.003)
    order = laying_order(stations, 4)
    spares = np.linspace(0.0, 0.12, 25)
    lifts = walk(ahead, 4, spares, order, Handled.of(None), PACE, spare_again=spare_again).lifts
    assert (np.diff(lifts, axis=0) <= 0).all()
    assert lifts[0].max() > 1


def test_nothing_is_lifted_under_a_huge_spare_height(demo):
    drawn, stations, support = case(3)
    found = work(drawn, range(12), [0.0, 0.4], stations=stations, support=support, table=demo)
    assert (found.stays[:, 1] == 1.0).all()
    assert (found.again[:, 1] == 0.0).all()
    assert (found.placing[:, 1] > found.placing[:, 0]).all()


def test_starting_from_the_highest_end_lifts_nothing():
    drawn = case(4)[0]
    drawn[:, 7] = drawn.max(axis=1)
    found = work(drawn, [7], [0.0])
    assert (found.stays.item(), found.again.item()) == (1.0, 0.0)


@pytest.mark.parametrize("shift", [-3.7, 120.0])
def test_a_common_shift_of_heights_changes_nothing(demo, shift):
    drawn, stations, support = case(5)
    same = {"stations": stations, "support": support, "table": demo}
    one, other = (work(heights, [0, 5], [0.0, 0.011], **same) for heights in (drawn, drawn + shift))
    np.testing.assert_allclose(one.minutes, other.minutes)
    np.testing.assert_array_equal(one.lifts, other.lifts)


def test_names_of_supports_and_order_of_draws_do_not_matter(demo):
    drawn, stations, support = case(6)
    one = work(drawn, [5], [0.0], stations=stations, support=support, table=demo)
    other = work(drawn[::-1], [5], [0.0], stations=stations, support=100 - 7 * support, table=demo)
    np.testing.assert_array_equal(one.minutes, other.minutes[..., ::-1])


def test_table_of_the_work_has_a_row_for_every_start_and_spare_height():
    found = work(case(8)[0], [3, 1], [0.0, 0.02])
    table = found.table()
    assert table[["start", "spare_m"]].to_numpy().tolist() == [[3, 0.0], [3, 0.02], [1, 0.0], [1, 0.02]]
    np.testing.assert_allclose(table["minutes"], (found.placing + found.again).ravel())
    np.testing.assert_allclose(table["minutes_se"], stats.sem(found.minutes, axis=2).ravel())


def test_what_is_lifted_again_by_hand():
    """Start in the middle, everything at 40 mm, 30 mm too low for what is found; the start sits at 15 mm."""
    table = lifted_again(
        [0.040, 0.015, 0.040],
        1,
        0.030,
        support=[0, 1, 2],
        stations=[0.0, 1.0, 2.0],
        table=by_hand(),
        pace=PACE,
    )
    assert table["end"].tolist() == [1, 0, 2]
    assert table["turn"].tolist() == [1, 2, 3]
    assert table["supports"].tolist() == [0, 1, 2]
    assert table["slid"].tolist() == [0, 1, 1]
    assert table["restacked"].tolist() == [0, 0, 1]
    assert table["more_pieces"].tolist() == [0, 0, 1]
    assert table["more_wedges"].tolist() == [0, 0, 0]
    assert table["carried"].tolist() == [0, 0, 2]
    assert table["minutes"].tolist() == [5.0, 5.0 + 1.0, 5.0 + 1.0 + 4.0 + 0.5 * 2]


@pytest.mark.parametrize("order", ["outward", "from the head", "from the tail"])
@pytest.mark.parametrize("end", [0, 3, 8, 11])
def test_what_is_lifted_again_is_what_the_walk_of_one_find_comes_to(demo, order, end):
    """Ground at most as high as the start, but for one end 25 mm above the line: it is found there."""
    drawn, stations, support = case(9, draws=1)
    heights = -np.abs(drawn[0])
    heights[4] = 0.0
    heights[end] = 0.012 + 0.025
    where = {"stations": stations, "support": support, "table": demo, "order": order, "pace": PACE}
    walked = work([heights], [4], [0.0], gap=0.012, **where)
    told = lifted_again(0.012 - heights, 4, 0.025 + 0.012, found_at=[end], **where)
    assert walked.lifts.item() == 1.0
    assert told["supports"].item() == walked.lifted.item()
    assert told["slid"].item() == walked.slid.item()
    assert told["minutes"].item() == pytest.approx(walked.again.item())


def test_no_lift_needs_no_work_and_high_stacks_are_told():
    where = {"support": [0, 1], "stations": [0.0, 1.0], "table": by_hand(), "pace": PACE}
    assert lifted_again([0.04, 0.04], 0, 0.0, **where)[["supports", "minutes"]].to_numpy().tolist() == [
        [0, 0],
        [0, 0],
    ]
    assert lifted_again([0.04, 0.04], 0, [0.0, 0.07], **where)["too_high"].tolist() == [0, 1]


def test_order_from_the_tail_keeps_left_before_right():
    assert laying_order([0.0, 0.0, 1.0, 1.0], 0, "from the tail").tolist() == [2, 3, 0, 1]
    assert laying_order([0.0, 0.0, 1.0, 1.0], 2, "from the head").tolist() == [0, 1, 2, 3]


def test_outward_takes_the_nearest_first_and_the_head_side_of_two():
    assert laying_order([0.0, 1.0, 1.9, 3.0, 4.0], 2).tolist() == [2, 1, 3, 0, 4]
    assert laying_order([0.0, 0.0, 1.0, 1.0, 2.0, 2.0], 3).tolist() == [3, 2, 0, 1, 4, 5]


def of_minutes(minutes, *, starts=(4, 7), spares=(0.0, 0.01), counted=True):
    values = np.asarray(minutes, dtype=float)
    zero = np.zeros(values.shape[:2])
    own = (np.array(starts), np.array(spares), values)
    return ExpectedWork(*own, zero, zero, zero, zero, zero, zero + 0.5, zero, counted)


def test_best_start_has_the_least_expected_minutes_and_its_lead_is_paired():
    """Two starts whose minutes differ by nearly the same in each draw: the lead is known far better."""
    rng = np.random.default_rng(0)
    first = rng.normal(200.0, 30.0, 50)
    second = first + rng.normal(2.0, 0.5, 50)
    best = best_start(of_minutes([[second, first], [first, second]]))
    assert (best.start, best.next_best, best.as_good) == (7, 4, (7,))
    assert best.ahead == pytest.approx((second - first).mean())
    assert best.ahead / best.ahead_se == pytest.approx(stats.ttest_rel(second, first).statistic)
    assert best_start(of_minutes([[second, first], [first, second]]), spare=0.01).start == 4


def test_starts_that_may_be_as_good_are_told():
    rng = np.random.default_rng(1)
    minutes = rng.normal([[200.0], [200.5], [260.0]], 20.0, (3, 40))[:, None, :]
    assert set(best_start(of_minutes(minutes, starts=(1, 2, 3), spares=(0.0,))).as_good) == {1, 2}


def test_best_spare_saves_against_none_with_its_paired_error():
    rng = np.random.default_rng(2)
    none = rng.normal(250.0, 40.0, 60)
    some, much = none - rng.normal(8.0, 2.0, 60), none + 30.0
    best = best_spare(of_minutes([[much, none, some]], starts=(4,), spares=(0.03, 0.0, 0.01)), 4)
    assert (best.spare, best.as_good, best.at_end) == (0.01, (0.01,), False)
    assert best.saves == pytest.approx((none - some).mean())
    assert best.saves / best.saves_se == pytest.approx(stats.ttest_rel(none, some).statistic)
    assert best.minutes_se == pytest.approx(stats.sem(some))


def test_of_equal_spare_heights_the_smallest_is_best_and_the_largest_tried_is_told():
    same = np.arange(5.0)
    assert best_spare(of_minutes([[same, same]], starts=(4,)), 4).spare == 0.0
    assert best_spare(of_minutes([[same, same - 1.0]], starts=(4,)), 4).at_end


def test_insurance_pays_where_the_start_is_doubtful_and_not_where_it_is_sure(demo):
    """A start 5 mm below the highest ends, give or take 10 mm, wants spare; one 60 mm above them none."""
    rng = np.random.default_rng(3)
    mean = np.full(12, -0.005)
    mean[[0, 11]] = (0.0, 0.060)
    drawn = rng.normal(mean, 0.010, (400, 12))
    found = work(drawn, [0, 11], np.linspace(0.0, 0.08, 9), table=demo, gap=0.012, touch=0.003)
    pays = best_spare(found, 0)
    assert pays.saves > 4.0 * pays.saves_se > 0.0
    assert pays.stays > pays.stays_without
    assert best_spare(found, 11).stays_without > 0.99


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"starts": [2]}, r"starts must be tie ends from 0 to 1; got \[2\]"),
        ({"starts": [0.5]}, "starts must be tie ends"),
        ({"spares": [-0.01]}, r"spares must be finite heights in m, 0 or more; got \[-0.01\]"),
        ({"drawn": [0.0, 1.0]}, r"drawn must be finite heights of shape \(draws, ends\); got shape \(2,\)"),
        ({"drawn": [[0.0, math.nan]]}, "drawn must be finite"),
        ({"gap": math.inf}, "gap must be a finite height in m, not negative; got inf"),
        ({"touch": -0.1}, "touch must be a finite height in m, not negative; got -0.1"),
        ({"support": [0]}, "one station and one support for each of 2 tie ends"),
        ({"stations": [1.0, 0.0]}, "stations must be finite and run from head to tail"),
        (
            {"order": "inward"},
            "order must be one of 'outward', 'from the head', 'from the tail'; got 'inward'",
        ),
        ({"starts": [3], "obstacles": head([0.0])}, "0 to 1 or obstacles from 2 to 2; got"),
        ({"obstacles": head([0.0, 0.0])}, "must have the same draws as the ground, 1; got 2"),
        ({"table": pieces_by_height(Truck(()), bearing=0.09)}, "nothing on this truck closes any height"),
    ],
)
def test_what_cannot_be_worked_with_is_named(change, message):
    given = {"drawn": [[0.0, 0.0]], "starts": [0], "spares": [0.0], "support": [0, 1], "stations": [0.0, 1.0]}
    given |= {"gap": 0.01, "touch": 0.003} | change
    with pytest.raises(ValueError, match=message):
        expected_work(given.pop("drawn"), given.pop("starts"), given.pop("spares"), **given)


def test_a_pace_that_is_none_names_every_fault():
    with pytest.raises(ValueError, match=r"got level = -1.0, piece = nan"):
        Pace(level=-1.0, piece=math.nan)


def test_a_start_or_lift_that_is_none_is_named():
    where = {"support": [0, 1], "stations": [0.0, 1.0]}
    with pytest.raises(ValueError, match="start must be a tie end from 0 to 1; got 5"):
        lifted_again([0.1, 0.1], 5, 0.01, **where)
    with pytest.raises(ValueError, match="lift finite and not negative"):
        lifted_again([0.1, 0.1], 0, -0.01, **where)
    with pytest.raises(ValueError, match=r"one for each of 1 finds; got shape \(2,\)"):
        lifted_again([0.1, 0.1], 0, [0.01, 0.01], found_at=[1], **where)


def test_a_choice_that_was_not_tried_is_named():
    tried = of_minutes(np.zeros((2, 2, 3)))
    with pytest.raises(ValueError, match=r"a spare height of 0.02 m was not tried; there are \[0.0, 0.01\]"):
        best_start(tried, spare=0.02)
    with pytest.raises(ValueError, match=r"start must be one of \[4, 7\]; got 5"):
        best_spare(tried, 5)
    with pytest.raises(ValueError, match="without pieces by height a spare height costs nothing"):
        best_spare(of_minutes(np.zeros((2, 2, 3)), counted=False), 4)
