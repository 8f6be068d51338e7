"""All pictures, one figure a question: data in, axes in and out.

Called again on axes that hold a picture already, each of them changes it to show the new data.
"""

from __future__ import annotations

from trackkit.show.above import draw_above
from trackkit.show.along import draw_along
from trackkit.show.bars import draw_fills, draw_governing
from trackkit.show.change import draw_change
from trackkit.show.checks import draw_profile, draw_residuals
from trackkit.show.closeup import draw_stack
from trackkit.show.largest import draw_largest
from trackkit.show.side import draw_side, side_view

__all__ = [
    "draw_above",
    "draw_along",
    "draw_change",
    "draw_fills",
    "draw_governing",
    "draw_largest",
    "draw_profile",
    "draw_residuals",
    "draw_side",
    "draw_stack",
    "side_view",
]
