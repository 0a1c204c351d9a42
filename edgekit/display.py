"""Text as it is seen, and HTML for results in a notebook, in which every text is escaped."""

from collections.abc import Iterable, Sequence
from html import escape
from unicodedata import category, normalize


def hidden(text: str) -> list[str]:
    """The letters of a text that cannot be seen: direction marks, joiners, control characters.

    Examples
    --------
    >>> hidden("A\u200b1")
    ['U+200B']
    """
    if text.isascii() and text.isprintable():
        return []
    return [f"U+{ord(c):04X}" for c in text if category(c) in ("Cc", "Cf") and not c.isspace()]


def visible(text: str) -> str:
    """A text without letters that cannot be seen, composed (NFC), every blank a plain one.

    Examples
    --------
    >>> visible("A\u200b1\u00a0b")
    'A1 b'
    """
    if text.isascii() and text.isprintable():
        return text
    shown = (" " if c.isspace() else c for c in normalize("NFC", text))
    return "".join(c for c in shown if category(c) not in ("Cc", "Cf"))


def escaped(text: object) -> str:
    """A text for HTML that neither opens a tag nor turns the direction of what follows."""
    return escape(visible(str(text)), quote=True)


def html_text(text: object, *, bold: object = "") -> str:
    """A paragraph, with a few words in bold before it.

    Examples
    --------
    >>> html_text("a < b", bold="so")
    '<p><b>so</b> a &lt; b</p>'
    """
    start = f"<b>{escaped(bold)}</b> " if bold else ""
    return f"<p>{start}{escaped(text)}</p>"


def html_list(items: Iterable[object], *, bold: object = "") -> str:
    """A list under a heading in bold."""
    start = f"<b>{escaped(bold)}</b>" if bold else ""
    return f"{start}<ul>{''.join(f'<li>{escaped(item)}</li>' for item in items)}</ul>"


def html_table(header: Sequence[object], rows: Iterable[Sequence[object]]) -> str:
    """A table with column headings.

    Examples
    --------
    >>> html_table(["edge", "µm"], [["left", "5.2"]])
    '<table><tr><th>edge</th><th>µm</th></tr><tr><td>left</td><td>5.2</td></tr></table>'
    """
    head = "".join(f"<th>{escaped(cell)}</th>" for cell in header)
    body = "".join(
        "<tr>" + "".join(f"<td>{escaped(cell)}</td>" for cell in row) + "</tr>" for row in rows
    )
    return f"<table><tr>{head}</tr>{body}</table>"
