"""Weighings: the constant comes back, intervals cover, slips are refused by name.

Outside sources: the end-gauge budget of JCGM 100:2008, H.1.6; Student's and Welch's intervals of
`scipy.stats`; the BCG trials as meta-analyses print them (from memory); Cohen's sample sizes (from
memory); Hessheimer et al. 2017, 400 strokes.
"""

import math
import runpy
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import edgekit as ek
from edgekit.clinic.weighing.means import combined, pooled
from edgekit.clinic.weighing.ways import _fewest
from edgekit.clinic.weighing.weighings import _digit
from edgekit.evidence_table import entry, value
from edgekit.study.evidence_ranges import _ends, _fields

DEMO = Path(__file__).parents[1] / "data_demo"
FOLDER = DEMO / "weighings"
MAKER = runpy.run_path(str(DEMO / "make_weighings.py"))
TRUTH, SEED = MAKER["Truth"](), MAKER["SEED"]
EXACT = 1e-9  # relative: rounding of differences of some 18,000 mg
DENSITY = value("steel_density_mg_per_mm3")
CLEAN = replace(
    TRUTH,
    blade_cv=0.0,
    bout_cv=0.0,
    cleaning_sd_mg=0.0,
    balance_sd_mg=1e-12,
    digit_mg=1e-9,
)
C = ek.clinic
LINES = ("instrument,bout,state,mass_mg", "instrument,bout,strokes,stone")


def seen(rng, truth=TRUTH):
    made = MAKER["tables"](rng, truth)
    return C.read_weighings(made.weights, made.bouts)


def covered(seeds, truth=TRUTH, level=0.95):
    """In how many of some experiments the interval holds the constant that made it."""
    hits = 0
    for seed in seeds:
        rng = np.random.default_rng(seed)
        drawn = MAKER["drawn"](rng, truth)
        low, high = C.steel_per_stroke(seen(rng, drawn)).interval_mm3(level)
        hits += low <= drawn.mm3_per_stroke <= high
    return hits


def seeds(count, key=SEED):
    return np.random.SeedSequence(key).spawn(count)


@pytest.fixture(scope="module")
def demo():
    return C.read_weighings(FOLDER / "weights.csv", FOLDER / "strokes.csv")


@pytest.fixture(scope="module")
def steel(demo):
    return C.steel_per_stroke(demo)


# ---- the constant comes back ------------------------------------------------------------------


def test_the_interval_holds_the_constant_in_93_to_97_of_100_experiments():
    assert 93 <= covered(seeds(100)) <= 97


@pytest.mark.slow
def test_the_interval_holds_the_constant_in_93_to_97_of_100_over_a_thousand():
    assert 930 <= covered(seeds(1000)) <= 970


@pytest.mark.slow
@pytest.mark.parametrize(
    "truth",
    [
        replace(TRUTH, blades=3),
        replace(TRUTH, counted=(20, 50, 100)),
        replace(TRUTH, counted=(10, 50), balance_sd_mg=0.1, blades=6),
    ],
    ids=["three blades", "uneven strokes", "a noisy balance"],
)
def test_the_interval_holds_with_few_blades_uneven_strokes_and_a_noisy_balance(truth):
    """The bounds are three standard deviations of a count of 600 about 95 %, and 1 % more."""
    assert 0.92 <= covered(seeds(600, 7), truth) / 600 <= 0.98


@pytest.mark.slow
def test_what_is_assumed_in_place_of_blanks_covers_the_cleaning_of_the_demo():
    assert covered(seeds(300, 8), replace(TRUTH, blanks=False)) >= 0.93 * 300


@pytest.mark.slow
def test_a_coarse_last_digit_widens_the_interval_as_it_must():
    truth = replace(TRUTH, digit_mg=0.1, balance_sd_mg=0.02, drift_mg=0.0)
    assert covered(seeds(300, 9), truth) >= 0.93 * 300


