"""A rigid plane stone rolled over a whole edge in a planar face, by brute force on a fine field.

Nothing here comes from the package. The field is the inset u = h(s, v) of the steel's surface, at
arc length s along the edge and depth v below the face. A plane takes a half-space, and so from
every section, not only from its own; the stone rolled over a stretch takes the union of the
half-spaces of finely spaced planes. Beside it stands the cut section by section, each by its own
plane alone. Lengths in millimetres, angles in radians.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.optimize import brentq

BETA = np.radians(75.0)
DEPTH = 0.71
LEAST_FACING = (
    0.05  # cosine to a station's inward direction below which a plane is seen from behind
)


def cot(angle):
    """Cotangent."""
    return 1.0 / np.tan(angle)


@dataclass(frozen=True, kw_only=True)
class PlanEdge:
    """Arcs of `lengths` and `curvatures` (0: straight), convex to the stone, in a planar face."""

    lengths: tuple[float, ...]
    curvatures: tuple[float, ...]
    angle: float = BETA
    depth: float = DEPTH

    @property
    def length(self):
        """Length of the edge."""
        return sum(self.lengths)

    def curvature(self, s):
        """Plan curvature at arc lengths."""
        arc = np.searchsorted(np.cumsum(self.lengths)[:-1], s, side="right")
        return np.array(self.curvatures)[arc]

    def heading(self, s):
        """Heading of the tangent at arc lengths."""
        ends = np.concatenate([[0.0], np.cumsum(self.lengths)])
        turned = np.concatenate([[0.0], np.cumsum(np.multiply(self.lengths, self.curvatures))])
        return np.interp(s, ends, turned)

    def position(self, s):
        """Points (..., 2) of the edge, arc by arc in closed form."""
        s = np.asarray(s, dtype=float)
        point, start = np.zeros((*s.shape, 2)), 0.0
        for length, kappa in zip(self.lengths, self.curvatures, strict=True):
            run = np.clip(s - start, 0.0, length)
            half = kappa * run / 2
            chord = run * np.sinc(half / np.pi)
            mean = self.heading(start) + half
            point += chord[..., None] * np.stack([np.cos(mean), np.sin(mean)], axis=-1)
            start += length
        return point


def straight_edge(length=5.65):
    """An edge without curvature."""
    return PlanEdge(lengths=(length,), curvatures=(0.0,))


def curved_edge(radius=6.7, length=5.65):
    """An edge of constant curvature."""
    return PlanEdge(lengths=(length,), curvatures=(1 / radius,))


def edge_with_toe(radius=6.7, length=5.58, toe_radius=0.43, toe_length=0.675):
    """A curved edge that ends in a tight toe."""
    return PlanEdge(lengths=(length, toe_length), curvatures=(1 / radius, 1 / toe_radius))


def inward(heading):
    """Unit vectors (..., 2) into the steel: a quarter turn to the left of the tangent."""
    return np.stack([-np.sin(heading), np.cos(heading)], axis=-1)


@dataclass(frozen=True, kw_only=True)
class Field:
    """Insets (S, V) at stations `s` (S,) and depths `v` (V,) of an edge."""

    edge: PlanEdge
    s: np.ndarray
    v: np.ndarray
    inset: np.ndarray

    def at(self, inset):
        """The same grid with other insets."""
        return Field(edge=self.edge, s=self.s, v=self.v, inset=inset)

    @property
    def recession(self):
        """Inset of the edge itself (S,)."""
        return self.inset[:, 0]


def new_field(edge, *, stations=201, depths=41):
    """The field of a new edge: a flat flank, depths crowded towards the face."""
    s = np.linspace(0.0, edge.length, stations)
    v = edge.depth * np.linspace(0.0, 1.0, depths) ** 2
    inset = np.broadcast_to(v * cot(edge.angle), (stations, depths)).copy()
    return Field(edge=edge, s=s, v=v, inset=inset)


def _trapezoid_weights(x):
    step = np.diff(x)
    return (np.concatenate([step, [0.0]]) + np.concatenate([[0.0], step])) / 2


def steel_per_length(before, after):
    """Steel (S,) [mm³/mm] between two fields; inward of a curved edge area shrinks by 1 - κu."""
    kappa = before.edge.curvature(before.s)[:, None]
    limit = np.where(kappa > 0, 1 / np.maximum(kappa, 1e-12), np.inf)
    low, high = np.minimum(before.inset, limit), np.minimum(after.inset, limit)
    return (high - low) * (1 - kappa * (high + low) / 2) @ _trapezoid_weights(before.v)


def volume(before, after):
    """Steel [mm³] between two fields."""
    return float(steel_per_length(before, after) @ _trapezoid_weights(before.s))


@dataclass(frozen=True, kw_only=True)
class Planes:
    """Planes of the stone: its trace on the face is the line b·x = level, b turned to `heading`.

    `slope` is the cotangent of the angle each plane makes with the face.
    """

    heading: np.ndarray
    level: np.ndarray
    slope: np.ndarray


def cut_by_planes(field, planes):
    """The field after the union of all half-spaces is gone."""
    into = inward(planes.heading)
    own = inward(field.edge.heading(field.s))
    points = field.edge.position(field.s)
    inset = field.inset.copy()
    for b, level, slope in zip(into, planes.level, planes.slope, strict=True):
        facing = own @ b
        seen = facing > LEAST_FACING
        reach = (level - points @ b)[:, None] + slope * field.v
        inset[seen] = np.maximum(inset[seen], reach[seen] / facing[seen, None])
    return field.at(inset)


def planes_through(edge, s, offset, tilt, swing=0.0):
    """Planes of the stone at contact parameters `s` (P,).

    The plane at s is turned as the edge is there, opened by the tilt, swung about the face's
    normal, and lies `offset` past first touch with the new edge; without swing it goes through the
    point `offset` inward of the edge at s.
    """
    heading = edge.heading(s) + swing
    into = inward(heading)
    along = np.linspace(0.0, edge.length, 2001)
    touch = (edge.position(along) @ into.T).min(axis=0)
    if np.all(np.equal(swing, 0.0)):
        touch = (edge.position(s) * into).sum(axis=1)
    slope = np.broadcast_to(cot(edge.angle + tilt), np.shape(s))
    return Planes(heading=heading, level=touch + offset, slope=slope)


@dataclass(frozen=True, kw_only=True)
class Rolled:
    """What a stroke took: the field after it, and the steel on the stretch and beyond its ends.

    `recession` (S,) is the advance of the edge by this stroke.
    """

    after: Field
    recession: np.ndarray
    stretch_volume: float
    end_facets_volume: float

    @property
    def volume(self):
        """All the steel of the stroke."""
        return self.stretch_volume + self.end_facets_volume


def _taken(before, after, stretch):
    steel = steel_per_length(before, after)
    weight = _trapezoid_weights(before.s)
    inside = _share_inside(before.s, stretch)
    return Rolled(
        after=after,
        recession=after.recession - before.recession,
        stretch_volume=float((inside * steel) @ weight),
        end_facets_volume=float(((1 - inside) * steel) @ weight),
    )


def _on(s, stretch, rounding=1e-9):
    """Which stations lie on the stretch."""
    return (s >= stretch[0] - rounding) & (s <= stretch[1] + rounding)


def _share_inside(s, stretch):
    """Share (S,) of each station's cell that lies on the stretch."""
    middle = (s[1:] + s[:-1]) / 2
    low, high = np.concatenate([[s[0]], middle]), np.concatenate([middle, [s[-1]]])
    inside = np.minimum(high, stretch[1]) - np.maximum(low, stretch[0])
    return np.clip(inside / (high - low), 0.0, 1.0)


