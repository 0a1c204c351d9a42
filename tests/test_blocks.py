"""Lives by blocks of compiled sessions against the same lives a session at a time, with arrays.

Both follow the same steps and differ by rounding alone; what a session and a use do is judged from
outside in `tests.test_strokes`, `tests.test_use` and `tests.test_dulling`.
"""

import dataclasses
import importlib.util
import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import edgekit as ek
from edgekit.grinding.compiled import engine, parts
from edgekit.grinding.compiled.session import fill
from edgekit.grinding.random_streams import AHEAD, RandomStreams, SeededKeys, fill_by_numpy
from edgekit.life import by_blocks, life
from edgekit.life.by_arrays import ArrayLives
from edgekit.life.by_blocks import serves_life
from edgekit.life.life import live_runs
from edgekit.life.measures import EdgeMeasures
from edgekit.life.prepared import PreparedBlade
from edgekit.method.strokes import Advance, PlacementPhase

pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("numba") is None, reason="numba, the extra `fast`, is not installed"
)
NEAR = 1e-11  # relative: rounding
TOUCHED = {"sharp_fraction": 1e-7, "overshoot_mg": 1e-5, "dullness_mg": 1e-9}  # see `ek.engine`


def lived(runs=6, *, name="compiled", blade=None, method=None, use=None, rules=None, **options):
    """Lives of a case by an engine."""
    with engine.using(name):
        return live_runs(
            blade or ek.patterns.area_specific_curette(),
            method or ek.methods.freehand(),
            use=use or ek.Use(),
            rules=rules or (ek.retire.MaxWidthLoss(fraction=0.1),),
            rngs=SeededKeys(3, runs=runs),
            **{"stations": 24, "depths": 8} | options,
        )


@dataclass(frozen=True)
class Deepest:
    """A rule of one's own."""

    def used_up(self, lost):
        return lost.deepest_width_mm / 0.06

    def __str__(self):
        return "0.06 mm at the deepest"


@dataclass(frozen=True)
class Three:
    """A life of three sessions."""

    def used_up(self, lost):
        return lost.sessions / 3

    def __str__(self):
        return "three sessions"


UNSURE = ek.Hand(
    tilt_deg=ek.ErrorTerm(bias=0.5, person_sd=1.0, session_sd=1.0, sd=2.5, sd_gsd=1.3),
    swing_deg=ek.ErrorTerm(sd=3.0),
    position_mm=ek.ErrorTerm(sd=0.2),
    depth=ek.ErrorTerm(sd=0.3),
)
LOCAL = ek.methods.freehand(stroke=ek.strokes.local())
FEW = dataclasses.replace(
    LOCAL, stroke=ek.strokes.local(placements=7), hand=UNSURE, max_advance_um=300.0
)


def steps(**options):
    """Local strokes of a hand that errs in every way."""
    return dataclasses.replace(FEW, stroke=ek.strokes.local(**options))


LONG = (ek.retire.MaxWidthLoss(fraction=0.3),)  # local strokes take more
CASES = {
    "one edge": {},
    "two edges": {"blade": ek.patterns.universal_curette()},
    "flat on a straight edge": {"blade": ek.patterns.hoe()},
    "two straight edges": {
        "blade": ek.patterns.straight_sickle(),
        "rules": (ek.retire.MaxWidthLoss(fraction=0.6),),
    },
    "until clear": {"method": ek.methods.freehand(stop=ek.strokes.until_clear())},
    "counted": {"method": ek.methods.freehand(stop=ek.strokes.counted(strokes=7))},
    "on a bench stone": {"method": ek.methods.bench_stone()},
    "another power": {"use": ek.Use(law=ek.PowerDulling(rate=3.0, exponent=0.4))},
    "a limit": {"use": ek.Use(law=ek.SaturatingDulling(limit_um=6.0, strokes=30.0))},
    "no patches": {"use": ek.Use(patch_cv=0.0)},
    "attrition": {"use": ek.Use(attrition_um=1.5)},
    "used evenly": {"use": ek.Use(density=ek.laws.EvenUse(), severity_gsd=1.0)},
    "a rule of one's own": {"rules": (Deepest(), ek.retire.MinLength())},
    "no use": {"use": ek.Use(strokes=0.0), "max_sessions": 5},
    "local": {"method": LOCAL, "rules": LONG},
    "local, two edges": {
        "method": steps(placements=9, phase=PlacementPhase.SHIFTED),
        "blade": ek.patterns.universal_curette(),
        "rules": LONG,
    },
    "local, two straight edges": {
        "method": steps(),
        "blade": ek.patterns.straight_sickle(),
        "rules": (ek.retire.MaxWidthLoss(fraction=0.9),),
    },
    "local, all alike": {
        "method": steps(strokes_per_placement=2, advance=Advance.UNIFORM),
        "blade": ek.patterns.hoe(),
        "rules": LONG,
        "stations": 33,
    },
    "local, too dull": {
        "method": dataclasses.replace(FEW, max_advance_um=6.0),
        "rules": LONG,
    },
    "local, another power": {
        "method": FEW,
        "use": ek.Use(law=ek.PowerDulling(rate=3.0, exponent=0.4)),
        "rules": LONG,
    },
    "local, a limit": {
        "method": FEW,
        "use": ek.Use(law=ek.SaturatingDulling(limit_um=6.0, strokes=30.0)),
        "rules": LONG,
    },
    "local, attrition": {
        "method": FEW,
        "use": ek.Use(attrition_um=1.5),
        "rules": LONG,
        "stations": 33,
    },
    "local, no use": {"method": FEW, "use": ek.Use(strokes=0.0), "max_sessions": 5},
}


