"""Formulas and limits of the room of methods, of which a change once left every test green."""

import dataclasses
import math

import numpy as np
import pytest
from scipy.stats import norm

import edgekit as ek
from edgekit.contact.holder import Setting
from edgekit.evidence_table import Evidence, Gsd, Status, entry, value
from edgekit.method import lay
from edgekit.method.abrasive import Abrasive, Lubricant, fine_natural_stone
from edgekit.method.grain import Scale, grain, numbers
from edgekit.method.guide import FollowEdge, HoldElevation
from edgekit.method.hand import ErrorTerm, Hand
from edgekit.method.stop import Apex, Counted, UntilClear, UntilFresh
from edgekit.method.strokes import LocalStroke, PlacementPhase, RollingStroke

HALF = np.radians(75.0) / 2

# Medians and tolerances [µm] typed here a second time, apart from the package's table: FEPA P from
# ISO 6344-3, JIS from JIS R 6001:1987, FEPA F from ISO 8486-2 (from memory).
GRADES = {
    "FEPA-P": """240 58.5 2, 280 52.2 2, 320 46.2 1.5, 360 40.5 1.5, 400 35 1.5, 500 30.2 1.5,
        600 25.8 1, 800 21.8 1, 1000 18.3 1, 1200 15.3 1, 1500 12.6 1, 2000 10.3 .8, 2500 8.4 .5""",
    "FEPA-F": """230 53 3, 240 44.5 2, 280 36.5 1.5, 320 29.2 1.5, 360 22.8 1.5, 400 17.3 1,
        500 12.8 1, 600 9.3 1, 800 6.5 1, 1000 4.5 .8, 1200 3 .5, 1500 2 .4, 2000 1.2 .3""",
    "JIS": """240 57 3, 280 48 3, 320 40 2.5, 360 35 2, 400 30 2, 500 25 2, 600 20 1.5, 700 17 1.3,
        800 14 1, 1000 11.5 1, 1200 9.5 .8, 1500 8 .6, 2000 6.7 .6, 2500 5.5 .5, 3000 4 .5,
        4000 3 .4, 6000 2 .4, 8000 1.2 .3""",
}


@pytest.mark.parametrize("scale", GRADES)
def test_every_grade_is_that_of_its_standard(scale):
    given = [[float(word) for word in row.split()] for row in GRADES[scale].split(",")]
    assert list(numbers(scale)) == [row[0] for row in given]
    known = [grain(scale, number) for number in numbers(scale)]
    assert [[g.number, g.median_um, g.tolerance_um] for g in known] == given
    assert {g.scale for g in known} == {Scale(scale)}


# ---- abrasives ------------------------------------------------------------------------------


def an_abrasive(**changes):
    return Abrasive(**{"name": "a", "median_um": 9.0, "lubricant": Lubricant.OIL} | changes)


def guessed(size, gsd=1.0):
    return Evidence(
        value=size, unit="1", spread=Gsd(gsd), status=Status.ASSUMED, source="a test", name="guess"
    )


def test_a_stone_is_graded_in_one_way_only():
    good = an_abrasive(median_um=None, scale="JIS", number=1000)
    assert good.grain_um == 11.5
    for wrong in (
        {"number": 600},
        {"scale": "JIS"},
        {"median_um": None},
        {"scale": "JIS", "number": 1000},
    ):
        with pytest.raises(ek.BadArgument, match="either by scale and number or by median_um"):
            an_abrasive(**wrong)


@pytest.mark.parametrize(
    ("span", "good"),
    [
        ((9.0, 9.0), True),
        ((0.5, 9.0), True),
        ((9.0, 20.0), True),
        ((0.0, 20.0), False),
        ((9.1, 20.0), False),
        ((1.0, 8.9), False),
    ],
)
def test_the_range_of_a_grain_holds_its_median(span, good):
    if good:
        assert an_abrasive(median_range_um=span).median_range_um == span
        return
    with pytest.raises(ek.BadArgument, match="median_range_um must hold"):
        an_abrasive(median_range_um=span)


