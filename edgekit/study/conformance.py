"""Checks of objects that users write: does a law, rule, guide, stone or stroke do what is asked."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.contact.orientation import orient
from edgekit.contact.stone import Stone
from edgekit.errors import BadArgument, EdgekitError
from edgekit.geometry.edge import Edge
from edgekit.geometry.patterns import area_specific_curette, universal_curette
from edgekit.lazy import shown
from edgekit.life.dulling import DullingLaw
from edgekit.life.retire import RetireRule, WidthLoss
from edgekit.method.guide import Guide
from edgekit.method.lay import StrokeDirection
from edgekit.method.stop import MAX_STROKES, Apex, StopRule
from edgekit.method.strokes import Stroke
from edgekit.units import UM_PER_MM

__all__ = [
    "check_dulling_law",
    "check_guide",
    "check_retire_rule",
    "check_stone",
    "check_stop_rule",
    "check_stroke",
]

__dir__ = shown(__all__)

RADII_UM = np.array([0.5, 1.5, 4.0, 10.0])[:, None]
STROKES = np.array([0.0, 1.0, 10.0, 45.0])
TOLERANCE = 1e-6  # relative; lives may be computed in single precision
MARGIN_MM = 1e-6  # a land of a nanometre, far below what anybody sees or grinds


def check_dulling_law(law: DullingLaw) -> None:
    """Check that a law of dulling can be used in lives and studies.

    Parameters
    ----------
    law : DullingLaw
        An object with a method ``after(radius_um, strokes)``, of arrays that broadcast.

    Raises
    ------
    BadArgument
        The method is missing or fails, gives another shape, sharpens the edge, or does not go on
        from where it stopped: 10 strokes and then 35 must give what 45 give.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.testing.check_dulling_law(ek.PowerDulling())
    """
    _check_kind("law", law, DullingLaw, "a method after(radius_um, strokes)")
    radius, strokes = np.broadcast_arrays(RADII_UM, STROKES)
    worn = _numbers("law.after", lambda: law.after(radius, strokes), radius.shape)
    slack = TOLERANCE * RADII_UM
    _require(worn >= radius - slack, "law.after must not sharpen the edge", worn, "radius")
    _require(
        np.abs(worn - radius)[:, :1] <= slack,
        "law.after must leave the radius as it is after 0 strokes",
        worn[:, 0],
        "radius",
    )
    _require(
        np.diff(worn, axis=1) >= -slack,
        "law.after must not fall with the number of strokes",
        worn,
        "radius",
    )
    later = _numbers(
        "law.after", lambda: law.after(worn[:, 2], np.full(4, STROKES[3] - STROKES[2])), (4,)
    )
    _require(
        np.abs(later - worn[:, 3]) <= TOLERANCE * worn[:, 3],
        "law.after must go on from where it stopped: 10 strokes and 35 are 45",
        later,
        f"{worn[:, 3].tolist()}",
    )


def check_retire_rule(rule: RetireRule) -> None:
    """Check that a rule of retirement can be used in lives and studies.

    Parameters
    ----------
    rule : RetireRule
        An object with a method ``used_up(lost)`` that takes a `WidthLoss`, and with words for
        itself (``__str__``).

    Raises
    ------
    BadArgument
        The method is missing or fails, gives another shape, retires a new blade, or falls while
        the blade loses steel; or the rule has no words.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.testing.check_retire_rule(ek.MaxWidthLoss(fraction=0.15))
    """
    _check_kind("rule", rule, RetireRule, "a method used_up(lost)")
    share = np.linspace(0.0, 0.6, 7)
    lost = WidthLoss(
        mean_width_mm=0.86 * share,
        deepest_width_mm=0.86 * share * 1.2,
        caliper_width_mm=0.86 * share * 1.1,
        length_mm=5.65 * share,
        thickness_mm=0.71 * share,
        new_width_mm=0.86,
        new_length_mm=5.65,
        new_thickness_mm=0.71,
        strength_left=1 - share,
    )
    used = _numbers("rule.used_up", lambda: rule.used_up(lost), share.shape)
    _require(used[:1] < 1, "rule.used_up must not retire a new blade", used, "a share below 1")
    _require(
        np.diff(used) >= -TOLERANCE, "rule.used_up must not fall with the loss", used, "a share"
    )
    words = str(rule)
    if not words.strip() or " object at 0x" in words:
        raise BadArgument("rule has no words for itself", words, "Give it a method __str__.")


def check_guide(guide: Guide) -> None:
    """Check that a guide can give the stone its orientation in a `Method`.

    Parameters
    ----------
    guide : Guide
        An object with a method ``normals(edge, arc_mm)`` and a number ``setups``.

    Raises
    ------
    BadArgument
        Either is missing or fails; the normals are not unit vectors (S, 3), or point into the
        steel; ``setups`` is no whole number of 1 or more.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.testing.check_guide(ek.FollowEdge())
    """
    _check_kind("guide", guide, Guide, "a method normals(edge, arc_mm) and a number setups")
    checks.count("guide.setups", guide.setups)
    for edge in _edges():
        arc = edge.stations(25)
        normals = _numbers("guide.normals", partial(guide.normals, edge, arc), (25, 3))
        length = np.linalg.norm(normals, axis=1)
        _require(
            np.abs(length - 1) <= TOLERANCE,
            "guide.normals must be unit vectors",
            length,
            "length 1",
        )
        outward = (normals * edge.frame(arc, order=0).outward.value).sum(axis=1)
        _require(
            outward > 0, "guide.normals must point out of the steel", outward, "outward vectors"
        )


def check_stone(stone: Stone) -> None:
    """Check that a stone's form can be used where a stone is asked for.

    Parameters
    ----------
    stone : Stone
        An object with the numbers ``length_mm`` (infinite for an endless stone) and
        ``curvature_per_mm`` (0 for a flat one).

    Raises
    ------
    BadArgument
        One of the numbers is missing or outside its range.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.testing.check_stone(ek.RodStone(radius_mm=2.0))
    """
    _check_kind("stone", stone, Stone, "the numbers length_mm and curvature_per_mm")
    if stone.length_mm != np.inf:
        checks.positive("stone.length_mm", stone.length_mm)
    checks.at_least("stone.curvature_per_mm", stone.curvature_per_mm, 0.0)
    for edge in _edges():
        orient(edge, stone, 25)


def check_stroke(stroke: Stroke) -> None:
    """Check that a stroke that follows the edge can be used in a `Method`.

    Parameters
    ----------
    stroke : Stroke
        An object with a method ``stretch(arc_mm, margin_mm)``, a ``direction``, and the numbers
        ``within_tilt_sd_deg`` and ``correlation_s``.

    Raises
    ------
    BadArgument
        One of them is missing, fails or lies outside its range; a stretch has another shape than
        one number per run, ends before it begins, misses the only dull place of an edge, so that a
        session would never end, or depends on the other runs.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.testing.check_stroke(ek.strokes.rolling(stretch_mm=2.0))
    """
    needs = "stretch(arc_mm, margin_mm), direction, within_tilt_sd_deg and correlation_s"
    _check_kind("stroke", stroke, Stroke, needs)
    direction = "Give one, such as ek.across_edge()."
    checks.instance("stroke.direction", stroke.direction, StrokeDirection, direction)
    checks.at_least("stroke.within_tilt_sd_deg", stroke.within_tilt_sd_deg, 0.0)
    checks.positive("stroke.correlation_s", stroke.correlation_s)
    for edge in _edges():
        arc = edge.stations(25)
        margin = np.where(np.eye(25) > 0, 0.004, -0.001)  # in each run another station is dull
        ends = _ends(stroke, arc, margin)
        first, last = ends
        _require(first < last, "stroke.stretch must end after it begins", first, "ends")
        _require(
            (first <= arc) & (arc <= last),
            "stroke.stretch must cover the only dull station",
            first,
            "a stretch",
        )
        alone = _ends(stroke, arc, margin[:, 3:4])
        _require(
            np.abs(alone - ends[:, 3:4]) <= TOLERANCE * edge.length_mm,
            "stroke.stretch must not depend on the other runs",
            first,
            "a stretch",
        )


def _ends(stroke: Stroke, arc: FloatArray, margin: FloatArray) -> FloatArray:
    """From and to (2, R) of a stroke; an end at infinity lies a millimetre beyond the edge's."""
    runs, length = margin.shape[1], arc[-1]

    def given() -> object:
        ends = np.stack(np.broadcast_arrays(*stroke.stretch(arc, margin)))
        return np.where(np.isinf(ends), np.copysign(length + 1.0, ends), ends)

    return _numbers("stroke.stretch", given, (2, runs))


