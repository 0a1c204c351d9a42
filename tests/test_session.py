"""One resharpening: when it cannot, what it costs, and what errors, phases and advances do."""

import dataclasses
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import edgekit as ek
from edgekit.evidence_table import value
from edgekit.grinding.session import SessionOutcome
from edgekit.life.life import LifeEnd
from edgekit.method.strokes import Advance, PlacementPhase
from tests.wear_blades import (
    BETA_DEG,
    LENGTH_MM,
    RADIUS_MM,
    UM,
    arc_edge,
    circle_blade,
    constant,
    ground_once,
    ideal,
    one_edged,
    steady,
    straight_blade,
)

EXACT_UM = 1e-6  # closed forms of a few millimetres
EXACT_DEG = 1e-9
CHORD_DEG = 0.004  # normals are read along chords between stations; round a toe (ds/R)²/8 cotβ
STATION_UM = 0.05  # support and goal are met at stations, κ ds²/8 apart at most
FLANK_MM = 0.74  # of a worked example of a tilted stone
FEW = settings(max_examples=10, deadline=None)


def flat_flank():
    """A straight edge whose flat lateral surface is 0.74 mm long to the back."""
    return ek.patterns.hoe(
        internal_angle_deg=BETA_DEG,
        thickness_mm=FLANK_MM * np.sin(np.radians(BETA_DEG)),
        width_mm=2.0,
    )


def biased(**terms):
    """A hand that errs by the same amount every time."""
    return ek.Hand(**{name: ek.ErrorTerm(bias=size) for name, size in terms.items()})


# ---- when it cannot -------------------------------------------------------------------------


def test_a_hollow_edge_cannot_be_ground_sharp_by_flat_stones():
    """Source: derived: a flat stone reaches only where the edge is convex towards it."""
    hollow = one_edged(arc_edge([5.0], [1 / 8.0]))
    done = ground_once(hollow, ideal(10, max_advance_um=100.0))
    assert done.status.startswith("not sharp")
    assert done.edges["used"].sharp_fraction < 0.5
    assert np.isfinite(done.edges["used"].recession_um).all()
    assert done.advance_um <= 100.0 + 10.0  # the placements' own planes, each at the limit


def test_a_setting_far_too_steep_never_reaches_the_edge():
    blade = ek.patterns.universal_curette()
    right = ground_once(blade, steady(ek.methods.held(15.0, placements=60)))
    wrong = ground_once(blade, steady(ek.methods.held(60.0, placements=60)))
    assert right.status == "sharp"
    assert wrong.status.startswith("not sharp")
    assert wrong.edges["left"].sharp_fraction == 0.0
    assert wrong.advance_um == pytest.approx(value("max_advance_um"))


def test_too_small_a_largest_advance_stops_short_and_says_so():
    """The advance that clears a straight edge is r(1 + cosβ), 5.035 µm: 5 is too little."""
    blade = straight_blade()
    short = ground_once(blade, ideal(1, max_advance_um=5.0))
    enough = ground_once(blade, ideal(1, max_advance_um=5.04))
    assert short.status.startswith("not sharp")
    assert short.advance_um == pytest.approx(5.0, abs=EXACT_UM)
    assert short.edges["used"].sharp_fraction == 0.0
    assert enough.status == "sharp"


@FEW
@given(
    target=st.floats(0.3, 1.0),
    count=st.integers(2, 15),
    advance=st.sampled_from(Advance),
    seed=st.integers(0, 1000),
)
def test_the_share_asked_for_is_sharp(target, count, advance, seed):
    hand = ek.Hand(
        tilt_deg=ek.ErrorTerm(sd=1.0), swing_deg=ek.ErrorTerm(sd=3.0), depth=ek.ErrorTerm(sd=0.2)
    )
    method = ideal(count, fraction=target, advance=advance, hand=hand)
    blade = circle_blade(bow=1 / 15)
    done = ground_once(blade, method, seed=seed, stations=81, depths=5)
    assert done.status == "sharp"
    assert done.edges["used"].sharp_fraction >= target - 1e-9
    if advance is Advance.UNIFORM:  # the least advance that does: a little less would not
        shallow = dataclasses.replace(method, max_advance_um=done.advance_um * 0.2)
        assert ground_once(blade, shallow, seed=seed, stations=81, depths=5).status != "sharp"


