"""The judges of stroke models, themselves judged by closed forms and by shapely."""

from itertools import repeat

import numpy as np
import pytest
import shapely

from tests import fixed_planes, rolling_plane
from tests import section_simulation as section
from tests.section_simulation import Bench, CountedStrokes, LandOfFreshEdge, cot

BETA = np.radians(75.0)
UM = 1e-3
RADIUS = 4.65 * UM
STRAIGHT_STROKES = repeat(0.0)
KAPPA = 1 / 6.7
STROKE_MM3 = 1.2e-3


def along(value):
    """The same value all along the edge."""
    return lambda s: np.full(np.shape(s), float(value))


def land_rule(radius, fresh_radius, angle=BETA):
    """Inset where a parallel plane leaves a fresh edge's land, and the turn of the arc left."""
    turn = 2 * np.arcsin(fresh_radius / radius * np.cos(angle / 2))
    return radius * (1 + np.cos(angle + turn)) / np.sin(angle), turn


# --- one section -------------------------------------------------------------------------------


def test_clipping_agrees_with_shapely():
    rng = np.random.default_rng(5)
    for _ in range(40):
        hull = shapely.MultiPoint(rng.normal(size=(12, 2))).convex_hull
        corners = np.array(hull.exterior.coords)[:-1]
        inset, slope = rng.normal(size=2) * [0.6, 0.4]
        low, high = inset - 9 * slope, inset + 9 * slope
        kept = hull.intersection(shapely.Polygon([[low, -9], [30, -9], [30, 9], [high, 9]]))
        got = section.keep_inward(corners, inset, slope)
        assert (section.area(got) if len(got) else 0.0) == pytest.approx(kept.area, abs=1e-12)


def test_a_parallel_stroke_takes_area_over_depth():
    steel = section.new_section(BETA, 0.71).steel
    assert section.plane_for_area(steel, cot(BETA), 192e-6) == pytest.approx(
        192e-6 / 0.71, rel=1e-9
    )


@pytest.mark.parametrize("tilt_deg", [1.0, 2.5, 6.0])
def test_an_obtuse_stroke_takes_a_triangle(tilt_deg):
    steel = section.new_section(BETA, 0.71).steel
    slope = cot(BETA + np.radians(tilt_deg))
    inset = section.plane_for_area(steel, slope, 192e-6)
    assert inset == pytest.approx(np.sqrt(2 * 192e-6 * (cot(BETA) - slope)), rel=1e-9)


def test_an_acute_stroke_takes_a_triangle_from_below():
    steel = section.new_section(BETA, 0.71).steel
    slope = cot(BETA - np.radians(2.5))
    inset = section.plane_for_area(steel, slope, 192e-6)
    height = np.sqrt(2 * 192e-6 / (slope - cot(BETA)))  # above the lower end of the flank
    assert inset == pytest.approx((slope - cot(BETA)) * (height - 0.71), rel=1e-9)
    after = section.ground(section.new_section(BETA, 0.71), BETA - np.radians(2.5), 192e-6)
    assert (after.edge, after.angle) == (0.0, BETA)  # the edge is out of reach


def test_rounding_takes_the_corner_off():
    dull = section.rounded(section.new_section(BETA, 0.71), RADIUS)
    corner = RADIUS**2 * (1 / np.tan(BETA / 2) - (np.pi - BETA) / 2)
    assert dull.missing == pytest.approx(corner, rel=2e-3)  # a polygon about the arc lacks a little
    assert dull.land == pytest.approx(2 * RADIUS * np.cos(BETA / 2), rel=1e-12)
    assert dull.tangent_point == pytest.approx(RADIUS / np.tan(BETA / 2), rel=1e-12)


