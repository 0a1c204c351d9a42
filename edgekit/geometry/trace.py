"""What a file says of a digitised blade, its points, and the uncertainty that smoothing left."""

from collections.abc import Mapping
from dataclasses import field
from typing import Any

import numpy as np

from edgekit.checks import FloatArray
from edgekit.display import html_table
from edgekit.record import Record, read_only

__all__ = ["EdgeTrace", "Trace"]


class EdgeTrace(Record):
    """What smoothing made of one digitised edge.

    ``noise_um``: residual standard deviation per coordinate. ``freedom``: effective number of
    coefficients. ``swing_sd_deg``, ``tilt_sd_deg``, ``normal_sd_deg`` (S,): standard deviation, at
    ``arc_mm`` (S,), of the lateral normal's direction: turned along the edge (by the tangent),
    about the edge (by the face and the internal angle), and both together.
    """

    noise_um: float
    freedom: float
    arc_mm: FloatArray
    swing_sd_deg: FloatArray
    tilt_sd_deg: FloatArray

    @property
    def normal_sd_deg(self) -> FloatArray:
        """Standard deviation (S,) of the lateral normal's direction."""
        return read_only(np.hypot(self.swing_sd_deg, self.tilt_sd_deg))

    def summary(self) -> tuple[str, str, str, str]:
        """Noise [µm], and mean swing, mean tilt and worst normal [deg], as text."""
        degrees = (self.swing_sd_deg.mean(), self.tilt_sd_deg.mean(), self.normal_sd_deg.max())
        along, about, worst = (f"{item:.2f}" for item in degrees)
        return f"{self.noise_um:.1f}", along, about, worst


class Trace(Record):
    """A digitised blade: what the file said, its points, and what smoothing made of them."""

    settings: Mapping[str, Any]
    points_mm: Mapping[str, FloatArray]
    edges: Mapping[str, EdgeTrace] = field(default_factory=dict)

    def __repr__(self) -> str:
        counts = ", ".join(f"{name} {len(points)}" for name, points in self.points_mm.items())
        lines = [f"points: {counts}"]
        for name, edge in self.edges.items():
            noise, along, about, worst = edge.summary()
            lines.append(
                f"{name}: noise {noise} µm; normal uncertain by {along}° along the edge and "
                f"{about}° about it, {worst}° at worst (standard deviations)"
            )
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        degrees = ["along the edge, ° (sd)", "about the edge, ° (sd)", "worst, ° (sd)"]
        rows = [[name, *edge.summary()] for name, edge in self.edges.items()]
        return html_table(["edge", "noise, µm", *degrees], rows)
