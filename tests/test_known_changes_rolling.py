"""Formulas of rolling strokes of which a change once left every test green, in few strokes each."""

import dataclasses
import math
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import brentq

import edgekit as ek
from edgekit.evidence_table import value
from edgekit.grinding.compiled import engine
from edgekit.grinding.modes import modes
from edgekit.grinding.random_streams import RunStreams
from edgekit.grinding.rolling import RolledEdge, Stretch
from edgekit.grinding.rolling_session import MAX_STROKES, past_need
from edgekit.method.stop import Counted, UntilClear, UntilFresh
from edgekit.method.strokes import RollingStroke
from tests import plain_kernel
from tests.test_strokes import (
    BETA,
    DULL_MM,
    FINE_MM3,
    FRESH_MM,
    dulled,
    flat_stroke,
    grid_of,
    hands,
    new_field,
    rolled_edge,
    session,
    stroke,
)
from tests.wear_blades import circle_blade, straight_blade

SMALL = {"stations": 17, "depths": 6}
RADIUS = 6.7


def random_field(rolled, runs, seed=1, rough=0.01):
    """A flank that earlier sessions left uneven."""
    rng = np.random.default_rng(seed)
    field = new_field(rolled, runs)
    return field + rng.uniform(0, rough, field.shape)


# ---- an edge to roll on ---------------------------------------------------------------------


def test_an_edge_turns_by_what_its_planes_do():
    for stations in (17, 65):
        rolled = rolled_edge(stations=stations, depths=4)
        # The normal leans by β: along the edge it turns by sin β of the edge's own turn.
        turned = math.sin(BETA) * rolled.grid.arc_mm / RADIUS
        assert rolled.turned_rad == pytest.approx(turned, rel=2e-3, abs=1e-12)
        assert rolled.angle_rad == pytest.approx(BETA)
    grid = grid_of(**SMALL)
    more = 1 + 5e-16  # rounding
    assert RolledEdge.of(grid, -grid.face * more).angle_rad == pytest.approx(0.0, abs=1e-7)
    assert RolledEdge.of(grid, grid.face * more).angle_rad == pytest.approx(math.pi)


def drops_of(rolled, runs):
    """Faces lowered in part: not at all, to a node, between nodes, past the deepest."""
    depth = rolled.grid.depth_mm[:, 0]
    choices = [
        0.0,
        depth[1],
        depth[2],
        0.3 * depth[1],
        0.5 * (depth[3] + depth[4]),
        depth[-1],
    ]
    stations = len(rolled.grid.arc_mm)
    return np.array([[choices[(s + 2 * r) % 6] for r in range(runs)] for s in range(stations)])


def test_an_inset_is_read_where_the_face_lies():
    rolled = rolled_edge(**SMALL)
    field, drop = random_field(rolled, 3), drops_of(rolled, 3)
    assert (rolled.inset(field) == field[0]).all()
    assert rolled.lowered(0 * drop) is rolled
    found = rolled.lowered(drop).inset(field)
    for s in range(17):
        for r in range(3):
            wanted = np.interp(drop[s, r], rolled.grid.depth_mm[:, s], field[:, s, r])
            assert found[s, r] == pytest.approx(wanted)
    some = rolled.lowered(drop).some(np.array([2, 0]))
    assert (some.drop_mm == drop[:, [2, 0]]).all()
    assert rolled.some(np.array([0])) is rolled
    one = rolled.lowered(drop[:, 1:2]).some(np.array([0]))
    assert (one.drop_mm == drop[:, 1:2]).all()


def cells(depth, drop):
    """Length of depth that each node stands for, below a face."""
    alone = plain_kernel.over_depth(depth, np.eye(len(depth))[:, None])[0]
    ends = np.concatenate([[0.0], np.cumsum(alone)])
    return [max(b - max(a, drop), 0.0) for a, b in pairwise(ends)]


def area(inset, curvature):
    """Of a strip of unit length and depth, from the edge's line inward to the curve's centre."""
    inset = min(inset, 1 / curvature) if curvature > 1e-6 else inset
    return inset - curvature * inset**2 / 2


