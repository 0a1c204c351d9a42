"""Formulas and limits of grinding of which a change once left every test green."""

import dataclasses
import math

import numpy as np
import pytest
from scipy.linalg import eigh
from scipy.spatial.transform import Rotation

import edgekit as ek
from edgekit.digitising.pictures.loss import WidthLoss
from edgekit.evidence_table import value
from edgekit.geometry.depth_nodes import graded, node_shares
from edgekit.geometry.section import RoundBack
from edgekit.grinding import planes, random_streams, section_stroke
from edgekit.grinding import recession_field as ground
from edgekit.grinding.compiled.engine import using
from edgekit.grinding.edge_state import new_state
from edgekit.grinding.modes import modes
from edgekit.grinding.random_streams import GivenKeys, RandomStreams, RunStreams, SeededKeys
from edgekit.grinding.session import SessionOutcome
from edgekit.life.life import live_runs
from edgekit.life.retire import DEFAULT_RULES
from edgekit.method.strokes import Advance
from tests import plain_kernel, section_simulation
from tests.test_recession_field import BLADES, hand_planes, laid, loops, prepared
from tests.wear_blades import (
    LENGTH_MM,
    RADIUS_MM,
    arc_edge,
    circle_blade,
    ground_once,
    ideal,
    in_steps,
    one_edged,
    steady,
    straight_blade,
    touching,
)

HALF = np.radians(75.0) / 2
COT = 1 / math.tan(2 * HALF)
STEEL = 7.75  # mg/mm³
UNIVERSAL = ek.patterns.universal_curette()


def biased(**terms):
    return ek.Hand(**{name: ek.ErrorTerm(bias=size) for name, size in terms.items()})


def bar(length=5.0, width=0.8):
    """Two straight edges side by side in a planar face."""
    x = np.linspace(-length / 2, length / 2, 9)

    def side(y):
        return ek.Edge.from_points(
            np.column_stack([x, np.full_like(x, y), np.zeros_like(x)]),
            face_normals=[0, 0, 1],
            internal_angle_deg=75.0,
            handle_axis=[0, 0, -1],
            inward=[0, -np.sign(y), 0],
        )

    section = RoundBack(width_mm=width, thickness_mm=0.71, internal_angle_deg=75.0)
    edges = {"left": side(width / 2), "right": side(-width / 2)}
    return ek.Blade(name="bar", kind=ek.BladeClass.UNIVERSAL, edges=edges, section=section)


# ---- the face -------------------------------------------------------------------------------


def honed(blade, *, fraction=1.0, radius_um=4.0, **errors):
    method = steady(ek.methods.face_honing(), fraction=fraction, max_advance_um=2000.0)
    method = dataclasses.replace(method, hand=biased(**errors))
    return ground_once(blade, method, radius_um=radius_um, stations=41, depths=9)


DEPTH_MM = 0.004 * (1 + math.cos(2 * HALF))  # of the face that clears an apex of 4 µm


@pytest.mark.parametrize(("tilt", "pitch"), [(0.0, 0.0), (3.0, 0.0), (0.0, 2.0), (-1.5, 1.0)])
def test_a_leaning_stone_first_touches_where_it_is_lowest_and_must_clear_the_rest(tilt, pitch):
    done = honed(bar(), tilt_deg=tilt, swing_deg=pitch)
    across, along = (math.tan(math.radians(abs(a))) for a in (tilt, pitch))
    slope = across * 0.8 + along * 5.0  # [mm] over the width and the length of the bar
    assert done.advance_um == pytest.approx(1000 * (DEPTH_MM + slope), abs=1e-6)
    drops = np.concatenate([edge.drop_mm for edge in done.edges.values()])
    assert drops.max() == pytest.approx(DEPTH_MM + slope, abs=1e-9)
    assert drops.min() == pytest.approx(DEPTH_MM, abs=1e-9)
    for edge in done.edges.values():
        assert np.ptp(edge.drop_mm) == pytest.approx(along * 5.0, abs=1e-9)
        assert (edge.active == 0).all()
        assert edge.sharp.all()
    off = [edge.angle_deg.mean() - 75.0 for edge in done.edges.values()]
    assert sorted(off) == pytest.approx(sorted([tilt, -tilt]), abs=1e-9)
    assert done.status is SessionOutcome.SHARP


@pytest.mark.parametrize("blade", [bar(), circle_blade()], ids=["two edges", "a curved edge"])
def test_the_steel_of_a_face_is_a_layer_of_what_is_left_of_it(blade):
    done = honed(blade)
    inset = DEPTH_MM * COT
    if len(blade.edges) == 2:
        area = 5.0 * (0.8 - 2 * inset)
    else:  # a sector of a ring
        outer, inner = RADIUS_MM - inset, RADIUS_MM - 0.86
        area = LENGTH_MM / RADIUS_MM * (outer**2 - inner**2) / 2
    assert done.steel_mg == pytest.approx(STEEL * area * DEPTH_MM, rel=1e-9)
    assert done.dullness_mg == done.steel_mg
    assert done.overshoot_mg == 0.0
    strokes = done.steel_mg / STEEL / value("removal_fine_mm3_per_stroke")
    assert done.stone_strokes == pytest.approx(strokes)
    assert done.passes == math.ceil(strokes)


def test_a_face_is_left_where_the_stone_does_not_reach():
    done = honed(bar(), fraction=0.4, swing_deg=1.0)
    for edge in done.edges.values():
        reached = edge.drop_mm > 0
        assert (edge.active == np.where(reached, 0, -1)).all()
        assert 0.4 < reached.mean() < 0.8
        assert edge.sharp_fraction == pytest.approx(0.4, abs=0.03)
        # Cleared where the layer is deep enough, and there alone.
        assert (edge.sharp == (edge.drop_mm >= DEPTH_MM - 1e-9)).all()
        land = 2 * 4.0 * math.cos(HALF)
        assert edge.land_um[~edge.sharp] == pytest.approx(land, rel=1e-3)
    worn = done.worn.edges["left"]
    fresh = value("sharp_radius_um")
    assert set(np.unique(worn.radius_um)) == {fresh, 4.0}
    assert (worn.lean_rad[worn.drop_mm == 0] == 0).all()


# ---- what a session comes to -----------------------------------------------------------------


def test_strokes_of_planes_follow_from_their_steel_and_the_hand():
    effects = RunStreams.of(5).session(0, edges=2, seatings=1)[0]
    method = ideal(3, removal_gsd=1.5, removal_mm3_per_stroke=1e-4)
    done = ground_once(bar(), method, seed=5)
    of_run = RunStreams.of(np.random.default_rng(5)).session(0, edges=2, seatings=3)[0]
    assert (of_run.removal == effects.removal).all()
    per_stroke = 1e-4 * 1.5 ** effects.removal[0]
    assert done.stone_strokes == pytest.approx(done.steel_mg / STEEL / per_stroke)
    assert done.passes == math.ceil(done.stone_strokes / 6)
    # Never fewer than each plane once.
    few = ground_once(bar(), ideal(3, removal_mm3_per_stroke=1.0))
    assert (few.stone_strokes, few.passes) == (6.0, 1)
    face = steady(ek.methods.face_honing(), removal_mm3_per_stroke=1.0)
    assert ground_once(bar(), face).stone_strokes == 1.0


