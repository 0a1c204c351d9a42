"""Everything that decides a sweep's results, as text that can be compared entry by entry."""

from __future__ import annotations

import dataclasses
import inspect
import json
from collections.abc import Mapping
from os import PathLike
from pathlib import Path

import numpy as np
from scipy.interpolate import BSpline, PPoly

from edgekit.errors import Cannot
from edgekit.files import read_file
from edgekit.study.case import Task
from edgekit.study.checkpoint import MANIFEST, digest
from edgekit.study.grid import Grid

# Version of the model's results, raised by hand whenever a change of the code alters a number.
# tests/test_results_version.py fails when stored results move and this does not.
RESULTS = 7
_OWN_VERSIONS = ("edgekit", "numpy", "scipy")  # packages whose functions are known by their name
_UNCLEAR = "a sweep with a folder must be distinguishable from others, but this"


def check_results(folder: str | PathLike[str]) -> None:
    """Refuse a sweep's folder that was begun under another `RESULTS`.

    A folder without a readable manifest is left to `edgekit.study.checkpoint.Folder`.
    """
    try:
        before = json.loads(read_file(Path(folder) / MANIFEST))
    except (OSError, TypeError, ValueError):
        return
    if isinstance(before, dict) and before.get("results") != RESULTS:
        made = before.get("results", "none")
        raise Cannot(
            f"the folder was made by another version of the model: its RESULTS is {made}, "
            f"here it is {RESULTS}",
            str(folder),
            "Give an empty folder: results of two versions must not be mixed.",
        )


def sweep_manifest(task: Task, grid: Grid, settings: Mapping[str, object]) -> dict[str, object]:
    """The manifest of a sweep; values are described by the same text in every process."""
    from edgekit import __version__

    made_by = {"edgekit": __version__, "results": RESULTS}
    return {**made_by, **settings, "task": _described(task), "grid": _described(vars(grid))}


def _described(value: object) -> object:
    """A value as text that is the same in every process."""
    if isinstance(value, np.generic | np.ndarray):
        value = value.tolist()
    if value is None or isinstance(value, str | int | float | bool):
        return value
    if isinstance(value, tuple | list):
        return [_described(item) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {
            f.name: _described(getattr(value, f.name)) for f in dataclasses.fields(value) if f.init
        }
        return {"type": type(value).__qualname__, **fields}
    if isinstance(value, BSpline):
        return _described((value.t, value.c, value.k))
    if isinstance(value, PPoly):
        return _described((value.c, value.x))
    if isinstance(value, Mapping):
        return {str(key): _described(item) for key, item in value.items()}
    if hasattr(value, "__qualname__"):
        return _named(f"{value.__module__}.{value.__qualname__}", value)
    text = repr(value)
    if " at 0x" in text:
        kind = type(value).__qualname__
        remedy = f"Make {kind} a dataclass, or give it a __repr__ of its values."
        raise Cannot(f"{_UNCLEAR} has no description", text, remedy)
    return text


def _named(place: str, value: object) -> str:
    """A function or class by its name, and by its source where no version covers it."""
    if place.split(".", maxsplit=1)[0] in _OWN_VERSIONS:
        return place
    try:
        text = "" if "<" in place else inspect.getsource(value)  # type: ignore[arg-type]
    except (OSError, TypeError):
        text = ""
    # A lambda, or made within a function, where many share one name; or typed at a prompt.
    if not text:
        remedy = "Define it at the top of a module or of a notebook's cell."
        raise Cannot(f"{_UNCLEAR} cannot be identified", place, remedy)
    return f"{place} ({digest(text)[:12]})"