@pytest.mark.parametrize(
    ("share", "inset_um", "strokes"),
    [(1, 6.22, 23), (4, 6.08, 90), (16, 6.07, 359), (64, 6.06, 1435)],
)
@pytest.mark.parametrize("missing", [False, True])
def test_without_error_a_session_ends_one_stroke_past_the_tangent_point(
    share, inset_um, strokes, missing
):
    """Whole strokes until a D + (what use took already) has passed r cot(β/2) D."""
    bench = Bench(stroke_area=192e-6 / share, steel_is_missing=missing)
    after, made = section.session(section.new_section(BETA, 0.71), bench, STRAIGHT_STROKES)
    taken = section.rounded(
        section.new_section(BETA, 0.71), RADIUS, steel_is_missing=missing
    ).missing
    wanted = RADIUS / np.tan(BETA / 2) * 0.71
    assert made == np.ceil((wanted - taken) / bench.stroke_area)
    assert after.edge == pytest.approx((made * bench.stroke_area + taken) / 0.71, rel=1e-9)
    if not missing:
        assert (round(after.edge / UM, 2), made) == (inset_um, strokes)


@pytest.mark.parametrize(("fresh_um", "inset_um"), [(1.19, 4.11), (1.5, 3.60)])
def test_the_land_rule_stops_where_its_closed_form_says(fresh_um, inset_um):
    bench = Bench(stop=LandOfFreshEdge(fresh_um * UM), stroke_area=192e-6 / 64)
    after, _ = section.session(section.new_section(BETA, 0.71), bench, STRAIGHT_STROKES)
    wanted, turn = land_rule(RADIUS, fresh_um * UM)
    assert round(wanted / UM, 2) == inset_um
    assert 0 <= after.edge - wanted < 192e-6 / 64 / 0.71 * (1 + 1e-9)
    assert after.land <= 2 * fresh_um * UM * np.cos(BETA / 2)
    assert turn > after.turn > 0.97 * turn


def test_a_resolution_ends_a_session_sooner_and_a_fresh_edge_takes_one_stroke():
    new = section.new_section(BETA, 0.71)
    made = [
        section.session(
            new, Bench(radius=r, stop=LandOfFreshEdge(1.19 * UM, seen)), STRAIGHT_STROKES
        )[1]
        for r, seen in [(RADIUS, 0.0), (RADIUS, 1 * UM), (1.19 * UM, 0.0), (1.2 * UM, 0.0)]
    ]
    assert made[0] > made[1] > 1
    assert made[2:] == [1, 1]


def test_counted_strokes():
    bench = Bench(stop=CountedStrokes(10))
    after, made = section.session(section.new_section(BETA, 0.71), bench, STRAIGHT_STROKES)
    assert made == 10
    assert after.edge < after.tangent_point


def test_steel_is_conserved_over_a_life():
    """Strokes x area + what use took = what the section has lost."""
    bench = Bench(stop=LandOfFreshEdge(1.19 * UM), carry_missing=True)
    tilts = section.hand(np.random.default_rng(2), person=0.02, stroke_sd=bench.stroke_sd)
    steel, strokes, used = section.new_section(BETA, 0.71), 0, 0.0
    for _ in range(6):
        before = steel.missing
        start = section.rounded(steel, section.radius_at_start(steel, bench))
        used += start.missing - before
        steel, made = section.session(steel, bench, tilts)
        strokes += made
    lost = section.area(section.new_section(BETA, 0.71).steel) - section.area(steel.steel)
    assert lost == pytest.approx(strokes * bench.stroke_area + used, rel=1e-9)
    corner = RADIUS**2 * section.corner_area(BETA)
    assert used == pytest.approx(6 * corner, rel=5e-3)  # the arc's polygon again


# --- what a plane leaves of a rounded edge -----------------------------------------------------


def test_remainder_of_an_edge_not_ground():
    left = section.remainder(RADIUS, BETA, BETA, 0.0)
    assert left.land == pytest.approx(2 * RADIUS * np.cos(BETA / 2), rel=1e-7)
    assert left.radius == pytest.approx(RADIUS, rel=1e-6)


