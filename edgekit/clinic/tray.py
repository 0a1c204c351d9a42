"""Read a tray list, which names each instrument and its blade."""

import difflib
import os
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from edgekit.digitising.reader import read_blade
from edgekit.display import hidden, visible
from edgekit.errors import EdgekitError, reading
from edgekit.files import beside, file_path
from edgekit.geometry import patterns
from edgekit.geometry.blade import Blade
from edgekit.tables import read_form

__all__ = ["read_tray"]

PATTERNS: dict[str, Callable[[], Blade]] = {
    "universal curette": patterns.universal_curette,
    "area-specific curette": patterns.area_specific_curette,
    "half-length curette": patterns.half_length_curette,
    "straight sickle": patterns.straight_sickle,
    "curved sickle": patterns.curved_sickle,
    "hoe": patterns.hoe,
}


def read_tray(path: str | os.PathLike[str]) -> dict[str, Blade]:
    """Read a tray list: a CSV with the columns ``instrument`` and ``blade``.

    A blade is the settings file of a trace (``….toml``, beside the list) or the name of a pattern,
    which then has its default shape.

    Parameters
    ----------
    path : path

    Returns
    -------
    dict of code to Blade
        In the order of the list, as `plan_bench` takes it.

    Raises
    ------
    EdgekitError
        A column is missing; a code is empty, occurs twice, or is a number without quotation marks;
        a blade is neither.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "tray.csv"
    >>> _ = path.write_text("instrument,blade\\nFH-01-HO,hoe\\n")
    >>> list(read_tray(path))
    ['FH-01-HO']
    """
    source = file_path(path)
    with reading(source.name):
        return _from_table(*read_form(source), source)


def _from_table(table: pd.DataFrame, lines: list[int], source: Path) -> dict[str, Blade]:
    missing = [name for name in ("instrument", "blade") if name not in table.columns]
    if missing:
        raise EdgekitError("the tray list lacks columns", missing, "Name them instrument, blade.")
    kind = getattr(table["instrument"].dtype, "kind", "O")
    if kind in "iufb" and len(table):
        raise EdgekitError(
            "the codes of the tray list were read as numbers, which would lose zeros in front",
            str(table["instrument"].iloc[0]),
            'Put codes in quotation marks, such as "007".',
        )
    tray: dict[str, Blade] = {}
    pairs = zip(table["instrument"], table["blade"], strict=True)
    for line, (name, blade) in zip(lines, pairs, strict=True):
        code = visible(str(name)).strip()
        if hidden(str(name)):
            raise EdgekitError(
                f"line {line} of {source.name}: a code holds {hidden(str(name))[0]}",
                name,
                "Write the code again: that letter cannot be seen.",
            )
        if not code or code in tray:
            raise EdgekitError(
                f"line {line} of {source.name}: each instrument needs a code of its own",
                code,
                "Give every row another code.",
            )
        tray[code] = _blade(str(blade).strip(), source, line)
    return tray


def _blade(name: str, source: Path, line: int) -> Blade:
    if name.lower().endswith(".toml"):
        return read_blade(beside(source, name))
    if name.casefold() not in PATTERNS:
        near = difflib.get_close_matches(name.casefold(), PATTERNS, 1)
        hint = f"Did you mean {near[0]!r}?" if near else f"Patterns are {', '.join(PATTERNS)}."
        raise EdgekitError(
            f"line {line} of {source.name}: a blade is a .toml file or a pattern", name, hint
        )
    return PATTERNS[name.casefold()]()
