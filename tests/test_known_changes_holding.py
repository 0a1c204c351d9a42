"""How the stone is held: limits, defaults and formulas that a small change once left untested.

Judges: polygons clipped by shapely, greedy choices made station by station, plain geometry written
out beside each check, and the evidence table for defaults.
"""

import dataclasses

import numpy as np
import pytest
import shapely
from scipy.spatial.transform import Rotation

import edgekit as ek
from edgekit.contact import apex, facets, holder, orientation
from edgekit.contact.holder import held_errors, held_normals
from edgekit.evidence_table import value
from tests import strategies as make
from tests.test_facets import circle, u_shape
from tests.test_holder import _by_hand, errors_by_brute_force, rolled_arc
from tests.wear_blades import arc_edge

CLOSE = 1e-12  # the same arithmetic in another order
UNIVERSAL = ek.patterns.universal_curette().edges["left"]


# ---- a rounded apex ------------------------------------------------------------------------


def worn_wedge(angle, radius, reach=50.0):
    """Steel below a face y = 0 with a flank at `angle`, its corner at 0 rounded (shapely).

    Also the points where the circle touches the face and where it touches the flank.
    """
    flank = np.array([np.cos(angle), -np.sin(angle)])
    wedge = shapely.Polygon([(0, 0), (reach, 0), tuple(reach * flank)])
    inset = radius / np.tan(angle / 2)
    turn = np.linspace(0, np.pi - angle, 20001)  # from the face to the flank
    arc = np.stack([inset - radius * np.sin(turn), radius * (np.cos(turn) - 1)], axis=1)
    void = shapely.Polygon([(0, 0), *arc])
    return wedge, void, arc


def cut(angle, radius, inset, new_angle):
    """Land and missing area after a straight cut, from the polygons of `worn_wedge`."""
    wedge, void, arc = worn_wedge(angle, radius)
    along = np.array([np.cos(new_angle), -np.sin(new_angle)])
    start = np.array([inset, 0.0])
    kept = shapely.Polygon([start - 90 * along, start + 90 * along, (200, 0), (90, 90)])
    ground = shapely.intersection(wedge, kept)
    left = (arc - start) @ np.array([np.sin(new_angle), np.cos(new_angle)]) >= 0  # not ground away
    last = arc[left][-1] if left.any() else arc[0]
    return np.linalg.norm(last - arc[0]), shapely.intersection(void, ground).area


# Angles of the wedge and of the line to the face [deg], radius, share of the clear inset.
CUTS = [
    (75, 75, 3.0, 0.2),
    (75, 75, 3.0, 0.7),
    (75, 75, 3.0, 1.0),
    (75, 75, 3.0, 1.3),
    (60, 66, 2.0, 0.6),
    (60, 52, 2.0, 0.6),
    (60, 52, 0.3, 0.6),
    (100, 95, 1.5, 0.5),
    (75, 110, 3.0, 0.1),  # misses the circle and cuts a corner off the void
    (75, 130, 2.0, 0.25),
]


@pytest.mark.parametrize(("angle", "new", "radius", "share"), CUTS)
def test_what_a_line_leaves_of_a_rounded_apex_is_what_a_clipper_leaves(angle, new, radius, share):
    beta, turned = np.radians([angle, new])
    inset = share * radius / np.tan(beta / 2)
    land, missing = cut(beta, radius, inset, turned)
    found = apex.remains(np.array(radius), beta, np.array(inset), turned)
    assert found.land == pytest.approx(land, abs=2e-3 * radius)  # the arc's 20,000 chords
    assert found.missing == pytest.approx(missing, rel=1e-6, abs=1e-7)


def test_a_line_that_only_touches_the_apex_takes_nothing_from_it():
    beta, square, radius = np.radians(60.0), np.array(np.pi / 2), np.array(0.75)
    inset = np.array(float(apex.clear_inset(beta, radius)) - 0.75)
    assert (apex.clear_inset(beta, radius) - inset) * 1.0 - 0.75 * np.cos(square) == 0.75
    found = apex.remains(radius, beta, inset, square)
    assert found.land == pytest.approx(0.75 * np.sqrt(3), rel=1e-9)
    void = 0.75**2 * (np.sqrt(3) - np.pi / 3)
    assert found.missing == pytest.approx(void - inset**2 * np.sqrt(3) / 2, rel=1e-9)


def test_a_line_down_the_flank_leaves_the_whole_apex_and_no_apex_leaves_nothing():
    beta = np.radians([60.0, 60.0])
    found = apex.remains(np.array([2.0, 0.0]), beta, np.array([0.0, 0.1]), beta)
    # 60°: void r² (√3 − π/3), land 2 r cos 30°.
    assert found.land == pytest.approx([2 * np.sqrt(3), 0.0], rel=1e-7)
    assert found.missing == pytest.approx([4 * (np.sqrt(3) - np.pi / 3), 0.0], rel=1e-7)
    square = np.array([np.pi / 2])
    assert apex.void_factor(square) == pytest.approx([1 - np.pi / 4])
    assert apex.whole_land(np.array([3.0]), square) == pytest.approx([3 * np.sqrt(2)])
    assert apex.clear_inset(square, np.array([3.0])) == pytest.approx([3.0])


@pytest.mark.parametrize("angle", [50.0, 75.0, 105.0])
@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9])
@pytest.mark.parametrize("radius", [0.2, 2.5])
def test_the_inset_that_leaves_a_land_leaves_that_land(angle, share, radius):
    """P lies an arc from where the circle touches the face; a line along the flank runs through."""
    beta = np.radians(angle)
    arc = share * (np.pi - beta)
    x = radius / np.tan(beta / 2) - radius * np.sin(arc)
    y = radius * (np.cos(arc) - 1)
    land = np.hypot(radius * np.sin(arc), y)
    inset = x + y / np.tan(beta)
    found = apex.fresh_inset(beta, np.array([radius]), np.array([land]))
    assert found == pytest.approx([inset], rel=1e-9)


