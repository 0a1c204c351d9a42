"""Lives: retirement rules, the history, and that a run depends on its own numbers only."""

import os
import subprocess
import sys

import numpy as np
import pytest
import shapely

import edgekit as ek
from edgekit.bending.beam import shortened_mm
from edgekit.grinding.random_streams import run_rng
from edgekit.life.life import live_runs
from edgekit.life.prepared import PreparedBlade
from edgekit.life.retire import DEFAULT_RULES, WidthLoss
from tests.wear_blades import (
    BETA_DEG,
    UM,
    circle_blade,
    constant,
    ideal,
    steady,
    straight_blade,
)

EXACT_UM = 1e-6
ROUNDING_MG = 1e-12
COARSE = {"stations": 48, "depths": 5}  # structure, not accuracy, is tested


def lived(blade, method, *, seed=0, **options):
    return ek.live(blade, method, rng=np.random.default_rng(seed), **(COARSE | options))


# ---- rules ----------------------------------------------------------------------------------


def measures(**changes):
    lost = {
        "mean_width_mm": 0.05,
        "deepest_width_mm": 0.09,
        "caliper_width_mm": 0.03,
        "length_mm": 0.6,
        "thickness_mm": 0.07,
    }
    arrays = {name: np.array([size]) for name, size in (lost | changes).items()}
    arrays["sessions"] = np.array([3])
    return WidthLoss(**arrays, new_width_mm=0.8, new_length_mm=6.0, new_thickness_mm=0.7)


@pytest.mark.parametrize(
    ("rule", "used"),
    [
        (ek.MaxWidthLoss(fraction=0.2), 0.05 / 0.16),
        (ek.MaxWidthLoss(fraction=0.2, basis=ek.Basis.DEEPEST), 0.09 / 0.16),
        (ek.MaxWidthLoss(fraction=0.1, basis=ek.Basis.CALIPER), 0.03 / 0.08),
        (ek.MinLength(fraction=0.75), 0.6 / 1.5),
        (ek.MaxThicknessLoss(fraction=0.5), 0.07 / 0.35),
    ],
    ids=str,
)
def test_a_rule_is_used_up_by_its_own_loss(rule, used):
    """Source: arithmetic on the definitions: loss over what may go."""
    assert float(rule.used_up(measures())[0]) == pytest.approx(used, rel=1e-12)


def test_the_default_limit_is_a_fifth_of_the_width():
    """Source: Murray et al. 1984, J Periodontol 55:410, quoted from memory: 10-20 %."""
    assert ek.MaxWidthLoss().fraction == 0.2


@pytest.mark.parametrize("basis", ek.Basis, ids=lambda b: b.name)
def test_width_is_used_up_in_as_many_sessions_as_arithmetic_says(basis):
    """One straight edge, no scatter: each session takes r cot(β/2), wherever one measures."""
    blade = straight_blade()
    radius = float(ek.PowerDulling().after(0.0, ek.Use().strokes))
    each = radius / np.tan(np.radians(BETA_DEG / 2))
    rule = ek.MaxWidthLoss(fraction=0.05, basis=basis)
    life = lived(blade, ideal(2), use=constant(blade), retire=rule)
    assert life.sessions == int(np.ceil(0.05 * blade.width_mm * UM / each))
    assert life.status == f"retired: {rule}"
    assert basis.value in life.status
    np.testing.assert_allclose(
        life.history["mean_width_um"], each * np.arange(1, life.sessions + 1), atol=1e-6
    )
    assert (life.history["used_up"].iloc[:-1] < 1).all()
    assert life.history["used_up"].iloc[-1] >= 1


def test_mean_deepest_and_caliper_widths_differ_on_a_facetted_edge():
    """Four facets: the middle of the edge is a ridge, the deepest lies amid a facet."""
    blade = circle_blade()
    life = lived(blade, ideal(4), use=constant(blade), stations=241, max_sessions=1)
    row = life.history.iloc[0]
    assert row["caliper_width_um"] < row["mean_width_um"] < row["deepest_width_um"]
    assert row["deepest_width_um"] - row["caliper_width_um"] == pytest.approx(37.2, abs=0.1)


@pytest.mark.parametrize(
    ("pattern", "close"),
    [("straight_sickle", 1e-3), ("universal_curette", 0.06)],  # the toe's facets deepen all
)
def test_two_edges_both_take_from_the_width(pattern, close):
    blade = getattr(ek.patterns, pattern)()
    radius = float(ek.PowerDulling().after(0.0, ek.Use().strokes))
    least = radius / np.tan(np.radians(BETA_DEG / 2))
    life = lived(blade, ideal(200), use=constant(blade), max_sessions=1, stations=200)
    assert life.history["mean_width_um"][0] == pytest.approx(2 * least, rel=close)