@pytest.mark.parametrize("case", CASES)
def test_blocks_are_sessions_one_by_one(case, monkeypatch):
    arrays = lived(name="arrays", **CASES[case])
    monkeypatch.setattr(ArrayLives, "step", None)  # it is not what computes this
    blocks = lived(**CASES[case])
    np.testing.assert_array_equal(blocks.sessions, arrays.sessions)
    np.testing.assert_array_equal(blocks.ended_by, arrays.ended_by)
    for name in arrays.tracks:
        for part in ("tracks", "final", "average"):
            one, other = (getattr(lives, part)[name] for lives in (arrays, blocks))
            near = TOUCHED.get(name, NEAR)
            np.testing.assert_allclose(other, one, rtol=near, atol=near, err_msg=name)
    if "no use" not in case:
        assert (arrays.sessions > AHEAD).any(), arrays.sessions  # more than a block


@pytest.mark.parametrize(("starting", "left"), [(1, 1e-9), (8, 50.0)])
@pytest.mark.parametrize(("method", "share"), [(None, 0.06), (FEW, 0.3)])
def test_lives_do_not_depend_on_how_many_sessions_are_computed_ahead(
    method, share, starting, left, monkeypatch
):
    """One at a time, and all that can be although lives end within."""
    case = {"method": method, "rules": (ek.retire.MaxWidthLoss(fraction=share),)}
    usual = lived(9, **case, max_sessions=21)
    monkeypatch.setattr(by_blocks, "STARTING", starting)
    for name in ("SURE", "LEFT"):
        monkeypatch.setattr(by_blocks, name, left)
    other = lived(9, **case, max_sessions=21)
    assert (usual.sessions % AHEAD > 0).any()
    assert (usual.sessions < 21).any()
    np.testing.assert_array_equal(usual.sessions, other.sessions)
    np.testing.assert_array_equal(usual.ended_by, other.ended_by)
    for name in usual.tracks:
        np.testing.assert_array_equal(usual.tracks[name], other.tracks[name], err_msg=name)
        np.testing.assert_array_equal(usual.final[name], other.final[name], err_msg=name)
        np.testing.assert_allclose(usual.average[name], other.average[name], rtol=1e-13)


@pytest.mark.parametrize("method", [ek.methods.freehand(), LOCAL], ids=["rolling", "local"])
def test_a_run_has_the_same_bits_in_any_company(method, monkeypatch):
    """Alone, and among more than there are slots for."""
    case = {"blade": ek.patterns.universal_curette(), "method": method}
    together = lived(5, **case)
    monkeypatch.setattr(life, "MAX_RUNS_AT_ONCE", 2)
    in_twos = lived(5, **case)
    with engine.using("compiled"):
        alone = [
            live_runs(
                **case,
                use=ek.Use(),
                rules=(ek.retire.MaxWidthLoss(fraction=0.1),),
                rngs=SeededKeys(3, first=i, runs=1),
                stations=24,
                depths=8,
            )
            for i in range(5)
        ]
    for name, total in together.average.items():
        assert total.tobytes() == in_twos.average[name].tobytes(), name
        assert total.tobytes() == np.concatenate([a.average[name] for a in alone]).tobytes(), name


