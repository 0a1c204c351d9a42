"""Pictures as linear intensity, with a mask of clipped pixels and where they came from.

Whatever a decoder would degrade without a word (48-bit colour cut to 8 bit, a palette, several
frames) is refused by name. Sizes are read from the header and bounded before anything is decoded.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import BadFile, Cannot, EdgekitError
from edgekit.files import read_file
from edgekit.record import Record, read_only

if TYPE_CHECKING:
    from PIL.Image import Image

__all__ = ["LINEAR", "SRGB", "Gamma", "Picture", "Response", "read_picture"]

MAX_PX = 60_000_000  # pixels: four times a usual camera's, 240 MB as single precision
MAX_BYTES = 400_000_000
MIN_PX = 32  # a side; less cannot hold an edge and its ground
_SUFFIXES = {"PNG": (".png",), "TIFF": (".tif", ".tiff"), "JPEG": (".jpg", ".jpeg")}
_MODES = ("L", "RGB", "I;16", "I;16B", "I;16L")
_ORIENTATION = 0x0112
_TURNS = (
    "as stored",
    "mirrored",
    "turned by 180°",
    "flipped",
    "transposed",
    "turned by 90° right",
    "transversed",
    "turned by 90° left",
)


@runtime_checkable
class Response(Protocol):
    """How a camera turns light into numbers: a law with a name that can be undone."""

    @property
    def name(self) -> str:
        """What it is called in the provenance."""

    def linear(self, share: FloatArray) -> FloatArray:
        """Light, 0 to 1, for numbers given as a share of full scale."""


@dataclass(frozen=True, kw_only=True)
class _Srgb:
    """The curve of IEC 61966-2-1, which nearly every camera and telephone writes."""

    name: str = "sRGB"

    def linear(self, share: FloatArray) -> FloatArray:
        """Light for numbers: a straight foot, then a power of 2.4."""
        foot = share <= 0.04045
        return np.asarray(np.where(foot, share / 12.92, ((share + 0.055) / 1.055) ** 2.4))


@dataclass(frozen=True, kw_only=True)
class _Linear:
    """Numbers in proportion to light, as industrial cameras and raw conversions give them."""

    name: str = "linear"

    def linear(self, share: FloatArray) -> FloatArray:
        """Light for numbers: the same."""
        return share


@dataclass(frozen=True, kw_only=True)
class Gamma:
    """Numbers that go with a power of light: light = share ** exponent.

    Parameters
    ----------
    exponent : float
        From 0.2 to 5.

    Examples
    --------
    >>> import edgekit as ek
    >>> round(float(ek.pictures.Gamma(exponent=2.2).linear(0.5)), 3)
    0.218
    """

    exponent: float
    name: str = field(init=False, default="gamma")

    def __post_init__(self) -> None:
        remedy = "Give a power such as 2.2."
        exponent = checks.between("exponent", self.exponent, 0.2, 5.0, remedy)
        checks.keep_numbers(self, exponent=exponent, name=f"gamma {exponent:g}")

    def linear(self, share: FloatArray) -> FloatArray:
        """Light for numbers: a power of them."""
        return np.asarray(
            checks.array_between("share", share, 0, np.inf, ends=True) ** self.exponent
        )


SRGB = _Srgb()
LINEAR = _Linear()


class Picture(Record):
    """A picture as light.

    Attributes
    ----------
    light : array (rows, columns), float32
        Linear intensity, 0 to 1 of full scale. Pixel centres are whole numbers: x counts columns to
        the right, y rows downwards, from the centre of the first pixel.
    clipped : array (rows, columns), bool
        Pixels at either end of the scale: how much light fell there is not known.
    step : float
        One step of the file's numbers at half of full scale, as linear intensity.
    response_stated : bool
        Whether the file itself, or the user, states that response; else it is taken on trust and
        carried in the budget.
    file, sha256, form, bits, channel, response, turned : str and int
        Provenance: file name, digest of its bytes, container, bits a channel, what of a colour
        picture was used, response undone, turn or mirroring undone.
    """

    light: NDArray[np.float32]
    clipped: NDArray[np.bool_]
    step: float
    response_stated: bool
    file: str
    sha256: str
    form: str
    bits: int
    channel: str
    response: str
    turned: str

    @property
    def size_px(self) -> tuple[int, int]:
        """Columns and rows."""
        rows, columns = self.light.shape
        return columns, rows

    def __repr__(self) -> str:
        columns, rows = self.size_px
        return (
            f"{self.file}: {columns} x {rows} px, {self.form} {self.bits} bit, {self.channel}, "
            f"{self.response}, {self.turned}, {self.clipped.mean():.1%} clipped"
        )


def read_picture(
    path: str | Path, *, response: Response, response_checked: bool = False
) -> Picture:
    """Read a picture into linear intensity.

    Parameters
    ----------
    path : str or Path
        PNG or TIFF of 8 or 16 bit grey or 8 bit colour, or JPEG. A JPEG or TIFF is turned as its
        orientation says.
    response : Response
        How its numbers stand for light: `SRGB`, `LINEAR` or `Gamma`. It has to be given: taking
        one for the other moves every edge by half a pixel, and more out of focus.
    response_checked : bool
        That it was checked on this camera, say with a step wedge.

    Returns
    -------
    Picture
        Of a colour picture the green channel, which JPEG keeps sharpest after luminance.

    Raises
    ------
    BadFile
        For files that are not what they are called, too large, too small, or that would be
        degraded: palette, CMYK, transparency, several frames, 16-bit colour, HEIC.
    Cannot
        For a file that states another response.

    Examples
    --------
    >>> import numpy as np, edgekit as ek, tempfile, pathlib
    >>> from PIL import Image
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = pathlib.Path(folder) / "grey.png"
    ...     Image.fromarray(np.full((40, 60), 128, np.uint8)).save(file)
    ...     ek.pictures.read_picture(file, response=ek.pictures.SRGB)
    grey.png: 60 x 40 px, PNG 8 bit, grey, sRGB, as stored, 0.0% clipped
    """
    checks.instance("response", response, Response, "Give ek.pictures.SRGB, LINEAR or Gamma(...).")
    file, raw = _bytes(path)
    numbers, header = _decoded(file, raw)
    states, turn = header.states, header.turn
    if states is not None and states != response.name:
        raise Cannot(
            f"{file.name} says of itself that its numbers are {states}",
            response.name,
            "Read it as it was written: a wrong response moves every edge by half its blur.",
        )
    colour = numbers.ndim == 3
    numbers = _upright(numbers[..., 1] if colour else numbers, header.left)
    return _picture(
        numbers,
        header.bits,
        response,
        states is not None or response_checked,
        {
            "file": file.name,
            "sha256": hashlib.sha256(raw).hexdigest(),
            "form": header.form,
            "channel": "green" if colour else "grey",
            "turned": _TURNS[turn - 1] if 1 <= turn <= 8 else _TURNS[0],
        },
    )


class _Header(NamedTuple):
    """What a file says of itself; ``turn`` as stored, ``left`` what the decoder left of it."""

    form: str
    bits: int
    states: str | None
    turn: int
    left: int


_DAMAGE = (
    OSError,
    ValueError,
    SyntaxError,
    TypeError,
    KeyError,
    IndexError,
    OverflowError,
    EOFError,
    AttributeError,
    NotImplementedError,
    MemoryError,
)


def _decoded(file: Path, raw: bytes) -> tuple[NDArray[np.integer], _Header]:
    """The numbers of a file, and what it says of itself."""
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(raw), formats=("PNG", "TIFF", "JPEG")) as image:
                _check_header(file, image)
                form, bits = str(image.format), _bits(file, image)
                states = _stated(image)
                turn = int(image.getexif().get(_ORIENTATION, 1))
                numbers = np.asarray(image)
                left = int(image.getexif().get(_ORIENTATION, 1))  # a TIFF is turned by its decoder
    except EdgekitError:
        raise
    except Image.DecompressionBombError as error:
        raise _too_large(file, str(error)) from error
    except UnidentifiedImageError as error:
        raise _refused(file, "is no PNG, TIFF or JPEG that can be read", str(error)) from error
    except _DAMAGE as error:
        raise BadFile(
            f"{file.name} is damaged and cannot be decoded",
            str(error),
            "Copy the file again.",
            file=file.name,
        ) from error
    return numbers, _Header(form, bits, states, turn, left)


def _picture(
    numbers: NDArray[np.integer],
    bits: int,
    response: Response,
    stated: bool,
    source: dict[str, str],
) -> Picture:
    top = 2**bits - 1
    scale = response.linear(np.arange(top + 1) / top)
    checks.frozen_array("light", scale)
    light = np.take(scale.astype(np.float32), numbers)
    clipped = (numbers == 0) | (numbers == top)
    at = int(np.clip(np.searchsorted(scale, 0.5 * (scale[0] + scale[-1])), 1, top))
    return Picture(
        light=read_only(light),
        clipped=read_only(clipped),
        step=float(scale[at] - scale[at - 1]),
        bits=bits,
        response=response.name,
        response_stated=bool(stated),
        **source,
    )


def _bytes(path: str | Path) -> tuple[Path, bytes]:
    checks.instance("path", path, (str, Path), "Give the file's name.")
    try:
        file = Path(path)
        size = file.stat().st_size
        if size > MAX_BYTES:
            raise BadFile(
                f"{file.name} is larger than {MAX_BYTES // 10**6} MB",
                size,
                "Crop the picture.",
                file=file.name,
            )
        raw = read_file(file, MAX_BYTES)
    except EdgekitError:
        raise
    except (OSError, ValueError, TypeError) as error:
        raise BadFile(
            "the picture cannot be read", str(path), "Check the path.", file=str(path)
        ) from error
    if not raw:
        raise BadFile(f"{file.name} is empty", 0, "Copy the file again.", file=file.name)
    kind = raw[8:12] if raw[4:8] == b"ftyp" else b""
    if kind:
        raise _refused(
            file, "is HEIC, AVIF or a film, not PNG, TIFF or JPEG", kind.decode("latin-1")
        )
    return file, raw


def _refused(file: Path, what: str, value: object) -> BadFile:
    return BadFile(
        f"{file.name} {what}",
        value,
        "Have the camera write JPEG at its best quality, or export PNG or TIFF, grey or RGB.",
        file=file.name,
    )


def _too_large(file: Path, value: object) -> BadFile:
    return BadFile(
        f"{file.name} has more than {MAX_PX // 10**6} million pixels",
        value,
        "Crop the picture to the blade and the target.",
        file=file.name,
    )


def _check_header(file: Path, image: Image) -> None:
    """Everything that can be said before decoding."""
    columns, rows = image.size
    if not columns * rows <= MAX_PX:
        raise _too_large(file, f"{columns} x {rows}")
    if not min(columns, rows) >= MIN_PX:
        raise BadFile(
            f"{file.name} is smaller than {MIN_PX} pixels a side",
            f"{columns} x {rows}",
            "Give the picture as the camera wrote it, not a preview.",
            file=file.name,
        )
    form = str(image.format)
    if file.suffix.lower() not in _SUFFIXES.get(form, ()):
        raise BadFile(
            f"{file.name} is a {form} by its content, not by its name",
            file.suffix,
            f"Name it {_SUFFIXES.get(form, ('.png',))[0]}, if it is the right file.",
            file=file.name,
        )
    if getattr(image, "n_frames", 1) != 1:
        raise _refused(file, "holds several frames", getattr(image, "n_frames", None))
    if image.mode not in _MODES:
        words = {
            "P": "a palette",
            "CMYK": "CMYK",
            "1": "black and white only",
            "LA": "transparency",
            "RGBA": "transparency",
            "F": "floating point",
            "I": "32-bit numbers",
        }
        raise _refused(
            file, f"holds {words.get(image.mode, 'colours of another kind')}", image.mode
        )
    if "transparency" in image.info:
        raise _refused(file, "holds transparency", image.mode)


def _bits(file: Path, image: Image) -> int:
    """Bits a channel; colour of more than 8, which the decoder would cut down, is refused."""
    stored = getattr(image, "tag_v2", {}).get(258, ()) if image.format == "TIFF" else ()
    deep = any(int(b) > 8 for b in stored) or any(
        "16" in str(tile[3]) for tile in getattr(image, "tile", ())
    )
    if image.mode == "RGB":
        if deep:
            raise _refused(file, "holds 16 bit a colour, which would be cut to 8", "48-bit RGB")
        return 8
    if image.mode == "L":
        if stored and int(stored[0]) != 8:
            raise _refused(file, "holds another number of bits than 8 or 16", tuple(stored))
        return 8
    if stored and int(stored[0]) != 16:
        raise _refused(file, "holds another number of bits than 8 or 16", tuple(stored))
    return 16


def _stated(image: Image) -> str | None:
    """The response a file states: a JPEG is written for the eye, a PNG may name sRGB or gamma."""
    if image.format == "JPEG" or "srgb" in image.info:
        return SRGB.name
    gamma = image.info.get("gamma")
    if isinstance(gamma, float) and abs(gamma - 1.0) < 0.01:
        return LINEAR.name
    if isinstance(gamma, float) and abs(gamma - 1 / 2.2) < 0.01:
        return SRGB.name
    return None


def _upright(numbers: NDArray[np.integer], turn: int) -> NDArray[np.integer]:
    """The array as its EXIF orientation (CIPA DC-008, tag 274) says it is to be seen."""
    if turn in (5, 6, 7, 8):
        numbers = numbers.T
    if turn in (2, 3, 6, 7):
        numbers = numbers[:, ::-1]
    if turn in (3, 4, 7, 8):
        numbers = numbers[::-1]
    return np.ascontiguousarray(numbers)
