"""Gives the controls of a panel their names, and keeps their keys from driving the notebook."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import anywidget

__all__ = ["STYLE_SHEET", "Fitter"]

_HERE: Final = Path(__file__).parent
#: Of panels, live or still.
STYLE_SHEET: Final = _HERE / "panel.css"


class Fitter(anywidget.AnyWidget):
    """Looks after the panel that it stands in; shows nothing.

    Sliders of ipywidgets have no accessible name, and with one focused a letter key would edit the
    notebook: ``x`` cuts the cell that the slider stands in. Its style sheet is the panels'.
    """

    _esm = _HERE / "fitter.js"
    _css = STYLE_SHEET
