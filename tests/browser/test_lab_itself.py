"""The harness sees what a person sees, waits for what it must, and lets no fault pass."""

import json
import threading
import urllib.request
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import SimpleNamespace

import numpy as np
import psutil
import pytest
from faults import leaves_machine, serious_faults
from lab import need_browser, running_lab
from matplotlib.image import imread
from page import open_notebook

PANEL = """# A slider and its picture
import ipywidgets as widgets
slider = widgets.IntSlider(description="fill, mm", value=3, max=20)
other = widgets.IntSlider(description="fill, mm, far end", value=3, max=20)
shown = widgets.HTML()
def draw(change):
    number = slider.value
    shown.value = (
        f'<div role="img" aria-label="Fill: {number} mm at the first tie">'
        f'<svg width="300" height="60"><text x="5" y="20">{number} mm</text>'
        f'<text x="99" y="20">tie 1</text></svg></div>'
    )
slider.observe(draw, "value")
draw(None)
widgets.VBox([slider, other, shown])"""
CALLBACK = """# Errors when its slider moves
import ipywidgets as widgets
bad = widgets.IntSlider(description="bad, mm")
def fail(change):
    raise ValueError("the callback went wrong")
bad.observe(fail, "value")
bad"""
OUTSIDE = """# Asks for what is not here
from IPython.display import HTML
HTML('<div class="asks"><img alt="logo" src="http://localhost:PORT/logo.png"></div>')"""
COLOUR = """# A coloured bar
from IPython.display import HTML
HTML('<div style="background: rgb(COLOUR); height: 30px"></div>')"""
UNNAMED = """# Names nothing
HTML('<p class="unnamed"><button></button><svg role="img" width="99"><path d="M0 9H99"/></svg></p>')"""
WARNS = """# Warns
import sys
print("mind the wedge", file=sys.stderr)"""


def notebook_of(folder, name, *cells):
    made = [
        {"cell_type": "code", "id": f"cell{at}", "metadata": {}, "source": source, "execution_count": 7,
         "outputs": [{"output_type": "stream", "name": "stdout", "text": "from the last run"}]}
        for at, source in enumerate(cells)
    ]  # fmt: skip
    made.insert(0, {"cell_type": "markdown", "id": "first", "metadata": {}, "source": f"# {name}"})
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    metadata = {"kernelspec": kernel, "widgets": {"from": "the last run"}}
    content = {"cells": made, "metadata": metadata, "nbformat": 4, "nbformat_minor": 5}
    (folder / name).write_text(json.dumps(content))


@pytest.fixture(scope="module")
def elsewhere():
    """A server that is another host to the lab; it keeps the paths it was asked for."""
    asked = []

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            self.send_response(204)
            self.end_headers()

        def log_message(self, *words):
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Answer) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield SimpleNamespace(port=server.server_port, asked=asked)
        server.shutdown()
        thread.join()


@pytest.fixture(scope="module")
def root(tmp_path_factory, elsewhere):
    folder = tmp_path_factory.mktemp("root")
    magenta, cyan = COLOUR.replace("COLOUR", "255 0 255"), COLOUR.replace("COLOUR", "0 255 255")
    long, reads = "print('\\n' * 100)", "print(open('data/readings.csv').read())"
    notebook_of(folder, "good.ipynb", magenta, PANEL, long, reads, "", cyan)
    outside = OUTSIDE.replace("PORT", str(elsewhere.port))
    notebook_of(folder, "faulty.ipynb", CALLBACK, outside, UNNAMED, WARNS, "1/0", "print('never')")
    notebook_of(folder, "slow.ipynb", "import time", "# Waits\ntime.sleep(600)", "print('never')")
    (folder / "data").mkdir()
    (folder / "data" / "readings.csv").write_text("rod_mm\n1234\n")
    return folder


@pytest.fixture(scope="module")
def good(root, lab, browser):
    with open_notebook(browser, lab, lab.bring(root, "good.ipynb", "data"), size=(900, 500)) as notebook:
        notebook.run_all()
        yield notebook


@pytest.fixture(scope="module")
def faulty(root, lab, browser):
    with open_notebook(browser, lab, lab.bring(root, "faulty.ipynb"), whole_lab=True) as notebook:
        notebook.run_all()
        notebook.press(notebook.slider("bad, mm"), "ArrowRight")
        yield notebook


@pytest.fixture(scope="module")
def slow(root, lab, browser):
    with open_notebook(browser, lab, lab.bring(root, "slow.ipynb")) as notebook:
        yield notebook


