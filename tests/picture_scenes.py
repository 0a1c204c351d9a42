"""Rendered pictures for the tests: exact coverage, then blur, noise, response and rounding."""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from PIL import Image
from PIL.PngImagePlugin import PngInfo

import edgekit as ek

DEMO = Path(__file__).parents[1] / "data_demo"
sys.path.insert(0, str(DEMO))
import rendering

P = ek.pictures
BLADE = ek.patterns.area_specific_curette(bow_radius_mm=math.inf)
EDGE = BLADE.edges["used"]
HEEL = P.EdgeLength(side=P.Side.LEFT, length_mm=EDGE.length_mm)
DISTANCE_MM = 120.0
Light, Camera = rendering.Light, rendering.Camera


def camera(um_per_px: float = 8.0, **changed: Any) -> rendering.Camera:
    """A camera over the whole blade with a millimetre or more of ground about it."""
    size = (int(8000 / um_per_px), int(3360 / um_per_px))
    given: dict[str, Any] = {"um_per_px": um_per_px, "size_px": size, "centre_mm": (-0.3, -0.2)}
    return Camera(**given | changed)


def save(
    folder: Path,
    numbers: np.ndarray,
    light: rendering.Light,
    name: str = "a.png",
    *,
    stated: bool = True,
    **options: Any,
) -> Path:
    """Write a picture's numbers; a PNG states its response unless told not to."""
    file = folder / name
    image = Image.fromarray(numbers.astype(np.uint8 if light.bits == 8 else np.uint16))
    if stated and file.suffix == ".png":
        info = PngInfo()
        if light.srgb:
            info.add(b"sRGB", b"\0")
        else:
            info.add(b"gAMA", (100_000).to_bytes(4, "big"))
        options["pnginfo"] = info
    if file.suffix == ".png":
        options.setdefault("compress_level", 1)
    image.save(file, **options)
    return file


def taken(
    folder: Path,
    things: list[list[np.ndarray]],
    cam: rendering.Camera,
    seed: Any = 0,
    light: rendering.Light | None = None,
    response: Any = P.SRGB,
    **options: Any,
) -> Any:
    """A picture of polygons [px], through a file."""
    light = light or Light()
    numbers = rendering.picture(things, cam.size_px, light, np.random.default_rng(seed))
    return P.read_picture(save(folder, numbers, light, **options), response=response)


def plain_scale(picture: Any, um_per_px: float = 8.0) -> Any:
    """The true scale of a level camera, as a micrometer would give it without error."""
    from edgekit.digitising.pictures.targets.calibrating import _one_scale

    ends = np.array([[10.0, 10.0], [20.0, 10.0]])
    return _one_scale(picture, 1000 / um_per_px, ends, 0.0, 0.0, 0.0)


def outside_by(points: np.ndarray, polygon: np.ndarray) -> np.ndarray:
    """Signed distance of points from a closed polygon, positive outside (by GEOS)."""
    shape = shapely.Polygon(polygon)
    shapely.prepare(shape)
    at = shapely.points(points)
    distance = shapely.distance(at, shape.exterior)
    return np.where(shapely.contains(shape, at), -distance, distance)


@dataclass(frozen=True)
class Wear:
    """What a session of twelve placements took from the demo blade: mean 9.6, deepest 12 µm."""

    arc_mm: np.ndarray
    recession_um: np.ndarray

    def at(self, arc_mm: np.ndarray) -> np.ndarray:
        return np.interp(arc_mm, self.arc_mm, self.recession_um)


def session_wear(depth_um: float = 12.0) -> Wear:
    facets = ek.facets(EDGE, 12, depth_um=depth_um)
    return Wear(facets.arc_mm, facets.recession_um)


def mounted(
    folder: Path,
    seed: Any,
    *,
    tilt_deg: float = 0.0,
    height_mm: float = 0.0,
    worn_um: np.ndarray | None = None,
    um_per_px: float = 12.0,
    light: rendering.Light | None = None,
    parallel: bool = False,
    turn_deg: float = 1.0,
) -> Any:
    """An outline of the demo blade as one mounts it: turned, shifted, tilted, lifted by chance."""
    rng = np.random.default_rng(seed)
    drawn = rendering.silhouette(BLADE, worn_um=worn_um, parallel_shank=parallel)
    points = rendering.placed(
        drawn.polygon_mm,
        turn_deg=rng.normal(0, turn_deg),
        shift_mm=tuple(rng.normal(0, 0.05, 2)),
        tilt_deg=tuple(rng.normal(0, 1, 2) * tilt_deg),
        height_mm=rng.normal(0, 1) * height_mm,
    )
    cam = camera(um_per_px)
    picture = taken(folder, [[cam.project(points)]], cam, rng, light)
    return P.outline(picture, plain_scale(picture, um_per_px), heel=HEEL)
