"""Widths from an outline, with the budget of one width, and how a blade lay under the lens."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.digitising.pictures.budget import Budget, Input, Shape
from edgekit.digitising.pictures.outlines.blade_outline import Outline
from edgekit.digitising.pictures.outlines.parts import Side
from edgekit.digitising.pictures.profiles import nearest
from edgekit.display import html_text
from edgekit.errors import Cannot
from edgekit.evidence_table import entry, value
from edgekit.geometry.edge import check_angle_deg
from edgekit.record import Record
from edgekit.units import UM_PER_MM

__all__ = ["Apex", "Mount", "Width", "width"]

POINTS_AS_ONE = 1.5  # neighbouring points share noise


@dataclass(frozen=True, kw_only=True)
class Mount:
    """How well a blade lies in the target's plane, for every picture alike.

    Parameters
    ----------
    distance_mm : float
        From the lens's entrance pupil to the target; a telecentric lens: a very large number.
    tilt_sd_deg : float
        Standard deviation of the face's tilt about each axis, levelled as well as one can [deg].
    height_sd_mm : float
        Of the face's height over the target's plane [mm]. 1 mm is 7 µm of a blade's width at 120
        mm.
    sharpening_known_off : bool
        Whether the camera's own sharpening is known to be off.
    """

    distance_mm: float
    tilt_sd_deg: float = value("picture_tilt_sd_deg")
    height_sd_mm: float = value("picture_height_sd_mm")
    sharpening_known_off: bool = False

    def __post_init__(self) -> None:
        checks.keep_numbers(
            self,
            distance_mm=checks.positive("distance_mm", self.distance_mm),
            tilt_sd_deg=checks.at_least("tilt_sd_deg", self.tilt_sd_deg, 0.0),
            height_sd_mm=checks.at_least("height_sd_mm", self.height_sd_mm, 0.0),
        )


def silhouette_share(internal_angle_deg: float) -> float:
    """How far a rounded apex of radius 1 lies inside the sharp one, as a silhouette shows it.

    The circle that touches face and flank has its centre cot(β/2) inside; a silhouette square to
    the face shows its outermost point, so cot(β/2) - 1 (derived): 0.303 at 75°.
    """
    beta = np.radians(check_angle_deg("internal_angle_deg", internal_angle_deg))
    return float(1 / np.tan(beta / 2) - 1)


def _sharp_sd() -> float:
    """Standard deviation [µm] of the lognormal radius of a sharpened edge."""
    spread = np.log(entry("sharp_radius_um").gsd) ** 2
    return float(value("sharp_radius_um") * np.exp(spread / 2) * np.sqrt(np.expm1(spread)))


@dataclass(frozen=True, kw_only=True)
class Apex:
    """How round an edge is, since a silhouette shows the round and not the edge it was ground to.

    Parameters
    ----------
    internal_angle_deg : float
        β [deg].
    radius_um, sd_um : float
        Radius and its standard deviation [µm]; default a freshly sharpened edge.
    """

    internal_angle_deg: float = value("internal_angle_deg")
    radius_um: float = value("sharp_radius_um")
    sd_um: float = _sharp_sd()

    def __post_init__(self) -> None:
        checks.keep_numbers(
            self,
            internal_angle_deg=check_angle_deg("internal_angle_deg", self.internal_angle_deg),
            radius_um=checks.at_least("radius_um", self.radius_um, 0.0),
            sd_um=checks.at_least("sd_um", self.sd_um, 0.0),
        )


class Width(Record):
    """A width between the edges as if they were sharp, with its budget.

    Attributes
    ----------
    width_mm : float
    arc_mm : float
        Where it was measured, from the heel along the edge [mm].
    budget : Budget
        In µm.
    """

    width_mm: float
    arc_mm: float
    budget: Budget

    @property
    def u_um(self) -> float:
        """Standard uncertainty [µm]."""
        return self.budget.u_um

    def __repr__(self) -> str:
        return (
            f"width {self.width_mm:.4f} mm at {self.arc_mm:.2f} mm from the heel, "
            f"U = {self.budget.expanded_um:.1f} µm (k = 2)"
        )

    def _repr_html_(self) -> str:
        return html_text(repr(self)) + self.budget._repr_html_()


def width(
    line: Outline,
    *,
    side: Side,
    mount: Mount,
    at_mm: float | None = None,
    over_mm: float = 0.5,
    apex: Apex | None = None,
) -> Width:
    """Width of the face from one edge straight across to the other, a mean over a stretch.

    Parameters
    ----------
    line : Outline
        With its heel told.
    side : Side
        The edge measured from.
    mount : Mount
    at_mm : float, optional
        Arc length from the heel [mm]; default the middle of the edge, as a caliper would read it.
    over_mm : float
        Length of the stretch [mm].
    apex : Apex, optional
        Roundness of both edges.

    Returns
    -------
    Width

    Raises
    ------
    Cannot
        For an outline without its heel, or a place without a good stretch of both edges.

    Examples
    --------
    >>> import edgekit as ek
    >>> P, folder = ek.pictures, "data_demo/pictures"
    >>> board = P.read_picture(f"{folder}/board.png", response=P.SRGB)
    >>> scale = P.calibrate(board, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
    >>> heel = P.EdgeLength(side=P.Side.LEFT, length_mm=6.26)
    >>> blade = P.read_picture(f"{folder}/FH-03-AS1_2026-03-02_a.png", response=P.SRGB)
    >>> line = P.outline(blade, scale, heel=heel)
    >>> P.width(line, side=P.Side.LEFT, mount=P.Mount(distance_mm=120))
    width 0.86... mm at 3.13 mm from the heel, U = ... µm (k = 2)
    """
    checks.instance("line", line, Outline, "Make one with ek.pictures.outline.")
    checks.instance("mount", mount, Mount, "Give a Mount(distance_mm=...).")
    apex = Apex() if apex is None else apex
    checks.instance("apex", apex, Apex, "Give an Apex(radius_um=...), or leave it out.")
    own = line.parts.side(side)
    arc = np.abs(line.arc_mm[own] - line.arc_mm[own[0]])
    middle = float(arc[-1] / 2) if at_mm is None else checks.finite("at_mm", at_mm)
    near = own[np.abs(arc - middle) < checks.positive("over_mm", over_mm) / 2]
    near = near[line.quality[near] == 0]
    if len(near) < 10:
        raise Cannot(
            "no good stretch of edge there",
            middle,
            "Choose a place along the edge and a stretch of some tenths of a millimetre.",
        )
    across, noise = _across(line, side, near)
    share = silhouette_share(apex.internal_angle_deg)
    seen_um = UM_PER_MM * float(across.mean())
    return Width(
        width_mm=float(across.mean() + 2 * share * apex.radius_um / UM_PER_MM),
        arc_mm=middle,
        budget=Budget(
            name="width",
            inputs=(*_of_picture(line, noise, mount), *_of_blade(mount, apex)),
            model=partial(_sharp_width_um, seen_um, mount.distance_mm, share),
        ),
    )


def _across(line: Outline, side: Side, near: NDArray[np.intp]) -> tuple[FloatArray, float]:
    """Widths [mm] square to the edge at points, and the noise of their mean [µm]."""
    other = line.parts.side(Side.RIGHT if side is Side.LEFT else Side.LEFT, toe=False)
    far, out = line.points_mm[other], line.normals[other]
    here, normal = line.points_mm[near], line.normals[near]
    tree = cKDTree(far)
    reach = nearest(tree, here)[0]
    for _ in range(6):
        k = nearest(tree, here - reach[:, None] * normal)[1]
        slope = -(normal * out[k]).sum(axis=1)
        if not (slope > 0.2).all():
            raise Cannot(
                "the edges do not face one another there",
                float(slope.min()),
                "Measure further from toe and heel.",
            )
        reach = ((far[k] - here) * out[k]).sum(axis=1) / slope
    noise = np.hypot(line.sd_um[near].mean(), line.sd_um[other[k]].mean())
    return reach, float(noise / np.sqrt(len(near) / POINTS_AS_ONE))


def _of_picture(line: Outline, noise: float, mount: Mount) -> tuple[Input, ...]:
    """What the picture and the target add to a width."""
    scale = line.scale
    sharpening = 0.0 if mount.sharpening_known_off else value("camera_sharpening_um")
    shift = partial(Input, value=0.0, unit="µm")
    share = partial(Input, value=0.0, unit="share", stays=False)
    return (
        shift(name="edge location", sd=noise, basis="measured on the blade"),
        shift(
            name="response curve",
            sd=2 * line.response_um,
            stays=False,
            basis="one-sidedness of the blur, and what the file states",
        ),
        shift(
            name="sharpening in the camera",
            sd=sharpening,
            stays=False,
            basis="assumed, unless known to be off",
        ),
        share(name="target certificate", sd=scale.relative_sd, shape=Shape.RECTANGULAR),
        share(name="fit of the target", sd=scale.fit_sd, basis="measured on the target"),
    )


def _of_blade(mount: Mount, apex: Apex) -> tuple[Input, ...]:
    """What the blade's pose and the roundness of its two edges add to a width."""
    edge = partial(Input, value=apex.radius_um, sd=apex.sd_um, unit="µm")
    return (
        Input(name="face off the target's plane", value=0.0, sd=mount.height_sd_mm, unit="mm"),
        Input(name="roll", value=0.0, sd=mount.tilt_sd_deg, unit="deg"),
        edge(name="roundness of the left edge"),
        edge(name="roundness of the right edge"),
    )


def _sharp_width_um(
    seen_um: float, distance_mm: float, share: float, at: Mapping[str, FloatArray]
) -> FloatArray:
    """The width (N,) [µm] between sharp edges from the width seen and the budget's inputs."""
    length = seen_um * (1 + at["target certificate"] + at["fit of the target"])
    length = length * (1 - at["face off the target's plane"] / distance_mm)
    length = length / np.cos(np.radians(at["roll"]))
    for name in ("edge location", "response curve", "sharpening in the camera"):
        length = length + at[name]
    both = at["roundness of the left edge"] + at["roundness of the right edge"]
    return np.asarray(length + share * both)
