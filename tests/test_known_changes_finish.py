"""What a session leaves on an edge: limits, defaults and formulas that small changes left green.

Judges: closed forms and quadrature written out beside each check, `numpy.polyfit` for lines, the
evidence table for defaults. Three cases hold stored values where the result is one of chance or of
a numerical width, and say so.
"""

import dataclasses
import math
from dataclasses import replace

import numpy as np
import pytest

import edgekit as ek
from edgekit.edge_finish import edge_line, report, tooth_wear
from edgekit.edge_finish.blunting import OnCounterface, counterfaces
from edgekit.edge_finish.cutting import apparent_bevel_deg, working_angles
from edgekit.edge_finish.edge_profile import EdgeProfile, _cut_short_waves, realise
from edgekit.edge_finish.hardness import hardness_pa, rockwell_c
from edgekit.edge_finish.line_contact import LineContact
from edgekit.edge_finish.material_curve import material_curve
from edgekit.edge_finish.profile_filter import mean_line
from edgekit.edge_finish.steel_grain import steel_grain_claim
from edgekit.edge_finish.texture import roughness
from edgekit.edge_finish.tooth_wear import ToothWear, gaussian_heights, wear_teeth
from edgekit.evidence_table import entry, value

CLOSE = 1e-12  # the same arithmetic in another order
EDGE = ek.patterns.area_specific_curette().edges["used"]
COARSE, FINE = ek.diamond_plated_stone(), ek.fine_natural_stone()


def made(stone=COARSE, stroke=None, edge=EDGE, seed=1, **more):
    method = ek.methods.freehand().using(stone, stroke or ek.across_edge())
    return ek.finish(edge, method, rng=seed, **more)


def refused(call, words):
    with pytest.raises(ek.EdgekitError, match=words):
        call()


# ---- ranges of what is given -----------------------------------------------------------------

# A call of one number, ends of its range, whether the ends belong to it.
RANGES = [
    ("face", lambda v: working_angles(face_tooth_deg=v, internal_angle_deg=75), 0, 180, False),
    ("beta", lambda v: working_angles(face_tooth_deg=70, internal_angle_deg=v), 0, 180, False),
    ("bevel", lambda v: apparent_bevel_deg(v, turn_deg=10), 0, 180, False),
    ("turn", lambda v: apparent_bevel_deg(75, turn_deg=v), -90, 90, False),
    ("facet", lambda v: edge_line.edge_rq_um(v, 0.1), 0, 180, False),
    ("facet height", lambda v: edge_line.edge_rq_um(75, v), 0, None, True),
    ("spacing", edge_line.scratch_lengths_um, 0, None, False),
    (
        "across",
        lambda v: edge_line.correlation_length_um(9, l_perp_um=v, l_par_um=1e9),
        0,
        None,
        False,
    ),
    ("magnification", edge_line.min_visible_um, 0, None, False),
    ("length", edge_line.teeth_per_mm, 0, None, False),
    ("seen height", lambda v: edge_line.visible_rq_um(v, 2.0), 0, None, True),
    ("seen length", lambda v: edge_line.visible_rq_um(0.2, v), 0, None, False),
    ("pressure", hardness_pa, 0, None, False),
    ("Vickers", rockwell_c, 18960 / 80, 29664 / 32, True),
    ("wedge", lambda v: wear_teeth([0.1], internal_angle_deg=v, strokes=[0]), 0, 180, False),
    ("strokes", lambda v: wear_teeth([0.1], internal_angle_deg=75, strokes=[v]), 0, None, True),
    ("heights", lambda v: gaussian_heights(v, 3), 0, None, True),
    ("load", lambda v: LineContact(load_n_per_mm=v), 0, None, True),
    ("stroke", lambda v: LineContact(stroke_mm=v), 0, None, False),
    ("softer", lambda v: LineContact(counterface_hv=v), 0, None, False),
    ("steel", lambda v: LineContact(steel_hv=v), 0, None, False),
    ("wear", lambda v: LineContact(wear_coefficient=v), 0, None, True),
    ("drawn length", lambda v: realise([0.0, 0.01], v, 0.1, rng=1), 0, None, False),
    ("drawn height", lambda v: realise([0.0, 9.0], 2.0, v, rng=1), 0, None, True),
    ("ratio", roughness([0, 1, 2], [0, 1, 0]).curve.level_at, 0, 1, True),
    ("Ra", report.standard_cutoff_um, 0, None, False),
]


@pytest.mark.parametrize(
    ("call", "low", "high", "ends"), [r[1:] for r in RANGES], ids=[r[0] for r in RANGES]
)
def test_numbers_are_taken_between_their_ends_and_refused_beyond(call, low, high, ends):
    for end, inward in ((low, 1), (high, -1)):
        if end is None:
            continue
        call(end + inward * 0.3)
        refused(lambda v=end - inward * 0.3: call(v), "must")
        if ends:
            call(end)
        else:
            refused(lambda v=end: call(v), "must")


def test_any_clearance_at_all_lets_an_edge_cut():
    held = working_angles(face_tooth_deg=[74.5, 75.0, 75.5], internal_angle_deg=105)
    assert held.burnishing.tolist() == [False, True, True]


def test_a_scratch_is_as_long_as_wide_at_least():
    assert edge_line.correlation_length_um(20.0, l_perp_um=3.0, l_par_um=3.0) == pytest.approx(3.0)
    for short in (2.99, [5.0, 2.99]):
        refused(
            lambda p=short: edge_line.correlation_length_um(20.0, l_perp_um=3.0, l_par_um=p),
            "swap the two",
        )


# ---- contact -----------------------------------------------------------------------------------


def test_a_contact_is_that_of_the_evidence_table():
    contact = LineContact()
    assert contact.load_n_per_mm == value("use_force_n") / value("use_contact_mm")
    assert contact.stroke_mm == value("use_stroke_mm")
    assert contact.counterface_hv == value("counterface_hardness_hv")
    assert contact.steel_hv == value("steel_hardness_hv")
    assert contact.wear_coefficient == value("use_wear_coefficient")


