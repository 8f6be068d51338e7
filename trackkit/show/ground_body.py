"""The ground as a body: light earth, hatched under its surface, with the band it may be in."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from trackkit.show.style import PAPER, STYLE

if TYPE_CHECKING:
    from trackkit.show.pen import Pen
    from trackkit.show.scene import Scene

__all__ = ["draw_ground"]


def draw_ground(pen: Pen, scene: Scene, *, floor: float, scale: float, inches: tuple[float, float]) -> None:
    """Draw body, hatching, surface and doubt (2 sd each way).

    Parameters
    ----------
    pen : Pen
    scene : Scene
    floor : float
        Where the body ends, in units of the height axis.
    scale : float
        Units of the height axis in a metre.
    inches : tuple of float
        Inches of paper in a unit of the station axis and of the height axis.
    """
    side, stations, mean = scene.side, scene.stations, scene.mean * scale
    low, high = (scene.mean - 2 * scene.sd) * scale, (scene.mean + 2 * scene.sd) * scale
    pen.band(f"{side}-ground-body", stations, floor, mean, **STYLE["ground"])
    across, up = inches
    ends = np.arange(scene.ends[0], scene.ends[1], PAPER["bunch"] / across)
    starts = (ends[:, None] + np.arange(3) * PAPER["strokes"] / across).ravel()
    surface = np.interp(starts, stations, mean)
    feet = np.column_stack([starts - PAPER["stroke"] / across, surface - PAPER["stroke"] / up])
    strokes = np.stack([np.column_stack([starts, surface]), feet], axis=1)
    pen.strokes(f"{side}-earth", strokes, **STYLE["earth"])
    pen.band(f"{side}-doubt", stations, low, high, **STYLE["doubt"])
    for name, edge in (("low", low), ("high", high)):
        pen.line(f"{side}-doubt-{name}", stations, edge, **STYLE["doubt edge"])
    pen.line(f"{side}-ground", stations, mean, **STYLE["surface"])
