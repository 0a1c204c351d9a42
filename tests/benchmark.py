"""Speed as ratios in one run: ``uv run python tests/benchmark.py``, with ``lives``, ``engines``,
``sweeps``, ``firsts`` or ``pictures`` for those alone.

Machines are shared and noisy, so nothing here is a test and no time limit is set; each line states
the ratio and what it is a ratio of. Every timing is the best of several."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import manifold3d
import numpy as np
from PIL import Image
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

import edgekit as ek
from edgekit.grinding.compiled.engine import using
from edgekit.grinding.edge_state import new_state
from edgekit.grinding.planes import _grind
from edgekit.grinding.random_streams import SeededKeys
from edgekit.grinding.recession_field import (
    CELLS_IN_CACHE,
    EdgeGrid,
    cut,
    inset_at,
    prepare_edge,
    seat,
)
from edgekit.life.life import Lives, live_runs


def best(task: Callable[[], object], repeats: int = 5, inner: int = 1) -> float:
    """Least time [s] of one call."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        for _ in range(inner):
            task()
        times.append((time.perf_counter() - start) / inner)
    return min(times)


def row(what: str, measured: float, wanted: str) -> None:
    print(f"| {what} | {measured:,.2f} | {wanted} |")


def orientation_by_search(edge: ek.Edge, stations: np.ndarray) -> tuple[np.ndarray, float]:
    """Normals by `minimize` over a rotation vector at each station, and the time of 400 of them."""
    frame = edge.frame(stations)
    start = time.perf_counter()
    found = []
    for t, f, b, beta in zip(
        frame.tangent.value,
        frame.face.value,
        frame.inward.value,
        frame.angle.value + np.zeros(len(stations)),
        strict=True,
    ):

        def residual(v: np.ndarray, t=t, f=f, b=b, beta=beta) -> float:
            n = Rotation.from_rotvec(v).apply([0.0, 0.0, 1.0])
            return (n @ t) ** 2 + (n @ f + np.cos(beta)) ** 2 + (n @ b + np.sin(beta)) ** 2

        best_fit = min(
            (minimize(residual, v0, method="BFGS") for v0 in ([0.1, 0.2, 0.3], [2.0, 0.3, -1.0])),
            key=lambda result: result.fun,
        )
        found.append(Rotation.from_rotvec(best_fit.x).apply([0.0, 0.0, 1.0]))
    one_start = (time.perf_counter() - start) / 2
    return np.array(found), one_start * 400 / len(stations)


def swept_solid(ground: EdgeGrid, inset: np.ndarray) -> manifold3d.Manifold:
    """Solid between the flank's polygon at every station and a far wall; ~20,000 triangles."""
    inner = np.full_like(inset, 0.42)
    rows = np.concatenate([inset, inner[::-1]])
    depth = np.concatenate([ground.depth_mm, ground.depth_mm[::-1]])
    points = ground.position + rows[..., None] * ground.inward - depth[..., None] * ground.face
    ring, stations = points.shape[:2]
    vertices = points.transpose(1, 0, 2).reshape(-1, 3)
    i, j = np.meshgrid(np.arange(stations - 1), np.arange(ring), indexing="ij")
    a, b = i * ring + j, i * ring + (j + 1) % ring
    c, d = a + ring, b + ring
    sides = np.concatenate([np.stack([a, b, d], -1), np.stack([a, d, c], -1)]).reshape(-1, 3)
    k = np.arange(1, ring - 1)
    end = (stations - 1) * ring
    caps = np.concatenate(
        [np.stack([0 * k, k + 1, k], -1), np.stack([end + 0 * k, end + k, end + k + 1], -1)]
    )
    faces = np.concatenate([sides, caps])
    for order in (faces, faces[:, ::-1]):
        solid = manifold3d.Manifold(
            manifold3d.Mesh64(vertices, np.ascontiguousarray(order, dtype=np.uint64))
        )
        if solid.status() == manifold3d.Error.NoError and solid.volume() > 0:
            return solid
    message = f"the swept solid is not closed: {solid.status()}"
    raise RuntimeError(message)


