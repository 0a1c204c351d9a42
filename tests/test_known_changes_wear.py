"""Formulas of bending of which a change once left every test green, and the slope of a lay."""

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pytest
from shapely.geometry import Polygon, box

import edgekit as ek
from edgekit.bending import beam
from edgekit.bending.beam import (
    Direction,
    Wear,
    bending_model,
    end_inset_mm,
    life_bending_model,
    shortened_mm,
    worn_away,
)
from edgekit.bending.load_limits import LoadLimits
from edgekit.bending.section_properties import (
    bending_stress_mpa,
    section_properties,
)
from edgekit.geometry.section import RoundBack
from tests.test_strength import bar

ROUND = 0.022  # of a stress: eight rows on a round back against 96, measured 0.0213
RATIO = 9e-3  # of a stress over that of the new blade: measured 8.8e-3


@pytest.mark.parametrize("make", [ek.patterns.universal_curette, ek.patterns.half_length_curette])
def test_the_rows_of_a_section_converge_with_the_square_of_their_number(make):
    blade = make()
    worn = ek.WornBlade.from_recession(blade, 80.0, face_um=60.0, stations=40, depths=32)
    stress = {}
    for rows in (8, 16, 32, 96):
        model = bending_model(blade, worn.grids, rows=rows)
        now = model.mpa_per_n(worn_away(worn), np.zeros(1))[:, 0]
        stress[rows] = np.stack([model.new_mpa_per_n, now / model.new_mpa_per_n])
    error = {n: np.abs(stress[n] / stress[96] - 1).max(axis=(1, 2)) for n in (8, 16, 32)}
    assert error[8][0] < ROUND
    assert error[8][1] < RATIO
    # Twice the rows leave a quarter, ((16 − 1)/(8 − 1))² = 4.6 to be exact.
    assert 3.5 < error[8][0] / error[16][0] < 6
    assert 3.5 < error[16][0] / error[32][0] < 6


def test_a_point_below_which_the_face_is_lowered_ends_where_face_and_flank_meet():
    # A flank at β: lowering a face by d moves their line d cotβ inward. Only the toe end counts.
    beta = np.radians([50.0, 60.0, 70.0])
    grid = SimpleNamespace(depth_mm=np.array([[0.0, 0, 0], [0.5, 0.4, 0.3]]), angle_rad=beta)
    field = np.arange(12.0).reshape(2, 2, 3) / 10  # two depths, two states, three stations
    inset = np.array([[7.0, 8.0, 9.0], [4.0, 5.0, 6.0]])
    drop = np.array([[9.0, 9.0, 0.3], [0.0, 0.0, 0.31]])  # just as deep as the end, and deeper
    found = end_inset_mm(grid, field, inset, drop)
    assert found[0] == 9.0
    assert found[1] == pytest.approx(0.5 + 0.31 / np.tan(np.radians(70.0)))


def test_a_point_goes_back_by_the_mean_of_its_edges_and_a_round_toe_by_the_deeper():
    def grid(lean_deg):
        x = np.array([1.0, 0.0, 0.0])
        a = np.radians(lean_deg)
        inward = np.array([[0.0, 1.0, 0.0], [-np.sin(a), np.cos(a), 0.0]])
        return SimpleNamespace(inward=inward, edge=SimpleNamespace(roll_reference=x))

    ends = [np.array([0.01, 0.03]), np.array([0.05, 0.02])]
    # Edges that meet at 20°: an inset u moves the point back by u / sin 10°.
    back = shortened_mm([grid(10.0), grid(10.0)], ends)
    np.testing.assert_allclose(back, np.array([0.03, 0.025]) / np.sin(np.radians(10.0)))
    np.testing.assert_allclose(shortened_mm([grid(90.0), grid(90.0)], ends), [0.05, 0.03])
    np.testing.assert_allclose(shortened_mm([grid(0.1), grid(90.0)], ends), [0.05, 0.02])


