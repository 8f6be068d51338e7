"""Which straight sections make a run, exactly, and in which order they are laid.

Fewest sections first, for every joint is a place where the dolly can bump. All geometry is data:
a `Section` says how long it is and where its ties sit; nothing here knows any maker's track.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final, Literal

from trackkit.problems import CannotDo
from trackkit.units import DISPLAYS, Display

__all__ = ["Placed", "Section", "check_one_kind_of_track", "cover", "give_dings", "order_of_kinds"]

#: Lengths are compared in whole micrometres, so that 3 x 10 ft is exactly 30 ft.
_PER_METRE: Final = 1e6
#: Dinged sections whose places are tried one by one; 2**12 arrangements take milliseconds.
_TRIED: Final = 12


@dataclass(frozen=True)
class Section:
    """One kind of straight track section, and how many of it there are.

    Attributes
    ----------
    name : str
        What the crew calls it.
    length : float
        Length of its rails [m].
    ties : tuple of float
        Centres of its cross ties, from the section's own head end, increasing [m].
    rail_top : float
        Height of the rail's top above the tie's underside [m].
    bearing : float
        Width of a tie along the run [m]: what bears on a stack.
    count : int
        How many there are, dinged ones included.
    dinged : int
        How many of them have one damaged end. That end is the one the tie offsets are measured
        from; where it has to face the tail, the section is laid turned end for end.
    gauge : float
        Distance between rail centres [m]. 0.62 m: common practice, no source (the inch form,
        24 1/2 in, is 2.3 mm wider).
    curved : bool
        Curved sections can be listed, but not laid: see `check_one_kind_of_track`.
    """

    name: str
    length: float
    ties: tuple[float, ...]
    rail_top: float
    bearing: float
    count: int = 1
    dinged: int = 0
    gauge: float = 0.62
    curved: bool = False

    def __post_init__(self) -> None:
        for what in ("length", "rail_top", "bearing", "gauge"):
            value = getattr(self, what)
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"section {self.name!r}: {what} must be above 0 m, got {value}")
        if len(self.ties) < 2:
            raise ValueError(f"section {self.name!r}: needs at least two ties, got {len(self.ties)}")
        if any(b <= a for a, b in zip(self.ties, self.ties[1:], strict=False)):
            raise ValueError(f"section {self.name!r}: ties must be increasing, got {self.ties}")
        if self.ties[0] < 0 or self.ties[-1] > self.length:
            raise ValueError(
                f"section {self.name!r}: ties must lie between 0 and its length {self.length:g} m, "
                f"got {self.ties[0]:g} to {self.ties[-1]:g}"
            )
        if self.count < 0 or not 0 <= self.dinged <= self.count:
            raise ValueError(
                f"section {self.name!r}: dinged must lie between 0 and count, "
                f"got count {self.count}, dinged {self.dinged}"
            )


@dataclass(frozen=True)
class Placed:
    """A section as it lies in the run: turned end for end or not, and which end is dinged."""

    section: Section
    turned: bool = False
    dinged: Literal["", "head", "tail"] = ""

    @property
    def ties(self) -> tuple[float, ...]:
        """Tie centres from the end that lies towards the run's head [m]."""
        if not self.turned:
            return self.section.ties
        return tuple(self.section.length - offset for offset in reversed(self.section.ties))


def check_one_kind_of_track(sections: Sequence[Section], *, gauge_tolerance: float) -> None:
    """Refuse curved sections and mixed gauges, which need other geometry than a straight run.

    Raises
    ------
    CannotDo
        Naming the sections and what to take off the list.
    """
    if not sections:
        raise CannotDo("no track sections are listed; list at least one kind with its length and ties")
    curved = [section.name for section in sections if section.curved]
    if curved:
        raise CannotDo(
            f"curved track is not laid out here: {', '.join(curved)}; "
            "take it off the list, or lay the curve by eye and plan the straight parts as runs of their own"
        )
    low = min(sections, key=lambda section: section.gauge)
    high = max(sections, key=lambda section: section.gauge)
    if high.gauge - low.gauge > gauge_tolerance:
        raise CannotDo(
            f"gauges are mixed: {low.name} has {low.gauge * 1000:.0f} mm, {high.name} has "
            f"{high.gauge * 1000:.0f} mm; keep one gauge on the list"
        )


