"""What made a result, in one paragraph for a report: versions, seed, inputs."""

import re
from collections.abc import Mapping
from weakref import WeakKeyDictionary

import edgekit

_read: WeakKeyDictionary[object, str] = WeakKeyDictionary()  # results that came from files


def paragraph(
    what: str, inputs: Mapping[str, object], *, seed: object = None, of: object = None
) -> str:
    """One paragraph: what it is, the versions that computed it, the seed, and every input.

    A result `of` which it speaks may have come from a file, which says what computed it.
    """
    drawn = "" if seed is None else f", seed {seed},"
    given = "; ".join(f"{name}: {in_line(item)}" for name, item in inputs.items())
    return f"{what}, computed with {made_by(of)}{drawn} from {given}."


def made_by(result: object) -> str:
    """The versions that computed a result: those of its file, or these."""
    here = f"edgekit {edgekit.__version__} (results {edgekit.RESULTS})"
    try:
        return _read.get(result, here)
    except TypeError:  # what has no hash or no weak reference was not kept
        return here


def keep_made_by(result: object, versions: str) -> None:
    """Note which versions computed a result that came from a file."""
    try:
        _read[result] = versions
    except TypeError:  # a table, whose words came with it
        return


def in_line(item: object) -> str:
    """An input in words on one line; several are joined by commas."""
    if isinstance(item, tuple | list):
        return ", ".join(map(in_line, item))
    name = getattr(item, "name", None)
    text = name if isinstance(name, str) else str(item)
    return re.sub(r"\s+", " ", text).strip()
