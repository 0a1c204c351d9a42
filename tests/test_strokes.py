"""Rolling strokes: against closed forms, scalar text, clipped polygons, a plane rolled in space.

Reference numbers come from the independent programs in `tests.section_simulation` and
`tests.rolling_plane`, which use nothing of the package.
"""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy.stats import norm

import edgekit as ek
from edgekit.contact import apex
from edgekit.grinding import section_stroke as scalar
from edgekit.grinding.arrays import strokes
from edgekit.grinding.arrays.flank import WorkedFlank
from edgekit.grinding.modes import MODES, modes
from edgekit.grinding.recession_field import EdgeGrid
from edgekit.grinding.rolling import RolledEdge, Stretch
from edgekit.grinding.rolling_session import Flank, Hands, roll_session
from edgekit.method.stop import Apex, Counted, UntilClear, UntilFresh
from edgekit.method.strokes import RollingStroke
from tests import rolling_plane, section_simulation

BETA = np.radians(75.0)
DEPTH_MM = 0.71
FINE_MM3 = 1.2e-3  # a stroke of the fine stone
LENGTH_MM = 6.25
DULL_MM = 4.65e-3
FRESH_MM = 1.19e-3
CLEAR = UntilClear(fraction=1.0, strokes_between_looks=1)


def grid_of(radius_mm=6.7, length_mm=LENGTH_MM, stations=33, depths=13):
    """A circular edge in a planar face with a plain flank, depth nodes denser near the face."""
    turn = length_mm / radius_mm
    angle = np.linspace(-turn / 2, turn / 2, 161)
    points = radius_mm * np.column_stack([np.sin(angle), np.cos(angle) - 1, 0 * angle])
    edge = ek.Edge.from_points(
        points,
        face_normals=(0.0, 0.0, 1.0),
        internal_angle_deg=75.0,
        handle_axis=(0.0, 0.0, -1.0),
        inward=(0.0, -1.0, 0.0),
    )
    arc = edge.stations(stations)
    frame = edge.frame(arc, order=1)
    depth = np.concatenate([[0.0], np.geomspace(0.03, DEPTH_MM, depths - 1)])[:, None]
    depth = depth * np.ones(stations)
    weights = np.full(stations, arc[1])
    weights[[0, -1]] /= 2
    return EdgeGrid(
        name="edge",
        edge=edge,
        arc_mm=arc,
        station_weights_mm=weights,
        position=frame.position,
        tangent=frame.tangent.value,
        inward=frame.inward.value,
        face=frame.face.value,
        angle_rad=np.full(stations, BETA),
        plan_curvature=frame.plan_curvature,
        half_width_mm=np.full(stations, 2.0),
        depth_mm=depth,
        inset_mm=depth / np.tan(BETA),
    )


def rolled_edge(**options):
    grid = grid_of(**options)
    normals = grid.edge.frame(grid.arc_mm, order=0).outward.value
    return RolledEdge.of(grid, normals)


def new_field(rolled, runs=1):
    return np.repeat(rolled.grid.inset_mm[:, :, None], runs, axis=2)


def stroke(rolled, field, *how):
    """The field after a rolling stroke, and its lines."""
    flank = WorkedFlank(rolled, field)
    lines = strokes.stroke(flank, *how)
    return flank.field, lines


def flat_stroke(rolled, field, *how):
    """The field after a stroke of a flat stone, and its lines."""
    flank = WorkedFlank(rolled, field)
    lines = strokes.flat_stroke(flank, *how)
    return flank.field, lines


def hands(rolled, runs, *, tilt_sd_deg=0.0, within_deg=0.0, volume=FINE_MM3, person_deg=0.0):
    zero = np.zeros(runs)
    return Hands(
        tilt_rad=zero + np.radians(person_deg),
        swing_rad=zero,
        shift_mm=zero,
        tilt_sd_rad=zero + np.radians(tilt_sd_deg),
        swing_sd_rad=zero,
        shift_sd_mm=zero,
        within_sd_rad=zero + np.radians(within_deg),
        modes=modes(float(rolled.grid.arc_mm[-1]), 3.0, len(rolled.grid.arc_mm)),
        volume_mm3=zero + volume,
    )


class Numbers:
    """Normal numbers by (stroke, run), whatever is asked for."""

    def __init__(self, seed=0):
        self.seed = seed

    def stroke(self, number, runs):
        rows = [np.random.default_rng((self.seed, number, int(run))) for run in runs]
        return np.array([rng.standard_normal(3 + MODES) for rng in rows])