@pytest.mark.parametrize(("other", "steel"), [(50.0, 613.0), (900.0, 613.0), (613.0, 613.0)])
def test_the_softer_body_bears_the_load_and_the_steel_wears(other, steel):
    contact = LineContact(
        load_n_per_mm=2.0,
        stroke_mm=5.0,
        counterface_hv=other,
        steel_hv=steel,
        wear_coefficient=3e-4,
    )
    # HV is kgf/mm² and kgf 9.80665 N: 2 N/mm over N/mm² is mm; k q s / H in mm².
    assert contact.contact_um == pytest.approx(1e3 * 2.0 / (9.80665 * min(other, steel)), rel=1e-14)
    worn = 3e-4 * 2.0 * 5.0 / (9.80665 * steel) * 1e6
    assert contact.area_um2_per_stroke == pytest.approx(worn, rel=1e-14)


# ---- the material-ratio curve ------------------------------------------------------------------


def rk_by_polyfit(height, start):
    """Rk, Mr1, Mr2 from the line through 801 points of h(p), p over 40 % from `start`."""
    p = np.linspace(start, start + 0.4, 801)
    slope, top = np.polyfit(p, height(p), 1)
    return -slope, top, top + slope


def test_the_core_line_is_the_least_squares_line_of_the_flattest_forty_per_cent():
    # h(p) = −ln p falls ever more gently: the flattest part is the last. Profile from x = 1e-6 on.
    x = np.unique(np.concatenate([np.geomspace(1e-6, 0.05, 4001), np.linspace(0.05, 1, 16001)]))
    core = material_curve(x, -np.log(x)).core()
    rk, top, bottom = rk_by_polyfit(lambda p: -np.log(p), 0.6)
    assert core.rk_um == pytest.approx(rk, rel=1e-5)
    assert core.mr1 == pytest.approx(math.exp(-top), rel=1e-5)
    # Peaks above `top`: ∫ (−ln p − top) dp up to mr1 is mr1 itself, so Rpk = 2.
    assert core.rpk_um == pytest.approx(2.0, rel=1e-4)
    assert (core.mr2, core.rvk_um) == (1.0, 0.0)
    assert bottom < 0


def test_valleys_of_a_curve_that_falls_off_at_its_end():
    # The same turned over: h(p) = ln(1 − p), flattest at the first 40 %.
    x = np.unique(np.concatenate([np.geomspace(1e-6, 0.05, 4001), np.linspace(0.05, 1, 16001)]))
    core = material_curve(x, np.log(x)).core()
    rk, _, bottom = rk_by_polyfit(lambda p: np.log(1 - p), 0.0)
    assert core.rk_um == pytest.approx(rk, rel=1e-5)
    assert 1 - core.mr2 == pytest.approx(math.exp(bottom), rel=1e-5)
    assert core.rvk_um == pytest.approx(2.0, rel=1e-4)
    assert (core.mr1, core.rpk_um) == (0.0, 0.0)


@pytest.mark.parametrize("start", [-2.0, -1.0, 0.0, 50.0])
def test_a_curve_does_not_depend_on_where_its_profile_starts(start):
    curve = material_curve(start + np.array([0.0, 1.0, 4.0]), np.array([0.0, 2.0, -6.0]))
    # A quarter of the length rises from 0 to 2, the rest falls from 2 to −6.
    want = [1.0, 0.25 + 0.75 / 2, 0.25 + 0.75 / 4, 0.125 + 0.75 / 8, 0.0]
    assert curve.ratio([-6.0, -2.0, 0.0, 1.0, 2.0]) == pytest.approx(want, abs=1e-12)


@pytest.mark.parametrize("height", [1e-6, 0.7, 1.0, 1.3, 3.1, 1e6])
@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("level", [0.0, 5.0])
def test_of_two_secants_equally_flat_one_is_taken_for_any_height_and_side(height, sign, level):
    # h(p) = A cos(πp) is flattest at both ends alike; of the two, the later is the middle one.
    x = np.linspace(0, np.pi, 20_001)
    curve = material_curve(x, height * (level + sign * np.cos(x)))
    rk, top, bottom = rk_by_polyfit(lambda p: np.cos(np.pi * p), 0.6)
    core = curve.core()
    assert core.rk_um / height == pytest.approx(rk, rel=1e-6)
    assert core.mr1 == pytest.approx(math.acos(min(top, 1.0)) / np.pi, abs=1e-6)
    assert core.mr2 == 1.0
    assert bottom < -1


