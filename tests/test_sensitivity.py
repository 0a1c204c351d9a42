"""Shares of variance, swings and numbers of runs, against closed forms."""

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

import edgekit as ek
from edgekit.evidence_table import Gsd, Range, Sd, entry
from edgekit.study.sensitivity import variance_shares
from tests.wear_blades import in_steps

TASK = ek.LifeCase(blade=ek.patterns.hoe, method=in_steps(), stations=16, depths=4)
A, B = 7.0, 0.1
# Ishigami & Homma 1990; Saltelli et al. 2008, Global Sensitivity Analysis, section 4 (from memory):
# variances of sin x₁ + A sin² x₂ + B x₃⁴ sin x₁ on (-π, π)³, which integrate in closed form.
_V1 = (1 + B * np.pi**4 / 5) ** 2 / 2
_V2 = A**2 / 8
_V13 = B**2 * np.pi**8 * (1 / 18 - 1 / 50)
_V = _V1 + _V2 + _V13
FIRST = np.array([_V1, _V2, 0.0]) / _V
TOTAL = np.array([_V1 + _V13, _V2, _V13]) / _V
CUBE = dict.fromkeys(("x1", "x2", "x3"), (-np.pi, np.pi))


def ishigami(x):
    y = np.sin(x[:, 0]) + A * np.sin(x[:, 1]) ** 2 + B * x[:, 2] ** 4 * np.sin(x[:, 0])
    return np.stack([y, 5 - 2 * y], axis=1)


def test_shares_of_variance_of_the_ishigami_function():
    table = variance_shares(ishigami, CUBE, ["y", "line of y"], points=4096, seed=3)
    for output in ("y", "line of y"):
        shares = table[table["output"] == output]
        np.testing.assert_allclose(shares["first"], FIRST, atol=0.02)
        np.testing.assert_allclose(shares["total"], TOTAL, atol=0.02)


def test_intervals_cover_the_true_shares():
    """90 % intervals should hold about 162 of 180 shares, or more: Sobol points scatter less."""
    held = 0
    for seed in range(30):
        table = variance_shares(ishigami, CUBE, ["y", "z"], points=128, seed=seed).iloc[:3]
        for kind, truth in (("first", FIRST), ("total", TOTAL)):
            held += int(((table[f"{kind}_low"] <= truth) & (truth <= table[f"{kind}_high"])).sum())
    assert held >= 150


def test_intervals_follow_their_level():
    """Of 120 shares, 50 % intervals hold some 92: Sobol points scatter less than resampled ones."""
    held = 0
    for seed in range(20):
        table = variance_shares(ishigami, CUBE, ["y", "z"], points=128, seed=seed, level=0.5)[:3]
        for kind, truth in (("first", FIRST), ("total", TOTAL)):
            held += int(((table[f"{kind}_low"] <= truth) & (truth <= table[f"{kind}_high"])).sum())
    assert 60 <= held <= 108


def test_shares_are_those_of_the_sweeps_summary():
    inputs = {"use.strokes": (15.0, 60.0), "use.patch_cv": (0.1, 0.3)}
    found = ek.sensitivity(TASK, inputs, points=8, runs=4, seed=2, level=0.5, progress=False)
    columns = ["loss_um_per_session", "sessions_p50", "minutes_per_session"]
    again = variance_shares(
        lambda _: found.samples[columns].to_numpy(),
        inputs,
        ek.study.sensitivity.OUTPUTS,
        points=8,
        seed=2,
        level=0.5,
    )
    pd.testing.assert_frame_equal(found.table, again)


def test_an_output_that_does_not_vary_has_no_shares():
    table = variance_shares(lambda x: x[:, :1] * 0, {"a": (0.0, 1.0)}, ["y"], points=16, seed=1)
    assert (table[["first", "total"]].to_numpy() == 0).all()


