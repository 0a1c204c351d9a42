"""What happens to an instrument between two sessions: strokes that dull it, and attrition."""

from dataclasses import dataclass, field

import numpy as np

from edgekit.checks import FloatArray, at_least, instance, keep_numbers
from edgekit.evidence_table import entry, value
from edgekit.grinding.random_streams import PATCHES, RunEffects
from edgekit.life.dulling import DullingLaw, PowerDulling

__all__ = ["Use"]


@dataclass(frozen=True, kw_only=True)
class Use:
    """What happens to an instrument between two sessions.

    Parameters
    ----------
    strokes : float
        Working strokes on each edge.
    law : DullingLaw
        How the edge radius grows.
    sharp_radius_um, sharp_radius_gsd : float
        Edge radius after sharpening, and its geometric standard deviation between instruments.
    severity_gsd : float
        Geometric standard deviation, between instruments, of how fast strokes dull.
    patch_cv : float
        Scatter of the radius along one edge.
    attrition_um : float
        Width each edge loses in use beyond the rounding [µm].
    """

    strokes: float = value("strokes_per_use")
    law: DullingLaw = field(default_factory=PowerDulling)
    sharp_radius_um: float = value("sharp_radius_um")
    sharp_radius_gsd: float = entry("sharp_radius_um").gsd
    severity_gsd: float = entry("dull_rate_um2_per_stroke").gsd
    patch_cv: float = value("dull_patch_cv")
    attrition_um: float = value("attrition_um_per_use")

    def __post_init__(self) -> None:
        for name in ("strokes", "sharp_radius_um", "patch_cv", "attrition_um"):
            keep_numbers(self, **{name: at_least(name, getattr(self, name), 0.0)})
        for name in ("sharp_radius_gsd", "severity_gsd"):
            keep_numbers(self, **{name: at_least(name, getattr(self, name), 1.0)})
        instance("law", self.law, DullingLaw, "Give a law, such as PowerDulling().")

    def fresh_um(self, effects: RunEffects) -> FloatArray:
        """Radius (R,) after sharpening."""
        return np.asarray(self.sharp_radius_um * self.sharp_radius_gsd**effects.sharp_radius)

    def dull(self, radius_um: FloatArray, effects: RunEffects, patches: FloatArray) -> FloatArray:
        """Radius (R, S) after one use; `patches` (R, 16) unit normals."""
        strokes = self.strokes * self.severity_gsd**effects.severity
        worn = self.law.after(radius_um, strokes[:, None])
        if self.patch_cv == 0:
            return worn
        size = np.sqrt(np.log1p(self.patch_cv**2))
        patch = np.minimum(
            np.arange(radius_um.shape[1]) * PATCHES // radius_um.shape[1], PATCHES - 1
        )
        scatter = np.exp(size * patches.T - size**2 / 2)[patch].T
        return np.asarray(radius_um + (worn - radius_um) * scatter, dtype=radius_um.dtype)
