"""One section of an edge under stroke after stroke, by clipping polygons: a judge of stroke models.

Nothing here comes from the package. The section is a convex polygon of points (u, v): u inward
along the face from the edge when new, v down from the face. Use rounds its edge; a stroke takes the
half-plane u < a + v cot(β + τ) off it, τ opening the angle, and a is found from the area removed.
Lengths in millimetres, angles in radians.
"""

from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
import shapely
from scipy.stats import norm

INWARD_MM = 2.0  # steel behind the edge, far more than a life grinds away
TANGENTS = 24  # straight pieces of a rounded edge
ARC_CHORDS = 20_000


def cot(angle):
    """Cotangent."""
    return 1.0 / np.tan(angle)


def area(polygon):
    """Area of a polygon (N, 2) by the shoelace formula, about its first corner."""
    u, v = (polygon - polygon[0]).T
    return 0.5 * abs(np.dot(u[:-1], v[1:]) - np.dot(u[1:], v[:-1]))


def keep_inward(polygon, inset, slope):
    """What a half-plane leaves of a convex polygon: the part with u >= inset + slope v."""
    ahead = polygon[:, 0] - slope * polygon[:, 1] - inset
    inside = ahead >= 0
    if inside.all():
        return polygon
    following = np.arange(1 - len(polygon), 1)  # the last corner's is the first
    crosses = inside != inside[following]
    share = np.where(crosses, ahead, 0.0) / np.where(crosses, ahead - ahead[following], 1.0)
    met = polygon + share[:, None] * (polygon[following] - polygon)
    return np.stack([polygon, met], axis=1)[np.stack([inside, crosses], axis=1)]


def plane_for_area(polygon, slope, removed):
    """Inset at the face of the plane of this slope that cuts the area `removed` off a polygon.

    Chords along the plane change evenly between corners, so the area up to each of them, and then
    a quadratic, give it exactly.
    """
    depth = polygon[:, 1]
    level = polygon[:, 0] - slope * depth  # a plane of this slope, and its inset at the face
    first = level.argmin()
    around = np.arange(first - len(level), first)
    level, depth = level[around], depth[around]
    far = level.argmax()
    back = np.append(level[far:], level[0])[::-1], np.append(depth[far:], depth[0])[::-1]
    stops = np.sort(level)
    chord = np.abs(np.interp(stops, level[: far + 1], depth[: far + 1]) - np.interp(stops, *back))
    steps = np.diff(stops)
    taken = np.append(0.0, np.cumsum(steps * (chord[1:] + chord[:-1]) / 2))
    if not 0 <= removed < taken[-1]:
        raise ValueError(f"a plane cannot take {removed} of an area of {taken[-1]}")
    k = np.searchsorted(taken, removed, side="right") - 1
    rest, widening = removed - taken[k], (chord[k + 1] - chord[k]) / steps[k]
    return stops[k] + 2 * rest / (chord[k] + np.sqrt(chord[k] ** 2 + 2 * widening * rest))


def corner_area(angle):
    """Area between a unit circle and the wedge that it is tangent to."""
    return cot(angle / 2) - (np.pi - angle) / 2


@dataclass(frozen=True, kw_only=True)
class Section:
    """A section: the polygon of its steel, and of the same steel with an ideally sharp edge.

    `edge` is the inset of that sharp edge, `angle` the angle there, `radius` what use made of it;
    `turn` is how far the arc still runs from the face (π - angle when nothing is ground of it).
    """

    sharp: np.ndarray
    steel: np.ndarray
    edge: float
    angle: float
    radius: float = 0.0
    tangent_point: float = 0.0
    centre: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0

    @property
    def land(self):
        """Chord of what is left of the rounded edge."""
        return 2 * self.radius * np.sin(self.turn / 2)

    @property
    def missing(self):
        """Area that the section lacks towards a sharp edge."""
        return area(self.sharp) - area(self.steel)


