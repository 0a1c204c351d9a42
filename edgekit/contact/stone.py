"""The forms of stones, by what they can reach: how sharply they curve along the edge, how long."""

import math
from dataclasses import dataclass
from typing import ClassVar, Protocol, runtime_checkable

from edgekit.checks import between, keep_numbers, number, positive
from edgekit.evidence_table import value

__all__ = ["ConeStone", "DiscStone", "FlatStone", "RodStone", "Stone"]


@runtime_checkable
class Stone(Protocol):
    """A stone's form.

    Examples
    --------
    >>> from dataclasses import dataclass
    >>> import edgekit as ek
    >>> @dataclass(frozen=True)
    ... class Slip:  # a long stone with a rounded edge
    ...     length_mm: float = 100.0
    ...     curvature_per_mm: float = 0.5
    >>> ek.testing.check_stone(Slip())
    >>> bool(ek.orient(ek.patterns.hoe().edges["edge"], Slip()).reachable.all())
    True
    """

    @property
    def length_mm(self) -> float:
        """Extent along the edge; infinite for an endless stone."""

    @property
    def curvature_per_mm(self) -> float:
        """Largest curvature the stone's surface can turn to the edge, out of the steel."""


@dataclass(frozen=True, kw_only=True)
class FlatStone:
    """A flat stone, `length_mm` long along the edge (``math.inf`` for an endless one)."""

    length_mm: float = value("stone_length_mm")
    curvature_per_mm: ClassVar[float] = 0.0  # a plane

    def __post_init__(self) -> None:
        length = number("length_mm of a stone", self.length_mm, "Give millimetres.")
        if length != math.inf:
            length = positive("length_mm of a stone", length, "Give millimetres.")
        keep_numbers(self, length_mm=length)


@dataclass(frozen=True, kw_only=True)
class _Round:
    """A stone as long along the edge as it is thick."""

    radius_mm: float

    def __post_init__(self) -> None:
        radius = positive("radius_mm", self.radius_mm, "Give the radius in millimetres.")
        keep_numbers(self, radius_mm=radius)

    @property
    def length_mm(self) -> float:
        """Extent along the edge: the diameter."""
        return 2 * self.radius_mm


@dataclass(frozen=True, kw_only=True)
class DiscStone(_Round):
    """A turning disc that grinds with its flat side: a plane as wide as the disc."""

    radius_mm: float = value("disc_radius_mm")
    curvature_per_mm: ClassVar[float] = 0.0  # a plane


@dataclass(frozen=True, kw_only=True)
class RodStone(_Round):
    """A round rod held with its axis square to the edge, along the lateral surface."""

    radius_mm: float = value("rod_radius_mm")

    @property
    def curvature_per_mm(self) -> float:
        """1 / radius."""
        return 1 / self.radius_mm


@dataclass(frozen=True, kw_only=True)
class ConeStone:
    """A cone from `small_radius_mm` to `large_radius_mm` over `length_of_axis_mm`.

    Held with a generator along the lateral surface it turns the normal curvature cosγ / ρ to the
    edge at circle radius ρ, γ being the half-angle (Meusnier). Any radius between its ends can be
    brought to bear, so its smallest circle decides reach.
    """

    small_radius_mm: float
    large_radius_mm: float
    length_of_axis_mm: float

    def __post_init__(self) -> None:
        small = positive("small_radius_mm", self.small_radius_mm)
        wider = "Give a large end wider than the small end."
        keep_numbers(
            self,
            small_radius_mm=small,
            large_radius_mm=between(
                "large_radius_mm", self.large_radius_mm, small, math.inf, wider
            ),
            length_of_axis_mm=positive("length_of_axis_mm", self.length_of_axis_mm),
        )

    @property
    def half_angle_rad(self) -> float:
        """Angle between axis and generator."""
        return math.atan2(self.large_radius_mm - self.small_radius_mm, self.length_of_axis_mm)

    @property
    def length_mm(self) -> float:
        """Extent along the edge: the diameter of the small end."""
        return 2 * self.small_radius_mm

    @property
    def curvature_per_mm(self) -> float:
        """cosγ / smallest radius."""
        return math.cos(self.half_angle_rad) / self.small_radius_mm