@pytest.mark.parametrize("from_toe_mm", [0.02, 0.3, 1.5])
@pytest.mark.parametrize("make", [ek.patterns.area_specific_curette, ek.patterns.curved_sickle])
def test_the_load_acts_where_it_is_put_back_from_the_toe(make, from_toe_mm):
    blade = make()
    grid = ek.WornBlade.from_recession(blade, 0.0, stations=80, depths=8).grids[0]
    model = bending_model(blade, [grid], load_from_toe_mm=from_toe_mm)
    x = grid.edge.roll_reference
    here = np.searchsorted(grid.arc_mm, model.arc_mm)
    middle = grid.position[here] + grid.half_width_mm[here, None] * grid.inward[here]
    load = (grid.position @ x).max() - from_toe_mm
    np.testing.assert_allclose(middle @ x + model.lever_mm, load, atol=1e-9)
    np.testing.assert_allclose((middle + model.to_load) @ x, load, atol=1e-9)


@pytest.mark.parametrize("make", [ek.ceramic_stone, ek.diamond_plated_stone])
def test_the_slope_across_the_lay_is_that_of_a_wave_of_its_height_and_spacing(make):
    # A sine of length λ and rms height Rq, its slopes taken numerically; Ra of normal heights is
    # √(2/π) Rq (any handbook of surface texture).
    stone = make()
    rq, length = stone.ra_um * np.sqrt(np.pi / 2), stone.scratch_spacing_um
    at = np.linspace(0.0, length, 20_001)
    slope = np.gradient(np.sqrt(2) * rq * np.sin(2 * np.pi * at / length), at)
    assert stone.rms_slope == pytest.approx(np.sqrt(np.mean(slope**2)), rel=1e-4)


# ---- where a blade is bent ------------------------------------------------------------------

AREA, UNIVERSAL = ek.patterns.area_specific_curette(), ek.patterns.universal_curette()


def ends_at(*leans):
    """Grids of edges whose toe ends lean against the blade by the arc sine of these."""
    x = np.array([1.0, 0.0, 0.0])
    inward = [np.array([[0.0, 1.0, 0.0]] * 2 + [[-lean, 0.0, 0.0]]) for lean in leans]
    return [SimpleNamespace(inward=i, edge=SimpleNamespace(roll_reference=x)) for i in inward]


def test_an_edge_shortens_a_blade_where_it_leans_and_points_are_sharper_than_113_degrees():
    ends = [np.array([0.06]), np.array([0.02])]
    assert shortened_mm(ends_at(0.01, 1.0), ends) == pytest.approx([0.02])  # the first does not
    assert shortened_mm(ends_at(0.0101, 0.9), ends)[0] == pytest.approx(
        (0.06 / 0.0101 + 0.02 / 0.9) / 2
    )
    assert 1 / (1 / 1.2) == 1.2
    blunt = shortened_mm(ends_at(1 / 1.2, 1.0), ends)
    assert blunt == pytest.approx([0.06 * 1.2])  # the deeper: a tip of 113° is a round toe yet
    assert shortened_mm(ends_at(1 / 1.3, 1.0), ends) == pytest.approx([(0.06 * 1.3 + 0.02) / 2])


def test_sections_lie_behind_the_load():
    side = np.arange(2, 9)
    lever = np.array([9.0, 9.0, 0.05, 0.0501, 1.0, 2.0, 3.0, 4.0, 5.0])
    assert beam._bent_stations(side, lever, 1.0, None).tolist() == [3, 4, 5, 6, 7, 8]
    assert beam._bent_stations(side, lever, 1.0, 6).tolist() == [3, 4, 5, 6, 7, 8]
    assert beam._bent_stations(side, lever, 1.0, 3).tolist() == [3, 5, 8]
    assert beam._bent_stations(side[-2:], lever, 1.0, None).tolist() == [7, 8]
    with pytest.raises(ek.Cannot, match="no section of the blade lies behind the load"):
        beam._bent_stations(side[-1:], lever, 1.0, None)