def test_roughness_and_spacing_above_and_below_the_floor():
    coarse = an_abrasive(median_um=130.0, active_grits=guessed(0.25))
    assert coarse.ra_um == pytest.approx(130 * entry("ra_per_grain").value)
    assert coarse.scratch_spacing_um == pytest.approx(130 / 0.5)
    fine = an_abrasive(median_um=0.1, active_grits=guessed(0.25))
    floor = entry("ra_floor_um").value
    assert fine.ra_um == floor
    # As of the grain that would leave the floor.
    assert fine.scratch_spacing_um == pytest.approx(floor / entry("ra_per_grain").value / 0.5)
    # Rq of Gaussian heights is √(π/2) Ra; the slope of a wave 2π Rq over its length.
    slope = 2 * math.pi * math.sqrt(math.pi / 2) * coarse.ra_um / 260
    assert coarse.rms_slope == pytest.approx(slope)


def test_the_spread_of_a_spacing_is_that_of_its_two_parts():
    # Range as four fifths of a log-normal: its ends lie norm.ppf(0.9) deviations from the middle;
    # the spacing goes with the root of the share.
    known = an_abrasive(active_grits=guessed(0.4, 2.2))
    assert known.spacing_gsd == pytest.approx(math.sqrt(2.2))
    ranged = an_abrasive(active_grits=guessed(0.4, 2.2), median_range_um=(3.0, 20.0))
    sd = math.log(20 / 3) / (norm.ppf(0.9) - norm.ppf(0.1))
    both = math.sqrt(sd**2 + (math.log(2.2) / 2) ** 2)
    assert math.log(ranged.spacing_gsd) == pytest.approx(both, rel=1e-4)
    assert fine_natural_stone().median_range_um == (1.0, 5.0)


# ---- hands ----------------------------------------------------------------------------------


def test_a_term_of_a_hand_adds_up_as_it_says():
    none = ErrorTerm()
    defaults = (none.bias, none.person_sd, none.session_sd, none.sd, none.sd_gsd)
    assert defaults == (0.0, 0.0, 0.0, 0.0, 1.0)
    term = ErrorTerm(bias=0.7, person_sd=2.0, session_sd=0.3, sd=1.5, sd_gsd=1.4)
    person, session, skill = np.array([[0.5, -1.0], [2.0, 0.4], [1.5, -0.6]])
    draw = np.array([[0.2, -0.3, 1.1], [0.9, 0.1, -2.0]])
    common = [0.7 + 1.0 + 0.6, 0.7 - 2.0 + 0.12]
    scatter = [1.5 * 1.4**1.5, 1.5 * 1.4**-0.6]
    assert term.common(person, session) == pytest.approx(common)
    assert term.scatter(skill) == pytest.approx(scatter)
    for r in range(2):
        wanted = common[r] + scatter[r] * draw[r]
        assert term.of(person, session, skill, draw)[r] == pytest.approx(wanted)
    assert ErrorTerm(sd_gsd=1.0).sd_gsd == 1.0
    for name, low in (("person_sd", 0.0), ("session_sd", 0.0), ("sd", 0.0), ("sd_gsd", 1.0)):
        assert getattr(ErrorTerm(**{name: low}), name) == low
        assert getattr(ErrorTerm(**{name: low + 0.25}), name) == low + 0.25
        with pytest.raises(ek.BadArgument, match=name):
            ErrorTerm(**{name: low - 0.01})
    terms = [ErrorTerm(bias=float(k)) for k in range(4)]
    hand = Hand(tilt_deg=terms[0], swing_deg=terms[1], position_mm=terms[2], depth=terms[3])
    assert list(hand.terms) == terms


# ---- guides ---------------------------------------------------------------------------------


def a_setting(elevation, errors):
    errors = np.array(errors, dtype=float)
    return Setting(
        elevation_deg=elevation,
        worst_error_deg=float(np.abs(errors).max()),
        window_deg=None,
        roll_span_deg=0.0,
        arc_mm=np.linspace(0, 5, len(errors)),
        error_deg=errors,
        roll_deg=0 * errors,
        stretches_mm=((0.0, 5.0),),
    )