def uneven(blade, radii_um):
    """A worn blade with another radius on each edge."""
    new = ek.WornBlade.new(blade, radius_um=1.0, stations=21, depths=5)
    edges = {}
    for (name, edge), radius in zip(new.edges.items(), radii_um, strict=True):
        edges[name] = dataclasses.replace(edge, radius_um=np.full(21, radius))
    return dataclasses.replace(new, edges=edges)


def test_a_session_is_sharp_when_both_edges_are():
    blunt = uneven(bar(), (1.0, 40.0))
    short = ideal(1, max_advance_um=20.0)
    for worn in (blunt, uneven(bar(), (40.0, 1.0))):
        done = ek.sharpen(worn, short, rng=1)
        assert done.status is SessionOutcome.NOT_SHARP
        assert done.advance_um == pytest.approx(20.0)
        shares = sorted(edge.sharp_fraction for edge in done.edges.values())
        assert shares == [0.0, 1.0]
    need = 40.0 / math.tan(HALF) * math.sin(2 * HALF)
    enough = ek.sharpen(blunt, ideal(1, max_advance_um=need + 1e-6), rng=1)
    assert enough.status is SessionOutcome.SHARP
    assert enough.advance_um == pytest.approx(need)
    assert enough.edges["left"].recession_um == pytest.approx(0.0)
    assert enough.edges["left"].active.tolist() == [-1] * 21


def test_how_far_angles_are_off_is_that_of_the_worst_station():
    done = honed(bar(), tilt_deg=3.0)
    assert done.angle_off_deg == pytest.approx(3.0)
    with using("arrays"):  # whose angle is 20° to the last bit
        wide = ek.sharpen(
            straight_blade(), ideal(1, hand=biased(tilt_deg=20.0)), dull_radius_um=4.0, rng=1
        )
    assert wide.status is SessionOutcome.WRONG_ANGLE
    near = ek.sharpen(
        straight_blade(), ideal(1, hand=biased(tilt_deg=19.9)), dull_radius_um=4.0, rng=1
    )
    assert near.status is SessionOutcome.SHARP
    assert near.angle_off_deg == pytest.approx(19.9)


def test_facets_are_told_from_heel_to_toe_with_what_was_not_ground():
    edge = ground_once(circle_blade(), ideal(1, fraction=0.3), stations=41).edges["used"]
    table = edge.facets
    assert table["seating"].tolist() == [-1, 0, -1]
    assert table["width_um"].to_numpy() == pytest.approx(
        1000 * (table["to_mm"] - table["from_mm"]).to_numpy()
    )
    assert table["width_um"].sum() == pytest.approx(1000 * LENGTH_MM)
    assert table["recession_um"].iloc[0] == 0.0
    middle = edge.active == 0
    assert table["recession_um"].iloc[1] == pytest.approx(edge.recession_um[middle].mean())
    assert table["ridge_um"].iloc[1] == pytest.approx(np.ptp(edge.recession_um[middle]))
    assert edge.deepest_recession_um == edge.recession_um.max()
    mean = np.trapezoid(edge.recession_um, edge.arc_mm) / LENGTH_MM
    assert edge.mean_recession_um == pytest.approx(mean)


def test_a_session_without_strokes_or_width_tells_its_steel_alone():
    idle = ek.sharpen(ek.WornBlade.new(bar(), stations=9, depths=4), ideal(1), rng=1)
    assert idle.balance == "0 strokes, 0 mg of steel"
    done = ground_once(bar(), ideal(1))
    still = dataclasses.replace(done, edges={})
    assert still.balance == f"{done.stone_strokes:.0f} strokes, {done.steel_mg:.2g} mg of steel"
    assert " µm of " in done.balance


def test_by_default_a_session_has_its_stations_and_depths():
    edge = ek.sharpen(straight_blade(), ideal(1), dull_radius_um=4.0, rng=1).edges["used"]
    assert edge.inset_mm.shape == (16, 400)
    worn = ek.WornBlade.new(straight_blade())
    assert worn.edges["used"].inset_mm.shape == (12, 64)
    assert (worn.sessions, worn.use_strokes) == (0, 0.0)
    again = ek.WornBlade.from_recession(straight_blade(), 5.0)
    assert (again.sessions, again.use_strokes) == (0, 0.0)
    assert (again.edges["used"].drop_mm == 0).all()


# ---- planes ---------------------------------------------------------------------------------


@pytest.mark.parametrize("target", [0.1, 0.5, 0.9, 1.0])
def test_a_share_is_covered_by_the_least_advance_that_does(target):
    rng = np.random.default_rng(3)
    need, share = rng.uniform(size=(4, 30)), rng.uniform(size=(4, 30))
    found = planes._share_quantile(need, share, target)
    for r in range(4):
        covered = np.array([share[r][need[r] <= a].sum() for a in need[r]]) / share[r].sum()
        assert found[r] == need[r][covered >= target - 1e-12].min()
    even = np.full((1, 10), 0.1)
    ties = np.arange(10.0)[None]
    assert planes._share_quantile(ties, even, 0.7)[0] == 6.0  # seven of ten, rounding apart


def test_even_places_lie_close_enough_to_be_read_between():
    edge = circle_blade().edges["used"]
    places = planes.even_places(edge, ek.Spacing.EVEN)
    assert places == pytest.approx(np.linspace(0.0, LENGTH_MM, 8193))


def test_a_table_is_read_between_its_columns():
    table = np.array([[0.0, 1.0, 4.0, 9.0], [5.0, 3.0, 2.0, 2.0]])
    at = np.array([[0.0, 0.5], [1.25, 3.0]])
    found = planes._read(table, at)
    for row, values in zip(found, table, strict=True):
        assert row == pytest.approx(np.interp(at, np.arange(4), values))


def test_seatings_lie_where_phase_and_shift_put_them_and_lean_as_the_hand_does():
    blade, rng = straight_blade(), 7
    hand = ek.Hand(
        tilt_deg=ek.ErrorTerm(bias=1.0, sd=2.0),
        swing_deg=ek.ErrorTerm(bias=-2.0, sd=1.0),
        depth=ek.ErrorTerm(sd=0.4),
    )
    method = dataclasses.replace(in_steps(2, placements=3), hand=hand)
    grid = ground.prepare_edge(blade, "used", stations=25, depths=4)
    effects, draws = RunStreams.of(rng).session(0, edges=1, seatings=6)
    normals = grid.edge.frame(grid.arc_mm, order=0).outward.value
    found, weight = planes._planes(grid, normals, method, effects, draws, 0, 0)
    tilt, swing, _, depth = draws.seatings[0, 0].T
    n, t = normals[0], grid.tangent[0]
    opening = np.cross(t, n)  # the steel lies to the right: the cross product opens
    for k in range(6):
        turned = (
            n
            + math.tan(math.radians(1 + 2 * tilt[k])) * opening
            + math.tan(math.radians(-2 + swing[k])) * t
        )
        assert found[0, k] == pytest.approx(turned / np.linalg.norm(turned))
    assert weight[0] == pytest.approx(np.maximum(1 + 0.4 * depth, value("least_advance_share")))


