"""How far a single reading can be off, and the checks that find out.

- `sds`: the standard deviations of single readings, with where each default comes from.
- `level`: a level's line of sight (two pegs, any geometry), a rotating laser (turned by half, or four ways).
- `phone`: the zero error of a phone or digital level, from pairs read both ways.
- `rod`: two rods against each other, and a rod that leans.
- `repeat`: readings taken again and again, against the standard deviation that is stated.
- `verdict`: what every check returns: value, standard deviation, limit with its source, and what to do.
"""

from __future__ import annotations

from trackkit.survey.instruments.level import PlaneTilt, half_turn, plane_tilt, two_pegs
from trackkit.survey.instruments.phone import PhoneCheck, reversal
from trackkit.survey.instruments.repeat import Repeated, repeatability
from trackkit.survey.instruments.rod import lean_for, read_high, rod_zero
from trackkit.survey.instruments.sds import BASIS, Instruments
from trackkit.survey.instruments.verdict import InstrumentCheck

__all__ = [
    "BASIS",
    "InstrumentCheck",
    "Instruments",
    "PhoneCheck",
    "PlaneTilt",
    "Repeated",
    "half_turn",
    "lean_for",
    "plane_tilt",
    "read_high",
    "repeatability",
    "reversal",
    "rod_zero",
    "two_pegs",
]