def new_section(angle, depth):
    """A flat flank at `angle` to the face, `depth` deep."""
    lean = depth * cot(angle)
    corners = np.array([[0, 0], [INWARD_MM, 0], [INWARD_MM + lean, depth], [lean, depth]])
    return Section(sharp=corners, steel=corners, edge=0.0, angle=angle)


def rounded(section, radius, *, steel_is_missing=True):
    """The section after use has rounded its edge to a radius.

    With ``steel_is_missing=False`` the arc is only what has to be cleared, and a stroke pays for
    the corner as if it were still there.
    """
    reach = radius * cot(section.angle / 2)
    centre = (section.edge + reach, radius)
    steel = section.sharp
    if steel_is_missing:
        turns = (np.pi - section.angle) * (np.arange(TANGENTS) + 0.5) / TANGENTS
        for turn in turns:  # outward normal of the arc, `turn` from straight up out of the face
            out = np.array([-np.sin(turn), -np.cos(turn)])
            inset = (radius + out @ centre) / out[0]
            steel = keep_inward(steel, inset, -out[1] / out[0])
    return replace(
        section,
        steel=steel,
        radius=radius,
        tangent_point=centre[0],
        centre=centre,
        turn=np.pi - section.angle,
    )


def ground(section, angle, removed):
    """The section after one stroke at `angle` that removes an area."""
    slope = cot(angle)
    inset = plane_for_area(section.steel, slope, removed)
    after = replace(
        section,
        sharp=keep_inward(section.sharp, inset, slope),
        steel=keep_inward(section.steel, inset, slope),
        turn=min(section.turn, _turn_to_plane(section, inset, slope)),
    )
    return replace(after, edge=inset, angle=angle) if inset > section.edge else after


def _turn_to_plane(section, inset, slope):
    """How far the arc runs from the face until the plane cuts it; π where it does not."""
    if section.radius == 0 or inset >= section.tangent_point:
        return 0.0
    u, v = section.centre
    # on the circle, u - r sin t - slope (v - r cos t) = inset
    scale = section.radius * np.hypot(1.0, slope)
    sine = (u - slope * v - inset) / scale
    if abs(sine) > 1:
        return np.pi
    return float(np.arcsin(sine) + np.arctan(slope))


class StopRule(Protocol):
    """When a session ends."""

    def done(self, section: Section, strokes: int, /) -> bool:
        """Whether to stop after so many strokes."""


@dataclass(frozen=True)
class EverythingClear:
    """The plane meets the face beyond the old tangent point."""

    def done(self, section, _strokes, /):
        """Whether nothing is left of the arc."""
        return section.edge >= section.tangent_point


@dataclass(frozen=True)
class LandOfFreshEdge:
    """The land left is no wider than that of an edge of the fresh radius, within a resolution."""

    fresh_radius: float
    resolution: float = 0.0

    def done(self, section, _strokes, /):
        """Whether the land can no longer be told from a fresh edge's."""
        fresh = 2 * self.fresh_radius * np.cos(section.angle / 2)
        return section.edge >= section.tangent_point or section.land <= fresh + self.resolution


@dataclass(frozen=True)
class CountedStrokes:
    """A fixed number of strokes."""

    count: int

    def done(self, _section, strokes, /):
        """Whether they have been made."""
        return strokes >= self.count


@dataclass(frozen=True, kw_only=True)
class Bench:
    """What every session of a life shares. The reference case is the default."""

    angle: float = np.radians(75.0)
    depth: float = 0.71
    radius: float = 4.65e-3
    stroke_area: float = 1.2e-3 / 6.25
    stroke_sd: float = np.radians(2.5)
    stop: StopRule = field(default_factory=EverythingClear)
    steel_is_missing: bool = True
    carry_missing: bool = False
    strokes_at_most: int = 100_000


def session(section, bench, tilts):
    """Round the edge, then grind until the rule says stop: the section and the strokes made."""
    dull = rounded(
        section, radius_at_start(section, bench), steel_is_missing=bench.steel_is_missing
    )
    for strokes in range(1, bench.strokes_at_most + 1):
        dull = ground(dull, bench.angle + next(tilts), bench.stroke_area)
        if bench.stop.done(dull, strokes):
            return dull, strokes
    raise RuntimeError("the session never ends")


