"""What went wrong on a notebook's page, in words: errors, requests to outside, faults of access."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

if TYPE_CHECKING:
    from playwright.sync_api import ConsoleMessage, Error, Page, Request, WebSocket

__all__ = ["HARMLESS", "Watch", "serious_faults"]

#: Console errors that say nothing about a notebook: a part of the text, and why it may pass.
HARMLESS: Final[dict[str, str]] = {}
#: The only host that counts as this machine; the lab answers there, and Chromium finds no other.
LOOPBACK: Final = "127.0.0.1"
#: Addresses with these beginnings never leave the page.
INSIDE: Final = ("data:", "blob:", "about:")
#: Faults of access that count; the others are matters of taste.
SERIOUS: Final = ("serious", "critical")


class Watch:
    """Writes down what goes wrong on a page from now on.

    Attributes
    ----------
    seen : list of str
        One sentence each, in the order they happened; the same one is kept once.
    """

    def __init__(self, page: Page) -> None:
        self.seen: list[str] = []
        page.on("pageerror", self._page_error)
        page.on("console", self._console)
        page.on("request", self._request)
        page.on("websocket", self._request)
        page.on("crash", lambda _: self._keep("the page crashed"))

    def _keep(self, sentence: str) -> None:
        if sentence not in self.seen:
            self.seen.append(sentence)

    def _page_error(self, error: Error) -> None:
        self._keep(f"error on the page: {error}")

    def _console(self, message: ConsoleMessage) -> None:
        if message.type == "error" and not any(part in message.text for part in HARMLESS):
            self._keep(f"error in the console: {message.text} ({message.location.get('url', '')})")

    def _request(self, request: Request | WebSocket) -> None:
        if leaves_machine(request.url):
            self._keep(f"request to outside (stopped): {request.url}")


def leaves_machine(url: str) -> bool:
    """Say whether a request to this address would leave this machine."""
    return not url.startswith(INSIDE) and urlsplit(url).hostname != LOOPBACK


def serious_faults(page: Page, selector: str) -> list[str]:
    """Return what would stop people who cannot see or point: one sentence a faulty element.

    The rules come with the package axe-playwright-python; nothing is fetched.

    Parameters
    ----------
    page : Page
    selector : str
        CSS; what matches it is looked at, with all it contains. Something must match.
    """
    from axe_playwright_python.sync_playwright import Axe

    if page.locator(selector).count() == 0:
        raise ValueError(f"nothing on the page matches {selector!r}, so nothing was looked at")
    found = Axe().run(page, context={"include": [[selector]]}).response["violations"]
    return [
        f"{fault['impact']}: {fault['help']} ({fault['id']}): {node['html'][:160]}"
        for fault in found
        if fault["impact"] in SERIOUS
        for node in fault["nodes"]
    ]
