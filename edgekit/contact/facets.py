"""What a finite number of stone placements leaves: facets and the ridges between them.

Placement k at arc position s_k holds the ideal plane there, moved inward by the recession asked
for. Going inward along b from the edge at s, that plane is met at

    u_k(s) = n_k·(P_k - C(s)) / (n_k·b(s)),   P_k = C(s_k) + recession b(s_k)   (theory T8),

and grinding leaves the deepest: recession = max(0, max_k u_k). A plane that does not face the
station, n_k·b(s) >= 0, is seen from behind and skipped. Where neighbouring planes meet, a ridge
stands above the facets, κ Δs²/8 high to second order (theory T9).
"""

from __future__ import annotations

import enum
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.contact.holder import STATIONS
from edgekit.errors import BadArgument, Cannot
from edgekit.evidence_table import value
from edgekit.geometry import vectors as vec
from edgekit.geometry.edge import Edge, EdgeFrame, check_edge, station_weights_mm
from edgekit.record import Record
from edgekit.units import UM_PER_MM

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Facets",
    "Spacing",
    "facets",
    "placed_by_curvature",
    "placements_for",
    "spaced_placements",
]

MAX_PLACEMENTS = 10_000
MIN_RIDGE_UM = 0.01  # less than the roughness that any stone leaves
MAX_MEETINGS = 25_000_000  # of a plane and a station
MEETING_BYTES = 32  # recession, height above the plane, whether it faces the station
_FINE = 2001  # stations over which placements are distributed
_WINDOW = 40  # of those: curvature is averaged over a fiftieth of the edge
_EVEN_SHARE = value(
    "even_spacing_share"
)  # of the mean √κ, so that a perfectly straight side still gets a placement
_RIPPLE_RAD = 0.1  # a straight edge read from noisy points may turn back by a few degrees
_IRREGULAR = 200  # counts up to which facets may be as long as a toe: all of them are tried
_TIGHTENINGS = 12  # halvings of the ridge limit when placements are evened out
GRAZING = 1e-9  # a plane this square to the face direction is seen from behind


class _Ridges(NamedTuple):
    """Where one facet's plane gives way to another's: position, height and the two facets (B,)."""

    arc_mm: FloatArray
    height_above_facet_um: FloatArray
    before: NDArray[np.int_]
    after: NDArray[np.int_]


class _Cut(NamedTuple):
    """What ideal planes leave: their normals (K, 3), the deepest one at each station (S,), -1 where
    none faces it, the recession to it (S,) [mm], and the ridges."""

    normals: FloatArray
    facet_index: NDArray[np.int_]
    recession_mm: FloatArray
    ridges: _Ridges


