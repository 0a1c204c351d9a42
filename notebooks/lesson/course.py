"""The course as a folder and one zip: a list, lessons, handouts, worksheets, glossary."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from functools import partial
from html import escape
from pathlib import Path
from typing import Any

from edgekit.clinic.sheet.paper import QUIET, browser
from edgekit.errors import Cannot
from edgekit.files import write_file
from edgekit.safety import cautions
from lesson.glossary import glossary, linked
from lesson.page import framed, page, title_of
from lesson.teachers import assumed, instructor, minutes, notes

__all__ = ["LAUNCH", "course", "on_paper", "printed", "zipped"]

LAUNCH = ["--no-sandbox", *QUIET]  # root needs the first
KINDS = {
    "": "lesson",
    "_handout": "handout",
    "_teacher": "teacher's copy",
    "_teacher_handout": "teacher's handout",
}
MAX_ZIP = 8_000_000  # bytes
EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest a zip can hold
LEADS = (
    '<nav aria-label="Course"><p><a href="index.html">All lessons</a> · '
    '<a href="glossary.html">Glossary</a></p></nav>'
)


def course(
    books: Mapping[str, Mapping[str, Any]],
    folder: Path,
    sheets: Mapping[str, str] | None = None,
    *,
    words: str,
) -> list[Path]:
    """Write the course into a folder: lessons, handouts, worksheets, glossary, instructor's page.

    Parameters
    ----------
    books : mapping of str
        The executed notebooks by the names of their files.
    folder : Path
        What lies there under the same names is replaced; pages of an older course go.
    sheets : mapping of str to str, optional
        Worksheets and protocols in Markdown, by name.
    words : str
        The glossary, in the Markdown of the reference.

    Returns
    -------
    list of Path
        The files, the list of lessons first; nothing in them is fetched from elsewhere.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for old in (*folder.glob("*.html"), *folder.glob("*.pdf")):
        old.unlink()
    bench = {name: _note(text) for name, text in (sheets or {}).items()}
    titles = [(name, title_of(note)) for name, note in bench.items()]
    care = cautions()._repr_html_()
    made = {"index.html": _index(books, titles)}
    instructors = instructor(books, titles) + care + LEADS
    made["for_instructors.html"] = framed("For the instructor", instructors)
    numbers = f"<h1>Assumed numbers</h1>{assumed().text}{care}{LEADS}"
    made["assumed_numbers.html"] = framed("Assumed numbers", numbers)
    made["glossary.html"] = framed("Glossary", glossary(words) + care + LEADS)
    made |= {f"{name}.html": page(note, handout=True) for name, note in bench.items()}
    for stem, book in books.items():
        for kind in KINDS:
            teacher, handout = "teacher" in kind, "handout" in kind
            change = str if handout else partial(_led, words)
            made[f"{stem}{kind}.html"] = page(book, teacher=teacher, handout=handout, change=change)
    for name, html in made.items():
        write_file(folder / name, html, replace=True)
    return [folder / name for name in made]


def _led(words: str, body: str) -> str:
    """The body of a lesson with its words linked to the glossary, and where to go from it."""
    return linked(body, words) + LEADS


def zipped(folder: Path, target: Path) -> int:
    """Pack a folder of a course into one file to hand on; its size in bytes.

    The same files give the same bytes. The archive holds the folder, so that it unpacks into one.

    Raises
    ------
    Cannot
        The file would be larger than 8 MB, which many a mailbox refuses.
    """
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for path in sorted(folder.iterdir()):
            entry = zipfile.ZipInfo(f"{folder.name}/{path.name}", date_time=EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, path.read_bytes())
    data = held.getvalue()
    if len(data) > MAX_ZIP:
        remedy = "Draw fewer pictures of points, or leave lessons out."
        raise Cannot("a course larger than 8 MB", len(data), remedy)
    write_file(target, data, replace=True)
    return len(data)


def _note(text: str) -> Mapping[str, Any]:
    """A sheet in Markdown as a book of its own, with the cautions."""
    shown = {"data": {"text/html": cautions()._repr_html_()}}
    return {
        "cells": [
            {"cell_type": "markdown", "source": text, "metadata": {}},
            {"cell_type": "code", "source": "", "metadata": {}, "outputs": [shown]},
        ]
    }


def _index(books: Mapping[str, Mapping[str, Any]], sheets: Sequence[tuple[str, str]]) -> str:
    """The list: of each lesson its question, minutes and needs; no word of its answer."""
    rows = ""
    for stem, book in books.items():
        links = " · ".join(
            f'<a href="{stem}{kind}.html" aria-label="{name}, {stem[:2]}">{name}</a>'
            for kind, name in KINDS.items()
        )
        rows += (
            f"<h2>{stem[:2]} {escape(title_of(book))}</h2>"
            f"<p>{minutes(book)} minutes. You need {escape(notes(book).need)}.</p><p>{links}</p>"
        )
    bench = "".join(f'<li><a href="{name}.html">{escape(title)}</a></li>' for name, title in sheets)
    title = "Sharpening curettes and scalers: the lessons"
    intro = (
        "Each lesson asks before it answers. Open it in any browser, without a network; or print "
        "the handout for a class, and the teacher's handout, which has the answers open. The "
        "clinic, its instruments and its people are invented. All in all "
        f"{sum(map(minutes, books.values()))} minutes; the last lesson is for scientists."
    )
    body = (
        f'<h1>{title}</h1><p>{intro}</p><p><a href="for_instructors.html">For the instructor</a> · '
        f'<a href="glossary.html">Glossary</a></p>{rows}<h2>For the bench</h2><ul>{bench}</ul>'
    )
    return framed(title, body + cautions()._repr_html_())


def printed(files: list[Path]) -> list[Path]:
    """Print pages beside themselves as PDF; nothing where there is no browser, or no driver."""
    path = browser()
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        path = None
    if path is None:
        return []
    with sync_playwright() as driver:
        window = driver.chromium.launch(executable_path=path, args=LAUNCH)
        made = on_paper(window, files)
        window.close()
    return made


def on_paper(window: Any, files: list[Path]) -> list[Path]:
    """Print pages beside themselves as tagged PDF on A4, in a browser of Playwright's."""
    made = [file.with_suffix(".pdf") for file in files]
    for file, target in zip(files, made, strict=True):
        sheet = window.new_page()
        sheet.goto(file.resolve().as_uri())
        sheet.pdf(path=target, format="A4", tagged=True, prefer_css_page_size=True)
        sheet.close()
    return made
