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


def same_as_loops(found, loops):
    """Fail unless the work is that of loops: lifts, lifted, slid, placing, again, too_high; by draw last."""
    names = ("lifts", "lifted", "slid", "placing", "again", "too_high")
    for name, values in zip(names, loops.mean(axis=3), strict=True):
        np.testing.assert_allclose(getattr(found, name), values, rtol=1e-12, err_msg=name)
    np.testing.assert_allclose(found.minutes, loops[3] + loops[4], rtol=1e-12)
    np.testing.assert_array_equal(found.stays, (loops[0] == 0).mean(axis=2))
