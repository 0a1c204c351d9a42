"""Cross-sections of blades, square to the mid-line: how far the steel recedes below the face.

A section is described from one edge: at depth v below the face the lateral surface stands
`inset_mm(v)` inward of the edge. It starts along the flank, inset = v cotβ, and ends at the back.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from edgekit.checks import FloatArray, positive
from edgekit.errors import EdgekitError
from edgekit.geometry.edge import check_angle_deg

__all__ = ["Bevel", "RoundBack", "Section", "Triangular"]


class Section(Protocol):
    """The shape of a cross-section."""

    @property
    def width_mm(self) -> float:
        """Width of the face [mm]."""
        ...

    @property
    def internal_angle_deg(self) -> float:
        """Angle between face and flank [deg]."""
        ...

    @property
    def thickness_mm(self) -> float:
        """Depth of the back below the face [mm]."""
        ...

    @property
    def flank_mm(self) -> float:
        """Length of the flat lateral surface from the edge [mm]."""
        ...

    @property
    def area_mm2(self) -> float:
        """Area of the section."""
        ...

    def depth_mm(self, width_mm: FloatArray) -> FloatArray:
        """Depth of the section where the blade is `width_mm` wide."""
        ...

    def inset_mm(self, depth_mm: FloatArray) -> FloatArray:
        """Inset of the lateral surface at depths below the face."""
        ...


def _check(width_mm: float, internal_angle_deg: float, *, below_deg: float) -> float:
    """Check both and return β in radians."""
    positive("width_mm", width_mm, "Give the blade's width in millimetres.")
    check_angle_deg("internal_angle_deg", internal_angle_deg)
    if not internal_angle_deg < below_deg:
        raise EdgekitError(
            f"internal_angle_deg of this section must be below {below_deg:g}",
            internal_angle_deg,
            "A section with its back narrower than its face has an acute internal angle.",
        )
    return float(np.radians(internal_angle_deg))


@dataclass(frozen=True, kw_only=True)
class RoundBack:
    """A curette's section: flat flanks from both edges, tangent to a round back.

    Back radius ρ = (w/2 sinβ - T cosβ)/(1 - cosβ), from the distance of the circle's centre, T - ρ
    below the face, to the flank. With T = (w/2) tan(β/2) the flanks vanish and the section is a
    circular segment.

    Examples
    --------
    >>> section = RoundBack(width_mm=0.86, thickness_mm=0.71, internal_angle_deg=75)
    >>> round(section.back_radius_mm, 4), round(section.flank_mm, 4)
    (0.3125, 0.4953)
    """

    width_mm: float
    thickness_mm: float
    internal_angle_deg: float

    def __post_init__(self) -> None:
        beta = _check(self.width_mm, self.internal_angle_deg, below_deg=90)
        positive("thickness_mm", self.thickness_mm, "Give the blade's thickness in millimetres.")
        segment, wedge = np.tan(beta / 2), np.tan(beta)
        low, high = self.width_mm / 2 * segment, self.width_mm / 2 * wedge
        if not low <= self.thickness_mm < high:
            raise EdgekitError(
                f"thickness_mm must lie between {low:.3g} (all round) and {high:.3g} (a wedge)",
                self.thickness_mm,
                "Check width, thickness and internal angle against each other.",
            )

    @property
    def _beta(self) -> float:
        return float(np.radians(self.internal_angle_deg))

    @property
    def back_radius_mm(self) -> float:
        """Radius of the back."""
        sin, cos = np.sin(self._beta), np.cos(self._beta)
        return float((self.width_mm / 2 * sin - self.thickness_mm * cos) / (1 - cos))

    @property
    def flank_mm(self) -> float:
        """Length of the flat flank."""
        centre = self.thickness_mm - self.back_radius_mm
        return float(self.width_mm / 2 * np.cos(self._beta) + centre * np.sin(self._beta))

    @property
    def area_mm2(self) -> float:
        """Trapezium above the points of tangency, then the circle's segment of half-angle β."""
        sin, cos, rho = np.sin(self._beta), np.cos(self._beta), self.back_radius_mm
        upper = self.flank_mm * sin * (self.width_mm / 2 + rho * sin)
        return float(upper + rho**2 * (self._beta - sin * cos))

    def depth_mm(self, width_mm: FloatArray) -> FloatArray:
        """The thickness, everywhere."""
        return np.full_like(np.asarray(width_mm, dtype=float), self.thickness_mm)

    def inset_mm(self, depth_mm: FloatArray) -> FloatArray:
        """v cotβ down the flank, then the circle of the back."""
        v = np.asarray(depth_mm, dtype=float)
        rho = self.back_radius_mm
        below = np.clip(v - (self.thickness_mm - rho), -rho, rho)
        back = self.width_mm / 2 - np.sqrt(rho**2 - below**2)
        on_flank = v <= self.flank_mm * np.sin(self._beta)
        return np.where(on_flank, v / np.tan(self._beta), back)


@dataclass(frozen=True, kw_only=True)
class Triangular:
    """A sickle's section: two flat flanks that meet in a line; it scales with the local width."""

    width_mm: float
    internal_angle_deg: float

    def __post_init__(self) -> None:
        _check(self.width_mm, self.internal_angle_deg, below_deg=90)

    @property
    def thickness_mm(self) -> float:
        """(w/2) tanβ."""
        return float(self.depth_mm(np.asarray(self.width_mm)))

    @property
    def flank_mm(self) -> float:
        """(w/2) / cosβ."""
        return float(self.width_mm / 2 / np.cos(np.radians(self.internal_angle_deg)))

    @property
    def area_mm2(self) -> float:
        """(w/2) T."""
        return self.width_mm / 2 * self.thickness_mm

    def depth_mm(self, width_mm: FloatArray) -> FloatArray:
        """(w/2) tanβ at the local width."""
        return np.asarray(width_mm / 2 * np.tan(np.radians(self.internal_angle_deg)))

    def inset_mm(self, depth_mm: FloatArray) -> FloatArray:
        """v cotβ."""
        return np.asarray(depth_mm / np.tan(np.radians(self.internal_angle_deg)))


@dataclass(frozen=True, kw_only=True)
class Bevel:
    """A hoe's section: one bevel through the whole thickness; the width runs back from the edge."""

    width_mm: float
    thickness_mm: float
    internal_angle_deg: float

    def __post_init__(self) -> None:
        beta = _check(self.width_mm, self.internal_angle_deg, below_deg=90)
        positive("thickness_mm", self.thickness_mm, "Give the blade's thickness in millimetres.")
        longest = self.width_mm * np.tan(beta)
        if not self.thickness_mm <= longest:
            raise EdgekitError(
                f"thickness_mm must be {longest:.3g} or less, or the bevel outruns the width",
                self.thickness_mm,
                "Check width, thickness and bevel angle against each other.",
            )

    @property
    def flank_mm(self) -> float:
        """T / sinβ."""
        return float(self.thickness_mm / np.sin(np.radians(self.internal_angle_deg)))

    @property
    def area_mm2(self) -> float:
        """w T - T² cotβ / 2."""
        lost = self.thickness_mm**2 / np.tan(np.radians(self.internal_angle_deg)) / 2
        return float(self.width_mm * self.thickness_mm - lost)

    def depth_mm(self, width_mm: FloatArray) -> FloatArray:
        """The thickness, everywhere."""
        return np.full_like(np.asarray(width_mm, dtype=float), self.thickness_mm)

    def inset_mm(self, depth_mm: FloatArray) -> FloatArray:
        """v cotβ."""
        return np.asarray(depth_mm / np.tan(np.radians(self.internal_angle_deg)))
