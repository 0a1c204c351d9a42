"""Sessions of rolling strokes on one edge, many runs at once: stroke on stroke to a rule's end.

A run whose rule is met leaves the company of the others, and others may join it between two looks
at the edges; none of a run's numbers depends on its company.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Protocol, cast

import numpy as np

from edgekit.checks import FloatArray
from edgekit.contact import apex
from edgekit.evidence_table import value
from edgekit.grinding.arrays.flank import WorkedFlank
from edgekit.grinding.arrays.levels import TINY
from edgekit.grinding.arrays.strokes import flat_stroke, stroke
from edgekit.grinding.recession_field import cleared
from edgekit.grinding.rolling import Lines, RolledEdge, Stretch
from edgekit.method.stop import Apex, StopRule
from edgekit.method.strokes import RollingStroke, Stroke

if TYPE_CHECKING:
    from numpy.typing import NDArray


FLAT_RAD = np.radians(10.0)  # an edge that turns by less is ground flat: a plane lies on all of it
REGISTERED_RAD = np.radians(value("registered_swing_sd_deg"))  # it finds its direction there
KEEN_MM = 1.0  # how far below a limit an edge without a worn corner counts
MAX_STROKES = int(value("max_stone_strokes"))


class StrokeDraws(Protocol):
    """Random numbers of strokes."""

    def stroke(self, number: int | NDArray[np.int_], runs: NDArray[np.int_]) -> FloatArray:
        """Unit normals (R, 3 + modes) of stroke `number` of some runs, or (R,) where each is at
        its own: tilt, swing, place, and within the stroke.
        """
        ...


@dataclass(frozen=True, kw_only=True, eq=False)
class Hands:
    """How the hands of R runs err this session: what all strokes share, and how much they scatter.

    ``tilt_rad, swing_rad, shift_mm`` (R,) are common to the session; the ``_sd`` of each (R,)
    scatter from stroke to stroke; ``within_sd_rad`` (R,) is the tilt's along a stroke, whose shapes
    are ``modes`` (M, S). ``volume_mm3`` (R,) is what a stroke takes.
    """

    tilt_rad: FloatArray
    swing_rad: FloatArray
    shift_mm: FloatArray
    tilt_sd_rad: FloatArray
    swing_sd_rad: FloatArray
    shift_sd_mm: FloatArray
    within_sd_rad: FloatArray
    modes: FloatArray
    volume_mm3: FloatArray

    def some(self, runs: NDArray[np.int_]) -> Hands:
        """The hands of some runs."""
        kept = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return Hands(**{name: v if name == "modes" else v[runs] for name, v in kept.items()})

    def join(self, others: Hands) -> Hands:
        """These hands, then others."""
        pairs = {n: (getattr(self, n), getattr(others, n)) for n in self.__dataclass_fields__}
        modes = pairs.pop("modes")[0]
        return Hands(modes=modes, **{name: np.concatenate(pair) for name, pair in pairs.items()})


class Flank(NamedTuple):
    """An edge as it stands: ``field`` (V, S, R); per station (S, R) the wedge's ``angle`` and the
    face's ``lean`` from the nominal face [rad], and the ``radius`` of the apex [mm]."""

    field: FloatArray
    angle: FloatArray
    lean: FloatArray
    radius: FloatArray


class RolledSession(NamedTuple):
    """What a session came to: the edge after it; ``land`` (S, R) left and ``margin`` (S, R) by the
    rule [mm]; per run (R,) the share still dull, whether the rule was ``met``, strokes, and volume
    [mm³] in all, for the dullness alone and past the need, and what is ``cleared`` since new."""

    flank: Flank
    land: FloatArray
    margin: FloatArray
    dull_share: FloatArray
    met: NDArray[np.bool_]
    strokes: NDArray[np.int_]
    removed: FloatArray
    dullness: FloatArray
    overshoot: FloatArray
    cleared: FloatArray


def roll_session(
    rolled: RolledEdge,
    start: Flank,
    hands: Hands,
    rule: StopRule,
    way: Stroke,
    draws: StrokeDraws,
    fresh_radius: FloatArray,
) -> RolledSession:
    """Strokes on one edge until the rule is met; `fresh_radius` (R,) [mm] is what grinding
    leaves.
    """
    every = np.arange(start.field.shape[2])
    now = Grinding(rolled, start, hands, rule, way, fresh_radius, every)
    done = Collected()
    now.end(done)
    while len(now.runs):
        now.advance(draws, done)
    return session(rolled, done.take(every))


