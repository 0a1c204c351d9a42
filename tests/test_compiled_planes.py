"""Compiled sessions of local strokes against those with arrays, and their parts against numpy.

The outside judges of planes stand in `tests.test_recession_field` and `tests.test_kernel`, whose
plain text (`tests.plain_kernel`) both engines must agree with.
"""

import dataclasses
import importlib.util

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import edgekit as ek
from edgekit.contact.facets import Spacing
from edgekit.grinding import kernel, planes
from edgekit.grinding.compiled import engine
from edgekit.grinding.compiled.planes import session
from edgekit.grinding.edge_state import new_state
from edgekit.grinding.kernel import aim_at
from edgekit.grinding.random_streams import RandomStreams, SeededKeys
from edgekit.grinding.recession_field import cleared, prepare_edge
from edgekit.life import life
from edgekit.life.life import live_runs
from edgekit.method.hand import ErrorTerm, Hand
from edgekit.method.strokes import Advance, PlacementPhase

pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("numba") is None, reason="numba, the extra `fast`, is not installed"
)

SAME = 1e-12  # mm, rad, mm³, and relative: both follow the same steps and differ by rounding
UNSURE = Hand(
    tilt_deg=ErrorTerm(bias=0.5, person_sd=1.0, session_sd=1.0, sd=2.5, sd_gsd=1.3),
    swing_deg=ErrorTerm(sd=3.0),
    position_mm=ErrorTerm(sd=0.2),
    depth=ErrorTerm(sd=0.3),
)
WILD = Hand(tilt_deg=ErrorTerm(sd=40.0), swing_deg=ErrorTerm(sd=40.0))  # some miss the blade


def steps(fraction=0.98, hand=UNSURE, max_advance_um=300.0, **options):
    """Local strokes of a hand that errs in every way."""
    return dataclasses.replace(
        ek.methods.freehand(
            stroke=ek.strokes.local(**options), stop=ek.strokes.until_clear(fraction=fraction)
        ),
        hand=hand,
        max_advance_um=max_advance_um,
    )


def assert_agree(arrays, compiled):
    """The same planes are active and everything a session reports is the same."""
    np.testing.assert_array_equal(compiled.active, arrays.active)
    for one, other in ((arrays, compiled), (arrays.state, compiled.state)):
        names = one._fields[1:] if hasattr(one, "_fields") else one.__dataclass_fields__
        for name in names:
            want, got = getattr(one, name), getattr(other, name)
            assert got.shape == want.shape, name
            np.testing.assert_allclose(got, want, rtol=SAME, atol=SAME, err_msg=name)


def lived(blade, method, runs, **options):
    """Lives of a few sessions."""
    case = {"use": ek.Use(attrition_um=2.0), "rules": (ek.MaxWidthLoss(),), "max_sessions": 4}
    return live_runs(blade, method, rngs=SeededKeys(3, runs=runs), **case | options)


# ---- sessions of whole lives -------------------------------------------------------------------

BLADES = {
    "area-specific": ek.patterns.area_specific_curette,
    "universal, two edges": ek.patterns.universal_curette,
    "sickle": ek.patterns.straight_sickle,
    "hoe": ek.patterns.hoe,
}
METHODS = {
    "each placement": steps(),
    "all alike": steps(strokes_per_placement=2, placements=7, advance=Advance.UNIFORM),
    "even, shifted marks, a part": steps(
        fraction=0.6, placements=9, spacing=Spacing.EVEN, phase=PlacementPhase.SHIFTED
    ),
    "the whole edge, the same marks": steps(fraction=1.0, phase=PlacementPhase.SAME),
    "out of reach": steps(placements=4, max_advance_um=12.0),
    "out of reach, all alike": steps(max_advance_um=12.0, advance=Advance.UNIFORM),
    "wild": steps(hand=WILD),
    "on lowered faces": ek.mixture(steps(), ek.methods.face_honing(), sides=1, faces=1),
}


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("blade", BLADES)
def test_every_session_of_lives_agrees(blade, method, monkeypatch):
    """Each begins where the arrays' last one ended, so that no difference can build up."""
    seen = []

    def by_both(*given):
        results = []
        for name in ("arrays", "compiled"):
            with engine.using(name):
                results.append(planes.lay_planes(*given))
        assert_agree(*results)
        seen.append(results[0])
        return results[0]

    monkeypatch.setattr(kernel, "lay_planes", by_both)
    monkeypatch.setattr(life, "serves_life", lambda *_: False)  # a session at a time
    lived(BLADES[blade](), METHODS[method], 12, stations=33, depths=7)
    assert len(seen) >= 2
    assert max(result.volume.max() for result in seen) > 1e-3
    if method.startswith("out of reach"):
        assert not all(result.reached.all() for result in seen)
    if method == "on lowered faces":
        assert seen[-1].state.drop_mm.min() > 0
        assert np.abs(seen[-1].state.lean_rad).max() > 0


