"""Results written and read whole: comparisons, lives, forecasts, sweeps, with what made them."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from edgekit import checks, citing
from edgekit.archive.codec import Decoder, Encoder
from edgekit.clinic.forecasting.forecast import Forecast
from edgekit.errors import BadFile, reading
from edgekit.files import file_path, read_file, write_file
from edgekit.life.life import Life
from edgekit.study.compare import Comparison

__all__ = ["read_result", "write_result"]

FORMAT = "edgekit result 1"
CONTENT = "result.json"
MAX_BYTES = 2_000_000_000  # unpacked
KINDS = (Comparison, Life, Forecast, pd.DataFrame)
REMEDY = "Give a Comparison, a Life, a Forecast or the table of a sweep."
AGAIN = "Write it again with write_result."


def write_result(
    result: Comparison | Life | Forecast | pd.DataFrame, path: str | Path, *, replace: bool = False
) -> Path:
    """Write a result whole, with the versions, the seed and the inputs that made it.

    Blades are kept as by `write_blade`, methods, rules and numbers to the last bit. A part of your
    own, such as a rule that you wrote, cannot be kept in a file: that is refused.

    Parameters
    ----------
    result : Comparison, Life, Forecast, or the table of a sweep
    path : str or Path
        Of a zip archive.
    replace : bool
        Without it a file that exists is left alone.

    Returns
    -------
    Path

    Raises
    ------
    BadArgument
        Not such a result.
    Cannot
        It holds a part of your own.
    EdgekitError
        The file exists, or cannot be written.

    Examples
    --------
    >>> import edgekit as ek, tempfile, pathlib
    >>> result = ek.compare(ek.patterns.hoe(), [ek.methods.powered()], runs=4, seed=1)
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "comparison.zip"
    >>> again = ek.read_result(ek.write_result(result, file))
    >>> again.runs.equals(result.runs), again.cite() == result.cite()
    (True, True)
    """
    checks.instance("result", result, KINDS, REMEDY)
    encoder = Encoder()
    content = {
        "format": FORMAT,
        "made by": citing.made_by(result),
        "result": encoder.encode(result),
        "blades": encoder.blade_texts(),
    }
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(CONTENT, json.dumps(content, indent=1, allow_nan=False))
        for number, array in enumerate(encoder.arrays):
            with archive.open(f"{number}.npy", "w") as member:
                np.lib.format.write_array(member, np.asarray(array), allow_pickle=False)
    return write_file(file_path(path), packed.getvalue(), replace=replace)


def read_result(path: str | Path) -> Comparison | Life | Forecast | pd.DataFrame:
    """Read a result that `write_result` wrote; it cites the versions that computed it.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Comparison, Life, Forecast or DataFrame

    Raises
    ------
    BadFile
        It cannot be read, is not one of `write_result`'s, or was cut or edited.

    Examples
    --------
    >>> import edgekit as ek, tempfile, pathlib
    >>> life = ek.live(ek.patterns.hoe(), ek.methods.powered(), rng=3)
    >>> file = ek.write_result(life, pathlib.Path(tempfile.mkdtemp()) / "life.zip")
    >>> ek.read_result(file).history.equals(life.history)
    True
    """
    file = file_path(path)
    with reading(file.name):
        content, arrays = _unpacked(file)
        try:
            result = Decoder(arrays, content["blades"]).decode(content["result"])
            checks.instance("result", result, KINDS, AGAIN)
            citing.keep_made_by(result, str(content["made by"]))
        except (LookupError, TypeError, AttributeError, ValueError) as error:
            raise BadFile(
                f"{file.name} holds no whole result", str(error), AGAIN, file=file.name
            ) from error
    return result  # type: ignore[no-any-return]


def _unpacked(file: Path) -> tuple[dict[str, Any], list[np.ndarray]]:
    """The JSON of a result and its arrays, of bounded size."""
    try:
        with zipfile.ZipFile(io.BytesIO(read_file(file, MAX_BYTES))) as archive:
            sizes = {item.filename: item.file_size for item in archive.infolist()}
            if sum(sizes.values()) > MAX_BYTES:
                raise ValueError(f"{sum(sizes.values()):,} bytes unpacked, above {MAX_BYTES:,}")
            content = json.loads(archive.read(CONTENT))
            arrays = [_array(archive, number) for number in range(len(sizes) - 1)]
    except (OSError, LookupError, ValueError, RecursionError, zipfile.BadZipFile) as error:
        remedy = "Check the path; give a file that write_result wrote."
        what = f"{file.name} cannot be read as a result"
        raise BadFile(what, str(error), remedy, file=file.name) from error
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        what = f"{file.name} is not the file of a result"
        raise BadFile(what, FORMAT, AGAIN, file=file.name)
    return content, arrays


def _array(archive: zipfile.ZipFile, number: int) -> np.ndarray:
    with archive.open(f"{number}.npy") as member:
        return np.asarray(np.lib.format.read_array(member, allow_pickle=False))
