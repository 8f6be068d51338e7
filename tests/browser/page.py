"""Drives one notebook in JupyterLab: opens and runs it, moves its sliders, reads its pictures.

What runs is asked of JupyterLab's own model of the notebook, because hidden cells show no prompt.

    with open_notebook(browser, lab, lab.bring(ROOT, "notebooks/plan.ipynb", "data_demo")) as notebook:
        notebook.run_all()
        picture = notebook.picture("Side view")
        before = notebook.picture_hash(picture)
        notebook.press(notebook.slider("gap, mm"), "ArrowRight")
        notebook.wait_changed(picture, before)
        assert notebook.problems() == []
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from faults import Watch
from lab import Lab

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator, Page

__all__ = ["Notebook", "open_notebook"]

#: How long a page may stand still before it counts as settled [ms].
QUIET: Final = 100
#: No picture of a page is higher: Chromium draws none that is [px].
HIGHEST: Final = 16000

#: Finds the notebook in the lab; the other scripts start with it.
PANEL: Final = """
const panel = [...(window.jupyterapp?.shell.widgets('main') ?? [])]
    .find(one => one.context?.path === window.trackkitPath);
const kernel = panel?.sessionContext.session?.kernel;
const cells = [...(panel?.content.widgets ?? [])];
const sleep = time => new Promise(done => setTimeout(done, time));
"""
#: Every cell as kind, first line, whether it has run or may rest, and what it put out that is no result.
CELLS: Final = (
    "() => {" + PANEL + """
return cells.map(({model}) => ({
    kind: model.type,
    line: model.sharedModel.getSource().split('\\n')[0],
    ran: model.type !== 'code' || model.executionCount !== null || !model.sharedModel.getSource().trim(),
    wrong: (model.outputs?.toJSON() ?? []).filter(one => one.output_type === 'error' || one.name === 'stderr')
        .map(one => one.ename ? `${one.ename}: ${one.evalue}` : `warning: ${[one.text].flat().join('')}`),
    failed: (model.outputs?.toJSON() ?? []).some(one => one.output_type === 'error'),
}));}"""
)  # fmt: skip
READY: Final = (
    "() => {" + PANEL + """
return Boolean(panel?.context.isReady && panel.sessionContext.isReady && kernel?.status === 'idle'
    && cells.length === panel.content.model.cells.length);}"""
)  # fmt: skip
#: What the command of the Run menu does; it does not wait, so that a cell that hangs can be named.
RUN: Final = """() => {
window.trackkitRan = false;
const over = () => { window.trackkitRan = true; };
window.jupyterapp.commands.execute('notebook:run-all-cells').then(over, over);}"""
#: A reply to a question sent last means that all messages before it are dealt with, pictures included.
SETTLE: Final = (
    "async ({quiet, within}) => {" + PANEL + """
const until = performance.now() + within;
let moved = 0;
const watch = new MutationObserver(() => { moved = performance.now(); });
watch.observe(panel.content.node, {subtree: true, childList: true, attributes: true, characterData: true});
try {
    while (performance.now() < until) {
        const asked = performance.now();
        const reply = kernel.requestKernelInfo().then(() => true);
        const answered = await Promise.race([reply, sleep(until - asked).then(() => false)]);
        await sleep(quiet);
        if (answered && moved <= asked && kernel.status === 'idle') return true;
    }
    return false;
} finally { watch.disconnect(); }}"""
)  # fmt: skip
#: The lab's log console as text. Errors in what answers a slider are told there only.
LOGGED: Final = """() => {
const plugins = window.jupyterapp.pluginRegistry;
const token = [...plugins._services.keys()].find(one => one.name.endsWith(':ILoggerRegistry'));
const loggers = plugins._plugins.get(plugins._services.get(token)).service.getLoggers();
return loggers.flatMap(one => one.outputAreaModel.toJSON()).map(one => one.ename
    ? `${one.ename}: ${one.evalue}` : [one.text ?? one.data?.['text/plain'] ?? ''].flat().join(''));}"""
#: Goes to the top; the height that the window lacks to show every cell. The lab adds empty room below them.
LACKS: Final = (
    "() => {" + PANEL + """
