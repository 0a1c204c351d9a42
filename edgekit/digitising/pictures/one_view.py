"""An edge from one view of a blade whose face is flat, with what is not known of it carried along.

One picture square to the face gives the edge in its plane. Three things it does not give are stated
and propagated: how the handle stands to the face (pose), where the edge is said to end, and the
internal angle. Where the edge ends matters more than it seems: round a toe the elevation changes
faster than anywhere.
"""

from __future__ import annotations

import dataclasses
import enum
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.digitising.pictures.outlines.blade_outline import Outline
from edgekit.digitising.pictures.outlines.parts import Side, check_side
from edgekit.digitising.pictures.profiles import nearest
from edgekit.digitising.smoothing import SmoothedCurve, smooth_curve
from edgekit.errors import BadArgument, Cannot
from edgekit.evidence_table import value
from edgekit.geometry.curve import Constant, SplineCurve
from edgekit.geometry.edge import Edge, check_angle_deg
from edgekit.geometry.path import CurvePath
from edgekit.geometry.vectors import rotation
from edgekit.record import Record, read_only
from edgekit.units import UM_PER_MM

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "EdgeEnd",
    "Propagated",
    "SeenEdge",
    "ToeRule",
    "edge_from_view",
]

SPACING_MM = 0.05  # between the points that are smoothed: means of half a dozen
SPARE_MM = 0.06  # of outline kept beyond either end, more where the ends are less sure
DRAWS = 12  # of the smoothed line, for what noise does
MIN_MM = 0.5


class ToeRule(enum.Enum):
    """Where an edge is said to end at the toe."""

    APEX = "where half of the toe's turn is done"
    TURN_BEGINS = "where the toe begins to turn"


@dataclass(frozen=True, kw_only=True)
class EdgeEnd:
    """The rule for the end of an edge, and how well that is found.

    Parameters
    ----------
    rule : ToeRule
    short_of_mm : float
        How far before that place the edge ends [mm]; negative beyond it.
    sd_mm : float
        Standard deviation of the place [mm].
    """

    rule: ToeRule = ToeRule.APEX
    short_of_mm: float = 0.0
    sd_mm: float = 0.05

    def __post_init__(self) -> None:
        checks.instance("rule", self.rule, ToeRule, "Give a member of ek.pictures.ToeRule.")
        checks.keep_numbers(
            self,
            short_of_mm=checks.finite("short_of_mm", self.short_of_mm),
            sd_mm=checks.at_least("sd_mm", self.sd_mm, 0.0),
        )


class Propagated(Record):
    """What was read off an edge, with its standard deviation cause by cause.

    Attributes
    ----------
    value : array (...)
        The number or the numbers read off.
    parts : mapping of str to array (...)
        Standard deviation from each cause.
    """

    value: FloatArray
    parts: Mapping[str, FloatArray]

    @property
    def sd(self) -> FloatArray:
        """All causes together, taken as independent."""
        return read_only(np.asarray(np.sqrt(sum(np.square(part) for part in self.parts.values()))))

    @property
    def table(self) -> pd.DataFrame:
        """One row per cause: ``cause, sd`` (the largest along the edge), ``sd_mean``."""
        import pandas as pd

        return pd.DataFrame(
            [
                {"cause": name, "sd": float(np.max(part)), "sd_mean": float(np.mean(part))}
                for name, part in self.parts.items()
            ]
        )


def leant(edge: Edge, axis: tuple[float, float, float], by_deg: float) -> Edge:
    """The edge with its handle turned about an axis of the blade."""
    turn = rotation(axis, np.radians(by_deg))
    return dataclasses.replace(edge, handle_axis=turn @ edge.handle_axis)


def angled(edge: Edge, by_deg: float) -> Edge:
    """The edge with its internal angle changed everywhere."""
    angle = np.radians(np.asarray(edge.nominal_angle_deg + by_deg))
    return dataclasses.replace(edge, internal_angle=Constant(value=angle))


