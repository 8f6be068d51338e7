"""Do events happen as often as the study of the reference says? Over simulated jobs, surveys and all.

Run ``python tests/study/calibration_study.py`` to print the table that is kept in ``calibration.txt``. Every
job has two sections of 3 m on ground of one of four kinds, read sparsely: each side once a metre, with a rod
of 1.5 mm, roughness and relief estimated as on the day and averaged over what the readings leave likely. Half
of the lines are level, half at the grade from the first to the last place read. The events: this tie end
governs; a line set from it, 4 mm higher, touches.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd
from grounds import GROUNDS

from trackkit.layout.doubt import Doubt
from trackkit.layout.line import grade_line
from trackkit.layout.run import run_from_sections
from trackkit.layout.sections import Section
from trackkit.study.reference import compare_references
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.likely import likely_grounds
from trackkit.survey.readings import make_survey

ROD_SD, GAP = 0.0015, 0.004
SECTION = Section("3 m", 3.0, (0.1, 0.8, 1.5, 2.2, 2.9), rail_top=0.085, bearing=0.08)
READ = np.arange(-0.5, 7.0, 1.0)
TOOLS = Instruments(rod_sd=ROD_SD, station_sd=0.0)
#: Chances from and to, as they are told; the middle of each is what should happen.
BINS = {"10 %": (0.05, 0.15), "50 %": (0.40, 0.60), "90 %": (0.85, 0.95)}


def job(make, seed, *, graded):
    """Return what was said of each tie end of one job, and what came true, for both events."""
    rng = np.random.default_rng(seed)
    run = run_from_sections([SECTION, SECTION])
    ties = run.ties["station_m"].to_numpy(dtype=float)
    at = np.union1d(READ, ties)
    truth = make(rng, at)
    rows = [
        {"laser": "1", "point": "P1", "station_m": np.nan, "side": "", "rod_m": 1.6 + rng.normal(0, ROD_SD)}
    ]
    for station in READ:
        for side, name in enumerate(("left", "right")):
            height = truth[side, np.searchsorted(at, station)]
            rod = 1.6 - height + rng.normal(0, ROD_SD)
            rows.append({"laser": "1", "point": "", "station_m": station, "side": name, "rod_m": rod})
    ground = fit_ground(make_survey(levels=pd.DataFrame(rows)), stations=ties, instruments=TOOLS)
    grade = 0.0
    if graded:
        ends = ground.mean([(READ[0], "left"), (READ[-1], "left")])
        grade = float(ends[1] - ends[0]) / (READ[-1] - READ[0])
        run = run.on_grade(grade)
        ties = run.ties["station_m"].to_numpy(dtype=float)
    doubt = Doubt(sideways_sd=0.0)
    line = grade_line(ground, run, grade, gap=GAP, doubt=doubt)
    table = compare_references(ground, run, line, likely=likely_grounds(ground), draws=2000).table
    at_ties = np.array([np.interp(line.run.ties["station_m"], at, heights) for heights in truth]).T.ravel()
    over = at_ties - np.repeat(line.height(line.run.ties["station_m"]), 2)
    governs = np.arange(over.size) == over.argmax()
    touches = over.max() - over > GAP + doubt.touch
    return table["governs"].to_numpy(), governs, table["touches"].to_numpy(), touches


def events(jobs, first_seed=0):
    """Return chances that were told and whether it came true, (events,) each, by kind of ground and event."""
    found = {name: {"governs": [], "touches": []} for name in GROUNDS}
    for i in range(jobs):
        name = list(GROUNDS)[i % 4]
        first, came_first, second, came_second = job(GROUNDS[name], first_seed + i, graded=i % 8 >= 4)
        found[name]["governs"].append((first, came_first))
        found[name]["touches"].append((second, came_second))
    return {name: {event: joined(some) for event, some in both.items()} for name, both in found.items()}


def joined(some):
    """Return pairs of arrays end to end."""
    return tuple(np.concatenate(each) for each in zip(*some, strict=True))


def happened(told, came, low, high):
    """Return how many events were told with such a chance, the mean told, and the share that came true."""
    some = (told >= low) & (told <= high)
    if not some.any():
        return 0, np.nan, np.nan
    return int(some.sum()), float(told[some].mean()), float(came[some].mean())


def table(jobs):
    """Return the table as text."""
    lines = [
        f"{jobs} simulated jobs, {jobs // 4} on each kind of ground: what was told, and what came true",
        f"{'event':<32}{'told about':>12}{'events':>9}{'told':>9}{'came true':>11}",
    ]
    names = {
        "governs": "this tie end governs", "touches": "a line set from it touches",
        "either": "both kinds of event",
    }  # fmt: skip
    found = events(jobs)
    every = {event: joined([both[event] for both in found.values()]) for event in ("governs", "touches")}
    every["either"] = joined(list(every.values()))
    for event, (told, came) in every.items():
        for name, (low, high) in BINS.items():
            count, mean, share = happened(told, came, low, high)
            lines.append(f"{names[event]:<32}{name:>12}{count:>9}{mean:>9.1%}{share:>11.1%}")
    lines.append("This tie end governs, by kind of ground:")
    for ground, both in found.items():
        for name, (low, high) in BINS.items():
            count, mean, share = happened(*both["governs"], low, high)
            lines.append(f"{ground:<32}{name:>12}{count:>9}{mean:>9.1%}{share:>11.1%}")
    return "\n".join(lines)


if __name__ == "__main__":
    print(table(int(sys.argv[1]) if len(sys.argv) > 1 else 1200))
