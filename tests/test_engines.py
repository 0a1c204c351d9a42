"""The compiled engine against the arrays, the scalar text, and itself in other company.

Both engines follow the same steps, so they differ by rounding alone; the outside judges of strokes
stand in `tests.test_strokes`, and `edgekit.grinding.section_stroke` is what both must agree with.
"""

import importlib.util
import os
import shutil
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

import edgekit as ek
from edgekit.contact import apex, facets
from edgekit.grinding import random_streams, rolling_session, section_stroke
from edgekit.grinding.arrays import levels
from edgekit.grinding.compiled import engine, parts
from edgekit.grinding.compiled.session import fill, roll_compiled
from edgekit.grinding.random_streams import SeededKeys, StrokeNumbers
from edgekit.life.life import live_runs
from tests.test_strokes import BETA, DULL_MM, FRESH_MM, dulled, hands, rolled_edge, session

ROOT = Path(__file__).parents[1]
FAST = importlib.util.find_spec("numba") is not None
needs_numba = pytest.mark.skipif(not FAST, reason="numba, the extra `fast`, is not installed")
ENGINES = ("arrays", "compiled")
LIVES = 1e-12  # relative: what a life has lost, when its sessions took the same strokes
ROUNDING_MM = 1e-12  # of an edge after a session
TOUCHED = 1e-7  # relative: a share that is read where a stone just touches, the root of rounding
SENSED = 1e-9  # relative: an apex that is just touched depends on the root of what is left


def numbers(runs):
    """Random numbers of the strokes of some runs."""
    keys = np.random.default_rng(4).integers(0, 2**64, size=(runs, 2), dtype=np.uint64)
    return StrokeNumbers(random_streams._Stream(), keys, np.arange(runs), 1)


def lived(name, runs=6, first=0, *, blade=None, method=None, **options):
    """Lives of a case by an engine."""
    with engine.using(name):
        return live_runs(
            blade or ek.patterns.area_specific_curette(),
            method or ek.methods.freehand(),
            use=ek.Use(),
            rules=(ek.retire.MaxWidthLoss(),),
            histories=runs,
            rngs=SeededKeys(3, first=first, runs=runs),
            **{"stations": 24, "depths": 8, "max_sessions": 8} | options,
        )


# ---- agreement ---------------------------------------------------------------------------------

CASES = {
    "one edge": {},
    "two edges with their toe": {"blade": ek.patterns.universal_curette()},
    "until clear": {"method": ek.methods.freehand(stop=ek.strokes.until_clear())},
    "counted": {"method": ek.methods.freehand(stop=ek.strokes.counted(strokes=7))},
    "in a holder": {"method": ek.methods.held(15.0)},
    "powered": {"method": ek.methods.powered()},
    "flat on a straight edge": {"blade": ek.patterns.hoe()},
    "flat on two straight edges": {"blade": ek.patterns.straight_sickle()},
    "sides and face in turn": {
        "blade": ek.patterns.universal_curette(),
        "method": ek.mixture(ek.methods.freehand(), ek.methods.face_honing(), sides=1, faces=1),
    },
    "single precision": {"precision": np.float32},
}


@needs_numba
@pytest.mark.parametrize("case", CASES)
def test_engines_agree(case, capfd):
    arrays, compiled = (lived(name, **CASES[case]) for name in ENGINES)
    assert "arrays" not in capfd.readouterr().err  # it was not a fall-back
    assert (arrays.sessions == compiled.sessions).all()
    strokes = [lives.tracks["stone_strokes"] for lives in (arrays, compiled)]
    np.testing.assert_allclose(*strokes, rtol=LIVES)  # planes count theirs by volume
    assert np.nanmax(strokes[0]) > 2
    same = LIVES if case != "single precision" else 2e-6  # a dozen roundings of 24 bits
    for name in ("mean_width_um", "steel_mg", "dull_radius_um", "used_up"):
        one, other = arrays.tracks[name], compiled.tracks[name]
        np.testing.assert_allclose(other, one, rtol=same, atol=same, err_msg=name)
    for name, near in (("sharp_fraction", TOUCHED), ("dullness_mg", SENSED)):
        one, other = (lives.tracks[name] for lives in (arrays, compiled))
        np.testing.assert_allclose(other, one, rtol=max(near, same), err_msg=name)


