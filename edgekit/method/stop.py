"""When grinding stops: after a count of strokes, when no dull land shows, or at a clear apex."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Protocol, runtime_checkable

import numpy as np

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.contact import apex
from edgekit.evidence_table import value
from edgekit.units import UM_PER_MM

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Apex", "Counted", "StopRule", "UntilClear", "UntilFresh"]

MAX_STROKES = 10_000
ROUNDING = 1e-9  # of the edge's length


class Apex(NamedTuple):
    """The apex of an edge in the middle of a session, (S, R) each, in mm and radians.

    Before the session the wedge had an `angle` and a rounded apex of some `radius`; since then the
    edge has moved `inset` inward, and the wedge's angle there is `new_angle`. ``fresh_radius`` (R,)
    is what grinding leaves.
    """

    radius: FloatArray
    angle: FloatArray
    inset: FloatArray
    new_angle: FloatArray
    fresh_radius: FloatArray

    @property
    def land(self) -> FloatArray:
        """Width (S, R) of the dull land that is left."""
        return apex.remaining_land(self.radius, self.angle, self.inset, self.new_angle)

    @property
    def fresh_land(self) -> FloatArray:
        """Land (S, R) of a freshly ground edge of this angle."""
        return apex.whole_land(self.fresh_radius, self.new_angle)

    @property
    def blunt(self) -> NDArray[np.bool_]:
        """Where (S, R) the edge was blunter than grinding leaves it; elsewhere nothing calls for
        any.
        """
        return apex.is_blunt(self.radius, self.fresh_radius)


@runtime_checkable
class StopRule(Protocol):
    """When a person puts the stone down. They look after every few strokes.

    Examples
    --------
    Until no land of more than 3 µm is left anywhere:

    >>> from dataclasses import dataclass
    >>> import edgekit as ek
    >>> @dataclass(frozen=True)
    ... class NoWideLand:
    ...     land_mm: float = 0.003
    ...     strokes_between_looks: int = 4
    ...
    ...     def margin(self, edge):
    ...         return edge.land - self.land_mm
    ...
    ...     def least_inset(self, edge):
    ...         return ek.strokes.until_clear().least_inset(edge)
    ...
    ...     def done(self, dull_share, strokes):
    ...         return dull_share == 0
    >>> ek.testing.check_stop_rule(NoWideLand())
    >>> ek.methods.freehand(stop=NoWideLand()).name
    'freehand, moving stone'
    """

    @property
    def strokes_between_looks(self) -> int:
        """Strokes made before the edge is looked at again."""
        ...

    def margin(self, edge: Apex) -> FloatArray:
        """How far (S, R) [mm] each station is from good; 0 or less is good."""
        ...

    def least_inset(self, edge: Apex) -> FloatArray:
        """How far (S, R) [mm] a stone without error, parallel to the flank, would have to reach."""
        ...

    def done(self, dull_share: FloatArray, strokes: int) -> NDArray[np.bool_]:
        """Whether (R,) grinding stops, with a share of the edge not good yet after so many
        strokes.
        """
        ...


@dataclass(frozen=True, kw_only=True)
class Counted:
    """A fixed number of strokes per edge, whatever they leave."""

    strokes: int = int(value("stone_strokes_counted"))

    def __post_init__(self) -> None:
        checks.keep_numbers(self, strokes=checks.count("strokes", self.strokes, most=MAX_STROKES))

    @property
    def strokes_between_looks(self) -> int:
        """All of them."""
        return self.strokes

    def margin(self, edge: Apex) -> FloatArray:
        """The land beyond a fresh edge's."""
        return edge.land - edge.fresh_land

    def least_inset(self, edge: Apex) -> FloatArray:
        """To a fresh edge's land."""
        return apex.fresh_inset(edge.angle, edge.radius, edge.fresh_land)

    def done(self, dull_share: FloatArray, strokes: int) -> NDArray[np.bool_]:
        """Once they are made."""
        return np.full(dull_share.shape, strokes >= self.strokes)

    def __str__(self) -> str:
        return f"after {self.strokes} strokes"


def _keep_looks(rule: UntilFresh | UntilClear) -> None:
    """Check how often a rule looks at the edge, and the share that must pass."""
    checks.keep_numbers(
        rule,
        fraction=checks.fraction("fraction", rule.fraction),
        strokes_between_looks=checks.count(
            "strokes_between_looks", rule.strokes_between_looks, most=MAX_STROKES
        ),
    )


def _few_dull(dull_share: FloatArray, fraction: float) -> NDArray[np.bool_]:
    """Whether (R,) no more stays dull than may."""
    return np.asarray(dull_share <= 1 - fraction + ROUNDING)


@dataclass(frozen=True, kw_only=True)
class UntilFresh:
    """Until the dull land that is left is no wider than a fresh edge's, as well as one can see or
    feel it.

    Parameters
    ----------
    resolution_um : float
        Land beyond a fresh edge's that goes unnoticed [µm].
    fraction : float
        Share of the edge that must pass.
    strokes_between_looks : int
        Strokes made before the edge is looked at again.
    """

    resolution_um: float = value("look_resolution_um")
    fraction: float = value("sharp_target")
    strokes_between_looks: int = int(value("strokes_between_looks"))

    def __post_init__(self) -> None:
        checks.keep_numbers(
            self,
            resolution_um=checks.at_least("resolution_um", self.resolution_um, 0.0),
        )
        _keep_looks(self)

    def margin(self, edge: Apex) -> FloatArray:
        """The land beyond what goes unnoticed."""
        return edge.land - edge.fresh_land - self.resolution_um / UM_PER_MM

    def least_inset(self, edge: Apex) -> FloatArray:
        """To the widest land that goes unnoticed."""
        land = edge.fresh_land + self.resolution_um / UM_PER_MM
        return apex.fresh_inset(edge.angle, edge.radius, land)

    def done(self, dull_share: FloatArray, strokes: int) -> NDArray[np.bool_]:  # noqa: ARG002
        """Once the share that may stay dull is not exceeded."""
        return _few_dull(dull_share, self.fraction)

    def __str__(self) -> str:
        return (
            f"until {self.fraction:.0%} show no land beyond a fresh edge's by more than "
            f"{self.resolution_um:g} µm, looking after every {self.strokes_between_looks} strokes"
        )


@dataclass(frozen=True, kw_only=True)
class UntilClear:
    """Until nothing is left of the rounded apex over a share of the edge: what a drawing asks for,
    not an eye.
    """

    fraction: float = value("sharp_target")
    strokes_between_looks: int = int(value("strokes_between_looks"))

    def __post_init__(self) -> None:
        _keep_looks(self)

    def margin(self, edge: Apex) -> FloatArray:
        """How much further the stone must reach."""
        return apex.clear_inset(edge.angle, edge.radius) - edge.inset

    def least_inset(self, edge: Apex) -> FloatArray:
        """To where the rounding ends."""
        return apex.clear_inset(edge.angle, edge.radius)

    def done(self, dull_share: FloatArray, strokes: int) -> NDArray[np.bool_]:  # noqa: ARG002
        """Once the share that may stay dull is not exceeded."""
        return _few_dull(dull_share, self.fraction)

    def __str__(self) -> str:
        return (
            f"until {self.fraction:.0%} are clear of the rounded apex, "
            f"looking after every {self.strokes_between_looks} strokes"
        )


OWN_RULES = (Counted, UntilFresh, UntilClear)  # whose kinds engines know