def test_remainder_of_a_cleared_edge():
    beyond = RADIUS / np.tan(BETA / 2) * (1 + 1e-9)
    for tilt in np.radians([-5, 0, 5]):
        left = section.remainder(RADIUS, BETA, BETA + tilt, beyond)
        assert (left.land, left.missing) == (0.0, pytest.approx(0.0, abs=1e-15))


@pytest.mark.parametrize("fresh_um", [0.4, 1.19, 1.5, 3.0])
def test_remainder_under_a_parallel_plane(fresh_um):
    """Face, chord and plane make a triangle; the arc bulges a segment into it."""
    inset, turn = land_rule(RADIUS, fresh_um * UM)
    base = RADIUS / np.tan(BETA / 2) - inset
    triangle = base * RADIUS * (1 - np.cos(turn)) / 2
    segment = RADIUS**2 * (turn - np.sin(turn)) / 2
    left = section.remainder(RADIUS, BETA, BETA, inset)
    assert left.land == pytest.approx(2 * fresh_um * UM * np.cos(BETA / 2), rel=1e-6)
    assert left.missing == pytest.approx(triangle - segment, rel=1e-6)


@pytest.mark.parametrize("tilt_deg", [-4.0, 0.0, 4.0])
@pytest.mark.parametrize("inset_um", [1.0, 3.0, 5.0])
def test_simulation_and_remainder_agree(tilt_deg, inset_um):
    angle = BETA + np.radians(tilt_deg)
    dull = section.rounded(section.new_section(BETA, 0.71), RADIUS)
    whole = section.area(dull.steel)
    left = section.area(section.keep_inward(dull.steel, inset_um * UM, cot(angle)))
    after = section.ground(dull, angle, whole - left)
    judged = section.remainder(RADIUS, BETA, angle, inset_um * UM)
    assert after.edge == pytest.approx(inset_um * UM, rel=1e-6)
    assert after.land == pytest.approx(judged.land, rel=1e-5)
    assert after.missing == pytest.approx(judged.missing, rel=2e-3, abs=1e-3 * RADIUS**2)


@pytest.mark.slow
@pytest.mark.parametrize("missing", [False, True])
def test_reference_lives(missing):
    """7.08 µm and 24.7 strokes a session came from another program for the same section."""
    bench = Bench(steel_is_missing=missing)
    made = section.lives(bench, people=60, person_sd=np.radians(2.5), seed=1)
    recession = np.concatenate([one.recession for one in made])
    strokes = np.concatenate([one.strokes for one in made])
    assert recession.mean() / UM == pytest.approx(7.08, rel=0.01)
    assert strokes.mean() == pytest.approx(24.7, rel=0.01)


def test_a_life_without_error():
    one = section.life(Bench(stroke_sd=0.0, steel_is_missing=False), STRAIGHT_STROKES)
    assert np.ptp(one.recession) < 1e-9
    assert round(one.recession.mean() / UM, 2) == 6.22
    assert np.all(one.strokes == 23)
    assert len(one.strokes) == 28  # 172 / 6.22


# --- a plane rolled over the edge --------------------------------------------------------------


def test_positions_follow_the_heading():
    edge = rolling_plane.edge_with_toe()
    s = np.linspace(0, edge.length, 50_001)
    middle = edge.heading((s[1:] + s[:-1]) / 2)
    steps = np.column_stack([np.cos(middle), np.sin(middle)]) * np.diff(s)[:, None]
    summed = np.vstack([[0, 0], np.cumsum(steps, axis=0)])
    assert np.abs(edge.position(s) - summed).max() < 1e-8


@pytest.mark.parametrize("tilt_deg", [-2.5, 0.0, 2.5])
def test_union_of_half_spaces_agrees_with_clipped_polygons(tilt_deg):
    edge, stretch = rolling_plane.curved_edge(), (1.0, 4.0)
    s = np.linspace(*stretch, 25)
    offset, tilt = along(4 * UM), along(np.radians(tilt_deg))
    planes = rolling_plane.planes_through(edge, s, offset(s), tilt(s))
    field = rolling_plane.new_field(edge, depths=21)
    rolled = rolling_plane.roll(field, stretch, offset, tilt, planes=25)
    clipped = rolling_plane.volume_by_clipping(edge, planes, depths=21, points=1001)
    assert rolled.volume == pytest.approx(clipped, rel=2e-3)