class Facets(Record):
    """Facets along an edge.

    Attributes
    ----------
    edge : Edge
        The edge they are on.
    placements_mm : array (K,)
        Arc positions of the placements, heel to toe.
    arc_mm, recession_um : array (S,)
        Stations, and how far the edge has moved inward along the face there.
    active : array (S,) of int
        Index of the facet at each station; -1 where nothing was ground.
    height_above_facet_um : array (S,)
        How far the old edge stands above its nearest facet, were that facet deep enough: 0 at the
        placements, rising to the ridge heights between them, infinite where no placement faces
        the edge.
    facet_index : array (S,) of int
        The facet whose plane lies deepest, ground or not; -1 where none faces the edge.
    angle_deg : array (S,)
        Angle between the face and that plane.
    """

    edge: Edge
    placements_mm: FloatArray
    depth_um: float
    arc_mm: FloatArray
    recession_um: FloatArray
    active: NDArray[np.int_]
    height_above_facet_um: FloatArray
    facet_index: NDArray[np.int_]
    angle_deg: FloatArray
    ridges: _Ridges

    @property
    def ridge_um(self) -> float:
        """The highest ridge; infinite if part of the edge is faced by no placement."""
        above = np.append(self.height_above_facet_um, self.ridges.height_above_facet_um)
        return float(above.max())

    @property
    def untouched_mm(self) -> float:
        """Length of edge at which nothing was ground."""
        return float(station_weights_mm(self.arc_mm)[self.active < 0].sum())

    def __repr__(self) -> str:
        text = f"{len(self.placements_mm)} placements: ridges up to {self.ridge_um:.1f} µm"
        if self.untouched_mm > 0:
            text += f"; {self.untouched_mm:.2f} mm of edge is untouched at {self.depth_um:.0f} µm"
        return text

    @property
    def table(self) -> pd.DataFrame:
        """One row per placement.

        ``from_mm`` to ``to_mm``, ``width_um``: the stretch over which its plane lies deepest.
        ``ridge_um``: the higher of the ridges where it meets another facet, 0 where it meets none.
        ``overhang_um``: the highest that the old edge stands above the first or the last facet, out
        to heel or toe; 0 for those between.
        ``angle_deg``, ``angle_low_deg``, ``angle_high_deg``: angle ground at the placement, and
        its range over the stretch. ``ground_mm``: how much of the stretch is ground at all. A
        plane that is nowhere deepest has zero width.
        """
        import pandas as pd

        weights, ridges = station_weights_mm(self.arc_mm), self.ridges
        rows = []
        for k, place in enumerate(self.placements_mm):
            own = self.facet_index == k
            nearest = int(np.argmin(np.abs(self.arc_mm - place)))
            stretch = self.arc_mm[own] if own.any() else np.array([place])
            angle = self.angle_deg[own if own.any() else [nearest]]
            first = ridges.arc_mm[ridges.after == k].min(initial=stretch[0])
            last = ridges.arc_mm[ridges.before == k].max(initial=stretch[-1])
            meets = (ridges.before == k) | (ridges.after == k)
            before, after = self.arc_mm <= place, self.arc_mm >= place
            outer = own & ((before & own[0]) | (after & own[-1]))
            rows.append(
                {
                    "facet": k,
                    "placement_mm": place,
                    "from_mm": first,
                    "to_mm": last,
                    "width_um": (last - first) * UM_PER_MM,
                    "ridge_um": ridges.height_above_facet_um[meets].max(initial=0.0),
                    "overhang_um": self.height_above_facet_um[outer].max(initial=0.0),
                    "angle_deg": self.angle_deg[nearest],
                    "angle_low_deg": angle.min(),
                    "angle_high_deg": angle.max(),
                    "ground_mm": weights[own & (self.active == k)].sum(),
                }
            )
        return pd.DataFrame(rows)


def evenly_placed(edge: Edge, placements: int) -> FloatArray:
    """Arc positions (K,) [mm] of placements at the middles of K equal stretches."""
    k = _count(edge, placements)
    return np.asarray((np.arange(k) + 0.5) * (edge.length_mm / k), dtype=np.float64)


def _count(edge: Edge, placements: int) -> int:
    check_edge(edge)
    each = MEETING_BYTES * STATIONS
    return checks.count("placements", placements, most=MAX_PLACEMENTS, bytes_each=each)


def _positions(edge: Edge, placements: int | ArrayLike) -> FloatArray:
    several = hasattr(placements, "__len__") and not isinstance(placements, str)
    if not several or getattr(placements, "ndim", 1) == 0:
        return evenly_placed(edge, placements)  # type: ignore[arg-type]
    remedy = "Give arc lengths in millimetres from the heel, on the edge."
    places = checks.array_between("placements", placements, 0, edge.length_mm, remedy, ends=True)
    if places.ndim != 1 or not len(places):
        raise BadArgument(
            "placements must hold one position or more",
            places.tolist(),
            remedy,
            argument="placements",
        )
    _count(edge, len(places))
    return np.sort(places)