def dulled(rolled, flank=None, runs=1, radius=DULL_MM):
    cells = (len(rolled.grid.arc_mm), runs)
    if flank is None:
        return Flank(
            new_field(rolled, runs), np.full(cells, BETA), np.zeros(cells), np.full(cells, radius)
        )
    return flank._replace(radius=np.maximum(flank.radius, radius))


def session(rolled, start, hand, rule=CLEAR, way=None, numbers=None):
    runs = start.field.shape[2]
    return roll_session(
        rolled,
        start,
        hand,
        rule,
        way or RollingStroke(),
        numbers or Numbers(),
        np.full(runs, FRESH_MM),
    )


# ---- closed forms ------------------------------------------------------------------------------


def test_remains_of_an_apex_agree_with_clipped_polygons():
    """Shapely clips the circle; its chords leave the area a thousandth small."""
    rng = np.random.default_rng(4)
    for _ in range(60):
        angle, radius = np.radians(rng.uniform(45, 95)), rng.uniform(0.5, 10)
        inset = rng.uniform(0.02, 1.1) * radius / np.tan(angle / 2)
        new = angle + np.radians(rng.uniform(-2, 6))
        judge = section_simulation.remainder(radius, angle, new, inset)
        left = apex.remains(*map(np.asarray, (radius, angle, inset, new)))
        plain = scalar.remains(radius, angle, inset, new)
        assert left.land == pytest.approx(plain.land, abs=1e-9 * radius)
        assert left.missing == pytest.approx(plain.missing, abs=1e-9 * radius**2)
        assert left.land == pytest.approx(judge.land, abs=2e-3 * radius)
        assert left.missing == pytest.approx(judge.missing, abs=2e-3 * radius**2)


@pytest.mark.parametrize(("fresh", "inset"), [(1.19, 4.108), (1.5, 3.596), (0.0, 6.060)])
def test_inset_of_the_land_rule(fresh, inset):
    """a* = r (1 + cos(β + α)) / sin β, α = 2 asin((r₀/r) cos(β/2)), at r 4.65 and 75°."""
    land = 2 * fresh * np.cos(BETA / 2)
    got = apex.fresh_inset(np.asarray(BETA), np.asarray(4.65), np.asarray(land))
    assert got == pytest.approx(inset, abs=1e-3)
    assert scalar.fresh_inset(BETA, 4.65, fresh) == pytest.approx(float(got), rel=1e-12)
    assert scalar.remains(4.65, BETA, float(got), BETA).land == pytest.approx(land, abs=1e-9)


@pytest.mark.parametrize(
    ("share", "loss_um", "strokes"), [(1, 6.2197, 23), (4, 6.0845, 90), (16, 6.0676, 359)]
)
def test_finer_strokes_without_error_go_to_the_closed_form(share, loss_um, strokes):
    """Numbers of the polygon simulation; r cot(β/2) = 6.060 is the limit."""
    rolled = rolled_edge(radius_mm=1e5)
    rolled = replace(rolled, turned_rad=np.linspace(0, 1, 33))  # as good as straight, yet rolled
    done = session(rolled, dulled(rolled), hands(rolled, 1, volume=FINE_MM3 / share))
    loss = (done.flank.field[0] - rolled.grid.inset_mm[0][:, None]) * 1000
    assert np.ptp(loss) < 1e-6
    assert loss.mean() == pytest.approx(loss_um, abs=2e-3)
    assert done.strokes[0] == strokes


# ---- the scalar text and the arrays ------------------------------------------------------------


def test_arrays_agree_with_the_scalar_text():
    rolled = rolled_edge()
    tilts = [0.04, -0.03, 0.02, 0.06, -0.08, 0.01, 0.03, 0.05, -0.02, 0.02] * 3
    grid, runs = rolled.grid, 2
    field = new_field(rolled, runs)
    whole = Stretch(np.zeros(runs, dtype=int), np.full(runs, 32))
    profile = list(grid.inset_mm[:, 0])
    depths, nodes = grid.depth_mm[:, 0], rolled.node_mm[:, 0, 0]
    curvature = float(grid.plan_curvature[0])
    for tilt in tilts:
        field, _ = stroke(rolled, field, np.full((33, runs), tilt), whole, np.full(runs, FINE_MM3))
        slope = 1 / np.tan(BETA + tilt)
        level = scalar.level_that_takes(
            FINE_MM3 / grid.station_weights_mm.sum(),
            profile,
            slope,
            depths=depths,
            weights=nodes,
            curvature=curvature,
        )
        profile = [max(u, level + slope * v) for u, v in zip(profile, depths, strict=True)]
    assert np.abs(field - np.array(profile)[:, None, None]).max() < 1e-12