@pytest.mark.parametrize("over", [1, -1])
def test_secants_count_as_equally_flat_by_the_whole_height(over):
    """A scratch, or a peak, of 700 times the rest: by that height many secants are alike."""
    x = np.unique(np.concatenate([np.geomspace(1e-6, 0.05, 4001), np.linspace(0.05, 1, 16001)]))
    curve = material_curve(x, over * np.where(x < 1, -np.log(x), -1e4))
    p = np.linspace(0, 1, 2001)
    level = np.where(p < 1, -np.log(np.maximum(p, 1e-6)), -1e4)[::over] * over
    drop = level[:1201] - level[800:]
    alike = np.flatnonzero(drop <= drop.min() + 1e-6 * (level[0] - level[2000]))
    assert len(alike) > 5
    start = alike[len(alike) // 2]
    rk, other = (-np.polyfit(p[:801], level[at : at + 801], 1)[0] for at in (start, start + 1))
    assert abs(other / rk - 1) > 5e-4
    assert curve.core().rk_um == pytest.approx(rk, rel=1e-4)  # steps below 1e-7 of all are ramps


def test_a_narrow_peak_and_valley_stand_out_of_a_straight_core():
    """Core of 2 µm over 80 % of the length, peaks of 3 over 15 %, valleys of 5 µm over 5 %."""
    # Heights fall straight with x, so the curve is the profile: h(p) at p = x.
    x, z = np.array([0.0, 0.15, 0.95, 1.0]), np.array([4.0, 1.0, -1.0, -6.0])
    curve = material_curve(x, z)
    core = curve.core()
    assert core.rk_um == pytest.approx(2.0 / 0.8, rel=1e-9)
    top = 1.0 + 0.15 * 2.5  # the core's line drawn on to p = 0 and p = 1
    mr1 = 0.15 * (4.0 - top) / 3.0
    assert core.mr1 == pytest.approx(mr1, rel=1e-9)
    assert core.rpk_um == pytest.approx(4.0 - top, rel=1e-9)  # a triangle already
    low = -1.0 - 0.05 * 2.5
    assert 1 - core.mr2 == pytest.approx(0.05 * (low + 6.0) / 5.0, rel=1e-9)
    assert core.rvk_um == pytest.approx(low + 6.0, rel=1e-9)
    assert curve.ratio([-6.0, -5.0, 0.0, 4.0]) == pytest.approx([1.0, 0.99, 0.55, 0.0], abs=1e-12)
    assert curve.level_at([0.0, 0.15, 1.0]) == pytest.approx([4.0, 1.0, -6.0], abs=1e-12)


# ---- the profile filter ------------------------------------------------------------------------


def test_the_mean_line_is_the_gaussian_mean_of_what_is_there():
    """Quadrature of the weight times the straight-pieced profile, scaled where it hangs over."""
    rng = np.random.default_rng(6)
    x = 300.0 + np.cumsum(rng.uniform(2, 9, 500))
    z = np.cumsum(rng.standard_normal(500)) + 4.0
    line = mean_line(x, z, 400.0)
    u = np.linspace(x[0], x[-1], 200_001)
    height = np.interp(u, x, z)
    for i in (0, 3, 60, 250, 440, 499):
        weight = np.exp(-math.log(2) * ((u - x[i]) / (400.0 * math.log(2) / math.pi)) ** 2)
        weight[np.abs(u - x[i]) > 400.0] = 0.0
        want = np.trapezoid(weight * height, u) / np.trapezoid(weight, u)
        assert line[i] == pytest.approx(want, abs=2e-3 * np.ptp(z) if i in (0, 499) else 2e-4)


def test_the_widths_of_the_filters_cells_and_weight():
    """Stored: what decides the last digits, 500 cells to a cut-off and a weight cut off at one."""
    x = np.array([0.0, 3.0, 4.0, 9.0, 11.0, 16.0, 20.0])
    z = np.array([0.0, 2.0, -1.0, 3.0, 0.5, 1.0, -2.0])
    line = mean_line(x, z, 6.0)
    np.testing.assert_allclose(line, FILTERED, rtol=0, atol=1e-10)


FILTERED = [
    0.590104893098,
    0.7967194218,
    0.282438807962,
    2.10331684143,
    1.07084713891,
    0.619260761604,
    -1.3256274211,
]


# ---- texture -----------------------------------------------------------------------------------


def test_words_for_the_lengths_used():
    x = np.linspace(0, 5000, 5001)
    z = np.sin(x / 5)
    said = {
        (None, None): "5 sampling lengths of 1000 µm, the whole profile unfiltered: not the "
        "standard's lengths",
        (None, 1): "1 sampling length of 5000 µm, the whole profile unfiltered: not the "
        "standard's lengths",
        (800.0, None): "5 sampling lengths of 800 µm, the standard's default",
        (800.0, 3): "3 sampling lengths of 800 µm, as asked; the standard's default is 5",
        (800.0, 6): "5 sampling lengths of 800 µm: the profile is too short for 6",
        (2000.0, 2): "1 sampling length of 2000 µm: the profile is too short for 2",
    }
    for (cutoff, sections), words in said.items():
        result = roughness(x, z, cutoff_um=cutoff, sections=sections)
        assert result.lengths == words
        assert result.standard_lengths == (cutoff is not None and result.sections == 5)
        assert f"{result.sections} sampling" in words
        assert f"of {result.sampling_um:g} µm" in words


def test_the_evaluation_length_is_the_middle_of_the_profile_wherever_it_starts():
    for start in (0.0, 7000.0, -2500.0):
        x = start + np.linspace(0, 3000, 3001)
        result = roughness(x, np.sin(x), cutoff_um=800.0)
        assert result.sections == 2
        assert (result.x_um[0], result.x_um[-1]) == (start + 700.0, start + 2300.0)
        assert result.evaluation_um == 1600.0
        whole = roughness(x, np.sin(x))
        assert (whole.x_um[0], whole.x_um[-1]) == (start, start + 3000.0)


def test_a_peak_on_a_cut_belongs_to_both_of_its_sampling_lengths():
    x = np.arange(11.0)
    z = np.array([0.0, 1, 9, -1, 0, 2, 0, -3, 0, 1, 0])
    # Sections 0-2, 2-4, 4-6, 6-8, 8-10: spans 9, 10, 2, 3, 1.
    for start in (0.0, 50.0, -50.0):
        found = roughness(start + x, z).rz_um
        assert found == pytest.approx((9 + 10 + 2 + 3 + 1) / 5, rel=CLOSE)
    assert roughness(1e-7 * x, z).rz_um == pytest.approx(5.0, rel=CLOSE)
    assert roughness(x, [0] * 10 + [4]).rz_um == pytest.approx(4 / 5)  # a peak at the very end
    assert roughness(x, z, sections=1).rz_um == pytest.approx(12.0, rel=CLOSE)


def test_heights_of_a_profile_with_plateaus_on_its_mean_line():
    """Straight pieces by hand: lengths 1, heights 0 1 0 0 0 −1 0, about a mean of 0."""
    result = roughness(np.arange(7.0), [0.0, 1, 0, 0, 0, -1, 0], sections=1)
    assert result.ra_um == pytest.approx(2 / 6, rel=CLOSE)
    assert result.rq_um == pytest.approx(math.sqrt(4 / 3 / 6), rel=CLOSE)
    assert result.rsk == pytest.approx(0.0, abs=CLOSE)
    assert result.rku == pytest.approx((4 / 5 / 6) / (4 / 3 / 6) ** 2, rel=CLOSE)
    assert (result.rt_um, result.rz_um) == (2.0, 2.0)
    assert repr(result) == (
        "Ra 0.333, Rq 0.471, Rz 2, Rt 2 µm; 1 sampling length of 6 µm, the whole profile "
        "unfiltered: not the standard's lengths"
    )


def test_skewness_and_kurtosis_of_one_slope():
    """Heights even from −1 to 2, then one triangle of 3: moments by elementary integrals."""
    x, z = np.array([0.0, 3.0, 4.0, 6.0]), np.array([-1.0, 2.0, -1.0, 5.0])
    pieces = list(zip(x[:-1], x[1:], z[:-1], z[1:], strict=True))

    def moment(mean, k):
        def piece(a, b, low, high):
            low, high = low - mean, high - mean
            return (b - a) * (high ** (k + 1) - low ** (k + 1)) / ((k + 1) * (high - low))

        return sum(piece(*p) for p in pieces) / 6.0

    mean = moment(0.0, 1)
    result = roughness(x, z)
    rq = math.sqrt(moment(mean, 2))
    assert result.rq_um == pytest.approx(rq, rel=CLOSE)
    assert result.rsk == pytest.approx(moment(mean, 3) / rq**3, rel=1e-11)
    assert result.rku == pytest.approx(moment(mean, 4) / rq**4, rel=1e-11)
    # |z|: from −a to b over w it is w (a² + b²)/(2 (a + b)).
    ends = np.stack([z[:-1], z[1:]]) - mean
    parts = np.diff(x) * (ends**2).sum(axis=0) / (2 * np.abs(ends).sum(axis=0))
    assert result.ra_um == pytest.approx(parts.sum() / 6.0, rel=CLOSE)


def test_heights_of_a_tiny_texture_high_above_zero_are_kept_and_rounding_is_not():
    x = np.arange(41.0)
    wave = np.resize([0.0, 1.0, 0.0, -1.0], 41)
    assert roughness(x, 1e6 + 1e-4 * wave).ra_um == pytest.approx(5e-5, rel=1e-3)
    assert roughness(x, 1e6 + 2.4e-8 * wave).ra_um == 0.0  # below 1e-13 of a metre
    assert roughness(x, 1e-9 * wave).ra_um == pytest.approx(5e-10, rel=1e-9)


def test_the_sizes_of_profiles_are_bounded():
    x = np.arange(2_002_500.0)  # 1,001,249 cut-offs of 40 kB
    refused(lambda: roughness(x, x, cutoff_um=2.0), "20,000 or less .*take 40 GB")
    x = np.arange(40_004.0)  # 20,000.5 cut-offs, without the runs at both ends
    refused(lambda: roughness(x, 0 * x, cutoff_um=2.0), "20,000 or less .*0.8 GB")
    refused(lambda: roughness(x[:9], x[:9], sections=100_001), "100,000 or less")
    half = roughness(x[:4], [0, 1, 0, 1]).rq_um
    assert roughness(x[:3], [0, 1, 0]).rq_um == pytest.approx(half, rel=CLOSE)
    refused(lambda: roughness([0, 1], [0, 1]), "3 points or more")
    with pytest.raises(ek.EdgekitError, match="after entry 2") as caught:
        roughness([0, 1, 2, 1.5, 3], [0] * 5)
    assert "-0.5" in str(caught.value)


def test_a_long_profile_of_exactly_so_many_cut_offs_loses_none_to_rounding():
    x = np.linspace(0.0, 2001 * 0.3, 4003)
    result = roughness(x, np.sin(x), cutoff_um=0.3, sections=2000)
    assert result.sections == 2000


# ---- the edge line -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "points"),
    [
        ({}, 8000),  # eight in a correlation length of 4 µm, over 4 mm
        ({"steps": 2}, 2000),
        ({"min_wavelength_um": 80.0}, 800),  # sixteen in the shortest wave
        ({"min_wavelength_um": 4.0}, 8000),
    ],
)
def test_points_of_a_drawn_line(more, points):
    line = realise([1000.0, 5000.0], 4.0, 0.2, rng=1, **more)
    assert len(line.x_um) == len(line.z_um) == points + 1
    np.testing.assert_allclose(line.x_um, np.linspace(1000, 5000, points + 1), rtol=CLOSE)