def test_without_scatter_the_constant_comes_back_and_blanks_take_the_cleaning_off():
    weighings = seen(np.random.default_rng(1), CLEAN)
    found = C.steel_per_stroke(weighings)
    assert found.steel_per_stroke_mm3 == pytest.approx(TRUTH.mm3_per_stroke, rel=1e-6)
    kept = weighings.bouts[weighings.bouts["strokes"] > 0]
    without = C.steel_per_stroke(replace(weighings, bouts=kept))
    off = TRUTH.cleaning_mg / 50 / DENSITY
    assert without.steel_per_stroke_mm3 - TRUTH.mm3_per_stroke == pytest.approx(off, rel=1e-4)
    assert "cleaning" in set(without.budget["source"])


def test_milligrams_and_cubic_millimetres_are_one_number_by_the_density(steel):
    assert steel.steel_per_stroke_mg / steel.steel_per_stroke_mm3 == pytest.approx(DENSITY)


@pytest.mark.parametrize(("stone", "mg"), [("diamond", 7.62), ("ceramic", 0.69)])
def test_weighings_of_400_strokes_give_the_published_steel_per_stroke(stone, mg):
    """Hessheimer et al. 2017: 7.62 ± 0.38 and 0.69 ± 0.06 mg; the table keeps two digits."""
    losses = mg * np.array([0.95, 1.0, 1.05])
    weights, strokes = tables([(f"A{i}", 400, loss) for i, loss in enumerate(losses)])
    found = C.steel_per_stroke(C.read_weighings(weights, strokes))
    published = entry(f"removal_{stone}_mm3_per_stroke").value
    assert found.steel_per_stroke_mm3 == pytest.approx(published, rel=0.03)
    assert not any("elsewhere" in note for note in found.notes)


def test_a_steel_far_from_what_was_weighed_elsewhere_is_said():
    weights, strokes = tables([(f"A{i}", 4, 7.6 + i / 10) for i in range(3)])
    notes = C.steel_per_stroke(C.read_weighings(weights, strokes)).notes
    assert any("elsewhere" in note for note in notes)


def tables(losses, more=None):
    """Two tables from (instrument, strokes, loss [mg]): two readings before and two after."""
    weights, strokes = [], []
    for name, count, lost in losses:
        strokes.append({"instrument": name, "bout": 1, "strokes": count, "stone": "x"})
        for state, mass in (("before", 18000.0), ("after", 18000.0 - lost)):
            key = {"instrument": name, "bout": 1, "state": state}
            weights += [key | {"mass_mg": round(mass + off, 4)} for off in (-0.01, 0.01)]
    return pd.DataFrame(weights), pd.DataFrame(strokes).assign(**(more or {}))


# ---- against general libraries and worked examples ---------------------------------------------


def test_a_mean_of_alike_blades_has_students_interval():
    values = np.random.default_rng(2).normal(1.4, 0.2, 7)
    interval = stats.ttest_1samp(values, 0.0).confidence_interval(0.95)
    found = pooled(values, np.full(7, 1e-4)).estimate.interval(0.95)
    assert found == pytest.approx(tuple(interval), rel=EXACT)


def test_scatter_between_trials_is_as_meta_analyses_of_the_bcg_trials_print_it():
    """Log risk ratios of 13 trials: DerSimonian-Laird 0.3088, Paule-Mandel 0.318 (memory)."""
    y = [-0.8893, -1.5854, -1.3481, -1.4416, -0.2175, -0.7861, -1.6209, 0.0120, -0.4694]
    y = np.array([*y, -1.3713, -0.3394, 0.4459, -0.0173])
    v = [0.3256, 0.1946, 0.4154, 0.0200, 0.0512, 0.0069, 0.2230, 0.0040, 0.0564, 0.0730]
    v = np.array([*v, 0.0124, 0.5325, 0.0714])
    w = 1 / v
    q = w @ (y - w @ y / w.sum()) ** 2
    simple = (q - 12) / (w.sum() - (w**2).sum() / w.sum())
    assert simple == pytest.approx(0.3088, abs=5e-4)  # the trials are remembered right
    found = pooled(y, v)
    assert found.between_sd**2 == pytest.approx(0.318, abs=1e-3)
    # Knapp and Hartung's interval about the restricted-likelihood mean: -1.108 to -0.321 (memory)
    assert found.estimate.interval(0.95) == pytest.approx((-1.108, -0.321), abs=5e-3)


