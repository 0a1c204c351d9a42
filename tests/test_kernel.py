"""The quick kernel against the plain one, and against itself in other company."""

import dataclasses
import importlib.util

import numpy as np
import pytest

import edgekit as ek
from edgekit.grinding import planes
from edgekit.grinding import recession_field as ground
from edgekit.grinding.compiled import engine
from edgekit.grinding.random_streams import (
    AHEAD,
    GivenKeys,
    RandomStreams,
    SeededKeys,
    _Stream,
    run_rng,
)
from edgekit.grinding.recession_field import over_stations
from edgekit.life import life
from edgekit.life.life import live_runs
from edgekit.life.retire import DEFAULT_RULES
from edgekit.method.alternation import Alternation
from edgekit.method.hand import ErrorTerm, Hand
from edgekit.method.strokes import Advance, PlacementPhase
from tests import plain_kernel
from tests.wear_blades import in_steps

# A life chains some ten sessions of sums of a few terms, each rounded to 1e-16 of millimetres.
PLAIN = 1e-12
FLOAT32_UM = 1e-3  # of a mean loss a session: micrometres with 24 bits and a few dozen sums
SMALL = {"stations": 33, "depths": 5}

BLADES = {
    "area-specific": ek.patterns.area_specific_curette,
    "universal": ek.patterns.universal_curette,
    "sickle": ek.patterns.straight_sickle,
    "hoe": ek.patterns.hoe,
}
STEPS = ek.methods.held(15.0, placements=9)
SHIFTED = dataclasses.replace(STEPS.stroke, phase=PlacementPhase.SHIFTED)
METHODS = {
    "each placement": in_steps(),
    "all alike": in_steps(2, placements=5, advance=Advance.UNIFORM),
    "shifted marks": dataclasses.replace(STEPS, stroke=SHIFTED),
    "whole edge": ek.methods.bench_stone(
        stroke=ek.strokes.local(), stop=ek.strokes.until_clear(fraction=1.0)
    ),
    "one stroke": in_steps(placements=1),
    "face": ek.methods.face_honing(),
    "by turns": ek.mixture(in_steps(placements=7), ek.methods.face_honing(), sides=2, faces=1),
}
ROLLING = {
    "rolling": ek.methods.freehand(),
    "rolling, then the face": ek.mixture(
        ek.methods.held(15.0), ek.methods.face_honing(), sides=1, faces=1
    ),
}
ENGINES = [
    "arrays",
    pytest.param(
        "compiled",
        marks=pytest.mark.skipif(importlib.util.find_spec("numba") is None, reason="no numba"),
    ),
]
WITH_STRENGTH = (*DEFAULT_RULES, ek.MinStrength(fraction=0.6))


def lives(blade, method, runs, *, seed=3, **options):
    settings = {"use": ek.Use(), "rules": DEFAULT_RULES, "max_sessions": 7} | SMALL | options
    keys = settings.pop("keys", SeededKeys(seed, runs=runs))
    return live_runs(blade, method, rngs=keys, **settings)


@pytest.fixture
def near(name):
    """Checks that two ways of one engine agree: with arrays to the last bit; compiled, lives by
    blocks and a session at a time round differently."""
    with engine.using(name):
        yield lambda one, other: np.testing.assert_allclose(
            one, other, **dict.fromkeys(("rtol", "atol"), PLAIN if name == "compiled" else 0.0)
        )


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("blade", BLADES)
def test_lives_equal_those_of_the_plain_kernel(blade, method, monkeypatch):
    use = ek.Use(attrition_um=2.0)  # so that the field changes between sessions too
    quick = lives(BLADES[blade](), METHODS[method], 19, use=use)
    plain_kernel.install(monkeypatch)
    plain = lives(BLADES[blade](), METHODS[method], 19, use=use)
    np.testing.assert_array_equal(quick.sessions, plain.sessions)
    for name, track in plain.tracks.items():
        scale = np.nanmax(np.abs(track))
        np.testing.assert_allclose(
            quick.tracks[name], track, rtol=PLAIN, atol=PLAIN * max(scale, 1.0), err_msg=name
        )


@pytest.mark.parametrize("rules", [DEFAULT_RULES, WITH_STRENGTH], ids=["usual", "strength"])
@pytest.mark.parametrize("method", METHODS | ROLLING)
def test_a_run_is_the_same_to_the_last_bit_in_any_company(method, rules, monkeypatch):
    """Alone, in blocks of three, and among more than there are slots for."""
    blade, how = ek.patterns.universal_curette(), (METHODS | ROLLING)[method]
    together = lives(blade, how, 11, rules=rules)
    monkeypatch.setattr(life, "MAX_RUNS_AT_ONCE", 3)
    in_threes = lives(blade, how, 11, rules=rules)
    alone = [
        lives(blade, how, 1, keys=SeededKeys(3, first=i, runs=1), rules=rules) for i in range(11)
    ]
    assert ("strength_left" in together.final) == (rules is WITH_STRENGTH)
    for name in together.final:
        for part in ("final", "average"):
            total = getattr(together, part)[name]
            assert total.tobytes() == getattr(in_threes, part)[name].tobytes(), name
            one_by_one = np.concatenate([getattr(one, part)[name] for one in alone])
            assert total.tobytes() == one_by_one.tobytes(), name
    np.testing.assert_array_equal(together.sessions, [one.sessions[0] for one in alone])


