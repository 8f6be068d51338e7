"""Obstacles on the crew's way: worked by hand, against a plain walk thing by thing, and their limits."""

import itertools

import numpy as np
import pytest
from crew import PACE, same_as_loops, work
from scipy import stats

from trackkit.study.obstacles import Obstacles, comes_to, nearest_ends
from trackkit.study.wrong_start import (
    best_spare,
    best_start,
    finds,
    laying_order,
    lifted_again,
)

ORDERS = ("outward", "from the head", "from the tail")
GAP, TOUCH = 0.012, 0.003


def beside(heights, room, stations):
    """Return obstacles of the same heights in every draw."""
    values = np.array(heights, dtype=float)
    return Obstacles(values if values.ndim == 2 else values[None], np.array(room), np.array(stations))


def case(seed, *, draws=40, sd=0.03):
    """Six ties, two on one joint, and four obstacles: one half-way between ties, two at one tie."""
    rng = np.random.default_rng(seed)
    stations = np.repeat([0.0, 0.8, 1.6, 1.75, 2.4, 3.2], 2)
    support = np.array([0, 1, 2, 3, 4, 5, 4, 5, 6, 7, 8, 9])
    others = rng.normal([0.02, 0.0, -0.01, 0.03], sd, (draws, 4))
    obstacles = Obstacles(others, np.array([0.03, 0.0, 0.012, 0.05]), np.array([2.075, 0.5, 0.7, 3.2]))
    return rng.normal(0.0, sd, (draws, 12)), stations, support, obstacles


def stops_by_hand(stations, beside, order):
    """Return what is come to, tie end by tie end: the end, then obstacles that no end came to before."""
    left, stops = list(range(len(beside))), []
    for end in order:
        here = [end]
        for one in list(left):
            nearest = min(abs(station - beside[one]) for station in stations)
            if abs(abs(stations[end] - beside[one]) - nearest) < 1e-6:
                here.append(len(stations) + one)
                left.remove(one)
        stops.append((end, here))
    return stops


def walked_by_hand(heights, room, line, spare_again, stops, support, table):
    """Return one crew's way in plain Python: lifts, lifted, slid, placing, again, too high."""
    lowest = {s: min(h for h, own in zip(heights, support, strict=False) if own == s) for s in support}
    standing, passed = {}, []
    lifts = lifted = slid = placing = again = 0
    for end, here in stops:
        passed += here
        if any(heights[thing] > line + TOUCH for thing in here):
            line = max(heights[thing] + room[thing] for thing in passed) + spare_again
            lifts, again = lifts + 1, again + PACE.reset
            for place, old in standing.items():
                lifted += 1
                fill = line - lowest[place]
                if fill <= table.high[old] + 1e-9:
                    slid, again = slid + 1, again + PACE.slide
                    continue
                new = standing[place] = int(table.counted[int(table.interval(fill))])
                again += PACE.restack
                again += PACE.piece * np.maximum(table.takes[new] - table.takes[old], 0).sum()
        if support[end] not in standing:
            new = int(table.counted[int(table.interval(line - lowest[support[end]]))])
            standing[support[end]] = new
            placing += PACE.level + PACE.piece * table.takes[new].sum()
    high = any(line - low > table.edges[-1] for low in lowest.values())
    return lifts, lifted, slid, placing, again, high


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("spare_again", [False, True])
def test_expected_work_is_that_of_a_crew_walked_thing_by_thing(demo, order, spare_again):
    """From two tie ends, and from the obstacles between two ties and at the tail."""
    drawn, stations, support, obstacles = case(1)
    starts, spares, begins = [0, 5, 12, 15], [0.0, 0.007, 0.03], [0, 5, 6, 10]
    room = [*[GAP] * 12, *obstacles.room.tolist()]
    where = {"stations": stations, "support": support, "table": demo, "order": order, "gap": GAP}
    found = work(drawn, starts, spares, obstacles=obstacles, touch=TOUCH, spare_again=spare_again, **where)
    loops = np.empty((6, len(starts), len(spares), len(drawn)))
    for (i, start), (j, spare), k in itertools.product(enumerate(starts), enumerate(spares), range(40)):
        heights = [*drawn[k].tolist(), *obstacles.heights[k].tolist()]
        turns = laying_order(stations, begins[i], order).tolist()
        stops = stops_by_hand(stations.tolist(), obstacles.stations.tolist(), turns)
        line = heights[start] + room[start] + spare
        more = spare if spare_again else 0.0
        loops[:, i, j, k] = walked_by_hand(heights, room, line, more, stops, support.tolist(), demo)
    same_as_loops(found, loops)
    assert found.lifts.max() > 0.9


