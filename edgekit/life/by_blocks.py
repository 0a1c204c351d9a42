"""Uses and sessions of many lives by the compiled engine, several of each life at a time."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.grinding.compiled import parts
from edgekit.grinding.compiled.session import no_depth, roll, serves, shared
from edgekit.grinding.edge_state import EdgeSums
from edgekit.grinding.kernel import sums
from edgekit.grinding.random_streams import AHEAD
from edgekit.grinding.rolled_side import hands_of, modes_of
from edgekit.grinding.rolling import RolledEdge
from edgekit.grinding.rolling_session import past_need
from edgekit.life.batch import RunBatch
from edgekit.life.dulling import PowerDulling, SaturatingDulling
from edgekit.life.measures import EdgeMeasures, Sessions, mean_of, put_together
from edgekit.life.prepared import PreparedBlade
from edgekit.life.use import USUAL_VOID, EdgeUse, Use, useful_strokes
from edgekit.method.method import Method, Target
from edgekit.units import UM_PER_MM

STARTING = 4  # sessions of a new blade at a time
CERTAIN = 0.8  # of the sessions that a life has left at its mean pace, this share is computed ahead


def serves_life(prepared: PreparedBlade, use: Use) -> bool:
    """Whether the compiled engine has all that a life asks for."""
    method, kind = prepared.method, prepared.grids[0].inset_mm.dtype
    return (
        isinstance(method, Method)
        and method.rolls
        and method.target is not Target.FACE
        and prepared.bending is None
        and kind == np.float64
        and type(use.law) in (PowerDulling, SaturatingDulling)
        and all(serves(aim, method) for aim in prepared.aims[0] if isinstance(aim, RolledEdge))
    )


@dataclass(eq=False)
class _Edge:
    """One edge of a blade: what all runs share, and the present state of each, row by row."""

    prepared: PreparedBlade
    used: EdgeUse
    rolled: RolledEdge
    number: int

    def __post_init__(self) -> None:
        method = self.prepared.method.at(0)
        self.shared = shared(self.rolled, modes_of(self.rolled, method))
        self.method = method

    @cached_property
    def use(self) -> parts.Use:
        """The use before each session, in numbers."""
        use, law = self.used.use, self.used.use.law
        if isinstance(law, SaturatingDulling):
            kind, rate, exponent = parts.LIMIT, law.limit_um, law.strokes
        elif isinstance(law, PowerDulling):
            kind = parts.ROOT if law.exponent == 0.5 else parts.POWER
            rate, exponent = law.rate, law.exponent
        along = self._rows([self.used.strokes, self.used.share])
        lost, void = use.attrition_um / UM_PER_MM, float(USUAL_VOID)
        return parts.Use(kind, rate, exponent, lost, void, *along)

    @cached_property
    def gauge(self) -> parts.Gauge:
        """What is measured after each session."""
        ready, e = self.prepared.ready, self.number
        angle = ready.grids[e].angle_rad
        weights = self._rows(
            [
                ready.sides[e],
                *ready.side_thirds[e],
                np.full(len(angle), 1 / len(angle)),
                *ready.thirds[e],
                ready.weights[e],
            ]
        )
        return parts.Gauge(True, weights.ravel(), *self._rows([ready.on_side[e], angle]))

    def _rows(self, rows: list[FloatArray]) -> FloatArray:
        """Rows (N, P) filled up to the places of the compiled edge."""
        filled = np.zeros((len(rows), self.shared.places))
        filled[:, : self.shared.stations] = rows
        return filled

    def start(self, slots: int) -> None:
        """Room for so many blades."""
        grid = self.rolled.grid
        self.field = np.empty((slots, *grid.depth_mm.shape))
        self.angle, self.cot, self.radius = np.empty((3, slots, len(grid.arc_mm)))

    def renew(self, rows: NDArray[np.int_], radius_um: FloatArray) -> None:
        """Replace the blades of some runs by new ones."""
        grid = self.rolled.grid
        self.field[rows], self.angle[rows] = grid.inset_mm, grid.angle_rad
        self.cot[rows] = 1 / np.tan(grid.angle_rad)
        self.radius[rows] = radius_um[:, None] / UM_PER_MM

    def select(self, rows: NDArray[np.int_]) -> None:
        """Go on with some of the runs."""
        self.field, self.angle = self.field[rows], self.angle[rows]
        self.cot, self.radius = self.cot[rows], self.radius[rows]

    def state(self) -> tuple[parts.Before, parts.After]:
        """The state, to be read and written in place."""
        level = np.zeros_like(self.angle)
        before = parts.Before(self.field, level, self.angle, self.cot, level, self.radius, False)
        margin, land = np.empty_like(level), np.empty_like(level)
        return before, parts.After(self.field, self.angle, self.cot, margin, self.radius, land)


class BlockLives:
    """Lives whose sessions the compiled engine computes, up to `AHEAD` of each at a time."""

    def __init__(self, prepared: PreparedBlade, use: Use) -> None:
        self._prepared, self._method = prepared, prepared.method.at(0)
        self._edges = []
        for e, aim in enumerate(prepared.aims[0]):
            assert isinstance(aim, RolledEdge)
            used = EdgeUse(use, aim.grid, len(prepared.grids))
            self._edges.append(_Edge(prepared, used, aim, e))

    def start(self, slots: int) -> None:
        """Room for so many blades."""
        for edge in self._edges:
            edge.start(slots)

    def renew(self, rows: NDArray[np.int_], radius_um: FloatArray) -> None:
        """Replace the blades of some runs by new ones of a given edge radius (rows,)."""
        for edge in self._edges:
            edge.renew(rows, radius_um)

    def select(self, rows: NDArray[np.int_]) -> None:
        """Go on with some of the runs."""
        for edge in self._edges:
            edge.select(rows)

    def step(self, batch: RunBatch, used_up: FloatArray, limit: int) -> Sessions:
        """Some uses and sessions of each run, fewer than its life has left as far as can be told
        from what is `used_up` (R,) of it."""
        count = _ahead(batch.turn, used_up, limit)
        first = np.concatenate([[0], np.cumsum(count)])
        rows = np.repeat(np.arange(len(count)), count)
        turn = batch.turn[rows] + np.arange(len(rows)) - first[rows]
        effects, draws = batch.effects_of(rows), batch.draws(rows, turn)
        rule, fresh = self._method.stop, batch.fresh_um[rows] / UM_PER_MM
        measured, summed, dull = [], [], []
        for e, edge in enumerate(self._edges):
            hands = hands_of(edge.rolled, self._method, effects, draws)
            often = edge.used.often(effects, draws.patches[:, e])
            before, after = edge.state()
            done = roll(
                *(edge.shared, before, first, edge.use, edge.gauge, hands, fresh, rule),
                *(draws.strokes[e], after, often),
            )
            lost = hands.volume_mm3[done.end == parts.NO_DEPTH]
            if len(lost):
                raise no_depth(lost)
            measured.append(EdgeMeasures(*done.measured.T))
            dull.append(done.seen[:, 0])
            summed.append(
                EdgeSums(
                    volume=done.volume[:, 0],
                    strokes=done.strokes.astype(float),
                    dullness=done.volume[:, 1],
                    overshoot=past_need(
                        done.seen[:, 2], done.seen[:, 1], rule, hands.volume_mm3
                    ),
                    reached=done.end == parts.MET,
                )
            )
        useful = useful_strokes(
            [edge.used for edge in self._edges], mean_of(m.used_radius for m in measured), effects
        )
        whole = sums(summed, self._method, effects)
        return Sessions(
            first,
            *put_together(self._prepared, measured, whole, 1 - mean_of(dull), useful, turn + 1),
        )


def _ahead(turn: NDArray[np.int_], used_up: FloatArray, limit: int) -> NDArray[np.int_]:
    """How many sessions (R,) to compute at once: within one block of random numbers, and fewer than
    a life that goes on as it has still lasts."""
    with np.errstate(divide="ignore", invalid="ignore"):
        left = np.where(used_up > 0, turn * (1 - used_up) / used_up, STARTING / CERTAIN)
    ahead = np.minimum(np.floor(CERTAIN * left), AHEAD - turn % AHEAD)
    return np.clip(ahead, 1, limit - turn).astype(int)
