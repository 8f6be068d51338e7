"""What a phone's logs say of their zero error, in words."""

from __future__ import annotations

from typing import Final

import numpy as np

from trackkit.survey.ground import Ground
from trackkit.survey.log.reversed import wander_found
from trackkit.survey.wander import wander_of

__all__ = ["log_lines"]

_OVER: Final = {"drift_sd": "1 m", "drift_sd_s": "1 s"}


def log_lines(ground: Ground) -> list[str]:
    """Return how the zero error of each pass wanders, and where pairs of passes say otherwise."""
    lines = []
    for name, own in wander_of(ground).groupby("log_pass", sort=False):
        low, high = np.degrees(own["zero_rad"].min()), np.degrees(own["zero_rad"].max())
        worth = np.degrees(2.0 * own["sd_rad"].max())
        lines.append(
            f"{name}: zero wanders from {low:+.2f} to {high:+.2f} degrees, give or take {worth:.2f}."
        )
    logs = ground.survey.boards[ground.survey.boards["log_pass"] != ""]
    if len(logs):
        sds, timed = ground.instruments, bool(logs["clock_s"].notna().all())
        sd, over = (sds.drift_sd_s, "1 s") if timed else (sds.drift_sd, "1 m")
        lines.append(
            f"Taken for it: it wanders {np.degrees(sd):.2g} degrees in {over} (change it if you know)."
        )
    for pair in wander_found(ground):
        if pair.contradicts:
            found, stated = np.degrees(pair.found), np.degrees(pair.stated)
            lines.append(
                f"{pair.passes[0]} and {pair.passes[1].rpartition(', ')[2]}, read both ways: the zero "
                f"wanders {found:.2g} degrees in {_OVER[pair.key]}, taken were {stated:.2g}: write "
                f'{pair.key} = "{found:.2g} deg" under [instruments].'
            )
    return lines