def test_a_life_is_judged_at_sixteen_sections_of_eight_rows():
    for blade, sections in ((UNIVERSAL, 16), (ek.patterns.straight_sickle(), None)):
        grids = ek.WornBlade.new(blade).grids
        model = life_bending_model(blade, grids)
        assert model.depth_mm.shape[0] == 8
        assert model.far_field == 1
        if sections:
            assert len(model.arc_mm) == sections
        else:  # a point is stressed over less than the spacing: all of them
            assert len(model.arc_mm) == np.count_nonzero(
                bending_model(blade, grids).lever_mm > 0.05
            )
            assert len(model.arc_mm) > 50
    assert bending_model(AREA, ek.WornBlade.new(AREA).grids).far_field is None
    assert beam.toe_load_from_mm() == 1.0  # half of 2 mm


@pytest.mark.parametrize("from_toe", [0.0, -0.1])
def test_a_load_acts_on_the_blade(from_toe):
    with pytest.raises(ek.BadArgument, match="load_from_toe_mm"):
        ek.strength(AREA, load_n=1.0, load_from_toe_mm=from_toe)
    most = AREA.length_mm * 0.9
    with pytest.raises(ek.BadArgument, match="load_from_toe_mm"):
        ek.strength(AREA, load_n=1.0, load_from_toe_mm=most)
    near = ek.strength(AREA, load_n=1.0, load_from_toe_mm=most * 0.999)
    assert near.lever_mm.max() < AREA.length_mm * 0.101


# ---- worn sections --------------------------------------------------------------------------


def model_of(blade, stations=40):
    grids = ek.WornBlade.new(blade, stations=stations, depths=12).grids
    return grids, bending_model(blade, grids, rows=24)


def wear_of(grid, *, inset=0.0, drop=0.0, runs=1):
    stations = len(grid.arc_mm)
    flank = np.maximum(inset + grid.depth_mm / np.tan(grid.angle_rad) - grid.inset_mm, 0.0)
    return Wear(
        np.repeat(np.where(np.asarray(inset) > 0, flank, 0.0)[:, None], runs, axis=1),
        np.broadcast_to(np.asarray(drop, dtype=float), (runs, stations)).copy(),
    )


