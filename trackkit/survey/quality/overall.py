"""Do the readings agree with each other as well as they were said to? One test of all of them."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from trackkit.survey.alone import Alone, readings_alone
from trackkit.survey.boards import LOGGED
from trackkit.survey.quality.rounding import chance_alike, coarsest_rounding

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["SURE", "OverallTest", "alone_of", "factor_limits", "overall_test"]

#: Share of cases in which limits hold what they are about (a choice).
SURE: Final = 0.95
#: Readings that scatter so little against what was stated are the same to the last figure (a choice).
ALIKE: Final = 0.01
#: ... which is told as strange where chance makes so many alike no oftener than this (a choice),
STRANGE: Final = 0.001
#: of so many pairs at least, one pair read alike being no news (a choice),
FEWEST_PAIRS: Final = 4
#: even in a crew that scatters by this much of what was stated (guess).
CAREFUL: Final = 0.5
#: What that means for what is told of heights.
_SO: Final = {
    "as well as stated": "",
    "worse than stated": ", so that give-or-takes here are too small, or some reading is wrong",
    "better than stated": ", so that give-or-takes here are on the safe side",
}


@dataclass(frozen=True)
class OverallTest:
    """The overall test.

    Attributes
    ----------
    chi2 : float
        Sum of squared residuals, each over its reading's stated variance.
    dof : int
        How many readings more there are than heights to find (what is known of zero errors beforehand counts
        as a reading each).
    factor : float
        What the readings scatter by over what was stated; NaN where no reading checks another.
    low, high : float
        The factor lies between them, 19 times in 20.
    verdict : str
        'as well as stated', 'worse than stated', 'better than stated' or 'cannot be tested'. Few readings
        that are the same because they were rounded agree as well as stated: nothing finer was booked.
    words : str
        The same as a sentence.
    """

    chi2: float
    dof: int
    factor: float
    low: float
    high: float
    verdict: str
    words: str


def alone_of(ground: Ground, without: Collection[str] = ()) -> Alone:
    """Return the readings of a fitted ground by themselves, each read point free; some may be left out.

    A phone's log is left out: its standard deviations come from its own scatter, nothing was stated of them.
    """
    table = ground.setting.observations.table
    keep = ~(table["reading"].isin(list(without)) | (table["kind"] == LOGGED)).to_numpy()
    return readings_alone(ground.setting, ground.fitted.posterior.sd, keep)


def factor_limits(factor: float, dof: float, share: float = SURE) -> tuple[float, float]:
    """Return the limits for the true factor when one was estimated from so many checks, by chi-square.

    Examples
    --------
    >>> low, high = factor_limits(1.0, 10.0)
    >>> round(low, 3), round(high, 3)
    (0.699, 1.755)
    """
    from scipy.special import chdtri

    most, least = chdtri(dof, (1.0 - share) / 2.0), chdtri(dof, (1.0 + share) / 2.0)
    return factor * float(np.sqrt(dof / most)), factor * float(np.sqrt(dof / least))


def overall_test(ground: Ground, *, without: Collection[str] = ()) -> OverallTest:
    """Return whether the readings agree with each other as well as was stated (global chi-square test).

    It is made from a fit in which every read point is free, so the ground's smoothness, which is itself
    estimated, is no witness. Two-sided, wrong in 1 survey of 20 whose readings are as stated.

    Parameters
    ----------
    ground : Ground
    without : collection of str
        Readings that are left out of it, such as those in doubt.

    References
    ----------
    C. D. Ghilani, *Adjustment Computations*, chapter on the goodness-of-fit test (from memory).
    """
    alone = alone_of(ground, without)
    nan = float("nan")
    if alone.dof < 1:
        words = "Whether the readings are as good as stated cannot be tested: no reading checks another."
        return OverallTest(0.0, 0, nan, nan, nan, "cannot be tested", words)
    factor = float(np.sqrt(alone.chi2 / alone.dof))
    low, high = factor_limits(factor, alone.dof)
    if factor < ALIKE:
        verdict, words = _alike(ground, alone.dof)
        return OverallTest(alone.chi2, alone.dof, factor, low, high, verdict, words)
    verdict = (
        "worse than stated" if low > 1.0 else "better than stated" if high < 1.0 else "as well as stated"
    )
    words = f"The readings agree with each other {verdict}: they scatter {factor:.2f} times what was stated"
    words += f" (between {low:.2f} and {high:.2f}, 19 times in 20){_SO[verdict]}."
    return OverallTest(alone.chi2, alone.dof, factor, low, high, verdict, words)


def _alike(ground: Ground, pairs: int) -> tuple[str, str]:
    """Return the verdict on so many checks that agree to the last figure, and the words for it."""
    chance = chance_alike(coarsest_rounding(ground) / CAREFUL) ** pairs
    if pairs >= FEWEST_PAIRS and chance <= STRANGE:
        words = "Readings that check each other agree to the last figure: were they copied, or made up?"
        return "better than stated", words
    again = (
        "1 reading was taken again, and is" if pairs == 1 else f"{pairs} readings were taken again, and are"
    )
    words = f"The readings agree with each other as well as stated: {again} the same, to what was booked."
    return "as well as stated", words
