"""Draw invented pictures of blades and boards, with the truth known exactly.

A pixel's value is the exact share of it that a polygon covers, blurred by a sampled Gaussian, with
shot noise, a response curve and rounding to 8 or 16 bit. Real optics are less kind: no dirt, no
wire edge and no coloured fringes are drawn. Pixel centres are whole numbers, x to the right and y
downwards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from edgekit.geometry.blade import Blade
from edgekit.geometry.vectors import rotation

FloatArray = NDArray[np.float64]
SHANK_MM = 1.10  # invented: width of the shank, and of the neck behind the heel
NECK_MM = 0.62
SAMPLES = 1500  # points along an edge: the sagitta stays below 0.01 µm


@dataclass(frozen=True, kw_only=True)
class Camera:
    """A pinhole over the plane z = 0, its axis on `centre_mm`; `radial` bends the field.

    A point r half-widths from the centre of the picture moves outwards by the share radial r².
    """

    um_per_px: float = 8.0
    size_px: tuple[int, int] = (960, 300)  # columns, rows
    distance_mm: float = 120.0
    tilt_deg: tuple[float, float] = (0.0, 0.0)  # about x and y
    spin_deg: float = 0.0
    radial: float = 0.0
    centre_mm: tuple[float, float] = (0.0, 0.0)

    def project(self, points_mm: FloatArray) -> FloatArray:
        """Pixel coordinates (N, 2) of points (N, 2) or (N, 3) in millimetres."""
        points = np.asarray(points_mm, dtype=float)
        if points.shape[-1] == 2:
            points = np.concatenate([points, np.zeros((*points.shape[:-1], 1))], axis=-1)
        points = points - [*self.centre_mm, 0.0]
        turn = tilted(*self.tilt_deg) @ rotation((0, 0, 1), np.radians(self.spin_deg))
        seen = points @ turn.T
        focal = 1000 * self.distance_mm / self.um_per_px
        flat = focal * seen[..., :2] / (self.distance_mm - seen[..., 2:])
        reach = (flat**2).sum(axis=-1, keepdims=True) / (self.size_px[0] / 2) ** 2
        flat = flat * (1 + self.radial * reach)
        middle = (np.array(self.size_px) - 1) / 2
        return np.asarray(middle + flat * [1, -1])


def tilted(about_x_deg: float, about_y_deg: float) -> FloatArray:
    """A turn about x, then about y (3, 3)."""
    x = rotation((1, 0, 0), np.radians(about_x_deg))
    return np.asarray(rotation((0, 1, 0), np.radians(about_y_deg)) @ x)


def coverage(polygons: Sequence[FloatArray], size_px: tuple[int, int]) -> FloatArray:
    """Exact share (rows, columns) of each pixel inside closed polygons (N, 2), signed by their
    sense.

    Each side is cut where it crosses the borders of pixels; a piece inside one pixel covers a
    trapezium of it, and every pixel to its right by its height.
    """
    columns, rows = size_px
    start = np.concatenate(polygons) + 0.5
    stop = np.concatenate([np.roll(p, -1, axis=0) for p in polygons]) + 0.5
    first, last = _cut(start, stop)
    keep = (first[:, 1] + last[:, 1] > 0) & (first[:, 1] + last[:, 1] < 2 * rows)
    keep &= first[:, 0] + last[:, 0] < 2 * columns
    first, last = first[keep], last[keep]
    middle = (first + last) / 2
    row = np.floor(middle[:, 1]).astype(int)
    column = np.maximum(np.floor(middle[:, 0]).astype(int), 0)
    inside = np.clip(middle[:, 0] - column, 0.0, 1.0)
    height = last[:, 1] - first[:, 1]
    share = np.zeros((rows, columns + 2))
    np.add.at(share, (row, column), height * (1 - inside))
    np.add.at(share, (row, column + 1), height * inside)
    return np.asarray(np.cumsum(share, axis=1)[:, :columns])


def _cut(start: FloatArray, stop: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The sides from `start` to `stop` (N, 2), cut wherever a coordinate is whole."""
    for axis in (0, 1):
        low = np.minimum(start[:, axis], stop[:, axis])
        high = np.maximum(start[:, axis], stop[:, axis])
        crossings = np.maximum(np.ceil(high) - np.floor(low) - 1, 0).astype(int)
        side = np.repeat(np.arange(len(start)), crossings + 1)
        number = np.arange(len(side)) - np.repeat(
            np.cumsum(crossings + 1) - crossings - 1, crossings + 1
        )
        a, b = start[side], stop[side]
        down = (b[:, axis] < a[:, axis])[:, None]
        a, b = np.where(down, b, a), np.where(down, a, b)
        base = np.floor(a[:, axis])
        with np.errstate(invalid="ignore", divide="ignore"):
            per = 1 / (b[:, axis] - a[:, axis])
            t0 = np.where(number == 0, 0.0, (base + number - a[:, axis]) * per)
            t1 = np.where(number == crossings[side], 1.0, (base + number + 1 - a[:, axis]) * per)
        p, q = a + t0[:, None] * (b - a), a + t1[:, None] * (b - a)
        start, stop = np.where(down, q, p), np.where(down, p, q)
    return start, stop