@pytest.mark.parametrize("radius", [RADIUS, 0.4])
def test_areas_and_pressure_are_sums_over_nodes(radius):
    rolled = rolled_edge(radius_mm=radius, length_mm=0.6 * radius, **SMALL)
    drop = drops_of(rolled, 2)
    field = random_field(rolled, 2, rough=0.3)
    lowered = rolled.lowered(drop)
    kappa, depth = rolled.grid.plan_curvature, rolled.grid.depth_mm
    press = np.zeros((17, 2))
    for s in range(17):
        for r in range(2):
            nodes = cells(depth[:, s], drop[s, r])
            assert lowered.node_mm[:, s, r] == pytest.approx(nodes)
            wanted = sum(w * area(u, kappa[s]) for w, u in zip(nodes, field[:, s, r], strict=True))
            assert lowered.within(field)[s, r] == pytest.approx(wanted)
            press[s, r] = sum(
                w * max(1 - kappa[s] * u, 0.0) for w, u in zip(nodes, field[:, s, r], strict=True)
            )
    assert lowered.pressed(field) == pytest.approx(press / press.max(axis=0))
    weights = rolled.grid.station_weights_mm
    assert lowered.volume(press) == pytest.approx(weights @ press)


def test_a_stretch_is_misplaced_by_swing_and_shift_but_an_overrun_end_is_not():
    rolled = rolled_edge(stations=126, depths=4, length_mm=6.25)
    step, turn = 0.05, math.sin(BETA) / RADIUS  # of the normal for each millimetre
    end = rolled.grid.arc_mm[-1]
    first = np.array([1.0, 0.0, -0.3, -np.inf, 2.0])
    last = np.array([3.0, end, 6.26, np.inf, 9.0])
    swing, shift = np.radians([2.0, 2.0, 3.0, 3.0, -4.0]), np.array([0.4, 0.2, 0.5, 0.5, 0.3])
    found = Stretch.misplaced(rolled, (first, last), swing, shift)
    move = swing / turn + shift
    wanted = [1.0 + move[0], move[1], 0.0, 0.0, 2.0 + move[4]]
    assert found.first == pytest.approx(np.rint(np.array(wanted) / step), abs=1)
    assert found.first[2:4].tolist() == [0, 0]
    ends = [3.0 + move[0], 6.25 + shift[1], 6.25, 6.25, 6.25]
    assert found.last == pytest.approx(np.rint(np.minimum(ends, 6.25) / step), abs=1)
    assert found.last[1:].tolist() == [125] * 4
    back = Stretch.misplaced(rolled, (first, last), -swing, -shift)
    assert back.last[1] == round((6.25 - swing[1] / turn - 0.2) / step)


# ---- strokes over all of an edge --------------------------------------------------------------


def taken(rolled, before, after):
    """Area (S, R) between two flanks, node by node."""
    kappa = rolled.grid.plan_curvature
    found = np.zeros(before.shape[1:])
    for v, s, r in np.ndindex(before.shape):
        node = rolled.node_mm[v, s, min(r, rolled.node_mm.shape[2] - 1)]
        found[s, r] += node * (area(after[v, s, r], kappa[s]) - area(before[v, s, r], kappa[s]))
    return found


CASES = {
    "a side": ({}, 1e-3),
    "a toe": ({"radius_mm": 0.5, "length_mm": 0.6}, 2e-4),
    "past the centre of a toe": ({"radius_mm": 0.5, "length_mm": 0.6}, 0.05),
    "nearly all of a toe": ({"radius_mm": 0.5, "length_mm": 0.6}, 0.068),
    "straight": ({"radius_mm": 1e5}, 3e-3),
}


@pytest.mark.parametrize("low", [False, True])
@pytest.mark.parametrize("case", CASES)
def test_a_stroke_takes_its_volume_by_the_share_pressed_along_its_lines(case, low):
    options, volume = CASES[case]
    rolled = rolled_edge(**SMALL, **options)
    if low:
        rolled = rolled.lowered(np.minimum(drops_of(rolled, 2), 0.2))
        volume *= 0.7
    rng = np.random.default_rng(3)
    field = random_field(rolled, 2, rough=0.004)
    tilt = rng.normal(0, 0.04, (17, 2))
    given = np.array([volume, 0.6 * volume])
    after, lines = stroke(rolled, field, tilt, None, given)
    assert lines.slope == pytest.approx(1 / np.tan(BETA + tilt))
    depth = rolled.grid.depth_mm[:, :, None]
    assert after == pytest.approx(np.maximum(field, lines.level + lines.slope * depth))
    assert lines.meets(rolled) == pytest.approx(lines.level + lines.slope * rolled.drop_mm)
    found = taken(rolled, field, after)
    press = rolled.pressed(field)
    weights = rolled.grid.station_weights_mm
    assert found == pytest.approx(press * given / (weights @ press), rel=1e-8)
    # Each run as if it were alone.
    alone, _ = stroke(rolled.some(np.array([1])), field[..., 1:], tilt[:, 1:], None, given[1:])
    assert (alone[..., 0] == after[..., 1]).all()