def _lead(grid, normal, arc, goal, drop):
    """How far ahead of a plane through the origin an edge at a goal lies, anywhere along it."""
    frame = grid.edge.frame(arc)
    inset = goal * (frame.inward.value @ normal)
    return frame.position @ normal + inset - drop * (frame.face.value @ normal)


@pytest.mark.parametrize("shared", [False, True])
def test_between_stations_an_edge_stands_highest_where_two_planes_cross(shared):
    """Source: the lower of what two planes need, looked at in a thousand places of the circle
    between two stations, which lies up to 3.6 µm below what lines from station to station give."""
    grid, field, drop = prepared(circle_blade(), stations=12, depths=4, runs=2)
    drop = drop + np.array([[0.0], [0.03]])
    normals = grid.edge.frame(np.array([[0.6, 2.3, 4.1, 5.2]] * 2)).outward.value
    weight = np.array([[1.0, 0.7, 1.3, 0.9], [0.8, 1.0, 1.0, 1.4]])
    state = new_state(grid, 2)
    state.drop_mm = drop
    goal = state.at(grid) + 0.004
    dull = np.ones((2, 12), dtype=bool)
    dull[0, 3] = dull[1, 8] = False
    shares = weight if shared else None
    seating = ground.seat(grid, field, normals, drop=drop, goal=goal, weight=shares)
    needs = planes._needs(grid, state, seating, goal, shares, dull)
    assert needs.least == pytest.approx(np.where(dull, seating.least, 0.0))
    assert needs.share.sum(axis=1) == pytest.approx([grid.arc_mm[-1]] * 2)
    lowered, crossed = drop / grid.depth_mm[-1], 0
    every = np.array(
        [
            seating.alone(np.full((2, 12), p), grid.seen, lowered, goal)[0]
            / (weight[:, p : p + 1] if shared else 1.0)
            for p in range(4)
        ]
    )
    at = np.linspace(0, 1, 100_001)
    step = grid.arc_mm[1]
    around = np.full((2, 12), 0.0)
    for r in range(2):
        for s in range(11):
            first, second = seating.server[r, s], seating.server[r, s + 1]
            peak = needs.peak[r, s]
            if first == second or not (dull[r, s] and dull[r, s + 1]):
                assert peak == 0.0
                around[r, s : s + 2] += step / 2
                continue
            lines = [every[p, r, s] * (1 - at) + every[p, r, s + 1] * at for p in (first, second)]
            lower = np.minimum(*lines)
            top = int(lower.argmax())
            ready = [row[s] + at[::100] * (row[s + 1] - row[s]) for row in (grid.arc_mm, goal[r])]
            needed = [
                (seating.support[r, p] - _lead(grid, normals[r, p], *ready, drop[r, 0]))
                / (weight[r, p] if shared else 1.0)
                for p in (first, second)
            ]
            assert peak == pytest.approx(np.minimum(*needed).max(), abs=4e-5)
            around[r, s] += at[top] * step / 2
            around[r, s + 1] += (1 - at[top]) * step / 2
            assert needs.share[r, 12 + s] == pytest.approx(step / 2)
            crossed += 1
    assert crossed >= 4
    assert needs.share[:, :12] == pytest.approx(around, abs=1e-5)


def test_an_advance_as_far_as_the_limit_is_reached():
    need, share = np.array([[0.01, 0.02], [0.02, 0.021]]), np.ones(2)
    method = ideal(1, max_advance_um=20.0)
    advance, reached = planes.common_advance(need, share, method)
    assert advance.tolist() == [0.02, 0.02]
    assert reached.tolist() == [True, False]
    below, _ = planes.common_advance(-need, share, method)
    assert below.tolist() == [0.0, 0.0]


def test_a_vector_product_is_numpys():
    a, b = np.random.default_rng(2).normal(size=(2, 3, 5, 2))
    wanted = np.cross(a, b, axis=0)
    assert planes._cross(a, b) == pytest.approx(wanted)


def test_a_placement_past_an_end_is_at_the_end():
    blade = circle_blade()
    for shift, at in ((50.0, -1), (-50.0, 0)):
        done = ground_once(blade, ideal(1, hand=biased(position_mm=shift), fraction=0.1))
        edge = done.edges["used"]
        assert np.argmax(edge.recession_um) == np.arange(400)[at]
        # All fall away from there as from a tangent: no other station is touched before.
        away = np.abs(edge.arc_mm - edge.arc_mm[at])
        near = (away > 0) & (edge.recession_um > 1)
        inner = RADIUS_MM - edge.recession_um.max() / 1000
        lost = 1000 * (RADIUS_MM - inner / np.cos(away / RADIUS_MM))
        assert edge.recession_um[near] == pytest.approx(lost[near], abs=1e-6)


@pytest.mark.parametrize("strategy", [Advance.PER_PLACEMENT, Advance.UNIFORM])
def test_the_advance_told_is_that_of_the_plane_that_goes_deepest(strategy):
    hand = ek.Hand(depth=ek.ErrorTerm(sd=0.3))
    method = ideal(5, hand=hand, advance=strategy)
    done = ground_once(straight_blade(), method, seed=3, stations=21, depths=4)
    draws = RunStreams.of(np.random.default_rng(3)).session(0, edges=1, seatings=5)[1]
    shares = np.maximum(1 + 0.3 * draws.seatings[0, 0, :, 3], value("least_advance_share"))
    need = 4.0 / math.tan(HALF) * math.sin(2 * HALF)
    if strategy is Advance.UNIFORM:  # the deepest of them has it sharp
        assert done.advance_um == pytest.approx(need)
    else:  # one plane serves all of a straight edge, and overshoots by its share
        assert done.advance_um == pytest.approx(need * max(shares[0], 1.0))


def test_what_is_dull_alone_calls_for_grinding():
    radii = np.where(np.arange(21) < 10, 40.0, 0.5)  # of a fresh edge, 1.19
    new = ek.WornBlade.new(straight_blade(), stations=21, depths=5)
    edge = dataclasses.replace(new.edges["used"], radius_um=radii)
    worn = dataclasses.replace(new, edges={"used": edge})
    idle = ek.sharpen(worn, ideal(2, fraction=0.5), rng=1)
    assert idle.advance_um == 0.0
    assert (idle.steel_mg, idle.stone_strokes) == (pytest.approx(0, abs=1e-12), 0.0)
    assert (idle.edges["used"].sharp == (radii < 1)).all()
    done = ek.sharpen(worn, ideal(2), rng=1)
    assert done.edges["used"].sharp.all()
    lost = 40.0 / math.tan(HALF)
    assert done.edges["used"].recession_um == pytest.approx(lost)
    # A stone without error at the facet's angle would have taken the dull half alone, wherever the
    # facets of the other lie.
    share = 9.5 / 20
    assert done.dullness_mg == pytest.approx(done.steel_mg * share, rel=1e-9)
    closed = dataclasses.replace(edge, angle_rad=np.where(radii < 1, 2 * HALF - 0.2, 2 * HALF))
    again = ek.sharpen(dataclasses.replace(worn, edges={"used": closed}), ideal(2), rng=1)
    assert again.dullness_mg == pytest.approx(done.dullness_mg, rel=1e-9)
    assert done.worn.radius_um("used")[:10] == pytest.approx(value("sharp_radius_um"))
    assert done.worn.radius_um("used")[10:] == pytest.approx(0.5)  # not blunted by grinding


