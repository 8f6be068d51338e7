"""The first notebook, and what every notebook shows to somebody who has not run it."""

from __future__ import annotations

import base64
import json
import subprocess
import sys
from pathlib import Path
from urllib.parse import unquote, urlsplit

import nbformat
import pytest
from faults import serious_faults
from looks import SIZES, misfits, open_code, written_over
from nbformat.sign import NotebookNotary
from page import open_notebook

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
STILLS = ".jp-OutputArea-output img"
#: Still pictures as they stand in the page: what is said of each, and how wide it came out.
LOADED = """images => Promise.all(images.map(async one => {
    await one.decode().catch(() => null);
    return [one.alt, one.naturalWidth, one.getBoundingClientRect().width];
}))"""


@pytest.fixture(scope="module")
def notebook(lab, browser):
    path = lab.bring(ROOT, "notebooks/00_start.ipynb", "notebooks", "data_demo")
    with open_notebook(browser, lab, path, size=SIZES[0]) as opened:
        opened.run_all()
        yield opened


def test_it_runs_without_a_problem(notebook):
    assert notebook.problems() == []


def test_its_code_is_collapsed_behind_plain_words(notebook):
    assert open_code(notebook.page) == []


def test_the_large_numbers_stand_in_its_picture(notebook):
    words = drawn_words(notebook)
    assert "10.80 m" in words and "track needed" in words


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_everything_has_room(notebook, size):
    assert misfits(notebook, size) == []


def test_no_words_of_its_picture_lie_over_each_other(notebook):
    page = notebook.page.context.new_page()
    page.set_content(svg_of(notebook))
    assert written_over(page, "svg") == []
    page.close()


def test_nothing_stops_people_who_cannot_see_or_point(notebook):
    assert serious_faults(notebook.page, ".jp-OutputArea") == []


def test_its_links_lead_to_the_other_notebooks(notebook):
    links = notebook.page.locator(".jp-RenderedMarkdown a[href]:not(.jp-InternalAnchorLink)")
    led_to = set()
    for href in links.evaluate_all("all => all.map(one => one.href)"):
        answer = notebook.page.request.get(href)
        assert answer.ok, f"the link {href} answers {answer.status}"
        name = Path(unquote(urlsplit(href).path)).name
        led_to.add(name)
        assert answer.body() == (ROOT / "notebooks" / name).read_bytes(), f"{href} leads elsewhere"
    assert led_to == {path.name for path in NOTEBOOKS[1:]}


def svg_of(notebook):
    source = notebook.page.locator(STILLS).first.get_attribute("src")
    return base64.b64decode(source.partition("base64,")[2]).decode("utf-8")


def drawn_words(notebook):
    page = notebook.page.context.new_page()
    page.set_content(svg_of(notebook))
    words = page.locator("text").all_text_contents()
    page.close()
    return words


# --- not run ------------------------------------------------------------------------------------------


def bring_as_stored(lab, path):
    """Copy a notebook with its stored outputs into the lab; return its path there."""
    number = len(list(lab.folder.iterdir()))
    place = lab.folder / f"{number}-as-stored" / path.name
    place.parent.mkdir()
    content = json.loads(path.read_text(encoding="utf-8"))
    content["metadata"]["copy"] = number  # trust goes by content: no copy lends it to another
    place.write_text(json.dumps(content), encoding="utf-8")
    return f"{place.parent.name}/{place.name}"


@pytest.mark.parametrize("trusted", [True, False], ids=["trusted", "as it came"])
@pytest.mark.parametrize("path", [NOTEBOOKS[2]], ids=lambda path: path.stem)
def test_a_notebook_that_has_not_been_run_shows_its_picture(lab, browser, path, trusted):
    brought = bring_as_stored(lab, path)
    if trusted:
        own = lab.folder.with_name(f"{lab.folder.name}-lab") / "data"
        NotebookNotary(data_dir=str(own)).sign(nbformat.read(lab.folder / brought, as_version=4))
    with open_notebook(browser, lab, brought, size=SIZES[0]) as opened:
        said = (
            "window.jupyterapp.shell.currentWidget.content.widgets.filter(one => one.model.type === 'code')"
        )
        assert opened.page.evaluate(f"{said}.every(one => one.model.trusted)") is trusted
        check_stills(opened.page.locator(STILLS))
        assert misfits(opened, SIZES[0]) == []
        assert serious_faults(opened.page, ".jp-OutputArea") == []
        assert opened.problems() == []


#: Of cells of a table, whether they hold figures, and how they are aligned.
ALIGNED = """cells => cells.map(
    cell => [cell.classList.contains("trackkit-figure"), getComputedStyle(cell).textAlign])"""


def check_stills(images):
    loaded = images.evaluate_all(LOADED)
    assert loaded, "there is no still picture"
    for words, own, shown in loaded:
        assert own > 0, f"the picture did not load: {words[:80]}"
        assert shown > 300, f"the picture is {shown:g} px wide: {words[:80]}"
        assert len(words) > 40, f"a picture is told by {words!r} only"


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """The stored notebooks as pages to print or send, made without running them."""
    folder = tmp_path_factory.mktemp("pages")
    command = [sys.executable, "-m", "nbconvert", "--to", "html", "--output-dir", folder, *NOTEBOOKS]
    done = subprocess.run(command, capture_output=True, text=True, cwd=folder)
    assert done.returncode == 0, done.stderr
    return folder


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_page_made_of_a_stored_notebook_holds_its_picture(pages, browser, path):
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.goto((pages / f"{path.stem}.html").as_uri(), wait_until="commit")
    page.wait_for_selector("main img", state="attached")
    check_stills(page.locator("main img"))
    cells = page.locator("main .trackkit-sheet td").evaluate_all(ALIGNED)
    few = 10 if path.stem == "04_readings_on_trial" else 20  # its job has no doubt to list
    assert len(cells) > few or path.stem in ("00_start", "01_read_the_ground")
    assert all(align == ("right" if figure else "left") for figure, align in cells)
    page.close()


def test_stored_notebooks_hold_no_live_widgets():
    for path in NOTEBOOKS:
        content = json.loads(path.read_text(encoding="utf-8"))
        outputs = [output for cell in content["cells"] for output in cell.get("outputs", ())]
        kinds = {kind for output in outputs for kind in output.get("data", ())}
        assert kinds == {"text/html", "text/plain"}, f"{path.name} stores {sorted(kinds)}"
