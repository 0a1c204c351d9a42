"""Uses and sessions of many lives by the compiled engine, several of each life at a time."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.errors import Cannot
from edgekit.grinding.compiled import parts
from edgekit.grinding.compiled.planes import session as compiled_planes
from edgekit.grinding.compiled.planes.parts import After
from edgekit.grinding.compiled.session import fill, no_depth, roll, serves, shared
from edgekit.grinding.edge_state import EdgeSums
from edgekit.grinding.kernel import sums
from edgekit.grinding.modes import modes
from edgekit.grinding.planes import even_places
from edgekit.grinding.random_streams import RunEffects, SessionDraws
from edgekit.grinding.rolled_side import correlation_of, hands_of
from edgekit.grinding.rolling import RolledEdge
from edgekit.grinding.rolling_session import past_need
from edgekit.life.batch import RunBatch
from edgekit.life.dulling import PowerDulling, SaturatingDulling
from edgekit.life.measures import EdgeMeasures, SessionMeasures, Sessions, mean_of, put_together
from edgekit.life.prepared import PreparedBlade
from edgekit.life.retire import WidthLoss
from edgekit.life.use import USUAL_VOID, EdgeUse, Use, useful_strokes
from edgekit.method.method import Method, Target
from edgekit.units import UM_PER_MM

BLOCKS = 4  # of random numbers lie ready: up to so many times eight sessions at a time
STARTING = 4  # sessions of a new blade at a time
SURE, LEFT, FEW = 0.85, 1.05, 6.0  # shares of what a life has left at its mean pace; sessions
CALL = 40.0  # sessions that take as long as what Python does for a call
ON_TRUST = 200.0  # sessions, computed because so long a life is expected: in vain if it is not


def serves_life(prepared: PreparedBlade, use: Use) -> bool:
    """Whether the compiled engine has all that a life asks for."""
    method, kind = prepared.method, prepared.grids[0].inset_mm.dtype
    return (
        isinstance(method, Method)
        and method.target is not Target.FACE
        and prepared.bending is None
        and kind == np.float64
        and type(use.law) in (PowerDulling, SaturatingDulling)
        and all(
            serves(aim, method) if isinstance(aim, RolledEdge) else compiled_planes.serves()
            for aim in prepared.aims[0]
        )
    )


class _Edge(ABC):
    """One edge of R blades: what all share, and the present state of each, run after run.

    ``stuck`` (R,): a stroke found no depth, so that this blade must not go on.
    """

    unit_um: float  # in which radii are kept

    def __init__(self, prepared: PreparedBlade, use: Use, number: int, places: int) -> None:
        self.method, self.grid = prepared.method.at(0), prepared.grids[number]
        self.number, self._places = number, places
        self.used = EdgeUse(use, self.grid, len(prepared.grids))
        self._use, self._gauge = self._use_in_numbers(), self._gauge_of(prepared)

    def _use_in_numbers(self) -> parts.Use:
        use, law = self.used.use, self.used.use.law
        if isinstance(law, SaturatingDulling):
            kind, rate, exponent = parts.LIMIT, law.limit_um, law.strokes
        else:
            assert isinstance(law, PowerDulling)
            kind = parts.ROOT if law.exponent == 0.5 else parts.POWER
            rate, exponent = law.rate, law.exponent
        lost, void = use.attrition_um / UM_PER_MM, float(USUAL_VOID)
        strokes, share = self._along([self.used.strokes, self.used.share])
        return parts.Use(kind, rate, exponent, lost, void, strokes, share, self.used.patch)

    def _gauge_of(self, prepared: PreparedBlade) -> parts.Gauge:
        ready, e = prepared.ready, self.number
        angle = self.grid.angle_rad
        sides = ready.sides[e], *ready.side_thirds[e]
        wholes = np.full(len(angle), 1 / len(angle)), *ready.thirds[e], ready.weights[e]
        weights = self._along([*sides, *wholes]).ravel()
        return parts.Gauge(
            True, weights, *self._along([ready.on_side[e].astype(np.float64), angle])
        )

    def _along(self, rows: list[FloatArray]) -> FloatArray:
        """Rows (N, P) filled up to the places of the compiled edge."""
        filled = np.zeros((len(rows), self._places))
        filled[:, : len(self.grid.arc_mm)] = rows
        return filled

    def start(self, slots: int) -> None:
        """Room for so many blades."""
        grid = self.grid
        self._field = np.empty((slots, *grid.depth_mm.shape))
        self._angle, self._cot, self._radius = np.empty((3, slots, len(grid.arc_mm)))
        self.stuck = np.zeros(slots, dtype=bool)

    def renew(self, rows: NDArray[np.int_], radius_um: FloatArray) -> None:
        """Replace the blades of some runs by new ones."""
        grid = self.grid
        self._field[rows], self._angle[rows] = grid.inset_mm, grid.angle_rad
        self._cot[rows] = 1 / np.tan(grid.angle_rad)
        self._radius[rows] = radius_um[:, None] / self.unit_um
        self.stuck[rows] = False

    def select(self, rows: NDArray[np.int_]) -> None:
        """Go on with some of the runs."""
        self._field, self._angle, self._cot = self._field[rows], self._angle[rows], self._cot[rows]
        self._radius, self.stuck = self._radius[rows], self.stuck[rows]

    def _before_and_after(self) -> tuple[parts.Before, list[FloatArray]]:
        """Edges before their next sessions and, in the same place, after them: field, angle,
        cotangent and radius."""
        level = np.zeros_like(self._angle)
        each = [self._field, self._angle, self._cot, self._radius]
        field, angle, cot, radius = each
        return parts.Before(field, level, angle, cot, level, radius, False), each

    @abstractmethod
    def go_on(
        self,
        first: NDArray[np.int_],
        effects: RunEffects,
        draws: SessionDraws,
        turn: NDArray[np.int_],
        fresh_um: FloatArray,
    ) -> tuple[parts.Done, FloatArray]:
        """The next N sessions, of each run from its `first` (R + 1,) on, with session numbers
        `turn` (N,), and the volume (N,) [mm³] that was taken past the need."""


class _RolledEdge(_Edge):
    """One that a stone rolls along."""

    unit_um = UM_PER_MM

    def __init__(self, prepared: PreparedBlade, use: Use, number: int) -> None:
        aim = prepared.aims[0][number]
        assert isinstance(aim, RolledEdge)
        self._rolled = aim
        self._shared = _edge_of(aim, correlation_of(prepared.method.at(0)))
        super().__init__(prepared, use, number, self._shared.places)

    def go_on(
        self,
        first: NDArray[np.int_],
        effects: RunEffects,
        draws: SessionDraws,
        turn: NDArray[np.int_],  # noqa: ARG002 - all sessions are alike
        fresh_um: FloatArray,
    ) -> tuple[parts.Done, FloatArray]:
        """See `_Edge`."""
        hands = hands_of(self._rolled, self.method, effects, draws)
        rule, (before, (field, angle, cot, radius)) = self.method.stop, self._before_and_after()
        margin, land = np.empty((2, *angle.shape))
        done = roll(
            self._shared,
            before,
            first,
            self._use,
            self._gauge,
            hands,
            fresh_um / UM_PER_MM,
            rule,
            draws.strokes[self.number],
            parts.After(field, angle, cot, margin, radius, land),
            self.used.often(effects, draws.patches[:, self.number]),
        )
        self.stuck |= np.logical_or.reduceat(done.end == parts.NO_DEPTH, first[:-1])
        return done, past_need(done.seen[:, 2], done.seen[:, 1], rule, hands.volume_mm3)


@lru_cache(maxsize=16)
def _edge_of(aim: RolledEdge, correlation: float) -> parts.Edge:
    """What all rows of a sweep share that have the same edge and pace."""
    return shared(aim, modes(1.0, correlation, len(aim.grid.arc_mm)))


class _LaidEdge(_Edge):
    """One that a stone is laid against at one placement after another."""

    unit_um = 1.0

    def __init__(self, prepared: PreparedBlade, use: Use, number: int) -> None:
        grid, aim, method = prepared.grids[number], prepared.aims[0][number], prepared.method.at(0)
        assert not isinstance(aim, RolledEdge)
        reached = even_places(grid.edge, method.local()[0].spacing)
        self._shared = compiled_planes.shared(grid)
        self._plan = compiled_planes.plan_of(grid, method, aim, reached)
        self._stop = compiled_planes.stop_of(grid, method)
        super().__init__(prepared, use, number, self._shared.places)

    def go_on(
        self,
        first: NDArray[np.int_],
        effects: RunEffects,
        draws: SessionDraws,
        turn: NDArray[np.int_],
        fresh_um: FloatArray,
    ) -> tuple[parts.Done, FloatArray]:
        """See `_Edge`."""
        before, (field, angle, cot, radius) = self._before_and_after()
        land, sharp, active = np.empty((3, *angle.shape))
        done = compiled_planes.grind(
            self._shared,
            before,
            first,
            self._use,
            self._gauge,
            compiled_planes.hand_of(self.method, effects, draws, self.number, turn, fresh_um),
            self._plan,
            self._stop,
            After(field, angle, cot, radius, land, sharp, active),
            self.used.often(effects, draws.patches[:, self.number]),
        )
        return done, np.zeros(len(turn))


class BlockLives:
    """Lives whose sessions the compiled engine computes, several of each at a time."""

    def __init__(self, prepared: PreparedBlade, use: Use, expected: float = 0.0) -> None:
        self._prepared, self._method, self.fill = prepared, prepared.method.at(0), fill
        self._expected = expected
        self.blocks = BLOCKS if self._method.rolls else 1  # of seatings there are many
        kind = _RolledEdge if self._method.rolls else _LaidEdge
        self._edges = [kind(prepared, use, e) for e in range(len(prepared.grids))]

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
        """Some uses and sessions of each run, about as many as its life has left as far as can be
        told from what is `used_up` (R,) of it."""
        for edge in self._edges:
            if edge.stuck.any():
                raise self._no_depth()
        most = np.minimum(batch.within_reach(), limit - batch.turn)
        count = _ahead(batch.turn, used_up, most, self._expected)
        first = np.concatenate([[0], np.cumsum(count)])
        runs = np.repeat(np.arange(len(count)), count)
        turn = batch.turn[runs] + np.arange(len(runs)) - first[runs]
        effects = batch.effects_of(runs)
        draws = batch.draws(runs, turn, in_place=not self._method.rolls)
        given = first, effects, draws, turn, batch.fresh_um[runs]
        done = [edge.go_on(*given) for edge in self._edges]
        ended = np.logical_and.reduce(
            [(d.end == parts.MET) | (d.end == parts.UNMET) for d, _ in done]
        )
        if not ended.all():  # a life that is over by then has no need of the others
            done = [(parts.Done(*(part[ended] for part in d)), v[ended]) for d, v in done]
            effects, turn = RunEffects(*(part[ended] for part in effects)), turn[ended]
            count = np.add.reduceat(ended, first[:-1])
            if not count.all():
                raise self._no_depth()  # their next session is the one
            first = np.concatenate([[0], np.cumsum(count)])
        return Sessions(first, *self._measured(done, effects, turn + 1))

    def _no_depth(self) -> Cannot:
        return no_depth(self._method.removal_mm3_per_stroke)

    def _measured(
        self,
        done: Sequence[tuple[parts.Done, FloatArray]],
        effects: RunEffects,
        sessions: NDArray[np.int_],
    ) -> tuple[SessionMeasures, WidthLoss]:
        edges = [EdgeMeasures(*d.measured.T) for d, _ in done]
        summed = [
            EdgeSums(
                volume=d.volume[:, 0],
                strokes=d.strokes.astype(float),
                dullness=d.volume[:, 1],
                overshoot=past,
                reached=d.end == parts.MET,
            )
            for d, past in done
        ]
        sharp = 1 - mean_of(d.seen[:, 0] for d, _ in done)
        radius = mean_of(edge.used_radius for edge in edges)
        useful = useful_strokes([edge.used for edge in self._edges], radius, effects)
        whole = sums(summed, self._method, effects)
        return put_together(self._prepared, edges, whole, sharp, useful, sessions)


def _ahead(
    turn: NDArray[np.int_], used_up: FloatArray, most: NDArray[np.int_], expected: float
) -> NDArray[np.int_]:
    """How many sessions (R,) to compute at once, `most` at most: as many as a life that goes on as
    it has, or a new one as long as is `expected`, is nearly sure to last, or so few that it does
    not matter; and half as many more as long as the fewer calls are worth what is computed in
    vain."""
    pace = used_up / np.maximum(turn, 1)
    left = np.divide(1 - used_up, pace, out=np.full(len(turn), np.inf), where=pace > 0)
    few = np.minimum(LEFT * left, FEW)
    start = max(STARTING, min(SURE * expected, STARTING + ON_TRUST / len(turn)))
    ahead = np.where(turn > 0, np.maximum(SURE * left, few), start)
    spare = np.minimum(CALL / len(turn), ahead / 2)
    return np.asarray(np.clip(np.floor(ahead + spare), 1, most).astype(int))
