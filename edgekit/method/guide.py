"""What gives the stone its orientation: a free hand that follows the edge, or a holder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np

from edgekit.checks import FloatArray, between, count, finite, instance, keep_numbers
from edgekit.contact.holder import Setting, held_normals
from edgekit.errors import BadArgument
from edgekit.geometry.edge import Edge

MAX_SETUPS = 1000  # of one edge in a session


@runtime_checkable
class Guide(Protocol):
    """What gives the stone its orientation.

    Examples
    --------
    A guide that holds the stone two degrees too open everywhere:

    >>> from dataclasses import dataclass
    >>> import numpy as np
    >>> import edgekit as ek
    >>> @dataclass(frozen=True)
    ... class TooOpen:
    ...     error_deg: float = 2.0
    ...     setups: int = 1
    ...
    ...     def normals(self, edge, arc_mm):
    ...         frame, turn = edge.frame(arc_mm, order=0), np.radians(self.error_deg)
    ...         return np.cos(turn) * frame.outward.value - np.sin(turn) * frame.flank
    >>> ek.testing.check_guide(TooOpen())
    >>> method = ek.Method(name="too open", guide=TooOpen())
    >>> session = ek.sharpen(ek.patterns.hoe(), method, dull_radius_um=4.0, rng=1, stations=24)
    >>> round(float(session.edges["edge"].angle_deg.mean()))
    47
    """

    def normals(self, edge: Edge, arc_mm: FloatArray) -> FloatArray:
        """Outward stone normals (S, 3) aimed at along the edge."""
        ...

    @property
    def setups(self) -> int:
        """How many times it is set up for one edge."""
        ...


@dataclass(frozen=True, kw_only=True)
class FollowEdge:
    """The true lateral normal at every point: a free hand deviates from it only by its errors."""

    setups: int = 1

    def __post_init__(self) -> None:
        keep_numbers(self, setups=count("setups", self.setups, most=MAX_SETUPS))

    def normals(self, edge: Edge, arc_mm: FloatArray) -> FloatArray:
        """The edge's outward normals."""
        return edge.frame(arc_mm, order=0).outward.value


@dataclass(frozen=True, kw_only=True)
class HoldElevation:
    """A holder with one elevation, or several, each used where its angle error is least."""

    elevations_deg: tuple[float, ...]

    def __post_init__(self) -> None:
        instance("elevations_deg", self.elevations_deg, tuple, "Give a tuple of degrees.")
        if not self.elevations_deg:
            raise BadArgument("a holder needs a setting", (), "Give one elevation or more.")
        remedy = "Give degrees between handle and stone."
        angles = (between("elevation_deg", x, -90.0, 90.0, remedy) for x in self.elevations_deg)
        object.__setattr__(self, "elevations_deg", tuple(angles))

    @property
    def setups(self) -> int:
        """One for each setting."""
        return len(self.elevations_deg)

    def normals(self, edge: Edge, arc_mm: FloatArray) -> FloatArray:
        """The normals held at the setting of least error at each point."""
        return held_normals(edge, self.elevations_deg, arc_mm)

    @staticmethod
    def worst_error_deg(setting: Setting | float | Sequence[Setting | float]) -> float:
        """Largest angle error [deg] anywhere on the edge that settings were found for; 0 for
        elevations given as numbers, which know of no edge."""
        many = setting if isinstance(setting, Sequence) else (setting,)
        errors = [np.abs(item.error_deg) for item in many if isinstance(item, Setting)]
        if not errors or len(errors) < len(many) or len({len(item) for item in errors}) > 1:
            return 0.0
        return float(np.min(errors, axis=0).max())

    @classmethod
    def of(cls, setting: Setting | float | Sequence[Setting | float]) -> HoldElevation:
        """From settings or elevations in degrees."""
        if isinstance(setting, str):
            raise BadArgument(
                "a setting must be a number",
                setting,
                "Give degrees, such as 15.0.",
                argument="setting",
            )
        many = setting if isinstance(setting, Sequence) else (setting,)
        angles = (s.elevation_deg if isinstance(s, Setting) else finite("setting", s) for s in many)
        return cls(elevations_deg=tuple(angles))