def roll(before, stretch, offset, tilt, swing=0.0, *, planes=401):
    """Roll a rigid plane over a stretch of the edge.

    `offset` and `tilt` are functions of arc length; the offset is measured from the new edge (see
    `planes_through`). What is taken beyond the ends of the stretch are the facets of the first and
    the last plane; their steel is reported apart.
    """
    s = np.linspace(*stretch, planes)
    taken = cut_by_planes(before, planes_through(before.edge, s, offset(s), tilt(s), swing))
    return _taken(before, taken, stretch)


def cut_by_section(before, stretch, offset, tilt):
    """The same stroke, each section on the stretch cut by its own plane alone, none beyond it.

    The stretch should end at stations.
    """
    s = before.s
    on = _on(s, stretch)
    slope = cot(before.edge.angle + tilt(s))
    reach = offset(s)[:, None] + slope[:, None] * before.v
    after = before.at(np.where(on[:, None], np.maximum(before.inset, reach), before.inset))
    steel = _share_inside(s, stretch) * steel_per_length(before, after)
    return Rolled(
        after=after,
        recession=after.recession - before.recession,
        stretch_volume=float(steel @ _trapezoid_weights(s)),
        end_facets_volume=0.0,
    )


def end_facet(edge, kappa, offset, tilt, room, *, depths=2001):
    """Steel of the facet past one end of a stretch, in closed form: half a segment at every depth.

    At depth v a new flank under an edge of constant curvature is an arc of radius 1/κ - v cotβ,
    and the last plane a line `offset` + v (cot(β + τ) - cotβ) inside it; `room` is the length of
    edge left.
    """
    v = np.linspace(0.0, edge.depth, depths)
    radius = 1 / kappa - v * cot(edge.angle)
    sagitta = np.maximum(offset + v * (cot(edge.angle + tilt) - cot(edge.angle)), 0.0)
    turn = np.minimum(np.arccos(1 - sagitta / radius), kappa * room)
    # between arc and line, out to `turn`: sector less triangle
    piece = radius**2 * turn / 2 - (radius - sagitta) ** 2 * np.tan(turn) / 2
    return float(piece @ _trapezoid_weights(v))


