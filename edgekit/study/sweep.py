"""Many studies at once: every row of a grid, on one machine or on many.

Runs of a row are cut into pieces at fixed numbers, pieces are gathered into chunks, and chunks are
handed to an executor. Run i of every row draws from child i of the seed, so rows share random
numbers and nothing depends on who computes what, in which order, or how it is cut.
"""

from __future__ import annotations

import enum
import warnings
from collections.abc import Iterable, Iterator
from concurrent.futures import Executor, as_completed
from os import PathLike
from typing import NamedTuple

import numpy as np
import pandas as pd

from edgekit.checks import FloatArray, count, instance
from edgekit.errors import EdgekitError
from edgekit.grinding.random_streams import SeededKeys
from edgekit.study.case import Task
from edgekit.study.checkpoint import Folder, Table, joined
from edgekit.study.grid import Grid, labels
from edgekit.study.manifest import check_results, sweep_manifest
from edgekit.study.outcomes import SESSIONS, VALUES, sample_columns, session_percentiles

__all__ = ["FailedRows", "RunStatus", "sweep"]

PIECE_RUNS = 2048  # runs simulated together, always cut at multiples of this
CHUNK_RUNS = 2048  # lives in a chunk, at some 0.1 ms each: an executor's overhead stays below 5 %
CHUNK_ROWS = 8  # rows in a chunk: each takes some 30 ms however few its runs
MAX_SAMPLES = 20_000_000  # lives of a table with one row per life
SAMPLE_BYTES = 150
MAX_LIVES = 2_000_000_000  # lives of a summary: two days of one processor
SUMMARY = [
    *("row", "status", "lives", "unfinished", *SESSIONS),
    *(f"{name}{part}" for name in VALUES for part in ("", "_sd", "_mc")),
]


class RunStatus(enum.Enum):
    """What became of a run of a sweep; its table holds the value, with the reason of a failure."""

    OK = "ok"
    FAILED = "failed"
    INTERRUPTED = "not run: interrupted"

    def because(self, error: BaseException) -> str:
        """The status with an error in words."""
        return " ".join(f"{self.value}: {type(error).__name__}: {error}".split())


OK = RunStatus.OK.value


class FailedRows(UserWarning):
    """Rows of a sweep failed, and their values are missing."""


class _Piece(NamedTuple):
    """Runs `first` to `first + runs` of one row."""

    row: int
    first: int
    runs: int


class _Chunk(NamedTuple):
    """What is handed to a worker; everything it needs, and small."""

    pieces: tuple[_Piece, ...]
    rows: tuple[dict[str, object], ...]
    seed: int
    summary: bool


