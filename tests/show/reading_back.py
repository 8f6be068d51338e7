"""Reads pictures back: artists by name, what they show, and whether words overlap."""

from __future__ import annotations

import re
from itertools import combinations

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.text import Text

SIZES = [(9.6, 3.0), (11.7, 4.0)]


def paper(size):
    """Return axes on a page with room for both scales."""
    wide, tall = size
    figure = Figure(figsize=size, dpi=100)
    return figure.add_axes((0.78 / wide, 0.48 / tall, 1 - 0.98 / wide, 1 - 0.6 / tall))


def named(ax, pattern):
    """Return the visible artists whose whole name fits, in the order they were drawn."""
    every = [*ax.lines, *ax.patches, *ax.texts]
    return [one for one in every if one.get_visible() and re.fullmatch(pattern, one.get_gid() or "")]


def polygons(ax, pattern):
    """Return the corners of every polygon of the areas whose name fits."""
    found = []
    for areas in named(ax, pattern):
        path = areas.get_path()
        if len(path.vertices):
            starts = np.flatnonzero(path.codes == path.MOVETO)
            found += [one[:-1] for one in np.split(path.vertices, starts[1:])]
    return found


def strokes(ax, pattern):
    """Return the ends of every stroke of the lines whose name fits, shape (n, 2, 2)."""
    found = [line.get_xydata().reshape(-1, 3, 2)[:, :2] for line in named(ax, pattern)]
    return np.concatenate(found) if found else np.zeros((0, 2, 2))


def words(ax, pattern=".*"):
    """Return the texts whose name fits."""
    return [text.get_text() for text in named(ax, pattern) if isinstance(text, Text)]


def state(ax):
    """Return what every visible artist with a name shows."""
    found = {}
    for one in (*ax.lines, *ax.patches, *ax.texts):
        if one.get_gid() and one.get_visible():
            if isinstance(one, Line2D):
                shown = one.get_xydata().round(9).tolist()
            elif isinstance(one, PathPatch):
                shown = one.get_path().vertices.round(9).tolist()
            else:
                shown = [one.get_text(), [round(float(part), 9) for part in one.xy], one.get_rotation()]
            found[one.get_gid()] = str(shown)
    return found


def lay_out(ax):
    """Bring words to where they stand on the paper: by drawing, where scales are placed by that."""
    if not isinstance(ax.figure.canvas, FigureCanvasAgg):
        FigureCanvasAgg(ax.figure)
    if ax.figure.stale and (ax.axison or ax.get_aspect() != "auto"):
        ax.figure.canvas.draw()


def overlapping(ax):
    """Return the pairs of words that overlap on the paper, those of the axes' scales among them."""
    lay_out(ax)
    texts = [text for text in ax.texts if text.get_visible() and text.get_text()]
    if ax.axison:
        scales = (*ax.get_xticklabels(), *ax.get_yticklabels(), ax.xaxis.label, ax.yaxis.label)
        texts += [text for text in scales if text.get_text()]
    boxes = [(text.get_text(), text.get_window_extent().padded(-0.5)) for text in texts]
    return [(one, two) for (one, box), (two, other) in combinations(boxes, 2) if box.overlaps(other)]


def outside(ax):
    """Return the words that stick out of the page."""
    lay_out(ax)
    page = ax.figure.bbox.padded(1.0)
    texts = [text for text in ax.texts if text.get_visible() and text.get_text()]
    boxes = [(text.get_text(), text.get_window_extent()) for text in texts]
    return [
        word
        for word, box in boxes
        if box.x0 < page.x0 or box.x1 > page.x1 or box.y0 < page.y0 or box.y1 > page.y1
    ]


def smallest_letters(ax):
    """Return the size of the smallest letters [points]."""
    return min(text.get_fontsize() for text in ax.texts if text.get_visible())
