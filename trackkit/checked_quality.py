"""What the readings say of each other, in words: closures, agreement, readers, a laser that was knocked."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
import pandas as pd

from trackkit.job import Job
from trackkit.survey.ground import Ground
from trackkit.survey.quality import (
    closures,
    compare_readers,
    knocked_lasers,
    laser_against_phone,
    overall_test,
    variance_components,
)
from trackkit.tables.rows import rows_of
from trackkit.units import LENGTH_UNITS, Display

__all__ = ["quality_lines"]

#: So many closures beyond their limits are told one by one, the worst first (a choice).
MOST_TOLD: Final = 5
#: Decimals that a standard deviation is written with, by the crew's unit.
_DECIMALS: Final = {"mm": 1, "cm": 2, "in": 2}


def quality_lines(job: Job, ground: Ground) -> list[str]:
    """Return what the readings say of each other, a line each; few where all is well.

    Parameters
    ----------
    job : Job
    ground : Ground
    """
    show = job.display
    return [
        *_knocked(ground, show),
        *_closures(job, ground),
        overall_test(ground).words,
        *_kinds(ground, show),
        *_readers(ground, show),
    ]


def _fine(metres: float, show: Display) -> str:
    """Write a standard deviation, finer than heights are written."""
    return f"{metres / LENGTH_UNITS[show.unit]:.{_DECIMALS[show.unit]}f} {show.unit}"


def _closures(job: Job, ground: Ground) -> list[str]:
    show, table = job.display, closures(ground)
    if table.empty:
        return []
    ratio = table["misclosure_m"].abs() / table["limit_m"]
    table = table.assign(ratio=ratio).sort_values("ratio", ascending=False, kind="stable")
    worst = table.iloc[0]
    of = f"{show.small_unit(abs(worst.misclosure_m))} of {show.small_unit(worst.limit_m)} allowed"
    beyond = table[~table["ok"]]
    if beyond.empty:
        if len(table) == 1:
            return [f"1 closure, within its limit: {of}."]
        return [f"{len(table)} closures, all within their limits; the one nearest to its limit {of}."]
    lines = [f"{len(beyond)} of {len(table)} closures are beyond their limits:"]
    for row in rows_of(beyond.head(MOST_TOLD)):
        miss, limit = show.small_unit(abs(row.misclosure_m)), show.small_unit(row.limit_m)
        told = f"just over the {limit} allowed" if miss == limit else f"{limit} allowed"
        lines.append(f"READ AGAIN {_way(job, row)}: misses by {miss}, {told}.")
    if len(beyond) > MOST_TOLD:
        lines.append(f"... and {len(beyond) - MOST_TOLD} more, by less.")
    return lines + _shared(beyond)


def _way(job: Job, row: Any) -> str:
    """Return what a closure leads through, in the crew's words."""
    points = [
        point if isinstance(point, str) else f"{job.display.long(point[0])} {_side(job, point[1])}"
        for point in row.points
    ]
    if row.kind == "again":
        readings = _joined([str(name) for name in row.readings])
        return f"{' to '.join(points)}, read twice ({readings})"
    if not row.lasers:
        return "the round " + " - ".join([*points, points[0]])
    names = " and ".join(row.lasers) if len(row.lasers) < 3 else ", ".join(row.lasers)
    kind = "the way between benchmarks" if row.kind == "benchmarks" else "the round"
    return f"{kind} through {' and '.join(points)} from laser position{'s' * (len(row.lasers) > 1)} {names}"


def _side(job: Job, side: str) -> str:
    return job.side(side) if side in job.side_names else side


def _joined(names: list[str]) -> str:
    """Return names of readings, the table said once: "levels.csv row 4 and row 9"."""
    tables = {name.rpartition(" row ")[0] for name in names}
    if len(tables) == 1 and tables != {""}:
        names = [names[0], *(f"row {name.rpartition(' row ')[2]}" for name in names[1:])]
    return " and ".join(names)