def sweep(
    task: Task,
    grid: Grid,
    *,
    runs: int,
    seed: int,
    executor: Executor | None = None,
    out: str | PathLike[str] | None = None,
    progress: bool = True,
    summary: bool = False,
    chunk_runs: int = CHUNK_RUNS,
) -> pd.DataFrame:
    """Simulate the lives of `runs` instruments for every row of a grid.

    Parameters
    ----------
    task : callable
        Makes the study of a row, such as `edgekit.LifeCase`. If it has a method ``check_names``,
        every row is given to that before the first is computed.
    grid : Grid
        From `full_grid`, `list_grid`, `latin_hypercube` or `sobol_points`.
    runs : int
        Lives per row. They are simulated together: a row costs at least as much as some hundred
        lives.
    seed : int
        Root of all random numbers; run i depends on the seed and i only, in every row.
    executor : concurrent.futures.Executor, optional
        Computes chunks elsewhere, through ``submit`` alone; shutting it down is left to the caller.
        None computes here. Processes must be able to import a task of your own: define it at the
        top of a module, not in a notebook's cell; a Dask cluster takes either.
    out : path, optional
        Folder that keeps finished chunks. Called again with the same arguments, the sweep
        continues from there; with others, or by another version of the model, it is refused.
    progress : bool
        Show a bar with the time left.
    summary : bool
        One row per row of the grid (mean, standard deviation, standard error; quantiles of
        sessions) instead of one per life; needs little memory at any number of runs.
    chunk_runs : int
        Lives handed over at a time. Results do not depend on it.

    Returns
    -------
    DataFrame
        ``row``, the grid's fields, ``run``, ``status`` (the values of `RunStatus`), ``sessions``,
        ``ended_by`` and one column per measured quantity; rows in the grid's order. In rows that
        failed everything measured is missing (NaN), ``status`` says why, and one warning
        (`FailedRows`) counts them. Ctrl-C returns what is done, the rest with the status
        "not run: interrupted", and warns.

    Raises
    ------
    EdgekitError
        If an argument cannot be used, a name in the grid is unknown, or `out` belongs to another
        sweep or to another version of the model; it names what differs.

    Examples
    --------
    >>> import edgekit as ek
    >>> task = ek.LifeCase(blade=ek.patterns.hoe, method=ek.methods.freehand())
    >>> grid = ek.full_grid({"method.placements": [2, 6], "method.seatings": [1]})
    >>> table = ek.sweep(task, grid, runs=5, seed=1, progress=False)
    >>> len(table), table["status"].unique().tolist()
    (10, ['ok'])
    """
    _check(task, grid, executor)
    most, size = (MAX_LIVES, 0) if summary else (MAX_SAMPLES, SAMPLE_BYTES)
    runs = count("runs", runs, most=most // len(grid), bytes_each=size * len(grid))
    seed, chunk_runs = count("seed", seed, 0), count("chunk_runs", chunk_runs)
    chunks = list(_chunks(grid, runs, seed, summary, chunk_runs))
    folder, done = None, {}
    if out is not None:
        check_results(out)
        manifest = sweep_manifest(
            task, grid, runs=runs, seed=seed, summary=summary, chunk_runs=chunk_runs
        )
        folder = Folder(out, manifest)
        parts = ((number, folder.read(number)) for number in range(len(chunks)))
        done = {number: table for number, table in parts if table is not None}
    with _bar(chunks, done, shown=progress) as bar:
        try:
            for number, table, complete in _computed(task, chunks, set(done), executor):
                if folder and complete:
                    folder.write(number, table)
                done[number] = table
                bar.update(_runs_of(chunks[number]))
        except KeyboardInterrupt:
            missing = len(chunks) - len(done)
            warnings.warn(
                f"sweep interrupted: {missing} of {len(chunks)} chunks not run", stacklevel=2
            )
    tables = [
        done.pop(n) if n in done else _failed(chunk, RunStatus.INTERRUPTED.value)
        for n, chunk in enumerate(chunks)
    ]
    frame = _framed(grid, joined(tables), summary=summary)
    _warn(frame, len(grid))
    return frame


def _check(task: Task, grid: Grid, executor: Executor | None) -> None:
    """Refuse what cannot be swept, and every name of the grid that cannot be set."""
    if not callable(task):
        raise EdgekitError("task must be callable", task, "Give a LifeCase or a function.")
    instance("grid", grid, Grid, "Make one with full_grid or list_grid.")
    if executor is not None and not callable(getattr(executor, "submit", None)):
        raise EdgekitError(
            "executor must have a submit",
            executor,
            "Give a concurrent.futures.Executor, such as ProcessPoolExecutor(2), or None.",
        )
    check_names = getattr(task, "check_names", None)
    if check_names is not None:
        for number in range(len(grid)):
            check_names(grid.row(number))


def _warn(frame: pd.DataFrame, rows: int) -> None:
    """Say once how many rows of the grid failed, and why the first did."""
    failed = frame[frame["status"].str.startswith(RunStatus.FAILED.value)]
    if len(failed):
        warnings.warn(
            f"{failed['row'].nunique()} of {rows} rows of the sweep failed; their values are "
            f"missing (NaN). The first {failed['status'].iloc[0]}",
            FailedRows,
            stacklevel=3,
        )


def _chunks(grid: Grid, runs: int, seed: int, summary: bool, most: int) -> Iterator[_Chunk]:
    """Pieces in order, gathered while they stay below `most` runs and `CHUNK_ROWS` rows."""

    def chunk(pieces: list[_Piece]) -> _Chunk:
        return _Chunk(tuple(pieces), tuple(grid.row(p.row) for p in pieces), seed, summary)

    held: list[_Piece] = []
    for row in range(len(grid)):
        for first in range(0, runs, PIECE_RUNS):
            piece = _Piece(row, first, min(PIECE_RUNS, runs - first))
            full = sum(p.runs for p in held) + piece.runs > most or len(held) == CHUNK_ROWS
            if held and full:
                yield chunk(held)
                held = []
            held.append(piece)
    yield chunk(held)


def _runs_of(chunk: _Chunk) -> int:
    return sum(piece.runs for piece in chunk.pieces)


def _bar(chunks: list[_Chunk], done: Iterable[int], *, shown: bool):  # type: ignore[no-untyped-def]
    from tqdm.auto import tqdm

    return tqdm(
        total=sum(map(_runs_of, chunks)),
        initial=sum(_runs_of(chunks[n]) for n in done),
        unit=" lives",
        disable=not shown,
    )


def _computed(
    task: Task, chunks: list[_Chunk], done: set[int], executor: Executor | None
) -> Iterator[tuple[int, Table, bool]]:
    """Number, table and whether it may be kept, of each other chunk as it is finished."""
    waiting = [number for number in range(len(chunks)) if number not in done]
    if executor is None:
        for number in waiting:
            yield number, _live_chunk(task, chunks[number]), True
        return
    futures = {executor.submit(_live_chunk, task, chunks[n]): n for n in waiting}
    try:
        for future in as_completed(futures):
            number = futures[future]
            try:
                yield number, future.result(), True
            except Exception as error:  # noqa: BLE001  # a worker lost is a row with a status
                yield number, _failed(chunks[number], RunStatus.FAILED.because(error)), False
    finally:
        for future in futures:
            future.cancel()


def _live_chunk(task: Task, chunk: _Chunk) -> Table:
    """The tables of a chunk's pieces; runs wherever the executor puts it."""
    tables = []
    for piece, row in zip(chunk.pieces, chunk.rows, strict=True):
        try:
            lives = task(row).live(SeededKeys(chunk.seed, first=piece.first, runs=piece.runs))
            table = _piece(piece, OK, sample_columns(lives))
        except Exception as error:  # noqa: BLE001  # bad input in one row must not lose the others
            table = _piece(piece, RunStatus.FAILED.because(error))
        tables.append(_moments(table) if chunk.summary else table)
    return joined(tables)


def _failed(chunk: _Chunk, status: str) -> Table:
    """A chunk that was not computed."""
    tables = [_piece(piece, status) for piece in chunk.pieces]
    return joined([_moments(table) if chunk.summary else table for table in tables])


def _piece(piece: _Piece, status: str, columns: Table | None = None) -> Table:
    """One row per run; without columns, everything that would have been measured is missing."""
    row, first, runs = piece
    if columns is None:
        missing = np.full(runs, np.nan)
        columns = {"sessions": missing, "ended_by": np.full(runs, "", dtype=object)}
        columns |= dict.fromkeys(VALUES, missing)
    return {
        "row": np.full(runs, row),
        "run": np.arange(first, first + runs),
        "status": np.full(runs, status, dtype=object),
        **columns,
    }


def _moments(table: Table) -> Table:
    """A piece as counts of sessions and sums, one row for each number of sessions.

    ``lives`` ended after ``sessions``; of each quantity the mean over those lives and the sum of
    squared deviations from it, from which means and spreads over any pieces follow.
    """
    sessions, group = np.unique(table["sessions"], return_inverse=True)
    lives = np.bincount(group)
    out: Table = {
        "row": np.repeat(table["row"][:1], len(sessions)),
        "status": np.repeat(table["status"][:1], len(sessions)),
        "sessions": sessions,
        "lives": lives,
        "unfinished": np.bincount(group, weights=table["ended_by"] == ""),
    }
    for name in VALUES:
        values = table[name].astype(float)
        mean = np.bincount(group, weights=values) / lives
        out[name] = mean
        out[f"{name}_ss"] = np.bincount(group, weights=(values - mean[group]) ** 2)
    return out


def _framed(grid: Grid, table: Table, *, summary: bool) -> pd.DataFrame:
    """The table with the grid's fields beside the row numbers."""
    if summary:
        frame = pd.DataFrame(_summary(table), columns=SUMMARY)
    else:
        frame = pd.DataFrame(table)
        frame["ended_by"] = frame["ended_by"].where(frame["sessions"].notna())
    for place, name in enumerate(grid.names):
        column = pd.Series(labels(grid.column(name)))
        frame.insert(1 + place, name, column.to_numpy()[frame["row"].to_numpy()])
    return frame


def _summary(table: Table) -> list[dict[str, object]]:
    """One line per row of the grid from the counts and sums of its pieces."""
    lines = []
    numbers, starts = np.unique(table["row"], return_index=True)  # a row's pieces lie together
    for row, start, end in zip(numbers, starts, [*starts[1:], None], strict=True):
        status = table["status"][start:end]
        bad = status != OK
        part = {name: column[start:end][~bad] for name, column in table.items()}
        lives = part["lives"].astype(float)
        total = lives.sum()
        line = {"row": int(row), "status": status[np.argmax(bad)], "lives": int(total)}
        if total:
            line["unfinished"] = part["unfinished"].sum() / total
            line |= session_percentiles(np.repeat(part["sessions"], part["lives"].astype(int)))
            for name in VALUES:
                line |= _spread(name, part[name].astype(float), part[f"{name}_ss"], lives)
        lines.append(line)
    return lines


def _spread(
    name: str, means: FloatArray, squares: FloatArray, lives: FloatArray
) -> dict[str, float]:
    """Mean, standard deviation and standard error over groups of `lives` each."""
    total = lives.sum()
    mean = float((means * lives).sum() / total)
    square = (squares + lives * (means - mean) ** 2).sum()
    sd = float(np.sqrt(square / (total - 1))) if total > 1 else np.nan
    return {name: mean, f"{name}_sd": sd, f"{name}_mc": sd / np.sqrt(total)}
