"""Make the notebooks from their sources, execute them, and leave pages, handouts and a reference.

The one source of a notebook is its script in ``sources``. ``build NN`` writes the notebook, without
outputs, and what it says when executed into ``tests/regression_lessons.json``; ``check NN`` fails
where the notebook is not its source's, on an error, on anything written to stderr, on a picture
without alt text, and on words that differ from those stored. Without a number they take all.

``page NN`` makes a page of a notebook, ``course`` pages and handouts of all lessons, and one zip of
them; both execute what has changed since they last did. ``reference`` makes the reference of the
whole package, from its docstrings, as pages in ``build/reference/``; ``picture`` draws the README's
picture.
"""

import argparse
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from nbformat import NotebookNode

from edgekit.files import write_file
from lesson.course import course, printed, zipped
from lesson.page import page as lesson_page
from lesson.running import execute, executed, said, several
from lesson.source import HERE, lessons, saved, stems

# Small matrices: several threads of a linear-algebra library only get in each other's way.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

ROOT = HERE.parent
STORED = ROOT / "tests" / "regression_lessons.json"


def build(number: str) -> int:
    names = stems(number)
    for stem in names:
        write_file(HERE / f"{stem}.ipynb", saved(stem), replace=True)
    stored = json.loads(STORED.read_text("utf-8"))
    stored |= zip(names, map(said, several(executed, names)), strict=True)
    kept = {stem: stored[stem] for stem in stems() if stem in stored}
    write_file(STORED, json.dumps(kept, indent=1, ensure_ascii=False) + "\n", replace=True)
    print(f"wrote {', '.join(names)} and what they say")
    return 0


def check(number: str) -> int:
    stored = json.loads(STORED.read_text("utf-8"))
    code = 0
    for stem, faults in zip(stems(number), several(against(stored), stems(number)), strict=True):
        print(f"{stem}: {'; '.join(faults) or 'as committed'}", flush=True)
        code |= bool(faults)
    return int(code)


def against(stored: dict[str, Any]) -> Callable[[str], list[str]]:
    """What is wrong with a notebook as committed, and with what it says when executed again."""

    def faults(stem: str) -> list[str]:
        path = HERE / f"{stem}.ipynb"
        found = []
        if not path.is_file() or path.read_text("utf-8") != saved(stem):
            found.append("the notebook is NOT ITS SOURCE'S; run notebooks/build.py build")
        try:
            now = said(execute(stem))
        except Exception as error:  # noqa: BLE001 - one broken notebook must not hide the others
            return [*found, str(error)]
        before = stored.get(stem, {"answers": [], "cells": {}})
        return found + [f"SAYS OTHERWISE: {words}" for words in differences(before, now)]

    return faults


def differences(before: dict[str, Any], now: dict[str, Any]) -> list[str]:
    """Answers that changed, as they were and are, and the cells whose text changed."""
    found = []
    if before["answers"] != now["answers"]:
        found.append(f"answers {before['answers']}, now {now['answers']}")
    names = sorted(before["cells"].keys() | now["cells"].keys())
    return found + [n for n in names if before["cells"].get(n) != now["cells"].get(n)]


def page(number: str) -> int:
    """Execute one notebook and leave it as a page, and a lesson as a teacher's copy as well."""
    matching = stems(number)
    if len(matching) != 1:
        print(f"no notebook {number}; there are {', '.join(stems())}")
        return 2
    stem, book = matching[0], executed(matching[0])
    if stem == "theory":
        print(f"Open this page: {leave(stem, with_code(book))}")
        return 0
    print(f"Open this page: {leave(stem, lesson_page(book))}")
    if not stem[0].isdigit():  # a tool, with no answers to open
        return 0
    teachers = leave(f"{stem}_teacher", lesson_page(book, teacher=True))
    print(f"Teacher's copy, all answers open: {teachers}")
    return 0


def with_code(book: NotebookNode) -> str:
    """The theory is its code, so that its page shows it."""
    from nbconvert import HTMLExporter

    exporter = HTMLExporter(
        exclude_output_prompt=True, mathjax_url="", require_js_url="", jupyter_widgets_base_url=""
    )
    html: str = exporter.from_notebook_node(book)[0]
    return html


def whole_course() -> int:
    """All lessons: pages and handouts in build/course, and a zip."""
    print("Executing the lessons that are new or changed; all of them take some two minutes")
    books = dict(zip(lessons(), several(executed, lessons()), strict=True))
    bench = {path.stem: path.read_text("utf-8") for path in sorted(HERE.glob("*.md"))}
    words = (HERE / "reference" / "glossary.md").read_text("utf-8")
    folder = ROOT / "build" / "course"
    files = course(books, folder, bench, words=words)
    sheets = printed([file for file in files if "handout" in file.stem or file.stem in bench])
    size = zipped(folder, folder.with_suffix(".zip"))
    print(f"Open this page: {files[0]} ({len(files)} pages)")
    print(f"To hand on: {folder.with_suffix('.zip')} ({size / 1e6:.1f} MB)")
    missing = "no browser, so no PDF: print the handouts from yours"
    print(f"{len(sheets)} handouts as PDF beside them" if sheets else missing)
    return 0


def leave(name: str, html: str) -> Path:
    target = ROOT / "build" / f"{name}.html"
    target.parent.mkdir(exist_ok=True)
    write_file(target, html, replace=True)
    return target


def picture() -> int:
    """The README's picture, drawn again."""
    from lesson.hero import DPI, hero

    target = HERE / "blade.png"
    hero().figure.savefig(target, dpi=DPI, metadata={"Software": None})
    print(f"wrote {target.relative_to(ROOT)}")
    return 0


def reference() -> int:
    """Make the reference; it needs the extra of that name."""
    try:
        from reference.make import build as build_reference
    except ModuleNotFoundError as error:
        print(f"{error}. Run: uv run --extra reference notebooks/build.py reference")
        return 2
    return build_reference()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    whole = {"course": whole_course, "reference": reference, "picture": picture}
    parser.add_argument("what", choices=("build", "check", "page", *whole))
    parser.add_argument("number", nargs="?", default="", help="which notebook, such as 01")
    given = parser.parse_args()
    if given.what in whole:
        return whole[given.what]()
    if given.what == "page":
        return page(given.number or "02")
    return build(given.number) if given.what == "build" else check(given.number)


if __name__ == "__main__":
    sys.exit(main())
