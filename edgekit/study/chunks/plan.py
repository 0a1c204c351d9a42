"""Pieces and chunks of a sweep, made when they are asked for: there may be a million of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, NamedTuple

from edgekit.study.grid import Grid

CHUNK_ROWS = 8  # rows in a chunk: each takes some 10 ms however few its runs


class Piece(NamedTuple):
    """Runs `first` to `first + runs` of one row, whose values are `fields`."""

    row: int
    fields: dict[str, object]
    first: int
    runs: int


class Chunk(NamedTuple):
    """What is sent to a worker: everything it needs, and little of it."""

    pieces: list[Piece]
    seed: int
    summary: bool
    grid_runs: int
    engine: str


class Plan:
    """How the runs of all rows are cut: into pieces of at most `piece_runs` runs of a row, in
    order, and these into chunks of at most `CHUNK_ROWS` pieces and about `chunk_runs` runs."""

    def __init__(
        self,
        grid: Grid,
        runs: int,
        *,
        piece_runs: int,
        chunk_runs: int,
        settings: Mapping[str, Any],
    ) -> None:
        self.grid, self.runs = grid, runs
        self._piece_runs, self._settings = piece_runs, settings
        self.row_pieces = -(-runs // piece_runs)
        self._size = max(1, min(CHUNK_ROWS, chunk_runs // min(piece_runs, runs)))
        self._pieces = self.row_pieces * len(grid)

    def __len__(self) -> int:
        return math.ceil(self._pieces / self._size)

    def chunk(self, number: int) -> Chunk:
        """One of the chunks."""
        pieces = range(number * self._size, min((number + 1) * self._size, self._pieces))
        return Chunk([self._piece(piece) for piece in pieces], **self._settings)

    def lives(self, number: int) -> int:
        """Number of lives in a chunk."""
        return self._before((number + 1) * self._size) - self._before(number * self._size)

    def _before(self, piece: int) -> int:
        """Number of lives before a piece."""
        row, place = divmod(min(piece, self._pieces), self.row_pieces)
        return row * self.runs + place * self._piece_runs

    def _piece(self, piece: int) -> Piece:
        row, place = divmod(piece, self.row_pieces)
        first = place * self._piece_runs
        return Piece(row, self.grid.row(row), first, min(self._piece_runs, self.runs - first))