def facets(
    edge: Edge,
    placements: int | ArrayLike,
    *,
    depth_um: float = 0.0,
    stations: int = STATIONS,
) -> Facets:
    """Facets that ideally held placements leave on an edge.

    Parameters
    ----------
    edge : Edge
        The cutting edge.
    placements : int or array (K,)
        A count, equally spaced in arc at the middle of each stretch, or arc positions [mm].
    depth_um : float
        Recession along the face at each placement [µm].
    stations : int
        Stations along the edge, both ends included.

    Returns
    -------
    Facets

    Raises
    ------
    BadArgument
        A blade in place of one of its edges; a number outside its range.
    EdgekitError
        Placements off the edge, or more than memory holds.

    Examples
    --------
    On a circle of radius R in a planar face K planes are a polygon about it, with ridges
    R (sec(Δθ/2) - 1) (theory T9):

    >>> import numpy as np, edgekit as ek
    >>> u = np.linspace(-0.4, 0.4, 41)
    >>> arc = np.stack([6.7 * np.sin(u), 6.7 * np.cos(u), 0 * u], axis=1)
    >>> edge = ek.Edge.from_points(arc, face_normals=(0, 0, 1), internal_angle_deg=75,
    ...                            handle_axis=(0, 0, -1), inward=(0, -1, 0))
    >>> round(ek.facets(edge, 4).ridge_um, 2), round(float(6700 * (1 / np.cos(0.1) - 1)), 2)
    (33.64, 33.64)
    """
    check_edge(edge)
    depth = checks.at_least("depth_um", depth_um, 0.0, "Give micrometres, 0 or more.")
    places = _positions(edge, placements)
    most, each = MAX_MEETINGS // len(places), MEETING_BYTES * len(places)
    arc, here = edge.at_stations(checks.count("stations", stations, 2, most=most, bytes_each=each))
    cut = _cut(edge, arc, here, places, depth / UM_PER_MM)
    face, normal = here.face.value, cut.normals[cut.facet_index]
    opening = np.arctan2(vec.norm(vec.cross(face, normal)), -vec.dot(face, normal))
    return Facets(
        edge=edge,
        placements_mm=places,
        depth_um=depth,
        arc_mm=arc,
        recession_um=np.maximum(cut.recession_mm, 0.0) * UM_PER_MM,
        active=np.where(cut.recession_mm > 0, cut.facet_index, -1),
        height_above_facet_um=_height_um(depth / UM_PER_MM, cut.recession_mm),
        facet_index=cut.facet_index,
        angle_deg=np.degrees(np.where(cut.facet_index < 0, here.angle.value, opening)),
        ridges=cut.ridges,
    )


def plane_recession(here: EdgeFrame, normals: FloatArray, points: FloatArray) -> FloatArray:
    """Recession u (K, S) [mm], along the face, at which planes (K, 3) are met; -inf from behind."""
    facing = -(normals @ here.inward.value.T)
    height = normals @ here.position.T - vec.dot(normals, points)[:, None]
    ahead = facing > GRAZING
    return np.where(ahead, height / np.where(ahead, facing, 1.0), -np.inf)


def _height_um(at_placement_mm: float, recession_mm: FloatArray) -> FloatArray:
    return np.asarray(np.maximum(at_placement_mm - recession_mm, 0.0) * UM_PER_MM)


def _cut(
    edge: Edge, arc: FloatArray, here: EdgeFrame, places: FloatArray, at_placement_mm: float
) -> _Cut:
    """The ideal planes at `places`, each at the same recession there, and what they leave.

    Meetings of neighbouring planes are located by straight lines, then measured on the edge.
    """
    held = edge.frame(places, order=0)
    normals = held.outward.value
    points = held.position + at_placement_mm * held.inward.value
    reach = plane_recession(here, normals, points)
    deepest = np.argmax(reach, axis=0)
    recession = np.take_along_axis(reach, deepest[None], axis=0)[0]
    index = np.where(np.isfinite(recession), deepest, -1)
    i = np.flatnonzero((index[1:] != index[:-1]) & (index[1:] >= 0) & (index[:-1] >= 0))
    before, after = index[i], index[i + 1]
    lead = np.minimum(reach[before, i] - reach[after, i], 1.0)  # 1 mm where it faces away
    lag = np.minimum(reach[after, i + 1] - reach[before, i + 1], 1.0)
    share = lead / np.maximum(lead + lag, 1e-300)
    meet = arc[i] + share * (arc[i + 1] - arc[i])
    there = plane_recession(edge.frame(meet, order=0), normals, points)
    height = _height_um(at_placement_mm, there.max(axis=0) if len(meet) else np.zeros(0))
    return _Cut(normals, index, recession, _Ridges(meet, height, before, after))


