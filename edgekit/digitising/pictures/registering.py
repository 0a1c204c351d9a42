"""One outline laid over another on what has not been ground: the unused edge, the shank.

Gauss-Newton on distances along the normals, with Huber's weights (Huber 1964, Ann Math Stat 35:73),
so that a speck of dust pulls with bounded force. What the datum does not fix stays with its prior
uncertainty and says so in the covariance: a parallel shank fixes no place along itself.

Besides a shift and a turn, two mounts differ a little in height and tilt: lengths along and across
the blade change, and the nearer end of a tilted face is seen larger. The datum shows by how much;
what it cannot show stays with the mount's own uncertainty.
"""

from __future__ import annotations

import enum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from edgekit.checks import FloatArray
from edgekit.digitising.pictures.outlines.blade_outline import Outline
from edgekit.digitising.pictures.outlines.parts import Side
from edgekit.digitising.pictures.profiles import MEDIAN_TO_SD, nearest
from edgekit.digitising.pictures.widths import Mount
from edgekit.errors import Cannot
from edgekit.units import UM_PER_MM

__all__ = ["Datum"]

LEFT_OUT_MM = 0.1  # of the datum beside the heel, where grinding leaves a step
MIN_STRETCH = 1e-7
_REACH_MM = np.array([1.0, 1.0, 3.0, 3.0, 1.0, 3.0, 0.1, 0.03])  # moved by a unit of each number
FARTHEST_MM = 0.2  # that two outlines may stand apart at first
WORST_STRAIN = 3.0  # of the mount's own standard deviations, root mean square
WORST_MM = 0.03  # scatter of a datum about another: above it they are not the same
PRIOR_MM, PRIOR_RAD = 0.05, 0.01  # how well two mounts agree before the datum is looked at
HUBER = 1.5  # scatters: less robust and nearly as good as least squares when nothing is wrong
CORRELATED = 1.5  # neighbouring points share their noise: this number counts as one
PAIRED = 20  # rounds; then pairs of points and weights' scale stay, or they may change for ever
CLOSE_MM = 1e-6
_ROUNDS = 60
_LEAST = 40  # points of a datum


class Datum(enum.Enum):
    """What has not been ground between two pictures.

    A datum with the shank takes the shank's outline to lie in the plane of the face. Above it, tilt
    moves the shank against the edges: 0.1 mm and 1° between two mounts read as 2 µm of loss, 0.5 mm
    as 4 µm (measured on renderings; the budget does not hold it), unless they are refused. The
    unused edge alone is free of it.
    """

    UNUSED_EDGE_AND_SHANK = "unused edge and shank"
    UNUSED_EDGE = "unused edge"
    SHANK = "shank"


class _View(NamedTuple):
    """What the numbers of a registration mean.

    They move points about a centre [mm], along axes (2, 2) along and across the blade, seen from a
    distance [mm] over a point ``aside_mm`` (2,) from the centre.
    """

    centre_mm: FloatArray
    axes: FloatArray
    aside_mm: FloatArray
    distance_mm: float

    def fields(self, arm: FloatArray) -> FloatArray:
        """Displacement (8, N, 2) by a unit of each number, at `arm` (N, 2) from the centre."""
        one, nil = np.ones(len(arm)), np.zeros(len(arm))
        shares = (arm @ self.axes.T).T[:, :, None]
        seen = (arm - self.aside_mm) / self.distance_mm
        return np.stack(
            [
                np.column_stack([one, nil]),
                np.column_stack([nil, one]),
                np.column_stack([-arm[:, 1], arm[:, 0]]),
                *(share * axis for share, axis in zip(shares, self.axes, strict=True)),
                shares[0] * self.axes[1] + shares[1] * self.axes[0],
                *(share * seen for share in shares),
            ]
        )

    def moved(self, points: FloatArray, numbers: FloatArray) -> FloatArray:
        """Points (N, 2) [mm] turned, shifted and deformed."""
        arm = (points - self.centre_mm) @ _turn(numbers[2]).T
        shape = np.tensordot(numbers[3:], self.fields(arm)[3:], 1)
        return np.asarray(self.centre_mm + arm + numbers[:2] + shape)

    def rows(self, arm: FloatArray, normals: FloatArray) -> FloatArray:
        """Displacement (N, 8) along normals by a unit of each number."""
        return np.asarray((self.fields(arm) * normals).sum(axis=2).T)


