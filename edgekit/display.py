"""HTML for results in a notebook: tables, lists and paragraphs, every text escaped."""

from collections.abc import Iterable, Sequence
from html import escape


def html_text(text: object, *, bold: object = "") -> str:
    """A paragraph, with a few words in bold before it.

    Examples
    --------
    >>> html_text("a < b", bold="so")
    '<p><b>so</b> a &lt; b</p>'
    """
    start = f"<b>{escape(str(bold))}</b> " if bold else ""
    return f"<p>{start}{escape(str(text))}</p>"


def html_list(items: Iterable[object], *, bold: object = "") -> str:
    """A list under a heading in bold."""
    start = f"<b>{escape(str(bold))}</b>" if bold else ""
    return f"{start}<ul>{''.join(f'<li>{escape(str(item))}</li>' for item in items)}</ul>"


def html_table(header: Sequence[object], rows: Iterable[Sequence[object]]) -> str:
    """A table with column headings.

    Examples
    --------
    >>> html_table(["edge", "µm"], [["left", "5.2"]])
    '<table><tr><th>edge</th><th>µm</th></tr><tr><td>left</td><td>5.2</td></tr></table>'
    """
    head = "".join(f"<th>{escape(str(cell))}</th>" for cell in header)
    body = "".join(
        "<tr>" + "".join(f"<td>{escape(str(cell))}</td>" for cell in row) + "</tr>" for row in rows
    )
    return f"<table><tr>{head}</tr>{body}</table>"
