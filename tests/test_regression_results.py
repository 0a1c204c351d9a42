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
from edgekit.method.grain import _TABLES as GRAINS
from tests import good_calls, results
from tests.test_regression import ELSEWHERE, machine

STORED = Path(__file__).parent / "regression_results.npz"
DEMO = Path(__file__).parents[1] / "data_demo"
P = ek.pictures
MANY = 30  # of an array's numbers are kept, evenly spread, beside its sums
LONG = 600  # numbers of a whole result; beyond, these many of them and two sums
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


def small_logs():
    """Forecasts of logs from one instrument to ten, early and late, and of a messy one."""
    whole = pd.read_csv(DEMO / "log.csv", comment="#", dtype=str, keep_default_na=False)
    names = list(dict.fromkeys(whole["instrument"]))
    prices = ek.read_prices(DEMO / "prices.csv")
    for count, share in ((1, 0.3), (1, 1.0), (2, 0.5), (3, 0.2), (4, 1.0), (10, 0.7)):
        rows = whole[whole["instrument"].isin(names[:count])]
        log = ek.read_log(rows.iloc[: max(int(len(rows) * share), 8)].reset_index(drop=True))
        result = ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.15), level=0.8)
        yield (result, result.groups, result.unread)
        yield ek.budget(result, prices=prices, months=7)
        yield ek.survival(log, level=0.8)
    messy = ek.read_log(DEMO / "log_messy.csv")
    yield (messy, messy.rejected_lines)
    yield ek.forecast(messy, retire=ek.MinWidth(width_mm=0.7))


def surfaces():
    """Profiles, hardness, cutting angles and finishes over their ranges."""
    rng = np.random.default_rng(3)
    x = np.cumsum(rng.uniform(0.3, 0.7, 3000))
    z = np.convolve(rng.normal(size=3000), np.hanning(15), "same") + 1e-6 * x**2
    for cutoff in (80.0, 250.0):
        yield ek.roughness(x, z, cutoff_um=cutoff)
    grains = [(scale.value, number) for scale, grades in GRAINS.items() for number in grades]
    yield [ek.grain_um(*grain) for grain in grains]
    yield GRAINS
    yield (ek.vickers(np.linspace(40, 67, 28)), ek.rockwell_c(np.linspace(400, 900, 26)))
    teeth = np.linspace(20, 160, 15)
    yield [ek.working_angles(face_tooth_deg=teeth, internal_angle_deg=b) for b in (60.0, 85.0)]
    edge = ek.patterns.curved_sickle().edges["left"]
    makers = (ek.ceramic_stone, ek.diamond_plated_stone, ek.fine_natural_stone)
    for seed, stone in enumerate(makers):
        for direction in (ek.along_edge(), ek.across_edge(), ek.Oblique(angle_deg=30.0)):
            stroke = ek.strokes.rolling(direction=direction)
            method = dataclasses.replace(ek.methods.freehand(stroke=stroke), abrasive=stone())
            done = ek.finish(edge, method, rng=seed, stations=30)
            yield done
        yield ek.blunting(done, strokes=(0, 3, 30))


def held():
    """Settings, windows, facets and placements over stones and tolerances."""
    edges = [
        e
        for b in (ek.patterns.universal_curette(), ek.patterns.curved_sickle())
        for e in b.edges.values()
    ]
    edges.append(ek.patterns.area_specific_curette().edges["used"])
    stones = (ek.FlatStone(length_mm=30.0), ek.RodStone(radius_mm=2.0), ek.DiscStone(radius_mm=9.0))
    for edge in edges:
        for stone in stones:
            found = ek.orient(edge, stone, stations=31)
            yield (found, found.table)
        for elevation in (5.0, 18.0):
            setting = ek.setting_at(edge, elevation, tolerance_deg=2.5, stations=31)
            yield (setting, ek.roll_schedule(setting, seconds=9.0, steps=5))
        for tolerance in (1.0, 4.0):
            settings = ek.settings_needed(edge, tolerance_deg=tolerance, stations=31)
            yield (settings, ek.settings_table(settings))
        for depth in (0.0, 15.0):
            cut = ek.facets(edge, 5, depth_um=depth, stations=61)
            yield (cut, cut.table)
        yield [ek.placements_for(edge, ridge_um=r) for r in (2.0, 8.0, 40.0)]
        yield (ek.spaced_placements(edge, ridge_um=4.0), ek.placed_by_curvature(edge, 7))


def worn():
    """Sessions, strength and loads of every pattern, by every kind of method."""
    makers = (ek.patterns.universal_curette, ek.patterns.half_length_curette)
    makers += (ek.patterns.straight_sickle, ek.patterns.curved_sickle, ek.patterns.hoe)
    stop = (ek.strokes.counted(strokes=9), ek.strokes.until_clear(), ek.strokes.until_fresh())
    for at, make in enumerate(makers):
        blade = make()
        methods = [
            ek.methods.freehand(stop=stop[at % 3]),
            ek.methods.held(15.0),
            ek.methods.powered(),
            ek.methods.bench_stone(),
            ek.methods.face_honing(),
            ek.methods.freehand(stroke=ek.strokes.local(placements=5)),
            ek.methods.freehand(stroke=ek.strokes.rolling(stretch_mm=1.5)),
        ]
        for method in methods[at % 2 :: 2]:
            done = ek.sharpen(blade, method, dull_radius_um=5.0, rng=at, stations=24, depths=5)
            again = ek.sharpen(ek.use(done.worn, 20.0, rng=3), method, rng=at + 9)
            yield (done, again)
            if blade.kind is not ek.BladeClass.HOE:
                yield ek.strength(again.worn, load_n=4.0)
        state = ek.WornBlade.from_recession(blade, 30.0, face_um=20.0, stations=24, depths=5)
        yield (state, None if blade.kind is ek.BladeClass.HOE else ek.load_limits(state))


def studies():
    """Grids, sweeps, shares of variance, comparisons and mixtures, on a few quick lives."""
    spread = {"use.strokes": (10.0, 60.0), "method.max_advance_um": (90.0, 240.0)}
    for points in (5, 8):
        yield ek.grids.latin_hypercube(spread, points, seed=4).rows
    yield ek.grids.sobol_points(spread, 8, seed=4).rows
    case = ek.LifeCase(blade=ek.patterns.hoe, method=results.QUICK, stations=12, depths=4)
    quick = {"runs": 3, "seed": 5, "progress": False}
    grid = ek.grids.full_grid({"use.strokes": [12.0, 30.0], "method.stroke.placements": [3, 5]})
    yield ek.sweep(case, grid, **quick)
    yield ek.sweep(case, grid, summary=True, **quick)
    yield ek.sensitivity(case, spread, points=8, level=0.8, **quick)
    yield ek.tornado(case, spread, **quick)
    methods = [results.QUICK, ek.methods.face_honing()]
    compared = ek.compare(ek.patterns.hoe(), methods, runs=4, seed=3, stations=12, depths=4)
    yield (compared, compared.differences(level=0.8))
    sickle = ek.patterns.curved_sickle()
    yield ek.face_or_sides(sickle, mixes=((2, 1), (0, 1)), tilts_deg=(0.0, 2.0), runs=2, seed=2)
    for error in (0.1, 0.3):
        yield [ek.runs_needed([1.0, 2.5, 4.0, 3.5, 2.0], error=error, level=k) for k in (0.5, 0.95)]


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
    "small logs": small_logs,
    "surfaces": surfaces,
    "held": held,
    "worn": worn,
    "studies": studies,
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