@needs_numba
def test_a_session_agrees_in_all_it_reports():
    rolled = rolled_edge(stations=24)
    runs, lowered = 5, rolled.lowered(np.linspace(0, 0.08, 24 * 5).reshape(24, 5))
    for edge in (rolled, lowered):
        start = dulled(edge, runs=runs)
        hand = hands(edge, runs, tilt_sd_deg=3.0, within_deg=1.0, person_deg=-1.0)
        for rule in (ek.strokes.until_fresh(), ek.strokes.until_clear(fraction=0.9)):
            fresh = np.full(runs, FRESH_MM)
            by_arrays = session(edge, start, hand, rule, numbers=numbers(runs))
            by_loops = roll_compiled(edge, start, hand, rule, None, numbers(runs), fresh)
            for part in (*by_arrays._fields[1:], *by_arrays.flank._fields):
                one, other = (
                    getattr(done if part in done._fields else done.flank, part)
                    for done in (by_arrays, by_loops)
                )
                np.testing.assert_allclose(other, one, rtol=SENSED, atol=ROUNDING_MM, err_msg=part)


@needs_numba
def test_a_stroke_without_error_is_that_of_the_scalar_text():
    rolled = rolled_edge(stations=24, depths=13)
    grid, area = rolled.grid, 1.2e-3 / rolled.grid.arc_mm[-1]
    rule = ek.strokes.until_clear(fraction=1.0, strokes_between_looks=1)
    done = roll_compiled(
        rolled, dulled(rolled), hands(rolled, 1), rule, None, numbers(1), np.full(1, FRESH_MM)
    )
    depth = grid.depth_mm[:, 12]
    plain = section_stroke.grind_section(
        grid.inset_mm[:, 12],
        [BETA] * 40,
        area=area,
        angle=BETA,
        radius=DULL_MM,
        land=0.0,
        depths=depth,
        weights=rolled.node_mm[:, 12, 0],
        curvature=grid.plan_curvature[12],
    )
    assert done.strokes[0] == plain.strokes
    np.testing.assert_allclose(done.flank.field[:, 12, 0], plain.profile, atol=1e-9)


@needs_numba
def test_the_strokes_are_compiled_once_for_all_cases():
    for case in ("one edge", "flat on a straight edge", "single precision"):
        lived("compiled", 2, **CASES[case] | {"max_sessions": 1})
    assert len(engine.functions().roll.signatures) == 1
    assert len(engine.functions().fill.signatures) == 1


@needs_numba
def test_constants_are_those_of_the_arrays():
    assert parts.BLUNTER == apex.ROUNDING
    for name in ("MAX_STEPS", "PAST_REACH", "EXACT", "ROUNDING", "TINY"):
        assert getattr(parts, name) == getattr(levels, name)
    for name in ("KEEN_MM", "MAX_STROKES"):
        assert getattr(parts, name) == getattr(rolling_session, name)
    assert parts.GRAZING == facets.GRAZING
    assert parts.PATCHES == random_streams.PATCHES


@needs_numba
def test_normal_numbers_have_the_bits_of_numpy():
    """Source: numpy's SFC64 and its ziggurat; a million numbers reach every branch. Drawn in
    parts, after even ones, they are the same."""
    key, block = np.array([7, 2**63 + 5], dtype=np.uint64), 1 << 48
    stream = random_streams._Stream()
    stream.go_to(key, block)
    engine.functions()
    from edgekit.grinding.compiled.normals import draw, seed, spread

    mine, words = np.empty(1_000_000), np.empty(4, dtype=np.uint64)
    seed(key, np.uint64(block), words)
    spread(words, mine, 5)
    np.testing.assert_array_equal(mine[:5], stream.rng.random(5))
    for part in np.split(mine, [15, 30, 400_000]):
        draw(words, part, len(part))
    np.testing.assert_array_equal(mine, stream.rng.standard_normal(len(mine)))
    assert np.abs(mine).max() > 4.5  # beyond the ziggurat's layers


