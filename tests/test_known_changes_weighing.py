"""Limits and formulas of weighings of which a change could leave every test green.

Budgets written out after JCGM 100:2008, intervals and power by `scipy.stats`, both sides of every
limit of what a table may hold.
"""

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import edgekit as ek
from edgekit.clinic.weighing import sheets, trace_check
from edgekit.clinic.weighing.means import Estimate, combined, mean_of, pooled, reach
from edgekit.clinic.weighing.steel import _gsd
from edgekit.clinic.weighing.ways import _fewest, _power, _welch
from edgekit.clinic.weighing.weighings import _digit, _flags
from edgekit.evidence_table import entry, value

C = ek.clinic
DENSITY = value("steel_density_mg_per_mm3")


# ---- means ---------------------------------------------------------------------------------


def test_a_mean_of_values_that_differ_has_its_standard_error():
    values = np.array([1.0, 2.0, 4.0, 4.5])
    found = mean_of(values)
    assert found.mean == pytest.approx(2.875)
    assert found.u == pytest.approx(stats.sem(values), rel=1e-12)
    assert found.dof == 3
    wanted = stats.t.interval(0.8, 3, loc=2.875, scale=stats.sem(values))
    assert found.interval(0.8) == pytest.approx(wanted, rel=1e-12)
    wide = Estimate(1.0, 0.5, math.inf).interval(0.95)
    assert wide == pytest.approx(stats.norm.interval(0.95, 1.0, 0.5), rel=1e-6)


def test_values_that_agree_are_weighed_by_their_variances():
    # Their scatter lies below what the variances explain: nothing is left between blades.
    values, variances = np.array([1.0, 1.1, 0.95]), np.array([0.5, 1.0, 0.25])
    found = pooled(values, variances)
    weights = (1 / variances) / (1 / variances).sum()
    assert found.between_sd == 0.0
    np.testing.assert_allclose(found.weights, weights, rtol=1e-12)
    mean = weights @ values
    u = math.sqrt(weights @ (values - mean) ** 2 / 2)
    assert found.estimate == pytest.approx((mean, u, 2.0), rel=1e-12)


def test_scatter_between_blades_solves_its_equation():
    rng = np.random.default_rng(3)
    for size in (2, 3, 8):
        for scale in (1e-6, 1.0):
            values = scale * rng.normal(5, 2, size)
            variances = scale**2 * rng.uniform(0.01, 0.3, size)
            found = pooled(values, variances)
            raw = 1 / (variances + found.between_sd**2)
            mean = raw @ values / raw.sum()
            assert raw @ (values - mean) ** 2 == pytest.approx(size - 1, rel=1e-6)
            assert found.weights.sum() == pytest.approx(1.0)
            u = math.sqrt(raw @ (values - mean) ** 2 / ((size - 1) * raw.sum()))
            assert found.estimate.mean == pytest.approx(mean, rel=1e-9)
            assert found.estimate.u == pytest.approx(u, rel=1e-6)
            assert found.estimate.dof == size - 1


def test_blades_weighed_without_error_scatter_by_their_deviation():
    rng = np.random.default_rng(1)
    for _ in range(100):  # in half of them rounding leaves something at the bracket's end
        values = rng.normal(1e-3, 2e-4, 5)
        found = pooled(values, np.full(5, 1e-40))
        assert found.between_sd == pytest.approx(values.std(ddof=1), rel=1e-6)


def test_a_scatter_is_found_where_one_blade_is_weighed_far_worse():
    # One blade is weighed far better than the others, which lie apart from it and one another.
    values, variances = np.array([0.0, 10.0, 10.0]), np.array([1e-12, 1e-12, 1e4])
    found = pooled(values, variances)
    raw = 1 / (variances + found.between_sd**2)
    mean = raw @ values / raw.sum()
    assert raw @ (values - mean) ** 2 == pytest.approx(2.0, rel=1e-6)


def test_parts_with_their_own_freedom_reach_as_far_as_the_root_of_their_squares():
    parts = [(3.0, 2.0), (1.0, 9.0), (0.5, math.inf)]
    for share in (0.6, 0.95, 0.995):
        want = math.sqrt(sum((u * stats.t.ppf(share, dof)) ** 2 for u, dof in parts))
        assert reach(parts, share) == pytest.approx(want, rel=1e-7)
        assert reach(parts, 1 - share) == pytest.approx(-want, rel=1e-7)
    assert reach(parts, 0.5) == 0.0
    u, dof = combined(parts)
    assert u == pytest.approx(math.sqrt(9 + 1 + 0.25))
    assert dof == pytest.approx(u**4 / (81 / 2 + 1 / 9), rel=1e-12)  # Welch and Satterthwaite
    assert combined([(0.0, 3.0)]) == (0.0, math.inf)
    assert combined([(2.0, math.inf), (0.0, 1.0)]) == (2.0, math.inf)


def test_a_geometric_deviation_is_that_of_a_lognormal_law():
    for relative in (0.05, 0.4, 2.0):
        law = stats.lognorm(math.log(_gsd(relative)))
        assert law.std() / law.mean() == pytest.approx(relative, rel=1e-9)


# ---- cells and tables ----------------------------------------------------------------------


