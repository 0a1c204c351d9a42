"""Sizes that no computer bears: ``python tests/hostile_sizes.py FOLDER``.

Each is given in a child process of its own. Prints one JSON object: by name, what came of it
("refused" with a remedy, "result", or the error that escaped), the seconds and the peak of the
memory in GB beyond what the package itself takes.
"""

import json
import os
import resource
import signal
import sys
import time
import zipfile
from pathlib import Path

import numpy as np
import pandas as pd

import edgekit as ek

GUARD_S = 60
HUGE = 10**9
QUICK = ek.methods.freehand(stroke=ek.strokes.local(placements=6))
BLADE = (
    'format = "edgekit blade 1"\nname = "b"\nkind = "universal curette"\nsource = "trace"\n'
    'points = "points.csv"\norder = "heel to toe"\nhandle_axis = [0.0, 0.0, -1.0]\n'
    "internal_angle_deg = 75.0\nthickness_mm = 0.71\n"
)
LOG = b"instrument,date,event,width_mm\n"


def workbook(path, sheet, rows):
    """A workbook whose sheet is one row written many times: small packed, huge unpacked."""
    import openpyxl

    book = openpyxl.Workbook()
    book.active.append(["instrument", "date", "event"])
    book.save(path)
    with zipfile.ZipFile(path) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in parts.items():
            whole = sheet[0] + sheet[1] * rows + sheet[2] if "sheet1" in name else data
            new.writestr(name, whole)
    return path


OPEN = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
CLOSE = b"</sheetData></worksheet>"


def put(path, *parts):
    """A file of the parts."""
    path.write_bytes(b"".join(parts))
    return path


