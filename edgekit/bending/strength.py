"""Strength of a worn blade against a new one, as reported; stresses come from `bending.beam`."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from edgekit.bending.beam import (
    Direction,
    Wear,
    bending_model,
    end_inset_mm,
    shortened_mm,
    worn_away,
)
from edgekit.checks import FloatArray, positive
from edgekit.display import html_text
from edgekit.errors import Cannot
from edgekit.evidence_table import value
from edgekit.geometry.blade import Blade
from edgekit.grinding.recession_field import EdgeGrid, inset_at
from edgekit.grinding.worn_blade import WornBlade
from edgekit.record import Record

__all__ = ["AtRisk", "Strength", "strength"]

STATIONS = 200
DEPTHS = 32
_ACTION = {True: "retire", False: "keep"}
_WHY = {  # by whether the width rule says to retire
    True: "the blade is narrow where its strength does not hang on it",
    False: "width lost costs two to three times its share in strength, and the rule by width does "
    "not see where; the limit of strength is assumed",
}
ROWS = 48  # of a section's polygon on each side: its area is then good to 2e-4 for a round back


@dataclass(frozen=True, kw_only=True)
class AtRisk:
    """The most stressed section: arc length from the heel on the first edge, distance from the load
    [mm], the critical load direction, and its stress [MPa]."""

    arc_mm: float
    lever_mm: float
    direction: Direction
    stress_mpa: float

    def __str__(self) -> str:
        return (
            f"{self.arc_mm:.1f} mm from the heel ({self.lever_mm:.1f} mm from the load), "
            f"{self.stress_mpa:.0f} MPa, load {self.direction.value}"
        )


class Strength(Record):
    """Bending of a blade by a load at its toe, clamped at the heel.

    Arrays end in ``(2, S)``: the two `Direction` members in order, then the sections.

    Attributes
    ----------
    arc_mm, lever_mm : array (S,)
        Where the sections are: along the first edge, and behind the load.
    stress_mpa : array (2, S)
        Largest bending stress in each section.
    new_mpa : array (2, S)
        The same of the blade as it was given.
    stress_ratio : array (2, S)
        Stress over that of the new blade.
    strength_left : array ()
        Load that brings the most stressed section to the stress the new blade's reached, over the
        new blade's load; the worse direction.
    section_mm : array (2J, 2)
        Outline of the middle section: across the face from the new near edge, and out of it.
    new_section_mm : array (2J, 2)
        The same when new.
    width_lost : float
        Share of the new width that is gone.
    """

    blade: Blade
    load_n: float
    load_from_toe_mm: float
    arc_mm: FloatArray
    lever_mm: FloatArray
    stress_mpa: FloatArray
    new_mpa: FloatArray
    stress_ratio: FloatArray
    strength_left: FloatArray
    section_mm: FloatArray
    new_section_mm: FloatArray
    width_lost: float

    @property
    def yields_at_n(self) -> float:
        """Load [N] that brings the most stressed section to ``steel_yield_mpa``."""
        return self.load_n * value("steel_yield_mpa") / float(self.stress_mpa.max())

    @property
    def verdict(self) -> str:
        """What the rule by width and the rule by strength say, and whether they agree."""
        left, gone = float(self.strength_left), self.width_lost
        wide, strong = value("retire_width_fraction"), value("retire_strength_fraction")
        narrow, weak = gone >= wide, left <= strong
        agree = "They agree." if narrow == weak else f"They disagree: {_WHY[narrow]}."
        return (
            f"By width {gone:.0%} is gone of the {wide:.0%} that may go: {_ACTION[narrow]}. "
            f"By strength {left:.0%} is left, where {strong:.0%} must be: {_ACTION[weak]}. {agree}"
        )

    @property
    def most_at_risk(self) -> AtRisk:
        """The most stressed section."""
        last = self.stress_mpa
        direction, station = np.unravel_index(int(np.argmax(last)), last.shape)
        return AtRisk(
            arc_mm=float(self.arc_mm[station]),
            lever_mm=float(self.lever_mm[station]),
            direction=list(Direction)[int(direction)],
            stress_mpa=float(last[direction, station]),
        )

    @property
    def table(self) -> pd.DataFrame:
        """One row per direction and section: ``arc_mm, lever_mm, direction, stress_mpa,
        stress_ratio``."""
        size = self.stress_mpa.size
        return pd.DataFrame(
            {
                "arc_mm": np.resize(self.arc_mm, size),
                "lever_mm": np.resize(self.lever_mm, size),
                "direction": np.repeat([item.value for item in Direction], len(self.arc_mm)),
                "stress_mpa": self.stress_mpa.ravel(),
                "stress_ratio": self.stress_ratio.ravel(),
            }
        )

    def __repr__(self) -> str:
        return (
            f"{self.blade.name}, {self.load_n:g} N {self.load_from_toe_mm:g} mm from the toe: "
            f"{float(self.strength_left):.0%} of the new strength left; "
            f"most at risk {self.most_at_risk}; yields at {self.yields_at_n:.1f} N. "
            f"{self.verdict + ' ' if 'disagree' in self.verdict else ''}"
            "Bending only; a model result is an estimate."
        )

    def _repr_html_(self) -> str:
        return html_text(self)


def strength(
    blade: Blade | WornBlade,
    *,
    load_n: float,
    load_from_toe_mm: float | None = None,
) -> Strength:
    """Bending stress at every station under a load at the toe, and its ratio to new.

    Parameters
    ----------
    blade : Blade or WornBlade
        Not a hoe. `WornBlade.from_recession` and `.from_width` make a worn blade of a reading.
    load_n : float
        Load at the toe [N].
    load_from_toe_mm : float, optional
        Distance of the load from the toe [mm]; half the length in contact by default.

    Returns
    -------
    Strength

    Raises
    ------
    EdgekitError
        For a hoe, a load not above 0, or a wear that leaves nothing.

    Notes
    -----
    Euler-Bernoulli bending with the exact section properties of the worn polygons. Twist, shear,
    notches and fatigue are left out: the ratio says how much weaker the blade is, not when it
    breaks. Murray et al. 1984 found no significant loss before 10-20 % less size; the size of their
    groups and their scatter were not seen, so that is no check of this model.

    Examples
    --------
    >>> import edgekit as ek
    >>> worn = ek.WornBlade.from_recession(ek.patterns.universal_curette(), 43.0, depths=32)
    >>> left = ek.strength(worn, load_n=5.0)  # a tenth of the width is gone
    >>> round(float(left.strength_left), 2), round(left.most_at_risk.arc_mm, 1)
    (0.71, 0.0)
    """
    worn = WornBlade.of(blade, stations=STATIONS, depths=DEPTHS)
    load = positive("load_n", load_n, "Give newtons.")
    grids = worn.grids
    model = bending_model(worn.blade, grids, load_from_toe_mm=load_from_toe_mm, rows=ROWS)
    wears = worn_away(worn)
    lost = shortened_mm(grids, [_end(*pair) for pair in zip(grids, wears, strict=True)])
    stress = model.mpa_per_n(wears, lost)[:, 0]
    if not np.isfinite(stress).all():
        raise Cannot(
            "nothing is left of the blade at a section",
            float(model.arc_mm[np.argwhere(~np.isfinite(stress))[0, -1]]),
            "Give a smaller recession [µm], or fewer sessions.",
        )
    middle = len(model.arc_mm) // 2
    return Strength(
        blade=worn.blade,
        load_n=load,
        load_from_toe_mm=model.load_from_toe_mm,
        arc_mm=model.arc_mm,
        lever_mm=model.lever_mm,
        stress_mpa=load * stress,
        new_mpa=load * model.new_mpa_per_n,
        stress_ratio=stress / model.new_mpa_per_n,
        strength_left=np.asarray(model.strength_left(wears, lost)[0]),
        section_mm=model.outlines_mm(wears, len(lost))[0, middle],
        new_section_mm=model.outlines_mm((), 1)[0, middle],
        width_lost=_width_lost(worn),
    )


def _width_lost(worn: WornBlade) -> float:
    """Share of the width of the full section that is gone."""
    new = worn.blade.width_mm + worn.blade.worn_width_mm
    return max(1 - worn.width_mm / new, 0.0)


def _end(grid: EdgeGrid, wear: Wear) -> FloatArray:
    """Inset (R,) [mm] at the toe end of one edge."""
    field = wear.removed_mm + grid.inset_mm[:, None, :]
    return end_inset_mm(grid, field, inset_at(grid, field, wear.drop_mm), wear.drop_mm)
