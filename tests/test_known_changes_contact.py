"""Formulas of contact and edge finish of which a change once left every test green."""

import dataclasses

import numpy as np
import pytest

import edgekit as ek
from edgekit.edge_finish.edge_profile import EdgeProfile
from edgekit.edge_finish.material_curve import material_curve


def test_the_back_of_a_flank_comes_no_nearer_than_its_length():
    # A flank of length L leaning by e off the stone: L sin e, and L where it stands beyond square.
    setting = ek.setting_at(ek.patterns.universal_curette().edges["left"], 10.0, stations=5)
    error = np.array([-120.0, -90.0, -30.0, 0.0, 30.0, 90.0, 120.0])
    given = dataclasses.replace(setting, error_deg=error)
    want = 0.8 * np.array([-1, -1, -0.5, 0, 0.5, 1, 1])
    np.testing.assert_allclose(given.back_clearance_mm(0.8), want, rtol=1e-12)


def test_as_many_placements_as_allowed_are_tried():
    edge = ek.patterns.universal_curette().edges["left"]
    for ridge_um in (3.0, 12.0):
        count = ek.placements_for(edge, ridge_um=ridge_um)
        assert ek.placements_for(edge, ridge_um=ridge_um, most=count) == count
        with pytest.raises(ek.EdgekitError, match="keeps the ridges below"):
            ek.placements_for(edge, ridge_um=ridge_um, most=count - 1)
        # Heights of the ridges themselves, between planes laid at such placements.
        most = [
            ek.facets(edge, n, stations=4001).height_above_facet_um.max()
            for n in (count, count - 1)
        ]
        assert most[0] <= 1.02 * ridge_um
        assert most[1] > 0.98 * ridge_um


def test_a_flat_profile_has_all_its_length_at_one_height():
    curve = material_curve(np.array([0.0, 1.0, 3.0]), np.full(3, 2.5))
    assert curve.share.tolist() == [1.0, 0.0]
    assert curve.level_um.tolist() == [2.5, 2.5]
    assert curve.ratio([2.4, 2.6]).tolist() == [1.0, 0.0]


def test_the_curve_of_a_sawtooth_is_a_line_and_its_core_is_all_of_it():
    # Heights even over 0 to 6 µm: Rk is the whole height, and no peaks or valleys are left.
    curve = material_curve(np.array([0.0, 2.0, 2.5, 6.0]), np.array([0.0, 6.0, 0.0, 6.0]))
    level = np.linspace(0, 6, 13)
    np.testing.assert_allclose(curve.ratio(level), 1 - level / 6, atol=1e-6)
    core = curve.core()
    assert core.rk_um == pytest.approx(6.0, rel=1e-5)
    assert (core.rpk_um, core.rvk_um) == (pytest.approx(0, abs=1e-4), pytest.approx(0, abs=1e-4))


def test_the_rate_of_a_roll_schedule_adds_up_to_its_roll():
    setting = ek.best_setting(ek.patterns.curved_sickle().edges["left"], stations=400)
    part = dataclasses.replace(setting, stretches_mm=((1.1, 3.3),))
    plan = ek.roll_schedule(part, seconds=7.0, steps=200)
    assert (plan.arc_mm[0], plan.arc_mm[-1], plan.time_s[-1]) == (1.1, 3.3, 7.0)
    turned = np.trapezoid(plan.rate_deg_per_s, plan.time_s)
    assert turned == pytest.approx(plan.roll_deg[-1] - plan.roll_deg[0], rel=1e-3)


def test_teeth_are_counted_over_the_length_of_the_line():
    x = 500.0 + np.linspace(0.0, 4000.0, 801)  # 4 mm, of which a wave of 0.25 mm has sixteen
    profile = EdgeProfile(x_um=x, z_um=np.sin(2 * np.pi * (x - 500.0) / 250.0 - 1.0))
    assert profile.teeth_per_mm == pytest.approx(16 / 4, rel=1e-12)


@pytest.mark.parametrize("start", [0.0, 3000.0])
def test_a_cut_off_is_two_mean_spacings_or_more_wherever_a_profile_starts(start):
    x = start + np.arange(501) * 2.0
    z = np.sin(x / 9)
    assert ek.roughness(x, z, cutoff_um=4.0).ra_um > 0
    with pytest.raises(ek.EdgekitError, match="two mean spacings"):
        ek.roughness(x, z, cutoff_um=3.9999)


def test_the_hardness_scales_meet_over_the_range_that_the_table_of_the_standard_has():
    # ASTM E140-12b, table 1: Rockwell C from 20 to 68 (from memory).
    assert np.isfinite(ek.vickers([20.0, 68.0])).all()
    np.testing.assert_allclose(ek.rockwell_c(ek.vickers([20.0, 68.0])), [20.0, 68.0], atol=0.01)
    for wrong in (19.9, 68.1):
        with pytest.raises(ek.EdgekitError, match="hrc"):
            ek.vickers([wrong])