def check_stop_rule(rule: StopRule) -> None:
    """Check that a rule can say when a person puts the stone down.

    Parameters
    ----------
    rule : StopRule
        An object with the methods ``margin(edge)`` and ``least_inset(edge)``, which take a
        `strokes.Apex`, with ``done(dull_share, strokes)``, and with the number
        ``strokes_between_looks``.

    Raises
    ------
    BadArgument
        One of them is missing or fails; an answer has another shape; the margin is not used up
        where ``least_inset`` says; or grinding never stops, or goes on after it had stopped.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.testing.check_stop_rule(ek.strokes.until_fresh())
    """
    needs = "margin(edge), least_inset(edge), done(dull_share, strokes) and strokes_between_looks"
    _check_kind("rule", rule, StopRule, needs)
    checks.count("rule.strokes_between_looks", rule.strokes_between_looks, most=MAX_STROKES)
    dull = _apex(np.zeros((3, 4)))
    _numbers("rule.margin", lambda: rule.margin(dull), (3, 4))
    inset = _numbers("rule.least_inset", lambda: rule.least_inset(dull), (3, 4))
    _require(inset >= 0, "rule.least_inset must not be negative", inset, "an inset")
    margin = _numbers("rule.margin", lambda: rule.margin(_apex(inset)), (3, 4))
    _require(
        margin <= MARGIN_MM,
        "rule.margin must be 0 or less once rule.least_inset is reached",
        margin,
        "an inset",
    )
    share = np.array([0.0, 0.1, 1.0])
    strokes = (1, 10, MAX_STROKES)
    done = np.stack(
        [_numbers("rule.done", partial(_answers, rule, share, n), share.shape) for n in strokes]
    )
    _require(done[-1:, 0] == 1, "rule.done must end on a good edge", done[:, 0], "an answer")
    _require(np.diff(done, axis=0) >= 0, "rule.done must stay done", done, "an answer")
    _require(np.diff(done) <= 0, "rule.done must not be met by a duller edge", done, "an answer")