@pytest.mark.parametrize("name", ENGINES)
def test_methods_by_turns_meet_the_hands_that_each_meets_alone(name, near):
    """Common random numbers, for any planes of the others: one method twice is that method; two
    begin like the first."""
    few, many = METHODS["all alike"], METHODS["shifted marks"]
    blade = ek.patterns.area_specific_curette()

    def by_turns(*methods):
        return lives(blade, Alternation(name="by turns", methods=methods), 9).tracks

    for measure, track in lives(blade, few, 9).tracks.items():
        near(by_turns(few, few)[measure], track)
        near(by_turns(few, many)[measure][:, 0], track[:, 0])


def test_histories_agree_with_the_sums():
    recorded = lives(ek.patterns.hoe(), METHODS["each placement"], 40)
    for name, track in recorded.tracks.items():
        np.testing.assert_allclose(np.nanmean(track, axis=1), recorded.mean(name), rtol=1e-12)
        ends = track[np.arange(40), recorded.sessions - 1]
        np.testing.assert_array_equal(ends, recorded.last(name))
    few = lives(ek.patterns.hoe(), METHODS["each placement"], 40, histories=3)
    for name, track in few.tracks.items():
        assert track.shape[0] == 3
        width = track.shape[1]
        np.testing.assert_array_equal(track, recorded.tracks[name][:3, :width])


def test_single_precision_changes_the_mean_loss_by_less_than_stated():
    blade, how = ek.patterns.area_specific_curette(), METHODS["each placement"]
    double, single = (
        lives(blade, how, 200, precision=kind, max_sessions=30) for kind in (np.float64, np.float32)
    )
    loss = [one.last("mean_width_um") / one.sessions for one in (double, single)]
    assert abs(loss[0].mean() - loss[1].mean()) < FLOAT32_UM
    assert (double.sessions == single.sessions).mean() > 0.99
    assert (loss[0] != loss[1]).any()


def test_seeded_keys_are_those_of_the_runs_own_generators():
    seeded, given = SeededKeys(5, first=2, runs=4), GivenKeys([run_rng(5, i) for i in range(2, 6)])
    for i in range(4):
        np.testing.assert_array_equal(seeded.key(i), given.key(i))


@pytest.mark.parametrize("blade", BLADES)
def test_placements_are_where_the_spacing_puts_them(blade):
    """Source: `placed_by_curvature`, which interpolates without a table (numpy.interp)."""
    edge = next(iter(BLADES[blade]().edges.values()))
    table = planes.even_places(edge, ek.Spacing.BY_CURVATURE)
    for count in (5, 12):
        at = (np.arange(count) + 0.5) * (planes.EVEN_SHARES / count)
        recorded = planes._read(table, at)
        np.testing.assert_allclose(recorded, ek.placed_by_curvature(edge, count), atol=1e-4)


def test_seeds_beyond_a_floats_digits_are_told_apart():
    keys = [SeededKeys(2**60 + i, runs=1).key(0) for i in range(2)]
    assert (keys[0] != keys[1]).all()


def test_a_stream_is_seeded_as_numpy_seeds_it():
    """Source: numpy's own SFC64, given the same three words."""

    class Words(np.random.bit_generator.ISeedSequence):
        def generate_state(self, n_words, dtype=np.uint32):
            assert (n_words, dtype) == (3, np.uint64)
            return np.array([2**64 - 5, 17, 4], dtype=np.uint64)

    stream = _Stream()
    stream.rng.standard_normal(7)
    stream.go_to(np.array([2**64 - 5, 17], dtype=np.uint64), 4)
    own = np.random.Generator(np.random.SFC64(Words()))
    np.testing.assert_array_equal(stream.rng.standard_normal(40), own.standard_normal(40))


def test_draws_do_not_depend_on_how_many_seatings_are_drawn():
    """Common random numbers: the first placements of a long method are those of a short one."""
    streams = [RandomStreams(SeededKeys(1, runs=2), edges=2, seatings=n, slots=2) for n in (3, 10)]
    both = np.arange(2)
    effects = [stream.start_runs(both, both) for stream in streams]
    np.testing.assert_array_equal(effects[0].hand, effects[1].hand)
    for turn in range(AHEAD + 2):
        short, long = (stream.session(both, np.full(2, turn)) for stream in streams)
        np.testing.assert_array_equal(short.seatings, long.seatings[:, :, :3])
        np.testing.assert_array_equal(short.patches, long.patches)
        np.testing.assert_array_equal(short.setup, long.setup)
        np.testing.assert_array_equal(short.phase, long.phase)