const outer = panel.content.node.querySelector('.jp-WindowedPanel-outer');
outer.scrollTop = 0;
const box = at => cells.at(at).node.getBoundingClientRect();
return Math.ceil(box(-1).bottom - box(0).top + 40 - outer.clientHeight);}"""
)  # fmt: skip
#: The time of the next key until the picture is another one and is about to be painted.
ARM: Final = """svg => {
const holder = svg.closest('.jupyter-widgets') ?? svg.parentElement;
const place = [...holder.querySelectorAll('svg')].indexOf(svg);
const before = svg.outerHTML;
window.trackkitTime = new Promise(resolve => {
    let pressed;
    const watch = new MutationObserver(() => {
        if (pressed === undefined) return;
        requestAnimationFrame(() => {
            const taken = performance.now() - pressed;
            const now = holder.querySelectorAll('svg')[place];
            if (!now || now.outerHTML === before) return;
            watch.disconnect();
            resolve(taken);
        });
    });
    addEventListener('keydown', () => { pressed = performance.now(); }, {capture: true, once: true});
    watch.observe(holder, {subtree: true, childList: true, attributes: true, characterData: true});
});}"""
TIMED: Final = """within => Promise.race(
    [window.trackkitTime, new Promise(done => setTimeout(() => done(null), within))])"""
#: Words as they are seen; a drawing's words stand apart from each other.
TEXT: Final = """element => element instanceof SVGElement
    ? [...element.querySelectorAll('text')].map(one => one.textContent).join(' ') : element.innerText"""


class Notebook:
    """An open notebook.

    Attributes
    ----------
    page : Page
        Its page, for whatever has no method here.
    lab : Lab
    path : str
        Where it lies in the lab.
    watch : Watch
        What went wrong on the page by itself, so far.
    """

    def __init__(self, page: Page, lab: Lab, path: str) -> None:
        self.page, self.lab, self.path = page, lab, path
        self.watch = Watch(page)

    def open(self, *, whole_lab: bool = False, within: float = 60.0) -> None:
        """Go to the notebook and wait until its kernel is ready [within, s]."""
        from playwright.sync_api import TimeoutError as TooLate

        self.page.add_init_script(f"window.trackkitPath = {json.dumps(self.path)};")
        self.page.goto(self.lab.address(self.path, whole_lab=whole_lab))
        try:
            self.page.wait_for_function(READY, timeout=within * 1000)
        except TooLate:
            seen = "; ".join([*self._dialogs(), *self.watch.seen]) or "the page says nothing"
            raise TimeoutError(f"{self.path} is not open after {within:g} s: {seen}") from None

    def run_all(self, *, within: float = 120.0) -> None:
        """Run every cell as the Run menu does; wait for the last one, or the first that fails [within, s].

        A cell that fails is no error here: `cell_errors` and `problems` tell of it.
        """
        from playwright.sync_api import TimeoutError as TooLate

        over = f"() => {{ {PANEL} const all = ({CELLS})(); return window.trackkitRan && "
        over += "kernel?.status === 'idle' && (all.every(one => one.ran) || all.some(one => one.failed)); }"
        self.page.evaluate(RUN)
        try:
            self.page.wait_for_function(over, timeout=within * 1000)
        except TooLate:
            states = self._cells()
            waiting = [self._name(at) for at, cell in enumerate(states) if not cell["ran"]]
            which = f"{waiting[0]} still runs" if waiting else "the kernel is not idle"
            raise TimeoutError(f"after {within:g} s {which}. {'; '.join(self._dialogs())}") from None
        self.settle()

    def settle(self, *, within: float = 20.0) -> None:
        """Wait until the kernel has answered everything and the notebook stands still [within, s]."""
        if not self.page.evaluate(SETTLE, {"quiet": QUIET, "within": within * 1000}):
            raise TimeoutError(f"{self.path} does not come to rest within {within:g} s")

    def close(self) -> None:
        """End the kernel and close the page."""
        from playwright.sync_api import Error

        with suppress(Error):  # a page that crashed or never opened; the lab ends its kernel when it stops
            self.page.evaluate(f"async () => {{ {PANEL} await panel?.sessionContext.shutdown(); }}")
        self.page.context.close()

    def cells_count(self) -> int:
        """Return how many cells the notebook has."""
        return len(self._cells())

    def cell_errors(self) -> list[str]:
        """Return the errors and warnings that stand under cells, each with its cell."""
        return [f"{self._name(at)}: {one}" for at, cell in enumerate(self._cells()) for one in cell["wrong"]]

    def problems(self, *, within: float = 20.0) -> list[str]:
        """Return everything that went wrong since the notebook was opened; nothing is right, so test for [].

        Errors under cells and on the page, messages in the lab's log, requests to outside, open dialogs,
        and a notebook that does not come to rest [within, s].
        """
        restless = []
        try:
            self.settle(within=within)
        except TimeoutError as late:
            restless = [str(late)]
        logged = [f"in the lab's log: {plain(one)}" for one in self.page.evaluate(LOGGED)]
        return [*self.cell_errors(), *logged, *self.watch.seen, *self._dialogs(), *restless]

    def slider(self, label: str) -> Locator:
        """Return the handle of the slider with this label (both handles of one for a range)."""
        words = self.page.locator(".widget-label", has_text=re.compile(rf"^\s*{re.escape(label)}\s*$"))
        return self.page.locator(".widget-slider").filter(has=words).locator("[role=slider]")

    def press(self, target: Locator, key: str, times: int = 1) -> None:
        """Focus an element once and press a key; the later presses go wherever the focus is then."""
        target.focus()
        for _ in range(times):
            self.page.keyboard.press(key)

    def picture(self, label: str) -> Locator:
        """Return the drawing whose description for the blind begins like this."""
        begins = f"[aria-label^={json.dumps(label, ensure_ascii=False)}]"
        return self.page.locator(f"svg{begins}, [role=img]{begins} svg")

    def picture_hash(self, picture: Locator) -> str:
        """Return a short text that differs whenever the drawing does."""
        drawn = str(picture.evaluate("svg => svg.outerHTML"))
        return hashlib.sha256(drawn.encode()).hexdigest()[:16]

    def wait_changed(self, picture: Locator, before: str, *, within: float = 10.0) -> str:
        """Wait until a drawing is another than it was and rests; return its new hash [within, s]."""
        for _ in range(max(1, round(within / 0.05))):
            if self.picture_hash(picture) != before:
                self.settle()
                return self.picture_hash(picture)
            self.page.wait_for_timeout(50)
        raise TimeoutError(f"the picture is still the same after {within:g} s")

    def text_of(self, target: Locator | str) -> str:
        """Return the words of an element (or of a CSS selector's) as they are seen, with single spaces."""
        element = self.page.locator(target) if isinstance(target, str) else target
        return " ".join(str(element.evaluate(TEXT)).split())

    def resize(self, size: tuple[int, int]) -> None:
        """Give the window another width and height [px]."""
        self.page.set_viewport_size({"width": size[0], "height": size[1]})
        self.settle()

    def screenshot(self, path: Path, *, whole: bool = False) -> None:
        """Save what the window shows as PNG; ``whole`` makes it as high as the notebook is long first."""
        size = self.page.viewport_size
        assert size is not None
        if whole:
            high = size["height"] + int(self.page.evaluate(LACKS))
            self.resize((size["width"], min(high, HIGHEST)))
            self.page.evaluate(LACKS)
        self.page.screenshot(path=path)
        if whole:
            self.resize((size["width"], size["height"]))

    def key_to_picture(
        self, slider: Locator, picture: Locator, key: str, n: int, *, within: float = 10.0, pause: float = 0.0
    ) -> list[float]:
        """Return the times from a key to the changed picture, each after the last has settled [ms].

        Before each key passes a pause [s], for what a panel does once its controls are still.

        Raises
        ------
        TimeoutError
            If a key leaves the picture as it is, as at the end of the slider.
        """
        times = []
        for turn in range(n):
            self.page.wait_for_timeout(pause * 1000)
            self.settle()
            picture.evaluate(ARM)
            slider.press(key)
            time = self.page.evaluate(TIMED, within * 1000)
            if time is None:
                raise TimeoutError(f"key {turn + 1} of {n} ({key}) did not change the picture")
            times.append(float(time))
        return times

    def _cells(self) -> list[dict[str, Any]]:
        return list(self.page.evaluate(CELLS))

    def _name(self, at: int) -> str:
        states = self._cells()
        return f"cell {at + 1} of {len(states)} ({states[at]['line'][:60]})"

    def _dialogs(self) -> list[str]:
        shown = self.page.locator(".jp-Dialog-content, .Toastify__toast").all_inner_texts()
        return [f"the lab asks or tells: {' '.join(text.split())}" for text in shown]


def plain(text: str) -> str:
    """Return text without the codes that colour it in a terminal."""
    return re.sub(r"\x1b\[[0-9;]*m", "", text).strip()


@contextmanager
def open_notebook(
    browser: Browser, lab: Lab, path: str, *, whole_lab: bool = False, size: tuple[int, int] = (1280, 900)
) -> Iterator[Notebook]:
    """Open a notebook of the lab in a window of its own; its kernel is ready and no cell has run.

    Parameters
    ----------
    browser : Browser
    lab : Lab
    path : str
        As `Lab.bring` returns it.
    whole_lab : bool
        Show the lab's side bar and tabs too; else the notebook alone.
    size : (int, int)
        Width and height of the window [px].
    """
    window = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, service_workers="block", reduced_motion="reduce"
    )
    notebook = Notebook(window.new_page(), lab, path)
    try:
        notebook.open(whole_lab=whole_lab)
        yield notebook
    finally:
        notebook.close()
