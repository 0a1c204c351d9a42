"""The glossary of the course: the words of the reference that a clinic uses, as one page."""

from __future__ import annotations

import re
from html import escape

from edgekit.errors import BadArgument

__all__ = ["entries", "glossary", "linked"]

CODE = re.compile(r"(?:(?<=[.?] )|^)`[^`]*`(?:, `[^`]*`)*\.(?: |$)")  # a sentence of code alone
# Entries that lessons say in their ordinary sense as well: a link there would mislead.
ORDINARY = frozenset(
    [
        "back",
        "look",
        "clear",
        "pass",
        "run",
        "life",
        "log",
        "depth",
        "status",
        "reach",
        "interval",
        "guide",
        "station",
        "target",
        "budget",
        "outline",
        "cycle",
        "window",
        "width",
        "tip",
        "chip",
        "riser",
        "advance",
        "land",
        "teeth",
        "level",
    ]
)
PLACE = re.compile(r"[^a-z]+")


def entries(text: str) -> dict[str, dict[str, str]]:
    """Terms and what they mean, by chapter, from the Markdown of the reference's glossary.

    Examples
    --------
    >>> entries("## Blade\\n```{glossary}\\nheel\\n  The end of an edge. `ek.Edge`.\\n```")
    {'Blade': {'heel': 'The end of an edge.'}}
    """
    made: dict[str, dict[str, str]] = {}
    for chapter in re.split(r"^## ", text, flags=re.MULTILINE)[1:]:
        title, body = chapter.split("\n", 1)
        terms: dict[str, str] = {}
        term = ""
        for line in body.splitlines():
            if line.startswith("  "):
                terms[term] = f"{terms[term]} {line.strip()}".strip()
            elif line.strip() and not line.startswith("```"):
                term = line.strip().removesuffix(" (ours)")
                terms[term] = ""
        made[title.strip()] = {name: _plain(name, words) for name, words in terms.items()}
    if not made:
        raise BadArgument("a glossary without a chapter", text[:80], "Give '## ' headings.")
    return made


def _plain(term: str, words: str) -> str:
    """What a term means, without the sentences that are code alone."""
    plain = CODE.sub("", words).strip()
    if "`" in plain:
        remedy = "Set it as a sentence of its own, at the end."
        raise BadArgument(f"{term}: code within a sentence", words[:80], remedy)
    return plain


def place(term: str) -> str:
    """The anchor of a term on the glossary's page."""
    return "term-" + PLACE.sub("-", term.lower()).strip("-")


def glossary(text: str) -> str:
    """The body of the glossary's page: a list of terms for each chapter."""
    body = "<h1>Glossary</h1><p>Words as the lessons use them. The unit of a number stands in "
    body += "square brackets.</p>"
    for title, terms in entries(text).items():
        body += f"<h2>{escape(title)}</h2><dl>"
        for term, words in terms.items():
            body += f'<dt id="{place(term)}">{escape(term)}</dt><dd>{escape(words)}</dd>'
        body += "</dl>"
    return body


def linked(body: str, text: str) -> str:
    """A page's paragraphs with each term of the glossary linked where it first stands.

    Only plain words of paragraphs are touched: no heading, link, control or picture.

    Examples
    --------
    >>> words = "## Blade\\n```{glossary}\\nheel\\n  The end.\\n```"
    >>> linked('<p>From the heel.</p><p>The heel.</p>', words).count("<a ")
    1
    """
    terms = {term for chapter in entries(text).values() for term in chapter} - ORDINARY
    paragraphs = re.split(r"(<p>.*?</p>)", body, flags=re.DOTALL)
    for term in sorted(terms, key=lambda term: (-len(term), term)):
        word = re.compile(rf"(?<![\w-]){re.escape(term)}(?![\w-])")
        for k in range(1, len(paragraphs), 2):
            parts = re.split(r"(<a .*?</a>|<[^>]*>)", paragraphs[k], flags=re.DOTALL)
            spots = [i for i in range(0, len(parts), 2) if word.search(parts[i])]
            if spots:
                i = spots[0]
                anchor = f'<a href="glossary.html#{place(term)}">{term}</a>'
                parts[i] = word.sub(anchor, parts[i], count=1)
                paragraphs[k] = "".join(parts)
                break
    return "".join(paragraphs)
