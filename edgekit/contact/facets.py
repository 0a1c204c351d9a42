"""What a finite number of stone placements leaves: facets and the ridges between them.

Placement k at arc position s_k holds the ideal plane there, moved inward by the depth along the
face. Going inward along b from the edge at s, that plane is met at

    u_k(s) = n_k·(P_k - C(s)) / (n_k·b(s)),   P_k = C(s_k) + depth b(s_k)   (theory T8),

and grinding leaves the deepest: recession = max(0, max_k u_k). A plane that does not face the
station, n_k·b(s) >= 0, is seen from behind and skipped. Where neighbouring planes meet the edge
stands proud of the facets by the ridge height, κ Δs²/8 to second order (theory T9).
"""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from edgekit.checks import FloatArray, at_least, count, frozen_array, positive
from edgekit.contact.holder import STATIONS
from edgekit.errors import EdgekitError
from edgekit.geometry import vectors as vec
from edgekit.geometry.edge import Edge, EdgeFrame, station_weights_mm

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

__all__ = [
    "Facets",
    "Spacing",
    "evenly_placed",
    "facets",
    "placed_by_curvature",
    "placements_for",
    "spaced_placements",
    "spread",
]

UM_PER_MM = 1000.0
_FINE = 2001  # stations over which placements are spread
_WINDOW = 40  # of those: curvature is averaged over a fiftieth of the edge
_EVEN_SHARE = 0.05  # of the mean √κ, so that a perfectly straight side still gets a placement
_RIPPLE_RAD = 0.1  # a straight edge read from noisy points may turn back by a few degrees
_TIGHTENINGS = 12  # halvings of the ridge limit when placements are evened out
GRAZING = 1e-9  # a plane this square to the face direction is seen from behind


class _Planes(NamedTuple):
    """Ideal planes at placements: normals and points (K, 3), and their depth [mm]."""

    normals: FloatArray
    points: FloatArray
    depth: float


class _Ridges(NamedTuple):
    """Where one facet's plane gives way to another's: position, height and the two facets (B,)."""

    arc_mm: FloatArray
    height_above_facet_um: FloatArray
    before: NDArray[np.int_]
    after: NDArray[np.int_]


@dataclass(frozen=True, kw_only=True, eq=False)
class Facets:
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
        How far the old edge stands proud of its nearest facet, were that facet deep enough:
        0 at the placements, rising to the ridge heights between them, infinite where no placement
        faces the edge.
    owner : array (S,) of int
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
    owner: NDArray[np.int_]
    angle_deg: FloatArray
    ridges: _Ridges

    @property
    def ridge_um(self) -> float:
        """The highest ridge; infinite if part of the edge is faced by no placement."""
        return float(
            np.concatenate([self.height_above_facet_um, self.ridges.height_above_facet_um]).max()
        )

    @property
    def untouched_mm(self) -> float:
        """Length of edge at which nothing was ground."""
        return float(station_weights_mm(self.arc_mm)[self.active < 0].sum())

    def __repr__(self) -> str:
        ridge = f"{len(self.placements_mm)} placements: ridges up to {self.ridge_um:.1f} µm"
        if self.untouched_mm == 0:
            return ridge
        return (
            f"{ridge}; {self.untouched_mm:.2f} mm of edge is not touched at a depth of "
            f"{self.depth_um:.0f} µm"
        )

    def _repr_html_(self) -> str:
        return f"<p>{self!r}</p>"

    @property
    def table(self) -> pd.DataFrame:
        """One row a placement.

        ``from_mm`` to ``to_mm``, ``width_um``: the stretch over which its plane lies deepest.
        ``ridge_um``: the highest the old edge stands proud of the plane over that stretch.
        ``angle_deg``, ``angle_low_deg``, ``angle_high_deg``: angle ground at the placement, and
        its range over the stretch. ``ground_mm``: how much of the stretch this depth reaches. A
        plane that is nowhere deepest has zero width.
        """
        import pandas as pd

        share = station_weights_mm(self.arc_mm)
        rows = []
        for k, place in enumerate(self.placements_mm):
            mine = self.owner == k
            own = self.arc_mm[mine] if mine.any() else np.array([place])
            angle = self.angle_deg[mine] if mine.any() else self.angle_deg[self._nearest(place)]
            first = self.ridges.arc_mm[self.ridges.after == k].min(initial=own[0])
            last = self.ridges.arc_mm[self.ridges.before == k].max(initial=own[-1])
            edges = (self.ridges.before == k) | (self.ridges.after == k)
            rows.append(
                {
                    "facet": k,
                    "placement_mm": place,
                    "from_mm": first,
                    "to_mm": last,
                    "width_um": (last - first) * UM_PER_MM,
                    "ridge_um": max(
                        self.height_above_facet_um[mine].max(initial=0.0),
                        self.ridges.height_above_facet_um[edges].max(initial=0.0),
                    ),
                    "angle_deg": self.angle_deg[self._nearest(place)],
                    "angle_low_deg": angle.min(),
                    "angle_high_deg": angle.max(),
                    "ground_mm": share[mine & (self.active == k)].sum(),
                }
            )
        return pd.DataFrame(rows)

    def _nearest(self, arc_mm: float) -> int:
        return int(np.argmin(np.abs(self.arc_mm - arc_mm)))