@pytest.mark.parametrize("blade", [AREA, UNIVERSAL], ids=lambda b: b.name)
@pytest.mark.parametrize(
    ("left", "right", "drop"),
    [(0.06, 0.0, 0.0), (0.03, 0.08, 0.0), (0.02, 0.05, 0.1), (0.0, 0.0, 0.35)],
)
def test_a_worn_section_is_the_new_one_clipped(blade, left, right, drop):
    """Source: shapely clips the new outline by two flanks and a face."""
    grids, model = model_of(blade)
    insets = [left, right][: len(grids)]
    wears = [wear_of(g, inset=u, drop=drop) for g, u in zip(grids, insets, strict=True)]
    new, worn = model.outlines_mm((), 1)[0], model.outlines_mm(wears, 1)[0]
    far = right if len(grids) > 1 else 0.0
    full = np.flatnonzero(model.width_mm > 0.857)  # its flanks as in the section of the blade
    for s in (full[0], full[len(full) // 2], full[-1]):
        width, deep = model.width_mm[s], model.depth_mm[-1, s]
        run = 2 / math.tan(math.radians(75.0))
        wanted = Polygon(new[s]).buffer(0).intersection(box(-1, -deep - 1, 2, -drop))
        if left:
            steel = Polygon([(left, 0), (5, 0), (5, -2), (left + run, -2)])
            wanted = wanted.intersection(steel)
        if far:
            steel = Polygon([(width - far, 0), (-5, 0), (-5, -2), (width - far - run, -2)])
            wanted = wanted.intersection(steel)
        found = Polygon(worn[s]).buffer(0)
        assert found.area == pytest.approx(wanted.area, rel=4e-3)
        assert found.bounds == pytest.approx(wanted.bounds, abs=4e-3)


def test_a_face_lowered_along_a_part_weakens_that_part():
    grids, model = model_of(UNIVERSAL)
    stations = len(grids[0].arc_mm)
    part = np.zeros(stations)
    part[:8] = 0.1
    none, some, every = (
        model.mpa_per_n([wear_of(g, drop=d) for g in grids], np.zeros(1))[:, 0]
        for d in (0.0, part, 0.1)
    )
    assert none == pytest.approx(model.new_mpa_per_n)
    assert some[:, :7] == pytest.approx(every[:, :7])
    assert some[:, 9:] == pytest.approx(none[:, 9:])
    # The first edge's drop is the section's; a drop of the other alone still counts as a face.
    swapped = [wear_of(grids[0], drop=part), wear_of(grids[1])]
    assert model.mpa_per_n(swapped, np.zeros(1))[:, 0] == pytest.approx(some)


def test_a_section_is_cut_by_the_drop_of_its_own_place():
    grids, model = model_of(UNIVERSAL)
    ramp = np.linspace(0.0, 0.3, len(grids[0].arc_mm))
    some = model.mpa_per_n([wear_of(g, drop=ramp) for g in grids], np.zeros(1))[:, 0]
    for s in (1, 10, 25):
        here = np.interp(model.arc_mm[s], grids[0].arc_mm, ramp)
        every = model.mpa_per_n([wear_of(g, drop=here) for g in grids], np.zeros(1))[:, 0]
        assert some[:, s] == pytest.approx(every[:, s], rel=1e-9)


def test_a_narrower_section_keeps_its_back_and_its_flanks_come_in():
    grids, model = model_of(UNIVERSAL)
    section = UNIVERSAL.section
    for s in (0, 8):
        width, depth = model.width_mm[s], model.depth_mm[:, s]
        assert width == pytest.approx(2 * grids[0].half_width_mm[s])
        assert width < 0.85
        whole = section.inset_mm(depth, np.full_like(depth, depth[-1]))
        inset = np.maximum(depth / np.tan(np.radians(75.0)), whole - (0.86 - width) / 2)
        new = model.outlines_mm((), 1)[0, s]
        assert new[:24, 0] == pytest.approx(inset, abs=1e-6)
        assert new[24:, 0][::-1] == pytest.approx(width - inset, abs=1e-6)
        assert new[:24, 1] == pytest.approx(-depth)


def test_an_unused_edge_has_the_angle_of_its_own_place():
    x = np.linspace(-2.5, 2.5, 9)

    def side(y, angle):
        return ek.Edge.from_points(
            np.column_stack([x, np.full_like(x, y), np.zeros_like(x)]),
            face_normals=[0, 0, 1],
            internal_angle_deg=angle,
            handle_axis=[0, 0, -1],
            inward=[0, -np.sign(y), 0],
        )

    angles = np.linspace(68.0, 80.0, 9)
    blade = ek.Blade(
        name="uneven",
        kind=ek.BladeClass.AREA_SPECIFIC,
        edges={"used": side(0.43, 75.0)},
        unused=side(-0.43, angles),
        section=RoundBack(width_mm=0.86, thickness_mm=0.71, internal_angle_deg=75.0),
    )
    _, model = model_of(blade)
    new = model.outlines_mm((), 1)[0]
    for s in (0, 15, 30):
        beta = np.interp(model.arc_mm[s], np.linspace(0, 5, 9), angles)
        depth = model.depth_mm[1:4, s]
        back = blade.section.inset_mm(depth, np.full(3, 0.71))
        inset = np.maximum(depth / np.tan(np.radians(beta)), back)
        assert 0.86 - new[s, 24:, 0][::-1][1:4] == pytest.approx(inset, abs=1e-4)
    assert np.ptp(new[:, 24 + 21, 0]) > 1e-3


def test_the_far_edge_is_worn_where_its_own_field_says():
    grids, model = model_of(UNIVERSAL)
    row = np.zeros(len(grids[0].arc_mm))
    row[8:14] = 0.08
    far = wear_of(grids[1], inset=row)
    right = model.mpa_per_n([wear_of(grids[0]), far], np.zeros(1))[:, 0]
    # The blade is symmetric: as if the left edge were worn by what lies opposite.
    left, other = UNIVERSAL.edges["left"], UNIVERSAL.edges["right"]
    _, opposite = ek.width_between(left, other, grids[0].arc_mm)
    mirrored = [np.interp(opposite, grids[1].arc_mm, depth[0]) for depth in far.removed_mm]
    near = Wear(np.array(mirrored)[:, None], far.drop_mm)
    wanted = model.mpa_per_n([near, wear_of(grids[1])], np.zeros(1))[:, 0]
    assert right == pytest.approx(wanted, rel=1e-6)
    ratio = right / model.new_mpa_per_n
    assert ratio[:, 9:13].min() > 1.1
    assert ratio[:, 18:] == pytest.approx(1.0)


def test_states_side_by_side_are_those_one_by_one():
    grids, model = model_of(UNIVERSAL)
    each = [[wear_of(g, inset=u, drop=d) for g in grids] for u, d in ((0.0, 0.1), (0.05, 0.0))]
    both = beam.joined(each)
    lost = np.array([0.0, 0.3])
    found = model.mpa_per_n(both, lost)
    for k in range(2):
        alone = model.mpa_per_n(each[k], lost[k : k + 1])
        assert found[:, k] == pytest.approx(alone[:, 0])
    left = model.strength_left(both, lost)
    worst = model.new_mpa_per_n.max(axis=1)[:, None] / found.max(axis=2)
    assert left == pytest.approx(worst.min(axis=0))


def test_a_load_moves_back_with_the_toe_and_bends_nothing_beyond_it():
    grids, model = model_of(AREA)
    none = [wear_of(grids[0])]
    for lost in (0.4, 1.5):
        stress = model.mpa_per_n(none, np.array([lost]))[:, 0]
        bent = model.lever_mm - lost > 0.05
        assert (stress[:, ~bent] == 0).all()
        assert (stress[:, bent] > 0).all()
    length = model.lever_mm.max() + 1
    assert model.mpa_per_n(none, np.array([length])).max() == 0.0
    assert model.strength_left(none, np.array([length])) == [0.0]


def test_nothing_left_of_a_section_bears_no_load():
    grids, model = model_of(UNIVERSAL)
    gone = np.zeros(len(grids[0].arc_mm))
    gone[3] = 0.6  # of 0.86 mm from either side
    for wears in (
        [wear_of(g, inset=gone) for g in grids],
        [wear_of(g, drop=np.where(gone > 0, 2.0, 0.0)) for g in grids],
    ):
        stress = model.mpa_per_n(wears, np.zeros(1))[:, 0]
        assert np.isinf(stress[:, 3]).all()
        assert np.isfinite(np.delete(stress, [2, 3, 4], axis=1)).all()
        assert model.strength_left(wears, np.zeros(1)) == [0.0]
        # Where the load no longer reaches it, the section does not count.
        back = np.array([model.lever_mm[0]])
        assert (model.mpa_per_n(wears, back) == 0).all()
    with pytest.raises(ek.Cannot, match="nothing is left of the blade"):
        ek.strength(ek.WornBlade.from_recession(UNIVERSAL, 600.0), load_n=1.0)


# ---- what is reported -----------------------------------------------------------------------


def limits(bears=(1.0, 2.0, 4.0, 8.0), places=(0.25, 1.0, 2.0, 4.0)):
    return LoadLimits(
        blade=AREA, yield_mpa=1650.0, from_toe_mm=np.array(places), bears_n=np.array(bears)
    )


def test_loads_are_read_along_straight_lines_of_their_logarithms():
    some = limits()
    assert some.at(1.5) == pytest.approx(math.sqrt(8.0))
    assert some.at(2.0) == pytest.approx(4.0)
    assert (some.tip_n, some.toe_n) == pytest.approx((1.0, 2.0))
    assert some.mid_edge_n == pytest.approx(some.at(AREA.length_mm / 2))
    assert some.borne_from_mm(1.0) == 0.25  # borne at the tip: everywhere
    assert some.borne_from_mm(0.5) == 0.25
    assert some.borne_from_mm(math.sqrt(8.0)) == pytest.approx(1.5)
    assert some.borne_from_mm(8.0) == pytest.approx(4.0)
    assert some.borne_from_mm(8.01) == float("inf")
    hollow = limits(bears=(3.0, 1.0, 4.0, 8.0))
    assert hollow.borne_from_mm(2.0) == pytest.approx(1.5)  # from where on
    assert some.table["bears_n"].tolist() == [1.0, 2.0, 4.0, 8.0]


def test_limits_say_in_words_what_they_bear():
    weak, strong = repr(limits()), repr(limits(bears=(5.0, 8.0, 16.0, 16.0)))
    assert "does not bear the greatest force met in use, 15.7 N, at mid-edge" in weak
    behind = limits().borne_from_mm(5.0)
    assert f"the mean one, 5 N, from {behind:.1f} mm behind the tip on" in weak
    assert "It bears the greatest force met in use, 15.7 N, at mid-edge, and" in strong
    assert "the mean one, 5 N, everywhere." in strong


def test_a_hoe_is_a_plate_bent_at_its_shank():
    hoe = ek.patterns.hoe()
    found = ek.load_limits(hoe, yield_mpa=1000.0)
    length = hoe.edges["edge"].length_mm
    plate = 1000.0 * length * hoe.thickness_mm**2 / 6 / hoe.width_mm  # σ Z over a lever of W
    assert found.bears_n == pytest.approx([plate, plate])
    assert found.from_toe_mm == pytest.approx([0.25, 0.85 * length])


def test_limits_are_those_of_the_strength_at_24_places():
    worn = ek.WornBlade.from_recession(UNIVERSAL, 50.0, stations=40, depths=9)
    found = ek.load_limits(worn, yield_mpa=1000.0)
    assert found.from_toe_mm == pytest.approx(np.geomspace(0.25, 0.85 * UNIVERSAL.length_mm, 24))
    for k in (0, 11, 23):
        at = ek.strength(worn, load_n=2.0, load_from_toe_mm=found.from_toe_mm[k])
        assert found.bears_n[k] == pytest.approx(1000.0 * 2.0 / at.stress_mpa.max())


def test_a_strength_reports_its_load_sections_and_shares():
    worn = ek.WornBlade.from_recession(UNIVERSAL, {"left": 60.0}, stations=60, depths=20)
    one, six = (ek.strength(worn, load_n=n) for n in (1.0, 6.0))
    assert six.new_mpa == pytest.approx(6 * one.new_mpa)
    assert six.stress_mpa == pytest.approx(six.stress_ratio * six.new_mpa)
    assert six.yields_at_n == pytest.approx(1650.0 * 6 / six.stress_mpa.max())
    assert six.yields_at_n == pytest.approx(one.yields_at_n)
    assert one.width_lost == pytest.approx(1 - worn.width_mm / 0.86)
    fresh = ek.strength(UNIVERSAL, load_n=1.0)
    model = bending_model(
        UNIVERSAL, ek.WornBlade.new(UNIVERSAL, stations=200, depths=32).grids, rows=48
    )
    assert fresh.arc_mm == pytest.approx(model.arc_mm)
    middle = len(fresh.arc_mm) // 2
    assert fresh.section_mm == pytest.approx(model.outlines_mm((), 1)[0, middle])
    assert fresh.new_section_mm == pytest.approx(fresh.section_mm)
    # The left side alone is ground, and x runs from its new edge.
    x, new = six.section_mm[:, 0], six.new_section_mm[:, 0]
    assert x[0] == pytest.approx(0.06, abs=1e-6)
    assert new[0] == 0.0
    assert x[-1] == pytest.approx(new[-1])
    assert six.load_from_toe_mm == 1.0


def test_the_verdict_is_by_limits_that_are_met_themselves():
    fresh = ek.strength(UNIVERSAL, load_n=1.0)

    def verdict(gone, left):
        return dataclasses.replace(fresh, width_lost=gone, strength_left=np.asarray(left)).verdict

    assert verdict(0.2, 0.7).count("retire.") == 2  # at both limits
    assert "They agree." in verdict(0.2, 0.7)
    assert verdict(0.199, 0.701).count("keep.") == 2
    assert "They disagree: width lost costs" in verdict(0.199, 0.7)
    assert "They disagree: the blade is narrow" in verdict(0.2, 0.701)


def test_the_section_most_at_risk_is_where_and_as_the_stress_is_largest():
    fresh = ek.strength(UNIVERSAL, load_n=1.0)
    stress = np.full_like(fresh.stress_mpa, 1.0)
    for row, direction in enumerate(Direction):
        high = stress.copy()
        high[row, 5] = 2.0
        risk = dataclasses.replace(fresh, stress_mpa=high).most_at_risk
        assert (risk.direction, risk.stress_mpa) == (direction, 2.0)
        assert (risk.arc_mm, risk.lever_mm) == (fresh.arc_mm[5], fresh.lever_mm[5])
    table = fresh.table
    half = len(fresh.arc_mm)
    assert table["direction"].tolist() == [d.value for d in Direction for _ in range(half)]
    assert table["arc_mm"].to_numpy()[half:] == pytest.approx(fresh.arc_mm)


# ---- section properties ---------------------------------------------------------------------

UNEVEN = np.array([[0.0, 0.0], [3.0, 0.2], [2.5, 1.5], [1.0, 2.0], [-0.5, 0.8]])


def by_triangles(corners):
    """Area, centroid and second moments by a fan of triangles, each by its midpoints (exact)."""
    a, b, c = corners[0], corners[1:-1], corners[2:]
    (bx, by), (cx, cy) = (b - a).T, (c - a).T
    size = (bx * cy - by * cx) / 2
    middles = np.stack([(a + b) / 2, (b + c) / 2, (c + a) / 2])
    area = size.sum()
    centre = (size[:, None] * middles.mean(axis=0)).sum(axis=0) / area
    x, y = (middles - centre)[..., 0], (middles - centre)[..., 1]
    moments = [(size * (p * q).mean(axis=0)).sum() for p, q in ((y, y), (x, x), (x, y))]
    return area, centre, np.array(moments)


@pytest.mark.parametrize("turned", [1, -1])
@pytest.mark.parametrize("shift", [(0.0, 0.0), (700.0, -300.0)])
def test_an_uneven_section_has_the_moments_of_its_triangles(turned, shift):
    outline = (UNEVEN + shift)[::turned]
    found = section_properties(outline)
    area, centre, moments = by_triangles(UNEVEN)
    assert float(found.area_mm2) == pytest.approx(area)
    assert found.centroid_mm == pytest.approx(centre + shift)
    assert found.second_moment_mm4 == pytest.approx(moments, rel=1e-9)
    low, high = UNEVEN.min(axis=0) - centre, UNEVEN.max(axis=0) - centre
    fibres = [
        [moments[0] / -low[1], moments[0] / high[1]],
        [moments[1] / -low[0], moments[1] / high[0]],
    ]
    assert found.fibre_modulus_mm3 == pytest.approx(np.array(fibres), rel=1e-9)
    assert found.modulus_mm3 == pytest.approx(np.min(fibres, axis=1), rel=1e-9)
    # Stress: linear, balanced, and with the moments given (solved, not by the closed form).
    given = np.array([3.0, -2.0])
    ixx, iyy, ixy = moments
    slope = np.linalg.solve([[ixx, ixy], [-ixy, -iyy]], given)  # σ = p y + q x
    stress = np.abs((UNEVEN - centre) @ slope[::-1]).max()
    assert float(bending_stress_mpa(outline, given)) == pytest.approx(stress)


@pytest.mark.parametrize("shape", [(2,), (3,), (2, 2), (3, 3), (4, 2, 2), (3, 1)])
def test_outlines_have_corners_of_two_numbers(shape):
    with pytest.raises(ek.BadArgument, match="outline_mm must have shape"):
        section_properties(np.arange(float(np.prod(shape))).reshape(shape) ** 2)
    assert float(section_properties(UNEVEN[:3]).area_mm2) > 0
    for moment in (3.0, [1.0], [1.0, 2.0, 3.0]):
        with pytest.raises(ek.BadArgument, match="moment_nmm must have shape"):
            bending_stress_mpa(UNEVEN, moment)


def test_a_sliver_has_an_area_and_a_line_has_none():
    thin = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1e-9], [0.0, 1e-9]])
    assert float(section_properties(thin).area_mm2) == pytest.approx(1e-9, rel=1e-6)
    for flat in (thin * [1.0, 1e-4], thin[:, ::-1] * [1e-4, 1.0]):
        with pytest.raises(ek.BadArgument, match="enclose an area"):
            section_properties(flat)
    both = np.stack([thin, thin * [1.0, 0.0]])
    with pytest.raises(ek.BadArgument, match=r"enclose an area.*Outline \[1\]"):
        section_properties(both)


