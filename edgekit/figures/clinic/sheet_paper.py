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
from matplotlib.patches import FancyBboxPatch, Polygon, Rectangle
from PIL import Image

from edgekit.clinic.sheet.content import Block, Line, Sheet
from edgekit.clinic.sheet.drawing import Drawing, Ink, placed
from edgekit.clinic.sheet.page import MIN_ZOOM, PICTURE_MM
from edgekit.errors import Cannot

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["sheet_pdf", "sheet_png"]

Page = list[tuple[Block, float, float]]  # blocks, and where each has its top left corner

PAPER_MM = WIDTH, HEIGHT = 210.0, 297.0
MARGIN, GAP = 9.0, 2.0
ROOM = WIDTH - 2 * MARGIN
COLUMN = (ROOM - GAP) / 2
PT = 25.4 / 72
LEAD = 1.22  # line to line, in sizes of the letters
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
    lines = [""]
    for word in text.split():
        for piece in _pieces(word, size, width, bold=bold):
            longer = f"{lines[-1]} {piece}".strip()
            if lines[-1] and _width(longer, size, bold=bold) > width:
                lines.append(piece)
            else:
                lines[-1] = longer
    return lines


def _pieces(word: str, size: float, width: float, *, bold: bool) -> list[str]:
    """A word in pieces that fit a width, each as long as can be."""
    pieces, used = [""], 0.0
    for letter in word:
        step = _advance(letter, bold) * size
        if pieces[-1] and used + step > width:
            pieces.append("")
            used = 0.0
        pieces[-1] += letter
        used += step
    return pieces


@dataclass
class _Pen:
    """Draws on one page in millimetres from the top left; y grows downward.

    Without Axes it draws nothing, and serves to measure.
    """

    ax: Axes | None
    scale: float

    def lead(self, size: float) -> float:
        """From line to line [mm]."""
        return size * PT * LEAD * self.scale

    def wrap(self, text: str, size: float, width: float, *, bold: bool = False) -> list[str]:
        """Lines of a text that fit a width at the scale of the page."""
        return _wrap(text, size * self.scale, width, bold=bold)

    def text(
        self, x: float, y: float, text: str, size: float, *, bold: bool = False, ha: str = "left"
    ) -> float:
        """One line with its base line at y; its width."""
        if self.ax is not None:
            weight = "bold" if bold else "normal"
            self.ax.text(x, HEIGHT - y, text, fontsize=size * self.scale, weight=weight, ha=ha)
        return _width(text, size * self.scale, bold=bold)

    def lines(
        self, x: float, y: float, lines: Sequence[str], size: float, *, bold: bool = False
    ) -> float:
        """Several lines below y; the y below them."""
        for at, line in enumerate(lines):
            self.text(x, y + self.lead(size) * (at + 0.8), line, size, bold=bold)
        return y + self.lead(size) * len(lines)

    def paragraph(
        self, x: float, y: float, text: str, size: float, width: float, *, bold: bool = False
    ) -> float:
        """A text wrapped to a width below y; the y below it."""
        return self.lines(x, y, self.wrap(text, size, width, bold=bold), size, bold=bold)

    def rule(self, y: float, weight: float) -> None:
        """A horizontal line from margin to margin."""
        if self.ax is not None:
            self.ax.plot([MARGIN, WIDTH - MARGIN], [HEIGHT - y] * 2, "k", lw=weight)

    def box(self, x: float, y: float, width: float, height: float, weight: float) -> None:
        """A frame with its top left at (x, y)."""
        if self.ax is not None:
            corner = x, HEIGHT - y - height
            self.ax.add_patch(Rectangle(corner, width, height, fill=False, lw=weight))

    def mark(self, x: float, y: float, text: str, size: float) -> float:
        """A rounded frame about a bold word; its width."""
        width = max(_width(text, size * self.scale, bold=True) + 1.8, 4.6 * self.scale)
        height = size * PT * 1.15 * self.scale
        if self.ax is not None:
            corner = x + 0.5, HEIGHT - y - height * 0.24
            frame = FancyBboxPatch(corner, width - 1.0, height, fill=False, lw=1.0)
            frame.set_boxstyle("round,pad=0.25,rounding_size=1.2")
            self.ax.add_patch(frame)
        self.text(x + width / 2, y, text, size, bold=True, ha="center")
        return width

    def drawing(self, x: float, y: float, picture: Drawing) -> None:
        """A drawing in its frame, top left at (x, y)."""
        if self.ax is None:
            return
        width, height = (side * self.scale for side in PICTURE_MM)
        scale, offset = placed(picture, width, height)
        corner = x, HEIGHT - y - height
        for shape in picture.shapes:
            points = scale * shape.points + offset + corner
            if shape.ink is Ink.STEEL:
                self.ax.add_patch(Polygon(points, fc="#d9d9d9", ec="black", lw=0.7))
            else:
                weight, dash = WEIGHT[shape.ink]
                self.ax.plot(*points.T, "k", lw=weight * self.scale, ls=dash, solid_capstyle="butt")