# Made in each test: the mutation runner changes the code of readers that are made after it.
READERS = [
    (lambda: sheets.mass(1.0, needed=True), ("200", "500000"), ("199.9", "500001")),
    (lambda: sheets.mass(1000.0, needed=True), ("0.2", "500"), ("0.1999", "500.1")),
    (lambda: sheets.amount("N", 100.0), ("100", "0.001", "1"), ("0", "100.1", "-1", "x")),
    (lambda: sheets.number_of("bout", 1), ("1", "7"), ("0", "-1", "")),
    (lambda: sheets.number_of("number of strokes", 0), ("0", "50"), ("-1", "")),
    (lambda: sheets.word_of("state", ("before", "after")), ("before", "AFTER"), ("", "then")),
    (lambda: sheets.word_of("way", ("a b", "c"), "a b"), ("", "c"), ("d", "x")),
]


@pytest.mark.parametrize(("make", "good", "bad"), READERS)
def test_both_sides_of_what_a_cell_may_hold(make, good, bad):
    for text in good:
        assert make()(text)[1] == "", text
    for text in bad:
        assert make()(text)[1], text


def test_what_cells_are_read_as():
    assert sheets.mass(1000.0, needed=True)("18,2345")[0] == pytest.approx(18234.5)
    assert math.isnan(sheets.mass(1.0, needed=False)("")[0])
    assert sheets.mass(1.0, needed=False)("")[1] == ""
    assert sheets.mass(1.0, needed=True)("")[1] == "no mass"
    said = sheets.mass(1000.0, needed=True)("18234.5")
    assert said[1] == "a mass of 1.82345e+07 mg lies outside 200 to 500000 mg"
    assert said[2] == "18234.5 mg, if this was in milligrams?"
    said = sheets.mass(1.0, needed=True)("0.2")
    assert said[2] == "200 mg, if this was in grams?"
    assert sheets.mass(1.0, needed=True)("500")[2] == ""
    assert sheets.mass(1.0, needed=True)("0.1")[2].startswith("check the decimal mark")
    assert sheets.mass(1.0, needed=True)("600000")[2].startswith("check the decimal mark")
    assert sheets.mass(1000.0, needed=True)("500000")[2] == "500000 mg, if this was in milligrams?"
    assert sheets.optional_count("") == (0, "", "")
    assert sheets.optional_count("3") == (3, "", "")
    assert sheets.number_of("bout", 1)("3")[0] == 3
    assert sheets.word_of("way", ("rolling", "local"), "rolling")("")[0] == "rolling"
    assert sheets.word_of("state", ("before", "after"))("aftr")[2] == "after?"
    assert sheets.word_of("state", ("before", "after"))("x" * 41)[1].startswith("x" * 40 + "…")
    assert sheets.amount("N", 100.0)("101")[1] == "101 N lies outside 0 to 100 N"
    assert math.isnan(sheets.amount("N", 100.0)("")[0])
    assert sheets.code("=A1")[1] == "a formula, not its result"


FORM = sheets.Form(
    what="table of x", needed=("a",), readers={"a": sheets.code, "b": sheets.optional_count}
)


def test_a_table_is_read_line_by_line(tmp_path):
    file = tmp_path / "x.csv"
    file.write_text("# remark\n\nB,a,,c,\n2,x\n\n# note\n3,y,,z,\n,v,,,,\n4,w,1,,,,9\n")
    found = sheets.read_sheet(file, FORM)
    assert found.columns == ("a", "b")
    assert found.rows == [
        {"a": "x", "b": 2, "line": 4},
        {"a": "y", "b": 3, "line": 7},
        {"a": "v", "b": 0, "line": 8},
    ]
    assert found.texts == [{"a": "x", "b": "2"}, {"a": "y", "b": "3"}, {"a": "v", "b": ""}]
    assert found.notes == [(3, "columns not known", "c")]
    (refused,) = found.refused
    assert (refused.line, refused.reason) == (9, "7 cells under a header of 4")
    file.write_text("a,b\n,x\n")
    found = sheets.read_sheet(file, FORM)
    assert [(r.line, r.column) for r in found.refused] == [(2, "a"), (2, "b")]
    for text, words in (
        ("# only\n\n", "has no header"),
        ("b,c\n", "line 1 of x.csv is not the header of a table of x; it lacks a"),
        ("a,A\n", "two columns for a in x.csv, line 1"),
    ):
        file.write_text(text)
        with pytest.raises(ek.BadFile, match=words):
            sheets.read_sheet(file, FORM)
    frame = sheets.read_sheet(pd.DataFrame({"a": ["x"], "q": [1]}), FORM)
    assert frame.rows == [{"a": "x", "b": 0, "line": 1}]
    assert frame.columns == ("a",)


# ---- weighings -----------------------------------------------------------------------------


def weights_of(bouts, *, control=None):
    """Readings from {(instrument, bout): (before, after)}."""
    rows = []
    for (name, bout), states in bouts.items():
        for state, masses in zip(("before", "after"), states, strict=True):
            for mass in masses:
                row = {"instrument": name, "bout": bout, "state": state, "mass_mg": mass}
                rows.append(row | ({} if control is None else {"control_mg": control[len(rows)]}))
    return pd.DataFrame(rows)


def strokes_of(*rows, **more):
    names = ["instrument", "bout", "strokes"]
    return pd.DataFrame([row[:3] for row in rows], columns=names).assign(**more)


MASSES = {
    ("A", 1): ([18000.03, 18000.01, 18000.05], [17999.5, 17999.6]),
    ("A", 2): ([17999.55, 17999.57], [17999.56, 17999.56]),
    ("B", 1): ([16500.0, 16500.1], [16499.2, 16499.2, 16499.3, 16499.5]),
    ("B", 2): ([16499.3, 16499.3], [16499.31, 16499.27]),
    ("C", 1): ([17100.0, 17100.02], [17099.1, 17099.15]),
}