def _max_ridge(edge: Edge, arc: FloatArray, here: EdgeFrame, places: FloatArray) -> float:
    """Highest ridge [mm] of ideal planes at `places`."""
    cut = _cut(edge, arc, here, places, 0.0)
    ridge = float(cut.ridges.height_above_facet_um.max(initial=0.0)) / UM_PER_MM
    return max(float(-cut.recession_mm.min()), ridge)


def placements_for(edge: Edge, *, ridge_um: float, most: int = 2000) -> int:
    """The least count of equally spaced placements whose ridges stay below a limit.

    Ridges do not fall evenly with the count where curvature varies (an even count can leave a toe
    to the two middle facets), so the counts are tried in turn.

    Parameters
    ----------
    edge : Edge
    ridge_um : float
        Limit of the ridges, along the face [µm].
    most : int
        Where the search stops.

    Returns
    -------
    int
        Placements, equally spaced in arc.

    Raises
    ------
    BadArgument
        A blade in place of one of its edges; a number outside its range.
    EdgekitError
        An edge that is hollow overall, or one that needs more than `most`.

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> ek.placements_for(edge, ridge_um=10) > len(ek.spaced_placements(edge, ridge_um=10))
    True
    """
    limit, arc, here = _convex(edge, ridge_um, STATIONS)
    most = checks.count("most", most, most=MAX_PLACEMENTS)
    # Ridges of many facets fall with the square of the count: where the most leave twice the limit,
    # fewer will not do. Of few, one count may happen to meet a toe that larger ones leave out.
    hopeless = most > _IRREGULAR and (
        _max_ridge(edge, arc, here, evenly_placed(edge, most)) >= 2 * limit
    )
    for k in () if hopeless else range(1, most + 1):
        if _max_ridge(edge, arc, here, evenly_placed(edge, k)) <= limit:
            return k
    raise Cannot(
        f"no count up to {most} keeps the ridges below the limit",
        ridge_um,
        "Allow higher ridges, or look at orient(edge).reachable: a hollow stretch needs a rod.",
    )


def _convex(edge: Edge, ridge_um: float, stations: int) -> tuple[float, FloatArray, EdgeFrame]:
    """A ridge's limit [mm], stations and the frame there, of an edge that a flat stone can follow.

    Planes on a hollow edge leave no ridges, they gouge: a count of them would mean nothing.
    """
    check_edge(edge)
    remedy = f"Give micrometres, {MIN_RIDGE_UM:g} or more: below that no stone leaves a ridge."
    checks.positive("ridge_um", ridge_um, "Give the ridge height in micrometres.")
    limit = checks.at_least("ridge_um", ridge_um, MIN_RIDGE_UM, remedy)
    arc = edge.stations(stations)
    here = edge.frame(arc, order=1)
    turn = float(np.trapezoid(here.relative_curvature, arc))
    if turn < -_RIPPLE_RAD:
        raise Cannot(
            "a flat stone cannot follow an edge that is hollow overall",
            f"a turn of {np.degrees(turn):.3g}°",
            "Use a rod: orient(edge).max_rod_mm says how thick.",
        )
    return limit / UM_PER_MM, arc, here


class Spacing(enum.Enum):
    """How placements are distributed along an edge."""

    EVEN = "equal arcs"
    BY_CURVATURE = "spacing by 1/√κ, closer where the edge turns"


