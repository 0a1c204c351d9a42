"""Comparisons: common random numbers, coverage of Monte-Carlo errors, and the published bands."""

import dataclasses
import multiprocessing
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor

import numpy as np
import pandas as pd
import pytest

import edgekit as ek
from edgekit.grinding.compiled.engine import using
from edgekit.grinding.random_streams import run_rng
from edgekit.life.life import MAX_RUNS_AT_ONCE
from tests.wear_blades import ideal, steady, straight_blade, touching

CHEAP = {"stations": 24, "depths": 3, "grid_runs": 0}  # sampling, not geometry, is tested
LOCAL = ek.methods.freehand(stroke=ek.strokes.local())
BENCH = ek.methods.bench_stone(stroke=ek.strokes.local())
COLUMNS = ("loss_um_per_session", "deepest_um_per_session", "angle_error_deg", "steel_mg")


@pytest.fixture(scope="module")
def curette():
    return ek.patterns.area_specific_curette()


# ---- common random numbers ------------------------------------------------------------------


def test_paired_differences_are_better_known_than_unpaired_ones(curette):
    """Source: var(x - y) = var x + var y - 2 cov(x, y); shared dulling makes cov large."""
    methods = [LOCAL, BENCH]
    use = ek.Use(severity_gsd=3.0)
    result = ek.compare(curette, methods, runs=40, seed=2, use=use, **CHEAP)
    for column in ("loss_um_per_session", "sessions", "steel_mg"):
        row = result.differences(column).iloc[1]
        assert row["mc"] < 0.75 * row["unpaired_mc"]
        wide = result.runs.pivot_table(index="run", columns="number", values=column)
        gap = wide[1] - wide[0]
        assert row["difference"] == pytest.approx(gap.mean())
        assert row["mc"] == pytest.approx(gap.std(ddof=1) / np.sqrt(40))
        assert row["low"] < row["difference"] < row["high"]
    base = result.differences().iloc[0]
    assert base["difference"] == 0
    assert base["mc"] == 0


def test_methods_meet_the_same_instruments(curette):
    """Before the first session every method holds the same dull edges, run by run."""
    methods = [LOCAL, ek.methods.freehand(), ek.methods.held(20.0, placements=20)]
    lives = ek.compare(curette, methods, runs=6, seed=4, **CHEAP).lives
    first = [life.tracks["dull_radius_um"][:, 0] for life in lives]
    np.testing.assert_allclose(first[1], first[0], rtol=1e-14)  # by two engines, if there are two
    np.testing.assert_array_equal(first[2], first[0])
    assert np.ptp(first[0]) > 1


@pytest.mark.parametrize("name", ["arrays", ek.engine()])
def test_an_executor_changes_no_number(curette, name):
    """By the engine that is chosen here, though its workers began with another."""
    methods = [LOCAL, ek.methods.freehand(), ek.methods.face_honing()]
    given = {"runs": 3, "seed": 4, "grid_runs": 2, "ignorance_draws": 2, "stations": 24}
    spawn = multiprocessing.get_context("spawn")
    with using(name), ProcessPoolExecutor(2, mp_context=spawn) as pool:
        here = ek.compare(curette, methods, **given)
        there = ek.compare(curette, methods, executor=pool, **given)
    for part in ("runs", "table", "draws"):
        pd.testing.assert_frame_equal(getattr(there, part), getattr(here, part), check_exact=True)
    for life, again in zip(here.lives, there.lives, strict=True):
        np.testing.assert_array_equal(again.tracks["ridge_um"], life.tracks["ridge_um"])


def test_an_executor_takes_tasks_and_says_what_went_wrong(curette):
    with pytest.raises(ek.BadArgument, match="executor must have a submit"):
        ek.compare(curette, [LOCAL], runs=2, seed=1, executor=3)
    with ThreadPoolExecutor(1) as pool, pytest.raises(ek.BadArgument, match="seed"):
        ek.compare(curette, [LOCAL], runs=2, seed=-1, executor=pool)
    method = dataclasses.replace(ek.methods.freehand(), removal_mm3_per_stroke=10.0)
    with ThreadPoolExecutor(1) as pool, pytest.raises(ek.EdgekitError, match="no definite depth"):
        ek.compare(curette, [LOCAL, method], runs=2, seed=1, executor=pool)


def test_instruments_dull_alike_every_time_however_many_seatings_a_method_has():
    """With every station sharp again, the next dullness depends on the shared draws alone."""
    use = ek.Use(patch_cv=0.7, sharp_radius_um=0.0)
    methods = [ideal(1), ideal(7)]
    result = ek.compare(
        straight_blade(),
        methods,
        runs=3,
        seed=2,
        use=use,
        retire=ek.MaxWidthLoss(fraction=0.05),
        **CHEAP,
    )
    first, second = (life.tracks["dull_radius_um"] for life in result.lives)
    assert first.shape[1] >= 4
    both = min(first.shape[1], second.shape[1])
    np.testing.assert_allclose(first[:, :both], second[:, :both], rtol=1e-12)


