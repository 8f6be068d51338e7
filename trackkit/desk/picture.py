"""A live picture: one figure whose artists are changed, sent as SVG text with a sentence that says it all."""

from __future__ import annotations

import base64
import re
from collections.abc import Callable
from functools import cached_property
from html import escape
from typing import TYPE_CHECKING, Any, Final

from trackkit.show.saving import picture_bytes
from trackkit.show.style import PAPER

if TYPE_CHECKING:
    from ipywidgets import HTML
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["Picture", "picture_html", "still"]

#: Room for an axis with its words at the left and below [in].
MARGINS: Final = (PAPER["left"], PAPER["right"], 0.45, 0.05)

_SPACES: Final = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
#: Holds for the whole page that an inline SVG stands in; its one rule moves to the SVG itself.
_PAGE_STYLE = re.compile(r"<style\b[^>]*>.*?</style>", flags=re.DOTALL)
_ROOT = re.compile(r"<svg\b[^>]*?viewBox=\"([^\"]+)\"[^>]*>", flags=re.DOTALL)


class Picture:
    """A figure and the widget that shows it.

    Parameters
    ----------
    name : str
        What its parts are called in the page; must differ among the pictures of a panel.
    size : tuple of float
        [in]. On the page it is as wide as there is room.
    margins : tuple of float
        Room about the axes of a picture that has one only: left, right, below, above [in].

    Attributes
    ----------
    figure : Figure
    widget : HTML
    words : str
        The sentence that stands for the picture where it cannot be seen.
    """

    def __init__(
        self, name: str, size: tuple[float, float], *, margins: tuple[float, float, float, float] = MARGINS
    ) -> None:
        from ipywidgets import HTML
        from matplotlib.figure import Figure

        self.name = name
        self.margins = margins
        self.words = ""
        self.figure: Figure = Figure(figsize=size, dpi=100)
        self.widget: HTML = HTML()
        self.widget.add_class("trackkit-picture-box")

    @cached_property
    def ax(self) -> Axes:
        """The axes of a picture that has one only."""
        wide, tall = (float(size) for size in self.figure.get_size_inches())
        left, right, bottom, top = self.margins
        return self.figure.add_axes(
            (left / wide, bottom / tall, 1 - (left + right) / wide, 1 - (bottom + top) / tall)
        )

    def show(self, draw: Callable[[Figure], Any], words: str) -> None:
        """Draw on the figure that is there, and send it; if drawing fails the page keeps the last picture."""
        draw(self.figure)
        shown = picture_html(self.figure, words, key=f"{self.name}-{id(self):x}")
        self.words = words
        self.widget.value = shown

    def hide(self) -> None:
        """Take the picture off the page."""
        self.words = self.widget.value = ""

    def still(self) -> str:
        """Return the picture as HTML that needs no kernel; '' if nothing is shown."""
        return still(self.figure, self.words) if self.words else ""


def picture_html(figure: Figure, words: str, *, key: str) -> str:
    """Return a figure as SVG inside a named box, as wide as the page allows.

    Parameters
    ----------
    figure : Figure
    words : str
        What it shows, for those who cannot see it.
    key : str
        Put before every id: several pictures on one page may not share ids.
    """
    text = picture_bytes(figure, "svg").decode("utf-8")
    text = text[text.index("<svg") :]
    text = _ROOT.sub(
        rf'<svg {_SPACES} viewBox="\1" aria-hidden="true" focusable="false" stroke-linejoin="round">',
        text,
        count=1,
    )
    text = _PAGE_STYLE.sub("", text, count=1)
    for mark in (' id="', 'href="#', "url(#"):
        text = text.replace(mark, f"{mark}{key}-")
    return f'<div class="trackkit-picture" role="img" aria-label="{escape(words)}">{text}</div>'


def still(figure: Figure, words: str) -> str:
    """Return a figure as an image that stands by itself, as unrun and printed notebooks show it."""
    picture = base64.b64encode(picture_bytes(figure, "svg")).decode("ascii")
    style = "width:100%;max-width:1100px;height:auto"
    source = f"data:image/svg+xml;base64,{picture}"
    return f'<img alt="{escape(words)}" class="trackkit-picture-still" style="{style}" src="{source}">'
