"""Blades of the six classes from a few numbers.

Each pattern sits in the blade frame: x along the mid-line from heel to toe, tangent to it at
mid-length; z the face normal there. Defaults are entries of the evidence table: published where a
source exists, otherwise assumed. An infinite radius means straight.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from edgekit.checks import between, finite, keep_numbers, number, positive
from edgekit.errors import BadArgument
from edgekit.evidence_table import value
from edgekit.geometry.blade import Blade, BladeClass, section_of
from edgekit.geometry.edge import Edge, fixed_angle
from edgekit.geometry.path import BentArcs
from edgekit.geometry.vectors import rotation
from edgekit.lazy import shown
from edgekit.record import Record

__all__ = [
    "area_specific_curette",
    "curved_sickle",
    "half_length_curette",
    "hoe",
    "straight_sickle",
    "universal_curette",
]

__dir__ = shown(__all__)


def universal_curette(
    *,
    name: str = "universal curette",
    width_mm: float = value("width_mm"),
    length_mm: float = value("length_mm"),
    thickness_mm: float = value("thickness_mm"),
    thickness_taper: float = value("thickness_taper"),
    internal_angle_deg: float = value("internal_angle_deg"),
    face_tilt_deg: float = 0.0,
    plan_radius_mm: float = value("universal_plan_radius_mm"),
    bow_radius_mm: float = math.inf,
    shank_bend_deg: float = 0.0,
) -> Blade:
    """Two nearly parallel edges and a round toe; the face square to the terminal shank.

    Parameters
    ----------
    name : str
        What the owner calls it.
    width_mm, length_mm, thickness_mm : float
        Width at mid-length, length heel to toe, thickness at mid-length [mm].
    thickness_taper : float
        Share by which the thickness rises to the heel and falls to the toe, 0 to 0.9.
    internal_angle_deg : float
        β [deg].
    face_tilt_deg : float
        Turn of the handle axis about x, from square to the face [deg].
    plan_radius_mm : float
        Radius of each side in the face; both sides bulge outward.
    bow_radius_mm : float
        Radius of the bow along the blade; positive lifts heel and toe.
    shank_bend_deg : float
        Second turn of the handle axis, about y [deg].

    Returns
    -------
    Blade
        Edges ``"left"`` (y > 0) and ``"right"``, each from the heel round half the toe.

    Raises
    ------
    BadArgument
        A number outside its range.
    EdgekitError
        Numbers that make no blade, such as a width that the plan's curve cannot hold.

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.patterns.universal_curette(width_mm=0.8)
    >>> round(blade.width_mm, 2), sorted(blade.edges)
    (0.8, ['left', 'right'])
    """
    return _blade(BladeClass.UNIVERSAL, **locals())


def area_specific_curette(
    *,
    name: str = "area-specific curette",
    width_mm: float = value("width_mm"),
    length_mm: float = value("length_mm"),
    thickness_mm: float = value("thickness_mm"),
    thickness_taper: float = value("thickness_taper"),
    internal_angle_deg: float = value("internal_angle_deg"),
    face_tilt_deg: float = value("face_tilt_deg"),
    plan_radius_mm: float = value("plan_radius_mm"),
    bow_radius_mm: float = value("bow_radius_mm"),
    shank_bend_deg: float = 0.0,
) -> Blade:
    """One used edge, outer, longer and convex, on a face tilted to the terminal shank (Gr-type).

    Parameters
    ----------
    name : str
        What the owner calls it.
    width_mm, length_mm, thickness_mm : float
        Width, length along the mid-line, thickness at mid-length [mm].
    thickness_taper : float
        As in `universal_curette`.
    internal_angle_deg : float
        β [deg].
    face_tilt_deg : float
        Turn of the handle axis about x that makes the used edge the lower, farther one [deg]:
        90° less the angle between face and terminal shank.
    plan_radius_mm : float
        Radius of the used edge in the face; the unused edge is concentric with it.
    bow_radius_mm, shank_bend_deg : float
        As in `universal_curette`.

    Returns
    -------
    Blade
        Edge ``"used"``, along the outer side and round half the toe; `unused` bounds the width.

    Raises
    ------
    BadArgument
        A number outside its range.
    EdgekitError
        Numbers that make no blade, such as a width that the plan's curve cannot hold.

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.area_specific_curette(bow_radius_mm=float("inf")).edges["used"]
    >>> round(float(ek.orient(edge.stretch(0, 5.5)).elevation_deg.max()), 1)
    35.0
    """
    return _blade(BladeClass.AREA_SPECIFIC, **locals())


def half_length_curette(
    *,
    name: str = "half-length curette",
    width_mm: float = value("width_mm"),
    length_mm: float = value("length_mm") * value("half_length_ratio"),
    thickness_mm: float = value("thickness_mm"),
    thickness_taper: float = value("thickness_taper"),
    internal_angle_deg: float = value("internal_angle_deg"),
    face_tilt_deg: float = value("face_tilt_deg"),
    plan_radius_mm: float = value("plan_radius_mm"),
    bow_radius_mm: float = value("bow_radius_mm"),
    shank_bend_deg: float = 0.0,
) -> Blade:
    """An area-specific curette of half the length.

    Parameters
    ----------
    name : str
        What the owner calls it.
    width_mm, length_mm, thickness_mm : float
        As of `area_specific_curette`; the length is half of its.
    thickness_taper : float
        As of `area_specific_curette`.
    internal_angle_deg, face_tilt_deg : float
        As of `area_specific_curette`.
    plan_radius_mm, bow_radius_mm, shank_bend_deg : float
        As of `area_specific_curette`.

    Returns
    -------
    Blade

    Raises
    ------
    BadArgument
        A number outside its range.
    EdgekitError
        Numbers that make no blade, such as a width that the plan's curve cannot hold.

    Examples
    --------
    >>> import edgekit as ek
    >>> half, full = ek.patterns.half_length_curette(), ek.patterns.area_specific_curette()
    >>> bool(half.length_mm < 0.6 * full.length_mm)
    True
    """
    return _blade(BladeClass.AREA_SPECIFIC, **locals())


def straight_sickle(
    *,
    name: str = "straight sickle",
    width_mm: float = value("sickle_width_mm"),
    length_mm: float = value("sickle_length_mm"),
    internal_angle_deg: float = value("sickle_internal_angle_deg"),
    face_tilt_deg: float = 0.0,
    plan_radius_mm: float = math.inf,
    bow_radius_mm: float = math.inf,
    shank_bend_deg: float = 0.0,
) -> Blade:
    """Two edges that run from the heel to a pointed tip, with a triangular section.

    Parameters
    ----------
    name : str
        What the owner calls it.
    width_mm, length_mm : float
        Width at the heel and length from heel to tip [mm]. Thickness follows: (w/2) tanβ.
    internal_angle_deg, face_tilt_deg, bow_radius_mm, shank_bend_deg : float
        As in `universal_curette`.
    plan_radius_mm : float
        Radius of each edge in the face, bulging outward.

    Returns
    -------
    Blade

    Raises
    ------
    BadArgument
        A number outside its range.
    EdgekitError
        Numbers that make no blade, such as a width that the plan's curve cannot hold.

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.patterns.straight_sickle()
    >>> bool(abs(blade.thickness_mm - 0.4 * 3.7320508) < 1e-6)
    True
    """
    return _blade(BladeClass.STRAIGHT_SICKLE, **locals())


def curved_sickle(
    *,
    name: str = "curved sickle",
    width_mm: float = value("sickle_width_mm"),
    length_mm: float = value("sickle_length_mm"),
    internal_angle_deg: float = value("sickle_internal_angle_deg"),
    face_tilt_deg: float = 0.0,
    plan_radius_mm: float = value("sickle_plan_radius_mm"),
    bow_radius_mm: float = value("sickle_bow_radius_mm"),
    shank_bend_deg: float = 0.0,
) -> Blade:
    """A sickle whose face is bowed along its length and whose edges bulge.

    Parameters
    ----------
    name : str
        What the owner calls it.
    width_mm, length_mm : float
        As of `straight_sickle`.
    internal_angle_deg, face_tilt_deg : float
        As of `straight_sickle`.
    plan_radius_mm, bow_radius_mm : float
        Radius of the edges in plan, and of the face's rise towards the tip [mm].
    shank_bend_deg : float
        As of `straight_sickle`.

    Returns
    -------
    Blade

    Raises
    ------
    BadArgument
        A number outside its range.
    EdgekitError
        Numbers that make no blade, such as a width that the plan's curve cannot hold.

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.curved_sickle().edges["left"]
    >>> bool(ek.best_setting(edge).worst_error_deg > 0.1)
    True
    """
    return _blade(BladeClass.CURVED_SICKLE, **locals())


def hoe(
    *,
    name: str = "hoe",
    width_mm: float = value("hoe_width_mm"),
    length_mm: float = value("hoe_length_mm"),
    thickness_mm: float = value("hoe_thickness_mm"),
    internal_angle_deg: float = value("hoe_bevel_deg"),
    face_tilt_deg: float = value("hoe_shank_angle_deg") - 90.0,
    shank_bend_deg: float = 0.0,
) -> Blade:
    """One straight edge with a bevel through the whole thickness.

    Parameters
    ----------
    name : str
        What the owner calls it.
    width_mm : float
        How far the blade reaches back from the edge to the shank [mm]: what grinding uses up.
    length_mm, thickness_mm : float
        Length of the edge and thickness of the blade [mm].
    internal_angle_deg, face_tilt_deg, shank_bend_deg : float
        As in `universal_curette`; the tilt is the blade's angle to the shank less 90°.

    Returns
    -------
    Blade

    Raises
    ------
    BadArgument
        A number outside its range.
    EdgekitError
        Numbers that make no blade, such as a width that the plan's curve cannot hold.

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.hoe().edges["edge"]
    >>> round(ek.best_setting(edge).elevation_deg, 6)
    55.0
    """
    return _blade(BladeClass.HOE, **locals())


class Pattern(Record):
    """What a blade of a pattern is made from: its name, its class, and every argument as a number.

    ``arguments`` has the keywords of the public function of that class, but for ``name``.
    """

    name: str
    kind: BladeClass
    arguments: Mapping[str, float]

    def __post_init__(self) -> None:
        numbers = {key: argument(key, item) for key, item in self.arguments.items()}
        keep_numbers(self, name=str(self.name), arguments=numbers)
        super().__post_init__()

    def blade(self) -> Blade:
        """The blade; it keeps the public function's name and all its arguments, as a file does."""
        size = self.arguments
        function = self.kind.value.replace(" ", "_").replace("-", "_")
        positive("length_mm", size["length_mm"])
        beta, thickness = size["internal_angle_deg"], size.get("thickness_mm")
        section = section_of(self.kind, size["width_mm"], beta, thickness)
        edges = _EDGES[self.kind](self)
        unused = edges.pop("unused", None)
        return Blade(
            name=self.name,
            kind=self.kind,
            edges=edges,
            unused=unused,
            section=section,
            thickness_taper=size.get("thickness_taper", 0.0),
            pattern={"pattern": function, "name": self.name, **size},
        )

    def curvature(self, key: str, *, signed: bool = False) -> float:
        """1 / radius, 0 for an infinite one."""
        radius = self.arguments.get(key, math.inf)
        if math.isinf(radius):
            return 0.0
        size = abs(radius) if signed else radius
        between(key, size, 0.5, math.inf, "Give a radius in millimetres, inf for straight.")
        return 1 / radius

    def arcs(
        self, start_mm: Sequence[float], heading_rad: float, *arcs: tuple[float, float]
    ) -> BentArcs:
        """A path of arcs, given by length and curvature, on the bowed face."""
        return BentArcs(
            start_mm=np.array(start_mm),
            heading_rad=heading_rad,
            lengths_mm=np.array([length for length, _ in arcs]),
            curvatures_per_mm=np.array([curvature for _, curvature in arcs]),
            bow_per_mm=self.curvature("bow_radius_mm", signed=True),
        )

    def edge(self, path: BentArcs, *, side: int = -1, mirror: bool = False) -> Edge:
        """An edge on a path, or the mirror image of one, on the blade's handle.

        The handle axis is -z, turned by the face's tilt about x, then by the shank's bend about y.
        """
        tilt = between("face_tilt_deg", self.arguments["face_tilt_deg"], -80.0, 80.0)
        bend = between("shank_bend_deg", self.arguments["shank_bend_deg"], -80.0, 80.0)
        turn = rotation((0, 1, 0), math.radians(bend)) @ rotation((1, 0, 0), math.radians(tilt))
        axis = turn @ np.array([0.0, 0.0, -1.0])
        edge = Edge(
            path=path,
            internal_angle=fixed_angle(self.arguments["internal_angle_deg"]),
            handle_axis=axis * np.array([1.0, -1.0, 1.0]) if mirror else axis,
            side=side,
            roll_reference=np.array([1.0, 0.0, 0.0]),
        )
        return edge.mirrored() if mirror else edge


