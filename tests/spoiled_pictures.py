"""Pictures with something wrong in them, made by a seeded script; each with what must be said of
it."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import tifffile
from PIL import Image

from tests.picture_scenes import BLADE, Camera, Light, rendering, save

SEED = 20_261_125
PITCH, ACROSS, DOWN = 0.5, 14, 5
SIZE = (760, 620)
CENTRE = (-0.3, -1.8)
AT = (-3.2, -4.6)


@dataclass(frozen=True)
class Spoiled:
    """One picture: what is wrong with it, how to write it, and words of the refusal (a pattern).

    ``flags`` instead, where it is measured but must say which points are doubtful or note
    something.
    """

    name: str
    write: Callable[[Path], Path]
    says: str = ""
    flags: bool = False
    squares: tuple[int, int] = (ACROSS, DOWN)
    pitch_mm: float = PITCH


def scene(
    light: Light | None = None,
    *,
    board: bool = True,
    blade: bool = True,
    seed: int = SEED,
    shift: tuple[float, float] = (0.0, 0.0),
    turn: float = 0.0,
    second: bool = False,
    cam: Camera | None = None,
) -> np.ndarray:
    """The demo scene, a blade over a board, as numbers."""
    cam = cam or Camera(um_per_px=12, size_px=SIZE, centre_mm=CENTRE)
    outline = rendering.silhouette(BLADE).polygon_mm
    things = []
    if board:
        things.append([cam.project(q) for q in rendering.squares(PITCH, ACROSS, DOWN, AT)])
    if blade:
        points = rendering.placed(outline, turn_deg=turn, shift_mm=shift)
        things.append([cam.project(points)])
    if second:
        points = rendering.placed(outline, shift_mm=(0.4, -1.15))
        things.append([cam.project(points)])
    return rendering.picture(things, cam.size_px, light or Light(), np.random.default_rng(seed))


def numbers(
    light: Light | None = None, name: str = "a.png", **given: object
) -> Callable[[Path], Path]:
    return lambda folder: save(folder, scene(light, **given), light or Light(), name)


def of_image(make: Callable[[Image.Image], Image.Image], name: str = "a.png", **options: object):
    def write(folder: Path) -> Path:
        make(Image.fromarray(scene().astype(np.uint8))).save(folder / name, **options)
        return folder / name

    return write


def of_bytes(change: Callable[[bytes], bytes], name: str = "a.png", form: str = "png"):
    def write(folder: Path) -> Path:
        buffer = io.BytesIO()
        Image.fromarray(scene().astype(np.uint8)).save(buffer, form)
        (folder / name).write_bytes(change(buffer.getvalue()))
        return folder / name

    return write


def changed(change: Callable[[np.ndarray], np.ndarray]) -> Callable[[Path], Path]:
    return lambda folder: save(folder, change(scene().copy()), Light())


def frames(name: str, **options: object) -> Callable[[Path], Path]:
    def write(folder: Path) -> Path:
        one = Image.fromarray(scene().astype(np.uint8))
        one.save(folder / name, save_all=True, append_images=[one.transpose(0)], **options)
        return folder / name

    return write


def deep(folder: Path) -> Path:
    tifffile.imwrite(folder / "a.tif", np.zeros((100, 100), np.float32))
    return folder / "a.tif"


def cv(name: str) -> Callable[[Path], Path]:
    def write(folder: Path) -> Path:
        cv2.imwrite(str(folder / name), np.dstack([scene()] * 3).astype(np.uint16) * 257)
        return folder / name

    return write


def patch(rows: slice, columns: slice, value: int) -> Callable[[Path], Path]:
    def change(old: np.ndarray) -> np.ndarray:
        old[rows, columns] = value
        return old

    return changed(change)


def halves(old: np.ndarray) -> np.ndarray:
    """Two exposures, one over the other."""
    return ((old + np.roll(old, 40, axis=0)) // 2).astype(np.uint16)


def speckled(old: np.ndarray) -> np.ndarray:
    rng = np.random.default_rng(SEED)
    for y, x in rng.integers(30, [180, 700], (12, 2)):
        old[y : y + 6, x : x + 5] = 60
    return old


def shaken(old: np.ndarray) -> np.ndarray:
    return np.mean([np.roll(old, k, axis=1) for k in range(-14, 15)], axis=0).astype(np.uint16)


def spoiled() -> Iterator[Spoiled]:
    yield from _files()
    yield from _light()
    yield from _scenes()


def _files() -> Iterator[Spoiled]:
    blank = b""
    for k, share in enumerate((0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99)):
        yield Spoiled(
            f"png cut at {share:.0%}",
            of_bytes(lambda b, s=share: b[: int(len(b) * s)]),
            "damaged|is no PNG",
        )
        if k % 2:
            yield Spoiled(
                f"jpeg cut at {share:.0%}",
                of_bytes(lambda b, s=share: b[: int(len(b) * s)], "a.jpg", "jpeg"),
                "damaged|is no PNG",
            )
    yield Spoiled(
        "tiff cut in half", of_bytes(lambda b: b[: len(b) // 2], "a.tif", "tiff"), "damaged|is no"
    )
    yield Spoiled("empty", of_bytes(lambda _: blank), "is empty")
    yield Spoiled("text", of_bytes(lambda _: b"x_mm,y_mm\n1,2\n"), "is no PNG")
    yield Spoiled("zeros", of_bytes(lambda _: bytes(4000)), "is no PNG")
    yield Spoiled(
        "a flipped byte",
        of_bytes(lambda b: b[:5000] + bytes([b[5000] ^ 255]) + b[5001:]),
        "damaged",
    )
    yield Spoiled("a folder", lambda folder: folder, "cannot be read")
    yield Spoiled("a missing file", lambda folder: folder / "none.png", "cannot be read")
    yield Spoiled(
        "jpeg called png", of_bytes(lambda b: b, "a.png", "jpeg"), "is a JPEG by its content"
    )
    yield Spoiled(
        "png called jpg", of_bytes(lambda b: b, "a.jpg", "png"), "is a PNG by its content"
    )
    yield Spoiled(
        "tiff called png", of_bytes(lambda b: b, "a.png", "tiff"), "is a TIFF by its content"
    )
    yield Spoiled("bitmap", of_bytes(lambda b: b, "a.bmp", "bmp"), "is no PNG, TIFF or JPEG")
    yield Spoiled("webp", of_bytes(lambda b: b, "a.webp", "webp"), "is no PNG, TIFF or JPEG")
    yield Spoiled("gif", of_bytes(lambda b: b, "a.gif", "gif"), "is no PNG, TIFF or JPEG")
    yield Spoiled("heic", of_bytes(lambda b: b"\0\0\0\x18ftypheic" + b, "a.jpg"), "HEIC")
    yield Spoiled("animated png", frames("a.png"), "several frames")
    yield Spoiled("tiff of two pages", frames("a.tif"), "several frames")
    yield Spoiled("palette", of_image(lambda i: i.convert("RGB").quantize(16)), "palette")
    yield Spoiled("one bit", of_image(lambda i: i.convert("1")), "black and white")
    yield Spoiled("alpha", of_image(lambda i: i.convert("RGBA")), "transparency")
    yield Spoiled("grey with alpha", of_image(lambda i: i.convert("LA")), "transparency")
    yield Spoiled("a transparent colour", of_image(lambda i: i, transparency=128), "transparency")
    yield Spoiled("cmyk jpeg", of_image(lambda i: i.convert("CMYK"), "a.jpg"), "CMYK")
    yield Spoiled("cmyk tiff", of_image(lambda i: i.convert("CMYK"), "a.tif"), "CMYK")
    yield Spoiled(
        "lab tiff", of_image(lambda i: i.convert("RGB").convert("LAB"), "a.tif"), "another kind"
    )
    yield Spoiled("floating point", deep, "floating point")
    yield Spoiled("48-bit png", cv("a.png"), "16 bit a colour")
    yield Spoiled("48-bit tiff", cv("a.tif"), "16 bit a colour")
    yield Spoiled("one pixel", of_image(lambda i: i.resize((1, 1))), "smaller than")
    yield Spoiled("one row", of_image(lambda i: i.resize((700, 1))), "smaller than")
    yield Spoiled("a preview", of_image(lambda i: i.resize((24, 20))), "smaller than")
    yield Spoiled(
        "80 megapixels", of_image(lambda _: Image.new("L", (10_000, 8_000))), "million pixels"
    )
    yield Spoiled(
        "200 megapixels", of_image(lambda _: Image.new("L", (20_000, 10_000))), "million pixels"
    )


def _light() -> Iterator[Spoiled]:
    yield Spoiled("all black", changed(np.zeros_like), "no board")
    yield Spoiled("all white", changed(lambda a: np.full_like(a, 255)), "no board")
    yield Spoiled("all grey", changed(lambda a: np.full_like(a, 120)), "no board")
    yield Spoiled(
        "noise", changed(lambda a: np.random.default_rng(1).integers(0, 256, a.shape)), "no board"
    )
    yield Spoiled("inverted", changed(lambda a: 255 - a), "darker than what lies on it|clipped")
    for gain in (1.25, 1.5, 2.5):
        yield Spoiled(f"ground clipped, gain {gain}", numbers(Light(gain=gain)), "clipped")
    for sheen in (0.15, 0.4):
        yield Spoiled(
            f"front light {sheen}",
            numbers(Light(sheen=sheen)),
            "front|no blade|no board|shape|corners do not fit",
        )
    yield Spoiled("glare", numbers(Light(glare=0.5)), "glare|front")
    yield Spoiled(
        "hardly any light", numbers(Light(bright=0.03, dark=0.001)), "no blade|no board|clipped"
    )
    yield Spoiled("fog", numbers(Light(bright=0.5, dark=0.45)), "no blade|no board")
    yield Spoiled(
        "out of focus", numbers(Light(blur_px=9)), "no board|no blade|sharp|disagree|hardly", True
    )
    yield Spoiled("shaken", changed(shaken), "no board|disagree|stand off|sharp|more than one")
    yield Spoiled("two exposures", changed(halves), "no board|blade|shape|stand off|front|disagree")


def _scenes() -> Iterator[Spoiled]:
    yield Spoiled("no board", numbers(board=False), "no board")
    yield Spoiled("no blade", numbers(blade=False), "no blade")
    yield Spoiled(
        "half a board",
        changed(lambda a: np.vstack([a[:480], np.full((140, 760), 230)])),
        "no board",
    )
    yield Spoiled("wrong counts", numbers(), "no board", squares=(ACROSS + 1, DOWN))
    yield Spoiled("pitch ten times too large", numbers(), "no size that blades have", pitch_mm=5.0)
    yield Spoiled("pitch in the wrong unit", numbers(), "no size that blades have", pitch_mm=0.0005)
    yield Spoiled("two blades", numbers(second=True), "more than one dark thing")
    yield Spoiled(
        "toe over the border", numbers(shift=(1.6, 0.0)), "toe is not in|touches the border"
    )
    yield Spoiled(
        "an edge over the border",
        numbers(shift=(0, 1.55)),
        "touches the border|toe is not in|more than",
    )
    yield Spoiled("heel outside", numbers(shift=(-2.0, 0.0)), "frame ends before the heel|no board")
    yield Spoiled(
        "shank cut off", patch(slice(0, 330), slice(0, 60), 230), "shank does not run out"
    )
    yield Spoiled(
        "blade cut in two",
        patch(slice(0, 330), slice(380, 400), 230),
        "another shape|no toe|shape|length",
    )
    yield Spoiled("a coin beside it", patch(slice(20, 110), slice(300, 420), 30), "another shape")
    yield Spoiled(
        "a finger at the border",
        patch(slice(0, 90), slice(300, 420), 30),
        "more than one dark thing",
    )
    yield Spoiled("dust", changed(speckled), flags=True)
    yield Spoiled("a speck on the edge", patch(slice(114, 130), slice(380, 396), 30), flags=True)
