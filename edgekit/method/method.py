"""A sharpening method as a record: what guides the stone, how the hand errs, what a stroke takes."""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Protocol, runtime_checkable

import numpy as np

from edgekit.checks import (
    FloatArray,
    at_least,
    between,
    count,
    finite,
    fraction,
    instance,
    keep_numbers,
    positive,
)
from edgekit.contact.facets import Spacing
from edgekit.contact.holder import Setting, held_normals
from edgekit.errors import EdgekitError
from edgekit.evidence_table import entry, value
from edgekit.geometry.edge import Edge
from edgekit.method.abrasive import Abrasive, fine_natural_stone
from edgekit.method.lay import Oblique, Stroke

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "ErrorTerm",
    "FollowEdge",
    "Guide",
    "Hand",
    "HoldElevation",
    "Marks",
    "Method",
    "Stop",
    "Target",
]

MAX_PLANES = 2**15 - 1  # the kernel numbers them in 16 bits


class Target(enum.Enum):
    """What is ground."""

    SIDES = "the lateral surfaces"
    FACE = "the face"


class Stop(enum.Enum):
    """When grinding stops.

    Both ask that the target share of the edge be sharp. A person who looks at the edge between strokes
    stops at each placement once its own stretch is sharp; one who counts strokes, or a holder turned at a
    steady pace, advances everywhere alike until the last stretch is.
    """

    EACH = "each placement until its own stretch is sharp"
    ALL = "all placements alike until the edge is sharp"


class Marks(enum.Enum):
    """Where placements fall from session to session, as a phase within one spacing."""

    SAME = "the same marks every session"
    SHIFTED = "marks shifted by half a spacing from one session to the next"
    RANDOM = "no marks"

    def phase(self, session: int | NDArray[np.int_], draw: FloatArray) -> FloatArray:
        """Phase (R,) in [0, 1) of session number `session` (from 0; one, or one a run), `draw`
        uniform (R,)."""
        if self is Marks.SAME:
            return np.full_like(draw, 0.5)
        if self is Marks.SHIFTED:
            return np.where(np.asarray(session) % 2 == 0, 0.25, 0.75) + np.zeros_like(draw)
        return draw


@runtime_checkable
class Guide(Protocol):
    """What gives the stone its orientation."""

    def normals(self, edge: Edge, arc_mm: FloatArray) -> FloatArray:
        """Outward stone normals (S, 3) aimed at along the edge."""
        ...

    @property
    def setups(self) -> int:
        """How many times it is set up for one edge."""
        ...


@dataclass(frozen=True, kw_only=True)
class FollowEdge:
    """The true lateral normal at every point: a free hand that errs only by its errors."""

    setups: int = 1

    def normals(self, edge: Edge, arc_mm: FloatArray) -> FloatArray:
        """The edge's outward normals."""
        return edge.frame(arc_mm, order=0).outward.value


@dataclass(frozen=True, kw_only=True)
class HoldElevation:
    """A holder with one elevation, or several each used where its angle error is least."""

    elevations_deg: tuple[float, ...]

    def __post_init__(self) -> None:
        instance("elevations_deg", self.elevations_deg, tuple, "Give a tuple of degrees.")
        if not self.elevations_deg:
            raise EdgekitError("a holder needs a setting", (), "Give one elevation or more.")
        remedy = "Give degrees between handle and stone."
        angles = (between("elevation_deg", x, -90.0, 90.0, remedy) for x in self.elevations_deg)
        object.__setattr__(self, "elevations_deg", tuple(angles))

    @property
    def setups(self) -> int:
        """One a setting."""
        return len(self.elevations_deg)

    def normals(self, edge: Edge, arc_mm: FloatArray) -> FloatArray:
        """The normals held at the setting of least error at each point."""
        return held_normals(edge, self.elevations_deg, arc_mm)

    @classmethod
    def of(cls, setting: Setting | float | Sequence[Setting | float]) -> HoldElevation:
        """From settings or elevations in degrees."""
        if isinstance(setting, str):
            raise EdgekitError("a setting must be a number", setting, "Give degrees, such as 15.0.")
        many = setting if isinstance(setting, Sequence) else (setting,)
        angles = (s.elevation_deg if isinstance(s, Setting) else finite("setting", s) for s in many)
        return cls(elevations_deg=tuple(angles))


