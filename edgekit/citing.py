"""What made a result, in one paragraph for a report: versions, seed, inputs."""

import re
from collections.abc import Mapping

import edgekit


def paragraph(what: str, inputs: Mapping[str, object], *, seed: object = None) -> str:
    """One paragraph: what it is, the versions that computed it, the seed, and every input."""
    drawn = "" if seed is None else f", seed {seed}"
    versions = f"edgekit {edgekit.__version__} (results {edgekit.RESULTS}{drawn})"
    given = "; ".join(f"{name}: {in_line(item)}" for name, item in inputs.items())
    return f"{what}, computed with {versions} from {given}."


def in_line(item: object) -> str:
    """An input in words on one line; several are joined by commas."""
    if isinstance(item, tuple | list):
        return ", ".join(map(in_line, item))
    name = getattr(item, "name", None)
    text = name if isinstance(name, str) else str(item)
    return re.sub(r"\s+", " ", text).strip()
