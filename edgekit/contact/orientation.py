"""How the stone must be held at each point of an edge, in closed form.

At arc length s the stone's plane passes through C(s) with outward normal n = -sinβ b - cosβ f
(theory T1). Against the handle axis a: elevation α = asin(n·a), roll φ = azimuth of n about a
(theory T2). The planes of neighbouring points meet in rulings r ∝ n x n'; their edge of regression
lies λ = (n'·t)/(n''·r) along the ruling (theory T6).
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.contact.stone import FlatStone, Stone
from edgekit.geometry import vectors as vec
from edgekit.geometry.edge import Edge, check_edge
from edgekit.record import Record, read_only
from edgekit.units import UM_PER_MM

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Orientation", "orient"]

FLAT_PER_MM = 1e-7  # rulings of planes that turn less than this per mm have no direction
TOUCH_MM = 1e-4  # an obstacle of 0.1 µm, below the finest stone's own roughness, stops nothing
_BLOCK = 512  # stations compared at once with all others when looking for obstacles
_PAIRS = 2**24  # of stations compared at once, at most: some 130 MB for each array of them


class Orientation(Record):
    """The stone's orientation at the stations of an edge.

    Attributes
    ----------
    arc_mm : array (S,)
        Arc length from the heel [mm].
    position_mm, tangent, normal, face : array (S, 3)
        Point of the edge, unit tangent, outward normal n of the lateral surface, face normal.
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
    gap_um : array (S,)
        How far the rest of the edge holds a stone this long off the point.
    clear : array (S,) of bool
        Nothing else of the edge stands in the way: the gap is below 0.1 µm.

    Notes
    -----
    What needs derivatives of the frame (from `ruling` on) is computed when first asked for;
    `gap_um` and `clear` cost S² comparisons, everything else is linear in S.
    """

    edge: Edge
    stone: Stone
    normal_uncertainty_deg: float
    arc_mm: FloatArray
    position_mm: FloatArray
    tangent: FloatArray
    normal: FloatArray
    face: FloatArray
    elevation_deg: FloatArray
    roll_deg: FloatArray
    stone_to_face_deg: FloatArray

    @property
    def flank(self) -> FloatArray:
        """Direction (S, 3) in which the lateral surface leaves the edge: -(f + cosβ n) / sinβ."""
        beta = np.radians(180 - self.stone_to_face_deg)[:, None]
        return read_only(-(self.face + np.cos(beta) * self.normal) / np.sin(beta))

    @cached_property
    def _envelope(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """n'·t (S,), unit rulings into the steel (S, 3), regression distances (S,) [mm]."""
        frame = self.edge.frame(self.arc_mm)
        bend, n = frame.relative_curvature, frame.outward
        across = vec.cross(n.value, n.d1)
        size = vec.norm(across)
        turns = size > FLAT_PER_MM
        ruling = np.where(turns[:, None], across / np.where(turns, size, 1.0)[:, None], frame.flank)
        into = vec.dot(ruling, frame.face.value) <= 0
        ruling = np.where(into[:, None], ruling, -ruling)
        fold = vec.dot(n.d2, ruling)
        folds = turns & (np.abs(fold) > FLAT_PER_MM * np.maximum(np.abs(bend), FLAT_PER_MM))
        regression = np.where(folds, bend / np.where(folds, fold, 1.0), np.inf)
        return read_only(bend), read_only(ruling), read_only(regression)

    @property
    def stone_curvature_per_mm(self) -> FloatArray:
        """n'·t (S,); see the class."""
        return self._envelope[0]

    @property
    def ruling(self) -> FloatArray:
        """Unit rulings (S, 3); see the class."""
        return self._envelope[1]

    @property
    def regression_mm(self) -> FloatArray:
        """Distances to the edge of regression (S,); see the class."""
        return self._envelope[2]

    @property
    def reachable(self) -> NDArray[np.bool_]:
        """n'·t + (curvature the stone can turn to the edge) >= 0 (theory T5)."""
        room = self.stone_curvature_per_mm + self.stone.curvature_per_mm
        return read_only(np.asarray(room >= -FLAT_PER_MM))

    @property
    def max_rod_mm(self) -> FloatArray:
        """Radius (S,) of the largest rod that reaches each point; infinite where a flat does."""
        hollow = np.maximum(-self.stone_curvature_per_mm, 0.0)
        bent = hollow > FLAT_PER_MM
        return read_only(np.where(bent, 1 / np.where(bent, hollow, 1.0), np.inf))

    @cached_property
    def gap_um(self) -> FloatArray:
        """How far a stone this long, held at the true orientation, stands off each point (S,) [µm].

        0 where it touches. The stone may rock by ``normal_uncertainty_deg`` to get there. A gap of
        a micrometre or two is a hollow that the first strokes level; a large one is out of reach.
        """
        count = len(self.arc_mm)
        block = min(_BLOCK, max(_PAIRS // count, 1))
        parts = [_obstacle_mm(self, slice(at, at + block)) for at in range(0, count, block)]
        return read_only(np.concatenate(parts) * UM_PER_MM)

    @property
    def clear(self) -> NDArray[np.bool_]:
        """Whether the rest of the edge lies behind the stone at each station."""
        return read_only(np.asarray(self.gap_um <= TOUCH_MM * UM_PER_MM))

    def gouges(self, depth_mm: float) -> NDArray[np.bool_]:
        """Where a stone rolled continuously would cut steel it should not (S,) bool.

        The envelope folds over at its edge of regression; that must not lie in the steel, taken
        to reach `depth_mm` below the face.
        """
        depth = checks.positive("depth_mm", depth_mm, "Give the depth of the flank in millimetres.")
        down = np.abs(vec.dot(self.ruling, self.face))
        return np.asarray((self.regression_mm > 0) & (self.regression_mm * down < depth))

    def __repr__(self) -> str:
        return (
            f"{len(self.arc_mm)} stations over {self.arc_mm[-1]:.2f} mm: elevation "
            f"{self.elevation_deg.min():.1f}° to {self.elevation_deg.max():.1f}°, roll through "
            f"{np.ptp(self.roll_deg):.0f}°"
        )

    @property
    def table(self) -> pd.DataFrame:
        """One row per station, units in the column names."""
        import pandas as pd

        columns: dict[str, NDArray[np.generic]] = {"arc_mm": self.arc_mm}
        for name in ("position_mm", "tangent", "normal", "ruling"):
            stem, unit = name.removesuffix("_mm"), "_mm" if name.endswith("_mm") else ""
            for axis, column in zip("xyz", getattr(self, name).T, strict=True):
                columns[f"{stem}_{axis}{unit}"] = column
        columns |= {
            "elevation_deg": self.elevation_deg,
            "roll_deg": self.roll_deg,
            "stone_to_face_deg": self.stone_to_face_deg,
            "regression_mm": self.regression_mm,
            "stone_curvature_per_mm": self.stone_curvature_per_mm,
            "reachable": self.reachable,
            "gap_um": self.gap_um,
            "clear": self.clear,
        }
        return pd.DataFrame(columns)


def orient(
    edge: Edge,
    stone: Stone | None = None,
    stations: int = 400,
    *,
    normal_uncertainty_deg: float = 0.0,
) -> Orientation:
    """Solve the stone's orientation at equally spaced stations of an edge.

    Parameters
    ----------
    edge : Edge
        The cutting edge.
    stone : Stone, optional
        Form of the stone, for reach; default a flat bench stone.
    stations : int
        Number of stations, both ends included.
    normal_uncertainty_deg : float
        How far the stone may rock along the edge when `gap_um` and `clear` are judged [deg]: for a
        digitised edge, the uncertainty of its normal.

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
    check_edge(edge)
    stone = FlatStone() if stone is None else stone
    checks.instance("stone", stone, Stone, "Give a stone, such as FlatStone(length_mm=50).")
    uncertainty = checks.between(
        "normal_uncertainty_deg", normal_uncertainty_deg, -1e-9, 45.0, "Give degrees, 0 or more."
    )
    arc, frame = edge.at_stations(stations)
    normal = frame.outward.value
    elevation, roll = elevation_and_roll_deg(edge, normal)
    return Orientation(
        edge=edge,
        stone=stone,
        normal_uncertainty_deg=uncertainty,
        arc_mm=arc,
        position_mm=frame.position,
        tangent=frame.tangent.value,
        normal=normal,
        face=frame.face.value,
        elevation_deg=elevation,
        roll_deg=roll,
        stone_to_face_deg=180 - np.degrees(frame.angle.value) + np.zeros(len(arc)),
    )


def handle_basis(edge: Edge) -> tuple[FloatArray, FloatArray]:
    """Unit vectors square to the handle axis: towards roll 0, and towards a quarter turn."""
    a = edge.handle_axis
    toe = edge.roll_reference - (edge.roll_reference @ a) * a
    if not np.linalg.norm(toe) > 1e-6:  # the toe-ward direction runs along the handle
        toe = vec.cross(a, np.eye(3)[np.argmin(np.abs(a))])
    toe = toe / np.linalg.norm(toe)
    return toe, vec.cross(a, toe)


def elevation_and_roll_deg(edge: Edge, normal: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Elevation asin(n·a) and unwrapped roll [deg] of stone normals (S, 3) along an edge."""
    toe, quarter = handle_basis(edge)
    along, x, y = normal @ edge.handle_axis, normal @ toe, normal @ quarter
    elevation = np.degrees(np.arctan2(along, np.hypot(x, y)))
    return elevation, np.degrees(np.unwrap(np.arctan2(y, x)))


def _obstacle_mm(held: Orientation, part: slice) -> FloatArray:
    """How far any point of the edge stands before the stone, at most, at the stations `part`."""
    there = held.position_mm
    n, here, along = held.normal[part], held.position_mm[part], held.tangent[part]
    aside = along @ there.T - vec.dot(along, here)[:, None]
    before = n @ there.T - vec.dot(n, here)[:, None]
    before = before - np.tan(np.radians(held.normal_uncertainty_deg)) * np.abs(aside)
    curvature = held.stone.curvature_per_mm
    within = np.abs(aside) <= held.stone.length_mm / 2
    if curvature > 0:  # the rod's surface falls back from its tangent plane as a circle does
        fall = np.sqrt(np.maximum(1 - (curvature * aside) ** 2, 0.0))
        before = before - (1 - fall) / curvature
    return np.asarray(np.where(within, before, 0.0).max(axis=1, initial=0.0))
