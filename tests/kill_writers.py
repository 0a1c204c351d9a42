"""Kill the writers at random moments, or at each line: ``python tests/kill_writers.py FOLDER HOW``.

A child process writes two contents in turn under one name until it is killed without warning; then
what stands there must be one of them, to the last bit. Prints one JSON object: for each writer the
kills that met it, how often which content was found, how often neither, and leftovers at the end.
"""

import hashlib
import json
import os
import random
import resource
import signal
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd

import edgekit as ek
from edgekit.files import write_file
from edgekit.study.checkpoint import Folder

TURN = [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]
TABLES = [
    pd.DataFrame({"code": [f"F-{i}" for i in range(n)], "width_mm": np.arange(n) / 7})
    for n in (300, 350)
]
BLADES = [make().moved(TURN) for make in (ek.patterns.hoe, ek.patterns.straight_sickle)]
PLANS = [ek.plan_bench([make()]) for make in (ek.patterns.hoe, ek.patterns.universal_curette)]
PARTS = [{"loss_um": np.arange(n) / 3, "run": np.arange(n)} for n in (2000, 2100)]


def blade_bits(path: Path) -> bytes:
    blade = ek.read_blade(path)
    return b"".join(
        edge.frame(edge.stations(9)).position.tobytes() for edge in blade.edges.values()
    )


class Writer:
    """How to write content `i` into a folder, and what stands there."""

    def __init__(self, write, read):
        self.write, self.read = write, read


WRITERS = {
    "write_file": Writer(
        lambda at, i: write_file(at / "x", b"ab"[i : i + 1] * 300_000, replace=True),
        lambda at: (at / "x").read_bytes(),
    ),
    "write_table": Writer(
        lambda at, i: ek.write_table(TABLES[i], at / "t.csv", replace=True),
        lambda at: (at / "t.csv").read_bytes() * len(ek.read_table(at / "t.csv")),
    ),
    "write_blade": Writer(
        lambda at, i: ek.write_blade(BLADES[i], at / "FH-03.1", replace=True),
        lambda at: blade_bits(at / "FH-03.1"),
    ),
    "setting_sheet.html": Writer(
        lambda at, i: ek.setting_sheet(PLANS[i], at / "s.html", replace=True),
        lambda at: (at / "s.html").read_bytes(),
    ),
    "sweep's part": Writer(
        lambda at, i: Folder(at, {"runs": 1}).write(0, PARTS[i]),
        lambda at: np.concatenate(list(Folder(at, {"runs": 1}).read(0).values())).tobytes(),
    ),
}


def contents(writer: Writer, folder: Path) -> list[str]:
    """Hashes of both contents, whole."""
    found = []
    for i in (0, 1):
        alone = folder / f"whole-{i}"
        alone.mkdir(parents=True)
        writer.write(alone, i)
        found.append(hashlib.sha256(writer.read(alone)).hexdigest())
    return found


def standing(writer: Writer, folder: Path, whole: list[str]) -> str:
    try:
        found = hashlib.sha256(writer.read(folder)).hexdigest()
    except Exception as error:  # noqa: BLE001 - whatever it is, the file is lost
        return f"lost: {error!r}"
    return "ab"[whole.index(found)] if found in whole else "torn"


def killed_at_random(writer: Writer, at: Path, seconds: float) -> bool:
    """Write in turn in a child until the kill; True if it was still writing."""
    ready, begun = os.pipe()
    child = os.fork()
    if not child:
        for i in range(1_000_000):
            writer.write(at, i % 2)
            if i == 0:
                os.write(begun, b".")
    os.read(ready, 1)
    time.sleep(seconds)
    os.kill(child, signal.SIGKILL)
    os.close(ready), os.close(begun)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def killed_at_line(writer: Writer, at: Path, line: int) -> bool:
    """Write content 1 in a child that dies before the given line of the writing modules."""
    child = os.fork()
    if not child:
        left = line

        def trace(frame, event, _):
            nonlocal left
            if not frame.f_code.co_filename.endswith(("files.py", "writing.py")):
                return None
            if event == "line":
                left -= 1
                if left == 0:
                    os.kill(os.getpid(), signal.SIGKILL)
            return trace

        sys.settrace(trace)
        writer.write(at, 1)
        os._exit(0)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def random_kills(folder: Path, kills: int, seed: int) -> dict[str, Counter]:
    times, counts = random.Random(seed), {}
    for name, writer in WRITERS.items():
        whole = contents(writer, folder / name)
        at = folder / name / "here"
        at.mkdir()
        began = time.perf_counter()
        writer.write(at, 0)
        longest = 3 * (time.perf_counter() - began)
        count = counts[name] = Counter()
        for _ in range(kills):
            count["kills"] += killed_at_random(writer, at, times.uniform(0.0, longest))
            count[standing(writer, at, whole)] += 1
        writer.write(at, 0)
        count["leftovers"] = len(list(at.glob(".*")))
    return counts


def kills_at_lines(folder: Path) -> dict[str, Counter]:
    counts = {}
    for name in ("write_file", "write_blade"):
        writer = WRITERS[name]
        whole = contents(writer, folder / name)
        count = counts[name] = Counter()
        met, line = True, 0
        while met:
            line += 1
            at = folder / name / f"line-{line}"
            at.mkdir()
            writer.write(at, 0)
            met = killed_at_line(writer, at, line)
            count["kills"] += met
            count[standing(writer, at, whole)] += 1
    return counts


def full_disk(folder: Path) -> dict[str, Counter]:
    """Write where no file may grow beyond 600 bytes, over a file and as a new one."""
    counts = {}
    for name, writer in WRITERS.items():
        whole = contents(writer, folder / name)
        at = folder / name / "here"
        at.mkdir()
        writer.write(at, 0)
        before = {path.name: path.read_bytes() for path in at.iterdir()}
        empty = folder / name / "empty"
        empty.mkdir()
        limits = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (600, limits[1]))
        count = counts[name] = Counter()
        for where in (at, empty):
            try:
                writer.write(where, 1)
            except ek.EdgekitError as error:
                count["refused"] += bool(error.remedy)
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        count["as before"] = {path.name: path.read_bytes() for path in at.iterdir()} == before
        count[standing(writer, at, whole)] += 1
        count["new files"] = sum(path.name != "manifest.json" for path in empty.iterdir())
    return counts


def race(folder: Path, rounds: int, writers: int) -> dict[str, int]:
    """Processes that write the same new file at once; how many of each round succeed."""
    firsts = Counter()
    for number in range(rounds):
        gate, opened = os.pipe()
        children = []
        for i in range(writers):
            child = os.fork()
            if not child:
                os.close(opened)
                os.read(gate, 1)  # ends when the parent closes it
                try:
                    write_file(folder / f"{number}", str(i))
                except ek.EdgekitError:
                    os._exit(1)
                os._exit(0)
            children.append(child)
        os.close(gate), os.close(opened)
        ends = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
        first = [i for i, end in enumerate(ends) if end == 0]
        right = len(first) == 1 and (folder / f"{number}").read_text() == str(first[0])
        firsts["one first" if right else f"{len(first)} first"] += 1
    firsts["leftovers"] = len(list(folder.glob(".*")))
    return firsts


if __name__ == "__main__":
    target = Path(sys.argv[1])
    target.mkdir(exist_ok=True)
    kind = sys.argv[2]
    done = {
        "random": lambda: random_kills(target, 25, 7),
        "lines": lambda: kills_at_lines(target),
        "full": lambda: full_disk(target),
        "race": lambda: race(target, 40, 8),
    }[kind]()
    print(json.dumps(done))