def _answers(rule: StopRule, share: FloatArray, strokes: int) -> FloatArray:
    """Yes or no for each run, as 1 or 0."""
    done = np.asarray(rule.done(share, strokes))
    if done.dtype != bool:
        raise BadArgument("rule.done must return true or false", done.tolist(), "Compare arrays.")
    return done.astype(float)


def _apex(inset_mm: FloatArray) -> Apex:
    """Four runs of an edge of 75 degrees, from fresh to very dull, ground by some inset."""
    radius = np.array([1.0, 2.0, 4.0, 8.0]) / UM_PER_MM + np.zeros_like(inset_mm)
    angle = np.full_like(inset_mm, np.radians(75))
    fresh = np.full(4, 1.5) / UM_PER_MM
    return Apex(radius=radius, angle=angle, inset=inset_mm, new_angle=angle, fresh_radius=fresh)


def _edges() -> tuple[Edge, Edge]:
    """A nearly straight edge and a strongly curved one."""
    return universal_curette().edges["left"], area_specific_curette().edges["used"]


def _check_kind(name: str, thing: object, kind: type, needs: str) -> None:
    if isinstance(thing, type) or not isinstance(thing, kind):
        raise BadArgument(f"{name} is not a {kind.__name__}", thing, f"It needs {needs}.")


def _numbers(name: str, call: Callable[[], object], shape: tuple[int, ...]) -> FloatArray:
    """What a user's method returns, as finite numbers of a shape."""
    try:
        given = call()
    except EdgekitError:
        raise
    except Exception as error:
        raise BadArgument(
            f"{name} failed ({type(error).__name__})", str(error), "Let it take arrays."
        ) from error
    return checks.frozen_array(f"what {name} returns", np.asarray(given), shape)


def _require(holds: FloatArray | np.ndarray, what: str, got: FloatArray, wanted: str) -> None:
    if not np.all(holds):
        raise BadArgument(what, got.tolist(), f"Return {wanted} that does.")
