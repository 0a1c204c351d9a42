"""How the stone must be held at each point of an edge, in closed form.

At arc length s the stone's plane passes through C(s) with outward normal
n = -sinβ b - cosβ f. Against the handle axis a: elevation α = asin(n·a), roll φ = azimuth of n
about a. The planes of neighbouring points meet in rulings r ∝ n x n'; their edge of regression
lies λ = (n'·t)/(n''·r) along the ruling (differentiate n·(x - C) = 0 twice along the edge).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from edgekit.checks import FloatArray, positive
from edgekit.contact.stone import FlatStone, Stone
from edgekit.geometry import vectors as vec
from edgekit.geometry.edge import Edge, EdgeFrame

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

__all__ = ["Orientation", "elevation_and_roll_deg", "orient"]

FLAT_PER_MM = 1e-7  # rulings of planes that turn less than this per mm have no direction
TOUCH_MM = 1e-4  # 0.1 µm proud: below the finest stone's own roughness, it stops nothing
_BLOCK = 512  # stations compared at once with all others when looking for obstacles


@dataclass(frozen=True, kw_only=True, eq=False)
class Orientation:
    """The stone's orientation at the stations of an edge.

    Attributes
    ----------
    arc_mm : array (S,)
        Arc length from the heel [mm].
    position_mm, tangent, normal : array (S, 3)
        Point of the edge, unit tangent, and outward normal n of the lateral surface.
    elevation_deg : array (S,)
        Angle between handle axis and stone.
    roll_deg : array (S,)
        Azimuth of n about the handle axis, right-handed, unwrapped along the edge, 0 towards the
        toe-ward direction of the blade.
    stone_to_face_deg : array (S,)
        180° - β.
    ruling : array (S, 3)
        Unit direction, into the steel, of the line in which neighbouring stone planes meet; the
        flank's own direction where the planes do not turn.
    regression_mm : array (S,)
        Signed distance λ along the ruling at which neighbouring rulings meet; infinite where they
        are parallel or the planes do not turn. Negative lies outside the steel.
    stone_curvature_per_mm : array (S,)
        n'·t: how fast the edge falls away from a flat stone; negative where it is hollow.
    reachable : array (S,) of bool
        The stone reaches the point as far as its neighbourhood decides.
    clear : array (S,) of bool
        Nothing else of the edge stands in the way of a stone this long. Costs S² comparisons, so
        it is worked out when first asked for.
    """

    stone: Stone
    arc_mm: FloatArray
    position_mm: FloatArray
    tangent: FloatArray
    normal: FloatArray
    elevation_deg: FloatArray
    roll_deg: FloatArray
    stone_to_face_deg: FloatArray
    ruling: FloatArray
    regression_mm: FloatArray
    stone_curvature_per_mm: FloatArray
    flank: FloatArray

    @property
    def reachable(self) -> NDArray[np.bool_]:
        """n'·t + (curvature the stone can turn to the edge) >= 0."""
        room = self.stone_curvature_per_mm + self.stone.curvature_per_mm
        return np.asarray(room >= -FLAT_PER_MM)

    @property
    def largest_rod_mm(self) -> FloatArray:
        """Radius (S,) of the largest rod that reaches each point; infinite where a flat does."""
        hollow = np.maximum(-self.stone_curvature_per_mm, 0.0)
        bent = hollow > FLAT_PER_MM
        return np.where(bent, 1 / np.where(bent, hollow, 1.0), np.inf)

    @cached_property
    def clear(self) -> NDArray[np.bool_]:
        """Whether the rest of the edge lies behind the stone at each station."""
        free = np.empty(len(self.arc_mm), dtype=bool)
        for first in range(0, len(free), _BLOCK):
            part = slice(first, first + _BLOCK)
            free[part] = ~_blocked(self, part)
        return free

    def gouges(self, depth_mm: float) -> NDArray[np.bool_]:
        """Where a stone rolled continuously would cut steel it should not (S,) bool.

        The envelope folds over at its edge of regression; that must not lie in the steel, taken
        to reach `depth_mm` below the face.
        """
        depth = positive("depth_mm", depth_mm, "Give the depth of the flank in millimetres.")
        down = np.abs(vec.dot(self.ruling, self._face))
        return np.asarray((self.regression_mm > 0) & (self.regression_mm * down < depth))

    @property
    def _face(self) -> FloatArray:
        beta = np.radians(180 - self.stone_to_face_deg)[:, None]
        return np.asarray(-np.cos(beta) * self.normal - np.sin(beta) * self.flank)

    def to_frame(self) -> pd.DataFrame:
        """A row a station, units in the column names."""
        import pandas as pd

        columns = {"arc_mm": self.arc_mm}
        for name in ("position_mm", "tangent", "normal", "ruling"):
            stem, unit = (name[:-3], "_mm") if name.endswith("_mm") else (name, "")
            for axis, column in zip("xyz", getattr(self, name).T, strict=True):
                columns[f"{stem}_{axis}{unit}"] = column
        for name in ("elevation_deg", "roll_deg", "stone_to_face_deg", "regression_mm",
                     "stone_curvature_per_mm", "reachable", "clear"):  # fmt: skip
            columns[name] = getattr(self, name)
        return pd.DataFrame(columns)


