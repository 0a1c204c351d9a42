"""Rules that retire a blade: each has a limit for what `life.measures` measures."""

import enum
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import (
    FloatArray,
    as_array,
    between,
    fraction,
    instance,
    keep_numbers,
    positive,
)
from edgekit.errors import Cannot
from edgekit.evidence_table import value
from edgekit.lazy import shown
from edgekit.units import UM_PER_MM

__all__ = [
    "DEFAULT_RULES",
    "Basis",
    "MaxThicknessLoss",
    "MaxWidthLoss",
    "MinLength",
    "MinStrength",
    "MinWidth",
    "RetireRule",
    "WidthLoss",
]

__dir__ = shown(__all__)


class WidthLoss(NamedTuple):
    """What a rule is given: losses (R,) against a new blade's dimensions [mm], the strength left,
    and how many ``sessions`` (R,) it took. `edgekit.life.measures` works it out."""

    mean_width_mm: FloatArray
    deepest_width_mm: FloatArray
    caliper_width_mm: FloatArray
    length_mm: FloatArray
    thickness_mm: FloatArray
    new_width_mm: float
    new_length_mm: float
    new_thickness_mm: float
    strength_left: FloatArray | None = None  # computed only where a rule needs it
    too_dull: NDArray[np.bool_] | None = None  # the stone took nothing off an edge that needs it
    sessions: NDArray[np.int_] | None = None  # how many it took


class Basis(enum.Enum):
    """Which loss of width counts."""

    MEAN = "mean along the sides"
    DEEPEST = "deepest anywhere on the sides"
    CALIPER = "at mid-length, where a caliper reads"


@runtime_checkable
class RetireRule(Protocol):
    """A limit on wear.

    Examples
    --------
    The deepest loss of width counts, in millimetres:

    >>> from dataclasses import dataclass
    >>> import edgekit as ek
    >>> @dataclass(frozen=True)
    ... class Deepest:
    ...     limit_mm: float = 0.15
    ...
    ...     def used_up(self, lost):
    ...         return lost.deepest_width_mm / self.limit_mm
    ...
    ...     def __str__(self):
    ...         return f"{self.limit_mm:g} mm gone at the deepest"
    >>> ek.testing.check_retire_rule(Deepest())
    >>> by_steps = ek.methods.freehand(stroke=ek.strokes.local(placements=6))
    >>> life = ek.live(ek.patterns.hoe(), by_steps, retire=Deepest(), rng=1, stations=16)
    >>> bool(life.history["used_up"].iloc[-1] >= 1)
    True
    """

    def used_up(self, lost: WidthLoss) -> FloatArray:
        """Loss as a share (R,) of what the rule allows; at 1 the blade is retired."""
        ...

    def __str__(self) -> str: ...


@dataclass(frozen=True, kw_only=True)
class TooDull:
    """Retire a blade off which a session took nothing although it needs grinding; part of every
    life.
    """

    def used_up(self, lost: WidthLoss) -> FloatArray:
        """1 where that happened."""
        happened = (
            np.zeros(np.shape(lost.mean_width_mm)) if lost.too_dull is None else lost.too_dull
        )
        return np.asarray(happened, dtype=float)

    def __str__(self) -> str:
        return "too dull to be ground within the largest advance; grind it another way first"


def chosen(rules: Iterable[RetireRule]) -> tuple[RetireRule, ...]:
    """The rules that a user chose: without the one that is part of every life."""
    return tuple(rule for rule in rules if not isinstance(rule, TooDull))


