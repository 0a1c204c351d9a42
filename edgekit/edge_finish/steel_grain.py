"""The claim that steel has a grain like wood, kept as a hypothesis beside what lay explains.

Nothing in the package computes with a grain of the steel. Strokes in two directions already leave
two different edge lines on a steel without any grain; how much is left for a grain to explain has
not been measured.
"""

from __future__ import annotations

from dataclasses import dataclass

from edgekit.checks import instance
from edgekit.display import html_list
from edgekit.edge_finish.report import Finish
from edgekit.errors import Cannot
from edgekit.evidence_table import Status

__all__ = ["LayExplains", "SteelGrainClaim", "Witness", "steel_grain_claim"]


@dataclass(frozen=True, kw_only=True)
class Witness:
    """One thing that bears on the claim.

    ``speaks_for``: True for it, False against, None for neither.
    """

    says: str
    speaks_for: bool | None
    status: Status
    source: str


@dataclass(frozen=True, kw_only=True)
class LayExplains:
    """What two stroke directions do to an edge of a steel without grain.

    ``lay_deg``: mean angle off the edge of the first and the second; ``teeth_per_mm`` of each as
    the magnification shows it, and ``teeth_ratio``, second over first; ``wave_ratio``: the
    correlation length of the first over the second; ``tooth_rq_um`` of each.
    """

    lay_deg: tuple[float, float]
    teeth_per_mm: tuple[float, float]
    teeth_ratio: float
    wave_ratio: float
    tooth_rq_um: tuple[float, float]

    def __str__(self) -> str:
        (one, two), (few, many) = self.lay_deg, self.teeth_per_mm
        return (
            f"at {one:.0f}° and {two:.0f}° to the edge {few:.3g} and {many:.3g} teeth per mm "
            f"({self.teeth_ratio:.2g} times), waves {self.wave_ratio:.2g} times as long"
        )


@dataclass(frozen=True, kw_only=True)
class SteelGrainClaim:
    """A hypothesis, the evidence on it, and what is explained without it.

    ``settled`` is always None: no source decides it.
    """

    claim: str
    status: Status
    evidence: tuple[Witness, ...]
    lay_alone: LayExplains
    test: str
    settled: None = None

    def __str__(self) -> str:
        lay = self.lay_alone
        lines = [
            f"Hypothesis ({self.status.value}, unproven): {self.claim}",
            f"Lay alone, steel without grain: {lay}",
            *(f"{_SIDE[item.speaks_for]}: {item.says} ({item.source})" for item in self.evidence),
            f"What would test it: {self.test}",
        ]
        return "\n".join(lines)

    def __repr__(self) -> str:
        return "\n".join(str(self).split("\n")[:2])

    def _repr_html_(self) -> str:
        first, *rest = str(self).split("\n")
        return html_list(rest, bold=first)


_SIDE = {True: "for", False: "against", None: "neither"}

_EVIDENCE = (
    Witness(
        says="steel has a grain like wood, which sharpening should follow",
        speaks_for=True,
        status=Status.COMMON_PRACTICE,
        source="the trade's teaching; no measurement named",
    ),
    Witness(
        says="pearlite, bainite and martensite of one steel wear under abrasion at rates that are "
        "not very different",
        speaks_for=False,
        status=Status.PUBLISHED,
        source="Das Bakshi et al. 2013, Wear 308:46",
    ),
    Witness(
        says="rolled steel has elongated carbides and inclusions, so a direction exists; its "
        "effect on a ground edge was not measured",
        speaks_for=None,
        status=Status.MEMORY,
        source="metallography, from memory",
    ),
    Witness(
        says="studies of strokes and edges changed the lay whenever they changed the direction, so "
        "they cannot tell the two apart",
        speaks_for=None,
        status=Status.DERIVED,
        source="Antonini 1977; Tal et al. 1985, 1989: none separates lay from steel",
    ),
)


def steel_grain_claim(along: Finish, across: Finish) -> SteelGrainClaim:
    """The claim, compared with what lay alone does to the teeth of two finishes.

    Parameters
    ----------
    along, across : Finish
        Two finishes of one edge and one stone that differ in the stroke.

    Returns
    -------
    SteelGrainClaim

    Raises
    ------
    EdgekitError
        For anything but finishes, or finishes by different stones or at different magnifications:
        lay alone must differ.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> edge = ek.patterns.area_specific_curette().edges["used"]
    >>> method = ek.methods.freehand().using(ek.diamond_plated_stone())
    >>> one, two = (ek.finish(edge, method.using(method.abrasive, stroke),
    ...                       rng=np.random.default_rng(1))
    ...             for stroke in (ek.along_edge(), ek.across_edge()))
    >>> claim = ek.steel_grain_claim(one, two)
    >>> claim.status.value, claim.settled, round(claim.lay_alone.wave_ratio)
    ('common practice', None, 20)
    """
    for name, given in (("along", along), ("across", across)):
        instance(name, given, Finish, "Give two finishes, made with edgekit.finish.")
    if along.abrasive != across.abrasive or along.magnification != across.magnification:
        raise Cannot(
            "the two finishes must differ in the stroke alone",
            (along.abrasive.name, across.abrasive.name, along.magnification, across.magnification),
            "Use one stone and one magnification for both.",
        )
    return SteelGrainClaim(
        claim="steel has a grain, and an edge sharpened along it lasts longer",
        status=Status.COMMON_PRACTICE,
        evidence=_EVIDENCE,
        lay_alone=LayExplains(
            lay_deg=(float(along.lay.off_edge_deg.mean()), float(across.lay.off_edge_deg.mean())),
            teeth_per_mm=(along.teeth_per_mm, across.teeth_per_mm),
            teeth_ratio=across.teeth_per_mm / along.teeth_per_mm,
            wave_ratio=float(along.length_um.mean() / across.length_um.mean()),
            tooth_rq_um=(along.tooth_rq_um(), across.tooth_rq_um()),
        ),
        test="cut blanks from one bar along and across its rolling direction, sharpen both at one "
        "lay, and compare blunting blind; lay is then the same and only the steel differs",
    )
