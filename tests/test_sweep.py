"""Sweeps: the same bits wherever they are computed, and parts that survive a kill."""

import dataclasses
import errno
import inspect
import json
import os
import pickle
import re
import subprocess
import sys
import threading
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import sympy
from scipy import stats

import edgekit as ek
from edgekit.geometry.curve import SymbolicCurve
from edgekit.record import UnknownField, set_fields
from edgekit.study import case as case_module
from edgekit.study import checkpoint, manifest
from edgekit.study import sweep as module
from edgekit.study.chunks import progress, tables, window
from edgekit.study.grid import Grid
from tests import kill_sweep
from tests.wear_blades import in_steps

TASK = ek.LifeCase(blade=ek.patterns.hoe, method=in_steps(), stations=16, depths=4)
LIVED = dataclasses.replace(TASK, method=ek.methods.freehand(), max_sessions=3)
GRID = ek.full_grid({"method.stroke.placements": [2, 5, 9], "use.strokes": [15, 45]})
BAD_ROW = {"method.stroke.placements": -1}


def swept(grid=GRID, *, task=TASK, runs=7, seed=1, **options):
    return ek.sweep(task, grid, runs=runs, seed=seed, progress=False, **options)


def same(one: pd.DataFrame, other: pd.DataFrame) -> None:
    pd.testing.assert_frame_equal(one, other, check_exact=True)
    for name in one.select_dtypes("number"):
        assert one[name].to_numpy().tobytes() == other[name].to_numpy().tobytes(), name


class Backwards(Executor):
    """Runs what it was given last first, when the first result is asked for."""

    def __init__(self):
        self.held = []

    def submit(self, fn, /, *args, **kwargs):
        future = Future()
        self.held.append((future, fn, args, kwargs))
        if len(self.held) == self.expected:
            for each, call, a, k in reversed(self.held):
                each.set_result(call(*a, **k))
        return future


# ---- the same bits ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def plain():
    return swept()


def test_rows_are_tidy_and_in_the_grids_order(plain):
    plain = plain.copy()
    assert len(plain) == len(GRID) * 7
    assert (plain["row"].to_numpy() == np.repeat(np.arange(6), 7)).all()
    assert (plain["run"].to_numpy() == np.tile(np.arange(7), 6)).all()
    assert plain["method.stroke.placements"].tolist() == np.repeat([2, 5, 9], 14).tolist()
    assert (plain["status"] == "ok").all()
    assert plain.pop("grid_um").isna().all()  # not asked for
    assert not plain.isna().any().any()


def test_a_row_is_what_compare_gives(plain):
    stroke = dataclasses.replace(TASK.method.stroke, placements=5)
    method = dataclasses.replace(TASK.method, stroke=stroke)
    alone = ek.compare(
        ek.patterns.hoe(), [method], runs=7, seed=1, use=ek.Use(strokes=45), stations=16, depths=4
    ).runs
    row = plain[plain["row"] == 3].reset_index(drop=True)
    for name in ("sessions", "ended_by", *module.VALUES):
        np.testing.assert_array_equal(row[name], alone[name], err_msg=name)


def test_columns_are_what_their_names_say():
    """Losses over a life's sessions, all else a mean over them; from the histories of `compare`."""
    result = ek.compare(
        ek.patterns.universal_curette(), [TASK.method], runs=6, seed=1, stations=16, depths=4
    )
    tracks, columns = result.lives[0].tracks, result.runs
    losses = {"loss_um_per_session": "mean_width_um"} | {
        f"{part}_um_per_session": f"{part}_width_um"
        for part in ("deepest", "heel", "middle", "toe")
    }
    for name, track in losses.items():
        np.testing.assert_allclose(
            columns[name], np.nanmax(tracks[track], axis=1) / columns["sessions"]
        )
    means = {"minutes_per_session": "minutes"} | {
        name: name
        for name in (
            "ridge_um",
            "angle_error_deg",
            "angle_rms_deg",
            "sharp_fraction",
            "stone_strokes",
            "steel_mg",
            "dullness_mg",
            "overshoot_mg",
            "dull_radius_um",
            "heel_radius_um",
            "middle_radius_um",
            "toe_radius_um",
            "useful_strokes",
        )
    }
    for name, track in means.items():
        np.testing.assert_allclose(columns[name], np.nanmean(tracks[track], axis=1), err_msg=name)
    causes = columns["dullness_mg"] + columns["overshoot_mg"] + columns["rebevel_mg"]
    np.testing.assert_allclose(causes, columns["steel_mg"], rtol=1e-12)
    assert {*losses, *means, "rebevel_mg"} == {*module.VALUES}


def test_the_grids_error_is_what_the_same_lives_lose_at_twice_every_resolution():
    """Both ways to ask for it, in every chunk size; lives beyond the number asked for have none."""
    grid = ek.full_grid({"use.strokes": [15, 45]})
    samples = swept(grid, grid_runs=4)
    fine = swept(grid, task=dataclasses.replace(TASK, stations=31, depths=7), runs=4)
    for row in (0, 1):
        part, refined = samples[samples["row"] == row], fine[fine["row"] == row]
        gap = refined["loss_um_per_session"].to_numpy() - part["loss_um_per_session"].to_numpy()[:4]
        np.testing.assert_array_equal(part["grid_um"][:4], gap)
        assert part["grid_um"][4:].isna().all()
        assert np.abs(gap).max() > 0
        for chunk_runs in (3, 2048):
            line = swept(grid, grid_runs=4, summary=True, chunk_runs=chunk_runs).iloc[row]
            assert line["grid_um"] == pytest.approx(gap.mean(), rel=1e-12)
            assert line["grid_um_mc"] == pytest.approx(gap.std(ddof=1) / 2, rel=1e-9)
    assert swept(grid, summary=True)[["grid_um", "grid_um_mc"]].isna().all(axis=None)


