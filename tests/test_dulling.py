"""A rounded apex and the laws by which it grows, against sympy, printed factors and tables."""

from dataclasses import fields

import numpy as np
import pytest
import sympy as sp
from hypothesis import given, settings
from hypothesis import strategies as st

import edgekit as ek
from edgekit.grinding.random_streams import RunEffects
from edgekit.grinding.recession_field import prepare_edge
from edgekit.life.use import EdgeUse, useful_strokes
from tests.wear_blades import straight_blade, touching

ROUNDING = 1e-12  # relative: one closed form computed in two ways
LAW = 1e-9  # relative: a power and its inverse over six decades of strokes
PRINTED = 0.5e-3  # half the last digit of a factor printed to three decimals
FEW = settings(max_examples=60, deadline=None)


def circle_in_wedge(beta_deg, radius):
    """Circle tangent to the two sides of a wedge, from its centre; exact, by sympy.

    The apex is the origin, the face runs along +x, the flank at β below it.
    """
    beta = sp.pi * sp.Integer(beta_deg) / 180
    r = sp.nsimplify(radius)
    into = sp.Matrix([sp.cos(beta / 2), -sp.sin(beta / 2)])
    face, flank = sp.Matrix([1, 0]), sp.Matrix([sp.cos(beta), -sp.sin(beta)])
    reach = sp.symbols("reach", positive=True)
    centre = reach * into
    across = centre - (centre.T * face)[0] * face  # distance to the face must be r
    centre = centre.subs(reach, sp.solve(sp.sqrt((across.T * across)[0]) - r, reach)[0])
    on_face = (centre.T * face)[0] * face
    on_flank = (centre.T * flank)[0] * flank
    flank_normal = sp.Matrix([-sp.sin(beta), -sp.cos(beta)])
    # A plane parallel to the flank clears the circle once it meets the face at the tangency.
    depth = -(on_face.T * flank_normal)[0]
    kite = sp.sqrt((on_face.T * on_face)[0]) * r  # two right triangles
    sector = r**2 * (sp.pi - beta) / 2
    gap = on_face - on_flank
    centre_length = sp.sqrt((centre.T * centre)[0])
    exact = (sp.sqrt((gap.T * gap)[0]), centre_length - r, on_face[0], depth, kite - sector)
    return [float(item.evalf(30)) for item in exact]


@pytest.mark.parametrize("beta_deg", [40, 60, 75, 90, 110])
@pytest.mark.parametrize("radius", [0.25, 4.0])
def test_a_rounded_apex_is_a_circle_tangent_to_face_and_flank(beta_deg, radius):
    """Source: plane geometry derived by sympy from the circle's centre."""
    worn = ek.dull_edge(beta_deg, radius)
    computed = [getattr(worn, item.name) for item in fields(worn)]
    np.testing.assert_allclose(computed, circle_in_wedge(beta_deg, radius), rtol=ROUNDING)


def test_factors_at_75_degrees_are_those_of_the_handbook_page():
    """Source: factors derived by hand from the same circle."""
    worn = ek.dull_edge(75, 1.0)
    computed = [getattr(worn, item.name) for item in fields(worn)]
    np.testing.assert_allclose(computed[:4], [1.587, 0.643, 1.303, 1.259], atol=PRINTED)


@pytest.mark.parametrize(("beta_deg", "coefficient"), [(70, 0.468), (75, 0.387), (80, 0.319)])
def test_worn_area_has_the_derived_coefficients(beta_deg, coefficient):
    """Source: the closed-form law, worked out by hand."""
    assert float(ek.dull_edge(beta_deg, 1.0).worn_area_um2) == pytest.approx(
        coefficient, abs=PRINTED
    )


def test_worn_area_equals_a_numerical_integral():
    """Source: scipy's quadrature of the wedge less the circle, columns along the bisector."""
    from scipy.integrate import quad

    beta, r = np.radians(68.0), 3.0
    centre = r / np.sin(beta / 2)
    end = centre * np.cos(beta / 2) ** 2  # where the circle touches the sides

    def gap(x):
        wedge = x * np.tan(beta / 2)
        circle = np.sqrt(max(r**2 - (x - centre) ** 2, 0.0)) if x > centre - r else 0.0
        return 2 * (wedge - circle)

    area = quad(gap, 0, centre - r)[0] + quad(gap, centre - r, end)[0]
    assert float(ek.dull_edge(68.0, r).worn_area_um2) == pytest.approx(area, rel=1e-8)