@pytest.mark.parametrize("share", [0.85, 0.9, 0.94, 0.96])
@pytest.mark.parametrize("tilt", [0.0, 0.04, 0.12, -0.1])
def test_lines_that_reach_the_centre_of_a_toe_take_what_is_left_there(tilt, share):
    rolled = rolled_edge(**SMALL, radius_mm=0.5, length_mm=0.6)
    room = rolled.volume(rolled.node_mm.sum(axis=0) * 0.25 - rolled.within(new_field(rolled)))
    field = random_field(rolled, 3, rough=0.004)
    if tilt >= 0:
        field[-1, ::2, 1] = 0.7  # past the centre already: nothing is left there
    given = room * np.array([share, 0.3, 0.5 + share / 2])
    after, lines = stroke(rolled, field, np.full((17, 3), tilt), None, given)
    press, weights = rolled.pressed(field), rolled.grid.station_weights_mm
    wanted = press * given / (weights @ press)
    assert taken(rolled, field, after) == pytest.approx(wanted, rel=1e-8)
    if share > 0.9 and tilt < 0.1:
        assert (lines.level + lines.slope * 0.71).max() > 0.5
    for r in range(3):
        one = np.ascontiguousarray(field[..., r : r + 1])
        alone, _ = stroke(rolled, one, np.full((17, 1), tilt), None, given[r : r + 1])
        assert (alone[..., 0] == after[..., r]).all()


def test_a_stroke_over_all_stations_is_one_over_the_whole_edge():
    rolled = rolled_edge(**SMALL)
    field, tilt = random_field(rolled, 1), np.full((17, 1), 0.02)
    whole = Stretch(np.array([0]), np.array([16]))
    one, _ = stroke(rolled, field, tilt, whole, np.array([1e-3]))
    other, _ = stroke(rolled, field, tilt, None, np.array([1e-3]))
    assert (one == other).all()


# ---- strokes over a part ----------------------------------------------------------------------


@pytest.mark.parametrize(("first", "last"), [(5, 11), (0, 8), (9, 16), (8, 8), (0, 15), (1, 16)])
@pytest.mark.parametrize("tilt", [0.0, 0.03, -0.03])
def test_beyond_a_stretch_its_last_planes_go_on_as_facets(first, last, tilt):
    """Source: planes on a cone about the curve's centre; their depth by their volume (brentq)."""
    rolled = rolled_edge(stations=17, depths=9)
    grid, field = rolled.grid, new_field(rolled)
    depth, arc = grid.depth_mm[:, :, None], grid.arc_mm
    slope = 1 / math.tan(BETA + tilt)
    beyond = np.where(arc < arc[first], arc[first] - arc, np.maximum(arc - arc[last], 0.0))
    turn = (beyond / RADIUS)[:, None]

    def left(level):  # a plane lies R - u - slope v from the axis, along the radius it touches at
        line = RADIUS - (RADIUS - level - slope * depth) / np.cos(turn)
        return np.maximum(field, line)

    volume = np.array([5e-4])

    def excess(level):
        return float(grid.station_weights_mm @ taken(rolled, field, left(level))[:, 0]) - 5e-4

    low = -0.71 * max(slope - 1 / math.tan(BETA), 0.0) - 0.01
    level = brentq(excess, low, 0.3, xtol=1e-15)
    ends = Stretch(np.array([first]), np.array([last]))
    after, lines = stroke(rolled, field, np.full((17, 1), tilt), ends, volume)
    assert after[..., 0] == pytest.approx(left(level)[..., 0], abs=1e-7)
    assert lines.level[first : last + 1] == pytest.approx(level, abs=1e-7)


