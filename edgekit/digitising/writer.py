"""Writing blades to files; the format is described in `edgekit.digitising.reader`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from edgekit.digitising.file_format import (
    AXES,
    EXACT,
    FORMAT,
    settings_file,
    table_text,
    toml,
    write_text,
)
from edgekit.geometry.blade import Blade, Trace

__all__ = ["write_blade"]

WRITTEN_POINTS = 200  # of an edge that came from neither a pattern nor a file


def write_blade(blade: Blade, path: str | Path) -> Path:
    """Write a blade so that `read_blade` gives it back.

    A pattern is written as its name and arguments, a blade read from a file as it was read, any
    other as 200 exact points an edge.

    Parameters
    ----------
    blade : Blade
    path : str or Path
        The ``.toml`` file; points go beside it into a ``.csv`` of the same stem.

    Returns
    -------
    Path
        The ``.toml`` file written.

    Examples
    --------
    >>> import edgekit as ek, tempfile, pathlib
    >>> blade = ek.patterns.hoe().moved([[0, -1, 0], [1, 0, 0], [0, 0, 1]])
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     again = ek.read_blade(ek.write_blade(blade, pathlib.Path(folder) / "hoe.toml"))
    >>> round(again.edges["edge"].length_mm, 6)
    1.5
    """
    file = settings_file(path)
    table = file.with_suffix(".csv")
    if blade.pattern is not None:
        settings: dict[str, Any] = {"format": FORMAT, "source": "pattern"}
        write_text(file, toml(settings, blade.pattern))
        return file
    trace = blade.trace or _exact_trace(blade)
    settings = {**trace.settings, "points": table.name, "order": "heel to toe"}
    exact = settings["source"] == "points"
    columns = AXES + (EXACT if exact else ())
    write_text(table, table_text(columns, trace.points_mm))
    write_text(file, toml(settings))
    return file


def _exact_trace(blade: Blade) -> Trace:
    edges = dict(blade.edges) | ({"unused": blade.unused} if blade.unused is not None else {})
    rows = {}
    for name, edge in edges.items():
        frame = edge.frame(edge.stations(WRITTEN_POINTS))
        angle = np.degrees(frame.angle.value) + np.zeros(WRITTEN_POINTS)
        rows[name] = np.column_stack([frame.position, frame.face.value, angle])
    axis = next(iter(edges.values())).handle_axis
    settings = {
        "format": FORMAT,
        "name": blade.name,
        "kind": blade.kind.value,
        "source": "points",
        "handle_axis": [float(item) for item in axis],
        "thickness_mm": blade.thickness_mm,
        "width_mm": blade.section.width_mm,
    }
    return Trace(settings=settings, points_mm=rows)
