"""Lives that go on to their next session while others are still at strokes: bits of those in step.

What lives must come to is judged elsewhere; here the same lives are computed a session of all at a
time, a life at a time, and with other shares of them going on at once.
"""

from dataclasses import dataclass

import numpy as np
import pytest

import edgekit as ek
from edgekit.grinding import random_streams, rolling_session
from edgekit.grinding.compiled import engine
from edgekit.grinding.random_streams import SeededKeys, StrokeNumbers
from edgekit.life import by_arrays, life
from edgekit.life.prepared import PreparedBlade

RUNS = 7
SOON = ek.MaxWidthLoss(fraction=0.06)
UNEVEN = ek.methods.freehand(stop=ek.strokes.until_fresh(strokes_between_looks=1))


def lived(first=0, runs=RUNS, *, rules=(SOON,), **options):
    """Lives by arrays, none of which takes long."""
    with engine.using("arrays"):
        return life.live_runs(
            options.pop("blade", None) or ek.patterns.area_specific_curette(),
            options.pop("method", UNEVEN),
            use=options.pop("use", ek.Use()),
            rules=rules,
            rngs=SeededKeys(3, first=first, runs=runs),
            **{"stations": 20, "depths": 7} | options,
        )


def same(one, other, some=slice(None)):
    """Whether lives are some of others, to the last bit."""
    for name in ("sessions", "ended_by"):
        assert getattr(one, name).tolist() == getattr(other, name)[some].tolist(), name
    for name, track in one.tracks.items():
        theirs = other.tracks[name][some, : track.shape[1]]
        np.testing.assert_array_equal(track, theirs, err_msg=name)
    for part in ("final", "average"):
        for name, values in getattr(one, part).items():
            np.testing.assert_array_equal(values, getattr(other, part)[name][some], err_msg=name)


CASES = {
    "until fresh": {},
    "until clear": {"method": ek.methods.freehand(stop=ek.strokes.until_clear())},
    "counted": {"method": ek.methods.freehand(stop=ek.strokes.counted(strokes=7))},
    "in a holder": {"method": ek.methods.held(34.0), "max_sessions": 2},
    "flat on two straight edges": {"blade": ek.patterns.straight_sickle(), "max_sessions": 4},
    "two edges": {"blade": ek.patterns.universal_curette()},
    "over a part": {
        "method": ek.methods.freehand(stroke=ek.strokes.rolling(stretch_mm=4.0)),
        "max_sessions": 2,
    },
    "worn otherwise": {"use": ek.Use(attrition_um=1.5)},
    "until they are weak": {"rules": (ek.retire.MinStrength(), SOON)},
    "single precision": {"precision": np.float32},
    "cut off": {"max_sessions": 3},
}


@pytest.mark.parametrize("case", CASES)
def test_lives_apart_are_those_a_session_of_all_at_a_time(case, monkeypatch):
    options = CASES[case]
    assert apart(**options)
    one = lived(**options)
    monkeypatch.setattr(life, "serves_apart", lambda _: False)
    same(one, lived(**options))


def apart(name="arrays", blade=None, method=UNEVEN, **_):
    """Whether lives of a case go on apart."""
    blade = blade or ek.patterns.area_specific_curette()
    with engine.using(name):
        return by_arrays.serves_apart(PreparedBlade.of(blade, method, 20, 7, np.float64))


@pytest.mark.parametrize("case", ["until fresh", "counted", "two edges", "cut off"])
def test_a_life_is_the_same_in_any_company(case, monkeypatch):
    """Alone; of five at a time, so that waiting runs take the slots of those that end."""
    options = CASES[case]
    every = lived(**options)
    assert len(set(every.sessions.tolist())) > 1 or "max_sessions" in options
    for run in (0, RUNS - 1):
        same(lived(run, 1, **options), every, slice(run, run + 1))
    monkeypatch.setattr(life, "MAX_RUNS_AT_ONCE", 5)
    same(lived(**options), every)


@pytest.mark.parametrize("share", [0.01, 1.0])
def test_lives_are_the_same_however_many_go_on_at_once(share, monkeypatch):
    every = lived()
    monkeypatch.setattr(by_arrays, "SHARE", share)
    same(lived(), every)


def test_sessions_cut_off_between_looks_are_the_same(monkeypatch):
    """A look that is due for some alone leaves what the others last saw."""
    method = ek.methods.freehand(stop=ek.strokes.until_fresh(strokes_between_looks=3))
    options = {"method": method, "max_sessions": 4, "runs": 40}
    usual = lived(**options)
    monkeypatch.setattr(rolling_session, "MAX_STROKES", 7)
    one = lived(**options)
    assert (one.tracks["stone_strokes"] == 7).any()
    assert (one.tracks["sharp_fraction"] < usual.tracks["sharp_fraction"]).any()
    monkeypatch.setattr(life, "serves_apart", lambda _: False)
    same(one, lived(**options))


def test_a_life_with_its_states_kept_is_the_same():
    kept = lived(2, 1, keep=True)
    assert len(kept.states) == kept.sessions[0]
    same(kept, lived(), slice(2, 3))


@dataclass(frozen=True)
class AtMostFive:
    """A rule of one's own, which is asked with one number of strokes."""

    strokes_between_looks: int = 1

    def margin(self, edge):
        return ek.strokes.until_clear().margin(edge)

    def least_inset(self, edge):
        return ek.strokes.until_clear().least_inset(edge)

    def done(self, dull_share, strokes):
        return (dull_share == 0) | (int(strokes) >= 5)


def test_lives_of_other_kinds_go_on_in_step():
    for other in (
        {"name": "compiled"} if engine._installed() else {"method": ek.methods.face_honing()},
        {"method": ek.methods.face_honing()},
        {"method": ek.methods.freehand(stroke=ek.strokes.local())},
        {"method": ek.methods.freehand(stop=AtMostFive())},
        {"method": ek.mixture(UNEVEN, ek.methods.face_honing(), sides=1, faces=1)},
    ):
        assert not apart(**other)
    strokes = lived(method=ek.methods.freehand(stop=AtMostFive())).tracks["stone_strokes"]
    assert np.nanmax(strokes) == 5


def test_runs_at_strokes_of_their_own_are_given_their_own_numbers():
    keys = np.random.default_rng(4).integers(0, 2**64, size=(3, 2), dtype=np.uint64)

    def numbers(sessions, some=slice(None)):
        return StrokeNumbers(random_streams._Stream(), keys[some], np.array(sessions)[some], 1)

    every, mixed = numbers([4, 5, 6]), numbers([4, 5, 6]).room(9)
    mixed.begin(np.array([7, 2, 5]), numbers([4, 5, 6]))
    for at in ([0, 1, 2], [15, 16, 3], [16, 17, 33], [17, 40, 34]):
        found = mixed.stroke(np.array(at), np.array([7, 2, 5]))
        for run, number in enumerate(at):
            wanted = every.stroke(number, np.array([run]))[0]
            assert found[run].tolist() == wanted.tolist()
    mixed.begin(np.array([2]), numbers([4, 9, 6], slice(1, 2)))
    again = numbers([4, 9, 6]).stroke(40, np.array([1]))
    assert mixed.stroke(np.array([40]), np.array([2])).tolist() == again.tolist()
