"""Tasks handed to an executor: chunks by a window at a time, each of about half a second."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor, Future
from itertools import chain, islice
from queue import SimpleQueue
from typing import Any, NamedTuple, TypeVar

from edgekit.errors import BadArgument
from edgekit.grinding.compiled.engine import engine, using
from edgekit.study.chunks.plan import Chunk, Plan
from edgekit.study.chunks.tables import Table

TASKS_OUT = 2048  # tasks handed over at a time: more than most clusters have cores
FIRST_OUT = 256  # until one came back and says how long a chunk takes
AHEAD = 8192  # chunks after the first that is missing: what is held in memory until it comes
TASK_S = 0.5  # time of a task: an executor's overhead of some 5 ms stays about 1 %
MOST_CHUNKS = 64  # in a task
T = TypeVar("T")
Live = Callable[[T, Chunk], Table]


class Done(NamedTuple):
    """A chunk that came back: its number, and its table or what went wrong."""

    number: int
    outcome: Table | Exception


def check_executor(executor: object) -> None:
    """Refuse what takes no tasks."""
    if executor is not None and not callable(getattr(executor, "submit", None)):
        raise BadArgument(
            "executor must have a submit",
            executor,
            "Give a concurrent.futures.Executor, such as ProcessPoolExecutor(2), or None.",
            argument="executor",
        )


def each(
    tasks: Sequence[Sequence[Callable[[], Any]]], executor: Executor | None
) -> list[list[Any]]:
    """What rows of a few tasks give, by the engine that is chosen here."""
    if executor is None:
        return [[task() for task in row] for row in tasks]
    out = [[executor.submit(_by, engine(), task) for task in row] for row in tasks]
    try:
        return [[future.result() for future in row] for row in out]
    finally:
        for future in chain(*out):
            future.cancel()


def _by(name: str, task: Callable[[], T]) -> T:
    """What a task gives by an engine."""
    with using(name):
        return task()


def compute(
    live: Live[T], task: T, plan: Plan, wanted: Iterable[int], executor: Executor | None
) -> Iterator[Done]:
    """Each `wanted` chunk of a plan, in ascending numbers, as it is finished."""
    if executor is None:
        for number in wanted:
            yield Done(number, live(task, plan.chunk(number)))
        return
    window = _Window(live, task, plan, executor)
    numbers = iter(wanted)
    try:
        while window.fill(numbers):
            yield from window.next_done()
    finally:
        window.cancel()


def _live_some(live: Live[T], task: T, chunks: list[Chunk]) -> tuple[list[Table], float]:
    """Chunks of a task one after another, and the seconds that one takes; runs in a worker."""
    start = time.perf_counter()
    tables = [live(task, chunk) for chunk in chunks]
    return tables, (time.perf_counter() - start) / len(chunks)


class _Window:
    """Tasks that are out."""

    def __init__(self, live: Live[T], task: T, plan: Plan, executor: Executor) -> None:
        self._live, self._task, self._plan, self._executor = live, task, plan, executor
        self._out: dict[Future[tuple[list[Table], float]], list[int]] = {}
        self._back: SimpleQueue[Future[tuple[list[Table], float]]] = SimpleQueue()
        self._refused: list[Done] = []
        self._size, self._begun = 0, False
        self._last = 0

    def fill(self, numbers: Iterator[int]) -> bool:
        """Hand over more chunks; whether any are out."""
        most = TASKS_OUT if self._size else min(FIRST_OUT, TASKS_OUT)
        while len(self._out) < most and not self._refused:
            few = max(1, min(self._size, (len(self._plan) - self._first(0)) // MOST_CHUNKS))
            far = self._last - self._first(self._last) > AHEAD
            some = [] if far else list(islice(numbers, few))
            if not some:
                break
            self._last = some[-1]
            self._hand_over(some)
        return bool(self._out or self._refused)

    def _first(self, otherwise: int) -> int:
        """The first chunk that is out."""
        return next(iter(self._out.values()), [otherwise])[0]

    def _hand_over(self, numbers: list[int]) -> None:
        chunks = [self._plan.chunk(number) for number in numbers]
        try:
            future = self._executor.submit(_live_some, self._live, self._task, chunks)
        except Exception as error:  # a worker lost may close an executor
            if not self._begun:
                raise
            self._refused += [Done(number, error) for number in numbers]
            return
        self._out[future], self._begun = numbers, True
        future.add_done_callback(self._back.put)

    def next_done(self) -> list[Done]:
        """Chunks of the next task that comes back."""
        if self._refused:
            refused, self._refused = self._refused, []
            return refused
        future = self._back.get()
        numbers = self._out.pop(future)
        try:
            tables, seconds = future.result()
        except Exception as error:  # noqa: BLE001  # a worker lost is a row with a status
            return [Done(number, error) for number in numbers]
        self._size = int(max(1, min(MOST_CHUNKS, TASK_S / max(seconds, 1e-9))))
        return [Done(*pair) for pair in zip(numbers, tables, strict=True)]

    def cancel(self) -> None:
        """Take back what has not begun."""
        for future in self._out:
            future.cancel()
