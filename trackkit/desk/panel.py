"""The one pattern of every panel: values of controls → library call → pictures; faults as words.

A panel's `work` answers a moved control at once; what takes longer waits in `settle` until the
controls have been still for a moment. If either fails, the words say why and the last good answer
stays, whole.
"""

from __future__ import annotations

import asyncio
from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from threading import RLock
from typing import TYPE_CHECKING, Any, ClassVar, Final

from trackkit.desk.controls import nearest_option
from trackkit.desk.fitter import STYLE_SHEET, Fitter
from trackkit.desk.words import numbers_html, settings_html, trouble_html, waiting_html
from trackkit.paper import NOTEBOOK_WIDTH, wrapped_lines
from trackkit.problems import CannotDo, FitError, InputProblems

if TYPE_CHECKING:
    from ipywidgets import HTML, VBox, Widget

    from trackkit.desk.picture import Picture

__all__ = ["EXPECTED", "Panel"]

#: What the library raises on purpose, and what a file that has gone raises; told as text in the panel.
EXPECTED: Final = (InputProblems, FitError, CannotDo, ValueError, OSError)
#: Controls that have been still for so long have settled, and a pause between two steps of settling [s].
STILL: Final = 0.4
#: Of what a control offers, an error names at most so many.
MOST_SAID: Final = 12
BREATH: Final = 0.01


