"""Every notebook runs from top to bottom on a fresh kernel."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize("path", sorted(NOTEBOOKS.glob("*.ipynb")), ids=lambda path: path.stem)
def test_notebook_runs_and_shows_something_in_every_cell(path):
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=120, resources={"metadata": {"path": str(NOTEBOOKS)}}).execute()
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert all(cell.outputs for cell in code[1:])
    assert not any("def " in cell.source for cell in code)
