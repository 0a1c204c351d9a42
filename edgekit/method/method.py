"""A sharpening method as a record: guide, placements, hand errors, stop rule, stone and stroke."""

from __future__ import annotations

import enum
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.contact.facets import Spacing
from edgekit.display import html_list
from edgekit.errors import EdgekitError
from edgekit.evidence_table import entry, value
from edgekit.method.abrasive import Abrasive, fine_natural_stone
from edgekit.method.guide import FollowEdge, Guide
from edgekit.method.hand import Hand
from edgekit.method.lay import Oblique, Stroke

__all__ = ["Marks", "Method", "Stop", "Target"]

MAX_PLANES = 2**15 - 1  # the kernel numbers them in 16 bits


class Target(enum.Enum):
    """What is ground."""

    SIDES = "the lateral surfaces"
    FACE = "the face"


class Stop(enum.Enum):
    """When grinding stops.

    Both ask that the target share of the edge be sharp. A person who looks at the edge between
    strokes stops at each placement once its own stretch is sharp; one who counts strokes, or a
    holder turned at a steady pace, advances everywhere alike until the last stretch is sharp.
    """

    EACH = "each placement until its own stretch is sharp"
    ALL = "all placements alike until the edge is sharp"


class Marks(enum.Enum):
    """Where placements fall from session to session, as a phase within one spacing."""

    SAME = "the same marks every session"
    SHIFTED = "marks shifted by half a spacing from one session to the next"
    RANDOM = "no marks"

    def phase(self, session: int | NDArray[np.int_], draw: FloatArray) -> FloatArray:
        """Phase (R,) in [0, 1) of session number `session` (from 0; one for all runs or one for
        each), `draw` uniform (R,)."""
        if self is Marks.SAME:
            return np.full_like(draw, 0.5)
        if self is Marks.SHIFTED:
            return np.where(np.asarray(session) % 2 == 0, 0.25, 0.75) + np.zeros_like(draw)
        return draw