def test_sessions_ahead_are_those_that_a_life_is_nearly_sure_to_last():
    turn = np.array([0, 3, 8, 10, 20, 7, 15, 16])
    used_up = np.array([0.0, 0.0, 0.5, 0.9, 0.99, 0.3, 0.1, 0.8])
    most = 4 * AHEAD - turn % AHEAD
    # New: four; unknown pace: all that can be; then 8, 1.1, 0.2, 16.3, 135 and 4 are left.
    many = (np.repeat(part, 100) for part in (turn, used_up, most))
    wanted = [4, 29, 6, 1, 1, 13, 25, 4]
    np.testing.assert_array_equal(by_blocks._ahead(*many, 0.0)[::100], wanted)
    # Of eight lives up to five more, half as many at most.
    more = [6, 29, 10, 1, 1, 18, 25, 6]
    np.testing.assert_array_equal(by_blocks._ahead(turn, used_up, most, 0.0), more)
    assert by_blocks._ahead(np.array([14]), np.array([0.1]), np.array([2]), 0.0)[0] == 2
    # Of new lives expected to last 30 sessions 25.5 of each among eight, 6 among a hundred, and no
    # fewer than four where they are to last three; what has begun keeps its own pace.
    for expected, runs, first in ((30.0, 8, 30), (30.0, 100, 6), (3.0, 8, 6), (3.0, 100, 4)):
        again = [np.resize(part, runs) for part in (turn, used_up, most)]
        found, known = (by_blocks._ahead(*again, n) for n in (expected, 0.0))
        assert found[0] == first
        np.testing.assert_array_equal(found[1:8], known[1:8])


@pytest.mark.parametrize("stroke", [ek.strokes.rolling(), ek.strokes.local()])
def test_a_life_is_the_same_to_the_last_bit_however_many_sessions_are_computed_at_a_time(stroke):
    """Means over a life too: of three, of twenty, and where so many sessions are expected."""
    way = ek.methods.freehand(stroke=stroke)
    given = {"method": way, "rules": (ek.retire.MaxWidthLoss(fraction=0.5),), "histories": 0}
    few = lived(3, **given)
    assert few.sessions.min() > 12
    for other in (lived(20, **given), lived(3, expected=40.0, **given)):
        np.testing.assert_array_equal(other.sessions[:3], few.sessions)
        for name, values in few.average.items():
            np.testing.assert_array_equal(other.average[name][:3], values, err_msg=name)
            np.testing.assert_array_equal(other.final[name][:3], few.final[name], err_msg=name)


def test_rows_are_told_how_long_the_lives_before_lasted(monkeypatch):
    """Those of the row before, of the same chunk, and finer ones the lives that they repeat."""
    told, ahead = [], by_blocks._ahead

    def spied(*given):
        told.append(given[-1])
        return ahead(*given)

    monkeypatch.setattr(by_blocks, "_ahead", spied)
    case = ek.LifeCase(blade=ek.patterns.hoe, method=ek.methods.freehand())
    grid = ek.full_grid({"use.strokes": [45.0, 200.0]})
    for finer in (0, 1):
        told.clear()
        with engine.using("compiled"):
            table = ek.sweep(case, grid, runs=3, seed=1, grid_runs=finer, progress=False)
        means = table.groupby("row")["sessions"].mean().tolist()
        assert list(dict.fromkeys(told)) == [0.0, *means][: 2 + finer]


@pytest.mark.parametrize("filler", [fill_by_numpy, fill])
def test_sessions_asked_for_at_once_have_the_numbers_of_each_alone(filler):
    """Over three blocks, in two slots of which one begins a new life in between."""
    size = {"edges": 2, "seatings": 1, "slots": 2, "fill": filler}
    many = RandomStreams(SeededKeys(4, runs=3), blocks=3, **size)
    one = RandomStreams(SeededKeys(4, runs=3), **size)
    slots = np.arange(2)
    for streams in (many, one):
        streams.start_runs(slots, slots)
    for first in (np.array([0, 3]), np.array([19, 13]), np.array([30, 0])):
        if first[1] == 0:
            for streams in (many, one):
                streams.start_runs(slots[1:], np.array([2]))
        count = np.minimum(many.within_reach(first), 19)
        np.testing.assert_array_equal(many.within_reach(first), 24 - first % AHEAD)
        runs = np.repeat(slots, count)
        turns = np.concatenate([np.arange(a, a + n) for a, n in zip(first, count, strict=True)])
        found = many.session(runs, turns)
        for n, (run, turn) in enumerate(zip(runs, turns, strict=True)):
            alone = one.session(np.array([run]), np.array([turn]))
            for name in ("setup", "phase", "seatings", "patches"):
                wanted = getattr(alone, name)[0]
                np.testing.assert_array_equal(getattr(found, name)[n], wanted, err_msg=name)