def read_off(measure: Callable[[Edge], ArrayLike], edge: Edge) -> FloatArray:
    """What a function reads off an edge, as finite numbers."""
    if not callable(measure):
        raise BadArgument(
            "measure must be callable",
            measure,
            "Give a function of an edge, such as a lambda.",
            argument="measure",
        )
    try:
        read = measure(edge)
    except (TypeError, AttributeError) as error:
        raise BadArgument(
            f"measure fails on an edge ({error})",
            measure,
            "Give a function of one edge, such as lambda edge: edge.length_mm.",
            argument="measure",
        ) from error
    return checks.frozen_array("what measure reads off", read)


def half_difference(measure: Callable[[Edge], ArrayLike], high: Edge, low: Edge) -> FloatArray:
    """Half of the difference between what is read off two edges."""
    a, b = (read_off(measure, edge) for edge in (high, low))
    if a.shape != b.shape:
        raise BadArgument(
            "measure must give the same count of numbers for every edge",
            (a.shape, b.shape),
            "Read it at a fixed number of stations.",
            argument="measure",
        )
    return np.asarray(np.abs(a - b) / 2)


class SeenEdge(Record):
    """An edge as a picture shows it, in the blade frame, and what is not known of it.

    Attributes
    ----------
    edge : Edge
        x along the mid-line at mid-length, heel to toe, z out of the face.
    pose_sd_deg, internal_angle_sd_deg, end_sd_mm, heel_sd_mm : float
        Standard deviations.
    noise_um : float
        Of the points about the smooth line.
    points_mm : array (N, 3)
        On the smooth line, a twentieth of a millimetre apart, from the heel to the end by the rule.
    """

    edge: Edge
    pose_sd_deg: float
    internal_angle_sd_deg: float
    end_sd_mm: float
    heel_sd_mm: float
    noise_um: float
    points_mm: FloatArray
    _smooth: SmoothedCurve = field(repr=False)
    _ends_mm: tuple[float, float] = field(repr=False)

    def propagate(
        self, measure: Callable[[Edge], ArrayLike], *, rng: checks.Seed | None = None
    ) -> Propagated:
        """What the uncertainty of pose, ends, angle and line does to anything read off the edge.

        Parameters
        ----------
        measure : callable
            From an edge to a number or to an array of fixed size, such as
            ``lambda edge: ek.best_setting(edge).elevation_deg``.
        rng : numpy.random.Generator or a seed of one, optional
            For draws of the line within its noise; default a fixed seed.

        Returns
        -------
        Propagated
            First order in pose, ends and angle; draws for the line.

        Raises
        ------
        BadArgument
            Where `measure` gives no finite numbers, or more of them for one edge than for another.
        """
        source = checks.generator("rng", 0 if rng is None else rng)
        middle = read_off(measure, self.edge)
        parts = {}
        for name, change, sd in self._changes():
            if sd == 0:
                parts[name] = np.zeros_like(middle)
                continue
            parts[name] = half_difference(measure, change(sd), change(-sd))
        drawn = np.stack([read_off(measure, self._drawn(source)) for _ in range(DRAWS)])
        parts["line"] = drawn.std(axis=0, ddof=1)
        return Propagated(value=middle, parts=parts)

    def _changes(self) -> tuple[tuple[str, Callable[[float], Edge], float], ...]:
        start, stop = self._ends_mm
        return (
            (
                "pose about the blade's length",
                lambda d: leant(self.edge, (1, 0, 0), d),
                self.pose_sd_deg,
            ),
            ("pose across the blade", lambda d: leant(self.edge, (0, 1, 0), d), self.pose_sd_deg),
            ("internal angle", lambda d: angled(self.edge, d), self.internal_angle_sd_deg),
            ("end at the toe", lambda d: self._cut(self._smooth, start, stop + d), self.end_sd_mm),
            (
                "end at the heel",
                lambda d: self._cut(self._smooth, start + d, stop),
                self.heel_sd_mm,
            ),
        )

    def _drawn(self, rng: np.random.Generator) -> Edge:
        spline = self._smooth.curve.spline
        wave = self._smooth.factor @ rng.standard_normal((self._smooth.factor.shape[1], 2))
        shift = np.zeros_like(spline.c)
        shift[:, :2] = self.noise_um / UM_PER_MM * wave
        shift[:, :2] += self._smooth.doubt_mm[:, :2] * rng.standard_normal()
        moved = SplineCurve(spline=type(spline)(spline.t, spline.c + shift, spline.k))
        return self._cut(dataclasses.replace(self._smooth, curve=moved), *self._ends_mm)

    def _cut(self, smooth: SmoothedCurve, start: float, stop: float) -> Edge:
        return _on_face(
            smooth, self.edge.nominal_angle_deg, self.edge.handle_axis, self.edge.side, start, stop
        )

    def __repr__(self) -> str:
        return (
            f"edge of {self.edge.length_mm:.3f} mm, noise {self.noise_um:.1f} µm; not known: pose "
            f"{self.pose_sd_deg:g}°, internal angle {self.internal_angle_sd_deg:g}°, toe end "
            f"{self.end_sd_mm:g} mm, heel {self.heel_sd_mm:g} mm (standard deviations)"
        )