def test_a_run_depends_neither_on_how_many_there_are_nor_on_blocks(curette):
    """More runs than one block holds; the first ones are those of a small study, bit by bit."""
    methods = [ek.methods.bench_stone(stroke=ek.strokes.local(placements=3))]
    few = ek.compare(curette, methods, runs=5, seed=9, **CHEAP).runs
    many = ek.compare(curette, methods, runs=MAX_RUNS_AT_ONCE + 3, seed=9, **CHEAP).runs
    assert few.equals(many.iloc[:5])
    last = ek.live(
        curette, methods[0], rng=run_rng(9, MAX_RUNS_AT_ONCE + 1), stations=24, depths=3
    )  # the second run of the second block, by itself
    assert last.sessions == many["sessions"].iloc[MAX_RUNS_AT_ONCE + 1]


def test_the_order_of_methods_does_not_matter(curette):
    methods = [
        ek.methods.freehand(stroke=ek.strokes.local(placements=4)),
        ek.methods.held(20.0, placements=9),
    ]
    forth = ek.compare(curette, methods, runs=8, seed=3, **CHEAP)
    back = ek.compare(curette, methods[::-1], runs=8, seed=3, **CHEAP)
    a, b = forth.runs, back.runs
    for column in COLUMNS:
        assert a[column][a["number"] == 0].tolist() == b[column][b["number"] == 1].tolist()
        assert a[column][a["number"] == 1].tolist() == b[column][b["number"] == 0].tolist()


def test_the_same_method_twice_differs_by_nothing(curette):
    method = ek.methods.freehand()
    gaps = ek.compare(curette, [method, method], runs=5, seed=1, **CHEAP).differences()
    assert gaps["difference"].tolist() == [0, 0]
    assert gaps["mc"].tolist() == [0, 0]


# ---- Monte-Carlo error ----------------------------------------------------------------------


def test_the_stated_error_covers_the_true_mean_as_often_as_it_should():
    """Source: Student's t: 95 % of intervals of n = 20 runs hold the mean; binomial slack.

    The mean is taken from 8000 other runs, whose own error is a twentieth of an interval's.
    """
    from scipy import stats

    method = ideal(1, hand=ek.Hand(tilt_deg=ek.ErrorTerm(session_sd=1.5)))
    options = {"retire": ek.MaxWidthLoss(fraction=0.02), **CHEAP}
    blade = straight_blade()
    column = "loss_um_per_session"
    truth = ek.compare(blade, [method], runs=8000, seed=10_000, **options).table[column][0]
    studies, runs = 150, 20
    many = ek.compare(blade, [method], runs=studies * runs, seed=77, **options).runs[column]
    samples = many.to_numpy().reshape(studies, runs)
    table = ek.compare(blade, [method], runs=runs, seed=77, **options).table.iloc[0]
    assert table[column] == pytest.approx(samples[0].mean())
    assert table[f"{column}_mc"] == pytest.approx(samples[0].std(ddof=1) / np.sqrt(runs))
    error = samples.std(axis=1, ddof=1) / np.sqrt(runs)
    held = np.abs(samples.mean(axis=1) - truth) <= stats.t.ppf(0.975, runs - 1) * error
    low, high = stats.binom.ppf([0.0005, 0.9995], studies, 0.93)  # skewed losses cover a bit less
    assert low <= held.sum() <= high


def test_the_error_falls_with_the_root_of_the_runs(curette):
    methods = [ek.methods.bench_stone(stroke=ek.strokes.local(placements=4))]
    few, many = (
        ek.compare(curette, methods, runs=n, seed=5, **CHEAP).table.iloc[0] for n in (50, 800)
    )
    for column in COLUMNS:
        ratio = few[f"{column}_mc"] / many[f"{column}_mc"]
        assert ratio == pytest.approx(4.0, rel=0.35)  # the sd of 50 runs is known to some 15 %


def test_a_table_summarises_its_runs(curette):
    result = ek.compare(curette, [LOCAL], runs=30, seed=6, **CHEAP)
    row, runs = result.table.iloc[0], result.runs
    for column in COLUMNS:
        assert row[column] == pytest.approx(runs[column].mean())
        assert row[f"{column}_sd"] == pytest.approx(runs[column].std())
    for share in (10, 50, 90):
        assert row[f"sessions_p{share}"] == np.percentile(runs["sessions"], share)
    life = result.lives[0]
    by_hand = [life.tracks["mean_width_um"][i, n - 1] / n for i, n in enumerate(life.sessions)]
    np.testing.assert_allclose(runs["loss_um_per_session"], by_hand)
    assert row["unfinished"] == 0
    assert set(runs["ended_by"]) <= {str(rule) for rule in life.rules}
    assert "30 lives" in result._repr_html_()


