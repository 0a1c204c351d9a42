"""Angles at work: teaching limits, and the bevel of an oblique section by planes in space."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgekit.edge_finish.cutting import apparent_bevel_deg, working_angles

# Tangents near 80° lose a few digits.
ANGLE_DEG = 1e-9
ROUNDING = 1e-12


@given(st.floats(1, 179), st.floats(-89, 89))
def test_bevel_in_a_turned_section(beta, turn):
    # Face z = 0, edge along x, lateral plane through it; cut by a vertical plane at `turn`.
    b, psi = math.radians(beta), math.radians(turn)
    lateral = np.array([0.0, math.sin(b), math.cos(b)])  # its trace at turn 0: (cos b, -sin b)
    plane = np.array([math.cos(psi), -math.sin(psi), 0.0])
    trace = np.cross(lateral, plane)
    trace = -trace if trace[2] > 0 else trace  # into the steel, below the face
    inward = np.array([math.sin(psi), math.cos(psi), 0.0])
    shown = math.degrees(math.atan2(-trace[2], trace @ inward))
    assert apparent_bevel_deg(beta, turn_deg=turn) == pytest.approx(shown, abs=ANGLE_DEG)


@given(st.floats(1, 179), st.floats(1, 179))
def test_rake_wedge_and_clearance_make_a_right_angle(face, beta):
    held = working_angles(face_tooth_deg=face, internal_angle_deg=beta)
    assert held.rake_deg + beta + held.clearance_deg == pytest.approx(90.0, abs=1e-9)


# Teaching texts: above 45°, below 90°; best 60-80°. No clearance is derived geometry.
@pytest.mark.parametrize(
    ("face", "beta", "burnishing", "best"),
    [
        (30, 75, True, False),
        (45, 75, True, False),
        (46, 75, False, False),
        (60, 75, False, True),
        (80, 75, False, True),
        (81, 75, False, False),
        (89, 75, False, False),
        (90, 75, True, False),
        (100, 75, True, False),
        (75, 105, True, False),
        (70, 115, True, False),
    ],
)
def test_burnishing_limits(face, beta, burnishing, best):
    held = working_angles(face_tooth_deg=face, internal_angle_deg=beta)
    assert bool(held.burnishing) is burnishing
    assert bool(held.in_best_range) is best


def test_arrays_broadcast():
    held = working_angles(face_tooth_deg=[[50.0], [70.0]], internal_angle_deg=[70, 75, 80])
    assert held.rake_deg.shape == held.clearance_deg.shape == held.burnishing.shape == (2, 3)
    assert held.clearance_deg[1, 1] == pytest.approx(35.0, rel=ROUNDING)
