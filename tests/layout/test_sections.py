"""Which sections and in which order, against trying every choice (itertools)."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations, product

import numpy as np
import pytest

from trackkit.layout.sections import (
    Placed,
    Section,
    check_one_kind_of_track,
    cover,
    give_dings,
    order_of_kinds,
)
from trackkit.problems import CannotDo
from trackkit.units import DISPLAYS


def kind(length: float, count: int, dinged: int = 0, **more) -> Section:
    return Section(
        f"{length:g} m", length, (0.1, length - 0.1), 0.12, 0.1, count=count, dinged=dinged, **more
    )


def try_all(needed: float, sections: list[Section]) -> tuple[int, ...] | None:
    best = None
    for counts in product(*(range(s.count + 1) for s in sections)):
        length = sum(n * s.length for n, s in zip(counts, sections, strict=True))
        if length < needed - 1e-9 or sum(counts) == 0:
            continue
        dings = sum(max(0, n - (s.count - s.dinged)) for n, s in zip(counts, sections, strict=True))
        by_length = sorted(range(len(sections)), key=lambda k: (-sections[k].length, k))
        rank = (sum(counts), round(length, 6), dings, tuple(-counts[k] for k in by_length))
        if best is None or rank < best[0]:
            best = (rank, counts)
    return best[1] if best else None


def test_cover_equals_trying_every_count():
    rng = np.random.default_rng(5)
    feet = [0.6096, 1.2192, 2.4384, 3.048]
    tried = 0
    for _ in range(300):
        lengths = rng.choice([0.5, 1.0, 1.5, 2.0, 3.0, *feet], size=int(rng.integers(1, 5)), replace=False)
        sections = []
        for length in lengths:
            count = int(rng.integers(0, 5))
            sections.append(kind(float(length), count, int(rng.integers(0, count + 1))))
        needed = float(np.round(rng.uniform(0.2, 14), 2))
        expected = try_all(needed, sections)
        if expected is None:
            with pytest.raises(CannotDo, match="not enough track"):
                cover(needed, sections)
        else:
            assert cover(needed, sections) == expected
            tried += 1
    assert tried > 100


def test_cover_takes_fewer_long_ones_where_taking_the_longest_first_wastes_track():
    # Greedy would take 3 + 3 m for 5 m (1 m over); 3 + 2 m is also two sections and fits exactly.
    assert cover(5.0, [kind(3.0, 2), kind(2.0, 2)]) == (1, 1)


def test_three_ten_foot_sections_are_exactly_thirty_feet():
    ten = kind(10 * 0.3048, 3)
    assert cover(30 * 0.3048, [ten]) == (3,)


def test_cover_is_fast_with_many_kinds_and_pieces():
    rng = np.random.default_rng(1)
    sections = [kind(float(np.round(length, 3)), 6) for length in rng.uniform(0.9, 3.1, 6)]
    needed = 0.97 * sum(6 * s.length for s in sections)
    counts = cover(needed, sections)
    assert sum(n * s.length for n, s in zip(counts, sections, strict=True)) >= needed


def test_shortage_is_said_in_metres_and_in_feet():
    with pytest.raises(CannotDo, match=r"not enough track, 0\.60 m short: the run needs 7\.60 m"):
        cover(7.6, [kind(3.0, 1), kind(2.0, 2)])
    with pytest.raises(CannotDo, match=r"not enough track, 2' 0\" short"):
        cover(12 * 0.3048, [kind(10 * 0.3048, 1)], display=DISPLAYS["1/8 in"])


@pytest.mark.parametrize(
    ("fault", "message"),
    [
        ({"length": 0.0}, "length must be above 0"),
        ({"ties": (0.5,)}, "at least two ties"),
        ({"ties": (0.5, 0.5)}, "must be increasing"),
        ({"ties": (0.1, 3.2)}, "between 0 and its length"),
        ({"dinged": 2}, "dinged must lie between 0 and count"),
    ],
)
def test_a_section_that_cannot_be_is_refused(fault, message):
    good = {"name": "a", "length": 3.0, "ties": (0.1, 2.9), "rail_top": 0.1, "bearing": 0.1}
    with pytest.raises(ValueError, match=message):
        Section(**{**good, **fault})


def test_curved_track_and_mixed_gauges_are_refused_by_name():
    with pytest.raises(CannotDo, match="curved track is not laid out here: 2 m"):
        check_one_kind_of_track([kind(3.0, 1), kind(2.0, 1, curved=True)], gauge_tolerance=0.003)
    with pytest.raises(CannotDo, match="gauges are mixed: 2 m has 620 mm, 3 m has 1000 mm"):
        check_one_kind_of_track([kind(3.0, 1, gauge=1.0), kind(2.0, 1)], gauge_tolerance=0.003)
    with pytest.raises(CannotDo, match="no track sections"):
        check_one_kind_of_track([], gauge_tolerance=0.003)


def test_62_cm_and_24_and_a_half_inch_count_as_one_gauge():
    # Common practice, no source: nominally the same track, 2.3 mm apart.
    check_one_kind_of_track([kind(3.0, 1), kind(2.0, 1, gauge=24.5 * 0.0254)], gauge_tolerance=0.003)


def bad_dings(placed, head_free: float, tail_free: float) -> int:
    length = sum(p.section.length for p in placed)
    starts = np.cumsum([0.0, *(p.section.length for p in placed)])
    bad = 0
    for i, p in enumerate(placed):
        if p.dinged == "head":
            bad += i > 0 and starts[i] > head_free + 1e-9
        if p.dinged == "tail":
            bad += i < len(placed) - 1 and length - starts[i + 1] > tail_free + 1e-9
    return int(bad)


def test_dinged_ends_lie_where_no_wheel_passes_as_far_as_any_order_allows():
    rng = np.random.default_rng(8)
    spared = 0
    for _ in range(40):
        sections = [
            kind(1.0, 2, int(rng.integers(0, 3))),
            kind(2.0, 2, int(rng.integers(0, 3))),
            kind(3.0, 1, 1),
        ]
        counts = (2, 2, 1)
        free = {"head_free": float(rng.uniform(0, 3)), "tail_free": float(rng.uniform(0, 3))}
        mine = bad_dings(
            give_dings(order_of_kinds(counts, sections, **free), sections, **free), *free.values()
        )
        pieces = [
            (k, i < sections[k].dinged) for k, n in enumerate(counts) for i in range(n)
        ]  # fmt: skip
        best = min(
            bad_dings(
                [
                    Placed(sections[k], dinged=end if dinged else "")
                    for (k, dinged), end in zip(order, ends, strict=True)
                ],
                *free.values(),
            )
            for order in set(permutations(pieces))
            for ends in product(("head", "tail"), repeat=5)
        )
        assert mine == best
        spared += best == 0
    assert 0 < spared < 40


def test_a_section_whose_dinged_end_faces_the_tail_is_turned_end_for_end():
    odd = replace(kind(3.0, 2, 2), ties=(0.1, 1.0, 2.8))
    head, tail = give_dings([0, 0], [odd], head_free=0.0, tail_free=0.0)
    assert (head.dinged, head.turned, head.ties) == ("head", False, (0.1, 1.0, 2.8))
    assert (tail.dinged, tail.turned) == ("tail", True)
    assert tail.ties == pytest.approx((0.2, 2.0, 2.9))


def test_of_equally_long_kinds_those_without_dings_are_laid():
    assert cover(4.0, [kind(2.0, 2, dinged=2), kind(2.0, 2)]) == (0, 2)
    assert cover(4.0, [kind(2.0, 2), kind(2.0, 2)]) == (2, 0)  # else the kind listed first