def test_every_cell_has_run_and_a_sound_notebook_has_no_problems(good):
    assert good.cells_count() == good.page.locator(".jp-Cell").count() == 7
    assert good.problems() == []


def test_every_cell_stands_in_the_page_and_not_only_those_in_view(good):
    mode = "window.jupyterapp.shell.currentWidget.content.notebookConfig.windowingMode"
    assert good.page.evaluate(mode) == "none"


def test_a_notebook_finds_the_files_brought_with_it(good):
    assert "rod_mm 1234" in good.text_of(".jp-Notebook")


def test_a_notebook_is_brought_without_what_its_last_run_left(root, lab):
    brought = lab.folder / lab.bring(root, "good.ipynb")
    assert "the last run" in (root / "good.ipynb").read_text()
    assert "the last run" not in brought.read_text()
    code = [cell for cell in json.loads(brought.read_text())["cells"] if cell["cell_type"] == "code"]
    assert {cell["execution_count"] for cell in code} == {None}


def test_a_key_moves_the_slider_with_that_very_label_and_its_picture_follows(good):
    slider, picture = good.slider("fill, mm"), good.picture("Fill:")
    before, start = good.picture_hash(picture), int(slider.get_attribute("aria-valuetext"))
    good.press(slider, "ArrowRight", times=3)
    assert good.wait_changed(picture, before) == good.picture_hash(picture) != before
    assert slider.get_attribute("aria-valuetext") == str(start + 3)
    assert good.text_of(picture) == f"{start + 3} mm tie 1"
    assert good.slider("fill, mm, far end").get_attribute("aria-valuetext") == "3"


def test_a_picture_that_does_not_change_is_told(good):
    picture = good.picture("Fill:")
    with pytest.raises(TimeoutError, match=r"the picture is still the same after 0\.2 s"):
        good.wait_changed(picture, good.picture_hash(picture), within=0.2)


def test_a_key_is_timed_until_the_picture_has_changed(good):
    slider, picture = good.slider("fill, mm"), good.picture("Fill:")
    good.press(slider, "Home")
    good.settle()
    times = good.key_to_picture(slider, picture, "ArrowRight", 3)
    assert len(times) == 3
    assert all(1 < time < 5000 for time in times)
    assert good.text_of(picture) == "3 mm tie 1"


def test_a_key_without_effect_is_not_timed(good):
    slider, picture = good.slider("fill, mm"), good.picture("Fill:")
    good.press(slider, "Home")
    with pytest.raises(TimeoutError, match=r"key 1 of 1 \(ArrowLeft\) did not change the picture"):
        good.key_to_picture(slider, picture, "ArrowLeft", 1, within=0.5)


def test_a_whole_screenshot_shows_the_first_and_the_last_cell_and_leaves_the_window_as_it_was(good, tmp_path):
    good.screenshot(tmp_path / "part.png")
    good.screenshot(tmp_path / "whole.png", whole=True)
    part, whole = (imread(tmp_path / name)[..., :3] for name in ("part.png", "whole.png"))
    assert part.shape[:2] == (500, 900)
    assert good.page.viewport_size == {"width": 900, "height": 500}
    bars = [np.flatnonzero((whole == bar).all(axis=2).any(axis=1)) for bar in ((1, 0, 1), (0, 1, 1))]
    assert [len(rows) for rows in bars] == [30, 30]
    assert bars[1][0] - bars[0][0] > 1500
    assert len(whole) - bars[1][-1] < 150


def test_named_controls_and_pictures_pass(good):
    assert serious_faults(good.page, ".widget-html") == []


def test_nothing_looked_at_is_not_nothing_found(good):
    with pytest.raises(ValueError, match=r"nothing on the page matches '.no-such-panel'"):
        serious_faults(good.page, ".no-such-panel")


@pytest.mark.parametrize(
    "problem",
    [
        "cell 6 of 7 (1/0): ZeroDivisionError: division by zero",
        "cell 5 of 7 (# Warns): warning: mind the wedge",
        "in the lab's log: ValueError: the callback went wrong",
        "request to outside (stopped): http://localhost:PORT/logo.png",
    ],
    ids=["error in a cell", "warning in a cell", "error in a callback", "request to outside"],
)
def test_each_fault_is_among_the_problems(faulty, elsewhere, problem):
    assert problem.replace("PORT", str(elsewhere.port)) in [one.strip() for one in faulty.problems()]


