"""Files spoiled by a seeded script, with what each must give: ``python -m tests.spoiled_files``.

Blades, logs and pictures have lists of their own (`tests.test_bad_files`, `tests.spoiled_logs`,
`tests.spoiled_pictures`); here are tables, states, trays, prices, workbooks and sweep folders. A
file is read as if nothing were wrong ("read"), read but for its bad row, which is refused by line
("row"), or refused with a named error ("error"). Prints how many of each there are.
"""

import io
import json
import random
import zipfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

import edgekit as ek
from tests.results import QUICK

SEED = 17
READ, ROW, ERROR = "read", "row", "error"


@dataclass(frozen=True)
class Spoiled:
    """A spoiled file: how to write it into a folder, how to read it, what that must give."""

    name: str
    write: Callable[[Path], Path]
    read: Callable[[Path], object]
    gives: str
    says: str = ""


def _put(data):
    def write(folder):
        path = folder / "file"
        path.write_bytes(data if isinstance(data, bytes) else data.encode("utf-8"))
        return path

    return write


def _cuts(data, number, name):
    """Beginnings of a file, at places of chance."""
    places = random.Random(f"{SEED} {name}").sample(range(1, len(data) - 2), number)
    return [(f"{name} cut at {at}", data[:at]) for at in sorted(places)]


def _flips(data, number, name):
    """A file with one bit turned, at places of chance."""
    chance = random.Random(f"{SEED} {name} bits")
    for at in sorted(chance.sample(range(len(data)), number)):
        turned = bytearray(data)
        turned[at] ^= 1 << chance.randrange(8)
        yield f"{name} with a bit turned at {at}", bytes(turned)


# ---- tables --------------------------------------------------------------------------------


TABLE = pd.DataFrame({"code": ["007", "=B2", 'say "so"'], "width_mm": [0.86, 0.1 + 0.2, 1e-9]})


def _table_text():
    lines = ["# 3 rows of 2 columns; written by edgekit", '"code","width_mm"']
    lines += ['"007",0.86', '"\'=B2",0.30000000000000004', '"say ""so""",1e-09']
    return "".join(f"{line}\r\n" for line in lines)