def radius_at_start(section, bench):
    """Radius of use; if what a session left dull is carried, missing areas add up."""
    if not bench.carry_missing:
        return bench.radius
    used = bench.radius**2 * corner_area(bench.angle)
    return np.sqrt((used + section.missing) / corner_area(section.angle))


@dataclass(frozen=True, kw_only=True)
class Life:
    """Sessions of one life: recession (N,) and strokes (N,) of each, and the angle it ends with."""

    recession: np.ndarray
    strokes: np.ndarray
    angle: float


def life(bench, tilts, *, lost=0.172):
    """Sessions until `lost` is gone; the flank keeps its shape from one to the next."""
    section, recession, strokes = new_section(bench.angle, bench.depth), [], []
    while section.edge < lost:
        before = section.edge
        section, count = session(section, bench, tilts)
        recession.append(section.edge - before)
        strokes.append(count)
    return Life(recession=np.array(recession), strokes=np.array(strokes), angle=section.angle)


def hand(rng, *, person=0.0, stroke_sd=0.0):
    """Endless tilts of one person's strokes."""
    while True:
        yield from person + stroke_sd * rng.normal(size=256)


def lives(bench, *, people, person_sd, skill_gsd=1.0, seed=0, lost=0.172):
    """Lives of people whose own tilt and skill are spread evenly over their distributions."""
    rng = np.random.default_rng(seed)
    even = norm.ppf((np.arange(people) + 0.5) / people)
    skill = skill_gsd ** rng.permutation(even)
    return [
        life(bench, hand(rng, person=person_sd * z, stroke_sd=bench.stroke_sd * k), lost=lost)
        for z, k in zip(even, skill, strict=True)
    ]


@dataclass(frozen=True)
class Remainder:
    """What a plane leaves of a rounded edge, measured on polygons."""

    land: float
    missing: float
    radius: float


def remainder(radius, wedge_angle, plane_angle, inset):
    """Land, missing area and radius of equal area after one plane has cut a rounded edge.

    A circle of `radius` in a wedge of `wedge_angle`; the plane meets the face `inset` from the
    wedge's edge at `plane_angle`. The land is the chord of what is left of the arc next to the face
    (0 when nothing is), the missing area what the steel lacks towards face, plane and flank; the
    radius of equal area lies in the wedge between the face and the plane, or the old flank where
    the plane does not reach it. The circle is a polygon of many chords, so all is good to about
    1e-8.
    """
    reach = radius * cot(wedge_angle / 2)
    size = 60 * reach + 2 * abs(inset)
    turns = np.linspace(0.0, np.pi - wedge_angle, ARC_CHORDS + 1)
    arc = np.column_stack([reach - radius * np.sin(turns), radius - radius * np.cos(turns)])
    lean = size * cot(wedge_angle)
    far = [[size + lean, size], [size + lean, 0.0]]
    wedge = shapely.Polygon([[0.0, 0.0], [lean, size], *far])
    steel = shapely.Polygon([*arc, [lean, size], *far])
    shift = size * cot(plane_angle)
    outer = -10 * size
    taken = shapely.Polygon([[outer, 0], [inset, 0], [inset + shift, size], [outer, size]])
    sharp, left = wedge.difference(taken), steel.difference(taken)
    missing = sharp.difference(left).area
    beyond = shapely.LineString(arc).difference(taken)
    pieces = [np.array(piece.coords) for piece in shapely.get_parts(beyond) if not piece.is_empty]
    next_to_face = [p for p in pieces if abs(p[0, 1]) < 1e-12 * radius and len(p) > 1]
    land = float(np.linalg.norm(np.diff(next_to_face[0][[0, -1]], axis=0))) if next_to_face else 0.0
    angle = plane_angle if inset > 0 else wedge_angle
    return Remainder(land, missing, float(np.sqrt(missing / corner_area(angle))))