def test_a_section_agrees_with_clipped_polygons_stroke_by_stroke():
    """The same tilts; the depth nodes are the only approximation."""
    tilts = np.random.default_rng(2).normal(0, np.radians(2.5), 40)
    depths = np.concatenate([[0.0], np.geomspace(0.01, DEPTH_MM, 31)])
    weights = np.zeros(32)
    weights[:-1] += np.diff(depths) / 2
    weights[1:] += np.diff(depths) / 2
    area = FINE_MM3 / LENGTH_MM
    profile, judge = list(depths / np.tan(BETA)), section_simulation.new_section(BETA, DEPTH_MM)
    for count, tilt in enumerate(tilts, 1):
        slope = 1 / np.tan(BETA + tilt)
        level = scalar.level_that_takes(
            area, profile, slope, depths=depths, weights=weights, curvature=0.0
        )
        profile = [max(u, level + slope * v) for u, v in zip(profile, depths, strict=True)]
        judge = section_simulation.ground(judge, BETA + tilt, area)
        if count % 10 == 0:
            assert profile[0] == pytest.approx(judge.edge, rel=0.01)


def life_at_a_station(runs, *, tilt_sd_deg, person_deg, sessions=24):
    """Mean recession [µm] and strokes of the sessions until 172 µm are lost, at one station."""
    rolled = rolled_edge(radius_mm=1e5, stations=3)
    rolled = replace(rolled, turned_rad=np.linspace(0, 1, 3))
    hand = hands(rolled, runs, tilt_sd_deg=tilt_sd_deg, person_deg=person_deg)
    flank, losses, strokes, alive = None, [], [], np.ones(runs, dtype=bool)
    for k in range(sessions):
        start = dulled(rolled, flank, runs)
        done = session(rolled, start, hand, numbers=Numbers(k))
        flank = done.flank._replace(radius=np.full_like(done.flank.radius, FRESH_MM))
        losses.append(np.where(alive, flank.field[0, 1] - start.field[0, 1], np.nan) * 1000)
        strokes.append(np.where(alive, done.strokes, np.nan))
        alive = alive & (flank.field[0, 1] < 0.172)
    return np.nanmean(losses), np.nanmean(strokes)


def test_lives_of_a_section_agree_with_the_independent_simulation():
    """Polygons, 120 people, person and stroke 2.5°: 7.07 µm and 24.7 strokes a session; here the
    same people.
    """
    people = 2.5 * norm.ppf((np.arange(120) + 0.5) / 120)
    loss, strokes = life_at_a_station(120, tilt_sd_deg=2.5, person_deg=people, sessions=60)
    assert loss == pytest.approx(7.072, rel=0.01)  # 0.021 its own error
    assert strokes == pytest.approx(24.72, rel=0.01)


# ---- volume, ends, hollows ---------------------------------------------------------------------


@pytest.mark.parametrize("stretch_mm", [None, 3.0, 1.0, 0.5])
def test_what_is_removed_is_what_the_strokes_take(stretch_mm):
    rolled, runs = rolled_edge(), 5
    hand = hands(rolled, runs, tilt_sd_deg=2.5, within_deg=1.0)
    way = RollingStroke(stretch_mm=stretch_mm)
    rule = Counted(strokes=12)
    done = session(rolled, dulled(rolled, runs=runs), hand, rule=rule, way=way)
    assert done.strokes.tolist() == [12] * runs
    assert done.removed == pytest.approx(12 * FINE_MM3, rel=1e-9)


def test_no_hollow_that_a_flat_stone_cannot_reach():
    """Planes leave a convex body convex: every point of the worn edge lies on the hull of all."""
    rolled, runs = rolled_edge(stations=65), 3
    hand = hands(rolled, runs, tilt_sd_deg=1.0)
    way = RollingStroke(stretch_mm=0.8)
    done = session(rolled, dulled(rolled, runs=runs), hand, rule=Counted(strokes=30), way=way)
    grid = rolled.grid
    for run in range(runs):
        inset = done.flank.field[0, :, run, None]
        assert np.ptp(inset) > 5e-3
        points = (grid.position + inset * grid.inward)[:, :2]
        hull = shapely.MultiPoint(points).convex_hull.exterior
        off = shapely.distance(hull, shapely.points(points))
        assert off.max() < 2e-4