@dataclass(frozen=True, kw_only=True)
class Light:
    """What the sensor makes of it: levels as shares of full scale, blur, noise, response, bits."""

    bright: float = 0.80
    dark: float = 0.02
    blur_px: float = 0.6
    electrons: float = 20_000.0  # at full scale; infinite for none
    srgb: bool = True
    bits: int = 8
    gain: float = 1.0  # above 1 the ground clips
    sheen: float = 0.0  # light from the front: brightness of the metal
    glare: float = 0.0  # a bright rim just inside one side


NARROW_PX = 1.0  # of blur: below it a Gaussian is sampled on pixels of half the size


def picture(
    things: Sequence[Sequence[FloatArray]],
    size_px: tuple[int, int],
    light: Light,
    rng: np.random.Generator,
) -> NDArray[np.uint16]:
    """Numbers of a file (rows, columns) for things that hide the ground, each a list of polygons
    [px]."""
    k = 2 if light.blur_px < NARROW_PX else 1
    fine = (k * size_px[0], k * size_px[1])
    share = sum(
        np.abs(coverage([k * (p + 0.5) - 0.5 for p in polygons], fine)) for polygons in things
    )
    seen = light.bright + (light.dark - light.bright) * np.clip(share, 0, 1)
    if light.sheen or light.glare:
        seen = seen + _front(np.clip(share, 0, 1), light, rng, k)
    if light.blur_px:
        seen = ndimage.gaussian_filter(seen, k * light.blur_px, truncate=5.0)
    seen = seen.reshape(size_px[1], k, size_px[0], k).mean(axis=(1, 3)) * light.gain
    if np.isfinite(light.electrons):
        seen = rng.poisson(np.maximum(seen, 0) * light.electrons) / light.electrons
    seen = np.clip(seen, 0.0, 1.0)
    if light.srgb:  # IEC 61966-2-1
        low = seen <= 0.0031308
        seen = np.where(low, 12.92 * seen, 1.055 * np.maximum(seen, 1e-9) ** (1 / 2.4) - 0.055)
    return np.asarray(np.round(seen * (2**light.bits - 1))).astype(np.uint16)


def _front(metal: FloatArray, light: Light, rng: np.random.Generator, k: int) -> FloatArray:
    """Brightness of metal lit from the front: a mottled face, and a rim of glare along its upper
    side."""
    mottle = ndimage.gaussian_filter(rng.normal(size=metal.shape), k * 6.0)
    mottle = np.exp(0.5 * mottle / mottle.std())
    inside = ndimage.gaussian_filter(metal, k * 2.5)
    slope = np.maximum(ndimage.sobel(inside, axis=0), 0)
    rim = slope / max(float(slope.max()), 1e-12)
    return np.asarray(metal * (light.sheen * mottle + light.glare * rim))


def squares(
    pitch_mm: float, across: int, down: int, at_mm: tuple[float, float], turn_deg: float = 0.0
) -> list[FloatArray]:
    """The dark squares of a board as polygons (40, 2) [mm], its lower left corner `at_mm`."""
    ring = np.concatenate(
        [
            np.linspace(a, b, 10, endpoint=False)
            for a, b in (
                ((0.0, 0.0), (1.0, 0.0)),
                ((1.0, 0.0), (1.0, 1.0)),
                ((1.0, 1.0), (0.0, 1.0)),
                ((0.0, 1.0), (0.0, 0.0)),
            )
        ]
    )
    turn = rotation((0, 0, 1), np.radians(turn_deg))[:2, :2]
    return [
        (pitch_mm * (ring + np.array([i, j]))) @ turn.T + at_mm
        for j in range(down)
        for i in range(across)
        if (i + j) % 2 == 0
    ]


