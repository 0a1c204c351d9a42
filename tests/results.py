"""One small instance of every public result and record, by name."""

from functools import cache
from pathlib import Path

import numpy as np
import sympy

import edgekit as ek
from edgekit.grinding.compiled.engine import using

DEMO = Path(__file__).parents[1] / "data_demo"
NAMESPACES = (
    "patterns",
    "methods",
    "stones",
    "strokes",
    "laws",
    "hand",
    "retire",
    "grids",
    "clinic",
    "figures",
    "pictures",
    "testing",
)
# Local strokes on few placements: a hundred times as fast as rolling ones.
QUICK = ek.methods.freehand(stroke=ek.strokes.local(placements=6))


def _blades():
    universal = ek.patterns.universal_curette()
    area = ek.patterns.area_specific_curette()
    traced = ek.read_blade(DEMO / "traces" / "FH-03-AS1.toml")
    edge = area.edges["used"]
    setting = ek.best_setting(edge, stations=60)
    yield from (universal, area, traced, traced.trace, *traced.trace.edges.values(), edge)
    yield from (edge.path, edge.internal_angle, universal.section, setting)
    yield ek.orient(edge, stations=60)
    yield ek.facets(edge, 6, stations=60)
    yield from (ek.roll_schedule(setting, seconds=10.0), ek.Holder(), ek.dull_edge(75.0, 4.0))
    u = sympy.Symbol("u", real=True)
    curve = ek.SymbolicCurve(expressions=(2 * u, sympy.sin(u), 0), parameter=u, domain=(0, 2))
    yield from (curve, ek.StraightStroke(direction=(1.0, 0.0, 0.0)))
    yield ek.SplineCurve.through(np.arange(9.0), np.arange(27.0).reshape(9, 3))
    yield ek.section_properties([[0, 0], [0.9, 0], [0.6, -0.7], [0.2, -0.6]])


def _wear():
    area = ek.patterns.area_specific_curette()
    method = QUICK
    session = ek.sharpen(area, method, dull_radius_um=4.0, rng=1, stations=40)
    life = ek.live(area, method, rng=1, stations=24)
    case = ek.LifeCase(blade=ek.patterns.hoe, method=method, stations=16, depths=4)
    strength = ek.strength(area, load_n=5.0)
    yield from (session, *session.edges.values(), life, case, method, method.hand, method.abrasive)
    worn = ek.use(session.worn, 15.0)
    yield from (worn, worn.edges["used"], strength, ek.Use(), ek.retire.MaxWidthLoss())
    yield ek.load_limits(area)
    yield from (ek.mixture(method, ek.methods.face_honing(), sides=1, faces=1),)
    yield ek.laws.TableDulling(strokes=[0, 15, 45], radius_um=[1.5, 3, 5])
    yield from _studies(area, method, case)


def _studies(area, method, case):
    compared = ek.compare(
        area, [method, ek.methods.face_honing()], runs=4, seed=1, stations=16, depths=4
    )
    inputs = {"use.strokes": (20.0, 60.0), "method.max_advance_um": (80.0, 250.0)}
    yield from (compared, compared.lives[0])
    yield ek.grids.full_grid({"use.strokes": [15, 45]})
    yield ek.sensitivity(case, inputs, points=8, runs=2, seed=1, progress=False)
    yield ek.tornado(case, inputs, runs=2, seed=1, progress=False)
    yield ek.face_or_sides(
        ek.patterns.universal_curette(),
        mixes=((1, 0), (0, 1)),
        tilts_deg=(0.0, 1.0),
        runs=2,
        seed=1,
    )


def _finish():
    edge = ek.patterns.area_specific_curette().edges["used"]
    freehand = ek.methods.freehand()
    along, across = (ek.finish(edge, freehand, rng=seed, stations=40) for seed in (1, 2))
    blunting = ek.blunting(along, strokes=(0, 5, 45))
    yield from (along, along.profile, blunting, *blunting.cases)
    yield ek.roughness(np.arange(4000) * 0.5, np.random.default_rng(2).normal(size=4000).cumsum())
    yield from (ek.lay(edge, ek.along_edge(), stations=40), ek.steel_grain_claim(along, across))
    yield ek.wire_edge(ek.StrokeSense.TO_AND_FRO)
    yield ek.working_angles(face_tooth_deg=[60.0, 95.0], internal_angle_deg=75.0)
    yield ek.cautions()


def _clinic():
    log = ek.read_log(DEMO / "log.csv")
    forecast = ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.2))
    prices = ek.read_prices(DEMO / "prices.csv")
    tray = ek.read_tray(DEMO / "tray_FH-03.csv")
    change = ek.clinic.IntervalChange(
        pattern=forecast.table["pattern"].iloc[0],
        method=forecast.table["method"].iloc[0],
        factor=2.0,
    )
    yield from (log, forecast, prices, ek.survival(log), ek.budget(forecast, prices=prices), change)
    yield ek.saving(forecast, prices=prices, change=change)
    yield ek.compare_with_model(
        forecast,
        methods=dict.fromkeys(log.rows["method"].unique(), QUICK),
        seed=1,
        runs=20,
    )
    yield ek.plan_bench(tray, tolerance_deg=3.0)
    weighed = [DEMO / "weighings" / f"{name}.csv" for name in ("weights", "strokes")]
    seen = ek.clinic.read_weighings(*weighed)
    yield from (seen, ek.clinic.steel_per_stroke(seen), ek.clinic.compare_ways(seen))
    yield ek.figures.sheet(ek.plan_bench([ek.patterns.hoe()]))
    files = {"tray": "tray_FH-03.csv", "log": "log.csv", "prices": "prices.csv"}
    clinic = ek.clinic.read_clinic(**{name: DEMO / file for name, file in files.items()})
    yield from (clinic, clinic.replacement_list())
    yield ek.fewest_settings([[1, 4], [3, 6], [5.5, 9], [2, 8]])


@cache
def results():
    """Results by name of their class, by arrays, whoever asks first."""
    with using("arrays"):
        return {
            type(result).__name__: result
            for part in (_blades, _wear, _finish, _clinic)
            for result in part()
        }