def section_recession(solid: manifold3d.Manifold, ground: EdgeGrid, station: int) -> float:
    """Inset of the edge [mm] where a plane across the edge at a station meets the trimmed solid."""
    t, b, f = ground.tangent[station], ground.inward[station], ground.face[station]
    turn = np.column_stack([np.stack([b, f, t]), -np.stack([b, f, t]) @ ground.position[station]])
    outline = solid.transform(turn).slice(0.0).to_polygons()
    points = np.concatenate(outline)
    return float(points[points[:, 1] > -1e-7, 0].min())


ENGINES = ("arrays", "compiled")  # the latter needs the extra `fast`
STEADY = ek.Hand(
    tilt_deg=ek.ErrorTerm(person_sd=0.5, sd=0.5, sd_gsd=1.5),
    swing_deg=ek.ErrorTerm(sd=3.5),
    position_mm=ek.ErrorTerm(sd=0.2),
    depth=ek.ErrorTerm(sd=0.3),
)
LIVES = ek.LifeCase(  # errors of every kind, and about 15 sessions a life
    blade=ek.patterns.area_specific_curette,
    method=ek.methods.freehand(stroke=ek.strokes.local(strokes_per_placement=1), hand=STEADY),
    use=ek.Use(strokes=15, severity_gsd=1.5),
    retire=(ek.MaxWidthLoss(fraction=0.6),),
)


def lived(runs: int, *, most: int = 200, precision: type = np.float64, **changes: object) -> Lives:
    """Lives of the benchmark's case."""
    study = LIVES({name: item for name, item in changes.items() if "." in name})
    nodes = {name: item for name, item in changes.items() if name in ("stations", "depths")}
    return live_runs(
        study.blade,
        study.method,
        use=study.use,
        rules=study.retire,
        histories=0,
        rngs=SeededKeys(1, runs=runs),
        max_sessions=most,
        precision=precision,
        **nodes,
    )


def rolled(runs: int, *, sessions: int = 6, strokes: int = 8, stations: int | None = None) -> Lives:
    """Lives of so many sessions of so many rolling strokes, which take next to nothing."""
    method = ek.methods.freehand(stop=ek.strokes.counted(strokes=strokes))
    return live_runs(
        LIVES.blade(),
        replace(method, removal_mm3_per_stroke=method.removal_mm3_per_stroke / 30),
        use=LIVES.use,
        rules=(ek.MaxWidthLoss(fraction=0.9),),
        histories=0,
        rngs=SeededKeys(1, runs=runs),
        max_sessions=sessions,
        stations=stations,
    )


def lasting(lives: Lives, sessions: int) -> None:
    """Make sure that lives were not over before they were cut off."""
    if (lives.sessions < sessions).any():
        message = f"{(lives.sessions < sessions).sum()} lives ended before session {sessions}"
        raise RuntimeError(message)


def floor_ns() -> float:
    """Time of one addition and one maximum on a cell in cache [ns]."""
    a, b, c = np.random.default_rng(1).random((3, CELLS_IN_CACHE))

    def fused() -> None:
        np.add(a, b, out=c)
        np.maximum(a, c, out=a)

    return best(fused, inner=400) / CELLS_IN_CACHE * 1e9


def growth(what: str, sizes: tuple[int, ...], task: Callable[[int], object]) -> None:
    # Rounds over all sizes, so that a busy spell of the machine does not fall on one of them.
    rounds = [[best(lambda n=n: task(n), repeats=1) for n in sizes] for _ in range(5)]
    slope = np.polyfit(np.log(sizes), np.log(np.min(rounds, axis=0)), 1)[0]
    row(f"exponent of growth of lives in {what}", float(slope), "0.95 to 1.05")


