"""Roughness against closed forms, quadrature and an independent library of surface texture."""

import math

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from edgekit.edge_finish.material_curve import material_curve
from edgekit.edge_finish.profile_filter import mean_line
from edgekit.edge_finish.texture import roughness

# 400 points a period: the chord lies π²/(6·400²)·… below the arc, 2e-5 of Ra.
CHORD = 5e-5
# Where profile and theory are both straight pieces, only rounding is left.
ROUNDING = 1e-9
# Rk by a least-squares line on 801 points of the curve against the integral.
SECANT = 2e-3
# The filter's cell averages and its cut weight.
FILTER = 1e-4
# Observed orders, on four halvings.
ORDER = 0.1


def sine(amplitude: float, periods: int, per_period: int = 400):
    x = np.linspace(0.0, 100.0 * periods, per_period * periods + 1)
    return x, amplitude * np.sin(2 * np.pi * x / 100)


def triangle_wave(amplitude: float, periods: int):
    x = np.arange(4 * periods + 1) * 25.0
    return x, amplitude * np.resize([0.0, 1.0, 0.0, -1.0], x.size)


def test_sine_has_its_closed_forms():
    result = roughness(*sine(2.0, 10))
    assert result.ra_um == pytest.approx(2 * 2.0 / math.pi, rel=CHORD)
    assert result.rq_um == pytest.approx(2.0 / math.sqrt(2), rel=CHORD)
    assert result.rz_um == pytest.approx(4.0, rel=CHORD)
    assert result.rt_um == pytest.approx(4.0, rel=CHORD)
    assert result.rsk == pytest.approx(0.0, abs=ROUNDING)
    assert result.rku == pytest.approx(1.5, rel=CHORD)
    level = np.linspace(-1.9, 1.9, 39)
    assert result.material_ratio(level) == pytest.approx(np.arccos(level / 2) / math.pi, abs=CHORD)


def test_triangle_wave_has_its_closed_forms_to_rounding():
    result = roughness(*triangle_wave(3.0, 10))
    assert result.ra_um == pytest.approx(3.0 / 2, rel=ROUNDING)
    assert result.rq_um == pytest.approx(3.0 / math.sqrt(3), rel=ROUNDING)
    assert result.rz_um == pytest.approx(6.0, rel=ROUNDING)
    assert result.rku == pytest.approx(9 / 5, rel=ROUNDING)
    level = np.array([-3.0, -1.5, 0.0, 2.0, 3.0])
    assert result.material_ratio(level) == pytest.approx((3 - level) / 6, abs=ROUNDING)
    assert result.rk_um == pytest.approx(result.rt_um, rel=1e-6)
    assert result.rpk_um == pytest.approx(0.0, abs=1e-6)
    assert result.rvk_um == pytest.approx(0.0, abs=1e-6)


def gaussian_core():
    """Rk, Rpk, Mr1 of unit Gaussian heights, by mpmath from the definitions of ISO 13565-2.

    The flattest 40 % of the curve h(p) = Φ⁻¹(1 − p) lies about p = 1/2; the least-squares slope
    there is ∫(p − ½) h dp / ∫(p − ½)² dp, the line's rise over p = 0…1 is Rk, and the peaks
    above t have area φ(t) − t Q(t).
    """

    def height(p):
        return mpmath.sqrt(2) * mpmath.erfinv(1 - 2 * p)

    top = mpmath.quad(lambda p: (p - 0.5) * height(p), [0.3, 0.5, 0.7])
    slope = top / mpmath.quad(lambda p: (p - 0.5) ** 2, [0.3, 0.7])
    t = -slope / 2
    q = mpmath.erfc(t / mpmath.sqrt(2)) / 2
    area = mpmath.npdf(t) - t * q
    return float(-slope), float(2 * area / q), float(q)


def gaussian_profile():
    """A rising profile whose heights are exactly Gaussian in share, with uneven points."""
    x = np.unique(
        np.concatenate([np.linspace(1e-7, 1 - 1e-7, 4001), norm.cdf(np.arange(-5, 5, 0.01))])
    )
    return x, norm.ppf(x)