def test_the_shortest_and_the_longest_line_that_is_drawn():
    assert realise([0.0, 0.1], 4.0, 1.0, rng=1).x_um.tolist() == [0.0, 0.1]
    refused(lambda: realise([0.0, 0.1], 4.0, 1.0, rng=1, steps=1), "steps must be")
    refused(lambda: realise([0.0, 500_000.0], 1.0, 1.0, rng=1), "too many points")
    refused(lambda: realise([[0.0, 1.0]], 1.0, 1.0, rng=1), "arc_um must")
    refused(lambda: realise([0.0, 1.0, 1.0], 1.0, 1.0, rng=1), "arc_um must rise")
    assert realise([0.0, 9.0], 4.0, 0.0, rng=1).z_um.tolist() == [0.0] * 19


def test_a_seed_draws_the_line_it_always_drew():
    """Stored: four points to a correlation length, eight lengths before the process repeats."""
    line = realise([0.0, 4.0, 7.75], 1.0, [1.0, 1.0, 2.0], rng=7, steps=2)
    np.testing.assert_allclose(line.z_um[[0, 5, 14, 15, 16]], DRAWN, rtol=0, atol=1e-9)
    band = realise([0.0, 20.0], [1.0, 2.0], 0.5, rng=7, min_wavelength_um=6.0)
    np.testing.assert_allclose(band.z_um[[0, 20, 53, 54]], BAND, rtol=0, atol=1e-9)


@pytest.mark.parametrize(("length", "waves"), [(7.75, 33), (7.76, 65)])
def test_a_line_takes_two_numbers_from_its_generator_for_each_wave(length, waves):
    """Four grid points to a length, eight lengths more, up to a power of two above; and the mean"""
    used, fresh = np.random.default_rng(3), np.random.default_rng(3)
    realise([0.0, length], 1.0, 1.0, rng=used)
    fresh.standard_normal(2 * waves)
    assert used.standard_normal() == fresh.standard_normal()


DRAWN = [-0.616436716975, 0.811962968525, -0.302700127915, 0.382414697225, 0.162267979559]
BAND = [0.0319737166296, -0.289055422663, 0.428922638262, 0.43845055669]


