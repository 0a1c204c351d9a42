"""The budget of a recession: what moves a station by how much, and the model of the mean.

Pose enters as displacements of every point; what the registration takes out of them again is worked
out by the registration itself, so that only what is left counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.digitising.pictures.budget import Budget, Input, Shape
from edgekit.digitising.pictures.outlines.blade_outline import (
    SHIFT_PER_SKEW,
    UNSTATED_SHIFT,
    Outline,
)
from edgekit.digitising.pictures.registering import PRIOR_MM, PRIOR_RAD, Registration, lens_mm
from edgekit.digitising.pictures.widths import Apex, Mount, silhouette_share
from edgekit.units import UM_PER_MM


class LossParts(NamedTuple):
    """What a unit of each cause in one picture moves the stations by, inward [µm] (S,)."""

    noise: FloatArray
    datum: FloatArray  # (S, 16): a unit of each independent error of the registration
    height: FloatArray  # a mm
    roll: FloatArray  # a rad, first order; then a rad², second order
    roll2: FloatArray
    pitch: FloatArray
    pitch2: FloatArray
    both: FloatArray  # a rad² of roll times pitch
    counts: tuple[int, int]


def loss_parts(
    stations: tuple[FloatArray, FloatArray, FloatArray],
    fit: Registration,
    first: Outline,
    mount: Mount,
    counts: tuple[int, int],
) -> LossParts:
    """What each cause moves the stations by that the registration does not take out again."""
    place, normal, noise = stations
    datum = fit.datum_mm
    centre = lens_mm(first)
    along, across = fit.view.axes
    blade = np.setdiff1d(np.arange(len(first.points_mm)), first.parts.shank)
    pivot = first.points_mm[blade].mean(axis=0)  # height is told of the middle of the face

    def inward(here: FloatArray, there: FloatArray) -> FloatArray:
        return -UM_PER_MM * fit.error_from(here, there, place, normal)

    def lean(axis: FloatArray) -> tuple[FloatArray, FloatArray]:
        """A turn that shortens lengths along `axis`: first by height, second by the cosine."""
        near, far = ((p - pivot) @ axis for p in (place, datum))
        first_order = inward(
            (place - centre) * near[:, None] / mount.distance_mm,
            (datum - centre) * far[:, None] / mount.distance_mm,
        )
        second = inward(-0.5 * near[:, None] * axis, -0.5 * far[:, None] * axis)
        return first_order, second

    # Two mounts share the datum's noise between them, and the prior of shift and turn
    free = np.diag([PRIOR_MM, PRIOR_MM, PRIOR_RAD, 0.0, 0.0, 0.0, 0.0, 0.0]) / np.sqrt(2)
    root = np.hstack([np.linalg.cholesky(fit.covariance / 2), fit.prior_left @ free])
    roll, roll2 = lean(across)
    pitch, pitch2 = lean(along)
    return LossParts(
        noise=noise,
        datum=-UM_PER_MM * fit.rows(place, normal) @ root,
        height=inward((place - centre) / mount.distance_mm, (datum - centre) / mount.distance_mm),
        roll=roll,
        roll2=roll2,
        pitch=pitch,
        pitch2=pitch2,
        both=inward(*(_shear(points - pivot, along, across) for points in (place, datum))),
        counts=counts,
    )


def _shear(arm: FloatArray, along: FloatArray, across: FloatArray) -> FloatArray:
    """Displacement (N, 2) of points at `arm` (N, 2) by a unit of roll times pitch."""
    return np.asarray(0.5 * ((arm @ across)[:, None] * along + (arm @ along)[:, None] * across))


class LossModel(NamedTuple):
    """The mean's model: parts, and the inputs' uncertainties."""

    parts: LossParts
    apexes: tuple[Apex, Apex]
    response_um: float
    certificate: float
    fit_sd: float
    mount: Mount

    def _pairs(self) -> float:
        """Variance of a difference of means, over that of one picture."""
        return 1 / self.parts.counts[0] + 1 / self.parts.counts[1]

    def mount_variance(self) -> FloatArray:
        """Variance (S,) [µm²] that one mounting adds: pose and datum, without what all share."""
        p, tilt = self.parts, np.radians(self.mount.tilt_sd_deg)
        pose = (p.height * self.mount.height_sd_mm) ** 2
        for first, second in ((p.roll, p.roll2), (p.pitch, p.pitch2)):
            pose = pose + (first * tilt) ** 2 + 2 * (second * tilt**2) ** 2
        return np.asarray(pose + (p.both * tilt**2) ** 2)

    def datum_variance(self) -> FloatArray:
        return np.asarray((self.parts.datum**2).sum(axis=1))

    def station_sd(self) -> FloatArray:
        """Standard deviation (S,) [µm]."""
        shares = [silhouette_share(a.internal_angle_deg) * a.sd_um for a in self.apexes]
        variance = (
            self.mount_variance() + self.parts.noise**2 + self.datum_variance()
        ) * self._pairs()
        return np.asarray(np.sqrt(variance + np.square(shares).sum() + self.response_um**2))

    def budget(self, usable: NDArray[np.bool_], seen_um: float) -> Budget:
        """Of the mean over the usable stations."""
        p = self.parts
        mean = {name: float(getattr(p, name)[usable].mean()) for name in _POSE}
        shares = [silhouette_share(a.internal_angle_deg) for a in self.apexes]
        model = partial(_mean_recession_um, seen_um, mean, shares)
        inputs = (*self._shared(usable), *self._of_mounts())
        return Budget(name="mean recession", inputs=inputs, model=model)

    def _shared(self, usable: NDArray[np.bool_]) -> tuple[Input, ...]:
        p, pairs = self.parts, np.sqrt(self._pairs())
        noise = float(np.sqrt((p.noise[usable] ** 2).sum()) / usable.sum()) * pairs
        datum = float(np.linalg.norm(p.datum[usable].mean(axis=0))) * pairs
        skew = "one-sidedness of the blur and what the files state, after less before"
        given = Shape.RECTANGULAR
        return (
            _zero("edge location", noise, "µm", "measured on the blade"),
            _zero("registration on the datum", datum, "µm", "measured on the datum"),
            _zero("response curve", self.response_um, "µm", skew),
            _zero("target certificate", self.certificate, "share", "given", given),
            _zero("fit of the target", self.fit_sd, "share", "measured on the target"),
        )

    def _of_mounts(self) -> tuple[Input, ...]:
        """Pose and roundness before and after; means of n mounts."""
        tilt, high, inputs = self.mount.tilt_sd_deg, self.mount.height_sd_mm, []
        for when, n, apex in zip(("before", "after"), self.parts.counts, self.apexes, strict=True):
            share = 1 / np.sqrt(n)
            inputs += [
                _zero(f"face off the target's plane, {when}", high * share, "mm"),
                _zero(f"roll, {when}", tilt * np.sqrt(share), "deg"),
                _zero(f"pitch, {when}", tilt * np.sqrt(share), "deg"),
                _zero(f"roll times pitch, {when}", np.radians(tilt) ** 2 * share, "rad²"),
                Input(name=f"roundness, {when}", value=apex.radius_um, sd=apex.sd_um, unit="µm"),
            ]
        return tuple(inputs)


def _mean_recession_um(
    seen_um: float,
    mean: Mapping[str, float],
    shares: Sequence[float],
    at: Mapping[str, FloatArray],
) -> FloatArray:
    """The mean recession (N,) [µm] of sharp edges from the one seen and the budget's inputs."""
    total = seen_um * (1 + at["target certificate"] + at["fit of the target"])
    total = total + at["edge location"] + at["registration on the datum"] + at["response curve"]
    for when, sense, share in zip(("before", "after"), (-1, 1), shares, strict=True):
        total = total + sense * mean["height"] * at[f"face off the target's plane, {when}"]
        total = total + sense * mean["both"] * at[f"roll times pitch, {when}"]
        for turn in ("roll", "pitch"):
            angle = np.radians(at[f"{turn}, {when}"])
            total = total + sense * (mean[turn] * angle + mean[f"{turn}2"] * angle**2)
        total = total - sense * share * at[f"roundness, {when}"]
    return np.asarray(total)


