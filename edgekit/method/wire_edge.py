"""The wire edge, a thin burr left by the stone: the claims made about it, and no number.

No source has measured its size on these blades against how they were sharpened, and the sources
that mention strokes contradict each other. So the answer is a category with both sides attached.
"""

import enum
from functools import partial
from types import NoneType

from edgekit.checks import instance
from edgekit.display import html_list
from edgekit.evidence_table import Claim, Status
from edgekit.record import Record

__all__ = ["StrokeSense", "WireEdge", "WireEdgeFinding", "wire_edge"]


class StrokeSense(enum.Enum):
    """Which way the last strokes of the stone ran against the edge."""

    TOWARDS = "towards the edge"
    AWAY = "away from the edge"
    TO_AND_FRO = "to and fro"
    ALONG = "along the edge"


class WireEdge(enum.Enum):
    """What can be said of a wire edge."""

    NONE_SEEN = "none seen"
    SEEN = "seen"
    CONTESTED = "contested"
    UNKNOWN = "unknown"


class WireEdgeFinding(Record):
    """A category with the claims behind it.

    Attributes
    ----------
    category : WireEdge
        What can be said.
    stroke : StrokeSense
        The strokes it applies to.
    claims : tuple of Claim
        Both sides, where there are two; each supports or denies that such strokes leave a wire
        edge. Empty where no source mentions them.
    """

    category: WireEdge
    stroke: StrokeSense
    claims: tuple[Claim, ...]

    @property
    def _lines(self) -> list[str]:
        lines = [f"{item.says} ({item.status.value}: {item.source})" for item in self.claims]
        return lines or ["no source mentions these strokes"]

    def __str__(self) -> str:
        return f"{self._heading}: {'; '.join(self._lines)}"

    @property
    def _heading(self) -> str:
        return f"wire edge {self.category.value}, strokes {self.stroke.value}"

    def _repr_html_(self) -> str:
        return html_list(self._lines, bold=self._heading.capitalize())


_measured = partial(Claim, status=Status.PUBLISHED, source="Antonini 1977")
_taught = partial(
    Claim, status=Status.COMMON_PRACTICE, source="usual teaching; common practice, no source"
)
_CLAIMS = {
    StrokeSense.AWAY: (
        _measured(says="strokes away from the edge left no wire edge", supports=False),
        _taught(
            says="strokes away from the edge draw out a wire edge: finish towards the edge",
            supports=True,
        ),
    ),
    StrokeSense.TOWARDS: (
        _taught(says="finishing towards the edge leaves no wire edge", supports=False),
        _measured(says="strokes away from the edge, not towards it, left none", supports=True),
    ),
    StrokeSense.TO_AND_FRO: (),
    StrokeSense.ALONG: (),
}


def wire_edge(stroke: StrokeSense, *, observed: bool | None = None) -> WireEdgeFinding:
    """What can be said of a wire edge after strokes of one sense.

    Parameters
    ----------
    stroke : StrokeSense
        Sense of the last strokes.
    observed : bool, optional
        What was seen on this blade under magnification; it settles the category for this blade
        and leaves the claims as they are.

    Returns
    -------
    WireEdgeFinding

    Raises
    ------
    EdgekitError
        For anything but a `StrokeSense`, and for an observation that is not yes or no.

    Examples
    --------
    >>> from edgekit.method.wire_edge import StrokeSense, wire_edge
    >>> finding = wire_edge(StrokeSense.AWAY)
    >>> finding.category.value, [claim.supports for claim in finding.claims]
    ('contested', [False, True])
    """
    instance("stroke", stroke, StrokeSense, "Use StrokeSense.AWAY or another member.")
    instance(
        "observed", observed, (bool, NoneType), "Give True, False or None: it has no size here."
    )
    claims = _CLAIMS[stroke]
    if observed is not None:
        category = WireEdge.SEEN if observed else WireEdge.NONE_SEEN
    else:
        category = WireEdge.CONTESTED if claims else WireEdge.UNKNOWN
    return WireEdgeFinding(category=category, stroke=stroke, claims=claims)
