"""Where a stack stands: by its lowest piece, not by the tie on it."""

import numpy as np
import pytest

from trackkit.cribbing import stands_clear


@pytest.mark.parametrize(
    ("station", "clear"), [(1.70, True), (1.76, False), (2.2, False), (2.64, False), (2.65, True)]
)
def test_a_box_stands_clear_only_with_its_ends(station, clear):
    """A box 0.5 m long reaches 0.25 m to either side of its middle (geometry)."""
    assert bool(stands_clear(station, 0.25, 2.0, 2.4)) is clear


def test_a_box_over_a_stretch_shorter_than_itself_is_not_clear():
    assert not stands_clear(2.0, 0.25, 1.95, 2.05)


def test_many_stations_and_a_stretch_written_backwards():
    assert stands_clear(np.array([1.0, 2.0]), 0.25, 2.4, 2.0).tolist() == [True, False]


def test_a_negative_length_is_refused():
    with pytest.raises(ValueError, match="half_length must not be negative"):
        stands_clear(1.0, -0.1, 0.0, 1.0)