@pytest.mark.parametrize("chunk_runs", [1, 10, 21, 10_000])
def test_chunks_of_any_size_give_the_same_bits(plain, chunk_runs):
    same(plain, swept(chunk_runs=chunk_runs))


def test_pieces_of_a_row_join_without_a_seam(monkeypatch):
    in_one_piece = swept(runs=11)
    monkeypatch.setattr(module, "PIECE_RUNS", 4)
    same(in_one_piece, swept(runs=11))


def test_threads_give_the_same_bits(plain):
    with ThreadPoolExecutor(3) as pool:
        same(plain, swept(executor=pool, chunk_runs=7))


def test_processes_give_the_same_bits(plain):
    with ProcessPoolExecutor(2) as pool:
        same(plain, swept(executor=pool, chunk_runs=7))
        assert pool.submit(abs, -1).result() == 1  # it is still the caller's


def test_any_order_gives_the_same_bits(plain):
    pool = Backwards()
    pool.expected = 6
    same(plain, swept(executor=pool, chunk_runs=7))


def test_a_dask_cluster_gives_the_same_bits(plain):
    """What the README does, on workers in this process to keep it short."""
    from dask.distributed import Client, LocalCluster

    with (
        LocalCluster(
            n_workers=2, threads_per_worker=1, processes=False, dashboard_address=":0"
        ) as cluster,
        Client(cluster) as client,
    ):
        same(plain, swept(executor=client.get_executor(pure=False), chunk_runs=7))


def test_rows_share_their_random_numbers():
    """Two rows that say the same give equal lives, and paired differences are narrow."""
    grid = ek.list_grid([{"use.strokes": 45, "use.patch_cv": 0.2}] * 2)
    table = swept(grid, runs=20)
    wide = table.pivot_table(index="run", columns="row", values="loss_um_per_session")
    np.testing.assert_array_equal(wide[0], wide[1])
    near = swept(ek.full_grid({"use.strokes": [45, 46]}), runs=40)
    wide = near.pivot_table(index="run", columns="row", values="loss_um_per_session")
    assert (wide[1] - wide[0]).std() < 0.2 * wide[0].std()


def test_a_summary_is_that_of_the_samples(monkeypatch):
    """Source: pandas and numpy on the tidy samples; pieces are merged on the way."""
    samples = swept(runs=23)
    monkeypatch.setattr(module, "PIECE_RUNS", 6)
    summary = swept(runs=23, summary=True)
    assert summary["lives"].tolist() == [23] * 6
    groups = samples.groupby("row")
    for name in module.VALUES:
        np.testing.assert_allclose(summary[name], groups[name].mean(), rtol=1e-12)
        np.testing.assert_allclose(summary[f"{name}_sd"], groups[name].std(), rtol=1e-9)
        np.testing.assert_allclose(
            summary[f"{name}_mc"], groups[name].std() / np.sqrt(23), rtol=1e-9
        )
    for share in (10, 50, 90):
        wanted = groups["sessions"].apply(lambda x, q=share: np.percentile(x, q))
        np.testing.assert_allclose(summary[f"sessions_p{share}"], wanted, rtol=1e-12)
    same(summary, swept(runs=23, summary=True, chunk_runs=6))


def test_a_summary_counts_the_lives_that_did_not_end():
    task = dataclasses.replace(TASK, max_sessions=8)
    unended = swept(task=task, runs=23)["ended_by"].to_numpy().reshape(6, 23) == ""
    assert 0 < unended.mean() < 1
    np.testing.assert_allclose(
        swept(task=task, runs=23, summary=True)["unfinished"], unended.mean(axis=1)
    )


# ---- where it runs, and what is shown of it ------------------------------------------------------


def test_a_finished_blade_goes_to_other_processes_and_into_a_folder(tmp_path):
    """From a pattern and digitised, both at once."""
    traced = Path(__file__).parents[1] / "data_demo" / "traces" / "FH-03-AS1.csv"
    blades = [ek.patterns.universal_curette(), ek.read_blade(traced)]
    grid, options = ek.full_grid({"blade": blades}), {"runs": 3, "summary": False}
    here = swept(grid, **options, out=tmp_path)
    assert (here["status"] == "ok").all()
    with ProcessPoolExecutor(2) as pool:
        same(here, swept(grid, **options, executor=pool, chunk_runs=3))
    wider = [ek.patterns.universal_curette(width_mm=0.86 + 1e-12), blades[1]]
    with pytest.raises(ek.EdgekitError, match="another sweep"):
        swept(ek.full_grid({"blade": wider}), **options, out=tmp_path)


def test_a_symbolic_edge_can_be_sent():
    u = sympy.Symbol("u")
    curve = SymbolicCurve(expressions=(u, u**2 / 7, sympy.sin(u)), parameter=u, domain=(0.0, 1.0))
    sent = pickle.loads(pickle.dumps(curve))
    at = np.linspace(0, 1, 5)
    for one, other in zip(curve.derivatives(at, 3), sent.derivatives(at, 3), strict=True):
        np.testing.assert_array_equal(one, other)


class Stopped(Executor):
    """Finishes its first call; the second is interrupted by Ctrl-C."""

    def __init__(self):
        self.futures, self.chunks = [], []

    def submit(self, fn, /, *args, **kwargs):
        future = Future()
        self.futures.append(future)
        self.chunks += args[2]
        if len(self.futures) == 1:
            future.set_result(fn(*args, **kwargs))
        elif len(self.futures) == 2:
            future.set_exception(KeyboardInterrupt())
        return future


def test_ctrl_c_calls_back_what_an_executor_has_not_begun():
    pool = Stopped()
    with pytest.warns(UserWarning, match="chunks not run"):
        table = swept(executor=pool, chunk_runs=7)
    assert set(table["status"]) <= {"ok", "not run: interrupted"}
    assert all(future.cancelled() for future in pool.futures[2:])


