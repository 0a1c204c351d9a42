"""Levels of many sections at once: against the scalar text, in any company, in any pieces."""

import math

import numpy as np
import pytest

import edgekit as ek
from edgekit.contact import apex
from edgekit.geometry.depth_nodes import graded, node_shares
from edgekit.grinding import section_stroke as scalar
from edgekit.grinding.arrays import flank as flanks
from edgekit.grinding.arrays import levels
from edgekit.grinding.arrays.flank import WorkedFlank
from edgekit.grinding.arrays.levels import Columns, Depths, settle, sink
from tests.test_strokes import BETA, FINE_MM3, Numbers, dulled, hands, new_field, rolled_edge

DEPTHS, COLUMNS = 12, 400
LEVEL_MM = 1e-12


def sections(seed, *, rough=0.0, lowered=False):
    """Random sections of flanks under lines of random tilts, over a depth of 1 mm."""
    rng, fraction = np.random.default_rng(seed), graded(DEPTHS)
    share = node_shares(fraction)
    if lowered:
        drop = rng.uniform(0, 0.3, COLUMNS)
        ends = np.concatenate([[0.0], (fraction[1:] + fraction[:-1]) / 2, [1.0]])[:, None]
        share = np.maximum(ends[1:] - np.maximum(ends[:-1], drop), 0.0)
    tilts = rng.normal(0, 0.05, (5, 1, COLUMNS))
    lines = rng.uniform(0, 3e-3, (5, 1, COLUMNS)) + fraction[:, None] / np.tan(BETA + tilts)
    field = lines.max(axis=0) + rough * rng.random((DEPTHS, COLUMNS))
    depths, curvature = Depths(fraction, share), rng.uniform(1e-6, 1.5, COLUMNS)
    mean, square = depths.mean(field), depths.mean(field**2)
    rise = 1 / np.tan(BETA + rng.normal(0, 0.05, COLUMNS))
    area = 10 ** rng.uniform(-6, -2, COLUMNS)
    return depths, Columns(field, rise, area, mean, mean - curvature / 2 * square, curvature)


def sunk(depths, columns):
    """Levels (N,) and fields (V, N) of all columns."""
    out, room = np.empty((2, *columns.field.shape))
    done = sink(depths, columns, out, room)
    settle(depths, columns, done, out)
    return done.level, out


CASES = {
    "convex": {},
    "rough": {"rough": 2e-3},
    "lowered": {"lowered": True},
    "rough and lowered": {"rough": 2e-3, "lowered": True},
}


@pytest.mark.parametrize("case", CASES)
def test_levels_are_those_of_the_scalar_text(case):
    """`section_stroke` takes Newton's steps, one section at a time."""
    depths, columns = sections(1, **CASES[case])
    level, after = sunk(depths, columns)
    share = np.broadcast_to(depths.share.reshape(DEPTHS, -1), columns.field.shape)
    for n in range(COLUMNS):
        nodes = share[:, n] > 0  # nodes above the face count for nothing
        wanted = scalar.level_that_takes(
            columns.area[n],
            columns.field[nodes, n],
            columns.rise[n],
            depths=depths.fraction[nodes],
            weights=share[nodes, n],
            curvature=columns.curvature[n],
        )
        assert level[n] == pytest.approx(wanted, abs=LEVEL_MM)
    line = level + columns.rise * depths.fraction[:, None]
    np.testing.assert_allclose(after, np.maximum(columns.field, line), atol=LEVEL_MM)


def test_lines_take_their_areas_where_steel_stands_past_the_centre_of_a_toe(monkeypatch):
    """Summed strip by strip, u - κu²/2 up to the centre; lines of all slopes, flat ones too.

    In sixteen steps: from where lines just touch, with no width yet, twice as many went astray.
    """
    monkeypatch.setattr(levels, "MAX_STEPS", 16)
    depths, columns = sections(10)
    rng = np.random.default_rng(11)
    curvature = rng.uniform(1.8, 3.5, COLUMNS)
    field = columns.field * rng.uniform(1.0, 2.5, COLUMNS)
    mean, square = depths.mean(field), depths.mean(field**2)
    rise = field[-1] * rng.uniform(0.5, 2.0, COLUMNS)
    area = 10 ** rng.uniform(-6, -3, COLUMNS)
    within = mean - curvature / 2 * square
    with np.errstate(invalid="ignore", divide="ignore"):
        level, after = sunk(depths, Columns(field, rise, area, mean, within, curvature))
    held, left = (np.minimum(each, 1 / curvature) for each in (field, after))
    taken = depths.mean((left - held) * (1 - curvature / 2 * (left + held)))
    np.testing.assert_allclose(taken, area, rtol=1e-9)
    line = level + rise * depths.fraction[:, None]
    np.testing.assert_allclose(after, np.maximum(field, line), atol=LEVEL_MM)
    past = (after > 1 / curvature).any(axis=0)
    assert 20 < past.sum() < COLUMNS - 20
    assert (past & (after > np.maximum(field, 1 / curvature)).any(axis=0)).sum() > 10