class Registration(NamedTuple):
    """How the second outline is moved: numbers (8,), about a centre, with what fixes them.

    ``numbers``: shift in x and y [mm], turn [rad], stretch along and across the blade, shear
    between them, tilt along and across it [rad] as perspective shows it. ``view``: where the two
    are looked at from. ``solve`` (8, M): how displacements of the datum's points along their
    normals change the numbers. ``covariance`` (8, 8) from noise alone; ``prior_left`` (8, 8): what
    share of an error of the prior is left; ``residual_um`` robust scatter; ``strain`` how far
    height and tilt had to go, in standard deviations of the mount.
    """

    numbers: FloatArray
    view: _View
    solve: FloatArray
    datum_mm: FloatArray
    datum_normals: FloatArray
    covariance: FloatArray
    prior_left: FloatArray
    residual_um: float
    strain: float

    def move(self, points: FloatArray) -> FloatArray:
        """Points (N, 2) of the second outline in the frame of the first."""
        return self.view.moved(points, self.numbers)

    def rows(self, points: FloatArray, normals: FloatArray) -> FloatArray:
        """How the numbers move points along their normals (N, 8)."""
        return self.view.rows(points - self.view.centre_mm, normals)

    def error_from(
        self, field: FloatArray, at_datum: FloatArray, points: FloatArray, normals: FloatArray
    ) -> FloatArray:
        """Displacement (N,) along normals by `field`, less what `at_datum` shows of it."""
        moved = self.solve @ (at_datum * self.datum_normals).sum(axis=1)
        return np.asarray((field * normals).sum(axis=1) - self.rows(points, normals) @ moved)


def _turn(angle: float) -> FloatArray:
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def datum_points(line: Outline, datum: Datum, used: Side) -> NDArray[np.intp]:
    """Indices of an outline's datum, without the neighbourhood of heel and toe."""
    arc, parts = line.arc_mm, line.parts
    shank = parts.shank
    heels = arc[list(parts.heel or ())]
    shank = shank[(np.abs(arc[shank, None] - heels) > LEFT_OUT_MM).all(axis=1)]
    other = Side.RIGHT if used is Side.LEFT else Side.LEFT
    unused = parts.side(other, toe=False)
    cap = arc[list(parts.cap)]
    edge = np.concatenate([heels, cap])
    unused = unused[(np.abs(arc[unused, None] - edge) > LEFT_OUT_MM).all(axis=1)]
    chosen = {
        Datum.UNUSED_EDGE_AND_SHANK: np.concatenate([unused, shank]),
        Datum.UNUSED_EDGE: unused,
        Datum.SHANK: shank,
    }[datum]
    chosen = np.sort(chosen[line.quality[chosen] == 0])
    if len(chosen) < _LEAST:
        raise Cannot(
            f"the {datum.value} is hardly to be seen",
            len(chosen),
            "Show more of the shank, or take another datum.",
        )
    return chosen


def register(
    first: Outline, second: Outline, datum: Datum, used: Side, mount: Mount
) -> Registration:
    """Lay the second outline over the first."""
    here, there = (datum_points(line, datum, used) for line in (first, second))
    moving = second.points_mm[there]
    centre = moving.mean(axis=0)
    rough = _start(first, second, centre)
    aside = _turn(rough[2]) @ (lens_mm(second) - centre)
    view = _View(centre, blade_axes(first), aside, mount.distance_mm)
    start = np.concatenate([rough, np.zeros(5)])
    laid = _lay(first, here, moving, view, start, _prior(mount))
    pose = (laid.numbers - start)[3:]
    strain = float(np.sqrt(pose @ laid.prior[3:, 3:] @ pose / len(pose)))
    if not strain < WORST_STRAIN:
        raise Cannot(
            "the two pictures differ by far more than height and tilt of the mount explain",
            f"{strain:.0f} times",
            "Check that both show the same blade at one scale; state a larger tilt if it was.",
        )
    return Registration(
        numbers=laid.numbers,
        view=view,
        solve=laid.gain,
        datum_mm=laid.at,
        datum_normals=laid.normals,
        covariance=CORRELATED * laid.scatter**2 * laid.gain @ laid.gain.T,
        prior_left=np.linalg.inv(laid.hessian) @ laid.prior,
        residual_um=UM_PER_MM * laid.scatter,
        strain=strain,
    )


class _Laid(NamedTuple):
    """Where Gauss-Newton came to rest."""

    numbers: FloatArray
    at: FloatArray
    normals: FloatArray
    gain: FloatArray
    hessian: FloatArray
    prior: FloatArray
    scatter: float