def tables():
    """Tables of `write_table`: everything but a change inside a cell is found out."""
    text = _table_text()
    lines = text.splitlines(keepends=True)
    bare = "".join(lines[1:])
    error = [
        *_cuts(text, 20, "table"),
        ("table without a row", "".join(lines[:-1])),
        ("table with a row twice", text + lines[-1]),
        ("table with a row too many", text + '"x",1\r\n'),
        ("table without its header", lines[0] + "".join(lines[2:])),
        ("table with a cell too many", text.replace("0.86", "0.86,1")),
        ("table with a cell too few", text.replace('"007",', "")),
        ("table with an open quotation mark", text.replace('"007"', '"007')),
        ("table with a mark inside a cell", text.replace('"007"', '0"07')),
        ("table with two columns of a name", text.replace('"width_mm"', '"code"')),
        ("table in UTF-16", text.encode("utf-16")),
        ("table with half a letter", text.replace("007", "ü").encode("latin-1")),
        ("table of nothing", b""),
        ("table that is a picture", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR"),
        ("table with another count", text.replace("# 3 rows", "# 4 rows")),
        ("table with other columns", text.replace("of 2 columns", "of 3 columns")),
    ]
    right = [
        ("table as written", text),
        ("table with its mark", b"\xef\xbb\xbf" + text.encode()),
        ("table with line feeds alone", text.replace("\r\n", "\n")),
        ("table from elsewhere", bare),
        (
            "table without quotation marks about names",
            text.replace('"code","width_mm"', "code,width_mm"),
        ),
    ]
    return [
        *(Spoiled(name, _put(data), ek.read_table, ERROR) for name, data in error),
        *(Spoiled(name, _put(data), _same_table, READ) for name, data in right),
    ]


def _same_table(path):
    pd.testing.assert_frame_equal(ek.read_table(path), TABLE.astype({"code": "str"}))


# ---- worn blades ---------------------------------------------------------------------------


@cache
def _worn():
    return ek.use(ek.WornBlade.from_width(ek.patterns.hoe(), 1.9), 45)


@cache
def _state():
    import tempfile

    path = ek.write_worn(_worn(), Path(tempfile.mkdtemp()) / "w.json")
    return json.loads(path.read_text())


def _changed(*where, to):
    """The state as JSON with one entry changed, or taken out."""
    state = json.loads(json.dumps(_state()))
    at = state
    for key in where[:-1]:
        at = at[key]
    if to is None:
        del at[where[-1]]
    else:
        at[where[-1]] = to(at[where[-1]])
    return json.dumps(state)


def states():
    """States of worn blades: every field absent, of another kind, or of another size."""
    whole = json.dumps(_state())
    edge = _state()["edges"]["edge"]
    error = [*_cuts(whole, 15, "state")]
    error += [
        (f"state without {key}", _changed(key, to=None)) for key in _state() if key != "points"
    ]
    for array in edge:
        place = ("edges", "edge", array)
        error += [
            (f"state without {array}", _changed(*place, to=None)),
            (f"state with {array} cut", _changed(*place, to=lambda rows: rows[:-1])),
            (f"state with {array} as text", _changed(*place, to=str)),
            (f"state with {array} null", _changed(*place, to=lambda rows: [None, *rows[1:]])),
        ]
    error += [
        ("state of another format", whole.replace("worn blade 1", "worn blade 9")),
        ("state of another edge", whole.replace('"edge": {', '"used": {')),
        ("state with NaN", whole.replace('"radius_um": [', '"radius_um": [NaN, ', 1)),
        ("state of negative sessions", _changed("sessions", to=lambda _: -1)),
        ("state of half a session", _changed("sessions", to=lambda _: 0.5)),
        ("state of negative strokes", _changed("use_strokes", to=lambda _: -45.0)),
        ("state of endless strokes", _changed("use_strokes", to=lambda _: float("inf"))),
        ("state of a radius below 0", _changed("fresh_radius_um", to=lambda _: -1.0)),
        ("state with a text for a radius", _changed("fresh_radius_um", to=str)),
        ("state of a pattern unknown", whole.replace("hoe", "spoon")),
        ("state that is a list", "[1, 2]"),
        ("state that is a number", "7"),
        ("state of brackets", "[" * 100_000),
        ("state of nothing", ""),
        (
            "state whose blade points elsewhere",
            whole.replace(
                'source = \\"pattern\\"', 'points = \\"/etc/passwd\\"\\nsource = \\"points\\"'
            ),
        ),
    ]
    right = [
        ("state as written", whole),
        ("state in UTF-16", whole.encode("utf-16")),
        ("state on many lines", json.dumps(_state(), indent=3)),
        ("state in another order", json.dumps(dict(reversed(_state().items())))),
    ]
    return [
        *(Spoiled(name, _put(data), ek.read_worn, ERROR) for name, data in error),
        *(Spoiled(name, _put(data), _same_state, READ) for name, data in right),
    ]


def _same_state(path):
    again = ek.read_worn(path)
    assert np.array_equal(again.radius_um("edge"), _worn().radius_um("edge"))
    assert np.array_equal(again.recession_um("edge"), _worn().recession_um("edge"))


# ---- trays and prices ----------------------------------------------------------------------


def trays():
    """Tray lists."""
    good = "instrument,blade\nFH-1,hoe\nFH-2,curved sickle\n"
    error = {
        "no column of blades": good.replace("blade", "pattern"),
        "no column of codes": good.replace("instrument", "name"),
        "a code twice": good.replace("FH-2", "FH-1"),
        "a code twice but for blanks": good.replace("FH-2", " FH-1 "),
        "no code": good.replace("FH-2", ""),
        "codes as numbers": good.replace("FH-1", "007").replace("FH-2", "8"),
        "an unknown pattern": good.replace("hoe", "spoon"),
        "no pattern": good.replace("hoe", ""),
        "a blade that is not there": good.replace("hoe", "x.toml"),
        "a blade outside": good.replace("hoe", "../x.toml"),
        "a blade anywhere": good.replace("hoe", "/etc/x.toml"),
        "a blade that is the list": good.replace("hoe", "file.toml"),
        "a hidden letter": good.replace("FH-1", "FH\u200b-1"),
        "a direction mark": good.replace("FH-1", "\u202eFH-1"),
        "a null character": good.replace("hoe", "x\0.toml"),
        "a cell too many": good.replace("hoe", "hoe,1"),
        "a quotation mark": good.replace("hoe", '"hoe'),
        "Windows-1252": good.replace("FH-1", "Bühler").encode("cp1252"),
        "nothing": "",
    }
    right = {
        "as written": good,
        "semicolons": good.replace(",", ";"),
        "tabs": good.replace(",", "\t"),
        "remarks above the header": '# a remark, "with marks\n#\n\n' + good,
        "empty cells and lines left over": good.replace("hoe", "hoe,,") + "\n,,\n",
        "blanks and capitals": good.replace("hoe", " Hoe ").replace("FH-1", " FH-1"),
        "its mark": "\ufeff" + good,
        "quotation marks": 'instrument,blade\n"FH-1","hoe"\n"FH-2","curved sickle"\n',
    }

    def same(path):
        assert list(ek.read_tray(path)) == ["FH-1", "FH-2"]

    return [
        *(Spoiled(f"tray: {n}", _put(d), ek.read_tray, ERROR) for n, d in error.items()),
        *(Spoiled(f"tray: {n}", _put(d), same, READ) for n, d in right.items()),
    ]


def prices():
    """Price tables."""
    good = "item,name,price,currency\ninstrument,,40,EUR\nsession,held,0.1,EUR\nminute,,0.5,EUR\n"
    error = {
        "no currency": good.replace("currency", "money"),
        "no item": good.replace("item", "what"),
        "two currencies": good.replace("0.5,EUR", "0.5,USD"),
        "no currency in a row": good.replace("0.5,EUR", "0.5,"),
        "a negative price": good.replace("40", "-40"),
        "a price as a word": good.replace("40", "cheap"),
        "a price with its mark": good.replace("40", "€40"),
        "a price with a decimal comma": good.replace("0.1", '"0,1"'),
        "no price": good.replace("40", ""),
        "an endless price": good.replace("40", "inf"),
        "a price that is no number": good.replace("40", "nan"),
        "an unknown item": good.replace("minute", "hour"),
        "an item twice": good + "minute,,0.6,EUR\n",
        "a name twice": good + "session, held ,0.2,EUR\n",
        "a cell too many": good.replace("0.5,EUR", "0.5,EUR,x"),
        "a price as a formula": good.replace("40", "=20*2"),
        "nothing": "",
        "UTF-16": good.encode("utf-16"),
        "half a letter": good.encode() + b"\xff",
    }
    right = {
        "as written": good,
        "semicolons": good.replace(",", ";"),
        "remarks above the header": "# a remark\n" + good,
        "blanks and capitals": good.replace("session", " Session "),
        "another order of columns": "price,item,currency,name\n40,instrument,EUR,\n"
        "0.1,session,EUR,held\n0.5,minute,EUR,\n",
        "its mark": "\ufeff" + good,
    }

    def same(path):
        read = ek.read_prices(path)
        assert (read.instrument[""], read.session["held"], read.minute) == (40.0, 0.1, 0.5)
        assert read.currency == "EUR"

    return [
        *(Spoiled(f"prices: {n}", _put(d), ek.read_prices, ERROR) for n, d in error.items()),
        *(Spoiled(f"prices: {n}", _put(d), same, READ) for n, d in right.items()),
    ]


# ---- workbooks -----------------------------------------------------------------------------


HEAD = ("instrument", "edge", "date", "event", "width_mm")
ROWS = (
    ("FH-1", "left", date(2025, 1, 6), "measured", 0.86),
    ("FH-1", "left", date(2025, 2, 3), "sharpened", None),
    ("FH-1", "left", date(2025, 2, 3), "measured", 0.84),
)


def _workbook(*rows, before=(), sheets=0):
    import openpyxl

    book = openpyxl.Workbook()
    for row in (*before, HEAD, *rows):
        book.active.append(row)
    for _ in range(sheets):
        book.create_sheet()
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _part(name, data):
    """The good workbook with one of its parts replaced, or taken out."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(_workbook(*ROWS))) as old, zipfile.ZipFile(out, "w") as new:
        for part in old.namelist():
            if not part.endswith(name):
                new.writestr(part, old.read(part))
            elif data is not None:
                new.writestr(part, data)
    return out.getvalue()


def workbooks():
    """Logs in workbooks."""
    good = _workbook(*ROWS)
    entity = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "bb"><!ENTITY c "&b;&b;">]><a>&c;</a>'
    error = [
        *_cuts(good, 15, "workbook"),
        ("workbook without its sheet", _part("sheet1.xml", None)),
        ("workbook without its list", _part("workbook.xml", None)),
        ("workbook of an empty sheet", _part("sheet1.xml", b"")),
        ("workbook of half a sheet", _part("sheet1.xml", b"<worksheet><sheetData><row>")),
        ("workbook of another language", _part("sheet1.xml", entity)),
        ("workbook that is another archive", _part("", None)),
        ("workbook of text", b"PK\x03\x04 is not enough"),
        ("workbook of the old kind", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600)),
    ]
    row = {
        "a formula": ("FH-1", "left", date(2025, 3, 3), "measured", "=E2-0.01"),
        "a width in inches": ("FH-1", "left", date(2025, 3, 3), "measured", 0.034),
        "a width as text": ("FH-1", "left", date(2025, 3, 3), "measured", "thin"),
        "a width that is true": ("FH-1", "left", date(2025, 3, 3), "measured", True),
        "a serial date": ("FH-1", "left", 45_678, "measured", 0.83),
        "a date as text": ("FH-1", "left", "03/04/2025", "measured", 0.83),
        "no event": ("FH-1", "left", date(2025, 3, 3), None, 0.83),
        "an unknown event": ("FH-1", "left", date(2025, 3, 3), "polished", None),
        "no instrument": (None, "left", date(2025, 3, 3), "measured", 0.83),
        "a total": ("Total", None, None, None, 1.7),
        "a cell beyond the header": ("FH-1", "left", date(2025, 3, 3), "used", None, "stray"),
    }
    right = [
        ("workbook as written", good),
        ("workbook of three sheets", _workbook(*ROWS, sheets=2)),
        ("workbook with empty rows", _workbook(ROWS[0], (), *ROWS[1:], (), ())),
    ]
    return [
        *(Spoiled(name, _put(data), ek.read_log, ERROR) for name, data in error),
        *(
            Spoiled(f"workbook with {name}", _put(_workbook(*ROWS, bad)), _all_but_the_last, ROW)
            for name, bad in row.items()
        ),
        *(Spoiled(name, _put(data), _same_log, READ) for name, data in right),
    ]


def _same_log(path):
    log = ek.read_log(path)
    assert log.rows["width_mm"].dropna().tolist() == [0.86, 0.84]
    assert log.rows["date"].dt.day.tolist() == [6, 3, 3]
    assert not len(log.rejected)
    return log


def _all_but_the_last(path):
    log = ek.read_log(path)
    assert log.rows["width_mm"].dropna().tolist() == [0.86, 0.84]
    assert log.rejected["line"].unique().tolist() == [5]
    assert (log.rejected["reason"] != "").all()


# ---- sweep folders -------------------------------------------------------------------------


CASE = ek.LifeCase(blade=ek.patterns.hoe, method=QUICK, stations=8, depths=4)
GRID = ek.full_grid({"use.strokes": [20.0, 30.0, 40.0]})


def _sweep(folder=None):
    return ek.sweep(CASE, GRID, runs=4, seed=1, out=folder, progress=False, chunk_runs=4)


@cache
def _swept():
    return _sweep()


def _parts(change):
    def write(folder):
        out = folder / "sweep"
        _sweep(out)
        change(out)
        return out

    return write


def _same_sweep(path):
    pd.testing.assert_frame_equal(_sweep(path), _swept())


def _text(name, edit):
    def change(out):
        path = out / name
        path.write_bytes(edit(path.read_bytes()))

    return change


def sweeps():
    """Folders of a sweep: parts that were touched are computed again, the manifest is refused."""
    part, manifest = "part-000001.csv", "manifest.json"
    chance = random.Random(f"{SEED} sweep")
    again = {
        f"a part cut to {share:.0%}": _text(part, lambda b, s=share: b[: int(s * len(b))])
        for share in sorted(chance.random() for _ in range(12))
    }
    again |= {
        f"a bit turned at {share:.0%}": _text(part, lambda b, s=share: _turned(b, int(s * len(b))))
        for share in sorted(chance.random() for _ in range(12))
    }
    again |= {
        "a part edited": _text(part, lambda b: b.replace(b"ok", b"OK")),
        "a row of a part removed": _text(part, lambda b: b.rsplit(b"\n", 2)[0] + b"\n"),
        "a part emptied": _text(part, lambda _: b""),
        "a part removed": lambda out: (out / part).unlink(),
        "all parts removed": lambda out: [p.unlink() for p in out.glob("part-*")],
        "a part copied over another": lambda out: (out / part).write_bytes(
            (out / "part-000000.csv").read_bytes()
        ),
        "parts exchanged": lambda out: _exchange(out / part, out / "part-000000.csv"),
        "another's file": lambda out: (out / "notes.txt").write_text("mine"),
    }
    refused = {
        "a manifest edited": _text(manifest, lambda b: b.replace(b'"seed": 1', b'"seed": 2')),
        "a manifest cut": _text(manifest, lambda b: b[: len(b) // 2]),
        "a manifest emptied": _text(manifest, lambda _: b""),
        "a manifest that is a list": _text(manifest, lambda _: b"[1]"),
        "a manifest removed": lambda out: (out / manifest).unlink(),
        "a manifest of half letters": _text(manifest, lambda b: b + b"\xff"),
    }
    return [
        *(Spoiled(f"sweep: {n}", _parts(c), _same_sweep, READ) for n, c in again.items()),
        *(Spoiled(f"sweep: {n}", _parts(c), _sweep, ERROR) for n, c in refused.items()),
    ]


def _turned(data, at):
    turned = bytearray(data)
    turned[min(at, len(data) - 1)] ^= 1
    return bytes(turned)


def _exchange(one, other):
    kept = one.read_bytes()
    one.write_bytes(other.read_bytes())
    other.write_bytes(kept)


@cache
def spoiled():
    """Every file of this module."""
    parts = (tables, states, trays, prices, workbooks, sweeps)
    return [case for part in parts for case in part()]


if __name__ == "__main__":
    print(Counter(case.gives for case in spoiled()))