def test_session_on_session_steel_is_what_dullness_asked_for():
    worn = ek.WornBlade.new(straight_blade(), radius_um=4.0, stations=21, depths=12)
    steel = 0.0
    for _ in range(3):
        done = ek.sharpen(worn, ideal(2), rng=1)
        assert done.dullness_mg == pytest.approx(done.steel_mg, rel=1e-9)
        assert done.edges["used"].active.tolist() == [0] * 21
        steel += done.steel_mg
        worn = ek.use(done.worn, touching(straight_blade()))
    assert worn.steel_lost_mg == pytest.approx(steel, rel=1e-9)


KERNEL = {
    "each placement": in_steps(2, placements=4),
    "all alike": in_steps(2, placements=5, advance=Advance.UNIFORM),
    "the face, then the sides": ek.mixture(
        in_steps(placements=4), ek.methods.face_honing(), sides=1, faces=1
    ),
}


@pytest.mark.parametrize("method", KERNEL)
def test_a_few_lives_are_those_of_the_plain_kernel_and_of_each_alone(method, monkeypatch):
    def lives(runs, first=0):
        return live_runs(
            UNIVERSAL,
            KERNEL[method],
            rngs=SeededKeys(5, first=first, runs=runs),
            use=ek.Use(attrition_um=1.0),
            rules=DEFAULT_RULES,
            max_sessions=3,
            stations=19,
            depths=4,
        ).tracks

    quick, alone = lives(3), lives(1, first=2)
    plain_kernel.install(monkeypatch)
    plain = lives(3)
    for name, track in plain.items():
        np.testing.assert_allclose(quick[name], track, rtol=1e-9, atol=1e-9, err_msg=name)
        lived = alone[name].shape[1]
        np.testing.assert_array_equal(alone[name][0], quick[name][2][:lived], err_msg=name)


# ---- worn blades ----------------------------------------------------------------------------


def test_worn_blades_take_what_they_may():
    blade = bar()
    zero = ek.WornBlade.new(blade, fresh_radius_um=0.0, radius_um=0.0, stations=5, depths=3)
    assert (zero.fresh_radius_um, zero.radius_um("left").max()) == (0.0, 0.0)
    half = ek.WornBlade.new(blade, fresh_radius_um=0.5, stations=5, depths=3)
    assert half.radius_um("left") == pytest.approx(0.5)
    given = ek.WornBlade.new(blade, radius_um=0.3, stations=5, depths=3)
    assert given.radius_um("right") == pytest.approx(0.3)
    for wrong in ({"fresh_radius_um": -0.1}, {"radius_um": -0.1}):
        with pytest.raises(ek.BadArgument, match=next(iter(wrong))):
            ek.WornBlade.new(blade, **wrong)
    with pytest.raises(ek.BadArgument, match="face_um"):
        ek.WornBlade.from_recession(blade, 1.0, face_um=-0.1)
    assert ek.WornBlade.from_recession(blade, 0.5).recession_um("left") == pytest.approx(0.5)
    assert ek.WornBlade.from_recession(blade, {"left": 0.0}).recession_um("left").max() == 0.0
    some = ek.WornBlade.from_recession(blade, 20.0, face_um=0.5)
    assert some.edges["left"].drop_mm == pytest.approx(0.0005)
    assert some.radius_um("left") == pytest.approx(value("sharp_radius_um"))
    for wrong in ({"left": -1.0}, {"left": [[1.0, 2.0]]}, {"left": []}):
        with pytest.raises(ek.EdgekitError):
            ek.WornBlade.from_recession(blade, wrong)
    for name in ("middle", 3, None):
        with pytest.raises(ek.BadArgument, match="no such edge"):
            half.radius_um(name)


def test_a_width_read_is_lost_by_both_edges_and_never_gained():
    blade = bar()
    for width, lost in ((0.7, 50.0), (blade.width_mm, 0.0), (blade.width_mm * (1 + 5e-10), 0.0)):
        worn = ek.WornBlade.from_width(blade, width)
        assert worn.recession_um("left") == pytest.approx(lost, abs=1e-9)
        assert worn.width_mm == pytest.approx(blade.width_mm - 2 * lost / 1000)
    for wrong in (0.0, -0.1, blade.width_mm * (1 + 2e-9), 1.5):
        with pytest.raises(ek.BadArgument, match="width_mm"):
            ek.WornBlade.from_width(blade, wrong)
    assert ek.WornBlade.from_width(blade, 0.2).recession_um("right") == pytest.approx(300.0)


def test_a_recession_given_at_places_is_read_between_them():
    worn = ek.WornBlade.from_recession(bar(), {"right": [10.0, 30.0, 20.0]}, stations=9)
    wanted = np.interp(np.linspace(0, 2, 9), [0, 1, 2], [10.0, 30.0, 20.0])
    assert worn.recession_um("right") == pytest.approx(wanted)
    assert worn.recession_um("left").max() == 0.0
    lost = np.trapezoid(wanted, dx=1 / 8) / 1000
    assert worn.width_mm == pytest.approx(0.8 - lost)
    thirds = worn.thirds()
    assert thirds["edge"].tolist() == ["left"] * 3 + ["right"] * 3
    assert thirds["internal_angle_deg"].to_numpy() == pytest.approx(75.0)
    assert thirds["width_mm"].mean() == pytest.approx(worn.width_mm)
    factor = float(ek.dull_edge(75.0, 1.0).worn_area_um2)
    assert thirds["missing_um2"].to_numpy() == pytest.approx(factor * value("sharp_radius_um") ** 2)


def a_loss(edge, length_mm=None, recession_um=20.0, sd_um=4.0):
    """A reading of pictures, without pictures."""
    loss, arc = object.__new__(WidthLoss), edge.stations(201)
    size = edge.length_mm if length_mm is None else length_mm
    given = {
        "length_mm": size,
        "arc_mm": arc * size / edge.length_mm,
        "recession_um": np.linspace(0.5, 2.0, 201) * recession_um - 15.0,
        "sd_um": np.full(201, sd_um),
        "usable": np.ones(201, dtype=bool),
    }
    for name, size in given.items():
        object.__setattr__(loss, name, size)
    return loss


