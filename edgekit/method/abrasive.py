"""What a stone cuts with: its grain, its lubricant, and how much and how roughly it cuts.

The form of the stone (flat, rod, cone, disc) is one of the records of `edgekit.contact.stone`.
Removal, roughness and the share of grits that cut are entries of the evidence table with a wide
spread: no source measured any of them for a hand-held stone on a hardened blade.
"""

import enum
import math
from dataclasses import dataclass, field
from functools import partial

from edgekit.checks import frozen_array, instance, positive
from edgekit.contact.stone import FlatStone, Stone
from edgekit.errors import BadArgument
from edgekit.evidence_table import Evidence, Range, entry
from edgekit.method.grain import Scale, grain, grain_um

# A Gaussian surface: Rq / Ra.
RQ_PER_RA = math.sqrt(math.pi / 2)
# Standard normal deviate with a tenth above it: a range of sources is taken as four fifths.
_TENTH = 1.2816

__all__ = ["Abrasive", "Lubricant", "ceramic_stone", "diamond_plated_stone", "fine_natural_stone"]


class Lubricant(enum.Enum):
    """What is put on the stone, as a record only: no model here depends on it."""

    DRY = "dry"
    WATER = "water"
    OIL = "oil"


@dataclass(frozen=True, kw_only=True)
class Abrasive:
    """An abrasive: grain, lubricant, and evidence for removal and roughness.

    Parameters
    ----------
    name : str
        What the user calls it.
    scale : Scale or str, optional
        Scale of the grit number; needs `number`.
    number : int, optional
        Grit number; needs `scale`.
    median_um : float, optional
        Median grain or crystal size [µm] of a stone that no scale grades, such as a natural one.
        Give either this or scale and number.
    median_range_um : tuple of float, optional
        Where the median may lie [µm], taken as an 80 % range; by default it is taken as known.
    lubricant : Lubricant
        As the trade uses it.
    removal : Evidence
        Steel removed by one stroke [mm³], with its spread.
    ra_per_grain : Evidence
        Ra across the lay over the median grain size [1], with its spread.
    active_grits : Evidence
        Grits that cut per square of grain size [1], with its spread.
    form : Stone
        Flat, rod, cone or disc.

    Examples
    --------
    >>> from edgekit.method.abrasive import Abrasive, Lubricant
    >>> stone = Abrasive(name="bench", scale="FEPA-F", number=600, lubricant=Lubricant.OIL)
    >>> stone.grain_um, round(stone.ra_um, 3), round(stone.scratch_spacing_um, 1)
    (9.3, 0.072, 14.7)
    """

    name: str
    scale: Scale | str | None = None
    number: int | None = None
    median_um: float | None = None
    median_range_um: tuple[float, float] | None = None
    lubricant: Lubricant
    removal: Evidence = field(default_factory=partial(entry, "removal_fine_mm3_per_stroke"))
    ra_per_grain: Evidence = field(default_factory=partial(entry, "ra_per_grain"))
    active_grits: Evidence = field(default_factory=partial(entry, "active_grit_share"))
    form: Stone = field(default_factory=FlatStone)

    def __repr__(self) -> str:
        ra = f"Ra {self.ra_um:.2g} µm across the lay"
        return (
            f"Abrasive({self.name!r}: grain {self.grain_um:.3g} µm, {ra}, {self.lubricant.value})"
        )

    def __post_init__(self) -> None:
        instance("name", self.name, str, "Give the stone's name as text.")
        graded = self.scale is not None or self.number is not None
        if graded == (self.median_um is not None):
            raise BadArgument(
                "an abrasive is graded either by scale and number or by median_um",
                (self.scale, self.number, self.median_um),
                "Give scale= and number=, or median_um= for a stone without a grade.",
            )
        if self.median_um is None:
            object.__setattr__(self, "scale", grain(self.scale, self.number).scale)
        else:
            object.__setattr__(self, "median_um", positive("median_um", self.median_um))
        instance("form", self.form, Stone, "Give one of ek.stones, such as ek.RodStone().")
        instance("lubricant", self.lubricant, Lubricant, "Use Lubricant.OIL or another member.")
        if self.median_range_um is not None:
            object.__setattr__(self, "median_range_um", _range(self.median_range_um, self.grain_um))
        for name in ("removal", "ra_per_grain", "active_grits"):
            item = getattr(self, name)
            instance(name, item, Evidence, "Give value, spread, status and source.")
            positive(f"{name}.value", item.value)

    @property
    def grain_um(self) -> float:
        """Median grain size [µm]."""
        if self.median_um is not None:
            return self.median_um
        return grain_um(self.scale, self.number)

    @property
    def removal_mm3_per_stroke(self) -> float:
        """Median of the steel removed by one stroke [mm³]."""
        return self.removal.value

    @property
    def ra_um(self) -> float:
        """Median Ra across the lay [µm]: grain × ra_per_grain, not below ``ra_floor_um``."""
        return max(self.grain_um * self.ra_per_grain.value, entry("ra_floor_um").value)

    @property
    def scratch_spacing_um(self) -> float:
        """Median spacing of scratches across the lay [µm]: the distance between grits that cut.

        D/√a for the share a of grits that cut, per square of grain size D; where ``ra_floor_um``
        decides the roughness, D is the grain that would leave it.
        """
        grain = max(self.grain_um, self.ra_um / self.ra_per_grain.value)
        return grain / math.sqrt(self.active_grits.value)

    @property
    def spacing_gsd(self) -> float:
        """Geometric standard deviation of `scratch_spacing_um`, from the grain's and the share's.

        One stone's number against another's; both parts are ignorance, not variation.
        """
        span = self.median_range_um
        grain = 0.0 if span is None else math.log(span[1] / span[0]) / (2 * _TENTH)
        return math.exp(math.hypot(grain, math.log(self.active_grits.gsd) / 2))

    @property
    def rms_slope(self) -> float:
        """Rms slope across the lay [1]: 2π Rq over the scratch spacing, by Rice's formula."""
        return 2 * math.pi * RQ_PER_RA * self.ra_um / self.scratch_spacing_um


