"""When an instrument has had its life: a width, or a share of the new width."""

from __future__ import annotations

from dataclasses import dataclass

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import EdgekitError

__all__ = ["WidthLimit"]


@dataclass(frozen=True, kw_only=True)
class WidthLimit:
    """Retire at a width.

    Parameters
    ----------
    fraction : float, optional
        Share of the new width that may be lost, such as 0.2.
    width_mm : float, optional
        The retirement width itself [mm]. Give one of the two.
    new_width_mm : float, optional
        The new width that `fraction` is taken of [mm]; the first reading of each edge without it.

    Examples
    --------
    >>> import numpy as np
    >>> WidthLimit(fraction=0.2).limit_um(np.array([860.0]))
    array([688.])
    """

    fraction: float | None = None
    width_mm: float | None = None
    new_width_mm: float | None = None

    def __post_init__(self) -> None:
        if (self.fraction is None) == (self.width_mm is None):
            raise EdgekitError(
                "a limit is either a share or a width",
                (self.fraction, self.width_mm),
                "Give fraction=0.2 or width_mm=0.7.",
            )
        if self.fraction is not None:
            checks.between("fraction", self.fraction, 0, 1)
        if self.width_mm is not None:
            checks.positive("width_mm", self.width_mm)
            if self.new_width_mm is not None:
                raise EdgekitError(
                    "new_width_mm says nothing beside width_mm", self.new_width_mm, "Leave it out."
                )
        if self.new_width_mm is not None:
            checks.positive("new_width_mm", self.new_width_mm)

    def limit_um(self, first_um: FloatArray) -> FloatArray:
        """Retirement width [µm] of edges whose first readings [µm] are given."""
        if self.width_mm is not None:
            return first_um * 0 + self.width_mm * 1e3
        new_um = first_um if self.new_width_mm is None else first_um * 0 + self.new_width_mm * 1e3
        return new_um * (1 - (self.fraction or 0.0))
