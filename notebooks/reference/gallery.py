"""Draw every public figure from its docstring's example, and show the lines that make it."""

from __future__ import annotations

import ast
import doctest
import inspect
import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import edgekit as ek
from edgekit.figures.words import Picture

from . import docstrings
from .names import ROOT, Name, figures

DPI = 160  # of the files; sharp on paper and on a projector
SHOWN_DPI = 100  # of the page
PLACE = "drawn"  # folder of the pictures


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """One figure: the lines that make it, the file it is in, and its words."""

    name: Name
    lines: str
    width_px: int
    alt: str
    caption: str

    @property
    def file(self) -> str:
        """Name of the picture's file."""
        return f"{self.name.dotted.replace('.', '-')}.png"

    def image(self) -> list[str]:
        """The picture as lines of a page."""
        return [
            f".. figure:: /{PLACE}/{self.file}",
            f"   :alt: {self.alt}",
            f"   :width: {self.width_px}px",
            "",
            f"   {docstrings.plain(self.caption)}",
            "",
        ]


def example(name: Name) -> tuple[str, str]:
    """The lines of a figure's example before its call, and the call itself."""
    found = doctest.DocTestParser().get_examples(inspect.getdoc(name.thing) or "")
    source = "".join(item.source for item in found)
    wanted = f"ek.{name.dotted}"
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and ast.unparse(node.func) == wanted:
            before = "".join(source.splitlines(keepends=True)[: node.lineno - 1])
            call = ast.get_source_segment(source, node)
            assert call is not None
            return before, inspect.cleandoc(call)
    raise LookupError(f"the example of {wanted} does not call it")


def draw(name: Name, folder: Path) -> Drawing:
    """Run a figure's example and keep the picture."""
    before, call = example(name)
    space: dict[str, Any] = {}
    exec(f"{before}drawn = {call}", space)  # noqa: S102 - the package's own example
    drawn = space["drawn"]
    picture = drawn if isinstance(drawn, Picture) else ek.figures.picture(drawn, dpi=DPI)
    scale = 1.0 if drawn is picture else SHOWN_DPI / DPI
    lines = before + call
    drawing = Drawing(
        name=name,
        lines=lines,
        width_px=round(picture.width_px * scale),
        alt=picture.alt,
        caption=picture.caption,
    )
    (folder / drawing.file).write_bytes(picture.png)
    return drawing


def draw_all(folder: Path) -> dict[str, Drawing]:
    """Draw every public figure, two at a time."""
    folder.mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(max_workers=2, initializer=prepare) as pool:
        drawings = list(pool.map(draw, figures(), [folder] * len(figures())))
    return {drawing.name.dotted: drawing for drawing in drawings}


def prepare() -> None:
    """Draw off the screen, from where the examples find the demo's files."""
    import matplotlib as mpl

    mpl.use("agg")
    os.chdir(ROOT)


def page(drawings: dict[str, Drawing]) -> str:
    """The gallery: each figure with its first sentence, its picture and its lines."""
    lines = ["Gallery", "=======", ""]
    lines += ["Every figure, drawn when this page was made by the lines below it. Its data are "]
    lines += ["examples, often far too few runs for a result; logs and pictures are the invented "]
    lines += ["demo's.", ""]
    for drawing in drawings.values():
        title = f"``ek.{drawing.name.dotted}``"
        lines += [title, "-" * len(title), "", docstrings.summary(drawing.name.thing), ""]
        lines += [*drawing.image(), ".. code-block:: python", ""]
        lines += [f"   {line}" for line in drawing.lines.splitlines()]
        lines.append("")
    return "\n".join(lines)
