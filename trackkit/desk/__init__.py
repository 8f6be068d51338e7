"""Panels and tables for notebooks: what a crew types in and turns, wired to the library.

Nothing is worked out here, and everything that a panel does can be done by a function call too.

- One panel for each notebook: `starting` (what the kit is for), `reading` (the ground), `laying` (the
  line), `building` (the stacks), `trying` (readings on trial). Open one with a job's folder;
  ``panel.set(...)`` moves its controls, ``panel.values`` reads them.
- `panel`: the one pattern that all panels follow; `typed_panel`: those with a table. `picture`: a figure that
  changes while it is looked at.
- `controls`, `asked`, `jobs`: sliders and lists in the crew's words, and what they mean.
- `table`, `typed_job`, `left_out`: the table that readings are typed into, the job as it stands with them,
  and the readings that it leaves out.
- `words`: numbers, faults and tables as HTML. `fitter`: names for every control, and its keys kept from
  the notebook.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

_HOMES = {
    "Cautions": "trackkit.desk.starting",
    "ChoicesPanel": "trackkit.desk.comparing",
    "CostsPanel": "trackkit.desk.costing",
    "GroundPanel": "trackkit.desk.reading",
    "LinePanel": "trackkit.desk.laying",
    "Overview": "trackkit.desk.starting",
    "ReferencePanel": "trackkit.desk.choosing",
    "StacksPanel": "trackkit.desk.building",
    "TrialPanel": "trackkit.desk.trying",
}

if TYPE_CHECKING:
    from trackkit.desk.building import StacksPanel
    from trackkit.desk.choosing import ReferencePanel
    from trackkit.desk.comparing import ChoicesPanel
    from trackkit.desk.costing import CostsPanel
    from trackkit.desk.laying import LinePanel
    from trackkit.desk.reading import GroundPanel
    from trackkit.desk.starting import Cautions, Overview
    from trackkit.desk.trying import TrialPanel

__all__ = [
    "Cautions", "ChoicesPanel", "CostsPanel", "GroundPanel", "LinePanel", "Overview", "ReferencePanel",
    "StacksPanel", "TrialPanel",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Load a panel when it is asked for; says what to install where the notebook parts are missing."""
    if name not in _HOMES:
        raise AttributeError(f"module 'trackkit.desk' has no attribute {name!r}")
    try:
        return getattr(importlib.import_module(_HOMES[name]), name)
    except ModuleNotFoundError as missing:
        if missing.name not in ("ipywidgets", "anywidget", "traitlets"):
            raise
        raise ImportError(
            f"{missing.name} is not installed; panels need it: pip install 'trackkit[lab]'"
        ) from missing


def __dir__() -> list[str]:
    return sorted(__all__)
