"""The setting sheet as PDF on A4, set by matplotlib.

Why matplotlib: it is a dependency already, writes vectors and real text (found by a search and read
out by a screen reader) without a browser, and brings a font with Latin, Greek and Cyrillic
letters, which it embeds. A letter that the font lacks is refused by name, never dropped.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.ft2font import LoadFlags
from matplotlib.lines import Line2D
from matplotlib.patches import FancyBboxPatch, Polygon, Rectangle
from PIL import Image

from edgekit.clinic.sheet.content import Block, Sheet
from edgekit.clinic.sheet.drawing import Drawing, Ink, placed
from edgekit.errors import EdgekitError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["sheet_pdf", "sheet_png"]

WIDTH, HEIGHT, MARGIN = 210.0, 297.0, 9.0
GAP = 2.0
PT = 25.4 / 72
PICTURE = (22.0, 16.0)
LEAD = 1.22
"""Line to line, in sizes of the letters."""
SMALLEST = 0.75
"""A page is set smaller, down to this, before it is broken in two; smaller could not be read at arm's length."""
WEIGHT = {
    Ink.FACE: (2.0, "-"),
    Ink.STONE: (2.8, "-"),
    Ink.STONE_LATER: (2.8, (0, (1.6, 1.2))),
    Ink.HANDLE: (1.3, (0, (6, 2, 1.2, 2))),
    Ink.EDGE: (2.5, "-"),
}


@cache
def _font(bold: bool) -> FontProperties:
    return FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")


@cache
def _advance(letter: str, bold: bool) -> float:
    """Width of a letter [mm] per point of size; kerning, which only narrows, is left out."""
    font = get_font(findfont(_font(bold)))
    font.set_size(100, 72)
    return float(font.load_char(ord(letter), LoadFlags.NO_HINTING).linearHoriAdvance / 65536e2) * PT


def _width(text: str, size: float, *, bold: bool = False) -> float:
    return sum(_advance(letter, bold) for letter in text) * size


def _wrap(text: str, size: float, width: float, *, bold: bool = False) -> list[str]:
    """Lines that fit a width; a word longer than a line is cut."""
    lines, line = [], ""
    for given in text.split():
        word = given
        while _width(word, size, bold=bold) > width and len(word) > 1:
            head = next(
                k
                for k in range(len(word) - 1, 0, -1)
                if k == 1 or _width(word[:k], size, bold=bold) <= width
            )
            lines += [line] if line else []
            line = ""
            lines.append(word[:head])
            word = word[head:]
        trial = f"{line} {word}".strip()
        if line and _width(trial, size, bold=bold) > width:
            lines.append(line)
            trial = word
        line = trial
    return [*lines, line] if line or not lines else lines


@dataclass
class _Pen:
    """Draws on one page in millimetres from the top left; y grows downward."""

    ax: Axes | None
    scale: float

    def text(self, x: float, y: float, text: str, size: float, **style: Any) -> None:
        """One line with its base line at y."""
        if self.ax is not None:
            bold = style.pop("bold", False)
            self.ax.text(
                x,
                HEIGHT - y,
                text,
                fontsize=size * self.scale,
                family="DejaVu Sans",
                weight="bold" if bold else "normal",
                parse_math=False,
                va="baseline",
                **style,
            )

    def lines(self, x: float, y: float, lines: Sequence[str], size: float, **style: Any) -> float:
        """Several lines below y; the y below them."""
        step = size * PT * LEAD * self.scale
        for at, line in enumerate(lines):
            self.text(x, y + step * (at + 0.8), line, size, **style)
        return y + step * len(lines)

    def rule(self, y: float, weight: float, x0: float = MARGIN, x1: float = WIDTH - MARGIN) -> None:
        """A horizontal line."""
        if self.ax is not None:
            self.ax.add_line(Line2D([x0, x1], [HEIGHT - y] * 2, color="black", lw=weight))

    def box(self, x: float, y: float, width: float, height: float, weight: float) -> None:
        """A frame with its top left at (x, y)."""
        if self.ax is not None:
            self.ax.add_patch(
                Rectangle((x, HEIGHT - y - height), width, height, fill=False, lw=weight)
            )

    def mark(self, x: float, y: float, text: str, size: float) -> float:
        """A rounded frame about a bold word; its width."""
        width = max(_width(text, size * self.scale, bold=True) + 1.8, 4.6 * self.scale)
        height = size * PT * 1.15 * self.scale
        if self.ax is not None:
            base = HEIGHT - y - height * 0.24
            self.ax.add_patch(
                FancyBboxPatch(
                    (x + 0.5, base),
                    width - 1.0,
                    height,
                    fill=False,
                    lw=1.0,
                    boxstyle="round,pad=0.25,rounding_size=1.2",
                )
            )
        self.text(x + width / 2, y, text, size, bold=True, ha="center")
        return width

    def drawing(self, x: float, y: float, picture: Drawing) -> None:
        """A drawing in its frame, top left at (x, y)."""
        if self.ax is None:
            return
        size = [side * self.scale for side in PICTURE]
        scale, offset = placed(picture, *size)
        corner = [x, HEIGHT - y - size[1]]
        for shape in picture.shapes:
            points = scale * shape.points + offset + corner
            if shape.ink is Ink.STEEL:
                self.ax.add_patch(Polygon(points, fc="#d9d9d9", ec="black", lw=0.7))
            else:
                weight, dash = WEIGHT[shape.ink]
                line = Line2D(
                    *points.T,
                    color="black",
                    lw=weight * self.scale,
                    ls=dash,
                    solid_capstyle="butt",
                    dash_capstyle="butt",
                )
                self.ax.add_line(line)