def test_strokes_decide_dulling_and_an_input_without_effect_none():
    inputs = {"use.strokes": (15.0, 60.0), "rule.2.fraction": (0.1, 0.3)}  # no thickness is lost
    found = ek.sensitivity(TASK, inputs, points=16, runs=8, seed=2, progress=False)
    loss = found.table[found.table["output"] == "loss_um_per_session"].set_index("input")
    assert loss.loc["use.strokes", "total"] > 0.9
    assert abs(loss.loc["rule.2.fraction", "total"]) < 1e-9
    assert len(found.samples) == 16 * 4
    again = ek.sensitivity(TASK, inputs, points=16, runs=8, seed=2, progress=False)
    assert found.table.equals(again.table)


def test_a_tornado_shows_the_widest_first_and_equals_plain_comparisons():
    inputs = {"use.patch_cv": (0.1, 0.3), "use.strokes": (15.0, 60.0)}
    table = ek.tornado(TASK, inputs, share=0.5, runs=12, seed=3, progress=False).table
    loss = table[table["output"] == "loss_um_per_session"]
    assert loss["input"].iloc[0] == "use.strokes"
    assert (loss["swing"].abs().diff().dropna() <= 0).all()
    row = loss.iloc[0]
    assert (row["low_value"], row["high_value"]) == (26.25, 48.75)
    losses = {}
    for value, where in ((26.25, "at_low"), (37.5, "base"), (48.75, "at_high")):
        use = ek.Use(strokes=value, patch_cv=0.2)
        alone = ek.compare(
            ek.patterns.hoe(),
            [TASK.method],
            runs=12,
            seed=3,
            use=use,
            stations=16,
            depths=4,
            grid_runs=0,
        )
        assert row[where] == pytest.approx(alone.table["loss_um_per_session"][0], rel=1e-12)
        losses[where] = alone.runs["loss_um_per_session"]
    gap = losses["at_high"] - losses["at_low"]
    assert row["swing"] == pytest.approx(gap.mean(), rel=1e-12)
    assert row["swing_mc"] == pytest.approx(gap.sem(), rel=1e-9)


def with_stroke(method, **changes):
    return replace(method, stroke=replace(method.stroke, **changes))


def with_stop(method, **changes):
    return replace(method, stop=replace(method.stop, **changes))


def with_hand(method, term, **changes):
    changed = replace(getattr(method.hand, term), **changes)
    return replace(method, hand=replace(method.hand, **{term: changed}))


def law_through(use, exponent):
    """The law of another exponent with the same radius after one use."""
    return ek.PowerDulling.through(
        radius_um=float(use.law.after(np.array(use.sharp_radius_um), use.strokes)),
        strokes=use.strokes,
        sharp_radius_um=use.sharp_radius_um,
        exponent=exponent,
    )


# How each input is set by hand: the method, or the use, for a value.
OF_USE = {
    "dull_exponent": lambda u, x: replace(u, law=law_through(u, x)),
    "dull_rate_um2_per_stroke": lambda u, x: replace(u, law=replace(u.law, rate=x)),
    "strokes_per_use": lambda u, x: replace(u, strokes=x),
    "toe_third_share": lambda u, x: replace(u, density=ek.laws.ToeThird(share=x)),
    "sharp_radius_um": lambda u, x: replace(u, sharp_radius_um=x),
    "attrition_um_per_use": lambda u, x: replace(u, attrition_um=x),
}
OF_HAND = {
    "sharp_target": lambda m, x: with_stop(m, fraction=x),
    "freehand_tilt_sd_deg": lambda m, x: with_hand(m, "tilt_deg", sd=x),
    "freehand_tilt_bias_sd_deg": lambda m, x: with_hand(m, "tilt_deg", person_sd=x),
    "freehand_swing_sd_deg": lambda m, x: with_hand(m, "swing_deg", sd=x),
    "position_sd_mm": lambda m, x: with_hand(m, "position_mm", sd=x),
}
OF_PLANES = {
    "placements": lambda m, x: with_stroke(m, placements=int(x)),
    "strokes_per_placement": lambda m, x: with_stroke(m, strokes_per_placement=int(x)),
    "depth_cv": lambda m, x: with_hand(m, "depth", sd=x),
}
OF_ROLLING = {
    "removal_fine_mm3_per_stroke": lambda m, x: replace(m, removal_mm3_per_stroke=x),
    "within_stroke_tilt_sd_deg": lambda m, x: with_stroke(m, within_tilt_sd_deg=x),
    "stroke_correlation_s": lambda m, x: with_stroke(m, correlation_s=x),
    "look_resolution_um": lambda m, x: with_stop(m, resolution_um=x),
    "strokes_between_looks": lambda m, x: with_stop(m, strokes_between_looks=int(x)),
}
LOCAL = ek.methods.freehand(stroke=ek.strokes.local())
FREEHAND = ek.methods.freehand()
RULE = "retire_width_fraction"
RUNS = 2