def _find_ridges(
    edge: Edge, arc: FloatArray, planes: _Planes, reach: FloatArray, owner: NDArray[np.int_]
) -> _Ridges:
    """Meetings of neighbouring planes: located by straight lines, then measured on the edge."""
    i = np.flatnonzero((owner[1:] != owner[:-1]) & (owner[1:] >= 0) & (owner[:-1] >= 0))
    before, after = owner[i], owner[i + 1]
    lead = np.minimum(reach[before, i] - reach[after, i], 1.0)  # 1 mm where it faces away
    lag = np.minimum(reach[after, i + 1] - reach[before, i + 1], 1.0)
    share = lead / np.maximum(lead + lag, 1e-300)
    meet = arc[i] + share * (arc[i + 1] - arc[i])
    there = plane_recession(edge.frame(meet, order=0), planes.normals, planes.points)
    deepest = there.max(axis=0) if len(meet) else np.zeros(0)
    proud = np.maximum(planes.depth - deepest, 0.0) * UM_PER_MM
    return _Ridges(meet, proud, before, after)


def evenly_placed(edge: Edge, placements: int) -> FloatArray:
    """Arc positions (K,) [mm] of placements at the middles of K equal stretches."""
    k = count("placements", placements)
    return np.asarray((np.arange(k) + 0.5) * (edge.length_mm / k), dtype=np.float64)


def _positions(edge: Edge, placements: int | ArrayLike) -> FloatArray:
    if np.ndim(placements) == 0:
        return evenly_placed(edge, placements)  # type: ignore[arg-type]
    places = frozen_array("placements", placements, (None,))
    if not len(places):
        raise EdgekitError("placements must hold one position or more", [], "Give arc lengths.")
    if not ((places >= 0) & (places <= edge.length_mm)).all():
        raise EdgekitError(
            f"placements must lie on the edge, 0 to {edge.length_mm:.4g} mm",
            float(places[(places < 0) | (places > edge.length_mm)][0]),
            "Give arc lengths in millimetres from the heel.",
        )
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
    at_least("depth_um", depth_um, 0.0, "Give the recession in micrometres, 0 or more.")
    places = _positions(edge, placements)
    arc, here = edge.at_stations(stations)
    planes = _planes(edge, places, depth_um / UM_PER_MM)
    reach = plane_recession(here, planes.normals, planes.points)
    owner, deepest = _deepest(reach)
    face, normal = here.face.value, planes.normals[owner]
    opening = np.arctan2(vec.norm(vec.cross(face, normal)), -vec.dot(face, normal))
    return Facets(
        edge=edge,
        placements_mm=places,
        depth_um=float(depth_um),
        arc_mm=arc.copy(),
        recession_um=np.maximum(deepest, 0.0) * UM_PER_MM,
        active=np.where(deepest > 0, owner, -1),
        height_above_facet_um=np.maximum(planes.depth - deepest, 0.0) * UM_PER_MM,
        owner=owner,
        angle_deg=np.degrees(np.where(owner < 0, here.angle.value, opening)),
        ridges=_find_ridges(edge, arc, planes, reach, owner),
    )


def plane_recession(here: EdgeFrame, normals: FloatArray, points: FloatArray) -> FloatArray:
    """Recession u (K, S) [mm], along the face, at which planes (K, 3) are met; -inf from behind."""
    facing = -(normals @ here.inward.value.T)
    height = normals @ here.position.T - vec.dot(normals, points)[:, None]
    ahead = facing > GRAZING
    return np.where(ahead, height / np.where(ahead, facing, 1.0), -np.inf)


def _planes(edge: Edge, places: FloatArray, depth: float) -> _Planes:
    held = edge.frame(places, order=0)
    return _Planes(held.outward.value, held.position + depth * held.inward.value, depth)


def _deepest(reach: FloatArray) -> tuple[NDArray[np.int_], FloatArray]:
    """Index of the deepest plane at each station (-1: none faces it) and its recession [mm]."""
    owner = np.argmax(reach, axis=0)
    deepest = np.take_along_axis(reach, owner[None], axis=0)[0]
    return np.where(np.isfinite(deepest), owner, -1), deepest


def _max_ridge(edge: Edge, arc: FloatArray, here: EdgeFrame, places: FloatArray) -> float:
    """Highest ridge [mm] of ideal planes at `places`."""
    planes = _planes(edge, places, 0.0)
    reach = plane_recession(here, planes.normals, planes.points)
    owner, deepest = _deepest(reach)
    ridges = _find_ridges(edge, arc, planes, reach, owner)
    return max(
        float(-deepest.min()), float(ridges.height_above_facet_um.max(initial=0.0)) / UM_PER_MM
    )