def test_cutting_short_waves_leaves_long_ones_as_they_are_at_any_points():
    x = np.arange(65.0)
    long, short = np.cos(2 * np.pi * x / 32), np.cos(2 * np.pi * x / 8)
    for points in (17, 65, 129):
        read = np.linspace(0, 64, points)
        if points == 17:  # the shortest wave that these points can hold
            third = np.cos(2 * np.pi * 15 * x / 128)
            cut = _cut_short_waves(third, x, 8.5, points)
            np.testing.assert_allclose(cut, np.cos(2 * np.pi * 15 * read / 128), atol=1e-9)
        for shortest, wave in (
            (7.99, np.cos(2 * np.pi * read / 32) + np.cos(2 * np.pi * read / 8)),
            (8.0, np.cos(2 * np.pi * read / 32) + np.cos(2 * np.pi * read / 8)),
            (8.01, np.cos(2 * np.pi * read / 32)),
            (33.0, 0 * read),
        ):
            if shortest <= 8 and points == 17:
                continue  # four points to a wave of 16 µm: the shorter cannot be read
            cut = _cut_short_waves(long + short + 3.0, 700.0 + x, shortest, points)
            np.testing.assert_allclose(cut, wave + 3.0, atol=1e-9)


def test_teeth_are_rises_from_the_mean_or_below_to_above_it():
    z = np.array([0.0, 1, 0, -1, 0, 1, 0, -1])  # what lies on the mean is not above it
    assert EdgeProfile(x_um=np.arange(8.0) * 100, z_um=z).teeth_per_mm == 2 / 0.7
    assert EdgeProfile(x_um=np.arange(8.0) * 100, z_um=-z).teeth_per_mm == 2 / 0.7


# ---- the report --------------------------------------------------------------------------------


def test_defaults_of_a_finish():
    found = made()
    assert len(found.arc_mm) == len(found.length_um) == 400
    assert found.magnification == value("report_magnification")
    assert found.edge_radius_um == value("sharp_radius_um")
    assert len(made(stations=2).arc_mm) == 2
    refused(lambda: made(stations=1), "2 or more")
    refused(lambda: made(stations=100_001), "100,000 or less")
    refused(lambda: made(stations=10**9), "take 2e.03 GB|take 2,?000 GB")
    for magnification, shortest in ((1.0, 100.0), (40.0, 2.5), (1000.0, value("sharp_radius_um"))):
        assert made(magnification=magnification).min_wavelength_um == shortest


def test_cut_offs_of_the_standard_at_their_limits():
    # ISO 4288, from memory: Ra up to 0.02, 0.1, 2, 10 µm.
    limits = {0.02: 80.0, 0.1: 250.0, 2.0: 800.0, 10.0: 2500.0, 80.0: 8000.0}
    below = 0.006
    for limit, cutoff in limits.items():
        assert report.standard_cutoff_um(limit) == cutoff
        assert report.standard_cutoff_um(below * 1.01) == cutoff
        below = limit


@pytest.mark.parametrize(("ra", "cutoff"), [(0.09, 250.0), (0.105, 800.0)])
def test_the_cut_off_of_a_finish_is_that_of_the_ra_of_its_line(ra, cutoff):
    stone = replace(
        COARSE,
        median_um=10.0,
        median_range_um=None,
        ra_per_grain=replace(entry("ra_per_grain"), value=ra / 10),
    )
    found = made(stone, magnification=1e6, edge_radius_um=0.01)
    line = found.rq_um.mean() * math.sqrt(2 / math.pi)  # Ra/sin β, all waves shown
    assert (line <= 0.1) == (cutoff == 250.0)
    assert abs(line / 0.1 - 1) < 0.1
    assert found.roughness.cutoff_um == cutoff


def test_a_line_of_two_cut_offs_is_filtered_and_a_shorter_one_is_not():
    for length, cutoff in ((1600.0, 800.0), (1599.0, None)):
        x = 1000.0 + np.linspace(0, length, 1601)
        found = report._rough(EdgeProfile(x_um=x, z_um=np.sin(x)), 0.5)
        assert found.cutoff_um == cutoff


@pytest.mark.parametrize("length", [0.2, 0.5, 2.0])
def test_a_line_finer_than_a_sixteenth_of_the_shortest_wave_is_drawn_at_that(length):
    arc, rq = np.array([0.0, 400.0]), np.full(2, 0.3)
    drawn = report._drawn(arc, np.full(2, length), rq, 8.0, np.random.default_rng(2))
    at = max(length, 0.5)
    share = math.sqrt(math.erf(math.pi * at / 8.0))  # what of the height is on waves of 8 µm
    want = realise(arc, at, 0.3 / share, rng=2, min_wavelength_um=8.0)
    np.testing.assert_allclose(drawn.z_um, want.z_um, atol=1e-9)


def test_two_finishes_are_told_apart_at_a_chance_of_nine_in_ten():
    one, other = made(), made(FINE)
    spread = math.hypot(*(math.log(f.abrasive.spacing_gsd) for f in (one, other)))
    for off, words in ((1.005, "larger than what is not known"), (0.995, "cannot be told apart")):
        for sign in (1, -1):
            ratio = math.exp(sign * off * 1.2815515655 * spread)  # Φ⁻¹(0.9)
            shifted = dataclasses.replace(other, teeth_per_mm=one.teeth_per_mm * ratio)
            said = one.told_apart(shifted)
            assert words in said
            assert f"{one.teeth_per_mm:.3g} and {shifted.teeth_per_mm:.3g} teeth per mm" in said


def test_the_range_of_teeth_is_that_of_the_spacing():
    found = made(FINE)
    for factor, teeth in zip((1, -1), found.teeth_range_per_mm, strict=True):
        longer = found.length_um * found.abrasive.spacing_gsd ** (factor * 1.2815515655)
        want = edge_line.teeth_per_mm(longer, min_wavelength_um=found.edge_radius_um).mean()
        assert teeth == pytest.approx(want, rel=1e-3)
    assert found.teeth_per_mm == pytest.approx(found.local_teeth_per_mm.mean(), rel=CLOSE)


def test_heights_that_act_as_teeth_are_those_of_waves_too_short_to_be_pressed_flat():
    found = made(stroke=ek.Oblique(angle_deg=8))
    for wave in (None, 5.0, 60.0):
        at = value("conforming_wave_um") if wave is None else wave
        parts = [
            rq**2 * math.erfc(math.pi * l / at)
            for rq, l in zip(found.rq_um, found.length_um, strict=True)
        ]
        assert found.tooth_rq_um(wave) == pytest.approx(math.sqrt(np.mean(parts)), rel=1e-9)


