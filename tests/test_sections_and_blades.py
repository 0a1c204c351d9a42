"""Cross-sections against closed forms and polygons; the six patterns; widths and transforms."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

import edgekit as ek
from edgekit.evidence_table import entry
from edgekit.geometry.blade import BladeClass
from edgekit.geometry.section import Bevel, RoundBack, Triangular
from tests import strategies as make

ROUNDING = 1e-9  # of lengths of a millimetre
POLYGON_MM2 = 2e-6  # a back drawn with 4000 sides a quarter turn
SAGITTA_MM = 1e-4  # `width_between` meets the far edge as a polyline of 800 chords
FEW = settings(max_examples=25, deadline=None)

PATTERNS = {
    "universal": ek.patterns.universal_curette,
    "area-specific": ek.patterns.area_specific_curette,
    "half-length": ek.patterns.half_length_curette,
    "straight sickle": ek.patterns.straight_sickle,
    "curved sickle": ek.patterns.curved_sickle,
    "hoe": ek.patterns.hoe,
}
each_pattern = pytest.mark.parametrize("pattern", PATTERNS.values(), ids=PATTERNS.keys())


def outline(section, points=4001):
    """Half the section and its mirror image as a polygon, from its insets."""
    v = np.linspace(0, section.thickness_mm, points)
    inset = section.inset_mm(v)
    near = np.stack([inset, v], axis=1)
    far = np.stack([section.width_mm - inset, v], axis=1)[::-1]
    return shapely.Polygon(np.concatenate([near, far]))


# ---- sections --------------------------------------------------------------------------------


@pytest.mark.parametrize("beta_deg", [65.0, 75.0])
@pytest.mark.parametrize("share", [0.02, 0.4, 0.9])
def test_a_round_back_is_the_hull_of_its_edges_and_its_circle(beta_deg, share):
    """Independent: shapely's convex hull of the two edges and the circle, cut off at the face."""
    half, beta = 0.43, np.radians(beta_deg)
    low, high = half * np.tan(beta / 2), half * np.tan(beta)
    section = RoundBack(
        width_mm=2 * half, thickness_mm=low + share * (high - low), internal_angle_deg=beta_deg
    )
    rho = section.back_radius_mm
    circle = shapely.Point(half, section.thickness_mm - rho).buffer(rho, quad_segs=4000)
    hull = shapely.union_all([circle, shapely.MultiPoint([(0, 0), (2 * half, 0)])]).convex_hull
    steel = hull.intersection(shapely.box(-1, 0, 2, 2))
    assert abs(section.area_mm2 - steel.area) < POLYGON_MM2
    assert abs(outline(section).area - steel.area) < 1e-4  # chords at the very bottom of the back
    assert outline(section, 20001).symmetric_difference(steel).area < 1e-4
    # flank tangent to the circle: the distance of its centre to the flank's line is the radius
    centre = np.array([half, rho - section.thickness_mm])
    flank = np.array([np.cos(beta), -np.sin(beta)])
    assert abs(abs(centre[0] * flank[1] - centre[1] * flank[0]) - rho) < ROUNDING
    assert abs(centre @ flank - section.flank_mm) < ROUNDING


def test_an_all_round_section_is_a_circular_segment():
    """ρ²(θ - sinθ cosθ), θ = β the half-angle: circular segment (Machinery's Handbook, memory)."""
    half, beta = 0.43, np.radians(75)
    section = RoundBack(
        width_mm=0.86, thickness_mm=half * math.tan(beta / 2), internal_angle_deg=75
    )
    rho = half / np.sin(beta)
    assert abs(section.back_radius_mm - rho) < ROUNDING
    assert abs(section.flank_mm) < ROUNDING
    assert abs(section.area_mm2 - rho**2 * (beta - np.sin(beta) * np.cos(beta))) < ROUNDING


def test_a_semicircle_is_the_limit_of_a_right_angle():
    """π R²/2 and R: a round back with β near 90° and thickness half the width (textbook)."""
    section = RoundBack(width_mm=1.0, thickness_mm=0.5, internal_angle_deg=89.9999)
    assert abs(section.area_mm2 - np.pi / 8) < 1e-5
    assert abs(section.back_radius_mm - 0.5) < 1e-5


def test_a_triangle_and_a_bevel_have_their_textbook_areas():
    """w²/4 tanβ for an isosceles triangle; w T - T² cotβ/2 for a trapezium; polygons by shapely."""
    triangle = Triangular(width_mm=0.8, internal_angle_deg=75)
    height = 0.4 * np.tan(np.radians(75))
    assert abs(triangle.thickness_mm - height) < ROUNDING
    assert (
        abs(triangle.area_mm2 - shapely.Polygon([(0, 0), (0.8, 0), (0.4, height)]).area) < ROUNDING
    )
    assert abs(outline(triangle).area - triangle.area_mm2) < ROUNDING
    assert abs(triangle.flank_mm - np.hypot(0.4, height)) < ROUNDING

    bevel = Bevel(width_mm=2.0, thickness_mm=0.6, internal_angle_deg=45)
    steel = shapely.Polygon([(0, 0), (2, 0), (2, 0.6), (0.6, 0.6)])
    assert abs(bevel.area_mm2 - steel.area) < ROUNDING
    assert abs(bevel.flank_mm - np.hypot(0.6, 0.6)) < ROUNDING


