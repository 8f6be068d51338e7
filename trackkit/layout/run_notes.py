"""What the crew must know about a run before it is laid: breaks, dinged ends, track that falls short."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from trackkit.layout.breaks import slant_of, too_near
from trackkit.problems import Advisory

if TYPE_CHECKING:
    from trackkit.layout.laid import Run

__all__ = ["HARDLY_SHORT", "run_advisories"]

#: A run this much short of what the shot needs is not worth a word [m].
HARDLY_SHORT: Final = 1e-3
#: A break that goes farther along the run than this for each metre across is questioned (guess).
ALMOST_ALONG: Final = 3.0


def run_advisories(run: Run) -> tuple[Advisory, ...]:
    """Return what the crew must know about the run: breaks, dinged ends, a run that falls short."""
    return (*_short(run), *_dings(run), *_breaks(run), *_along(run), *_unequal(run))


def _short(run: Run) -> list[Advisory]:
    found = []
    for end, missing in (("head", run.head - run.needed_head), ("tail", run.needed_tail - run.tail)):
        if missing > HARDLY_SHORT:
            found.append(
                Advisory(
                    "caution",
                    f"{end} of the run",
                    f"on its grade the track ends {run.display.small_unit(missing)} short of what the shot "
                    "needs; give lay_out_run the grade, or take it off the run-up or the overrun",
                    "stations are horizontal, track lies along the slope",
                )
            )
    return found


def _dings(run: Run) -> list[Advisory]:
    if run.shot is None:
        return []
    low, high = run.shot.wheels()
    found = []
    for row in run.sections[run.sections["dinged"] != ""].to_dict("records"):
        place = float(row["head_m"] if row["dinged"] == "head" else row["tail_m"])
        outer = min(abs(place - run.head), abs(place - run.tail)) < 1e-9
        if not outer and low < place < high:
            found.append(
                Advisory(
                    "caution",
                    f"section {row['section']} ({row['name']})",
                    f"its dinged end is at the joint {run.display.long(place)} from the start mark, and "
                    "wheels pass it during the shot: no place for it outside was left. Swap the section, "
                    "or dress the end and feel the joint with a fingertip",
                    "common practice, no source",
                )
            )
    return found


def _breaks(run: Run) -> list[Advisory]:
    stations = run.ties["station_m"].to_numpy(dtype=float)
    rules = run.rules
    half_ties = run.ties["bearing_m"].to_numpy(dtype=float) / 2.0
    near = too_near(
        stations, run.breaks, half_box=rules.half_box, half_width=rules.half_width, width=run.gauge
    )
    show = run.display
    basis = f"half a box along the run is {show.small_unit(run.rules.half_box)}: common practice, no source"
    found = [
        Advisory(
            "caution",
            f"tie {i + 1} {side}",
            f"stands {show.small_unit(away)} from the break at {show.long(place)}, so that "
            + ("it reaches over it itself (shift the run), and " if away < half_ties[i] else "")
            + "a box in its middle would reach it: no corner of what stands under it may. Turn boxes across "
            "the run or slide them away from it, and measure there before you build",
            basis,
        )
        for i, side, place, away in near
    ]
    if not near:
        return found
    if run.clear_shift is not None:
        way = "end" if run.clear_shift > 0 else "start"
        by = show.small_unit(abs(run.clear_shift))
        text = f"shift the run {by} towards the {way} mark: clears every break"
    elif run.shot is None:
        text = "the track lies already: move a tie, or bridge the break with a plank on firm ground"
    else:
        text = (
            "no shift that still covers the shot clears every break; change the order of the sections, "
            "add one, or bridge the break with a plank on firm ground"
        )
    return [*found, Advisory("note", "the whole run", text, basis)]


def _along(run: Run) -> list[Advisory]:
    """Breaks that run almost along the track, or that are two breaks in one row."""
    show, found = run.display, []
    for pair in run.breaks:
        if abs(slant_of(pair, run.gauge)) > ALMOST_ALONG:
            text = (
                f"runs almost along the track, from {show.long(pair[0])} on the left to "
                f"{show.long(pair[1])} on the right: if these are two breaks, give each a row of its own"
            )
            found.append(Advisory("caution", "a break", text, "more than 3 along for 1 across: guess"))
    return found


def _unequal(run: Run) -> list[Advisory]:
    tops = run.ties["rail_top_m"].to_numpy(dtype=float)
    if np.ptp(tops) <= 1e-9:
        return []
    return [
        Advisory(
            "note",
            "the whole run",
            f"sections differ by {run.display.small_unit(float(np.ptp(tops)))} in height from tie underside "
            "to rail top; the rails are laid flush, so fills step by that much at their joints",
            "stated section geometry",
        )
    ]
