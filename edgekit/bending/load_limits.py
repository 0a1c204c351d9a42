"""The load that a blade bears before it yields, wherever along its edge the load acts."""

import numpy as np
import pandas as pd

from edgekit.bending.beam import (
    bending_model,
    end_inset_mm,
    shortened_mm,
    toe_load_from_mm,
    worn_away,
)
from edgekit.bending.strength import DEPTHS, ROWS, STATIONS
from edgekit.checks import FloatArray, positive
from edgekit.display import html_text
from edgekit.evidence_table import value
from edgekit.geometry.blade import Blade, BladeClass
from edgekit.grinding.recession_field import inset_at
from edgekit.grinding.worn_blade import WornBlade
from edgekit.record import Record

__all__ = ["LoadLimits", "load_limits"]

TIP_MM = value("tip_load_mm")
PLACES = 24  # of the load, from the tip to near the heel
MAX_SHARE = 0.85  # of the length: a load nearer the heel bends too little of the blade


class LoadLimits(Record):
    """Loads at which a blade yields in bending, clamped at its heel.

    Attributes
    ----------
    blade : Blade
    yield_mpa : float
        Stress at which the steel yields.
    from_toe_mm : array (P,)
        Distance of the load from the toe, the tip first.
    bears_n : array (P,)
        Load there that brings the most stressed section to yield, the worse of two directions.
    """

    blade: Blade
    yield_mpa: float
    from_toe_mm: FloatArray
    bears_n: FloatArray

    def at(self, from_toe_mm: float) -> float:
        """Load borne [N] at a distance from the toe, between the places computed."""
        logs = np.interp(from_toe_mm, self.from_toe_mm, np.log(self.bears_n))
        return float(np.exp(logs))

    @property
    def mid_edge_n(self) -> float:
        """Load borne in the middle of the blade [N]."""
        return self.at(self.blade.length_mm / 2)

    @property
    def toe_n(self) -> float:
        """Load borne half a length of contact from the toe [N]."""
        return self.at(toe_load_from_mm())

    @property
    def tip_n(self) -> float:
        """Load borne at the tip, ``tip_load_mm`` from the toe [N]."""
        return self.at(TIP_MM)

    def borne_from_mm(self, load_n: float) -> float:
        """Distance from the toe [mm] from which on a load is borne; inf if it is nowhere."""
        short = np.flatnonzero(self.bears_n < positive("load_n", load_n, "Give newtons."))
        if not len(short):
            return float(self.from_toe_mm[0])
        last = int(short[-1])
        if last + 1 == len(self.bears_n):
            return float("inf")
        pair = slice(last, last + 2)
        logs = np.log(self.bears_n[pair])
        return float(np.interp(np.log(load_n), logs, self.from_toe_mm[pair]))

    @property
    def table(self) -> pd.DataFrame:
        """One row per place of the load: ``from_toe_mm, bears_n``."""
        return pd.DataFrame({"from_toe_mm": self.from_toe_mm, "bears_n": self.bears_n})

    def __repr__(self) -> str:
        mean, most = value("use_force_n"), value("max_use_force_n")
        reach = self.borne_from_mm(mean)
        everywhere = "everywhere" if reach <= TIP_MM else f"from {reach:.1f} mm behind the tip on"
        verb = "bears" if self.mid_edge_n >= most else "does not bear"
        return (
            f"{self.blade.name} yields at {self.mid_edge_n:.1f} N at mid-edge, {self.toe_n:.1f} N "
            f"{toe_load_from_mm():g} mm from the toe, {self.tip_n:.2g} N at the tip "
            f"({TIP_MM:g} mm). It {verb} the greatest force met in use, {most:g} N, at mid-edge, "
            f"and the mean one, {mean:g} N, {everywhere}. Bending only, and the steel's yield "
            f"stress, {self.yield_mpa:g} MPa, is from memory; a model result is an estimate."
        )

    def _repr_html_(self) -> str:
        return html_text(self)


def load_limits(blade: Blade | WornBlade, *, yield_mpa: float | None = None) -> LoadLimits:
    """The load that a blade bears at the tip, the toe, mid-edge and between.

    Parameters
    ----------
    blade : Blade or WornBlade
        A hoe is a plate, bent about the line where it meets its shank: the same along its edge.
    yield_mpa : float, optional
        Stress at which the steel yields [MPa]; ``steel_yield_mpa`` by default.

    Returns
    -------
    LoadLimits

    Raises
    ------
    EdgekitError
        For a yield stress not above 0, a worn hoe, or a blade of which nothing is left.

    Notes
    -----
    First yield in bending, as `strength`: M/Z against the yield stress. A worn blade's load moves
    back with its toe. Forces in use: Zappa et al. 1991, J Periodontol 62:335.

    Examples
    --------
    >>> import edgekit as ek
    >>> limits = ek.load_limits(ek.patterns.area_specific_curette())
    >>> bool(limits.mid_edge_n > 15.7 > 5 > ek.load_limits(ek.patterns.straight_sickle()).toe_n)
    True
    """
    limit = value("steel_yield_mpa") if yield_mpa is None else positive("yield_mpa", yield_mpa)
    if isinstance(blade, Blade) and blade.kind is BladeClass.HOE:
        return _hoe(blade, limit)
    worn = WornBlade.of(blade, stations=STATIONS, depths=DEPTHS)
    places = np.geomspace(TIP_MM, MAX_SHARE * worn.blade.length_mm, PLACES)
    grids, wears = worn.grids, worn_away(worn)
    fields = [wear.removed_mm + g.inset_mm[:, None] for g, wear in zip(grids, wears, strict=True)]
    ends = [
        end_inset_mm(grid, field, inset_at(grid, field, wear.drop_mm), wear.drop_mm)
        for grid, field, wear in zip(grids, fields, wears, strict=True)
    ]
    lost = shortened_mm(grids, ends)
    stress = []
    for place in places:
        model = bending_model(worn.blade, grids, load_from_toe_mm=float(place), rows=ROWS)
        stress.append(model.mpa_per_n(wears, lost).max())
    return LoadLimits(
        blade=worn.blade,
        yield_mpa=limit,
        from_toe_mm=places,
        bears_n=limit / np.array(stress),
    )


def _hoe(blade: Blade, yield_mpa: float) -> LoadLimits:
    """A hoe as a plate: Z = L T²/6 and a lever of its width."""
    length = next(iter(blade.edges.values())).length_mm
    bears = yield_mpa * length * blade.thickness_mm**2 / 6 / blade.width_mm
    places = np.array([TIP_MM, MAX_SHARE * length])
    return LoadLimits(
        blade=blade, yield_mpa=yield_mpa, from_toe_mm=places, bears_n=np.full(2, bears)
    )
