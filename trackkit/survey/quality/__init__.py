"""How good a survey is: what its readings say of each other, what may be wrong, and what to read next.

- `booking`: the plain height-of-instrument booking of the rods, with its arithmetic checks.
- `closures`: what leads back to where it began, and by how much it misses.
- `overall`: do all readings together agree as well as was stated?
  `rounding`: what they were booked to, and how often that alone makes two of them the same.
- `components`: the same for each kind of reading, and whether laser and phone contradict each other.
- `readers`: who reads high, and by how much.
- `knocked`: a laser that was moved between two readings.
- `logs_against`: a phone's log against all other readings.
- `mistakes`: what may have gone wrong with a reading in doubt; `slips` are the ways, `joint` tries them.
- `detectable`: how large an error of each reading must be to be noticed, and what one that is not would do
  to heights.
- `next_reading`: the readings that would help most.
- `order`, `design`: before any reading, in which order to take them, and what they will be worth.
"""

from __future__ import annotations

from trackkit.survey.quality.booking import Booking, book_levels
from trackkit.survey.quality.closures import closures
from trackkit.survey.quality.components import Conflict, laser_against_phone, variance_components
from trackkit.survey.quality.design import Worth, planned_ground, planned_readings, survey_worth, worth_table
from trackkit.survey.quality.detectable import detectable_errors, influence, least_noticed, unnoticed_effects
from trackkit.survey.quality.knocked import knocked_lasers
from trackkit.survey.quality.logs_against import logs_against
from trackkit.survey.quality.mistakes import Change, Mistake, corrected, likely_mistakes
from trackkit.survey.quality.next_reading import NextReadings, Possible, next_readings, possible_readings
from trackkit.survey.quality.order import reading_order
from trackkit.survey.quality.overall import OverallTest, overall_test
from trackkit.survey.quality.readers import Readers, compare_readers

__all__ = [
    "Booking",
    "Change",
    "Conflict",
    "Mistake",
    "NextReadings",
    "OverallTest",
    "Possible",
    "Readers",
    "Worth",
    "book_levels",
    "closures",
    "compare_readers",
    "corrected",
    "detectable_errors",
    "influence",
    "knocked_lasers",
    "laser_against_phone",
    "least_noticed",
    "likely_mistakes",
    "logs_against",
    "next_readings",
    "overall_test",
    "planned_ground",
    "planned_readings",
    "possible_readings",
    "reading_order",
    "survey_worth",
    "unnoticed_effects",
    "variance_components",
    "worth_table",
]
