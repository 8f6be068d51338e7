"""Which of several heights is the highest, before and after readings, over the grounds that are likely."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trackkit.study.contest import Contest, Likely, draw
from trackkit.study.exact import exact_governs
from trackkit.survey.quality.foreseen import Foreseen

__all__ = ["Apart", "chance_wrong", "given", "highest_chances"]

Array = NDArray[np.float64]

#: Draws of what readings may find, and of the heights that are possible then.
OUTER: Final = 300
INNER: Final = 1000
#: Grounds that readings leave less likely than this are ruled out.
_NEVER: Final = 1e-6


@dataclass(frozen=True, eq=False)
class Apart:
    """How far others lie above the one taken for the highest, over one of the likely grounds.

    Attributes
    ----------
    share : float
        Chance that this is the ground.
    above : array, shape (m,)
        Expected heights of the others above that one [m].
    foreseen : Foreseen
        Their covariance as the survey stands, and what readings would find and say of them.
    stays : array, shape (m, m)
        Covariance of them that no reading lowers [m²].
    """

    share: float
    above: Array
    foreseen: Foreseen
    stays: Array


def given(grounds: Sequence[Apart], readings: Array) -> list[Apart]:
    """Return the grounds once the readings have found that: what they find tells which is likelier, too."""
    logs = np.array([math.log(one.share) + float(one.foreseen.log_likelihood(readings)) for one in grounds])
    shares = np.exp(logs - logs.max()) / np.exp(logs - logs.max()).sum()
    none = np.zeros(0)
    found = [
        replace(
            one, share=float(share), above=one.above + one.foreseen.shift(readings),
            foreseen=Foreseen(one.foreseen.after, none, np.zeros((0, 0)), np.zeros((one.above.size, 0))),
        )
        for share, one in zip(shares, grounds, strict=True) if share > _NEVER
    ]  # fmt: skip
    whole = sum(one.share for one in found)
    return [replace(one, share=one.share / whole) for one in found]


def highest_chances(grounds: Sequence[Apart]) -> Array:
    """Return the chance of each to be the highest, the likeliest's height taken for 0."""
    size = grounds[0].above.size + 1
    likely = []
    for one in grounds:
        covariance = np.zeros((size, size))
        covariance[1:, 1:] = one.foreseen.spread + one.stays
        likely.append(Likely(one.share, np.append(0.0, one.above), covariance))
    first = likely[0]
    contest = Contest(
        first.mean, first.covariance, size, size, np.zeros(size), np.arange(size), np.zeros(size),
        tuple(likely),
    )  # fmt: skip
    exact = exact_governs(contest)
    if exact is not None:
        return exact.chances
    heights = draw(contest, 10_000, 1).heights
    return np.asarray(np.bincount(heights.argmax(axis=0), minlength=size) / heights.shape[1])


def chance_wrong(grounds: Sequence[Apart], seed: int = 1) -> float:
    """Return the chance that another is the highest than the one taken for it once the readings are taken.

    On average over what they find: a ground is drawn by its share, then what they find there.
    """
    rng = np.random.default_rng(seed)
    shares = np.array([one.share for one in grounds])
    counts = np.round(np.diff(np.append(0.0, np.cumsum(shares)) * OUTER)).astype(int)
    readings = []
    for one, count in zip(grounds, counts, strict=True):
        values, vectors = np.linalg.eigh(one.foreseen.found)
        root = vectors * np.sqrt(np.maximum(values, 0.0))
        readings.append(one.foreseen.expected + rng.standard_normal((count, len(root))) @ root.T)
    seen = np.concatenate(readings)
    logs = np.log(shares) + np.column_stack([one.foreseen.log_likelihood(seen) for one in grounds])
    weights = np.exp(logs - logs.max(axis=1, keepdims=True))
    weights /= weights.sum(axis=1, keepdims=True)
    size = grounds[0].above.size
    normals = rng.standard_normal((INNER, size))
    chances = np.zeros((len(seen), size + 1))
    for weight, one in zip(weights.T, grounds, strict=True):
        values, vectors = np.linalg.eigh(one.foreseen.after + one.stays)
        inner = normals @ (vectors * np.sqrt(np.maximum(values, 0.0))).T
        heights = one.above + one.foreseen.shift(seen)[:, None, :] + inner[None, :, :]
        highest = np.where(heights.max(axis=2) > 0.0, heights.argmax(axis=2) + 1, 0)
        chances += weight[:, None] * np.stack(
            [(highest == end).mean(axis=1) for end in range(size + 1)], axis=1
        )
    return float(1.0 - chances.max(axis=1).mean())