@FEW
@given(
    width=make.reals(0.3, 2.0),
    beta=make.reals(50, 85),
    share=make.reals(0.01, 0.95),
    kind=st.sampled_from(["round", "triangle", "bevel"]),
)
def test_area_is_the_integral_of_what_the_insets_leave(width, beta, share, kind):
    """scipy.integrate.quad over depth; the insets start as v cotβ and never turn back."""
    tan, tan_half = np.tan(np.radians(beta)), np.tan(np.radians(beta / 2))
    if kind == "round":
        low, high = width / 2 * tan_half, width / 2 * tan
        section = RoundBack(
            width_mm=width, thickness_mm=low + share * (high - low), internal_angle_deg=beta
        )
    elif kind == "triangle":
        section = Triangular(width_mm=width, internal_angle_deg=beta)
    else:
        section = Bevel(width_mm=width, thickness_mm=share * width * tan, internal_angle_deg=beta)
    sides = 1 if kind == "bevel" else 2

    def left(v):
        return width - sides * float(section.inset_mm(np.asarray(v)))

    knee = section.flank_mm * np.sin(np.radians(beta))
    area, _ = quad(left, 0, section.thickness_mm, points=[min(knee, section.thickness_mm)])
    assert abs(area - section.area_mm2) < 1e-6
    v = np.linspace(0, section.thickness_mm, 200)
    inset = section.inset_mm(v)
    assert (np.diff(inset) >= -1e-12).all()
    near = v <= knee
    np.testing.assert_allclose(inset[near], v[near] / tan, atol=ROUNDING)
    assert float(section.inset_mm(np.asarray(v[50]))) == inset[50]


def test_removing_width_keeps_a_sickle_similar():
    """A triangular section scales with the local width; the others keep their thickness."""
    widths = np.array([0.8, 0.4, 0.0])
    tan = np.tan(np.radians(75))
    np.testing.assert_allclose(
        Triangular(width_mm=0.8, internal_angle_deg=75).depth_mm(widths), widths / 2 * tan
    )
    for section in (
        RoundBack(width_mm=0.86, thickness_mm=0.71, internal_angle_deg=75),
        Bevel(width_mm=2.0, thickness_mm=0.6, internal_angle_deg=45),
    ):
        np.testing.assert_array_equal(section.depth_mm(widths), section.thickness_mm)


# ---- patterns --------------------------------------------------------------------------------


@each_pattern
def test_patterns_sit_in_the_blade_frame(pattern):
    """By definition: x heel to toe, z the face normal at mid-length, t ⟂ f, unit frames."""
    blade = pattern()
    for edge in blade.edges.values():
        frame = edge.frame(edge.stations(101))
        for jet in (frame.tangent, frame.face, frame.inward, frame.outward):
            np.testing.assert_allclose(np.linalg.norm(jet.value, axis=1), 1, atol=ROUNDING)
        np.testing.assert_allclose(
            np.sum(frame.tangent.value * frame.face.value, axis=1), 0, atol=1e-9
        )
        assert frame.position[-1, 0] > frame.position[0, 0]
        assert (frame.face.value[:, 2] > 0.9).all()
        assert frame.position[0, 0] < 0
    assert blade.section.internal_angle_deg == blade.internal_angle_deg
    assert 0 < blade.width_mm < 3
    assert blade.name
    assert blade.kind.value in blade._repr_html_()


def test_curettes_have_their_published_dimensions():
    """Nimmanon et al. 2022: 0.86 x 0.71 mm, 5.65 mm; β 70-80°, Dimensions of Dental Hygiene."""
    for blade in (ek.patterns.universal_curette(), ek.patterns.area_specific_curette()):
        # mid-edge is not mid-length where the toe belongs to the edge: 0.2 µm on bulging sides
        assert abs(blade.width_mm - 0.86) < 1e-3
        assert blade.thickness_mm == 0.71
        assert 70 <= blade.internal_angle_deg <= 80
    assert abs(ek.patterns.universal_curette().length_mm - 5.65) < ROUNDING
    bowless = ek.patterns.area_specific_curette(bow_radius_mm=math.inf)
    (edge,) = bowless.edges.values()
    tip = edge.frame(np.array(edge.length_mm)).position
    middle = 6.7 - 0.43
    along = np.arctan2(tip[0], tip[1] + middle) * middle + 5.65 / 2
    assert abs(along - 5.65) < 0.05  # the toe ends where the mid-line has run its length
    for name in ("width_mm", "thickness_mm", "length_mm"):
        assert entry(name).status.value == "published"