def test_a_reading_of_pictures_is_moved_by_its_standard_deviations():
    blade = bar()
    loss = a_loss(blade.edges["left"])
    seen = np.interp(np.linspace(0, 1, 41), np.linspace(0, 1, 201), loss.recession_um)
    for sds in (0.0, 2.0, -1.5):
        worn = ek.WornBlade.from_pictures(blade, {"left": loss}, sds=sds, stations=41)
        found = worn.recession_um("left")
        wanted = np.maximum(seen + sds * 4.0, 0.0)
        assert found[4:] == pytest.approx(wanted[4:], abs=0.05)
        assert worn.recession_um("right").max() == 0.0
    again = ek.WornBlade.from_pictures(blade, {"left": loss})
    assert again.edges["left"].arc_mm.shape == (64,)
    for share, good in ((0.91, True), (1.09, True), (0.89, False), (1.11, False)):
        other = a_loss(blade.edges["left"], share * blade.edges["left"].length_mm)
        if good:
            assert ek.WornBlade.from_pictures(blade, {"left": other}).recession_um("left").any()
        else:
            with pytest.raises(ek.Cannot, match="another length"):
                ek.WornBlade.from_pictures(blade, {"left": other})
    with pytest.raises(ek.BadArgument, match="no such edge"):
        ek.WornBlade.from_pictures(blade, {"used": loss})


def test_a_lowered_and_leaning_face_shows_in_the_angle_and_the_outline():
    worn = honed(bar(), tilt_deg=2.0).worn
    for name, edge in worn.edges.items():
        lean = np.degrees(edge.lean_rad)
        assert np.abs(lean) == pytest.approx(2.0)
        assert worn.internal_angle_deg(name) == pytest.approx(75.0 - lean)
        outline = worn.outline_mm(name, 2.5)
        assert outline[0] == pytest.approx([worn.recession_um(name)[20] / 1000, edge.drop_mm[20]])
        assert (outline[1:, 1] > edge.drop_mm[20]).all()
        assert len(outline) == 1 + (edge.depth_mm[:, 20] > edge.drop_mm[20]).sum()
    new = ek.WornBlade.new(bar(), stations=9, depths=7)
    assert new.outline_mm("left", 2.5)[:, 1] == pytest.approx(new.edges["left"].depth_mm[:, 4])
    length = float(worn.edges["left"].arc_mm[-1])
    assert worn.outline_mm("left", 0.0).shape == worn.outline_mm("left", length).shape
    assert worn.outline_mm("left", 0.5).shape[1] == 2
    for wrong in (-0.1, length + 1e-6):
        with pytest.raises(ek.BadArgument, match="arc_mm"):
            worn.outline_mm("left", wrong)


def test_steel_lost_is_a_layer_along_the_flank():
    # A parallelogram between two flanks, as far as the flat flank goes; here nearly all of it.
    blade = straight_blade(thickness_mm=0.5)
    worn = ek.WornBlade.from_recession(blade, 20.0, stations=9, depths=400)
    depth = np.linspace(0.0, 0.5, 200_001)
    layer = np.maximum(0.02 + depth * COT - blade.section.inset_mm(depth), 0.0)
    area = np.trapezoid(layer, depth)
    assert worn.steel_lost_mg == pytest.approx(STEEL * area * LENGTH_MM, rel=2e-5)
    assert ek.WornBlade.new(blade).steel_lost_mg == pytest.approx(0.0, abs=1e-12)


# ---- the field ------------------------------------------------------------------------------


def test_an_edge_is_prepared_on_as_many_nodes_as_it_may():
    blade = straight_blade()
    small = ground.prepare_edge(blade, "used", stations=2, depths=3)
    assert small.inset_mm.shape == (3, 2)
    for wrong, says in (
        ({"stations": 1, "depths": 3}, "stations must be a whole number of 2 or more"),
        ({"stations": 2, "depths": 2}, "depths must be a whole number of 3 or more"),
        ({"stations": 1_333_334, "depths": 3}, r"stations must be 1,333,333 or less .* 0\.32 GB"),
        ({"stations": 1000, "depths": 4001}, r"depths must be 4,000 or less .* 0\.32 GB"),
    ):
        with pytest.raises(ek.BadArgument, match=says):
            ground.prepare_edge(blade, "used", **wrong)


def test_nodes_lie_denser_near_the_face():
    grid = ground.prepare_edge(straight_blade(), "used", stations=5, depths=12)
    assert grid.depth_mm[:, 2] == pytest.approx(0.71 * (np.arange(12) / 11) ** 1.2)
    assert 0.035 < grid.depth_mm[1, 2] < 0.045  # 40 µm, as the module says
    assert grid.half_width_mm == pytest.approx(0.43)
    section = RoundBack(width_mm=0.86, thickness_mm=0.71, internal_angle_deg=75.0)
    assert grid.inset_mm[:, 2] == pytest.approx(section.inset_mm(grid.depth_mm[:, 2]))


def test_shares_of_even_nodes_are_those_of_gregory():
    """3/8, 7/6, 23/24, 1, …, in units of the spacing: extended rules of open and closed type in any
    handbook of quadrature (Press et al., Numerical Recipes, eq. 4.1.14; from memory)."""
    ends = [3 / 8, 7 / 6, 23 / 24]
    shares = node_shares(np.linspace(0.0, 1.0, 11))
    assert 10 * shares == pytest.approx([*ends, 1, 1, 1, 1, 1, *ends[::-1]])
    assert node_shares(np.array([0.0, 0.5, 1.0])) == pytest.approx([1 / 6, 4 / 6, 1 / 6])


@pytest.mark.parametrize("depths", [3, 4, 5, 8, 12, 23, 48, 300])
def test_shares_are_positive_and_right_for_parabolas(depths):
    at = graded(depths)
    shares = node_shares(at)
    assert (shares > 0).all()
    for power in range(3):
        assert shares @ at**power == pytest.approx(1 / (power + 1), rel=1e-12)


def test_a_kink_that_may_lie_anywhere_is_right_on_average():
    """Mean over its place of ∫ max(0, v - k) dv is 1/6; trapezoids are off by a twelfth of the
    gap's square."""
    at = graded(12)
    kinks = (np.arange(20_000) + 0.5) / 20_000
    flanks = np.maximum(at - kinks[:, None], 0.0)
    gaps = np.diff(at)
    by_trapezoids = (np.append(gaps, 0.0) + np.append(0.0, gaps)) / 2
    assert (flanks @ by_trapezoids).mean() - 1 / 6 == pytest.approx((gaps**3).sum() / 12, rel=1e-3)
    assert abs((flanks @ node_shares(at)).mean() - 1 / 6) < (gaps**3).sum() / 12 / 30


def test_sides_and_thirds_are_shares_of_length():
    grid = ground.prepare_edge(UNIVERSAL, "left", stations=200, depths=3)
    lean = np.degrees(np.arccos(np.abs(grid.tangent @ grid.edge.roll_reference)))
    assert (grid.on_side == (lean < 45.0)).all()
    assert 0.5 < grid.on_side.mean() < 1
    assert grid.side_weights.sum() == pytest.approx(1.0)
    even = ground._thirds(np.array([1.0, 1.0, 1.0, 1.0, 2.0]))  # ends of thirds at 2 and 4 of 6
    assert even == pytest.approx(
        np.array([[0.5, 0.5, 0, 0, 0], [0, 0, 0.5, 0.5, 0], [0, 0, 0, 0, 1.0]])
    )
    assert ground._thirds(np.ones(2)) == pytest.approx(np.array([[1, 0], [0.5, 0.5], [0, 1]]))


