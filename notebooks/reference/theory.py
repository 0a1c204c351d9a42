"""The theory notebook as a page: its words, its code and what it printed when it last ran."""

from __future__ import annotations

import json
import re
from pathlib import Path

NOTEBOOK = Path(__file__).parents[1] / "theory.ipynb"
TITLE = re.compile(r"^(#+ (T\d+)\.)", re.MULTILINE)
ROW = re.compile(r"^\| (T\d+) \|", re.MULTILINE)


def page() -> str:
    """The notebook as Markdown. Its stored outputs are those that ``build.py check`` compares."""
    book = json.loads(NOTEBOOK.read_text(encoding="utf-8"))
    return "\n\n".join(cell_text(cell) for cell in book["cells"]) + "\n"


def numbers() -> list[str]:
    """Numbers of the formulas, in order."""
    return [match[1] for match in TITLE.findall(page())]


def cell_text(cell: dict[str, object]) -> str:
    """One cell: words with a target before each formula, or code with what it printed."""
    source = "".join(cell["source"])  # type: ignore[arg-type]
    if cell["cell_type"] == "markdown":
        targeted = TITLE.sub(lambda match: f"({match[2].lower()})=\n{match[1]}", source)
        return ROW.sub(lambda match: f"| [{match[1]}](#{match[1].lower()}) |", targeted)
    printed = "".join(
        "".join(output.get("text", ""))
        for output in cell["outputs"]  # type: ignore[attr-defined]
    )
    block = f"```python\n{source}\n```"
    return f"{block}\n\n```text\n{printed.rstrip()}\n```" if printed else block
