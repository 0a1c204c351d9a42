"""Which engine computes strokes: compiled functions where numba is installed, or arrays."""

from __future__ import annotations

import importlib
import importlib.util
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

from edgekit.errors import BadArgument, Cannot

__all__ = ["engine"]

ARRAYS, COMPILED = "arrays", "compiled"
_chosen: list[str] = []


def engine(use: str | None = None) -> str:
    """Name the engine that computes sessions of strokes, after choosing one if asked to.

    Parameters
    ----------
    use : str, optional
        "compiled" or "arrays", from now on in this process. At first it is "compiled" where the
        extra ``fast`` (numba) is installed.

    Returns
    -------
    str

    Raises
    ------
    EdgekitError
        If there is no such engine here.

    Notes
    -----
    Results of one engine are equal to the last bit, however many runs are computed together; a life
    of `ek.live`, a session at a time, agrees with the same life of a sweep to twelve digits.
    Between engines, what a blade has lost agrees
    to twelve digits where sessions take the same strokes, as all of 11,561 compared did; the
    share still dull and the steel past the need to seven and five, since an apex that the stone
    just touches magnifies rounding.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.engine() in ("compiled", "arrays")
    True
    """
    if use is not None:
        _chosen[:] = [_checked(use)]
    return _chosen[0] if _chosen else COMPILED if _installed() else ARRAYS


def _checked(name: object) -> str:
    if not isinstance(name, str) or name not in (ARRAYS, COMPILED):
        remedy = f'Choose "{COMPILED}" or "{ARRAYS}".'
        raise BadArgument("no such engine", name, remedy, argument="use")
    if name == COMPILED and not _installed():
        raise Cannot("numba is not installed", name, "Install it: pip install numba.")
    return name


@cache
def _installed() -> bool:
    return importlib.util.find_spec("numba") is not None


@contextmanager
def using(name: str) -> Iterator[None]:
    """An engine for a while."""
    before = list(_chosen)
    engine(name)
    try:
        yield
    finally:
        _chosen[:] = before


@cache
def functions() -> Any:
    """The compiled functions; numba is imported here."""
    try:
        event: Any = importlib.import_module("numba.core.event")
        from edgekit.grinding.compiled import strokes
    except ImportError as error:
        remedy = f'Renew numba, or choose the other engine: edgekit.engine("{ARRAYS}").'
        raise Cannot(f"numba cannot be used: {error}", COMPILED, remedy) from error

    def announce(_: object, compiling: Any) -> None:
        if compiling.data["dispatcher"].py_func.__module__.startswith(__package__):
            say_once("compiling the strokes, once for this version: some ten seconds")

    ends = {"on_start": announce, "on_end": lambda *_: None}
    event.register("numba:compile", type("Announce", (event.Listener,), ends)())
    return strokes


@cache
def say_once(what: str) -> None:
    """A line on stderr, the first time."""
    sys.stderr.write(f"edgekit: {what}\n")
