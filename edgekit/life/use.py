"""What happens to an instrument between two sessions: strokes that dull it, and attrition."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from edgekit import checks
from edgekit.checks import FloatArray, Seed, at_least, instance, keep_numbers, positive
from edgekit.contact.apex import void_factor
from edgekit.evidence_table import entry, value
from edgekit.geometry.blade import Blade
from edgekit.grinding.edge_state import EdgeState, whole_land_um
from edgekit.grinding.random_streams import PATCHES, RunEffects, RunStreams
from edgekit.grinding.recession_field import EdgeGrid, cleared, over_stations
from edgekit.grinding.worn_blade import WornBlade
from edgekit.life.density import ToeThird, UseDensity, touch_density
from edgekit.life.dulling import DullingLaw, PowerDulling, strokes_until
from edgekit.units import UM_PER_MM

__all__ = ["Use", "use"]

USUAL_RAD = np.radians(value("internal_angle_deg"))  # of the wedge that a dulling law speaks of
USUAL_VOID = void_factor(USUAL_RAD)
USUAL_MM = value("use_contact_mm")  # touched by a stroke that a dulling law speaks of
USEFUL_STEPS = 32  # of one use, a power of two, along which a law of one's own grows evenly


@dataclass(frozen=True, kw_only=True)
class Use:
    """What happens to an instrument between two sessions.

    Strokes are shared evenly by the edges of a blade, and along each as `density` has it; what a
    stroke wears is spread over the length that it touches, so that the steel worn depends neither
    on that length nor on where the stroke falls. At a place that strokes of 2 mm touch `n` times
    the edge dulls as `law` has it for `n` strokes, on a wedge of the usual internal angle; a wedge
    of another angle loses as much steel, and a stroke of twice the length counts half at a place.

    Parameters
    ----------
    strokes : float
        Working strokes, all edges together.
    law : DullingLaw
        How the edge radius grows where strokes touch.
    density : UseDensity
        Where along an edge strokes are centred; `edgekit.laws` has some.
    contact_mm : float
        Length of edge that a stroke touches [mm].
    sharp_radius_um, sharp_radius_gsd : float
        Edge radius after sharpening, and its geometric standard deviation between instruments.
    severity_gsd : float
        Geometric standard deviation, between instruments, of how fast strokes dull.
    patch_cv : float
        Scatter, along one edge, of how many strokes fall on a patch of it.
    attrition_um : float
        Width each edge loses in use beyond the rounding [µm]. None by default: Liu et al. 2022
        put about half of all wear to it, a thousand times what Archard's law can account for.
    useful_radius_um : float
        Edge radius up to which a stroke is counted as useful [µm].
    """

    strokes: float = value("strokes_per_use")
    law: DullingLaw = field(default_factory=PowerDulling)
    density: UseDensity = field(default_factory=ToeThird)
    contact_mm: float = value("use_contact_mm")
    sharp_radius_um: float = value("sharp_radius_um")
    sharp_radius_gsd: float = entry("sharp_radius_um").gsd
    severity_gsd: float = value("dull_rate_between")
    patch_cv: float = value("dull_patch_cv")
    attrition_um: float = value("attrition_um_per_use")
    useful_radius_um: float = value("useful_radius_um")

    def __post_init__(self) -> None:
        for name in ("strokes", "sharp_radius_um", "patch_cv", "attrition_um", "useful_radius_um"):
            keep_numbers(self, **{name: at_least(name, getattr(self, name), 0.0)})
        for name in ("sharp_radius_gsd", "severity_gsd"):
            keep_numbers(self, **{name: at_least(name, getattr(self, name), 1.0)})
        keep_numbers(self, contact_mm=positive("contact_mm", self.contact_mm))
        instance("law", self.law, DullingLaw, "Give a law, such as PowerDulling().")
        instance("density", self.density, UseDensity, "Give one, such as ek.laws.EvenUse().")

    def fresh_um(self, effects: RunEffects) -> FloatArray:
        """Radius (R,) after sharpening."""
        return np.asarray(self.sharp_radius_um * self.sharp_radius_gsd**effects.sharp_radius)


class EdgeUse:
    """One use of one edge of a blade, prepared for any number of runs.

    ``share`` (S,): the part of the edge's strokes that each station bears; ``strokes`` (S,): how
    many of the law's strokes touch it; ``patch`` (S,) of dulling that it lies in. Means over the
    strokes: ``met`` of those at the place where one falls, ``size`` of `usual_size` of the new
    edge.
    """

    def __init__(self, use: Use, grid: EdgeGrid, edges: int) -> None:
        self.use, self.grid = use, grid
        density = touch_density(grid, use.density, use.contact_mm)
        kind = grid.inset_mm.dtype
        self.share = (density * grid.station_weights_mm).astype(kind)
        self.strokes = (use.strokes / edges * USUAL_MM * density).astype(kind)
        self.patch = np.arange(len(self.share)) * PATCHES // len(self.share)
        self._by_patch = np.bincount(self.patch, self.share, PATCHES).astype(np.float64)
        self.met = float((self.share * self.strokes).sum())
        self.size = float((self.share * usual_size(grid.angle_rad)).sum())

    def dull(
        self, radius_um: FloatArray, angle_rad: FloatArray, effects: RunEffects, patches: FloatArray
    ) -> FloatArray:
        """Radius (R, S) after the use, of wedges of some angle; `patches` (R, 16) unit normals."""
        use = self.use
        strokes = (self.often(effects, patches).T[self.patch] * self.strokes[:, None]).T
        size = usual_size(angle_rad)
        worn = use.law.after(size * radius_um, strokes) / size
        return np.asarray(worn, dtype=radius_um.dtype)

    def often(self, effects: RunEffects, patches: FloatArray) -> FloatArray:
        """How many times the usual number of strokes (R, 16) fall on each patch; in all as many
        times as the instrument's severity has it."""
        often = np.exp(np.sqrt(np.log1p(self.use.patch_cv**2)) * patches)
        severity = self.use.severity_gsd**effects.severity / over_stations(often, self._by_patch)
        return np.asarray(often * severity[:, None])

    def mean_radius(self, radius_um: FloatArray) -> FloatArray:
        """Mean (R,) over the strokes of a radius (R, S)."""
        return over_stations(radius_um, self.share)

    def wear(self, state: EdgeState, effects: RunEffects, patches: FloatArray) -> None:
        """Dull an edge (R, S) by the use, in place; `patches` (R, 16) unit normals."""
        angle = state.internal_angle_rad
        state.radius_um = self.dull(state.radius_um, angle, effects, patches)
        state.land_um = whole_land_um(state.radius_um, angle)
        if self.use.attrition_um:
            state.inset_mm = state.inset_mm + self.use.attrition_um / UM_PER_MM
            state.cleared_mm3 = cleared(self.grid, state.inset_mm)