@dataclass(frozen=True, kw_only=True)
class Method:
    """A way of sharpening.

    Parameters
    ----------
    name : str
    guide : Guide
        What gives the stone its orientation.
    target : Target
        Sides or face.
    placements : int
        Placements along one edge in a round.
    spacing, marks : Spacing, Marks
        How placements are spread, and where they fall from session to session.
    seatings : int
        Seatings of the stone at each placement that differ in how the hand holds them.
    stop : Stop
        Whether grinding stops at each placement by itself or at all of them together.
    hand : Hand
        Errors.
    removal_mm3_per_stroke, removal_gsd : float
        Steel removed by one stroke [mm³], and its geometric standard deviation between stones and
        hands.
    seconds_per_stroke, setup_seconds : float
        Time of a stroke, and of setting up for one edge [s].
    sharp_target : float
        Fraction of the edge that must be sharp before grinding stops.
    max_advance_um : float
        Advance of the stone past first touch at which grinding stops anyway [µm].
    abrasive, stroke : Abrasive, Stroke
        What cuts and how it slides along the surface: they shape the finish, not the removal.
    """

    name: str
    guide: Guide = field(default_factory=FollowEdge)
    target: Target = Target.SIDES
    placements: int = int(value("placements"))
    spacing: Spacing = Spacing.BY_CURVATURE
    marks: Marks = Marks.RANDOM
    seatings: int = 1
    stop: Stop = Stop.ALL
    hand: Hand = field(default_factory=Hand)
    removal_mm3_per_stroke: float = value("removal_fine_mm3_per_stroke")
    removal_gsd: float = entry("removal_fine_mm3_per_stroke").gsd
    seconds_per_stroke: float = value("seconds_per_stroke")
    setup_seconds: float = value("setup_seconds")
    sharp_target: float = value("sharp_target")
    max_advance_um: float = value("max_advance_um")
    abrasive: Abrasive = field(default_factory=fine_natural_stone)
    stroke: Stroke = field(default_factory=Oblique)

    def __post_init__(self) -> None:
        checks.instance("name", self.name, str, "Give the method's name as text.")
        checks.instance("guide", self.guide, Guide, "Give FollowEdge() or a HoldElevation.")
        checks.instance(
            "abrasive", self.abrasive, Abrasive, "Give an Abrasive, such as ceramic_stone()."
        )
        checks.instance("stroke", self.stroke, Stroke, "Give a stroke, such as across_edge().")
        checks.instance("hand", self.hand, Hand, "Give a Hand; Hand() makes no errors.")
        kinds = {"target": Target, "spacing": Spacing, "marks": Marks, "stop": Stop}
        for name, kind in kinds.items():
            names = ", ".join(str(member) for member in kind)
            checks.instance(name, getattr(self, name), kind, f"Choose from {names}.")
        for name in ("placements", "seatings"):
            checks.keep_numbers(
                self, **{name: checks.count(name, getattr(self, name), most=MAX_PLANES)}
            )
        for name in ("removal_mm3_per_stroke", "seconds_per_stroke", "max_advance_um"):
            checks.keep_numbers(self, **{name: checks.positive(name, getattr(self, name))})
        checks.keep_numbers(
            self,
            removal_gsd=checks.at_least("removal_gsd", self.removal_gsd, 1.0),
            setup_seconds=checks.at_least("setup_seconds", self.setup_seconds, 0.0),
            sharp_target=checks.fraction("sharp_target", self.sharp_target),
        )
        if self.planes > MAX_PLANES:
            raise EdgekitError(
                "too many seatings of the stone on one edge",
                self.planes,
                f"Keep placements times seatings to {MAX_PLANES} or less.",
            )

    @property
    def planes(self) -> int:
        """Seatings of the stone on one edge in a session."""
        return self.placements * self.seatings

    def at(self, turn: int) -> Method:  # noqa: ARG002 - an alternation of methods answers by turn
        """The method of session number `turn`: this one."""
        return self

    def using(self, abrasive: Abrasive, stroke: Stroke | None = None) -> Method:
        """The same hold with another stone: its finish, and what one of its strokes takes.

        Examples
        --------
        >>> import edgekit as ek
        >>> ek.methods.freehand().using(ek.ceramic_stone()).removal_mm3_per_stroke
        0.00022
        """
        return replace(
            self,
            name=f"{self.name}, {abrasive.name}",
            abrasive=abrasive,
            stroke=stroke or self.stroke,
            removal_mm3_per_stroke=abrasive.removal_mm3_per_stroke,
            removal_gsd=abrasive.removal.gsd,
        )

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What the method assumes, in words."""
        names = (("tilt", "°"), ("swing", "°"), ("position", " mm"), ("advance", " x"))
        errors = "; ".join(
            f"{name} {t.bias:+g}{unit}, people ± {t.person_sd:g}{unit}, "
            f"set-ups ± {t.session_sd:g}{unit}, seatings ± {t.sd:g}{unit}"
            for (name, unit), t in zip(names, self.hand.terms, strict=True)
        )
        removal = f"a stroke removes {self.removal_mm3_per_stroke:g} mm³ (×/÷ {self.removal_gsd:g})"
        setting_up = f"{self.setup_seconds:g} s to set up, {self.guide.setups} time(s) per edge"
        return (
            f"grinds {self.target.value}",
            f"{self.placements} placements per edge, {self.spacing.value}; {self.marks.value}",
            f"{self.seatings} seatings per placement; grinds {self.stop.value}",
            f"errors (standard deviations): {errors}",
            f"{removal} in {self.seconds_per_stroke:g} s; {setting_up}",
            f"target: {self.sharp_target:.0%} sharp, {self.max_advance_um:g} µm at most",
            (
                f"{self.abrasive.name} (Ra {self.abrasive.ra_um:.2g} µm, "
                f"{self.abrasive.lubricant.value}); {self.stroke}"
            ),
        )

    def __str__(self) -> str:
        return "\n  ".join((self.name, *self.assumptions))

    def _repr_html_(self) -> str:
        return html_list(self.assumptions, bold=self.name)