def test_a_chunk_holds_few_rows_however_few_their_runs():
    """A row takes its time whatever its runs: many in a chunk would leave workers idle."""
    pool = Stopped()
    with pytest.warns(UserWarning, match="of 3 chunks not run"):
        swept(ek.full_grid({"use.strokes": list(range(10, 30))}), runs=1, executor=pool)
    assert [len(chunk.pieces) for chunk in pool.chunks] == [8, 8, 4]


def test_a_bar_counts_lives_and_tells_the_time_left(capsys, monkeypatch, tmp_path):
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    ek.sweep(TASK, GRID, runs=7, seed=1, chunk_runs=7, out=tmp_path)
    shown = capsys.readouterr().err
    assert "42/42" in shown
    assert re.search(r"\[\d\d:\d\d<\d\d:\d\d, .* lives/s\]", shown)
    (tmp_path / "part-000003.csv").unlink()
    ek.sweep(TASK, GRID, runs=7, seed=1, chunk_runs=7, out=tmp_path)
    assert re.search(r"35/42.*42/42", capsys.readouterr().err, re.DOTALL)
    swept()
    assert capsys.readouterr() == ("", "")


def test_a_log_gets_a_line_now_and_then(capsys, monkeypatch):
    ek.sweep(TASK, GRID, runs=7, seed=1, chunk_runs=7)
    only = r"edgekit: 42 of 42 lives, [\d,]+ lives/s, \d:\d\d gone, 0:00 left\n"
    assert re.fullmatch(only, capsys.readouterr().err)
    monkeypatch.setattr(progress, "LINE_S", 0.0)
    ek.sweep(TASK, GRID, runs=7, seed=1, chunk_runs=7)
    lines = capsys.readouterr().err.splitlines()
    assert [line.split()[1] for line in lines] == ["7", "14", "21", "28", "35", "42", "42"]


# ---- a window of chunks, sums as they arrive ----------------------------------------------------


class Late(Executor):
    """Computes at once, and gives the results of each five tasks back in the opposite order."""

    def __init__(self):
        self.out, self.most, self.tasks = [], 0, 0

    def submit(self, function, *args):
        future = Future()
        self.tasks += 1
        self.out.append((future, function(*args)))
        self.most = max(self.most, len(self.out))
        if len(self.out) == 5 or self.tasks == 12:
            while self.out:
                future_then, result = self.out.pop()
                threading.Timer(0.0, future_then.set_result, [result]).start()
        return future


@pytest.mark.parametrize("summary", [False, True])
def test_chunks_that_come_back_in_another_order_give_the_same_bits(summary, monkeypatch, tmp_path):
    monkeypatch.setattr(module, "PIECE_RUNS", 4)
    monkeypatch.setattr(window, "TASKS_OUT", 5)
    options = {"runs": 7, "chunk_runs": 4, "summary": summary}
    late = Late()
    same(swept(**options), swept(**options, executor=late, out=tmp_path))
    assert late.most <= 5
    assert late.tasks == 12
    same(swept(**options), swept(**options, out=tmp_path))


def test_no_more_than_a_window_is_handed_over(monkeypatch):
    monkeypatch.setattr(window, "TASKS_OUT", 3)
    pool = Stopped()
    grid = ek.full_grid({"use.strokes": list(range(10, 20))})
    with pytest.warns(UserWarning, match="of 10 chunks not run"):
        swept(grid, runs=1, executor=pool, chunk_runs=1)
    assert len(pool.chunks) == 3 + 1  # one for that which came back


def test_few_chunks_wait_for_one_that_is_late(monkeypatch):
    """Else a worker that hangs would fill the memory of the client."""
    monkeypatch.setattr(window, "TASKS_OUT", 3)
    monkeypatch.setattr(window, "AHEAD", 4)
    given = []

    class Hanging(Executor):
        def submit(self, fn, live, task, chunks):
            given.append(Future())
            if len(given) > 1:
                given[-1].set_result(fn(live, task, chunks))
            if len(given) == 6:
                given[0].set_exception(KeyboardInterrupt())
            return given[-1]

    grid = ek.full_grid({"use.strokes": list(range(10, 30))})
    with pytest.warns(UserWarning, match="of 20 chunks not run"):
        swept(grid, runs=1, executor=Hanging(), chunk_runs=1)
    assert len(given) == 6


def test_chunks_that_take_little_time_go_together(monkeypatch):
    """A worker that is fast is given several at a time, which changes no bit."""
    grid = ek.full_grid({"use.strokes": list(range(200))})
    sizes = []
    monkeypatch.setattr(window, "FIRST_OUT", 4)

    class Counting(ThreadPoolExecutor):
        def submit(self, function, live, task, chunks):
            sizes.append(len(chunks))
            return super().submit(function, live, task, chunks)

    brief = dataclasses.replace(TASK, max_sessions=1)
    options = {"runs": 1, "chunk_runs": 1, "grid": grid, "task": brief}
    with Counting(1) as pool:
        together = swept(**options, executor=pool)
    same(together, swept(**options))
    assert max(sizes) > 1


def test_a_folder_of_many_chunks_holds_few_files(plain, monkeypatch, tmp_path):
    monkeypatch.setattr(checkpoint, "MOST_PARTS", 2)
    same(plain, swept(chunk_runs=7, out=tmp_path))
    assert sorted(files(tmp_path)) == ["manifest.json", "part-000000.csv", "part-000001.csv"]
    (tmp_path / "part-000000.csv").unlink()
    same(plain, swept(chunk_runs=7, out=tmp_path))
    monkeypatch.setattr(module, "_live_chunk", None)
    same(plain, swept(chunk_runs=7, out=tmp_path))