@pytest.fixture(scope="module")
def seen():
    strokes = strokes_of(("A", 1, 50), ("A", 2, 0), ("B", 1, 80), ("B", 2, 0), ("C", 1, 70))
    return C.read_weighings(weights_of(MASSES), strokes)


def test_losses_and_the_balances_scatter_are_means_and_pooled_deviations(seen):
    groups = [np.array(masses) for states in MASSES.values() for masses in states]
    dof = sum(len(g) - 1 for g in groups)
    sd = math.sqrt(sum(((g - g.mean()) ** 2).sum() for g in groups) / dof)
    assert seen.balance_dof == dof
    assert seen.balance_sd_mg == pytest.approx(sd, rel=1e-6)
    assert seen.digit_mg == pytest.approx(0.01)
    for row, (before, after) in zip(seen.bouts.itertuples(), MASSES.values(), strict=True):
        assert row.lost_mg == pytest.approx(np.mean(before) - np.mean(after), rel=1e-9)
        u = sd * math.sqrt(1 / len(before) + 1 / len(after))
        assert row.u_mg == pytest.approx(u, rel=1e-6)
        assert (row.readings_before, row.readings_after) == (len(before), len(after))
    assert not seen.controlled
    assert repr(seen).startswith("Weighings(5 bouts of 3 instruments, 2 of them blanks; balance ±")
    assert repr(seen).endswith("0 refused, 0 flags)")


def test_steel_per_stroke_and_its_budget_written_out(seen):
    found = C.steel_per_stroke(seen)
    bouts = seen.bouts.set_index(["instrument", "bout"])
    blanks = [bouts.loc[(name, 2), "lost_mg"] for name in "AB"]
    blank, u_blank = np.mean(blanks), stats.sem(blanks)
    counts = {"A": 50, "B": 80, "C": 70}
    rates = np.array(
        [(bouts.loc[(n, 1), "lost_mg"] - blank) / (k * DENSITY) for n, k in counts.items()]
    )
    u_each = np.array([bouts.loc[(n, 1), "u_mg"] / (k * DENSITY) for n, k in counts.items()])
    mean = pooled(rates, u_each**2)
    assert found.steel_per_stroke_mm3 == pytest.approx(mean.estimate.mean, rel=1e-9)
    assert found.blade_sd_mm3 == pytest.approx(mean.between_sd, rel=1e-9)
    per_bout = sum(w / (k * DENSITY) for w, k in zip(mean.weights, counts.values(), strict=True))
    density = entry("steel_density_mg_per_mm3")
    want = {
        "blades and balance": (mean.estimate.u, 2),
        "blanks": (u_blank * per_bout, 1),
        "left on the blade": (entry("left_on_blade_mg").sd * per_bout, math.inf),
        "density": (mean.estimate.mean * density.sd / density.value, math.inf),
    }
    budget = found.budget.set_index("source")
    assert set(budget.index) == set(want)
    for source, (u, dof) in want.items():
        assert budget.loc[source, "u_mm3"] == pytest.approx(u, rel=1e-9)
        assert budget.loc[source, "dof"] == dof
    assert found.budget["u_mm3"].is_monotonic_decreasing
    total = math.sqrt(sum(u**2 for u, _ in want.values()))
    assert found.u_mm3 == pytest.approx(total, rel=1e-9)
    half = math.sqrt(sum((u * stats.t.ppf(0.95, dof)) ** 2 for u, dof in want.values()))
    for wrong in (0.0, 1.0, 1.5):
        with pytest.raises(ek.EdgekitError, match="level"):
            found.interval_mm3(wrong)
        with pytest.raises(ek.EdgekitError, match="q must"):
            found.ppf([0.5, wrong])
    assert found.steel_per_stroke_mg == pytest.approx(found.steel_per_stroke_mm3 * DENSITY)
    assert not any("bouts left out" in note for note in found.notes)
    low, high = found.interval_mm3()
    assert (high - low) / 2 == pytest.approx(half, rel=1e-7)
    assert (high + low) / 2 == pytest.approx(found.steel_per_stroke_mm3)
    assert (found.blades, found.bouts, found.blanks) == (3, 3, 2)
    assert (found.force_n, found.travel_mm) == (0.0, 0.0)
    assert found.table["strokes"].tolist() == [50, 80, 70]
    np.testing.assert_allclose(found.table["mm3_per_stroke"], rates, rtol=1e-9)
    np.testing.assert_allclose(found.table["u_balance_mm3"], u_each, rtol=1e-9)
    np.testing.assert_allclose(found.table["weight"], mean.weights, rtol=1e-9)
    assert found.evidence.value == found.steel_per_stroke_mm3
    gsd = _gsd(total / found.steel_per_stroke_mm3)
    assert found.evidence.spread.gsd == pytest.approx(gsd, rel=1e-9)
    assert found.blade_gsd == pytest.approx(_gsd(mean.between_sd / found.steel_per_stroke_mm3))
    share = np.array([0.05, 0.3, 0.5, 0.95])
    tail = [
        math.copysign(
            math.sqrt(sum((u * stats.t.ppf(s, dof)) ** 2 for u, dof in want.values())), s - 0.5
        )
        if s != 0.5
        else 0
        for s in share
    ]
    want_ppf = found.steel_per_stroke_mm3 * np.exp(np.array(tail) / found.steel_per_stroke_mm3)
    np.testing.assert_allclose(found.ppf(share), want_ppf, rtol=1e-7)
    assert any("few blades" in note for note in found.notes)
    assert any("no control blade" in note for note in found.notes)
    assert not any("no blanks" in note for note in found.notes)