def test_what_the_numbers_of_a_finish_rest_on_is_said_with_its_numbers():
    found = made()
    said = "\n".join(found.assumptions)
    low, high = found.teeth_range_per_mm
    for number in (
        f"Ra across the lay {COARSE.ra_um:.2g} µm",
        f"scratches {COARSE.scratch_spacing_um:.2g} µm apart: grain {COARSE.grain_um:.3g} µm, ",
        f" µm, {entry('active_grit_share').value:g} cutting per square of its size (",
        f"rms slope across the lay {COARSE.rms_slope:.2g}; ground steel",
        f"scratches {value('lay_aspect'):g} times as long as wide",
        f"teeth {found.teeth_per_mm:.3g} per mm, 80 % range {low:.3g} to {high:.3g}",
        f"radius, {found.edge_radius_um:.3g} µm, are no teeth",
        f"waves below {found.min_wavelength_um:.3g} µm do not show at {found.magnification:g} x",
        found.roughness.lengths,
        str(found.wire_edge),
    ):
        assert number in said
    assert len(found.assumptions) == 9
    off = found.lay.off_edge_deg
    assert f"lay {off.min():.0f}° to {off.max():.0f}° off" in repr(found)
    assert f"{found.teeth_per_mm:.3g} teeth per mm, Ra {found.roughness.ra_um:.2g} µm" in repr(
        found
    )


def test_a_claim_compares_one_stone_at_one_magnification():
    along, across = made(stroke=ek.along_edge()), made()
    found = steel_grain_claim(along, across).lay_alone
    assert found.teeth_per_mm == (along.teeth_per_mm, across.teeth_per_mm)
    assert found.teeth_ratio == pytest.approx(across.teeth_per_mm / along.teeth_per_mm)
    assert found.wave_ratio == pytest.approx(along.length_um.mean() / across.length_um.mean())
    assert found.wave_ratio == pytest.approx(value("lay_aspect"), rel=1e-9)
    assert found.tooth_rq_um == (along.tooth_rq_um(), across.tooth_rq_um())
    assert found.lay_deg == pytest.approx((0.0, 90.0), abs=1e-9)
    claim = steel_grain_claim(along, across)
    assert repr(claim) == "\n".join(str(claim).split("\n")[i] for i in (0, 1))
    assert len(str(claim).split("\n")) == 3 + len(claim.evidence)
    refused(lambda: steel_grain_claim(along, made(FINE)), "stroke alone")
    refused(lambda: steel_grain_claim(along, made(magnification=7.0)), "stroke alone")


# ---- blunting ----------------------------------------------------------------------------------

STROKES = [0, 0.5, 1, 1.5, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 30, 45, 60, 90]  # dense where it bends


def worn(strokes, share):
    columns = {field.name: np.zeros(len(strokes)) for field in dataclasses.fields(ToothWear)}
    given = {"strokes": np.array(strokes, float), "contact_share": np.array(share, float)}
    return ToothWear(**(columns | given))


def case(strokes, toothed, smooth):
    return OnCounterface(
        name="x",
        contact=LineContact(),
        sunk_in=False,
        toothed=worn(strokes, toothed),
        smooth=worn(strokes, smooth),
    )


def test_strokes_until_level_are_read_between_those_reported():
    found = case([1.0, 3.0, 7.0, 9.0], [0.2, 0.3, 0.45, 0.5], [0.5] * 4)
    assert found.bearing.tolist() == pytest.approx([0.4, 0.6, 0.9, 1.0])
    assert found.level_after(0.25) == pytest.approx(3 + (0.75 - 0.6) / 0.3 * 4, rel=CLOSE)
    assert found.level_after(0.1 + 1e-15) == pytest.approx(7.0, rel=1e-9)
    assert found.level_after(0.6) == 1.0
    assert found.level_after(0.99) == 1.0
    assert case([1.0, 3.0], [0.2, 0.3], [0.5, 0.5]).level_after() is None
    assert case([1.0, 3.0], [0.2, 0.3], [0.5, 0.5]).level_range() is None
    # At the limit exactly: level with it.
    assert case([1.0, 2.0, 4.0], [0.25, 0.5, 1.0], [1.0] * 3).level_after(0.5) == 2.0
    assert case([1.0, 2.0], [0.25, 0.5], [1.0] * 2).level_after(0.5) == 2.0
    at = found.level_after(value("alike_share"))
    assert found.level_after() == at
    factor = entry("use_wear_coefficient").gsd ** 1.2815515655
    assert found.level_range() == pytest.approx((at / factor, at * factor), rel=1e-4)


def test_blunting_reports_at_its_strokes_on_every_counterface():
    result = ek.blunting(made())
    hardness = {
        "calculus": value("calculus_hardness_hv"),
        "root dentine": value("counterface_hardness_hv"),
        "enamel": value("enamel_hardness_hv"),
    }
    assert counterfaces() == hardness
    assert result.tooth_rq_um == made().tooth_rq_um()
    table = result.table
    assert dict(zip(table["counterface"], table["hardness_hv"], strict=True)) == hardness
    for one, (_, row) in zip(result.cases, table.iterrows(), strict=True):
        assert one.toothed.strokes.tolist() == STROKES
        share = one.toothed.contact_share * 200  # of 200 points
        np.testing.assert_allclose(share, np.round(share), atol=1e-9)
        want = wear_teeth(
            gaussian_heights(result.tooth_rq_um, 200),
            internal_angle_deg=result.finish.internal_angle_deg,
            strokes=STROKES,
            contact=LineContact(counterface_hv=hardness[one.name]),
        )
        np.testing.assert_array_equal(one.toothed.radius_um, want.radius_um)
        assert (row["strokes"], row["bearing_when_fresh"]) == (90.0, one.bearing[0])
        for column, wear, field in (
            ("toothed_radius_um", one.toothed, "contact_radius_um"),
            ("smooth_radius_um", one.smooth, "contact_radius_um"),
            ("top_recession_um", one.toothed, "top_recession_um"),
            ("smooth_recession_um", one.smooth, "recession_um"),
        ):
            assert row[column] == getattr(wear, field)[-1]
        level = one.level_after()
        assert row["level_after_strokes"] == (np.inf if level is None else level)
        assert (row["level_low"], row["level_high"]) == (one.level_range() or (np.inf, np.inf))
        assert (np.unique(one.smooth.contact_share) == 1.0).all()


