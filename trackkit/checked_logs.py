"""What a phone's logs say of their zero error, in words."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from trackkit.survey.ground import Ground
from trackkit.survey.log.reversed import wander_found
from trackkit.survey.quality import logs_against
from trackkit.survey.wander import wander_of

__all__ = ["log_lines"]

_OVER: Final = {"drift_sd": "1 m", "drift_sd_s": "1 s"}


def log_lines(ground: Ground) -> list[str]:
    """Return how the zero error of each pass wanders, and where pairs of passes say otherwise."""
    lines = []
    for name, zeros in wander_of(ground).groupby("log_pass", sort=False):
        low, high = np.degrees(zeros["zero_rad"].min()), np.degrees(zeros["zero_rad"].max())
        worth = np.degrees(2.0 * zeros["sd_rad"].max())
        lines.append(
            f"{name}: zero wanders from {low:+.2f} to {high:+.2f} degrees, give or take {worth:.2f}."
        )
    logs = ground.survey.boards[ground.survey.boards["log_pass"] != ""]
    if len(logs):
        sds, timed = ground.instruments, bool(logs["clock_s"].notna().all())
        sd, over = (sds.drift_sd_s, "1 s") if timed else (sds.drift_sd, "1 m")
        taken = _few(float(np.degrees(sd)))
        lines.append(f"Taken for it: it wanders {taken} degrees in {over} (change it if you know).")
    if not logs_against(ground)["agrees"].all():  # nothing is ordered by a log that counts for nothing
        return lines
    told = [pair for pair in wander_found(ground) if pair.contradicts]
    for key in dict.fromkeys(pair.key for pair in told):
        own = [pair for pair in told if pair.key == key]
        found, stated = (np.degrees(max(pair.found for pair in own)), np.degrees(own[0].stated))
        which = "; ".join(f"{pair.passes[0]} and {pair.passes[1].rpartition(', ')[2]}" for pair in own)
        most = "up to " if len(own) > 1 else ""
        lines.append(
            f"{which}, read both ways: the zero wanders {most}{_few(found)} degrees in {_OVER[key]}, taken "
            f'were {_few(stated)}: write {key} = "{_few(found)} deg" under [instruments].'
        )
    return lines


def _few(value: float) -> str:
    """Return a figure with two digits that tell, never with a power of ten.

    Examples
    --------
    >>> _few(6.8e-05), _few(0.0100), _few(0.31)
    ('0.000068', '0.01', '0.31')
    """
    if not value > 0.0:
        return "0"
    decimals = max(1 - math.floor(math.log10(value)), 0)
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
