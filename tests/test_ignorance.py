"""Ignorance of constants apart from variation between lives."""

from dataclasses import replace
from functools import partial
from operator import attrgetter

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import edgekit as ek
from edgekit.evidence_table import Evidence, Gsd, Sd, Status, entry
from edgekit.grinding.random_streams import SeededKeys
from edgekit.study import case, ignorance
from edgekit.study.outcomes import sample_columns
from edgekit.study.sweep import FailedRows

FEW = {"stations": 16, "depths": 4}
LOCAL = ek.methods.freehand(stroke=ek.strokes.local(placements=6))
CASE = ek.LifeCase(blade=ek.patterns.hoe, method=LOCAL, **FEW)({})
MIDDLE = dict.fromkeys(ignorance.CONSTANTS, 0.5)
AT = np.array([0.05, 0.25, 0.5, 0.9])


@pytest.mark.parametrize("name", [n for n in ignorance.CONSTANTS if n != ignorance.REMOVAL])
def test_a_constant_is_spread_as_the_evidence_table_has_it(name):
    """Source: scipy's lognormal law; for a range, its ends and the value as median."""
    item = entry(name)
    got = ignorance.quantile(item, AT)
    assert got[2] == pytest.approx(item.value)
    if isinstance(item.spread, Gsd):
        law = stats.lognorm(np.log(item.spread.gsd), scale=item.value)
        assert got == pytest.approx(law.ppf(AT), rel=1e-9)
    else:
        low, high = item.spread.low, item.spread.high
        ends = ignorance.quantile(item, np.array([0.0, 1.0]))
        assert ends.tolist() == [low, high]
        assert got[0] - low == pytest.approx(0.1 * (item.value - low))
        assert high - got[3] == pytest.approx(0.2 * (high - item.value))


def test_a_normal_spread_and_none():
    sure = Evidence("x", 2.0, Sd(0.5), "1", Status.ASSUMED, "here")
    assert ignorance.quantile(sure, AT) == pytest.approx(stats.norm(2.0, 0.5).ppf(AT))
    with pytest.raises(ek.Cannot, match="no stated spread"):
        ignorance.quantile(replace(sure, spread=None), AT)


def test_a_seed_is_any_whole_number():
    wanted = ek.compare(ek.patterns.hoe(), [LOCAL], runs=2, seed=7, grid_runs=0, **FEW)
    found = ek.compare(ek.patterns.hoe(), [LOCAL], runs=2, seed=np.float32(7), grid_runs=0, **FEW)
    assert found.runs.equals(wanted.runs)
    assert ignorance.drawn(4, np.float32(7)) == ignorance.drawn(4, 7)


def test_draws_are_one_in_each_stratum_and_depend_on_the_seed():
    table = np.array([[*row.values()] for row in ignorance.drawn(24, 7)])
    assert (np.sort(np.floor(table * 24), axis=0) == np.arange(24)[:, None]).all()
    assert np.abs(np.corrcoef(table.T) - np.eye(table.shape[1])).max() < 0.75
    assert (table == np.array([[*row.values()] for row in ignorance.drawn(24, 7)])).all()
    assert (table != np.array([[*row.values()] for row in ignorance.drawn(24, 8)])).any()


def test_at_their_medians_constants_are_the_cases_own():
    for method in (LOCAL, ek.methods.freehand(), ek.methods.held(15.0), ek.methods.powered()):
        assert ignorance.method_with(method, MIDDLE) == method
        assert method.abrasive.removal.value == pytest.approx(method.removal_mm3_per_stroke)
    assert ignorance.use_with(ek.Use(), MIDDLE) == ek.Use()


PATHS = {
    "freehand_tilt_sd_deg": "hand.tilt_deg.sd",
    "look_resolution_um": "stop.resolution_um",
    "removal": "removal_mm3_per_stroke",
}


@pytest.mark.parametrize("name", PATHS)
def test_a_constant_moves_by_its_own_factor(name):
    """Whatever value the method has: a spread of 1.5 about 2.5° is one of 1.5 about 0.6° too."""
    method = ek.methods.freehand()
    item = method.abrasive.removal if name == "removal" else entry(name)
    for factor in (1.0, 0.25):
        own = attrgetter(PATHS[name])(method) * factor
        mine = ignorance.set_fields(method, {PATHS[name]: own})
        got = ignorance.method_with(mine, MIDDLE | {name: 0.9})
        want = own * float(ignorance.quantile(item, np.array(0.9))) / item.value
        assert attrgetter(PATHS[name])(got) == pytest.approx(want, rel=1e-12)
        back = ignorance.set_fields(got, {PATHS[name]: own})
        assert back == mine