def test_an_edge_sinks_in_from_its_full_width_on():
    width = 2 * math.cos(math.radians(37.5)) * value("sharp_radius_um")  # µm
    hv = 1e3 * 2.5 / width / 9.80665
    contact = LineContact(load_n_per_mm=2.5, steel_hv=10 * hv)
    result = ek.blunting(
        made(), on={"softer": hv * 0.999, "harder": hv * 1.001}, contact=contact, strokes=[0]
    )
    assert [one.sunk_in for one in result.cases] == [True, False]
    # The load that asks for that width to the last bit.
    angle = result.finish.internal_angle_deg
    width = float(2 * np.cos(np.radians(angle) / 2) * value("sharp_radius_um"))
    contacts = [
        LineContact(load_n_per_mm=width * 50 * 9.80665e-3 * (1 + k * 2**-52), counterface_hv=50.0)
        for k in range(-9, 10)
    ]
    exactly = next(one for one in contacts if one.contact_um == width)
    case = ek.blunting(made(), on={"x": 50.0}, contact=exactly, strokes=[0]).cases[0]
    assert case.sunk_in
    assert "Model:" in ek.blunting(made(), on={"x": 50.0}, strokes=[0]).statement


def test_strokes_are_0_to_2000():
    idle = LineContact(load_n_per_mm=0.0)
    assert ek.blunting(made(), strokes=[0, 2000], contact=idle).cases[0].toothed.strokes[-1] == 2000
    for wrong in (-0.5, 2000.5):
        refused(lambda w=wrong: ek.blunting(made(), strokes=[w], contact=idle), "strokes must be")


# ---- tooth wear --------------------------------------------------------------------------------


def line_of(sharp, radius, *, apex=0.5, level=0.25, contact=None, steps=0):
    """An edge line of a made-up wedge: width 1 and section 1 per radius."""
    wedge = tooth_wear._Wedge(apex=apex, area=1.0, width=1.0, height=1.0)
    area = np.array(radius, float) ** 2
    return tooth_wear._Line(
        sharp=np.array(sharp, float),
        fresh=area,
        area=area,
        wedge=wedge,
        contact=contact or LineContact(),
        level_um=level,
        steps=steps,
    )


def bearing(width_um, number):
    """A contact that needs a mean width on each of a number of points."""
    return LineContact(load_n_per_mm=width_um * 9.80665 * 50 / 1e3 / number, counterface_hv=50.0)


def test_points_of_one_level_share_what_is_left_for_them():
    """Heights in quarters of a micrometre, widths 1; the lowest of those needed sets the level."""
    sharp = [1.0, 0.75, 0.5, 0.25, 0.0]
    line = line_of(sharp, [1.0] * 5, apex=0.0, contact=bearing(2.5, 5))
    # The third bears: two above it, but one of them only by a level of 0.25.
    share = np.array([1.0, 0.5, 0.5, 0.5, 0.0]) / 2.5
    np.testing.assert_allclose(line.load_share(), share, rtol=1e-9)
    finer = line_of(sharp, [1.0] * 5, apex=0.0, level=0.2, contact=bearing(2.5, 5))
    np.testing.assert_allclose(finer.load_share(), np.array([1, 1, 0.5, 0, 0]) / 2.5, rtol=1e-9)
    wide = line_of(sharp, [1.0, 1.0, 2.0, 1.0, 1.0], apex=0.0, contact=bearing(2.5, 5))
    np.testing.assert_allclose(
        wide.load_share(), np.array([1, 0.375, 0.75, 0.375, 0]) / 2.5, rtol=1e-9
    )
    sunk = line_of(sharp, [1.0, 1.0, 2.0, 1.0, 1.0], apex=0.0, contact=bearing(6.5, 5))
    np.testing.assert_allclose(sunk.load_share(), np.array([1, 1, 2, 1, 1]) / 6, rtol=1e-12)
    idle = line_of(sharp, [1.0] * 5, contact=LineContact(load_n_per_mm=0.0))
    assert idle.load_share().tolist() == [0.0] * 5
    few = line_of(sharp, [1.0] * 5, apex=0.0, level=0.1, contact=bearing(0.5, 5))
    np.testing.assert_allclose(few.load_share(), [1, 0, 0, 0, 0], rtol=1e-9)


def test_a_step_lowers_the_fastest_point_by_a_level_to_first_order(monkeypatch):
    """dr/dn = a/(2 A r): a step adds 2 r L/c to r², c being the apex's factor; then r is known."""
    monkeypatch.setattr(tooth_wear, "_MAX_STEPS", 1)
    line = line_of([3.0, 2.0, 0.0], [1.5, 1.5, 1.5], apex=0.6, level=0.02, contact=bearing(1.5, 3))
    refused(lambda: line.worn_to(1e9), "too many steps")
    r2 = 1.5**2 + 2 * 1.5 * 0.02 / 0.6
    np.testing.assert_allclose(line.area, [r2, 1.5**2, 1.5**2], rtol=1e-9)
    per_stroke = line.contact.area_um2_per_stroke * 3
    assert line.strokes == pytest.approx((r2 - 1.5**2) / per_stroke, rel=1e-9)
    assert line.steps == 2


def test_the_number_of_steps_is_counted_from_none_and_bounded(monkeypatch):
    idle = LineContact(wear_coefficient=0.0)
    line = line_of([1.0, 0.0], [1.0, 1.0], contact=idle)
    assert line.worn_to(7.0).strokes == 7.0  # where nothing wears one step does
    assert line.steps == 1
    assert line.worn_to(7.0).steps == 1
    given = {"internal_angle_deg": 75, "strokes": [5.0], "contact": idle}
    monkeypatch.setattr(tooth_wear, "_MAX_STEPS", 1)
    assert wear_teeth([0.1, 0.0], **given).recession_um.tolist() == [0.0]
    monkeypatch.setattr(tooth_wear, "_MAX_STEPS", 0)
    refused(lambda: wear_teeth([0.1, 0.0], **given), "too many steps")
    monkeypatch.undo()
    assert line_of([1.0], [1.0], contact=idle, steps=19_999).worn_to(2.0).steps == 20_000
    refused(lambda: line_of([1.0], [1.0], contact=idle, steps=20_000).worn_to(2.0), "too many")