@pytest.mark.parametrize("proud", [0.002, 0.02, 0.08])
def test_proud_steel_keeps_a_flat_stone_off_what_lies_lower(proud):
    rolled = rolled_edge(stations=33, depths=7)
    runs = 3
    field = new_field(rolled, runs) + proud
    field[:, 14:17, 0] -= proud  # a hump within the stretch
    field[:, 9:11, 1] -= proud  # at its end
    field[:, 20:, 2] -= proud  # beyond it
    volume = np.array([2e-4, 4e-4, 6e-4])
    ends = Stretch(np.full(runs, 10), np.full(runs, 22))
    tilt = np.broadcast_to([0.02, -0.015, 0.0], (33, runs))
    after, _ = stroke(rolled, field, tilt, ends, volume)
    assert (after >= field).all()
    found = rolled.grid.station_weights_mm @ taken(rolled, field, after)
    assert found == pytest.approx(volume, rel=1e-8)
    cut = (after > field + 1e-12).any(axis=0)
    assert cut[14:17, 0].any()
    if proud > 0.01:
        assert not cut[[12, 18], 0].any()
    # Mirrored along the edge the same is taken, mirrored.
    moved = Stretch(np.full(runs, 32 - 22), np.full(runs, 32 - 10))
    again, _ = stroke(rolled, field[:, ::-1], tilt, moved, volume)
    assert again[:, ::-1] == pytest.approx(after, abs=1e-8)


def test_runs_of_parts_are_those_of_each_alone():
    rolled = rolled_edge(stations=33, depths=7)
    rolled = rolled.lowered(np.minimum(drops_of(rolled, 3), 0.1))
    field, rng = random_field(rolled, 3), np.random.default_rng(2)
    tilt, volume = rng.normal(0, 0.03, (33, 3)), np.array([1e-4, 5e-4, 1e-3])
    ends = Stretch(np.array([3, 0, 12]), np.array([20, 9, 32]))
    after, lines = stroke(rolled, field, tilt, ends, volume)
    found = rolled.grid.station_weights_mm @ taken(rolled, field, after)
    assert found == pytest.approx(volume, rel=1e-8)
    for r in range(3):
        one = np.array([r])
        part = Stretch(ends.first[one], ends.last[one])
        alone, _ = stroke(
            rolled.some(one), np.ascontiguousarray(field[..., one]), tilt[:, one], part, volume[one]
        )
        assert (alone[..., 0] == after[..., r]).all()
    # Within a stretch a station is cut by its own plane, or where a neighbour's reaches deeper.
    assert np.isfinite(lines.level).all()


def test_a_plane_leaves_alone_what_lies_behind_it():
    rolled = rolled_edge(radius_mm=0.5, length_mm=1.4, stations=29, depths=6)
    field, runs = new_field(rolled, 2), 2
    turned = rolled.grid.arc_mm / 0.5
    ends = Stretch(np.array([2, 24]), np.array([4, 26]))
    after, lines = stroke(rolled, field, np.zeros((29, runs)), ends, np.full(runs, 5e-4))
    found = rolled.grid.station_weights_mm @ taken(rolled, field, after)
    assert found == pytest.approx(5e-4, rel=1e-8)
    behind = np.stack([turned > turned[4] + 1.6, turned < turned[24] - 1.6], axis=1)
    assert behind.any(axis=0).all()
    assert (after[:, behind] == field[:, behind]).all()
    assert np.isneginf(lines.level[behind]).all()


def test_parts_that_end_with_the_edge_are_parts():
    rolled = rolled_edge(**SMALL)
    field, tilt, volume = new_field(rolled, 2), np.full((17, 2), 0.01), np.full(2, 5e-4)
    for first, last in (([0, 9], [16, 16]), ([0, 0], [16, 9]), ([4, 9], [16, 16])):
        ends = Stretch(np.array(first), np.array(last))
        after, _ = stroke(rolled, field, tilt, ends, volume)
        for r in range(2):
            one = np.array([r])
            part = Stretch(ends.first[one], ends.last[one])
            alone, _ = stroke(rolled, field[..., :1], tilt[:, :1], part, volume[:1])
            assert alone[..., 0] == pytest.approx(after[..., r], abs=1e-9)
        assert np.abs(after[0, :, 0] - after[0, :, 1]).max() > 1e-5


# ---- a flat stone on a straight edge ----------------------------------------------------------


@pytest.mark.parametrize("radius", [400.0, 60.0])
def test_a_flat_stone_leaves_one_plane(radius):
    """Source: every line lies in the plane whose normal the tilt and the swing turn."""
    rolled = rolled_edge(radius_mm=radius, stations=17, depths=7)
    grid, field = rolled.grid, random_field(rolled, 3, rough=0.002)
    tilt, swing = np.array([0.0, 0.03, -0.02]), np.radians([0.0, 0.8, -0.5])
    volume = np.array([1e-3, 4e-3, 2e-3])
    after, lines = flat_stroke(rolled, field, tilt, swing, volume)
    found = grid.station_weights_mm @ taken(rolled, field, after)
    assert found == pytest.approx(volume, rel=1e-8)
    n, t = rolled.normals[8], grid.tangent[8]
    opening = np.cross(t, n)
    if opening @ grid.face[8] < 0:
        opening = -opening  # it opens: the normal turns up, out of the face
    for r in range(3):
        normal = n + math.tan(tilt[r]) * opening + math.tan(swing[r]) * t
        level = grid.position + lines.level[:, r, None] * grid.inward
        height = level @ normal
        assert np.ptp(height) == pytest.approx(0.0, abs=1e-9)
        along = lines.slope[:, r, None] * grid.inward - grid.face
        assert along @ normal == pytest.approx(0.0, abs=1e-12)
        assert lines.slope[8, r] == pytest.approx(1 / math.tan(BETA + tilt[r]), rel=1e-9)