def edge_from_view(
    line: Outline,
    *,
    side: Side,
    handle_axis: ArrayLike,
    internal_angle_deg: float = value("internal_angle_deg"),
    internal_angle_sd_deg: float = value("trace_angle_sd_deg"),
    pose_sd_deg: float = value("picture_tilt_sd_deg"),
    end: EdgeEnd | None = None,
) -> SeenEdge:
    """The edge of a blade with a planar face, from one outline square to that face.

    Parameters
    ----------
    line : Outline
        With its heel.
    side : Side
    handle_axis : array (3,)
        From handle to working end, in the blade frame: x heel to toe, y to the left, z out of the
        face.
    internal_angle_deg, internal_angle_sd_deg : float
        β and its standard deviation [deg].
    pose_sd_deg : float
        Standard deviation of the handle's direction to the face about x and about y [deg]:
        levelling, and how well the face's tilt to the shank is known.
    end : EdgeEnd, optional
        Where the edge is said to end at the toe; default at the apex, to 0.05 mm.

    Returns
    -------
    SeenEdge

    Raises
    ------
    Cannot
        For a pointed tip, whose end is lost in the blur, or an end outside the outline.

    Examples
    --------
    >>> import edgekit as ek
    >>> P, folder = ek.pictures, "data_demo/pictures"
    >>> board = P.read_picture(f"{folder}/board.png", response=P.SRGB)
    >>> scale = P.calibrate(board, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
    >>> heel = P.EdgeLength(side=P.Side.LEFT, length_mm=6.26)
    >>> blade = P.read_picture(f"{folder}/FH-03-AS1_2026-03-02_a.png", response=P.SRGB)
    >>> line = P.outline(blade, scale, heel=heel)
    >>> seen = P.edge_from_view(line, side=P.Side.LEFT, handle_axis=(0, 0.342, -0.940))
    >>> round(seen.edge.length_mm, 1)
    6.3
    """
    checks.instance("line", line, Outline, "Make one with ek.pictures.outline.")
    check_side(side)
    end = EdgeEnd() if end is None else end
    checks.instance("end", end, EdgeEnd, "Give an EdgeEnd(...), or leave it out.")
    beta = check_angle_deg("internal_angle_deg", internal_angle_deg)
    beta_sd = checks.at_least("internal_angle_sd_deg", internal_angle_sd_deg, 0.0)
    pose_sd = checks.between("pose_sd_deg", pose_sd_deg, -1e-9, 20.0)
    axis = checks.frozen_array("handle_axis", handle_axis, (3,))
    if line.parts.pointed and end.short_of_mm < 0.3:
        raise Cannot(
            "the tip is pointed and its end lost in the blur",
            end.short_of_mm,
            "End the edge 0.3 mm or more short of the tip.",
        )
    smooth, ends = _smooth_line(line, side, end)
    steel = -1 if side is Side.LEFT else 1  # f x t points left when going from heel to toe
    edge = _on_face(smooth, beta, axis, steel, *ends)
    count = int(edge.length_mm / SPACING_MM) + 2
    return SeenEdge(
        edge=edge,
        pose_sd_deg=pose_sd,
        internal_angle_sd_deg=beta_sd,
        end_sd_mm=end.sd_mm,
        heel_sd_mm=line.parts.heel_sd_mm,
        noise_um=smooth.noise_um * np.sqrt(2),
        points_mm=edge.frame(edge.stations(count), order=0).position,
        _smooth=smooth,
        _ends_mm=ends,
    )


