"""Reading pictures: linear light, the EXIF turn, and everything that would be degraded refused."""

import io
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageOps

import edgekit as ek

P = ek.pictures
RNG = np.random.default_rng(5)
GREY = RNG.integers(1, 255, (40, 60), dtype=np.uint8)


def write(folder: Path, name: str, image: Image.Image, **options: object) -> Path:
    image.save(folder / name, **options)
    return folder / name


def test_srgb_is_undone_as_the_standard_says(tmp_path: Path) -> None:
    """IEC 61966-2-1: 0.735357 encodes half of the light, 0.04045 the end of the straight foot."""
    ramp = np.tile(np.arange(256, dtype=np.uint8), (40, 1))
    picture = P.read_picture(write(tmp_path, "a.png", Image.fromarray(ramp)), response=P.SRGB)
    assert P.SRGB.linear(np.array(0.735357)) == pytest.approx(0.5, abs=1e-5)
    assert P.SRGB.linear(np.array(0.04045)) == pytest.approx(0.04045 / 12.92, abs=1e-9)
    assert picture.light[0] == pytest.approx(P.SRGB.linear(np.arange(256) / 255), abs=1e-7)
    assert picture.clipped[:, [0, 255]].all()
    assert not picture.clipped[:, 1:255].any()


def test_other_responses(tmp_path: Path) -> None:
    file = write(tmp_path, "a.png", Image.fromarray(GREY))
    linear = P.read_picture(file, response=P.LINEAR)
    assert linear.light == pytest.approx(GREY / 255, abs=1e-6)
    gamma = P.read_picture(file, response=P.Gamma(exponent=2.2))
    assert gamma.light == pytest.approx((GREY / 255) ** 2.2, abs=1e-6)
    assert not linear.response_stated
    assert P.read_picture(file, response=P.LINEAR, response_checked=True).response_stated


@pytest.mark.parametrize("turn", range(1, 9))
@pytest.mark.parametrize("suffix", ["jpg", "tif", "png"])
def test_pictures_are_turned_as_their_orientation_says(
    tmp_path: Path, turn: int, suffix: str
) -> None:
    """Against Pillow's own ImageOps.exif_transpose, from memory: it turns a TIFF of its own
    accord."""
    exif = Image.Exif()
    exif[0x0112] = turn
    blocks = np.kron(RNG.integers(40, 220, (5, 7), dtype=np.uint8), np.ones((8, 8), np.uint8))
    file = write(tmp_path, f"a.{suffix}", Image.fromarray(blocks), exif=exif)
    picture = P.read_picture(file, response=P.SRGB)
    with Image.open(io.BytesIO(file.read_bytes())) as image:
        expected = np.asarray(ImageOps.exif_transpose(image))
    assert np.array_equal(picture.light, P.SRGB.linear(expected / 255).astype(np.float32))
    assert (picture.turned == "as stored") == (turn == 1)


@pytest.mark.parametrize("order", ["<", ">"])
def test_sixteen_bit_tiff_keeps_its_bits(tmp_path: Path, order: str) -> None:
    deep = RNG.integers(1, 65535, (40, 60), dtype=np.uint16)
    tifffile.imwrite(tmp_path / "a.tif", deep, byteorder=order)
    picture = P.read_picture(tmp_path / "a.tif", response=P.LINEAR)
    assert picture.bits == 16
    assert picture.light == pytest.approx(deep / 65535, abs=1e-7)


def test_sixteen_bit_png_keeps_its_bits(tmp_path: Path) -> None:
    deep = RNG.integers(1, 65535, (40, 60), dtype=np.uint16)
    cv2.imwrite(str(tmp_path / "a.png"), deep)
    picture = P.read_picture(tmp_path / "a.png", response=P.LINEAR)
    assert picture.light == pytest.approx(deep / 65535, abs=1e-7)


def test_colour_gives_its_green(tmp_path: Path) -> None:
    colour = RNG.integers(1, 255, (40, 60, 3), dtype=np.uint8)
    picture = P.read_picture(write(tmp_path, "a.png", Image.fromarray(colour)), response=P.LINEAR)
    assert picture.channel == "green"
    assert picture.light == pytest.approx(colour[..., 1] / 255, abs=1e-6)


def test_provenance_is_kept(tmp_path: Path) -> None:
    import hashlib

    file = write(tmp_path, "a.png", Image.fromarray(GREY))
    picture = P.read_picture(file, response=P.SRGB)
    assert picture.sha256 == hashlib.sha256(file.read_bytes()).hexdigest()
    assert "60 x 40 px" in repr(picture)


@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_48_bit_colour_is_refused_by_name(tmp_path: Path, suffix: str) -> None:
    """Pillow would cut it to 8 bit without a word."""
    deep = RNG.integers(0, 65535, (40, 60, 3), dtype=np.uint16)
    cv2.imwrite(str(tmp_path / f"a.{suffix}"), deep)
    with pytest.raises(ek.EdgekitError, match=r"16 bit a colour.*48-bit RGB"):
        P.read_picture(tmp_path / f"a.{suffix}", response=P.LINEAR)


@pytest.mark.parametrize("brand", [b"heic", b"heix", b"mif1", b"avif"])
def test_heic_is_refused_by_name(tmp_path: Path, brand: bytes) -> None:
    (tmp_path / "a.jpg").write_bytes(b"\0\0\0\x18ftyp" + brand + bytes(200))
    with pytest.raises(ek.EdgekitError, match="HEIC"):
        P.read_picture(tmp_path / "a.jpg", response=P.SRGB)


def test_a_response_the_file_denies_is_refused(tmp_path: Path) -> None:
    jpeg = write(tmp_path, "a.jpg", Image.fromarray(GREY))
    with pytest.raises(ek.EdgekitError, match="says of itself that its numbers are sRGB"):
        P.read_picture(jpeg, response=P.LINEAR)


def test_sizes_are_bounded_before_decoding(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    buffer = io.BytesIO()
    Image.new("1", (20_000, 10_000)).convert("L").save(buffer, "png")
    (tmp_path / "a.png").write_bytes(buffer.getvalue())
    monkeypatch.setattr(Image.Image, "load", lambda *_: pytest.fail("it was decoded"))
    with pytest.raises(ek.EdgekitError, match="million pixels"):
        P.read_picture(tmp_path / "a.png", response=P.SRGB)


def test_a_response_is_asked_for(tmp_path: Path) -> None:
    file = write(tmp_path, "a.png", Image.fromarray(GREY))
    with pytest.raises(TypeError):
        P.read_picture(file)  # type: ignore[call-arg]
    with pytest.raises(ek.EdgekitError, match="response must be"):
        P.read_picture(file, response="srgb")  # type: ignore[arg-type]