def test_running_stops_at_the_cell_that_fails(faulty):
    assert len(faulty.cell_errors()) == 2
    assert "never" not in faulty.text_of(".jp-Notebook .jp-Cell:last-of-type .jp-Cell-outputWrapper")


def test_a_request_to_outside_does_not_get_there(faulty, elsewhere):
    faulty.page.locator(".asks img").wait_for(state="attached")
    assert elsewhere.asked == []
    straight = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    with straight.open(f"http://127.0.0.1:{elsewhere.port}/asked-by-the-test", timeout=5):
        assert elsewhere.asked == ["/asked-by-the-test"]


def test_unnamed_pictures_and_buttons_are_found(faulty):
    faults = serious_faults(faulty.page, ".unnamed")
    assert [fault.split("(")[1].split(")")[0] for fault in faults] == ["button-name", "svg-img-alt"]


def test_faults_outside_the_part_looked_at_are_left_out(faulty):
    assert serious_faults(faulty.page, ".asks") == []


def test_the_cell_that_still_runs_is_named(slow):
    with pytest.raises(TimeoutError, match=r"after 1 s cell 3 of 4 \(# Waits\) still runs"):
        slow.run_all(within=1)


def test_errors_of_the_page_and_in_its_console_are_problems(slow):
    slow.page.evaluate("setTimeout(() => { throw new Error('thrown on the page'); })")
    slow.page.evaluate("console.error('told in the console'); console.log('only said')")
    problems = slow.problems(within=0.5)
    assert "error on the page: thrown on the page" in problems
    assert any(one.startswith("error in the console: told in the console") for one in problems)
    assert not any("only said" in one for one in problems)


def test_a_notebook_that_does_not_rest_is_a_problem(slow):
    assert f"{slow.path} does not come to rest within 0.5 s" in slow.problems(within=0.5)


def test_an_open_dialog_is_a_problem(slow):
    slow.page.evaluate("void window.jupyterapp.commands.execute('kernelmenu:restart')")
    slow.page.locator(".jp-Dialog-content").wait_for()
    assert any(one.startswith("the lab asks or tells: Restart Kernel?") for one in slow.problems(within=0.5))


@pytest.mark.parametrize(
    ("url", "leaves"),
    [
        ("http://127.0.0.1:8888/lab", False),
        ("ws://127.0.0.1:8888/api", False),
        ("data:image/gif;base64,R0lG", False),
        ("blob:http://127.0.0.1:8888/9c1d", False),
        ("http://localhost:8888/", True),
        ("https://elsewhere.invalid/127.0.0.1", True),
        ("ws://127.0.0.1.elsewhere.invalid/", True),
    ],
)
def test_only_the_lab_s_host_is_this_machine(url, leaves):
    assert leaves_machine(url) is leaves


def test_a_lab_is_gone_with_its_kernels_even_when_a_test_fails(tmp_path):
    folder = tmp_path / "notebooks"
    folder.mkdir()
    started = []
    with pytest.raises(AssertionError, match="a test failed"):
        fail_in_a_lab(folder, started)
    assert len(started) > 1
    assert not any(psutil.pid_exists(pid) for pid in started)


def fail_in_a_lab(folder, started):
    with running_lab(folder) as lab:
        start = urllib.request.Request(f"{lab.url}api/kernels?token={lab.token}", data=b"{}", method="POST")
        with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(start, timeout=20):
            started += [lab.pid, *(child.pid for child in psutil.Process(lab.pid).children(recursive=True))]
        raise AssertionError("a test failed")


def test_a_lab_that_cannot_start_says_why(tmp_path, monkeypatch):
    folder, python = tmp_path / "notebooks", tmp_path / "python"
    folder.mkdir()
    python.write_text("#!/bin/sh\necho the disk is full\nexit 1\n")
    python.chmod(0o755)
    monkeypatch.setattr("sys.executable", str(python))
    with (
        pytest.raises(RuntimeError, match=r"JupyterLab ended\. Its log:\nthe disk is full"),
        running_lab(folder),
    ):
        pass


@pytest.mark.parametrize(("ci", "outcome"), [("", pytest.skip.Exception), ("true", pytest.fail.Exception)])
def test_without_chromium_tests_are_skipped_but_fail_where_they_must_run(monkeypatch, ci, outcome):
    monkeypatch.setattr("shutil.which", lambda name: None)
    monkeypatch.setenv("CI", ci)
    with pytest.raises(outcome, match="need Chromium"):
        need_browser()
