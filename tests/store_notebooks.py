"""Run every notebook and store what it shows, so that nbval has numbers to compare and readers see pictures.

    python tests/store_notebooks.py

Live widgets are taken out of what is stored: a notebook that has not been run shows its still pictures.
"""

from __future__ import annotations

from pathlib import Path

import nbformat
from nbclient import NotebookClient

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"
LIVE = "application/vnd.jupyter.widget-view+json"


def store(path: Path) -> None:
    """Run one notebook and write it back with its outputs."""
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=120, resources={"metadata": {"path": str(path.parent)}}).execute()
    notebook.metadata.pop("widgets", None)
    for cell in notebook.cells:
        cell.metadata.pop("execution", None)
        for output in cell.get("outputs", ()):
            output.get("data", {}).pop(LIVE, None)
    nbformat.write(notebook, path)


if __name__ == "__main__":
    for each in sorted(NOTEBOOKS.glob("*.ipynb")):
        store(each)
        print(f"stored {each.name}")