@pytest.mark.parametrize(("beta_deg", "lost_um"), [(65, 6.3), (75, 5.2), (85, 4.4)])
def test_a_blunter_wedge_costs_less_for_the_same_rounding(beta_deg, lost_um):
    """Source: a teaching table, printed to 0.1 µm for a 4 µm radius."""
    assert float(ek.dull_edge(beta_deg, 4.0).along_face_um) == pytest.approx(lost_um, abs=0.05)


def test_shape_is_that_of_the_radius_and_a_scalar_has_none():
    many = ek.dull_edge(75, [[1.0, 2.0, 3.0]])
    one = ek.dull_edge(75, 2.0)
    assert one.edge_width_um.shape == ()
    for name in (item.name for item in fields(one)):
        array = getattr(many, name)
        assert array.shape == (1, 3)
        assert not array.flags.writeable
        assert array[0, 1] == getattr(one, name)


# ---- laws -----------------------------------------------------------------------------------

TABLE_STROKES = (15, 45, 90, 100, 1010)
TABLE = {  # Archard K: (printed c, r at the strokes above from r0 = 1.5), by hand
    1.7e-5: (0.073, (1.8, 2.4, 3.0, 3.1, 8.7)),
    1.0e-4: (0.43, (3.0, 4.7, 6.4, 6.7, 21)),
    1.3e-4: (0.56, (3.3, 5.2, 7.3, 7.6, 24)),
    1.0e-3: (4.3, (8.2, 14, 20, 21, 66)),
}


@pytest.mark.parametrize("k", TABLE)
def test_the_square_root_law_gives_the_table_of_archard_wear(k):
    """Source: worked out by hand: F 5 N, s 4 mm, L 2 mm, H 6 GPa, area 0.387 r².

    The table is printed to two digits: half a unit of its last digit is allowed.
    """
    printed_rate, radii = TABLE[k]
    coefficient = float(ek.dull_edge(75, 1.0).worn_area_um2)
    volume_um3 = k * 5.0 * 4e-3 / 6e9 * 1e18  # Archard's V = K F s / H over one stroke
    rate = volume_um3 / 2000.0 / coefficient  # spread over 2 mm of edge
    assert rate == pytest.approx(printed_rate, rel=0.02)
    radius_after = ek.PowerDulling(rate=rate, exponent=0.5).after(1.5, np.array(TABLE_STROKES))
    for radius, printed in zip(radius_after, radii, strict=True):
        last_digit = 1.0 if printed >= 10 else 0.1
        assert radius == pytest.approx(printed, abs=0.5 * last_digit + 0.01 * printed)


def test_the_default_law_is_the_adhesive_row():
    """Source: the row K = 1e-4 of the table above."""
    radius_after = ek.PowerDulling().after(1.5, np.array(TABLE_STROKES))
    np.testing.assert_allclose(radius_after, TABLE[1e-4][1], rtol=0.02)


def test_constant_worn_area_a_stroke_makes_the_square_root_law():
    """Source: sympy solves A(r) = A(r0) + a n for r, with A of the rounded wedge."""
    r, r0, n, a, c = sp.symbols("r r0 n a c", positive=True)
    solved = sp.solve(sp.Eq(c * r**2, c * r0**2 + a * n), r)[0]
    coefficient = float(ek.dull_edge(75, 1.0).worn_area_um2)
    exact = float(solved.subs({r0: 1.5, n: 33, a: 0.2, c: coefficient}))
    law = ek.PowerDulling(rate=0.2 / coefficient, exponent=0.5)
    assert float(law.after(1.5, 33)) == pytest.approx(exact, rel=ROUNDING)


