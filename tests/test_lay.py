"""Lay: closed forms on faces square to the handle, an independent projection, invariances."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

import edgekit as ek
from edgekit.contact.holder import held_normals
from edgekit.geometry.vectors import rotation
from edgekit.method.lay import face_planes, flank_planes, lay_on, wrapped_lay_deg

EXACT_DEG = 1e-7  # rounding of unit vectors and arctangents

BOWED = ek.patterns.area_specific_curette(shank_bend_deg=10).edges["used"]
PLANAR = ek.patterns.universal_curette().edges["left"]
TOE_FREE = BOWED.stretch(0.0, 5.0)


def test_strokes_that_follow_the_edge_lie_along_it_and_across_it():
    assert np.abs(ek.lay(BOWED, ek.along_edge()).lay_deg).max() == 0
    assert (ek.lay(BOWED, ek.across_edge()).lay_deg == 90).all()
    assert ek.lay(BOWED, ek.along_edge()).follows() == 1
    assert ek.lay(BOWED, ek.across_edge()).follows() == 0


# On a planar face square to the handle the handle's line on the stone is square to the edge
# (n = -sinβ b - cosβ f, a = -f, a - (n·a) n = sinβ d): derived, see HolderStroke.
@pytest.mark.parametrize("angle", [-30, 0, 20, 45, 90, 135])
def test_in_a_holder_on_a_square_face_the_lay_is_one_angle_all_round(angle):
    off = ek.lay(PLANAR, ek.HolderStroke(angle_deg=angle)).off_edge_deg
    assert off == pytest.approx(abs(float(wrapped_lay_deg(np.array(90.0 - angle)))), abs=EXACT_DEG)


def test_in_a_holder_on_a_tilted_face_the_lay_turns_along_the_edge():
    assert ek.lay(BOWED, ek.HolderStroke()).span_deg > 20


@pytest.mark.parametrize("angle", [0, 25, -70])
def test_in_a_holder_the_lay_is_what_it_is_on_the_bench(angle):
    # The blade is turned as a body, by a general rotation solver: stone up, handle's line along +x.
    result = ek.lay(TOE_FREE, ek.HolderStroke(angle_deg=angle))
    frame, a = TOE_FREE.frame(result.arc_mm), TOE_FREE.handle_axis
    for i in range(0, len(result.arc_mm), 57):
        n, t = frame.outward.value[i], frame.tangent.value[i]
        elevation = np.arcsin(n @ a)
        ahead = np.array([np.cos(elevation), 0, -np.sin(elevation)])
        turn, miss = Rotation.align_vectors([[0, 0, -1], ahead], [n, a])
        assert miss < 1e-6
        edge = turn.apply(t)
        # Seen from below, where the stone is, angles about n run the other way.
        stroke = np.array([np.cos(np.radians(angle)), -np.sin(np.radians(angle)), 0])
        between = np.degrees(np.arccos(min(abs(edge @ stroke), 1.0)))
        assert result.off_edge_deg[i] == pytest.approx(between, abs=1e-5)


@pytest.mark.parametrize("direction", [(1, 0, 0), (0.3, 1, -0.2), (0, 0, 1)])
def test_a_straight_stroke_agrees_with_projection_and_arccosine(direction):
    result = ek.lay(TOE_FREE, ek.StraightStroke(direction=direction))
    frame = TOE_FREE.frame(result.arc_mm)
    w = np.array(direction, dtype=float)
    for i in range(0, len(result.arc_mm), 37):
        n, t = frame.outward.value[i], frame.tangent.value[i]
        shadow = w - (w @ n) * n
        angle = np.degrees(np.arccos(abs(shadow @ t) / np.linalg.norm(shadow)))
        assert result.off_edge_deg[i] == pytest.approx(angle, abs=1e-5)  # arccos is blunt near 0


def test_strokes_straight_along_a_straight_edge_follow_it():
    hoe = ek.patterns.hoe().edges["edge"]
    assert ek.lay(hoe, ek.StraightStroke(direction=[1, 0, 0])).off_edge_deg.max() < EXACT_DEG
    assert ek.lay(hoe, ek.StraightStroke(direction=[0, 0, 1])).lay_deg == pytest.approx(90)


def test_strokes_along_the_blade_follow_its_sides_but_not_its_toe():
    result = ek.lay(PLANAR, ek.StraightStroke(direction=[1, 0, 0]))
    assert result.off_edge_deg[:300].max() < 5
    assert result.off_edge_deg[-1] == pytest.approx(90, abs=EXACT_DEG)
    assert 0.8 < result.follows() < 1


@settings(max_examples=25, deadline=None)
@given(
    st.floats(-3, 3),
    st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: np.linalg.norm(v) > 0.1),
    st.floats(-90, 90),
)
def test_a_rigid_motion_leaves_the_lay_alone(angle, axis, stroke):
    turn = rotation(np.array(axis) / np.linalg.norm(axis), angle)
    moved = TOE_FREE.moved(turn, (1.0, 2.0, 3.0))
    held = ek.HolderStroke(angle_deg=stroke)
    here, there = ek.lay(TOE_FREE, held).off_edge_deg, ek.lay(moved, held).off_edge_deg
    assert there == pytest.approx(here, abs=1e-6)
    straight = ek.lay(TOE_FREE, ek.StraightStroke(direction=[1, 0.2, 0])).off_edge_deg
    carried = ek.lay(moved, ek.StraightStroke(direction=turn @ [1, 0.2, 0])).off_edge_deg
    assert carried == pytest.approx(straight, abs=1e-6)


def test_a_mirrored_edge_under_a_mirrored_stroke_has_the_same_lay():
    mirror = np.diag([1.0, -1.0, 1.0])
    one = ek.lay(TOE_FREE, ek.StraightStroke(direction=[1, 0.4, 0.1]))
    two = ek.lay(TOE_FREE.mirrored(), ek.StraightStroke(direction=mirror @ [1, 0.4, 0.1]))
    assert two.lay_deg == pytest.approx(one.lay_deg, abs=EXACT_DEG)


def test_a_held_stone_has_its_own_plane_through_the_tangent():
    arc = TOE_FREE.stations(50)
    planes = flank_planes(TOE_FREE, arc, held_normals(TOE_FREE, 20.0, arc))
    assert np.abs((planes.normal * planes.tangent).sum(axis=1)).max() < 1e-12
    assert np.abs((planes.into * planes.normal).sum(axis=1)).max() < 1e-12
    assert ((planes.into * TOE_FREE.frame(arc).flank).sum(axis=1) > 0.9).all()


def test_the_face_has_its_own_lay():
    arc = PLANAR.stations(50)
    result = lay_on(face_planes(PLANAR, arc), ek.StraightStroke(direction=[0, 1, 0]))
    assert result.off_edge_deg[:40].min() > 80
    with pytest.raises(ek.EdgekitError, match="perpendicular to the stone"):
        lay_on(face_planes(PLANAR, arc), ek.HolderStroke())


@given(st.floats(-1e4, 1e4))
def test_wrapped_angles_differ_by_half_turns(angle):
    wrapped = float(wrapped_lay_deg(np.array(angle)))
    assert -90 - 1e-8 < wrapped <= 90
    turns = (angle - wrapped) / 180
    assert turns == pytest.approx(round(turns), abs=1e-9)
