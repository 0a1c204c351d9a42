"""Where results have the same bits, and how far they may move where they have not.

On processors of one kind every result has the same bits. Others round sums in another order: what
is measured here is that a result then moves as little as its inputs' last bits can move it.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import edgekit as ek
from edgekit.digitising.reader import trace_blade
from tests.results import DEMO

TRACES = sorted(path for path in (DEMO / "traces").glob("*.toml"))
LAST_BIT = 1e-9  # relative, of elevation and roll, when traced points move by their last bit
OTHER_KIND = 1e-9  # relative, of results on processors without wide instructions
ROLL_FLOOR_DEG = 1.0  # a straight edge rolls by nothing: shares of that would be of noise


def angles(blade):
    """Elevation and roll (E, S) of every edge."""
    found = [ek.orient(edge, stations=100) for edge in blade.edges.values()]
    return np.array([o.elevation_deg for o in found]), np.array([o.roll_deg for o in found])


@pytest.mark.parametrize("path", TRACES, ids=lambda path: path.stem)
@pytest.mark.parametrize("seed", [1, 2])
def test_the_last_bit_of_traced_points_moves_angles_by_no_more_than_bits(path, seed):
    blade = ek.read_blade(path)
    chance = np.random.default_rng(seed)
    moved = {
        name: np.nextafter(points, points + chance.choice([-1.0, 1.0], size=points.shape))
        for name, points in blade.trace.points_mm.items()
    }
    again = trace_blade(dict(blade.trace.settings), moved)
    for one, other, floor in zip(angles(blade), angles(again), (0.0, ROLL_FLOOR_DEG), strict=True):
        assert not np.array_equal(one, other)  # the bit arrived
        assert np.abs(one - other).max() < LAST_BIT * max(np.abs(one).max(), floor)


PROGRAM = f"""
import json, numpy as np, edgekit as ek
from pathlib import Path
demo = Path({str(DEMO)!r})
numbers = {{}}
for path in sorted((demo / "traces").glob("*.toml")):
    for name, edge in ek.read_blade(path).edges.items():
        found = ek.orient(edge, stations=100)
        numbers[path.stem + name] = [*found.elevation_deg, *found.roll_deg]
forecast = ek.forecast(ek.read_log(demo / "log.csv"), retire=ek.MaxWidthLoss())
table = forecast.table.select_dtypes("number")
numbers |= {{name: table[name].dropna().tolist() for name in table}}
method = ek.methods.freehand()
life = ek.live(ek.patterns.area_specific_curette(), method, rng=1, stations=24)
numbers["sessions"] = [float(life.sessions)]
numbers["life"] = life.history.select_dtypes("number").sum().tolist()
core = np._core._multiarray_umath
on = [name for name in core.__cpu_dispatch__ if core.__cpu_features__[name]]
print(json.dumps([on, numbers]))
"""


def on_processor(features):
    """Kinds of instruction in use beyond the least, and numbers, computed without some of them."""
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", PROGRAM],
        capture_output=True,
        text=True,
        check=True,
        env={
            **os.environ,
            "PYTHONPATH": str(Path(__file__).parents[1]),
            "NPY_DISABLE_CPU_FEATURES": features,
        },
    )
    return json.loads(done.stdout)


@pytest.mark.slow
def test_a_processor_without_wide_instructions_gives_the_same_but_for_the_last_bits():
    wide, one = on_processor("")
    if not wide:
        pytest.skip("this processor has no instructions that numpy could do without")
    narrow, other = on_processor(" ".join(wide))
    assert not narrow
    assert one.keys() == other.keys()
    for name in one:
        a, b = np.array(one[name]), np.array(other[name])
        print(f"{name}: {np.abs(a - b).max() / max(np.abs(a).max(), 1e-300):.1e}")
        assert np.abs(a - b).max() <= OTHER_KIND * max(np.abs(a).max(), 1e-300), name
