"""From the one source of a notebook, a percent script, to the notebook without outputs."""

from __future__ import annotations

import re
from pathlib import Path

import jupytext
import nbformat
from nbformat import NotebookNode

__all__ = ["HERE", "SOURCES", "lessons", "notebook", "saved", "stems"]

HERE = Path(__file__).parents[1]
SOURCES = HERE / "sources"
# What a picture or a control has shown is said by the reader first, so that it begins shut.
HAPPENED = re.compile(r"^\*\*What happened\?\*\* (.*?)(?=\n\n|\Z)", re.MULTILINE | re.DOTALL)
FOLD = (
    "<details><summary>What happened? Say it yourself, then open</summary>"
    r"\n\n\1\n\n</details>"
)
KERNEL = {"name": "python3", "display_name": "Python 3", "language": "python"}


def stems(number: str = "") -> list[str]:
    """Names of the notebooks that start with a number, or of all: lessons first."""
    return sorted(path.stem for path in SOURCES.glob(f"{number}*.py"))


def lessons() -> list[str]:
    """Names of the lessons, which are numbered; what is not numbered does a job or derives."""
    return stems("[0-9]")


def notebook(text: str) -> NotebookNode:
    """A notebook without outputs from its source; the same text gives the same notebook.

    Parameters
    ----------
    text : str
        A percent script; Markdown stands in triple quotes, tags in the first line of a cell. A
        paragraph that starts with ``**What happened?**`` becomes a fold.

    Examples
    --------
    >>> book = notebook('# %% [markdown] tags=["teacher"]\\n\"\"\"\\nAsk aloud.\\n\"\"\"\\n')
    >>> [(cell.id, cell.source, cell.metadata.tags) for cell in book.cells]
    [('cell-00', 'Ask aloud.', ['teacher'])]
    """
    book: NotebookNode = jupytext.reads(text, fmt="py:percent")
    for number, cell in enumerate(book.cells):
        cell["id"] = f"cell-{number:02d}"
        cell.metadata.pop("cell_marker", None)
        if cell.cell_type == "markdown":
            cell.source = HAPPENED.sub(FOLD, cell.source)
    book.metadata = NotebookNode(kernelspec=KERNEL, language_info={"name": "python"})
    book.nbformat, book.nbformat_minor = 4, 5
    return book


def saved(stem: str) -> str:
    """What the file of a notebook holds, letter by letter."""
    text = (SOURCES / f"{stem}.py").read_text(encoding="utf-8")
    return str(nbformat.writes(notebook(text))) + "\n"
