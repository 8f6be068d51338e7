"""A phone's log, a row every few millimetres, as the board readings that it is worth.

The board's middle was at ``station``; angles carry the ground's sign in both facings, as everywhere (see
``observe.py``). Nothing is dropped silently: what was not used is counted, with its places, in the notes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.problems import Problem, Problems
from trackkit.survey.log.choices import LogRules
from trackkit.survey.log.clean import Stretch, frozen_rows, gaps, spikes, stretches
from trackkit.survey.log.passes import Pass, passes_of
from trackkit.survey.log.thin import Thinned, thin
from trackkit.survey.tables import SurveyRules

__all__ = ["Cleaned", "clean_pass", "readings_of_log"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: So many places are named in a note; the rest are counted.
_PLACES: Final = 4
#: What rows that are not used are called in notes.
_SAID: Final = {"spiked": "spikes", "steep": "steeper than a board lies", "frozen": "frozen"}


@dataclass(frozen=True)
class Cleaned:
    """What of a pass is used.

    Attributes
    ----------
    dropped, steep, frozen, spiked : array of bool, shape (n,)
        Rows without an angle, steeper than any board lies, frozen, and spikes; in the order of the file.
    gaps : list of Stretch
        Where no sound row lies over more than a board's length.
    """

    dropped: Mask
    steep: Mask
    frozen: Mask
    spiked: Mask
    gaps: list[Stretch]

    @property
    def sound(self) -> Mask:
        """The rows that are used."""
        return ~(self.dropped | self.steep | self.frozen | self.spiked)


def readings_of_log(
    log: pd.DataFrame, problems: Problems, *, rules: SurveyRules | None = None
) -> pd.DataFrame:
    """Return the board readings that a phone's log becomes, one row each.

    Parameters
    ----------
    log : DataFrame
        As `passes_of` takes it.
    problems : Problems
        Takes the faults between rows, and what was found in the log as notes.
    rules : SurveyRules, optional
        What is too steep, and under ``log`` how logs are cleaned and thinned.

    Returns
    -------
    DataFrame
        The columns of ``Survey.boards``.
    """
    rules = rules or SurveyRules()
    if not len(log):
        return pd.DataFrame()
    before = len(problems.found)
    _check_extent(log, problems, rules)
    passes = list(passes_of(log, problems))
    file = str(log["file"].iloc[0])
    cleaned = [clean_pass(each, rules) for each in passes]
    for each, found in zip(passes, cleaned, strict=True):
        _check_pass(file, each, found, problems, rules.log)
    if len(problems.found) > before:
        return pd.DataFrame()
    thinned = [_thinned(each, found, rules.log) for each, found in zip(passes, cleaned, strict=True)]
    for text in _notes(file, len(log), passes, cleaned, thinned):
        problems.note(text)
    return pd.concat([_rows(file, *pair) for pair in zip(passes, thinned, strict=True)], ignore_index=True)


def clean_pass(each: Pass, rules: SurveyRules) -> Cleaned:
    """Return which rows of a pass drop out, are too steep, froze, or are spikes, and its gaps."""
    dropped = ~np.isfinite(each.angle)
    steep = ~dropped & (np.abs(np.where(dropped, 0.0, each.angle)) > rules.steepest)
    order = np.arange(each.row.size)
    if np.isfinite(each.seconds).all():
        order = np.argsort(each.seconds, kind="stable")
    angle = np.where(steep, np.nan, each.angle)
    frozen = np.zeros(order.size, dtype=bool)
    frozen[order] = frozen_rows(each.station[order], angle[order], each.board, rules.log)
    rest = np.flatnonzero(~(dropped | steep | frozen))
    rest = rest[np.argsort(each.station[rest], kind="stable")]
    spiked = np.zeros(order.size, dtype=bool)
    if rest.size:
        spiked[rest] = spikes(each.station[rest], each.angle[rest], each.board, rules.log)
    left = np.sort(each.station[~(dropped | steep | frozen | spiked)])
    usual = float(np.median(np.diff(left))) if left.size > 1 else 0.0
    return Cleaned(dropped, steep, frozen, spiked, gaps(left, max(0.5 * each.board, 5.0 * usual)))


def _thinned(each: Pass, found: Cleaned, rules: LogRules) -> Thinned:
    used = np.flatnonzero(found.sound)
    used = used[np.argsort(each.station[used], kind="stable")]
    timed = bool(np.isfinite(each.seconds).all())
    travelled = each.seconds - each.seconds.min() if timed else each.station - each.station.min()
    return thin(
        each.station[used], np.tan(each.angle[used]), travelled[used], each.row[used], each.board, rules
    )


def _rows(file: str, each: Pass, thinned: Thinned) -> pd.DataFrame:
    n = thinned.slope.size
    timed = bool(np.isfinite(each.seconds).all())
    angle = np.arctan(thinned.slope)
    none = np.full(n, np.nan)
    names = [
        f"{file} rows {first} to {last}" if last > first else f"{file} row {first}"
        for first, last in zip(thinned.first, thinned.last, strict=True)
    ]
    columns: dict[str, Any] = {
        "reading": names, "station_m": thinned.near, "to_station_m": thinned.far, "side": each.side,
        "angle_rad": angle, "rise_m": none, "facing": each.facing,
        "instrument": each.instrument, "sd_rad": thinned.sd * np.cos(angle) ** 2, "sd_m": none, "note": "",
        "along": each.along,
        "log_pass": f"{file}, {each.name}", "walked_m": none if timed else thinned.travelled,
        "clock_s": thinned.travelled if timed else none, "file": file, "row": thinned.first.astype("int64"),
    }  # fmt: skip
    return pd.DataFrame(columns, index=range(n))


# --- faults --------------------------------------------------------------------------------------


def _check_extent(log: pd.DataFrame, problems: Problems, rules: SurveyRules) -> None:
    station = log["station_m"].to_numpy(dtype=float)
    if len(log) >= 3 and len(np.unique(station)) >= 3 and np.ptp(station) < rules.shortest_survey:
        found = f"{len(log)} rows within {1000 * np.ptp(station):.3g} mm: hardly the length of a run"
        accepted = f"stations that lie {rules.shortest_survey:g} m apart or more, first to last"
        do = "is the column in m?"
        problems.add(Problem(str(log["file"].iloc[0]), found, accepted, do, column="station"))


def _check_pass(file: str, each: Pass, found: Cleaned, problems: Problems, rules: LogRules) -> None:
    row = int(each.row[0])
    if found.steep.sum() > rules.too_many_off * each.row.size:
        steep = f"{found.steep.sum()} of {each.row.size} angles of {_called(each)}"
        text = f"{steep} that are steeper than a board lies"
        do = "is the column in degrees? was the phone flat on the board?"
        problems.add(Problem(file, text, "angles of the ground", do, row, "angle"))
    elif not found.sound.any():
        text = f"{_called(each)} without one sound row"
        problems.add(Problem(file, text, "rows with an angle", "take the pass out, or log it again", row))


# --- words ---------------------------------------------------------------------------------------


def _notes(
    file: str, rows: int, passes: Sequence[Pass], cleaned: Sequence[Cleaned], thinned: Sequence[Thinned]
) -> list[str]:
    used = sum(int(found.sound.sum()) for found in cleaned)
    count = {
        name: sum(int(getattr(found, name).sum()) for found in cleaned)
        for name in ("dropped", "spiked", "steep", "frozen")
    }
    holes = sum(len(found.gaps) for found in cleaned)
    became = sum(each.slope.size for each in thinned)
    parts = [_counted(count["spiked"], "spike"), f"{_number(count['dropped'])} dropped out"]
    parts += [f"{_number(count['steep'])} steeper than a board lies"] if count["steep"] else []
    parts += [f"{_number(count['frozen'])} frozen"] if count["frozen"] else []
    sds = np.concatenate([each.sd for each in thinned])
    worth = np.degrees(2.0 * np.nanmedian(sds)) if np.isfinite(sds).any() else float("nan")
    each_one = f", give or take {worth:.2g} degrees each" if np.isfinite(worth) else ""
    notes = [
        f"{file}: {_number(used)} of {_number(rows)} rows used; {', '.join(parts)}; "
        f"{_counted(holes, 'gap')}; became {_counted(became, 'board reading')}{each_one}"
    ]
    for name, said in _SAID.items():
        places = [
            (-stretch.rows, f"{_called(each)} {_place(stretch)}")
            for each, found in zip(passes, cleaned, strict=True)
            for stretch in stretches(each.station, getattr(found, name), _near(each))
        ]
        notes += _listed(f"{file}, {said}", [text for _, text in sorted(places, key=lambda at: at[0])])
    holed = [
        f"{_called(each)} from {gap.start:.2f} to {gap.end:.2f} m"
        for each, found in zip(passes, cleaned, strict=True)
        for gap in found.gaps
    ]
    notes += _listed(f"{file}, gaps", holed)
    for each, found in zip(passes, thinned, strict=True):
        if not found.window:
            few = "one row" if each.row.size == 1 else "rows too far apart to average"
            notes.append(f"{file}: {_called(each)}: {few}; each station counts as one board reading")
        elif not np.isfinite(found.sd).all():
            notes.append(
                f"{file}: {_called(each)} is too short to judge its noise; each mean counts as one angle"
            )
    return notes


def _called(each: Pass) -> str:
    """Return what a pass is called: a name that is a figure only says nothing by itself."""
    return each.name if each.name.startswith("pass") else f"pass {each.name}"


def _number(count: int) -> str:
    return f"{count:,}".replace(",", " ")


def _counted(count: int, what: str) -> str:
    return f"{_number(count)} {what}" + ("" if count == 1 else "s")


def _place(stretch: Stretch) -> str:
    rows = "1 row" if stretch.rows == 1 else f"{stretch.rows} rows"
    if stretch.end - stretch.start < 0.005:
        return f"at {stretch.start:.2f} m ({rows})"
    return f"from {stretch.start:.2f} to {stretch.end:.2f} m ({rows})"


def _near(each: Pass) -> float:
    """Return how near together rows are told as one stretch [m]: with two or three sound ones between."""
    apart = np.diff(np.unique(each.station))
    return 3.0 * float(np.median(apart)) if apart.size else 0.0


def _listed(title: str, places: list[str]) -> list[str]:
    if not places:
        return []
    more = f", and {len(places) - _PLACES} places more" if len(places) > _PLACES else ""
    return [f"{title}: {'; '.join(places[:_PLACES])}{more}"]
