"""The theory notebook as a page: its words, its code and what it printed when it last ran."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from lesson.running import executed
from lesson.source import SOURCES

TITLE = re.compile(r"^(#+ (T\d+)\.)", re.MULTILINE)
ROW = re.compile(r"^\| (T\d+) \|", re.MULTILINE)


def page() -> str:
    """The notebook as Markdown, executed."""
    return "\n\n".join(cell_text(cell) for cell in executed("theory")["cells"]) + "\n"


def numbers() -> list[str]:
    """Numbers of the formulas, in order."""
    return [match[1] for match in TITLE.findall((SOURCES / "theory.py").read_text("utf-8"))]


def cell_text(cell: Mapping[str, Any]) -> str:
    """One cell: words with a target before each formula, or code with what it printed."""
    source = cell["source"]
    if cell["cell_type"] == "markdown":
        targeted = TITLE.sub(lambda match: f"({match[2].lower()})=\n{match[1]}", source)
        return ROW.sub(lambda match: f"| [{match[1]}](#{match[1].lower()}) |", targeted)
    printed = "".join(output.get("text", "") for output in cell["outputs"])
    block = f"```python\n{source}\n```"
    return f"{block}\n\n```text\n{printed.rstrip()}\n```" if printed else block