def test_gaussian_heights_have_their_closed_forms():
    result = roughness(*gaussian_profile())
    rk, rpk, mr1 = gaussian_core()
    assert result.rq_um == pytest.approx(1.0, rel=1e-4)
    assert result.ra_um == pytest.approx(math.sqrt(2 / math.pi), rel=1e-4)
    assert result.rku == pytest.approx(3.0, rel=2e-3)
    assert result.rk_um == pytest.approx(rk, rel=SECANT)
    assert result.rpk_um == pytest.approx(rpk, rel=SECANT)
    assert result.rvk_um == pytest.approx(rpk, rel=SECANT)
    assert result.core.mr1 == pytest.approx(mr1, abs=SECANT)
    assert result.core.mr2 == pytest.approx(1 - mr1, abs=SECANT)
    level = np.linspace(-3, 3, 25)
    assert result.material_ratio(level) == pytest.approx(norm.sf(level), abs=1e-4)


def test_the_core_of_exponential_heights_lies_at_the_end_of_the_curve():
    # h(p) = −ln p falls ever more gently, so the flattest 40 % is p = 0.6…1, and the line there
    # has slope ∫(p − 0.8) h dp / ∫(p − 0.8)² dp and passes through the mean of h at p = 0.8.
    top = mpmath.quad(lambda p: (mpmath.mpf(p) - 0.8) * -mpmath.log(p), [0.6, 1])
    slope = top / mpmath.quad(lambda p: (p - 0.8) ** 2, [0.6, 1])
    upper = mpmath.quad(lambda p: -mpmath.log(p), [0.6, 1]) / 0.4 - slope * 0.8
    mr1 = mpmath.exp(-upper)
    x = np.geomspace(1e-7, 1, 20_001)
    core = roughness(x, -np.log(x)).core
    assert core.rk_um == pytest.approx(float(-slope), rel=SECANT)
    assert core.mr1 == pytest.approx(float(mr1), abs=SECANT)
    # Peaks above `upper`: ∫₀^mr1 (−ln p − upper) dp = mr1.
    assert core.rpk_um == pytest.approx(2.0, rel=SECANT)


def test_skew_profile_equals_quadrature():
    # No symmetry: sharp peaks, wide valleys, unevenly spaced points.
    def shape(u):
        return math.exp(1.5 * math.sin(u) + 0.4 * math.cos(3 * u))

    def integral(f):
        return quad(f, 0, 2 * math.pi, epsabs=1e-9, epsrel=1e-9, limit=400)[0] / (2 * math.pi)

    mean = integral(shape)
    rq = math.sqrt(integral(lambda u: (shape(u) - mean) ** 2))
    u = 2 * math.pi * np.sort(np.random.default_rng(3).random(6000)) ** 0.7
    u = np.unique(np.concatenate([[0.0], u, [2 * math.pi]]))
    result = roughness(u, [shape(v) for v in u])
    assert result.ra_um == pytest.approx(integral(lambda v: abs(shape(v) - mean)), rel=CHORD)
    assert result.rq_um == pytest.approx(rq, rel=CHORD)
    assert result.rsk == pytest.approx(
        integral(lambda v: (shape(v) - mean) ** 3) / rq**3, rel=CHORD
    )
    assert result.rku == pytest.approx(
        integral(lambda v: (shape(v) - mean) ** 4) / rq**4, rel=CHORD
    )
    # The curve's area is the mean of the peaks: ∫₀ Rmr dc = Ra/2 by definition.
    level = np.linspace(0, result.rt_um, 20_001)
    above = np.trapezoid(result.material_ratio(level), level)
    assert above == pytest.approx(result.ra_um / 2, rel=1e-4)


@pytest.mark.filterwarnings("ignore:Could not import mpi4py:ImportWarning")
def test_rq_of_uneven_points_equals_an_independent_library():
    import SurfaceTopography as surface  # two seconds, and only this test needs it

    rng = np.random.default_rng(11)
    x = np.cumsum(rng.lognormal(0, 1, 3000))
    z = rng.standard_normal(3000)
    z -= np.trapezoid(z, x) / (x[-1] - x[0])
    theirs = surface.NonuniformLineScan(x, z).rms_height_from_profile()
    assert roughness(x, z).rq_um == pytest.approx(theirs, rel=ROUNDING)
    # A mean over points instead of over length would be off by far more than the tolerance.
    assert abs(np.std(z) / theirs - 1) > 1e-3