def _range(given: tuple[float, float], median_um: float) -> tuple[float, float]:
    """A range that holds the median, as floats."""
    low, high = frozen_array("median_range_um", given, (2,)).tolist()
    if not 0 < low <= median_um <= high:
        raise BadArgument(
            "median_range_um must hold the median grain",
            (low, median_um, high),
            "Give (low, high) in micrometres about median_um.",
            argument="median_range_um",
        )
    return low, high


def _range_of(name: str) -> tuple[float, float] | None:
    """The range of an entry, where it states one."""
    spread = entry(name).spread
    return (spread.low, spread.high) if isinstance(spread, Range) else None


def fine_natural_stone(*, lubricant: Lubricant = Lubricant.OIL) -> Abrasive:
    """A natural novaculite stone; crystals of 1-5 µm, the middle of that range assumed.

    Parameters
    ----------
    lubricant : Lubricant
        What the stone is used with.

    Returns
    -------
    Abrasive

    Raises
    ------
    BadArgument
        Not a `Lubricant`.

    Examples
    --------
    >>> from edgekit.method.abrasive import fine_natural_stone
    >>> fine_natural_stone().ra_um
    0.03
    """
    return Abrasive(
        name="natural novaculite",
        median_um=entry("novaculite_crystal_um").value,
        median_range_um=_range_of("novaculite_crystal_um"),
        lubricant=lubricant,
    )


def ceramic_stone(*, lubricant: Lubricant = Lubricant.WATER) -> Abrasive:
    """A dense ceramic stone; removal as weighed by Hessheimer et al. 2017, grain assumed.

    Parameters
    ----------
    lubricant : Lubricant
        What the stone is used with.

    Returns
    -------
    Abrasive

    Raises
    ------
    BadArgument
        Not a `Lubricant`.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.ceramic_stone().name
    'ceramic'
    """
    return Abrasive(
        name="ceramic",
        median_um=entry("ceramic_grain_um").value,
        median_range_um=_range_of("ceramic_grain_um"),
        lubricant=lubricant,
        removal=entry("removal_ceramic_mm3_per_stroke"),
    )


def diamond_plated_stone(*, lubricant: Lubricant = Lubricant.DRY) -> Abrasive:
    """A diamond-plated stone; removal as weighed by Hessheimer et al. 2017, grain assumed.

    Parameters
    ----------
    lubricant : Lubricant
        What the stone is used with.

    Returns
    -------
    Abrasive

    Raises
    ------
    BadArgument
        Not a `Lubricant`.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.diamond_plated_stone().name
    'diamond-plated'
    """
    return Abrasive(
        name="diamond-plated",
        median_um=entry("diamond_grain_um").value,
        median_range_um=_range_of("diamond_grain_um"),
        lubricant=lubricant,
        removal=entry("removal_diamond_mm3_per_stroke"),
    )