def usual_size(angle_rad: FloatArray) -> FloatArray:
    """Radius in a wedge of the usual internal angle, of the circle that lacks as much steel as one
    in a wedge of some angle, over the latter's.
    """
    return np.sqrt(void_factor(angle_rad) / USUAL_VOID)


def useful_strokes(
    used: Sequence[EdgeUse], radius_um: FloatArray, effects: RunEffects
) -> FloatArray:
    """Strokes (R,) of a use until the mean radius where they touch, which is `radius_um` (R,) as
    it begins, is past the useful one.

    A mean over the strokes; it is taken to grow as at a place with their mean number of strokes.
    """
    use, edges = used[0].use, len(used)
    size, met = (sum(part) / edges for part in zip(*((u.size, u.met) for u in used), strict=True))
    made = met * use.severity_gsd**effects.severity
    radius, limit = size * radius_um, size * use.useful_radius_um
    until = strokes_until(use.law, radius, limit)
    if until is None:
        return use.strokes * _share_below(use.law, radius, limit, made)
    share = np.divide(until, made, where=until < made, out=np.ones_like(made))
    return np.asarray(use.strokes * share)


def _share_below(
    law: DullingLaw, radius_um: FloatArray, limit_um: float, strokes: FloatArray
) -> FloatArray:
    """Share (R,) of `strokes` until a radius has grown to a limit by any law, by halving: no law
    lets a radius fall."""

    def grown(step: NDArray[np.int_]) -> FloatArray:
        return np.asarray(law.after(radius_um, strokes * (step / USEFUL_STEPS)))

    last, half = np.zeros(len(strokes), dtype=int), USEFUL_STEPS // 2
    while half:  # the last step at which it is still below
        last += half * (grown(last + half) < limit_um)
        half //= 2
    here, there = grown(last), grown(last + 1)
    past = (limit_um - here) / np.maximum(there - here, 1e-300)
    return np.asarray((last + np.clip(past, 0.0, 1.0)) / USEFUL_STEPS)


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
        What happens, or a number of working strokes, all edges together, with all else by default.
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
    2.63
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
        EdgeUse(cycle, grid, len(grids)).wear(state, effects, patches[:, e])
    return before.after(states, use_strokes=before.use_strokes + cycle.strokes)