# ---- cost in closed form --------------------------------------------------------------------


@pytest.mark.parametrize("radius_um", [1.5, 4.0, 12.0])
@pytest.mark.parametrize("beta_deg", [60.0, 75.0, 82.0])
def test_a_straight_edge_loses_exactly_its_rounding(radius_um, beta_deg):
    """Source: closed form: r cot(β/2) along the face, r(1 + cosβ) normal to the flank."""
    blade = straight_blade(beta_deg=beta_deg, thickness_mm=0.6)
    done = ground_once(blade, ideal(3), radius_um=radius_um)
    beta = np.radians(beta_deg)
    lost = radius_um / np.tan(beta / 2)
    np.testing.assert_allclose(done.edges["used"].recession_um, lost, atol=EXACT_UM)
    assert done.advance_um == pytest.approx(radius_um * (1 + np.cos(beta)), abs=EXACT_UM)


@pytest.mark.parametrize("method", [ideal(3), ek.methods.freehand()], ids=["local", "rolling"])
def test_an_edge_no_blunter_than_a_ground_one_is_left_alone(method):
    fresh_um = value("sharp_radius_um")
    done = ground_once(straight_blade(), method, radius_um=fresh_um)
    assert done.steel_mg == done.passes == done.edges["used"].recession_um.max() == 0
    assert done.status == "sharp"
    blunt = ground_once(straight_blade(), method, radius_um=2 * fresh_um)
    assert blunt.steel_mg > 0


def test_steel_is_a_parallelogram_times_length_times_density():
    """Source: elementary geometry; density from the evidence table (memory, 7.75 mg/mm³)."""
    blade = flat_flank()
    done = ground_once(blade, ideal(1))
    gap = 4e-3 / np.tan(np.radians(BETA_DEG / 2))
    volume = gap * blade.thickness_mm * blade.edges["edge"].length_mm
    assert done.steel_mg == pytest.approx(7.75 * volume, rel=1e-9)
    assert value("steel_density_mg_per_mm3") == 7.75


def test_strokes_passes_and_seconds_follow_from_the_volume():
    method = ideal(3, removal_mm3_per_stroke=1e-4, seconds_per_stroke=0.7, setup_seconds=11.0)
    done = ground_once(flat_flank(), method)
    strokes = done.steel_mg / 7.75 / 1e-4
    assert strokes > 30
    assert done.passes == np.ceil(strokes / 3)
    assert done.seconds == pytest.approx(0.7 * strokes + 11.0 + value("bench_check_seconds"))


# ---- errors ---------------------------------------------------------------------------------


@pytest.mark.parametrize("tilt_deg", [-4.0, -1.0, 1.0, 4.0])
@pytest.mark.parametrize(
    ("blade", "close_deg"),
    [(straight_blade(), EXACT_DEG), (ek.patterns.universal_curette(), CHORD_DEG)],
    ids=["straight", "universal"],
)
def test_angle_error_is_ground_minus_nominal(tilt_deg, blade, close_deg):
    """Source: definition: angle error = ground - nominal; on a planar face it is the tilt."""
    done = ground_once(blade, ideal(9, hand=biased(tilt_deg=tilt_deg)))
    for edge in done.edges.values():
        np.testing.assert_allclose(edge.angle_deg, BETA_DEG + tilt_deg, atol=close_deg)


