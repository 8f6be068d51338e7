"""The least-fill line over many grounds at once rests on what it rests on over each of them alone."""

from __future__ import annotations

import numpy as np
import pytest

from trackkit.layout.straight import least_fill
from trackkit.layout.straight_many import least_fill_contacts


@pytest.mark.parametrize("limit", [0.005, 0.05, 0.5, (0.0, 0.02)])
@pytest.mark.parametrize("at_middle", [False, True])
@pytest.mark.parametrize("rounded", [False, True])
def test_contacts_are_those_of_each_ground_alone(limit, at_middle, rounded):
    rng = np.random.default_rng(5)
    for _ in range(12):
        n = int(rng.integers(1, 15))
        ties = np.sort(rng.uniform(-5, 20, n))
        if at_middle:  # a tie right over the mean station
            ties = np.sort(np.concatenate([ties, 2.0 * ties.mean() - ties, [ties.mean()]]))
        s = np.repeat(ties, 2)
        h = rng.normal(0, 0.1, (40, s.size)) + rng.normal(0, 0.05) * s
        if rounded:  # many points on one line
            h = np.round(h, 1)
        centre = float(s.mean())
        found = least_fill_contacts(s, h, limit=limit, centre=centre)
        for row, heights in zip(found, h, strict=True):
            alone = sorted(least_fill(s, heights, limit=limit, centre=centre).contacts)
            assert [one for one in row.tolist() if one >= 0] == alone


def test_points_on_one_side_of_the_centre_need_a_limit():
    heights = np.array([[0.0, 0.1], [0.2, 0.1]])
    assert least_fill_contacts([1.0, 2.0], heights, limit=0.5, centre=0.0).tolist() == [[0, -1], [0, -1]]
    with pytest.raises(ValueError, match="grade limit"):
        least_fill_contacts([1.0, 2.0], heights, limit=np.inf, centre=0.0)