def test_effective_freedom_is_that_of_the_end_gauge():
    """JCGM 100:2008, H.1.6: 16.7 for u = 32 nm."""
    u, dof = combined([(25, 18), (9.7, 25.6), (2.9, 50), (16.6, 2)])
    assert u == pytest.approx(32, abs=0.5)
    assert dof == pytest.approx(16.7, abs=0.3)


@pytest.mark.parametrize(("effect", "size"), [(0.5, 64), (0.8, 26)])
def test_sizes_of_groups_are_cohens(effect, size):
    """Cohen 1988, table 2.4.1: two groups, 5 % two-sided, power 0.8 (from memory)."""
    assert _fewest(effect, np.array([1.0, 1.0]), 0.8, 0.95) == size


def test_power_is_that_of_welchs_test_on_drawn_blades():
    row = C.blades_to_weigh(digits_mg=(0.01,)).iloc[0]
    sds = np.hypot(value("session_steel_cv") * np.array([0.15, 0.5]), row["balance_sd_mg"])
    size, rng = int(row["blades_per_way"]), np.random.default_rng(3)
    drawn = [rng.normal(m, sd, (20_000, size)) for m, sd in zip((0.15, 0.5), sds, strict=True)]
    told = stats.ttest_ind(*drawn, axis=1, equal_var=False).pvalue < 0.05
    assert told.mean() == pytest.approx(row["power"], abs=0.01)
    assert row["power"] >= 0.9


def test_more_digits_or_readings_never_ask_for_more_blades():
    counts = C.blades_to_weigh(digits_mg=(0.001, 0.01, 0.1, 0.5, 1.0))["blades_per_way"]
    assert (np.diff(counts) >= 0).all()
    assert C.blades_to_weigh(digits_mg=(5.0,), repeats=1)["blades_per_way"].iloc[0] in (
        0,
        *range(1000, 10_001),
    )


def sharp(losses):
    weights, strokes = tables([(name, 20, lost) for name, _, lost in losses])
    ways = {"way": [way for _, way, _ in losses], "ended": "sharp"}
    return C.read_weighings(weights, strokes.assign(**ways))


def test_two_groups_are_compared_by_welch():
    rolling, local = [0.12, 0.18, 0.15, 0.2], [0.41, 0.66, 0.38]
    given = [(f"R{i}", "rolling", x) for i, x in enumerate(rolling)]
    given += [(f"L{i}", "local", x) for i, x in enumerate(local)]
    found = C.compare_ways(sharp(given))
    wanted = stats.ttest_ind(local, rolling, equal_var=False)
    assert not found.paired
    assert found.dof == pytest.approx(wanted.df)
    interval = tuple(wanted.confidence_interval(0.9))
    assert found.interval_mg(0.9) == pytest.approx(interval, rel=1e-6)


def test_blades_sharpened_both_ways_are_compared_in_pairs():
    rolling, local = np.array([0.12, 0.18, 0.15]), np.array([0.41, 0.66, 0.38])
    weights, strokes = tables([(f"A{i}", 20, x) for i, x in enumerate(rolling)])
    second = tables([(f"A{i}", 40, x) for i, x in enumerate(local)])
    weights = pd.concat([weights, second[0].assign(bout=2)])
    strokes = pd.concat([strokes.assign(way="rolling"), second[1].assign(bout=2, way="local")])
    found = C.compare_ways(C.read_weighings(weights, strokes.assign(ended="sharp")))
    wanted = stats.ttest_rel(local, rolling).confidence_interval(0.95)
    assert found.paired
    assert found.interval_mg(0.95) == pytest.approx(tuple(wanted), rel=1e-6)


@pytest.mark.slow
def test_the_interval_of_the_ways_holds_the_true_difference():
    """The truth: mean strokes, drawn with mean exp(-0.03 + 0.25²/2), times the steel of one."""
    hits, difference = 0, (44 - 14) * math.exp(-0.03 + 0.25**2 / 2)
    true = difference * TRUTH.mm3_per_stroke * TRUTH.density
    for seed in seeds(300, 11):
        low, high = C.compare_ways(seen(np.random.default_rng(seed))).interval_mg(0.95)
        hits += low <= true <= high
    assert 0.91 <= hits / 300 <= 0.98


