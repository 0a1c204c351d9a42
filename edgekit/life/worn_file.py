"""Worn blades in files: JSON with the blade's own text and every number to the last digit."""

from __future__ import annotations

import json
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np

from edgekit.checks import at_least, count, frozen_array, instance
from edgekit.digitising.reader import blade_of_texts
from edgekit.digitising.writer import blade_texts
from edgekit.errors import BadFile, Cannot
from edgekit.files import file_path, read_file, write_file
from edgekit.geometry.blade import Blade
from edgekit.grinding.worn_blade import WornBlade, WornEdge

__all__ = ["read_worn", "write_worn"]

FORMAT = "edgekit worn blade 1"
POINTS = "points.csv"
MAX_BYTES = 30_000_000  # forty times a worn blade of usual grids
ARRAYS = tuple(item.name for item in fields(WornEdge))


def write_worn(worn: WornBlade, path: str | Path, *, replace: bool = False) -> Path:
    """Write a worn blade so that `read_worn` gives it back bit by bit.

    A pattern or a traced blade goes on to the same bits; a blade that came from neither is kept as
    200 exact points an edge, as by `write_blade`.

    Parameters
    ----------
    worn : WornBlade
    path : str or Path
        Of a file in JSON.
    replace : bool
        Without it a file that exists is left alone.

    Returns
    -------
    Path

    Raises
    ------
    BadArgument
        Not a worn blade.
    EdgekitError
        The file exists, or cannot be written.

    Examples
    --------
    >>> import edgekit as ek, tempfile, pathlib
    >>> worn = ek.use(ek.patterns.hoe(), 45)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     again = ek.read_worn(ek.write_worn(worn, pathlib.Path(folder) / "FH-01-HO.json"))
    >>> bool((again.radius_um("edge") == worn.radius_um("edge")).all())
    True
    """
    instance("worn", worn, WornBlade, "Give a WornBlade, such as ek.use(blade, 45).")
    settings, points = blade_texts(worn.blade, POINTS)
    content = {
        "format": FORMAT,
        "blade": settings,
        "points": points,
        "fresh_radius_um": worn.fresh_radius_um,
        "sessions": worn.sessions,
        "use_strokes": worn.use_strokes,
        "edges": {
            name: {array: np.asarray(getattr(edge, array)).tolist() for array in ARRAYS}
            for name, edge in worn.edges.items()
        },
    }
    text = json.dumps(content, indent=1) + "\n"
    if len(text) > MAX_BYTES:
        what = f"the worn blade would take more than {MAX_BYTES // 1_000_000} MB"
        raise Cannot(what, len(text), "Wear a blade with fewer stations or depths.")
    return write_file(file_path(path), text, replace=replace)


def read_worn(path: str | Path) -> WornBlade:
    """Read a worn blade that `write_worn` wrote.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    WornBlade

    Raises
    ------
    BadFile
        It cannot be read, is not one of `write_worn`'s, or was cut or edited.

    Examples
    --------
    >>> import edgekit as ek, tempfile, pathlib
    >>> worn = ek.use(ek.patterns.hoe(), 45)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = ek.write_worn(worn, pathlib.Path(folder) / "worn.json")
    ...     bool((ek.read_worn(file).radius_um("edge") == worn.radius_um("edge")).all())
    True
    """
    file = file_path(path)
    content = _content(file)
    try:
        blade = blade_of_texts(content["blade"], content["points"], POINTS)
        edges = {
            str(name): WornEdge(**{array: frozen_array(array, edge[array]) for array in ARRAYS})
            for name, edge in content["edges"].items()
        }
        _check_shapes(blade, edges)
        return WornBlade(
            blade=blade,
            edges=edges,
            fresh_radius_um=at_least("fresh_radius_um", content["fresh_radius_um"], 0.0),
            sessions=count("sessions", content["sessions"], 0),
            use_strokes=at_least("use_strokes", content["use_strokes"], 0.0),
        )
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise BadFile(
            f"{file.name} holds no whole worn blade",
            str(error),
            "Write it again with write_worn.",
            file=file.name,
        ) from error


def _content(file: Path) -> dict[str, Any]:
    try:
        content = json.loads(read_file(file, MAX_BYTES))
    except (OSError, ValueError, RecursionError) as error:
        remedy = "Check the path and the file."
        raise BadFile(
            f"{file.name} cannot be read as JSON", str(error), remedy, file=file.name
        ) from error
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        what = f"{file.name} is not the file of a worn blade"
        raise BadFile(what, FORMAT, "Give one that write_worn wrote.", file=file.name)
    return content


def _check_shapes(blade: Blade, edges: dict[str, WornEdge]) -> None:
    if list(edges) != list(blade.edges):
        raise ValueError(f"edges {list(edges)} of a blade with {list(blade.edges)}")
    for name, edge in edges.items():
        depths, stations = edge.inset_mm.shape
        for array in ARRAYS:
            whole = (depths, stations) if array in ("depth_mm", "inset_mm") else (stations,)
            if getattr(edge, array).shape != whole:
                raise ValueError(f"{array} of {name} has the shape of another edge")
