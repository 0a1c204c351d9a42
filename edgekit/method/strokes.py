"""How the stone travels: rolled along the edge, or up and down at one placement after another."""

from __future__ import annotations

import enum
from dataclasses import dataclass, field
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.contact.facets import Spacing
from edgekit.errors import BadArgument
from edgekit.evidence_table import value
from edgekit.lazy import shown
from edgekit.method.lay import Oblique, StrokeDirection
from edgekit.method.stop import Apex, Counted, UntilClear, UntilFresh

__all__ = [
    "Advance",
    "Apex",
    "LocalStroke",
    "PlacementPhase",
    "RollingStroke",
    "Stroke",
    "counted",
    "local",
    "rolling",
    "until_clear",
    "until_fresh",
]

SHORT_MM = 1e-9  # of rounding in a station's place
MAX_PLANES = 2**15 - 1  # the kernel numbers them in 16 bits


@runtime_checkable
class Stroke(Protocol):
    """A stroke that follows the edge over a stretch of it, one after another until a stop rule is
    met.

    Examples
    --------
    Strokes of 2 mm about the dullest place:

    >>> from dataclasses import dataclass
    >>> import edgekit as ek
    >>> @dataclass(frozen=True)
    ... class WhereDullest:
    ...     direction: ek.StrokeDirection = ek.across_edge()
    ...     within_tilt_sd_deg: float = 1.0
    ...     correlation_s: float = 0.4
    ...
    ...     def stretch(self, arc_mm, margin_mm):
    ...         middle = arc_mm[margin_mm.argmax(axis=0)]
    ...         return middle - 1.0, middle + 1.0
    >>> ek.testing.check_stroke(WhereDullest())
    >>> ek.methods.freehand(stroke=WhereDullest()).name
    'freehand, moving stone'
    """

    @property
    def direction(self) -> StrokeDirection:
        """Which way the stone rubs: this shapes the finish, not the removal."""
        ...

    @property
    def within_tilt_sd_deg(self) -> float:
        """Standard deviation of the tilt along one stroke [°], about that stroke's own error."""
        ...

    @property
    def correlation_s(self) -> float:
        """Time of travel over which that error stays alike [s]."""
        ...

    def stretch(self, arc_mm: FloatArray, margin_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """From and to (R,) [mm from the heel] of the next stroke.

        `arc_mm` (S,) are the stations; `margin_mm` (S, R) says how far each is from what the stop
        rule asks: above 0 where it is still dull.
        """
        ...


@dataclass(frozen=True, kw_only=True)
class RollingStroke:
    """The stone follows the edge; at each point it touches with its own plane.

    Parameters
    ----------
    stretch_mm : float, optional
        Length of edge that a stroke covers [mm], where most is left to do; by default the whole
        edge, with both ends overrun.
    within_tilt_sd_deg : float
        Standard deviation of the tilt along one stroke [°].
    correlation_s : float
        Time of travel over which that error stays alike [s].
    direction : StrokeDirection
        Which way the stone rubs.
    """

    stretch_mm: float | None = None
    within_tilt_sd_deg: float = value("within_stroke_tilt_sd_deg")
    correlation_s: float = value("stroke_correlation_s")
    direction: StrokeDirection = field(default_factory=Oblique)

    def __post_init__(self) -> None:
        if self.stretch_mm is not None:
            checks.keep_numbers(self, stretch_mm=checks.positive("stretch_mm", self.stretch_mm))
        checks.keep_numbers(
            self,
            within_tilt_sd_deg=checks.at_least("within_tilt_sd_deg", self.within_tilt_sd_deg, 0.0),
            correlation_s=checks.positive("correlation_s", self.correlation_s),
        )
        _check_direction(self.direction)

    def covers(self, length_mm: float) -> bool:
        """Whether a stroke covers all of an edge of some length [mm], wherever it is dull."""
        length = checks.positive("length_mm", length_mm)
        return self.stretch_mm is None or self.stretch_mm >= length

    def stretch(self, arc_mm: FloatArray, margin_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The whole edge, or the stretch with most left to do, centred on what is dull there.

        A stretch may reach past an end, which the stone then overruns.
        """
        runs = margin_mm.shape[1]
        if self.stretch_mm is None or self.covers(arc_mm[-1]):
            return np.full(runs, -np.inf), np.full(runs, np.inf)
        dull = np.maximum(margin_mm, 0.0) + 1e-12
        sums = np.zeros((2, len(arc_mm) + 1, runs))  # running sums: the same bits in any company
        np.cumsum([dull, dull * arc_mm[:, None]], axis=1, out=sums[:, 1:])
        start = np.searchsorted(arc_mm, arc_mm - self.stretch_mm / 2 - SHORT_MM)
        stop = np.searchsorted(arc_mm, arc_mm + self.stretch_mm / 2 + SHORT_MM)
        within = sums[:, stop] - sums[:, start]
        worst = np.argmax(within[0], axis=0), np.arange(runs)
        first = within[1][worst] / within[0][worst] - self.stretch_mm / 2
        return first, first + self.stretch_mm

    def __str__(self) -> str:
        over = (
            "the whole edge"
            if self.stretch_mm is None
            else f"{self.stretch_mm:g} mm where it is dull"
        )
        return (
            f"rolled over {over}; the tilt wanders by ± {self.within_tilt_sd_deg:g}° within a "
            f"stroke, alike over {self.correlation_s:g} s; {self.direction}"
        )


class Advance(enum.Enum):
    """How far the stone is advanced at each placement.

    Both ask that the stated fraction of the edge be clear. A person who looks at the edge between
    strokes stops at each placement once its own stretch is clear; one who counts, or a holder
    turned at a steady pace, advances everywhere alike until the last stretch is.
    """

    PER_PLACEMENT = "each placement until its own stretch is clear"
    UNIFORM = "all placements alike until the edge is clear"


class PlacementPhase(enum.Enum):
    """Where placements fall from session to session, as a phase within one spacing."""

    SAME = "the same marks every session"
    SHIFTED = "marks shifted by half a spacing from one session to the next"
    RANDOM = "no marks"

    def phase(self, session: int | NDArray[np.int_], draw: FloatArray) -> FloatArray:
        """Phase (R,) in [0, 1) of session number `session` (from 0; one for all runs or one for
        each), `draw` uniform (R,)."""
        if self is PlacementPhase.SAME:
            return np.full_like(draw, 0.5)
        if self is PlacementPhase.SHIFTED:
            return np.where(np.asarray(session) % 2 == 0, 0.25, 0.75) + np.zeros_like(draw)
        return draw


@dataclass(frozen=True, kw_only=True)
class LocalStroke:
    """Up and down at one placement after another: each leaves a flat facet of its own.

    The way of a beginner, of an instrument held and turned in steps, and of the pictures that
    explain facets. Each seating of the stone is a plane; how far all must advance until the edge is
    clear has a closed form.

    Parameters
    ----------
    placements : int
        Placements along one edge in a round.
    spacing : Spacing
        How they are spread.
    phase : PlacementPhase
        Where they fall from session to session.
    strokes_per_placement : int
        Seatings of the stone at each placement that differ in how the hand holds them.
    advance : Advance
        Whether each placement stops by itself.
    direction : StrokeDirection
        Which way the stone rubs.
    """

    placements: int = int(value("placements"))
    spacing: Spacing = Spacing.BY_CURVATURE
    phase: PlacementPhase = PlacementPhase.RANDOM
    strokes_per_placement: int = int(value("strokes_per_placement"))
    advance: Advance = Advance.PER_PLACEMENT
    direction: StrokeDirection = field(default_factory=Oblique)

    def __post_init__(self) -> None:
        for name in ("placements", "strokes_per_placement"):
            size = checks.count(name, getattr(self, name), most=MAX_PLANES)
            checks.keep_numbers(self, **{name: size})
        kinds = {"spacing": Spacing, "phase": PlacementPhase, "advance": Advance}
        for name, kind in kinds.items():
            names = ", ".join(str(member) for member in kind)
            checks.instance(name, getattr(self, name), kind, f"Choose from {names}.")
        _check_direction(self.direction)
        if self.planes > MAX_PLANES:
            raise BadArgument(
                "too many seatings of the stone on one edge",
                self.planes,
                f"Keep placements times strokes per placement to {MAX_PLANES} or less.",
                argument="planes",
            )

    @property
    def planes(self) -> int:
        """Seatings of the stone on one edge in a session."""
        return self.placements * self.strokes_per_placement

    def __str__(self) -> str:
        return (
            f"{self.placements} placements per edge, {self.spacing.value}; {self.phase.value}; "
            f"{self.strokes_per_placement} strokes at each, that differ in how the hand holds the "
            f"stone; grinds {self.advance.value}; {self.direction}"
        )


def _check_direction(direction: object) -> None:
    checks.instance("direction", direction, StrokeDirection, "Give one, such as across_edge().")


rolling, local = RollingStroke, LocalStroke
counted, until_clear, until_fresh = Counted, UntilClear, UntilFresh

__dir__ = shown(__all__)