@pytest.mark.parametrize(("left_um", "right_um"), [(50.0, 50.0), (80.0, 20.0), (60.0, 0.0)])
def test_a_sickle_tip_shortens_by_similar_triangles(left_um, right_um):
    """Source: shapely offsets the two sides of the face's triangle and finds the new tip."""
    blade = ek.patterns.straight_sickle()
    bench = PreparedBlade.of(blade, ideal(2), 21, 4)
    length, half = blade.length_mm, 0.4
    normal = np.array([half, length]) / np.hypot(half, length)
    lines = [
        shapely.LineString(
            [
                np.array([-9.0, sign * half * (1 + 9.0 / length)])
                - [u * normal[0], sign * u * normal[1]],
                np.array([9.0 + length, -sign * half * 9.0 / length])
                - [u * normal[0], sign * u * normal[1]],
            ]
        )
        for sign, u in ((1, left_um / UM), (-1, right_um / UM))
    ]
    tip = lines[0].intersection(lines[1])
    insets = [np.full((1, 21), u / UM) for u in (left_um, right_um)]
    assert shortened_mm(bench.grids, [u[:, -1] for u in insets])[0] == pytest.approx(
        length - tip.x, rel=1e-6
    )


def test_a_round_toe_shortens_by_its_recession():
    bench = PreparedBlade.of(ek.patterns.universal_curette(), ideal(2), 21, 4)
    insets = [np.full((1, 21), 0.03), np.full((1, 21), 0.02)]
    assert shortened_mm(bench.grids, [u[:, -1] for u in insets])[0] == pytest.approx(0.03, rel=1e-9)


def test_length_can_end_a_life_before_width_does():
    life = lived(
        ek.patterns.straight_sickle(),
        ideal(3),
        retire=(ek.MaxWidthLoss(fraction=1.0), ek.MinLength(fraction=0.95)),
    )
    assert life.status == "retired: only 95 % of the length left"
    assert life.history["length_um"].iloc[-1] >= 0.05 * 6000


def test_honing_the_face_ends_by_thickness():
    blade = ek.patterns.universal_curette()
    life = lived(blade, steady(ek.methods.face_honing()), use=constant(blade))
    assert life.status == f"retired: {ek.MaxThicknessLoss()}"
    depth = life.history["thickness_um"].iloc[-1]
    assert 200 > depth >= 0.2 * blade.thickness_mm * UM


def test_a_life_that_no_rule_ends_says_so():
    life = lived(straight_blade(), ideal(2), max_sessions=3)
    assert life.sessions == 3
    assert life.status.startswith("still in use after 3 sessions")


# ---- history --------------------------------------------------------------------------------

COLUMNS = [
    "session",
    "width_mm",
    "mean_width_um",
    "deepest_width_um",
    "caliper_width_um",
    "heel_width_um",
    "middle_width_um",
    "toe_width_um",
    "length_um",
    "thickness_um",
    "ridge_um",
    "angle_error_deg",
    "angle_rms_deg",
    "sharp_fraction",
    "dull_radius_um",
    "heel_radius_um",
    "middle_radius_um",
    "toe_radius_um",
    "stone_strokes",
    "dullness_mg",
    "overshoot_mg",
    "minutes",
    "steel_mg",
    "useful_strokes",
    "used_up",
]

METHODS = {
    "freehand": ek.methods.freehand(),
    "freehand, local": ek.methods.freehand(stroke=ek.strokes.local(placements=6)),
    "bench, until clear": ek.methods.bench_stone(stop=ek.strokes.until_clear()),
    "held, in steps": ek.methods.held(15.0, placements=20),
    "powered, counted": ek.methods.powered(stop=ek.strokes.counted()),
    "face": ek.methods.face_honing(),
}


@pytest.mark.parametrize("name", METHODS)
@pytest.mark.parametrize(
    "blade",
    [ek.patterns.universal_curette(), ek.patterns.curved_sickle(), ek.patterns.hoe()],
    ids=lambda b: b.name,
)
def test_a_history_has_its_columns_one_row_a_session_and_never_gains_steel(name, blade):
    life = lived(blade, METHODS[name], seed=2, max_sessions=12)
    table = life.history
    assert table.columns.tolist() == COLUMNS
    assert table["session"].tolist() == list(range(1, life.sessions + 1))
    assert np.isfinite(table.to_numpy(dtype=float)).all()
    for column in (
        "mean_width_um",
        "deepest_width_um",
        "caliper_width_um",
        "length_um",
        "thickness_um",
        "used_up",
    ):
        assert (np.diff(table[column], prepend=0.0) >= -1e-9).all()
    assert (np.diff(table["width_mm"]) <= 1e-12).all()
    assert (table["deepest_width_um"] >= table["mean_width_um"] - EXACT_UM).all()
    assert table["sharp_fraction"].between(0, 1 + 1e-12).all()
    assert (table["steel_mg"] >= 0).all()
    assert (table["dullness_mg"] >= 0).all()
    assert (table["overshoot_mg"] >= 0).all()
    assert (table["overshoot_mg"] <= table["steel_mg"] + ROUNDING_MG).all()
    assert "sessions" in life._repr_html_()


