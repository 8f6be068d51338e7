"""The habits of building up: every height, limit, price and preference that the choice of stacks obeys.

Each field says where its default comes from. 'Common practice' means a trade habit for which no
source is known; 'guess' means just that. All of them can be changed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Final

__all__ = ["StackRules"]

_WALK_SIDES: Final = ("", "left", "right", "both")
_PIECE_COSTS: Final = {"pad": 0.9, "box": 1.0, "lumber": 1.2, "ply": 1.1, "wedge": 0.5, "shim": 0.6}
_FOOT_AREAS: Final = {"lawn": 0.052, "soft": 0.12}


@dataclass(frozen=True)
class StackRules:
    """How stacks are built. Lengths in metres, angles in radians, costs in 'one box handled'.

    Attributes
    ----------
    height_per_base : float
        A stack is at most so many times as high as its least base, counted above every layer with
        its closing piece at full height. 3: Ontario Building Code 9.15.2.3.(3), which says it of
        piers (height at most three times the least base dimension).
    caution_height, refuse_height : float
        From here a caution; above this no stack is planned. 0.45 m (18 in) and 0.60 m (24 in):
        common practice, no source.
    tall_stacks_taken_over : bool
        True only if a competent person has taken over what is higher than ``refuse_height``.
    touch : float
        A tie end within so much of the ground sits on it, and nothing goes under. Guess.
    snug : float
        What 'nothing' and shims leave open or lift at most. Guess.
    wedge_spare : float
        Travel kept in hand at both ends of a wedge's range; given up only where nothing else closes the
        gap, not even shims under the wedge. Guess; the doubt of the fill is priced on top of it, see
        ``change_cost``.
    single_up_to : float
        A single wedge is the common way up to about this height; a higher one costs
        ``tall_single_cost`` more. Common practice.
    max_shims : int
        Most shims in one place. Guess.
    friction : float
        Low bound of friction, wood on wood: a steeper wedge may creep out. Handbook figures run from
        0.2 to 0.6.
    bearing : float
        Width of a tie along the run where the fills don't say it. Guess.
    gauge : float
        Distance between the rails, for one piece under both tie ends. 0.62 m nominal: common practice.
    tie_overhang : float
        How far a tie end stands out beyond the rail's centre. Guess.
    walk_side : {'', 'left', 'right', 'both'}
        Where the person pushing walks: no wedge stands out there.
    slide_in : float
        A stack may be slid in under the tie, away from the walk side, by so much of its width, and along
        the run by so much of its length, or by a share of each: 1/6, within which no edge of a rectangular
        foot lifts (the kern, statics).
    edge_clear : float
        Room kept between a piece and a break or a zone where nothing may stand. 1/2 in (12.7 mm), for what
        tape and eye are off by: guess.
    foot_area : mapping of str to float
        Least area of the lowest piece by ground [m²]. Lawn 0.052 m²: 1.25 kN on 24 kPa, the figure
        for loam in the Chicago building code, 13-132-060(a) (archived); soft 0.12 m²: guess.
        Other ground: no limit.
    scrape_on : tuple of str
        Ground that may be scraped level under a stack. Common practice; ask who owns it.
    tilt_limit : float
        A stack that would lean more gets a seat. 2 degrees: guess.
    max_layers : int
        Most layers under one tie end, closing piece not counted. Guess.
    max_of_kind : mapping of str to int
        Most pieces of one kind in a stack. Guess.
    edge_ratio : float
        Lumber stands on edge only up to this height over thickness. A 2x4 is 2.33, a 1x4 4.67. Guess.
    crossed_from : float
        From this height on, cribs of two lumber pieces a layer, crossed, are considered. Guess.
    long_lumber : bool
        Whether one long piece may carry both ends of a tie. It must be longer than gauge plus two
        bearings.
    long_lumber_difference : float
        ... if the fills at the two ends differ by no more than this. Guess.
    piece_cost : mapping of str to float
        Price of handling one piece, by kind. Guess.
    on_edge_cost, pair_cost, tall_single_cost, layer_cost, seat_cost : float
        On top: a piece on edge; a pair instead of a single; a single above ``single_up_to``; times
        the square of the layers beyond the first; a wedge or scraping under a stack. Guess.
    small_foot_cost : float
        Price of a foot smaller than ``foot_area`` asks for, considered only where the fill is too low
        for such a foot and a wedge on it. 4: as a stack that must be rebuilt 2 times in 3; guess.
    change_cost : float
        Price of a stack that must be rebuilt on the day, times its chance. 6: three pieces taken out and
        three put in; guess.
    chance_bands : tuple of float
        The chance is priced in steps: up to the first figure nothing, then each step at its upper
        figure. Guess.
    alike_worth : float
        What it is worth that a support between corners takes the same stack as its neighbour. Guess.
    build_sd : float
        Give or take of a built stack (boxes run up to 3 mm off, turf gives), added to the fill's. Guess.
    wheel_load : float
        Load of one wheel truck [N], for the sag of a support left bare. A quarter of 500 kg: guess.
    rail_stiffness : float
        E·I of a rail [N m²]: a steel pipe of 1.90 in with 0.145 in wall, 200 GPa × 1.29e-7 m⁴. Guess:
        put in your own rail's.
    time_limit : float
        The choice stops after this time [s] and gives the best so far with its proven bound. Guess.
    """

    height_per_base: float = 3.0
    caution_height: float = 0.45
    refuse_height: float = 0.60
    tall_stacks_taken_over: bool = False
    touch: float = 0.003
    snug: float = 0.001
    wedge_spare: float = 0.001
    single_up_to: float = 0.030
    max_shims: int = 3
    friction: float = 0.2
    bearing: float = 0.06
    gauge: float = 0.62
    tie_overhang: float = 0.05
    walk_side: str = ""
    slide_in: float = 1.0 / 6.0
    edge_clear: float = 0.0127
    foot_area: Mapping[str, float] = field(default_factory=lambda: dict(_FOOT_AREAS))
    scrape_on: tuple[str, ...] = ("lawn", "soft", "gravel")
    tilt_limit: float = math.radians(2.0)
    max_layers: int = 6
    max_of_kind: Mapping[str, int] = field(
        default_factory=lambda: {"pad": 1, "box": 5, "lumber": 3, "ply": 2, "edge": 1, "crossed": 5}
    )
    edge_ratio: float = 3.0
    crossed_from: float = 0.30
    long_lumber: bool = True
    long_lumber_difference: float = 0.012
    piece_cost: Mapping[str, float] = field(default_factory=lambda: dict(_PIECE_COSTS))
    on_edge_cost: float = 0.6
    pair_cost: float = 0.8
    tall_single_cost: float = 1.4
    layer_cost: float = 0.1
    small_foot_cost: float = 4.0
    seat_cost: float = 0.8
    change_cost: float = 6.0
    chance_bands: tuple[float, ...] = (0.02, 0.1, 0.25, 0.5, 1.0)
    alike_worth: float = 0.3
    build_sd: float = 0.0015
    wheel_load: float = 1226.0
    rail_stiffness: float = 25800.0
    time_limit: float = 20.0

    def __post_init__(self) -> None:
        if self.walk_side not in _WALK_SIDES:
            raise ValueError(f"walk_side must be one of {_WALK_SIDES}; got {self.walk_side!r}")
        for each in fields(self):
            value = getattr(self, each.name)
            if isinstance(value, (int, float)) and not (math.isfinite(value) and value >= 0):
                raise ValueError(f"{each.name} must be a finite number, not negative; got {value!r}")
        bands = self.chance_bands
        if not bands or bands[-1] != 1.0 or list(bands) != sorted(set(bands)) or bands[0] <= 0:
            raise ValueError(f"chance_bands must rise from above 0 to 1; got {bands!r}")
        if self.refuse_height < self.caution_height:
            raise ValueError(
                f"refuse_height must not be below caution_height; got {self.refuse_height} m "
                f"and {self.caution_height} m"
            )

    def least_foot(self, ground: str) -> float:
        """Return the least area of a lowest piece on this ground [m²]; 0 where any will do."""
        return self.foot_area.get(ground, 0.0)

    def is_narrow(self, across: float) -> bool:
        """Return whether a layer so wide across the run tips under a wedge from outside.

        A single wedge bears on its thick side, at the tie's end: a layer under the rail whose edge does not
        reach there turns over it (statics). A board lying flat can be set out to there, one on its edge
        stands no better for it.
        """
        return self.tie_overhang - across / 2.0 > across / 6.0

    def set_out(self, across: float) -> float:
        """Return how far out from the rail a layer so wide must lie for a wedge from outside to bear on it.

        The tie's end is over its middle third then; 0 if it reaches there where it is.
        """
        return self.tie_overhang - across / 6.0 if across / 2.0 < self.tie_overhang else 0.0

    @property
    def top(self) -> float:
        """The highest fill that is planned [m]."""
        return math.inf if self.tall_stacks_taken_over else self.refuse_height