def _head(pen: _Pen, sheet: Sheet, number: int, of: int) -> float:
    """Title, headline and the order of work; the y below."""
    y = MARGIN + 16 * PT * pen.scale - pen.lead(16)
    page = f" · page {number} of {of}" if of > 1 else ""
    for line in pen.wrap(sheet.title + page, 16, 118.0, bold=True):
        y += pen.lead(16)
        pen.text(MARGIN, y, line, 16, bold=True)
    pen.text(WIDTH - MARGIN, y, "Date ____________ Operator ________", 10, ha="right")
    pen.rule(y + 1.6, 2.2)
    y = pen.paragraph(MARGIN, y + 2.4, sheet.headline, 10, ROOM, bold=True)
    if number > 1:
        return y + 1.5
    y = pen.paragraph(MARGIN, y + 0.3, sheet.holder, 8.4, ROOM)
    return _order(pen, sheet, y + 0.8)


def _order(pen: _Pen, sheet: Sheet, top: float) -> float:
    s = pen.scale
    columns = [MARGIN + offset * s for offset in (0, 16, 47, 81)]
    heads = ("in order", "handle to stone", "under the stone", "edges")
    for x, head in zip(columns, heads, strict=True):
        pen.lines(x, top, [head], 8)
    y = top + pen.lead(8)
    for run in sheet.runs:
        pen.rule(y + 0.3, 0.6)
        base = y + 12 * PT * 1.05 * s
        pen.text(columns[0], base, run.number, 12, bold=True)
        used = pen.text(columns[1], base, f"{run.elevation} ", 12, bold=True)
        pen.text(columns[1] + used, base, run.within, 10)
        pen.text(columns[2], base, run.riser, 10)
        lines = pen.wrap(run.edges, 10, WIDTH - MARGIN - columns[3])
        for at, line in enumerate(lines):
            pen.text(columns[3], base + at * pen.lead(10), line, 10)
        y = base + (len(lines) - 1) * pen.lead(10) + 1.2 * s
    return y + 1.2


def _block(pen: _Pen, block: Block, x: float, top: float, width: float) -> float:
    """One edge; the y below it."""
    s, left, room = pen.scale, x + 1.2, width - 2.4
    face = pen.text(x + width - 1.2, top + 11.5 * PT * 1.02 * s, block.face, 8, ha="right")
    name = f"{block.instrument} {block.edge}{' · first' if block.urgent else ''}"
    y = pen.paragraph(left, top + 0.3, name, 11.5, room - face - 2, bold=True)
    pictures, below = y + 0.2, y + 0.2 + PICTURE_MM[1] * s
    for at, picture in enumerate(block.pictures):
        pen.drawing(x + width - 0.8 - (2 - at) * PICTURE_MM[0] * s, pictures, picture)
    for line in block.lines:
        under = y + 12 * PT * 0.95 * s > below  # there a line has the whole width
        y = _line(pen, line, left, y, room if under else room - 2 * PICTURE_MM[0] * s, join=under)
    y = max(y, below)
    pen.box(left + 0.2, y + 0.5, 2.6 * s, 2.6 * s, 0.9)
    y = pen.paragraph(left + 4.2 * s, y, block.check, 8.4, room - 4.4 * s) + 0.6
    pen.box(x, top, width, y - top, 0.9)
    return y