def lives_at_scale() -> None:
    """The life kernel and the sweep: speed against the floor, growth, two workers, memory.

    Sizes of growth are those at which what a study or a session costs once has become small.
    """
    runs, floor = 4096, floor_ns()
    row("one addition and one maximum on a cell in cache, ns", floor, "-")
    for kind in (np.float64, np.float32):
        sessions = int(lived(runs, precision=kind).sessions.sum())
        seconds = best(lambda kind=kind: lived(runs, precision=kind), repeats=3)
        cells = sessions * 64 * 8 * 12
        name = kind.__name__
        row(f"lives a minute on one core, {name}", runs / seconds * 60, "-")
        row(f"sessions a life, {name}", sessions / runs, "about 15")
        row(
            f"time a cell / one addition and one maximum in cache, {name}",
            seconds / cells * 1e9 / floor,
            "at most 10",
        )
    # Lives cut off at a number of sessions, so that every size does a known amount of work.
    growth("runs, local strokes", (2048, 4096, 8192, 16384), lambda n: lived(n, most=6))
    growth("runs", (1024, 2048, 4096, 8192), rolled)
    growth("sessions", (16, 32, 64, 128), lambda n: lasting(rolled(512, sessions=n), n))
    growth("stations", (64, 128, 256, 512), lambda n: rolled(512, stations=n))
    growth("strokes", (32, 64, 128, 256), lambda n: rolled(512, strokes=n))

    grid = ek.full_grid({"method.stroke.placements": [12]})

    def swept(executor: Executor | None, task: ek.LifeCase = LIVES) -> object:
        return ek.sweep(
            task, grid, runs=24 * 2048, seed=1, executor=executor, progress=False, summary=True
        )

    alone = ProcessPoolExecutor(1)
    pair = ProcessPoolExecutor(2)
    with alone, pair:
        for pool in (alone, pair):
            list(pool.map(abs, range(4)))
        one = best(lambda: swept(alone), repeats=2)
        two = best(lambda: swept(pair), repeats=2)
        single = replace(LIVES, precision=np.float32)
        two_single = best(lambda: swept(pair, single), repeats=2)
    row("lives a minute on two workers, float64", 24 * 2048 / two * 60, "1,000,000")
    row("lives a minute on two workers, float32", 24 * 2048 / two_single * 60, "1,000,000")
    row("one worker / two workers", one / two, "at least 1.8")
    here = best(lambda: swept(None), repeats=1)
    row("overhead of handing over, share of one worker's time", one / here - 1, "at most 0.05")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    row("memory peak of this process, MB", peak, "at most 600")
    pilot = ek.LifeCase(blade=ek.patterns.area_specific_curette(), method=LIVES.method)
    one_case = ek.full_grid({"method.stroke.placements": [12]})
    dial = best(
        lambda: ek.sweep(pilot, one_case, runs=8, seed=1, summary=True, progress=False), repeats=9
    )
    row("a control's eight lives, ms", dial * 1000, "at most 20")


def floor_us(cells: float) -> float:
    """One addition and one maximum, in cache, on each cell that rolling strokes touch."""
    a, b, c = np.random.default_rng(1).random((3, CELLS_IN_CACHE))
    spent = []
    for _ in range(9):
        start = time.process_time()
        for _ in range(100):
            np.add(a, b, out=c)
            np.maximum(a, c, out=a)
        spent.append(time.process_time() - start)
    return min(spent) / 100 / CELLS_IN_CACHE * cells * 1e6


def lived_by(name: str, way: ek.Method, runs: int) -> tuple[float, float]:
    """CPU time [µs] of a session of lives by an engine, and the cells its strokes touch."""
    with using(name):
        start = time.process_time()
        case = {"use": ek.Use(), "rules": (ek.MaxWidthLoss(),), "histories": 0}
        blade = ek.patterns.area_specific_curette()
        lives = live_runs(blade, way, **case, rngs=SeededKeys(1, runs=runs))
        spent = (time.process_time() - start) / lives.sessions.sum() * 1e6
    made = (lives.mean("stone_strokes") * lives.sessions).sum() / lives.sessions.sum()
    return spent, float(made) * lives.grids[0].depth_mm.size


