"""Lives of an edge whose use has a density along it, against an independent simulation.

The judge, `tests.edge_simulation`, has nothing of the package: sections are clipped polygons. Every
spread is set here, so that no default matters; the strokes of a comparison without error are small
and looked at one by one, so that no whole number of strokes hides a difference.
"""

from dataclasses import replace
from functools import cache, partial

import numpy as np
import pytest
from scipy.stats import norm

import edgekit as ek
from edgekit.geometry.section import RoundBack
from edgekit.grinding.random_streams import SeededKeys
from edgekit.life.life import live_runs
from edgekit.method.hand import ErrorTerm
from edgekit.study.outcomes import sample_columns
from tests import edge_simulation as edge
from tests.section_simulation import area
from tests.wear_blades import LENGTH_MM, circle_blade, straight_blade

BETA = np.radians(75.0)
GENTLY_MM = 30.0  # radius of an edge that turns just enough for a stone to roll over it
STROKE_MM3 = 1.2e-3
TRAVEL_MM = 2.825  # along which a hand's error stays alike: 0.4 s of a stroke of 0.8 s
SPREAD_DEG = 2.5  # from stroke to stroke, and between people
PEOPLE = 20
FINE = {"stations": 96, "depths": 48}  # nodes by which the grid's error is below 0.5 %
COLUMNS = [
    *(f"{third}_um_per_session" for third in ("heel", "middle", "toe")),
    *(f"{third}_radius_um" for third in ("heel", "middle", "toe")),
    "stone_strokes",
    "sessions",
]
LOSSES, RADII, STROKES, SESSIONS = slice(0, 3), slice(3, 6), 6, 7
NO_SPREAD = {"sharp_radius_gsd": 1.0, "severity_gsd": 1.0, "patch_cv": 0.0, "attrition_um": 0.0}


def use_of(density, contact_mm=2.0):
    """45 strokes of an edge of 1.19 µm; r² grows by 0.43 µm² where one of 2 mm touches."""
    law = ek.PowerDulling(rate=0.43, exponent=0.5)
    options = {"density": density, "contact_mm": contact_mm, "law": law}
    return ek.Use(strokes=45.0, sharp_radius_um=1.19, **options, **NO_SPREAD)


def rolled(*, quarters=False, tilt=None, within_deg=0.0):
    """A method of rolling strokes over the whole edge, or of quarters of them with a look at each
    one."""
    looks = 1 if quarters else 2
    return ek.Method(
        name="rolled",
        stroke=ek.strokes.rolling(within_tilt_sd_deg=within_deg, correlation_s=0.4),
        stop=ek.strokes.until_fresh(resolution_um=1.0, fraction=0.98, strokes_between_looks=looks),
        hand=ek.Hand(tilt_deg=tilt or ErrorTerm()),
        removal_mm3_per_stroke=STROKE_MM3 / 4 if quarters else STROKE_MM3,
        removal_gsd=1.0,
        seconds_per_stroke=0.8,
    )


def packaged(blade, use, method, *, lost_mm=0.172, runs=1, seed=1, **nodes):
    """Means (8,) of `COLUMNS` over lives by the package."""
    lives = live_runs(
        blade,
        method,
        use=use,
        rules=(ek.retire.MaxWidthLoss(fraction=lost_mm / 0.86),),
        rngs=SeededKeys(seed, runs=runs),
        **nodes,
    )
    found = sample_columns(lives)
    return np.mean([found[name] for name in COLUMNS], axis=1)


def simulated(*, quarters=False, sections=None, lost_mm=0.172, seed=1, **options):
    """The same of one life by the simulation."""
    if quarters:
        options |= {"stroke_mm3": STROKE_MM3 / 4, "strokes_between_looks": 1}
    judge = edge.Edge(bounds=edge.bounds_of(LENGTH_MM, **sections or {}), **options)
    errors = edge.tilts(judge, np.random.default_rng(seed))
    return edge.life(judge, errors, lost=lost_mm).summary(judge)


# --- the judge, judged -------------------------------------------------------------------------


@pytest.mark.parametrize("thickness_mm", [0.5, 0.71, 0.9])
def test_a_round_back_has_a_closed_form(thickness_mm):
    """Its radius: (w/2 sin β - T cos β) / (1 - cos β), in `RoundBack`."""
    inset, depth = edge.round_backed(BETA, 0.86, thickness_mm).steel[3:].T
    section = RoundBack(width_mm=0.86, thickness_mm=thickness_mm, internal_angle_deg=75.0)
    np.testing.assert_allclose(inset, section.inset_mm(depth), atol=1e-9)
    assert depth[0] == pytest.approx(thickness_mm, rel=1e-12)


def test_working_strokes_are_laid_down_whole():
    """By hand: one stroke of 2 mm at 0.5 mm touches 1.5 mm; strokes that touch all wear evenly."""
    bounds = np.array([0.0, 1.0, 2.0, 5.0])
    one = edge.laid_down(np.array([0.1]), bounds, 2.0)
    assert one == pytest.approx([1 / 1.5, 0.5 / 1.5, 0.0], rel=1e-12)
    even = edge.laid_down(edge.on_toe_third(0.75), bounds, 1e6)
    assert even == pytest.approx([0.2, 0.2, 0.6], rel=1e-12)
    toe = edge.laid_down(edge.on_toe_third(0.75), np.array([0.0, 1.0, 2.0, 3.0]), 1e-6)
    assert toe == pytest.approx([0.125, 0.125, 0.75], abs=1e-6)


