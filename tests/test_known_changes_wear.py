"""Formulas of method, grinding, bending and life of which a change once left every test green."""

from types import SimpleNamespace

import numpy as np
import pytest

import edgekit as ek
from edgekit.bending.beam import bending_model, end_inset_mm, shortened_mm, worn_away

ROUND = 0.022  # of a stress: eight rows on a round back against 96, measured 0.0213
RATIO = 8e-3  # of a stress over that of the new blade: measured 7.3e-3


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