# ---- what the tables say -----------------------------------------------------------------------


def test_drift_that_control_and_blade_share_changes_nothing():
    made = MAKER["tables"](np.random.default_rng(4), TRUTH)
    drifted = made.weights.copy()
    drifted[["mass_mg", "control_mg"]] += np.linspace(0, 9, len(drifted))[:, None].round(2)
    one, two = (C.read_weighings(w, made.bouts).bouts["lost_mg"] for w in (made.weights, drifted))
    assert np.allclose(one, two, atol=1e-9)


def test_grams_semicolons_and_decimal_commas_are_read_alike(tmp_path, demo):
    weights = pd.read_csv(FOLDER / "weights.csv", comment="#")
    grams = {"mass_mg": "Mass (g)", "control_mg": "control_g"}
    for name in grams:
        weights[name] = (weights[name] / 1000).map("{:.5f}".format)
    file = tmp_path / "w.csv"
    weights.rename(columns=grams).to_csv(file, sep=";", index=False)
    file.write_text(file.read_text().replace(".", ","))
    read = C.read_weighings(file, FOLDER / "strokes.csv")
    assert read.digit_mg == pytest.approx(0.01)
    assert np.allclose(read.bouts["lost_mg"], demo.bouts["lost_mg"], atol=1e-6)


@pytest.mark.parametrize("step", [0.01, 0.02, 0.05, 0.1, 1.0])
def test_the_last_digit_is_read_off_the_readings(step):
    readings = 18000 + step * np.random.default_rng(5).integers(0, 400, 60)
    assert _digit(readings.round(6)) == pytest.approx(step)


def test_bouts_that_ended_sharp_do_not_calibrate(demo, steel):
    """A weak stroke is followed by more of them: they are left out, and that is said."""
    assert steel.bouts == (demo.bouts["ended"] == "counted").sum() - steel.blanks
    assert any("10 that ended sharp" in note for note in steel.notes)


def test_steel_in_proportion_to_force_and_travel_is_found_as_made():
    """y = c n F s exactly: at the mean force and travel nothing scatters but rounding."""
    c, counts = 2e-4, np.array([30, 50, 80])
    force, travel = np.array([3.0, 5.0, 8.0]), np.array([9.0, 12.0, 10.0])
    lost = c * counts * force * travel
    weights, strokes = tables(
        [(f"A{i}", *row) for i, row in enumerate(zip(counts, lost, strict=True))]
    )
    read = C.read_weighings(weights, strokes.assign(force_n=force, travel_mm=travel))
    found = C.steel_per_stroke(read, proportion=C.Proportion.FORCE_AND_TRAVEL)
    assert found.force_n == pytest.approx(counts @ force / counts.sum())
    wanted = c * found.force_n * found.travel_mm / DENSITY
    assert found.steel_per_stroke_mm3 == pytest.approx(wanted, rel=1e-4)
    plain = C.steel_per_stroke(read)
    assert plain.u_mm3 > 5 * found.u_mm3
    bare = C.read_weighings(weights, strokes)
    with pytest.raises(ek.Cannot, match="force_n"):
        C.steel_per_stroke(bare, proportion=C.Proportion.FORCE)


SLIPS = {
    "A,1,before,18000,5": "5 cells under",
    "A,1,before,18.23": "if this was in grams",
    "A,1,before,": "no mass",
    "A,1,before,=B2": "a formula",
    "A,1,during,18000": "is no state",
    "A,0,before,18000": "a bout of 0",
    ",1,before,18000": "no instrument",
    "A,1,before,18004": "differ by 4 mg",
    "B,7,before,18000": "no usable row of strokes",
    "A,1,before,18000,9,9": "6 cells under a header of 4",
}
GOOD = [
    f"{a},{b},{s},{m}"
    for a in "AC"
    for b in (1,)
    for s, m in (("before", 18000.0), ("after", 17999.5))
]


def texts(tmp_path, weights, strokes):
    files = []
    for name, head, rows in zip(("w.csv", "s.csv"), LINES, (weights, strokes), strict=True):
        files.append(tmp_path / name)
        files[-1].write_text("\n".join([head, *rows, ""]))
    return files


