"""What the checks of a job's instruments come to, in words."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Final

from trackkit.survey.instruments import InstrumentCheck, Instruments, Repeated
from trackkit.survey.instruments.tables import read_checks
from trackkit.units import Display

__all__ = ["check_words"]

#: Slopes are told as the rise over this distance: 10 m, or 10 ft for a crew that reads inches [m].
_OVER: Final = {"in": (3.048, "10 ft", 0.0254, "in"), "": (10.0, "10 m", 0.001, "mm")}
_VERDICT: Final = {"good": "good", "not good": "NOT GOOD", "cannot be told": "cannot be told"}


def check_words(folder: str | Path, instruments: Instruments, display: Display) -> list[str]:
    """Return what the tables ``check_level`` and ``check_phone`` of a job say, a line each.

    Raises
    ------
    InputProblems
        With every fault of these tables.
    """
    found = read_checks(folder, instruments=instruments)
    lines = [_line(check, display) for check in found.checks]
    return [*lines, *(_repeated(what, one, display) for what, one in found.repeated)]


def _line(check: InstrumentCheck, display: Display) -> str:
    phone = check.what.startswith("zero error")
    say = _degrees if phone else _slope
    value, give, limit = (say(one, display) for one in (check.value, 2.0 * check.sd, check.limit))
    checked = "" if check.dof else ", nothing checks it"
    text = (
        f"{check.what[0].upper()}{check.what[1:]}: {value}, give or take {give.removeprefix('+')}{checked}; "
        f"up to {limit.removeprefix('+')} is good ({check.basis}): {_VERDICT[check.verdict]}."
    )
    if check.verdict == "good":
        return text
    if check.verdict == "cannot be told":
        text += f" {'More places' if phone else 'Longer sights, or more readings,'} would tell."
    elif check.do:
        text += f" {check.do[0].upper()}{check.do[1:]}."
    if check.correction:
        keys = ", ".join(f"{key} = {value}" for key, value in check.correction.items())
        text += f" To use it, under [instruments] in job.toml: {keys}."
    return text


def _slope(value: float, display: Display) -> str:
    far, over, unit, name = _OVER[display.unit if display.unit == "in" else ""]
    return f"{value * far / unit:+.2f} {name} in {over}"


def _degrees(value: float, _: Display) -> str:
    return f"{math.degrees(value):+.2f} degrees"


def _repeated(what: str, one: Repeated, display: Display) -> str:
    show = display.small_unit
    within = f"within {show(one.limit)}" if one.verdict == "good" else f"NOT within {show(one.limit)}"
    bounds = f"between {show(one.low)} and {show(one.high)} 19 times in 20"
    return (
        f"Repeated {what}: a single one scatters by {show(one.sd)} (standard deviation; {bounds}), {within}, "
        f"as {show(one.stated)} stated lets it."
    )
