"""A retirement width in millimetres, as a limit of forecasts and of simulated lives alike."""

from dataclasses import dataclass

import numpy as np

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import EdgekitError
from edgekit.life.retire import Basis, MaxWidthLoss, WidthLoss
from edgekit.units import UM_PER_MM

__all__ = ["MinWidth"]


@dataclass(frozen=True, kw_only=True)
class MinWidth:
    """Retire when the width falls to `width_mm` [mm].

    Examples
    --------
    >>> print(MinWidth(width_mm=0.7))
    0.7 mm of width left (mean along the sides)
    >>> MinWidth(width_mm=0.7).limit_um(np.array([860.0]))
    array([700.])
    """

    width_mm: float
    basis: Basis = Basis.MEAN

    def __post_init__(self) -> None:
        checks.keep_numbers(self, width_mm=checks.positive("width_mm", self.width_mm))
        remedy = "Give Basis.MEAN, Basis.DEEPEST or Basis.CALIPER."
        checks.instance("basis", self.basis, Basis, remedy)

    def used_up(self, lost: WidthLoss) -> FloatArray:
        """Loss over the width that may go."""
        if not self.width_mm < lost.new_width_mm:
            raise EdgekitError(
                f"the new blade is only {lost.new_width_mm:.4g} mm wide",
                self.width_mm,
                "Give a width_mm below that.",
            )
        share = 1 - self.width_mm / lost.new_width_mm
        return MaxWidthLoss(fraction=share, basis=self.basis).used_up(lost)

    def limit_um(self, first_um: FloatArray) -> FloatArray:
        """Retirement width [µm] of edges whose first readings [µm] are given, for `forecast`."""
        return np.full_like(first_um, self.width_mm * UM_PER_MM)

    def __str__(self) -> str:
        return f"{self.width_mm:g} mm of width left ({self.basis.value})"
