"""Pictures of sweeps by their data, words and refusals."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

import edgekit as ek
from tests.wear_blades import in_steps

TASK = ek.LifeCase(blade=ek.patterns.hoe, method=in_steps(), stations=16, depths=4)
GRID = ek.full_grid({"method.stroke.placements": [2, 5, 9], "use.strokes": [15, 45]})
INPUTS = {"use.strokes": (15.0, 60.0), "use.patch_cv": (0.1, 0.3)}
SAMPLES = ek.sweep(TASK, GRID, runs=9, seed=1, progress=False)
SUMMARY = ek.sweep(TASK, GRID, runs=9, seed=1, progress=False, summary=True)
TORNADO = ek.tornado(TASK, INPUTS, runs=9, seed=1, progress=False)
SHARES = ek.sensitivity(TASK, INPUTS, points=8, runs=4, seed=1, progress=False)
PICTURES = {
    "sweep": lambda: ek.figures.sweep(SUMMARY, x="method.stroke.placements", by="use.strokes"),
    "difference": lambda: ek.figures.sweep(
        SAMPLES, x="method.stroke.placements", by="use.strokes", against=5
    ),
    "life dots": lambda: ek.figures.life_dots(SAMPLES, y="sessions", by="use.strokes"),
    "tornado": lambda: ek.figures.tornado(TORNADO),
    "shares": lambda: ek.figures.sensitivity(SHARES, y="sessions"),
}


@pytest.mark.parametrize("table", [SAMPLES, SUMMARY], ids=["samples", "summary"])
def test_lines_are_the_means_of_the_sweep(table):
    ax = ek.figures.sweep(table, x="method.stroke.placements", by="use.strokes")
    for strokes, line in zip((15, 45), ax.get_lines(), strict=True):
        part = SAMPLES[SAMPLES["use.strokes"] == strokes].groupby("method.stroke.placements")
        np.testing.assert_allclose(line.get_ydata(), part["loss_um_per_session"].mean(), rtol=1e-12)
        np.testing.assert_array_equal(line.get_xdata(), [2, 5, 9])
        band = ax.collections[(15, 45).index(strokes)].get_paths()[0].get_extents()
        error = part["loss_um_per_session"].sem()
        mean = part["loss_um_per_session"].mean()
        assert band.y1 == pytest.approx((mean + 1.6448536269514722 * error).max(), rel=1e-9)


def test_lines_run_along_the_axis_and_leave_out_what_failed():
    spoilt = SUMMARY.assign(status=["ok"] * 5 + ["failed"])[::-1]
    ax = ek.figures.sweep(spoilt, x="method.stroke.placements", by="use.strokes")
    assert [list(line.get_xdata()) for line in ax.get_lines()] == [[2, 5, 9], [2, 5]]


def test_differences_are_taken_life_by_life():
    """An error of the difference of two paired samples: that of their differences, not of each."""
    part = SAMPLES[SAMPLES["use.strokes"] == 15]
    ax = ek.figures.sweep(part, x="method.stroke.placements", against=5)
    lives = [
        part[part["method.stroke.placements"] == count]["loss_um_per_session"].to_numpy()
        for count in (2, 5, 9)
    ]
    gaps = np.stack(lives) - lives[1]
    np.testing.assert_allclose(ax.get_lines()[0].get_ydata(), gaps.mean(axis=1), atol=1e-12)
    band = ax.collections[0].get_paths()[0].get_extents()
    top = gaps.mean(axis=1) + 1.6448536269514722 * gaps.std(axis=1, ddof=1) / 3
    assert band.y1 == pytest.approx(top.max(), rel=1e-9)


def test_every_life_is_a_dot():
    ax = ek.figures.life_dots(SAMPLES, y="sessions", by="use.strokes")
    dots = [line.get_xdata() for line in ax.get_lines() if len(line.get_xdata()) > 2]
    for strokes, shown in zip((15, 45), dots, strict=True):
        part = SAMPLES[SAMPLES["use.strokes"] == strokes]["sessions"]
        np.testing.assert_array_equal(np.sort(shown), np.sort(part))


def test_bars_reach_from_the_base_to_both_ends():
    ax = ek.figures.tornado(TORNADO)
    rows = TORNADO.table[TORNADO.table["output"] == "loss_um_per_session"]
    ends = np.array([[bar.get_x(), bar.get_x() + bar.get_width()] for bar in ax.patches])
    wanted = np.stack([rows["base"], rows["at_low"], rows["base"], rows["at_high"]], axis=1)
    np.testing.assert_allclose(ends.reshape(-1, 4), wanted, rtol=1e-12)
    written = [text.get_text() for text in ax.texts if text.get_text()]
    values = np.sort(np.array(written, dtype=float).reshape(-1, 2), axis=1)
    np.testing.assert_allclose(values, rows[["low_value", "high_value"]], rtol=5e-3)


def test_dots_are_the_shares():
    ax = ek.figures.sensitivity(replace(SHARES, table=SHARES.table[::-1]))
    rows = SHARES.table[SHARES.table["output"] == "loss_um_per_session"]
    dots = sorted(line.get_xdata()[0] for line in ax.get_lines() if line.get_marker() in ("o", "s"))
    np.testing.assert_allclose(dots, sorted([*rows["first"], *rows["total"]]))
    ends = [line.get_xdata() for line in ax.get_lines() if len(line.get_xdata()) == 2]
    ends = [list(pair) for pair in ends if list(pair) != [0, 0]]  # the axis
    rows = rows.sort_values("total", ascending=False)
    names = ["first_low", "first_high", "total_low", "total_high"]
    np.testing.assert_allclose(np.ravel(ends), rows[names].to_numpy().ravel())
    assert ax.get_yticklabels()[0].get_text() == "strokes between sessions"
    assert rows["input"].iloc[0] == "use.strokes"


@pytest.mark.parametrize("name", PICTURES)
def test_words_are_whole_and_in_the_picture(name):
    ax = PICTURES[name]()
    assert "Shown:" in ek.figures.alt_text(ax)
    canvas = FigureCanvasAgg(ax.figure)
    canvas.draw()
    width, height = canvas.get_width_height()
    low, high = sorted(ax.get_ylim())  # labels of ticks beyond them are not drawn
    ticks = [tick.label1 for tick in ax.yaxis.get_major_ticks() if low <= tick.get_loc() <= high]
    for text in (ax.title, ax._left_title, ax.xaxis.label, ax.yaxis.label, *ticks):
        if text.get_text():
            box = text.get_window_extent(canvas.get_renderer())
            assert min(box.x0, box.y0) >= -1, text.get_text()
            assert box.x1 <= width + 1, text.get_text()
            assert box.y1 <= height + 1, text.get_text()


BAD = {
    "x": (lambda: ek.figures.sweep(SUMMARY, x="method.grit"), "no such column"),
    "x of names": (
        lambda: ek.figures.sweep(SUMMARY.assign(method="freehand"), x="method"),
        "of numbers",
    ),
    "y of words": (
        lambda: ek.figures.sweep(SAMPLES, x="method.stroke.placements", y="ended_by"),
        "of numbers",
    ),
    "two rows on a point, summary": (
        lambda: ek.figures.sweep(SUMMARY, x="method.stroke.placements"),
        "fall on one point",
    ),
    "two rows on a point, samples": (
        lambda: ek.figures.sweep(SAMPLES, x="use.strokes"),
        "fall on one point",
    ),
    "y": (lambda: ek.figures.tornado(TORNADO, y="width"), "no such output"),
    "shares": (lambda: ek.figures.sensitivity(SHARES, y="width"), "no such output"),
    "every row failed": (
        lambda: ek.figures.sweep(SUMMARY.assign(status="failed"), x="method.stroke.placements"),
        "every row of the sweep failed",
    ),
    "difference of a summary": (
        lambda: ek.figures.sweep(
            SUMMARY, x="method.stroke.placements", by="use.strokes", against=5
        ),
        "one row per life",
    ),
    "difference from nothing": (
        lambda: ek.figures.sweep(
            SAMPLES, x="method.stroke.placements", by="use.strokes", against=7
        ),
        "never has that value",
    ),
    "difference without partners": (
        lambda: ek.figures.sweep(SAMPLES, x="method.stroke.placements", against=5),
        "no partner",
    ),
    "lives of a summary": (
        lambda: ek.figures.life_dots(SUMMARY, y="sessions_p50", by="use.strokes"),
        "one row per life",
    ),
    "too many lines": (
        lambda: ek.figures.sweep(
            pd.concat([SUMMARY.assign(case=n) for n in range(6)]), x="use.strokes", by="case"
        ),
        "too many values",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_refused(case):
    call, says = BAD[case]
    with pytest.raises(ek.EdgekitError, match=says):
        call()