# ---- sessions of any edge ----------------------------------------------------------------------


def by_each(blade, method, *, runs, stations, depths, seed, worn):
    """The session of a worn, unevenly dull edge by arrays and compiled."""
    rng = np.random.default_rng(seed)
    name = next(iter(blade.edges))
    grid = prepare_edge(blade, name, stations=stations, depths=depths)
    streams = RandomStreams(SeededKeys(seed, runs=runs), edges=2, seatings=200, slots=runs)
    slots = np.arange(runs)
    effects, draws = streams.start_runs(slots, slots), streams.session(slots, slots % 3)
    state = new_state(grid, runs)
    state.radius_um = rng.uniform(0.0, 8.0, (runs, stations))
    if worn:
        state.inset_mm = state.inset_mm + rng.uniform(0.0, 0.02, state.inset_mm.shape)
        state.cleared_mm3 = cleared(grid, state.inset_mm)
        share = rng.uniform(0.0, 0.3, (runs, stations)) * (rng.random((runs, 1)) < 0.7)
        state.drop_mm = share * grid.depth_mm[-1]
        state.lean_rad = rng.uniform(-0.1, 0.1, (runs, stations))
        state.angle_rad = state.angle_rad + rng.uniform(-0.3, 0.2, (runs, stations))
    fresh = rng.uniform(0.5, 3.0, runs)
    aim = aim_at(grid, method.guide, rolls=False)
    given = (grid, state, aim, method, effects, draws, 1, slots % 3, fresh)
    for engine_name in ("arrays", "compiled"):
        with engine.using(engine_name):
            yield planes.lay_planes(*given)


@given(
    blade=st.sampled_from([make() for make in BLADES.values()]),
    runs=st.integers(1, 4),
    stations=st.integers(2, 70),
    depths=st.integers(3, 14),
    seed=st.integers(0, 2**16),
    worn=st.booleans(),
    fraction=st.floats(0.05, 1.0),
    limit=st.floats(1.0, 400.0),
    options=st.fixed_dictionaries(
        {
            "placements": st.integers(1, 40),
            "strokes_per_placement": st.integers(1, 5),
            "spacing": st.sampled_from(Spacing),
            "phase": st.sampled_from(PlacementPhase),
            "advance": st.sampled_from(Advance),
        }
    ),
)
@settings(max_examples=150)
def test_sessions_of_any_edge_agree(
    blade, runs, stations, depths, seed, worn, fraction, limit, options
):
    method = steps(fraction=fraction, max_advance_um=limit, **options)
    size = {"runs": runs, "stations": stations, "depths": depths}
    assert_agree(*by_each(blade, method, seed=seed, worn=worn, **size))


@pytest.mark.parametrize("name", ["arrays", "compiled"])
@pytest.mark.parametrize("blade", BLADES)
def test_planes_that_only_touch_an_edge_do_not_cut_it(blade, name):
    """Nothing has blunted it, so that no plane goes past its touch, and rounding is no cut."""
    made, method, slots = BLADES[blade](), steps(), np.arange(80)
    grid = prepare_edge(made, next(iter(made.edges)), stations=33, depths=7)
    streams = RandomStreams(SeededKeys(1, runs=80), edges=1, seatings=48, slots=80)
    effects, draws = streams.start_runs(slots, slots), streams.session(slots, slots)
    state = new_state(grid, 80)
    state.inset_mm = state.inset_mm + 0.0137  # at 0 there is nothing to round
    state.cleared_mm3 = cleared(grid, state.inset_mm)
    aim = aim_at(grid, method.guide, rolls=False)
    with engine.using(name):
        done = planes.lay_planes(grid, state, aim, method, effects, draws, 0, 0, np.ones(80))
    assert (done.active == -1).all()
    assert not done.advance.any()
    np.testing.assert_array_equal(done.state.angle_rad, state.angle_rad)
    np.testing.assert_allclose(done.volume, 0.0, atol=1e-14)
    if name == "compiled":
        assert not done.volume.any()
        assert not done.dullness.any()
        np.testing.assert_array_equal(done.state.inset_mm, state.inset_mm)