def _zero(
    name: str, sd: float, unit: str, basis: str = "given", shape: Shape = Shape.NORMAL
) -> Input:
    """An input whose best estimate is zero."""
    return Input(name=name, value=0.0, sd=float(sd), unit=unit, basis=basis, shape=shape)


_POSE = ("height", "roll", "roll2", "pitch", "pitch2", "both")


def loss_model(
    parts: LossParts,
    apexes: tuple[Apex, Apex],
    lines: tuple[tuple[Outline, ...], tuple[Outline, ...]],
    mount: Mount,
) -> LossModel:
    """The model of the mean, with what the response curve and the scale leave unknown."""
    skews = [np.mean([line.skew_um for line in kind]) for kind in lines]
    chance = sum(np.mean([line.skew_sd_um**2 for line in kind]) / len(kind) for kind in lines)
    skew = np.sqrt(max(float(skews[1] - skews[0]) ** 2 - float(chance), 0.0))
    blurs = [float(np.mean([line.edge_spread_um for line in kind])) for kind in lines]
    unstated = not all(line.picture.response_stated for kind in lines for line in kind)
    response = np.hypot(SHIFT_PER_SKEW * skew, unstated * UNSTATED_SHIFT * (blurs[1] - blurs[0]))
    scale = lines[0][0].scale
    return LossModel(
        parts=parts,
        apexes=apexes,
        response_um=float(response),
        certificate=scale.relative_sd,
        fit_sd=scale.fit_sd,
        mount=mount,
    )
