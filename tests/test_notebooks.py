"""What every notebook keeps to; that they run, and to what numbers, is nbval's to say."""

import re
from pathlib import Path

import nbformat
import pytest

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))
LIVE = "application/vnd.jupyter.widget-view+json"


@pytest.fixture(params=NOTEBOOKS, ids=lambda path: path.stem)
def notebook(request):
    return nbformat.read(request.param, as_version=4)


def code_of(notebook):
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def text_of(notebook):
    return "\n".join(cell.source for cell in notebook.cells if cell.cell_type == "markdown")


def test_there_is_one_for_each_question():
    assert [path.stem for path in NOTEBOOKS] == [
        "00_start", "01_read_the_ground", "02_lay_the_line", "03_build_it",
        "04_readings_on_trial", "05_which_point",
    ]  # fmt: skip


def test_code_is_short_hidden_and_begins_with_plain_words(notebook):
    for cell in code_of(notebook):
        assert cell.metadata["jupyter"]["source_hidden"] is True
        assert re.match(r"# [A-Z].{10,}", cell.source)
        assert len(cell.source.splitlines()) <= 10
        assert not re.search(r"^\s*(def|class|for|while|lambda)\b", cell.source, flags=re.MULTILINE)


def test_it_says_how_to_begin_what_can_go_wrong_and_where_next(notebook):
    first, text = notebook.cells[0].source, text_of(notebook)
    assert "Run ▸ Run All Cells" in first
    assert "?" in first
    for title in ("## How to read it", "## What can go wrong", "## Where next"):
        assert title in text


def test_its_links_lead_somewhere(notebook):
    for target in re.findall(r"\]\(([^)]+)\)", text_of(notebook)):
        assert (NOTEBOOKS[0].parent / target).exists(), target


def test_stored_outputs_show_numbers_and_pictures_without_a_kernel(notebook):
    outputs = [output for cell in code_of(notebook) for output in cell.outputs]
    shown = [cell for cell in code_of(notebook) if not cell.source.startswith("# Open a job")]
    assert len(outputs) >= len(shown) > 1
    assert not any(LIVE in output.get("data", {}) for output in outputs)
    assert "widgets" not in notebook.metadata
    pages = [output.data["text/html"] for output in outputs if "text/html" in output.get("data", {})]
    assert any("data:image/svg+xml;base64," in page for page in pages)
