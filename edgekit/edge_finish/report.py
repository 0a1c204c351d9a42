"""The finish of an edge under a method: lay, teeth, roughness, and one edge line drawn at random.

A facet's scratches of rms height Rq, with correlation lengths l⊥ across and l∥ along the lay, are
cut by the other surface along a line: the edge line has rms height Rq/sin β in that surface and the
correlation length 1/l² = sin²ψ/l⊥² + cos²ψ/l∥² at lay ψ. Teeth are counted on all waves that are
longer than the edge's own radius; a picture shows those that its magnification resolves.
"""

from __future__ import annotations

import math

import numpy as np

from edgekit.checks import FloatArray, Seed, count, generator, instance, positive
from edgekit.display import html_list
from edgekit.edge_finish import edge_line
from edgekit.edge_finish.edge_profile import EdgeProfile, realise
from edgekit.edge_finish.texture import Roughness, roughness
from edgekit.evidence_table import entry, value
from edgekit.geometry.edge import Edge
from edgekit.method.abrasive import RQ_PER_RA, Abrasive
from edgekit.method.lay import Lay, StrokeDirection, face_planes, flank_planes, lay_on
from edgekit.method.method import Method, Target
from edgekit.method.wire_edge import WireEdgeFinding, wire_edge
from edgekit.record import Record
from edgekit.units import UM_PER_MM

__all__ = ["TENTH", "Finish", "finish", "standard_cutoff_um"]

FINISH_STATIONS = 400
MAX_STATIONS = 100_000
STATION_BYTES = 2000  # of frames, planes and lay at a station
TENTH = 1.2816  # standard normal deviate with a tenth above it
# Below this share of the shortest wave kept, a correlation length only whitens the band; drawing a
# longer one with the band's own height loses 0.5 % of its teeth and is several times quicker.
_WHITE_BELOW = 1 / 16
# ISO 4288, from memory: Ra up to which a cut-off serves [µm].
_CUTOFFS = ((0.02, 80.0), (0.1, 250.0), (2.0, 800.0), (10.0, 2500.0))
_MAX_CUTOFF = 8000.0


def standard_cutoff_um(ra_um: float) -> float:
    """Cut-off for a surface of this Ra without a period [µm] (ISO 4288, from memory).

    Examples
    --------
    >>> from edgekit.edge_finish.report import standard_cutoff_um
    >>> standard_cutoff_um(0.05), standard_cutoff_um(0.5)
    (250.0, 800.0)
    """
    ra = positive("ra_um", ra_um)
    return next((cutoff for limit, cutoff in _CUTOFFS if ra <= limit), _MAX_CUTOFF)


