"""One session of rolling strokes on one edge, many runs at once: stroke on stroke to a rule's end.

A run whose rule is met leaves the company of the others; none of its numbers depends on them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Protocol

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

    def stroke(self, number: int, runs: NDArray[np.int_]) -> FloatArray:
        """Unit normals (R, 3 + modes) of stroke `number` of some runs: tilt, swing, place, and
        within the stroke.
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
    runs = np.arange(start.field.shape[2])
    now = _Grinding(rolled, start, hands, rule, way, fresh_radius)
    done = Collected()
    for number in range(MAX_STROKES + 1):
        if number % rule.strokes_between_looks == 0 or number == MAX_STROKES:
            met = now.look(number)
            over = met | (number == MAX_STROKES)
            if over.any():
                done.add(runs, now, over, number, met)
                if over.all():
                    break
                left = np.flatnonzero(~over)
                now.keep(left)
                runs = runs[left]
        now.strike(draws.stroke(number, runs))
    return done.session(rolled, start, fresh_radius, rule)


class _Grinding:
    """Edges of some runs under strokes."""

    _ALONG = ("radius", "old_angle", "lean", "first", "inset", "slope", "ground")  # (S, R)

    def __init__(
        self,
        rolled: RolledEdge,
        start: Flank,
        hands: Hands,
        rule: StopRule,
        way: Stroke,
        fresh_radius: FloatArray,
    ) -> None:
        self.hands, self.rule, self.way, self.fresh_radius = hands, rule, way, fresh_radius
        self.radius, self.old_angle, self.lean = start.radius, start.angle, start.lean
        self.whole = type(way) is RollingStroke and way.covers(rolled.grid.arc_mm[-1])
        self.flank = WorkedFlank(rolled, start.field)
        self.inset = self.first = rolled.inset(start.field)
        self.slope, self.angle = np.ones_like(self.inset), start.angle
        self.ground = np.zeros(self.inset.shape, dtype=bool)
        self.margin = np.zeros_like(self.inset)
        self.share = np.ones(len(fresh_radius))
        self.worst = self.worst_before = np.zeros(len(fresh_radius))

    def apex(self) -> Apex:
        """The apex now."""
        facet = np.arctan2(1.0, self.slope) - self.lean
        self.angle = np.where(self.ground, facet, self.old_angle)
        moved = self.inset - self.first
        return Apex(self.radius, self.old_angle, moved, self.angle, self.fresh_radius)

    def look(self, strokes: int) -> NDArray[np.bool_]:
        """Look at the edge: whether (R,) it is good enough after so many strokes."""
        apex_now = self.apex()
        margin = self.rule.margin(apex_now)
        self.margin = np.where(apex_now.blunt, margin, 0.0)
        self.share = apex.dull_share(self.margin)
        self.worst_before = self.worst
        self.worst = np.where(apex_now.blunt, margin, -KEEN_MM).max(axis=0)
        return self.rule.done(self.share, strokes)

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
        self.inset = rolled.inset(self.flank.field)

    def past_need(self) -> FloatArray:
        """Volume (R,) taken since the rule was met."""
        return past_need(self.worst_before, self.worst, self.rule, self.hands.volume_mm3)

    def keep(self, runs: NDArray[np.int_]) -> None:
        """Go on with some of the runs."""
        self.flank.keep(runs)
        self.hands = self.hands.some(runs)
        for name in ("fresh_radius", "worst", *self._ALONG):
            setattr(self, name, getattr(self, name).take(runs, axis=-1))


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
    angle: FloatArray
    margin: FloatArray
    runs: NDArray[np.int_]
    strokes: NDArray[np.int_]
    share: FloatArray
    overshoot: FloatArray
    met: NDArray[np.bool_]


class Collected:
    """Sessions of all runs, as they end."""

    def __init__(self) -> None:
        self._ended: list[Ended] = []

    def add(
        self,
        runs: NDArray[np.int_],
        now: _Grinding,
        over: NDArray[np.bool_],
        strokes: int,
        met: NDArray[np.bool_],
    ) -> None:
        """Those of the runs that are over."""
        count = np.full(len(runs), strokes)
        each = now.angle, now.margin, runs, count, now.share, now.past_need(), met
        ended = over.nonzero()[0]
        own = (part.take(ended, axis=-1) for part in each)
        self._ended.append(Ended._make((now.flank.some(ended), *own)))

    def _all(self) -> Ended:
        """All runs, in their order."""
        parts = zip(*self._ended, strict=True)
        every = Ended._make(np.concatenate(part, axis=-1) for part in parts)
        order = np.argsort(every.runs)
        return Ended._make(part.take(order, axis=-1) for part in every)

    def session(
        self, rolled: RolledEdge, start: Flank, fresh_radius: FloatArray, rule: StopRule
    ) -> RolledSession:
        """All of them."""
        done = self._all()
        inset = rolled.inset(done.field) - rolled.inset(start.field)
        left = apex.remains(start.radius, start.angle, inset, done.angle)
        ground = inset > 0
        radius = np.sqrt(left.missing / apex.void_factor(done.angle))
        radius = np.where(
            ground, np.maximum(radius, np.minimum(fresh_radius, start.radius)), start.radius
        )
        before = Apex(start.radius, start.angle, np.zeros_like(inset), start.angle, fresh_radius)
        need = np.where(before.blunt, rule.least_inset(before), 0.0)
        slope = 1 / np.tan(start.angle + start.lean)
        level = rolled.inset(start.field) + need - slope * rolled.drop_mm
        parallel = Lines(np.where(need > TINY, level, -np.inf), slope)  # rounding is no need
        old = rolled.within(start.field)
        return RolledSession(
            flank=Flank(done.field, done.angle, start.lean, radius),
            land=left.land,
            margin=done.margin,
            met=done.met,
            dull_share=done.share,
            strokes=done.strokes,
            removed=rolled.volume(rolled.within(done.field) - old),
            dullness=rolled.volume(rolled.within(parallel.cut(start.field, rolled)) - old),
            overshoot=done.overshoot,
            cleared=cleared(rolled.grid, np.swapaxes(done.field, 1, 2)),
        )
