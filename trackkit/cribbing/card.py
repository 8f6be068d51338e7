"""The gap card: for every gap, what to put in from what is on the truck, each gap by itself."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.cribbing.build import build_stack, place_pieces
from trackkit.cribbing.formulate import Formulation, formulate
from trackkit.cribbing.heights import COST_UNITS, TICK
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.sites import Site, sort_fills
from trackkit.cribbing.stack import Stack
from trackkit.cribbing.truck import Truck
from trackkit.units import DISPLAYS, Display

__all__ = ["CARD_STEPS", "READING", "card_text", "gap_card"]

#: Steps of the card [m]: 1/4 in where inches are read, 5 mm otherwise.
CARD_STEPS: Final = {"in": 0.00635, "cm": 0.005, "mm": 0.005}

#: How the card is read, a line for each of its columns and what stands in them.
READING: Final = (
    "First column: the gap from the ground to the underside of the tie.",
    "Second column: what goes in, the first piece on the ground, each next one on top of it; at the end "
    "the height at which the wedge closes.",
    "'2 x shim' is two of them flat on each other; 'pair' is two wedges with their tips opposed; 'on edge' "
    "is lumber on its narrow side.",
    "Shims are never thicker than the gap: cut or pack them to it on the day.",
)

#: Shims that come so near to a gap close it; of several that do, the cheapest [m]. Half of 1 mm.
_NEAR: Final = 0.0005

_COLUMNS: Final = (
    "gap_m", "made", "words", "pieces", "n_pieces", "closing", "item", "closing_m", "low_m", "high_m", "in_m",
    "cost",
)  # fmt: skip


def gap_card(
    truck: Truck,
    *,
    rules: StackRules | None = None,
    largest: float | None = None,
    step: float | None = None,
    ground: str = "",
    display: str = "mm",
) -> pd.DataFrame:
    """Return what to put into every gap, as if it were the only one.

    Parameters
    ----------
    truck : Truck
        Only pieces that are on it are used, never more than its counts.
    rules : StackRules, optional
        Heights, limits, prices and preferences.
    largest : float, optional
        Greatest gap [m]; without it the height from which a stack needs more than boxes.
    step : float, optional
        Step of the gaps [m]; without it 1/4 in or 5 mm, by the display.
    ground : str
        Kind of ground, for pads.
    display : str
        How lengths are written, one of `trackkit.units.DISPLAYS`.

    Returns
    -------
    DataFrame
        One row a gap: gap_m, made (whether it can be made), words (pieces and closing piece), pieces
        (from the ground up), n_pieces, closing (kind), item, closing_m, low_m, high_m (gaps that this very
        pile and closing piece can take), in_m (how far the wedge is in), cost (in boxes handled).

    Raises
    ------
    ValueError
        If step or largest is not positive.

    Notes
    -----
    Boards and shims without a wedge are never thicker than the gap (as it is printed), or they would have
    to be driven; of those that fit, the nearest to the gap comes first.
    """
    rules, show = rules or StackRules(), DISPLAYS[display]
    step = CARD_STEPS[show.unit] if step is None else step
    largest = rules.caution_height if largest is None else largest
    if not (step > 0 and largest > 0):
        raise ValueError(f"step and largest must be above 0; got {step} m and {largest} m")
    steps = math.floor(min(largest, rules.top) / step + 1e-9)
    gaps = np.arange(1, steps + 1, dtype=np.float64) * step
    sites = _sites(gaps, ground, rules)
    chosen = _cheapest_alone(sites, truck, rules, show)
    rows = [chosen.get(site.support, _blank(float(gap), rules)) for gap, site in _matched(gaps, sites)]
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def _sites(gaps: NDArray[np.float64], ground: str, rules: StackRules) -> dict[str, Site]:
    names = [f"{number:05d}" for number in range(len(gaps))]
    frame = pd.DataFrame(
        {
            "support": names,
            "side": "left",
            "tie": np.arange(len(gaps)),
            "station_m": np.arange(float(len(gaps))),
            "fill_m": gaps,
            "ground_type": ground,
        }
    )
    return {site.support: site for site in sort_fills(frame, rules).sites}


def _matched(gaps: NDArray[np.float64], sites: dict[str, Site]) -> list[tuple[float, Site | _Nothing]]:
    return [(float(gap), sites.get(f"{number:05d}", _Nothing())) for number, gap in enumerate(gaps)]


class _Nothing:
    """A gap within the touch: the tie sits."""

    support = ""


def _blank(gap: float, rules: StackRules) -> tuple[object, ...]:
    if gap <= rules.touch:
        return (gap, True, "nothing: it sits", "", 0, "none", "", gap, 0.0, rules.touch, 0.0, 0.0)
    return (gap, False, "", "", 0, "", "", math.nan, math.nan, math.nan, math.nan, math.nan)


def _cheapest_alone(
    sites: Mapping[str, Site], truck: Truck, rules: StackRules, show: Display
) -> dict[str, tuple[object, ...]]:
    """Return the card's row for every gap that can be made with what is on the truck.

    What closes without a wedge may leave ``rules.snug`` open; where something nearer to the gap is there,
    that is taken.
    """
    found = _alone(sites, truck, rules, show)
    loose = {name: sites[name] for name, way in found.items() if way.open > _NEAR}
    if loose and truck.of_kind("shim"):
        near = _alone(loose, truck, replace(rules, snug=min(rules.snug, _NEAR)), show)
        found |= {name: way for name, way in near.items() if way.stiff}
    return {name: way.row for name, way in found.items()}


@dataclass(frozen=True)
class _Way:
    """What goes into a gap: its row, whether it closes without a wedge, and what it leaves open [m]."""

    row: tuple[object, ...]
    stiff: bool
    open: float


def _alone(sites: Mapping[str, Site], truck: Truck, rules: StackRules, show: Display) -> dict[str, _Way]:
    """Return the cheapest way for every gap, none thicker than the gap."""
    task = formulate(list(sites.values()), truck, rules, all_pieces=True)
    of_class: dict[int, list[tuple[int, int, int]]] = {}
    program = task.program
    for column, (group, cell) in enumerate(zip(program.column_class, program.column_cell, strict=True)):
        for pattern in map(int, np.flatnonzero(program.pattern_cell == cell)):
            use = program.pattern_use[pattern] + program.column_use[column]
            if (use <= program.stock).all():
                price = int(program.pattern_cost[pattern] + program.column_cost[column])
                of_class.setdefault(int(group), []).append((price, pattern, column))
    found: dict[str, _Way] = {}
    for number, site in enumerate(task.sites):
        for price, pattern, column in sorted(of_class.get(int(task.class_of[number]), ())):
            way = _way(task, site, pattern, column, price, truck, rules, show)
            if way is not None:
                found[site.support] = way
                break
    return found


def _way(
    task: Formulation, site: Site, pattern: int, column: int, price: int, truck: Truck, rules: StackRules,
    show: Display,
) -> _Way | None:  # fmt: skip
    """Return one way of filling a gap; None if it is thicker than the gap."""
    closer = task.closers[task.column_closers[column][0]]
    purpose, row = task.purposes[task.pattern_purpose[pattern]], int(task.pattern_row[pattern])
    gap, stiff = site.fills[0], closer.kind in ("none", "shim")
    left = gap - float(purpose.patterns.ticks[row]) * TICK - (closer.low + closer.high) / 2.0
    if stiff and left < -max(_as_printed(gap, show) - gap, 0.0) - TICK:
        return None
    pieces = place_pieces(purpose.patterns, row, kind=purpose.kind)
    stack = build_stack(site, pieces, [closer], truck, rules, display=show.name)
    end, pile = stack.closing, stack.height
    names = " + ".join(piece.words() for piece in pieces)
    words = (
        gap, True, _said(stack, show), names, len(pieces), end.kind, end.item, end.height,
        pile + closer.start, pile + closer.stop, end.how_far_in, price / COST_UNITS,
    )  # fmt: skip
    return _Way(words, stiff, left if stiff else 0.0)


def _as_printed(gap: float, show: Display) -> float:
    """Return a gap as the card prints it [m]."""
    return math.floor(gap / show.step + 0.5 + 1e-9) * show.step


def _said(stack: Stack, show: Display) -> str:
    """Return the pieces, and how high the wedge closes: ``half + wedge at 3/4``."""
    end = stack.closing
    close = "" if end.kind == "none" else end.what
    if end.kind in ("single", "pair"):
        close += f" at {show.small(end.gap)}"
    return " + ".join(part for part in (stack.pile_words, close) if part) or "nothing"


def card_text(
    card: pd.DataFrame,
    *,
    display: str = "mm",
    width: int = 60,
    title: str = "GAP CARD",
    notes: Sequence[str] = (),
) -> str:
    """Return the card as plain text that fits a pocket.

    Parameters
    ----------
    card : DataFrame
        As `gap_card` gives it.
    display : str
        One of `trackkit.units.DISPLAYS`.
    width : int
        Greatest length of a line; longer stacks run on, indented.
    title : str
        What stands at its head.
    notes : sequence of str
        Lines to print below it.

    Returns
    -------
    str
        One gap a line; a gap that can't be made is marked ``-- not with this truck``. Below them how the
        card is read, the notes, a caution, and a newline at the end.
    """
    show = DISPLAYS[display]
    labels = [show.small(float(gap)) for gap in card["gap_m"]]
    margin = max([len(label) for label in labels], default=3)
    unit = "inches" if show.unit == "in" else show.unit
    lines = [f"{title}, gaps in {unit}; from the ground up", "-" * width]
    for label, made, words in zip(labels, card["made"], card["words"], strict=True):
        text = str(words) if made else "-- not with this truck"
        lines += _wrapped(f"{label:>{margin}}  ", text, width)
    lines.append("-" * width)
    closing = (
        "Hold the rail from its side, fingers out from under. Slide the wedge in snug, never drive it up."
    )
    for note in (*READING, *notes, closing):
        lines += _wrapped("", note, width)
    return "\n".join(lines) + "\n"


def _wrapped(label: str, text: str, width: int) -> list[str]:
    import textwrap

    indent = " " * len(label)
    return textwrap.wrap(text, width, initial_indent=label, subsequent_indent=indent) or [label.rstrip()]
