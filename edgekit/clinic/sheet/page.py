"""The setting sheet as a web page that prints on A4, one side a page: nothing is fetched.

Its parts are numbered in the order of work: decided and measured before the first stroke, cut out
and checked, the set-ups, one block per edge, what follows. What is cut out stands at the foot of a
page of its own, at its true size. Nothing is set smaller to fit: a larger tray takes more pages.
"""

from __future__ import annotations

import re

from edgekit.clinic.sheet.content import Block, Line, Sheet
from edgekit.clinic.sheet.drawing import Drawing, svg
from edgekit.display import escaped

SIZES_MM = {1: (46.0, 30.0), 2: (25.0, 24.0)}  # of each drawing, by how many stand beside a line
BENCH_MM = (122.0, 58.0)
BESIDE_MM = {"width_mm": 62.0, "height_mm": 21.0}
LOOP_MM = {"width_mm": 24.0, "height_mm": 27.0}
HANDS_MM = {"width_mm": 86.0, "height_mm": 56.0}
CSS = """
@page { size: A4; margin: 8mm 9mm 9mm;
  @bottom-left { content: "WARNING"; font: bold 9pt "Liberation Sans", Arial, sans-serif; }
  @bottom-right { content: "page " counter(page) " of " counter(pages);
    font: 9pt "Liberation Sans", Arial, sans-serif; } }
* { box-sizing: border-box; }
body { font: 10pt/1.2 "Liberation Sans", Arial, Helvetica, "DejaVu Sans", sans-serif; color: #000;
  background: #fff; max-width: 192mm; margin: 4mm auto; padding: 0 2mm; overflow-wrap: anywhere; }
svg text { font-family: "Liberation Sans", Arial, Helvetica, "DejaVu Sans", sans-serif; }
h1 { font-size: 17pt; margin: 0; flex: 1 1 60mm; min-width: 0; }
h2 { font-size: 12pt; margin: 3mm 0 1mm; border-top: 0.5mm solid #000; padding-top: 0.8mm;
  break-after: avoid; }
h3 { font-size: 12pt; margin: 0; } p { margin: 0.8mm 0; }
ul, ol { margin: 0; padding-left: 5mm; } li { margin: 0 0 0.7mm; }
header { display: flex; flex-wrap: wrap; gap: 1mm 5mm; align-items: baseline; }
.blank { display: inline-block; border-bottom: 0.25mm solid #000; min-width: 17mm; height: 1em; }
.long .blank { min-width: 34mm; }
header .blank { min-width: 22mm; }
.tick { display: inline-block; width: 2.9mm; height: 2.9mm; border: 0.35mm solid #000;
  margin: 0 1mm 0 1mm; vertical-align: -0.3mm; }
.safety { border: 0.8mm solid #000; padding: 1mm 2mm; margin: 1.4mm 0; }
.safety h2 { border: 0; padding: 0; margin: 0; } .whose { font-weight: bold; font-size: 11pt; }
table { border-collapse: collapse; width: 100%; } tr { break-inside: avoid; }
th { font-size: 9pt; text-align: left; white-space: nowrap; font-weight: normal;
  padding: 0 2.5mm 0 0; vertical-align: bottom; }
td { border-top: 0.2mm solid #000; padding: 0.5mm 2.5mm 0.5mm 0; vertical-align: baseline; }
td.big { font-size: 12pt; font-weight: bold; white-space: nowrap; }
.widths td { height: 6.3mm; } .widths .blank { min-width: 13mm; }
td.edges { padding-right: 0; }
b.angle { font-size: 12pt; } b.how { font-size: 10pt; } .keep, .hours span { white-space: nowrap; }
dl { margin: 0; } dl div { margin: 0 0 0.7mm; } dt, dd { display: inline; margin: 0; }
dt { font-weight: bold; } .check { display: flex; flex-wrap: wrap; gap: 1mm 3mm; }
.check p { flex: 1 1 50mm; } .check svg { flex: none; margin-left: -4mm; }
.fig { float: right; margin: 0 0 1mm 3mm; } .flow { display: flow-root; }
.whole { break-inside: avoid; }
.cut { border-top: 0.5mm dashed #000; margin-top: 3mm; padding-top: 2mm; }
.pieces { display: flex; flex-wrap: wrap; gap: 2mm 3mm; align-items: center; }
.pieces svg { flex: none; }
.blocks { columns: 2 78mm; column-gap: 3mm; margin-top: 1.4mm; }
section.edge { border: 0.35mm solid #000; padding: 0.5mm 1.4mm 0.7mm; break-inside: avoid;
  margin: 0 0 1.5mm; }
.name { display: flex; flex-wrap: wrap; justify-content: space-between; align-items: baseline;
  gap: 0 3mm; } .name h3 { min-width: 0; } .name span, .done { font-size: 9pt; }
section.edge ol { list-style: none; padding: 0; }
li.step { display: flow-root; border-top: 0.2mm solid #000; padding: 0.6mm 0; margin: 0.4mm 0 0;
  font-size: 9.5pt; line-height: 1.17; }
.pictures { float: right; margin-left: 1mm; display: flex; flex-wrap: wrap; gap: 1mm;
  line-height: 0; max-width: 100%; }
.hours { font-weight: bold; }
b.mark { display: inline-block; min-width: 6mm; padding: 0 1mm; border: 0.4mm solid #000;
  border-radius: 3mm; text-align: center; font-size: 11pt; }
.done { border-top: 0.2mm solid #000; padding-top: 0.8mm; display: flex; flex-wrap: wrap;
  justify-content: space-between; align-items: end; gap: 0.6mm 2mm; }
.done .blank { min-width: 12mm; }
.done b { font: bold 10pt "Liberation Mono", "DejaVu Sans Mono", monospace; }
@media screen and (max-width: 600px) { .blocks { columns: 1; } .fig { float: none; margin: 0; }
  svg { max-width: 100%; height: auto; } .keep { white-space: normal; }
  table, th { font-size: 9pt; white-space: normal; } td, th { padding-right: 1mm; }
  table .blank { min-width: 9mm; } }
@media print { body { margin: 0; padding: 0; max-width: none; }
  .sheet + .sheet { break-before: page; } .sheet h2:first-child { margin-top: 0; } }
"""