@needs_numba
def test_blocks_of_random_numbers_have_the_bits_of_numpy():
    """Each run at its own session; seatings are read where they lie or copied."""
    size = {"edges": 2, "seatings": 5, "slots": 4}
    made = [
        random_streams.RandomStreams(SeededKeys(3, runs=4), fill=filler, **size)
        for filler in (random_streams.fill_by_numpy, fill)
    ]
    slots = np.arange(4)
    for streams in made:
        streams.start_runs(slots, slots[::-1])
    for turns in ([0, 9, 7, 30], [1, 10, 8, 2]):  # the last two need other blocks
        one, other = (streams.session(slots, np.array(turns)) for streams in made)
        for want, got in zip(one[:4], other[:4], strict=True):
            np.testing.assert_array_equal(got, want)
        there = made[1].session(slots, np.array(turns), in_place=True)
        assert there.seatings.size == 0
        for where in (there.seated, random_streams.Seated.of(one.seatings)):
            at = where.first[..., None] + where.apart * np.arange(5)
            read = where.numbers[at[..., None] + np.arange(4)]
            np.testing.assert_array_equal(read, one.seatings)
    assert np.ptp(one.phase) > 0


@needs_numba
@pytest.mark.parametrize("number", [1, 15, 16, 17, 40])
def test_stations_that_fill_no_lanes_agree(number):
    """Rows are filled up to sixteen stations; those must not count."""
    arrays, compiled = (
        lived(name, 2, stations=max(number, 2), depths=5, max_sessions=2) for name in ENGINES
    )
    for name in ("mean_width_um", "steel_mg", "stone_strokes"):
        np.testing.assert_allclose(compiled.tracks[name], arrays.tracks[name], rtol=LIVES)


@needs_numba
def test_a_run_has_the_same_bits_in_any_company():
    together = lived("compiled", 7)
    for first, runs in ((2, 1), (3, 4)):
        some = lived("compiled", runs, first)
        for name, track in some.tracks.items():
            whole = together.tracks[name][first : first + runs, : track.shape[1]]
            np.testing.assert_array_equal(track, whole, err_msg=name)


@needs_numba
def test_a_life_is_its_sessions_one_by_one():
    """`live` folds `use` and `sharpen`, which meet one run at a time."""
    blade, method = ek.patterns.area_specific_curette(), ek.methods.freehand()
    with engine.using("compiled"):
        life = ek.live(blade, method, rng=5, stations=24, depths=8, max_sessions=3)
        worn = life.start
        for _ in range(3):
            used = ek.use(worn, ek.Use(), rng=life.streams)
            worn = ek.sharpen(used, method, rng=life.streams).worn
    np.testing.assert_array_equal(worn.recession_um("used"), life.worn(3).recession_um("used"))


# ---- where it does not serve -------------------------------------------------------------------


@dataclass(frozen=True)
class Hasty:
    """A rule of one's own."""

    strokes_between_looks: int = 3

    def margin(self, edge):
        return edge.land - 0.003

    def least_inset(self, edge):
        return ek.strokes.until_clear().least_inset(edge)

    def done(self, dull_share, strokes):
        return (dull_share < 0.5) & (strokes > 0)


OTHERS = {
    "stop rules of one's own": {"method": ek.methods.freehand(stop=Hasty())},
    "strokes over a part of the edge": {
        "method": ek.methods.freehand(stroke=ek.strokes.rolling(stretch_mm=2.0))
    },
}


@needs_numba
@pytest.mark.parametrize("what", OTHERS)
def test_what_is_not_compiled_is_said_once_and_computed_with_arrays(what, capfd):
    engine.say_once.cache_clear()
    options = OTHERS[what] | {"runs": 2, "max_sessions": 2}
    arrays = lived("arrays", **options)
    assert capfd.readouterr().err == ""
    compiled = lived("compiled", **options)
    assert capfd.readouterr().err.count(what) == 1
    for name, track in arrays.tracks.items():
        np.testing.assert_array_equal(track, compiled.tracks[name])


# ---- choosing ----------------------------------------------------------------------------------


def test_an_engine_that_is_not_there_is_refused(monkeypatch):
    before = ek.engine()
    with pytest.raises(ek.EdgekitError, match="no such engine, got 'fast'"):
        ek.engine("fast")
    monkeypatch.setattr(engine, "_installed", lambda: False)
    monkeypatch.setattr(engine, "_chosen", [])
    assert ek.engine() == "arrays"
    with pytest.raises(ek.EdgekitError, match="numba is not installed"):
        ek.engine("compiled")
    monkeypatch.undo()
    assert ek.engine() == before


def test_numba_that_cannot_be_imported_is_a_clear_error(monkeypatch):
    monkeypatch.setitem(sys.modules, "numba.core.event", None)
    engine.functions.cache_clear()
    with pytest.raises(ek.EdgekitError, match=r'edgekit.engine\("arrays"\)'):
        engine.functions()
    engine.functions.cache_clear()


