"""Every number in one small instance of every public result, as stored.

Computed by the package itself, like `tests.test_regression`: these say that nothing moved, not that
anything is right. Kept are all fields, those of records inside them too, and the numbers a result
prints. ``python -m tests.test_regression_results NAME …`` stores the named parts again (all without
a name), for a change that is meant to alter a result.
"""

import dataclasses
import re
import sys
from functools import cache, partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import edgekit as ek
from edgekit.grinding.compiled.engine import using
from tests import good_calls, results
from tests.test_regression import ELSEWHERE, machine

STORED = Path(__file__).parent / "regression_results.npz"
DEMO = Path(__file__).parents[1] / "data_demo"
P = ek.pictures
MANY = 60  # of an array's numbers are kept, evenly spread, beside its sums
LONG = 2000  # numbers of a whole result; beyond, these many of them and two sums
DEEP = 6  # records in records


def seen_line(name, scale):
    picture = P.read_picture(DEMO / "pictures" / f"{name}.png", response=P.SRGB)
    return P.outline(picture, scale, heel=P.EdgeLength(side=P.Side.LEFT, length_mm=6.26))


@cache
def lines():
    """Scale, and outlines before and after a session, from the demo's pictures."""
    board = P.read_picture(DEMO / "pictures" / "board.png", response=P.SRGB)
    scale = P.calibrate(board, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
    return scale, *(seen_line(f"FH-03-AS1_2026-03-{day}_a", scale) for day in ("02", "09"))


def pictures():
    """What is measured in the demo's pictures."""
    mount = P.Mount(distance_mm=120)
    scale, before, after = lines()
    loss = P.width_loss(
        [before], [after], datum=P.Datum.UNUSED_EDGE_AND_SHANK, side=P.Side.LEFT, mount=mount
    )
    yield from (scale, before, after, loss, P.width(before, side=P.Side.LEFT, mount=mount))
    yield from (P.chips(after, side=P.Side.LEFT), P.edge_spread(before.picture, (20, 170, 70, 220)))
    yield loss.recession_on(ek.patterns.area_specific_curette().edges["used"], 40)
    yield loss.budget.monte_carlo(7, 500)


def view():
    """An edge from one view, and what is not known of it."""
    seen = P.edge_from_view(lines()[1], side=P.Side.LEFT, handle_axis=(0, 0.342, -0.940))
    yield seen
    yield seen.propagate(lambda edge: ek.best_setting(edge, stations=40).elevation_deg)


def pages():
    """The numbers of a setting sheet, its drawings' too, and of a plan's tables."""
    blades = {
        "A": ek.patterns.universal_curette(shank_bend_deg=6),
        "B": ek.patterns.area_specific_curette(),
        "C": ek.patterns.curved_sickle(),
        "D": ek.patterns.hoe(),
    }
    holder = ek.Holder(pivot_height_mm=71.5)
    plan = ek.plan_bench(blades, urgent=["C"], minutes_available=10, holder=holder)
    from edgekit.clinic.sheet.content import compose
    from edgekit.clinic.sheet.page import page

    yield plan
    yield page(compose(plan, "Numbers"))


def traces():
    """The demo's traced blades, with what is not known of them."""
    for file in sorted((DEMO / "traces").glob("*.toml")):
        blade = ek.read_blade(file)
        yield blade.trace
        yield blade.section
        for edge in blade.edges.values():
            yield edge.frame(edge.stations(21), order=2)


def patterns():
    """Every pattern with all its arguments off their defaults, and what is read from its edges."""
    shapes = {
        "universal_curette": {"width_mm": 0.9, "bow_radius_mm": 14.0, "shank_bend_deg": 7.0},
        "area_specific_curette": {"plan_radius_mm": 7.0, "bow_radius_mm": 13.0},
        "half_length_curette": {"thickness_taper": 0.2, "internal_angle_deg": 72.0},
        "straight_sickle": {"length_mm": 5.5, "shank_bend_deg": 5.0},
        "curved_sickle": {"width_mm": 0.8, "internal_angle_deg": 74.0},
        "hoe": {"width_mm": 2.1, "internal_angle_deg": 76.0},
    }
    rod = ek.RodStone(radius_mm=3.0)
    for name, shape in shapes.items():
        blade = getattr(ek.patterns, name)(**shape)
        yield blade
        for edge in blade.edges.values():
            held = ek.orient(edge, rod, stations=21)
            yield (held, held.table, edge.frame(edge.stations(21), order=2))
            yield (ek.best_setting(edge, share=0.8, stations=40),)
            yield ek.settings_needed(edge, tolerance_deg=2.0, stations=40)
        yield ek.load_limits(blade)


def called_well(part):
    """What good arguments of public functions give."""
    for name, arguments in part().items():
        target = ek
        for step in name.split("."):
            target = getattr(target, step)
        result = target(**arguments)
        yield None if isinstance(result, Path) else result


PARTS = {
    "traces": traces,
    "patterns": patterns,
    **{
        f"calls of {part.__name__}": partial(called_well, part)
        for part in good_calls.PARTS
        if part is not good_calls._figures
    },
    "blades": results._blades,
    "wear": results._wear,
    "finish": results._finish,
    "clinic": results._clinic,
    "pictures": pictures,
    "view": view,
    "pages": pages,
}


def printed(text):
    """The numbers in a text; no addresses in memory."""
    text = re.sub(r"0x[0-9a-f]+", "", text)
    return [float(word) for word in re.findall(r"-?\d+(?:\.\d+)?(?:e-?\d+)?", text)]


def numbers(value, depth=DEEP):
    """Every number in a result, in order."""
    if isinstance(value, bool | int | float | np.number):
        return [float(value)]
    if isinstance(value, pd.DataFrame):
        inside = [value[name].to_numpy() for name in value.select_dtypes(["number", "bool"])]
    elif isinstance(value, pd.Series):
        inside = [value.to_numpy()]
    elif isinstance(value, np.ndarray):
        return thinned(value) if value.dtype.kind in "fiub" else []
    elif isinstance(value, tuple | list):
        inside = list(value)
    elif hasattr(value, "keys") and hasattr(value, "values"):
        inside = list(value.values())
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        inside = [getattr(value, field.name) for field in dataclasses.fields(value)]
        inside += [getattr(value, "table", None)]
    else:
        return []
    return [n for item in inside for n in numbers(item, depth - 1)] if depth else []


def thinned(array, most=MANY):
    """An array's numbers, or some of them and two sums."""
    flat = np.asarray(array, dtype=float).ravel()
    if len(flat) <= most:
        return list(flat)
    some = flat[np.linspace(0, len(flat) - 1, most).astype(int)]
    flat = np.where(np.isfinite(flat), flat, 0.0)
    return [*some, flat.sum(), (flat * np.linspace(1, 2, len(flat))).sum()]


@cache
def called(name):
    """Numbers of a part by the engine that is there everywhere."""
    with using("arrays"):
        return [
            np.array(thinned(numbers(result) + printed(str(result)), LONG))
            for result in PARTS[name]()
        ]


def store(names):
    kept = dict(np.load(STORED)) if STORED.exists() else {}
    for name in names or PARTS:
        kept = {key: value for key, value in kept.items() if key.split("/")[0] != name}
        kept |= {f"{name}/{i}": array for i, array in enumerate(called(name))}
    np.savez_compressed(STORED, **kept | {"machine": np.array(machine())})


@pytest.mark.parametrize("name", PARTS)
def test_every_number_of_every_result_is_as_stored(name):
    stored, got = np.load(STORED), called(name)
    assert f"{name}/{len(got)}" not in stored
    exact = str(stored["machine"]) == machine()
    for i, one in enumerate(got):
        other = stored[f"{name}/{i}"]
        assert one.shape == other.shape, i
        if exact:
            np.testing.assert_array_equal(one, other, err_msg=str(i))
        else:
            close = ELSEWHERE * np.maximum(np.abs(other), 1.0)
            assert (np.isclose(one, other, rtol=0, atol=close, equal_nan=True)).all(), i


if __name__ == "__main__":
    store(sys.argv[1:])
