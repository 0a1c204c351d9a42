"""The wire edge, a thin burr left hanging by the stone: what is said of it, and no number.

Nobody has measured its size on these blades against the way they were sharpened, and the sources
that speak of strokes contradict each other. So the answer is a category with both sides attached.
"""

import enum
from dataclasses import dataclass

from edgekit.errors import EdgekitError
from edgekit.evidence_table import Status

__all__ = ["Claim", "StrokeSense", "WireEdge", "WireEdgeFinding", "wire_edge"]


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


@dataclass(frozen=True, kw_only=True)
class Claim:
    """One thing a source says.

    Attributes
    ----------
    says : str
        The claim.
    leaves_one : bool
        Whether, by it, strokes of this sense leave a wire edge.
    status : Status
        How far it may be trusted.
    source : str
        Who says so.
    """

    says: str
    leaves_one: bool
    status: Status
    source: str


@dataclass(frozen=True, kw_only=True)
class WireEdgeFinding:
    """A category with the claims behind it.

    Attributes
    ----------
    category : WireEdge
        What can be said.
    stroke : StrokeSense
        The strokes it is said of.
    claims : tuple of Claim
        Both sides, where there are two; empty where no source speaks.
    """

    category: WireEdge
    stroke: StrokeSense
    claims: tuple[Claim, ...]

    def __str__(self) -> str:
        said = "; ".join(f"{claim.says} ({claim.source})" for claim in self.claims)
        return f"wire edge {self.category.value}, strokes {self.stroke.value}: " + (
            said or "no source speaks of these strokes"
        )

    def _repr_html_(self) -> str:
        from html import escape

        said = "".join(
            f"<li>{escape(claim.says)} ({escape(claim.status.value)}: {escape(claim.source)})</li>"
            for claim in self.claims
        )
        return (
            f"<b>Wire edge {self.category.value}, strokes {self.stroke.value}</b><ul>"
            f"{said or '<li>no source speaks of these strokes</li>'}</ul>"
        )


_ANTONINI = "Antonini 1977"
_TEACHING = "usual teaching; common practice, no source"
_CLAIMS = {
    StrokeSense.AWAY: (
        Claim(
            says="strokes away from the edge left no wire edge",
            leaves_one=False,
            status=Status.PUBLISHED,
            source=_ANTONINI,
        ),
        Claim(
            says="strokes away from the edge draw one out: finish towards the edge",
            leaves_one=True,
            status=Status.COMMON_PRACTICE,
            source=_TEACHING,
        ),
    ),
    StrokeSense.TOWARDS: (
        Claim(
            says="finishing towards the edge leaves none",
            leaves_one=False,
            status=Status.COMMON_PRACTICE,
            source=_TEACHING,
        ),
        Claim(
            says="it was strokes away from the edge that left none",
            leaves_one=True,
            status=Status.PUBLISHED,
            source=_ANTONINI,
        ),
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
    >>> finding.category.value, [claim.leaves_one for claim in finding.claims]
    ('contested', [False, True])
    """
    if not isinstance(stroke, StrokeSense):
        raise EdgekitError(
            "stroke must be a StrokeSense", stroke, "Use StrokeSense.AWAY and the like."
        )
    if observed is not None and not isinstance(observed, bool):
        raise EdgekitError(
            "observed must be True, False or None", observed, "A wire edge has no size here."
        )
    claims = _CLAIMS[stroke]
    if observed is not None:
        category = WireEdge.SEEN if observed else WireEdge.NONE_SEEN
    else:
        category = WireEdge.CONTESTED if claims else WireEdge.UNKNOWN
    return WireEdgeFinding(category=category, stroke=stroke, claims=claims)