def page(sheet: Sheet) -> str:
    """The whole page as text."""
    title = escaped(sheet.title)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>{CSS.replace('WARNING', sheet.warning)}</style></head><body>"
        f"<header><h1>{title}</h1><div>{_said(HEAD)}"
        f"</div></header><main>{_before(sheet)}{_checked(sheet)}{_work(sheet)}</main>"
        "</body></html>\n"
    )


def _said(text: str) -> str:
    """Text with lines to write on and boxes to tick, which a screen reader need not read out."""
    text = escaped(text).replace("____", '<span class="blank" aria-hidden="true"></span>')
    box = '<span class="tick" aria-hidden="true"></span>'
    return re.sub(r"□ ?([\w-]*)", rf'<span class="keep">{box}\1</span>', text)


def _list(items: tuple[str, ...], kind: str = "") -> str:
    return f'<ul class="{kind}">{"".join(f"<li>{_said(item)}</li>" for item in items)}</ul>'


def _paragraphs(items: tuple[str, ...]) -> str:
    return "".join(f"<p>{_said(item)}</p>" for item in items)


def _terms(pairs: tuple[tuple[str, str], ...], *, numbered: bool = False) -> str:
    """Names with what they stand for."""
    count = [f"{at}. " if numbered else "" for at in range(1, len(pairs) + 1)]
    rows = (
        f"<div><dt>{at}{escaped(name)}.</dt> <dd>{_said(text)}</dd></div>"
        for at, (name, text) in zip(count, pairs, strict=True)
    )
    return f"<dl>{''.join(rows)}</dl>"