@given(st.integers(0, 2**32 - 1))
def test_points_added_on_the_straight_pieces_change_nothing(seed):
    rng = np.random.default_rng(seed)
    x, z = np.cumsum(rng.random(30) + 0.01), rng.standard_normal(30)
    more = np.sort(np.concatenate([x, rng.uniform(x[0], x[-1], 50)]))
    fine = roughness(more, np.interp(more, x, z))
    coarse = roughness(x, z)
    for name in ("ra_um", "rq_um", "rz_um", "rt_um", "rsk", "rku"):
        assert getattr(fine, name) == pytest.approx(getattr(coarse, name), rel=1e-7, abs=1e-9)
    level = np.linspace(z.min(), z.max(), 7)
    assert fine.material_ratio(level) == pytest.approx(coarse.material_ratio(level), abs=1e-5)


@given(st.integers(0, 2**32 - 1), st.floats(0.01, 100), st.floats(-50, 50))
def test_heights_scale_shift_and_turn_over(seed, factor, shift):
    rng = np.random.default_rng(seed)
    x, z = np.cumsum(rng.random(40) + 0.01), rng.standard_normal(40) ** 3
    one, other = roughness(x, z), roughness(x, shift - factor * z)
    for name in ("ra_um", "rq_um", "rz_um", "rt_um"):
        assert getattr(other, name) == pytest.approx(factor * getattr(one, name), rel=1e-7)
    assert other.rsk == pytest.approx(-one.rsk, rel=1e-6, abs=1e-6)
    assert other.rku == pytest.approx(one.rku, rel=1e-6)


def test_turning_a_profile_over_swaps_peaks_and_valleys():
    x, z = gaussian_profile()
    skew = np.exp(z / 2)
    up, down = roughness(x, skew), roughness(x, -skew)
    assert up.rpk_um > 2 * up.rvk_um
    assert down.rvk_um == pytest.approx(up.rpk_um, rel=SECANT)
    assert down.rpk_um == pytest.approx(up.rvk_um, rel=2 * SECANT)
    assert down.rk_um == pytest.approx(up.rk_um, rel=SECANT)


def test_sampling_converges_with_order_two():
    error = [
        abs(roughness(*sine(1.0, 10, per_period)).ra_um - 2 / math.pi)
        for per_period in (16, 32, 64, 128, 256)
    ]
    order = np.log2(np.array(error[:-1]) / np.array(error[1:]))
    assert order == pytest.approx(2.0, abs=ORDER)


@pytest.mark.parametrize("wavelength", [100.0, 400.0, 800.0, 1600.0, 3200.0])
def test_filter_passes_the_share_iso_16610_21_states(wavelength):
    # Long-wave transmission exp(−π(α λc/λ)²), α = √(ln2/π): half at the cut-off.
    x = np.linspace(0, 12_800, 12_801)
    line = mean_line(x, np.cos(2 * np.pi * x / wavelength), 800.0)
    inside = slice(1600, -1600)
    share = math.exp(-math.log(2) * (800 / wavelength) ** 2)
    assert line[inside] == pytest.approx(
        share * np.cos(2 * np.pi * x / wavelength)[inside], abs=FILTER
    )


def test_filter_keeps_a_constant_and_does_not_mind_uneven_points():
    rng = np.random.default_rng(2)
    even = np.linspace(0, 4000, 4001)
    uneven = np.unique(np.concatenate([even, rng.uniform(0, 700, 3000)]))
    assert mean_line(uneven, np.full(uneven.size, 7.0), 800.0) == pytest.approx(7.0, rel=ROUNDING)
    z = rng.standard_normal(even.size)
    dense = mean_line(uneven, np.interp(uneven, even, z), 800.0)
    sparse = np.interp(uneven, even, mean_line(even, z, 800.0))
    assert dense == pytest.approx(sparse, abs=FILTER)


