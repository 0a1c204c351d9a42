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
from edgekit.grinding.recession_field import cleared
from edgekit.grinding.rolling import TINY, Lines, RolledEdge, Stretch, flat_stroke, stroke
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

    def some(self, runs: NDArray[np.int_] | slice) -> Flank:
        """The edge of some runs, which lie closest in memory."""
        return Flank(*(np.ascontiguousarray(part[..., runs]) for part in self))


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
    start = start.some(slice(None))
    now = _Grinding(rolled, start, hands, rule, way, fresh_radius)
    done = Collected(start)
    for number in range(MAX_STROKES + 1):
        if number % rule.strokes_between_looks == 0 or number == MAX_STROKES:
            met = now.look(number)
            over = met | (number == MAX_STROKES)
            if over.any():
                done.add(runs[over], now, over, number, met[over])
                if over.all():
                    break
                now, runs = now.some(np.flatnonzero(~over)), runs[~over]
        now.strike(draws.stroke(number, runs))
    return done.session(rolled, start, fresh_radius, rule)


class _Grinding:
    """Edges of some runs under strokes."""

    def __init__(
        self,
        rolled: RolledEdge,
        start: Flank,
        hands: Hands,
        rule: StopRule,
        way: Stroke,
        fresh_radius: FloatArray,
    ) -> None:
        self.rolled, self.start, self.hands, self.rule, self.way = rolled, start, hands, rule, way
        self.fresh_radius = fresh_radius
        self.field, self.angle = start.field, start.angle
        self.edge = rolled.inset(start.field)
        self.margin = np.zeros_like(self.edge)
        self.share = np.ones(len(fresh_radius))
        self.worst = self.worst_before = np.zeros(len(fresh_radius))

    def apex(self) -> Apex:
        """The apex now."""
        inset = self.rolled.inset(self.field) - self.edge
        return Apex(self.start.radius, self.start.angle, inset, self.angle, self.fresh_radius)

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
        hands, rolled = self.hands, self.rolled
        tilt = hands.tilt_rad + hands.tilt_sd_rad * normals[:, 0]
        if rolled.turned_rad[-1] < FLAT_RAD:
            swing = np.minimum(hands.swing_sd_rad, REGISTERED_RAD) * normals[:, 1]
            self._cut(*flat_stroke(rolled, self.field, tilt, swing, hands.volume_mm3))
            return
        within = (normals[:, 3:, None] * hands.modes).sum(axis=1).T
        along = tilt + hands.within_sd_rad * within
        self._cut(*stroke(rolled, self.field, along, self._stretch(normals), hands.volume_mm3))

    def _stretch(self, normals: FloatArray) -> Stretch | None:
        """Where a stroke goes: judged anew each time, unless it covers all of the edge."""
        hands, arc, way = self.hands, self.rolled.grid.arc_mm, self.way
        if type(way) is RollingStroke and way.covers(arc[-1]):
            return None
        swing = hands.swing_rad + hands.swing_sd_rad * normals[:, 1]
        shift = hands.shift_mm + hands.shift_sd_mm * normals[:, 2]
        ends = way.stretch(arc, self.rule.margin(self.apex()))
        return Stretch.misplaced(self.rolled, ends, swing, shift)

    def _cut(self, field: FloatArray, lines: Lines) -> None:
        meets = lines.meets(self.rolled)
        reached = meets > self.rolled.inset(self.field)
        facet = np.arctan2(1.0, lines.slope) - self.start.lean
        self.angle = np.where(reached, facet, self.angle)
        self.field = field

    def past_need(self) -> FloatArray:
        """Volume (R,) taken since the rule was met."""
        return past_need(self.worst_before, self.worst, self.rule, self.hands.volume_mm3)

    def some(self, runs: NDArray[np.int_]) -> _Grinding:
        """Those of some runs."""
        part = _Grinding(
            self.rolled.some(runs),
            self.start.some(runs),
            self.hands.some(runs),
            self.rule,
            self.way,
            self.fresh_radius[runs],
        )
        part.field = np.ascontiguousarray(self.field[..., runs])
        part.angle, part.margin = self.angle[:, runs], self.margin[:, runs]
        part.share, part.worst = self.share[runs], self.worst[runs]
        return part


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


class Collected:
    """Sessions of all runs, filled as they end."""

    def __init__(self, start: Flank) -> None:
        self.field, self.angle = np.empty_like(start.field), np.empty_like(start.angle)
        self.margin = np.empty_like(start.angle)
        self.strokes = np.zeros(start.field.shape[2], dtype=int)
        self.share, self.overshoot = np.zeros((2, len(self.strokes)))
        self.met = np.zeros(len(self.strokes), dtype=bool)

    def add(
        self,
        runs: NDArray[np.int_],
        now: _Grinding,
        over: NDArray[np.bool_],
        strokes: int,
        met: NDArray[np.bool_],
    ) -> None:
        """Runs that have ended."""
        self.field[..., runs], self.angle[:, runs] = now.field[..., over], now.angle[:, over]
        self.margin[:, runs] = now.margin[:, over]
        self.strokes[runs], self.share[runs] = strokes, now.share[over]
        self.overshoot[runs], self.met[runs] = now.past_need()[over], met

    def session(
        self, rolled: RolledEdge, start: Flank, fresh_radius: FloatArray, rule: StopRule
    ) -> RolledSession:
        """All of them."""
        inset = rolled.inset(self.field) - rolled.inset(start.field)
        left = apex.remains(start.radius, start.angle, inset, self.angle)
        ground = inset > 0
        radius = np.sqrt(left.missing / apex.void_factor(self.angle))
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
            flank=Flank(self.field, self.angle, start.lean, radius),
            land=left.land,
            margin=self.margin,
            met=self.met,
            dull_share=self.share,
            strokes=self.strokes,
            removed=rolled.volume(rolled.within(self.field) - old),
            dullness=rolled.volume(rolled.within(parallel.cut(start.field, rolled)) - old),
            overshoot=self.overshoot,
            cleared=cleared(rolled.grid, np.swapaxes(self.field, 1, 2)),
        )
