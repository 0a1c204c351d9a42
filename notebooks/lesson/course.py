"""The course as a folder: a list of lessons, their pages, handouts for class and teachers."""

from __future__ import annotations

import re
import shutil
from collections.abc import Mapping
from html import escape
from pathlib import Path
from typing import Any

from edgekit.files import write_file
from edgekit.safety import cautions
from lesson.page import page, title_of
from lesson.parts import asset

__all__ = ["BROWSERS", "QUIET", "course", "on_paper", "printed"]

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
# For root, and asking nobody for anything.
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
KINDS = {
    "": "lesson",
    "_handout": "handout",
    "_teacher": "teacher's copy",
    "_teacher_handout": "teacher's handout",
}


def course(
    books: Mapping[str, Mapping[str, Any]], folder: Path, sheets: Mapping[str, str] | None = None
) -> list[Path]:
    """Write the pages of all lessons and a list of them into a folder.

    Parameters
    ----------
    books : mapping of str
        The executed notebooks by the names of their files.
    folder : Path
        What lies there under the same names is replaced.
    sheets : mapping of str to str, optional
        Sheets for the bench in Markdown, by name.

    Returns
    -------
    list of Path
        The files, the list first; nothing in them is fetched from elsewhere.
    """
    folder.mkdir(parents=True, exist_ok=True)
    notes = {name: _note(text) for name, text in (sheets or {}).items()}
    made = {"index.html": _index(books, notes)}
    made |= {f"{name}.html": page(note, handout=True) for name, note in notes.items()}
    for stem, book in books.items():
        for kind in KINDS:
            options = {"teacher": "teacher" in kind, "handout": "handout" in kind}
            made[f"{stem}{kind}.html"] = page(book, **options)
    for name, html in made.items():
        write_file(folder / name, html, replace=True)
    return [folder / name for name in made]


def _note(text: str) -> Mapping[str, Any]:
    """A sheet in Markdown as a book of its own, with the cautions."""
    shown = {"data": {"text/html": cautions()._repr_html_()}}
    return {
        "cells": [
            {"cell_type": "markdown", "source": text, "metadata": {}},
            {"cell_type": "code", "source": "", "metadata": {}, "outputs": [shown]},
        ]
    }


def _index(books: Mapping[str, Mapping[str, Any]], notes: Mapping[str, Mapping[str, Any]]) -> str:
    """The list of lessons: number, question, minutes, and the kinds of page; then sheets."""
    rows = ""
    for stem, book in books.items():
        found = re.search(r"About (\d+) minutes", book["cells"][0]["source"])
        minutes = f"{found[1]} minutes" if found else ""
        links = " · ".join(
            f'<a href="{stem}{kind}.html" aria-label="{name}, {stem[:2]}">{name}</a>'
            for kind, name in KINDS.items()
        )
        rows += f"<h2>{stem[:2]} {escape(title_of(book))}</h2><p>{minutes}: {links}</p>"
    for name, note in notes.items():
        rows += f'<h2>For the bench</h2><p><a href="{name}.html">{escape(title_of(note))}</a></p>'
    title = "Sharpening curettes and scalers: the lessons"
    intro = (
        "Each lesson asks before it answers. Open it in any browser, without a network; or print "
        "the handout for a class, and the teacher's handout, which has the answers open. The "
        "clinic, its instruments and its people are invented."
    )
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>{asset('page.css')}</style></head>\n"
        f"<body><main><h1>{title}</h1><p>{intro}</p>{rows}{cautions()._repr_html_()}"
        "</main></body></html>\n"
    )


def printed(files: list[Path]) -> list[Path]:
    """Print pages beside themselves as PDF; nothing where there is no browser, or no driver."""
    path = next(filter(None, map(shutil.which, BROWSERS)), None)
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        path = None
    if path is None:
        return []
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=QUIET)
        made = on_paper(browser, files)
        browser.close()
    return made


def on_paper(browser: Any, files: list[Path]) -> list[Path]:
    """Print pages beside themselves as tagged PDF on A4, in a browser of Playwright's."""
    made = [file.with_suffix(".pdf") for file in files]
    for file, target in zip(files, made, strict=True):
        sheet = browser.new_page()
        sheet.goto(file.resolve().as_uri())
        sheet.pdf(path=target, format="A4", tagged=True, prefer_css_page_size=True)
        sheet.close()
    return made
