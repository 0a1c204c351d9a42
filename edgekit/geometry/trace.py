"""What a file said of a digitised blade, its points, and the uncertainty that smoothing left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from edgekit.checks import FloatArray

__all__ = ["EdgeTrace", "Trace"]


@dataclass(frozen=True, kw_only=True, eq=False)
class EdgeTrace:
    """What smoothing made of one digitised edge.

    ``noise_um``: residual standard deviation a coordinate. ``freedom``: effective coefficients.
    ``arc_mm``, ``swing_sd_deg``, ``tilt_sd_deg``, ``normal_sd_deg`` (S,): standard deviation of the
    lateral normal along the edge: turned along the edge (by the tangent), about the edge (by the face and
    the internal angle), and both together.
    """

    noise_um: float
    freedom: float
    arc_mm: FloatArray
    swing_sd_deg: FloatArray
    tilt_sd_deg: FloatArray

    @property
    def normal_sd_deg(self) -> FloatArray:
        """Standard deviation (S,) of the lateral normal's direction."""
        return np.hypot(self.swing_sd_deg, self.tilt_sd_deg)


@dataclass(frozen=True, kw_only=True, eq=False)
class Trace:
    """A digitised blade: what the file said, its points, and what smoothing made of them."""

    settings: Mapping[str, Any]
    points_mm: Mapping[str, FloatArray]
    edges: Mapping[str, EdgeTrace] = field(default_factory=dict)

    def __repr__(self) -> str:
        return "\n".join(
            f"{name}: noise {edge.noise_um:.1f} µm; normal uncertain by {edge.swing_sd_deg.mean():.2f}° "
            f"along the edge and {edge.tilt_sd_deg.mean():.2f}° about it, {edge.normal_sd_deg.max():.2f}° "
            "at worst (standard deviations)"
            for name, edge in self.edges.items()
        )

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><td>{name}</td><td>{edge.noise_um:.1f}</td>"
            f"<td>{edge.swing_sd_deg.mean():.2f}</td><td>{edge.tilt_sd_deg.mean():.2f}</td>"
            f"<td>{edge.normal_sd_deg.max():.2f}</td></tr>"
            for name, edge in self.edges.items()
        )
        head = (
            "<tr><th>edge</th><th>noise, µm</th><th>along the edge, ° (sd)</th>"
            "<th>about the edge, ° (sd)</th><th>worst, ° (sd)</th></tr>"
        )
        return f"<table>{head}{rows}</table>"