# ---- sessions -------------------------------------------------------------------------------


class Fixed:
    """Numbers by stroke and run, read back by the test."""

    def __init__(self, seed=0):
        self.all = np.random.default_rng(seed).normal(size=(60, 8, 15))

    def stroke(self, number, runs):
        return self.all[number, runs]


def test_a_stroke_errs_by_the_hand_the_stroke_and_the_way_travelled():
    rolled, runs = rolled_edge(stations=17, depths=5), 3
    hand = hands(rolled, runs, tilt_sd_deg=2.0, within_deg=1.5, person_deg=6.0, volume=4e-3)
    numbers = Fixed()
    start = dulled(rolled, runs=runs)
    lean = np.full((17, runs), 0.01)
    start = start._replace(lean=lean)
    done = session(rolled, start, hand, Counted(strokes=1), numbers=numbers)
    z = numbers.all[0, :runs]
    shapes = modes(float(rolled.grid.arc_mm[-1]), 3.0, 17)
    tilt = np.radians(6.0 + 2.0 * z[:, 0] + 1.5 * (z[:, 3:] @ shapes).T)
    moved = done.flank.field[0] > start.field[0]
    assert moved.mean() > 0.9
    assert done.flank.angle[moved] == pytest.approx((BETA + tilt - lean)[moved])
    assert (done.flank.angle[~moved] == BETA).all()
    assert done.strokes.tolist() == [1] * runs
    assert done.met.all()
    assert done.removed == pytest.approx(4e-3, rel=1e-9)


@pytest.mark.parametrize(("turn_deg", "flat"), [(9.9, True), (10.1, False)])
def test_an_edge_that_turns_by_less_than_ten_degrees_is_ground_flat(turn_deg, flat):
    rolled = rolled_edge(radius_mm=1e6, stations=17, depths=5)
    turned = np.linspace(0, math.radians(turn_deg), 17)
    rolled = dataclasses.replace(rolled, turned_rad=turned)
    hand = hands(rolled, 2, within_deg=1.0, person_deg=3.0, volume=4e-3)
    hand = dataclasses.replace(hand, swing_sd_rad=np.radians([5.0, 0.2]))
    numbers = Fixed(4)
    done = session(rolled, dulled(rolled, runs=2), hand, Counted(strokes=1), numbers=numbers)
    inset = done.flank.field[0] - rolled.grid.inset_mm[0][:, None]
    bend = np.abs(np.diff(inset, 2, axis=0)).max(axis=0)
    if not flat:
        assert (bend > 1e-6).all()
        return
    registered = value("registered_swing_sd_deg")
    spread = np.radians([registered, 0.2]) * numbers.all[0, :2, 1]
    moved = inset > 0
    for r in range(2):
        run = np.flatnonzero(moved[:, r])
        assert len(run) > 4
        fall = np.diff(inset[run, r]) / rolled.grid.arc_mm[1]
        # Across the steel a plane that swings falls by tan σ over what it faces, sin of the angle.
        facing = math.sin(BETA) + math.tan(math.radians(3.0)) * math.cos(BETA)
        assert np.abs(fall) == pytest.approx(abs(math.tan(spread[r])) / facing, rel=0.01)