class Grinding:
    """Edges of some ``runs`` (R,) under strokes, of which each has ``made`` so many: one number
    while all began together, then (R,)."""

    runs: NDArray[np.int_]
    made: int | NDArray[np.int_]
    _EACH = ("runs", "fresh_radius", "worst", "dullness", "ground")  # (R,), the last (S, R)

    def __init__(
        self,
        rolled: RolledEdge,
        start: Flank,
        hands: Hands,
        rule: StopRule,
        way: Stroke,
        fresh_radius: FloatArray,
        runs: NDArray[np.int_],
    ) -> None:
        self.hands, self.rule, self.way, self.fresh_radius = hands, rule, way, fresh_radius
        self.runs, self.made = runs, 0
        self.whole = type(way) is RollingStroke and way.covers(rolled.grid.arc_mm[-1])
        self.flank = WorkedFlank(rolled, start.field)
        inset, old = rolled.inset(start.field), rolled.within(start.field)
        along = start.radius, start.angle, start.lean, inset, old, inset, np.ones_like(inset)
        self._lay_out(np.stack(along))
        self.angle = start.angle
        self.ground = np.zeros(inset.shape, dtype=bool)
        self.margin = np.zeros_like(inset)
        self.share = np.ones(len(fresh_radius))
        self.worst = self.worst_before = np.zeros(len(fresh_radius))
        self.dullness = self._dullness(rolled, start)

    def _lay_out(self, along: FloatArray) -> None:
        """Name what goes along with the edges: parts of one array, which are changed in place."""
        self.along = along
        self.radius, self.old_angle, self.lean, self.first, self.old, self.inset, self.slope = along

    def _dullness(self, rolled: RolledEdge, start: Flank) -> FloatArray:
        """Volume (R,) that a stone held without error at the angle of the facet would take."""
        before = Apex(
            start.radius, start.angle, np.zeros_like(self.first), start.angle, self.fresh_radius
        )
        need = np.where(before.blunt, self.rule.least_inset(before), 0.0)
        slope = 1 / np.tan(start.angle + start.lean)
        level = self.first + need - slope * rolled.drop_mm
        parallel = Lines(np.where(need > TINY, level, -np.inf), slope)  # rounding is no need
        return rolled.volume(rolled.within(parallel.cut(start.field, rolled)) - self.old)

    def apex(self) -> Apex:
        """The apex now."""
        facet = np.arctan2(1.0, self.slope) - self.lean
        self.angle = np.where(self.ground, facet, self.old_angle)
        moved = self.inset - self.first
        return Apex(self.radius, self.old_angle, moved, self.angle, self.fresh_radius)

    def advance(self, draws: StrokeDraws, done: Collected) -> None:
        """Strokes up to the next look; those that are over leave, and are added to the `done`."""
        for left in reversed(range(self.rule.strokes_between_looks)):
            if not len(self.runs):
                return
            self.strike(draws.stroke(self.made, self.runs))
            self.made = self.made + 1
            last = np.equal(self.made, MAX_STROKES)
            if not left or last.any():
                self.end(done, last if left else True)

    def end(self, done: Collected, due: NDArray[np.bool_] | bool = True) -> None:
        """Look at the edges of those that are `due`; those that are over leave."""
        met = self.look(due)
        over = due & (met | np.equal(self.made, MAX_STROKES))
        if over.any():
            done.add(self, over, met)
            self.keep(np.flatnonzero(~over))

    def look(self, due: NDArray[np.bool_] | bool = True) -> NDArray[np.bool_]:
        """Look at the edges: whether (R,) they are good enough; of those that are not `due` the
        worst place is taken to be what it was."""
        apex_now = self.apex()
        margin, blunt = self.rule.margin(apex_now), apex_now.blunt
        self.margin = np.where(blunt, margin, 0.0)
        self.share = apex.dull_share(self.margin)
        self.worst_before = self.worst
        worst = np.where(blunt, margin, -KEEN_MM).max(axis=0)
        self.worst = np.where(due, worst, self.worst_before)
        # The package's own rules, which alone let others join, take an array as well.
        return self.rule.done(self.share, cast("int", self.made))

    def strike(self, normals: FloatArray) -> None:
        """One stroke, with unit normals (R, 3 + modes) for its errors."""
        hands, flank = self.hands, self.flank
        tilt = hands.tilt_rad + hands.tilt_sd_rad * normals[:, 0]
        if flank.rolled.turned_rad[-1] < FLAT_RAD:
            swing = np.minimum(hands.swing_sd_rad, REGISTERED_RAD) * normals[:, 1]
            self._meet(flat_stroke(flank, tilt, swing, hands.volume_mm3))
            return
        within = np.einsum("ms,mr->sr", hands.modes, normals[:, 3:].T.copy())
        along = tilt + hands.within_sd_rad * within
        self._meet(stroke(flank, along, self._stretch(normals), hands.volume_mm3))

    def _stretch(self, normals: FloatArray) -> Stretch | None:
        """Where a stroke goes: judged anew each time, unless it covers all of the edge."""
        hands, rolled, way = self.hands, self.flank.rolled, self.way
        if self.whole:
            return None
        arc = rolled.grid.arc_mm
        swing = hands.swing_rad + hands.swing_sd_rad * normals[:, 1]
        shift = hands.shift_mm + hands.shift_sd_mm * normals[:, 2]
        ends = way.stretch(arc, self.rule.margin(self.apex()))
        return Stretch.misplaced(rolled, ends, swing, shift)

    def _meet(self, lines: Lines) -> None:
        """The edge where lines met the face: those that reach it give it their slope."""
        rolled = self.flank.rolled
        reached = lines.meets(rolled) > self.inset
        self.ground |= reached
        np.copyto(self.slope, lines.slope, where=reached)
        self.inset[...] = rolled.inset(self.flank.field)

    def past_need(self) -> FloatArray:
        """Volume (R,) taken since the rule was met."""
        return past_need(self.worst_before, self.worst, self.rule, self.hands.volume_mm3)

    def keep(self, runs: NDArray[np.int_]) -> None:
        """Go on with some of the runs."""
        self.flank.keep(runs)
        self.hands = self.hands.some(runs)
        if not isinstance(self.made, int):
            self.made = self.made[runs]
        self._lay_out(self.along.take(runs, axis=-1))
        for name in self._EACH:
            setattr(self, name, getattr(self, name).take(runs, axis=-1))

    def join(self, others: Grinding) -> None:
        """Take in others of the same edge, method and rule, whose face is not lowered; either's
        last strokes were followed by a look."""
        self.made = np.concatenate(
            [np.broadcast_to(one.made, one.runs.shape) for one in (self, others)]
        )
        self.flank.join(others.flank)
        self.hands = self.hands.join(others.hands)
        self._lay_out(np.concatenate([self.along, others.along], axis=-1))
        for name in self._EACH:
            pair = getattr(self, name), getattr(others, name)
            setattr(self, name, np.concatenate(pair, axis=-1))