def test_a_land_wider_than_the_apex_needs_no_grinding():
    beta, radius = np.radians(75.0), np.array([2.0, 2.0, 0.0])
    land = np.array([2 * 2.0 * np.cos(beta / 2), 9.0, 1.0])
    assert apex.fresh_inset(beta, radius, land) == pytest.approx([0, 0, 0], abs=1e-12)


def test_an_apex_is_blunt_above_fresh_but_not_by_rounding():
    fresh = np.array([1.5])
    for ratio, blunt in ((0.9, False), (1.0, False), (1 + 1e-10, False), (1 + 1e-8, True)):
        assert apex.is_blunt(ratio * fresh, fresh).tolist() == [blunt]
    assert not apex.is_blunt(fresh * (1 + 1e-9), fresh).any()


def test_the_dull_share_is_read_between_stations():
    margin = np.array([[-1.0, 2.0, 0.0, -1.0], [3.0, 2.0, 0.0, -2.0], [-1.0, -2.0, 0.0, 0.0]])
    # Crossings at 1/4 and 3/4, at the end of the first and half of the second, nowhere, nowhere.
    assert apex.dull_share(margin).tolist() == [0.75, 0.75, 0.0, 0.0]


# ---- orientation -----------------------------------------------------------------------------


def test_defaults_of_an_orientation():
    held = ek.orient(UNIVERSAL)
    assert len(held.arc_mm) == 400
    assert held.normal_uncertainty_deg == 0.0
    assert held.stone.length_mm == value("stone_length_mm")
    assert held.stone.curvature_per_mm == 0.0


@pytest.mark.parametrize(("given", "good"), [(0, True), (44.9, True), (-0.5, False), (45.2, False)])
def test_a_normal_is_uncertain_by_0_to_45_degrees(given, good):
    if good:
        assert ek.orient(UNIVERSAL, normal_uncertainty_deg=given).normal_uncertainty_deg == given
        return
    with pytest.raises(ek.BadArgument, match="normal_uncertainty_deg must lie between"):
        ek.orient(UNIVERSAL, normal_uncertainty_deg=given)


@pytest.mark.parametrize(
    ("stone", "rock"),
    [
        (ek.FlatStone(length_mm=1.5), 0.0),
        (ek.FlatStone(length_mm=40.0), 3.0),
        (ek.RodStone(radius_mm=6.0), 0.0),
        (ek.RodStone(radius_mm=8.0), 1.0),
    ],
)
def test_the_gap_is_the_highest_rise_under_the_stone(stone, rock):
    """Point by point: rise over the tangent plane, less what rocking and a rod's fall give away."""
    edge = arc_edge([2.0, 3.0], [-1 / 5.0, 1 / 4.0])  # turns from convex to hollow
    held = ek.orient(edge, stone, stations=37, normal_uncertainty_deg=rock)
    for i in range(37):
        highest = 0.0
        for place in held.position_mm - held.position_mm[i]:
            aside = abs(place @ held.tangent[i])
            if aside > stone.length_mm / 2:
                continue
            rise = place @ held.normal[i] - aside * np.tan(np.radians(rock))
            if stone.curvature_per_mm:
                r = 1 / stone.curvature_per_mm
                rise -= r - np.sqrt(max(r**2 - aside**2, 0.0))
            highest = max(highest, rise)
        assert held.gap_um[i] == pytest.approx(1000 * highest, abs=1e-9)
    assert held.gap_um.max() > 1.0
    assert (held.clear == (held.gap_um <= 0.1)).all()


def three_points(rise_mm, stone_mm):
    """Stations 1 mm apart along x, the last one higher by a rise."""
    held = ek.orient(arc_edge([2.0], [0.0]), ek.FlatStone(length_mm=stone_mm), stations=3)
    place = np.array([[0.0, 0, 0], [1, 0, 0], [2, rise_mm, 0]])
    return dataclasses.replace(
        held, position_mm=place, tangent=np.tile([1.0, 0, 0], (3, 1)), normal=np.eye(3)[[1, 1, 1]]
    )


def test_a_stone_reaches_as_far_as_its_ends_and_bridges_a_tenth_of_a_micrometre():
    assert three_points(0.25, 4.0).gap_um.tolist() == [250.0, 250.0, 0.0]
    assert three_points(0.25, 3.9).gap_um.tolist() == [0.0, 250.0, 0.0]
    assert three_points(1e-4, 4.0).clear.tolist() == [True] * 3
    assert three_points(1.1e-4, 4.0).clear.tolist() == [False, False, True]