def _before(sheet: Sheet) -> str:
    """Cautions, decisions, what is needed, and every blade's width before grinding."""
    widths = "".join(
        f"<tr><td><b>{escaped(row.instrument)}</b> {escaped(row.edges)}</td>"
        f"<td>{_said(row.last or '____')}</td><td>{_said(row.limit or '____')}</td>"
        f"<td>{_said('____')}</td><td>{_said('□ ____')}</td></tr>"
        for row in sheet.widths
    )
    names = ("blade", "last width", "limit", "now, mm", "may be ground, initials")
    heads = "".join(f'<th scope="col">{name}</th>' for name in names)
    return (
        '<div class="sheet"><div class="safety" role="note"><h2>Safety</h2>'
        f'<p class="whose">{escaped(sheet.whose)}</p>'
        f"<p>{escaped(' '.join(sheet.cautions))} <b>{escaped(sheet.first_times)}</b></p></div>"
        f"<p>{escaped(sheet.headline)}</p>"
        "<h2>1 Decided and signed before the first stroke, by the practitioner who answers for it"
        f"</h2>{_list(sheet.decisions, 'long')}<h2>2 Laid out</h2><p>{_said(sheet.needs)}</p>"
        f"<h2>3 Every blade, before it is ground</h2><p>{_said(BEFORE)}</p>"
        f'<table class="widths"><thead><tr>{heads}</tr></thead><tbody>{widths}</tbody></table>'
        "</div>"
    )


HEAD = "Date (year-month-day) ____ Begun ____ At the bench ____"
BEFORE = (
    "Only the blade that carries this code: unmarked, set it aside. Cracked, bent, or at or below "
    "its limit: set it aside and ask. The practitioner enters limits that are missing. Width: "
    "across the face at half its length (of a hoe: back from the edge), the jaws touching there "
    "without pressure, never drawn along an edge; two decimals (limits are rounded up to them); "
    "the other blade capped. Then the "
    "stick, edge by edge: one that bites all along is not ground (tick in its block); "
    "one that slides may be."
)


def _checked(sheet: Sheet) -> str:
    """Holder, print, dial and cards: what is cut out stands at the foot."""
    dial = f"<p>{_said(sheet.dial_note)}</p>" if sheet.dial else ""
    pieces = [*([sheet.dial] if sheet.dial else []), *sheet.cards]
    toe = f'<div class="fig">{svg(sheet.toe, width_mm=50, height_mm=17)}</div>' if sheet.toe else ""
    toe = (f'<div class="fig">{svg(sheet.loop, **LOOP_MM)}</div>' if sheet.loop else "") + toe
    beside = f'<div class="fig">{svg(sheet.beside, **BESIDE_MM)}</div>' if sheet.beside else ""
    return (
        '<div class="sheet"><h2>4 The holder, checked</h2>'
        f'<div class="flow"><div class="fig">{_sized(sheet.bench, BENCH_MM)}</div>'
        f"{_paragraphs(sheet.holder)}</div><h2>5 How far off an edge may be; words</h2>"
        f"{_paragraphs(sheet.off)}{_terms(sheet.words)}"
        "<h2>6 Print checked; dial and cards cut out</h2>"
        f'<div class="check">{svg(sheet.ruler)}<p>{_said(CHECK)}</p></div>'
        f'<div class="flow">{toe}{dial}</div><div class="flow">{beside}<p>{_said(CARDS)}</p>'
        f'</div><div class="cut"><div class="pieces">{"".join(map(svg, pieces))}</div></div></div>'
    )


CHECK = (
    "A ruler reads 100 mm along this line; if not, print again at 100 %, not ‘fit to page’. Print "
    "on one side only, since the foot of this page is cut off."
)
CARDS = (
    "Corner cards: the number at a corner is its angle; the smaller is the least that face and "
    "stone may make, the larger the most. You look along the edge from the toe, with the lens, "
    "against the light."
)


def _sized(drawing: Drawing, size_mm: tuple[float, float]) -> str:
    return svg(drawing, width_mm=size_mm[0], height_mm=size_mm[1])