MEMORY = """
import re, numpy as np, edgekit as ek
from pathlib import Path
from edgekit.study import sweep as _  # the function
import sys
module = sys.modules["edgekit.study.sweep"]
from edgekit.study.chunks import tables
case = ek.LifeCase(blade=ek.patterns.hoe, method=ek.methods.freehand())
grid = ek.full_grid({"use.strokes": [15.0]})
rng = np.random.default_rng(1)
def live(task, chunk):
    piece = chunk.pieces[0]
    columns = {name: rng.random(40) for name in (*module.VALUES, module.GRID)}
    columns |= {"sessions": rng.integers(5, 40, 40), "ended_by": np.full(40, "x", dtype=object)}
    piece = piece._replace(runs=40)
    return module._table(piece, True, "ok", columns)
module._live_chunk = live
module.MAX_LIVES = 10**12
def most():  # getrusage would count what the parent held when it began this
    return int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
before = most()
table = ek.sweep(case, grid, runs=2048 * CHUNKS, seed=1, summary=True, progress=False)
assert table["lives"][0] == 40 * CHUNKS
print((most() - before) / 1024, before / 1024)
"""


@pytest.mark.slow
def test_memory_does_not_grow_with_the_number_of_chunks():
    """100,000 chunks take no more than 2,000, and stay below 300 MB with all that is imported."""
    few, many = (
        subprocess.run(
            [sys.executable, "-c", MEMORY.replace("CHUNKS", str(chunks))],
            capture_output=True,
            text=True,
            check=True,
        ).stdout.split()
        for chunks in (2_000, 100_000)
    )
    assert float(many[0]) < float(few[0]) + 20
    assert float(many[0]) + float(many[1]) < 300


# ---- failures, never lost ----------------------------------------------------------------------


@pytest.mark.parametrize("summary", [False, True])
def test_a_row_that_fails_says_so_and_the_others_are_computed(summary):
    grid = ek.list_grid([{"method.stroke.placements": 4}, BAD_ROW, {"method.stroke.placements": 6}])
    with pytest.warns(module.FailedRows, match="1 of 3 rows of the sweep failed") as warned:
        table = swept(grid, runs=3, summary=summary)
    assert len(warned) == 1
    assert warned[0].filename == __file__
    bad = table[table["row"] == 1]
    assert bad["status"].str.contains("BadArgument: placements must be a whole number").all()
    measured = [*tables.SESSIONS, "unfinished"] if summary else ["sessions", "ended_by"]
    assert bad[[*module.VALUES, *measured]].isna().all(axis=None)
    if summary:
        assert bad["lives"].tolist() == [0]
    assert len(bad) == (1 if summary else 3)
    good = table[table["row"] != 1]
    assert (good["status"] == "ok").all()
    alone = swept(ek.list_grid([{"method.stroke.placements": 4}]), runs=3, summary=summary)
    np.testing.assert_array_equal(
        good[good["row"] == 0]["loss_um_per_session"], alone["loss_um_per_session"]
    )


def test_failed_rows_do_not_count_as_lives_of_no_session(tmp_path):
    """With sessions of 0 the mean of this table would be two thirds of that of its good rows."""
    rows = [{"method.stroke.placements": 4}, BAD_ROW, {"method.stroke.placements": 6}]
    good = swept(ek.list_grid([rows[0], rows[2]]), runs=3)["sessions"]
    for _ in range(2):  # computed, and read from the folder
        with pytest.warns(module.FailedRows):
            table = swept(ek.list_grid(rows), runs=3, out=tmp_path)
        assert table["sessions"].mean() == good.mean()
        assert table["ended_by"].isna().sum() == 3


def test_a_sweep_of_which_every_row_failed_still_has_its_columns():
    for summary, columns in ((True, tables.SUMMARY), (False, ["sessions", *module.VALUES])):
        with pytest.warns(module.FailedRows, match="1 of 1 rows"):
            table = swept(ek.list_grid([BAD_ROW]), runs=2, summary=summary)
        assert {*columns} <= {*table.columns}
        assert table["steel_mg"].isna().all()


class Dropping(Executor):
    """Loses the second call, as a worker that dies does."""

    calls = 0

    def submit(self, fn, /, *args, **kwargs):
        self.calls += 1
        future = Future()
        if self.calls == 2:
            future.set_exception(ConnectionError("worker\n lost"))
        else:
            future.set_result(fn(*args, **kwargs))
        return future


def test_a_lost_worker_is_a_status_and_is_made_good_on_resuming(plain, tmp_path):
    with pytest.warns(module.FailedRows, match="1 of 6 rows"):
        table = swept(executor=Dropping(), chunk_runs=7, out=tmp_path)
    lost = table["status"] == "failed: ConnectionError: worker lost"
    assert lost.sum() == 7
    assert set(table[lost]["row"]) == {1}
    same(plain, swept(chunk_runs=7, out=tmp_path))


def test_a_summary_of_a_row_that_lost_a_part_says_so(monkeypatch):
    """Means are of the remaining lives: here the first four and the last three of eleven."""
    samples = swept(runs=11)
    monkeypatch.setattr(module, "PIECE_RUNS", 4)
    with pytest.warns(module.FailedRows, match="1 of 6 rows"):
        summary = swept(runs=11, summary=True, executor=Dropping(), chunk_runs=4)
    assert summary["status"].tolist() == ["failed: ConnectionError: worker lost", *["ok"] * 5]
    assert summary["lives"].tolist() == [7, *[11] * 5]
    left = samples[(samples["row"] == 0) & ~samples["run"].between(4, 7)]
    assert summary["steel_mg"][0] == pytest.approx(left["steel_mg"].mean(), rel=1e-12)


