"""A panel in a running notebook, used as a person uses it: by keys, and by what is seen to change.

A panel answers at once and goes on for a second or so once its controls are still. Nothing here waits for
that long and hopes: it waits until what must change is another than it was.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final, TypeVar

if TYPE_CHECKING:
    from page import Notebook
    from playwright.sync_api import Locator

__all__ = ["Panel"]

Seen = TypeVar("Seen")

#: How often a page is looked at while something is waited for [s].
LOOK: Final = 0.05
#: What of the numbers is worked out later than the picture.
LATER: Final = "the truck"
NUMBERS: Final = """panel => Object.fromEntries([...panel.querySelectorAll('.trackkit-numbers > div')]
    .map(one => ['.trackkit-what', '.trackkit-number'].map(part => one.querySelector(part).innerText)))"""
#: The pictures that can be seen: description and drawing.
PICTURES: Final = """panel => [...panel.querySelectorAll('.trackkit-picture[role=img]')]
    .filter(one => one.getClientRects().length)
    .map(one => [one.getAttribute('aria-label'), one.innerHTML])"""
OFFERED: Final = (
    """list => [[...list.options].map(one => one.textContent.replaceAll('\xa0', ' ')), list.selectedIndex]"""
)
UNNAMED: Final = """boxes => boxes.filter(one => one.getClientRects().length).flatMap(box => {
    const part = name => box.querySelector(name).textContent.trim().replaceAll('\xa0', ' ');
    const says = name => box.querySelector('[role=slider]').getAttribute(name);
    const pairs = [['aria-label', part('.widget-label')], ['aria-valuetext', part('.widget-readout')]];
    return pairs.filter(([name, wanted]) => says(name) !== wanted)
        .map(([name, wanted]) => `${pairs[0][1]}: ${name} is ${says(name)}, not ${wanted}`);
})"""
FIND: Final = """
const found = [...window.jupyterapp.shell.widgets('main')].find(one => one.context?.path === path);
"""
SOURCES: Final = f"""path => {{ {FIND}
return found.content.widgets.map(one => one.model.sharedModel.getSource());}}"""
EXECUTE: Final = f"""async ([path, code]) => {{ {FIND}
const kernel = found.sessionContext.session.kernel;
const asked = kernel.requestExecute({{code, silent: false, store_history: false}});
let printed = '';
asked.onIOPub = ({{content}}) => {{ printed += content.text ?? ''; }};
const {{content}} = await asked.done;
return [printed, content.status === 'ok' ? '' : `${{content.ename}}: ${{content.evalue}}`];}}"""


class Panel:
    """A panel of a notebook that has run.

    Parameters
    ----------
    notebook : Notebook
    place : int, optional
        Which of several, from the top; by default the only one.

    Attributes
    ----------
    notebook : Notebook
    page : Page
    """

    def __init__(self, notebook: Notebook, place: int | None = None) -> None:
        self.notebook, self.page = notebook, notebook.page
        every = self.page.locator(".trackkit-panel")
        self.body = every if place is None else every.nth(place)

    # --- what is seen -------------------------------------------------------------------------------

    @property
    def numbers(self) -> dict[str, str]:
        """The large numbers: what, and the number."""
        return dict(self.body.evaluate(NUMBERS))

    @property
    def waits(self) -> bool:
        """Whether the large numbers are still being worked out."""
        return self.body.locator(".trackkit-numbers.trackkit-waits").count() > 0

    @property
    def trouble(self) -> str:
        """Why the last wish could not be answered; '' if it could."""
        return " ".join(self._there(".trackkit-trouble"))

    @property
    def sheet(self) -> str:
        """The words and lists below the pictures."""
        return " ".join(self._there(".trackkit-sheet"))

    def words(self, begins: str) -> str:
        """Return the description of the picture whose description begins like this."""
        return self._picture(begins)[0]

    def picture(self, begins: str) -> str:
        """Return how that picture is drawn."""
        return self._picture(begins)[1]

    def figures(self, begins: str) -> list[str]:
        """Return the words and figures that are written in that picture."""
        return list(self.body.locator(f".trackkit-picture[aria-label^='{begins}'] text").all_text_contents())

    def seen(self, *begins: str) -> dict[str, object]:
        """Return the numbers that are known at once, and each of the pictures as it is drawn."""
        known = {what: number for what, number in self.numbers.items() if what != LATER}
        return {"the numbers": known, **{begin: self.picture(begin) for begin in begins}}

    def sources(self) -> list[str]:
        """Return what stands in the notebook's cells."""
        return list(self.page.evaluate(SOURCES, self.notebook.path))

    def pictures(self) -> list[tuple[str, str]]:
        """Return the description and the drawing of each picture that can be seen, from the top."""
        return [(words, drawn) for words, drawn in self.body.evaluate(PICTURES)]

    def _picture(self, begins: str) -> tuple[str, str]:
        shown = self.pictures()
        found = [(words, drawn) for words, drawn in shown if words.startswith(begins)]
        told = [words[:60] for words, _ in shown]
        assert len(found) == 1, f"{len(found)} pictures begin with {begins!r} among {told}"
        return found[0]

    def _there(self, selector: str) -> list[str]:
        return [" ".join(text.split()) for text in self.body.locator(selector).all_inner_texts()]

    # --- keys ---------------------------------------------------------------------------------------

    def select(self, label: str) -> Locator:
        """Return the list with this name."""
        return self.body.get_by_label(label, exact=True).and_(self.page.locator("select"))

    def choose(self, label: str, words: str) -> None:
        """Focus a list and go to what begins like this by arrow keys."""
        control = self.select(label)
        control.focus()
        offered, at = control.evaluate(OFFERED)
        (wanted,) = [place for place, option in enumerate(offered) if option.startswith(words)]
        for _ in range(abs(wanted - at)):
            self.page.keyboard.press("ArrowDown" if wanted > at else "ArrowUp")

    def slide(self, label: str, key: str, times: int = 1) -> None:
        """Focus a slider once it can be seen, and press a key."""
        slider = self.notebook.slider(label)
        slider.wait_for(state="visible")  # else the focus, and the key, would stay where they were
        self.notebook.press(slider, key, times)

    def reads(self, label: str) -> str:
        """Return the figure beside a slider."""
        name = self.page.get_by_text(label, exact=True).and_(self.page.locator(".widget-label"))
        return str(
            self.page.locator(".widget-slider").filter(has=name).locator(".widget-readout").inner_text()
        )

    def unnamed_sliders(self) -> list[str]:
        """Return the sliders seen that a screen reader cannot name, or whose figure it would read wrongly."""
        return list(self.body.locator(".widget-slider").evaluate_all(UNNAMED))

    def cell(self, label: str) -> Locator:
        """Return the cell of the table with this label; what names its row may follow."""
        return self.body.locator(f"table input:is([aria-label='{label}'], [aria-label^='{label},'])")

    def type_into(self, label: str, text: str) -> None:
        """Type a text into a cell in place of what stands there, and go on to the next."""
        self.cell(label).focus()
        self.page.keyboard.press("Control+a")
        self.page.keyboard.type(text)
        self.page.keyboard.press("Tab")

    # --- the kernel -----------------------------------------------------------------------------------

    def run(self, code: str) -> str:
        """Run code in the notebook's kernel, beside its cells; return what it prints."""
        printed, wrong = self.page.evaluate(EXECUTE, [self.notebook.path, code])
        assert not wrong, f"{code}: {wrong}"
        return str(printed).strip()

    # --- waiting ------------------------------------------------------------------------------------

    def wait(
        self, look: Callable[[], Seen], wanted: Callable[[Seen], Any], what: str, *, within: float = 40.0
    ) -> Seen:
        """Look until it is as wanted; return what was seen [within, s].

        Raises
        ------
        AssertionError
            If it does not get there: what was waited for, and what is there instead.
        """
        until = time.monotonic() + within
        while not wanted(found := look()):
            if time.monotonic() > until:
                told = f"; the panel says: {self.trouble}" if self.trouble else ""
                raise AssertionError(f"after {within:g} s not yet: {what}{told}; there is {found!r:.600}")
            self.page.wait_for_timeout(LOOK * 1000)
        return found

    def wait_changed(self, before: dict[str, object]) -> None:
        """Wait until each thing that `seen` returned is another."""

        def same() -> list[str]:
            now = self.seen(*list(before)[1:])
            return [part for part, old in before.items() if now[part] == old]

        self.wait(same, lambda left: not left, "a change of all that should change; unchanged is left")

    def wait_worked_out(self) -> None:
        """Wait until the large numbers have been worked out, and the notebook rests."""
        self.wait(lambda: self.waits, lambda waits: not waits, "the large numbers worked out")
        self.notebook.settle()
