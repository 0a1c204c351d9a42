"""A blade: its edges, section and width, and the trace that a digitised one was made from."""

from __future__ import annotations

import dataclasses
import enum
from collections.abc import Iterator, Mapping
from dataclasses import field
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from edgekit.checks import FloatArray, array_between, frozen_array, instance, number, worst_row
from edgekit.display import html_table
from edgekit.errors import BadArgument, Cannot
from edgekit.geometry import vectors as vec
from edgekit.geometry.edge import Edge, check_edge
from edgekit.geometry.section import Bevel, RoundBack, Section, Triangular
from edgekit.record import Record, freeze, read_only

__all__ = ["Blade", "BladeClass", "width_between"]

MAX_TAPER = 0.9  # a toe of no thickness is no blade
WIDTH_STATIONS = 801  # of the far edge's polyline: its sagitta stays below 0.1 µm on a 1 mm toe


class BladeClass(enum.Enum):
    """The classes of blade the trade distinguishes."""

    UNIVERSAL = "universal curette"
    AREA_SPECIFIC = "area-specific curette"
    STRAIGHT_SICKLE = "straight sickle"
    CURVED_SICKLE = "curved sickle"
    HOE = "hoe"

    @property
    def tapers(self) -> bool:
        """Whether the width runs out to a point, as on sickles."""
        return self in (BladeClass.STRAIGHT_SICKLE, BladeClass.CURVED_SICKLE)


def check_taper(name: str, taper: float) -> float:
    """A taper of the thickness: 0 for none, below 1 so that a toe is left."""
    remedy = "Give the share of the thickness by which heel and toe differ from mid-length."
    return float(array_between(name, number(name, taper), 0.0, MAX_TAPER, remedy, ends=True))


def section_of(
    kind: BladeClass, width_mm: float, internal_angle_deg: float, thickness_mm: float | None
) -> Section:
    """The cross-section of a class of blade; the thickness of a sickle follows from its width."""
    if kind.tapers or thickness_mm is None:
        return Triangular(width_mm=width_mm, internal_angle_deg=internal_angle_deg)
    form = Bevel if kind is BladeClass.HOE else RoundBack
    return form(width_mm=width_mm, thickness_mm=thickness_mm, internal_angle_deg=internal_angle_deg)


class EdgeTrace(Record):
    """What smoothing made of one digitised edge.

    ``noise_um``: residual standard deviation per coordinate. ``freedom``: effective number of
    coefficients. ``swing_sd_deg``, ``tilt_sd_deg``, ``normal_sd_deg`` (S,): standard deviation, at
    ``arc_mm`` (S,), of the lateral normal's direction: turned along the edge (by the tangent),
    about the edge (by the face and the internal angle), and all together with the pose.
    ``pose_sd_deg``, ``end_sd_mm``, ``internal_angle_sd_deg``: as the file states them.
    """

    noise_um: float
    freedom: float
    arc_mm: FloatArray
    swing_sd_deg: FloatArray
    tilt_sd_deg: FloatArray
    pose_sd_deg: float = 0.0
    end_sd_mm: float = 0.0
    internal_angle_sd_deg: float = 0.0

    @property
    def normal_sd_deg(self) -> FloatArray:
        """Standard deviation (S,) of the lateral normal's direction to the handle."""
        edge = np.hypot(self.swing_sd_deg, self.tilt_sd_deg)
        return read_only(np.hypot(edge, self.pose_sd_deg))

    def summary(self) -> tuple[str, str, str, str]:
        """Noise [µm], and mean swing, mean tilt and worst normal [deg], as text."""
        degrees = (self.swing_sd_deg.mean(), self.tilt_sd_deg.mean(), self.normal_sd_deg.max())
        along, about, worst = (f"{item:.2f}" for item in degrees)
        return f"{self.noise_um:.1f}", along, about, worst


class Trace(Record):
    """A digitised blade: what the file says, its points, and what smoothing made of them."""

    settings: Mapping[str, Any]
    points_mm: Mapping[str, FloatArray]
    edges: Mapping[str, EdgeTrace] = field(default_factory=dict)

    def __repr__(self) -> str:
        return "\n".join(
            f"{name}: noise {noise} µm; normal uncertain by {along}° along the edge and {about}° "
            f"about it, {worst}° at worst (standard deviations)"
            for name, edge in self.edges.items()
            for noise, along, about, worst in [edge.summary()]
        )

    def _repr_html_(self) -> str:
        degrees = ["along the edge, ° (sd)", "about the edge, ° (sd)", "worst, ° (sd)"]
        rows = [[name, *edge.summary()] for name, edge in self.edges.items()]
        return html_table(["edge", "noise, µm", *degrees], rows)


class NoSuchEdge(BadArgument, KeyError):
    """An edge that a blade does not have; also a KeyError, so that mappings work as usual."""