def test_ctrl_c_leaves_what_is_done(plain, monkeypatch, tmp_path):
    done = []
    live_chunk = module._live_chunk

    def interrupted(task, chunk):
        if len(done) == 4:
            raise KeyboardInterrupt
        done.append(chunk)
        return live_chunk(task, chunk)

    monkeypatch.setattr(module, "_live_chunk", interrupted)
    with pytest.warns(UserWarning, match="2 of 6 chunks not run"):
        table = swept(chunk_runs=7, out=tmp_path)
    assert (table["status"].iloc[:28] == "ok").all()
    assert (table["status"].iloc[28:] == "not run: interrupted").all()
    assert table["sessions"].iloc[28:].isna().all()
    monkeypatch.setattr(module, "_live_chunk", live_chunk)
    same(plain, swept(chunk_runs=7, out=tmp_path))


# ---- kill and resume ----------------------------------------------------------------------------


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_folder_gives_back_the_same_bits(plain, tmp_path):
    same(plain, swept(out=tmp_path, chunk_runs=7))
    same(plain, swept(out=tmp_path, chunk_runs=7))
    assert len(files(tmp_path)) == 7  # six parts and a manifest


def test_leftovers_of_the_dead_go_and_others_stay(tmp_path):
    swept(out=tmp_path)
    dead, living, other = (
        tmp_path / name
        for name in (
            ".part-000000.csv.0123abcd.999999999.tmp",
            ".part-000000.csv.0123abcd.1.tmp",
            "mine.tmp",
        )
    )
    for path in (dead, living, other):
        path.write_text("half a par")
    swept(out=tmp_path)
    assert [path.exists() for path in (dead, living, other)] == [False, True, True]


def test_a_digitised_blade_goes_to_other_processes_and_into_a_folder(tmp_path):
    """The clinic's own blades are read from files, so a sweep over one must travel and resume."""
    traces = Path(__file__).parent.parent / "data_demo" / "traces"
    task, other = (
        dataclasses.replace(TASK, blade=ek.read_blade(traces / f"{name}.toml"))
        for name in ("FH-03-AS1", "FH-03-AS2")
    )
    first = swept(task=task)
    with ProcessPoolExecutor(2) as pool:
        same(first, swept(task=task, executor=pool, out=tmp_path, chunk_runs=7))
    same(first, swept(task=task, out=tmp_path, chunk_runs=7))
    with pytest.raises(ek.EdgekitError, match="folder"):
        swept(task=other, out=tmp_path, chunk_runs=7)


def test_finished_parts_are_not_computed_again(tmp_path, monkeypatch):
    first = swept(out=tmp_path, chunk_runs=7)
    monkeypatch.setattr(module, "_live_chunk", None)
    same(first, swept(out=tmp_path, chunk_runs=7))


@pytest.mark.parametrize(
    "spoil",
    [
        lambda text: text[: len(text) // 2],
        lambda text: text.replace(b",", b";", 1),
        lambda text: text[:-3] + b"9" + text[-2:],
        lambda _: b"",
        lambda text: b"\xff" + text,
        lambda text: text.replace(text[2:10], b"00000000", 1),
        lambda text: text + b"0,0\n",
    ],
    ids=["torn", "edited", "one digit", "empty", "not text", "another sweep's", "longer"],
)
def test_a_spoiled_part_is_found_out_and_made_again(spoil, tmp_path):
    first = swept(out=tmp_path, chunk_runs=14)
    before = files(tmp_path)
    part = tmp_path / "part-000001.csv"
    part.write_bytes(spoil(part.read_bytes()))
    (tmp_path / ".part-000002.csv.0123abcd.999999999.tmp").write_bytes(b"left by a killed process")
    same(first, swept(out=tmp_path, chunk_runs=14))
    assert files(tmp_path) == before


def test_a_sweep_killed_twenty_times_ends_in_the_same_bytes(tmp_path):
    kill_sweep.swept(tmp_path / "whole")
    run = subprocess.run(
        [sys.executable, kill_sweep.__file__, str(tmp_path / "killed"), "20", "7"],
        check=True,
        capture_output=True,
        text=True,
        env={"PYTHONPATH": str(Path(kill_sweep.__file__).parents[1])},
    )
    kills, fingerprint = run.stdout.split()
    assert fingerprint == kill_sweep.fingerprint(tmp_path / "whole")
    assert int(kills) >= 10  # the others came after the end


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"seed": 2}, "seed was 1, is 2"),
        ({"runs": 8}, "runs was 7, is 8"),
        (
            {
                "grid": ek.full_grid(
                    {"method.stroke.placements": [2, 5, 9], "use.strokes": [15, 46]}
                )
            },
            "grid rows 1 1 was 45, is 46",
        ),
        (
            {"grid": ek.full_grid({"method.stroke.placements": [2, 5], "use.strokes": [15, 45]})},
            "grid rows had 6 entries, now 4",
        ),
        (
            {
                "grid": ek.full_grid(
                    {"method.stroke.strokes_per_placement": [2, 5, 9], "use.strokes": [15, 45]}
                )
            },
            "grid names 0 was 'method.stroke.placements', is 'method.stroke.strokes_per_placement'",
        ),
        ({"task": dataclasses.replace(TASK, use=ek.Use(patch_cv=0.3))}, "task use patch_cv was"),
        (
            {"task": dataclasses.replace(TASK, blade=ek.patterns.universal_curette)},
            "task blade was",
        ),
        ({"summary": True}, "summary was False, is True"),
        ({"grid_runs": 3}, "grid_runs was 0, is 3"),
        ({"chunk_runs": 21}, "chunk_runs was 2048, is 21"),
    ],
)
def test_another_sweep_is_refused_by_what_differs(change, named, tmp_path):
    swept(out=tmp_path)
    before = files(tmp_path)
    with pytest.raises(ek.EdgekitError) as refused:
        swept(**({"out": tmp_path} | change))
    assert named in str(refused.value.what)
    assert files(tmp_path) == before


def test_a_refusal_names_three_differences_at_most(tmp_path):
    swept(out=tmp_path)
    with pytest.raises(ek.EdgekitError) as refused:
        swept(
            ek.full_grid({"method.stroke.placements": [3, 6, 8], "use.strokes": [20, 50]}),
            out=tmp_path,
        )
    assert str(refused.value.what).count(" was ") == 3


