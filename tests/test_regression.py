"""Stored results of calls on every floor: what the package gave before it was reorganised.

These numbers were computed by the package itself. They say that nothing moved, not that anything is
right; the other tests do that. ``python -m tests.test_regression NAME …`` stores the named calls
again (all without a name), which is for a change that is meant to alter a result and has its line
in the changelog.

On the kind of processor and with the versions that stored them the bits must be the same. Elsewhere
libraries round differently in the last place, and smoothing and fits amplify it: there 1e-6 is
asked.
"""

import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import scipy
import sympy

import edgekit as ek
from edgekit.grinding.compiled.engine import using
from tests.wear_blades import in_steps

HERE = Path(__file__).parent
STORED = HERE / "regression.npz"
DEMO = HERE.parent / "data_demo"
ELSEWHERE = 1e-6  # relative, of the largest number of each array


def rng(seed=1):
    return np.random.default_rng(seed)


def universal():
    return ek.patterns.universal_curette()


def area_specific():
    return ek.patterns.area_specific_curette()


def used():
    return area_specific().edges["used"]


def left():
    return universal().edges["left"]


def pick(result, *names):
    return [getattr(result, name) for name in names]


def setting_numbers(setting):
    return setting.elevation_deg, setting.worst_error_deg, setting.roll_span_deg, setting.error_deg


def session_numbers(session):
    per_edge = [
        array
        for done in session.edges.values()
        for array in (done.recession_um, done.angle_deg, done.facets)
    ]
    return (*per_edge, session.passes, session.seconds, session.steel_mg)


def sharpened(blade, method, radius_um=4.65):
    return session_numbers(
        ek.sharpen(blade, method, dull_radius_um=radius_um, rng=rng(), stations=48, depths=6)
    )


def life_numbers(blade, method, **options):
    life = ek.live(blade, method, rng=rng(3), stations=32, depths=6, **options)
    return life.sessions, life.history


def log():
    return ek.read_log(DEMO / "log.csv")


def forecast():
    return ek.forecast(log(), retire=ek.MaxWidthLoss(fraction=0.2))


def tray():
    return ek.read_tray(DEMO / "tray_FH-03.csv")


def hoe_case(**changes):
    return ek.LifeCase(
        blade=ek.patterns.hoe,
        method=in_steps(2),
        stations=16,
        depths=4,
        **changes,
    )


def symbolic_curve():
    u = sympy.Symbol("u", real=True)
    curve = ek.SymbolicCurve(
        expressions=(2 * u, sympy.sin(u) / 2, u**2 / 9), parameter=u, domain=(0, 2)
    )
    return curve.derivatives(np.linspace(0.0, 2.0, 20), 3)


def traced(name):
    blade = ek.read_blade(DEMO / "traces" / f"{name}.toml")
    edge = next(iter(blade.edges.values()))
    held = ek.orient(edge, stations=60)
    return held.position_mm, held.normal, held.elevation_deg, held.roll_deg, edge.length_mm


def points_edge():
    t = np.linspace(-0.5, 0.5, 41)
    points = np.column_stack([6 * np.sin(t), 6 * (np.cos(t) - 1), 0.3 * t**2])
    return ek.Edge.from_points(
        points, face_normals=(0.0, 0.0, 1.0), internal_angle_deg=75.0, handle_axis=(0.0, 0.3, -1.0)
    )


def oriented(edge, stone=None):
    held = ek.orient(edge, stone, stations=80)
    return (
        held.normal,
        held.elevation_deg,
        held.roll_deg,
        held.ruling,
        held.regression_mm,
        held.reachable,
        held.clear,
    )


def facet_numbers(edge, placements, depth_um=0.0):
    cut = ek.facets(edge, placements, depth_um=depth_um, stations=120)
    return cut.recession_um, cut.active, cut.table


def finished(method):
    result = ek.finish(used(), method, rng=rng(5), stations=60)
    profile = result.profile
    return result.lay_deg, result.teeth_per_mm, profile.z_um[::50]


