"""Every colour, width and hatch of the pictures; meaning is carried by shape or hatch as well.

The colours are grey but for two of the Okabe-Ito set (M. Okabe, K. Ito, *Color Universal Design*,
2008; from memory), which colour-blind people tell apart: blue for doubt, vermilion for what is wrong.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

__all__ = ["INK", "STYLE"]

INK: Final = "#1a1a1a"

#: Keywords for matplotlib by what is drawn.
STYLE: Final[Mapping[str, dict[str, Any]]] = {
    "page": {"facecolor": "#ffffff"},
    "ground": {
        "facecolor": "#ece8e1",
        "edgecolor": "#9a917f",
        "hatch": "////",
        "linewidth": 0.0,
        "zorder": 1.0,
    },
    "surface": {"color": "#5c5342", "linewidth": 1.3, "zorder": 3.0},
    "doubt": {"facecolor": "#0072b2", "alpha": 0.22, "linewidth": 0.0, "zorder": 2.0},
    "doubt edge": {"color": "#0072b2", "linewidth": 0.8, "linestyle": (0, (4, 2)), "zorder": 2.1},
    "line": {"color": INK, "linewidth": 1.8, "zorder": 6.0},
    "rail": {"color": INK, "linewidth": 0.8, "zorder": 6.0},
    "tie": {"facecolor": "#4d4d4d", "edgecolor": INK, "linewidth": 0.6, "zorder": 6.5},
    "box": {"facecolor": "#ffffff", "edgecolor": INK, "linewidth": 0.9, "zorder": 4.0},
    "lumber": {"facecolor": "#f3ead7", "edgecolor": INK, "linewidth": 0.8, "zorder": 4.0},
    "grain": {"color": "#8a7a55", "linewidth": 0.5, "zorder": 4.1},
    "ply": {"facecolor": "#8c8c8c", "edgecolor": INK, "linewidth": 0.6, "zorder": 4.0},
    "pad": {"facecolor": "#5e5e5e", "edgecolor": INK, "linewidth": 0.6, "zorder": 4.0},
    "wedge": {"facecolor": "#ffffff", "edgecolor": INK, "linewidth": 0.9, "zorder": 4.5},
    "shim": {"facecolor": INK, "edgecolor": INK, "linewidth": 0.4, "zorder": 4.5},
    "missing": {"facecolor": "none", "edgecolor": "#d55e00", "linewidth": 1.4, "hatch": "xx", "zorder": 5.0},
    "negative": {
        "facecolor": "#000000",
        "edgecolor": "#ffffff",
        "hatch": "////",
        "linewidth": 0.0,
        "zorder": 7.0,
    },
    "mark": {"color": "#5f5f5f", "linewidth": 0.8, "linestyle": (0, (6, 3)), "zorder": 0.5},
    "joint": {"color": "#8a8a8a", "linewidth": 0.6, "linestyle": ":", "zorder": 0.5},
    "break": {"color": "#d55e00", "linewidth": 1.2, "linestyle": (0, (1, 1.5)), "zorder": 5.5},
    "height mark": {
        "marker": "v",
        "markersize": 9,
        "markeredgecolor": INK,
        "markeredgewidth": 1.0,
        "zorder": 8.0,
    },
}