def test_a_full_disk_leaves_no_half_a_part(tmp_path, monkeypatch):
    def full(_):
        raise OSError(errno.ENOSPC, "No space left on device")

    first = swept(out=tmp_path, chunk_runs=7)
    (tmp_path / "part-000002.csv").unlink()
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(ek.EdgekitError, match="cannot be used: No space left"):
        swept(out=tmp_path, chunk_runs=7)
    assert not (tmp_path / "part-000002.csv").exists()
    monkeypatch.undo()
    same(first, swept(out=tmp_path, chunk_runs=7))


def test_other_peoples_files_are_left_alone(plain, tmp_path):
    for name in ("notes.tmp", "part.txt", "figure.png"):
        (tmp_path / name).write_text("mine")
    (tmp_path / "part-of-a-thesis.tmp").mkdir()
    same(plain, swept(out=tmp_path))
    assert {"notes.tmp", "part.txt", "figure.png", "part-of-a-thesis.tmp"} <= {
        path.name for path in tmp_path.iterdir()
    }


def test_a_folder_that_cannot_be_made_is_refused(tmp_path):
    (tmp_path / "file").write_text("x")
    for where in (tmp_path / "file", tmp_path / "file" / "inside"):
        with pytest.raises(ek.EdgekitError, match="folder cannot be used"):
            swept(out=where)


def test_another_version_is_refused(tmp_path):
    swept(out=tmp_path)
    path = tmp_path / "manifest.json"
    manifest = json.loads(path.read_text()) | {"edgekit": "0.0.0"}
    path.write_text(json.dumps(manifest))
    with pytest.raises(ek.EdgekitError, match=r"edgekit was '0\.0\.0', is "):
        swept(out=tmp_path)


def test_results_of_another_version_of_the_model_are_refused(tmp_path, monkeypatch):
    swept(out=tmp_path)
    before = files(tmp_path)
    monkeypatch.setattr(manifest, "RESULTS", manifest.RESULTS + 1)
    with pytest.raises(ek.EdgekitError, match="made by another version of the model"):
        swept(out=tmp_path)
    assert files(tmp_path) == before
    monkeypatch.undo()
    path = tmp_path / "manifest.json"
    path.write_text(path.read_text().replace('"results"', '"other"'))
    with pytest.raises(ek.EdgekitError, match="made by another version of the model"):
        swept(out=tmp_path)


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("manifest.json", "{", "cannot be read"),
        ("manifest.json", "[1, 2]", "cannot be read"),
        ("part-000000.csv", "x", "no manifest"),
    ],
)
def test_a_folder_that_cannot_be_trusted_is_refused(name, content, says, tmp_path):
    (tmp_path / name).write_text(content)
    with pytest.raises(ek.EdgekitError, match=says):
        swept(out=tmp_path)


# ---- grids and tasks ----------------------------------------------------------------------------


def test_a_latin_hypercube_fills_every_stratum_of_a_distribution():
    """Source: the definition; scipy's own quantiles."""
    spread = stats.lognorm(s=0.5, scale=3.0)
    grid = ek.latin_hypercube({"use.attrition_um": spread, "use.strokes": (10.0, 20.0)}, 16, seed=3)
    for name, cdf in (("use.attrition_um", spread.cdf), ("use.strokes", lambda x: (x - 10) / 10)):
        strata = np.floor(16 * cdf(np.array(grid.column(name))))
        assert sorted(strata) == list(range(16))


def test_sobol_points_balance_every_half():
    grid = ek.sobol_points({"use.strokes": (0.0, 1.0), "use.patch_cv": (0.0, 1.0)}, 64, seed=3)
    points = np.array(grid.rows)
    for half in (points[:, 0] < 0.5, points[:, 1] < 0.5, (points < 0.5).all(axis=1)):
        assert half.sum() in (32, 16)


def test_grids_come_again_with_their_seed():
    make = {"use.strokes": (0.0, 1.0)}
    for kind in (ek.latin_hypercube, ek.sobol_points):
        assert kind(make, 8, seed=1).rows == kind(make, 8, seed=1).rows
        assert kind(make, 8, seed=1).rows != kind(make, 8, seed=2).rows


def test_rows_reach_every_owner():
    width = ek.MaxWidthLoss(fraction=0.1)
    case = ek.LifeCase(blade=ek.patterns.universal_curette, method=ek.methods.freehand())(
        {
            "method.hand.tilt_deg.sd": 1.5,
            "method": ek.methods.held(15.0),
            "use.law.rate": 0.2,
            "rule": (width, ek.MinLength()),
            "rule.0.fraction": 0.15,
            "blade.thickness_mm": 0.6,
        }
    )
    assert case.method.name == "held at 15.0°, rolled"
    assert case.method.hand.tilt_deg.sd == 1.5
    assert case.use.law.rate == 0.2
    assert [rule.fraction for rule in case.retire] == [0.15, ek.MinLength().fraction]
    assert case.blade.thickness_mm == pytest.approx(0.6)
    every = TASK({"rule.fraction": 0.3})
    assert {rule.fraction for rule in every.retire} == {0.3}


def test_rows_reach_strokes_stop_rules_and_hands():
    case = LIVED(
        {
            "method.stroke": ek.strokes.local(),
            "method.stop": ek.strokes.until_clear(),
            "method.stroke.placements": 5,
            "method.stop.fraction": 0.9,
            "method.stroke.direction.angle_deg": 30.0,
            "method.hand.tilt_deg.sd": 0.5,
            "method.name": "both at once",
        }
    )
    stroke, stop = case.method.local()
    assert (stroke.placements, stop.fraction, stroke.direction.angle_deg) == (5, 0.9, 30.0)
    assert (case.method.hand.tilt_deg.sd, case.method.name) == (0.5, "both at once")
    rolled = LIVED(
        {"method.stroke.within_tilt_sd_deg": 0.7, "method.stop.strokes_between_looks": 3}
    )
    assert rolled.method.rolling().within_tilt_sd_deg == 0.7
    assert rolled.method.stop.strokes_between_looks == 3
    with pytest.raises(ek.EdgekitError, match="until the edge is clear, not by another rule"):
        LIVED({"method.stroke": ek.strokes.local()})