@pytest.mark.parametrize("stations", [32, 64, 128])
@pytest.mark.parametrize("blade", [ek.patterns.area_specific_curette(), UNIVERSAL])
def test_the_side_ends_between_stations(stations, blade):
    """Its mean place is that of 20,001 stations but for the square of the spacing."""
    name = next(iter(blade.edges))
    grid, fine = (
        ground.prepare_edge(blade, name, stations=n, depths=3) for n in (stations, 20_001)
    )
    assert (grid.side_weights >= 0).all()
    assert (grid.side_weights[grid.on_side] > 0).all()
    place = grid.side_weights @ grid.arc_mm
    assert place == pytest.approx(fine.arc_mm[fine.on_side].mean(), abs=0.2 * grid.arc_mm[1] ** 2)


@pytest.mark.parametrize("runs", [1, 3])
@pytest.mark.parametrize("planes_at_once", [1, 4, 40])
def test_planes_see_stations_from_in_front_alone(runs, planes_at_once):
    """Source: the sign of -n·b, station by station, for planes that lie every way."""
    blade = ek.patterns.area_specific_curette()
    grid = ground.prepare_edge(blade, "used", stations=30, depths=3)
    rng = np.random.default_rng(runs)
    normals = rng.normal(size=(40, 3, 1)) + 0.3 * rng.normal(size=(40, 3, runs))
    normals[:6] = -grid.inward[[0, 5, 12, 20, 27, 29], :, None] + 1e-3 * rng.normal(
        size=(6, 3, runs)
    )
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    sight = ground._Sight(grid, normals)
    for first, last in ((0, 30), (7, 23)):
        for start in range(0, 40, planes_at_once):
            some = list(range(start, start + planes_at_once))
            height, fall, facing = sight.of(some, first, last)
            here = slice(first, last)
            toward = -np.einsum("si,pir->psr", grid.inward[here], normals[some])
            seen = toward > 1e-9
            lies = np.einsum("si,pir->psr", grid.position[here], normals[some])
            assert height[seen] == pytest.approx(lies[seen])
            assert np.isneginf(height[~seen]).all()
            assert facing == pytest.approx(np.maximum(toward, 1e-9))
            drop = grid.depth_mm[-1, here, None] * np.einsum(
                "si,pir->psr", grid.face[here], normals[some]
            )
            assert fall == pytest.approx(drop)


def test_an_edge_lies_before_a_plane_or_behind_it_wherever_it_points():
    """All of a straight edge alike, so that the bound of a search must hold for each."""
    rng = np.random.default_rng(4)
    for _ in range(30):
        turn = Rotation.from_rotvec(rng.normal(size=3) * 2).as_matrix()
        blade = straight_blade().moved(turn, np.zeros(3))
        grid = ground.prepare_edge(blade, "used", stations=3, depths=3)
        for spread in (0.0, 0.3):
            normals = rng.normal(size=(30, 3, 1)) + spread * rng.normal(size=(30, 3, 2))
            height, _, facing = ground._Sight(grid, normals).of(range(30), 0, 3)
            toward = -np.einsum("si,pir->psr", grid.inward, normals)
            assert (np.isneginf(height) == (toward <= 1e-9)).all()
            assert facing == pytest.approx(np.maximum(toward, 1e-9))


def test_a_plane_that_grazes_an_edge_does_not_see_it():
    grid = ground.prepare_edge(straight_blade(), "used", stations=3, depths=3)
    assert (grid.inward == [0.0, -1.0, 0.0]).all()
    for lean, sees in ((1e-9, False), (1.01e-9, True), (-1e-9, False)):
        normals = np.array([[[0.0, lean, 1.0]]])
        height, _, _ = ground._Sight(grid, np.moveaxis(normals, 0, -1)).of([0], 0, 3)
        assert np.isfinite(height).all() == sees
        field = grid.inset_mm[:, None, :]
        seating = ground.seat(grid, field, normals, drop=np.zeros((1, 3)), goal=np.zeros((1, 3)))
        zero = np.zeros((1, 3))
        alone, _ = seating.alone(zero.astype(int), grid.seen, zero, zero)
        assert np.isfinite(alone).all() == sees


@pytest.mark.parametrize(("runs", "number"), [(1, 4), (3, 2), (1, 2), (2, 1)])
@pytest.mark.parametrize("name", BLADES)
def test_a_face_lowered_in_part_is_seated_and_cut_as_in_plain_loops(name, runs, number):
    rng = np.random.default_rng(9)
    grid, field, drop = prepared(BLADES[name], stations=13, depths=5, runs=runs)
    drop = drop + np.where(rng.uniform(size=drop.shape) < 0.5, rng.uniform(0, 0.02), 0.0)
    assert 0 < (drop == 0).mean() < 1
    normals = hand_planes(grid, rng, runs=runs, planes=number)
    advance, goal = rng.uniform(0.03, 0.09, (runs, number)), rng.uniform(0, 0.02, drop.shape)
    seating = laid(grid, field, normals, drop, goal)
    found = ground.cut(grid, field, seating, advance, drop)
    after, _, need, reach = loops(grid, field, normals, advance, drop, goal)
    close = {"rtol": 1e-9, "atol": 1e-11}
    np.testing.assert_allclose(found.inset, after, **close)
    np.testing.assert_allclose(seating.least, need.min(axis=1), **close)
    deep = reach.max(axis=1) > ground.inset_at(grid, field, drop) + 1e-6
    assert deep.any()
    np.testing.assert_allclose(found.reach[deep], reach.max(axis=1)[deep], **close)
    assert (found.plane[deep] == reach.argmax(axis=1)[deep]).all()
    # What a plane alone would need, at all stations and at some.
    for at in (slice(None), slice(2, 9)):
        for p in range(number):
            lowered = (drop / grid.depth_mm[-1])[:, at]
            plane = np.full(lowered.shape, p)
            alone, _ = seating.alone(plane, grid.seen[:, at], lowered, goal[:, at])
            np.testing.assert_allclose(alone, need[:, p, at], **close)


def test_planes_that_cut_nothing_keep_their_numbers():
    grid, field, drop = prepared(circle_blade(), stations=41, depths=4)
    normals = grid.edge.frame(np.array([[0.7, 2.0, 2.8, 4.9]])).outward.value
    seating = laid(grid, field, normals)
    found = ground.cut(grid, field, seating, np.array([[0.02, -1.0, -1.0, 0.03]]), drop)
    ground_here = found.reach[0] > field[0, 0] + 1e-6
    assert (found.plane[0][ground_here] == np.where(grid.arc_mm < 2.8, 0, 3)[ground_here]).all()
    assert set(found.plane[0][ground_here]) == {0, 3}


def test_a_stone_takes_what_it_reaches_however_little():
    grid, field, drop = prepared(straight_blade(), stations=5, depths=3)
    normals = grid.edge.frame(np.array([[1.0]])).outward.value
    seating = laid(grid, field, normals)
    after, *_ = ground.cut(grid, field, seating, np.full((1, 1), 5e-10), drop)
    wanted = 5e-10 / math.sin(2 * HALF)
    assert (after - field).max() == pytest.approx(wanted, rel=1e-3)


