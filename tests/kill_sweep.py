"""Kills a sweep at random moments and finishes it: ``tests/kill_sweep.py FOLDER [KILLS] [SEED]``.

Each time a child process sweeps into the folder until it is killed without warning. At last the
sweep runs to its end. Prints how many kills met a running sweep and the hash of all files in the
folder.
"""

import hashlib
import os
import random
import signal
import sys
import time
from pathlib import Path

import edgekit as ek

TASK = ek.LifeCase(
    blade=ek.patterns.hoe,
    method=ek.methods.freehand(stroke=ek.strokes.local(strokes_per_placement=1)),
    stations=16,
    depths=4,
)
GRID = ek.full_grid(
    {"method.stroke.placements": list(range(2, 12)), "use.strokes": [10, 15, 20, 30, 45, 60]}
)


def swept(folder: Path):
    return ek.sweep(TASK, GRID, runs=40, seed=4, out=folder, progress=False, chunk_runs=40)


def fingerprint(folder: Path) -> str:
    digest = hashlib.sha256()
    for path in sorted(folder.iterdir()):
        digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()


def main(folder: Path, kills: int, seed: int) -> None:
    times, met = random.Random(seed), 0
    for _ in range(kills):
        child = os.fork()
        if not child:
            swept(folder)
            os._exit(0)
        time.sleep(times.uniform(0.01, 0.12))
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        met += os.WIFSIGNALED(status)
    swept(folder)
    print(met, fingerprint(folder))


if __name__ == "__main__":
    main(
        Path(sys.argv[1]),
        *(int(item) for item in (sys.argv[2:] + ["20", "1"][len(sys.argv) - 2 :])),
    )