def test_steel_is_conserved_section_by_section():
    """Strokes on the stone and use take all that is lost; no fresh edge is rounded for nothing."""
    judge = edge.Edge(fresh_radius=0.0, resolution=3e-3, stroke_sd=0.03, taper=0.3)
    errors, steel = edge.tilts(judge, np.random.default_rng(3)), judge.new
    taken = np.zeros(len(steel))
    for _ in range(3):
        worn = zip(steel, judge.worn_areas, strict=True)
        steel, strokes = edge.session(judge, [edge.used(*each, 0.0) for each in worn], errors)
        taken += strokes * judge.stroke_areas + judge.worn_areas
    lost = [area(old.steel) - area(now.steel) for old, now in zip(judge.new, steel, strict=True)]
    assert lost == pytest.approx(taken, rel=1e-5)  # of a rounded edge's polygon, 2e-3 of its corner
    whole = judge.worn_areas @ np.diff(judge.bounds)
    assert whole == pytest.approx(45 * edge.ARCHARD_MM3, rel=1e-12)


# --- lives without error of the hand -----------------------------------------------------------


def test_a_life_without_error():
    """A curette that tapers; grid and sections are each settled within 0.5 %."""
    blade = replace(circle_blade(GENTLY_MM), thickness_taper=0.3)
    got = packaged(blade, use_of(ek.laws.ToeThird(share=0.75)), rolled(quarters=True), **FINE)
    judged = simulated(quarters=True, taper=0.3)
    assert got[LOSSES] == pytest.approx(judged[LOSSES], rel=0.015)
    assert got[RADII] == pytest.approx(judged[RADII], rel=0.01)
    assert got[STROKES] == pytest.approx(judged[STROKES], rel=0.015)
    assert got[SESSIONS] == judged[SESSIONS]
    assert judged[0] < 0.93 * judged[2]  # a thick heel loses less
    assert 2 * judged[3] > judged[5] > 1.5 * judged[3]  # and dulls less


TOE_CUSP, BOTH_CUSPS = {"middle": 8}, {"heel": 10, "middle": 2, "toe": 10}  # sections at cusps
USES = {
    "mostly toe": (ek.laws.ToeThird(share=0.75), edge.on_toe_third(0.75), 2.0, TOE_CUSP),
    "all on the toe third": (ek.laws.ToeThird(share=1.0), edge.on_toe_third(1.0), 2.0, TOE_CUSP),
    "even": (ek.laws.EvenUse(), edge.evenly(), 2.0, BOTH_CUSPS),
    "longer than the edge": (ek.laws.ToeThird(share=1.0), edge.on_toe_third(1.0), 50.0, {}),
}


@cache
def few_sessions(case):
    """The simulation's."""
    _, places, contact, sections = USES[case]
    few = {"lost_mm": 0.043, "quarters": True, "sections": sections}
    return simulated(places=places, contact=contact, **few)


@pytest.mark.parametrize("make", [partial(circle_blade, GENTLY_MM), straight_blade])
@pytest.mark.parametrize("case", USES)
def test_densities_and_their_limits(case, make):
    """A few sessions of a section that is the same all along."""
    density, _, contact, _ = USES[case]
    method = rolled(quarters=True)
    got = packaged(make(), use_of(density, contact), method, lost_mm=0.043, **FINE)
    judged = few_sessions(case)
    assert got[LOSSES] == pytest.approx(judged[LOSSES], rel=0.015)
    assert got[RADII] == pytest.approx(judged[RADII], rel=0.01)
    assert got[STROKES] == pytest.approx(judged[STROKES], rel=0.015)
    if case in ("even", "longer than the edge"):
        for heel, toe in ((0, 2), (3, 5)):
            assert got[heel] == pytest.approx(got[toe], rel=1e-9)
            assert judged[heel] == pytest.approx(judged[toe], rel=1e-9)


# --- lives of people ---------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("within_deg", [0.0, 1.0])
def test_lives_of_people_whose_strokes_scatter(within_deg):
    """Twenty people evenly over their distribution on the usual grid: eight lives of each by the
    package, one by the simulation, whose standard errors are 0.8 % of a width and 0.9 % of the
    strokes, with an error within the stroke 1.4 and 1.4 % (about a cubic in the person's tilt).
    """
    blade = replace(circle_blade(GENTLY_MM), thickness_taper=0.3)
    use = use_of(ek.laws.ToeThird(share=0.75))
    scatter = {"stroke_sd": np.radians(SPREAD_DEG), "within_sd": np.radians(within_deg)}
    got, judged = [], []
    for seed, even in enumerate((np.arange(PEOPLE) + 0.5) / PEOPLE):
        person = SPREAD_DEG * norm.ppf(even)
        method = rolled(tilt=ErrorTerm(bias=person, sd=SPREAD_DEG), within_deg=within_deg)
        got.append(packaged(blade, use, method, runs=8, seed=seed))
        one = {"person": np.radians(person), "seed": seed}
        judged.append(simulated(taper=0.3, correlation=TRAVEL_MM, **one, **scatter))
    got, judged = np.mean(got, axis=0), np.mean(judged, axis=0)
    assert got[LOSSES] == pytest.approx(judged[LOSSES], rel=0.03)
    assert got[RADII] == pytest.approx(judged[RADII], rel=0.01)
    assert got[STROKES] == pytest.approx(judged[STROKES], rel=0.04)
    assert got[SESSIONS] == pytest.approx(judged[SESSIONS], rel=0.03)