CALLS = {
    "symbolic curve": symbolic_curve,
    "orient area-specific": lambda: oriented(used()),
    "orient universal, rod": lambda: oriented(left(), ek.RodStone(radius_mm=3.0)),
    "orient points": lambda: oriented(points_edge()),
    "orient tilted, bowed, bent": lambda: oriented(
        ek.patterns.area_specific_curette(bow_radius_mm=12.0, shank_bend_deg=15.0).edges["used"]
    ),
    "traced area-specific": lambda: traced("FH-03-AS1"),
    "traced universal": lambda: traced("FH-03-UC"),
    "traced sickle": lambda: traced("FH-03-CS"),
    "width between": lambda: ek.width_between(*universal().edges.values(), np.linspace(0.5, 5, 9)),
    "best setting": lambda: setting_numbers(ek.best_setting(used(), stations=120)),
    "settings needed": lambda: [
        number
        for setting in ek.settings_needed(used(), tolerance_deg=3.0, stations=120)
        for number in (setting.elevation_deg, setting.worst_error_deg)
    ],
    "facets, twelve": lambda: facet_numbers(used(), 12),
    "facets, given places": lambda: facet_numbers(left(), [1.0, 2.5, 4.0], 12.0),
    "placements for": lambda: (ek.placements_for(left(), ridge_um=10.0),),
    "spaced placements": lambda: (ek.spaced_placements(used(), ridge_um=5.0),),
    "dull edge": lambda: pick(
        ek.dull_edge(75.0, [1.0, 4.65]), "edge_width_um", "along_face_um", "worn_area_um2"
    ),
    "sharpen freehand": lambda: sharpened(area_specific(), ek.methods.freehand()),
    "sharpen in steps": lambda: sharpened(area_specific(), in_steps(4)),
    "sharpen held": lambda: sharpened(universal(), ek.methods.held(ek.best_setting(left()))),
    "sharpen bench stone": lambda: sharpened(ek.patterns.curved_sickle(), ek.methods.bench_stone()),
    "sharpen powered": lambda: sharpened(ek.patterns.hoe(), ek.methods.powered()),
    "sharpen face": lambda: sharpened(universal(), ek.methods.face_honing()),
    "live freehand": lambda: life_numbers(area_specific(), in_steps(4, placements=6)),
    "live rolling": lambda: life_numbers(area_specific(), ek.methods.freehand(), max_sessions=6),
    "live mixture": lambda: life_numbers(
        universal(),
        ek.mixture(in_steps(4, placements=5), ek.methods.face_honing(), sides=2, faces=1),
    ),
    "live strength rule": lambda: life_numbers(
        ek.patterns.half_length_curette(),
        in_steps(4, placements=5),
        use=ek.Use(strokes=30),
        retire=ek.MinStrength(fraction=0.7),
    ),
    "live saturating": lambda: life_numbers(
        ek.patterns.straight_sickle(),
        in_steps(4, placements=4),
        use=ek.Use(law=ek.SaturatingDulling(limit_um=4.0, strokes=20.0)),
    ),
    "compare": lambda: (
        ek.compare(
            area_specific(),
            [in_steps(4, placements=6), ek.methods.face_honing()],
            runs=12,
            seed=4,
            stations=32,
            depths=6,
            grid_runs=4,
        ).table,
    ),
    "sweep": lambda: (
        ek.sweep(
            hoe_case(),
            ek.full_grid({"method.stroke.placements": [2, 5], "use.strokes": [15, 45]}),
            runs=5,
            seed=1,
            progress=False,
        ),
    ),
    "sweep, summary": lambda: (
        ek.sweep(
            hoe_case(),
            ek.latin_hypercube({"use.strokes": (10.0, 60.0)}, 3, seed=2),
            runs=6,
            seed=1,
            progress=False,
            summary=True,
        ),
    ),
    "sensitivity": lambda: (
        ek.sensitivity(
            hoe_case(),
            {"use.strokes": (20.0, 60.0), "method.max_advance_um": (80.0, 250.0)},
            points=8,
            runs=3,
            seed=1,
            progress=False,
        ).table,
    ),
    "tornado": lambda: (
        ek.tornado(hoe_case(), {"use.strokes": (20.0, 60.0)}, runs=5, seed=1, progress=False).table,
    ),
    "what decides": lambda: (
        ek.key_inputs(ek.patterns.hoe(), in_steps(4, placements=3), runs=3, seed=1),
    ),
    "runs needed": lambda: (ek.runs_needed([1.0, 2.0, 4.0, 3.5], error=0.2),),
    "grain": lambda: (
        ek.grain_um("FEPA-P", 400),
        ek.grain_um("FEPA-F", 600),
        ek.grain_um("JIS", 1000),
    ),
    "hardness": lambda: (ek.vickers([50.0, 55.5, 58.0]), ek.rockwell_c([520.0, 640.0])),
    "roughness": lambda: pick(
        ek.roughness(
            np.arange(4000) * 0.5, rng(2).normal(size=4000).cumsum() * 0.01, cutoff_um=250.0
        ),
        "ra_um",
        "rq_um",
        "rz_um",
        "rk_um",
        "rpk_um",
        "rvk_um",
    ),
    "finish freehand": lambda: finished(ek.methods.freehand()),
    "finish across": lambda: finished(
        replace(
            ek.methods.freehand(stroke=ek.strokes.rolling(direction=ek.across_edge())),
            abrasive=ek.ceramic_stone(),
        )
    ),
    "lay": lambda: (ek.lay(used(), ek.along_edge(), stations=50).lay_deg,),
    "working angles": lambda: pick(
        ek.working_angles(face_tooth_deg=[60.0, 95.0], internal_angle_deg=75.0),
        "rake_deg",
        "clearance_deg",
        "burnishing",
    ),
    "blunting": lambda: (
        ek.blunting(
            ek.finish(used(), ek.methods.freehand(), rng=rng(5), stations=40), strokes=(0, 5, 45)
        ).table,
    ),
    "section properties": lambda: pick(
        ek.section_properties([[0, 0], [0.9, 0], [0.6, -0.7], [0.2, -0.6]]),
        "area_mm2",
        "centroid_mm",
        "second_moment_mm4",
        "modulus_mm3",
    ),
    "strength": lambda: pick(
        ek.strength(
            ek.WornBlade.from_recession(universal(), 43.0, stations=200, depths=32), load_n=5.0
        ),
        "stress_mpa",
        "stress_ratio",
        "strength_left",
    ),
    "face or sides": lambda: (
        ek.face_or_sides(
            universal(), mixes=((1, 0), (1, 1), (0, 1)), tilts_deg=(0.0, 1.0), runs=3, seed=1
        ).table,
    ),
    "log": lambda: (log().rows[::7],),
    "log, messy": lambda: (ek.read_log(DEMO / "log_messy.csv").rows[::7],),
    "forecast": lambda: (forecast().table,),
    "survival": lambda: (ek.survival(log()).curve,),
    "budget": lambda: pick(
        ek.budget(forecast(), prices=ek.read_prices(DEMO / "prices.csv")), "months", "costs"
    ),
    "fewest settings": lambda: (
        ek.fewest_settings([[1, 4], [3, 6], [5.5, 9], [2, 8]]).settings_deg,
    ),
    "bench plan": lambda: pick(
        ek.plan_bench(tray(), tolerance_deg=3.0), "settings", "order", "edges", "minutes"
    ),
}