SIMPLE = {
    "comb": [
        (0, 0),
        (5, 0),
        (5, 2),
        (4, 2),
        (4, 1),
        (3, 1),
        (3, 2),
        (2, 2),
        (2, 1),
        (1, 1),
        (1, 2),
        (0, 2),
    ],
    "arrow": [(0, 0), (4, 2), (0, 4), (1, 2)],
    "spiral": [
        (0, 0),
        (6, 0),
        (6, 5),
        (1, 5),
        (1, 2),
        (4, 2),
        (4, 3),
        (2, 3),
        (2, 4),
        (5, 4),
        (5, 1),
        (0, 1),
    ],
    "corner twice": [(0, 0), (0, 0), (4, 0), (4, 3), (4, 3), (1, 1)],
    "corner on a line": [(0, 0), (2, 0), (4, 0), (4, 3), (1, 1)],
}
CROSSING = {
    "bow tie": [(0, 0), (2, 2), (2, 0), (0, 1)],
    "touching corner": [(0, 0), (4, 0), (4, 3), (2, 0), (0, 3)],
    "touching corners": [(0, 0), (2, 1), (4, 0), (4, 3), (2, 1), (0, 3)],
    "doubling back": [(0, 0), (4, 0), (2, 0), (2, 3)],
    "twice round": [(0, 0), (4, 0), (4, 3), (0, 3), (0, 0), (4, 0), (4, 3), (0, 3)],
    "two squares at a corner": [(0, 0), (1, 0), (1, 1), (2, 1), (2, 2), (1, 2), (1, 1), (0, 1)],
    "bow tie on end": [(0, 0), (0, 2), (2, 0), (2, 3)],
    "doubling back on end": [(0, 0), (0, 4), (0, 2), (3, 2)],
    "through a side": [(0, 0), (4, 0), (4, 3), (2, -1), (0, 3)],
}


