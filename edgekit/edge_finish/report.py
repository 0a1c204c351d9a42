"""The finish of an edge under a method: lay, teeth, roughness, and one edge line drawn at random.

A facet's scratches of rms height Rq, with correlation lengths l⊥ across and l∥ along the lay, are cut by
the other surface along a line: the edge line has rms height Rq/sin β in that surface and the
correlation length 1/l² = sin²ψ/l⊥² + cos²ψ/l∥² at lay ψ. Everything that a picture shows is
band-limited to a stated magnification.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from edgekit.checks import FloatArray, count, generator, positive
from edgekit.edge_finish.edge_line import (
    correlation_length_um,
    edge_rq_um,
    min_visible_um,
    scratch_lengths_um,
    teeth_per_mm,
    visible_rq_um,
)
from edgekit.edge_finish.edge_profile import EdgeProfile, realise
from edgekit.edge_finish.texture import Roughness, roughness
from edgekit.errors import EdgekitError
from edgekit.evidence_table import entry, value
from edgekit.geometry.edge import Edge
from edgekit.method.abrasive import Abrasive
from edgekit.method.lay import Lay, StrokeDirection, face_planes, flank_planes, lay_on
from edgekit.method.method import Method, Target
from edgekit.method.wire_edge import WireEdgeFinding, wire_edge

__all__ = ["Finish", "finish", "standard_cutoff_um"]

UM_PER_MM = 1000.0
FINISH_STATIONS = 400
# A Gaussian surface: Rq / Ra.
_RQ_PER_RA = math.sqrt(math.pi / 2)
# Below this share of the shortest wave kept, a correlation length only whitens the band; drawing a longer
# one with the band's own height loses 0.5 % of its teeth and is several times quicker.
_WHITE_BELOW = 1 / 16
# ISO 4288, from memory: Ra up to which a cut-off serves [µm].
_CUTOFFS = ((0.02, 80.0), (0.1, 250.0), (2.0, 800.0), (10.0, 2500.0))
_MAX_CUTOFF = 8000.0
_TENTH = 1.2816  # standard normal deviate with a tenth above it


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


@dataclass(frozen=True, kw_only=True, eq=False)
class Finish:
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
    min_wavelength_um : float
        Shortest wave that the magnification shows.
    magnification : float
    local_teeth_per_mm : array (S,)
        Teeth in a millimetre by Rice's formula, waves that do not show left out.
    teeth_per_mm : float
        Mean of that along the edge.
    teeth_range_per_mm : tuple of float
        Tenth and nine-tenth quantile of the mean, from the spreads of Ra and scratch width.
    profile : EdgeProfile
        One edge line drawn at random, ``x_um, z_um``, as the magnification shows it.
    roughness : Roughness
        Of that line, over the standard's lengths where the edge is long enough; `lengths` says.
    wire_edge : WireEdgeFinding
        What can be said of one.
    """

    abrasive: Abrasive
    stroke: StrokeDirection
    lay: Lay
    length_um: FloatArray
    rq_um: FloatArray
    internal_angle_deg: float
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

        Waves longer than `conforming_um` (``conforming_wave_um`` of the evidence table, assumed) are
        pressed flat by the load and are no teeth at work: Rq √(1 − erf(π l/λ)).
        """
        wave = value("conforming_wave_um") if conforming_um is None else conforming_um
        follows = visible_rq_um(
            self.rq_um, self.length_um, min_wavelength_um=positive("wave", wave)
        )
        return float(np.sqrt(np.mean(np.maximum(self.rq_um**2 - follows**2, 0.0))))

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What the numbers rest on."""
        low, high = self.teeth_range_per_mm
        return (
            (
                f"Ra across the lay {self.abrasive.ra_um:.2g} µm ({entry('ra_per_grain').status.value}: "
                f"{entry('ra_per_grain').source})"
            ),
            (
                f"scratch width {entry('scratch_width_per_ra').value:g} Ra "
                f"({entry('scratch_width_per_ra').status.value}), scratches "
                f"{entry('lay_aspect').value:g} times as long as wide "
                f"({entry('lay_aspect').status.value})"
            ),
            (
                f"teeth {self.teeth_per_mm:.3g} per mm, 80 % range {low:.3g} to {high:.3g}, waves below "
                f"{self.min_wavelength_um:.3g} µm not shown at {self.magnification:g} x"
            ),
            f"roughness of the edge line: {self.roughness.lengths}",
            str(self.wire_edge),
        )

    def _repr_html_(self) -> str:
        from html import escape

        items = "".join(f"<li>{escape(line)}</li>" for line in self.assumptions)
        off = self.lay.off_edge_deg
        return (
            f"<b>{escape(self.abrasive.name)}</b>, {escape(str(self.stroke))}: lay {off.min():.0f}° "
            f"to {off.max():.0f}° off the edge, {self.teeth_per_mm:.3g} teeth per mm, edge line "
            f"Ra {self.roughness.ra_um:.2g} µm<ul>{items}</ul>"
        )


