"""What a shot asks of the track: its marks, the chassis, and the room before and behind them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from trackkit.units import DISPLAYS, Display

__all__ = ["LayRules", "Shot"]


@dataclass(frozen=True)
class Shot:
    """Camera positions and the room the dolly and its crew need around them.

    Attributes
    ----------
    end_mark, start_mark : float
        Stations of the last and the first camera position [m].
    chassis : float
        From the camera to the last wheel at the far end of the chassis [m], the camera standing
        over the chassis's other end. 1.2 m (about 4 ft): common practice, no source.
    chassis_trails : {'behind', 'ahead'}
        Which way the chassis reaches from the camera: behind it, towards the head, or ahead.
    chassis_lead : float
        How far wheels reach beyond the camera on its other side [m]. 0: the camera stands over
        the end of the chassis (guess; measure it when the camera sits further in).
    pusher : float
        Track wanted under or beside the person who pushes, behind the trailing end [m].
        0: they stand beyond the end of the track (guess).
    run_up, overrun : float
        Travel before the start mark to get up to speed, and behind the end mark to stop [m].
        0: the shot starts and ends at rest.
    end_stop : float
        Length that the stop takes at each end [m]. 0.15 m: guess.
    """

    end_mark: float
    start_mark: float = 0.0
    chassis: float = 1.2
    chassis_trails: Literal["behind", "ahead"] = "behind"
    chassis_lead: float = 0.0
    pusher: float = 0.0
    run_up: float = 0.0
    overrun: float = 0.0
    end_stop: float = 0.15

    def __post_init__(self) -> None:
        if not self.end_mark >= self.start_mark:
            raise ValueError(
                f"end_mark must not lie before start_mark: stations count towards the end mark, "
                f"got start {self.start_mark:g} m, end {self.end_mark:g} m"
            )
        if self.chassis_trails not in ("behind", "ahead"):
            raise ValueError(f"chassis_trails must be 'behind' or 'ahead', got {self.chassis_trails!r}")
        for what in ("chassis", "chassis_lead", "pusher", "run_up", "overrun", "end_stop"):
            value = getattr(self, what)
            if not (math.isfinite(value) and value >= 0):
                raise ValueError(f"{what} must be 0 m or more, got {value}")

    def wheels(self) -> tuple[float, float]:
        """Return the stations between which wheels stand or roll while the shot runs [m]."""
        behind, ahead = self.chassis, self.chassis_lead
        if self.chassis_trails == "ahead":
            behind, ahead = ahead, behind
        return self.start_mark - behind, self.end_mark + ahead

    def span(self) -> tuple[float, float]:
        """Return the stations that the track has to reach at its head and its tail [m].

        Examples
        --------
        >>> Shot(end_mark=6.0, run_up=0.5).span()
        (-1.85, 6.15)
        """
        low, high = self.wheels()
        low -= self.run_up + self.end_stop
        high += self.overrun + self.end_stop
        if self.chassis_trails == "behind":
            return low - self.pusher, high
        return low, high + self.pusher

    def turned(self) -> Shot:
        """Return the same shot with the chassis trailing at the other end."""
        return replace(self, chassis_trails="ahead" if self.chassis_trails == "behind" else "behind")

    def breakdown(self, display: Display = DISPLAYS["mm"]) -> str:
        """Return what the needed length is made of, in words."""
        parts = {
            "shot": self.end_mark - self.start_mark,
            "chassis": self.chassis + self.chassis_lead,
            "pusher": self.pusher,
            "run-up": self.run_up,
            "overrun": self.overrun,
            "end stops": 2 * self.end_stop,
        }
        return " + ".join(f"{name} {display.long(value)}" for name, value in parts.items() if value > 0)


@dataclass(frozen=True)
class LayRules:
    """Habits of laying, all of them to be changed where yours differ.

    Attributes
    ----------
    half_box : float
        Half the length along the run of what stands under a tie [m]. 0.254 m, half of a 20 in
        box: common practice, no source.
    half_width : float
        Half the width of what stands under a tie [m], for breaks that slant. 0.1524 m, half of a 12 in
        box: common practice, no source.
    joint_box : float
        Length of the box that carries both ties at a joint [m]; the ties share a support when
        their outer edges are no further apart. 0.508 m (20 in): common practice, no source.
    gauge_tolerance : float
        Gauges further apart than this are mixed [m]. 3 mm, since 62 cm and 24 1/2 in, 2.3 mm
        apart, count as one: common practice, no source.
    surplus : {'tail', 'head', 'split'}
        Where track over what is needed lies. At the tail it gives room to stop (guess).
    """

    half_box: float = 0.254
    half_width: float = 0.1524
    joint_box: float = 0.508
    gauge_tolerance: float = 0.003
    surplus: Literal["tail", "head", "split"] = "tail"

    def __post_init__(self) -> None:
        if self.surplus not in ("tail", "head", "split"):
            raise ValueError(f"surplus must be 'tail', 'head' or 'split', got {self.surplus!r}")
        for what in ("half_box", "half_width", "joint_box", "gauge_tolerance"):
            if not getattr(self, what) >= 0:
                raise ValueError(f"{what} must be 0 m or more, got {getattr(self, what)}")