@cache
def loss_and_life(method, use=None, fraction=0.2):
    rule = ek.MaxWidthLoss(fraction=fraction)
    options = {"runs": RUNS, "seed": 3, "use": use, "retire": rule, "grid_runs": 0}
    row = ek.compare(ek.patterns.hoe(), [method], **options).table.iloc[0]
    return row["loss_um_per_session"], row["sessions_p50"]


MODELS = {
    "stroke model": ("rolling", FREEHAND, "local", LOCAL),
    "stop rule": (
        "counted",
        replace(FREEHAND, stop=ek.strokes.counted()),
        "clear",
        replace(FREEHAND, stop=ek.strokes.until_clear()),
    ),
}


@pytest.mark.parametrize(
    ("method", "others", "models"),
    [(LOCAL, OF_PLANES, ["stroke model"]), (FREEHAND, OF_ROLLING, [*MODELS])],
    ids=["local", "rolling"],
)
def test_key_inputs_equal_plain_comparisons(method, others, models):
    """Every input at its low end set by hand; an input that cannot matter is not in the table."""
    table = ek.key_inputs(ek.patterns.hoe(), method, runs=RUNS, seed=3).set_index("input")
    assert (table["swing_um"].diff().dropna() <= 0).all()
    assert {*table.index} == {*OF_USE, *OF_HAND, *others, RULE, *models}
    for name, row in table.iterrows():
        if name in models:
            low, at_low, high, at_high = MODELS[name]
            assert (row["low"], row["high"], row["status"]) == (low, high, "assumed")
            alone = loss_and_life(at_low)
            assert row["loss_um_at_high"] == pytest.approx(loss_and_life(at_high)[0], rel=1e-12)
        elif name in OF_USE:
            alone = loss_and_life(method, use=OF_USE[name](ek.Use(), row["low"]))
        elif name == RULE:
            alone = loss_and_life(method, fraction=row["low"])
        else:
            alone = loss_and_life((OF_HAND | others)[name](method, row["low"]))
        got = row[["loss_um_at_low", "sessions_at_low"]]
        assert got.tolist() == pytest.approx(alone, rel=1e-12), name
        gap = abs(row["loss_um_at_high"] - row["loss_um_at_low"])
        assert row["swing_um"] == pytest.approx(gap, rel=1e-12)
        assert row["loss_um_default"] == pytest.approx(loss_and_life(method)[0], rel=1e-12)


def test_ends_of_key_inputs_are_those_of_the_evidence():
    """Value ± spread, value times or over a factor, or what sources give."""
    table = ek.key_inputs(ek.patterns.hoe(), LOCAL, runs=2, seed=3)
    kinds = set()
    for row in table[table["input"] != "stroke model"].itertuples():
        item = entry(row.input)
        match item.spread:
            case Sd(sd=sd):
                wanted = item.value - sd, item.value + sd
            case Gsd(gsd=gsd):
                wanted = item.value / gsd, item.value * gsd
            case Range(low=low, high=high):
                wanted = low, high
        assert (row.low, row.high) == wanted, row.input
        kinds.add(type(item.spread))
    assert kinds >= {Gsd, Range}