@pytest.mark.parametrize(("tilt_deg", "printed_um"), [(1, 13), (2, 26), (3, 39), (5, 64)])
def test_a_stone_tilted_closed_must_first_take_a_wedge_off_the_back(tilt_deg, printed_um):
    """Source: a teaching table for a 0.74 mm lateral surface; exact: L sin δ + g sin(β - δ)."""
    done = ground_once(flat_flank(), ideal(1, hand=biased(tilt_deg=-float(tilt_deg))))
    gap_um = 4.0 / np.tan(np.radians(BETA_DEG / 2))
    at_edge = gap_um * np.sin(np.radians(BETA_DEG - tilt_deg))
    wedge = FLANK_MM * UM * np.sin(np.radians(tilt_deg))
    assert done.advance_um == pytest.approx(wedge + at_edge, abs=EXACT_UM)
    assert done.advance_um - at_edge == pytest.approx(printed_um, abs=0.55)
    assert done.edges["edge"].mean_recession_um == pytest.approx(gap_um, abs=EXACT_UM)


def test_a_stone_tilted_open_takes_no_wedge():
    done = ground_once(flat_flank(), ideal(1, hand=biased(tilt_deg=3.0)))
    gap_um = 4.0 / np.tan(np.radians(BETA_DEG / 2))
    assert done.advance_um == pytest.approx(gap_um * np.sin(np.radians(78.0)), abs=EXACT_UM)


@pytest.mark.parametrize("swing_deg", [-4.0, 3.0])
def test_swing_moves_the_touch_towards_the_toe_and_changes_the_angle(swing_deg):
    """Source: on a circle sinβ ρ + tan σ t points along ρ turned by atan(tan σ / sinβ)."""
    method = ideal(1, hand=biased(swing_deg=swing_deg), fraction=0.05)
    edge = ground_once(circle_blade(), method, stations=2001).edges["used"]
    beta, swing = np.radians([BETA_DEG, swing_deg])
    shift = RADIUS_MM * np.arctan(np.tan(swing) / np.sin(beta))
    touched = edge.arc_mm[np.argmax(edge.recession_um)]
    assert touched == pytest.approx(LENGTH_MM / 2 + shift, abs=2 * LENGTH_MM / 2000)
    ground = edge.active >= 0
    opened = np.degrees(np.arccos(np.cos(beta) * np.cos(swing)))
    np.testing.assert_allclose(edge.angle_deg[ground], opened, atol=EXACT_DEG)


def test_a_shift_moves_the_facet_towards_the_toe_by_as_much():
    method = ideal(1, hand=biased(position_mm=0.8), fraction=0.05)
    edge = ground_once(circle_blade(), method, stations=2001).edges["used"]
    touched = edge.arc_mm[np.argmax(edge.recession_um)]
    assert touched == pytest.approx(LENGTH_MM / 2 + 0.8, abs=LENGTH_MM / 2000)


def test_overshoot_deepens_a_placement_that_stops_by_itself():
    """Stopping at each placement by 30 % too late takes 1.3 times the advance; equal everywhere."""
    plain = ground_once(straight_blade(), ideal(1, advance=Advance.PER_PLACEMENT))
    over = ground_once(
        straight_blade(), ideal(1, advance=Advance.PER_PLACEMENT, hand=biased(depth=0.3))
    )
    assert over.advance_um == pytest.approx(1.3 * plain.advance_um, rel=1e-12)
    ratio = over.edges["used"].mean_recession_um / plain.edges["used"].mean_recession_um
    assert ratio == pytest.approx(1.3, rel=1e-9)


def test_random_swing_costs_a_finely_placed_edge_a_few_micrometres():
    """Source: an independent rough simulation, unchecked: 7.8 µm at 60 placements, sd 3°."""
    method = ideal(60, hand=ek.Hand(swing_deg=ek.ErrorTerm(sd=3.0)))
    lost = [
        ground_once(circle_blade(), method, seed=i, stations=241, depths=3)
        .edges["used"]
        .mean_recession_um
        for i in range(30)
    ]
    assert np.mean(lost) == pytest.approx(7.8, abs=1.5)  # its stopping rule is not stated


