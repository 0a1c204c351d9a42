"""How far a sweep is: lives, lives a second, time left; a bar, or lines in a log."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import Any, Self

LINE_S = 30.0  # between two lines of a log


def clock(seconds: float) -> str:
    """Seconds as hours, minutes and seconds.

    Examples
    --------
    >>> clock(59.6), clock(3723)
    ('1:00', '1:02:03')
    """
    minutes, left = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


class Progress:
    """A sweep's progress on stderr.

    In a terminal or a notebook it is a bar; elsewhere, such as in the log of a cluster's job, a
    line every half minute, and one at the end.
    """

    def __init__(self, lives: int, *, shown: bool) -> None:
        self._lives, self._done, self._before = lives, 0, 0
        self._bar: Any = None
        self._shown = shown
        self._start = self._said = time.monotonic()

    def __enter__(self) -> Self:
        return self

    def begin(self, lives: int) -> None:
        """Start with the lives that were there before."""
        self._before = self._done = lives
        if self._shown and (sys.stderr.isatty() or "ipykernel" in sys.modules):
            from tqdm.std import tqdm  # that of notebooks needs widgets

            self._bar = tqdm(total=self._lives, initial=lives, unit=" lives")

    def update(self, lives: int) -> None:
        """More lives."""
        self._done += lives
        if self._bar is not None:
            self._bar.update(lives)
        now = time.monotonic()
        if self._shown and self._bar is None and now - self._said >= LINE_S:
            self._say(now)

    def _say(self, now: float) -> None:
        self._said = now
        spent = now - self._start
        rate = (self._done - self._before) / max(spent, 1e-9)
        left = clock((self._lives - self._done) / rate) if rate else "unknown time"
        sys.stderr.write(
            f"edgekit: {self._done:,} of {self._lives:,} lives, {rate:,.0f} lives/s, "
            f"{clock(spent)} gone, {left} left\n"
        )
        sys.stderr.flush()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._bar is not None:
            self._bar.close()
        elif self._shown:
            self._say(time.monotonic())