class Edges(Mapping[str, Edge]):
    """The edges of a blade by name; a name it does not have is answered with those it has."""

    def __init__(self, edges: Mapping[str, Edge]) -> None:
        self._edges = dict(edges)

    def __getitem__(self, name: str) -> Edge:
        try:
            return self._edges[name]
        except (KeyError, TypeError):
            names = " or ".join(f"blade.edges[{key!r}]" for key in self._edges)
            what = "this blade has no such edge"
            raise NoSuchEdge(what, name, f"Take {names}.", argument="name") from None

    def __iter__(self) -> Iterator[str]:
        return iter(self._edges)

    def __len__(self) -> int:
        return len(self._edges)

    def __repr__(self) -> str:
        return "{" + ", ".join(f"{key!r}: {edge!r}" for key, edge in self._edges.items()) + "}"


class Blade(Record):
    """A working end.

    Parameters
    ----------
    name : str
        What the owner calls it.
    kind : BladeClass
        Class of blade.
    edges : mapping of str to Edge
        The edges that are used and ground: ``"used"``, or ``"left"`` and ``"right"``, or
        ``"edge"``.
    section : Section
        Cross-section when new.
    thickness_taper : float
        Share by which the thickness rises from mid-length to the heel and falls to the toe, in a
        straight line; a sickle's thickness follows its width instead.
    unused : Edge, optional
        The inner edge of an area-specific curette: it bounds the width and is never ground.
    pattern : mapping, optional
        Name and arguments of the pattern it was made from.
    trace : Trace, optional
        The digitised points it was made from, with their uncertainty.
    """

    name: str
    kind: BladeClass
    edges: Mapping[str, Edge]
    section: Section
    thickness_taper: float = 0.0
    unused: Edge | None = None
    pattern: Mapping[str, str | float] | None = None
    trace: Trace | None = None

    def __post_init__(self) -> None:
        remedy = "Give a dict of Edges, such as {'edge': edge}."
        instance("edges", self.edges, Mapping, remedy)
        for one in (*self.edges.values(), *(() if self.unused is None else (self.unused,))):
            instance("edges of a blade", one, Edge, remedy)
        if not self.edges:
            raise BadArgument("a blade needs an edge", {}, "Give one edge or two.")
        object.__setattr__(
            self, "thickness_taper", check_taper("thickness_taper", self.thickness_taper)
        )
        first, edge = next(iter(self.edges.items()))
        far = self.opposite(first)
        if far is not None:
            check_apart(edge, far)
        object.__setattr__(self, "edges", Edges(self.edges))
        super().__post_init__()

    def opposite(self, name: str) -> Edge | None:
        """The edge across the face from edge `name`; None for a hoe."""
        here = self.edges[name]
        others = [edge for edge in self.edges.values() if edge is not here]
        return others[0] if others else self.unused

    def normal_uncertainty_deg(self, name: str) -> float:
        """How far the direction of edge `name` along itself is uncertain, at worst [deg].

        0 unless the blade was digitised. The stone may rock this much before a gap means anything.
        """
        _ = self.edges[name]
        trace = None if self.trace is None else self.trace.edges.get(name)
        return 0.0 if trace is None else float(trace.swing_sd_deg.max())

    @property
    def internal_angle_deg(self) -> float:
        """Internal angle of the section [deg]."""
        return self.section.internal_angle_deg

    @property
    def length_mm(self) -> float:
        """Extent of the longest edge along the line from heel to toe [mm]."""
        return max(float(np.ptp(_along(edge))) for edge in self.edges.values())

    @cached_property
    def width_mm(self) -> float:
        """Width at the middle of the first edge, as a caliper there reads it [mm]."""
        name, edge = next(iter(self.edges.items()))
        return float(self.width_at(name, np.array([edge.length_mm / 2]))[0])

    @property
    def worn_width_mm(self) -> float:
        """Width already lost against the section when new [mm]; 0 for sickles, which taper."""
        return 0.0 if self.kind.tapers else max(self.section.width_mm - self.width_mm, 0.0)

    @property
    def thickness_mm(self) -> float:
        """Depth of the back below the face at mid-length [mm]; of a sickle at the heel."""
        return self.section.thickness_mm

    def thickness_at(self, name: str, arc_mm: FloatArray) -> FloatArray:
        """Thickness (S,) below edge `name` at arc lengths [mm].

        T (1 + τ (1 − 2x/L)) with the taper τ, a distance x along the blade from its heel; as far as
        a round back allows. A sickle's follows its width.
        """
        return thickness_below(self, name, arc_mm, self.width_at(name, arc_mm))

    def width_at(self, name: str, arc_mm: FloatArray) -> FloatArray:
        """Width (S,) of the face across edge `name` at arc lengths [mm], square to that edge."""
        far = self.opposite(name)
        if far is None:
            return np.full(np.shape(arc_mm), self.section.width_mm)
        return width_between(self.edges[name], far, arc_mm)[0]

    def moved(self, matrix: ArrayLike, offset_mm: ArrayLike = (0.0, 0.0, 0.0)) -> Blade:
        """The blade carried by x -> `matrix` x + `offset_mm`; a reflection swaps left and right."""
        mirrored = np.linalg.det(frozen_array("matrix", matrix, (3, 3))) < 0
        swap = {"left": "right", "right": "left"} if mirrored else {}
        edges = {swap.get(k, k): edge.moved(matrix, offset_mm) for k, edge in self.edges.items()}
        unused = None if self.unused is None else self.unused.moved(matrix, offset_mm)
        edges = dict(sorted(edges.items()))
        return dataclasses.replace(self, edges=edges, unused=unused, pattern=None, trace=None)

    def mirrored(self) -> Blade:
        """The blade mirrored in the plane y = 0: the other end of a mirrored pair."""
        return self.moved(np.diag([1.0, -1.0, 1.0]))

    def __repr__(self) -> str:
        ends = ", ".join(f"{key} {edge.length_mm:.2f} mm" for key, edge in self.edges.items())
        return (
            f"{self.name}: {self.kind.value}, width {self.width_mm:.2f} mm, thickness "
            f"{self.thickness_mm:.2f} mm, internal angle {self.internal_angle_deg:.0f}°, "
            f"edges {ends}"
        )