# ---- face honing ----------------------------------------------------------------------------


@pytest.mark.parametrize("beta_deg", [60.0, 75.0, 80.0])
def test_honing_the_face_costs_cosine_beta_of_the_width(beta_deg):
    """Source: derived: depth r(1 + cosβ); width falls by cosβ times that of both sides."""
    blade = ek.patterns.universal_curette(internal_angle_deg=beta_deg, thickness_mm=0.6)
    honed = ground_once(blade, steady(ek.methods.face_honing(), fraction=1.0))
    least = 4.0 / np.tan(np.radians(beta_deg / 2))
    cosine = np.cos(np.radians(beta_deg))
    assert honed.advance_um == pytest.approx(4.0 * (1 + cosine), abs=EXACT_UM)
    for edge in honed.edges.values():
        np.testing.assert_allclose(edge.recession_um, least * cosine, atol=EXACT_UM)
        np.testing.assert_allclose(edge.angle_deg, beta_deg, atol=EXACT_DEG)
    sides = ground_once(straight_blade(beta_deg=beta_deg, thickness_mm=0.6), ideal(1))
    ratio = honed.edges["left"].mean_recession_um / sides.edges["used"].mean_recession_um
    assert ratio == pytest.approx(cosine, rel=1e-9)


def test_a_leaning_face_stone_opens_one_edge_and_closes_the_other():
    blade = ek.patterns.universal_curette()
    method = dataclasses.replace(
        steady(ek.methods.face_honing(), fraction=1.0), hand=biased(tilt_deg=1.5)
    )
    done = ground_once(blade, method)
    side = slice(0, 200)
    left = done.edges["left"].angle_deg[side] - BETA_DEG
    right = done.edges["right"].angle_deg[side] - BETA_DEG
    assert np.abs(left).max() <= 1.5 + EXACT_DEG
    np.testing.assert_allclose(left, -right, atol=EXACT_DEG)
    assert np.abs(left).min() > 1.4
    # A face that falls inward comes nearer to the flank, and lies higher at that edge.
    lost = [edge.recession_um[side].mean() for edge in done.edges.values()]
    assert (lost[0] > lost[1]) == (left.mean() > 0)
    assert done.advance_um > 10  # the slope over the blade's width comes off first


# ---- phases and advances ------------------------------------------------------------------------


def losses_a_session(phase, sessions=6, count=6):
    blade = circle_blade()
    life = ek.live(
        blade,
        ideal(count, phase=phase),
        use=constant(blade),
        rng=np.random.default_rng(1),
        max_sessions=sessions,
        stations=241,
        depths=3,
        retire=ek.MaxWidthLoss(fraction=1.0),
    )
    return np.diff(life.history["mean_width_um"], prepend=0.0)


def test_the_same_marks_pay_for_their_facets_once():
    """Source: derived; after the first session only r cot(β/2) is left to pay."""
    losses = losses_a_session(PlacementPhase.SAME)
    radius = float(ek.PowerDulling().after(0.0, value("strokes_per_use")))
    least = radius / np.tan(np.radians(BETA_DEG / 2))
    facet = (LENGTH_MM / 6) ** 2 / RADIUS_MM / 12 * UM
    assert losses[0] == pytest.approx(least + facet, abs=0.05)
    np.testing.assert_allclose(losses[1:], least, atol=0.01)  # a polygon's offset keeps its corners


@pytest.mark.parametrize(
    "phase", [PlacementPhase.SHIFTED, PlacementPhase.RANDOM], ids=lambda m: m.name
)
def test_other_marks_pay_for_facets_again(phase):
    """On average: random marks may fall by chance where the last ones were."""
    same, other = (losses_a_session(m, sessions=12) for m in (PlacementPhase.SAME, phase))
    assert other[1:].mean() > 2 * same[1:].mean()


