"""Default methods on every class of blade against weighed steel, counted strokes and worn blades.

Each number lies within what its sources allow, or is listed here as outside with its value and the
reason. The bands are:

* steel a stroke, 0.0017-0.019 mg: 400 strokes took 0.69 mg with a ceramic stone and 7.62 mg with a
  diamond-plated one (Hessheimer et al. 2017, J Dent Hyg);
* strokes on an edge, 5-20: protocols ask for 7-10 (Huang & Tseng 1991; Moses 2003), and the
evidence
  table's spread about ten is that range;
* width lost a session by one edge, 3-15 µm: a fifth of 0.86 mm (Murray et al. 1984) over 14.34
cycles
  (Liu et al. 2022), half of it by sharpening, with the range of both;
* cycles, 7-30 for an area-specific curette, the only class observed: 14.34 on average (Liu et al.
  2022), halved and doubled. Use's own wear of width is left out here, as it is by default.

They are observed on people's own instruments, so means over lives are held against them.
"""

from functools import cache

import pytest

import edgekit as ek

pytestmark = pytest.mark.slow
PATTERNS = (
    "area_specific_curette",
    "universal_curette",
    "half_length_curette",
    "straight_sickle",
    "curved_sickle",
    "hoe",
)
METHODS = ("freehand", "novice", "bench", "held", "powered", "local", "face")
BANDS = {"mg_per_stroke": (0.0017, 0.019), "strokes": (5.0, 20.0), "um": (3.0, 15.0)}
RUNS = 16
NODES = {"stations": 32, "depths": 12}  # 0.5 % from the limit
FACETS = "48 flat seatings with errors of their own: facets are paid for again in every session"
SPREAD = "mean of instruments that dull and of hands that cut unlike by factors of 3 and 2"
FLANK = "a sickle's flank is twice as deep as the part of a curette's that a stone reaches"
FACE = "the face is as wide as the blade, and no protocol counts strokes on it"
BEVEL = "a bevel of 45° gives way r cot(β/2) = 2.4 r where one of 75° gives 1.3 r"


def way(name, edge):
    """A method by the name it has here."""
    return {
        "freehand": ek.methods.freehand,
        "novice": lambda: ek.methods.freehand(novice=True),
        "bench": ek.methods.bench_stone,
        "held": lambda: ek.methods.held(ek.settings_needed(edge)),
        "powered": ek.methods.powered,
        "local": lambda: ek.methods.freehand(stroke=ek.strokes.local()),
        "face": ek.methods.face_honing,
    }[name]()


@cache
def measured(pattern, method):
    """Means over lives, per edge ground, and two standard errors of each."""
    blade = getattr(ek.patterns, pattern)()
    edge = next(iter(blade.edges.values()))
    runs = ek.compare(blade, [way(method, edge)], runs=RUNS, seed=11, grid_runs=0, **NODES).runs
    surfaces = 1 if method == "face" else len(blade.edges)
    values = {
        "um": runs["loss_um_per_session"] / len(blade.edges),
        "strokes": runs["stone_strokes"] / surfaces,
        "mg_per_stroke": runs["steel_mg"] / runs["stone_strokes"],
        "sessions": runs["sessions"],
    }
    return {name: (column.mean(), 2 * column.sem()) for name, column in values.items()}