def finish(
    edge: Edge,
    method: Method,
    *,
    rng: np.random.Generator,
    magnification: float = value("report_magnification"),
    stations: int = FINISH_STATIONS,
) -> Finish:
    """What a method's stone and stroke leave on an edge.

    Parameters
    ----------
    edge : Edge
    method : Method
        Its abrasive, stroke, guide and target are used.
    rng : numpy.random.Generator
        Source of the one edge line that is drawn.
    magnification : float
        Magnification of the picture; shorter waves than it shows are left out of teeth, profile and
        roughness.
    stations : int
        Equally spaced, both ends included.

    Returns
    -------
    Finish

    Raises
    ------
    EdgekitError
        For anything but a method and a generator, or a magnification not above 0.

    Notes
    -----
    Model: lay, amplitude and counts. Evidence: Ra by grain, scratch width and length, all weak and
    with their spread; nobody has measured them for a hand-held stone on a hardened blade.

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
    if not isinstance(method, Method):
        raise EdgekitError("finish needs a Method", method, "Make one with edgekit.methods.")
    generator("rng", rng)
    shortest = float(min_visible_um(magnification))
    arc = edge.stations(count("stations", stations, 2))
    if method.target is Target.FACE:
        planes = face_planes(edge, arc)
    else:
        planes = flank_planes(edge, arc, method.guide.normals(edge, arc))
    scratches = lay_on(planes, method.stroke.direction)
    beta = np.degrees(edge.frame(arc, order=0).angle.value) + np.zeros(len(arc))
    ra = method.abrasive.ra_um
    across, along = scratch_lengths_um(ra)
    length = correlation_length_um(scratches.lay_deg, l_perp_um=across, l_par_um=along)
    rq = edge_rq_um(beta, ra * _RQ_PER_RA)
    shown = visible_rq_um(rq, length, min_wavelength_um=shortest)
    profile = _drawn(arc * UM_PER_MM, length, shown, shortest, rng)
    teeth = teeth_per_mm(length, min_wavelength_um=shortest)
    return Finish(
        abrasive=method.abrasive,
        stroke=method.stroke.direction,
        lay=scratches,
        length_um=length,
        rq_um=rq,
        internal_angle_deg=float(beta.mean()),
        min_wavelength_um=shortest,
        magnification=float(magnification),
        local_teeth_per_mm=teeth,
        teeth_per_mm=float(teeth.mean()),
        teeth_range_per_mm=_range(length, shortest, method.abrasive),
        profile=profile,
        roughness=_rough(profile, float(shown.mean()) / _RQ_PER_RA),
        wire_edge=wire_edge(method.stroke.direction.sense),
    )


def _drawn(
    arc_um: FloatArray,
    length_um: FloatArray,
    shown_um: FloatArray,
    min_wavelength_um: float,
    rng: np.random.Generator,
) -> EdgeProfile:
    """One edge line of rms height `shown_um`, its short waves cut; see `_WHITE_BELOW`."""
    drawn = np.maximum(length_um, min_wavelength_um * _WHITE_BELOW)
    height = shown_um / visible_rq_um(1.0, drawn, min_wavelength_um=min_wavelength_um)
    return realise(arc_um, drawn, height, rng=rng, min_wavelength_um=min_wavelength_um)


def _rough(profile: EdgeProfile, ra_um: float) -> Roughness:
    """Roughness with the cut-off for the Ra expected, or of the whole line where two do not fit."""
    cutoff = standard_cutoff_um(ra_um)
    if profile.x_um[-1] - profile.x_um[0] < 2 * cutoff:
        return roughness(profile.x_um, profile.z_um)
    return roughness(profile.x_um, profile.z_um, cutoff_um=cutoff)


def _range(
    length_um: FloatArray, min_wavelength_um: float, abrasive: Abrasive
) -> tuple[float, float]:
    """Quantiles 0.1 and 0.9 of the mean number of teeth, Ra and scratch width lognormal."""
    spread = math.hypot(
        math.log(abrasive.ra_per_grain.gsd), math.log(entry("scratch_width_per_ra").gsd)
    )
    factor = np.exp(_TENTH * spread * np.array([1.0, -1.0]))
    low, high = teeth_per_mm(factor[:, None] * length_um, min_wavelength_um=min_wavelength_um).mean(
        axis=1
    )
    return float(low), float(high)