def files(at):
    """Files that are small to send and huge to hold."""
    cell, far = b'<row><c r="A1"><v>1</v></c></row>', b'<row r="1"><c r="XFD1048576"/></row>'
    points = b"curve,x_mm,y_mm,z_mm\n"

    def blade(*table):
        put(at / "points.csv", *table)
        return ek.read_blade(put(at / "b.toml", BLADE.encode()))

    state = b'{"format": "edgekit worn blade 1", "x": ['
    return {
        "workbook of 3 M rows": lambda: ek.read_log(
            workbook(at / "a.xlsx", (OPEN, cell, CLOSE), 3_000_000)
        ),
        "workbook of one far cell": lambda: ek.read_log(
            workbook(at / "b.xlsx", (OPEN, far, CLOSE), 1)
        ),
        "workbook of 400 MB of blanks": lambda: ek.read_log(
            workbook(at / "c.xlsx", (OPEN, b" " * 1000, CLOSE), 400_000)
        ),
        "workbook of wide rows": lambda: ek.read_log(
            workbook(at / "d.xlsx", (OPEN, b"<row>" + b"<c/>" * 2000 + b"</row>", CLOSE), 500)
        ),
        "log of 30 M lines": lambda: ek.read_log(put(at / "e.csv", LOG, b",,\n" * 30_000_000)),
        "log of 60 M blank lines": lambda: ek.read_log(put(at / "f.csv", LOG, b"\n" * 60_000_000)),
        "log of commas": lambda: ek.read_log(put(at / "h.csv", LOG, b"," * 90_000_000)),
        "log without end": lambda: ek.read_log("/dev/zero"),
        "log of 2 GB": lambda: ek.read_log(sparse(at / "i.csv")),
        "log in a DataFrame of 20 M rows": lambda: ek.read_log(
            pd.DataFrame({"instrument": np.zeros(20_000_000, dtype=np.int8)})
        ),
        "table of 20 M rows": lambda: ek.read_table(put(at / "j.csv", b"a\n", b"1\n" * 20_000_000)),
        "table of 1 M columns": lambda: ek.read_table(put(at / "k.csv", b"a," * 999_999, b"a\n")),
        "table of one wide row": lambda: ek.read_table(
            put(at / "l.csv", b"a\n", b"," * 40_000_000)
        ),
        "table at the bound": lambda: ek.read_table(
            put(at / "m.csv", b"a,b\n", b'"some text","more"\n' * 1_400_000)
        ),
        "table without end": lambda: ek.read_table("/dev/zero"),
        "table written of 20 M cells": lambda: ek.write_table(
            pd.DataFrame({"a": np.zeros(20_000_000, dtype=np.int8)}), at / "n.csv"
        ),
        "prices of 4 M rows": lambda: ek.read_prices(
            put(at / "o.csv", b"item,name,price,currency\n", b"instrument,a,1,EUR\n" * 4_000_000)
        ),
        "tray of 4 M rows": lambda: ek.read_tray(
            put(at / "p.csv", b"instrument,blade\n", b"A,hoe\n" * 4_000_000)
        ),
        "trace of 3 M points": lambda: blade(points, b"left,0,0,0\n" * 3_000_000),
        "trace of 20,000 points": lambda: blade(
            points, *(b"left,%d,0,0\n" % (i // 100) for i in range(20_000))
        ),
        "settings of 90 MB": lambda: ek.read_blade(put(at / "q.toml", b"a=[" + b"1," * 45_000_000)),
        "settings without end": lambda: ek.read_blade("/dev/zero"),
        "state of 25 M numbers": lambda: ek.read_worn(
            put(at / "r.json", state, b"1e9," * 25_000_000, b"1]}")
        ),
        "state of 9 M objects": lambda: ek.read_worn(
            put(at / "s.json", state, b"{}," * 9_000_000, b"{}]}")
        ),
        "picture of 2 GB": lambda: ek.pictures.read_picture(
            sparse(at / "t.png"), response=ek.pictures.SRGB
        ),
        "picture without end": lambda: ek.pictures.read_picture(
            "/dev/zero", response=ek.pictures.SRGB
        ),
    }


def sparse(path):
    """A file of 2 GB that takes no room."""
    with path.open("wb") as file:
        file.truncate(2_000_000_000)
    return path


def arguments():
    """Arguments that ask for more than there is."""
    edge = ek.patterns.universal_curette().edges["left"]
    hoe = ek.patterns.hoe()
    case = ek.LifeCase(blade=ek.patterns.hoe, method=QUICK, stations=8, depths=4)
    grid = ek.grids.full_grid({"use.strokes": [20.0]})
    lives = {"seed": 1, "stations": 8, "depths": 4}
    inputs = {"use.strokes": (20.0, 60.0)}
    return {
        "orient": lambda: ek.orient(edge, stations=HUGE),
        "best_setting": lambda: ek.best_setting(edge, stations=HUGE),
        "settings_needed": lambda: ek.settings_needed(edge, stations=HUGE),
        "facets": lambda: ek.facets(edge, HUGE),
        "facets at stations": lambda: ek.facets(edge, 4, stations=HUGE),
        "facets of an array": lambda: ek.facets(edge, np.zeros(20_000_000)),
        "ridges of 1e-9 um": lambda: ek.placements_for(edge, ridge_um=1e-9),
        "placements of 1e-9 um": lambda: ek.spaced_placements(edge, ridge_um=1e-9),
        "finish": lambda: ek.finish(edge, QUICK, rng=1, stations=HUGE),
        "lay": lambda: ek.lay(edge, ek.along_edge(), stations=HUGE),
        "sharpen": lambda: ek.sharpen(hoe, QUICK, dull_radius_um=4.0, rng=1, stations=HUGE),
        "depths": lambda: ek.sharpen(hoe, QUICK, dull_radius_um=4.0, rng=1, depths=HUGE),
        "live": lambda: ek.live(hoe, QUICK, rng=1, stations=HUGE),
        "sessions": lambda: ek.live(hoe, QUICK, rng=1, max_sessions=HUGE),
        "compare": lambda: ek.compare(hoe, [QUICK], runs=HUGE, **lives),
        "compare again": lambda: ek.compare(hoe, [QUICK], runs=4, grid_runs=HUGE, **lives),
        "sweep": lambda: ek.sweep(case, grid, runs=HUGE, seed=1, progress=False),
        "sweep in sum": lambda: ek.sweep(case, grid, runs=HUGE, seed=1, summary=True),
        "full_grid": lambda: ek.grids.full_grid(dict.fromkeys("abcde", range(100))),
        "axis of a grid": lambda: ek.grids.full_grid({"use.strokes": range(HUGE)}),
        "latin_hypercube": lambda: ek.grids.latin_hypercube(inputs, points=HUGE, seed=1),
        "sobol_points": lambda: ek.grids.sobol_points(inputs, points=HUGE, seed=1),
        "sensitivity": lambda: ek.sensitivity(case, inputs, points=HUGE, runs=2, seed=1),
        "tornado": lambda: ek.tornado(case, inputs, runs=HUGE, seed=1, progress=False),
        "roll_schedule": lambda: ek.roll_schedule(ek.best_setting(edge), seconds=5.0, steps=HUGE),
        "placements of a stroke": lambda: ek.strokes.local(placements=HUGE),
        "strokes of a rule": lambda: ek.strokes.counted(strokes=HUGE),
        "a blade of a kilometre": lambda: ek.patterns.universal_curette(length_mm=1e6),
        "a blade of a nanometre": lambda: ek.patterns.universal_curette(length_mm=1e-6),
        "roughness": lambda: ek.roughness(np.arange(2e6), np.ones(2_000_000), cutoff_um=0.01),
        "a path of 90 MB": lambda: ek.read_blade("x" * 90_000_000),
        "a title of 90 MB": lambda: ek.setting_sheet(
            ek.plan_bench([hoe]), "t.pdf", title="x" * 90_000_000
        ),
        "a code of 90 MB": lambda: ek.plan_bench({"x" * 90_000_000: hoe}),
        "a tray of 100,000": lambda: ek.plan_bench([hoe] * 100_000),
        "windows": lambda: ek.fewest_settings(np.tile([[1.0, 2.0]], (20_000_000, 1))),
        "strokes of blunting": lambda: ek.blunting(
            ek.finish(edge, QUICK, rng=1, stations=20), strokes=(0, HUGE)
        ),
        "a point each micrometre": lambda: ek.Edge.from_points(
            np.column_stack([np.linspace(0, 9, 3_000_000)] * 3) * [1, 0, 0],
            face_normals=(0.0, 0.0, 1.0),
            internal_angle_deg=75.0,
            handle_axis=(0.0, 0.3, -1.0),
        ),
    }


def outcome(call):
    """What came of a call."""
    signal.signal(signal.SIGALRM, signal.default_int_handler)
    signal.alarm(GUARD_S)
    try:
        call()
    except ek.EdgekitError as error:
        return "refused" if error.remedy else f"no remedy: {error}"
    except BaseException as error:  # noqa: BLE001 - what is looked for
        return f"{type(error).__name__}: {str(error)[:200]}"
    return "result"


def in_child(name, call):
    """Outcome, seconds and peak of a call in a process of its own."""
    read, write = os.pipe()
    child = os.fork()
    if not child:
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        began = time.perf_counter()
        came = outcome(call)
        seconds = time.perf_counter() - began
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
        os.write(write, json.dumps([came, round(seconds, 1), round(peak * 1024 / 1e9, 2)]).encode())
        os._exit(0)
    os.close(write)
    with os.fdopen(read) as pipe:
        said = pipe.read()
    os.waitpid(child, 0)
    return json.loads(said) if said else [f"{name}: killed", GUARD_S, 0.0]


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    cases = files(folder) | arguments()
    print(json.dumps({name: in_child(name, call) for name, call in cases.items()}, indent=1))