def test_the_model_of_a_stroke_can_be_swept():
    rules = (
        (ek.strokes.rolling(), ek.strokes.until_fresh()),
        (ek.strokes.local(), ek.strokes.until_clear()),
    )
    rows = [{"method.stroke": stroke, "method.stop": stop} for stroke, stop in rules]
    table = swept(ek.list_grid(rows), task=LIVED, runs=2)
    assert (table["status"] == "ok").all()
    rolled, local = table["stone_strokes"].to_numpy().reshape(2, 2)
    assert (rolled != local).all()


@pytest.fixture
def simulated(monkeypatch):
    """Lives simulated so far."""
    numbers = []
    live_runs = case_module.live_runs

    def counted(*args, rngs, **options):
        numbers.append(len(rngs))
        return live_runs(*args, rngs=rngs, **options)

    monkeypatch.setattr(case_module, "live_runs", counted)
    return numbers


SATURATING = ek.Use(law=ek.SaturatingDulling(limit_um=4.0, strokes=20.0))
TURNS = ek.mixture(ek.methods.held(15.0), ek.methods.face_honing(), sides=1, faces=1)
BOTH, ONE = (ek.MaxWidthLoss(), ek.MinLength()), (ek.MaxWidthLoss(),)
UNKNOWN = {
    "field": ([{"method.stroke.placement": 4}], "method.stroke has no such field"),
    "beside a bad value": (
        [{"method.stroke.placements": -1, "use.stroke": 4}],
        "use has no such field",
    ),
    "of a rolling stroke": (
        [{"method": ek.methods.freehand(), "method.stroke.placements": 4}],
        "method.stroke has no such field",
    ),
    "of a count of strokes": (
        [{"method": ek.methods.freehand(stop=ek.strokes.counted()), "method.stop.fraction": 0.9}],
        "method.stop has no such field",
    ),
    "owner": ([{"blades.width_mm": 0.9}], "no such field to sweep"),
    "keyword": ([{"blade.widht_mm": 0.9}], "does not take this keyword"),
    "rule": ([{"rule.fractoin": 0.1}], "no rule has such a field"),
    "of the last row's law": (
        [{"use": use, "use.law.rate": 0.2} for use in (ek.Use(), SATURATING)],
        "use.law has no such field",
    ),
    "of the last row's method": (
        [{"method": way, "method.stroke.placements": 4} for way in (TASK.method, TURNS)],
        "method has no such field",
    ),
    "of the last row's rules": (
        [{"rule": rules, "rule.1.fraction": 0.9} for rules in (BOTH, ONE)],
        "no such rule",
    ),
    "of the last row's blade": (
        [{"blade": hoe, "blade.width_mm": 1.0} for hoe in (ek.patterns.hoe, ek.patterns.hoe())],
        "finished blade",
    ),
}


@pytest.mark.parametrize("case", UNKNOWN)
def test_unknown_names_are_refused_before_a_life_is_simulated(case, simulated, tmp_path):
    rows, says = UNKNOWN[case]
    good = rows[:1] * 3 if len(rows) > 1 else []
    with pytest.raises(UnknownField, match=says):
        swept(ek.list_grid([*good, *rows]), out=tmp_path)
    assert simulated == []
    assert files(tmp_path) == {}


def test_known_names_are_all_simulated(simulated):
    swept(runs=7)
    assert sum(simulated) == len(GRID) * 7


def test_a_task_of_ones_own_is_not_asked_for_its_names(simulated):
    """A function without `check_names` fails row by row."""
    with pytest.warns(module.FailedRows, match="2 of 2 rows"):
        table = swept(ek.full_grid({"use.stroke": [15, 45]}), task=TASK.__call__)
    assert table["status"].str.contains("UnknownField: use has no such field").all()
    assert simulated == []


def wide_hoe(**keywords):
    """A pattern that is not the package's own."""
    return ek.patterns.hoe(**{"width_mm": 3.0, **keywords})


def test_a_changed_function_is_another_sweep(tmp_path, monkeypatch):
    task = dataclasses.replace(TASK, blade=wide_hoe)
    first = swept(task=task, out=tmp_path)
    same(first, swept(task=task, out=tmp_path))
    text = inspect.getsource(wide_hoe)
    monkeypatch.setattr(inspect, "getsource", lambda _: text.replace("3.0", "3.5"))
    with pytest.raises(ek.EdgekitError, match=r"task blade was 'tests\.test_sweep\.wide_hoe"):
        swept(task=task, out=tmp_path)


def test_single_precision_is_a_choice_of_the_task():
    double, single = (
        swept(task=dataclasses.replace(TASK, precision=kind)) for kind in (np.float64, np.float32)
    )
    loss = [table["loss_um_per_session"].to_numpy() for table in (double, single)]
    assert (loss[0] != loss[1]).any()
    np.testing.assert_allclose(loss[1], loss[0], atol=1e-2)  # a life may end a session later
    for wrong in (np.float16, np.nan, "float64"):
        with pytest.raises(ek.BadArgument, match="no such precision"):
            dataclasses.replace(TASK, precision=wrong)


def test_a_task_says_where_lives_are_cut_off():
    table = swept(task=dataclasses.replace(TASK, max_sessions=2))
    assert (table["sessions"] <= 2).all()
    assert (table["ended_by"] == "").any()