def test_a_sprinkler_head_by_hand():
    """Three supports at 0, 1 and 2 m on level ground, line at 10 mm, a head 30 mm high at 1.7 m.

    It shows at the last tie, before that is placed: the line goes to 30 + 20 mm of room, and the two that
    stand are opened: 5 + 2 * 4 minutes. It stands on no stack, so that three are placed: 3 * 3 minutes.
    """
    head = beside([0.030], [0.020], [1.7])
    found = work([[0.0, 0.0, 0.0]], [0], [0.0, 0.019, 0.020], obstacles=head)
    assert found.lifts.tolist() == [[1.0, 1.0, 0.0]]
    assert found.lifted.tolist() == [[2.0, 2.0, 0.0]]
    assert found.minutes[0, :, 0].tolist() == [9.0 + 13.0, 9.0 + 13.0, 9.0]
    without = work([[0.0, 0.0, 0.0]], [0], [0.0])
    assert (without.stays.item(), without.minutes.item()) == (1.0, 9.0)


def test_a_lift_by_an_obstacle_is_as_high_as_its_own_room():
    """Found at the second tie, 30 mm high: with 20 mm of room the third tie at 45 lies below, with 10 not."""
    drawn = [[0.0, 0.0, 0.045]]
    assert work(drawn, [0], [0.0], obstacles=beside([0.030], [0.020], [1.0])).lifts.item() == 1.0
    assert work(drawn, [0], [0.0], obstacles=beside([0.030], [0.010], [1.0])).lifts.item() == 2.0


def test_what_shows_at_one_tie_end_is_one_find():
    """Tie end at 20 mm and two obstacles at 25 and 15 mm, room 0 and 40 mm: one lift, to 55 mm."""
    more = {"obstacles": beside([0.025, 0.015], [0.0, 0.040], [0.9, 1.1])}
    assert work([[0.0, 0.020, 0.055]], [0], [0.0], **more).lifts.item() == 1.0
    assert work([[0.0, 0.020, 0.056]], [0], [0.0], **more).lifts.item() == 2.0


def test_a_lift_gives_what_was_passed_its_room():
    """At 12 mm the line clears an obstacle of 11 mm that asks for 30; lifted for a tie it goes to 41.

    By 13 + 10 mm alone it would be lifted a second time at 30 mm, more often than the line at 10 mm, which
    the obstacle lifts to 41: more spare height would mean more lifts.
    """
    more = {"obstacles": beside([0.011], [0.030], [1.0])}
    found = work([[0.0, 0.0, 0.013, 0.030]], [0], [0.0, 0.002], **more)
    assert found.lifts.tolist() == [[1.0, 1.0]]
    assert found.lifted.tolist() == [[1.0, 2.0]]


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("spare_again", [False, True])
def test_more_spare_height_never_lifts_more_often_in_any_draw_past_obstacles(seed, spare_again):
    drawn, stations, support, obstacles = case(seed, draws=20)
    spares = np.linspace(0.0, 0.12, 25)
    for order, k in itertools.product(ORDERS, range(20)):
        one = Obstacles(obstacles.heights[k : k + 1], obstacles.room, obstacles.stations)
        where = {"stations": stations, "support": support, "gap": GAP, "touch": TOUCH, "order": order}
        lifts = work(drawn[k : k + 1], [4, 13], spares, obstacles=one, spare_again=spare_again, **where).lifts
        assert (np.diff(lifts, axis=1) <= 0).all()