def test_marks_shift_by_half_a_spacing_and_back():
    """Source: the phases themselves: middles of the stretches, or quarter and three quarters."""
    draw = np.array([0.1, 0.9])
    for session in range(4):
        assert (PlacementPhase.SAME.phase(session, draw) == 0.5).all()
        shifted = PlacementPhase.SHIFTED.phase(session, draw)
        assert (shifted == (0.75 if session % 2 else 0.25)).all()
        assert (PlacementPhase.RANDOM.phase(session, draw) == draw).all()


@pytest.mark.parametrize("count", [2, 5, 12])
@pytest.mark.parametrize(
    "blade",
    [circle_blade(), ek.patterns.area_specific_curette(), ek.patterns.universal_curette()],
    ids=lambda b: b.name,
)
def test_looking_after_every_stroke_never_costs_more_than_counting(count, blade):
    each = ground_once(blade, ideal(count, advance=Advance.PER_PLACEMENT), stations=200)
    all_ = ground_once(blade, ideal(count, advance=Advance.UNIFORM), stations=200)
    assert each.steel_mg <= all_.steel_mg * (1 + 1e-12)
    for name, edge in each.edges.items():
        assert (edge.recession_um <= all_.edges[name].recession_um + EXACT_UM).all()
    assert each.status == all_.status


def test_steel_is_never_given_back_however_deep_a_stone_goes():
    """Two even placements leave a toe so far off that reaching it grinds past the toe's centre."""
    blade = ek.patterns.area_specific_curette()
    done = ground_once(blade, ideal(2), stations=200)
    blade_mg = blade.section.area_mm2 * blade.length_mm * 7.75
    assert done.advance_um > 1000
    assert (
        0.3 * blade_mg < done.steel_mg < 3 * blade_mg
    )  # sections overlap round a toe: a rough bound
    assert done.passes > 0


# ---- both edges and the toe -----------------------------------------------------------------


@pytest.mark.parametrize("pattern", ["universal_curette", "straight_sickle", "curved_sickle"])
@pytest.mark.parametrize("kind", ["sides", "face"])
def test_edges_of_a_mirrored_pair_fare_alike(pattern, kind):
    blade = getattr(ek.patterns, pattern)()
    method = ideal(8) if kind == "sides" else steady(ek.methods.face_honing())
    edges = ground_once(blade, method, stations=150).edges
    for field in ("recession_um", "angle_deg"):
        left, right = getattr(edges["left"], field), getattr(edges["right"], field)
        np.testing.assert_allclose(left, right, atol=1e-7)


def test_a_mirrored_blade_swaps_its_edges_and_nothing_else():
    blade = ek.patterns.universal_curette(face_tilt_deg=8.0, bow_radius_mm=20.0)
    method = steady(ek.methods.held(9.0, placements=20))
    done, mirror = ground_once(blade, method), ground_once(blade.mirrored(), method)
    np.testing.assert_allclose(
        done.edges["left"].recession_um, mirror.edges["right"].recession_um, atol=1e-7
    )
    assert done.steel_mg == pytest.approx(mirror.steel_mg, rel=1e-9)
    assert np.abs(done.edges["left"].angle_deg - done.edges["right"].angle_deg).max() > 0.5


@pytest.mark.parametrize("spacing", ek.Spacing, ids=lambda s: s.name)
def test_the_toe_is_ground_with_the_rest(spacing):
    """Common practice, no source: the toe never left out unnoticed."""
    blade = ek.patterns.universal_curette()
    done = ground_once(blade, ideal(12, spacing=spacing))
    for edge in done.edges.values():
        toe = edge.arc_mm > edge.arc_mm[-1] - 0.3
        assert edge.sharp[toe].all()
        assert (edge.active[toe] >= 0).all()
        assert edge.recession_um[toe].min() > 4.0 / np.tan(np.radians(BETA_DEG / 2)) - STATION_UM