def test_what_is_reported_of_a_line_is_its_definition():
    line = line_of([3.0, 2.5, 0.0, 0.5], [1.0] * 4, apex=0.5, level=0.01, contact=bearing(1.2, 4))
    fresh = line.report()
    assert fresh["recession_um"] == fresh["top_recession_um"] == fresh["worn_area_um2"] == 0.0
    assert fresh["radius_um"] == fresh["contact_radius_um"] == 1.0
    assert fresh["contact_share"] == 0.5  # the highest two bear 1.2
    line.area = np.array([4.0, 2.25, 1.0, 1.0])
    found, radius = line.report(), np.array([2.0, 1.5, 1.0, 1.0])
    assert found["recession_um"] == pytest.approx(0.5 * np.mean(radius - 1.0), rel=1e-9)
    # The highest was 3 − ½ and is now the higher of 3 − 1 and 2.5 − ¾.
    assert found["top_recession_um"] == pytest.approx(0.5, rel=1e-9)
    assert found["radius_um"] == pytest.approx(radius.mean())
    assert found["contact_radius_um"] == pytest.approx(2.0)  # width 2 of the first bears 1.2
    assert found["contact_share"] == 0.25
    assert found["worn_area_um2"] == pytest.approx((3.0 + 1.25) / 4)


def test_factors_of_a_wedge():
    """At 90°: apex √2 − 1, section 1 − π/4, width √2, half-angle's cosine √½ for the height."""
    wedge = tooth_wear._wedge(90.0)
    root = math.sqrt(2)
    assert wedge == pytest.approx((root - 1, 1 - math.pi / 4, root, root / 2), rel=CLOSE)
    narrow = tooth_wear._wedge(60.0)
    want = (1.0, math.sqrt(3) - math.pi / 3, math.sqrt(3), math.sqrt(3) / 2)
    assert narrow == pytest.approx(want, rel=CLOSE)


def test_a_tall_tooth_bears_alone_and_a_deep_valley_is_spared():
    given = {"internal_angle_deg": 75.0, "contact": bearing(0.5, 1), "sharp_radius_um": 1.5}
    rest = [0.0] * 9
    tall = wear_teeth([*rest, 3.0], strokes=[0.0, 0.0, 2.0], **given)
    deep = wear_teeth([-3.0, *rest], strokes=[0.0, 0.0, 2.0], **given)
    assert tall.strokes.tolist() == [0.0, 0.0, 2.0]
    # 0.5 µm of each of ten: the tall one has a width of 2.4 µm, so the others must help.
    assert tall.contact_share[:2].tolist() == [1.0, 1.0]
    assert deep.contact_share.tolist() == [0.9, 0.9, 0.9]
    assert deep.top_recession_um[2] == pytest.approx(deep.recession_um[2] / 0.9, rel=1e-9)
    lone = wear_teeth([*rest, 3.0], strokes=[0.0], **(given | {"contact": bearing(0.2, 1)}))
    assert lone.contact_share.tolist() == [0.1]
    assert tall.top_recession_um[2] > deep.top_recession_um[2]


@pytest.mark.parametrize("angle", [60.0, 100.0])
def test_a_tooth_bears_alone_until_it_is_down_to_its_neighbour(angle):
    """A tooth of 0.4 µm in the face stands 0.4 cos β/2 higher along the bisector; r gives it up"""
    half, tall, r0 = math.radians(angle) / 2, 0.4, 1.5
    apex, section = 1 / math.sin(half) - 1, 1 / math.tan(half) - (math.pi / 2 - half)
    level = r0 + tall * math.cos(half) / apex
    contact = bearing(0.1, 1)
    strokes = section * (level**2 - r0**2) / (2 * contact.area_um2_per_stroke)
    worn_ = wear_teeth(
        [0.0, tall],
        internal_angle_deg=angle,
        strokes=[0.97 * strokes, 1.03 * strokes],
        contact=contact,
        sharp_radius_um=r0,
        level_um=1e-3,
    )
    assert worn_.contact_share.tolist() == [0.5, 1.0]
    assert worn_.top_recession_um[1] == pytest.approx(tall * math.cos(half), rel=0.03)


def test_defaults_and_limits_of_wear():
    assert len(gaussian_heights(0.2)) == 400
    assert len(gaussian_heights(0.2, 1_000_000)) == 1_000_000
    refused(lambda: gaussian_heights(0.2, 1_000_001), "1,000,000 or less")
    heights = gaussian_heights(0.3, 60)
    given = {"internal_angle_deg": 75.0, "strokes": [0.0, 4.0]}
    plain = wear_teeth(heights, **given)
    named = wear_teeth(
        heights,
        **given,
        contact=LineContact(),
        sharp_radius_um=value("sharp_radius_um"),
        level_um=0.01,
    )
    for field in dataclasses.fields(ToothWear):
        np.testing.assert_array_equal(getattr(plain, field.name), getattr(named, field.name))
    assert plain.radius_um[0] == pytest.approx(value("sharp_radius_um"), rel=CLOSE)
    hard = LineContact(counterface_hv=value("enamel_hardness_hv"))  # on which teeth stand
    level, other = (wear_teeth(heights, **given, contact=hard, level_um=k) for k in (0.01, 0.02))
    found = wear_teeth(heights, **given, contact=hard).top_recession_um[1]
    assert found == level.top_recession_um[1] != other.top_recession_um[1]
    wrongs = [{"level_um": 0.0}, {"sharp_radius_um": 0.0}, {"strokes": [[0.0, 1.0]]}]
    for wrong in (*wrongs, {"strokes": [0.0, 9.0, 5.0]}):
        refused(lambda w=wrong: wear_teeth(heights, **(given | w)), "must")
    assert wear_teeth(heights, internal_angle_deg=75.0, strokes=3.0).strokes.tolist() == [3.0]