def test_line_stays_as_often_as_all_that_is_ahead_stays_below_it():
    """A certain start and three things that are normal each: the product of their chances, from scipy."""
    rng = np.random.default_rng(5)
    draws = 40_000
    drawn = np.column_stack([np.zeros(draws), rng.normal(0.0, 0.01, draws)])
    obstacles = Obstacles(rng.normal([-0.01, 0.004], 0.008, (draws, 2)), np.zeros(2), np.array([0.2, 0.9]))
    found = work(drawn, [0], [0.0, 0.005], obstacles=obstacles, touch=TOUCH)
    for spare, stays in zip((0.0, 0.005), found.stays[0], strict=True):
        over = 0.010 + spare + TOUCH
        chance = (
            stats.norm.cdf(over / 0.01) * stats.norm.cdf((over - np.array([-0.01, 0.004])) / 0.008).prod()
        )
        assert stays == pytest.approx(chance, abs=4 * np.sqrt(chance * (1 - chance) / draws))


def test_obstacles_in_the_ground_change_nothing(demo):
    drawn, stations, support, obstacles = case(2)
    where = {"stations": stations, "support": support, "table": demo}
    low = Obstacles(obstacles.heights - 1.0, obstacles.room, obstacles.stations)
    one, other = (work(drawn, [0, 5], [0.0, 0.01], obstacles=each, **where) for each in (None, low))
    np.testing.assert_array_equal(one.minutes, other.minutes)
    np.testing.assert_array_equal(one.lifts, other.lifts)


def test_an_obstacle_higher_than_all_is_the_best_start_and_spare_counts_it(demo):
    """A head 40 mm above all: whoever starts there lifts nothing, and spare pays from elsewhere only."""
    drawn, stations, support, _ = case(3, draws=200, sd=0.004)
    head = beside(np.full((200, 1), 0.040), [0.020], [3.0])
    found = work(
        drawn, [0, 12], np.linspace(0.0, 0.06, 16), stations=stations, support=support, table=demo,
        obstacles=head,
    )  # fmt: skip
    assert best_start(found).start == 12
    assert best_spare(found, 12).stays_without == 1.0
    low = best_spare(found, 0)
    assert low.stays_without == 0.0 and low.spare > 0.02 and low.saves > 10.0


def test_an_obstacle_is_come_to_with_the_first_end_of_the_nearest_tie():
    stations = np.repeat([0.0, 0.5, 1.0], 2)
    near = nearest_ends(stations, np.array([0.3, 0.25 + 1e-13, 9.0]))
    assert [np.flatnonzero(row).tolist() for row in near] == [[2, 3], [0, 1, 2, 3], [4, 5]]
    turns = laying_order(stations, 5)
    assert comes_to(stations, np.array([0.3, 0.25, 1.2]), turns).tolist() == [2, 2, 5]
    assert comes_to(stations, np.array([0.3, 0.25, 1.2])).tolist() == [2, 0, 4]


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("seed", range(12))
def test_the_first_find_is_the_first_lift_of_the_walk(demo, order, seed):
    """Ground of which only the first find is left too high: the fixed story and the walk of it agree."""
    drawn, stations, support, obstacles = case(seed, draws=1)
    heights, room = np.append(drawn[0], obstacles.heights[0]), np.append(np.full(12, GAP), obstacles.room)
    line = heights[4] + GAP
    where = {"stations": stations, "order": order}
    told = finds(heights, line, 4, room=room, touch=TOUCH, beside=obstacles.stations, **where)
    some = {"support": support, "table": demo, "pace": PACE} | where
    again = lifted_again(line - heights[:12], 4, told["lift_m"], found_at=told["end"].to_numpy(), **some)
    assert set(told["thing"]) == set(np.flatnonzero(heights > line + TOUCH))
    assert not again.empty
    first = again.iloc[0]
    thing = told["thing"].iloc[int(first["find"])]
    others = (heights > line + TOUCH) & (np.arange(16) != thing)
    flat = np.where(others, line - 0.2, heights)
    lower = line - flat[:12]
    only = lifted_again(lower, 4, first["lift_m"], found_at=[int(first["end"])], **some).iloc[0]
    walked = work(
        [flat[:12]], [4], [0.0], obstacles=beside(flat[12:], obstacles.room, obstacles.stations),
        gap=GAP, touch=TOUCH, **some,
    )  # fmt: skip
    assert walked.lifts.item() == 1.0
    assert only["supports"] == walked.lifted.item()
    assert only["slid"] == walked.slid.item()
    assert only["minutes"] == pytest.approx(walked.again.item())