def test_an_edge_at_45_degrees_is_of_the_toe():
    for lean, side in ((44.9, True), (45.0, False), (45.1, False)):
        edge = arc_edge([5.0], [0.0], heading=math.radians(lean))
        grid = ground.prepare_edge(one_edged(edge), "used", stations=3, depths=3)
        assert (grid.on_side == side).all()


def test_what_rounding_may_do_depends_on_the_precision():
    assert ground.rounding_mm(np.zeros(2)) == 1e-9
    assert ground.rounding_mm(np.zeros(2, dtype=np.float32)) == 5e-6


@pytest.mark.parametrize("share", [0.0, 1e-6, 0.2, 0.5, 0.99, 1.0, 1.5])
def test_an_inset_is_read_at_any_depth(share):
    grid = ground.prepare_edge(UNIVERSAL, "left", stations=7, depths=6)
    rng = np.random.default_rng(1)
    field = np.sort(rng.uniform(size=(6, 2, 7)), axis=0)
    drop = share * grid.depth_mm[-1] * np.ones((2, 1))
    drop[0, 3] = 0.0
    found = ground.inset_at(grid, field, drop)
    for r in range(2):
        for s in range(7):
            wanted = np.interp(drop[r, s], grid.depth_mm[:, s], field[:, r, s])
            assert found[r, s] == pytest.approx(wanted)


def test_no_steel_is_cleared_past_the_centre_of_a_curve():
    grid = ground.prepare_edge(circle_blade(radius=0.4, length=0.5), "used", stations=9, depths=5)
    for inset, area in ((0.1, 0.1 - 0.1**2 / 0.8), (0.4, 0.2), (0.7, 0.2)):
        field = np.full((5, 1, 9), inset)
        assert ground.cleared(grid, field) == pytest.approx(area * 0.71 * 0.5)
    part = np.full((5, 1, 9), 0.1)
    part[:, 0, 4:6] = 0.7
    shares = grid.station_weights_mm
    wanted = 0.71 * (0.0875 * shares.sum() + (0.2 - 0.0875) * shares[4:6].sum())
    assert ground.cleared(grid, part) == pytest.approx(wanted)


# ---- random numbers -------------------------------------------------------------------------


def numpy_stream(key, block):
    """Numpy's own generator, seeded with the key and the number of a block."""

    class Words(np.random.bit_generator.ISeedSequence):
        def generate_state(self, n_words, dtype=np.uint64):
            return np.array([*key, block], dtype=dtype)[:n_words]

    return np.random.Generator(np.random.SFC64(Words()))