def argument(key: str, item: object) -> float:
    """An argument of a pattern: a finite number, or an infinite radius."""
    size = number(key, item, "Give a finite number.")
    return size if size == math.inf and key.endswith("_radius_mm") else finite(key, size)


def _blade(kind: BladeClass, *, name: str, **arguments: float) -> Blade:
    return Pattern(name=name, kind=kind, arguments=arguments).blade()


def _universal(of: Pattern) -> dict[str, Edge]:
    half, long = of.arguments["width_mm"] / 2, of.arguments["length_mm"] / 2
    kappa = of.curvature("plan_radius_mm")
    # The toe's circle is tangent to both sides and ends at x = length/2.
    toe = (2 * half - kappa * (half**2 + long**2)) / (2 * (1 - kappa * long))
    if not (kappa * long < 1 and 0 < toe < long):
        raise BadArgument(
            f"plan_radius_mm must exceed {(half**2 + long**2) / (2 * half):.3g} for this width "
            "and length",
            of.arguments["plan_radius_mm"],
            "Widen the blade, shorten it, or straighten its sides.",
            argument="plan_radius_mm",
        )
    turn = math.asin(kappa * (long - toe) / (1 - kappa * toe))
    to_toe = turn / kappa if kappa else long - toe
    heel = math.asin(kappa * long)
    to_heel = heel / kappa if kappa else long
    drop = (1 - math.cos(heel)) / kappa if kappa else 0.0
    round_toe = (toe * (math.pi / 2 - turn), -1 / toe)
    path = of.arcs((-long, half - drop), heel, (to_heel + to_toe, -kappa), round_toe)
    return {"left": of.edge(path), "right": of.edge(path, mirror=True)}


