"""Chunks put in order again: each is added once all before it are there, and is then let go."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from edgekit.study.chunks.plan import Chunk, Plan
from edgekit.study.chunks.tables import Samples, Sums, Table


class Stored(Protocol):
    """What is there already."""

    def stored(self, number: int) -> tuple[Table, int] | None:
        """The table that begins with a chunk, and the chunk after it; None if there is none."""
        ...


class InOrder:
    """Chunks of a plan on their way into what is `collected`; so many were ``added``."""

    def __init__(self, plan: Plan, stored: Stored | None, collected: Samples | Sums) -> None:
        self._plan, self._stored, self._collected = plan, stored, collected
        self._held: dict[int, Table] = {}
        self._next = self.added = 0

    def add(self, number: int, table: Table) -> None:
        """A chunk that is finished."""
        self._held[number] = table
        self.added += 1
        self.advance()

    def advance(self) -> None:
        """Add all that no other chunk has to come before."""
        while self._next < len(self._plan):
            if self._next in self._held:
                self._collected.add(self._held.pop(self._next))
                self._next += 1
                continue
            found = None if self._stored is None else self._stored.stored(self._next)
            if found is None:
                break
            table, self._next = found
            self._collected.add(table)

    def fill(self, made: Callable[[Chunk], Table]) -> None:
        """Add what is `made` of each chunk that did not come."""
        self.advance()
        while self._next < len(self._plan):
            self.add(self._next, made(self._plan.chunk(self._next)))
