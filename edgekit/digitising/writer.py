"""Writing blades to files; the format is described in `edgekit.digitising.reader`."""

from __future__ import annotations

import glob
import re
import secrets
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np

from edgekit import checks
from edgekit.digitising.file_format import (
    AXES,
    EXACT,
    FORMAT,
    read_settings,
    settings_file,
    table_text,
    toml,
)
from edgekit.errors import BadFile, EdgekitError
from edgekit.files import read_file, remove_leftovers, there, write_file
from edgekit.geometry.blade import Blade, Trace

__all__ = ["write_blade"]

SHOWN = 40  # letters of a name by which a killed process's leftovers are found
WRITTEN_POINTS = 200  # of an edge that came from neither a pattern nor a file


def write_blade(blade: Blade, path: str | Path, *, replace: bool = False) -> Path:
    """Write a blade so that `read_blade` gives it back.

    A pattern is written as its name and arguments, a blade read from a file as it was read, any
    other as 200 exact points an edge.

    The points of ``NAME.toml`` go beside it into ``NAME.csv``. If a file of either name is there,
    they go into a new file ``NAME.xxxxxxxx.csv`` (eight random digits), so no file is written over:
    the settings, which name their points file and are put in place last, switch from the old blade
    to the new one in one step. Only then is the old blade's points file removed. A kill at any
    moment leaves the old blade or the new one, and perhaps a points file that no settings name.

    Parameters
    ----------
    blade : Blade
    path : str or Path
        The settings file. A name may hold dots: only ``.toml`` is taken as a suffix, to all else
        it is appended.
    replace : bool
        Without it a blade that exists is left alone.

    Returns
    -------
    Path
        The ``.toml`` file written.

    Raises
    ------
    EdgekitError
        The file exists, or cannot be written: a missing folder, a full disk.

    Examples
    --------
    >>> import edgekit as ek, tempfile, pathlib
    >>> blade = ek.patterns.hoe().moved([[0, -1, 0], [1, 0, 0], [0, 0, 1]])
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = ek.write_blade(blade, pathlib.Path(folder) / "FH-03.1")
    ...     file.name, sorted(item.name for item in file.parent.iterdir())
    ...     round(ek.read_blade(file).edges["edge"].length_mm, 6)
    ('FH-03.1.toml', ['FH-03.1.csv', 'FH-03.1.toml'])
    1.5
    """
    checks.instance("blade", blade, Blade, "Give a Blade, such as ek.patterns.hoe().")
    checks.flag("replace", replace)
    file = settings_file(path)
    if there(file) and not replace:
        raise BadFile(
            "the file exists already",
            str(file),
            "Choose another name or say replace=True.",
            file=file.name,
        )
    before = _own_table(file)
    remove_leftovers(file.parent, [glob.escape(file.stem[:SHOWN]) + "*"])
    table_name = _new_table(file)
    settings, points = blade_texts(blade, table_name.name)
    if points is None:
        write_file(file, settings, replace=replace)
    else:
        table = write_file(table_name, points)
        try:
            write_file(file, settings, replace=replace)
        except EdgekitError:  # nothing else, which could come after the settings have their name
            table.unlink(missing_ok=True)
            raise
    if before is not None:
        with suppress(OSError):
            before.unlink()
    return file


def blade_texts(blade: Blade, table: str) -> tuple[str, str | None]:
    """Text of a blade's settings, and of its points, which go into a file called `table`; a pattern
    has none.
    """
    if blade.pattern is not None:
        return toml({"format": FORMAT, "source": "pattern"}, blade.pattern), None
    trace = blade.trace or _exact_trace(blade)
    columns = AXES + (EXACT if trace.settings["source"] == "points" else ())
    settings: dict[str, Any] = {**trace.settings, "points": table, "order": "heel to toe"}
    return toml(settings), table_text(columns, trace.points_mm)


def _new_table(file: Path) -> Path:
    """A name for the points of a settings file that no file has, nor had under these settings."""
    plain = file.with_suffix(".csv")
    if not (there(file) or there(plain)):
        return plain
    return file.with_suffix(f".{secrets.token_hex(4)}.csv")


def _own_table(file: Path) -> Path | None:
    """The points file of the blade in a settings file, if it bears its name and serves no other."""
    try:
        name = str(read_settings(file).items.get("points"))
    except EdgekitError:  # no blade is there
        return None
    if not re.fullmatch(re.escape(file.stem) + r"(\.[0-9a-f]{8})?\.csv", name):
        return None
    try:
        others = [read_file(item) for item in file.parent.glob("*.toml") if item != file]
    except OSError:
        return None
    shared = any(name.encode() in other for other in others)
    return None if shared else file.with_name(name)


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
    if blade.thickness_taper:
        settings["thickness_taper"] = blade.thickness_taper
    return Trace(settings=settings, points_mm=rows)