def averaged_curvature(arc_mm: FloatArray, curvature: FloatArray, window: int) -> FloatArray:
    """Curvature (S,) averaged over `window` stations; 0 where it is hollow."""
    turn = np.concatenate([[0.0], np.cumsum(curvature[1:] * np.diff(arc_mm))])
    station, last = np.arange(len(arc_mm)), len(arc_mm) - 1
    ahead = np.minimum(station + window // 2, last)
    behind = np.maximum(station - window // 2, 0)
    mean = (turn[ahead] - turn[behind]) / (arc_mm[ahead] - arc_mm[behind])
    return np.asarray(np.maximum(mean, 0.0))


def placement_density(edge: Edge, spacing: Spacing) -> tuple[FloatArray, FloatArray]:
    """Arc lengths (M,) [mm] and the share (M,) of placements that lie before each, from 0 to 1.

    By curvature the density of placements is ∝ √κ (theory T11), κ being the turn of the stone's
    plane averaged over a fiftieth of the edge, so that ripple of a spline attracts none; a small
    even share serves straight stretches.
    """
    arc = edge.stations(_FINE)
    if spacing is Spacing.EVEN:
        return arc, arc / arc[-1]
    bend = edge.frame(arc, order=1).relative_curvature
    kappa = averaged_curvature(arc, bend, _WINDOW)
    root = np.sqrt(kappa) + _EVEN_SHARE * max(float(np.sqrt(kappa).mean()), 1e-9)
    measure = np.concatenate([[0.0], np.cumsum((root[1:] + root[:-1]) / 2 * np.diff(arc))])
    return arc, measure / measure[-1]


def placed_by_curvature(edge: Edge, placements: int) -> FloatArray:
    """Arc positions (K,) [mm] of K placements for near-equal ridges: spacing ∝ 1/√κ.

    Parameters
    ----------
    edge : Edge
    placements : int
        How many.

    Returns
    -------
    array (P,)
        Arc positions [mm], closer where the edge turns: their density is proportional to √κ.

    Raises
    ------
    BadArgument
        A blade in place of one of its edges; a number outside its range.

    Examples
    --------
    >>> import edgekit as ek
    >>> from edgekit.contact.facets import placed_by_curvature
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> even, spaced = ek.facets(edge, 8), ek.facets(edge, placed_by_curvature(edge, 8))
    >>> bool(spaced.ridge_um < even.ridge_um / 5)
    True
    """
    k = _count(edge, placements)
    arc, share = placement_density(edge, Spacing.BY_CURVATURE)
    return np.asarray(np.interp((np.arange(k) + 0.5) / k, share, arc))


def spaced_placements(edge: Edge, *, ridge_um: float) -> FloatArray:
    """Arc positions of the fewest placements whose ridges stay below a limit.

    Each placement is set as far from the last as the ridge between the two allows, which is
    optimal on a convex edge and lets the spacing follow the curvature; the limit is then tightened
    until one more placement would be needed, which makes the ridges equal.

    Parameters
    ----------
    edge : Edge
        The cutting edge.
    ridge_um : float
        Highest ridge allowed [µm].

    Returns
    -------
    array (K,)
        Arc positions [mm]; usually far fewer than `placements_for` needs.

    Raises
    ------
    BadArgument
        A blade in place of one of its edges; a number outside its range.
    EdgekitError
        An edge that is hollow overall.

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> spots = ek.spaced_placements(edge, ridge_um=10)
    >>> bool(ek.facets(edge, spots).ridge_um <= 10)
    True
    """
    limit, arc, here = _convex(edge, ridge_um, _FINE)
    below = -plane_recession(here, here.outward.value, here.position)  # (plane, station)
    best, target = _farthest(below, limit), limit
    while (high := _max_ridge(edge, arc, here, arc[best])) > limit:
        target *= 0.999 * limit / high  # the ridge stands between two of the fine stations
        best = _farthest(below, target)
    low = 0.0
    for _ in range(_TIGHTENINGS):
        middle = (low + target) / 2
        tried = _farthest(below, middle)
        if len(tried) <= len(best):
            best, target = tried, middle
        else:
            low = middle
    return np.asarray(arc[best])


def _farthest(below: FloatArray, limit: float) -> list[int]:
    """Indices of planes, each as far from the last as the limit allows."""
    last = below.shape[0] - 1
    planes: list[int] = []
    while not planes or below[planes[-1], planes[-1] :].max() > limit:
        start = planes[-1] if planes else 0

        def ridge(q: int, start: int = start) -> float:
            """Highest ridge between the last plane and plane q."""
            height = below[q, start : q + 1]
            if planes:
                height = np.minimum(below[start, start : q + 1], height)
            return float(height.max())

        low, high = start + bool(planes), last  # the next plane along always serves
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if ridge(middle) <= limit else (low, middle - 1)
        planes.append(low)
        if low == last:
            break
    return planes
