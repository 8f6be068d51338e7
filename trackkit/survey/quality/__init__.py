"""How good a survey is: what its readings say of each other, and what would not be noticed in it.

- `booking`: the plain height-of-instrument booking of the rods, with its arithmetic checks.
- `closures`: what leads back to where it began, and by how much it misses.
- `overall`: do all readings together agree as well as was stated?
- `components`: the same for each kind of reading, and whether laser and phone contradict each other.
- `readers`: who reads high, and by how much.
- `knocked`: a laser that was moved between two readings.
- `detectable`: how large an error of each reading must be to be noticed, and what one that is not would do
  to heights.
"""

from __future__ import annotations

from trackkit.survey.quality.booking import Booking, book_levels
from trackkit.survey.quality.closures import closures
from trackkit.survey.quality.components import Conflict, laser_against_phone, variance_components
from trackkit.survey.quality.detectable import detectable_errors, influence, least_noticed
from trackkit.survey.quality.knocked import knocked_lasers
from trackkit.survey.quality.overall import OverallTest, overall_test
from trackkit.survey.quality.readers import Readers, compare_readers

__all__ = [
    "Booking",
    "Conflict",
    "OverallTest",
    "Readers",
    "book_levels",
    "closures",
    "compare_readers",
    "detectable_errors",
    "influence",
    "knocked_lasers",
    "laser_against_phone",
    "least_noticed",
    "overall_test",
    "variance_components",
]
