"""Grinding the sides or the face: width, thickness, strength and sessions, and where they tie.

With an edge of radius r and no error of the hand, grinding a lateral surface costs r cot(β/2) of
width and grinding the face r(1 + cosβ) of thickness, which is sinβ times as much. A rule that
allows the share f_w of the width W and one that allows f_t of the thickness T are then used up
after equally many sessions when

    T/W = (sinβ / n) (f_w / f_t)

for n edges ground in a session: how dull the blade was drops out. A blade thicker than that lasts
longer if ground on the face, a thinner one if ground on the sides. What errors of the hand cost is
then added by simulated lives: a stone that lies aslant on the face removes steel over the full
width because of its slant, in every session.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from edgekit import checks
from edgekit.bending.beam import (
    BendingModel,
    Wear,
    end_inset_mm,
    life_bending_model,
    shortened_mm,
)
from edgekit.checks import FloatArray, at_least, count, fraction, instance, positive
from edgekit.contact.holder import best_setting
from edgekit.display import html_text
from edgekit.errors import BadArgument, Cannot
from edgekit.evidence_table import value
from edgekit.geometry.blade import Blade, BladeClass
from edgekit.grinding.recession_field import EdgeGrid, inset_at, prepare_edge
from edgekit.grinding.worn_blade import DEPTHS, STATIONS
from edgekit.life.life import Use
from edgekit.life.retire import MaxThicknessLoss, MaxWidthLoss, MinLength, MinStrength, RetireRule
from edgekit.method.alternation import Alternation
from edgekit.method.catalogue import face_honing, held
from edgekit.method.hand import ErrorTerm
from edgekit.method.method import Method
from edgekit.method.stop import UntilClear
from edgekit.record import Record
from edgekit.study.compare import Comparison, compare
from edgekit.study.outcomes import SESSIONS
from edgekit.units import UM_PER_MM

__all__ = ["Crossover", "FaceOrSides", "crossover", "face_or_sides", "ideal_sessions", "mixture"]

MIXES = ((1, 0), (3, 1), (1, 1), (1, 3), (0, 1))
TILTS_DEG = (0.0, 0.25, 0.5, 1.0, 2.0)
RULES = (MaxWidthLoss(), MinLength(), MaxThicknessLoss(), MinStrength())
# Sessions examined in the ideal case: the strength of nearly all falls within the few.
FEW_IDEAL, MAX_IDEAL = 50, 400
MAX_MIXED = 200  # sessions in a round of a mixture: a life has no more


def mixture(side: Method, face: Method, *, sides: int, faces: int) -> Method | Alternation:
    """Sessions on the sides and on the face by turns: `sides` of one, then `faces` of the other.

    Parameters
    ----------
    side, face : Method
    sides, faces : int
        Sessions of each in a round; one may be 0.

    Returns
    -------
    Method or Alternation
        One of the methods where the other has no turn.

    Raises
    ------
    BadArgument
        Not methods; turns that are no whole numbers.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.mixture(ek.methods.held(15.0), ek.methods.face_honing(), sides=3, faces=1).name
    '3 on the sides, then 1 on the face'
    """
    for name, method in (("side", side), ("face", face)):
        instance(name, method, Method, "Give a method, such as methods.face_honing().")
    sides = count("sides", sides, 0, most=MAX_MIXED)
    faces = count("faces", faces, 0, most=MAX_MIXED)
    if sides + faces == 0:
        raise BadArgument("a mixture needs a session", (sides, faces), "Give 1 or more of either.")
    if sides == 0 or faces == 0:
        return replace(face, name="face only") if sides == 0 else replace(side, name="sides only")
    return Alternation(
        name=f"{sides} on the sides, then {faces} on the face",
        methods=(side,) * sides + (face,) * faces,
    )


@dataclass(frozen=True, kw_only=True)
class Crossover:
    """Where grinding the face and grinding the sides last equally long, without errors of the hand.

    ``edges`` ground in a session; ``thickness_over_width`` of the blade; ``tie``, its value at
    which both last equally long under the two rules; ``width_fraction, thickness_fraction``, the
    rules' shares; ``internal_angle_deg``.
    """

    edges: int
    internal_angle_deg: float
    thickness_over_width: float
    tie: float
    width_fraction: float
    thickness_fraction: float

    @property
    def face_lasts_longer(self) -> bool:
        """Whether, by these two rules, the face does."""
        return self.thickness_over_width > self.tie

    def __str__(self) -> str:
        longer = "face" if self.face_lasts_longer else "sides"
        return (
            f"By width and thickness alone and without errors of the hand, grinding the {longer} "
            f"lasts longer: thickness over width is {self.thickness_over_width:.2f}, the tie at "
            f"{self.tie:.2f}. The tie depends on the number of edges ground ({self.edges}), the "
            f"internal angle ({self.internal_angle_deg:g}°) and the limits "
            f"({self.width_fraction:.0%} of the width, {self.thickness_fraction:.0%} of the "
            "thickness), not on how dull the edge was."
        )


def crossover(
    blade: Blade,
    *,
    width_fraction: float = value("retire_width_fraction"),
    thickness_fraction: float = value("retire_width_fraction"),
) -> Crossover:
    """The tie of face and sides under a rule by width and a rule by thickness, in closed form.

    Parameters
    ----------
    blade : Blade
    width_fraction, thickness_fraction : float
        Shares that may be lost.

    Examples
    --------
    One edge ground costs half the width of two, so the sides win there:

    >>> import edgekit as ek
    >>> from edgekit.study.face_or_sides import crossover
    >>> [crossover(blade).face_lasts_longer for blade in
    ...  (ek.patterns.area_specific_curette(), ek.patterns.universal_curette())]
    [False, True]
    """
    _not_a_hoe(blade)
    width = fraction("width_fraction", width_fraction)
    thickness = fraction("thickness_fraction", thickness_fraction)
    beta = blade.internal_angle_deg
    return Crossover(
        edges=len(blade.edges),
        internal_angle_deg=beta,
        thickness_over_width=blade.thickness_mm / (blade.width_mm + blade.worn_width_mm),
        tie=float(np.sin(np.radians(beta))) / len(blade.edges) * width / thickness,
        width_fraction=width,
        thickness_fraction=thickness,
    )


def _not_a_hoe(blade: Blade) -> None:
    instance("blade", blade, Blade, "Make one with edgekit.patterns, or read_blade.")
    if blade.kind is BladeClass.HOE:
        raise Cannot("a hoe is ground on its bevel only", blade.name, "Give a curette or a sickle.")


def ideal_sessions(
    blade: Blade,
    *,
    face_share: Sequence[float] | FloatArray,
    dull_radius_um: float,
    width_fraction: float = value("retire_width_fraction"),
    thickness_fraction: float = value("retire_width_fraction"),
    strength_fraction: float = value("retire_strength_fraction"),
) -> pd.DataFrame:
    """Sessions that each rule allows, by the share of them on the face, without errors of the hand.

    Parameters
    ----------
    blade : Blade
        Not a hoe.
    face_share : sequence of float
        Shares of the sessions that grind the face, 0 to 1.
    dull_radius_um : float
        Edge radius at which each session starts [µm].
    width_fraction, thickness_fraction, strength_fraction : float
        Limits of the three rules.

    Returns
    -------
    DataFrame
        One row per share: ``face_share, by_width, by_thickness, by_strength, sessions`` (the
        smallest of the three; real numbers, inf where a rule is never used up, 400 at most for
        strength) and ``width_um, thickness_um`` lost per session.

    Examples
    --------
    >>> import edgekit as ek
    >>> from edgekit.study.face_or_sides import ideal_sessions
    >>> table = ideal_sessions(ek.patterns.universal_curette(), face_share=[0, 1], dull_radius_um=4)
    >>> table["by_width"].round(1).tolist()
    [16.5, 63.7]
    """
    _not_a_hoe(blade)
    radius = positive("dull_radius_um", dull_radius_um)
    shares = np.array([fraction("face_share", share, zero=True) for share in face_share])
    max_width = fraction("width_fraction", width_fraction)
    max_thickness = fraction("thickness_fraction", thickness_fraction)
    min_strength = fraction("strength_fraction", strength_fraction)
    beta = np.radians(blade.internal_angle_deg)
    side, face = radius / np.tan(beta / 2), radius * (1 + np.cos(beta))
    width = (1 - shares) * side * len(blade.edges) + shares * 2 * face / np.tan(beta)
    thickness = shares * face
    new = blade.width_mm + blade.worn_width_mm
    with np.errstate(divide="ignore"):
        by_width = (max_width * new - blade.worn_width_mm) * UM_PER_MM / width
        by_thickness = max_thickness * blade.thickness_mm * UM_PER_MM / thickness
    by_strength = [_by_strength(blade, (1 - s) * side, s * face, min_strength) for s in shares]
    return pd.DataFrame(
        {
            "face_share": shares,
            "by_width": by_width,
            "by_thickness": by_thickness,
            "by_strength": by_strength,
            "sessions": np.minimum(np.minimum(by_width, by_thickness), by_strength),
            "width_um": width,
            "thickness_um": thickness,
        }
    )


def _by_strength(blade: Blade, side_um: float, face_um: float, limit: float) -> float:
    """Sessions until the strength left falls to `limit`, straight between whole sessions."""
    grounds = [prepare_edge(blade, name, stations=STATIONS, depths=DEPTHS) for name in blade.edges]
    gauge = life_bending_model(blade, tuple(grounds))
    for most in (FEW_IDEAL, MAX_IDEAL):
        left = _strength_left(blade, grounds, gauge, np.arange(most + 1)[:, None], side_um, face_um)
        below = np.flatnonzero(left <= limit)
        if len(below):
            k = int(below[0])
            return float(k - 1 + (left[k - 1] - limit) / (left[k - 1] - left[k])) if k else 0.0
    return float(MAX_IDEAL)


def _strength_left(
    blade: Blade,
    grounds: Sequence[EdgeGrid],
    gauge: BendingModel,
    sessions: NDArray[np.int_],
    side_um: float,
    face_um: float,
) -> FloatArray:
    """Strength left (N,) after so many sessions (N, 1) that each take this from sides and face."""
    done = sessions / UM_PER_MM
    wears, ends = [], []
    for ground in grounds:
        flank = done * side_um + (ground.depth_mm / np.tan(ground.angle_rad))[:, None, :]
        removed = np.maximum(flank - ground.inset_mm[:, None, :], 0.0)
        drop = np.broadcast_to(done * face_um, removed.shape[1:])
        wears.append(Wear(removed, drop))
        field = removed + ground.inset_mm[:, None, :]
        ends.append(end_inset_mm(ground, field, inset_at(ground, field, drop), drop))
    return gauge.strength_left(wears, shortened_mm(grounds, ends))


class FaceOrSides(Record):
    """Grinding the sides, the face, and mixtures of both, on one blade.

    Attributes
    ----------
    table : DataFrame
        One row per mixture, from lives with errors of the hand: ``method, face_share``;
        ``sessions_p10, _p50, _p90``; at the end of life ``width_lost_um, thickness_lost_um,
        strength_left`` (medians); ``ended_by`` (most frequent); ``minutes_per_session``.
    ideal : DataFrame
        `ideal_sessions` at eleven shares, with the mean dull radius of the first mixture's lives.
    crossover : Crossover
    by_tilt : DataFrame
        Sessions of face grinding (p10, p50, p90) against the scatter of the stone's slant between
        set-ups, ``tilt_sd_deg``.
    tilt_tie_deg : float or None
        That scatter at which face and sides last equally long on average; None if they never do in
        the range examined.
    comparison : Comparison
        The lives behind the table.
    """

    blade: Blade
    table: pd.DataFrame
    ideal: pd.DataFrame
    crossover: Crossover
    by_tilt: pd.DataFrame
    tilt_tie_deg: float | None
    comparison: Comparison

    @property
    def finding(self) -> str:
        """The result in a few sentences with numbers."""
        first, last = self.table.iloc[0], self.table.iloc[-1]
        best = self.table.iloc[int(np.argmax(self.table["sessions_p50"]))]
        tie = (
            f"They do not tie at any slant up to {self.by_tilt['tilt_sd_deg'].max():g}°."
            if self.tilt_tie_deg is None
            else f"They tie if the stone's slant on the face scatters by {self.tilt_tie_deg:.2f}°."
        )
        return (
            f"Sides {first.sessions_p50:.0f} sessions ({first.sessions_p10:.0f} to "
            f"{first.sessions_p90:.0f}), face {last.sessions_p50:.0f} ({last.sessions_p10:.0f} to "
            f"{last.sessions_p90:.0f}), most with {best.method}: {best.sessions_p50:.0f}. {tie} "
            f"{self.crossover}"
        )

    def __repr__(self) -> str:
        first = ". ".join(self.finding.split(". ")[:2]).rstrip(".")
        return f"{self.blade.name}: {first}."

    def _repr_html_(self) -> str:
        table: str = self.table.round(2).to_html(index=False)
        return html_text(self.finding, bold=self.blade.name) + table


def face_or_sides(
    blade: Blade,
    *,
    side: Method | None = None,
    face: Method | None = None,
    mixes: Sequence[tuple[int, int]] = MIXES,
    tilts_deg: Sequence[float] = TILTS_DEG,
    use: Use | None = None,
    retire: tuple[RetireRule, ...] | None = None,
    runs: int = 40,
    seed: int,
) -> FaceOrSides:
    """Compare grinding the sides, the face and mixtures, by lives and in the ideal case.

    Parameters
    ----------
    blade : Blade
        Not a hoe.
    side, face : Method, optional
        A method for the sides (by default a holder at its best setting, until the edge is clear as
        a face is) and one for the face.
    mixes : sequence of (sides, faces)
        Sessions of each in a round; the first should be the sides alone, the last the face alone.
    tilts_deg : sequence of float
        Standard deviations between set-ups of the stone's slant on the face to try [deg], rising.
    use : Use, optional
    retire : tuple of RetireRule, optional
        Rules by width, length, thickness and strength by default.
    runs, seed : int
        Lives per mixture, and the root of their random numbers.

    Returns
    -------
    FaceOrSides

    Raises
    ------
    BadArgument
        Not a blade or a method; a number outside its range.
    EdgekitError
        A hoe, which has no face to grind; no mixture.

    Examples
    --------
    >>> import edgekit as ek
    >>> result = ek.face_or_sides(ek.patterns.universal_curette(), runs=4, seed=1,
    ...                           mixes=((1, 0), (0, 1)), tilts_deg=(0.0, 1.0))
    >>> result.table["face_share"].tolist()
    [0.0, 1.0]
    """
    limits = crossover(blade)
    remedy = "Give (sides, faces) pairs."
    checks.items_of("tilts_deg", tilts_deg, object, "Give degrees in a list.")
    if not checks.items_of("mixes", mixes, tuple, remedy):
        raise BadArgument("mixes must hold a mixture", mixes, remedy, argument="mixes")
    edge = next(iter(blade.edges.values()))
    side = side or held(best_setting(edge), stop=UntilClear())
    face = face or face_honing()
    rules = RULES if retire is None else retire
    methods = [mixture(side, face, sides=s, faces=f) for s, f in mixes]
    live = partial(compare, blade, runs=runs, seed=seed, use=use, retire=rules, grid_runs=0)
    mixed = live(methods)
    table = pd.DataFrame([_row(mixed, i, f / (s + f)) for i, (s, f) in enumerate(mixes)])
    tilts = np.array([at_least("tilts_deg", tilt, 0.0) for tilt in tilts_deg])
    # The first mixture has mostly lived the sides alone.
    sides = (mixed if mixes[0][1] == 0 else live([side])).lives[0]
    by_tilt, means = _slants(live, face, tilts)
    radius = float(mixed.table["dull_radius_um"].iloc[0])
    return FaceOrSides(
        blade=blade,
        table=table,
        ideal=ideal_sessions(blade, face_share=np.linspace(0, 1, 11), dull_radius_um=radius),
        crossover=limits,
        by_tilt=by_tilt,
        tilt_tie_deg=_tie(tilts, means, float(np.mean(sides.sessions))),
        comparison=mixed,
    )


def _slants(
    live: Callable[[list[Method]], Comparison], face: Method, tilts: FloatArray
) -> tuple[pd.DataFrame, FloatArray]:
    """Sessions on the face by the scatter of the slant, and their means."""
    if not len(tilts):
        return pd.DataFrame(columns=["tilt_sd_deg", *SESSIONS], dtype=float), np.empty(0)
    tilted = live([_slanted(face, tilt) for tilt in tilts])
    by_tilt = tilted.table[[*SESSIONS]].copy()
    by_tilt.insert(0, "tilt_sd_deg", tilts)
    return by_tilt, np.array([np.mean(lives.sessions) for lives in tilted.lives])


def _slanted(face: Method, tilt_deg: float) -> Method:
    """The method with another scatter of the stone's slant between set-ups."""
    hand = replace(face.hand, tilt_deg=ErrorTerm(session_sd=tilt_deg))
    return replace(face, name=f"face, slant ± {tilt_deg:g}°", hand=hand)


def _row(comparison: Comparison, number: int, face_share: float) -> dict[str, object]:
    """A mixture in the table."""
    lives, row = comparison.lives[number], comparison.table.iloc[number]
    runs = comparison.runs[comparison.runs["number"] == number]
    left = np.median(runs["strength_left"]) if "strength_left" in runs else np.inf
    return {
        "method": row["method"],
        "face_share": face_share,
        **row[[*SESSIONS]],
        "width_lost_um": float(np.median(lives.last("mean_width_um"))),
        "thickness_lost_um": float(np.median(lives.last("thickness_um"))),
        "strength_left": float(left),
        "ended_by": runs["ended_by"].mode().iloc[0],
        "minutes_per_session": row["minutes_per_session"],
    }


def _tie(tilts: FloatArray, sessions: FloatArray, sides: float) -> float | None:
    """Slant at which sessions on the face fall to those on the sides, straight between trials."""
    longer = sessions > sides
    falls = np.flatnonzero(longer[:-1] & ~longer[1:])
    if not len(falls):
        return None
    i = int(falls[0])
    share = (sessions[i] - sides) / (sessions[i] - sessions[i + 1])
    return float(tilts[i] + share * (tilts[i + 1] - tilts[i]))
