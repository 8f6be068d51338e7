"""Controls with their names and units in words: each choice is said as the crew says it, and kept in SI."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, Final

from trackkit.layout.grounds import SIDES

if TYPE_CHECKING:
    from ipywidgets import Dropdown, SelectionSlider, Widget

    from trackkit.job import Job
    from trackkit.layout.laid import Run
    from trackkit.units import Display

__all__ = [
    "Option", "choice", "grades", "heights", "nearest_option", "rows_of_steps", "slider", "support_ends",
]  # fmt: skip

#: What a control offers: words, and the value that they stand for.
Option = tuple[str, Any]
#: Width of a control with its name [px]: three stand side by side on a laptop.
WIDE: Final = 360


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
    """Return grades (rise over distance) as options in per cent."""
    return [(f"{value:+.1%}".replace("%", " %") if abs(value) > 5e-5 else "0.0 %", value) for value in values]


def support_ends(job: Job, run: Run) -> list[Option]:
    """Return every tie end from the head of the run, left before right, by tie and side."""
    return [(f"tie {tie} {job.side(side)}", (int(tie), side)) for tie in run.ties["tie"] for side in SIDES]