def test_what_a_case_does_not_have_is_left_alone():
    steady = ek.methods.freehand(hand=ek.Hand())
    assert ignorance.method_with(steady, MIDDLE | {"freehand_tilt_sd_deg": 0.9}) == steady
    law = ek.SaturatingDulling(limit_um=4.0, strokes=20.0)
    even = ek.Use(law=law, density=ek.laws.EvenUse())
    moved = {"dull_rate_um2_per_stroke": 0.9, "toe_third_share": 0.9}
    assert ignorance.use_with(even, MIDDLE | moved) == even
    assert ignorance.use_with(ek.Use(), MIDDLE | {"attrition_um_per_use": 0.75}).attrition_um == 3.0
    most = ignorance.use_with(
        ek.Use(density=ek.laws.ToeThird(share=0.9)), MIDDLE | {"toe_third_share": 1.0}
    )
    assert most.density.share == 1.0


def test_methods_by_turns_are_unknown_alike():
    turns = ek.mixture(ek.methods.held(15.0), ek.methods.face_honing(), sides=1, faces=1)
    got = ignorance.method_with(turns, MIDDLE | {"removal": 0.9})
    ratio = [
        new.removal_mm3_per_stroke / old.removal_mm3_per_stroke
        for new, old in zip(got.methods, turns.methods, strict=True)
    ]
    assert ratio == pytest.approx([2 ** stats.norm.ppf(0.9)] * 2)


def test_the_same_lives_are_lived_again(monkeypatch):
    """At the medians they are those of the study, to the last bit."""
    monkeypatch.setattr(case, "drawn", lambda draws, _seed: [MIDDLE] * draws)
    result = ek.compare(
        ek.patterns.hoe(), [LOCAL], runs=12, seed=3, grid_runs=0, ignorance_draws=2, **FEW
    )
    first = result.runs.query("run < 8")
    for _, again in result.draws.groupby("draw"):
        for column in ("sessions", "loss_um_per_session", "minutes_per_session"):
            assert again[column].tolist() == first[column].tolist()


def test_intervals_are_quantiles_of_lives_and_of_draws():
    """Source: of n values the k-th lies above k / (n + 1) of what may come next."""
    result = ek.compare(
        ek.patterns.hoe(), [LOCAL], runs=19, seed=3, grid_runs=0, ignorance_draws=19, **FEW
    )
    row = result.intervals().set_index("outcome").loc["loss_um_per_session"]
    lives = np.sort(result.runs["loss_um_per_session"])
    means = np.sort(result.draws.groupby("draw")["loss_um_per_session"].mean())
    assert [row["variation_low"], row["variation_high"]] == pytest.approx([lives[0], lives[-1]])
    assert [row["ignorance_low"], row["ignorance_high"]] == pytest.approx([means[0], means[-1]])
    assert row["value"] == pytest.approx(lives.mean())
    assert row["level"] == 0.9
    table = result.table.iloc[0]
    for end in ("variation_low", "variation_high", "ignorance_low", "ignorance_high", "both_low"):
        assert table[f"loss_um_per_session_{end}"] == row[end]
    half = result.intervals(level=0.5).set_index("outcome").loc["loss_um_per_session"]
    assert row["ignorance_low"] < half["ignorance_low"] < half["ignorance_high"]


def test_without_draws_ignorance_is_missing_by_name():
    result = ek.compare(ek.patterns.hoe(), [LOCAL], runs=4, seed=3, grid_runs=0, **FEW)
    table = result.table.iloc[0]
    assert np.isnan([table["sessions_ignorance_low"], table["sessions_both_high"]]).all()
    assert table["sessions_variation_low"] <= table["sessions_variation_high"]
    assert result.differences()["ignorance_low"].isna().all()


def test_draws_are_shared_by_methods():
    result = ek.compare(
        ek.patterns.hoe(), [LOCAL, LOCAL], runs=8, seed=3, grid_runs=0, ignorance_draws=5, **FEW
    )
    assert (result.differences()[["ignorance_low", "ignorance_high"]] == 0).all(axis=None)


