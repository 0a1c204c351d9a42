"""From an executed notebook to a page that needs no network, for students or with answers open."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from html import escape
from typing import Any

from edgekit.errors import BadArgument
from lesson.parts import SHUT, asset

__all__ = ["framed", "page", "title_of"]

# To the end of its paragraph: how to run what a page has run already.
ONLY_IN_LAB = re.compile(r"In JupyterLab press (?:[^\n]|\n(?!\n))*")
# What a phone moves sideways must be reached by keyboard too.
TABLE = re.compile(r"<table>(.*?<th[^>]*>(.*?)</th>.*?)</table>", re.DOTALL)
SCROLLS = (
    r'<div class="scroll" role="region" aria-label="table: \2" tabindex="0"><table>\1</table></div>'
)


def page(
    book: Mapping[str, Any],
    *,
    teacher: bool = False,
    handout: bool = False,
    change: Callable[[str], str] = str,
) -> str:
    """A page of an executed notebook: its text and outputs in one column, its code left out.

    Parameters
    ----------
    book : mapping
        An executed notebook, as `nbformat` reads it.
    teacher : bool
        With the cells for teachers, and every reply, answer and fold open.
    handout : bool
        For paper: the question, the flip book, the checks and the bench, without what is to be seen
        in between.
    change : callable
        What a course does to the body of its pages, such as linking the words of its glossary.

    Returns
    -------
    str
        HTML with style and script inside it; nothing is fetched.

    Raises
    ------
    BadArgument
        No title: the first line of the first cell is no heading.
    """
    parts = []
    for cell in _without_see(book["cells"]) if handout else book["cells"]:
        tags = cell["metadata"].get("tags", [])
        if "setup" in tags or ("teacher" in tags and not teacher):
            continue
        kind = "teacher" if "teacher" in tags else "text"
        if cell["cell_type"] == "markdown":
            parts.append(f'<div class="{kind}">{_markdown(cell["source"])}</div>')
        else:
            parts += [f'<div class="out">{text}</div>' for text in map(_output, cell["outputs"])]
    body = "".join(parts)
    if teacher:
        body = opened(body)
    title = title_of(book) + (" (teacher's copy)" if teacher else "")
    return framed(title, change(body), handout=handout)


def framed(title: str, body: str, *, handout: bool = False) -> str:
    """A whole page around a body: style and script inside it, nothing fetched."""
    style = asset("lesson.css") + asset("page.css")
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{style}</style></head>\n"
        f"<body{' class=handout' * handout}><main>{body}</main>\n"
        f"<script>{asset('lesson.js')}</script></body></html>\n"
    )


def _without_see(cells: Iterable[Mapping[str, Any]]) -> Iterator[Mapping[str, Any]]:
    """The cells but those from the heading "See" up to the heading "Play"."""
    seen = False
    for cell in cells:
        heads = re.findall(r"^## (.*)$", cell["source"], re.MULTILINE)
        if cell["cell_type"] == "markdown" and heads:
            seen = heads[-1] == "See"
        if not seen:
            yield cell


def title_of(book: Mapping[str, Any]) -> str:
    """The notebook's question: the heading at its start."""
    first = book["cells"][0]["source"].split("\n")[0]
    if not first.startswith("# "):
        raise BadArgument("a notebook starts with its title", first, "Write '# ' and the question.")
    return str(first[2:])


def opened(body: str) -> str:
    """The same with replies, answers, folds and what a first question shuts open, as a teacher's
    copy has them."""
    body = body.replace(f" {SHUT}>", ">").replace(" ek-gate", "")
    return body.replace("<details", "<details open")


def _markdown(source: str) -> str:
    from nbconvert.filters import markdown2html

    made = str(markdown2html(ONLY_IN_LAB.sub("", source)))
    return TABLE.sub(SCROLLS, made)


def _output(output: Mapping[str, Any]) -> str:
    """One output of a cell: its HTML where it has some, else its text."""
    data = output.get("data", {})
    if "text/html" in data:
        return str(data["text/html"])
    text = output.get("text") or data.get("text/plain") or ""
    return f"<pre>{escape(str(text))}</pre>"