def test_a_stretch_is_placed_by_the_hand():
    rolled = rolled_edge(stations=126, depths=4)
    hand = hands(rolled, 2, volume=1e-4)
    hand = dataclasses.replace(
        hand,
        swing_rad=np.radians([2.0, -1.0]),
        swing_sd_rad=np.radians([1.0, 1.0]),
        shift_mm=np.array([0.3, -0.2]),
        shift_sd_mm=np.array([0.2, 0.1]),
    )

    class Middle:
        direction = ek.across_edge()
        within_tilt_sd_deg, correlation_s = 0.0, 0.4

        def stretch(self, _, margin_mm):
            at = np.full(margin_mm.shape[1], 3.0)
            return at - 0.5, at + 0.5

    numbers = Fixed(5)
    done = session(rolled, dulled(rolled, runs=2), hand, Counted(strokes=1), Middle(), numbers)
    z = numbers.all[0, :2]
    turn = math.sin(BETA) / RADIUS
    swing = np.radians([2.0, -1.0]) + np.radians(1.0) * z[:, 1]
    move = swing / turn + np.array([0.3, -0.2]) + np.array([0.2, 0.1]) * z[:, 2]
    inset = done.flank.field[0] - rolled.grid.inset_mm[0][:, None]
    weight = inset / inset.sum(axis=0)
    assert rolled.grid.arc_mm @ weight == pytest.approx(3.0 + move, abs=0.06)


def test_a_stretch_a_little_shorter_than_the_edge_is_placed_as_one():
    rolled = rolled_edge(stations=17, depths=4)
    hand = dataclasses.replace(hands(rolled, 1, volume=1e-4), shift_mm=np.array([-1.2]))
    way = RollingStroke(stretch_mm=6.1)  # more than sixteen of seventeen stations
    done = session(rolled, dulled(rolled), hand, Counted(strokes=1), way, Fixed(6))
    inset = done.flank.field[0, :, 0] - rolled.grid.inset_mm[0]
    assert inset[-1] == 0.0
    assert inset[:11] == pytest.approx(inset[8], rel=0.01)


def test_an_edge_partly_fresh_is_ground_for_the_rest():
    rolled = rolled_edge(stations=33, depths=6)
    rule = UntilFresh(resolution_um=0.0, fraction=1.0, strokes_between_looks=3)
    start = dulled(rolled, runs=1)
    whole = session(rolled, start, hands(rolled, 1), rule)
    radius = start.radius.copy()
    radius[:16] = FRESH_MM
    radius[20:] = 0.8 * DULL_MM
    part = session(rolled, start._replace(radius=radius), hands(rolled, 1), rule)
    assert part.strokes == whole.strokes  # the worst of what is dull decides
    assert part.overshoot[0] == pytest.approx(whole.overshoot[0])
    assert part.overshoot[0] > 0
    assert part.dullness[0] < 0.6 * whole.dullness[0]
    assert (part.margin[:16] == 0).all()


def test_a_leaning_face_changes_the_wedge_and_not_the_flank():
    rolled = rolled_edge(stations=9, depths=40)
    start = dulled(rolled)
    start = start._replace(lean=np.full((9, 1), 0.05), angle=np.full((9, 1), BETA - 0.05))
    done = session(rolled, start, hands(rolled, 1), Counted(strokes=4))
    assert done.flank.angle == pytest.approx(BETA - 0.05)
    moved = float(done.flank.field[0, 4, 0] - start.field[0, 4, 0])
    land = 2 * FRESH_MM * math.cos((BETA - 0.05) / 2)
    arc = 2 * math.asin(land / 2 / DULL_MM)
    need = DULL_MM * (1 + math.cos(BETA - 0.05 + arc)) / math.sin(BETA - 0.05)
    assert done.dullness[0] == pytest.approx(done.removed[0] * need / moved, rel=0.01)


def test_only_a_worn_corner_is_looked_at_and_a_fresh_one_is_keen():
    rolled = rolled_edge(**SMALL)
    start = dulled(rolled, runs=2)
    radius = start.radius.copy()
    radius[:, 1] = FRESH_MM
    rule = UntilFresh(resolution_um=0.0, fraction=1.0, strokes_between_looks=2)
    done = session(rolled, start._replace(radius=radius), hands(rolled, 2), rule)
    assert done.strokes[1] == 0
    assert (done.margin[:, 1] == 0).all()
    assert done.dull_share.tolist() == [0.0, 0.0]
    assert done.overshoot[1] == 0.0
    assert done.dullness[1] == 0.0
    assert done.removed[1] == 0.0
    # Without error a stroke moves the edge alike: looked at after every second.
    each = float(done.flank.field[0, 8, 0] - rolled.grid.inset_mm[0, 8]) / done.strokes[0]
    need = float(
        rule.least_inset(
            SimpleNamespace(
                angle=BETA, radius=DULL_MM, fresh_land=2 * FRESH_MM * math.cos(BETA / 2)
            )
        )
    )
    assert done.strokes[0] == 2 * math.ceil(need / each / 2)
    assert done.dullness[0] == pytest.approx(
        done.removed[0] * need / each / done.strokes[0], rel=0.02
    )
    past = done.removed[0] - done.dullness[0]
    assert done.overshoot[0] == pytest.approx(past, rel=0.25)