def test_a_find_lifts_until_what_was_passed_has_its_room_too():
    """By hand: line at 10 mm; a head of 9 mm at the second tie asks for 40; the third tie is 12 mm high."""
    told = finds(
        [0.0, 0.0, 0.012, 0.009], 0.010, 0, room=[0.010, 0.010, 0.010, 0.040], touch=0.0,
        stations=[0.0, 1.0, 2.0], beside=[1.1],
    )  # fmt: skip
    assert told[["thing", "end"]].to_numpy().tolist() == [[2, 2]]
    assert told["lift_m"].item() == pytest.approx(0.009 + 0.040 - 0.010)


def test_nothing_too_high_is_no_find():
    told = finds([0.0, 0.01], 0.010, 0, room=[0.01, 0.01], touch=0.0, stations=[0.0, 1.0])
    again = lifted_again(
        [0.01, 0.0], 0, told["lift_m"], support=[0, 1], stations=[0.0, 1.0], found_at=told["end"].to_numpy()
    )
    assert told.empty and again.empty and "minutes" in again


def test_obstacles_that_cannot_be_used_name_every_fault():
    with pytest.raises(ValueError, match=r"room must be finite, one for each .*\(2,\); stations must be"):
        Obstacles(np.zeros((3, 1)), np.zeros(2), np.array([np.nan]))
    with pytest.raises(ValueError, match=r"of shape \(draws, obstacles\); got shape \(3,\)"):
        Obstacles(np.zeros(3), np.zeros(1), np.zeros(1))
    with pytest.raises(ValueError, match=r"room must not be negative; got -0\.01 m"):
        Obstacles(np.zeros((3, 1)), np.array([-0.01]), np.zeros(1))
    with pytest.raises(ValueError, match="one height and one room for each of 2 tie ends and 1 obstacles"):
        finds([0.0, 0.0], 0.0, 0, room=[0.0] * 3, touch=0.0, stations=[0.0, 1.0], beside=[0.5])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"heights": [0.0, np.nan, 0.05]}, "cannot be told: heights must be finite$"),
        ({"line": np.inf}, "line must be finite$"),
        ({"room": [0.01, np.nan, 0.02]}, "room must be finite$"),
        ({"room": [0.01, 0.01, -0.02]}, r"room must not be negative; got -0\.02 m$"),
        ({"touch": np.nan}, "touch must be finite$"),
        ({"touch": -0.003}, r"touch must not be negative; got -0\.003 m$"),
        ({"stations": [1.0, 0.0]}, "stations must run from head to tail$"),
        ({"stations": [0.0, np.inf]}, "stations must be finite$"),
        ({"beside": [np.nan]}, "beside must be finite$"),
        ({"beside": [0.2, 0.8]}, r"each of 2 tie ends and 2 obstacles; got \(3,\) and \(3,\)"),
        ({"heights": [np.nan, 0.0, 0.0], "room": [0.0, -0.1, 0.0]}, "heights must be finite; room must not"),
        ({"order": "inward"}, "order must be one of"),
    ],
)
def test_finds_over_what_is_no_height_name_every_fault(change, message):
    given = {
        "heights": [0.0, 0.0, 0.05], "line": 0.01, "start": 0, "room": [0.01, 0.01, 0.02], "touch": 0.0,
        "stations": [0.0, 1.0], "beside": [0.8],
    }  # fmt: skip
    with pytest.raises(ValueError, match=message):
        finds(**(given | change))
