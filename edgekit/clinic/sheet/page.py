"""The setting sheet as a web page that prints on A4: plain HTML and CSS, nothing fetched."""

from __future__ import annotations

from edgekit.clinic.sheet.content import Block, Line, Sheet
from edgekit.clinic.sheet.drawing import svg
from edgekit.display import escaped

PICTURE_MM = (22.0, 16.0)
PAPER_MM = 277.0
# Heights on paper: all that is always there, a set-up, a line, an edge without its steps, its
# first step beside the drawings and each further one.
FIXED_MM, RUN_MM, LINE_MM, EDGE_MM, STEP_MM, NEXT_MM = 54.0, 5.2, 4.2, 11.0, 13.0, 9.2
RUN_LETTERS = 62
# A page is set smaller, down to this, before it is broken in two; smaller could not be read at
# arm's length.
MIN_ZOOM = 0.75
CSS = """
@page { size: A4; margin: 9mm; }
* { box-sizing: border-box; }
body { font: 10pt/1.18 "DejaVu Sans", Verdana, sans-serif; color: #000; background: #fff;
  width: 192mm; margin: 4mm auto; }
@media print { body { margin: 0; zoom: ZOOM; width: calc(192mm / ZOOM); } }
h1 { font-size: 16pt; margin: 0; } h2 { font-size: 10pt; margin: 1mm 0 0.4mm; }
p { margin: 0.6mm 0; } ul { margin: 0; padding-left: 4mm; }
header { display: flex; justify-content: space-between; align-items: baseline;
  border-bottom: 0.8mm solid #000; padding-bottom: 0.6mm; }
table { border-collapse: collapse; width: 100%; }
th { font-size: 8pt; text-align: left; font-weight: normal; padding: 0 3mm 0 0;
  white-space: nowrap; }
td { border-top: 0.2mm solid #000; padding: 0.1mm 3mm 0.1mm 0; vertical-align: baseline;
  white-space: nowrap; }
td.big { font-size: 12pt; font-weight: bold; }
td.edges { white-space: normal; width: 99%; padding-right: 0; }
.blocks { columns: 2; column-gap: 2mm; margin-top: 1.4mm; }
section { border: 0.35mm solid #000; padding: 0.5mm 1.2mm; break-inside: avoid; margin: 0 0 1.4mm; }
section h3 { font-size: 11.5pt; margin: 0; }
h3 span { font-size: 8pt; font-weight: normal; float: right; padding-top: 0.8mm; }
section .pictures { float: right; white-space: nowrap; line-height: 0; }
section ol { list-style: none; margin: 0; padding: 0; }
section li { margin: 0.2mm 0 0.5mm; font-size: 9.4pt; line-height: 1.14; }
b.mark { display: inline-block; min-width: 5mm; padding: 0 0.9mm; border: 0.35mm solid #000;
  border-radius: 2.4mm; text-align: center; font-size: 8.6pt; }
b.angle { font-size: 12pt; } .where { white-space: nowrap; }
.check { font-size: 8.4pt; clear: both; }
.check::before { content: ""; display: inline-block; width: 2.6mm; height: 2.6mm;
  border: 0.35mm solid #000; margin-right: 1.2mm; vertical-align: -0.3mm; }
.holder { font-size: 8.4pt; } .small { font-size: 7.4pt; line-height: 1.18; }
.cautions { border: 0.6mm solid #000; padding: 0.6mm 1.4mm; margin-top: 0.8mm; font-size: 8pt;
  line-height: 1.18; break-inside: avoid; }
"""


def print_zoom(sheet: Sheet) -> float:
    """How much smaller the page must print to stay on one sheet of A4, by counting its lines."""
    runs = sum(RUN_MM + LINE_MM * (len(run.edges) > RUN_LETTERS) for run in sheet.runs)
    blocks = [
        EDGE_MM + max(PICTURE_MM[1], STEP_MM + NEXT_MM * (len(block.lines) - 1))
        for block in sheet.blocks
    ]
    column = (sum(blocks) + max(blocks, default=0.0)) / 2
    height = FIXED_MM + runs + column + LINE_MM * len(sheet.left)
    zoom = min(1.0, PAPER_MM / height)
    return zoom if zoom >= MIN_ZOOM else 1.0


def page(sheet: Sheet) -> str:
    """The whole page as text."""
    runs = "".join(
        f'<tr><td class="big">{escaped(run.number)}</td>'
        f'<td><b class="angle">{escaped(run.elevation)}</b> '
        f"{escaped(run.within)}</td>"
        f'<td>{escaped(run.riser)}</td><td class="edges">{escaped(run.edges)}</td></tr>'
        for run in sheet.runs
    )
    left = "".join(f"<li>{escaped(item)}</li>" for item in sheet.left)
    left = f'<h2>Not in this session</h2><ul class="small">{left}</ul>' if left else ""
    cautions = " ".join(escaped(item) for item in sheet.cautions)
    title = escaped(sheet.title)
    css = CSS.replace("ZOOM", f"{print_zoom(sheet):.2f}")
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{title}</title><style>{css}</style></head><body>"
        f"<header><h1>{title}</h1><span>Date ____________ Operator ________</span></header>"
        f'<p><b>{escaped(sheet.headline)}</b></p><p class="holder">{escaped(sheet.holder)}</p>'
        "<table><thead><tr><th>in order</th><th>handle to stone</th>"
        f"<th>under the stone</th><th>edges</th></tr></thead><tbody>{runs}</tbody></table>"
        f'<div class="blocks">{"".join(_block(block) for block in sheet.blocks)}</div>{left}'
        f'<div class="cautions" role="note"><b>Before you begin.</b> {cautions}</div>'
        f'<p class="small">{escaped(sheet.legend)}</p></body></html>\n'
    )


def _block(block: Block) -> str:
    pictures = "".join(
        svg(picture, width_mm=PICTURE_MM[0], height_mm=PICTURE_MM[1]) for picture in block.pictures
    )
    first = " · first" if block.urgent else ""
    return (
        f"<section><h3>{escaped(block.instrument)} {escaped(block.edge)}{first}"
        f"<span>{escaped(block.face)}</span></h3>"
        f'<div class="pictures">{pictures}</div>'
        f"<ol>{''.join(_line(line) for line in block.lines)}</ol>"
        f'<div class="check">{escaped(block.check)}</div></section>'
    )


def _line(line: Line) -> str:
    return (
        f'<li><b class="mark">{escaped(line.mark)}</b> '
        f'<b class="angle">{escaped(line.elevation)}</b> {escaped(line.within)} '
        f'<span class="where">{escaped(line.where)}</span><br>{escaped(line.roll)}, '
        f'<span class="where">{escaped(line.work)}</span></li>'
    )