@pytest.mark.parametrize("case", CASES)
def test_a_column_has_the_same_bits_in_any_company(case):
    depths, columns = sections(2, **CASES[case])
    level, after = sunk(depths, columns)
    for numbers in ([7, 7], [3, 4], range(100, 117), range(5, 400, 3)):
        some = np.array(numbers)
        part, field = sunk(depths.some(some), columns.some(some))
        np.testing.assert_array_equal(part, level[some])
        np.testing.assert_array_equal(field, after[:, some])


@pytest.mark.parametrize("case", CASES)
def test_a_column_that_goes_on_alone_keeps_its_bits(case):
    """Beside one that is right at once, each of those that are not."""
    depths, columns = sections(7, **CASES[case])
    out, room = np.empty((2, *columns.field.shape))
    right = sink(depths, columns, out, room).right
    level, after = sunk(depths, columns)
    assert 10 < (~right).sum() < COLUMNS / 2
    for wrong in np.flatnonzero(~right):
        pair = np.array([wrong, np.flatnonzero(right)[0]])
        part, field = sunk(depths.some(pair), columns.some(pair))
        np.testing.assert_array_equal(part, level[pair])
        np.testing.assert_array_equal(field, after[:, pair])


def test_sums_over_sets_of_nodes_have_no_rounding():
    """So their order, which is the matrix product's, is of no account."""
    fraction, rng = graded(DEPTHS), np.random.default_rng(8)
    depths, nodes = Depths(fraction, node_shares(fraction)), rng.random((DEPTHS, 300)) < 0.5
    found = depths.moments(nodes, np.empty(nodes.shape))
    for sums, parts in zip(found, depths._moments, strict=True):
        assert sums.tolist() == [math.fsum(parts[some]) for some in nodes.T]
    share = node_shares(fraction)
    np.testing.assert_allclose(found, np.stack([share, share * fraction]) @ nodes, atol=1e-11)


def test_two_stations_of_a_run_alone_have_the_bits_of_many_runs():
    rolled, runs = rolled_edge(stations=2), 60
    tilts = np.random.default_rng(9).normal(0, 0.04, (5, 2, runs))

    def ground(some):
        flank = WorkedFlank(rolled, new_field(rolled, len(some)))
        for tilt in tilts[..., some]:
            flank.roll(1 / np.tan(BETA + tilt), np.full(len(some), FINE_MM3))
        return flank.field

    every = ground(np.arange(runs))
    for run in range(runs):
        np.testing.assert_array_equal(ground(np.array([run]))[..., 0], every[..., run])


@pytest.mark.parametrize("low", [False, True])
@pytest.mark.parametrize(("cached", "gapless"), [(30, 0), (17, 10**6), (10**6, 0)])
def test_strokes_have_the_same_bits_in_any_pieces_and_rows(low, cached, gapless, monkeypatch):
    rolled, runs = rolled_edge(), 5
    if low:
        rolled = rolled.lowered(np.linspace(0, 0.1, 33 * runs).reshape(33, runs))
    rng = np.random.default_rng(3)
    tilts = rng.normal(0, 0.04, (6, 33, runs))

    def ground():
        flank = WorkedFlank(rolled, new_field(rolled, runs))
        levels = [
            flank.roll(1 / np.tan(BETA + tilt), np.full(runs, FINE_MM3)).level for tilt in tilts
        ]
        return np.array(levels), flank.field

    wanted = ground()
    monkeypatch.setattr(flanks, "COLUMNS_IN_CACHE", cached)
    monkeypatch.setattr(flanks, "GAPLESS", gapless)
    for one, other in zip(ground(), wanted, strict=True):
        np.testing.assert_array_equal(one, other)


def test_a_flank_is_cut_in_the_memory_it_began_with():
    rolled, runs = rolled_edge(), 6
    before = new_field(rolled, runs)
    flank = WorkedFlank(rolled, before)
    stores = set(map(id, flank._stores))
    for left in (6, 4, 1):
        flank.keep(np.arange(left))
        flank.roll(np.full((33, left), 1 / np.tan(BETA)), np.full(left, FINE_MM3))
        assert flank.field.shape[2] == left
        assert np.shares_memory(flank.field, flank._stores[0])
        assert set(map(id, flank._stores)) == stores
    np.testing.assert_array_equal(before, new_field(rolled, runs))  # not the caller's