def test_without_two_blanks_cleaning_is_assumed(seen):
    kept = seen.bouts[~((seen.bouts["instrument"] == "B") & (seen.bouts["bout"] == 2))]
    found = C.steel_per_stroke(dataclasses.replace(seen, bouts=kept))
    budget = found.budget.set_index("source")
    per_bout = budget.loc["left on the blade", "u_mm3"] / entry("left_on_blade_mg").sd
    want = entry("cleaning_bias_mg").sd * per_bout
    assert budget.loc["cleaning", "u_mm3"] == pytest.approx(want, rel=1e-9)
    assert budget.loc["cleaning", "dof"] == math.inf
    assert found.blanks == 1
    assert any("no blanks on two blades" in note for note in found.notes)
    lost = kept.set_index(["instrument", "bout"])["lost_mg"]
    assert found.table["mm3_per_stroke"].tolist() == pytest.approx(
        [lost[n, 1] / (k * DENSITY) for n, k in (("A", 50), ("B", 80), ("C", 70))], rel=1e-9
    )


def test_several_bouts_of_a_blade_are_one_number(seen):
    twice = pd.concat([seen.bouts, seen.bouts.iloc[:1].assign(bout=3, strokes=30, lost_mg=0.33)])
    found = C.steel_per_stroke(dataclasses.replace(seen, bouts=twice))
    first = found.table.iloc[0]
    blank = twice.loc[twice["strokes"] == 0, "lost_mg"].mean()
    lost = twice["lost_mg"].iloc[0] + 0.33
    assert (first["bouts"], first["strokes"]) == (2, 80)
    assert first["lost_mg"] == pytest.approx(lost)
    assert first["mm3_per_stroke"] == pytest.approx((lost - 2 * blank) / (80 * DENSITY), rel=1e-9)
    u = twice["u_mg"].iloc[0]
    assert first["u_balance_mm3"] == pytest.approx(math.sqrt(2) * u / (80 * DENSITY), rel=1e-9)
    assert found.bouts == 4


def test_a_last_digit_coarser_than_twice_the_noise_is_a_part_of_the_budget(seen):
    for digit, coarse in ((2.0, False), (2.0001, True)):
        given = dataclasses.replace(seen, balance_sd_mg=1.0, digit_mg=digit)
        found = C.steel_per_stroke(given)
        budget = found.budget.set_index("source")
        assert ("last digit" in budget.index) is coarse
        assert any("coarser than its noise" in note for note in found.notes) is coarse
        if coarse:
            per_bout = budget.loc["left on the blade", "u_mm3"] / entry("left_on_blade_mg").sd
            # rounding before and after, each even over a digit: its variance is a twelfth
            want = digit * math.sqrt(2 / 12) * per_bout
            assert budget.loc["last digit", "u_mm3"] == pytest.approx(want, rel=1e-9)
            assert budget.loc["last digit", "dof"] == math.inf


def test_what_two_stones_took_elsewhere_bounds_a_plausible_steel(seen):
    low, high = entry("removal_ceramic_mm3_per_stroke"), entry("removal_diamond_mm3_per_stroke")
    ends = low.value / low.gsd, high.value * high.gsd
    from edgekit.clinic.weighing.steel import _beside_published

    for steel, inside in (
        (ends[0], True),
        (ends[0] * 0.999, False),
        (ends[1], True),
        (ends[1] * 1.001, False),
    ):
        assert (_beside_published(steel) == ()) is inside


def test_notes_name_few_blades_one_operator_and_what_was_left_out(seen):
    rows = pd.concat(
        [seen.bouts.iloc[[0]].assign(instrument=f"I{k}", lost_mg=0.5 + k / 100) for k in range(5)]
    )
    for count, few in ((4, True), (5, False)):
        given = dataclasses.replace(seen, bouts=rows.iloc[:count])
        notes = C.steel_per_stroke(given).notes
        assert any("few blades" in note for note in notes) is few
        assert any("one operator" in note for note in notes)
    two = rows.assign(operator=["a", "b", "a", "a", "a"], stone=["x"] * 5)
    other = pd.concat([two, two.iloc[:2].assign(stone="y", instrument="J")])
    given = dataclasses.replace(seen, bouts=other, rejected=seen.rejected)
    found = C.steel_per_stroke(given, stone="x")
    assert not any("one operator" in note for note in found.notes)
    assert any("bouts left out: 2 on other stones" in note for note in found.notes)
    assert found.stone == "x"
    sharp = other.assign(ended=["counted"] * 4 + ["sharp"] * 3)
    found = C.steel_per_stroke(dataclasses.replace(seen, bouts=sharp), stone="x")
    assert any("2 on other stones, 1 that ended sharp" in note for note in found.notes)
    assert found.bouts == 4
    one = two.assign(stone=["x"] * 4 + ["y"])
    found = C.steel_per_stroke(dataclasses.replace(seen, bouts=one), stone="x")
    assert "bouts left out: 1 on other stones" in found.notes
    single = two.assign(strokes=[1, 40, 50, 60, 70])
    assert C.steel_per_stroke(dataclasses.replace(seen, bouts=single)).blades == 5
    local = two.assign(way=["rolling", "local", "local", "rolling", "rolling"])
    found = C.steel_per_stroke(dataclasses.replace(seen, bouts=local), way=C.Way.LOCAL)
    assert (found.blades, found.way) == (2, C.Way.LOCAL)