def test_whole_methods_are_labelled_by_name():
    grid = ek.full_grid({"method": [in_steps(), ek.methods.face_honing()]})
    table = swept(grid, runs=2)
    assert table["method"].unique().tolist() == [
        "freehand, moving stone, local strokes",
        "face honing",
    ]
    plain = ek.full_grid(
        {"method.stroke.placements": [*np.array([2, 2, 3])], "method.name": ["a", "b"]}
    )
    assert set(swept(plain, runs=1)["method.stroke.placements"]) == {2, 3}
    assert set(swept(plain, runs=1)["method.name"]) == {"a", "b"}
    alike = ek.full_grid({"method": [in_steps(n) for n in (1, 2)], "use.strokes": [15, 45]})
    table = swept(alike, runs=2)
    name = "freehand, moving stone, local strokes"
    assert table["method"].unique().tolist() == [f"{name} (1)", f"{name} (2)"]
    assert (table.groupby("method").size() == 4).all()


WITHOUT_END = SimpleNamespace(ppf=lambda q: np.full_like(q, np.inf))
NOT_A_DESCRIPTION = type("Plain", (), {"__call__": lambda _, row: TASK(row)})()
BAD = {
    "task": (lambda _: swept(task=3), "callable"),
    "grid": (lambda _: swept(grid={"a": 1}), "must be a Grid"),
    "runs": (lambda _: swept(runs=0), "runs"),
    "a billion runs": (lambda _: swept(runs=10**9), "GB"),
    "a billion runs, summed": (lambda _: swept(runs=10**9, summary=True), "or less"),
    "a billion rows": (lambda _: ek.full_grid(dict.fromkeys("abc", range(1000))), "GB"),
    "a billion points": (lambda _: ek.latin_hypercube({"a": (0.0, 1.0)}, 10**9, seed=1), "GB"),
    "2^30 points": (lambda _: ek.sobol_points({"a": (0.0, 1.0)}, 2**30, seed=1), "GB"),
    "a distribution without end": (
        lambda _: ek.latin_hypercube({"a": WITHOUT_END}, 4, seed=1),
        "values of a must be finite",
    ),
    "seed": (lambda _: swept(seed=-1), "seed"),
    "grid runs": (lambda _: swept(grid_runs=-1), "grid_runs"),
    "chunk": (lambda _: swept(chunk_runs=0), "chunk_runs"),
    "executor": (lambda _: swept(executor="dask"), "must have a submit"),
    "out": (lambda _: swept(out=3), "out must be"),
    "no list of values": (lambda _: ek.full_grid({"use.strokes": 45}), "list of values"),
    "text for values": (lambda _: ek.full_grid({"use.strokes": "45"}), "list of values"),
    "no axes": (lambda _: ek.full_grid([1]), "axes must be"),
    "no list of rows": (lambda _: ek.list_grid({"a": 1}), "rows must be"),
    "no row": (lambda _: ek.list_grid([1]), "row must be"),
    "no input": (lambda _: ek.latin_hypercube({}, 4, seed=1), "input is needed"),
    "one number": (lambda _: ek.sobol_points({"a": 3}, 4, seed=1), "range or a distribution"),
    "three ends": (lambda _: ek.sobol_points({"a": (1, 2, 3)}, 4, seed=1), "range or a dist"),
    "seed of points": (lambda _: ek.sobol_points({"a": (0.0, 1.0)}, 4, seed=-1), "seed"),
    "seed of a cube": (lambda _: ek.latin_hypercube({"a": (0.0, 1.0)}, 4, seed=0.5), "seed"),
    "no rule": (lambda _: TASK({"rule": 0.2}), "retire must be"),
    "rules in a list that are none": (lambda _: TASK({"rule": [0.2]}), "retire must be"),
    "nameless task in a folder": (
        lambda tmp: swept(task=NOT_A_DESCRIPTION, out=tmp),
        "has no description",
    ),
    "lambda in a folder": (
        lambda tmp: swept(task=lambda row: TASK(row | {}), out=tmp),
        "cannot be identified",
    ),
    "no axis": (lambda _: ek.full_grid({}), "needs a field"),
    "empty axis": (lambda _: ek.full_grid({"use.strokes": []}), "needs a field and a row"),
    "no rows": (lambda _: ek.list_grid([]), "needs a row"),
    "ragged rows": (lambda _: ek.list_grid([{"a": 1}, {"b": 1}]), "different fields"),
    "short row": (lambda _: Grid(names=("a", "b"), rows=((1,),)), "2 values"),
    "twice": (lambda _: Grid(names=("a", "a"), rows=((1, 2),)), "twice"),
    "range": (lambda _: ek.latin_hypercube({"a": (2.0, 1.0)}, 4, seed=1), "low below its high"),
    "points": (lambda _: ek.sobol_points({"a": (0.0, 1.0)}, 12, seed=1), "power of two"),
    "owner": (lambda _: TASK({"stone.grit": 1}), "no such field"),
    "field": (lambda _: TASK({"method.grit": 1}), "method has no such field"),
    "inner field": (lambda _: TASK({"method.hand.tilt.sd": 1}), "method.hand has no such"),
    "rule number": (lambda _: TASK({"rule.7.fraction": 0.1}), "no such rule"),
    "rule field": (lambda _: TASK({"rule.limit": 0.1}), "no rule has"),
    "keyword": (lambda _: TASK({"blade.colour": 1}), "does not take"),
    "finished blade": (
        lambda _: TASK({"blade": ek.patterns.hoe(), "blade.width_mm": 1}),
        "finished blade",
    ),
    "no blade": (lambda _: TASK({"blade": 3}), "pattern or a Blade"),
    "not a blade": (lambda _: TASK({"blade": dict}), "made no Blade"),
    "no record": (lambda _: set_fields(3, {"x": 1}), "no such field"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_refused(case, tmp_path):
    call, says = BAD[case]
    with pytest.raises(ek.EdgekitError, match=says) as refused:
        call(tmp_path)
    assert refused.value.remedy