@pytest.mark.parametrize("stretch_mm", [2.0, 4.0])
def test_strokes_over_a_part_are_placed_by_need_until_all_of_the_edge_is_sharp(stretch_mm):
    blade = ek.patterns.area_specific_curette()
    whole, part = (
        [
            ek.sharpen(blade, ek.methods.freehand(stroke=way), dull_radius_um=4.65, rng=run)
            for run in (0, 1, 3, 4, 5, 7)  # tilts at which few strokes do
        ]
        for way in (RollingStroke(), RollingStroke(stretch_mm=stretch_mm))
    )
    lost = np.array([item.worn.recession_um("used") for item in part])
    for ends in (lost[:, :3], lost[:, -3:]):
        assert 0.6 * lost.mean() < ends.mean() < 1.3 * lost.mean()
    assert all(item.edges["used"].sharp_fraction >= 0.98 - 1e-9 for item in part)
    strokes = [sum(item.passes for item in items) for items in (whole, part)]
    assert strokes[0] < strokes[1] < 6 * strokes[0]


def test_a_partial_stroke_goes_where_most_is_left_and_overruns_an_end():
    arc, way = np.linspace(0.0, 6.0, 61), RollingStroke(stretch_mm=2.0)
    at = np.array([0.1, 3.0, 5.9])
    dull = np.exp(-(((arc[:, None] - at) / 0.1) ** 2))
    dull[arc == 3.0, 0] = 1.5  # the worst station alone is less than the patch at the heel
    first, last = way.stretch(arc, dull)
    np.testing.assert_allclose(last - first, 2.0)
    np.testing.assert_allclose((first + last) / 2, at, atol=0.05)
    assert first[0] < 0
    assert last[2] > 6
    for run in range(3):  # to the last bit, whatever runs are beside it
        assert way.stretch(arc, dull[:, run : run + 1])[0] == first[run]


@pytest.mark.parametrize(("radius_mm", "share", "bar"), [(6.7, 1.0, 0.10), (6.7, 0.5, 0.15)])
def test_a_rigid_plane_rolled_over_the_field_takes_as_much(radius_mm, share, bar):
    """Ten strokes of 1.2e-3 mm³ with smooth tilts, mean recession over the edge."""
    edge = rolling_plane.curved_edge(radius=radius_mm, length=LENGTH_MM)
    judge = rolling_plane.new_field(edge, stations=97, depths=25)
    rolled = rolled_edge(radius_mm=radius_mm, stations=97, depths=25)
    field = new_field(rolled)
    rng = np.random.default_rng(8)
    for _ in range(8):
        tilt = rolling_plane.smooth_error(rng, sd=np.radians(1.0), correlation=2.0)
        lean = np.radians(2.0) * rng.standard_normal()
        first = rng.uniform(0, (1 - share) * LENGTH_MM) if share < 1 else 0.0
        stretch = (first, first + share * LENGTH_MM)
        judge = rolling_plane.rigid_stroke(
            judge, stretch, FINE_MM3, lambda s, tilt=tilt, lean=lean: lean + tilt(s / LENGTH_MM)
        ).after
        ends = Stretch(*(np.array([round(x / LENGTH_MM * 96)]) for x in stretch))
        along = lean + tilt(rolled.grid.arc_mm / LENGTH_MM)
        field, _ = stroke(rolled, field, along[:, None], ends, np.array([FINE_MM3]))
    ours = (field[0, :, 0] - rolled.grid.inset_mm[0]).mean()
    assert ours == pytest.approx(judge.recession.mean(), rel=bar)


def test_a_flat_stroke_is_the_plane_that_takes_its_volume():
    rolled = rolled_edge(radius_mm=400.0)
    field = new_field(rolled, 2)
    swing = np.radians([0.0, 1.0])
    after, lines = flat_stroke(rolled, field, np.zeros(2), swing, np.full(2, FINE_MM3))
    taken = rolled.volume(rolled.within(after) - rolled.within(field))
    assert taken == pytest.approx(FINE_MM3, rel=1e-9)
    cut = lines.level > field[0]
    assert cut[:, 1].sum() < cut[:, 0].sum()  # swung, it leans on one end


# ---- limits ------------------------------------------------------------------------------------