@pytest.mark.parametrize("pilot", [3, 5, 12])
def test_the_number_of_runs_keeps_its_promise(pilot):
    """Coverage of mean ± error, pilot included: at least 90 %, within the noise of 4000 trials."""
    rng, error, trials, inside = np.random.default_rng(pilot), 0.4, 4000, 0
    for _ in range(trials):
        first = rng.normal(3.0, 1.0, pilot)
        n = ek.runs_needed(first, error=error)
        mean = (first.sum() + rng.normal(3.0, 1.0, n - pilot).sum()) / n
        inside += abs(mean - 3.0) <= error
    assert inside / trials > 0.90 - 3 * np.sqrt(0.90 * 0.10 / trials)
    assert inside / trials < 0.945  # not wasteful either


def test_the_number_of_runs_holds_for_lives():
    """Losses are skewed; still the error of the mean is as small as asked in 90 % of studies."""
    table = ek.sweep(TASK, ek.full_grid({"use.strokes": [45]}), runs=6000, seed=9, progress=False)[
        "loss_um_per_session"
    ].to_numpy()
    truth, error, inside, studies = table.mean(), 0.15 * table.mean(), 0, 0
    rng = np.random.default_rng(1)
    for _ in range(600):
        drawn = rng.permutation(table)
        n = ek.runs_needed(drawn[:20], error=error)
        inside += abs(drawn[:n].mean() - truth) <= error
        studies += 1
    assert inside / studies > 0.88


BAD = {
    "a method of turns": (
        lambda: ek.key_inputs(
            ek.patterns.hoe(),
            ek.mixture(ek.methods.held(9.0), ek.methods.face_honing(), sides=1, faces=1),
            seed=1,
        ),
        "method must be a Method",
    ),
    "points": (lambda: variance_shares(ishigami, CUBE, ["y", "z"], points=100, seed=1), "power"),
    "shape": (
        lambda: variance_shares(ishigami, CUBE, ["y"], points=16, seed=1),
        "one row per point",
    ),
    "output": (
        lambda: ek.sensitivity(
            TASK,
            {"use.strokes": (15.0, 60.0)},
            points=8,
            runs=2,
            seed=1,
            outputs=["width"],
            progress=False,
        ),
        "no such output",
    ),
    "range that fails": (
        lambda: ek.sensitivity(
            TASK, {"use.patch_cv": (-1.0, 1.0)}, points=8, runs=2, seed=1, progress=False
        ),
        "12 of 24 rows could not be simulated",
    ),
    "tiny error": (lambda: ek.runs_needed([1.0, 2.0], error=1e-20), "too many runs"),
    "no input": (lambda: variance_shares(ishigami, {}, ["y"], points=8, seed=1), "input is needed"),
    "no output": (
        lambda: variance_shares(ishigami, CUBE, [], points=8, seed=1),
        "output is needed",
    ),
    "seed": (lambda: variance_shares(ishigami, CUBE, ["y"], points=8, seed=-1), "seed"),
    "words": (
        lambda: ek.tornado(
            TASK, {"use.strokes": (15.0, 60.0)}, runs=2, seed=1, outputs=["status"], progress=False
        ),
        "no such output",
    ),
    "share": (lambda: ek.tornado(TASK, {"use.strokes": (1.0, 2.0)}, share=0.0, seed=1), "share"),
    "pilot": (lambda: ek.runs_needed([1.0], error=1.0), "2 runs or more"),
    "pilot with a gap": (lambda: ek.runs_needed([1.0, np.nan], error=1.0), "finite"),
    "error": (lambda: ek.runs_needed([1.0, 2.0], error=0.0), "above 0"),
    "level": (lambda: ek.runs_needed([1.0, 2.0], error=1.0, level=1.0), "below 1"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_refused(case):
    call, says = BAD[case]
    with pytest.raises(ek.EdgekitError, match=says) as refused:
        call()
    assert refused.value.remedy
