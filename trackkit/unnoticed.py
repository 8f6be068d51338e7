"""What a misreading that nobody would notice could do to the fills of a job, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from trackkit.layout.doubt import fill_model
from trackkit.survey.quality.detectable import POWER, unnoticed_effects

if TYPE_CHECKING:
    from trackkit.plan import Laid

__all__ = ["unnoticed_in_fills", "unnoticed_lines"]

#: Effects that are smaller than this are not worth a line [m] (a choice: what audiences and wheels forgive).
WORTH: Final = 0.003


def unnoticed_in_fills(laid: Laid) -> pd.DataFrame:
    """Return for every fill the reading whose misreading would do most to it without being noticed.

    Parameters
    ----------
    laid : Laid
        A job's line over its ground; which points it rests on is taken for certain.

    Returns
    -------
    DataFrame
        tie, side, station_m, and reading, noticed_m, effect_m as in
        `trackkit.survey.quality.detectable.unnoticed_effects`.
    """
    model = fill_model(laid.ground, laid.line.run, laid.line)
    found = unnoticed_effects(laid.ground, model.points, model.jacobian)
    places = laid.fills[["tie", "side", "station_m"]].reset_index(drop=True)
    return pd.concat([places, found], axis=1)


def unnoticed_lines(laid: Laid) -> list[str]:
    """Return the fill that a misreading could move most without being noticed, and how many others."""
    show, job = laid.job.display, laid.job
    table = unnoticed_in_fills(laid)
    worst = table.iloc[int(np.argmax(table["effect_m"].to_numpy(dtype=float)))]
    where = f"tie {worst['tie']} {job.side(worst['side'])}"
    if not np.isfinite(worst["effect_m"]):
        many = int(np.isinf(table["effect_m"]).sum())
        return [
            f"Nothing checks {worst['reading']}: a misreading there, however large, would pass, and move "
            f"{where}{f' and {many - 1} more tie ends' if many > 1 else ''} with it."
        ]
    if worst["effect_m"] < WORTH:
        return [f"A misreading that is not noticed moves no fill by more than {show.small_unit(WORTH)}."]
    many = int((table["effect_m"] >= WORTH).sum())
    others = f"; {many - 1} more tie ends by {show.small_unit(WORTH)} or more" if many > 1 else ""
    return [
        f"Misreadings that are noticed less than {POWER:.0%} of the time could move a fill by up to "
        f"{show.small_unit(float(worst['effect_m']))}: {where}, by {worst['reading']}{others}."
    ]