def test_the_same_generator_gives_the_same_life_and_another_does_not():
    blade = ek.patterns.area_specific_curette()
    first, second = (lived(blade, METHODS["freehand, local"], seed=5) for _ in range(2))
    other = lived(blade, METHODS["freehand, local"], seed=6)
    assert first.history.equals(second.history)
    assert not first.history.equals(other.history)


@pytest.mark.parametrize("name", METHODS)
def test_a_batch_of_lives_equals_single_lives_bit_by_bit(name):
    blade = ek.patterns.universal_curette()
    use = ek.Use(patch_cv=0.5, attrition_um=1.0)
    options = {"use": use, "rules": DEFAULT_RULES, "stations": 30, "depths": 4}
    batch = live_runs(blade, METHODS[name], rngs=[run_rng(3, i) for i in range(9)], **options)
    for i in (0, 4, 8):
        alone = live_runs(blade, METHODS[name], rngs=[run_rng(3, i)], **options)
        assert alone.sessions[0] == batch.sessions[i]
        assert alone.ended_by[0] == batch.ended_by[i]
        for track, values in alone.tracks.items():
            np.testing.assert_array_equal(values[0], batch.tracks[track][i, : alone.sessions[0]])
            assert np.isnan(batch.tracks[track][i, alone.sessions[0] :]).all()


# ---- no load, no wear -----------------------------------------------------------------------


@pytest.mark.parametrize("name", [*filter(lambda name: "counted" not in name, METHODS)])
@pytest.mark.parametrize("sharp_um", [0.0, 1.5])
def test_an_instrument_that_is_not_used_is_not_ground(name, sharp_um):
    use = ek.Use(strokes=0, sharp_radius_um=sharp_um)
    life = lived(ek.patterns.universal_curette(), METHODS[name], use=use, max_sessions=4)
    assert (life.history["mean_width_um"] == 0).all()
    assert (life.history["thickness_um"] == 0).all()
    assert (life.history["steel_mg"] < ROUNDING_MG).all()
    assert (life.history["stone_strokes"] == 0).all()
    idle = float(life.method.seconds(np.zeros(1), len(life.blade.edges))[0])
    assert (life.history["minutes"] * 60 <= idle + 1e-9).all()
    assert (life.history["sharp_fraction"] > 1 - 1e-12).all()


def test_strokes_that_are_counted_are_made_whether_needed_or_not():
    """Source: the rule itself; density from the evidence table, two edges of ten strokes."""
    use, method = ek.Use(strokes=0), METHODS["powered, counted"]
    table = lived(ek.patterns.universal_curette(), method, use=use, max_sessions=3).history
    assert (table["stone_strokes"] == 20).all()
    assert table["steel_mg"].to_numpy() == pytest.approx(table["steel_mg"][0], rel=1e-9)
    assert (table["dullness_mg"] == 0).all()


def test_a_law_whose_limit_is_sharp_never_calls_for_grinding():
    use = ek.Use(law=ek.SaturatingDulling(limit_um=0.5, strokes=10))
    life = lived(straight_blade(), ideal(3), use=use, max_sessions=3)
    assert (life.history["mean_width_um"] == 0).all()


def test_attrition_alone_takes_its_own_amount():
    use = ek.Use(strokes=0, attrition_um=2.5)
    life = lived(straight_blade(), ideal(3), use=use, max_sessions=4)
    np.testing.assert_allclose(life.history["mean_width_um"], [2.5, 5.0, 7.5, 10.0], rtol=1e-9)


FAULTS = """
import resource
import edgekit as ek
from edgekit.grinding.random_streams import SeededKeys
from edgekit.life.life import DEFAULT_RULES, live_runs

def faults(seed):
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    live_runs(ek.patterns.area_specific_curette(), ek.methods.freehand(), use=ek.Use(),
              rules=DEFAULT_RULES, rngs=SeededKeys(seed, runs=320), max_sessions=4, histories=0)
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before

faults(1)
print(faults(2))
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the allocator of Linux")
@pytest.mark.parametrize("threshold", [None, "65536"])
def test_memory_is_reused_whatever_the_environment_asks_of_the_allocator(threshold):
    # Some schedulers set MALLOC_TRIM_THRESHOLD_ for their workers: sessions then took a third more.
    settings = {} if threshold is None else {"MALLOC_TRIM_THRESHOLD_": threshold}
    out = subprocess.check_output([sys.executable, "-c", FAULTS], env=os.environ | settings)
    assert int(out) < 300  # 5,000 pages where freed arrays go back to the system