def test_a_half_length_curette_is_half_as_long():
    """Teaching texts: half the length."""
    half, full = ek.patterns.half_length_curette(), ek.patterns.area_specific_curette()
    assert (
        abs(half.edges["used"].length_mm - full.edges["used"].length_mm + 5.65 / 2 * 6.7 / 6.27)
        < 0.01
    )
    assert abs(half.width_mm - full.width_mm) < SAGITTA_MM


def test_faces_stand_to_the_terminal_shank_as_published():
    """90° universal and sickles, 70° Gr-type (Univ. of Adelaide; Palomo 2017), hoe about 100°."""
    for name, expected in (
        ("universal", 90),
        ("straight sickle", 90),
        ("curved sickle", 90),
        ("area-specific", 70),
        ("half-length", 70),
        ("hoe", 80),
    ):
        for edge in PATTERNS[name]().edges.values():
            face = edge.frame(np.array(edge.length_mm * 0.45)).face.value
            to_face = 90 - np.degrees(np.arccos(-face @ edge.handle_axis))
            slack = 3.0 if "curved" in name or "area" in name or "half" in name else 1e-6  # bowed
            assert abs(to_face - expected) < slack
    # the obtuse side of 80° is the published 100°


def test_the_used_edge_is_the_lower_farther_one():
    """The handle is turned so that the outer edge lies farther out: common practice, no source."""
    blade = ek.patterns.area_specific_curette(bow_radius_mm=math.inf)
    used, axis = blade.edges["used"], blade.edges["used"].handle_axis
    here, there = (e.frame(np.array(e.length_mm / 2)).position @ axis for e in (used, blade.unused))
    assert here > there
    assert used.length_mm > blade.unused.length_mm
    assert (used.frame(used.stations(50)).plan_curvature > 0).all()


def test_a_universal_toe_is_tangent_to_both_sides_and_ends_on_the_mid_line():
    for radius in (60.0, 20.0, math.inf):
        blade = ek.patterns.universal_curette(plan_radius_mm=radius)
        left, right = (blade.edges[k] for k in ("left", "right"))
        tips = [e.frame(np.array(e.length_mm)) for e in (left, right)]
        for tip in tips:
            np.testing.assert_allclose(tip.position, [5.65 / 2, 0, 0], atol=ROUNDING)
            np.testing.assert_allclose(np.abs(tip.tangent.value), [0, 1, 0], atol=ROUNDING)
        heel = left.frame(np.array(0.0)).position
        assert abs(heel[0] + 5.65 / 2) < ROUNDING
        turn = np.diff(left.frame(left.stations(4001)).tangent.value, axis=0)
        assert np.linalg.norm(turn, axis=1).max() < 0.01  # no corner


def test_a_sickle_comes_to_a_point():
    for pattern in (ek.patterns.straight_sickle, ek.patterns.curved_sickle):
        blade = pattern()
        tips = [e.frame(np.array(e.length_mm)).position for e in blade.edges.values()]
        np.testing.assert_allclose(tips[0], tips[1], atol=ROUNDING)
        assert abs(tips[0][1]) < ROUNDING


def test_a_hoe_is_ground_at_its_bevel():
    """45° bevel and a blade at about 100° to the shank (teaching texts): α = 90° - 45° + 10°."""
    blade = ek.patterns.hoe()
    assert blade.internal_angle_deg == 45
    assert abs(ek.best_setting(blade.edges["edge"]).elevation_deg - 55) < 1e-6
    assert blade.width_at("edge", np.array([0.1, 1.0])).tolist() == [2.0, 2.0]


@each_pattern
def test_patterns_take_overrides(pattern):
    blade = pattern(width_mm=0.9, internal_angle_deg=72, shank_bend_deg=5, name="FH-03")
    assert blade.section.width_mm == 0.9
    assert blade.name == "FH-03"
    for edge in blade.edges.values():
        np.testing.assert_allclose(ek.orient(edge, stations=9).stone_to_face_deg, 108, atol=1e-9)
    assert blade.pattern["width_mm"] == 0.9


# ---- widths ----------------------------------------------------------------------------------


def test_concentric_edges_are_as_far_apart_as_their_radii():
    blade = ek.patterns.area_specific_curette(bow_radius_mm=math.inf)
    arc = np.linspace(0.3, 4.5, 20)
    np.testing.assert_allclose(blade.width_at("used", arc), 0.86, atol=SAGITTA_MM)
    width, there = ek.width_between(blade.edges["used"], blade.unused, arc)
    np.testing.assert_allclose(there, arc * (6.7 - 0.86) / 6.7, atol=SAGITTA_MM)
    np.testing.assert_allclose(width, 0.86, atol=SAGITTA_MM)