def _line(pen: _Pen, line: Line, left: float, top: float, width: float, *, join: bool) -> float:
    """One step, its roll and work in one line if joined; the y below it."""
    s = pen.scale
    base = top + 12 * PT * 0.95 * s
    mark = pen.mark(left, base, line.mark, 8.6)
    past = left + mark + 2.0 + pen.text(left + mark + 1.0, base, line.elevation, 12, bold=True)
    if line.within:
        past += 1.6 + pen.text(past, base, line.within, 9.4)
    parts = [f"{line.roll}, {line.work}"] if join else [line.roll, line.work]
    if past + _width(line.where, 9.4 * s) <= left + width:
        pen.text(past, base, line.where, 9.4)
    else:
        parts.insert(0, line.where)
    wrapped = [row for part in parts for row in pen.wrap(part, 9.4, width)]
    return pen.lines(left, base + 1.2 * s, wrapped, 9.4) + 0.4


def _foot(pen: _Pen, sheet: Sheet, top: float, *, last: bool) -> float:
    """What is left, the cautions and how to read the sheet; the y below."""
    y = top
    if last and sheet.left:
        y = pen.lines(MARGIN, y, ["Not in this session"], 10, bold=True)
        for item in sheet.left:
            y = pen.paragraph(MARGIN, y, f"– {item}", 7.6, ROOM)
        y += 1
    cautions = f"Before you begin. {' '.join(sheet.cautions)}"
    end = pen.paragraph(MARGIN + 1.5, y + 0.7, cautions, 8, ROOM - 3) + 0.9
    pen.box(MARGIN, y, ROOM, end - y, 1.7)
    return pen.paragraph(MARGIN, end + 0.8, sheet.legend, 7.4, ROOM)


def _pages(sheet: Sheet, scale: float) -> list[Page]:
    """Blocks with their places, page by page: down the left column, then down the right."""
    pen = _Pen(None, scale)
    pages: list[Page] = [[]]
    foot = _foot(pen, sheet, 0.0, last=True)
    top = y = _head(pen, sheet, 1, 1)
    column = 0
    for block in sheet.blocks:
        height = _block(pen, block, 0.0, 0.0, COLUMN)
        if y + height > HEIGHT - MARGIN - foot and y > top:
            column, y = column + 1, top
            if column == 2:
                pages.append([])
                column, top = 0, _head(pen, sheet, 2, 9)
                y = top
        pages[-1].append((block, MARGIN + column * (COLUMN + GAP), y))
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


def _laid_out(sheet: Sheet) -> tuple[float, list[Page]]:
    """The scale at which the sheet fits one page, or 1 and several pages."""
    _check_letters(sheet)
    for hundredths in range(100, round(100 * MIN_ZOOM) - 2, -2):
        scale = max(hundredths / 100, MIN_ZOOM)
        pages = _pages(sheet, scale)
        if len(pages) == 1:
            return scale, pages
    return 1.0, _pages(sheet, 1.0)


def _paper(sheet: Sheet, blocks: Page, scale: float, number: int, of: int) -> Figure:
    """One page as a figure."""
    figure = Figure(figsize=(WIDTH / 25.4, HEIGHT / 25.4))
    ax = figure.add_axes((0, 0, 1, 1))
    ax.set(xlim=(0, WIDTH), ylim=(0, HEIGHT))
    ax.set_axis_off()
    pen = _Pen(ax, scale)
    y = _head(pen, sheet, number, of)
    for block, x, top in blocks:
        y = max(y, _block(pen, block, x, top, COLUMN))
    _foot(pen, sheet, y + 1.6, last=number == of)
    return figure


def _check_letters(sheet: Sheet) -> None:
    """Refuse what cannot be printed."""
    known = get_font(findfont(_font(bold=False))).get_charmap()
    for text in [sheet.title, *sheet.left, *(f"{b.instrument} {b.edge}" for b in sheet.blocks)]:
        if not text.isprintable() or any(ord(letter) not in known for letter in text):
            raise Cannot(
                "the font of the PDF lacks a letter of this text",
                text,
                "Write the sheet as .html and print that, or use other letters.",
            )