def orient(edge: Edge, stone: Stone | None = None, stations: int = 400) -> Orientation:
    """Solve the stone's orientation at equally spaced stations of an edge.

    Parameters
    ----------
    edge : Edge
        The cutting edge.
    stone : Stone, optional
        Form of the stone, for reach; default a flat bench stone.
    stations : int
        Number of stations, both ends included.

    Returns
    -------
    Orientation

    Examples
    --------
    On a planar face square to the handle one elevation, 90° - β, serves everywhere:

    >>> import edgekit as ek
    >>> held = ek.orient(ek.patterns.universal_curette().edges["left"])
    >>> bool(abs(held.elevation_deg - 15).max() < 1e-9)
    True
    """
    arc = edge.stations(stations)
    frame = edge.frame(arc)
    normal, tangent = frame.outward, frame.tangent.value
    elevation, roll = elevation_and_roll_deg(edge, normal.value)
    bend = frame.stone_curvature
    ruling, regression = _envelope(frame, bend)
    return Orientation(
        stone=stone or FlatStone(),
        arc_mm=arc,
        position_mm=frame.position,
        tangent=tangent,
        normal=normal.value,
        elevation_deg=elevation,
        roll_deg=roll,
        stone_to_face_deg=180 - np.degrees(frame.angle.value) + np.zeros(len(arc)),
        ruling=ruling,
        regression_mm=regression,
        stone_curvature_per_mm=bend,
        flank=frame.flank,
    )


def elevation_and_roll_deg(edge: Edge, normal: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Elevation asin(n·a) and unwrapped roll [deg] of stone normals (S, 3) along an edge."""
    a = edge.handle_axis
    right = edge.roll_reference - (edge.roll_reference @ a) * a
    if not np.linalg.norm(right) > 1e-6:  # the toe-ward direction runs along the handle
        right = vec.cross(a, np.eye(3)[np.argmin(np.abs(a))])
    right = right / np.linalg.norm(right)
    up = vec.cross(a, right)
    along, x, y = normal @ a, normal @ right, normal @ up
    elevation = np.degrees(np.arctan2(along, np.hypot(x, y)))
    return elevation, np.degrees(np.unwrap(np.arctan2(y, x)))


def _envelope(frame: EdgeFrame, bend: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Unit rulings into the steel (S, 3) and regression distances (S,) [mm]."""
    n = frame.outward
    across = vec.cross(n.value, n.d1)
    size = vec.norm(across)
    turns = size > FLAT_PER_MM
    ruling = np.where(turns[:, None], across / np.where(turns, size, 1.0)[:, None], frame.flank)
    into = vec.dot(ruling, frame.face.value) <= 0
    ruling = np.where(into[:, None], ruling, -ruling)
    fold = vec.dot(n.d2, ruling)
    folds = turns & (np.abs(fold) > FLAT_PER_MM * np.maximum(np.abs(bend), FLAT_PER_MM))
    return ruling, np.where(folds, bend / np.where(folds, fold, 1.0), np.inf)


def _blocked(held: Orientation, part: slice) -> NDArray[np.bool_]:
    """Whether any point of the edge stands before the stone at the stations of `part`."""
    there = held.position_mm
    n, here, along = held.normal[part], held.position_mm[part], held.tangent[part]
    proud = n @ there.T - vec.dot(n, here)[:, None]
    aside = along @ there.T - vec.dot(along, here)[:, None]
    curvature = held.stone.curvature_per_mm
    within = np.abs(aside) <= held.stone.length_mm / 2
    if curvature > 0:  # the rod's surface falls back from its tangent plane as a circle does
        fall = np.sqrt(np.maximum(1 - (curvature * aside) ** 2, 0.0))
        proud = proud - (1 - fall) / curvature
    return np.asarray((within & (proud > TOUCH_MM)).any(axis=1))
