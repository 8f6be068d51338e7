"""Controls with their names and units in words: each choice is said as the crew says it, and kept in SI."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any, Final

from trackkit.layout.grounds import SIDES
from trackkit.units import few_decimals

if TYPE_CHECKING:
    from ipywidgets import Dropdown, SelectionSlider, Widget

    from trackkit.job import Job
    from trackkit.layout.laid import Run
    from trackkit.units import Display

__all__ = [
    "Option", "bends", "choice", "confidences", "grades", "heights", "nearest_option", "rows_of_steps",
    "slider", "support_ends",
]  # fmt: skip

#: What a control offers: words, and the value that they stand for.
Option = tuple[str, Any]
#: Width of a control with its name [px]: three stand side by side on a laptop.
WIDE: Final = 360
#: So often values that would read alike are written ten times finer.
_TIMES_FINER: Final = 6


def slider(label: str, options: Sequence[Option], value: Any, *, wide: int = WIDE) -> SelectionSlider:
    """Return a slider over options; arrow keys, Home and End move it.

    Parameters
    ----------
    label : str
        Its name, with the unit if the options do not say it.
    options : sequence of (words, value)
    value
        One of their values.
    wide : int
        [px]
    """
    from ipywidgets import Layout, SelectionSlider

    return SelectionSlider(
        description=label, options=list(options), value=value, continuous_update=True,
        style={"description_width": "initial"}, layout=Layout(width=f"{wide}px", max_width="100%"),
    )  # fmt: skip


def choice(label: str, options: Sequence[Option], value: Any, *, wide: int = WIDE) -> Dropdown:
    """Return a list to choose one of."""
    from ipywidgets import Dropdown, Layout

    return Dropdown(
        description=label, options=list(options), value=value, style={"description_width": "initial"},
        layout=Layout(width=f"{wide}px", max_width="100%"),
    )  # fmt: skip


def nearest_option(control: Widget, value: Any) -> Any:
    """Return the option of a control that a number means, were it not for rounding; else the value itself."""
    if not isinstance(value, (int, float)) or isinstance(value, bool):
        return value
    for option in getattr(control, "_options_values", ()):
        if isinstance(option, (int, float)) and math.isclose(option, value, rel_tol=1e-9, abs_tol=1e-9):
            return option
    return value


def rows_of_steps(low: float, high: float, step: float, *own: float | None) -> list[float]:
    """Return values in even steps from low to high, and a job's own values among them.

    Examples
    --------
    >>> rows_of_steps(0.0, 0.03, 0.01, 0.012)
    [0.0, 0.01, 0.012, 0.02, 0.03]
    """
    count = round((high - low) / step)
    kept = [value for value in own if value is not None]
    steps = (float(f"{low + step * place:.12g}") for place in range(count + 1))
    free = [one for one in steps if not any(math.isclose(one, value, abs_tol=1e-9) for value in kept)]
    return sorted({*free, *kept})


def heights(values: Iterable[float], display: Display, own: float | None = None) -> list[Option]:
    """Return heights [m] as options in the crew's unit, each said once; a job's own before a round one."""
    said: dict[str, float] = {}
    for value in values:
        words = display.small_unit(value)
        if words not in said or value == own:
            said[words] = value
    return list(said.items())


def grades(values: Iterable[float]) -> list[Option]:
    """Return grades (rise over distance) as options in per cent, no two said alike.

    Examples
    --------
    >>> grades([-0.015, 0.0, 0.015, 0.0154])
    [('-1.5 %', -0.015), ('0.0 %', 0.0), ('+1.5 %', 0.015), ('+1.54 %', 0.0154)]
    """
    return _told_apart(values, lambda value, finer: _grade(value, 0.005 / finer))


def _grade(value: float, within: float) -> str:
    figure = few_decimals(100.0 * value, within, least=1)
    if float(figure) == 0.0:
        return f"{figure.removeprefix('-')} %"
    return f"{'+' if value > 0 else ''}{figure} %"


def bends(values: Iterable[float], display: Display) -> list[Option]:
    """Return bends at a joint (rise over distance) as the crew measures them, no two said alike.

    Examples
    --------
    >>> from trackkit.units import DISPLAYS
    >>> bends([0.0, 0.003], DISPLAYS["cm"])
    [('0.0 mm in 1 m', 0.0), ('3.0 mm in 1 m', 0.003)]
    >>> bends([0.0, 0.003], DISPLAYS["1/8 in"])
    [('0.00 in in 10 ft', 0.0), ('0.36 in in 10 ft', 0.003)]
    """
    if display.unit == "in":
        return _told_apart(
            values, lambda v, finer: f"{few_decimals(120.0 * v, 0.0005 / finer, least=2)} in in 10 ft"
        )
    return _told_apart(
        values, lambda v, finer: f"{few_decimals(1000.0 * v, 0.005 / finer, least=1)} mm in 1 m"
    )


def confidences(values: Iterable[float]) -> list[Option]:
    """Return confidences as options in per cent, no two said alike, and none short of it as 100%.

    Examples
    --------
    >>> confidences([0.9, 0.95, 0.954, 0.9996])
    [('90%', 0.9), ('95%', 0.95), ('95.4%', 0.954), ('99.96%', 0.9996)]
    """
    return _told_apart(values, lambda v, finer: f"{few_decimals(100.0 * v, 0.05 / finer, short_of=100.0)}%")


def _told_apart(values: Iterable[float], say: Callable[[float, float], str]) -> list[Option]:
    """Return values as options, those that would read alike in more decimals.

    ``say`` writes a value so many times finer than usual. Equal values are one option.
    """
    finer = dict.fromkeys(values, 1.0)
    for _ in range(_TIMES_FINER):
        words = {value: say(value, by) for value, by in finer.items()}
        alike = [value for value, word in words.items() if list(words.values()).count(word) > 1]
        if not alike:
            break
        finer |= {value: 10.0 * finer[value] for value in alike}
    said: dict[str, float] = {}
    for value, by in finer.items():
        said.setdefault(say(value, by), value)
    return list(said.items())


def support_ends(job: Job, run: Run) -> list[Option]:
    """Return every tie end from the head of the run, left before right, by tie and side."""
    return [(f"tie {tie} {job.side(side)}", (int(tie), side)) for tie in run.ties["tie"] for side in SIDES]