def thickness_below(
    blade: Blade, name: str, arc_mm: FloatArray, width_mm: FloatArray
) -> FloatArray:
    """Thickness (S,) below an edge where the widths (S,) are known [mm]; see `thickness_at`."""
    edge = blade.edges[name]
    ends = _along(edge)
    along = edge.frame(arc_mm, order=0).position @ edge.roll_reference
    share = 1 + blade.thickness_taper * (1 - 2 * (along - ends.min()) / np.ptp(ends))
    width = np.minimum(np.maximum(width_mm, 1e-6), blade.section.width_mm)
    return blade.section.depth_mm(width, share)


def _along(edge: Edge) -> FloatArray:
    """How far 101 stations lie along the blade [mm]."""
    _, frame = edge.at_stations(101)
    return np.asarray(frame.position @ edge.roll_reference)


def check_apart(edge: Edge, far: Edge) -> None:
    """Refuse two edges of one face that cross or touch before their ends."""
    arc = edge.stations(101)[5:-5]
    width, _ = width_between(edge, far, arc)
    if (station := worst_row(width, 0.0)) is not None:
        raise Cannot(
            "the two edges cross or touch",
            f"at {arc[station]:.3g} mm from the heel",
            "Check which points belong to which edge, and that both run heel to toe.",
        )


def width_between(edge: Edge, far: Edge, arc_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Width of the face from an edge to another, square to the first.

    Parameters
    ----------
    edge, far : Edge
        The edge measured from and the edge across the face.
    arc_mm : array (S,)
        Arc lengths on `edge` [mm].

    Returns
    -------
    width_mm : array (S,)
        Distance along b to the far edge [mm]. Where the line runs out over an end, as round a toe,
        the distance to the nearest place of the far edge. Not above 0 where the edges cross.
    arc_mm : array (S,)
        Where on `far` the line ends [mm].

    Raises
    ------
    BadArgument
        A blade in place of an edge; arc lengths that are no row of numbers.

    Examples
    --------
    >>> import edgekit as ek
    >>> left, right = ek.patterns.universal_curette().edges.values()
    >>> width_mm, _ = ek.width_between(left, right, [2.0])
    >>> width_mm.round(2).tolist()
    [0.85]
    """
    check_edge(edge)
    check_edge(far)
    arc_mm = frozen_array("arc_mm", arc_mm, (None,))
    frame = edge.frame(arc_mm, order=0)
    far_arc, points = _far_points(far)
    at, tangent, inward = frame.position, frame.tangent.value, frame.inward.value
    before = tangent @ points.T <= (tangent * at).sum(axis=1)[:, None]
    row, j = np.nonzero(before[:, :-1] != before[:, 1:])
    step = points[j + 1] - points[j]
    from_there = points[j] - at[row]
    share = -(from_there * tangent[row]).sum(axis=1) / (step * tangent[row]).sum(axis=1)
    start = (from_there * inward[row]).sum(axis=1)
    nearest = np.lexsort((np.abs(start), row))  # of several places where the line meets the edge
    met, first = np.unique(row[nearest], return_index=True)
    one = nearest[first]
    width, where = np.empty((2, len(at)))
    width[met] = start[one] + share[one] * (step[one] * inward[met]).sum(axis=1)
    where[met] = far_arc[j[one]] + share[one] * (far_arc[1] - far_arc[0])
    for out in np.setdiff1d(np.arange(len(at)), met):
        apart = vec.norm(points - at[out])
        end = int(np.argmin(apart))
        width[out], where[out] = apart[end], far_arc[end]
    return width, where


@lru_cache(maxsize=32)
def _far_points(far: Edge) -> tuple[FloatArray, FloatArray]:
    """Arc lengths (N,) and points (N, 3) of the edge that widths are read to."""
    arc = far.stations(WIDTH_STATIONS)
    return freeze(arc), freeze(far.frame(arc, order=0).position)
