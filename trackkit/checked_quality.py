"""What the readings say of each other, in words: closures, agreement, readers, a laser that was knocked."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from trackkit.job import Job
from trackkit.mistaken import short_names
from trackkit.survey.estimating import LEAST_CHECKS
from trackkit.survey.ground import Ground
from trackkit.survey.quality import (
    Mistake,
    Readers,
    closures,
    compare_readers,
    knocked_lasers,
    laser_against_phone,
    likely_mistakes,
    logs_against,
    overall_test,
    variance_components,
)
from trackkit.tables.rows import rows_of
from trackkit.units import LENGTH_UNITS, Display

__all__ = ["Agreement", "agreement_of", "log_contradicts", "mistakes_in", "quality_lines", "set_aside"]

#: So many closures beyond their limits are told one by one, the worst first (a choice).
MOST_TOLD: Final = 5
#: Of so many readings it is asked what they say of each other: beyond, that takes minutes (a choice).
MOST_LOOKED_AT: Final = 3000
#: Decimals that a standard deviation is written with, by the crew's unit.
_DECIMALS: Final = {"mm": 1, "cm": 2, "in": 2}


@dataclass(frozen=True)
class Agreement:
    """Whether the readings agree, in words.

    Attributes
    ----------
    explained : tuple of str
        What explains much at once, and no single reading shows: a laser that was knocked, who reads high.
    lines : tuple of str
        Closures, the overall test, each kind of reading, the readers' scatter.
    """

    explained: tuple[str, ...]
    lines: tuple[str, ...]


def quality_lines(job: Job, ground: Ground, mistakes: Sequence[Mistake] = ()) -> list[str]:
    """Return what the readings say of each other, a line each; few where all is well. See `agreement_of`."""
    found = agreement_of(job, ground, mistakes)
    return [*found.explained, *found.lines]


def agreement_of(job: Job, ground: Ground, mistakes: Sequence[Mistake] = ()) -> Agreement:
    """Return whether the readings agree, a line each; few where all is well.

    Parameters
    ----------
    job : Job
    ground : Ground
    mistakes : sequence of Mistake
        What may have happened: where readings may have been mixed up, no instrument is blamed.
    """
    show = job.display
    if len(ground.residuals) > MOST_LOOKED_AT:
        many = (
            f"More than {MOST_LOOKED_AT} readings: closures, readers, knocks and what may have gone wrong "
            "are not looked for. Check the survey in parts."
        )
        return Agreement((), (many,))
    readers = compare_readers(ground)
    knocked, biased = _knocked(ground, show), _biased(readers, show)
    logs = _logs(ground, show)
    if logs:  # what a log bends must not be blamed on anything else
        return Agreement((), (*logs, *_closures(job, ground)))
    mixed = any(len(mistake.changes) > 1 for mistake in mistakes)
    first = "what was knocked" if knocked else "who reads high" if biased else ""
    doubtful = () if first else set_aside(ground, mistakes)
    first = first or ("what may have been mixed up" if mixed else "")
    if doubtful:
        readers = compare_readers(ground, without=doubtful)
        biased = _biased(readers, show)
    overall = overall_test(ground, without=doubtful).words
    if doubtful:
        out = "the readings in doubt" if len(doubtful) == len(ground.doubtful) else short_names(doubtful)
        overall = f"With {out} left out, {overall[0].lower()}{overall[1:]}"
    lines = [
        *_closures(job, ground),
        *_typed_twice(ground),
        overall,
        *([] if mixed else _kinds(ground, show, first, doubtful)),
        *_scatter(readers, show),
    ]
    return Agreement((*knocked, *biased), tuple(lines))


def _typed_twice(ground: Ground) -> list[str]:
    """Return which rows that follow each other are the same in every figure."""
    lines = []
    for name in ("levels", "differences", "boards", "crosslevels"):
        table = getattr(ground.survey, name)
        table = table[table["log_pass"] == ""] if name == "boards" else table
        if len(table) < 2:
            continue
        figures = table.drop(columns=["reading", "row"]).astype(object).where(table.notna(), None)
        cells = list(figures.itertuples(index=False, name=None))
        rows = table["reading"].astype(str).tolist()
        for place, (one, other) in enumerate(itertools.pairwise(cells)):
            if one == other:
                pair = short_names(rows[place : place + 2]).replace(", ", " and ")
                lines.append(f"{pair} are the same in every figure: read twice, or typed twice?")
    return lines


def set_aside(ground: Ground, mistakes: Sequence[Mistake] = ()) -> tuple[str, ...]:
    """Return the readings in doubt that no mistake of several readings together accounts for."""
    together = {doubt for mistake in mistakes if len(mistake.changes) > 1 for doubt in mistake.doubts}
    table = ground.doubtful
    return tuple(str(name) for name in table.loc[~table["rivals"].isin(together), "reading"])


def mistakes_in(job: Job, ground: Ground) -> tuple[Mistake, ...]:
    """Return what may have gone wrong with readings; nothing where a log contradicts and bends them all."""
    if log_contradicts(ground):
        return ()
    return likely_mistakes(ground, display=job.display)


def log_contradicts(ground: Ground) -> bool:
    """Return whether a log contradicts all other readings: nothing that it bends is told, or asked for."""
    return not bool(logs_against(ground)["agrees"].all())


def _logs(ground: Ground, show: Display) -> list[str]:
    """Return the passes of a log that contradict all other readings, and what may have happened to them."""
    table = logs_against(ground)
    lines = []
    contradict = table[~table["agrees"].astype(bool)]
    for perhaps in contradict["perhaps"].drop_duplicates():
        some = contradict[contradict["perhaps"] == perhaps]
        why = f"Perhaps {perhaps}" if perhaps else "Perhaps its unit, its sign or its stations are wrong"
        file = str(some["log_pass"].iloc[0]).partition(", ")[0]
        names = ", ".join(str(name).removeprefix(f"{file}, ") for name in some["log_pass"])
        most = show.small_unit(float(some["off_m"].max()))
        passes = f"pass{'es' * (len(some) > 1)} {names}"
        lines.append(
            f"READ AGAIN {file}, {passes}: this log contradicts all other readings, by {most} from foot to "
            f"foot. {why}. Until that is settled, what else is said here counts for nothing: take the log "
            "out of the folder, and check again."
        )
    return lines


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
    common, told = _shared(beyond), MOST_TOLD
    which = f"{len(beyond)} of {len(table)} closures are beyond their limits"
    if len(beyond) == len(table):
        which = (
            "1 closure, beyond its limit"
            if len(table) == 1
            else f"All {len(table)} closures are beyond their limits"
        )
    if common:
        lines, told = [f"{which}; in all of them: {common}. The worst:"], 1
    else:
        lines = [f"{which}{', the worst first' * (len(beyond) > told)}:"]
    for row in rows_of(beyond.head(told)):
        miss, limit = show.small_unit(abs(row.misclosure_m)), show.small_unit(row.limit_m)
        over = f"just over the {limit} allowed" if miss == limit else f"{limit} allowed"
        lines.append(f"READ AGAIN {_way(job, row)}: misses by {miss}, {over}.")
    return lines


def _way(job: Job, row: Any) -> str:
    """Return what a closure leads through, in the crew's words."""
    points = [
        point if isinstance(point, str) else f"{job.display.long(point[0])} {_side(job, point[1])}"
        for point in row.points
    ]
    if row.kind == "again":
        readings = _joined([str(name) for name in row.readings])
        where = f" from laser position {row.lasers[0]}" if row.lasers else ""
        return f"{' to '.join(points)}{where}, read twice ({readings})"
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