def test_filter_does_not_mind_points_added_on_long_straight_pieces():
    # Pieces a quarter of a cut-off long: the integral between points is a parabola, not a chord.
    rng = np.random.default_rng(9)
    x = np.cumsum(rng.uniform(100, 300, 40))
    z = rng.standard_normal(40)
    dense = np.unique(np.concatenate([x, np.linspace(x[0], x[-1], 40_001)]))
    line = mean_line(dense, np.interp(dense, x, z), 800.0)
    assert mean_line(x, z, 800.0) == pytest.approx(line[np.searchsorted(dense, x)], abs=1e-6)


def test_filtered_roughness_drops_the_wave_and_keeps_the_ripple():
    x = np.linspace(0, 5650, 11_301)
    ripple = 0.3 * np.sin(2 * np.pi * x / 20)
    result = roughness(x, ripple + 5 * np.sin(2 * np.pi * x / 20_000), cutoff_um=800.0)
    assert result.ra_um == pytest.approx(2 * 0.3 / math.pi, rel=0.02)
    assert (result.sections, result.sampling_um) == (5, pytest.approx(800.0))
    assert result.evaluation_um == pytest.approx(4000.0)
    assert result.standard_lengths
    assert "standard's default" in result.lengths


def test_filtered_heights_are_taken_from_the_filters_mean_line():
    x = np.linspace(0, 1600, 1601)
    z = np.cos(2 * np.pi * x / 1600) + 0.1 * np.sin(x)
    result = roughness(x, z, cutoff_um=800.0)
    assert result.sections == 1
    kept = np.searchsorted(x, result.x_um)
    assert result.z_um == pytest.approx((z - mean_line(x, z, 800.0))[kept], abs=ROUNDING)
    assert abs(result.z_um.mean()) > 0.01  # it is not centred a second time


@pytest.mark.parametrize(
    ("length", "sections"), [(4800.0, 5), (4799.0, 4), (3000.0, 2), (1600.0, 1)]
)
def test_a_short_edge_says_so(length, sections):
    x = np.linspace(0, length, 2001)
    result = roughness(x, np.sin(x / 5), cutoff_um=800.0)
    assert result.sections == sections
    assert result.standard_lengths is (sections == 5)
    assert ("too short" in result.lengths) is (sections < 5)


def test_rz_is_the_mean_over_sampling_lengths_and_rt_the_whole():
    # Five equal parts of one triangle each, amplitudes 1 to 5, peaks and valleys inside.
    peaks = np.repeat([1.0, 2.0, 3.0, 4.0, 5.0], 4) * np.resize([0.0, 1.0, 0.0, -1.0], 20)
    result = roughness(np.arange(21.0), np.append(peaks, 0.0))
    assert result.rz_um == pytest.approx(np.mean([2, 4, 6, 8, 10]), rel=ROUNDING)
    assert result.rt_um == pytest.approx(10.0, rel=ROUNDING)


def test_unfiltered_lengths_are_called_not_standard():
    result = roughness(*sine(1.0, 10))
    assert not result.standard_lengths
    assert "unfiltered" in result.lengths


def test_a_flat_profile_has_no_shape_and_no_height():
    flat = roughness(np.arange(10.0), np.full(10, 0.1))
    assert (flat.ra_um, flat.rq_um, flat.rt_um, flat.rk_um, flat.rpk_um) == (0, 0, 0, 0, 0)
    assert flat.rsk is None
    assert flat.rku is None
    assert flat.material_ratio([-1.0, 1.0]).tolist() == [1.0, 0.0]


def test_plateaus_are_kept_in_the_curve():
    # Half the length at 0, a quarter at 1, ramps between: the share above is read off by hand.
    x, z = np.array([0.0, 2.0, 2.5, 3.5, 4.0]), np.array([0.0, 0.0, 1.0, 1.0, 0.0])
    curve = material_curve(x, z)
    assert curve.ratio([0.5, 0.999, 1.1]) == pytest.approx([0.375, 0.25025, 0.0], abs=1e-6)
    assert curve.level_at([0.1, 0.4375]) == pytest.approx([1.0, 0.25], abs=1e-6)


def test_inverse_of_the_curve_is_its_inverse():
    curve = roughness(*gaussian_profile()).curve
    share = np.linspace(0.01, 0.99, 50)
    assert curve.ratio(curve.level_at(share)) == pytest.approx(share, abs=1e-9)