def cover(
    needed: float, sections: Sequence[Section], *, why: str = "", display: Display = DISPLAYS["mm"]
) -> tuple[int, ...]:
    """Return how many of each kind to lay: the fewest sections that reach ``needed`` metres.

    Exact. Among equally many sections, the least length over; then the fewest dinged sections;
    then more of the longer kinds (of equal length, of the kind listed first).

    The number follows from the longest sections alone. Which ones is a bounded problem in the
    counts, solved by dynamic programming over (sections so far, length so far). ``why`` says in
    words what the needed length is made of.

    Raises
    ------
    CannotDo
        ``not enough track, 0.60 m short``, with both figures.

    Examples
    --------
    >>> three = Section("3 m", 3.0, (0.2, 2.8), 0.1, 0.1, count=2)
    >>> two = Section("2 m", 2.0, (0.2, 1.8), 0.1, 0.1, count=3)
    >>> cover(6.5, [three, two])
    (1, 2)
    """
    want = round(needed * _PER_METRE)
    kinds = sorted(range(len(sections)), key=lambda k: (-sections[k].length, k))
    lengths = [round(sections[k].length * _PER_METRE) for k in kinds]
    pieces = [length for k, length in zip(kinds, lengths, strict=True) for _ in range(sections[k].count)]
    total, fewest = 0, 0
    while fewest < len(pieces) and (total < want or fewest == 0):
        total += pieces[fewest]
        fewest += 1
    if total < want or fewest == 0:
        raise CannotDo(
            f"not enough track, {display.long((want - total) / _PER_METRE)} short: the run needs "
            f"{display.long(needed)}{f' ({why})' if why else ''}, and all {len(pieces)} sections on the list "
            f"make {display.long(total / _PER_METRE)}; add a section, or shorten the run-up, the overrun or "
            "the shot"
        )
    # State: (sections, length) -> (dinged ones, counts negated): the smallest is the one to keep.
    states: dict[tuple[int, int], tuple[int, tuple[int, ...]]] = {(0, 0): (0, ())}
    done = 0
    for k, length in zip(kinds, lengths, strict=True):
        done += sections[k].count
        left = pieces[done:]
        nxt: dict[tuple[int, int], tuple[int, tuple[int, ...]]] = {}
        for (laid, so_far), (dings, counts) in states.items():
            for use in range(min(sections[k].count, fewest - laid) + 1):
                rest = fewest - laid - use
                reach = so_far + use * length
                if rest > len(left) or reach + sum(left[:rest]) < want:
                    continue
                if reach + (sum(left[-rest:]) if rest else 0) > total:
                    continue
                over = max(0, use - (sections[k].count - sections[k].dinged))
                value = (dings + over, (*counts, -use))
                key = (laid + use, reach)
                if key not in nxt or value < nxt[key]:
                    nxt[key] = value
        states = nxt
    best = min((reach, value) for (_, reach), value in states.items() if reach >= want)
    uses = dict(zip(kinds, best[1][1], strict=True))
    return tuple(-uses[k] for k in range(len(sections)))


def order_of_kinds(
    counts: Sequence[int], sections: Sequence[Section], *, head_free: float, tail_free: float
) -> list[int]:
    """Return the kinds in laid order, head first: dinged ones outside, the longest of the rest first.

    Parameters
    ----------
    counts : sequence of int
        How many of each kind are laid.
    sections : sequence of Section
        The kinds.
    head_free, tail_free : float
        Length at the head and at the tail over which no wheel passes during the shot [m].

    Notes
    -----
    A dinged end does no harm as an outer end of the run, nor at a joint that lies in the free
    length. At each end the shortest dinged section lies outermost, for that leaves the most free
    length to the next; all ways to share them between head and tail are tried.
    """
    dinged: list[int] = []
    clean: list[int] = []
    for k, use in enumerate(counts):
        over = max(0, use - (sections[k].count - sections[k].dinged))
        dinged += [k] * over
        clean += [k] * (use - over)
    dinged.sort(key=lambda k: (sections[k].length, k))
    clean.sort(key=lambda k: (-sections[k].length, k))
    tried, rest = dinged[:_TRIED], dinged[_TRIED:]

    def harm(kinds: list[int], free: float) -> int:
        reach, bad = 0.0, 0
        for k in kinds:
            bad += reach > free + 1e-9
            reach += sections[k].length
        return bad

    best: tuple[int, list[int], list[int]] | None = None
    for where in product((0, 1), repeat=len(tried)):
        head = [k for k, end in zip(tried, where, strict=True) if end == 0]
        tail = [k for k, end in zip(tried, where, strict=True) if end == 1]
        bad = harm(head, head_free) + harm(tail, tail_free)
        if best is None or bad < best[0]:
            best = (bad, head, tail)
    assert best is not None
    return [*best[1], *rest, *clean, *reversed(best[2])]


def give_dings(
    kinds: Sequence[int], sections: Sequence[Section], *, head_free: float, tail_free: float
) -> tuple[Placed, ...]:
    """Return the sections in their places, with every dinged end where it does least harm.

    Of one kind the dinged ones go first to the outer ends, then to joints in the free lengths,
    last to the joints nearest to an end of the run.
    """
    starts: list[float] = []
    reach = 0.0
    for k in kinds:
        starts.append(reach)
        reach += sections[k].length
    ends: dict[int, Literal["head", "tail"]] = {}
    for k in sorted(set(kinds)):
        places = [i for i, kind in enumerate(kinds) if kind == k]
        over = max(0, len(places) - (sections[k].count - sections[k].dinged))
        harms: list[tuple[float, float, int, Literal["head", "tail"]]] = []
        for i in places:
            before, behind = starts[i], reach - starts[i] - sections[k].length
            if i == 0:
                before -= reach
            if i == len(kinds) - 1:
                behind -= reach
            to_head = (max(0.0, before - head_free), before)
            to_tail = (max(0.0, behind - tail_free), behind)
            harms.append((*to_head, i, "head") if to_head <= to_tail else (*to_tail, i, "tail"))
        for *_, i, end in sorted(harms)[:over]:
            ends[i] = end
    return tuple(
        Placed(sections[k], turned=ends.get(i) == "tail", dinged=ends.get(i, "")) for i, k in enumerate(kinds)
    )