def placements_for(edge: Edge, *, ridge_um: float, most: int = 2000) -> int:
    """The least count of equally spaced placements whose ridges stay below a limit.

    Ridges do not fall evenly with the count where curvature varies (an even count can leave a toe
    to the two middle facets), so the counts are tried in turn.

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> ek.placements_for(edge, ridge_um=10) > len(ek.spaced_placements(edge, ridge_um=10))
    True
    """
    limit = positive("ridge_um", ridge_um, "Give the ridge height in micrometres.") / UM_PER_MM
    arc = edge.stations(STATIONS)
    here = edge.frame(arc, order=1)
    _refuse_hollow(arc, here)
    for k in range(1, count("most", most) + 1):
        if _max_ridge(edge, arc, here, evenly_placed(edge, k)) <= limit:
            return k
    raise EdgekitError(
        f"no count up to {most} keeps the ridges below the limit",
        ridge_um,
        "Allow higher ridges, or look at orient(edge).reachable: a hollow stretch needs a rod.",
    )


def _refuse_hollow(arc: FloatArray, here: EdgeFrame) -> None:
    """Planes on a hollow edge leave no ridges, they gouge: a count of them would mean nothing."""
    turn = float(np.trapezoid(here.relative_curvature, arc))
    if turn < -_RIPPLE_RAD:
        raise EdgekitError(
            "a flat stone cannot follow an edge that is hollow on the whole",
            f"a turn of {np.degrees(turn):.3g}°",
            "Use a rod: orient(edge).max_rod_mm says how thick.",
        )


class Spacing(enum.Enum):
    """How placements are spread along an edge."""

    EVEN = "equal arcs"
    BY_CURVATURE = "spacing by 1/√κ, closer where the edge turns"


def spread(edge: Edge, spacing: Spacing) -> tuple[FloatArray, FloatArray]:
    """Arc lengths (M,) [mm] and the share (M,) of placements that lie before each, from 0 to 1.

    By curvature the density of placements is ∝ √κ (theory T11), κ being the turn of the stone's
    plane averaged over a fiftieth of the edge, so that ripple of a spline attracts none; a small
    even share serves straight stretches.
    """
    arc = edge.stations(_FINE)
    if spacing is Spacing.EVEN:
        return arc, arc / arc[-1]
    turn = np.concatenate(
        [[0.0], np.cumsum(edge.frame(arc, order=1).relative_curvature[1:] * np.diff(arc))]
    )
    ahead = np.minimum(np.arange(_FINE) + _WINDOW // 2, _FINE - 1)
    behind = np.maximum(np.arange(_FINE) - _WINDOW // 2, 0)
    kappa = np.maximum((turn[ahead] - turn[behind]) / (arc[ahead] - arc[behind]), 0.0)
    root = np.sqrt(kappa) + _EVEN_SHARE * max(float(np.sqrt(kappa).mean()), 1e-9)
    measure = np.concatenate([[0.0], np.cumsum((root[1:] + root[:-1]) / 2 * np.diff(arc))])
    return arc, measure / measure[-1]


def placed_by_curvature(edge: Edge, placements: int) -> FloatArray:
    """Arc positions (K,) [mm] of K placements for near-equal ridges: spacing ∝ 1/√κ.

    Examples
    --------
    >>> import edgekit as ek
    >>> from edgekit.contact.facets import placed_by_curvature
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> even, spaced = ek.facets(edge, 8), ek.facets(edge, placed_by_curvature(edge, 8))
    >>> bool(spaced.ridge_um < even.ridge_um / 5)
    True
    """
    k = count("placements", placements)
    arc, share = spread(edge, Spacing.BY_CURVATURE)
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

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> spots = ek.spaced_placements(edge, ridge_um=10)
    >>> bool(ek.facets(edge, spots).ridge_um <= 10)
    True
    """
    limit = positive("ridge_um", ridge_um, "Give the ridge height in micrometres.") / UM_PER_MM
    arc = edge.stations(_FINE)
    here = edge.frame(arc, order=1)
    _refuse_hollow(arc, here)
    below = -plane_recession(here, here.outward.value, here.position)  # (plane, station)
    if not (np.abs(np.diagonal(below)) <= limit).all():
        raise EdgekitError("the edge bends too sharply for this ridge", ridge_um, "Allow more.")
    best = _farthest(below, limit)
    target = limit
    while (high := _max_ridge(edge, arc, here, arc[best])) > limit:
        target *= 0.999 * limit / high  # the ridge stands between two of the fine stations
        best = _farthest(below, target)
    low = 0.0
    for _ in range(_TIGHTENINGS):
        middle = (low + target) / 2
        found = _farthest(below, middle)
        if len(found) <= len(best):
            best, target = found, middle
        else:
            low = middle
    return np.asarray(arc[best])


def _farthest(below: FloatArray, limit: float) -> list[int]:
    """Indices of planes, each as far from the last as the limit allows."""
    last = below.shape[0] - 1
    found: list[int] = []
    while not found or below[found[-1], found[-1] :].max() > limit:
        start = found[-1] if found else 0

        def ridge(q: int, start: int = start) -> float:
            span = slice(start, q + 1)
            between = (
                below[q, span] if not found else np.minimum(below[start, span], below[q, span])
            )
            return float(between.max())

        low, high = start + bool(found), last  # the next plane along always serves
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if ridge(middle) <= limit else (low, middle - 1)
        found.append(low)
        if low == last:
            break
    return found
