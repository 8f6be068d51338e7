"""The panels' words as HTML: large numbers, faults, sentences and tables. Every text is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Final

from trackkit.listed import Listing
from trackkit.problems import InputProblems

__all__ = [
    "list_html",
    "listing_html",
    "numbers_html",
    "pre_html",
    "settings_html",
    "sheet_html",
    "table_html",
    "title_html",
    "trouble_html",
    "waiting_html",
]

#: Answers longer than this are written smaller.
_LONG: Final = 16


def numbers_html(numbers: Sequence[tuple[str, str]], *, waits: bool = False) -> str:
    """Return what and number, in large type, side by side.

    Parameters
    ----------
    numbers : sequence of (what, number)
    waits : bool
        Whether they are still being worked out.
    """
    if not numbers:
        return ""
    parts = []
    for what, number in numbers:
        kind = "trackkit-number trackkit-long" if len(number) > _LONG else "trackkit-number"
        parts.append(
            f'<div><p class="trackkit-what">{escape(what)}</p><p class="{kind}">{escape(number)}</p></div>'
        )
    more = " trackkit-waits" if waits else ""
    return f'<div class="trackkit-numbers{more}" role="status">{"".join(parts)}</div>'


def settings_html(settings: Sequence[str]) -> str:
    """Return what a page is of, the first in bold; '' if there is nothing to say."""
    if not settings:
        return ""
    first, *others = map(escape, settings)
    return (
        f'<p class="trackkit-settings"><strong>{first}</strong>{"".join(f" · {one}" for one in others)}</p>'
    )


def waiting_html(name: str) -> str:
    """Return that a job is being opened, which may take a while."""
    return f'<p class="trackkit-settings" role="status">Opening {escape(name)} …</p>'


def trouble_html(fault: Exception, chosen: str = "", shown: str = "") -> str:
    """Return what is wrong, a paragraph a fault; a reader's screen says it at once.

    Parameters
    ----------
    fault : Exception
    chosen : str
        The job that it is about.
    shown : str
        The job whose numbers and pictures stand below all the same; '' if there is none.
    """
    found = [str(each) for each in fault.problems] if isinstance(fault, InputProblems) else [str(fault)]
    head = (
        f"{escape(chosen)}: this cannot be done as it stands."
        if chosen
        else "This cannot be done as it stands."
    )
    if shown and shown == chosen:
        head += " Numbers and pictures below are still those from before."
    elif shown:
        head += f" What stands below, pale, is {escape(shown)}, from before."
    paragraphs = "".join(f"<p>{escape(text)}</p>" for text in found)
    return f'<div class="trackkit-trouble" role="alert"><p><strong>{head}</strong></p>{paragraphs}</div>'


def sheet_html(*parts: str) -> str:
    """Return parts on one light sheet, one below the other; '' if there are none."""
    there = [part for part in parts if part]
    return f'<div class="trackkit-sheet">{"".join(there)}</div>' if there else ""


def title_html(title: str) -> str:
    """Return a title on a sheet."""
    return f"<h3>{escape(title)}</h3>"


def list_html(title: str, lines: Sequence[str]) -> str:
    """Return a title, if there is one, and a paragraph a line, STOP and CAUTION marked; '' without lines."""
    if not lines:
        return ""
    return (title_html(title) if title else "") + "".join(map(_paragraph, lines))


def _paragraph(line: str) -> str:
    if line.startswith("STOP"):
        return f'<p class="trackkit-stop">{escape(line)}</p>'
    word, found, rest = line.partition(":")
    if found and word == "CAUTION":
        return f'<p class="trackkit-caution"><strong>{word}:</strong>{escape(rest)}</p>'
    return f"<p>{escape(line)}</p>"


def pre_html(title: str, text: str, *, abreast: bool = False) -> str:
    """Return text as it is printed, under a title if there is one; in columns abreast if it is long."""
    head = title_html(title) if title else ""
    kind = "trackkit-scroll trackkit-card" if abreast else "trackkit-scroll"
    return f'{head}<pre class="{kind}" tabindex="0">{escape(text)}</pre>'


def listing_html(listing: Listing) -> str:
    """Return a listed table with how it is read."""
    notes = "".join(f"<p>{escape(note)}</p>" for note in listing.notes)
    table = table_html(
        listing.title, listing.head, listing.rows, right=listing.right, wide=listing.wide or None
    )
    return table + notes


def table_html(
    caption: str, head: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = (),
    wide: Sequence[int] | None = None,
) -> str:  # fmt: skip
    """Return a table; ``right`` are the columns of figures, only the ``wide`` ones may be broken."""
    own = dict.fromkeys(right, ' class="trackkit-figure"')
    if wide is not None:
        firm = set(range(len(head))) - set(right) - set(wide)
        own |= dict.fromkeys(firm, ' class="trackkit-word"')
    heads = "".join(
        f'<th scope="col"{own.get(i, "")}>{escape(word)}</th>' if word else "<td></td>"
        for i, word in enumerate(head)
    )
    body = "".join(
        "<tr>" + "".join(f"<td{own.get(i, '')}>{escape(cell)}</td>" for i, cell in enumerate(row)) + "</tr>"
        for row in rows
    )
    table = f"<table><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>"
    return f'<h3>{escape(caption)}</h3><div class="trackkit-scroll" tabindex="0">{table}</div>'