def numbers(results):
    """Arrays of numbers, in order: of a table its numeric columns; text and dates are left out."""
    arrays = []
    for part in results:
        columns = [part[name] for name in part] if isinstance(part, pd.DataFrame) else [part]
        for column in columns:
            if isinstance(column, pd.Series) and column.dtype.kind not in "fiub":
                continue
            arrays.append(np.asarray(column, dtype=float))
    return arrays


def machine():
    """What the last bits depend on: kind of processor and library versions."""
    found = np.show_config(mode="dicts")["SIMD Extensions"]
    versions = [part.__version__ for part in (np, scipy, pd, sympy)]
    return json.dumps([sys.version_info[:2], versions, found], sort_keys=True)


def called(name):
    """Numbers of a call by the engine that is there everywhere."""
    with using("arrays"):
        return numbers(CALLS[name]())


def store(names):
    kept = dict(np.load(STORED)) if STORED.exists() else {}
    for name in names or CALLS:
        kept = {key: value for key, value in kept.items() if key.split("/")[0] != name}
        kept |= {f"{name}/{i}": array for i, array in enumerate(called(name))}
    np.savez_compressed(STORED, **kept | {"machine": np.array(machine())})


@pytest.fixture(scope="module")
def stored():
    return dict(np.load(STORED))


@pytest.mark.parametrize("name", CALLS)
def test_result_is_as_stored(name, stored):
    got = called(name)
    want = [stored[f"{name}/{i}"] for i in range(len(got))]
    assert got
    assert f"{name}/{len(got)}" not in stored
    exact = str(stored["machine"]) == machine()
    for one, other in zip(got, want, strict=True):
        assert one.shape == other.shape
        if exact:
            assert np.array_equal(one, other, equal_nan=True)
        else:
            scale = np.nanmax(np.abs(other), initial=0.0)
            np.testing.assert_allclose(one, other, rtol=0, atol=ELSEWHERE * scale)


if __name__ == "__main__":
    store(sys.argv[1:])
