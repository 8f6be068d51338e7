"""What is wrong with the looks of a notebook's page, in words: too wide, cut off, written over each other."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from page import Notebook
    from playwright.sync_api import Page

__all__ = ["SIZES", "misfits", "open_code", "written_over"]

#: A small laptop and a desk's screen [px].
SIZES: Final = ((1280, 800), (1920, 1080))
#: Names of what is wider than its place; a table that scrolls in a frame of its own is not.
MISFITS: Final = """() => {
const found = [], seen = one => one.getClientRects().length > 0;
const name = one => `${one.tagName.toLowerCase()}.${one.className?.baseVal ?? one.className}`
    + ` '${(one.getAttribute('aria-label') ?? one.alt ?? one.textContent).trim().slice(0, 50)}'`;
const wide = one => one.scrollWidth > one.clientWidth + 1;
if (wide(document.documentElement)) found.push('the page scrolls sideways');
const places = '.jp-WindowedPanel-outer, .jp-OutputArea-output, .trackkit-panel';
for (const one of document.querySelectorAll(places))
    if (wide(one)) found.push(`scrolls sideways: ${name(one)}`);
const drawn = '.jp-OutputArea-output :is(svg, img), .trackkit-panel > *';
for (const one of document.querySelectorAll(drawn)) {
    const {left, right} = one.getBoundingClientRect();
    const place = one.closest('.jp-OutputArea-output').getBoundingClientRect();
    if (seen(one) && (right > Math.min(innerWidth, place.right) + 1 || left < place.left - 1))
        found.push(`reaches from ${left} to ${right} px in ${place.left} to ${place.right}: ${name(one)}`);
}
const told = '.widget-label, .widget-readout, .trackkit-numbers, .trackkit-numbers *';
for (const one of document.querySelectorAll(told))
    if (seen(one) && one.clientWidth && (wide(one) || one.scrollHeight > one.clientHeight + 2))
        found.push(`cut to ${one.clientWidth} of ${one.scrollWidth} px: ${name(one)}`);
return found;}"""
#: Pairs of words of one drawing that lie over each other. A word's box is higher than its ink: 2 px may pass.
OVER: Final = """drawings => drawings.flatMap(drawing => {
    const words = [...drawing.querySelectorAll('text')].filter(one => one.textContent.trim());
    const boxes = words.map(one => one.getBoundingClientRect());
    const found = [];
    boxes.forEach((a, i) => boxes.slice(i + 1).forEach((b, j) => {
        const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (across > 1 && down > 2)
            found.push(`'${words[i].textContent}' and '${words[i + 1 + j].textContent}'`
                + ` by ${across.toFixed(1)} x ${down.toFixed(1)} px`);
    }));
    return found;
})"""
CODE: Final = """cells => cells.filter(cell => {
    const code = cell.querySelector('.jp-InputArea-editor, .cm-editor');
    const bar = cell.querySelector('.jp-Placeholder');
    return code?.getClientRects().length || !bar?.getClientRects().length || !bar.innerText.startsWith('# ');
}).map(cell => cell.innerText.slice(0, 80))"""


def misfits(notebook: Notebook, size: tuple[int, int]) -> list[str]:
    """Return what has no room in a window of this size: one sentence each."""
    notebook.resize(size)
    return list(notebook.page.evaluate(MISFITS))


def written_over(page: Page, drawings: str) -> list[str]:
    """Return which words lie over each other in each drawing that matches; some must match."""
    found = page.locator(drawings)
    assert found.count() > 0, f"no drawing matches {drawings!r}, so none was looked at"
    return list(found.evaluate_all(OVER))


def open_code(page: Page) -> list[str]:
    """Return the code cells that show code, or that say in no words what they do."""
    return list(page.locator(".jp-CodeCell").evaluate_all(CODE))
