"""The instructor's page and what the list says of a lesson, from its notes and its questions."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from html import escape, unescape
from typing import Any, NamedTuple

import edgekit as ek
from edgekit.errors import BadArgument
from lesson.page import title_of
from lesson.parts import Html, table

__all__ = ["Notes", "assumed", "instructor", "minutes", "notes", "questions"]

ASSUMED = ("assumed", "memory")  # statuses of numbers that stand on no published source
CLASSES = (
    ("Ten minutes, nothing set up", "Lesson 03 on a projector, and a disc of soap for each pair."),
    ("One hour", "Lessons 03 and 05 with the worksheet of the soap disc between them."),
    ("One hour, with a holder and a tray", "Lessons 02 and 09, with the pen marks between them."),
    ("One hour on numbers", "Lessons 06 and 08; for scientists 13 instead of 06."),
)


class Notes(NamedTuple):
    """What a lesson's last cell tells a teacher, each a sentence or more."""

    aim: str
    need: str
    predicts: str
    ask: str
    without: str
    assumed: str


def notes(book: Mapping[str, Any]) -> Notes:
    """The notes for teachers, taken apart.

    Raises
    ------
    BadArgument
        A part is missing: the aim, what is needed, what classes predict, what to ask aloud, what to
        do without a computer, or which numbers are assumed.
    """
    text = " ".join(book["cells"][-1]["source"].split())
    parts = [
        r"Aim: (.*?)\. \d+ minutes",
        r"You need: (.*?)\.(?= )",
        r"(Classes .*?\.)(?= [A-Z])",
        r"Ask aloud: (.*?\?)",
        r"Without a computer: (.*?)\.(?= [A-Z]|$)",
        r"Assumed: (.*)$",
    ]
    found = [re.search(part, text) for part in parts]
    missing = [part for part, match in zip(parts, found, strict=True) if match is None]
    if missing:
        raise BadArgument("notes for teachers lack a part", text[-300:], f"Add {missing}.")
    return Notes(*(match[1] for match in found if match))


def minutes(book: Mapping[str, Any]) -> int:
    """Minutes that a lesson says it takes."""
    found = re.search(r"About (\d+) minutes", book["cells"][0]["source"])
    if found is None:
        raise BadArgument("a lesson states its minutes", title_of(book), "Write 'About N minutes'.")
    return int(found[1])


def questions(book: Mapping[str, Any]) -> list[tuple[str, list[str]]]:
    """Each question of a lesson, with the ideas behind its wrong answers."""
    made = []
    for cell in book["cells"]:
        for output in cell.get("outputs", []):
            html = output.get("data", {}).get("text/html", "")
            for form in re.findall(r'<form class="ek-ask.*?</form>', "".join(html), re.DOTALL):
                asked = re.search(r"<legend>(.*?)</legend>", form, re.DOTALL)
                ideas = re.findall(r"The idea behind it: (.*?)\. ", form)
                made.append((unescape(asked[1]) if asked else "", [unescape(i) for i in ideas]))
    return made


def assumed() -> Html:
    """A table of the library's numbers that stand on no published source."""
    found = ek.evidence()
    found = found[found["status"].isin(ASSUMED)]
    taken = found["value"].map("{:g}".format) + " " + found["unit"].replace("1", "")
    shown = found.assign(name=found["name"].str.replace("_", " "), taken=taken)
    words = {"name": "number", "taken": "taken as", "spread": "may be", "status": "status"}
    words |= {"source": "why"}
    caption = f"{len(found)} of {len(ek.evidence())} numbers are assumed or recalled"
    return table(shown, words, caption=caption)


def instructor(books: Mapping[str, Mapping[str, Any]], sheets: Sequence[tuple[str, str]]) -> str:
    """The body of the instructor's page.

    Parameters
    ----------
    books : mapping
        The executed lessons by the names of their files.
    sheets : sequence of (str, str)
        Name and title of each worksheet and protocol of the course.
    """
    body = (
        "<h1>For the instructor</h1>"
        "<p>Each lesson asks before it answers. Let the class write its prediction down, then "
        "press the button; a wrong answer names the idea behind it, and that idea is what the "
        "lesson is about. The teacher's copies have every answer open. Handouts are one sheet of "
        "paper, and all that is learned by a control is printed on them. Nothing needs a network. "
        "The clinic, its instruments, people and records are invented.</p>"
        "<h2>Four ways to use it</h2><ul>"
    )
    body += "".join(f"<li><b>{escape(a)}.</b> {escape(b)}</li>" for a, b in CLASSES) + "</ul>"
    body += "<h2>Worksheets and protocols</h2><ul>"
    body += "".join(f'<li><a href="{n}.html">{escape(title)}</a></li>' for n, title in sheets)
    body += "</ul><h2>Lesson by lesson</h2>"
    body += "".join(map(_lesson, books, books.values()))
    body += (
        "<h2>Which numbers are assumed</h2><p>The library keeps every default number with its "
        "status and source. These stand on no published source, or were recalled and not read "
        "again; a conclusion that hangs on one of them is to be tried with another value: "
        '<a href="assumed_numbers.html">the list</a>.</p>'
    )
    return body


def _lesson(stem: str, book: Mapping[str, Any]) -> str:
    """What to know of one lesson before a class."""
    told, asked = notes(book), questions(book)
    ideas = "".join(
        f"<li>{escape(question)} <em>{escape('; '.join(wrong))}</em></li>"
        for question, wrong in asked
    )
    head = f"<h3>{stem[:2]} {escape(title_of(book))} ({minutes(book)} minutes)</h3>"
    rows = {
        "Aim": told.aim,
        "You need": told.need,
        "Before the answer": told.predicts,
        "Ask aloud": told.ask,
        "Without a computer": told.without,
        "Assumed": told.assumed,
    }
    words = "".join(f"<b>{name}.</b> {escape(text)}<br>" for name, text in rows.items())
    told_too = "Its questions, and the ideas behind wrong answers:"
    return f"{head}<p>{words}</p><p>{told_too}</p><ul>{ideas}</ul>"