def test_the_numbers_of_a_run_follow_the_scheme_that_is_promised():
    """So that a study can be repeated: key, then blocks of eight sessions, seatings last."""
    keys = SeededKeys(9, first=2, runs=2)
    root = np.random.SeedSequence(9).generate_state(1, np.uint64)[0]
    for run in range(2):
        own = np.random.Philox(key=np.array([root, 2 + run], dtype=np.uint64))
        assert (keys.key(run) == own.random_raw(2)).all()
    edges, seatings = 2, 3
    streams = RandomStreams(keys, edges=edges, seatings=seatings, slots=2)
    both = np.arange(2)
    effects = streams.start_runs(both, both)
    for run in range(2):
        lasting = numpy_stream(keys.key(run), 0).standard_normal(8)
        assert effects.hand[run].tolist() == lasting[:4].tolist()
        parts = (effects.skill, effects.removal, effects.severity, effects.sharp_radius)
        assert [part[run] for part in parts] == lasting[4:].tolist()
    for turn in (0, 3, 7, 8, 17):
        draws = streams.session(both, np.full(2, turn))
        block, row = divmod(turn, 8)
        for run in range(2):
            own = numpy_stream(keys.key(run), 1 + block)
            phase = own.random((8, edges))
            fixed = own.standard_normal((8, 4 + edges * 16))
            seated = own.standard_normal((seatings, 8, edges, 4))
            assert draws.phase[run].tolist() == phase[row].tolist()
            assert draws.setup[run].tolist() == fixed[row, :4].tolist()
            assert draws.patches[run].ravel().tolist() == fixed[row, 4:].tolist()
            assert draws.seatings[run].tolist() == seated[:, row].transpose(1, 0, 2).tolist()
            for edge in range(edges):
                start = (1 << 48) + ((turn * 8 + edge) << 16)
                assert draws.strokes[edge].first_blocks()[run] == start
        numbers = [0, 5, 15, 16, 33] if turn == 3 else [1]
        for number in numbers:
            found = draws.strokes[1].stroke(number, both)
            for run in range(2):
                own = numpy_stream(keys.key(run), (1 << 48) + ((turn * 8 + 1) << 16) + number // 16)
                assert found[run].tolist() == own.standard_normal((16, 15))[number % 16].tolist()


def test_a_run_has_its_own_key_however_it_is_given():
    rng = np.random.default_rng(4)
    key = np.random.default_rng(4).integers(0, 2**64, size=2, dtype=np.uint64)
    assert (GivenKeys([rng]).key(0) == key).all()
    streams = RunStreams.of(4)
    assert (streams.key(0) == key).all()
    assert RunStreams.of(streams) is streams
    assert len(streams) == 1
    assert SeededKeys(0, runs=1).key(0).shape == (2,)
    with pytest.raises(ek.BadArgument, match="seed"):
        SeededKeys(-1, runs=1)
    one, two = (streams.session(turn, edges=1, seatings=1)[1].setup for turn in (3, 4))
    assert (one != two).all()


def test_more_runs_than_slots_start_anew_in_them():
    streams = RandomStreams(SeededKeys(3, runs=5), edges=1, seatings=1, slots=2)
    slots = np.arange(2)
    streams.start_runs(slots, np.array([0, 1]))
    streams.session(slots, np.zeros(2, dtype=int))
    streams.start_runs(slots[1:], np.array([4]))
    found = streams.session(slots, np.zeros(2, dtype=int)).setup[1]
    alone = RandomStreams(SeededKeys(3, first=4, runs=1), edges=1, seatings=1, slots=1)
    alone.start_runs(slots[:1], slots[:1])
    assert (found == alone.session(slots[:1], np.zeros(1, dtype=int)).setup[0]).all()


def test_patches_are_sixteen():
    assert random_streams.PATCHES == value("dull_patches") == 16


# ---- a smooth error -------------------------------------------------------------------------


@pytest.mark.parametrize(("length", "reach"), [(6.0, 1.5), (2.0, 3.0)])
def test_modes_are_those_of_a_matern_correlation_at_240_places(length, reach):
    """Source: scipy's eigenvectors of (1 + √3 d/ℓ) exp(-√3 d/ℓ), up to their sign."""
    at = (np.arange(240) + 0.5) / 240 * length
    d = np.abs(np.subtract.outer(at, at)) * math.sqrt(3) / reach
    size, shape = eigh((1 + d) * np.exp(-d), subset_by_index=(228, 239))
    found = modes(length, reach, 33)
    assert found.shape == (12, 33)
    for k in range(12):
        wanted = math.sqrt(size[-1 - k]) * np.interp(
            np.linspace(0, length, 33), at, shape[:, -1 - k]
        )
        assert found[k] == pytest.approx(wanted * np.sign(wanted @ found[k]), abs=1e-7)
        assert shape[:, -1 - k].shape == (240,)
    # Their signs are settled, so that every machine draws the same errors.
    assert (found.sum(axis=1)[::2] > 0).all()
    assert (found[1::2, 0] > 0).all()


# ---- one section ----------------------------------------------------------------------------

DEPTHS = [0.0, 0.1, 0.3, 0.7]
SHARES = [0.05, 0.15, 0.3, 0.2]


def test_an_area_within_a_flank_shrinks_inward_of_a_curve():
    profile = [0.0, 0.1, 0.2, 0.4]
    flat = sum(w * u for w, u in zip(SHARES, profile, strict=True))
    assert section_stroke.area_within(profile, SHARES, 0.0) == pytest.approx(flat)
    bent = flat - sum(w * u**2 for w, u in zip(SHARES, profile, strict=True)) * 0.6 / 2
    assert section_stroke.area_within(profile, SHARES, 0.6) == pytest.approx(bent)


@pytest.mark.parametrize("curvature", [0.0, 0.8])
@pytest.mark.parametrize("angle_deg", [65.0, 75.0, 85.0])
def test_a_line_takes_the_area_asked_for(angle_deg, curvature):
    profile = [0.0, 0.03, 0.09, 0.2]
    slope = 1 / math.tan(math.radians(angle_deg))
    for area in (1e-5, 1e-3, 0.05):
        level = section_stroke.level_that_takes(
            area, profile, slope, depths=DEPTHS, weights=SHARES, curvature=curvature
        )
        after = [max(u, level + slope * v) for u, v in zip(profile, DEPTHS, strict=True)]
        taken = section_stroke.area_within(after, SHARES, curvature)
        taken -= section_stroke.area_within(profile, SHARES, curvature)
        assert taken == pytest.approx(area, rel=1e-9)


def test_what_is_left_of_an_apex_at_its_limits():
    angle, radius = math.radians(75.0), 2.0
    clear = radius / math.tan(angle / 2)
    assert section_stroke.clear_inset(angle, radius) == pytest.approx(clear)
    for inset in (clear, clear * 1.5, clear * 5):
        assert section_stroke.remains(radius, angle, inset, angle).land == pytest.approx(
            0, abs=1e-7
        )
        assert section_stroke.remains(radius, angle, inset, angle).missing == pytest.approx(
            0, abs=1e-7
        )
    whole = section_stroke.remains(radius, angle, 0.0, angle)
    assert whole.land == pytest.approx(2 * radius * math.cos(angle / 2))
    assert whole.missing == pytest.approx(section_stroke.missing_area(angle, radius))
    factor = 1 / math.tan(angle / 2) - (math.pi - angle) / 2
    assert section_stroke.missing_area(angle, radius) == pytest.approx(4 * factor)
    # An opened line that misses the circle cuts a triangle off the void.
    opened = section_stroke.remains(radius, angle, 0.05, math.radians(80.0))
    triangle = 0.05**2 / 2 / (1 / math.tan(angle) - 1 / math.tan(math.radians(80.0)))
    assert opened.land == whole.land
    assert opened.missing == pytest.approx(whole.missing - triangle)
    assert section_stroke.fresh_inset(angle, 1.0, 1.0) == 0.0
    assert section_stroke.fresh_inset(angle, 0.9, 1.0) == 0.0
    assert section_stroke.fresh_inset(angle, 1.0, 0.0) == pytest.approx(1 / math.tan(angle / 2))


@pytest.mark.parametrize("share", [0.15, 0.4, 0.7, 0.9])
@pytest.mark.parametrize("opened", [0.0, 0.04])
def test_what_is_left_of_a_rounded_apex_is_what_polygons_say(share, opened):
    """Source: shapely clips the circle, as in the independent simulation of sections."""
    angle, radius = math.radians(75.0), 2.0
    inset = share * radius / math.tan(angle / 2)
    judge = section_simulation.remainder(radius, angle, angle + opened, inset)
    found = section_stroke.remains(radius, angle, inset, angle + opened)
    assert found.land == pytest.approx(judge.land, abs=2e-3 * radius)
    assert found.missing == pytest.approx(judge.missing, abs=2e-3 * radius**2)
    assert found.missing > 0


def ground_section(strokes=40, **changes):
    usual = {
        "area": 2e-4,
        "angle": 2 * HALF,
        "radius": 4e-3,
        "land": 0.0,
        "depths": DEPTHS,
        "weights": SHARES,
    }
    profile = [v * COT for v in DEPTHS]
    return section_stroke.grind_section(profile, [2 * HALF] * strokes, **(usual | changes))


def test_a_section_is_ground_until_its_land_is_as_asked():
    """Parallel strokes: each moves the flank by the area over the depth."""
    each = 2e-4 / 0.7
    clear = 4e-3 / math.tan(HALF)
    done = ground_section()
    assert done.strokes == math.ceil(clear / each)
    assert done.inset == pytest.approx(done.strokes * each)
    assert done.profile == pytest.approx([v * COT + done.inset for v in DEPTHS])
    assert done.angle == 2 * HALF
    assert ground_section(strokes_between_looks=4).strokes == 4 * math.ceil(done.strokes / 4)
    land = ground_section(land=2e-3)
    fresh = section_stroke.fresh_inset(2 * HALF, 4e-3, 1e-3 / math.cos(HALF))
    assert land.strokes == math.ceil(fresh / each)
    assert ground_section(0, land=1.0).strokes == 0
    assert ground_section(done.strokes).strokes == done.strokes
    with pytest.raises(ek.Cannot, match="still dull after the last stroke"):
        ground_section(done.strokes - 1)
    with pytest.raises(ek.Cannot, match="still dull"):
        ground_section(done.strokes, strokes_between_looks=done.strokes + 1)


def test_a_section_keeps_the_angle_of_the_last_stroke_that_reached_its_edge():
    profile = [v * COT for v in DEPTHS]
    tilted = [2 * HALF, 2 * HALF - 0.05, *[2 * HALF + 0.02] * 30]
    done = section_stroke.grind_section(
        profile,
        tilted[:2],
        area=2e-4,
        angle=2 * HALF,
        radius=1e-3,
        land=1.0,
        depths=DEPTHS,
        weights=SHARES,
    )
    assert (done.strokes, done.angle) == (0, 2 * HALF)
    done = section_stroke.grind_section(
        profile,
        tilted,
        area=2e-4,
        angle=2 * HALF,
        radius=4e-3,
        land=0.0,
        depths=DEPTHS,
        weights=SHARES,
    )
    assert done.angle == 2 * HALF + 0.02
    closed = section_stroke.grind_section(  # a closed stroke cuts from below and leaves the edge
        profile,
        [2 * HALF, 2 * HALF - 0.05] * 40,
        area=2e-4,
        angle=2 * HALF,
        radius=1e-4,
        land=0.0,
        depths=DEPTHS,
        weights=SHARES,
    )
    assert closed.angle == 2 * HALF