def _lay(
    first: Outline,
    here: NDArray[np.intp],
    moving: FloatArray,
    view: _View,
    start: FloatArray,
    prior: FloatArray,
) -> _Laid:
    """Move the second outline until its datum lies on the first's."""
    reference, normals = first.points_mm[here], first.normals[here]
    tree = cKDTree(reference)
    step_mm = 0.75 * float(np.median(np.linalg.norm(np.diff(first.points_mm, axis=0), axis=1)))
    least = np.sqrt(2) * float(np.median(first.sd_um[here])) / UM_PER_MM
    now = start.copy()
    for turn in range(_ROUNDS):
        at = view.moved(moving, now)
        if turn < PAIRED:
            distance, near = nearest(tree, at)
        n, apart = normals[near], at - reference[near]
        left = (apart * n).sum(axis=1)
        if turn < PAIRED:
            beside = np.abs(apart[:, 0] * n[:, 1] - apart[:, 1] * n[:, 0])
            shown = (beside < step_mm) & (distance < FARTHEST_MM)  # by the first outline
            scatter = max(_robust(left), least)
        weight = np.minimum(1.0, HUBER * scatter / np.maximum(np.abs(left), 1e-12)) * shown
        rows = view.rows(at - view.centre_mm - now[:2], n)
        weighted = rows.T * (weight / (scatter**2 * CORRELATED))
        hessian = weighted @ rows + prior
        gain = np.linalg.solve(hessian, weighted)
        step = -gain @ left - np.linalg.solve(hessian, prior @ (now - start))
        now = now + step
        if not np.abs(step * _REACH_MM).max() > CLOSE_MM:
            break
    else:
        raise Cannot(
            "the two outlines cannot be laid over one another",
            float(np.abs(step).max()),
            "Check that both show the same blade, and the datum.",
        )
    _check_agreement(int(shown.sum()), scatter)
    return _Laid(now, at, n, gain, hessian, prior, scatter)


def _check_agreement(points: int, scatter_mm: float) -> None:
    """Refuse two datums of which too little coincides, or not closely enough."""
    if not points > _LEAST or not scatter_mm < WORST_MM:
        raise Cannot(
            "the datum of the two pictures does not agree",
            f"{UM_PER_MM * scatter_mm:.0f} µm",
            "Check that both show the same blade, that the datum was not ground, and the scales.",
        )


def _robust(values: FloatArray) -> float:
    return MEDIAN_TO_SD * float(np.median(np.abs(values - np.median(values))))


def _prior(mount: Mount) -> FloatArray:
    """What is known of the eight numbers before the datum is looked at, as an inverse covariance.

    Two heights make lengths differ by their difference over the distance; two tilts of sd σ by (φ₁²
    - φ₂²)/2 along one axis, which has the standard deviation σ², and by a shear of half the product
    of the two, σ²/√2.
    """
    height = 2 * (mount.height_sd_mm / mount.distance_mm) ** 2
    tilt = np.radians(mount.tilt_sd_deg) ** 4
    stretch = height * np.ones((2, 2)) + (tilt + MIN_STRETCH**2) * np.eye(2)
    shear = 1 / (tilt / 2 + MIN_STRETCH**2)
    lean = 1 / (2 * np.radians(mount.tilt_sd_deg) ** 2 + MIN_STRETCH**2)
    out = np.diag([PRIOR_MM**-2, PRIOR_MM**-2, PRIOR_RAD**-2, 0.0, 0.0, shear, lean, lean])
    out[3:5, 3:5] = np.linalg.inv(stretch)
    return out


def lens_mm(line: Outline) -> FloatArray:
    """The point (2,) [mm] of the target's plane in the middle of the picture."""
    columns, rows = line.picture.size_px
    return line.scale.to_mm(np.array([(columns - 1) / 2, (rows - 1) / 2]))


def blade_axes(line: Outline) -> FloatArray:
    """Rows (2, 2): along the blade from mid-heel to toe, and to the left of it."""
    heel, toe = _axis(line)
    along = (toe - heel) / np.linalg.norm(toe - heel)
    return np.array([along, [-along[1], along[0]]])


def _start(first: Outline, second: Outline, centre: FloatArray) -> FloatArray:
    """A rough shift and turn (3,): the line from mid-heel to toe laid on the other's."""
    ends = [_axis(line) for line in (first, second)]
    angles = [np.arctan2(*(toe - heel)[::-1]) for heel, toe in ends]
    angle = float((angles[0] - angles[1] + np.pi) % (2 * np.pi) - np.pi)
    toe = (ends[1][1] - centre) @ _turn(angle).T + centre
    return np.array([*(ends[0][1] - toe), angle])


def _axis(line: Outline) -> tuple[FloatArray, FloatArray]:
    """Middle of the heel and apex of the toe (2,) [mm]."""
    heel = line.points_mm[list(line.parts.heel or (0, -1))].mean(axis=0)
    return heel, np.array(line.parts.toe_mm)