def test_the_width_of_a_wedge_follows_from_its_angle():
    """Square to one side, at distance ρ from the tip: ρ tan 2δ, δ half the tip angle."""
    blade = ek.patterns.straight_sickle()
    edge = blade.edges["left"]
    tip = 2 * np.arctan2(0.4, 6.0)
    arc = edge.length_mm - np.array([5.0, 3.0, 1.0])
    expected = np.array([5.0, 3.0, 1.0]) * np.tan(tip)
    np.testing.assert_allclose(blade.width_at("left", arc), expected, atol=SAGITTA_MM)


def test_width_runs_along_the_inward_direction_to_the_other_edge():
    """C + w b lies on the far edge: shapely distance of that point to the far edge's line."""
    blade = ek.patterns.universal_curette(plan_radius_mm=20.0)
    left, right = blade.edges["left"], blade.edges["right"]
    arc = np.linspace(0.2, 4.5, 15)
    frame = left.frame(arc)
    end = frame.position + blade.width_at("left", arc)[:, None] * frame.inward.value
    line = shapely.LineString(right.frame(right.stations(4001)).position[:, :2])
    distance = shapely.distance(shapely.points(end[:, :2]), line)
    assert distance.max() < SAGITTA_MM


# ---- transforms ------------------------------------------------------------------------------


@FEW
@given(motion=make.motions(), pattern=st.sampled_from(list(PATTERNS.values())))
def test_a_moved_blade_keeps_widths_and_angles(motion, pattern):
    blade = pattern()
    moved = blade.moved(*motion)
    assert list(moved.edges) == sorted(blade.edges)
    assert abs(moved.width_mm - blade.width_mm) < 1e-7
    assert abs(moved.length_mm - blade.length_mm) < 1e-7
    for name, edge in blade.edges.items():
        old, new = edge.frame(edge.stations(7)), moved.edges[name].frame(edge.stations(7))
        turn, offset = motion
        np.testing.assert_allclose(new.position, old.position @ turn.T + offset, atol=1e-9)
        np.testing.assert_allclose(
            ek.orient(moved.edges[name], stations=7).elevation_deg,
            ek.orient(edge, stations=7).elevation_deg,
            atol=1e-6,
        )


def test_mirroring_swaps_left_and_right_on_a_symmetric_blade():
    blade = ek.patterns.universal_curette(bow_radius_mm=15.0)
    twin = blade.mirrored()
    for name in ("left", "right"):
        old, new = (b.edges[name].frame(b.edges[name].stations(9)) for b in (blade, twin))
        np.testing.assert_allclose(new.position, old.position, atol=ROUNDING)
        np.testing.assert_allclose(new.outward.value, old.outward.value, atol=ROUNDING)
        assert twin.edges[name].side == blade.edges[name].side
    again = twin.mirrored()
    for name, edge in blade.edges.items():
        np.testing.assert_allclose(
            again.edges[name].frame(np.array(2.0)).position, edge.frame(np.array(2.0)).position
        )


def test_the_other_end_of_a_pair_is_held_the_same_and_rolled_the_other_way():
    blade = ek.patterns.area_specific_curette()
    old, new = (ek.orient(b.edges["used"], stations=30) for b in (blade, blade.mirrored()))
    np.testing.assert_allclose(new.elevation_deg, old.elevation_deg, atol=1e-9)
    np.testing.assert_allclose(new.roll_deg, -old.roll_deg, atol=1e-9)


def test_crossing_edges_are_refused():
    blade = ek.patterns.universal_curette()
    left, right = blade.edges["left"], blade.edges["right"]
    crossing = right.moved(np.eye(3), (0, 0.9, 0))
    with pytest.raises(ek.EdgekitError, match="cross or touch"):
        dataclasses.replace(blade, edges={"left": left, "right": crossing})
    slanted = 0.3
    turn = [
        [np.cos(slanted), -np.sin(slanted), 0],
        [np.sin(slanted), np.cos(slanted), 0],
        [0, 0, 1],
    ]
    with pytest.raises(ek.EdgekitError, match="cross or touch"):
        dataclasses.replace(blade, edges={"left": left, "right": right.moved(turn)})


def test_blades_are_frozen():
    blade = ek.patterns.universal_curette()
    with pytest.raises(dataclasses.FrozenInstanceError):
        blade.name = "other"
    with pytest.raises(TypeError):
        blade.edges["left"] = None
    held = ek.orient(blade.edges["left"], stations=5)
    with pytest.raises(dataclasses.FrozenInstanceError):
        held.arc_mm = None
    assert blade.kind is BladeClass.UNIVERSAL
