"""Cutting geometry: teaching limits, and ISO 3002-1 conversions as identities on random tools."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgekit.edge_finish.cutting import (
    apparent_bevel_deg,
    clearance_in_planes,
    clearance_normal,
    clearance_orthogonal,
    rake_in_planes,
    rake_normal,
    rake_orthogonal,
    working_angles,
)

# Tangents near 80° lose a few digits.
ANGLE_DEG = 1e-9
ROUNDING = 1e-12

V = np.array([0.0, 0.0, 1.0])  # assumed cutting velocity: P_r is the xy plane
FEED = np.array([1.0, 0.0, 0.0])
BACK = np.array([0.0, 1.0, 0.0])


def random_tools(count: int = 2000):
    """Random wedges as planes in space: edge tangent, face normal, flank normal, κ_r, all sections.

    The edge's trace in P_r lies at κ_r to the feed; rake and flank surfaces hold the edge and
    slope at random. Nothing here uses a conversion formula.
    """
    rng = np.random.default_rng(31)
    kappa = np.radians(rng.uniform(15, 165, count))
    along = np.stack([-np.cos(kappa), np.sin(kappa), np.zeros(count)], axis=1)
    into = np.stack([np.sin(kappa), np.cos(kappa), np.zeros(count)], axis=1)
    lam, rake = np.radians(rng.uniform(-40, 40, (2, count)))
    clear = np.radians(rng.uniform(3, 40, count))
    # The face falls back from the velocity as one goes into the tool, the flank likewise.
    edge = along * np.cos(lam)[:, None] - V * np.sin(lam)[:, None]
    face = into * np.cos(rake)[:, None] - V * np.sin(rake)[:, None]
    flank = into * np.sin(clear)[:, None] - V * np.cos(clear)[:, None]
    return kappa, edge, np.cross(edge, face), np.cross(edge, flank), into


def section(surface, plane_normal, inward):
    """Unit trace of a surface in a plane, pointing to the side of `inward`."""
    trace = np.cross(surface, plane_normal)
    trace /= np.linalg.norm(trace, axis=1, keepdims=True)
    return trace * np.sign(np.sum(trace * inward, axis=1))[:, None]


def slope_to(trace, inward):
    """Fall of a trace against V over its advance along `inward` [deg], by arctan2 of lengths."""
    return np.degrees(np.arctan2(-trace @ V, np.sum(trace * inward, axis=1)))


KAPPA, EDGE, FACE, FLANK, INTO = random_tools()
KAPPA_DEG = np.degrees(KAPPA)
ALONG = np.cross(V, INTO)
RAKE_O = slope_to(section(FACE, ALONG, INTO), INTO)
CLEAR_O = 90 - slope_to(section(FLANK, ALONG, INTO), INTO)
LAMBDA = slope_to(EDGE, np.cross(V, INTO))


def in_plane(surface, across):
    """Section of a surface by the plane of V and the direction `across` (feed or back)."""
    inward = np.broadcast_to(across, INTO.shape)
    return slope_to(section(surface, np.cross(inward, V), inward), inward)


def test_planes_f_and_p_from_orthogonal_on_random_tools():
    f, p = rake_in_planes(
        rake_orthogonal_deg=RAKE_O, inclination_deg=LAMBDA, cutting_edge_deg=KAPPA_DEG
    )
    assert f == pytest.approx(in_plane(FACE, FEED), abs=ANGLE_DEG)
    assert p == pytest.approx(in_plane(FACE, BACK), abs=ANGLE_DEG)


def test_orthogonal_from_planes_f_and_p_on_random_tools():
    rake, inclination = rake_orthogonal(
        rake_f_deg=in_plane(FACE, FEED), rake_p_deg=in_plane(FACE, BACK), cutting_edge_deg=KAPPA_DEG
    )
    assert rake == pytest.approx(RAKE_O, abs=ANGLE_DEG)
    assert inclination == pytest.approx(LAMBDA, abs=ANGLE_DEG)


def test_normal_plane_on_random_tools():
    # P_n is square to the edge: directions in it are taken from the edge itself.
    within = np.cross(EDGE, V)
    within *= np.sign(np.sum(within * INTO, axis=1))[:, None]
    within /= np.linalg.norm(within, axis=1, keepdims=True)
    upright = np.cross(within, EDGE)
    upright *= np.sign(upright @ V)[:, None]

    def tilt(surface):
        trace = section(surface, EDGE, within)
        return np.degrees(
            np.arctan2(-np.sum(trace * upright, axis=1), np.sum(trace * within, axis=1))
        )

    rake, clear = tilt(FACE), 90 - tilt(FLANK)
    assert rake_normal(RAKE_O, inclination_deg=LAMBDA) == pytest.approx(rake, abs=ANGLE_DEG)
    assert clearance_normal(CLEAR_O, inclination_deg=LAMBDA) == pytest.approx(clear, abs=ANGLE_DEG)
    # The wedge left over in P_n is the angle between the two surfaces.
    dihedral = np.degrees(
        np.arctan2(np.linalg.norm(np.cross(FACE, FLANK), axis=1), np.sum(FACE * FLANK, axis=1))
    )
    assert 90 - rake - clear == pytest.approx(dihedral, abs=ANGLE_DEG)


def test_clearances_in_planes_f_and_p_on_random_tools():
    def expected(across):
        inward = np.broadcast_to(across, INTO.shape)
        trace = np.cross(FLANK, np.cross(inward, V))
        trace *= -np.sign(trace @ V)[:, None]  # downward, against the velocity
        return np.degrees(np.arctan2(np.sum(trace * inward, axis=1), -trace @ V)) % 360

    f, p = clearance_in_planes(
        clearance_orthogonal_deg=CLEAR_O, inclination_deg=LAMBDA, cutting_edge_deg=KAPPA_DEG
    )
    # A clearance is measured from the velocity; seen from behind it reads as its negative.
    for got, across in ((f, FEED), (p, BACK)):
        seen = expected(across)
        seen = np.where(seen > 180, seen - 180, seen)
        assert got == pytest.approx(seen, abs=ANGLE_DEG)
    assert clearance_orthogonal(
        clearance_f_deg=f, clearance_p_deg=p, cutting_edge_deg=KAPPA_DEG
    ) == pytest.approx(CLEAR_O, abs=ANGLE_DEG)


def test_the_steepest_rake_does_not_depend_on_the_planes():
    f, p = rake_in_planes(
        rake_orthogonal_deg=RAKE_O, inclination_deg=LAMBDA, cutting_edge_deg=KAPPA_DEG
    )

    def squared(*angles):
        return sum(np.tan(np.radians(a)) ** 2 for a in angles)

    assert squared(f, p) == pytest.approx(squared(RAKE_O, LAMBDA), rel=1e-9)


@given(st.floats(1, 179), st.floats(-89, 89))
def test_bevel_in_a_turned_section(beta, turn):
    # Face z = 0, edge along x, lateral plane through it; cut by a vertical plane at `turn`.
    b, psi = math.radians(beta), math.radians(turn)
    lateral = np.array(
        [0.0, math.sin(b), math.cos(b)]
    )  # normal; trace for turn 0 is (cos b, -sin b)
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