class Finish(Record):
    """The finish of one edge.

    Attributes
    ----------
    abrasive, stroke : Abrasive, StrokeDirection
        What made it.
    lay : Lay
        Scratch direction at the stations.
    length_um : array (S,)
        Correlation length of the edge line along the edge.
    rq_um : array (S,)
        Its rms height in the surface it is traced on, all waves counted.
    internal_angle_deg : float
        Mean internal angle.
    edge_radius_um : float
        Radius of the edge; waves shorter than it are no teeth.
    min_wavelength_um : float
        Shortest wave that the magnification shows, not below the edge's radius.
    magnification : float
    local_teeth_per_mm : array (S,)
        Teeth per millimetre by Rice's formula, without waves shorter than the edge's radius.
    teeth_per_mm : float
        Mean of that along the edge; it does not depend on the magnification.
    teeth_range_per_mm : tuple of float
        Tenth and nine-tenth quantile of the mean, from the spread of the scratch spacing.
    profile : EdgeProfile
        One edge line drawn at random, ``x_um, z_um``, as the magnification shows it.
    roughness : Roughness
        Of that line, over the standard's lengths where the edge is long enough; see its `lengths`.
    wire_edge : WireEdgeFinding
        What is known of a wire edge.
    """

    abrasive: Abrasive
    stroke: StrokeDirection
    lay: Lay
    length_um: FloatArray
    rq_um: FloatArray
    internal_angle_deg: float
    edge_radius_um: float
    min_wavelength_um: float
    magnification: float
    local_teeth_per_mm: FloatArray
    teeth_per_mm: float
    teeth_range_per_mm: tuple[float, float]
    profile: EdgeProfile
    roughness: Roughness
    wire_edge: WireEdgeFinding

    @property
    def arc_mm(self) -> FloatArray:
        """Stations (S,)."""
        return self.lay.arc_mm

    @property
    def lay_deg(self) -> FloatArray:
        """Lay (S,) in (−90, 90]; 0 along the edge."""
        return self.lay.lay_deg

    def tooth_rq_um(self, conforming_um: float | None = None) -> float:
        """Rms height of the waves that what is worked on does not follow [µm], over the edge.

        Waves longer than `conforming_um` (``conforming_wave_um`` of the evidence table, assumed)
        are pressed flat by the load and do not act as teeth: Rq √(1 − erf(π l/λ)).
        """
        wave = positive(
            "conforming_um", value("conforming_wave_um") if conforming_um is None else conforming_um
        )
        follows = edge_line.visible_rq_um(self.rq_um, self.length_um, min_wavelength_um=wave)
        return float(np.sqrt(np.mean(np.maximum(self.rq_um**2 - follows**2, 0.0))))

    def told_apart(self, other: Finish) -> str:
        """Whether the teeth of another finish differ by more than both spreads, in a sentence.

        The counts are lognormal and independent; they differ where the chance that the order is
        the one stated is nine in ten or more.

        Raises
        ------
        EdgekitError
            For anything but a finish.
        """
        instance("other", other, Finish, "Make one with edgekit.finish.")
        names = f"{self.abrasive.name} and {other.abrasive.name}"
        counts = f"{self.teeth_per_mm:.3g} and {other.teeth_per_mm:.3g} teeth per mm"
        if self.abrasive == other.abrasive:
            return f"{names}, one stone: {counts}; only the lay differs"
        apart = abs(math.log(self.teeth_per_mm / other.teeth_per_mm))
        spread = math.hypot(*(math.log(one.abrasive.spacing_gsd) for one in (self, other)))
        if apart >= TENTH * spread:
            return f"{names}: {counts}, a difference larger than what is not known of them"
        return f"{names}: {counts}, which cannot be told apart with what is known of them"

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What the numbers rest on."""
        low, high = self.teeth_range_per_mm
        stone, slopes, aspect = self.abrasive, entry("ground_rms_slope"), entry("lay_aspect")
        ra, grits = stone.ra_per_grain, stone.active_grits
        return (
            f"Ra across the lay {stone.ra_um:.2g} µm, {ra.status.value}: {ra.source}",
            f"scratches {stone.scratch_spacing_um:.2g} µm apart: grain {stone.grain_um:.3g} µm, "
            + f"{grits.value:g} cutting per square of its size ({grits.status.value})",
            f"rms slope across the lay {stone.rms_slope:.2g}; ground steel {slopes.spread} "
            + f"({slopes.status.value})",
            f"scratches {aspect.value:g} times as long as wide ({aspect.status.value})",
            f"teeth {self.teeth_per_mm:.3g} per mm, 80 % range {low:.3g} to {high:.3g}",
            f"waves below the edge's radius, {self.edge_radius_um:.3g} µm, are no teeth",
            f"waves below {self.min_wavelength_um:.3g} µm do not show at {self.magnification:g} x",
            f"roughness of the edge line: {self.roughness.lengths}",
            str(self.wire_edge),
        )

    def __repr__(self) -> str:
        off = self.lay.off_edge_deg
        return (
            f"{self.abrasive.name}, {self.stroke}: lay {off.min():.0f}° to {off.max():.0f}° off "
            f"the edge, {self.teeth_per_mm:.3g} teeth per mm, Ra {self.roughness.ra_um:.2g} µm"
        )

    def _repr_html_(self) -> str:
        return html_list(self.assumptions, bold=repr(self))


def finish(
    edge: Edge,
    method: Method,
    *,
    rng: Seed,
    magnification: float = value("report_magnification"),
    edge_radius_um: float = value("sharp_radius_um"),
    stations: int = FINISH_STATIONS,
) -> Finish:
    """What a method's stone and stroke leave on an edge.

    Parameters
    ----------
    edge : Edge
    method : Method
        Its abrasive, stroke, guide and target are used.
    rng : numpy.random.Generator, or a seed of one
        Source of the one edge line that is drawn.
    magnification : float
        Magnification of the picture; shorter waves than it shows are left out of profile and
        roughness.
    edge_radius_um : float
        Radius of the edge [µm]; an edge carries no wave shorter than that. A freshly ground edge
        by default.
    stations : int
        Equally spaced, both ends included.

    Returns
    -------
    Finish

    Raises
    ------
    EdgekitError
        For anything but an edge, a method and a generator, or a magnification or a radius not
        above 0.

    Notes
    -----
    Model: lay, amplitude and counts. Evidence: Ra by grain, share of grits that cut, scratch
    length, all weak and given with their spread; no measurement on a hand-held stone and a
    hardened blade is known.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> edge = ek.patterns.area_specific_curette().edges["used"]
    >>> stone = ek.diamond_plated_stone()
    >>> teeth = [ek.finish(edge, ek.methods.freehand().using(stone, stroke),
    ...                    rng=np.random.default_rng(1)).teeth_per_mm
    ...          for stroke in (ek.along_edge(), ek.across_edge())]
    >>> bool(teeth[1] > 3 * teeth[0])
    True
    """
    instance("edge", edge, Edge, "Give one of its edges: blade.edges['left'].")
    instance("method", method, Method, "Make one with edgekit.methods.")
    rng = generator("rng", rng)
    magnification = positive("magnification", magnification)
    radius = positive("edge_radius_um", edge_radius_um)
    shortest = max(float(edge_line.min_visible_um(magnification)), radius)
    size = count("stations", stations, 2, most=MAX_STATIONS, bytes_each=STATION_BYTES)
    arc = edge.stations(size)
    scratches = _lay(edge, arc, method)
    beta = np.degrees(edge.frame(arc, order=0).angle.value) + np.zeros(len(arc))
    length, rq = _texture(method.abrasive, scratches.lay_deg, beta)
    shown = edge_line.visible_rq_um(rq, length, min_wavelength_um=shortest)
    profile = _drawn(arc * UM_PER_MM, length, shown, shortest, rng)
    teeth = edge_line.teeth_per_mm(length, min_wavelength_um=radius)
    return Finish(
        abrasive=method.abrasive,
        stroke=method.stroke.direction,
        lay=scratches,
        length_um=length,
        rq_um=rq,
        internal_angle_deg=float(beta.mean()),
        edge_radius_um=radius,
        min_wavelength_um=shortest,
        magnification=magnification,
        local_teeth_per_mm=teeth,
        teeth_per_mm=float(teeth.mean()),
        teeth_range_per_mm=_range(length, radius, method.abrasive),
        profile=profile,
        roughness=_rough(profile, float(shown.mean()) / RQ_PER_RA),
        wire_edge=wire_edge(method.stroke.direction.sense),
    )


def _lay(edge: Edge, arc: FloatArray, method: Method) -> Lay:
    """Lay of the method's stroke on the surface that it grinds."""
    if method.target is Target.FACE:
        return lay_on(face_planes(edge, arc), method.stroke.direction)
    return lay_on(flank_planes(edge, arc, method.guide.normals(edge, arc)), method.stroke.direction)