@pytest.mark.parametrize(("slip", "words"), SLIPS.items())
def test_a_slip_in_the_weights_is_refused_by_name(tmp_path, slip, words):
    files = texts(tmp_path, [*GOOD, *GOOD, slip], ["A,1,50,x", "C,1,50,x"])
    read = C.read_weighings(*files)
    told = " ".join(read.rejected[["reason", "suggestion"]].astype(str).agg(" ".join, axis=1))
    assert words in told
    assert 10 in set(read.rejected["line"]) or "differ" in words
    with pytest.raises(ek.BadFile) as error:
        C.read_weighings(*files, strict=True)
    assert error.value.file == "w.csv" or "bout" in error.value.what


@pytest.mark.parametrize(
    ("slip", "words"),
    {
        "C,2,fifty,x": "not a number",
        "C,2,-3,x": "not a count",
        "C,2,,x": "no number of strokes",
        "C,2,50,": "no stone",
        "C,1,50,x": "stands there twice",
        "D,1,50,x": "no usable weighing before and after",
    }.items(),
)
def test_a_slip_in_the_strokes_is_refused_by_name(tmp_path, slip, words):
    files = texts(tmp_path, GOOD + GOOD, ["A,1,50,x", "C,1,50,x", slip])
    read = C.read_weighings(*files)
    assert words in " ".join(read.rejected["reason"])
    assert len(read.bouts) == 2


@pytest.mark.parametrize(
    ("weights", "strokes", "words"),
    [
        (GOOD, ["A,1,50,x", "C,1,50,x"], "no weighing was repeated"),
        (GOOD + GOOD, ["Z,1,50,x"], "no bout can be used"),
        ([], ["A,1,50,x"], "no bout can be used"),
    ],
)
def test_tables_that_give_nothing_are_refused(tmp_path, weights, strokes, words):
    with pytest.raises(ek.EdgekitError, match=words):
        C.read_weighings(*texts(tmp_path, weights, strokes))


def test_a_header_without_its_columns_a_missing_file_and_a_trace_that_is_none(tmp_path):
    files = texts(tmp_path, GOOD + GOOD, ["A,1,50,x", "C,1,50,x"])
    with pytest.raises(ek.BadFile, match="lacks instrument, bout, state, mass_mg"):
        C.read_weighings(DEMO / "prices.csv", files[1])
    with pytest.raises(ek.BadFile, match="table of strokes could not be opened"):
        C.read_weighings(files[0], tmp_path / "none.csv")
    files[1].write_text(
        "instrument,bout,strokes,stone,trace_before\nA,1,50,x,gone.toml\nC,1,50,x,\n"
    )
    read = C.read_weighings(*files)
    assert "trace_before" in set(read.rejected["column"])
    assert read.bouts["instrument"].tolist() == ["C"]


def test_a_blade_that_gained_steel_is_flagged_and_kept(tmp_path):
    swapped = [
        line.replace("before", "x").replace("after", "before").replace("x", "after")
        for line in GOOD[:2]
    ]
    rows = [f"{line[:-1]}{d}" for d in (1, 2) for line in (*swapped, *GOOD[2:])]
    read = C.read_weighings(*texts(tmp_path, rows, ["A,1,50,x", "C,1,50,x"]))
    assert "exchanged" in read.flags["reason"].iloc[0]
    assert any("A, bout 1 gained" in note for note in C.steel_per_stroke(read).notes)


def test_stones_are_named_and_two_blades_are_needed(demo):
    with pytest.raises(ek.BadArgument, match="no bout was on this stone"):
        C.steel_per_stroke(demo, stone="granite")
    two = demo.bouts.assign(stone=np.where(demo.bouts["bout"] == 2, "a", "b"))
    with pytest.raises(ek.Cannot, match="several stones"):
        C.steel_per_stroke(replace(demo, bouts=two))
    with pytest.raises(ek.Cannot, match="two blades or more"):
        C.steel_per_stroke(replace(demo, bouts=demo.bouts[demo.bouts["instrument"] == "FW-01"]))
    with pytest.raises(ek.Cannot, match="each way"):
        C.compare_ways(replace(demo, bouts=demo.bouts[demo.bouts["ended"] == "counted"]))


