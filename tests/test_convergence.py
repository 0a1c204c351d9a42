"""Whether lives have converged at the nodes that are used unless others are asked for."""

import numpy as np
import pytest

import edgekit as ek
from edgekit.grinding.random_streams import SeededKeys
from edgekit.life.life import DEFAULT_RULES, live_runs
from edgekit.life.prepared import ROLLED_STATIONS, usual_stations

m, s = ek.methods, ek.strokes
AREA, UNIVERSAL = ek.patterns.area_specific_curette, ek.patterns.universal_curette


def loss(blade, method, runs, **nodes):
    """Width lost per session [µm] of lives on the same random numbers."""
    keys = SeededKeys(1, runs=runs)
    lives = live_runs(
        blade, method, use=ek.Use(), rules=DEFAULT_RULES, rngs=keys, histories=0, **nodes
    )
    return lives.final["mean_width_um"] / lives.sessions


@pytest.mark.slow
@pytest.mark.parametrize(
    ("blade", "method"),
    [
        (AREA, m.freehand()),
        (AREA, m.freehand(stop=s.until_clear())),
        (AREA, m.bench_stone()),
        (AREA, m.powered()),
        (UNIVERSAL, m.freehand()),
        (ek.patterns.half_length_curette, m.freehand()),
        (ek.patterns.curved_sickle, m.bench_stone()),
        (ek.patterns.straight_sickle, m.freehand()),
    ],
)
def test_rolled_lives_are_nearer_to_their_limit_than_a_thousand_can_tell(blade, method):
    """Against eight times as many nodes, the bias is below the standard error of 1000 lives."""
    usual, fine = loss(blade(), method, 300), loss(blade(), method, 300, stations=127, depths=24)
    assert abs((usual - fine).mean()) < fine.std() / np.sqrt(1000)


def test_stations_are_those_that_strokes_ask_for():
    def size(method, blade=AREA):
        return usual_stations(blade(), method, 12)

    rolled, local = m.freehand(), m.freehand(stroke=s.local())
    partly = m.freehand(stroke=s.rolling(stretch_mm=2.0))
    assert [size(way) for way in (rolled, m.powered(), m.bench_stone())] == [32] * 3
    by_turns = ek.mixture(rolled, local, sides=1, faces=1)
    others = [local, partly, m.held(20.0), m.face_honing(), by_turns]
    assert [size(way) for way in others] == [64] * 5
    assert size(ek.mixture(rolled, m.powered(), sides=1, faces=1)) == ROLLED_STATIONS
    flat = [ek.patterns.straight_sickle, ek.patterns.hoe]
    assert [size(rolled, blade) for blade in (ek.patterns.curved_sickle, *flat)] == [32, 64, 64]


@pytest.mark.parametrize("method", [m.freehand(), m.freehand(stroke=s.local())])
def test_one_life_has_the_nodes_of_many(method):
    blade = AREA()
    life = ek.live(blade, method, rng=1, max_sessions=2)
    size = usual_stations(blade, method, 12)
    assert len(life.start.radius_um("used")) == len(life.worn(2).radius_um("used")) == size
    one = ek.compare(blade, [method], runs=2, seed=1, grid_runs=0)
    assert f"{size} stations, 12 depths" in one.cite()
    assert ek.LifeCase(blade=blade, method=method).refined().stations == 2 * size - 1