@pytest.mark.parametrize("turn_deg", [0.0, 37.0])
@pytest.mark.parametrize("name", [*SIMPLE, *CROSSING])
def test_outlines_that_cross_or_touch_themselves_are_refused_as_shapely_has_it(name, turn_deg):
    outline = np.array((SIMPLE | CROSSING)[name], dtype=float)
    distinct = outline[(outline != np.roll(outline, -1, axis=0)).any(axis=1)]
    assert Polygon(distinct).is_valid == (name in SIMPLE)
    a = math.radians(turn_deg)
    turned = outline @ np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
    for start in range(0, len(outline), 3):
        for way in (1, -1):
            given = np.roll(turned, start, axis=0)[::way]
            if name in SIMPLE:
                area = Polygon(distinct).area
                assert float(section_properties(given).area_mm2) == pytest.approx(area)
            else:
                with pytest.raises(ek.BadArgument, match="must not cross or touch itself"):
                    section_properties(given)


def test_a_stout_blade_keeps_its_strength_however_little_it_is_stressed():
    stout = bar(RoundBack(width_mm=6.0, thickness_mm=5.0, internal_angle_deg=75.0))
    found = ek.strength(stout, load_n=1.0, load_from_toe_mm=1.0)
    assert found.stress_mpa.max() < 1.0
    assert float(found.strength_left) == pytest.approx(1.0)
