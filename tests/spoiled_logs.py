"""Logs spoiled in the ways that spreadsheets spoil them, each with what must come of it.

Every spoiled log is a good log of four rows with one slip. A case says either which words the
reason of a refused line (or a flag) must hold, or which words the error must.
"""

from dataclasses import dataclass

HEAD = "instrument,edge,date,event,width_mm,strokes,minutes,operator,method,note"
GOOD = (
    "FH-01-UC,left,2025-01-06,measured,0.860,,,A,,invented",
    "FH-01-UC,left,2025-01-20,sharpened,,8,1.5,B,held,invented",
    "FH-01-UC,left,2025-02-03,sharpened,,9,1.2,B,held,invented",
    "FH-01-UC,left,2025-02-03,measured,0.848,,,A,,invented",
)


@dataclass(frozen=True)
class Spoiled:
    """Bytes of a spoiled log; `refused`, `flagged` or `error` holds words of its message."""

    name: str
    data: bytes
    refused: str = ""
    flagged: str = ""
    error: str = ""


def _log(*rows, head=HEAD):
    return "\n".join([head, *rows]) + "\n"


def _row(name, row, words):
    """A good log with one bad row in the middle."""
    return Spoiled(name, _log(*GOOD[:2], row, *GOOD[2:]).encode(), refused=words)


def _cells(**changes):
    cells = dict(zip(HEAD.split(","), GOOD[0].split(","), strict=True)) | changes
    return ",".join(cells.values())


def _whole(name, text, **words):
    return Spoiled(name, text if isinstance(text, bytes) else text.encode(), **words)


def _bad_cells():
    """One bad cell in one row."""
    width, date, event = "width_mm", "date", "event"
    table = [
        ("negative width", {width: "-0.86"}, "outside"),
        ("width of zero", {width: "0"}, "outside"),
        ("width in micrometres", {width: "860"}, "outside"),
        ("width in inches", {width: "0.034"}, "outside"),
        ("width with inch mark", {width: '"0.034"""'}, "unit in the cell"),
        ("width with unit", {width: "0.86 mm"}, "unit in the cell"),
        ("width with micro unit", {width: "860 µm"}, "unit in the cell"),
        ("width as a word", {width: "thin"}, "not a number"),
        ("width not a number", {width: "nan"}, "not a number"),
        ("width infinite", {width: "inf"}, "not a number"),
        ("width in exponents", {width: "8.6e-1"}, "not a number"),
        ("two decimal marks", {width: "0.8.6"}, "not a number"),
        ("thousands marks", {width: '"1.234,5"'}, "thousands"),
        ("letter O for zero", {width: "O.86"}, "not a number"),
        ("width as a formula", {width: "=E2-0.01"}, "formula"),
        ("width as an error", {width: "#VALUE!"}, "not a number"),
        ("width a dash", {width: "-"}, "not a number"),
        ("width unknown", {width: "n/a"}, "not a number"),
        ("width a range", {width: "0.85-0.87"}, "not a number"),
        ("measured without width", {width: ""}, "no width"),
        ("ambiguous date", {date: "03/04/2025"}, "ambiguous"),
        ("ambiguous date with dots", {date: "03.04.2025"}, "ambiguous"),
        ("month first", {date: "04/25/2025"}, "month first"),
        ("two-digit year", {date: "25/4/25"}, "two digits"),
        ("spreadsheet serial", {date: "45678"}, "serial"),
        ("date of 1905", {date: "1905-07-17"}, "year lies outside"),
        ("date of 2205", {date: "2205-01-06"}, "year lies outside"),
        ("30 February", {date: "2025-02-30"}, "no such day"),
        ("month 13 both ways", {date: "31/13/2025"}, "no such day"),
        ("hour 25", {date: "2025-02-03 25:00"}, "no such day"),
        ("no date", {date: ""}, "no date"),
        ("date in words", {date: "last Monday"}, "not a date"),
        ("month in words", {date: "3 April 2025"}, "month is a word"),
        ("year first with slashes", {date: "2025/04/03"}, "not ISO"),
        ("date as a formula", {date: "=TODAY()"}, "not a date"),
        ("date overflowed", {date: "########"}, "not a date"),
        ("event misspelled", {event: "mesured"}, "not an event"),
        ("event missing", {event: ""}, "no event"),
        ("event unknown", {event: "polished"}, "not an event"),
        ("no instrument", {"instrument": ""}, "no instrument"),
        ("instrument as a formula", {"instrument": "=A2"}, "formula"),
        ("strokes with a fraction", {"strokes": "7.5"}, "not a count"),
        ("strokes negative", {"strokes": "-8"}, "not a count"),
        ("strokes with two readings", {"strokes": "1.200"}, "two readings"),
        ("strokes as a word", {"strokes": "ten"}, "not a number"),
        ("minutes as a clock", {"minutes": "1:30"}, "clock"),
        ("minutes negative", {"minutes": "-2"}, "minutes for one row"),
        ("minutes of a week", {"minutes": "10080"}, "minutes for one row"),
        ("swapped width and strokes", {width: "12", "strokes": "0.86"}, "not a count"),
        ("swapped date and event", {date: "measured", event: "2025-01-06"}, "not a date"),
    ]
    return [_row(name, _cells(**changes), words) for name, changes, words in table]


