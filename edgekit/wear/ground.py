"""Recession fields: how far the lateral surface stands inward of the old edge, everywhere.

For a station s and depth v below the face the lateral surface is the inset u = h(s, v), measured
along b. A plane n·x = p that faces the station (n·b < 0) cuts to

    u(s, v) = (n·C - v n·f - p) / (-n·b),

linear in v, and grinding is h <- max(h, u) over planes: exact at the nodes, monotone, and order does not
matter. The same plane first touches the blade at p = max over the field of n·(C - v f + h b), its
support; advancing the stone by d past that is p = support - d. Everything is vectorised over runs
(R), planes (P), stations (S) and depths (V); fields are laid out (V, R, S).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from edgekit.checks import FloatArray, count
from edgekit.contact.facets import GRAZING
from edgekit.geometry.blade import Blade
from edgekit.geometry.edge import Edge, station_shares

__all__ = [
    "Ground",
    "Seating",
    "advance_needed",
    "cut",
    "ground_of",
    "inset_at",
    "over_stations",
    "seat",
    "volume",
]


LEAST_CURVATURE = 1e-6  # [1/mm]: no blade is a kilometre wide


@dataclass(frozen=True, kw_only=True, eq=False)
class Ground:
    """One edge of a blade, prepared for grinding: geometry at its stations, and the new field.

    Arrays: ``arc_mm, share_mm`` (the length each station stands for), ``angle_rad``,
    ``plan_curvature, half_width_mm`` (S,); ``position, tangent, inward, face`` (S, 3); ``depth_mm``
    (V, S), evenly spaced from the face to the back; ``inset_mm`` (V, S) the new blade's.
    """

    name: str
    edge: Edge
    arc_mm: FloatArray
    share_mm: FloatArray
    position: FloatArray
    tangent: FloatArray
    inward: FloatArray
    face: FloatArray
    angle_rad: FloatArray
    plan_curvature: FloatArray
    half_width_mm: FloatArray
    depth_mm: FloatArray
    inset_mm: FloatArray

    @property
    def step_mm(self) -> FloatArray:
        """Distance (S,) between depth nodes."""
        return np.asarray(self.depth_mm[1])


def ground_of(blade: Blade, name: str, *, stations: int, depths: int) -> Ground:
    """Prepare one edge of a blade."""
    edge = blade.edges[name]
    arc = edge.stations(stations)
    frame = edge.frame(arc, order=1)
    width = np.maximum(blade.width_at(name, arc), 1e-6)
    deepest = blade.section.depth_mm(np.minimum(width, blade.section.width_mm))
    depth = np.linspace(0.0, 1.0, count("depths", depths, 3))[:, None] * deepest
    beta = frame.angle.value + np.zeros_like(arc)
    back = blade.section.inset_mm(depth) - depth / np.tan(np.radians(blade.internal_angle_deg))
    return Ground(
        name=name,
        edge=edge,
        arc_mm=arc,
        share_mm=station_shares(arc),
        position=frame.position,
        tangent=frame.tangent.value,
        inward=frame.inward.value,
        face=frame.face.value,
        angle_rad=beta,
        plan_curvature=frame.plan_curvature,
        half_width_mm=width / 2,
        depth_mm=depth,
        inset_mm=depth / np.tan(beta) + np.maximum(back, 0.0),
    )


class Seating(NamedTuple):
    """Planes laid against a blade: (R, P, S) terms of u = base - v slope, and their support (R, P).

    ``base`` and ``slope`` are per unit of facing; ``facing`` is -n·b, infinite where the plane is
    seen from behind, so that such a station is neither cut nor waited for.
    """

    base: FloatArray
    slope: FloatArray
    facing: FloatArray
    support: FloatArray


def seat(ground: Ground, inset: FloatArray, normals: FloatArray) -> Seating:
    """Lay planes of unit `normals` (R, P, 3) against the field `inset` (V, R, S)."""
    height = normals @ ground.position.T
    fall = normals @ ground.face.T
    facing = -(normals @ ground.inward.T)
    behind = facing <= GRAZING
    touch = np.full_like(height, -np.inf)
    for depth, row in zip(ground.depth_mm, inset, strict=True):
        np.maximum(touch, height - depth * fall - facing * row[:, None, :], out=touch)
    touch[behind] = -np.inf
    facing = np.where(behind, np.inf, facing)
    return Seating(height / facing, fall / facing, facing, touch.max(axis=2))


def advance_needed(seating: Seating, drop: FloatArray, goal: FloatArray) -> FloatArray:
    """Advance (R, P, S) [mm] past first touch with which each plane alone brings the edge to a goal.

    `drop` (R, S) is how far the face lies below the new one, `goal` (R, S) the inset wanted there.
    Infinite where a plane faces away.
    """
    level = seating.base - drop[:, None, :] * seating.slope
    with np.errstate(invalid="ignore"):
        short = seating.support[:, :, None] - (level - goal[:, None, :]) * seating.facing
    return np.where(np.isfinite(seating.facing), short, np.inf)


def cut(
    ground: Ground, inset: FloatArray, seating: Seating, advance: FloatArray, drop: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Grind: the field after the planes advance by `advance` (R, P) [mm].

    Returns
    -------
    inset : array (V, R, S)
    reach : array (R, P, S)
        Inset at which each plane meets the face; -inf where it faces away.
    """
    faced = np.isfinite(seating.support)  # a plane turned away from every station cuts nothing
    offset = np.where(faced, seating.support - advance, 0.0)[:, :, None]
    base = seating.base - offset / seating.facing
    away = ~np.isfinite(seating.facing)
    base[away] = -np.inf
    after = np.empty_like(inset)
    for v, depth in enumerate(ground.depth_mm):
        np.maximum(inset[v], (base - depth * seating.slope).max(axis=1), out=after[v])
    return after, base - drop[:, None, :] * seating.slope


def inset_at(ground: Ground, inset: FloatArray, drop: FloatArray) -> FloatArray:
    """Inset (R, S) of the edge where the face lies `drop` (R, S) [mm] below the new one."""
    if not drop.any():
        return np.array(inset[0])
    at = np.clip(drop / ground.step_mm, 0.0, len(inset) - 1.0)
    i = np.minimum(at.astype(int), len(inset) - 2)
    low = np.take_along_axis(inset, i[None], axis=0)[0]
    high = np.take_along_axis(inset, i[None] + 1, axis=0)[0]
    return np.asarray(low + (at - i) * (high - low))


def over_stations(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Weighted sum (R,) over stations of `values` (R, S).

    A matrix product would do, but its last bit depends on how many runs stand side by side.
    """
    return np.asarray(np.ascontiguousarray(values * weights).sum(axis=-1))


def volume(ground: Ground, before: FloatArray, after: FloatArray) -> FloatArray:
    """Steel (R,) [mm³] between two fields.

    ∫∫ (h₁ - h₀)(1 - κ (h₁ + h₀)/2) dv ds: inward of a curved edge the area element shrinks by 1 - κu.
    Past the centre of curvature nothing is left to take, so both insets end there.
    """
    kappa = np.maximum(ground.plan_curvature, LEAST_CURVATURE)
    high, low = np.minimum(after, 1 / kappa), np.minimum(before, 1 / kappa)
    thick = (high - low) * (1 - ground.plan_curvature * (high + low) / 2)
    over_depth = (thick[1:] + thick[:-1]).sum(axis=0) / 2 * ground.step_mm
    return over_stations(over_depth, ground.share_mm)
