"""Edge line from texture: closed forms, quadrature of spectra, and convergence of realisations."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from edgekit.edge_finish.edge_line import (
    correlation_length_um,
    edge_rq_um,
    min_visible_um,
    scratch_lengths_um,
    teeth_per_mm,
    visible_rq_um,
)
from edgekit.edge_finish.edge_profile import realise
from edgekit.evidence_table import value

ROUNDING = 1e-9
QUADRATURE = 1e-8
# Standard errors allowed between a mean over seeds and its theory.
SIGMAS = 4.0
# Observed orders: sampling on one long line, length over a few hundred seeds.
SAMPLING_ORDER = 0.2
LENGTH_ORDER = 0.1


def rotated_correlation(dx: float, dy: float, psi: float, across: float, along: float) -> float:
    """Correlation of a surface whose scratches run at psi to the x axis, by turning the lag."""
    u = dx * math.cos(psi) + dy * math.sin(psi)  # along the scratches
    v = -dx * math.sin(psi) + dy * math.cos(psi)
    return math.exp(-((u / along) ** 2) - (v / across) ** 2)


@given(st.floats(-180, 180), st.floats(0.1, 5), st.floats(1, 50))
def test_length_along_the_edge_is_where_the_turned_correlation_falls_to_1_e(lay, across, aspect):
    length = float(correlation_length_um(lay, l_perp_um=across, l_par_um=across * aspect))
    fallen = rotated_correlation(length, 0.0, math.radians(lay), across, across * aspect)
    assert fallen == pytest.approx(math.exp(-1), rel=ROUNDING)


def test_length_along_the_edge_falls_as_the_lay_turns_across():
    lay = np.linspace(0, 90, 91)
    length = correlation_length_um(lay, l_perp_um=2.0, l_par_um=40.0)
    assert length.shape == (91,)
    assert (np.diff(length) < 0).all()
    assert correlation_length_um(30.0, l_perp_um=2.0, l_par_um=40.0) == length[30]


def test_trace_on_the_face_is_the_facet_height_over_the_sine():
    # Shift a facet by h along its outward normal n = −sinβ b − cosβ f (edge at the origin, face
    # f = 0): it meets the face where n·(b u) = h, that is at u = −h/sinβ, outward.
    for beta in (30.0, 75.0, 90.0, 110.0):
        normal = np.array([-math.sin(math.radians(beta)), -math.cos(math.radians(beta))])
        u = 0.2 / normal[0]
        assert edge_rq_um(beta, 0.2) == pytest.approx(-u, rel=ROUNDING)


def moments(length: float, highest: float) -> tuple[float, float]:
    """Height and slope variance below a wave number, by quadrature of the spectrum."""

    def spectrum(k: float) -> float:
        return length / math.sqrt(math.pi) * math.exp(-((k * length) ** 2) / 4)

    top = min(highest, 60 / length)
    zero = quad(spectrum, 0, top, epsabs=1e-13)[0]
    return zero, quad(lambda k: k * k * spectrum(k), 0, top, epsabs=1e-13)[0]


@pytest.mark.parametrize("length", [0.5, 2.0, 40.0])
@pytest.mark.parametrize("shortest", [None, 0.5, 5.0, 200.0])
def test_teeth_follow_rices_formula_on_the_spectrum(length, shortest):
    m0, m2 = moments(length, math.inf if shortest is None else 2 * math.pi / shortest)
    expected = 1000 / (2 * math.pi) * math.sqrt(m2 / m0)
    assert teeth_per_mm(length, min_wavelength_um=shortest) == pytest.approx(
        expected, rel=QUADRATURE
    )
    seen = visible_rq_um(0.3, length, min_wavelength_um=shortest)
    assert seen == pytest.approx(0.3 * math.sqrt(m0), rel=QUADRATURE)


def test_what_cannot_be_seen_is_not_counted():
    # A band far below the correlation is flat: m₂/m₀ = k²/3, so ν = 1/(√3 λ).
    assert teeth_per_mm(0.01, min_wavelength_um=100.0) == pytest.approx(10 / math.sqrt(3), rel=1e-4)
    shortest = min_visible_um([1.0, 10.0, 1e6])
    assert shortest.tolist() == [100.0, 10.0, value("optical_limit_um")]


def test_scratch_lengths_give_the_spacing_asked_for():
    # Rice 1945: rises through the mean of exp(−(τ/l)²) are √2 π l apart.
    across, along = scratch_lengths_um([3.0, 30.0])
    assert 1000 / teeth_per_mm(across) == pytest.approx([3.0, 30.0], rel=ROUNDING)
    assert (along > across).all()


def test_realisations_have_the_stated_height_correlation_and_teeth():
    length, rq = 4.0, 0.25
    lines = [realise([0, 4000], length, rq, rng=np.random.default_rng(seed)) for seed in range(60)]
    z = np.array([line.z_um for line in lines])
    lag = 8  # one correlation length at 8 points in each
    for products, expected in (
        ((z * z).mean(axis=1), rq**2),
        ((z[:, lag:] * z[:, :-lag]).mean(axis=1), rq**2 * math.exp(-1)),
        (np.array([line.teeth_per_mm for line in lines]), float(teeth_per_mm(length))),
    ):
        error = products.std(ddof=1) / math.sqrt(len(lines))
        # The count misses 0.3 % by its sampling, which is named in the module.
        assert abs(products.mean() - expected) < SIGMAS * error + 0.003 * expected
    # Gaussian heights: Ra/Rq = √(2/π).
    assert np.abs(z).mean() / z.std() == pytest.approx(math.sqrt(2 / math.pi), rel=0.01)


# The library warns of its own renamed functions from inside.
@pytest.mark.filterwarnings("ignore:Function/property:DeprecationWarning")
@pytest.mark.filterwarnings("ignore:Could not import mpi4py:ImportWarning")
def test_slope_of_a_realisation_equals_an_independent_library_and_theory():
    import SurfaceTopography as surface  # two seconds, and only this test needs it

    line = realise([0, 40_000], 4.0, 0.25, rng=np.random.default_rng(4), steps=32)
    scan = surface.UniformLineScan(line.z_um - line.z_um.mean(), float(np.ptp(line.x_um)))
    assert scan.rms_height_from_profile() == pytest.approx(line.z_um.std(), rel=1e-6)
    # Rms slope √2 Rq/l, the m₂ of Rice's formula.
    assert scan.rms_slope_from_profile() == pytest.approx(math.sqrt(2) * 0.25 / 4.0, rel=0.03)


# Waves kept far above, near and below the correlation length: read at fewer, as many and more
# points than the process is drawn on.
@pytest.mark.parametrize(("length", "shortest"), [(1.0, 20.0), (3.0, 12.0), (8.0, 2.0)])
def test_band_limited_realisation_keeps_the_stated_share(length, shortest):
    lines = [
        realise([0, 4000], length, 0.2, rng=np.random.default_rng(seed), min_wavelength_um=shortest)
        for seed in range(60)
    ]
    heights = np.array([line.z_um.std() for line in lines])
    teeth = np.array([line.teeth_per_mm for line in lines])
    assert heights.mean() == pytest.approx(
        float(visible_rq_um(0.2, length, min_wavelength_um=shortest)), rel=0.02
    )
    assert teeth.mean() == pytest.approx(
        float(teeth_per_mm(length, min_wavelength_um=shortest)), rel=0.02
    )


def test_height_and_length_follow_the_stations():
    arc = np.linspace(0, 20_000, 201)
    length = np.where(arc < 10_000, 2.0, 20.0)
    rq = np.where(arc < 10_000, 0.1, 0.4)
    line = realise(arc, length, rq, rng=np.random.default_rng(8))
    first, last = line.x_um < 9_500, line.x_um > 10_500
    assert line.z_um[first].std() == pytest.approx(0.1, rel=0.05)
    assert line.z_um[last].std() == pytest.approx(0.4, rel=0.1)

    def count(part):
        above = line.z_um[part] > 0
        return 1000 * np.count_nonzero(above[1:] & ~above[:-1]) / np.ptp(line.x_um[part])

    assert count(first) == pytest.approx(float(teeth_per_mm(2.0)), rel=0.05)
    assert count(last) == pytest.approx(float(teeth_per_mm(20.0)), rel=0.15)


def test_a_seed_gives_one_line_however_finely_it_is_read():
    coarse = realise([0, 500], 4.0, 0.2, rng=np.random.default_rng(3), steps=8)
    fine = realise([0, 500], 4.0, 0.2, rng=np.random.default_rng(3), steps=32)
    assert np.interp(coarse.x_um, fine.x_um, fine.z_um) == pytest.approx(coarse.z_um, abs=1e-5)
    again = realise([0, 500], 4.0, 0.2, rng=np.random.default_rng(3))
    assert (again.z_um == coarse.z_um).all()
    other = realise([0, 500], 4.0, 0.2, rng=np.random.default_rng(4))
    assert abs(np.corrcoef(other.z_um, again.z_um)[0, 1]) < 0.5


def test_teeth_converge_with_order_two_in_sampling():
    # One long line read at coarser and coarser steps; the finest reading is the limit. Chance
    # is common to all readings, so the error of sampling stands alone.
    line = realise([0, 400_000], 4.0, 1.0, rng=np.random.default_rng(12), steps=32)

    def teeth(stride):
        above = line.z_um[::stride] > 0
        return np.count_nonzero(above[1:] & ~above[:-1])

    missed = np.array([teeth(1) - teeth(stride) for stride in (8, 16, 32)])
    assert np.log2(missed[1:] / missed[:-1]) == pytest.approx(2.0, abs=SAMPLING_ORDER)
    # Against the exact count of a sampled Gaussian process, arccos(ρ)/2π rises in a step.
    step = 1.0
    share = math.acos(math.exp(-(step**2))) / (2 * math.pi * step) * math.sqrt(2) * math.pi
    assert teeth(32) / teeth(1) == pytest.approx(share, rel=0.01)


def test_height_converges_with_order_one_half_in_length():
    # The variance of a mean over independent stretches falls as 1/length.
    spans = np.array([100.0, 400.0, 1600.0])
    error = [
        np.std(
            [
                np.mean(realise([0, span], 1.0, 1.0, rng=np.random.default_rng(seed)).z_um ** 2)
                for seed in range(300)
            ]
        )
        for span in spans
    ]
    order = -np.polyfit(np.log(spans), np.log(error), 1)[0]
    assert order == pytest.approx(0.5, abs=LENGTH_ORDER)
    # Var of the mean square is (2/L)∫ρ² dτ = (2/L) l √(π/2) for ρ = exp(−(τ/l)²).
    assert error[-1] == pytest.approx(math.sqrt(2 * math.sqrt(math.pi / 2) / spans[-1]), rel=0.15)


@given(st.floats(0.1, 100), st.floats(0.1, 10))
def test_teeth_scale_inversely_with_length(length, factor):
    one = teeth_per_mm(length, min_wavelength_um=3.0)
    assert teeth_per_mm(factor * length, min_wavelength_um=factor * 3.0) * factor == pytest.approx(
        float(one), rel=ROUNDING
    )
