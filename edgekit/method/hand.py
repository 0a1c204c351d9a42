"""How a hand errs when it places a stone: known bias, differences between people, scatter."""

from dataclasses import dataclass, field

import numpy as np

from edgekit.checks import FloatArray, at_least, finite, instance, keep_numbers
from edgekit.lazy import shown

__all__ = ["ErrorTerm", "Hand"]

__dir__ = shown(__all__)


@dataclass(frozen=True, kw_only=True)
class ErrorTerm:
    """One way in which a hand errs.

    ``bias`` is known and constant; ``person_sd`` is the standard deviation between people, each
    person constant; ``session_sd`` that between set-ups, common to one session; ``sd`` is the
    scatter from one seating of the stone to the next, itself uncertain by the factor ``sd_gsd``
    (geometric standard deviation between people).
    """

    bias: float = 0.0
    person_sd: float = 0.0
    session_sd: float = 0.0
    sd: float = 0.0
    sd_gsd: float = 1.0

    def __post_init__(self) -> None:
        keep_numbers(self, bias=finite("bias", self.bias))
        for name, low in (("person_sd", 0.0), ("session_sd", 0.0), ("sd", 0.0), ("sd_gsd", 1.0)):
            keep_numbers(self, **{name: at_least(name, getattr(self, name), low)})

    def of(
        self, person: FloatArray, session: FloatArray, skill: FloatArray, draw: FloatArray
    ) -> FloatArray:
        """Errors (R, P) from unit normals: the person's, the session's and the skill's (R,), and
        one for each seating (R, P)."""
        constant, scatter = self.common(person, session), self.scatter(skill)
        return np.asarray(constant[:, None] + scatter[:, None] * draw)

    def common(self, person: FloatArray, session: FloatArray) -> FloatArray:
        """The error (R,) that all strokes of a session share, from unit normals (R,)."""
        return np.asarray(self.bias + self.person_sd * person + self.session_sd * session)

    def scatter(self, skill: FloatArray) -> FloatArray:
        """Standard deviation (R,) from stroke to stroke, for people of some skill (R,), unit
        normals.
        """
        return np.asarray(self.sd * self.sd_gsd**skill)


@dataclass(frozen=True, kw_only=True)
class Hand:
    """The errors of placing a stone.

    ``tilt_deg`` opens the internal angle where positive; ``swing_deg`` turns the stone along the
    edge, towards the toe; ``position_mm`` shifts the placement towards the toe; ``depth`` is the
    relative error of the advance (0.3 is 30 %).
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