# ---- used by methods -----------------------------------------------------------------------------


def test_a_method_takes_what_was_weighed(steel):
    """Ignorance of the mean is the stone's, variation between blades the method's."""
    ceramic = ek.methods.freehand().using(ek.ceramic_stone())
    method = steel.for_method(ceramic)
    assert method.removal_mm3_per_stroke == steel.steel_per_stroke_mm3
    assert method.abrasive.grain_um == ek.ceramic_stone().grain_um
    blades = steel.blade_sd_mm3 / steel.steel_per_stroke_mm3
    assert method.removal_gsd == pytest.approx(1 + blades, rel=0.01)
    unsure = method.abrasive.removal
    assert unsure.gsd == pytest.approx(1 + steel.u_mm3 / steel.steel_per_stroke_mm3, rel=0.01)
    assert 1 < unsure.gsd < ek.ceramic_stone().removal.gsd
    assert "own weighings: 10 blades" in unsure.source


def test_key_inputs_move_the_steel_by_its_own_uncertainty(steel):
    counted = ek.methods.freehand(stop=ek.strokes.counted(strokes=4), hand=ek.Hand())
    case = ek.LifeCase(blade=ek.patterns.hoe, method=steel.for_method(counted))
    fields = {field: item for item, field in _fields(case, case.method).items()}
    low, high = _ends(fields["method.removal_mm3_per_stroke"])
    off = steel.u_mm3 / steel.steel_per_stroke_mm3
    wanted = [steel.steel_per_stroke_mm3 * (1 - off), steel.steel_per_stroke_mm3 * (1 + off)]
    assert [low, high] == pytest.approx(wanted, rel=2e-3)


def test_ten_counted_strokes_of_a_method_take_ten_of_the_weighed_steel(steel):
    """Volume-limited strokes: the session's steel is strokes x steel of one, whatever the edge."""
    ten = {"stop": ek.strokes.counted(strokes=10), "hand": ek.Hand()}
    method = replace(steel.for_method(ek.methods.freehand(**ten)), removal_gsd=1.0)
    blade = ek.patterns.area_specific_curette()
    taken = ek.sharpen(blade, method, dull_radius_um=9.0, rng=1).steel_mg
    assert taken == pytest.approx(10 * steel.steel_per_stroke_mg, rel=0.05)


def test_the_uncertainty_is_an_input_of_a_sensitivity(steel):
    share = np.linspace(0.001, 0.999, 999)
    values = steel.ppf(share)
    assert (np.diff(values) > 0).all()
    assert (values > 0).all()
    assert steel.ppf(0.5) == pytest.approx(steel.steel_per_stroke_mm3)
    low, high = steel.interval_mm3(0.9)
    assert steel.ppf([0.05, 0.95]) == pytest.approx([low, high], rel=0.01)
    grid = ek.grids.latin_hypercube(
        {"method.removal_mm3_per_stroke": steel, "use.strokes": (20.0, 60.0)}, 4, seed=1
    )
    assert all(0.8 < row[0] / steel.steel_per_stroke_mm3 < 1.25 for row in grid.rows)


def test_steel_not_told_from_nothing_is_no_stone():
    weights, strokes = tables([("A", 2, 0.03), ("B", 2, -0.02), ("C", 2, 0.01)])
    found = C.steel_per_stroke(C.read_weighings(weights, strokes))
    assert found.interval_mm3()[0] < 0
    for wanted in (lambda: found.abrasive(ek.ceramic_stone()), lambda: found.ppf(0.5)):
        with pytest.raises(ek.Cannot, match="do not tell the steel"):
            wanted()


# ---- demo files, traces, figure, protocol --------------------------------------------------------


def test_demo_files_are_what_their_script_makes_and_marked_invented(tmp_path):
    MAKER["make"](tmp_path)
    assert sorted(f.name for f in tmp_path.iterdir()) == sorted(f.name for f in FOLDER.iterdir())
    for file in tmp_path.iterdir():
        text = (FOLDER / file.name).read_text(encoding="utf-8")
        assert file.read_text(encoding="utf-8") == text, file.name
        assert text.startswith("# INVENTED")