@pytest.mark.parametrize("tilt_deg", [-2.5, 0.0, 2.5])
def test_facets_at_the_ends_have_a_closed_form(tilt_deg):
    edge, stretch, tilt = rolling_plane.curved_edge(), (1.13, 4.52), np.radians(tilt_deg)
    field = rolling_plane.new_field(edge, stations=801, depths=81)
    rolled = rolling_plane.roll(field, stretch, along(4 * UM), along(tilt))
    facets = [
        rolling_plane.end_facet(edge, KAPPA, 4 * UM, tilt, room)
        for room in (stretch[0], edge.length - stretch[1])
    ]
    assert rolled.end_facets_volume == pytest.approx(sum(facets), rel=5e-3)


@pytest.mark.parametrize("edge", [rolling_plane.curved_edge(), rolling_plane.edge_with_toe()])
def test_a_steady_roll_cuts_each_section_by_its_own_plane(edge):
    field, stretch = rolling_plane.new_field(edge), (0.0, edge.length)
    offset, tilt = along(4 * UM), along(np.radians(1.5))
    rolled = rolling_plane.roll(field, stretch, offset, tilt)
    cut = rolling_plane.cut_by_section(field, stretch, offset, tilt)
    assert rolled.after.inset == pytest.approx(cut.after.inset, abs=0.02 * UM)  # κ δ² / 8
    assert rolled.volume == pytest.approx(cut.volume, rel=1e-3)


def test_neighbours_cut_deeper_by_the_square_of_the_rate():
    """(a' + v c')² / 2κ: the union of planes whose offset changes along the edge."""
    edge = rolling_plane.curved_edge()
    field = rolling_plane.new_field(edge)
    rate, turn = 1.5 * UM, np.radians(0.4)  # per mm of edge

    def offset(s):
        return 10 * UM + rate * s

    def tilt(s):
        return -turn * s

    stretch = (0.0, edge.length)
    rolled = rolling_plane.roll(field, stretch, offset, tilt, planes=2001)
    cut = rolling_plane.cut_by_section(field, stretch, offset, tilt)
    inner = (field.s > 0.6) & (field.s < 5.0)
    deeper = (rolled.after.inset - cut.after.inset)[inner]
    slope_rate = turn / np.sin(edge.angle + tilt(field.s[inner])) ** 2
    expected = (rate + slope_rate[:, None] * field.v) ** 2 / (2 * KAPPA)
    assert deeper[:, 0] == pytest.approx(expected[:, 0], rel=0.03)
    assert deeper == pytest.approx(expected, rel=0.1)  # the depth adds u κ and third order


def test_a_straight_edge_is_cut_by_the_plane_alone():
    edge, swing = rolling_plane.straight_edge(), np.radians(1.0)
    field = rolling_plane.new_field(edge)
    rolled = rolling_plane.roll(field, (0.0, edge.length), along(60 * UM), along(0.0), swing)
    expected = 60 * UM / np.cos(swing) - (edge.length - field.s) * np.tan(swing)
    assert rolled.recession == pytest.approx(np.maximum(expected, 0.0), abs=1e-12)
    assert 0 < np.mean(rolled.recession == 0) < 1  # digs in at one end and leaves the other


def erring(seed):
    """Tilt of one stroke: its own 2.5°, and 1° that changes smoothly along the edge."""
    rng = np.random.default_rng(seed)
    steady = np.radians(2.5) * rng.normal()
    smooth = rolling_plane.smooth_error(rng, sd=np.radians(1.0), correlation=2.0)
    return lambda s: steady + smooth(s)