def _work(sheet: Sheet) -> str:
    """Set-ups in order, one line at a time, one block per edge, and what follows."""
    left = f"<h2>Not ground now</h2>{_list(sheet.left)}" if sheet.left else ""
    return (
        f'<div class="sheet"><h2>7 Set-ups, in the order of work</h2>{_runs(sheet)}'
        f"<h2>8 One line at a time</h2>{_steps(sheet)}"
        f'<h2>9 Edges</h2><div class="blocks">{"".join(map(_block, sheet.blocks))}{left}'
        f'<div class="whole"><h2>10 Afterwards</h2><p>{_said(sheet.log)} {_said("Ended ____")}</p>'
        f'</div><div class="whole"><h2>Order and time</h2><p>{escaped(sheet.order)}</p>'
        f"{_paragraphs(sheet.minutes)}</div></div></div>"
    )


def _steps(sheet: Sheet) -> str:
    """How a line is done; the stone in the hand is drawn beside it."""
    words = _terms(sheet.steps, numbered=True)
    if sheet.hands is None:
        return words
    head, mark, tail = words.rpartition("<div><dt>")
    drawn = f'<div class="flow whole"><div class="fig">{svg(sheet.hands, **HANDS_MM)}</div>'
    return f"{head}</dl>{drawn}<dl>{mark}{tail}</div>"


def _runs(sheet: Sheet) -> str:
    """The table of set-ups."""
    given = any(run.plates for run in sheet.runs)
    rows = "".join(
        f'<tr><td class="big">{escaped(run.number)}</td>'
        f"<td>{_setting(run.setting)} {_kept(run.within)}</td>"
        + (f"<td>{escaped(run.plates)} {_kept(run.plates_within)}</td>" if given else "")
        + f"<td>{_kept(run.sine)}</td><td>{_said('____') if run.sine else ''}</td>"
        f'<td class="edges">{escaped(run.edges)}</td></tr>'
        for run in sheet.runs
    )
    plates = ["under the stone"] if given else []
    names = ("row", "handle to stone", *plates, "sine", "yours, mm", "edges, in this order")
    heads = "".join(f'<th scope="col">{name}</th>' for name in names)
    return f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"


def _setting(text: str) -> str:
    """An angle, large, or in words how the stone is held."""
    kind = "angle" if text.endswith("°") else "how"
    return f'<b class="{kind} keep">{escaped(text)}</b>'


def _kept_said(text: str) -> str:
    return f'<span class="keep">{_said(text)}</span>'


def _kept(text: str) -> str:
    return f'<span class="keep">{escaped(text)}</span>'


def _block(block: Block) -> str:
    first = " · first" if block.urgent else ""
    side = f", {block.side}" if block.side else ""
    left = _paragraphs(tuple(f"Not ground now: {said}" for said in block.left))
    return (
        '<section class="edge"><div class="name">'
        f"<h3>{escaped(block.instrument)} {escaped(block.edge)}{first}</h3>"
        f"<span>{escaped(block.kind)}{escaped(side)}</span></div>"
        f"<ol>{''.join(map(_line, block.lines))}</ol>{left}"
        f'<div class="done"><span>{_kept_said("□ bites: not ground")}</span>'
        f"<span>{_kept_said('after: □ bites □ no wire edge')}</span>"
        f"<span>width <b>{escaped(block.entry)}</b>{_said('____')} mm</span>"
        f"<span>{_kept_said('□ set aside')}</span></div></section>"
    )


def _line(line: Line) -> str:
    size = SIZES_MM[len(line.pictures)]
    pictures = "".join(_sized(picture, size) for picture in line.pictures)
    hours = " ".join(f"<span>{escaped(piece)}</span>" for piece in line.hours)
    return (
        f'<li class="step"><div class="pictures">{pictures}</div>'
        f'<b class="mark">{escaped(line.mark)}</b> {_setting(line.setting)} '
        f"{_kept(line.within)}<br>{escaped(line.where)}; {escaped(line.card)}; "
        f"{escaped(line.work)}: "
        f'<span class="hours">{hours}</span>{escaped(line.extra)} {_kept_said("□ ink gone")}</li>'
    )