def past_need(
    before: FloatArray, now: FloatArray, rule: StopRule, volume_mm3: FloatArray
) -> FloatArray:
    """Volume (R,) taken since a rule was met, somewhere between the last two looks.

    The margin of the worst station, `before` and `now`, is taken to fall evenly from look to look.
    """
    fallen = before - now
    crossed = (now < 0) & (before > 0)
    past = np.divide(-now, fallen, out=np.zeros_like(fallen), where=crossed)
    return np.asarray(past * rule.strokes_between_looks * volume_mm3)


class Ended(NamedTuple):
    """What is kept of some runs that have ended."""

    field: FloatArray
    along: FloatArray
    angle: FloatArray
    margin: FloatArray
    runs: NDArray[np.int_]
    strokes: NDArray[np.int_]
    share: FloatArray
    fresh_radius: FloatArray
    dullness: FloatArray
    overshoot: FloatArray
    met: NDArray[np.bool_]


class Collected:
    """Sessions of all runs, as they end."""

    def __init__(self) -> None:
        self._ended: list[Ended] = []

    def add(self, now: Grinding, over: NDArray[np.bool_], met: NDArray[np.bool_]) -> None:
        """Those of the runs that are over."""
        ended = over.nonzero()[0]
        strokes = np.broadcast_to(now.made, now.runs.shape)
        seen = now.along, now.angle, now.margin, now.runs, strokes, now.share
        each = *seen, now.fresh_radius, now.dullness, now.past_need(), met
        own = (part.take(ended, axis=-1) for part in each)
        self._ended.append(Ended._make((now.flank.some(ended), *own)))

    def take(self, runs: NDArray[np.int_]) -> Ended:
        """Some of the runs that have ended, in rising order; the others stay."""
        parts = zip(*self._ended, strict=True)
        every = Ended._make(np.concatenate(part, axis=-1) for part in parts)
        order = np.argsort(every.runs)
        wanted = np.isin(every.runs[order], runs)
        rest = order[~wanted]
        self._ended = [Ended._make(part.take(rest, axis=-1) for part in every)]
        return Ended._make(part.take(order[wanted], axis=-1) for part in every)


def session(rolled: RolledEdge, done: Ended) -> RolledSession:
    """The sessions of runs that have ended."""
    radius, angle, lean, first, old, _, _ = done.along
    inset = rolled.inset(done.field) - first
    left = apex.remains(radius, angle, inset, done.angle)
    blunt = np.sqrt(left.missing / apex.void_factor(done.angle))
    blunt = np.maximum(blunt, np.minimum(done.fresh_radius, radius))
    return RolledSession(
        flank=Flank(done.field, done.angle, lean, np.where(inset > 0, blunt, radius)),
        land=left.land,
        margin=done.margin,
        met=done.met,
        dull_share=done.share,
        strokes=done.strokes,
        removed=rolled.volume(rolled.within(done.field) - old),
        dullness=done.dullness,
        overshoot=done.overshoot,
        cleared=cleared(rolled.grid, np.swapaxes(done.field, 1, 2)),
    )
