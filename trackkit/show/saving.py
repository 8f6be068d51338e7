"""A picture as bytes and as a file: the same picture gives the same bytes."""

from __future__ import annotations

import io
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["picture_bytes", "save_picture"]

#: What letters are written in, and what an SVG asks for instead where it is missing.
FONTS: Final = ["DejaVu Sans", "Verdana"]
_KINDS: Final[dict[str, Literal["svg", "png"]]] = {".svg": "svg", ".png": "png"}


def picture_bytes(figure: Figure, kind: Literal["svg", "png"], *, dpi: float = 150) -> bytes:
    """Return a figure as SVG (text stays text) or PNG, whatever the reader's settings of matplotlib are.

    Letters that the font does not have (a name in another script) are boxes in the PNG; in the SVG
    they stay text.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> picture_bytes(Figure(), "svg") == picture_bytes(Figure(), "svg")
    True
    """
    from matplotlib import rc_context, style

    metadata: dict[str, Any] = {"Date": None} if kind == "svg" else {"Software": None}
    store = io.BytesIO()
    with (
        style.context("default"),
        rc_context({"svg.fonttype": "none", "svg.hashsalt": "trackkit", "font.sans-serif": FONTS}),
        warnings.catch_warnings(),
    ):
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        figure.savefig(store, format=kind, dpi=dpi, metadata=metadata)
    return store.getvalue()


def save_picture(figure: Figure, path: str | Path, *, dpi: float = 150) -> Path:
    """Write a figure to a file, SVG or PNG by its ending; it is there whole or not at all.

    Parameters
    ----------
    figure : Figure
    path : str or Path
        Ends in ``.svg`` or ``.png``. An old file of that name is replaced.
    dpi : float
        Points per inch of a PNG.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    ValueError
        If the path ends in something else.
    OSError
        If it cannot be written; an old file is then as it was.
    """
    from trackkit.files import write_whole

    path = Path(path)
    kind = _KINDS.get(path.suffix.lower())
    if kind is None:
        raise ValueError(f"path must end in .svg or .png, got {path.name!r}")
    write_whole({path: picture_bytes(figure, kind, dpi=dpi)})
    return path
