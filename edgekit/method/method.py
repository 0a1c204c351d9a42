"""A sharpening method as a record: guide, stroke, when grinding stops, hand errors, stone."""

from __future__ import annotations

import enum
from dataclasses import dataclass, field, replace

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.display import html_list
from edgekit.errors import Cannot
from edgekit.evidence_table import value
from edgekit.method.abrasive import Abrasive, fine_natural_stone
from edgekit.method.guide import FollowEdge, Guide
from edgekit.method.hand import Hand
from edgekit.method.lay import StrokeDirection
from edgekit.method.stop import StopRule, UntilClear, UntilFresh
from edgekit.method.strokes import LocalStroke, RollingStroke, Stroke

__all__ = ["Method", "Target"]


class Target(enum.Enum):
    """What is ground."""

    SIDES = "the lateral surfaces"
    FACE = "the face"


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
    stroke : Stroke or LocalStroke
        How the stone travels along the edge.
    stop : StopRule
        When grinding stops. Local strokes and the face are ground until a fraction of the edge is
        clear.
    hand : Hand
        Errors.
    removal_mm3_per_stroke, removal_gsd : float
        Steel removed by one stroke [mm³], and its geometric standard deviation between stones and
        hands.
    seconds_per_stroke, setup_seconds, mount_seconds, check_seconds : float
        Time of a stroke, of setting up for each of the guide's settings, of mounting the instrument
        there, and of checking an edge at the end [s]: the parts of a bench plan's minutes.
    max_advance_um : float
        Advance of a local stroke past first touch at which grinding stops anyway [µm].
    abrasive : Abrasive
        What cuts.
    """

    name: str
    guide: Guide = field(default_factory=FollowEdge)
    target: Target = Target.SIDES
    stroke: Stroke | LocalStroke = field(default_factory=RollingStroke)
    stop: StopRule = field(default_factory=UntilFresh)
    hand: Hand = field(default_factory=Hand)
    removal_mm3_per_stroke: float = value("removal_fine_mm3_per_stroke")
    removal_gsd: float = value("removal_between")
    seconds_per_stroke: float = value("seconds_per_stroke")
    setup_seconds: float = value("setup_seconds")
    mount_seconds: float = 0.0
    check_seconds: float = value("bench_check_seconds")
    max_advance_um: float = value("max_advance_um")
    abrasive: Abrasive = field(default_factory=fine_natural_stone)

    def __post_init__(self) -> None:
        checks.instance("name", self.name, str, "Give the method's name as text.")
        checks.instance("guide", self.guide, Guide, "Give FollowEdge() or a HoldElevation.")
        checks.instance(
            "abrasive", self.abrasive, Abrasive, "Give an Abrasive, such as ceramic_stone()."
        )
        checks.instance("hand", self.hand, Hand, "Give a Hand; Hand() makes no errors.")
        checks.instance("target", self.target, Target, "Choose Target.SIDES or Target.FACE.")
        remedy = "Give one of ek.strokes, such as ek.strokes.rolling() or ek.strokes.local()."
        checks.instance("stroke", self.stroke, (Stroke, LocalStroke), remedy)
        checks.instance(
            "stop", self.stop, StopRule, "Give a rule, such as ek.strokes.until_fresh()."
        )
        for name in ("removal_mm3_per_stroke", "seconds_per_stroke", "max_advance_um"):
            checks.keep_numbers(self, **{name: checks.positive(name, getattr(self, name))})
        checks.keep_numbers(self, removal_gsd=checks.at_least("removal_gsd", self.removal_gsd, 1.0))
        for name in ("setup_seconds", "mount_seconds", "check_seconds"):
            checks.keep_numbers(self, **{name: checks.at_least(name, getattr(self, name), 0.0)})
        if isinstance(self.stroke, LocalStroke) and not isinstance(self.stop, UntilClear):
            raise Cannot(
                "local strokes are advanced until the edge is clear, not by another rule",
                str(self.stop),
                "Give stop=ek.strokes.until_clear(), or a rolling stroke.",
            )
        if self.target is Target.FACE:
            self.local()  # the face is ground by planes

    @property
    def rolls(self) -> bool:
        """Whether strokes follow one another along the sides, each taking its steel."""
        return self.target is Target.SIDES and not isinstance(self.stroke, LocalStroke)

    def local(self) -> tuple[LocalStroke, UntilClear]:
        """Stroke and stop rule of a method that advances planes."""
        if isinstance(self.stroke, LocalStroke) and isinstance(self.stop, UntilClear):
            return self.stroke, self.stop
        raise Cannot("the method rolls", self.name, "Give one with local strokes.")

    def rolling(self) -> Stroke:
        """Stroke of a method that rolls."""
        if isinstance(self.stroke, LocalStroke):
            raise Cannot("the method advances planes", self.name, "Give one that rolls.")
        return self.stroke

    @property
    def planes(self) -> int:
        """Planes laid against one edge in a session; one for strokes that roll."""
        return self.stroke.planes if isinstance(self.stroke, LocalStroke) else 1

    def seconds(self, strokes: FloatArray, edges: int) -> FloatArray:
        """Time (R,) of a session of so many strokes (R,) on the edges of a blade [s]."""
        settings = self.guide.setups * (self.setup_seconds + self.mount_seconds)
        return strokes * self.seconds_per_stroke + settings + edges * self.check_seconds

    def at(self, turn: int) -> Method:  # noqa: ARG002 - an alternation of methods answers by turn
        """The method of session number `turn`: this one."""
        return self

    def using(self, abrasive: Abrasive, direction: StrokeDirection | None = None) -> Method:
        """The same hold with another stone: its finish, and what one of its strokes takes.

        Examples
        --------
        >>> import edgekit as ek
        >>> ek.methods.freehand().using(ek.ceramic_stone()).removal_mm3_per_stroke
        0.00022
        """
        checks.instance("abrasive", abrasive, Abrasive, "Give one, such as ceramic_stone().")
        stroke = self.stroke
        if direction is not None:
            stroke = replace(stroke, direction=direction)  # type: ignore[type-var]
        return replace(
            self,
            name=f"{self.name}, {abrasive.name}",
            abrasive=abrasive,
            stroke=stroke,
            removal_mm3_per_stroke=abrasive.removal_mm3_per_stroke,
        )

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What the method assumes, in words."""
        stone = self.abrasive.lubricant.value
        names = (("tilt", "°"), ("swing", "°"), ("position", " mm"), ("advance", " x"))
        errors = "; ".join(
            f"{name} {t.bias:+g}{unit}, people ± {t.person_sd:g}{unit}, "
            f"set-ups ± {t.session_sd:g}{unit}, strokes ± {t.sd:g}{unit}"
            for (name, unit), t in zip(names, self.hand.terms, strict=True)
        )
        removal = f"a stroke removes {self.removal_mm3_per_stroke:g} mm³ (×/÷ {self.removal_gsd:g})"
        setting_up = (
            f"{self.setup_seconds + self.mount_seconds:g} s to set up and mount, "
            f"{self.guide.setups} time(s) per blade; {self.check_seconds:g} s to check an edge"
        )
        return (
            f"grinds {self.target.value}",
            str(self.stroke),
            f"grinds {self.stop}",
            f"errors (standard deviations): {errors}",
            f"{removal} in {self.seconds_per_stroke:g} s; {setting_up}",
            f"{self.abrasive.name} (Ra {self.abrasive.ra_um:.2g} µm, {stone})",
        )

    def __repr__(self) -> str:
        return f"Method({self.name!r}; print it for what it assumes)"

    def __str__(self) -> str:
        return "\n  ".join((self.name, *self.assumptions))

    def _repr_html_(self) -> str:
        return html_list(self.assumptions, bold=self.name)