def test_the_demo_holds_its_truth(steel):
    truth = pd.read_csv(FOLDER / "truth.csv", comment="#").iloc[0]
    low, high = steel.interval_mm3(0.95)
    assert low <= truth["mm3_per_stroke"] <= high
    assert truth["density_mg_per_mm3"] == DENSITY


def test_messy_demo_files_are_refused_line_by_line():
    read = C.read_weighings(FOLDER / "weights_messy.csv", FOLDER / "strokes_messy.csv")
    told = list(zip(read.rejected["line"], read.rejected["column"], strict=True))
    assert {(5, "mass_mg"), (11, "repeat"), (16, "control_mg"), (22, "state")} <= set(told)
    assert {(27, "(weighing)"), (6, "strokes"), (8, "way")} <= set(told)
    assert len(read.bouts) == 3


def test_traces_agree_with_the_steel_that_made_them(demo):
    """Truth: each blade's recession was drawn from its own steel, at 0.026 mg per µm."""
    table = C.steel_by_traces(demo)
    assert len(table) == 2
    true = table["lost_mg"] / MAKER["MG_PER_UM"]
    assert ((table["width_lost_um"] - true).abs() < 3 * table["u_width_um"]).all()
    per_um = (table["traced_mg"] / table["width_lost_um"]).tolist()
    assert per_um == pytest.approx([MAKER["MG_PER_UM"]] * 2, rel=0.05)
    with pytest.raises(ek.Cannot, match="no bout has a trace"):
        C.steel_by_traces(replace(demo, bouts=demo.bouts.assign(trace_after="")))


def test_the_figure_draws_the_table_and_says_it(steel):
    axes = ek.figures.steel_per_stroke(steel)
    drawn = axes.lines[1].get_ydata()
    assert np.allclose(drawn, 1000 * steel.table["mm3_per_stroke"])
    assert axes.lines[0].get_ydata()[0] == pytest.approx(1000 * steel.steel_per_stroke_mm3)
    assert f"{1000 * steel.steel_per_stroke_mm3:.3g}" in ek.figures.alt_text(axes)


def test_the_protocol_prints_the_blades_that_are_computed():
    text = (DEMO.parent / "notebooks" / "protocol_weighing.md").read_text(encoding="utf-8")
    counts = C.blades_to_weigh(digits_mg=(0.01, 0.1, 1.0))["blades_per_way"]
    assert f"| blades a way | {' | '.join(map(str, counts))} |" in text


def spoiled(text, rng):
    """A file as it comes out of accidents: bytes changed, lost, doubled, cut off."""
    data = bytearray(text)
    for _ in range(int(rng.integers(0, 6))):
        at, other = (int(rng.integers(len(data))) for _ in range(2))
        match int(rng.integers(5)):
            case 0:
                data[at] = int(rng.integers(256))
            case 1:
                del data[at : at + int(rng.integers(1, 40))]
            case 2:
                data[at:at] = bytes(rng.choice(list(b',;"\n\t0-.e#='), 3).tolist())
            case 3:
                data[at:at] = data[other : other + 60]
            case 4:
                data = data[: max(at, 5)]
    return bytes(data)


@pytest.mark.slow
def test_spoiled_tables_end_in_a_result_or_an_error_that_teaches(tmp_path):
    names = [tmp_path / name for name in ("weights.csv", "strokes.csv")]
    rng, results = np.random.default_rng(12), 0
    for _ in range(300):
        for file in names:
            text = (FOLDER / file.name).read_bytes().replace(b"FW-01_before.toml", b"")
            file.write_bytes(spoiled(text, rng))
        try:
            found = C.steel_per_stroke(C.read_weighings(*names), stone="bench stone")
        except ek.EdgekitError as error:
            assert error.remedy  # noqa: PT017 - either end is right
        else:
            results += 1
            assert math.isfinite(found.u_mm3)
    assert 100 < results < 300


def test_nothing_warns():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert repr(C.steel_per_stroke(seen(np.random.default_rng(6))))