def volume_by_clipping(edge, planes, *, depths=41, points=4001):
    """Steel [mm³] that planes take off a new edge: polygons clipped by lines, depth by depth."""
    v = edge.depth * np.linspace(0.0, 1.0, depths) ** 2
    s = np.linspace(0.0, edge.length, points)
    into = inward(edge.heading(s))
    areas = []
    for depth in v:
        outline = edge.position(s) + depth * cot(edge.angle) * into
        behind = edge.position(s[::-1]) + 0.4 * into[::-1]  # a strip 0.4 mm wide, the sides square
        strip = shapely.Polygon(np.vstack([outline, behind]))
        left = strip
        for heading, level, slope in zip(planes.heading, planes.level, planes.slope, strict=True):
            left = left.difference(_half_plane(heading, level + slope * depth))
        areas.append(strip.area - left.area)
    return float(np.array(areas) @ _trapezoid_weights(v))


def _half_plane(heading, level, size=50.0):
    """The outer side of a line as a large square."""
    b, t = inward(heading), np.array([np.cos(heading), np.sin(heading)])
    foot = level * b
    corners = [foot - size * t, foot + size * t, foot + size * (t - b), foot - size * (t + b)]
    return shapely.Polygon(corners)


def offset_for_steel(before, steel, tilt):
    """Inset (S,) at the face at which each section's own plane takes `steel` [mm³/mm] from it."""
    slope = cot(before.edge.angle + tilt)
    short = before.inset - slope[:, None] * before.v  # a plane at inset a takes where a > short
    low, high = short.min(axis=1), short.max(axis=1) + 1.0
    for _ in range(60):
        middle = (low + high) / 2
        reach = before.at(np.maximum(before.inset, middle[:, None] + slope[:, None] * before.v))
        enough = steel_per_length(before, reach) > steel
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return (low + high) / 2


def rigid_stroke(before, stretch, steel, tilt, swing=0.0, *, planes=101):
    """A rolled stroke of a given volume [mm³]: planes touch the wanted edge, then move in alike.

    The wanted edge has every section of the stretch give the same steel to its own plane. The
    stone's planes are laid against it, swung or not, and all advanced by one length until the
    volume is taken, end facets included.
    """
    edge, s = before.edge, np.linspace(*stretch, planes)
    tilts = tilt(before.s)
    wanted = offset_for_steel(before, np.full(len(before.s), steel / np.ptp(stretch)), tilts)
    on = _on(before.s, stretch)
    aim = edge.position(before.s) + wanted[:, None] * inward(edge.heading(before.s))
    heading = edge.heading(s) + swing
    level = (aim[on] @ inward(heading).T).min(axis=0)
    slope = cot(edge.angle + tilt(s))

    def after(advance):
        return cut_by_planes(before, Planes(heading=heading, level=level + advance, slope=slope))

    def excess(advance):
        return volume(before, after(advance)) / steel - 1

    low, high = -0.02, 0.02
    while excess(low) > 0:
        low *= 4
    while excess(high) < 0:
        high *= 4
    return _taken(before, after(brentq(excess, low, high, xtol=1e-8, rtol=1e-6)), stretch)


def section_stroke(before, stretch, steel, tilt):
    """The same stroke section by section: every section of the stretch gives the same steel."""
    tilts = tilt(before.s)
    wanted = offset_for_steel(before, np.full(len(before.s), steel / np.ptp(stretch)), tilts)
    return cut_by_section(before, stretch, lambda s: np.interp(s, before.s, wanted), tilt)


def smooth_error(rng, *, sd, correlation, modes=12):
    """A stationary error along the edge, of a Matérn 3/2 spectrum, as a sum of random cosines.

    Frequencies are drawn from the spectrum (a Student t of three degrees of freedom), so that it is
    the same smooth function on every grid.
    """
    frequency = rng.standard_t(3, size=modes) / correlation
    phase = rng.uniform(0, 2 * np.pi, size=modes)
    height = sd * np.sqrt(2.0 / modes)
    return lambda s: height * np.cos(np.multiply.outer(s, frequency) + phase).sum(axis=-1)


def until_clear(before, dull, stroke, *, at_most=2000):
    """Strokes, made by `stroke(field, number)`, until every station has receded by `dull`."""
    field = before
    for number in range(at_most):
        if np.all(field.recession - before.recession >= dull):
            return field, number
        field = stroke(field, number).after
    raise RuntimeError("the session never ends")