def engines() -> None:
    """Sessions by each engine: rolling strokes, local ones, and a comparison of seven methods."""
    stroke, blade = ek.strokes.local(), ek.patterns.area_specific_curette()
    methods = [
        ek.methods.freehand(),
        ek.methods.freehand(stop=ek.strokes.until_clear()),
        ek.methods.freehand(stroke=stroke),
        ek.methods.held(34.0),
        ek.methods.bench_stone(),
        ek.methods.powered(),
        ek.methods.face_honing(),
    ]
    first = time.perf_counter()
    for name in ENGINES:
        with using(name):
            ek.sharpen(blade, methods[0], dull_radius_um=4.0, rng=1)
        row(f"first session, {name}, s", time.perf_counter() - first, "-")
        first = time.perf_counter()
    us, over = {}, np.inf
    for _ in range(3):  # in turns, so that a busy spell of the machine does not fall on one
        for name, runs in (("arrays", 640), ("compiled", 640)):
            for what, way in (("rolling", methods[0]), ("local", methods[2])):
                spent, made = lived_by(name, way, runs)
                us[what, name] = min(spent, us.get((what, name), np.inf))
                if (what, name) == ("rolling", "compiled"):
                    over = min(over, spent / floor_us(made))  # at about the same moment
    for (what, name), spent in us.items():
        wanted = "7.2" if (what, name) == ("local", "compiled") else "-"
        row(f"a session of {what} strokes, {name}, µs", spent, wanted)
    wanted = "12 µs; at most 4"
    row("rolling strokes, compiled / floor loop", over, wanted)
    for what in ("rolling", "local"):
        row(f"{what} strokes, arrays / compiled", us[what, "arrays"] / us[what, "compiled"], "-")
    row(
        "rolling / local strokes, compiled",
        us["rolling", "compiled"] / us["local", "compiled"],
        "-",
    )
    for name, wanted in zip(ENGINES, ("under 6", "under 2"), strict=True):
        with using(name):
            start = time.process_time()
            ek.compare(blade, methods, runs=200, seed=1)
            row(
                f"seven methods of 200 lives compared, {name}, s",
                time.process_time() - start,
                wanted,
            )
    start = time.perf_counter()
    with using("arrays"), ProcessPoolExecutor(2) as pool:
        ek.compare(blade, methods, runs=200, seed=1, executor=pool)
    row("the same, arrays, by two processes, s", time.perf_counter() - start, "under 6")
    rows_of_eight()


def rows_of_eight() -> None:
    """Rows of a sweep with few lives: what a row and a new geometry cost, over the floor loop."""
    base = ek.LifeCase(blade=ek.patterns.area_specific_curette, method=ek.methods.freehand())

    def swept(field: str, values: list[float]) -> float:
        grid = ek.full_grid({field: values})
        start = time.process_time()
        table = ek.sweep(base, grid, runs=8, seed=1, progress=False, summary=True)
        return (time.process_time() - start) / table["lives"].sum() * 8 * 1000

    shared, other = np.inf, np.inf
    for k in range(3):
        for _ in range(2):  # the blades below have driven the geometry out of its cache
            shared = min(shared, swept("method.hand.tilt_deg.sd", np.linspace(2, 3, 20).tolist()))
        widths = np.linspace(0.8, 0.9, 20) + k * 1e-4  # blades that no cache knows
        other = min(other, swept("blade.width_mm", widths.tolist()))
    row("a row of eight lives that shares its geometry, ms", shared, "at most 5")
    row("more for a new geometry, ms", other - shared, "at most 3")


def swept_by(executor: Executor | None, runs: int) -> float:
    """Time [s] of a sweep of the default case."""
    case = ek.LifeCase(blade=ek.patterns.area_specific_curette, method=ek.methods.freehand())
    grid = ek.full_grid({"use.strokes": [45.0]})
    start = time.perf_counter()
    ek.sweep(case, grid, runs=runs, seed=1, executor=executor, progress=False, summary=True)
    return time.perf_counter() - start


