"""From a shot and the sections on hand to the run: what is laid where, and where its ties stand.

::

      head                                                                tail
       |-end stop-|-pusher-|-run-up-|-chassis-|====== shot ======|-overrun-|-end stop-|  surplus
                                              start mark (0)     end mark

The sketch is for a chassis that trails behind the camera. Stations are horizontal distances from
the start mark, positive towards the end mark; ``along`` is measured on the track from its head.
On a grade the two differ by the cosine, which `Run.on_grade` takes care of.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from trackkit.layout.laid import Run, assemble
from trackkit.layout.run_notes import HARDLY_SHORT
from trackkit.layout.sections import (
    Placed,
    Section,
    check_one_kind_of_track,
    cover,
    give_dings,
    order_of_kinds,
)
from trackkit.layout.shot import LayRules, Shot
from trackkit.problems import CannotDo, nearest
from trackkit.units import DISPLAYS, Display

__all__ = ["LayRules", "Run", "Section", "Shot", "lay_out_run", "run_from_sections"]


def lay_out_run(
    shot: Shot,
    sections: Sequence[Section],
    *,
    breaks: pd.DataFrame | None = None,
    shift: float = 0.0,
    order: Sequence[str] | None = None,
    grade: float = 0.0,
    rules: LayRules | None = None,
    display: Display = DISPLAYS["mm"],
) -> Run:
    """Lay out the fewest sections that cover the shot, and say where every tie stands.

    Parameters
    ----------
    shot : Shot
        Marks, chassis, and the room before and behind them.
    sections : sequence of Section
        What is on hand.
    breaks : DataFrame, optional
        left_station_m, right_station_m of kerbs, edges and ditches.
    shift : float
        Moves the whole run along, positive towards the end mark [m].
    order : sequence of str, optional
        Names in laid order, head first, instead of the fewest sections.
    grade : float
        Grade the track is expected to lie on: on a slope it takes a little more track.
    rules : LayRules, optional
        Habits of laying: boxes, where surplus goes, what counts as mixed gauge.
    display : Display
        How lengths in messages are written.

    Returns
    -------
    Run

    Raises
    ------
    CannotDo
        Not enough track; curved sections or mixed gauges; an order or shift that does not cover.
    ValueError
        If ``order`` names a section that is not listed, or more of it than there are.
    """
    rules = rules or LayRules()
    check_one_kind_of_track(sections, gauge_tolerance=rules.gauge_tolerance)
    head, tail = shot.span()
    cosine = float(np.cos(np.arctan(grade)))
    needed = (tail - head) / cosine
    if order is None:
        counts = cover(needed, sections, why=shot.breakdown(display), display=display)
        kinds: list[int] = []
    else:
        kinds = _kinds_in_order(order, sections)
        counts = tuple(kinds.count(k) for k in range(len(sections)))
    length = sum(n * section.length for n, section in zip(counts, sections, strict=True))
    surplus = length * cosine - (tail - head)
    if surplus < -HARDLY_SHORT:
        raise CannotDo(
            f"not enough track, {display.long(-surplus)} short: the run needs {display.long(needed)} "
            f"({shot.breakdown(display)}), the order given makes {display.long(length)}; add a section to it"
        )
    start = head - {"head": surplus, "tail": 0.0, "split": surplus / 2}[rules.surplus] + shift
    end = start + length * cosine
    if start > head + HARDLY_SHORT or end < tail - HARDLY_SHORT:
        missing, where = max((start - head, "head"), (tail - end, "tail"))
        raise CannotDo(
            f"a shift of {display.long(shift)} leaves the {where} {display.long(missing)} short of what the "
            f"shot needs; shift by {display.long(shift - (start - head))} at most, and "
            f"{display.long(shift - (end - tail))} at least, or add a section"
        )
    wheels = shot.wheels()
    free = {
        "head_free": max(0.0, (wheels[0] - start) / cosine),
        "tail_free": max(0.0, (end - wheels[1]) / cosine),
    }
    kinds = kinds or order_of_kinds(counts, sections, **free)
    placed = give_dings(kinds, sections, **free)
    return assemble(
        placed, start, shot=shot, breaks=_pairs(breaks), rules=rules, display=display, grade=grade
    )


def run_from_sections(
    sections: Sequence[Section],
    *,
    head: float = 0.0,
    breaks: pd.DataFrame | None = None,
    rules: LayRules | None = None,
    display: Display = DISPLAYS["mm"],
) -> Run:
    """Return the run of track that lies already, or is given section by section (rough-in).

    Parameters
    ----------
    sections : sequence of Section
        In laid order from the head, a kind as often as it lies there; ``count`` is not looked at.
    head : float
        Station of the head [m]. With no marks given, stations count from the head.
    breaks, rules, display
        See `lay_out_run`.

    Raises
    ------
    CannotDo
        If there are none, or they are curved or of mixed gauges.
    """
    rules = rules or LayRules()
    check_one_kind_of_track(sections, gauge_tolerance=rules.gauge_tolerance)
    placed = tuple(Placed(section) for section in sections)
    return assemble(placed, head, shot=None, breaks=_pairs(breaks), rules=rules, display=display, grade=0.0)


def _kinds_in_order(order: Sequence[str], sections: Sequence[Section]) -> list[int]:
    names = [section.name for section in sections]
    for name in order:
        if name not in names:
            hint = nearest(name, names)
            raise ValueError(f"order names {name!r}, which is not a listed section {hint}".rstrip())
    for k, name in enumerate(names):
        if list(order).count(name) > sections[k].count:
            raise ValueError(
                f"order uses {list(order).count(name)} of {name!r}, but there are {sections[k].count}"
            )
    return [names.index(name) for name in order]


def _pairs(breaks: pd.DataFrame | None) -> tuple[tuple[float, float], ...]:
    if breaks is None or breaks.empty:
        return ()
    both = breaks[["left_station_m", "right_station_m"]].to_numpy(dtype=float)
    return tuple((float(left), float(right)) for left, right in both)
