"""Bad input to lay, finish, blunting, strength and face-or-sides: what, the value and a remedy."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

import edgekit as ek
from edgekit.edge_finish.report import standard_cutoff_um
from edgekit.life.retire import WidthLoss
from edgekit.study.face_or_sides import crossover, ideal_sessions

NAN = float("nan")
BLADE, HOE = ek.patterns.universal_curette(), ek.patterns.hoe()
EDGE = BLADE.edges["left"]
METHOD, FACE = ek.methods.held(15.0), ek.methods.face_honing()


def rng() -> np.random.Generator:
    return np.random.default_rng(1)


def made(**more):
    return ek.finish(EDGE, METHOD, rng=rng(), **more)


def weak(**more):
    return ek.strength(BLADE, **({"load_n": 5.0} | more))


def ground(recession_um=0.0, **more):
    return ek.strength(ek.WornBlade.from_recession(BLADE, recession_um, **more), load_n=5.0)


def ideal(**more):
    return ideal_sessions(BLADE, **({"face_share": [0.5], "dull_radius_um": 4.0} | more))


NO_STRENGTH = WidthLoss(*[np.zeros(1)] * 5, 0.86, 5.65, 0.71)
CASES: list[tuple[str, Callable[[], object], str]] = [
    ("stroke angle not a number", lambda: ek.Oblique(angle_deg=NAN), "finite"),
    ("stroke sense as text", lambda: ek.Oblique(sense="away"), "StrokeSense"),
    ("stroke of no direction", lambda: ek.StraightStroke(direction=[0, 0, 0]), "null vector"),
    ("stroke in the plane only", lambda: ek.StraightStroke(direction=[1, 0]), "shape"),
    ("holder angle in text", lambda: ek.HolderStroke(angle_deg="across"), "must be a number"),
    (
        "stroke square to the stone",
        lambda: ek.lay(HOE.edges["edge"], ek.StraightStroke(direction=[0, 1, -1])),
        "perpendicular to the stone",
    ),
    ("lay at one station", lambda: ek.lay(EDGE, ek.along_edge(), stations=1), "2 or more"),
    ("share of a right angle of 50", lambda: ek.lay(EDGE, ek.along_edge()).follows(50), "share"),
    ("method with a bare stroke", lambda: replace(METHOD, stroke=45.0), "ek.strokes"),
    ("method with a bare stone", lambda: replace(METHOD, abrasive="diamond"), "Abrasive"),
    (
        "finish of a stone",
        lambda: ek.finish(EDGE, ek.ceramic_stone(), rng=rng()),
        "must be a Method",
    ),
    ("finish of a blade", lambda: ek.finish(BLADE, METHOD, rng=rng()), "one of its edges"),
    ("finish at a billion stations", lambda: made(stations=10**9), "GB"),
    ("blunting of an edge", lambda: ek.blunting(EDGE), "must be a Finish"),
    ("blunting under a load", lambda: ek.blunting(made(), contact=2.5), "LineContact"),
    ("finish with half a seed", lambda: ek.finish(EDGE, METHOD, rng=3.5), "Generator"),
    ("magnification of zero", lambda: made(magnification=0), "above 0"),
    ("finish at half a station", lambda: made(stations=2.5), "whole number"),
    ("Ra of zero for a cut-off", lambda: standard_cutoff_um(0), "above 0"),
    ("surface that follows no wave", lambda: made().tooth_rq_um(-1.0), "above 0"),
    ("no counterface", lambda: ek.blunting(made(), on={}), "needs a counterface"),
    ("counterface of no hardness", lambda: ek.blunting(made(), on={"gel": 0.0}), "hardness of gel"),
    ("a million strokes", lambda: ek.blunting(made(), strokes=[0, 1e6]), "2000 strokes or fewer"),
    ("strokes that fall", lambda: ek.blunting(made(), strokes=[5, 0]), "Sort"),
    ("level share in per cent", lambda: ek.blunting(made()).cases[0].level_after(10), "share"),
    ("claim beside one number", lambda: ek.steel_grain_claim(made(), 226.0), "two finishes"),
    (
        "claim beside two stones",
        lambda: ek.steel_grain_claim(
            made(), ek.finish(EDGE, METHOD.using(ek.ceramic_stone()), rng=rng())
        ),
        "stroke alone",
    ),
    ("disc of no radius", lambda: ek.DiscStone(radius_mm=0), "above 0"),
    ("strength of a hoe", lambda: ek.strength(HOE, load_n=5), "hoe"),
    ("no load", lambda: weak(load_n=0.0), "newtons"),
    ("negative recession", lambda: ground(-1.0), "0 or more"),
    ("recession of a strange edge", lambda: ground({"used": 5.0}), "no such edge"),
    ("recession with a gap", lambda: ground({"left": [1.0, NAN]}), "finite"),
    ("recession as a table", lambda: ground({"left": [[1.0, 2.0]]}), "one row"),
    ("nothing left", lambda: ground(600.0), "nothing is left"),
    ("face through the back", lambda: ground(face_um=2000.0), "nothing is left"),
    ("load beyond the heel", lambda: weak(load_from_toe_mm=6.0), "between 0 and"),
    ("strength limit of all", lambda: ek.MinStrength(fraction=1.0), "between 0 and 1"),
    ("strength never measured", lambda: ek.MinStrength().used_up(NO_STRENGTH), "not measured"),
    (
        "strength rule on a hoe",
        lambda: ek.live(HOE, METHOD, retire=ek.MinStrength(), rng=rng()),
        "hoe",
    ),
    ("no methods to alternate", lambda: ek.Alternation(name="x", methods=()), "needs methods"),
    ("names to alternate", lambda: ek.Alternation(name="x", methods=("a",)), "be a Method"),
    ("empty mixture", lambda: ek.mixture(METHOD, FACE, sides=0, faces=0), "needs a session"),
    ("half a session", lambda: ek.mixture(METHOD, FACE, sides=0.5, faces=1), "whole number"),
    ("face or sides of a hoe", lambda: ek.face_or_sides(HOE, runs=2, seed=1), "bevel only"),
    ("no mixtures", lambda: ek.face_or_sides(BLADE, mixes=(), runs=2, seed=1), "mixes must hold"),
    ("tie with no limit", lambda: crossover(BLADE, width_fraction=0), "share"),
    ("face share in per cent", lambda: ideal(face_share=[50]), "share"),
    ("sharp edges only", lambda: ideal(dull_radius_um=0), "above 0"),
]


@pytest.mark.parametrize(("call", "words"), [case[1:] for case in CASES], ids=[c[0] for c in CASES])
def test_bad_input_is_refused_with_words_that_help(call, words):
    with pytest.raises(ek.EdgekitError) as caught:
        call()
    assert words in str(caught.value)
    assert caught.value.remedy
    assert isinstance(caught.value, ValueError)