def test_the_worst_error_is_that_of_the_better_setting_where_it_is_worst():
    first, second = a_setting(10.0, [0.5, -4.0, 2.0]), a_setting(20.0, [3.0, 1.0, -2.5])
    worst = HoldElevation.worst_error_deg
    assert worst(first) == 4.0
    assert worst([first]) == 4.0
    assert worst([first, second]) == 2.0  # of 0.5, 1.0, 2.0
    assert worst(15.0) == 0.0
    assert worst([15.0, first]) == 0.0  # one of them knows of no edge
    assert worst([first, a_setting(20.0, [3.0, 1.0])]) == 0.0  # of other stations
    assert HoldElevation.of([first, 20.0]).elevations_deg == (10.0, 20.0)


def test_a_method_is_named_by_its_settings_and_by_how_far_they_are_off():
    off = value("tolerance_deg")
    assert ek.methods.held(a_setting(10.0, [off])).name == "held at 10.0°, rolled"
    doubted = ek.methods.held(a_setting(10.0, [off + 0.1])).name
    assert doubted == f"held at 10.0°, rolled, up to {off + 0.1:.1f}° off"
    assert ek.methods.held([10.0, 20.0], placements=6).name == "held at 10.0°, 20.0°, 6 placements"
    assert ek.methods.held([10.0, 20.0, 30.0]).name == "held at 3 settings, rolled"
    assert ek.methods.held([10.0, 20.0, 30.0]).guide.setups == 3


def test_guides_take_what_they_may():
    assert FollowEdge().setups == 1
    assert FollowEdge(setups=1000).setups == 1000
    with pytest.raises(ek.BadArgument, match="setups"):
        FollowEdge(setups=1001)
    assert HoldElevation(elevations_deg=(-89.9, 89.9)).setups == 2
    for wrong in (-90.0, 90.0, 90.5, -90.5):
        with pytest.raises(ek.BadArgument, match="elevation_deg"):
            HoldElevation(elevations_deg=(wrong,))
    with pytest.raises(ek.BadArgument, match="needs a setting"):
        HoldElevation(elevations_deg=())


# ---- lay ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "wrapped"),
    [
        (0, 0),
        (89.5, 89.5),
        (90, 90),
        (90.5, -89.5),
        (-89.5, -89.5),
        (-90, 90),
        (-90.5, 89.5),
        (180, 0),
        (269, 89),
        (271, -89),
        (-181, -1),
        (90 + 5e-10, 90),
    ],
)
def test_an_angle_is_wrapped_by_half_turns(given, wrapped):
    assert float(lay.wrapped_lay_deg(np.array(float(given)))) == wrapped


def planes_of(normals, handle=(0.0, 0.0, -1.0)):
    normals = np.array(normals, dtype=float)
    rows = np.ones((len(normals), 1))
    return lay.GroundPlanes(
        arc_mm=np.arange(len(normals)) + 0.5,
        tangent=rows * [1.0, 0.0, 0.0],
        into=rows * [0.0, 1.0, 0.0],
        normal=normals,
        handle_axis=np.array(handle),
    )