@dataclass(frozen=True, kw_only=True)
class MaxWidthLoss:
    """Retire when `fraction` of the new width is gone (Murray et al. 1984 by default).

    Examples
    --------
    >>> print(MaxWidthLoss(fraction=0.1))
    10 % of the width gone (mean along the sides)
    """

    fraction: float = value("retire_width_fraction")
    basis: Basis = Basis.MEAN

    def __post_init__(self) -> None:
        keep_numbers(self, fraction=fraction("fraction", self.fraction))
        instance("basis", self.basis, Basis, "Give Basis.MEAN, Basis.DEEPEST or Basis.CALIPER.")

    def used_up(self, lost: WidthLoss) -> FloatArray:
        """Loss over `fraction` of the width."""
        width = {
            Basis.MEAN: lost.mean_width_mm,
            Basis.DEEPEST: lost.deepest_width_mm,
            Basis.CALIPER: lost.caliper_width_mm,
        }[self.basis]
        return width / (self.fraction * lost.new_width_mm)

    def limit_um(self, first_um: FloatArray) -> FloatArray:
        """Retirement width [µm] of edges whose first readings [µm] are given, for `forecast`."""
        return np.asarray(as_array("first_um", first_um) * (1 - self.fraction))

    def __str__(self) -> str:
        return f"{self.fraction * 100:g} % of the width gone ({self.basis.value})"


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
        keep_numbers(self, width_mm=positive("width_mm", self.width_mm))
        remedy = "Give Basis.MEAN, Basis.DEEPEST or Basis.CALIPER."
        instance("basis", self.basis, Basis, remedy)

    def used_up(self, lost: WidthLoss) -> FloatArray:
        """Loss over the width that may go."""
        if not self.width_mm < lost.new_width_mm:
            raise Cannot(
                f"the new blade is only {lost.new_width_mm:.4g} mm wide",
                self.width_mm,
                "Give a width_mm below that.",
            )
        share = 1 - self.width_mm / lost.new_width_mm
        return MaxWidthLoss(fraction=share, basis=self.basis).used_up(lost)

    def limit_um(self, first_um: FloatArray) -> FloatArray:
        """Retirement width [µm] of edges whose first readings [µm] are given, for `forecast`."""
        return np.full_like(as_array("first_um", first_um), self.width_mm * UM_PER_MM)

    def __str__(self) -> str:
        return f"{self.width_mm:g} mm of width left ({self.basis.value})"


@dataclass(frozen=True, kw_only=True)
class MinLength:
    """Retire when less than `fraction` of the new length remains."""

    fraction: float = value("retire_length_fraction")

    def __post_init__(self) -> None:
        remedy = "Give the share of the length that must remain, such as 0.75."
        keep_numbers(self, fraction=between("fraction", self.fraction, 0.0, 1.0, remedy))

    def used_up(self, lost: WidthLoss) -> FloatArray:
        """Loss over the length that may be lost."""
        return lost.length_mm / ((1 - self.fraction) * lost.new_length_mm)

    def __str__(self) -> str:
        return f"only {self.fraction * 100:g} % of the length left"


@dataclass(frozen=True, kw_only=True)
class MaxThicknessLoss:
    """Retire when `fraction` of the new thickness is gone; honing the face reduces it."""

    fraction: float = value("retire_width_fraction")

    def __post_init__(self) -> None:
        keep_numbers(self, fraction=fraction("fraction", self.fraction))

    def used_up(self, lost: WidthLoss) -> FloatArray:
        """Loss over `fraction` of the thickness."""
        return lost.thickness_mm / (self.fraction * lost.new_thickness_mm)

    def __str__(self) -> str:
        return f"{self.fraction * 100:g} % of the thickness gone"


@dataclass(frozen=True, kw_only=True)
class MinStrength:
    """Retire when the blade withstands only `fraction` of the load at the toe it did when new.

    The most stressed section counts, in the worse of two directions of load; see
    `edgekit.bending.beam`. No source gives a limit: Murray et al. 1984 saw no significant loss at
    10-20 % less size.

    Examples
    --------
    >>> print(MinStrength(fraction=0.8))
    only 80 % of the new blade's strength left
    """

    fraction: float = value("retire_strength_fraction")

    def __post_init__(self) -> None:
        remedy = "Give a share of 1, such as 0.7 for 70 %."
        keep_numbers(self, fraction=between("fraction", self.fraction, 0.0, 1.0, remedy))

    def used_up(self, lost: WidthLoss) -> FloatArray:
        """Strength lost over the strength that may be lost."""
        if lost.strength_left is None:
            raise Cannot(
                "the strength was not measured", None, "Use the rule in `live` or `compare`."
            )
        return (1 - lost.strength_left) / (1 - self.fraction)

    def __str__(self) -> str:
        return f"only {self.fraction * 100:g} % of the new blade's strength left"


DEFAULT_RULES: tuple[RetireRule, ...] = (MaxWidthLoss(), MinLength(), MaxThicknessLoss())