def _area_specific(of: Pattern) -> dict[str, Edge]:
    width, length = of.arguments["width_mm"], of.arguments["length_mm"]
    half = width / 2
    larger = "Give a radius larger than the width, in millimetres."
    radius = of.arguments["plan_radius_mm"]
    between("plan_radius_mm", radius, width * 1.05, math.inf, larger)
    middle = radius - half
    turn = (length - half) / middle
    if not (length > width and turn < math.pi):
        raise BadArgument(
            "length_mm must exceed the width and turn the blade by less than half a circle",
            length,
            "Check length and plan radius against each other.",
            argument="length_mm",
        )
    heading = length / 2 / middle

    def side(r: float, *toe: tuple[float, float]) -> BentArcs:
        start = (-r * math.sin(heading), r * math.cos(heading) - middle)
        return of.arcs(start, heading, (r * turn, -1 / r), *toe)

    used = side(radius, (half * math.pi / 2, -1 / half))
    return {"used": of.edge(used), "unused": of.edge(side(radius - width), side=1)}


def _sickle(of: Pattern) -> dict[str, Edge]:
    half, length = of.arguments["width_mm"] / 2, of.arguments["length_mm"]
    kappa = of.curvature("plan_radius_mm")
    chord, lean = math.hypot(length, half), math.atan2(half, length)
    if not kappa * chord < 1:
        raise BadArgument(
            f"plan_radius_mm must exceed the edge's chord of {chord:.3g} mm",
            of.arguments["plan_radius_mm"],
            "Straighten the edges or shorten the blade.",
            argument="plan_radius_mm",
        )
    bulge = math.asin(kappa * chord / 2)
    arc = (2 * bulge / kappa if kappa else chord, -kappa)
    path = of.arcs((-length / 2, half), bulge - lean, arc)
    return {"left": of.edge(path), "right": of.edge(path, mirror=True)}


def _hoe(of: Pattern) -> dict[str, Edge]:
    length = of.arguments["length_mm"]
    return {"edge": of.edge(of.arcs((-length / 2, 0.0), 0.0, (length, 0.0)))}


_EDGES: dict[BladeClass, Callable[[Pattern], dict[str, Edge]]] = {
    BladeClass.UNIVERSAL: _universal,
    BladeClass.AREA_SPECIFIC: _area_specific,
    BladeClass.STRAIGHT_SICKLE: _sickle,
    BladeClass.CURVED_SICKLE: _sickle,
    BladeClass.HOE: _hoe,
}