@pytest.mark.parametrize(("stations", "most"), [(1000, 512), (40_000, 2**24 // 40_000)])
def test_obstacles_are_looked_for_in_blocks_that_memory_holds(monkeypatch, stations, most):
    """Some 130 MB for an array of all pairs at once: 2²⁴ of them, and 512 stations."""
    parts = []

    def record(held, part):
        parts.append(part)
        return np.full(len(held.arc_mm[part]), part.start)

    monkeypatch.setattr(orientation, "_obstacle_mm", record)
    gap = ek.orient(UNIVERSAL, stations=stations).gap_um
    assert [part.start for part in parts] == list(range(0, stations, most))
    assert all(part.stop - part.start == most for part in parts)
    assert gap.tolist() == [1000 * most * (i // most) for i in range(stations)]


def test_of_more_stations_than_a_block_holds_one_is_looked_at_after_another(monkeypatch):
    parts = []
    monkeypatch.setattr(orientation, "_PAIRS", 10)
    monkeypatch.setattr(
        orientation, "_obstacle_mm", lambda _, part: parts.append(part) or np.zeros(1)
    )
    assert len(ek.orient(UNIVERSAL, stations=40).gap_um) == len(parts) == 40


def test_where_the_handle_runs_along_the_roll_reference_roll_starts_from_its_thinnest_axis():
    axis = np.array([0.3, 0.0, -0.4]) / 0.5
    edge = dataclasses.replace(arc_edge([2.0], [0.0]), handle_axis=axis, roll_reference=axis)
    toe, quarter = orientation.handle_basis(edge)
    want = np.cross(axis, [0, 1, 0])
    np.testing.assert_allclose(toe, want / np.linalg.norm(want), atol=CLOSE)
    np.testing.assert_allclose(quarter, np.cross(axis, toe), atol=CLOSE)
    # A reference a thousandth of a degree off the handle still says where roll starts.
    off = dataclasses.replace(edge, roll_reference=axis + np.array([0, 1.8e-5, 0]))
    np.testing.assert_allclose(orientation.handle_basis(off)[0], [0, 1, 0], atol=1e-6)


@pytest.mark.parametrize(("ends", "way"), [((70, 80), 1), ((80, 70), -1)])
def test_rulings_along_the_edge_never_meet(ends, way):
    """β changes along a straight edge: the planes turn about the edge, which lies in all of them;
    neither way into the steel, a ruling points along n x n'."""
    u = np.linspace(0, 4, 21)
    edge = ek.Edge.from_points(
        np.stack([u, 0 * u, 0 * u], axis=1),
        face_normals=(0, 0, 1),
        internal_angle_deg=np.linspace(*ends, 21),
        handle_axis=(0, 0, -1),
        inward=(0, -1, 0),
    )
    held = ek.orient(edge, stations=11)
    np.testing.assert_allclose(held.ruling, [[way, 0, 0]] * 11, atol=1e-9)
    assert np.isinf(held.regression_mm).all()
    assert held.reachable.all()
    assert np.isinf(held.max_rod_mm).all()


@pytest.mark.parametrize(("short_deg", "meets"), [(1e-3, True), (1e-7, False), (0.0, False)])
def test_rulings_all_but_square_to_a_round_edge_meet_at_r_over_cos_beta_or_never(short_deg, meets):
    held = ek.orient(circle(beta_deg=90.0 - short_deg), stations=5)
    if meets:
        want = 6.7 / np.sin(np.radians(short_deg))
        np.testing.assert_allclose(held.regression_mm, want, rtol=1e-6)
    else:
        assert np.isinf(held.regression_mm).all()


def test_the_depth_that_gouges_is_where_the_rulings_meet():
    held = ek.orient(circle(radius=2.0, length=3.0), stations=5)
    apex_mm = 2.0 * np.tan(np.radians(75))  # theory T7
    assert not held.gouges(apex_mm * (1 - 1e-6)).any()
    assert held.gouges(apex_mm * (1 + 1e-6)).all()
    exactly = held.regression_mm * np.abs(np.sum(held.ruling * held.face, axis=1))
    assert not held.gouges(float(exactly[2]))[2]
    hollow = ek.orient(arc_edge([3.0], [1 / 4.0]), stations=5)  # meets outside of the steel
    assert (hollow.regression_mm < 0).all()
    assert not hollow.gouges(1e6).any()


def test_the_table_of_an_orientation_holds_its_arrays():
    held = ek.orient(make.NAMED["torsion and twist"].edge(), stations=5)
    table = held.table
    columns = table.columns.tolist()
    assert columns[:4] == ["arc_mm", "position_x_mm", "position_y_mm", "position_z_mm"]
    for stem, unit in (("position", "_mm"), ("tangent", ""), ("normal", ""), ("ruling", "")):
        whole = table[[f"{stem}_{axis}{unit}" for axis in "xyz"]].to_numpy()
        np.testing.assert_array_equal(whole, getattr(held, stem + unit))
    for name in columns:
        if name[-1] not in "xyz" and not name.startswith("position"):
            np.testing.assert_array_equal(table[name], getattr(held, name))


# ---- facets ----------------------------------------------------------------------------------


def test_positions_and_widths_of_facets_on_a_circle():
    """Facets meet half-way between their placements and end with the edge."""
    edge = circle()
    places = np.array([0.9, 2.0, 4.1])
    ground = ek.facets(edge, places, depth_um=50.0, stations=2001)
    table = ground.table
    meet = np.array([0.0, 1.45, 3.05, edge.length_mm])
    assert table["facet"].tolist() == [0, 1, 2]
    assert table["placement_mm"].tolist() == places.tolist()
    np.testing.assert_allclose(table["from_mm"], meet[:-1], atol=1e-6)
    np.testing.assert_allclose(table["to_mm"], meet[1:], atol=1e-6)
    np.testing.assert_allclose(table["width_um"], 1000 * np.diff(meet), atol=1e-3)
    # Ground where the chord of R − 50 µm lies inside the circle: acos((R − D)/R) to either side.
    reach = 6.7 * np.arccos((6.7 - 0.05) / 6.7)
    left = np.maximum(places - reach, meet[:-1])
    right = np.minimum(places + reach, meet[1:])
    step = edge.length_mm / 2000
    np.testing.assert_allclose(table["ground_mm"], right - left, atol=1.01 * step)
    bare = edge.length_mm - np.sum(right - left)
    assert bare > 0.5
    assert ground.untouched_mm == pytest.approx(bare, abs=3 * step)
    assert f"; {ground.untouched_mm:.2f} mm of edge is untouched at 50 µm" in repr(ground)
    shown = repr(ek.facets(edge, 12, depth_um=50.0))
    assert shown.startswith("12 placements: ridges up to ")
    assert "untouched" not in shown


def test_overhangs_of_facets_that_hold_one_station():
    """Heights R (sec φ − 1) at the first and the last of three stations (theory T10)."""
    edge = circle()
    table = ek.facets(edge, [1.0, 3.0, 5.0], stations=3).table
    far = np.array([1.0, edge.length_mm - 5.0]) / 6.7
    want = 6700 * (1 / np.cos(far) - 1)
    np.testing.assert_allclose(table["overhang_um"], [want[0], 0.0, want[1]], rtol=1e-9)
    shown = repr(ek.facets(edge, [1.0, 3.0, 5.0], depth_um=60.0))
    bare = ek.facets(edge, [1.0, 3.0, 5.0], depth_um=60.0).untouched_mm
    assert 0 < bare < 1
    assert f"{bare:.2f} mm of edge is untouched" in shown


def test_on_a_hollow_edge_the_far_plane_lies_deepest():
    """Planes gouge there: of two, each takes the half that the other was laid on."""
    edge = arc_edge([3.0], [1 / 4.0])
    ground = ek.facets(edge, [0.5, 2.5])
    assert ground.facet_index[[0, 100, 300, -1]].tolist() == [1, 1, 0, 0]
    np.testing.assert_allclose(ground.table["from_mm"], [1.5, 0.0], atol=1e-6)
    np.testing.assert_allclose(ground.table["to_mm"], [3.0, 1.5], atol=1e-6)
    assert (ground.ridges.before.tolist(), ground.ridges.after.tolist()) == ([1], [0])
    # R (1 − sec φ) below the edge at the ends; what is ground there is no overhang.
    deepest = 4000 * (1 / np.cos(2.5 / 4) - 1)
    assert ground.recession_um[[0, -1]] == pytest.approx([deepest] * 2, rel=1e-9)
    assert (ground.table["ridge_um"] == 0).all()


def test_one_facet_meets_no_other():
    ridges = ek.facets(circle(), 1).ridges
    assert [len(item) for item in ridges] == [0, 0, 0, 0]


def test_a_plane_that_is_nowhere_deepest_has_no_width():
    edge = circle(bow=1 / 12)
    table = ek.facets(edge, [2.0, 2.0, 4.0], depth_um=9.0).table
    row = table.iloc[1]
    assert (row["from_mm"], row["to_mm"], row["width_um"]) == (2.0, 2.0, 0.0)
    assert (row["ridge_um"], row["overhang_um"], row["ground_mm"]) == (0.0, 0.0, 0.0)
    assert row["angle_low_deg"] == row["angle_high_deg"] == row["angle_deg"]
    assert row["angle_deg"] == pytest.approx(75.0, abs=0.1)


def test_a_placement_at_the_very_end_of_an_edge_is_taken_and_at_no_depth_grinds_nothing():
    edge = circle()
    ends = [0.0, edge.length_mm]
    ground = ek.facets(edge, ends, stations=5)
    assert ground.placements_mm.tolist() == ends
    assert (ground.depth_um, ground.active.tolist()) == (0.0, [-1] * 5)
    assert ground.recession_um.tolist() == [0.0] * 5
    assert ground.height_above_facet_um[[0, -1]].tolist() == [0.0, 0.0]
    for off in (-1e-6, edge.length_mm + 1e-6):
        with pytest.raises(ek.BadArgument, match="placements must be between"):
            ek.facets(edge, [off])
    for wrong in ([], [[1.0, 2.0]]):
        with pytest.raises(ek.BadArgument, match="one position or more"):
            ek.facets(edge, wrong)
    assert len(ek.facets(edge, np.array(3), stations=2).placements_mm) == 3
    assert len(ek.facets(edge, 1).arc_mm) == 400


def test_sizes_of_facets_are_bounded_by_memory_and_the_message_says_so():
    """25 million meetings of a plane and a station, 32 bytes each; 10,000 placements."""
    edge = circle()
    for places, most in ((1, "25,000,000"), (13, "1,923,076"), (29, "862,068")):
        memory = f"{1e9 * 32 * places / 1e9:,.3g} GB"
        with pytest.raises(ek.BadArgument, match=f"stations must be {most} or less .*{memory}"):
            ek.facets(edge, places, stations=10**9)
    with pytest.raises(ek.BadArgument, match=r"10,000 or less .*take 1.28e\+04 GB"):
        ek.facets(edge, 10**9)
    assert len(facets.evenly_placed(edge, 10_000)) == 10_000
    with pytest.raises(ek.BadArgument, match="or less"):
        facets.evenly_placed(edge, 10_001)
    assert facets.evenly_placed(edge, 4) == pytest.approx(
        edge.length_mm * np.array([1, 3, 5, 7]) / 8
    )
    with pytest.raises(ek.BadArgument, match="stations must be a whole number of 2 or more"):
        ek.facets(edge, 1, stations=1)
    assert len(ek.facets(edge, 1, stations=2).arc_mm) == 2


def test_the_least_ridge_and_the_most_placements_that_can_be_asked_for():
    edge = arc_edge([5.0], [0.0])
    assert ek.placements_for(edge, ridge_um=0.01, most=1) == 1
    with pytest.raises(ek.BadArgument, match=r"ridge_um must be 0.01 or more"):
        ek.placements_for(edge, ridge_um=0.00999)
    with pytest.raises(ek.BadArgument, match="most must be 10,000 or less"):
        ek.placements_for(edge, ridge_um=1.0, most=10_001)
    sharp = arc_edge([4.0, 0.05 * np.pi, 4.0], [0, -1 / 0.05, 0], start=(-4.0, 0.05))
    with pytest.raises(ek.EdgekitError, match="no count up to 2000 keeps"):
        ek.placements_for(sharp, ridge_um=0.01)


OFF_CENTRE = [arc_edge([a, 1.4 * 0.4, b], [0, -1 / 0.4, 0]) for a, b in ((4.0, 5.2), (1.2, 3.9))]


@pytest.mark.parametrize("edge", [u_shape(), *OFF_CENTRE], ids=["U", "long", "short"])
def test_counts_that_leave_out_the_toe_hide_no_smaller_one_that_serves(edge):
    ridges = [ek.facets(edge, count).ridge_um for count in range(1, 25)]
    hidden = 0
    for most in range(2, 25):
        best = int(np.argmin(ridges[:most]))
        hidden += min(ridges[most - 2 : most]) > 2 * ridges[best] < np.inf
        if np.isfinite(ridges[best]):
            limit = ridges[best] * (1 + 1e-9)
            first = next(k for k, ridge in enumerate(ridges, 1) if ridge <= limit)
            assert ek.placements_for(edge, ridge_um=limit, most=most) == first
    assert hidden > 0 or edge is not OFF_CENTRE[0]  # two neighbouring counts do not tell


def test_a_ridge_as_high_as_the_limit_is_within_it():
    for count in (3, 15, 51):
        limit = float(ek.facets(u_shape(), count).ridge_um)
        assert ek.placements_for(u_shape(), ridge_um=limit) == count


@pytest.mark.parametrize(("turn", "good"), [(0.09, True), (0.11, False)])
def test_an_edge_may_turn_back_by_a_tenth_and_no_more(turn, good):
    edge = arc_edge([4.0], [turn / 4.0])
    # The plane of the stone turns by sin β of what the edge does.
    turned = turn / np.sin(np.radians(75))
    edge = arc_edge([4.0], [turned / 4.0])
    if good:
        assert ek.placements_for(edge, ridge_um=200.0) >= 1
        return
    with pytest.raises(ek.EdgekitError, match="hollow overall") as caught:
        ek.spaced_placements(edge, ridge_um=200.0)
    assert f"a turn of -{np.degrees(turn):.3g}°" in str(caught.value)


def density_by_hand(edge):
    """Placements before each of 2001 stations: √κ plus an even share of its mean (theory T11)."""
    arc = np.linspace(0, edge.length_mm, 2001)
    normal = edge.frame(arc).outward
    bend = np.einsum("ij,ij->i", normal.d1, edge.frame(arc).tangent.value)
    kappa = np.empty(2001)
    for i in range(2001):
        low, high = max(i - 20, 0), min(i + 20, 2000)
        turn = sum(bend[j] * (arc[j] - arc[j - 1]) for j in range(low + 1, high + 1))
        kappa[i] = max(turn / (arc[high] - arc[low]), 0.0)
    root = np.sqrt(kappa) + value("even_spacing_share") * np.sqrt(kappa).mean()
    share = np.concatenate([[0], np.cumsum((root[1:] + root[:-1]) * np.diff(arc))])
    return arc, share / share[-1]


@pytest.mark.parametrize("edge", [u_shape(), make.NAMED["inflection"].edge()], ids=["U", "S"])
def test_placements_are_as_dense_as_the_root_of_the_curvature(edge):
    arc, share = density_by_hand(edge)
    found_arc, found = facets.placement_density(edge, facets.Spacing.BY_CURVATURE)
    np.testing.assert_allclose(found_arc, arc, rtol=CLOSE)
    np.testing.assert_allclose(found, share, atol=1e-9)
    places = facets.placed_by_curvature(edge, 5)
    np.testing.assert_allclose(places, np.interp([0.1, 0.3, 0.5, 0.7, 0.9], share, arc), atol=1e-9)
    even = facets.placement_density(edge, facets.Spacing.EVEN)
    np.testing.assert_allclose(even[1], np.linspace(0, 1, 2001), atol=CLOSE)


def test_curvature_is_averaged_over_the_stations_beside():
    """Turn from the station behind to the one ahead, over their distance; no less than 0."""
    arc = np.array([0.0, 1.0, 1.5, 3.0, 4.0, 6.0])
    bend = np.array([9.0, 2.0, -4.0, 1.0, 0.5, 3.0])
    turn = np.array([0.0, 2.0, 0.0, 1.5, 2.0, 8.0])  # of each step, its end's curvature
    want = [2.0, 0.0, 0.0, 0.8, 6.5 / 3, 3.0]
    assert (turn[2] - turn[0], turn[3] - turn[1], turn[4] - turn[2]) == (0.0, -0.5, 2.0)
    for window in (2, 3):
        np.testing.assert_allclose(facets.averaged_curvature(arc, bend, window), want, rtol=CLOSE)


def test_a_straight_or_round_edge_is_divided_evenly():
    for edge in (arc_edge([5.0], [0.0]), circle()):
        even = edge.length_mm * (np.arange(6) + 0.5) / 6
        np.testing.assert_allclose(facets.placed_by_curvature(edge, 6), even, atol=1e-9)


def one_by_one(below, limit):
    """Each plane as far from the last as the ridge between them allows, tried one by one."""
    size, planes = len(below), []
    while not planes or below[planes[-1], planes[-1] :].max() > limit:
        start = planes[-1] if planes else 0
        best = start + bool(planes)
        for q in range(best, size):
            reach = below[q, start : q + 1]
            if planes:
                reach = np.minimum(reach, below[start, start : q + 1])
            if reach.max() <= limit:
                best = q
        planes.append(best)
        if best == size - 1:
            break
    return planes


@pytest.mark.parametrize("edge", [circle(), u_shape(), circle(bow=1 / 12)], ids=["arc", "U", "bow"])
def test_each_placement_is_as_far_from_the_last_as_the_ridge_allows(edge):
    arc = edge.stations(101)
    here = edge.frame(arc, order=0)
    below = -facets.plane_recession(here, here.outward.value, here.position)
    ends = np.maximum(below[:, 0], below[:, -1])[50]  # one plane in the middle
    exactly = [float(height) for height in (*below[[9, 30], 0], ends) if height > 0]  # a tie serves
    for limit_mm in (1e-6, 0.003, 0.02, 0.1, 10.0, *exactly):
        assert facets._farthest(below, limit_mm) == one_by_one(below, limit_mm)


@pytest.mark.parametrize("limit", [1.0, 10.0, 60.0])
@pytest.mark.parametrize("edge", [u_shape(), UNIVERSAL], ids=["U", "universal"])
def test_ridges_between_fine_stations_keep_the_limit_too(edge, limit):
    """The fewest planes at 2,001 stations are found one by one, with the limit lowered as needed"""
    spots = ek.spaced_placements(edge, ridge_um=limit)
    assert ek.facets(edge, spots, stations=2001).ridge_um <= limit * (1 + 1e-9)
    assert np.isin(spots, edge.stations(2001)).all()
    assert (np.diff(spots) > 0).all()


def test_spaced_placements_leave_no_limit_that_as_many_could_keep():
    edge = u_shape()
    spots = ek.spaced_placements(edge, ridge_um=10.0)
    arc = edge.stations(2001)
    here = edge.frame(arc, order=0)
    below = -facets.plane_recession(here, here.outward.value, here.position)
    low, high = 0.0, 0.01  # the least limit for as many, by halves
    for _ in range(40):
        middle = (low + high) / 2
        enough = len(facets._farthest(below, middle)) <= len(spots)
        low, high = (low, middle) if enough else (middle, high)
    np.testing.assert_array_equal(spots, arc[facets._farthest(below, high)])


# ---- holders ---------------------------------------------------------------------------------


def test_defaults_and_limits_of_a_setting():
    edge, _ = rolled_arc(plan_mm=6.7, length_mm=5.65, tilt_deg=20)
    tolerance = value("tolerance_deg")
    for call in (ek.best_setting, lambda e, **k: ek.setting_at(e, 34.0, **k)):
        plain, given = call(edge), call(edge, tolerance_deg=tolerance, stations=400)
        assert plain.window_deg == given.window_deg
        assert len(plain.arc_mm) == 400
        assert call(edge, tolerance_deg=44.9).worst_error_deg == plain.worst_error_deg
        for wrong in (0.0, 45.0, 45.5):
            with pytest.raises(ek.BadArgument, match="tolerance_deg must lie between 0 and 45"):
                call(edge, tolerance_deg=wrong)
    assert len(ek.settings_needed(edge)) == len(ek.settings_needed(edge, tolerance_deg=tolerance))
    _, windows = holder.station_windows(edge)
    assert windows.shape == (400, 2)
    for angle in (-89.5, 89.5):
        assert ek.setting_at(edge, angle).elevation_deg == pytest.approx(angle)
    for angle in (-90.0, -90.5, 90.0, 90.5):
        with pytest.raises(ek.BadArgument, match="elevation_deg must lie between -90 and 90"):
            ek.setting_at(edge, angle)


def test_the_share_of_an_edge_that_a_setting_serves_is_the_share_asked_for():
    given = {"plan_mm": 6.7, "length_mm": 5.65, "at": 0.5}
    edge, _ = rolled_arc(**given, tilt_deg=20, bend_deg=-15)
    hand = _by_hand(**given, bow_mm=np.inf, axis=edge.handle_axis, stations=40)
    errors = errors_by_brute_force(hand, np.arange(20, 45, 0.01))
    for share, count in ((0.5, 20), (0.51, 21), (0.9, 36), (0.925, 37), (1.0, 40)):
        setting = ek.best_setting(edge, share=share, stations=40)
        least = np.sort(errors, axis=0)[count - 1].min()  # by brute force
        assert setting.worst_error_deg == pytest.approx(least, abs=0.02)
        inside = np.abs(setting.error_deg) <= setting.worst_error_deg + 1e-9
        assert inside.sum() == count
        edges = np.concatenate([[0], (setting.arc_mm[1:] + setting.arc_mm[:-1]) / 2, [5.65]])
        served = sum(b - a for a, b in setting.stretches_mm)
        assert served == pytest.approx(np.diff(edges)[inside].sum(), rel=1e-9)


def test_stretches_reach_half_way_to_the_stations_that_are_not_served():
    arc = np.array([0.0, 1.0, 3.0, 4.0, 8.0])
    served = np.array([True, True, False, False, True])
    assert holder._stretches(arc, served) == ((0.0, 2.0), (6.0, 8.0))
    assert holder._stretches(arc, ~served) == ((2.0, 6.0),)
    assert holder._stretches(arc, np.full(5, True)) == ((0.0, 8.0),)


def test_most_intervals_overlap_where_counting_says():
    intervals = np.array([[0.0, 4.0], [1.0, 2.0], [2.0, 6.0], [5.0, 7.0], [2.0, 3.0]])
    # At 2 exactly four hold, ends included.
    assert holder._deepest(intervals) == (2.0, 2.0, 4)
    assert holder._common(intervals[[0, 2, 4]]) == (2.0, 3.0)


def test_an_elevation_at_the_very_end_of_what_an_edge_reaches_is_reached():
    """Handle in the plane of n and t: the true normal is the highest, sin α = m to rounding."""
    for lean in np.linspace(5, 60, 23):
        turn = np.radians(lean)
        n = np.array([0.0, np.sin(np.radians(75)), -np.cos(np.radians(75))])
        axis = np.cos(turn) * n + np.sin(turn) * np.array([1.0, 0, 0])
        edge = make.shape(axis=axis).edge()
        setting = ek.setting_at(edge, 90 - lean, stations=3)
        assert np.isfinite(setting.error_deg).all()
        assert setting.worst_error_deg < 1e-5  # half the digits are lost at the end of a circle
        assert ek.setting_at(edge, 90 - lean + 0.01, stations=3).worst_error_deg == np.inf


@pytest.mark.parametrize("sign", [1, -1])
def test_a_handle_square_to_the_flank_holds_the_whole_edge_however_it_is_turned(sign):
    """n = ±a: the best elevation is ±90°, and the window ends there; rounding gives sines past 1"""
    n = np.array([0.0, np.sin(np.radians(75)), -np.cos(np.radians(75))])
    straight = make.shape(axis=sign * n).edge()
    for turn in Rotation.random(60, random_state=3).as_matrix():
        edge = straight.moved(turn, np.zeros(3))
        setting = ek.best_setting(edge, tolerance_deg=5.0, stations=7)
        assert setting.elevation_deg == pytest.approx(sign * 90.0, abs=1e-4)
        assert setting.stretches_mm == ((0.0, setting.arc_mm[-1]),)
        _, windows = holder.station_windows(edge, tolerance_deg=5.0, stations=7)
        np.testing.assert_allclose(np.sort(sign * windows), [[85.0, 90.0]] * 7, atol=1e-5)


def test_rounding_of_a_handles_length_leaves_its_windows_whole():
    """A handle square to the edge has m = 1, or the next number: asin goes no farther than 90°"""
    circle_ = holder._circle(UNIVERSAL, *UNIVERSAL.at_stations(2))
    above = np.full(2, 1 + 2**-52)
    for true, want in ((0.0, (np.pi / 2 - 0.1, np.pi / 2)), (np.pi, (-np.pi / 2, 0.1 - np.pi / 2))):
        given = circle_._replace(size=above, true=np.full(2, true))
        np.testing.assert_allclose(given.intervals(0.1), [want] * 2, atol=1e-9)


def test_an_error_out_of_reach_is_past_90_degrees_and_of_the_sign_of_the_nearest_approach():
    edge, _ = rolled_arc(plan_mm=6.7, length_mm=5.65, bend_deg=60)
    held = ek.setting_at(edge, 32.0)
    off = np.isinf(held.error_deg)
    assert 0 < off.sum() < 400
    found = held_errors(edge, 32.0, held.arc_mm)
    np.testing.assert_allclose(found[~off], held.error_deg[~off], atol=CLOSE)
    assert (np.abs(found[off]) >= 90).all()
    # The nearest approach is the highest normal: what it grinds, less 75°.
    normal = held_normals(edge, 32.0, held.arc_mm)[off]
    frame = edge.frame(held.arc_mm[off])
    up, into = (np.sum(v.value * normal, axis=1) for v in (frame.face, frame.inward))
    ground = np.degrees(np.arctan2(-into, -up)) - 75
    np.testing.assert_allclose(found[off], ground + 90 * np.sign(ground), atol=1e-6)


def test_an_error_is_the_ground_angle_less_the_angle_whichever_way_the_handle_leaves():
    """Handles to all sides of a straight edge, elevations below 0 too: by vectors, with its sign"""
    seen = set()
    for axis in Rotation.random(60, random_state=8).as_matrix()[:, 0]:
        edge = make.shape(axis=axis).edge()
        true = ek.orient(edge, stations=2).elevation_deg[0]
        if abs(true) + 8 > np.degrees(np.arccos(abs(axis[0]))):  # out of reach, or nearly
            continue
        for off in (-4.0, 4.0):
            setting = ek.setting_at(edge, true + off, stations=2)
            n = held_normals(edge, true + off, setting.arc_mm)[0]
            frame = edge.frame(setting.arc_mm[:1])
            ground = np.degrees(np.arctan2(-n @ frame.inward.value[0], -n @ frame.face.value[0]))
            assert setting.error_deg[0] == pytest.approx(ground - 75, abs=1e-9)
            assert abs(n @ axis - np.sin(np.radians(true + off))) < CLOSE
            seen.add((true > 0, ground > 75))
    assert len(seen) == 4


def test_an_elevation_out_of_reach_comes_after_one_that_can_be_reached():
    turn = np.radians(10.0)
    n = np.array([0.0, np.sin(np.radians(75)), -np.cos(np.radians(75))])
    axis = np.cos(turn) * n + np.sin(turn) * np.array([1.0, 0, 0])
    edge = make.shape(axis=axis).edge()  # reaches -80 to 80 degrees, its true normal at 80
    for order in ([-60.0, 85.0], [85.0, -60.0]):
        held = held_normals(edge, order, [1.0, 2.0])
        np.testing.assert_allclose(held @ axis, np.sin(np.radians(-60)), atol=CLOSE)
    held = held_normals(edge, [-60.0, 70.0], [1.0, 2.0])
    np.testing.assert_allclose(held @ axis, np.sin(np.radians(70)), atol=CLOSE)


def test_each_station_goes_to_the_setting_that_errs_least_there_in_the_middle_of_its_window():
    edge, _ = rolled_arc(plan_mm=6.7, length_mm=5.65, tilt_deg=20, bow_mm=12, bend_deg=-15, at=0)
    needed = ek.settings_needed(edge, tolerance_deg=2.0, stations=120)
    _, windows = holder.station_windows(edge, tolerance_deg=2.0, stations=120)
    # Upper ends that stab, rising: each window belongs to the first that it holds.
    points, left = [], sorted(windows.tolist(), key=lambda w: w[1])
    for low, high in left:
        if not points or low > points[-1]:
            points.append(high)
    first = [next(k for k, p in enumerate(points) if low <= p) for low, _ in windows]
    middle = [
        (windows[np.array(first) == k, 0].max() + windows[np.array(first) == k, 1].min()) / 2
        for k in range(len(points))
    ]
    assert sorted(s.elevation_deg for s in needed) == pytest.approx(sorted(middle), abs=1e-9)
    assert [s.from_mm for s in needed] == sorted(s.from_mm for s in needed)
    errors = np.abs([ek.setting_at(edge, m, stations=120).error_deg for m in middle])
    for setting in needed:
        k = int(np.argmin(np.abs(np.array(middle) - setting.elevation_deg)))
        own = errors.argmin(axis=0) == k
        assert setting.worst_error_deg == pytest.approx(errors[k][own].max(), abs=1e-9)
        assert setting.roll_span_deg == pytest.approx(np.ptp(setting.roll_deg[own]), abs=1e-9)
        low, high = windows[own, 0].max(), windows[own, 1].min()
        assert setting.window_deg == pytest.approx((low, high), abs=1e-9)


def test_the_table_of_settings_gives_roll_at_the_first_and_the_last_end():
    edge, _ = rolled_arc(plan_mm=6.7, length_mm=5.65, tilt_deg=20)
    needed = ek.settings_needed(edge, tolerance_deg=0.4)
    table = ek.settings_table(needed)
    several = [s for s in needed if len(s.stretches_mm) > 1]
    assert several
    for setting, (_, row) in zip(needed, table.iterrows(), strict=True):
        ends = (setting.stretches_mm[0][0], setting.stretches_mm[-1][1])
        roll = np.interp(ends, setting.arc_mm, setting.roll_deg)
        assert (row["roll_from_deg"], row["roll_to_deg"]) == tuple(roll)
        assert (setting.from_mm, setting.to_mm) == ends
        assert row["elevation_deg"] == setting.elevation_deg
        assert row["worst_error_deg"] == setting.worst_error_deg
        words = ", ".join(f"{a:.2f} to {b:.2f}" for a, b in setting.stretches_mm)
        assert row["stretches_mm"] == words
        assert setting.mean_error_deg == pytest.approx(np.abs(setting.error_deg).mean())


def test_steps_of_a_roll_schedule():
    setting = ek.best_setting(UNIVERSAL)
    plan = ek.roll_schedule(setting, seconds=8.0)
    assert len(plan.time_s) == 25
    assert plan.time_s.tolist() == pytest.approx([i / 3 for i in range(25)])
    assert ek.roll_schedule(setting, seconds=8.0, steps=2).time_s.tolist() == [0.0, 8.0]
    assert len(ek.roll_schedule(setting, seconds=8.0, steps=100_000).arc_mm) == 100_000
    with pytest.raises(ek.BadArgument, match="steps must be a whole number of 2 or more"):
        ek.roll_schedule(setting, seconds=8.0, steps=1)
    with pytest.raises(ek.BadArgument, match=r"100,000 or less \(they would take 32 GB"):
        ek.roll_schedule(setting, seconds=8.0, steps=10**9)
    with pytest.raises(ek.BadArgument, match="or less"):
        ek.roll_schedule(setting, seconds=8.0, steps=100_001)


DEFAULTS = {
    "pivot_height_mm": "holder_pivot_height_mm",
    "reach_mm": "holder_reach_mm",
    "stone_height_mm": "stone_height_mm",
    "handle_radius_mm": "handle_radius_mm",
    "handle_from_mm": "handle_from_mm",
    "shank_radius_mm": "shank_radius_mm",
    "shank_from_mm": "length_mm",
}


def test_a_holder_is_that_of_the_evidence_table_unless_another_is_given():
    stand = ek.Holder()
    for name, entry in DEFAULTS.items():
        assert getattr(stand, name) == value(entry)
    assert stand.stone_behind_mm == value("stone_length_mm") / 4
    for name in (*DEFAULTS, "stone_behind_mm"):
        assert getattr(ek.Holder(**{name: 3.5}), name) == 3.5
        with pytest.raises(ek.BadArgument, match=f"{name} must be 0 or more"):
            ek.Holder(**{name: -0.1})
        if name in ("stone_height_mm", "stone_behind_mm"):
            assert getattr(ek.Holder(**{name: 0}), name) == 0.0
            continue
        with pytest.raises(ek.BadArgument, match=f"{name} must be above 0"):
            ek.Holder(**{name: 0.0})
    for angle in (-90.0, -90.4, 90.0, 90.4):
        with pytest.raises(ek.BadArgument, match="elevation_deg must lie between -90 and 90"):
            stand.fit(angle)


def test_a_holder_reaches_and_clears_from_nothing_on():
    fit = holder.HolderFit(riser_mm=0.0, handle_mm=0.0, shank_mm=1.0)
    assert (fit.reachable, fit.clears) == (True, False)
    assert not holder.HolderFit(riser_mm=-0.1, handle_mm=1.0, shank_mm=0.0).clears
    assert not holder.HolderFit(riser_mm=-0.1, handle_mm=1.0, shank_mm=1.0).reachable
    assert holder.HolderFit(riser_mm=0.5, handle_mm=0.1, shank_mm=0.1).clears
    # A handle that begins where the stone ends is never over it; one that begins before lies on it.
    stand = {"stone_behind_mm": 60.0, "handle_radius_mm": 4.0}
    assert ek.Holder(**stand, handle_from_mm=60.0).fit(0.0).handle_mm == np.inf
    assert ek.Holder(**stand, handle_from_mm=59.0).fit(0.0).handle_mm == -4.0


def test_forms_of_stones():
    assert ek.FlatStone().length_mm == value("stone_length_mm")
    assert ek.FlatStone(length_mm=np.inf).length_mm == np.inf
    assert ek.DiscStone().length_mm == 2 * value("disc_radius_mm")
    assert ek.DiscStone().curvature_per_mm == 0.0
    assert ek.RodStone().length_mm == 2 * value("rod_radius_mm")
    assert ek.RodStone(radius_mm=4.0).curvature_per_mm == 0.25
    cone = ek.ConeStone(small_radius_mm=2.0, large_radius_mm=5.0, length_of_axis_mm=4.0)
    assert cone.length_mm == 4.0
    assert cone.half_angle_rad == pytest.approx(np.arcsin(3 / 5))
    assert cone.curvature_per_mm == pytest.approx(0.4)
    for wrong in (-1.0, 0.0, -np.inf, np.nan):
        with pytest.raises(ek.BadArgument, match="length_mm of a stone"):
            ek.FlatStone(length_mm=wrong)
    with pytest.raises(ek.BadArgument, match="large_radius_mm"):
        ek.ConeStone(small_radius_mm=2.0, large_radius_mm=2.0, length_of_axis_mm=4.0)
