"""What heights can be built, against the box series, the rule of three and dressed sizes."""

import numpy as np
import pytest
from crib_cases import INCH, box, pad, truck, two_by_four

from trackkit.cribbing import Piece, StackRules, Truck
from trackkit.cribbing.heights import TICK, build_patterns, lay_pieces, to_ticks


def patterns_of(there, rules=None, top=0.6):
    rules = rules or StackRules()
    return build_patterns(lay_pieces(there, rules), len(there.pieces), rules, top=top)


def test_ticks_hold_sixty_fourths_and_tenths_of_a_millimetre_exactly():
    assert pytest.approx(INCH / 64, abs=1e-15) == 127 * TICK
    assert [to_ticks(n * INCH / 64) for n in range(1, 2000)] == [127 * n for n in range(1, 2000)]
    assert [to_ticks(n * 1e-4) for n in range(1, 6000)] == [32 * n for n in range(1, 6000)]


def test_one_box_of_each_gives_every_whole_inch_to_fifteen():
    """1, 2, 4 and 8 in boxes: common practice, no source."""
    there = Truck(tuple(box(f"{n} in", n, 1) for n in (1, 2, 4, 8)))
    found = patterns_of(there)
    once = (found.use <= 1).all(axis=1)
    inches = {round(ticks / (64 * 127)) for ticks in found.ticks[once]}
    assert inches == set(range(16))


def test_lumber_stands_on_edge_only_where_that_is_stable():
    there = Truck((two_by_four(9), Piece("1x4", "lumber", 0.75 * INCH, 12 * INCH, 3.5 * INCH, 1, 9)))
    edges = {one.item: one.thickness for one in lay_pieces(there, StackRules()) if one.on_edge}
    assert edges == {"2x4": pytest.approx(3.5 * INCH)}


def test_both_ways_of_lying_take_the_same_piece():
    there = Truck((two_by_four(9),))
    found = patterns_of(there)
    one_edge_one_flat = found.ticks == to_ticks(5.0 * INCH)
    assert found.use[one_edge_one_flat].tolist() == [[2]]


@pytest.mark.parametrize(("base", "n"), [(4.0, 3), (3.0, 2)])
def test_height_is_at_most_three_times_the_least_base(base, n):
    """Ontario Building Code 9.15.2.3.(3): pier height at most three times the least base dimension."""
    there = Truck((Piece("block", "box", 4 * INCH, base * INCH, 8 * INCH, 1, 20),))
    found = patterns_of(there)
    assert round(found.ticks.max() / to_ticks(4 * INCH)) == n
    assert ((found.ticks + found.room)[found.foot == 0] == to_ticks(3 * base * INCH)).all()


def test_rule_of_three_counts_above_every_layer():
    """A narrow block on a wide pad is still a narrow tower: the pad doesn't make it stable."""
    there = Truck((pad(5, side=20.0), Piece("post", "box", 4 * INCH, 2 * INCH, 2 * INCH, 1, 20)))
    found = patterns_of(there)
    assert found.counts[:, 1].max() == 1


def test_widest_layer_is_lowest():
    found = patterns_of(truck())
    least = np.array([one.least for one in found.laid])
    assert (np.diff(least) <= 1e-9).all()


def test_no_more_layers_or_pieces_of_a_kind_than_the_rules_say():
    rules = StackRules(
        max_layers=4, max_of_kind={"box": 2, "lumber": 1, "pad": 1, "ply": 2, "edge": 1, "crossed": 5}
    )
    found = patterns_of(truck(), rules)
    boxes = [i for i, one in enumerate(found.laid) if one.kind == "box"]
    assert found.counts.sum(axis=1).max() == 4
    assert found.counts[:, boxes].sum(axis=1).max() == 2


def test_crossed_pairs_make_a_crib_with_a_plate_on_top():
    crib = Piece("crib", "lumber", 3.5 * INCH, 24 * INCH, 3.5 * INCH, 4, 40)
    there = Truck((crib, pad(9)))
    found = patterns_of(there, StackRules(max_layers=6))
    pair = next(i for i, one in enumerate(found.laid) if one.per_layer == 2)
    cribs = found.counts[:, pair] > 0
    assert cribs.any()
    assert (found.counts[cribs][:, pair] >= 2).all()
    assert (found.use[cribs, 0] >= 2 * found.counts[cribs, pair]).all()
    assert (found.ticks[cribs] >= to_ticks(StackRules().crossed_from)).all()
    assert (found.counts[cribs][:, pair + 1 :].sum(axis=1) >= 1).all()


def test_too_many_patterns_lower_the_number_of_layers(monkeypatch):
    monkeypatch.setattr("trackkit.cribbing.heights._MOST_PATTERNS", 100)
    assert patterns_of(truck()).most_layers < StackRules().max_layers
