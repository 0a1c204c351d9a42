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