@dataclass(frozen=True, kw_only=True)
class ErrorTerm:
    """One way in which a hand errs.

    ``bias`` is known and kept; ``person_sd`` spreads people about it, each keeping theirs;
    ``session_sd`` spreads set-ups, each common to one session; ``sd`` is the scatter from one
    seating of the stone to the next, itself uncertain by the factor ``sd_gsd`` (geometric standard
    deviation between people).
    """

    bias: float = 0.0
    person_sd: float = 0.0
    session_sd: float = 0.0
    sd: float = 0.0
    sd_gsd: float = 1.0

    def __post_init__(self) -> None:
        keep_numbers(
            self,
            bias=finite("bias", self.bias),
            person_sd=at_least("person_sd", self.person_sd, 0.0),
            session_sd=at_least("session_sd", self.session_sd, 0.0),
            sd=at_least("sd", self.sd, 0.0),
            sd_gsd=at_least("sd_gsd", self.sd_gsd, 1.0),
        )

    def of(
        self, person: FloatArray, session: FloatArray, skill: FloatArray, draw: FloatArray
    ) -> FloatArray:
        """Errors (R, P) from unit normals: the person's, the session's and the skill's (R,), and
        one a seating (R, P)."""
        scatter = self.sd * self.sd_gsd**skill
        kept = self.bias + self.person_sd * person + self.session_sd * session
        return np.asarray(kept[:, None] + scatter[:, None] * draw)


@dataclass(frozen=True, kw_only=True)
class Hand:
    """The errors of placing a stone.

    ``tilt_deg`` opens the internal angle where positive; ``swing_deg`` turns the stone along the edge,
    towards the toe; ``position_mm`` shifts the placement towards the toe; ``depth`` is the relative error
    of the advance (0.3 is 30 %).
    """

    tilt_deg: ErrorTerm = field(default_factory=ErrorTerm)
    swing_deg: ErrorTerm = field(default_factory=ErrorTerm)
    position_mm: ErrorTerm = field(default_factory=ErrorTerm)
    depth: ErrorTerm = field(default_factory=ErrorTerm)

    def __post_init__(self) -> None:
        for name in ("tilt_deg", "swing_deg", "position_mm", "depth"):
            term = getattr(self, name)
            instance(name, term, ErrorTerm, "Give an ErrorTerm, such as ErrorTerm(sd=2.5).")

    @property
    def terms(self) -> tuple[ErrorTerm, ErrorTerm, ErrorTerm, ErrorTerm]:
        """The four terms, in the order of the random draws."""
        return self.tilt_deg, self.swing_deg, self.position_mm, self.depth


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
        Whether grinding stops at each placement by itself or at all alike.
    hand : Hand
        Errors.
    removal_mm3_per_stroke, removal_gsd : float
        Steel a stroke takes [mm³], and its geometric standard deviation between stones and hands.
    seconds_per_stroke, setup_seconds : float
        Time of a stroke, and of setting up for one edge [s].
    sharp_target : float
        Share of the edge that must be sharp before grinding stops.
    max_advance_um : float
        Advance of the stone past first touch at which grinding stops anyway [µm].
    abrasive, stroke : Abrasive, Stroke
        What cuts and how it slides along the surface: they shape the finish, not the removal.
    """

    name: str
    guide: Guide
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
        instance("name", self.name, str, "Give the method's name as text.")
        instance("guide", self.guide, Guide, "Give FollowEdge() or a HoldElevation.")
        instance("abrasive", self.abrasive, Abrasive, "Give an Abrasive, such as ceramic_stone().")
        instance("stroke", self.stroke, Stroke, "Give a stroke, such as across_edge().")
        instance("hand", self.hand, Hand, "Give a Hand; Hand() never errs.")
        for name, kind in (
            ("target", Target),
            ("spacing", Spacing),
            ("marks", Marks),
            ("stop", Stop),
        ):
            names = ", ".join(str(member) for member in kind)
            instance(name, getattr(self, name), kind, f"Choose from {names}.")
        keep_numbers(
            self,
            placements=count("placements", self.placements),
            seatings=count("seatings", self.seatings),
            removal_mm3_per_stroke=positive("removal_mm3_per_stroke", self.removal_mm3_per_stroke),
            removal_gsd=at_least("removal_gsd", self.removal_gsd, 1.0),
            seconds_per_stroke=positive("seconds_per_stroke", self.seconds_per_stroke),
            setup_seconds=at_least("setup_seconds", self.setup_seconds, 0.0),
            sharp_target=fraction("sharp_target", self.sharp_target),
            max_advance_um=positive("max_advance_um", self.max_advance_um),
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
        terms = zip(
            ("tilt", "swing", "position", "advance"),
            ("°", "°", " mm", " x"),
            self.hand.terms,
            strict=True,
        )
        errors = "; ".join(
            f"{name} {t.bias:+g}{unit}, people ± {t.person_sd:g}{unit}, "
            f"set-ups ± {t.session_sd:g}{unit}, seatings ± {t.sd:g}{unit}"
            for name, unit, t in terms
        )
        removal = f"a stroke takes {self.removal_mm3_per_stroke:g} mm³ (×/÷ {self.removal_gsd:g})"
        setting_up = f"{self.setup_seconds:g} s to set up, {self.guide.setups} time(s) an edge"
        return (
            f"grinds {self.target.value}",
            f"{self.placements} placements an edge, {self.spacing.value}; {self.marks.value}",
            f"{self.seatings} seatings a placement; grinds {self.stop.value}",
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
        from html import escape

        items = "".join(f"<li>{escape(line)}</li>" for line in self.assumptions)
        return f"<b>{escape(self.name)}</b><ul>{items}</ul>"