def test_without_error_the_cost_falls_to_one_stroke_as_the_edge_gets_fresh():
    rolled = rolled_edge()
    costs = []
    for radius in (4.65e-3, 2.4e-3, 1.3e-3, 1.191e-3):
        rule = UntilFresh(resolution_um=0.0, fraction=1.0, strokes_between_looks=1)
        costs.append(
            session(rolled, dulled(rolled, radius=radius), hands(rolled, 1), rule).strokes[0]
        )
    assert costs == sorted(costs, reverse=True)
    assert costs[-1] == 1
    assert session(rolled, dulled(rolled, radius=FRESH_MM), hands(rolled, 1), rule).strokes[0] == 0


def test_what_is_left_dull_stays_dull_and_is_carried():
    rolled = rolled_edge()
    done = session(rolled, dulled(rolled), hands(rolled, 1), rule=Counted(strokes=4))
    missing = apex.void_factor(done.flank.angle) * done.flank.radius**2
    cut = done.flank.field[0] - rolled.grid.inset_mm[0][:, None]
    judge = section_simulation.remainder(DULL_MM, BETA, BETA, float(cut[16, 0]))
    assert missing[16, 0] == pytest.approx(judge.missing, rel=5e-3)
    assert (done.land > 2 * FRESH_MM * np.cos(BETA / 2)).all()
    assert done.dull_share[0] == pytest.approx(1.0)


def test_runs_do_not_depend_on_their_company():
    rolled = rolled_edge()
    hand = hands(rolled, 6, tilt_sd_deg=2.5, within_deg=1.0)
    many = session(rolled, dulled(rolled, runs=6), hand)

    class Third(Numbers):
        def stroke(self, number, runs):
            return super().stroke(number, runs + 2)

    alone = session(rolled, dulled(rolled), hand.some(np.array([2])), numbers=Third())
    assert np.array_equal(alone.flank.field[..., 0], many.flank.field[..., 2])
    assert alone.strokes[0] == many.strokes[2]


def test_modes_are_the_same_function_on_every_grid():
    assert np.allclose(modes(6.0, 2.0, 33), modes(6.0, 2.0, 65)[:, ::2], atol=1e-12)
    lag = modes(6.0, 2.0, 601)
    correlation = (lag[:, 300] * lag[:, 400]).sum()  # 1 mm apart
    expected = (1 + np.sqrt(3) / 2) * np.exp(-np.sqrt(3) / 2)  # Matérn 3/2, ℓ = 2 mm
    assert correlation == pytest.approx(expected, abs=0.01)


def test_the_share_dull_is_read_between_stations():
    margin = np.array([[1.0], [1.0], [-1.0], [-3.0], [1.0]])
    assert apex.dull_share(margin)[0] == pytest.approx((1 + 0.5 + 0 + 0.25) / 4)


def test_a_persons_own_stop_rule_and_stroke_run_in_a_session():
    class Toe:
        direction = ek.across_edge()
        within_tilt_sd_deg, correlation_s = 0.5, 0.4

        def stretch(self, arc_mm, margin_mm):
            runs = margin_mm.shape[1]
            return np.full(runs, 0.6 * arc_mm[-1]), np.full(runs, np.inf)

    class TwoMore:
        strokes_between_looks = 2

        def margin(self, edge):
            return edge.land - edge.fresh_land

        def least_inset(self, edge):
            return 0 * edge.inset

        def done(self, dull_share, strokes):
            return np.full(dull_share.shape, strokes >= 4)

    method = ek.methods.freehand(stroke=Toe(), stop=TwoMore())
    done = ek.sharpen(
        ek.patterns.area_specific_curette(),
        method,
        dull_radius_um=4.0,
        rng=np.random.default_rng(1),
        stations=48,
        depths=8,
    )
    assert done.stone_strokes == 4
    recession = done.edges["used"].recession_um
    assert recession[:20].max() < 0.5 < recession[-8:].min()


def test_bad_rules_and_strokes_are_refused():
    with pytest.raises(ek.EdgekitError, match="resolution_um"):
        ek.strokes.until_fresh(resolution_um=-1)
    with pytest.raises(ek.EdgekitError, match="strokes must be"):
        ek.strokes.counted(strokes=0)
    with pytest.raises(ek.EdgekitError, match="stretch_mm"):
        ek.strokes.rolling(stretch_mm=0)
    with pytest.raises(ek.EdgekitError, match="local strokes are advanced until"):
        ek.methods.freehand(stroke=ek.strokes.local(), stop=ek.strokes.counted())
    edge = Apex(*[np.full((2, 1), x) for x in (2e-3, BETA, 0.0, BETA)], np.full(1, 2.0e-3))
    assert not edge.blunt.any()
