"""The grounds of which the readings may be: how rough a ground is, a few readings tell only roughly.

A fit goes by the relief (stones and tussocks) that is likeliest. Where the readings are few, a ground with
half of it or with three times as much may be nearly as likely, and between the readings that matters:
whichever tie end is the highest on the smooth ground may be another one where there are stones. So chances
are averaged over several reliefs, each weighed by its likelihood (and by the same weak beliefs that the fit
goes by).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from trackkit.survey.fitting import find_roughness, fit_with
from trackkit.survey.ground import Ground
from trackkit.survey.roughness import RANGE, Roughness, unlikelihood

__all__ = ["checked_shares", "likely_grounds"]

#: Reliefs that are tried lie so many times apart: a choice, fine enough for the averages.
APART: Final = 2.0
#: Less relief is none to speak of [m]: guess. More is tried up to where the fit itself looks for it.
LEAST: Final = 1e-4
MOST: Final = RANGE["relief"][1]
#: Those less likely than the likeliest by this factor, and all beyond, are left out: a choice.
LEFT_OUT: Final = 1.0 / 50.0
#: From so many rows on, the readings tell the relief well enough; trying others would take long. A choice.
MANY: Final = 1000


def likely_grounds(ground: Ground) -> tuple[tuple[float, Ground], ...]:
    """Return the grounds of which the readings may be, with the chance of each.

    Each is fitted to the same readings with another relief, and with the waviness that is likeliest then.

    Parameters
    ----------
    ground : Ground
        As it was fitted.

    Returns
    -------
    tuple of (share, Ground)
        Shares add up to 1. Only the ground itself, with share 1, where its relief was stated, where the
        readings leave no other one likely, where nothing but pegs was read, and from 1,000 rows on.

    Notes
    -----
    Each keeps the factor by which the fit widens its covariances for an estimated roughness
    (`Ground.inflation`): here it stands for the waviness, which is taken as it is likeliest with each relief.
    Intervals are then about as wide as when waviness is averaged over too, and wider where hardly any reading
    is to spare.
    A standard deviation of rods that was estimated is kept as the fit found it.
    """
    if "relief" not in ground.roughness.estimated or ground.setting.observations.value.size > MANY:
        return ((1.0, ground),)
    first = max(ground.roughness.relief, LEAST)
    found = [_likeliest(ground, first)]
    for factor in (APART, 1.0 / APART):
        found += _onward(ground, first, factor, found[0])
    if len(found) == 1:
        return ((1.0, ground),)
    least = min(far for _, far in found)
    weights = np.array([math.exp(least - far) for _, far in found])
    order = np.argsort([rough.relief for rough, _ in found])
    return tuple((float(weights[i] / weights.sum()), _with(ground, found[i][0])) for i in order)


def _likeliest(ground: Ground, relief: float, near: Roughness | None = None) -> tuple[Roughness, float]:
    """Return the likeliest roughness with this relief, and how unlikely it is."""
    setting, fitted = ground.setting, ground.fitted
    stated = replace(setting.ground_type, relief=relief)
    rough = find_roughness(setting, fitted.model, stated, near or fitted.roughness)
    return rough, unlikelihood(fitted.model, setting.prior, rough, fitted.roughness.estimated)


def _onward(
    ground: Ground, relief: float, factor: float, first: tuple[Roughness, float]
) -> Iterator[tuple[Roughness, float]]:
    """Yield the roughness with ever more, or ever less, relief, until it is unlikely."""
    least, last = first[1], first[0]
    while LEAST <= (relief := relief * factor) <= MOST:
        last, far = _likeliest(ground, relief, last)
        if far > least - math.log(LEFT_OUT):
            return
        least = min(least, far)
        yield last, far


def _with(ground: Ground, rough: Roughness) -> Ground:
    return replace(ground, fitted=fit_with(ground.setting, ground.fitted.model, rough))


def checked_shares(likely: Sequence[tuple[float, Any]]) -> None:
    """Raise unless the shares of likely grounds are shares of 1.

    Parameters
    ----------
    likely : sequence of (share, ground)
        Empty where it is the fitted ground for certain.

    Raises
    ------
    ValueError
        If there are some and a share is not between 0 and 1, or they do not add up to 1 but for rounding.
    """
    shares = [float(share) for share, _ in likely]
    if not all(0.0 <= share <= 1.0 for share in shares):
        raise ValueError(f"the shares of likely grounds must lie between 0 and 1, got {shares}")
    if shares and not math.isclose(sum(shares), 1.0, abs_tol=1e-9):
        raise ValueError(f"the shares of likely grounds must add up to 1, got {sum(shares):g}")