def _head(pen: _Pen, sheet: Sheet, number: int, of: int) -> float:
    """Title, headline and the order of work; the y below."""
    s = pen.scale
    y = MARGIN + 16 * PT * s
    page = f" · page {number} of {of}" if of > 1 else ""
    for line in _wrap(sheet.title + page, 16 * s, 118.0, bold=True):
        pen.text(MARGIN, y, line, 16, bold=True)
        y += 16 * PT * LEAD * s
    y -= 16 * PT * LEAD * s
    pen.text(WIDTH - MARGIN, y, "Date ____________ Operator ________", 10, ha="right")
    pen.rule(y + 1.6, 2.2)
    y += 2.4
    y = pen.lines(
        MARGIN, y, _wrap(sheet.headline, 10 * s, WIDTH - 2 * MARGIN, bold=True), 10, bold=True
    )
    if number > 1:
        return y + 1.5
    y = pen.lines(MARGIN, y + 0.3, _wrap(sheet.holder, 8.4 * s, WIDTH - 2 * MARGIN), 8.4)
    return _order(pen, sheet, y + 0.8)


def _order(pen: _Pen, sheet: Sheet, top: float) -> float:
    s = pen.scale
    columns = [MARGIN + offset * s for offset in (0, 16, 47, 81)]
    heads = ("in order", "handle to stone", "under the stone", "edges")
    for x, head in zip(columns, heads, strict=True):
        pen.lines(x, top, [head], 8)
    y = top + 8 * PT * LEAD * s
    for run in sheet.runs:
        pen.rule(y + 0.3, 0.6)
        lines = _wrap(run.edges, 10 * s, WIDTH - MARGIN - columns[3])
        base = y + 12 * PT * 1.05 * s
        pen.text(columns[0], base, run.number, 12, bold=True)
        pen.text(columns[1], base, run.elevation, 12, bold=True)
        past = columns[1] + _width(f"{run.elevation} ", 12 * s, bold=True)
        pen.text(past, base, run.within, 10)
        pen.text(columns[2], base, run.riser, 10)
        for at, line in enumerate(lines):
            pen.text(columns[3], base + at * 10 * PT * LEAD * s, line, 10)
        y = base + (len(lines) - 1) * 10 * PT * LEAD * s + 1.2 * s
    return y + 1.2


def _block(pen: _Pen, block: Block, x: float, top: float, width: float) -> float:
    """One edge; the y below it. A pen without a page measures only."""
    s, inner = pen.scale, x + 1.2
    room = width - 2.4
    face = _width(block.face, 8 * s)
    name = f"{block.instrument} {block.edge}{' · first' if block.urgent else ''}"
    title = _wrap(name, 11.5 * s, room - face - 2, bold=True)
    pen.text(x + width - 1.2, top + 11.5 * PT * 1.02 * s, block.face, 8, ha="right")
    y = pen.lines(inner, top + 0.3, title, 11.5, bold=True)
    pictures = y + 0.2
    for at, picture in enumerate(block.pictures):
        left = x + width - 0.8 - (2 - at) * PICTURE[0] * s
        pen.drawing(left, pictures, picture)
    text_room = room - 2 * PICTURE[0] * s
    for line in block.lines:
        base = y + 12 * PT * 0.95 * s
        mark = pen.mark(inner, base, line.mark, 8.6)
        pen.text(inner + mark + 1.0, base, line.elevation, 12, bold=True)
        past = inner + mark + 2.0 + _width(line.elevation, 12 * s, bold=True)
        if line.within:
            pen.text(past, base, line.within, 9.4)
            past += 1.6 + _width(line.within, 9.4 * s)
        under = base > pictures + PICTURE[1] * s  # below the drawings a line has the whole width
        wide = room if under else text_room
        where = [line.where] if past + _width(line.where, 9.4 * s) <= inner + wide else []
        if where:
            pen.text(past, base, line.where, 9.4)
        work = [f"{line.roll}, {line.work}"] if under else [line.roll, line.work]
        below = [*(() if where else (line.where,)), *work]
        wrapped = [part for item in below for part in _wrap(item, 9.4 * s, wide)]
        y = pen.lines(inner, base + 1.2 * s, wrapped, 9.4) + 0.4
    y = max(y, pictures + PICTURE[1] * s)
    pen.box(inner + 0.2, y + 0.5, 2.6 * s, 2.6 * s, 0.9)
    check = _wrap(block.check, 8.4 * s, room - 4.4 * s)
    y = pen.lines(inner + 4.2 * s, y, check, 8.4) + 0.6
    pen.box(x, top, width, y - top, 0.9)
    return y


