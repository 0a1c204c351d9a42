"""The setting sheet as a web page that prints on both sides of one A4: nothing is fetched.

The front is the work, the back how to do it; the dial has a page of its own, at its true size, for
what is cut out of it must not have the work on its other side. Only the front is set smaller when a
tray is large.
"""

from __future__ import annotations

import math

from edgekit.clinic.sheet.content import Block, Line, Sheet
from edgekit.clinic.sheet.drawing import svg
from edgekit.clinic.sheet.how_to import FIRST
from edgekit.display import escaped

STONE_MM, CLOCK_MM = (21.0, 13.5), (15.5, 14.5)
PAPER_MM = 277.0  # of 281: lines are counted, not set
# Heights on paper, measured: all that is always there and how it grows with the letters, a set-up
# and what its edges add, a block without steps, its drawings, a step and each line of its words.
FIXED_MM, GROWS_MM, RUN_MM, MORE_MM, BLOCK_MM, DRAWN_MM, STEP_MM, WORDS_MM = (
    *(56.0, 32.0, 5.7, 4.2),
    *(13.6, 15.2, 5.1, 3.9),
)
COLUMN_MM, PADDING_MM, PICTURES_MM = 95.0, 3.1, 38.5  # across; the column is that wide at any size
LETTER_MM, NAME_MM, GAUGE_MM, WIDTHS_MM = 1.85, 2.7, 50.0, 56.0
RUN_LETTERS, TITLE_LETTERS, LEFT_LETTERS = 50, 36, 100
# A page is set smaller, down to this, before it is broken in two; smaller could not be read at
# arm's length.
MIN_ZOOM = 0.72
CSS = """
@page { size: A4; margin: 8mm 9mm; }
* { box-sizing: border-box; }
body { font: 10pt/1.2 "DejaVu Sans", Verdana, sans-serif; color: #000; background: #fff;
  max-width: 192mm; margin: 4mm auto; padding: 0 2mm; overflow-wrap: anywhere; }
h1 { font-size: 16pt; margin: 0; flex: 1 1 60mm; min-width: 0; }
h2 { font-size: 10.5pt; margin: 1.6mm 0 0.6mm; }
h3 { font-size: 11.5pt; margin: 0; } p { margin: 0.7mm 0; } ul, ol { margin: 0; padding-left: 5mm; }
header { display: flex; flex-wrap: wrap; gap: 1mm 5mm; align-items: baseline;
  border-bottom: 0.8mm solid #000; padding-bottom: 0.8mm; }
.blank { display: inline-block; border-bottom: 0.25mm solid #000; min-width: 14mm; height: 1em; }
header .blank { min-width: 30mm; }
.before { border: 0.6mm solid #000; padding: 0.6mm 1.4mm; margin: 1mm 0; font-size: 9pt; }
.front > h2, .front > h2 + p { display: inline; margin-right: 1.5mm; }
.before h2 { display: inline; font-size: 9pt; }
table { border-collapse: collapse; width: 100%; }
th { font-size: 8pt; text-align: left; font-weight: normal; padding: 0 3mm 0 0; }
td { border-top: 0.2mm solid #000; padding: 0.1mm 3mm 0.1mm 0; vertical-align: baseline;
  font-weight: normal; }
td.big { font-size: 12pt; font-weight: bold; white-space: nowrap; }
td.set { white-space: nowrap; padding-right: 5mm; } td.edges { width: 60%; padding-right: 0; }
.blocks { columns: 2 70mm; column-gap: 2mm; margin-top: 1.4mm; }
section.edge { border: 0.35mm solid #000; padding: 0.5mm 1.2mm 0.8mm; break-inside: avoid;
  margin: 0 0 1.4mm; }
.name { display: flex; flex-wrap: wrap; justify-content: space-between; align-items: baseline;
  gap: 0 3mm; } .name h3 { min-width: 0; } .name span { font-size: 8pt; }
.work { display: flow-root; }
.work ol { list-style: none; padding: 0; }
.pictures { float: right; margin-left: 1mm; display: flex; gap: 1mm; line-height: 0;
  padding-top: 0.6mm; }
.work li { font-size: 8.2pt; }
li.step.step { margin: 0.1mm 0 0.5mm; font-size: 9.2pt; line-height: 1.16; }
.toe { font-weight: bold; }
.toe span { white-space: nowrap; }
b.mark { display: inline-block; min-width: 5mm; padding: 0 0.9mm; border: 0.35mm solid #000;
  border-radius: 2.4mm; text-align: center; font-size: 8.6pt; }
b.angle { font-size: 12pt; white-space: nowrap; } .keep { white-space: nowrap; }
.done { font-size: 8.2pt; display: flex; flex-wrap: wrap; justify-content: space-between;
  align-items: end; gap: 0 1.5mm; }
span.box { white-space: nowrap; font-weight: normal; }
span.box::before { content: ""; display: inline-block; width: 2.6mm; height: 2.6mm;
  border: 0.35mm solid #000; margin-right: 1mm; vertical-align: -0.3mm; }
.done .blank { min-width: 14mm; height: 4mm; }
.done b { font: 8.4pt "DejaVu Sans Mono", monospace; }
.small { font-size: 8.2pt; line-height: 1.2; }
.back svg { float: right; margin: 0 0 1mm 2mm; }
.back { font-size: 9pt; line-height: 1.22; } .back li { margin: 0 0 1mm; }
.terms { margin: 0; } .terms div { padding-left: 4mm; text-indent: -4mm; margin-bottom: 0.5mm; }
.terms dt, .terms dd { display: inline; margin: 0; } .terms dt { font-weight: bold; }
.cut { display: flex; flex-wrap: wrap; gap: 2mm 6mm; align-items: center; }
.cut svg { flex: none; max-width: 100%; height: auto; } .cut div { flex: 1 1 60mm; min-width: 0; }
@media screen and (max-width: 600px) { .blocks { columns: 1; } td.set { white-space: normal; }
  td.edges { width: auto; } }
@media print { body { margin: 0; padding: 0; max-width: none; }
  .front { zoom: ZOOM; padding-right: 0.3mm; } .back, .dial { break-before: page; }
  .blocks { columns: 2; } .cut svg { max-width: none; } }
"""


