"""One instrument's standard deviation from the readings themselves, when that is asked for.

Each reading's residual, squared and over its variance, is on average its redundancy. So the sum of
the first over a kind of readings must equal the sum of the second; the standard deviation is changed
until it does (W. Förstner, "Ein Verfahren zur Schätzung von Varianz- und Kovarianzkomponenten", AVN 86,
1979; from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from trackkit.problems import FitError
from trackkit.survey.instruments import Instruments
from trackkit.survey.readings import Survey

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["CAN_BE_ESTIMATED", "LEAST_CHECKS", "estimate_sd"]

#: What can be estimated, and what to call it.
CAN_BE_ESTIMATED: Final[Mapping[str, str]] = {"rod_sd": "rod readings", "angle_sd": "angles"}
#: So much redundancy of the readings is needed: a standard deviation from 10 is good to about a fifth.
LEAST_CHECKS: Final = 10.0
#: It is looked for within this factor of what was stated.
WITHIN: Final = 20.0
_AGREED: Final = 0.002
_TURNS: Final = 60


def estimate_sd(
    fit: Callable[[Instruments], Ground], stated: Instruments, name: str, survey: Survey
) -> Ground:
    """Return the ground fitted with a standard deviation that agrees with its residuals.

    Parameters
    ----------
    fit : callable
        From standard deviations to a ground.
    stated : Instruments
        Where to start; all others are kept.
    name : {'rod_sd', 'angle_sd'}
        What to estimate, for readings that have no standard deviation of their own.
    survey : Survey

    Raises
    ------
    FitError
        If fewer than `LEAST_CHECKS` readings of the kind are to spare, or no value agrees.
    ValueError
        For another name.
    """
    if name not in CAN_BE_ESTIMATED:
        raise ValueError(f"estimate must be one of {', '.join(CAN_BE_ESTIMATED)}, got {name!r}")
    start = float(getattr(stated, name))
    ground = fit(stated)
    own = _concerned(ground, survey, name, stated)
    checks = float(ground.residuals.loc[own, "redundancy_readings"].sum())
    if checks < LEAST_CHECKS:
        raise FitError(
            f"{name} cannot be estimated: the {CAN_BE_ESTIMATED[name]} check each other only {checks:.0f} "
            f"times over, {LEAST_CHECKS:.0f} are needed; state it in [instruments], or read points again"
        )
    value = start
    for _ in range(_TURNS):
        table = ground.residuals[own]
        usual = float(((table["residual_m"] / table["sd_m"]) ** 2).sum() / table["redundancy"].sum())
        if abs(np.sqrt(usual) - 1.0) <= _AGREED:
            behind = np.full(ground.setting.observations.value.size, np.inf)
            counts = ground.setting.observations.table["counts"].to_numpy(dtype=bool)
            behind[np.flatnonzero(counts)[own]] = table["redundancy_readings"].sum()
            return replace(ground, estimated=name, sd_checks=behind)
        value *= float(np.sqrt(usual))
        if not start / WITHIN <= value <= start * WITHIN:
            break
        changed: dict[str, Any] = {name: value}
        ground = fit(replace(stated, **changed))
    raise FitError(f"{name} cannot be estimated from these readings: no value fits them; state it")


def _concerned(ground: Ground, survey: Survey, name: str, stated: Instruments) -> NDArray[np.bool_]:
    """Return which rows of the residual table have this standard deviation."""
    table = ground.residuals
    if name == "rod_sd":
        rods = survey.levels
        known = set(rods.loc[rods["sd_m"].notna(), "reading"])
        kinds = table["kind"].isin(["rod", "rod on peg"])
        # at an offset that was read again; one that was read once has the doubt of the crown in it
        again = (table["kind"] == "rod at offset") & np.isclose(table["sd_m"], ground.instruments.rod_sd)
        return ((kinds | again) & ~table["reading"].isin(known)).to_numpy()
    free: set[str] = set()
    for angles in (survey.boards, survey.crosslevels):
        own = angles["angle_rad"].notna() & angles["sd_rad"].isna()
        free |= set(angles.loc[own & ~angles["instrument"].isin(list(stated.angle_sds)), "reading"])
    return table["reading"].isin(free).to_numpy()