def test_what_goes_along_with_a_flank_is_what_its_field_says():
    """After strokes, some past the centre of a toe: areas and steel summed anew."""
    rolled, runs = rolled_edge(radius_mm=0.5, length_mm=0.6, stations=17, depths=9), 3
    flank = WorkedFlank(rolled, new_field(rolled, runs))
    rng = np.random.default_rng(5)
    for _ in range(4):
        flank.roll(
            1 / np.tan(BETA + rng.normal(0, 0.04, (17, runs))), np.array([2e-4, 9e-3, 0.016])
        )
    assert (flank.field > 0.5).any()
    again = WorkedFlank(rolled, flank.field)
    for name in ("_mean", "_within", "_beyond", "steel"):
        np.testing.assert_allclose(getattr(flank, name), getattr(again, name), atol=1e-13)
    press = rolled.pressed(flank.field)
    steel = flank.steel * rolled.grid.depth_mm[-1][:, None]
    np.testing.assert_allclose(press, steel / steel.max(axis=0), rtol=1e-12)


def test_where_nothing_lies_below_the_face_a_line_just_touches():
    """A station whose face was ground away, and one whose steel stands past the centre."""
    rolled = rolled_edge(radius_mm=0.5, length_mm=0.6, stations=17, depths=9)
    drop = np.where(np.arange(17) == 4, 1.0, 0.1)[:, None] * np.ones(2)
    field = new_field(rolled, 2)
    field[:, 9] += 0.6
    flank = WorkedFlank(rolled.lowered(drop), field)
    assert (flank.steel[[4, 9]] == 0).all()
    slope, depth = 1 / np.tan(BETA + 0.02), rolled.grid.depth_mm[:, [4, 9], None]
    for _ in range(3):
        lines = flank.roll(np.full((17, 2), slope), np.full(2, 1e-4))
        wanted = (field[:, [4, 9]] - slope * depth).min(axis=0)
        np.testing.assert_allclose(lines.level[[4, 9]], wanted, atol=LEVEL_MM)
    np.testing.assert_allclose(flank.field[:, [4, 9]], field[:, [4, 9]], atol=LEVEL_MM)
    assert (flank.field[:, 0] > field[:, 0] + 1e-6).any()


def test_more_steel_than_there_is_is_refused():
    """At a plan radius of 0.5 mm a section holds 0.25 mm times its depth."""
    rolled = rolled_edge(radius_mm=0.5, length_mm=0.6, stations=17, depths=9)
    flank = WorkedFlank(rolled, new_field(rolled, 2))
    room = rolled.volume(rolled.node_mm.sum(axis=0) * 0.25 - rolled.within(flank.field))
    for share in (1.01, 1.5, 10.0, 1e6):
        with pytest.raises(ek.EdgekitError, match="took no definite depth"):
            WorkedFlank(rolled, flank.field).roll(
                np.full((17, 2), 1 / np.tan(BETA)), room * [0.01, share]
            )


def test_a_land_alone_is_that_beside_the_missing_area():
    rng = np.random.default_rng(6)
    radius, angle = rng.uniform(1e-3, 5e-3, 200), rng.uniform(1.0, 1.5, 200)
    inset, new = rng.uniform(0, 6e-3, 200), angle + rng.normal(0, 0.05, 200)
    np.testing.assert_array_equal(
        apex.remaining_land(radius, angle, inset, new), apex.remains(radius, angle, inset, new).land
    )


def test_a_session_has_the_same_bits_whoever_stays_longer():
    """Runs end one after another, and the others close up."""
    rolled, runs = rolled_edge(), 7
    rule = ek.strokes.until_fresh(strokes_between_looks=1)
    hand = hands(rolled, runs, tilt_sd_deg=2.5, within_deg=1.0)
    way, fresh = ek.strokes.rolling(), np.full(runs, 1.19e-3)

    from edgekit.grinding.rolling_session import roll_session

    given = rule, way
    every = roll_session(rolled, dulled(rolled, runs=runs), hand, *given, Numbers(), fresh)
    assert len(set(every.strokes.tolist())) > 2
    for run in range(runs):
        alone = Shifted(run)
        one = roll_session(
            rolled, dulled(rolled), hand.some(np.array([run])), *given, alone, fresh[:1]
        )
        assert one.strokes[0] == every.strokes[run]
        np.testing.assert_array_equal(one.flank.field[..., 0], every.flank.field[..., run])
        np.testing.assert_array_equal(one.margin[:, 0], every.margin[:, run])
        for name in ("removed", "dullness", "overshoot", "cleared", "dull_share"):
            assert getattr(one, name)[0] == getattr(every, name)[run], name


class Shifted(Numbers):
    """The numbers of one run of several."""

    def __init__(self, first):
        super().__init__()
        self.first = first

    def stroke(self, number, runs):
        return super().stroke(number, np.asarray(runs) + self.first)
