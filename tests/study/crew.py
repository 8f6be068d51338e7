"""A crew's work over ties 1 m apart, for tests: by default one end each, without pieces."""

from __future__ import annotations

import numpy as np

from trackkit.study.wrong_start import Pace, expected_work

PACE = Pace(level=3.0, restack=4.0, slide=1.0, piece=0.5, reset=5.0)


def work(drawn, starts, spares, **more):
    """Return the work, with anything else as `expected_work` takes it."""
    n = np.shape(drawn)[1]
    given = {"support": np.arange(n), "stations": np.arange(n, dtype=float), "gap": 0.010, "touch": 0.0}
    return expected_work(drawn, starts, spares, **(given | {"pace": PACE} | more))
