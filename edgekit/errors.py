"""Errors for bad input, by kind: what is wrong, the value, and what to do."""

import re
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["BadArgument", "BadFile", "Cannot", "EdgekitError", "reading"]

_LINE = re.compile(r"\bline (\d+)")
_COLUMN = re.compile(r"\bcolumns? (\w+)")
MAX_SHOWN = 120  # characters of a value in a message


class EdgekitError(ValueError):
    """Bad input to a public function; `BadArgument`, `BadFile` and `Cannot` are its kinds.

    Parameters
    ----------
    what : str
        What is wrong, naming the argument or the place in a file.
    value : object
        The offending value, kept as it was given.
    remedy : str
        What to do about it, as a sentence.

    Examples
    --------
    >>> from edgekit import EdgekitError
    >>> try:
    ...     raise EdgekitError("width_mm must be above 0", -0.8, "Give the width in millimetres.")
    ... except ValueError as error:
    ...     print(error)
    width_mm must be above 0, got -0.8. Give the width in millimetres.
    """

    def __init__(self, what: str, value: object, remedy: str) -> None:
        self.what = what
        self.value = value
        self.remedy = remedy
        super().__init__(what, value, remedy)

    def __str__(self) -> str:
        shown = repr(self.value)
        if len(shown) > MAX_SHOWN:
            shown = shown[: MAX_SHOWN - 3] + "..."
        return f"{self.what}, got {shown}. {self.remedy}"


class BadArgument(EdgekitError):
    """An argument of the wrong kind, or outside what it may be.

    Parameters
    ----------
    what, value, remedy
        As of `EdgekitError`.
    argument : str
        Name of the argument.

    Examples
    --------
    >>> import edgekit as ek
    >>> try:
    ...     ek.dull_edge("75", 4.0)
    ... except ek.BadArgument as error:
    ...     print(error.argument, error.value)
    internal_angle_deg 75
    """

    def __init__(self, what: str, value: object, remedy: str, *, argument: str = "") -> None:
        super().__init__(what, value, remedy)
        self.argument = argument


class BadFile(EdgekitError):
    """A file that cannot be read or written, or holds what it must not.

    Parameters
    ----------
    what, value, remedy
        As of `EdgekitError`.
    file : str
        Name of the file.
    line : int, optional
        Line of the fault, from 1.
    column : str, optional
        Name of its column, or key of a settings file.

    Examples
    --------
    >>> import edgekit as ek
    >>> try:
    ...     ek.read_blade("missing.toml")
    ... except ek.BadFile as error:
    ...     print(error.file, error.line)
    missing.toml None
    """

    def __init__(
        self,
        what: str,
        value: object,
        remedy: str,
        *,
        file: str = "",
        line: int | None = None,
        column: str | None = None,
    ) -> None:
        super().__init__(what, value, remedy)
        self.file = file
        self.line = line
        self.column = column


class Cannot(EdgekitError):
    """Sound arguments that together ask for what cannot be done.

    Examples
    --------
    >>> import edgekit as ek
    >>> try:
    ...     ek.strength(ek.patterns.hoe(), load_n=5.0)
    ... except ek.Cannot as error:
    ...     print(error.what)
    a hoe is not bent along its edge
    """


@contextmanager
def reading(file: str, *, named: bool = True) -> Iterator[None]:
    """Raise what is wrong in a file as `BadFile`, with the file's name in front unless `named`.

    Line and column are taken from where the message names them, as in "line 3, column price".
    """
    try:
        yield
    except BadFile:
        raise
    except EdgekitError as error:
        what = error.what if named else f"{file}: {error.what}"
        line, column = _LINE.search(what), _COLUMN.search(what)
        raise BadFile(
            what,
            error.value,
            error.remedy,
            file=file,
            line=int(line[1]) if line else None,
            column=column[1] if column else None,
        ) from error