def _shared(beyond: pd.DataFrame) -> str:
    """Return the one or two readings that stand in all closures that fail, if these are two or more."""
    if len(beyond) < 2:
        return ""
    common = set(beyond["readings"].iloc[0]).intersection(*beyond["readings"])
    if not 1 <= len(common) <= 2:
        return ""
    return _joined([name for name in beyond["readings"].iloc[0] if name in common])


def _kinds(ground: Ground, show: Display, first: str, without: tuple[str, ...]) -> list[str]:
    """Return the kinds that are not as stated, and what to state; ``first`` is what else may explain it."""
    table = variance_components(ground, without=without)
    lines = []
    told = ~table["agrees"]
    if without:  # what is left once the worst are set aside looks better than it is
        told &= table["factor"] > 1.0
    for row in rows_of(table[told]):
        what = f"{row.kind}{' with ' + row.instrument if row.instrument else ''}"
        text = (
            f"{what[0].upper()}{what[1:]} scatter {row.factor:.1f} times what was stated (between "
            f"{row.low:.1f} and {row.high:.1f}, 19 times in 20; {row.checks:.0f} checks)"
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
        ask = "; to use it" if row.factor > 1 else "; if they are to count for more"
        if first:
            ask = f". Settle {first} first; if it stays so"
        lines.append(f'{text}{ask}, under {where} in job.toml: {key} = "{worth}".')
    if first:
        return lines
    conflict = laser_against_phone(ground, without=without)
    steeper = conflict.dof and abs(conflict.mean_rad) > 3.0 * conflict.mean_sd_rad
    if not conflict.agrees and (not lines or steeper):
        lines.append(conflict.words)
    return lines


def _biased(found: Readers, show: Display) -> list[str]:
    """Return who reads high or low."""
    table = found.table
    off = table[table["verdict"].isin(["reads high", "reads low"])].sort_values("bias_m", ascending=False)
    if len(off) == 2 and len(off["with_whom"].iloc[0]) == 2:  # of two, both are off the mean by the same
        high, low = rows_of(off)
        more, give = _fine(2.0 * high.bias_m, show), _fine(4.0 * high.sd_m, show)
        return [f"{high.reader} reads {more} higher than {low.reader}, give or take {give}."]
    return [
        f"{row.reader} {row.verdict} by {_fine(abs(row.bias_m), show)}, give or take "
        f"{_fine(2 * row.sd_m, show)}, against the mean of {len(row.with_whom)} readers."
        for row in rows_of(off)
    ]


def _scatter(found: Readers, show: Display) -> list[str]:
    """Return what of the readers is well, or cannot be told, and the spread that they have."""
    table = found.table
    if table.empty:
        return []
    alike, lines = table[table["verdict"] == "like the others"]["reader"].tolist(), []
    if len(alike) == len(table):
        lines.append(f"Readers {', '.join(alike[:-1])} and {alike[-1]} read alike.")
    lines += [f"Readers that {words}." for words in found.apart]
    if not np.isfinite(found.sigma_m):
        return [
            *lines,
            f"What the readers' rods scatter by: fewer than {LEAST_CHECKS:.0f} checks, too few to say.",
        ]
    own = "".join(
        f"; {row.reader} {_fine(row.sigma_m, show)}" for row in rows_of(table[table["sigma_m"].notna()])
    )
    sigma, low, high = (_fine(one, show) for one in (found.sigma_m, found.sigma_low_m, found.sigma_high_m))
    return [
        *lines,
        f"This crew's rods scatter by {sigma} (standard deviation; between {low} and {high}, 19 times in 20"
        f'{own}). To use it, under [instruments] in job.toml: rod_sd = "{sigma}".',
    ]


def _knocked(ground: Ground, show: Display) -> list[str]:
    found = knocked_lasers(ground)
    if found.empty:
        return []
    told = [
        f"laser position {row.laser} seems to have been knocked between {_joined([row.after, row.before])}: "
        f"its line of sight {'rose' if row.jump_m > 0 else 'sank'} by {show.small_unit(abs(row.jump_m))}, "
        f"give or take {show.small_unit(2 * row.sd_m)}"
        for row in rows_of(found)
    ]
    text = f"{'Either ' * (len(told) > 1)}{', or '.join(told)}."
    do = "Read that position's points again, or give what was read after it a laser position of its own."
    return [f"{text[0].upper()}{text[1:]} {do}"]