class Panel(ABC):
    """Controls, numbers, pictures and sheets, and the state that they show.

    Subclasses make their controls and parts, call `_begin` at the end of ``__init__``, and answer in
    `work` and `settle`.

    Attributes
    ----------
    controls : dict of str to Widget
        By the name that `values` and `set` know them by.
    body : VBox
        The widget to show.
    """

    controls: dict[str, Widget]
    #: A notebook's cells and its widgets may run in threads of their own: whoever answers is alone meanwhile.
    _alone: ClassVar[RLock] = RLock()
    #: Which settling is the latest; steps of an older one are not taken.
    _turn = 0
    #: The job that is open, and the one that the last good answer, and the last whole one, is of.
    _opened: Path | None = None
    _answered: Path | None = None
    _shown: Path | None = None
    #: Whether a good answer waits to be settled.
    _pending = False
    #: Whether it is settled at once, so that what would only stand in until then need not be drawn.
    _at_once = False

    @abstractmethod
    def work(self, moved: frozenset[str]) -> None:
        """Answer controls that have moved: work out the result and draw it. Must be quick.

        ``job`` is among them if another job has been opened.
        """

    def settle(self) -> Iterator[None]:
        """Answer what takes longer, once the controls are still; yields where a moved control may cut in."""
        yield from ()

    def restore(self) -> None:  # noqa: B027  most panels change nothing before all is worked out
        """Show the last whole answer again, because a later one could not be settled."""

    @abstractmethod
    def told(self) -> str:
        """Return in plain text what the last whole answer was."""

    # --- state --------------------------------------------------------------------------------------

    @property
    def values(self) -> dict[str, Any]:
        """What the controls say, by name."""
        return {name: control.value for name, control in self.controls.items()}

    def set(self, **values: Any) -> None:
        """Set controls, and wait for the answer.

        Raises
        ------
        ValueError
            If there is no such control, or it takes no such value.
        """
        unknown = values.keys() - self.controls.keys()
        if unknown:
            known = ", ".join(self.controls)
            raise ValueError(f"no control {', '.join(sorted(unknown))}; there are {known}")
        if "job" in values and len(values) > 1:  # the others are meant for it
            self.set(job=values.pop("job"))
            if self.trouble:
                return
        with self._alone:
            before = {name: self.values[name] for name in values}
            with self._held():
                try:
                    for name, value in values.items():
                        self._put(name, value)
                except ValueError:
                    for name, value in before.items():
                        self._put(name, value)
                    raise
            self._answer_whole(frozenset(values))

    def _put(self, name: str, value: Any) -> None:
        """Set one control; ValueError if it does not take the value, or takes another instead."""
        control = self.controls[name]
        value = nearest_option(control, value)
        try:
            control.value = value
        except Exception as refused:  # traitlets has errors of its own for each kind of control
            offered = [repr(option) for option in getattr(control, "_options_values", ())]
            some = [*offered[:MOST_SAID], *(["..."] if len(offered) > MOST_SAID else [])]
            known = f"it takes {', '.join(some)}" if offered else str(refused)
            raise ValueError(f"{name} takes no {value!r}; {known}") from None
        taken = control.value
        if taken != value and not (isinstance(value, float) and abs(taken - value) < 1e-9):
            raise ValueError(f"{name} takes no {value!r}; the nearest it takes is {taken!r}")

    @property
    def trouble(self) -> str:
        """Why the last wish could not be answered; '' if it could."""
        return self._trouble_text

    # --- parts --------------------------------------------------------------------------------------

    def _switch(self) -> bool:
        """Open the job that is chosen, if it is another one; return whether it is.

        A job that cannot be opened leaves everything as it was.
        """
        chosen = Path(str(self.controls["job"].value))
        if chosen == self._opened:
            return False
        self._trouble.value = waiting_html(chosen.name)
        self.body.add_class("trackkit-opening")
        try:
            with self._held():
                self._open(chosen)
        finally:
            self.body.remove_class("trackkit-opening")
            self._trouble.value = ""
        self._opened = chosen
        return True

    @abstractmethod
    def _open(self, folder: Path) -> None:
        """Open a job and set the controls as its file says."""

    def _begin(
        self, parts: Sequence[Widget], pictures: Sequence[Picture], *, later: Sequence[Widget] = ()
    ) -> None:
        """Put the panel together, answer the first time, and listen to the controls.

        Parameters
        ----------
        parts : sequence of Widget
            What `work` keeps up with.
        pictures : sequence of Picture
        later : sequence of Widget
            What only `settle` brings up to date: pale until then.
        """
        from ipywidgets import HTML, Box, VBox

        self.pictures = tuple(pictures)
        self._holding = False
        self._timer: asyncio.TimerHandle | None = None
        self._trouble_text = ""
        self._trouble: HTML = HTML()
        row = Box(list(self.controls.values()))
        row.add_class("trackkit-controls")
        for part in later:
            part.add_class("trackkit-later")
        self.body: VBox = VBox([row, self._trouble, *parts, *later, Fitter()])
        self.body.add_class("trackkit-panel")
        for name, control in self.controls.items():
            control.observe(self._listener(name), names="value")
        self._answer_whole(frozenset(self.controls))

    def _listener(self, name: str) -> Any:
        def heard(_: object) -> None:
            if not self._holding:
                self._react(name)

        return heard

    def _react(self, name: str) -> None:
        """Answer a control that was moved by hand, and settle once it is still."""
        with self._alone:
            self._answer(frozenset([name]))
            self._settle_soon()

    @contextmanager
    def _held(self) -> Iterator[None]:
        """Keep the controls from being answered while several are set."""
        before, self._holding = self._holding, True
        try:
            yield
        finally:
            self._holding = before

    # --- answering ----------------------------------------------------------------------------------

    def _answer(self, moved: frozenset[str]) -> None:
        """Answer controls; while a job cannot be opened the others go on for the one that is open."""
        refused: Exception | None = None
        with self._own_faults_told():
            try:
                switched = self._switch()
            except EXPECTED as fault:
                refused, switched = fault, False
            if refused is None or (self._opened is not None and "job" not in moved):
                try:
                    self.work(moved - {"job"} | ({"job"} if switched else set()))
                except EXPECTED as fault:
                    refused = refused or fault
                else:
                    self._answered, self._pending = self._opened, True
        self._say(refused)
        (self.body.add_class if self._pending else self.body.remove_class)("trackkit-settling")
        self._show_whose()

    def _answer_whole(self, moved: frozenset[str]) -> None:
        """Answer controls and settle at once: nobody sees what is between."""
        self._at_once = True
        try:
            self._answer(moved)
        finally:
            self._at_once = False
        self._settle_now()

    def _show_whose(self) -> None:
        """Pale what is not of the job that is chosen; only the list of jobs moves while another is open."""
        chosen = Path(str(self.controls["job"].value))
        ours = self._answered in (None, chosen)
        (self.body.remove_class if ours else self.body.add_class)("trackkit-other")
        for name, control in self.controls.items():
            control.disabled = name != "job" and self._opened not in (None, chosen)

    @contextmanager
    def _own_faults_told(self) -> Iterator[None]:
        """Tell a fault that nobody expected before it goes on its way: on a page it would not be seen."""
        try:
            yield
        except Exception as fault:
            self._pending = False
            self._say(RuntimeError(f"this is a fault of the kit, not yours: {fault!r}"))
            raise

    def _settle_soon(self) -> None:
        """Settle once no control has moved for a moment; at once where nothing runs that could wait."""
        self._stop_waiting()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self._settle_now()
        else:
            self._timer = loop.call_later(STILL, self._settle_on, loop, self.settle(), self._turn)

    def _settle_on(self, loop: asyncio.AbstractEventLoop, steps: Iterator[None], turn: int) -> None:
        """Take one step, and leave room for a control to cut in before the next."""
        with self._alone:
            if turn != self._turn:
                return
            self._timer = None
            if self._step(steps):
                self._timer = loop.call_later(BREATH, self._settle_on, loop, steps, turn)

    def _settle_now(self) -> None:
        with self._alone:
            self._stop_waiting()
            steps = self.settle()
            while self._step(steps):
                pass

    def _step(self, steps: Iterator[None]) -> bool:
        """Take one step of settling the last good answer; return whether there are more."""
        if not self._pending:
            return False
        with self._own_faults_told():
            try:
                next(steps)
            except StopIteration:
                self._shown = self._answered
            except EXPECTED as fault:
                if self._shown is not None:
                    self.restore()
                    self._answered = self._shown
                self._say(fault)
                self._show_whose()
            else:
                return True
        self._pending = False
        self.body.remove_class("trackkit-settling")
        return False

    def _stop_waiting(self) -> None:
        """Leave what has not settled; its timer may be another thread's, and finds its turn gone."""
        self._turn += 1
        self._timer = None

    def _say(self, fault: Exception | None) -> None:
        self._trouble_text = "" if fault is None else str(fault)
        shown = self._answered.name if self._answered is not None else ""
        chosen = Path(str(self.controls["job"].value)).name
        self._trouble.value = trouble_html(fault, chosen, shown) if fault is not None else ""

    # --- showing ------------------------------------------------------------------------------------

    def plain(self) -> str:
        """Return in plain text what the panel shows, first why the last wish could not be answered."""
        self._catch_up()
        refused = f"NOT DONE: {self.trouble}" if self.trouble else ""
        told = f"{' · '.join(self.settings())}\n{self.told()}" if self._shown else ""
        between = f"Still from {self._shown.name}, before:" if refused and self._shown else ""
        return wrapped_lines(
            "\n".join(part for part in (refused, between, told) if part), width=NOTEBOOK_WIDTH
        )

    def still(self) -> str:
        """Return as HTML that needs no kernel what the panel shows, and of which job and settings."""
        self._catch_up()
        style = f"<style>{STYLE_SHEET.read_text(encoding='utf-8')}</style>"
        settings = settings_html(self.settings())
        pictures = [picture.still() for picture in self.pictures]
        parts = [
            style,
            settings,
            numbers_html(self.numbers()),
            self.lead(),
            *pictures,
            settings,
            self.sheet(),
        ]
        return "\n".join(part for part in parts if part)

    def lead(self) -> str:
        """Return what stands right under the numbers, as HTML: what stops the job before all else."""
        return ""

    def settings(self) -> list[str]:
        """Return what the answer holds for, the job first: a print must say what it is of."""
        return [self._shown.name] if self._shown else []

    def _catch_up(self) -> None:
        """Settle at once what still waits: what is told, kept or printed must be of one piece."""
        with self._alone:
            if self._pending:
                self._settle_now()

    def sheet(self) -> str:
        """Return what stands below the pictures, as HTML."""
        return ""

    def numbers(self) -> list[tuple[str, str]]:
        """Return the large numbers: what, and the number."""
        return []

    def _repr_mimebundle_(self, **_: object) -> Mapping[str, Any]:
        self._catch_up()
        live = self.body._repr_mimebundle_() or {}
        page = f"{self._trouble.value}{self.still() if self._shown else ''}"
        return {**live, "text/html": page, "text/plain": self.plain()}
