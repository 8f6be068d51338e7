"""How quick a panel is: from a moved control to its picture, in the kernel and in a browser.

    python tests/bench/bench_panel.py

Wanted: in the kernel at most 1.3 times the bare drawing of the same figure; from key to picture at most
150 ms (median) in a headless Chromium.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from matplotlib.backends.backend_agg import FigureCanvasAgg

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "browser"))

from lab import running_browser, running_lab  # noqa: E402
from page import open_notebook  # noqa: E402

from trackkit.desk import LinePanel, ReferencePanel  # noqa: E402

TIMES = 15


def median_ms(work: Callable[[], object], times: int = TIMES) -> float:
    """Return the median time of a call [ms]."""
    work()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return 1000.0 * statistics.median(taken)


def in_the_kernel(name: str) -> None:
    """Print how long a move takes in the kernel, against drawing the figure that it shows."""
    panel = LinePanel(ROOT / "data_demo" / name)
    for control in ("reference", "gap"):
        options = panel.controls[control]._options_values
        steps = iter(list(options) * 3)

        def move(control: str = control, steps: object = steps) -> None:
            with panel._held():
                panel.controls[control].value = next(steps)
            panel._answer(frozenset([control]))

        moved = median_ms(move)
        bare = median_ms(FigureCanvasAgg(panel._side.figure).draw)
        print(
            f"{name}, {control}: moved {moved:.0f} ms, bare drawing {bare:.0f} ms, ratio {moved / bare:.2f}"
        )


def set_from(name: str) -> None:
    """Print how long another reference takes in the kernel, against drawing both figures that it shows."""
    panel = ReferencePanel(ROOT / "data_demo" / name)
    for control in ("reference", "spare"):
        steps = iter(list(panel.controls[control]._options_values) * 3)

        def move(control: str = control, steps: object = steps) -> None:
            with panel._held():
                panel.controls[control].value = next(steps)
            panel._answer(frozenset([control]))

        def bare() -> None:
            for picture in (panel._side, panel._largest):
                FigureCanvasAgg(picture.figure).draw()

        moved, drawn = median_ms(move), median_ms(bare)
        print(
            f"{name}, which point, {control}: moved {moved:.0f} ms, bare drawing {drawn:.0f} ms, "
            f"ratio {moved / drawn:.2f}"
        )


def in_the_browser() -> None:
    """Print the time from a key to the new picture in a real page."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "work"
        folder.mkdir()
        with running_lab(folder) as lab, running_browser() as browser:
            path = lab.bring(ROOT, "notebooks/02_lay_the_line.ipynb", "data_demo")
            with open_notebook(browser, lab, path, size=(1280, 800)) as notebook:
                notebook.run_all()
                notebook.settle()
                picture = notebook.picture("Side view")
                for label, pause in (("set from", 2.0), ("gap under the track", 2.0), ("set from", 0.2)):
                    slider = notebook.slider(label)
                    taken = notebook.key_to_picture(slider, picture, "ArrowRight", TIMES, pause=pause)
                    middle, least, most = statistics.median(taken), min(taken), max(taken)
                    print(
                        f"key to picture, {label}, a key every {pause:g} s: "
                        f"median {middle:.0f} ms ({least:.0f} to {most:.0f})"
                    )


if __name__ == "__main__":
    for job in ("boathouse_lawn", "terrace_edge"):
        in_the_kernel(job)
        set_from(job)
    in_the_browser()