def test_an_engine_is_chosen_for_a_while_or_for_good():
    before = ek.engine()
    with engine.using("arrays"):
        assert ek.engine() == "arrays"
    assert ek.engine() == before


def test_numba_loads_with_the_first_stroke_on_a_side_only():
    code = (
        "import sys, edgekit as ek; ek.engine(); b = ek.patterns.hoe(); "
        "m = ek.methods.face_honing(); ek.live(b, m, rng=1, max_sessions=1); "
        "assert 'numba' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)


# ---- sweeps ------------------------------------------------------------------------------------

CASE = ek.LifeCase(
    blade=ek.patterns.area_specific_curette,
    method=ek.methods.freehand(),
    stations=16,
    depths=6,
    max_sessions=3,
)
GRID = ek.full_grid({"use.strokes": [15.0, 30.0]})


def swept(name, **options):
    with engine.using(name):
        return ek.sweep(CASE, GRID, runs=2, seed=1, progress=False, **options)


@needs_numba
def test_a_folder_is_not_finished_by_another_engine(tmp_path):
    begun = swept("compiled", out=tmp_path)
    with pytest.raises(ek.EdgekitError, match="engine was 'compiled', is 'arrays'"):
        swept("arrays", out=tmp_path)
    assert swept("compiled", out=tmp_path).equals(begun)


@needs_numba
@pytest.mark.parametrize("name", ENGINES)
def test_workers_use_the_engine_of_the_sweep(name):
    with ProcessPoolExecutor(1) as pool:
        pool.submit(abs, 1).result()  # a worker that was started before the engine was chosen
        elsewhere = swept(name, executor=pool)
    assert (elsewhere["status"] == "ok").all()
    assert elsewhere.equals(swept(name))
    one, other = (swept(each)["steel_mg"] for each in ENGINES)
    assert (one != other).any()  # so that the bits tell which it was


# ---- the cache ---------------------------------------------------------------------------------

CACHED = ("edgekit/grinding/compiled", "edgekit/grinding/compiled/planes")
PROGRAM = (
    "import edgekit as ek; steel_mg = [ek.sharpen(ek.patterns.area_specific_curette(), "
    "ek.methods.freehand(stroke=way, stop=ek.strokes.until_clear()), dull_radius_um=4.0, rng=1, "
    "stations=16, depths=6).steel_mg for way in (ek.strokes.rolling(), ek.strokes.local())]; "
    "print(*map(float, steel_mg), ek.__file__)"
)


def copied(tmp_path):
    """A copy of the package, and what a process that uses it needs to know."""
    without = shutil.ignore_patterns("__pycache__")
    shutil.copytree(ROOT / "edgekit", tmp_path / "edgekit", ignore=without)
    paths = [str(tmp_path), os.environ.get("PYTHONPATH", "")]
    return os.environ | {"PYTHONPATH": os.pathsep.join(paths)}


def started(tmp_path, where):
    return subprocess.Popen(
        [sys.executable, "-c", PROGRAM],
        cwd=tmp_path,
        env=where,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


@needs_numba
@pytest.mark.slow
def test_two_processes_may_compile_at_once_and_a_third_need_not(tmp_path):
    where = copied(tmp_path)
    both = [started(tmp_path, where) for _ in range(2)]
    outputs = [process.communicate(timeout=300) for process in both]
    assert all(process.returncode == 0 for process in both), outputs
    assert all(error.count("compiling the strokes") == 1 for _, error in outputs)
    assert str(tmp_path) in outputs[0][0]
    third = started(tmp_path, where).communicate(timeout=300)
    assert third == (outputs[0][0], "")
    assert outputs[1][0] == outputs[0][0]
    for folder in CACHED:
        assert list((tmp_path / folder / "__pycache__").glob("*.nbi"))


@needs_numba
@pytest.mark.slow
def test_no_folder_for_the_cache_costs_time_only(tmp_path):
    where = copied(tmp_path) | {"HOME": os.devnull, "XDG_CACHE_HOME": os.devnull}
    where.pop("NUMBA_CACHE_DIR", None)
    for folder in CACHED:
        (tmp_path / folder / "__pycache__").write_text("in the way")
    process = started(tmp_path, where)
    out, error = process.communicate(timeout=300)
    assert process.returncode == 0, error
    assert error.count("compiling the strokes") == 1
    assert all(float(steel_mg) > 0 for steel_mg in out.split()[:2])
    assert not list(tmp_path.rglob("*.nbi"))