def test_steel_in_proportion_to_force_alone(seen):
    bouts = seen.bouts[seen.bouts["strokes"] > 0].assign(
        force_n=[3.0, 5.0, 4.0], travel_mm=[9.0, 12.0, 10.0]
    )
    given = dataclasses.replace(seen, bouts=bouts)
    found = C.steel_per_stroke(given, proportion=C.Proportion.FORCE)
    mean = (50 * 3 + 80 * 5 + 70 * 4) / 200
    assert (found.force_n, found.travel_mm) == (pytest.approx(mean), 0.0)
    want = [
        lost / (k * f / mean * DENSITY)
        for lost, k, f in zip(bouts["lost_mg"], (50, 80, 70), (3, 5, 4), strict=True)
    ]
    np.testing.assert_allclose(found.table["mm3_per_stroke"], want, rtol=1e-9)
    torn = dataclasses.replace(seen, bouts=bouts.assign(force_n=[3.0, np.nan, 4.0]))
    with pytest.raises(ek.Cannot, match="1 bouts have no force_n"):
        C.steel_per_stroke(torn, proportion=C.Proportion.FORCE)
    both = C.steel_per_stroke(given, proportion=C.Proportion.FORCE_AND_TRAVEL)
    travel = (50 * 9 + 80 * 12 + 70 * 10) / 200
    assert both.travel_mm == pytest.approx(travel)
    want = [one * travel / s for one, s in zip(want, (9, 12, 10), strict=True)]
    np.testing.assert_allclose(both.table["mm3_per_stroke"], want, rtol=1e-9)


def test_bouts_are_numbered_from_one_and_named_once():
    strokes = strokes_of(("A", 1, 50), ("B", 1, 80), ("C", 0, 70), ("A", 1, 20))
    masses = {key: MASSES[key] for key in (("A", 1), ("B", 1))}
    read = C.read_weighings(weights_of(masses), strokes)
    assert read.bouts["strokes"].tolist() == [50, 80]
    assert read.rejected[["line", "column", "reason"]].to_numpy().tolist() == [
        [3, "bout", "a bout of 0"],
        [4, "(bout)", "A, bout 1 stands there twice"],
    ]


def test_repeats_may_differ_by_two_milligrams_and_no_more():
    for apart, kept in ((2.0, 3), (2.1, 2)):
        masses = {
            ("A", 1): ([18000.0, 18000.0 + apart], [17999.0, 17999.1]),
            ("B", 1): MASSES["B", 1],
            ("C", 1): MASSES["C", 1],
        }
        read = C.read_weighings(
            weights_of(masses), strokes_of(("A", 1, 50), ("B", 1, 80), ("C", 1, 70))
        )
        assert len(read.bouts) == kept
    assert read.rejected["line"].tolist() == [1, 1]
    assert read.rejected["reason"].tolist()[0] == "repeats of A, bout 1, before differ by 2.1 mg"


def test_numbered_repeats_may_not_stand_twice():
    weights = weights_of({("A", 1): MASSES["A", 1], ("B", 1): MASSES["B", 1]})
    numbers = [1, 2, 2, 1, 2, 0, 0, 1, 2, 3, 4]
    read = C.read_weighings(weights.assign(repeat=numbers), strokes_of(("A", 1, 50), ("B", 1, 80)))
    assert read.bouts["readings_before"].tolist() == [2, 2]
    assert read.rejected[["line", "value"]].to_numpy().tolist() == [[3, "2"]]


def test_readings_without_a_control_are_refused_where_others_have_one():
    control = [9000.0, 9000.1, 9000.2, 9000.0, 9000.3, 9001.0, 9001.0, 9001.1, 9001.2, 9001.0, 9001]
    masses = {("A", 1): MASSES["A", 1], ("B", 1): MASSES["B", 1]}
    weights = weights_of(masses, control=control)
    strokes = strokes_of(("A", 1, 50), ("B", 1, 80))
    read = C.read_weighings(weights, strokes)
    assert read.controlled
    net = weights["mass_mg"] - weights["control_mg"]
    assert read.bouts["lost_mg"][0] == pytest.approx(net[:3].mean() - net[3:5].mean())
    weights.loc[1, "control_mg"] = np.nan
    again = C.read_weighings(weights, strokes)
    assert again.bouts["readings_before"].tolist() == [2, 2]
    assert again.rejected[["line", "column"]].to_numpy().tolist() == [[2, "control_mg"]]


def test_one_repeat_is_enough_and_none_too_few():
    single = {("A", 1): ([18000.0, 18000.1], [17999.5]), ("B", 1): ([16500.0], [16499.2])}
    strokes = strokes_of(("A", 1, 50), ("B", 1, 80))
    assert C.read_weighings(weights_of(single), strokes).balance_dof == 1
    single["A", 1] = ([18000.0], [17999.5])
    with pytest.raises(ek.EdgekitError, match="no weighing was repeated"):
        C.read_weighings(weights_of(single), strokes)


def test_a_scatter_below_the_last_digits_rounding_is_that_of_rounding():
    same = {("A", 1): ([18000.0] * 3, [17999.5] * 3), ("B", 1): ([16500.0] * 3, [16499.3] * 3)}
    read = C.read_weighings(weights_of(same), strokes_of(("A", 1, 50), ("B", 1, 80)))
    assert read.digit_mg == pytest.approx(0.1)
    assert read.balance_sd_mg == pytest.approx(0.1 / math.sqrt(12))