def test_strokes_past_the_need_are_read_between_two_looks():
    before = np.array([3.0, 3.0, 0.0, 2.0, -1.0, 0.5])
    now = np.array([-1.0, 0.5, -1.0, 0.0, -2.0, -0.5])
    rule = SimpleNamespace(strokes_between_looks=4)
    found = past_need(before, now, rule, np.array([1.0, 1.0, 1.0, 1.0, 1.0, 2.0]))
    assert found == pytest.approx([4 * 0.25, 0.0, 0.0, 0.0, 0.0, 4 * 0.5 * 2.0])


def test_a_session_ends_after_the_most_strokes():
    rolled = rolled_edge(radius_mm=50.0, stations=17, depths=4)
    hand = hands(rolled, 2, volume=np.array([1e-5, 1e-3]))
    rule = UntilClear(fraction=1.0, strokes_between_looks=7)
    done = session(rolled, dulled(rolled, runs=2), hand, rule)
    assert MAX_STROKES == value("max_stone_strokes") == 400
    assert done.strokes[0] == 400
    assert done.strokes[1] % 7 == 0
    assert done.met.tolist() == [False, True]
    assert done.dull_share[0] > 0.9
    assert done.removed[0] == pytest.approx(400 * 1e-5, rel=1e-6)
    least = session(
        rolled,
        dulled(rolled),
        hands(rolled, 1, volume=1e-3),
        UntilClear(fraction=1.0, strokes_between_looks=1),
    )
    assert done.strokes[1] == 7 * math.ceil(least.strokes[0] / 7)


def test_a_lowered_face_is_ground_from_where_it_lies():
    rolled = rolled_edge(stations=9, depths=40)
    drop = np.full((9, 1), 0.1)
    lowered = rolled.lowered(drop)
    done = session(lowered, dulled(lowered), hands(lowered, 1), Counted(strokes=6))
    before, after = lowered.inset(dulled(lowered).field), lowered.inset(done.flank.field)
    moved = float((after - before)[4, 0])
    assert moved > 0
    # What six strokes take, over the flank that is left, a curve's shrinking apart.
    depth = rolled.grid.depth_mm[-1, 0] - 0.1
    assert moved == pytest.approx(6 * FINE_MM3 / 6.25 / depth, rel=0.05)
    assert done.removed == pytest.approx(6 * FINE_MM3, rel=1e-9)
    need = (
        DULL_MM
        * (1 + math.cos(BETA + 2 * math.asin(FRESH_MM / DULL_MM * math.cos(BETA / 2))))
        / math.sin(BETA)
    )
    assert done.dullness[0] == pytest.approx(done.removed[0] * need / moved, rel=0.01)


def test_a_lowered_face_is_looked_at_where_it_lies():
    rolled = rolled_edge(stations=9, depths=40)
    lowered = rolled.lowered(np.full((9, 1), 0.1))
    rule = UntilFresh(resolution_um=0.0, fraction=1.0, strokes_between_looks=1)
    start = dulled(lowered)
    done = session(lowered, start, hands(lowered, 1), rule)
    moved = float((lowered.inset(done.flank.field) - lowered.inset(start.field))[4, 0])
    land = 2 * FRESH_MM * math.cos(BETA / 2)
    assert done.land[4, 0] <= land
    each = moved / done.strokes[0]
    need = DULL_MM * (1 + math.cos(BETA + 2 * math.asin(land / 2 / DULL_MM))) / math.sin(BETA)
    assert done.strokes[0] == math.ceil(need / each)


# ---- one side of a blade ----------------------------------------------------------------------