def _bad_lines():
    """One whole line at fault."""
    return [
        _row("unquoted decimal comma", GOOD[0].replace("0.860", "0,860"), "cells under a header"),
        _row("header again", HEAD, "header again"),
        _row("short line", "FH-01-UC,left", "no date"),
        _row("trailing total", "Total,,,,1.708,17,,,,", "totals"),
        _row("mean below", "Mean,,,,0.854,,,,,", "totals"),
        _row("quote never closed", GOOD[0].replace("invented", '"tip thin'), "never closed"),
        _row("line of 10 MB", _cells(note="x" * 10_000_000), "a line of 10000"),
        _row("semicolons in one line", GOOD[0].replace(",", ";"), "no date"),
        _row("merge marks", "<<<<<<< mine", "no date"),
        _whole(
            "title above", "Spring clinic (invented)\n\n" + _log(*GOOD), refused="above the header"
        ),
        _whole("merged header", "Instrument,,Event,,\n" + _log(*GOOD), refused="above the header"),
        _whole(
            "cells beyond the header", _log(*GOOD[:3], GOOD[3] + ",stray"), refused="cells under"
        ),
    ]


def _bad_files():
    """The file as a whole."""
    good = _log(*GOOD)
    accent = good.replace("invented", "inventé")
    no_date = good.replace("date", "when")
    return [
        _whole("empty", b"", error="empty"),
        _whole("blanks only", b"\n \n\n", error="empty"),
        _whole("header only names", "a,b,c\n1,2,3\n", error="no header"),
        _whole("no date column", no_date, error="lacks date"),
        _whole("no header at all", "\n".join(GOOD), error="no header"),
        _whole("header in inches", good.replace("width_mm", "width (in)"), error="inches"),
        _whole("two width columns", good.replace("strokes", "Width"), error="two columns"),
        _whole("null characters", good.replace("left", "le\x00ft"), error="null characters"),
        _whole("damaged workbook", b"PK\x03\x04" + b"\x07" * 300, error="workbook"),
        _whole(
            "old workbook", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 99, error="old binary"
        ),
        _whole("undefined byte", good.encode() + b"FH-\x81\xff", error="encoding"),
        _whole("half of UTF-16", b"\xff\xfe" + good.encode("utf-16-le")[:-1], error="UTF-16"),
        _whole("a picture", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\x81", error="encoding"),
        _whole("Windows-1252", accent.encode("cp1252"), flagged="encoding"),
        _whole("UTF-16", accent.encode("utf-16"), flagged="encoding"),
        _whole("unknown column", good.replace("note", "colour"), flagged="columns not known"),
        _whole(
            "widths in micrometres",
            _log(*(r.replace("0.8", "8") for r in GOOD))
            .replace("width_mm", "width_um")
            .replace("860,", "860.0,"),
            flagged="unit",
        ),
    ]


def _bad_histories():
    """Rows that are good one by one and impossible together."""
    grows = _cells(date="2025-03-03", width_mm="0.930")
    drops = _cells(date="2025-03-03", width_mm="0.430")
    retired = _cells(date="2025-02-10", event="retired", width_mm="")
    later = _cells(date="2025-03-03", event="used", width_mm="")
    other = _cells(instrument="FH-O1-UC")
    right = _cells(edge="right", width_mm="0.850")
    return [
        _whole("width grows", _log(*GOOD, grows), flagged="width grows"),
        _whole("width drops", _log(*GOOD, drops), flagged="width drops"),
        _whole("used after retirement", _log(*GOOD, retired, later), flagged="used after the end"),
        _whole(
            "retired twice",
            _log(*GOOD, retired, retired.replace("02-10", "02-11")),
            flagged="retired after the end",
        ),
        _whole("row twice", _log(*GOOD, GOOD[1]), flagged="same row twice"),
        _whole("codes alike", _log(*GOOD, other), flagged="look alike"),
        _whole(
            "width without edge", _log(*GOOD, right, _cells(edge="")), flagged="without its edge"
        ),
        _whole(
            "mistyped year",
            _log(*GOOD, _cells(date="2052-02-03", width_mm="0.84")),
            flagged="gap of years",
        ),
        _whole(
            "two patterns",
            _log(
                *(
                    f"{row},{pattern}"
                    for row, pattern in zip(GOOD, ("hoe", "hoe", "sickle", "hoe"), strict=True)
                ),
                head=HEAD + ",pattern",
            ),
            flagged="two patterns",
        ),
    ]


SPOILED = [*_bad_cells(), *_bad_lines(), *_bad_files(), *_bad_histories()]