def test_lives_cut_off_are_counted_as_unfinished():
    result = ek.compare(
        straight_blade(),
        [ideal(1)],
        runs=2,
        seed=1,
        use=ek.Use(strokes=0),
        retire=ek.MaxWidthLoss(),
        **CHEAP,
    )
    assert result.table["unfinished"][0] == 1
    assert result.runs["ended_by"].tolist() == ["", ""]


# ---- resolution and causes -------------------------------------------------------------------


def test_the_grids_error_is_what_the_same_lives_lose_at_twice_every_resolution(curette):
    """Twice as many intervals, so that the old nodes are among the new ones."""
    methods = [LOCAL, ek.methods.freehand()]
    coarse, fine = {"stations": 13, "depths": 4}, {"stations": 25, "depths": 7}
    result = ek.compare(curette, methods, runs=5, seed=3, grid_runs=3, **coarse)
    again = ek.compare(curette, methods, runs=3, seed=3, grid_runs=0, **fine)
    for number in (0, 1):
        runs = result.runs[result.runs["number"] == number].reset_index()
        refined = again.runs[again.runs["number"] == number].reset_index()
        gap = (refined["loss_um_per_session"] - runs["loss_um_per_session"]).dropna()
        assert runs["grid_um"][:3].tolist() == gap.tolist()
        assert runs["grid_um"][3:].isna().all()
        row = result.table.iloc[number]
        assert row["grid_um"] == pytest.approx(gap.mean(), rel=1e-12)
        assert row["grid_um_mc"] == pytest.approx(gap.sem(), rel=1e-12)
    assert again.table[["grid_um", "grid_um_mc"]].isna().all(axis=None)


def test_steel_is_told_by_its_cause(curette):
    """Source: arithmetic; on an edge worn evenly, a hand without errors has little left to spend on
    the bevel.
    """
    methods = [ek.methods.freehand(), ek.methods.freehand(hand=ek.Hand())]
    methods[1] = dataclasses.replace(
        methods[1], stroke=ek.strokes.rolling(within_tilt_sd_deg=0.0), removal_gsd=1.0
    )
    options = {"runs": 6, "seed": 3, "stations": 24, "depths": 6, "grid_runs": 0}
    result = ek.compare(curette, methods, use=touching(curette), **options)
    causes = ["dullness_mg", "overshoot_mg", "rebevel_mg"]
    np.testing.assert_allclose(result.runs[causes].sum(axis=1), result.runs["steel_mg"], rtol=1e-12)
    hand, ideal_hand = (row for _, row in result.table.iterrows())
    assert hand["rebevel_mg"] > hand["dullness_mg"] > 0
    assert ideal_hand["dullness_mg"] > ideal_hand["overshoot_mg"] + ideal_hand["rebevel_mg"]
    assert ideal_hand["stone_strokes"] < hand["stone_strokes"]
    assert hand["steel_mg"] == pytest.approx(result.runs["steel_mg"][:6].mean(), rel=1e-12)
    for cause in causes:
        assert hand[f"{cause}_sd"] == pytest.approx(result.runs[cause][:6].std(), rel=1e-12)


def test_honing_costs_a_quarter_of_the_width_that_both_sides_cost():
    """Theory T14: exactly cosβ, by scatter-free methods, within the flat flank."""
    use = ek.Use(sharp_radius_um=0.0)
    result = ek.compare(
        straight_blade(),
        [steady(ek.methods.face_honing(), fraction=1.0), ideal(1)],
        runs=4,
        seed=1,
        use=use,
        retire=ek.MaxWidthLoss(fraction=0.03),
        **CHEAP,
    )
    loss = result.table["loss_um_per_session"]
    assert loss[0] / loss[1] == pytest.approx(np.cos(np.radians(75.0)), rel=1e-6)


def test_duller_edges_and_wider_scatter_cost_more(curette):
    """Direction only, common practice: sharpening late and by an unsteady hand costs steel."""
    usual = BENCH
    unsteady = dataclasses.replace(
        usual, hand=dataclasses.replace(usual.hand, tilt_deg=ek.ErrorTerm(person_sd=8.0, sd=5.0))
    )
    late = ek.Use(strokes=180)
    base = ek.compare(curette, [usual, unsteady], runs=24, seed=3, **CHEAP)
    slow = ek.compare(curette, [usual], runs=24, seed=3, use=late, **CHEAP)
    assert base.differences().iloc[1]["low"] > 0
    assert slow.table["loss_um_per_session"][0] > base.table["loss_um_per_session"][0]