def test_a_toe_left_out_of_reach_is_counted_as_dull():
    blade = ek.patterns.universal_curette()
    done = ground_once(blade, ideal(2, fraction=0.8, spacing=ek.Spacing.EVEN))
    edge = done.edges["left"]
    assert 0.8 <= edge.sharp_fraction < 0.95
    assert not edge.sharp[-1]


def test_facets_tile_the_edge():
    edge = ground_once(circle_blade(), ideal(5), stations=2001).edges["used"]
    table = edge.facets
    assert table["seating"].tolist() == [0, 1, 2, 3, 4]
    assert table["from_mm"].iloc[0] == 0
    assert table["to_mm"].iloc[-1] == pytest.approx(LENGTH_MM)
    np.testing.assert_allclose(table["from_mm"][1:], table["to_mm"][:-1])
    np.testing.assert_allclose(table["width_um"], LENGTH_MM / 5 * UM, atol=LENGTH_MM / 2000 * UM)
    height = RADIUS_MM * (1 / np.cos(LENGTH_MM / RADIUS_MM / 10) - 1) * UM
    np.testing.assert_allclose(table["ridge_um"], height, rtol=0.02)


def test_a_session_shows_itself_in_a_notebook():
    shown = ground_once(circle_blade(), ideal(4, name="<4>"))._repr_html_()
    assert "&lt;4&gt;" in shown
    assert "sharp" in shown


def test_an_edge_sharp_at_a_wrong_angle_is_not_called_simply_sharp() -> None:
    """-60° on a universal curette, whose setting is 15°, grinds 75° too open (vector algebra)."""
    blade = ek.patterns.universal_curette()
    wrong = ek.sharpen(
        blade, ek.methods.held(-60.0), dull_radius_um=4.0, rng=np.random.default_rng(1)
    )
    assert "internal angle is off" in wrong.status
    right = ek.sharpen(
        blade, ek.methods.held(15.0), dull_radius_um=4.0, rng=np.random.default_rng(1)
    )
    assert right.status == "sharp"


def test_results_are_read_only_and_say_how_they_ended():
    blade = ek.patterns.area_specific_curette()
    done = ek.sharpen(
        blade, ek.methods.freehand(), dull_radius_um=4.0, rng=np.random.default_rng(1)
    )
    assert done.status is SessionOutcome.SHARP
    edge = done.edges["used"]
    for name in ("recession_um", "angle_deg", "sharp", "inset_mm", "drop_mm"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(edge, name)[0] = 0
    with pytest.raises(TypeError, match="assignment"):
        done.edges["used"] = edge
    off = np.abs(edge.angle_deg - blade.internal_angle_deg).max()
    assert done.angle_off_deg == pytest.approx(off, abs=1e-9)
    life = ek.live(blade, ek.methods.freehand(), rng=np.random.default_rng(1), max_sessions=2)
    assert (life.end, life.ended_by) == (LifeEnd.STILL_IN_USE, None)
    with pytest.raises(ValueError, match="read-only"):
        life.wears[0][0].drop_mm[0] = 1.0


@pytest.mark.parametrize(
    "method", [ek.methods.freehand(), ek.methods.face_honing(), ek.methods.held(15.0)]
)
def test_the_steel_is_printed_as_strokes_and_as_width(method):
    """strokes x steel of a stroke = steel = width x steel of a micrometre, in one line."""
    done = ek.sharpen(ek.patterns.universal_curette(), method, dull_radius_um=4.65, rng=4)
    numbers = [float(item) for item in re.findall(r"\d+\.?\d*", done.balance)]
    strokes, per_stroke, steel, width, per_um = numbers
    assert strokes * per_stroke == pytest.approx(steel, rel=0.1)  # two digits each
    assert width * per_um == pytest.approx(steel, rel=0.1)
    assert steel == pytest.approx(done.steel_mg, abs=0.006)
    assert done.balance in repr(done)
    assert done.balance in done._repr_html_()