@pytest.mark.parametrize("blade", [circle_blade(), straight_blade()], ids=["curved", "straight"])
def test_a_rolled_side_errs_as_the_numbers_of_its_run_say(blade):
    hand = ek.Hand(
        tilt_deg=ek.ErrorTerm(bias=5.0, person_sd=1.0, session_sd=0.5, sd=1.2, sd_gsd=1.4)
    )
    method = ek.Method(
        name="m",
        hand=hand,
        stroke=RollingStroke(within_tilt_sd_deg=0.7, correlation_s=0.5),
        stop=Counted(strokes=1),
        seconds_per_stroke=0.8,
        removal_mm3_per_stroke=4e-3,
        removal_gsd=1.3,
    )
    with engine.using("arrays"):
        done = ek.sharpen(blade, method, dull_radius_um=4.0, rng=8, stations=17, depths=6)
    effects, draws = RunStreams.of(8).session(0, edges=1, seatings=1)
    z = draws.strokes[0].stroke(0, np.zeros(1, dtype=int))[0]
    tilt = 5.0 + effects.hand[0, 0] + 0.5 * draws.setup[0, 0]
    tilt += 1.2 * 1.4 ** effects.skill[0] * z[0]
    length = blade.edges["used"].length_mm
    within = 0.7 * 1.4 ** effects.skill[0] * (z[3:] @ modes(length, 0.5 / 0.8 * length, 17))
    edge = done.edges["used"]
    moved = edge.recession_um > 0
    assert moved.mean() > 0.8
    wanted = 75.0 + tilt + (within if blade.edges["used"].length_mm < 5.7 else 0.0)
    curved = np.ptp(edge.angle_deg[moved]) > 1e-6
    wanted = wanted if curved else 75.0 + tilt
    assert edge.angle_deg[moved] == pytest.approx(np.broadcast_to(wanted, 17)[moved], abs=1e-6)
    assert (edge.active == np.where(moved, 0, -1)).all()
    took = 4e-3 * 1.3 ** effects.removal[0]
    assert done.steel_mg == pytest.approx(7.75 * took, rel=1e-6)
    assert (done.stone_strokes, done.passes) == (1.0, 1)
    assert done.advance_um == 0.0
    assert edge.sharp_fraction <= 1.0


def test_where_a_part_of_an_edge_is_rolled_the_rest_is_left():
    class Heel:
        direction = ek.across_edge()
        within_tilt_sd_deg, correlation_s = 0.0, 0.4

        def stretch(self, _, margin_mm):
            return np.zeros(margin_mm.shape[1]), np.ones(margin_mm.shape[1])

    method = ek.Method(name="m", stroke=Heel(), stop=Counted(strokes=1), removal_gsd=1.0)
    radii = np.where(np.arange(33) < 25, 4.0, 1.0)
    new = ek.WornBlade.new(circle_blade(), stations=33, depths=6)
    edge = dataclasses.replace(new.edges["used"], radius_um=radii)
    worn = dataclasses.replace(new, edges={"used": edge})
    with engine.using("arrays"):
        done = ek.sharpen(worn, method, rng=1)
    edge = done.edges["used"]
    assert (edge.active == np.where(edge.recession_um > 0, 0, -1)).all()
    assert set(edge.active) == {0, -1}
    assert edge.sharp[25:].all()  # sharper than grinding leaves it: nothing calls for any
    assert not edge.sharp[20:25].any()
    assert done.worn.radius_um("used")[20:] == pytest.approx(radii[20:])


def test_a_flank_keeps_its_angle_to_the_nominal_face_under_a_leaning_one():
    new = ek.WornBlade.new(circle_blade(), radius_um=4.0, stations=17, depths=6)
    lean = np.full(17, 0.05)
    edge = dataclasses.replace(new.edges["used"], lean_rad=lean)
    worn = dataclasses.replace(new, edges={"used": edge})
    method = ek.Method(name="m", stop=Counted(strokes=1), removal_gsd=1.0)
    method = dataclasses.replace(method, stroke=RollingStroke(within_tilt_sd_deg=0.0))
    with engine.using("arrays"):
        done = ek.sharpen(worn, method, rng=1)
    assert done.worn.edges["used"].angle_rad == pytest.approx(BETA)
    assert done.edges["used"].angle_deg == pytest.approx(75.0 - np.degrees(0.05))


def test_sharp_is_where_the_rule_is_met_and_lands_are_told_in_micrometres():
    method = ek.Method(name="m", stop=Counted(strokes=3), removal_gsd=1.0)
    with engine.using("arrays"):
        done = ek.sharpen(circle_blade(), method, dull_radius_um=4.65, rng=1, stations=17, depths=6)
    edge = done.edges["used"]
    fresh = 2 * value("sharp_radius_um") * math.cos(BETA / 2)
    assert (edge.sharp == (edge.land_um <= fresh)).all()
    assert 1.0 < edge.land_um.max() < 2 * 4.65
    assert edge.sharp_fraction == pytest.approx(edge.sharp.mean(), abs=0.1)
    assert (done.stone_strokes, done.passes) == (3.0, 3)
    assert 1.19 < done.worn.radius_um("used").mean() < 4.65