def test_a_stroke_without_a_direction_is_refused_at_its_station():
    holder = ek.HolderStroke()
    square = [[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]  # the second faces along the handle
    with pytest.raises(ek.Cannot, match="handle is perpendicular") as caught:
        holder.angle_deg_on(planes_of(square))
    assert caught.value.value == 1.5
    lean = holder.angle_deg_on(planes_of([[0.0, 0.0, 1.0]], handle=(0.0, 1e-3, 1.0)))
    assert lean == pytest.approx([90.0])
    with pytest.raises(ek.Cannot, match="handle is perpendicular"):  # at the limit itself
        holder.angle_deg_on(planes_of([[0.0, 0.0, 1.0]], handle=(0.0, 1e-6, 1.0)))
    with pytest.raises(ek.Cannot, match="stroke is perpendicular") as caught:
        lay._angle_deg(planes_of(square), np.array([[0.0, 1.0, 0.0], [0.0, 1e-6, 1.0]]))
    assert caught.value.value == 1.5
    near = lay._angle_deg(planes_of(square), np.array([[0.0, -1.1e-6, 1.0], [1.1e-6, 0.0, 1.0]]))
    assert near == pytest.approx([-90.0, 0.0])


@pytest.mark.parametrize("name", ["left", "right"])
def test_the_lay_of_a_straight_stroke_is_plain_projection_on_either_edge(name):
    edge = ek.patterns.universal_curette(face_tilt_deg=6.0).edges[name].stretch(0.0, 4.0)
    stroke = np.array([1.0, 0.3, -0.2])
    found = ek.lay(edge, ek.StraightStroke(direction=stroke), stations=5)
    frame = edge.frame(found.arc_mm)
    for i in range(5):
        n, t = frame.outward.value[i], frame.tangent.value[i]
        into = frame.flank[i] - (frame.flank[i] @ n) * n - (frame.flank[i] @ t) * t
        into /= np.linalg.norm(into)
        wanted = math.degrees(math.atan2(stroke @ into, stroke @ t))
        assert math.remainder(found.lay_deg[i] - wanted, 180.0) == pytest.approx(0, abs=1e-9)


def test_a_lay_counts_what_follows_the_edge():
    edge = ek.patterns.hoe().edges["edge"]
    assert len(ek.lay(edge, ek.along_edge()).arc_mm) == 400
    assert len(ek.lay(edge, ek.along_edge(), stations=2).arc_mm) == 2
    with pytest.raises(ek.BadArgument, match="2 or more"):
        ek.lay(edge, ek.along_edge(), stations=1)
    with pytest.raises(ek.BadArgument, match=r"1,000,000 or less .* 1 GB"):
        ek.lay(edge, ek.along_edge(), stations=2_000_000)
    half = ek.lay(edge, ek.Oblique(angle_deg=45.0))
    assert (half.follows(), half.follows(0.49), half.follows(1.0)) == (1.0, 0.0, 1.0)
    # By length: the ends stand for half as much.
    turned = lay.Lay(arc_mm=np.array([0.0, 1, 2]), lay_deg=np.array([0.0, 80.0, -80.0]))
    assert turned.follows() == pytest.approx(0.25)
    assert turned.span_deg == pytest.approx(100.0)  # 0, 80, 100
    assert (ek.along_edge().angle_deg, ek.across_edge().angle_deg) == (0.0, 90.0)


# ---- stop rules -----------------------------------------------------------------------------


def an_apex(inset=0.0, angle=2 * HALF, new_angle=2 * HALF, radius=0.004, fresh=0.001):
    one = np.ones((1, 1))
    return Apex(radius * one, angle * one, inset * one, new_angle * one, np.array([fresh]))


def test_margins_are_lands_beyond_what_the_rule_lets_pass():
    edge = an_apex()
    dull, fresh = (2 * r * math.cos(HALF) for r in (0.004, 0.001))  # [mm]
    assert edge.land.item() == pytest.approx(dull)
    assert edge.fresh_land.item() == pytest.approx(fresh)
    assert Counted().margin(edge).item() == pytest.approx(dull - fresh)
    seen = UntilFresh(resolution_um=1.5)
    assert seen.margin(edge).item() == pytest.approx(dull - fresh - 0.0015)
    clear = 0.004 / math.tan(HALF)
    assert UntilClear().margin(an_apex(inset=0.001)).item() == pytest.approx(clear - 0.001)
    assert UntilClear().least_inset(edge).item() == pytest.approx(clear)
    # A plane parallel to the flank leaves the chord over an arc α of the circle.
    for rule, land in ((Counted(), fresh), (seen, fresh + 0.0015)):
        arc = 2 * math.asin(land / 0.008)
        least = 0.004 * (1 + math.cos(2 * HALF + arc)) / math.sin(2 * HALF)
        assert rule.least_inset(edge).item() == pytest.approx(least)
        assert an_apex(inset=least).land.item() == pytest.approx(land)


@pytest.mark.parametrize("rule", [UntilFresh, UntilClear])
def test_a_rule_is_done_at_its_share_with_rounding_and_no_sooner(rule):
    some = rule(fraction=0.9)
    shares = np.array([0.0, 1 - 0.9, 1 - 0.9 + 0.9e-9, 1 - 0.9 + 1e-9, 0.1 + 2e-9, 0.3, 1.0])
    assert some.done(shares, 7).tolist() == [True, True, True, True, False, False, False]


def test_counted_strokes_end_with_the_last():
    rule = Counted(strokes=7)
    assert rule.strokes_between_looks == 7
    ends = [bool(rule.done(np.zeros(2), n).all()) for n in (6, 7, 8)]
    assert ends == [False, True, True]


@pytest.mark.parametrize(
    "make",
    [
        lambda n: Counted(strokes=n),
        lambda n: UntilFresh(strokes_between_looks=n),
        lambda n: UntilClear(strokes_between_looks=n),
    ],
)
def test_strokes_are_counted_from_one_to_ten_thousand(make):
    assert make(1).strokes_between_looks == 1
    assert make(10_000).strokes_between_looks == 10_000
    for wrong in (0, 10_001):
        with pytest.raises(ek.BadArgument, match="strokes"):
            make(wrong)


def test_an_eye_may_see_all():
    assert UntilFresh(resolution_um=0.0).resolution_um == 0.0
    assert UntilFresh(resolution_um=0.5).resolution_um == 0.5


# ---- strokes --------------------------------------------------------------------------------


def test_a_stretch_is_where_most_is_dull_both_its_ends_included():
    arc = np.linspace(0.0, 6.0, 13)
    dull = np.zeros((13, 3))
    dull[[2, 6], 0], dull[9, 0] = 2e-3, 1e-3  # at 1.0, 3.0 and 4.5 mm
    dull[[7, 8], 1], dull[0, 1] = 1e-3, 1.5e-3  # at 3.5, 4.0 and 0.0 mm
    dull[:, 2] = -1.0  # nowhere: the first stretch within the edge
    low, high = RollingStroke(stretch_mm=2.0).stretch(arc, dull)
    # Centred on the mean of what is dull there, by how dull.
    assert low == pytest.approx([1.0, 2.75, 0.0], abs=1e-6)
    assert high - low == pytest.approx(2.0)
    assert low[2] == pytest.approx(0.0, abs=1e-12)
    steep = np.zeros((13, 1))
    steep[[2, 4], 0] = 1e-3, 3e-3  # at 1.0 and 2.0 mm: mean 1.75
    assert RollingStroke(stretch_mm=2.0).stretch(arc, steep)[0] == pytest.approx(0.75, abs=1e-6)


def test_a_stretch_as_long_as_the_edge_is_all_of_it():
    arc, dull = np.linspace(0.0, 6.0, 13), np.ones((13, 2))
    for whole in (None, 6.0, 7.0):
        stroke = RollingStroke(stretch_mm=whole)
        assert stroke.covers(6.0)
        ends = np.array(stroke.stretch(arc, dull))
        assert ends.tolist() == [[-np.inf, -np.inf], [np.inf, np.inf]]
    for part in (5.6, 5.9):  # less than the edge, more than all but its last step
        assert not RollingStroke(stretch_mm=part).covers(6.0)
        assert np.isfinite(RollingStroke(stretch_mm=part).stretch(arc, dull)).all()


def test_phases_of_placements():
    draw = np.array([0.1, 0.6])
    assert PlacementPhase.SAME.phase(3, draw).tolist() == [0.5, 0.5]
    assert PlacementPhase.SHIFTED.phase(0, draw).tolist() == [0.25, 0.25]
    assert PlacementPhase.SHIFTED.phase(np.array([1, 2]), draw).tolist() == [0.75, 0.25]
    assert PlacementPhase.RANDOM.phase(1, draw).tolist() == [0.1, 0.6]


def test_planes_are_numbered_in_sixteen_bits():
    assert LocalStroke(placements=32767, strokes_per_placement=1).planes == 32767
    assert LocalStroke(placements=217, strokes_per_placement=151).planes == 32767
    with pytest.raises(ek.BadArgument, match="placements"):
        LocalStroke(placements=32768, strokes_per_placement=1)
    with pytest.raises(ek.BadArgument, match="too many seatings"):
        LocalStroke(placements=256, strokes_per_placement=128)


def test_a_roll_may_be_steady():
    assert RollingStroke(within_tilt_sd_deg=0.0).within_tilt_sd_deg == 0.0
    assert RollingStroke(within_tilt_sd_deg=0.3).within_tilt_sd_deg == 0.3


# ---- methods --------------------------------------------------------------------------------


def test_minutes_add_up_strokes_settings_and_checks():
    method = ek.Method(
        name="m",
        guide=HoldElevation(elevations_deg=(10.0, 20.0, 30.0)),
        seconds_per_stroke=0.7,
        setup_seconds=11.0,
        mount_seconds=5.0,
        check_seconds=7.0,
    )
    seconds = method.seconds(np.array([10.0, 20.0]), 2)
    assert seconds == pytest.approx([7 + 48 + 14, 14 + 48 + 14])
    assert ek.Method(name="m").mount_seconds == 0.0
    assert "16 s to set up and mount, 3 time(s) per blade; 7 s to check" in str(method)


def test_a_method_takes_what_its_limits_say():
    good = ek.Method(
        name="m", removal_gsd=1.0, setup_seconds=0.0, mount_seconds=0.5, check_seconds=0.0
    )
    assert (good.removal_gsd, good.setup_seconds, good.mount_seconds) == (1.0, 0.0, 0.5)
    for wrong in (
        {"removal_gsd": 0.99},
        {"setup_seconds": -0.01},
        {"mount_seconds": -0.01},
        {"check_seconds": -0.01},
    ):
        with pytest.raises(ek.BadArgument, match=next(iter(wrong))):
            ek.Method(name="m", **wrong)


def test_a_method_rolls_or_advances_planes():
    rolling, steps = ek.methods.freehand(), ek.methods.freehand(stroke=ek.strokes.local())
    clear = ek.methods.freehand(stop=ek.strokes.until_clear())
    face = ek.methods.face_honing()
    assert [m.rolls for m in (rolling, clear, steps, face)] == [True, True, False, False]
    assert (rolling.planes, steps.planes, face.planes) == (1, 48, 1)
    for item in (rolling, clear):
        assert item.rolling() is item.stroke
        with pytest.raises(ek.Cannot, match="the method rolls"):
            item.local()
    assert steps.local() == (steps.stroke, steps.stop)
    with pytest.raises(ek.Cannot, match="the method advances planes"):
        steps.rolling()
    with pytest.raises(ek.Cannot, match="advanced until the edge is clear"):
        dataclasses.replace(steps, stop=ek.strokes.until_fresh())


def test_methods_in_common_use_have_their_strokes_and_hands():
    learnt, novice = ek.methods.freehand(), ek.methods.freehand(novice=True)
    assert learnt.hand.tilt_deg.bias == 0.0
    assert novice.hand.tilt_deg.bias == value("novice_tilt_bias_deg") != 0
    assert (learnt.name, novice.name) == (
        "freehand, moving stone",
        "freehand, moving stone, novice",
    )
    held = ek.methods.held(15.0, placements=12).stroke
    assert (held.placements, held.strokes_per_placement) == (12, 1)
    face = ek.methods.face_honing().stroke
    assert (face.placements, face.strokes_per_placement) == (1, 1)
    assert isinstance(ek.methods.held(15.0).stroke.direction, ek.HolderStroke)
    assert ek.methods.powered().stroke.direction == ek.Oblique()


def test_an_alternation_needs_as_many_seatings_as_its_largest_method():
    few = ek.methods.held(15.0, placements=4)
    many = ek.methods.held(15.0, placements=9)
    turns = ek.Alternation(name="t", methods=(few, many, few))
    assert turns.planes == 9
    assert [turns.at(i) is many for i in range(5)] == [False, True, False, False, True]
    for wrong in (-1, 0.5):
        with pytest.raises(ek.BadArgument, match="turn"):
            turns.at(wrong)
    with pytest.raises(ek.BadArgument, match="an alternation needs methods"):
        ek.Alternation(name="t", methods=())
    assert turns.assumptions[0] == f"{few.name}, then {many.name}, then {few.name}"
    assert len(turns.assumptions) == 1 + len(few.assumptions) + len(many.assumptions)


def test_strokes_no_source_speaks_of_say_so():
    silent = str(ek.wire_edge(ek.StrokeSense.TO_AND_FRO))
    assert silent == "wire edge unknown, strokes to and fro: no source mentions these strokes"
    spoken = str(ek.wire_edge(ek.StrokeSense.AWAY))
    assert "Antonini" in spoken
    assert "no source mentions" not in spoken