def _texture(
    abrasive: Abrasive, lay_deg: FloatArray, beta_deg: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Correlation length and rms height (S,) of the edge line [µm]."""
    across, along = edge_line.scratch_lengths_um(abrasive.scratch_spacing_um)
    length = edge_line.correlation_length_um(lay_deg, l_perp_um=across, l_par_um=along)
    return length, edge_line.edge_rq_um(beta_deg, abrasive.ra_um * RQ_PER_RA)


def _drawn(
    arc_um: FloatArray,
    length_um: FloatArray,
    shown_um: FloatArray,
    min_wavelength_um: float,
    rng: np.random.Generator,
) -> EdgeProfile:
    """One edge line of rms height `shown_um`, its short waves cut; see `_WHITE_BELOW`."""
    drawn = np.maximum(length_um, min_wavelength_um * _WHITE_BELOW)
    height = shown_um / edge_line.visible_rq_um(1.0, drawn, min_wavelength_um=min_wavelength_um)
    return realise(arc_um, drawn, height, rng=rng, min_wavelength_um=min_wavelength_um)


def _rough(profile: EdgeProfile, ra_um: float) -> Roughness:
    """Roughness with the cut-off for the expected Ra, or unfiltered if two cut-offs do not fit."""
    cutoff = standard_cutoff_um(ra_um)
    fits = profile.x_um[-1] - profile.x_um[0] >= 2 * cutoff
    return roughness(profile.x_um, profile.z_um, cutoff_um=cutoff if fits else None)


def _range(length_um: FloatArray, shortest_um: float, abrasive: Abrasive) -> tuple[float, float]:
    """Quantiles 0.1 and 0.9 of the mean number of teeth, the scratch spacing lognormal."""
    factor = abrasive.spacing_gsd ** (TENTH * np.array([1.0, -1.0]))
    teeth = edge_line.teeth_per_mm(factor[:, None] * length_um, min_wavelength_um=shortest_um)
    low, high = teeth.mean(axis=1)
    return float(low), float(high)
