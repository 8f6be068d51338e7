"""Lets tests import the helper modules that stand beside them."""

import sys
from pathlib import Path

HERE = Path(__file__).parent
for folder in (HERE, HERE / "survey", HERE / "study", HERE / "layout"):
    sys.path.insert(0, str(folder))
