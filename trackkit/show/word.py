"""A word on a picture that remembers how it was laid out, as long as only its place changes."""

from __future__ import annotations

from typing import Any

from matplotlib.text import Annotation

__all__ = ["Word"]


class Word(Annotation):
    """An annotation whose layout is worked out once for each text, font and turn.

    Laying words out is half of what it takes to draw a picture full of figures, and of a picture that
    moves most words stay the same. Should matplotlib lay words out by another method one day, they are
    laid out every time again, and all else stays as it is.
    """

    _laid: tuple[Any, Any] | None = None

    def _get_layout(self, renderer: Any, *more: Any) -> Any:
        font = self.get_fontproperties()
        stands = (self.get_rotation(), self.get_horizontalalignment(), self.get_verticalalignment())
        paper = (type(renderer), renderer.points_to_pixels(1.0), more)
        looks = (self.get_text(), hash(font), *stands, *paper)
        if self._laid is None or self._laid[0] != looks:
            laid = super()._get_layout(renderer, *more)  # type: ignore[misc]
            self._laid = (looks, laid)
        return self._laid[1]
