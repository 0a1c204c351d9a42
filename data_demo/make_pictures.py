"""Draw pictures for the invented Fernhollow clinic: one blade, two sessions, four traps.

Everything here is invented: the clinic, the instrument, its wear and the camera. Run the script
from anywhere; it writes the same files every time, into `pictures` beside itself or into the folder
named on the command line.
"""

from __future__ import annotations

import csv
import io
import math
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from edgekit.contact.facets import facets
from edgekit.files import write_file
from edgekit.geometry import patterns

sys.path.insert(0, str(Path(__file__).resolve().parent))
from rendering import Camera, Light, picture, placed, silhouette, squares

SEED = 20_260_302
FOLDER = Path(__file__).resolve().parent / "pictures"
REMARK = "INVENTED demo picture: Fernhollow College teaching clinic. Rendered, no real instrument."
DAYS = ("2026-03-02", "2026-03-09", "2026-03-16")
MOUNTS = 3
TILT_DEG, HEIGHT_MM = 0.5, 0.03  # how well the invented clinic mounts its blades (sd)
CAMERA = Camera(um_per_px=12.0, size_px=(720, 330), centre_mm=(-0.3, -0.25), radial=-0.01)
BOARD = {"pitch_mm": 0.5, "across": 14, "down": 6}

FloatArray = NDArray[np.float64]
BLADE = patterns.area_specific_curette(
    name="FH-03-AS1", plan_radius_mm=7.4, bow_radius_mm=math.inf, face_tilt_deg=20.0
)


def worn() -> tuple[FloatArray, dict[str, FloatArray]]:
    """Arc [mm] and recession since new [µm] of the used edge by day: two sessions of 14 places."""
    edge = BLADE.edges["used"]
    step = edge.length_mm / 14
    first = facets(edge, step * (np.arange(14) + 0.5), depth_um=11.0)
    second = facets(edge, step * (np.arange(14) + 0.8), depth_um=9.0)
    after = first.recession_um
    return first.arc_mm, dict(
        zip(DAYS, (0 * after, after, after + second.recession_um), strict=True)
    )


def scene(
    recession_um: FloatArray,
    rng: np.random.Generator,
    light: Light,
    *,
    tilt_deg: tuple[float, float] | None = None,
) -> NDArray[np.uint16]:
    """The blade as it was mounted once."""
    tilt = tuple(rng.normal(0, TILT_DEG, 2)) if tilt_deg is None else tilt_deg
    points = placed(
        silhouette(BLADE, worn_um=recession_um).polygon_mm,
        turn_deg=rng.normal(0, 1.0),
        shift_mm=tuple(rng.normal(0, 0.05, 2)),
        tilt_deg=tilt,
        height_mm=rng.normal(0, HEIGHT_MM),
    )
    return picture([[CAMERA.project(points)]], CAMERA.size_px, light, rng)


def board(rng: np.random.Generator, light: Light) -> NDArray[np.uint16]:
    """The board, taken with the same camera."""
    dark = squares(BOARD["pitch_mm"], BOARD["across"], BOARD["down"], (-3.8, -1.75))
    return picture([[CAMERA.project(q) for q in dark]], CAMERA.size_px, light, rng)


def save(file: Path, numbers: NDArray[np.uint16]) -> None:
    """A small PNG that says sRGB and that it is invented."""
    info = PngInfo()
    info.add(b"sRGB", b"\0")
    info.add_text("Comment", REMARK)
    raw = io.BytesIO()
    Image.fromarray(numbers.astype(np.uint8)).save(raw, "PNG", pnginfo=info, optimize=True)
    write_file(file, raw.getvalue(), replace=True)


def make(folder: Path) -> None:
    """Write every picture, and the truth they were drawn from."""
    folder.mkdir(parents=True, exist_ok=True)
    arc, states = worn()
    light, rng = Light(electrons=60_000.0), np.random.default_rng(SEED)
    save(folder / "board.png", board(rng, light))
    for day, recession in states.items():
        for k in range(MOUNTS):
            save(folder / f"FH-03-AS1_{day}_{'abc'[k]}.png", scene(recession, rng, light))
    new = states[DAYS[0]]
    traps = {
        "clipped": (Light(gain=1.3), None),
        "glare": (Light(glare=0.5), None),
        "front_light": (Light(sheen=0.4), None),
        "tilted": (light, (8.0, 0.0)),
    }
    for name, (bad, tilt) in traps.items():
        save(folder / f"trap_{name}.png", scene(new, rng, bad, tilt_deg=tilt))
    text = io.StringIO()
    text.write(f"# {REMARK}\n")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["arc_mm", *(f"recession_um_{day}" for day in DAYS)])
    for row in zip(arc, *states.values(), strict=True):
        writer.writerow([f"{item:.4f}" for item in row])
    write_file(folder / "truth.csv", text.getvalue(), replace=True)


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