def test_the_last_digit_of_few_and_of_many_readings():
    twos = 18000 + 0.02 * np.arange(12)
    assert _digit(twos) == pytest.approx(0.02)
    assert _digit(twos[:11]) == pytest.approx(0.01)  # too few to tell a step from chance
    assert _digit(18000 + 0.05 * np.arange(12)) == pytest.approx(0.05)
    assert _digit(18000.01 + 0.05 * np.arange(12)) == pytest.approx(0.05)
    assert _digit(18000 + 0.03 * np.arange(12)) == pytest.approx(0.01)  # no balance steps by three
    assert _digit(18000 + 10.0 * np.arange(12)) == pytest.approx(10.0)
    assert _digit(18000 + 100.0 * np.arange(12)) == pytest.approx(10.0)
    assert _digit(np.array([18000.0, 18001.0])) == pytest.approx(1.0)
    assert _digit(np.array([1.00009, 1.3])) == pytest.approx(1e-5)
    assert _digit(np.array([1.000001, 1.3])) == pytest.approx(0.1)  # what binary numbers leave
    assert _digit(np.array([math.pi, math.e])) == pytest.approx(1e-8)  # the last that is looked at


def test_a_gain_beyond_three_deviations_is_flagged_and_a_smaller_one_not():
    base = [18000.0, 18000.1]
    for gained, flagged in ((0.2, False), (0.9, True)):
        masses = {("A", 1): (base, [m + gained for m in base]), ("B", 1): MASSES["B", 1]}
        read = C.read_weighings(weights_of(masses), strokes_of(("A", 1, 50), ("B", 1, 80)))
        u = read.bouts["u_mg"][0]
        assert bool(gained > 3 * u) is flagged
        assert (len(read.flags) == 1) is flagged
        none = C.read_weighings(weights_of(masses), strokes_of(("A", 1, 0), ("B", 1, 80)))
        assert len(none.flags) == 0  # a blank may gain what cleaning leaves
    assert read.flags["detail"].tolist() == ["A, bout 1 gained 0.9 mg"]
    assert read.flags["line"].tolist() == [0]


def test_a_gain_is_flagged_from_beyond_three_deviations_of_a_bout_of_any_strokes():
    table = pd.DataFrame(
        {
            "instrument": list("ABCD"),
            "bout": 1,
            "strokes": [9, 9, 1, 0],
            "u_mg": 0.125,
            "lost_mg": [-0.375, -0.376, -0.45, -0.9],
        }
    )
    file = SimpleNamespace(file="f", notes=[])
    assert _flags(file, file, table)["detail"].tolist() == [
        "B, bout 1 gained 0.376 mg",
        "C, bout 1 gained 0.45 mg",
    ]


def test_a_weighing_without_its_bout_is_refused_at_its_first_line():
    masses = {key: MASSES[key] for key in (("A", 1), ("B", 1), ("C", 1))}
    read = C.read_weighings(weights_of(masses), strokes_of(("A", 1, 50), ("B", 1, 80)))
    assert read.rejected[["line", "value"]].to_numpy().tolist() == [
        [12, "C, bout 1"],
        [14, "C, bout 1"],
    ]


def test_force_and_travel_have_bounds_and_stones_are_asked_for():
    masses = {("A", 1): MASSES["A", 1], ("B", 1): MASSES["B", 1], ("C", 1): MASSES["C", 1]}
    strokes = strokes_of(
        ("A", 1, 50),
        ("B", 1, 80),
        ("C", 1, 70),
        force_n=[100.0, 100.1, 3.0],
        travel_mm=[200.0, 9.0, 200.1],
    )
    read = C.read_weighings(weights_of(masses), strokes)
    wrong = read.rejected[["line", "column"]].to_numpy().tolist()
    assert [2, "force_n"] in wrong
    assert [3, "travel_mm"] in wrong
    assert read.bouts["instrument"].tolist() == ["A"]
    named = strokes_of(("A", 1, 50), ("B", 1, 0), ("C", 1, 70), stone=["x", "", ""])
    read = C.read_weighings(weights_of(masses), named)
    assert read.bouts["instrument"].tolist() == ["A", "B"]  # a blank touches no stone
    assert read.bouts["stone"].tolist() == ["x", ""]
    assert "no stone for C, bout 1" in read.rejected["reason"].tolist()


# ---- ways ----------------------------------------------------------------------------------


def sharp(rows, seen):
    table = pd.concat(
        [
            seen.bouts.iloc[[0]].assign(
                instrument=name, way=way, lost_mg=lost, ended="sharp", bout=k, strokes=20 + k
            )
            for k, (name, way, lost) in enumerate(rows)
        ],
        ignore_index=True,
    )
    return dataclasses.replace(seen, bouts=table)


