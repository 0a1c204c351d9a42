"""Early wear of teeth: closed forms of the limits, conservation, convergence."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import norm

from edgekit.edge_finish.texture import roughness
from edgekit.edge_finish.tooth_wear import (
    LineContact,
    default_contact,
    gaussian_heights,
    wear_teeth,
)
from edgekit.evidence_table import value

ROUNDING = 1e-9
# A level of 0.01 µm, times the few levels that are on the move at once.
LEVEL_UM = 0.05
ORDER = 0.25

STROKES = np.array([0.0, 1.0, 5.0, 15.0, 45.0, 90.0])


def hard(k: float = 1e-4) -> LineContact:
    """A pair so hard that only the highest points are needed to bear the load."""
    return LineContact(
        load_n_per_mm=2.5,
        stroke_mm=4.0,
        counterface_hv=60_000.0,
        steel_hv=60_000.0,
        wear_coefficient=k * 60_000 / 613,
    )


def soft() -> LineContact:
    """A counterface so soft that the whole edge sinks in."""
    return LineContact(
        load_n_per_mm=2.5, stroke_mm=4.0, counterface_hv=5.0, steel_hv=613.0, wear_coefficient=1e-4
    )


def area_factor(beta: float) -> float:
    half = math.radians(beta) / 2
    return 1 / math.tan(half) - (math.pi - 2 * half) / 2


@pytest.mark.parametrize("contact", [default_contact(), hard(), soft()])
def test_a_smooth_edge_follows_the_square_root_law(contact):
    worn = wear_teeth(np.zeros(50), internal_angle_deg=75, strokes=STROKES, contact=contact)
    # r² = r₀² + n k q s/(H c): the law written out in SI units, apart from the package's.
    loss = contact.wear_coefficient * 2500 * 4e-3 / (contact.steel_hv * 9.80665e6) * 1e12
    radius = np.sqrt(value("sharp_radius_um") ** 2 + STROKES * loss / area_factor(75))
    assert worn.radius_um == pytest.approx(radius, rel=ROUNDING)
    assert worn.contact_radius_um == pytest.approx(radius, rel=ROUNDING)
    assert worn.contact_share.tolist() == [1.0] * STROKES.size
    recession = (radius - radius[0]) * (1 / math.sin(math.radians(37.5)) - 1)
    assert worn.recession_um == pytest.approx(recession, abs=1e-9)
    assert worn.top_recession_um == pytest.approx(recession, abs=1e-9)


def test_the_defaults_give_the_derived_rate_of_dulling():
    # The evidence table's 0.43 µm² a stroke was derived with 6 GPa; the steel here is 6.01 GPa.
    rate = default_contact().area_um2_per_stroke / area_factor(75)
    assert rate == pytest.approx(value("dull_rate_um2_per_stroke"), rel=0.01)


@pytest.mark.parametrize("contact", [default_contact(), hard(), soft()])
@pytest.mark.parametrize("rq", [0.0, 0.2, 1.0])
def test_the_section_worn_does_not_depend_on_teeth(contact, rq):
    worn = wear_teeth(gaussian_heights(rq), internal_angle_deg=75, strokes=STROKES, contact=contact)
    assert worn.worn_area_um2 == pytest.approx(
        STROKES * contact.area_um2_per_stroke, rel=ROUNDING, abs=ROUNDING
    )


def truncated(rq: float, strokes: float, contact: LineContact, r0: float, beta: float) -> float:
    """Mean radius when all points above a level are worn down to it, by root and quadrature.

    ∫_{z>c} [A(r₀ + (z − c)/m) − A(r₀)] p(z) dz = n a, p Gaussian with rms Rq cos(β/2).
    """
    m = 1 / math.sin(math.radians(beta / 2)) - 1
    sd = rq * math.cos(math.radians(beta / 2))

    def above(f, c):
        return quad(lambda z: f((z - c) / m) * norm.pdf(z, scale=sd), c, 12 * sd)[0]

    def lost(c):
        return area_factor(beta) * above(lambda r: (r0 + r) ** 2 - r0**2, c)

    level = brentq(lambda c: lost(c) - strokes * contact.area_um2_per_stroke, -6 * sd, 6 * sd)
    return r0 + above(lambda r: r, level)


@pytest.mark.parametrize("rq", [0.3, 1.0])
@pytest.mark.parametrize("strokes", [2.0, 6.0])
def test_on_a_hard_counterface_teeth_are_truncated_level(rq, strokes):
    heights = gaussian_heights(rq, 4000)
    worn = wear_teeth(
        heights,
        internal_angle_deg=75,
        strokes=[strokes],
        contact=hard(),
        sharp_radius_um=1.5,
        level_um=0.004,
    )
    expected = truncated(rq, strokes, hard(), 1.5, 75)
    assert worn.radius_um[0] == pytest.approx(expected, rel=5e-3)


def test_the_first_touch_is_the_share_that_bears_the_load():
    # All tips equally wide at the start: share = q/(p 2 r cos(β/2)).
    contact = LineContact(
        load_n_per_mm=1.0,
        stroke_mm=4.0,
        counterface_hv=200.0,
        steel_hv=613.0,
        wear_coefficient=1e-4,
    )
    worn = wear_teeth(
        gaussian_heights(1.0, 2000),
        internal_angle_deg=75,
        strokes=[0],
        contact=contact,
        sharp_radius_um=1.5,
        level_um=1e-3,
    )
    width = 2 * 1.5 * math.cos(math.radians(37.5))
    share = 1000 / (200 * 9.80665e6) * 1e6 / width
    assert worn.contact_share[0] == pytest.approx(share, abs=2e-3)


def test_teeth_come_down_first_and_then_the_two_edges_are_alike():
    smooth = wear_teeth(
        gaussian_heights(0.0), internal_angle_deg=75, strokes=STROKES, contact=hard()
    )
    toothed = wear_teeth(
        gaussian_heights(0.3), internal_angle_deg=75, strokes=STROKES, contact=hard()
    )
    assert (toothed.top_recession_um[1:] > smooth.top_recession_um[1:] + LEVEL_UM).all()
    assert (np.diff(toothed.contact_share) >= -0.05).all()
    assert toothed.contact_share[0] < 0.05
    # Once the teeth are gone the bearing edges differ by little.
    assert toothed.contact_radius_um[-1] == pytest.approx(smooth.contact_radius_um[-1], rel=0.01)
    assert toothed.contact_radius_um[1] > smooth.contact_radius_um[1]


def test_on_a_soft_counterface_teeth_make_no_difference():
    smooth = wear_teeth(
        gaussian_heights(0.0), internal_angle_deg=75, strokes=STROKES, contact=soft()
    )
    toothed = wear_teeth(
        gaussian_heights(0.6), internal_angle_deg=75, strokes=STROKES, contact=soft()
    )
    assert toothed.radius_um == pytest.approx(smooth.radius_um, rel=ROUNDING)
    assert toothed.top_recession_um == pytest.approx(smooth.top_recession_um, abs=ROUNDING)


def test_no_load_no_wear_and_no_coefficient_no_wear():
    for load, k in ((0.0, 1e-4), (2.5, 0.0)):
        contact = LineContact(
            load_n_per_mm=load,
            stroke_mm=4.0,
            counterface_hv=50.0,
            steel_hv=613.0,
            wear_coefficient=k,
        )
        worn = wear_teeth(
            gaussian_heights(0.3), internal_angle_deg=75, strokes=STROKES, contact=contact
        )
        assert worn.worn_area_um2.tolist() == [0.0] * STROKES.size
        assert worn.recession_um.tolist() == [0.0] * STROKES.size


def test_levels_converge_with_order_one():
    def top(level):
        return wear_teeth(
            gaussian_heights(0.3, 1500),
            internal_angle_deg=75,
            strokes=[20],
            contact=hard(),
            level_um=level,
        ).top_recession_um[0]

    values = np.array([top(level) for level in (0.08, 0.04, 0.02, 0.01)])
    step = np.abs(np.diff(values))
    assert np.log2(step[:-1] / step[1:]).mean() == pytest.approx(1.0, abs=ORDER)


@given(st.floats(0.05, 1.0), st.floats(30, 110), st.integers(0, 2**32 - 1))
def test_wear_is_monotone_and_order_of_points_is_nothing(rq, beta, seed):
    heights = gaussian_heights(rq, 60)
    mixed = np.random.default_rng(seed).permutation(heights)
    kwargs = {"internal_angle_deg": beta, "strokes": [0.0, 3.0, 9.0, 20.0], "level_um": 0.05}
    one, other = wear_teeth(heights, **kwargs), wear_teeth(mixed, **kwargs)
    assert (one.radius_um == other.radius_um).all()
    for name in ("recession_um", "top_recession_um", "radius_um", "worn_area_um2"):
        assert (np.diff(getattr(one, name)) >= 0).all()


def test_heights_may_come_from_a_measured_material_curve():
    x = np.linspace(0, 1000, 5001)
    curve = roughness(x, 0.3 * np.sin(x)).curve
    share = (np.arange(200) + 0.5) / 200
    worn = wear_teeth(curve.level_at(share), internal_angle_deg=75, strokes=STROKES)
    assert worn.worn_area_um2[-1] == pytest.approx(90 * default_contact().area_um2_per_stroke)
    assert "Model:" in worn.statement
    assert "Evidence:" in worn.statement


def test_gaussian_heights_are_the_quantiles():
    heights = gaussian_heights(0.4, 999)
    assert heights == pytest.approx(norm.isf((np.arange(999) + 0.5) / 999, scale=0.4), abs=1e-12)
    assert heights[499] == pytest.approx(0.0, abs=1e-12)