reals = {"allow_nan": False, "allow_subnormal": False}
laws = st.one_of(
    st.builds(
        lambda rate, exponent: ek.PowerDulling(rate=rate, exponent=exponent),
        st.floats(0.0, 5.0, **reals),
        st.floats(0.2, 1.5, **reals),
    ),
    st.builds(
        lambda limit, strokes: ek.SaturatingDulling(limit_um=limit, strokes=strokes),
        st.floats(0.5, 20.0, **reals),
        st.floats(1.0, 300.0, **reals),
    ),
    st.builds(
        lambda start, steps, rises: ek.TableDulling(
            strokes=np.cumsum([start, *steps]), radius_um=1.0 + np.cumsum(rises)
        ),
        st.floats(0.0, 5.0, **reals),
        st.lists(st.floats(1.0, 40.0, **reals), min_size=3, max_size=3),
        st.lists(st.floats(0.2, 3.0, **reals), min_size=4, max_size=4),
    ),
)
radii_um = st.floats(0.2, 15.0, **reals)
strokes = st.floats(0.0, 400.0, **reals)


@FEW
@given(law=laws, radius=radii_um, first=strokes, second=strokes)
def test_strokes_in_two_parts_dull_as_much_as_at_once(law, radius, first, second):
    """A law that depends on the present radius alone is a semigroup in the strokes."""
    twice = law.after(law.after(radius, first), second)
    np.testing.assert_allclose(twice, law.after(radius, first + second), rtol=LAW)


@FEW
@given(law=laws, radius=radii_um)
def test_no_strokes_change_nothing(law, radius):
    np.testing.assert_allclose(law.after(radius, 0.0), radius, rtol=ROUNDING)


@FEW
@given(law=laws, radius=radii_um, count=strokes, more=st.floats(0.0, 50.0, **reals))
def test_more_strokes_never_sharpen(law, radius, count, more):
    less, greater = law.after(radius, np.array([count, count + more]))
    assert greater >= less * (1 - ROUNDING)
    assert less >= radius * (1 - ROUNDING)


def test_a_saturating_edge_tends_to_its_limit_and_a_blunter_one_stays():
    law = ek.SaturatingDulling(limit_um=6.0, strokes=30)
    assert float(law.after(1.5, 30)) == pytest.approx(6 - 4.5 / np.e, rel=ROUNDING)
    assert float(law.after(1.5, 1e4)) == pytest.approx(6.0, rel=ROUNDING)
    assert float(law.after(8.0, 100)) == 8.0


def test_a_table_is_read_along_straight_lines_and_its_last_slope_goes_on():
    """Source: numpy.interp within the table; the last slope by hand beyond it."""
    counts, radii = np.array([0.0, 15, 45, 90]), np.array([1.5, 3.0, 5.0, 5.9])
    law = ek.TableDulling(strokes=counts, radius_um=radii)
    asked = np.linspace(0, 90, 37)
    np.testing.assert_allclose(law.after(1.5, asked), np.interp(asked, counts, radii), rtol=LAW)
    assert float(law.after(1.5, 140)) == pytest.approx(5.9 + 50 * 0.9 / 45, rel=LAW)


def test_a_power_law_through_a_reading_passes_through_it():
    law = ek.PowerDulling.through(radius_um=4.65, strokes=45, sharp_radius_um=1.5, exponent=0.19)
    assert float(law.after(1.5, 45)) == pytest.approx(4.65, rel=LAW)
    assert float(law.after(1.5, 90)) < 6.0  # slower than before: 0.19 is below 1


@FEW
@given(
    radius=st.floats(0.0, 6.0),
    strokes=st.floats(0.1, 400.0),
    limit=st.floats(0.5, 8.0),
    severity=st.floats(-1.0, 1.0),
)
def test_useful_strokes_are_those_before_the_radius_passes_its_limit(
    radius, strokes, limit, severity
):
    """Of r² = r₀² + c n the last useful stroke is (limit² - r₀²) / c, whatever the interval."""
    rate = 0.43
    blade = straight_blade()
    law = ek.PowerDulling(rate=rate, exponent=0.5)
    use = touching(blade, strokes, law=law, useful_radius_um=limit, severity_gsd=2.0)
    grid = prepare_edge(blade, "used", stations=9, depths=3)
    effects = RunEffects(np.zeros((1, 4)), *np.zeros((2, 1)), np.array([severity]), np.zeros(1))
    start = np.full(1, radius)
    share = float(useful_strokes([EdgeUse(use, grid, 1)], start, effects)[0]) / use.strokes
    found = share * strokes
    exact = np.clip((limit**2 - radius**2) / (rate * 2.0**severity), 0.0, strokes)
    assert found == pytest.approx(exact, abs=0.5 * strokes / 32 + 1e-9)
    assert 0 <= found <= strokes * (1 + 1e-12)