def test_single_precision_is_computed_in_double():
    lives = {}
    for kind in (np.float64, np.float32):
        with engine.using("compiled"):
            lives[kind] = lived(
                ek.patterns.area_specific_curette(),
                steps(),
                20,
                precision=kind,
                stations=24,
                depths=8,
            )
    one, other = (lives[kind].tracks["mean_width_um"] for kind in lives)
    assert (one != other).any()
    np.testing.assert_allclose(other, one, rtol=1e-4)


# ---- the parts ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def compiled():
    """What makes a compiled function of lanes one of arrays."""
    functions = session.functions()
    from edgekit.grinding.compiled.lanes import load, save

    return functions, load, save


def test_series_have_the_digits_of_numpy(compiled):
    import numba

    from edgekit.grinding.compiled.planes import angles

    _, load, save = compiled
    sine_cosine, arc = angles.sine_cosine, angles.arc

    @numba.njit
    def found(angle, sine, cosine, back, room):
        for n in range(0, len(angle), 16):
            one, other = sine_cosine(load(angle, n), room)
            save(sine, n, one)
            save(cosine, n, other)
            save(back, n, arc(one, other))

    for low, high in ((-np.pi / 4, np.pi / 4), (0.0, np.pi), (-9.0, 9.0)):
        angle = np.linspace(low, high, 1600)
        sine, cosine, back = np.empty((3, 1600))
        found(angle, sine, cosine, back, np.zeros(32))
        near = {"rtol": 0, "atol": 4e-16}
        np.testing.assert_allclose(sine, np.sin(angle), **near)
        np.testing.assert_allclose(cosine, np.cos(angle), **near)
        if low == 0:
            np.testing.assert_allclose(back, angle, rtol=0, atol=1e-15)


@given(data=st.data(), size=st.integers(2, 70), spare=st.floats(0.0, 0.95), clumped=st.booleans())
def test_a_quantile_by_summing_is_that_by_sorting(data, size, spare, clumped):
    session.functions()
    from edgekit.grinding.compiled.planes import advance, parts

    rng = np.random.default_rng(data.draw(st.integers(0, 2**16)))
    places = size + -size % 16
    values = rng.exponential(size=size) ** 8 if not clumped else rng.integers(0, 4, size) * 0.1
    values[rng.random(size) < 0.1] = np.inf
    need, length = np.zeros((2, 2 * places + 16))
    need[:size], length[:size] = values, rng.random(size)
    want = planes._share_quantile(values[None], length[None, :size], 1 - spare)
    blank = dict.fromkeys(parts.Edge._fields, 0)
    edge = parts.Edge(**blank | {"places": places})
    stop = parts.Stop(False, (spare + session.SPARE) * length.sum(), 1.0, 1e-9)
    room = dict.fromkeys(parts.Work._fields, np.zeros(1))
    work = parts.Work(**room | {"need": need, "length": length})
    assert advance.quantile(edge, stop, work) == want[0]


# ---- how it is compiled ------------------------------------------------------------------------


def test_local_strokes_are_compiled_once_for_all_cases():
    for method in ("each placement", "all alike", "on lowered faces"):
        for kind in (np.float64, np.float32):
            with engine.using("compiled"):
                lived(ek.patterns.hoe(), METHODS[method], 2, precision=kind, stations=9, depths=4)
    assert len(session.functions().grind_runs.signatures) == 1


def test_the_cache_notices_changes_in_the_inner_folder(tmp_path, monkeypatch):
    engine.functions()
    from edgekit.grinding.compiled import strokes

    (tmp_path / "planes").mkdir()
    (tmp_path / "strokes.py").write_text("1")
    inner = tmp_path / "planes" / "seating.py"
    inner.write_text("2")
    monkeypatch.setattr(strokes, "__file__", str(tmp_path / "strokes.py"))
    before = strokes.digest()
    assert strokes.digest() == before
    inner.write_text("3")
    assert strokes.digest() != before