def print_zoom(sheet: Sheet) -> float:
    """How much smaller the front must print to stay on one side of A4, by counting its lines.

    Smaller letters leave room for more of them in a line.
    """
    for hundredths in range(100, round(100 * MIN_ZOOM) - 1, -1):
        zoom = hundredths / 100
        if _front_mm(sheet, zoom) * zoom <= PAPER_MM:
            return zoom
    return 1.0


def _front_mm(sheet: Sheet, zoom: float) -> float:
    """About how high the front is before it is set smaller."""
    runs = sum(RUN_MM + MORE_MM * int(len(run.edges) * zoom / RUN_LETTERS) for run in sheet.runs)
    blocks = [_block_mm(block, zoom) for block in sheet.blocks]
    column = min(
        (max(sum(blocks[:cut]), sum(blocks[cut:])) for cut in range(len(blocks))),
        default=0.0,
    )
    left = sum(1 + int(len(item) * zoom / LEFT_LETTERS) for item in sheet.left)
    fixed = FIXED_MM + GROWS_MM * (zoom - MIN_ZOOM)
    return fixed + runs + column + MORE_MM * (left + int(len(sheet.title) / TITLE_LETTERS))


def _block_mm(block: Block, zoom: float) -> float:
    """About how high a block is: the words of its first steps stand beside the drawings."""
    width = COLUMN_MM / zoom - PADDING_MM
    steps = 0.0
    for line in block.lines:
        across = width - PICTURES_MM if steps < DRAWN_MM else width
        letters = len(f"{line.work}, {' '.join(line.toe)} □ ink gone")
        steps += STEP_MM + WORDS_MM * math.ceil(LETTER_MM * letters / across)
    name = NAME_MM * len(f"{block.instrument} {block.edge}") + LETTER_MM * len(block.kind)
    more = int((name + GAUGE_MM) / width) + int((LETTER_MM * len(block.entry) + WIDTHS_MM) / width)
    return BLOCK_MM + max(DRAWN_MM, steps) + MORE_MM * more


def page(sheet: Sheet) -> str:
    """The whole page as text."""
    title = escaped(sheet.title)
    css = CSS.replace("ZOOM", f"{print_zoom(sheet):.2f}")
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>{css}</style></head><body>"
        f"<header><h1>{title}</h1><div>Date (year-month-day) {_blank()} "
        f"Operator {_blank()}</div></header>"
        f"<main>{_front(sheet)}{_back(sheet)}{_dial(sheet)}</main></body></html>\n"
    )


def _blank() -> str:
    """A line to write on, which a screen reader need not read out."""
    return '<span class="blank" aria-hidden="true"></span>'


