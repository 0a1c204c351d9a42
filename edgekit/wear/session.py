"""One resharpening: planes laid against a dull blade and advanced until it is sharp.

Every seating of the stone is a plane: the guide's normal at the placement, turned by the hand's errors. All are
advanced equally past first touch (each within its error of depth), and the advance at which the stated
share of the edge is sharp has a closed form: a station is sharp once some plane meets the face beyond the
point where the rounded apex leaves it, r cot(β/2) inward.

The module is long because the two ways of grinding, sides and face, share planes, stopping and results.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from edgekit.checks import FloatArray, instance, positive
from edgekit.contact.facets import spread
from edgekit.evidence_table import value
from edgekit.geometry import vectors as vec
from edgekit.geometry.blade import Blade
from edgekit.wear.draws import Kept, SessionDraws, draw_kept, draw_session
from edgekit.wear.ground import (
    Ground,
    advance_needed,
    cut,
    ground_of,
    inset_at,
    over_stations,
    seat,
    volume,
)
from edgekit.wear.method import Method, Stop, Target

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

__all__ = [
    "Aim",
    "EdgeSession",
    "EdgeState",
    "Session",
    "SessionRuns",
    "aim_at",
    "check_parts",
    "new_state",
    "sharpen",
    "sharpen_runs",
]

UM_PER_MM = 1000.0
LEAST_WEIGHT = 0.1  # a seating that presses less than a tenth of the usual is no seating
ROUNDING_MM = 1e-9
LEAST_STEEL_MM3 = 1e-9  # a hundred-thousandth of the smallest stroke: rounding, not grinding
ROUNDING = 1e-9  # relative: a law that adds nothing may still round
SHARPEN_STATIONS = 400
SHARPEN_DEPTHS = 16

STATUS = {
    True: "sharp",
    False: (
        "not sharp: the largest advance was reached. Part of the edge is out of reach of the "
        "planes (see sharp_fraction along the edge), or the tilt keeps the stone off the edge; "
        "add placements, correct the setting, or allow a larger advance."
    ),
}


@dataclass(kw_only=True, eq=False)
class EdgeState:
    """An edge as it stands in R runs; replaced, not edited, by a session.

    ``inset_mm`` (V, R, S) the field; ``radius_um`` (R, S) of the apex; ``angle_rad`` (R, S) between
    nominal face and flank at the edge; ``drop_mm`` (R, S) how far the face lies below the new one;
    ``lean_rad`` (R, S) slope of the face, inward and down, from the nominal face.
    """

    inset_mm: FloatArray
    radius_um: FloatArray
    angle_rad: FloatArray
    drop_mm: FloatArray
    lean_rad: FloatArray

    def at(self, ground: Ground) -> FloatArray:
        """Inset (R, S) [mm] of the edge."""
        return inset_at(ground, self.inset_mm, self.drop_mm)

    @property
    def internal_angle_rad(self) -> FloatArray:
        """Angle (R, S) between face and flank as ground."""
        return self.angle_rad - self.lean_rad


def new_state(ground: Ground, runs: int) -> EdgeState:
    """A new, perfectly sharp edge in every run."""
    shape = (runs, len(ground.arc_mm))
    return EdgeState(
        inset_mm=np.repeat(ground.inset_mm[:, None, :], runs, axis=1),
        radius_um=np.zeros(shape),
        angle_rad=np.broadcast_to(ground.angle_rad, shape).copy(),
        drop_mm=np.zeros(shape),
        lean_rad=np.zeros(shape),
    )


class Aim(NamedTuple):
    """Where a method puts its planes on one edge: normals at the stations (S, 3), and the quantiles
    of its spacing (arc length [mm] against share)."""

    normals: FloatArray
    arc_mm: FloatArray
    share: FloatArray


def aim_at(ground: Ground, method: Method) -> Aim:
    """Prepare a method for an edge; done once for a whole life."""
    arc, share = spread(ground.edge, method.spacing)
    return Aim(method.guide.normals(ground.edge, ground.arc_mm), arc, share)


def _planes(
    ground: Ground, aim: Aim, method: Method, kept: Kept, draws: SessionDraws, edge: int, turn: int
) -> tuple[FloatArray, FloatArray]:
    """Unit normals (R, P, 3) of the seatings, and each one's share (R, P) of the advance."""
    z = draws.seatings[:, edge, : method.planes]
    tilt, swing, shift, depth = (
        term.of(kept.hand[:, i], draws.setup[:, i], kept.skill, z[:, :, i])
        for i, term in enumerate(method.hand.terms)
    )
    phase = method.marks.phase(turn, draws.phase[:, edge])
    number = np.repeat(np.arange(method.placements), method.seatings)
    place = np.interp((number + phase[:, None]) / method.placements, aim.share, aim.arc_mm)
    place = np.clip(place + shift, 0.0, ground.arc_mm[-1])
    at = place / (ground.arc_mm[1] - ground.arc_mm[0])
    i = np.minimum(at.astype(int), len(ground.arc_mm) - 2)
    part = (at - i)[..., None]
    normal = aim.normals[i] + part * (aim.normals[i + 1] - aim.normals[i])
    along = ground.tangent[i] + part * (ground.tangent[i + 1] - ground.tangent[i])
    opening = -ground.edge.side * vec.cross(along, normal)
    turned = (
        normal
        + np.tan(np.radians(tilt))[..., None] * opening
        + np.tan(np.radians(swing))[..., None] * along
    )
    return vec.unit(turned), np.maximum(1 + depth, LEAST_WEIGHT)