def plain_loop(cells: int) -> float:
    """A loop of numpy alone, in a worker."""
    a, b, c = np.random.default_rng(1).random((3, CELLS_IN_CACHE))
    start = time.perf_counter()
    for _ in range(cells // CELLS_IN_CACHE):
        np.add(a, b, out=c)
        np.maximum(a, c, out=a)
    return time.perf_counter() - start


def sweeps() -> None:
    """A sweep on one and on two workers, beside a plain loop on them, and on Dask."""
    runs, per = 4 * 2048, {}
    alone, pair = ProcessPoolExecutor(1), ProcessPoolExecutor(2)
    with alone, pair:
        for pool, count in ((alone, 1), (pair, 2)):
            swept_by(pool, 2 * 2048)
            per["swept", count] = min(swept_by(pool, runs) for _ in range(2))
            both = [
                max(pool.map(plain_loop, [3 * 10**7] * count)) / (3 * 10**7) * 1e9 for _ in range(3)
            ]
            per["plain", count] = min(both)
        with using("arrays"):
            per["arrays", 2] = swept_by(pair, runs)
    case = live_runs(
        ek.patterns.area_specific_curette(),
        ek.methods.freehand(),
        use=ek.Use(),
        rules=ek.LifeCase(blade=ek.patterns.hoe, method=ek.methods.freehand()).retire,
        rngs=SeededKeys(1, runs=256),
        histories=0,
    )
    sessions = float(case.sessions.mean()) * runs
    strokes = float((case.mean("stone_strokes") * case.sessions).sum() / case.sessions.sum())
    row("sessions a life", sessions / runs, "-")
    row("sessions a minute on two workers, millions", sessions / per["swept", 2] * 60 / 1e6, "10")
    row("the same with arrays", sessions / per["arrays", 2] * 60 / 1e6, "1")
    cells = sessions * strokes * case.grids[0].depth_mm.size
    row(
        "two workers' time / floor loop on the same two",
        per["swept", 2] * 2e9 / (cells * per["plain", 2]),
        "at most 4",
    )
    gain, plain = per["swept", 1] / per["swept", 2], 2 * per["plain", 1] / per["plain", 2]
    row("gain of two workers / gain of a plain numpy loop", gain / plain, "at least 0.95")
    with suppress(ImportError):
        from dask.distributed import Client, LocalCluster

        with (
            LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
            Client(cluster) as client,
        ):
            pool = client.get_executor(pure=False)
            swept_by(pool, 2 * 2048)
            with_dask = min(swept_by(pool, runs) for _ in range(2))
        row("two plain processes / Dask's two workers", per["swept", 2] / with_dask, "at least 0.9")


FIRST_CALLS = {
    "read_log": ("pandas", "ek.read_log('data_demo/log.csv')"),
    "forecast": (
        "pandas, scipy.special",
        "ek.forecast(ek.read_log('data_demo/log.csv'), retire=ek.MaxWidthLoss())",
    ),
    "read_blade": ("scipy.interpolate", "ek.read_blade('data_demo/traces/FH-03-AS1.toml')"),
    "read_tray": ("pandas, scipy.interpolate", "ek.read_tray('data_demo/tray_FH-03.csv')"),
    "compare": (
        "pandas, scipy.interpolate, scipy.special, numba, kept",  # numba starts with what is kept
        "m = ek.methods; ek.compare(ek.patterns.hoe(), [m.freehand(), m.held(5)], runs=2, seed=1)",
    ),
}

# A module with the least that numba can keep on disk: loading that starts numba.
KEPT = "import numba\n@numba.njit(cache=True)\ndef one(a):\n    return a + 1\none(1)\n"


def firsts() -> None:
    """First calls in fresh processes, over the import of the packages they cannot do without."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "kept.py").write_text(KEPT)
        begin = f"import sys, time; sys.path.append({folder!r}); t = time.process_time()\n"
        end = "\nprint(time.process_time() - t)"

        def spent(code: str) -> float:
            run = [sys.executable, "-c", begin + code + end]
            return min(float(subprocess.check_output(run)) for _ in range(3))

        ratio = spent("import edgekit") / spent("import numpy")
        row("import of edgekit / of numpy", ratio, "below 1")
        for name, (needs, call) in FIRST_CALLS.items():
            bare, whole = spent(f"import {needs}"), spent(f"import edgekit as ek\n{call}")
            row(f"first {name} / import of {needs}", whole / bare, "-")
            row(f"first {name} above that, s", whole - bare, "at most 0.3")


def care(folder: Path) -> None:
    """The clinic's side: a large log, a large tray."""
    rng = np.random.default_rng(2)
    per, instruments = 100, 2000
    dates = (np.datetime64("2024-01-01") + (np.arange(per) * 4).astype("timedelta64[D]")).astype(
        str
    )
    path = folder / "large.csv"
    with path.open("w") as file:
        file.write("instrument,edge,date,event,width_mm,operator,method,note\n")
        for i in range(instruments):
            width = 0.9 - rng.normal(0.006, 0.001) * np.cumsum(np.arange(per) % 5 == 2)
            width += rng.normal(0, 0.008, per)
            for k in range(per):
                event = ("measured", "used", "sharpened", "used", "used")[k % 5]
                read = f"{width[k]:.3f}" if k % 5 == 0 else ""
                file.write(f"K-{i:04d},left,{dates[k]},{event},{read},A,held,row {k}\n")
    code = (
        "import resource, sys, time; t = time.perf_counter(); import edgekit as ek; "
        "log = ek.read_log(sys.argv[1]); ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.2)); "
        "print(time.perf_counter() - t, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
    )
    plain = (
        "import resource, sys, time; t = time.perf_counter(); import pandas; "
        "pandas.read_csv(sys.argv[1]); "
        "print(time.perf_counter() - t, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
    )

    def alone(text: str) -> np.ndarray:
        runs = [
            subprocess.check_output([sys.executable, "-c", text, str(path)]).split()
            for _ in range(3)
        ]
        return np.array(runs, dtype=float).min(axis=0)

    ours, theirs = alone(code), alone(plain)
    row("200,000 rows read and forecast / 10 s", ours[0] / 10, "at most 1")
    row("the same / pandas reading the file", ours[0] / theirs[0], "-")
    row("its memory / 600 MB", ours[1] / 600, "at most 1")
    row("its memory / that of pandas reading the file", ours[1] / theirs[1], "-")

    makers = (
        ek.patterns.universal_curette,
        ek.patterns.area_specific_curette,
        ek.patterns.curved_sickle,
        ek.patterns.half_length_curette,
        ek.patterns.straight_sickle,
        ek.patterns.hoe,
    )
    tray, edges = {}, 0
    while edges < 200:
        blade = (
            makers[len(tray) % len(makers)](internal_angle_deg=rng.uniform(70, 80))
            if (len(tray) % len(makers) < 5)
            else ek.patterns.hoe()
        )
        tray[f"K-{len(tray):03d}"] = blade
        edges += len(blade.edges)
    plan = best(lambda: ek.plan_bench(tray, urgent=["K-000"]), repeats=3)
    one = best(lambda: ek.best_setting(tray["K-001"].edges["used"]), inner=5)
    row(f"plan of a tray of {edges} different edges / 1 s", plan, "at most 1")
    row("the same / best setting of as many edges", plan / (one * edges), "-")


def finish_and_strength() -> None:
    """Finish report, strength of a life, and their ratios to bare numpy on arrays of that size."""
    blade = ek.patterns.area_specific_curette()
    edge = blade.edges["used"]
    for name, stone in (("coarse", ek.diamond_plated_stone()), ("fine", ek.fine_natural_stone())):
        method = ek.methods.freehand().using(stone)

        def report(method: ek.Method = method) -> object:
            made = ek.finish(edge, method, rng=np.random.default_rng(1))
            return made.roughness.core, made.lay.span_deg

        points = len(ek.finish(edge, method, rng=np.random.default_rng(1)).profile.x_um)
        line = np.random.default_rng(1).standard_normal(points)
        taken = best(report)
        row(f"finish report, {name} stone, ms", 1000 * taken, "at most 100")
        row(
            f"finish report, {name} stone / one real Fourier transform of its line",
            taken / best(lambda line=line: np.fft.rfft(line), inner=5),
            "-",
        )
    for way in (ek.methods.freehand(), ek.methods.held(15.0, placements=12)):

        def lived(way: ek.Method = way, **options: object) -> list[ek.wear.life.Life]:
            return [ek.live(blade, way, rng=np.random.default_rng(i), **options) for i in range(8)]

        def curves(lives: list[ek.wear.life.Life]) -> object:
            for life in lives:
                life.__dict__.pop("strength_left", None)
            return [life.strength_left for life in lives]

        lives = lived()
        added = best(lambda lives=lives: curves(lives)) / best(lived)
        row(f"strength curves of eight lives / living them, {way.name}", added, "at most 0.20")
        strong = (*lives[0].rules, ek.MinStrength(fraction=0.01))
        rule = best(lambda lived=lived, strong=strong: lived(retire=strong)) / best(lived)
        row(f"live with the strength rule / live, {way.name}", rule, "-")
    outlines = np.random.default_rng(1).random((20, 16, 16, 2)) + np.array([1.0, 2.0])
    x, y = outlines[..., 0].copy(), outlines[..., 1].copy()
    ring = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    round_ = np.stack([np.cos(ring), np.sin(ring)], axis=-1) * np.ones((20, 16, 1, 1))
    bare = best(lambda: (x * np.roll(y, -1, -1) - np.roll(x, -1, -1) * y).sum(-1), inner=20)
    row(
        "section properties of 320 outlines / their shoelace sum in numpy",
        best(lambda: ek.section_properties(round_), inner=20) / bare,
        "-",
    )


def pictures(folder: Path) -> None:
    """Twelve megapixels, board beside the blade, as multiples of decoding the file."""
    import picture_scenes as scenes

    P, rendering = ek.pictures, scenes.rendering
    cam = scenes.Camera(um_per_px=2.6, size_px=(4000, 3000), centre_mm=(-0.3, -1.8))
    dark = [cam.project(q) for q in rendering.squares(0.5, 14, 5, (-3.2, -4.6))]
    read = {}
    for name, worn in (("before", None), ("after", scenes.session_wear().recession_um)):
        blade = cam.project(rendering.silhouette(scenes.BLADE, worn_um=worn).polygon_mm)
        light = scenes.Light(blur_px=2.0)
        numbers = rendering.picture([dark, [blade]], cam.size_px, light, np.random.default_rng(1))
        read[name] = scenes.save(folder, numbers, light, f"{name}.png")

    def decoded() -> object:
        with Image.open(read["before"]) as image:
            return np.asarray(image)

    first, second = (P.read_picture(file, response=P.SRGB) for file in read.values())
    board = P.Checkerboard(pitch_mm=0.5, squares=(14, 5))
    scale = P.calibrate(first, board)
    lines = [
        P.outline(picture, P.calibrate(picture, board), heel=scenes.HEEL)
        for picture in (first, second)
    ]
    mount = P.Mount(distance_mm=120.0)
    given = {"datum": P.Datum.UNUSED_EDGE, "side": P.Side.LEFT, "mount": mount}
    tasks = {
        "read_picture": lambda: P.read_picture(read["before"], response=P.SRGB),
        "calibrate, 14 x 5 squares": lambda: P.calibrate(first, board),
        "outline": lambda: P.outline(first, scale, heel=scenes.HEEL),
        "width_loss of one pair": lambda: P.width_loss(lines[:1], lines[1:], **given),
    }
    one = best(decoded)
    spent = {name: best(task, repeats=3) / one for name, task in tasks.items()}
    for name, ratio in spent.items():
        row(f"12 megapixels: {name} / decoding the PNG", ratio, "stated")
    row("12 megapixels: all four / decoding the PNG", sum(spent.values()), "stated")


PARTS = {"lives": lives_at_scale, "engines": engines, "sweeps": sweeps, "firsts": firsts}


def main() -> None:
    print("| ratio | measured | wanted |\n|---|---|---|")
    if sys.argv[1:] == ["pictures"]:
        with tempfile.TemporaryDirectory() as folder:
            pictures(Path(folder))
        return
    for name, part in PARTS.items():
        if sys.argv[1:] == [name]:
            part()
            return
    edge = ek.patterns.area_specific_curette().edges["used"]
    some = edge.stations(400)[5::40]
    normals, search = orientation_by_search(edge, some)
    exact = ek.orient(edge).normal[5::40]
    turn = np.eye(3)

    def anew() -> object:
        return ek.orient(edge.moved(turn))

    solve = best(lambda: ek.orient(edge), inner=20)
    moving = best(lambda: edge.moved(turn), inner=20)
    row("minimize at 400 points / orient(edge)", search / solve, "at least 10,000")
    row(
        "minimize at 400 points / orient of an edge not seen before",
        search / (best(anew, inner=20) - moving),
        "-",
    )

    def whole() -> object:
        held = ek.orient(edge)
        return held.regression_mm, held.clear

    row("the same with rulings, regression and obstacles", search / best(whole, inner=20), "-")
    row(
        "largest difference of the normals, degrees",
        float(np.degrees(np.arccos(np.clip((normals * exact).sum(1), -1, 1)).max())),
        "the search's own error",
    )

    ground = prepare_edge(
        ek.patterns.area_specific_curette(bow_radius_mm=np.inf), "used", stations=400, depths=12
    )
    state = new_state(ground, 1)
    planes = ground.edge.frame(ek.placed_by_curvature(ground.edge, 12)).outward.value[None]
    advance = np.full((1, 12), 0.02)
    level = state.drop_mm
    seating = seat(ground, state.inset_mm, planes, drop=level, goal=level)
    after, *_ = cut(ground, state.inset_mm, seating, advance, state.drop_mm)
    state.radius_um[:] = 4.65
    method = ek.methods.held(15.0, placements=12)

    def session() -> object:
        return _grind(ground, state, method, planes, np.ones((1, 12)), np.zeros(1))

    solid = swept_solid(ground, ground.inset_mm)

    def trims() -> manifold3d.Manifold:
        body = solid
        for n, p in zip(planes[0], seating.support[0] - advance[0], strict=True):
            body = body.trim_by_plane(tuple(-n), -float(p))
        body.num_tri()
        return body

    row("triangles of the solid", solid.num_tri(), "about 20,000")
    trimming = best(trims, repeats=3)

    def same_planes() -> object:
        laid = seat(ground, state.inset_mm, planes, drop=level, goal=level)
        return cut(ground, state.inset_mm, laid, advance, state.drop_mm)

    row(
        "12 mesh trims / the same planes cut from the fields (400 stations)",
        trimming / best(same_planes, inner=20),
        "at least 500",
    )
    row(
        "12 mesh trims / a session that also finds how deep to go",
        trimming / best(session, inner=20),
        "-",
    )
    trimmed = trims()
    check = range(7, 330, 23)
    gap = [section_recession(trimmed, ground, s) - after[0, 0, s] for s in check]
    row("largest difference of recession, µm", float(np.abs(gap).max()) * 1000, "at most 0.5")

    code = "import time; t = time.perf_counter(); import {}; print(time.perf_counter() - t)"

    def importing(name: str) -> float:
        run = [sys.executable, "-c", code.format(name)]
        return min(float(subprocess.check_output(run)) for _ in range(5))

    row("import edgekit / import numpy", importing("edgekit") / importing("numpy"), "at most 1.5")

    for what, sizes, make in (
        ("stations", (400, 800, 1600, 3200), lambda n: (n, 24)),
        ("placements", (24, 48, 96, 192), lambda n: (400, n)),
    ):
        times = []
        for size in sizes:
            stations, count = make(size)
            g = prepare_edge(ek.patterns.universal_curette(), "left", stations=stations, depths=12)
            s = new_state(g, 1)
            s.radius_um[:] = 4.65
            n = g.edge.frame(ek.placed_by_curvature(g.edge, count)).outward.value[None]
            w = np.ones((1, count))
            times.append(
                best(
                    lambda g=g, s=s, n=n, w=w: _grind(g, s, method, n, w, np.zeros(1)),
                    inner=5,
                )
            )
        slope = np.polyfit(np.log(sizes), np.log(times), 1)[0]
        row(f"exponent of growth of a session in {what}", float(slope), "about 1")
    held = best(lambda: inset_at(ground, after, state.drop_mm), inner=20)
    row("session / reading the edge off the field", best(session, inner=20) / held, "-")
    for part in PARTS.values():
        part()
    with tempfile.TemporaryDirectory() as folder:
        care(Path(folder))
    finish_and_strength()


if __name__ == "__main__":
    main()