def _front(sheet: Sheet) -> str:
    """The work: cautions, settings in order, one block per edge, what is left."""
    risers = any(run.riser for run in sheet.runs)
    runs = "".join(
        f'<tr><td class="big">{escaped(run.number)}</td>'
        f'<td class="set"><b class="angle">{escaped(run.elevation)}</b> {escaped(run.within)}</td>'
        + (f'<td class="set">{escaped(run.riser or "–")}</td>' if risers else "")
        + f'<td class="edges">{escaped(run.edges)}</td></tr>'
        for run in sheet.runs
    )
    left = "".join(f"<li>{escaped(item)}</li>" for item in sheet.left)
    left = f'<h2>Not by the holder, or not now</h2><ul class="small">{left}</ul>' if left else ""
    cautions = " ".join(escaped(item) for item in sheet.cautions)
    names = ("in order", "handle to stone", *(["under the stone"] if risers else []), "edges")
    heads = "".join(f'<th scope="col">{name}</th>' for name in names)
    return (
        f'<div class="front"><div class="before" role="note"><h2>Before you begin.</h2> {cautions}'
        f"</div><p><b>{escaped(sheet.headline)}</b></p>"
        f'<h2>Settings</h2><p class="small">{escaped(sheet.holder)} '
        "New to this? Read the back first, and allow much more time.</p>"
        f"<table><thead><tr>{heads}</tr></thead><tbody>{runs}</tbody></table>"
        f'<h2>Edges</h2><p class="small"><b>{FIRST}</b></p>'
        f'<div class="blocks">{"".join(map(_block, sheet.blocks))}</div>{left}</div>'
    )


def _block(block: Block) -> str:
    stone, clock = block.pictures
    pictures = svg(stone, width_mm=STONE_MM[0], height_mm=STONE_MM[1])
    pictures += svg(clock, width_mm=CLOCK_MM[0], height_mm=CLOCK_MM[1])
    first = " · first" if block.urgent else ""
    boxes = " ".join(f'<span class="box">{item}</span>' for item in ("stick bites", "no wire edge"))
    return (
        '<section class="edge"><div class="name">'
        f"<h3>{escaped(block.instrument)} {escaped(block.edge)}{first}</h3>"
        f"<span>{escaped(block.kind)}</span>"
        f'<span class="box">face to stone {escaped(block.gauge)}</span></div>'
        f'<div class="work"><div class="pictures">{pictures}</div>'
        f"<ol>{''.join(map(_line, block.lines))}<li>{boxes}</li></ol></div>"
        f'<div class="done"><span>last width {_blank()} mm</span>'
        f"<span>now <b>{escaped(block.entry)}</b>{_blank()} mm</span></div></section>"
    )


def _line(line: Line) -> str:
    toe = " ".join(f"<span>{escaped(piece)}</span>" for piece in line.toe)
    return (
        f'<li class="step"><b class="mark">{escaped(line.mark)}</b> '
        f'<b class="angle">{escaped(line.elevation)}</b> {escaped(line.within)} '
        f'<span class="keep">{escaped(line.where)}</span><br>'
        f'{escaped(line.work)}, <span class="toe">{toe}</span> '
        '<span class="box">ink gone</span></li>'
    )


def _back(sheet: Sheet) -> str:
    """How to work, the terms, the order and the minutes."""
    steps = "".join(f"<li>{escaped(step)}</li>" for step in sheet.steps)
    terms = "".join(
        f"<div><dt>{escaped(term)}:</dt> <dd>{escaped(meaning)}</dd></div>"
        for term, meaning in sheet.words
    )
    minutes = "".join(f"<p>{escaped(text)}</p>" for text in sheet.minutes)
    return (
        '<div class="back"><h2>How to work from this sheet</h2>'
        f"<p>{escaped(sheet.needs)}</p><ol>{steps}</ol>"
        f"{svg(sheet.toe, width_mm=50, height_mm=16) if sheet.toe else ''}"
        f'<h2>Terms</h2><dl class="terms">{terms}</dl><h2>Order and minutes</h2>'
        f"<p>{escaped(sheet.order)}</p>{minutes}<p>Begun {_blank()} ended {_blank()}</p></div>"
    )


def _dial(sheet: Sheet) -> str:
    """The dial at its true size, with nothing on its other side."""
    return (
        f'<div class="dial"><h2>Dial, to cut out</h2><div class="cut">{svg(sheet.dial)}<div>'
        f"<p>{escaped(sheet.dial_note)}</p><p>The line is 100 mm on paper; if a ruler says "
        f"otherwise, print at 100 %, not ‘fit to page’.</p>{svg(sheet.ruler)}</div></div></div>"
    )
