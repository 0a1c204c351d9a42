"""Section properties against handbook formulas, an independent library, and exact identities."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgekit.bending.section_properties import bending_stress_mpa, section_properties
from edgekit.errors import EdgekitError

ROUNDING = 1e-10
# A polygon of n corners on an arc lies within (π/n)² of the arc's section.
ARC = 1e-5
# The finite-element library integrates the same polygon; its own rounding.
LIBRARY = 1e-6


def arc(half_angle: float, radius: float = 1.0, points: int = 2001):
    """A circular segment, chord side included: the part of a disc beyond x = r cos a."""
    t = np.linspace(-half_angle, half_angle, points)
    return radius * np.stack([np.cos(t), np.sin(t)], axis=1)


def check(section, area, centroid_x, about_y, about_x, low, high):
    assert section.area_mm2 == pytest.approx(area, rel=ARC)
    assert section.centroid_mm[0] == pytest.approx(centroid_x, rel=ARC)
    assert section.second_moment_mm4 == pytest.approx([about_x, about_y, 0], rel=ARC, abs=ROUNDING)
    assert section.fibre_modulus_mm3[1] == pytest.approx([low, high], rel=ARC)
    assert section.modulus_mm3[1] == pytest.approx(min(low, high), rel=ARC)


# Handbook formulas (half circle; circular segment), checked against quadrature once more below.
# The flat lies along y here, so bending "parallel to the flat" is about the y axis.
def test_half_disc_has_the_handbook_values():
    r = 0.43
    about, centroid = math.pi / 8 - 8 / (9 * math.pi), 4 / (3 * math.pi)
    low, high = about / centroid, about / (1 - centroid)
    check(
        section_properties(arc(math.pi / 2, r)),
        math.pi * r**2 / 2,
        4 * r / (3 * math.pi),
        about * r**4,
        math.pi * r**4 / 8,
        low * r**3,
        high * r**3,
    )
    assert (round(low, 5), round(high, 5)) == (0.25861, 0.19069)  # as handbooks print them


@pytest.mark.parametrize("degrees", [20, 60, 90, 140])
def test_circular_segment_has_the_handbook_values(degrees):
    a, r = math.radians(degrees), 0.7
    s, c = math.sin(a), math.cos(a)
    area = r**2 * (a - s * c)
    centroid = 2 * r / 3 * s**3 / (a - s * c)
    about = r**4 / 4 * (a - s * c + 2 * s**3 * c) - area * centroid**2
    across = r**4 / 12 * (3 * a - 3 * s * c - 2 * s**3 * c)
    far, near = (r - centroid), (centroid - r * c)
    if degrees == 60:  # worked values of the handbook page for r = 1
        assert about / r**4 == pytest.approx(0.0106433, rel=1e-5)
        assert about / far / r**3 == pytest.approx(0.036081, rel=2e-5)
        assert about / near / r**3 == pytest.approx(0.051913, rel=2e-5)
    check(
        section_properties(arc(a, r, 8001)),
        area,
        centroid,
        about,
        across,
        about / near,
        about / far,
    )


def test_triangle_has_the_handbook_values_to_rounding():
    b, h = 0.8, 1.1
    section = section_properties([[0, 0], [b, 0], [0.3 * b, h]])
    assert section.area_mm2 == pytest.approx(b * h / 2, rel=ROUNDING)
    assert section.centroid_mm[1] == pytest.approx(h / 3, rel=ROUNDING)
    assert section.second_moment_mm4[0] == pytest.approx(b * h**3 / 36, rel=ROUNDING)
    assert section.fibre_modulus_mm3[0] == pytest.approx(
        [b * h**2 / 12, b * h**2 / 24], rel=ROUNDING
    )
    # About the other axis, by integrating columns of the triangle: b h (b² − b c + c²)/36.
    c = 0.3 * b
    assert section.second_moment_mm4[1] == pytest.approx(
        b * h * (b * b - b * c + c * c) / 36, rel=ROUNDING
    )
    assert section.second_moment_mm4[2] == pytest.approx(
        -b * h * h * (b - 2 * c) / 72, rel=ROUNDING
    )


def worn_section():
    """A lopsided section with a facet and a concave flank: nothing symmetric, nothing convex."""
    return np.array(
        [
            [0.43, 0.0],
            [0.40, -0.12],
            [0.36, -0.35],
            [0.12, -0.62],
            [-0.1, -0.58],
            [-0.22, -0.40],
            [-0.25, -0.2],
            [-0.41, -0.09],
            [-0.38, 0.0],
            [0.0, 0.03],
        ]
    )


@pytest.mark.filterwarnings("ignore::DeprecationWarning:sectionproperties.*")
@pytest.mark.parametrize("outline", [worn_section(), arc(1.2, 0.5, 60)], ids=["worn", "segment"])
def test_an_independent_finite_element_library_agrees(outline):
    from sectionproperties.analysis import Section  # two seconds, and only this test needs it
    from sectionproperties.pre import Geometry
    from shapely.geometry import Polygon

    geometry = Geometry(Polygon(outline))
    geometry.create_mesh(mesh_sizes=[0.01])
    theirs = Section(geometry)
    theirs.calculate_geometric_properties()
    ours = section_properties(outline)
    assert ours.area_mm2 == pytest.approx(theirs.get_area(), rel=LIBRARY)
    assert ours.centroid_mm == pytest.approx(theirs.get_c(), rel=LIBRARY, abs=1e-9)
    assert ours.second_moment_mm4 == pytest.approx(theirs.get_ic(), rel=LIBRARY, abs=1e-9)
    # theirs: (zxx+, zxx-, zyy+, zyy-), plus the fibre at the largest coordinate.
    top, bottom, right, left = theirs.get_z()
    assert ours.fibre_modulus_mm3 == pytest.approx(
        np.array([[bottom, top], [left, right]]), rel=LIBRARY
    )


def test_many_outlines_at_once_equal_one_by_one():
    rng = np.random.default_rng(6)
    outlines = worn_section() * rng.uniform(0.5, 2, (4, 3, 1, 1)) + rng.uniform(-3, 3, (4, 3, 1, 2))
    many = section_properties(outlines)
    assert many.second_moment_mm4.shape == (4, 3, 3)
    assert many.fibre_modulus_mm3.shape == (4, 3, 2, 2)
    for i, j in np.ndindex(4, 3):
        one = section_properties(outlines[i, j])
        for name in ("area_mm2", "centroid_mm", "second_moment_mm4", "modulus_mm3"):
            assert getattr(many, name)[i, j] == pytest.approx(getattr(one, name), rel=ROUNDING)


@given(st.integers(0, 9), st.floats(0.1, 10), st.floats(-100, 100))
def test_start_direction_place_and_repeats_are_nothing_and_size_scales(start, factor, away):
    outline = np.roll(worn_section(), start, axis=0)
    one = section_properties(outline)
    changed = np.repeat(outline[::-1], 2, axis=0) * factor + away
    other = section_properties(np.concatenate([changed, changed[:1]]))
    assert other.area_mm2 == pytest.approx(factor**2 * one.area_mm2, rel=1e-8)
    assert other.second_moment_mm4 == pytest.approx(factor**4 * one.second_moment_mm4, rel=1e-8)
    assert other.modulus_mm3 == pytest.approx(factor**3 * one.modulus_mm3, rel=1e-8)
    assert other.centroid_mm == pytest.approx(factor * one.centroid_mm + away, abs=1e-9)


@given(st.floats(-180, 180))
def test_turning_the_section_keeps_the_trace_the_determinant_and_the_stress(degrees):
    t = math.radians(degrees)
    turn = np.array([[math.cos(t), -math.sin(t)], [math.sin(t), math.cos(t)]])
    moment = np.array([1.3, -0.7])
    one, other = section_properties(worn_section()), section_properties(worn_section() @ turn.T)
    xx, yy, xy = one.second_moment_mm4
    uu, vv, uv = other.second_moment_mm4
    assert uu + vv == pytest.approx(xx + yy, rel=1e-9)
    assert uu * vv - uv**2 == pytest.approx(xx * yy - xy**2, rel=1e-9)
    assert bending_stress_mpa(worn_section() @ turn.T, turn @ moment) == pytest.approx(
        float(bending_stress_mpa(worn_section(), moment)), rel=1e-9
    )


def test_stress_is_the_moment_over_the_modulus_on_principal_axes():
    outline = arc(1.2, 0.5)
    section = section_properties(outline)
    assert bending_stress_mpa(outline, [2.0, 0.0]) == pytest.approx(2.0 / section.modulus_mm3[0])
    assert bending_stress_mpa(outline, [0.0, 2.0]) == pytest.approx(2.0 / section.modulus_mm3[1])


def test_stress_of_a_lopsided_section_balances_the_moment():
    # ∫σ dA = 0, ∫σ y dA = M_x, ∫σ x dA = −M_y, integrated over a fine grid of the polygon.
    from shapely import contains_xy
    from shapely.geometry import Polygon

    outline, moment = worn_section(), np.array([1.0, 0.4])
    stress = bending_stress_mpa(outline, moment)
    section = section_properties(outline)
    step = 0.002
    x, y = np.meshgrid(np.arange(-0.45, 0.45, step), np.arange(-0.65, 0.06, step))
    inside = contains_xy(Polygon(outline), x, y)
    x, y = x[inside] - section.centroid_mm[0], y[inside] - section.centroid_mm[1]
    design = np.stack([x, y])
    lhs = design @ np.stack([y, -x], axis=1) * step**2
    per_x, per_y = np.linalg.solve(lhs.T, moment)
    corners = outline - section.centroid_mm
    largest = np.abs(corners @ [per_x, per_y]).max()
    assert stress == pytest.approx(largest, rel=5e-3)


CROSSED = {
    "bow tie with unequal wings": [[0, 0], [2, 2], [2, 0], [0, 1]],
    "twice round": [*arc(2.0, 1.0, 9), *arc(2.0, 1.0, 9)],
    "star traced through itself": [
        [math.cos(4 * math.pi * k / 5), math.sin(4 * math.pi * k / 5)] for k in range(5)
    ],
    "spike": [[0, 0], [1, 0], [1, 1], [3, 1], [1, 1.0], [0, 1]],
    "turning back short": [[0, 0], [1, 0], [1, 1], [3, 1], [2, 1], [0, 2]],
    "turning back beyond": [[0, 0], [1, 0], [1, 1], [3, 1], [0.5, 1], [0, 2]],
    "touching at a corner": [[0, 0], [2, 0], [1, 1], [2, 2], [0, 2], [1, 1]],
    "overlapping edges": [[0, 0], [4, 0], [4, 1], [3, 0], [2, 0], [1, 1]],
}


@pytest.mark.parametrize("outline", CROSSED.values(), ids=CROSSED.keys())
def test_outlines_that_cross_or_touch_themselves_are_refused(outline):
    with pytest.raises(EdgekitError, match="cross or touch"):
        section_properties(outline)


DEGENERATE = {
    "line": [[0, 0], [1, 1], [2, 2]],
    "point": [[1, 1], [1, 1], [1, 1]],
    "figure of eight with equal wings": [[0, 0], [1, 1], [1, 0], [0, 1]],
    "sliver": [[0, 0], [1, 0], [1, 1e-14], [0, 1e-14]],
}


@pytest.mark.parametrize("outline", DEGENERATE.values(), ids=DEGENERATE.keys())
def test_outlines_without_area_are_refused(outline):
    with pytest.raises(EdgekitError, match="enclose an area"):
        section_properties(outline)


def test_one_bad_outline_among_good_ones_is_named():
    outlines = np.stack(
        [
            np.array([[0, 0], [2, 0], [2, 1], [0, 2.0]]),
            np.array(CROSSED["bow tie with unequal wings"], float),
        ]
    )
    with pytest.raises(EdgekitError, match=r"\(1,\)"):
        section_properties(outlines)


def test_a_comb_is_simple_although_its_centroid_does_not_see_all_of_it():
    teeth = [
        [x, y]
        for k in range(8)
        for x, y in ((2 * k, 0), (2 * k, 5), (2 * k + 1, 5), (2 * k + 1, 0))
    ]
    section = section_properties([*teeth, [15, -1], [0, -1]])
    assert section.area_mm2 == pytest.approx(8 * 5 + 15, rel=ROUNDING)