def test_two_pairs_are_compared_in_pairs_and_one_pair_in_groups(seen):
    rows = [
        ("A", "rolling", 0.12),
        ("A", "rolling", 0.14),
        ("A", "local", 0.5),
        ("B", "rolling", 0.2),
        ("B", "local", 0.66),
        ("C", "local", 0.4),
    ]
    found = C.compare_ways(sharp(rows, seen))
    assert found.paired
    difference = np.array([0.5 - 0.13, 0.66 - 0.2])
    assert found.difference_mg == pytest.approx(difference.mean())
    assert found.u_mg == pytest.approx(stats.sem(difference))
    assert (found.dof, found.rolling_mg, found.local_mg) == (
        1,
        pytest.approx(0.165),
        pytest.approx(0.58),
    )
    assert any("1 blades sharpened one way only" in note for note in found.notes)
    one = found.table.set_index(["instrument", "way"]).loc[("A", "rolling")]
    assert (one["bouts"], one["strokes"], one["lost_mg"]) == (2, 20.5, pytest.approx(0.13))
    rows = [("A", "rolling", 0.12), ("A", "local", 0.5), ("B", "rolling", 0.2), ("D", "local", 0.6)]
    groups = C.compare_ways(sharp(rows, seen))
    wanted = stats.ttest_ind([0.5, 0.6], [0.12, 0.2], equal_var=False)
    assert not groups.paired
    assert groups.dof == pytest.approx(wanted.df)
    assert groups.interval_mg() == pytest.approx(tuple(wanted.confidence_interval(0.9)), rel=1e-9)
    assert len(groups.notes) == 1
    with pytest.raises(ek.Cannot, match="each way needs two blades"):
        C.compare_ways(sharp(rows[:3], seen))
    pairs = [
        ("A", "rolling", 0.12),
        ("A", "local", 0.5),
        ("B", "rolling", 0.2),
        ("B", "local", 0.6),
    ]
    given = sharp(pairs, seen)
    assert len(C.compare_ways(given).notes) == 1
    blank = pd.concat([given.bouts, given.bouts.iloc[[0]].assign(strokes=0, lost_mg=9.0)])
    one = given.bouts.assign(strokes=[1, 20, 20, 20])
    for bouts in (blank, one):  # a blank is no session, and one stroke may be
        same = C.compare_ways(dataclasses.replace(given, bouts=bouts))
        assert same.rolling_mg == pytest.approx(0.16)
    alike = [("A", "rolling", 0.1), ("B", "rolling", 0.1), ("C", "local", 0.5), ("D", "local", 0.5)]
    sure = C.compare_ways(sharp(alike, seen))
    assert (sure.u_mg, sure.dof) == (0.0, 1e9)


def test_ways_are_told_apart_where_the_interval_leaves_out_nothing(seen):
    for rows, told in (
        (
            [
                ("A", "rolling", 0.1),
                ("B", "rolling", 0.12),
                ("C", "local", 0.5),
                ("D", "local", 0.52),
            ],
            "told apart",
        ),
        (
            [
                ("A", "rolling", 0.5),
                ("B", "rolling", 0.52),
                ("C", "local", 0.1),
                ("D", "local", 0.12),
            ],
            "told apart",
        ),
        (
            [
                ("A", "rolling", 0.1),
                ("B", "rolling", 0.6),
                ("C", "local", 0.3),
                ("D", "local", 0.5),
            ],
            "not told apart",
        ),
        (
            [
                ("A", "rolling", 0.1),
                ("B", "rolling", 0.3),
                ("C", "local", 0.22),
                ("D", "local", 0.26),
            ],
            "not told apart",
        ),
    ):
        assert repr(C.compare_ways(sharp(rows, seen))).split("\n")[0].endswith(f", {told}")


def by_noncentral_t(difference, sd, size, level):
    """Power of the two-sided t test of two groups alike (Cohen 1988, from the definition)."""
    dof, off = 2 * size - 2, difference / (sd * math.sqrt(2 / size))
    limit = stats.t.ppf((1 + level) / 2, dof)
    below = stats.nct.cdf(-limit, dof, off) if off < 5 else 0.0  # where the library has none
    return stats.nct.sf(limit, dof, off) + below


@pytest.mark.parametrize("size", [2, 3, 7, 30])
def test_power_is_that_of_the_noncentral_t(size):
    for difference in (0.3, -1.0, 2.5):
        found = _power(difference, np.array([1.0, 1.0]), size, 0.95)
        want = by_noncentral_t(abs(difference), 1.0, size, 0.95)
        assert found == pytest.approx(want, abs=2e-3)
    assert _power(1.0, np.zeros(2), size, 0.95) == 1.0
    u, dof = _welch(np.array([3.0, 4.0]), size)
    assert u == pytest.approx(5 / math.sqrt(size))
    assert dof == pytest.approx((size - 1) * 625 / (81 + 256))


def test_the_fewest_blades_just_reach_the_power():
    for difference in (0.4, 1.0, 6.0):
        count = _fewest(difference, np.ones(2), 0.9, 0.95)
        assert by_noncentral_t(difference, 1.0, count, 0.95) > 0.9 - 2e-3
        if count > 2:
            assert by_noncentral_t(difference, 1.0, count - 1, 0.95) < 0.9 + 2e-3
    assert _fewest(100.0, np.ones(2), 0.9, 0.95) == 2
    just = _power(0.05, np.ones(2), 10_000, 0.95)  # with the most blades that are looked at
    assert _fewest(0.05, np.ones(2), just, 0.95) == 10_000
    assert _fewest(0.05, np.ones(2), just + 1e-6, 0.95) == 0


