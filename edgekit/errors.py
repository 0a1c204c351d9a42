"""The one kind of error for bad input: what is wrong, the value, and what to do."""

__all__ = ["EdgekitError"]


class EdgekitError(ValueError):
    """Bad input to a public function.

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
        if len(shown) > 120:
            shown = shown[:117] + "..."
        return f"{self.what}, got {shown}. {self.remedy}"