def _share_quantile(need: FloatArray, share: FloatArray, target: float) -> FloatArray:
    """The least value (R,) that covers `target` of the total share of `need` (R, S)."""
    order = np.argsort(need, axis=1)
    covered = np.cumsum(share[order], axis=1)
    first = np.argmax(covered >= target * share.sum() * (1 - 1e-12), axis=1)
    return np.asarray(np.take_along_axis(need, order, axis=1)[np.arange(len(need)), first])


class _Ground1(NamedTuple):
    """What grinding one edge came to: state, stations sharp (R, S), planes active (R, S; -1 none),
    volume (R,) [mm³], advance (R,) [mm], whether the target was reached (R,)."""

    state: EdgeState
    sharp: NDArray[np.bool_]
    active: NDArray[np.int_]
    volume: FloatArray
    advance: FloatArray
    reached: NDArray[np.bool_]


def _is_dull(state: EdgeState, fresh_um: FloatArray) -> NDArray[np.bool_]:
    """Where (R, S) an edge is blunter than grinding leaves it; elsewhere nothing calls for any."""
    return np.asarray(state.radius_um > fresh_um[:, None] * (1 + ROUNDING))


def _grind_side(
    ground: Ground,
    state: EdgeState,
    method: Method,
    normals: FloatArray,
    weight: FloatArray,
    fresh_um: FloatArray,
) -> _Ground1:
    """Grind one edge's lateral surface until sharp; `fresh_um` (R,) is the radius left."""
    before = state.at(ground)
    dull = _is_dull(state, fresh_um)
    goal = before + state.radius_um / np.tan(state.internal_angle_rad / 2) / UM_PER_MM
    seating = seat(ground, state.inset_mm, normals)
    alone = advance_needed(seating, state.drop_mm, goal)
    alone = np.where(dull[:, None, :], alone, 0.0)
    largest = method.largest_advance_um / UM_PER_MM
    advance, reached = _advance(alone, weight, ground.share_mm, method, largest)
    inset, reach = cut(ground, state.inset_mm, seating, advance, state.drop_mm)
    active = np.argmax(reach, axis=1)
    deepest = np.take_along_axis(reach, active[:, None], axis=1)[:, 0]
    ground_here = deepest > before
    sharp = ~dull | (np.maximum(before, deepest) >= goal - ROUNDING_MM)
    normal = np.take_along_axis(normals, active[:, :, None], axis=1)
    face = ground.face
    opening = np.arctan2(vec.norm(vec.cross(face, normal)), -vec.dot(face, normal))
    after = EdgeState(
        inset_mm=inset,
        radius_um=np.where(dull & sharp, fresh_um[:, None], state.radius_um),
        angle_rad=np.where(ground_here, opening, state.angle_rad),
        drop_mm=state.drop_mm,
        lean_rad=state.lean_rad,
    )
    steel = volume(ground, state.inset_mm, inset)
    active = np.where(ground_here, active, -1)
    return _Ground1(after, sharp, active, steel, advance.max(axis=1), reached)