def _smooth_line(
    line: Outline, side: Side, end: EdgeEnd
) -> tuple[SmoothedCurve, tuple[float, float]]:
    """One side of an outline, smoothed in the blade frame, and its two ends along it [mm]."""
    points, arc, heel, stop = _points(line, side, end)
    centre, turn = _blade_frame(line)
    points = (points - centre) @ turn.T
    smooth = smooth_curve(np.column_stack([points, np.zeros(len(points))]))
    fine = np.linspace(*smooth.curve.domain, 4000)
    run = smooth.curve.derivatives(fine, 0)[0]
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(run, axis=0), axis=1))])
    share = run[-1] / (arc[-1] - arc[0])
    return smooth, (float((heel - arc[0]) * share), float((stop - arc[0]) * share))


def _points(line: Outline, side: Side, end: EdgeEnd) -> tuple[FloatArray, FloatArray, float, float]:
    """Points a twentieth of a millimetre apart, their arc, and that of heel and toe [mm]."""
    left = side is Side.LEFT
    arc = line.arc_mm if left else line.arc_mm[-1] - line.arc_mm[::-1]
    xy = line.points_mm if left else line.points_mm[::-1]
    parts = line.parts
    turn = parts.cap[0] if left else parts.cap[1]
    marks = [int(parts.side(side)[0]), parts.toe if end.rule is ToeRule.APEX else turn]
    if not left:
        marks = [parts.count - 1 - k for k in marks]
    heel, stop = (float(arc[k]) for k in marks)
    stop -= end.short_of_mm
    low = heel - SPARE_MM - 2 * parts.heel_sd_mm
    high = stop + SPARE_MM + 2 * end.sd_mm
    low, high = max(low, arc[0]), min(high, arc[-1])
    if not (stop - heel > MIN_MM and stop < high and heel > low):
        raise Cannot(
            "the edge would begin or end outside the outline", (heel, stop), "Check heel and end."
        )
    count = int((high - low) / SPACING_MM)
    rim = np.linspace(low, high, count + 1)
    which = np.digitize(arc, rim) - 1
    inside = (which >= 0) & (which < count)
    number = np.maximum(np.bincount(which[inside], minlength=count), 1)
    mean = [np.bincount(which[inside], v[inside], count) / number for v in (*xy.T, arc)]
    return np.stack(mean[:2], axis=1), mean[2], heel, stop


def _blade_frame(line: Outline) -> tuple[FloatArray, FloatArray]:
    """Middle of the mid-line (2,) [mm], and rows (2, 2) along it there and to the left.

    The mid-line halves the face from side to side, heel to the toe's apex.
    """
    left = line.points_mm[line.parts.side(Side.LEFT, toe=False)]
    right = line.points_mm[line.parts.side(Side.RIGHT, toe=False)]
    middle = (left + right[nearest(cKDTree(right), left)[1]]) / 2
    middle = np.concatenate([middle[::5], [line.parts.toe_mm]])
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(middle, axis=0), axis=1))])
    t = 2 * run / run[-1] - 1
    fits = [np.polynomial.Polynomial.fit(t, middle[:, k], 4) for k in (0, 1)]
    along = np.array([fit.coef[1] for fit in fits])
    along = along / np.linalg.norm(along)
    return np.array([fit.coef[0] for fit in fits]), np.array([along, [-along[1], along[0]]])


def _on_face(
    smooth: SmoothedCurve, angle_deg: float, axis: FloatArray, side: int, start: float, stop: float
) -> Edge:
    path = CurvePath(
        curve=smooth.curve,
        normals=Constant(value=np.array([0.0, 0.0, 1.0])),
        panels=max(256, 4 * len(smooth.parameter)),
    )
    edge = Edge(
        path=path,
        internal_angle=Constant(value=np.radians(np.asarray(angle_deg, dtype=float))),
        handle_axis=axis,
        side=side,
        roll_reference=np.array([1.0, 0.0, 0.0]),
    )
    return edge.stretch(max(start, 0.0), min(stop, edge.length_mm))
