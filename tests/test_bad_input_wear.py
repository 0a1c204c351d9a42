"""Bad input to wear and study: each case ends in an `EdgekitError` that names it and helps."""

from dataclasses import replace

import numpy as np
import pytest

import edgekit as ek
from edgekit.method.guide import FollowEdge, HoldElevation
from tests.wear_blades import straight_blade

NAN = float("nan")
BLADE = straight_blade()
METHOD = ek.methods.bench_stone(stroke=ek.strokes.local(placements=2))
COARSE = {"stations": 12, "depths": 3}


def sharpen(blade=BLADE, method=METHOD, **changes):
    usual = {"dull_radius_um": 4.0, "rng": np.random.default_rng(0)} | COARSE
    return ek.sharpen(blade, method, **(usual | changes))


def live(blade=BLADE, method=METHOD, **changes):
    usual = {"rng": np.random.default_rng(0), "max_sessions": 2} | COARSE
    return ek.live(blade, method, **(usual | changes))


def compare(blade=BLADE, methods=(METHOD,), **changes):
    return ek.compare(blade, methods, **({"runs": 2, "seed": 1} | COARSE | changes))


def method(**changes):
    return ek.Method(**({"name": "m", "guide": FollowEdge()} | changes))


CASES = {
    # rounded edges and laws
    "dull edge, negative radius": (lambda: ek.dull_edge(75, -1.0), "radius_um"),
    "dull edge, radius NaN": (lambda: ek.dull_edge(75, [1.0, NAN]), "radius_um"),
    "dull edge, radius as text": (lambda: ek.dull_edge(75, "4 um"), "radius_um"),
    "dull edge, ragged radii": (lambda: ek.dull_edge(75, [[1.0], [2.0, 3.0]]), "radius_um"),
    "dull edge, radius a mapping": (lambda: ek.dull_edge(75, {"r": 4}), "radius_um"),
    "dull edge, angle in radians": (lambda: ek.dull_edge(1.3, 4.0), "radians"),
    "dull edge, angle 0": (lambda: ek.dull_edge(0, 4.0), "internal_angle_deg"),
    "dull edge, angle 180": (lambda: ek.dull_edge(180, 4.0), "internal_angle_deg"),
    "dull edge, angle as text": (lambda: ek.dull_edge("wide", 4.0), "internal_angle_deg"),
    "power law, negative rate": (lambda: ek.PowerDulling(rate=-0.1), "rate"),
    "power law, exponent 0": (lambda: ek.PowerDulling(exponent=0.0), "exponent"),
    "power law, exponent NaN": (lambda: ek.PowerDulling(exponent=NAN), "exponent"),
    "power law through a smaller radius": (
        lambda: ek.PowerDulling.through(
            radius_um=1.0, strokes=45, sharp_radius_um=1.5, exponent=0.5
        ),
        "rate",
    ),
    "power law after fewer than no strokes": (lambda: ek.PowerDulling().after(1.5, -1), "strokes"),
    "power law from a negative radius": (lambda: ek.PowerDulling().after(-1.5, 1), "radius_um"),
    "power law from NaN": (lambda: ek.PowerDulling().after(NAN, 1), "radius_um"),
    "power law from text": (lambda: ek.PowerDulling().after("sharp", 1), "radius_um"),
    "saturating law, limit 0": (lambda: ek.SaturatingDulling(limit_um=0, strokes=9), "limit_um"),
    "saturating law, strokes infinite": (
        lambda: ek.SaturatingDulling(limit_um=5, strokes=np.inf),
        "strokes",
    ),
    "saturating law after NaN strokes": (
        lambda: ek.SaturatingDulling(limit_um=5, strokes=9).after(1.5, NAN),
        "strokes",
    ),
    "table law, one row": (lambda: ek.TableDulling(strokes=[0], radius_um=[1.5]), "rise"),
    "table law, falling": (lambda: ek.TableDulling(strokes=[0, 9], radius_um=[3, 2]), "rise"),
    "table law, unsorted": (
        lambda: ek.TableDulling(strokes=[0, 9, 5], radius_um=[1, 2, 3]),
        "rise",
    ),
    "table law, NaN": (lambda: ek.TableDulling(strokes=[0, NAN], radius_um=[1, 2]), "strokes"),
    "table law, lengths differ": (
        lambda: ek.TableDulling(strokes=[0, 5, 9], radius_um=[1, 2]),
        "radius_um",
    ),
    # hands and methods
    "error term, negative spread": (lambda: ek.ErrorTerm(sd=-1.0), "sd"),
    "error term, gsd below 1": (lambda: ek.ErrorTerm(sd=1.0, sd_gsd=0.5), "sd_gsd"),
    "error term, bias NaN": (lambda: ek.ErrorTerm(bias=NAN), "bias"),
    "hand, a bare number": (lambda: ek.Hand(tilt_deg=3.0), "tilt_deg"),
    "no placements": (lambda: ek.strokes.local(placements=0), "placements"),
    "a billion stations": (lambda: sharpen(stations=10**9), "stations"),
    "a billion depths": (lambda: sharpen(depths=10**9), "depths"),
    "a billion stations of a lay": (
        lambda: ek.lay(BLADE.edges["used"], ek.along_edge(), stations=10**9),
        "stations",
    ),
    "lay of a whole blade": (lambda: ek.lay(BLADE, ek.along_edge()), "blade.edges['left']"),
    "a billion sessions": (
        lambda: ek.live(
            BLADE, ek.methods.freehand(), rng=np.random.default_rng(1), max_sessions=10**9
        ),
        "max_sessions",
    ),
    "strength of an edge": (
        lambda: ek.strength(BLADE.edges["used"], load_n=5.0),
        "Give a blade",
    ),
    "a million placements": (lambda: ek.strokes.local(placements=10**6), "placements"),
    "a million seatings": (
        lambda: ek.strokes.local(placements=1000, strokes_per_placement=1000),
        "too many seatings",
    ),
    "two and a half placements": (lambda: ek.methods.held(15.0, placements=2.5), "placements"),
    "placements as a yes": (lambda: ek.methods.held(15.0, placements=True), "placements"),
    "placements as text": (lambda: ek.strokes.local(placements="twelve"), "placements"),
    "no strokes at a placement": (
        lambda: ek.strokes.local(strokes_per_placement=0),
        "strokes_per_placement",
    ),
    "spacing as text": (lambda: ek.strokes.local(spacing="even"), "spacing"),
    "phase as text": (lambda: ek.strokes.local(phase="same"), "phase"),
    "advance as text": (lambda: ek.strokes.local(advance="uniform"), "advance"),
    "direction as an angle": (lambda: ek.strokes.rolling(direction=45.0), "direction"),
    "stroke as text": (lambda: ek.methods.freehand(stroke="rolling"), "stroke"),
    "stretch 0": (lambda: ek.strokes.rolling(stretch_mm=0.0), "stretch_mm"),
    "stretch NaN": (lambda: ek.strokes.rolling(stretch_mm=NAN), "stretch_mm"),
    "tilt within a stroke below 0": (
        lambda: ek.strokes.rolling(within_tilt_sd_deg=-1.0),
        "within_tilt_sd_deg",
    ),
    "correlation 0": (lambda: ek.strokes.rolling(correlation_s=0.0), "correlation_s"),
    "half a stroke counted": (lambda: ek.strokes.counted(strokes=2.5), "strokes"),
    "a million strokes counted": (lambda: ek.strokes.counted(strokes=10**6), "strokes"),
    "no stroke between looks": (
        lambda: ek.strokes.until_fresh(strokes_between_looks=0),
        "strokes_between_looks",
    ),
    "resolution below 0": (lambda: ek.strokes.until_fresh(resolution_um=-1.0), "resolution_um"),
    "resolution NaN": (lambda: ek.strokes.until_clear(fraction=NAN), "fraction"),
    "local strokes counted": (
        lambda: ek.methods.freehand(stroke=ek.strokes.local(), stop=ek.strokes.counted()),
        "local strokes are advanced until the edge is clear",
    ),
    "a face honed by count": (
        lambda: replace(ek.methods.face_honing(), stop=ek.strokes.counted()),
        "local strokes are advanced until the edge is clear",
    ),
    "a face rolled over": (
        lambda: replace(ek.methods.face_honing(), stroke=ek.strokes.rolling()),
        "the method rolls",
    ),
    "stop as text": (lambda: ek.methods.held(15.0, stop="each"), "stop"),
    "target as text": (lambda: method(target="face"), "target"),
    "hand as a number": (lambda: ek.methods.freehand(hand=3.0), "hand"),
    "no guide": (lambda: method(guide=None), "guide"),
    "name not text": (lambda: method(name=12), "name"),
    "sharp target above 1": (lambda: method(stop=ek.strokes.until_clear(fraction=98)), "fraction"),
    "sharp target 0": (lambda: method(stop=ek.strokes.until_fresh(fraction=0.0)), "fraction"),
    "largest advance 0": (lambda: method(max_advance_um=0.0), "max_advance_um"),
    "removal 0": (lambda: method(removal_mm3_per_stroke=0.0), "removal_mm3_per_stroke"),
    "removal gsd below 1": (lambda: method(removal_gsd=0.9), "removal_gsd"),
    "seconds negative": (lambda: method(seconds_per_stroke=-1.0), "seconds_per_stroke"),
    "no setting": (lambda: ek.methods.held(()), "setting"),
    "setting None": (lambda: ek.methods.held(None), "setting"),
    "setting as text": (lambda: ek.methods.held("15"), "setting"),
    "setting NaN": (lambda: ek.methods.held(NAN), "setting"),
    "setting of 90": (lambda: ek.methods.held(90.0), "elevation_deg"),
    "elevations as one number": (lambda: HoldElevation(elevations_deg=15.0), "elevations_deg"),
    # sessions
    "no dullness": (lambda: sharpen(dull_radius_um=0.0), "dull_radius_um"),
    "dullness NaN": (lambda: sharpen(dull_radius_um=NAN), "dull_radius_um"),
    "dullness as a list": (lambda: sharpen(dull_radius_um=[4.0, 5.0]), "dull_radius_um"),
    "a word for a generator": (lambda: sharpen(rng="one"), "rng"),
    "no generator": (lambda: live(rng=None), "rng"),
    "an edge for a blade": (lambda: sharpen(blade=BLADE.edges["used"]), "blade"),
    "a name for a blade": (lambda: live(blade="FH-03-UC"), "blade"),
    "a name for a method": (lambda: sharpen(method="freehand"), "method"),
    "the maker of a method": (lambda: live(method=ek.methods.freehand), "method"),
    "one station": (lambda: sharpen(stations=1), "stations"),
    "two depths": (lambda: live(depths=2), "depths"),
    "stations as text": (lambda: sharpen(stations="many"), "stations"),
    # lives
    "use, NaN strokes": (lambda: ek.Use(strokes=NAN), "strokes"),
    "use, negative attrition": (lambda: ek.Use(attrition_um=-1.0), "attrition_um"),
    "use, gsd below 1": (lambda: ek.Use(severity_gsd=0.99), "severity_gsd"),
    "use, law as text": (lambda: ek.Use(law="power"), "law"),
    "use as strokes": (lambda: live(use=45), "use"),
    "no rules": (lambda: live(retire=()), "retire"),
    "rules in a list": (lambda: live(retire=["width"]), "retire"),
    "rule as a number": (lambda: live(retire=0.2), "retire"),
    "rule in percent": (lambda: ek.MaxWidthLoss(fraction=20), "fraction"),
    "rule NaN": (lambda: ek.MaxThicknessLoss(fraction=NAN), "fraction"),
    "basis as text": (lambda: ek.MaxWidthLoss(basis="mean"), "basis"),
    "all of the length must stay": (lambda: ek.MinLength(fraction=1.0), "fraction"),
    "no sessions": (lambda: live(max_sessions=0), "max_sessions"),
    "half a session": (lambda: live(max_sessions=1.5), "max_sessions"),
    # comparisons
    "no methods": (lambda: compare(methods=[]), "method"),
    "methods not in a list": (lambda: compare(methods=METHOD), "methods"),
    "a name among methods": (lambda: compare(methods=[METHOD, "held"]), "method"),
    "one run": (lambda: compare(runs=1), "runs"),
    "runs NaN": (lambda: compare(runs=NAN), "runs"),
    "seed None": (lambda: compare(seed=None), "seed"),
    "seed negative": (lambda: compare(seed=-1), "seed"),
    "seed not whole": (lambda: compare(seed=0.5), "seed"),
    "unknown column": (lambda: compare().differences("loss"), "column"),
    "column of text": (lambda: compare().differences("ended_by"), "column"),
    "column not text": (lambda: compare().differences(3), "column"),
    "unknown base": (lambda: compare().differences(base=1), "base"),
    "negative base": (lambda: compare().differences(base=-1), "base"),
}


@pytest.mark.parametrize("case", CASES)
def test_bad_input_is_refused_by_name_with_a_remedy(case):
    call, names = CASES[case]
    with pytest.raises(ek.EdgekitError) as caught:
        call()
    assert names in f"{caught.value.what} {caught.value.remedy}"
    assert caught.value.remedy.endswith(".")
    assert ", got " in str(caught.value)


def test_there_are_more_than_forty_cases():
    assert len(CASES) > 40


def test_the_same_calls_with_good_input_pass():
    assert sharpen().status == "sharp"
    assert live(retire=[ek.MaxWidthLoss()]).sessions == 2
    assert len(compare(runs=np.int64(2), seed=np.int64(3)).differences()) == 1