def _advance(
    alone: FloatArray, weight: FloatArray, share: FloatArray, method: Method, largest: float
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Advance (R, P) of each plane, and whether the target is reached (R,).

    `alone` (R, P, S) is what each plane would need by itself. Grinding all alike, the stated share is
    a quantile of the least need along the edge. Stopping at each placement, a plane advances to the largest need
    among the stretches it serves with less than any other, plus its overshoot.
    """
    if method.stop is Stop.ALL:
        alone = alone / weight[:, :, None]
    least = alone.min(axis=1)
    whole = _share_quantile(least, share, method.sharp_target)
    reached = whole <= largest
    whole = np.clip(whole, 0.0, largest)
    if method.stop is Stop.ALL:
        return whole[:, None] * weight, reached
    mine = (alone <= least[:, None, :]) & (least <= whole[:, None])[:, None, :]
    each = np.where(mine, alone, 0.0).max(axis=2, initial=0.0)
    return each * np.maximum(weight, 1.0), reached


def _grind_face(
    grounds: Sequence[Ground],
    states: Sequence[EdgeState],
    method: Method,
    kept: Kept,
    draws: SessionDraws,
    fresh_um: FloatArray,
) -> list[_Ground1]:
    """Grind the face, one plane for all edges, until they are sharp.

    The stone first touches where its tilt puts it lowest. Clearing a rounded apex takes the depth
    r (1 + cosβ) below the face.
    """
    z = draws.seatings[:, 0, :1]
    tilt, pitch = (
        np.tan(np.radians(term.of(kept.hand[:, i], draws.setup[:, i], kept.skill, z[:, :, i])))
        for i, term in enumerate(method.hand.terms[:2])
    )
    slopes = []
    for ground in grounds:
        along = ground.edge.roll_reference
        across = vec.unit(vec.cross(ground.face[len(ground.face) // 2], along))
        frame = np.stack([across, along])
        slopes.append((ground.position @ frame.T, ground.inward @ frame.T))
    errors = [tilt * place[:, 0] + pitch * place[:, 1] for place, _ in slopes]
    highest = np.max([error.max(axis=1) for error in errors], axis=0)[:, None]
    errors = [error - highest for error in errors]
    dull = [_is_dull(state, fresh_um) for state in states]
    depths = [s.radius_um * (1 + np.cos(s.internal_angle_rad)) / UM_PER_MM for s in states]
    needs = [
        np.where(blunt, depth - error, 0.0)
        for blunt, depth, error in zip(dull, depths, errors, strict=True)
    ]
    share = np.concatenate([ground.share_mm for ground in grounds])
    advance = _share_quantile(np.concatenate(needs, axis=1), share, method.sharp_target)
    largest = method.largest_advance_um / UM_PER_MM
    reached = advance <= largest
    advance = np.clip(advance, 0.0, largest)
    results = []
    for ground, state, error, need, blunt, (_, into) in zip(
        grounds, states, errors, needs, dull, slopes, strict=True
    ):
        deeper = np.maximum(advance[:, None] + error, 0.0)
        sharp = advance[:, None] >= need - ROUNDING_MM
        lean = np.arctan(tilt * into[:, 0] + pitch * into[:, 1])
        after = EdgeState(
            inset_mm=state.inset_mm,
            radius_um=np.where(blunt & sharp, fresh_um[:, None], state.radius_um),
            angle_rad=state.angle_rad,
            drop_mm=state.drop_mm + deeper,
            lean_rad=np.where(deeper > 0, lean, state.lean_rad),
        )
        inset = after.at(ground)
        reach = ground.half_width_mm * 2 / len(grounds)
        strip = np.maximum(reach - inset, 0.0) * (1 - ground.plan_curvature * (reach + inset) / 2)
        steel = over_stations(strip * deeper, ground.share_mm)
        active = np.where(deeper > 0, 0, -1)
        results.append(_Ground1(after, sharp, active, steel, advance, reached))
    return results


class SessionRuns(NamedTuple):
    """A session of R runs: what grinding each edge came to, and the sums over edges (R,)."""

    edges: tuple[_Ground1, ...]
    passes: FloatArray
    seconds: FloatArray
    steel_mg: FloatArray
    reached: NDArray[np.bool_]


def sharpen_runs(
    grounds: Sequence[Ground],
    states: Sequence[EdgeState],
    aims: Sequence[Aim],
    method: Method,
    *,
    kept: Kept,
    draws: SessionDraws,
    turn: int,
    fresh_um: FloatArray,
) -> SessionRuns:
    """One session of many runs at once: the kernel behind `sharpen`, `live` and all studies."""
    if method.target is Target.FACE:
        results = _grind_face(grounds, states, method, kept, draws, fresh_um)
    else:
        results = []
        for e, (ground, state, aim) in enumerate(zip(grounds, states, aims, strict=True)):
            normals, weight = _planes(ground, aim, method, kept, draws, e, turn)
            results.append(_grind_side(ground, state, method, normals, weight, fresh_um))
    steel = np.sum([result.volume for result in results], axis=0)
    taken = method.removal_mm3_per_stroke * method.removal_gsd**kept.removal
    surfaces = 1 if method.target is Target.FACE else len(results)
    strokes = np.maximum(steel / taken, float(method.planes * surfaces))
    strokes = np.where(steel > LEAST_STEEL_MM3, strokes, 0.0)
    return SessionRuns(
        edges=tuple(results),
        passes=np.ceil(strokes / (method.placements * surfaces)),
        seconds=strokes * method.seconds_per_stroke
        + method.setup_seconds * method.guide.setups * surfaces,
        steel_mg=steel * value("steel_density_mg_per_mm3"),
        reached=np.all([result.reached for result in results], axis=0),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class EdgeSession:
    """What a session did to one edge.

    Attributes
    ----------
    arc_mm, recession_um, angle_deg : array (S,)
        Stations; how far the edge moved inward along the face; internal angle now.
    sharp : array (S,) of bool
        Where the edge is sharp.
    sharp_fraction : float
        Share of the edge that is sharp.
    active : array (S,) of int
        The seating of the stone that formed the edge; -1 where none reached it.
    depth_mm, inset_mm : array (V, S)
        The lateral surface afterwards: inset at depths below the new blade's face.
    new_inset_mm : array (V, S)
        The same before the session.
    share_mm : array (S,)
        Length of edge that each station stands for.
    drop_mm : array (S,)
        How far the face lies below the new one.
    """

    arc_mm: FloatArray
    recession_um: FloatArray
    angle_deg: FloatArray
    sharp: NDArray[np.bool_]
    sharp_fraction: float
    active: NDArray[np.int_]
    depth_mm: FloatArray
    inset_mm: FloatArray
    new_inset_mm: FloatArray
    share_mm: FloatArray
    drop_mm: FloatArray

    @property
    def mean_recession_um(self) -> float:
        """Mean recession along the edge."""
        return float(np.average(self.recession_um, weights=self.share_mm))

    @property
    def deepest_recession_um(self) -> float:
        """Deepest recession anywhere on the edge."""
        return float(self.recession_um.max())

    @property
    def facets(self) -> pd.DataFrame:
        """One row a facet, heel to toe: ``from_mm, to_mm, width_um, seating, angle_deg,
        recession_um, ridge_um`` (seating -1: not ground; ridge: range of the recession)."""
        import pandas as pd

        ends = np.flatnonzero(np.diff(self.active)) + 1
        starts = np.concatenate([[0], ends])
        stops = np.concatenate([ends, [len(self.active)]])
        edge = np.concatenate([[0.0], np.cumsum(self.share_mm)])
        rows = []
        for a, b in zip(starts, stops, strict=True):
            recession = self.recession_um[a:b]
            rows.append(
                {
                    "from_mm": edge[a],
                    "to_mm": edge[b],
                    "width_um": (edge[b] - edge[a]) * UM_PER_MM,
                    "seating": self.active[a],
                    "angle_deg": float(self.angle_deg[a:b].mean()),
                    "recession_um": float(recession.mean()),
                    "ridge_um": float(np.ptp(recession)),
                }
            )
        return pd.DataFrame(rows)


@dataclass(frozen=True, kw_only=True, eq=False)
class Session:
    """One resharpening of a blade.

    ``edges`` maps names to `EdgeSession`; ``passes`` rounds over all placements; ``seconds``;
    ``steel_mg`` removed; ``advance_um`` of the stone past first touch, the largest of the edges;
    ``status`` is "sharp" or says what is wrong and what to do.
    """

    method: Method
    edges: dict[str, EdgeSession]
    passes: int
    seconds: float
    steel_mg: float
    advance_um: float
    status: str

    def __repr__(self) -> str:
        edges = "; ".join(
            f"{name} loses {e.mean_recession_um:.1f} µm (deepest {e.deepest_recession_um:.1f})"
            for name, e in self.edges.items()
        )
        return (
            f"{self.method.name}: {edges}; {self.passes} passes, {self.seconds:.0f} s, "
            f"{self.steel_mg:.2f} mg; {self.status}"
        )

    def _repr_html_(self) -> str:
        from html import escape

        rows = "".join(
            f"<tr><td>{escape(name)}</td><td>{e.mean_recession_um:.1f}</td>"
            f"<td>{e.deepest_recession_um:.1f}</td><td>{e.sharp_fraction:.0%}</td>"
            f"<td>{e.angle_deg.min():.1f} to {e.angle_deg.max():.1f}</td></tr>"
            for name, e in self.edges.items()
        )
        return (
            f"<b>{escape(self.method.name)}</b>: {self.passes} passes, {self.seconds:.0f} s, "
            f"{self.steel_mg:.2f} mg of steel; {escape(self.status)}<table><tr><th>edge</th>"
            "<th>mean loss, µm</th><th>deepest, µm</th><th>sharp</th><th>angle, °</th></tr>"
            f"{rows}</table>"
        )


def check_parts(blade: object, method: object, rng: object) -> None:
    """Refuse anything but a blade, a method and a generator."""
    instance("blade", blade, Blade, "Give a blade, such as patterns.universal_curette().")
    instance("method", method, Method, "Give a method, such as methods.freehand().")
    instance("rng", rng, np.random.Generator, "Give numpy.random.default_rng(seed).")


def sharpen(
    blade: Blade,
    method: Method,
    *,
    dull_radius_um: float,
    rng: np.random.Generator,
    stations: int = SHARPEN_STATIONS,
    depths: int = SHARPEN_DEPTHS,
) -> Session:
    """Sharpen a new blade whose edges are evenly rounded.

    Parameters
    ----------
    blade : Blade
    method : Method
    dull_radius_um : float
        Radius of the dull edges [µm].
    rng : numpy.random.Generator
        Source of the person's errors.
    stations, depths : int
        Nodes along each edge and down the flank.

    Returns
    -------
    Session

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> blade = ek.patterns.universal_curette()
    >>> done = ek.sharpen(blade, ek.methods.held(ek.best_setting(blade.edges["left"])),
    ...                   dull_radius_um=4.0, rng=np.random.default_rng(1))
    >>> done.status, bool(done.edges["left"].mean_recession_um > 5.2)
    ('sharp', True)
    """
    check_parts(blade, method, rng)
    radius = positive("dull_radius_um", dull_radius_um, "Give the edge radius in micrometres.")
    grounds = [ground_of(blade, name, stations=stations, depths=depths) for name in blade.edges]
    states = [new_state(ground, 1) for ground in grounds]
    for state in states:
        state.radius_um = np.full_like(state.radius_um, radius)
    kept = draw_kept([rng])
    draws = draw_session([rng], edges=len(grounds), seatings=method.planes)
    aims = [aim_at(ground, method) for ground in grounds]
    done = sharpen_runs(
        grounds, states, aims, method, kept=kept, draws=draws, turn=0, fresh_um=np.zeros(1)
    )
    return Session(
        method=method,
        edges={
            ground.name: _edge_session(ground, result)
            for ground, result in zip(grounds, done.edges, strict=True)
        },
        passes=int(done.passes[0]),
        seconds=float(done.seconds[0]),
        steel_mg=float(done.steel_mg[0]),
        advance_um=float(max(result.advance[0] for result in done.edges)) * UM_PER_MM,
        status=_status(grounds, done),
    )


ANGLE_ALARM_DEG = 20.0  # far outside any tolerance: the stone is set wrong, not held badly


def _status(grounds: Sequence[Ground], done: SessionRuns) -> str:
    """How the session ended, in words; an edge can be sharp at the wrong angle."""
    ended = STATUS[bool(done.reached[0])]
    off = max(
        float(np.abs(result.state.internal_angle_rad[0] - ground.angle_rad).max())
        for ground, result in zip(grounds, done.edges, strict=True)
    )
    if not done.reached[0] or np.degrees(off) < ANGLE_ALARM_DEG:
        return ended
    return (
        f"{ended}, but the internal angle is off by up to {np.degrees(off):.0f}°: "
        "check the setting, or use settings_needed(edge) for an edge that one cannot follow."
    )


def _edge_session(ground: Ground, result: _Ground1) -> EdgeSession:
    state, sharp = result.state, result.sharp[0]
    return EdgeSession(
        arc_mm=ground.arc_mm,
        recession_um=state.at(ground)[0] * UM_PER_MM,
        angle_deg=np.degrees(state.internal_angle_rad[0]),
        sharp=sharp,
        sharp_fraction=float(ground.share_mm @ sharp / ground.share_mm.sum()),
        active=result.active[0],
        depth_mm=ground.depth_mm,
        inset_mm=state.inset_mm[:, 0],
        new_inset_mm=ground.inset_mm,
        share_mm=ground.share_mm,
        drop_mm=state.drop_mm[0],
    )