def test_a_stroke_without_depth_is_an_error_only_for_a_life_that_reaches_it(monkeypatch):
    """The fourth session finds none: a blade that is retired by its third needs no fourth."""
    real = by_blocks.roll

    def failing(*given):
        done = real(*given)
        first = given[2]
        if len(first) == 2 and first[1] == 6:  # the first sessions of a new blade, one run
            done.end[3] = parts.NO_DEPTH
        return done

    monkeypatch.setattr(by_blocks, "roll", failing)
    monkeypatch.setattr(life, "MAX_RUNS_AT_ONCE", 1)
    assert lived(1, max_sessions=3).sessions[0] == 3
    np.testing.assert_array_equal(lived(2, rules=(Three(),)).sessions, 3)  # in one slot
    with pytest.raises(ek.EdgekitError, match="no definite depth"):
        lived(1)


@pytest.mark.parametrize("name", ["compiled", "arrays"])
@pytest.mark.parametrize("runs", [1, 5])
def test_a_first_stroke_that_finds_no_depth_is_said(runs, name):
    greedy = replace(ek.methods.freehand(), removal_mm3_per_stroke=10.0)
    with pytest.raises(ek.EdgekitError, match="no definite depth"):
        lived(runs, name=name, method=greedy)
    uneven = replace(greedy, removal_mm3_per_stroke=0.1, removal_gsd=30.0)  # some find one
    with pytest.raises(ek.EdgekitError, match="no definite depth"):
        lived(20, name=name, method=uneven)


@pytest.mark.parametrize(
    ("what", "method", "use", "options"),
    [
        ("face", ek.methods.face_honing(), ek.Use(), {}),
        (
            "by turns",
            ek.mixture(ek.methods.freehand(), ek.methods.face_honing(), sides=1, faces=1),
            ek.Use(),
            {},
        ),
        (
            "a table",
            ek.methods.freehand(),
            ek.Use(law=ek.TableDulling(strokes=[0, 45, 90], radius_um=[1, 4, 6])),
            {},
        ),
        ("strength", ek.methods.freehand(), ek.Use(), {"strength": True}),
        ("local, strength", LOCAL, ek.Use(), {"strength": True}),
        ("single", ek.methods.freehand(), ek.Use(), {"precision": np.float32}),
        ("local, single", LOCAL, ek.Use(), {"precision": np.float32}),
    ],
)
def test_other_lives_are_computed_a_session_at_a_time(what, method, use, options):
    blade = ek.patterns.area_specific_curette()
    other = PreparedBlade.of(blade, method, 12, 5, **options)
    for way in (ek.methods.freehand(), LOCAL):
        plain = PreparedBlade.of(blade, way, 12, 5)
        with engine.using("compiled"):
            assert serves_life(plain, ek.Use())
            assert not serves_life(other, use), what
        with engine.using("arrays"):
            assert not serves_life(plain, ek.Use())


def test_measures_of_an_edge_stand_in_one_order():
    assert EdgeMeasures._fields == tuple(parts.MEASURED)


@cache
def arc_sine():
    """The compiled arc sine, as a function of an array (16,)."""
    engine.functions()
    from edgekit.grinding.compiled import apexes, lanes

    sine, load, save = apexes.arc_sine, lanes.load, lanes.save

    def many(given, found):
        save(found, 0, sine(load(given, 0)))

    return lanes.compiled(many)


@given(st.floats(0.0, 1.0))
@example(0.5)
@example(math.nextafter(0.5, 1.0))
@example(1.0)
@example(1e-9)
def test_arc_sines_are_those_of_python(x):
    """Source: `math.asin`."""
    found = np.empty(16)
    arc_sine()(np.full(16, x), found)
    assert found == pytest.approx(math.asin(x), rel=1e-15, abs=1e-300)
