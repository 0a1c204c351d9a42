"""Facets and ridges against closed forms, a polygon clipper and second-order theory."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings

import edgekit as ek
from edgekit.contact.facets import placed_by_curvature
from tests import strategies as make
from tests.wear_blades import arc_edge as arcs

EXACT_UM = 1e-6  # closed forms: rounding of a few millimetres
CLIPPER_UM = 1e-4  # shapely's overlays snap nothing, but intersect lines some 1e-12 mm off
RIDGE_UM = 0.02  # a ridge between stations: it is measured on the edge, so second order
FEW = settings(max_examples=25, deadline=None)

RADIUS, LENGTH = 6.7, 5.65  # default plan radius (assumed) and length (published)


def circle(radius=RADIUS, length=LENGTH, *, bow=0.0, beta_deg=75.0):
    """A circle in the face, symmetric about x = 0; a bow rolls the face about y."""
    half = length / 2 / radius
    start = (-radius * np.sin(half), radius * (np.cos(half) - 1))
    return arcs([length], [-1 / radius], start=start, heading=half, bow=bow, beta_deg=beta_deg)


def u_shape(side=4.0, toe=0.43):
    """Two straight sides and half a circle: 9.35 mm, the toe half the published width."""
    return arcs([side, np.pi * toe, side], [0, -1 / toe, 0], start=(-side, toe))


# ---- the exact polygon ----------------------------------------------------------------------


@pytest.mark.parametrize("beta_deg", [60.0, 75.0])
@pytest.mark.parametrize("count", [1, 4, 10, 21])
def test_planes_on_a_circle_are_a_polygon_about_it(count, beta_deg):
    """Elementary geometry: ridges R(sec(Δθ/2) - 1), facets Δs wide, u(φ) = R - (R - D) sec φ."""
    edge, depth_um = circle(beta_deg=beta_deg), 12.0
    ground = ek.facets(edge, count, depth_um=depth_um)
    turn = LENGTH / RADIUS / count
    ridge = RADIUS * (1 / np.cos(turn / 2) - 1) * 1000
    table = ground.table
    # the plane lies deeper by `depth`, so the ridge scales with R - depth
    lower = ridge * (1 - depth_um / 1000 / RADIUS)
    assert abs(ground.ridge_um - lower) < RIDGE_UM
    above = table[["ridge_um", "overhang_um"]].max(axis=1)
    np.testing.assert_allclose(above, lower, atol=RIDGE_UM)
    np.testing.assert_allclose(table["width_um"], LENGTH / count * 1000, atol=RIDGE_UM)
    assert abs(ek.facets(edge, count).ridge_um - ridge) < RIDGE_UM

    off = np.abs(ground.arc_mm[:, None] - ground.placements_mm).min(axis=1) / RADIUS
    expected = RADIUS - (RADIUS - depth_um / 1000) / np.cos(off)
    np.testing.assert_allclose(ground.recession_um, np.maximum(expected, 0) * 1000, atol=EXACT_UM)
    np.testing.assert_array_equal(ground.active >= 0, expected > 0)
    np.testing.assert_allclose(ground.angle_deg, beta_deg, atol=1e-9)  # planar: β all along


@pytest.mark.parametrize(("count", "mean_um"), [(4, 30.0), (10, 9.18), (20, 6.20), (60, 5.32)])
def test_facets_cost_the_mean_recession_of_the_polygon(count, mean_um):
    """Theory T10 (exact polygon): 4 µm dull, ground until every point is sharp.

    The least recession, at the ridges, must be r cot(β/2) = 5.21 µm.
    """
    least = 4.0 / np.tan(np.radians(75 / 2))
    assert abs(least - 5.21) < 0.005
    turn = LENGTH / RADIUS / count
    radius_um = RADIUS * 1000
    depth = radius_um - (radius_um - least) * np.cos(turn / 2)
    ground = ek.facets(circle(), count, depth_um=depth, stations=4001)
    assert abs(ground.recession_um.min() - least) < 0.01
    assert abs(np.trapezoid(ground.recession_um, ground.arc_mm) / LENGTH - mean_um) < 0.06


def test_placements_at_given_positions_reach_the_depth_there():
    edge = make.NAMED["torsion and twist"].edge()
    places = edge.length_mm * np.array([0.7, 0.1, 0.45])
    ground = ek.facets(edge, places, depth_um=7.0, stations=1001)
    np.testing.assert_array_equal(ground.placements_mm, np.sort(places))
    for k, place in enumerate(np.sort(places)):
        near = int(np.argmin(np.abs(ground.arc_mm - place)))
        assert abs(ground.recession_um[near] - 7.0) < 0.01
        assert ground.active[near] == k
    again = ek.facets(edge, edge.length_mm * (np.arange(5) + 0.5) / 5, depth_um=7.0)
    by_count = ek.facets(edge, 5, depth_um=7.0)
    np.testing.assert_allclose(again.recession_um, by_count.recession_um, atol=EXACT_UM)


def test_at_no_depth_nothing_is_ground():
    ground = ek.facets(circle(), 4)
    assert (ground.active < 0).all()
    assert ground.recession_um.max() == 0
    assert abs(ground.untouched_mm - LENGTH) < 1e-9


# ---- second order ---------------------------------------------------------------------------


@pytest.mark.parametrize("bow_mm", [12.0, -12.0, np.inf])
def test_ridges_on_a_bowed_edge_follow_the_second_order_formula(bow_mm):
    """(κ_g + κ_n cotβ) Δs²/8 along the face (theory T9), error falling as Δs²."""
    edge = circle(bow=1 / bow_mm)
    kappa = 1 / RADIUS + 1 / bow_mm / np.tan(np.radians(75))
    errors = []
    for step in (0.8, 0.4, 0.2):
        pair = LENGTH / 2 + step * np.array([-0.5, 0.5])
        ground = ek.facets(edge, pair, stations=4001)
        errors.append(ground.ridges.height_above_facet_um[0] / (kappa * step**2 / 8 * 1000) - 1)
    errors = np.abs(errors)
    assert errors[-1] < 1e-3
    assert (np.log2(errors[:-1] / errors[1:]) > 1.8).all()


def test_a_bow_raises_ridges_by_its_share():
    """Theory T9: κ_n cotβ/κ_g more, which is 11, 15 and 18 % at bows of 16.3, 12 and 10 mm."""
    step, ridges = 0.2, []
    for bow_mm in (np.inf, 16.3, 12.0, 10.0):
        pair = LENGTH / 2 + step * np.array([-0.5, 0.5])
        ridges.append(
            ek.facets(circle(bow=1 / bow_mm), pair, stations=4001).ridges.height_above_facet_um[0]
        )
    np.testing.assert_allclose(np.array(ridges[1:]) / ridges[0] - 1, [0.11, 0.15, 0.18], atol=0.002)


def test_the_formula_holds_on_an_edge_with_torsion():
    """(n'·t) Δs²/(8 sinβ), with n'·t by central differences of the normal."""
    shape = make.NAMED["torsion and twist"]
    edge = shape.edge()
    place = 0.4 * edge.length_mm
    normal = edge.frame(place + 1e-4 * np.array([-1.0, 1.0])).outward.value
    bend = np.diff(normal, axis=0)[0] @ edge.frame(np.array(place)).tangent.value / 2e-4
    errors = []
    for step in (0.4, 0.2):
        pair = place + step * np.array([-0.5, 0.5])
        ridge = ek.facets(edge, pair, stations=4001).ridges.height_above_facet_um[0]
        errors.append(abs(ridge / (bend * step**2 / 8 / np.sin(np.radians(75)) * 1000) - 1))
    assert errors[1] < 2e-3
    assert np.log2(errors[0] / errors[1]) > 1.7


def test_many_placements_tend_to_the_envelope():
    """Recession tends to the depth everywhere, as 1/K²."""
    edge = make.NAMED["arc in a tilted, bowed face"].edge()
    left = []
    for count in (20, 40, 80):
        ground = ek.facets(edge, count, depth_um=20.0, stations=2001)
        left.append(np.abs(ground.recession_um - 20.0).max())
    assert left[-1] < 1.0
    assert (np.log2(np.array(left[:-1]) / left[1:]) > 1.8).all()


def test_rulings_lie_on_the_envelope_of_all_planes():
    """A point of a ruling above its regression lies on its own plane and behind all others."""
    edge = circle(bow=1 / 12)
    held = ek.orient(edge, stations=301)
    for depth_mm in (0.1, 0.4):
        for i in (30, 150, 270):
            if 0 < held.regression_mm[i] < 2.0:
                continue
            point = held.position_mm[i] + depth_mm * held.ruling[i]
            above = np.sum(held.normal * (point - held.position_mm), axis=1)
            assert abs(above[i]) < 1e-12
            assert above.max() < 1e-9


# ---- clipping oracle ---------------------------------------------------------------------------


def recession_by_clipping(edge, places, depth_um, stations):
    """Recession [µm] from a polygon of the planar face clipped by half-planes (shapely)."""
    frame = edge.frame(edge.stations(stations))
    plan = frame.position[:, :2]
    steel = shapely.Polygon(plan).buffer(0)
    held = edge.frame(places)
    for point, into in zip(held.position[:, :2], held.inward.value[:, :2], strict=True):
        on = point + depth_um / 1000 * into
        along = np.array([-into[1], into[0]])
        corners = [
            on - 99 * along,
            on + 99 * along,
            on + 99 * along + 99 * into,
            on - 99 * along + 99 * into,
        ]
        steel = steel.intersection(shapely.Polygon(corners))
    lines = [
        shapely.LineString([here - 1e-9 * into, here + 0.4 * into])
        for here, into in zip(plan, frame.inward.value[:, :2], strict=True)
    ]
    starts = shapely.points(plan)
    return np.array(
        [
            shapely.distance(start, line.intersection(steel)) * 1000
            for start, line in zip(starts, lines, strict=True)
        ]
    )


@pytest.mark.parametrize("count", [5, 12, 51])
def test_recession_on_a_u_shape_equals_a_clipped_polygon(count):
    """Independent: shapely clips the face polygon by the same half-planes."""
    edge = u_shape()
    ground = ek.facets(edge, count, depth_um=15.0, stations=161)
    expected = recession_by_clipping(edge, ground.placements_mm, 15.0, 161)
    inner = slice(1, -1)  # at the very ends the ray runs along the polygon's own closing side
    np.testing.assert_allclose(ground.recession_um[inner], expected[inner], atol=CLIPPER_UM)


def test_recession_on_a_circle_equals_a_clipped_polygon():
    edge = circle(radius=2.0, length=5.0)
    places = np.array([0.4, 1.1, 2.9, 4.2])
    ground = ek.facets(edge, places, depth_um=60.0, stations=101)
    expected = recession_by_clipping(edge, places, 60.0, 101)
    np.testing.assert_allclose(ground.recession_um[1:-1], expected[1:-1], atol=CLIPPER_UM)


# ---- toes --------------------------------------------------------------------------------------


def test_a_u_shape_needs_51_equal_placements_or_9_spaced_ones():
    """Theory T11: the toe turns 180°, each ridge of height h serves 2 acos(R/(R + h)), and the two
    sides' own planes stand at its ends.
    """
    edge = u_shape()
    assert ek.placements_for(edge, ridge_um=10) == 51
    assert ek.facets(edge, 50).ridge_um > 10 >= ek.facets(edge, 51).ridge_um
    spaced = ek.spaced_placements(edge, ridge_um=10)
    least = int(np.ceil(np.pi / (2 * np.arccos(0.43 / 0.44)))) + 1
    assert least == 9
    assert len(spaced) == least
    assert ek.facets(edge, spaced, stations=4001).ridge_um <= 10 + RIDGE_UM
    assert ek.facets(edge, placed_by_curvature(edge, 12), stations=4001).ridge_um <= 15


def test_an_even_count_of_equal_placements_leaves_the_toe_untouched():
    """No placement falls on the toe, and the result says so: the planes of theory T8."""
    edge = u_shape()
    toe = edge.length_mm / 2
    for count in (2, 4, 6, 8, 10):
        ground = ek.facets(edge, count, depth_um=10, stations=401)
        assert ground.active[200] == -1
        assert ground.recession_um[200] == 0
        assert ground.untouched_mm > 0.7
        assert ground.ridge_um > 100
    odd = ek.facets(edge, 9, depth_um=10, stations=401)
    assert odd.active[200] == 4
    assert abs(odd.recession_um[200] - 10) < EXACT_UM
    assert abs(odd.arc_mm[200] - toe) < 1e-12
    assert ek.facets(edge, 2).ridge_um == np.inf  # the toe's middle is faced by neither plane
    assert ek.facets(edge, 2, stations=401).facet_index[200] == -1


def test_planes_seen_from_behind_are_skipped():
    """On a U no plane of one side may reach the other: recession never exceeds the depth."""
    edge = u_shape()
    for count in (3, 7, 50, 51):
        ground = ek.facets(edge, count, depth_um=10)
        assert ground.recession_um.max() <= 10 + EXACT_UM
        on_left = ground.arc_mm < 3.9
        places = ground.placements_mm[ground.facet_index[on_left]]
        assert (places < 4 + np.pi * 0.43 / 2).all()


# ---- counts ------------------------------------------------------------------------------------


@pytest.mark.parametrize("ridge_um", [1.0, 10.0, 40.0])
def test_on_a_circle_the_least_count_is_known(ridge_um):
    """Closed form: K planes serve K arcs of 2R acos(R/(R + h)), equal or spaced."""
    edge = circle()
    reach = 2 * RADIUS * np.arccos(RADIUS / (RADIUS + ridge_um / 1000))
    least = int(np.ceil(LENGTH / reach))
    assert ek.placements_for(edge, ridge_um=ridge_um) == least
    assert len(ek.spaced_placements(edge, ridge_um=ridge_um)) == least


def test_a_straight_edge_needs_one_placement():
    edge = arcs([5.0], [0.0])
    assert ek.placements_for(edge, ridge_um=0.01) == 1
    assert len(ek.spaced_placements(edge, ridge_um=0.01)) == 1
    assert ek.facets(edge, 1).ridge_um < EXACT_UM


def test_spaced_placements_make_equal_ridges():
    edge = circle(bow=1 / 12)
    ground = ek.facets(edge, ek.spaced_placements(edge, ridge_um=5.0), stations=4001)
    between = ground.ridges.height_above_facet_um
    assert between.max() <= 5.0 + RIDGE_UM
    # all but the last, which takes what is left over, within the fine stations' step of 1 %
    assert np.ptp(between[:-1]) < 0.1 * between.max()


# ---- angle along a facet -------------------------------------------------------------------------


def test_a_bowed_face_changes_the_angle_along_a_facet():
    """The angle at a station is acos(-f·n) with the facet's own plane; on a planar face it is β."""
    for bow, span in ((0.0, 0.0), (1 / 12, 2.0)):
        edge = circle(bow=bow)
        ground = ek.facets(edge, 3, depth_um=200.0)
        planes = edge.frame(ground.placements_mm).outward.value[ground.facet_index]
        face = edge.frame(ground.arc_mm).face.value
        expected = np.degrees(np.arccos(-np.sum(face * planes, axis=1)))
        np.testing.assert_allclose(ground.angle_deg, expected, atol=1e-7)
        table = ground.table
        np.testing.assert_allclose(table["angle_deg"], 75.0, atol=0.1)
        extent = (table["angle_high_deg"] - table["angle_low_deg"]).max()
        assert extent >= span
        assert (extent < 1e-9) == (bow == 0)


# ---- properties ----------------------------------------------------------------------------------


@FEW
@given(shape=make.shapes(), motion=make.motions(), scale=make.reals(0.3, 4.0))
def test_recession_moves_with_the_blade_and_scales_with_it(shape, motion, scale):
    edge = shape.edge()
    old = ek.facets(edge, 5, depth_um=20, stations=41)
    for twin in (edge.moved(*motion), edge.mirrored()):
        new = ek.facets(twin, 5, depth_um=20, stations=41)
        np.testing.assert_allclose(new.recession_um, old.recession_um, atol=1e-6, rtol=1e-6)
    big = ek.facets(shape.edge(scale=scale), 5, depth_um=20 * scale, stations=41)
    np.testing.assert_allclose(big.recession_um, old.recession_um * scale, atol=1e-4, rtol=1e-6)


@FEW
@given(shape=make.shapes(), depth=make.reals(0.0, 100.0), more=make.reals(0.0, 50.0))
def test_recession_never_falls_with_depth_or_with_a_placement_more(shape, depth, more):
    edge = shape.edge()
    places = edge.length_mm * np.array([0.2, 0.6])
    old = ek.facets(edge, places, depth_um=depth, stations=41)
    for new in (
        ek.facets(edge, places, depth_um=depth + more, stations=41),
        ek.facets(edge, [*places, 0.9 * edge.length_mm], depth_um=depth, stations=41),
    ):
        assert (new.recession_um >= old.recession_um - 1e-9).all()


@FEW
@given(shape=make.shapes())
def test_the_order_of_placements_does_not_matter(shape):
    edge = shape.edge()
    places = edge.length_mm * np.array([0.9, 0.1, 0.5])
    one, other = (ek.facets(edge, p, depth_um=9, stations=41) for p in (places, np.sort(places)))
    np.testing.assert_array_equal(one.recession_um, other.recession_um)
    np.testing.assert_array_equal(one.facet_index, other.facet_index)


def test_ridges_and_overhangs_are_told_apart():
    """On a circle of radius R: a ridge at half the spacing, an overhang at the distance to the end,
    R (sec φ - 1) each (theory T10)."""
    edge = circle()
    table = ek.facets(edge, [1.0, 3.0], stations=4001).table
    height = [
        RADIUS * (1 / np.cos(d / RADIUS) - 1) * 1000 for d in (1.0, 1.0, edge.length_mm - 3.0)
    ]
    np.testing.assert_allclose(table["ridge_um"], [height[1]] * 2, atol=RIDGE_UM)
    np.testing.assert_allclose(table["overhang_um"], [height[0], height[2]], atol=RIDGE_UM)
    middle = ek.facets(edge, 3).table
    assert middle["overhang_um"].tolist()[1] == 0.0
    assert ek.facets(edge, 1).table["ridge_um"].tolist() == [0.0]