def _shared(beyond: pd.DataFrame) -> list[str]:
    """Return which reading stands in all closures that fail, where only one or two do."""
    if len(beyond) < 2:
        return []
    common = set(beyond["readings"].iloc[0]).intersection(*beyond["readings"])
    if not 1 <= len(common) <= 2:
        return []
    return [f"In all of these: {_joined([name for name in beyond['readings'].iloc[0] if name in common])}."]


def _kinds(ground: Ground, show: Display) -> list[str]:
    table = variance_components(ground)
    lines = []
    for row in rows_of(table[~table["agrees"]]):
        what = f"{row.kind}{' with ' + row.instrument if row.instrument else ''}"
        text = (
            f"{what[0].upper()}{what[1:]} scatter {row.factor:.1f} times what was stated (between {row.low:.1f} "
            f"and {row.high:.1f}, 19 times in 20; {row.checks:.0f} checks)"
        )
        if row.value != row.value:
            lines.append(f"{text}; what was stated stands in {row.setting}.")
            continue
        worth = f"{math.degrees(row.value):.2g} deg" if row.kind == "angles" else _fine(row.value, show)
        several = row.kind == "angles" and (
            row.setting != "angle_sd" or len(table[table["kind"] == "angles"]) > 1
        )
        where = "[instruments.angles]" if several else "[instruments]"
        key = f'"{row.instrument}"' if several else row.setting
        ask = "to use it" if row.factor > 1 else "if they are to count for more"
        lines.append(f'{text}; {ask}, under {where} in job.toml: {key} = "{worth}".')
    conflict = laser_against_phone(ground)
    steeper = conflict.dof and abs(conflict.mean_rad) > 3.0 * conflict.mean_sd_rad
    if not conflict.agrees and (not lines or steeper):
        lines.append(conflict.words)
    return lines


def _readers(ground: Ground, show: Display) -> list[str]:
    found = compare_readers(ground)
    table = found.table
    if table.empty:
        return []
    lines = [
        f"{row.reader} {row.verdict} by {_fine(abs(row.bias_m), show)}, give or take {_fine(2 * row.sd_m, show)}, "
        f"against the mean of {len(row.with_whom)} readers."
        for row in rows_of(table[table["verdict"].isin(["reads high", "reads low"])])
    ]
    alike = table[table["verdict"] == "like the others"]["reader"].tolist()
    if alike and not lines:
        lines.append(f"Readers {', '.join(alike[:-1])} and {alike[-1]} read alike.")
    lines += [f"Readers that {words}." for words in found.apart]
    if not np.isfinite(found.sigma_m):
        return [*lines, f"What their rods scatter by: too few checks to say ({found.checks:.0f})."]
    own = ", ".join(
        f"{row.reader} {_fine(row.sigma_m, show)}" for row in rows_of(table[table["sigma_m"].notna()])
    )
    lines.append(
        f"This crew's rods scatter by {_fine(found.sigma_m, show)} (standard deviation; between "
        f"{_fine(found.sigma_low_m, show)} and {_fine(found.sigma_high_m, show)}, 19 times in 20"
        + (f"; {own}" if own else "")
        + f'). To use it, under [instruments] in job.toml: rod_sd = "{_fine(found.sigma_m, show)}".'
    )
    return lines


def _knocked(ground: Ground, show: Display) -> list[str]:
    found = knocked_lasers(ground)
    if found.empty:
        return []
    told = [
        f"laser position {row.laser} between {_joined([row.after, row.before])}, by "
        f"{show.small_unit(abs(row.jump_m))}, give or take {show.small_unit(2 * row.sd_m)}, "
        f"{'up' if row.jump_m > 0 else 'down'}"
        for row in rows_of(found)
    ]
    text = "A laser seems to have been knocked: " + "; or ".join(told) + "."
    do = "Read that position's points again, or give what was read after it a laser position of its own."
    return [f"{text} {do}"]
