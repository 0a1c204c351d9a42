"""What happens to an instrument between two sessions: strokes that dull it, and attrition."""

from dataclasses import dataclass, field, replace

import numpy as np

from edgekit import checks
from edgekit.checks import FloatArray, Seed, at_least, instance, keep_numbers
from edgekit.evidence_table import entry, value
from edgekit.geometry.blade import Blade
from edgekit.grinding.edge_state import EdgeState, whole_land_um
from edgekit.grinding.random_streams import PATCHES, RunEffects, RunStreams
from edgekit.grinding.recession_field import EdgeGrid, cleared
from edgekit.grinding.worn_blade import WornBlade
from edgekit.life.dulling import DullingLaw, PowerDulling
from edgekit.units import UM_PER_MM

__all__ = ["Use", "use"]

USEFUL_STEPS = 33  # of one use, between which the radius is taken to grow evenly


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
    useful_radius_um : float
        Mean edge radius up to which a stroke is counted as useful [µm].
    """

    strokes: float = value("strokes_per_use")
    law: DullingLaw = field(default_factory=PowerDulling)
    sharp_radius_um: float = value("sharp_radius_um")
    sharp_radius_gsd: float = entry("sharp_radius_um").gsd
    severity_gsd: float = entry("dull_rate_um2_per_stroke").gsd
    patch_cv: float = value("dull_patch_cv")
    attrition_um: float = value("attrition_um_per_use")
    useful_radius_um: float = value("useful_radius_um")

    def __post_init__(self) -> None:
        for name in ("strokes", "sharp_radius_um", "patch_cv", "attrition_um", "useful_radius_um"):
            keep_numbers(self, **{name: at_least(name, getattr(self, name), 0.0)})
        for name in ("sharp_radius_gsd", "severity_gsd"):
            keep_numbers(self, **{name: at_least(name, getattr(self, name), 1.0)})
        instance("law", self.law, DullingLaw, "Give a law, such as PowerDulling().")

    def fresh_um(self, effects: RunEffects) -> FloatArray:
        """Radius (R,) after sharpening."""
        return np.asarray(self.sharp_radius_um * self.sharp_radius_gsd**effects.sharp_radius)

    def useful_strokes(self, radius_um: FloatArray, effects: RunEffects) -> FloatArray:
        """Strokes (R,) of one use until an edge of mean radius (R,) is past `useful_radius_um`."""
        made = np.linspace(0.0, self.strokes, USEFUL_STEPS)
        severity = self.severity_gsd**effects.severity
        radius = self.law.after(radius_um[:, None] + 0 * made, severity[:, None] * made)
        here, there = radius[:, :-1], radius[:, 1:]
        grown = np.maximum(there - here, 1e-300)
        share = np.where(here < self.useful_radius_um, (self.useful_radius_um - here) / grown, 0.0)
        return np.asarray(np.clip(share, 0.0, 1.0).sum(axis=1) * self.strokes / (len(made) - 1))

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


def wear_in_use(
    grid: EdgeGrid, state: EdgeState, use: Use, effects: RunEffects, patches: FloatArray
) -> None:
    """Dull an edge (R, S) by one use, in place; `patches` (R, 16) unit normals."""
    worn = use.dull(state.radius_um, effects, patches)
    state.radius_um = worn.astype(state.inset_mm.dtype, copy=False)
    state.land_um = whole_land_um(state.radius_um, state.internal_angle_rad)
    if use.attrition_um:
        state.inset_mm = state.inset_mm + use.attrition_um / UM_PER_MM
        state.cleared_mm3 = cleared(grid, state.inset_mm)


def use(
    blade: Blade | WornBlade,
    use: Use | float,
    *,
    rng: RunStreams | Seed | None = None,
) -> WornBlade:
    """Use an instrument on patients: its edges get duller.

    Parameters
    ----------
    blade : Blade or WornBlade
        A new blade is taken as freshly ground.
    use : Use or float
        What happens, or a number of working strokes on each edge with all else by default.
    rng : Generator, seed of one, or `Life.streams`, optional
        How fast this instrument dulls, and where; without it, as the median instrument does,
        evenly.

    Returns
    -------
    WornBlade

    Raises
    ------
    EdgekitError
        For anything but a blade, and strokes below 0.

    Examples
    --------
    >>> import edgekit as ek
    >>> worn = ek.use(ek.patterns.area_specific_curette(), 45)
    >>> round(float(worn.radius_um("used").mean()), 2)
    4.56
    """
    before = WornBlade.of(blade)
    cycle = use if isinstance(use, Use) else Use(strokes=checks.at_least("use", use, 0.0))
    grids, states = before.grids, before.states()
    if rng is None:
        cycle = replace(cycle, patch_cv=0.0)
        effects = RunEffects(np.zeros((1, 4)), *np.zeros((4, 1)))
        patches = np.zeros((1, len(grids), PATCHES))
    else:
        streams = RunStreams.of(rng)
        effects, draws = streams.session(before.sessions, edges=len(grids), seatings=1)
        patches = draws.patches
    for e, (grid, state) in enumerate(zip(grids, states, strict=True)):
        wear_in_use(grid, state, cycle, effects, patches[:, e])
    return before.after(states, use_strokes=before.use_strokes + cycle.strokes)