def _foot(pen: _Pen, sheet: Sheet, top: float, *, last: bool) -> float:
    """What is left, the cautions and how to read the sheet; the y below."""
    s, y, room = pen.scale, top, WIDTH - 2 * MARGIN
    if last and sheet.left:
        y = pen.lines(MARGIN, y, ["Not in this session"], 10, bold=True)
        items = [part for item in sheet.left for part in _wrap(f"– {item}", 7.6 * s, room)]
        y = pen.lines(MARGIN, y, items, 7.6) + 1
    words = _wrap(f"Before you begin. {' '.join(sheet.cautions)}", 8 * s, room - 3)
    end = pen.lines(MARGIN + 1.5, y + 0.7, words, 8) + 0.9
    pen.box(MARGIN, y, room, end - y, 1.7)
    return pen.lines(MARGIN, end + 0.8, _wrap(sheet.legend, 7.4 * s, room), 7.4)


def _pages(sheet: Sheet, scale: float) -> list[list[tuple[Block, float, float]]]:
    """Blocks with their places, page by page: down the left column, then down the right."""
    pen = _Pen(None, scale)
    width = (WIDTH - 2 * MARGIN - GAP) / 2
    pages: list[list[tuple[Block, float, float]]] = [[]]
    foot = _foot(pen, sheet, 0.0, last=True)
    top = y = _head(pen, sheet, 1, 1)
    column = 0
    for block in sheet.blocks:
        height = _block(pen, block, 0.0, 0.0, width)
        if y + height > HEIGHT - MARGIN - foot and y > top:
            column, y = column + 1, top
            if column == 2:
                pages.append([])
                column, top = 0, _head(pen, sheet, 2, 9)
                y = top
        pages[-1].append((block, MARGIN + column * (width + GAP), y))
        y += height + 1.4
    return pages


def sheet_pdf(sheet: Sheet) -> bytes:
    """The sheet as a PDF file.

    Raises
    ------
    EdgekitError
        A letter that the font does not have.
    """
    scale, pages = _laid_out(sheet)
    file = io.BytesIO()
    about = {"Title": sheet.title, "Creator": None, "Producer": None, "CreationDate": None}
    with mpl.rc_context(SETTINGS), PdfPages(file, metadata=about) as pdf:
        for number, blocks in enumerate(pages, start=1):
            pdf.savefig(_paper(sheet, blocks, scale, number, len(pages)))
    return file.getvalue()


def sheet_png(sheet: Sheet, dpi: float) -> bytes:
    """The first page as an image."""
    scale, pages = _laid_out(sheet)
    file = io.BytesIO()
    with mpl.rc_context(SETTINGS):
        figure = _paper(sheet, pages[0], scale, 1, len(pages))
        # drawn large, since letters drawn small are hinted wider than they print
        figure.savefig(file, format="png", dpi=4 * dpi)
    small = io.BytesIO()
    # black on white: sixteen greys are enough, and a notebook stays small
    grey = Image.open(file).convert("L").reduce(4)
    grey.quantize(16).save(small, format="png", optimize=True)
    return small.getvalue()


SETTINGS: Any = {"pdf.fonttype": 42, "font.family": "DejaVu Sans", "text.parse_math": False}


def _laid_out(sheet: Sheet) -> tuple[float, list[list[tuple[Block, float, float]]]]:
    """The scale at which the sheet fits one page, or 1 and several pages."""
    _check_letters(sheet)
    scale = 1.0
    while len(_pages(sheet, scale)) > 1 and scale > SMALLEST:
        scale = max(round(scale - 0.02, 2), SMALLEST)
    pages = _pages(sheet, scale)
    if len(pages) > 1:
        scale = 1.0
        pages = _pages(sheet, scale)
    return scale, pages


def _paper(
    sheet: Sheet, blocks: list[tuple[Block, float, float]], scale: float, number: int, of: int
) -> Figure:
    """One page as a figure."""
    figure = Figure(figsize=(WIDTH / 25.4, HEIGHT / 25.4))
    ax = figure.add_axes((0, 0, 1, 1))
    ax.set(xlim=(0, WIDTH), ylim=(0, HEIGHT))
    ax.set_axis_off()
    pen = _Pen(ax, scale)
    y = _head(pen, sheet, number, of)
    width = (WIDTH - 2 * MARGIN - GAP) / 2
    for block, x, top in blocks:
        y = max(y, _block(pen, block, x, top, width))
    _foot(pen, sheet, y + 1.6, last=number == of)
    return figure


def _check_letters(sheet: Sheet) -> None:
    """Refuse what cannot be printed."""
    known = get_font(findfont(_font(bold=False))).get_charmap()
    words = [sheet.title, *sheet.left]
    words += [run.edges for run in sheet.runs]
    words += [f"{block.instrument} {block.edge}" for block in sheet.blocks]
    for text in words:
        strange = [letter for letter in text if ord(letter) not in known and letter.isprintable()]
        if strange or not text.isprintable():
            raise EdgekitError(
                "the font of the PDF lacks a letter of this text",
                text,
                "Write the sheet as .html and print that, or use other letters.",
            )