def corners(
    pitch_mm: float, across: int, down: int, at_mm: tuple[float, float], turn_deg: float = 0.0
) -> FloatArray:
    """The inner corners (down - 1, across - 1, 2) [mm] of the same board."""
    turn = rotation((0, 0, 1), np.radians(turn_deg))[:2, :2]
    i, j = np.meshgrid(np.arange(1, across), np.arange(1, down))
    return np.asarray(pitch_mm * np.stack([i, j], axis=-1) @ turn.T + at_mm)


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A blade's silhouette in its own face: a polygon, and the lines it is made of [mm].

    ``sides``: left and right edge with their halves of the toe, heel to apex.
    """

    polygon_mm: FloatArray
    left_mm: FloatArray
    right_mm: FloatArray


def silhouette(
    blade: Blade,
    *,
    worn_um: FloatArray | None = None,
    parallel_shank: bool = False,
    shank_mm: float = 6.0,
) -> Drawn:
    """Silhouette of a blade with a planar face, seen along its normal, with an invented shank.

    `worn_um` is the recession along the first edge at equal steps, heel to toe; it fades over the
    other half of the toe.
    """
    name, edge = next(iter(blade.edges.items()))
    left, apex = _side(edge, worn_um)
    far = blade.unused if blade.unused is not None else blade.edges["right"]
    if blade.unused is not None:
        body, _ = _side(far, None)
        right = np.concatenate([body, _other_half(edge, body[-1], worn_um, apex)])
    else:
        right, _ = _side(far, worn_um)
    if name == "right":
        left, right = right, left
    heels = [side.frame(np.zeros(()), order=0).position[:2] for side in (edge, far)]
    root = _shank(*(heels if name != "right" else heels[::-1]), parallel_shank, shank_mm)
    polygon = np.concatenate([root[0][::-1], left, right[::-1][1:], root[1]])
    return Drawn(polygon_mm=polygon, left_mm=left, right_mm=right)


def _side(edge, worn_um):  # type: ignore[no-untyped-def]
    arc = edge.stations(SAMPLES)
    frame = edge.frame(arc, order=0)
    worn = np.zeros(SAMPLES)
    if worn_um is not None:
        worn = np.interp(arc, np.linspace(0, arc[-1], len(worn_um)), worn_um) / 1000
    line = frame.position[:, :2] + worn[:, None] * frame.inward.value[:, :2]
    return line, frame.inward.value[-1, :2]


def _other_half(edge, until, worn_um, axis):  # type: ignore[no-untyped-def]
    """The half of the toe that belongs to no edge: the used half mirrored in the toe's own axis."""
    arc = edge.stations(SAMPLES)
    frame = edge.frame(arc, order=0)
    tip = frame.position[-1, :2]
    mirror = 2 * np.outer(axis, axis) - np.eye(2)
    line = (frame.position[:, :2] - tip) @ mirror + tip
    inward = frame.inward.value[:, :2] @ mirror
    reach = np.linalg.norm(until - tip)
    part = np.linalg.norm(line - tip, axis=1) < reach * (1 - 1e-9)
    line, inward = line[part], inward[part]
    if worn_um is not None:
        share = (arc[part] - arc[part][0]) / (arc[-1] - arc[part][0])
        line = line + (worn_um[-1] / 1000 * share**2 * (3 - 2 * share))[:, None] * inward
    return line


def _shank(left, right, parallel, shank_mm):  # type: ignore[no-untyped-def]
    """Both sides of the shank from the heel outwards: a neck, a shoulder, then parallel."""
    middle, half = (left + right) / 2, np.linalg.norm(left - right) / 2
    across = (left - right) / (2 * half)
    back = np.array([across[1], -across[0]])
    back = -back if back[0] > 0 else back
    along = np.concatenate([np.linspace(0, 2.2, 400), np.linspace(2.3, 2.3 + shank_mm, 60)])
    if parallel:
        width = np.full(len(along), half)
    else:
        neck, shank = NECK_MM / 2, SHANK_MM / 2
        step = np.clip(along / 0.7, 0, 1)
        width = half + (neck - half) * step**2 * (3 - 2 * step)
        step = np.clip((along - 0.9) / 0.9, 0, 1)
        width = width + (shank - neck) * step**2 * (3 - 2 * step)
    centre = middle + along[:, None] * back
    sides = centre + width[:, None] * across, centre - width[:, None] * across
    return sides[0][1:], sides[1][1:]


def placed(
    points_mm: FloatArray,
    *,
    turn_deg: float = 0.0,
    shift_mm: tuple[float, float] = (0, 0),
    tilt_deg: tuple[float, float] = (0.0, 0.0),
    height_mm: float = 0.0,
) -> FloatArray:
    """Points of a blade (N, 3) as it was mounted: turned in the plane, tilted, lifted."""
    flat = np.concatenate([points_mm, np.zeros((len(points_mm), 1))], axis=1)
    turn = rotation((0, 0, 1), np.radians(turn_deg)) @ tilted(*tilt_deg)
    return np.asarray(flat @ turn.T + [*shift_mm, height_mm])