def test_draws_are_uniform_and_normal():
    """Source: scipy.stats.kstest; all draws of a session, over sessions and runs."""
    from scipy.stats import kstest

    runs = 400
    stream = RandomStreams(SeededKeys(11, runs=runs), edges=1, seatings=2, slots=runs)
    slots = np.arange(runs)
    effects = stream.start_runs(slots, slots)
    draws = [stream.session(slots, np.full(runs, turn)) for turn in range(AHEAD + 1)]
    normal = np.concatenate(
        [
            effects.hand.ravel(),
            *(d.seatings.ravel() for d in draws),
            *(d.patches.ravel() for d in draws),
        ]
    )
    assert kstest(normal, "norm").pvalue > 1e-3
    assert kstest(np.concatenate([d.phase.ravel() for d in draws]), "uniform").pvalue > 1e-3
    first, second = draws[0].patches.ravel(), draws[AHEAD].patches.ravel()
    assert abs(np.corrcoef(first, second)[0, 1]) < 4 / np.sqrt(len(first))


@pytest.mark.parametrize("cells", [1, 40, 10_000])
def test_the_deepest_plane_is_the_first_of_the_largest(cells, monkeypatch):
    """Source: numpy's max and argmax, ties and planes that face away included."""
    monkeypatch.setattr(ground, "CELLS_IN_CACHE", cells)
    blade = ek.patterns.universal_curette()
    here = ground.prepare_edge(blade, "left", stations=21, depths=4)
    field = np.repeat(here.inset_mm[:, None, :], 5, axis=1)
    frame = here.edge.frame(np.random.default_rng(2).uniform(0, 5, (5, 4)))
    normals = np.repeat(frame.outward.value, 2, axis=1)  # every plane twice
    normals[0, :2] = -here.inward[0]  # and some that face nothing
    level, advance = np.zeros((5, 21)), np.full((5, 8), 0.01)
    seating = ground.seat(here, field, normals, drop=level, goal=field[0])
    cut = ground.cut(here, field, seating, advance, level)
    _, reach = plain_kernel.cut(
        here, field, plain_kernel.seat(here, field, normals), advance, level
    )
    meets = reach.max(axis=1) > field[0]
    assert meets.any(axis=1).all()
    np.testing.assert_allclose(cut.reach[meets], reach.max(axis=1)[meets], rtol=1e-12, atol=1e-15)
    np.testing.assert_array_equal(cut.plane[meets], reach.round(12).argmax(axis=1)[meets])
    assert (cut.reach[~meets] <= field[0][~meets]).all()


def test_sums_over_stations_do_not_depend_on_layout_or_company():
    rng = np.random.default_rng(4)
    values, weights = rng.normal(size=(9, 64)), rng.normal(size=64)
    total = over_stations(values, weights)
    assert total.tobytes() == over_stations(np.asfortranarray(values), weights).tobytes()
    for r in range(9):
        assert over_stations(values[r : r + 1], weights)[0] == total[r]
    np.testing.assert_allclose(total, values @ weights, rtol=1e-12)


@pytest.mark.parametrize("name", ENGINES)
def test_a_life_by_itself_is_the_one_of_a_study(name, near):
    """`live` with the generator of run 4 is life 4 of a comparison."""
    blade, how = ek.patterns.hoe(), METHODS["each placement"]
    study = ek.compare(blade, [how], runs=6, seed=8, **SMALL).lives[0]
    one = ek.live(blade, how, rng=run_rng(8, 4), **SMALL)
    assert one.sessions == study.sessions[4]
    column = one.history["mean_width_um"].to_numpy()
    near(column, study.tracks["mean_width_um"][4, : one.sessions])


def test_a_generator_that_lives_twice_lives_two_lives():
    rng = np.random.default_rng(1)
    hand = Hand(tilt_deg=ErrorTerm(sd=2.0))
    method = ek.methods.freehand(stroke=ek.strokes.local(strokes_per_placement=1), hand=hand)
    first, second = (ek.live(ek.patterns.hoe(), method, rng=rng, **SMALL) for _ in range(2))
    assert not first.history.equals(second.history)


def test_a_second_stroke_like_the_first_takes_nothing():
    """Strokes alike to the last bit cost what strokes cost that differ by a hair.

    The hair decides which of four serves a stretch; the others must not overshoot it for that.
    """
    depth = ErrorTerm(sd=0.4)
    alike, by_a_hair = Hand(depth=depth), Hand(depth=depth, tilt_deg=ErrorTerm(sd=1e-7))
    loss = [
        lives(
            ek.patterns.area_specific_curette(),
            ek.methods.freehand(stroke=ek.strokes.local(placements=6), hand=hand),
            300,
            max_sessions=1,
        ).last("mean_width_um")
        for hand in (alike, by_a_hair)
    ]
    error = np.hypot(*(one.std() for one in loss)) / np.sqrt(300)
    assert abs(loss[0].mean() - loss[1].mean()) < 4 * error
    assert error < 0.03 * loss[0].mean()
