"""Cross-sections of blades, square to the mid-line: how far the steel recedes below the face.

A section is described from one edge: at depth v below the face the lateral surface stands
`inset_mm(v)` inward of the edge. It starts along the flank, inset = v cotβ, and ends at the back.
A blade that tapers in thickness has the section of its own thickness at every place.
"""

from dataclasses import dataclass

import numpy as np

from edgekit.checks import FloatArray, as_array, between, keep_numbers, matched, positive
from edgekit.errors import BadArgument
from edgekit.geometry.edge import check_angle_deg

# A thickness stops so short of a wedge's, where a round back has no radius left.
_WEDGE = 1e-6


@dataclass(frozen=True, kw_only=True)
class _Flanked:
    """What all sections share: a face, and a flank that leaves it at an acute internal angle."""

    width_mm: float
    internal_angle_deg: float

    def __post_init__(self) -> None:
        width = positive("width_mm", self.width_mm, "Give the blade's width in millimetres.")
        beta = check_angle_deg("internal_angle_deg", self.internal_angle_deg)
        acute = "A section with its back narrower than its face has an acute internal angle."
        between("internal_angle_deg of this section", beta, 0.0, 90.0, acute)
        keep_numbers(self, width_mm=width, internal_angle_deg=beta)

    @property
    def _beta(self) -> float:
        return float(np.radians(self.internal_angle_deg))

    def inset_mm(
        self,
        depth_mm: FloatArray,
        thickness_mm: FloatArray | None = None,  # noqa: ARG002
    ) -> FloatArray:
        """v cotβ, whatever the thickness."""
        return np.asarray(as_array("depth_mm", depth_mm) / np.tan(self._beta))


@dataclass(frozen=True, kw_only=True)
class _Thick(_Flanked):
    """A section whose thickness does not depend on the local width."""

    thickness_mm: float

    def __post_init__(self) -> None:
        super().__post_init__()
        remedy = "Give the blade's thickness in millimetres."
        keep_numbers(self, thickness_mm=positive("thickness_mm", self.thickness_mm, remedy))

    def depth_mm(self, width_mm: FloatArray, share: FloatArray | float = 1.0) -> FloatArray:
        """The thickness times `share` of it (...), at any width."""
        whole = np.full_like(as_array("width_mm", width_mm), self.thickness_mm)
        return np.asarray(whole * as_array("share", share))


@dataclass(frozen=True, kw_only=True)
class RoundBack(_Thick):
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

    def __post_init__(self) -> None:
        super().__post_init__()
        low, high = self._thinnest_and_thickest_mm
        if not low <= self.thickness_mm < high:
            raise BadArgument(
                f"thickness_mm must lie between {low:.3g} (all round) and {high:.3g} (a wedge)",
                self.thickness_mm,
                "Check width, thickness and internal angle against each other.",
                argument="thickness_mm",
            )

    @property
    def _thinnest_and_thickest_mm(self) -> FloatArray:
        """Thickness of a section that is all round, and of one that is a wedge."""
        return np.asarray(self.width_mm / 2 * np.tan([self._beta / 2, self._beta]))

    def depth_mm(self, width_mm: FloatArray, share: FloatArray | float = 1.0) -> FloatArray:
        """The thickness times `share` of it (...), as far as a round back allows."""
        low, high = self._thinnest_and_thickest_mm
        high = max((1 - _WEDGE) * high, self.thickness_mm)
        return np.clip(super().depth_mm(width_mm, share), low, high)

    @property
    def back_radius_mm(self) -> float:
        """Radius of the back."""
        return float(self._back_radius_mm(np.asarray(self.thickness_mm)))

    def _back_radius_mm(self, thickness_mm: FloatArray) -> FloatArray:
        sin, cos = np.sin(self._beta), np.cos(self._beta)
        return np.asarray((self.width_mm / 2 * sin - thickness_mm * cos) / (1 - cos))

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

    def inset_mm(self, depth_mm: FloatArray, thickness_mm: FloatArray | None = None) -> FloatArray:
        """v cotβ down the flank, then the circle of the back, at a thickness (...)."""
        given = self.thickness_mm if thickness_mm is None else thickness_mm
        v, thick = as_array("depth_mm", depth_mm), as_array("thickness_mm", given)
        v, thick = matched("depth_mm and thickness_mm", v, thick)
        rho = self._back_radius_mm(thick)
        centre = thick - rho
        below = np.clip(v - centre, -rho, rho)
        back = self.width_mm / 2 - np.sqrt(rho**2 - below**2)
        # the flat flank ends level with the point of tangency, ρ cosβ below the circle's centre
        flank = self.width_mm / 2 * np.cos(self._beta) + centre * np.sin(self._beta)
        return np.where(v <= flank * np.sin(self._beta), super().inset_mm(v), back)


@dataclass(frozen=True, kw_only=True)
class Triangular(_Flanked):
    """A sickle's section: two flat flanks that meet in a line; it scales with the local width."""

    @property
    def thickness_mm(self) -> float:
        """(w/2) tanβ."""
        return float(self.depth_mm(np.asarray(self.width_mm)))

    @property
    def flank_mm(self) -> float:
        """(w/2) / cosβ."""
        return float(self.width_mm / 2 / np.cos(self._beta))

    @property
    def area_mm2(self) -> float:
        """(w/2) T."""
        return self.width_mm / 2 * self.thickness_mm

    def depth_mm(
        self,
        width_mm: FloatArray,
        share: FloatArray | float = 1.0,  # noqa: ARG002
    ) -> FloatArray:
        """(w/2) tanβ at the local width; its flanks meet there, so it has no other thickness."""
        return np.asarray(as_array("width_mm", width_mm) / 2 * np.tan(self._beta))


@dataclass(frozen=True, kw_only=True)
class Bevel(_Thick):
    """A hoe's section: one bevel through the whole thickness; the width runs back from the edge."""

    def __post_init__(self) -> None:
        super().__post_init__()
        longest = self.width_mm * np.tan(self._beta)
        if not self.thickness_mm <= longest:
            raise BadArgument(
                f"thickness_mm must be {longest:.3g} or less, or the bevel outruns the width",
                self.thickness_mm,
                "Check width, thickness and bevel angle against each other.",
                argument="thickness_mm",
            )

    @property
    def flank_mm(self) -> float:
        """T / sinβ."""
        return float(self.thickness_mm / np.sin(self._beta))

    @property
    def area_mm2(self) -> float:
        """w T - T² cotβ / 2."""
        lost = self.thickness_mm**2 / np.tan(self._beta) / 2
        return float(self.width_mm * self.thickness_mm - lost)


Section = RoundBack | Triangular | Bevel  # of any blade
