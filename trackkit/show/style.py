"""Every colour, width, hatch and letter of the pictures; meaning is carried by shape or hatch as well.

The colours are grey but for two of the Okabe-Ito set (M. Okabe, K. Ito, *Color Universal Design*,
2008; from memory), which colour-blind people tell apart: blue for doubt, vermilion for what is wrong.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

__all__ = ["FIGURE_STEPS", "INK", "PAPER", "STYLE"]

INK: Final = "#1a1a1a"
_PAGE: Final = "#ffffff"
_WRONG: Final = "#d55e00"
_TEXT: Final[dict[str, Any]] = {"color": INK, "parse_math": False}

#: Keywords for matplotlib by what is drawn.
STYLE: Final[Mapping[str, dict[str, Any]]] = {
    "page": {"facecolor": _PAGE},
    # the ground
    "ground": {"facecolor": "#f1eee8", "edgecolor": "none", "linewidth": 0.0, "zorder": 1.0},
    "earth": {"color": "#7d735f", "linewidth": 0.7, "zorder": 1.5},
    "surface": {"color": "#4a4234", "linewidth": 1.5, "zorder": 3.0},
    "doubt": {"facecolor": "#0072b2", "alpha": 0.22, "linewidth": 0.0, "zorder": 2.0},
    "doubt edge": {"color": "#0072b2", "linewidth": 0.9, "linestyle": (0, (4, 2)), "zorder": 2.1},
    # the track
    "line": {"color": INK, "linewidth": 2.0, "solid_capstyle": "butt", "zorder": 6.0},
    "rail": {"color": INK, "linewidth": 1.2, "solid_capstyle": "butt", "zorder": 6.0},
    "tie": {"facecolor": "#c9c9c9", "edgecolor": INK, "linewidth": 0.7, "zorder": 5.8},
    # what stands under it
    "box": {"facecolor": _PAGE, "edgecolor": INK, "linewidth": 0.9, "zorder": 4.0},
    "lumber": {"facecolor": "#f3ead7", "edgecolor": INK, "linewidth": 0.8, "zorder": 4.0},
    "lumber end": {"facecolor": "#f3ead7", "edgecolor": INK, "linewidth": 0.8, "zorder": 4.0},
    "grain": {"color": "#6f6142", "linewidth": 0.6, "zorder": 4.1},
    "ply": {"facecolor": "#8c8c8c", "edgecolor": INK, "linewidth": 0.7, "zorder": 4.0},
    "pad": {"facecolor": _PAGE, "edgecolor": INK, "hatch": "xxxxxx", "linewidth": 0.8, "zorder": 4.0},
    "shim": {"facecolor": _PAGE, "edgecolor": INK, "hatch": "||||||", "linewidth": 0.8, "zorder": 4.5},
    "wedge": {"facecolor": _PAGE, "edgecolor": INK, "linewidth": 0.9, "zorder": 4.5},
    "pair": {"facecolor": _PAGE, "edgecolor": INK, "linewidth": 0.9, "zorder": 4.5},
    "seat": {"facecolor": _PAGE, "edgecolor": INK, "hatch": "+++++", "linewidth": 0.7, "zorder": 3.8},
    "fill": {"facecolor": "#dedede", "edgecolor": INK, "linewidth": 0.8, "zorder": 4.0},
    # what is wrong
    "missing": {"facecolor": "none", "edgecolor": _WRONG, "hatch": "xx", "linewidth": 1.6, "zorder": 5.0},
    "none": {
        "facecolor": "none", "edgecolor": _WRONG, "linewidth": 1.6, "linestyle": (0, (3, 2)), "zorder": 5.0,
    },
    "negative": {
        "facecolor": "#000000", "edgecolor": _PAGE, "hatch": "////", "linewidth": 0.0, "zorder": 7.0,
    },
    # marks
    "mark": {"color": "#4d4d4d", "linewidth": 1.0, "linestyle": (0, (6, 3)), "zorder": 3.5},
    "joint": {"color": "#4d4d4d", "linewidth": 0.8, "linestyle": (0, (1, 2)), "zorder": 3.5},
    "break": {"color": _WRONG, "linewidth": 1.8, "linestyle": (0, (7, 2, 1.5, 2)), "zorder": 5.5},
    "height mark": {
        "marker": ((-0.62, 1.0), (0.62, 1.0), (0.0, 0.0), (-0.62, 1.0)), "markersize": 20, "color": INK,
        "markeredgecolor": INK, "markeredgewidth": 1.0, "linestyle": "none", "zorder": 8.0,
    },
    "scale line": {"color": INK, "linewidth": 0.8, "solid_capstyle": "butt", "zorder": 8.0},
    "rule": {"color": "#8a8a8a", "linewidth": 0.6, "zorder": 3.0},
    "leader": {"color": "#4d4d4d", "linewidth": 0.7, "zorder": 3.0},
    "negative figure": {"facecolor": "black", "edgecolor": "black", "linewidth": 0.8, "pad": 1.0},
    "short figure": {"facecolor": _PAGE, "edgecolor": _WRONG, "linewidth": 1.4, "pad": 1.2},
    "clear": {"facecolor": _PAGE, "edgecolor": "none", "pad": 0.4},
    # the strip from above
    "zone": {"facecolor": "#f6f6f4", "edgecolor": "#8a8a8a", "linewidth": 0.7, "zorder": 0.5},
    "other zone": {"facecolor": "#e6e6e2", "edgecolor": "#8a8a8a", "linewidth": 0.7, "zorder": 0.5},
    "no stand": {"facecolor": _PAGE, "edgecolor": _WRONG, "hatch": "xxx", "linewidth": 1.2, "zorder": 0.8},
    "walk": {"facecolor": _PAGE, "edgecolor": "#9a9a9a", "hatch": "\\\\", "linewidth": 0.0, "zorder": 0.7},
    "rail above": {"color": INK, "linewidth": 1.0, "solid_capstyle": "butt", "zorder": 6.0},
    "footprint": {"facecolor": _PAGE, "edgecolor": INK, "linewidth": 1.0, "zorder": 4.0},
    "through": {"facecolor": "#f3ead7", "edgecolor": INK, "linewidth": 1.0, "zorder": 3.9},
    "stick-out": {"facecolor": "#8c8c8c", "edgecolor": INK, "linewidth": 0.8, "zorder": 6.5},
    "push": {"facecolor": INK, "edgecolor": _PAGE, "linewidth": 0.6, "zorder": 7.5},
    "obstacle": {
        "marker": "x", "markersize": 11, "markeredgewidth": 2.4, "color": INK, "linestyle": "none",
        "zorder": 8.0,
    },
    # bars
    "bar left": {"facecolor": "#c4c4c4", "edgecolor": INK, "linewidth": 0.9, "zorder": 4.0},
    "bar right": {"facecolor": _PAGE, "edgecolor": INK, "hatch": "/////", "linewidth": 0.9, "zorder": 4.0},
    "whisker": {"color": INK, "linewidth": 1.3, "zorder": 5.0},
    "before": {"color": INK, "linewidth": 1.6, "linestyle": (0, (2, 1)), "zorder": 5.2},
    "zero": {"color": INK, "linewidth": 1.4, "zorder": 6.0},
    "caution": {"color": _WRONG, "linewidth": 1.6, "linestyle": (0, (8, 3)), "zorder": 3.0},
    # one support close up
    "scraped": {
        "facecolor": _PAGE, "edgecolor": "#4a4234", "hatch": "\\\\\\", "linewidth": 0.9,
        "linestyle": (0, (3, 2)), "zorder": 2.5,
    },
    "ground before": {"color": "#4a4234", "linewidth": 1.2, "linestyle": (0, (3, 2)), "zorder": 4.6},
    "wedge end": {"facecolor": _PAGE, "edgecolor": INK, "hatch": "---", "linewidth": 0.9, "zorder": 4.5},
    "rail end": {"facecolor": "#6b6b6b", "edgecolor": INK, "linewidth": 0.8, "zorder": 6.0},
    "dimension": {"color": INK, "linewidth": 1.0, "zorder": 6.0},
    "from piece": {"color": INK, "linewidth": 0.8, "zorder": 6.8},
    "dot": {"marker": "o", "markersize": 3.6, "color": INK, "linestyle": "none", "zorder": 7.0},
    # readings
    "may be": {"color": "#0072b2", "alpha": 0.3, "linewidth": 5.0, "solid_capstyle": "butt", "zorder": 2.0},
    "reading": {"color": INK, "markersize": 6.5, "markeredgewidth": 1.1, "linestyle": "none", "zorder": 5.0},
    "ring": {
        "marker": "o", "markersize": 19, "markerfacecolor": "none", "markeredgecolor": _WRONG,
        "markeredgewidth": 2.2, "linestyle": "none", "zorder": 6.0,
    },
    "moved left": {"color": INK, "linewidth": 2.2, "zorder": 4.0},
    "moved right": {"color": "#4a4234", "linewidth": 2.2, "linestyle": (0, (4, 1.5)), "zorder": 4.2},
    "board": {"color": INK, "linewidth": 3.2, "solid_capstyle": "butt", "zorder": 4.5},
    "other surface": {"color": "#4a4234", "linewidth": 1.5, "linestyle": (0, (6, 2)), "zorder": 3.0},
    "hardly known": {"facecolor": "none", "edgecolor": "#999999", "hatch": "//", "linewidth": 0, "zorder": 1},
    "note": {"fontsize": 9, "zorder": 9.0, **_TEXT},
    "bold note": {"fontsize": 9.5, "weight": "bold", "zorder": 9.0, **_TEXT},
    "small": {"fontsize": 8.5, "zorder": 9.0, **_TEXT},
    "layer": {"fontsize": 13, "zorder": 9.0, **_TEXT},
    # letters
    "name": {"fontsize": 12, "weight": "bold", **_TEXT},
    "scale": {"fontsize": 8.5, "style": "italic", **_TEXT},
    "scale figure": {"fontsize": 8.5, **_TEXT},
    "scale words": {"fontsize": 9, **_TEXT},
    "flag": {"fontsize": 8.5, "zorder": 9.0, **_TEXT},
    "height": {"fontsize": 8.5, "zorder": 9.0, **_TEXT},
    "tie number": {"fontsize": 7.5, "zorder": 9.0, **_TEXT},
    "figure": {"fontsize": 10.5, "weight": "bold", "zorder": 9.0, **_TEXT},
    "heading": {"fontsize": 7.5, **_TEXT},
    "title": {"fontsize": 11.5, **_TEXT},
    "question": {"fontsize": 10, **_TEXT},
    "answer": {"fontsize": 22, "weight": "bold", **_TEXT},
    "legend": {"fontsize": 8, **_TEXT},
}  # fmt: skip

#: Lengths on the paper [in].
PAPER: Final[Mapping[str, float]] = {
    "left": 0.78,  # margins of the page
    "right": 0.2,
    "tie": 0.2,  # of width for a tie on a page of any size
    "gap": 0.33,  # between the strips; the name of the lower one stands in it
    "axis": 0.40,  # below the lower strip: stations and what they are
    "depth": 0.18,  # of ground drawn under its lowest point
    "stroke": 0.11,  # one stroke of the earth, across and down
    "bunch": 0.28,  # from one bunch of strokes to the next
    "strokes": 0.045,  # from one stroke to the next
    "over": 0.20,  # kept free over the rails for height marks
    "flag": 0.16,  # a row of words over that
    "between": 0.07,  # least distance of one word from the next
    "figures": 0.15,  # of one figure from the next: "1" and "1 1/4" must never read as one
    "lead": 0.07,  # from the ground's end down to the figures, for the strokes that lead to them
    "foot": 0.04,  # under the figures
    "swatch": 0.26,  # in the legend
}
#: How the figures at the foot are tried, the first that fits is taken: size, turned, most rows, and how
#: far a figure may stand beside its tie [in].
FIGURE_STEPS: Final = (
    (10.5, False, 1, 0.22), (9.0, False, 1, 0.22), (10.5, False, 2, 0.10), (9.0, False, 2, 0.10),
    (8.0, False, 2, 0.10), (8.0, False, 3, 0.10), (8.5, True, 1, 0.05), (7.5, True, 1, 0.05),
    (7.5, True, 2, 0.05), (6.5, True, 2, 0.05), (6.0, True, 99, 0.05),
)  # fmt: skip