def test_a_sweep_has_the_intervals_of_a_comparison(tmp_path):
    """Row by row; sessions alike to the last bit, losses between lives by the normal law there."""
    grid = ek.full_grid({"use.strokes": [15.0, 45.0]})
    options = {"runs": 12, "seed": 3, "ignorance_draws": 5}
    task = ek.LifeCase(blade=ek.patterns.hoe, method=LOCAL, **FEW)
    swept = partial(ek.sweep, task, grid, progress=False, **options)
    table, samples = swept(summary=True, out=tmp_path), swept()
    again = swept(summary=True, out=tmp_path)
    pd.testing.assert_frame_equal(table, again)
    for row, strokes in enumerate((15.0, 45.0)):
        use = ek.Use(strokes=strokes)
        alone = ek.compare(ek.patterns.hoe(), [LOCAL], use=use, grid_runs=0, **options, **FEW)
        want, got = alone.table.iloc[0], table.iloc[row]
        for end in ("low", "high"):
            assert got[f"sessions_variation_{end}"] == want[f"sessions_variation_{end}"]
            for name in ("sessions", "loss_um_per_session"):
                column = f"{name}_ignorance_{end}"
                assert got[column] == pytest.approx(want[column], rel=1e-12)
                assert (samples.loc[samples["row"] == row, column] == got[column]).all()
        sd = alone.runs["loss_um_per_session"].std()
        high = alone.runs["loss_um_per_session"].mean() + stats.norm.ppf(0.95) * sd
        assert got["loss_um_per_session_variation_high"] == pytest.approx(high, rel=1e-9)


def test_rows_that_fail_have_no_interval():
    grid = ek.full_grid({"use.strokes": [-1.0, 45.0]})
    task = ek.LifeCase(blade=ek.patterns.hoe, method=LOCAL, **FEW)
    with pytest.warns(FailedRows):
        table = ek.sweep(
            task, grid, runs=2, seed=1, summary=True, ignorance_draws=3, progress=False
        )
    assert table["sessions_ignorance_low"].isna().tolist() == [True, False]


def test_figures_show_what_is_not_known():
    options = {"runs": 8, "seed": 3, "grid_runs": 0} | FEW
    methods = [LOCAL, ek.methods.bench_stone(stroke=ek.strokes.local(placements=6))]
    known, unknown = (
        ek.compare(ek.patterns.hoe(), methods, ignorance_draws=draws, **options)
        for draws in (0, 19)
    )
    for figure, table in (
        (ek.figures.comparison, unknown.intervals(level=0.9)),
        (ek.figures.differences, unknown.differences()),
    ):
        dashed = [line for line in figure(unknown).lines if line.get_linestyle() == "--"]
        assert "with other constants" in ek.figures.alt_text(figure(unknown)).lower()
        ends = [line.get_xdata().tolist() for line in dashed]
        names = ["ignorance_low", "ignorance_high"]
        want = table.query("outcome == 'loss_um_per_session'") if "outcome" in table else table[1:]
        np.testing.assert_allclose(sorted(ends), sorted(want[names].to_numpy().tolist()))
        assert not [line for line in figure(known).lines if line.get_linestyle() == "--"]


BAD = {
    "draws": (lambda: CASE.intervals(draws=1, seed=1), "draws"),
    "runs": (lambda: CASE.intervals(runs=1, seed=1), "runs"),
    "level": (lambda: CASE.intervals(level=1.5, runs=2, draws=2, seed=1), "level"),
    "compare": (
        lambda: ek.compare(ek.patterns.hoe(), [LOCAL], runs=2, seed=1, ignorance_draws=-1),
        "ignorance_draws",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_what_makes_no_sense_is_refused(name):
    call, words = BAD[name]
    with pytest.raises(ek.BadArgument, match=words):
        call()


@pytest.mark.slow
def test_intervals_cover_a_truth_drawn_from_both_loops():
    """Source: simulation. Constants drawn from their spreads, then lives with them: the interval of
    ignorance covers the mean, that of both one life; that of variation, a life at known constants.
    """
    studies, truths, covered = 12, 25, []
    for seed in range(studies):
        table = CASE.intervals(runs=40, draws=24, seed=seed).set_index("outcome")
        rng = np.random.default_rng([seed, 99])
        for truth in range(truths):
            at = dict(zip(ignorance.CONSTANTS, rng.random(len(ignorance.CONSTANTS)), strict=True))
            unknown = replace(
                CASE,
                use=ignorance.use_with(CASE.use, at),
                method=ignorance.method_with(CASE.method, at),
            )
            number = 1000 + truths * seed + truth
            lives = sample_columns(unknown.live(SeededKeys(number, runs=8)))
            own = sample_columns(CASE.live(SeededKeys(number, runs=1)))
            for name in ("loss_um_per_session", "sessions"):
                row = table.loc[name]
                covered.append(
                    [
                        row["ignorance_low"] <= lives[name].mean() <= row["ignorance_high"],
                        row["both_low"] <= lives[name][0] <= row["both_high"],
                        row["variation_low"] <= own[name][0] <= row["variation_high"],
                    ]
                )
    share = np.mean(covered, axis=0)
    print(share, len(covered))
    assert ((share >= 0.86) & (share <= 0.94)).all(), share
