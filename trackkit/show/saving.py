"""A picture as bytes: the same picture gives the same bytes."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["picture_bytes"]


def picture_bytes(figure: Figure, kind: Literal["svg", "png"], *, dpi: float = 150) -> bytes:
    """Return a figure as SVG (text stays text) or PNG.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> picture_bytes(Figure(), "svg") == picture_bytes(Figure(), "svg")
    True
    """
    from matplotlib import rc_context

    metadata: dict[str, Any] = {"Date": None} if kind == "svg" else {"Software": None}
    store = io.BytesIO()
    with rc_context({"svg.fonttype": "none", "svg.hashsalt": "trackkit"}):
        figure.savefig(store, format=kind, dpi=dpi, metadata=metadata)
    return store.getvalue()