def test_a_plan_of_weighing_is_what_it_is_made_of():
    table = C.blades_to_weigh()
    assert table["digit_mg"].tolist() == [0.001, 0.01, 0.1, 1.0]
    for row in table.itertuples():
        # three readings before and after; rounding is even over a digit
        reading = row.digit_mg * math.hypot(value("balance_sd_per_digit"), 12**-0.5)
        assert row.balance_sd_mg == pytest.approx(reading * math.sqrt(2 / 3), rel=1e-12)
        sds = np.hypot(value("session_steel_cv") * np.array([0.15, 0.5]), row.balance_sd_mg)
        size = row.blades_per_way or 10_000
        assert row.power == _power(0.35, sds, size, 0.95)
        assert (row.power >= 0.9) is (row.blades_per_way > 0)
        u, dof = _welch(sds, size)
        assert row.half_width_mg == pytest.approx(stats.t.ppf(0.975, dof) * u, rel=1e-9)
        if row.blades_per_way > 2:
            assert _power(0.35, sds, size - 1, 0.95) < 0.9
    given = C.blades_to_weigh(
        (0.15, 0.5),
        cv=value("session_steel_cv"),
        digits_mg=(0.001, 0.01, 0.1, 1.0),
        repeats=3,
        power=0.9,
        level=0.95,
    )
    pd.testing.assert_frame_equal(table, given)
    none = C.blades_to_weigh((0.1, 0.10001), digits_mg=1.0).iloc[0]
    assert none["blades_per_way"] == 0
    assert none["power"] < 0.1
    sure = C.blades_to_weigh(cv=0.0, digits_mg=[1e-9]).iloc[0]
    assert (sure["blades_per_way"], sure["power"]) == (2, 1.0)


@pytest.mark.parametrize(
    "bad",
    [
        {"steel_mg": (0.1, 0.1)},
        {"steel_mg": (0.1, 0.0)},
        {"steel_mg": (0.1, 0.2, 0.3)},
        {"cv": -1e-9},
        {"digits_mg": (0.0,)},
        {"digits_mg": np.full(1001, 0.1)},
        {"digits_mg": ()},
        {"repeats": 0},
        {"power": 1.0},
        {"power": 0.0},
        {"level": 0.0},
        {"level": 1.0},
    ],
)
def test_plans_of_weighing_that_make_no_sense_are_refused(bad):
    with pytest.raises(ek.EdgekitError):
        C.blades_to_weigh(**bad)


def test_limits_of_a_plan_of_weighing_that_are_taken():
    assert len(C.blades_to_weigh(digits_mg=np.full(2, 1e-4), cv=0.0, repeats=1)) == 2
    assert len(C.blades_to_weigh((0.5, 0.1), digits_mg=0.1)) == 1


# ---- traces --------------------------------------------------------------------------------


def worn(width, noise=2.0, points=100):
    """A blade of one width, with a trace whose points scatter."""
    trace = SimpleNamespace(
        points_mm={"left": np.zeros((points, 3)), "right": np.zeros((4 * points, 3))},
        edges={
            "left": SimpleNamespace(noise_um=noise),
            "right": SimpleNamespace(noise_um=2 * noise),
        },
    )
    return SimpleNamespace(
        width=width,
        trace=trace,
        kind=SimpleNamespace(value="x"),
        edges={"left": None, "right": None},
        name="W",
    )


def test_a_width_lost_between_traces_is_set_beside_its_weight(seen, monkeypatch):
    kind = SimpleNamespace(value="x")
    blades = {"a": worn(0.9), "b": worn(0.88, noise=3.0), "c": worn(0.91)}
    for blade in blades.values():
        blade.kind = kind
    monkeypatch.setattr(trace_check, "_width_mm", lambda blade: blade.width)
    monkeypatch.setattr(
        trace_check.WornBlade,
        "from_recession",
        lambda _, each, depths: SimpleNamespace(steel_lost_mg=0.04 * each, depths=depths),
    )
    bouts = seen.bouts.iloc[[0, 2, 4]].assign(
        trace_before=["a", "a", ""], trace_after=["b", "c", "b"]
    )
    table = C.steel_by_traces(dataclasses.replace(seen, bouts=bouts, traces=blades))
    assert table["bout"].tolist() == [1, 1]
    lost, grown = table.to_dict("records")
    # of six tenths of the points of each edge, as its stretch has
    noise = [math.sqrt(n**2 / 60 + (2 * n) ** 2 / 240) for n in (2.0, 3.0)]
    assert lost["width_lost_um"] == pytest.approx(20.0)
    assert lost["u_width_um"] == pytest.approx(math.hypot(*noise), rel=1e-9)
    assert lost["traced_mg"] == pytest.approx(0.04 * 10)  # two edges share it
    assert lost["u_traced_mg"] == pytest.approx(0.02 * lost["u_width_um"], rel=1e-9)
    apart = (lost["lost_mg"] - 0.4) / math.hypot(lost["u_mg"], lost["u_traced_mg"])
    assert lost["apart"] == pytest.approx(apart, rel=1e-9)
    assert grown["width_lost_um"] == pytest.approx(-10.0)
    assert grown["traced_mg"] == 0.0
    assert grown["u_traced_mg"] == pytest.approx(0.02 * grown["u_width_um"], rel=1e-9)
    blades["b"].kind = SimpleNamespace(value="y")
    with pytest.raises(ek.Cannot, match="of different blades"):
        C.steel_by_traces(dataclasses.replace(seen, bouts=bouts, traces=blades))


def test_widths_are_means_over_the_middle_of_an_edge():
    assert trace_check.STRETCH[0] == 0.15
    assert trace_check.STRETCH[-1] == 0.75
    assert len(trace_check.STRETCH) == 61
    blade = ek.patterns.universal_curette()
    edge = next(iter(blade.edges.values()))
    arc = edge.length_mm * np.linspace(0.15, 0.75, 601)
    fine = blade.width_at("left", arc).mean()
    assert trace_check._width_mm(blade) == pytest.approx(fine, rel=1e-3)
    assert trace_check._noise_um(blade) == 0.0
    with pytest.raises(ek.Cannot, match="no edge across the face"):
        trace_check._width_mm(ek.patterns.hoe())