@pytest.mark.parametrize("stretch", [(0.0, 5.65), (1.13, 4.52)])
def test_strokes_of_a_given_volume_take_it(stretch):
    """Its recession then agrees with the sections': 0.3 % measured over 30 strokes, 4 % allowed."""
    field = rolling_plane.new_field(rolling_plane.curved_edge(), stations=101, depths=21)
    recession = []
    for seed in range(8):
        rigid = rolling_plane.rigid_stroke(field, stretch, STROKE_MM3, erring(seed))
        cut = rolling_plane.section_stroke(field, stretch, STROKE_MM3, erring(seed))
        assert rigid.volume == pytest.approx(STROKE_MM3, rel=1e-4)
        assert cut.volume == pytest.approx(STROKE_MM3, rel=1e-9)
        assert (rigid.end_facets_volume > 0.01 * STROKE_MM3) == (stretch[0] > 0)
        recession.append([rigid.recession.mean(), cut.recession.mean()])
    if stretch[0] == 0:
        rolled, sections = np.mean(recession, axis=0)
        assert rolled == pytest.approx(sections, rel=0.04)


def test_a_flat_stone_leaves_no_hollow():
    """What planes leave of a convex edge is convex; a partial cut by sections is not."""
    edge, stretch = rolling_plane.curved_edge(), (1.13, 4.52)
    field = rolling_plane.new_field(edge, stations=101, depths=21)
    rolled = rolling_plane.roll(field, stretch, along(6 * UM), along(0.01))
    cut = rolling_plane.cut_by_section(field, stretch, along(6 * UM), along(0.01))
    into = rolling_plane.inward(edge.heading(field.s))
    for stroke, hollow in ((rolled, False), (cut, True)):
        outline = edge.position(field.s) + stroke.after.recession[:, None] * into
        step = np.diff(outline, axis=0)
        turning = step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0]
        assert (turning.min() < -1e-9) == hollow


def test_the_smooth_error_has_its_spread_and_correlation():
    rng = np.random.default_rng(3)
    draws = np.array(
        [
            rolling_plane.smooth_error(rng, sd=0.02, correlation=1.5)(np.array([0.0, 1.0]))
            for _ in range(20_000)
        ]
    )
    lag = np.sqrt(3) / 1.5
    assert draws.std() == pytest.approx(0.02, rel=0.02)
    assert np.corrcoef(draws.T)[0, 1] == pytest.approx((1 + lag) * np.exp(-lag), abs=0.02)


@pytest.mark.slow
@pytest.mark.parametrize("edge", [rolling_plane.curved_edge(), rolling_plane.edge_with_toe()])
def test_sessions_of_whole_strokes_agree_on_a_curved_edge(edge):
    dull, stretch = RADIUS / np.tan(BETA / 2), (0.0, edge.length)
    field = rolling_plane.new_field(edge, stations=49, depths=17)

    losses = []
    for stroke in (rolling_plane.section_stroke, rolling_plane.rigid_stroke):
        ended = [
            rolling_plane.until_clear(
                field,
                dull,
                lambda f, k, i=seed, made=stroke: made(f, stretch, STROKE_MM3, erring([i, k])),
            )[0]
            for seed in range(6)
        ]
        losses.append(np.mean([one.recession.mean() for one in ended]))
    assert losses[1] == pytest.approx(losses[0], rel=0.04)


# --- fixed placements --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("placements", "mean_um"), [(4, 30.01), (10, 9.18), (20, 6.205), (60, 5.323)]
)
def test_fixed_placements(placements, mean_um):
    dull = 4 * UM / np.tan(BETA / 2)
    got = fixed_planes.recession(6.7, 5.65, dull, placements)
    half = 5.65 / 6.7 / placements / 2
    closed = 6.7 - (6.7 - dull) * np.cos(half) * np.arctanh(np.sin(half)) / half
    assert got.mean() == pytest.approx(closed, abs=1e-7)
    assert got.mean() / UM == pytest.approx(mean_um, abs=0.005 if placements < 20 else 0.0005)
    assert got.max() == pytest.approx(6.7 - (6.7 - dull) * np.cos(half), abs=1e-7)
    assert dull <= got.min() < dull + 0.06 * UM
